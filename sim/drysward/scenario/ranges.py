"""Ranges after numbers in a scenario file: ``"12 in (10 to 14 in)"``.

One pass over the tables of a file removes them, so that all other code reads only the likely value.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drysward.faults import Fault, quoted
from drysward.quantities import AFTER_NUMBER, NUMBER, number_of
from drysward.ranges import METALOG, PERT, TRIANGULAR, USUAL_CHANCE

LONGEST_RANGE = 120
MOST_RANGES = 300  # each is checked at both ends, within the whole file

Path = tuple[str | int, ...]
"""Keys and places in lists, from the top of a file down to a value."""

RANGE_FORM = (
    'a likely value, a low and a high, such as "12 in (10 to 14 in)" or "0.6 (0.5 to 0.7)";'
    ' "(10 to 14 in, 1 in 10)" states how often each end is exceeded, "(10 to 14 in, pert)" or'
    ' "triangular" that the ends are the extremes'
)
# Tables whose numbers are drawn. Weather years are the same for all draws, and questions and prices
# of a scenario are not uncertain.
DRAWN = ("fields", "plans", "supply", "overrides")
# Free texts, which may start with a number: "2 (upper)".
_OWN_TEXTS = ("title", "label", "name", "machine", "currency", "file", "column")
# Counted, measured with a tape, or decided by the crew: not drawn.
_CERTAIN = ("area", "patches", "priority", "labor_per_pass", "price")

_WITH_PARENTHESIS = re.compile(rf"\s*({NUMBER})(?:{AFTER_NUMBER}([^()]*?))?\s*\((.*)")
_UNIT = rf"(?:{AFTER_NUMBER}([^\s,][^,]*?))"
_ENDS = re.compile(
    rf"\s*({NUMBER}){_UNIT}??\s+to\s+({NUMBER}){_UNIT}?\s*(?:,\s*(.*?))?\s*"
)
_ONE_IN = re.compile(rf"1\s+in\s+({NUMBER})")


@dataclass(frozen=True)
class WrittenRange:
    """A range as written: numbers in ``unit``, "" for none.

    ``likely`` is the median, ``low`` and ``high`` are exceeded with ``chance`` each; in the forms
    "triangular" and "pert" (see ``drysward.ranges``) it is the mode, and they are the extremes.
    ``path`` leads to the value in the tables of the file.
    """

    low: float
    likely: float
    high: float
    unit: str
    chance: float
    form: str
    path: Path

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.low:g} to {self.high:g}{unit}, {passed_text(self.chance, self.form)}"

    @property
    def alone(self) -> str:
        """The text to write for a number without a range."""
        return f"write {self.likely:g}{' ' if self.unit else ''}{self.unit} alone"

    def written(self, number: float) -> float | str:
        """``number`` as in a file: text with its unit, or a bare number."""
        return f"{number!r} {self.unit}" if self.unit else number


def passed_text(chance: float, form: str = METALOG) -> str:
    """How often an end is exceeded: "1 in 20", or never."""
    return f"1 in {1.0 / chance:g}" if form == METALOG else f"{form} between extremes"


def taken_out(
    name: str, raw: dict[str, Any]
) -> tuple[dict[str, Any], dict[str, WrittenRange], list[Fault]]:
    """Tables with likely values in place of ranges, the ranges by dotted key, and faults.

    ``raw`` is not changed; faults call the file ``name``.
    """
    ranges: dict[str, WrittenRange] = {}
    faults: list[Fault] = []
    plain = raw
    for path, text in _texts(raw):
        key = dotted(path)
        found = _WITH_PARENTHESIS.fullmatch(text) if len(text) <= LONGEST_RANGE else None
        if found is None or path[-1] in _OWN_TEXTS:
            continue
        if len(ranges) == MOST_RANGES:
            faults.append(Fault(name, f"has more than {MOST_RANGES} ranges", "keep the main ones"))
            break
        number, unit, rest = found.groups()
        parsed = _read(number, unit or "", rest, path)
        if isinstance(parsed, WrittenRange):
            refused = _not_drawn(path, parsed)
            if refused:
                faults.append(Fault(f"{name}: {key}", *refused))
            ranges[key] = parsed
        else:
            faults.append(Fault(f"{name}: {key}", *parsed))
        plain = with_value(plain, path, f"{number} {unit}" if unit else number_of(number))
    return plain, ranges, faults


def dotted(path: Sequence[str | int]) -> str:
    """``("plans", "a", "stages", 0)`` as ``plans.a.stages[1]``, counted from 1."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    return text.removeprefix(".")


def with_value(tables: dict[str, Any], path: Path, value: Any) -> dict[str, Any]:
    """A copy of ``tables`` with another value at ``path``."""
    top: dict[str, Any] = dict(tables)
    at: Any = top
    for step in path[:-1]:
        at[step] = list(at[step]) if isinstance(at[step], list) else dict(at[step])
        at = at[step]
    at[path[-1]] = value
    return top


def _texts(value: Any, above: Path = ()) -> Iterator[tuple[Path, str]]:
    """Every text of the tables that might be a range, with its path."""
    if isinstance(value, str):
        if "(" in value:
            yield above, value
    elif isinstance(value, Mapping):
        for key, part in value.items():
            yield from _texts(part, (*above, key))
    elif isinstance(value, list):
        for i, part in enumerate(value):
            yield from _texts(part, (*above, i))


def _read(number: str, unit: str, rest: str, path: Path) -> WrittenRange | tuple[str, str]:
    """The range, or its fault and the allowed form."""
    text = quoted(f"{number}{' ' if unit else ''}{unit} ({rest}")
    inside, closed, after = rest.partition(")")
    ends = _ENDS.fullmatch(inside)
    if not closed or after.strip() or ends is None:
        return f"{text} is not a range", RANGE_FORM
    low_text, low_unit, high_text, high_unit, more = ends.groups()
    for other in (low_unit, high_unit):
        if other and other != unit:
            shown = f"{number} {other} ({low_text} to {high_text} {other})"
            before = f"unit {quoted(unit)}" if unit else "no unit"
            what = f"has {before} before and {quoted(other)} inside"
            return f"{text} {what}", f'one unit for all three: "{shown}"'
    low, likely, high = number_of(low_text), number_of(number), number_of(high_text)
    if not low <= likely <= high:
        tail = f" {unit}" if unit else ""
        low_, mid, high_ = sorted((low, likely, high))
        shown = f"{mid:g}{tail} ({low_:g} to {high_:g}{tail})"
        return f"{text} does not increase from low to high", f'low, likely, high: "{shown}"'
    chance, form = USUAL_CHANCE, METALOG
    if more in (TRIANGULAR, PERT):
        form = more
    elif more:
        one_in = _ONE_IN.fullmatch(more)
        if one_in is None or number_of(one_in[1]) <= 2.0:
            return f"{quoted(more)} does not say how often an end is exceeded", RANGE_FORM
        chance = 1.0 / number_of(one_in[1])
    return WrittenRange(low, likely, high, unit, chance, form, path)


def _not_drawn(path: Path, written: WrittenRange) -> tuple[str, str] | None:
    """The fault of a range on a value that is not drawn, and the text to write; None if drawn."""
    if path[0] not in DRAWN:
        return f"takes no range; ranges are for {', '.join(DRAWN)}", written.alone
    if path[-1] in _CERTAIN or written.unit.startswith("per "):
        return "takes no range: it counts as certain", written.alone
    return None
