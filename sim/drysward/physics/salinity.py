"""Salt of irrigation water, and the water that keeps it out of the root zone."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger

UPTAKE_ABOVE = (0.0, 0.4, 0.7, 0.9, 1.0)  # share of uptake above the five nodes of the profile
SEVERE_DS_M = 3.0
"""Salt of water above which its use is severely restricted (Ayers & Westcot 1985, FAO-29, table 1,
from memory)."""
SATURATED_OVER_SOIL_WATER = 0.5  # salt of the saturated extract over that of soil water


@equation
def leaching_requirement(ecw_ds_m: float, ece_ds_m: float) -> float:
    """Least share of the water that must drain, LR = ECw / (5 ECe - ECw), up to 1.

    ``ecw_ds_m`` is the salt of the water and ``ece_ds_m`` the most of the saturated soil extract
    that the turf stands (dS/m). At 1 no amount of such water is enough. Source: Ayers & Westcot
    1985, FAO-29, eq 9 (from memory).
    """
    return clamp(ecw_ds_m / larger(5.0 * ece_ds_m - ecw_ds_m, NO_LESS), 0.0, 1.0)


@equation
def applied_for(et_mm: float, leaching: float) -> float:
    """Water to apply for ``et_mm`` with a share ``leaching`` of it draining, AW = ET / (1 - LR).

    Source: Ayers & Westcot 1985, FAO-29, eq 7 (from memory).
    """
    return et_mm / larger(1.0 - leaching, NO_LESS)


@equation
def yield_percent(ece_ds_m: float, threshold_ds_m: float, slope: float) -> float:
    """Growth in salty soil, 100 - b (ECe - a), in percent of that without salt.

    ``slope`` is percent for each dS/m above the threshold. Source: Maas & Hoffman 1977 in
    Ayers & Westcot 1985, FAO-29 (from memory).
    """
    return clamp(100.0 - slope * (ece_ds_m - threshold_ds_m), 0.0, 100.0)


def soil_salt_ratio(leaching_fraction: float) -> float:
    """Salt of the saturated soil extract over that of the water applied for years (ECe/ECw).

    The mean of soil water at five depths, with uptake of 40, 30, 20 and 10% between them, and half
    of it in the saturated extract. ``leaching_fraction`` is the share that drains, above 0.
    Source: Ayers & Westcot 1985, FAO-29, table 3 (from memory).
    """
    passing = [1.0 - (1.0 - leaching_fraction) * taken for taken in UPTAKE_ABOVE]
    soil_water = sum(1.0 / part for part in passing) / len(passing)
    return SATURATED_OVER_SOIL_WATER * soil_water
