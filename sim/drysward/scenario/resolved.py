"""Every number that a scenario runs on, its settings and the defaults."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from drysward.catalog import CHANCES, SCENARIO, Entry
from drysward.scenario.feeding_tables import (
    ENOUGH,
    LOW,
    REMOVED,
    RETURNED,
    of_species,
    release_entry,
)
from drysward.scenario.model import (
    BY_FLOW,
    BY_MACHINE,
    GENERATOR,
    Costs,
    FeedingSpec,
    FieldSpec,
    PlanSpec,
    PlaySpec,
    Restrictions,
    Scenario,
    Sizing,
    SourceSpec,
    StorageSpec,
    SupplySpec,
    SyringeSpec,
)
from drysward.scenario.play_tables import (
    ESTABLISH_NUMBERS,
    PLAY_LIMITS,
    SKIN_NUMBERS,
    SYRINGE_NUMBERS,
)
from drysward.scenario.ranges import passed_text
from drysward.scenario.rules import EVERY_RULE, NO_WATERING
from drysward.scenario.schema import DELIVERY_NUMBERS, ROOT_ZONE_NUMBERS
from drysward.scenario.sizing_tables import ALLOWANCE, SIZE_KINDS
from drysward.scenario.supply_tables import (
    CALENDAR,
    DROUGHT,
    GRASS,
    LININGS,
    POND,
    STAGE_KEYS,
    STORAGE_INDEX,
    SUPPLY_NUMBERS,
    USUAL_LINING,
)
from drysward.scenario.values import MONTHS, WEEKDAYS, day_text

DEFAULT = "default"
"""Grade and source of a setting that the scenario does not change."""

Setting = tuple[str, float | str, str]
"""Key inside a table, value, unit; infinite or NaN when not set."""


@dataclass(frozen=True)
class Row:
    """One setting: a number in ``unit``, or a word. ``source`` names sources by key.

    ``range`` is its range as text, "" when it is certain, and ``ends`` the ends of one that the
    catalog holds, in ``unit``; ``parameter`` is the ``kind.key.name`` of a number of the catalog.
    """

    key: str
    value: float | str
    unit: str
    grade: str
    source: str
    range: str = ""
    parameter: str = ""
    ends: tuple[float, float] | None = None


def resolved_values(scenario: Scenario) -> list[Row]:
    """Numbers that the scenario runs on: those of the catalog that it uses, its plans, its water.

    Numbers carry the grade and source of the catalog, or ``scenario`` for both where the
    scenario writes them. Settings of plans, supply, costs and sizing carry ``scenario`` or
    ``default`` unless they are the catalog's. A limit that is not set, such as a plan's pause,
    is left out.
    """
    rows: dict[str, Row] = {}  # by key, for entries shared by several fields
    catalog = scenario.catalog
    for spec in scenario.fields:
        zone = catalog.get("root_zones", spec.root_zone.like)
        words = {**zone.words, **spec.root_zone.words}
        shared = []
        if spec.species:
            species = catalog.get("species", spec.species)
            shared += [species, catalog.get("kc_season", species.words["season"])]
        if "soil" in words:
            shared += [catalog.get("soils", words["soil"]), catalog.get("intake", words["soil"])]
        if "soil" in words and not spec.root_zone.measured:
            shared.append(catalog.get("soil_errors", "texture"))
        if "compaction" in words:
            shared.append(catalog.get("compaction", words["compaction"]))
        for entry in shared:
            rows.update((row.key, row) for row in _entry(entry))
        own = [*_root_zone(spec, zone), *_delivery(scenario, spec), *_use(scenario, spec, zone)]
        rows.update((row.key, row) for row in own)
    if scenario.site.crew_h is not None:
        rows.update(
            (row.key, row)
            for row in _rows(scenario, "site", [("crew", scenario.site.crew_h, "h")])
        )
    for kind in ("losses", "curve_numbers", "turf_processes"):
        for entry in catalog.entries[kind].values():
            rows.update((row.key, row) for row in _entry(entry))
    if scenario.weather.source == GENERATOR and scenario.weather.climate is not None:
        # A fitted climate takes these from its record.
        rows.update((row.key, row) for row in _entry(catalog.get("generated_weather", "all")))
    for plan in scenario.plans:
        rows.update((row.key, row) for row in _rows(scenario, f"plans.{plan.key}", _plan(plan)))
        if plan.syringe is not None:
            rows.update((row.key, row) for row in _syringe(scenario, plan.key, plan.syringe))
    if scenario.supply is not None:
        rows.update((row.key, row) for row in _supply(scenario, scenario.supply))
    if scenario.supply is not None or any(key.startswith("costs.") for key in scenario.written):
        rows.update((row.key, row) for row in _rows(scenario, "costs", _costs(scenario.costs)))
    if scenario.sizing is not None:
        rows.update((row.key, row) for row in _rows(scenario, "sizing", _sizing(scenario.sizing)))
    return [_with_written_range(scenario, row) for row in rows.values()]


def _with_written_range(scenario: Scenario, row: Row) -> Row:
    written = scenario.ranges.get(row.key) or scenario.ranges.get(f"overrides.{row.key}")
    return replace(row, range=str(written), ends=None) if written else row


def _entry(entry: Entry) -> Iterator[Row]:
    for name in entry.numbers:
        yield _number(f"{entry.kind}.{entry.key}.{name}", entry, name)


def _number(key: str, entry: Entry, name: str) -> Row:
    """A number of the catalog, overrides included, under ``key``."""
    number = entry.parameter(name)
    parameter, range_text, ends = f"{entry.kind}.{entry.key}.{name}", "", None
    if number.grade in CHANCES and number.low < number.high:
        chance = passed_text(CHANCES[number.grade])
        range_text = f"{number.low:g} to {number.high:g}, {chance}"
        ends = (number.low, number.high)
    source = ", ".join(number.source)
    return Row(key, number.value, number.unit, number.grade, source, range_text, parameter, ends)


def _root_zone(spec: FieldSpec, zone: Entry) -> Iterator[Row]:
    at = f"fields.{spec.key}.root_zone"
    for key, name in ROOT_ZONE_NUMBERS.items():
        if name in spec.root_zone.numbers:
            unit = zone.parameter(name).unit
            yield Row(f"{at}.{key}", spec.root_zone.numbers[name], unit, SCENARIO, SCENARIO)
        elif name in zone.numbers:
            yield _number(f"{at}.{key}", zone, name)
    for name, value in spec.root_zone.measured.items():
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
        "labor_per_pass": spec.delivery.labor_hours_per_pass,
    }
    for key, name in DELIVERY_NUMBERS.items():
        if f"{at}.{key}" in scenario.written:
            yield Row(f"{at}.{key}", used[key], entry.parameter(name).unit, SCENARIO, SCENARIO)
        else:
            yield _number(f"{at}.{key}", entry, name)
    basis, flow = spec.delivery.basis, spec.delivery.flow_m3_h
    if basis == BY_MACHINE:
        yield _number(f"{at}.flow", entry, "machine_flow")
    elif flow is None:
        yield Row(f"{at}.zones", spec.delivery.zones, "1", SCENARIO, SCENARIO)
    elif basis == BY_FLOW:
        yield Row(f"{at}.flow", flow, "m3/h", SCENARIO, SCENARIO)
    else:
        # The numbers behind it are listed too.
        design = scenario.catalog.get("system_design", "usual")
        yield Row(f"{at}.flow", flow, "m3/h", DEFAULT, DEFAULT)
        yield from _entry(design)
    if spec.delivery.machine:
        yield Row(f"{at}.machine", spec.delivery.machine, "", SCENARIO, SCENARIO)


def _use(scenario: Scenario, spec: FieldSpec, zone: Entry) -> Iterator[Row]:
    """Play on a field, care of skinned ground, watering of new turf."""
    at = f"fields.{spec.key}"
    settings: list[Setting] = [("surface", spec.surface, ""), ("slope", spec.slope, "1")]
    yield from _rows(scenario, at, settings)
    if spec.skin is not None:
        used = {key: getattr(spec.skin, key) for key in SKIN_NUMBERS}
        yield from _played(scenario, f"{at}.skin", "infield", SKIN_NUMBERS, used)
    if spec.establish is not None:
        new = spec.establish
        settings = [("day", day_text(new.day), ""), ("kind", new.kind, "")]
        yield from _rows(scenario, f"{at}.establish", settings)
        used = {"light": new.light_mm, "times": new.times_a_day, "days": new.days}
        entry = f"establish_{new.kind}"
        yield from _played(scenario, f"{at}.establish", entry, ESTABLISH_NUMBERS, used)
        yield from _others(scenario, entry, ESTABLISH_NUMBERS)
    if spec.feeding is not None:
        yield from _doses(scenario, f"{at}.feeding", spec.feeding)
        yield from _fed(scenario, spec, spec.feeding, zone)
    if spec.play is None:
        return
    play = spec.play
    used = {
        "soft_below": play.soft_below_g,
        "air_filled_below": play.air_filled_below,
        "share": play.share,
    }
    yield from _played(scenario, f"{at}.play", "limits", PLAY_LIMITS, used)
    yield from _rows(scenario, f"{at}.play", _play(play))
    surface = "native" if zone.words["kind"] == "native" else "sand"
    if play.hard_above_g is not None:
        yield Row(f"{at}.play.hard_above", play.hard_above_g, "g", SCENARIO, SCENARIO)
    entries = ["use", "airless_roots", "leaf_disease", "mud"]
    entries += [f"hardness_{surface}", f"wear_{surface}"]
    for entry_key in entries:
        yield from _entry(scenario.catalog.get("play", entry_key))


def _doses(scenario: Scenario, at: str, feeding: FeedingSpec) -> Iterator[Row]:
    """The feeding plan, and the doses as they are put down: in parts where they are split."""
    source = DEFAULT if feeding.plan else SCENARIO
    if feeding.plan:
        yield Row(f"{at}.plan", feeding.plan, "", SCENARIO, SCENARIO)
    for i, dose in enumerate(feeding.doses, start=1):
        settings: list[Setting] = [
            ("day", day_text(dose.day), ""), ("product", dose.label, ""),
            ("urea", dose.urea_kg_ha, "kg/ha"), ("ammonium", dose.ammonium_kg_ha, "kg/ha"),
            ("nitrate", dose.nitrate_kg_ha, "kg/ha"),
            *((part.kind, part.n_kg_ha, "kg/ha") for part in dose.slow),
            ("phosphorus", dose.p_kg_ha, "kg/ha"), ("potassium", dose.k_kg_ha, "kg/ha"),
        ]  # fmt: skip
        for name, value, unit in settings:
            if value:
                yield Row(f"{at}.parts[{i}].{name}", value, unit, source, source)
    for key, written in scenario.ranges.items():
        if key.startswith(f"{at}.doses["):
            yield Row(key, written.likely, written.unit, SCENARIO, SCENARIO)


def _fed(
    scenario: Scenario, spec: FieldSpec, feeding: FeedingSpec, zone: Entry
) -> Iterator[Row]:
    """Settings of a feeding plan, and the numbers of the catalog that it runs on."""
    at = f"fields.{spec.key}.feeding"
    yield from _rows(scenario, at, _feeding(feeding))
    ground = "native" if zone.words["kind"] == "native" else "sand"
    catalog = scenario.catalog
    limits, soil = catalog.get("feeding", "limits"), catalog.get("feeding", "soil")
    if f"{at}.most_quick" in scenario.written:
        yield Row(f"{at}.most_quick", feeding.most_quick_kg_ha, "kg/ha", SCENARIO, SCENARIO)
    else:
        yield _number(f"{at}.most_quick", limits, f"most_quick_{ground}_kg_ha")
    if f"{at}.organic_matter" in scenario.written:
        yield Row(f"{at}.organic_matter", feeding.organic_matter, "1", SCENARIO, SCENARIO)
    else:
        yield _number(f"{at}.organic_matter", soil, f"organic_matter_{ground}")
    turf, ammonia = catalog.get("feeding", "turf"), catalog.get("feeding", "ammonia")
    entries = [turf, of_species("nitrogen", spec.species, catalog), ammonia, soil, limits]
    entries.append(catalog.get("feeding", "phosphorus"))
    kinds = {part.kind for dose in feeding.doses for part in dose.slow}
    entries += [release_entry(kind, catalog) for kind in sorted(kinds)]
    for entry in entries:
        for name in entry.numbers:
            if not name.startswith(_BY_GROUND):
                yield _number(f"{entry.kind}.{entry.key}.{name}", entry, name)


# Numbers of feeding that one ground has: a setting of the field.
_BY_GROUND = ("organic_matter_", "most_quick_")


def _feeding(feeding: FeedingSpec) -> Iterator[Setting]:
    yield "clippings", RETURNED if feeding.clippings_returned else REMOVED, ""
    yield "soil_ph", feeding.soil_ph, "1"
    yield "soil_phosphorus", feeding.soil_phosphorus, ""
    yield "soil_potassium", ENOUGH if feeding.potassium_enough else LOW, ""
    yield "hold", feeding.hold_days, "d"
    yield "water_in", feeding.water_in_mm, "mm"
    yield "granules_on_paving", feeding.on_paving, "1"
    yield "labor", feeding.labor_h, "h"
    yield "water.salt", feeding.water_salt_ds_m, "dS/m"
    yield "water.nitrogen", feeding.water_n_mg_l, "mg/L"


def _played(
    scenario: Scenario,
    at: str,
    entry_key: str,
    names: Mapping[str, str],
    used: Mapping[str, float],
) -> Iterator[Row]:
    """Numbers of the table ``at`` with defaults in ``play.ENTRY``."""
    entry = scenario.catalog.get("play", entry_key)
    for key, name in names.items():
        if f"{at}.{key}" in scenario.written:
            yield Row(f"{at}.{key}", used[key], entry.parameter(name).unit, SCENARIO, SCENARIO)
        else:
            yield _number(f"{at}.{key}", entry, name)


def _others(scenario: Scenario, entry_key: str, names: Mapping[str, str]) -> Iterator[Row]:
    """Numbers of ``play.ENTRY`` without a key in scenarios."""
    entry = scenario.catalog.get("play", entry_key)
    for name in entry.numbers:
        if name not in names.values():
            yield _number(f"play.{entry_key}.{name}", entry, name)


def _play(play: PlaySpec) -> Iterator[Setting]:
    if play.hardness is not None:
        yield "hardness.intercept", play.hardness.intercept_g, "g"
        yield "hardness.slope", play.hardness.slope_g, "g"
        yield "hardness.scatter", play.hardness.scatter_g, "g"
    for i, event in enumerate(play.events, start=1):
        at = f"events[{i}]"
        yield f"{at}.label", event.label, ""
        if event.dates:
            days = ", ".join(day_text(day) for day in event.dates)
            yield f"{at}.dates", days, ""
        else:
            yield f"{at}.days", _named(event.weekdays), ""
            yield f"{at}.season.from", day_text(event.season[0]), ""
            yield f"{at}.season.to", day_text(event.season[1]), ""
        yield f"{at}.hours", event.hours, "h"
        yield f"{at}.judged", _yes(event.judged), ""
    yield "blackout", play.blackout_days, "d"
    if play.prewet_mm > 0.0:
        yield "prewet.depth", play.prewet_mm, "mm"
        yield "prewet.before", play.prewet_days_before, "d"
    if play.cover is not None:
        yield "cover.rain", play.cover.rain_from_mm, "mm"
        yield "cover.before", play.cover.days_before, "d"
        yield "cover.labor", play.cover.labor_h, "h"
        yield "cover.longest", play.cover.longest_days, "d"
        yield "cover.heat", play.cover.heat_c, "degC"


def _syringe(scenario: Scenario, plan: str, syringe: SyringeSpec) -> Iterator[Row]:
    used = {
        "above": syringe.above_c,
        "depth": syringe.depth_mm,
        "from_wilt": syringe.from_wilt,
    }
    yield from _played(scenario, f"plans.{plan}.syringe", "syringe", SYRINGE_NUMBERS, used)
    yield from _others(scenario, "syringe", SYRINGE_NUMBERS)


def _rows(scenario: Scenario, at: str, settings: Iterable[Setting]) -> Iterator[Row]:
    """Finite settings of the table ``at``, each with its source."""
    for setting, value, unit in settings:
        key = f"{at}.{setting}"
        # A bare value is written as it is: one depth for all days,
        # one price for all water.
        table = key.rpartition(".")[0]
        here = {key, table, table.partition("[")[0]} & scenario.written
        source = SCENARIO if here else DEFAULT
        if isinstance(value, str) or math.isfinite(value):
            yield Row(key, value, unit, source, source)


def _plan(plan: PlanSpec) -> Iterator[Setting]:
    """Settings used by the plan's rule.

    Months whose run times are not adjusted are left out.
    """
    yield "rule", plan.rule, ""
    for name, key in EVERY_RULE[plan.rule].keys.items():
        value = getattr(plan, key.attribute)
        if isinstance(value, tuple):
            for day, of_day in zip(WEEKDAYS, value, strict=True):
                if of_day > 0.0:
                    yield f"{name}.{day}", of_day, key.unit
        else:
            yield name, value, key.unit
    if plan.rule != NO_WATERING:
        yield "least_depth", plan.least_depth_mm, "mm"
        yield "interval", plan.interval_days, "d"
        if plan.rain_skip_mm < math.inf:
            yield "rain_skip.rain", plan.rain_skip_mm, "mm"
            yield "rain_skip.within", plan.rain_skip_days, "d"
        yield "allow_for_uniformity", _yes(plan.allow_for_uniformity), ""
        for month, factor in zip(MONTHS, plan.adjust, strict=True):
            if factor != 1.0:
                yield f"adjust.{month}", factor, "1"
    yield "season.from", day_text(plan.season[0]), ""
    yield "season.to", day_text(plan.season[1]), ""
    yield "days", _named(plan.allowed), ""
    yield "time", plan.time_of_day, ""
    yield "window", plan.window_h, "h"
    yield "cycle_and_soak", _yes(plan.cycle_and_soak), ""
    if plan.most_depth_mm is not None:
        yield "most", plan.most_depth_mm, "mm"
    yield "stop_at_runoff", _yes(plan.stop_at_runoff), ""
    yield "crown.depth", plan.crown_depth_mm, "mm"
    if plan.crown_depth_mm > 0.0:
        yield "crown.every", plan.crown_interval_days, "d"
        yield "crown.from_dormant", plan.crown_from, "1"
    if plan.pause.first >= 0:
        yield "pause.from", day_text(plan.pause.first), ""
        yield "pause.to", day_text(plan.pause.last), ""
    yield "pause.above", plan.pause.above, "mm"
    yield "pause.below", plan.pause.below, "mm"
    yield "pause.longest", plan.pause.longest_days, "d"
    for i, stage in enumerate(plan.stages, start=1):
        yield f"stages[{i}].above", stage.above_mm, "mm"
        yield f"stages[{i}].below", stage.below_mm, "mm"
        yield f"stages[{i}].share", stage.share, "1"
        yield f"stages[{i}].days", _named(stage.allowed), ""
        yield f"stages[{i}].crown_only", _yes(stage.crown_only), ""
    for field, other in plan.by_field:
        yield f"fields.{field}", other.key, ""


def _supply(scenario: Scenario, supply: SupplySpec) -> Iterator[Row]:
    for field in scenario.fields:
        yield from _rows(scenario, f"fields.{field.key}", [("priority", field.priority, "")])
    network: list[Setting] = [
        ("network", supply.network_m3_h, "m3/h"),
        ("window", supply.window_h, "h"),
    ]
    yield from _rows(scenario, "supply", network)
    for source in supply.sources:
        at = f"supply.sources.{source.key}"
        yield from _rows(scenario, at, _source(source, scenario.costs.currency))
        if source.lift_m > 0.0:
            pump = {"pump_efficiency": source.pump_efficiency}
            yield from _catalogd(scenario, at, "pump", pump)
    if supply.storage is not None:
        yield from _storage(scenario, supply.storage)
    for catchment in supply.catchments:
        at = f"supply.catchments.{catchment.key}"
        kind: list[Setting] = [("kind", catchment.kind, ""), ("area", catchment.area_m2, "m2")]
        yield from _rows(scenario, at, kind)
        sheds = {"runoff": catchment.runoff, "first_flush": catchment.first_flush_mm}
        if catchment.kind == GRASS:
            sheds = {"curve_number": catchment.runoff}
        yield from _catalogd(scenario, at, catchment.kind, sheds)
    if supply.restrictions is not None:
        yield from _rows(scenario, "supply.restrictions", _restrictions(supply.restrictions))


def _catalogd(
    scenario: Scenario, at: str, entry_key: str, used: Mapping[str, float]
) -> Iterator[Row]:
    """Numbers of the table ``at`` with defaults in the catalog."""
    entry = scenario.catalog.get("supply", entry_key)
    for key, value in used.items():
        name = SUPPLY_NUMBERS[key]
        if f"{at}.{key}" in scenario.written:
            yield Row(f"{at}.{key}", value, entry.parameter(name).unit, SCENARIO, SCENARIO)
        else:
            yield _number(f"{at}.{key}", entry, name)


def _source(source: SourceSpec, currency: str) -> Iterator[Setting]:
    yield "kind", source.kind, ""
    yield "rate", source.rate_m3_h, "m3/h"
    if source.rate_m3_h < math.inf:
        yield "hours", source.hours, "h"
    yield "season.from", day_text(source.season[0]), ""
    yield "season.to", day_text(source.season[1]), ""
    yield "stops.above", source.stops_above_mm, "mm"
    yield "stops.below", source.resumes_below_mm, "mm"
    yield "feeds", source.feeds, ""
    yield "first", _yes(source.first), ""
    for period, volume in source.allowance_m3.items():
        yield f"allowance.{period}", volume, "m3"
    if source.allowance_m3:
        if source.month_shares:
            for month, share in zip(MONTHS, source.month_shares, strict=True):
                yield f"ration.{month}", share, "1"
        else:
            yield "ration", source.ration, ""
    yield "lift", source.lift_m, "m"
    for i, block in enumerate(source.tariff, start=1):
        yield f"tariff[{i}].to", block.upto_m3, "m3"
        yield f"tariff[{i}].price", block.price_m3, f"{currency}/m3"


def _storage(scenario: Scenario, storage: StorageSpec) -> Iterator[Row]:
    at, capacity = "supply.storage", storage.volumes_m3[-1]
    settings: list[Setting] = [("kind", storage.kind, ""), ("start", storage.start_share, "1")]
    yield from _rows(scenario, at, settings)
    # The size comes from a capacity or a table, both set by the scenario.
    yield Row(f"{at}.capacity", capacity, "m3", SCENARIO, SCENARIO)
    yield from _catalogd(scenario, at, storage.kind, {"dead": storage.dead_m3 / capacity})
    if storage.kind == POND:
        yield Row(f"{at}.full_area", storage.areas_m2[-1], "m2", SCENARIO, SCENARIO)
        factor = {"evaporation": storage.evaporation_factor}
        yield from _catalogd(scenario, at, POND, factor)
        if storage.lining:
            yield from _rows(scenario, at, [("lining", storage.lining, "")])
        lining = LININGS[storage.lining or USUAL_LINING]
        yield from _catalogd(scenario, at, lining, {"seepage": storage.seepage_mm_d})
    yield from _rows(scenario, at, [("lift", storage.lift_m, "m")])
    if storage.lift_m > 0.0:
        pump = {"pump_efficiency": storage.pump_efficiency}
        yield from _catalogd(scenario, at, "pump", pump)


def _restrictions(restrictions: Restrictions) -> Iterator[Setting]:
    yield "index", restrictions.index, ""
    enter, leave = STAGE_KEYS[restrictions.index]
    unit = {DROUGHT: "mm", STORAGE_INDEX: "1", CALENDAR: ""}[restrictions.index]
    for i, stage in enumerate(restrictions.stages, start=1):
        by_date = restrictions.index == CALENDAR
        yield f"stages[{i}].{enter}", day_text(stage.first) if by_date else stage.enter, unit
        yield f"stages[{i}].{leave}", day_text(stage.last) if by_date else stage.leave, unit
        yield f"stages[{i}].share", stage.share, "1"
        yield f"stages[{i}].days", _named(stage.allowed), ""
        yield f"stages[{i}].crown_only", _yes(stage.crown_only), ""
        yield f"stages[{i}].exempt", ", ".join(stage.exempt) or "no field", ""


def _costs(costs: Costs) -> Iterator[Setting]:
    yield "currency", costs.currency, ""
    yield "energy", costs.energy_price_kwh, f"{costs.currency}/kWh"
    yield "labor", costs.labor_price_h, f"{costs.currency}/h"
    for i, block in enumerate(costs.water, start=1):
        yield f"water[{i}].to", block.upto_m3, "m3"
        yield f"water[{i}].price", block.price_m3, f"{costs.currency}/m3"
    if costs.nitrogen_price_kg > 0.0:
        yield "nitrogen", costs.nitrogen_price_kg, f"{costs.currency}/kg"
    for key, price in costs.construction.items():
        yield f"construction.{key}", price, f"{costs.currency}/m2"
    for key, system in costs.irrigation.items():
        if system.lump > 0.0:
            yield f"irrigation.{key}", system.lump, costs.currency
        else:
            yield f"irrigation.{key}", system.per_m2, f"{costs.currency}/m2"
    if costs.storage_price_m3 > 0.0:
        yield "pond", costs.storage_price_m3, f"{costs.currency}/m3"
    if costs.renovation_price_m2 > 0.0:
        yield "renovation", costs.renovation_price_m2, f"{costs.currency}/m2"
    if costs.life_years > 0:
        yield "life", costs.life_years, "year"
        yield "discount_rate", costs.discount_rate, "1"


def _sizing(sizing: Sizing) -> Iterator[Setting]:
    yield "plan", sizing.plan, ""
    for key, sought in (("find", sizing.find), ("against", sizing.against)):
        if sought is not None:
            unit = SIZE_KINDS[sought.what].base.replace("^", "")
            yield f"{key}.what", sought.what, ""
            if sought.of:
                yield f"{key}.of", sought.of, ""
            if sought.what == ALLOWANCE:
                yield f"{key}.per", sought.per, ""
            yield f"{key}.low", sought.low, unit
            yield f"{key}.high", sought.high, unit
    yield "keep.outcome", sizing.outcome, ""
    if sizing.field:
        yield "keep.field", sizing.field, ""
    yield "keep.share", sizing.share, "1"
    yield "keep.odds", sizing.odds, "1"
    if sizing.against is not None:
        yield "points", sizing.points, ""


def _named(flags: tuple[bool, ...]) -> str:
    days = [day for day, flag in zip(WEEKDAYS, flags, strict=True) if flag]
    return "every day" if len(days) == len(WEEKDAYS) else " ".join(days)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
