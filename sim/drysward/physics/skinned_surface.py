"""Skinned infields: what bare mix asks of the supply."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger, smaller


@equation
def skin_demand_mm(
    water_mm: float, target_mm: float, demand_mm: float, passes: float, most_per_pass_mm: float
) -> float:
    """Water (mm) that a skinned surface asks for today, in light passes.

    The first pass of the morning fills to the target; each later one replaces what the day's
    ``demand_mm`` of evaporation took since the pass before. Never more than ``passes`` times
    what one pass can give without puddles. Source: own estimate of the form.
    """
    later = demand_mm * (passes - 1.0) / larger(passes, 1.0)
    wanted = target_mm - water_mm + larger(later, 0.0)
    return larger(smaller(wanted, passes * most_per_pass_mm), 0.0)
