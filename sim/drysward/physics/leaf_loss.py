"""How fast leaves brown when water runs out."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

LEAF_LOSS_ETO_MM = 5.0  # demand at which leaves brown at the stated rate; own estimate


@equation
def leaf_loss_rate(rate: float, eto_mm: float, active: float, warmth: float) -> float:
    """Share of green leaves (1/d) lost without water: as demand drives it, none at rest or cold.

    Parameters
    ----------
    rate : at 5 mm/d of reference ET.
    active, warmth : share of turf not at winter rest, and how far the soil is warm; 0..1.

    Source: own estimate of the form.
    """
    return rate * clamp(eto_mm / LEAF_LOSS_ETO_MM, 0.2, 1.5) * active * warmth
