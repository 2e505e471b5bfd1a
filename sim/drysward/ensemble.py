"""Every plan over every year of a scenario: weather file in, Dataset of yearly numbers out."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import xarray as xr

from drysward import __version__
from drysward.day.compiled import compiled_run_site
from drysward.day.records import (
    CALENDAR_DAYS,
    FIELD_STATE,
    FLOWS,
    MONTHS,
    PATCH,
    STAGES,
    TRACE,
    YEAR,
    records,
)
from drysward.day.season import NO_DORMANCY, run_site
from drysward.faults import Fault, FaultyInput
from drysward.forcing import SiteWeather, calendar_records, field_forcing, site_weather
from drysward.irrigation.plan_records import plan_record
from drysward.irrigation.uniformity import patch_catches
from drysward.root_zone import RootZone, build_root_zone
from drysward.scenario.model import PlanSpec, Scenario
from drysward.weather.procedures import reference_et
from drysward.weather.read import read_weather
from drysward.weather.record import DailyRecord

LONG_AGO_DAYS = 10_000.0
# The account must close within this on every day and patch, or the run is refused.
ACCOUNT_TOLERANCE_MM = 1e-9


@dataclass(frozen=True, eq=False)
class PreparedSite:
    """Everything of a scenario that does not depend on the plan."""

    scenario: Scenario
    weather: SiteWeather
    calendar: np.recarray
    years: tuple[int, ...]
    left_out: tuple[str, ...]
    zones: tuple[RootZone, ...]
    fields: np.recarray  # FIELD (F,)
    days: np.recarray  # DAY (n, F)
    catches: np.ndarray  # (F, P)


def read_scenario_weather(scenario: Scenario) -> DailyRecord:
    """The daily record that the scenario names. FaultyInput with every fault of the file."""
    source = scenario.weather
    return read_weather(
        source.file,
        columns=source.columns or None,
        fill=source.fill,
        wind_height_m=source.wind_height_m,
        ignore=source.ignore,
    )


def prepare(
    scenario: Scenario,
    record: DailyRecord | None = None,
    years: tuple[int, int] | None = None,
) -> PreparedSite:
    """Resolve soils, species and weather of a scenario.

    ``years`` counts only those from first to last; earlier ones still run, so that soil water
    is carried into them. FaultyInput when no year is complete.
    """
    record = read_scenario_weather(scenario) if record is None else record
    if years is not None:
        turn = "07-01" if scenario.site.latitude_deg < 0 else "01-01"
        stop = np.datetime64(f"{years[1] + 1}-{turn}")
        keep = int((record.dates < stop).sum())
        if keep:
            record = record.select(slice(0, keep))
    site = scenario.site
    southern = site.latitude_deg < 0.0
    et = reference_et(record, site.latitude_deg, site.elevation_m, site.coastal, site.arid)
    catalog = scenario.catalog
    weather = site_weather(record, et, catalog, scenario.answers.drought_days)
    calendar = calendar_records(record.dates, southern)
    calendar.in_season = in_season(calendar.day_of_year, scenario.answers.season)
    counted, left_out = _count_years(record, calendar, southern, scenario, years)
    zones = tuple(build_root_zone(f.root_zone, catalog) for f in scenario.fields)
    made = [
        field_forcing(spec, zone, weather, catalog, calendar, southern)
        for spec, zone in zip(scenario.fields, zones, strict=True)
    ]
    patches = max(f.patches for f in scenario.fields)
    return PreparedSite(
        scenario=scenario,
        weather=weather,
        calendar=calendar,
        years=counted,
        left_out=left_out,
        zones=zones,
        fields=np.concatenate([field for field, _ in made]).view(np.recarray),
        days=np.ascontiguousarray(np.stack([day for _, day in made], axis=1)).view(np.recarray),
        catches=np.stack(
            [patch_catches(f.delivery.distribution_uniformity, patches) for f in scenario.fields]
        ),
    )


def in_season(day_of_year: np.ndarray, season: tuple[int, int]) -> np.ndarray:
    """Whether calendar days lie in a season that may run over the turn of the year."""
    first, last = season
    if first <= last:
        return (day_of_year >= first) & (day_of_year <= last)
    return (day_of_year >= first) | (day_of_year <= last)


def _count_years(
    record: DailyRecord,
    calendar: np.recarray,
    southern: bool,
    scenario: Scenario,
    years: tuple[int, int] | None,
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Mark the counted years in ``calendar``; a turf year is named by the year it starts in."""
    shift = 6 if southern else 0
    turf_year = (record.dates.astype("datetime64[M]") - shift).astype("datetime64[Y]").astype(int)
    turf_year = turf_year + 1970
    counted: list[int] = []
    left_out: list[str] = []
    for year in np.unique(turf_year):
        here = turf_year == year
        asked = years is None or years[0] <= year <= years[1]
        if not asked:
            continue
        if here.sum() < scenario.answers.fewest_days or not calendar.first[here][0]:
            left_out.append(f"{year} ({int(here.sum())} days)")
            continue
        calendar.year[here] = len(counted)
        counted.append(int(year))
    if not counted:
        held = f"{record.dates[0]} to {record.dates[-1]}"
        raise FaultyInput(
            Fault(
                str(scenario.weather.file),
                f"no complete year among the days asked for; the file holds {held}",
                f"a year counts from {scenario.answers.fewest_days} days on",
            )
        )
    return tuple(counted), tuple(left_out)


@dataclass(frozen=True, eq=False)
class PlanRun:
    """What one plan did: YEAR (F, Y), odds (F, 4, 366), green sum (F, 366), TRACE (T, F)."""

    years: np.recarray
    odds: np.ndarray
    green: np.ndarray
    trace: np.recarray


def start_patches(site: PreparedSite) -> np.recarray:
    """PATCH (F, P) of established turf with the scenario's share of available water."""
    share = site.scenario.answers.start_soil_water
    out = records(PATCH, site.catches.shape)
    first = site.days[0]
    out.w1 = (site.fields.wp1 + share * (site.fields.fc1 - site.fields.wp1))[:, None]
    out.w2 = (first.wp2 + share * (first.fc2 - first.wp2))[:, None]
    out.w3 = (first.wp3 + share * (first.fc3 - first.wp3))[:, None]
    out.green = 1.0
    return out


def run_plan(
    site: PreparedSite, plan: PlanSpec, trace: slice = slice(0, 0), compiled: bool = True
) -> PlanRun:
    """Run one plan over all days; ``trace`` asks for the daily account of a span of days."""
    scenario = site.scenario
    n_fields = site.fields.size
    n_days = site.calendar.size
    states = records(FIELD_STATE, n_fields)
    states.days_since_water = LONG_AGO_DAYS
    patches = start_patches(site)
    first = site.days[0]
    held = (patches.w1 + patches.w2).mean(axis=1)
    states.depletion = (site.fields.fc1 + first.fc2 - held) * first.inv_taw
    plans = np.concatenate([plan_record(plan, f) for f in scenario.fields]).view(np.recarray)
    out = PlanRun(
        years=records(YEAR, (n_fields, len(site.years))),
        odds=np.zeros((n_fields, len(STAGES), CALENDAR_DAYS), np.int64),
        green=np.zeros((n_fields, CALENDAR_DAYS)),
        trace=records(TRACE, (max(trace.stop - trace.start, 0), n_fields)),
    )
    rain = site.weather.record.rain_mm
    (compiled_run_site() if compiled else run_site)(
        site.fields,
        site.days,
        site.calendar,
        np.concatenate([[0.0], np.cumsum(rain)]),
        site.weather.drought_index_mm,
        site.weather.spray_loss,
        plans,
        site.catches,
        np.full(n_days, scenario.site.supply_m3_d),
        np.array([scenario.answers.reached[stage] for stage in STAGES]),
        scenario.answers.turf == "established each year",
        patches,
        states,
        out.years,
        out.odds,
        out.green,
        records(FLOWS, 1),
        out.trace,
        trace.start,
    )
    worst = float(out.years.residual.max())
    if not worst <= ACCOUNT_TOLERANCE_MM:
        raise ArithmeticError(
            f"the water account of plan '{plan.key}' is short by {worst:.3g} mm on some day; "
            "this is a fault of the program, please report it with the scenario"
        )
    return out


def run(
    scenario: Scenario,
    years: tuple[int, int] | None = None,
    only: Sequence[str] | None = None,
    on_progress: Callable[[int, int], None] | None = None,
    workers: int | None = None,
    record: DailyRecord | None = None,
) -> xr.Dataset:
    """Run every plan of a scenario on every field and year.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    years : first and last year to count; all complete ones when None.
    only : keys of the plans to run; all when None.
    on_progress : called with plans done and plans in all.
    workers : threads; as many as there are cores when None.
    record : daily weather to use in place of the scenario's file.

    Returns
    -------
    Dataset with dimensions field, plan, year, month, stage and day_of_year; depths in mm.

    Raises
    ------
    FaultyInput
        For a faulty weather file or a name that is not known.
    ArithmeticError
        When the water account does not close (a fault of the program).
    """
    plans = scenario.plans
    if only is not None:
        plans = tuple(scenario.plan_named(key) for key in only)
    site = prepare(scenario, record, years)
    compiled_run_site()
    runs: list[PlanRun] = []
    with ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        for done, one in enumerate(pool.map(lambda plan: run_plan(site, plan), plans), 1):
            runs.append(one)
            if on_progress is not None:
                on_progress(done, len(plans))
    return as_dataset(site, plans, runs)


def as_dataset(
    site: PreparedSite, plans: Sequence[PlanSpec], runs: Sequence[PlanRun]
) -> xr.Dataset:
    """The runs of several plans as one self-describing Dataset."""
    scenario = site.scenario
    catalog = scenario.catalog
    by_year = np.stack([r.years for r in runs], axis=1).view(np.recarray)  # (F, plan, Y)
    data: dict[str, tuple] = {}
    for name in YEAR.names or ():
        values = np.ascontiguousarray(by_year[name])
        dims: tuple[str, ...] = ("field", "plan", "year")
        if values.ndim == 4:
            dims = (*dims, "month")
        if name == "recovery_days":
            data["not_recovered"] = (dims, (values < NO_DORMANCY).astype(np.int8))
            values = np.where(values < 0.0, np.nan, values)
        data[name] = (dims, values)
    seen = _calendar_counts(site)
    odds = np.stack([r.odds for r in runs], axis=1) / seen
    green = np.stack([r.green for r in runs], axis=1) / seen
    data["odds"] = (("field", "plan", "stage", "day_of_year"), odds)
    data["green_cover"] = (("field", "plan", "day_of_year"), green)

    out = xr.Dataset(
        data,
        coords={
            "field": [f.key for f in scenario.fields],
            "plan": [p.key for p in plans],
            "year": np.array(site.years, np.int32),
            "month": np.arange(1, MONTHS + 1, dtype=np.int32),
            "stage": list(STAGES),
            "day_of_year": np.arange(1, CALENDAR_DAYS + 1, dtype=np.int32),
            "field_label": ("field", [f.label for f in scenario.fields]),
            "plan_label": ("plan", [p.label for p in plans]),
            "area_m2": ("field", [f.area_m2 for f in scenario.fields]),
            "labour_hours_per_day": (
                "field",
                [f.delivery.labour_hours_per_pass for f in scenario.fields],
            ),
            "reached": ("stage", [scenario.answers.reached[s] for s in STAGES]),
        },
        attrs=_provenance(site),
    )
    for key, variable in out.variables.items():
        term = catalog.quantities.get(str(key))
        if term is not None:
            variable.attrs.update(units=term.units, long_name=term.long_name, comment=term.meaning)
    out["area_m2"].attrs.update(units="m2", long_name="area of the field")
    return out


def _calendar_counts(site: PreparedSite) -> np.ndarray:
    """Counted years that have each calendar day, (366,), at least 1."""
    days = site.calendar.day_of_year[site.calendar.year >= 0]
    return np.maximum(np.bincount(days, minlength=CALENDAR_DAYS), 1)


def driest_years(site: PreparedSite, most: int = 3) -> list[int]:
    """Counted years with the largest deficit of rain against reference ET in the answer season."""
    inside = (site.calendar.in_season == 1) & (site.calendar.year >= 0)
    deficit = site.weather.et.eto_mm - site.weather.record.rain_mm
    total = np.bincount(
        site.calendar.year[inside], weights=deficit[inside], minlength=len(site.years)
    )
    return [site.years[i] for i in np.argsort(-total, kind="stable")[:most]]


def _provenance(site: PreparedSite) -> dict[str, str]:
    scenario = site.scenario
    record = site.weather.record
    filled = "; ".join(f"{rule}: {count} days" for rule, count in record.filled.items())
    return {
        "Conventions": "CF-1.11",
        "title": scenario.title,
        "site": scenario.site.name,
        "source": f"drysward {__version__}",
        "drysward_version": __version__,
        "scenario": scenario.text,
        "scenario_digest": scenario.digest,
        "weather_file": scenario.weather.file.name,
        "weather_digest": record.digest,
        "catalog_digest": scenario.catalog.digest(),
        "years": f"{site.years[0]}-{site.years[-1]}" if len(site.years) > 1 else str(site.years[0]),
        "years_left_out": ", ".join(site.left_out),
        "filled": filled,
        "et_procedures": json.dumps({str(y): p for y, p in site.weather.et.by_year()}),
        "driest_years": ", ".join(str(y) for y in driest_years(site)),
        "turf": scenario.answers.turf,
        "return_periods": json.dumps(scenario.answers.return_periods),
        "confidence": str(scenario.answers.confidence),
        "cautions": " ".join(CAUTIONS),
    }


CAUTIONS = (
    "A screening estimate: thresholds differ by cultivar, mowing, traffic and weather.",
    "Whether a surface is safe is decided by measuring it to the applicable test method.",
    "Local water law, drought orders, backflow rules, pond and dam rules and licensed design"
    " come first; reclaimed water needs its own approvals.",
)


def ledger(
    scenario: Scenario, field: str, plan: str, year: int, record: DailyRecord | None = None
) -> xr.Dataset:
    """The daily water account of one field, plan and year; dimension ``date``.

    FaultyInput when there is no such field, plan or complete year.
    """
    place = scenario.fields.index(scenario.field_named(field))
    followed = scenario.plan_named(plan)
    site = prepare(scenario, record)
    if year not in site.years:
        raise FaultyInput(
            Fault(
                "year",
                f"{year} is not a complete year of {scenario.weather.file.name}",
                f"years: {site.years[0]} to {site.years[-1]}",
            )
        )
    here = np.flatnonzero(site.calendar.year == site.years.index(year))
    span = slice(int(here[0]), int(here[-1]) + 1)
    trace = run_plan(site, followed, span).trace[:, place]
    out = xr.Dataset(
        {name: ("date", np.ascontiguousarray(trace[name])) for name in TRACE.names or ()},
        coords={"date": site.weather.record.dates[span].astype("datetime64[ns]")},
        attrs={**_provenance(site), "field": field, "plan": plan},
    )
    for variable in map(str, out.data_vars):
        term = scenario.catalog.quantities.get(variable)
        if term is not None:
            out[variable].attrs.update(units=term.units, long_name=term.long_name)
    return out
