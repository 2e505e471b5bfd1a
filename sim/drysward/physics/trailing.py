"""Trailing sums: the temperature of the topsoil and the drought index.

Running totals have one more number than there are days: the total of all days before each.
"""

from __future__ import annotations

from typing import Any

from drysward.compiled import equation
from drysward.physics.arithmetic import larger

SOIL_MEMORY_DAYS = 7  # trailing mean of air temperature, used as topsoil temperature


@equation
def soil_temperature_c(total_c: Any, day: int) -> float:
    """Topsoil temperature: mean air temperature of the last week, of fewer days at the start (C).

    ``total_c`` are running totals (n + 1,) of daily mean air temperature. Common practice.
    """
    stop = day + 1
    start = stop - SOIL_MEMORY_DAYS if stop > SOIL_MEMORY_DAYS else 0
    return (total_c[stop] - total_c[start]) / (stop - start)


@equation
def drought_index_mm(total_mm: Any, day: int, days: int) -> float:
    """Drought index: reference ET less rain over the last ``days``, not below 0 (mm).

    ``total_mm`` are running totals (n + 1,) of daily reference ET less rain.
    """
    stop = day + 1
    start = stop - days if stop > days else 0
    return larger(total_mm[stop] - total_mm[start], 0.0)
