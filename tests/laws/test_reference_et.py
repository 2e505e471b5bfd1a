"""What must hold of reference evapotranspiration at any place and in any weather."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drysward.faults import FaultyInput
from drysward.physics import reference_et as fao
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import FROM_FILE, reference_et

YEAR = np.arange("2012-01-01", "2013-01-01", dtype="datetime64[D]")


def record(**columns) -> DailyRecord:
    n = YEAR.size
    given_columns = {"rain_mm": np.zeros(n), "tmax_c": np.full(n, 24.0), "tmin_c": np.full(n, 11.0)}
    return DailyRecord(dates=YEAR, **{**given_columns, **columns})


def slow_extraterrestrial_radiation(latitude_deg: float, day: int) -> float:
    """The flux of FAO-56 summed over the day in steps of 9 seconds, the sun up."""
    latitude = np.radians(latitude_deg)
    declination = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    hour_angle = (np.arange(9600) + 0.5) / 9600 * 2 * np.pi - np.pi
    height = np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    distance = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    return float(np.maximum(height, 0).mean() * 24 * 60 * 0.0820 * distance)


@settings(max_examples=60, deadline=None)
@given(st.floats(-90, 90), st.integers(1, 366))
def test_extraterrestrial_radiation_is_the_sum_of_its_day(latitude_deg, day):
    ra = float(fao.extraterrestrial_radiation_mj_m2(latitude_deg, day))
    assert ra == pytest.approx(slow_extraterrestrial_radiation(latitude_deg, day), abs=0.01)
    assert 0 <= ra < 50
    assert 0 <= fao.daylight_hours(latitude_deg, day) <= 24 + 1e-9


def test_polar_day_and_night():
    assert fao.daylight_hours(78.0, np.array([172.0, 355.0])) == pytest.approx([24, 0])
    assert fao.daylight_hours(-78.0, np.array([172.0, 355.0])) == pytest.approx([0, 24])
    assert fao.extraterrestrial_radiation_mj_m2(78.0, 355.0) == 0.0


def test_south_has_its_summer_in_january():
    north = fao.extraterrestrial_radiation_mj_m2(40.0, np.array([15.0, 196.0]))
    south = fao.extraterrestrial_radiation_mj_m2(-40.0, np.array([15.0, 196.0]))
    assert north[0] < north[1]
    assert south[0] > south[1]
    assert south[0] > north[1]  # the earth is nearest to the sun in January


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-90, 90),
    st.floats(-400, 8000),
    st.floats(-80, 50),
    st.floats(0, 30),
    st.one_of(st.none(), st.floats(0, 100)),
    st.one_of(st.none(), st.floats(0, 60)),
)
def test_never_negative_and_finite(latitude_deg, elevation_m, tmin, spread, humidity, wind):
    n = YEAR.size
    made = record(
        tmax_c=np.full(n, min(tmin + spread, 60.0)),
        tmin_c=np.full(n, tmin),
        rh_mean_pct=None if humidity is None else np.full(n, humidity),
        wind_m_s=None if wind is None else np.full(n, wind),
        wind_height_m=10.0,
    )
    found = reference_et(made, latitude_deg, elevation_m)
    for values in (found.eto_mm, found.solar_mj_m2, found.u2_m_s, found.vapor_pressure_kpa):
        assert np.isfinite(values).all()
        assert (values >= 0).all()
    assert ((found.rh_min_pct >= 0) & (found.rh_min_pct <= 100)).all()
    assert (found.u2_m_s >= 0.5).all()


def test_more_sun_and_drier_air_evaporate_more():
    n = YEAR.size
    base = record(dewpoint_c=np.full(n, 10.0), solar_mj_m2=np.full(n, 12.0))
    eto = reference_et(base, 40, 100).eto_mm
    assert (reference_et(replace(base, solar_mj_m2=np.full(n, 15.0)), 40, 100).eto_mm > eto).all()
    assert (reference_et(replace(base, dewpoint_c=np.full(n, 5.0)), 40, 100).eto_mm > eto).all()


def test_air_moister_than_the_mean_of_its_day_has_no_deficit():
    """A dew point that passes the saturation of the day's mean adds no water to the grass."""
    n = YEAR.size
    base = record(solar_mj_m2=np.full(n, 12.0), wind_m_s=np.full(n, 5.0), wind_height_m=2.0)
    saturated = np.asarray(fao.mean_saturation_vapor_pressure_kpa(base.tmax_c, base.tmin_c))
    at = reference_et(replace(base, vapor_pressure_kpa=saturated), 40, 100).eto_mm
    beyond = reference_et(replace(base, vapor_pressure_kpa=saturated * 1.1), 40, 100).eto_mm
    # Moister air only sends back more longwave radiation.
    assert (beyond >= at).all()


def test_a_blank_cell_falls_back_on_that_day_alone():
    n = YEAR.size
    dewpoint, wind, solar = np.full(n, 9.0), np.full(n, 3.0), np.full(n, 15.0)
    sunshine = np.full(n, 7.0)
    whole = record(
        dewpoint_c=dewpoint, wind_m_s=wind, wind_height_m=2.0, solar_mj_m2=solar,
        sunshine_h=sunshine,
    )  # fmt: skip
    gaps = {"dewpoint_c": dewpoint.copy(), "wind_m_s": wind.copy(), "solar_mj_m2": solar.copy()}
    for day, values in enumerate(gaps.values()):
        values[day] = np.nan
    before, after = reference_et(whole, 40, 100), reference_et(replace(whole, **gaps), 40, 100)
    assert (before.eto_mm[3:] == after.eto_mm[3:]).all()
    told = [after.labels[code].split("; ") for code in after.procedure]
    assert told[0][1] == "humidity from Tmin"
    assert told[1][2] == "wind taken as 2 m/s (4.5 mph)"
    assert told[2][3] == "radiation from sunshine"
    measured = [
        "Penman-Monteith", "humidity from dew point", "wind as given", "radiation as given"
    ]  # fmt: skip
    assert told[3] == measured
    ((year, days),) = after.by_year()
    assert year == 2012
    assert sum(days.values()) == 366
    assert next(iter(days.items())) == ("; ".join(measured), 363)


HUMIDITY = {
    "vapor_pressure_kpa": (1.2, "humidity from vapor pressure"),
    "dewpoint_c": (9.0, "humidity from dew point"),
    "rh_min_pct": (40.0, "humidity from largest and least RH"),
    "rh_max_pct": (95.0, "humidity from largest RH"),
    "rh_mean_pct": (70.0, "humidity from mean RH"),
}


def test_the_best_humidity_is_used_first():
    columns = {name: np.full(YEAR.size, value) for name, (value, _) in HUMIDITY.items()}
    for name, (_, label) in HUMIDITY.items():
        found = reference_et(record(**columns), 40, 100)
        assert f"; {label};" in found.labels[0]
        columns[name] = None
    assert "; humidity from Tmin;" in reference_et(record(**columns), 40, 100).labels[0]


def test_reference_et_of_the_file_is_used_as_it_is():
    given_mm = np.full(YEAR.size, 4.2)
    given_mm[5] = np.nan
    found = reference_et(record(reference_et_mm=given_mm), 40, 100)
    assert (np.delete(found.eto_mm, 5) == 4.2).all()
    assert found.by_year()[0][1][FROM_FILE] == 365
    assert found.eto_mm[5] != 4.2
    assert np.isfinite(found.u2_m_s).all()


def test_coast_and_arid_air():
    plain = reference_et(record(), 40, 100)
    coast = reference_et(record(), 40, 100, coastal=True)
    assert (coast.solar_mj_m2 >= plain.solar_mj_m2).all()
    assert coast.solar_mj_m2.sum() > plain.solar_mj_m2.sum()
    arid = reference_et(record(), 40, 100, arid=True)
    assert (arid.eto_mm > plain.eto_mm).all()
    assert "humidity from Tmin less 2.5 deg C" in arid.labels[0]


@pytest.mark.parametrize("place", [(91, 0), (-91, 0), (40, 9000), (float("nan"), 0)])
def test_places_not_on_earth(place):
    with pytest.raises(FaultyInput):
        reference_et(record(), *place)
