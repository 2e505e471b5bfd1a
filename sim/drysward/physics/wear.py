"""How fast use wears cover, and at which moistures it wears faster."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.catalog import Entry

FloatArray = NDArray[np.float64]


def moisture_classes(entry: Entry, field_capacity: float) -> tuple[float, float]:
    """Water by volume from which the middle and the wet class of wear hold on a soil.

    The published limits are those of a silt loam; they are moved in proportion to field
    capacity (0..1), which is our own. Without effect where classes make no difference.
    """
    moved = field_capacity / entry["wear_field_capacity"]
    return entry["wear_middle_from"] * moved, entry["wear_wet_from"] * moved


def event_rate(entry: Entry) -> float:
    """Cover loss rate of one simulated event in dry soil: half gone at ``events_to_half_cover``.

    The events were counted over soil of changing moisture, taken as of the middle class (own
    estimate). Source of the events: Thoms et al. 2016.
    """
    return math.log(2.0) / entry["events_to_half_cover"] / entry["wear_middle_factor"]


def wear_rate_per_h(entry: Entry, use: Entry) -> float:
    """Cover loss rate of the whole field in an hour of use in dry soil (1/h).

    Parameters
    ----------
    entry : ``play.wear_native`` or ``play.wear_sand``. use : ``play.use``.
    """
    return event_rate(entry) * use["worn_part"] / use["event_hours"]


def cover_left(rate: float, factor: ArrayLike, events: ArrayLike) -> FloatArray:
    """Share of the cover left after ``events`` at ``rate`` times ``factor``, without regrowth.

    Exponential decay: each event takes the same share of what is there (own estimate of form).
    """
    return np.asarray(np.exp(-rate * np.asarray(factor, float) * np.asarray(events, float)))
