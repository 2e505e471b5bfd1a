"""What drives leaves to die besides the want of water: demand, warmth and heat."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger

LEAF_LOSS_ETO_MM = 5.0  # demand at which leaves brown at the stated rate; own estimate


@equation
def browning_drive(eto_mm: float, active: float, warmth: float) -> float:
    """How far the day drives the browning of leaves that lack water: 1 at 5 mm/d, none at rest.

    ``active`` and ``warmth`` are the share of turf not at winter rest, and how far the soil is
    warm, 0..1. Source: own estimate of the form.
    """
    return clamp(eto_mm / LEAF_LOSS_ETO_MM, 0.2, 1.5) * active * warmth


@equation
def summer_decline(tmean_c: float, from_c: float, rate_per_c_d: float, active: float) -> float:
    """Rate (1/d) at which heat, and the disease that comes with it, takes green leaves.

    ``rate_per_c_d`` for each degree of the day's mean above ``from_c``, without transpiration to
    cool the leaves. Source: own estimate of the form; cool-season cover at St. Paul fell through
    July on three quarters of ET (National Turfgrass Evaluation Program 2018).
    """
    return rate_per_c_d * larger(tmean_c - from_c, 0.0) * active
