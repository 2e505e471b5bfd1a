"""Days on which low water stops a stream or well."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def may_draw(
    drought_index_mm: NDArray[np.float64], stops_above_mm: float, resumes_below_mm: float
) -> NDArray[np.bool_]:
    """Days (n,) on which a source runs.

    It stops on the day the index (n,) reaches ``stops_above_mm`` and runs again on the day it
    falls below ``resumes_below_mm``; in between it stays as it was the day before. It starts
    out running. A high drought index stands for low flow in place of a gauge (our own).
    """
    stops = drought_index_mm >= stops_above_mm
    changes = np.where(stops | (drought_index_mm < resumes_below_mm), np.arange(stops.size), -1)
    last_change = np.maximum.accumulate(changes)
    return np.where(last_change >= 0, ~stops[last_change], True)
