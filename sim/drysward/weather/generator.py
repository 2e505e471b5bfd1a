"""Stochastic daily weather: as many years as wanted of a climate model (see ``climate``).

Every year has its own random stream, keyed by its index, and draws its state on 1 January
afresh: any year can be made alone. The price is no memory of 31 December's weather.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import linalg, special

from drysward.weather.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    DEPRESSION,
    KNOT_WEIGHTS,
    LEAP_DAY,
    MONTH_OF_DAY,
    ROOT_WIND,
    TMAX,
    TMIN,
    WET_MM,
    BoolArray,
    ClimateModel,
    FloatArray,
    extraterrestrial_radiation,
    gamma_scale,
    is_leap,
    latent_variance,
    transition_probabilities,
)
from drysward.weather.record import DailyRecord
from drysward.weather.streams import Purpose, stream

DEWPOINT_ABOVE_TMIN_C = 3.0  # estimate: a daily mean dew point exceeds Tmin by no more
LEAST_RANGE_C = 0.5  # estimate: least gap of Tmax over Tmin
_YEARS_AT_ONCE = 500  # bounds memory


def generate(
    model: ClimateModel, n_years: int, seed: int, first_year: int = 2001, skip: int = 0
) -> DailyRecord:
    """``n_years`` calendar years of daily weather, from 1 January of ``first_year + skip``.

    Year i of a seed is the same whatever is asked beside it: ``skip=90, n_years=10`` gives the
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


def residual_series(a: FloatArray, b: FloatArray, normal: FloatArray) -> FloatArray:
    """Residuals (n, days, k) of the AR(1) process from normal deviates (n, days + 1, k).

    The first deviates draw the state before the first day from the stationary distribution.
    """
    covariance = linalg.solve_discrete_lyapunov(a, b @ b.T)
    state = _times(normal[:, 0], np.linalg.cholesky(covariance))
    z = _times(normal[:, 1:], b)
    for day in range(z.shape[1]):
        state = _times(state, a) + z[:, day]
        z[:, day] = state
    return z


def _times(vectors: FloatArray, matrix: FloatArray) -> FloatArray:
    """matrix v for each v of (..., k), added in one fixed order.

    A library product may round differently with the number of vectors, and a year must come
    out the same to the last bit whatever is made beside it.
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
    """(n, 366, k) seasonal drift of the residuals, from its own stream."""
    n, k = latent.shape[0], len(model.variables)
    shocks = stream(seed, Purpose.DRIFT).standard_normal((start + n + 2, 4, k))[start:]
    return latent[:, :, None] * model.drift_on_latent + _between_knots(_times(shocks, model.drift))


def _drift_variance(model: ClimateModel) -> FloatArray:
    """(k,) mean variance over the year of the drift."""
    on_latent = model.drift_on_latent**2 * latent_variance(model).mean()
    return on_latent + (model.drift**2).sum(axis=1) * (KNOT_WEIGHTS**2).sum(axis=1).mean()


def _wet_share(model: ClimateModel, latent: FloatArray) -> FloatArray:
    """(n, 366) wet share under the latent factor: log-odds moved, mean over years kept."""
    pi = np.clip(model.wet_fraction, 1e-9, 1 - 1e-9)[MONTH_OF_DAY]
    # Slope that makes d ln(share)/d latent the wanted part; capped where almost always wet.
    slope = np.minimum(model.wet_day_part / (1 - pi), 3.0)
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    spread = slope * np.sqrt(latent_variance(model)) * nodes[:, None]
    weights = weights / weights.sum()
    base = special.logit(pi)
    for _ in range(20):  # Newton on the log-odds that average to pi
        share = special.expit(base + spread)
        base = base + (pi - weights @ share) / (weights @ (share * (1 - share)))
    share = special.expit(base + slope * latent)
    certain = np.isin(model.wet_fraction, (0.0, 1.0))[MONTH_OF_DAY]
    return np.where(certain, model.wet_fraction[MONTH_OF_DAY], share)


def _generate_years(
    model: ClimateModel, start: int, n: int, seed: int, first_year: int
) -> dict[str, FloatArray]:
    """Columns of years ``start`` to ``start + n``, days in order, leap days where due."""
    k = len(model.variables)
    uniform, normal = np.empty((n, 2, 366)), np.empty((n, 367, k))
    for i in range(n):
        rng = stream(seed, Purpose.YEAR, start + i)
        uniform[i] = rng.random((2, 366))
        normal[i] = rng.standard_normal((367, k))

    latent = _latent_factor(model, start, n, seed)
    share = _wet_share(model, latent)
    persistence = model.persistence[MONTH_OF_DAY]
    p01, p11 = transition_probabilities(share, persistence)

    wet = np.empty((n, 366), dtype=bool)
    wet[:, 0] = uniform[:, 0, 0] < share[:, 0]
    for d in range(1, 366):
        wet[:, d] = uniform[:, 0, d] < np.where(wet[:, d - 1], p11[:, d], p01[:, d])
    # The drift's variance is taken from the daily residuals, so that the sum keeps theirs.
    z = residual_series(model.a, model.b, normal)
    z *= np.sqrt(np.maximum(1 - _drift_variance(model), 0.25))
    z += _drift(model, latent, start, seed)

    years = first_year + start + np.arange(n)
    kept = np.ones((n, 366), dtype=bool)
    kept[:, LEAP_DAY] = is_leap(years)
    columns = {"rain_mm": _rain_mm(model, latent, share, wet, uniform[:, 1])}
    columns |= _bounded(model, wet, z)
    return {name: values[kept] for name, values in columns.items()}


def _rain_mm(
    model: ClimateModel, latent: FloatArray, share: FloatArray, wet: BoolArray, u: FloatArray
) -> FloatArray:
    """(n, 366) rain: gamma amounts on wet days, mean over years as the model's."""
    # exp(latent - variance/2) has mean 1; what the wet share has taken of it is divided out.
    factor = np.exp(latent - latent_variance(model) / 2)
    factor *= model.wet_fraction[MONTH_OF_DAY] / np.where(share > 0, share, 1.0)
    scale = gamma_scale(model.rain_per_wet_day_mm, model.gamma_shape)[MONTH_OF_DAY]
    shape = np.broadcast_to(model.gamma_shape[MONTH_OF_DAY], wet.shape)
    rain = np.zeros(wet.shape)
    amount = special.gammaincinv(shape[wet], u[wet]) * (scale * factor)[wet]
    rain[wet] = np.maximum(amount, WET_MM)
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
    if DEPRESSION in value:
        dewpoint = columns["tmin_c"] - np.maximum(value[DEPRESSION], -DEWPOINT_ABOVE_TMIN_C)
        columns["dewpoint_c"] = np.minimum(dewpoint, middle)
    if ROOT_WIND in value:
        columns["wind_m_s"] = np.maximum(value[ROOT_WIND], 0.0) ** 2
    return columns
