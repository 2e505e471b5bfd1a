"""Weather from NetCDF: variables with drysward's names, or known by the CF conventions."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput, listed, quoted
from drysward.weather.file.columns import (
    DATE,
    LARGEST_NUMBER,
    Column,
    ColumnSpec,
    by_variable,
    in_base,
    known_columns,
    quantity_of,
)
from drysward.weather.file.layouts import Place
from drysward.weather.file.rows import MOST_BYTES, ON_TOP, Rows, lacking
from drysward.weather.file.subdaily import days_of_rows, several_a_day
from drysward.weather.file.table import BoolArray, RowFault, Table, rows_of
from drysward.weather.record import FloatArray

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class CfQuantity:
    """Quantity of a CF standard name, or of a variable name of reanalyses.

    ``daily`` by the method over time in ``cell_methods``, "" for none; ``momentary`` for files with
    several rows a day.
    """

    daily: Mapping[str, str]
    momentary: str = ""
    height_m: float | None = None
    ends: bool = False  # several rows a day: amount of the period that ends at the stamp


_RAIN = {"": "rain", "sum": "rain", "mean": "rain"}
_MEAN_WIND = {"": "wind", "mean": "wind"}
_MEAN_DEWPOINT = {"": "dewpoint", "mean": "dewpoint"}
_MEAN_SOLAR = {"": "solar", "mean": "solar", "sum": "solar"}

# Standard names of the CF conventions, from memory.
STANDARD_NAMES: dict[str, CfQuantity] = {
    "air_temperature": CfQuantity({"maximum": "tmax", "minimum": "tmin"}, "temperature"),
    "precipitation_amount": CfQuantity(_RAIN, "rain"),
    "lwe_thickness_of_precipitation_amount": CfQuantity(_RAIN, "rain"),
    "precipitation_flux": CfQuantity(_RAIN, "rain"),
    "lwe_precipitation_rate": CfQuantity(_RAIN, "rain"),
    "dew_point_temperature": CfQuantity(_MEAN_DEWPOINT, "dewpoint"),
    "relative_humidity": CfQuantity(
        {"": "rh_mean", "mean": "rh_mean", "maximum": "rh_max", "minimum": "rh_min"}, "rh"
    ),
    "water_vapor_partial_pressure_in_air": CfQuantity(
        {"": "vapor_pressure", "mean": "vapor_pressure"}, "vapor_pressure"
    ),
    "wind_speed": CfQuantity(_MEAN_WIND, "wind"),
    "surface_downwelling_shortwave_flux_in_air": CfQuantity(_MEAN_SOLAR, "solar"),
    "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air": CfQuantity(
        _MEAN_SOLAR, "solar"
    ),
    "duration_of_sunshine": CfQuantity({"": "sunshine", "sum": "sunshine"}, "sunshine"),
}

# Names of variables in reanalyses and climate models, from memory; they take precedence over
# standard names.
VARIABLE_NAMES: dict[str, CfQuantity] = {
    "tasmax": CfQuantity({"": "tmax", "maximum": "tmax"}),
    "tasmin": CfQuantity({"": "tmin", "minimum": "tmin"}),
    "tas": CfQuantity({}, "temperature"),
    "pr": CfQuantity(_RAIN, "rain"),
    "rsds": CfQuantity(_MEAN_SOLAR, "solar"),
    "sfcWind": CfQuantity(_MEAN_WIND, "wind", 10.0),
    "hurs": CfQuantity({"": "rh_mean", "mean": "rh_mean"}, "rh"),
    "mx2t": CfQuantity({"": "tmax", "maximum": "tmax"}, "tmax", ends=True),
    "mn2t": CfQuantity({"": "tmin", "minimum": "tmin"}, "tmin", ends=True),
    "t2m": CfQuantity({"maximum": "tmax", "minimum": "tmin"}, "temperature"),
    "d2m": CfQuantity(_MEAN_DEWPOINT, "dewpoint"),
    "si10": CfQuantity(_MEAN_WIND, "wind", 10.0),
    "tp": CfQuantity(_RAIN, "rain", ends=True),
    "ssrd": CfQuantity(_MEAN_SOLAR, "solar", ends=True),
}
PACKING = 0.01  # in base units, estimate: smaller negative values are rounding of packed numbers
# Components of wind: eastward and northward.
_WIND_PARTS = (("u10", "v10", 10.0), ("uas", "vas", 10.0))
_WIND_NAMES = ("eastward_wind", "northward_wind")


def read_netcdf(
    where: str,
    data: bytes,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
    hours_from_utc: float | None,
    without_temperature: bool,
) -> Rows:
    """The rows of a NetCDF file: CF variables on one time dimension, with ``units`` attributes."""
    dataset = _opened(where, data)
    time = specs[DATE].column if DATE in specs else _time_name(dataset)
    stamps, left_out = _stamps(where, dataset, time)
    (dimension,) = dataset[time].dims
    day = stamps.astype("datetime64[D]")
    sub_daily = several_a_day(stamps)
    dataset, notes = _with_wind_speed(dataset, str(dimension), sub_daily)

    series = {
        str(name): variable
        for name, variable in dataset.data_vars.items()
        if dimension in variable.dims
    }
    units = {name: str(variable.attrs.get("units", "")) for name, variable in series.items()}
    named: dict[str, Column | None] = {time: Column(time, DATE, "")}
    declared = {spec.column for spec in specs.values()}
    faults: list[RowFault] = []
    unused: list[str] = []
    public = False
    for name, variable in series.items():
        column = by_variable(name, units[name])
        if column is None and name not in declared and name not in ignore:
            column, known, fault = _by_convention(where, name, variable, sub_daily)
            if fault is not None:
                faults.append((ON_TOP, fault))
            if known and column is None:
                unused.append(name)
                continue
            public |= known
            if column is not None and column.height_m is None and column.quantity == "wind":
                column = replace(column, height_m=_height(variable))
        named[name] = column
    # Of several columns of one quantity the first known by its variable's name is used.
    by_name = {c.quantity: name for name, c in reversed(named.items()) if c and name in
               VARIABLE_NAMES}  # fmt: skip
    twice = [
        name for name, c in named.items()
        if c and public and by_name.get(c.quantity, name) != name
    ]  # fmt: skip
    unused += twice
    named = {name: column for name, column in named.items() if name not in twice}
    ignore = [name for name in ignore if name in named or name not in unused]
    columns, height, top_faults = known_columns(
        where, named, units, specs, wind_height_m, ignore, without_temperature
    )
    if not any(fault for _, fault in faults):
        faults += [(ON_TOP, fault) for fault in top_faults]
    else:
        faults += [(ON_TOP, f) for f in top_faults if "no column for" not in f.what]

    table, rates, more = _numbers(where, columns, series, str(dimension), day)
    faults += more
    place = Place(*(_single(dataset, names) for names in (
        ("lat", "latitude"), ("lon", "longitude"), ("elevation", "altitude", "orog"))))  # fmt: skip
    if public:
        names = ", ".join(column.name for column in columns if column.quantity != DATE)
        left = f"; not used: {listed(unused)}" if unused else ""
        notes = [f"read by the CF conventions: {names}{left}", *notes, *lacking(table)]
    if not sub_daily:
        return Rows(table, height, faults, notes, place, left_out, public)
    stamps, note = _local(stamps, place, hours_from_utc)
    rows = days_of_rows(table, stamps, rates, height, faults, [*notes, *note])
    rows.place, rows.left_out, rows.public = place, left_out, public
    return rows


def _opened(where: str, data: bytes) -> xr.Dataset:
    import netCDF4
    import xarray as xr

    try:
        with netCDF4.Dataset("memory", memory=data) as source:
            store = xr.backends.NetCDF4DataStore(source)
            # Hours of sunshine are numbers here, not time spans.
            opened = xr.open_dataset(store, decode_timedelta=False, decode_coords="all")
            if opened.nbytes > MOST_BYTES:
                what = f"would take {opened.nbytes:,} bytes"
                raise FaultyInput(
                    Fault(where, what, f"at most {MOST_BYTES:,}: one point, cut out before")
                )
            return opened.load()
    except (FaultyInput, MemoryError):
        raise
    except Exception as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        what = f"is not readable as NetCDF ({quoted(reason, bare=True, most=200)})"
        raise FaultyInput(Fault(where, what)) from None


def _time_name(dataset: xr.Dataset) -> str:
    """The variable of time: by its name, or by its standard name."""
    if "time" in dataset.variables:
        return "time"
    for name, variable in dataset.coords.items():
        if variable.attrs.get("standard_name") == "time" and variable.ndim == 1:
            return str(name)
    return "time"


def _stamps(
    where: str, dataset: xr.Dataset, time: str
) -> tuple[NDArray[np.datetime64], str]:
    """Minutes of every row, and the days that the file's calendar leaves out."""
    left_out = ""
    known = time in dataset.variables and dataset[time].ndim == 1
    values: Any = dataset[time].values if known else np.array([])
    calendar = getattr(values.flat[0], "calendar", "") if values.size else ""
    if calendar in ("noleap", "365_day", "standard", "gregorian", "proleptic_gregorian"):
        texts = [one.strftime("%Y-%m-%dT%H:%M") for one in values]
        values = np.array(texts, dtype="datetime64[m]")
        left_out = "29 February" if calendar in ("noleap", "365_day") else ""
    if not known or not np.issubdtype(values.dtype, np.datetime64):
        note = f" (its calendar is {quoted(calendar)})" if calendar else ""
        what = f"has no variable {quoted(time)} with days of the standard calendar{note}"
        raise FaultyInput(Fault(where, what, "time of the CF conventions, one dimension"))
    if not values.size or np.isnat(values).any():
        what = "has days without a date" if values.size else "has no days"
        raise FaultyInput(Fault(f"{where}, variable {quoted(time)}", what, "a date for every day"))
    return values.astype("datetime64[m]"), left_out


def _with_wind_speed(
    dataset: xr.Dataset, dimension: str, sub_daily: bool
) -> tuple[xr.Dataset, list[str]]:
    """The dataset with wind speed computed from two components."""
    by_standard = {
        str(variable.attrs.get("standard_name")): str(name)
        for name, variable in dataset.data_vars.items()
    }
    pairs = [*_WIND_PARTS]
    if all(name in by_standard for name in _WIND_NAMES):
        u, v = (by_standard[name] for name in _WIND_NAMES)
        pairs.append((u, v, _height(dataset[u]) or 0.0))
    for u, v, height_m in pairs:
        if u not in dataset or v not in dataset or dataset[u].dtype.kind != "f":
            continue
        name = f"wind of {u} and {v}"
        speed: xr.DataArray = (dataset[u] ** 2 + dataset[v] ** 2) ** 0.5
        speed.attrs = {"units": dataset[u].attrs.get("units", ""), "standard_name": "wind_speed"}
        if height_m:
            speed.attrs["height_m"] = height_m
        notes = []
        if not sub_daily:
            notes.append(f"{name}: daily means of components, which are less than the mean speed")
        return dataset.drop_vars([u, v]).assign({name: speed}), notes
    return dataset, []


def _by_convention(
    where: str, name: str, variable: xr.DataArray, sub_daily: bool
) -> tuple[Column | None, bool, Fault | None]:
    """The column, whether the variable follows a known convention, and a fault."""
    standard = str(variable.attrs.get("standard_name", ""))
    known = VARIABLE_NAMES.get(name) or STANDARD_NAMES.get(standard)
    follows = bool(known or standard or any(key.startswith("GRIB_") for key in variable.attrs))
    if known is None:
        return None, follows, None
    method = _method(str(variable.attrs.get("cell_methods", "")))
    quantity = known.momentary if sub_daily else known.daily.get(method, "")
    if not quantity:
        if not sub_daily and not method and "tmax" in known.daily.values():
            what = f"{quoted(name)} does not say whether it is the daily maximum or minimum"
            allowed = (
                'cell_methods "time: maximum" or "time: minimum", or declare it: '
                f'columns = {{ tmax = {{ column = "{name}" }} }}'
            )
            return None, follows, Fault(where, what, allowed)
        return None, follows, None
    unit = str(variable.attrs.get("units", ""))
    height = known.height_m or variable.attrs.get("height_m")
    return Column(name, quantity, unit, height, ends=known.ends), follows, None


def _method(cell_methods: str) -> str:
    """The method over time: ``maximum`` of ``area: mean time: maximum within days``."""
    words = cell_methods.replace(":", ": ").split()
    for i, word in enumerate(words[:-1]):
        if word in ("time:", "valid_time:"):
            return words[i + 1].strip("()")
    return ""


def _height(variable: xr.DataArray) -> float | None:
    """The height in meters from a scalar coordinate of a variable."""
    if "height_m" in variable.attrs:
        return float(variable.attrs["height_m"])
    for name, coordinate in variable.coords.items():
        is_height = "height" in (str(name), coordinate.attrs.get("standard_name"))
        if is_height and coordinate.size == 1 and coordinate.attrs.get("units", "m") == "m":
            return float(coordinate.values.item())
    return None


def _single(dataset: xr.Dataset, names: Collection[str]) -> float | None:
    for name in names:
        if name in dataset.variables and dataset[name].size == 1:
            value = dataset[name].values.item()
            return float(value) if isinstance(value, (int, float)) else None
    return None


def _local(
    stamps: NDArray[np.datetime64], place: Place, hours_from_utc: float | None
) -> tuple[NDArray[np.datetime64], list[str]]:
    """Stamps of UTC, as the conventions have them, in local standard time."""
    if hours_from_utc is not None:
        return stamps + int(60 * hours_from_utc), []
    if place.longitude_deg is None:
        return stamps, ["the file has no longitude: hours are assumed to be local standard time"]
    east = (place.longitude_deg + 180.0) % 360.0 - 180.0
    hours = round(east / 15.0)
    note = f"hours of UTC shifted by {hours:+d} h for the longitude, {east:.1f} deg"
    return stamps + 60 * hours, [note]


def _numbers(
    where: str,
    columns: Collection[Column],
    series: Mapping[str, xr.DataArray],
    dimension: str,
    dates: NDArray[np.datetime64],
) -> tuple[Table, frozenset[str], list[RowFault]]:
    """The values of all columns, and the quantities that are rates."""
    faults: list[RowFault] = []
    values: dict[str, FloatArray] = {}
    raw: dict[str, FloatArray] = {}
    blank: dict[str, BoolArray] = {}
    rates: set[str] = set()
    for column in columns:
        if column.name not in series:
            continue
        spot = f"{where}, variable {quoted(column.name)}"
        variable = series[column.name]
        single = [dim for dim in variable.dims if variable.sizes[dim] == 1 and dim != dimension]
        variable = variable.squeeze(single)
        if not column.unit:
            faults.append((ON_TOP, Fault(spot, "has no units attribute", "units in CF spelling")))
        elif variable.dims != (dimension,):
            dims = ", ".join(f"{dim}" for dim in variable.dims)
            sizes = " by ".join(str(variable.sizes[d]) for d in variable.dims if d != dimension)
            allowed = f"only {dimension}: one point of the {sizes}, cut out before"
            faults.append((ON_TOP, Fault(spot, f"has dimensions {dims}", allowed)))
        elif not np.issubdtype(variable.dtype, np.number):
            faults.append((ON_TOP, Fault(spot, "is not numbers", "numbers")))
        else:
            numbers = variable.values.astype(float)
            empty = np.isnan(numbers)
            for row in rows_of(np.abs(numbers) > LARGEST_NUMBER):
                what = f"is {numbers[row]:.3g} on {dates[row]}"
                faults.append((row, Fault(spot, what, "a number of weather, or missing")))
                numbers[row] = np.nan
            try:
                values[column.quantity], is_rate = in_base(numbers, column)
            except ValueError as error:
                faults.append((ON_TOP, Fault(spot, str(error))))
                continue
            # Packing turns 0 into a number close to it.
            base = values[column.quantity]
            if quantity_of(column.quantity).low == 0.0:
                packed = (base < 0.0) & (base > -PACKING)
                values[column.quantity] = np.where(packed, 0.0, base)
            rates |= {column.quantity} if is_rate else set()
            raw[column.quantity], blank[column.quantity] = numbers, empty
    by_quantity = {column.quantity: column for column in columns}
    return Table(where, dates, values, raw, blank, by_quantity), frozenset(rates), faults
