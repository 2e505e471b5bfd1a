"""Syringing: a light application in the heat of the day, to cool leaves."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def syringe_left(depth_mm: float, evaporated_share: float) -> float:
    """Water of a syringing left after an hour, which may reach the root zone (mm).

    Source: cooling gone within 15 to 30 minutes (trade press 2018), DiPaola 1984; the share
    is an own estimate.
    """
    return depth_mm * (1.0 - evaporated_share)
