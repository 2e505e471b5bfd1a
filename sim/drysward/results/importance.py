"""Which uncertain numbers the spread across draws comes from, from the draws that have been run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import comb

import numpy as np
from numpy.polynomial.legendre import legvander
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Term = tuple[tuple[int, int], ...]
"""A product of Legendre polynomials: (column, degree) of each factor."""

# Choices of ours, tried on the cases of tests/laws/test_importance.py.
_FOLDS = 10
_MOST_TERMS = 60
_DRAWS_A_TERM = 4  # of those fitted; also of those tried beyond lines and squares
_HIGHEST_DEGREE = 10
_LEAST_GAIN = 1e-10  # of a column's own square: below it the column is one of those already taken


@dataclass(frozen=True)
class Shares:
    """Shares of the variance across draws; arrays (n,), or (n, M) for M outcomes.

    ``names``: what the shares are of. ``alone``: what knowing it alone would take away (first
    order). ``total``: with all that it does together with others. ``error``: standard error of
    ``total``, from draws resampled.
    """

    names: tuple[str, ...]
    alone: FloatArray
    total: FloatArray
    error: FloatArray


@dataclass(frozen=True)
class Importance:
    """Where the spread across draws comes from.

    ``explained``: () or (M,), share of the variance across draws that the fit foretells in draws
    that it has not seen, 0 to 1. Shares add up to about this much, and to more where numbers act
    together; the rest cannot be separated with so many ``draws``.
    """

    groups: Shares
    numbers: Shares
    explained: FloatArray
    draws: int


def importance(
    u: ArrayLike,
    outcome: ArrayLike,
    numbers: Sequence[str],
    groups: Sequence[str],
    chance: ArrayLike = 0.0,
    resamples: int = 100,
    seed: int = 0,
) -> Importance:
    """Shares of each uncertain number and group in the variance of an outcome across draws.

    Parameters
    ----------
    u : (K, d), uniform scores of the draws, each column 0 to 1.
    outcome : (K,) or (K, M), means of the draws over the years.
    numbers : (d,), name of each column. Columns of one name are one unit: give correlated numbers,
        such as field capacity and wilting point, the same.
    groups : (d,), group of each column, the same for all columns of a unit. Groups must be
        independent of one another, and units too; within, anything may hold.
    chance : () or (M,), share of the variance of ``outcome`` that is chance of the years
        (``Split.chance``); shares are of the rest.
    resamples : of the draws, for the errors.

    A sum of products of Legendre polynomials of the scores is fitted (polynomial chaos: Sudret
    2008, Reliability Engineering & System Safety 93:964; terms taken one by one as by Blatman &
    Sudret 2011, Journal of Computational Physics 230:2345; both from memory): lines and squares of
    each column, and all products up to the degree that leaves four draws to a term. Each step
    takes the term that lowers the residual most. How many are taken is decided by tenfold
    cross-validation that repeats the choice of terms, so that a term found among hundreds by
    chance does not count. Of the fit f = sum c_t A_t(u_G) B_t(u_rest) and a group G,
    alone = V(E[f|u_G]) = c'(Cov(A) o E[B] E[B]')c and total = E[V(f|u_rest)] =
    c'(Cov(A) o E[BB'])c, o element by element. Means are over the draws within each group, as if
    every group had been drawn without the others: draws few enough go together by accident.

    ValueError where shapes do not fit, or a unit lies in two groups.
    """
    u, outcome = np.asarray(u, dtype=float), np.asarray(outcome, dtype=float)
    y = outcome[:, None] if outcome.ndim == 1 else outcome
    units, unit_of, kinds, kind_of = _columns(u, y, numbers, groups)
    terms = _terms(*u.shape)
    basis = _basis(terms, u)
    values = _values(terms, basis)
    rng = np.random.default_rng(seed)
    picked = [rng.integers(0, len(u), len(u)) for _ in range(resamples)]
    known = np.broadcast_to(1.0 - np.asarray(chance, dtype=float), y.shape[1:])
    m = y.shape[1]
    explained = np.zeros(m)
    of_kinds, of_units = np.zeros((3, len(kinds), m)), np.zeros((3, len(units), m))
    for column in range(m):
        one = y[:, column]
        count, predicted = _count_of_terms(values, one)
        if count == 0:
            continue
        explained[column] = min(predicted / known[column], 1.0) if known[column] > 0.0 else 0.0
        whole = _shares(one, terms, basis, values, count, (kind_of, unit_of))
        again = [
            _shares(one[rows], terms, basis[rows], values[rows], count, (kind_of, unit_of))
            for rows in picked
        ]
        for level, into in enumerate((of_kinds, of_units)):
            into[:2, :, column] = whole[level]
            into[2, :, column] = np.std([each[level][1] for each in again], axis=0, ddof=1)
    shape = (slice(None), slice(None), 0) if outcome.ndim == 1 else (slice(None),) * 3
    kind_shares, unit_shares = (each * explained for each in (of_kinds, of_units))
    return Importance(
        groups=Shares(kinds, *kind_shares[shape]),
        numbers=Shares(units, *unit_shares[shape]),
        explained=explained[0] if outcome.ndim == 1 else explained,
        draws=len(u),
    )


def _columns(
    u: FloatArray, y: FloatArray, numbers: Sequence[str], groups: Sequence[str]
) -> tuple[tuple[str, ...], NDArray[np.int64], tuple[str, ...], NDArray[np.int64]]:
    """Names of units and groups in the order given, and the place of each column in them."""
    if u.ndim != 2 or y.ndim != 2 or len(u) != len(y):
        raise ValueError(f"scores (K, d) and outcomes (K, M) of one K, not {u.shape}, {y.shape}")
    if not len(numbers) == len(groups) == u.shape[1]:
        raise ValueError(
            f"{u.shape[1]} columns need as many numbers and groups, "
            f"not {len(numbers)} and {len(groups)}"
        )
    for name in numbers:
        kinds = {kind for one, kind in zip(numbers, groups, strict=True) if one == name}
        if len(kinds) > 1:
            raise ValueError(f"{name} lies in more than one group: {', '.join(sorted(kinds))}")
    units, kinds_in_order = tuple(dict.fromkeys(numbers)), tuple(dict.fromkeys(groups))
    return (
        units,
        np.array([units.index(name) for name in numbers]),
        kinds_in_order,
        np.array([kinds_in_order.index(name) for name in groups]),
    )


def _terms(draws: int, d: int) -> list[Term]:
    """Lines and squares, and all products up to the degree that the draws can bear."""
    degree = 2
    while degree < _HIGHEST_DEGREE and comb(d + degree + 1, degree + 1) <= draws / _DRAWS_A_TERM:
        degree += 1
    if comb(d + degree, degree) > draws / _DRAWS_A_TERM:
        return [((column, power),) for power in (1, 2) for column in range(d)]
    found = []
    for total in range(1, degree + 1):
        for columns in combinations_with_replacement(range(d), total):
            found.append(tuple((c, columns.count(c)) for c in dict.fromkeys(columns)))
    return found


def _basis(terms: list[Term], u: FloatArray) -> FloatArray:
    """Legendre polynomials (K, d, degree + 1) at the scores, with the mean square 1 if uniform."""
    highest = max(power for term in terms for _, power in term)
    # Of degree n the square of P_n has the mean 1/(2n+1).
    return np.asarray(legvander(2.0 * u - 1.0, highest) * np.sqrt(2.0 * np.arange(highest + 1) + 1))


def _values(terms: Sequence[Term], basis: FloatArray) -> FloatArray:
    """Terms (K, T) at the scores, 1 where a term has no factor."""
    out = np.ones((len(basis), len(terms)))
    for place, term in enumerate(terms):
        for column, power in term:
            out[:, place] *= basis[:, column, power]
    return out


def _steps(
    values: FloatArray, y: FloatArray, most: int, beside: FloatArray
) -> Iterator[tuple[int, FloatArray]]:
    """Terms in the order taken, each with what the fit up to it foretells for rows ``beside``.

    Forward selection by Gram-Schmidt: what is taken is removed from all that is left.
    """
    left, aside = values - values.mean(axis=0), beside - values.mean(axis=0)
    rest, predicted = y - y.mean(), np.full(len(beside), y.mean())
    whole = (left**2).sum(axis=0)
    for _ in range(most):
        square = (left**2).sum(axis=0)
        able = square > _LEAST_GAIN * whole
        gain = np.divide((rest @ left) ** 2, square, out=np.zeros_like(square), where=able)
        best = int(gain.argmax())
        if gain[best] <= 0.0:
            return
        taken, taken_aside = left[:, best].copy(), aside[:, best].copy()
        along = taken @ left / square[best]
        step = taken @ rest / square[best]
        rest = rest - step * taken
        predicted = predicted + step * taken_aside
        left -= np.outer(taken, along)
        aside -= np.outer(taken_aside, along)
        yield best, predicted


def _count_of_terms(values: FloatArray, y: FloatArray) -> tuple[int, float]:
    """How many terms predict draws that were left out best, and the share of variance predicted.

    (0, 0.0) where no count does better than the mean.
    """
    k = len(y)
    most = min(_MOST_TERMS, values.shape[1], k // _DRAWS_A_TERM)
    variance = ((y - y.mean()) ** 2).sum()
    # Sums of doubles leave this much of outcomes that are all the same.
    if not variance > 1e-24 * (y**2).sum():
        return 0, 0.0
    missed = np.zeros(most + 1)
    fold = np.arange(k) % _FOLDS
    for part in range(min(_FOLDS, k)):
        out = fold == part
        last = y[~out].mean() * np.ones(out.sum())
        missed[0] += ((y[out] - last) ** 2).sum()
        steps = _steps(values[~out], y[~out], most, values[out])
        for count in range(1, most + 1):
            # A path that ended stays where it was.
            last = next(steps, (0, last))[1]
            missed[count] += ((y[out] - last) ** 2).sum()
    best = int(missed.argmin())
    return best, float(1.0 - missed[best] / missed[0])


def _shares(
    y: FloatArray,
    terms: list[Term],
    basis: FloatArray,
    values: FloatArray,
    count: int,
    places: Sequence[NDArray[np.int64]],
) -> list[FloatArray]:
    """First-order and total shares (2, n) in the variance of the fit of ``count`` terms, of the n
    units or groups that each of ``places`` (d,) puts the columns in.
    """
    taken = [best for best, _ in _steps(values, y, count, values[:0])]
    chosen = [terms[best] for best in taken]
    if not taken:  # A resample in which nothing varies.
        return [np.zeros((2, int(place.max()) + 1)) for place in places]
    columns = values[:, taken] - values[:, taken].mean(axis=0)
    c = np.linalg.lstsq(columns, y - y.mean(), rcond=None)[0]
    shares = []
    for place in places:
        out = np.zeros((2, int(place.max()) + 1))
        owners = sorted({int(place[column]) for term in chosen for column, _ in term})
        parts = [
            _values([tuple(f for f in term if place[f[0]] == one) for term in chosen], basis)
            for one in owners
        ]
        both = np.array([part.T @ part / len(part) for part in parts])
        means = np.array([np.outer(part.mean(axis=0), part.mean(axis=0)) for part in parts])
        variance = c @ (both.prod(axis=0) - means.prod(axis=0)) @ c
        for i, one in enumerate(owners):
            spread = both[i] - means[i]
            out[0, one] = c @ (spread * np.delete(means, i, axis=0).prod(axis=0)) @ c / variance
            out[1, one] = c @ (spread * np.delete(both, i, axis=0).prod(axis=0)) @ c / variance
        shares.append(out)
    return shares
