"""Records drawn anew from a record, and climates moved by month factors."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeVar, cast

import numpy as np

from drysward.faults import Fault, FaultyInput
from drysward.weather.climate import (
    CLEARNESS,
    CLEARNESS_RANGE,
    LEAP_DAY,
    MONTH_OF_DAY,
    TMAX,
    TMIN,
    WET_MM,
    ClimateModel,
    FloatArray,
    calendar_day,
    is_leap,
    possible_persistence,
    years_of,
)
from drysward.weather.record import DailyRecord
from drysward.weather.streams import Purpose, stream


def _columns(record: DailyRecord) -> dict[str, FloatArray]:
    """The record's daily arrays by name, dates left out."""
    found = {}
    for name, values in vars(record).items():
        if (
            name != "dates"
            and isinstance(values, np.ndarray)
            and values.shape == record.dates.shape
        ):
            found[name] = values
    return found


def resample(
    record: DailyRecord,
    n_years: int,
    seed: int,
    method: Literal["years", "blocks"] = "years",
    first_year: int = 2001,
) -> DailyRecord:
    """Years drawn with replacement from a record: whole, or season by season.

    ``years`` keeps each year whole. ``blocks`` draws January-February, the three seasons and
    December each from a year of its own: new years, but less spread of annual totals. Only
    complete calendar years are drawn; 29 February, where a common year falls on a leap one,
    repeats 28 February. FaultyInput when the record has no complete year.
    """
    if n_years < 1:
        raise ValueError("n_years is at least 1")
    if method not in ("years", "blocks"):
        raise ValueError(f"method is 'years' or 'blocks', not {method!r}")
    dates = record.dates.astype("datetime64[D]")
    years = years_of(dates)
    found, counts = np.unique(years, return_counts=True)
    complete = found[counts == 365 + is_leap(found)]
    if not complete.size:
        raise FaultyInput(
            Fault("weather record", "no complete calendar year to draw from", "January to December")
        )
    # (years, 366) index into the record
    place = np.empty((complete.size, 366), dtype=int)
    for row, year in zip(place, complete, strict=True):
        days = np.flatnonzero(years == year)
        row[calendar_day(dates[days])] = days
        if days.size == 365:
            row[LEAP_DAY] = row[LEAP_DAY - 1]

    block = np.zeros(366, dtype=int)
    if method == "blocks":
        block = np.searchsorted([2, 5, 8, 11], MONTH_OF_DAY, side="right")
    chosen = np.empty((n_years, 366), dtype=int)
    for i in range(n_years):
        drawn = stream(seed, Purpose.RESAMPLE, i).integers(complete.size, size=5)
        chosen[i] = place[drawn[block], np.arange(366)]
    kept = np.ones((n_years, 366), dtype=bool)
    kept[:, LEAP_DAY] = is_leap(first_year + np.arange(n_years))
    index = chosen[kept]
    start, stop = (np.datetime64(f"{first_year + n:04d}", "D") for n in (0, n_years))
    columns: dict[str, Any] = {name: values[index] for name, values in _columns(record).items()}
    return replace(record, dates=np.arange(start, stop), **columns)


@dataclass(frozen=True)
class ChangeFactors:
    """Month factors (12,) of a changed climate; the defaults change nothing."""

    temperature_add_c: FloatArray = field(default_factory=lambda: np.zeros(12))
    rain_amount_x: FloatArray = field(default_factory=lambda: np.ones(12))  # per wet day
    wet_days_x: FloatArray = field(default_factory=lambda: np.ones(12))
    radiation_x: FloatArray = field(default_factory=lambda: np.ones(12))

    def __post_init__(self) -> None:
        faults = []
        for name, values in vars(self).items():
            array = np.broadcast_to(np.asarray(values, dtype=float), (12,))
            object.__setattr__(self, name, array)
            if not np.isfinite(array).all() or (name.endswith("_x") and (array < 0).any()):
                faults.append(Fault(f"change.{name}", f"is {values!r}", "finite; factors >= 0"))
        if faults:
            raise FaultyInput(faults)


Climate = TypeVar("Climate", ClimateModel, DailyRecord)


def change(climate: Climate, factors: ChangeFactors, seed: int = 0) -> Climate:
    """A model or a record moved by month factors.

    Temperature shifts Tmax, Tmin and dew point alike (relative humidity nearly kept). Rain per
    wet day and the number of wet days are scaled separately: a month's total by their product.
    On a record wet days are dried, or dry days wetted with the rain of a wet day of that month,
    by seeded choice. A model's clearness stays within its bounds; a record's is not checked.
    """
    if isinstance(climate, DailyRecord):
        return cast(Climate, _change_record(climate, factors, seed))
    return cast(Climate, _change_model(climate, factors))


def _change_model(model: ClimateModel, factors: ChangeFactors) -> ClimateModel:
    fraction = np.minimum(model.wet_fraction * factors.wet_days_x, 1.0)
    dry, wet = model.mean_dry.copy(), model.mean_wet.copy()
    for i, name in enumerate(model.variables):
        for means in (dry, wet):
            if name in (TMAX, TMIN):
                means[i] += factors.temperature_add_c[MONTH_OF_DAY]
            elif name == CLEARNESS:
                means[i] = np.clip(means[i] * factors.radiation_x[MONTH_OF_DAY], *CLEARNESS_RANGE)
    return replace(
        model,
        wet_fraction=fraction,
        persistence=possible_persistence(fraction, model.persistence),
        rain_per_wet_day_mm=model.rain_per_wet_day_mm * factors.rain_amount_x,
        mean_dry=dry,
        mean_wet=wet,
        origin=f"{model.origin}, changed",
    )


def _change_record(record: DailyRecord, factors: ChangeFactors, seed: int) -> DailyRecord:
    day = calendar_day(record.dates)
    month = MONTH_OF_DAY[day]
    rain = record.rain_mm.copy()
    rng = stream(seed, Purpose.CHANGE)
    for m in range(12):
        wet = np.flatnonzero((month == m) & (record.rain_mm >= WET_MM))
        dry = np.flatnonzero((month == m) & (record.rain_mm < WET_MM))
        turned = round(wet.size * (factors.wet_days_x[m] - 1))
        if turned < 0:
            rain[rng.choice(wet, -turned, replace=False)] = 0.0
        elif turned > 0:
            more = rng.choice(dry, min(turned, dry.size), replace=False)
            rain[more] = rng.choice(record.rain_mm[wet], more.size)
    changed = {"rain_mm": rain * factors.rain_amount_x[month]}
    columns = _columns(record)
    for name in ("tmax_c", "tmin_c", "dewpoint_c"):
        if name in columns:
            changed[name] = columns[name] + factors.temperature_add_c[month]
    if "solar_mj_m2" in columns:
        changed["solar_mj_m2"] = columns["solar_mj_m2"] * factors.radiation_x[month]
    return replace(record, **changed)
