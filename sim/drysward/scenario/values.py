"""Values of a scenario file: quantities, names, days of the year.

Each is an annotation for a table of the file. An invalid value is refused with a message for the
writer: "what is wrong; what is allowed".
"""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from drysward.catalog import Term, load_catalog
from drysward.faults import nearest, quoted
from drysward.quantities import (
    AREA,
    LENGTH,
    NUMBER,
    SPAN,
    VOLUME,
    WEIGHT,
    Kind,
    convert,
    number_of,
    parse,
    percent,
)

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip
_WEEKDAYS_IN_FULL = tuple(
    f"{start}day" for start in ("Mon", "Tues", "Wednes", "Thurs", "Fri", "Satur", "Sun")
)
MM_PER_M = 1000.0
MOST_NAMED = 200
"""Fields, plans, sources or catchments of a scenario."""



# Checks are objects and no bare functions, so that what a key takes can be read off its annotation
# (``scenario.keys``): for the reference, for a new scenario's comments and for refusals.
@dataclass(frozen=True)
class ReadsQuantity:
    """Reads a text with a unit as a number in the base unit of ``kind``, times ``scale``."""

    kind: Kind
    scale: float = 1.0

    def __call__(self, text: object) -> float:
        return read(text, self.kind) * self.scale


@dataclass(frozen=True)
class IsWithin:
    """Lets a number pass within the limits of ``term``."""

    term: Term

    def __call__(self, number: float) -> float:
        return within_term(number, self.term)


@dataclass(frozen=True)
class IsOneOf:
    """Lets a text pass that is one of ``names``.

    ``meant``: what to write in place of other words that people use.
    """

    names: tuple[str, ...]
    meant: Mapping[str, str] = field(default_factory=dict, hash=False)

    def __call__(self, text: str) -> str:
        if text not in self.names and text in self.meant:
            raise ValueError(f"{quoted(text)} is not known; did you mean {self.meant[text]}?")
        return known_name(text, self.names)


@dataclass(frozen=True)
class Described:
    """Reads a value by a function; ``takes`` says what to write."""

    read: Callable[[object], Any]
    takes: str

    def __call__(self, value: object) -> Any:
        return self.read(value)


class BeyondLimits(ValueError):
    """A number outside ``low`` to ``high``, all three in the base unit."""

    def __init__(self, message: str, low: float, high: float) -> None:
        super().__init__(message)
        self.low, self.high = low, high


def quantity(kind: Kind, scale: float = 1.0) -> BeforeValidator:
    """Reads a text with a unit as a number in the base unit of ``kind``, times ``scale``."""
    return BeforeValidator(ReadsQuantity(kind, scale))


def read(text: object, kind: Kind) -> float:
    """A text with a unit as a number in the base unit of ``kind``, within its limits.

    ValueError for a text without a quantity and for a number beyond the limits of the vocabulary.
    """
    return within_term(parse(text, kind), load_catalog().kinds[kind.name], text)


def within(name: str) -> AfterValidator:
    """Accepts a number within the vocabulary's limits of its parameter."""
    catalog = load_catalog()
    term = catalog.scenario_terms.get(name) or catalog.meanings[name]
    return AfterValidator(IsWithin(term))


def within_term(number: float, term: Term, written: object = None) -> float:
    """``number``; ValueError beyond the limits of ``term``."""
    if term.low <= number <= term.high:
        return number
    unit = "" if term.units == "1" else f" {term.units.removeprefix('delta_').replace('^', '')}"
    shown = f"{number:,.10g}{unit}" if written is None else quoted(written)
    limits = f"{term.low:,.10g} to {term.high:,.10g}{unit}"
    raise BeyondLimits(f"{shown} is out of range; {limits}", term.low, term.high)


def one_of(*names: str, meant: Mapping[str, str] | None = None) -> AfterValidator:
    """Accepts a text that is one of ``names``; ``meant`` as of ``IsOneOf``."""
    return AfterValidator(IsOneOf(names, meant or {}))


def entry_of(kind: str) -> AfterValidator:
    """Accepts the name of an entry of the catalog."""
    return one_of(*load_catalog().entries[kind])


def known_name(text: str, names: Iterable[str]) -> str:
    """``text`` if it is one of ``names``; else ValueError with the closest name."""
    names = tuple(names)
    if text not in names:
        raise ValueError(f"{quoted(text)} is not known; {nearest(text, names)}")
    return text


def weekday(text: object) -> object:
    """``Tuesday`` or ``tue`` as ``Tue``; any other value as it is."""
    word = text.strip().capitalize() if isinstance(text, str) else ""
    return word[:3] if word in WEEKDAYS or word in _WEEKDAYS_IN_FULL else text


def day_of_year(text: object) -> int:
    """``"04-15"`` as a day of the leap-year calendar, 0 to 365; ValueError when invalid."""
    expected = 'month and day, such as "04-15"'
    if not isinstance(text, str):
        raise ValueError(f"{quoted(text)} is not a day of the year; {expected}")
    try:
        # 2000 was a leap year.
        return (date.fromisoformat(f"2000-{text}") - date(2000, 1, 1)).days
    except ValueError:
        raise ValueError(f"{quoted(text)} is not a day of the year; {expected}") from None


def day_text(day: int) -> str:
    """A day of the leap-year calendar, from 0, as a scenario writes it: ``04-15``."""
    return f"{_date(day):%m-%d}"


def named_day(day: int) -> str:
    """The same in words: ``April 15``."""
    found = _date(day)
    return f"{found:%B} {found.day}"


def _date(day: int) -> date:
    return date(2000, 1, 1) + timedelta(int(day))


def whole_days(text: str) -> int:
    """``"2 weeks"`` as 14; ValueError unless it is one or more whole days."""
    days = round(read(text, SPAN), 6)
    if days < 1 or days != int(days):
        raise ValueError(f"{quoted(text)} is not whole days; 1 day or more")
    return int(days)


def numbers_with_unit(
    kind: Kind, key: str, contents: str, count: int | None = None
) -> BeforeValidator:
    """Reads ``{ unit = "in", KEY = [...] }`` as numbers in the base unit of ``kind``.

    ``contents`` describes the list in messages; ``count`` is its required length.
    """

    def read(table: object) -> list[float]:
        form = f'{{ unit = "{kind.examples[0]}", {key} = [{contents}] }}'
        if not isinstance(table, dict):
            raise ValueError(f"is not a list of numbers with a unit; write {form}")
        extra = set(table) - {"unit", key}
        if extra or not isinstance(table.get("unit"), str):
            what = f"{quoted(min(extra))} is not known here" if extra else "has no unit"
            raise ValueError(f"{what}; write {form}")
        numbers = table.get(key)
        if not isinstance(numbers, list) or any(type(n) not in (int, float) for n in numbers):
            raise ValueError(f"{key} must be numbers; write {form}")
        if count is not None and len(numbers) != count:
            raise ValueError(f"has {len(numbers)} {key} instead of {count}; write {form}")
        unit, limits = table["unit"], load_catalog().kinds[kind.name]
        return [
            within_term(
                convert(number, unit, kind.base, expected=form), limits, f"{number:g} {unit}"
            )
            for number in numbers
        ]

    shown = f'{{ unit = "{kind.examples[0]}", {key} = [...] }}'
    return BeforeValidator(Described(read, shown if count is None else f"{shown}, {count} numbers"))


# Goods by kind of quantity, and the form of their price.
_PRICED = {
    VOLUME: ("water", 'a price and a volume, such as "3.10 per 1000 gal" or "0.80 per m3"'),
    AREA: ("ground", 'a price and an area, such as "8.50 per ft2" or "90 per m2"'),
    WEIGHT: ("nitrogen", 'a price and a weight, such as "1.50 per lb" or "3.30 per kg"'),
}


def price_per(text: object, kind: Kind) -> float:
    """``"3.10 per 1000 gal"`` or ``"8.50 per ft2"`` as a price per base unit of ``kind``.

    ``kind`` is VOLUME (per m3), AREA (per m2) or WEIGHT (per kg). ValueError when it is not a price
    for this kind.
    """
    sold, expected = _PRICED[kind]
    form = rf"\s*({NUMBER}) per (\S.*)"
    written = re.fullmatch(form, text) if isinstance(text, str) else None
    if written is None:
        raise ValueError(f"{quoted(text)} is not a price of {sold}; {expected}")
    amount, size = written.groups()
    if not re.match(r"[\d.+-]", size):
        size = f"1 {size}"
    try:
        price, of = number_of(amount), parse(size, kind)
    except ValueError:
        raise ValueError(f"{quoted(text)} is not a price of {sold}; {expected}") from None
    if not (0.0 <= price < math.inf and of > 0.0 and math.isfinite(price / of)):
        raise ValueError(f"{quoted(text)} is not a price of {sold}; {expected}")
    return price / of


def price_of(kind: Kind) -> BeforeValidator:
    """Reads a text as a price per base unit of ``kind``."""
    return BeforeValidator(Described(lambda text: price_per(text, kind), _PRICED[kind][1]))


def price_of_work() -> BeforeValidator:
    """Reads a number, or a text such as "28 per h", as a price per hour of work."""
    expected = 'a price of an hour of work, such as 28.0 or "28 per h"'

    def read(value: object) -> object:
        if not isinstance(value, str):
            return value
        written = re.fullmatch(rf"\s*({NUMBER}) per (?:h|hour)\s*", value)
        if written is None:
            raise ValueError(f"{quoted(value)} is not a price of labor; {expected}")
        return number_of(written[1])

    return BeforeValidator(Described(read, expected))


def in_table(key: str, takes: str = "") -> Callable[[object], object]:
    """A bare text stands for a table that holds only ``key``; ``takes`` says what to write.

    So does a bare number, which the key refuses with what it takes.
    """

    def table(value: object) -> object:
        is_bare = isinstance(value, str | int | float) and not isinstance(value, bool)
        return {key: value} if is_bare else value

    return Described(table, takes) if takes else table


# 0.14 or "14%", with a blank or not.
AS_SHARE = BeforeValidator(percent)
Share = Annotated[float, AS_SHARE, Field(ge=0.0, le=1.0)]
SomeShare = Annotated[float, AS_SHARE, Field(gt=0.0, le=1.0)]
Odds = Annotated[float, AS_SHARE, Field(gt=0.0, lt=1.0)]
DayOfYear = Annotated[int, BeforeValidator(day_of_year)]
WholeDays = Annotated[int, BeforeValidator(whole_days)]
Weekday = Annotated[str, BeforeValidator(weekday), one_of(*WEEKDAYS)]
Weekdays = Annotated[list[Weekday], Field(min_length=1)]
Month = Annotated[str, one_of(*MONTHS)]
Text = Annotated[str, Field(min_length=1)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=40)]
# More than 200 mm at once, or an index of 10 m, is a typing error (own estimate).
Depth = Annotated[float, quantity(LENGTH), Field(gt=0.0, le=200.0)]
Drought = Annotated[float, quantity(LENGTH), Field(ge=0.0, le=10_000.0)]


EVERY_TIME = "every time"
"""Key for one depth on all watering days."""


Flaws = list[tuple[str, str, str]]
"""Key inside a table, the fault, and what is allowed."""


def refuse(faults: Flaws) -> None:
    """Refuse a table for each of ``faults``."""
    if faults:
        raise PydanticCustomError("faults", "see faults", {"faults": faults})


class Part(BaseModel):
    """A table of the file: unknown keys and values of another type are refused."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        frozen=True,
        # Built once, as parts of the file's own table.
        defer_build=True,
    )


class SpanTable(Part):
    first: Annotated[DayOfYear, Field(alias="from")]
    last: Annotated[DayOfYear, Field(alias="to")]


def values_of(table: Part | None, *but: str) -> dict[str, Any]:
    """Values of a table by attribute, for a record of the model with the same attributes.

    Values that are not set get the record's default, and lists become tuples. ``but`` lists
    attributes that the record lacks or that differ there.
    """
    return {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in table or ()
        if value is not None and name not in but
    }


def as_a(record: Callable[..., Any]) -> AfterValidator:
    """Converts a checked table to the record of the model."""
    return AfterValidator(lambda table: record(**values_of(table)))


def label_of(key: str, label: str | None) -> str:
    """The label of a table, or ``key`` as words."""
    return label or key.replace("_", " ")


Span = Annotated[SpanTable, AfterValidator(lambda table: (table.first, table.last))]
Flags = Annotated[Weekdays, AfterValidator(lambda days: tuple(day in days for day in WEEKDAYS))]
