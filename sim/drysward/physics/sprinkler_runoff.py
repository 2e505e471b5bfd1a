"""Irrigation that the ground does not take in one run (mm)."""

from __future__ import annotations

from drysward.compiled import jitable
from drysward.physics.intake import runoff_of_irrigation, runoff_terms


@jitable
def sprinkler_runoff(depth: float, rate: float, intake: float, surface_storage: float) -> float:
    """Runoff of one sprinkler run: rate over intake, less what the surface holds (mm).

    ``rate`` and ``intake`` in mm/h.
    """
    share, held = runoff_terms(rate, intake, surface_storage, 0.0, 0.0)
    return runoff_of_irrigation(depth, share, held)
