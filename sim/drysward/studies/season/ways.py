"""Ways on: daily weather from today to the end of the season, each one that may come.

The past years of a record are the ways on of Twedt, Schaake & Peck (1977) and Day (1985, J. Water
Resour. Plann. Manage. 111:157; from memory): every year's weather from today's date on is one
equally likely way. Simulated years may take their place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.weather.record import DailyRecord

FloatArray = NDArray[np.float64]
_YEAR = np.timedelta64(12, "M")


@dataclass(frozen=True, eq=False)
class Way:
    """Weather that may come: ``days`` from today on, at the dates of this season.

    ``name`` says where it is from, ``year`` is the calendar year (or the number of the simulated
    year) that it begins in.
    """

    name: str
    year: int
    days: DailyRecord


def same_days_of_year(
    dates: NDArray[np.datetime64], years_back: int
) -> NDArray[np.datetime64]:
    """The dates (n,) so many years earlier; 29 February is 28 February where there is none."""
    months = dates.astype("datetime64[M]")
    day = (dates - months.astype("datetime64[D]")).astype(int)
    then = months - years_back * _YEAR
    last = ((then + 1).astype("datetime64[D]") - then.astype("datetime64[D]")).astype(int) - 1
    moved: NDArray[np.datetime64] = then.astype("datetime64[D]") + np.minimum(day, last)
    return moved


def ways_of_record(
    record: DailyRecord,
    today: np.datetime64,
    last: np.datetime64,
    names: str = "{year}",
    before: int = 0,
    years: Sequence[int] | None = None,
) -> list[Way]:
    """The weather of every other year of ``record`` on the days from ``today`` to ``last``.

    Parameters
    ----------
    names : what a way is called, with its ``{year}``.
    before : years before year 1 of the record's numbers, 0 where they are calendar years.
    years : calendar years of the record in which a way may begin; all but today's when None.
    """
    dates = np.arange(today, last + 1)
    this_year = int(today.astype("datetime64[Y]").astype(int)) + 1970
    out = []
    for year in record.years() if years is None else years:
        then = same_days_of_year(dates, this_year - year)
        first = int((then[0] - record.dates[0]).astype(int))
        places = (then - record.dates[0]).astype(int)
        if (year == this_year and years is None) or first < 0 or places[-1] >= record.n_days:
            continue
        out.append(Way(names.format(year=year - before), year - before, at(record, places, dates)))
    return out


def at(
    record: DailyRecord, places: NDArray[np.int64], dates: NDArray[np.datetime64]
) -> DailyRecord:
    """The days of ``record`` at ``places`` (n,), as the days ``dates`` (n,)."""
    picked: dict[str, Any] = {name: values[places] for name, values in record.columns().items()}
    return replace(record, dates=dates, **picked)
