"""Resampled records, and climates changed by monthly factors."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.physics.reference_et import vapor_pressure_from_dewpoint_kpa
from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import (
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
    dewpoint_from_vapor_pressure_c,
    extraterrestrial_radiation,
    is_leap,
    possible_persistence,
    years_of,
)
from drysward.weather.simulated.streams import Purpose, stream

PARTS = 5  # parts of a year, each possibly from another recorded year


def resample(
    record: DailyRecord,
    n_years: int,
    seed: int,
    method: Literal["years", "blocks"] = "years",
    first_year: int = 2001,
    skip: int = 0,
) -> DailyRecord:
    """Years drawn with replacement from a record: whole, or season by season.

    As in ``generate``, year i of a seed does not depend on the others requested, and the first
    one returned is ``first_year + skip``.

    ``years`` keeps each year whole. ``blocks`` draws January-February, the three seasons and
    December each from a separate year: new years, but less spread of annual totals. Only
    complete calendar years are drawn; 29 February, where a common year falls on a leap one,
    repeats 28 February. FaultyInput when the record has no complete year.
    """
    if n_years < 1 or skip < 0:
        raise ValueError("n_years is at least 1 and skip at least 0")
    if method not in ("years", "blocks"):
        raise ValueError(f"method is 'years' or 'blocks', not {method!r}")
    dates = record.dates.astype("datetime64[D]")
    years = years_of(dates)
    complete = record.complete_years()
    if not complete:
        what = "no complete calendar year to draw from"
        raise FaultyInput(Fault(record.name or "weather record", what, "January to December"))
    # (years, 366) index into the record
    place = np.empty((len(complete), 366), dtype=int)
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
        drawn = _drawn(seed, skip + i, len(complete))
        chosen[i] = place[drawn[block], np.arange(366)]
    kept = np.ones((n_years, 366), dtype=bool)
    kept[:, LEAP_DAY] = is_leap(first_year + skip + np.arange(n_years))
    index = chosen[kept]
    start, stop = (np.datetime64(f"{first_year + skip + n:04d}", "D") for n in (0, n_years))
    columns: dict[str, Any] = {name: values[index] for name, values in record.columns().items()}
    return replace(record, dates=np.arange(start, stop), **columns)


def drawn_years(
    record: DailyRecord, n_years: int, seed: int, method: Literal["years", "blocks"] = "years"
) -> list[list[int]]:
    """The recorded years that each of ``n_years`` of ``resample`` repeats, in the order of its
    days: one, or those of January-February, the three seasons and December.
    """
    complete = record.complete_years()
    parts = 1 if method == "years" else PARTS
    drawn = [_drawn(seed, i, len(complete))[:parts] for i in range(n_years)]
    return [[complete[place] for place in places] for places in drawn]


def _drawn(seed: int, year: int, n_complete: int) -> NDArray[np.int64]:
    """Places of the recorded years that year ``year`` of a seed is drawn from, one a part."""
    return stream(seed, Purpose.RESAMPLE, year).integers(n_complete, size=PARTS)


@dataclass(frozen=True)
class ChangeFactors:
    """Monthly factors (12,) of a changed climate; the defaults change nothing."""

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


def change(
    climate: Climate, factors: ChangeFactors, seed: int = 0, latitude_deg: float | None = None
) -> Climate:
    """A model or a record changed by monthly factors.

    Temperature shifts Tmax, Tmin and dew point alike (relative humidity nearly kept). Rain per
    wet day and the number of wet days are scaled separately: a month's total by their product.
    On a record wet days are dried, or dry days wetted with the rain of a wet day of that month,
    by seeded choice, and what else those days had stays; a model's drier month is also clearer and
    a little warmer. Radiation stays below what a clear sky lets through, for which a record
    needs the latitude. FaultyInput when a record lacks it, when radiation is to change and there
    is neither radiation nor sunshine, or when the record gives reference ET, which would not
    follow.
    """
    if isinstance(climate, DailyRecord):
        return cast(Climate, _change_record(climate, factors, seed, latitude_deg))
    return cast(Climate, _change_model(climate, factors))


_NO_RADIATION = Fault(
    "change.radiation_x", "there is neither radiation nor sunshine to change", "leave it out"
)


def _change_model(model: ClimateModel, factors: ChangeFactors) -> ClimateModel:
    if (factors.radiation_x != 1).any() and CLEARNESS not in model.variables:
        raise FaultyInput(_NO_RADIATION)
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


def _change_record(
    record: DailyRecord, factors: ChangeFactors, seed: int, latitude_deg: float | None
) -> DailyRecord:
    brighter = (factors.radiation_x > 1).any() and record.solar_mj_m2 is not None
    sunnier = (factors.radiation_x != 1).any() and record.sunshine_h is not None
    faults = []
    if (factors.radiation_x != 1).any() and record.solar_mj_m2 is record.sunshine_h is None:
        faults.append(_NO_RADIATION)
    if (brighter or sunnier) and latitude_deg is None:
        faults.append(Fault("change.radiation_x", "the record needs latitude_deg", "-90 to 90"))
    moved = (factors.temperature_add_c != 0).any() or (factors.radiation_x != 1).any()
    if moved and record.reference_et_mm is not None:
        what = "would not move the reference ET that the record gives"
        faults.append(Fault("change", what, "leave that column out"))
    if faults:
        raise FaultyInput(faults)

    day = calendar_day(record.dates)
    month = MONTH_OF_DAY[day]
    add_c, radiation_x = factors.temperature_add_c[month], factors.radiation_x[month]
    rain = _change_wet_days(record, factors.wet_days_x, month, day, seed)
    changed: dict[str, Any] = {
        "rain_mm": rain * factors.rain_amount_x[month],
        "tmax_c": record.tmax_c + add_c,
        "tmin_c": record.tmin_c + add_c,
    }
    if record.dewpoint_c is not None:
        changed["dewpoint_c"] = record.dewpoint_c + add_c
    if record.vapor_pressure_kpa is not None:
        positive = np.where(record.vapor_pressure_kpa > 0, record.vapor_pressure_kpa, np.nan)
        shifted = vapor_pressure_from_dewpoint_kpa(
            dewpoint_from_vapor_pressure_c(positive) + add_c
        )
        changed["vapor_pressure_kpa"] = shifted
    if record.solar_mj_m2 is not None:
        solar = record.solar_mj_m2 * radiation_x
        if latitude_deg is not None:
            clear = CLEARNESS_RANGE[1] * extraterrestrial_radiation(latitude_deg)[0][day]
            solar = np.minimum(solar, np.maximum(clear, record.solar_mj_m2))
        changed["solar_mj_m2"] = solar
    if record.sunshine_h is not None and latitude_deg is not None:
        hours = extraterrestrial_radiation(latitude_deg)[1][day]
        # Rs = (0.25 + 0.50 n/N) Ra, FAO-56 Eq 35, solved for n
        sunshine = (0.5 * hours + record.sunshine_h) * radiation_x - 0.5 * hours
        changed["sunshine_h"] = np.clip(sunshine, 0.0, np.maximum(hours, record.sunshine_h))
    return replace(record, **changed)


def _change_wet_days(
    record: DailyRecord,
    wet_days_x: FloatArray,
    month: NDArray[np.int64],
    day: NDArray[np.int64],
    seed: int,
) -> FloatArray:
    """Rain (n,) with wet days turned dry or dry ones wet, by the change in the share of each month.

    Each day has random numbers keyed by year and calendar day; the days with the lowest turn.
    """
    years = years_of(record.dates)
    chance = np.empty((2, years.size))
    for year in np.unique(years):
        inside = years == year
        chance[:, inside] = stream(seed, Purpose.CHANGE, int(year)).random((2, 366))[:, day[inside]]
    rain = record.rain_mm.copy()
    for m in range(12):
        wet = np.flatnonzero((month == m) & (record.rain_mm >= WET_MM))
        dry = np.flatnonzero((month == m) & (record.rain_mm < WET_MM))
        turned = round(wet.size * (wet_days_x[m] - 1))
        if turned < 0:
            rain[wet[np.argsort(chance[0, wet])[:-turned]]] = 0.0
        elif turned > 0:
            more = dry[np.argsort(chance[0, dry])[:turned]]
            rain[more] = record.rain_mm[wet[(chance[1, more] * wet.size).astype(int)]]
    return rain
