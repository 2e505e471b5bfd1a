"""Columns of weather files: their quantity and unit.

A header states both (``tmax_f``, ``wind_10m_m_s``), or the user declares them. Nothing is guessed.
Capitals, blanks and brackets do not matter: ``Tmax (F)`` is ``tmax_f``.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from drysward.faults import Fault, closest_name, listed, nearest, quoted
from drysward.quantities import LONGEST_UNIT, convert, number_and_unit
from drysward.weather.record import FloatArray

DATE = "date"
HOUR = "hour"


@dataclass(frozen=True)
class Quantity:
    """A weather quantity: its array in the record, units, and what is possible on earth."""

    field: str
    base: str  # base unit, as drysward.quantities.convert reads it
    shown: str  # the same, for messages
    suffixes: Mapping[str, str]  # end of a header -> unit
    low: float
    high: float
    rate: str = ""  # base unit when the file has a rate, for daily amounts


_TEMPERATURE = {"c": "degC", "f": "degF"}
_DEPTH = {"mm": "mm", "in": "in"}
_SPEED = {"m_s": "m/s", "mph": "mph", "km_h": "km/h"}
_HUMIDITY = {"pct": "%"}

# Temperatures: the records are -89 and 57 deg C. Rain: the record of a day is 1825 mm. Vapor
# pressure: that of saturated air at 60 deg C is 19.9 kPa. Wind: the record gust is 113 m/s.
# Solar: no place gets more than 49 MJ/m2 at the top of the air. Records are common knowledge;
# the limit of reference ET is an estimate.
QUANTITIES: dict[str, Quantity] = {
    "rain": Quantity("rain_mm", "mm", "mm", _DEPTH, 0, 2000, "mm/d"),
    "tmax": Quantity("tmax_c", "degC", "deg C", _TEMPERATURE, -90, 60),
    "tmin": Quantity("tmin_c", "degC", "deg C", _TEMPERATURE, -90, 60),
    "dewpoint": Quantity("dewpoint_c", "degC", "deg C", _TEMPERATURE, -90, 60),
    "vapor_pressure": Quantity(
        "vapor_pressure_kpa", "kPa", "kPa", {"kpa": "kPa", "hpa": "hPa"}, 0, 20
    ),
    "rh_mean": Quantity("rh_mean_pct", "%", "%", _HUMIDITY, 0, 100),
    "rh_max": Quantity("rh_max_pct", "%", "%", _HUMIDITY, 0, 100),
    "rh_min": Quantity("rh_min_pct", "%", "%", _HUMIDITY, 0, 100),
    "wind": Quantity("wind_m_s", "m/s", "m/s", _SPEED, 0, 120),
    "solar": Quantity(
        "solar_mj_m2", "MJ/m2", "MJ/m2", {"mj_m2": "MJ/m2", "w_m2": "W/m2"}, 0, 50, "MJ/m**2/d"
    ),
    "sunshine": Quantity("sunshine_h", "h", "h", {"h": "h"}, 0, 24),
    "reference_et": Quantity("reference_et_mm", "mm", "mm", _DEPTH, 0, 30, "mm/d"),
}
LARGEST_NUMBER = 1e40
"""Above any library's mark for a missing value; sums and powers of smaller values stay finite."""
REQUIRED = ("rain", "tmax", "tmin")
# Files with several rows a day: quantities of a moment, and how they are combined to a day.
MOMENTARY: dict[str, Quantity] = {
    "temperature": Quantity("", "degC", "deg C", _TEMPERATURE, -90, 60),
    "rh": Quantity("", "%", "%", _HUMIDITY, 0, 100),
}
# A column that only helps to read another: hours of daylight, over which radiation is a mean.
HELPERS = {"daylight": Quantity("", "s", "s", {}, 0, 86_400)}
_OTHER_NAMES = {"precipitation": "rain", "precip": "rain", "prcp": "rain"}
_WIND_AT = re.compile(r"wind_([0-9]+(?:\.[0-9]+)?)m(?:_(.+))?")
STRANGERS_LISTED = 30
"""Unknown columns listed in one fault."""
MONTHLY_INSTEAD = (
    "both columns; or monthly means, with which hot spells, single frosts and snow are not "
    'modeled: under [weather] monthly_temperature = { tmax = { unit = "degF", months = [twelve '
    'numbers] }, tmin = { unit = "degF", months = [twelve numbers] } }'
)
WIND_HEIGHTS_M = (0.5, 200.0)  # estimate: range of the logarithmic profile of Eq 47


@dataclass(frozen=True)
class ColumnSpec:
    """A declared column: its name in the file, and the unit ("degF", "in"; none for the date)."""

    column: str
    unit: str = ""


@dataclass(frozen=True)
class Column:
    """A column of the file that holds a known quantity."""

    name: str
    quantity: str  # key of QUANTITIES or of MOMENTARY, DATE, or HOUR
    unit: str
    height_m: float | None = None  # height of wind, when the name states it
    scale: float = 1.0  # factor from the number in the file to the unit
    missing: tuple[float, ...] = ()  # numbers that mark missing values
    ends: bool = False  # an amount for the period that ends at its stamp


def quantity_of(name: str) -> Quantity:
    """The definition of a quantity of a day or of a moment."""
    return {**QUANTITIES, **MOMENTARY, **HELPERS}[name]


def accepted_names() -> list[str]:
    """Headers that state quantity and unit; wind at 2 m stands for wind at any height."""
    names = [DATE]
    for quantity, facts in QUANTITIES.items():
        stem = "wind_2m" if quantity == "wind" else quantity
        names += [f"{stem}_{suffix}" for suffix in facts.suffixes]
    return names + [f"precipitation_{suffix}" for suffix in _DEPTH]


def as_header(name: str) -> str:
    """A header in small letters, with ``_`` for all that stands between words: ``tmax_f``."""
    words = name.lower().replace("%", " pct ")
    return re.sub(r"[^a-z0-9.]+", "_", words).strip("_")


def by_header(name: str) -> Column | None:
    """The column that a CSV header names with quantity and unit, or None."""
    plain = as_header(name)
    if plain in (DATE, HOUR):
        return Column(name, plain, "")
    if (match := _WIND_AT.fullmatch(plain)) and match[2] in _SPEED:
        return Column(name, "wind", _SPEED[match[2]], float(match[1]))
    for quantity in (*QUANTITIES, *MOMENTARY, *_OTHER_NAMES):
        known = _OTHER_NAMES.get(quantity, quantity)
        unit = quantity_of(known).suffixes.get(plain.removeprefix(f"{quantity}_"))
        if unit and plain.startswith(f"{quantity}_"):
            return Column(name, known, unit)
    return None


def by_variable(name: str, unit: str) -> Column | None:
    """The column that a NetCDF variable names with its quantity alone, or None."""
    if match := _WIND_AT.fullmatch(name):
        return None if match[2] else Column(name, "wind", unit, float(match[1]))
    quantity = _OTHER_NAMES.get(name, name)
    return Column(name, quantity, unit) if quantity in QUANTITIES else None


def declared_columns(
    specs: Mapping[str, ColumnSpec],
    present: Collection[str],
    units: Mapping[str, str] | None,
    where: str,
) -> tuple[list[Column], list[Fault]]:
    """The declared columns that the file has, and the faults of the others.

    ``units`` are those the file itself states by column; None for a file that states none.
    """
    columns: list[Column] = []
    faults: list[Fault] = []
    for quantity, spec in specs.items():
        known = _OTHER_NAMES.get(quantity, quantity)
        if known not in (DATE, HOUR, *QUANTITIES, *MOMENTARY):
            hint = nearest(quantity, [DATE, *QUANTITIES])
            what = f"declares {quoted(quantity)}, which is not a quantity"
            faults.append(Fault(where, what, hint))
        elif spec.column not in present:
            hint = nearest(spec.column, present)
            faults.append(Fault(where, f"has no column {quoted(spec.column)} for {quantity}", hint))
        elif any(spec.column == column.name for column in columns):
            what = f"column {quoted(spec.column)} is declared for two quantities"
            faults.append(Fault(where, what, "one"))
        elif known in (DATE, HOUR):
            columns.append(Column(spec.column, known, ""))
        elif units is None and not spec.unit:
            known_units = ", ".join(quantity_of(known).suffixes.values())
            what = f"column {quoted(spec.column)} is declared without a unit"
            faults.append(Fault(where, what, f"such as {known_units}"))
        elif units is not None and spec.unit not in ("", units.get(spec.column)):
            stated = units.get(spec.column) or "no unit"
            what = (
                f"{quoted(spec.column)} is in {quoted(stated, bare=True)} in the file and "
                f"{quoted(spec.unit, bare=True)} as declared"
            )
            faults.append(Fault(where, what, "leave out unit"))
        else:
            unit = spec.unit if units is None else units.get(spec.column, "")
            # "0.1 degC" of a file in tenths.
            scale, unit = number_and_unit(unit) or (1.0, unit)
            columns.append(Column(spec.column, known, unit, scale=scale))
    return columns, faults


def unknown_columns(names: Sequence[str], where: str) -> list[Fault]:
    """Faults of unknown columns; those unlike any known header are merged into one."""
    faults: list[Fault] = []
    strangers: list[str] = []
    accepted = accepted_names()
    for name in names:
        plain = as_header(name)
        quantity = _OTHER_NAMES.get(plain, plain)
        at_height = _WIND_AT.fullmatch(plain)
        windy = plain == "wind" or (at_height and not at_height[2])
        if windy or quantity in QUANTITIES:
            facts = QUANTITIES["wind" if windy else quantity]
            stem = "wind_2m" if plain == "wind" else plain
            ways = " or ".join(f"{stem}_{suffix}" for suffix in facts.suffixes)
            what = f"column {quoted(name)} does not say its unit"
            declared = declaring("wind" if windy else quantity, name)
            faults.append(Fault(where, what, f"{ways}, or declare it: {declared}"))
        elif close := closest_name(name.lower(), accepted):
            hint = f"did you mean '{close}'? or declare or ignore it"
            faults.append(Fault(where, f"column {quoted(name)} is not known", hint))
        else:
            strangers.append(name)
    if strangers:
        many = len(strangers) > 1
        names_text = listed((quoted(name) for name in strangers[:-1]), STRANGERS_LISTED)
        names_text += f"{' and ' if many else ''}{quoted(strangers[-1])}"
        what = f"column{'s' if many else ''} {names_text} {'are' if many else 'is'} not known"
        names = ", ".join(toml_text(name) for name in strangers[:STRANGERS_LISTED])
        more = ", ..." if len(strangers) > STRANGERS_LISTED else ""
        allowed = (
            f"headers that are known: {', '.join(accepted)}; declare or ignore "
            f"{'them' if many else 'it'}, under [weather]"
        )
        faults.append(Fault(where, what, allowed, f"ignore = [{names}{more}]"))
    return faults


def declaring(quantity: str, column: str) -> str:
    """The line of a scenario that declares ``column``, with the last unit of its quantity."""
    units = [] if quantity == DATE else [*quantity_of(quantity).suffixes.values()]
    unit = f", unit = {toml_text(units[-1])}" if units else ""
    return f"columns = {{ {quantity} = {{ column = {toml_text(column)}{unit} }} }}"


def toml_text(text: str) -> str:
    """Text as TOML writes it, shortened when it is long."""
    text = quoted(text, bare=True)
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def check_columns(
    columns: Sequence[Column],
    where: str,
    wind_height_m: float | None,
    without_temperature: bool = False,
) -> tuple[float | None, list[Fault]]:
    """The height of the wind, and faults of the set of columns: missing, duplicate, no height.

    ``without_temperature``: monthly means replace it.
    """
    faults = []
    quantities = {column.quantity for column in columns}
    has_temperature = quantities & {"tmax", "tmin", "temperature"}
    if without_temperature and has_temperature:
        name = next(c.name for c in columns if c.quantity in has_temperature)
        what = f"column {quoted(name)} has temperature, which monthly means would replace"
        faults.append(Fault(where, what, "keep one of them; a column can be ignored"))
    elif without_temperature and "reference_et" not in quantities:
        what = "no column for reference_et, which a file without temperature needs"
        faults.append(Fault(where, what, "reference_et_mm or reference_et_in, or declare one"))
    elif not has_temperature and "reference_et" in quantities and not without_temperature:
        what = (
            "no column for tmax and tmin; reference ET alone does not say when turf grows, rests "
            "and greens up, nor what is snow, frost or heat"
        )
        faults.append(Fault(where, what, MONTHLY_INSTEAD))
        without_temperature = True
    momentary = any(column.quantity == "temperature" for column in columns)
    for quantity in (DATE, HOUR, *QUANTITIES, *MOMENTARY):
        names = [column.name for column in columns if column.quantity == quantity]
        if len(names) > 1:
            names_text = " and ".join(quoted(name) for name in names)
            faults.append(
                Fault(where, f"two columns for {quantity}: {names_text}", "ignore one of them")
            )
        if not names and quantity in (DATE, *REQUIRED):
            if (momentary or without_temperature) and quantity in ("tmax", "tmin"):
                continue
            facts = QUANTITIES.get(quantity)
            ways = [f"{quantity}_{suffix}" for suffix in facts.suffixes] if facts else [DATE]
            allowed = f"{' or '.join(ways)}, or declare one: {declaring(quantity, '...')}"
            faults.append(Fault(where, f"no column for {quantity}", allowed))
    low, high = WIND_HEIGHTS_M
    height = wind_height_m
    for wind in (column for column in columns if column.quantity == "wind"):
        if wind.height_m is not None:
            if wind_height_m is not None and wind_height_m != wind.height_m:
                faults.append(
                    Fault(
                        where,
                        f"column {quoted(wind.name)} is at {wind.height_m:g} m by its name "
                        f"and at {wind_height_m:g} m as declared",
                        "one height",
                    )
                )
            height = wind.height_m
        if height is None:
            faults.append(
                Fault(
                    where,
                    f"column {quoted(wind.name)} does not say the height of the wind",
                    "wind_2m_m_s or wind_10m_m_s, or declare the height",
                )
            )
        elif not low <= height <= high:
            faults.append(
                Fault(where, f"wind is at {height:g} m", f"a height of {low:g} to {high:g} m")
            )
    return height, faults


def known_columns(
    path: str,
    named: Mapping[str, Column | None],
    units: Mapping[str, str] | None,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
    without_temperature: bool = False,
) -> tuple[list[Column], float | None, list[Fault]]:
    """The columns to read, of those ``named`` in the file, the wind's height, and faults."""
    columns, faults = declared_columns(specs, named, units, path)
    declared = {spec.column for spec in specs.values()}
    for name in ignore:
        if name not in named:
            what = f"has no column {quoted(name)} to ignore"
            faults.append(Fault(path, what, nearest(name, named)))
    left = {n: column for n, column in named.items() if n not in declared and n not in ignore}
    columns += [column for column in left.values() if column is not None]
    faults += unknown_columns([name for name, column in left.items() if column is None], path)
    height, set_faults = check_columns(columns, path, wind_height_m, without_temperature)
    return columns, height, faults + set_faults


# CF spellings of units that the unit library does not know.
_CF_SPELLINGS = {"Celsius": "celsius", "degrees_Celsius": "degC", "degrees_celsius": "degC"}


def to_base(values: FloatArray, column: Column) -> FloatArray:
    """Values (n,) in the base unit; ValueError when the unit does not fit."""
    return in_base(values, column)[0]


def in_base(values: FloatArray, column: Column) -> tuple[FloatArray, bool]:
    """Values (n,) in the base unit, and whether the file has a rate: 1 mm/h is 24 mm.

    ValueError when the unit does not fit.
    """
    facts = quantity_of(column.quantity)
    if column.unit == facts.base:
        return values, False
    if len(column.unit) > LONGEST_UNIT:
        raise ValueError(f"unit {quoted(column.unit)} cannot be converted to {facts.shown}")
    unit = _CF_SPELLINGS.get(column.unit, column.unit)
    # "kg m-2 d-1" and "W/m2" are read as powers. A kg of water on a m2 is a mm deep.
    unit = re.sub(r"(?<=[A-Za-z])\^?(-?[0-9])", r"**\1", "*".join(unit.split()))
    unit = unit.replace("kg*m**-2", "mm").replace("kg/m**2", "mm")
    for base in filter(None, (facts.base, facts.rate)):
        try:
            # All these units are linear, so two points define the line.
            zero, hundred = convert(0.0, unit, base), convert(100.0, unit, base)
        except ValueError:
            continue
        with np.errstate(over="ignore"):  # impossible values are reported later
            return zero + values * ((hundred - zero) / 100), base == facts.rate
    raise ValueError(f"unit {quoted(column.unit)} cannot be converted to {facts.shown}")
