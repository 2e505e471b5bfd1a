"""Odds counted over years, their sampling error and limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward import special
from drysward.results.frequency import checked

FloatArray = NDArray[np.float64]


def standard_error(p: ArrayLike, n: ArrayLike) -> FloatArray:
    """Sampling error of a probability estimated from n independent years: sqrt(p(1-p)/n)."""
    p = np.asarray(p, dtype=float)
    return np.sqrt(p * (1.0 - p) / np.asarray(n, dtype=float))


def wilson_limits(
    events: ArrayLike, n: ArrayLike, confidence: float = 0.90
) -> tuple[FloatArray, FloatArray]:
    """Two-sided score limits of a probability, ``events`` out of ``n`` (Wilson 1927)."""
    n = np.asarray(n, dtype=float)
    events = np.asarray(events, dtype=float)
    p = events / n
    z = special.ndtri((1.0 + confidence) / 2)
    center = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low = np.where(events == 0, 0.0, np.clip(center - half, 0.0, 1.0))
    high = np.where(events == n, 1.0, np.clip(center + half, 0.0, 1.0))
    return low, high


def worst_in_ten(values: ArrayLike) -> FloatArray:
    """What one year in ten reaches or passes (...), of values (..., Y) by year.

    The 90th percentile by Weibull's positions, as the demand of the 1-in-10 year is read; the
    largest value where the years are too few.
    """
    array = np.asarray(values, dtype=float)
    return np.asarray(np.quantile(array, 0.9, axis=-1, method="weibull"))


def error_of_mean(values: ArrayLike, n: int) -> FloatArray:
    """Sampling error of the mean over years (...), of values (..., Y) of which ``n`` are
    independent; NaN of one year.
    """
    values = np.asarray(values, dtype=float)
    if n < 2:
        return np.full(values.shape[:-1], np.nan)
    return values.std(axis=-1, ddof=1) / np.sqrt(n)


@dataclass(frozen=True)
class Probability:
    """A probability counted over years.

    ``low``, ``high``: 90% Wilson limits. ``bound``: when no year or every year had the event,
    the exact one-sided 95% bound (above p when none, below p when all); otherwise None.
    ``note``: what a reader must know of a count this thin; empty when nothing.
    """

    years: int
    events: int
    p: float
    standard_error: float
    low: float
    high: float
    bound: float | None
    note: str


def probability_of(events: ArrayLike, independent_years: int | None = None) -> Probability:
    """Probability of an event from one true or false for each year, (n,).

    Sampling error counts ``independent_years``, all of them when None: fewer when the years
    were resampled from a record. The exact bound is Clopper & Pearson's (1934),
    one-sided at 95%: 1 - 0.05^(1/n), about 3/n, for no event. ValueError for an empty series,
    NaN, or anything but 0 and 1.
    """
    array = checked(events)
    if not np.all((array == 0) | (array == 1)):
        raise ValueError("events are true or false for each year")
    seen, count = array.size, int(array.sum())
    n = min(independent_years or seen, seen)
    p = count / seen
    low, high = wilson_limits(p * n, n)
    bound, notes = None, []
    if n == 1:
        notes.append("one year only: the probability is hardly known")
    if count == 0:
        bound = 1.0 - 0.05 ** (1.0 / n)
        notes.append(f"in none of {seen} years: at most {bound:.2g} with 95% confidence")
    elif count == seen:
        bound = 0.05 ** (1.0 / n)
        notes.append(f"in all of {seen} years: at least {bound:.2g} with 95% confidence")
    return Probability(
        years=seen,
        events=count,
        p=p,
        standard_error=float(standard_error(p, n)),
        low=float(low),
        high=float(high),
        bound=bound,
        note="; ".join(notes),
    )
