"""Daily weather by dates, so that a thousand simulated years never have to be in memory at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from drysward.faults import Fault, FaultyInput
from drysward.weather.record import DailyRecord, FileFacts

Maker = Callable[[int, int], DailyRecord]
"""Simulated years before, and years to simulate -> their weather."""


@dataclass(frozen=True, eq=False)
class Series:
    """Consecutive days from ``first`` to the day before ``stop``, read or simulated when needed.

    ``kind`` is "record", "generator" or "resample". ``description`` states the origin of the days,
    ``notes`` the assumptions; ``file`` describes the file behind them, None without one, where
    ``findings_of_normals`` and ``means_of_normals`` are those of the monthly normals. Years of a
    record keep their numbers; ``n_simulated`` simulated years are numbered from 1, and ``drawn``
    names the recorded years behind each. ``independent_years`` is the number of years for sampling
    error: resampled years hold no more information than the record, and simulated years no more
    than is known about their climate. ``known_years`` computes it when needed, which takes seconds.
    """

    kind: str
    first: np.datetime64
    stop: np.datetime64
    between: Callable[[np.datetime64, np.datetime64], DailyRecord]
    description: str = ""
    notes: tuple[str, ...] = ()
    known_years: Callable[[], int] | None = None
    file: FileFacts | None = None
    n_simulated: int = 0
    drawn: tuple[str, ...] = ()
    findings_of_normals: tuple[str, ...] = ()
    means_of_normals: Mapping[str, float] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[str, ...]:
        """What the weather has that its place cannot have, a sentence each."""
        return self.findings_of_normals if self.file is None else self.file.findings

    @property
    def means(self) -> Mapping[str, float]:
        """Values that a person knows for a place, as ``FileFacts.means``."""
        return self.means_of_normals if self.file is None else self.file.means

    @cached_property
    def independent_years(self) -> int | None:
        return None if self.known_years is None else self.known_years()

    @property
    def distinct_years(self) -> int | None:
        """Number of different years when years may be drawn repeatedly, else None."""
        return self.independent_years if self.kind == "resample" else None

    @property
    def years_before(self) -> int:
        """Calendar years before simulated year 1; 0 for a record."""
        return _year_of(self.first) - 1 if self.n_simulated else 0

    def require_simulated(self, year: int, where: str = "year") -> None:
        """FaultyInput when the years are simulated and ``year`` is not the number of one.

        A simulated year has no calendar year. ``where`` is what a fault calls it.
        """
        if not self.n_simulated or 1 <= year <= self.n_simulated:
            return
        remedy = "" if year < 1 else ' (for more, raise "years" under [weather])'
        if self.file is not None and year in self.file.calendar_years:
            remedy = f" (for the record's {year}, source = \"record\")"
        allowed = f"1 to {self.n_simulated}{remedy}"
        raise FaultyInput(Fault(where, f"{year} is no simulated year", allowed))


def _year_of(day: np.datetime64) -> int:
    return int(day.astype("datetime64[Y]").astype(int)) + 1970


def recorded(record: DailyRecord, description: str = "", notes: tuple[str, ...] = ()) -> Series:
    """The days of a record as a series; the caller states the file behind it."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        first, after = np.searchsorted(record.dates, [start, stop])
        return record.select(slice(int(first), int(after)))

    return Series(
        "record",
        record.dates[0],
        record.dates[-1] + np.timedelta64(1, "D"),
        between,
        description,
        notes,
    )


def simulated(
    kind: str,
    make: Maker,
    n_years: int,
    first_year: int,
    description: str = "",
    notes: tuple[str, ...] = (),
    known_years: Callable[[], int] | None = None,
    file: FileFacts | None = None,
    drawn: tuple[str, ...] = (),
) -> Series:
    """``n_years`` calendar years simulated by ``make``, whole years at a time, when needed."""

    def between(start: np.datetime64, stop: np.datetime64) -> DailyRecord:
        from_year, to_year = _year_of(start), _year_of(stop - 1)
        some = make(from_year - first_year, to_year - from_year + 1)
        first, after = np.searchsorted(some.dates, [start, stop])
        return some.select(slice(int(first), int(after)))

    first, stop = (
        np.datetime64(f"{year:04d}-01-01", "D") for year in (first_year, first_year + n_years)
    )
    return Series(kind, first, stop, between, description, notes, known_years, file, n_years, drawn)
