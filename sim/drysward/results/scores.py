"""Scores of forecasts: odds and ensembles against what happened.

Arrays of forecasts begin with the forecast (N, ...) and those of ways with the way (W, ...); the
axes behind are cases, each scored alone. Formulas are textbook ones, in Wilks, Statistical Methods
in the Atmospheric Sciences, from memory, unless a source is named. Every score is an error, so the
least is the best; a skill is 1 for a perfect forecast and 0 for one no better than its reference.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward import special
from drysward.results.frequency import RESAMPLES

FloatArray = NDArray[np.float64]

UNKNOWN = "too few events to say"
NO_BETTER = "no better than the usual odds"
BETTER, WORSE = "better than the usual odds", "worse than the usual odds"


# ---------------------------------------------------------------- odds


def brier(chance: ArrayLike, happened: ArrayLike) -> FloatArray:
    """Brier scores (...): (p - o)^2 of odds and true or false (Brier 1950, Monthly Weather Review
    78:1; from memory). The score of several forecasts is their mean.
    """
    return (np.asarray(chance, float) - np.asarray(happened, float)) ** 2


def fair_brier(chance: ArrayLike, happened: ArrayLike, n: float) -> FloatArray:
    """Brier scores (...) of odds counted over ``n`` ways, less what the count alone adds.

    (p - o)^2 - p(1-p)/(n-1), which for i of m ways is i(m-i)/(m^2(m-1)): its mean does not depend
    on the number of ways (Ferro 2014, Q. J. R. Meteorol. Soc. 140:1917; from memory). Of weighted
    ways ``n`` is their effective number. NaN for one way.
    """
    p = np.asarray(chance, float)
    if n <= 1.0:
        return np.full(np.broadcast(p, happened).shape, np.nan)
    return brier(p, happened) - p * (1.0 - p) / (n - 1.0)


class BrierParts(NamedTuple):
    """Parts (...) of a Brier score: reliability - resolution + uncertainty + within_bins."""

    reliability: FloatArray
    resolution: FloatArray
    uncertainty: FloatArray
    within_bins: FloatArray


def brier_parts(chance: ArrayLike, happened: ArrayLike, edges: ArrayLike) -> BrierParts:
    """Murphy's parts of the mean Brier score of forecasts (N, ...), by bins of their odds.

    With n_k forecasts of mean p_k in bin k, of which the share o_k happened, and o of all:
    sum n_k (p_k - o_k)^2 / N, sum n_k (o_k - o)^2 / N, and o(1 - o) (Murphy 1973, J. Applied
    Meteorology 12:595; from memory). Odds that differ within a bin add the variance within bins
    less twice its covariance with the events (Stephenson, Coelho & Jolliffe 2008, Weather and
    Forecasting 23:752).

    Parameters
    ----------
    edges : edges (K + 1,) of the bins, from 0 to 1; an edge belongs to the bin above it, 1 to the
        last.
    """
    p, o = np.asarray(chance, float), np.asarray(happened, float)
    base = o.mean(axis=0)
    reliability, resolution, within = (np.zeros(base.shape) for _ in range(3))
    for here, n, p_k, o_k in _in_bins(p, o, edges):
        reliability += n * (p_k - o_k) ** 2
        resolution += n * (o_k - base) ** 2
        apart = np.where(here, p - p_k, 0.0)
        within += (apart**2).sum(axis=0) - 2.0 * (apart * o).sum(axis=0)
    n_all = len(p)
    return BrierParts(reliability / n_all, resolution / n_all, base * (1.0 - base), within / n_all)


def _in_bins(
    p: FloatArray, o: FloatArray, edges: ArrayLike
) -> list[tuple[NDArray[np.bool_], FloatArray, FloatArray, FloatArray]]:
    """Of each bin: which forecasts (N, ...) it has, their number, mean odds and share that
    happened (...); 0 where it has none.
    """
    borders = np.asarray(edges, float)
    # Odds of a count, such as 3/10, may lie a rounding error below the edge 0.3.
    place = np.searchsorted(borders[1:-1], p + 1e-12, side="right")
    out = []
    for k in range(borders.size - 1):
        here = place == k
        n = here.sum(axis=0).astype(float)
        some = np.maximum(n, 1.0)
        p_k = np.where(here, p, 0.0).sum(axis=0) / some
        o_k = np.where(here, o, 0.0).sum(axis=0) / some
        out.append((here, n, p_k, o_k))
    return out


class ReliabilityBins(NamedTuple):
    """Forecasts by bins of their odds, arrays (K, ...): their number, mean odds, the share that
    happened, and between which shares it lies 90 times in 100 if the odds hold.
    """

    n: FloatArray
    chance: FloatArray
    share: FloatArray
    low: FloatArray
    high: FloatArray


def reliability_bins(
    chance: ArrayLike, happened: ArrayLike, edges: ArrayLike, confidence: float = 0.90
) -> ReliabilityBins:
    """How often it happened beside the odds, of forecasts (N, ...); NaN in a bin without any.

    ``low`` and ``high`` are quantiles of the binomial distribution at the bin's mean odds (Bröcker
    & Smith 2007, Weather and Forecasting 22:651; from memory), as if the forecasts were
    independent.
    """
    p, o = np.asarray(chance, float), np.asarray(happened, float)
    found = _in_bins(p, o, edges)
    n = np.stack([of_bin[1] for of_bin in found])
    p_k = np.stack([np.where(of_bin[1] > 0.0, of_bin[2], np.nan) for of_bin in found])
    o_k = np.stack([np.where(of_bin[1] > 0.0, of_bin[3], np.nan) for of_bin in found])
    tail = (1.0 - confidence) / 2.0
    least = binomial_quantile(tail, n, np.nan_to_num(p_k))
    most = binomial_quantile(1.0 - tail, n, np.nan_to_num(p_k))
    with np.errstate(invalid="ignore"):  # 0 of 0
        return ReliabilityBins(n, p_k, o_k, least / n, most / n)


def binomial_quantile(q: float, n: ArrayLike, p: ArrayLike) -> FloatArray:
    """The least number of ``n`` with chance ``p`` each that is not passed with chance ``q``."""
    n, p = np.broadcast_arrays(np.asarray(n, float), np.asarray(p, float))
    count = np.arange(n.max(initial=0.0) + 1.0)
    up_to = special.bdtr(np.minimum(count, n[..., None]), n[..., None].astype(int), p[..., None])
    return np.asarray((up_to < q).sum(axis=-1), float)


def log_score(chance: ArrayLike, happened: ArrayLike) -> FloatArray:
    """Logarithmic scores (...) in bits: -log2 of the chance of what happened (Good 1952; from
    memory); infinite where it was 0.
    """
    p = np.asarray(chance, float)
    with np.errstate(divide="ignore"):
        return -np.log2(np.where(np.asarray(happened, bool), p, 1.0 - p))


def ranked_probability(chances: ArrayLike, category: ArrayLike) -> FloatArray:
    """Ranked probability scores (...) of chances (..., K) of ordered categories, of which
    ``category`` (...), from 0, came: the sum of squared differences of the cumulative chances
    (Epstein 1969, J. Appl. Meteorol. 8:985; from memory).
    """
    p = np.asarray(chances, float)
    came = np.arange(p.shape[-1]) >= np.asarray(category)[..., None]
    return ((np.cumsum(p, axis=-1) - came) ** 2).sum(axis=-1)


# ---------------------------------------------------------------- amounts


def crps(
    values: ArrayLike, observed: ArrayLike, weights: ArrayLike | None = None, fair: bool = False
) -> FloatArray:
    """Continuous ranked probability scores (...) of ensembles (W, ...), in their unit.

    sum w|x - y| - 1/2 sum sum w w|x - x'| (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359,
    from memory); equal weights (W,) when None. ``fair`` divides the second sum by 1 - sum w^2, so
    that the mean score does not depend on the number of ways (as ``fair_brier``); NaN for one way.
    """
    x, y = np.asarray(values, float), np.asarray(observed, float)
    w = np.full(len(x), 1.0 / len(x)) if weights is None else np.asarray(weights, float)
    w = w / w.sum()
    order = np.argsort(x, axis=0, kind="stable")
    ordered, its = np.take_along_axis(x, order, axis=0), w[order]
    # Sum over pairs in one pass: each value counts with the weight below it less that above.
    apart = (its * ordered * (2.0 * np.cumsum(its, axis=0) - its - 1.0)).sum(axis=0)
    if fair:
        left = 1.0 - float(w @ w)
        apart = apart / left if left > 1e-12 else np.full_like(apart, np.nan)
    return np.tensordot(w, np.abs(x - y), axes=1) - apart


def crps_normal(mean: ArrayLike, sd: ArrayLike, observed: ArrayLike) -> FloatArray:
    """Continuous ranked probability scores (...) of normal distributions, in their unit.

    sd [z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)] with z = (y - mean)/sd (Gneiting & Raftery 2007,
    from memory).
    """
    sd = np.asarray(sd, float)
    z = (np.asarray(observed, float) - mean) / sd
    density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    return sd * (z * (2.0 * special.ndtr(z) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi))


def rank_histogram(values: ArrayLike, observed: ArrayLike, bins: int | None = None) -> FloatArray:
    """How often the truth has each rank among its ways: counts (bins, ...) of N forecasts.

    Parameters
    ----------
    values : ways of each forecast (W, N, ...). observed : (N, ...).
    bins : parts of equal width of the W + 1 ranks, which is their number when None.

    A truth equal to some of its ways is shared out evenly over the ranks that it may have (Hamill
    2001, Monthly Weather Review 129:550; from memory).
    """
    x, y = np.asarray(values, float), np.asarray(observed, float)
    n_ranks = len(x) + 1
    below, equal = (x < y).sum(axis=0), (x == y).sum(axis=0)
    edges = np.linspace(0.0, n_ranks, (bins or n_ranks) + 1)
    edges = edges.reshape(-1, *(1,) * y.ndim)
    reached = np.clip((edges - below) / (equal + 1.0), 0.0, 1.0)
    return np.diff(reached, axis=0).sum(axis=1)


def flatness(counts: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Chi-square (...) of a histogram (K, ...) against equal counts, and the chance of one as large
    from a flat one, with K - 1 degrees of freedom.
    """
    found = np.asarray(counts, float)
    expected = found.mean(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        chi_square = ((found - expected) ** 2).sum(axis=0) / expected
    return chi_square, special.chdtrc(len(found) - 1, chi_square)


# ---------------------------------------------------------------- skill


def skill(scores: ArrayLike, reference: ArrayLike) -> FloatArray:
    """Skill (...) of forecasts over a reference: 1 - sum of ``scores`` over that of ``reference``,
    both (N, ...); NaN where the reference has no error.
    """
    ours, theirs = (np.asarray(one, float).sum(axis=0) for one in (scores, reference))
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(theirs > 0.0, 1.0 - ours / theirs, np.nan)


def skill_limits(
    scores: ArrayLike,
    reference: ArrayLike,
    years: ArrayLike,
    confidence: float = 0.90,
    seed: int = 20_130_701,
) -> tuple[FloatArray, FloatArray]:
    """Limits (...) of :func:`skill` from 2,000 resamples of the years (Efron 1979).

    ``years`` (N,) of the forecasts: all forecasts of a year are drawn together, because they share
    its weather. A resample in which the reference has no error counts as no skill where ours has
    none either, else as the worst. NaN where :func:`skill` is.
    """
    ours, theirs = np.asarray(scores, float), np.asarray(reference, float)
    found, place = np.unique(np.asarray(years), return_inverse=True)
    n = found.size
    sums = np.zeros((2, n, *ours.shape[1:]))
    for part, whole in zip(sums, (ours, theirs), strict=True):
        np.add.at(part, place, whole)
    rng = np.random.Generator(np.random.Philox(seed))
    drawn = rng.multinomial(n, np.full(n, 1.0 / n), size=RESAMPLES).astype(float)
    ours, theirs = (np.tensordot(drawn, part, axes=1) for part in sums)
    with np.errstate(invalid="ignore", divide="ignore"):
        resampled = 1.0 - ours / theirs
    # Sums that cancel are not exactly 0.
    tiny = 1e-12 * np.abs(sums[1]).sum(axis=0) + 1e-300
    resampled = np.where(theirs > tiny, resampled, np.where(ours <= tiny, 0.0, -np.inf))
    tail = (1.0 - confidence) / 2.0
    low = np.quantile(resampled, tail, axis=0, method="lower")
    high = np.quantile(resampled, 1.0 - tail, axis=0, method="higher")
    known = np.isfinite(skill(scores, reference))
    return np.where(known, low, np.nan), np.where(known, high, np.nan)


def verdict(low: float, high: float) -> str:
    """What limits of a skill against the usual odds say; "no better" where they span 0."""
    if not high >= low:  # NaN
        return UNKNOWN
    return BETTER if low > 0.0 else WORSE if high < 0.0 else NO_BETTER
