"""Worked examples of FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes & Smith 1998).

Inputs and results as printed; tolerance half the last printed digit unless said otherwise.
"""

import numpy as np
import pytest

from drysward.physics import reference_et as fao
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et


def near(printed: float, tolerance: float):
    # A shade wider, so that a value halfway is not refused for binary rounding.
    return pytest.approx(printed, abs=tolerance * 1.0001)


def day_in(year: int, day_of_year: int) -> np.ndarray:
    return np.array([np.datetime64(f"{year}-01-01") + day_of_year - 1])


# ---------------------------------------------------------------- air and humidity


def test_example_2_pressure_and_psychrometric_constant():
    pressure = fao.atmospheric_pressure_kpa(1800)
    assert pressure == near(81.8, 0.05)
    assert fao.psychrometric_constant_kpa_c(pressure) == near(0.054, 0.0005)


def test_example_3_saturation_vapor_pressure():
    assert fao.saturation_vapor_pressure_kpa(24.5) == near(3.075, 0.0005)
    assert fao.saturation_vapor_pressure_kpa(15.0) == near(1.705, 0.0005)
    assert fao.mean_saturation_vapor_pressure_kpa(24.5, 15.0) == near(2.39, 0.005)
    # The paper's warning: at the mean temperature it is less.
    assert fao.saturation_vapor_pressure_kpa((24.5 + 15.0) / 2) == near(2.30, 0.005)


def test_example_4_pressure_and_wet_bulb_from_memory():
    """Figures of this example are from memory; the wet bulb itself is not read."""
    assert fao.atmospheric_pressure_kpa(1200) == near(87.9, 0.05)
    assert fao.saturation_vapor_pressure_kpa(19.5) == near(2.267, 0.0005)


def test_example_5_vapor_pressure_from_relative_humidity():
    assert fao.saturation_vapor_pressure_kpa(18) == near(2.064, 0.0005)
    assert fao.saturation_vapor_pressure_kpa(25) == near(3.168, 0.0005)
    extremes = fao.vapor_pressure_from_rh_extremes_kpa(25, 18, 82, 54)
    assert extremes == near(1.70, 0.005)
    assert fao.vapor_pressure_from_rh_mean_kpa(25, 18, (82 + 54) / 2) == near(1.78, 0.005)


def test_equation_18_is_the_night_half_of_equation_17():
    night = fao.vapor_pressure_from_rh_max_kpa(18, 82)
    noon = fao.vapor_pressure_from_rh_max_kpa(25, 54)
    extremes = fao.vapor_pressure_from_rh_extremes_kpa(25, 18, 82, 54)
    assert extremes == pytest.approx((night + noon) / 2)


def test_example_6_vapor_pressure_deficit():
    saturated = fao.mean_saturation_vapor_pressure_kpa(25, 18)
    actual = fao.vapor_pressure_from_rh_extremes_kpa(25, 18, 82, 54)
    assert saturated - actual == near(0.91, 0.005)


# ---------------------------------------------------------------- radiation


def test_example_8_extraterrestrial_radiation_3_september_20_south():
    assert fao.inverse_relative_distance(246) == near(0.985, 0.0005)
    assert fao.solar_declination_rad(246) == near(0.120, 0.0005)
    assert fao.sunset_hour_angle_rad(-20, 246) == near(1.527, 0.0005)
    ra = fao.extraterrestrial_radiation_mj_m2(-20, 246)
    assert ra == near(32.2, 0.05)
    assert fao.MM_PER_MJ_M2 * ra == near(13.1, 0.05)


def test_example_9_daylight_hours():
    assert fao.daylight_hours(-20, 246) == near(11.7, 0.05)


def test_examples_10_11_12_rio_de_janeiro_may():
    ra = fao.extraterrestrial_radiation_mj_m2(-22.90, 135)
    daylight_h = fao.daylight_hours(-22.90, 135)
    solar = fao.solar_from_sunshine_mj_m2(220 / 31, daylight_h, ra)
    assert ra == near(25.1, 0.05)
    assert daylight_h == near(10.9, 0.05)
    assert solar == near(14.5, 0.05)
    rso = fao.clear_sky_solar_mj_m2(ra, 1)
    longwave = fao.net_longwave_mj_m2(25.1, 19.1, 2.1, solar, rso)
    assert rso == near(18.8, 0.05)
    assert longwave == near(3.5, 0.05)
    shortwave = fao.net_shortwave_mj_m2(solar)
    assert shortwave == near(11.1, 0.05)
    assert fao.net_radiation_mj_m2(shortwave, longwave) == near(7.6, 0.05)


def test_example_14_wind_from_10_m():
    assert fao.wind_at_2m_m_s(1.0, 10) == near(0.75, 0.005)
    assert fao.wind_at_2m_m_s(3.2, 10) == near(2.4, 0.05)


def test_example_15_solar_from_temperature_lyon_july():
    ra = fao.extraterrestrial_radiation_mj_m2(45.72, 196)
    solar = fao.solar_from_temperature_mj_m2(26.6, 14.8, ra, np.inf, 0.16)
    assert ra == near(40.6, 0.05)
    assert solar == near(22.3, 0.05)
    assert fao.MM_PER_MJ_M2 * solar == near(9.1, 0.05)


def test_example_16_net_radiation_without_sunshine_bangkok_april():
    ra = fao.extraterrestrial_radiation_mj_m2(13.73, 105)
    rso = fao.clear_sky_solar_mj_m2(ra, 2)
    solar = fao.solar_from_temperature_mj_m2(34.8, 25.6, ra, rso, fao.KRS_COAST)
    assert ra == near(38.1, 0.05)
    assert solar == near(21.9, 0.05)
    assert rso == near(28.5, 0.05)
    shortwave = fao.net_shortwave_mj_m2(solar)
    assert shortwave == near(16.9, 0.05)
    assert fao.black_body_mj_m2(34.8) == near(44.1, 0.05)
    assert fao.black_body_mj_m2(25.6) == near(39.1, 0.05)
    assert solar / rso == near(0.77, 0.005)
    longwave = fao.net_longwave_mj_m2(34.8, 25.6, 2.85, solar, rso)
    # The paper rounds on the way (0.10 for the vapor term): 0.1.
    assert longwave == near(3.0, 0.1)
    net = fao.net_radiation_mj_m2(shortwave, longwave)
    assert net == near(13.9, 0.1)
    assert fao.MM_PER_MJ_M2 * net == near(5.7, 0.05)


def test_equation_50_is_held_at_clear_sky():
    assert fao.solar_from_temperature_mj_m2(40.0, 0.0, 40.0, 30.0, 0.19) == 30.0


# ---------------------------------------------------------------- whole examples


def test_example_17_bangkok_april_monthly():
    tmax, tmin, ea, u2 = 34.8, 25.6, 2.85, 2.0
    tmean = (tmax + tmin) / 2
    slope = fao.vapor_pressure_slope_kpa_c(tmean)
    pressure = fao.atmospheric_pressure_kpa(2)
    gamma = fao.psychrometric_constant_kpa_c(pressure)
    assert tmean == near(30.2, 0.05)
    assert slope == near(0.246, 0.0005)
    assert pressure == near(101.3, 0.05)
    assert gamma == near(0.0673, 0.00005)  # printed 0.0674, of the rounded pressure
    deficit = fao.mean_saturation_vapor_pressure_kpa(tmax, tmin) - ea
    assert fao.saturation_vapor_pressure_kpa(tmax) == near(5.56, 0.005)
    assert fao.saturation_vapor_pressure_kpa(tmin) == near(3.28, 0.005)
    assert deficit == near(1.57, 0.005)
    ra = fao.extraterrestrial_radiation_mj_m2(13.73, 105)
    daylight_h = fao.daylight_hours(13.73, 105)
    solar = fao.solar_from_sunshine_mj_m2(8.5, daylight_h, ra)
    rso = fao.clear_sky_solar_mj_m2(ra, 2)
    assert ra == near(38.06, 0.005)
    assert daylight_h == near(12.31, 0.005)
    assert solar == near(22.65, 0.01)  # 22.655 unrounded
    assert rso == near(28.54, 0.005)
    longwave = fao.net_longwave_mj_m2(tmax, tmin, ea, solar, rso)
    net = fao.net_radiation_mj_m2(fao.net_shortwave_mj_m2(solar), longwave)
    assert longwave == near(3.11, 0.005)
    assert net == near(14.33, 0.005)
    flux = 0.14  # as printed; a day's own flux is taken as nothing (Eq 42)
    eto = fao.penman_monteith_mm(tmean, u2, net, flux, deficit, slope, gamma)
    assert eto == near(5.72, 0.02)


def test_example_18_uccle_6_july_daily():
    tmax, tmin = 21.5, 12.3
    tmean = (tmax + tmin) / 2
    u2 = fao.wind_at_2m_m_s(2.78, 10)  # 10 km/h, rounded as in the paper
    slope = fao.vapor_pressure_slope_kpa_c(tmean)
    pressure = fao.atmospheric_pressure_kpa(100)
    gamma = fao.psychrometric_constant_kpa_c(pressure)
    # The paper multiplies by 0.748; 2.0793 unrounded.
    assert u2 == near(2.078, 0.002)
    assert pressure == near(100.1, 0.05)
    assert slope == near(0.122, 0.0005)
    assert gamma == near(0.0666, 0.00005)
    ea = fao.vapor_pressure_from_rh_extremes_kpa(tmax, tmin, 84, 63)
    saturated = fao.mean_saturation_vapor_pressure_kpa(tmax, tmin)
    assert saturated == near(1.997, 0.0006)
    assert ea == near(1.409, 0.0005)
    assert saturated - ea == near(0.589, 0.0005)
    ra = fao.extraterrestrial_radiation_mj_m2(50.80, 187)
    daylight_h = fao.daylight_hours(50.80, 187)
    solar = fao.solar_from_sunshine_mj_m2(9.25, daylight_h, ra)
    rso = fao.clear_sky_solar_mj_m2(ra, 100)
    assert ra == near(41.09, 0.005)
    assert daylight_h == near(16.1, 0.05)
    assert solar == near(22.07, 0.005)
    assert rso == near(30.90, 0.005)
    shortwave = fao.net_shortwave_mj_m2(solar)
    longwave = fao.net_longwave_mj_m2(tmax, tmin, ea, solar, rso)
    net = fao.net_radiation_mj_m2(shortwave, longwave)
    assert shortwave == near(17.00, 0.01)  # 16.994 unrounded
    assert longwave == near(3.71, 0.005)
    assert net == near(13.28, 0.005)
    eto = fao.penman_monteith_mm(tmean, u2, net, 0.0, saturated - ea, slope, gamma)
    assert eto == near(3.88, 0.005)


def test_example_18_through_a_record():
    record = DailyRecord(
        dates=day_in(2015, 187),
        rain_mm=np.array([0.0]),
        tmax_c=np.array([21.5]),
        tmin_c=np.array([12.3]),
        rh_max_pct=np.array([84.0]),
        rh_min_pct=np.array([63.0]),
        wind_m_s=np.array([10 / 3.6]),
        wind_height_m=10.0,
        sunshine_h=np.array([9.25]),
    )
    found = reference_et(record, 50.80, 100)
    assert found.eto_mm[0] == near(3.88, 0.005)
    assert found.labels == (
        "Penman-Monteith; humidity from largest and least RH; wind as given; "
        "radiation from sunshine",
    )


@pytest.mark.parametrize(
    "u2_m_s, printed, tolerance", [(1.0, 4.2, 0.05), (2.0, 4.56, 0.005), (3.0, 4.8, 0.05)]
)
def test_example_20_lyon_july_temperature_alone(u2_m_s, printed, tolerance):
    record = DailyRecord(
        dates=day_in(2015, 196),
        rain_mm=np.array([0.0]),
        tmax_c=np.array([26.6]),
        tmin_c=np.array([14.8]),
        wind_m_s=None if u2_m_s == 2.0 else np.array([u2_m_s]),
        wind_height_m=2.0,
    )
    found = reference_et(record, 45.72, 200)
    assert found.eto_mm[0] == near(printed, tolerance)
    assert found.vapor_pressure_kpa[0] == near(1.68, 0.005)
    assert found.rh_min_pct[0] == near(48, 0.5)
    assert found.solar_mj_m2[0] == near(22.29, 0.02)  # of Ra rounded to 40.55
    assert ("wind taken as 2 m/s" in found.labels[0]) == (u2_m_s == 2.0)


def test_example_20_extraterrestrial_radiation():
    assert fao.extraterrestrial_radiation_mj_m2(45.72, 196) == near(40.55, 0.005)
