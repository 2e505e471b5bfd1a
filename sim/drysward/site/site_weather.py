"""Daily weather of a site and what follows from it: snow, frost, warm soil, drought, spray loss.

All fields of the site share it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog
from drysward.compiled import compiled
from drysward.day.records import EARLY_MORNING, EVENING, MIDDAY, NIGHT, TIMES, records
from drysward.physics.freezing import air_resistance, frost_depth_step
from drysward.physics.frost import is_frozen
from drysward.physics.snow import (
    snow_density_step,
    snow_depth_cm,
    snow_resistance,
    snow_step,
)
from drysward.physics.spray_loss import midday_spray_loss
from drysward.physics.trailing import drought_index_mm, soil_temperature_c
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import ReferenceEt
from drysward.weather.simulated.climate import calendar_day

FloatArray = NDArray[np.float64]


WEATHER = np.dtype(
    [
        (name, "f8")
        for name in (
            "rain_mm", "tmin_c", "tmax_c", "tmean_c", "u2_m_s", "rh_min_pct", "eto_mm",
            # of the topsoil; rain and melt that reach the ground; snow on the ground, and its heat
            # resistance; depth of frost, and 1 when the ground counts as frozen
            "soil_c", "liquid_mm", "snow_water_mm", "snow_resistance", "frost_mm", "frozen",
        )
    ]
)  # fmt: skip
"""A day of weather, the same for all fields of a site."""


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """The weather of a site, and what follows from it alone."""

    record: DailyRecord
    et: ReferenceEt
    calendar_day: NDArray[np.int64]  # (n,), 0..365 in a leap-year calendar
    days: np.recarray  # WEATHER (n,)
    # (n + 1,), of the days up to each: reference ET less rain over some days, not below 0
    drought_index_mm: FloatArray
    rain_before_mm: FloatArray  # (n + 1,), of all days before each
    spray_loss: FloatArray  # (times of day, n), share of sprinkler water lost in flight


class _Processes(NamedTuple):
    """Numbers of the catalog's ``turf_processes.all`` under their names there."""

    snow_threshold_c: float
    melt_factor: float
    fresh_snow_density: float
    settled_snow_density: float
    snow_settling_rate: float
    turf_insulation: float
    ground_heat: float
    sealing_frost_mm: float


WEATHER_PROCESSES = _Processes._fields
"""Numbers of ``turf_processes.all`` that the weather of a site depends on."""


def site_weather(
    record: DailyRecord, et: ReferenceEt, catalog: Catalog, drought_days: int
) -> SiteWeather:
    """Snow, frost, drought and spray losses of every day."""
    turf = catalog.get("turf_processes", "all")

    def loss(key: str) -> float:
        return float(catalog.get("losses", key)["spray_loss_share"])

    n = record.n_days
    days = records(WEATHER, n)
    days.rain_mm, days.tmin_c, days.tmax_c = record.rain_mm, record.tmin_c, record.tmax_c
    days.u2_m_s, days.rh_min_pct, days.eto_mm = et.u2_m_s, et.rh_min_pct, et.eto_mm
    days.tmean_c = 0.5 * (record.tmax_c + record.tmin_c)
    drought_mm, spray_loss = np.zeros(n + 1), np.empty((TIMES, n))
    for time, key in ((NIGHT, "night"), (EARLY_MORNING, "early_morning"), (EVENING, "evening")):
        spray_loss[time] = loss(key)
    compiled(weather_pass, counted=False)(
        _Processes(*(float(turf[name]) for name in _Processes._fields)),
        _running_total(days.tmean_c),
        _running_total(et.eto_mm - record.rain_mm),
        drought_days,
        loss("midday_humid"),
        loss("midday_arid"),
        days,
        drought_mm,
        spray_loss[MIDDAY],
    )
    return SiteWeather(
        record=record,
        et=et,
        calendar_day=calendar_day(record.dates),
        days=days,
        drought_index_mm=drought_mm,
        rain_before_mm=_running_total(record.rain_mm),
        spray_loss=spray_loss,
    )


def _running_total(values: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(values)])


def weather_pass(
    turf: _Processes,
    total_c: FloatArray,
    total_mm: FloatArray,
    drought_days: int,
    humid_loss: float,
    arid_loss: float,
    days: Any,
    drought_mm: FloatArray,
    midday_loss: FloatArray,
) -> None:
    """Compute snow, frost, drought and spray loss of each day, in place.

    Parameters
    ----------
    total_c, total_mm : running totals (n + 1,) of mean air temperature, and of reference ET
        less rain.
    days : WEATHER (n,), of which soil, water and frost are written.
    drought_mm : (n + 1,), drought index of the days before each, written; 0 before the first.
    midday_loss : (n,), spray loss at midday, written.
    """
    snow, frost_mm = 0.0, 0.0
    density = turf.fresh_snow_density
    for d in range(days.size):
        day = days[d]
        fallen = day.rain_mm if day.tmean_c < turf.snow_threshold_c else 0.0
        density = snow_density_step(
            density,
            snow,
            fallen,
            turf.fresh_snow_density,
            turf.settled_snow_density,
            turf.snow_settling_rate,
        )
        liquid, snow = snow_step(
            snow, day.rain_mm, day.tmean_c, turf.snow_threshold_c, turf.melt_factor
        )
        kept_in = snow_resistance(snow_depth_cm(snow, density), density)
        frost_mm = frost_depth_step(
            frost_mm,
            day.tmean_c,
            snow,
            air_resistance(turf.turf_insulation, kept_in),
            turf.turf_insulation,
            turf.ground_heat,
        )
        day.liquid_mm = liquid
        day.snow_water_mm = snow
        day.snow_resistance = kept_in
        day.frost_mm = frost_mm
        day.frozen = is_frozen(frost_mm, turf.sealing_frost_mm)
        day.soil_c = soil_temperature_c(total_c, d)
        drought_mm[d + 1] = drought_index_mm(total_mm, d, drought_days)
        midday_loss[d] = midday_spray_loss(day.rh_min_pct, day.u2_m_s, humid_loss, arid_loss)
