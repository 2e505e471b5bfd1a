"""Soil too wet to play on: water in the draining pores, and how long it stays."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger, smaller


@equation
def passing_mm(
    water_mm: float,
    field_capacity_mm: float,
    saturation_mm: float,
    rain_mm: float,
    watered_mm: float,
    undrained_of_rain: float,
    undrained_of_watering: float,
) -> float:
    """Water draining through the surface layer when play begins (mm).

    It is the water above that at the end of the day; ground below field capacity has none.

    Parameters
    ----------
    water_mm : of the layer after the day's rain and irrigation have entered it.
    rain_mm, watered_mm : of the day. Water of earlier days has had its day of drainage.
    undrained_of_rain, undrained_of_watering : share of the water above field capacity that drains
        between the start of play and the end of the day (``undrained_share``).

    Source: own estimate of the form; rain is assumed to come last.
    """
    above = larger(smaller(water_mm, saturation_mm) - field_capacity_mm, 0.0)
    new = smaller(above, rain_mm + watered_mm)
    of_rain = smaller(new, rain_mm)
    return undrained_of_rain * of_rain + undrained_of_watering * (new - of_rain)


def undrained_share(drained_by_play: float, drained_in_a_day: float) -> float:
    """Share of the water above field capacity that drains between play and the end of the day.

    Both arguments are shares drained since the water came. By definition.
    """
    return max(drained_in_a_day - drained_by_play, 0.0)


def mud_from(field_capacity: float, saturation: float, pores: float) -> float:
    """Water by volume above which use turns the soil to mud.

    ``pores`` is the share of the pores between field capacity and saturation that water fills
    there. Source: wet limit of tillage, 0.4 of the way from the inflection of the retention curve
    to saturation, Dexter & Bird 2001 (from memory); field capacity in place of the inflection is
    our own.
    """
    return field_capacity + pores * (saturation - field_capacity)
