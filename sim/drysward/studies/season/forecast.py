"""A short weather forecast from a file, and ways on that begin with it.

The file is CSV with a row a day from today on, ten at most::

    date,rain_mm,rain_chance_pct,tmax_c,tmin_c
    2026-07-01,0.5,20,31,19

Rain is the mean that the day may expect, dry cases included; ``rain_in``, ``tmax_f`` and
``tmin_f`` are read as well. ``temp_error_c`` or ``temp_error_f`` may state the standard deviation
of the error of highs and lows; without it the catalog has one by day ahead.

A forecast is worth less each day ahead. Temperature is regressed to the climate of the date by the
correlation of its day ahead, with the departure of each way as its error (anomaly regression;
textbooks, from memory). Rain is drawn by rank: the wettest way of a day
receives the wettest of the day's distribution, so that wet days stay beside wet days and cool days
beside wet ones (Clark and others 2004, J. Hydrometeorology 5:243; from memory). Humidity, wind and
radiation stay those of the way.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.catalog import Catalog
from drysward.faults import Fault, FaultyInput, path_text, quoted
from drysward.inputs import file_bytes
from drysward.studies.season.ways import Way
from drysward.weather.file.columns import DATE, Column, by_header, quantity_of, to_base
from drysward.weather.file.text import decoded, plain_number
from drysward.weather.record import REQUIRED, DailyRecord
from drysward.weather.simulated.climate import WET_MM, calendar_day

FloatArray = NDArray[np.float64]

MOST_DAYS = 10
MOST_BYTES = 100_000
CHANCE = "rain_chance_pct"
QUANTITIES = ("rain", "tmax", "tmin")
ERROR = "temp_error"
_ERROR_UNITS = {f"{ERROR}_c": 1.0, f"{ERROR}_f": 5.0 / 9.0}
MOST_ERROR_C = 20.0
HEADERS = (
    f"date, rain_mm or rain_in, {CHANCE}, tmax_c or tmax_f, tmin_c or tmin_f, "
    f"and {ERROR}_c or {ERROR}_f if stated"
)

# The climate of a date is that of the days around it in all years: a month of them (own choice).
HALF_WINDOW_DAYS = 15
LEAST_CORRELATION = 0.05  # below it a forecast says nothing (own choice)
TIES = 41_243  # separates these draws from others of the same day


@dataclass(frozen=True, eq=False)
class Forecast:
    """Weather forecast for ``dates`` (n,), consecutive days; arrays (n,).

    ``rain_mm`` is the mean, dry cases included, and ``rain_chance`` (0..1) the chance of any.
    ``error_c`` is the standard deviation of the error of highs and lows, NaN where it is not
    stated; None where it is on no day.
    """

    dates: NDArray[np.datetime64]
    rain_mm: FloatArray
    rain_chance: FloatArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    name: str = "forecast"
    error_c: FloatArray | None = None


@dataclass(frozen=True, eq=False)
class ForecastSkill:
    """How far a forecast is followed by day ahead, from 0 (not at all) to 1.

    ``temperature``: correlation with what comes; ``rain``: share of the forecast in chance and
    mean; both (MOST_DAYS,). ``spread``: standard deviation of the climate over that of forecasts.
    ``persistence``: what each day after the last forecast keeps of it.
    """

    temperature: FloatArray
    rain: FloatArray
    spread: float = 1.0
    persistence: float = 0.0


def forecast_skill(catalog: Catalog) -> ForecastSkill:
    """The skill of forecasts in the catalog, or as a scenario overrides it."""
    days = [catalog.get("forecasts", f"day_{day:02d}") for day in range(1, MOST_DAYS + 1)]
    every = catalog.get("forecasts", "all")
    return ForecastSkill(
        np.array([day["forecast_correlation"] for day in days]),
        np.array([day["forecast_rain_weight"] for day in days]),
        every["forecast_spread"],
        every["forecast_persistence"],
    )


# ---------------------------------------------------------------- the file


def read_forecast(path: Path, today: np.datetime64) -> Forecast:
    """The forecast of a file for the days from ``today`` on.

    FaultyInput with every fault: file, line and column, and what is allowed.
    """
    where = path_text(path)
    text = decoded(where, file_bytes(path, MOST_BYTES, "a forecast file (.csv)"))
    reader = csv.reader(io.StringIO(text.rstrip("\r\n")), strict=True)
    try:
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        spot = f"{where} line {reader.line_num}"
        raise FaultyInput(Fault(spot, f"is not CSV ({error})")) from None
    if not rows:
        raise FaultyInput(Fault(where, "is empty", f"a header ({HEADERS}) and a row a day"))
    top = [name.strip() for name in rows[0][1]]
    columns = _columns(f"{where} line {rows[0][0]}", top)
    days, faults = rows[1:], []
    if not 1 <= len(days) <= MOST_DAYS:
        what = f"has {len(days)} rows" if days else "has a header and no rows"
        faults.append(Fault(where, what, f"a row a day from today, {today}; {MOST_DAYS} at most"))
    stated = (ERROR,) if ERROR in columns else ()
    values: dict[str, list[float]] = {name: [] for name in (CHANCE, *QUANTITIES, *stated)}
    for i, (line, row) in enumerate(days):
        spot = f"{where} line {line}"
        if len(row) != len(top):
            what = f"{len(row)} cells under a header of {len(top)}" if row else "is empty"
            faults.append(Fault(spot, what, "a cell per column"))
            continue
        cells = {name: row[top.index(column.name)].strip() for name, column in columns.items()}
        if cells[DATE] != str(today + i):
            what = f"{quoted(cells[DATE])} is not the next day"
            allowed = f"{today + i}: a row a day from today, {today}, in order"
            faults.append(Fault(f"{spot}, column {quoted(columns[DATE].name)}", what, allowed))
        for name, found in values.items():
            try:
                found.append(_number(cells[name], columns[name]))
            except ValueError as error:
                what, _, allowed = str(error).partition("; ")
                column = quoted(columns[name].name)
                faults.append(Fault(f"{spot}, column {column}", what, allowed))
                found.append(np.nan)
        faults += _day_faults(spot, columns, {name: found[-1] for name, found in values.items()})
    if faults:
        raise FaultyInput(faults)
    array = {name: np.array(found) for name, found in values.items()}
    return Forecast(
        today + np.arange(len(days)), array["rain"], array[CHANCE] / 100.0, array["tmax"],
        array["tmin"], path.stem, array.get(ERROR),
    )  # fmt: skip


def _columns(top: str, header: Sequence[str]) -> dict[str, Column]:
    """The columns of a header by quantity; FaultyInput unless each is there once, and an error
    once at most.
    """
    if len(header) == 1 and ";" in header[0]:
        allowed = "commas between cells, and points in numbers"
        raise FaultyInput(Fault(top, "has semicolons between its columns", allowed))
    found: dict[str, list[Column]] = {name: [] for name in (DATE, CHANCE, *QUANTITIES)}
    faults = []
    for name in header:
        column = Column(CHANCE, CHANCE, "%") if name == CHANCE else by_header(name)
        if name in _ERROR_UNITS:
            column = Column(name, ERROR, "")
            found.setdefault(ERROR, [])
        if column is None or column.quantity not in found:
            what = f"column {quoted(name)} is not one of a forecast"
            faults.append(Fault(top, what, f"the columns are {HEADERS}"))
        else:
            found[column.quantity].append(column)
    for quantity, columns in found.items():
        names = " and ".join(quoted(column.name) for column in columns)
        if len(columns) != 1:
            shown = quantity.removesuffix("_pct")
            what = f"two columns for {shown}: {names}" if columns else f"no column for {shown}"
            faults.append(Fault(top, what, f"the columns are {HEADERS}"))
    if faults:
        raise FaultyInput(faults)
    return {quantity: columns[0] for quantity, columns in found.items()}


def _number(cell: str, column: Column) -> float:
    """A cell in the base unit; ValueError with what is wrong and what is allowed."""
    if column.quantity == ERROR:
        return _error_c(cell, _ERROR_UNITS[column.name])
    facts = None if column.quantity == CHANCE else quantity_of(column.quantity)
    low, high, unit = (facts.low, facts.high, facts.shown) if facts else (0.0, 100.0, "%")
    allowed = f"{low:g} to {high:g}{'' if unit == '%' else ' '}{unit}"
    try:
        value = float(cell)
        if not cell.isascii() or "_" in cell or not np.isfinite(value):
            raise ValueError
    except ValueError:
        shown = f"{quoted(cell)} is not a number" if cell else "is blank"
        raise ValueError(f"{shown}; {allowed}") from None
    if facts:
        value = float(to_base(np.array([value]), column)[0])
    if not low <= value <= high:
        raise ValueError(f"{cell} is out of range; {allowed}")
    return value


def _error_c(cell: str, per: float) -> float:
    """A stated error (degC), NaN where a day has none; ValueError as ``_number``."""
    if not cell:
        return np.nan
    error = plain_number(cell)
    if not 0.0 < error * per <= MOST_ERROR_C:
        raise ValueError(f"{cell} is out of range; above 0, to {MOST_ERROR_C / per:g}")
    return error * per


def _day_faults(
    spot: str, columns: Mapping[str, Column], day: Mapping[str, float]
) -> list[Fault]:
    """Faults of the numbers of a day beside one another."""
    faults = []
    if day["tmin"] > day["tmax"]:
        where = f"{spot}, column {quoted(columns['tmin'].name)}"
        faults.append(Fault(where, "tmin is above tmax", "tmin at most tmax"))
    if day[CHANCE] == 0.0 and day["rain"] > 0.0:
        where = f"{spot}, column {quoted(CHANCE)}"
        faults.append(Fault(where, "no chance of the rain in its row", "above 0%, or no rain"))
    return faults


# ---------------------------------------------------------------- the climate of the date


@dataclass(frozen=True, eq=False)
class DateClimate:
    """Climate of n dates in a record: means of rain (mm), Tmax and Tmin (C) and the chance of rain,
    (n,), and the amounts of wet days around each date, in order (mm).
    """

    rain_mm: FloatArray
    rain_chance: FloatArray
    tmax_c: FloatArray
    tmin_c: FloatArray
    amounts_mm: tuple[FloatArray, ...]


def date_climate(record: DailyRecord, dates: NDArray[np.datetime64]) -> DateClimate:
    """The climate of ``dates`` (n,) from the days of all years within HALF_WINDOW_DAYS of them."""
    there = calendar_day(record.dates)
    means = np.empty((4, dates.size))
    amounts = []
    for i, day in enumerate(calendar_day(dates)):
        apart = np.abs(there - day)
        near = np.minimum(apart, 366 - apart) <= HALF_WINDOW_DAYS
        rain = np.where(record.rain_mm[near] >= WET_MM, record.rain_mm[near], 0.0)
        amounts.append(np.sort(rain[rain > 0.0]))
        tmax, tmin = record.tmax_c[near], record.tmin_c[near]
        means[:, i] = [values.mean() for values in (rain, rain > 0.0, tmax, tmin)]
    rain_mm, rain_chance, tmax_c, tmin_c = means
    return DateClimate(rain_mm, rain_chance, tmax_c, tmin_c, tuple(amounts))


# ---------------------------------------------------------------- ways with a forecast


def shrunk(
    values: ArrayLike,
    forecast: ArrayLike,
    climate: ArrayLike,
    correlation: ArrayLike,
    spread: ArrayLike = 1.0,
) -> FloatArray:
    """Values (W, ...) of ways moved to a forecast: c + r s (f - c) + sqrt(1 - r^2) (x - c).

    Their mean is the forecast regressed to the climate, their spread its error. ``spread`` s is the
    standard deviation of the climate over that of forecasts. At r = 0 the values are unchanged.
    """
    x, f, c, r, s = (
        np.asarray(one, float) for one in (values, forecast, climate, correlation, spread)
    )
    led = c + r * s * (f - c) + np.sqrt(1.0 - r * r) * (x - c)
    return np.where(r == 0.0, x, led)


def rank_matched(ordered: ArrayLike, order: NDArray[np.int64]) -> FloatArray:
    """Values (W,) from the least to the largest, put where the ways of that ``order`` stand."""
    out = np.empty(order.size)
    out[order] = np.asarray(ordered, float)
    return out


def rain_quantiles(
    up_to: FloatArray, chance: float, mean_mm: float, amounts_mm: FloatArray, weights: FloatArray
) -> FloatArray:
    """Rain (W,), mm, at the shares ``up_to`` (W,) of a day's distribution, of ways so likely.

    Dry with 1 - ``chance``; else the wet days' ``amounts_mm``, in order, scaled so that the mean of
    the ways is ``mean_mm``.
    """
    wet = up_to > 1.0 - chance
    rain = np.zeros(up_to.size)
    if wet.any():
        place = np.clip((up_to[wet] - (1.0 - chance)) / chance, 0.0, 1.0)
        known = amounts_mm if amounts_mm.size else np.ones(1)
        rain[wet] = np.quantile(known, place, method="hazen")
        rain *= mean_mm / (weights @ rain)
    return rain


def ways_with_forecast(
    ways: Sequence[Way],
    forecast: Forecast,
    record: DailyRecord,
    skill: ForecastSkill,
    weights: FloatArray | None = None,
) -> list[Way]:
    """The ways with rain and temperature led by a forecast of their first days.

    Parameters
    ----------
    ways : on the same days, from the first day of the forecast on.
    record : the weather that the climate of the dates is taken from.
    weights : how likely each way is (W,), all alike when None.

    Where the forecast states its error, that takes the place of the skill of temperature.
    Days on which the skill is 0 are those of the way, to the bit. After the last day of the
    forecast its temperature fades with ``skill.persistence``; rain and all else are the way's.
    ValueError when the forecast does not begin with the ways.
    """
    dates = ways[0].days.dates
    n = min(forecast.dates.size, dates.size)
    if n == 0 or n > MOST_DAYS or (forecast.dates[:n] != dates[:n]).any():
        raise ValueError(f"a forecast of up to {MOST_DAYS} days from {dates[0]} on")
    correlation = skill.temperature[:n]
    while correlation.size < dates.size and correlation[-1] * skill.persistence > LEAST_CORRELATION:
        correlation = np.append(correlation, correlation[-1] * skill.persistence)
    led = correlation.size
    climate = date_climate(record, dates[:led])
    columns = {
        name: np.stack([getattr(way.days, name) for way in ways]) for name in REQUIRED
    }  # (W, T)
    own_rain = columns["rain_mm"].copy()
    error_c = np.full(n, np.nan) if forecast.error_c is None else forecast.error_c
    for name in ("tmax_c", "tmin_c"):
        usual = getattr(climate, name)
        departure = getattr(forecast, name)[:n] - usual[:n]
        # The last departure leads the days after the forecast, by a smaller correlation.
        expected = usual + departure[np.minimum(np.arange(led), n - 1)]
        followed, spread = correlation.copy(), np.full(led, skill.spread)
        for day in np.flatnonzero(np.isfinite(error_c[:n])).tolist():
            # An error apart from the climate: weights are by the inverse of the variances.
            own = columns[name][:, day].std()
            r = own / np.hypot(own, error_c[day])
            if day == n - 1:  # leads the days after the forecast as well
                followed[n:] *= r / max(correlation[day], LEAST_CORRELATION)
                spread[n:] = r
            followed[day] = spread[day] = r
        columns[name][:, :led] = shrunk(
            columns[name][:, :led], expected, usual, followed, spread
        )
    columns["tmin_c"] = np.minimum(columns["tmin_c"], columns["tmax_c"])
    w = np.full(len(ways), 1.0 / len(ways)) if weights is None else weights / weights.sum()
    for day, part in enumerate(skill.rain[:n]):
        if part == 0.0:
            continue
        chance, mean_mm = (
            float(usual[day] + part * (stated[day] - usual[day]))
            for usual, stated in (
                (climate.rain_chance, forecast.rain_chance), (climate.rain_mm, forecast.rain_mm),
            )
        )  # fmt: skip
        order = _by_rain(own_rain, day, dates[day])
        up_to = np.cumsum(w[order]) - 0.5 * w[order]
        rain = rain_quantiles(up_to, chance, mean_mm, climate.amounts_mm[day], w[order])
        columns["rain_mm"][:, day] = rank_matched(rain, order)
    return [
        replace(way, days=replace(way.days, **{name: one[i] for name, one in columns.items()}))
        for i, way in enumerate(ways)
    ]


def _by_rain(rain_mm: FloatArray, day: int, date: np.datetime64) -> NDArray[np.int64]:
    """Ways (W,) from the driest to the wettest on a day, of rain (W, T).

    Dry ways stand by the rain of the days beside, then by chance, so that a year which begins the
    list is not the wetter one on every day.
    """
    beside = rain_mm[:, max(day - 1, 0) : day + 2].sum(axis=1)
    chance = np.random.default_rng([TIES, int(date.astype(int))]).permutation(len(rain_mm))
    return np.lexsort((chance, beside, rain_mm[:, day]))
