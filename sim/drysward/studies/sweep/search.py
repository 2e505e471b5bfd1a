"""The plan with the least water that keeps a stated risk, checked on fresh years."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.optimize import NonlinearConstraint, differential_evolution

from drysward.card.devices import CHECKED_RUNS, CPU, Cards, cards_for
from drysward.day.records import STAGES
from drysward.drive.runs import in_groups
from drysward.faults import Fault, FaultyInput
from drysward.progress import Report, reporting
from drysward.results.odds import Probability, probability_of
from drysward.scenario.model import RECORD, SKINNED
from drysward.studies.sweep.chunk import Arrays
from drysward.studies.sweep.description import (
    GRID,
    STAGE_NAMES,
    Axis,
    SearchTable,
    Sweep,
    read_sweep,
)
from drysward.studies.sweep.design import WEATHER, Design, columns_of, common_draws, depth_of
from drysward.studies.sweep.drawn import (
    TAIL,
    CommonDraws,
    common_draws_of,
    numbers_of,
    run_numbers,
)
from drysward.studies.sweep.folder import DrawnNumber
from drysward.studies.sweep.front import Objective, by_function
from drysward.studies.sweep.points import point_at
from drysward.studies.sweep.shared import Held, years_of

FloatArray = NDArray[np.float64]

# Candidates in hand for each axis that is searched.
_CANDIDATES = 10
# Draws of what is averaged over, where the design does not say how many.
_DRAWS = 16
_FRESH_SEED = 1
_TWO_SIDED_90 = 1.645  # standard deviations


@dataclass(frozen=True, eq=False)
class Tried:
    """A plan and how it does: positions on the axes, mean water (mm of the field), what the search
    keeps low (that water, or the objective), odds, days a year below playing condition with their
    sampling error.

    All are means over the draws of what cannot be chosen. Limits and sampling error are those of
    the independent years, as in ``front``: all draws meet the same ones. ``risk`` is what the
    search keeps, odds or days, and ``risk_low`` its lower 90% limit. With draws of what is not
    known within points they are means over these too; ``sure`` is then the risk that the stated
    share of draws does not pass, and the risk that is kept; None where no confidence is stated.
    """

    positions: FloatArray
    water_mm: float
    cost: float
    odds: Probability
    days_below: float
    days_below_se: float
    of_days: bool
    sure: float | None = None

    @property
    def mean_risk(self) -> float:
        return self.days_below if self.of_days else self.odds.p

    @property
    def risk(self) -> float:
        return self.mean_risk if self.sure is None else self.sure

    @property
    def risk_low(self) -> float:
        low = self.days_limits[0] if self.of_days else self.odds.low
        # Years move all draws alike, and so the high end with the mean.
        return self.risk - (self.mean_risk - low)

    @property
    def days_limits(self) -> tuple[float, float]:
        """90% limits of the days; the days themselves when one year says nothing of them."""
        # Of many years the mean is near to normal.
        half = 0.0 if np.isnan(self.days_below_se) else _TWO_SIDED_90 * self.days_below_se
        return max(self.days_below - half, 0.0), self.days_below + half


@dataclass(frozen=True, eq=False)
class Found:
    """Answer of a search: the least water that keeps the risk on the years searched with.

    ``best`` is None when nothing that was tried keeps it; ``nearest`` has the least risk.
    ``fresh`` is ``best`` on ``fresh_years`` years that the search has not seen. The axes of
    ``sweep`` are those that were chosen on; ``averaged`` were averaged over in ``n_draws`` draws,
    ``left_out`` stayed as the scenario has them. Every plan has ``n_within`` draws of all that is
    not known, 0 without.
    """

    sweep: Sweep = field(repr=False)
    settings: SearchTable
    best: Tried | None
    nearest: Tried
    fresh: Tried | None
    fresh_seed: int
    n_years: int
    n_tried: int
    averaged: tuple[str, ...]
    n_draws: int
    left_out: tuple[str, ...]
    n_within: int = 0


def search(
    sweep: str | Path | Sweep,
    workers: int | None = None,
    progress: Report = None,
    objective: Objective | None = None,
    device: str = CPU,
    check_device: int = CHECKED_RUNS,
) -> Found:
    """Look for the least water that keeps the risk of ``[search]`` in the sweep file.

    Parameters
    ----------
    sweep : a sweep file (.toml), or the name of one that ships with drysward.
    workers : threads; as many as there are cores when None. Their number changes no result.
    progress : True shows how far it is on stderr: a bar at a terminal, else a line every ten
        seconds. A function is called with the share of the candidates that have run. None is
        silent.
    objective : what to keep low in place of the water: a function of a Dataset of points, as
        ``drysward.open`` gives of a sweep, that gives a DataArray with one number for each point,
        by plan and field or not; of several fields the worst counts.
    device, check_device : as ``drysward.sweep``.

    Returns
    -------
    ``Found``: ``best`` with its positions on the axes, ``water_mm`` (mm a year of the field),
    ``cost``, odds and days below playing condition; and ``fresh``, the same on years that the
    search has not seen.

    Raises
    ------
    FaultyInput
        When the file has no [search], its names are not there, the weather is a record (there are
        no fresh years), an axis changes the weather, or ``objective`` does not give one number for
        each point.

    Notes
    -----
    The axes of the sweep are what may be chosen: ranges as they are, lists by their places. What
    a grid draws is averaged over with its own draws, as ``front`` does; so is a range of a number
    of the catalog in any design, since what the turf is like is not for anyone to choose. A
    list of such numbers is left out: they stay as the scenario has them. A sweep with draws within
    its points has them here; the fresh years come with fresh draws.
    Every candidate runs on the same years (common random numbers), so that two plans differ by
    what they do and not by their luck. Differential evolution (Storn & Price 1997, by scipy),
    which needs no slope: odds of so many years move in steps.

    Examples
    --------
    >>> found = drysward.search("sweep-demo")
    >>> found.best.water_mm, found.fresh.days_below
    """
    sweep = sweep if isinstance(sweep, Sweep) else read_sweep(sweep)
    chosen, averaged, left_out = _parted(sweep)
    settings = _checked_settings(replace(sweep, axes=chosen), averaged)
    if settings.years is not None:
        sweep = _on_weather(sweep, years=settings.years)
    leaders, spread = _columns(replace(sweep, axes=chosen))
    draws = _draws(sweep, averaged)
    sweep = replace(sweep, axes=(*chosen, *averaged))
    workers = workers or os.cpu_count() or 1
    drawing = _Drawing.of(sweep, settings)
    held = Held(_cards(sweep, settings, len(draws), device, check_device))
    trial = _Trial(sweep, settings, spread, draws, workers, drawing, objective, held)
    # Bounds take in the last place of a list; whole places alone are tried there.
    bounds = [(0.0, float(len(axis.changes) - 1)) if axis.listed else (0.0, 1.0)
              for axis in leaders]  # fmt: skip
    generations = max(settings.tries // (_CANDIDATES * len(leaders)), 1)
    with (
        reporting(progress, "Trying plans") as report,
        ThreadPoolExecutor(workers) as pool,
    ):

        def side_by_side(
            function: Callable[[FloatArray], float], candidates: list[FloatArray]
        ) -> list[float]:
            candidates = list(candidates)
            trial.run(candidates, pool)
            report(min(len(trial.known) / settings.tries, 1.0))
            return [function(x) for x in candidates]

        differential_evolution(
            lambda x: trial.at(x).cost,
            bounds,
            constraints=NonlinearConstraint(lambda x: trial.at(x).risk, 0.0, settings.most),
            integrality=[axis.listed for axis in leaders],
            popsize=_CANDIDATES,
            maxiter=generations,
            rng=sweep.seed,
            polish=False,
            updating="deferred",
            workers=side_by_side,
            tol=1e-3,
        )
    tried = list(trial.known.values())
    keeping = [one for one in tried if one.risk <= settings.most]
    best = min(keeping, key=lambda one: one.cost, default=None)
    fresh, seed = None, int(sweep.base["weather"].get("seed", 1)) + _FRESH_SEED
    if best is not None:
        fresh = _on_fresh_years(sweep, settings, best, draws, seed, drawing, objective, held.cards)
    return Found(
        sweep=replace(sweep, axes=chosen),
        settings=settings,
        best=best,
        nearest=min(tried, key=lambda one: (one.risk, one.cost)),
        fresh=fresh,
        fresh_seed=seed,
        n_years=tried[0].odds.years,
        n_tried=len(tried),
        averaged=tuple(axis.name for axis in averaged),
        n_draws=len(draws),
        left_out=tuple(axis.name for axis in left_out),
        n_within=sweep.draws,
    )


@dataclass(frozen=True, eq=False)
class _Drawing:
    """The draws within candidates: what is drawn, and the share of them that may pass the risk."""

    numbers: tuple[DrawnNumber, ...]
    tail: float

    @classmethod
    def of(cls, sweep: Sweep, settings: SearchTable) -> _Drawing:
        none = np.zeros(1, np.int64)
        start = Design(sweep, np.zeros((1, len(sweep.axes))), none, none, none)
        tail = TAIL if settings.confidence is None else 1.0 - settings.confidence
        return cls(numbers_of(start), tail)

    def common(self, sweep: Sweep) -> CommonDraws | None:
        """The draws of a sweep; other ones on weather of another seed."""
        return common_draws_of(sweep, self.numbers)


class _Trial:
    """Candidates run so far; each is run once, though objective and constraint both need it."""

    def __init__(
        self,
        sweep: Sweep,
        settings: SearchTable,
        spread: list[int],
        draws: FloatArray,
        workers: int,
        drawing: _Drawing,
        objective: Objective | None,
        held: Held,
    ) -> None:
        self.objective, self.held = objective, held
        self.sweep, self.settings, self.spread, self.drawing = sweep, settings, spread, drawing
        self.draws, self.workers = draws, workers
        self.known: dict[bytes, Tried] = {}

    def at(self, x: FloatArray) -> Tried:
        positions = self._positions(x)
        key = positions.tobytes()
        if key not in self.known:
            self._run_positions(positions[None, :])
        return self.known[key]

    def run(self, candidates: Sequence[FloatArray], pool: Executor) -> None:
        """Run those that were not run before, some at a time."""
        new = {p.tobytes(): p for p in map(self._positions, candidates)}
        todo = [p for key, p in new.items() if key not in self.known]
        # A card runs all of a generation together.
        on_card = [todo] if todo else []
        groups = in_groups(todo, self.workers) if self.held.cards is None else on_card
        list(pool.map(self._run_positions, map(np.stack, groups)))

    def _positions(self, x: FloatArray) -> FloatArray:
        positions = np.asarray(x, float)[self.spread]
        for i in range(len(self.spread)):
            if self.sweep.axes[i].listed:
                positions[i] = round(positions[i])
        return positions

    def _run_positions(self, positions: FloatArray) -> None:
        for tried in try_plans(
            self.sweep, self.settings, positions, self.draws, self.held, self.drawing,
            self.objective,
        ):  # fmt: skip
            self.known[tried.positions.tobytes()] = tried


def try_plans(
    sweep: Sweep,
    settings: SearchTable,
    positions: FloatArray,
    draws: FloatArray,
    held: Held,
    drawing: _Drawing,
    objective: Objective | None = None,
) -> list[Tried]:
    """Candidates at ``positions`` (N, first axes) on all years of the sweep, each under all
    ``draws`` (D, last axes).
    """
    shape = len(draws), len(positions)
    # Those of a draw stand together: they share its weather and fields.
    every = np.hstack([np.tile(positions, (shape[0], 1)), np.repeat(draws, shape[1], axis=0)])
    none = np.zeros(len(every), np.int64)
    design = Design(sweep, every, none, none, none)
    kept: Arrays = run_numbers(
        design, range(len(every)), held, drawing.common(sweep), tail=drawing.tail
    )
    point = point_at(sweep, every[0], climate_is_checked=True)
    scenario, independent = point.scenario, years_of(held, point).series.independent_years
    plans = list(sweep.plans) or [plan.key for plan in scenario.plans]
    field_keys = [field.key for field in scenario.fields]
    of_field = field_keys.index(settings.field)
    plan, stage = plans.index(settings.plan), STAGES.index(STAGE_NAMES[settings.stage])
    # In double precision, as the sweep counts; the yearly series are kept in single.
    odds = kept["probability"][1][:, of_field, plan, stage].reshape(shape).mean(axis=0)
    water = kept["season_water"][1][:, of_field, plan].reshape(shape).mean(axis=0)
    cost = water
    if objective is not None:
        points = xr.Dataset(kept, {n: v for n, v in design.coordinates().items() if n != "point"})
        points = points.assign_coords(
            field=field_keys, plan=plans, stage=list(STAGES),
            period=("period", list(scenario.answers.return_periods)),
        )  # fmt: skip
        values = by_function(points, objective, "objective")
        values = values.sel(plan=settings.plan) if "plan" in values.dims else values
        values = values.max("field") if "field" in values.dims else values
        cost = np.asarray(values.values, float).reshape(shape).mean(axis=0)
    years = kept["irrigation_gross"][1].shape[-1]
    below, error = (
        kept[f"days_below_condition_{name}"][1][:, of_field, plan].reshape(shape).mean(axis=0)
        for name in ("mean", "se")
    )
    sure: list[float | None] = [None] * len(positions)
    if settings.confidence is not None:
        if settings.days_below is None:
            high = kept["probability_high"][1][:, of_field, plan, stage]
        else:
            high = kept["days_below_condition_mean_high"][1][:, of_field, plan]
        sure = [*high.reshape(shape).mean(axis=0).tolist()]
    return [
        Tried(
            at,
            mm,
            own,
            replace(probability_of(np.arange(years) < round(p * years), independent), p=p),
            days_below=days,
            days_below_se=se,
            of_days=settings.days_below is not None,
            sure=most,
        )
        for at, mm, own, p, days, se, most in zip(
            positions, *map(np.ndarray.tolist, (water, cost, odds, below, error)), sure,
            strict=True,
        )
    ]


def _on_fresh_years(
    sweep: Sweep,
    settings: SearchTable,
    best: Tried,
    draws: FloatArray,
    seed: int,
    drawing: _Drawing,
    objective: Objective | None,
    cards: Cards | None,
) -> Tried:
    """The plan that was found, on years of another seed."""
    other = _on_weather(sweep, seed=seed)
    if settings.fresh_years is not None:
        other = _on_weather(other, years=settings.fresh_years)
    held, here = Held(cards), best.positions[None, :]
    return try_plans(other, settings, here, draws, held, drawing, objective)[0]


def _cards(
    sweep: Sweep, settings: SearchTable, n_draws: int, device: str, checked: int
) -> Cards | None:
    """The cards that run a search; FaultyInput for a device that cannot."""
    if device == CPU:
        return None
    point = point_at(sweep, np.zeros(len(sweep.axes)), sweep.name)
    years = len(years_of(Held(), point).spans.years)
    of_a_point = len(point.scenario.fields) * len(point.plans) * years
    work = settings.tries * n_draws * max(sweep.draws, 1) * of_a_point
    return cards_for(point.scenario, device, work, checked, bool(sweep.daily))


def _on_weather(sweep: Sweep, **changes: int) -> Sweep:
    """The sweep with other settings of its weather."""
    weather = {**sweep.base["weather"], **changes}
    return replace(sweep, base={**sweep.base, "weather": weather})


def _checked_settings(sweep: Sweep, averaged: tuple[Axis, ...]) -> SearchTable:
    """The [search] of a sweep over what is chosen; FaultyInput with what is wrong with it."""
    settings = sweep.search
    if settings is None:
        allowed = "a table [search] with plan, field, and stage and odds or days_below"
        raise FaultyInput(Fault(f"{sweep.name}: search", "is missing", allowed))
    start = np.zeros(len(sweep.axes))
    point = point_at(sweep, start, sweep.name)
    point.scenario.plan_named(settings.plan)
    judged = point.scenario.field_named(settings.field)
    faults = []
    if settings.days_below is not None and judged.surface == SKINNED:
        what = f"field '{settings.field}' is skinned: no turf to judge"
        faults.append(Fault(f"{sweep.name}: search.days_below", what, "a field of turf"))
    if not sweep.axes:
        allowed = "axes of plans and fields that are not drawn"
        faults.append(Fault(f"{sweep.name}: axes", "none may be chosen", allowed))
    if sweep.plans and settings.plan not in sweep.plans:
        faults.append(
            Fault(f"{sweep.name}: search.plan", f"'{settings.plan}' is not run", "one of plans")
        )
    if point.scenario.weather.source == RECORD:
        what = "needs simulated weather: a record has no years that the search has not seen"
        faults.append(Fault(f"{sweep.name}: search", what, 'weather.source = "generator"'))
    for axis in (*sweep.axes, *averaged):
        if depth_of(axis) == WEATHER and not _of_catalog(axis):
            what = f"axis '{axis.name}' changes the weather, which cannot be chosen"
            faults.append(Fault(f"{sweep.name}: search", what, "axes of plans and fields"))
    if faults:
        raise FaultyInput(faults)
    return settings


def _parted(sweep: Sweep) -> tuple[tuple[Axis, ...], tuple[Axis, ...], tuple[Axis, ...]]:
    """The axes that are chosen on, that are averaged over, and that are left out."""
    parts: dict[str, set[int]] = {"chosen": set(), "averaged": set(), "left out": set()}
    for places in columns_of(sweep):
        axes = [sweep.axes[i] for i in places]
        of_catalog = all(map(_of_catalog, axes))
        drawn = sweep.kind == GRID and sweep.samples > 0
        if not axes[0].listed and (drawn or of_catalog):
            parts["averaged"].update(places)
        else:
            parts["left out" if of_catalog else "chosen"].update(places)
    chosen, averaged, left_out = (
        tuple(axis for i, axis in enumerate(sweep.axes) if i in places)
        for places in parts.values()
    )
    return chosen, averaged, left_out


def _of_catalog(axis: Axis) -> bool:
    return all(key.startswith("overrides.") for key in axis.keys)


def _draws(sweep: Sweep, averaged: tuple[Axis, ...]) -> FloatArray:
    """Shares (D, axes) of the ranges that are averaged over: in a grid its common draws."""
    if not averaged:
        return np.empty((1, 0))
    n = sweep.samples if sweep.kind == GRID and sweep.samples else _DRAWS
    leaders, spread = _columns(replace(sweep, axes=averaged))
    return common_draws(sweep, len(leaders), n)[:, spread]


def _columns(sweep: Sweep) -> tuple[list[Axis], list[int]]:
    """The axes that are chosen freely, and which of them each axis moves with."""
    columns = columns_of(sweep)
    spread = [0] * len(sweep.axes)
    for j, places in enumerate(columns):
        for i in places:
            spread[i] = j
    return [sweep.axes[places[0]] for places in columns], spread

