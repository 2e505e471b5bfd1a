"""Hindcasts: outlooks of past seasons as they would have been issued, and how good they were.

On each date of each year of a record the outlook starts from the state that the weather up to that
day gives, and goes on through the weather of every other year; the year itself is the truth. It is
scored against the usual odds of the date, which are how the other years went on from their states,
and against today's state lasting. The odds of a usual year know the date and the plan, so that a
skill is what today's state adds.

Roots go as deep as in the catalog in every year. The depth that a year draws would be known to the
outlook and to its truth alike, while no person knows it: at a site with 30 years it gave a skill of
a half at the season's end.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import STAGES
from drysward.drive.runs import compiled_run_site
from drysward.faults import Fault, FaultyInput, quoted
from drysward.progress import Report, reporting
from drysward.results import scores
from drysward.results.dataset import identity
from drysward.scenario.model import PlanSpec, Scenario, require_scenario
from drysward.studies.season.ahead import Start, needed_so_far_mm, run_ahead, start_at
from drysward.studies.season.outlook import (
    DAYS_BEFORE,
    came_by,
    runs_before_of,
    season_end,
    this_year,
)
from drysward.studies.season.ways import ways_of_record
from drysward.weather.record import DailyRecord

if TYPE_CHECKING:
    import xarray as xr

FloatArray = NDArray[np.float64]

DATES = ("05-01", "07-01", "08-01")
LEAD_DAYS = (7, 14, 30, 60, 90)
END = "end"
ALL = "all"
EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
"""Edges of the bins of odds, for the parts of the Brier score and the reliability."""
RANK_BINS = 6
# Fewer years say nothing (own choice).
FEWEST_YEARS = 5
PREFIX = "hindcast_"
LASTING_DAYS = 14  # of watering before today, which lasts where today's state does
_MONTH_DAY = re.compile(r"[01][0-9]-[0-3][0-9]")


@dataclass(frozen=True, eq=False)
class _Issue:
    """One outlook and its truth, for L leads; NaN past the end of the season.

    ``came`` (stage, W, B, L, F) is 1 where a stage has come by a lead, ``need_mm`` (W, B, L, F) the
    water needed, both of every year's weather, also its own, which begin in ``years`` (W,).
    ``lasts`` (stage, B, F) is 1 where a stage is there today, ``lasting_mm`` (B, L, F) the water at
    the rate of the last days.
    """

    years: tuple[int, ...]
    came: FloatArray
    need_mm: FloatArray
    lasts: FloatArray
    lasting_mm: FloatArray


def hindcast(
    scenario: Scenario,
    record: DailyRecord | None = None,
    dates: Sequence[str] = DATES,
    plans: Sequence[PlanSpec] | None = None,
    workers: int | None = None,
    progress: Report = None,
) -> xr.Dataset:
    """Outlooks of every year of a record, each without its own weather, and their scores.

    Parameters
    ----------
    scenario : its fields and plans; roots go as deep as in the catalog in every year.
    record : daily weather of several years in place of the scenario's file.
    dates : month and day on which outlooks are issued, as 07-01.
    plans : those of the scenario when None.
    workers : threads; the numbers do not depend on them.
    progress : True shows how far it is; a function is called with the share done.

    Returns
    -------
    Dataset by field, plan, stage and ``lead`` (days ahead, and the season's end). By date of issue
    and year: ``odds``, ``usual_odds``, ``lasting_odds`` and whether it ``came``; ``water_mean`` and
    ``usual_water_mean`` beside ``water_came`` (mm). By ``scored``, each date and all of them:
    Brier scores with their parts, CRPS of water, ``skill`` and ``water_skill`` over the usual year
    with 90% limits from resampled years, the same over today's state lasting, reliability by bin of
    the odds, and ranks of the water that came. Skills are of fair scores, which do not depend on
    the number of ways. ``drysward.results.scores.verdict`` puts limits into words.

    Raises
    ------
    FaultyInput
        For a date that is none, or fewer than FEWEST_YEARS years that have a state on every date
        and weather to the end of the season.

    Examples
    --------
    >>> past = drysward.hindcast(drysward.load("fields.toml"))
    >>> past["skill"].sel(scored="all", field="practice", plan="refill", stage="wilt").to_series()
    """
    require_scenario(scenario)
    record = this_year(scenario) if record is None else record
    plans = tuple(scenario.plans if plans is None else plans)
    scenario = replace(scenario, answers=replace(scenario.answers, rooting_varies=False))
    years = _years(scenario, record, dates)
    compiled_run_site()
    tasks = [(date, year) for date in dates for year in years]
    found: list[_Issue] = []

    def issue(task: tuple[str, int]) -> _Issue:
        return _issue(scenario, record, plans, *task)

    with (
        reporting(progress, "Running past seasons") as done,
        ThreadPoolExecutor(workers or os.cpu_count() or 1) as pool,
    ):
        for one in pool.map(issue, tasks):
            found.append(one)
            done(len(found) / len(tasks))
    n = len(years)
    by_date = [
        _of_date(found[d * n : (d + 1) * n], years, len(LEAD_DAYS) + 1) for d in range(len(dates))
    ]
    return _dataset(scenario, record, plans, tuple(dates), years, by_date)


def _day_of(date: str, year: int) -> np.datetime64:
    return np.datetime64(f"{year:04d}-{date}", "D")


def _years(scenario: Scenario, record: DailyRecord, dates: Sequence[str]) -> tuple[int, ...]:
    """Years with a state on every date and weather from there to the end of the season."""
    faults = []
    for date in dates:
        try:
            if not _MONTH_DAY.fullmatch(date):
                raise ValueError
            _day_of(date, 2001)
        except ValueError:
            allowed = "month and day of every year, such as 07-01"
            faults.append(Fault("dates", f"{quoted(date)} is not a date", allowed))
    if faults or not dates:
        raise FaultyInput(faults or Fault("dates", "no date", "one or more, such as 07-01"))
    whole = []
    for year in record.years():
        days = [_day_of(date, year) for date in dates]
        known = min(int((day - record.dates[0]).astype(int)) for day in days) >= DAYS_BEFORE
        if known and max(season_end(scenario, day) for day in days) <= record.dates[-1]:
            whole.append(year)
    if len(whole) < FEWEST_YEARS:
        what = f"{len(whole)} years with weather from a year before {dates[0]} to the season's end"
        raise FaultyInput(Fault("weather", what, f"at least {FEWEST_YEARS} for a hindcast"))
    return tuple(whole)


def _issue(
    scenario: Scenario, record: DailyRecord, plans: tuple[PlanSpec, ...], date: str, year: int
) -> _Issue:
    """The outlook of one year, through the weather of all years."""
    today = _day_of(date, year)
    start = start_at(scenario, record, today, plans)
    last = season_end(scenario, today)
    ways = ways_of_record(record, today, last, years=record.years())
    ahead = run_ahead(start, ways)
    n_days = ahead.dates.size
    at = np.array([lead if lead <= n_days else 0 for lead in LEAD_DAYS] + [n_days]) - 1
    before = runs_before_of(start)
    came = came_by(ahead, scenario, before).astype(float)
    need = needed_so_far_mm(ahead.fields)
    lasting = _rate_before_mm(start)[:, None] * (at + 1.0)[:, None]
    beyond = np.where(at < 0, np.nan, 0.0)[:, None]
    return _Issue(
        tuple(way.year for way in ways), came[:, :, :, at] + beyond, need[:, :, at] + beyond,
        (before > 0.0).astype(float), lasting + beyond,
    )  # fmt: skip


def _rate_before_mm(start: Start) -> FloatArray:
    """Water needed a day in the last days before today (B, F), mm."""
    shape = len(start.plans), len(start.scenario.fields)
    if not start.so_far or not start.so_far["irrigation_gross"].shape[1]:
        return np.zeros(shape)
    need = needed_so_far_mm(start.so_far)
    days = min(LASTING_DAYS, need.shape[1])
    earlier = need[:, -days - 1] if need.shape[1] > days else 0.0
    return np.asarray(np.broadcast_to((need[:, -1] - earlier) / days, shape))


@dataclass(frozen=True, eq=False)
class _OfDate:
    """Outlooks issued on one date in Y years: odds (Y, stage, B, L, F), water (Y, B, L, F), mm."""

    odds: FloatArray
    usual: FloatArray
    lasting: FloatArray
    came: FloatArray
    brier: FloatArray  # fair scores of the odds
    usual_brier: FloatArray
    water: FloatArray
    usual_water: FloatArray
    water_came: FloatArray
    crps: FloatArray
    usual_crps: FloatArray
    lasting_crps: FloatArray
    ranks: FloatArray  # (Y, RANK_BINS, B, L, F), of the water that came among its ways


def _of_date(issues: Sequence[_Issue], years: tuple[int, ...], n_leads: int) -> _OfDate:
    """Outlooks of one date, each without its year, beside what came."""
    every = issues[0].years
    own = [every.index(year) for year in years]
    came = np.stack([one.came[:, w] for one, w in zip(issues, own, strict=True)])
    need = np.stack([one.need_mm[w] for one, w in zip(issues, own, strict=True)])
    rows: dict[str, list[FloatArray]] = {name: [] for name in _OfDate.__annotations__}

    def add(**found: FloatArray) -> None:
        for name, values in found.items():
            rows[name].append(values)

    for y, (one, w) in enumerate(zip(issues, own, strict=True)):
        ways = np.delete(one.came, w, axis=1)
        others = np.delete(came, y, axis=0)
        odds, usual, truth = ways.mean(axis=1), others.mean(axis=0), came[y]
        lasting = np.broadcast_to(one.lasts[:, :, None], truth.shape)
        water, usual_water = np.delete(one.need_mm, w, axis=0), np.delete(need, y, axis=0)
        add(
            odds=odds, usual=usual, lasting=lasting, came=truth,
            brier=scores.fair_brier(odds, truth, ways.shape[1]),
            usual_brier=scores.fair_brier(usual, truth, len(others)),
            water=water.mean(axis=0), usual_water=usual_water.mean(axis=0), water_came=need[y],
            crps=scores.crps(water, need[y], fair=True),
            usual_crps=scores.crps(usual_water, need[y], fair=True),
            lasting_crps=np.abs(one.lasting_mm - need[y]),
            ranks=scores.rank_histogram(water[:, None], need[y][None], RANK_BINS),
        )  # fmt: skip
    return _OfDate(**{name: np.stack(values) for name, values in rows.items()})


def _scored(
    by_date: Sequence[_OfDate], use: Sequence[int], lead: int, years: tuple[int, ...]
) -> dict[str, FloatArray]:
    """Scores (stage, B, F) and (B, F) of the outlooks of some dates at a lead."""

    def pooled(name: str) -> FloatArray:
        return np.concatenate([getattr(by_date[d], name)[..., lead, :] for d in use])

    label = np.tile(years, len(use))
    odds, came = pooled("odds"), pooled("came")
    parts = scores.brier_parts(odds, came, EDGES)
    bins = scores.reliability_bins(odds, came, EDGES)
    out = {
        "events": came.sum(axis=0),
        "brier": scores.brier(odds, came).mean(axis=0),
        "usual_brier": scores.brier(pooled("usual"), came).mean(axis=0),
        "lasting_brier": scores.brier(pooled("lasting"), came).mean(axis=0),
        **{f"brier_{name}": part for name, part in parts._asdict().items()},
        **{f"bin_{name}": part for name, part in bins._asdict().items()},
        "water_crps": pooled("crps").mean(axis=0),
        "usual_water_crps": pooled("usual_crps").mean(axis=0),
        "lasting_water_crps": pooled("lasting_crps").mean(axis=0),
        # No chi-square: where today's state says nothing, every year has another rank among the
        # same years, and the ranks are flatter than chance.
        "water_ranks": pooled("ranks").sum(axis=0),
    }
    lasting_brier = scores.brier(pooled("lasting"), came)
    for name, ours, theirs in (
        ("skill", pooled("brier"), pooled("usual_brier")),
        ("skill_over_lasting", pooled("brier"), lasting_brier),
        ("water_skill", pooled("crps"), pooled("usual_crps")),
        ("water_skill_over_lasting", pooled("crps"), pooled("lasting_crps")),
    ):
        out[name] = scores.skill(ours, theirs)
        out[f"{name}_low"], out[f"{name}_high"] = scores.skill_limits(ours, theirs, label)
    return out


# Meaning and unit of each variable of the Dataset.
_OUTLOOKS = {
    "odds": ("odds that the stage comes by the lead", "1"),
    "usual": ("odds of a usual year, from the other years", "1"),
    "lasting": ("1 where the stage is there on the date of issue", "1"),
    "came": ("1 where the stage came by the lead", "1"),
    "water": ("water needed by the lead, mean of the ways", "mm"),
    "usual_water": ("water needed by the lead, mean of the other years", "mm"),
    "water_came": ("water needed by the lead in the year itself", "mm"),
}
_NAMES = {
    "usual": "usual_odds", "lasting": "lasting_odds", "water": "water_mean",
    "usual_water": "usual_water_mean",
}  # fmt: skip
_OVER = {"": "the usual year", "_over_lasting": "today's state lasting"}
_SCORES = {
    "events": ("outlooks after which the stage came", "1"),
    "brier": ("Brier score of the odds", "1"),
    "usual_brier": ("Brier score of the odds of a usual year", "1"),
    "lasting_brier": ("Brier score of today's state lasting", "1"),
    "brier_reliability": ("reliability of the odds, 0 the best", "1"),
    "brier_resolution": ("resolution of the odds, the larger the better", "1"),
    "brier_uncertainty": ("uncertainty of the event, the Brier score of its share", "1"),
    "brier_within_bins": ("part of the Brier score by odds that differ within a bin", "1"),
    "bin_n": ("outlooks with odds in the bin", "1"),
    "bin_chance": ("mean odds in the bin", "1"),
    "bin_share": ("share of them after which the stage came", "1"),
    "bin_low": ("lower 90% limit of that share if the odds hold", "1"),
    "bin_high": ("upper 90% limit of that share if the odds hold", "1"),
    "water_crps": ("fair CRPS of the water needed", "mm"),
    "usual_water_crps": ("fair CRPS of the water of a usual year", "mm"),
    "lasting_water_crps": ("error of the watering of the last days lasting", "mm"),
    "water_ranks": ("outlooks by the rank of the water that came among its ways", "1"),
    **{
        f"{name}{over}{end}": (f"{limit}skill of the {what} over {than}", "1")
        for name, what in (("skill", "odds"), ("water_skill", "water needed"))
        for over, than in _OVER.items()
        for end, limit in (("", ""), ("_low", "lower 90% limit of the "),
                           ("_high", "upper 90% limit of the "))
    },
}  # fmt: skip


def _dims(name: str) -> tuple[str, ...]:
    """Dimensions of a score at one lead."""
    first = {"bin": ("bin", "stage"), "water_ranks": ("rank_bin",)}
    if name in first:
        return (*first[name], "plan", "field")
    if name.startswith("bin_"):
        return (*first["bin"], "plan", "field")
    return ("plan", "field") if "water" in name else ("stage", "plan", "field")


def _dataset(
    scenario: Scenario,
    record: DailyRecord,
    plans: tuple[PlanSpec, ...],
    dates: tuple[str, ...],
    years: tuple[int, ...],
    by_date: Sequence[_OfDate],
) -> xr.Dataset:
    import xarray as xr

    n_leads = len(LEAD_DAYS) + 1
    sizes = {
        "stage": len(STAGES), "plan": len(plans), "field": len(scenario.fields),
        "bin": len(EDGES) - 1, "rank_bin": RANK_BINS,
    }  # fmt: skip
    groups = [*([d] for d in range(len(dates))), list(range(len(dates)))]
    data: dict[str, tuple] = {}
    for name, (meaning, unit) in _OUTLOOKS.items():
        by = ("plan", "lead", "field") if "water" in name else ("stage", "plan", "lead", "field")
        values = np.stack([getattr(one, name) for one in by_date])
        attributes = {"units": unit, "long_name": meaning}
        data[_NAMES.get(name, name)] = (("issued", "year", *by), values, attributes)
    scored = {
        name: np.full((len(groups), n_leads, *(sizes[dim] for dim in _dims(name))), np.nan)
        for name in _SCORES
    }
    for g, group in enumerate(groups):
        for lead in range(n_leads):
            # A lead past the end of the season is not there.
            use = [d for d in group if not np.isnan(by_date[d].water_came[..., lead, :]).any()]
            for name, values in _scored(by_date, use, lead, years).items() if use else ():
                scored[name][g, lead] = values
    for name, (meaning, unit) in _SCORES.items():
        attributes = {"units": unit, "long_name": meaning}
        data[name] = (("scored", "lead", *_dims(name)), scored[name], attributes)
    return xr.Dataset(
        data,
        coords={
            "issued": ("issued", list(dates), {"long_name": "month and day of issue"}),
            "scored": ("scored", [*dates, ALL], {"long_name": "month and day of issue, or all"}),
            "year": ("year", list(years), {"long_name": "year of the outlook"}),
            "lead": ("lead", [*map(str, LEAD_DAYS), END], {"long_name": "days ahead"}),
            "stage": list(STAGES),
            "plan": [plan.key for plan in plans],
            "field": [field.key for field in scenario.fields],
            "plan_label": ("plan", [plan.label for plan in plans]),
            "field_label": ("field", [field.label for field in scenario.fields]),
            "bin_from": ("bin", list(EDGES[:-1]), {"units": "1", "long_name": "least odds of bin"}),
        },
        attrs={
            **identity(scenario),
            "weather": f"{record.name}, {record.dates[0]} to {record.dates[-1]}",
            "weather_digest": record.digest,
            "reached": json.dumps(dict(scenario.answers.reached)),
            "reached_days": scenario.answers.reached_days,
            "reference": "the other years on the same dates, each from its state",
            "limits": f"90%, {scores.RESAMPLES} resamples of the {len(years)} years",
        },
    ).transpose("scored", "issued", "year", "field", "plan", "stage", "lead", ...)


def with_hindcast(outlook: xr.Dataset, past: xr.Dataset) -> xr.Dataset:
    """An outlook with the scores of past ones: what ``hindcast`` gives as ``hindcast_NAME``."""
    named = past.rename({name: f"{PREFIX}{name}" for name in map(str, past.data_vars)})
    attrs = {f"{PREFIX}{name}": past.attrs[name] for name in ("weather", "reference", "limits")}
    return outlook.merge(named, compat="override", combine_attrs="override").assign_attrs(attrs)
