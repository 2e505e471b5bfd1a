"""Spread of dry and wet years, in a record and in weather generated from it.

A generator can have every mean right and still make all years alike. Dry conditions matter most for
turf: summer rain, dry spells, and the least rain of a month and of a quarter. Observed and
generated years are compared with a sampling band, because a short record is uncertain: ten years
may have no long drought by chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.weather.record import DailyRecord

FloatArray = NDArray[np.float64]
Hemisphere = Literal["north", "south"]

DRY_BELOW_MM = 1.0  # common practice: a day under 1 mm is dry
LEAST_DAYS = 360  # a year with fewer days is left out
LEAST_SHARE_OF_YEARS = 3  # least number of generated years per observed year for a band
_DRAWS = 2000
_BLOCK_YEARS = 5  # years drawn together, which keeps the correlation between years
_BAND = (5.0, 95.0)
_SEED = 20  # fixed, so that the band does not change from call to call

MEASURES = {
    "annual_rain_mm": ("rain of the year", "mm"),
    "summer_rain_mm": ("rain of the three summer months", "mm"),
    "longest_dry_spell_d": ("longest run of days under 1 mm", "d"),
    "season_dry_spell_d": ("longest run of days under 1 mm in the warm half-year", "d"),
    "least_30_day_rain_mm": ("least rain of 30 days in a row", "mm"),
    "least_90_day_rain_mm": ("least rain of 90 days in a row", "mm"),
}
"""Measures of each year: meaning and unit."""

STATISTICS = {
    "mean": "mean of the years",
    "sd": "standard deviation between years",
    "p10": "10th percentile of the years",
    "p90": "90th percentile of the years",
    "minimum": "least of the years",
    "maximum": "most of the years",
}
"""Statistics of each measure over the years."""


@dataclass(frozen=True)
class YearSpread:
    """The measures of every whole year of a record, each an array (years,).

    A year runs from January in the north, from July in the south, where it is named for the
    year in which it begins; spells and windows end with it.
    """

    years: NDArray[np.int64]
    annual_rain_mm: FloatArray
    summer_rain_mm: FloatArray
    longest_dry_spell_d: FloatArray
    season_dry_spell_d: FloatArray
    least_30_day_rain_mm: FloatArray
    least_90_day_rain_mm: FloatArray


@dataclass(frozen=True)
class SpreadRow:
    """One statistic of one measure, observed and generated.

    Nine in ten records as long as the observed one lie between ``low`` and ``high`` if they come
    from the generated climate. ``inside``: whether the observed value lies there. With a perfect
    generator one row in ten does not.
    """

    measure: str
    statistic: str
    unit: str
    observed: float
    generated: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        return self.low <= self.observed <= self.high


@dataclass(frozen=True)
class SpreadComparison:
    """All statistics of all measures, and the years they come from."""

    observed_years: int
    generated_years: int
    rows: tuple[SpreadRow, ...]

    def row(self, measure: str, statistic: str) -> SpreadRow:
        """The row of one of ``MEASURES`` and one of ``STATISTICS``; KeyError for another."""
        for row in self.rows:
            if (row.measure, row.statistic) == (measure, statistic):
                return row
        raise KeyError((measure, statistic))


def longest_run(chosen: NDArray[np.bool_]) -> int:
    """Longest run of True in an array (n,)."""
    ends = np.flatnonzero(~np.concatenate([[False], chosen, [False]]))
    return int(np.diff(ends).max() - 1)


def least_window_mm(rain_mm: FloatArray, days: int) -> float:
    """Least total (mm) of ``days`` days in a row of rain (n,), n at least ``days``."""
    total = np.concatenate([[0.0], np.cumsum(rain_mm)])
    # The running sum leaves a rounding error of 1e-13 in a dry window.
    return float(max(np.min(total[days:] - total[:-days]), 0.0).round(9))


def year_spread(record: DailyRecord, hemisphere: Hemisphere = "north") -> YearSpread:
    """The measures of every year of the record that has at least 360 days.

    FaultyInput when there is no such year.
    """
    month = record.dates.astype("datetime64[M]").astype(int)
    if hemisphere == "south":
        month = month - 6  # then a year from July is treated like one from January in the north
    year, place = np.divmod(month, 12)
    first, starts = np.unique(year, return_index=True)  # days are in order
    stops = np.append(starts[1:], year.size)
    whole = stops - starts >= LEAST_DAYS
    if not whole.any():
        raise FaultyInput(Fault("weather record", "has no whole year", f"{LEAST_DAYS} days a year"))
    columns: dict[str, list[float]] = {name: [] for name in MEASURES}
    for start, stop in zip(starts[whole], stops[whole], strict=True):
        inside = slice(int(start), int(stop))
        rain, months = record.rain_mm[inside], place[inside]
        dry = rain < DRY_BELOW_MM
        columns["annual_rain_mm"].append(float(rain.sum()))
        columns["summer_rain_mm"].append(float(rain[(months >= 5) & (months <= 7)].sum()))
        columns["longest_dry_spell_d"].append(longest_run(dry))
        columns["season_dry_spell_d"].append(longest_run(dry[(months >= 3) & (months <= 8)]))
        columns["least_30_day_rain_mm"].append(least_window_mm(rain, 30))
        columns["least_90_day_rain_mm"].append(least_window_mm(rain, 90))
    arrays = {name: np.array(values, dtype=float) for name, values in columns.items()}
    return YearSpread(years=first[whole] + 1970, **arrays)


def compare_spread(
    observed: DailyRecord, generated: DailyRecord, hemisphere: Hemisphere = "north"
) -> SpreadComparison:
    """Statistics of the years of both records, with the sampling band of the observed ones.

    The band comes from 2,000 records of the observed length, assembled from blocks of five
    generated years in a row (a block bootstrap, Künsch 1989, from memory), always the same ones.
    FaultyInput when there are fewer than three generated years for each observed one, too few for a
    band, and when the observed record has fewer than three years.
    """
    observed_years = year_spread(observed, hemisphere)
    generated_years = year_spread(generated, hemisphere)
    n, total = observed_years.years.size, generated_years.years.size
    if n < 3:
        raise FaultyInput(Fault("weather record", f"has {n} whole years", "at least 3"))
    if total < LEAST_SHARE_OF_YEARS * n:
        raise FaultyInput(
            Fault(
                "generated weather",
                f"has {total} years for {n} observed ones",
                f"at least {LEAST_SHARE_OF_YEARS * n}; a thousand are better",
            )
        )
    blocks = -(-n // _BLOCK_YEARS)
    starts = np.random.default_rng(_SEED).integers(total, size=(_DRAWS, blocks, 1))
    drawn = ((starts + np.arange(_BLOCK_YEARS)) % total).reshape(_DRAWS, -1)[:, :n]
    rows = []
    for measure, (_, unit) in MEASURES.items():
        observed_values = getattr(observed_years, measure)
        generated_values = getattr(generated_years, measure)
        of_draws = _statistics(generated_values[drawn])
        of_observed, of_generated = _statistics(observed_values), _statistics(generated_values)
        for statistic in STATISTICS:
            low, high = np.percentile(of_draws[statistic], _BAND)
            rows.append(
                SpreadRow(
                    measure,
                    statistic,
                    unit,
                    float(of_observed[statistic]),
                    float(of_generated[statistic]),
                    float(low),
                    float(high),
                )
            )
    return SpreadComparison(n, total, tuple(rows))


def _statistics(years: FloatArray) -> dict[str, FloatArray]:
    """``STATISTICS`` over the last axis of values by year (..., years)."""
    tenth, ninetieth = np.percentile(years, (10.0, 90.0), axis=-1)
    return {
        "mean": years.mean(axis=-1),
        "sd": years.std(axis=-1, ddof=1),
        "p10": tenth,
        "p90": ninetieth,
        "minimum": years.min(axis=-1),
        "maximum": years.max(axis=-1),
    }
