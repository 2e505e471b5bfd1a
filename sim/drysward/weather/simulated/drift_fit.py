"""Slow variation of temperature, radiation, dew point and wind, fitted to a record's residuals.

The residuals of a day have a fast part (A, B of Richardson) and parts that last for weeks, for a
season and for a year. What lasts for weeks is what correlates over 4 to 10 days, when the fast
part is gone; the drift of a season or year is what the other parts leave of the spread of its
mean between the years. This sets the spread at each time scale to the record's, as the
corrections of low frequencies do (Wang & Nathan 2007, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drysward.weather.simulated.climate import (
    KNOT_WEIGHTS,
    MONTH_OF_DAY,
    BoolArray,
    ClimateModel,
    FloatArray,
    between_months,
    between_seasons,
    fast_covariances,
    knot_covariances,
    knot_weights,
    means_by_month,
    mid_months,
    past_wetness,
    residual_matrices,
    stationary_covariance,
    wet_beside,
    without_drift,
)

_LAGS = np.arange(1, 21)  # days apart at which residuals of a month are compared
_LAGS_OF_SLOW = slice(3, 10)  # 4 to 10: the fast part is gone and what lasts for weeks is not
_SEASON_DAYS = 90
SLOW_DAYS = (8.0, 12.0, 18.0, 27.0)  # memories tried for what lasts for weeks
PAST_DAYS = 15.0  # estimate: memory of the wet days before, about that of topsoil and grass
_PAST_WIDTH = 30
_YEARS_OF_ALL = 10  # estimate: years for which all of the year counts in one month or season
_MOST = 0.4  # estimate: largest part of a residual's variance in the drift of a season or year
_MOST_SLOW = 0.6  # estimate: the same of what lasts for weeks
_MOST_OF_PAST = 0.2  # estimate: largest part of a residual's variance in past wetness
_DAYS_OF_MONTH = 30
_LEAST_YEARS = 4
_YEARS_FOR_LAG1 = 10  # estimate: least number of years for a correlation of years
LEAST_DAYS_OF_MONTH = 60  # estimate: days that correlations of a month need
DAYS_OF_ALL = 180  # estimate: days of all seasons that count in the correlations of one
_MOST_LEAN = 0.15  # estimate: lean beyond which the expansion no longer holds
_ROUNDS = 5
_SEASON_OF_MONTH = (np.arange(12) + 1) % 12 // 3
# Variance of days of a month that a drift of 1 at each season's knot gives, (12, 4), and of means
# of a season.
_OF_KNOTS = (KNOT_WEIGHTS**2).reshape(366, 3, 4).sum(axis=1)
_DRIFT_OF_MONTHS = means_by_month(_OF_KNOTS)
_DRIFT_OF_SEASON = float((KNOT_WEIGHTS[152:244].mean(axis=0) ** 2).sum())


def _over_seasons(monthly: FloatArray) -> FloatArray:
    """(4, ...) means over each season's months of (12, ...)."""
    return np.stack([monthly[season == _SEASON_OF_MONTH].mean(axis=0) for season in range(4)])


@dataclass(frozen=True)
class ResidualYears:
    """Residuals of a record beside its rain, cut into seasons and years.

    ``z`` (k, n) and ``day`` (n,) day by day; ``wet`` (n,) wetness less its mean of the day, 0
    where unknown; ``seasons`` places of the days of each complete season, ``years`` of each year
    counted from the first day.
    """

    z: FloatArray
    day: NDArray[np.int64]
    wet: FloatArray
    rain: FloatArray
    seasons: tuple[list[NDArray[np.int64]], ...]
    years: list[NDArray[np.int64]]


def fit_drift(
    record: ResidualYears, model: ClimateModel, slow_days: Sequence[float] = SLOW_DAYS
) -> ClimateModel:
    """The model with the slow parts of its residuals, and the A and B that go with them.

    What each month or season shows is drawn toward the whole year, the more so the fewer its
    years. ``slow_days`` are the memories tried for what lasts for weeks.
    """
    on_beside, beside = _fit_beside(record, model)
    z = record.z - sum(
        (between_months(slope)[record.day] * one[:, None]).T
        for slope, one in zip(on_beside, beside, strict=True)
    )
    on_past, past = _fit_past(replace(record, z=z))
    z = z - (between_seasons(on_past)[record.day] * past[:, None]).T
    by_itself = replace(record, z=z)  # without what wet days make of it
    model = replace(
        model,
        dryness_days=PAST_DAYS,
        residual_on_past=on_past,
        residual_on_beside=on_beside,
        dry_lag1=_fit_after_dry(by_itself),
    )
    correlations = monthly_correlations(z, MONTH_OF_DAY[record.day])
    # What the record has of both together, simulated weather must have in the residuals alone.
    whole, of_wet_days, left = map(residual_correlations, (record.z, record.z - z, z))
    correlations = (
        correlations[0] + whole[0] - of_wet_days[0] - left[0],
        correlations[1] + whole[1] - of_wet_days[1] - left[1],
    )
    if not any(len(places) >= _LEAST_YEARS for places in record.seasons):
        return _with_heat_lean(by_itself, without_drift(*correlations, model))
    lagged = _lagged_covariances(z, MONTH_OF_DAY[record.day])
    of_seasons = _towards_all(*_between_years(z, record.seasons, _SEASON_DAYS))
    parts = _Parts(record, z, lagged, of_seasons, model)
    found = [parts.solved(correlations, days) for days in slow_days]
    best = min(found, key=lambda one: one[1])[0]
    return _with_heat_lean(by_itself, without_drift(*correlations, best))


def residual_correlations(
    z: FloatArray, chosen: BoolArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """M0 and M1 (k, k) of residuals (k, n), over the (chosen) days with all of them."""
    complete = np.asarray(np.isfinite(z).all(axis=0))
    if chosen is not None:
        complete &= chosen
    m0 = np.atleast_2d(np.cov(z[:, complete]))
    return m0, _of_pairs(z, complete[1:] & complete[:-1])


def _of_pairs(z: FloatArray, pairs: BoolArray) -> FloatArray:
    """Covariance (k, k) of residuals (k, n) of a day and the one before, over pairs (n - 1,)."""
    now, before = z[:, 1:][:, pairs], z[:, :-1][:, pairs]
    m1 = (now - now.mean(1, keepdims=True)) @ (before - before.mean(1, keepdims=True)).T
    return np.asarray(m1 / now.shape[1])


def monthly_correlations(z: FloatArray, month: NDArray[np.int64]) -> tuple[FloatArray, FloatArray]:
    """M0 and M1 (12, k, k) of residuals (k, n) by month (n,).

    Each is drawn toward those of all days as if these were ``DAYS_OF_ALL`` days more.
    """
    whole = residual_correlations(z)
    m0, m1 = (np.tile(one, (12, 1, 1)) for one in whole)
    for m in range(12):
        days = int((np.isfinite(z).all(axis=0) & (month == m)).sum())
        if days < LEAST_DAYS_OF_MONTH:
            continue
        weight = days / (days + DAYS_OF_ALL)
        found = residual_correlations(z, month == m)
        m0[m] = weight * found[0] + (1 - weight) * whole[0]
        m1[m] = weight * found[1] + (1 - weight) * whole[1]
    return m0, m1


def _fit_beside(record: ResidualYears, model: ClimateModel) -> tuple[FloatArray, FloatArray]:
    """Slopes (2, 12, k) of the residuals on the wet days before and after, and these (2, n).

    Least squares by month: a dry day between wet ones is cooler than one in a dry spell.
    """
    k = record.z.shape[0]
    persistence = model.persistence[MONTH_OF_DAY[record.day]]
    beside = wet_beside(record.wet, persistence)
    month = MONTH_OF_DAY[record.day]
    slopes, freedom = np.zeros((12, 2, k)), np.zeros(12)
    for m in range(12):
        inside = np.isfinite(record.z).all(axis=0) & (month == m)
        x = beside[:, inside]
        if np.linalg.eigvalsh(x @ x.T)[0] < _DAYS_OF_MONTH * 1e-3:
            continue
        slopes[m] = np.linalg.solve(x @ x.T, x @ record.z[:, inside].T)
        freedom[m] = inside.sum() / _DAYS_OF_MONTH
    return mid_months(_towards_all(slopes, freedom)).swapaxes(0, 1), beside


def _fit_past(record: ResidualYears) -> tuple[FloatArray, FloatArray]:
    """Slopes (4, k) of the residuals on the wet days before, and these (n,).

    From means of 30 days between years: cov(z, wet)/cov(past, wet). Daily slopes would
    reflect fronts, warm before rain and cool after it, which cancels within the month.
    """
    k = record.z.shape[0]
    past = past_wetness(record.wet, PAST_DAYS)
    both = np.concatenate([record.z, past[None], record.wet[None]])
    covariance, freedom = _between_years(both, record.seasons, _PAST_WIDTH)
    of_wet = covariance[:, -1]  # (4, k + 2)
    slopes = of_wet[:, :k] / np.where(of_wet[:, k] > 0, of_wet[:, k], np.inf)[:, None]
    # Few years can show any slope: it explains no more than a part of a day's variance.
    most = np.sqrt(_MOST_OF_PAST / max(float(past.var()), 1e-6))
    slopes = _towards_all(slopes, freedom * (of_wet[:, k] > 0))
    return np.clip(slopes, -most, most), past


def _fit_after_dry(record: ResidualYears) -> FloatArray:
    """(4, k, k) by season: covariance of a dry day and the next less that of all days."""
    z, k = record.z, record.z.shape[0]
    whole = np.asarray(np.isfinite(z).all(axis=0))
    season, after_dry = _days_after(record)
    days = np.bincount(_SEASON_OF_MONTH[MONTH_OF_DAY[record.day]], minlength=4)
    added, freedom = np.zeros((4, k, k)), np.zeros(4)
    for s in range(4):
        inside = season == s
        if min((inside & after_dry).sum(), (inside & ~after_dry).sum()) >= _SEASON_DAYS:
            pairs = whole[1:] & whole[:-1] & inside
            added[s] = _of_pairs(z, pairs & after_dry) - _of_pairs(z, pairs)
            freedom[s] = days[s] / _SEASON_DAYS
    return _towards_all(added, freedom)


def _days_after(record: ResidualYears) -> tuple[NDArray[np.int64], BoolArray]:
    """Season of the days after the first (n - 1,), and whether they follow a dry day."""
    return _SEASON_OF_MONTH[MONTH_OF_DAY[record.day]][1:], record.wet[:-1] < 0


def _with_heat_lean(record: ResidualYears, model: ClimateModel) -> ClimateModel:
    """The model with the lean of its Tmax such that E[x e^3] is the record's.

    x is the residual of the day before and e what it leaves open of this day: after a hot day
    falls are larger than rises. The two kinds of days make some of it by themselves.
    """
    x, now = record.z[0, :-1], record.z[0, 1:]
    known = np.isfinite(x) & np.isfinite(now)
    season, after_dry = _days_after(record)
    cubes, freedom = np.zeros(4), np.zeros(4)
    for s in range(4):
        some = known & (season == s)
        if some.sum() < _SEASON_DAYS:
            continue
        before, after = x[some] - x[some].mean(), now[some] - now[some].mean()
        left = after - (before @ after) / (before @ before) * before
        cubes[s] = np.mean(before * left**3)
        for kind in (after_dry[some], ~after_dry[some]):
            if kind.sum() >= _SEASON_DAYS:
                more = before[kind] @ left[kind] / (before[kind] @ before[kind])
                rest = (left[kind] - more * before[kind]).var()
                cubes[s] -= 3 * kind.mean() * more * before.var() * rest
        freedom[s] = some.sum() / _SEASON_DAYS
    spread = _over_seasons(stationary_covariance(model.a[1], model.b[1])[:, 0, 0])
    shock = _over_seasons(model.b[:, :, 0, 0].mean(axis=0))
    lean = -_towards_all(cubes, freedom) / (6 * spread * shock**3)
    return replace(model, heat_lean=np.clip(lean, 0.0, _MOST_LEAN))


def _between_years(
    z: FloatArray, spans: tuple[list[NDArray[np.int64]], ...], width: int
) -> tuple[FloatArray, FloatArray]:
    """Covariance between years of means of ``width`` days of each span, (spans, k, k).

    Beside it the years less one, (spans,). The days of a span beyond the last whole mean of its
    shortest year are left out.
    """
    k = z.shape[0]
    covariance, freedom = np.zeros((len(spans), k, k)), np.zeros(len(spans))
    for span, places in enumerate(spans):
        if len(places) < _LEAST_YEARS:
            continue
        # February has two days less than the mean of a month needs: it takes them from March.
        first = np.array([inside[0] for inside in places])
        length = max(min(inside.size for inside in places) // width, 1) * width
        index = first[:, None] + np.arange(length)
        index = index[index[:, -1] < z.shape[1]]
        parts = z[:, index].swapaxes(0, 1).reshape(index.shape[0], k, -1, width)
        known = np.isfinite(parts)
        mean = np.where(known, parts, 0.0).sum(axis=3) / np.maximum(known.sum(axis=3), 1)
        mean = np.where((known.mean(axis=3) >= 0.75), mean, np.nan)  # (years, k, windows)
        whole = np.asarray(np.isfinite(mean).all(axis=1))  # (years, windows)
        total, count = np.zeros((k, k)), 0
        for window in range(mean.shape[2]):
            some = mean[whole[:, window], :, window]
            if some.shape[0] < _LEAST_YEARS:
                continue
            away = some - some.mean(axis=0)
            total += away.T @ away
            count += some.shape[0] - 1
        if count:
            covariance[span] = total / count
            freedom[span] = count / mean.shape[2]
    return covariance, freedom


class _Parts:
    """Means of 5 days to a year taken apart into what makes them differ."""

    def __init__(
        self,
        record: ResidualYears,
        z: FloatArray,
        lagged: FloatArray,
        of_seasons: FloatArray,
        model: ClimateModel,
    ) -> None:
        self.lagged, self.of_seasons, self.model = lagged, of_seasons, model
        self.k = z.shape[0]
        self.slope, self.of_latent = self._on_latent(record, z)
        self.of_years, self.next_years, self.n_years = _annual(z, record.years)

    def _on_latent(self, record: ResidualYears, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slope (4, k) of season means on the latent factor, and that factor's variance (4,)."""
        slope, freedom = np.zeros((4, self.k)), np.zeros(4)
        latent = _latent_of_seasons(self.model)
        for season, places in enumerate(record.seasons):
            totals = np.array([record.rain[inside].sum() for inside in places])
            mean = np.array([_mean_of_most(z[:, inside]) for inside in places])
            if not len(places):
                continue
            known = np.isfinite(mean).all(axis=1) & np.isfinite(totals)
            if known.sum() < _LEAST_YEARS or not totals[known].sum() > 0 or latent[season] < 0.005:
                continue
            away = mean[known] - mean[known].mean(axis=0)
            wetness = totals[known] / totals[known].mean() - 1
            freedom[season] = known.sum() - 1
            # What chance alone makes of wet days is in past wetness: the slope is that on the rain.
            slope[season] = wetness @ away / (wetness @ wetness)
        return _towards_all(slope, freedom), latent

    def solved(
        self, correlations: tuple[FloatArray, FloatArray], slow_days: float
    ) -> tuple[ClimateModel, float]:
        """The model with this memory of its slow part, and how far its means miss the record's."""
        keep, k = float(np.exp(-1 / slow_days)), self.k
        kept = (keep**_LAGS)[:, None, None, None]
        slow, season = np.zeros((12, k, k)), np.zeros((4, k, k))
        of_year, lag1 = np.zeros((k, k)), 0.0
        slope = self.slope
        for _ in range(_ROUNDS):  # A and B leave room for the slow parts, which are what they leave
            on_latent = np.einsum("si,sj,s->sij", slope, slope, self.of_latent)
            # A month in the middle of a season has more of its drift than those at its ends.
            steady = np.einsum("ms,sij->mij", _DRIFT_OF_MONTHS, season)
            steady += on_latent[_SEASON_OF_MONTH] + of_year
            a, b = residual_matrices(
                *fast_covariances(*correlations, steady + slow, steady + keep * slow)
            )
            m0 = stationary_covariance(a, b)
            left = self.lagged - _lagged(a, m0, _LAGS.size) - steady
            some, weight = left[_LAGS_OF_SLOW], kept[_LAGS_OF_SLOW]
            slow = (weight * some).sum(axis=0) / (weight**2).sum()
            slow = _possible(slow, _MOST_SLOW)
            long = _mean_covariance(a, m0, _SEASON_DAYS) + _kept(keep, _SEASON_DAYS) * slow
            left_of_season = self.of_seasons - _over_seasons(long) - of_year
            most = np.maximum(np.diagonal(left_of_season, axis1=1, axis2=2), 0.0)
            most = np.sqrt(most / np.maximum(self.of_latent, 0.005)[:, None])
            slope = np.clip(self.slope, -most, most)
            own = left_of_season - np.einsum("si,sj,s->sij", slope, slope, self.of_latent)
            season = _possible(own / _DRIFT_OF_SEASON)
            if self.n_years >= _LEAST_YEARS:
                of_year = self.of_years - (season + on_latent).mean(axis=0) / 4
                of_year -= (_mean_covariance(a, m0, 365) + slow * _kept(keep, 365)).mean(axis=0)
                of_year = _possible(of_year)
                lag1 = self._lag1(of_year)
        miss = _lagged(a, m0, _LAGS.size) + steady + kept * slow - self.lagged
        model = replace(
            self.model,
            slow_days=slow_days,
            slow=_root(slow),
            drift_on_latent=slope,
            drift=_root(season),
            year_drift=_root(of_year),
            year_drift_lag1=lag1,
        )
        return model, float((miss**2).sum())

    def _lag1(self, of_year: FloatArray) -> float:
        """Correlation of the drift of a year with that of the year before, where there is one."""
        if self.n_years < _YEARS_FOR_LAG1 or np.trace(of_year) <= 0:
            return 0.0
        # Below about 1.64/sqrt(n) a correlation does not differ from 0.
        seen = np.trace(self.next_years) / np.trace(self.of_years)
        if seen < 1.64 / np.sqrt(self.n_years):
            return 0.0
        return float(np.clip(np.trace(self.next_years) / np.trace(of_year), 0.0, 0.9))


def _lagged(a: FloatArray, m0: FloatArray, lags: int) -> FloatArray:
    """(lags, ..., k, k) symmetric part of the covariances A^lag M0 from lag 1 on."""
    found, lagged = [], m0
    for _ in range(lags):
        lagged = a @ lagged
        found.append((lagged + lagged.swapaxes(-1, -2)) / 2)
    return np.stack(found)


def _lagged_covariances(z: FloatArray, month: NDArray[np.int64]) -> FloatArray:
    """(lags, 12, k, k) symmetric covariances of residuals (k, n) with those days before, by month.

    Each month is drawn toward the whole year.
    """
    k = z.shape[0]
    whole = np.asarray(np.isfinite(z).all(axis=0))
    filled = np.where(whole, z, 0.0)
    found = np.zeros((_LAGS.size, 12, k, k))
    for row, lag in zip(found, _LAGS, strict=True):
        both = whole[lag:] & whole[:-lag]
        freedom = np.bincount(month[lag:][both], minlength=12) / _DAYS_OF_MONTH
        for m in np.flatnonzero(freedom):
            inside = month[lag:] == m
            product = filled[:, lag:][:, inside] @ filled[:, :-lag][:, inside].T
            row[m] = (product + product.T) / 2 / (freedom[m] * _DAYS_OF_MONTH)
        row[:] = _towards_all(row, freedom)
    return found


def _annual(z: FloatArray, years: list[NDArray[np.int64]]) -> tuple[FloatArray, FloatArray, int]:
    """Covariance (k, k) of the means of years, the same with the year after, and the years."""
    k = z.shape[0]
    mean = np.array([_mean_of_most(z[:, inside]) for inside in years]).reshape(-1, k)
    mean = mean[np.isfinite(mean).all(axis=1)]
    n = mean.shape[0]
    if n < _LEAST_YEARS:
        return np.zeros((k, k)), np.zeros((k, k)), n
    away = mean - mean.mean(axis=0)
    lagged = away[1:].T @ away[:-1] / (n - 1)
    return away.T @ away / (n - 1), (lagged + lagged.T) / 2, n


def _mean_of_most(z: FloatArray) -> FloatArray:
    """Mean over the days of (k, days), NaN where fewer than three days in four are known."""
    known = np.isfinite(z)
    mean = np.where(known, z, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    return np.where(known.mean(axis=1) >= 0.75, mean, np.nan)


def _towards_all(by_season: FloatArray, freedom: FloatArray) -> FloatArray:
    """Values (spans, ...) drawn toward their mean over the spans; 0 where none has any."""
    shape = (freedom.size, *(1,) * (by_season.ndim - 1))
    filled = np.where(freedom.reshape(shape) > 0, by_season, 0.0)
    pooled = (filled * freedom.reshape(shape)).sum(axis=0) / max(freedom.sum(), 1.0)
    weight = (freedom / (freedom + _YEARS_OF_ALL)).reshape(shape)
    return np.asarray(weight * filled + (1 - weight) * pooled)


def _kept(keep: float, width: int) -> float:
    """Share of its variance that a series with correlations keep^lag has in means of ``width``."""
    lag = np.arange(1, width)
    return float((width + 2 * ((width - lag) * keep**lag).sum()) / width**2)


def _mean_covariance(a: FloatArray, m0: FloatArray, width: int) -> FloatArray:
    """Covariance (..., k, k) of means of ``width`` days of the process with A and covariance M0.

    Sum of (width - lag) (A^lag M0 and its transpose) over width^2, as a geometric sum.
    """
    one = np.eye(a.shape[-1])
    inverse = np.linalg.inv(one - a)
    lags = inverse @ a @ (width * one - inverse @ (one - np.linalg.matrix_power(a, width)))
    lagged = lags @ m0
    return np.asarray((width * m0 + lagged + lagged.swapaxes(-1, -2)) / width**2)


def _latent_of_seasons(model: ClimateModel) -> FloatArray:
    """(4,) variance of the mean of the latent factor over each season."""
    sizes = np.array([model.annual_sd, *model.season_sd]) ** 2
    unit = knot_covariances(3, model.annual_lag1)
    found = []
    for start in (335, 60, 152, 244):
        pull = knot_weights(np.arange(start, start + 91.0), -1, 3).mean(axis=0)
        found.append(np.einsum("i,sij,j,s->", pull, unit, pull, sizes))
    return np.array(found)


def _possible(covariance: FloatArray, most: float = _MOST) -> FloatArray:
    """The nearest covariances (..., k, k): none below 0 or above the most, the whole kept."""
    values, vectors = np.linalg.eigh((covariance + covariance.swapaxes(-1, -2)) / 2)
    whole = np.maximum(values.sum(axis=-1, keepdims=True), 0.0)
    values = np.maximum(values, 0.0)
    # Cutting off what chance took below 0 alone would add to the whole.
    values = values * whole / np.maximum(values.sum(axis=-1, keepdims=True), 1e-12)
    values = np.minimum(values, most)
    return np.asarray((vectors * values[..., None, :]) @ vectors.swapaxes(-1, -2))


def _root(covariance: FloatArray) -> FloatArray:
    """The symmetric square roots of covariances (..., k, k)."""
    values, vectors = np.linalg.eigh(covariance)
    root = np.sqrt(np.maximum(values, 0.0))
    return np.asarray((vectors * root[..., None, :]) @ vectors.swapaxes(-1, -2))
