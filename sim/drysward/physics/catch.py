"""Distribution uniformity of sprinklers, and the catch of the patches of a field."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward import special

LEAST_UNIFORMITY = 0.3


def low_quarter_uniformity(catches: ArrayLike) -> float:
    """DU_LQ: mean of the lowest quarter over the mean of all (Keller & Bliesner 2000).

    When a quarter is not a whole number of cans, part of the next can counts.
    """
    values = np.sort(np.asarray(catches, float))
    quarter = values.size / 4.0
    weights = np.clip(quarter - np.arange(values.size), 0.0, 1.0)
    return float((weights * values).sum() / quarter / values.mean())


def run_time_multiplier(du_low_quarter: float) -> float:
    """1 / (0.4 + 0.6 DU_LQ), for the dry parts to get enough (from memory, trade practice)."""
    return 1.0 / (0.4 + 0.6 * du_low_quarter)


@cache
def patch_catches(du_low_quarter: float, patches: int) -> NDArray[np.float64]:
    """Catch of ``patches`` equal areas, driest first, as shares of the mean.

    Conditional means of equal slices of a normal distribution, scaled so that their low-quarter
    uniformity is ``du_low_quarter``; exact unless the driest slice would fall below 0, where it is
    set to 0. ValueError outside 0.3 to 1.
    """
    if not LEAST_UNIFORMITY <= du_low_quarter <= 1.0:
        raise ValueError(f"distribution uniformity {du_low_quarter} is not between 0.3 and 1")
    if patches == 1:
        return _kept(np.ones(1))
    edges = special.ndtri(np.linspace(0.0, 1.0, patches + 1))
    density = np.exp(-0.5 * edges**2) / np.sqrt(2.0 * np.pi)
    score = (density[:-1] - density[1:]) * patches
    fall = 1.0 - low_quarter_uniformity(score + 10.0)  # per tenth of a unit of spread
    catches = 1.0 + score * (1.0 - du_low_quarter) / (10.0 * fall)
    catches = np.maximum(catches, 0.0)
    return _kept(catches / catches.mean())


def _kept(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The array, made read-only."""
    values.setflags(write=False)
    return values
