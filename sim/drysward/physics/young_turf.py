"""New turf: its rooting, and its losses on dry days."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller


@equation
def young_root_share(age_d: float, start_share: float, rooting_days: float) -> float:
    """Share of the full rooting depth that new turf has at an age; linear.

    Source: own estimate of the form.
    """
    return smaller(start_share + (1.0 - start_share) * (age_d / rooting_days), 1.0)


@equation
def young_loss(surface_wetness: float, dry_below: float, rate: float) -> float:
    """Share of young plants that die in a day: none on a moist surface, ``rate`` on a dry one.

    ``surface_wetness`` is the share of available water that the surface layer holds; the loss
    grows linearly from ``dry_below`` down to 0. Source: own estimate of the form.
    """
    return rate * clamp(1.0 - surface_wetness / larger(dry_below, NO_LESS), 0.0, 1.0)
