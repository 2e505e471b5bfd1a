"""The outlook of a season: what each plan may do from today on, beside a usual year."""

from __future__ import annotations

import json
import os
import tomllib
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import STAGES
from drysward.drive.runs import compiled_run_site
from drysward.faults import Fault, FaultyInput
from drysward.progress import Report, reporting
from drysward.quantities import VOLUME, parse
from drysward.results.ahead import (
    effective_number,
    first_day,
    jeffreys_limits,
    quantiles,
    reached_by,
    share_of_ways,
)
from drysward.results.dataset import CAUTIONS, identity
from drysward.results.terms import stage_coordinate
from drysward.scenario.model import RECORD, PlanSpec, Scenario, require_scenario
from drysward.site.forcing import in_season
from drysward.site.stretches import turf_new_year, turf_year_of
from drysward.site.weather_years import read_record, weather_series
from drysward.studies.doubt.crossed import drawn_numbers, drawn_point
from drysward.studies.doubt.draws import draw
from drysward.studies.season.ahead import Ahead, Start, needed_so_far_mm, run_ahead, start_at
from drysward.studies.season.forecast import (
    Forecast,
    forecast_skill,
    read_forecast,
    ways_with_forecast,
)
from drysward.studies.season.logs import Log, read_log
from drysward.studies.season.ways import Way, same_days_of_year, ways_of_record, weights
from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import calendar_day

if TYPE_CHECKING:
    import xarray as xr

FloatArray = NDArray[np.float64]

MOST_WAYS = 100  # of simulated years; more change the odds by less than their error (own choice)
FEWEST_WAYS = 5
MOST_DRAWN = 32  # draws of what is not known, each with some of the ways (own choice)
PAIRED_BY = 52_361  # separates the order of these pairs from others of the same seed
DAYS_BEFORE = 365  # with less weather before it the soil water is an assumption (own choice)
CERTAINTY = (0.5, 0.8, 0.9)
SPREAD = (0.1, 0.5, 0.9)
DAYS_BACK = 45  # of the season so far, in front of the days ahead
LEAST_MM = 0.05  # of water that counts as a watering or a shortage


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways on with their weights (W,), and the weather (``record``) that they are from.

    ``years_before`` is the calendar year of ``record`` that is year 1 of simulated ones, less 1.
    """

    ways: tuple[Way, ...]
    weights: FloatArray
    record: DailyRecord
    years_before: int
    description: str
    kind: str


def season_end(scenario: Scenario, today: np.datetime64) -> np.datetime64:
    """The last day of the scenario's season that ``today`` is in or before, in its turf year."""
    southern = scenario.site.latitude_deg < 0.0
    year = int(turf_year_of(np.array([today]), southern)[0])
    days = np.arange(turf_new_year(year, southern), turf_new_year(year + 1, southern))
    inside = in_season(calendar_day(days), scenario.answers.season)
    left = days[inside & (days >= today)]
    if not left.size:
        allowed = f"a day to {days[inside][-1]}, or another [answers] season"
        raise FaultyInput(Fault("today", f"the season is over on {today}", allowed))
    return np.datetime64(left[-1])


def ways_on(
    scenario: Scenario,
    record: DailyRecord,
    today: np.datetime64,
    last: np.datetime64,
    outlook: Sequence[float] | None = None,
    since: int | None = None,
) -> Ways:
    """Every way on from ``today`` to ``last``, with their weights (see ``ways.weights``).

    The other years of the record where the scenario runs on its record, else simulated years.
    """
    source = scenario.weather
    if source.source == RECORD:
        found = ways_of_record(record, today, last)
        span = f"{found[0].name} to {found[-1].name}" if found else "none"
        text = f"{len(found)} years of {record.name}, {span}"
        whole, before = record, 0
    else:
        series = weather_series(scenario)
        n = min(series.n_simulated, MOST_WAYS)
        first = series.years_before + 1
        whole = series.between(series.first, np.datetime64(f"{first + n:04d}-01-01", "D"))
        before = series.years_before
        years = [year for year in whole.years() if year > first]
        found = ways_of_record(whole, today, last, "simulated {year}", before, years)
        text = f"{len(found)} simulated years"
    if len(found) < FEWEST_WAYS:
        what = f"only {len(found)} ways on from {today} to {last}"
        allowed = 'a longer weather file, or source = "generator" under [weather]'
        raise FaultyInput(Fault("weather", what, allowed))
    return Ways(tuple(found), weights(found, outlook, since), whole, before, text, source.source)


@dataclass(frozen=True, eq=False)
class Members:
    """Scenarios that a site may be: K draws of what is not known, or the scenario alone.

    ``of_way`` (W,) is the one that each way goes on from; every draw has as many ways as any other,
    or one less.
    """

    scenarios: tuple[Scenario, ...]
    of_way: NDArray[np.int64]


def members_of(scenario: Scenario, n_ways: int, n_draws: int | None) -> Members:
    """The draws of a season, each with some of the ways; as many as ways when ``n_draws`` is None,
    up to MOST_DRAWN.

    Roots go as deep as in the catalog: no person knows what a year draws.
    """
    known = replace(scenario, answers=replace(scenario.answers, rooting_varies=False))
    n = min(n_ways, MOST_DRAWN) if n_draws is None else min(n_draws, n_ways)
    if scenario.draws == 0 and n_draws is None:
        n = 0
    numbers = drawn_numbers(known) if n > 1 and known.text else ()
    if not numbers:
        return Members((known,), np.zeros(n_ways, np.int64))
    tree = tomllib.loads(known.text)
    rows = draw(numbers, n, known.weather.seed).rows()
    drawn = [drawn_point(known, tree, known.plans, row).scenario for row in rows]
    answers = known.answers
    order = np.random.default_rng([known.weather.seed, PAIRED_BY]).permutation(n_ways)
    return Members(tuple(replace(one, answers=answers) for one in drawn), order % n)


def usual_years(
    members: Members,
    ways: Ways,
    today: np.datetime64,
    last: np.datetime64,
    plans: Sequence[PlanSpec],
    pool: ThreadPoolExecutor,
) -> tuple[Ahead, FloatArray]:
    """The same days of usual years: each from its state on the day, through its weather.

    Returns the daily numbers of each year, and days in a row at each stage before (stage, W, B, F).
    """
    this_year = int(today.astype("datetime64[Y]").astype(int)) + 1970

    def go(one: tuple[Way, int]) -> tuple[Ahead, FloatArray] | None:
        way, k = one
        calendar_year = way.year + ways.years_before
        then, end = same_days_of_year(np.array([today, last]), this_year - calendar_year)
        if (then - ways.record.dates[0]).astype(int) < DAYS_BEFORE:
            return None  # its soil water would be an assumption
        scenario = members.scenarios[k]
        start = start_at(scenario, ways.record, then, own_plans(scenario, plans))
        own = ways_of_record(ways.record, then, end, years=[calendar_year])
        return run_ahead(start, own), runs_before_of(start)

    pairs = zip(ways.ways, members.of_way.tolist(), strict=True)
    found = [one for one in pool.map(go, pairs) if one is not None]
    if not found:
        raise FaultyInput(Fault("weather", "no usual year", "a longer weather file"))
    parts = [part for part, _ in found]
    before = np.stack([runs for _, runs in found], axis=1)
    return _together(parts, np.arange(today, last + 1)), before


def own_plans(scenario: Scenario, plans: Sequence[PlanSpec]) -> tuple[PlanSpec, ...]:
    """The plans as a draw has them."""
    return tuple(scenario.plan_named(plan.key) for plan in plans)


def _together(parts: Sequence[Ahead], dates: NDArray[np.datetime64]) -> Ahead:
    """The ways of several as one, cut to the fewest days (a leap day more or less)."""
    n = min(part.dates.size for part in parts)

    def joined(name: str, of: str) -> FloatArray:
        return np.concatenate([getattr(part, of)[name][:, :, :n] for part in parts])

    return Ahead(
        ways=tuple(way for part in parts for way in part.ways),
        dates=dates[:n],
        fields={name: joined(name, "fields") for name in parts[0].fields},
        supply={name: joined(name, "supply") for name in parts[0].supply},
        causes=np.concatenate([part.causes for part in parts]),
        spent_day=np.concatenate([part.spent_day for part in parts]),
    )


def runs_before_of(start: Start) -> FloatArray:
    """Days in a row at each stage up to today (stage, B, F)."""
    return np.stack([start.runs.states[f"{stage}_run"] for stage in STAGES])


def season(
    scenario: Scenario,
    today: np.datetime64 | str | None = None,
    until: np.datetime64 | str | None = None,
    log: Log | str | Path | None = None,
    forecast: Forecast | str | Path | None = None,
    outlook: Sequence[float] | None = None,
    since: int | None = None,
    storage: float | str | None = None,
    draws: int | None = None,
    usual: bool = True,
    record: DailyRecord | None = None,
    workers: int | None = None,
    progress: Report = None,
) -> xr.Dataset:
    """The rest of this season under each plan: odds of each stage by each date, and water.

    Parameters
    ----------
    scenario : its weather reaches to yesterday; a part year is fine.
    today : the first day ahead; the day after the last of the weather when None.
    until : the last day ahead; the end of the scenario's season when None.
    log : irrigation log of this season, or its file (date, field, depth or minutes). Up to today it
        takes the place of the plans.
    forecast : of the first days ahead, or its file (rain, its chance, highs and lows).
    outlook : chances of a dry, a normal and a wet rest of the season, together 1.
    since : leave out ways of earlier years.
    storage : water in storage today, where it was measured: m3, or such as "0.8 Mgal".
    draws : draws of what is not known of soil, turf and system, which the ways share; as many as
        ways when None, up to 32; 0 for none.
    usual : add the odds of a usual year on the same dates.
    record : weather in place of the scenario's file.
    workers : threads; as many as there are cores when None. No number changes any result.
    progress : True shows how far it is; a function is called with the share done.

    Returns
    -------
    Dataset by field, plan, stage and ``date``: ``odds`` that a stage has come by a date, with
    limits and ``usual_odds``; ``depletion`` and ``green`` by ``quantile`` of the ways, and of the
    days before today; ``water_needed`` (mm) and ``site_water_needed`` (m3) by ``certainty``; the
    next watering; days below playing condition; of a supply when it runs out.

    Raises
    ------
    FaultyInput
        Where the weather does not reach to the day before ``today``, there are too few ways, or a
        file is faulty.

    Examples
    --------
    >>> ahead = drysward.season(drysward.load("fields.toml"), today="2026-07-01")
    >>> ahead["odds"].sel(field="practice", plan="refill", stage="wilt").to_series()
    """
    require_scenario(scenario)
    record = this_year(scenario) if record is None else record
    day = record.dates[-1] + 1 if today is None else _day("today", today)
    last = season_end(scenario, day) if until is None else _day("until", until)
    if last < day:
        raise FaultyInput(Fault("until", f"{last} is before {day}", f"{day} or later"))
    southern = scenario.site.latitude_deg < 0.0
    begins = turf_new_year(int(turf_year_of(np.array([day]), southern)[0]), southern)
    if log is not None and not isinstance(log, Log):
        log = read_log(Path(log), scenario, begins, day)
    if forecast is not None and not isinstance(forecast, Forecast):
        forecast = read_forecast(Path(forecast), day)
    ways = ways_on(scenario, record, day, last, outlook, since)
    if forecast is not None:
        skill = forecast_skill(scenario.catalog)
        led = ways_with_forecast(ways.ways, forecast, ways.record, skill, ways.weights)
        ways = replace(ways, ways=tuple(led))
    storage_m3 = _volume_m3(storage)
    members = members_of(scenario, len(ways.ways), draws)
    compiled_run_site()
    with (
        reporting(progress, "Running the ways on") as done,
        ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool,
    ):

        def begin(one: Scenario, like: Start | None = None) -> Start:
            applied = None if log is None else log.applied_mm(one)
            start = start_at(one, record, day, own_plans(one, scenario.plans), applied, like)
            if storage_m3 is not None:
                start.runs.supply.storage["volume"] = storage_m3
            return start

        alone, *others = members.scenarios
        first = begin(alone)
        starts = [first, *pool.map(lambda one: begin(one, first), others)]
        done(0.3)
        each = zip(ways.ways, members.of_way.tolist(), strict=True)
        parts = list(pool.map(lambda one: run_ahead(starts[one[1]], [one[0]]), each))
        done(0.7)
        out = _answers(starts, members, ways, _together(parts, np.arange(day, last + 1)))
        if usual:
            seen = usual_years(members, ways, day, last, scenario.plans, pool)
            out = out.merge(_usual(scenario, *seen), combine_attrs="override")
        done(1.0)
    notes = () if log is None else log.notes
    named = {} if log is None else {"log": log.path}
    if forecast is not None:
        named |= {"forecast": forecast.name, "forecast_days": str(forecast.dates.size)}
    n = len(members.scenarios)
    return out.assign_attrs(**named, notes=json.dumps(notes), draws=n if n > 1 else 0)


def _day(name: str, value: np.datetime64 | str) -> np.datetime64:
    try:
        return np.datetime64(str(value), "D")
    except ValueError:
        raise FaultyInput(Fault(name, f"{value} is not a date", "such as 2026-07-01")) from None


def _volume_m3(storage: float | str | None) -> float | None:
    if not isinstance(storage, str):
        return storage
    try:
        return parse(storage, VOLUME)
    except ValueError as error:
        what, _, allowed = str(error).partition("; ")
        raise FaultyInput(Fault("storage", what, allowed)) from None


def this_year(scenario: Scenario) -> DailyRecord:
    """The weather of the scenario's file, to its last day; FaultyInput without a file."""
    if scenario.weather.file is None:
        what = "the scenario has a climate table and no weather of this year"
        allowed = "--weather FILE, daily weather up to yesterday"
        raise FaultyInput(Fault("weather", what, allowed))
    return read_record(scenario)


def _answers(
    starts: Sequence[Start], members: Members, ways: Ways, ahead: Ahead
) -> xr.Dataset:
    start = starts[0]
    scenario, w = start.scenario, ways.weights
    answers, dates = scenario.answers, ahead.dates
    n = effective_number(w)
    before = np.stack([runs_before_of(one) for one in starts], axis=1)
    came = came_by(ahead, scenario, before[:, members.of_way])
    gross, need = ahead.fields["irrigation_gross"], needed_mm(ahead)
    area_m2 = np.array([field.area_m2 for field in scenario.fields])
    site_m3 = (need * area_m2).sum(axis=-1) / 1000.0
    waters = np.moveaxis(gross > LEAST_MM, 2, -1)  # W, B, F, T
    first = first_day(waters)
    depth = np.take_along_axis(
        np.moveaxis(gross, 2, -1), np.minimum(first, dates.size - 1)[..., None], axis=-1
    )[..., 0]
    will = first < dates.size
    data = {
        **_outcomes(ahead, came, w, n),
        "wilt": _fan(ahead.fields["wilt"], w, "share of the field that wilts"),
        "water_of_way": (("way", "plan", "field"), need, "mm", "water needed to the last date"),
        "site_water_needed": (
            ("certainty", "plan"), quantiles(site_m3, CERTAINTY, w), "m3",
            "water that is enough to the last date for all fields",
        ),
        "days_below_condition": (
            ("way", "plan", "field"), _days_below(ahead, scenario), "d",
            "days below playing condition to the last date",
        ),
        "waters": (("plan", "field"), share_of_ways(will, w), "1", "share of ways with a watering"),
        "next_watering": (
            ("quantile", "plan", "field"), _day_by(first, w, dates.size), "d",
            "days from today to the next watering",
        ),
        "next_depth": (
            ("plan", "field"), _median_of(depth, will, w), "mm", "depth of the next watering",
        ),
    }  # fmt: skip
    if scenario.supply is not None:
        data |= _of_supply(start, ahead, w)
    n_past = 0
    for name in ("depletion", "green", "wilt", "irrigation_gross"):
        if start.so_far:
            each = np.stack([one.so_far[name][:, -DAYS_BACK:] for one in starts])
            past = np.broadcast_to(
                quantiles(each, SPREAD, np.ones(len(starts))),
                (len(SPREAD), len(start.plans), *each.shape[2:]),
            )
            unit = "mm" if name.endswith("gross") else "1"
            dims = ("quantile", "plan", "past_date", "field")
            data[f"past_{name}"] = (dims, past, unit, f"{name.replace('_', ' ')} up to today")
            n_past = each.shape[2]
    coords = {
        "field_label": ("field", [field.label for field in scenario.fields]),
        "plan_label": ("plan", [plan.label for plan in start.plans]),
        "area_m2": ("field", area_m2, {"units": "m2", "long_name": "area of the field"}),
        "past_date": np.arange(start.today - n_past, start.today).astype("datetime64[ns]"),
        "way": [way.name for way in ways.ways],
        "weight": ("way", w, {"units": "1", "long_name": "weight of the way"}),
    }
    attrs = {
        **identity(scenario),
        "today": str(start.today),
        "last_date": str(dates[-1]),
        "weather": f"{start.record.name}, to {start.record.dates[-1]}",
        "weather_digest": start.record.digest,
        "ways": ways.description,
        "ways_kind": ways.kind,
        "effective_ways": float(n),
        "reached": json.dumps(dict(answers.reached)),
        "reached_days": answers.reached_days,
        "supply": int(scenario.supply is not None),
        "catalog_digest": scenario.catalog.digest(),
        "cautions": " ".join(CAUTIONS),
    }
    return _as_dataset(data, scenario, dates, coords, attrs).transpose(
        "field", "plan", "stage", ..., "date", "past_date", missing_dims="ignore"
    )


def came_by(ahead: Ahead, scenario: Scenario, runs_before: FloatArray) -> NDArray[np.bool_]:
    """Whether each stage has come by each day (stage, W, B, T, F), of days in a row at it before
    today (stage, ..., B, F).
    """
    answers = scenario.answers
    return np.stack([
        reached_by(ahead.fields[stage], answers.reached[stage], answers.reached_days, before)
        for stage, before in zip(STAGES, runs_before, strict=True)
    ])  # fmt: skip


def needed_mm(ahead: Ahead) -> FloatArray:
    """Water drawn to the last date, and what is short of it (W, B, F)."""
    return needed_so_far_mm(ahead.fields)[..., -1, :]


_Variable = tuple[tuple[str, ...], FloatArray, str, str]
"""Dimensions, values, unit and meaning."""


def _outcomes(
    ahead: Ahead, came: NDArray[np.bool_], weights: FloatArray, n: float, usual: bool = False
) -> dict[str, _Variable]:
    """What this season's ways and usual years have in common, as many as ``n`` equal ones."""
    odds = share_of_ways(np.moveaxis(came, 1, 0), weights)  # stage, B, T, F
    low, high = jeffreys_limits(odds, n)
    by_date = ("stage", "plan", "date", "field")
    of = " in a usual year" if usual else ""
    found = {
        "odds": (by_date, odds, "1", f"odds{of} that the stage has come by the date"),
        "odds_low": (by_date, low, "1", f"lower 90% limit of the odds{of}"),
        "odds_high": (by_date, high, "1", f"upper 90% limit of the odds{of}"),
        "depletion": _fan(ahead.fields["depletion"], weights, f"depletion of the root zone{of}"),
        "green": _fan(ahead.fields["green"], weights, f"green cover{of}"),
        "water_needed": (
            ("certainty", "plan", "field"), quantiles(needed_mm(ahead), CERTAINTY, weights), "mm",
            f"water that is enough to the last date{of}",
        ),
    }  # fmt: skip
    return {f"usual_{name}" if usual else name: one for name, one in found.items()}


def _as_dataset(
    data: Mapping[str, _Variable],
    scenario: Scenario,
    dates: NDArray[np.datetime64],
    coords: Mapping[str, Any],
    attrs: Mapping[str, Any],
) -> xr.Dataset:
    """The variables by field, plan, stage and date; ``coords`` are further ones."""
    import xarray as xr

    shares = {"units": "1", "long_name": "share of ways"}
    return xr.Dataset(
        {
            name: (dims, values, {"units": unit, "long_name": meaning})
            for name, (dims, values, unit, meaning) in data.items()
        },
        coords={
            "field": [field.key for field in scenario.fields],
            "plan": [plan.key for plan in scenario.plans],
            "stage": stage_coordinate(),
            "date": dates.astype("datetime64[ns]"),
            "quantile": ("quantile", list(SPREAD), shares),
            "certainty": ("certainty", list(CERTAINTY), shares),
            **coords,
        },
        attrs=attrs,
    )


def _fan(values: FloatArray, weights: FloatArray, what: str) -> _Variable:
    """10, 50 and 90% of the ways on each day, day by day."""
    spread = quantiles(values, SPREAD, weights)
    return ("quantile", "plan", "date", "field"), spread, "1", f"{what}, share of ways below"


def _days_below(ahead: Ahead, scenario: Scenario) -> FloatArray:
    """Days below playing condition (W, B, F)."""
    condition = scenario.answers.playing_condition
    below = (ahead.fields["green"] < condition.green) | (ahead.fields["wilt"] > condition.wilt)
    days: FloatArray = below.sum(axis=2).astype(float)
    return days


def _day_by(first: NDArray[np.int64], weights: FloatArray, n_days: int) -> FloatArray:
    """Days from today (Q, ...) by which something has come in 10, 50 and 90% of the ways; NaN where
    it comes in fewer. ``first`` (W, ...) is its day in each way, ``n_days`` where it never comes.
    """
    came = np.stack([share_of_ways(first <= t, weights) for t in range(n_days)], axis=-1)
    days = np.stack([first_day(came >= share - 1e-9) for share in SPREAD]).astype(float)
    return np.where(days < n_days, days, np.nan)


def _median_of(values: FloatArray, has: NDArray[np.bool_], weights: FloatArray) -> FloatArray:
    """The median (B, F) of the ways that have a value; NaN where none has."""
    out = np.full(values.shape[1:], np.nan)
    for place in np.ndindex(*out.shape):
        ways = has[(slice(None), *place)]
        if ways.any():
            some = values[(slice(None), *place)][ways]
            out[place] = quantiles(some, (0.5,), weights[ways])[0]
    return out


def _of_supply(start: Start, ahead: Ahead, weights: FloatArray) -> dict[str, _Variable]:
    """When an allowance is spent or storage empty, the shortage, and what is left in storage."""
    n_days = ahead.dates.size
    short_mm = ahead.causes.sum(axis=-1)  # W, B, F
    out = {
        "runs_out": (("plan",), share_of_ways(ahead.spent_day < n_days, weights), "1",
                     "odds that an allowance is spent or storage empty by the last date"),
        "runs_out_day": (("quantile", "plan"), _day_by(ahead.spent_day, weights, n_days), "d",
                         "days from today by which so many ways have run out"),
        "shortage": (("quantile", "plan", "field"), quantiles(short_mm, SPREAD, weights), "mm",
                     "water that the plan demands and does not get to the last date"),
    }  # fmt: skip
    storage = start.scenario.supply and start.scenario.supply.storage
    if storage is not None:
        left = quantiles(ahead.supply["storage"], SPREAD, weights)
        out["storage"] = (("quantile", "plan", "date"), left, "m3", "water in storage")
        today = start.runs.supply.storage["volume"][:, 0]
        out["storage_today"] = (("plan",), today, "m3", "water in storage today")
    return out


def _usual(scenario: Scenario, ahead: Ahead, before: FloatArray) -> xr.Dataset:
    """What a usual year does on the same dates, each from its own state on the day."""
    came = came_by(ahead, scenario, before)
    n = came.shape[1]
    data = _outcomes(ahead, came, np.full(n, 1.0 / n), float(n), usual=True)
    return _as_dataset(data, scenario, ahead.dates, {}, {"usual_years": n})
