"""Wear of cover by use, and its increase with soil moisture."""

from __future__ import annotations

import math

from drysward.compiled import equation


@equation
def by_moisture(
    moisture: float, middle_from: float, wet_from: float, dry: float, middle: float, wet: float
) -> float:
    """A day's wear on dry, medium or wet soil, by the class of its moisture.

    Source: use wears bermudagrass on silt loam 4 times as fast at 0.30-0.37 as at 0.06-0.21 and
    3 times as at 0.22-0.29, Dickson et al. 2018; on sand there are no classes.
    """
    drier = middle if moisture >= middle_from else dry
    return wet if moisture >= wet_from else drier


def wear_limit(moisture: float, field_capacity: float, reference_field_capacity: float) -> float:
    """Water by volume at which a class of wear begins on a soil of this field capacity (0..1).

    The published limits, ``moisture``, are those of a silt loam; scaling them with field capacity
    is our own.
    """
    return moisture * (field_capacity / reference_field_capacity)


def event_rate(events_to_half: float, middle_factor: float) -> float:
    """Cover loss rate of one simulated event in dry soil: half gone after ``events_to_half``.

    Soil moisture varied over the events; it is taken as the middle class, which wears
    ``middle_factor`` times as fast (own estimate). Source of the events: Thoms et al. 2016.
    """
    return math.log(2.0) / events_to_half / middle_factor


def wear_rate_per_h(rate: float, worn_part: float, event_hours: float) -> float:
    """Cover loss rate of the whole field per hour of use on dry soil (1/h).

    ``rate`` is that of an event of ``event_hours``, which wears ``worn_part`` of the field.
    """
    return rate * worn_part / event_hours


@equation
def cover_left(rate: float, factor: float, events: float) -> float:
    """Share of the cover left after ``events`` at ``rate`` times ``factor``, without regrowth.

    Exponential decay: each event takes the same share of the remaining cover (own estimate of
    form).
    """
    return math.exp(-rate * factor * events)
