"""What the weather makes of every day of a site: snow, frozen ground, warm soil, drought, spray.

All fields of the site share it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog
from drysward.compiled import compiled
from drysward.day.records import EARLY_MORNING, EVENING, MIDDAY, NIGHT, TIMES
from drysward.physics.frost import frozen_after, frozen_index_step
from drysward.physics.snow import snow_step
from drysward.physics.sprinklers import midday_spray_loss
from drysward.physics.trailing import drought_index_mm, soil_temperature_c
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import ReferenceEt
from drysward.weather.simulated.climate import calendar_day

FloatArray = NDArray[np.float64]


class WeatherDays(NamedTuple):
    """What a site's days bring to its fields; each (n,), in one piece."""

    rain_mm: FloatArray
    tmin_c: FloatArray
    tmax_c: FloatArray
    u2_m_s: FloatArray
    rh_min_pct: FloatArray
    eto_mm: FloatArray
    tmean_c: FloatArray
    soil_c: FloatArray  # of the top soil
    liquid_mm: FloatArray  # rain and melt that reach the ground
    snow_water_mm: FloatArray
    frozen: FloatArray
    drought_index_mm: FloatArray


@dataclass(frozen=True, eq=False)
class SiteWeather:
    """The weather of a site, and what follows from it alone."""

    record: DailyRecord
    et: ReferenceEt
    calendar_day: NDArray[np.int64]  # (n,), 0..365 in a leap-year calendar
    days: WeatherDays
    rain_before_mm: FloatArray  # (n + 1,), of all days before each
    spray_loss: FloatArray  # (times of day, n), share of sprinkler water lost in flight

    @property
    def drought_index_mm(self) -> FloatArray:
        """Reference ET less rain over the days of the index, not below 0, (n,)."""
        return self.days.drought_index_mm


class _Processes(NamedTuple):
    """Numbers of the catalogue's ``turf_processes.all`` under their names there."""

    snow_threshold_c: float
    melt_factor: float
    frozen_index_decay: float
    frozen_index_insulation_cold: float
    frozen_index_insulation_warm: float
    frozen_index_freeze: float
    frozen_index_thaw: float


def site_weather(
    record: DailyRecord, et: ReferenceEt, catalog: Catalog, drought_days: int
) -> SiteWeather:
    """Snow, frost, drought and spray losses of every day."""
    turf = catalog.get("turf_processes", "all")

    def loss(key: str) -> float:
        return float(catalog.get("losses", key)["spray_loss_share"])

    n = record.n_days
    tmean = 0.5 * (record.tmax_c + record.tmin_c)
    soil_c, liquid_mm, snow_water_mm, frozen, drought_mm = np.empty((5, n))
    days = WeatherDays(
        rain_mm=np.ascontiguousarray(record.rain_mm),
        tmin_c=np.ascontiguousarray(record.tmin_c),
        tmax_c=np.ascontiguousarray(record.tmax_c),
        u2_m_s=np.ascontiguousarray(et.u2_m_s),
        rh_min_pct=np.ascontiguousarray(et.rh_min_pct),
        eto_mm=np.ascontiguousarray(et.eto_mm),
        tmean_c=tmean,
        soil_c=soil_c,
        liquid_mm=liquid_mm,
        snow_water_mm=snow_water_mm,
        frozen=frozen,
        drought_index_mm=drought_mm,
    )
    spray_loss = np.empty((TIMES, n))
    for time, key in ((NIGHT, "night"), (EARLY_MORNING, "early_morning"), (EVENING, "evening")):
        spray_loss[time] = loss(key)
    compiled(weather_pass, counted=False)(
        _Processes(*(float(turf[name]) for name in _Processes._fields)),
        _running_total(tmean),
        _running_total(et.eto_mm - record.rain_mm),
        drought_days,
        loss("midday_humid"),
        loss("midday_arid"),
        days,
        spray_loss[MIDDAY],
    )
    return SiteWeather(
        record=record,
        et=et,
        calendar_day=calendar_day(record.dates),
        days=days,
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
    days: WeatherDays,
    midday_loss: FloatArray,
) -> None:
    """Write into ``days`` and ``midday_loss`` (n,) what the weather makes of each day.

    ``total_c`` and ``total_mm`` are running totals (n + 1,) of mean air temperature and of
    reference ET less rain.
    """
    snow, index, frozen = 0.0, 0.0, 0.0
    for d in range(days.rain_mm.size):
        tmean = days.tmean_c[d]
        liquid, snow = snow_step(
            snow, days.rain_mm[d], tmean, turf.snow_threshold_c, turf.melt_factor
        )
        index = frozen_index_step(
            index,
            tmean,
            snow,
            turf.frozen_index_decay,
            turf.frozen_index_insulation_cold,
            turf.frozen_index_insulation_warm,
        )
        frozen = frozen_after(frozen, index, turf.frozen_index_freeze, turf.frozen_index_thaw)
        days.liquid_mm[d] = liquid
        days.snow_water_mm[d] = snow
        days.frozen[d] = frozen
        days.soil_c[d] = soil_temperature_c(total_c, d)
        days.drought_index_mm[d] = drought_index_mm(total_mm, d, drought_days)
        midday_loss[d] = midday_spray_loss(
            days.rh_min_pct[d], days.u2_m_s[d], humid_loss, arid_loss
        )
