"""Syringing: a little water in the heat of the day, to cool leaves."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def syringe_left(depth_mm: float, evaporated_share: float) -> float:
    """Water (mm) of a syringing that is left after the hour, at most for the root zone.

    Source: cooling gone within 15 to 30 minutes (trade press 2018), DiPaola 1984; the share
    is an own estimate.
    """
    return depth_mm * (1.0 - evaporated_share)
