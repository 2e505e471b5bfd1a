"""Disease nights: warm nights with long leaf wetness.

The night of a day ends on its morning.
"""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

SUNSET_WARMTH = 0.5  # of the daily range above the minimum; own estimate


@equation
def dew_hours(
    tmax_c: float,
    tmin_c: float,
    dewpoint_c: float,
    night_h: float,
    leaf_depression_c: float,
    after_sunrise_h: float,
) -> float:
    """Hours of dew on leaves.

    From sunset the air cools as Tmin + (T_sunset - Tmin)(1 - sqrt(t/N)), and dew forms once
    leaves are at the dew point; it dries after sunrise. Wind is ignored.

    Parameters
    ----------
    night_h : sunset to sunrise, N.
    leaf_depression_c : difference of air and leaf temperature under tonight's sky
        (``leaf_cooling_c``).
    after_sunrise_h : hours of dew after sunrise.

    Source: own estimate; square-root cooling from memory.
    """
    cooling = larger(SUNSET_WARMTH * (tmax_c - tmin_c), 0.1)
    part = clamp((dewpoint_c + leaf_depression_c - tmin_c) / cooling, 0.0, 1.0)
    if part <= 0.0:
        return 0.0
    return night_h * (1.0 - (1.0 - part) * (1.0 - part)) + after_sunrise_h


@equation
def leaf_cooling_c(under_clear_sky_c: float, cloud_term: float) -> float:
    """Difference of air and leaf temperature at night (degC), less under clouds.

    ``cloud_term`` is 1 under a clear sky, that of net longwave radiation (FAO-56 eq 39) on the day
    before the night. Source: own estimate of the form, cooling proportional to the radiation loss.
    """
    return under_clear_sky_c * cloud_term


@equation
def wet_night_hours(night_h: float, after_sunrise_h: float) -> float:
    """Hours from sunset until leaves wet all night have dried. By definition."""
    return night_h + after_sunrise_h


@equation
def dewpoint_c(vapor_pressure_kpa: float) -> float:
    """Dew point of air, the inverse of FAO-56 eq 14."""
    log = math.log(larger(vapor_pressure_kpa, 1e-3) / 0.6108)
    return 237.3 * log / (17.27 - log)


@equation
def warm_night(tmin_c: float, above_c: float) -> float:
    """1 on a night with a minimum above ``above_c``, else 0; Oregon State University, 70 degF."""
    return 1.0 if tmin_c > above_c else 0.0


@equation
def rain_wet_hours(rain_mm: float, from_mm: float, hours: float) -> float:
    """Hours of wet leaves in the night after a day with ``from_mm`` of rain; own estimate."""
    return hours if rain_mm >= from_mm else 0.0


@equation
def leaf_wet_hours(
    dew_hours: float,
    rain_hours: float,
    watered_mm: float,
    watering_hours: float,
    at_dusk: float,
    wet_night_hours: float,
) -> float:
    """Hours of a night with wet leaves, from sunset until they are dry in the morning.

    Leaves that are wet at dusk of a night with dew stay wet until morning, because air in which dew
    forms takes up almost no water.

    Parameters
    ----------
    rain_hours : added by rain.
    watering_hours : added by irrigation at its time of day when ``watered_mm`` is above 0.
    at_dusk : above 0 when that is the evening.
    wet_night_hours : upper limit, with leaves wet all night.

    Source: common practice for the evening, that leaves are then wet all night; own estimate of
    the form.
    """
    watered = watered_mm > 0.0
    hours = dew_hours + rain_hours
    hours = hours + watering_hours if watered else hours
    all_night = watered & (at_dusk > 0.0) & (dew_hours > 0.0)
    return wet_night_hours if all_night else smaller(hours, wet_night_hours)


@equation
def disease_night(warm: float, wet_hours: float, least_hours: float) -> float:
    """1.0 on a night warm enough with leaves wet for at least ``least_hours``, else 0.0.

    Source: rule of thumb for brown patch of tall fescue, Oregon State University.
    """
    return 1.0 if (warm > 0.0) & (wet_hours >= least_hours) else 0.0
