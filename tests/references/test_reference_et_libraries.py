"""Reference evapotranspiration of real records against two independent libraries.

The libraries are pyet and refet. Where the environment variable DRYSWARD_EXTRA_WEATHER names a
folder, the files in it that have dew point, wind, and radiation or sunshine are tried too.
"""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyet
import pytest
import refet

from drysward.physics import reference_et as fao
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import ReferenceEt, reference_et

NEWARK = Path(__file__).parents[1] / "data" / "newark-2013.csv"
EXTRA = os.environ.get("DRYSWARD_EXTRA_WEATHER")
TOLERANCE_MM = 0.05
# A file does not say where it is from; the equations can be compared at any place.
ANYWHERE = (38.0, 50.0)  # latitude_deg, elevation_m


def by_pyet(record: DailyRecord, ours: ReferenceEt, latitude_deg: float, elevation_m: float):
    """Radiation by the library from sunshine, where the record has that and no radiation."""
    days = pd.DatetimeIndex(record.dates)

    def series(values):
        return pd.Series(np.asarray(values, dtype=float), days)

    tmax, tmin = series(record.tmax_c), series(record.tmin_c)
    if record.solar_mj_m2 is None and record.sunshine_h is not None:
        radiation = {"n": series(record.sunshine_h)}
    else:
        radiation = {"rs": series(ours.solar_mj_m2)}
    return pyet.pm_fao56(
        tmean=(tmax + tmin) / 2,
        wind=series(ours.u2_m_s),
        tmax=tmax,
        tmin=tmin,
        ea=pyet.calc_e0(series(record.dewpoint_c)),
        elevation=elevation_m,
        lat=np.radians(latitude_deg),
        **radiation,
    ).to_numpy()


def by_refet(record: DailyRecord, ours: ReferenceEt, latitude_deg: float, elevation_m: float):
    assert record.wind_m_s is not None
    daily = refet.Daily(
        tmin=record.tmin_c,
        tmax=record.tmax_c,
        tdew=record.dewpoint_c,
        rs=ours.solar_mj_m2,
        uz=record.wind_m_s,
        zw=record.wind_height_m,
        elev=elevation_m,
        lat=latitude_deg,
        doy=fao.day_of_year(record.dates),
        method="asce",
    )
    return np.maximum(daily.eto(), 0.0)


def differences(record: DailyRecord, latitude_deg: float, elevation_m: float) -> dict[str, float]:
    """Largest difference of a day from each library, over days with dew point and wind."""
    ours = reference_et(record, latitude_deg, elevation_m)
    usable = np.isfinite(record.dewpoint_c) & np.isfinite(record.wind_m_s)
    for radiation in (record.solar_mj_m2, record.sunshine_h):
        usable &= radiation is None or np.isfinite(radiation)
    # Under the floor of 0.5 m/s the libraries go on with the wind as it is.
    usable &= ours.u2_m_s > 0.5
    assert usable.mean() > 0.9
    return {
        name: float(np.abs(ours.eto_mm - other)[usable].max())
        for name, other in (
            ("pyet", by_pyet(record, ours, latitude_deg, elevation_m)),
            ("refet", by_refet(record, ours, latitude_deg, elevation_m)),
        )
    }


def test_newark_2013():
    found = differences(read_weather(NEWARK), 40.70, 3.0)
    assert found["pyet"] < TOLERANCE_MM
    assert found["refet"] < TOLERANCE_MM


def test_solar_from_sunshine_and_temperature_over_a_year():
    """Radiation itself, which the comparison above hands to the libraries."""
    days = pd.date_range("2013-01-01", periods=365)
    j = fao.day_of_year(days.to_numpy())
    latitude = np.radians(40.70)
    ra = pyet.extraterrestrial_r(days, latitude).to_numpy()
    assert fao.extraterrestrial_radiation_mj_m2(40.70, j) == pytest.approx(ra, abs=0.01)
    hours = pd.Series(8.0, days)
    solar = pyet.calc_rad_sol_in(hours, latitude).to_numpy()
    ours = fao.solar_from_sunshine_mj_m2(8.0, fao.daylight_hours(40.70, j), ra)
    assert ours == pytest.approx(solar, abs=0.01)


@pytest.mark.skipif(not EXTRA, reason="DRYSWARD_EXTRA_WEATHER names no folder of weather files")
@pytest.mark.parametrize("radiation", ["solar_mj_m2", "sunshine_h"])
def test_longer_records(radiation):
    folder = Path(str(EXTRA))
    rule = FillRule(rain="zero", temperature="interpolate")
    other = "sunshine_h" if radiation == "solar_mj_m2" else "solar_mj_m2"
    tried = 0
    for path in sorted(folder.glob("*.csv")):
        record = read_weather(path, fill=rule)
        if any(getattr(record, name) is None for name in ("dewpoint_c", "wind_m_s", radiation)):
            continue
        found = differences(replace(record, **{other: None}), *ANYWHERE)
        print(f"{path.name}, {radiation}: {found}")
        assert max(found.values()) < TOLERANCE_MM, path.name
        tried += 1
    if not tried:
        pytest.skip(f"no file of {folder} has dew point, wind and {radiation}")
