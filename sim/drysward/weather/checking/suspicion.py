"""Suspicious daily weather: values that may be true, but that a person should check.

Every threshold is an estimate, set so that good records of 1 to 30 years have few findings.
The functions take a table that has every day; unknown values are NaN.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drysward.physics import reference_et as fao
from drysward.weather.checking.plausibility import findings
from drysward.weather.file.columns import QUANTITIES
from drysward.weather.file.table import BoolArray, Table, check_values, rows_of
from drysward.weather.record import FloatArray

# All estimates.
NORMAL_SD = 5.0  # standard deviations from the normal of the calendar day
LEAST_DAYS_FOR_NORMAL = 330  # days of the year needed, so that a normal is not extrapolated
LEAST_REPEATS = 5  # days in a row with one value
REPEATS_BY_CHANCE = 0.01  # expected number of runs of this length in the whole record
LEAST_REPEATED_RAIN_MM = 2.0  # smaller amounts repeat by chance
RAIN_OVER_P95 = 7.0  # times the 95% quantile of the days with rain
LEAST_WET_DAYS = 30  # for a quantile or a share of the days with rain
ROUND_SHARE = 0.5  # of the days with rain; 0.2 is natural where whole mm are noted
USUAL_MONTH_MM = 25.0  # median of the other years above which a month without rain is odd
DRIEST_MONTH_MM = 5.0  # and the driest of them
LEAST_OTHER_YEARS = 4
SOLAR_OVER_CLEAR = 1.15  # the clear-sky curve itself is a few per cent off
SOLAR_ROOM_MJ_M2 = 0.5
CALM_DAYS = 3  # a daily mean wind of zero, in a row
WEEKDAY_SD = 4.0  # standard errors below the other weekdays
LEAST_DAYS_IN_YEAR = 330  # for a year to be compared with others
LEAST_YEARS_FOR_STEP = 8
LEAST_YEARS_OF_SIDE = 3
STEP_CHANCE = 0.02  # together with the least changes below, which limit false alarms
PERMUTATIONS = 2_000

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_ROUND_AMOUNTS = {"mm": (5.0, 10.0), "in": (0.1, 0.25)}
_SEED = 20_130_701


@dataclass(frozen=True)
class Suspicion:
    """Something to check; ``kind`` groups similar ones, ``what`` describes it with its values."""

    kind: str
    first: date
    last: date
    what: str


def possible(table: Table) -> Table:
    """The table without impossible values, so that they do not distort means.

    For a Tmin above Tmax both are removed, because either may be wrong.
    """
    table = _within_limits(table)
    crossed = table.values["tmin"] > table.values["tmax"]
    uncrossed = {
        quantity: np.where(crossed, np.nan, table.values[quantity]) for quantity in ("tmin", "tmax")
    }
    return replace(table, values={**table.values, **uncrossed})


def _within_limits(table: Table) -> Table:
    """The table without values that are impossible anywhere on earth."""
    values = {}
    for quantity, series in table.values.items():
        facts = QUANTITIES[quantity]
        outside = (series < facts.low) | (series > facts.high)
        values[quantity] = np.where(outside, np.nan, series)
    return replace(table, values=values)


def suspicions(
    table: Table,
    latitude_deg: float | None = None,
    elevation_m: float = 0.0,
    wind_height_m: float | None = None,
) -> tuple[Suspicion, ...]:
    """All suspicions about a table that has every day; radiation only with a latitude.

    First findings about the file as a whole, for which a run may refuse it, then single days.
    """
    whole = findings(table, latitude_deg, elevation_m, wind_height_m)
    found = [_over(table, finding.kind, finding.advice) for finding in whole]
    found += _impossible(table)
    table = possible(table)
    for check in (
        _equal_extremes,
        _damp_air,
        _far_from_normal,
        _repeats,
        _calms,
        _great_rain,
        _repeated_rain,
        _round_rain,
        _rainless_months,
        _resting_weekdays,
    ):
        found += check(table)
    ratio = None
    if latitude_deg is not None and "solar" in table.values:
        day = fao.day_of_year(table.dates)
        above_air = fao.extraterrestrial_radiation_mj_m2(latitude_deg, day)
        clear = np.asarray(fao.clear_sky_solar_mj_m2(above_air, elevation_m))
        found += _above_clear_sky(table, clear)
        # Below 1 MJ/m2, in the polar night, a ratio means nothing.
        ratio = np.where(clear > 1.0, table.values["solar"] / np.maximum(clear, 1.0), np.nan)
    found += _steps(table, ratio)
    return tuple(found)


# ---------------------------------------------------------------- single days


def _impossible(table: Table) -> Iterator[Suspicion]:
    for quantity, values in table.values.items():
        for row, fault in check_values(replace(table, values={quantity: values})):
            yield _on(table, row, f"{quantity} out of range", fault.what)
    # An impossible value is no evidence against another.
    for row, fault in check_values(_within_limits(table)):
        yield _on(table, row, "values that contradict each other", fault.what)


def _equal_extremes(table: Table) -> Iterator[Suspicion]:
    for row in rows_of(table.values["tmin"] == table.values["tmax"]):
        what = f"tmin and tmax are both {table.written(row, 'tmax')}"
        yield _on(table, row, "tmin equals tmax", what)


def _damp_air(table: Table) -> Iterator[Suspicion]:
    if "dewpoint" not in table.values:
        return
    for row in rows_of(table.values["dewpoint"] > table.values["tmax"]):
        dew, warm = table.written(row, "dewpoint"), table.written(row, "tmax")
        what = f"dewpoint of {dew} is above tmax of {warm}"
        yield _on(table, row, "dewpoint above tmax", what)


def _far_from_normal(table: Table) -> Iterator[Suspicion]:
    for quantity in ("tmax", "tmin"):
        deviation, sd = seasonal_deviation(table.dates, table.values[quantity])
        for row in rows_of(np.abs(deviation) > NORMAL_SD * sd):
            side = "above" if deviation[row] > 0 else "below"
            what = (
                f"{quantity} of {table.written(row, quantity)} is "
                f"{abs(deviation[row]):.0f} deg C {side} the normal of the day "
                f"({abs(deviation[row]) / sd[row]:.1f} standard deviations)"
            )
            yield _on(table, row, f"{quantity} far from normal", what)


def _great_rain(table: Table) -> Iterator[Suspicion]:
    rain = table.values["rain"]
    wet = rain[rain >= 1.0]
    if wet.size < LEAST_WET_DAYS:
        return
    usual = float(np.quantile(wet, 0.95))
    for row in rows_of(rain > RAIN_OVER_P95 * usual):
        what = (
            f"rain of {table.written(row, 'rain')} is {rain[row] / usual:.0f} times what "
            "1 rainy day in 20 brings; possible, or the sum of several days"
        )
        yield _on(table, row, "great rain", what)


def _above_clear_sky(table: Table, clear: FloatArray) -> Iterator[Suspicion]:
    for row in rows_of(table.values["solar"] > SOLAR_OVER_CLEAR * clear + SOLAR_ROOM_MJ_M2):
        what = (
            f"solar of {table.written(row, 'solar')} is above the {clear[row]:.1f} MJ/m2 "
            "of a clear sky"
        )
        yield _on(table, row, "solar above clear sky", what)


# ---------------------------------------------------------------- runs of days


def runs_of_equal(values: FloatArray | BoolArray) -> list[tuple[int, int]]:
    """Start and end (not included) of the runs of one known value, single days included."""
    if not values.size:
        return []
    starts = np.concatenate([[0], np.flatnonzero(values[1:] != values[:-1]) + 1, [values.size]])
    known = np.isfinite(values[starts[:-1]])
    return list(zip(starts[:-1][known].tolist(), starts[1:][known].tolist(), strict=True))


def longest_run_by_chance(runs: list[tuple[int, int]]) -> int:
    """Length at which a run of one value is longer than expected by chance.

    The chance p that a day repeats the one before is taken from the share of runs that go on
    at all, so that a stuck sensor, one run however long, does not hide itself; runs of length
    L are expected days x p^(L - 1) times.
    """
    days = sum(stop - start for start, stop in runs)
    repeated = sum(stop - start > 1 for start, stop in runs)
    if not repeated:
        return LEAST_REPEATS
    # Kept below 1, where no length would be enough.
    p = min(repeated / len(runs), 0.9)
    length = 2 + int(np.log(REPEATS_BY_CHANCE / days) / np.log(p))
    return max(length, LEAST_REPEATS)


def _repeats(table: Table) -> Iterator[Suspicion]:
    for quantity in ("tmax", "tmin", "dewpoint", "rh_mean", "wind", "solar"):
        values = table.values.get(quantity)
        if values is None:
            continue
        runs = runs_of_equal(values)
        least = longest_run_by_chance(runs)
        for start, stop in runs:
            # Calms have a separate check, and fog keeps the air at 100% for days.
            plain = quantity in ("wind", "solar") and values[start] == 0
            if stop - start >= least and not plain and values[start] != 100:
                what = (
                    f"{quantity} is {table.written(start, quantity)} on {stop - start} days on end"
                )
                yield _from_to(table, start, stop, f"{quantity} repeated", what)


def _calms(table: Table) -> Iterator[Suspicion]:
    if "wind" not in table.values:
        return
    for start, stop in runs_of_equal(table.values["wind"]):
        if stop - start >= CALM_DAYS and table.values["wind"][start] == 0:
            what = f"wind is zero on {stop - start} days on end: a stuck or iced anemometer?"
            yield _from_to(table, start, stop, "wind at zero", what)


def _repeated_rain(table: Table) -> Iterator[Suspicion]:
    rain = table.values["rain"]
    for start, stop in runs_of_equal(rain):
        if stop - start >= 3 and rain[start] >= LEAST_REPEATED_RAIN_MM:
            what = f"rain is {table.written(start, 'rain')} on {stop - start} days on end"
            yield _from_to(table, start, stop, "rain repeated", what)


# ---------------------------------------------------------------- habits of observers


def _round_rain(table: Table) -> Iterator[Suspicion]:
    unit = table.columns["rain"].unit
    for step in _ROUND_AMOUNTS.get(unit, ()):
        # Amounts below the step cannot be round and do not count.
        raw = table.raw["rain"][np.isfinite(table.values["rain"])]
        amounts = raw[raw >= step]
        if amounts.size < LEAST_WET_DAYS:
            continue
        share = float(np.mean(np.abs(amounts / step - np.rint(amounts / step)) < 1e-6))
        if share > ROUND_SHARE:
            what = (
                f"{100 * share:.0f}% of the rains from {step:g} {unit} on are whole multiples "
                f"of {step:g} {unit}: read roughly, and small rains may be missing"
            )
            yield _over(table, "rain rounded", what)
            return


def _rainless_months(table: Table) -> Iterator[Suspicion]:
    rain = table.values["rain"]
    month = table.dates.astype("datetime64[M]")
    months, index, days = np.unique(month, return_inverse=True, return_counts=True)
    total = np.bincount(index, weights=rain)  # NaN in months that are not known throughout
    whole = np.isfinite(total) & (days >= 28)
    calendar = months.astype(int) % 12
    for i in np.flatnonzero(whole & (total == 0)):
        others = total[whole & (calendar == calendar[i]) & (np.arange(total.size) != i)]
        if others.size < LEAST_OTHER_YEARS:
            continue
        if np.median(others) > USUAL_MONTH_MM and others.min() > DRIEST_MONTH_MM:
            rows = np.flatnonzero(index == i)
            what = (
                f"rain is zero all month; the other {others.size} years have "
                f"{np.median(others):.0f} mm (median) and at least {others.min():.0f} mm"
            )
            yield _from_to(table, int(rows[0]), int(rows[-1]) + 1, "month without rain", what)


def _resting_weekdays(table: Table) -> Iterator[Suspicion]:
    """Weekdays with too few rain days: in the whole record, or else in one year."""
    found = list(_resting(table, 0, table.dates.size))
    if not found:
        _, first = np.unique(table.dates.astype("datetime64[Y]"), return_index=True)
        for start, stop in pairwise([*first.tolist(), table.dates.size]):
            found += _resting(table, start, stop)
    yield from found


def _resting(table: Table, start: int, stop: int) -> Iterator[Suspicion]:
    rain = table.values["rain"][start:stop]
    known = np.isfinite(rain)
    wet = known & (rain > 0)
    # 1970-01-01 was a Thursday.
    weekday = (table.dates[start:stop].astype(int) + 3) % 7
    for day, name in enumerate(_WEEKDAYS):
        on, off = known & (weekday == day), known & (weekday != day)
        if not on.any() or not off.any():
            continue
        pooled = wet.sum() / known.sum()
        error = np.sqrt(pooled * (1 - pooled) * (1 / on.sum() + 1 / off.sum()))
        p_on, p_off = wet[on].mean(), wet[off].mean()
        if p_on - p_off < -WEEKDAY_SD * error:
            rows = start + np.flatnonzero(known)
            what = (
                f"rain on {100 * p_on:.0f}% of {name}s and {100 * p_off:.0f}% of other days: "
                "an observer with days off? The next day may hold the sum"
            )
            yield _from_to(table, int(rows[0]), int(rows[-1]) + 1, "rain by weekday", what)


# ---------------------------------------------------------------- steps between years


@dataclass(frozen=True)
class Step:
    """A change of level between two neighboring years."""

    year: int  # first of the new level
    before: float
    after: float


def step_changes(years: NDArray[np.intp], values: FloatArray) -> list[Step]:
    """Steps in yearly values (n,), unlikely by chance and a better fit than a trend."""
    splits = _splits(values)
    levels = [float(part.mean()) for part in np.split(values, splits)] if splits else []
    return [Step(int(years[split]), *levels[i : i + 2]) for i, split in enumerate(splits)]


def _splits(values: FloatArray) -> list[int]:
    """Where new levels begin: the largest standard normal homogeneity statistic of all splits.

    The test of Alexandersson (1986, from memory), its significance by permutation of the years;
    the parts are then searched in turn.
    """
    n = values.size
    if n < LEAST_YEARS_FOR_STEP or np.ptp(values) == 0:
        return []
    of_splits = homogeneity_statistic(values)
    split = int(of_splits.argmax()) + 1
    rng = np.random.Generator(np.random.Philox(_SEED))
    shuffled = rng.permuted(np.tile(values, (PERMUTATIONS, 1)), axis=1)
    by_chance = homogeneity_statistic(shuffled).max(axis=1)
    if np.mean(by_chance >= of_splits.max()) >= STEP_CHANCE:
        return []
    before, after = values[:split], values[split:]
    step_rest = np.sum((before - before.mean()) ** 2) + np.sum((after - after.mean()) ** 2)
    trend = np.polyval(np.polyfit(np.arange(n), values, 1), np.arange(n))
    if step_rest >= np.sum((values - trend) ** 2):
        return []
    return [*_splits(before), split, *(split + later for later in _splits(after))]


def homogeneity_statistic(values: FloatArray) -> FloatArray:
    """T(k) = k z1^2 + (n - k) z2^2 (..., n - 1) of splits after k = 1 to n - 1 of (..., n) years.

    z1 and z2 are the means of both sides of the standardized series (Alexandersson 1986, from
    memory); 0 where a side is too short for a level. The series must not be constant.
    """
    n = values.shape[-1]
    mean, sd = values.mean(axis=-1, keepdims=True), values.std(axis=-1, keepdims=True)
    k = np.arange(1, n)
    # Standardized values add up to 0, so the sums of the two sides differ only in sign.
    sums = np.cumsum((values - mean) / sd, axis=-1)[..., :-1]
    statistic = sums**2 / k + sums**2 / (n - k)
    short = (k < LEAST_YEARS_OF_SIDE) | (n - k < LEAST_YEARS_OF_SIDE)
    return np.where(short, 0.0, statistic)


def _steps(table: Table, clear_ratio: FloatArray | None) -> Iterator[Suspicion]:
    """Steps of yearly levels that are large enough to matter."""
    year = table.dates.astype("datetime64[Y]").astype(int) + 1970
    by_year = np.argsort(year, kind="stable")
    in_order = year[by_year]

    def yearly(values: FloatArray, level: Callable[[FloatArray], float]) -> list[Step]:
        known = np.isfinite(values)
        years, first, days = np.unique(in_order[known[by_year]], return_index=True,
                                       return_counts=True)  # fmt: skip
        of_year = np.split(values[by_year][known[by_year]], first[1:])
        whole = days >= LEAST_DAYS_IN_YEAR
        # Of no year at all, numpy splits off one empty part.
        levels = [level(part) for part, enough in zip(of_year, whole, strict=False) if enough]
        return step_changes(years[whole], np.array(levels))

    for quantity in ("tmax", "tmin", "dewpoint"):
        if quantity in table.values:
            deviation, _ = seasonal_deviation(table.dates, table.values[quantity])
            for step in yearly(deviation, _mean):
                if abs(step.after - step.before) >= 1.0:  # estimate, deg C
                    what = f"{quantity} is {_change(step, ' deg C')}"
                    yield _step(table, step, f"{quantity} steps", what)
    if "rh_mean" in table.values:
        for step in yearly(table.values["rh_mean"], _mean):
            if abs(step.after - step.before) >= 8.0:  # estimate, per cent
                yield _step(table, step, "rh_mean steps", f"rh_mean is {_change(step, ' points')}")
    wet = np.where(np.isfinite(table.values["rain"]), table.values["rain"] > 0, np.nan)
    relative = [
        # Least change, estimates: possible effect of a new instrument or location.
        ("rain", "share of days with rain", wet, _mean, 0.35),
        ("wind", "mean wind (m/s)", table.values.get("wind"), _mean, 0.15),
        ("solar", "solar of sunny days, as share of a clear sky's,", clear_ratio, _sunny, 0.05),
    ]
    for quantity, name, values, level, least in relative:
        for step in yearly(values, level) if values is not None else ():
            change = step.after / step.before - 1 if step.before else np.inf
            if abs(change) >= least:
                side = "higher" if change > 0 else "lower"
                what = (
                    f"{name} is {100 * abs(change):.0f}% {side} from {step.year} on "
                    f"({step.before:.2f} before, {step.after:.2f} after)"
                )
                yield _step(table, step, f"{quantity} steps", what)


def _mean(values: FloatArray) -> float:
    return float(values.mean())


def _sunny(values: FloatArray) -> float:
    """Level of the sunniest tenth of the days, which clouds hardly move."""
    return float(np.quantile(values, 0.9))


def _change(step: Step, unit: str) -> str:
    by = step.after - step.before
    return f"{abs(by):.1f}{unit} {'higher' if by > 0 else 'lower'} from {step.year} on"


def _step(table: Table, step: Step, kind: str, what: str) -> Suspicion:
    start = int(np.searchsorted(table.dates, np.datetime64(f"{step.year:04d}-01-01")))
    return _from_to(table, start, table.dates.size, kind, f"{what}: a new instrument or location?")


# ---------------------------------------------------------------- normals of the calendar day


def seasonal_deviation(
    dates: NDArray[np.datetime64], values: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Deviation (n,) of each day from its normal, and the standard deviation (n,) of the season.

    The normal is a mean with two yearly harmonics by least squares, fitted again without the
    days beyond four standard deviations; the standard deviation has one harmonic. NaN where
    unknown, and throughout when too little of the year is known for a normal.
    """
    day = fao.day_of_year(dates)
    known = np.isfinite(values)
    nothing = np.full(values.size, np.nan)
    if np.unique(day[known]).size < LEAST_DAYS_FOR_NORMAL:
        return nothing, nothing
    angle = 2 * np.pi * day / 365.25
    one = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
    two = np.hstack([one, np.stack([np.cos(2 * angle), np.sin(2 * angle)], axis=1)])
    used = known
    for _ in range(2):
        normal = two @ np.linalg.lstsq(two[used], values[used], rcond=None)[0]
        deviation = values - normal
        # The median absolute deviation of a normal variable is 0.6745 of its sd.
        scale = np.median(np.abs(deviation[known])) / 0.6745
        used = known & (np.abs(deviation) <= 4 * scale)
    # The mean absolute deviation of a normal variable is sqrt(2/pi) of its sd.
    spread = one @ np.linalg.lstsq(one[used], np.abs(deviation[used]), rcond=None)[0]
    return deviation, np.maximum(spread * np.sqrt(np.pi / 2), 0.5 * scale)


def _on(table: Table, row: int, kind: str, what: str) -> Suspicion:
    return _from_to(table, row, row + 1, kind, what)


def _over(table: Table, kind: str, what: str) -> Suspicion:
    return _from_to(table, 0, table.dates.size, kind, what)


def _from_to(table: Table, start: int, stop: int, kind: str, what: str) -> Suspicion:
    return Suspicion(kind, table.dates[start].item(), table.dates[stop - 1].item(), what)
