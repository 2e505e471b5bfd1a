"""What a record leaves open of its climate: fits to the record's years drawn anew.

A generator fitted to thirty years knows the climate no better than thirty years can, however many
years it makes. Blocks of whole years are drawn from the record with replacement and the climate
is fitted to each such record (the bootstrap of Efron 1979, in blocks for the memory between years,
Künsch 1989, both from memory). How far answers differ between these climates is the climate's own
doubt; it belongs beside the sampling error of the made years. A climate known by normals has no
years to draw: what normals leave open is drawn within its range, and the normals themselves within
the sampling error of the years that they rest on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.weather.record import DailyRecord
from drysward.weather.simulated.climate import ClimateModel, FloatArray, calendar_day, years_of
from drysward.weather.simulated.climate_fit import Known, fitted, years_from_first_day
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.streams import Purpose, stream

REFITS = 20
_WHOLE_DAYS = 360
_PLAIN_YEARS = 100  # the same random numbers in every refit: only their difference counts


@dataclass(frozen=True)
class FittedClimates:
    """The climate fitted to a record, and those of the record's years drawn anew."""

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


def sets_of_made_years(
    climates: FittedClimates, n_years: int, seed: int, first_year: int = 2001, skip: int = 0
) -> list[DailyRecord]:
    """``n_years`` made years of every refit, as ``generate``, all from the same random numbers.

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
    """The record with the days at ``places`` (years, 366) in a row, on dates of their own."""
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
