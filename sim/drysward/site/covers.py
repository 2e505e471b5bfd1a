"""Rain covers: days on the field, rain kept off, labor."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.scenario.model import CoverSpec, EventSpec
from drysward.site.play_calendar import Dates, Flags, days_before

FloatArray = NDArray[np.float64]


class Covered(NamedTuple):
    """Each (n,): whether the cover is on, rain kept off (mm), and labor (h)."""

    lies: Flags
    kept_off_mm: FloatArray
    labor_h: FloatArray


def cover_days(
    cover: CoverSpec | None,
    events: Iterable[EventSpec],
    dates: Dates,
    rain_mm: FloatArray,
    tmax_c: FloatArray,
) -> Covered:
    """Days under the cover, and the rain that it keeps off.

    It is on during each of the ``days_before`` a judged event (not on the day of the event) with
    ``rain_from_mm`` of rain or more, as with a perfect forecast, unless the maximum is above
    ``heat_c`` or it has been on for ``longest_days`` in a row. Limits of time and heat: from
    memory, plastic over turf for more than a day in sun or three otherwise risks heat and disease.
    """
    n = dates.size
    if cover is None:
        return Covered(np.zeros(n, bool), np.zeros(n), np.zeros(n))
    lies = (
        days_before(events, dates, 1, cover.days_before)
        & (rain_mm >= cover.rain_from_mm)
        & (tmax_c <= cover.heat_c)
    )
    row = 0
    for i in np.flatnonzero(lies):
        row = row + 1 if i > 0 and lies[i - 1] else 1
        if row > cover.longest_days:
            lies[i], row = False, 0
    return Covered(lies, np.where(lies, rain_mm, 0.0), np.where(lies, cover.labor_h, 0.0))
