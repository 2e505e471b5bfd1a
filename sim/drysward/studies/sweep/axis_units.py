"""Units of the axes of a sweep: as they are written, or those of the answers beside them."""

from __future__ import annotations

import json

import xarray as xr

from drysward.quantities import any_shown


def axes_in(points: xr.Dataset, system: str) -> xr.Dataset:
    """A sweep, or choices among its points, with its axes in the units of ``system``.

    The scenario's tables take any unit, so an axis may be in inches where the answers are in mm.
    Lengths, rates, areas, volumes and flows are converted; ``units`` of a coordinate says in what
    it is.
    """
    converted = {}
    for name in json.loads(points.attrs["axes"]):
        axis = points.coords.get(name)
        unit = "1" if axis is None else axis.attrs.get("units", "1")
        if axis is None or unit == "1" or axis.dtype.kind not in "iuf":
            continue
        how = any_shown(unit, system)
        if how.unit != unit:
            # To six figures: what was written in the other system is no finer.
            values = [float(f"{value:.6g}") for value in axis.values * how.factor]
            converted[name] = (axis.dims, values, {**axis.attrs, "units": how.unit})
    return points.assign_coords(converted)


def axis_title(points: xr.Dataset, name: str) -> str:
    """``depth, in``: an axis with its unit."""
    unit = points[name].attrs.get("units", "1")
    return name if unit == "1" else f"{name}, {unit}"
