"""Every plan over every year of a scenario: weather file in, Dataset of yearly numbers out."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import numpy as np
import xarray as xr

from drysward.day.records import SUPPLY_TRACE, TRACE
from drysward.drive.runs import (
    PlanRun,
    Runs,
    advance,
    advance_all,
    compiled_run_site,
    in_groups,
    start_run,
    start_runs,
)
from drysward.faults import Fault, FaultyInput
from drysward.results.dataset import as_dataset, provenance
from drysward.scenario.model import Scenario
from drysward.site.stretches import WeatherSeen, stretches
from drysward.site.weather_years import weather_series
from drysward.weather.record import DailyRecord


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
    workers = workers or os.cpu_count() or 1
    groups: list[Runs] = []
    seen: WeatherSeen | None = None
    done = 0
    compiled_run_site()
    with ThreadPoolExecutor(workers) as pool:
        ahead = pool.submit(next, parts, None)
        while (site := ahead.result()) is not None:
            # The next stretch is worked out while this one runs.
            ahead = pool.submit(next, parts, None)
            if seen is None:
                starts = [(site, plan) for plan in plans]
                together = in_groups(starts, workers, len(scenario.fields))
                groups = [start_runs(part) for part in together]
                seen = WeatherSeen(site.years)
            seen.add(site)
            list(pool.map(partial(advance_all, site), groups))
            done += site.calendar.size - site.from_day
            if on_progress is not None:
                on_progress(done / days)
            last = site
    assert seen is not None
    return as_dataset(last, series, seen, [g.one(b) for g in groups for b in range(len(g.specs))])


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
