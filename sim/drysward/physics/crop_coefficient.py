"""Crop coefficient of well-watered turf, relative to short-grass reference ET."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, smaller

HEIGHT_EFFECT_PER_MM = 0.003  # of ET, from low to high cut 5 to 15% (from memory)
MOST_HEIGHT_EFFECT = 0.1
COLD_BELOW_C = 10.0  # soil; cool-season roots and leaves are active above it
SNOW_ET_SHARE = 0.4  # FAO-56 chapter 11: 0.4 mm/d under snow, 1.0 without


@equation
def height_effect(height_mm: float, usual_mm: float) -> float:
    """Factor on Kc of turf mown at ``height_mm`` instead of the species' usual height."""
    change = HEIGHT_EFFECT_PER_MM * (height_mm - usual_mm)
    return 1.0 + clamp(change, -MOST_HEIGHT_EFFECT, MOST_HEIGHT_EFFECT)


@equation
def soil_warmth(soil_c: float) -> float:
    """Activity of turf by soil warmth: 0 at 0 C to 1 at 10 C (own estimate)."""
    return clamp(soil_c / COLD_BELOW_C, 0.0, 1.0)


@equation
def turf_kc(
    awake_kc: float, winter_kc: float, rest: float, frost_kc: float, warmth: float
) -> float:
    """Kc of turf that may be partly at winter rest or on cold soil.

    Cold turf hardly transpires: FAO-56 chapter 11 has Kc 0.25 with frosts (``frost_kc``) and 0.5
    on open winter days; the transition by ``warmth``, from ``soil_warmth``, is our own estimate.
    """
    kc = awake_kc * (1.0 - rest) + winter_kc * rest
    return smaller(kc, frost_kc + warmth * (kc - frost_kc))


@equation
def under_snow(kc: float, snow_water_mm: float) -> float:
    """A crop coefficient reduced by snow on the ground, to 0.4 of it (FAO-56 chapter 11)."""
    return kc * SNOW_ET_SHARE if snow_water_mm > 0.0 else kc
