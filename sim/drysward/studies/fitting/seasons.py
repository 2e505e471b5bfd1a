"""The season so far of many draws, side by side, on what was really put on.

The same account as ``studies.season.ahead.start_at`` with a log, for scenarios that differ only in
numbers that are not known. A log is what was delivered, so no limit of night, ground or supply
cuts it; the turf year before follows the first plan without limits of the supply. Where the level
of a pond or tank was read, a second account keeps the books of the supply.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drysward.day.feeding import FeedInput
from drysward.drive.runs import Runs, advance_all, start_runs
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site.play import PlayInput
from drysward.site.root_zone import RootZone, field_root_zone
from drysward.site.stretches import (
    PreparedSite,
    Spans,
    WeatherStretch,
    site_on,
    weather_stretch,
)
from drysward.site.supply import supplies_alongside
from drysward.studies.season.ahead import (
    DAILY,
    account_of,
    as_applied,
    carried_over,
    without_limits,
)
from drysward.studies.season.logs import Log
from drysward.weather.record import DailyRecord
from drysward.weather.series import recorded

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Span:
    """The days that a fit runs on: weather of the turf year before and of this one to ``stop``.

    All draws share it, because numbers of snow, frost and spray loss are none of theirs.
    """

    first: np.datetime64
    begins: np.datetime64
    stop: np.datetime64
    spans: tuple[Spans, Spans]
    before: WeatherStretch | None
    this: WeatherStretch

    @property
    def dates(self) -> NDArray[np.datetime64]:
        """Days of this turf year, (T,)."""
        return np.arange(max(self.first, self.begins), self.stop)


def span_of(scenario: Scenario, record: DailyRecord, stop: np.datetime64) -> Span:
    """The days of ``record`` to the one before ``stop`` that a fit runs on."""
    year, begins, first = account_of(scenario, record, stop - 1)
    series = recorded(record)

    def stretch(start: np.datetime64, end: np.datetime64) -> tuple[Spans, WeatherStretch]:
        span = Spans((year,), (), ((start, end),))
        return span, weather_stretch(scenario, series, span, start, end)

    this_span, this = stretch(max(first, begins), stop)
    before_span, before = stretch(first, begins) if first < begins else (this_span, None)
    return Span(first, begins, stop, (before_span, this_span), before, this)


@dataclass(frozen=True, eq=False)
class Seasons:
    """Daily numbers of K draws by name (K, T, F), at the end of each day of ``dates`` (T,)."""

    dates: NDArray[np.datetime64]
    daily: dict[str, FloatArray]
    scenarios: tuple[Scenario, ...]
    zones: tuple[tuple[RootZone, ...], ...]
    surface_mm: FloatArray  # (K, F), depth of the surface layer
    storage_m3: FloatArray  # (K, T), water in storage; (K, 0) without books of the supply


def seasons_so_far(
    scenarios: Sequence[Scenario], span: Span, log: Log, has_books: bool = False
) -> Seasons:
    """The season of each scenario on the water of the log; they differ in numbers only.

    ``has_books``: also those of the supply, which the log draws on.
    """
    alone = [replace(one, supply=None) for one in scenarios]
    zones = [tuple(field_root_zone(spec, one.catalog) for spec in one.fields) for one in alone]
    runs, site = _account(alone, zones, span, log, has_limits=False)
    storage = np.empty((len(alone), 0))
    if has_books:
        books, _ = _account(scenarios, zones, span, log, has_limits=True)
        storage = np.asarray(books.supply.trace["storage"], float)
    return Seasons(
        span.dates,
        {name: np.asarray(runs.trace[name], float) for name in DAILY},
        tuple(scenarios),
        tuple(zones),
        site.fields.surface_mm[runs.columns],
        storage,
    )


def _account(
    scenarios: Sequence[Scenario],
    zones: Sequence[tuple[RootZone, ...]],
    span: Span,
    log: Log,
    has_limits: bool,
) -> tuple[Runs, PreparedSite]:
    """Runs through the turf year before on the first plan, and through this one on the log."""
    before: Runs | None = None
    if span.before is not None:
        runs, site = _started(scenarios, zones, span.before, span.spans[0],
                              [one.plans[0] for one in scenarios])  # fmt: skip
        before = advance_all(site, runs)
    in_year = log.between(span.begins, span.stop)
    applied = as_applied([in_year.applied_mm(one) for one in scenarios], scenarios[0])
    runs, site = _started(scenarios, zones, span.this, span.spans[1], [applied] * len(scenarios))
    if before is not None:
        runs = carried_over(runs, before, with_supply=has_limits)
    if not has_limits:
        runs = without_limits(runs)
    return advance_all(site, runs, slice(site.from_day, None)), site


def _started(
    scenarios: Sequence[Scenario],
    zones: Sequence[tuple[RootZone, ...]],
    part: WeatherStretch,
    span: Spans,
    plans: Sequence[PlanSpec],
) -> tuple[Runs, PreparedSite]:
    """Runs of scenarios side by side, and a site with the fields of all of them."""
    sites = [site_on(one, of, part, span) for one, of in zip(scenarios, zones, strict=True)]
    play = PlayInput(
        np.concatenate([site.play.fields for site in sites]).view(np.recarray),
        np.concatenate([site.play.days for site in sites], axis=1).view(np.recarray),
    )
    feed = FeedInput(
        np.concatenate([site.feed.fields for site in sites]).view(np.recarray),
        np.concatenate([site.feed.days for site in sites], axis=1).view(np.recarray),
    )
    whole = replace(
        sites[0],
        fields=np.concatenate([site.fields for site in sites]).view(np.recarray),
        days=np.concatenate([site.days for site in sites], axis=1).view(np.recarray),
        play=play,
        feed=feed,
        zones=tuple(zone for of in zones for zone in of),
        supply=supplies_alongside([site.supply for site in sites]),
    )
    n_fields = len(zones[0])
    starts = []
    for k, (site, plan) in enumerate(zip(sites, plans, strict=True)):
        columns = k * n_fields + np.arange(n_fields)
        starts.append(
            (replace(site, fields=whole.fields, days=whole.days, play=play, feed=feed,
                     zones=whole.zones, columns=columns), plan)
        )  # fmt: skip
    runs = start_runs(starts, n_years=1)
    runs.supply_of = np.arange(len(sites))
    return runs, whole
