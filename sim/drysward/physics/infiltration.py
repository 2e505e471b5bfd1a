"""How fast water goes in: sprinklers against the soil, and Green & Ampt's wetting front."""

from __future__ import annotations

import math


def longest_run_h(rate_mm_h: float, intake_mm_h: float, surface_storage_mm: float) -> float:
    """Longest sprinkler run without runoff, hours; infinite where the soil keeps up.

    What outruns the intake fills the surface storage. Source: cycle and soak as in the test
    protocol for weather-based controllers (from memory).
    """
    if rate_mm_h <= intake_mm_h:
        return math.inf
    return surface_storage_mm / (rate_mm_h - intake_mm_h)


def sprinkler_runoff_mm(
    depth_mm: float, rate_mm_h: float, intake_mm_h: float, surface_storage_mm: float
) -> float:
    """Runoff of one unbroken run that lands ``depth_mm``: what passes the longest run."""
    if rate_mm_h <= 0:
        return 0.0
    run_h = depth_mm / rate_mm_h
    return max(0.0, (rate_mm_h - intake_mm_h) * run_h - surface_storage_mm)


def green_ampt_ponded_mm(
    time_h: float, ksat_mm_h: float, suction_mm: float, deficit: float
) -> float:
    """Cumulative infiltration under shallow ponding from time zero, mm.

    Solves F - psi dtheta ln(1 + F/(psi dtheta)) = K t.

    Parameters
    ----------
    time_h, ksat_mm_h : time and conductivity K.
    suction_mm, deficit : suction psi at the wetting front, and the water content dtheta
        (m3/m3) that the front takes up.

    Source: Green & Ampt 1911; Chow, Maidment & Mays 1988, Eq 4.3.8 (number from memory).
    """
    return _after_ponding_mm(time_h, 0.0, ksat_mm_h, suction_mm * deficit)


def green_ampt_rate_mm_h(
    infiltrated_mm: float, ksat_mm_h: float, suction_mm: float, deficit: float
) -> float:
    """Rate at which a ponded soil takes water once ``infiltrated_mm`` > 0 is in, mm/h.

    Source: Chow, Maidment & Mays 1988, Eq 4.3.7 (number from memory).
    """
    return ksat_mm_h * (1 + suction_mm * deficit / infiltrated_mm)


def ponding_time_h(rate_mm_h: float, ksat_mm_h: float, suction_mm: float, deficit: float) -> float:
    """Time at which steady rain begins to pond, hours; infinite where it never does.

    Source: Mein & Larson 1973; Chow, Maidment & Mays 1988, Eq 4.4.2 (number from memory).
    """
    if rate_mm_h <= ksat_mm_h:
        return math.inf
    return ksat_mm_h * suction_mm * deficit / (rate_mm_h * (rate_mm_h - ksat_mm_h))


def green_ampt_rain_mm(
    time_h: float, rate_mm_h: float, ksat_mm_h: float, suction_mm: float, deficit: float
) -> float:
    """Cumulative infiltration under steady rain, mm: all of it until ponding, then the front's.

    Source: Mein & Larson 1973; Chow, Maidment & Mays 1988, Eq 4.4.5 (number from memory).
    """
    ponding_h = ponding_time_h(rate_mm_h, ksat_mm_h, suction_mm, deficit)
    if time_h <= ponding_h:
        return rate_mm_h * time_h
    return _after_ponding_mm(
        time_h - ponding_h, rate_mm_h * ponding_h, ksat_mm_h, suction_mm * deficit
    )


def _after_ponding_mm(time_h: float, start_mm: float, ksat_mm_h: float, pull_mm: float) -> float:
    """F with F - F0 - s ln((s + F)/(s + F0)) = K t; s = ``pull_mm``, F0 = ``start_mm``."""
    if time_h <= 0:
        return start_mm
    steady = ksat_mm_h * time_h
    if pull_mm <= 0:
        return start_mm + steady

    def short_of(added_mm: float) -> float:
        return added_mm - pull_mm * math.log1p(added_mm / (pull_mm + start_mm)) - steady

    # Here, since it takes a quarter of a second to import and few runs need it.
    from scipy.optimize import brentq

    # The front takes at least K t; gravity and capillarity apart take at least as much together.
    most = steady + math.sqrt(2 * pull_mm * steady)
    return start_mm + float(brentq(short_of, steady, most + 1e-9, xtol=1e-10))
