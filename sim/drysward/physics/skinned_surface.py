"""Skinned infields: water demand of bare infield mix."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger, smaller


@equation
def skin_demand_mm(
    water_mm: float, target_mm: float, demand_mm: float, passes: float, most_per_pass_mm: float
) -> float:
    """Water demand of a skinned surface today, in light passes (mm).

    The first pass of the morning fills to the target; each later one replaces what the day's
    ``demand_mm`` of evaporation took since the pass before. Never more than ``passes`` times
    the depth of one pass without puddles. Source: own estimate of the form.
    """
    later = demand_mm * (passes - 1.0) / larger(passes, 1.0)
    depth_mm = target_mm - water_mm + larger(later, 0.0)
    return larger(smaller(depth_mm, passes * most_per_pass_mm), 0.0)
