"""From the state of a site today through every way on: the daily numbers of each.

The account runs through this turf year's weather to the evening before, under each plan or under
what was really applied. From there every way on is run as any other days are, so that soil, turf,
storage, allowances and restriction stages carry over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import CALENDAR_DAYS
from drysward.drive.mornings import DAYS, Morning
from drysward.drive.runs import Runs, advance_all, start_runs
from drysward.faults import Fault, FaultyInput
from drysward.results.ahead import first_day
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.stretches import (
    PreparedSite,
    Spans,
    WeatherStretch,
    site_on,
    turf_new_year,
    turf_year_of,
    weather_stretch,
)
from drysward.studies.season.ways import Way
from drysward.weather.record import DailyRecord
from drysward.weather.series import recorded
from drysward.weather.simulated.climate import calendar_day

FloatArray = NDArray[np.float64]

# Of the ledger, for each field, and of the supply.
DAILY = (
    "footprint", "wilt", "dormant", "dead", "green", "depletion", "irrigation_gross", "demand",
    "missed", "made_up", "surface_water", "root_water", "root_depth", "hardness",
)  # fmt: skip
SUPPLY_DAILY = ("storage",)
# The turf year before this one runs too, so that its soil water carries over.
YEARS_BEFORE = 1
FEWEST_DAYS = 30  # with fewer days before today the state is mostly an assumption (own choice)


_Stretches = dict[tuple[np.datetime64, np.datetime64], WeatherStretch]
"""Stretches of weather by first day and day after the last, which draws share."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Start:
    """A site at dawn of ``today`` under each of ``plans``.

    ``record`` is the weather to the day before, ``year`` the turf year, and ``runs`` the state.
    """

    scenario: Scenario
    today: np.datetime64
    year: int
    record: DailyRecord
    plans: tuple[PlanSpec, ...]
    zones: tuple[RootZone, ...]
    runs: Runs
    so_far: dict[str, FloatArray]  # DAILY of this turf year (B, T, F), to the day before
    weather: _Stretches


@dataclass(frozen=True, eq=False)
class Ahead:
    """Daily numbers of each way on: ``fields`` (W, B, T, F) and ``supply`` (W, B, T) by name, for
    W ways, B plans, T days and F fields; depths mm, volumes m3, the rest shares.
    """

    ways: tuple[Way, ...]
    dates: NDArray[np.datetime64]
    fields: dict[str, FloatArray]
    supply: dict[str, FloatArray]
    causes: FloatArray  # (W, B, F, causes), mm of shortage
    spent_day: NDArray[np.int64]  # (W, B), day on which an allowance is spent or storage empty; T


def start_at(
    scenario: Scenario,
    record: DailyRecord,
    today: np.datetime64,
    plans: Sequence[PlanSpec] | None = None,
    applied_mm: Mapping[str, Mapping[np.datetime64, float]] | None = None,
    like: Start | None = None,
) -> Start:
    """The state of a scenario's fields at dawn of ``today``.

    Parameters
    ----------
    record : daily weather to the day before, or beyond it; days from ``today`` on are not read.
    applied_mm : by field the depth that reached the turf, by date, where a log has it; then it
        takes the place of the plans in this turf year up to today.
    like : the same day of a scenario that differs in numbers only, whose weather it shares and,
        where there is a log and their supplies are the same, the books of the supply.

    Raises FaultyInput when the weather does not reach to the day before.
    """
    plans = tuple(scenario.plans if plans is None else plans)
    known = record.select(slice(0, max(int((today - record.dates[0]).astype(int)), 0)))
    _require(record, today)
    year, begins, first = account_of(scenario, record, today)
    zones = tuple(field_root_zone(field, scenario.catalog) for field in scenario.fields)
    weather = {} if like is None else like.weather
    starting = _Starting(scenario, known, zones, year, weather)
    if applied_mm is None:
        runs, site = starting.run(None, first, today, plans)
    else:
        applied = (as_applied([applied_mm], scenario),)
        before = None
        if first < begins:
            before, _ = starting.run(None, first, begins, plans[:1])
        # Limits of the supply cut none of what was put on, but keep its books.
        runs, site = starting.run(before, max(first, begins), today, applied, False)
        if like is not None and like.scenario.supply == scenario.supply:
            runs.supply = like.runs.one(0).alone().supply
        elif scenario.supply is not None:
            books, _ = starting.run(before, max(first, begins), today, applied, True)
            runs.supply = books.supply
        followed = start_runs([(site, plan) for plan in plans], n_years=1)
        runs = carried_over(followed, runs.some(np.zeros(len(plans), np.int64)))
    dates = site.weather.record.dates[site.from_day :]
    here = dates >= begins
    so_far = {name: runs.trace[name][:, here] for name in DAILY} if runs.trace.size else {}
    return Start(
        scenario=scenario, today=today, year=year, record=known, plans=plans, zones=zones,
        runs=runs, so_far=so_far, weather=weather,
    )  # fmt: skip


def account_of(
    scenario: Scenario, record: DailyRecord, day: np.datetime64
) -> tuple[int, np.datetime64, np.datetime64]:
    """The turf year that ``day`` is in, the day on which it begins, and that on which the account
    of the season does.
    """
    southern = scenario.site.latitude_deg < 0.0
    year = int(turf_year_of(np.array([day]), southern)[0])
    earliest = turf_new_year(year - YEARS_BEFORE, southern)
    return year, turf_new_year(year, southern), max(record.dates[0], earliest)


def _require(record: DailyRecord, today: np.datetime64) -> None:
    if not record.dates[0] < today <= record.dates[-1] + 1:
        what = f"the weather of {record.name or 'the record'} runs {record.dates[0]} to "
        what += f"{record.dates[-1]}; the day before {today} is not in it"
        latest = record.dates[-1] + 1
        raise FaultyInput(Fault("today", what, f"a day to {latest}, or weather to {today - 1}"))
    days = int((today - record.dates[0]).astype(int))
    if days < FEWEST_DAYS:
        what = f"the weather has {days} days before {today}"
        raise FaultyInput(Fault("today", what, f"{FEWEST_DAYS} days or more"))


@dataclass(frozen=True, eq=False)
class _Starting:
    """What the stretches before today have in common."""

    scenario: Scenario
    record: DailyRecord
    zones: tuple[RootZone, ...]
    year: int
    weather: _Stretches

    def run(
        self,
        before: Runs | None,
        first: np.datetime64,
        stop: np.datetime64,
        plans: Sequence[PlanSpec],
        has_limits: bool = True,
    ) -> tuple[Runs, PreparedSite]:
        """Plans through the days from ``first`` to the day before ``stop``, from the state of runs
        ``before``; without limits of night, ground and supply where it has none.
        """
        scenario = self.scenario if has_limits else replace(self.scenario, supply=None)
        site = site_of_days(
            scenario, self.record, self.zones, self.year, first, stop, self.weather
        )
        runs = start_runs([(site, plan) for plan in plans], n_years=1)
        if before is not None:
            places = np.zeros(len(plans), np.int64)
            runs = carried_over(runs, before.some(places), with_supply=has_limits)
        if not has_limits:
            runs = without_limits(runs)
        days = slice(site.from_day, None)
        return advance_all(site, runs, days), site


def site_of_days(
    scenario: Scenario,
    record: DailyRecord,
    zones: tuple[RootZone, ...],
    year: int,
    first: np.datetime64,
    stop: np.datetime64,
    known: _Stretches | None = None,
) -> PreparedSite:
    """The fields from ``first`` to the day before ``stop``, days of the turf year ``year``; the
    weather is taken from ``known`` where it is there, and left there.
    """
    span = Spans((year,), (), ((first, stop),))
    part = None if known is None else known.get((first, stop))
    if part is None:
        part = weather_stretch(scenario, recorded(record), span, first, stop)
        if known is not None:
            known[first, stop] = part
    return site_on(scenario, zones, part, span)


def carried_over(runs: Runs, before: Runs, with_supply: bool = True) -> Runs:
    """``runs`` with the state of soil, turf, plans and supply that ``before`` ended in."""
    runs.patches, runs.states, runs.trace = before.patches, before.states, before.trace
    if with_supply:
        runs.supply = runs.supply._replace(
            storage=before.supply.storage.copy(), used=before.supply.used.copy()
        )
    return runs


def as_applied(
    applied_mm: Sequence[Mapping[str, Mapping[np.datetime64, float]]], scenario: Scenario
) -> PlanSpec:
    """One plan for runs side by side (R,), which puts on what a log says for each of them.

    ``applied_mm`` (R,): depths that reach the turf by field of ``scenario`` and date, all of one
    turf year.
    """
    depths = np.zeros((CALENDAR_DAYS, len(applied_mm), len(scenario.fields)))
    for run, by_field in enumerate(applied_mm):
        for f, spec in enumerate(scenario.fields):
            for date, depth in by_field.get(spec.key, {}).items():
                depths[calendar_day(np.array([date]))[0], run, f] += depth

    def put_on(morning: Morning) -> FloatArray:
        return depths[morning.day_of_year - 1]

    setattr(put_on, DAYS, tuple(np.flatnonzero(depths.any(axis=(1, 2))) + 1))
    return PlanSpec("as_applied", "As applied", "function", function=put_on)


def without_limits(runs: Runs) -> Runs:
    """``runs``, in place, on which no limit of night or ground cuts what a log says."""
    runs.plans.night_depth = runs.plans.ground_takes = runs.plans.most_depth = np.inf
    return runs


def run_ahead(start: Start, ways: Sequence[Way]) -> Ahead:
    """Run every plan from its state today through every way; no way affects another."""

    def go(way: Way) -> _OfWay:
        record = start.record.followed_by(way.days)
        stop = way.days.dates[-1] + 1
        site = site_of_days(start.scenario, record, start.zones, start.year, start.today, stop)
        runs = start.runs.some(np.arange(len(start.plans)))
        runs.empty_years(1)
        runs.shortage = np.zeros_like(runs.shortage)
        advance_all(site, runs, slice(site.from_day, None))
        return (
            {name: runs.trace[name].copy() for name in DAILY},
            {name: runs.supply.trace[name].copy() for name in SUPPLY_DAILY},
            runs.shortage.sum(axis=-2),
            spent_day(site, runs, start.runs),
        )

    fields, supply, causes, spent = zip(*map(go, ways), strict=True)
    return Ahead(
        ways=tuple(ways),
        dates=ways[0].days.dates,
        fields={name: np.stack([one[name] for one in fields]) for name in DAILY},
        supply={name: np.stack([one[name] for one in supply]) for name in SUPPLY_DAILY},
        causes=np.stack(causes),
        spent_day=np.stack(spent),
    )


def needed_so_far_mm(daily: Mapping[str, FloatArray]) -> FloatArray:
    """Water drawn up to each day, and what is short of it by then, from DAILY (..., T, F), mm.

    Demand that is not met and is made again the next day counts once; water that comes later makes
    it up, as in the books of a year (``day.shortage``). What was short before the first day does
    not count.
    """
    drawn = np.cumsum(daily["irrigation_gross"], axis=-2, dtype=np.float64)
    short = np.zeros(drawn.shape)
    missed, made_up = daily["missed"], daily["made_up"]
    for t in range(drawn.shape[-2]):
        before = short[..., t - 1, :] if t else 0.0
        short[..., t, :] = np.maximum(before + missed[..., t, :] - made_up[..., t, :], 0.0)
    return drawn + short


_OfWay = tuple[dict[str, FloatArray], dict[str, FloatArray], FloatArray, NDArray[np.int64]]

# From this share on an allowance counts as spent, and down to it storage as empty (own choice).
SPENT, EMPTY = 0.99, 0.01


def spent_day(site: PreparedSite, runs: Runs, before: Runs) -> NDArray[np.int64]:
    """The first day (B,) on which a year's allowance is spent or the storage is empty; the number
    of days where neither happens. Where several sources have an allowance it is the last day, since
    the account of the site does not say which of them gave the water of a day.
    """
    supply, n_days = site.supply, runs.supply.trace.shape[1]
    out = np.full(len(runs.specs), n_days)
    if not supply.site[0, 0].on:
        return out
    limits = supply.sources[0].year
    limited = np.flatnonzero(np.isfinite(limits))
    for s in limited:
        spent = runs.supply.used[:, s].year >= SPENT * limits[s]
        day = np.full(len(runs.specs), n_days - 1)
        if limits.size == 1 and not supply.site[0, 0].capacity:
            so_far = before.supply.used[:, s].year[:, None]
            drawn = so_far + np.cumsum(runs.supply.trace["delivered"], axis=1)
            day = np.minimum(first_day(drawn >= SPENT * limits[s]), n_days - 1)
        out = np.where(spent, np.minimum(out, day), out)
    site_limits = supply.site[0, 0]
    if site_limits.capacity > 0.0:
        least = site_limits.dead + EMPTY * (site_limits.capacity - site_limits.dead)
        out = np.minimum(out, first_day(runs.supply.trace["storage"] <= least))
    return out
