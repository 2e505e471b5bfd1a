"""What a scenario file may hold, key by key, and the reading of each value into base units.

Nothing here knows what a scenario means: names are looked up, quantities converted, ranges and
combinations checked, so that every fault of a file is told at once by its dotted key.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date
from itertools import pairwise
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from drysward.catalog import load_catalog
from drysward.day.records import MOST_STAGES
from drysward.faults import nearest
from drysward.quantities import (
    ANGLE,
    AREA,
    FLOW,
    LENGTH,
    PRESSURE_HEAD,
    RADIATION,
    RATE,
    SPAN,
    SPEED,
    TEMPERATURE,
    TIME,
    VOLUME,
    WARMING,
    Kind,
    convert,
    parse,
)
from drysward.scenario.model import (
    FIRST_MADE_YEAR,
    GENERATOR,
    RECORD,
    RESAMPLE,
    RULES,
    SOURCES,
    STANDS,
    TIMES_OF_DAY,
    TURF_YEARS,
)

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip
BASES = ("gravel", "open subsoil", "barrier")
INVERSE_TENSION = Kind("inverse of tension", "1/cm", ("1/cm",))
MM_PER_M = 1000.0
MADE_YEARS = 200
MOST_MADE_YEARS = 7_900


# --- values -----------------------------------------------------------------------------------


def quantity(kind: Kind, scale: float = 1.0) -> BeforeValidator:
    """Reads a text with a unit as a number in the base unit of ``kind``, times ``scale``."""
    return BeforeValidator(lambda text: parse(text, kind) * scale)


def one_of(*names: str) -> AfterValidator:
    """Lets a text pass that is one of ``names``."""
    return AfterValidator(lambda text: known_name(text, names))


def entry_of(kind: str) -> AfterValidator:
    """Lets a text pass that names an entry of the catalogue."""
    return one_of(*load_catalog().entries[kind])


def known_name(text: str, names: Iterable[str]) -> str:
    """``text`` when it is one of ``names``; ValueError with the nearest when not."""
    names = tuple(names)
    if text not in names:
        raise ValueError(f"'{text}' is not known; {nearest(text, names)}")
    return text


def day_of_year(text: object) -> int:
    """``"04-15"`` as a day of the leap-year calendar, 0 to 365; ValueError when it is no day."""
    wanted = 'month and day, such as "04-15"'
    if not isinstance(text, str):
        raise ValueError(f"{text!r} is not a day of the year; {wanted}")
    try:
        # 2000 was a leap year.
        return (date.fromisoformat(f"2000-{text}") - date(2000, 1, 1)).days
    except ValueError:
        raise ValueError(f"'{text}' is not a day of the year; {wanted}") from None


def whole_days(text: str) -> int:
    """``"2 weeks"`` as 14; ValueError when it is no span of whole days, one at least."""
    days = round(parse(text, SPAN), 6)
    if days < 1 or days != int(days):
        raise ValueError(f"'{text}' is not whole days; 1 day or more")
    return int(days)


def in_table(key: str) -> Callable[[object], object]:
    """A bare text stands for a table that holds only ``key``."""
    return lambda value: {key: value} if isinstance(value, str) else value


Share = Annotated[float, Field(ge=0.0, le=1.0)]
Odds = Annotated[float, Field(gt=0.0, lt=1.0)]
DayOfYear = Annotated[int, BeforeValidator(day_of_year)]
WholeDays = Annotated[int, BeforeValidator(whole_days)]
Weekday = Annotated[str, one_of(*WEEKDAYS)]
Weekdays = Annotated[list[Weekday], Field(min_length=1)]
Month = Annotated[str, one_of(*MONTHS)]
Text = Annotated[str, Field(min_length=1)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=40)]
# More than 200 mm at once, or an index of 10 m, is a slip of the pen (own estimate).
Depth = Annotated[float, quantity(LENGTH), Field(gt=0.0, le=200.0)]
Drought = Annotated[float, quantity(LENGTH), Field(ge=0.0, le=10_000.0)]


EVERY_TIME = "every time"
"""Key under which one depth for all watering days is kept."""


def refuse(faults: list[tuple[str, str, str]]) -> None:
    """Refuse a table for each of ``faults``: key inside the table, what, and what is allowed."""
    if faults:
        raise PydanticCustomError("faults", "see faults", {"faults": faults})


class Part(BaseModel):
    """A table of the file: unknown keys and values of another type are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


# --- tables -----------------------------------------------------------------------------------


class SiteTable(Part):
    name: Text
    latitude: Annotated[float, quantity(ANGLE), Field(ge=-90.0, le=90.0)]
    elevation: Annotated[float, quantity(LENGTH, 1 / MM_PER_M), Field(ge=-430.0, le=6000.0)]
    coastal: bool = False
    arid: bool = False
    supply: Annotated[float, quantity(VOLUME), Field(ge=0.0)] | None = None


class ColumnTable(Part):
    column: Text
    unit: str = ""


class FillTable(Part):
    rain: Annotated[str, one_of("zero", "neighbour-years")] | None = None
    temperature: Annotated[str, one_of("interpolate", "neighbour-years")] | None = None
    longest: WholeDays = 5


def by_month(kind: Kind) -> BeforeValidator:
    """Reads ``{ unit = "in", months = [...] }`` as twelve numbers in the base unit of ``kind``."""

    def read(table: object) -> list[float]:
        told = f'{{ unit = "{kind.examples[0]}", months = [January to December] }}'
        if not isinstance(table, dict):
            raise ValueError(f"is not twelve numbers with a unit; {told}")
        extra = set(table) - {"unit", "months"}
        if extra or not isinstance(table.get("unit"), str):
            what = f"'{min(extra)}' is not known here" if extra else "has no unit"
            raise ValueError(f"{what}; {told}")
        months = table.get("months")
        months = months if isinstance(months, list) else []
        if len(months) != 12 or not all(type(number) in (int, float) for number in months):
            raise ValueError(f"months are not twelve numbers; {told}")
        return [convert(number, table["unit"], kind.base, wanted=told) for number in months]

    return BeforeValidator(read)


Twelve = Annotated[list[float], Field(min_length=12, max_length=12)]


class ClimateTable(Part):
    """Monthly normals. What they may hold is for ``weather.normals`` to say."""

    rain: Annotated[list[float], by_month(LENGTH)]
    wet_days: Twelve
    tmax: Annotated[list[float], by_month(TEMPERATURE)]
    tmin: Annotated[list[float], by_month(TEMPERATURE)]
    tmax_spread: Annotated[list[float], by_month(WARMING)] | None = None
    tmin_spread: Annotated[list[float], by_month(WARMING)] | None = None
    dewpoint: Annotated[list[float], by_month(TEMPERATURE)] | None = None
    relative_humidity: Twelve | None = None
    solar: Annotated[list[float], by_month(RADIATION)] | None = None
    sunshine: Annotated[list[float], by_month(TIME)] | None = None
    wind: Annotated[list[float], by_month(SPEED)] | None = None
    wind_height: Annotated[float, quantity(LENGTH, 1 / MM_PER_M)] | None = None


# Key of the table -> key of the normals that it is.
NORMALS = {
    "rain": "rain_mm",
    "wet_days": "wet_days",
    "tmax": "tmax_c",
    "tmin": "tmin_c",
    "tmax_spread": "tmax_sd_c",
    "tmin_spread": "tmin_sd_c",
    "dewpoint": "dewpoint_c",
    "relative_humidity": "relative_humidity_pct",
    "solar": "solar_mj_m2",
    "sunshine": "sunshine_h",
    "wind": "wind_m_s",
    "wind_height": "wind_height_m",
}


def each_month(read: Callable[[object], float], neutral: float) -> BeforeValidator:
    """One value for every month, or a table of those months that differ from ``neutral``."""

    def monthly(value: object) -> list[float]:
        if not isinstance(value, dict):
            return [read(value)] * len(MONTHS)
        for month in value:
            known_name(str(month), MONTHS)
        return [read(value[month]) if month in value else neutral for month in MONTHS]

    return BeforeValidator(monthly)


def factor(value: object) -> float:
    """A factor from 0 to 10; ValueError for anything else."""
    if type(value) not in (int, float) or not 0.0 <= value <= 10.0:  # type: ignore[operator]
        raise ValueError(f"{value!r} is not a factor; 0 to 10, 1 changes nothing")
    return float(value)  # type: ignore[arg-type]


def warming(value: object) -> float:
    """``"2 degC"`` or ``"3.6 degF"`` as a change in degrees C; ValueError beyond 20."""
    text = re.sub(r" (deg)?([CF])$", r" delta_deg\2", value) if isinstance(value, str) else value
    change = parse(text, WARMING)  # type: ignore[arg-type]
    if abs(change) > 20.0:
        raise ValueError(f"'{value}' is no change that a climate makes; -20 to 20 degC")
    return change


Factors = Annotated[list[float], each_month(factor, 1.0)]


class FutureTable(Part):
    """What a changed climate adds or multiplies, the same all year or by month."""

    temperature: Annotated[list[float], each_month(warming, 0.0)] = [0.0] * 12
    rain_amount: Factors = [1.0] * 12
    wet_days: Factors = [1.0] * 12
    radiation: Factors = [1.0] * 12


class WeatherTable(Part):
    source: Annotated[str, one_of(*SOURCES)] | None = None
    file: Text | None = None
    columns: dict[str, ColumnTable] = {}
    ignore: list[str] = []
    fill: FillTable | None = None
    wind_height: Annotated[float, quantity(LENGTH, 1 / MM_PER_M)] | None = None
    climate: ClimateTable | None = None
    years: Annotated[int, Field(ge=1, le=MOST_MADE_YEARS)] | None = None
    seed: Annotated[int, Field(ge=0, lt=2**63)] | None = None
    first_year: Annotated[int, Field(ge=1, le=9999)] | None = None
    draw: Annotated[str, one_of("years", "blocks")] | None = None
    future: Text | None = None
    futures: dict[Identifier, FutureTable] = {}

    @property
    def source_or_default(self) -> str:
        return self.source or (RECORD if self.file else GENERATOR)

    @model_validator(mode="after")
    def _comes_from_somewhere(self) -> WeatherTable:
        faults = []
        source = self.source_or_default
        if self.file is None and self.climate is None:
            faults.append(("", "has neither file nor climate", "one of the two"))
        if self.file is not None and self.climate is not None:
            faults.append(("climate", "is given beside file", "one of the two"))
        elif self.climate is not None and source != GENERATOR:
            told = f"'{source}' needs a file to draw from"
            faults.append(("source", told, f"with a climate table: {GENERATOR}"))
        if self.climate is not None:
            for key in ("columns", "ignore", "fill", "wind_height"):
                if getattr(self, key):
                    faults.append((key, "belongs to a file", "with file only"))
        if source == RECORD:
            for key in ("years", "seed", "first_year", "draw"):
                # A future may dry or wet days of a record by chance.
                if getattr(self, key) is not None and not (key == "seed" and self.futures):
                    allowed = f"with source = {GENERATOR} or {RESAMPLE}"
                    faults.append((key, "is for made years", allowed))
        elif self.draw is not None and source != RESAMPLE:
            faults.append(("draw", "is for drawn years", f"with source = {RESAMPLE}"))
        last = (self.first_year or FIRST_MADE_YEAR) + (self.years or MADE_YEARS) - 1
        if last > 9999:
            faults.append(("first_year", f"the last year would be {last}", "to the year 9999"))
        if self.future is not None and self.future not in self.futures:
            told = f"'{self.future}' is not among the futures"
            faults.append(("future", told, nearest(self.future, self.futures)))
        refuse(faults)
        return self


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
    def _fits_the_construction(self) -> RootZoneTable:
        entry = load_catalog().get("root_zones", self.like)
        faults: list[tuple[str, str, str]] = []
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


def beyond_limits(key: str, name: str, value: float) -> list[tuple[str, str, str]]:
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
    def _within_limits(self) -> DeliveryTable:
        faults: list[tuple[str, str, str]] = []
        for key, name in DELIVERY_NUMBERS.items():
            if (value := getattr(self, key)) is not None:
                faults += beyond_limits(key, name, value)
        refuse(faults)
        return self


class FieldTable(Part):
    label: Text | None = None
    area: Annotated[float, quantity(AREA), Field(gt=0.0)]
    species: Annotated[str, entry_of("species")]
    root_zone: Annotated[RootZoneTable, BeforeValidator(in_table("like"))]
    delivery: Annotated[DeliveryTable, BeforeValidator(in_table("system"))]
    stand: Annotated[str, one_of(*STANDS)] = STANDS[0]
    mowing_height: Annotated[float, quantity(LENGTH), Field(ge=1.0, le=300.0)] | None = None
    reseed: DayOfYear | None = None
    patches: Annotated[int, Field(ge=1, le=50)] = 5


class SpanTable(Part):
    first: Annotated[DayOfYear, Field(alias="from")]
    last: Annotated[DayOfYear, Field(alias="to")]


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
    def _in_pairs(self) -> PauseTable:
        faults: list[tuple[str, str, str]] = []
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

    @model_validator(mode="after")
    def _fits_the_rule(self) -> PlanTable:
        faults: list[tuple[str, str, str]] = []
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

    def _stage_faults(self) -> list[tuple[str, str, str]]:
        faults: list[tuple[str, str, str]] = []
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
    """The whole file. ``overrides`` is checked by the catalogue itself."""

    title: Text = "Untitled"
    site: SiteTable
    weather: WeatherTable
    fields: Annotated[dict[Identifier, FieldTable], Field(min_length=1)]
    plans: Annotated[dict[Identifier, PlanTable], Field(min_length=1)]
    answers: AnswersTable = AnswersTable()
    overrides: dict[str, Any] = {}
