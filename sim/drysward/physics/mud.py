"""Soil too wet to play on: how much water the pores hold that drain, and for how long."""

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
    held_of_rain: float,
    held_of_watering: float,
) -> float:
    """Water (mm) on its way down through the surface layer when the field is played on.

    It is what play finds above what the day's drainage leaves; drier ground keeps none.

    Parameters
    ----------
    water_mm : of the layer once the day's rain and irrigation have entered it.
    rain_mm, watered_mm : of the day. Water of days before has had its day of drainage.
    held_of_rain, held_of_watering : share of the water above field capacity that is still there
        when play begins, above the share that is there after a day (``held_share``).

    Source: own estimate of the form; rain is taken to be the last to come.
    """
    above = larger(smaller(water_mm, saturation_mm) - field_capacity_mm, 0.0)
    new = smaller(above, rain_mm + watered_mm)
    of_rain = smaller(new, rain_mm)
    return held_of_rain * of_rain + held_of_watering * (new - of_rain)


def held_share(drained_by_play: float, drained_in_a_day: float) -> float:
    """Share of the water above field capacity that drains between play and the end of a day.

    Both are shares that have drained since the water came. By definition.
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
