"""Numbers that were fitted to readings: a file that a scenario names, never a change of it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from statistics import median
from typing import Any

from drysward.faults import Fault, FaultyInput, listed, path_text, quoted
from drysward.inputs import toml_tables, toml_text
from drysward.scenario.model import FittedNumbers
from drysward.scenario.trees import put_at

KEY = "fitted"
FEWEST, MOST = 20, 2_000  # draws in a file
# Keys of a field that soil, turf and readings have nothing to do with.
_NOT_OF_READINGS = ("label", "area", "patches", "priority")
_MEND = "fit the readings again: drysward fit readings"


def with_fitted(
    name: str, raw: dict[str, Any], folder: Path
) -> tuple[dict[str, Any], FittedNumbers | None]:
    """The tables of a scenario with the medians of the file that it names, and what stands there.

    FaultyInput where the file cannot be read, or belongs to other fields and numbers.
    """
    written = raw.get(KEY)
    if not isinstance(written, str):
        return raw, None
    fitted = read_fitted(folder / written)
    now = inputs_of(raw, "supply" in fitted.inputs)
    where = f"{name}: {KEY}"
    if other := sorted(key for key in now.keys() | fitted.inputs.keys()
                       if now.get(key) != fitted.inputs.get(key)):  # fmt: skip
        what = f"{path_text(written)} was fitted before {listed(other)} changed"
        raise FaultyInput(Fault(where, what, f"{_MEND}, or leave the line out"))
    out = dict(raw)
    for key, draws in fitted.draws.items():
        unit, number = fitted.units[key], median(draws)
        put_at(where, out, key, f"{number!r} {unit}" if unit else number)
    return out, fitted


def is_of_supply(key: str) -> bool:
    """Whether a dotted key is of the supply, which readings of the pond's level bear on."""
    return key.startswith(("supply.", "overrides.supply."))


def inputs_of(raw: Mapping[str, Any], of_supply: bool = False) -> dict[str, str]:
    """Digests of the tables of a scenario that a fit rests on, by name."""
    parts: dict[str, Any] = {"site": raw.get("site"), "overrides": raw.get("overrides", {})}
    if of_supply:
        parts["supply"] = raw.get("supply")
    fields = raw.get("fields")
    for key, table in fields.items() if isinstance(fields, dict) else ():
        own = table.items() if isinstance(table, dict) else ()
        parts[f"fields.{key}"] = {k: v for k, v in own if k not in _NOT_OF_READINGS}
    return {
        name: hashlib.sha256(
            json.dumps(part, sort_keys=True, default=str).encode()
        ).hexdigest()[:16]
        for name, part in parts.items()
    }


def read_fitted(path: Path) -> FittedNumbers:
    """The numbers in a file that ``drysward fit readings`` wrote; FaultyInput for any other."""
    where = path_text(path)
    tables = toml_tables(where, toml_text(path))
    numbers, inputs = tables.get("numbers"), tables.get("inputs")
    if not isinstance(numbers, dict) or not isinstance(inputs, dict):
        what = "is not a file of fitted numbers"
        raise FaultyInput(Fault(where, what, "the file that drysward fit readings wrote"))
    faults: list[Fault] = []
    draws: dict[str, tuple[float, ...]] = {}
    units: dict[str, str] = {}
    for key, row in numbers.items():
        values = _numbers(row, "draws")
        at = f"{where}: {quoted(key)}"
        if values is None:
            faults.append(Fault(at, "has no draws", f"numbers; {_MEND}"))
        elif not FEWEST <= len(values) <= MOST:
            faults.append(Fault(at, f"has {len(values)} draws", f"{FEWEST} to {MOST}"))
        else:
            draws[key] = values
            units[key] = str(row.get("unit", ""))
    probes: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {}
    kept = tables.get("probes")
    for name, row in kept.items() if isinstance(kept, dict) else ():
        offset, gain = (_numbers(row, part) for part in ("offset", "gain"))
        if offset is None or gain is None or len(offset) != len(gain):
            allowed = f"as many of each; {_MEND}"
            faults.append(Fault(f"{where}: {quoted(name)}", "has no offsets and gains", allowed))
        else:
            probes[name] = offset, gain
    if len({len(values) for values in draws.values()}) > 1:
        faults.append(Fault(where, "numbers have unequal counts of draws", _MEND))
    if faults:
        raise FaultyInput(faults)
    return FittedNumbers(path, draws, units, {k: str(v) for k, v in inputs.items()}, probes)


def _numbers(row: Any, name: str) -> tuple[float, ...] | None:
    values = row.get(name) if isinstance(row, dict) else None
    if isinstance(values, list) and all(
        isinstance(x, float | int) and not isinstance(x, bool) and abs(x) < 1e12 for x in values
    ):
        return tuple(float(x) for x in values)
    return None
