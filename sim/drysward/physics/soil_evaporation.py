"""Bare soil giving water to the air."""

from __future__ import annotations

from drysward.compiled import jitable
from drysward.physics.arithmetic import clamp


@jitable
def evaporation_reduction(depletion: float, tew: float, inv_tew_less_rew: float) -> float:
    """Kr of FAO-56 eq 74 from the depletion of the surface layer (mm)."""
    return clamp((tew - depletion) * inv_tew_less_rew, 0.0, 1.0)
