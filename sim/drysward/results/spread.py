"""What years and what draws of uncertain numbers contribute to an outcome.

An outcome is x[k, y], of draw k in weather year y: 1 or 0 for a stage that was reached or not,
days, or mm. Draws stand for what is not known of soil, grass and delivery; years for chance. More
years shrink the sampling error. They do not shrink the spread across draws: only a measurement on
the site does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.results.odds import standard_error

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_ROUNDING = 1e-13  # of the mean square: what sums of doubles leave of a variance that is zero


@dataclass(frozen=True)
class Split:
    """Parts of the variance of an outcome; every array (...), variances in its unit squared.

    ``draws``: K. ``years``: Y of each draw. ``mean``: over draws and years.
    ``between_draws``: V_p, of what is not known. The estimate has no bias and may be negative: the
    draws then differ by less than chance makes them differ.
    ``between_years``: V_y, of what a year does to all draws alike; 0 where no two draws share a
    year. May be negative likewise.
    ``interaction``: V_e, of what a year does to one draw and not to another. For yes or no it
    holds most of the variance.
    """

    draws: int
    years: int
    mean: FloatArray
    between_draws: FloatArray
    between_years: FloatArray
    interaction: FloatArray

    @property
    def distinct(self) -> BoolArray:
        """Whether the spread across draws stands out from chance: V_p > 0."""
        return np.asarray(self.between_draws > 0.0)

    @property
    def knowledge_sd(self) -> FloatArray:
        """Standard deviation of the true means across draws, sqrt(V_p); more years leave it as it
        is. 0 where it is too small to stand out from chance.
        """
        return np.sqrt(positive(self.between_draws))

    @property
    def sampling_error(self) -> FloatArray:
        """Sampling error of the years in the mean over these draws: sqrt(V_y/Y + V_e/(KY))."""
        return np.sqrt(
            positive(self.between_years) / self.years + self.interaction / (self.draws * self.years)
        )

    @property
    def sampling_error_of_draw(self) -> FloatArray:
        """Sampling error of the years in the mean of one draw: sqrt((V_y + V_e)/Y)."""
        return np.sqrt((positive(self.between_years) + self.interaction) / self.years)

    @property
    def standard_error(self) -> FloatArray:
        """Error of the grand mean, draws and years both samples:
        sqrt(V_p/K + V_y/Y + V_e/(KY)).
        """
        return np.sqrt(positive(self.between_draws) / self.draws + self.sampling_error**2)

    @property
    def standard_error_of_record(self) -> FloatArray:
        """Error of the grand mean when the question is of these years only:
        sqrt(V_p/K + V_e/(KY)).
        """
        return np.sqrt(
            positive(self.between_draws) / self.draws + self.interaction / (self.draws * self.years)
        )

    @property
    def chance(self) -> FloatArray:
        """Share of the variance of the draws' means that is chance of the years, 0 to 1:
        (V_e/Y) / (V_p + V_e/Y); 1 where nothing else is seen.
        """
        noise = self.interaction / self.years
        whole = positive(self.between_draws) + noise
        return np.divide(noise, whole, out=np.ones_like(whole), where=whole != 0.0)

    def of_independent(self, n: int, distinct: int) -> Split:
        """The parts with the sampling error of ``n`` independent years, of which the run holds
        ``distinct`` that differ from one another.

        Means of the draws over Y resampled years differ by V_p + V_e/distinct, not by V_p + V_e/Y.
        Years simulated from a climate known from n years are distinct, but worth no more than
        those n.
        """
        more = self.interaction * (1.0 / distinct - 1.0 / self.years)
        return replace(self, years=n, between_draws=self.between_draws - more)


def split(x: ArrayLike) -> Split:
    """Split of outcomes x (..., K, Y) of K draws that all went through the same Y years.

    Two-way analysis of variance with one cell each; see ``split_of_sums``. ValueError for fewer
    than two draws or years.
    """
    x = np.asarray(x, dtype=float)
    # The mean is taken off first, so that squares keep their digits where it is large.
    center = x.mean(axis=(-2, -1))
    rest = x - center[..., None, None]
    parts = split_of_sums(rest.mean(axis=-1), rest.mean(axis=-2), (rest**2).mean(axis=(-2, -1)))
    return Split(
        parts.draws,
        parts.years,
        center,
        parts.between_draws,
        parts.between_years,
        parts.interaction,
    )


def split_of_sums(row_mean: ArrayLike, column_mean: ArrayLike, mean_square: ArrayLike) -> Split:
    """Split of K draws crossed with Y years, from sums that need no memory for single cells.

    ``row_mean``: (..., K) of each draw over the years. ``column_mean``: (..., Y) of each year over
    the draws. ``mean_square``: (...) of x^2 over all cells; where the mean is thousands of times
    the scatter, take a constant off every x first.

    MSP = Y sum (r-g)^2 / (K-1), MSY = K sum (c-g)^2 / (Y-1), MSE = sum E^2 / ((K-1)(Y-1)) with
    E = x - r - c + g; V_p = (MSP-MSE)/Y, V_y = (MSY-MSE)/K, V_e = MSE (random-effects model of
    Searle, Casella & McCulloch 1992, Variance Components, chapter 4; from memory). No normal
    distribution is needed for these to have no bias, only draws and years that are exchangeable.
    ValueError for fewer than two draws or years.
    """
    rows, columns = np.asarray(row_mean, dtype=float), np.asarray(column_mean, dtype=float)
    square = np.asarray(mean_square, dtype=float)
    k, y = rows.shape[-1], columns.shape[-1]
    _refuse_few(k, y)
    mean = rows.mean(axis=-1)
    of_rows = y * ((rows - mean[..., None]) ** 2).sum(axis=-1)
    of_columns = k * ((columns - columns.mean(axis=-1)[..., None]) ** 2).sum(axis=-1)
    left = k * y * (square - mean**2) - of_rows - of_columns
    error = _snapped(left, k * y * square) / ((k - 1) * (y - 1))
    return Split(
        draws=k,
        years=y,
        mean=np.asarray(mean),
        between_draws=_snapped((of_rows / (k - 1) - error) / y, square),
        between_years=_snapped((of_columns / (y - 1) - error) / k, square),
        interaction=positive(error),
    )


def split_nested(row_mean: ArrayLike, mean_square: ArrayLike, years: int) -> Split:
    """Split of K draws, each run on its own ``years`` years.

    ``row_mean``: (..., K) of each draw. ``mean_square``: (...) of x^2 over all cells.
    MSB = n sum (m_k-m)^2 / (K-1), MSW = sum sum (x-m_k)^2 / (K(n-1)); V_p = (MSB-MSW)/n and
    V_e = MSW, of single years within a draw; the variance of the grand mean is then MSB/(Kn)
    (Sun, Apley & Staum 2011, Operations Research 59:998). For yes or no MSW is the mean of
    p(1-p)n/(n-1). ValueError for fewer than two draws or years.
    """
    rows, square = np.asarray(row_mean, dtype=float), np.asarray(mean_square, dtype=float)
    k, n = rows.shape[-1], years
    _refuse_few(k, n)
    mean = rows.mean(axis=-1)
    between = n * ((rows - mean[..., None]) ** 2).sum(axis=-1) / (k - 1)
    left = k * n * square - n * (rows**2).sum(axis=-1)
    within = positive(_snapped(left, k * n * square) / (k * (n - 1)))
    return Split(
        draws=k,
        years=n,
        mean=np.asarray(mean),
        between_draws=_snapped((between - within) / n, square),
        between_years=np.zeros_like(within),
        interaction=within,
    )


def odds_of_one_draw_a_year(events: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Odds (...) and their error, of events (..., N), 0 or 1, each year with another draw.

    p and sqrt(p(1-p)/N). These odds hold the doubt about soil and grass, but how much of them is
    doubt cannot be seen: a yes or no has the variance p(1-p) however it comes about. Years must be
    independent.
    """
    array = np.asarray(events, dtype=float)
    p = array.mean(axis=-1)
    return np.asarray(p), standard_error(p, array.shape[-1])


def positive(value: FloatArray) -> FloatArray:
    """``value``, 0 where it is negative: a variance that was estimated below 0."""
    return np.maximum(value, 0.0)


def _snapped(value: FloatArray, scale: FloatArray) -> FloatArray:
    """0 where ``value`` is what rounding leaves of a difference of numbers as large as
    ``scale``.
    """
    return np.where(np.abs(value) <= _ROUNDING * np.abs(scale), 0.0, value)


def _refuse_few(draws: int, years: int) -> None:
    if draws < 2 or years < 2:
        raise ValueError(f"a split needs two draws and two years, not {draws} and {years}")
