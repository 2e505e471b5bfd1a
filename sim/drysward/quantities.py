"""Conversion of quantities with units, as users write them, to base units.

The program computes in mm, m2, m3, m3/h, degrees C, h, days, degrees of arc, and kg/ha of feed. A
scenario says ``"12 in"`` or ``"300 mm"``; a bare number for a quantity with a unit is refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from drysward.faults import Fault, FaultyInput, quoted
from drysward.loading import allow_import

if TYPE_CHECKING:
    import pint


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its base unit, and the units suggested in messages."""

    name: str
    base: str
    examples: tuple[str, ...]


LENGTH = Kind("depth or length", "mm", ("in", "mm", "cm", "ft", "m"))
HEIGHT = Kind("height above the sea", "mm", ("ft", "m"))
RATE = Kind("depth rate", "mm/h", ("in/h", "mm/h"))
DAILY_RATE = Kind("daily depth rate", "mm/d", ("in/d", "mm/d"))
AREA = Kind("area", "m^2", ("acre", "ft2", "m2", "ha", "yd2"))
VOLUME = Kind("volume", "m^3", ("gal", "Mgal", "acre-in", "acre-ft", "ft3", "m3", "L"))
FLOW = Kind("flow rate", "m^3/h", ("gpm", "m3/h", "L/s", "cfs"))
TIME = Kind("time of work", "h", ("h", "min"))
SPAN = Kind("span of days", "d", ("days", "weeks"))
ANGLE = Kind("angle", "deg", ("deg",))
# A difference, so that 1 degF is 5/9 degC and not 32 degrees apart.
WARMING = Kind("change of temperature", "delta_degC", ("degC", "degF"))
TEMPERATURE = Kind("temperature", "degC", ("degC", "degF"))
PRESSURE_HEAD = Kind("soil water tension", "cm", ("cm", "in"))
SPEED = Kind("wind speed", "m/s", ("m/s", "mph", "km/h"))
RADIATION = Kind("daily radiation", "MJ/m^2", ("MJ/m2",))
FEED = Kind("weight by area", "kg/ha", ("lb/1000 ft2", "kg/ha", "g/m2", "lb/acre"))
WEIGHT = Kind("weight", "kg", ("lb", "kg"))
CONDUCTIVITY = Kind("electric conductivity", "dS/m", ("dS/m", "mS/cm", "uS/cm"))
CONCENTRATION = Kind("concentration", "mg/L", ("mg/L", "ppm"))


@cache
def registry() -> pint.UnitRegistry:
    """The unit registry, with units of the trade. Loaded on first use (0.6 s)."""
    allow_import("pint")
    import pint

    ureg: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)
    # The library's acre uses the old US survey foot; the acre of the trade is 43,560 ft2.
    ureg.define("field_acre = 43560 * foot ** 2")
    # Rates of feed are per 1000 ft2, which the library does not take as a unit.
    ureg.define("field_thousand = 1000 * foot ** 2")
    return ureg


# Common spellings that the unit library does not read correctly.
_SPELLINGS = {
    "gal": "gallon",
    "million gal": "megagallon",
    "million gallons": "megagallon",
    "thousand gal": "kilogallon",
    "thousand gallons": "kilogallon",
    "gpm": "gallon/minute",
    "gal/min": "gallon/minute",
    "cfs": "foot**3/second",
    "in": "inch",
    '"': "inch",
    "'": "foot",
    "in/h": "inch/hour",
    "in/hr": "inch/hour",
    "in/d": "inch/day",
    "mm/h": "millimeter/hour",
    "mm/d": "millimeter/day",
    "in/week": "inch/week",
    "mm/week": "millimeter/week",
    "ft2": "foot**2",
    "sq ft": "foot**2",
    "sf": "foot**2",
    "ft3": "foot**3",
    "cu ft": "foot**3",
    "yd2": "yard**2",
    "m2": "meter**2",
    "m3": "meter**3",
    "m3/h": "meter**3/hour",
    "m3/d": "meter**3/day",
    "L/s": "liter/second",
    "L/min": "liter/minute",
    "acre": "field_acre",
    "acres": "field_acre",
    "ac": "field_acre",
    "acre-in": "field_acre*inch",
    "acre-inch": "field_acre*inch",
    "acre-ft": "field_acre*foot",
    "acre-feet": "field_acre*foot",
    "g/cm3": "gram/centimeter**3",
    "MJ/m2": "megajoule/meter**2",
    "min": "minute",
    "h": "hour",
    "hr": "hour",
    "hours": "hour",
    "days": "day",
    "d": "day",
    "weeks": "week",
    "C": "degC",
    "F": "degF",
    "deg": "degree",
    "mph": "mile/hour",
    "km/h": "kilometer/hour",
    "hPa": "hectopascal",
    "lb/1000 ft2": "pound/field_thousand",
    "lb/1,000 ft2": "pound/field_thousand",
    "lb/1000 sq ft": "pound/field_thousand",
    "lb/1,000 sq ft": "pound/field_thousand",
    "lb/1000 sf": "pound/field_thousand",
    "lb per 1000 ft2": "pound/field_thousand",
    "lb per 1000 sq ft": "pound/field_thousand",
    "oz/1000 ft2": "ounce/field_thousand",
    "lb/acre": "pound/field_acre",
    "lb/ac": "pound/field_acre",
    "lb/a": "pound/field_acre",
    "kg/ha": "kilogram/hectare",
    "g/m2": "gram/meter**2",
    "dS/m": "decisiemens/meter",
    "mg/L": "milligram/liter",
    "ppm": "milligram/liter",  # by weight in water
}


# A number as people type it: 87,120 and 1 1/2 besides 1.5 and 1e3. Commas only between thousands.
NUMBER = (
    r"[+-]?(?:[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?|(?:[0-9]+[ ])?[0-9]+/[1-9][0-9]*"
    r"|[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
)
AFTER_NUMBER = r"(?:\s+|(?![0-9.,/+-]))"
"""Between a number and its unit: blanks, or nothing where the unit cannot be more of the number."""
_QUANTITY = re.compile(rf"\s*({NUMBER})(?:{AFTER_NUMBER}(\S.*?))?\s*", re.DOTALL)
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+(?![0-9,])")


def number_of(text: str) -> float:
    """A text that matches ``NUMBER`` as a number."""
    whole, _, fraction = text.replace(",", "").rpartition(" ")
    above, _, below = fraction.partition("/")
    if not below:
        return float(fraction)
    part = float(above) / float(below)
    return math.copysign(abs(float(whole)) + part, float(whole)) if whole else part


def number_and_unit(text: str) -> tuple[float, str] | None:
    """``"87,120 sq ft"`` as 87120 and ``sq ft``; unit "" where there is none, None if no number."""
    found = _QUANTITY.fullmatch(text)
    return None if found is None else (number_of(found[1]), found[2] or "")


def percent(value: object) -> object:
    """``"14%"`` as 0.14, for a share of 1; any other value as it is."""
    written = number_and_unit(value) if isinstance(value, str) else None
    return written[0] / 100.0 if written is not None and written[1] == "%" else value


def parse(text: object, kind: Kind) -> float:
    """Read ``"12 in"`` as a number in the base unit of ``kind``.

    Parameters
    ----------
    text : number and unit, as ``number_and_unit`` reads them.
    kind : one of the kinds of this module.

    Returns
    -------
    The value in ``kind.base``.

    Raises
    ------
    ValueError
        With a message for the writer of the file: no unit, unknown unit, wrong dimension.
    """
    expected = f"write {kind.name} as a number and a unit ({', '.join(kind.examples)})"
    if not isinstance(text, str):
        raise ValueError(_without_unit(text, text, kind))
    written = number_and_unit(text)
    if written is None:
        if _DECIMAL_COMMA.match(text):
            pointed = quoted(text.replace(",", ".", 1).strip(), bare=True)
            raise ValueError(
                f"{quoted(text)} has a comma that separates no thousands; "
                f'write "{pointed}", or thousands as in 1,500'
            )
        raise ValueError(f"{quoted(text)} is not a number with a unit; {expected}")
    number, unit = written
    if not math.isfinite(number):
        raise ValueError(f"{quoted(text)} is not a finite number; {expected}")
    if not unit:
        raise ValueError(_without_unit(text, number, kind))
    try:
        return convert(number, unit, kind.base, expected=expected)
    except ValueError:
        if kind is VOLUME and _is_area(unit):
            raise ValueError(
                f"{quoted(unit)} is an area; a volume is an area and a depth, such as acre-ft; "
                f"{expected}"
            ) from None
        raise


def _is_area(unit: str) -> bool:
    try:
        convert(1.0, unit, AREA.base)
    except ValueError:
        return False
    return True


def _without_unit(text: object, number: object, kind: Kind) -> str:
    """That a quantity has no unit, and how it is written."""
    first, *others = kind.examples
    if isinstance(number, bool) or not isinstance(number, int | float):
        return f'{quoted(text)} has no unit; write a number and a unit, such as "1 {first}"'
    more = f", or in {', '.join(others)}" if others else ""
    return f'{quoted(text)} has no unit; write "{number:.10g} {first}"{more}'


# Factors from common units to base units, listed here because the unit library, which reads all
# others, takes most of a second to load. The factors equal the library's to the last bit, which the
# exact definitions (ft = 304.8 mm) do not.
FACTORS: Mapping[str, Mapping[str, float]] = {
    "mm": {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.79999999999995},
    "cm": {"cm": 1.0, "in": 2.54},
    "mm/h": {"mm/h": 1.0, "in/h": 25.4},
    "mm/d": {"mm/d": 1.0, "in/d": 25.4},
    "m^2": {
        "m2": 1.0, "ha": 10_000.0, "ft2": 0.09290303999999999, "yd2": 0.83612736,
        "acre": 4046.8564224,
    },
    "m^3": {
        "m3": 1.0, "L": 0.0010000000000000002, "ft3": 0.028316846591999994,
        "gal": 0.0037854117839999993, "Mgal": 3785.411783999999, "acre-in": 102.79015312896,
        "acre-ft": 1233.4818375475197,
    },
    "m^3/h": {
        "m3/h": 1.0, "L/s": 3.600000000000001, "gpm": 0.22712470703999996,
        "cfs": 101.94064773119997,
    },
    "h": {"h": 1.0, "min": 1.0 / 60.0},
    "d": {"d": 1.0, "day": 1.0, "days": 1.0, "weeks": 7.0},
    "deg": {"deg": 1.0},
    "degC": {"degC": 1.0},
    "delta_degC": {"degC": 1.0, "degF": 5.0 / 9.0},
    "m/s": {"m/s": 1.0, "mph": 0.44704, "km/h": 0.2777777777777778},
    "MJ/m^2": {"MJ/m2": 1.0},
    "kg/ha": {
        "kg/ha": 1.0, "g/m2": 10.0, "lb/1000 ft2": 48.82427636383052,
        "lb/acre": 1.1208511561944565,
    },
    "kg": {"kg": 1.0, "lb": 0.4535923700000001},
    "dS/m": {"dS/m": 1.0, "mS/cm": 1.0, "uS/cm": 0.001},
    "mg/L": {"mg/L": 1.0, "ppm": 1.0},
}  # fmt: skip
_KELVIN_AT_0_DEGC = 273.15
_KELVIN_AT_0_DEGF = 233.15 + 200.0 / 9.0


def convert(value: float, unit: str, to: str, *, expected: str = "") -> float:
    """``value`` in ``unit`` converted to the unit ``to``; ValueError when the unit does not fit."""
    factor = FACTORS.get(to, {}).get(unit)
    if factor is not None:
        return _finite(float(value * factor), unit, expected)
    if unit == "degF" and to == TEMPERATURE.base:
        return value * (5.0 / 9.0) + _KELVIN_AT_0_DEGF - _KELVIN_AT_0_DEGC
    try:
        return library_convert(value, unit, to, expected)
    except ValueError:
        plain = _plainly(unit)
        if plain == unit:
            raise
    return convert(value, plain, to, expected=expected)


def _plainly(unit: str) -> str:
    """The unit that ``GPM``, ``Acres`` or ``sq. ft`` means; ``unit`` itself where it is no such.

    Only for what the unit library does not take, because mJ and MJ differ in case alone.
    """
    without_dots = re.sub(r"(?<=[A-Za-z])\.(?=\s|$)", "", unit)
    return _by_lower_case().get(without_dots.lower(), without_dots)


@cache
def _by_lower_case() -> dict[str, str]:
    units = [*_SPELLINGS, *(unit for factors in FACTORS.values() for unit in factors)]
    units += ["foot", "feet", "inch", "inches", "gallon", "gallons"]
    # In lower case Mgal would be a thousandth of a gallon.
    return {unit.lower(): unit for unit in units if not unit.startswith("M")}


def unit_of(text: object) -> str:
    """The unit of a quantity that ``parse`` can read: all after its number."""
    return str(text).strip().partition(" ")[2].strip()


def written_in(value: float, kind: Kind, unit: str) -> float:
    """``value`` of the base unit of ``kind`` as a number of ``unit``; ValueError as ``convert``."""
    zero, one = convert(0.0, unit, kind.base), convert(1.0, unit, kind.base)
    return (value - zero) / (one - zero)


LONGEST_UNIT = 60
# The unit library evaluates any arithmetic in a text, however large its numbers grow. It gets only
# names and short numbers, each to a power of one digit, with signs between them.
_NUMBER = r"[0-9]{1,6}(?:\.[0-9]{1,6})?(?:[eE][+-]?[0-9]{1,2})?"
_NAME = r"[A-Za-z_%\u00b0\u00b5\u03bc\u03a9][A-Za-z0-9_%\u00b0\u00b5\u03bc\u03a9]*"
_POWER = r"(?:[ ]?(?:\*\*|\^)[ ]?[+-]?[1-9](?![\w.])|[\u00b2\u00b3](?!\w))"
_FACTOR = rf"\(?(?:{_NUMBER}|{_NAME}){_POWER}?\)?"
_UNIT = re.compile(rf"{_FACTOR}(?:[ ]*(?:/|\*(?!\*)|\u00b7|-(?=[A-Za-z]))?[ ]*{_FACTOR})*+")
_WORDS_OF_POWER = re.compile("squared?|cubed?|cubic")
_MOST_WORDS_OF_POWER = 2  # each squares or cubes the factor before it


def _readable(unit: str) -> bool:
    """Whether a text is short and plain enough for the unit library."""
    if len(unit) > LONGEST_UNIT or not _UNIT.fullmatch(unit):
        return False
    return len(_WORDS_OF_POWER.findall(unit)) <= _MOST_WORDS_OF_POWER


def _finite(number: float, unit: str, expected: str) -> float:
    if math.isinf(number):
        hint = f"; {expected}" if expected else ""
        raise ValueError(f"the number of {quoted(unit)} is too large{hint}")
    return number


# A sweep reads the same quantities thousands of times, and the unit library is slow.
@lru_cache(maxsize=4096)
def library_convert(value: float, unit: str, to: str, expected: str = "") -> float:
    """As ``convert``, with the unit library."""
    hint = f"; {expected}" if expected else ""
    known = _SPELLINGS.get(unit, unit)
    if not _readable(known):
        raise ValueError(f"unit {quoted(unit)} is not known{hint}")
    ureg = registry()
    import pint

    if to == WARMING.base and known in ("degC", "degF"):
        known = f"delta_{known}"
    try:
        quantity = ureg.Quantity(value, known)
        found = float(quantity.to(_SPELLINGS.get(to, to)).magnitude)
    except MemoryError:
        raise
    # The library's error for a wrong dimension is a TypeError too, so it is caught first.
    except pint.DimensionalityError:
        first = _US[to].unit if to in _US else to
        raise ValueError(f"unit {quoted(unit)} cannot be converted to {first}{hint}") from None
    # On garbled text the library raises any Python error, besides its own.
    except Exception:
        raise ValueError(f"unit {quoted(unit)} is not known{hint}") from None
    return _finite(found, unit, expected)


@dataclass(frozen=True)
class Display:
    """Display of a base unit: ``shown = base * factor``."""

    unit: str
    factor: float
    decimals: int


# Exact definitions: 1 in = 25.4 mm, 1 US gal = 231 in3, 1 acre = 43,560 ft2 (common practice).
_US = {
    "mm": Display("in", 1 / 25.4, 1),
    "m^3": Display("gal", 1 / 0.003785411784, 0),
    "m^2": Display("acre", 1 / 4046.8564224, 2),
    "degC": Display("degC", 1.0, 1),
    "m^3/h": Display("gpm", 1 / 0.2271247070, 1),
    "mm/h": Display("in/h", 1 / 25.4, 2),
    "mm/d": Display("in/d", 1 / 25.4, 2),
    "kg/ha": Display("lb/1000 ft2", 0.09290304 / 4.5359237, 2),
    "kg": Display("lb", 1 / 0.45359237, 0),
}
_METRIC = {
    "mm": Display("mm", 1.0, 0),
    "m^3": Display("m3", 1.0, 0),
    "m^2": Display("m2", 1.0, 0),
    "degC": Display("degC", 1.0, 1),
    "m^3/h": Display("m3/h", 1.0, 1),
    "mm/h": Display("mm/h", 1.0, 1),
    "mm/d": Display("mm/d", 1.0, 1),
    "kg/ha": Display("kg/ha", 1.0, 0),
    "kg": Display("kg", 1.0, 0),
}


_SYSTEMS = {"us": _US, "metric": _METRIC}
SYSTEMS = tuple(_SYSTEMS)
"""Systems of units for answers, the usual one first."""


def require_system(system: str) -> None:
    """FaultyInput unless ``system`` is a system of units for answers."""
    if system not in _SYSTEMS:
        raise FaultyInput(Fault("units", f"{quoted(system)} is not known", " or ".join(_SYSTEMS)))


def display(base: str, system: str) -> Display:
    """Display of a base unit in ``system`` ("us" or "metric"); other units stay as they are."""
    return _SYSTEMS[system].get(base, Display(base, 1.0, 2))


_BASE_OF_CF = {"m2": "m^2", "m3": "m^3", "m3 h-1": "m^3/h", "kg ha-1": "kg/ha"}


def shown(units: str, system: str) -> Display:
    """Display of a CF unit in ``system``; a share has no unit and stays as it is."""
    return display(_BASE_OF_CF.get(units, units), system)


def any_shown(unit: str, system: str) -> Display:
    """How a unit that a person wrote, such as ``ft``, is shown in ``system``; as ``shown`` else."""
    for base, factors in FACTORS.items():
        if base in _US and unit in factors:
            how = display(base, system)
            return Display(how.unit, factors[unit] * how.factor, how.decimals)
    return shown(unit, system)
