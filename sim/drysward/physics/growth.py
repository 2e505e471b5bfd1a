"""How fast turf grows, regreens and spreads at a temperature; arrays of any shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def growth_potential(
    tmean_c: ArrayLike, optimum_c: float, spread_c: float, warm_season: bool
) -> FloatArray:
    """GP = exp(-0.5 ((T - To)/s)^2), 0..1; warm-season turf stays at 1 above its optimum.

    Source: Gelernter & Stowell's growth potential (form and optima published; spreads from
    memory).
    """
    t = np.asarray(tmean_c, float)
    if warm_season:
        t = np.minimum(t, optimum_c)
    return np.exp(-0.5 * ((t - optimum_c) / spread_c) ** 2)


def daily_rate_to_share(share: float, days: float) -> float:
    """Rate (1/d) at which ``share`` of a pool has moved after ``days``."""
    return -np.log(1.0 - share) / days


def median_lethal_days(tmean_c: ArrayLike, median_25c_d: float, median_35c_d: float) -> FloatArray:
    """Days with the rooted depth dry that kill half of the plants, by mean air temperature.

    Log-linear between the medians at 25 and 35 C, held beyond 10 and 40 C (own estimate).
    """
    t = np.clip(np.asarray(tmean_c, float), 10.0, 40.0)
    return median_25c_d * (median_35c_d / median_25c_d) ** ((t - 25.0) / 10.0)


def heat_kill_share(tmax_c: ArrayLike, from_c: float, rate_per_c_d: float) -> FloatArray:
    """Share of plants without water that a day's heat kills, by degrees above ``from_c``."""
    excess = np.maximum(np.asarray(tmax_c, float) - from_c, 0.0)
    return 1.0 - np.exp(-rate_per_c_d * excess)


def trailing_mean(values: ArrayLike, days: int) -> FloatArray:
    """Mean of the last ``days`` values, fewer at the start; shape (n,).

    The air's trailing mean stands in for the temperature of the top soil (common practice).
    """
    x = np.asarray(values, float)
    total = np.concatenate([[0.0], np.cumsum(x)])
    stop = np.arange(1, x.size + 1)
    start = np.maximum(stop - days, 0)
    return (total[stop] - total[start]) / (stop - start)
