"""The supply of a scenario as arrays for the day step: daily limits of sources and storage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import (
    INDEX_CALENDAR,
    INDEX_DROUGHT,
    INDEX_STORAGE,
    MONTHS,
    SITE_STAGE,
    SOURCE,
    STORAGE_STATE,
    SUPPLY,
    SUPPLY_TRACE,
    SUPPLY_YEAR,
    USED,
    records,
)
from drysward.day.supply import SupplyInput, SupplyState
from drysward.physics.catchment import hard_surface_runoff_mm
from drysward.physics.curve_number import INITIAL_ABSTRACTION, rain_runoff, retention_mm
from drysward.physics.low_flow import may_draw
from drysward.physics.night_draw import DAY_H, pumped_in_window_m3
from drysward.physics.pond import open_water_evaporation_mm
from drysward.scenario.model import (
    CatchmentSpec,
    FieldSpec,
    Restrictions,
    Scenario,
    SourceSpec,
    StorageSpec,
    SupplySpec,
)
from drysward.scenario.supply_tables import GRASS, RATIONS
from drysward.scenario.values import MM_PER_M
from drysward.site.forcing import in_season
from drysward.site.plans import machines_of
from drysward.site.site_weather import SiteWeather

FloatArray = NDArray[np.float64]

FIRST_MONTH, FIRST_MONTH_SOUTH = 0, 6  # of a turf year
INDICES = {"drought": INDEX_DROUGHT, "storage": INDEX_STORAGE, "calendar": INDEX_CALENDAR}
NO_STORAGE = StorageSpec("tank", volumes_m3=(0.0, 0.0), areas_m2=(0.0, 0.0))


def supply_of(scenario: Scenario) -> SupplySpec:
    """The scenario's supply; without one, a single source limited by ``site.supply``."""
    if scenario.supply is not None:
        return scenario.supply
    day_m3 = {"day": scenario.site.supply_m3_d}
    return SupplySpec((SourceSpec("supply", "Supply", "mains", allowance_m3=day_m3),))


class SupplyDays(NamedTuple):
    """D days of a supply with S sources and C catchments, independent of their size.

    ``is_open`` (D, S): whether a source can be drawn on; ``shed_mm`` (C, D): runoff of each
    catchment; ``rain_mm`` and ``evaporation_mm`` (D,) of open water.
    """

    is_open: NDArray[np.bool_]
    shed_mm: FloatArray
    rain_mm: FloatArray
    evaporation_mm: FloatArray


def supply_days(scenario: Scenario, weather: SiteWeather, calendar: np.recarray) -> SupplyDays:
    """A stretch of days for the scenario's supply.

    ``calendar`` is CALENDAR (D,). ValueError for a curve number outside of 0 to 100.
    """
    spec = supply_of(scenario)
    storage = spec.storage or NO_STORAGE
    shed_mm = [catchment_runoff_mm(one, weather.days.liquid_mm) for one in spec.catchments]
    return SupplyDays(
        is_open=open_days(spec.sources, weather.drought_index_mm[:-1], calendar.day_of_year),
        shed_mm=np.array(shed_mm).reshape(-1, calendar.size),
        # Snow on a pond counts as its water, on ice or in it.
        rain_mm=weather.record.rain_mm,
        evaporation_mm=open_water_evaporation_mm(weather.et.eto_mm, storage.evaporation_factor),
    )


def supply_input(scenario: Scenario, weather: SiteWeather, calendar: np.recarray) -> SupplyInput:
    """SupplyInput of D days, the same under every plan; its first axis is one supply.

    ``calendar`` and errors as ``supply_days``.
    """
    return sized_input(scenario, supply_days(scenario, weather, calendar))


def sized_input(scenario: Scenario, days: SupplyDays) -> SupplyInput:
    """``supply_input`` on known ``days``, of this supply or of one that differs only in size."""
    spec = supply_of(scenario)
    storage = spec.storage or NO_STORAGE
    source_m3, window_m3 = daily_limits_m3(spec, days.is_open)
    enter, leave = stage_limits(spec.restrictions)
    alone = SupplyInput(
        site=site_record(spec, scenario),
        sources=source_records(spec.sources, southern=scenario.site.latitude_deg < 0.0),
        source_m3=source_m3,
        window_m3=window_m3,
        catchment_m3=catchments_m3(spec.catchments, days.shed_mm),
        rain_mm=days.rain_mm,
        evaporation_mm=days.evaporation_mm,
        volumes=np.array(storage.volumes_m3, float),
        areas=np.array(storage.areas_m2, float),
        stages=stage_records(spec.restrictions),
        enter=enter,
        leave=leave,
        exempt=exempt_fields(spec.restrictions, scenario.fields),
        priority=np.array([field.priority for field in scenario.fields], np.int64),
        # By key, so that the order of fields in the file does not change rounding.
        turn=np.argsort([field.key for field in scenario.fields]),
    )
    return SupplyInput(*(array[None] for array in alone))


def supplies_alongside(supplies: Sequence[SupplyInput]) -> SupplyInput:
    """Several supplies of one site as one input, whose first axis is the supply."""
    return SupplyInput(*(np.concatenate(arrays) for arrays in zip(*supplies, strict=True)))


def start_supply(scenario: Scenario, supply: SupplyInput, n_years: int) -> SupplyState:
    """The supply on the first day: storage filled as the scenario says, nothing drawn."""
    storage = supply_of(scenario).storage or NO_STORAGE
    n_sources = supply.sources.shape[1]
    state = records(STORAGE_STATE, 1)
    state.volume = storage.start_share * storage.volumes_m3[-1]
    return SupplyState(
        storage=state,
        used=records(USED, n_sources),
        years=records(SUPPLY_YEAR, n_years),
        draws=np.zeros((n_years, n_sources, MONTHS)),
        storage_month=np.zeros((n_years, MONTHS)),
        trace=records(SUPPLY_TRACE, 0),
    )


def catchment_runoff_mm(catchment: CatchmentSpec, liquid_mm: FloatArray) -> FloatArray:
    """Runoff of a catchment (n,) from rain and melt ``liquid_mm`` (n,).

    ValueError for grass with a curve number outside of 0 to 100.
    """
    if catchment.kind == GRASS:
        retention = retention_mm(catchment.runoff)
        least = INITIAL_ABSTRACTION * retention

        def shed_mm(day_mm: float) -> float:
            return rain_runoff(day_mm, retention, least)
    else:
        least = catchment.first_flush_mm

        def shed_mm(day_mm: float) -> float:
            return hard_surface_runoff_mm(day_mm, catchment.runoff, least)

    out = np.zeros(liquid_mm.size)
    for day in np.flatnonzero(liquid_mm > least):  # few days shed any
        out[day] = shed_mm(float(liquid_mm[day]))
    return out


def catchments_m3(catchments: Sequence[CatchmentSpec], shed_mm: FloatArray) -> FloatArray:
    """Runoff of all catchments together (n,), m3, from the runoff of each (C, n)."""
    out = np.zeros(shed_mm.shape[1])
    for catchment, runoff_mm in zip(catchments, shed_mm, strict=True):
        out += runoff_mm * (catchment.area_m2 / MM_PER_M)
    return out


def open_days(
    sources: Sequence[SourceSpec], drought_index_mm: FloatArray, day_of_year: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether each source can be drawn on, on each day (D, S)."""
    out = np.zeros((day_of_year.size, len(sources)), bool)
    for s, source in enumerate(sources):
        out[:, s] = in_season(day_of_year, source.season) & may_draw(
            drought_index_mm, source.stops_above_mm, source.resumes_below_mm
        )
    return out


def daily_limits_m3(
    spec: SupplySpec, is_open: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Limit of each source on each day, and while fields water; each (D, S), m3."""
    whole_day, in_window = np.zeros(is_open.shape), np.zeros(is_open.shape)
    for s, source in enumerate(spec.sources):
        for out, hours in ((whole_day, DAY_H), (in_window, spec.window_h)):
            volume = pumped_in_window_m3(source.rate_m3_h, source.hours, hours)
            out[:, s] = np.where(is_open[:, s], volume, 0.0)
    return whole_day, in_window


def site_record(spec: SupplySpec, scenario: Scenario) -> np.recarray:
    """SUPPLY (1,); on when the scenario has a supply, or when a source or crew sets a limit."""
    storage = spec.storage or NO_STORAGE
    out = records(SUPPLY, 1)
    limits = [limit for source in spec.sources for limit in source.allowance_m3.values()]
    machines = [machine for machine in machines_of(scenario.fields) if machine >= 0]
    crew_h = math.inf if scenario.site.crew_h is None else scenario.site.crew_h
    out.crew = crew_h
    out.is_shared = (bool(machines) and crew_h < math.inf) or len(set(machines)) < len(machines)
    out.on = scenario.supply is not None or not all(map(math.isinf, limits)) or out.is_shared
    out.window = spec.window_h
    out.network = pumped_in_window_m3(spec.network_m3_h, DAY_H, spec.window_h)
    out.capacity = storage.volumes_m3[-1]
    out.dead = storage.dead_m3
    out.seepage = storage.seepage_mm_d
    if spec.restrictions is not None:
        out.index = INDICES[spec.restrictions.index]
        out.stages = len(spec.restrictions.stages)
    return out


def source_records(sources: Sequence[SourceSpec], southern: bool = False) -> np.recarray:
    """SOURCE (S,)."""
    first_month = FIRST_MONTH_SOUTH if southern else FIRST_MONTH
    out = records(SOURCE, len(sources))
    for row, source in zip(out, sources, strict=True):
        row.to_fields = source.feeds != "storage"
        row.to_storage = source.feeds != "fields"
        row.first = source.first
        row.season_first, row.season_last = source.season
        for span in ("day", "week", "month", "year"):
            row[span] = source.allowance_m3.get(span, math.inf)
        row.ration = RATIONS.index(source.ration)
        if source.month_shares:
            shares = np.roll(source.month_shares, -first_month)
            row.cumulative_share[:] = np.roll(np.cumsum(shares), first_month)
    return out


def stage_records(restrictions: Restrictions | None) -> np.recarray:
    """SITE_STAGE (R,); R is 0 without restrictions."""
    stages = restrictions.stages if restrictions else ()
    out = records(SITE_STAGE, len(stages))
    for row, stage in zip(out, stages, strict=True):
        row.first, row.last = stage.first, stage.last
        row.share = stage.share
        row.crown_only = stage.crown_only
        row.allowed[:] = stage.allowed
    return out


def stage_limits(restrictions: Restrictions | None) -> tuple[FloatArray, FloatArray]:
    """Index at which each stage starts and ends, (R,) each; signs are reversed when less storage is
    worse.
    """
    stages = restrictions.stages if restrictions else ()
    sign = -1.0 if restrictions and restrictions.index == "storage" else 1.0
    limits = np.array([[stage.enter, stage.leave] for stage in stages], float).reshape(-1, 2)
    return sign * limits[:, 0], sign * limits[:, 1]


def exempt_fields(restrictions: Restrictions | None, fields: Sequence[FieldSpec]) -> FloatArray:
    """1 where a stage does not apply to a field, else 0, (R, F)."""
    stages = restrictions.stages if restrictions else ()
    out = np.zeros((len(stages), len(fields)))
    for r, stage in enumerate(stages):
        out[r] = [field.key in stage.exempt for field in fields]
    return out
