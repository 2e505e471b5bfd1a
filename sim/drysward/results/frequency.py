"""How often, and how sure: return periods and probabilities from a record of years.

A return period T is the mean number of years between years in which the value is equalled
or exceeded, so its exceedance probability in any year is 1/T. Pass a deficit or a demand as
it is; for dry-year rain ask for the T of the *exceedance* (80% dependable rain is T = 1.25).

The record's own order statistics answer within the record; beyond it a Pearson type III
distribution fitted by moments answers, and the answer says so.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Literal, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from drysward import special

FloatArray = NDArray[np.float64]
Position = Literal["weibull", "hazen"]

# Offset a of the plotting position (m - a)/(n + 1 - 2a): Weibull 1939, Hazen 1914.
POSITION_OFFSETS: dict[str, float] = {"weibull": 0.0, "hazen": 0.5}

RESAMPLES = 2_000

_CHUNK = 2_000_000  # resampled values held at once: bounds memory for records of many years


def checked(values: ArrayLike, least: int = 1) -> FloatArray:
    array = np.asarray(values, dtype=float)
    if array.ndim != 1:
        raise ValueError(f"values must be one series of years, not of shape {array.shape}")
    return _checked_all(array, least)


def _checked_all(values: ArrayLike, least: int = 1) -> FloatArray:
    """Series of years (..., n)."""
    array = np.asarray(values, dtype=float)
    if array.shape[-1] < least:
        raise ValueError(f"{array.shape[-1]} years given; at least {least} needed")
    if not np.all(np.isfinite(array)):
        raise ValueError("values must be finite: a missing year is left out, not written as NaN")
    return array


def _exceedance(return_period: ArrayLike) -> FloatArray:
    periods = np.asarray(return_period, dtype=float)
    if not np.all(np.isfinite(periods)) or np.any(periods <= 1.0):
        raise ValueError("a return period is a finite number of years above 1")
    return 1.0 / periods


# ---------------------------------------------------------------- the record itself


def plotting_positions(n: int, position: Position = "weibull") -> FloatArray:
    """Exceedance probability (n,) of ranks 1 (largest) to n.

    Weibull m/(n+1), Hazen (2m-1)/(2n). ValueError when n < 1.
    """
    if n < 1:
        raise ValueError("plotting positions need at least one year")
    offset = POSITION_OFFSETS[position]
    return (np.arange(1.0, n + 1) - offset) / (n + 1 - 2 * offset)


def _at_exceedance(descending: FloatArray, exceedance: FloatArray) -> FloatArray:
    """Values (..., k) equalled or exceeded with the chances ``exceedance`` (k,).

    Linear between neighboring ranks of ``descending`` (..., n) by Weibull's positions; NaN where
    the record gives no answer (return periods above n + 1 or under (n + 1)/n).
    """
    n = descending.shape[-1]
    rank = exceedance * (n + 1)
    # 1/T is rounded: T = n + 1 must still find rank 1, and T = (n + 1)/n rank n.
    rank = np.where(np.abs(rank - np.rint(rank)) < 1e-9 * n, np.rint(rank), rank)
    lower = np.clip(np.floor(rank).astype(int), 1, n)
    upper = np.minimum(lower + 1, n)
    part = rank - lower
    found = descending[..., lower - 1] * (1 - part) + descending[..., upper - 1] * part
    return np.where((rank >= 1) & (rank <= n), found, np.nan)


# ---------------------------------------------------------------- fitted distributions


def sample_moments(values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, standard deviation (n-1) and skew of the last axis.

    Skew n sum(x-m)^3/((n-1)(n-2)s^3): Bulletin 17B (1982), Eq 4. A series of one year has
    sd 0; one of two years, or a constant one, skew 0.
    """
    n = values.shape[-1]
    mean = values.mean(axis=-1)
    deviation = values - mean[..., None]
    sd = np.sqrt((deviation**2).sum(axis=-1) / max(n - 1, 1))
    # Rounding leaves a constant series an sd of 1e-16 of its mean, and so a random skew.
    sd = np.where(sd <= 1e-12 * np.abs(mean), 0.0, sd)
    if n < 3:
        return mean, sd, np.zeros_like(mean)
    safe = np.where(sd > 0, sd, 1.0)
    standard = deviation / safe[..., None]
    # A power of three takes ten times as long.
    skew = n * (standard * standard * standard).sum(axis=-1) / ((n - 1) * (n - 2))
    return mean, sd, np.where(sd > 0, skew, 0.0)


def pearson3_frequency_factor(skew: ArrayLike, exceedance: ArrayLike) -> FloatArray:
    """Frequency factor K: standard deviations above the mean at an exceedance probability.

    The standardized Pearson type III quantile, by the inverse incomplete gamma function with
    shape 4/skew^2 (the function tabulated in Bulletin 17B, appendix 3). Broadcasts.
    """
    skew, exceedance = np.broadcast_arrays(
        np.asarray(skew, dtype=float), np.asarray(exceedance, dtype=float)
    )
    z = special.ndtri(1.0 - exceedance)
    # Near zero skew the gamma shape runs away; first Cornish-Fisher term instead.
    factor = np.asarray(z + skew * (z * z - 1.0) / 6.0)
    # Each inverse takes long, so it is computed only on its side of the curve.
    for here, sign, inverse in (
        (skew >= 1e-3, 1.0, special.gammainccinv),
        (skew <= -1e-3, -1.0, special.gammaincinv),
    ):
        shape = 4.0 / skew[here] ** 2
        factor[here] = sign * (inverse(shape, exceedance[here]) - shape) / np.sqrt(shape)
    return factor


def pearson3_quantile(values: ArrayLike, return_period: ArrayLike) -> FloatArray:
    """Pearson type III quantile by the method of moments: mean + K sd.

    Shape of ``return_period``. ValueError for NaN values, an empty record or T <= 1.
    """
    mean, sd, skew = sample_moments(checked(values))
    return mean + sd * pearson3_frequency_factor(skew, _exceedance(return_period))


def _least_years_for_limits(confidence: float) -> int:
    # The closed approximation divides by 1 - z^2/(2(n-1)), which must stay above zero.
    z = special.ndtri((1.0 + confidence) / 2)
    return int(z * z / 2 + 1) + 1


def pearson3_limits(
    values: ArrayLike, return_period: ArrayLike, confidence: float, skew: float | None = None
) -> tuple[FloatArray, FloatArray]:
    """Two-sided limits (..., k) of the Pearson type III quantiles of series (..., n).

    Bulletin 17B, appendix 9: non-central t limits of a normal quantile in their closed
    approximation, the frequency factor taken at the skew, whose own error they leave out.
    ``return_period`` is one or (k,); ``skew`` replaces the sample's own. ValueError for too few
    years (under 3 at 90% confidence).
    """
    array = _checked_all(values, least=_least_years_for_limits(confidence))
    n = array.shape[-1]
    exceedance = _exceedance(return_period)
    moments = sample_moments(array)
    mean, sd, own_skew = (moment[(..., *(None,) * exceedance.ndim)] for moment in moments)
    factor = pearson3_frequency_factor(own_skew if skew is None else skew, exceedance)
    z = special.ndtri((1.0 + confidence) / 2)
    a = 1.0 - z * z / (2 * (n - 1))
    half = np.sqrt(factor**2 - a * (factor**2 - z * z / n))
    return mean + sd * (factor - half) / a, mean + sd * (factor + half) / a


# ---------------------------------------------------------------- demand with limits


class Demand(NamedTuple):
    """Values (..., periods) with their limits, and whether they lie beyond the record."""

    estimate: FloatArray
    low: FloatArray
    high: FloatArray
    fitted: NDArray[np.bool_]


def _levels(sample: FloatArray, exceedance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Record levels and fitted levels, both (..., k), of series ``sample`` (..., n)."""
    record = _at_exceedance(np.sort(sample, axis=-1)[..., ::-1], exceedance)
    mean, sd, skew = (moment[..., None] for moment in sample_moments(sample))
    fitted = np.maximum(mean + sd * pearson3_frequency_factor(skew, exceedance), 0.0)
    return record, fitted


def _draws(n: int, seed: int) -> Iterator[tuple[slice, NDArray[np.int64]]]:
    """Resamples of n years by their places, and which of the 2,000 they are."""
    rng = np.random.Generator(np.random.Philox(seed))
    step = max(1, _CHUNK // n)
    for start in range(0, RESAMPLES, step):
        stop = min(start + step, RESAMPLES)
        yield slice(start, stop), rng.integers(n, size=(stop - start, n))


def _estimates(values: FloatArray, exceedance: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Levels (..., k) of series ``values`` (..., n), and whether the record itself gives them."""
    record, fitted = _levels(values, exceedance)
    low_end = exceedance > 0.5
    least, most = values.min(axis=-1)[..., None], values.max(axis=-1)[..., None]
    fitted = np.where(low_end, np.minimum(fitted, least), np.maximum(fitted, most))
    within = ~np.isnan(record)
    return np.where(within, record, fitted), within


def demand_estimates(values: FloatArray, periods: Sequence[float]) -> FloatArray:
    """The estimates of :func:`demand_at_return_periods` alone.

    ``values`` (..., n) finite and not negative -> (..., periods).
    """
    return _estimates(np.ascontiguousarray(values, float), _exceedance(periods))[0]


def demand_at_return_periods(
    values: ArrayLike, periods: Sequence[float], confidence: float = 0.90, seed: int = 20_130_701
) -> Demand:
    """Demands (..., n) >= 0 equalled or exceeded once in each of ``periods`` years.

    Within the record: Weibull positions. Beyond it: Pearson type III by moments, never below
    zero and never short of the record's largest value (never above its smallest at the low
    end). Limits are percentiles over 2,000 resamples of the years (Efron 1979), seeded, so
    the same call gives the same numbers; all series are resampled by the same years.

    A resample can never exceed the largest year seen, so resampling alone is over-confident
    near and beyond the top of the record. The limits are therefore the widest of the resampled
    record, the resampled fit and :func:`pearson3_limits`. In trials with known distributions
    nominal 90% limits held the truth 83 to 97 times in 100 within the record, and 73 to 91
    times in 100 for the 50-year value from 15 to 60 years. One year alone says nothing of the
    spread: its limits are NaN.

    ValueError for NaN or negative values, T <= 1, or a confidence outside (0, 1).
    """
    array = _checked_all(values)
    if np.any(array < 0):
        raise ValueError("a demand is never negative")
    if not 0 < confidence < 1:
        raise ValueError("confidence lies between 0 and 1, for example 0.90")
    exceedance = _exceedance(periods)
    if exceedance.ndim != 1:
        raise ValueError("periods must be a list of years")

    estimate, within = _estimates(array, exceedance)
    n = array.shape[-1]
    if n == 1:
        unknown = np.full_like(estimate, np.nan)
        return Demand(estimate, unknown, unknown, ~within)

    by_series = array.reshape(-1, n)
    shape = (len(by_series), RESAMPLES, exceedance.size)
    records, fits = np.empty(shape), np.empty(shape)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for part, places in _draws(n, seed):
            # One series at a time stays in the processor's nearer memory.
            levels = pool.map(lambda s, p=places: _levels(s[p], exceedance), by_series)
            for i, (record, fit) in enumerate(levels):
                records[i, part], fits[i, part] = record, fit
    records = np.where(within.reshape(-1, 1, exceedance.size), records, fits)
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    (record_low, record_high), (fit_low, fit_high) = (
        np.quantile(levels, tails, axis=1).reshape(2, *estimate.shape) for levels in (records, fits)
    )
    low = np.minimum(np.minimum(record_low, fit_low), estimate)
    high = np.maximum(np.maximum(record_high, fit_high), estimate)
    if n >= _least_years_for_limits(confidence):
        fit_low, fit_high = pearson3_limits(array, periods, confidence)
        low, high = np.fmin(low, np.maximum(fit_low, 0.0)), np.fmax(high, fit_high)
    return Demand(estimate, low, high, ~within)


def demand_of_years(
    values: FloatArray, periods: Sequence[float], confidence: float, independent: int, distinct: int
) -> Demand:
    """As :func:`demand_at_return_periods`, of years (..., Y) of which ``distinct`` differ and that
    are worth no more than ``independent``.

    The estimate is that of the years that differ, the limits are those of as many years as they
    are worth.
    """
    demand = demand_at_return_periods(worth(values, independent), periods, confidence)
    if independent >= min(distinct, values.shape[-1]):
        return demand
    exceedance = _exceedance(periods)
    estimate, within = _estimates(np.ascontiguousarray(worth(values, distinct)), exceedance)
    low, high = np.fmin(demand.low, estimate), np.fmax(demand.high, estimate)
    return Demand(estimate, low, high, np.broadcast_to(~within, estimate.shape))


def distinct_years(result: xr.Dataset) -> int:
    """Years of a result that differ from one another; files from before say only which count."""
    attrs, n = result.attrs, result.sizes["year"]
    return min(int(attrs.get("distinct_years", attrs["independent_years"])), n)


def worth(values: FloatArray, n: int) -> FloatArray:
    """Series (..., years) that are worth ``n`` years: as they are, or thinned to so many."""
    return values if n >= values.shape[-1] else thinned(values, n)


def thinned(values: ArrayLike, n: int) -> FloatArray:
    """``n`` values (..., n) for each longer series (..., years): quantiles at Hazen's positions.

    For years resampled from a record of ``n``, which are worth no more than the record.
    """
    ordered = np.sort(_checked_all(values), axis=-1)
    # Number by number and in one order of memory, so that a series gives the same bits alone and
    # among others, here and in the sums over it.
    place = (1.0 - plotting_positions(n, "hazen")) * ordered.shape[-1] - 0.5
    place = np.clip(place, 0.0, ordered.shape[-1] - 1.0)
    below = np.floor(place).astype(int)
    above = np.minimum(below + 1, ordered.shape[-1] - 1)
    part = place - below
    return np.ascontiguousarray(ordered[..., below] * (1.0 - part) + ordered[..., above] * part)
