"""Calendar of use: hours of use, judged events, days without watering, prewetting.

Events after the last day of a run are known, so that a run has the same days as the same years of a
longer run.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drysward.scenario.model import EventSpec, PlanSpec, PlaySpec
from drysward.site.forcing import in_season, weekday
from drysward.weather.simulated.climate import calendar_day

FloatArray = NDArray[np.float64]
Flags = NDArray[np.bool_]
Dates = NDArray[np.datetime64]
CYCLE_YEARS = 28
"""Years that hold every weekday of every date, and every leap year, as often."""



@dataclass(frozen=True, eq=False)
class DaysOfUse:
    """Each (n,): hours of use, whether a judged event is played, whether watering is banned,
    and the depth (mm) applied ahead of an event.
    """

    use_hours: FloatArray
    judged: Flags
    blackout: Flags
    prewet_mm: FloatArray


def event_days(event: EventSpec, dates: Dates) -> Flags:
    """Whether the event is on each of ``dates`` (n,).

    29 February is day 59 in every year, so that other dates keep their day; an event on that date
    takes place in leap years only.
    """
    day = calendar_day(dates)
    if event.dates:
        return np.isin(day, event.dates)
    return in_season(day, event.season) & np.array(event.weekdays)[weekday(dates)]


def judged_days(events: Iterable[EventSpec], dates: Dates) -> Flags:
    """Days (n,) on which at least one judged event is played."""
    judged = np.zeros(dates.size, bool)
    for event in events:
        if event.judged:
            judged |= event_days(event, dates)
    return judged


def days_before(events: Iterable[EventSpec], dates: Dates, first: int, last: int) -> Flags:
    """Whether a judged event comes ``first`` to ``last`` days after each of ``dates`` (n,)."""
    events = tuple(events)
    near = np.zeros(dates.size, bool)
    for ahead in range(first, last + 1):
        near |= judged_days(events, dates + ahead)
    return near


def every_date() -> Dates:
    """All dates of ``CYCLE_YEARS``."""
    return np.arange(np.datetime64("2001-01-01"), np.datetime64(f"{2001 + CYCLE_YEARS}-01-01"))


def dry_waterings(play: PlaySpec, plan: PlanSpec) -> list[tuple[int, float, float]]:
    """Weekdays on which a plan waters and events forbid it: the weekday, 0 for Monday, days of a
    year on which they do, and days of a year on which the plan would water.
    """
    dates = every_date()
    dry = days_before(play.events, dates, 0, play.blackout_days - 1)
    inside = in_season(calendar_day(dates), plan.season)
    found = []
    for day in (one for one in range(7) if plan.allowed[one] and plan.depth_by_weekday[one] > 0.0):
        waters = inside & (weekday(dates) == day)
        if (waters & dry).any():
            found.append((day, (waters & dry).sum() / CYCLE_YEARS, waters.sum() / CYCLE_YEARS))
    return found


def events_outside(play: PlaySpec, season: tuple[int, int]) -> tuple[int, int]:
    """Judged events of a mean year outside ``season`` (first and last day, 0 for 1 January), and
    all of them.
    """
    dates = every_date()
    judged = judged_days(play.events, dates)
    outside = judged & ~in_season(calendar_day(dates), season)
    return round(outside.sum() / CYCLE_YEARS), round(judged.sum() / CYCLE_YEARS)


def days_of_use(play: PlaySpec, dates: Dates) -> DaysOfUse:
    """Use on each of ``dates`` (n,), consecutive or not."""
    dates = dates.astype("datetime64[D]")
    hours = np.zeros(dates.size)
    for event in play.events:
        hours += event.hours * event_days(event, dates)
    ahead = play.prewet_days_before
    prewet = days_before(play.events, dates, ahead, ahead) if play.prewet_mm > 0.0 else False
    return DaysOfUse(
        use_hours=hours,
        judged=judged_days(play.events, dates),
        blackout=days_before(play.events, dates, 0, play.blackout_days - 1),
        prewet_mm=np.where(prewet, play.prewet_mm, np.zeros(dates.size)),
    )
