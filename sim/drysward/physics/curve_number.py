"""What the runoff of a curve number starts from (NEH-630 chapters 9 and 10; TR-55). Depths in mm.

The runoff itself is ``physics.runoff.rain_runoff``.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import smaller

INITIAL_ABSTRACTION = 0.2
"""Ia over S: share of the retention that rain fills before any runs off (NEH-630 ch. 10)."""


def retention_mm(curve_number: float) -> float:
    """Potential retention S = 25400/CN - 254; ValueError outside 0 < CN <= 100."""
    if not 0.0 < curve_number <= 100.0:
        raise ValueError(f"curve number {curve_number} is not in 0..100")
    return 25400.0 / curve_number - 254.0


@equation
def reference_moisture_mm(wilting_point_mm: float, available_mm: float) -> float:
    """Water (mm) at which initial abstraction is 0.2 S: half-way from wilting to field capacity."""
    return wilting_point_mm + 0.5 * available_mm


@equation
def abstraction_slope(abstraction_mm: float, available_mm: float) -> float:
    """Initial abstraction gained per mm that the soil dries.

    None at field capacity, 0.2 S (``abstraction_mm``) at the reference moisture and double at
    the wilting point; never faster than the water itself moves. Source: own estimate.
    """
    return smaller(1.0, abstraction_mm / (0.5 * available_mm))
