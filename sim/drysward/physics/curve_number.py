"""Runoff of rain by curve number (NEH-630 chapters 9 and 10; TR-55). Depths in mm."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, larger, smaller

INITIAL_ABSTRACTION = 0.2
"""Ia over S: share of the retention that rain fills before runoff begins (NEH-630 ch. 10)."""


def retention_mm(curve_number: float) -> float:
    """Potential retention S = 25400/CN - 254; ValueError outside 0 < CN <= 100."""
    if not 0.0 < curve_number <= 100.0:
        raise ValueError(f"curve number {curve_number} is not between 0 and 100")
    return 25400.0 / curve_number - 254.0


@equation
def reference_moisture_mm(wilting_point_mm: float, available_mm: float) -> float:
    """Water (mm) at which initial abstraction is 0.2 S: midway from wilting to field capacity."""
    return wilting_point_mm + 0.5 * available_mm


@equation
def abstraction_slope(abstraction_mm: float, available_mm: float) -> float:
    """Increase of initial abstraction per mm of drying.

    Abstraction is 0 at field capacity, 0.2 S (``abstraction_mm``) at the reference moisture and
    twice that at the wilting point; it never changes faster than the soil water itself. Source: own
    estimate.
    """
    return smaller(1.0, abstraction_mm / (0.5 * available_mm))


@equation
def rain_runoff(rain: float, retention: float, abstraction: float) -> float:
    """Runoff of a day's rain by the curve number with continuous moisture accounting (mm).

    Parameters
    ----------
    rain : liquid water that reaches the ground, not below 0.
    retention : potential retention S.
    abstraction : rain needed before runoff starts; 0.2 S at the reference moisture, more when
        drier, negative when the soil is so wet that runoff has begun.

    Source: NRCS NEH-630 chapter 10 (eq 10-11) at the reference moisture; the closed form for
    other moistures after Michel, Andréassian & Perrin 2005, Water Resources Research 41,
    W02011 (from memory), under which a wetter soil never ends the day holding less.
    """
    excess = larger(rain - abstraction, 0.0)
    before_it_began = excess * excess / larger(excess + retention, NO_LESS)
    room = larger(retention + abstraction, 0.0)
    held = room * room / larger(retention * retention + room * rain, NO_LESS)
    since_it_began = rain * (1.0 - held)
    return before_it_began if abstraction >= 0.0 else since_it_began


@equation
def abstraction_left(
    at_reference: float, slope: float, reference: float, root_water: float
) -> float:
    """Rain needed before runoff starts: less on wetter soil (mm).

    Parameters
    ----------
    at_reference : 0.2 S, at the ``reference`` moisture (mm of the rooted depth).
    slope : mm less for each mm of ``root_water`` above the reference.
    """
    return at_reference + slope * (reference - root_water)
