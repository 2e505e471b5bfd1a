"""The units that the levels of a station file fit: said in a refusal, never applied."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drysward.weather.record import FloatArray

_FEWEST_DAYS = 330  # with fewer, the hottest days of the file may be those of a winter
_HOTTEST, _WETTEST = 98.0, 99.0  # percentiles of days; single cells may be wrong


@dataclass(frozen=True)
class System:
    """A system of units: its name, and the unit to declare for each metric unit.

    ``hottest`` and ``wettest``: limits of the day in 50 with the highest maximum and of the day in
    100 with the most rain, in these units, at places where turf grows (own estimate). Those of
    temperature do not overlap.
    """

    name: str
    units: dict[str, str]
    hottest: tuple[float, float]
    wettest: tuple[float, float]


_SAME = {"min": "min", "%": "%"}
US = System(
    "US units", {"degC": "degF", "mm": "in", "m/s": "mph", **_SAME}, (59.0, 122.0), (0.15, 6.0)
)
_METRIC = System(
    "metric units", {"degC": "degC", "mm": "mm", "m/s": "m/s", **_SAME}, (15.0, 50.0), (4.0, 150.0)
)
_TENTHS = System(
    "tenths of metric units",
    {"degC": "0.1 degC", "mm": "0.1 mm", "m/s": "0.1 m/s", **_SAME},
    (150.0, 500.0),
    (40.0, 1500.0),
)


def likely_system(tmax: FloatArray, rain: FloatArray) -> System | None:
    """The system of units that maxima and rain (n,) of days fit, NaN where a day has none.

    None where the levels do not say: less than a year, or temperature in one system and rain in
    another.
    """
    days = [series[~np.isnan(series)] for series in (tmax, rain)]
    if min(series.size for series in days) < _FEWEST_DAYS:
        return None
    hottest, wettest = np.percentile(days[0], _HOTTEST), np.percentile(days[1], _WETTEST)
    for system in (US, _METRIC, _TENTHS):
        low, high = system.hottest
        least, most = system.wettest
        if low <= hottest <= high and least <= wettest <= most:
            return system
    return None
