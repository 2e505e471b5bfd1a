"""Drivers of leaf death besides water shortage: demand, warmth and heat."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

LEAF_LOSS_ETO_MM = 5.0  # demand at which leaves brown at the catalog's rate; own estimate
DECLINE_SPAN_C = 4.0  # range over which summer decline sets in; own estimate


@equation
def browning_drive(eto_mm: float, active: float, warmth: float) -> float:
    """Factor of the day on the browning of leaves short of water: 1 at 5 mm/d, 0 at winter rest.

    ``active`` is the share of turf not at winter rest, ``warmth`` its activity by soil temperature
    (0..1). Source: own estimate of the form.
    """
    return clamp(eto_mm / LEAF_LOSS_ETO_MM, 0.2, 1.5) * active * warmth


@equation
def summer_decline(tmean_c: float, from_c: float, rate: float, active: float) -> float:
    """Rate (1/d) of loss of green leaves to heat and the diseases that come with it.

    ``rate`` holds without transpiration to cool the leaves, and in full when the daily mean is 4 C
    above ``from_c``. Source: own estimate of the form; cool-season cover at St. Paul fell through
    July, at means of 21 to 24 C, on three quarters of ET (national trial 2018).
    """
    return rate * clamp((tmean_c - from_c) / DECLINE_SPAN_C, 0.0, 1.0) * active
