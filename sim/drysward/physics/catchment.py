"""Water that roofs, paving and grass shed into the storage, by day."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from drysward.physics.curve_number import runoff_mm
from drysward.scenario.model import CatchmentSpec

FloatArray = NDArray[np.float64]

GRASS = "grass"
MM_PER_M = 1000.0


def hard_surface_runoff_mm(
    liquid_mm: FloatArray, coefficient: float, first_flush_mm: float
) -> FloatArray:
    """Runoff of a roof or paving (n,): a share of what the day brings beyond the first flush.

    ``liquid_mm`` (n,) is rain and melt; the first flush is turned away, or wets the surface, on
    every wet day anew. Common practice in harvesting of rainwater.
    """
    return coefficient * np.maximum(liquid_mm - first_flush_mm, 0.0)


def catchment_m3(catchment: CatchmentSpec, liquid_mm: FloatArray) -> FloatArray:
    """Volume that one catchment sheds (n,) of rain and melt ``liquid_mm`` (n,).

    Grass by curve number (NEH-630 chapter 10); ValueError when it is not in 0..100.
    """
    if catchment.kind == GRASS:
        depth = runoff_mm(liquid_mm, catchment.runoff)
    else:
        depth = hard_surface_runoff_mm(liquid_mm, catchment.runoff, catchment.first_flush_mm)
    return depth * (catchment.area_m2 / MM_PER_M)


def catchments_m3(catchments: Iterable[CatchmentSpec], liquid_mm: FloatArray) -> FloatArray:
    """Volume that all catchments shed together (n,); ValueError as ``catchment_m3``."""
    total = np.zeros(liquid_mm.size)
    for catchment in catchments:
        total += catchment_m3(catchment, liquid_mm)
    return total
