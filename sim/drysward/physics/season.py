"""Roots in summer heat and warm-season turf in winter: states that weather alone drives."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drysward.compiled import jitable

FloatArray = NDArray[np.float64]

ROOT_HEAT_FROM_C = 23.0
REGROWTH_POTENTIAL = 0.5


@jitable
def root_depth_share(
    soil_c: FloatArray,
    growth_potential: FloatArray,
    loss_per_degree_day: float,
    floor: float,
    regrowth_days: float,
) -> FloatArray:
    """Share of the full rooting depth that is at work, (n,).

    Falls with degree-days above 23 C down to ``floor`` and grows back where growth potential
    passes a half. Source: own estimate of the shape; direction and size for creeping
    bentgrass published (root mass -76 % over a North Carolina summer).
    """
    n = soil_c.shape[0]
    share = np.ones(n)
    now = 1.0
    for i in range(n):
        excess = soil_c[i] - ROOT_HEAT_FROM_C
        if excess > 0.0:
            now = max(floor, now - loss_per_degree_day * excess)
        elif growth_potential[i] > REGROWTH_POTENTIAL:
            now = min(1.0, now + (1.0 - floor) / regrowth_days)
        share[i] = now
    return share


@jitable
def winter_rest_share(
    tmin_c: FloatArray,
    soil_c: FloatArray,
    greenup_c: float,
    frost_c: float,
    greenup_days: float,
    browning_days: float,
) -> FloatArray:
    """Share of warm-season leaves at winter rest, (n,): browned by frost, back with warm soil.

    ``greenup_c`` of 0 means a grass that stays green. Sources: frost browning from memory,
    green-up at 18 C soil over 2 to 6 weeks from extension pages.
    """
    n = tmin_c.shape[0]
    rest = np.zeros(n)
    if greenup_c <= 0.0:
        return rest
    now = 1.0 if soil_c[0] < greenup_c else 0.0
    browning = 0.0
    for i in range(n):
        if tmin_c[i] <= frost_c:
            browning = browning_days
        # Growth stops near 13 C soil; leaves fade over some weeks without a frost.
        fading = soil_c[i] < 10.0
        if browning > 0.0:
            now += 1.0 / browning_days
            browning -= 1.0
        elif soil_c[i] >= greenup_c:
            now -= 1.0 / greenup_days
        elif fading:
            now += 0.25 / greenup_days
        now = min(1.0, max(0.0, now))
        rest[i] = now
    return rest
