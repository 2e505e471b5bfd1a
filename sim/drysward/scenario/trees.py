"""The tables of a scenario file by dotted key: every value, and one put in place of another."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from drysward.faults import Fault, FaultyInput, nearest

# Tables that may be written as the bare name of what they start from.
_BARE = {"root_zone": "like", "delivery": "system", "feeding": "plan"}


def leaves(table: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    """Every value that is not a table, with its dotted key; tables of a list count from 1."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from leaves(value, f"{above}{key}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for i, part in enumerate(value, start=1):
                if isinstance(part, dict):
                    yield from leaves(part, f"{above}{key}[{i}].")
        else:
            yield f"{above}{key}", value


def put_at(where: str, tree: dict[str, Any], key: str, value: Any) -> None:
    """Set a dotted key, leaving what ``tree`` shares with others as it is.

    Items of a list count from 1: ``plans.staged.stages[2].share``. FaultyInput when the key
    goes through a list that is too short or through a value that is no table.
    """
    head, _, rest = key.partition(".")
    if head == "overrides":
        table = dict(leaves(tree.get("overrides", {})))
        tree["overrides"] = {**table, rest: value}
        return
    at: Any = tree
    parts = [part for name in key.split(".") for part in _steps(name)]
    for here, step in enumerate(parts[:-1]):
        at[step] = inner = _own(where, key, at, step, parts[here + 1])
        at = inner
    _own_place(where, key, at, parts[-1])
    at[parts[-1]] = value


def _steps(name: str) -> list[str | int]:
    """``stages[2]`` as "stages" and 1."""
    found = re.fullmatch(r"([^\[\]]+)\[(\d+)\]", name)
    return [found[1], int(found[2]) - 1] if found else [name]


def _own(where: str, key: str, at: Any, step: str | int, following: str | int) -> Any:
    """A copy of what stands at ``step``, to be changed; a new table where there is none."""
    _own_place(where, key, at, step)
    inner = at[step] if isinstance(step, int) else at.get(step, {})
    if isinstance(inner, str) and step in _BARE:
        return {_BARE[str(step)]: inner}
    if isinstance(inner, dict):
        return dict(inner)
    if isinstance(inner, list) and isinstance(following, int):
        return list(inner)
    raise FaultyInput(Fault(where, f"'{key}' goes through '{step}', which is no table", "a table"))


def _own_place(where: str, key: str, at: Any, step: str | int) -> None:
    if isinstance(step, int):
        if not isinstance(at, list) or not 0 <= step < len(at):
            n = len(at) if isinstance(at, list) else 0
            raise FaultyInput(Fault(where, f"'{key}': there is no item {step + 1}", f"1 to {n}"))
    elif not isinstance(at, Mapping):
        raise FaultyInput(Fault(where, f"'{key}' goes through what is no table", nearest(key, [])))
