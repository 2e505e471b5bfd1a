"""Wet and dry weather that lasts: a hidden regime of days to weeks behind the chain of wet days.

A Markov chain forgets within days, and the seasonal factor moves whole months. Between them lies
weather that blocks or feeds rain for one to four weeks: without it long dry spells are too rare
and too short where a record has them. Two hidden states, dry and wet, change at random; each day
has the log-odds of rain moved down in the dry one and up in the wet one, so that the month's share
of wet days stays. This is the two-state case of the hidden Markov models of Hughes & Guttorp 1994
and Hughes, Guttorp & Charles 1999 (from memory), with the states' own chain of wet days inside.

The regime is fitted by its likelihood, summed over the hidden states day by day (the forward
recursion, Baum & others 1970, from memory), on a grid of memory, share and contrast. The
likelihood of whole spells is in it, so that a record without such weather gets a contrast near 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# What the fit tries. Below 4 days a regime is the chain's own work, above 20 the season's.
_MEMORY_DAYS = (4.0, 7.0, 12.0, 20.0)
_DRY_SHARES = (0.35, 0.5)
_CONTRASTS = np.array([0.0, 0.3, 0.6, 0.9, 1.2, 1.6, 2.0, 2.5, 3.0])
_SEASONS_APART = 0.4  # estimate: sd of the contrasts of the seasons about that of the year
_LEAST_CHANCE = 0.002  # a chance of rain of exactly 0 or 1 would make one odd day decide


def regime_memory(days: float) -> float:
    """Lag-1 correlation of the hidden state whose correlation falls to 1/e in ``days``."""
    return float(np.exp(-1 / days))


def dry_after(dry_share: float, memory: float) -> tuple[float, float]:
    """Chance of the dry state after a wet and after a dry one (standard results of a chain)."""
    return dry_share * (1 - memory), dry_share + (1 - dry_share) * memory


def dry_states(u: FloatArray, dry_share: float, memory: float) -> BoolArray:
    """(n, days) whether the hidden state is the dry one, from uniform deviates of that shape."""
    from_wet, from_dry = dry_after(dry_share, memory)
    dry = np.empty(u.shape, dtype=bool)
    dry[:, 0] = u[:, 0] < dry_share
    stays, enters = u < from_dry, u < from_wet
    for day in range(1, u.shape[1]):
        dry[:, day] = np.where(dry[:, day - 1], stays[:, day], enters[:, day])
    return dry


def regime_shares(
    share: FloatArray, dry_share: FloatArray | float, contrast: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Wet shares of the dry and the wet state whose mean is ``share``; broadcasts.

    Their log-odds differ by ``contrast``. The mean a s0 + (1 - a) s1 with s1/(1 - s1) =
    e^c s0/(1 - s0) is a quadratic in the odds of s0.
    """
    ratio = np.exp(contrast)
    inside = np.clip(share, 1e-9, 1 - 1e-9)
    square = ratio * (1 - inside)
    linear = dry_share + ratio * (1 - dry_share) - inside * (1 + ratio)
    odds = (-linear + np.sqrt(linear**2 + 4 * square * inside)) / (2 * square)
    return odds / (1 + odds), ratio * odds / (1 + ratio * odds)


def persistence_within(
    share: FloatArray,
    persistence: FloatArray,
    between: FloatArray,
    between_lagged: FloatArray,
) -> FloatArray:
    """Lag-1 correlation of wetness about its share of the day; broadcasts.

    ``share`` moves from day to day with variance ``between`` and lag-1 covariance
    ``between_lagged``; what is left of the whole correlation ``persistence`` is the chain's:
    cov(w[t], w[t-1]) = between_lagged + r (share (1 - share) - between) (law of total covariance).
    """
    variance = np.maximum(share * (1 - share), 1e-9)
    left = np.maximum(variance - between, 0.1 * variance)
    return np.asarray((persistence * variance - between_lagged) / left)


@dataclass(frozen=True)
class RegimeLikelihood:
    """Log-likelihood of wet and dry days of each year and season under each regime tried.

    ``of_days`` is (memories, shares, contrasts, years, 4). Kept by year, so that a record put
    together from its years anew has the likelihood of those years.
    """

    of_days: FloatArray

    def likeliest(self, years: NDArray[np.int64]) -> tuple[float, float, FloatArray]:
        """Memory (days), dry share and contrasts (4,) likeliest in the years (places, repeated).

        Contrasts of the seasons are drawn toward one for the year, because one season
        has few data.
        """
        total = self.of_days[:, :, :, years].sum(axis=3)  # (memories, shares, contrasts, 4)
        apart = (_CONTRASTS[:, None] - _CONTRASTS) ** 2 / (2 * _SEASONS_APART**2)
        # (memories, shares, contrast of the year, contrast of the season, season)
        each = total[:, :, None] - apart[:, :, None]
        whole = each.max(axis=3).sum(axis=-1)
        memory, share, year = np.unravel_index(np.argmax(whole), whole.shape)
        of_season = each[memory, share, year]
        contrast = np.array([_peak(_CONTRASTS, of_season[:, season]) for season in range(4)])
        return _MEMORY_DAYS[memory], _DRY_SHARES[share], contrast


def _peak(at: FloatArray, height: FloatArray) -> float:
    """Where a parabola through the highest point and its neighbors has its top."""
    top = int(np.argmax(height))
    if top in (0, at.size - 1):
        return float(at[top])
    near = slice(top - 1, top + 2)
    bend, slope, _ = np.polyfit(at[near] - at[top], height[near], 2)
    return float(at[top] - slope / (2 * bend)) if bend < 0 else float(at[top])


def regime_likelihood(
    wet: FloatArray,
    share: FloatArray,
    persistence: FloatArray,
    second_day: float,
    season_weights: FloatArray,
) -> RegimeLikelihood:
    """Likelihood of wet days (years, 366), 1 wet, 0 dry, NaN unknown, under every regime tried.

    ``share`` and ``persistence`` (366,) are those of all days together, ``season_weights``
    (366, 4) are the share of a day in each season. Inside a state wetness follows its
    chain about the state's share: P = s[t] + r1 (w[t-1] - s[t-1]) + r2 (w[t-2] - s[t-1]).
    """
    tried = [(m, a, c) for m in _MEMORY_DAYS for a in _DRY_SHARES for c in _CONTRASTS]
    memory = np.exp(-1 / np.array([m for m, _, _ in tried]))[:, None]
    dry = np.array([a for _, a, _ in tried])[:, None]
    contrast = np.array([c for _, _, c in tried])[:, None]
    inside = np.clip(share, 1e-6, 1 - 1e-6)[None]
    low, high = regime_shares(inside, dry, contrast)
    between = dry * (1 - dry) * (high - low) ** 2
    chain = persistence_within(inside, persistence[None], between, between * memory)
    r1 = np.clip(chain, -0.5, 0.95) * (1 - second_day)
    states = np.stack([low, high])  # (2, tried, 366)
    enters = [[dry + (1 - dry) * memory, (1 - dry) * (1 - memory)]]
    enters += [[dry * (1 - memory), 1 - dry + dry * memory]]

    years = wet.shape[0]
    known, now = np.isfinite(wet), np.nan_to_num(wet)
    chance = np.stack([np.broadcast_to(p, (len(tried), years)) for p in (dry, 1 - dry)])
    by_season = np.zeros((len(tried), years, 4))
    for day in range(366):
        fresh = [0.0, 0.0]
        for before in range(2):
            shift: FloatArray | float = 0.0
            if day > 0:
                was = states[before, :, day - 1, None]
                shift = r1[:, day, None] * np.where(known[:, day - 1], now[:, day - 1] - was, 0.0)
                if day > 1:
                    away = np.where(known[:, day - 2], now[:, day - 2] - was, 0.0)
                    shift = shift + second_day * away
            for after in range(2):
                rain = states[after, :, day, None] + shift
                rain = np.clip(rain, _LEAST_CHANCE, 1 - _LEAST_CHANCE)
                seen = np.where(known[:, day], np.where(now[:, day] > 0, rain, 1 - rain), 1.0)
                fresh[after] = fresh[after] + chance[before] * enters[before][after] * seen
        total = fresh[0] + fresh[1]
        chance = np.stack([fresh[0] / total, fresh[1] / total])
        by_season += np.log(total)[:, :, None] * season_weights[day]
    shape = (len(_MEMORY_DAYS), len(_DRY_SHARES), _CONTRASTS.size, years, 4)
    return RegimeLikelihood(by_season.reshape(shape))
