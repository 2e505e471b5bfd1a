"""Skinned infields: states of bare mix by its moisture, and what it asks of the supply."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DUST, GOOD, MUD = 0, 1, 2


def water_by_volume(by_weight: ArrayLike, bulk_density: ArrayLike) -> FloatArray:
    """Water by volume (0..1) from water by weight of dry soil and bulk density (g/cm3).

    By definition, with water of 1 g/cm3.
    """
    return np.asarray(by_weight, float) * np.asarray(bulk_density, float)


def moisture_band(moisture: ArrayLike, dust_below: float, mud_above: float) -> NDArray[np.int64]:
    """DUST, GOOD or MUD of water by volume (0..1)."""
    m = np.asarray(moisture, float)
    return np.where(m < dust_below, DUST, np.where(m > mud_above, MUD, GOOD)).astype(np.int64)


def skin_wanted_mm(
    water_mm: ArrayLike,
    target_mm: ArrayLike,
    evaporation_mm: ArrayLike = 0.0,
    passes: ArrayLike = 1.0,
) -> FloatArray:
    """Water that a skinned surface asks for in a day of light passes.

    The first pass fills to the target; each of the others puts back what has evaporated since
    the one before: (passes - 1)/passes of the day's. Source: own estimate of the form.
    """
    passes = np.asarray(passes, float)
    later = np.asarray(evaporation_mm, float) * (passes - 1.0) / passes
    return np.maximum(np.asarray(target_mm, float) - np.asarray(water_mm, float) + later, 0.0)
