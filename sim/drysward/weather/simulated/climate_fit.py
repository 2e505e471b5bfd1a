"""A climate model fitted to a daily record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.physics.reference_et import (
    vapor_pressure_from_rh_extremes_kpa,
    vapor_pressure_from_rh_mean_kpa,
)
from drysward.weather.record import FEWEST_YEARS_TO_FIT, DailyRecord
from drysward.weather.simulated.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    DARK_MJ_M2,
    DEWPOINT_ABOVE_TMIN_C,
    LEAST_SEASON_C,
    MONTH_OF_DAY,
    ROOT_DEPRESSION,
    ROOT_WIND,
    TMAX,
    TMIN,
    WET_MM,
    BoolArray,
    ClimateModel,
    FloatArray,
    between_months,
    between_seasons,
    calendar_day,
    dewpoint_from_vapor_pressure_c,
    extraterrestrial_radiation,
    harmonics,
    knot_covariances,
    knot_weights,
    likeliest_mixed_exponential,
    month_means,
    named_months,
    possible_persistence,
    share_curves,
    smooth_curve,
    wet_share_curve,
    years_of,
)
from drysward.weather.simulated.drift_fit import (
    DAYS_OF_ALL,
    LEAST_DAYS_OF_MONTH,
    SLOW_DAYS,
    ResidualYears,
    fit_drift,
)
from drysward.weather.simulated.generator import rain_without_latent, wet_neighbors
from drysward.weather.simulated.regime import RegimeLikelihood, regime_likelihood

LEAST_YEARS = FEWEST_YEARS_TO_FIT
GOOD_YEARS = 20
# What notes call the variables that a record need not have.
_CALLED = {CLEARNESS: "solar radiation", ROOT_DEPRESSION: "dew point", ROOT_WIND: "wind"}
_LEAST_AMOUNTS = 60  # estimate: wet days that a mixture of amounts needs
_PLAIN_YEARS = 1000  # simulated to measure the spread of the model alone: 4% error of a variance


def fit(record: DailyRecord, latitude_deg: float, elevation_m: float) -> ClimateModel:
    """Climate of a daily record of at least five years.

    Rain by month and its regime by season; means by four harmonics with a wet-day shift of two,
    then corrected to the record's month means; spreads by two harmonics; what lasts for weeks, a
    season and a year by the spread of means of 5 days to a year. Solar radiation comes from
    sunshine (FAO-56 Eq 35, a 0.25, b 0.50) and the dew point from vapor pressure or relative
    humidity where only those are recorded. ``notes`` state limits of the record: gaps, months
    without rain or sun, few years. FaultyInput for a shorter record, or one whose other variables
    are rarely known on the same days.
    """
    return fitted(record, latitude_deg, elevation_m)[0]


@dataclass(frozen=True)
class Known:
    """What a record put together from resampled years of another takes from the fit to that one.

    The ``likelihood`` of regimes by year, the places of the ``drawn`` years in it, the memory of
    what lasts for weeks, and ``plain_years`` for how the model spreads by itself, fewer because
    only differences between such records count.
    """

    likelihood: RegimeLikelihood
    drawn: NDArray[np.int64]
    slow_days: float
    plain_years: int


def fitted(
    record: DailyRecord, latitude_deg: float, elevation_m: float, known: Known | None = None
) -> tuple[ClimateModel, RegimeLikelihood]:
    """The climate as ``fit``, and the likelihood of its regimes by year."""
    dates = np.asarray(record.dates).astype("datetime64[D]")
    rain = np.asarray(record.rain_mm, dtype=float)
    where = record.name or "weather record"
    if np.isfinite(rain).sum() < LEAST_YEARS * 365:
        raise FaultyInput(
            Fault(
                where,
                f"{np.isfinite(rain).sum() / 365.25:.1f} years of rain are too few for a climate",
                f"at least {LEAST_YEARS} years; or use monthly normals",
            )
        )
    day = calendar_day(dates)
    month = MONTH_OF_DAY[day]
    wet = np.asarray(rain >= WET_MM)  # NaN compares false

    wet_fraction, persistence, second_day, rho2 = _fit_chain(rain, wet, month)
    by_neighbors = _fit_neighbors(rain, wet, month)
    mean_mm, light_share, light_ratio = _fit_amounts(rain, wet, month, by_neighbors)
    values = _residual_variables(record, day, latitude_deg)
    together = np.isfinite(np.stack(list(values.values()))).all(axis=0).sum()
    if together < LEAST_YEARS * 180:
        raise FaultyInput(
            Fault(
                where,
                f"only {together} days have {', '.join(values)} together",
                f"at least {LEAST_YEARS * 180} days; leave out the column that has gaps",
            )
        )
    still = [name for name, series in values.items() if np.nanstd(series) < 1e-6]
    if still:
        raise FaultyInput(
            Fault(where, f"{name} is the same on every day", "leave that column out")
            for name in still
        )
    means, sds, z = _fit_curves(np.stack(list(values.values())), wet, day)
    k = len(values)
    model = ClimateModel(
        latitude_deg=latitude_deg,
        elevation_m=elevation_m,
        variables=tuple(values),
        wet_fraction=wet_fraction,
        persistence=persistence,
        rain_per_wet_day_mm=mean_mm,
        mean_dry=means[0],
        mean_wet=means[1],
        sd_dry=sds[0],
        sd_wet=sds[1],
        a=np.zeros((k, k)),
        b=np.eye(k),
        annual_sd=0.0,
        annual_lag1=0.0,
        season_sd=np.zeros(4),
        wet_day_part=0.0,
        drift_on_latent=np.zeros((4, k)),
        drift=np.zeros((4, k, k)),
        second_day=second_day,
        amount_by_neighbors=by_neighbors,
        light_share=light_share,
        light_ratio=light_ratio,
        years_behind=float(np.isfinite(rain).sum() / 365.25),
        wind_height_m=record.wind_height_m if ROOT_WIND in values else None,
        origin=f"fitted to {dates[0]} to {dates[-1]}",
        notes=_notes(record, values, wet_fraction, latitude_deg),
    )
    years = years_from_first_day(dates)
    slow_days: tuple[float, ...] = SLOW_DAYS
    plain_years, drawn = _PLAIN_YEARS, np.arange(len(years))
    if known is None:
        likelihood = _likelihood_by_year(wet, rain, day, years, model)
    else:
        likelihood, drawn, plain_years = known.likelihood, known.drawn, known.plain_years
        slow_days = (known.slow_days,)
    memory, dry_share, contrast = likelihood.likeliest(drawn)
    model = replace(model, regime_days=memory, regime_dry_share=dry_share, regime_contrast=contrast)
    model = replace(model, second_day=_second_day_within(rho2, model))
    model = replace(model, **_fit_latent(dates, rain, model, plain_years))
    seen = ResidualYears(
        z=z,
        day=day,
        wet=np.where(np.isfinite(rain), wet - wet_share_curve(wet_fraction)[day], 0.0),
        rain=rain,
        seasons=tuple(_window_days(dates, season) for season in (1, 2, 3, 4)),
        years=years,
    )
    return fit_drift(seen, model, slow_days), likelihood


def years_from_first_day(dates: NDArray[np.datetime64]) -> list[NDArray[np.int64]]:
    """Places of the days of each year counted from the record's first day, the last one short."""
    day = calendar_day(dates)
    later = years_of(dates) - (day < day[0])
    return [np.flatnonzero(later == year) for year in np.unique(later)]


def _likelihood_by_year(
    wet: BoolArray,
    rain: FloatArray,
    day: NDArray[np.int64],
    years: list[NDArray[np.int64]],
    model: ClimateModel,
) -> RegimeLikelihood:
    """Likelihood of the regimes tried in each year from the record's first day."""
    first = int(day[0])
    table = np.full((len(years), 366), np.nan)
    for row, inside in zip(table, years, strict=True):
        row[(day[inside] - first) % 366] = np.where(
            np.isfinite(rain[inside]), wet[inside].astype(float), np.nan
        )
    curves = wet_share_curve(model.wet_fraction), model.persistence[MONTH_OF_DAY]
    share, persistence = (np.roll(curve, -first) for curve in curves)
    seasons = np.roll(between_seasons(np.eye(4)), -first, axis=0)
    return regime_likelihood(table, share, persistence, model.second_day, seasons)


def _second_day_within(rho2: float, model: ClimateModel) -> float:
    """Weight of the day before yesterday that the chain has beside the regime.

    ``rho2`` is the lag-2 correlation of wetness as recorded; what the regime makes of it is
    taken out as ``persistence_within`` does for lag 1.
    """
    curves = share_curves(model)
    variance = curves.mean * (1 - curves.mean)
    left = np.maximum(variance - curves.of_regime, 0.1 * variance).sum()
    if not left > 0:
        return 0.0
    lag1 = float((curves.persistence * (variance - curves.of_regime)).sum() / left)
    kept = np.exp(-2 / model.regime_days)
    lag2 = float((rho2 * variance - kept * curves.of_regime).sum() / left)
    return (lag2 - lag1**2) / (1 - lag1**2)


def _fit_chain(
    rain: FloatArray, wet: BoolArray, month: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray, float, float]:
    """Wet share, persistence by month, weight of the day before yesterday, lag-2 correlation.

    A month with few wet or dry days shares the year's persistence. The weight is one for the
    year: r2 = (rho2 - rho1^2)/(1 - rho1^2) (Yule-Walker).
    """
    known = np.isfinite(rain)
    pair = np.concatenate([[False], known[1:] & known[:-1]])
    before = np.concatenate([[False], wet[:-1]])

    def correlation(chosen: BoolArray) -> float:
        after_wet, after_dry = chosen & before, chosen & ~before
        if min(after_wet.sum(), after_dry.sum()) < 20:
            return np.nan
        return float(wet[after_wet].mean() - wet[after_dry].mean())

    fraction = np.array([wet[known & (month == m)].mean() for m in range(12)])
    pooled = np.nan_to_num(correlation(pair))
    persistence = np.array([correlation(pair & (month == m)) for m in range(12)])
    persistence = np.where(np.isnan(persistence), pooled, persistence)

    deviation = np.where(known, wet - fraction[month], np.nan)

    def lagged(lag: int) -> float:
        return float(np.nanmean(deviation[lag:] * deviation[:-lag]))

    variance = float(np.nanmean(deviation**2))
    rho1, rho2 = (lagged(lag) / variance if variance > 0 else 0.0 for lag in (1, 2))
    second_day = (rho2 - rho1**2) / (1 - rho1**2)
    return fraction, possible_persistence(fraction, persistence), second_day, rho2


def _fit_neighbors(rain: FloatArray, wet: BoolArray, month: NDArray[np.int64]) -> FloatArray:
    """Mean amount of wet days with none, one and two wet neighbors, beside the month's (3,).

    Rain of a wet spell is more than that of lone wet days (Buishand 1978, from memory). Ratios
    that rest on fewer than 30 days are left at 1.
    """
    beside = wet_neighbors(wet[None])[0]
    monthly = np.array([rain[wet & (month == m)].sum() for m in range(12)])
    count = np.maximum(np.bincount(month[wet], minlength=12), 1)
    relative = rain / np.where(monthly > 0, monthly / count, 1.0)[month]
    found = np.ones(3)
    for number in range(3):
        chosen = wet & (beside == number)
        if chosen.sum() >= 30:
            found[number] = relative[chosen].mean()
    return found


def _fit_amounts(
    rain: FloatArray, wet: BoolArray, month: NDArray[np.int64], by_neighbors: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean rain per wet day (traces of dry days included) and the mixed exponential, by month.

    The mixture is fitted to amounts above the wet threshold over what the month and the number
    of wet neighbors make of their mean: those of the month and the two beside it, or of the
    whole year where these have few. Light falls do not grow with a month's mean, so that one
    mixture for the year makes too many days of drizzle in the dry season and too few in the wet.
    """
    share, ratio = np.zeros(12), np.ones(12)
    if not wet.any():
        return np.full(12, WET_MM), share, ratio
    mean = np.full(12, rain[wet].mean())
    for m in range(12):
        if number := np.sum(wet & (month == m)):
            mean[m] = np.nansum(rain[month == m]) / number
    expected = (mean[month] * by_neighbors[wet_neighbors(wet[None])[0]])[wet]
    # Gauges step by about the threshold: amounts at it stand for half a step above 0.
    step = WET_MM / 2
    excess = (rain[wet] - WET_MM + step) / (np.maximum(expected - WET_MM, step) + step)
    if excess.size < _LEAST_AMOUNTS:
        return mean, share, ratio
    for m in range(12):
        near = excess[np.isin(month[wet], [(m - 1) % 12, m, (m + 1) % 12])]
        some = near if near.size >= _LEAST_AMOUNTS else excess
        share[m], ratio[m] = likeliest_mixed_exponential(*_nearly_alike(some / some.mean()))
    return mean, share, ratio


def _nearly_alike(amounts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means of positive amounts that differ by less than 2%, and how many each stands for."""
    group = np.round(np.log(amounts) * 50).astype(int)
    count = np.bincount(group - group.min())
    total = np.bincount(group - group.min(), amounts)
    return total[count > 0] / count[count > 0], count[count > 0].astype(float)


def _residual_variables(
    record: DailyRecord, day: NDArray[np.int64], latitude_deg: float
) -> dict[str, FloatArray]:
    """The variables besides rain that the record carries, each (n,), in model order."""

    def column(name: str) -> FloatArray | None:
        values = getattr(record, name)
        if values is None or not np.isfinite(values).any():
            return None
        return np.asarray(values, dtype=float)

    tmax, tmin = np.asarray(record.tmax_c, float), np.asarray(record.tmin_c, float)
    found = {TMAX: tmax, TMIN: tmin}
    ra, day_length_h = (curve[day] for curve in extraterrestrial_radiation(latitude_deg))
    # Near the polar night Rs/Ra is noise over nothing.
    light = np.where(ra > DARK_MJ_M2, ra, np.nan)
    if (solar := column("solar_mj_m2")) is not None:
        found[CLEARNESS] = np.clip(solar / light, *CLEARNESS_RANGE)
    elif (sunshine := column("sunshine_h")) is not None:
        share = np.clip(sunshine / np.maximum(day_length_h, 0.1), 0, 1)
        found[CLEARNESS] = np.where(np.isnan(light), np.nan, 0.25 + 0.50 * share)
    if (dewpoint := _dewpoint_c(record)) is not None:
        depression = tmin + DEWPOINT_ABOVE_TMIN_C - dewpoint
        found[ROOT_DEPRESSION] = np.sqrt(np.maximum(depression, 0.0))
    if (wind := column("wind_m_s")) is not None:
        found[ROOT_WIND] = np.sqrt(np.maximum(wind, 0.0))
    return found


def _dewpoint_c(record: DailyRecord) -> FloatArray | None:
    """Dew point (n,) from the humidity that the record has on most days; None without any."""
    tmax, tmin = record.tmax_c, record.tmin_c
    routes: dict[str, FloatArray] = {}
    if record.dewpoint_c is not None:
        routes["dew point"] = record.dewpoint_c
    pressure: list[Any] = [record.vapor_pressure_kpa]
    if record.rh_max_pct is not None and record.rh_min_pct is not None:
        pressure.append(
            vapor_pressure_from_rh_extremes_kpa(tmax, tmin, record.rh_max_pct, record.rh_min_pct)
        )
    if record.rh_mean_pct is not None:
        pressure.append(vapor_pressure_from_rh_mean_kpa(tmax, tmin, record.rh_mean_pct))
    for number, values in enumerate(pressure):
        if values is not None:
            positive = np.where(values > 0, values, np.nan)
            routes[f"pressure {number}"] = dewpoint_from_vapor_pressure_c(positive)
    if not routes:
        return None
    best = max(routes.values(), key=lambda values: np.isfinite(values).sum())
    return best if np.isfinite(best).any() else None


def _notes(
    record: DailyRecord,
    values: dict[str, FloatArray],
    wet_fraction: FloatArray,
    latitude_deg: float,
) -> tuple[str, ...]:
    """Notes about the record for users of the generated weather."""
    days = record.n_days
    notes = []
    if days < GOOD_YEARS * 365:
        notes.append(
            f"{days / 365.25:.0f} years of record: the spread of dry years is uncertain; "
            f"{GOOD_YEARS} or more are better"
        )
    for rule, count in record.filled.items():
        if count:
            notes.append(f"{rule}: {count} days of the record were filled ({count / days:.1%})")
    for name, series in values.items():
        if (missing := int((~np.isfinite(series)).sum())) and name not in (TMAX, TMIN):
            notes.append(
                f"{_CALLED[name]}: not known on {missing} days of the record ({missing / days:.1%})"
            )
    if CLEARNESS in values and (record.solar_mj_m2 is None):
        notes.append("radiation from sunshine hours: FAO-56 Eq 35 with 0.25 and 0.50, published")
    if ROOT_DEPRESSION in values and record.dewpoint_c is None:
        notes.append("dew point from vapor pressure or relative humidity (FAO-56 Eq 14)")
    if (never := wet_fraction == 0).any():
        notes.append(f"no rain in {named_months(never)} of the record, and so in no simulated year")
    dark = month_means(extraterrestrial_radiation(latitude_deg)[0]) < DARK_MJ_M2
    if dark.any():
        notes.append(f"the sun hardly rises in {named_months(dark)}: radiation is close to 0 then")
    month = record.dates.astype("datetime64[M]").astype(int) % 12
    mean_c = (record.tmax_c + record.tmin_c) / 2
    by_month = np.bincount(month, mean_c, 12) / np.maximum(np.bincount(month, minlength=12), 1)
    if np.ptp(by_month) < LEAST_SEASON_C:
        notes.append("temperature has almost no season: it varies by day and by drift only")
    return tuple(notes)


def _fit_curves(
    values: FloatArray, wet: BoolArray, day: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Means and sds, each (2, k, 366) for dry and wet, and the residuals, of values (k, n)."""
    k, month = values.shape[0], MONTH_OF_DAY[day]
    # With almost no wet (or dry) days there is no shift to fit.
    shift_order = 2 if min(wet.sum(), (~wet).sum()) >= 60 else None
    means, sds = np.empty((2, k, 366)), np.empty((2, k, 366))
    z = np.empty_like(values)
    for i, series in enumerate(values):
        known = np.isfinite(series)
        means[:, i] = _curves(series, known, wet, day, 4, shift_order)
        state = wet.astype(int)
        residual = series - means[state, i, day]
        known_in_month = np.bincount(month[known], minlength=12)
        sums = np.bincount(month[known], residual[known], minlength=12)
        means[:, i] += smooth_curve(sums / np.maximum(known_in_month, 1))
        residual = series - means[state, i, day]
        variance = float(np.nanvar(residual))
        squares = _curves(residual**2, known, wet, day, 2, None if shift_order is None else 0)
        sds[:, i] = np.sqrt(np.maximum(squares, 0.05 * variance + 1e-12))
        # The curve follows squares, not ratios, and cannot turn within two months: its error
        # on average is corrected here, and its error by month as far as the years allow.
        sds[:, i] *= max(float(np.nanstd(residual / sds[state, i, day])), 0.1)
        square = (residual / sds[state, i, day]) ** 2
        missed = np.bincount(month[known], square[known], 12) / np.maximum(known_in_month, 1)
        weight = known_in_month / (known_in_month + DAYS_OF_ALL)
        missed = np.where(known_in_month >= LEAST_DAYS_OF_MONTH, np.maximum(missed, 0.1), 1.0)
        sds[:, i] *= between_months(np.sqrt(missed) ** weight)
        z[i] = residual / sds[state, i, day]
    return means, sds, z


def _curves(
    series: FloatArray,
    known: BoolArray,
    wet: BoolArray,
    day: NDArray[np.int64],
    order: int,
    shift_order: int | None,
) -> FloatArray:
    """Least-squares seasonal curves (2, 366) for dry and wet days of a series (n,)."""
    base = harmonics(order)
    shift = np.empty((366, 0)) if shift_order is None else harmonics(shift_order)
    # The design knows only calendar day and wetness: days that share both count as their mean.
    place = (day + 366 * wet)[known]
    count = np.bincount(place, minlength=732)
    mean = np.bincount(place, series[known], minlength=732) / np.maximum(count, 1)
    design = np.vstack([np.hstack([base, 0 * shift]), np.hstack([base, shift])])
    weight = np.sqrt(count)
    coefficients = np.linalg.lstsq(design * weight[:, None], mean * weight, rcond=None)[0]
    dry = base @ coefficients[: base.shape[1]]
    return np.stack([dry, dry + shift @ coefficients[base.shape[1] :]])


# ---------------------------------------------------------------- dry and wet years

# Windows on an axis of two 366-day years: the calendar year, and four seasons in knot order
# (December to February is that of the second year).
_TWO_YEARS = np.arange(732)
_WINDOWS = [_TWO_YEARS < 366] + [
    (start <= _TWO_YEARS) & (stop > _TWO_YEARS)
    for start, stop in ((335, 426), (60, 152), (152, 244), (244, 335))
]


def _window_days(dates: NDArray[np.datetime64], window: int) -> list[NDArray[np.int64]]:
    """Places in the record of each complete year (window 0) or season (1 to 4)."""
    return _span_days(dates, (0, 11, 2, 5, 8)[window], 12 if window == 0 else 3)


def _span_days(dates: NDArray[np.datetime64], month: int, months: int) -> list[NDArray[np.int64]]:
    """Places in the record of each complete span of months from ``month`` (0 January) on."""
    first = np.datetime64("0000-01") + month
    year, place = np.divmod((dates.astype("datetime64[M]") - first).astype(int), 12)
    found = []
    for y in np.unique(year):
        inside = np.flatnonzero((year == y) & (place < months))
        start, stop = ((first + 12 * y + n).astype("datetime64[D]") for n in (0, months))
        if inside.size == (stop - start).astype(int):
            found.append(inside)
    return found


def _totals(values: FloatArray, windows: list[NDArray[np.int64]]) -> FloatArray:
    """Totals of the windows that have no value missing."""
    totals = np.array([values[days].sum() for days in windows])
    return totals[np.isfinite(totals)]


def _fit_latent(
    dates: NDArray[np.datetime64], rain: FloatArray, model: ClimateModel, plain_years: int
) -> dict[str, Any]:
    """The model's fields of the latent factor; ``model`` has none yet.

    Its variances are those that add to the rest of the model what the record's totals spread
    more, for the year and the four seasons at once (non-negative least squares, relative errors).
    The part of wet days compares, over the seasons, how much more their number spreads.
    """
    weights = knot_weights(_TWO_YEARS.astype(float), -1, 4)
    wetness = np.where(np.isfinite(rain), rain >= WET_MM, np.nan)
    # Two years side by side, so that December goes with the winter after it.
    plain = np.concatenate(rain_without_latent(model, 2 * plain_years).reshape(2, -1, 366), axis=1)
    daily, daily_share = plain.mean(axis=0), (plain > 0).mean(axis=0)
    windows = [_window_days(dates, window) for window in range(5)]
    observed = [_totals(rain, days) for days in windows]
    lag1 = 0.0
    if observed[0].size >= 20:
        deviation = observed[0] - observed[0].mean()
        found = float(deviation[1:] @ deviation[:-1] / max(deviation @ deviation, 1e-12))
        # Below about 1.64/sqrt(n) a correlation does not differ from 0.
        lag1 = min(found, 0.7) if found > 1.64 / np.sqrt(observed[0].size) else 0.0
    unit = knot_covariances(4, lag1)
    rows, targets = [], []
    excess_rain = excess_days = 0.0
    for number, (window, totals) in enumerate(zip(_WINDOWS, observed, strict=True)):
        if totals.size < LEAST_YEARS - 1:
            continue
        variance = float(totals.var(ddof=1))
        if variance == 0:
            continue
        excess = variance - float(plain[:, window].sum(axis=1).var())
        pull = daily[window] @ weights[window]
        # No size is below 0, so the five can disagree; turf lives by the season, not the year.
        weight = 1.0 if number == 0 else np.sqrt(2.0)
        rows.append(weight * np.einsum("i,sij,j->s", pull, unit, pull) / variance)
        targets.append(weight * max(excess, 0.0) / variance)
        if number > 0:
            days = _totals(wetness, windows[number])
            of_days = days.var(ddof=1) - (plain[:, window] > 0).sum(axis=1).var()
            excess_rain += excess / daily[window].sum() ** 2
            excess_days += of_days / daily_share[window].sum() ** 2
    sizes = np.zeros(5)
    if rows:
        # Here, since it takes a quarter of a second to import and only a fit to a record needs it.
        from scipy.optimize import nnls

        sizes = np.sqrt(np.minimum(nnls(np.array(rows), np.array(targets))[0], 1.0))
    part = np.sqrt(max(excess_days, 0.0) / excess_rain) if excess_rain > 0 else 0.0
    return {
        "annual_sd": float(sizes[0]),
        "annual_lag1": lag1,
        "season_sd": sizes[1:],
        "wet_day_part": min(float(part), 0.8),
    }
