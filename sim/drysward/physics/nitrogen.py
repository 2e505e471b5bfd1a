"""Nitrogen in the soil: what moves with water, and what wet soil gives to the air."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger

KG_HA_PER_MM = 10_000.0  # of soil of 1 g/cm3
KG_HA_PER_MG_L_MM = 0.01


def soil_nitrogen_kg_ha(
    organic_matter: float, depth_mm: float, density: float, n_of_organic_matter: float
) -> float:
    """Organic nitrogen of the soil (kg N/ha).

    Parameters
    ----------
    organic_matter : share by weight of the top ``depth_mm``, of bulk ``density`` (g/cm3).
    n_of_organic_matter : nitrogen by weight of it, about 5% (Havlin et al.).
    """
    return KG_HA_PER_MM * depth_mm * density * organic_matter * n_of_organic_matter


def built_in_share(usual_share: float, organic_matter: float, usual_organic_matter: float) -> float:
    """Share of the nitrogen of rotted litter that soil builds in: none at twice the usual organic
    matter, ``usual_share`` at the usual, more in poorer soil.

    ``organic_matter`` is by weight. Young turf builds up soil, and old turf leaches what young turf
    keeps: 0.2% of labeled nitrogen on one Michigan site (Miltner et al. 1996), 11% ten years later
    (Frank et al. 2006). The straight line is our own estimate.
    """
    return clamp(usual_share * (2.0 - organic_matter / usual_organic_matter), 0.0, 1.0)


@equation
def dissolved_kg_ha(mg_l: float, water_mm: float) -> float:
    """What a depth of water carries at a concentration (kg/ha). Plain arithmetic."""
    return KG_HA_PER_MG_L_MM * mg_l * water_mm


@equation
def passed_on(moving_mm: float, held_mm: float) -> float:
    """Share of a layer's nitrate that goes with the water that leaves it: P / (P + V).

    ``moving_mm`` leaves the layer and ``held_mm`` stays in it. Through h layers of 1 cm it is
    Burns's (P / (P + Vm))^h; in many small portions it is 1 - exp(-P/V), a fully mixed layer.
    Source: Burns 1975 (from memory).
    """
    return moving_mm / larger(moving_mm + held_mm, NO_LESS)


@equation
def washed_through(moving_mm: float, held_mm: float, by_cracks: float) -> float:
    """Share of what lies on top of a layer that goes through it with a day's water.

    (P / (P + V/3))^3, Burns's equation with three parts of the layer, where ``passed_on`` takes a
    solute that is spread over it; of the share that goes ``by_cracks`` and worm holes with two
    parts. Fewer parts than layers of 1 cm let more through; how many there are is our own
    estimate. ``moving_mm`` and ``held_mm`` as there. Source: Burns 1975 (from memory), of
    surface-applied nitrate.
    """
    single = passed_on(moving_mm, held_mm * (1.0 / 3.0))
    cracked = passed_on(moving_mm, held_mm * 0.5)
    return (1.0 - by_cracks) * (single * single * single) + by_cracks * (cracked * cracked)


@equation
def held_back(moving_mm: float, held_mm: float, retardation: float) -> float:
    """As ``passed_on``, of a solute that the soil holds, such as ammonium.

    ``retardation`` is all of the solute over what is dissolved, 1 for nitrate. The usual form of
    linear sorption (from memory).
    """
    return passed_on(moving_mm, retardation * held_mm)


@equation
def denitrified(nitrate: float, filled: float, rate: float) -> float:
    """Nitrate that wet soil loses as gas in a day (kg N/ha).

    k NO3 ((w - wfc) / (ws - wfc))^2: none up to field capacity, ``rate`` (1/d, with temperature)
    at saturation. ``filled`` is the share in brackets, below 0 and above 1 as it comes. Source of
    the threshold: pF 2 in sand, loam and peat, de Klein & van Logtestijn 1996; the square is from
    memory.
    """
    part = clamp(filled, 0.0, 1.0)
    return nitrate * clamp(rate * (part * part), 0.0, 1.0)


@equation
def runoff_share(
    runoff_mm: float, entering_mm: float, surface_mm_water: float, mixing: float
) -> float:
    """Share of the surface layer's nitrate that leaves with a day's runoff.

    ``mixing`` is the share of the nitrate that mixes with water on the surface, ``entering_mm``
    the water that soaks in, ``surface_mm_water`` what the layer holds. Source: own estimate of the
    form; ``mixing`` from the 0.9 and 1.5% of nitrogen in four storms of Shuman 2002.
    """
    return mixing * passed_on(runoff_mm, entering_mm + surface_mm_water)
