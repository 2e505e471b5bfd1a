"""What points of a sweep have in common, made once and held within a bound of memory."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np

from drysward.day.supply import SupplyInput
from drysward.day.surface import PlayInput
from drysward.site.play import play_input
from drysward.site.root_zone import RootZone, build_root_zone
from drysward.site.stretches import (
    Ground,
    PreparedSite,
    Spans,
    WeatherStretch,
    catches_of,
    delivery_of,
    ground_of,
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
_OF_FIELDS = ("ground", "play")
# The NetCDF library may be called by one thread of a process only.
NETCDF_LOCK = Lock()


class Held:
    """Values by key, each made once though threads ask together; the least used go first.

    The first part of a key is the kind of the value.
    """

    def __init__(self) -> None:
        self._weather, self._fields = _Values(MOST_WEATHER_BYTES), _Values(MOST_FIELD_BYTES)
        self._ahead = ThreadPoolExecutor(1, "ahead")

    def get(self, key: tuple[Hashable, ...], make: Callable[[], Any]) -> Any:
        values = self._fields if key[0] in _OF_FIELDS else self._weather
        return values.get(key, make)

    def soon(self, make: Callable[[], Any]) -> None:
        """Make what will be asked for, while others work; what goes wrong is met when it is."""
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
                made = make()
            except BaseException as error:
                with self._lock:
                    del self._values[key]
                value.set_exception(error)
                raise
            value.set_result(made)
            self._count(key, _n_bytes(made))
        return value.result()

    def _count(self, key: Hashable, n_bytes: int) -> None:
        with self._lock:
            self._sizes[key] = n_bytes
            self.bytes += n_bytes
            for old in list(self._values):
                if self.bytes <= self.most_bytes:
                    break
                # What is still being made has no size yet and stays.
                if old != key and old in self._sizes:
                    del self._values[old]
                    self.bytes -= self._sizes.pop(old)


def _n_bytes(value: Any, seen: set[int] | None = None) -> int:
    """Bytes of all arrays in a value made of dataclasses and tuples, each counted once."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return 0
    seen.add(id(value))
    if isinstance(value, np.ndarray | np.void):
        return value.nbytes
    if isinstance(value, tuple):
        return sum(_n_bytes(part, seen) for part in value)
    return sum(_n_bytes(part, seen) for part in getattr(value, "__dict__", {}).values())


@dataclass(frozen=True, eq=False)
class Part:
    """A stretch whose ``calendar.year`` counts from the first of its own ``years``.

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


def years_of(held: Held, point: Point) -> Years:
    """FaultyInput for faulty weather, as ``drysward.run``."""

    def make() -> Years:
        with NETCDF_LOCK:
            series = weather_series(point.scenario)
        return Years(series, spans(point.scenario, series))

    years: Years = held.get(("years", point.weather), make)
    return years


def part_of(held: Held, point: Point, years: Years, place: int) -> Part:
    """The stretch ``place`` of a point's weather."""

    def make() -> Part:
        start, end = years.spans.parts[place]
        made = weather_stretch(point.scenario, years.series, years.spans, start, end)
        here = made.calendar.year[made.from_day :]
        counted = np.unique(here[here >= 0])
        first = int(counted[0]) if counted.size else 0
        year = made.calendar.year
        outside = (year < first) | (year >= first + counted.size)
        made.calendar.year = np.where(outside, -1, year - first)
        return Part(made, tuple(years.spans.years[i] for i in counted), first)

    part: Part = held.get(("part", point.weather, place), make)
    return part


def site_of(held: Held, point: Point, part: Part, place: int) -> PreparedSite:
    """A point's site on a stretch of its weather, ready for any of its plans."""
    scenario, stretch = point.scenario, part.stretch

    def zone(i: int) -> RootZone:
        spec = scenario.fields[i].root_zone
        made: RootZone = held.get(
            ("zone", point.fields[i]), lambda: build_root_zone(spec, scenario.catalog)
        )
        return made

    zones = tuple(map(zone, range(len(scenario.fields))))
    on: Ground = held.get(
        ("ground", point.weather, point.fields, place), lambda: ground_of(scenario, zones, stretch)
    )
    # Syringing by any plan has all fields looked at.
    syringed = any(plan.syringe is not None for plan in scenario.plans)
    key = (point.weather, point.fields, place)
    play: PlayInput = held.get(
        ("play", *key, syringed),
        lambda: play_input(scenario, zones, on.fields, stretch.weather, on.covered),
    )
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
        fields=on.fields,
        days=on.days,
        delivery=delivery_of(scenario),
        catches=catches_of(scenario),
        supply=supply,
        play=play,
    )


