"""The outlook of a season: what each plan may do from today on, beside a usual year."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drysward import CITATION, __version__
from drysward.day.records import CAUSES, STAGES
from drysward.faults import Fault, FaultyInput
from drysward.results.ahead import (
    effective_number,
    first_day,
    jeffreys_limits,
    quantiles,
    reached_by,
    share_of_ways,
)
from drysward.scenario.model import RECORD, PlanSpec, Scenario
from drysward.site.stretches import turf_new_year, turf_year_of
from drysward.site.weather_years import read_record, weather_series
from drysward.studies.season.ahead import Ahead, Start, run_ahead, start_at
from drysward.studies.season.ways import Way, same_days_of_year, ways_of_record
from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import calendar_day

if TYPE_CHECKING:
    import xarray as xr

FloatArray = NDArray[np.float64]

MOST_WAYS = 100  # of simulated years; more change the odds by less than their error (own choice)
FEWEST_WAYS = 5
CERTAINTY = (0.5, 0.8, 0.9)
SPREAD = (0.1, 0.5, 0.9)
DAYS_BACK = 45  # of the season so far, in front of the days ahead
SHORT_OF_SUPPLY = ("allowance", "storage")
LEAST_MM = 0.05  # of water that counts as a watering or a shortage


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways on with their weights (W,), and the weather (``record``) and years they are from.

    ``first`` is the calendar year of the record that is year 1 of a simulated one, less 1.
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
    of_year = calendar_day(days)
    first, last = scenario.answers.season
    inside = (of_year >= first) & (of_year <= last)
    if first > last:
        inside = (of_year >= first) | (of_year <= last)
    left = days[inside & (days >= today)]
    if not left.size:
        allowed = f"a day to {days[inside][-1]}, or another [answers] season"
        raise FaultyInput(Fault("today", f"the season is over on {today}", allowed))
    return np.datetime64(left[-1])


def ways_on(
    scenario: Scenario, record: DailyRecord, today: np.datetime64, last: np.datetime64
) -> Ways:
    """Every way on from ``today`` to ``last``, with equal weights.

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
    weights = np.full(len(found), 1.0 / len(found))
    return Ways(tuple(found), weights, whole, before, text, source.source)


def usual_years(
    scenario: Scenario,
    ways: Ways,
    today: np.datetime64,
    last: np.datetime64,
    plans: Sequence[PlanSpec],
    workers: int | None = None,
) -> tuple[Ahead, FloatArray]:
    """The same days of usual years: each from its state on the day, through its weather.

    Returns the daily numbers of each year, and days in a row at each stage before (stage, W, B, F).
    """
    parts, runs_before = [], []
    this_year = int(today.astype("datetime64[Y]").astype(int)) + 1970
    for way in ways.ways:
        calendar_year = way.year + ways.years_before
        back = this_year - calendar_year
        then, end = same_days_of_year(np.array([today, last]), back)
        if (then - ways.record.dates[0]).astype(int) < 365:
            continue  # its soil water would be an assumption
        start = start_at(scenario, ways.record, then, plans)
        own = ways_of_record(ways.record, then, end, years=[calendar_year])
        parts.append(run_ahead(start, own, workers=1))
        runs_before.append(runs_before_of(start))
    fields = {name: _same_days([part.fields[name] for part in parts]) for name in parts[0].fields}
    whole = Ahead(
        ways=tuple(part.ways[0] for part in parts),
        dates=np.arange(today, last + 1),
        fields=fields,
        supply={
            name: np.concatenate([part.supply[name] for part in parts]) for name in parts[0].supply
        },
        causes=np.concatenate([part.causes for part in parts]),
    )
    return whole, np.stack(runs_before, axis=1)


def _same_days(parts: Sequence[FloatArray]) -> FloatArray:
    """Arrays (1, B, T, F) of several years, cut to the fewest days (a leap day more or less)."""
    n = min(part.shape[2] for part in parts)
    return np.concatenate([part[:, :, :n] for part in parts])


def runs_before_of(start: Start) -> FloatArray:
    """Days in a row at each stage up to today (stage, B, F)."""
    return np.stack([start.runs.states[f"{stage}_run"] for stage in STAGES])


def season(
    scenario: Scenario,
    today: np.datetime64 | str | None = None,
    until: np.datetime64 | str | None = None,
    applied_mm: Mapping[str, Mapping[np.datetime64, float]] | None = None,
    record: DailyRecord | None = None,
    ways: Ways | None = None,
    storage_m3: float | None = None,
    usual: bool = True,
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
) -> xr.Dataset:
    """The rest of this season under each plan: odds of each stage by each date, and water.

    Parameters
    ----------
    today : the first day ahead; the day after the last of the weather when None.
    until : the last day ahead; the end of the scenario's season when None.
    applied_mm : by field what a log says has reached the turf, by date (mm).
    record : weather up to yesterday in place of the scenario's file.
    ways : the ways on, as of ``ways_on``; by default the years of the record, or simulated years.
    storage_m3 : water in storage today, where it was measured.
    usual : add the odds of a usual year on the same dates.

    Returns
    -------
    Dataset by field, plan, stage and ``date``: ``odds`` that a stage has come by a date, with
    limits and ``usual_odds``; ``depletion`` and ``green`` by ``quantile`` of the ways, and of the
    days before today; ``water_needed`` (mm) and ``site_water_needed`` (m3) by ``certainty``; the
    next watering; days below playing condition; of a supply when it runs out.

    Raises
    ------
    FaultyInput
        Where the weather does not reach to the day before ``today``, or there are too few ways.

    Examples
    --------
    >>> ahead = drysward.season(drysward.load("fields.toml"), today="2026-07-01")
    >>> ahead["odds"].sel(field="practice", plan="refill", stage="wilt").to_series()
    """
    record = this_year(scenario) if record is None else record
    day = record.dates[-1] + 1 if today is None else _day("today", today)
    last = season_end(scenario, day) if until is None else _day("until", until)
    if last < day:
        raise FaultyInput(Fault("until", f"{last} is before {day}", f"{day} or later"))
    start = start_at(scenario, record, day, scenario.plans, applied_mm)
    if storage_m3 is not None:
        start.runs.supply.storage.volume = storage_m3
    ways = ways_on(scenario, record, day, last) if ways is None else ways
    ahead = run_ahead(start, ways.ways, workers, on_progress)
    out = _answers(start, ways, ahead)
    if usual:
        out = out.merge(_usual(start, ways, workers), combine_attrs="override")
    return out


def _day(name: str, value: np.datetime64 | str) -> np.datetime64:
    try:
        return np.datetime64(str(value), "D")
    except ValueError:
        raise FaultyInput(Fault(name, f"{value} is not a date", "such as 2026-07-01")) from None


def this_year(scenario: Scenario) -> DailyRecord:
    """The weather of the scenario's file, to its last day; FaultyInput without a file."""
    if scenario.weather.file is None:
        what = "the scenario has a climate table and no weather of this year"
        allowed = "--weather FILE, daily weather up to yesterday"
        raise FaultyInput(Fault("weather", what, allowed))
    return read_record(scenario)


_BY = ("field", "plan")


def _answers(start: Start, ways: Ways, ahead: Ahead) -> xr.Dataset:
    import xarray as xr

    scenario, w = start.scenario, ways.weights
    answers, dates = scenario.answers, ahead.dates
    n = effective_number(w)
    came = _came(ahead, scenario, runs_before_of(start))
    odds = share_of_ways(np.moveaxis(came, 1, 0), w)  # stage, B, T, F
    low, high = jeffreys_limits(odds, n)
    by_date = ("stage", "plan", "date", "field")
    gross, caused = ahead.fields["irrigation_gross"], ahead.causes
    need = gross.sum(axis=2) + caused.sum(axis=-1)  # W, B, F
    area_m2 = np.array([field.area_m2 for field in scenario.fields])
    site_m3 = (need * area_m2).sum(axis=-1) / 1000.0
    waters = np.moveaxis(gross > LEAST_MM, 2, -1)  # W, B, F, T
    first = first_day(waters)
    depth = np.take_along_axis(
        np.moveaxis(gross, 2, -1), np.minimum(first, dates.size - 1)[..., None], axis=-1
    )[..., 0]
    will = first < dates.size
    data = {
        "odds": (by_date, odds, "1", "odds that the stage has come by the date"),
        "odds_low": (by_date, low, "1", "lower 90% limit of the odds"),
        "odds_high": (by_date, high, "1", "upper 90% limit of the odds"),
        "depletion": _fan(ahead.fields["depletion"], w, "depletion of the root zone"),
        "green": _fan(ahead.fields["green"], w, "green cover"),
        "wilt": _fan(ahead.fields["wilt"], w, "share of the field that wilts"),
        "water_of_way": (("way", "plan", "field"), need, "mm", "water needed to the last date"),
        "water_needed": (
            ("certainty", "plan", "field"), quantiles(need, CERTAINTY, w), "mm",
            "water that is enough to the last date",
        ),
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
            ("quantile", "plan", "field"), _next(first, will, w, ahead.dates), None,
            "date of the next watering",
        ),
        "next_depth": (
            ("plan", "field"), _median_of(depth, will, w), "mm", "depth of the next watering",
        ),
    }  # fmt: skip
    if scenario.supply is not None:
        data |= _of_supply(start, ahead, w)
    for name in ("depletion", "green", "wilt", "irrigation_gross"):
        if start.so_far:
            past = start.so_far[name][:, -DAYS_BACK:]
            past = np.broadcast_to(past, (len(start.plans), *past.shape[1:]))
            unit = "mm" if name.endswith("gross") else "1"
            data[f"past_{name}"] = (("plan", "past_date", "field"), past, unit, "to yesterday")
    n_past = data["past_green"][1].shape[1] if start.so_far else 0
    return xr.Dataset(
        {
            name: (dims, values, _attributes(unit, meaning))
            for name, (dims, values, unit, meaning) in data.items()
        },
        coords={
            "field": [field.key for field in scenario.fields],
            "plan": [plan.key for plan in start.plans],
            "field_label": ("field", [field.label for field in scenario.fields]),
            "plan_label": ("plan", [plan.label for plan in start.plans]),
            "area_m2": ("field", area_m2, {"units": "m2", "long_name": "area of the field"}),
            "stage": list(STAGES),
            "date": dates.astype("datetime64[ns]"),
            "past_date": np.arange(start.today - n_past, start.today).astype("datetime64[ns]"),
            "quantile": list(SPREAD),
            "certainty": list(CERTAINTY),
            "way": [way.name for way in ways.ways],
            "weight": ("way", w, {"units": "1", "long_name": "weight of the way"}),
        },
        attrs={
            "title": scenario.title,
            "site": scenario.site.name,
            "source": f"drysward {__version__}",
            "citation": CITATION,
            "drysward_version": __version__,
            "scenario": scenario.text,
            "scenario_digest": scenario.digest,
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
        },
    ).transpose("field", "plan", "stage", ..., "date", "past_date", missing_dims="ignore")


def _attributes(unit: str | None, meaning: str) -> dict[str, str]:
    named = {"long_name": meaning}
    return named if unit is None else {"units": unit, **named}


def _came(ahead: Ahead, scenario: Scenario, runs_before: FloatArray) -> NDArray[np.bool_]:
    """Whether each stage has come by each day (stage, W, B, T, F)."""
    answers = scenario.answers
    return np.stack([
        reached_by(ahead.fields[stage], answers.reached[stage], answers.reached_days, before)
        for stage, before in zip(STAGES, runs_before, strict=True)
    ])  # fmt: skip


def _fan(
    values: FloatArray, weights: FloatArray, what: str
) -> tuple[tuple[str, ...], FloatArray, str, str]:
    """10, 50 and 90% of the ways on each day, day by day."""
    spread = quantiles(values, SPREAD, weights)
    return ("quantile", "plan", "date", "field"), spread, "1", f"{what}, share of ways below"


def _days_below(ahead: Ahead, scenario: Scenario) -> FloatArray:
    """Days below playing condition (W, B, F)."""
    condition = scenario.answers.playing_condition
    below = (ahead.fields["green"] < condition.green) | (ahead.fields["wilt"] > condition.wilt)
    days: FloatArray = below.sum(axis=2).astype(float)
    return days


def _next(
    first: NDArray[np.int64],
    will: NDArray[np.bool_],
    weights: FloatArray,
    dates: NDArray[np.datetime64],
) -> NDArray[np.datetime64]:
    """Dates (Q, B, F) by which 10, 50 and 90% of the ways have had their next watering; NaT where
    fewer have.
    """
    by_day = [share_of_ways(first <= t, weights) for t in range(dates.size)]
    came = np.stack(by_day, axis=-1)  # B, F, T
    out = np.full((len(SPREAD), *first.shape[1:]), np.datetime64("NaT"), "datetime64[ns]")
    for q, share in enumerate(SPREAD):
        at = first_day(came >= share - 1e-9)
        known = at < dates.size
        out[q][known] = dates[at[known]]
    return out


def _median_of(values: FloatArray, has: NDArray[np.bool_], weights: FloatArray) -> FloatArray:
    """The median (B, F) of the ways that have a value; NaN where none has."""
    out = np.full(values.shape[1:], np.nan)
    for place in np.ndindex(*out.shape):
        ways = has[(slice(None), *place)]
        if ways.any():
            some = values[(slice(None), *place)][ways]
            out[place] = quantiles(some, (0.5,), weights[ways])[0]
    return out


def _of_supply(start: Start, ahead: Ahead, weights: FloatArray) -> dict[str, tuple]:
    """When the supply runs short of its allowance or storage, and what is left in storage."""
    causes = [CAUSES.index(cause) for cause in SHORT_OF_SUPPLY]
    short = (ahead.causes[..., causes].sum(axis=-1) > LEAST_MM).any(axis=-1)  # W, B
    first = first_day(ahead.supply["shortage"] > 0.0)
    spread = np.where(short, first, ahead.dates.size)
    dates = _next(spread[..., None], short[..., None], weights, ahead.dates)[..., 0]
    out = {
        "runs_out": (("plan",), share_of_ways(short, weights), "1",
                     "odds that allowance or storage runs short by the last date"),
        "runs_out_date": (("quantile", "plan"), dates, None,
                          "date by which so many ways have run short"),
    }  # fmt: skip
    storage = start.scenario.supply and start.scenario.supply.storage
    if storage is not None:
        left = quantiles(ahead.supply["storage"], SPREAD, weights)
        out["storage"] = (("quantile", "plan", "date"), left, "m3", "water in storage")
        today = start.runs.supply.storage["volume"][:, 0]
        out["storage_today"] = (("plan",), today, "m3", "water in storage today")
    return out


def _usual(start: Start, ways: Ways, workers: int | None) -> xr.Dataset:
    """What a usual year does on the same dates, each from its own state on the day."""
    import xarray as xr

    dates = ways.ways[0].days.dates
    ahead, before = usual_years(
        start.scenario, ways, start.today, dates[-1], start.plans, workers
    )
    came = np.stack([
        reached_by(ahead.fields[stage], start.scenario.answers.reached[stage],
                   start.scenario.answers.reached_days, before[s])
        for s, stage in enumerate(STAGES)
    ])  # fmt: skip
    odds = came.mean(axis=1)
    low, high = jeffreys_limits(odds, came.shape[1])
    need = ahead.fields["irrigation_gross"].sum(axis=2) + ahead.causes.sum(axis=-1)
    weights = np.full(len(need), 1.0 / len(need))
    depletion = quantiles(ahead.fields["depletion"], SPREAD, weights)
    green = quantiles(ahead.fields["green"], SPREAD, weights)
    n = odds.shape[2]
    by_date = ("stage", "plan", "date", "field")
    fan = ("quantile", "plan", "date", "field")
    data = {
        "usual_odds": (by_date, odds, "1", "odds in a usual year that the stage comes by the date"),
        "usual_odds_low": (by_date, low, "1", "lower 90% limit of the usual odds"),
        "usual_odds_high": (by_date, high, "1", "upper 90% limit of the usual odds"),
        "usual_depletion": (fan, depletion, "1", "depletion in a usual year"),
        "usual_green": (fan, green, "1", "green cover in a usual year"),
        "usual_water_needed": (
            ("certainty", "plan", "field"), quantiles(need, CERTAINTY, weights), "mm",
            "water that is enough in a usual year",
        ),
    }  # fmt: skip
    return xr.Dataset(
        {name: (dims, v, _attributes(unit, text)) for name, (dims, v, unit, text) in data.items()},
        coords={
            "stage": list(STAGES),
            "date": dates[:n].astype("datetime64[ns]"),
            "quantile": list(SPREAD),
            "certainty": list(CERTAINTY),
            "field": [field.key for field in start.scenario.fields],
            "plan": [plan.key for plan in start.plans],
        },
        attrs={"usual_years": came.shape[1]},
    )
