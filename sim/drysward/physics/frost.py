"""Frozen ground, and the water that it lets in."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import larger

SNOW_DENSITY = 0.15  # of settled snow, from memory: only sets how deep the insulation is


@equation
def frozen_index_step(
    index: float,
    tmean_c: float,
    snow_water_mm: float,
    decay: float,
    insulation_cold: float,
    insulation_warm: float,
) -> float:
    """Continuous frozen ground index after one day (C d), not below 0.

    F = decay F - T exp(-0.4 K D) with snow depth D in cm; K is ``insulation_cold`` below 0 C.
    Source: Molnau & Bissell 1983 (from memory).
    """
    depth_cm = snow_water_mm / SNOW_DENSITY / 10.0
    k = insulation_cold if tmean_c < 0.0 else insulation_warm
    return larger(decay * index - tmean_c * math.exp(-0.4 * k * depth_cm), 0.0)


@equation
def frozen_after(frozen: float, index: float, freeze: float, thaw: float) -> float:
    """1 when the ground is frozen, else 0: frozen above ``freeze``, thawed below ``thaw`` (C d).

    Between the two it stays as it was. Source: Molnau & Bissell 1983 (from memory).
    """
    if index > freeze:
        return 1.0
    return 0.0 if index < thaw else frozen


@equation
def intake_share(frozen: float, frozen_intake_share: float) -> float:
    """Share of liquid water that the ground lets in: all of it unless ``frozen`` is 1."""
    return 1.0 - frozen * (1.0 - frozen_intake_share)
