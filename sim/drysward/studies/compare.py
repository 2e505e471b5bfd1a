"""Every plan over every year of a scenario: weather file in, Dataset of yearly numbers out."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import accumulate
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from drysward.day.records import SUPPLY_TRACE, TRACE
from drysward.drive.mornings import too_much_text
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
from drysward.progress import Report, reporting
from drysward.scenario.model import PlanFunction, Scenario, require_scenario
from drysward.scenario.values import WEEKDAYS
from drysward.site.forcing import weekday
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
    progress: Report = None,
    workers: int | None = None,
    record: DailyRecord | str | Path | None = None,
    daily: bool = False,
    plans: Mapping[str, PlanFunction | tuple[PlanFunction, str]] | None = None,
) -> xr.Dataset:
    """Run every plan of a scenario on every field and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    years : first and last year to count, simulated ones by number from 1; all complete when None.
    only : keys of the plans of the scenario to run; all when None.
    progress : True shows how far it is on stderr: a bar at a terminal, else a line every ten
        seconds. A function is called with the share of the work that is done. None is silent.
    workers : threads; as many as there are cores when None. No number changes any result.
    record : daily weather to use in place of the scenario's file: a path to a file, which is read
        as the scenario reads its own, or a ``drysward.weather.record.DailyRecord``.
    daily : keep the daily account of the driest, the middling and the wettest year too.
    plans : further plans by key, which always run: a Python function that returns the depth of
        each morning, or (function, key of a plan) for one with the season, days and restrictions
        of that plan. A function alone waters all year. See ``Scenario.with_plan``. A warning
        says on how many days a function left what one watering could not put on.

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
    require_scenario(scenario)
    for key, plan in (plans or {}).items():
        scenario = scenario.with_plan(key, *(plan if isinstance(plan, tuple) else (plan,)))
    followed = scenario.plans
    if only is not None:
        keys = dict.fromkeys((*only, *(plans or {})))
        followed = tuple(scenario.plan_named(key) for key in keys)
    series = weather_series(scenario, record)
    days = (series.stop - series.first).astype(int)
    workers = workers or os.cpu_count() or 1
    groups: list[Runs] = []
    seen: WeatherSeen | None = None
    accounts: DailyAccounts | None = None
    done = 0
    compiled_run_site()
    with (
        reporting(progress, "Running the plans") as report,
        ThreadPoolExecutor(workers) as pool,
    ):
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
                together = in_groups(starts, workers)
                groups = [start_runs(part) for part in together]
                firsts = list(accumulate((len(g.specs) for g in groups), initial=0))[:-1]
                seen = WeatherSeen(site.years, series.years_before)
                if deficit_mm is not None:
                    accounts = DailyAccounts(deficit_mm, site, len(followed))
            seen.add(site)
            list(pool.map(partial(_advance, site, accounts), firsts, groups))
            done += site.calendar.size - site.from_day
            report(done / days)
            last = site
    assert seen is not None
    # Here, so that a command line can load it while the plans run.
    from drysward.results.dataset import as_dataset
    from drysward.results.terms import with_terms

    each = [group.one(b) for group in groups for b in range(len(group.specs))]
    beyond = [(one.plan, one.left_unfinished) for one in each]
    if text := too_much_text(beyond, scenario.fields, len(last.years)):
        warnings.warn(text, stacklevel=2)
    out = as_dataset(last, series, seen, each)
    if accounts is None:
        return out
    days = with_terms(accounts.dataset(scenario.catalog))
    return out.merge(days, combine_attrs="override")


def _advance(site: PreparedSite, accounts: DailyAccounts | None, first: int, runs: Runs) -> None:
    """Take ``runs``, of the plans from ``first`` on, through a stretch."""
    if accounts is None:
        advance_all(site, runs)
    else:
        days = accounts.days_in(site)
        accounts.take(site, days, first, advance_all(site, runs, days))


def ledger(
    scenario: Scenario, field: str, plan: str, year: int,
    record: DailyRecord | str | Path | None = None,
) -> xr.Dataset:
    """The daily water account of one field, plan and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    field, plan : their keys.
    year : a complete year of the record, or the number of a simulated year, from 1.
    record : daily weather to use in place of the scenario's file: a path to a file, which is read
        as the scenario reads its own, or a ``drysward.weather.record.DailyRecord``.

    Returns
    -------
    Dataset by ``day`` of the turf year: what came, what left and what is stored (mm, means over the
    field), and the shares of the field at each stage; of a supply ``supply_NAME`` (m3).
    Coordinates ``year``, ``month``, ``day_of_year`` (1 to 366, in the calendar of a leap year) and
    ``month_day`` ("07-15") say which day it is. A recorded year also has the ``date``; a simulated
    one has no calendar year and so no date.

    Raises
    ------
    FaultyInput
        When there is no such field, plan or complete year.

    Examples
    --------
    >>> account = drysward.ledger(drysward.shipped("demo"), "stadium", "refill", 49)
    >>> account["irrigation_landed"].sum().item()  # mm
    >>> account["depletion"].groupby("month").mean().to_series()
    """
    import xarray as xr

    from drysward.results.dataset import provenance
    from drysward.results.days import day_coordinates
    from drysward.results.terms import with_terms

    require_scenario(scenario)
    place = scenario.fields.index(scenario.field_named(field))
    followed = scenario.plan_named(plan)
    series = weather_series(scenario, record)
    series.require_simulated(year)
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
    dates = site.weather.record.dates[span]
    out = xr.Dataset(
        {name: ("day", np.ascontiguousarray(trace[name])) for name in TRACE.names or ()},
        coords=day_coordinates(dates, np.full(dates.size, year), series.n_simulated > 0),
        attrs={**provenance(site, series), "field": field, "plan": plan, "year": year},
    )
    names = np.array(WEEKDAYS)[weekday(dates)]
    out = out.assign_coords(weekday=("day", names, {"long_name": "day of the week"}))
    if scenario.supply is not None and run is not None:
        at_supply = run.supply.trace
        for name in SUPPLY_TRACE.names or ():
            out[f"supply_{name}"] = ("day", np.ascontiguousarray(at_supply[name]))
    return with_terms(out, of="daily_")
