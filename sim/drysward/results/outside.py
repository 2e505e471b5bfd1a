"""What the turf is like on days on which a plan may not water, from odds by day of the year."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import CALENDAR_DAYS
from drysward.scenario.values import day_text

FloatArray = NDArray[np.float64]
Span = tuple[int, int]

COUNTED = "counted_season"
"""Attribute of a result: first and last day that count, ``04-01 to 10-31``."""


def counted_season_text(attrs: Mapping[Hashable, Any]) -> str:
    """Which days count; "" of a file that does not say."""
    if COUNTED not in attrs:
        return ""
    return (
        f"days below and stages count from {attrs[COUNTED]} ([answers] season); turf that is "
        "dormant or dead when it begins counts from its first day"
    )


def span_text(span: Span) -> str:
    """Days of the leap-year calendar, from 0, as ``04-01 to 10-31``."""
    return " to ".join(map(day_text, span))


def days_in(span: Span) -> NDArray[np.bool_]:
    """Which calendar days (366,) lie in a span that may cross the new year."""
    days, (first, last) = np.arange(CALENDAR_DAYS), span
    after, before = days >= first, days <= last
    return after & before if first <= last else after | before


def outside_season(
    odds: FloatArray, counted: Span, seasons: Sequence[Sequence[Span]]
) -> tuple[FloatArray, NDArray[np.int32]]:
    """Largest odds (F, plan, stage) of any counted day outside the plan's season, and that day,
    1 to 366.

    ``odds`` (F, plan, stage, 366) by calendar day; ``seasons`` (plan, F). The day on which the
    season opens counts as outside: what holds on it came before. NaN and 0 where no day is outside.
    """
    most = np.full(odds.shape[:-1], np.nan)
    day = np.zeros(odds.shape[:-1], np.int32)
    for i, on_fields in enumerate(seasons):
        for f, season in enumerate(on_fields):
            within = days_in(season)
            if within.all():
                continue
            within[season[0]] = False
            places = np.flatnonzero(days_in(counted) & ~within)
            if places.size:
                here = odds[f, i][:, places]
                most[f, i] = here.max(axis=-1)
                day[f, i] = places[here.argmax(axis=-1)] + 1
    return most, day
