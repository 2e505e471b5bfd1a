"""Stochastic daily weather: as many years as wanted of a climate model (see ``climate``).

Every year has its own random stream, keyed by its index, and draws its state on 1 January
afresh: any year can be made alone. The price is no memory of 31 December's weather.
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
    chain_weights,
    drift_covariance,
    extraterrestrial_radiation,
    is_leap,
    latent_variance,
    mixed_exponential,
    neighbour_chances,
    slope_by_day,
    stationary_covariance,
    transition_probabilities,
    wet_share_curve,
)
from drysward.weather.simulated.streams import Purpose, stream

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
    spread = np.asarray(np.linalg.cholesky(stationary_covariance(a, b)), float)
    state = _times(normal[:, 0], spread)
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
    own = np.stack([_times(shocks[:, s], model.drift[s]) for s in range(4)], axis=1)
    return latent[:, :, None] * slope_by_day(model) + _between_knots(own)


def _room_for_drift(model: ClimateModel) -> FloatArray:
    """(366, k) factor of the residuals that leaves the variance of the sum the same all year."""
    of_drift = np.diagonal(drift_covariance(model), axis1=1, axis2=2)
    return np.sqrt(np.maximum(1 - of_drift, 0.25) / np.maximum(1 - of_drift.mean(axis=0), 0.25))


def _wet_share(model: ClimateModel, latent: FloatArray) -> FloatArray:
    """(n, 366) wet share under the latent factor: log-odds moved, mean over years kept."""
    curve = wet_share_curve(model.wet_fraction)
    pi = np.clip(curve, 1e-9, 1 - 1e-9)
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
    return np.where(np.isin(curve, (0.0, 1.0)), curve, share)


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
    """(n, 366) rain of years with the latent factor given, from uniform deviates (n, 2, 366)."""
    share = _wet_share(model, latent)
    r1, r2 = chain_weights(share, model.persistence[MONTH_OF_DAY], model.second_day)
    wet = wet_days(share, r1, r2, u[:, 0])
    # Amounts keep their mean whatever the share of days with wet neighbours in that year.
    chances = neighbour_chances(share, r1, r2)
    by_neighbours = model.amount_by_neighbours
    ratio = by_neighbours[wet_neighbours(wet)] / sum(
        chance * of_count for chance, of_count in zip(chances, by_neighbours, strict=True)
    )
    return _rain_mm(model, latent, share, ratio, wet, u[:, 1])


def rain_without_latent(model: ClimateModel, n_years: int) -> FloatArray:
    """(n_years, 366) rain of the model as it would be without its latent factor, always the same.

    Each year has its 29 February.
    """
    plain = replace(model, annual_sd=0.0, season_sd=np.zeros(4))
    uniform = stream(0, Purpose.PLAIN).random((n_years, 2, 366))
    return rain_of_years(plain, np.zeros((n_years, 366)), uniform)


def wet_neighbours(wet: BoolArray) -> NDArray[np.int64]:
    """Number of wet days beside each day (n, days); at the ends the one there is counts twice."""
    beside = np.pad(wet.astype(int), ((0, 0), (1, 1)), mode="reflect")
    return beside[:, :-2] + beside[:, 2:]


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
    rain_mm = rain_of_years(model, latent, uniform)
    z = residual_series(model.a, model.b, normal) * _room_for_drift(model)
    z += _drift(model, latent, start, seed)

    years = first_year + start + np.arange(n)
    kept = np.ones((n, 366), dtype=bool)
    kept[:, LEAP_DAY] = is_leap(years)
    columns = {"rain_mm": rain_mm} | _bounded(model, rain_mm > 0, z)
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
