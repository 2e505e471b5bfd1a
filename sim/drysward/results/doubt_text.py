"""Odds with what is not known, in words."""

from __future__ import annotations

import math

from drysward.results.text import UNKNOWN

TOO_SMALL = "too small to tell from chance"


def doubt_text(p: float, low: float, high: float, distinct: bool = True) -> str:
    """Odds as a frequency with its 5 to 95 % limits: ``22 of 100 years (7 to 43)``.

    ``p``, ``low``, ``high``: probabilities, 0 to 1. ``distinct``: False where the spread across
    draws is too small to tell from chance, which is then said in place of the limits. Limits that
    would print the same number twice are left out. "-" where there are no odds.
    """
    if math.isnan(p):
        return UNKNOWN
    text = f"{_of_100(p)} of 100 years"
    if not distinct:
        return f"{text} (spread across draws: {TOO_SMALL})"
    if math.isnan(low) or math.isnan(high):
        return text
    limits = _limit(low), _limit(high)
    return text if limits[0] == limits[1] else f"{text} ({limits[0]} to {limits[1]})"


def _of_100(p: float) -> str:
    """A count that is none or all only in words that a count of years can bear."""
    if p >= 1.0:
        return "all"
    if 100.0 * p < 1.0:
        return "<1"
    return ">99" if 100.0 * p > 99.0 else f"{100.0 * p:.0f}"


def _limit(p: float) -> str:
    return "<1" if 0.0 < 100.0 * p < 0.5 else f"{100.0 * p:.0f}"
