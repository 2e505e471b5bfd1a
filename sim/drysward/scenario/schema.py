"""What a scenario file may hold, key by key, and the reading of each value into base units.

Nothing here knows what a scenario means: names are looked up, quantities converted, ranges and
combinations checked, so that every fault of a file is told at once by its dotted key.
"""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

from itertools import pairwise
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from drysward.catalog import load_catalog
from drysward.day.records import MOST_STAGES
from drysward.quantities import ANGLE, AREA, FLOW, LENGTH, PRESSURE_HEAD, RATE, TIME, VOLUME, Kind
from drysward.scenario.model import (
    RULES,
    SKINNED,
    STANDS,
    SURFACES,
    TIMES_OF_DAY,
    TURF_YEARS,
)
from drysward.scenario.play_tables import (
    EstablishTable,
    PlayTable,
    SkinTable,
    SyringeTable,
    grown,
)
from drysward.scenario.sizing_tables import SizingTable
from drysward.scenario.supply_tables import CostsTable, SupplyTable, said_once
from drysward.scenario.values import (
    EVERY_TIME,
    MM_PER_M,
    WEEKDAYS,
    DayOfYear,
    Depth,
    Drought,
    Flaws,
    Identifier,
    Month,
    Odds,
    Part,
    Share,
    SpanTable,
    Text,
    Weekdays,
    WholeDays,
    entry_of,
    in_table,
    one_of,
    quantity,
    refuse,
)
from drysward.scenario.weather_tables import WeatherTable

BASES = ("gravel", "open subsoil", "barrier")
INVERSE_TENSION = Kind("inverse of tension", "1/cm", ("1/cm",))


class SiteTable(Part):
    name: Text
    latitude: Annotated[float, quantity(ANGLE), Field(ge=-90.0, le=90.0)]
    elevation: Annotated[float, quantity(LENGTH, 1 / MM_PER_M), Field(ge=-430.0, le=6000.0)]
    coastal: bool = False
    arid: bool = False
    supply: Annotated[float, quantity(VOLUME), Field(ge=0.0)] | None = None


# Numbers of a construction: key in the file, name in the catalogue.
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
GIVEN_SOIL = ("wilting_point", "field_capacity", "saturation", "conductivity")


class RootZoneTable(Part):
    like: Annotated[str, entry_of("root_zones")]
    soil: Annotated[str, entry_of("soils")] | None = None
    compaction: Annotated[str, entry_of("compaction")] | None = None
    base: Annotated[str, one_of(*BASES)] | None = None
    depth: Annotated[float, quantity(LENGTH)] | None = None
    cap_depth: Annotated[float, quantity(LENGTH)] | None = None
    native_depth: Annotated[float, quantity(LENGTH)] | None = None
    theta_s: float | None = None
    theta_r: float | None = None
    alpha: Annotated[float, quantity(INVERSE_TENSION)] | None = None
    n: float | None = None
    sand_conductivity: Annotated[float, quantity(RATE)] | None = None
    readily_evaporable_water: Annotated[float, quantity(LENGTH)] | None = None
    base_suction: Annotated[float, quantity(PRESSURE_HEAD)] | None = None
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
            value = getattr(self, key)
            if value is None:
                continue
            if name not in entry.numbers:
                faults.append((key, f"'{self.like}' has none", "known: " + ", ".join(here)))
            else:
                faults += beyond_limits(key, name, value)
        given = {key: getattr(self, key) for key in GIVEN_SOIL}
        written = [key for key in GIVEN_SOIL if given[key] is not None]
        if written and "soil" not in entry.words:
            faults += [
                (key, f"'{self.like}' has no native soil", "leave it out") for key in written
            ]
        elif written and len(written) < len(GIVEN_SOIL):
            missing = ", ".join(key for key in GIVEN_SOIL if given[key] is None)
            faults.append((written[0], "a measured soil needs more", f"write {missing} as well"))
        elif written and not (
            given["wilting_point"] < given["field_capacity"] < given["saturation"]
        ):
            told = "below field_capacity, and that below saturation"
            faults.append(("wilting_point", "the measured soil is out of order", told))
        refuse(faults)
        return self


def beyond_limits(key: str, name: str, value: float) -> Flaws:
    """A fault when ``value`` lies beyond the physical limits of the catalogue's ``name``."""
    limits = load_catalog().meanings[name]
    if limits.low <= value <= limits.high:
        return []
    unit = "" if limits.units == "1" else f" {limits.units}"
    told = f"{limits.low:g} to {limits.high:g}{unit}"
    return [(key, f"{value:g}{unit} cannot be", told)]


# Numbers of a delivery system: key in the file, name in the catalogue.
DELIVERY_NUMBERS = {
    "uniformity": "distribution_uniformity",
    "precipitation_rate": "precipitation_rate",
    "overspray": "overspray",
    "time_per_pass": "hours_per_pass",
    "labour_per_pass": "labour_hours_per_pass",
}


class DeliveryTable(Part):
    system: Annotated[str, entry_of("delivery")]
    uniformity: float | None = None
    precipitation_rate: Annotated[float, quantity(RATE)] | None = None
    overspray: float | None = None
    flow: Annotated[float, quantity(FLOW), Field(gt=0.0)] | None = None
    time_per_pass: Annotated[float, quantity(TIME)] | None = None
    labour_per_pass: Annotated[float, quantity(TIME)] | None = None

    @model_validator(mode="after")
    def _within_limits(self) -> Self:
        faults: Flaws = []
        for key, name in DELIVERY_NUMBERS.items():
            if (value := getattr(self, key)) is not None:
                faults += beyond_limits(key, name, value)
        refuse(faults)
        return self


class FieldTable(Part):
    label: Text | None = None
    area: Annotated[float, quantity(AREA), Field(gt=0.0)]
    surface: Annotated[str, one_of(*SURFACES)] = SURFACES[0]
    species: Annotated[str, AfterValidator(grown), Field(validate_default=True)] = ""
    root_zone: Annotated[RootZoneTable, BeforeValidator(in_table("like"))]
    delivery: Annotated[DeliveryTable, BeforeValidator(in_table("system"))]
    stand: Annotated[str, one_of(*STANDS)] = STANDS[0]
    mowing_height: Annotated[float, quantity(LENGTH), Field(ge=1.0, le=300.0)] | None = None
    reseed: DayOfYear | None = None
    patches: Annotated[int, Field(ge=1, le=50)] = 5
    priority: Annotated[int, Field(ge=1, le=99)] = 1
    play: PlayTable | None = None
    skin: SkinTable | None = None
    establish: EstablishTable | None = None

    @model_validator(mode="after")
    def _fits_the_surface(self) -> Self:
        faults: Flaws = []
        if self.surface == SKINNED:
            faults += [
                (key, "a skinned surface grows nothing", "leave it out")
                for key in ("stand", "mowing_height", "reseed", "establish")
                if key in self.model_fields_set
            ]
        elif self.skin is not None:
            faults.append(("skin", "belongs to a skinned surface", f"surface = '{SKINNED}'"))
        if self.establish is not None and self.stand != STANDS[0]:
            faults.append(("establish", f"is given beside stand '{self.stand}'", "one of the two"))
        refuse(faults)
        return self


class RainSkipTable(Part):
    rain: Annotated[float, quantity(LENGTH), Field(gt=0.0)]
    within: WholeDays = 1


class CrownTable(Part):
    depth: Depth
    every: WholeDays = 14
    from_dormant: Share = 0.2


class PauseTable(Part):
    first: Annotated[DayOfYear | None, Field(alias="from")] = None
    last: Annotated[DayOfYear | None, Field(alias="to")] = None
    above: Drought | None = None
    below: Drought | None = None
    longest: WholeDays | None = None

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
    above: Drought
    below: Drought
    share: Share = 1.0
    days: Weekdays | None = None
    crown_only: bool = False


# Keys that only one rule reads.
RULE_KEYS = {
    "none": (),
    "fixed": ("depth",),
    "share of et": ("share",),
    "refill": ("trigger", "target"),
}


class PlanTable(Part):
    label: Text | None = None
    rule: Annotated[str, one_of(*RULES)]
    depth: (
        Annotated[
            dict[Annotated[str, one_of(*WEEKDAYS, EVERY_TIME)], Depth],
            BeforeValidator(in_table(EVERY_TIME)),
            Field(min_length=1),
        ]
        | None
    ) = None
    share: Annotated[float, Field(gt=0.0, le=2.0)] | None = None
    trigger: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    target: Share | None = None
    days: Weekdays | None = None
    least_depth: Annotated[float, quantity(LENGTH), Field(ge=0.0, le=100.0)] = 3.0
    season: SpanTable | None = None
    time: Annotated[str, one_of(*TIMES_OF_DAY)] = "early morning"
    window: Annotated[float, quantity(TIME), Field(gt=0.0, le=24.0)] = 8.0
    rain_skip: RainSkipTable | None = None
    interval: WholeDays = 1
    adjust: dict[Month, Annotated[float, Field(ge=0.0, le=5.0)]] = {}
    allow_for_uniformity: bool = True
    cycle_and_soak: bool = True
    crown: CrownTable | None = None
    pause: PauseTable | None = None
    stages: Annotated[list[StageTable], Field(max_length=MOST_STAGES)] = []
    syringe: SyringeTable | None = None

    @model_validator(mode="after")
    def _fits_the_rule(self) -> Self:
        faults: Flaws = []
        mine = RULE_KEYS[self.rule]
        for rule, keys in RULE_KEYS.items():
            for key in keys:
                if rule != self.rule and getattr(self, key) is not None:
                    faults.append((key, f"rule '{self.rule}' does not use it", f"'{rule}' does"))
        for key in mine:
            if key != "target" and getattr(self, key) is None:
                faults.append((key, "is missing", f"rule '{self.rule}' needs it"))
        if (
            self.rule == "fixed"
            and self.depth
            and (self.days is None) == (EVERY_TIME in self.depth)
        ):
            told = "days with one depth, or depth = { Tue = ..., Fri = ... } without days"
            faults.append(("days", "a fixed plan says its days once", told))
        if self.trigger is not None and (self.target or 0.0) >= self.trigger:
            faults.append(("target", "is not below trigger", f"less than {self.trigger:g}"))
        faults += self._stage_faults()
        refuse(faults)
        return self

    def _stage_faults(self) -> Flaws:
        faults: Flaws = []
        for i, stage in enumerate(self.stages):
            if stage.below > stage.above:
                faults.append((f"stages[{i + 1}].below", "is more than above", "at most above"))
        for i, (milder, harder) in enumerate(pairwise(self.stages), start=2):
            if harder.above <= milder.above:
                told = f"more than {milder.above:g} mm"
                faults.append((f"stages[{i}].above", "does not rise", told))
            if harder.below < milder.below:
                told = f"at least {milder.below:g} mm"
                faults.append((f"stages[{i}].below", "falls", told))
        return faults


class ReachedTable(Part):
    footprint: Annotated[float, Field(gt=0.0, le=1.0)] = 0.25
    wilt: Annotated[float, Field(gt=0.0, le=1.0)] = 0.25
    dormant: Annotated[float, Field(gt=0.0, le=1.0)] = 0.25
    dead: Annotated[float, Field(gt=0.0, le=1.0)] = 0.05


class AnswersTable(Part):
    reached: ReachedTable = ReachedTable()
    season: SpanTable | None = None
    turf: Annotated[str, one_of(*TURF_YEARS)] = TURF_YEARS[0]
    start_soil_water: Share = 1.0
    return_periods: Annotated[list[Annotated[float, Field(gt=1.0)]], Field(min_length=1)] = [
        2.0, 5.0, 10.0, 20.0, 50.0,
    ]  # fmt: skip
    confidence: Odds = 0.90
    fewest_days: Annotated[int, Field(ge=1, le=366)] = 360
    drought_days: Annotated[int, Field(ge=1, le=366)] = 60


class ScenarioTable(Part):
    """The whole file, read with ``Named`` as context. The catalogue checks ``overrides``."""

    title: Text = "Untitled"
    site: SiteTable
    weather: WeatherTable
    fields: Annotated[dict[Identifier, FieldTable], Field(min_length=1)]
    plans: Annotated[dict[Identifier, PlanTable], Field(min_length=1)]
    supply: Annotated[SupplyTable, AfterValidator(said_once)] | None = None
    costs: CostsTable = CostsTable()
    sizing: SizingTable | None = None
    answers: AnswersTable = AnswersTable()
    overrides: dict[str, Any] = {}
