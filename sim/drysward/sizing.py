"""How large a store, source, allowance or catchment must be for the turf to come through.

The daily simulation itself decides: a size is tried by running a plan over all years with it,
and the least size that keeps the wanted outcome is closed in on by halving. Every size is tried
on the same weather years.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from drysward.day.compiled import compiled_run_site
from drysward.day.records import STAGES
from drysward.ensemble import PlanRun, advance, start_run
from drysward.faults import Fault, FaultyInput
from drysward.scenario.model import Scenario, Sizing, Sought, SupplySpec
from drysward.site import PreparedSite, stretches
from drysward.supply.arrays import supply_input
from drysward.weather_years import weather_series

# The least size is told to this part of itself; a shade less is known to fail.
TOLERANCE = 0.005
_DOUBLINGS = 40
_BAND = (0.05, 0.95)


@dataclass(frozen=True)
class Least:
    """The least size that keeps the outcome, in base units (m3, m3/h, m2).

    NaN when no size does; ``failing_years`` are then those that fail however large it is. ``low``
    and ``high`` are 90 % limits for the chance of the years: sizes that keep the outcome when
    as few, or as many, years may fail as that many years of the wanted odds would bring.
    ``tried_less`` is a size just below that fails, and ``deciding_year`` the year that then
    fails beside those allowed.
    """

    size: float
    low: float
    high: float
    tried_less: float
    deciding_year: int | None
    failing_years: tuple[int, ...]


@dataclass(frozen=True)
class SizingResult:
    """Answer of a sizing, and the curve (points,) of ``least`` against the other size."""

    sizing: Sizing
    n_years: int
    allowed_years: int
    as_given: float
    failing_as_given: tuple[int, ...]
    least: Least
    against: np.ndarray
    curve: np.ndarray


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
    allowed = math.floor(sizing.odds * n + 1e-9)
    looser, stricter = (int(stats.binom.ppf(q, n, sizing.odds)) for q in reversed(_BAND))
    given = size_of(scenario.supply, sizing.find)
    compiled_run_site()

    tasks: list[tuple[SupplySpec, int]] = [
        (scenario.supply, allowed),
        (scenario.supply, looser),
        (scenario.supply, stricter),
    ]
    against = np.zeros(0)
    if sizing.against is not None:
        against = _points(scenario.supply, sizing)
        tasks += [(with_size(scenario.supply, sizing.against, x), allowed) for x in against]
    done = 0

    def one(task: tuple[SupplySpec, int]) -> tuple[float, float]:
        nonlocal done
        found = least_size(trial, task[0], sizing.find, task[1])
        done += 1
        if on_progress is not None:
            on_progress(done / len(tasks))
        return found

    with ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        found = list(pool.map(one, tasks))
    (size, less), (low, _), (high, _) = found[:3]
    if math.isnan(size):
        failing = trial.failing(with_size(scenario.supply, sizing.find, _most(trial, sizing.find)))
        least = Least(size, low, high, math.nan, None, trial.named(failing))
    else:
        kept = trial.failing(with_size(scenario.supply, sizing.find, size))
        lost = trial.failing(with_size(scenario.supply, sizing.find, less)) if less > 0 else kept
        decides = trial.named(lost & ~kept)
        least = Least(
            size, low, high, less, decides[0] if decides else None, trial.named(kept)
        )
    return SizingResult(
        sizing=sizing,
        n_years=n,
        allowed_years=allowed,
        as_given=given,
        failing_as_given=trial.named(trial.failing(scenario.supply)),
        least=least,
        against=against,
        curve=np.array([size for size, _ in found[3:]]),
    )


class Trial:
    """A plan on prepared years, run again and again with other sizes of the supply."""

    def __init__(self, scenario: Scenario, years: tuple[int, int] | None = None) -> None:
        assert scenario.sizing is not None
        self.scenario = scenario
        self.sizing = scenario.sizing
        self.plan = scenario.plan_named(self.sizing.plan)
        self.sites = tuple(stretches(scenario, weather_series(scenario), years))
        self.years = self.sites[0].years
        whole = [f.key for f in scenario.fields]
        self.place = whole.index(self.sizing.field) if self.sizing.field else 0

    def run(self, supply: SupplySpec) -> PlanRun:
        """The plan over all years; a second time when the store ends lower than it began.

        A store that starts full would otherwise lend its first filling to the years: a sequent
        peak is taken over two cycles for the same reason (Loucks & van Beek 2017, chapter 11).
        """
        scenario = replace(self.scenario, supply=supply)
        sites = [_with_supply(site, scenario) for site in self.sites]
        run = start_run(sites[0], self.plan)
        before = float(run.supply.store.volume[0])
        for site in sites:
            advance(site, run)
        after = float(run.supply.store.volume[0])
        if after < before * (1.0 - 1e-9):
            run = start_run(sites[0], self.plan)
            run.supply.store.volume = after
            for site in sites:
                advance(site, run)
        return run

    def failing(self, supply: SupplySpec) -> np.ndarray:
        """Years (Y,) in which the outcome is not kept, true or false."""
        run, sizing = self.run(supply), self.sizing
        if sizing.outcome == "shortage":
            asked, short = run.supply.years.asked, run.supply.years.shortage
            return np.asarray(short > sizing.share * asked)
        assert sizing.outcome in STAGES
        return np.asarray(run.years[f"peak_{sizing.outcome}"][self.place] > sizing.share)

    def named(self, years: np.ndarray) -> tuple[int, ...]:
        return tuple(year for year, fails in zip(self.years, years, strict=True) if fails)


def _with_supply(site: PreparedSite, scenario: Scenario) -> PreparedSite:
    given = supply_input(scenario, site.weather, site.calendar)
    return replace(site, scenario=scenario, supply=given)


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


def with_size(supply: SupplySpec, sought: Sought, size: float) -> SupplySpec:
    """The supply with one size changed; a pond keeps its depths and grows in plan."""
    if sought.what == "storage":
        storage = supply.storage
        assert storage is not None
        times = size / storage.volumes_m3[-1]
        grown = replace(
            storage,
            volumes_m3=tuple(v * times for v in storage.volumes_m3),
            areas_m2=tuple(a * times for a in storage.areas_m2),
            dead_m3=storage.dead_m3 * times,
        )
        return replace(supply, storage=grown)
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


def least_size(
    trial: Trial, supply: SupplySpec, sought: Sought, allowed: int
) -> tuple[float, float]:
    """The least size with no more than ``allowed`` failing years, and one just below that fails.

    Both in base units; NaN and NaN when no size suffices, 0 and 0 when none is needed. Rests on
    more water never making a year fail; halving keeps to sizes that were tried.
    """

    def keeps(size: float) -> bool:
        return int(trial.failing(with_size(supply, sought, size)).sum()) <= allowed

    low = 0.0 if math.isnan(sought.low) else sought.low
    if keeps(low):
        return low, low
    most = _most(trial, sought)
    high = size_of(supply, sought)
    if not (math.isfinite(high) and low < high <= most):
        high = most
    while not keeps(high):
        if high >= most:
            return math.nan, math.nan
        low, high = high, min(2.0 * high, most)
    while high - low > TOLERANCE * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return high, low


def _most(trial: Trial, sought: Sought) -> float:
    """The size beyond which nothing more is gained: the scenario's, or more than all is asked.

    A store, allowance or year's source need never exceed three times what a year can ask for;
    a rate never what a day can.
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
        told = f"the {against.what} has no limit in the scenario to vary about"
        raise FaultyInput(Fault("sizing.against", told, "low and high"))
    return np.linspace(low, high, sizing.points)
