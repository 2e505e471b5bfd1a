"""Hardness of a playing surface from its moisture; arrays of any shape.

Peak deceleration (g) of the 2.25 kg hammer, first drop. Only a measurement by the applicable
test method decides whether a surface is safe.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.catalog import Entry
from drysward.scenario.model import HardnessSpec

FloatArray = NDArray[np.float64]
FEWEST_READINGS = 8  # below this a scatter means little; own estimate


class HardnessLine(NamedTuple):
    """Line on water by volume (0..1), its floor, what bare ground adds, and scatter; all in g."""

    intercept_g: float
    slope_g: float
    floor_g: float
    bare_g: float
    scatter_g: float


class Fit(NamedTuple):
    """A line through ``n`` readings, for moistures ``driest`` to ``wettest`` (0..1)."""

    intercept_g: float
    slope_g: float
    scatter_g: float
    n: int
    driest: float
    wettest: float
    r_squared: float


def hardness_line(
    entry: Entry,
    bulk_density: float | None = None,
    fitted: HardnessSpec | None = None,
    field_capacity: float | None = None,
) -> HardnessLine:
    """The line of a surface.

    Parameters
    ----------
    entry : ``play.hardness_native`` or ``play.hardness_sand`` of the catalogue.
    bulk_density : of the surface soil (g/cm3); None leaves it at that of the line.
    fitted : readings of the field itself, in place of the catalogue's line and scatter.
    field_capacity : of the surface soil (0..1); None leaves it at that of the line. The line is
        moved in proportion, as wear is: a clay loam is as hard at a share of its field capacity
        as a loam is at the same share of its own.

    Source: own estimate; see ``configs/play.toml``.
    """
    floor, bare = entry["hardness_floor_g"], entry["hardness_bare_g"]
    if fitted is not None:
        # What is measured has no floor but zero.
        return HardnessLine(fitted.intercept_g, fitted.slope_g, 0.0, bare, fitted.scatter_g)
    intercept = entry["hardness_intercept_g"]
    if bulk_density is not None:
        above = bulk_density - entry["hardness_reference_density"]
        intercept += entry["hardness_density_g"] * above
    slope = entry["hardness_slope_g"]
    if field_capacity is not None:
        slope *= entry["hardness_field_capacity"] / field_capacity
    return HardnessLine(intercept, slope, floor, bare, entry["hardness_scatter_g"])


def peak_deceleration_g(
    moisture: ArrayLike, line: HardnessLine, bare_share: ArrayLike = 0.0
) -> FloatArray:
    """Peak deceleration (g) at water by volume and bare share (0..1) of unfrozen ground."""
    covered = np.maximum(line.intercept_g + line.slope_g * np.asarray(moisture), line.floor_g)
    return np.asarray(covered + line.bare_g * np.asarray(bare_share))


def fit_line(moisture: ArrayLike, g: ArrayLike) -> Fit:
    """Least-squares line through readings (n,), with the standard deviation of the residuals.

    Parameters
    ----------
    moisture : water by volume (0..1), not all the same. g : peak deceleration.

    Raises
    ------
    ValueError
        With fewer than FEWEST_READINGS readings, or when moisture does not vary.
    """
    x, y = np.asarray(moisture, float), np.asarray(g, float)
    if x.size < FEWEST_READINGS:
        raise ValueError(f"{x.size} readings are too few; at least {FEWEST_READINGS}")
    if np.ptp(x) == 0.0:
        raise ValueError("moisture is the same in all readings; wet and dry ground")
    # Here, since it takes half a second to import and only readings need it.
    from scipy.stats import linregress

    line = linregress(x, y)
    left = y - (line.intercept + line.slope * x)
    return Fit(
        float(line.intercept),
        float(line.slope),
        float(np.sqrt(left @ left / (x.size - 2))),
        x.size,
        float(x.min()),
        float(x.max()),
        float(line.rvalue**2),
    )
