"""Runs of plans through the years: their state and their results so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import partial
from itertools import pairwise
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from drysward.day.lanes import LANES
from drysward.day.loop import IS_OF_FEEDING, IS_OF_PLAY, Batch, Scratch
from drysward.day.records import (
    CALENDAR_DAYS,
    CAUSES,
    FEED_YEAR,
    FIELD_STATE,
    MONTHS,
    PATCH,
    PLAN,
    PLAY_YEAR,
    STAGES,
    SUPPLY_TRACE,
    TRACE,
    YEAR,
    as_values,
    records,
)
from drysward.day.supply import SupplyState
from drysward.drive.batches import batch_of, day_input_of, tally_of, write_back
from drysward.drive.mornings import run_at_once, run_by_day
from drysward.drive.windows import compiled_run_site, run_windows
from drysward.physics.arithmetic import NO_LESS
from drysward.scenario.model import PlanSpec
from drysward.site.plans import write_plan
from drysward.site.stretches import PreparedSite
from drysward.site.supply import start_supply

T = TypeVar("T")
Days = slice | NDArray[np.int64]  # of a stretch, by index

# Plans that are stepped side by side: they fill whole blocks of lanes, each with one field, on
# which the same is done on the same days.
PLANS_TOGETHER = LANES
LONG_AGO_DAYS = 10_000.0
# Largest water balance error of a day and patch; a larger one is a fault of the program.
ACCOUNT_TOLERANCE_MM = 1e-9
SUPPLY_TOLERANCE_M3 = 1e-6
NITROGEN_TOLERANCE = 1e-9  # kg/ha
# The loop writes these for fields with play, and for fed ones; of others they are not known. Ground
# without use is not worn, and the covers of a field add up to 1.
_NOT_OF_EVERY_FIELD = (IS_OF_PLAY | IS_OF_FEEDING) & (np.array(TRACE.names) != "worn")


class Windows(Protocol):
    """What takes runs through days in place of ``run_windows``; it ``counts_days`` of the year, or
    leaves odds and green cover as they were.
    """

    counts_days: bool

    def __call__(self, *arguments: Any) -> None: ...


@dataclass(eq=False, kw_only=True)
class _Gathered:
    """State of plans on their way through the years, and their results so far.

    ``columns`` (..., F) and ``supply_of`` (...): the fields and the supply of a stretch that each
    plan uses. ``catches`` and ``reaches`` (..., F, P): share of the mean irrigation that each patch
    catches, and of the root zone that its roots reach. PATCH (..., F, P) and FIELD_STATE (..., F)
    are carried from stretch to stretch. YEAR, PLAY_YEAR and
    FEED_YEAR (..., F, Y), odds (..., F, 4, 366) and
    the sum of green cover (..., F, 366) and shortage (..., F, 12, causes), mm by month and cause,
    are results; TRACE (..., T, F) is the daily ledger last requested. ``left_unfinished``
    (..., F): counted days on which a function demanded more than one watering puts on.
    """

    plans: np.recarray
    delivery: np.recarray
    catches: np.ndarray
    reaches: np.ndarray
    columns: np.ndarray
    supply_of: np.ndarray
    patches: np.recarray
    states: np.recarray
    supply: SupplyState
    play: np.recarray
    fed: np.recarray
    years: np.recarray
    odds: np.ndarray
    green: np.ndarray
    shortage: np.ndarray
    trace: np.recarray
    left_unfinished: np.ndarray

    def _at(self, place: int | np.ndarray | None) -> dict[str, Any]:
        """All arrays at places of their first axis, or with a new one when None."""
        return {
            part.name: SupplyState(*(array[place] for array in self.supply))
            if part.name == "supply"
            else getattr(self, part.name)[place]
            for part in fields(_Gathered)
        }


@dataclass(eq=False, kw_only=True)
class Runs(_Gathered):
    """B plans run together; the first axis of every array is the plan."""

    specs: tuple[PlanSpec, ...]

    def one(self, b: int) -> PlanRun:
        """Plan ``b`` only; the same memory."""
        return PlanRun(plan=self.specs[b], **self._at(b))

    def some(self, places: np.ndarray) -> Runs:
        """The plans at ``places`` only; a copy."""
        return Runs(specs=tuple(self.specs[b] for b in places), **self._at(places))

    def empty_years(self, n_years: int) -> None:
        """Results by year for a stretch of so many years, with nothing in them. One without a whole
        year has a line all the same, that nothing is written to.
        """
        shape = (*self.columns.shape, max(n_years, 1))
        self.years, self.play, self.fed = (
            records(kind, shape) for kind in (YEAR, PLAY_YEAR, FEED_YEAR)
        )
        years, draws, storage_month = (
            np.zeros_like(values, shape=(len(values), shape[-1], *values.shape[2:]))
            for values in (self.supply.years, self.supply.draws, self.supply.storage_month)
        )
        self.supply = self.supply._replace(
            years=years, draws=draws, storage_month=storage_month
        )


@dataclass(eq=False, kw_only=True)
class PlanRun(_Gathered):
    """One plan of ``Runs``: the arrays without the first axis."""

    plan: PlanSpec

    def alone(self) -> Runs:
        """Runs of this plan only; the same memory."""
        return Runs(specs=(self.plan,), **self._at(None))


def start_patches(
    site: PreparedSite, columns: NDArray[np.int64], share: NDArray[np.float64], n_patches: int
) -> np.recarray:
    """PATCH (B, F, P) of fields in ``columns`` (B, F), with a ``share`` (B,) of available water:
    established turf, or bare ground where it is skinned.
    """
    share = share[:, None]
    out = records(PATCH, (*columns.shape, n_patches))
    fields: Any = site.fields[columns]
    first: Any = site.days[0, columns]
    out.w1 = (fields.wp1 + share * (fields.fc1 - fields.wp1))[..., None]
    out.w2 = (first.wp2 + share * (first.fc2 - first.wp2))[..., None]
    out.crown_water = (fields.crown_wp + share * (fields.crown_fc - fields.crown_wp))[..., None]
    out.w3 = (first.wp3 + share * (first.fc3 - first.wp3))[..., None]
    bare = site.play.fields.skinned[columns][..., None] > 0.0
    out.green, out.worn = np.where(bare, 0.0, 1.0), np.where(bare, 1.0, 0.0)
    fed: Any = site.feed.fields[columns]
    parts = (fed.start_turf_n, fed.start_litter_n, fed.start_mineral_n)
    out.turf_n, out.litter_n, out.nitrate1 = (part[..., None] for part in parts)
    out.held_n = sum(parts)[..., None]
    dry_matter = np.where(bare, 0.0, fed.living[..., None])
    out.inv_dry_matter = 1.0 / np.maximum(dry_matter, NO_LESS)
    return out


def start_runs(
    starts: Sequence[tuple[PreparedSite, PlanSpec]], n_years: int | None = None
) -> Runs:
    """Plans on the first day of the first stretch, each on its site.

    The sites may differ only in columns, delivery, and plans and start of their scenarios.
    ``n_years`` is the number of years in the results, all when None.
    """
    first, _ = starts[0]
    columns = np.stack([site.columns for site, _ in starts])
    n_runs, n_fields = columns.shape
    n_years = len(first.years) if n_years is None else n_years
    catches = np.stack([site.catches for site, _ in starts])
    share = np.array([site.scenario.answers.start_soil_water for site, _ in starts])
    patches = start_patches(first, columns, share, catches.shape[-1])
    states = records(FIELD_STATE, (n_runs, n_fields))
    states.days_since_water = LONG_AGO_DAYS
    day = first.days[0, columns]
    held = (patches.w1 + patches.w2).mean(axis=-1)
    states.seen_deficit = first.fields.fc1[columns] + day.fc2 - held
    states.seen_depletion = states.seen_deficit * day.inv_taw
    states.seen_taw = day.taw
    states.seen_crown_wetness = 1.0
    states.seen_status = first.feed.fields.usual[columns]
    plans = records(PLAN, (n_runs, n_fields))
    for lines, (site, plan) in zip(plans, starts, strict=True):
        zones = (site.zones[column] for column in site.columns)
        grounds = zip(zones, site.catches.max(axis=-1), strict=True)
        for line, field, ground in zip(lines, site.scenario.fields, grounds, strict=True):
            write_plan(line, plan.on(field.key), field, *ground)
    supply = [start_supply(site.scenario, site.supply, n_years) for site, _ in starts]
    return Runs(
        specs=tuple(plan for _, plan in starts),
        plans=plans,
        delivery=np.stack([site.delivery for site, _ in starts]).view(np.recarray),
        catches=catches,
        reaches=np.stack([site.reaches for site, _ in starts]),
        columns=columns,
        supply_of=np.zeros(n_runs, np.int64),
        patches=patches,
        states=states,
        supply=SupplyState(*map(_stacked, zip(*supply, strict=True))),
        play=records(PLAY_YEAR, (n_runs, n_fields, n_years)),
        fed=records(FEED_YEAR, (n_runs, n_fields, n_years)),
        years=records(YEAR, (n_runs, n_fields, n_years)),
        odds=np.zeros((n_runs, n_fields, len(STAGES), CALENDAR_DAYS), np.int64),
        green=np.zeros((n_runs, n_fields, CALENDAR_DAYS)),
        shortage=np.zeros((n_runs, n_fields, MONTHS, len(CAUSES))),
        trace=records(TRACE, (n_runs, 0, n_fields)),
        left_unfinished=np.zeros((n_runs, n_fields), np.int64),
    )


def _stacked(parts: Sequence[np.ndarray]) -> Any:
    whole = np.stack(parts)
    return whole.view(np.recarray) if whole.dtype.names else whole


def start_run(site: PreparedSite, plan: PlanSpec) -> PlanRun:
    """One plan on the first day of the first stretch."""
    return start_runs([(site, plan)]).one(0)


def advance_all(
    site: PreparedSite,
    runs: Runs,
    trace: Days = slice(0, 0),
    compiled: bool = True,
    windows: Windows | None = None,
) -> Runs:
    """Take ``runs`` through a stretch, in place; ``trace`` are the days of the ledger.

    ``windows`` does it in place of ``run_windows``, for runs whose patches lie one after another
    and with results by run.
    Results of a plan do not depend on the others. ArithmeticError when a water balance does not
    close.
    """
    answers = site.scenario.answers
    n_plans, n_fields, _ = runs.catches.shape
    n_days = site.calendar.size
    n_trace = np.arange(n_days)[trace].size
    trace_at = np.full(n_days, -1)
    trace_at[trace] = np.arange(n_trace)
    runs.trace = records(TRACE, (n_plans, n_trace, n_fields))
    as_values(runs.trace)[..., _NOT_OF_EVERY_FIELD] = np.nan
    runs.supply = runs.supply._replace(trace=records(SUPPLY_TRACE, (n_plans, n_trace)))
    in_lanes = windows is None
    batch, spread = batch_of(site, runs, one_block=not in_lanes)
    counts_days = windows is None or windows.counts_days
    tally = tally_of(runs, spread if in_lanes else None, counts_days)
    scratch = Scratch(
        flows=records(SUPPLY_TRACE, 1),
        requested_m3=np.zeros(n_fields),
        share=np.ones(n_fields),
        draws_m3=np.zeros(site.supply.sources.shape[1]),
        cut_m3=np.zeros(len(CAUSES)),
        passes=np.zeros(n_fields),
    )
    run_days = partial(
        run_by_day if any(spec.function for spec in runs.specs) else run_at_once,
        windows or (compiled_run_site() if compiled else run_windows), site, runs.specs, spread,
        runs.left_unfinished,
    )  # fmt: skip
    run_days(
        day_input_of(site),
        batch,
        site.supply,
        runs.supply_of,
        runs.supply,
        tally,
        scratch,
        np.array([answers.reached[stage] for stage in STAGES]),
        np.array([answers.playing_condition.green, answers.playing_condition.wilt]),
        trace_at,
        *_needed(site, batch),
    )
    write_back(batch, spread, tally, runs, in_lanes)
    of_nitrogen = ("the nitrogen account", runs.fed.residual, NITROGEN_TOLERANCE, "kg/ha")
    for account, off, tolerance, unit in (
        *[of_nitrogen] * bool(batch.is_fed.any()),
        ("the water balance", runs.years.residual, ACCOUNT_TOLERANCE_MM, "mm"),
        (
            "the water balance of the supply", runs.supply.years.residual, SUPPLY_TOLERANCE_M3,
            "m3",
        ),
    ):  # fmt: skip
        if not off.max() <= tolerance:
            worst = off.reshape(n_plans, -1).max(axis=1)
            b = int(np.argmax(~(worst <= tolerance)))
            raise ArithmeticError(
                f"{account} of plan '{runs.specs[b].key}' is off by {worst[b]:.3g} {unit} on one "
                "day; this is a fault of the program, please report it with the scenario"
            )
    return runs


def _needed(site: PreparedSite, batch: Batch) -> tuple[bool | None, bool | None]:
    """Whether the loop needs the code of supply and play, and of feeding; None leaves it out."""
    feeding_on = True if batch.is_fed.any() else None
    others = site.supply.site["on"].any() or batch.is_played.any()
    return (True if others or feeding_on else None), feeding_on


def advance(
    site: PreparedSite, run: PlanRun, trace: Days = slice(0, 0), compiled: bool = True
) -> PlanRun:
    """Take one plan through a stretch, as ``advance_all``."""
    runs = advance_all(site, run.alone(), trace, compiled)
    run.trace = runs.trace[0]
    run.supply = run.supply._replace(trace=runs.supply.trace[0])
    return run


def run_plan(
    site: PreparedSite, plan: PlanSpec, trace: Days = slice(0, 0), compiled: bool = True
) -> PlanRun:
    """One plan through a scenario that is prepared as one stretch."""
    return advance(site, start_run(site, plan), trace, compiled)


def in_groups(plans: Sequence[T], workers: int = 1) -> list[Sequence[T]]:
    """Plans in as many groups for each worker, no more than ``PLANS_TOGETHER`` in any."""
    busy = max(min(workers, len(plans)), 1)
    n_groups = busy * -(-len(plans) // (busy * PLANS_TOGETHER))
    edges = np.linspace(0, len(plans), n_groups + 1).round().astype(int)
    return [plans[start:stop] for start, stop in pairwise(edges)]
