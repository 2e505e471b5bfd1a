"""Turf taking water from the soil (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller


@equation
def stress_coefficient(depletion: float, inv_one_less_p: float) -> float:
    """Ks of FAO-56 eq 84 from the depletion fraction Dr/TAW and 1/(1 - p)."""
    return clamp((1.0 - depletion) * inv_one_less_p, 0.0, 1.0)


@equation
def available_in_surface(w1: float, crown_water: float, wp1: float, crown_wp: float) -> float:
    """Water of the surface layer that roots can take (mm): what its crown layer and what the rest
    of it hold above their own wilting points.

    ``w1`` and ``wp1`` are of the whole layer, ``crown_water`` and ``crown_wp`` of the crown layer.
    """
    return larger(crown_water - crown_wp, 0.0) + larger(w1 - crown_water - (wp1 - crown_wp), 0.0)


@equation
def felt_depletion(available: float, inv_taw: float, inv_rooting: float) -> float:
    """Depletion as roots feel it: the share of their available water that is gone, never past 1.

    ``available`` is the water above the wilting point of each layer (mm), so that what the ground
    loses below it to the air does not count. Roots that reach less of the zone (``inv_rooting`` is
    1 over their share) feel as much more.
    """
    return smaller((1.0 - available * inv_taw) * inv_rooting, 1.0)


@equation
def transpiration_of(demand: float, most: float, available: float) -> float:
    """Water that turf takes: its demand, no more than the air takes or the roots can reach."""
    return smaller(smaller(demand, most), available)


@equation
def uptake_from_surface(taken: float, surface: float, roots: float, weight: float) -> float:
    """What of the water ``taken`` comes from the surface layer.

    In proportion to the available water of the ``surface`` layer, ``weight`` times as eagerly as
    that of the ``roots`` below; neither gives more than it has. Source: own estimate of the form
    (roots are denser near the surface).
    """
    weighted = weight * surface
    # With no water to share out, none is transpired.
    share = taken * weighted / larger(weighted + roots, NO_LESS)
    return larger(smaller(share, surface), taken - roots)
