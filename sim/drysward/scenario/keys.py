"""Every key of a scenario file: where it stands, what it takes, its default and its meaning.

What a key takes is read off the schema, so that the reference, the comments of a new scenario and
refusals say what is checked. Meanings are those of ``keys.toml``.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, get_args, get_origin

import annotated_types as limits
from pydantic import AfterValidator, BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from drysward.quantities import Kind, written_in
from drysward.scenario import values
from drysward.scenario.cost_tables import LONGEST_LIFE, system_price, whole_years
from drysward.scenario.play_tables import grown
from drysward.scenario.play_tables import hours as read_hours
from drysward.scenario.schema import (
    STEEPEST,
    PlanTable,
    RuleTable,
    ScenarioTable,
    as_slope,
    latitude,
)
from drysward.scenario.supply_tables import rationing, run_over_rise
from drysward.scenario.values import Described, IsOneOf, IsWithin, ReadsQuantity

# What to write for a key that a special function reads.
_BY_READER = {
    values.day_of_year: 'month and day, such as "04-15"',
    values.whole_days: 'days or weeks, such as "2 days"',
    latitude: 'degrees, such as "40.3 deg" or "40.3 N"',
    run_over_rise: 'a number, or "3:1"',
    as_slope: f"a number; 0 to {STEEPEST:g}",
    grown: "a species of the catalog",
    rationing: '"evenly", "as it comes", or a table of shares by month',
    system_price: 'a price and an area, such as "0.90 per ft2", or a bare number',
    whole_years: f"whole years; 1 to {LONGEST_LIFE}",
    read_hours: "hours",
}


_NO_LIMIT = 1e15  # a limit of the machine, which no person meets


@dataclass(frozen=True)
class Check:
    """What a value may be: a quantity, one of some names, a number within limits.

    ``low`` and ``high`` are in the base unit of ``kind`` times ``scale``, or bare.
    ``above`` and ``below``: the ends themselves are not allowed. ``many``: a list of such.
    """

    of: str = ""
    kind: Kind | None = None
    scale: float = 1.0
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    below: bool = False
    names: tuple[str, ...] = ()
    many: bool = False

    @property
    def units(self) -> tuple[str, ...]:
        """Units to write it in; of heights and distances those of the larger kind."""
        if self.kind is None:
            return ()
        return self.kind.examples if self.scale == 1.0 else ("ft", "m")

    def limits(self, unit: str = "") -> str:
        """``0 to 2,470 acre``, in ``unit`` or in the first that a writer is offered."""
        low, high = self.low, self.high if self.high < _NO_LIMIT else math.inf
        if not math.isfinite(low) and not math.isfinite(high):
            return ""
        tail = ""
        if self.kind is not None:
            unit = unit or self.units[0]
            low, high = (written_in(end / self.scale, self.kind, unit) for end in (low, high))
            tail = f" {unit}"
        first = _plain_number(low, math.ceil) if math.isfinite(low) else ""
        last = _plain_number(high, math.floor) if math.isfinite(high) else ""
        if not math.isfinite(high):
            return f"{'more than' if self.above else 'at least'} {first}{tail}"
        if not math.isfinite(low):
            return f"{'less than' if self.below else 'at most'} {last}{tail}"
        first = f"more than {first}" if self.above else first
        last = f"less than {last}" if self.below else last
        between = {(True, True): " and ", (True, False): ", up to "}
        return f"{first}{between.get((self.above, self.below), ' to ')}{last}{tail}"

    def __str__(self) -> str:
        return self.words()

    def words(self, without: Collection[str] = ()) -> str:
        """What to write: ``acre, ft2 or m2; 0 to 2,470 acre``; ``without`` some of the units."""
        names = listed_or([f'"{name}"' for name in self.names])
        units = [unit for unit in self.units if unit not in without] or list(self.units)
        first = self.of or names or listed_or(units)
        first = f"a list of {first}" if self.many and not self.of else first
        limits = self.limits(units[0] if units else "")
        return "; ".join(part for part in (first, limits) if part)


@dataclass(frozen=True)
class Key:
    """A key of the file.

    ``name`` is dotted, with ``KEY`` for names that the writer chooses and ``[]`` for items of a
    list. ``table`` is the class that holds it and ``default`` "" where there is none.
    """

    name: str
    table: str
    check: Check
    needed: bool
    default: str
    meaning: str


def _plain_number(number: float, inwards: Callable[[float], int]) -> str:
    """Four digits that count, three below 10, with commas, rounded ``inwards`` by floor or ceil."""
    count = 3 if abs(number) < 10.0 else 4
    digits = count - math.ceil(math.log10(abs(number))) if number else 0
    rounded = inwards(round(number * 10.0**digits, 6)) / 10.0**digits
    text = f"{rounded:,.{max(digits, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def listed_or(names: Sequence[str]) -> str:
    """``a, b or c``."""
    *most, last = names or [""]
    return f"{', '.join(most)} or {last}" if most else last


@cache
def meanings() -> dict[str, dict[str, str]]:
    """Meaning of each key by table class."""
    text = files("drysward.scenario").joinpath("keys.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def meaning(table: type[BaseModel], key: str) -> str:
    """What ``key`` of ``table`` means; "" when nothing is written of it."""
    owner = PlanTable if issubclass(table, RuleTable) else table
    return meanings().get(owner.__name__, {}).get(key, "")


@cache
def keys() -> tuple[Key, ...]:
    """All keys of a scenario file, in the order of the schema."""
    return tuple(_keys(ScenarioTable, ""))


def check_at(
    place: Sequence[str | int], whole: type[BaseModel] = ScenarioTable
) -> Check | None:
    """What the value at ``place`` of ``whole``, as pydantic locates it, may be; None if no key."""
    field, _ = _at(place, whole)
    return None if field is None else check_of(field)


def keys_at(place: Sequence[str | int], whole: type[BaseModel] = ScenarioTable) -> list[str]:
    """Keys that the table at ``place`` of ``whole`` may hold."""
    return list(_by_name(_at(place, whole)[1]))


def meaning_at(place: Sequence[str | int], whole: type[BaseModel] = ScenarioTable) -> str:
    """Meaning of the last key on the way to ``place`` of ``whole``; "" where there is none."""
    for part in reversed(range(len(place))):
        _, table = _at(place[:part], whole)
        if str(place[part]) in _by_name(table):
            return meaning(table, str(place[part]))
    return ""


def _at(
    place: Sequence[str | int], whole: type[BaseModel]
) -> tuple[FieldInfo | None, type[BaseModel]]:
    """The last key on the way to ``place``, and the table that it leads to."""
    found, table = None, whole
    for part in place:
        # A part that is no key of a table is an index, or the name of a field or plan.
        field = _by_name(table).get(str(part))
        if field is not None:
            found, table = field, next(iter(_tables(field.annotation)), table)
    return found, table


def check_of(field: FieldInfo) -> Check:
    """What a field of a table may be, read off its annotation."""
    found: dict[str, Any] = {"many": _holds_list(field.annotation)}
    for part in _parts(field):
        if isinstance(part, BeforeValidator | AfterValidator):
            _read_check(part.func, found)
        elif isinstance(part, limits.Ge | limits.Gt):
            found["low"] = float(getattr(part, "ge", getattr(part, "gt", 0.0)))
            found["above"] = isinstance(part, limits.Gt)
        elif isinstance(part, limits.Le | limits.Lt):
            found["high"] = float(getattr(part, "le", getattr(part, "lt", 0.0)))
            found["below"] = isinstance(part, limits.Lt)
    if "of" not in found:
        plain = _plain(field.annotation) or "a quantity"
        found["of"] = "" if found.get("kind") or found.get("names") else plain
    return Check(**found)


def _read_check(check: Any, found: dict[str, Any]) -> None:
    if isinstance(check, ReadsQuantity):
        found.update(kind=check.kind, scale=check.scale)
    elif isinstance(check, IsWithin):
        found.update(low=check.term.low, high=check.term.high)
    elif isinstance(check, IsOneOf):
        found["names"] = check.names
    elif isinstance(check, Described):
        found["of"] = check.takes
    elif check in _BY_READER:
        found["of"] = _BY_READER[check]


def _plain(annotation: Any) -> str:
    """What a value without a special check is."""
    words = {bool: "true or false", int: "a whole number", float: "a number", str: "text"}
    if annotation in words:
        return words[annotation]
    if next(iter(_tables(annotation)), None):
        return "a table" if get_origin(annotation) is not list else "a list of tables"
    if get_origin(annotation) is dict:
        return "a table"
    if get_origin(annotation) is list:
        return "a list"
    return next((word for part in get_args(annotation) if (word := _plain(part))), "")


def _keys(table: type[BaseModel], above: str) -> Iterator[Key]:
    for key, field in _by_name(table).items():
        name = f"{above}{key}"
        yield Key(
            name, table.__name__, check_of(field), field.is_required() or key == "species",
            _default(field), meaning(table, key),
        )  # fmt: skip
        for inner in _tables(field.annotation):
            within = "dict" if _holds(field.annotation, dict) else ""
            within = "list" if _holds(field.annotation, list) else within
            yield from _keys(inner, name + {"dict": ".KEY.", "list": "[].", "": "."}[within])


def _by_name(table: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or key: field for key, field in table.model_fields.items()}


def _default(field: FieldInfo) -> str:
    value = field.default
    if field.is_required() or value in (None, "", [], {}) or isinstance(value, BaseModel | list):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and not math.isfinite(value):
        return ""
    check = check_of(field)
    if check.kind is not None:
        unit = check.units[0]
        return f"{written_in(value / check.scale, check.kind, unit):.3g} {unit}"
    if isinstance(value, str):
        return f'"{value}"'
    days = " days" if value != 1 else " day"
    return f"{value:g}{days if check.of == _BY_READER[values.whole_days] else ''}"


def _parts(field: FieldInfo) -> Iterator[Any]:
    """Metadata of a field, of its alternatives and of the items of its lists, outermost last."""
    yield from _within(field.annotation)
    for part in field.metadata:
        yield from _unpacked(part)


def _within(annotation: Any) -> Iterator[Any]:
    if _is_table(annotation):
        return
    inner = get_args(annotation)
    for part in inner[1:] if get_origin(annotation) is dict else inner:
        if hasattr(annotation, "__metadata__") or isinstance(part, type) or get_args(part):
            yield from _within(part)
    for part in getattr(annotation, "__metadata__", ()):
        yield from _unpacked(part)


def _unpacked(part: Any) -> Iterator[Any]:
    if isinstance(part, FieldInfo):
        yield from part.metadata
    else:
        yield part


def _holds_list(annotation: Any) -> bool:
    """Whether a value is a list, by whatever it is annotated or exchanged with."""
    if get_origin(annotation) is list:
        return True
    plain = not _is_table(annotation) and get_origin(annotation) is not dict
    return plain and any(_holds_list(part) for part in get_args(annotation))


def _is_table(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _tables(annotation: Any) -> Iterator[type[BaseModel]]:
    """Tables that an annotation holds, such as ``dict[str, Table] | None``."""
    if _is_table(annotation):
        if "root" not in annotation.model_fields:
            yield annotation
        return
    for part in get_args(annotation):
        yield from _tables(part)


def _holds(annotation: Any, kind: type) -> bool:
    """Whether tables stand within a ``kind``, dict or list, and not plainly."""
    if _is_table(annotation):
        return False
    if get_origin(annotation) is kind:
        return next(iter(_tables(annotation)), None) is not None
    return any(_holds(part, kind) for part in get_args(annotation))
