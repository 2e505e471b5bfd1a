"""Evaporation from bare soil, and the daily limit of evaporation and transpiration together."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger

LEAST_OVER_KCB = 0.05  # least difference of Kc max and Kcb (FAO-56 Eq 72)


@equation
def height_term(height_m: float) -> float:
    """What the height of the crop (m) does to Kc max (FAO-56 Eq 72)."""
    return (height_m / 3.0) ** 0.3


@equation
def kc_max(wind_m_s: float, rh_min_pct: float, of_height: float, kcb: float, base: float) -> float:
    """Upper limit of evaporation and transpiration over reference ET, Kc max (FAO-56 Eq 72).

    Parameters
    ----------
    wind_m_s : at 2 m. rh_min_pct : least relative humidity of the day.
    of_height : ``height_term`` of the crop. kcb : basal crop coefficient.
    base : 1.2 where wettings are some days apart, 1.1 where they come every day or two.
    """
    climate = 0.04 * (wind_m_s - 2.0) - 0.004 * (rh_min_pct - 45.0)
    return larger(base + climate * of_height, kcb + LEAST_OVER_KCB)


def total_evaporable_mm(field_capacity_mm: float, wilting_point_mm: float) -> float:
    """Water that can evaporate from the surface layer, TEW (FAO-56 Eq 73)."""
    return field_capacity_mm - 0.5 * wilting_point_mm


@equation
def evaporation_reduction(depletion: float, tew: float, inv_tew_less_rew: float) -> float:
    """Kr of FAO-56 eq 74 from the depletion of the surface layer (mm)."""
    return clamp((tew - depletion) * inv_tew_less_rew, 0.0, 1.0)
