"""What points of a sweep have in common, built once and held within a bound of memory."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

import numpy as np

from drysward.card.devices import Cards
from drysward.day.feeding import FeedInput
from drysward.day.records import FEED_DAY, FEED_FIELD, PLAY_DAY, PLAY_FIELD, records
from drysward.day.supply import SupplyInput
from drysward.day.surface import PlayInput
from drysward.site.feeding import feed_input
from drysward.site.forcing import NOTHING_TO_FORCE, Forcing, force_first_day, forcing_of
from drysward.site.play import any_has_play, any_syringed, field_covers, play_input
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.stretches import (
    YEARS_AT_ONCE,
    Ground,
    PreparedSite,
    Spans,
    WeatherStretch,
    catches_of,
    delivery_of,
    ground_of,
    reaches_of,
    spans,
    weather_stretch,
)
from drysward.site.supply import supply_input
from drysward.site.weather_years import weather_series
from drysward.studies.sweep.points import Point
from drysward.weather.series import Series

# Of weather and of fields that are held, which must not drive out what they share. It bounds the
# memory of a process however many years and points there are.
MOST_WEATHER_BYTES, MOST_FIELD_BYTES = 256 * 2**20, 128 * 2**20
_OF_FIELDS = ("ground", "play", "feed")
# Days of fields that are forced as they run: few enough to stay in the processor's own memory.
DAYS_AT_ONCE = 32
# The NetCDF library may be called by one thread of a process only.
NETCDF_LOCK = Lock()


class Held:
    """Values by key, each built once for all threads; the least recently used go first.

    The first part of a key is the kind of the value. ``cards`` are what runs the plans, None for
    the processor.
    """

    def __init__(self, cards: Cards | None = None) -> None:
        self.cards = cards
        self._weather, self._fields = _Values(MOST_WEATHER_BYTES), _Values(MOST_FIELD_BYTES)
        self._ahead = ThreadPoolExecutor(1, "ahead")

    def get(self, key: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:
        values = self._fields if key[0] in _OF_FIELDS else self._weather
        return values.get(key, make)

    def soon(self, make: Callable[[], Any]) -> None:
        """Build what will be needed, while others work; its error is raised when it is fetched."""
        self._ahead.submit(make)

    def has_room(self, times: float) -> bool:
        """Whether so many times of what is held now could be held."""
        pools = (self._weather, self._fields)
        return all(pool.bytes * times <= pool.most_bytes for pool in pools)


class _Values:
    """Values by key within a bound of memory."""

    def __init__(self, most_bytes: int) -> None:
        self.most_bytes = most_bytes
        self.bytes = 0
        self._lock = Lock()
        self._values: OrderedDict[Hashable, Future[Any]] = OrderedDict()
        self._sizes: dict[Hashable, int] = {}

    def get(self, key: Hashable, make: Callable[[], Any]) -> Any:
        with self._lock:
            value = self._values.get(key)
            mine = value is None
            if value is None:
                value = self._values[key] = Future()
            self._values.move_to_end(key)
        if mine:
            try:
                built = make()
            except BaseException as error:
                with self._lock:
                    del self._values[key]
                value.set_exception(error)
                raise
            value.set_result(built)
            self._count(key, _n_bytes(built) + _n_bytes(key))
        return value.result()

    def _count(self, key: Hashable, n_bytes: int) -> None:
        with self._lock:
            self._sizes[key] = n_bytes
            self.bytes += n_bytes
            for old in list(self._values):
                if self.bytes <= self.most_bytes:
                    break
                # What is still being built has no size yet and stays.
                if old != key and old in self._sizes:
                    del self._values[old]
                    self.bytes -= self._sizes.pop(old)


def _n_bytes(value: Any, seen: set[int] | None = None) -> int:
    """Bytes of all arrays and texts in a value of dataclasses and tuples, each counted once."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return 0
    seen.add(id(value))
    if isinstance(value, np.ndarray | np.void):
        return value.nbytes
    if isinstance(value, str):
        return len(value)
    if isinstance(value, tuple):
        return sum(_n_bytes(part, seen) for part in value)
    return sum(_n_bytes(part, seen) for part in getattr(value, "__dict__", {}).values())


@dataclass(frozen=True, eq=False)
class Part:
    """A stretch whose ``calendar.year`` counts from the first of its ``years``.

    ``from_year`` is the place of that year among all years of the run.
    """

    stretch: WeatherStretch
    years: tuple[int, ...]
    from_year: int


@dataclass(frozen=True, eq=False)
class Years:
    """The days that points of equal weather run on, and how they are cut."""

    series: Series
    spans: Spans

    @property
    def most_in_a_part(self) -> int:
        """Years of the longest stretch, or a few more."""
        return min(len(self.spans.years), YEARS_AT_ONCE)


def years_of(held: Held, point: Point, counted: tuple[int, int] | None = None) -> Years:
    """The years of a point's weather, those ``counted`` from first to last.

    FaultyInput for faulty weather, as ``drysward.run``.
    """

    def make() -> Years:
        with NETCDF_LOCK:
            series = weather_series(point.scenario)
        return Years(series, spans(point.scenario, series, counted))

    years: Years = held.get(("years", point.weather, counted), make)
    return years


def part_of(held: Held, point: Point, years: Years, place: int) -> Part:
    """The stretch ``place`` of a point's weather."""

    def make() -> Part:
        start, end = years.spans.parts[place]
        stretch = weather_stretch(point.scenario, years.series, years.spans, start, end)
        here = stretch.calendar.year[stretch.from_day :]
        counted = np.unique(here[here >= 0])
        first = int(counted[0]) if counted.size else 0
        year = stretch.calendar.year
        outside = (year < first) | (year >= first + counted.size)
        stretch.calendar.year = np.where(outside, -1, year - first)
        return Part(stretch, tuple(years.spans.years[i] for i in counted), first)

    part: Part = held.get(("part", point.weather, place), make)
    return part


def zone_of(held: Held, point: Point, i: int) -> RootZone:
    """The root zone of a point's field ``i``."""
    spec, catalog = point.scenario.fields[i], point.scenario.catalog
    zone: RootZone = held.get(("zone", point.fields[i]), lambda: field_root_zone(spec, catalog))
    return zone


def site_of(held: Held, point: Point, part: Part, place: int) -> PreparedSite:
    """A point's site on a stretch of its weather, ready for any of its plans."""
    scenario, stretch = point.scenario, part.stretch
    zones = tuple(zone_of(held, point, i) for i in range(len(scenario.fields)))
    on: Ground = held.get(
        ("ground", point.weather, point.fields, place), lambda: ground_of(scenario, zones, stretch)
    )
    # Syringing by any plan gives all fields play.
    syringed = any_syringed(scenario.plans)
    key = (point.weather, point.fields, place)
    play: PlayInput = held.get(
        ("play", *key, syringed),
        lambda: play_input(scenario, zones, on.fields, stretch.weather, on.covered),
    )
    feed: FeedInput = held.get(
        ("feed", *key), lambda: feed_input(scenario, zones, on.fields, stretch.weather)
    )
    return _site(held, point, part, place, zones, on.fields, on.days, play, feed)


def _site(
    held: Held,
    point: Point,
    part: Part,
    place: int,
    zones: tuple[RootZone, ...],
    fields: np.recarray,
    days: np.recarray,
    play: PlayInput,
    feed: FeedInput,
    forcing: Forcing = NOTHING_TO_FORCE,
) -> PreparedSite:
    """A point's site on such fields, of which the first are its own."""
    scenario, stretch = point.scenario, part.stretch
    supply: SupplyInput = held.get(
        ("supply", point.weather, point.supply, place),
        lambda: supply_input(scenario, stretch.weather, stretch.calendar),
    )
    return PreparedSite(
        scenario=scenario,
        weather=stretch.weather,
        calendar=stretch.calendar,
        from_day=stretch.from_day,
        years=part.years,
        left_out=(),
        zones=zones,
        fields=fields,
        days=days,
        delivery=delivery_of(scenario),
        catches=catches_of(scenario),
        reaches=reaches_of(scenario),
        supply=supply,
        play=play,
        feed=feed,
        columns=np.arange(len(scenario.fields)),
        forcing=forcing,
    )


def for_point(site: PreparedSite, point: Point, columns: np.ndarray) -> PreparedSite:
    """The site of a point that shares ``site``, on its own fields ``columns`` (F,) of that."""
    return replace(
        site,
        scenario=point.scenario,
        delivery=delivery_of(point.scenario),
        catches=catches_of(point.scenario),
        reaches=reaches_of(point.scenario),
        columns=columns,
    )


class Grounds:
    """What the fields of points are, a column for each different one, for them to go together.

    Points must share weather, supply and answers. Where all have the same fields these are forced
    once and held; otherwise no other point needs them, and they are forced as the points run.
    """

    def __init__(self, held: Held, points: Sequence[Point]) -> None:
        self.held, self.points, self.first = held, points, points[0]
        self.is_shared = all(point.fields == self.first.fields for point in points)
        self.forcing = NOTHING_TO_FORCE
        self.zones: tuple[RootZone, ...] = ()
        if self.is_shared:
            # A column for each field, of which several may be alike.
            self.columns = [np.arange(len(self.first.fields)) for _ in points]
            return
        places: dict[str, int] = {}
        self.columns = [
            np.array([places.setdefault(what, len(places)) for what in point.fields])
            for point in points
        ]
        # A point that has each column, and which of its fields that is.
        self.of_column = {
            int(c): (point, i)
            for point, columns in zip(points, self.columns, strict=True)
            for i, c in enumerate(columns)
        }
        of_column = [self.of_column[c] for c in range(len(self.of_column))]
        self.zones = tuple(zone_of(self.held, point, i) for point, i in of_column)
        of_fields = [
            (point.scenario.fields[i], zone, point.scenario.catalog)
            for (point, i), zone in zip(of_column, self.zones, strict=True)
        ]
        southern = self.first.scenario.site.latitude_deg < 0.0
        self.forcing = forcing_of(of_fields, southern, DAYS_AT_ONCE)

    def site(self, part: Part, place: int) -> PreparedSite:
        """The site of all points on a stretch; the scenario is that of the first."""
        if self.is_shared:
            return site_of(self.held, self.first, part, place)
        weather, scenario = part.stretch.weather, self.first.scenario
        n = part.stretch.calendar.size
        kept_off_mm = np.zeros((len(self.zones), n))
        has_play = any_has_play(scenario)
        play = PlayInput(
            records(PLAY_FIELD, len(self.zones)),
            records(PLAY_DAY, (n if has_play else 0, len(self.zones))),
        )
        for c, (point, i) in self.of_column.items() if has_play else ():
            spec = point.scenario.fields[i]
            covered = field_covers(spec, weather)
            kept_off_mm[c] = covered.kept_off_mm
            alone = replace(point.scenario, fields=(spec,))
            field = self.forcing.fields[c : c + 1].view(np.recarray)
            one = play_input(alone, self.zones[c : c + 1], field, weather, [covered])
            play.fields[c], play.days[: len(one.days), c] = one.fields[0], one.days[:, 0]
        feed = FeedInput(
            records(FEED_FIELD, len(self.zones)),
            records(FEED_DAY, (n if scenario.fed else 0, len(self.zones))),
        )
        for c, (point, i) in self.of_column.items() if scenario.fed else ():
            alone = replace(point.scenario, fields=(point.scenario.fields[i],))
            field = self.forcing.fields[c : c + 1].view(np.recarray)
            fed = feed_input(alone, self.zones[c : c + 1], field, weather)
            feed.fields[c], feed.days[: len(fed.days), c] = fed.fields[0], fed.days[:, 0]
        forcing = self.forcing._replace(weather=weather.days, kept_off_mm=kept_off_mm)
        if place == 0:
            force_first_day(forcing, part.stretch.calendar)
        return _site(
            self.held, self.first, part, place, self.zones, forcing.fields, forcing.days, play,
            feed, forcing,
        )  # fmt: skip


