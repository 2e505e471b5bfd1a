"""What drives leaves to die besides the want of water: demand, warmth and heat."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

LEAF_LOSS_ETO_MM = 5.0  # demand at which leaves brown at the stated rate; own estimate
DECLINE_SPAN_C = 4.0  # over which summer decline sets in; own estimate


@equation
def browning_drive(eto_mm: float, active: float, warmth: float) -> float:
    """How far the day drives the browning of leaves that lack water: 1 at 5 mm/d, none at rest.

    ``active`` and ``warmth`` are the share of turf not at winter rest, and how far the soil is
    warm, 0..1. Source: own estimate of the form.
    """
    return clamp(eto_mm / LEAF_LOSS_ETO_MM, 0.2, 1.5) * active * warmth


@equation
def summer_decline(tmean_c: float, from_c: float, rate: float, active: float) -> float:
    """Rate (1/d) at which heat, and the disease that comes with it, takes green leaves.

    ``rate`` without transpiration to cool the leaves, in full from 4 C of the day's mean above
    ``from_c`` on. Source: own estimate of the form; cool-season cover at St. Paul fell through
    July, at means of 21 to 24 C, on three quarters of ET (national trial 2018).
    """
    return rate * clamp((tmean_c - from_c) / DECLINE_SPAN_C, 0.0, 1.0) * active
