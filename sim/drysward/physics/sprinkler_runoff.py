"""Irrigation that the ground does not take (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, larger


@equation
def sprinkler_runoff(depth: float, rate: float, intake: float, surface_storage: float) -> float:
    """Runoff of one sprinkler run: rate over intake, less what the surface holds (mm).

    ``rate`` and ``intake`` in mm/h. Source: cycle-and-soak arithmetic, common practice.
    """
    excess = larger(depth * (1.0 - intake / larger(rate, NO_LESS)) - surface_storage, 0.0)
    return excess if (rate > intake) & (depth > 0.0) else 0.0
