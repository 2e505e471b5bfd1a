"""Draws of all that is not known, crossed with the years of a scenario.

Every draw is the scenario with other numbers, under every plan, on the same weather years. What
comes of a year is an outcome: that a stage was reached, days, depths. Draws go through the days
side by side as the points of a sweep do. Of each draw its means over the years are kept, of each
year its means over the draws, so that memory does not grow with the number of cells.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from math import gcd
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.card.devices import CHECKED_RUNS, CPU, cards_for
from drysward.day.records import STAGES
from drysward.drive.runs import PLANS_TOGETHER, compiled_run_site
from drysward.faults import CannotDraw, Fault, FaultyInput
from drysward.results.dataset import FEED, PLAY
from drysward.results.frequency import demand_estimates, thinned
from drysward.results.odds import worst_in_ten
from drysward.results.play import EVENTS, RANGED
from drysward.scenario.feeding_tables import require_feeding
from drysward.scenario.load import from_tree
from drysward.scenario.model import FEWEST_DRAWS, PlanSpec, Scenario
from drysward.site.forcing import in_season
from drysward.site.play import any_has_play
from drysward.studies.doubt.draws import Doubtful, Draws, doubtful, draw, placed
from drysward.studies.feeding_effect import COMPARED, RECOVERY, without_feeding
from drysward.studies.sweep.chunk import Member, Together, run_members
from drysward.studies.sweep.points import OVERRIDES_OF_WEATHER, Point, point_of
from drysward.studies.sweep.shared import Held, years_of

FloatArray = NDArray[np.float64]

# As many draws as so many days of patches allow, a power of two between the least and the most:
# about two seconds on two cores (own choice). From 64 on they show what to measure first, and to
# read a draw takes as long as some years of it.
PATCH_DAYS, FEWEST, MOST = 6.0e7, 16, 64
DAYS_A_YEAR = 365.25
# The most draws that go through the years together; more would be no faster.
DRAWS_TOGETHER = 8
# Years of which each half still has a dry year to estimate (own choice).
FEWEST_FOR_HALVES = 20

FEWEST_YEARS = 2

REACHED = tuple(f"reached_{stage}" for stage in STAGES)
BELOW = "days_below_condition"
DAYS = (BELOW, *(f"days_{stage}" for stage in STAGES))
WATER = "irrigation_gross"
OUTCOMES = (*REACHED, *DAYS, WATER)
"""Outcomes of a year: whether a stage was reached (0 or 1), days, and irrigation (mm)."""
FED = tuple(f"{FEED}{name}" for name in ("leached_n", "clippings", "days_hungry", "days_lush"))
"""Outcomes of a year where a field is fed: kg/ha, and days."""
PLAYED = tuple(f"{PLAY}{name}" for name in RANGED)
"""Outcomes of a year where a field has play: days, hardness (g) and shares of the field."""
SHARES = tuple(f"{PLAY}events_{kind}" for kind in EVENTS)
"""Shares of the events of all years: outcomes of a year whose mean they are."""
HARDNESS, LONGEST = f"{PLAY}mean_hardness", f"{PLAY}longest_airless"
CHANGES = {f"{FEED}{name}_change": of for name, (of, _) in COMPARED.items() if of != RECOVERY}
"""Outcomes of a year of what feeding changes, and the yearly numbers that are compared."""
RECOVERED = f"{FEED}recovery_change"
PAIRED = (BELOW, WATER)
"""Outcomes by which plans, and fields, are set against each other."""
_SERIES = (*(f"longest_{stage}" for stage in STAGES), *DAYS, WATER)


@dataclass(eq=False)
class Crossed:
    """What K draws gave on Y years, of F fields under P plans.

    By outcome: ``rows`` (F, P, K) means over the years, ``columns`` (F, P, Y) means over the
    draws, ``squares`` (F, P) the mean square of all cells. ``plans`` (F, P, P) and ``fields``
    (P, F, F) are mean squares of the difference of paired outcomes, plan from plan on a field and
    field from field under a plan. ``demand`` (F, P, K, periods), mm of a dry year of each draw;
    ``demand_of_halves`` (F, P, K, periods, 2), the same of the first and the second half of the
    years, NaN where these are too few or resampled. A sampling error may count
    ``independent_years`` of the Y; ``distinct_years`` of them differ from one another.
    ``site_demand`` (P, K, periods), m3 of a dry year of all fields together. ``below_in_ten``
    (F, P): days below playing condition that 1 year in 10 passes, mean over the draws.
    ``by_draw`` (F, P, K): numbers of each draw that are no means over the same years, so that the
    noise of the years stays in them; NaN where a draw has none.
    """

    draws: Draws
    years: int
    independent_years: int
    distinct_years: int
    rows: dict[str, FloatArray]
    columns: dict[str, FloatArray]
    squares: dict[str, FloatArray]
    plans: dict[str, FloatArray]
    fields: dict[str, FloatArray]
    demand: FloatArray
    demand_of_halves: FloatArray
    site_demand: FloatArray
    below_in_ten: FloatArray
    by_draw: dict[str, FloatArray] = field(default_factory=dict)


def season_days(scenario: Scenario) -> int:
    """Calendar days of the season that counts, 29 February among them."""
    return int(in_season(np.arange(366), scenario.answers.season).sum())


def fitting_draws(scenario: Scenario, n_plans: int, n_years: int) -> int:
    """Draws that keep a run short: a power of two, fewer for many years, fields and plans."""
    patches = sum(field.patches for field in scenario.fields)
    each = max(n_plans * patches * n_years * DAYS_A_YEAR, 1.0)
    most = min(max(PATCH_DAYS / each, FEWEST), MOST)
    return int(2 ** np.floor(np.log2(most)))


def draws_text(scenario: Scenario, n_years: int) -> str:
    """How many draws a comparison of a scenario on ``n_years`` years runs, and why."""
    numbers = len(drawn_numbers(scenario))
    if scenario.draws == 0:
        return "none, as [doubt] says"
    if not numbers or n_years < FEWEST_YEARS:
        return f"none: {numbers} uncertain numbers, {n_years} years"
    if scenario.draws is not None:
        return f"{scenario.draws} draws of {numbers} uncertain numbers, as [doubt] says"
    n = fitting_draws(scenario, len(scenario.plans), n_years)
    return f"{n} draws of {numbers} uncertain numbers, which keep the run short"


def drawn_together(n_plans: int) -> int:
    """Draws that go through the years together: as many as leave no lane of their blocks empty."""
    return min(PLANS_TOGETHER // gcd(n_plans, PLANS_TOGETHER), DRAWS_TOGETHER)


def drawn_numbers(scenario: Scenario) -> tuple[Doubtful, ...]:
    """What is drawn of a scenario's uncertain numbers: all but those of snow, frost and spray loss,
    which all draws share with the weather.
    """
    of_weather = tuple(f"overrides.{start}" for start in OVERRIDES_OF_WEATHER)
    return tuple(one for one in doubtful(scenario) if not one.key.startswith(of_weather))


def crossed(
    scenario: Scenario,
    n_draws: int | None = None,
    plans: Sequence[PlanSpec] | None = None,
    years: tuple[int, int] | None = None,
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
    feeding_effect: bool = False,
    device: str = CPU,
    check_device: int = CHECKED_RUNS,
) -> Crossed:
    """Run draws of a scenario's uncertain numbers on its years.

    Parameters
    ----------
    n_draws : as many as keep the run short when None.
    plans : of the scenario; all when None.
    years : first and last year to count; all complete ones when None.
    workers : threads; as many as there are cores when None. No number changes any result.
    feeding_effect : run every draw without feeding too, for what feeding changes in it.
    device, check_device : as ``drysward.sweep``.

    FaultyInput as ``drysward.run``, where the scenario is not that of its text, and for the effect
    of feeding where no field is fed; ValueError for fewer than two draws or years.
    """
    if feeding_effect:
        require_feeding(scenario)
    if n_draws is not None and n_draws < FEWEST_DRAWS:
        none = "; for no draws leave the call out" if n_draws == 0 else ""
        raise ValueError(f"n = {n_draws}: a spread across draws needs {FEWEST_DRAWS} or more{none}")
    if not scenario.text:
        raise FaultyInput(Fault("draws", "the scenario has no text to be drawn from"))
    followed = tuple(plans or scenario.plans)
    held = Held()
    tree = tomllib.loads(scenario.text)
    cut = years_of(held, point_of_text(scenario, tree, followed), years)
    n_years = len(cut.spans.years)
    if n_years < FEWEST_YEARS:
        raise CannotDraw(f"the spread across draws needs two years or more, not {n_years}")
    distinct = min(cut.series.distinct_years or n_years, n_years)
    k = fitting_draws(scenario, len(followed), n_years) if n_draws is None else n_draws
    draws = draw(drawn_numbers(scenario), k, scenario.weather.seed)
    rows = tuple(draws.rows())
    out = _Gathered(scenario, draws, len(followed), n_years, distinct, feeding_effect)
    work = k * len(followed) * len(scenario.fields) * n_years
    held.cards = cards_for(scenario, device, work, check_device)
    workers = workers or os.cpu_count() or 1
    together = drawn_together(len(followed))
    if held.cards is None:
        compiled_run_site()
    else:
        most = held.cards.most_together(len(scenario.fields), cut.most_in_a_part)
        workers = held.cards.threads
        together = max(min(most // len(followed), -(-k // workers)), 1)

    def go(numbers: range) -> Sequence[Together]:
        # Read here, while others run: to read draws takes turns, to run them does not.
        points = [(drawn_point(scenario, tree, followed, rows[i]), i) for i in numbers]
        if feeding_effect:
            points += [
                (drawn_point(scenario, tree, followed, rows[i], fed=False), k + i) for i in numbers
            ]
        plans_of = range(len(followed))
        members = [Member(point, i, plan) for point, i in points for plan in plans_of]
        return run_members(members, cut, held, keep, blocks=together)

    keep = out.series
    chunks = [range(i, min(i + together, k)) for i in range(0, k, together)]
    with ThreadPoolExecutor(workers) as pool:
        # In the order of the draws, so that sums do not depend on which is done first.
        for numbers, gathered in zip(chunks, pool.map(go, chunks), strict=True):
            out.add(numbers, gathered)
            if on_progress is not None:
                on_progress(numbers.stop / k)
    # Asked for last: it may take seconds, in which the others of this run have found it.
    return out.crossed(min(cut.series.independent_years or n_years, n_years))


def point_of_text(
    scenario: Scenario, tree: dict[str, Any], plans: tuple[PlanSpec, ...]
) -> Point:
    """The scenario without a draw, as its text has it.

    FaultyInput where its site, fields or ``plans`` are not as the text has them: draws are of the
    text. Plans may be left out.
    """
    known = {*tree["plans"], *(plan.key for plan in scenario.plans if plan.function is not None)}
    if not {plan.key for plan in plans} <= known:
        raise _replaced("plans")
    point = drawn_point(scenario, tree, plans, {})
    for name, now, written in (
        ("site", scenario.site, point.scenario.site),
        ("fields", scenario.fields, point.scenario.fields),
        ("plans", plans, point.plans),
    ):
        if now != written:
            raise _replaced(name)
    return point


def _replaced(name: str) -> FaultyInput:
    what = "replaced in Python, and draws are of the scenario's text"
    allowed = "change the text and read it with drysward.loads"
    return FaultyInput(Fault(f"scenario.{name}", what, allowed))


def drawn_point(
    scenario: Scenario,
    tree: dict[str, Any],
    plans: tuple[PlanSpec, ...],
    row: Mapping[str, float | str],
    name: str = "a draw",
    fed: bool = True,
) -> Point:
    """The scenario with the numbers of a draw, under its own weather whatever the text says.

    ``name`` is what faults call it. ``fed``: False for turf whose nitrogen is not followed.
    """
    changed = placed(tree, row)
    for table in ("costs", "sizing"):  # what is paid or sought is no part of a draw
        changed.pop(table, None)
    drawn = from_tree(changed, scenario.folder, name, scenario.text, climate_is_checked=True)
    drawn = replace(drawn, weather=scenario.weather).with_functions_of(scenario)
    if not fed:
        drawn = without_feeding(drawn)
        changed["fields"] = {
            key: {name: value for name, value in table.items() if name != "feeding"}
            for key, table in changed["fields"].items()
        }
    own = tuple(drawn.plan_named(plan.key) for plan in plans)
    return point_of(changed, drawn, own)


class _Gathered:
    """Sums over draws and years, as they come in."""

    def __init__(
        self,
        scenario: Scenario,
        draws: Draws,
        n_plans: int,
        n_years: int,
        distinct: int,
        feeding_effect: bool,
    ) -> None:
        self.scenario, self.draws = scenario, draws
        self.n_years, self.distinct = n_years, distinct
        k = len(draws.values)
        at = (len(scenario.fields), n_plans)
        periods = scenario.answers.return_periods
        self.fed = FED if scenario.fed else ()
        self.changes = CHANGES if feeding_effect else {}
        played = any_has_play(scenario)
        self.played, self.shares = (PLAYED, SHARES) if played else ((), ())
        of_draw = (*((LONGEST,) if played else ()), *((RECOVERED,) if feeding_effect else ()))
        self.by_draw = {name: np.full((*at, k), np.nan) for name in of_draw}
        self.series = (
            *_SERIES, *self.fed, *self.played, *self.shares,
            *((LONGEST, f"{PLAY}events") if played else ()),
            *((RECOVERY,) if feeding_effect else ()),
        )  # fmt: skip
        outcomes = (*OUTCOMES, *self.fed, *self.played, *self.shares, *self.changes)
        self.rows = {name: np.zeros((*at, k)) for name in outcomes}
        self.columns = {name: np.zeros((*at, n_years)) for name in outcomes}
        self.squares = {name: np.zeros(at) for name in outcomes}
        self.by_plan = {name: np.zeros((at[0], at[1], at[1])) for name in PAIRED}
        self.by_field = {name: np.zeros((at[1], at[0], at[0])) for name in PAIRED}
        self.below_in_ten = np.zeros(at)
        self.per_mm = np.array([field.area_m2 for field in scenario.fields]) / 1000.0
        self.of_site = np.zeros((at[1], k, len(periods)))
        self.irrigation = np.zeros((*at, k, len(periods)))
        self.of_halves = np.full((*at, k, len(periods), 2), np.nan)

    def add(self, numbers: range, gathered: Sequence[Together]) -> None:
        """Take in the draws ``numbers``."""
        by_place: dict[tuple[int, int], dict[str, FloatArray]] = {}
        for one in gathered:
            for b, member in enumerate(one.members):
                series = {name: values[b] for name, values in one.yearly.items()}
                by_place[member.row, member.plan] = series
        for k in numbers:
            for name, x in self._outcomes(by_place, k):
                self.rows[name][..., k] = x.mean(axis=-1)
                self.columns[name] += x
                self.squares[name] += (x * x).mean(axis=-1)
                if name in PAIRED:
                    # Differences first: of two large sums that are nearly the same only rounding
                    # would be left.
                    for p in range(x.shape[1]):
                        apart = x - x[:, p : p + 1]
                        self.by_plan[name][:, p] += (apart * apart).mean(axis=-1)
                    for f in range(x.shape[0]):
                        apart = x - x[f]
                        self.by_field[name][:, f] += (apart * apart).mean(axis=-1).T
                if name == WATER:
                    self._add_demand(k, x)
                if name == BELOW:
                    self.below_in_ten += worst_in_ten(x)
            self._add_by_draw(by_place, k)

    def _add_demand(self, k: int, water: FloatArray) -> None:
        """Take in the demand of dry years of draw ``k``, of its irrigation (F, P, Y)."""
        periods = self.scenario.answers.return_periods
        n, half = self.n_years, self.n_years // 2
        if self.distinct < n:
            water = thinned(water, self.distinct)
        elif n >= FEWEST_FOR_HALVES:
            for i, part in enumerate((water[..., :half], water[..., n - half :])):
                self.of_halves[:, :, k, :, i] = demand_estimates(part, periods)
        self.irrigation[:, :, k] = demand_estimates(water, periods)
        volume = np.tensordot(self.per_mm, water, axes=1)
        self.of_site[:, k] = demand_estimates(volume, periods)

    def _outcomes(
        self, series: dict[tuple[int, int], dict[str, FloatArray]], k: int
    ) -> Iterator[tuple[str, FloatArray]]:
        """Outcomes (F, P, Y) of draw ``k`` by name."""
        in_a_row = self.scenario.answers.reached_days
        of = partial(self._of_draw, series, k)
        for stage in STAGES:
            yield f"reached_{stage}", (of(f"longest_{stage}") >= in_a_row).astype(float)
        for name in (*DAYS, WATER, *self.fed, *self.played):
            yield name, of(name)
        for name in self.shares:
            yield name, share_of_years(of(name), of(f"{PLAY}events"))
        for name, compared in self.changes.items():
            yield name, of(compared) - of(compared, fed=False)

    def _add_by_draw(
        self, series: dict[tuple[int, int], dict[str, FloatArray]], k: int
    ) -> None:
        """Take in the numbers of draw ``k`` that are no means over the same years."""
        of = partial(self._of_draw, series, k)
        if LONGEST in self.by_draw:
            self.by_draw[LONGEST][..., k] = of(LONGEST).max(axis=-1)
        if RECOVERED in self.by_draw:
            days, plain = of(RECOVERY), of(RECOVERY, fed=False)
            both = (days >= 0.0) & (plain >= 0.0)
            change = np.where(both, days - plain, 0.0).sum(axis=-1)
            years = both.sum(axis=-1)
            np.divide(change, years, out=self.by_draw[RECOVERED][..., k], where=years > 0)

    def _of_draw(
        self,
        series: dict[tuple[int, int], dict[str, FloatArray]],
        k: int,
        name: str,
        fed: bool = True,
    ) -> FloatArray:
        """A yearly number (F, P, Y) of draw ``k``, or of the same draw without feeding."""
        row = k if fed else len(self.draws.values) + k
        return np.stack([series[row, p][name] for p in range(self.irrigation.shape[1])], axis=1)

    def crossed(self, independent: int) -> Crossed:
        k = len(self.draws.values)
        return Crossed(
            draws=self.draws,
            years=self.n_years,
            independent_years=independent,
            distinct_years=self.distinct,
            rows=self.rows,
            columns={name: values / k for name, values in self.columns.items()},
            squares={name: values / k for name, values in self.squares.items()},
            plans={name: values / k for name, values in self.by_plan.items()},
            fields={name: values / k for name, values in self.by_field.items()},
            demand=self.irrigation,
            demand_of_halves=self.of_halves,
            site_demand=self.of_site,
            below_in_ten=self.below_in_ten / k,
            by_draw=self.by_draw,
        )


def share_of_years(these: FloatArray, events: FloatArray) -> FloatArray:
    """Outcomes (..., Y) whose mean is the share of the events of all years that are ``these``, and
    whose scatter over the years is that of a ratio, as in ``results.play``; NaN without events.
    """
    total = events.sum(axis=-1, keepdims=True)
    total = np.where(total > 0.0, total, np.nan)
    share = these.sum(axis=-1, keepdims=True) / total
    return np.asarray(share + (these - share * events) * (events.shape[-1] / total))
