"""Soil water from texture: Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578.

Sand and clay are decimal fractions by weight, organic matter is in weight percent. Water
contents are volume fractions. The coefficients follow the paper; one printed routine has
1.238 where 1.283 stands here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

PARTICLE_DENSITY = 2.65  # g/cm3, quartz


@dataclass(frozen=True)
class Hydraulics:
    """Water contents, conductivity and density of one soil: volume fractions, mm/h, g/cm3."""

    wilting_point: float
    field_capacity: float
    saturation: float
    ksat_mm_h: float
    pore_index: float
    bulk_density: float

    @property
    def conductivity_exponent(self) -> float:
        """m of K = Ks (theta/theta_s)^m; 3 + 2/lambda."""
        return 3.0 + 2.0 / self.pore_index


def _texture_terms(s: float, c: float, om: float) -> tuple[float, float, float]:
    wilt_t = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om
    wilt_t += 0.068 * s * c + 0.031
    wilt = wilt_t + (0.14 * wilt_t - 0.02)
    cap_t = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om
    cap_t += 0.452 * s * c + 0.299
    cap = cap_t + (1.283 * cap_t * cap_t - 0.374 * cap_t - 0.015)
    drain_t = 0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om
    drain_t += -0.584 * s * c + 0.078
    drain = drain_t + (0.636 * drain_t - 0.107)
    return wilt, cap, drain


def pore_index(wilting_point: float, field_capacity: float) -> float:
    """lambda = 1/B from the water held at 33 and 1500 kPa (their eqs 14, 15, 18)."""
    b = (math.log(1500.0) - math.log(33.0)) / (math.log(field_capacity) - math.log(wilting_point))
    return 1.0 / b


def conductivity_mm_h(wilting_point: float, field_capacity: float, saturation: float) -> float:
    """Saturated conductivity from the drainable pores (their eq 16)."""
    exponent = 3.0 - pore_index(wilting_point, field_capacity)
    return 1930.0 * max(saturation - field_capacity, 0.0) ** exponent


def from_texture(
    sand: float, clay: float, organic_matter_pct: float = 2.5, density_factor: float = 1.0
) -> Hydraulics:
    """Hydraulic properties of a soil, compacted by ``density_factor`` (1 is normal).

    Raises ValueError when sand and clay are not fractions of a soil. The density adjustment is that
    of the same paper (their eqs 7 to 10, from memory): large pores close first.
    """
    if not (0.0 <= sand <= 1.0 and 0.0 <= clay <= 1.0 and sand + clay <= 1.0):
        raise ValueError(f"sand {sand} and clay {clay} are not fractions with a sum of at most 1")
    wilt, cap, drain = _texture_terms(sand, clay, organic_matter_pct)
    saturation = cap + drain - 0.097 * sand + 0.043
    density = (1.0 - saturation) * PARTICLE_DENSITY * density_factor
    compacted = 1.0 - density / PARTICLE_DENSITY
    cap -= 0.2 * (saturation - compacted)
    cap = min(cap, compacted - 0.01)
    if cap <= wilt:
        raise ValueError(
            f"a density factor of {density_factor} leaves sand {sand}, clay {clay} no pores that"
            " hold available water; use a smaller factor or state the water contents"
        )
    return Hydraulics(
        wilting_point=wilt,
        field_capacity=cap,
        saturation=compacted,
        ksat_mm_h=conductivity_mm_h(wilt, cap, compacted),
        pore_index=pore_index(wilt, cap),
        bulk_density=density,
    )


def densest(sand: float, clay: float, organic_matter_pct: float = 2.5) -> float:
    """Largest density factor that leaves a soil 0.02 of available water."""
    wilt, cap, drain = _texture_terms(sand, clay, organic_matter_pct)
    saturation = cap + drain - 0.097 * sand + 0.043
    # Field capacity falls by a fifth of the lost pores, and stays 0.01 below saturation.
    fewest_pores = max(
        saturation - (cap - wilt - LEAST_GAP) / 0.2, wilt + LEAST_GAP + 0.01
    )
    return (1.0 - fewest_pores) / (1.0 - saturation)


# Least water at wilting point, and least difference of it to field capacity and of that to
# saturation, of any soil (own estimate: coarse sand holds 0.02 and drains more).
DRIEST, LEAST_GAP = 0.01, 0.02


def with_errors(
    soil: Hydraulics,
    wilting_point: float = 0.0,
    field_capacity: float = 0.0,
    saturation: float = 0.0,
    log10_conductivity: float = 0.0,
) -> Hydraulics:
    """A soil with errors relative to the regressions, kept physically possible.

    The errors are added to the water contents (shares of volume), from the driest up: wilting
    point is at least 0.01, field capacity 0.02 above it, saturation 0.02 above that. Conductivity
    is multiplied by ten to the power of its error, which covers everything that texture does not
    determine: the new water contents do not change it again. Bulk density follows from
    saturation. Without errors the soil is returned as it is.
    """
    if not (wilting_point or field_capacity or saturation or log10_conductivity):
        return soil
    wilt = max(soil.wilting_point + wilting_point, DRIEST)
    cap = max(soil.field_capacity + field_capacity, wilt + LEAST_GAP)
    full = max(soil.saturation + saturation, cap + LEAST_GAP)
    return Hydraulics(
        wilting_point=wilt,
        field_capacity=cap,
        saturation=full,
        ksat_mm_h=soil.ksat_mm_h * 10.0**log10_conductivity,
        pore_index=pore_index(wilt, cap),
        bulk_density=(1.0 - full) * PARTICLE_DENSITY,
    )


def drain_share_in_a_day(soil: Hydraulics, thickness_mm: float, hours: float = 24.0) -> float:
    """Share of the water above field capacity that a saturated slab loses in a day, or ``hours``.

    Unit gradient and K = Ks (theta/theta_s)^m give L dtheta/dt = -K, whose solution is
    theta/theta_s = (1 + (m - 1) Ks t / (L theta_s))^(-1/(m - 1)). Returns 0..1.
    """
    m = soil.conductivity_exponent
    spread = (m - 1.0) * soil.ksat_mm_h * hours / (thickness_mm * soil.saturation)
    after = soil.saturation * (1.0 + spread) ** (-1.0 / (m - 1.0))
    share = (soil.saturation - after) / (soil.saturation - soil.field_capacity)
    return min(max(share, 0.0), 1.0)


def hydrologic_group(ksat_mm_h: float, depth_mm: float, barrier: bool) -> str:
    """NRCS hydrologic group A to D from the least conductive layer (NEH-630 table 7-1)."""
    ksat = ksat_mm_h / 3.6  # micrometers per second
    if barrier and depth_mm < 500.0:
        return "d"
    limits = (40.0, 10.0, 1.0) if barrier and depth_mm < 1000.0 else (10.0, 4.0, 0.4)
    for letter, limit in zip("abc", limits, strict=True):
        if ksat > limit:
            return letter
    return "d"
