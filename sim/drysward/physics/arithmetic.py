"""Comparisons that compile to one instruction each, as lanes need them."""

from __future__ import annotations

from drysward.compiled import jitable

# Replaces a divisor of 0 when the dividend is 0 too.
NO_LESS = 1e-300


@jitable
def larger(a: float, b: float) -> float:
    """The larger of two numbers. The built-in checks for NaN, which costs a branch."""
    return a if a > b else b


@jitable
def smaller(a: float, b: float) -> float:
    """The smaller of two numbers."""
    return a if a < b else b


@jitable
def worse(a: float, b: float) -> float:
    """The larger of two errors; NaN when either is NaN, so that a fault is not lost."""
    return a if (a > b) | (a != a) else b


@jitable
def clamp(value: float, low: float, high: float) -> float:
    """``value`` held between ``low`` and ``high``."""
    return smaller(larger(value, low), high)


@jitable
def within(day_of_year: float, first: float, last: float) -> bool:
    """Whether a calendar day lies in a span that may cross the new year."""
    inside = (first <= day_of_year) & (day_of_year <= last)
    around = (day_of_year >= first) | (day_of_year <= last)
    return inside if first <= last else around
