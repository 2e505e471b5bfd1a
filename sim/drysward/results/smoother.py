"""What readings say of numbers that are not known: exact for lines, by an ensemble for models.

Arrays only. Sources (forms from memory, figures checked in the tests): Kalman 1960 for the linear
update; Emerick & Reynolds 2013, Comput. Geosci. 55:3, for the smoother whose errors are inflated
and whose steps add up to one update; Talts et al. 2018, arXiv 1804.06788, for ranks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import binom, chi2, t

FloatArray = NDArray[np.float64]
Predict = Callable[[FloatArray], FloatArray]
"""Readings (N, n) that each of N members (N, d) would give."""

STEPS = (31.0, 31.0 / 2.0, 31.0 / 4.0, 31.0 / 8.0, 31.0 / 16.0)
"""By how much errors are inflated in each step; their reciprocals add up to 1. The first steps are
short: what the model makes of the numbers is a line only near the end (Le et al. 2016, from
memory).
"""
STUDENT_DF = 4.0  # Student errors of so few degrees of freedom discount one bad reading
_NOISE = 2.0  # correlations under this over the root of the members are taken as chance


class Update(NamedTuple):
    """Mean (d,) and covariance (d, d) after readings, and the log-likelihood of these."""

    mean: FloatArray
    covariance: FloatArray
    log_likelihood: float


def linear_update(
    mean: FloatArray,
    covariance: FloatArray,
    operator: FloatArray,
    readings: FloatArray,
    error: FloatArray,
) -> Update:
    """The exact update of normal numbers (d,) by readings (n,) that are linear in them.

    Parameters
    ----------
    operator : (n, d), change of each reading with each number. error : (n, n), covariance of the
        errors of the readings.

    Source: Kalman 1960.
    """
    along = operator @ covariance
    spread = along @ operator.T + error
    factor = cho_factor(spread, lower=True)
    off = readings - operator @ mean
    gain = cho_solve(factor, along).T
    after = covariance - gain @ along
    log_determinant = 2.0 * np.log(np.diag(factor[0])).sum()
    misfit = off @ cho_solve(factor, off)
    likelihood = -0.5 * (misfit + log_determinant + off.size * np.log(2.0 * np.pi))
    return Update(mean + gain @ off, 0.5 * (after + after.T), float(likelihood))


class Smoothed(NamedTuple):
    """Members (N, d) after readings, and how much each reading (n,) counted in the last step.

    ``first`` (N, n) are the readings that the members predicted before any step.
    """

    members: FloatArray
    counted: FloatArray
    first: FloatArray


def smoothed(
    members: FloatArray,
    predict: Predict,
    readings: FloatArray,
    error: FloatArray,
    seed: int,
    steps: Sequence[float] = STEPS,
    student_df: float | None = STUDENT_DF,
) -> Smoothed:
    """Members (N, d) moved to where they predict the readings (n,) within their errors (n, n).

    Parameters
    ----------
    members : draws of the prior, best as normal scores. steps : inflation of the errors in each
        step. student_df : degrees of freedom of Student errors; None for normal ones.

    Every step lays the readings out along directions that vary on their own in the ensemble,
    in units of their error. A number moves along a direction only where the two are correlated
    by more than chance, 2 over the root of N (Emerick & Reynolds 2013; the cut from memory).
    A reading that lies farther from what the members predict than both their spread and its error
    explain counts less, as errors of a Student distribution weigh it, and none counts more than 1.
    """
    rng = np.random.default_rng(seed)
    moved = np.array(members, float)
    n_members = len(moved)
    first = predicted = predict(moved)
    counted = np.ones(readings.size)
    for k, inflation in enumerate(steps):
        if k > 0:
            predicted = predict(moved)
        about = predicted - predicted.mean(axis=0)
        inflated = error
        if student_df is not None:
            expected = about.var(axis=0, ddof=1) + np.diag(error)
            off = (readings - predicted.mean(axis=0)) ** 2 / expected
            counted = np.minimum((student_df + 1.0) / (student_df + off), 1.0)
            inflated = error + np.diag(np.diag(error) * (1.0 / counted - 1.0))
        root = np.linalg.cholesky(inflated)
        scaled = np.linalg.solve(root, about.T).T / np.sqrt(n_members - 1.0)
        along, sizes, directions = np.linalg.svd(scaled, full_matrices=False)
        scores = moved - moved.mean(axis=0)
        shared = scores.T @ along / np.sqrt(n_members - 1.0)  # covariance over size
        correlation = shared / np.maximum(scores.std(axis=0, ddof=1), 1e-300)[:, None]
        shared[np.abs(correlation) < _NOISE / np.sqrt(n_members)] = 0.0
        gain = shared * (sizes / (sizes**2 + inflation))
        noise = rng.standard_normal(predicted.shape)
        noise -= noise.mean(axis=0)
        off_each = np.linalg.solve(root, (readings - predicted).T).T + np.sqrt(inflation) * noise
        moved = moved + off_each @ directions.T @ gain.T
    return Smoothed(moved, counted, first)


class Weighed(NamedTuple):
    """Weights (N,) of members that add up to 1, and the number of draws that they are worth."""

    weights: FloatArray
    effective: float


def importance(predicted: FloatArray, readings: FloatArray, error: FloatArray) -> Weighed:
    """How likely each member is by the readings (n,) that it predicts, (N, n).

    Exact for any model as N grows; with few ``effective`` draws it says nothing.
    """
    off = readings - predicted
    misfit = np.einsum("ij,ij->i", off, np.linalg.solve(error, off.T).T)
    weights = np.exp(-0.5 * (misfit - misfit.min()))
    weights /= weights.sum()
    return Weighed(weights, float(1.0 / (weights**2).sum()))


# --- is a fit to be trusted? -------------------------------------------------------------------


def rank_of(truth: FloatArray, draws: FloatArray) -> NDArray[np.int64]:
    """How many of the draws (L, ...) lie below the truth (...), 0 to L (Talts et al. 2018)."""
    return (draws < truth).sum(axis=0)


class Ranks(NamedTuple):
    """Counts (bins,) of ranks, their 99% band where all is right, and chi squared with its 99%."""

    counts: NDArray[np.int64]
    low: int
    high: int
    chi_squared: float
    most: float

    @property
    def even(self) -> bool:
        """Whether the ranks are as even as a right fit leaves them."""
        return self.chi_squared <= self.most


def ranks_in_bins(ranks: NDArray[np.int64], n_draws: int, bins: int) -> Ranks:
    """Ranks (n,) among ``n_draws`` draws in ``bins`` equal bins; n_draws + 1 is their multiple."""
    width, left = divmod(n_draws + 1, bins)
    if left:
        raise ValueError(f"{n_draws + 1} ranks do not fall into {bins} equal bins")
    counts = np.bincount(ranks // width, minlength=bins)
    mean = ranks.size / bins
    low, high = (int(binom.ppf(q, ranks.size, 1.0 / bins)) for q in (0.005, 0.995))
    squares = float(((counts - mean) ** 2 / mean).sum())
    return Ranks(counts, low, high, squares, float(chi2.ppf(0.99, bins - 1)))


def share_in_middle(truth: FloatArray, draws: FloatArray, share: float) -> float:
    """Share of the truths (n,) inside the middle ``share`` of their draws (L, n)."""
    low, high = np.quantile(draws, [0.5 - share / 2.0, 0.5 + share / 2.0], axis=0)
    return float(((low <= truth) & (truth <= high)).mean())


# --- how many readings? ------------------------------------------------------------------------


def readings_needed(sd: float, within: float, chance: float = 0.95) -> int:
    """Fewest readings of scatter ``sd`` whose mean lies ``within`` so much of the field's.

    n = (t sd / within)^2 with t of n - 1 degrees of freedom at ``chance``, both sides.
    """
    n = 2
    while t.ppf(0.5 + chance / 2.0, n - 1) * sd / np.sqrt(n) > within:
        n += 1
    return n


def error_of_mean(sd: float, offset_sd: float, n: int) -> float:
    """RMS error of the mean of n readings that share an offset, which no number of them removes."""
    return float(np.sqrt(offset_sd**2 + sd**2 / n))
