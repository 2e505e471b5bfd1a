"""Days of an account by year and calendar day: a simulated year has no date."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import MONTHS
from drysward.weather.simulated.climate import calendar_day

_LONG_NAMES = {
    "year": "turf year: that in which it starts, or the number of a simulated year",
    "month_day": "month and day",
}


def day_coordinates(
    dates: NDArray[np.datetime64], years: NDArray[np.int64], simulated: bool, year: str = "year"
) -> dict[str, tuple[str, Any, dict[str, str]]]:
    """Coordinates of the dimension ``day``, to select, group and plot by.

    ``day`` counts from 1; ``year`` (by another name when that is taken), ``month``, ``day_of_year``
    (1 to 366, in the calendar of a leap year) and ``month_day`` ("07-15") say which day it is.
    Recorded days have their ``date`` too. ``dates`` and ``years`` (n,).
    """
    texts = np.datetime_as_string(dates, unit="D")
    months = dates.astype("datetime64[M]").astype(int) % MONTHS + 1
    out: dict[str, tuple[str, Any, dict[str, str]]] = {
        "day": ("day", np.arange(1, dates.size + 1), {}),
        year: ("day", years.astype(np.int32), {"long_name": _LONG_NAMES["year"]}),
        "day_of_year": ("day", calendar_day(dates).astype(np.int32) + 1, {}),
        "month_day": (
            "day", np.array([text[-5:] for text in texts]), {"long_name": _LONG_NAMES["month_day"]},
        ),
    }  # fmt: skip
    if year == "year":
        out["month"] = ("day", months.astype(np.int32), {})
    if not simulated:
        out["date"] = ("day", dates.astype("datetime64[s]"), {"long_name": "date"})
    return out
