"""Daily weather by dates, so that a thousand simulated years need never be held at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from drysward.weather.record import DailyRecord, FileFacts

Maker = Callable[[int, int], DailyRecord]
"""Years made before, and years to make -> their weather."""


@dataclass(frozen=True, eq=False)
class Series:
    """Consecutive days from ``first`` to the day before ``stop``, read or made when asked for.

    ``kind`` is "record", "generator" or "resample"; ``told`` says in words where the days come
    from, ``notes`` what had to be assumed; ``file`` tells of the file behind them, None without
    one. Years of a record keep their numbers; ``n_made`` years that were made are numbered from
    1, and ``drawn`` says of each which recorded years it repeats. ``independent_years`` are the
    years that sampling error may count: years drawn again from a record tell no more than the
    record, and made ones no more than is known of their climate. ``known_years`` says so when
    asked, for that takes seconds.
    """

    kind: str
    first: np.datetime64
    stop: np.datetime64
    between: Callable[[np.datetime64, np.datetime64], DailyRecord]
    told: str = ""
    notes: tuple[str, ...] = ()
    known_years: Callable[[], int] | None = None
    file: FileFacts | None = None
    n_made: int = 0
    drawn: tuple[str, ...] = ()

    @cached_property
    def independent_years(self) -> int | None:
        return None if self.known_years is None else self.known_years()

    @property
    def distinct_years(self) -> int | None:
        """Years that differ from one another, where some are drawn again and again; else None."""
        return self.independent_years if self.kind == "resample" else None

    @property
    def years_before(self) -> int:
        """Calendar years before the first made one, which has the number 1; 0 for a record."""
        return _year_of(self.first) - 1 if self.n_made else 0

    def number(self, year: int) -> int:
        """The number of a year as a person writes it: that of the simulation or the calendar."""
        of_calendar = year - self.years_before
        # A simulated year of 7,900 may have the number of a calendar year; the number counts.
        return of_calendar if 1 <= of_calendar <= self.n_made < year else year


def _year_of(day: np.datetime64) -> int:
    return int(day.astype("datetime64[Y]").astype(int)) + 1970


def recorded(record: DailyRecord, told: str = "", notes: tuple[str, ...] = ()) -> Series:
    """The days of a record."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        first, after = np.searchsorted(record.dates, [start, stop])
        return record.select(slice(int(first), int(after)))

    return Series(
        "record", record.dates[0], record.dates[-1] + 1, between, told, notes, file=record.facts
    )


def made(
    kind: str,
    make: Maker,
    n_years: int,
    first_year: int,
    told: str = "",
    notes: tuple[str, ...] = (),
    known_years: Callable[[], int] | None = None,
    file: FileFacts | None = None,
    drawn: tuple[str, ...] = (),
) -> Series:
    """``n_years`` calendar years that ``make`` makes, whole years at a time, when asked for."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        from_year, to_year = _year_of(start), _year_of(stop - 1)
        some = make(from_year - first_year, to_year - from_year + 1)
        first, after = np.searchsorted(some.dates, [start, stop])
        return some.select(slice(int(first), int(after)))

    first, stop = (
        np.datetime64(f"{year:04d}-01-01", "D") for year in (first_year, first_year + n_years)
    )
    return Series(kind, first, stop, between, told, notes, known_years, file, n_years, drawn)
