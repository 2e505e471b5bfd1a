"""What CF has of a variable beside units and names: standard names, cell methods, flags.

https://cfconventions.org, version 1.11. Units must be those of UDUNITS: an amount of money is
written as a pure number whose attribute ``currency`` names the money.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from drysward.day.records import YEAR

CONVENTIONS = "CF-1.11"

# Units of the program that UDUNITS does not know -> as it writes them.
_WRITTEN = {"kWh": "kW h"}
_READ = {written: unit for unit, written in _WRITTEN.items()}
# CF has no names for most of what happens on turf; these it has (table of standard names).
_STANDARD_NAMES = {"precipitation": "lwe_thickness_of_precipitation_amount"}


def to_cf(dataset: xr.Dataset) -> xr.Dataset:
    """A Dataset with the attributes of a CF file; numbers stay, booleans become flags."""
    out = dataset.copy()
    currency = dataset.attrs.get("currency")
    for name in map(str, out.variables):
        variable = out[name].variable
        # In the place of the old attributes, which other Datasets may share.
        attrs: dict[str, Any] = dict(variable.attrs)
        if variable.dtype == bool:
            flags = {"flag_values": np.array([0, 1], np.int8), "flag_meanings": "no yes"}
            out[name] = (variable.dims, variable.values.astype(np.int8), {**attrs, **flags})
            continue
        units = attrs.get("units")
        if currency and units == currency:
            attrs.update(units="1", currency=currency)
        elif units in _WRITTEN:
            attrs["units"] = _WRITTEN[units]
        if base := _standard(name):
            attrs["standard_name"] = base
        if methods := _cell_methods(name, attrs.get("units", "")):
            attrs["cell_methods"] = methods
        out[name].attrs = attrs
    return out.assign_attrs(Conventions=CONVENTIONS)


def from_cf(dataset: xr.Dataset) -> xr.Dataset:
    """The units of the program in what ``to_cf`` wrote, in place."""
    for variable in dataset.variables.values():
        attrs = variable.attrs
        if "currency" in attrs:
            attrs["units"] = attrs.pop("currency")
        elif attrs.get("units") in _READ:
            attrs["units"] = _READ[attrs["units"]]
    return dataset


def _standard(name: str) -> str:
    return _STANDARD_NAMES.get(name.removeprefix("daily_").removesuffix("_mean"), "")


def _cell_methods(name: str, units: str) -> str:
    """How a number stands for its time and field, "" where that is no simple mean or sum."""
    if name.endswith("_mean") and units != "1":
        return "time: mean"
    if name.endswith("_most") or name.startswith(("peak_", "longest_")):
        return "time: maximum"
    if name.startswith("least_"):
        return "time: minimum"
    if name.startswith("daily_"):
        return "area: mean"
    if name in (YEAR.names or ()) and units == "mm" and not name.startswith(("water_", "residual")):
        return "area: mean time: sum"
    if name.startswith("days_") and name in (YEAR.names or ()):
        return "time: sum"
    return ""
