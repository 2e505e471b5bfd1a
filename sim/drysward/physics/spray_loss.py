"""Sprinkler water lost in flight."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp


@equation
def midday_spray_loss(rh_min_pct: float, u2_m_s: float, humid: float, arid: float) -> float:
    """Share of sprinkler water lost in flight at midday, by how dry the air is.

    Runs from ``humid`` to ``arid`` between minimum RH 45 and 25% and is ``arid`` in wind above
    4 m/s (own estimate of the transition).
    """
    dry = clamp((45.0 - rh_min_pct) / 20.0, 0.0, 1.0)
    if u2_m_s > 4.0:
        dry = 1.0
    return humid + dry * (arid - humid)
