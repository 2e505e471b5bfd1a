"""Running a few points of a sweep over all of their years, and what is kept of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.card.devices import Cards
from drysward.day.records import FEED_YEAR, PLAY_YEAR, STAGES, SUPPLY_YEAR, YEAR, as_values, records
from drysward.drive.runs import PLANS_TOGETHER, Runs, advance_all, start_runs
from drysward.faults import Fault, FaultyInput
from drysward.results.answers import days_below
from drysward.results.dataset import FEED, PLAY, play_numbers
from drysward.results.feeding import MEANS as FEED_MEANS
from drysward.results.frequency import demand_estimates, worth
from drysward.results.odds import standard_error
from drysward.scenario.model import SKINNED, PlanSpec, Scenario
from drysward.site.play import any_has_play, any_syringed
from drysward.site.stretches import PreparedSite
from drysward.studies.sweep.description import Sweep
from drysward.studies.sweep.design import Design
from drysward.studies.sweep.points import Point, axis_values_text, point_at
from drysward.studies.sweep.shared import (
    Grounds,
    Held,
    Years,
    for_point,
    part_of,
    site_of,
    years_of,
)

FloatArray = NDArray[np.float64]
Arrays = dict[str, tuple[tuple[str, ...], np.ndarray]]
"""Dimensions, of which the first is "point", and values, by name."""
Done = tuple[int, Arrays]
"""A chunk and what is kept of its points."""

MOST = ("peak_week", *(f"longest_{stage}" for stage in STAGES))
_NOT_MEANT = (
    *MOST, "days_below_condition", "irrigation_gross", "recovery_days", "residual",
    "water_start", "water_end",
    *(f"peak_{stage}" for stage in STAGES), *(f"days_{stage}" for stage in STAGES),
)  # fmt: skip
_BY = {"irrigation_month": ("month",), "shortage_month": ("month",), "shortage_cause": ("cause",)}
MEANS = tuple(name for name in YEAR.names or () if name not in _NOT_MEANT)
_SUPPLY_MEANS = tuple(
    name for name in SUPPLY_YEAR.names or () if name not in ("residual", "storage_end")
)


# Fields that run together on a card, each with days of play or feeding that no others have: those
# days are made here for a whole stretch, 10 MB for each field.
_WORKED_OUT_HERE = 64


class Stopped(Exception):
    """The caller stopped the run of the points."""


@dataclass(frozen=True, eq=False)
class Member:
    """A plan of a point: the places of both in what is kept."""

    point: Point
    row: int
    plan: int

    @property
    def spec(self) -> PlanSpec:
        return self.point.plans[self.plan]


@dataclass(eq=False)
class Together:
    """B plans of points on one ground, on their way, and what they have given so far.

    ``yearly`` arrays are (B, F, Y), ``daily`` a list of (B, F, days) for each name; totals and
    largest values of the years are YEAR (B, F), totals of the supply SUPPLY_YEAR (B,), of feeding
    FEED_YEAR (B, F), of play (B, F) by name.
    """

    members: Sequence[Member]
    runs: Runs
    yearly: dict[str, FloatArray]
    total: np.recarray
    most: np.recarray
    supply: np.recarray
    fed: np.recarray
    play: dict[str, FloatArray]
    short_years: NDArray[np.int64]
    daily: dict[str, list[np.ndarray]]

    @property
    def scenario(self) -> Scenario:
        return self.members[0].point.scenario


def run_points(
    design: Design,
    numbers: range,
    held: Held,
    is_stopped: Callable[[], bool] = lambda: False,
    n_years: int | None = None,
) -> Arrays:
    """What is kept of the points ``numbers``.

    ``n_years`` is refused to be any other when given. FaultyInput for a point whose scenario
    cannot be, ArithmeticError when an account does not close, ``Stopped`` soon after
    ``is_stopped`` says so.
    """
    sweep = design.sweep
    points = points_at(design, numbers)
    out = Kept(len(points), len(points[0].plans))
    for alike, years in by_weather(sweep, points, held, n_years):
        members = [
            Member(point, row, plan) for row, point in alike for plan in range(len(point.plans))
        ]
        for one in run_members(members, years, held, sweep.keep, sweep.daily, is_stopped):
            keep_answers(out, sweep, one, years)
    return out.arrays


def points_at(design: Design, numbers: range) -> list[Point]:
    """The points ``numbers``, read; FaultyInput for one whose scenario cannot be."""
    sweep, points = design.sweep, []
    for i in numbers:
        positions = design.positions[i]
        name = f"{sweep.name}, {axis_values_text(sweep, positions)}"
        # Normals of a climate were checked with the axes; years_of reads them again.
        points.append(point_at(sweep, positions, name, climate_is_checked=True))
    return points


def by_weather(
    sweep: Sweep, points: Sequence[Point], held: Held, n_years: int | None
) -> Iterator[tuple[list[tuple[int, Point]], Years]]:
    """Points that share their weather, each with its place among ``points``, and their years.

    FaultyInput where these are not ``n_years``, unless that is None.
    """
    for _, group in groupby(enumerate(points), key=lambda numbered: numbered[1].weather):
        alike = list(group)
        years = years_of(held, alike[0][1])
        if n_years is not None and len(years.spans.years) != n_years:
            what = f"{len(years.spans.years)} years at some points and {n_years} at others"
            raise FaultyInput(Fault(sweep.name, what, "as many years at every point"))
        yield alike, years


def run_members(
    members: list[Member],
    years: Years,
    held: Held,
    keep: Sequence[str],
    daily: Sequence[str] = (),
    is_stopped: Callable[[], bool] = lambda: False,
    blocks: int = 1,
) -> list[Together]:
    """Plans that share their weather, with the yearly series ``keep`` and the ``daily`` ones.

    ``keep`` are names of YEAR, ``feed_NAME`` of FEED_YEAR and ``play_NAME`` of ``play_numbers``.
    Each stretch of the weather is held while all of them run. Plans on grounds that no others use
    go together, as many as fill so many ``blocks`` of lanes. ``Stopped`` as ``run_points``.
    """
    groups = list(_groups(members, blocks, held.cards, years))
    running: list[Together] = []
    n_parts = len(years.spans.parts)
    one_ground = all(member.point.fields == members[0].point.fields for member in members)
    grounds = [Grounds(held, [member.point for member in group]) for group in groups]
    for place in range(n_parts):
        for i, group in enumerate(groups):
            if is_stopped():
                raise Stopped
            first = group[0].point
            part = part_of(held, first, years, place)
            site = grounds[i].site(part, place)
            if place == 0:
                sites = [
                    for_point(site, member.point, columns)
                    for member, columns in zip(group, grounds[i].columns, strict=True)
                ]
                running.append(_start(keep, daily, group, sites, len(years.spans.years)))
            if i == 0 and place + 1 < n_parts:
                held.soon(partial(_make, held, first, years, place + 1, one_ground))
            _step(running[i], site, part.from_year, held.cards)
    return running


def _make(held: Held, point: Point, years: Years, place: int, with_ground: bool) -> None:
    """What a point will ask for at the stretch ``place``: its weather, and its fields unless they
    would be let go before they are used.
    """
    part = part_of(held, point, years, place)
    if with_ground:
        site_of(held, point, part, place)


def _groups(
    members: list[Member], blocks: int, cards: Cards | None, years: Years
) -> Iterator[Sequence[Member]]:
    """Plans that can go through the days side by side, a block of lanes at a time.

    Blocks are filled with plans on the same ground as far as there are enough of them; those left
    over share as many ``blocks``. On ``cards`` all go together that fit.
    """
    n_fields = len(members[0].point.scenario.fields)
    most = PLANS_TOGETHER
    alike: dict[object, dict[object, list[Member]]] = {}
    for member in members:
        grounds = alike.setdefault(_shared(member.point), {})
        grounds.setdefault(member.point.fields, []).append(member)
    most_mixed = most * blocks
    if cards is not None:
        scenario = members[0].point.scenario
        most = most_mixed = cards.most_together(n_fields, years.most_in_a_part)
        if any_has_play(scenario) or scenario.fed:
            most_mixed = min(most, max(_WORKED_OUT_HERE // n_fields, 1))
    for grounds in alike.values():
        mixed: list[Member] = []
        for on_ground in grounds.values():
            whole = len(on_ground) - len(on_ground) % most
            yield from (on_ground[i : i + most] for i in range(0, whole, most))
            if mixed and len(mixed) + len(on_ground) - whole > most_mixed:
                yield mixed
                mixed = []
            mixed += on_ground[whole:]
        if mixed:
            yield mixed


def _shared(point: Point) -> object:
    """What points must have in common besides their weather to go through the days together."""
    scenario = point.scenario
    patches = max(field.patches for field in scenario.fields)
    # Syringing by any plan gives all fields play.
    syringed = any_syringed(scenario.plans)
    played = any_has_play(scenario)
    return point.supply, patches, syringed, played, bool(scenario.fed), repr(scenario.answers)


def _start(
    keep: Sequence[str],
    daily: Sequence[str],
    members: Sequence[Member],
    sites: Sequence[PreparedSite],
    n_years: int,
) -> Together:
    starts = [(site, one.spec) for site, one in zip(sites, members, strict=True)]
    runs = start_runs(starts, n_years=1)
    shape = runs.states.shape
    # Not known, and so not 0, of fields without play, and of those that are not fed.
    played, fed = (of.fields.on[runs.columns] > 0.0 for of in (sites[0].play, sites[0].feed))
    play: dict[str, FloatArray] = {}
    if played.any():
        nothing = np.where(played, 0.0, np.nan)
        play = {name: nothing.copy() for name in play_numbers(records(PLAY_YEAR, 0))}
    of_feeding = records(FEED_YEAR, shape)
    as_values(of_feeding)[~fed] = np.nan
    return Together(
        members=members,
        runs=runs,
        yearly={name: np.zeros((*shape, n_years)) for name in keep},
        total=records(YEAR, shape),
        most=records(YEAR, shape),
        supply=records(SUPPLY_YEAR, shape[0]),
        fed=of_feeding,
        play=play,
        short_years=np.zeros(shape[0], np.int64),
        daily={name: [] for name in daily},
    )


def _step(so_far: Together, site: PreparedSite, from_year: int, cards: Cards | None) -> None:
    """Take the plans through a stretch, on ``cards`` where there are any, and add what its years
    gave.
    """
    n, runs = len(site.years), so_far.runs
    yearly: Any  # values by name
    of_play: Any
    fed: Any
    if cards is not None:
        runs.empty_years(1)
        keep = [name for name in so_far.yearly if not name.startswith((FEED, PLAY))]
        yearly, total, largest, of_play, fed = cards.advance(site, runs, keep)
    else:
        runs.empty_years(n)
        trace = slice(site.from_day, site.calendar.size) if so_far.daily else slice(0, 0)
        advance_all(site, runs, trace)
        yearly, of_play, fed = (of[..., :n] for of in (runs.years, runs.play, runs.fed))
        by_value = as_values(yearly)
        total, largest = by_value.sum(axis=-2), by_value.max(axis=-2, initial=0.0)
    played = play_numbers(of_play.view(np.recarray)) if so_far.play else {}
    for name, values in so_far.yearly.items():
        if name.startswith(FEED):
            of_years = fed[name.removeprefix(FEED)]
        elif name.startswith(PLAY):
            of_years = played[name.removeprefix(PLAY)]
        else:
            of_years = yearly[name]
        # A card brings no years of play or feeding where there is none.
        values[..., from_year : from_year + of_years.shape[-1]] = of_years
    as_values(so_far.total)[:] += total
    most = as_values(so_far.most)
    np.maximum(most, largest, out=most)
    as_values(so_far.supply)[:] += as_values(runs.supply.years[:, :n]).sum(axis=-2)
    so_far.short_years += np.count_nonzero(runs.supply.years.shortage_days[:, :n] > 0.0, axis=-1)
    as_values(so_far.fed)[:] += as_values(fed).sum(axis=-2)
    for name, values in played.items():
        so_far.play[name] += values.sum(axis=-1)
    for name, parts in so_far.daily.items():
        parts.append(np.moveaxis(runs.trace[name], 1, -1).astype(np.float32))


class Kept:
    """Arrays of all points, filled as plans come in."""

    def __init__(self, points: int, plans: int) -> None:
        self.arrays: Arrays = {}
        self.points, self.plans = points, plans

    def put(
        self, name: str, dims: tuple[str, ...], members: Sequence[Member], values: np.ndarray
    ) -> None:
        """Values (B, ...) of plans, to the places of their points; ``dims`` are those of a point.

        Where there is no dimension "plan" all plans of a point say the same.
        """
        rows = [member.row for member in members]
        plans = [member.plan for member in members]
        known = self.arrays.get(name)
        if known is None:
            size = list(values.shape[1:])
            if "plan" in dims:
                size.insert(dims.index("plan"), self.plans)
            whole = np.zeros((self.points, *size), values.dtype)
            known = self.arrays[name] = (("point", *dims), whole)
        if dims[:1] == ("plan",):
            known[1][rows, plans] = values
        elif dims[1:2] == ("plan",):
            known[1][rows, :, plans] = values
        else:
            known[1][rows] = values


def keep_answers(out: Kept, sweep: Sweep, one: Together, years: Years) -> None:
    """Answers as ``drysward.answers`` gives them, means, and the yearly series."""
    scenario, members = one.scenario, one.members
    n = len(years.spans.years)
    independent = min(years.series.independent_years or n, n)
    distinct = min(years.series.distinct_years or n, n)
    by = ("field", "plan")
    area = np.array([[field.area_m2 for field in m.point.scenario.fields] for m in members])
    spells = np.stack([one.yearly[f"longest_{stage}"] for stage in STAGES], axis=-2)
    odds = (spells >= scenario.answers.reached_days).sum(axis=-1) / n
    fields = [member.point.scenario.fields for member in members]
    below = one.yearly["days_below_condition"]
    below[np.array([[field.surface == SKINNED for field in own] for own in fields])] = np.nan
    water = one.yearly["irrigation_gross"]
    season = water.mean(axis=-1)
    days = np.stack([one.total[f"days_{stage}"] for stage in STAGES], axis=-1)

    def put(name: str, dims: tuple[str, ...], values: np.ndarray) -> None:
        out.put(name, dims, members, values)

    for name, values in days_below(below, independent).items():
        put(name, by, values)
    put("probability", (*by, "stage"), odds)
    put("probability_se", (*by, "stage"), standard_error(odds, independent))
    put("days_mean", (*by, "stage"), days / n)
    put("season_water", by, season)
    put("site_water", ("plan",), (season * area / 1000.0).sum(axis=-1))
    put("demand", (*by, "period"), _demand(water, scenario, distinct))
    put("area_m2", ("field",), area)
    for name in MEANS:
        total = one.total[name]
        put(f"{name}_mean", (*by, *_BY.get(name, ())), total / n)
    for name in MOST:
        put(f"{name}_most", by, one.most[name])
    put("residual", ("plan",), one.most["residual"].max(axis=-1))
    for name in _SUPPLY_MEANS if scenario.supply is not None else ():
        put(f"supply_{name}_mean", ("plan",), one.supply[name] / n)
    for name, total in one.play.items():
        put(f"play_{name}_mean", by, total / n)
    for name in FEED_MEANS if scenario.fed else ():
        put(f"{FEED}{name}_mean", by, one.fed[name] / n)
    if scenario.supply is not None:
        put("supply_shortage_odds", ("plan",), one.short_years / n)
    for name in sweep.keep:
        put(name, (*by, "year"), one.yearly[name].astype(np.float32))
    for name, parts in one.daily.items():
        put(f"daily_{name}", (*by, "day"), np.concatenate(parts, axis=-1))


def _demand(water: FloatArray, scenario: Scenario, distinct: int) -> FloatArray:
    """Estimates (..., periods) of the demand (..., Y), without limits: those take resampling."""
    return demand_estimates(worth(water, distinct), scenario.answers.return_periods)
