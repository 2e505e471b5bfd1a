"""Reference evapotranspiration and its parts: equations of FAO-56 chapters 2 to 4.

Every function works on numbers or on arrays that broadcast together. Equation
numbers are those of Allen, Pereira, Raes & Smith (1998), FAO Irrigation and Drainage Paper
56. Vapor pressures are kPa, temperatures deg C, radiation MJ/m2 in a day, wind m/s,
evapotranspiration mm in a day. Angles passed in are degrees of arc, north positive;
names of angles returned end in ``_rad``.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = float | NDArray[np.float64]

SOLAR_CONSTANT_MJ_M2_MIN = 0.0820  # FAO-56 Eq 21
STEFAN_BOLTZMANN_MJ_M2_K4 = 4.903e-9  # a day; FAO-56 Eq 39
KELVIN = 273.16  # as FAO-56 Eq 39 has it
MM_PER_MJ_M2 = 0.408  # 1 / 2.45 MJ/kg, FAO-56 Eq 20
ALBEDO = 0.23  # of the reference grass, FAO-56 Eq 38
ANGSTROM_A, ANGSTROM_B = 0.25, 0.50  # FAO-56 Eq 35 without a local calibration
KRS_INTERIOR, KRS_COAST = 0.16, 0.19  # FAO-56 Eq 50
SHORT_CN, SHORT_CD = 900.0, 0.34  # FAO-56 Eq 6
# Rs/Rso is 0/0 in the polar night. FAO-56 Example 19 uses 0.8 where it is unknown.
NIGHT_CLEARNESS = 0.8
ARID_DEPRESSION_C = 2.5  # middle of the 2 to 3 deg C that FAO-56 gives with Eq 48


# ---------------------------------------------------------------- air


def atmospheric_pressure_kpa(elevation_m: Values) -> Values:
    """Mean air pressure at an elevation (FAO-56 Eq 7)."""
    return 101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26


def psychrometric_constant_kpa_c(pressure_kpa: Values) -> Values:
    """Psychrometric constant, kPa/deg C (FAO-56 Eq 8)."""
    return 0.000665 * pressure_kpa


def saturation_vapor_pressure_kpa(temperature_c: Values) -> Values:
    """Vapor pressure of saturated air (FAO-56 Eq 11); of a dew point, the actual one (Eq 14)."""
    return 0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3))


def mean_saturation_vapor_pressure_kpa(tmax_c: Values, tmin_c: Values) -> Values:
    """Mean saturation vapor pressure of a day (FAO-56 Eq 12)."""
    return (saturation_vapor_pressure_kpa(tmax_c) + saturation_vapor_pressure_kpa(tmin_c)) / 2


def vapor_pressure_slope_kpa_c(tmean_c: Values) -> Values:
    """Slope of the saturation vapor pressure curve, kPa/deg C (FAO-56 Eq 13)."""
    return 4098 * saturation_vapor_pressure_kpa(tmean_c) / (tmean_c + 237.3) ** 2


# ---------------------------------------------------------------- humidity


def vapor_pressure_from_dewpoint_kpa(dewpoint_c: Values) -> Values:
    """Actual vapor pressure from the dew point (FAO-56 Eq 14)."""
    return saturation_vapor_pressure_kpa(dewpoint_c)


def vapor_pressure_from_rh_extremes_kpa(
    tmax_c: Values, tmin_c: Values, rh_max_pct: Values, rh_min_pct: Values
) -> Values:
    """Actual vapor pressure from the day's highest and lowest humidity (FAO-56 Eq 17)."""
    at_night = saturation_vapor_pressure_kpa(tmin_c) * rh_max_pct / 100
    at_noon = saturation_vapor_pressure_kpa(tmax_c) * rh_min_pct / 100
    return (at_night + at_noon) / 2


def vapor_pressure_from_rh_max_kpa(tmin_c: Values, rh_max_pct: Values) -> Values:
    """Actual vapor pressure from the day's highest humidity (FAO-56 Eq 18)."""
    return saturation_vapor_pressure_kpa(tmin_c) * rh_max_pct / 100


def vapor_pressure_from_rh_mean_kpa(tmax_c: Values, tmin_c: Values, rh_mean_pct: Values) -> Values:
    """Actual vapor pressure from the day's mean humidity (FAO-56 Eq 19), the last choice."""
    return mean_saturation_vapor_pressure_kpa(tmax_c, tmin_c) * rh_mean_pct / 100


def dewpoint_from_tmin_c(tmin_c: Values, arid: bool = False) -> Values:
    """Dew point without humidity data (FAO-56 Eq 48); lower at an arid station."""
    return tmin_c - (ARID_DEPRESSION_C if arid else 0.0)


def rh_min_from_vapor_pressure_pct(tmax_c: Values, vapor_pressure_kpa: Values) -> Values:
    """Lowest humidity of the day, without measurement: that of the day's air at Tmax.

    FAO-56 chapter 6 (Eq 64; equation number from memory), e(Tdew)/e(Tmax).
    """
    share = vapor_pressure_kpa / saturation_vapor_pressure_kpa(tmax_c)
    return np.clip(100 * share, 0.0, 100.0)


# ---------------------------------------------------------------- sun


def day_of_year(dates: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Day of the year J, 1 to 366, of dates (n,)."""
    days = dates.astype("datetime64[D]")
    return (days - days.astype("datetime64[Y]")).astype(float) + 1


def inverse_relative_distance(day: Values) -> Values:
    """Inverse relative distance of the sun, of the day of the year (FAO-56 Eq 23)."""
    return 1 + 0.033 * np.cos(2 * np.pi * day / 365)


def solar_declination_rad(day: Values) -> Values:
    """Declination of the sun, of the day of the year (FAO-56 Eq 24)."""
    return 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)


def sunset_hour_angle_rad(latitude_deg: Values, day: Values) -> Values:
    """Sunset hour angle (FAO-56 Eq 25): 0 in the polar night, pi in the polar day."""
    latitude = np.radians(latitude_deg)
    return np.arccos(np.clip(-np.tan(latitude) * np.tan(solar_declination_rad(day)), -1, 1))


def extraterrestrial_radiation_mj_m2(latitude_deg: Values, day: Values) -> Values:
    """Solar radiation on a level at the top of the air in a day (FAO-56 Eq 21)."""
    latitude, declination = np.radians(latitude_deg), solar_declination_rad(day)
    sunset = sunset_hour_angle_rad(latitude_deg, day)
    height = sunset * np.sin(latitude) * np.sin(declination)
    height = height + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    full_sun = 24 * 60 / np.pi * SOLAR_CONSTANT_MJ_M2_MIN * inverse_relative_distance(day)
    # Rounding leaves a value slightly below 0 in the polar night.
    return np.maximum(full_sun * height, 0.0)


def daylight_hours(latitude_deg: Values, day: Values) -> Values:
    """Hours of daylight N (FAO-56 Eq 34)."""
    return 24 / np.pi * sunset_hour_angle_rad(latitude_deg, day)


def solar_from_sunshine_mj_m2(sunshine_h: Values, daylight_h: Values, ra_mj_m2: Values) -> Values:
    """Solar radiation from hours of sunshine (FAO-56 Eq 35).

    The share of sunshine is limited to 1: a recorder may see the sun a little longer than N.
    """
    share = np.minimum(sunshine_h / np.maximum(daylight_h, 1e-6), 1.0)
    return (ANGSTROM_A + ANGSTROM_B * share) * ra_mj_m2


def solar_from_temperature_mj_m2(
    tmax_c: Values, tmin_c: Values, ra_mj_m2: Values, rso_mj_m2: Values, krs: float = KRS_INTERIOR
) -> Values:
    """Solar radiation from the day's temperature range (FAO-56 Eq 50), at most clear-sky."""
    return np.minimum(krs * np.sqrt(tmax_c - tmin_c) * ra_mj_m2, rso_mj_m2)


def clear_sky_solar_mj_m2(ra_mj_m2: Values, elevation_m: Values) -> Values:
    """Solar radiation under a clear sky (FAO-56 Eq 37)."""
    return (0.75 + 2e-5 * elevation_m) * ra_mj_m2


def net_shortwave_mj_m2(solar_mj_m2: Values) -> Values:
    """Net shortwave radiation of the reference grass (FAO-56 Eq 38)."""
    return (1 - ALBEDO) * solar_mj_m2


def black_body_mj_m2(temperature_c: Values) -> Values:
    """Radiation of a black body in a day, sigma T^4 (within FAO-56 Eq 39)."""
    return STEFAN_BOLTZMANN_MJ_M2_K4 * (temperature_c + KELVIN) ** 4


def cloud_term(solar_mj_m2: Values, rso_mj_m2: Values) -> Values:
    """Factor of clouds on the longwave loss of a clear sky (in FAO-56 Eq 39).

    Rs/Rso is limited to 0.3 to 1 (ASCE-EWRI 2005; FAO-56 has the upper limit only), so the factor
    lies between 0.055 and 1.
    """
    lit = np.asarray(rso_mj_m2) > 0
    clearness = np.where(lit, solar_mj_m2 / np.where(lit, rso_mj_m2, 1.0), NIGHT_CLEARNESS)
    return 1.35 * np.clip(clearness, 0.3, 1.0) - 0.35


def net_longwave_mj_m2(
    tmax_c: Values,
    tmin_c: Values,
    vapor_pressure_kpa: Values,
    solar_mj_m2: Values,
    rso_mj_m2: Values,
) -> Values:
    """Net outgoing longwave radiation (FAO-56 Eq 39), with ``cloud_term``."""
    cloud = cloud_term(solar_mj_m2, rso_mj_m2)
    humidity = 0.34 - 0.14 * np.sqrt(vapor_pressure_kpa)
    return (black_body_mj_m2(tmax_c) + black_body_mj_m2(tmin_c)) / 2 * humidity * cloud


def net_radiation_mj_m2(net_shortwave: Values, net_longwave: Values) -> Values:
    """Net radiation (FAO-56 Eq 40)."""
    return net_shortwave - net_longwave


# ---------------------------------------------------------------- wind


def wind_at_2m_m_s(wind_m_s: Values, height_m: Values) -> Values:
    """Wind at 2 m from wind at ``height_m`` over short grass (FAO-56 Eq 47)."""
    return wind_m_s * 4.87 / np.log(67.8 * height_m - 5.42)


# ---------------------------------------------------------------- evapotranspiration


def penman_monteith_mm(
    tmean_c: Values,
    u2_m_s: Values,
    net_radiation_mj_m2: Values,
    soil_heat_flux_mj_m2: Values,
    deficit_kpa: Values,
    slope_kpa_c: Values,
    psychrometric_kpa_c: Values,
) -> Values:
    """Reference evapotranspiration of a day (FAO-56 Eq 6).

    ``deficit_kpa`` is es - ea. May be negative on a day with dew.
    """
    energy = MM_PER_MJ_M2 * slope_kpa_c * (net_radiation_mj_m2 - soil_heat_flux_mj_m2)
    wind = psychrometric_kpa_c * SHORT_CN / (tmean_c + 273) * u2_m_s * deficit_kpa
    return (energy + wind) / (slope_kpa_c + psychrometric_kpa_c * (1 + SHORT_CD * u2_m_s))


def hargreaves_mm(tmax_c: Values, tmin_c: Values, ra_mj_m2: Values) -> Values:
    """Reference evapotranspiration from temperature alone (FAO-56 Eq 52).

    Ra is converted to mm of water. Tmin above Tmax counts as no range.
    """
    span = np.sqrt(np.maximum(tmax_c - tmin_c, 0.0))
    return 0.0023 * ((tmax_c + tmin_c) / 2 + 17.8) * span * MM_PER_MJ_M2 * ra_mj_m2
