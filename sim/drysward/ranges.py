"""An uncertain number as a distribution, from a likely value, a low and a high.

A person says "0.6, seldom under 0.5 or over 0.7". ``Range`` turns that into a distribution, and
``Range.quantile`` gets its values. Sources: Keelin 2016, Decision Analysis 13:243-277 (metalog
through three quantiles; the triangle and PERT are common practice, formulas from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

METALOG, TRIANGULAR, PERT = FORMS = ("metalog", "triangular", "pert")
USUAL_CHANCE = 0.05
"""Chance of a value below ``low``, and of one above ``high``: 1 in 20."""

# The metalog of three terms rises everywhere while |a3| is under this many a2: the reciprocal of
# the largest (y - 1/2) + y (1 - y) ln(y / (1 - y)) between 0 and 1.
FEASIBLE = 1.66711


@dataclass(frozen=True)
class Range:
    """An uncertain number: ``low <= likely <= high``, none below ``least`` or above ``most``.

    In the form "metalog" ``likely`` is the median, and a value lies below ``low``, and above
    ``high``, with ``chance`` each. In the forms "triangular" and "pert" ``likely`` is the mode, and
    ``low`` and ``high`` are the extremes. Raises ValueError when the numbers are out of order.
    """

    low: float
    likely: float
    high: float
    least: float = -math.inf
    most: float = math.inf
    chance: float = USUAL_CHANCE
    form: str = METALOG

    def __post_init__(self) -> None:
        if not self.least <= self.low <= self.likely <= self.high <= self.most:
            raise ValueError(
                f"{self.low:g}, {self.likely:g} and {self.high:g} are not in rising order"
                f" between {self.least:g} and {self.most:g}"
            )
        if not 0.0 < self.chance < 0.5:
            raise ValueError(f"chance {self.chance:g} is not between 0 and 0.5")
        if self.form not in FORMS:
            raise ValueError(f"unknown form '{self.form}'; one of {', '.join(FORMS)}")

    @property
    def closed(self) -> bool:
        """Whether the number is certain: low and high are equal."""
        return self.low == self.high

    def quantile(self, u: ArrayLike) -> NDArray[np.float64]:
        """Quantiles at ``u`` (any shape, between 0 and 1)."""
        at = np.asarray(u, dtype=float)
        if self.closed:
            return np.full(at.shape, self.likely)
        if self.form == TRIANGULAR:
            values = triangular(at, self.low, self.likely, self.high)
        elif self.form == PERT:
            values = pert(at, self.low, self.likely, self.high)
        else:
            values = self._between(at)
        return np.clip(values, self.least, self.most)

    def _between(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        """Quantiles of the metalog on a log or logit scale, which keeps them within the limits.

        A limit equal to low or high cannot bound such a scale, where it would lie at infinity. The
        other limit still does, and values beyond the equal one are set to it. On a linear scale a
        rate of 0.3 to 1, each passed 1 time in 10, would be 0 once in 66 draws.
        """
        bottom = math.isfinite(self.least) and self.least < self.low
        top = math.isfinite(self.most) and self.high < self.most
        if bottom and top:
            width = self.most - self.least
            low, likely, high = (math.log((x - self.least) / (self.most - x)) for x in self._three)
            scaled = through_three(u, low, likely, high, self.chance)
            return self.least + width / (1.0 + np.exp(-scaled))
        if bottom:
            low, likely, high = (math.log(x - self.least) for x in self._three)
            return self.least + np.exp(through_three(u, low, likely, high, self.chance))
        if top:
            low, likely, high = (-math.log(self.most - x) for x in self._three)
            return self.most - np.exp(-through_three(u, low, likely, high, self.chance))
        return through_three(u, *self._three, self.chance)

    @property
    def _three(self) -> tuple[float, float, float]:
        return self.low, self.likely, self.high


def through_three(
    u: NDArray[np.float64], low: float, median: float, high: float, chance: float = USUAL_CHANCE
) -> NDArray[np.float64]:
    """Quantiles at ``u`` of the metalog through its quantiles at ``chance``, 1/2, 1 - ``chance``.

    Where that metalog would not rise everywhere, two half-normal distributions that meet at the
    median and have the same three quantiles (own choice).
    """
    a2, a3 = metalog_terms(low, median, high, chance)
    if abs(a3) < FEASIBLE * a2:
        logit = np.log(u / (1.0 - u))
        return median + a2 * logit + a3 * (u - 0.5) * logit
    from drysward.special import ndtri  # here, because it loads part of scipy

    z = ndtri(u) / -float(ndtri(chance))
    return median + np.where(z < 0.0, median - low, high - median) * z


def metalog_terms(low: float, median: float, high: float, chance: float) -> tuple[float, float]:
    """a2 and a3 of M(y) = a1 + a2 ln(y/(1-y)) + a3 (y - 1/2) ln(y/(1-y)); a1 is the median.

    Keelin 2016 for three quantiles that lie ``chance``, 1/2 and 1 - ``chance`` of the way.
    """
    reach = math.log((1.0 - chance) / chance)
    a2 = (high - low) / (2.0 * reach)
    a3 = (low + high - 2.0 * median) / ((1.0 - 2.0 * chance) * reach)
    return a2, a3


def triangular(
    u: NDArray[np.float64], low: float, mode: float, high: float
) -> NDArray[np.float64]:
    """Quantiles at ``u`` of the triangle from ``low`` to ``high`` with its top at ``mode``."""
    width = high - low
    rising = low + np.sqrt(u * width * (mode - low))
    falling = high - np.sqrt((1.0 - u) * width * (high - mode))
    return np.where(u * width < mode - low, rising, falling)


def pert(u: NDArray[np.float64], low: float, mode: float, high: float) -> NDArray[np.float64]:
    """Quantiles at ``u`` of PERT: a beta distribution from ``low`` to ``high``, mean at a sixth of
    low + 4 mode + high.
    """
    from drysward.special import betaincinv

    width = high - low
    rise, fall = 1.0 + 4.0 * (mode - low) / width, 1.0 + 4.0 * (high - mode) / width
    return low + width * np.asarray(betaincinv(rise, fall, u))
