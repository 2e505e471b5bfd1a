"""Uncertainty of a climate: refits to resampled years of its record.

A generator fitted to thirty years knows the climate no better than thirty years allow, however many
years it simulates. Blocks of whole years are drawn from the record with replacement and the climate
is fitted to each such record (the bootstrap of Efron 1979, in blocks for the memory between years,
Künsch 1989, both from memory). The spread of results between these climates is the
uncertainty of the climate; it adds to the sampling error of the simulated years. Normals have no
years to draw: their assumptions are drawn within their ranges, and the normals within the sampling
error of the years behind them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, load_catalog
from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import (
    MONTH_OF_DAY,
    WET_MM,
    ClimateModel,
    FloatArray,
    calendar_day,
    possible_persistence,
    smooth_curve,
    years_of,
)
from drysward.weather.simulated.climate_fit import Known, fitted, years_from_first_day
from drysward.weather.simulated.generator import generate, rain_alone
from drysward.weather.simulated.normals import assumptions_drawn, from_monthly_table
from drysward.weather.simulated.streams import Purpose, stream

REFITS = 20
_USUAL_YEARS = 200  # years to estimate the normals of a climate
_MEASURED_YEARS = 200  # years of each climate for their differences
WARM_NORTH = (MONTH_OF_DAY >= 3) & (MONTH_OF_DAY <= 8)  # April to September
_WHOLE_DAYS = 360
_PLAIN_YEARS = 100  # the same random numbers in every refit: only their difference counts


@dataclass(frozen=True)
class FittedClimates:
    """The climate fitted to a record, and those fitted to its resampled years."""

    model: ClimateModel
    refits: tuple[ClimateModel, ...]


def fit_with_refits(
    record: DailyRecord,
    latitude_deg: float,
    elevation_m: float,
    number: int = REFITS,
    seed: int = 0,
) -> FittedClimates:
    """The climate of a record as ``climate_fit.fit``, and ``number`` refits.

    Refit i of a seed is the same whatever the number. FaultyInput as ``fit``.
    """
    model, likelihood = fitted(record, latitude_deg, elevation_m)
    places = _places_of_years(record)
    whole = np.flatnonzero((places >= 0).all(axis=1))
    found = []
    for i in range(number):
        drawn = whole[drawn_years(whole.size, stream(seed, Purpose.REFIT, i))]
        again = _of_years(record, places[drawn])
        known = Known(likelihood, drawn, model.slow_days, _PLAIN_YEARS)
        found.append(fitted(again, latitude_deg, elevation_m, known)[0])
    return FittedClimates(model, tuple(found))


def sets_of_simulated_years(
    climates: FittedClimates, n_years: int, seed: int, first_year: int = 2001, skip: int = 0
) -> list[DailyRecord]:
    """``n_years`` simulated years of every refit, as ``generate``, from the same random numbers.

    What differs between the sets is what the climates differ by, and hardly chance.
    """
    return [generate(model, n_years, seed, first_year, skip) for model in climates.refits]


def climate_error(answers: FloatArray, years: int) -> FloatArray:
    """Standard error of answers (...,) that the climate leaves, from those of refits (R, ...).

    ``years`` of the record: m blocks drawn from m differ by (m - 1)/m of what m blocks of a new
    record would, which is made up for here.
    """
    blocks = max(years / block_years(years), 2.0)
    return np.asarray(answers.std(axis=0, ddof=1) * np.sqrt(blocks / (blocks - 1)))


def block_years(years: int) -> int:
    """Years in a row that refits draw together: about the cube root of the record's."""
    return max(round(years ** (1 / 3)), 1)


def drawn_years(n: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """``n`` places of years, drawn in blocks of about the cube root of n years in a row.

    Blocks run over the end of the record into its beginning, so that every year is as likely.
    """
    length = block_years(n)
    starts = rng.integers(n, size=-(-n // length))
    return ((starts[:, None] + np.arange(length)) % n).ravel()[:n]


def _places_of_years(record: DailyRecord) -> NDArray[np.int64]:
    """(years, 366) places of the record's days, by year from its first day and calendar day.

    29 February of a common year, and a day or two that a year lacks, are those before them. A year
    with fewer than ``_WHOLE_DAYS`` is -1 throughout.
    """
    day = calendar_day(record.dates)
    years = years_from_first_day(record.dates.astype("datetime64[D]"))
    places = np.full((len(years), 366), -1)
    for row, inside in zip(places, years, strict=True):
        if inside.size >= _WHOLE_DAYS:
            row[(day[inside] - day[0]) % 366] = inside
            row[:] = np.maximum.accumulate(row)
    return places


def _of_years(record: DailyRecord, places: NDArray[np.int64]) -> DailyRecord:
    """The record with the days at ``places`` (years, 366) in a row, on new dates."""
    first = record.dates[:1].astype("datetime64[D]")
    month_day = str(first[0])[4:]
    start = np.datetime64(f"2000{month_day}")
    after = np.datetime64(f"{2000 + places.shape[0]}{month_day}".replace("-02-29", "-03-01"))
    dates = np.arange(start, after)
    day, begin = calendar_day(dates), int(calendar_day(first)[0])
    year = years_of(dates) - (day < begin) - 2000
    index = places[year, (day - begin) % 366]
    columns: dict[str, Any] = {name: values[index] for name, values in record.columns().items()}
    return replace(record, dates=dates, **columns)


def normals_with_refits(
    table: Mapping[str, Any],
    where: str = "climate",
    catalog: Catalog | None = None,
    number: int = REFITS,
    seed: int = 0,
) -> FittedClimates:
    """The climate of monthly normals as ``from_monthly_table``, and ``number`` plausible others.

    Each has assumptions drawn within their ranges, and different normals: the normals of as many
    simulated years as there are behind the stated ones (``normals_years``), relative to their
    expectation.
    FaultyInput as ``from_monthly_table``.
    """
    catalog = catalog or load_catalog()
    model = from_monthly_table(table, where, catalog)
    usual = month_normals(generate(model, _USUAL_YEARS, seed), model)
    found = []
    for i in range(number):
        rng = stream(seed, Purpose.REFIT, i)
        drawn = assumptions_drawn(catalog, rng)
        climate = from_monthly_table(table, where, drawn)
        years = max(round(model.years_behind), 2)
        seen = month_normals(generate(climate, years, int(rng.integers(2**31))), climate)
        found.append(_moved(from_monthly_table(table, where, drawn), seen, usual))
    return FittedClimates(model, tuple(found))


def month_normals(record: DailyRecord, model: ClimateModel) -> dict[str, FloatArray]:
    """(12,) wet share, rain of a wet day and means of the model's variables in a record."""
    month = MONTH_OF_DAY[calendar_day(record.dates)]
    wet = record.rain_mm >= WET_MM
    days, wet_days = np.bincount(month, minlength=12), np.bincount(month[wet], minlength=12)
    found = {
        "wet": wet_days / days,
        "rain": np.bincount(month, record.rain_mm, 12) / np.maximum(wet_days, 1),
    }
    for name, column in (("tmax_c", record.tmax_c), ("tmin_c", record.tmin_c)):
        found[name] = np.bincount(month, column, 12) / days
    return found


def _moved(
    model: ClimateModel, seen: dict[str, FloatArray], usual: dict[str, FloatArray]
) -> ClimateModel:
    """The model with its normals off by what those ``seen`` are off the usual ones."""
    share = np.where(usual["wet"] > 0, seen["wet"] / np.maximum(usual["wet"], 1e-9), 1.0)
    amount = np.where(seen["wet"] > 0, seen["rain"] / np.maximum(usual["rain"], 1e-9), 1.0)
    fraction = np.clip(model.wet_fraction * share, 0.0, 1.0)
    away = {name: smooth_curve(seen[name] - usual[name]) for name in ("tmax_c", "tmin_c")}
    dry, wet = model.mean_dry.copy(), model.mean_wet.copy()
    for i, name in enumerate(model.variables):
        for mean in (dry, wet):
            mean[i] += away.get(name, 0.0)
    return replace(
        model,
        wet_fraction=fraction,
        persistence=possible_persistence(fraction, model.persistence),
        rain_per_wet_day_mm=np.maximum(model.rain_per_wet_day_mm * amount, WET_MM),
        mean_dry=dry,
        mean_wet=wet,
    )


def climate_years(climates: FittedClimates) -> int:
    """Number of independent years with as much information on dry years as the climate.

    For each of five results about the rain of a half-year and its dry spells, n years whose
    sampling error, sd/sqrt(n), is the spread between refits; n by the mean of their 1/n. A model
    knows odds of dry years better than as many counted years do, and mean rain about as well.
    """
    usual_mm = float(_dry_measures(climates.model, 0.0)[:, 0].mean())
    own = _dry_measures(climates.model, usual_mm)
    means = np.array([_dry_measures(model, usual_mm).mean(axis=0) for model in climates.refits])
    error = climate_error(means, round(climates.model.years_behind))
    variance = own.var(axis=0, ddof=1)
    known = variance > 0
    if not known.any():
        return round(climates.model.years_behind)
    return max(round(1.0 / float(np.mean(error[known] ** 2 / variance[known]))), 2)


def _dry_measures(model: ClimateModel, usual_mm: float) -> FloatArray:
    """(years, 5) of the warmer half of simulated years, from April or, in the south, October.

    Rain (mm), longest dry spell (d), least rain of 30 days (mm), whether a dry spell has 15 days
    and whether the rain is below three quarters of ``usual_mm``.
    """
    rain = rain_alone(model, _MEASURED_YEARS)
    # The southern half-year runs over New Year: days are put in the order of its year.
    turned = rain if model.latitude_deg >= 0 else np.roll(rain, 183, axis=1)
    season = turned[:, WARM_NORTH]
    dry = season < 1.0
    spell = np.zeros(season.shape)
    for day in range(1, season.shape[1]):
        spell[:, day] = np.where(dry[:, day], spell[:, day - 1] + 1, 0)
    longest = spell.max(axis=1)
    total = np.cumsum(season, axis=1)
    least = (total[:, 30:] - total[:, :-30]).min(axis=1)
    of_season = season.sum(axis=1)
    dry_season = of_season < 0.75 * usual_mm
    return np.stack([of_season, longest, least, longest >= 15.0, dry_season], axis=1).astype(float)
