"""Snow on the ground: what falls as snow, lies, and melts. Depths are mm of water."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger, smaller


@equation
def snow_step(
    lying_mm: float,
    precipitation_mm: float,
    tmean_c: float,
    threshold_c: float,
    melt_mm_c_d: float,
) -> tuple[float, float]:
    """Liquid water reaching the ground in a day, and snow water lying at its end (mm).

    Precipitation falls as snow below ``threshold_c`` and melts by degree-days above 0 C.
    Precipitation = liquid + change of snow water. Source: NRCS NEH-630 chapter 11.
    """
    snow, rain = lying_mm, precipitation_mm
    if tmean_c < threshold_c:
        snow += rain
        rain = 0.0
    melt = smaller(snow, larger(melt_mm_c_d * tmean_c, 0.0))
    snow -= melt
    if lying_mm == 0.0 and snow == 0.0:
        return precipitation_mm, 0.0
    return rain + melt, snow
