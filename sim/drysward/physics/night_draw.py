"""Water that a night's watering can draw: inflow counts only as far as it comes while fields water.

A day has one watering. Fields draw what storage holds when it begins, and what reaches storage
until it ends. What comes in the rest of the day fills the storage afterwards, as far as it has
room. With the whole day's inflow a tank of any size would pass a well's water of 24 hours in a
night of eight.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger, smaller

DAY_H = 24.0


@equation
def pumped_in_window_m3(rate_m3_h: float, hours: float, window_h: float) -> float:
    """Water that a source, or the pipes, give while fields water (m3).

    ``hours`` of its day are pumped, as many of them as fit in the ``window_h`` of watering: a pump
    that runs for part of the day runs first when fields need it. Our own.
    """
    together = smaller(hours, window_h)
    return rate_m3_h * together if together > 0.0 else 0.0


@equation
def later_inflow_m3(weather_m3: float, window_h: float) -> float:
    """Part of a day's runoff and rain ``weather_m3`` that comes after the watering (m3).

    Rain falls at any hour alike, so that the window gets its share of the 24 hours. Our own.
    """
    return weather_m3 * (1.0 - clamp(window_h / DAY_H, 0.0, 1.0))


@equation
def drawable_m3(held_m3: float, dead_m3: float, later_m3: float, pumped_m3: float) -> float:
    """Water that fields can draw from storage in a night (m3).

    ``held_m3`` is that of the whole day, of which ``later_m3`` comes after the watering;
    ``pumped_m3`` comes from sources meanwhile, and ``dead_m3`` stays. By definition.
    """
    return larger(held_m3 - later_m3 - dead_m3 + pumped_m3, 0.0)
