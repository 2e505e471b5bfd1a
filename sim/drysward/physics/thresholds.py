"""Depletion fractions at which turf footprints and wilts, by the demand of the day."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

PER_MM = 0.04  # note to FAO-56 Table 22


@equation
def depletion_fraction(p_table: float, etc_mm: float) -> float:
    """p for the demand of the day from p at 5 mm/d; 0.1 to 0.8 (FAO-56, note to Table 22)."""
    return clamp(p_table + PER_MM * (5.0 - etc_mm), 0.1, 0.8)


@equation
def wilt_threshold(wilt_ks: float, p: float) -> float:
    """Depletion fraction at which half of the leaves wilt: where Ks has fallen to ``wilt_ks``.

    ``p`` is that of the day, so that wilt comes sooner at a larger demand, as stress does.
    """
    return 1.0 - wilt_ks * (1.0 - p)
