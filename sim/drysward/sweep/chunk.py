"""Running a few points of a sweep over all of their years, and what is kept of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import PLAY_YEAR, STAGES, SUPPLY_YEAR, YEAR, records
from drysward.ensemble import PlanRun, advance, start_run
from drysward.faults import Fault, FaultyInput
from drysward.frequency import demand_estimates, standard_error, thinned
from drysward.results import play_numbers
from drysward.scenario.model import Scenario
from drysward.site import PreparedSite
from drysward.sweep.description import Sweep
from drysward.sweep.design import Design
from drysward.sweep.points import Point, point_at, told_at
from drysward.sweep.shared import Held, Years, part_of, site_of, years_of

FloatArray = NDArray[np.float64]
Arrays = dict[str, tuple[tuple[str, ...], np.ndarray]]
"""Dimensions after "point", and values of one point, by name."""
Done = tuple[int, list[Arrays]]
"""A chunk and what is kept of its points."""

MOST = ("peak_week", "longest_wilt", "longest_dormant")
_NOT_MEANT = (
    *MOST, "irrigation_gross", "recovery_days", "residual", "water_start", "water_end",
    *(f"peak_{stage}" for stage in STAGES), *(f"days_{stage}" for stage in STAGES),
)  # fmt: skip
MEANS = tuple(name for name in YEAR.names or () if name not in _NOT_MEANT)
_SUPPLY_MEANS = tuple(
    name for name in SUPPLY_YEAR.names or () if name not in ("residual", "store_end")
)


class Stopped(Exception):
    """Whoever asked for the points no longer wants them."""


@dataclass(eq=False)
class _Gathered:
    """One point on its way: its plans' runs, and what they have given so far.

    ``yearly`` arrays are (F, plans, Y), ``daily`` a list of (F, plans, days) for each name;
    sums are (F, plans) or (F, plans, 12), of the supply (plans,).
    """

    point: Point
    runs: list[PlanRun]
    yearly: dict[str, FloatArray]
    sums: dict[str, FloatArray]
    most: dict[str, FloatArray]
    daily: dict[str, list[np.ndarray]]
    short_years: NDArray[np.int64]
    area_m2: FloatArray


def run_points(
    design: Design,
    numbers: range,
    held: Held,
    is_stopped: Callable[[], bool] = lambda: False,
    n_years: int | None = None,
) -> list[Arrays]:
    """What is kept of the points ``numbers``.

    ``n_years`` is refused to be any other when given. FaultyInput for a point whose scenario
    cannot be, ArithmeticError when an account does not close, ``Stopped`` soon after
    ``is_stopped`` says so.
    """
    sweep = design.sweep
    points = []
    for i in numbers:
        positions = design.positions[i]
        name = f"{sweep.name}, {told_at(sweep, positions)}"
        # Normals of a climate were checked with the axes; years_of reads them again.
        points.append(point_at(sweep, positions, name, climate_is_checked=True))
    out: list[Arrays] = []
    for _, together in groupby(points, key=lambda point: point.weather):
        alike = list(together)
        years = years_of(held, alike[0])
        if n_years is not None and len(years.spans.years) != n_years:
            told = f"{len(years.spans.years)} years at some points and {n_years} at others"
            raise FaultyInput(Fault(sweep.name, told, "as many years at every point"))
        out += _run_together(sweep, alike, years, held, is_stopped)
    return out


def _run_together(
    sweep: Sweep,
    points: list[Point],
    years: Years,
    held: Held,
    is_stopped: Callable[[], bool],
) -> list[Arrays]:
    """Points that share their weather: each stretch of it is held while all of them run."""
    gathered: list[_Gathered] = []
    for place in range(len(years.spans.parts)):
        for i, point in enumerate(points):
            part = part_of(held, point, years, place)
            site = site_of(held, point, part, place)
            if place == 0:
                gathered.append(_start(sweep, point, site, len(years.spans.years)))
            for p, run in enumerate(gathered[i].runs):
                if is_stopped():
                    raise Stopped
                _step(sweep, gathered[i], p, run, site, part.from_year)
    return [_kept(sweep, one, years) for one in gathered]


def _start(sweep: Sweep, point: Point, site: PreparedSite, n_years: int) -> _Gathered:
    scenario = point.scenario
    shape = (len(scenario.fields), len(point.plans))
    sums: dict[str, FloatArray] = {}
    for name in MEANS:
        sums[name] = np.zeros((*shape, *YEAR[name].shape))
    if site.play.fields.on.any():
        sums |= {f"play_{name}": np.zeros(shape) for name in play_numbers(records(PLAY_YEAR, 0))}
    if scenario.supply is not None:
        sums |= {f"supply_{name}": np.zeros(shape[1]) for name in _SUPPLY_MEANS}
    return _Gathered(
        point=point,
        runs=[start_run(site, plan) for plan in point.plans],
        yearly={name: np.zeros((*shape, n_years)) for name in sweep.keep},
        sums=sums | {f"days_{stage}": np.zeros(shape) for stage in STAGES},
        most={name: np.zeros(shape) for name in (*MOST, "residual")},
        daily={name: [] for name in sweep.daily},
        short_years=np.zeros(shape[1], np.int64),
        area_m2=np.array([field.area_m2 for field in scenario.fields]),
    )


def _step(
    sweep: Sweep, so_far: _Gathered, p: int, run: PlanRun, site: PreparedSite, from_year: int
) -> None:
    """Take one plan through a stretch and add what its years gave."""
    n = len(site.years)
    supply = run.supply
    # A stretch without a whole year still needs a line that nothing is written to.
    run.years = records(YEAR, (site.fields.size, max(n, 1)))
    run.play = records(PLAY_YEAR, run.years.shape)
    run.supply = supply._replace(
        years=records(SUPPLY_YEAR, max(n, 1)),
        draws=np.zeros((max(n, 1), *supply.draws.shape[1:])),
        store_month=np.zeros((max(n, 1), *supply.store_month.shape[1:])),
    )
    trace = slice(site.from_day, site.calendar.size) if sweep.daily else slice(0, 0)
    advance(site, run, trace)
    here = slice(from_year, from_year + n)
    years = run.years[:, :n]
    played = play_numbers(run.play[:, :n].view(np.recarray))
    for name, values in so_far.yearly.items():
        values[:, p, here] = years[name]
    for name, total in so_far.sums.items():
        if name.startswith("supply_"):
            total[p] += run.supply.years[name.removeprefix("supply_")][:n].sum()
        elif name.startswith("play_"):
            total[:, p] += played[name.removeprefix("play_")].sum(axis=1)
        else:
            total[:, p] += years[name].sum(axis=1)
    for name, most in so_far.most.items():
        most[:, p] = np.maximum(most[:, p], years[name].max(axis=1, initial=0.0))
    so_far.short_years[p] += np.count_nonzero(run.supply.years.short_days[:n] > 0.0)
    for name, parts in so_far.daily.items():
        if p == 0:
            shape = (site.fields.size, len(so_far.runs), trace.stop - trace.start)
            parts.append(np.zeros(shape, np.float32))
        parts[-1][:, p] = run.trace[name].T


def _kept(sweep: Sweep, one: _Gathered, years: Years) -> Arrays:
    """Answers of a point as ``drysward.answers`` gives them, means, and the yearly series."""
    scenario = one.point.scenario
    n = len(years.spans.years)
    independent = min(years.series.independent_years or n, n)
    by = ("field", "plan")
    peaks = np.stack([one.yearly[f"peak_{stage}"] for stage in STAGES], axis=-2)
    reached = np.array([scenario.answers.reached[stage] for stage in STAGES])
    odds = (peaks >= reached[:, None]).sum(axis=-1) / n
    water = one.yearly["irrigation_gross"]
    season = water.mean(axis=-1)
    days = np.stack([one.sums[f"days_{stage}"] for stage in STAGES], axis=-1)
    out: Arrays = {
        "probability": ((*by, "stage"), odds),
        "probability_se": ((*by, "stage"), standard_error(odds, independent)),
        "days_mean": ((*by, "stage"), days / n),
        "season_water": (by, season),
        "site_water": (("plan",), (season * one.area_m2[:, None] / 1000.0).sum(axis=0)),
        "demand": ((*by, "period"), _demand(water, scenario, independent)),
        "area_m2": (("field",), one.area_m2),
    }
    for name in MEANS:
        total = one.sums[name]
        out[f"{name}_mean"] = ((*by, "month") if total.ndim == 3 else by, total / n)
    for name in MOST:
        out[f"{name}_most"] = (by, one.most[name])
    out["residual"] = ((), one.most["residual"].max())
    for name, total in one.sums.items():
        if name.startswith("supply_"):
            out[f"{name}_mean"] = (("plan",), total / n)
        elif name.startswith("play_"):
            out[f"{name}_mean"] = (by, total / n)
    if scenario.supply is not None:
        out["supply_shortage_odds"] = (("plan",), one.short_years / n)
    for name in sweep.keep:
        out[name] = ((*by, "year"), one.yearly[name].astype(np.float32))
    for name, parts in one.daily.items():
        out[f"daily_{name}"] = ((*by, "date"), np.concatenate(parts, axis=-1))
    return out


def _demand(water: FloatArray, scenario: Scenario, independent: int) -> FloatArray:
    """Estimates (F, plans, periods) of the demand, without limits: those take resampling."""
    if independent < water.shape[-1]:
        water = np.apply_along_axis(lambda series: thinned(series, independent), -1, water)
    return demand_estimates(water, scenario.answers.return_periods)


