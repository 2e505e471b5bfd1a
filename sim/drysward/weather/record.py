"""A daily weather record: one row a day without gaps, in base units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.physics.reference_et import wind_at_2m_m_s

FloatArray = NDArray[np.float64]

REQUIRED = ("rain_mm", "tmax_c", "tmin_c")
FEWEST_YEARS_TO_FIT = 5
"""Years of a record that a climate can be fitted to."""


@dataclass(frozen=True)
class FileFacts:
    """Facts about the weather file of a run, whose days are used or the origin of simulated years.

    ``first_day`` and ``last_day`` as 2013-07-04; ``complete_years`` counts them; ``digest`` is the
    SHA-256 of its bytes; ``filled`` and ``findings`` as in ``DailyRecord``. ``means`` are values
    that a person knows for a place, which reveal a wrong unit: rain of a year (mm), Tmax of the
    warmest month (C) and, where there is wind, its mean (m/s).
    """

    name: str
    digest: str
    first_day: str
    last_day: str
    complete_years: int
    filled: Mapping[str, int]
    findings: tuple[str, ...]
    means: Mapping[str, float]

    @property
    def calendar_years(self) -> range:
        """Calendar years from the first day to the last."""
        return range(int(self.first_day[:4]), int(self.last_day[:4]) + 1)


@dataclass(frozen=True, eq=False, kw_only=True)
class DailyRecord:
    """Daily weather of one place; every array has shape (n,).

    Rain and temperatures are there on every day. The other quantities are None when the
    record has no such column, and NaN on days when it has no value. ``filled`` counts the
    days that a rule filled, as ``{"rain: zero": 9}``, in the file as a whole; ``notes`` are
    assumptions of the reader, as sentences; ``digest`` is the SHA-256 of the file's bytes.
    ``latitude_deg`` (north positive) and ``elevation_m`` are those that the file states;
    ``findings`` are sentences on values that do not fit the location.

    ValueError when dates are not consecutive, a required value is not finite, lengths differ,
    or wind has no height.
    """

    name: str = ""
    dates: NDArray[np.datetime64]
    rain_mm: FloatArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    dewpoint_c: FloatArray | None = None
    vapor_pressure_kpa: FloatArray | None = None
    rh_mean_pct: FloatArray | None = None
    rh_max_pct: FloatArray | None = None
    rh_min_pct: FloatArray | None = None
    wind_m_s: FloatArray | None = None
    wind_height_m: float | None = None
    solar_mj_m2: FloatArray | None = None
    sunshine_h: FloatArray | None = None
    reference_et_mm: FloatArray | None = None
    filled: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    latitude_deg: float | None = None
    elevation_m: float | None = None
    digest: str = ""
    findings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        dates = np.asarray(self.dates).astype("datetime64[D]")
        object.__setattr__(self, "dates", dates)
        if not dates.size or np.isnat(dates).any() or (np.diff(dates).astype(int) != 1).any():
            raise ValueError("dates of a record are consecutive days, at least one")
        for name, values in self.columns().items():
            if values.shape != dates.shape:
                raise ValueError(f"{name} has shape {values.shape}, dates {dates.shape}")
            if name in REQUIRED and not np.isfinite(values).all():
                raise ValueError(f"{name} is not finite on every day")
        if self.wind_m_s is not None and self.wind_height_m is None:
            raise ValueError("wind_m_s has no wind_height_m")

    def columns(self) -> dict[str, FloatArray]:
        """The daily arrays of the record by name, without dates."""
        apart = (
            "name", "dates", "wind_height_m", "filled", "notes", "latitude_deg", "elevation_m",
            "digest", "findings",
        )  # fmt: skip
        named = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in apart}
        return {name: values for name, values in named.items() if values is not None}

    @property
    def facts(self) -> FileFacts:
        """Facts about the record's file."""
        first, last = map(str, self.dates[[0, -1]])
        complete = len(self.complete_years())
        return FileFacts(
            self.name, self.digest, first, last, complete, self.filled, self.findings, self._means()
        )

    def _means(self) -> dict[str, float]:
        """``FileFacts.means``."""
        month = self.dates.astype("datetime64[M]").astype(int) % 12
        days = np.bincount(month, minlength=12)
        warmest = (np.bincount(month, self.tmax_c, 12) / np.maximum(days, 1))[days > 0].max()
        means = {"rain_mm": float(self.rain_mm.mean() * 365.25), "tmax_c": float(warmest)}
        if self.wind_m_s is not None and np.isfinite(self.wind_m_s).any():
            means["wind_m_s"] = float(np.nanmean(self.wind_m_s))
        return means

    @property
    def n_days(self) -> int:
        return int(self.dates.size)

    def years(self) -> tuple[int, ...]:
        """The calendar years with at least one day in the record, in order."""
        first, last = self.dates[[0, -1]].astype("datetime64[Y]").astype(int) + 1970
        return tuple(range(int(first), int(last) + 1))

    def complete_years(self) -> tuple[int, ...]:
        """The calendar years of which the record has every day."""
        year = self.dates.astype("datetime64[Y]")
        found, days = np.unique(year, return_counts=True)
        length = (found + 1).astype("datetime64[D]") - found.astype("datetime64[D]")
        return tuple(int(y) + 1970 for y in found[days == length.astype(int)].astype(int))

    def select(self, days: slice) -> DailyRecord:
        """The days of a slice without a step."""
        cut: dict[str, Any] = {name: values[days] for name, values in self.columns().items()}
        return replace(self, dates=self.dates[days], **cut)

    def followed_by(self, later: DailyRecord) -> DailyRecord:
        """This record up to the day before ``later`` begins, then the days of ``later``.

        A quantity that one of them lacks is blank on its days; wind is at this record's height.
        ValueError when a day would be missing between them.
        """
        kept = int((later.dates[0] - self.dates[0]).astype(int))
        if not 0 < kept <= self.n_days:
            span = f"{self.dates[0]} to {self.dates[-1]}"
            raise ValueError(f"{later.dates[0]} does not follow {span}")
        first, second = self.columns(), later.columns()
        height, its_height = self.wind_height_m, later.wind_height_m
        if "wind_m_s" in second and height is not None and its_height is not None:
            # Both heights see the same wind at 2 m.
            there, here = (float(wind_at_2m_m_s(1.0, h)) for h in (its_height, height))
            second["wind_m_s"] = second["wind_m_s"] * there / here
        columns: dict[str, Any] = {}
        for name in {**first, **second}:
            parts = (
                first[name][:kept] if name in first else np.full(kept, np.nan),
                second.get(name, np.full(later.n_days, np.nan)),
            )
            columns[name] = np.concatenate(parts)
        return replace(
            self,
            dates=np.concatenate([self.dates[:kept], later.dates]),
            wind_height_m=its_height if height is None else height,
            **columns,
        )

    def between(self, first_year: int, last_year: int) -> DailyRecord:
        """The days of the calendar years ``first_year`` to ``last_year``, both included.

        ValueError when the record has none of them.
        """
        start, stop = np.array([f"{first_year:04d}", f"{last_year + 1:04d}"], dtype="datetime64[D]")
        first, after = np.searchsorted(self.dates, [start, stop])
        if first >= after:
            raise ValueError(
                f"no day from {first_year} to {last_year}; "
                f"the record runs {self.dates[0]} to {self.dates[-1]}"
            )
        return self.select(slice(int(first), int(after)))
