"""A climate as numbers: the model of daily weather, its equations and its curves.

The published Markov-chain family (Richardson 1981; Richardson & Wright 1984): a two-state
chain decides wet and dry days, amounts fall on wet days, and the other variables follow their
seasonal mean and spread, conditioned on wet or dry, with residuals z(t) = A z(t-1) + B e(t) that
keep the cross and lag-1 correlations. Five things were added because records need them: the
chain depends on the day before yesterday too, amounts are mixed exponential (they fit three records
far better than gamma amounts do), a wet day between wet days has more rain than a lone one, A and B
differ after dry and wet days (heat lasts while it is dry), and after a hot day Tmax falls further
than it rises, so that it stays near its peak for days.

Such a chain has a memory of days only, and its years are too much alike. Slower time scales are
added (a known weakness of daily generators, Wilks & Wilby 1999; corrected by the low
frequencies of a record, Wang & Nathan 2007; both from memory):

- a wet/dry regime of days to weeks moves the chance of rain (``regime``);
- a latent factor, smooth through the seasons and correlated from year to year, moves the chance
  of rain and its amount so that season and annual totals spread as the record's do (the
  "overdispersion" discussed by Katz & Parlange 1998);
- the residuals of the other variables have a part that lasts for weeks, one for a season and one
  for a year. The first depends on the wet days of the weeks before (dry ground heats the air), the
  second on the latent factor, so that dry spells and dry summers are as hot and clear as in
  records, beyond the effect of their dry days. The third is correlated with the year before where a
  record is.

``climate_fit`` fits a model to a record, ``normals`` builds one from monthly normals; ``generator``
simulates weather from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward import special
from drysward.physics.reference_et import daylight_hours, extraterrestrial_radiation_mj_m2
from drysward.weather.simulated.regime import persistence_within, regime_memory

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
# Solar radiation is modeled as clearness Rs/Ra so that it stays bounded; dew point as the root
# of its depression below its highest, and wind as its root, which are closer to normal.
TMAX, TMIN, CLEARNESS, ROOT_DEPRESSION, ROOT_WIND = (
    "tmax_c",
    "tmin_c",
    "clearness",
    "root_depression",
    "root_wind",
)
DEWPOINT_ABOVE_TMIN_C = 3.0  # estimate: a daily mean dew point exceeds Tmin by no more

# One calendar for all years: 366 days with 29 February, which common years leave out.
_CALENDAR = np.arange("2000-01-01", "2001-01-01", dtype="datetime64[D]")
MONTH_OF_DAY = _CALENDAR.astype("datetime64[M]").astype(int) % 12
MONTH_NAMES = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
_MOST_MEMORY = 0.97  # estimate: largest correlation of one day with the next
_LEAST_VARIANCE = 0.02  # estimate: least variance of the fast residuals in any direction
_MOST_SLOW = 0.75  # estimate: largest part of a residual's variance in all that is slow together
_LEAST_WET = 0.1  # estimate: share of wet days with too few pairs to make up for the dry ones
BESIDE_DAYS = 1.5  # estimate: memory of the days just before and after, about that of a front
LEAST_SEASON_C = 2.0  # estimate: annual range of mean temperature below which there is no season
DARK_MJ_M2 = 1.0  # estimate: top-of-atmosphere radiation below which clearness means nothing
DAYS_IN_MONTH = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
LEAP_DAY = 59
_MID_MONTHS = np.bincount(MONTH_OF_DAY, np.arange(366.0)) / np.bincount(MONTH_OF_DAY)
_MONTH_WEIGHTS = np.stack(
    [np.interp(np.arange(366.0), _MID_MONTHS, one, period=366) for one in np.eye(12)], axis=1
)
_FROM_MONTH_MEANS = np.linalg.inv(
    np.stack([_MONTH_WEIGHTS[month == MONTH_OF_DAY].mean(axis=0) for month in range(12)])
)
_PHASE = 2 * np.pi * (np.arange(366) + 0.5) / 366


@dataclass(frozen=True)
class ClimateModel:
    """All numbers needed to simulate daily weather at one place.

    Arrays by month have shape (12,), by calendar day (366,), by variable and day (k, 366).
    """

    latitude_deg: float
    elevation_m: float
    variables: tuple[str, ...]
    wet_fraction: FloatArray  # (12,) share of days that are wet
    persistence: FloatArray  # (12,) P11 - P01, the lag-1 correlation of wetness
    rain_per_wet_day_mm: FloatArray  # (12,)
    mean_dry: FloatArray  # (k, 366)
    mean_wet: FloatArray  # (k, 366)
    sd_dry: FloatArray  # (k, 366)
    sd_wet: FloatArray  # (k, 366)
    a: FloatArray  # (2, 12, k, k) of the fast part of the residuals, after a wet and a dry day
    b: FloatArray  # (2, 12, k, k)
    annual_sd: float  # latent factor common to a year, standard deviation of ln rain
    annual_lag1: float  # its year-to-year correlation
    season_sd: FloatArray  # (4,) latent factor of Dec-Feb, Mar-May, Jun-Aug, Sep-Nov
    wet_day_part: float  # part of the latent factor in the number of wet days; rest in amounts
    drift_on_latent: FloatArray  # (4, k) drift of the residuals per unit of the latent factor
    drift: FloatArray  # (4, k, k) square roots of the covariance of the rest of their drift
    # The defaults are the chain and the exponential amounts of Richardson 1981.
    second_day: float = 0.0  # weight of the day before yesterday in the chance of rain
    amount_by_neighbors: FloatArray = field(default_factory=lambda: np.ones(3))
    # ... ratio (3,) of the mean amount of wet days with none, one and two wet neighbors
    # (12,) share of the light one of two exponentials in the amounts, its mean over both's
    light_share: FloatArray = field(default_factory=lambda: np.zeros(12))
    light_ratio: FloatArray = field(default_factory=lambda: np.ones(12))
    # The hidden regime of wet and dry weather (``regime``); by default there is none.
    regime_days: float = 8.0  # in which its correlation falls to 1/e
    regime_dry_share: float = 0.5  # share of days in the dry state
    regime_contrast: FloatArray = field(default_factory=lambda: np.zeros(4))
    # ... (4,) difference of the log-odds of rain between its states, by season
    # What lasts for weeks in the residuals, besides the drift of whole seasons
    slow_days: float = 12.0  # in which its correlation falls to 1/e
    slow: FloatArray = field(default_factory=lambda: np.zeros((12, 1, 1)))
    # ... (12, k, k) symmetric square roots of its covariance
    dryness_days: float = 15.0  # memory of the wet days before (``past_wetness``)
    residual_on_past: FloatArray = field(default_factory=lambda: np.zeros((4, 1)))
    # ... (4, k) shift of the residuals per unit of past wetness
    residual_on_beside: FloatArray = field(default_factory=lambda: np.zeros((2, 12, 1)))
    # ... (2, 12, k) shift of the residuals by the wet days just before and after (``wet_beside``)
    dry_lag1: FloatArray = field(default_factory=lambda: np.zeros((4, 1, 1)))
    # ... (4, k, k) what a dry day adds to the covariance of it and the next
    heat_lean: FloatArray = field(default_factory=lambda: np.zeros(4))
    # ... (4,) how far the next Tmax leans back from a hot or cool one (``leaning``), by season
    year_drift: FloatArray = field(default_factory=lambda: np.zeros((1, 1)))
    # ... (k, k) square root of the covariance of the drift common to a year
    year_drift_lag1: float = 0.0  # its year-to-year correlation
    years_behind: float = 30.0  # years of the record, or of the years behind the normals
    wind_height_m: float | None = None
    origin: str = ""
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        k = len(self.variables)
        for name, shape in (
            ("a", (2, 12, k, k)),
            ("b", (2, 12, k, k)),
            ("dry_lag1", (4, k, k)),
            ("slow", (12, k, k)),
            ("residual_on_past", (4, k)),
            ("residual_on_beside", (2, 12, k)),
            ("year_drift", (k, k)),
        ):
            object.__setattr__(self, name, np.broadcast_to(getattr(self, name), shape))


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


def chain_weights(
    share: FloatArray, persistence: FloatArray, second_day: float
) -> tuple[FloatArray, FloatArray]:
    """Weights r1, r2 of a second-order chain with lag-1 correlation ``persistence``; broadcasts.

    Its linear form is P(wet) = pi + r1 (w - pi)[t-1] + r2 (w - pi)[t-2] (discrete autoregression,
    Jacobs & Lewis 1983, from memory), and r1 = persistence (1 - r2) (Yule-Walker). r2 is
    ``second_day`` as far as every chance stays within 0 and 1: a negative one must leave room
    for the rarer of wet and dry.
    """
    rarer = np.minimum(share, 1 - share) / np.maximum(share, 1 - share)
    least = -(1 - persistence) * rarer / (1 + np.maximum(persistence, 0.0) * rarer)
    r2 = np.where(rarer > 0, np.clip(second_day, least, 0.9), 0.0)
    return persistence * (1 - r2), r2


def neighbor_chances(
    share: FloatArray, r1: FloatArray, r2: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Chance that a wet day has none, one or two wet neighbors in that chain; broadcasts.

    P(1|1) = pi + (1 - pi) r1/(1 - r2), and both are wet with P(1|1) P(1|11), where
    P(1|11) = pi + (1 - pi)(r1 + r2).
    """
    after_wet = share + (1 - share) * r1 / (1 - r2)
    both = after_wet * (share + (1 - share) * (r1 + r2))
    return 1 - 2 * after_wet + both, 2 * (after_wet - both), both


def residual_matrices(m0: FloatArray, m1: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A and B of z(t) = A z(t-1) + B e(t) from lag-0 and lag-1 correlations (..., k, k).

    A = M1 M0^-1; B B' = M0 - M1 M0^-1 M1', B lower triangular (Matalas 1967; Richardson 1981).
    """
    # A short or gappy record can ask for correlations that no process has: M0 is lifted to a
    # valid one, and M1 lowered until the largest canonical correlation of two days is possible.
    values, vectors = np.linalg.eigh(m0)
    if (values < _LEAST_VARIANCE).any():
        lifted = vectors * np.maximum(values, _LEAST_VARIANCE)[..., None, :]
        m0 = lifted @ vectors.swapaxes(-1, -2)
    root = np.linalg.inv(np.linalg.cholesky(m0))
    canonical = np.linalg.svd(root @ m1 @ root.swapaxes(-1, -2), compute_uv=False)[..., 0]
    m1 = m1 * np.minimum(1.0, _MOST_MEMORY / np.maximum(canonical, 1e-9))[..., None, None]
    a = np.linalg.solve(m0.swapaxes(-1, -2), m1.swapaxes(-1, -2)).swapaxes(-1, -2)
    bb = m0 - a @ m1.swapaxes(-1, -2)
    b = np.linalg.cholesky((bb + bb.swapaxes(-1, -2)) / 2)
    return np.asarray(a, float), np.asarray(b, float)


def stationary_covariance(a: FloatArray, b: FloatArray) -> FloatArray:
    """Covariance (..., k, k) of the residuals that A and B keep up: M = A M A' + B B'.

    As one system of linear equations, vec M = (I - A x A)^-1 vec(B B') (standard result).
    """
    k = a.shape[-1]
    product = np.einsum("...ij,...kl->...ikjl", a, a).reshape(*a.shape[:-2], k * k, k * k)
    spread = (b @ b.swapaxes(-1, -2)).reshape(*a.shape[:-2], k * k, 1)
    return np.asarray(np.linalg.solve(np.eye(k * k) - product, spread), float).reshape(a.shape)


def mixed_exponential(
    u: FloatArray, light_share: FloatArray | float, light_ratio: FloatArray | float
) -> FloatArray:
    """Deviates of mean 1 from uniform ones: two exponentials, the light one of mean light_ratio.

    Share and ratio broadcast against ``u``. Mixed exponential amounts: Woolhiser & Roldan 1982,
    from memory; mean a b1 + (1 - a) b2.
    """
    heavy_ratio = (1 - light_share * light_ratio) / (1 - light_share)
    light = u < light_share
    within = np.where(
        light, u / np.maximum(light_share, 1e-9), (u - light_share) / (1 - light_share)
    )
    return -np.log1p(-within) * np.where(light, light_ratio, heavy_ratio)


def likeliest_mixed_exponential(
    amounts: FloatArray, count: FloatArray | None = None
) -> tuple[float, float]:
    """Likeliest share and ratio of the light exponential in positive amounts (n,) of mean 1.

    Each stands for ``count`` (n,) days, one by default. By expectation and maximization from equal
    shares (Dempster, Laird & Rubin 1977).
    """
    weight = np.ones(amounts.size) if count is None else count
    weight = weight / weight.sum()
    mean = float(weight @ amounts)
    share, ratio = 0.5, 0.3
    for _ in range(300):
        heavy = (1 - share * ratio) / (1 - share)
        light = share / ratio * np.exp(-amounts / ratio)
        light = weight * light / (light + (1 - share) / heavy * np.exp(-amounts / heavy))
        before = share
        share = min(max(float(light.sum()), 1e-6), 1 - 1e-6)
        ratio = float(light @ amounts) / float(light.sum()) / mean
        if abs(share - before) < 1e-6:
            break
    return share, ratio


def extraterrestrial_radiation(latitude_deg: float) -> tuple[FloatArray, FloatArray]:
    """Ra (MJ/m2/d) and day length (h) for the 366 calendar days (FAO-56 Eq 21 to 25, 34)."""
    day = np.arange(1.0, 367.0)
    return (
        np.asarray(extraterrestrial_radiation_mj_m2(latitude_deg, day)),
        np.asarray(daylight_hours(latitude_deg, day)),
    )


def dewpoint_from_vapor_pressure_c(vapor_pressure_kpa: FloatArray) -> FloatArray:
    """Dew point (C) of a vapor pressure above 0 (kPa): inverse of FAO-56 Eq 14."""
    ratio = np.log(vapor_pressure_kpa / 0.6108)
    return np.asarray(237.3 * ratio / (17.27 - ratio))


def leaning(normal: FloatArray, lean: FloatArray) -> FloatArray:
    """Normal deviates with a skew of about 6 ``lean`` added; mean 0 and variance 1 are kept.

    (x + s (x^2 - 1))/sqrt(1 + 2 s^2): the first terms of an expansion in Hermite polynomials
    (Cornish & Fisher 1938, from memory). Arguments broadcast.
    """
    return np.asarray((normal + lean * (normal**2 - 1)) / np.sqrt(1 + 2 * lean**2))


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


def named_months(chosen: BoolArray) -> str:
    """The months of (12,) in words."""
    return ", ".join(name for name, yes in zip(MONTH_NAMES, chosen, strict=True) if yes)


def month_means(curve: FloatArray) -> FloatArray:
    """(12,) month averages of a curve by calendar day (366,)."""
    return np.bincount(MONTH_OF_DAY, curve, 12) / np.bincount(MONTH_OF_DAY)


def means_by_month(by_day: FloatArray) -> FloatArray:
    """(12, ...) means over the months of values by calendar day (366, ...)."""
    return np.stack([by_day[month == MONTH_OF_DAY].mean(axis=0) for month in range(12)])


def between_months(monthly: FloatArray) -> FloatArray:
    """(366, ...) values by calendar day, straight between those of mid-months (12, ...)."""
    return np.asarray(np.einsum("dm,m...->d...", _MONTH_WEIGHTS, monthly))


def mid_months(means: FloatArray) -> FloatArray:
    """(12, ...) values at mid-months whose ``between_months`` have these means by month."""
    return np.asarray(np.einsum("km,m...->k...", _FROM_MONTH_MEANS, means))


def harmonics(count: int) -> FloatArray:
    """(366, 1 + 2 count): a constant and ``count`` annual harmonics."""
    waves = [np.ones(366)]
    for order in range(1, count + 1):
        waves += [np.cos(order * _PHASE), np.sin(order * _PHASE)]
    return np.stack(waves, axis=1)


def smooth_curve(monthly: FloatArray) -> FloatArray:
    """(366,) smooth curve whose month averages are the twelve values: 5 1/2 harmonics."""
    # Of the sixth harmonic the half that peaks in mid-month; the other half averages to 0.
    waves = np.column_stack([harmonics(5), np.sin(6 * _PHASE)])
    averages = np.stack([waves[m == MONTH_OF_DAY].mean(axis=0) for m in range(12)])
    return waves @ np.linalg.lstsq(averages, monthly, rcond=None)[0]


def wet_share_curve(monthly: FloatArray) -> FloatArray:
    """(366,) wet share without steps between months, whose month averages are the twelve shares.

    Log-odds run straight between mid-months. A month that never or always rains stays so.
    """
    certain = (monthly <= 0) | (monthly >= 1)
    if certain.all():
        return monthly[MONTH_OF_DAY]
    middle = month_means(np.arange(366.0))[~certain]
    days, known = np.arange(366.0), monthly[~certain]
    odds = special.logit(known)
    for _ in range(30):  # the average of a bent curve is not its middle
        curve = special.expit(np.interp(days, middle, odds, period=366))
        found = month_means(curve)[~certain]
        odds = odds + 0.7 * (special.logit(known) - special.logit(found))
    return np.where(certain[MONTH_OF_DAY], monthly[MONTH_OF_DAY], curve)


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


def between_seasons(by_season: FloatArray) -> FloatArray:
    """(366, ...) values by calendar day, straight between those of the four seasons (4, ...)."""
    weights = KNOT_WEIGHTS.reshape(366, 3, 4).sum(axis=1)
    return np.einsum("ds,s...->d...", weights, by_season)


@dataclass(frozen=True)
class ShareCurves:
    """The chance of rain by calendar day, arrays (366,), and how it moves about its mean.

    ``slope`` turns the latent factor into log-odds, ``base`` are the log-odds at which the mean
    over all years and states is ``mean``; ``contrast`` is the regime's. ``of_latent`` and
    ``of_regime`` are the variances of the share, ``persistence`` the chain's lag-1 correlation
    that together with them gives the model's.
    """

    mean: FloatArray
    base: FloatArray
    slope: FloatArray
    contrast: FloatArray
    of_latent: FloatArray
    of_regime: FloatArray
    persistence: FloatArray


def share_curves(model: ClimateModel) -> ShareCurves:
    """Variation of the chance of rain with the latent factor and the regime of a model."""
    mean = wet_share_curve(model.wet_fraction)
    pi = np.clip(mean, 1e-9, 1 - 1e-9)
    # Slope that makes d ln(share)/d latent the part of wet days; capped where almost always wet.
    slope = np.minimum(model.wet_day_part / (1 - pi), 3.0)
    contrast = between_seasons(model.regime_contrast)
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    dry = model.regime_dry_share
    states = np.array([dry - 1, dry])[:, None, None] * contrast
    moved = slope * np.sqrt(latent_variance(model)) * nodes[:, None] + states  # (2, 15, 366)
    both = (np.array([dry, 1 - dry])[:, None] * weights / weights.sum())[..., None]
    base = special.logit(pi)
    for _ in range(30):  # Newton on the log-odds that average to pi
        share = special.expit(base + moved)
        miss = pi - (both * share).sum(axis=(0, 1))
        base = base + np.clip(miss / (both * share * (1 - share)).sum(axis=(0, 1)), -1.0, 1.0)
        if np.abs(miss).max() < 1e-9:
            break
    share = special.expit(base + moved)
    by_latent = dry * share[0] + (1 - dry) * share[1]
    of_regime = (both[0] + both[1]) * dry * (1 - dry) * (share[1] - share[0]) ** 2
    of_latent = (both[0] + both[1]) * (by_latent - pi) ** 2
    between_regime, between_latent = of_regime.sum(axis=0), of_latent.sum(axis=0)
    kept = regime_memory(model.regime_days)
    persistence = persistence_within(
        pi,
        model.persistence[MONTH_OF_DAY],
        between_latent + between_regime,
        between_latent + kept * between_regime,
    )
    return ShareCurves(
        mean, base, slope, contrast, between_latent, between_regime, np.clip(persistence, -1, 0.95)
    )


def past_wetness(wet: FloatArray, days: float, start: FloatArray | float = 0.0) -> FloatArray:
    """Mean of the days before, each counting less the longer ago it was, (n, days) or (days,).

    ``wet`` of that shape is wetness less its mean of that day of the year, ``start`` (n,) what the
    first day finds: p[t] = k p[t-1] + (1 - k) wet[t-1], k = exp(-1/days).
    """
    keep = np.exp(-1 / days)
    if wet.ndim == 1:  # one long row is quicker as a sum that ends where nothing is left
        weight = (1 - keep) * keep ** np.arange(round(12 * days))
        past = np.concatenate([[0.0], np.convolve(wet, weight)[: wet.size - 1]])
        return np.asarray(past + start * keep ** np.arange(wet.size))
    past = np.empty(wet.shape)
    past[:, 0] = start
    for day in range(1, wet.shape[1]):
        past[:, day] = keep * past[:, day - 1] + (1 - keep) * wet[:, day - 1]
    return past


def wet_beside(wet: FloatArray, persistence: FloatArray) -> FloatArray:
    """Wetness of the days before and after, less its expectation from today, (2, ...).

    ``wet`` (n, days) or (days,) is wetness less its mean of that day of the year, ``persistence``
    (days,) its lag-1 correlation r. Days count as in ``past_wetness`` with a memory of
    ``BESIDE_DAYS``; in a chain, its expectation from today is (1 - k) r/(1 - k r).
    """
    keep = np.exp(-1 / BESIDE_DAYS)
    before = past_wetness(wet, BESIDE_DAYS)
    after = past_wetness(wet[..., ::-1], BESIDE_DAYS)[..., ::-1]
    today = (1 - keep) * persistence / (1 - keep * persistence) * wet
    return np.stack([before - today, after - today])


def past_wetness_variance(model: ClimateModel, curves: ShareCurves) -> FloatArray:
    """(366,) variance of ``past_wetness``: that of chain, regime and latent factor together.

    An exponential mean with weight 1 - k of a series with correlations x^lag has
    (1 - k)/(1 + k) (1 + x k)/(1 - x k) of its variance (standard result).
    """
    keep = np.exp(-1 / model.dryness_days)

    def left(correlation: FloatArray | float) -> Any:
        return (1 - keep) / (1 + keep) * (1 + correlation * keep) / (1 - correlation * keep)

    of_chain = np.maximum(curves.mean * (1 - curves.mean) - curves.of_latent - curves.of_regime, 0)
    return np.asarray(
        of_chain * left(curves.persistence)
        + curves.of_regime * left(regime_memory(model.regime_days))
        + curves.of_latent
    )


def slope_by_day(model: ClimateModel) -> FloatArray:
    """(366, k) drift of the residuals per unit of the latent factor, between the four seasons'."""
    return KNOT_WEIGHTS @ np.tile(model.drift_on_latent, (3, 1))


def drift_covariance(model: ClimateModel) -> FloatArray:
    """(366, k, k) covariance of the drift of years and seasons by calendar day."""
    slope = slope_by_day(model)
    of_latent = np.einsum("di,dj,d->dij", slope, slope, latent_variance(model))
    own = np.tile(model.drift @ model.drift.transpose(0, 2, 1), (3, 1, 1))
    return (
        of_latent
        + np.einsum("ds,sij->dij", KNOT_WEIGHTS**2, own)
        + model.year_drift @ model.year_drift.T
    )


def slow_covariance(model: ClimateModel) -> FloatArray:
    """(366, k, k) covariance of what lasts for weeks in the residuals by itself."""
    roots = between_months(model.slow)
    return roots @ roots.transpose(0, 2, 1)


def wetness_covariances(model: ClimateModel) -> tuple[FloatArray, FloatArray]:
    """(12, k, k) each: covariance of the residuals that wet days make, at lag 0 and lag 1.

    Of past wetness, and of the days just before and after as if each were by itself.
    """
    curves = share_curves(model)
    past = between_seasons(model.residual_on_past)
    of_past = np.einsum("di,dj,d->dij", past, past, past_wetness_variance(model, curves))
    keep = np.exp(-1 / BESIDE_DAYS)
    lag1 = keep * model.persistence[MONTH_OF_DAY]
    left = (1 - keep) / (1 + keep) * (1 + lag1) / (1 - lag1)
    variance = curves.mean * (1 - curves.mean) * left
    beside = np.stack([between_months(one) for one in model.residual_on_beside])
    of_beside = np.einsum("bdi,bdj,d->dij", beside, beside, variance)
    of_past, of_beside = means_by_month(of_past), means_by_month(of_beside)
    kept = np.exp(-1 / model.dryness_days)
    return of_past + of_beside, kept * of_past + keep * of_beside


def fast_covariances(
    m0: FloatArray, m1: FloatArray, slow: FloatArray, slow_lagged: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Fast covariances: M0 and M1 (..., k, k) less the slow covariances at lag 0 and lag 1.

    The slow part is limited so that the fast part stays positive.
    """
    values, vectors = np.linalg.eigh(m0)
    whiten = vectors / np.sqrt(np.maximum(values, 1e-3))[..., None, :]
    share = np.linalg.eigvalsh(whiten.swapaxes(-1, -2) @ slow @ whiten)[..., -1]
    factor = np.minimum(1.0, _MOST_SLOW / np.maximum(share, 1e-9))[..., None, None]
    return m0 - factor * slow, m1 - factor * slow_lagged


def without_drift(m0: FloatArray, m1: FloatArray, model: ClimateModel) -> ClimateModel:
    """The model with A and B such that residuals with all that is slow have M0 and M1.

    These are (k, k), or (12, k, k) by month, without what wet days make of them. The drift hardly
    changes from day to day, so its covariance is taken from both; what lasts for weeks loses its
    share of a day.
    """
    of_drift = means_by_month(drift_covariance(model))
    slow = means_by_month(slow_covariance(model))
    kept = np.exp(-1 / model.slow_days)
    m0, m1 = fast_covariances(m0, m1, of_drift + slow, of_drift + kept * slow)
    # After wet days lag 1 is less by so much that the mean stays; where it hardly rains, it cannot.
    wet = np.maximum(model.wet_fraction, _LEAST_WET)[:, None, None]
    added = means_by_month(between_seasons(model.dry_lag1))
    after = np.stack([m1 - (1 - wet) / wet * added, m1 + added])
    m0, after = mid_months(m0), np.stack([mid_months(one) for one in after])
    a, b = residual_matrices(np.broadcast_to(m0, after.shape), after)
    return replace(model, a=a, b=b)
