"""Nights that favour leaf disease: warm, with leaves wet for long; arrays (n,).

The night of a day is the one that ends on its morning.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.catalog import Entry
from drysward.scenario.model import TIMES_OF_DAY

FloatArray = NDArray[np.float64]

SUNSET_WARMTH = 0.5  # of the day's range above its minimum; own estimate


def dew_hours(
    tmax_c: ArrayLike,
    tmin_c: ArrayLike,
    dewpoint_c: ArrayLike,
    night_h: ArrayLike,
    entry: Entry,
) -> FloatArray:
    """Hours for which dew lies on leaves.

    From sunset the air cools as Tmin + (T_sunset - Tmin)(1 - sqrt(t/N)), and dew forms once
    leaves, ``leaf_depression_c`` colder under the sky, are at the dew point; it dries
    ``dew_after_sunrise_h`` after sunrise. Cloud and wind are not looked at.

    Parameters
    ----------
    night_h : sunset to sunrise, N. entry : ``play.leaf_disease``.

    Source: own estimate; square-root cooling from memory.
    """
    tmin = np.asarray(tmin_c, float)
    cooling = np.maximum(SUNSET_WARMTH * (np.asarray(tmax_c, float) - tmin), 0.1)
    reach = np.asarray(dewpoint_c, float) + entry["leaf_depression_c"] - tmin
    part = np.clip(reach / cooling, 0.0, 1.0)
    hours = np.asarray(night_h, float) * (1.0 - (1.0 - part) ** 2)
    return np.where(part > 0.0, hours + entry["dew_after_sunrise_h"], 0.0)


def dewpoint_c(vapour_pressure_kpa: ArrayLike) -> FloatArray:
    """Dew point of air, the inverse of FAO-56 eq 14."""
    log = np.log(np.maximum(np.asarray(vapour_pressure_kpa, float), 1e-3) / 0.6108)
    return np.asarray(237.3 * log / (17.27 - log))


def warm_nights(tmin_c: ArrayLike, entry: Entry) -> NDArray[np.bool_]:
    """Nights whose minimum is above ``night_above_c``; Oregon State University, 70 degF."""
    return np.asarray(np.asarray(tmin_c, float) > entry["night_above_c"])


def rain_wet_hours(rain_mm: ArrayLike, entry: Entry) -> FloatArray:
    """Hours of wet leaves in the night after a day with rain; own estimate."""
    return np.where(np.asarray(rain_mm, float) >= entry["rain_wet_from_mm"], entry["rain_wet_h"], 0)


def watering_wet_hours(entry: Entry) -> FloatArray:
    """Wet hours that irrigation adds to a night, by time of day in the order of TIMES_OF_DAY."""
    return np.array([entry[f"wet_hours_{time.replace(' ', '_')}"] for time in TIMES_OF_DAY])
