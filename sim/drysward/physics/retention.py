"""Water in sand above a drainage interface: the perched water table.

After drainage, the tension at each point equals its height above the interface, so a deeper sand
has a drier top. Retention: van Genuchten 1980, Soil Sci. Soc. Am. J. 44:892-898.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class RetentionCurve:
    """van Genuchten parameters with m = 1 - 1/n; alpha in 1/cm."""

    theta_s: float
    theta_r: float
    alpha: float
    n: float

    def water_content(self, tension_cm: ArrayLike) -> NDArray[np.float64]:
        """Water content by volume at a tension (cm of water, any shape); saturated below 0."""
        h = np.maximum(np.asarray(tension_cm, float), 0.0)
        m = 1.0 - 1.0 / self.n
        effective = (1.0 + (self.alpha * h) ** self.n) ** -m
        return self.theta_r + (self.theta_s - self.theta_r) * effective


WILTING_TENSION_CM = 15_000.0  # 1.5 MPa, permanent wilting by convention


def drained_profile(
    curve: RetentionCurve, depth_mm: float, base_suction_cm: float, node_mm: ArrayLike
) -> NDArray[np.float64]:
    """Water content at depths ``node_mm`` below the surface, drained to equilibrium.

    Tension is ``base_suction_cm`` at the bottom and one cm more for each cm above it.
    """
    above_cm = (depth_mm - np.asarray(node_mm, float)) / 10.0
    return curve.water_content(base_suction_cm + above_cm)
