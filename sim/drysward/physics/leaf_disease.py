"""Nights that favour leaf disease: warm, with leaves wet for long.

The night of a day is the one that ends on its morning.
"""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

SUNSET_WARMTH = 0.5  # of the day's range above its minimum; own estimate


@equation
def dew_hours(
    tmax_c: float,
    tmin_c: float,
    dewpoint_c: float,
    night_h: float,
    leaf_depression_c: float,
    after_sunrise_h: float,
) -> float:
    """Hours for which dew lies on leaves.

    From sunset the air cools as Tmin + (T_sunset - Tmin)(1 - sqrt(t/N)), and dew forms once
    leaves are at the dew point; it dries after sunrise. Cloud and wind are not looked at.

    Parameters
    ----------
    night_h : sunset to sunrise, N.
    leaf_depression_c : by which leaves under the sky are colder than the air.
    after_sunrise_h : for which dew lies on after sunrise.

    Source: own estimate; square-root cooling from memory.
    """
    cooling = larger(SUNSET_WARMTH * (tmax_c - tmin_c), 0.1)
    part = clamp((dewpoint_c + leaf_depression_c - tmin_c) / cooling, 0.0, 1.0)
    if part <= 0.0:
        return 0.0
    return night_h * (1.0 - (1.0 - part) * (1.0 - part)) + after_sunrise_h


@equation
def dewpoint_c(vapour_pressure_kpa: float) -> float:
    """Dew point of air, the inverse of FAO-56 eq 14."""
    log = math.log(larger(vapour_pressure_kpa, 1e-3) / 0.6108)
    return 237.3 * log / (17.27 - log)


@equation
def warm_night(tmin_c: float, above_c: float) -> float:
    """1 on a night whose minimum is above ``above_c``, else 0; Oregon State University, 70 degF."""
    return 1.0 if tmin_c > above_c else 0.0


@equation
def rain_wet_hours(rain_mm: float, from_mm: float, hours: float) -> float:
    """Hours of wet leaves in the night after a day with rain from ``from_mm`` on; own estimate."""
    return hours if rain_mm >= from_mm else 0.0


@equation
def leaf_wet_hours(
    dew_hours: float, rain_hours: float, watered_mm: float, watering_hours: float
) -> float:
    """Hours of a night with wet leaves, no more than 24.

    ``rain_hours`` are added by rain, ``watering_hours`` by irrigation at its time of day when
    ``watered_mm`` is above 0. Source: own estimate, hours that simply add up.
    """
    hours = dew_hours + rain_hours
    hours = hours + watering_hours if watered_mm > 0.0 else hours
    return smaller(hours, 24.0)


@equation
def disease_night(warm: float, wet_hours: float, least_hours: float) -> float:
    """1.0 on a night warm enough with leaves wet for at least ``least_hours``, else 0.0.

    Source: rule of thumb for brown patch of tall fescue, Oregon State University.
    """
    return 1.0 if (warm > 0.0) & (wet_hours >= least_hours) else 0.0
