"""The catalog: every number of the parameter files with its unit, range, source and grade.

One file a kind (``species.toml``, ``soils.toml``, ...), one table an entry, one line a number. In
an entry a string is a word and a table is a number; anything else is a fault, so every number has a
source. ``like = "KEY"`` copies another entry of the same file, except for the values written in the
new one. ``sources.toml`` is the one bibliography; ``vocabulary.toml`` has the meaning of each name,
its unit, and the limits beyond which a value is physically impossible.
"""

from __future__ import annotations

import hashlib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Any, TypeGuard

from drysward.faults import Fault, FaultyInput, nearest, quoted
from drysward.ranges import USUAL_CHANCE, Range

KINDS = (
    "species",
    "kc_season",
    "soils",
    "soil_errors",
    "compaction",
    "root_zones",
    "delivery",
    "system_design",
    "losses",
    "curve_numbers",
    "intake",
    "turf_processes",
    "supply",
    "play",
    "feeding",
    "readings",
    "generated_weather",
    "forecasts",
)
GRADES = ("measured", "published", "common practice", "from memory", "estimate")
SCENARIO = "scenario"
"""Grade and source of a number that a scenario set in place of the catalog's."""

# Chance that the true value lies below low, and as much above high, by grade. A range that was
# measured, published or is common practice is exceeded 1 time in 20 on each side. A guessed range
# is exceeded more often than people think, 1 time in 10 on each side (Speirs-Bridge et al. 2010,
# O'Hagan et al. 2006, both from memory).
CHANCES = {
    "measured": USUAL_CHANCE,
    "published": USUAL_CHANCE,
    "common practice": USUAL_CHANCE,
    "from memory": USUAL_CHANCE,
    "estimate": 0.10,
}

_REQUIRED = {"value", "low", "high", "unit", "source", "grade"}
_ENTRY_TEXTS = ("label", "note", "like")


@dataclass(frozen=True)
class Parameter:
    """One number: ``low <= value <= high`` unless a scenario set the value.

    ``source`` holds keys of ``Catalog.sources``; ``grade`` is one of ``GRADES`` or ``SCENARIO``.
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    source: tuple[str, ...]
    grade: str
    note: str = ""


@dataclass(frozen=True)
class Entry:
    """One species, soil, construction or similar: its numbers, and its words (such as season)."""

    kind: str
    key: str
    label: str
    note: str
    numbers: Mapping[str, Parameter]
    words: Mapping[str, str]
    like: str = ""  # key of the entry that it was completed from

    def __getitem__(self, name: str) -> float:
        """Value of the number ``name``; FaultyInput when there is none."""
        return self.parameter(name).value

    def parameter(self, name: str) -> Parameter:
        """The number ``name`` with its range and source; FaultyInput when there is none."""
        if name not in self.numbers:
            where, what = f"{self.kind}.{self.key}", f"no number {quoted(name)}"
            raise FaultyInput(Fault(where, what, nearest(name, self.numbers)))
        return self.numbers[name]


@dataclass(frozen=True)
class Term:
    """One name of the vocabulary: meaning, units, and the range of possible values."""

    key: str
    meaning: str
    units: str
    low: float
    high: float
    long_name: str


@dataclass(frozen=True)
class Catalog:
    """All entries by kind and key, the sources, and the vocabulary.

    Terms of the vocabulary: ``quantities`` are results of a run, ``derived`` are computed from
    them, ``meanings`` are the parameters, ``scenario_terms`` are numbers that only a scenario has,
    and ``kinds`` limit any quantity of a scenario, by the name of its kind. ``texts`` are the files
    of the catalog and ``overrides`` the numbers changed by a scenario.
    """

    entries: Mapping[str, Mapping[str, Entry]] = field(repr=False)
    sources: Mapping[str, str] = field(repr=False)
    quantities: Mapping[str, Term] = field(repr=False)
    derived: Mapping[str, Term] = field(repr=False)
    meanings: Mapping[str, Term] = field(repr=False)
    scenario_terms: Mapping[str, Term] = field(repr=False)
    kinds: Mapping[str, Term] = field(repr=False)
    texts: Mapping[str, str] = field(repr=False)
    overrides: Mapping[str, float] = field(default_factory=dict)

    def get(self, kind: str, key: str, where: str = "") -> Entry:
        """The entry ``key`` of ``kind``.

        FaultyInput with the closest name when there is none; ``where`` is its place in the message.
        """
        if kind not in self.entries:
            raise FaultyInput(
                Fault(where or kind, f"no kind {quoted(kind)}", nearest(kind, self.entries))
            )
        known = self.entries[kind]
        if key not in known:
            raise FaultyInput(Fault(where or kind, f"no entry {quoted(key)}", nearest(key, known)))
        return known[key]

    def find(self, name: str) -> tuple[Entry, ...]:
        """Every entry called ``name``, of any kind; FaultyInput when there is none."""
        found = tuple(known[name] for known in self.entries.values() if name in known)
        if not found:
            names = {key for known in self.entries.values() for key in known}
            raise FaultyInput(Fault("catalog", f"no entry {quoted(name)}", nearest(name, names)))
        return found

    def range_of(self, kind: str, key: str, name: str) -> Range:
        """Distribution of the number ``name``, within its physical limits.

        A number set by a scenario is certain. FaultyInput when there is no such number.
        """
        number, limits = self.get(kind, key).parameter(name), self.meanings[name]
        if number.grade == SCENARIO:
            return Range(number.value, number.value, number.value)
        return Range(
            number.low,
            number.value,
            number.high,
            limits.low,
            limits.high,
            CHANCES[number.grade],
        )

    def digest(self) -> str:
        """SHA-256 over the parameter files and the overrides, as hexadecimal."""
        sha = hashlib.sha256()
        for name, text in sorted(self.texts.items()):
            sha.update(f"{name}\0{text}\0".encode())
        for name, value in sorted(self.overrides.items()):
            sha.update(f"{name}={value!r}\0".encode())
        return sha.hexdigest()

    def with_overrides(self, values: Mapping[str, Any]) -> Catalog:
        """A new catalog with the numbers named ``kind.key.name`` replaced.

        They get grade and source ``SCENARIO`` and keep the catalog's range, so that a report can
        mark values outside it. FaultyInput with every unknown name, every value that is not a
        finite number, and every value beyond its physical limits.
        """
        faults: list[Fault] = []
        replaced: dict[tuple[str, str], dict[str, Parameter]] = {}
        for dotted, value in values.items():
            try:
                parameter = self._overridden(dotted, value)
            except FaultyInput as refusal:
                faults.extend(refusal.faults)
                continue
            kind, key, name = dotted.split(".")
            replaced.setdefault((kind, key), {})[name] = parameter
        if faults:
            raise FaultyInput(faults)
        entries = {kind: dict(known) for kind, known in self.entries.items()}
        for (kind, key), numbers in replaced.items():
            entry = entries[kind][key]
            entries[kind][key] = replace(entry, numbers={**entry.numbers, **numbers})
        overrides = {**self.overrides, **{name: float(value) for name, value in values.items()}}
        return replace(self, entries=entries, overrides=overrides)

    def _overridden(self, dotted: str, value: object) -> Parameter:
        parts = dotted.split(".")
        if len(parts) != 3:
            raise FaultyInput(
                Fault(
                    dotted,
                    "is not the name of a number",
                    "write kind.key.name, such as species.kentucky_bluegrass.wilt_ks",
                )
            )
        kind, key, name = parts
        entry = self.get(kind, key, where=dotted)
        if name not in entry.numbers:
            what = f"no number {quoted(name)}"
            raise FaultyInput(Fault(dotted, what, nearest(name, entry.numbers)))
        old = entry.numbers[name]
        limits = self.meanings[name]
        allowed = f"a number from {limits.low:g} to {limits.high:g} {old.unit}"
        if not _is_number(value):
            raise FaultyInput(Fault(dotted, f"{quoted(value)} is not a number", allowed))
        if not limits.low <= value <= limits.high:
            raise FaultyInput(Fault(dotted, f"{value} is physically impossible", allowed))
        return replace(
            old,
            value=float(value),
            source=(SCENARIO,),
            grade=SCENARIO,
            note=f"catalog: {old.value:g} ({old.grade})",
        )


@cache
def load_catalog() -> Catalog:
    """The catalog that ships with the package, read and checked once."""
    folder = files("drysward.configs")
    names = (*KINDS, "known_together", "feeding_plans", "sources", "vocabulary")
    return read_catalog(
        {name: folder.joinpath(f"{name}.toml").read_text(encoding="utf-8") for name in names}
    )


def read_catalog(texts: Mapping[str, str]) -> Catalog:
    """Read and check the parameter files, given as text by name without ``.toml``.

    Raises
    ------
    FaultyInput
        With every number that lacks a unit, range, known source or known grade, that lies outside
        its range, or whose name or unit is not in the vocabulary.
    """
    faults: list[Fault] = []
    tables: dict[str, dict[str, Any]] = {}
    for name, text in texts.items():
        try:
            tables[name] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            faults.append(Fault(f"{name}.toml", str(error)))
    if faults:
        raise FaultyInput(faults)
    sources: dict[str, str] = tables["sources"]
    quantities = _terms(tables["vocabulary"]["quantities"], "range")
    derived = _terms(tables["vocabulary"]["derived"], "range")
    meanings = _terms(tables["vocabulary"]["parameters"], "limits")
    scenario_terms = _terms(tables["vocabulary"]["scenario"], "limits")
    kinds = _terms(tables["vocabulary"]["kinds"], "limits")
    entries = {
        kind: {
            key: _entry(kind, key, table, sources, meanings, faults)
            for key, table in _completed(kind, tables[kind], faults).items()
        }
        for kind in KINDS
    }
    if faults:
        raise FaultyInput(faults)
    return Catalog(
        entries, sources, quantities, derived, meanings, scenario_terms, kinds, dict(texts)
    )


def _terms(table: Mapping[str, Any], bounds: str) -> dict[str, Term]:
    """The names of one section of the vocabulary."""
    return {
        key: Term(
            key,
            row["meaning"],
            row["units"],
            float(row[bounds][0]),
            float(row[bounds][1]),
            row.get("long_name", key.replace("_", " ")),
        )
        for key, row in table.items()
    }


def _completed(kind: str, table: Mapping[str, Any], faults: list[Fault]) -> dict[str, Any]:
    """Entries of one file, each completed from the earlier entry named by its ``like``."""
    full: dict[str, Any] = {}
    for key, row in table.items():
        if not isinstance(row, dict):
            faults.append(
                Fault(f"{kind}.{key}", "is outside of any entry", "write [key] above it")
            )
            continue
        base = row.get("like", "")
        if base and base not in full:
            faults.append(
                Fault(f"{kind}.{key}.like", f"no earlier entry '{base}'", nearest(base, full))
            )
        full[key] = {**full.get(base, {}), **row}
    return full


def _entry(
    kind: str,
    key: str,
    table: Mapping[str, Any],
    sources: Mapping[str, str],
    meanings: Mapping[str, Term],
    faults: list[Fault],
) -> Entry:
    """One entry; its faults are added to ``faults``."""
    numbers: dict[str, Parameter] = {}
    words: dict[str, str] = {}
    for name, row in table.items():
        where = f"{kind}.{key}.{name}"
        if isinstance(row, str):
            if name not in _ENTRY_TEXTS:
                words[name] = row
        elif isinstance(row, dict):
            found = _parameter_faults(where, name, row, sources, meanings)
            faults.extend(found)
            if not found:
                numbers[name] = _parameter(name, row)
        else:
            faults.append(
                Fault(where, "is a number without unit, range, source and grade", "write a table")
            )
    if "label" not in table:
        faults.append(Fault(f"{kind}.{key}", "no label"))
    like = table.get("like", "")
    return Entry(kind, key, table.get("label", key), table.get("note", ""), numbers, words, like)


def _parameter(name: str, row: Mapping[str, Any]) -> Parameter:
    """A number from a row that has been checked."""
    return Parameter(
        name,
        float(row["value"]),
        row["unit"],
        float(row["low"]),
        float(row["high"]),
        _source_keys(row),
        row["grade"],
        row.get("note", ""),
    )


def _source_keys(row: Mapping[str, Any]) -> tuple[str, ...]:
    """Sources of a row: a string for one, a list for several."""
    return (row["source"],) if isinstance(row["source"], str) else tuple(row["source"])


def _parameter_faults(
    where: str,
    name: str,
    row: Mapping[str, Any],
    sources: Mapping[str, str],
    meanings: Mapping[str, Term],
) -> list[Fault]:
    """Everything wrong with one number."""
    missing = sorted(_REQUIRED - row.keys())
    surplus = sorted(row.keys() - _REQUIRED - {"note"})
    faults = [Fault(where, f"'{part}' is missing") for part in missing]
    faults += [
        Fault(where, f"'{part}' is not known", "the one optional key is 'note'") for part in surplus
    ]
    if missing:
        return faults
    value, low, high = row["value"], row["low"], row["high"]
    if not all(_is_number(number) for number in (value, low, high)):
        faults.append(Fault(where, "value, low and high must be finite numbers"))
    elif not low <= value <= high:
        faults.append(Fault(where, f"{value:g} is outside of its range {low:g} to {high:g}"))
    keys = _source_keys(row)
    if not keys:
        faults.append(Fault(where, "has no source"))
    faults += [
        Fault(where, f"no source '{source}'", nearest(source, sources))
        for source in keys
        if source not in sources
    ]
    if row["grade"] not in GRADES:
        faults.append(
            Fault(where, f"no grade '{row['grade']}'", nearest(str(row["grade"]), GRADES))
        )
    if name not in meanings:
        faults.append(Fault(where, f"'{name}' is not in the vocabulary", nearest(name, meanings)))
        return faults
    term = meanings[name]
    if row["unit"] != term.units:
        faults.append(Fault(where, f"unit '{row['unit']}'", f"the vocabulary has '{term.units}'"))
    if _is_number(low) and _is_number(high) and not term.low <= low <= high <= term.high:
        faults.append(
            Fault(where, "range is beyond the physical limits", f"{term.low:g} to {term.high:g}")
        )
    return faults


def _is_number(value: object) -> TypeGuard[float]:
    """Whether ``value`` is a finite number; true and false are not numbers."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return -math.inf < value < math.inf
