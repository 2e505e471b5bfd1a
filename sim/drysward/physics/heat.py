"""Death of plants without water, by temperature."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

CROWN_CLOCK_ETO_MM = 6.0  # demand behind the species' median lethal times


@equation
def median_lethal_days(tmean_c: float, median_25c_d: float, median_35c_d: float) -> float:
    """Days to death of half of the plants with dry crowns and no moist soil near, by mean air
    temperature.

    Log-linear between the medians at 25 and 35 C, constant below 10 and above 40 C (own estimate).
    """
    t = clamp(tmean_c, 10.0, 40.0)
    return median_25c_d * (median_35c_d / median_25c_d) ** ((t - 25.0) / 10.0)


@equation
def crown_clock(eto_mm: float, median_d: float) -> float:
    """Crown dryness gained in a day with everything dry: faster at a larger demand (own estimate).

    ``median_d`` are the median lethal days at the day's temperature.
    """
    return clamp(0.5 + 0.5 * eto_mm / CROWN_CLOCK_ETO_MM, 0.5, 1.5) / median_d


@equation
def heat_kill_share(tmax_c: float, from_c: float, rate_per_c_d: float) -> float:
    """Share of plants without water killed by a day's heat, by degrees above ``from_c``."""
    if tmax_c <= from_c:
        return 0.0
    return 1.0 - math.exp(-rate_per_c_d * (tmax_c - from_c))
