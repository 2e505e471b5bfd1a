"""Every plan over every year of a scenario: weather file in, Dataset of yearly numbers out."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
import xarray as xr

from drysward.day.compiled import compiled_run_site
from drysward.day.records import (
    CALENDAR_DAYS,
    FIELD_STATE,
    PATCH,
    PLAY_SHARES,
    PLAY_YEAR,
    STAGES,
    SUPPLY_TRACE,
    TRACE,
    YEAR,
    records,
)
from drysward.day.season import run_site
from drysward.day.supply import SupplyState
from drysward.faults import Fault, FaultyInput
from drysward.irrigation.plan_records import plan_record
from drysward.results import as_dataset, provenance
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site import PreparedSite, WeatherSeen, stretches
from drysward.supply.arrays import start_supply
from drysward.weather.record import DailyRecord
from drysward.weather_years import weather_series

LONG_AGO_DAYS = 10_000.0
# The account must close within this on every day and patch, or the run is refused.
ACCOUNT_TOLERANCE_MM = 1e-9
SUPPLY_TOLERANCE_M3 = 1e-6


@dataclass(eq=False)
class PlanRun:
    """One plan on its way through the years: where its fields stand, and what it did so far.

    PLAN (F,), PATCH (F, P) and FIELD_STATE (F,) are carried from stretch to stretch. YEAR
    and PLAY_YEAR (F, Y), odds (F, 4, 366) and the sum of green cover (F, 366) are gathered;
    TRACE (T, F) is the daily account that was last asked for.
    """

    plan: PlanSpec
    plans: np.recarray
    patches: np.recarray
    states: np.recarray
    supply: SupplyState
    play: np.recarray
    years: np.recarray
    odds: np.ndarray
    green: np.ndarray
    trace: np.recarray


def start_patches(site: PreparedSite) -> np.recarray:
    """PATCH (F, P) with the scenario's share of available water: established turf, or bare ground
    where it is skinned.
    """
    share = site.scenario.answers.start_soil_water
    out = records(PATCH, site.catches.shape)
    first = site.days[0]
    out.w1 = (site.fields.wp1 + share * (site.fields.fc1 - site.fields.wp1))[:, None]
    out.w2 = (first.wp2 + share * (first.fc2 - first.wp2))[:, None]
    out.w3 = (first.wp3 + share * (first.fc3 - first.wp3))[:, None]
    bare = site.play.fields.skinned[:, None] > 0.0
    out.green, out.worn = np.where(bare, 0.0, 1.0), np.where(bare, 1.0, 0.0)
    return out


def start_run(site: PreparedSite, plan: PlanSpec) -> PlanRun:
    """A plan on the first day of the first stretch."""
    scenario = site.scenario
    n_fields = site.fields.size
    states = records(FIELD_STATE, n_fields)
    states.days_since_water = LONG_AGO_DAYS
    patches = start_patches(site)
    first = site.days[0]
    held = (patches.w1 + patches.w2).mean(axis=1)
    states.depletion = (site.fields.fc1 + first.fc2 - held) * first.inv_taw
    return PlanRun(
        plan=plan,
        plans=np.concatenate([plan_record(plan, f) for f in scenario.fields]).view(np.recarray),
        patches=patches,
        states=states,
        supply=start_supply(scenario, site.supply, len(site.years)),
        play=records(PLAY_YEAR, (n_fields, len(site.years))),
        years=records(YEAR, (n_fields, len(site.years))),
        odds=np.zeros((n_fields, len(STAGES), CALENDAR_DAYS), np.int64),
        green=np.zeros((n_fields, CALENDAR_DAYS)),
        trace=records(TRACE, (0, n_fields)),
    )


def advance(
    site: PreparedSite, run: PlanRun, trace: slice = slice(0, 0), compiled: bool = True
) -> PlanRun:
    """Take ``run`` through a stretch, in place; ``trace`` are days to keep the account of.

    ArithmeticError when the water account does not close.
    """
    scenario = site.scenario
    n_trace = max(trace.stop - trace.start, 0)
    run.trace = records(TRACE, (n_trace, site.fields.size))
    run.supply = run.supply._replace(trace=records(SUPPLY_TRACE, n_trace))
    rain = site.weather.record.rain_mm
    (compiled_run_site() if compiled else run_site)(
        site.fields,
        site.days,
        site.calendar,
        site.from_day,
        np.concatenate([[0.0], np.cumsum(rain)]),
        site.weather.drought_index_mm,
        site.weather.spray_loss,
        run.plans,
        site.catches,
        site.supply,
        run.supply,
        site.play,
        run.play,
        np.array([scenario.answers.reached[stage] for stage in STAGES]),
        scenario.answers.turf == "established each year",
        run.patches,
        run.states,
        run.years,
        run.odds,
        run.green,
        records(SUPPLY_TRACE, 1),
        records(PLAY_SHARES, 1),
        run.trace,
        trace.start,
    )
    for account, worst, tolerance, unit in (
        ("the water account", run.years.residual.max(), ACCOUNT_TOLERANCE_MM, "mm"),
        ("the supply's account", run.supply.years.residual.max(), SUPPLY_TOLERANCE_M3, "m3"),
    ):
        if not worst <= tolerance:
            raise ArithmeticError(
                f"{account} of plan '{run.plan.key}' is short by {worst:.3g} {unit} on some day; "
                "this is a fault of the program, please report it with the scenario"
            )
    return run


def run_plan(
    site: PreparedSite, plan: PlanSpec, trace: slice = slice(0, 0), compiled: bool = True
) -> PlanRun:
    """One plan through a scenario that is prepared as one stretch."""
    return advance(site, start_run(site, plan), trace, compiled)


def run(
    scenario: Scenario,
    years: tuple[int, int] | None = None,
    only: Sequence[str] | None = None,
    on_progress: Callable[[float], None] | None = None,
    workers: int | None = None,
    record: DailyRecord | None = None,
) -> xr.Dataset:
    """Run every plan of a scenario on every field and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    years : first and last year to count; all complete ones when None.
    only : keys of the plans to run; all when None.
    on_progress : called with the share of the work that is done.
    workers : threads; as many as there are cores when None. No number changes any result.
    record : daily weather to use in place of the scenario's file.

    Returns
    -------
    Dataset with dimensions field, plan, year, month, stage and day_of_year; depths in mm.

    Raises
    ------
    FaultyInput
        For a faulty weather file or a name that is not known.
    ArithmeticError
        When the water account does not close (a fault of the program).
    """
    plans = scenario.plans
    if only is not None:
        plans = tuple(scenario.plan_named(key) for key in only)
    series = weather_series(scenario, record)
    days = (series.stop - series.first).astype(int)
    parts = stretches(scenario, series, years)
    runs: list[PlanRun] = []
    seen: WeatherSeen | None = None
    done = 0
    compiled_run_site()
    with ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        ahead = pool.submit(next, parts, None)
        while (site := ahead.result()) is not None:
            # The next stretch is worked out while this one runs.
            ahead = pool.submit(next, parts, None)
            if seen is None:
                runs = [start_run(site, plan) for plan in plans]
                seen = WeatherSeen(site.years)
            seen.add(site)
            list(pool.map(partial(advance, site), runs))
            done += site.calendar.size - site.from_day
            if on_progress is not None:
                on_progress(done / days)
            last = site
    assert seen is not None
    return as_dataset(last, series, seen, runs)


def ledger(
    scenario: Scenario, field: str, plan: str, year: int, record: DailyRecord | None = None
) -> xr.Dataset:
    """The daily water account of one field, plan and year; dimension ``date``.

    FaultyInput when there is no such field, plan or complete year.
    """
    place = scenario.fields.index(scenario.field_named(field))
    followed = scenario.plan_named(plan)
    series = weather_series(scenario, record)
    run: PlanRun | None = None
    for site in stretches(scenario, series):
        if year not in site.years:
            told = f"{year} is not a complete year of {series.told}"
            allowed = f"years: {site.years[0]} to {site.years[-1]}"
            raise FaultyInput(Fault("year", told, allowed))
        run = run or start_run(site, followed)
        here = np.flatnonzero(site.calendar.year == site.years.index(year))
        here = here[here >= site.from_day]
        span = slice(int(here[0]), int(here[-1]) + 1) if here.size else slice(0, 0)
        trace = advance(site, run, span).trace[:, place]
        if here.size:
            break
    out = xr.Dataset(
        {name: ("date", np.ascontiguousarray(trace[name])) for name in TRACE.names or ()},
        coords={"date": site.weather.record.dates[span].astype("datetime64[s]")},
        attrs={**provenance(site, series), "field": field, "plan": plan},
    )
    if scenario.supply is not None and run is not None:
        at_supply = run.supply.trace
        for name in SUPPLY_TRACE.names or ():
            out[f"supply_{name}"] = ("date", np.ascontiguousarray(at_supply[name]))
    for variable in map(str, out.data_vars):
        term = scenario.catalog.quantities.get(variable)
        if term is not None:
            out[variable].attrs.update(units=term.units, long_name=term.long_name)
    return out
