"""A checked scenario with every quantity in base units and all defaults set.

Days of the year count from 0 (1 January) to 365 in a leap-year calendar; a span whose first day
comes after its last crosses the new year. Weeks start on Monday.
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Literal, NamedTuple, TypeVar

from drysward.catalog import Catalog
from drysward.faults import Fault, FaultyInput, nearest, quoted
from drysward.quantities import SYSTEMS
from drysward.scenario import choices
from drysward.scenario.ranges import WrittenRange
from drysward.weather.file.columns import ColumnSpec
from drysward.weather.file.fill import FillRule
from drysward.weather.simulated.resampling import ChangeFactors

TIMES_OF_DAY = ("night", "early morning", "midday", "evening")
STANDS = ("established", "first-year sod")
TURF, SKINNED = SURFACES = ("turf", "skinned")
SEED, SOD = ESTABLISH_KINDS = ("seed", "sod")
RECORD, GENERATOR, RESAMPLE = SOURCES = choices.SOURCES
FIRST_SIMULATED_YEAR = 2001
USUAL_SLOPE = 0.015  # fields are crowned at 1 to 1.5%, common practice
# Basis of the largest depth of a night: zones that share it, a stated flow, the usual design of a
# system, or the flow of a machine.
BY_ZONES, BY_FLOW, BY_DESIGN, BY_MACHINE = "zones", "flow", "design", "machine"
ANEW_EACH_YEAR, CONTINUOUS = TURF_YEARS = choices.TURF_YEARS
ANY_FIELD = choices.ANY_FIELD

Days = tuple[bool, ...]
"""Seven flags, Monday first."""

EVERY_DAY: Days = (True,) * 7
WHOLE_YEAR = (0, 365)


@dataclass(frozen=True)
class Site:
    """Location of the fields, and the daily limit of water for the site.

    ``crew_h`` is the hours of work available in a day for machines and hoses on all fields; None is
    no limit.
    """

    name: str
    latitude_deg: float
    elevation_m: float
    coastal: bool = False
    arid: bool = False
    supply_m3_d: float = math.inf
    crew_h: float | None = None


@dataclass(frozen=True)
class WeatherSource:
    """Origin of the weather: a record, or years simulated from a record or from normals.

    ``file`` is the record, and ``columns`` to ``monthly_temperature`` are settings for reading it.
    ``missing`` are marks for missing values in a column, and ``trust`` lists columns accepted
    despite findings, both by quantity. Without a file ``climate`` has monthly normals for
    ``weather.simulated.normals``. Simulated weather has ``years`` calendar years from
    ``first_year``; ``draw`` is the way to resample a record. ``future`` is the key in ``futures``
    of the changed climate of the run, "" for none.
    """

    file: Path | None
    columns: Mapping[str, ColumnSpec] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    fill: FillRule | None = None
    wind_height_m: float | None = None
    record_years: tuple[int, int] | None = None
    hours_from_utc: float | None = None
    monthly_temperature: Mapping[str, tuple[float, ...]] | None = None
    missing: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    trust: tuple[str, ...] = ()
    source: str = RECORD
    climate: Mapping[str, Any] | None = None
    years: int = 0
    seed: int = 1
    first_year: int = FIRST_SIMULATED_YEAR
    draw: Literal["years", "blocks"] = "years"
    future: str = ""
    futures: Mapping[str, ChangeFactors] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The name of the file, or "its climate table"."""
        return self.file.name if self.file else "its climate table"


@dataclass(frozen=True)
class RootZoneSpec:
    """A construction of the catalog, with changes by the scenario.

    ``numbers`` are in the catalog's units. ``words`` are soil, compaction and base. ``measured``
    is empty, or has measured ``field_capacity``, ``wilting_point`` and ``saturation`` (m3 of
    water per m3 of soil) and perhaps ``ksat_mm_h``.
    """

    like: str
    numbers: Mapping[str, float] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    measured: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class DeliverySpec:
    """The irrigation system of a field; shares are 0 to 1.

    ``zones`` water in turn and share the night. ``flow_m3_h`` None is the flow of one zone's
    sprinklers. ``basis`` is the origin of the limit. Fields with the same ``machine`` share it, and
    so the passes of a night; "" is a separate machine.
    """

    system: str
    distribution_uniformity: float
    precipitation_rate_mm_h: float
    overspray: float
    flow_m3_h: float | None
    hours_per_pass: float
    labor_hours_per_pass: float
    zones: int = 1
    basis: str = BY_ZONES
    machine: str = ""


@dataclass(frozen=True)
class EventSpec:
    """Use of a field, ``hours`` on each of its days: on ``dates`` (days of the year), or without
    dates on ``weekdays`` within ``season``. A practice wears the turf but is not ``judged``.
    """

    label: str
    weekdays: Days = EVERY_DAY
    season: tuple[int, int] = WHOLE_YEAR
    dates: tuple[int, ...] = ()
    hours: float = 2.0
    judged: bool = True


@dataclass(frozen=True)
class CoverSpec:
    """A rain cover, on during ``days_before`` a judged event with ``rain_from_mm`` of rain or more.

    Each day takes ``labor_h`` of work; it stays off when the maximum is above ``heat_c`` and after
    ``longest_days`` in a row.
    """

    rain_from_mm: float
    days_before: int
    labor_h: float
    longest_days: int
    heat_c: float


@dataclass(frozen=True)
class HardnessSpec:
    """Readings of the field: peak deceleration (g) = ``intercept_g`` + ``slope_g`` x water by
    volume (0..1), with a residual scatter.
    """

    intercept_g: float
    slope_g: float
    scatter_g: float


@dataclass(frozen=True)
class PlaySpec:
    """Use of a field, and its limits: too hard, too soft or too wet.

    The last ``blackout_days`` up to and including a judged event have no watering; ``prewet_mm`` is
    applied ``prewet_days_before`` one. A day counts when ``share`` of the field is affected.
    ``hardness`` and ``hard_above_g`` None are the catalog's for the soil.
    """

    events: tuple[EventSpec, ...] = ()
    cover: CoverSpec | None = None
    blackout_days: int = 0
    prewet_mm: float = 0.0
    prewet_days_before: int = 0
    hardness: HardnessSpec | None = None
    hard_above_g: float | None = None
    soft_below_g: float = 40.0
    air_filled_below: float = 0.10
    share: float = 0.25


@dataclass(frozen=True)
class SkinSpec:
    """Care of a skinned surface: dust and mud limits and ``target`` are water by volume."""

    dust_below: float
    mud_above: float
    target: float
    passes: int = 3


@dataclass(frozen=True)
class EstablishSpec:
    """Turf sown or laid on ``day`` of every year: ``light_mm`` a watering, ``times_a_day``,
    for ``days``.
    """

    day: int
    kind: str
    light_mm: float
    times_a_day: int
    days: int


@dataclass(frozen=True)
class SlowPart:
    """Slow nitrogen of a dose; ``rated_days`` is 0 for kinds that have no rating."""

    kind: str
    rated_days: float
    n_kg_ha: float


@dataclass(frozen=True)
class DoseSpec:
    """One application of one product on ``day`` of every year: nitrogen by form, P and K.

    ``label`` is the analysis on its bag, and its slow forms; ``product_kg_ha`` the weight of it.
    """

    day: int
    urea_kg_ha: float
    ammonium_kg_ha: float
    nitrate_kg_ha: float
    slow: tuple[SlowPart, ...]
    p_kg_ha: float
    k_kg_ha: float
    product_kg_ha: float
    label: str

    @property
    def quick_kg_ha(self) -> float:
        """Quick nitrogen."""
        return self.urea_kg_ha + self.ammonium_kg_ha + self.nitrate_kg_ha

    @property
    def n_kg_ha(self) -> float:
        """All of its nitrogen."""
        return self.quick_kg_ha + sum(part.n_kg_ha for part in self.slow)


@dataclass(frozen=True)
class FeedingSpec:
    """Feeding of a field: the doses of a year by day, none of a day with more quick nitrogen
    than ``most_quick_kg_ha``.

    ``organic_matter`` is a share of the soil by weight. A dose waits up to ``hold_days`` for turf
    and ground that can take it. ``water_in_mm`` is put on for a dose; ``on_paving`` is the share
    of it that falls on paving, ``labor_h`` the work that it takes. ``water_salt_ds_m`` and
    ``water_n_mg_l`` are those of the irrigation water. ``plan`` names the feeding plan, "" where
    the scenario has its own doses; ``notes`` say what was split and what does not fit.
    """

    doses: tuple[DoseSpec, ...]
    organic_matter: float
    most_quick_kg_ha: float
    clippings_returned: bool = True
    soil_ph: float = 6.5
    soil_phosphorus: str = "enough"
    potassium_enough: bool = True
    hold_days: int = 14
    water_in_mm: float = 0.0
    on_paving: float = 0.0
    labor_h: float = 0.0
    water_salt_ds_m: float = 0.0
    water_n_mg_l: float = 0.0
    plan: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class FieldSpec:
    """One field. ``mowing_height_mm`` None is the species' usual height.

    In a shortage, fields of a lower ``priority`` are served first; those of the same priority get
    the same share of their requests. A "skinned" ``surface`` has a ``skin``
    and no turf: its ``species`` is "". ``slope`` is rise over run.
    """

    key: str
    label: str
    area_m2: float
    species: str
    root_zone: RootZoneSpec
    delivery: DeliverySpec
    stand: str = STANDS[0]
    mowing_height_mm: float | None = None
    reseed_day: int | None = None
    patches: int = 5
    priority: int = 1
    play: PlaySpec | None = None
    surface: str = TURF
    skin: SkinSpec | None = None
    establish: EstablishSpec | None = None
    slope: float = USUAL_SLOPE
    feeding: FeedingSpec | None = None


@dataclass(frozen=True)
class FittedNumbers:
    """Numbers from the readings of a season: by dotted key their draws, which go together.

    ``units`` are those of the tables, "" for a bare number. ``inputs`` are the digests of the
    tables that the readings were fitted with, ``path`` the file. ``probes``: by name the offsets
    (water by volume) and gains of a probe in the same draws.
    """

    path: Path
    draws: Mapping[str, tuple[float, ...]]
    units: Mapping[str, str]
    inputs: Mapping[str, str]
    probes: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]] = field(default_factory=dict)


@dataclass(frozen=True)
class SyringeSpec:
    """A light midday watering that cools: on days with a maximum above ``above_c`` while at
    least ``from_wilt`` of the field wilts.
    """

    above_c: float
    depth_mm: float
    from_wilt: float


@dataclass(frozen=True)
class Pause:
    """When a plan stops watering: between two dates, or by the drought index (mm)."""

    first: int = -1
    last: int = -1
    above: float = math.inf
    below: float = math.inf
    longest_days: float = math.inf


@dataclass(frozen=True)
class Stage:
    """A restriction stage of a plan, entered and left by the drought index."""

    above_mm: float
    below_mm: float
    share: float = 1.0
    allowed: Days = EVERY_DAY
    crown_only: bool = False


PlanFunction = Callable[[Any], Any]
"""A morning in, depths to put on tonight out; see ``Scenario.with_plan``."""


@dataclass(frozen=True)
class PlanSpec:
    """One irrigation plan; depths are mm that reach the turf.

    ``trigger`` and ``target`` are depletion fractions of the available water of the rooted depth,
    within reach of the roots that lack of air has left.
    ``pause.first`` is -1 and ``pause.above`` infinite when the plan has no such pause.
    ``most_depth_mm`` is the largest application, None that of the soil. With ``stop_at_runoff`` an
    application ends when runoff would start. A plan whose ``function`` says the depth has all
    other settings of the plan ``like``, where it names one. ``by_field`` are plans that hold on
    some fields in its place, by key of the field.

    A label describes the settings that it was given with. A copy with other settings and no new
    label is named by its key and what differs: ``refill, trigger = 0.6``.
    """

    key: str
    label: str
    rule: str
    depth_by_weekday: tuple[float, ...] = (0.0,) * 7
    share: float = 0.0
    trigger: float = 1.0
    target: float = 0.0
    least_depth_mm: float = 3.0
    season: tuple[int, int] = WHOLE_YEAR
    allowed: Days = EVERY_DAY
    time_of_day: str = "early morning"
    window_h: float = 8.0
    rain_skip_mm: float = math.inf
    rain_skip_days: int = 1
    interval_days: int = 1
    adjust: tuple[float, ...] = (1.0,) * 12
    allow_for_uniformity: bool = True
    cycle_and_soak: bool = True
    most_depth_mm: float | None = None
    stop_at_runoff: bool = True
    crown_depth_mm: float = 0.0
    crown_interval_days: int = 14
    crown_from: float = 0.2
    pause: Pause = field(default_factory=Pause)
    stages: tuple[Stage, ...] = ()
    syringe: SyringeSpec | None = None
    function: PlanFunction | None = None
    like: str = ""
    by_field: tuple[tuple[str, PlanSpec], ...] = ()
    labelled: Labelled | None = field(default=None, repr=False, compare=False)

    def __post_init__(self) -> None:
        settings = {
            part.name: getattr(self, part.name)
            for part in fields(self)
            if part.name not in ("key", "label", "labelled")
        }
        labelled = self.labelled
        if labelled is None or self.label != labelled.now:
            labelled = Labelled(settings, self.label, self.label)
        changes = _changes(labelled.settings, settings)
        now = f"{self.key}, {changes}" if changes else labelled.label
        object.__setattr__(self, "label", now)
        object.__setattr__(self, "labelled", labelled._replace(now=now))

    def on(self, field_key: str) -> PlanSpec:
        """The plan as it is on a field, under its own key and label."""
        other = dict(self.by_field).get(field_key)
        if other is None:
            return self
        return replace(other, key=self.key, label=self.label, labelled=None)

    @property
    def parts(self) -> tuple[PlanSpec, ...]:
        """The plan and those that hold on some fields in its place."""
        return (self, *(plan for _, plan in self.by_field))


class Labelled(NamedTuple):
    """Settings of a plan when its label was given, that label, and what the plan is called now."""

    settings: Mapping[str, Any]
    label: str
    now: str


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """``trigger = 0.6, stages changed``: settings of a plan that are not as they were."""
    return ", ".join(
        f"{name} changed" if not isinstance(value, int | float | str) else
        f"{name} = {value if isinstance(value, bool | str) else format(value, 'g')}"
        for name, value in after.items()
        if value != before[name]
    )


@dataclass(frozen=True)
class TariffBlock:
    """A price per m3 for the water of a month between the last block and ``upto_m3``."""

    upto_m3: float
    price_m3: float


@dataclass(frozen=True)
class SourceSpec:
    """A source of water.

    It delivers ``rate_m3_h`` for ``hours`` a day within ``season``, to the fields, to storage or to
    both, and stops at a drought index of ``stops_above_mm`` until ``resumes_below_mm``.
    ``allowance_m3`` is its limit by "day", "week", "month" and "year", rationed by ``ration``: "as
    it comes", "evenly" over the rest of the period, or "by month", with ``month_shares`` (12,) of
    the yearly allowance. Fields draw on a source that is ``first`` before storage, and on others
    after it.
    """

    key: str
    label: str
    kind: str
    rate_m3_h: float = math.inf
    hours: float = 24.0
    season: tuple[int, int] = WHOLE_YEAR
    stops_above_mm: float = math.inf
    resumes_below_mm: float = math.inf
    feeds: str = "fields"
    first: bool = False
    allowance_m3: Mapping[str, float] = field(default_factory=dict)
    ration: str = "evenly"
    month_shares: tuple[float, ...] = ()
    lift_m: float = 0.0
    pump_efficiency: float = 0.6
    tariff: tuple[TariffBlock, ...] = ()


@dataclass(frozen=True)
class StorageSpec:
    """A pond or a closed tank: area of the water (K,) at volumes (K,) from empty to full.

    ``dead_m3`` cannot be drawn. A tank has areas of 0: no rain, evaporation or seepage.
    ``lining`` is the origin of its seepage, "" when that is stated as a number. ``depth_m`` and
    ``side_slope`` are those of a pond that is no survey; NaN for others.
    """

    kind: str
    volumes_m3: tuple[float, ...]
    areas_m2: tuple[float, ...]
    dead_m3: float = 0.0
    start_share: float = 1.0
    lining: str = ""
    seepage_mm_d: float = 0.0
    evaporation_factor: float = 0.0
    lift_m: float = 0.0
    pump_efficiency: float = 0.6
    depth_m: float = math.nan
    side_slope: float = math.nan


@dataclass(frozen=True)
class CatchmentSpec:
    """Ground that drains into storage; ``runoff`` is a share (roof, paved) or a curve number."""

    key: str
    label: str
    kind: str
    area_m2: float
    runoff: float
    first_flush_mm: float = 0.0


@dataclass(frozen=True)
class SiteStage:
    """A restriction stage of the district: entered and left by the index, or by dates."""

    enter: float
    leave: float
    first: int = -1
    last: int = -1
    share: float = 1.0
    allowed: Days = EVERY_DAY
    crown_only: bool = False
    exempt: tuple[str, ...] = ()


@dataclass(frozen=True)
class Restrictions:
    """Restriction stages in rising order. ``index`` is "drought" (mm, rises), "storage" (share of
    capacity, falls) or "calendar" (dates).
    """

    index: str
    stages: tuple[SiteStage, ...]


@dataclass(frozen=True)
class SupplySpec:
    """All the water of a site, shared by its fields; ``network_m3_h`` for ``window_h`` a day."""

    sources: tuple[SourceSpec, ...]
    storage: StorageSpec | None = None
    catchments: tuple[CatchmentSpec, ...] = ()
    network_m3_h: float = math.inf
    window_h: float = 24.0
    restrictions: Restrictions | None = None


@dataclass(frozen=True)
class SystemPrice:
    """Price of an irrigation system: per m2 of each field that has it, or a ``lump`` for one system
    that serves all of its fields.
    """

    per_m2: float = 0.0
    lump: float = 0.0


@dataclass(frozen=True)
class Costs:
    """The user's prices, in ``currency``; 0, or no entry, where none is stated.

    ``water`` is the tariff of all water of a site whose sources have none, ``nitrogen_price_kg``
    the price of nitrogen in fertilizer. ``construction`` is
    the price of a root zone (per m2) by its name, ``irrigation`` that of a delivery system by its
    name, ``storage_price_m3`` that of a pond or tank (per m3 of capacity), ``renovation_price_m2``
    that of turf that dies. ``life_years`` is the life of everything built, 0 when not
    stated; ``discount_rate`` a share a year.
    """

    currency: str = "USD"
    energy_price_kwh: float = 0.0
    labor_price_h: float = 0.0
    water: tuple[TariffBlock, ...] = ()
    construction: Mapping[str, float] = field(default_factory=dict)
    irrigation: Mapping[str, SystemPrice] = field(default_factory=dict)
    storage_price_m3: float = 0.0
    renovation_price_m2: float = 0.0
    life_years: int = 0
    discount_rate: float = 0.0
    nitrogen_price_kg: float = 0.0


SIZES = ("storage", "source rate", "allowance", "catchment area")


@dataclass(frozen=True)
class Sought:
    """A size that sizing varies: ``what`` of SIZES, ``of`` the source or catchment it is of.

    ``low`` and ``high`` bound it: m3 of storage, m3/h of rate, m3 a year (or ``per``) of
    allowance, m2 of catchment; NaN when the program sets them.
    """

    what: str
    of: str = ""
    per: str = "year"
    low: float = math.nan
    high: float = math.nan




@dataclass(frozen=True)
class Sizing:
    """The smallest ``find`` that keeps an outcome: in no more than ``odds`` of years does
    ``outcome`` ("dead", "dormant", "wilt", "footprint" of ``field``, or "shortage") pass
    ``share`` of the field (of the year's request, for "shortage"). With ``ANY_FIELD`` a year counts
    when any field of turf passes it. ``against`` makes a curve.
    """

    plan: str
    find: Sought
    outcome: str = "dead"
    field: str = ANY_FIELD
    share: float = 0.05
    odds: float = 0.10
    against: Sought | None = None
    points: int = 12


@dataclass(frozen=True)
class PlayingCondition:
    """The playing condition of a field: at least ``green`` of it green, and at most
    ``wilt`` of it wilting (shares of the field; own choice, to be set by who plays there).
    """

    green: float = 0.75
    wilt: float = 0.25


@dataclass(frozen=True)
class Answers:
    """Definition of the results.

    A year has a stage when at least its share of the field, ``reached``, is at it for
    ``reached_days`` in a row; ``season`` is the first and last day counted; ``fewest_days`` the
    days that a year must have to be counted; ``drought_days`` the days over which reference ET
    less rain makes the drought index; ``rooting_varies`` whether roots go deeper in some years than
    in others; a year is short of water from a shortage of ``short_year`` of its demand on.
    """

    reached: Mapping[str, float]
    season: tuple[int, int]
    reached_days: int = 3
    playing_condition: PlayingCondition = PlayingCondition()
    turf: str = TURF_YEARS[0]
    start_soil_water: float = 1.0
    return_periods: tuple[float, ...] = (2.0, 5.0, 10.0, 20.0, 50.0)
    confidence: float = 0.90
    fewest_days: int = 360
    drought_days: int = 60
    rooting_varies: bool = True
    short_year: float = 0.05


FEWEST_DRAWS, MOST_DRAWS = 2, 4096
"""Limits of the number of draws: one draw has no spread; the upper limit is our choice."""


@dataclass(frozen=True)
class Scenario:
    """A whole scenario. ``written`` are the dotted keys set in its text; ``ranges`` are the
    ranges of their values, by such a key.

    ``draws`` is the number of draws of uncertain numbers run with it: 0 for none; None for as many
    as are fast. ``units`` are those of answers, "us" or "metric". ``catalog`` has the scenario's
    overrides applied. ``digest`` is the SHA-256 of ``text``.
    """

    title: str
    text: str
    folder: Path
    digest: str
    site: Site
    weather: WeatherSource
    fields: tuple[FieldSpec, ...]
    plans: tuple[PlanSpec, ...]
    answers: Answers
    catalog: Catalog
    supply: SupplySpec | None = None
    costs: Costs = Costs()
    sizing: Sizing | None = None
    draws: int | None = None
    units: str = SYSTEMS[0]
    written: frozenset[str] = frozenset()
    ranges: Mapping[str, WrittenRange] = field(default_factory=dict)
    fitted: FittedNumbers | None = None

    def __repr__(self) -> str:
        fields, plans = (", ".join(one.key for one in many) for many in (self.fields, self.plans))
        return f"<Scenario {self.title!r}: fields {fields}; plans {plans}>"

    @property
    def fed(self) -> tuple[tuple[FieldSpec, FeedingSpec], ...]:
        """The fields with a feeding plan, each with its plan."""
        return tuple((one, one.feeding) for one in self.fields if one.feeding is not None)

    def field_named(self, key: str) -> FieldSpec:
        """The field ``key``; FaultyInput with the closest name when there is none."""
        return _named(key, "fields", {spec.key: spec for spec in self.fields})

    def plan_named(self, key: str) -> PlanSpec:
        """The plan ``key``; FaultyInput with the closest name when there is none."""
        return _named(key, "plans", {spec.key: spec for spec in self.plans})

    def with_plan(
        self, key: str, function: PlanFunction, like: str = "", label: str = ""
    ) -> Scenario:
        """The scenario with one more plan, whose depths a Python function says.

        Parameters
        ----------
        key : of the new plan: letters, digits, _ and -.
        function : takes a ``drysward.Morning`` and returns the depth to put on tonight, mm that
            reach the turf on average: a number, or an array (runs, fields). It may be compiled by
            numba. It must depend on the morning only: plans run in threads.
        like : key of a plan whose season, days, window, largest watering, restrictions, pauses and
            crown-keeping the new one has; those of a plan that says nothing when empty.
        label : what it is called; the key when empty.

        Returns
        -------
        A new scenario; the system, the night, restrictions and the supply limit the plan as any
        other.

        Raises
        ------
        FaultyInput
            When ``key`` is taken or cannot be one, or there is no plan ``like``.

        Examples
        --------
        What ``rule = "refill"`` with a trigger of 0.4 and a target of 0 does, to the last bit. It
        runs longer where the system is uneven, and goes on until a refill that takes several
        nights is finished:

        >>> def refill(morning):
        ...     depth = np.maximum(morning.deficit_mm, 0.0) * morning.run_time_multiplier
        ...     goes_on = (morning.depletion >= 0.4) | (morning.unfinished_mm > 0.0)
        ...     return np.where(goes_on, depth, 0.0)
        >>> scenario = drysward.shipped("demo").with_plan("mine", refill, like="refill")
        """
        where = f"plans.{key}"
        if any(plan.key == key for plan in self.plans):
            raise FaultyInput(Fault(where, "there is a plan of this key", "another key"))
        if not _KEY.fullmatch(key):
            raise FaultyInput(Fault(where, "cannot be a key", "letters, digits, _ and -"))
        if not callable(function):
            raise FaultyInput(Fault(where, f"{type(function).__name__} cannot be called", "def"))
        settings = self.plan_named(like) if like else PlanSpec(key, key, "")
        plan = replace(
            settings,
            key=key,
            label=label or key,
            labelled=None,
            rule="function",
            depth_by_weekday=PlanSpec.depth_by_weekday,
            function=function,
            like=like,
            by_field=(),
        )
        return replace(self, plans=(*self.plans, plan))

    def with_functions_of(self, other: Scenario) -> Scenario:
        """The scenario with the plans of another that have functions, where it lacks them."""
        out = self
        for plan in other.plans:
            if plan.function is not None and all(plan.key != own.key for own in self.plans):
                out = out.with_plan(plan.key, plan.function, plan.like, plan.label)
        return out


def require_scenario(scenario: object, where: str = "scenario") -> None:
    """FaultyInput unless it is a scenario: people hand over the path or the text of its file."""
    if isinstance(scenario, Scenario):
        return
    how = 'load it first: drysward.load("fields.toml")'
    if isinstance(scenario, str | os.PathLike):
        text = os.fspath(scenario)
        what = "is the path of a scenario"
        how = f"load it first: drysward.load({json.dumps(str(text))})"
        if "\n" in str(text):
            what, how = "is the text of a scenario", "load it first: drysward.loads(text, folder)"
        elif not str(text).endswith(".toml"):
            what = f"is the text {quoted(str(text))}"
            how = f'{how}, or drysward.shipped("demo")'
    else:
        what = f"is a {type(scenario).__name__}, not a scenario"
    raise FaultyInput(Fault(where, what, how))


_KEY = re.compile("[A-Za-z0-9_-]+")
_Spec = TypeVar("_Spec")


def _named(key: str, where: str, specs: Mapping[str, _Spec]) -> _Spec:
    if key not in specs:
        raise FaultyInput(Fault(where, f"no '{key}'", nearest(key, specs)))
    return specs[key]
