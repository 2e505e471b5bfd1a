"""Soil too wet for roots: air-filled pores, and what lack of air does."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

HARM_AT_C = (5.0, 17.5, 25.0, 32.0)
"""Soil temperatures for which the catalog has days of saturation until harm shows."""


@equation
def air_filled(water_mm: float, saturation_mm: float, inv_depth: float) -> float:
    """Air-filled porosity (m3/m3) of a layer of depth 1/``inv_depth`` (mm); 0 when saturated.

    By definition.
    """
    return larger(saturation_mm - water_mm, 0.0) * inv_depth


@equation
def days_until_harm(soil_c: float, days: tuple[float, float, float, float]) -> float:
    """Days of saturation before harm shows, log-linear between ``days`` at HARM_AT_C.

    Held below the lowest temperature and above the highest. Source: own estimate; that injury
    grows from 10 to 30 C water is published (Michigan State E0020TURF after Beard 1973).
    """
    if soil_c <= HARM_AT_C[0]:
        return days[0]
    for k in range(3):
        if soil_c < HARM_AT_C[k + 1]:
            part = (soil_c - HARM_AT_C[k]) / (HARM_AT_C[k + 1] - HARM_AT_C[k])
            return days[k] * (days[k + 1] / days[k]) ** part
    return days[3]


@equation
def root_harm_rate(harm_days: float, visible_loss: float) -> float:
    """Share of the remaining roots that die on a day in saturated soil, from the second day on.

    Chosen so that ``visible_loss`` v is reached after ``harm_days`` in a row (``days_until_harm``),
    of which the first does no harm: 1 - (1 - v)^(1/(days - 1)), with at least half a day of harm.
    Source: own estimate of the form.
    """
    return 1.0 - (1.0 - visible_loss) ** (1.0 / larger(harm_days - 1.0, 0.5))


@equation
def root_heal_rate(growth_potential: float, regrowth_days: float) -> float:
    """Share of the lost roots that regrow on a day with air, in step with turf growth.

    At full growth two thirds are back after ``regrowth_days``. Source: own estimate.
    """
    return 1.0 - math.exp(-growth_potential / regrowth_days)


@equation
def lack_of_air(air: float, inv_enough: float) -> float:
    """Lack of air in a layer: 0 from ``1 / inv_enough`` of air-filled porosity on, 1 without any.

    Roots are short of oxygen below 10% (from memory); the straight line is our own estimate.
    """
    return clamp(1.0 - air * inv_enough, 0.0, 1.0)


@equation
def root_harm(airless_run_days: float, rate: float, lack: float) -> float:
    """Share of the remaining roots that die on a day with too little air.

    Parameters
    ----------
    airless_run_days : days in a row with too little air, today included; the first does no harm.
    rate : share a day in saturated soil, from the second on, by soil temperature
        (``root_harm_rate``).
    lack : ``lack_of_air``, since days until harm are those of saturated soil.

    Source: own estimate of the form.
    """
    return rate * lack if airless_run_days > 1.0 else 0.0


@equation
def root_loss_step(
    loss: float, airless_run_days: float, rate: float, lack: float, heal: float, most: float
) -> float:
    """Share of roots lost after one more day: more with too little air, less with enough.

    ``heal`` is the share of the lost roots that regrows in a day; ``most`` is the upper limit.
    Source: own estimate of the form.
    """
    harmed = smaller(loss + (1.0 - loss) * root_harm(airless_run_days, rate, lack), most)
    return harmed if airless_run_days > 0.0 else loss * (1.0 - heal)
