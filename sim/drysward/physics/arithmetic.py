"""Comparisons that compile to one instruction each, so that lanes can go side by side."""

from __future__ import annotations

from drysward.compiled import jitable

# Stands in for a divisor that is nought, where what it divides is nought too.
NO_LESS = 1e-300


@jitable
def larger(a: float, b: float) -> float:
    """The larger of two numbers. The built-in minds NaN, which costs a branch."""
    return a if a > b else b


@jitable
def smaller(a: float, b: float) -> float:
    """The smaller of two numbers."""
    return a if a < b else b


@jitable
def worse(a: float, b: float) -> float:
    """The larger of two errors; no number when either is none, so that it is not lost."""
    return a if (a > b) | (a != a) else b


@jitable
def clamp(value: float, low: float, high: float) -> float:
    """``value`` held between ``low`` and ``high``."""
    return smaller(larger(value, low), high)


@jitable
def within(day_of_year: float, first: float, last: float) -> bool:
    """Whether a calendar day lies in a span that may run over the turn of the year."""
    inside = (first <= day_of_year) & (day_of_year <= last)
    around = (day_of_year >= first) | (day_of_year <= last)
    return inside if first <= last else around
