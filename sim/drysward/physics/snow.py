"""Snow on the ground: snowfall, settling, melt, and insulation.

Amounts are mm of water unless a name says depth.
"""

from __future__ import annotations

import math

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
    """Liquid water that reaches the ground in a day, and snow water at its end (mm).

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


@equation
def snow_density_step(
    density: float,
    lying_mm: float,
    fallen_mm: float,
    fresh_density: float,
    settled_density: float,
    settling_rate: float,
) -> float:
    """Density of snow on the ground (kg/m3) after one day, with ``fallen_mm`` of new snow.

    Snow approaches ``settled_density`` by ``settling_rate`` a day; new snow is mixed in by its
    water. Source: Verseghy 1991 (from memory), as land surface models use it.
    """
    aged = settled_density - (settled_density - density) * math.exp(-settling_rate)
    whole = lying_mm + fallen_mm
    # Bare ground has the density of fresh snow.
    mixed = (lying_mm * aged + fallen_mm * fresh_density) / larger(whole, 1e-9)
    return mixed if whole > 0.0 else fresh_density


@equation
def snow_depth_cm(snow_water_mm: float, density: float) -> float:
    """Depth of snow (cm) from its water and its density (kg/m3)."""
    return 100.0 * snow_water_mm / density


@equation
def snow_conductivity(density: float) -> float:
    """Heat conductivity of snow (W/m/degC) at a density (kg/m3), vapor transport included.

    Source: Sturm, Holmgren, Konig & Morris 1997, the quadratic from 156 kg/m3 up, the line
    below (from memory).
    """
    g_cm3 = 0.001 * density
    dense = 0.138 - 1.01 * g_cm3 + 3.233 * g_cm3 * g_cm3
    return dense if g_cm3 >= 0.156 else 0.023 + 0.234 * g_cm3


@equation
def snow_resistance(depth_cm: float, density: float) -> float:
    """Heat resistance (m2 degC/W) of snow of a depth and density (kg/m3)."""
    return 0.01 * depth_cm / snow_conductivity(density)
