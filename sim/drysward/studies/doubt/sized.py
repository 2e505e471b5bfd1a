"""The size that suffices with confidence: a least size for each draw of what is not known.

Every draw is the scenario with other numbers, and the search of ``drysward.studies.sizing`` finds
its least size on the same weather years. Sizes of several draws go through the days side by side.
Across draws the least sizes differ by what is not known of soil, turf, system and supply;
the sampling error of the years is the same in all of them and no part of that spread.
"""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.drive.runs import compiled_run_site
from drysward.faults import Fault, FaultyInput
from drysward.results.doubt_text import LEAST_NAMED, MOST_NAMED
from drysward.results.importance import importance
from drysward.results.sizing_text import named_size
from drysward.scenario.model import FEWEST_DRAWS, Scenario, Sought
from drysward.site.stretches import PreparedSite, weather_stretch
from drysward.site.supply import SupplyDays, supply_days
from drysward.studies.doubt.answers import FEWEST_FOR_IMPORTANCE, LEAST_EXPLAINED, normal_scores
from drysward.studies.doubt.crossed import (
    drawn_numbers,
    drawn_point,
    fitting_draws,
    point_of_text,
)
from drysward.studies.doubt.draws import Doubtful, Draws, draw
from drysward.studies.size_outcome import ALL_WATER
from drysward.studies.sizing import (
    UNITS,
    Sites,
    Trial,
    Tried,
    allowed_years,
    counting,
    go_through,
    least_size,
    size_of,
)
from drysward.studies.sweep.points import Point
from drysward.studies.sweep.shared import Grounds, Held, Part, for_point, years_of

FloatArray = NDArray[np.float64]

CONFIDENCES = (0.5, 0.8, 0.95)
# About as many sizes a search tries.
TRIES = 8
_NO_LIMIT = Sought("source rate", ALL_WATER.sources[0].key, low=0.0, high=math.inf)


@dataclass(frozen=True, eq=False)
class SizedDraws:
    """What K draws need: ``least`` (K,) sizes in base units, infinite where nothing suffices.

    A draw in which the smallest size tried suffices has that size. ``stated_suffices`` (K,) says
    whether the size of the scenario does, ``fails_anyhow`` (K,) whether nothing suffices even with
    all the water that the plan demands, and ``fields_anyhow`` (K, F) which fields then fail.
    ``numbers`` is how many numbers were drawn, ``measures`` what to measure, the largest share of
    the spread of failing years first; none where the draws do not say.
    """

    scenario: Scenario
    least: FloatArray
    stated_suffices: NDArray[np.bool_]
    fails_anyhow: NDArray[np.bool_]
    fields_anyhow: NDArray[np.bool_]
    numbers: int
    measures: tuple[tuple[str, float], ...] = ()

    def with_confidence(self, share: float) -> float:
        """The least size that suffices in at least this share of draws; infinite when none does."""
        k = len(self.least)
        return float(np.sort(self.least)[max(math.ceil(share * k - 1e-9), 1) - 1])


def check_draws(scenario: Scenario, n_draws: int) -> None:
    """FaultyInput unless a sizing in so many draws is possible."""
    for table in ("supply", "sizing"):
        if getattr(scenario, table) is None:
            meaning = f"a table [{table}] in the scenario, or no draws"
            raise FaultyInput(Fault(table, "is missing, and draws need it", meaning))
    if n_draws < FEWEST_DRAWS:
        meaning = f"{FEWEST_DRAWS} or more, such as 64"
        raise FaultyInput(Fault("draws", f"{n_draws} draw is too few for a spread", meaning))


def why_no_draws(scenario: Scenario) -> str:
    """Why no size of a scenario can be given with confidence; empty where it can."""
    if scenario.sizing is None:
        return "they are of the size that a table [sizing] seeks, and there is none"
    if not drawn_numbers(scenario):
        return "no number of the scenario has a range to be drawn from"
    return ""


def fitting_draws_of_sizing(scenario: Scenario, n_years: int) -> int:
    """Draws that keep a sizing of each short: a power of two."""
    return fitting_draws(scenario, TRIES, n_years)


def size_draws(
    scenario: Scenario,
    n_draws: int,
    years: tuple[int, int] | None = None,
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
    numbers: Sequence[Doubtful] | None = None,
) -> SizedDraws:
    """The least size of each of ``n_draws`` draws, by the scenario's ``sizing``.

    Parameters
    ----------
    years : first and last year to count; all complete ones when None.
    workers : threads; as many as there are cores when None. Their number changes no result.
    numbers : what is drawn; all that is not known of soil, turf, system and supply when None.

    FaultyInput as ``check_draws`` and ``drysward.run``.
    """
    check_draws(scenario, n_draws)
    uncertain = drawn_numbers(scenario) if numbers is None else tuple(numbers)
    draws = draw(uncertain, n_draws, scenario.weather.seed)
    assert scenario.sizing is not None
    plan, find = scenario.plan_named(scenario.sizing.plan), scenario.sizing.find
    tree = tomllib.loads(scenario.text)
    point_of_text(scenario, tree, (plan,))
    points = [drawn_point(scenario, tree, (plan,), row) for row in draws.rows()]
    trial = DrawnTrial(scenario, points, years)
    compiled_run_site()
    each: list[Tried] = []
    for i, drawn in enumerate(trial.scenarios):
        assert drawn.supply is not None
        each.append(Tried(trial, drawn.supply, find, i))
    stated = [size_of(tried.supply, find) for tried in each]
    allowed = allowed_years(trial.sizing, len(trial.years))
    searches: list[Callable[[], object]] = []
    for tried, size in zip(each, stated, strict=True):
        searches += [partial(tried.outcome, size), partial(least_size, tried, allowed)]
    go_through(searches, trial, workers or os.cpu_count() or 1, on_progress)
    least = np.array([least_size(tried, allowed)[0] for tried in each])
    without = np.flatnonzero(np.isnan(least))
    anyhow = np.zeros(len(least), bool)
    by_field = np.zeros((len(least), len(scenario.fields)), bool)
    if without.size:
        watered = [
            replace(points[i], scenario=replace(points[i].scenario, supply=ALL_WATER))
            for i in without
        ]
        free = DrawnTrial(scenario, watered, years)
        unlimited = [Tried(free, ALL_WATER, _NO_LIMIT, k) for k in range(without.size)]
        searches = [partial(tried.outcome, math.inf) for tried in unlimited]
        go_through(searches, free, workers or os.cpu_count() or 1, None)
        anyhow[without] = [tried.count(math.inf) > allowed for tried in unlimited]
        for k, tried in enumerate(unlimited):
            if anyhow[without[k]] and trial.judged:
                failing = tried.outcome(math.inf).by_field.sum(axis=0)
                # Fields may fail too often together only: then those that fail most.
                most = min(int(failing.max()), allowed + 1)
                by_field[without[k], trial.judged] = failing >= most
    measures: tuple[tuple[str, float], ...] = ()
    if anyhow.any():
        counts = [tried.count(size) for tried, size in zip(each, stated, strict=True)]
        measures = _measures(draws, np.array(counts, float))
    return SizedDraws(
        scenario=scenario,
        least=np.where(np.isnan(least), math.inf, least),
        stated_suffices=np.array(
            [tried.count(size) <= allowed for tried, size in zip(each, stated, strict=True)]
        ),
        fails_anyhow=anyhow,
        fields_anyhow=by_field,
        numbers=len(uncertain),
        measures=measures,
    )


def _measures(draws: Draws, failing: FloatArray) -> tuple[tuple[str, float], ...]:
    """What to measure and its share of the variance of the ``failing`` years (K,) across draws, the
    largest first; none where the draws are too few to say.
    """
    if len(failing) < FEWEST_FOR_IMPORTANCE:
        return ()
    numbers = draws.doubtful
    found = importance(
        draws.u,
        normal_scores(failing),
        [one.measure for one in numbers],
        [one.group for one in numbers],
    )
    if found.explained < LEAST_EXPLAINED:
        return ()
    shares = sorted(zip(found.numbers.total, found.numbers.names, strict=True), reverse=True)
    return tuple((name, float(share)) for share, name in shares if share >= LEAST_NAMED)


class DrawnTrial(Trial):
    """A plan of several draws of a scenario on the same years: their weather is worked out once,
    their fields are forced as they run.
    """

    def __init__(
        self, scenario: Scenario, points: Sequence[Point], years: tuple[int, int] | None = None
    ) -> None:
        self._take(scenario)
        self._held = Held()
        self._points = [
            replace(point, scenario=counting(point.scenario, self.sizing)) for point in points
        ]
        self.scenarios = [point.scenario for point in self._points]
        first = self._points[0]
        cut = years_of(self._held, first, years)
        self.years = cut.spans.years
        weather = [
            weather_stretch(first.scenario, cut.series, cut.spans, start, end)
            for start, end in cut.spans.parts
        ]
        self.weather = weather
        # All years are gathered at once: stretches point into them, not into separate years.
        self._parts = [Part(stretch, self.years, 0) for stretch in weather]

    def sites_of(self, which: Sequence[int]) -> Sites:
        points = [self._points[i] for i in which]
        return _DrawnSites(Grounds(self._held, points), points, self._parts)

    def supply_days_of(self, which: int, k: int) -> SupplyDays:
        point, at = self._points[which], self.weather[k]
        days: SupplyDays = self._held.get(
            ("supply days", point.weather, point.supply, k),
            lambda: supply_days(point.scenario, at.weather, at.calendar),
        )
        return days


@dataclass(frozen=True, eq=False)
class _DrawnSites:
    """Sites of draws that go side by side, each on its own fields."""

    grounds: Grounds
    points: Sequence[Point]
    parts: Sequence[Part]

    def shared(self, k: int) -> PreparedSite:
        return self.grounds.site(self.parts[k], k)

    def own(self, b: int, shared: PreparedSite) -> PreparedSite:
        return for_point(shared, self.points[b], self.grounds.columns[b])


def draws_dataset(sized: SizedDraws) -> xr.Dataset:
    """What draws of a sizing found, as variables that say what they are.

    ``sizing_confidence`` (confidence,) and ``sizing_draw_least`` (draw,) are infinite where nothing
    suffices; ``sizing_confidence_suffices`` (confidence,), ``sizing_given_suffices`` and
    ``sizing_nothing_suffices`` are shares of the draws; so is ``sizing_fails_anyhow``, those of the
    latter that fail with all the water that the plan demands.
    """
    sizing = sized.scenario.sizing
    assert sizing is not None
    unit, sought = UNITS[sizing.find.what], named_size(sizing.find)
    sizes = np.array([sized.with_confidence(share) for share in CONFIDENCES])
    enough = np.isfinite(sized.least) & (sized.least <= sizes[:, None])
    out = xr.Dataset(
        coords={
            "confidence": (
                "confidence", np.array(CONFIDENCES),
                {"units": "1", "long_name": "share of draws in which a size suffices"},
            ),
            "draw": np.arange(1, len(sized.least) + 1),
        },
        attrs={
            "sizing_draws": len(sized.least), "sizing_draws_numbers": sized.numbers,
            "sizing_measures": ", then ".join(name for name, _ in sized.measures[:MOST_NAMED]),
        },
    )  # fmt: skip
    out = out.assign_coords(field=[field.key for field in sized.scenario.fields])
    for name, dims, values, units, meaning in (
        ("draw_least", "draw", sized.least, unit,
         f"least {sought} of a draw of what is not known, infinite where nothing suffices"),
        ("confidence", "confidence", sizes, unit,
         f"least {sought} that suffices in this share of draws, infinite where none does"),
        ("confidence_suffices", "confidence", enough.mean(axis=1), "1",
         f"share of draws in which that {sought} is no less than the least"),
        ("given_suffices", (), sized.stated_suffices.mean(), "1",
         f"share of draws in which the {sought} of the scenario suffices"),
        ("nothing_suffices", (), np.isinf(sized.least).mean(), "1",
         f"share of draws in which no {sought} tried suffices"),
        ("fails_anyhow", (), sized.fails_anyhow.mean(), "1",
         "share of draws that fail even with all the water that the plan demands"),
        ("fields_anyhow", "field", sized.fields_anyhow.mean(axis=0), "1",
         "share of draws in which the field fails even with all the water that the plan demands"),
    ):  # fmt: skip
        out[f"sizing_{name}"] = (dims, values, {"units": units, "long_name": meaning})
    return out
