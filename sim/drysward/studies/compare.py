"""Every plan over every year of a scenario: weather file in, Dataset of yearly numbers out."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

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
from drysward.scenario.model import PlanFunction, Scenario
from drysward.site.stretches import PreparedSite, WeatherSeen, stretches, weather_ahead
from drysward.site.weather_years import weather_series
from drysward.studies.chosen_years import DailyAccounts
from drysward.weather.record import DailyRecord

if TYPE_CHECKING:
    import xarray as xr


def run(
    scenario: Scenario,
    years: tuple[int, int] | None = None,
    only: Sequence[str] | None = None,
    on_progress: Callable[[float], None] | None = None,
    workers: int | None = None,
    record: DailyRecord | None = None,
    daily: bool = False,
    plans: Mapping[str, PlanFunction] | None = None,
) -> xr.Dataset:
    """Run every plan of a scenario on every field and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    years : first and last year to count, simulated ones by number from 1; all complete when None.
    only : keys of the plans to run; all when None.
    on_progress : called with the share of the work that is done.
    workers : threads; as many as there are cores when None. No number changes any result.
    record : daily weather to use in place of the scenario's file.
    daily : keep the daily account of the driest, the middling and the wettest year too.
    plans : further plans, whose depths Python functions say, by their keys; see
        ``Scenario.with_plan``, which also gives them the settings of another plan.

    Returns
    -------
    Dataset with dimensions field, plan, year, month, stage and day_of_year; depths in mm. With
    ``daily`` also ``daily_NAME`` of three years by season's deficit, by case and turf_day.

    Raises
    ------
    FaultyInput
        For a faulty weather file or a name that is not known.
    ArithmeticError
        When the water account does not close (a fault of the program).

    Examples
    --------
    >>> result = drysward.run(drysward.shipped("demo"), years=(1, 50))
    >>> result["irrigation_gross"].sel(field="stadium").mean("year").to_series()
    """
    for key, function in (plans or {}).items():
        scenario = scenario.with_plan(key, function)
    followed = scenario.plans
    if only is not None:
        followed = tuple(scenario.plan_named(key) for key in only)
    series = weather_series(scenario, record)
    days = (series.stop - series.first).astype(int)
    workers = workers or os.cpu_count() or 1
    groups: list[Runs] = []
    seen: WeatherSeen | None = None
    accounts: DailyAccounts | None = None
    done = 0
    compiled_run_site()
    with ThreadPoolExecutor(workers) as pool:
        deficit_mm, known = None, None
        if daily:
            deficit_mm, known = weather_ahead(scenario, series, years, pool)
        parts = stretches(scenario, series, years, known=known)
        ahead = pool.submit(next, parts, None)
        while (site := ahead.result()) is not None:
            # The next stretch is worked out while this one runs.
            ahead = pool.submit(next, parts, None)
            if seen is None:
                starts = [(site, plan) for plan in followed]
                together = in_groups(starts, workers, len(scenario.fields))
                groups = [start_runs(part) for part in together]
                firsts = list(accumulate((len(g.specs) for g in groups), initial=0))[:-1]
                seen = WeatherSeen(site.years, series.years_before)
                if deficit_mm is not None:
                    accounts = DailyAccounts(deficit_mm, site, len(followed))
            seen.add(site)
            list(pool.map(partial(_advance, site, accounts), firsts, groups))
            done += site.calendar.size - site.from_day
            if on_progress is not None:
                on_progress(done / days)
            last = site
    assert seen is not None
    # Here, so that a command line can load it while the plans run.
    from drysward.results.dataset import as_dataset

    each = [group.one(b) for group in groups for b in range(len(group.specs))]
    out = as_dataset(last, series, seen, each)
    if accounts is None:
        return out
    return out.merge(accounts.dataset(scenario.catalog), combine_attrs="override")


def _advance(site: PreparedSite, accounts: DailyAccounts | None, first: int, runs: Runs) -> None:
    """Take ``runs``, of the plans from ``first`` on, through a stretch."""
    if accounts is None:
        advance_all(site, runs)
    else:
        days = accounts.days_in(site)
        accounts.take(site, days, first, advance_all(site, runs, days))


def ledger(
    scenario: Scenario, field: str, plan: str, year: int, record: DailyRecord | None = None
) -> xr.Dataset:
    """The daily water account of one field, plan and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    field, plan : their keys.
    year : a complete year of the record, or the number of a simulated year, from 1.
    record : daily weather to use in place of the scenario's file.

    Returns
    -------
    Dataset by ``date``: what came, what left and what is stored (mm, means over the field), and
    the shares of the field at each stage; of a supply ``supply_NAME`` (m3). Dates of a simulated
    year are those of its calendar.

    Raises
    ------
    FaultyInput
        When there is no such field, plan or complete year.

    Examples
    --------
    >>> account = drysward.ledger(drysward.shipped("demo"), "stadium", "refill", 49)
    >>> account["irrigation_landed"].sum().item()  # mm
    """
    import xarray as xr

    from drysward.results.dataset import provenance

    place = scenario.fields.index(scenario.field_named(field))
    followed = scenario.plan_named(plan)
    series = weather_series(scenario, record)
    year = series.number(year)
    run: PlanRun | None = None
    for site in stretches(scenario, series):
        if year not in site.years:
            what = f"{year} is not a complete year of {series.description}"
            allowed = f"years: {site.years[0]} to {site.years[-1]}"
            raise FaultyInput(Fault("year", what, allowed))
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
        attrs={**provenance(site, series), "field": field, "plan": plan, "year": year},
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
