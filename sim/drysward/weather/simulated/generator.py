"""Stochastic daily weather: any number of years of a climate model (see ``climate``).

Every year has a separate random stream, keyed by its index, and draws its state on 1 January anew,
so any year can be simulated alone. The weather of 31 December therefore has no effect on 1 January.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward import special
from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    DEWPOINT_ABOVE_TMIN_C,
    KNOT_WEIGHTS,
    LEAP_DAY,
    MONTH_OF_DAY,
    ROOT_DEPRESSION,
    ROOT_WIND,
    TMAX,
    TMIN,
    WET_MM,
    BoolArray,
    ClimateModel,
    FloatArray,
    ShareCurves,
    between_months,
    between_seasons,
    chain_weights,
    drift_covariance,
    extraterrestrial_radiation,
    is_leap,
    latent_variance,
    leaning,
    means_by_month,
    mixed_exponential,
    neighbor_chances,
    past_wetness,
    past_wetness_variance,
    share_curves,
    slope_by_day,
    slow_covariance,
    stationary_covariance,
    transition_probabilities,
    wet_beside,
    wet_share_curve,
)
from drysward.weather.simulated.regime import dry_states, regime_memory
from drysward.weather.simulated.streams import Purpose, stream

LEAST_RANGE_C = 0.5  # estimate: least gap of Tmax over Tmin
MOST_LEANING = 2.0  # estimate: residual above which the next day does not lean back further
_YEARS_AT_ONCE = 500  # bounds memory


def generate(
    model: ClimateModel, n_years: int, seed: int, first_year: int = 2001, skip: int = 0
) -> DailyRecord:
    """``n_years`` calendar years of daily weather, from 1 January of ``first_year + skip``.

    Year i of a seed does not depend on the others requested: ``skip=90, n_years=10`` gives the
    last tenth of ``n_years=100``. ``first_year`` only sets the calendar (and so leap days).
    """
    if n_years < 1 or skip < 0:
        raise ValueError("n_years is at least 1 and skip at least 0")
    parts = [
        _generate_years(model, start, min(_YEARS_AT_ONCE, skip + n_years - start), seed, first_year)
        for start in range(skip, skip + n_years, _YEARS_AT_ONCE)
    ]
    columns: dict[str, Any] = {
        name: np.concatenate([part[name] for part in parts]) for name in parts[0]
    }
    start, stop = (np.datetime64(f"{first_year + skip + n:04d}", "D") for n in (0, n_years))
    if model.wind_height_m is not None:
        columns["wind_height_m"] = model.wind_height_m
    return DailyRecord(dates=np.arange(start, stop), **columns)


def residual_series(
    a: FloatArray, b: FloatArray, lean: FloatArray, dry: BoolArray, normal: FloatArray
) -> FloatArray:
    """Residuals (n, days, k) of the AR(1) process from normal deviates (n, days + 1, k).

    A and B are (2, days, k, k), after a wet and after a dry day, selected by ``dry`` (n, days);
    both keep one covariance. The first variable leans back (``leaning``) by ``lean`` (days,) after
    a residual of 1. The first deviates draw the state before the first day from the stationary
    distribution.
    """
    spread = np.asarray(np.linalg.cholesky(stationary_covariance(a[0, 0], b[0, 0])), float)
    state = _times(normal[:, 0], spread)
    z, after_dry = np.empty_like(normal[:, 1:]), dry[:, :, None]
    for day in range(z.shape[1]):
        fresh = normal[:, day + 1].copy()
        away = np.clip(state[:, 0], -MOST_LEANING, MOST_LEANING)
        fresh[:, 0] = leaning(fresh[:, 0], -lean[day] * away)
        after = [_times(state, a[i, day]) + _times(fresh, b[i, day]) for i in (0, 1)]
        state = np.where(after_dry[:, day], after[1], after[0])
        z[:, day] = state
    return z


def _times(vectors: FloatArray, matrix: FloatArray) -> FloatArray:
    """matrix v for each v of (..., k), added in one fixed order.

    A library product may round differently with the number of vectors, and a year must be
    the same to the last bit, whatever else is simulated with it.
    """
    total = vectors[..., :1] * matrix[:, 0]
    for j in range(1, matrix.shape[1]):
        total = total + vectors[..., j : j + 1] * matrix[:, j]
    return total


def _latent_factor(model: ClimateModel, start: int, n: int, seed: int) -> FloatArray:
    """(n, 366) latent factor of rain in years ``start`` to ``start + n``, from its own stream."""
    shocks = stream(seed, Purpose.LATENT).standard_normal((start + n + 2, 5))
    annual = shocks[:, 0].copy()
    for year in range(1, annual.size):
        fresh = np.sqrt(1 - model.annual_lag1**2) * annual[year]
        annual[year] = model.annual_lag1 * annual[year - 1] + fresh
    knots = model.annual_sd * annual[:, None] + model.season_sd * shocks[:, 1:]
    return _between_knots(knots[start:])


def _between_knots(knots: FloatArray) -> FloatArray:
    """(n, 366, ...) from season knots (n + 2, 4, ...): one year more at either end."""
    around = np.concatenate([knots[:-2], knots[1:-1], knots[2:]], axis=1)
    return np.moveaxis(_times(np.moveaxis(around, 1, -1), KNOT_WEIGHTS), -1, 1)


def _drift(model: ClimateModel, latent: FloatArray, start: int, seed: int) -> FloatArray:
    """(n, 366, k) drift of the residuals by season and year, from its own stream."""
    n, k = latent.shape[0], len(model.variables)
    shocks = stream(seed, Purpose.DRIFT).standard_normal((start + n + 2, 5, k))
    of_year = shocks[:, 4].copy()
    for year in range(1, of_year.shape[0]):
        fresh = np.sqrt(1 - model.year_drift_lag1**2) * of_year[year]
        of_year[year] = model.year_drift_lag1 * of_year[year - 1] + fresh
    shocks, of_year = shocks[start:], _times(of_year[start:], model.year_drift)
    own = np.stack([_times(shocks[:, s], model.drift[s]) + of_year for s in range(4)], axis=1)
    return latent[:, :, None] * slope_by_day(model) + _between_knots(own)


def _slow(
    model: ClimateModel, curves: ShareCurves, wet: BoolArray, normal: FloatArray, begin: FloatArray
) -> FloatArray:
    """(n, 366, k) what lasts for weeks in the residuals, beside wet days (n, 366).

    From normal deviates (n, 367, k), and (n,) for what the first day finds of wet days before.
    """
    keep = np.exp(-1 / model.slow_days)
    state, fresh = normal[:, 0], np.sqrt(1 - keep**2)
    z = fresh * normal[:, 1:]
    for day in range(z.shape[1]):
        state = keep * state + z[:, day]
        z[:, day] = state
    z = _times_by_day(z, between_months(model.slow))
    away = wet - curves.mean
    spread = np.sqrt(past_wetness_variance(model, curves)[0])
    past = past_wetness(away, model.dryness_days, spread * begin)
    z += past[:, :, None] * between_seasons(model.residual_on_past)
    beside = wet_beside(away, model.persistence[MONTH_OF_DAY])
    for wetness, slope in zip(beside, model.residual_on_beside, strict=True):
        z += wetness[:, :, None] * between_months(slope)
    return z


def _times_by_day(vectors: FloatArray, matrices: FloatArray) -> FloatArray:
    """matrices (days, k, k) times the vectors (n, days, k) of their day, in one fixed order."""
    total = vectors[..., :1] * matrices[:, :, 0]
    for j in range(1, matrices.shape[2]):
        total = total + vectors[..., j : j + 1] * matrices[:, :, j]
    return total


def _room_for_drift(model: ClimateModel) -> FloatArray:
    """(366, k) factor of the residuals that leaves the variance of the sum the same in a month."""
    of_slow = np.diagonal(drift_covariance(model) + slow_covariance(model), axis1=1, axis2=2)
    of_month = between_months(means_by_month(of_slow))
    return np.sqrt(np.maximum(1 - of_slow, 0.2) / np.maximum(1 - of_month, 0.2))


def wet_days(share: FloatArray, r1: FloatArray, r2: FloatArray, u: FloatArray) -> BoolArray:
    """(n, days) wet or dry from uniform deviates; arguments of that shape (``chain_weights``)."""
    p01, p11 = transition_probabilities(share, r1)
    # The chain of an even share, and what keeps the mean where the share rises or falls.
    season = r1[:, 1:] * np.diff(share, axis=1)
    wet = np.empty(share.shape, dtype=bool)
    wet[:, 0] = u[:, 0] < share[:, 0]
    for d in range(1, share.shape[1]):
        chance = np.where(wet[:, d - 1], p11[:, d], p01[:, d]) + season[:, d - 1]
        if d > 1:
            chance += r2[:, d] * (wet[:, d - 2] - share[:, d - 2])
        wet[:, d] = u[:, d] < chance
    return wet


def rain_of_years(model: ClimateModel, latent: FloatArray, u: FloatArray) -> FloatArray:
    """(n, 366) rain of years with the latent factor given, from uniform deviates (n, 3, 366)."""
    curves = share_curves(model)
    certain = np.isin(curves.mean, (0.0, 1.0))
    odds = curves.base + curves.slope * latent
    dry = model.regime_dry_share
    states = [(1.0, 0.0 * curves.contrast)]
    if model.regime_contrast.any():
        states = [(dry, (dry - 1) * curves.contrast), (1 - dry, dry * curves.contrast)]
    shares = [np.where(certain, curves.mean, special.expit(odds + moved)) for _, moved in states]
    share = shares[0]
    if len(shares) == 2:
        share = np.where(dry_states(u[:, 2], dry, regime_memory(model.regime_days)), *shares)
    wet = wet_days(share, *chain_weights(share, curves.persistence, model.second_day), u[:, 0])
    # Amounts keep their mean whatever the share of days with wet neighbors in that year. In the
    # dry state wet days stand alone more often, and bring less.
    of_year, usual = np.zeros(share.shape), np.zeros(share.shape)
    for (weight, _), one in zip(states, shares, strict=True):
        chances = neighbor_chances(one, *chain_weights(one, curves.persistence, model.second_day))
        of_count = zip(chances, model.amount_by_neighbors, strict=True)
        of_year += weight * one
        usual += weight * one * sum(chance * amount for chance, amount in of_count)
    usual = np.where(usual > 0, usual / np.where(of_year > 0, of_year, 1.0), 1.0)
    ratio = model.amount_by_neighbors[wet_neighbors(wet)] / usual
    return _rain_mm(model, latent, of_year, ratio, wet, u[:, 1])


def rain_without_latent(model: ClimateModel, n_years: int) -> FloatArray:
    """(n_years, 366) rain of the model as it would be without its latent factor, always the same.

    Each year has its 29 February.
    """
    plain = replace(model, annual_sd=0.0, season_sd=np.zeros(4))
    uniform = stream(0, Purpose.PLAIN).random((n_years, 3, 366))
    return rain_of_years(plain, np.zeros((n_years, 366)), uniform)


def rain_alone(model: ClimateModel, n_years: int, seed: int = 0) -> FloatArray:
    """(n_years, 366) rain of simulated years, with 29 February; climates share random numbers.

    Not the rain of ``generate``: years have no separate streams, because none is requested alone.
    """
    latent = _latent_factor(model, 0, n_years, seed)
    uniform = stream(seed, Purpose.PLAIN).random((n_years, 3, 366))
    return rain_of_years(model, latent, uniform)


def wet_neighbors(wet: BoolArray) -> NDArray[np.int64]:
    """Number of wet days beside each day (n, days); at the ends the one there is counts twice."""
    beside = np.pad(wet.astype(int), ((0, 0), (1, 1)), mode="reflect")
    return beside[:, :-2] + beside[:, 2:]


def _generate_years(
    model: ClimateModel, start: int, n: int, seed: int, first_year: int
) -> dict[str, FloatArray]:
    """Columns of years ``start`` to ``start + n``, days in order, leap days where due."""
    k = len(model.variables)
    uniform, normal = np.empty((n, 3, 366)), np.empty((n, 2, 367, k))
    begin = np.empty(n)
    for i in range(n):
        rng = stream(seed, Purpose.YEAR, start + i)
        uniform[i] = rng.random((3, 366))
        begin[i] = rng.standard_normal()
        normal[i] = rng.standard_normal((2, 367, k))

    latent = _latent_factor(model, start, n, seed)
    rain_mm = rain_of_years(model, latent, uniform)
    wet = rain_mm > 0
    dry = np.ones_like(wet)
    dry[:, 1:] = ~wet[:, :-1]
    a, b = (np.stack([between_months(one) for one in both]) for both in (model.a, model.b))
    z = residual_series(a, b, between_seasons(model.heat_lean), dry, normal[:, 0])
    z *= _room_for_drift(model)
    z += _slow(model, share_curves(model), wet, normal[:, 1], begin)
    z += _drift(model, latent, start, seed)

    years = first_year + start + np.arange(n)
    kept = np.ones((n, 366), dtype=bool)
    kept[:, LEAP_DAY] = is_leap(years)
    columns = {"rain_mm": rain_mm} | _bounded(model, wet, z)
    return {name: values[kept] for name, values in columns.items()}


def _rain_mm(
    model: ClimateModel,
    latent: FloatArray,
    share: FloatArray,
    ratio: FloatArray,
    wet: BoolArray,
    u: FloatArray,
) -> FloatArray:
    """(n, 366) rain: mixed exponential above the wet threshold, mean as the model's.

    ``ratio`` is the mean amount of each day beside that of all wet days of its time of year.
    """
    # exp(latent - variance/2) has mean 1; what the wet share has taken of it is divided out.
    factor = np.exp(latent - latent_variance(model) / 2)
    factor *= ratio * wet_share_curve(model.wet_fraction) / np.where(share > 0, share, 1.0)
    mean = model.rain_per_wet_day_mm[MONTH_OF_DAY] * factor
    rain = np.zeros(wet.shape)
    month = np.broadcast_to(MONTH_OF_DAY, wet.shape)[wet]
    deviate = mixed_exponential(u[wet], model.light_share[month], model.light_ratio[month])
    rain[wet] = WET_MM + np.maximum(mean[wet] - WET_MM, 0.0) * deviate
    return rain


def _bounded(model: ClimateModel, wet: BoolArray, z: FloatArray) -> dict[str, FloatArray]:
    """Residuals (n, 366, k) turned into physical columns (n, 366) within their bounds."""
    value = {
        name: np.where(wet, model.mean_wet[i], model.mean_dry[i])
        + np.where(wet, model.sd_wet[i], model.sd_dry[i]) * z[:, :, i]
        for i, name in enumerate(model.variables)
    }
    middle = (value[TMAX] + value[TMIN]) / 2
    half = np.maximum((value[TMAX] - value[TMIN]) / 2, LEAST_RANGE_C / 2)
    columns = {"tmax_c": middle + half, "tmin_c": middle - half}
    if CLEARNESS in value:
        ra = extraterrestrial_radiation(model.latitude_deg)[0]
        columns["solar_mj_m2"] = np.clip(value[CLEARNESS], *CLEARNESS_RANGE) * ra
    if ROOT_DEPRESSION in value:
        depression = np.maximum(value[ROOT_DEPRESSION], 0.0) ** 2
        dewpoint = columns["tmin_c"] + DEWPOINT_ABOVE_TMIN_C - depression
        columns["dewpoint_c"] = np.minimum(dewpoint, middle)
    if ROOT_WIND in value:
        columns["wind_m_s"] = np.maximum(value[ROOT_WIND], 0.0) ** 2
    return columns
