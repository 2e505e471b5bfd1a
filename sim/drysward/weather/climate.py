"""A climate as numbers: the model of daily weather, its equations and its curves.

The published Markov-chain family (Richardson 1981; Richardson & Wright 1984): a two-state
first-order chain decides wet and dry days, gamma amounts fall on wet days, and the other
variables follow their seasonal mean and spread, conditioned on wet or dry, with residuals
z(t) = A z(t-1) + B e(t) that keep the cross and lag-1 correlations.

A plain chain makes every year too much like the last, and so too few dry years. A latent
factor, smooth through the seasons and correlated from year to year, moves the chance of rain
and its amount so that season and annual totals spread as the record's do (the "overdispersion"
discussed by Katz & Parlange 1998). A seasonal drift of the other variables, part of it tied to
that factor, makes dry summers as hot and clear as they were, beyond what their dry days do.

``climate_fit`` makes a model from a record, ``normals`` from monthly normals; ``generator``
makes weather of it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import special

from drysward.weather.reference_et import daylight_hours, extraterrestrial_radiation_mj_m2

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

WET_MM = 0.254  # 0.01 in, the published threshold of a wet day
CLEARNESS_RANGE = (0.03, 0.82)  # estimate: darkest and clearest daily Rs/Ra

# Richardson 1981: lag-0 and lag-1 correlations of the residuals of Tmax, Tmin and solar
# radiation, mean of 31 US stations. M0 and M1 from memory; A and B that follow from them
# agree with the printed A and B within 0.0025.
RICHARDSON_M0 = np.array([[1, 0.633, 0.186], [0.633, 1, -0.193], [0.186, -0.193, 1]])
RICHARDSON_M1 = np.array([[0.621, 0.445, 0.087], [0.563, 0.674, -0.100], [0.015, -0.091, 0.251]])

# Order of the residual variables; a model carries the first two and those the data have.
# Solar radiation is modelled as clearness Rs/Ra so that it stays bounded; dew point as its
# depression below Tmin; wind as its square root, which is close to normal.
TMAX, TMIN, CLEARNESS, DEPRESSION, ROOT_WIND = (
    "tmax_c",
    "tmin_c",
    "clearness",
    "dewpoint_depression_c",
    "root_wind",
)

# One calendar for all years: 366 days with 29 February, which common years leave out.
_CALENDAR = np.arange("2000-01-01", "2001-01-01", dtype="datetime64[D]")
MONTH_OF_DAY = _CALENDAR.astype("datetime64[M]").astype(int) % 12
DAYS_IN_MONTH = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
LEAP_DAY = 59
_PHASE = 2 * np.pi * (np.arange(366) + 0.5) / 366


@dataclass(frozen=True)
class ClimateModel:
    """Everything needed to make daily weather at one place.

    Arrays by month have shape (12,), by calendar day (366,), by variable and day (k, 366).
    """

    latitude_deg: float
    elevation_m: float
    variables: tuple[str, ...]
    wet_fraction: FloatArray  # (12,) share of days that are wet
    persistence: FloatArray  # (12,) P11 - P01, the lag-1 correlation of wetness
    rain_per_wet_day_mm: FloatArray  # (12,)
    gamma_shape: FloatArray  # (12,)
    mean_dry: FloatArray  # (k, 366)
    mean_wet: FloatArray  # (k, 366)
    sd_dry: FloatArray  # (k, 366)
    sd_wet: FloatArray  # (k, 366)
    a: FloatArray  # (k, k)
    b: FloatArray  # (k, k)
    annual_sd: float  # latent factor common to a year, standard deviation of ln rain
    annual_lag1: float  # its year-to-year correlation
    season_sd: FloatArray  # (4,) latent factor of Dec-Feb, Mar-May, Jun-Aug, Sep-Nov
    wet_day_part: float  # part of the latent factor in the number of wet days; rest in amounts
    drift_on_latent: FloatArray  # (k,) drift of the residuals per unit of the latent factor
    drift: FloatArray  # (k, k) square root of the covariance of their own seasonal drift
    wind_height_m: float | None = None
    origin: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def p01(self) -> FloatArray:
        """(12,) chance of a wet day after a dry one."""
        return transition_probabilities(self.wet_fraction, self.persistence)[0]

    @property
    def p11(self) -> FloatArray:
        """(12,) chance of a wet day after a wet one."""
        return transition_probabilities(self.wet_fraction, self.persistence)[1]


# ---------------------------------------------------------------- published equations


def transition_probabilities(
    wet_fraction: FloatArray, persistence: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """P01 and P11 of the chain with stationary wet share pi and lag-1 correlation r.

    Inverse of pi = P01/(1 + P01 - P11), r = P11 - P01 (standard results).
    """
    p01 = wet_fraction * (1 - persistence)
    p11 = p01 + persistence
    # A month that never (or always) rains does so from its first day, whatever came before.
    p01 = np.where(wet_fraction >= 1, 1.0, p01)
    p11 = np.where(wet_fraction <= 0, 0.0, p11)
    return np.clip(p01, 0.0, 1.0), np.clip(p11, 0.0, 1.0)


def possible_persistence(fraction: FloatArray, persistence: FloatArray) -> FloatArray:
    """Keep P01 and P11 within 0 and 1: wet and dry can only avoid each other so far."""
    odds = fraction / np.maximum(1 - fraction, 1e-9)
    least = -np.minimum(odds, 1 / np.maximum(odds, 1e-9))
    return np.clip(persistence, least, 0.95)


def wet_day_moments(p01: float, p11: float, days: int) -> tuple[float, float]:
    """Mean and large-sample variance of the number of wet days in ``days`` (standard results).

    N pi and N pi (1-pi) (1+r)/(1-r), with pi = P01/(1 + P01 - P11) and r = P11 - P01.
    """
    pi, r = p01 / (1 + p01 - p11), p11 - p01
    return days * pi, days * pi * (1 - pi) * (1 + r) / (1 - r)


def residual_matrices(m0: FloatArray, m1: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A and B of z(t) = A z(t-1) + B e(t) from lag-0 and lag-1 correlations (k, k).

    A = M1 M0^-1; B B' = M0 - M1 M0^-1 M1', B lower triangular (Matalas 1967; Richardson 1981).
    """
    a = np.linalg.solve(m0.T, m1.T).T
    bb = m0 - a @ m1.T
    # A short or gappy record can leave B B' a shade indefinite: lift it to the nearest valid.
    values, vectors = np.linalg.eigh((bb + bb.T) / 2)
    bb = (vectors * np.maximum(values, 1e-6)) @ vectors.T
    return np.asarray(a), np.linalg.cholesky(bb)


def likeliest_gamma_shape(amounts: FloatArray) -> float:
    """Maximum likelihood shape of the gamma distribution of positive amounts (n,).

    Thom's (1958) approximation (1 + sqrt(1 + 4Y/3))/(4Y), Y = ln(mean) - mean(ln), which is
    4 % high at shape 0.5, then Newton steps on ln(a) - digamma(a) = Y (Minka 2002).
    """
    y = max(float(np.log(amounts.mean()) - np.log(amounts).mean()), 1e-3)
    shape = (1 + np.sqrt(1 + 4 * y / 3)) / (4 * y)
    for _ in range(4):
        miss = np.log(shape) - special.digamma(shape) - y
        inverse = 1 / shape + miss / (shape**2 * (1 / shape - special.polygamma(1, shape)))
        shape = 1 / inverse
    return float(shape)


def gamma_scale(mean_mm: FloatArray, shape: FloatArray) -> FloatArray:
    """Gamma scale (mm) so that amounts floored at the wet threshold have the mean given.

    E max(t, G) = t P(a, t/b) + a b (1 - P(a+1, t/b)); solved by bisection. Broadcasts; a mean
    at or below the threshold gets scale 0, every wet day then brings the threshold.
    """
    low, high = np.zeros_like(mean_mm), mean_mm / shape
    for _ in range(50):
        scale = (low + high) / 2
        ratio = WET_MM / np.maximum(scale, 1e-12)
        mean = WET_MM * special.gammainc(shape, ratio)
        mean = mean + shape * scale * special.gammaincc(shape + 1, ratio)
        low, high = np.where(mean < mean_mm, scale, low), np.where(mean < mean_mm, high, scale)
    return (low + high) / 2


def extraterrestrial_radiation(latitude_deg: float) -> tuple[FloatArray, FloatArray]:
    """Ra (MJ/m2/d) and day length (h) for the 366 calendar days (FAO-56 Eq 21 to 25, 34)."""
    day = np.arange(1.0, 367.0)
    return (
        np.asarray(extraterrestrial_radiation_mj_m2(latitude_deg, day)),
        np.asarray(daylight_hours(latitude_deg, day)),
    )


# ---------------------------------------------------------------- calendar and seasonal curves


def calendar_day(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Index 0 to 365 in the 366-day calendar (29 February is 59)."""
    dates = dates.astype("datetime64[D]")
    day = (dates - dates.astype("datetime64[Y]")).astype(int)
    return day + ((day >= LEAP_DAY) & ~is_leap(years_of(dates)))


def years_of(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    return dates.astype("datetime64[Y]").astype(int) + 1970


def is_leap(years: NDArray[np.int64]) -> BoolArray:
    return (years % 4 == 0) & ((years % 100 != 0) | (years % 400 == 0))


def harmonics(count: int) -> FloatArray:
    """(366, 1 + 2 count): a constant and ``count`` annual harmonics."""
    waves = [np.ones(366)]
    for order in range(1, count + 1):
        waves += [np.cos(order * _PHASE), np.sin(order * _PHASE)]
    return np.stack(waves, axis=1)


def smooth_curve(monthly: FloatArray) -> FloatArray:
    """(366,) smooth curve whose month averages are the twelve values: 5 1/2 harmonics."""
    # Of the sixth harmonic the half that peaks in mid-month; the other half averages to nought.
    waves = np.column_stack([harmonics(5), np.sin(6 * _PHASE)])
    averages = np.stack([waves[m == MONTH_OF_DAY].mean(axis=0) for m in range(12)])
    return waves @ np.linalg.lstsq(averages, monthly, rcond=None)[0]


# ---------------------------------------------------------------- dry and wet years

# Knots of the latent factor: mid-January, -April, -July and -October.
_KNOT_DAYS = np.array([15.0, 105.0, 197.0, 289.0])


def knot_weights(days: FloatArray, first_year: int, years: int) -> FloatArray:
    """(days, 4 years): weights that interpolate the knots linearly; day 0 is 1 January, year 0."""
    starts = 366.0 * np.arange(first_year, first_year + years)
    knots = (starts[:, None] + _KNOT_DAYS).ravel()
    return np.stack([np.interp(days, knots, row) for row in np.eye(knots.size)], axis=1)


# Within one year the knots of the year before and after are needed too: (366, 12).
KNOT_WEIGHTS = knot_weights(np.arange(366.0), -1, 3)


def knot_covariances(years: int, annual_lag1: float) -> FloatArray:
    """(5, 4 years, 4 years): covariance for unit variance of the year and of each season."""
    year, season = np.divmod(np.arange(4 * years), 4)
    parts = [annual_lag1 ** np.abs(year[:, None] - year)]
    parts += [np.diag((season == s).astype(float)) for s in range(4)]
    return np.stack(parts)


def latent_variance(model: ClimateModel) -> FloatArray:
    """(366,) variance of the latent factor by calendar day."""
    unit = knot_covariances(3, model.annual_lag1)
    sizes = np.array([model.annual_sd, *model.season_sd]) ** 2
    return np.einsum("di,sij,dj,s->d", KNOT_WEIGHTS, unit, KNOT_WEIGHTS, sizes)
