"""The shipped scenario's weather comes from monthly normals, and is that of a plausible place."""

from __future__ import annotations

import numpy as np
import pytest

import drysward
from drysward.scenario.load import with_weather
from drysward.site.stretches import survey
from drysward.site.weather_years import weather_series
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et
from drysward.weather.series import Series
from drysward.weather.simulated.climate import MONTH_OF_DAY, calendar_day


@pytest.fixture(scope="module")
def series() -> Series:
    return weather_series(drysward.shipped())


@pytest.fixture(scope="module")
def record(series: Series) -> DailyRecord:
    return series.between(series.first, series.stop)


def test_the_demo_has_two_hundred_simulated_years(series: Series) -> None:
    assert series.kind == "generator"
    assert (str(series.first), str(series.stop)) == ("2001-01-01", "2201-01-01")
    assert "200 simulated years" in series.description
    assert any("estimate" in note for note in series.notes)


def test_it_rains_as_the_table_says(record: DailyRecord) -> None:
    normals = drysward.shipped().weather.climate
    assert normals is not None
    month = MONTH_OF_DAY[calendar_day(record.dates)]
    made = np.bincount(month, record.rain_mm) / 200
    assert made == pytest.approx(np.array(normals["rain_mm"]), rel=0.10)
    assert made.sum() == pytest.approx(sum(normals["rain_mm"]), rel=0.03)


def test_the_climate_is_a_humid_temperate_one(record: DailyRecord) -> None:
    site = drysward.shipped().site
    et = reference_et(record, site.latitude_deg, site.elevation_m)
    assert len(et.labels) == 1  # everything measured on every day
    month = record.dates.astype("datetime64[M]").astype(int) % 12 + 1
    summer = (month >= 6) & (month <= 8)
    assert 950 < et.eto_mm.sum() / 200 < 1100
    assert 4.0 < et.eto_mm[summer].mean() < 5.0
    by_summer = record.rain_mm[summer].reshape(200, 92).sum(axis=1)
    assert by_summer.min() < 130 < 240 < np.median(by_summer)  # now and then a dry one


def test_a_future_reaches_the_weather_and_the_demand() -> None:

    now, later = (
        survey(with_weather(drysward.shipped(), future=key, years=40))
        for key in ("none", "warm_dry")
    )
    assert "warm_dry" in later[0].description
    assert later[1].deficit_mm.mean() > now[1].deficit_mm.mean() + 20.0
