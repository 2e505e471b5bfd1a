"""Depths, areas, flows and hours of water."""

from __future__ import annotations

from drysward.compiled import jitable
from drysward.physics.arithmetic import clamp

MM_PER_M = 1000.0


def precipitation_rate_mm_h(flow_m3_h: float, area_m2: float) -> float:
    """Mean rate at which sprinklers of this flow wet this area.

    The trade's PR (in/h) = 96.25 gpm/ft2 is this with 60 min/h, 231 in3/gal, 144 in2/ft2.
    """
    return MM_PER_M * flow_m3_h / area_m2


def volume_m3(depth_mm: float, area_m2: float) -> float:
    """Volume of a depth over an area; 1 mm on 1 m2 is a litre."""
    return depth_mm * area_m2 / MM_PER_M


def supply_flow_m3_h(depth_mm: float, area_m2: float, hours: float, efficiency: float) -> float:
    """Flow that brings a net depth to an area within so many hours.

    ``efficiency`` is the share (0 to 1) of the water drawn that reaches the roots.
    Source: USDA irrigation guides, Q = net depth x area / (efficiency x time).
    """
    return volume_m3(depth_mm, area_m2) / (efficiency * hours)


@jitable
def midday_spray_loss(rh_min_pct: float, u2_m_s: float, humid: float, arid: float) -> float:
    """Share of sprinkler water lost in flight at midday, by how dry the air is.

    Runs from ``humid`` to ``arid`` between minimum RH 45 and 25 % and is ``arid`` in wind above
    4 m/s (own estimate of the passage).
    """
    dry = clamp((45.0 - rh_min_pct) / 20.0, 0.0, 1.0)
    if u2_m_s > 4.0:
        dry = 1.0
    return humid + dry * (arid - humid)
