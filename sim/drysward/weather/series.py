"""Daily weather asked for by dates, so that a thousand made years need never be held at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from drysward.weather.record import DailyRecord

Maker = Callable[[int, int], DailyRecord]
"""Years made before, and years to make -> their weather."""


@dataclass(frozen=True, eq=False)
class Series:
    """Consecutive days from ``first`` to the day before ``stop``, read or made when asked for.

    ``kind`` is "record", "generator" or "resample"; ``told`` says in words where the days come
    from, ``notes`` what had to be assumed. ``independent_years`` are the years that sampling
    error may count: years drawn again from a record tell no more than the record, and made ones
    no more than is known of their climate. ``known_years`` says so when asked, for that takes
    seconds.
    """

    kind: str
    first: np.datetime64
    stop: np.datetime64
    between: Callable[[np.datetime64, np.datetime64], DailyRecord]
    told: str = ""
    notes: tuple[str, ...] = ()
    known_years: Callable[[], int] | None = None

    @cached_property
    def independent_years(self) -> int | None:
        return None if self.known_years is None else self.known_years()


def recorded(record: DailyRecord, told: str = "", notes: tuple[str, ...] = ()) -> Series:
    """The days of a record."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        first, after = np.searchsorted(record.dates, [start, stop])
        return record.select(slice(int(first), int(after)))

    return Series("record", record.dates[0], record.dates[-1] + 1, between, told, notes)


def made(
    kind: str,
    make: Maker,
    n_years: int,
    first_year: int,
    told: str = "",
    notes: tuple[str, ...] = (),
    known_years: Callable[[], int] | None = None,
) -> Series:
    """``n_years`` calendar years that ``make`` makes, whole years at a time, when asked for."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        from_year, to_year = (
            int(day.astype("datetime64[Y]").astype(int)) + 1970 for day in (start, stop - 1)
        )
        some = make(from_year - first_year, to_year - from_year + 1)
        first, after = np.searchsorted(some.dates, [start, stop])
        return some.select(slice(int(first), int(after)))

    first, stop = (
        np.datetime64(f"{year:04d}-01-01", "D") for year in (first_year, first_year + n_years)
    )
    return Series(kind, first, stop, between, told, notes, known_years)
