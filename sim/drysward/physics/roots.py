"""Rooting depth, and the soil that changes layers as it moves."""

from __future__ import annotations

import math
from functools import cache

from drysward import special
from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

ROOT_HEAT_FROM_C = 23.0
REGROWTH_POTENTIAL = 0.5
HOLDS_NOTHING_MM = 1e-9


@equation
def root_share_step(
    share: float,
    soil_c: float,
    growth_potential: float,
    loss_per_degree_day: float,
    floor: float,
    regrowth_days: float,
) -> float:
    """Active share of the full rooting depth after one day.

    Falls with degree-days above 23 C down to ``floor`` and grows back while growth potential
    is above one half. Source: own estimate of the shape; direction and size for creeping
    bentgrass published (root mass -76% over a North Carolina summer).
    """
    excess = soil_c - ROOT_HEAT_FROM_C
    if excess > 0.0:
        return larger(share - loss_per_degree_day * excess, floor)
    if growth_potential > REGROWTH_POTENTIAL:
        return smaller(share + (1.0 - floor) / regrowth_days, 1.0)
    return share


@equation
def root_floor_shift(change_mm: float, subsoil_mm: float, root_layer_mm: float) -> float:
    """Share of the subsoil (above 0) or root layer (below 0) that changes layers in a day.

    Parameters
    ----------
    change_mm : of the field capacity of the rooted depth since yesterday.
    subsoil_mm, root_layer_mm : field capacity of the two layers yesterday.
    """
    if change_mm > 0.0:
        share = change_mm / subsoil_mm if subsoil_mm > HOLDS_NOTHING_MM else 0.0
    else:
        share = change_mm / root_layer_mm
    return clamp(share, -1.0, 1.0)


@equation
def rooting_of_year(score: float, cv: float) -> float:
    """Factor on the rooting depth in a year: lognormal, median 1, coefficient of variation ``cv``.

    ``score`` is standard normal. Source: own estimate of the form; days to half green cover of
    the same turf differed by 17 and 24 d between two years (Steinke et al. 2010, 2011).
    """
    return math.exp(cv * score)


@cache
def patch_reaches(cv: float, patches: int) -> tuple[float, ...]:
    """Share of the root zone that the roots of each patch reach, in the order of the patches.

    Quantiles of a lognormal with ``cv`` around 1, limited to 1, because deeper roots find no more
    water in the root zone. Patches are in the order of their catch, which does not affect roots: of
    all orders with even strides, the one least correlated with it is used.
    """
    shares = [
        min(math.exp(cv * float(special.ndtri((i + 0.5) / patches))), 1.0) for i in range(patches)
    ]
    middle = (patches - 1) / 2.0

    def drift(order: tuple[float, ...]) -> float:
        return abs(sum((i - middle) * share for i, share in enumerate(order)))

    strides = [k for k in range(1, patches + 1) if math.gcd(k, patches) == 1]
    orders = (
        tuple(shares[(start + k * i) % patches] for i in range(patches))
        for k in strides
        for start in range(patches)
    )
    return min(orders, key=drift)


def sand_cap_rooting_mm(in_sand_mm: float, in_native_mm: float, sand_mm: float) -> float:
    """Full rooting depth in a sand cap of ``sand_mm`` laid over native soil (mm).

    Fewer roots go below a deeper cap (Dyer et al. 2020); half of the reach is our estimate.
    """
    below = max(in_native_mm - sand_mm, 0.0)
    depth = max(in_sand_mm, min(in_native_mm, sand_mm))
    return max(depth, sand_mm + 0.5 * below) if below else depth
