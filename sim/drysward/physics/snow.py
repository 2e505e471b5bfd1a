"""Snow and frozen ground on daily arrays: plain loops that also compile."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from drysward.compiled import jitable

FloatArray = NDArray[np.float64]
SNOW_DENSITY = 0.15  # of settled snow, from memory: only sets how deep the insulation is


@jitable
def snow_account(
    precipitation_mm: FloatArray, tmean_c: FloatArray, threshold_c: float, melt_mm_c_d: float
) -> tuple[FloatArray, FloatArray]:
    """Liquid water reaching the ground and snow water lying at day's end, each (n,), mm.

    Precipitation falls as snow below ``threshold_c`` and melts by degree-days above 0 C
    (NRCS NEH-630 chapter 11). Precipitation = liquid + change of snow water on every day.
    """
    n = precipitation_mm.shape[0]
    liquid = np.zeros(n)
    lying = np.zeros(n)
    snow = 0.0
    for i in range(n):
        before = snow
        rain = precipitation_mm[i]
        if tmean_c[i] < threshold_c:
            snow += rain
            rain = 0.0
        melt = min(snow, max(0.0, melt_mm_c_d * tmean_c[i]))
        snow -= melt
        lying[i] = snow
        liquid[i] = rain + melt
        if before == 0.0 and snow == 0.0:
            liquid[i] = precipitation_mm[i]
    return liquid, lying


@jitable
def frozen_days(
    tmean_c: FloatArray,
    snow_water_mm: FloatArray,
    decay: float,
    insulation_cold: float,
    insulation_warm: float,
    freeze: float,
    thaw: float,
) -> FloatArray:
    """1 on days of frozen ground, else 0, by the continuous frozen ground index.

    F = decay F - T exp(-0.4 K D) with snow depth D in cm; frozen above ``freeze`` C d, thawed
    below ``thaw``. Source: Molnau & Bissell 1983 (from memory).
    """
    n = tmean_c.shape[0]
    frozen = np.zeros(n)
    index = 0.0
    state = 0.0
    for i in range(n):
        depth_cm = snow_water_mm[i] / SNOW_DENSITY / 10.0
        k = insulation_cold if tmean_c[i] < 0.0 else insulation_warm
        index = max(0.0, decay * index - tmean_c[i] * math.exp(-0.4 * k * depth_cm))
        if index > freeze:
            state = 1.0
        elif index < thaw:
            state = 0.0
        frozen[i] = state
    return frozen
