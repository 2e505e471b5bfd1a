"""Draws of what is not known within the points of a sweep.

Every point runs with the same draws, so that two points differ by what they are and not by what
was drawn. What an axis sets is a factor and is not drawn. Of each point the means over its draws
are kept, and for odds, days and water the 5 to 95% across them; never the single runs, so that
memory does not grow with draws.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import STAGES
from drysward.faults import Fault, FaultyInput
from drysward.quantities import convert
from drysward.results.band import Kind, band
from drysward.results.frequency import demand_estimates
from drysward.results.spread import Split, split_of_sums
from drysward.scenario.model import Scenario
from drysward.studies.doubt.answers import demand_limits
from drysward.studies.doubt.crossed import (
    DAYS,
    FEWEST_FOR_HALVES,
    WATER,
    drawn_numbers,
    drawn_point,
    season_days,
)
from drysward.studies.doubt.draws import (
    Doubtful,
    Draws,
    draws_at,
    even_shares,
    varying_together,
)
from drysward.studies.sweep.chunk import (
    Arrays,
    Kept,
    Member,
    by_weather,
    keep_answers,
    points_at,
    run_members,
    run_points,
)
from drysward.studies.sweep.description import Sweep
from drysward.studies.sweep.design import PLANS, Design, depth_of
from drysward.studies.sweep.folder import DrawnNumber
from drysward.studies.sweep.points import Point, axis_values_text, point_at, tree_at, tried
from drysward.studies.sweep.shared import Held, Years

FloatArray = NDArray[np.float64]

TAIL = 0.05
"""Share of the draws beyond each limit that is kept."""
# Plans of points under draws that go through the years at one time, as far as one draw of all
# points is not more: some blocks of lanes. It bounds the memory and alters no number.
TOGETHER = 32
_SERIES = (*(f"longest_{stage}" for stage in STAGES), *DAYS, WATER)
# Variables with limits, and the yearly series that they are made of: of stages one for each.
_LIMITED: dict[str, tuple[tuple[str, ...], Kind]] = {
    "probability": (tuple(f"longest_{stage}" for stage in STAGES), "odds"),
    "days_mean": (tuple(f"days_{stage}" for stage in STAGES), "amount"),
    "days_below_condition_mean": (("days_below_condition",), "amount"),
    "season_water": ((WATER,), "amount"),
}
# The largest error of the account is that of any draw.
_LARGEST = "residual"
_ERRORS = {"probability": "probability_se", "days_below_condition_mean": "days_below_condition_se"}


@dataclass(frozen=True, eq=False)
class CommonDraws:
    """Scores and shares between 0 and 1 from which all points draw: a column (K,) of each for each
    number. Shares vary together, scores do not (``varying_together``).

    A number that a point has and these do not gets its own, the same for all points.
    """

    n: int
    seed: int
    scores: dict[str, FloatArray]
    shares: dict[str, FloatArray]

    def of(self, numbers: Sequence[Doubtful]) -> Draws:
        """The draws of a point's ``numbers``."""
        if not numbers:
            nothing = np.empty((self.n, 0))
            return draws_at(numbers, nothing, nothing)
        scores, shares = (
            np.column_stack([self._column(known, number.key) for number in numbers])
            for known in (self.scores, self.shares)
        )
        return draws_at(numbers, scores, shares)

    def _column(self, known: dict[str, FloatArray], key: str) -> FloatArray:
        if key in known:
            return known[key]
        return even_shares(1, self.n, [self.seed, crc32(key.encode())])[:, 0]


def common_draws_of(sweep: Sweep, numbers: Sequence[DrawnNumber]) -> CommonDraws | None:
    """What the points of a sweep draw from; None for a sweep without draws.

    Where all points have the same ``numbers`` they are the draws of ``drysward.draws``.
    """
    if not sweep.draws:
        return None
    seed = int(sweep.base["weather"].get("seed", 1))
    keys = [key for key, _, _ in numbers]
    scores = even_shares(len(keys), sweep.draws, seed)
    by_key = (dict(zip(keys, x.T, strict=True)) for x in (scores, varying_together(scores, keys)))
    return CommonDraws(sweep.draws, seed, *by_key)


def numbers_of(design: Design) -> tuple[DrawnNumber, ...]:
    """What the points of a sweep draw, as far as every value of an axis and a spread of the points
    show it; nothing without draws.
    """
    sweep = design.sweep
    if not sweep.draws:
        return ()
    # What plans do has no part in what is not known.
    deep = [depth_of(axis) < PLANS for axis in sweep.axes]
    found: dict[str, DrawnNumber] = {}
    seen: set[bytes] = set()
    for words, positions in tried(design):
        at = positions[deep].tobytes()
        if at in seen:
            continue
        seen.add(at)
        point = point_at(sweep, positions, f"{sweep.name}, {words}", climate_is_checked=True)
        for one in numbers_at(sweep, positions, point.scenario):
            found.setdefault(one.key, (one.key, one.unit, one.group))
    return tuple(found.values())


def numbers_at(sweep: Sweep, positions: np.ndarray, scenario: Scenario) -> tuple[Doubtful, ...]:
    """What is drawn at a point: what is not known of its ``scenario``, less what axes set.

    A value of an axis that is written as a range is drawn from that.
    """
    factors = {key for axis in sweep.axes for key in axis.keys}
    here = {
        key
        for axis, position in zip(sweep.axes, positions, strict=True)
        for key in axis.sets(float(position))
    }
    return tuple(
        one
        for one in drawn_numbers(scenario)
        if one.key not in factors or (one.key in here and one.key in scenario.ranges)
    )


def run_numbers(
    design: Design,
    numbers: range,
    held: Held,
    common: CommonDraws | None,
    is_stopped: Callable[[], bool] = lambda: False,
    n_years: int | None = None,
    drawn: Sequence[DrawnNumber] = (),
    tail: float = TAIL,
) -> Arrays:
    """What is kept of the points ``numbers``, with draws within each unless ``common`` is None.

    Where the sweep keeps its draws, ``drawn`` are the columns of the values drawn. ``tail`` is the
    share of draws beyond each limit. Else as ``run_points``.
    """
    if common is None:
        return run_points(design, numbers, held, is_stopped, n_years)
    sweep, points = design.sweep, points_at(design, numbers)
    parts = []
    for alike, years in by_weather(sweep, points, held, n_years):
        refuse_one_year(sweep, years)
        drawing = [
            _Drawing(sweep, design.positions[numbers[place]], point, common)
            for place, point in alike
        ]
        sums = _Sums(sweep, drawing, years, common.n)
        for draws, kept, series in _runs(sweep, drawing, years, held, common.n, is_stopped):
            sums.add(draws, kept.arrays, series.arrays)
        out = sums.arrays(tail)
        if sweep.keep_draws:
            out |= sums.single_draws(out)
            out["drawn"] = ("point", "draw", "drawn_number"), _values_drawn(drawing, drawn)
        parts.append(out)
    return {
        name: (dims, np.concatenate([part[name][1] for part in parts]))
        for name, (dims, _) in parts[0].items()
    }


def refuse_one_year(sweep: Sweep, years: Years) -> None:
    """FaultyInput where the effect of draws cannot be separated from chance."""
    if len(years.spans.years) < 2:
        reason = "one year cannot separate draws from chance"
        allowed = "years = 200, or no [doubt]"
        raise FaultyInput(Fault(f"{sweep.name}: doubt.draws", reason, allowed))


class _Drawing:
    """A point and its draws."""

    def __init__(
        self, sweep: Sweep, positions: np.ndarray, point: Point, common: CommonDraws
    ) -> None:
        self.point = point
        self.name = f"{sweep.name}, {axis_values_text(sweep, positions)}"
        self.tree: dict[str, Any] = tree_at(sweep, positions)
        self.draws = common.of(numbers_at(sweep, positions, point.scenario))
        self._rows = self.draws.rows()

    def at(self, k: int) -> Point:
        """The point with the numbers of draw ``k``."""
        name = f"{self.name}, draw {k + 1}"
        return drawn_point(
            self.point.scenario, self.tree, self.point.plans, self._rows[k], name
        )


def _runs(
    sweep: Sweep,
    drawing: Sequence[_Drawing],
    years: Years,
    held: Held,
    n: int,
    is_stopped: Callable[[], bool],
) -> Iterator[tuple[range, Kept, Kept]]:
    """Some draws of all points at a time: their numbers, answers, and yearly series.

    Points lead in both, each with its draws one after another.
    """
    plans = drawing[0].point.plans
    most = TOGETHER
    if held.cards is not None:
        n_fields = len(drawing[0].point.scenario.fields)
        most = held.cards.most_together(n_fields, years.most_in_a_part)
    some = max(most // (len(drawing) * len(plans)), 1)
    keep = tuple(dict.fromkeys((*sweep.keep, *_SERIES)))
    for start in range(0, n, some):
        draws = range(start, min(start + some, n))
        members = []
        for i, one in enumerate(drawing):
            for j, k in enumerate(draws):
                point = one.at(k)
                members += [
                    Member(point, i * len(draws) + j, plan) for plan in range(len(plans))
                ]
        kept, series = (Kept(len(drawing) * len(draws), len(plans)) for _ in range(2))
        for together in run_members(members, years, held, keep, sweep.daily, is_stopped):
            for name in _SERIES:
                values = together.yearly[name]
                series.put(name, ("field", "plan", "year"), together.members, values)
            keep_answers(kept, sweep, together, years)
        yield draws, kept, series


class _Sums:
    """Means over draws of N points, and sums that separate draws from years, as draws come in.

    ``means`` by name; by series ``rows`` (N, F, P, K) are means over the years, ``columns``
    (N, F, P, Y) sums over the draws, ``squares`` (N, F, P) sums of mean squares. ``demand``
    (N, F, P, K, periods) and ``halves`` (..., 2) are as in ``Crossed``.
    """

    def __init__(
        self, sweep: Sweep, drawing: Sequence[_Drawing], years: Years, n_draws: int
    ) -> None:
        answers = drawing[0].point.scenario.answers
        self.in_a_row, self.periods = answers.reached_days, answers.return_periods
        self.season = season_days(drawing[0].point.scenario)
        self.yearly = {*sweep.keep, *(f"daily_{name}" for name in sweep.daily)}
        self.n, self.n_draws, self.n_years = len(drawing), n_draws, len(years.spans.years)
        self.independent, self.distinct = (
            min(count or self.n_years, self.n_years)
            for count in (years.series.independent_years, years.series.distinct_years)
        )
        n_fields, n_plans = len(drawing[0].point.scenario.fields), len(drawing[0].point.plans)
        at = (self.n, n_fields, n_plans)
        self.means: Arrays = {}
        self.rows = {name: np.zeros((*at, n_draws)) for name in _SERIES}
        self.columns = {name: np.zeros((*at, self.n_years)) for name in _SERIES}
        self.squares = {name: np.zeros(at) for name in _SERIES}
        self.demand = np.zeros((*at, n_draws, len(self.periods)))
        self.halves = np.full((*self.demand.shape, 2), np.nan)

    def add(self, draws: range, answers: Arrays, series: Arrays) -> None:
        """Take in some draws of all points, of which each has its draws one after another."""
        for name, (dims, values) in answers.items():
            by_draw = values.reshape(self.n, len(draws), *values.shape[1:])
            self._add_mean(name, dims, by_draw, draws)
        for name, (_, values) in series.items():
            by_draw = values.reshape(self.n, len(draws), *values.shape[1:])
            for j, k in enumerate(draws):
                self._add_series(name, by_draw[:, j], k)

    def _add_mean(
        self, name: str, dims: tuple[str, ...], values: np.ndarray, draws: range
    ) -> None:
        """Values (N, draws, ...) into their mean, one draw after another."""
        if name not in self.means:
            self.means[name] = dims, np.zeros((self.n, *values.shape[2:]))
        mean = self.means[name][1]
        for j, k in enumerate(draws):
            if name == _LARGEST:
                np.maximum(mean, values[:, j], out=mean)
            else:
                # Draws that are all the same leave it as it is, to the last bit.
                mean += (values[:, j] - mean) / (k + 1)
            if name == "demand":
                self.demand[..., k, :] = values[:, j]

    def _add_series(self, name: str, x: FloatArray, k: int) -> None:
        """Years (N, F, P, Y) of draw ``k``."""
        if name.startswith("longest_"):
            x = (x >= self.in_a_row).astype(float)
        self.rows[name][..., k] = x.mean(axis=-1)
        self.columns[name] += x
        self.squares[name] += (x * x).mean(axis=-1)
        n, half = self.n_years, self.n_years // 2
        if name == WATER and self.distinct == n >= FEWEST_FOR_HALVES:
            for i, part in enumerate((x[..., :half], x[..., n - half :])):
                self.halves[..., k, :, i] = demand_estimates(part, self.periods)

    def arrays(self, tail: float) -> Arrays:
        """Means over the draws of all that is kept, with limits of odds, days and water.

        The errors of odds and days are those of the years in the mean over the draws.
        """
        out: Arrays = {
            name: (dims, mean.astype(np.float32) if name in self.yearly else mean)
            for name, (dims, mean) in self.means.items()
        }
        for name, (series, kind) in _LIMITED.items():
            dims, mean = self.means[name]
            by_series = mean if len(series) > 1 else mean[..., None]
            low, high, error = (np.empty(by_series.shape) for _ in range(3))
            for i, one in enumerate(series):
                parts = replace(self._split(one), mean=by_series[..., i])
                most = self.season if one in DAYS else np.inf
                limits = band(self.rows[one], parts, kind, tail=tail, most=most)
                low[..., i], high[..., i] = limits.low, limits.high
                error[..., i] = np.where(np.isnan(parts.mean), np.nan, parts.sampling_error)
            low, high, error = (values.reshape(mean.shape) for values in (low, high, error))
            out[f"{name}_low"], out[f"{name}_high"] = (dims, low), (dims, high)
            if name in _ERRORS:
                out[_ERRORS[name]] = dims, error
        self._add_demand(out, tail)
        return out

    def _split(self, series: str) -> Split:
        parts = split_of_sums(
            self.rows[series],
            self.columns[series] / self.n_draws,
            self.squares[series] / self.n_draws,
        )
        return parts.of_independent(self.independent, self.distinct)

    def _add_demand(self, out: Arrays, tail: float) -> None:
        """The limits of the demand; points and fields count as one dimension meanwhile."""
        dims, mean = self.means["demand"]
        flat = (-1, *self.demand.shape[2:])
        _, *limits = demand_limits(
            self.demand.reshape(flat), self.halves.reshape(*flat, 2), tail
        )
        is_more = (self.demand >= self.rows[WATER][..., None]).all(axis=3)
        for end, values in zip(("_low", "_high"), limits, strict=True):
            # As ``studies.doubt.answers``: a dry year takes no less than the mean year.
            least = np.where(is_more, out[f"season_water{end}"][1][..., None], -np.inf)
            out[f"demand{end}"] = dims, np.maximum(values.reshape(mean.shape), least)

    def single_draws(self, out: Arrays) -> Arrays:
        """What of ``out`` has limits, draw by draw."""
        kept: Arrays = {}
        for name, (series, _) in _LIMITED.items():
            dims, mean = out[name]
            values = np.stack([self.rows[one] for one in series], axis=-2)
            values = values.reshape(*mean.shape, self.n_draws)
            values = np.where(np.isnan(mean)[..., None], np.nan, values)
            kept[f"draw_{name}"] = (*dims, "draw"), values
        dims = out["demand"][0]
        kept["draw_demand"] = (*dims, "draw"), np.moveaxis(self.demand, 3, -1)
        return kept


def _values_drawn(drawing: Sequence[_Drawing], drawn: Sequence[DrawnNumber]) -> FloatArray:
    """Values (N, K, numbers) of the numbers ``drawn``, in the unit that stands there; NaN where a
    point does not draw one.
    """
    columns = {key: (i, unit) for i, (key, unit, _) in enumerate(drawn)}
    out = np.full((len(drawing), len(drawing[0].draws.values), len(drawn)), np.nan)
    for i, one in enumerate(drawing):
        for number, values in zip(one.draws.doubtful, one.draws.values.T, strict=True):
            if number.key in columns:
                column, unit = columns[number.key]
                same = number.unit == unit
                out[i, :, column] = (
                    values if same else [convert(v, number.unit, unit) for v in values]
                )
    return out
