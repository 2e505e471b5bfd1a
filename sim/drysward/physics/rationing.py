"""Rationing of an allowance of water over the days left in its period."""

from __future__ import annotations

from drysward.compiled import equation, jitable
from drysward.physics.arithmetic import clamp, larger, smaller

MOST_DAYS_COVERED = 7.0  # days without a draw that one watering may make up; own estimate
YEAR_DAYS = 366.0


@equation
def days_within(today: float, days: float, first: float, last: float) -> float:
    """Number of the next ``days``, today included, that lie in a season of a leap-year calendar.

    A season whose ``first`` day comes after its ``last`` crosses the new year, and so may the days.
    """
    end = today + days
    until = last + 1.0 + (YEAR_DAYS if first > last else 0.0)
    this_year = clamp(smaller(end, until) - larger(today, first), 0.0, days)
    next_year = clamp(smaller(end, until + YEAR_DAYS) - (first + YEAR_DAYS), 0.0, days)
    before = clamp(smaller(end, until - YEAR_DAYS) - today, 0.0, days)
    return this_year + next_year + before


@jitable
def days_within_both(
    today: float, days: float, first: float, last: float, other_first: float, other_last: float
) -> float:
    """Number of the next ``days``, today included, in both of two seasons; see ``days_within``."""
    end = today + days
    until = last + 1.0 + (YEAR_DAYS if first > last else 0.0)
    other_until = other_last + 1.0 + (YEAR_DAYS if other_first > other_last else 0.0)
    total = 0.0
    for year in range(-1, 2):
        for other_year in range(-1, 2):
            begins = max(today, first + year * YEAR_DAYS, other_first + other_year * YEAR_DAYS)
            ends = min(end, until + year * YEAR_DAYS, other_until + other_year * YEAR_DAYS)
            total += max(ends - begins, 0.0)
    return total


@equation
def even_share(left: float, days_left: float, days_covered: float) -> float:
    """Part of the volume ``left`` for today when all days get the same share.

    ``days_left`` count from today on. Today's draw covers the need of ``days_covered`` days, today
    and the days before without a draw, up to a week, and may use their unspent shares. By
    definition: the volume left when the first of these days began, shared evenly over it and all
    later days.
    """
    covers = clamp(days_covered, 1.0, MOST_DAYS_COVERED)
    return smaller(left * covers / (larger(days_left, 1.0) + covers - 1.0), left)
