"""Runoff by NRCS curve number (NEH-630 chapters 9 and 10; TR-55). Depths in mm.

The day step's own version, which follows soil moisture, is ``physics.water.rain_runoff``.
"""

from __future__ import annotations

import numpy as np

INITIAL_ABSTRACTION = 0.2
"""Ia over S: share of the retention that rain fills before any runs off (NEH-630 ch. 10)."""


def retention_mm(curve_number: float) -> float:
    """Potential retention S = 25400/CN - 254; ValueError outside 0 < CN <= 100."""
    if not 0.0 < curve_number <= 100.0:
        raise ValueError(f"curve number {curve_number} is not in 0..100")
    return 25400.0 / curve_number - 254.0


def runoff_mm(rain_mm: np.ndarray | float, curve_number: float) -> np.ndarray:
    """Q = (P - 0.2 S)^2 / (P + 0.8 S) above the initial abstraction."""
    s = retention_mm(curve_number)
    excess = np.maximum(np.asarray(rain_mm, float) - INITIAL_ABSTRACTION * s, 0.0)
    return np.divide(excess**2, excess + s, out=np.zeros_like(excess), where=excess + s > 0)
