"""Footprinting, wilting, browning and regreening of leaves, as shares of a patch.

Plants in a patch differ, so every transition is a rate or a curve and never a switch.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp


@equation
def share_past(depletion: float, threshold: float, inv_width: float) -> float:
    """Share of plants past a threshold of depletion, rising linearly across it.

    ``inv_width`` is 1 over the width of the rise, which is centered on the threshold. Source: own
    estimate of the form and width (plants, depth and compaction differ).
    """
    return clamp((depletion - threshold) * inv_width + 0.5, 0.0, 1.0)


@equation
def leaf_death(
    ks: float,
    inv_start: float,
    browning: float,
    inv_firing: float,
    firing: float,
    drive: float,
    decline: float,
) -> float:
    """Share of green leaves that die in a day.

    Parameters
    ----------
    ks : transpiration over its demand. inv_start : 1 over the Ks at which leaves begin to die.
    browning : rate (1/d) with no transpiration, of leaves that thin out over weeks of a deficit.
    firing : further rate (1/d) with no transpiration, from a Ks of 1 / ``inv_firing`` down.
    drive : factor of demand and warmth on both, 1 at 5 mm/d. decline : rate (1/d) of the heat.

    An implicit step (x / (1 + x)), so that the share stays below 1. Source: own estimate of
    the form.
    """
    thinning = browning * clamp(1.0 - ks * inv_start, 0.0, 1.0)
    rate = drive * (thinning + firing * clamp(1.0 - ks * inv_firing, 0.0, 1.0)) + decline
    return rate / (1.0 + rate)


@equation
def regreening(
    dormant: float, rate: float, ks: float, wetting: float, age: float, inv_slowing: float
) -> float:
    """Dormant cover that turns green in a day.

    Parameters
    ----------
    rate : share a day with plenty of water and warmth.
    ks : transpiration over its demand. wetting : memory of a wet surface (0..1).
    age : dry days of the dormant cover so far. inv_slowing : 1 over the age that
        halves the rate.

    Source: own estimate of the form.
    """
    return dormant * rate * ks * wetting / (1.0 + age * inv_slowing)
