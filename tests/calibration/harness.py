"""Published turf results as numbers that the simulation can be held to.

``read_cases`` reads ``cases.toml``. ``predict`` gives what the simulation makes of each case under
any number of sets of catalog numbers. All sets of one setup go through the days side by side.
"""

from __future__ import annotations

import math
import multiprocessing
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, load_catalog
from drysward.drive.runs import advance_all, start_runs
from drysward.scenario.model import (
    Answers,
    DeliverySpec,
    FieldSpec,
    PlanSpec,
    RootZoneSpec,
    Scenario,
    Site,
    WeatherSource,
)
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.stretches import (
    Ground,
    PreparedSite,
    ground_of,
    spans,
    stretches,
    weather_stretch,
)
from drysward.weather.record import DailyRecord
from drysward.weather.series import recorded

FloatArray = NDArray[np.float64]
Numbers = Mapping[str, float]
"""Catalog numbers by dotted name, in place of the catalog's own."""

HERE = Path(__file__).parent
CASES_FILE = HERE / "cases.toml"
FIRST_YEAR = 2001  # no leap year; days of spells are counted from its first of January
SITE_ELEVATION_M = 50.0
UNIFORMITY = 0.8  # of a watered plot (assumed)
PLOT_FILLED_MM = 500.0
AREA_M2 = 100.0
# Waterings on so many days of the week.
WATERING_DAYS = {1: (0,), 2: (0, 3), 3: (0, 2, 4), 7: (0, 1, 2, 3, 4, 5, 6)}

# How ratings of 1 to 9 are read as cover; our assumption, stated in cases.toml.
GREEN_AT_QUALITY = {6: 0.75, 5: 0.60}
MOST_WILT_AT_QUALITY = {6: 0.25, 5: 0.50}
# Days by which a crossing that is not reached lies beyond the span, for a unit of cover: this keeps
# a slope where there is nothing to count.
DAYS_PER_COVER = 100.0
DOSE_POWER = 4.0
DEAD_SHARES = ("dead at day", "dead after wilt")

SOFTPLUS_AT_EDGE = math.log(math.e - 1.0)  # where softplus is 1


@dataclass(frozen=True)
class Setup:
    """Turf, soil, weather and plan of one plot.

    ``spells`` are (days, tmax, tmin, ETo, rain, days between rains); each weather number is a pair,
    at the first and the last day. ``day0`` is the calendar day (0..364) on which the trial begins
    and ``trial_days`` its length, before the turf is wetted again.
    """

    key: str
    species: str
    zone: RootZoneSpec
    stand: str
    height_mm: float | None
    latitude: float
    day0: int
    trial_days: int
    spells: tuple[tuple[Any, ...], ...]
    plan: Mapping[str, Any]
    years: int = 1


@dataclass(frozen=True)
class Case:
    """One check of one number, or of the order of two.

    ``low`` and ``high`` bound what was published; either may be infinite. ``scale`` is half the
    width of a band, and of a bound on one side the distance over which the loss rises. ``against``
    is the setup whose number is taken off (``how`` is "minus"), divided by ("per") or averaged with
    ("mean_with").
    """

    key: str
    study: str
    title: str
    setup: str
    metric: str
    at: Mapping[str, Any]
    low: float
    high: float
    center: float
    scale: float
    weight: float
    status: str
    against: str = ""
    how: str = ""

    @property
    def is_order(self) -> bool:
        return self.how == "minus" and math.isinf(self.high)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


class CaseFile(NamedTuple):
    cases: tuple[Case, ...]
    setups: Mapping[str, Setup]


@cache
def read_cases(path: Path = CASES_FILE) -> CaseFile:
    """Cases and setups of a file; ValueError names the entry that is wrong."""
    tables = tomllib.loads(path.read_text(encoding="utf-8"))
    setups = {key: _setup(key, row, tables["weather"]) for key, row in tables["setups"].items()}
    cases = tuple(_case(key, row, setups) for key, row in tables["cases"].items())
    return CaseFile(cases, setups)


def _setup(key: str, row: Mapping[str, Any], weathers: Mapping[str, Any]) -> Setup:
    day0 = int((np.datetime64(f"{FIRST_YEAR}-{row['begins']}") - _new_year(FIRST_YEAR)).astype(int))
    trial = [_spell(key, days, name, weathers) for days, name in row["trial"]]
    after = [_spell(key, days, name, weathers) for days, name in row.get("after", ())]
    lead = [_spell(key, days, name, weathers) for days, name in row.get("lead", ())]
    left = day0 - sum(spell[0] for spell in lead)
    if left > 0:
        lead.insert(0, _spell(key, left, row["before"], weathers))
    length = sum(spell[0] for spell in (*lead, *trial, *after))
    if left < 0 or length > 365:
        raise ValueError(f"setups.{key}: spells of {length} days do not fit into a year")
    zone = row["zone"]
    words = {name: value for name, value in row.get("soil", {}).items() if isinstance(value, str)}
    numbers = {name: value for name, value in row.get("soil", {}).items() if name not in words}
    return Setup(
        key=key,
        species=row["species"],
        zone=RootZoneSpec(zone, numbers=numbers, words=words),
        stand=row.get("stand", "established"),
        height_mm=row.get("height_mm"),
        latitude=row.get("latitude", 39.0),
        day0=day0,
        trial_days=sum(spell[0] for spell in trial),
        spells=(*lead, *trial, *after),
        plan=row.get("plan", {"rule": "none"}),
        years=row.get("years", 1),
    )


def _spell(key: str, days: int, name: str, weathers: Mapping[str, Any]) -> tuple[Any, ...]:
    if name not in weathers:
        raise ValueError(f"setups.{key}: no weather '{name}'")
    row = weathers[name]
    pairs = (
        tuple(value) if isinstance(value, list) else (value, value)
        for value in (row["tmax_c"], row["tmin_c"], row["eto_mm"], row["rain_mm"])
    )
    return (days, *pairs, row.get("rain_every", 1))


PAIRED = ("minus", "per", "mean_with")


def _case(key: str, row: Mapping[str, Any], setups: Mapping[str, Setup]) -> Case:
    low, high = row.get("low", -math.inf), row.get("high", math.inf)
    how = next((name for name in PAIRED if name in row), "")
    against = row[how] if how else ""
    for named in (row["setup"], against or row["setup"]):
        if named not in setups:
            raise ValueError(f"cases.{key}: no setup '{named}'")
    if math.isinf(low) and math.isinf(high):
        raise ValueError(f"cases.{key}: neither low nor high")
    if math.isinf(low) or math.isinf(high):
        center, scale = (high if math.isinf(low) else low), row["scale"]
    else:
        center = row.get("central", 0.5 * (low + high))
        scale = 0.5 * (high - low)
    if row["metric"] not in METRICS:
        raise ValueError(f"cases.{key}: no metric '{row['metric']}'")
    return Case(
        key=key,
        study=row["study"],
        title=row["title"],
        setup=row["setup"],
        metric=row["metric"],
        at=row.get("at", {}),
        low=low,
        high=high,
        center=center,
        scale=scale,
        weight=row.get("weight", 1.0),
        status=row["status"],
        against=against,
        how=how,
    )


# --- scenario and weather of a setup


def _new_year(year: int) -> np.datetime64:
    return np.datetime64(f"{year:04d}-01-01", "D")


def weather_record(setup: Setup, years: int = 1) -> DailyRecord:
    """The spells, once for every year; the last of them goes on to the year's end."""
    columns = [_columns(*spell) for spell in setup.spells]
    year = np.concatenate(columns, axis=1)
    whole = []
    for y in range(years):
        n = int((_new_year(FIRST_YEAR + y + 1) - _new_year(FIRST_YEAR + y)).astype(int))
        last = y + 1 == years
        rest = 0 if last else n - year.shape[1]
        whole.append(np.concatenate([year, np.repeat(year[:, -1:], rest, axis=1)], axis=1))
    tmax, tmin, eto, rain = np.concatenate(whole, axis=1)
    return DailyRecord(
        name=setup.key,
        dates=_new_year(FIRST_YEAR) + np.arange(tmax.size),
        rain_mm=rain,
        tmax_c=tmax,
        tmin_c=tmin,
        reference_et_mm=eto,
    )


def _columns(days: int, *pairs_and_interval: Any) -> FloatArray:
    *pairs, every = pairs_and_interval
    columns = np.stack([np.linspace(first, last, days) for first, last in pairs])
    falls = np.arange(days) % every == every - 1
    columns[3] = np.where(falls, columns[3] * every, 0.0)
    return columns


def plan_of(setup: Setup) -> PlanSpec:
    """The plan of a setup, within its trial; depths are what reaches the plot."""
    plan = setup.plan
    first, last = setup.day0, setup.day0 + setup.trial_days - 1
    # The calendar of the program has a 29th of February.
    season = tuple(day + (day >= 59) for day in (first, last))
    # A plot is filled in one go, however much it takes.
    common = {
        "season": season, "allow_for_uniformity": False, "least_depth_mm": 0.0,
        "most_depth_mm": PLOT_FILLED_MM,
    }  # fmt: skip
    days = tuple(day in WATERING_DAYS[plan.get("per_week", 7)] for day in range(7))
    rule = plan["rule"]
    if rule == "none":
        return PlanSpec("p", "p", "none", **common)
    if rule == "share of reference":
        depth, interval = _depth_of_reference(setup, plan), plan.get("every", 1)
        by_weekday = tuple(depth * on for on in days)
        return PlanSpec("p", "p", "fixed", by_weekday, interval_days=interval, **common)
    if rule == "fixed":
        by_weekday = tuple(plan["depth_mm"] * on for on in days)
        interval = plan.get("every", 1)
        return PlanSpec("p", "p", "fixed", by_weekday, interval_days=interval, **common)
    if rule == "share of use":
        return PlanSpec("p", "p", "share of et", share=plan["share"], allowed=days, **common)
    if rule == "refill":
        target = plan.get("target", 0.0)
        return PlanSpec("p", "p", "refill", trigger=plan["trigger"], target=target, **common)
    if rule == "crowns":
        depth, interval = plan["depth_mm"], plan["every"]
        return PlanSpec(
            "p", "p", "none", crown_depth_mm=depth, crown_interval_days=interval, **common
        )
    raise ValueError(f"setups.{setup.key}: no rule '{rule}'")


def _depth_of_reference(setup: Setup, plan: Mapping[str, Any]) -> float:
    """Depth of each watering that makes up a share of the trial's mean reference ET."""
    record = weather_record(setup)
    eto = record.reference_et_mm
    assert eto is not None
    mean = float(eto[setup.day0 : setup.day0 + setup.trial_days].mean())
    every = plan["every"] if "every" in plan else 7.0 / plan.get("per_week", 7)
    return float(plan["share"] * mean * every)


def scenario_of(setup: Setup, catalog: Catalog) -> Scenario:
    delivery = DeliverySpec("in_ground_rotors", UNIFORMITY, 12.5, 0.0, None, 0.0, 0.0)
    field = FieldSpec(
        "plot", "plot", AREA_M2, setup.species, setup.zone, delivery,
        stand=setup.stand, mowing_height_mm=setup.height_mm,
    )  # fmt: skip
    reached = dict.fromkeys(("footprint", "wilt", "dormant", "dead"), 0.1)
    return Scenario(
        title=setup.key,
        text="",
        folder=Path(),
        digest="",
        site=Site(setup.key, setup.latitude, SITE_ELEVATION_M),
        weather=WeatherSource(Path("cases.csv")),
        fields=(field,),
        plans=(plan_of(setup),),
        answers=Answers(
            reached=reached, season=(0, 365), fewest_days=1, rooting_varies=setup.years > 1
        ),
        catalog=catalog,
    )


# --- running


@cache
def _catalog(numbers: tuple[tuple[str, float], ...]) -> Catalog:
    return load_catalog().with_overrides(dict(numbers)) if numbers else load_catalog()


def _that_matter(setup: Setup, numbers: Numbers) -> tuple[tuple[str, float], ...]:
    """The numbers that can change a setup: those of another species cannot."""
    return tuple(
        sorted(
            (name, float(value))
            for name, value in numbers.items()
            if not name.startswith("species.") or name.split(".")[1] == setup.species
        )
    )


def traces(
    setup: Setup, sets: Sequence[tuple[tuple[str, float], ...]], years: int = 1
) -> list[list[Any]]:
    """Daily account of each set of numbers and year, from the first day of the trial on."""
    record = weather_record(setup, years)
    series = recorded(record)
    first = scenario_of(setup, _catalog(sets[0]))
    scenarios = [first, *(replace(first, catalog=_catalog(numbers)) for numbers in sets[1:])]
    span = spans(first, series, years_at_once=None)
    ((start, end),) = span.parts
    part = weather_stretch(first, series, span, start, end)
    site = next(stretches(first, series, years_at_once=None, known={start: part}))
    zones = [_zones(one) for one in scenarios]
    grounds = [ground_of(one, z, part) for one, z in zip(scenarios, zones, strict=True)]
    whole = _side_by_side(site, grounds, sum(zones, ()))
    starts = [
        (replace(whole, scenario=one, columns=np.array([c])), one.plans[0])
        for c, one in enumerate(scenarios)
    ]
    runs = advance_all(whole, start_runs(starts), slice(0, len(record.dates)))
    trace = runs.trace[:, :, 0]
    new_years = [_new_year(FIRST_YEAR + y) for y in range(years)]
    edges = [*np.searchsorted(record.dates, new_years), len(record.dates)]
    cut = [slice(a + setup.day0, b) for a, b in pairwise(edges)]
    return [[one[days].view(np.recarray) for days in cut] for one in trace]


def _zones(scenario: Scenario) -> tuple[RootZone, ...]:
    return tuple(field_root_zone(field, scenario.catalog) for field in scenario.fields)


def _side_by_side(
    site: PreparedSite, grounds: Sequence[Ground], zones: tuple[RootZone, ...]
) -> PreparedSite:
    """One stretch with the field of each ground in its column; nobody plays on it or feeds it."""
    n = len(grounds)
    return replace(
        site,
        zones=zones,
        fields=np.concatenate([one.fields for one in grounds]).view(np.recarray),
        days=np.concatenate([one.days for one in grounds], axis=1).view(np.recarray),
        play=site.play._replace(
            fields=np.repeat(site.play.fields, n).view(np.recarray),
            days=np.repeat(site.play.days, n, axis=1).view(np.recarray),
        ),
        feed=site.feed._replace(
            fields=np.repeat(site.feed.fields, n).view(np.recarray),
            days=np.repeat(site.feed.days, n, axis=1).view(np.recarray),
        ),
    )


# --- what is measured


def dose(dead: Any) -> Any:
    """The death dose behind a dead share, 1 where half are dead.

    A share stays near 0 or 1 over most doses; losses are worked out on the dose, which has a slope
    there. The power is that of the dose-response curve.
    """
    dead = np.clip(dead, 1e-12, 1.0 - 1e-12)
    return (dead / (1.0 - dead)) ** (1.0 / DOSE_POWER)


def _below(values: FloatArray, level: float) -> float:
    """Days until ``values`` fall below ``level``, in parts of a day; beyond the span if never."""
    values = np.concatenate([[values[0] if values[0] >= level else level], values])
    under = np.flatnonzero(values < level)
    if under.size:
        i = int(under[0])
        return float(i - 1 + (values[i - 1] - level) / max(values[i - 1] - values[i], 1e-12))
    return float(values.size - 1 + DAYS_PER_COVER * (values.min() - level))


def _at(values: FloatArray, day: float) -> float:
    """Value at the end of ``day`` (from 1 on), between days in proportion."""
    return float(np.interp(day, np.arange(1, values.size + 1), values))


def _margin(trace: Any, level: int) -> FloatArray:
    """How far each day lies above a rating (positive is good enough)."""
    return np.minimum(
        trace.green - GREEN_AT_QUALITY[level], MOST_WILT_AT_QUALITY[level] - trace.wilt
    )


def _evaporation(trace: Any) -> FloatArray:
    loss: FloatArray = trace.transpiration + trace.leaf_evaporation + trace.soil_evaporation
    return loss


def _green_at(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _at(trace.green, at["day"])


def _dead_at(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _at(trace.dead, at["day"])


def _days_until_green_below(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _below(trace.green[: setup.trial_days], at["share"])


def _days_until_dead_above(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _below(-dose(trace.dead[: setup.trial_days]), -float(dose(at["share"])))


def _days_to_wilt(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    strained = trace.wilt + trace.dormant + trace.dead
    return _below(-strained[: setup.trial_days], -at["share"])


def _days_to_regain(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    green = trace.green[setup.trial_days :]
    if at.get("of", "whole") == "living":
        green = green / np.maximum(1.0 - trace.dead[setup.trial_days :], 1e-9)
    # The largest cover so far, from the last day without water on.
    start = trace.green[setup.trial_days - 1]
    return _below(-np.maximum.accumulate(np.maximum(green, start)), -at["share"])


def _green_after(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _at(trace.green[setup.trial_days :], at["day"])


def _after_wilt(values: FloatArray, trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _at(values, _days_to_wilt(trace, setup, {"share": 0.5}) + at["day"])


def _green_after_wilt(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _after_wilt(trace.green, trace, setup, at)


def _dead_after_wilt(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _after_wilt(trace.dead, trace, setup, at)


def _span(trace: Any, setup: Setup, at: Mapping[str, Any]) -> Any:
    """Days ``from`` to ``to`` of the trial, counted from 1; all of it when not given."""
    return trace[at.get("from", 1) - 1 : at.get("to", setup.trial_days)]


def _mean_green(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(_span(trace, setup, at).green.mean())


def _least_green(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(_span(trace, setup, at).green.min())


def _mean_wilt(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(_span(trace, setup, at).wilt.mean())


def _largest_wilt(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(_span(trace, setup, at).wilt.max())


def _crop_coefficient(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    days = _span(trace, setup, at)
    wetted = (days.irrigation_landed > 0.0) | (days.precipitation > 0.0)
    on = {"all": np.ones_like(wetted), "wetted": wetted, "others": ~wetted}[at.get("days", "all")]
    return float(_evaporation(days)[on].sum() / days.reference_et[on].sum()) if on.any() else 0.0


def _et_mm(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(_evaporation(_span(trace, setup, at)).sum())


def _days_between_waterings(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    """Mean days between waterings: water that the turf uses over the mean depth of a watering.

    Whole days have no slope; the depths have.
    """
    days = trace[: setup.trial_days]
    on = np.flatnonzero(days.irrigation_landed > 0.0)
    if on.size < 2:
        return float(setup.trial_days)
    used = _evaporation(days)[on[0] : on[-1]].mean() - days.precipitation[on[0] : on[-1]].mean()
    return float(days.irrigation_landed[on].mean() / used)


def _water_mm(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return float(trace.irrigation_landed[: setup.trial_days].sum())


def _quality(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    """Margin of the worst day that counts; below 0, halfway to the mean shortfall of all days.

    Turf that is brown at the end has the same worst day however late it browns: the mean has a
    slope then.
    """
    margin = np.sort(_margin(_span(trace, setup, at), at.get("rating", 6)))
    counted = margin[at.get("poor_days", 0) :]
    worst = float(counted[0])
    return worst if worst >= 0.0 else 0.5 * (worst + float(np.minimum(counted, 0.0).mean()))


def _days_acceptable(trace: Any, setup: Setup, at: Mapping[str, Any]) -> float:
    return _below(_margin(trace[: setup.trial_days], at.get("rating", 6)), 0.0)


METRICS = {
    "green at day": _green_at,
    "dead at day": _dead_at,
    "days until green below": _days_until_green_below,
    "days until dead above": _days_until_dead_above,
    "days to wilt": _days_to_wilt,
    "days to regain green": _days_to_regain,
    "green after rewatering": _green_after,
    "green after wilt": _green_after_wilt,
    "dead after wilt": _dead_after_wilt,
    "mean green": _mean_green,
    "least green": _least_green,
    "mean wilt": _mean_wilt,
    "largest wilt": _largest_wilt,
    "crop coefficient": _crop_coefficient,
    "ET": _et_mm,
    "days between waterings": _days_between_waterings,
    "water": _water_mm,
    "quality": _quality,
    "days acceptable": _days_acceptable,
}


def _measured(case: Case, setup: Setup, by_year: Sequence[Any]) -> float:
    """The case's number on one setup: the mean of years, or their standard deviation."""
    values = [METRICS[case.metric](trace, setup, case.at) for trace in by_year]
    if case.at.get("years", "mean") == "sd":
        return float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    return float(np.mean(values))


# --- predicting

Job = tuple[Setup, tuple[tuple[tuple[str, float], ...], ...], int, tuple[Case, ...]]


def _run_job(job: Job) -> FloatArray:
    """Numbers (sets, cases) of one setup."""
    setup, sets, years, cases = job
    every = traces(setup, sets, years)
    return np.array([[_measured(case, setup, by_year) for case in cases] for by_year in every])


def predict(
    cases: Sequence[Case],
    overrides: Sequence[Numbers],
    *,
    setups: Mapping[str, Setup] | None = None,
    years: int | None = None,
    pool: ProcessPoolExecutor | None = None,
) -> FloatArray:
    """What the simulation makes of cases under sets of catalog numbers, (sets, cases).

    ``years`` is how many each setup runs, as many as it says when None; its number is their mean.
    ``pool`` spreads setups over processes. An order's number is the difference.
    """
    setups = setups or read_cases().setups
    cases_of: dict[str, list[Case]] = {}
    for case in cases:
        for key in filter(None, (case.setup, case.against)):
            if case not in cases_of.setdefault(key, []):
                cases_of[key].append(case)
    jobs: list[Job] = []
    places: list[tuple[str, list[int]]] = []
    for key, some in cases_of.items():
        setup = setups[key]
        known: dict[tuple[tuple[str, float], ...], int] = {}
        place = [
            known.setdefault(_that_matter(setup, numbers), len(known)) for numbers in overrides
        ]
        jobs.append((setup, tuple(known), years or setup.years, tuple(some)))
        places.append((key, place))
    # The longest first, so that processes end together.
    order = sorted(range(len(jobs)), key=lambda j: -len(jobs[j][1]) * jobs[j][2])
    run = map if pool is None else pool.map
    found = dict(zip(order, run(_run_job, [jobs[j] for j in order]), strict=True))
    number: dict[tuple[str, str], FloatArray] = {}
    for j, ((key, place), job) in enumerate(zip(places, jobs, strict=True)):
        for c, case in enumerate(job[3]):
            number[key, case.key] = found[j][place, c]
    out = np.empty((len(overrides), len(cases)))
    for c, case in enumerate(cases):
        out[:, c] = number[case.setup, case.key]
        if case.how == "minus":
            out[:, c] -= number[case.against, case.key]
        elif case.how == "per":
            out[:, c] /= number[case.against, case.key]
        elif case.how == "mean_with":
            out[:, c] = 0.5 * (out[:, c] + number[case.against, case.key])
    return out


def processes(workers: int) -> ProcessPoolExecutor:
    """Processes that share what is compiled already."""
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("fork"))


# --- loss


def residuals(cases: Sequence[Case], values: FloatArray) -> FloatArray:
    """Residual of each case, with a slope everywhere: values (..., cases).

    Dead shares are taken as doses. A band gives (value - center) / half width, which is 1 at both
    ends; a bound on one side a soft ramp that is 1 at the bound. Both are bent (soft_l1) to grow
    like a square root far out, and multiplied by the root of the case's weight.
    """
    low, center, high, scale = (
        np.array([getattr(case, name) for case in cases])
        for name in ("low", "center", "high", "scale")
    )
    weight = np.array([case.weight for case in cases])
    on_dose = np.array([case.metric in DEAD_SHARES and not case.how for case in cases])
    # The far end of a ramp, which must be a share as well.
    far = np.where(np.isinf(low), high + scale, low - scale)
    values, low, center, high = (
        np.where(on_dose & np.isfinite(x), dose(x), x) for x in (values, low, center, high)
    )
    one_sided = np.isinf(low) | np.isinf(high)
    width = np.where(one_sided, np.abs(dose(far) - center), 0.5 * (high - low))
    scale = np.where(on_dose, width, scale)
    from_center = np.abs(values - center) / scale
    # A center that is not in the middle: each side has its own width.
    with np.errstate(invalid="ignore"):
        up, down = (high - center) / scale, (center - low) / scale
    side = np.where(values >= center, np.where(np.isfinite(up), up, 1.0), down)
    side = np.where(np.isfinite(side) & (side > 0.0), side, 1.0)
    band = np.sign(values - center) * from_center / side
    beyond = np.where(np.isinf(low), values - high, low - values)
    beyond = np.where(one_sided, beyond, 0.0) / scale
    ramp = np.logaddexp(0.0, beyond + SOFTPLUS_AT_EDGE)
    plain = np.where(one_sided, ramp, band)
    soft = plain * np.sqrt(2.0 / (np.sqrt(1.0 + plain**2) + 1.0))
    return soft * np.sqrt(weight)


def inside(cases: Sequence[Case], values: FloatArray) -> NDArray[np.bool_]:
    """Whether each value lies within what was published, both ends checked."""
    return np.array([case.holds(value) for case, value in zip(cases, values, strict=True)])


def by_study(cases: Iterable[Case]) -> Iterator[tuple[str, list[int]]]:
    """Studies in the order of the file, with the places of their cases."""
    places: dict[str, list[int]] = {}
    for i, case in enumerate(cases):
        places.setdefault(case.study, []).append(i)
    yield from places.items()
