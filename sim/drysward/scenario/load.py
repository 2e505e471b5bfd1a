"""Loading of a scenario file: a checked ``Scenario`` in base units, or every fault at once."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from drysward.catalog import Catalog, load_catalog
from drysward.faults import (
    Fault,
    FaultyInput,
    closest_name,
    merged_alike,
    nearest,
    path_text,
    quoted,
)
from drysward.inputs import toml_tables, toml_text
from drysward.physics.watering_system import design_flow_m3_h
from drysward.quantities import number_and_unit
from drysward.scenario.cost_tables import costs_spec
from drysward.scenario.feeding_tables import feeding_spec
from drysward.scenario.fitted import with_fitted
from drysward.scenario.keys import check_at, keys_at
from drysward.scenario.model import (
    BY_DESIGN,
    BY_FLOW,
    BY_MACHINE,
    BY_ZONES,
    GENERATOR,
    RECORD,
    SKINNED,
    Answers,
    Costs,
    DeliverySpec,
    FieldSpec,
    PlanSpec,
    RootZoneSpec,
    Scenario,
    Site,
)
from drysward.scenario.names import Named
from drysward.scenario.play_tables import (
    SkinTable,
    establish_spec,
    play_spec,
    skin_spec,
    syringe_spec,
)
from drysward.scenario.ranges import WrittenRange, dotted, taken_out, with_value
from drysward.scenario.rules import RULE_KEYS, rule_values
from drysward.scenario.schema import (
    MEASURED_SOIL,
    ROOT_ZONE_NUMBERS,
    AnswersTable,
    DeliveryTable,
    FieldTable,
    PlanTable,
    RootZoneTable,
    ScenarioTable,
)
from drysward.scenario.sizing_tables import sizing_spec
from drysward.scenario.supply_tables import supply_spec
from drysward.scenario.trees import leaves
from drysward.scenario.values import EVERY_TIME, BeyondLimits, label_of, values_of
from drysward.scenario.weather_tables import USUAL_YEARS, check_climate, weather_source
from drysward.weather.file.fill import FillRule

NORTHERN_SEASON = (91, 304)  # 1 April to 31 October
NO_FUTURE = "none"
SOUTHERN_SEASON = (274, 120)  # 1 October to 30 April


def load(path: str | Path) -> Scenario:
    """The scenario in a file.

    Parameters
    ----------
    path : a scenario file (.toml); files that it names are relative to its folder.

    Returns
    -------
    The scenario, checked, every quantity in base units (mm, m2, m3, degrees C, h).

    Raises
    ------
    FaultyInput
        With every fault of the file, each by its dotted key (or line, when it is not TOML).

    Examples
    --------
    >>> scenario = drysward.load("my-fields.toml")
    """
    path = Path(path)
    instead = "" if os.path.exists(path) else _what_ships(path.stem)
    return loads(toml_text(path, instead), path.parent, path_text(path))


def _what_ships(name: str) -> str:
    """A hint in place of a missing file: the scenarios that ship."""
    names = shipped_names()
    near = closest_name(name, names)
    meant = f"did you mean {quoted(near)}? " if near else ""
    return f"{meant}scenarios that ship: {', '.join(names)}"


def shipped(name: str = "demo") -> Scenario:
    """A scenario that ships with drysward.

    Parameters
    ----------
    name : "demo", "match-days", "pond" or "feeding".

    Returns
    -------
    The scenario, as ``load``.

    Raises
    ------
    FaultyInput
        With the nearest name, when there is none of this one.

    Examples
    --------
    >>> drysward.run(drysward.shipped("demo"), years=(1, 20))
    """
    names = shipped_names()
    if name not in names:
        what = f"no shipped scenario is called {quoted(name)}"
        raise FaultyInput(Fault("scenario", what, nearest(name, names)))
    return load(Path(str(files("drysward.scenarios"))) / f"{name}.toml")


def shipped_names() -> list[str]:
    """Names of the scenarios that ship with drysward."""
    return sorted(name for name in _shipped_files() if not name.startswith("sweep-"))


def shipped_texts() -> dict[str, str]:
    """Every scenario and sweep that ships with drysward, as TOML, by name."""
    shipped = sorted(_shipped_files().items())
    return {name: path.read_text(encoding="utf-8") for name, path in shipped}


def _shipped_files() -> dict[str, Path]:
    folder = Path(str(files("drysward.scenarios")))
    return {path.stem: path for path in folder.glob("*.toml")}


def loads(text: str, base_folder: str | Path, name: str = "scenario") -> Scenario:
    """The scenario in a text.

    Parameters
    ----------
    text : TOML.
    base_folder : the folder of relative file names in it.
    name : what faults call the text.

    Returns
    -------
    The scenario, as ``load``.

    Raises
    ------
    FaultyInput
        With every fault, as ``load``.

    Examples
    --------
    >>> text = drysward.shipped("demo").text.replace("trigger = 0.4", "trigger = 0.6")
    >>> drysward.run(drysward.loads(text, "."))
    """
    return from_tree(toml_tables(name, text), base_folder, name, text)


def from_tree(
    raw: dict[str, Any],
    base_folder: str | Path,
    name: str = "scenario",
    text: str = "",
    climate_is_checked: bool = False,
) -> Scenario:
    """The scenario in ``raw``, the tables of a file; ``text`` is stored with it.

    ``climate_is_checked`` skips the check of normals that an earlier scenario has passed.
    FaultyInput with every fault, as ``load``.
    """
    folder = Path(base_folder)
    raw, fitted = with_fitted(name, raw, folder)
    raw, ranges, faults = taken_out(name, raw)
    catalog = load_catalog()
    named = Named.in_file(raw)
    try:
        overrides = raw.get("overrides", {})
        if isinstance(overrides, dict):
            catalog = catalog.with_overrides(dict(leaves(overrides)))
    except FaultyInput as refusal:
        faults += [
            Fault(f"{name}: overrides.{fault.where}", fault.what, fault.allowed)
            for fault in refusal.faults
        ]
    try:
        table = ScenarioTable.model_validate(raw, context=named)
    except ValidationError as error:
        found = list(schema_faults(name, error))
        found = _beside_ranges(name, found, ranges, faults)
        raise FaultyInput(merged_alike([*found, *faults])) from None
    if not faults and not climate_is_checked:
        faults = _range_faults(name, raw, ranges, named)
    if faults:
        raise FaultyInput(merged_alike(faults))

    site, weather = Site(**values_of(table.site)), weather_source(table.weather, folder)
    if weather.climate is not None and not climate_is_checked:
        check_climate(name, site, weather.climate, catalog)
    plans = _plans(table.plans, catalog)
    longest_window_h = max(plan.window_h for plan in plans)
    southern = site.latitude_deg < 0.0
    answers = _answers(table.answers, southern)
    return Scenario(
        title=table.title,
        text=text,
        folder=folder,
        digest=hashlib.sha256(text.encode()).hexdigest(),
        site=site,
        weather=weather,
        fields=tuple(_field(key, part, catalog, southern) for key, part in table.fields.items()),
        plans=plans,
        answers=answers,
        catalog=catalog,
        supply=supply_spec(table.supply, catalog, longest_window_h) if table.supply else None,
        costs=costs_spec(table.costs) if table.costs else Costs(),
        sizing=sizing_spec(table.sizing, named, answers) if table.sizing else None,
        draws=table.doubt.draws,
        units=table.units,
        written=frozenset(key for key, _ in leaves(raw)),
        ranges=ranges,
        fitted=fitted,
    )


_NOT_ANY_VALUE = "takes no range: not every value between the ends is allowed"
# Position between low and high of a value for the check: not an end, not a round number.
_BETWEEN = 0.3819660112501051


def _range_faults(
    name: str, raw: dict[str, Any], ranges: Mapping[str, WrittenRange], named: Named
) -> list[Fault]:
    """Faults of values that ranges could draw: their ends, and one between."""
    faults: list[Fault] = []
    for key, written_range in ranges.items():
        where = f"{name}: {key}"
        before = len(faults)
        for which, number in (("low", written_range.low), ("high", written_range.high)):
            faults += [
                Fault(where, f"{which} end of the range: {fault.what}", fault.allowed)
                for fault in _refused(raw, written_range, number, named)
            ]
        between = written_range.low + _BETWEEN * (written_range.high - written_range.low)
        if len(faults) == before and _refused(raw, written_range, between, named):
            faults.append(Fault(where, _NOT_ANY_VALUE, written_range.alone))
    return faults


def _beside_ranges(
    name: str, found: list[Fault], ranges: Mapping[str, WrittenRange], of_ranges: list[Fault]
) -> list[Fault]:
    """Faults of the tables, without those of values whose range has a fault.

    A text or a whole number with a range gets a fault.
    """
    at_fault = {fault.where for fault in of_ranges}
    written = {f"{name}: {key}": written for key, written in ranges.items()}
    return [
        Fault(fault.where, _NOT_ANY_VALUE, written[fault.where].alone)
        if fault.where in written and fault.allowed.startswith("should be a valid ")
        else fault
        for fault in found
        if fault.where not in at_fault
    ]


def _refused(
    raw: dict[str, Any], written_range: WrittenRange, number: float, named: Named
) -> list[Fault]:
    """Faults of the file with ``number`` in place of a range."""
    tables = with_value(raw, written_range.path, written_range.written(number))
    try:
        if written_range.path[0] == "overrides":
            load_catalog().with_overrides(dict(leaves(tables["overrides"])))
        else:
            ScenarioTable.model_validate(tables, context=named)
    except FaultyInput as refusal:
        return list(refusal.faults)
    except ValidationError as error:
        return list(schema_faults("", error))
    return []


# --- tables to the model ----------------------------------------------------------------------


def _field(key: str, table: FieldTable, catalog: Catalog, southern: bool) -> FieldSpec:
    feeding = None
    if table.feeding is not None:
        species = catalog.get("species", table.species)
        zone = catalog.get("root_zones", table.root_zone.like)
        feeding = feeding_spec(table.feeding, species, zone, catalog, southern)
    return FieldSpec(
        key=key,
        label=label_of(key, table.label),
        area_m2=table.area,
        species=table.species,
        root_zone=_root_zone(table.root_zone),
        delivery=_delivery(table.delivery, catalog, table.area),
        stand=table.stand,
        mowing_height_mm=table.mowing_height,
        reseed_day=table.reseed,
        patches=table.patches,
        priority=table.priority,
        play=play_spec(table.play, catalog) if table.play else None,
        surface=table.surface,
        skin=skin_spec(table.skin or SkinTable(), catalog) if table.surface == SKINNED else None,
        establish=establish_spec(table.establish, catalog) if table.establish else None,
        slope=table.slope,
        feeding=feeding,
    )


def _root_zone(table: RootZoneTable) -> RootZoneSpec:
    def written(keys: Mapping[str, str]) -> dict[str, Any]:
        values = {name: getattr(table, key) for key, name in keys.items()}
        return {name: value for name, value in values.items() if value is not None}

    measured_names = {key: "ksat_mm_h" if key == "conductivity" else key for key in MEASURED_SOIL}
    return RootZoneSpec(
        like=table.like,
        numbers=written(ROOT_ZONE_NUMBERS),
        words=written({key: key for key in ("soil", "compaction", "base")}),
        measured=written(measured_names),
    )


def _delivery(table: DeliveryTable, catalog: Catalog, area_m2: float) -> DeliverySpec:
    entry = catalog.get("delivery", table.system)

    def number(value: float | None, name: str) -> float:
        return entry[name] if value is None else value

    flow_m3_h, basis = table.flow, BY_FLOW
    if table.zones is not None:
        basis = BY_ZONES
    elif flow_m3_h is None and entry["machine_flow"] > 0.0:
        flow_m3_h, basis = entry["machine_flow"], BY_MACHINE
    elif flow_m3_h is None:
        flow_m3_h, basis = _design_flow_m3_h(catalog, area_m2), BY_DESIGN
    return DeliverySpec(
        system=table.system,
        distribution_uniformity=number(table.uniformity, "distribution_uniformity"),
        precipitation_rate_mm_h=number(table.precipitation_rate, "precipitation_rate"),
        overspray=number(table.overspray, "overspray"),
        flow_m3_h=flow_m3_h,
        hours_per_pass=number(table.time_per_pass, "hours_per_pass"),
        labor_hours_per_pass=number(table.labor_per_pass, "labor_hours_per_pass"),
        zones=table.zones or 1,
        basis=basis,
        machine=table.machine or "",
    )


def _design_flow_m3_h(catalog: Catalog, area_m2: float) -> float:
    """Flow of a system designed for a peak week, as is usual (m3/h)."""
    usual = catalog.get("system_design", "usual")
    return design_flow_m3_h(
        area_m2,
        usual["peak_day_loss"],
        usual["application_efficiency"],
        usual["nights_a_week"],
        usual["design_window"],
    )


def _plans(tables: Mapping[str, PlanTable], catalog: Catalog) -> tuple[PlanSpec, ...]:
    plans = {key: _plan(key, table, catalog) for key, table in tables.items()}
    for key, table in tables.items():
        if table.by_field:
            others = tuple((field, plans[other]) for field, other in table.by_field.items())
            plans[key] = replace(plans[key], by_field=others, labelled=None)
    return tuple(plans.values())


def _plan(key: str, table: PlanTable, catalog: Catalog) -> PlanSpec:
    by_rule = rule_values(table)
    if table.allowed is None and "depth_by_weekday" in by_rule:
        by_rule["allowed"] = tuple(depth > 0.0 for depth in by_rule["depth_by_weekday"])
    return PlanSpec(
        key=key,
        label=label_of(key, table.label),
        syringe=syringe_spec(table.syringe, catalog) if table.syringe else None,
        **by_rule,
        **values_of(table.crown),
        **values_of(table.rain_skip),
        **values_of(table, "label", "crown", "rain_skip", "syringe", "by_field", *RULE_KEYS),
    )


def _answers(table: AnswersTable, southern: bool) -> Answers:
    warm_months = SOUTHERN_SEASON if southern else NORTHERN_SEASON
    return Answers(
        reached=table.reached.model_dump(),
        **{"season": warm_months, **values_of(table, "reached")},
    )


def with_weather(
    scenario: Scenario,
    file: str | Path | None = None,
    source: str | None = None,
    future: str | None = None,
    seed: int | None = None,
    years: int | None = None,
    fill: FillRule | None = None,
    record_years: tuple[int, int] | None = None,
) -> Scenario:
    """The scenario with its weather settings replaced by every argument that is not None.

    A file replaces a climate table too. FaultyInput for an unknown future, and for resampled years
    without a record.
    """
    old = scenario.weather
    new = replace(
        old,
        file=old.file if file is None else Path(file),
        climate=old.climate if file is None else None,
        source=source or (RECORD if file is not None and old.climate is not None else old.source),
        future=old.future if future is None else "" if future == NO_FUTURE else future,
        seed=old.seed if seed is None else seed,
        fill=fill or old.fill,
        record_years=record_years or old.record_years,
    )
    new = replace(new, years=0 if new.source == RECORD else years or old.years or USUAL_YEARS)
    faults = []
    if new.file is None:
        for name, value in (("fill", fill), ("record-years", record_years)):
            if value is not None:
                what = "needs a weather file, and the scenario has a climate table"
                faults.append(Fault(name, what, "add --weather FILE"))
    if new.monthly_temperature is not None and (new.source == GENERATOR or new.future):
        what = "rules out a fitted or changed climate: the file has no daily temperature"
        faults.append(Fault("weather.monthly_temperature", what, "source record or resample"))
    if new.climate is not None and new.source != GENERATOR:
        what = f"'{new.source}' needs a weather file, and the scenario has a climate table"
        faults.append(Fault("source", what, GENERATOR))
    if new.future and new.future not in new.futures:
        what = f"the scenario has no {quoted(new.future)}"
        faults.append(Fault("future", what, nearest(new.future, [*new.futures, NO_FUTURE])))
    if new.first_year + new.years > 10_000:
        most = 10_000 - new.first_year
        what = f"{new.years} years would run past the year 9999"
        faults.append(Fault("years", what, f"at most {most}"))
    if faults:
        raise FaultyInput(faults)
    return replace(scenario, weather=new)


# --- faults -----------------------------------------------------------------------------------

_MISSING, _NOT_KNOWN = "is missing", "is not known here"


def schema_faults(
    name: str, error: ValidationError, whole: type[BaseModel] = ScenarioTable
) -> Iterator[Fault]:
    """Faults from the errors of the validator of ``whole``, in drysward's words."""
    found = [fault for detail in error.errors() for fault in _faults_of(name, detail, whole)]
    at = [fault.where.rpartition(".")[::2] for fault in found]
    missing = [place for place, fault in zip(at, found, strict=True) if fault.what == _MISSING]
    meant: dict[tuple[str, str], str] = {}
    for (table, key), fault in zip(at, found, strict=True):
        if fault.what == _NOT_KNOWN:
            needed = [other for place, other in missing if place == table]
            meant[table, key] = closest_name(key, needed, _LIKE_A_MISSING_KEY)
    # A key with a wrong name is not missing as well.
    misspelt = {(table, other) for (table, _), other in meant.items()}
    for place, fault in zip(at, found, strict=True):
        if other := meant.get(place):
            yield Fault(fault.where, fault.what, f"did you mean {quoted(other)}?")
        elif place not in misspelt:
            yield fault


# A key that is needed is what was meant sooner than others.
_LIKE_A_MISSING_KEY = 0.5


def _faults_of(name: str, detail: ErrorDetails, whole: type[BaseModel]) -> Iterator[Fault]:
    place = [part for part in detail["loc"] if part not in (EVERY_TIME, "[key]")]
    where = f"{name}: {dotted(place)}"
    kind, value, context = detail["type"], detail["input"], detail.get("ctx", {})
    if kind == "faults":
        for key, what, allowed in context["faults"]:
            # A fault of the whole file belongs to no table.
            full = ".".join(part for part in (dotted(place), key) if part)
            yield Fault(f"{name}: {full}", what, allowed)
    elif kind == "missing":
        yield Fault(where, _MISSING, _line_for(place, whole))
    elif kind == "extra_forbidden":
        known = keys_at(place[:-1], whole)
        yield Fault(where, _NOT_KNOWN, nearest(str(place[-1]), known))
    elif kind == "value_error":
        what, _, allowed = str(context["error"]).partition("; ")
        limits = _limits_as_written(place, whole, value)
        if isinstance(context["error"], BeyondLimits) and limits:
            what, allowed = f"{quoted(value)} is out of range", limits
        yield Fault(where, what, allowed)
    elif kind in _PAST_LIMITS and (limits := _limits_as_written(place, whole, value)):
        yield Fault(where, f"{quoted(value)} is refused", limits)
    elif kind in ("model_type", "dict_type"):
        form = ", ".join(f"{key} = ..." for key in keys_at(place, whole)[:_KEYS_SHOWN])
        yield Fault(where, f"{quoted(value)} is not a table", f"a table such as {{ {form} }}")
    elif kind == "list_type" and isinstance(value, str):
        parts = ", ".join(f'"{part.strip()}"' for part in value.split(","))
        line = quoted(f"{place[-1]} = [{parts}]", bare=True)
        yield Fault(where, f"{quoted(value)} is not a list", f"write {line}")
    elif kind == "string_pattern_mismatch":
        yield Fault(where, f"{quoted(value)} is not a valid key", "use letters, digits, _ and -")
    else:
        shown = "nothing" if value in ({}, []) else quoted(value)
        # "List should have at least 1 item after validation, not 0"
        message = detail["msg"].partition(" after validation")[0]
        allowed = re.sub(r"^(Input|Value|String|List|Dictionary) should ", "should ", message)
        yield Fault(where, f"{shown} is refused", allowed)


def _line_for(place: Sequence[str | int], whole: type[BaseModel]) -> str:
    """The line that gives a needed key its value."""
    check = check_at(place, whole)
    if check is None or check.of.startswith("a table"):
        return f"write a table [{dotted(place)}]"
    return f"write {place[-1]} = ... ({check})"


_KEYS_SHOWN = 3
# Of the validator, for a number beyond an end of its range.
_PAST_LIMITS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")


def _limits_as_written(
    place: Sequence[str | int], whole: type[BaseModel], value: object
) -> str:
    """Both limits of the key at ``place``, in the unit that the writer used; "" when not known.

    A share of more than 1 was meant as a percentage.
    """
    check = check_at(place, whole)
    if check is None:
        return ""
    number, unit = (number_and_unit(value) if isinstance(value, str) else None) or (value, "")
    try:
        limits = check.limits("" if unit == "%" else unit)
    except ValueError:
        return ""
    is_share = check.kind is None and check.low >= 0.0 and check.high <= 1.0
    if is_share and not unit and isinstance(number, int | float) and 1.0 < number <= 100.0:
        limits += f"; for {number:g}% write {number / 100.0:g}"
    return limits
