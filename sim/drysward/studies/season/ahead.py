"""From the state of a site today through every way on: the daily numbers of each.

The account runs through this turf year's weather to the evening before, under each plan or under
what was really applied. From there every way on is run as any other days are, so that soil, turf,
storage, allowances and restriction stages carry over.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import CALENDAR_DAYS
from drysward.drive.mornings import DAYS, Morning
from drysward.drive.runs import Runs, advance_all, compiled_run_site, start_runs
from drysward.faults import Fault, FaultyInput
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.stretches import (
    PreparedSite,
    Spans,
    site_on,
    turf_new_year,
    turf_year_of,
    weather_stretch,
)
from drysward.studies.season.ways import Way
from drysward.weather.record import DailyRecord
from drysward.weather.series import recorded

FloatArray = NDArray[np.float64]

# Of the ledger, for each field, and of the supply.
DAILY = (
    "footprint", "wilt", "dormant", "dead", "green", "depletion", "irrigation_gross", "demand",
    "shortage", "surface_water", "root_water", "root_depth", "hardness",
)  # fmt: skip
SUPPLY_DAILY = ("demand", "delivered", "shortage", "storage", "stage")
# The turf year before this one runs too, so that its soil water carries over.
YEARS_BEFORE = 1
FEWEST_DAYS = 30  # with fewer days before today the state is mostly an assumption (own choice)


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


@dataclass(frozen=True, eq=False)
class Ahead:
    """Daily numbers of each way on: ``fields`` (W, B, T, F) and ``supply`` (W, B, T) by name, for
    W ways, B plans, T days and F fields; depths mm, volumes m3, the rest shares.

    ``reached_run`` (B, F) by stage: days in a row at the stage before today.
    """

    ways: tuple[Way, ...]
    dates: NDArray[np.datetime64]
    fields: dict[str, FloatArray]
    supply: dict[str, FloatArray]
    causes: FloatArray  # (W, B, F, causes), mm of shortage


def start_at(
    scenario: Scenario,
    record: DailyRecord,
    today: np.datetime64,
    plans: Sequence[PlanSpec] | None = None,
    applied_mm: Mapping[str, Mapping[np.datetime64, float]] | None = None,
) -> Start:
    """The state of a scenario's fields at dawn of ``today``.

    Parameters
    ----------
    record : daily weather to the day before, or beyond it; days from ``today`` on are not read.
    applied_mm : by field the depth that reached the turf, by date, where a log tells it; then it
        takes the place of the plans in this turf year up to today.

    Raises FaultyInput when the weather does not reach to the day before.
    """
    southern = scenario.site.latitude_deg < 0.0
    plans = tuple(scenario.plans if plans is None else plans)
    known = record.select(slice(0, max(int((today - record.dates[0]).astype(int)), 0)))
    _require(record, today)
    year = int(turf_year_of(np.array([today]), southern)[0])
    begins = turf_new_year(year, southern)
    first = max(known.dates[0], turf_new_year(year - YEARS_BEFORE, southern))
    zones = tuple(field_root_zone(field, scenario.catalog) for field in scenario.fields)
    starting = _Starting(scenario, known, zones, year)
    if applied_mm is None:
        runs, site = starting.run(None, first, today, plans)
    else:
        as_applied = _as_applied(scenario, applied_mm, southern)
        before = None
        if first < begins:
            before, _ = starting.run(None, first, begins, plans[:1])
        # Limits of the supply cut none of what was put on, but keep its books.
        with_limits, _ = starting.run(before, max(first, begins), today, (as_applied,), True)
        runs, site = starting.run(before, max(first, begins), today, (as_applied,), False)
        runs.supply = with_limits.supply
        followed = start_runs([(site, plan) for plan in plans], n_years=1)
        runs = carried_over(followed, runs.some(np.zeros(len(plans), np.int64)))
    dates = site.weather.record.dates[site.from_day :]
    here = dates >= begins
    so_far = {name: runs.trace[name][:, here] for name in DAILY} if runs.trace.size else {}
    return Start(
        scenario=scenario, today=today, year=year, record=known, plans=plans, zones=zones,
        runs=runs, so_far=so_far,
    )  # fmt: skip


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
        site = site_of_days(scenario, self.record, self.zones, self.year, first, stop)
        runs = start_runs([(site, plan) for plan in plans], n_years=1)
        if before is not None:
            places = np.zeros(len(plans), np.int64)
            runs = carried_over(runs, before.some(places), with_supply=has_limits)
        if not has_limits:
            runs.plans.night_depth = runs.plans.ground_takes = np.inf
            runs.plans.most_depth = np.inf
        days = slice(site.from_day, None)
        return advance_all(site, runs, days), site


def site_of_days(
    scenario: Scenario,
    record: DailyRecord,
    zones: tuple[RootZone, ...],
    year: int,
    first: np.datetime64,
    stop: np.datetime64,
) -> PreparedSite:
    """The fields from ``first`` to the day before ``stop``, days of the turf year ``year``."""
    span = Spans((year,), (), ((first, stop),))
    part = weather_stretch(scenario, recorded(record), span, first, stop)
    return site_on(scenario, zones, part, span)


def carried_over(runs: Runs, before: Runs, with_supply: bool = True) -> Runs:
    """``runs`` with the state of soil, turf, plans and supply that ``before`` ended in."""
    runs.patches, runs.states, runs.trace = before.patches, before.states, before.trace
    if with_supply:
        runs.supply = runs.supply._replace(
            storage=before.supply.storage.copy(), used=before.supply.used.copy()
        )
    return runs


def _as_applied(
    scenario: Scenario, applied_mm: Mapping[str, Mapping[np.datetime64, float]], southern: bool
) -> PlanSpec:
    """A plan that puts on what a log says, on its days of the turf year."""
    from drysward.weather.simulated.climate import calendar_day

    depths = np.zeros((CALENDAR_DAYS, len(scenario.fields)))
    for f, spec in enumerate(scenario.fields):
        for date, depth in applied_mm.get(spec.key, {}).items():
            depths[calendar_day(np.array([date]))[0], f] += depth

    def applied(morning: Morning) -> FloatArray:
        return np.broadcast_to(depths[morning.day_of_year - 1], morning.depletion.shape)

    setattr(applied, DAYS, tuple(np.flatnonzero(depths.any(axis=1)) + 1))
    return PlanSpec("as_applied", "As applied", "function", function=applied)


def run_ahead(
    start: Start,
    ways: Sequence[Way],
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
) -> Ahead:
    """Run every plan from its state today through every way; no way affects another."""
    compiled_run_site()
    done = 0

    def go(way: Way) -> tuple[dict[str, FloatArray], dict[str, FloatArray], FloatArray]:
        record = start.record.followed_by(way.days)
        stop = way.days.dates[-1] + 1
        site = site_of_days(
            start.scenario, record, start.zones, start.year, start.today, stop
        )
        fresh = start_runs([(site, plan) for plan in start.plans], n_years=1)
        every = np.arange(len(start.plans))
        runs = carried_over(fresh, start.runs.some(every))
        advance_all(site, runs, slice(site.from_day, None))
        return (
            {name: runs.trace[name].copy() for name in DAILY},
            {name: runs.supply.trace[name].copy() for name in SUPPLY_DAILY},
            runs.shortage.sum(axis=-2),
        )

    found = []
    with ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool:
        for one in pool.map(go, ways):
            found.append(one)
            done += 1
            if on_progress is not None:
                on_progress(done / len(ways))
    return Ahead(
        ways=tuple(ways),
        dates=ways[0].days.dates,
        fields={name: np.stack([fields[name] for fields, _, _ in found]) for name in DAILY},
        supply={name: np.stack([supply[name] for _, supply, _ in found]) for name in SUPPLY_DAILY},
        causes=np.stack([causes for _, _, causes in found]),
    )
