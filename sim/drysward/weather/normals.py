"""A climate model from a table of monthly normals, the rest from published relations."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from drysward.faults import Fault, FaultyInput, nearest
from drysward.weather.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    DAYS_IN_MONTH,
    DEPRESSION,
    MONTH_OF_DAY,
    RICHARDSON_M0,
    RICHARDSON_M1,
    ROOT_WIND,
    TMAX,
    TMIN,
    WET_MM,
    BoolArray,
    ClimateModel,
    FloatArray,
    extraterrestrial_radiation,
    possible_persistence,
    residual_matrices,
    smooth_curve,
)
from drysward.weather.reference_et import mean_saturation_vapour_pressure_kpa

_REQUIRED = ("rain_mm", "wet_days", "tmax_c", "tmin_c")
_OPTIONAL = (
    "tmax_sd_c",
    "tmin_sd_c",
    "solar_mj_m2",
    "dewpoint_c",
    "relative_humidity_pct",
    "wind_m_s",
)
_PLACE = ("latitude_deg", "elevation_m", "wind_height_m")
_MONTHS = "January February March April May June July August September October November December"
_NAMES = _MONTHS.split()

# Estimates, set beside two fitted records (Baltimore and Gangneung); a table may say otherwise
# only where it has a key for it.
_WET_TMAX_SHIFT_C = -1.5
_WET_CLEARNESS_RATIO = 0.5
_CLEARNESS_SD = 0.15
_DEPRESSION_SD_C = 3.5
_ROOT_WIND_SD = 0.30
_OTHER_LAG1 = 0.5
_ANNUAL_SD = 0.10
_SEASON_SD = 0.25
_WET_DAY_PART = 0.3
_DRIFT_SD = 0.2
_DRIFT_ON_LATENT = {TMAX: -0.5, TMIN: -0.3, CLEARNESS: -0.2}


def from_monthly_table(table: Mapping[str, Any], where: str = "climate") -> ClimateModel:
    """Climate from monthly normals, each twelve numbers, January first.

    Required: latitude_deg, elevation_m, rain_mm and wet_days (month totals), tmax_c, tmin_c.
    Optional: tmax_sd_c, tmin_sd_c (of single days), solar_mj_m2, dewpoint_c or
    relative_humidity_pct, wind_m_s with wind_height_m. What has no normals is not generated.
    Persistence and gamma shape follow Geng, Penning de Vries & Supit 1986 (from memory), the
    residuals Richardson 1981; what else is missing is an estimate, told in ``notes``.
    FaultyInput names key and month of whatever is missing, impossible or contradictory.
    """
    given = _checked_table(table, where)
    latitude_deg, elevation_m = float(table["latitude_deg"]), float(table["elevation_m"])
    notes = [
        "persistence of wet days: P01 = 0.75 of the wet share (Geng et al. 1986, from memory)",
        "gamma shape from the mean wet day (Geng et al. 1986, from memory)",
        "residual correlations of Tmax, Tmin and radiation: Richardson 1981",
        f"spread of years: {_ANNUAL_SD} annual and {_SEASON_SD} seasonal sd of ln rain, estimate",
        f"seasonal drift of the other variables: {_DRIFT_SD} of the daily sd, estimate",
        f"Tmax of wet days {_WET_TMAX_SHIFT_C} C beside dry days, estimate",
    ]

    fraction = given["wet_days"] / DAYS_IN_MONTH
    wet_days = np.where(given["wet_days"] > 0, given["wet_days"], 1.0)
    rain_mm = np.where(given["wet_days"] > 0, given["rain_mm"] / wet_days, WET_MM)
    # Geng et al. 1986, from memory: scale = 1.83 mean - 2.16 mm; shape = mean/scale. The
    # relation fails for small means, so the shape is kept to 0.5 to 1 (estimate).
    shape = np.clip(rain_mm / np.maximum(1.83 * rain_mm - 2.16, 1e-6), 0.5, 1.0)

    wet = fraction[MONTH_OF_DAY]
    means, sds = {}, {}
    tmax, tmin = given["tmax_c"], given["tmin_c"]
    for name, mean, shift in ((TMAX, tmax, _WET_TMAX_SHIFT_C), (TMIN, tmin, 0.0)):
        means[name] = _split(smooth_curve(mean), wet, shift)
        if (sd := given.get(name.replace("_c", "_sd_c"))) is None:
            sd = _daily_sd_c((tmax + tmin) / 2)
            notes.append(f"sd of daily {name} from the annual range of temperature, estimate")
        sds[name] = np.maximum(smooth_curve(sd), 0.1)
    if "solar_mj_m2" in given:
        curve = _clearness_curve(given["solar_mj_m2"], latitude_deg)
        # mean = dry (1 - wet) + ratio dry wet
        dry = curve / (1 - wet * (1 - _WET_CLEARNESS_RATIO))
        means[CLEARNESS] = np.stack([dry, dry * _WET_CLEARNESS_RATIO])
        sds[CLEARNESS] = np.full(366, _CLEARNESS_SD)
        notes.append(
            f"clearness: wet days {_WET_CLEARNESS_RATIO} of dry, sd {_CLEARNESS_SD}, estimate"
        )
    if (dewpoint := _dewpoint_normals(given)) is not None:
        means[DEPRESSION] = _split(smooth_curve(tmin - dewpoint), wet, 0.0)
        sds[DEPRESSION] = np.full(366, _DEPRESSION_SD_C)
        notes.append(f"dew point depression below Tmin: sd {_DEPRESSION_SD_C} C, estimate")
    if "wind_m_s" in given:
        # E[w] = mean^2 + sd^2 of the square root
        root = np.sqrt(np.maximum(smooth_curve(given["wind_m_s"]) - _ROOT_WIND_SD**2, 0.01))
        means[ROOT_WIND] = np.stack([root, root])
        sds[ROOT_WIND] = np.full(366, _ROOT_WIND_SD)
        notes.append(f"square root of wind: sd {_ROOT_WIND_SD}, estimate")

    m0, m1 = _default_correlations(tuple(means))
    a, b = residual_matrices(m0, m1)
    both_sds = np.stack(list(sds.values()))
    return ClimateModel(
        latitude_deg=latitude_deg,
        elevation_m=elevation_m,
        variables=tuple(means),
        wet_fraction=fraction,
        persistence=possible_persistence(fraction, np.full(12, 0.25)),
        rain_per_wet_day_mm=rain_mm,
        gamma_shape=shape,
        mean_dry=np.stack([pair[0] for pair in means.values()]),
        mean_wet=np.stack([pair[1] for pair in means.values()]),
        sd_dry=both_sds,
        sd_wet=both_sds,
        a=a,
        b=b,
        annual_sd=_ANNUAL_SD,
        annual_lag1=0.0,
        season_sd=np.full(4, _SEASON_SD),
        wet_day_part=_WET_DAY_PART,
        drift_on_latent=np.array([_DRIFT_ON_LATENT.get(name, 0.0) for name in means]),
        drift=np.asarray(_DRIFT_SD * np.linalg.cholesky(m0), dtype=float),
        wind_height_m=float(table["wind_height_m"]) if "wind_m_s" in given else None,
        origin="monthly normals",
        notes=tuple(notes),
    )


def _default_correlations(variables: tuple[str, ...]) -> tuple[FloatArray, FloatArray]:
    """M0 and M1 (k, k): Richardson's where he has them, uncorrelated with lag-1 0.5 elsewhere."""
    m0, m1 = np.eye(len(variables)), np.eye(len(variables)) * _OTHER_LAG1
    known = [i for i, name in enumerate(variables) if name in (TMAX, TMIN, CLEARNESS)]
    m0[np.ix_(known, known)] = RICHARDSON_M0[: len(known), : len(known)]
    m1[np.ix_(known, known)] = RICHARDSON_M1[: len(known), : len(known)]
    return m0, m1


def _clearness_curve(solar_mj_m2: FloatArray, latitude_deg: float) -> FloatArray:
    """(366,) smooth clearness whose radiation averages to the twelve normals."""
    ra = extraterrestrial_radiation(latitude_deg)[0]
    light = np.array([ra[m == MONTH_OF_DAY].mean() for m in range(12)])
    monthly = np.where(light > 1.0, solar_mj_m2 / np.maximum(light, 1.0), 0.5)
    for _ in range(10):  # Ra changes within a month, steeply near the polar night
        curve = np.clip(smooth_curve(monthly), *CLEARNESS_RANGE)
        made = np.array([(curve * ra)[m == MONTH_OF_DAY].mean() for m in range(12)])
        missing = np.where(light > 1.0, (solar_mj_m2 - made) / np.maximum(light, 1.0), 0.0)
        monthly = np.clip(monthly + missing, *CLEARNESS_RANGE)
    return curve


def _split(mean: FloatArray, wet: FloatArray, shift: float) -> FloatArray:
    """(2, 366) dry and wet means that differ by ``shift`` and average to ``mean``."""
    return np.stack([mean - wet * shift, mean + (1 - wet) * shift])


def _daily_sd_c(mean_c: FloatArray) -> FloatArray:
    """Estimate of the day-to-day sd by month: grows with the annual range and in winter."""
    half_range = max((mean_c.max() - mean_c.min()) / 2, 0.5)
    return (1.3 + 0.24 * half_range) * (1 + 0.2 * (mean_c.mean() - mean_c) / half_range)


def _dewpoint_normals(given: Mapping[str, FloatArray]) -> FloatArray | None:
    if "dewpoint_c" in given:
        return given["dewpoint_c"]
    if "relative_humidity_pct" not in given:
        return None
    saturation = mean_saturation_vapour_pressure_kpa(given["tmax_c"], given["tmin_c"])
    ratio = np.log(given["relative_humidity_pct"] / 100 * saturation / 0.6108)  # FAO-56 Eq 19
    return 237.3 * ratio / (17.27 - ratio)


def _checked_table(table: Mapping[str, Any], where: str) -> dict[str, FloatArray]:
    """The monthly columns of a table, each (12,); FaultyInput with every fault."""
    faults: list[Fault] = []
    known = (*_PLACE, *_REQUIRED, *_OPTIONAL)
    for key in table:
        if key not in known:
            faults.append(Fault(f"{where}.{key}", "not a known key", nearest(key, known)))
    for key in ("latitude_deg", "elevation_m", *_REQUIRED):
        if key not in table:
            faults.append(Fault(f"{where}.{key}", "missing"))
    if "wind_m_s" in table and "wind_height_m" not in table:
        faults.append(Fault(f"{where}.wind_height_m", "missing", "wind needs its height, in m"))
    limits = {"latitude_deg": (-90, 90), "elevation_m": (-450, 9000), "wind_height_m": (0.5, 200)}
    for key, (low, high) in limits.items():
        if key in table and not (_is_number(table[key]) and low <= table[key] <= high):
            faults.append(Fault(f"{where}.{key}", f"is {table[key]!r}", f"{low} to {high}"))

    given: dict[str, FloatArray] = {}
    for key in (*_REQUIRED, *_OPTIONAL):
        if key not in table:
            continue
        values = table[key]
        if (
            isinstance(values, str)
            or not isinstance(values, (Sequence, np.ndarray))
            or len(values) != 12
            or not all(_is_number(value) for value in values)
        ):
            faults.append(Fault(f"{where}.{key}", "is not twelve numbers", "January to December"))
        else:
            given[key] = np.array(values, dtype=float)

    ranges = {
        "rain_mm": (0, 5000),
        "tmax_c": (-80, 60),
        "tmin_c": (-90, 50),
        "tmax_sd_c": (0, 20),
        "tmin_sd_c": (0, 20),
        "solar_mj_m2": (0, 45),
        "dewpoint_c": (-90, 40),
        "relative_humidity_pct": (1, 100),
        "wind_m_s": (0, 60),
    }

    def check(keys: tuple[str, ...], wrong: Callable[..., BoolArray], what: str) -> None:
        if all(key in given for key in keys):
            columns = [given[key] for key in keys]
            for m in np.flatnonzero(wrong(*columns)):
                told = ", ".join(f"{key} {given[key][m]:g}" for key in keys)
                faults.append(Fault(f"{where}.{keys[0]}, {_NAMES[m]}", told, what))

    for key, (low, high) in ranges.items():
        check((key,), lambda x, a=low, b=high: (x < a) | (x > b), f"{low} to {high}")
    check(
        ("wet_days",),
        lambda days: (days < 0) | (days > np.ceil(DAYS_IN_MONTH)),
        "no fewer than 0 and no more than the month has",
    )
    check(
        ("rain_mm", "wet_days"), lambda rain, days: (rain > 0) & (days <= 0), "rain needs wet days"
    )
    check(
        ("rain_mm", "wet_days"),
        lambda rain, days: (days > 0) & (rain < WET_MM * days),
        f"a wet day brings at least {WET_MM} mm",
    )
    check(("tmin_c", "tmax_c"), lambda low, high: low >= high, "tmin_c below tmax_c")
    check(("dewpoint_c", "tmax_c"), lambda dew, high: dew > high, "dew point below tmax_c")
    if {"dewpoint_c", "relative_humidity_pct"} <= set(given):
        faults.append(
            Fault(f"{where}.relative_humidity_pct", "given beside dewpoint_c", "one of the two")
        )
    if faults:
        raise FaultyInput(faults)
    given["wet_days"] = np.minimum(given["wet_days"], DAYS_IN_MONTH)
    return given


def _is_number(value: Any) -> bool:
    number = isinstance(value, (int, float, np.integer, np.floating))
    return number and not isinstance(value, bool) and bool(np.isfinite(value))
