"""Faults of input as lines: what is the same of several columns of a line is said once."""

from __future__ import annotations

import re
from collections.abc import Iterable

from drysward.faults import Fault

_COLUMN = re.compile(r"^(?P<line>.*), (?P<kind>column|variable) (?P<name>'.*')$")
_BLANK = re.compile(r"^(?P<name>\w+) is (?P<rest>blank.*)$", re.DOTALL)


def merged(faults: Iterable[Fault]) -> list[Fault]:
    """Faults in their order; blanks of several columns of one line as one fault."""
    groups: dict[tuple[str, ...], list[Fault]] = {}
    for i, fault in enumerate(faults):
        where, what = _COLUMN.match(fault.where), _BLANK.match(fault.what)
        same: tuple[str, ...] = (str(i),)
        if where and what:
            same = (where["line"], where["kind"], what["rest"], fault.allowed, fault.paste)
        groups.setdefault(same, []).append(fault)
    return [group[0] if len(group) == 1 else _as_one(group) for group in groups.values()]


def _as_one(faults: list[Fault]) -> Fault:
    places = [match for one in faults if (match := _COLUMN.match(one.where))]
    blanks = [match for one in faults if (match := _BLANK.match(one.what))]
    names = [match["name"] for match in blanks]
    columns = ", ".join(match["name"] for match in places)
    return Fault(
        f"{places[0]['line']}, {places[0]['kind']}s {columns}",
        f"{', '.join(names[:-1])} and {names[-1]} are {blanks[0]['rest']}",
        faults[0].allowed,
        faults[0].paste,
    )
