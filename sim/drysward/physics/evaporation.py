"""Evaporation from the wet surface and stress of the root zone: FAO-56 chapters 7 and 8.

Pure functions of numbers or arrays that broadcast together; equation numbers are those of
Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56. Depths mm, water
contents m3/m3, wind m/s, humidity percent, heights and root depths m as in the paper.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = float | NDArray[np.float64]

MM_PER_M = 1000.0
LEAST_KC_SPAN = 0.01  # Kcb - Kcmin in Eq 76, as the paper asks (from memory)
MOST_COVER = 0.99  # limit of fc in Eq 76 (from memory)


# ---------------------------------------------------------------- surface layer, chapter 7


def kc_max(
    wind_m_s: Values,
    rh_min_pct: Values,
    height_m: Values,
    kcb: Values,
    base: float = 1.2,
) -> Values:
    """Upper limit of evaporation and transpiration, Kc max (Eq 72).

    ``base`` is 1.2 where wettings are some days apart, 1.1 where they come every day or two.
    """
    climate = 0.04 * (wind_m_s - 2) - 0.004 * (rh_min_pct - 45)
    return np.maximum(base + climate * (height_m / 3) ** 0.3, kcb + 0.05)


def total_evaporable_mm(
    field_capacity: Values, wilting_point: Values, depth_m: Values = 0.10
) -> Values:
    """Water that can evaporate from the surface layer, TEW (Eq 73)."""
    return MM_PER_M * (field_capacity - 0.5 * wilting_point) * depth_m


def evaporation_reduction(depletion_mm: Values, tew_mm: Values, rew_mm: Values) -> Values:
    """Kr, from the depletion of the surface layer at the start of the day (Eq 74); 0 to 1."""
    return np.clip((tew_mm - depletion_mm) / (tew_mm - rew_mm), 0.0, 1.0)


def exposed_wetted_fraction(cover: Values, wetted: Values = 1.0) -> Values:
    """few: the soil both exposed and wetted (Eq 75); sprinkler and rain wet all of it."""
    return np.minimum(1 - cover, wetted)


def evaporation_coefficient(kr: Values, kc_max_: Values, kcb: Values, few: Values) -> Values:
    """Ke, the part of ETc/ETo that is soil evaporation (Eq 71)."""
    return np.minimum(kr * (kc_max_ - kcb), few * kc_max_)


def cover_fraction(kcb: Values, kc_min: Values, kc_max_: Values, height_m: Values) -> Values:
    """Share of the ground under green cover, fc, from the basal coefficient (Eq 76)."""
    span = np.maximum(kcb - kc_min, LEAST_KC_SPAN)
    cover = (span / (kc_max_ - kc_min)) ** (1 + 0.5 * height_m)
    return np.minimum(cover, MOST_COVER)


def surface_depletion_mm(
    before_mm: Values,
    rain_in_mm: Values,
    irrigation_mm: Values,
    evaporation_mm: Values,
    few: Values,
    wetted: Values,
    tew_mm: Values,
) -> Values:
    """Depletion De of the surface layer at the end of the day (Eq 77 to 79), 0 to TEW.

    Water comes early in the day: what the layer cannot hold passes down before evaporation.
    ``rain_in_mm`` is rain less runoff; transpiration from the layer is left out.
    """
    wet = np.maximum(before_mm - rain_in_mm - irrigation_mm / wetted, 0.0)
    return np.minimum(wet + evaporation_mm / few, tew_mm)


# ---------------------------------------------------------------- root zone, chapter 8


def total_available_mm(
    field_capacity: Values, wilting_point: Values, root_depth_m: Values
) -> Values:
    """Water between field capacity and wilting point in the root zone, TAW (Eq 82)."""
    return MM_PER_M * (field_capacity - wilting_point) * root_depth_m


def depletion_fraction(p_table: Values, etc_mm: Values) -> Values:
    """p for the demand of the day from p at 5 mm/d (note to Table 22); 0.1 to 0.8."""
    return np.clip(p_table + 0.04 * (5 - etc_mm), 0.1, 0.8)


def readily_available_mm(p: Values, taw_mm: Values) -> Values:
    """Water that roots take up without stress, RAW (Eq 83)."""
    return p * taw_mm


def stress_coefficient(depletion_mm: Values, taw_mm: Values, p: Values) -> Values:
    """Ks, from the depletion of the root zone at the start of the day (Eq 84); 0 to 1."""
    return np.clip((taw_mm - depletion_mm) / ((1 - p) * taw_mm), 0.0, 1.0)


# ---------------------------------------------------------------- bare soil between wettings


def initial_kc(eto_mm: float, interval_d: float, tew_mm: float, rew_mm: float) -> float:
    """Mean Kc of nearly bare soil wetted every ``interval_d`` days (Annex 7, from memory).

    Energy sets the pace, 1.15 ETo, until REW is gone; then it falls in proportion to what is
    left of TEW. Bare soil evaporates at most TEW between two wettings.
    """
    potential_mm = 1.15 * eto_mm
    first_stage_d = rew_mm / potential_mm
    if interval_d <= first_stage_d:
        return potential_mm / eto_mm
    left = (tew_mm - rew_mm) * np.exp(
        -(interval_d - first_stage_d) * potential_mm / (tew_mm - rew_mm)
    )
    return float((tew_mm - left) / (interval_d * eto_mm))


def initial_kc_by_depth(depth_mm: float, light: float, heavy: float) -> float:
    """Kc of wettings of 10 to 40 mm, between those of light and heavy ones (Annex 7)."""
    share = min(max((depth_mm - 10) / 30, 0.0), 1.0)
    return light + share * (heavy - light)
