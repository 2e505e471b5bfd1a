"""A plan of the scenario as the record that the day step reads, for one field."""

from __future__ import annotations

from typing import Any

import numpy as np

from drysward.day.records import MOST_STAGES
from drysward.physics.catch import run_time_multiplier
from drysward.scenario.model import TIMES_OF_DAY, FieldSpec, PlanSpec
from drysward.scenario.rules import RULES
from drysward.site.night import nightly_gross_mm as nightly_depth_mm


def write_plan(row: Any, plan: PlanSpec, field: FieldSpec) -> None:
    """Write ``plan`` as it is followed on ``field`` into a record PLAN of noughts."""
    rule = RULES[plan.rule]
    row.rule = rule.number
    for name, key in rule.keys.items():
        row[name] = getattr(plan, key.attribute)
    row.least_depth = plan.least_depth_mm
    row.most_depth = nightly_depth_mm(field.delivery, field.area_m2, plan.window_h)
    row.rain_skip = plan.rain_skip_mm
    row.rain_skip_days = plan.rain_skip_days
    row.interval = plan.interval_days
    row.first_day, row.last_day = plan.season
    row.time_of_day = TIMES_OF_DAY.index(plan.time_of_day)
    by_need = rule.by_need and plan.allow_for_uniformity
    uniformity = field.delivery.distribution_uniformity
    row.run_time_multiplier = run_time_multiplier(uniformity) if by_need else 1.0
    row.cycle_and_soak = plan.cycle_and_soak
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
