"""Play on a surface for one day: hardness, air, wear, wet leaves. Plain scalar equations."""

from __future__ import annotations

import math

from numba.extending import register_jitable

SQRT_TWO = math.sqrt(2.0)


@register_jitable
def hardness_g(
    moisture: float,
    intercept: float,
    slope: float,
    floor: float,
    bare_share: float,
    bare_extra: float,
    frozen: bool,
    frozen_g: float,
) -> float:
    """Peak deceleration (g) of the surface, an estimate.

    Parameters
    ----------
    moisture : water by volume of the surface layer. intercept, slope, floor : of the line in it.
    bare_share : of the ground; ``bare_extra`` (g) is added where all is bare.
    frozen, frozen_g : frozen ground has the hardness ``frozen_g`` whatever its moisture.

    Source: own estimate of the form; no published regression could be confirmed.
    """
    if frozen:
        return frozen_g
    line = intercept + slope * moisture
    return max(line, floor) + bare_extra * bare_share


@register_jitable
def hard_share(hardness: float, limit: float, scatter: float) -> float:
    """Share of ground above ``limit`` when readings scatter about ``hardness`` (g, normal)."""
    if scatter <= 0.0:
        return 1.0 if hardness > limit else 0.0
    return 0.5 * math.erfc((limit - hardness) / (scatter * SQRT_TWO))


@register_jitable
def air_filled(water: float, saturation: float, inv_depth: float) -> float:
    """Air-filled porosity of a layer: what is not water of its pores, by volume."""
    air = (saturation - water) * inv_depth
    return air if air > 0.0 else 0.0


@register_jitable
def wear_share(
    hours: float,
    moisture: float,
    rate: float,
    middle_from: float,
    wet_from: float,
    middle: float,
    wet: float,
) -> float:
    """Share of cover that ``hours`` of use take, faster in moister soil.

    ``rate`` is per hour in dry soil; from the moisture ``middle_from`` on it is ``middle`` times,
    from ``wet_from`` on ``wet`` times that.
    """
    if hours <= 0.0:
        return 0.0
    times = 1.0
    if moisture >= wet_from:
        times = wet
    elif moisture >= middle_from:
        times = middle
    return 1.0 - math.exp(-hours * rate * times)


@register_jitable
def leaf_wet_hours(dew_hours: float, rain_hours: float, watered: bool, wet_hours: float) -> float:
    """Hours for which leaves are wet in a night: the longer of dew and rain, and watering's."""
    hours = dew_hours if dew_hours > rain_hours else rain_hours
    if watered:
        hours += wet_hours
    return hours if hours < 24.0 else 24.0


@register_jitable
def skin_wanted(water: float, target: float, inv_depth: float) -> float:
    """Depth (mm) that brings a skinned surface to its target moisture (by volume)."""
    wanted = target / inv_depth - water
    return wanted if wanted > 0.0 else 0.0
