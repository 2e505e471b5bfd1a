"""Flow that an irrigation system needs to keep up with turf."""

from __future__ import annotations

DAYS_A_WEEK = 7.0


def design_flow_m3_h(
    area_m2: float, loss_mm_d: float, efficiency: float, nights_a_week: float, window_h: float
) -> float:
    """Flow (m3/h) that makes up a loss of ``loss_mm_d`` a day in the watering nights of a week.

    ``efficiency`` is the share of the water that the turf can use. Source: Colorado Irrigation
    Guide, part 683.12, supply rate: loss x area / (efficiency x time of running).
    """
    week_mm = loss_mm_d * DAYS_A_WEEK / efficiency
    return week_mm * area_m2 / 1000.0 / (nights_a_week * window_h)
