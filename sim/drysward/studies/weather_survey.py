"""What a daily weather file holds and how far it can be trusted, gaps and faults included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.results.frequency import pearson3_limits, pearson3_quantile, plotting_positions
from drysward.weather.checking.plausibility import findings
from drysward.weather.checking.suspicion import Suspicion, possible, runs_of_equal, suspicions
from drysward.weather.checking.trend import Trend, trend
from drysward.weather.file.columns import DATE, QUANTITIES, REQUIRED
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import WeatherFile, mildest_rule, years_without_long_gaps
from drysward.weather.file.table import BoolArray, Table, every_day_once, first_rows
from drysward.weather.record import DailyRecord, FloatArray
from drysward.weather.reference_et import reference_et

WET_DAY_MM = 1.0  # common practice: a day with 1 mm or more is a wet day
WHOLE_YEAR_DAYS = 360  # known days from which on a run uses a year
WHOLE_SHARE = WHOLE_YEAR_DAYS / 365  # the same for a season
WINDOWS = (30, 90)
RETURN_PERIODS = (2.0, 5.0, 10.0, 20.0, 50.0)
LEAST_SEASONS_FOR_PERIODS = 5  # estimate
LEAST_SEASONS_FOR_FIT = 10  # estimate
CONFIDENCE = 0.90

MonthDay = tuple[int, int]


@dataclass(frozen=True)
class Season:
    """First and last day of a season, which may run over New Year."""

    first: MonthDay
    last: MonthDay

    @property
    def over_new_year(self) -> bool:
        return self.last < self.first


NORTHERN = Season((4, 1), (10, 31))
SOUTHERN = Season((10, 1), (4, 30))


@dataclass(frozen=True)
class ColumnHeld:
    """A column with what it says, in its own unit; NaN where no day is known."""

    name: str
    quantity: str
    unit: str
    days_known: int
    share_known: float
    least: float
    mean: float
    most: float


@dataclass(frozen=True)
class Gap:
    """Days on end without a row, or with one whose rain or temperature is blank or unreadable."""

    what: str
    first: date
    last: date

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class Year:
    """A calendar year; sums and means are of its known days, NaN where nothing is known.

    A dry spell or window counts in the year in which it ends and may begin before it. Days
    that are not known end a spell and spoil a window.
    """

    year: int
    days: int
    days_known: int
    rain_mm: float
    wet_days: int
    tmax_c: float
    tmin_c: float
    longest_dry_days: int
    driest_mm: tuple[float, ...]  # of WINDOWS
    et_mm: float
    et_less_rain_mm: float

    @property
    def whole(self) -> bool:
        return self.days_known >= WHOLE_YEAR_DAYS


@dataclass(frozen=True)
class DrySeason:
    """A season as known throughout; ``return_period`` by plotting position m/(n + 1)."""

    year: int  # in which it begins
    rain_mm: float
    et_less_rain_mm: float
    return_period: float


@dataclass(frozen=True)
class Level:
    """Dryness of a return period by a Pearson III fit, with 90% limits."""

    return_period: float
    estimate_mm: float
    low_mm: float
    high_mm: float
    beyond_record: bool


@dataclass(frozen=True)
class Seasons:
    """Seasons from the driest; by ET less rain where ET is known, else by rain.

    ``driest_between`` are the 90% limits of the driest season's true return period.
    ``levels`` are rain, or ET less rain, of each return period; none from a short record.
    """

    season: Season
    by_et: bool
    ranked: tuple[DrySeason, ...]
    left_out: tuple[int, ...]
    driest_between: tuple[float, float] | None
    levels: tuple[Level, ...]


@dataclass(frozen=True)
class Verdict:
    """Whether a run accepts the file: faults as it is; a rule that helps; faults that remain.

    ``as_a_whole`` says what mends a file that its place refuses, whatever single values are.
    """

    faults: tuple[Fault, ...]
    rule: FillRule | None
    remaining: tuple[Fault, ...]
    as_a_whole: tuple[str, ...] = ()


@dataclass(frozen=True)
class Survey:
    """All that a survey finds in a weather file."""

    name: str
    first: date
    last: date
    rows: int
    rows_unused: int  # without a date that can be read, remote, or of a day that came before
    columns: tuple[ColumnHeld, ...]
    gaps: tuple[Gap, ...]
    suspicions: tuple[Suspicion, ...]
    years: tuple[Year, ...]
    procedures: tuple[str, ...]  # of reference ET
    seasons: Seasons
    verdict: Verdict
    trends: tuple[Trend, ...] = ()
    whole_span: tuple[int, int] | None = None  # years to take from a file with long gaps
    notes: tuple[str, ...] = ()  # what had to be assumed to read the file


def survey(
    file: WeatherFile,
    latitude_deg: float | None = None,
    elevation_m: float | None = None,
    season: Season | None = None,
) -> Survey:
    """Survey of a weather file; see the parts for what each says.

    Reference ET needs latitude and elevation, the check of radiation the latitude. Without a
    season it is April to October or, in the south, October to April; without a latitude
    a January warmer than July stands for the south.

    Raises FaultyInput when its columns are not known or no day of it can be read, and for a
    latitude or elevation that no site has.
    """
    if file.header_faults or file.table is None:
        raise FaultyInput(file.header_faults or [fault for _, fault in file.faults])
    if np.isnat(file.table.dates).all():
        raise FaultyInput(fault for _, fault in file.faults)
    raw = every_day_once(file.table)
    table = possible(raw)
    eto = procedures = None
    if latitude_deg is not None and elevation_m is not None:
        eto, procedures = known_reference_et(table, file.wind_height_m, latitude_deg, elevation_m)
    if season is None:
        southern = latitude_deg < 0 if latitude_deg is not None else _warmer_in_january(table)
        season = SOUTHERN if southern else NORTHERN
    first, last = table.dates[[0, -1]].tolist()
    years = annual_table(table, eto)
    found = findings(raw, latitude_deg, elevation_m or 0.0, file.wind_height_m)
    refused = tuple(f"{f.remedy}; or {f.trust_line}" for f in found if f.beyond_doubt)
    return Survey(
        name=file.path.name,
        first=first,
        last=last,
        rows=file.table.dates.size,
        rows_unused=file.table.dates.size - first_rows(file.table).size,
        columns=columns_held(table),
        gaps=gaps(file.table, raw),
        suspicions=suspicions(raw, latitude_deg, elevation_m or 0.0, file.wind_height_m),
        years=years,
        procedures=tuple(procedures or ()),
        seasons=dry_seasons(table, season, eto),
        verdict=replace(verdict(file), as_a_whole=refused),
        trends=yearly_trends(years),
        whole_span=years_without_long_gaps(file.table),
        notes=file.notes,
    )


# ---------------------------------------------------------------- what is there


def columns_held(table: Table) -> tuple[ColumnHeld, ...]:
    """Every column with its unit, the share of days it knows, and its range as written."""
    held = []
    for column in table.columns.values():
        if column.quantity == DATE:
            continue
        known = np.isfinite(table.values[column.quantity])
        raw = table.raw[column.quantity][known]
        low, mean, high = (raw.min(), raw.mean(), raw.max()) if raw.size else (np.nan,) * 3
        held.append(
            ColumnHeld(
                name=column.name,
                quantity=column.quantity,
                unit=column.unit,
                days_known=int(known.sum()),
                share_known=float(known.mean()),
                least=float(low),
                mean=float(mean),
                most=float(high),
            )
        )
    return tuple(held)


def gaps(rows: Table, every_day: Table) -> tuple[Gap, ...]:
    """Days without a row, then days with one on which rain or temperature is not known."""
    absent = ~np.isin(every_day.dates, rows.dates)
    rain, tmax, tmin = (np.isnan(every_day.values[quantity]) for quantity in REQUIRED)
    temperature = tmax | tmin
    unknown = {
        "no row": absent,
        "rain and temperature": ~absent & rain & temperature,
        "rain": ~absent & rain & ~temperature,
        "temperature": ~absent & temperature & ~rain,
    }
    return tuple(
        Gap(what, every_day.dates[start].item(), every_day.dates[stop - 1].item())
        for what, flags in unknown.items()
        for start, stop in runs_of(flags)
    )


def runs_of(flags: BoolArray) -> list[tuple[int, int]]:
    """Start and end (not included) of each run of True."""
    return [(start, stop) for start, stop in runs_of_equal(flags) if flags[start]]


def known_days(table: Table) -> BoolArray:
    """Days (n,) on which rain, Tmax and Tmin are all known."""
    known = np.ones(table.dates.size, dtype=bool)
    for quantity in REQUIRED:
        known &= np.isfinite(table.values[quantity])
    return known


def known_reference_et(
    table: Table, wind_height_m: float | None, latitude_deg: float, elevation_m: float
) -> tuple[FloatArray, list[str]]:
    """Reference ET (n,) in mm, NaN where a temperature is not known; procedures, most used first.

    Raises FaultyInput as :func:`drysward.weather.reference_et.reference_et`.
    """
    known = np.isfinite(table.values["tmax"]) & np.isfinite(table.values["tmin"])
    eto = np.full(known.size, np.nan)
    if not known.any():
        return eto, []
    # A record has no unknown days: theirs are made up here and taken out again below.
    values: dict[str, Any] = {
        QUANTITIES[quantity].field: series for quantity, series in table.values.items()
    }
    values["rain_mm"] = np.nan_to_num(table.values["rain"])
    values["tmax_c"] = np.where(known, table.values["tmax"], 20.0)
    values["tmin_c"] = np.where(known, table.values["tmin"], 10.0)
    height = wind_height_m if "wind" in table.values else None
    record = DailyRecord(dates=table.dates, wind_height_m=height, **values)
    et = reference_et(record, latitude_deg, elevation_m)
    used = np.bincount(et.procedure[known], minlength=len(et.labels))
    order = [i for i in np.argsort(-used, kind="stable") if used[i]]
    return np.where(known, et.eto_mm, np.nan), [
        f"{et.labels[i]} ({used[i]:,} {'day' if used[i] == 1 else 'days'})" for i in order
    ]


# ---------------------------------------------------------------- years


def dry_spell_days(rain_mm: FloatArray) -> NDArray[np.intp]:
    """Days (n,) of the dry spell so far, of days under 1 mm; a wet or unknown day ends it."""
    days = np.arange(1, rain_mm.size + 1)
    dry = rain_mm < WET_DAY_MM
    return days - np.maximum.accumulate(np.where(dry, 0, days))


def window_sums(values: FloatArray, days: int) -> FloatArray:
    """Sum (n,) of each day and those before it, ``days`` in all; NaN where one is not known."""
    sums = np.full(values.size, np.nan)
    if values.size >= days:
        sums[days - 1 :] = np.lib.stride_tricks.sliding_window_view(values, days).sum(axis=1)
    return sums


def annual_table(table: Table, eto_mm: FloatArray | None) -> tuple[Year, ...]:
    """Each calendar year from a table that has every day."""
    rain, tmax, tmin = (table.values[quantity] for quantity in REQUIRED)
    known = known_days(table)
    spells = dry_spell_days(rain)
    windows = [window_sums(rain, days) for days in WINDOWS]
    eto = np.full(rain.size, np.nan) if eto_mm is None else eto_mm
    calendar = table.dates.astype("datetime64[Y]").astype(int) + 1970
    years = []
    found, first = np.unique(calendar, return_index=True)
    for year, start, stop in zip(found.tolist(), first, [*first[1:], rain.size], strict=True):
        of_year = slice(start, stop)
        et_mm, rain_mm = _sum(eto[of_year]), _sum(rain[of_year])
        one = Year(
            year=year,
            days=int(stop - start),
            days_known=int(known[of_year].sum()),
            rain_mm=rain_mm,
            wet_days=int((rain[of_year] >= WET_DAY_MM).sum()),
            tmax_c=_mean(tmax[of_year]),
            tmin_c=_mean(tmin[of_year]),
            longest_dry_days=int(spells[of_year].max()),
            driest_mm=tuple(_least(sums[of_year]) for sums in windows),
            et_mm=et_mm,
            et_less_rain_mm=et_mm - rain_mm,
        )
        years.append(one)
    return tuple(years)


def yearly_trends(years: Sequence[Year]) -> tuple[Trend, ...]:
    """Trends of mean Tmax, rain and, where it is known, reference ET over the whole years."""
    whole = [year for year in years if year.whole]
    found = []
    for name, of in (
        ("tmax", lambda y: y.tmax_c), ("rain", lambda y: y.rain_mm),
        ("reference_et", lambda y: y.et_mm),
    ):  # fmt: skip
        known = [(year.year, of(year)) for year in whole if np.isfinite(of(year))]
        found.append(trend(name, [year for year, _ in known], [value for _, value in known]))
    return tuple(one for one in found if one is not None)


def _known(values: FloatArray) -> FloatArray:
    return values[np.isfinite(values)]


def _sum(values: FloatArray) -> float:
    known = _known(values)
    return float(known.sum()) if known.size else float("nan")


def _mean(values: FloatArray) -> float:
    known = _known(values)
    return float(known.mean()) if known.size else float("nan")


def _least(values: FloatArray) -> float:
    known = _known(values)
    return float(known.min()) if known.size else float("nan")


def _warmer_in_january(table: Table) -> bool:
    """Whether the record's warm half of the year is the south's."""
    month = table.dates.astype("datetime64[M]").astype(int) % 12
    winter, summer = (np.isin(month, months) for months in ((11, 0, 1), (5, 6, 7)))
    # A record of neither is taken as northern.
    return bool(_mean(table.values["tmax"][winter]) > _mean(table.values["tmax"][summer]))


# ---------------------------------------------------------------- seasons


def dry_seasons(table: Table, season: Season, eto_mm: FloatArray | None) -> Seasons:
    """Seasons known throughout, as a whole year is, from the driest, and what follows from them."""
    rain = table.values["rain"]
    eto = np.full(rain.size, np.nan) if eto_mm is None else eto_mm
    known = known_days(table)
    start, end = table.dates[0], table.dates[-1]
    found: list[tuple[int, float, float]] = []
    left_out: list[int] = []
    first_year, last_year = start.item().year, end.item().year
    for year in range(first_year - season.over_new_year, last_year + 1):
        first = _day(year, season.first)
        last = _day(year + season.over_new_year, season.last)
        days = slice(*np.clip((np.array([first, last + 1]) - start).astype(int), 0, rain.size))
        if days.start == days.stop:
            continue
        if known[days].sum() < WHOLE_SHARE * ((last - first).astype(int) + 1):
            left_out.append(year)
            continue
        rain_mm = _sum(rain[days])
        found.append((year, rain_mm, _sum(eto[days]) - rain_mm))
    dryness = np.array([-rain if eto_mm is None else less for _, rain, less in found])
    order = np.argsort(-dryness, kind="stable")
    n = len(found)
    periods = (1.0 / plotting_positions(n)).tolist() if n else []
    return Seasons(
        season=season,
        by_et=eto_mm is not None,
        ranked=tuple(
            DrySeason(year, rain_mm, less_mm, period)
            for (year, rain_mm, less_mm), period in zip(
                [found[i] for i in order], periods, strict=True
            )
        ),
        left_out=tuple(left_out),
        driest_between=return_period_of_largest(n) if n else None,
        levels=_levels(dryness, rain=eto_mm is None) if n >= LEAST_SEASONS_FOR_FIT else (),
    )


def _day(year: int, month_day: MonthDay) -> np.datetime64:
    # A season of the first or last year that a date can have reaches past what `date` knows.
    month, day = month_day
    first_of_month = np.datetime64(12 * (year - 1970) + month - 1, "M")
    return first_of_month.astype("datetime64[D]") + (day - 1)


def return_period_of_largest(n: int) -> tuple[float, float]:
    """90% limits of the true return period of the largest of n independent years.

    Its exceedance probability p is the least of n uniform ones: P(p <= x) = 1 - (1 - x)^n
    (order statistics, common knowledge).
    """
    low, high = (1.0 - (1.0 - q) ** (1.0 / n) for q in ((1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2))
    return 1.0 / high, 1.0 / low


def _levels(dryness: FloatArray, rain: bool) -> tuple[Level, ...]:
    estimate = pearson3_quantile(dryness, RETURN_PERIODS)
    low, high = pearson3_limits(dryness, RETURN_PERIODS, CONFIDENCE)
    if rain:  # dryness is rain with its sign turned, and rain is never negative
        estimate, low, high = (np.maximum(-values, 0.0) for values in (estimate, high, low))
    return tuple(
        Level(period, float(estimate[i]), float(low[i]), float(high[i]), period > dryness.size + 1)
        for i, period in enumerate(RETURN_PERIODS)
    )


# ---------------------------------------------------------------- would a run accept it?


def verdict(file: WeatherFile) -> Verdict:
    """Whether a run accepts the file, and the mildest rule under which it would."""
    return Verdict(*mildest_rule(file))
