"""How large a storage, source, allowance or catchment must be for the turf to come through.

The daily simulation itself decides: a size is tried by running a plan over all years with it,
and the least size that keeps the wanted outcome is closed in on by halving. Every size is tried
on the same weather years.

A pond of a stated depth and side slope keeps both: its bottom grows or shrinks, down to none. One
of a survey, and every tank, grows in plan alone.

More is not always better: a pond that grows in plan loses more to the air and into the ground,
so that past some size it helps less and may fail altogether. The search therefore takes the sizes
that keep the outcome to be one span, from the least on, and says where it ends.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

import numpy as np
import xarray as xr
from numpy.lib.stride_tricks import sliding_window_view
from scipy import special

from drysward.day.records import STAGES
from drysward.drive.runs import (
    Days,
    Runs,
    advance_all,
    compiled_run_site,
    in_groups,
    start_runs,
)
from drysward.faults import Fault, FaultyInput
from drysward.physics.pond import least_square_pond_m3, square_pond
from drysward.results.costs import has_life
from drysward.results.sizing_text import goal_text, named_size
from drysward.scenario.model import (
    ANY_FIELD,
    TURF,
    Scenario,
    Sizing,
    Sought,
    StorageSpec,
    SupplySpec,
)
from drysward.site.stretches import PreparedSite, WeatherStretch, stretches
from drysward.site.supply import SupplyDays, sized_input, supplies_alongside, supply_days
from drysward.site.weather_years import weather_series
from drysward.studies.size_outcome import (
    ALL_WATER,
    Outcome,
    outcome_of,
    why_it_fails,
    why_nothing_suffices,
    why_out_of_season,
)

# The least size is known to this part of itself; a size that much smaller fails.
TOLERANCE = 0.01
# Sizes are doubled and halved from the one given, this often downwards, before closing in.
_HALVINGS = 10
# Between the rungs it is looked no closer than this: a span narrower than that may be missed.
_CLOSEST = 0.05
_BAND = (0.05, 0.95)
# About as many sizes a search tries; one that tries more is nearly done.
_USUAL_TRIES = 12
_NEARLY = 0.95


@dataclass(frozen=True)
class Least:
    """The least size that keeps the outcome, in base units (m3, m3/h, m2).

    NaN when no size does; ``fewest_at`` is then the tried size with the fewest failing years.
    ``low`` and ``high`` are 90% limits for the chance of the years: sizes that keep the outcome
    when as many, or as few, years may fail as that many years of the wanted odds would bring; NaN
    where none does. ``failing_years`` fail at ``size`` (at ``fewest_at`` when that is NaN).
    ``tried_less`` is a size just below that fails (the size itself when that is the smallest
    asked about), and ``critical_year`` the first of the years that fail only with it.
    ``fails_from`` is the least larger size tried that fails again, NaN when none does, and
    ``why_fails`` says why, "" when none does. ``outcome`` is that of ``size`` (of ``fewest_at``).
    ``failing_anyway`` are the years that fail with every size tried from ``size`` on (with every
    size when that is NaN).
    """

    size: float
    low: float
    high: float
    tried_less: float
    critical_year: int | None
    failing_years: tuple[int, ...]
    fewest_at: float
    fails_from: float
    why_fails: str
    outcome: Outcome
    failing_anyway: tuple[int, ...]


@dataclass(frozen=True)
class Point:
    """A point of the curve: the least ``size`` at one size of the other part, base units.

    NaN, and no ``outcome``, where nothing suffices. ``fails_from`` is the least larger size tried
    that fails again, NaN when none does. ``beside`` is the number of a point with a smaller size
    of the other part that needs less all the same, by more than the search is sure of.
    """

    against: float
    size: float
    fails_from: float
    outcome: Outcome | None
    beside: int | None


@dataclass(frozen=True)
class SizingResult:
    """Answer of a sizing, and the curve of least sizes against those of another part.

    ``why_not_monotone`` says why a larger one of the other part needs a larger size, at the first
    of the points where it does; "" when there is none. ``why_nothing`` says why no size suffices,
    "" when one does. ``smallest`` is the least size above nothing that there can be.
    ``why_anyway`` says when in the years that fail with any size the stage begins, where that is
    outside of the plan's season; "" where it is not.
    """

    scenario: Scenario = field(repr=False)
    reached_days: int
    n_years: int
    allowed_years: int
    stated_size: float
    failing_at_stated_size: tuple[int, ...]
    outcome_at_stated_size: Outcome
    least: Least
    curve: tuple[Point, ...]
    why_not_monotone: str
    why_nothing: str
    why_anyway: str
    smallest: float

    @property
    def sizing(self) -> Sizing:
        """The goal, as the scenario states it."""
        assert self.scenario.sizing is not None
        return self.scenario.sizing


def solve(
    scenario: Scenario,
    years: tuple[int, int] | None = None,
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
) -> SizingResult:
    """Answer the scenario's ``sizing``.

    FaultyInput when the scenario has no supply or no sizing, or as ``run``.
    """
    sizing = scenario.sizing
    if scenario.supply is None or sizing is None:
        missing = "supply" if scenario.supply is None else "sizing"
        raise FaultyInput(Fault(missing, "is missing", f"a table [{missing}] in the scenario"))
    trial = Trial(scenario, years)
    n = len(trial.years)
    allowed = allowed_years(sizing, n)
    # Chance that no more than 0, 1, ... of the years fail when each does with the stated odds.
    no_more = special.bdtr(np.arange(n + 1.0), n, sizing.odds)
    looser, stricter = (int(np.searchsorted(no_more, q)) for q in reversed(_BAND))
    stated = size_of(scenario.supply, sizing.find)
    compiled_run_site()

    main = Tried(trial, scenario.supply, sizing.find)
    against = np.zeros(0) if sizing.against is None else _points(scenario.supply, sizing)
    beside = [_tried_beside(main, sizing.against, x) for x in against if sizing.against]
    searches: list[Callable[[], object]] = [
        partial(main.outcome, stated),
        # Every point comes to need its largest size: early on it fills lanes that are left over.
        *(partial(tried.outcome, tried.most) for tried in (main, *beside)),
        *(partial(least_size, main, n) for n in (looser, stricter)),
        *(partial(_beyond, tried, allowed) for tried in (main, *beside)),
        partial(_why_not_monotone, beside, allowed),
    ]
    go_through(searches, trial, workers or os.cpu_count() or 1, on_progress)
    least = _least(main, allowed, (looser, stricter))
    begins = trial.first_days(least.outcome.supply, least.failing_anyway)
    why_nothing = ""
    if math.isnan(least.size):
        watered = replace(scenario, supply=ALL_WATER)
        unlimited = Trial(watered, years)
        free = unlimited.outcomes([ALL_WATER])[0]
        dry = unlimited.first_days(ALL_WATER, unlimited.named(free.fails))
        with_open_days = False
        if scenario.supply.restrictions is not None:
            open_days = Tried(trial, replace(scenario.supply, restrictions=None), sizing.find)
            search = partial(least_size, open_days, allowed)
            go_through([search], trial, workers or os.cpu_count() or 1, None)
            with_open_days = not math.isnan(search()[0])
        why_nothing = why_nothing_suffices(
            scenario, trial.judged, allowed, free, dry, least.outcome, with_open_days
        )
    return SizingResult(
        scenario=scenario,
        reached_days=scenario.answers.reached_days,
        n_years=n,
        allowed_years=allowed,
        stated_size=stated,
        failing_at_stated_size=trial.named(main.failing(stated)),
        outcome_at_stated_size=main.outcome(stated),
        least=least,
        curve=_curve(beside, against, allowed),
        why_not_monotone=_why_not_monotone(beside, allowed),
        why_nothing=why_nothing,
        why_anyway=why_out_of_season(scenario, begins),
        smallest=main.smallest,
    )


def allowed_years(sizing: Sizing, n_years: int) -> int:
    """Years of so many that may fail."""
    return math.floor(sizing.odds * n_years + 1e-9)


def _tried_beside(main: Tried, against: Sought, size: float) -> Tried:
    """Sizes tried beside one size of the other part; those of ``main`` when it has that size."""
    if math.isclose(size, size_of(main.supply, against), rel_tol=1e-12):
        return main
    return Tried(main.trial, with_size(main.supply, against, size), main.sought)


def _least(main: Tried, allowed: int, limits: tuple[int, int]) -> Least:
    """The answer, once all of its sizes were tried; ``limits`` are years that may fail."""
    size, less = least_size(main, allowed)
    fewest = main.best() if math.isnan(size) else math.nan
    outcome = main.outcome(fewest if math.isnan(size) else size)
    years = main.trial.named
    critical = () if math.isnan(size) else years(main.failing(less) & ~outcome.fails)
    again = _beyond(main, allowed)
    low, high = (least_size(main, n)[0] for n in limits)
    from_size = main.low if math.isnan(size) else size
    anyway = np.all([one.fails for x, one in main.known.items() if x >= from_size], axis=0)
    return Least(
        size=size,
        low=low,
        high=high,
        tried_less=less,
        critical_year=critical[0] if critical else None,
        failing_years=years(outcome.fails),
        fewest_at=fewest,
        fails_from=again,
        why_fails=""
        if math.isnan(again)
        else why_it_fails(outcome, main.outcome(again)),
        outcome=outcome,
        failing_anyway=years(anyway),
    )


def _curve(beside: Sequence[Tried], against: np.ndarray, allowed: int) -> tuple[Point, ...]:
    """The points, once all of their sizes were tried."""
    sizes = [least_size(tried, allowed)[0] for tried in beside]
    smaller = needs_more_than(sizes)
    return tuple(
        Point(
            against=float(x),
            size=size,
            fails_from=_beyond(tried, allowed),
            outcome=None if math.isnan(size) else tried.outcome(size),
            beside=than,
        )
        for x, tried, size, than in zip(against, beside, sizes, smaller, strict=True)
    )


def needs_more_than(sizes: Sequence[float]) -> list[int | None]:
    """For each of the least sizes, the number of one before it that is less, by more than the
    search is sure of: the least such; None where there is none. NaN, nothing suffices, is more
    than any.
    """
    out: list[int | None] = []
    least: int | None = None
    for i, size in enumerate(sizes):
        more = least is not None and not size * (1.0 - TOLERANCE) <= sizes[least]
        out.append(least if more else None)
        if not math.isnan(size) and (least is None or size < sizes[least]):
            least = i
    return out


def _why_not_monotone(beside: Sequence[Tried], allowed: int) -> str:
    """Why the first point that needs more than one before it does; "" when none does.

    Both are tried with what suffices for the one before.
    """
    sizes = [least_size(tried, allowed)[0] for tried in beside]
    for i, before in enumerate(needs_more_than(sizes)):
        if before is not None:
            kept, failed = (beside[j].outcome(sizes[before]) for j in (before, i))
            return why_it_fails(kept, failed)
    return ""


UNITS = {"storage": "m3", "source rate": "m3 h-1", "allowance": "m3", "catchment area": "m2"}


def sizing_dataset(solved: SizingResult) -> xr.Dataset:
    """The answer of a sizing as variables that say what they are; NaN where there is none."""
    sizing, least = solved.sizing, solved.least
    unit = UNITS[sizing.find.what]
    sought = named_size(sizing.find)
    year = math.nan if least.critical_year is None else float(least.critical_year)
    out = xr.Dataset()
    for name, value, units, meaning in (
        ("size", least.size, unit, f"least {sought}"),
        ("low", least.low, unit, f"least {sought}, lower 90% limit"),
        ("high", least.high, unit, f"least {sought}, upper 90% limit"),
        ("as_given", solved.stated_size, unit, f"{sought} of the scenario"),
        ("tried_less", least.tried_less, unit, f"{sought} just below the least, which fails"),
        ("fewest_at", least.fewest_at, unit, f"{sought} with the fewest failing years"),
        ("fails_from", least.fails_from, unit, f"larger {sought} that fails again"),
        ("deciding_year", year, "1", "critical year: fails first with the next smaller size"),
        ("failing_years", len(least.failing_years), "1", "years that fail with the least size"),
        ("failing_anyway", len(least.failing_anyway), "1", "years that fail with any size tried"),
        ("failing_given", len(solved.failing_at_stated_size), "1", "years that fail as given"),
        ("allowed_years", solved.allowed_years, "1", "years that may fail"),
        ("years", solved.n_years, "1", "years tried"),
    ):
        out[f"sizing_{name}"] = ((), float(value), {"units": units, "long_name": meaning})
    out["sizing_fails_from"].attrs["why"] = least.why_fails
    for name, years in (
        ("failing_years", least.failing_years), ("failing_anyway", least.failing_anyway),
    ):  # fmt: skip
        out[f"sizing_{name}"].attrs["which"] = ", ".join(map(str, years))
    out["sizing_failing_anyway"].attrs["why"] = solved.why_anyway
    if solved.why_nothing:
        out["sizing_size"].attrs["why"] = solved.why_nothing
    if solved.smallest > (0.0 if math.isnan(sizing.find.low) else sizing.find.low):
        storage = solved.least.outcome.supply.storage
        assert storage is not None
        out["sizing_smallest"] = (
            (), solved.smallest,
            {
                "units": unit, "long_name": f"smallest {sought} of its depth and side slope",
                "depth_mm": 1000.0 * storage.depth_m, "side_slope": storage.side_slope,
            },
        )  # fmt: skip
    cases = (solved.outcome_at_stated_size, least.outcome)
    out = out.merge(_outcomes(cases, solved.scenario, "sizing", "sizing_case"))
    out = out.assign_coords(sizing_case=["as given", "least"])
    if sizing.against is not None:
        points = solved.curve
        smaller = [p.beside is not None for p in points]
        for name, values, units, meaning in (
            ("against", [p.against for p in points], UNITS[sizing.against.what],
             named_size(sizing.against)),
            ("curve", [p.size for p in points], unit, f"least {sought}"),
            ("curve_fails_from", [p.fails_from for p in points], unit,
             f"larger {sought} that fails again"),
            ("not_monotone", smaller, "1",
             f"whether a smaller {named_size(sizing.against)} needs less {sought}"),
        ):  # fmt: skip
            attrs = {"units": units, "long_name": meaning}
            out[f"sizing_{name}"] = ("point", np.array(values, float), attrs)
        if any(smaller):
            first = smaller.index(True)
            out["sizing_not_monotone"].attrs |= {
                "point": first, "beside": points[first].beside, "why": solved.why_not_monotone,
            }  # fmt: skip
        of_points = [p.outcome for p in points]
        out = out.merge(_outcomes(of_points, solved.scenario, "sizing_curve", "point"))
    out.attrs["sizing_plan"] = sizing.plan
    out.attrs["sizing"] = goal_text(solved.scenario)
    return out


def _outcomes(
    outcomes: Sequence[Outcome | None], scenario: Scenario, prefix: str, along: str
) -> xr.Dataset:
    """Where the water of sizes comes from and, with prices, what it costs; NaN without outcome."""
    supply, costs = scenario.supply, scenario.costs
    assert supply is not None
    money = costs.currency
    none = np.full(len(supply.sources), math.nan)
    numbers: list[tuple[str, Callable[[Outcome], float], str, str]] = [
        ("delivered", lambda one: one.delivered, "m3", "water delivered in the mean year"),
        ("from_storage", lambda one: one.from_storage, "m3", "part of it out of storage"),
        ("runoff", lambda one: one.runoff, "m3", "runoff into storage in the mean year"),
        ("rain", lambda one: one.rain, "m3", "rain on storage in the mean year"),
    ]
    is_priced = costs.storage_price_m3 > 0.0
    has_tariff = bool(costs.water) or any(source.tariff for source in supply.sources)
    if is_priced or has_tariff or costs.energy_price_kwh > 0.0:
        numbers += [
            ("energy", lambda one: one.energy_kwh, "kWh", "energy of pumping in the mean year"),
            ("yearly_cost", lambda one: one.yearly_cost, money,
             "price of water and energy in the mean year"),
        ]  # fmt: skip
    if is_priced:
        numbers.append(
            ("first_cost", lambda one: one.first_cost(costs), money, "price of the storage")
        )
    if is_priced and has_life(costs):
        numbers.append(
            ("present_cost", lambda one: one.present_cost(costs), money,
             "price of the storage, and of water and energy of its life, in money of today")
        )  # fmt: skip
    out = xr.Dataset(coords={"source": [source.key for source in supply.sources]})
    for name, value, units, meaning in numbers:
        values = [math.nan if one is None else value(one) for one in outcomes]
        out[f"{prefix}_{name}"] = (along, values, {"units": units, "long_name": meaning})
    by_source: list[tuple[str, Callable[[Outcome], np.ndarray], str]] = [
        ("direct", lambda one: one.direct, "part of the water delivered straight from each source"),
        ("filled", lambda one: one.filled, "water that each source puts into storage"),
    ]
    for name, of_sources, meaning in by_source:
        parts = np.array([none if one is None else of_sources(one) for one in outcomes])
        attrs = {"units": "m3", "long_name": meaning}
        out[f"{prefix}_{name}"] = ((along, "source"), parts, attrs)
    return out


class Sites(Protocol):
    """The sites of runs that go side by side through the same stretches of weather."""

    def shared(self, k: int) -> PreparedSite:
        """The site that the runs share on stretch ``k``; stretches are requested in order."""

    def own(self, b: int, shared: PreparedSite) -> PreparedSite:
        """The site of run ``b``, with its scenario and its fields among those ``shared``."""


@dataclass(frozen=True)
class _SameSite:
    """Runs that differ in nothing but the size of the supply."""

    prepared: Sequence[PreparedSite]

    def shared(self, k: int) -> PreparedSite:
        return self.prepared[k]

    def own(self, b: int, shared: PreparedSite) -> PreparedSite:
        return shared


class Trial:
    """A plan on prepared years, run again and again with other sizes of the supply.

    A subclass that prepares the years otherwise, or tries sizes for several scenarios at once,
    replaces ``weather``, ``years``, ``scenarios``, ``sites_of`` and ``supply_days_of``.
    """

    def __init__(self, scenario: Scenario, years: tuple[int, int] | None = None) -> None:
        self._take(scenario)
        prepared = tuple(stretches(self.scenario, weather_series(self.scenario), years))
        self._same = _SameSite(prepared)
        self._supply_days = [supply_days(scenario, at.weather, at.calendar) for at in prepared]
        self.weather: Sequence[PreparedSite | WeatherStretch] = prepared
        self.years = prepared[0].years
        self.scenarios: Sequence[Scenario] = (self.scenario,)

    def _take(self, scenario: Scenario) -> None:
        """Set the goal, the scenario that counts it, and the places of the fields it judges."""
        assert scenario.sizing is not None
        self.sizing = scenario.sizing
        self.scenario = counting(scenario, self.sizing)
        self.judged = judged_fields(scenario)

    def sites_of(self, which: Sequence[int]) -> Sites:
        """The sites of runs of the scenarios ``which``, one for each run."""
        return self._same

    def supply_days_of(self, which: int, k: int) -> SupplyDays:
        """What the days of stretch ``k`` are to the supply of a scenario."""
        return self._supply_days[k]

    def outcomes(
        self, supplies: Sequence[SupplySpec], which: Sequence[int] | None = None
    ) -> list[Outcome]:
        """What the years do under each supply, in the scenario ``which`` of each.

        Without ``which`` all are of the first. The supplies differ from their scenario's only in
        size, and go side by side.
        Years are run a second time when the storage ends lower than it began. Storage that starts
        full would otherwise lend its first filling to the years: a sequent peak is taken over two
        cycles for the same reason (Loucks & van Beek 2017, chapter 11). The second cycle ends
        where it meets the first: from there on every day is the same. A year that is run twice
        counts as it went the second time.
        """
        which = [0] * len(supplies) if which is None else which
        sites = self.sites_of(which)
        cases = [
            _Case(b, one, replace(self.scenarios[one], supply=supply))
            for b, (one, supply) in enumerate(zip(which, supplies, strict=True))
        ]
        runs = self._start(sites, cases)
        before = _held(runs)
        passed = []
        for k in range(len(self.weather)):
            self._advance(k, sites, cases, runs)
            passed.append((_held(runs), runs.patches.copy()))
        fails, missed, end = self._not_kept(runs), _missed_m3(runs), _held(runs)
        left = np.flatnonzero(end < before * (1.0 - 1e-9))
        if left.size:
            again = self._start(sites, [cases[b] for b in left])
            again.supply.storage.volume[:, 0] = end[left]
        for k, (held, patches) in enumerate(passed):
            if not left.size:
                break
            self._advance(k, sites, [cases[b] for b in left], again)
            weather = self.weather[k]
            here = np.unique(weather.calendar.year[weather.from_day :])
            here = here[here >= 0]
            twice = np.ix_(left, here)
            fails[twice] = self._not_kept(again)[:, here]
            missed[twice] = _missed_m3(again)[:, here]
            runs.supply.years[twice] = again.supply.years[:, here]
            runs.supply.draws[twice] = again.supply.draws[:, here]
            met = np.abs(_held(again) - held[left]) <= 1e-9 * before[left]
            met &= _same(again.patches, patches[left].view(np.recarray))
            left, again = left[~met], again.some(np.flatnonzero(~met))
        costs, years, draws = self.scenario.costs, runs.supply.years, runs.supply.draws
        return [
            outcome_of(supply, costs, fails[b], missed[b], years[b], draws[b])
            for b, supply in enumerate(supplies)
        ]

    def first_days(self, supply: SupplySpec, years: Sequence[int]) -> dict[int, int]:
        """The day of the year, 0 to 365 of a leap year, on which the stage that fails begins, for
        each of ``years`` in which it comes; nothing for a shortage.
        """
        sizing, answers = self.sizing, self.scenario.answers
        out: dict[int, int] = {}
        if sizing.outcome not in STAGES or not years:
            return out
        sites = self.sites_of([0])
        cases = [_Case(0, 0, replace(self.scenarios[0], supply=supply))]
        runs = self._start(sites, cases)
        for k, weather in enumerate(self.weather):
            calendar = weather.calendar
            # A stretch leads in with days of years before it; they were counted there.
            counted_days = np.arange(calendar.size) >= weather.from_day
            at = {
                year: np.flatnonzero((calendar.year == self.years.index(year)) & counted_days)
                for year in years
            }
            days = np.sort(np.concatenate(list(at.values())))
            self._advance(k, sites, cases, runs, days)
            for year, here in at.items():
                if not here.size:
                    continue
                shares = runs.trace[sizing.outcome][0, np.searchsorted(days, here)]
                above = shares[:, self.judged] > sizing.share
                counts = above & (calendar.in_season[here] > 0)[:, None]
                windows = sliding_window_view(counts, answers.reached_days, axis=0)
                spells = np.asarray(windows.all(axis=-1))
                if not spells.any():
                    continue
                counted = int(spells.any(axis=1).argmax())
                # It may have begun before the days that count.
                below = np.flatnonzero(~above[:counted, int(spells[counted].argmax())])
                first = int(below[-1]) + 1 if below.size else 0
                out[year] = int(calendar.day_of_year[here[first]])
        return out

    def run_sizes(self, requested: Sequence[tuple[Tried, float]]) -> None:
        """Run sizes that searches requested, side by side, and add them to what these know."""
        supplies = [tried.supply_with(size) for tried, size in requested]
        outcomes = self.outcomes(supplies, [tried.which for tried, _ in requested])
        for (tried, size), outcome in zip(requested, outcomes, strict=True):
            tried.known[size] = outcome

    def _start(self, sites: Sites, cases: Sequence[_Case]) -> Runs:
        shared, plan = sites.shared(0), self.sizing.plan
        own = [replace(sites.own(one.run, shared), scenario=one.scenario) for one in cases]
        return start_runs([(site, site.scenario.plan_named(plan)) for site in own])

    def _advance(
        self, k: int, sites: Sites, cases: Sequence[_Case], runs: Runs, trace: Days = slice(0, 0)
    ) -> None:
        """Take runs through stretch ``k``, each on the supply of its scenario; ``trace`` are the
        days of the ledger.
        """
        days = (self.supply_days_of(one.which, k) for one in cases)
        inputs = [sized_input(one.scenario, on) for one, on in zip(cases, days, strict=True)]
        runs.supply_of = np.arange(len(cases))
        advance_all(replace(sites.shared(k), supply=supplies_alongside(inputs)), runs, trace)

    def _not_kept(self, runs: Runs) -> np.ndarray:
        """Years of runs that fail, by each field judged (B, Y, J); a shortage has J = 1."""
        sizing = self.sizing
        if sizing.outcome == "shortage":
            demand, short = runs.supply.years.demand, runs.supply.years.shortage
            # Rounding is no shortage.
            fails = short > sizing.share * demand + 1e-9 * (1.0 + demand)
            return np.asarray(fails)[..., None]
        spells = runs.years[f"longest_{sizing.outcome}"][:, self.judged]
        return np.asarray(spells >= self.scenario.answers.reached_days).swapaxes(1, 2)

    def named(self, years: np.ndarray) -> tuple[int, ...]:
        return tuple(year for year, fails in zip(self.years, years, strict=True) if fails)


@dataclass(frozen=True)
class _Case:
    """A size to be run: the place of its run, which of the scenarios, and that with the size."""

    run: int
    which: int
    scenario: Scenario


def judged_fields(scenario: Scenario) -> list[int]:
    """Places of the fields of turf that the scenario's sizing judges; none for a shortage."""
    sizing = scenario.sizing
    assert sizing is not None
    if sizing.outcome not in STAGES:
        return []
    named = (ANY_FIELD,) if sizing.field == "" else (sizing.field,)
    found = [
        i
        for i, one in enumerate(scenario.fields)
        if one.surface == TURF and (one.key in named or ANY_FIELD in named)
    ]
    if not found:
        raise FaultyInput(
            Fault("sizing.keep.field", f"'{named[0]}' has no turf to judge", "a field of turf")
        )
    return found


def counting(scenario: Scenario, sizing: Sizing) -> Scenario:
    """The scenario with its spells counted at the share of the field that the sizing states."""
    if sizing.outcome not in STAGES:
        return scenario
    # The outcome passes its share, and a stage is reached from its share on.
    passed = float(np.nextafter(sizing.share, np.inf))
    reached = {**scenario.answers.reached, sizing.outcome: passed}
    return replace(scenario, answers=replace(scenario.answers, reached=reached))


class Untried(Exception):
    """A search needs sizes that were not run yet."""

    def __init__(self, tried: Tried, sizes: Sequence[float]) -> None:
        self.requested = [(tried, size) for size in sizes]


class Tried:
    """What was found by trying sizes of ``sought`` in a supply; each size is run once only.

    ``which`` of the trial's scenarios the supply is of. Sizes start at ``low``; the least above
    nothing is ``smallest``.
    """

    smallest = 0.0

    def __init__(self, trial: Trial, supply: SupplySpec, sought: Sought, which: int = 0) -> None:
        self.trial, self.supply, self.sought, self.which = trial, supply, sought, which
        self.smallest = smallest_size(supply, sought)
        # Nothing at all can be tried beside sizes that there can be.
        self.low = max(sought.low, self.smallest) if sought.low > 0.0 else 0.0
        self.most = max(_most(trial, sought), self.smallest)
        self.known: dict[float, Outcome] = {}

    def supply_with(self, size: float) -> SupplySpec:
        return with_size(self.supply, self.sought, size)

    def need(self, sizes: Sequence[float]) -> None:
        """``Untried`` unless all sizes are known."""
        unknown = [size for size in sizes if size not in self.known]
        if unknown:
            raise Untried(self, unknown)

    def outcome(self, size: float) -> Outcome:
        """What the years do with ``size``; ``Untried`` when it was not run yet."""
        self.need([size])
        return self.known[size]

    def failing(self, size: float) -> np.ndarray:
        """Years (Y,) that fail with ``size``; ``Untried`` when it was not run yet."""
        return self.outcome(size).fails

    def count(self, size: float) -> int:
        return int(self.failing(size).sum())

    def rungs(self) -> list[float]:
        """Sizes from the smallest to the largest: that of the scenario, doubled and halved."""
        start = size_of(self.supply, self.sought)
        if not self.low < start <= self.most:
            start = math.sqrt(max(self.low, self.most * 2.0**-_HALVINGS) * self.most)
        ups = math.ceil(math.log2(self.most / start)) if self.most > start else 0
        between = [self.smallest, *(start * 2.0**k for k in range(-_HALVINGS, ups))]
        least = max(self.low, self.smallest)
        some = (x for x in between if self.low < x and least <= x < self.most)
        # The stated size may be the smallest, or halve to it.
        return sorted({self.low, *some, self.most})

    def best(self) -> float:
        """The size tried with the fewest failing years, the smallest such."""
        sizes = [size for size in self.known if self.low <= size <= self.most]
        return min(sorted(sizes), key=self.count)


def go_through(
    searches: Sequence[Callable[[], object]],
    trial: Trial,
    workers: int,
    on_progress: Callable[[float], None] | None,
) -> None:
    """Run every size that the searches request, until all of them end.

    A search stops at the first size that was not run yet, and later begins anew from what is
    known. So the sizes of all searches can be run side by side.
    """
    left = list(searches)
    with ThreadPoolExecutor(workers) as pool:
        while left:
            stopped_at = 0.0
            requested: dict[tuple[Tried, float], None] = {}
            stopped = []
            for search in left:
                try:
                    search()
                except Untried as untried:
                    stopped.append(search)
                    tries = max(len(tried.known) for tried, _ in untried.requested)
                    stopped_at += min(tries / _USUAL_TRIES, _NEARLY)
                    requested.update(dict.fromkeys(untried.requested))
            left = stopped
            if on_progress is not None:
                on_progress(1.0 - (len(left) - stopped_at) / len(searches))
            list(pool.map(trial.run_sizes, in_groups(list(requested), workers)))


def _held(runs: Runs) -> np.ndarray:
    """Water in storage of each run (B,), m3."""
    return runs.supply.storage.volume[:, 0].copy()


def _missed_m3(runs: Runs) -> np.ndarray:
    """Shortage of all fields of runs by year and cause (B, Y, causes), m3."""
    per_mm = runs.delivery.area_m2[..., None, None] / 1000.0
    return np.asarray((runs.years["shortage_cause"] * per_mm).sum(axis=1))


def _same(one: np.recarray, other: np.recarray) -> np.ndarray:
    """Whether patches (B, ...) of runs are the same (B,)."""
    names = one.dtype.names or ()
    near = [np.isclose(one[n], other[n], rtol=1e-9, atol=1e-9).all(axis=(1, 2)) for n in names]
    return np.all(near, axis=0)


def size_of(supply: SupplySpec, sought: Sought) -> float:
    """The size that ``sought`` names, as the supply has it now; inf when it has no limit."""
    if sought.what == "storage":
        return supply.storage.volumes_m3[-1] if supply.storage else 0.0
    if sought.what == "catchment area":
        return next(c.area_m2 for c in supply.catchments if c.key == sought.of)
    source = next(s for s in supply.sources if s.key == sought.of)
    if sought.what == "allowance":
        return source.allowance_m3.get(sought.per, math.inf)
    return source.rate_m3_h


def smallest_size(supply: SupplySpec, sought: Sought) -> float:
    """The least size above nothing that there can be: of a pond with a depth and side slope."""
    storage = supply.storage
    if sought.what != "storage" or storage is None or math.isnan(storage.depth_m):
        return 0.0
    return least_square_pond_m3(storage.depth_m, storage.side_slope)


def with_size(supply: SupplySpec, sought: Sought, size: float) -> SupplySpec:
    """The supply with one size changed; a pond keeps its depth and side slope, or grows in plan."""
    if sought.what == "storage":
        return replace(supply, storage=_storage_of(supply, size))
    if sought.what == "catchment area":
        catchments = tuple(
            replace(c, area_m2=size) if c.key == sought.of else c for c in supply.catchments
        )
        return replace(supply, catchments=catchments)
    sources = []
    for source in supply.sources:
        if source.key == sought.of:
            if sought.what == "allowance":
                allowance = {**source.allowance_m3, sought.per: size}
                source = replace(source, allowance_m3=allowance)
            else:
                source = replace(source, rate_m3_h=size)
        sources.append(source)
    return replace(supply, sources=tuple(sources))


def _storage_of(supply: SupplySpec, size: float) -> StorageSpec:
    """The supply's storage with another capacity (m3); ValueError below the smallest pond."""
    storage = supply.storage
    assert storage is not None
    times = size / storage.volumes_m3[-1]
    if math.isnan(storage.depth_m) or size == 0.0:
        volumes, areas = (times * np.array(v) for v in (storage.volumes_m3, storage.areas_m2))
    else:
        volumes, areas = square_pond(size, storage.depth_m, storage.side_slope)
    return replace(
        storage,
        volumes_m3=tuple(volumes.tolist()),
        areas_m2=tuple(areas.tolist()),
        dead_m3=storage.dead_m3 * times,
    )


def least_size(tried: Tried, allowed: int) -> tuple[float, float]:
    """The least size with no more than ``allowed`` failing years, and one just below that fails.

    Both in base units; NaN and NaN when no size suffices; the smallest size of the search, twice,
    when that does already. Rests on the sizes that keep the outcome being one span: from one of
    them the way down leads to the least. Halving keeps to sizes that were tried.
    """

    def keeps(size: float) -> bool:
        return tried.count(size) <= allowed

    rungs = tried.rungs()
    if keeps(rungs[0]):
        return rungs[0], rungs[0]
    stated = size_of(tried.supply, tried.sought)
    middle = rungs.index(stated) if stated in rungs else len(rungs) // 2
    found = next((i for i in range(middle, len(rungs)) if keeps(rungs[i])), None)
    if found is None:
        # The stated size is far from enough, or more than is good: any of these may do.
        tried.need(rungs[:middle])
        found = next((i for i in range(middle) if keeps(rungs[i])), None)
    if found is None:
        low, high = _between_rungs(tried, rungs, allowed)
        if math.isnan(high):
            return math.nan, math.nan
    else:
        while keeps(rungs[found - 1]):
            found -= 1
        low, high = rungs[found - 1], rungs[found]
    while high - low > TOLERANCE * high and high > tried.smallest:
        half = max(0.5 * (low + high), tried.smallest)
        low, high = (low, half) if keeps(half) else (half, high)
    return high, low


def _beyond(tried: Tried, allowed: int) -> float:
    """The least rung above the least size that fails again; NaN when none does.

    Where the largest keeps the outcome all of them do, since sizes that keep it are one span.
    """
    size, _ = least_size(tried, allowed)
    larger = [x for x in tried.rungs() if x > size]
    if larger and tried.count(larger[-1]) > allowed:
        tried.need(larger)
    some = (x for x in larger if x in tried.known and tried.count(x) > allowed)
    return min(some, default=math.nan)


def _between_rungs(tried: Tried, rungs: list[float], allowed: int) -> tuple[float, float]:
    """A failing size, and one that keeps the outcome although no rung does; NaN when none is found.

    The span may be narrower than the step from rung to rung: the search goes on both sides of
    the size with the fewest failing years, ever closer.
    """
    near = sorted(rungs)
    while True:
        best = min(near, key=tried.count)
        at = near.index(best)
        # Beside nothing at all, a share of it would never be close enough.
        closest = _CLOSEST * max(best, rungs[:2][-1])
        gaps = [
            x
            for x in near[max(at - 1, 0) : at + 2]
            if abs(x - best) > closest and 0.5 * (x + best) > tried.smallest
        ]
        if not gaps:
            return math.nan, math.nan
        halves = [0.5 * (best + other) for other in gaps]
        tried.need(halves)
        for size in halves:
            if tried.count(size) <= allowed:
                return max(x for x in near if x < size), size
            near.append(size)
        near.sort()


def _most(trial: Trial, sought: Sought) -> float:
    """The size beyond which nothing more is gained: the scenario's, or one above any demand.

    Storage, an allowance or a year's source never need more than three times the largest demand
    of a year; a rate never needs more than that of a day.
    """
    if not math.isnan(sought.high):
        return sought.high
    area_m2 = sum(f.area_m2 for f in trial.scenario.fields)
    year_m3 = 3.0 * area_m2  # 1,000 mm over all fields, three times
    if sought.what == "source rate":
        return area_m2 * 0.025 * 2.0  # two inches in an hour: no system puts out more
    if sought.what == "catchment area":
        return 1000.0 * area_m2
    return year_m3


def _points(supply: SupplySpec, sizing: Sizing) -> np.ndarray:
    """Sizes (points,) of the other axis, from low to high; a half to double when not stated."""
    against = sizing.against
    assert against is not None
    now = size_of(supply, against)
    low = 0.5 * now if math.isnan(against.low) else against.low
    high = 2.0 * now if math.isnan(against.high) else against.high
    if not math.isfinite(low + high):
        meaning = f"the {against.what} has no limit in the scenario to vary about"
        raise FaultyInput(Fault("sizing.against", meaning, "low and high"))
    return np.linspace(max(low, smallest_size(supply, against)), high, sizing.points)
