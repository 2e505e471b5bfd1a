"""How an allowance of water is spread over the days that are left of its period."""

from __future__ import annotations

from drysward.compiled import equation, jitable
from drysward.physics.arithmetic import clamp, larger, smaller

MOST_DAYS_COVERED = 7.0  # days without a draw that one watering may make good; own estimate
YEAR_DAYS = 366.0


@equation
def days_within(today: float, days: float, first: float, last: float) -> float:
    """Days of ``days`` from ``today`` on that lie in a season, in a leap-year calendar.

    A season whose ``first`` day comes after its ``last`` runs over the turn of the year, and so may
    the days.
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
    """Days of ``days`` from ``today`` on that lie in both of two seasons; see ``days_within``."""
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
    """What of a volume ``left`` may be spent today if all days are to have the same.

    ``days_left`` count from today on. Today's draw covers the need of ``days_covered`` days, today
    and those before on which nothing was drawn, and may take what these have left unspent, up to a
    week. By definition: what was left when the first of these days began, shared evenly over it and
    all days since.
    """
    covers = clamp(days_covered, 1.0, MOST_DAYS_COVERED)
    return smaller(left * covers / (larger(days_left, 1.0) + covers - 1.0), left)
