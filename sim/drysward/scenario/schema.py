"""Keys of a scenario file, and conversion of each value to base units.

This module looks up names, converts quantities, and checks limits and combinations, so that every
fault of a file is reported at once by its dotted key. It does not interpret a scenario.
"""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

import re
from itertools import pairwise
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BeforeValidator, Field, create_model, model_validator

from drysward.catalog import load_catalog
from drysward.day.records import MOST_STAGES
from drysward.faults import quoted
from drysward.quantities import (
    ANGLE,
    AREA,
    FLOW,
    HEIGHT,
    LENGTH,
    PRESSURE_HEAD,
    RATE,
    SYSTEMS,
    TIME,
    VOLUME,
    Kind,
)
from drysward.scenario.cost_tables import CostsTable
from drysward.scenario.feeding_tables import Feeding, feeding_flaws
from drysward.scenario.model import (
    FEWEST_DRAWS,
    MOST_DRAWS,
    SKINNED,
    STANDS,
    SURFACES,
    TIMES_OF_DAY,
    TURF_YEARS,
    USUAL_SLOPE,
    Answers,
    Pause,
    PlanSpec,
    PlayingCondition,
    Site,
    Stage,
)
from drysward.scenario.names import named_in
from drysward.scenario.play_tables import (
    EstablishTable,
    PlayTable,
    SkinTable,
    SyringeTable,
    grown,
)
from drysward.scenario.rules import RULE_KEYS, RULES, no_function, rule_flaws
from drysward.scenario.sizing_tables import SizingTable
from drysward.scenario.supply_tables import SupplyTable, said_once
from drysward.scenario.values import (
    AS_SHARE,
    MM_PER_M,
    MONTHS,
    MOST_NAMED,
    BeyondLimits,
    DayOfYear,
    Depth,
    Drought,
    Flags,
    Flaws,
    Identifier,
    IsOneOf,
    Month,
    Odds,
    Part,
    Share,
    SomeShare,
    Span,
    Text,
    WholeDays,
    as_a,
    entry_of,
    in_table,
    one_of,
    quantity,
    read,
    refuse,
    within,
    within_term,
)
from drysward.scenario.weather_tables import WeatherTable

BASES = ("gravel", "open subsoil", "barrier")
MOST_RETURN_PERIODS = 50
STEEPEST = 0.3  # turf for play, mown by machine, is less steep (own estimate)
INVERSE_TENSION = Kind("inverse of tension", "1/cm", ("1/cm",))


# Other ways to write a latitude: "39.2 N", "N 39.2", "39 12 30 N", with or without marks.
_LATITUDE = re.compile(
    r"""\s*([NSEWnsew]?)\s*([+-]?\d{1,3}(?:\.\d{1,9})?)\s*(?:\u00b0|deg|degrees|d)?\s*
    (?:(\d{1,2}(?:\.\d{1,9})?)\s*(?:'|\u2032|min|m)?\s*)?
    (?:(\d{1,2}(?:\.\d{1,9})?)\s*(?:"|''|\u2033|sec|s)?\s*)?([NSEWnsew]?)\s*""",
    re.VERBOSE,
)


def latitude(text: object) -> float:
    """``"39.2 deg"``, ``"39.2 N"`` or ``"39 12 N"`` as 39.2, north positive.

    ValueError for a longitude, and shows the right form for degrees without sign and unit.
    """
    form = 'degrees, north positive: "39.2 deg" or "39.2 N"'
    written = None if isinstance(text, bool) else _LATITUDE.fullmatch(f"{text}"[:100])
    if written is None:
        return _in_degrees(text, form)
    before, degrees, minutes, seconds, after = written.groups()
    side = f"{before}{after}".upper()
    if side in ("E", "W"):
        raise ValueError(f"{quoted(text)} is a longitude; {form}")
    size = abs(float(degrees)) + float(minutes or 0.0) / 60.0 + float(seconds or 0.0) / 3600.0
    if not side:
        signed = -size if degrees.startswith("-") else size
        return _in_degrees(text, f'latitude = "{signed:.6g} deg", north positive')
    parts = [float(part) for part in (minutes, seconds) if part]
    whole = not parts or "." not in degrees
    if len(side) > 1 or degrees[0] in "+-" or not whole or max(parts, default=0.0) >= 60.0:
        raise ValueError(f"{quoted(text)} is not a latitude; {form}")
    return -size if side == "S" else size


def _in_degrees(text: object, form: str) -> float:
    try:
        return read(text, ANGLE)
    except BeyondLimits:
        raise
    except ValueError as error:
        raise ValueError(f"{str(error).partition(';')[0]}; {form}") from None


class SiteTable(Part):
    name: Text
    latitude_deg: Annotated[
        float, BeforeValidator(latitude), Field(alias="latitude", ge=-90.0, le=90.0)
    ]
    elevation_m: Annotated[
        float, quantity(HEIGHT, 1 / MM_PER_M), Field(alias="elevation", ge=-430.0, le=6000.0)
    ]
    coastal: bool = False
    arid: bool = False
    supply_m3_d: Annotated[
        float, quantity(VOLUME), Field(alias="supply"), within("site_supply")
    ] = Site.supply_m3_d
    crew_h: Annotated[
        float | None, quantity(TIME), Field(alias="crew", gt=0.0, le=200.0)
    ] = Site.crew_h


# Numbers of a construction: key in the file, name in the catalog.
ROOT_ZONE_NUMBERS = {
    "depth": "depth_mm",
    "cap_depth": "cap_depth_mm",
    "native_depth": "native_depth_mm",
    "theta_s": "theta_s",
    "theta_r": "theta_r",
    "alpha": "alpha",
    "n": "n",
    "sand_conductivity": "ksat",
    "readily_evaporable_water": "rew",
    "base_suction": "base_suction_cm",
}
MEASURED_SOIL = ("wilting_point", "field_capacity", "saturation", "conductivity")


# "10in" of "sand_over_gravel_10in".
_DEPTH_IN_NAME = re.compile(r"_?([0-9]+(?:\.[0-9]+)?)_?(inch|in|mm|cm|ft)(?![a-z])")


class IsConstruction(IsOneOf):
    """Lets the name of a root zone pass, and shows how another depth of one is written."""

    def __call__(self, text: str) -> str:
        if text not in self.names and (other := other_depth(text)):
            raise ValueError(f"{quoted(text)} is not known; root_zone = {other[1]}")
        return super().__call__(text)


def other_depth(name: str) -> tuple[str, str] | None:
    """Of ``sand_over_gravel_10in`` the construction of nearest depth, and the table to write:
    ``{ like = "sand_over_gravel_12in", depth = "10 in" }``.

    None where no construction has this name but for a depth, or none is built so deep.
    """
    stated = _DEPTH_IN_NAME.search(name)
    entries = load_catalog().entries["root_zones"]
    stem = _DEPTH_IN_NAME.sub("", name, count=1)
    alike = [one for one in entries if _DEPTH_IN_NAME.sub("", one, count=1) == stem]
    if stated is None or not alike:
        return None
    depth = f"{stated[1]} {stated[2]}"
    key = "cap_depth" if "cap_depth_mm" in entries[alike[0]].numbers else "depth"
    number = f"{key}_mm"
    try:
        stated_mm = within_term(read(depth, LENGTH), load_catalog().meanings[number])
    except ValueError:
        return None
    like = min(alike, key=lambda one: abs(entries[one].numbers[number].value - stated_mm))
    return like, f'{{ like = "{like}", {key} = "{depth}" }}'


_CONSTRUCTIONS = IsConstruction(tuple(load_catalog().entries["root_zones"]))


class RootZoneTable(Part):
    like: Annotated[str, AfterValidator(_CONSTRUCTIONS)]
    soil: Annotated[str, entry_of("soils")] | None = None
    compaction: Annotated[str, entry_of("compaction")] | None = None
    base: Annotated[str, one_of(*BASES)] | None = None
    depth: Annotated[float, quantity(LENGTH), within("depth_mm")] | None = None
    cap_depth: Annotated[float, quantity(LENGTH), within("cap_depth_mm")] | None = None
    native_depth: Annotated[float, quantity(LENGTH), within("native_depth_mm")] | None = None
    theta_s: Annotated[float, AS_SHARE, within("theta_s")] | None = None
    theta_r: Annotated[float, AS_SHARE, within("theta_r")] | None = None
    alpha: Annotated[float, quantity(INVERSE_TENSION), within("alpha")] | None = None
    n: Annotated[float, within("n")] | None = None
    sand_conductivity: Annotated[float, quantity(RATE), within("ksat")] | None = None
    readily_evaporable_water: Annotated[float, quantity(LENGTH), within("rew")] | None = None
    base_suction: Annotated[
        float, quantity(PRESSURE_HEAD), within("base_suction_cm")
    ] | None = None
    field_capacity: Odds | None = None
    wilting_point: Odds | None = None
    saturation: Odds | None = None
    conductivity: Annotated[float, quantity(RATE), Field(gt=0.0, le=10_000.0)] | None = None

    @model_validator(mode="after")
    def _fits_the_construction(self) -> Self:
        entry = load_catalog().get("root_zones", self.like)
        faults: Flaws = []
        for key in ("soil", "compaction"):
            if getattr(self, key) is not None and key not in entry.words:
                faults.append((key, f"'{self.like}' has no native soil", "leave it out"))
        here = [key for key, name in ROOT_ZONE_NUMBERS.items() if name in entry.numbers]
        for key, name in ROOT_ZONE_NUMBERS.items():
            if getattr(self, key) is not None and name not in entry.numbers:
                faults.append((key, f"'{self.like}' has none", "known: " + ", ".join(here)))
        measured = {key: getattr(self, key) for key in MEASURED_SOIL}
        written = [key for key in MEASURED_SOIL if measured[key] is not None]
        if written and "soil" not in entry.words:
            faults += [
                (key, f"'{self.like}' has no native soil", "leave it out") for key in written
            ]
        elif written and len(written) < len(MEASURED_SOIL):
            missing = ", ".join(key for key in MEASURED_SOIL if measured[key] is None)
            faults.append((written[0], "a measured soil needs more", f"write {missing} as well"))
        elif written and not (
            measured["wilting_point"] < measured["field_capacity"] < measured["saturation"]
        ):
            allowed = "below field_capacity, and that below saturation"
            faults.append(("wilting_point", "the measured soil is out of order", allowed))
        refuse(faults)
        return self


# Numbers of a delivery system: key in the file, name in the catalog.
DELIVERY_NUMBERS = {
    "uniformity": "distribution_uniformity",
    "precipitation_rate": "precipitation_rate",
    "overspray": "overspray",
    "time_per_pass": "hours_per_pass",
    "labor_per_pass": "labor_hours_per_pass",
}


class DeliveryTable(Part):
    system: Annotated[str, entry_of("delivery")]
    uniformity: Annotated[
        float, AS_SHARE, within("distribution_uniformity")
    ] | None = None
    precipitation_rate: Annotated[
        float, quantity(RATE), within("precipitation_rate")
    ] | None = None
    overspray: Annotated[float, AS_SHARE, within("overspray")] | None = None
    flow: Annotated[float, quantity(FLOW), within("source_flow")] | None = None
    time_per_pass: Annotated[float, quantity(TIME), within("hours_per_pass")] | None = None
    labor_per_pass: Annotated[
        float, quantity(TIME), within("labor_hours_per_pass")
    ] | None = None
    zones: Annotated[int, Field(ge=1, le=60)] | None = None
    machine: Identifier | None = None

    @property
    def makes_passes(self) -> bool:
        """Whether the field is watered in passes, not in zones."""
        usual = load_catalog().get("delivery", self.system)["hours_per_pass"]
        return (usual if self.time_per_pass is None else self.time_per_pass) > 0.0

    @model_validator(mode="after")
    def _states_the_night_once(self) -> Self:
        faults: Flaws = []
        if self.zones is not None and self.makes_passes:
            what = "is for systems in the ground; this one makes passes"
            faults.append(("zones", what, 'write its flow, such as flow = "100 gpm"'))
        elif self.zones is not None and self.flow is not None:
            faults.append(("zones", "conflicts with flow", "keep one of them"))
        if self.machine is not None and not self.makes_passes:
            what = f"'{self.system}' makes no passes that fields could share"
            faults.append(("machine", what, "leave it out"))
        refuse(faults)
        return self


def as_slope(rise: float) -> float:
    """A slope as rise over run; ValueError beyond ``STEEPEST``, percent among them."""
    if 0.0 <= rise <= STEEPEST:
        return rise
    allowed = f"0 to {STEEPEST:g}, rise over run"
    if STEEPEST < rise <= 100.0 * STEEPEST:
        allowed += f"; {rise:g}% is slope = {rise / 100.0:g}"
    raise ValueError(f"{rise:g} is out of range; {allowed}")


_ROOT_ZONE = 'a construction of the catalog, such as "native_loam", or a table with like = "..."'
_DELIVERY = 'a system of the catalog, such as "in_ground_rotors", or a table with system = "..."'


class FieldTable(Part):
    label: Text | None = None
    area: Annotated[float, quantity(AREA), within("field_area")]
    surface: Annotated[str, one_of(*SURFACES)] = SURFACES[0]
    species: Annotated[str, AfterValidator(grown), Field(validate_default=True)] = ""
    root_zone: Annotated[RootZoneTable, BeforeValidator(in_table("like", _ROOT_ZONE))]
    delivery: Annotated[DeliveryTable, BeforeValidator(in_table("system", _DELIVERY))]
    stand: Annotated[str, one_of(*STANDS)] = STANDS[0]
    mowing_height: Annotated[float, quantity(LENGTH), Field(ge=1.0, le=300.0)] | None = None
    reseed: DayOfYear | None = None
    patches: Annotated[int, Field(ge=1, le=50)] = 5
    priority: Annotated[int, Field(ge=1, le=99)] = 1
    slope: Annotated[float, AS_SHARE, AfterValidator(as_slope)] = USUAL_SLOPE
    play: PlayTable | None = None
    skin: SkinTable | None = None
    establish: EstablishTable | None = None
    feeding: Feeding | None = None

    @model_validator(mode="after")
    def _fits_the_surface(self) -> Self:
        faults: Flaws = []
        if self.surface == SKINNED:
            faults += [
                (key, "a skinned surface grows nothing", "leave it out")
                for key in ("stand", "mowing_height", "reseed", "establish", "feeding")
                if key in self.model_fields_set
            ]
        elif self.skin is not None:
            faults.append(("skin", "belongs to a skinned surface", f"surface = '{SKINNED}'"))
        if self.establish is not None and self.stand != STANDS[0]:
            faults.append(("establish", f"conflicts with stand '{self.stand}'", "keep one of them"))
        if self.feeding is not None:
            catalog = load_catalog()
            zone = catalog.get("root_zones", self.root_zone.like)
            faults += feeding_flaws(self.feeding, zone, catalog)
        refuse(faults)
        return self


class RainSkipTable(Part):
    rain_skip_mm: Annotated[
        float, quantity(LENGTH), Field(alias="rain"), within("rain_skipped")
    ]
    rain_skip_days: Annotated[WholeDays, Field(alias="within")] = PlanSpec.rain_skip_days


class CrownTable(Part):
    crown_depth_mm: Annotated[Depth, Field(alias="depth")]
    crown_interval_days: Annotated[WholeDays, Field(alias="every")] = PlanSpec.crown_interval_days
    crown_from: Annotated[Share, Field(alias="from_dormant")] = PlanSpec.crown_from


class PauseTable(Part):
    first: Annotated[DayOfYear | None, Field(alias="from")] = None
    last: Annotated[DayOfYear | None, Field(alias="to")] = None
    above: Drought | None = None
    below: Drought | None = None
    longest_days: Annotated[WholeDays | None, Field(alias="longest")] = None

    @model_validator(mode="after")
    def _in_pairs(self) -> Self:
        faults: Flaws = []
        if (self.first is None) != (self.last is None):
            faults.append(("from", "a pause by dates has two", "write from and to"))
        if (self.above is None) != (self.below is None):
            faults.append(("above", "a pause by drought has two limits", "write above and below"))
        if self.first is None and self.above is None and not faults:
            faults.append(("", "says no time", "write from and to, or above and below"))
        if self.above is not None and self.below is not None and self.below > self.above:
            faults.append(("below", "is more than above", "at most above"))
        refuse(faults)
        return self


class StageTable(Part):
    above_mm: Annotated[Drought, Field(alias="above")]
    below_mm: Annotated[Drought, Field(alias="below")]
    share: Share = Stage.share
    allowed: Annotated[Flags | None, Field(alias="days")] = None
    crown_only: bool = Stage.crown_only


class RuleTable(Part):
    label: Text | None = None
    rule: Annotated[str, BeforeValidator(no_function), one_of(*RULES)]


_OF_RULES: dict[str, Any] = {name: (key.check | None, None) for name, key in RULE_KEYS.items()}
RuleKeysTable: Any = create_model("RuleKeysTable", __base__=RuleTable, **_OF_RULES)


class PlanTable(RuleKeysTable):
    """A plan; its attributes but tables of other keys are those of PlanSpec."""

    allowed: Annotated[Flags | None, Field(alias="days")] = None
    least_depth_mm: Annotated[
        float, quantity(LENGTH), Field(alias="least_depth", ge=0.0, le=100.0)
    ] = PlanSpec.least_depth_mm
    season: Span | None = None
    time_of_day: Annotated[str, one_of(*TIMES_OF_DAY), Field(alias="time")] = PlanSpec.time_of_day
    window_h: Annotated[
        float, quantity(TIME), Field(alias="window", gt=0.0, le=24.0)
    ] = PlanSpec.window_h
    rain_skip: RainSkipTable | None = None
    interval_days: Annotated[WholeDays, Field(alias="interval")] = PlanSpec.interval_days
    adjust: Annotated[
        dict[Month, Annotated[float, Field(ge=0.0, le=5.0)]],
        AfterValidator(lambda factors: tuple(factors.get(month, 1.0) for month in MONTHS)),
    ] | None = None
    allow_for_uniformity: bool = PlanSpec.allow_for_uniformity
    cycle_and_soak: bool = PlanSpec.cycle_and_soak
    most_depth_mm: Annotated[Depth | None, Field(alias="most")] = PlanSpec.most_depth_mm
    stop_at_runoff: bool = PlanSpec.stop_at_runoff
    crown: CrownTable | None = None
    pause: Annotated[PauseTable, as_a(Pause)] | None = None
    stages: Annotated[list[Annotated[StageTable, as_a(Stage)]], Field(max_length=MOST_STAGES)] = []
    syringe: SyringeTable | None = None
    by_field: Annotated[
        dict[Annotated[str, named_in("fields")], Annotated[str, named_in("plans")]],
        Field(alias="fields"),
    ] = {}

    @model_validator(mode="after")
    def _fits_the_rule(self) -> Self:
        refuse(rule_flaws(self) + self._stage_faults() + self._most_faults())
        return self

    def _most_faults(self) -> Flaws:
        """Faults of the largest application: the plan's depths exceed it."""
        most, faults = self.most_depth_mm, list[tuple[str, str, str]]()
        if most is None:
            return faults
        own = max((self.depth or {}).values(), default=0.0)
        for key, depth in (("least_depth", self.least_depth_mm), ("depth", own)):
            if most < depth:
                faults.append(("most", f"is less than {key}", f"at least {depth:g} mm"))
        return faults

    def _stage_faults(self) -> Flaws:
        faults: Flaws = []
        for i, stage in enumerate(self.stages):
            if stage.below_mm > stage.above_mm:
                faults.append((f"stages[{i + 1}].below", "is more than above", "at most above"))
        for i, (milder, harder) in enumerate(pairwise(self.stages), start=2):
            if harder.above_mm <= milder.above_mm:
                allowed = f"more than {milder.above_mm:g} mm"
                faults.append((f"stages[{i}].above", "does not rise", allowed))
            if harder.below_mm < milder.below_mm:
                allowed = f"at least {milder.below_mm:g} mm"
                faults.append((f"stages[{i}].below", "falls", allowed))
        return faults


class ReachedTable(Part):
    footprint: SomeShare = 0.25
    wilt: SomeShare = 0.25
    dormant: SomeShare = 0.25
    dead: SomeShare = 0.05


class PlayingConditionTable(Part):
    green: Share = PlayingCondition.green
    wilt: Share = PlayingCondition.wilt


class AnswersTable(Part):
    reached: ReachedTable = ReachedTable()
    reached_days: Annotated[int, Field(alias="days", ge=1, le=366)] = Answers.reached_days
    playing_condition: Annotated[PlayingConditionTable, as_a(PlayingCondition)] | None = None
    season: Span | None = None
    turf: Annotated[str, one_of(*TURF_YEARS)] = Answers.turf
    start_soil_water: Share = Answers.start_soil_water
    return_periods: (
        Annotated[
            list[Annotated[float, within("asked_return_period")]],
            Field(min_length=1, max_length=MOST_RETURN_PERIODS),
        ]
        | None
    ) = None
    confidence: Odds = Answers.confidence
    fewest_days: Annotated[int, Field(ge=1, le=366)] = Answers.fewest_days
    drought_days: Annotated[int, Field(ge=1, le=366)] = Answers.drought_days
    rooting_varies: bool = Answers.rooting_varies
    short_year: SomeShare = Answers.short_year


class DoubtTable(Part):
    draws: int | None = None

    @model_validator(mode="after")
    def _has_a_spread(self) -> Self:
        n = self.draws
        if n and not FEWEST_DRAWS <= n <= MOST_DRAWS:
            allowed = f"0 for none, or {FEWEST_DRAWS} to {MOST_DRAWS}, such as draws = 64"
            refuse([("draws", f"{n} cannot be run", allowed)])
        return self


class ScenarioTable(Part):
    """The whole file, read with ``Named`` as context. The catalog checks ``overrides``."""

    title: Text = "Untitled"
    units: Annotated[str, one_of(*SYSTEMS)] = SYSTEMS[0]
    fitted: Text | None = None
    site: SiteTable
    weather: WeatherTable
    fields: Annotated[dict[Identifier, FieldTable], Field(min_length=1, max_length=MOST_NAMED)]
    plans: Annotated[dict[Identifier, PlanTable], Field(min_length=1, max_length=MOST_NAMED)]
    supply: Annotated[SupplyTable, AfterValidator(said_once)] | None = None
    costs: CostsTable | None = None
    sizing: SizingTable | None = None
    answers: AnswersTable = AnswersTable()
    doubt: DoubtTable = DoubtTable()
    overrides: dict[str, Any] = {}

    @model_validator(mode="after")
    def _fields_follow_whole_plans(self) -> Self:
        whole = [key for key, plan in self.plans.items() if not plan.by_field]
        allowed = f"one of {', '.join(whole)}" if whole else "a plan that names none"
        refuse([
            (f"plans.{key}.fields.{field}", f"'{other}' names fields itself", allowed)
            for key, plan in self.plans.items()
            for field, other in plan.by_field.items()
            if self.plans[other].by_field
        ])  # fmt: skip
        return self

    @model_validator(mode="after")
    def _shares_one_kind_of_machine(self) -> Self:
        faults: Flaws = []
        first: dict[str, tuple[str, str, float | None]] = {}
        for key, field in self.fields.items():
            name, system = field.delivery.machine, field.delivery.system
            if name is None:
                continue
            hours = field.delivery.time_per_pass
            other, of_other, other_hours = first.setdefault(name, (key, system, hours))
            if system != of_other:
                what = f"'{name}' is a {of_other} on field '{other}'"
                faults.append((f"fields.{key}.delivery.machine", what, "use another name"))
            elif hours != other_hours:
                what = f"a pass of '{name}' takes another time on field '{other}'"
                allowed = "use the same time_per_pass, or another machine"
                faults.append((f"fields.{key}.delivery.time_per_pass", what, allowed))
        refuse(faults)
        return self
