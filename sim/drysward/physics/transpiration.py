"""Transpiration, and the soil water that it takes (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller


@equation
def stress_coefficient(depletion: float, inv_one_less_p: float) -> float:
    """Ks of FAO-56 eq 84 from the depletion fraction Dr/TAW and 1/(1 - p)."""
    return clamp((1.0 - depletion) * inv_one_less_p, 0.0, 1.0)


@equation
def available_in_surface(w1: float, crown_water: float, wp1: float, crown_wp: float) -> float:
    """Available water of the surface layer (mm): above the wilting point of its crown layer, and
    above that of the remaining layer.

    ``w1`` and ``wp1`` are of the whole layer, ``crown_water`` and ``crown_wp`` of the crown layer.
    """
    return larger(crown_water - crown_wp, 0.0) + larger(w1 - crown_water - (wp1 - crown_wp), 0.0)


@equation
def felt_depletion(available: float, inv_taw: float, inv_rooting: float) -> float:
    """Depletion of the water that roots reach: share of their available water used, at most 1.

    ``available`` is the water above the wilting point of each layer (mm), so drying of
    the soil below it does not count. Roots that reach a smaller share of the zone (``inv_rooting``
    is 1 over it) have a proportionally larger depletion.
    """
    return smaller((1.0 - available * inv_taw) * inv_rooting, 1.0)


@equation
def transpiration_of(demand: float, most: float, available: float) -> float:
    """Transpiration: the demand, limited by evaporative demand and by available water (mm)."""
    return smaller(smaller(demand, most), available)


@equation
def uptake_from_surface(taken: float, surface: float, roots: float, weight: float) -> float:
    """Part of the water ``taken`` that comes from the surface layer (mm).

    In proportion to the available water of the layers, with the ``surface`` layer weighted
    ``weight`` times the ``roots`` layer below; neither loses more than it has. Source: own estimate
    of the form (roots are denser near the surface).
    """
    weighted = weight * surface
    # Without available water there is no transpiration.
    share = taken * weighted / larger(weighted + roots, NO_LESS)
    return larger(smaller(share, surface), taken - roots)
