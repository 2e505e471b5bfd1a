"""Depletion fractions at which turf footprints and wilts, by the demand of the day."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

PER_MM = 0.04  # note to FAO-56 Table 22
LEAST_GAP = 0.05  # wilt always lies past footprinting; own estimate
MOST_WILT = 0.95


@equation
def depletion_fraction(p_table: float, etc_mm: float) -> float:
    """p for the demand of the day from p at 5 mm/d; 0.1 to 0.8 (FAO-56, note to Table 22)."""
    return clamp(p_table + PER_MM * (5.0 - etc_mm), 0.1, 0.8)


@equation
def wilt_threshold(p_wilt: float, etc_mm: float, footprint_threshold: float) -> float:
    """Depletion fraction at which leaves wilt today, from that at 5 mm/d.

    Moves with demand as the p of stress does (FAO-56, note to Table 22), and always lies past
    ``footprint_threshold``, that of footprinting today. Source: own estimate of the form.
    """
    return clamp(p_wilt + PER_MM * (5.0 - etc_mm), footprint_threshold + LEAST_GAP, MOST_WILT)
