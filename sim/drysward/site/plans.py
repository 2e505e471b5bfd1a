"""Plans of the scenario as records for the day step, one for each field."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from drysward.day.records import MOST_STAGES
from drysward.physics.catch import run_time_multiplier
from drysward.physics.intake import runoff_terms
from drysward.scenario.model import TIMES_OF_DAY, FieldSpec, PlanSpec
from drysward.scenario.rules import EVERY_RULE
from drysward.site.night import (
    ground_take_mm,
    most_depth_mm,
    nightly_gross_mm,
    passes_a_night,
    splits,
)
from drysward.site.root_zone import RootZone


def machines_of(fields: Sequence[FieldSpec]) -> list[int]:
    """Number of the machine or hose that waters each field (F,); -1 for a system in the ground.

    Fields whose delivery names the same machine share it.
    """
    out: list[int] = []
    shared: dict[str, int] = {}
    for f, field in enumerate(fields):
        if field.delivery.hours_per_pass <= 0.0:
            out.append(-1)
        else:
            name = field.delivery.machine
            out.append(shared.setdefault(name, f) if name else f)
    return out


def write_plan(
    row: Any, plan: PlanSpec, field: FieldSpec, zone: RootZone, most_catch: float
) -> None:
    """Write ``plan`` as followed on ``field`` into a zeroed record PLAN.

    ``most_catch`` is the largest share of the mean that a patch of the field catches.
    """
    rule = EVERY_RULE[plan.rule]
    row.rule = rule.number
    for name, key in rule.keys.items():
        row[name] = getattr(plan, key.attribute)
    if plan.function is not None:
        row.share = 1.0  # what turf used counts in full against what it was given
    row.least_depth = plan.least_depth_mm
    row.most_depth = most_depth_mm(zone, plan)
    row.night_depth = nightly_gross_mm(field.delivery, field.area_m2, plan.window_h)
    row.passes = passes_a_night(field.delivery, plan.window_h)
    takes_mm = ground_take_mm(zone, field.delivery, plan, most_catch)
    row.ground_takes = takes_mm if plan.stop_at_runoff else np.inf
    row.runoff_soaks, row.runoff_storage = runoff_terms(
        field.delivery.precipitation_rate_mm_h, zone.intake_mm_h, zone.surface_storage_mm,
        plan.window_h, 1.0 if splits(field.delivery, plan) else 0.0,
    )  # fmt: skip
    row.rain_skip = plan.rain_skip_mm
    row.rain_skip_days = plan.rain_skip_days
    row.interval = plan.interval_days
    row.first_day, row.last_day = plan.season
    row.time_of_day = TIMES_OF_DAY.index(plan.time_of_day)
    by_need = rule.by_need and plan.allow_for_uniformity
    uniformity = field.delivery.distribution_uniformity
    row.run_time_multiplier = run_time_multiplier(uniformity) if by_need else 1.0
    row.crown_depth = plan.crown_depth_mm
    row.crown_interval = plan.crown_interval_days
    row.crown_from = plan.crown_from
    row.pause_above = plan.pause.above
    row.pause_below = plan.pause.below
    row.pause_first = plan.pause.first
    row.pause_last = plan.pause.last
    row.pause_longest = plan.pause.longest_days
    row.allowed[:] = plan.allowed
    row.adjust[:] = plan.adjust
    if plan.syringe is not None:
        row.syringe_above = plan.syringe.above_c
        row.syringe_depth = plan.syringe.depth_mm
        row.syringe_from = plan.syringe.from_wilt
    row.stages = len(plan.stages)
    row.stage_above[:] = np.inf
    for i, stage in enumerate(plan.stages[:MOST_STAGES]):
        row.stage_above[i] = stage.above_mm
        row.stage_below[i] = stage.below_mm
        row.stage_share[i] = stage.share
        row.stage_crown_only[i] = stage.crown_only
        row.stage_allowed[i, :] = stage.allowed
