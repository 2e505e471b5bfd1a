"""Play in a scenario file: events, covers, hardness, skinned ground, new turf, syringing."""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

from typing import Annotated, Self

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, model_validator

from drysward.catalog import Catalog, load_catalog
from drysward.quantities import LENGTH, TEMPERATURE, TIME
from drysward.scenario.model import (
    ESTABLISH_KINDS,
    SKINNED,
    CoverSpec,
    EstablishSpec,
    EventSpec,
    HardnessSpec,
    PlaySpec,
    SkinSpec,
    SyringeSpec,
)
from drysward.scenario.values import (
    AS_SHARE,
    DayOfYear,
    Depth,
    Flags,
    Flaws,
    Odds,
    Part,
    Share,
    SomeShare,
    Span,
    Text,
    WholeDays,
    as_a,
    known_name,
    one_of,
    quantity,
    read,
    refuse,
    values_of,
)

PLAY_LIMITS = {
    "soft_below": "soft_below_g",
    "air_filled_below": "air_filled_least",
    "share": "affected_share",
}
"""Default limits of play: key in the file -> name in ``play.limits``."""

SKIN_NUMBERS = {
    "dust_below": "skin_dust_below",
    "mud_above": "skin_mud_above",
    "target": "skin_target",
    "passes": "skin_passes",
}
SYRINGE_NUMBERS = {
    "above": "syringe_above_c",
    "depth": "syringe_depth_mm",
    "from_wilt": "syringe_from_wilt",
}
ESTABLISH_NUMBERS = {
    "light": "establish_light_mm",
    "times": "establish_times",
    "days": "establish_days",
}

Gs = Annotated[float, Field(gt=0.0, le=1000.0)]
Temperature = Annotated[float, quantity(TEMPERATURE), Field(ge=-20.0, le=60.0)]
# Upper limit of a light watering (own estimate).
Light = Annotated[float, quantity(LENGTH), Field(gt=0.0, le=15.0)]


def hours(value: object) -> object:
    """``2.5`` and ``"2.5 h"`` mean the same, because the key includes the unit."""
    return read(value, TIME) if isinstance(value, str) else value


class EventTable(Part):
    label: Text
    weekdays: Annotated[Flags | None, Field(alias="days")] = None
    season: Span | None = None
    dates: (
        Annotated[
            list[DayOfYear],
            Field(min_length=1),
            AfterValidator(lambda days: tuple(sorted(set(days)))),
        ]
        | None
    ) = None
    hours: Annotated[float, BeforeValidator(hours), Field(gt=0.0, le=24.0)]
    judged: bool = EventSpec.judged

    @model_validator(mode="after")
    def _states_its_days_once(self) -> Self:
        flaws: Flaws = []
        if self.dates is None and self.weekdays is None:
            flaws.append(("days", "is missing", "days of the week, or dates"))
        for key, value in (("days", self.weekdays), ("season", self.season)):
            if self.dates is not None and value is not None:
                flaws.append((key, "conflicts with dates", "dates alone, or days and season"))
        refuse(flaws)
        return self


class CoverTable(Part):
    rain_from_mm: Annotated[float, quantity(LENGTH), Field(alias="rain", ge=0.0, le=500.0)]
    days_before: Annotated[WholeDays, Field(alias="before")]
    labor_h: Annotated[float, quantity(TIME), Field(alias="labor", ge=0.0, le=1000.0)] = 0.0
    # One day in sun, otherwise three; from memory.
    longest_days: Annotated[WholeDays, Field(alias="longest")] = 2
    heat_c: Annotated[Temperature, Field(alias="heat")] = 30.0


class PrewetTable(Part):
    prewet_mm: Annotated[Depth, Field(alias="depth")]
    prewet_days_before: Annotated[WholeDays, Field(alias="before")]


class HardnessTable(Part):
    intercept_g: Annotated[float, Field(alias="intercept", gt=0.0, le=1000.0)]
    slope_g: Annotated[float, Field(alias="slope", ge=-5000.0, le=0.0)]
    scatter_g: Annotated[float, Field(alias="scatter", ge=0.0, le=200.0)]


class PlayTable(Part):
    events: list[Annotated[EventTable, as_a(EventSpec)]] = []
    cover: Annotated[CoverTable, as_a(CoverSpec)] | None = None
    blackout_days: Annotated[WholeDays | None, Field(alias="blackout")] = None
    prewet: PrewetTable | None = None
    hardness: Annotated[HardnessTable, as_a(HardnessSpec)] | None = None
    hard_above_g: Annotated[Gs | None, Field(alias="hard_above")] = None
    soft_below: Gs | None = None
    air_filled_below: Annotated[float, AS_SHARE, Field(gt=0.0, le=0.5)] | None = None
    share: SomeShare | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        flaws: Flaws = []
        if not any(event.judged for event in self.events):
            flaws += [
                (key, "needs a judged event", "add judged = true to an event")
                for key, value in (
                    ("cover", self.cover),
                    ("blackout", self.blackout_days),
                    ("prewet", self.prewet),
                )
                if value is not None
            ]
        dry = self.blackout_days or 0
        if self.prewet and self.prewet.prewet_days_before < dry:
            what = f"no watering on the {dry} days before the event"
            flaws.append(("prewet.before", what, f"{dry} days or more"))
        limits = load_catalog().get("play", "limits")
        soft = self.soft_below or limits["soft_below_g"]
        hard = self.hard_above_g
        if hard is not None and soft >= hard:
            flaws.append(("soft_below", f"{soft:g} is not below hard_above", f"under {hard:g}"))
        refuse(flaws)
        return self


class SkinTable(Part):
    dust_below: Odds | None = None
    mud_above: Odds | None = None
    target: Odds | None = None
    passes: Annotated[int, Field(ge=1, le=20)] | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        entry = load_catalog().get("play", "infield")
        dust, mud, target = (
            getattr(self, key) or entry[SKIN_NUMBERS[key]]
            for key in ("dust_below", "mud_above", "target")
        )
        flaws: Flaws = []
        if not dust < target < mud:
            allowed = f"between dust_below {dust:g} and mud_above {mud:g}"
            flaws.append(("target", f"{target:g} is not in the target range", allowed))
        refuse(flaws)
        return self


class EstablishTable(Part):
    day: DayOfYear
    kind: Annotated[str, one_of(*ESTABLISH_KINDS)]
    light: Light | None = None
    times: Annotated[int, Field(ge=1, le=20)] | None = None
    days: WholeDays | None = None


class SyringeTable(Part):
    above: Temperature | None = None
    depth: Light | None = None
    from_wilt: Share | None = None


def grown(species: str, info: ValidationInfo) -> str:
    """Requires a species on turf, and none on a skinned surface."""
    skinned = info.data.get("surface") == SKINNED
    if species and skinned:
        raise ValueError("a skinned surface grows nothing; leave it out")
    if not species and not skinned:
        remedy = 'write species = "tall_fescue", or another: drysward catalog species'
        raise ValueError(f"is missing; {remedy}")
    return known_name(species, load_catalog().entries["species"]) if species else species


# --- tables to the model ----------------------------------------------------------------------


def play_spec(table: PlayTable, catalog: Catalog) -> PlaySpec:
    """Use of a field, with limits of the catalog as defaults."""

    def limit(key: str) -> float:
        written: float | None = getattr(table, key)
        return catalog.get("play", "limits")[PLAY_LIMITS[key]] if written is None else written

    return PlaySpec(
        soft_below_g=limit("soft_below"),
        air_filled_below=limit("air_filled_below"),
        share=limit("share"),
        **values_of(table.prewet),
        **values_of(table, "prewet", *PLAY_LIMITS),
    )


def skin_spec(table: SkinTable, catalog: Catalog) -> SkinSpec:
    """Care of a skinned surface, with the catalog as default."""
    entry = catalog.get("play", "infield")
    used = {key: getattr(table, key) or entry[name] for key, name in SKIN_NUMBERS.items()}
    return SkinSpec(
        used["dust_below"], used["mud_above"], used["target"], passes=int(used["passes"])
    )


def establish_spec(table: EstablishTable, catalog: Catalog) -> EstablishSpec:
    """Watering of new turf, with the catalog as default."""
    entry = catalog.get("play", f"establish_{table.kind}")
    used = {key: getattr(table, key) or entry[name] for key, name in ESTABLISH_NUMBERS.items()}
    return EstablishSpec(
        table.day, table.kind, used["light"], int(used["times"]), int(used["days"])
    )


def syringe_spec(table: SyringeTable, catalog: Catalog) -> SyringeSpec:
    """Syringing of a plan, with the catalog as default."""
    entry = catalog.get("play", "syringe")

    def number(key: str) -> float:
        written: float | None = getattr(table, key)
        return entry[SYRINGE_NUMBERS[key]] if written is None else written

    return SyringeSpec(number("above"), number("depth"), number("from_wilt"))
