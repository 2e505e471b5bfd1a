"""The values that a scenario runs on, in the units in which a person reads them."""

from __future__ import annotations

import math
from dataclasses import replace

from drysward.catalog import SCENARIO
from drysward.quantities import SYSTEMS, Display, shown
from drysward.scenario.resolved import Row

_US = SYSTEMS[0]
_DIGITS, _DIGITS_OF_A_RANGE = 4, 3
"""Significant digits of a converted value, and of one that is known within a range only; digits
before the point all stand."""
_FT, _LB = 1 / 0.3048, 1 / 0.45359237

# What ``shown`` leaves as it is, since no answer has it. A price is that of the unit after its "/".
# Heat flow, thermal resistance, roots of units, laboratory densities, and what a name says is "per
# mm", stay metric.
_US_VALUES = {
    "m": Display("ft", _FT, 1),
    "cm": Display("in", 1 / 2.54, 1),
    "1/cm": Display("1/in", 2.54, 1),
    "kg": Display("lb", _LB, 1),
    "kg/m3": Display("lb/ft3", _LB / _FT**3, 1),
    "kg/ha/d": Display("lb/1000 ft2/d", _LB * 0.09290304 / 10.0, 2),
    "mm/degC/d": Display("in/degF/d", 1 / 25.4 / 1.8, 1),
    "1/degC/d": Display("1/degF/d", 1 / 1.8, 1),
}
_US_PRICES = {
    "m3": Display("1000 gal", 3.785411784, 1),
    "m2": Display("ft2", 1 / _FT**2, 1),
    "kg": Display("lb", 1 / _LB, 1),
}
_PRICED = ("costs.", "supply.")
_CF = {"m3/h": "m3 h-1", "kg/ha": "kg ha-1"}

DIFFERENCES = (
    "growth_spread_c", "leaf_depression_c", "wet_day_tmax_shift_c", "day_frozen_loss_c",
)  # fmt: skip
"""Numbers in degC that are a difference of temperatures, without the 32 of degF."""


def in_units(row: Row, system: str) -> Row:
    """A row in the units of ``system``, "us" or "metric": its value as text, its unit, its range.

    A range that the scenario writes stays in the scenario's own unit, and a unit that ``system``
    does not convert stays as it is.
    """
    unit = "" if row.unit == "1" else row.unit
    if isinstance(row.value, str):
        return replace(row, unit=unit)
    factor, start, unit_shown = _conversion(row, unit, system)
    if unit_shown == unit:
        return replace(row, value=plain_number(row.value), unit=unit)
    digits = _DIGITS_OF_A_RANGE if row.range else _DIGITS

    def text(value: float) -> str:
        return plain_number(value * factor + start, digits)

    spread = row.range
    if row.ends is not None:
        low, high = row.ends
        _, comma, chance = row.range.partition(", ")
        spread = f"{text(low)} to {text(high)}{comma}{chance}"
    elif row.grade != SCENARIO:
        spread = ""  # an older file has it only as text in the other unit
    return replace(row, value=text(row.value), unit=unit_shown, range=spread)


def name_without_unit(key: str, unit: str) -> str:
    """``usual height`` of ``usual_height_mm``: the last part of a key, its unit beside it."""
    ending = f"_{unit.replace('/', '_').replace('degC', 'c')}"
    return (key.removesuffix(ending) if unit else key).replace("_", " ")


def plain_number(value: float, digits: int = 6) -> str:
    """A number of so many significant digits, and all before the point; never a power of ten."""
    if not math.isfinite(value) or value == 0.0:
        return f"{value:g}"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _conversion(row: Row, unit: str, system: str) -> tuple[float, float, str]:
    """``shown = value * factor + start`` and the unit shown."""
    if system != _US:
        return 1.0, 0.0, unit
    if unit == "degC":
        is_difference = row.key.rpartition(".")[2] in DIFFERENCES
        return 1.8, 0.0 if is_difference else 32.0, "degF"
    how = _US_VALUES.get(unit)
    if how is None:
        money, slash, of = unit.partition("/")
        if slash and of in _US_PRICES and row.key.startswith(_PRICED):
            price = _US_PRICES[of]
            return price.factor, 0.0, f"{money}/{price.unit}"
        how = shown(_CF.get(unit, unit), system)
    return (how.factor if how.unit != unit else 1.0), 0.0, how.unit
