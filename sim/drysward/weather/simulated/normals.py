"""A climate model from a table of monthly normals, the rest from published relations."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from drysward.catalog import SCENARIO, Catalog, Entry, load_catalog
from drysward.faults import Fault, FaultyInput, nearest
from drysward.physics.reference_et import (
    solar_from_sunshine_mj_m2,
    vapor_pressure_from_rh_mean_kpa,
)
from drysward.weather.simulated.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    DARK_MJ_M2,
    DAYS_IN_MONTH,
    DEWPOINT_ABOVE_TMIN_C,
    LEAST_SEASON_C,
    MONTH_NAMES,
    MONTH_OF_DAY,
    RICHARDSON_M0,
    RICHARDSON_M1,
    ROOT_DEPRESSION,
    ROOT_WIND,
    TMAX,
    TMIN,
    WET_MM,
    BoolArray,
    ClimateModel,
    FloatArray,
    dewpoint_from_vapor_pressure_c,
    extraterrestrial_radiation,
    month_means,
    named_months,
    possible_persistence,
    smooth_curve,
    wetness_covariances,
    without_drift,
)

_REQUIRED = ("rain_mm", "wet_days", "tmax_c", "tmin_c")
_OPTIONAL = (
    "tmax_sd_c",
    "tmin_sd_c",
    "solar_mj_m2",
    "sunshine_h",
    "dewpoint_c",
    "relative_humidity_pct",
    "wind_m_s",
)
_MOST_WET_DAY_MM = 150.0  # estimate: the wettest months on earth bring some 100
_PLACE = ("latitude_deg", "elevation_m", "wind_height_m")


def means_of_normals(table: Mapping[str, Any]) -> dict[str, float]:
    """What a person knows of a place, from its monthly normals, as ``FileFacts.means``."""
    means = {"rain_mm": float(np.sum(table["rain_mm"])), "tmax_c": float(np.max(table["tmax_c"]))}
    if table.get("wind_m_s") is not None:
        means["wind_m_s"] = float(np.mean(table["wind_m_s"]))
    return means


def from_monthly_table(
    table: Mapping[str, Any], where: str = "climate", catalog: Catalog | None = None
) -> ClimateModel:
    """Climate from monthly normals, each twelve numbers, January first.

    Required: latitude_deg, elevation_m, rain_mm and wet_days (month totals), tmax_c, tmin_c.
    Optional: tmax_sd_c, tmin_sd_c (of single days), solar_mj_m2 or sunshine_h (hours a day),
    dewpoint_c or relative_humidity_pct, wind_m_s with wind_height_m. Variables without normals are
    not generated. The residuals follow Richardson 1981; other assumptions come from the catalog's
    ``generated_weather`` (the shipped one by default) and are listed in ``notes``.
    FaultyInput names key and month of whatever is missing, impossible or contradictory.
    """
    normals = _checked_table(table, where)
    assumed = (catalog or load_catalog()).get("generated_weather", "all")
    latitude_deg, elevation_m = float(table["latitude_deg"]), float(table["elevation_m"])
    notes = [
        "residual correlations of Tmax, Tmin and radiation: Richardson 1981, published",
        _assumption(assumed, "persistence of wet days", "wetness_persistence"),
        _assumption(assumed, "rain of lone wet days over the mean", "rain_ratio_lone_day"),
        _assumption(assumed, "rain inside wet spells over the mean", "rain_ratio_two_neighbors"),
        _assumption(assumed, "share of light amounts", "light_rain_share"),
        _assumption(assumed, "spread of years, sd of ln rain", "rain_annual_sd"),
        _assumption(assumed, "spread of seasons, sd of ln rain", "rain_season_sd"),
        _assumption(assumed, "part of that spread in wet days", "rain_wet_day_part"),
        _assumption(
            assumed, "seasonal drift of the other variables over the daily sd", "season_drift_sd"
        ),
        _assumption(assumed, "wet/dry regime, days in which it fades to 1/e", "regime_days"),
        _assumption(assumed, "wet regime over dry, log-odds of a wet day", "regime_contrast"),
        _assumption(assumed, "years that the normals rest on", "normals_years"),
        _assumption(
            assumed, "Tmax of wet days less that of dry days, degC", "wet_day_tmax_shift_c"
        ),
        "all assumptions: generated_weather in the catalog",
    ]

    fraction = normals["wet_days"] / DAYS_IN_MONTH
    rainy = normals["wet_days"] > 0
    per_wet_day = normals["rain_mm"] / np.where(rainy, normals["wet_days"], 1.0)
    rain_mm = np.where(rainy, per_wet_day, WET_MM)
    if not rainy.all():
        notes.append(f"no rain in {named_months(~rainy)}, in any year")

    wet = fraction[MONTH_OF_DAY]
    means, sds = {}, {}
    tmax, tmin = normals["tmax_c"], normals["tmin_c"]
    for name, mean, shift in ((TMAX, tmax, assumed["wet_day_tmax_shift_c"]), (TMIN, tmin, 0.0)):
        means[name] = _split(smooth_curve(mean), wet, shift)
        if (sd := normals.get(name.replace("_c", "_sd_c"))) is None:
            sd = _daily_sd_c((tmax + tmin) / 2)
            notes.append(f"sd of daily {name} from the annual range of temperature, estimate")
        sds[name] = np.maximum(smooth_curve(sd), 0.1)
    if np.ptp((tmax + tmin) / 2) < LEAST_SEASON_C:
        notes.append("temperature has almost no season: it varies by day and by drift only")

    dark = month_means(extraterrestrial_radiation(latitude_deg)[0]) < DARK_MJ_M2
    solar = normals.get("solar_mj_m2")
    if "sunshine_h" in normals:
        solar = _solar_of_sunshine(normals["sunshine_h"], latitude_deg)
        notes.append("radiation from sunshine hours: FAO-56 Eq 35 with 0.25 and 0.50, published")
    if solar is not None:
        curve, ratio = _clearness_curve(solar, latitude_deg), assumed["wet_day_clearness_ratio"]
        dry = curve / (1 - wet * (1 - ratio))  # mean = dry (1 - wet) + ratio dry wet
        means[CLEARNESS] = np.stack([dry, dry * ratio])
        sds[CLEARNESS] = np.full(366, assumed["clearness_sd"])
        wet_over_dry = "clearness of wet days over dry"
        notes.append(_assumption(assumed, wet_over_dry, "wet_day_clearness_ratio"))
        notes.append(_assumption(assumed, "clearness, sd of days", "clearness_sd"))
        if dark.any():
            notes.append(
                f"the sun hardly rises in {named_months(dark)}: radiation is close to 0 then"
            )
    if (dewpoint := _dewpoint_normals(normals)) is not None:
        depression = np.maximum(smooth_curve(tmin - dewpoint) + DEWPOINT_ABOVE_TMIN_C, 0.1)
        means[ROOT_DEPRESSION], sds[ROOT_DEPRESSION] = _root_normals(
            depression, assumed["root_depression_sd"]
        )
        depression_text = "root of Tmin + 3 C - dew point, sd"
        notes.append(_assumption(assumed, depression_text, "root_depression_sd"))
    if "wind_m_s" in normals:
        wind = np.maximum(smooth_curve(normals["wind_m_s"]), 0.05)
        means[ROOT_WIND], sds[ROOT_WIND] = _root_normals(wind, assumed["root_wind_sd"])
        notes.append(_assumption(assumed, "square root of wind, sd of days", "root_wind_sd"))

    m0, m1 = _default_correlations(tuple(means), assumed["other_lag1"])

    def by_variable(key: str) -> list[float]:
        known = (TMAX, TMIN, CLEARNESS)
        return [
            assumed[key.format(name.removesuffix("_c"))] if name in known else 0.0 for name in means
        ]

    dry_lag1 = np.zeros((4, len(means), len(means)))
    dry_lag1[:, 0, 0] = assumed["tmax_lag1_after_dry"]
    beside = [by_variable("{}_on_wet_before"), by_variable("{}_on_wet_after")]
    root = np.asarray(np.linalg.cholesky(m0), float)
    values, vectors = np.linalg.eigh(m0)
    symmetric_root = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    both_sds = np.stack(list(sds.values()))
    persistence = np.full(12, assumed["wetness_persistence"])
    model = ClimateModel(
        latitude_deg=latitude_deg,
        elevation_m=elevation_m,
        variables=tuple(means),
        wet_fraction=fraction,
        persistence=possible_persistence(fraction, persistence),
        rain_per_wet_day_mm=rain_mm,
        mean_dry=np.stack([pair[0] for pair in means.values()]),
        mean_wet=np.stack([pair[1] for pair in means.values()]),
        sd_dry=both_sds,
        sd_wet=both_sds,
        a=np.zeros_like(m0),
        b=np.eye(len(means)),
        annual_sd=assumed["rain_annual_sd"],
        annual_lag1=0.0,
        season_sd=np.full(4, assumed["rain_season_sd"]),
        wet_day_part=assumed["rain_wet_day_part"],
        drift_on_latent=np.tile(by_variable("drift_on_rain_{}"), (4, 1)),
        drift=np.tile(assumed["season_drift_sd"] * root, (4, 1, 1)),
        regime_days=assumed["regime_days"],
        regime_dry_share=assumed["regime_dry_share"],
        regime_contrast=np.full(4, assumed["regime_contrast"]),
        slow_days=assumed["weeks_drift_days"],
        slow=np.tile(assumed["weeks_drift_sd"] * symmetric_root, (12, 1, 1)),
        dryness_days=assumed["past_wetness_days"],
        residual_on_past=np.tile(by_variable("{}_on_past_wetness"), (4, 1)),
        residual_on_beside=np.tile(np.array(beside)[:, None], (1, 12, 1)),
        dry_lag1=dry_lag1,
        heat_lean=np.full(4, assumed["heat_lean"]),
        year_drift=assumed["year_drift_sd"] * root,
        year_drift_lag1=assumed["year_drift_lag1"],
        years_behind=assumed["normals_years"],
        second_day=assumed["second_day_weight"],
        amount_by_neighbors=np.array(
            [
                assumed["rain_ratio_lone_day"],
                assumed["rain_ratio_one_neighbor"],
                assumed["rain_ratio_two_neighbors"],
            ]
        ),
        light_share=np.full(12, assumed["light_rain_share"]),
        light_ratio=np.full(12, assumed["light_rain_ratio"]),
        wind_height_m=float(table["wind_height_m"]) if "wind_m_s" in normals else None,
        origin="monthly normals",
        notes=tuple(notes),
    )
    of_wet_days = wetness_covariances(model)
    return without_drift(m0 - of_wet_days[0], m1 - of_wet_days[1], model)


def assumptions_drawn(catalog: Catalog, rng: np.random.Generator) -> Catalog:
    """The catalog with the assumptions of normals drawn at random, each within its range.

    Triangular about its value. Numbers set by a scenario stay as they are, and so do the years
    behind normals.
    """
    drawn = {}
    for name, parameter in catalog.get("generated_weather", "all").numbers.items():
        low, high = parameter.low, parameter.high
        u = rng.random()  # always one each, so that a number set by the scenario moves no other
        if parameter.grade == SCENARIO or name == "normals_years" or not low < high:
            continue
        middle = (parameter.value - low) / (high - low)
        up = u < middle
        part = np.sqrt(u * middle) if up else 1 - np.sqrt((1 - u) * (1 - middle))
        drawn[f"generated_weather.all.{name}"] = float(low + part * (high - low))
    return catalog.with_overrides(drawn)


def _assumption(assumed: Entry, what: str, name: str) -> str:
    """One assumption as text, with its value and grade."""
    return f"{what}: {assumed[name]:g}, {assumed.parameter(name).grade}"


def _default_correlations(
    variables: tuple[str, ...], other_lag1: float
) -> tuple[FloatArray, FloatArray]:
    """M0 and M1 (k, k): Richardson's where he has them, uncorrelated among themselves elsewhere."""
    m0, m1 = np.eye(len(variables)), np.eye(len(variables)) * other_lag1
    known = [i for i, name in enumerate(variables) if name in (TMAX, TMIN, CLEARNESS)]
    m0[np.ix_(known, known)] = RICHARDSON_M0[: len(known), : len(known)]
    m1[np.ix_(known, known)] = RICHARDSON_M1[: len(known), : len(known)]
    return m0, m1


def _root_normals(mean: FloatArray, sd: float) -> tuple[FloatArray, FloatArray]:
    """Dry and wet means (2, 366) and sd (366,) of the root of a quantity of that mean.

    E[x] = mean^2 + sd^2 of the root; the sd is smaller where it would take most of E[x].
    """
    spread = np.minimum(sd, 0.7 * np.sqrt(mean))
    root = np.sqrt(mean - spread**2)
    return np.stack([root, root]), spread


def _solar_of_sunshine(sunshine_h: FloatArray, latitude_deg: float) -> FloatArray:
    """Monthly mean radiation (MJ/m2/d) from hours of sunshine a day (FAO-56 Eq 35)."""
    ra, day_length_h = extraterrestrial_radiation(latitude_deg)
    hours = np.minimum(sunshine_h[MONTH_OF_DAY], day_length_h)
    return month_means(
        np.asarray(solar_from_sunshine_mj_m2(hours, np.maximum(day_length_h, 0.1), ra))
    )


def _clearness_curve(solar_mj_m2: FloatArray, latitude_deg: float) -> FloatArray:
    """(366,) smooth clearness whose radiation averages to the twelve normals."""
    ra = extraterrestrial_radiation(latitude_deg)[0]
    light = month_means(ra)
    monthly = np.where(light > DARK_MJ_M2, solar_mj_m2 / np.maximum(light, DARK_MJ_M2), 0.5)
    for _ in range(10):  # Ra changes within a month, steeply near the polar night
        curve = np.clip(smooth_curve(monthly), *CLEARNESS_RANGE)
        found = month_means(curve * ra)
        missing = np.where(
            light > DARK_MJ_M2, (solar_mj_m2 - found) / np.maximum(light, DARK_MJ_M2), 0.0
        )
        monthly = np.clip(monthly + missing, *CLEARNESS_RANGE)
    return curve


def _split(mean: FloatArray, wet: FloatArray, shift: float) -> FloatArray:
    """(2, 366) dry and wet means that differ by ``shift`` and average to ``mean``."""
    return np.stack([mean - wet * shift, mean + (1 - wet) * shift])


def _daily_sd_c(mean_c: FloatArray) -> FloatArray:
    """Estimate of the day-to-day sd by month: grows with the annual range and in winter."""
    half_range = max((mean_c.max() - mean_c.min()) / 2, 0.5)
    return (1.3 + 0.24 * half_range) * (1 + 0.2 * (mean_c.mean() - mean_c) / half_range)


def _dewpoint_normals(normals: Mapping[str, FloatArray]) -> FloatArray | None:
    if "dewpoint_c" in normals:
        return normals["dewpoint_c"]
    if "relative_humidity_pct" not in normals:
        return None
    return dewpoint_from_vapor_pressure_c(
        np.asarray(
            vapor_pressure_from_rh_mean_kpa(
                normals["tmax_c"], normals["tmin_c"], normals["relative_humidity_pct"]
            )
        )
    )


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

    normals: dict[str, FloatArray] = {}
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
            normals[key] = np.array(values, dtype=float)

    ranges = {
        "rain_mm": (0, 5000),
        "tmax_c": (-80, 60),
        "tmin_c": (-90, 50),
        "tmax_sd_c": (0, 20),
        "tmin_sd_c": (0, 20),
        "solar_mj_m2": (0, 45),
        "sunshine_h": (0, 24),
        "dewpoint_c": (-90, 40),
        "relative_humidity_pct": (1, 100),
        "wind_m_s": (0, 60),
    }

    def check(keys: tuple[str, ...], wrong: Callable[..., BoolArray], what: str) -> None:
        if all(key in normals for key in keys):
            columns = [normals[key] for key in keys]
            for m in np.flatnonzero(wrong(*columns)):
                values_text = ", ".join(f"{key} {normals[key][m]:g}" for key in keys)
                faults.append(Fault(f"{where}.{keys[0]}, {MONTH_NAMES[m]}", values_text, what))

    for key, (low, high) in ranges.items():
        check((key,), lambda x, a=low, b=high: (x < a) | (x > b), f"{low} to {high}")
    check(
        ("wet_days",),
        lambda days: (days < 0) | (days > np.ceil(DAYS_IN_MONTH)),
        "0 to the number of days in the month",
    )
    check(
        ("rain_mm", "wet_days"),
        lambda rain, days: (rain > 0) & (days <= 0),
        "a month with rain needs wet days",
    )
    check(
        ("rain_mm", "wet_days"),
        lambda rain, days: (days > 0) & (rain < WET_MM * days),
        f"a wet day brings at least {WET_MM} mm",
    )
    check(
        ("rain_mm", "wet_days"),
        lambda rain, days: (days > 0) & (rain > _MOST_WET_DAY_MM * days),
        f"no place has more than {_MOST_WET_DAY_MM:g} mm a wet day in the mean of a month",
    )
    check(("tmin_c", "tmax_c"), lambda low, high: low >= high, "tmin_c below tmax_c")
    check(("dewpoint_c", "tmax_c"), lambda dew, high: dew > high, "dew point below tmax_c")
    check(
        ("dewpoint_c", "tmin_c"),
        lambda dew, low: dew > low + DEWPOINT_ABOVE_TMIN_C,
        f"dew point no more than {DEWPOINT_ABOVE_TMIN_C:g} C above tmin_c",
    )
    if not any(fault.where == f"{where}.latitude_deg" for fault in faults):
        latitude = float(table["latitude_deg"])
        ra, day_length_h = (month_means(x) for x in extraterrestrial_radiation(latitude))
        most = CLEARNESS_RANGE[1] * ra + 0.5  # twilight, and means rounded upwards
        check(
            ("solar_mj_m2",),
            lambda solar: solar > most,
            f"no more than a clear sky gives at latitude {latitude:g}",
        )
        check(
            ("sunshine_h",),
            lambda hours: hours > day_length_h + 0.1,
            f"no longer than the day at latitude {latitude:g}",
        )
    for one, other in (("dewpoint_c", "relative_humidity_pct"), ("solar_mj_m2", "sunshine_h")):
        if {one, other} <= set(normals):
            faults.append(Fault(f"{where}.{other}", f"conflicts with {one}", "keep one of them"))
    if faults:
        raise FaultyInput(faults)
    normals["wet_days"] = np.minimum(normals["wet_days"], DAYS_IN_MONTH)
    return normals


def _is_number(value: Any) -> bool:
    number = isinstance(value, (int, float, np.integer, np.floating))
    return number and not isinstance(value, bool) and bool(np.isfinite(value))
