"""Rates of growth, regreening, spread and establishment of turf."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import smaller


@equation
def growth_potential(tmean_c: float, optimum_c: float, spread_c: float, warm_season: bool) -> float:
    """GP = exp(-0.5 ((T - To)/s)^2), 0..1; warm-season turf stays at 1 above its optimum.

    Source: Gelernter & Stowell's growth potential (form and optima published; spreads from
    memory).
    """
    t = smaller(tmean_c, optimum_c) if warm_season else tmean_c
    away = (t - optimum_c) / spread_c
    return math.exp(-0.5 * (away * away))


def daily_rate_to_share(share: float, days: float) -> float:
    """Rate (1/d) that moves ``share`` of a pool in ``days``."""
    return -math.log(1.0 - share) / days


@equation
def reseed_rate(age_d: float, reseed_days: float, rate: float) -> float:
    """Share of dead ground (1/d) closed by seedlings: ``rate`` for ``reseed_days``, then 0."""
    return rate if age_d < reseed_days else 0.0
