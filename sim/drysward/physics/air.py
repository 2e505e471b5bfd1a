"""Soil too wet for roots: air-filled pores, and what lack of air does; arrays of any shape."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.catalog import Entry

FloatArray = NDArray[np.float64]

HARM_AT_C = {
    5.0: "harm_days_5c",
    17.5: "harm_days_17c",
    25.0: "harm_days_25c",
    32.0: "harm_days_32c",
}
"""Soil temperature -> number of the catalogue's ``play.airless_roots``."""


def air_filled_porosity(
    water_mm: ArrayLike, saturation_mm: ArrayLike, depth_mm: ArrayLike
) -> FloatArray:
    """Pores without water (m3/m3) of a layer; 0 at saturation and beyond. By definition."""
    room = np.asarray(saturation_mm, float) - np.asarray(water_mm, float)
    return np.maximum(room, 0.0) / np.asarray(depth_mm, float)


def days_until_harm(soil_c: ArrayLike, entry: Entry) -> FloatArray:
    """Days of saturation before harm shows, log-linear between the catalogue's temperatures.

    Held below the lowest and above the highest. Source: own estimate; that injury grows from
    10 to 30 C water is published (Michigan State E0020TURF after Beard 1973).
    """
    days = [np.log(entry[name]) for name in HARM_AT_C.values()]
    return np.asarray(np.exp(np.interp(np.asarray(soil_c, float), list(HARM_AT_C), days)))


def root_harm_rate(soil_c: ArrayLike, entry: Entry) -> FloatArray:
    """Share of the roots still there that a day without air kills, from the second day on.

    So that ``visible_root_loss`` v is reached after ``days_until_harm`` in a row, of which the
    first does no harm: 1 - (1 - v)^(1/(days - 1)), with at least half a day of harm.
    Source: own estimate of the form.
    """
    harmed = np.maximum(days_until_harm(soil_c, entry) - 1.0, 0.5)
    return 1.0 - (1.0 - entry["visible_root_loss"]) ** (1.0 / harmed)


def root_heal_rate(growth_potential: ArrayLike, regrowth_days: float) -> FloatArray:
    """Share of the lost roots that a day with air brings back, as fast as turf grows.

    At full growth two thirds are back after ``regrowth_days``. Source: own estimate.
    """
    return 1.0 - np.exp(-np.asarray(growth_potential, float) / regrowth_days)
