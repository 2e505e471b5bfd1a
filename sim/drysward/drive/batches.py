"""Batches of runs in lanes for a stretch of days: from records into lanes, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from drysward.day.lanes import (
    LANES,
    PATCH_NAMES,
    PATCH_ROW,
    ROW,
    Spread,
    aligned_zeros,
    get,
    put,
    put_turned,
    spread_of,
)
from drysward.day.loop import FORMS_THAT_LIE, Batch, DayInput, Tally
from drysward.day.plan_demand import MONTH_ADJUST, WEEK_ALLOWED, WEEK_DEPTH, WEEK_GROSS
from drysward.day.records import CAUSES, MONTHS, PATCH, STAGES, WEEK, as_values

if TYPE_CHECKING:
    from drysward.drive.runs import Runs
    from drysward.site.stretches import PreparedSite

# Reading a day span by span is faster up to this many spans.
MOST_SPANS = 6


def day_input_of(site: PreparedSite) -> DayInput:
    """The days of a stretch as the loop reads them."""
    return DayInput(
        days=as_values(site.days),
        play_days=as_values(site.play.days),
        feed_days=as_values(site.feed.days),
        calendar=site.calendar,
        rain_before=site.weather.rain_before_mm,
        drought_index=site.weather.drought_index_mm,
        spray_loss=site.weather.spray_loss,
    )


def batch_of(
    site: PreparedSite, runs: Runs, one_block: bool = False
) -> tuple[Batch, Spread]:
    """Runs in lanes, in their present state, and their layout there (``one_block`` as in
    ``spread_of``).
    """
    n_runs, n_fields, n_patches = runs.catches.shape
    spread = spread_of(n_runs, n_fields, n_patches, one_block)
    by_lane, lanes = spread.by_lane, spread.lanes
    blocks = aligned_zeros((spread.n_blocks, len(ROW) * lanes))
    named = spread.by_name(blocks)
    played = site.play.fields[runs.columns]
    put(blocks, "field", site.fields[runs.columns], spread)
    put(blocks, "plan", runs.plans, spread)
    put(blocks, "delivery", runs.delivery, spread)
    put(blocks, "state", runs.states, spread)
    put(blocks, "play_field", played, spread)
    fed = site.feed.fields[runs.columns]
    put(blocks, "feed_field", fed, spread)
    time_of_day = runs.plans.time_of_day.astype(int)
    for name, by_time in (
        ("wet_hours_of_watering", played.watering_wet_hours),
        ("undrained_of_watering", played.undrained_of_watering),
    ):
        own = np.take_along_axis(by_time, time_of_day[..., None], axis=-1)
        named[:, ROW[name]] = by_lane(own[..., 0])
    if site.from_day > 0:
        snow_mm = site.weather.days.snow_water_mm[site.from_day - 1]
        named[:, ROW["snow_before"]] = snow_mm
    named[:, ROW["delivered_share"]] = 1.0
    reach = 1.0 / runs.reaches
    rooting = reach / (1.0 - runs.patches.root_loss)
    patches = aligned_zeros((spread.n_blocks, spread.rounds, len(PATCH_ROW) * lanes))
    by_name = spread.by_name(patches)
    put_turned(by_name[:, :, : len(STATE_NAMES)], spread.patch_by_lane(as_values(runs.patches)))
    for name, values in (("inv_reach", reach), ("inv_rooting", rooting)):
        by_name[:, :, PATCH_ROW[name]] = spread.patch_by_lane(values)
    weekly = np.zeros((spread.n_blocks, WEEK, 3, lanes))
    monthly = np.zeros((spread.n_blocks, MONTHS, 2, lanes))
    for table, line, lines in (
        (weekly, WEEK_DEPTH, runs.plans.depth),
        (weekly, WEEK_ALLOWED, runs.plans.allowed),
        (weekly, WEEK_GROSS, runs.states.last_week),
        (monthly, MONTH_ADJUST, runs.plans.adjust),
    ):
        table[:, :, line] = by_lane(lines).swapaxes(1, 2)
    columns = by_lane(runs.columns)
    skip_days = by_lane(runs.plans.rain_skip_days.astype(np.int64))
    restricted = (runs.plans.stages > 0.0) | (runs.plans.pause_first >= 0.0)
    restricted |= np.isfinite(runs.plans.pause_above)
    batch = Batch(
        blocks=blocks,
        patches=patches,
        catches=np.ascontiguousarray(spread.patch_by_lane(runs.catches)),
        weekly=weekly,
        monthly=monthly,
        booked=np.zeros((spread.n_blocks, MONTHS, len(CAUSES), lanes)),
        quads=spread.quads(n_runs * n_fields * spread.side),
        run_quads=spread.quads(n_runs * n_fields),
        run_of=(spread.run % n_runs).reshape(-1, lanes),
        field_of=(spread.run // n_runs).reshape(-1, lanes),
        columns=columns,
        spans=_spans(columns),
        rain_skip_days=skip_days,
        plans=runs.plans,
        delivery=runs.delivery,
        is_restricted=by_lane(restricted),
        is_any_restricted=by_lane(restricted).any(axis=1),
        is_played=by_lane(played.on > 0.0).any(axis=1),
        is_fed=by_lane(fed.on > 0.0).any(axis=1),
        fed_months=np.zeros((spread.n_blocks, MONTHS, 3, lanes)),
        lies=np.ones((spread.n_blocks, FORMS_THAT_LIE), bool),
        side=spread.side,
    )
    return batch, spread


def tally_of(runs: Runs, spread: Spread | None, counts_days: bool = True) -> Tally:
    """Results of the runs so far, to which the loop adds; ``by_day`` by run without a ``spread``:
    (B, F, 5, 366), and None where no days are counted.
    """
    gathered = None
    if counts_days:
        gathered = np.concatenate([runs.odds, runs.green[:, :, None]], axis=2)
    if spread is not None and gathered is not None:
        gathered = np.ascontiguousarray(spread.by_lane(gathered).transpose(0, 3, 2, 1))
    return Tally(
        years=as_values(runs.years),
        played=as_values(runs.play),
        fed=as_values(runs.fed),
        shortage=runs.shortage,
        by_day=gathered,
        trace=as_values(runs.trace),
    )


def write_back(
    batch: Batch, spread: Spread, tally: Tally, runs: Runs, in_lanes: bool = True
) -> None:
    """Write the state and results of the runs back into their records; ``in_lanes`` as ``tally_of``
    had a spread.
    """
    get(batch.blocks, "state", runs.states, spread)
    runs.states.last_week = spread.by_run(batch.weekly[:, :, WEEK_GROSS].swapaxes(1, 2))
    lanes = spread.by_name(batch.patches)[:, :, : len(STATE_NAMES)].swapaxes(2, 3)
    as_values(runs.patches)[:] = spread.patch_by_run(lanes)
    gathered = tally.by_day
    if gathered is None:
        return
    if in_lanes:
        gathered = spread.by_run(gathered.transpose(0, 3, 2, 1))
    runs.odds[:] = gathered[:, :, : len(STAGES)]
    runs.green[:] = gathered[:, :, len(STAGES)]


def _spans(columns: np.ndarray) -> np.ndarray:
    """Lanes from, to, and column (K, MOST_SPANS, 3), all 0 in a block with more spans than that."""
    out = np.zeros((len(columns), MOST_SPANS, 3), np.uint64)
    for line, column in zip(out, columns, strict=True):
        starts = [0, *(np.flatnonzero(np.diff(column)) + 1)]
        if len(starts) <= MOST_SPANS:
            for span, start, stop in zip(line, starts, [*starts[1:], LANES], strict=False):
                span[:] = start, stop, column[start]
    return out


STATE_NAMES = PATCH_NAMES[: len(PATCH.names or ())]
assert PATCH.names == STATE_NAMES, "the state of a patch is in the order of PATCH"
