"""Every number that a scenario runs on, after its own settings have replaced the defaults."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from drysward.catalog import SCENARIO, Entry
from drysward.scenario.model import FieldSpec, PlanSpec, Scenario
from drysward.scenario.schema import DELIVERY_NUMBERS, ROOT_ZONE_NUMBERS
from drysward.scenario.values import MONTHS, WEEKDAYS

DEFAULT = "default"
"""Grade and source of a plan setting that the scenario leaves as it is."""


@dataclass(frozen=True)
class Row:
    """One setting: a number in ``unit``, or a word. ``source`` names sources by key."""

    key: str
    value: float | str
    unit: str
    grade: str
    source: str


def resolved_values(scenario: Scenario) -> list[Row]:
    """What the scenario runs on: numbers of the catalogue that its fields use, then its plans.

    Numbers carry the grade and source of the catalogue, or ``scenario`` for both where the
    scenario writes them. Settings of plans carry ``scenario`` or ``default``. A limit that is
    not set, such as a plan's pause, is left out.
    """
    rows: dict[str, Row] = {}  # by key, for entries that several fields share
    catalog = scenario.catalog
    for spec in scenario.fields:
        species = catalog.get("species", spec.species)
        zone = catalog.get("root_zones", spec.root_zone.like)
        words = {**zone.words, **spec.root_zone.words}
        shared = [species, catalog.get("kc_season", species.words["season"])]
        if "soil" in words:
            shared += [catalog.get("soils", words["soil"]), catalog.get("intake", words["soil"])]
        if "compaction" in words:
            shared.append(catalog.get("compaction", words["compaction"]))
        for entry in shared:
            rows.update((row.key, row) for row in _entry(entry))
        own = [*_root_zone(spec, zone), *_delivery(scenario, spec)]
        rows.update((row.key, row) for row in own)
    for kind in ("losses", "curve_numbers", "turf_processes"):
        for entry in catalog.entries[kind].values():
            rows.update((row.key, row) for row in _entry(entry))
    for plan in scenario.plans:
        rows.update((row.key, row) for row in _plan(scenario, plan))
    return list(rows.values())


def _entry(entry: Entry) -> Iterator[Row]:
    for name in entry.numbers:
        yield _number(f"{entry.kind}.{entry.key}.{name}", entry, name)


def _number(key: str, entry: Entry, name: str) -> Row:
    """A number of the catalogue, overrides included, under ``key``."""
    number = entry.parameter(name)
    return Row(key, number.value, number.unit, number.grade, ", ".join(number.source))


def _root_zone(spec: FieldSpec, zone: Entry) -> Iterator[Row]:
    at = f"fields.{spec.key}.root_zone"
    for key, name in ROOT_ZONE_NUMBERS.items():
        if name in spec.root_zone.numbers:
            unit = zone.parameter(name).unit
            yield Row(f"{at}.{key}", spec.root_zone.numbers[name], unit, SCENARIO, SCENARIO)
        elif name in zone.numbers:
            yield _number(f"{at}.{key}", zone, name)
    for name, value in spec.root_zone.given.items():
        key, unit = ("conductivity", "mm/h") if name == "ksat_mm_h" else (name, "1")
        yield Row(f"{at}.{key}", value, unit, SCENARIO, SCENARIO)


def _delivery(scenario: Scenario, spec: FieldSpec) -> Iterator[Row]:
    entry = scenario.catalog.get("delivery", spec.delivery.system)
    at = f"fields.{spec.key}.delivery"
    used = {
        "uniformity": spec.delivery.distribution_uniformity,
        "precipitation_rate": spec.delivery.precipitation_rate_mm_h,
        "overspray": spec.delivery.overspray,
        "time_per_pass": spec.delivery.hours_per_pass,
        "labour_per_pass": spec.delivery.labour_hours_per_pass,
    }
    for key, name in DELIVERY_NUMBERS.items():
        if f"{at}.{key}" in scenario.written:
            yield Row(f"{at}.{key}", used[key], entry.parameter(name).unit, SCENARIO, SCENARIO)
        else:
            yield _number(f"{at}.{key}", entry, name)
    if spec.delivery.flow_m3_h is not None:
        yield Row(f"{at}.flow", spec.delivery.flow_m3_h, "m3/h", SCENARIO, SCENARIO)


def _plan(scenario: Scenario, plan: PlanSpec) -> Iterator[Row]:
    for setting, value, unit in _settings(plan):
        key = f"plans.{plan.key}.{setting}"
        # One depth for all days is written as the depth itself, not under each day.
        here = {key, key.rpartition(".")[0]} & scenario.written
        source = SCENARIO if here else DEFAULT
        if value != math.inf:
            yield Row(key, value, unit, source, source)


def _settings(plan: PlanSpec) -> Iterator[tuple[str, float | str, str]]:
    """Key as the file has it, value and unit of each setting that the plan's rule reads.

    Months whose run times are not adjusted are left out.
    """
    yield "rule", plan.rule, ""
    if plan.rule == "fixed":
        for day, depth in zip(WEEKDAYS, plan.depth_by_weekday, strict=True):
            if depth > 0.0:
                yield f"depth.{day}", depth, "mm"
    elif plan.rule == "share of et":
        yield "share", plan.share, "1"
    elif plan.rule == "refill":
        yield "trigger", plan.trigger, "1"
        yield "target", plan.target, "1"
    if plan.rule != "none":
        yield "least_depth", plan.least_depth_mm, "mm"
        yield "interval", plan.interval_days, "d"
        if plan.rain_skip_mm < math.inf:
            yield "rain_skip.rain", plan.rain_skip_mm, "mm"
            yield "rain_skip.within", plan.rain_skip_days, "d"
        yield "allow_for_uniformity", _yes(plan.allow_for_uniformity), ""
        for month, factor in zip(MONTHS, plan.adjust, strict=True):
            if factor != 1.0:
                yield f"adjust.{month}", factor, "1"
    yield "season.from", plan.season[0] + 1, "day of leap year"
    yield "season.to", plan.season[1] + 1, "day of leap year"
    yield "days", _named(plan.allowed), ""
    yield "time", plan.time_of_day, ""
    yield "window", plan.window_h, "h"
    yield "cycle_and_soak", _yes(plan.cycle_and_soak), ""
    yield "crown.depth", plan.crown_depth_mm, "mm"
    if plan.crown_depth_mm > 0.0:
        yield "crown.every", plan.crown_interval_days, "d"
        yield "crown.from_dormant", plan.crown_from, "1"
    if plan.pause.first >= 0:
        yield "pause.from", plan.pause.first + 1, "day of leap year"
        yield "pause.to", plan.pause.last + 1, "day of leap year"
    yield "pause.above", plan.pause.above, "mm"
    yield "pause.below", plan.pause.below, "mm"
    yield "pause.longest", plan.pause.longest_days, "d"
    for i, stage in enumerate(plan.stages, start=1):
        yield f"stages[{i}].above", stage.above_mm, "mm"
        yield f"stages[{i}].below", stage.below_mm, "mm"
        yield f"stages[{i}].share", stage.share, "1"
        yield f"stages[{i}].days", _named(stage.allowed), ""
        yield f"stages[{i}].crown_only", _yes(stage.crown_only), ""


def _named(flags: tuple[bool, ...]) -> str:
    days = [day for day, flag in zip(WEEKDAYS, flags, strict=True) if flag]
    return "every day" if len(days) == len(WEEKDAYS) else " ".join(days)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
