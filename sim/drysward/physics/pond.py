"""Ponds and tanks: water surface and volume by depth, and evaporation from open water.

The day step knows a pond or tank by its area (K,) at volumes (K,), from empty to full.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DEPTHS_OF_CURVE = 21


def square_pond_area_m2(depth_m: ArrayLike, bottom_m: float, side_slope: float) -> FloatArray:
    """Water surface of a pond with a square bottom at water depths of any shape.

    ``side_slope`` is meters out for each meter up. Plain geometry.
    """
    return np.asarray((bottom_m + 2.0 * side_slope * np.asarray(depth_m, float)) ** 2)


def square_pond_volume_m3(depth_m: ArrayLike, bottom_m: float, side_slope: float) -> FloatArray:
    """Volume of a pond with a square bottom at water depths of any shape.

    Prismatoidal formula V = h/6 (A_bottom + 4 A_middle + A_top), exact for sloping sides
    (common practice in pond design).
    """
    depth = np.asarray(depth_m, float)
    at_bottom, middle, top = (
        square_pond_area_m2(part * depth, bottom_m, side_slope) for part in (0.0, 0.5, 1.0)
    )
    return depth / 6.0 * (at_bottom + 4.0 * middle + top)


def least_square_pond_m3(depth_m: float, side_slope: float) -> float:
    """Volume of the smallest pond of a depth: its sides meet at the bottom.

    The prismatoidal formula with a bottom of no size, V = 4/3 z^2 h^3.
    """
    return 4.0 / 3.0 * side_slope**2 * depth_m**3


def square_bottom_m(capacity_m3: float, depth_m: float, side_slope: float) -> float:
    """Side of the square bottom of a pond with this capacity.

    Root of V = b^2 h + 2 z b h^2 + 4/3 z^2 h^3, which is the prismatoidal formula written out.
    ValueError when the sides would meet above the bottom.
    """
    least_m3 = least_square_pond_m3(depth_m, side_slope)
    if not (depth_m > 0.0 and side_slope >= 0.0 and capacity_m3 >= least_m3):
        raise ValueError(
            f"a pond {depth_m:g} m deep with sides of {side_slope:g}:1 holds at least "
            f"{least_m3:.6g} m3, more than {capacity_m3:.6g} m3"
        )
    run_m = side_slope * depth_m
    # At the least capacity the root is 0 except for rounding.
    return max(math.sqrt(capacity_m3 / depth_m - run_m**2 / 3.0) - run_m, 0.0)


def square_pond(
    capacity_m3: float, depth_m: float, side_slope: float
) -> tuple[FloatArray, FloatArray]:
    """Volumes and areas (K,) of a pond with a square bottom; ValueError as ``square_bottom_m``."""
    bottom_m = square_bottom_m(capacity_m3, depth_m, side_slope)
    depths = np.linspace(0.0, depth_m, DEPTHS_OF_CURVE)
    volumes = square_pond_volume_m3(depths, bottom_m, side_slope)
    return volumes, square_pond_area_m2(depths, bottom_m, side_slope)


def surveyed_pond(depth_m: ArrayLike, area_m2: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Volumes and areas (K,) of a pond whose area (K,) was surveyed at depths (K,) from empty up.

    Mean of the two areas times the depth between them (average end area, common practice).
    ValueError unless depths start at 0 and rise, and areas are above 0 and do not shrink upward.
    """
    depths, areas = np.asarray(depth_m, float), np.asarray(area_m2, float)
    if depths.ndim != 1 or depths.shape != areas.shape or depths.size < 2:
        raise ValueError("a pond's table needs one area for each depth, and at least two depths")
    if depths[0] != 0.0 or not np.all(np.diff(depths) > 0.0):
        raise ValueError("a pond's depths must start at 0, the bottom, and rise")
    if areas[-1] <= 0.0 or areas[0] < 0.0 or np.any(np.diff(areas) < 0.0):
        raise ValueError("a pond's areas must not shrink upward, and the last must be above 0")
    slices = 0.5 * (areas[1:] + areas[:-1]) * np.diff(depths)
    return np.concatenate([[0.0], np.cumsum(slices)]), areas


def depths_of_curve_m(
    volumes_m3: ArrayLike, areas_m2: ArrayLike, depth_m: float = math.nan
) -> FloatArray:
    """Water depths (K,) at the volumes and areas (K,) of a pond, from empty to full.

    ``depth_m`` is that of a pond of ``square_pond``, whose depths are even; NaN for a surveyed
    pond, where the volume between two areas is their mean times the depth between them.
    """
    volumes, areas = np.asarray(volumes_m3, float), np.asarray(areas_m2, float)
    if math.isfinite(depth_m):
        return np.linspace(0.0, depth_m, volumes.size)
    between = np.diff(volumes) / (0.5 * (areas[1:] + areas[:-1]))
    return np.concatenate([[0.0], np.cumsum(between)])


def tank(capacity_m3: float) -> tuple[FloatArray, FloatArray]:
    """Volumes and areas (2,) of a closed tank, on which no rain falls and none evaporates."""
    return np.array([0.0, capacity_m3]), np.zeros(2)


def open_water_evaporation_mm(eto_mm: FloatArray, factor: float) -> FloatArray:
    """Evaporation of shallow open water (n,): ``factor`` times reference ET.

    Source: FAO-56, chapter 6, single crop coefficients: 1.05 for water less than 2 m deep
    (from memory).
    """
    return factor * eto_mm
