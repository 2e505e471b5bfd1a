"""Records of runs into lanes for a stretch of days, and what became of them back into records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from drysward.day.asking import MONTH_ADJUST, WEEK_ALLOWED, WEEK_DEPTH, WEEK_GROSS
from drysward.day.lanes import (
    LANES,
    PATCH_SIZE,
    PLACE,
    SECTIONS,
    aligned_zeros,
    blocks_of,
    by_lane,
    by_run,
    get,
    put,
)
from drysward.day.loop import Ground, Party, Tally
from drysward.day.records import MONTHS, PATCH, STAGES, TIMES, WEEK, as_values

if TYPE_CHECKING:
    from drysward.drive.runs import Runs
    from drysward.site.stretches import PreparedSite

# Reading a day span by span pays as long as the lanes fall into so few.
MOST_SPANS = 4


def ground_of(site: PreparedSite) -> Ground:
    """What a stretch brings, as the loop reads it."""
    return Ground(
        days=as_values(site.days),
        play_days=as_values(site.play.days),
        calendar=site.calendar,
        rain_before=site.weather.rain_before_mm,
        drought_index=site.weather.drought_index_mm,
        spray_loss=site.weather.spray_loss,
    )


def party_of(site: PreparedSite, runs: Runs) -> Party:
    """The runs of plans in lanes, where they stand now."""
    n_runs, n_fields, n_patches = runs.catches.shape
    blocks, quads = blocks_of(n_runs, n_fields)
    n_blocks = len(blocks)
    played = site.play.fields[runs.columns]
    put(blocks, "field", site.fields[runs.columns])
    put(blocks, "plan", runs.plans)
    put(blocks, "delivery", runs.delivery)
    put(blocks, "state", runs.states)
    put(blocks, "play_field", played)
    time_of_day = runs.plans.time_of_day.astype(int)
    wet_hours = np.take_along_axis(
        played.watering_wet_hours, time_of_day[..., None] % TIMES, axis=-1
    )
    _set(blocks, "wet_hours_of_watering", wet_hours[..., 0])
    _set(blocks, "granted_share", np.ones((n_runs, n_fields)))
    patches = aligned_zeros((n_blocks, n_patches, PATCH_SIZE))
    values = as_values(runs.patches)
    left = 1.0 / (1.0 - runs.patches.root_loss)
    values = np.concatenate([values, left[..., None]], axis=-1)
    patches[:] = by_lane(values, n_blocks).transpose(0, 2, 3, 1).reshape(patches.shape)
    weekly = np.zeros((n_blocks, WEEK, 3, LANES))
    monthly = np.zeros((n_blocks, MONTHS, 3, LANES))
    for table, line, lines in (
        (weekly, WEEK_DEPTH, runs.plans.depth),
        (weekly, WEEK_ALLOWED, runs.plans.allowed),
        (weekly, WEEK_GROSS, runs.states.last_week),
        (monthly, MONTH_ADJUST, runs.plans.adjust),
    ):
        table[:, :, line] = by_lane(lines, n_blocks).swapaxes(1, 2)
    columns = by_lane(runs.columns, n_blocks)
    skip_days = runs.plans.rain_skip_days.astype(np.int64)
    restricted = (runs.plans.stages > 0.0) | (runs.plans.pause_first >= 0.0)
    restricted |= np.isfinite(runs.plans.pause_above)
    return Party(
        blocks=blocks,
        patches=patches,
        catches=np.ascontiguousarray(by_lane(runs.catches, n_blocks).swapaxes(1, 2)),
        weekly=weekly,
        monthly=monthly,
        quads=quads,
        columns=columns,
        spans=_spans(columns),
        rain_skip_days=by_lane(skip_days, n_blocks),
        plans=runs.plans,
        delivery=runs.delivery,
        is_restricted=by_lane(restricted, n_blocks).any(axis=1),
        is_played=by_lane(played.on > 0.0, n_blocks).any(axis=1),
    )


def tally_of(runs: Runs, n_blocks: int) -> Tally:
    """Where what the runs have gathered goes on being gathered."""
    gathered = np.concatenate([runs.odds, runs.green[:, :, None]], axis=2)
    by_day = np.ascontiguousarray(by_lane(gathered, n_blocks).transpose(0, 3, 2, 1))
    return Tally(
        years=as_values(runs.years),
        played=as_values(runs.play),
        by_day=by_day,
        trace=as_values(runs.trace),
    )


def give_back(party: Party, tally: Tally, runs: Runs) -> None:
    """Write what became of the runs into their records."""
    n_runs, n_fields, _ = runs.catches.shape
    get(party.blocks, "state", runs.states)
    weekly = party.weekly[:, :, WEEK_GROSS].swapaxes(1, 2)
    runs.states.last_week = by_run(weekly, n_runs, n_fields)
    lanes = party.patches.reshape(*party.patches.shape[:2], -1, LANES).transpose(0, 3, 1, 2)
    carried = len(PATCH.names or ())
    as_values(runs.patches)[:] = by_run(lanes[..., :carried], n_runs, n_fields)
    gathered = by_run(tally.by_day.transpose(0, 3, 2, 1), n_runs, n_fields)
    runs.odds[:] = gathered[:, :, : len(STAGES)]
    runs.green[:] = gathered[:, :, len(STAGES)]


def _set(blocks: np.ndarray, name: str, values: np.ndarray) -> None:
    """Write one number of the runs (B, F)."""
    blocks[:, PLACE[name] : PLACE[name] + LANES] = by_lane(values, len(blocks))


def _spans(columns: np.ndarray) -> np.ndarray:
    """Lanes from, to, and column (K, MOST_SPANS, 3), all 0 in a block with more spans than that."""
    out = np.zeros((len(columns), MOST_SPANS, 3), np.uint64)
    for line, column in zip(out, columns, strict=True):
        starts = [0, *(np.flatnonzero(np.diff(column)) + 1)]
        if len(starts) <= MOST_SPANS:
            for span, start, stop in zip(line, starts, [*starts[1:], LANES], strict=False):
                span[:] = start, stop, column[start]
    return out


assert SECTIONS["patch"][:-1] == PATCH.names, "what is carried of a patch has its order"
