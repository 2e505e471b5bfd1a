"""Daily weather as a file for scenarios: CSV, or NetCDF with CF conventions."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import xarray as xr

from drysward import __version__
from drysward.files import OWN_ONLY, Outputs, ending_of, write_netcdf
from drysward.quantities import convert
from drysward.weather.file.columns import QUANTITIES
from drysward.weather.record import DailyRecord
from drysward.weather.series import Series

ENDINGS = (".csv", ".nc")
YEARS_AT_ONCE = 100
ONE_DAY = np.timedelta64(1, "D")
_US = {"rain": "in", "tmax": "f", "tmin": "f", "dewpoint": "f", "wind": "mph", "reference_et": "in"}
_DECIMALS = {"in": 3, "f": 1, "mph": 1}


# CF's name of each quantity, where its table of standard names has one, and what of the day it is.
_CF: Mapping[str, dict[str, str]] = {
    "rain": {
        "long_name": "rain and melted snow", "cell_methods": "time: sum",
        "standard_name": "lwe_thickness_of_precipitation_amount",
    },
    "tmax": {
        "long_name": "highest air temperature", "cell_methods": "time: maximum",
        "standard_name": "air_temperature",
    },
    "tmin": {
        "long_name": "lowest air temperature", "cell_methods": "time: minimum",
        "standard_name": "air_temperature",
    },
    "dewpoint": {
        "long_name": "dew point", "cell_methods": "time: mean",
        "standard_name": "dew_point_temperature",
    },
    "vapor_pressure": {
        "long_name": "vapor pressure", "cell_methods": "time: mean",
        "standard_name": "water_vapor_partial_pressure_in_air",
    },
    "rh_mean": {
        "long_name": "mean relative humidity", "cell_methods": "time: mean",
        "standard_name": "relative_humidity",
    },
    "rh_max": {
        "long_name": "highest relative humidity", "cell_methods": "time: maximum",
        "standard_name": "relative_humidity",
    },
    "rh_min": {
        "long_name": "lowest relative humidity", "cell_methods": "time: minimum",
        "standard_name": "relative_humidity",
    },
    "wind": {
        "long_name": "wind speed", "cell_methods": "time: mean", "standard_name": "wind_speed",
    },
    "solar": {
        "long_name": "solar radiation of the day", "cell_methods": "time: sum",
        "standard_name": "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air",
    },
    "sunshine": {
        "long_name": "hours of sunshine", "cell_methods": "time: sum",
        "standard_name": "duration_of_sunshine",
    },
    "reference_et": {"long_name": "reference evapotranspiration", "cell_methods": "time: sum"},
}  # fmt: skip


def write_weather(
    series: Series, path: Path, units: str = "us", outputs: Outputs = OWN_ONLY
) -> None:
    """Write the days of ``series`` to a .csv or .nc file, a hundred years at a time for CSV.

    ``units`` is "us" or "metric", for CSV; NetCDF has base units. Numbers are rounded to the
    precision of weather measurements. FaultyInput when the file cannot be written.
    """
    write = _write_csv if ending_of(path, ENDINGS) == ".csv" else _write_netcdf
    outputs.write({path: lambda part: write(series, part, units)})


def _parts(series: Series) -> Iterator[DailyRecord]:
    start = series.first
    while start < series.stop:
        later = start.astype("datetime64[Y]") + YEARS_AT_ONCE
        stop = min(later.astype("datetime64[D]"), series.stop)
        yield series.between(start, stop)
        start = stop


def _header(quantity: str, suffix: str, record: DailyRecord) -> str:
    at = f"_{record.wind_height_m:g}m" if quantity == "wind" else ""
    return f"{quantity}{at}_{suffix}"


def _write_csv(series: Series, path: Path, units: str) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        header: list[str] = []
        for record in _parts(series):
            columns = []
            names = ["date"]
            for quantity, facts in QUANTITIES.items():
                values = getattr(record, facts.field)
                if values is None:
                    continue
                suffix = _US.get(quantity) if units == "us" else None
                suffix = suffix or next(iter(facts.suffixes))
                unit = facts.suffixes[suffix]
                # Two points define the line from one scale to another, offset included.
                nought, ten = (convert(x, facts.base, unit) for x in (0.0, 10.0))
                shown = nought + values * (ten - nought) / 10.0
                names.append(_header(quantity, suffix, record))
                columns.append(_texts(shown, _DECIMALS.get(suffix, 2)))
            if not header:
                header = names
                rows.writerow(header)
            days = np.datetime_as_string(record.dates, unit="D")
            rows.writerows(zip(days, *columns, strict=True))


def _texts(values: np.ndarray, decimals: int) -> list[str]:
    """Numbers as text, empty when unknown; adding 0.0 turns -0.0 into 0.0."""
    rounded = np.round(values, decimals) + 0.0
    return ["" if value != value else f"{value:.{decimals}f}" for value in rounded.tolist()]


def _write_netcdf(series: Series, path: Path, _units: str) -> None:
    record = series.between(series.first, series.stop)
    days = record.dates.astype("datetime64[s]")
    out = xr.Dataset(
        {"time_bounds": (("time", "ends"), np.stack([days, days + ONE_DAY], axis=1))},
        {"time": ("time", days, {"standard_name": "time", "bounds": "time_bounds"})},
        attrs={
            "Conventions": "CF-1.11",
            "title": f"daily weather: {series.description}",
            "source": series.description,
            "history": f"written by drysward {__version__}",
        },
    )
    for quantity, facts in QUANTITIES.items():
        values = getattr(record, facts.field)
        if values is not None:
            at = f"_{record.wind_height_m:g}m" if quantity == "wind" else ""
            attrs = {"units": facts.base, **_CF[quantity]}
            out[quantity + at] = ("time", values, attrs)
    since = {"units": "days since 2000-01-01", "dtype": "int64"}
    write_netcdf(out, path, {"time": since, "time_bounds": since})
