"""Daily numbers of ways ahead: stages reached by each day, limits of a share, spreads and dates.

Arrays begin with the way (W, ..., T, F) where nothing else is said: days are the last but one axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward import special

FloatArray = NDArray[np.float64]


def reached_by(
    shares: FloatArray, least: float, in_a_row: int, run_before: ArrayLike = 0.0
) -> NDArray[np.bool_]:
    """Whether a stage has come by each day: at least ``least`` of the field so many days in a row.

    Parameters
    ----------
    shares : of the field at the stage (..., T, F).
    run_before : days in a row up to the day before the first (..., F).
    """
    at_it = shares >= least
    run = np.broadcast_to(np.asarray(run_before, float), at_it[..., 0, :].shape).copy()
    out = np.zeros(at_it.shape, bool)
    already = run >= in_a_row
    for t in range(at_it.shape[-2]):
        run = np.where(at_it[..., t, :], run + 1.0, 0.0)
        already = already | (run >= in_a_row)
        out[..., t, :] = already
    return out


def share_of_ways(events: ArrayLike, weights: ArrayLike) -> FloatArray:
    """The weighted share of ways (...) with an event, of true or false (W, ...)."""
    share = np.tensordot(np.asarray(weights, float), np.asarray(events, float), axes=1)
    # Weights add up to 1 but for rounding; all ways are all.
    return np.clip(np.round(share, 12), 0.0, 1.0)


def effective_number(weights: ArrayLike) -> float:
    """Number of equal ways that would say as much: 1 over the sum of squares (Kish 1965; from
    memory).
    """
    w = np.asarray(weights, float)
    return float(w.sum() ** 2 / (w @ w))


def jeffreys_limits(
    share: ArrayLike, n: float, confidence: float = 0.90
) -> tuple[FloatArray, FloatArray]:
    """Limits of a probability of which ``share`` of ``n`` ways had the event.

    Those of Beta(k + 1/2, n - k + 1/2), Jeffreys' prior (Brown, Cai & DasGupta 2001, Statistical
    Science 16:101; from memory); 0 where no way had the event, 1 where all had.
    """
    p = np.asarray(share, float)
    tail = (1.0 - confidence) / 2.0
    a, b = p * n + 0.5, (1.0 - p) * n + 0.5
    low = np.where(p <= 0.0, 0.0, special.betaincinv(a, b, tail))
    high = np.where(p >= 1.0, 1.0, special.betaincinv(a, b, 1.0 - tail))
    return low, high


def quantiles(values: FloatArray, shares: ArrayLike, weights: ArrayLike) -> FloatArray:
    """Weighted quantiles (Q, ...) over the ways of values (W, ...), by the inverse of the weighted
    distribution: the least value that ``shares`` (Q,) of the weight does not pass.

    With equal weights these are Weibull's positions, k of n + 1, between the values.
    """
    w = np.asarray(weights, float)
    order = np.argsort(values, axis=0, kind="stable")
    sorted_values = np.take_along_axis(values, order, axis=0)
    n = effective_number(w)
    below = np.cumsum(w[order], axis=0)
    position = below / below[-1] * n / (n + 1.0)
    at = np.asarray(shares, float)
    out = np.empty((at.size, *values.shape[1:]))
    flat_values = sorted_values.reshape(len(w), -1)
    flat_position = position.reshape(len(w), -1)
    flat_out = out.reshape(at.size, -1)
    for j in range(flat_values.shape[1]):
        flat_out[:, j] = np.interp(at, flat_position[:, j], flat_values[:, j])
    return out


def first_day(happens: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The first day on which something happens (...), of (..., T); T where it never does."""
    n = happens.shape[-1]
    return np.where(happens.any(axis=-1), happens.argmax(axis=-1), n)
