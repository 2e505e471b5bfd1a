"""How far an outcome differs across draws of uncertain numbers, and how two outcomes stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from drysward import special
from drysward.results.spread import BoolArray, FloatArray, Split, positive

Kind = Literal["odds", "amount", "difference"]

FEWEST_FOR_QUANTILES = 20
"""Draws from which the 5th percentile lies among the draws: 0.05 (K+1) >= 1 from K = 19."""

TAIL = 0.05
"""Share of the draws beyond each limit, unless a call says another."""


@dataclass(frozen=True)
class Band:
    """5 to 95% of an outcome across what is not known; arrays (...), in the unit of the outcome.

    ``distinct``: False where the spread across draws is too small to stand out from chance; without
    years ``low`` and ``high`` are then both the mean.
    """

    low: FloatArray
    high: FloatArray
    distinct: BoolArray


def band(
    row_mean: ArrayLike,
    parts: Split,
    kind: Kind = "odds",
    years_too: bool = False,
    tail: float = TAIL,
    most: float = np.inf,
) -> Band:
    """5 to 95% across draws of the true mean, the noise of the years taken out.

    ``row_mean``: (..., K), the means of the draws. ``parts``: their split. ``kind``: "odds" lie
    in 0 to 1, an "amount" is not below 0, a "difference" is any number. ``years_too``: widened by
    the error of the grand mean, for where the years are a sample of a climate and not the question
    itself; the range then holds the truth in about 90 of 100 cases. ``tail``: the share of draws
    that lies beyond each limit, for another range than 5 to 95%. ``most``: what an amount cannot
    exceed, such as the days of a season.

    Odds have a Beta distribution with the mean and V_p as its moments. Amounts and differences are
    quantiles (at i/(K+1)) of row means drawn towards the grand mean by sqrt(V_p / variance of row
    means); of fewer than ``FEWEST_FOR_QUANTILES`` draws a gamma or normal distribution by moments,
    the normal one no farther than the draws go: one draw far on one side says nothing of the other.
    """
    rows = np.asarray(row_mean, dtype=float)
    known = positive(parts.between_draws)
    if kind == "odds":
        variance = known + parts.standard_error**2 if years_too else known
        low, high = _odds_limits(parts.mean, variance, tail)
        if years_too:
            # No event at all says nothing of the variance: the exact one-sided bound as of
            # ``odds.probability_of``, with as many independent cells as there are years.
            most = 1.0 - tail ** (1.0 / parts.years)
            high = np.where(parts.mean == 0.0, most, high)
            low = np.where(parts.mean == 1.0, 1.0 - most, low)
        return Band(low, high, parts.distinct)
    if rows.shape[-1] >= FEWEST_FOR_QUANTILES:
        low, high = np.quantile(
            without_noise(rows, parts), [tail, 1.0 - tail], axis=-1, method="weibull"
        )
    elif kind == "amount":
        low, high = _gamma_limits(parts.mean, known, tail)
    else:
        half = special.ndtri(1.0 - tail) * np.sqrt(known)
        drawn = without_noise(rows, parts)
        low = np.maximum(parts.mean - half, drawn.min(axis=-1))
        high = np.minimum(parts.mean + half, drawn.max(axis=-1))
    if years_too:
        # Each side on its own, so that a long tail stays on its side.
        by_years = special.ndtri(1.0 - tail) * parts.standard_error
        low = parts.mean - np.hypot(positive(parts.mean - low), by_years)
        high = parts.mean + np.hypot(positive(high - parts.mean), by_years)
    if kind == "amount":
        low, high = np.clip(low, 0.0, most), np.clip(high, 0.0, most)
    return Band(np.asarray(low), np.asarray(high), parts.distinct)


def without_noise(row_mean: ArrayLike, parts: Split) -> FloatArray:
    """Means of the draws (..., K) drawn towards the grand mean until their variance is V_p.

    The factor is sqrt(V_p / (V_p + V_e/Y)); the mean stays. Single draws are not better known for
    it: their spread is.
    """
    rows = np.asarray(row_mean, dtype=float)
    factor = np.sqrt(1.0 - parts.chance)
    return np.asarray(parts.mean[..., None] + factor[..., None] * (rows - parts.mean[..., None]))


@dataclass(frozen=True)
class Order:
    """How one outcome stands to another on the same draws and years; arrays (...).

    ``share_less``: share of draws in which a is less than b, ties as half. ``difference``: mean of
    a - b. ``low``, ``high``: its 5 to 95% across draws. ``sampling_error``: of the years, in the
    mean difference. ``distinct``: False where draws differ in it no more than by chance;
    ``share_less`` is then 0, 1 or near a half by the mean difference alone.
    """

    share_less: FloatArray
    difference: FloatArray
    low: FloatArray
    high: FloatArray
    sampling_error: FloatArray
    distinct: BoolArray


def stands(a: ArrayLike, b: ArrayLike, parts: Split) -> Order:
    """How outcome a stands to outcome b, from row means a and b (..., K).

    ``parts``: the split of the paired difference a - b, cell by cell; its sums are the differences
    of row means and of column means, and the mean of (a - b)^2. Noise is taken out of the
    differences before they are counted. A draw without any difference stays a tie.
    """
    rows = np.asarray(a, dtype=float) - np.asarray(b, dtype=float)
    cleaned = np.where(rows == 0.0, 0.0, without_noise(rows, parts))
    less = (cleaned < 0.0) + 0.5 * (cleaned == 0.0)
    share = np.where(np.isnan(cleaned).any(axis=-1), np.nan, less.mean(axis=-1))
    limits = band(rows, parts, "difference")
    return Order(
        share_less=share,
        difference=parts.mean,
        low=limits.low,
        high=limits.high,
        sampling_error=parts.sampling_error,
        distinct=parts.distinct,
    )


def beta_of_moments(mean: ArrayLike, variance: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Both shapes of the Beta distribution with this mean, in 0 to 1, and variance, above 0.

    nu = p(1-p)/variance - 1, shapes p nu and (1-p) nu. Sample variances can reach p(1-p), which no
    Beta distribution does: nu is not less than 0.01, nearly all of it at 0 and 1.
    """
    p, v = np.asarray(mean, dtype=float), np.asarray(variance, dtype=float)
    nu = np.maximum(p * (1.0 - p) / v - 1.0, 0.01)
    return p * nu, (1.0 - p) * nu


def _odds_limits(
    mean: FloatArray, variance: FloatArray, tail: float
) -> tuple[FloatArray, FloatArray]:
    # Here, since loading it takes longer than a short run, and only a run with draws needs it.
    from scipy.special import betaincinv

    varies = (variance > 0.0) & (mean > 0.0) & (mean < 1.0)
    shapes = beta_of_moments(np.where(varies, mean, 0.5), np.where(varies, variance, 0.05))
    low, high = (np.where(varies, betaincinv(*shapes, u), mean) for u in (tail, 1.0 - tail))
    return low, high


def _gamma_limits(
    mean: FloatArray, variance: FloatArray, tail: float
) -> tuple[FloatArray, FloatArray]:
    varies = (variance > 0.0) & (mean > 0.0)
    m, v = np.where(varies, mean, 1.0), np.where(varies, variance, 1.0)
    low, high = (
        np.where(varies, special.gammaincinv(m * m / v, u) * v / m, mean)
        for u in (tail, 1.0 - tail)
    )
    return low, high
