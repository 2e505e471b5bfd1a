"""What the last days leave behind: the warmth of the top soil and the drought index.

Running totals have one number more than there are days: the total of all days before each.
"""

from __future__ import annotations

from typing import Any

from drysward.compiled import equation
from drysward.physics.arithmetic import larger

SOIL_MEMORY_DAYS = 7  # trailing mean of air temperature that stands in for the top soil


@equation
def soil_temperature_c(total_c: Any, day: int) -> float:
    """Temperature of the top soil: mean of the air's over the last week, fewer days at the start.

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
