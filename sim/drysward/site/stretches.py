"""A site before any plan runs: soils, species and weather, a stretch of years at a time.

A stretch is computed on arrays and then run; the next one starts where it ends. Only one or two
stretches are in memory, however many years there are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from drysward.day.feeding import FeedInput
from drysward.day.records import CALENDAR_DAYS, DAY, DELIVERY, FIELD, records
from drysward.day.supply import SupplyInput
from drysward.day.surface import PlayInput
from drysward.faults import Fault, FaultyInput
from drysward.physics.catch import patch_catches
from drysward.physics.roots import patch_reaches
from drysward.scenario.model import ANEW_EACH_YEAR, RECORD, SKINNED, Scenario
from drysward.scenario.values import MM_PER_M
from drysward.site.covers import Covered
from drysward.site.feeding import feed_input
from drysward.site.forcing import (
    NOTHING_TO_FORCE,
    Forcing,
    calendar_records,
    force_field,
    in_season,
)
from drysward.site.night import pass_m3
from drysward.site.plans import machines_of
from drysward.site.play import field_covers, play_input
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.site_weather import SiteWeather, site_weather
from drysward.site.supply import supply_input
from drysward.site.weather_years import read_record, weather_series
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et
from drysward.weather.series import Series, recorded

# These numbers affect results. Snow, frost, roots and winter rest depend on earlier days, so they
# are computed from LEAD_IN days before each stretch. After these two winters the start has no
# visible effect.
YEARS_AT_ONCE = 50
LEAD_IN = np.timedelta64(731, "D")
ROOTING_DRAWS = 12  # separates these draws from others of the same seed and year
# Stretches whose weather is kept from the survey before the run.
MOST_KEPT = 8


@dataclass(frozen=True, eq=False)
class PreparedSite:
    """A stretch of days, ready for any plan; days before ``from_day`` only lead in.

    ``years`` are all years that the run counts, those of other stretches too; ``calendar.year`` is
    an index into them. ``columns`` are the scenario's fields among the C fields of the stretch,
    which several scenarios may share. ``days`` has one line for each day of ``calendar``, or some
    lines at a time when ``forcing`` computes them.
    """

    scenario: Scenario
    weather: SiteWeather
    calendar: np.recarray
    from_day: int
    years: tuple[int, ...]
    left_out: tuple[str, ...]
    zones: tuple[RootZone, ...]
    fields: np.recarray  # FIELD (C,)
    days: np.recarray  # DAY (n, C)
    delivery: np.recarray  # DELIVERY (F,)
    catches: np.ndarray  # (F, P)
    reaches: np.ndarray  # (F, P)
    supply: SupplyInput
    play: PlayInput
    feed: FeedInput
    columns: np.ndarray  # (F,)
    forcing: Forcing = NOTHING_TO_FORCE


def prepare(
    scenario: Scenario,
    record: DailyRecord | None = None,
    years: tuple[int, int] | None = None,
) -> PreparedSite:
    """The whole of a scenario's weather as one stretch.

    ``years`` limits the counted years; earlier ones still run, so that soil water carries over
    into them. FaultyInput when no year is complete.
    """
    series = weather_series(scenario) if record is None else recorded(record)
    return next(stretches(scenario, series, years, years_at_once=None))


def require_weather(scenario: Scenario, years: tuple[int, int] | None = None) -> None:
    """FaultyInput when the scenario's file cannot be read or has no complete year in its range."""
    source = scenario.weather
    if source.file is None:
        return
    record = read_record(scenario)
    if source.source == RECORD:
        spans(scenario, recorded(record), years)


def survey(scenario: Scenario) -> tuple[Series, WeatherSeen, PreparedSite]:
    """Totals of all weather that a scenario would run on, and the last stretch; nothing is run.

    FaultyInput as ``stretches``.
    """
    series = weather_series(scenario)
    seen = None
    for site in stretches(scenario, series):
        seen = seen or WeatherSeen(site.years, series.years_before)
        seen.add(site)
    assert seen is not None
    return series, seen, site


def stretches(
    scenario: Scenario,
    series: Series,
    years: tuple[int, int] | None = None,
    years_at_once: int | None = YEARS_AT_ONCE,
    known: dict[np.datetime64, WeatherStretch] | None = None,
) -> Iterator[PreparedSite]:
    """The days of ``series`` in stretches of so many turf years, all in one when None.

    A turf year is named by the calendar year in which it starts, or by its number when simulated.
    Weather in ``known``, by first day, is not computed again. FaultyInput when no year is complete.
    """
    known = known or {}
    span = spans(scenario, series, years, years_at_once)
    zones = tuple(field_root_zone(f, scenario.catalog) for f in scenario.fields)
    for start, end in span.parts:
        part = known.pop(start, None) or weather_stretch(scenario, series, span, start, end)
        yield site_on(scenario, zones, part, span)


def site_on(
    scenario: Scenario, zones: tuple[RootZone, ...], part: WeatherStretch, span: Spans
) -> PreparedSite:
    """The fields of a scenario, on their root zones, and its supply on a stretch of weather."""
    ground = ground_of(scenario, zones, part)
    return PreparedSite(
        scenario=scenario,
        weather=part.weather,
        calendar=part.calendar,
        from_day=part.from_day,
        years=span.years,
        left_out=span.left_out,
        zones=zones,
        fields=ground.fields,
        days=ground.days,
        delivery=delivery_of(scenario),
        catches=catches_of(scenario),
        reaches=reaches_of(scenario),
        supply=supply_input(scenario, part.weather, part.calendar),
        play=play_input(scenario, zones, ground.fields, part.weather, ground.covered),
        feed=feed_input(scenario, zones, ground.fields, part.weather),
        columns=np.arange(len(zones)),
    )


@dataclass(frozen=True)
class Spans:
    """Years that a run counts and leaves out, and its stretches: first day, day after the last."""

    years: tuple[int, ...]
    left_out: tuple[str, ...]
    parts: tuple[tuple[np.datetime64, np.datetime64], ...]


def spans(
    scenario: Scenario,
    series: Series,
    years: tuple[int, int] | None = None,
    years_at_once: int | None = YEARS_AT_ONCE,
) -> Spans:
    """How the days of ``series`` are counted and cut; FaultyInput when no year is complete."""
    southern = scenario.site.latitude_deg < 0.0
    stop = series.stop
    if years is not None:
        for year in years:
            series.require_simulated(year, "years")
        first, last = (year + series.years_before for year in years)
        stop = max(min(stop, turf_new_year(min(last, 9998) + 1, southern)), series.first + 1)
        years = first, last
    counted, left_out = _count_years(series, stop, southern, scenario, years)
    return Spans(counted, left_out, tuple(_spans(series.first, stop, southern, years_at_once)))


@dataclass(frozen=True, eq=False)
class WeatherStretch:
    """A stretch of days before any field; those before ``from_day`` only lead in."""

    weather: SiteWeather
    calendar: np.recarray  # CALENDAR (n,)
    from_day: int


def weather_stretch(
    scenario: Scenario,
    series: Series,
    span: Spans,
    start: np.datetime64,
    end: np.datetime64,
) -> WeatherStretch:
    """The days from ``start`` to the day before ``end``, with their lead-in.

    The scenario's fields, plans and supply do not affect it.
    """
    site, answers = scenario.site, scenario.answers
    southern = site.latitude_deg < 0.0
    read_from = max(series.first, start - LEAD_IN)
    record = series.between(read_from, end)
    et = reference_et(record, site.latitude_deg, site.elevation_m, site.coastal, site.arid)
    weather = site_weather(record, et, scenario.catalog, answers.drought_days)
    calendar = calendar_records(record.dates, southern)
    calendar.in_season = in_season(calendar.day_of_year, answers.season)
    turf_year = turf_year_of(record.dates, southern)
    calendar.year = _places(turf_year - series.years_before, span.years)
    calendar.fresh = (calendar.first == 1) & (answers.turf == ANEW_EACH_YEAR)
    calendar.rooting_score = rooting_scores(scenario, turf_year)
    return WeatherStretch(weather, calendar, int((start - read_from).astype(int)))


def weather_ahead(
    scenario: Scenario,
    series: Series,
    years: tuple[int, int] | None,
    pool: ThreadPoolExecutor,
) -> tuple[np.ndarray, dict[np.datetime64, WeatherStretch]]:
    """Deficit of each counted year (Y,), mm, and the weather of the first stretches.

    FaultyInput when no year is complete.
    """
    span = spans(scenario, series, years)
    first = {start for start, _ in span.parts[:MOST_KEPT]}
    known_weather = {}

    def deficit_mm(part: tuple[np.datetime64, np.datetime64]) -> np.ndarray:
        stretch, seen = weather_stretch(scenario, series, span, *part), WeatherSeen(span.years)
        seen.add(stretch)
        if part[0] in first:
            known_weather[part[0]] = stretch
        return seen.deficit_mm

    return np.sum(list(pool.map(deficit_mm, span.parts)), axis=0), known_weather


@dataclass(frozen=True, eq=False)
class Ground:
    """Fields on a stretch of weather, independent of their size and delivery."""

    fields: np.recarray  # FIELD (F,)
    days: np.recarray  # DAY (n, F)
    covered: tuple[Covered, ...]  # (F,), days under cover


def ground_of(scenario: Scenario, zones: Sequence[RootZone], part: WeatherStretch) -> Ground:
    """The fields of a scenario on a stretch of weather; plans do not affect it."""
    southern = scenario.site.latitude_deg < 0.0
    n_fields = len(scenario.fields)
    fields = records(FIELD, n_fields)
    days = np.empty((part.calendar.size, n_fields), DAY).view(np.recarray)
    covered = tuple(field_covers(spec, part.weather) for spec in scenario.fields)
    for f, (spec, zone) in enumerate(zip(scenario.fields, zones, strict=True)):
        force_field(
            spec, zone, scenario.catalog, part.weather, part.calendar, southern,
            covered[f].kept_off_mm, fields, days, f,
        )  # fmt: skip
    return Ground(fields, days, covered)


def delivery_of(scenario: Scenario) -> np.recarray:
    """DELIVERY (F,): the irrigation system of each field."""
    out = records(DELIVERY, len(scenario.fields))
    machines = machines_of(scenario.fields)
    for row, spec, machine in zip(out, scenario.fields, machines, strict=True):
        row.area_m2 = spec.area_m2
        row.overspray = spec.delivery.overspray
        row.machine = machine
        if machine >= 0:
            row.inv_pass_mm = spec.area_m2 / (MM_PER_M * pass_m3(spec.delivery))
            row.pass_labor = spec.delivery.labor_hours_per_pass
    return out


def catches_of(scenario: Scenario) -> np.ndarray:
    """Share of the mean irrigation that each patch of each field catches, (F, P)."""
    patches = max(f.patches for f in scenario.fields)
    return np.stack(
        [patch_catches(f.delivery.distribution_uniformity, patches) for f in scenario.fields]
    )


def reaches_of(scenario: Scenario) -> np.ndarray:
    """Share of the root zone that the roots of each patch of each field reach, (F, P)."""
    patches = max(f.patches for f in scenario.fields)
    cv = scenario.catalog.get("turf_processes", "all")["rooting_patch_cv"]
    grown = [spec.surface != SKINNED for spec in scenario.fields]
    return np.array([patch_reaches(cv if one else 0.0, patches) for one in grown])


def rooting_scores(scenario: Scenario, turf_year: np.ndarray) -> np.ndarray:
    """Rooting scores of turf years on days (n,): standard normal, one number a year."""
    scores = np.zeros(turf_year.size)
    if scenario.answers.rooting_varies:
        for year in np.unique(turf_year):
            draws = np.random.default_rng([scenario.weather.seed, abs(int(year)), ROOTING_DRAWS])
            scores[turf_year == year] = draws.standard_normal()
    return scores


def turf_new_year(year: int, southern: bool) -> np.datetime64:
    return np.datetime64(f"{year:04d}-{'07' if southern else '01'}-01", "D")


def turf_year_of(dates: np.ndarray, southern: bool) -> np.ndarray:
    months = dates.astype("datetime64[M]") - (6 if southern else 0)
    return months.astype("datetime64[Y]").astype(int) + 1970


def _places(year: np.ndarray, counted: tuple[int, ...]) -> np.ndarray:
    """Index of each day's year among the counted years, -1 when it is not counted."""
    known = np.asarray(counted)
    place = np.minimum(np.searchsorted(known, year), known.size - 1)
    return np.where(known[place] == year, place, -1)


def _spans(
    first: np.datetime64, stop: np.datetime64, southern: bool, years_at_once: int | None
) -> Iterator[tuple[np.datetime64, np.datetime64]]:
    """First day, and day after the last, of each stretch."""
    start = first
    while start < stop:
        end = stop
        if years_at_once is not None:
            here = int(turf_year_of(np.array([start]), southern)[0])
            end = min(stop, turf_new_year(here + years_at_once, southern))
        yield start, end
        start = end


def _count_years(
    series: Series,
    stop: np.datetime64,
    southern: bool,
    scenario: Scenario,
    years: tuple[int, int] | None,
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Counted years, and the years left out with their number of days.

    ``years`` are calendar years.
    """
    first, before = series.first, series.years_before
    counted: list[int] = []
    left_out: list[str] = []
    earliest, latest = turf_year_of(np.array([first, stop - 1]), southern)
    for year in range(int(earliest), int(latest) + 1):
        if years is not None and not years[0] <= year <= years[1]:
            continue
        start, end = (turf_new_year(y, southern) for y in (year, year + 1))
        days = int((min(end, stop) - max(start, first)).astype(int))
        if days < scenario.answers.fewest_days or start < first:
            left_out.append(f"{year - before} ({days} days)")
        else:
            counted.append(year - before)
    if not counted:
        source = scenario.weather
        raise FaultyInput(
            Fault(
                str(source.file or "weather.climate"),
                f"no complete year in the years requested; the file has {_days_there(series)}",
                f"a year counts when it has {scenario.answers.fewest_days} days or more",
            )
        )
    return tuple(counted), tuple(left_out)


def _days_there(series: Series) -> str:
    """``2011-01-01 to 2018-12-31``, ``simulated years 1 to 200``."""
    if series.n_simulated:
        return f"simulated years 1 to {series.n_simulated}"
    return f"days from {series.first} to {series.stop - 1}"


@dataclass(eq=False)
class WeatherSeen:
    """Totals of the weather of all stretches, counted years and procedures."""

    years: tuple[int, ...]
    years_before: int = 0  # calendar years before simulated year 1
    calendar_days: np.ndarray = field(init=False)  # (366,) number of counted years with each day
    deficit_mm: np.ndarray = field(init=False)  # (Y,) reference ET less rain in the season
    procedures: dict[str, Counter[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.calendar_days = np.zeros(CALENDAR_DAYS, int)
        self.deficit_mm = np.zeros(len(self.years))

    def add(self, site: PreparedSite | WeatherStretch) -> None:
        here = slice(site.from_day, None)
        year, day = site.calendar.year[here], site.calendar.day_of_year[here]
        counted = year >= 0
        self.calendar_days += np.bincount(day[counted], minlength=CALENDAR_DAYS)
        inside = counted & (site.calendar.in_season[here] == 1)
        deficit = (site.weather.et.eto_mm - site.weather.record.rain_mm)[here]
        self.deficit_mm += np.bincount(year[inside], deficit[inside], minlength=len(self.years))
        for calendar_year, days in site.weather.et.by_year(site.from_day):
            number = str(calendar_year - self.years_before)
            self.procedures.setdefault(number, Counter()).update(days)

    def driest_years(self, most: int = 3) -> list[int]:
        """Counted years with the largest deficit of rain against reference ET."""
        order = np.argsort(-self.deficit_mm, kind="stable")
        return [self.years[i] for i in order[:most]]
