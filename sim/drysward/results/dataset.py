"""What runs have gathered, as one Dataset that says what everything in it is."""

from __future__ import annotations

import inspect
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from drysward import CITATION, __version__
from drysward.day.counting import NO_DORMANCY
from drysward.day.records import (
    CALENDAR_DAYS,
    CAUSES,
    FEED_YEAR,
    MONTHS,
    PLAY_YEAR,
    STAGES,
    SUPPLY_YEAR,
    YEAR,
)
from drysward.physics.nitrogen import KG_HA_PER_MG_L_MM
from drysward.quantities import SYSTEMS
from drysward.results.alternatives import ALTERNATIVES, BY_FIELD, alternatives_text
from drysward.results.cf import CONVENTIONS
from drysward.results.outside import COUNTED, outside_season, span_text
from drysward.results.restricted import stage_lines
from drysward.results.supply_text import RESTRICTED
from drysward.results.terms import SHOWN_IN, stage_coordinate, with_terms
from drysward.results.text import DRAWN_YEARS, FILE_MEANS, FINDINGS, FUTURE, MADE_YEARS
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site.stretches import PreparedSite, WeatherSeen
from drysward.weather.series import Series

if TYPE_CHECKING:
    from drysward.drive.runs import PlanRun

FEED, PLAY = "feed_", "play_"
"""Begin the names of numbers of feeding and of play, in a result and in a summary."""
LEAST_DRAINAGE_MM = 1.0  # drainage of a year below which its concentration says nothing

CAUTIONS = (
    "A screening estimate: thresholds differ by cultivar, mowing, traffic and weather.",
    "Whether a surface is safe is decided by measuring it to the applicable test method.",
    "Local water law, drought orders, backflow rules, pond and dam rules and licensed design"
    " come first; reclaimed water needs its own approvals.",
)


def as_dataset(
    site: PreparedSite, series: Series, seen: WeatherSeen, runs: Sequence[PlanRun]
) -> xr.Dataset:
    """The runs of several plans as one self-describing Dataset.

    Adds the dimension source, and numbers of the supply by plan and year, to those of the
    fields when the scenario has a supply.
    """
    scenario = site.scenario
    by_year = np.stack([r.years for r in runs], axis=1).view(np.recarray)  # (F, plan, Y)
    data: dict[str, tuple] = {}
    for name in YEAR.names or ():
        values = np.ascontiguousarray(by_year[name])
        dims: tuple[str, ...] = ("field", "plan", "year")
        if values.ndim == 4:
            dims = (*dims, "cause" if name == "shortage_cause" else "month")
        if name == "recovery_days":
            data["not_recovered"] = (dims, (values < NO_DORMANCY).astype(np.int8))
            values = np.where(values < 0.0, np.nan, values)
        if name == "days_below_condition":
            values = of_turf(values, site.play.fields.skinned > 0.0)
        data[name] = (dims, values)
    # Few records have every 29 February; none at all would divide by 0.
    years_with_day = np.maximum(seen.calendar_days, 1)
    odds = np.stack([r.odds for r in runs], axis=1) / years_with_day
    green = np.stack([r.green for r in runs], axis=1) / years_with_day
    if scenario.supply is not None:
        data.update(_supply_data(runs))
    if site.play.fields.on.any():
        played = np.stack([r.play for r in runs], axis=1).view(np.recarray)
        for name, values in play_numbers(played).items():
            values = np.where(_along(site.play.fields.on > 0.0, values), values, np.nan)
            data[f"{PLAY}{name}"] = (("field", "plan", "year"), values)
    if site.feed.fields.on.any():
        fed = np.stack([r.fed for r in runs], axis=1).view(np.recarray)
        for name, values in feed_numbers(fed, by_year.drainage, site.calendar).items():
            dims = ("field", "plan", "year", "month")[: values.ndim]
            values = np.where(_along(site.feed.fields.on > 0.0, values), values, np.nan)
            data[f"{FEED}{name}"] = (dims, values)
    data["odds"] = (("field", "plan", "stage", "day_of_year"), odds)
    counted, seasons = scenario.answers.season, [r.plan.season for r in runs]
    on_fields = [[r.plan.on(f.key).season for f in scenario.fields] for r in runs]
    outside, on_day = outside_season(odds, counted, on_fields)
    data["outside_odds"] = (("field", "plan", "stage"), outside)
    data["outside_day"] = (("field", "plan", "stage"), on_day)
    data["opening_odds"] = (("field", "plan", "stage"), odds[..., counted[0]])
    data["green_cover"] = (("field", "plan", "day_of_year"), green)
    booked = np.stack([r.shortage for r in runs], axis=1) / len(site.years)
    data["shortage_month_cause"] = (("field", "plan", "month", "cause"), booked)
    data["deficit"] = ("year", seen.deficit_mm)

    by_field = {
        plan.key: [key for key, _ in plan.by_field] for plan in scenario.plans if plan.by_field
    }
    out = xr.Dataset(
        data,
        coords={
            "field": [f.key for f in scenario.fields],
            "plan": [r.plan.key for r in runs],
            "year": np.array(site.years, np.int32),
            "month": np.arange(1, MONTHS + 1, dtype=np.int32),
            "stage": stage_coordinate(),
            "cause": list(CAUSES),
            "day_of_year": np.arange(1, CALENDAR_DAYS + 1, dtype=np.int32),
            "field_label": ("field", [f.label for f in scenario.fields]),
            "plan_label": ("plan", [r.plan.label for r in runs]),
            "plan_season": ("plan", [span_text(season) for season in seasons]),
            "area_m2": ("field", [f.area_m2 for f in scenario.fields]),
            "reached": ("stage", [scenario.answers.reached[s] for s in STAGES]),
        },
        attrs={
            **provenance(site, series),
            "et_procedures": json.dumps(seen.procedures),
            "plan_functions": functions_text([r.plan for r in runs]),
            COUNTED: span_text(counted),
            # Fields that a plan names are all built.
            ALTERNATIVES: alternatives_text(() if by_field else scenario.fields),
            BY_FIELD: json.dumps(by_field),
            "driest_years": ", ".join(str(y) for y in seen.driest_years()),
        },
    )
    if site.play.fields.on.any():
        out = out.assign_coords(
            has_play=("field", site.play.fields.on > 0.0),
            skinned=("field", site.play.fields.skinned > 0.0),
            hard_above=("field", site.play.fields.hard_above),
        )
        out["hard_above"].attrs.update(units="1", long_name="limit of hardness, over gravity")
    if site.feed.fields.on.any():
        labor = [0.0 if f.feeding is None else f.feeding.labor_h for f in scenario.fields]
        of_dose = ("field", labor, {"units": "h", "long_name": "work of one dose"})
        out = out.assign_coords(is_fed=("field", site.feed.fields.on > 0.0), dose_labor=of_dose)
    if scenario.supply is not None:
        sources = scenario.supply.sources
        out = out.assign_coords(
            source=[s.key for s in sources],
            source_label=("source", [s.label for s in sources]),
        )
    out = with_terms(out)
    if series.n_simulated:
        # The vocabulary knows the years of a record.
        out["year"].attrs.update(
            units="1",
            long_name="number of the simulated year",
            comment=f"Simulated years are numbered 1 to {series.n_simulated}, not by a calendar.",
        )
    return out


def play_numbers(played: np.recarray) -> dict[str, np.ndarray]:
    """Yearly numbers of play by name, from PLAY_YEAR of any shape."""
    out = {name: np.ascontiguousarray(played[name]) for name in PLAY_YEAR.names or ()}
    out["mean_hardness"] = out.pop("hardness_sum") / np.maximum(played.season_days, 1.0)
    return out


def feed_numbers(
    fed: np.recarray, drainage_mm: np.ndarray, calendar: np.recarray
) -> dict[str, np.ndarray]:
    """Yearly numbers of feeding by name, from FEED_YEAR of any shape (..., Y) and the drainage."""
    out = {name: np.ascontiguousarray(fed[name]) for name in FEED_YEAR.names or ()}
    counted = calendar.year >= 0
    n_years = np.unique(calendar.year[counted]).size
    days = np.bincount(calendar.month[counted], minlength=MONTHS) / max(n_years, 1)
    out["status_month"] = out["status_month"] / days
    flows = np.where(drainage_mm > LEAST_DRAINAGE_MM, drainage_mm, np.nan)
    out["leached_mg_l"] = fed.leached_n / (KG_HA_PER_MG_L_MM * flows)
    return out


def _along(of_field: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Values by field (F,) in the shape of ``values`` (F, ...)."""
    return of_field.reshape(-1, *[1] * (values.ndim - 1))


def _supply_data(runs: Sequence[PlanRun]) -> dict[str, tuple]:
    """What happened at the supply, by plan and year; m3 unless the vocabulary says otherwise."""
    by_year = np.stack([r.supply.years for r in runs]).view(np.recarray)  # (plan, Y)
    data: dict[str, tuple] = {
        f"supply_{name}": (("plan", "year"), np.ascontiguousarray(by_year[name]))
        for name in SUPPLY_YEAR.names or ()
    }
    draws = np.stack([r.supply.draws for r in runs])
    store = np.stack([r.supply.storage_month for r in runs])
    data["supply_drawn"] = (("plan", "year", "source", "month"), draws)
    data["supply_storage"] = (("plan", "year", "month"), store)
    return data


def of_turf(values: np.ndarray, is_skinned: np.ndarray) -> np.ndarray:
    """Values (F, ...) of fields, NaN where a field is skinned (F,) and has no turf to judge."""
    return np.where(is_skinned.reshape(-1, *[1] * (values.ndim - 1)), np.nan, values)


def functions_text(plans: Sequence[PlanSpec]) -> str:
    """The Python text of the functions that say what plans put on, as JSON by key of the plan;
    the name of one whose text is not known. "" without any.
    """
    texts = {}
    for plan in plans:
        if plan.function is not None:
            plain = getattr(plan.function, "py_func", plan.function)  # as compiled by numba
            try:
                texts[plan.key] = inspect.getsource(plain)
            except (OSError, TypeError):
                texts[plan.key] = getattr(plain, "__qualname__", repr(plain))
    return json.dumps(texts) if texts else ""


def identity(scenario: Scenario) -> dict[str, str | int | float]:
    """Which scenario a result is of, and which program computed it, as attributes."""
    return {
        "title": scenario.title,
        "site": scenario.site.name,
        SHOWN_IN: scenario.units,
        "source": f"drysward {__version__}",
        "history": f"simulated by drysward {__version__}",
        "citation": CITATION,
        "drysward_version": __version__,
        "scenario": scenario.text,
        "scenario_digest": scenario.digest,
    }


def provenance(site: PreparedSite, series: Series) -> dict[str, str | int | float]:
    """What a result came from, as attributes."""
    scenario = site.scenario
    file = series.file
    by_rule = {} if file is None else file.filled
    stages = {system: list(stage_lines(scenario, system)) for system in SYSTEMS}
    filled = "; ".join(f"{rule}: {count} days" for rule, count in by_rule.items())
    behind: dict[str, str | int | float] = {}
    if file is not None:
        behind = {
            "weather_file": file.name,
            "weather_file_days": f"{file.first_day} to {file.last_day}",
            "weather_file_complete_years": file.complete_years,
        }
    return {
        "Conventions": CONVENTIONS,
        **identity(scenario),
        "weather": series.description,
        "weather_kind": series.kind,
        FUTURE: scenario.weather.future,
        "weather_notes": json.dumps(series.notes),
        "independent_years": series.independent_years or len(site.years),
        "distinct_years": min(series.distinct_years or len(site.years), len(site.years)),
        "weather_digest": "" if file is None else file.digest,
        **behind,
        **({RESTRICTED: json.dumps(stages)} if any(stages.values()) else {}),
        MADE_YEARS: series.n_simulated,
        DRAWN_YEARS: json.dumps(series.drawn),
        FINDINGS: json.dumps(series.findings),
        FILE_MEANS: json.dumps(dict(series.means)),
        "latitude_deg": scenario.site.latitude_deg,
        "elevation_m": scenario.site.elevation_m,
        "catalog_digest": scenario.catalog.digest(),
        "years": f"{site.years[0]}-{site.years[-1]}" if len(site.years) > 1 else str(site.years[0]),
        "years_left_out": ", ".join(site.left_out),
        "filled": filled,
        "turf": scenario.answers.turf,
        "reached_days": scenario.answers.reached_days,
        "condition_green": scenario.answers.playing_condition.green,
        "condition_wilt": scenario.answers.playing_condition.wilt,
        "short_year": scenario.answers.short_year,
        "return_periods": json.dumps(scenario.answers.return_periods),
        "confidence": str(scenario.answers.confidence),
        "cautions": " ".join(CAUTIONS),
    }
