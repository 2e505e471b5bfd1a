"""Drift of a record: trends of its years in temperature, rain and reference ET.

The slope is the median of the slopes of all pairs of years (Theil 1950; Sen 1968), its limits are
those of Sen 1968 from the variance of Kendall's S (Mann 1945; Kendall 1975), all from memory.
Warm and dry years come in groups: when successive years are correlated after the slope is
removed, the variance is raised by (1 + r)/(1 - r) (as in Yue & Wang 2004, of lag 1 alone, from
memory). Library functions agree (see the tests), but take longer to load than a short run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drysward import special
from drysward.weather.record import DailyRecord, FloatArray

LEAST_YEARS = 15  # estimate: with fewer years only an enormous trend differs from chance
CONFIDENCE = 0.95
WHOLE_YEAR_DAYS = 360


@dataclass(frozen=True)
class Trend:
    """Change of a yearly number per decade, with 95% limits; ``quantity`` as in a record."""

    quantity: str
    first_year: int
    last_year: int
    n_years: int
    per_decade: float
    low: float
    high: float

    @property
    def drifts(self) -> bool:
        """Whether the trend is unlikely by chance."""
        return self.low > 0.0 or self.high < 0.0


def slope(
    years: FloatArray, values: FloatArray, confidence: float = CONFIDENCE, groups: bool = True
) -> tuple[float, float, float]:
    """Median slope a year of ``values`` (n,) and its limits; n is at least 3.

    ``groups`` raises the variance for years correlated with the year before.
    """
    n = values.size
    first, second = np.triu_indices(n, 1)
    slopes = np.sort((values[second] - values[first]) / (years[second] - years[first]))
    middle = float(np.median(slopes))
    _, ties = np.unique(values, return_counts=True)
    variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18.0
    left = values - middle * years
    left = left - left.mean()
    power = float((left**2).sum())
    if groups and power > 0.0:
        lag1 = float((left[1:] * left[:-1]).sum()) / power
        lag1 = min(max(lag1, 0.0), 0.9)
        variance *= (1.0 + lag1) / (1.0 - lag1)
    reach = float(special.ndtri(0.5 + confidence / 2.0)) * np.sqrt(variance)
    low = max(round((slopes.size - reach) / 2.0) - 1, 0)
    high = min(round((slopes.size + reach) / 2.0), slopes.size - 1)
    return middle, float(slopes[low]), float(slopes[high])


def trend(quantity: str, years: Sequence[int], values: Sequence[float]) -> Trend | None:
    """The trend of yearly numbers; None for fewer than 15 years."""
    if len(years) < LEAST_YEARS:
        return None
    middle, low, high = slope(np.asarray(years, float), np.asarray(values, float))
    return Trend(quantity, years[0], years[-1], len(years), 10 * middle, 10 * low, 10 * high)


def record_trends(record: DailyRecord, eto_mm: FloatArray) -> tuple[Trend, ...]:
    """Trends of a record: Tmax (deg C, mean of a year), rain and reference ET (mm a year)."""
    calendar = record.dates.astype("datetime64[Y]").astype(int) + 1970
    found, index, days = np.unique(calendar, return_inverse=True, return_counts=True)
    whole = days >= WHOLE_YEAR_DAYS
    years = found[whole].tolist()
    sums = {
        name: np.bincount(index, values)
        for name, values in (
            ("tmax", record.tmax_c), ("rain", record.rain_mm), ("reference_et", eto_mm),
        )
    }  # fmt: skip
    yearly = {**sums, "tmax": sums["tmax"] / days}
    trends = (trend(name, years, values[whole].tolist()) for name, values in yearly.items())
    return tuple(one for one in trends if one is not None)


def drift_note(trends: Sequence[Trend]) -> str:
    """Note for results from a drifting record, "" without drift."""
    drifting = [one for one in trends if one.drifts]
    if not drifting:
        return ""
    text = "; ".join(drift_text(one) for one in drifting)
    span = f"{drifting[0].n_years} years from {drifting[0].first_year} to {drifting[0].last_year}"
    return (
        f"the record drifts, {text}, over {span}: odds are for its middle, not its last "
        "years; record_years takes the last ones, a future moves them on; a station that moved "
        "drifts too"
    )


_SHOWN = {
    # words, unit and decimals in metric, factor and unit and decimals of the US
    "tmax": ("mean Tmax", "C", 2, 1.8, "F", 2),
    "rain": ("rain a year", "mm", 0, 1 / 25.4, "in", 1),
    "reference_et": ("reference ET a year", "mm", 0, 1 / 25.4, "in", 1),
}


def drift_text(one: Trend) -> str:
    """``mean Tmax +0.31 C (+0.56 F) a decade, 95% limits +0.12 to +0.49 C``."""
    name, unit, decimals, factor, other, other_decimals = _SHOWN[one.quantity]
    return (
        f"{name} {one.per_decade:+.{decimals}f} {unit} "
        f"({one.per_decade * factor:+.{other_decimals}f} {other}) a decade, 95% limits "
        f"{one.low:+.{decimals}f} to {one.high:+.{decimals}f} {unit}"
    )
