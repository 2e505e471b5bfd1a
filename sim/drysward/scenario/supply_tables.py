"""The shared water of a scenario file: its tables, and their conversion to the model."""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Any, Self

from pydantic import (
    BeforeValidator,
    Field,
    RootModel,
    ValidationInfo,
    model_validator,
)
from pydantic.functional_validators import ModelWrapValidatorHandler

from drysward.catalog import Catalog
from drysward.faults import quoted
from drysward.physics.pond import least_square_pond_m3, square_pond, surveyed_pond, tank
from drysward.quantities import (
    AREA,
    DAILY_RATE,
    FLOW,
    LENGTH,
    NUMBER,
    TIME,
    VOLUME,
    number_of,
    unit_of,
    written_in,
)
from drysward.scenario.model import (
    CatchmentSpec,
    Restrictions,
    SiteStage,
    SourceSpec,
    StorageSpec,
    SupplySpec,
    TariffBlock,
)
from drysward.scenario.names import named_in, names_of
from drysward.scenario.values import (
    AS_SHARE,
    MM_PER_M,
    MONTHS,
    MOST_NAMED,
    DayOfYear,
    Drought,
    Flags,
    Flaws,
    Identifier,
    Month,
    Part,
    Share,
    SomeShare,
    Span,
    Text,
    as_a,
    label_of,
    numbers_with_unit,
    one_of,
    price_of,
    quantity,
    refuse,
    values_of,
    within,
)

MAINS, WELL, STREAM, RECLAIMED = SOURCE_KINDS = ("mains", "well", "stream", "reclaimed")
POND, TANK = STORAGE_KINDS = ("pond", "tank")
ROOF, PAVED, GRASS = CATCHMENT_KINDS = ("roof", "paved", "grass")
FIELDS, STORAGE, BOTH = FEEDS = ("fields", "storage", "both")
DROUGHT, STORAGE_INDEX, CALENDAR = INDICES = ("drought", "storage", "calendar")
PERIODS = ("day", "week", "month", "year")
AS_IT_COMES, EVENLY, BY_MONTH = RATIONS = ("as it comes", "evenly", "by month")
MOST_SITE_STAGES = 6
ROUNDED = 0.999  # of a size, as printed
LININGS = {"membrane": "membrane_lining", "clay": "clay_lining", "none": "no_lining"}
"""Name in the file -> entry of the catalog."""

USUAL_LINING = "clay"

SUPPLY_NUMBERS = {
    "runoff": "runoff_coefficient",
    "curve_number": "curve_number",
    "first_flush": "first_flush_mm",
    "dead": "dead_share",
    "evaporation": "evaporation_factor",
    "seepage": "seepage_mm_d",
    "pump_efficiency": "pump_efficiency",
}
"""Defaults from the catalog's ``supply``: key in the file -> name."""


# --- tables -----------------------------------------------------------------------------------

Volume = Annotated[float, quantity(VOLUME), within("allowed_volume")]
Capacity = Annotated[float, quantity(VOLUME), within("store_volume")]
Hours = Annotated[float, quantity(TIME), Field(gt=0.0, le=24.0)]
FlowRate = Annotated[float, quantity(FLOW), within("source_flow")]
Lift = Annotated[float, quantity(LENGTH, 1 / MM_PER_M), Field(ge=0.0, le=1000.0)]


class StopsTable(Part):
    stops_above_mm: Annotated[Drought, Field(alias="above")]
    resumes_below_mm: Annotated[Drought, Field(alias="below")]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.resumes_below_mm > self.stops_above_mm:
            refuse([("below", "is more than above", "at most above")])
        return self


class AllowanceTable(Part):
    day: Volume | None = None
    week: Volume | None = None
    month: Volume | None = None
    year: Volume | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not self.model_fields_set:
            refuse([("", "has no volume", "one or more of " + ", ".join(PERIODS))])
        return self


class TariffTable(Part):
    to: Volume | None = None
    price: Annotated[float, price_of(VOLUME), within("price_of_water")]


def one_block(value: object) -> object:
    """A bare text is one price for all water."""
    return [{"price": value}] if isinstance(value, str) else value


class MonthShares(RootModel[dict[Month, Share]]):
    """Share of the year's allowance by month; the months not named have none."""

    @model_validator(mode="after")
    def _is_all_of_it(self) -> Self:
        total = sum(self.root.values())
        if abs(total - 1.0) > 1e-6:
            refuse([("", f"shares add to {total:g}", "shares that add to 1")])
        return self


def rationing(value: object) -> object:
    """One of the ways to ration by name, or a table of months."""
    if isinstance(value, dict):
        return MonthShares.model_validate(value)
    if value not in (AS_IT_COMES, EVENLY):
        allowed = f"'{EVENLY}', '{AS_IT_COMES}', or shares by month {{ May = 0.1, ... }}"
        raise ValueError(f"{quoted(value)} is not a way to ration; {allowed}")
    return value


def tariff_flaws(key: str, blocks: Sequence[TariffTable]) -> Flaws:
    """Faults in the blocks of the tariff under ``key``."""
    flaws: Flaws = []
    *bounded, last = [block.to for block in blocks] or [None]
    for i, to in enumerate(bounded, start=1):
        if to is None:
            allowed = "only the last block has no end"
            flaws.append((f"{key}[{i}].to", "is missing", allowed))
    if last is not None:
        allowed = "the last block has no end"
        flaws.append((f"{key}[{len(blocks)}].to", "leaves water without a price", allowed))
    ends = [to for to in bounded if to is not None]
    for i, (one, other) in enumerate(pairwise(ends), start=2):
        if other <= one:
            flaws.append((f"{key}[{i}].to", "does not rise", f"more than {one:g} m3"))
    return flaws


def tariff_blocks(blocks: Sequence[TariffTable]) -> tuple[TariffBlock, ...]:
    """The model's tariff; the last block has no end."""
    return tuple(
        TariffBlock(math.inf if block.to is None else block.to, block.price) for block in blocks
    )


Tariff = Annotated[list[TariffTable], BeforeValidator(one_block)]


class SourceTable(Part):
    label: Text | None = None
    kind: Annotated[str, one_of(*SOURCE_KINDS)]
    rate_m3_h: Annotated[FlowRate | None, Field(alias="rate")] = None
    hours: Hours | None = None
    season: Span | None = None
    stops: StopsTable | None = None
    feeds: Annotated[str, one_of(*FEEDS)] | None = None
    first: bool | None = None
    allowance_m3: Annotated[
        Annotated[AllowanceTable, as_a(dict)] | None, Field(alias="allowance")
    ] = None
    ration: Annotated[str | MonthShares, BeforeValidator(rationing)] = EVENLY
    lift_m: Annotated[Lift, Field(alias="lift")] = SourceSpec.lift_m
    pump_efficiency: SomeShare | None = None
    tariff: Tariff = []

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        flaws: Flaws = []
        if self.rate_m3_h is None and self.hours is not None:
            flaws.append(("hours", "needs a rate", "write rate as well"))
        if self.kind != MAINS and self.rate_m3_h is None and self.allowance_m3 is None:
            message = f"a source of kind '{self.kind}' needs a limit"
            flaws.append(("rate", message, "write rate, or an allowance"))
        if self.first and self.feeds == STORAGE:
            message = "fields do not draw from a source that only feeds the storage"
            flaws.append(("first", message, f"with feeds = '{FIELDS}' or '{BOTH}'"))
        if isinstance(self.ration, MonthShares):
            allowed: Any = self.allowance_m3 or {}
            if "year" not in allowed:
                message = "shares by month need a yearly allowance"
                flaws.append(("ration", message, 'write allowance = { year = "..." }'))
        flaws += tariff_flaws("tariff", self.tariff)
        refuse(flaws)
        return self


Rising = Annotated[list[float], Field(min_length=2, max_length=100)]


class PondTable(Part):
    """A survey of the basin: area of the water at depths above the bottom."""

    depth: Annotated[Rising, numbers_with_unit(LENGTH, "values", "rising, from 0")]
    area: Annotated[Rising, numbers_with_unit(AREA, "values", "rising")]

    @model_validator(mode="after")
    def _rises(self) -> Self:
        flaws: Flaws = []
        if len(self.area) != len(self.depth):
            message = f"has {len(self.area)} values, depth has {len(self.depth)}"
            flaws.append(("area", message, "one area a depth"))
        if self.depth[0] != 0.0:
            flaws.append(("depth", "does not start at the bottom", "0 first"))
        for key in ("depth", "area"):
            values: list[float] = getattr(self, key)
            if values[0] < 0.0:
                flaws.append((key, "is less than nothing", "0 or more"))
        if any(above <= below for below, above in pairwise(self.depth)):
            flaws.append(("depth", "does not rise", "each value more than the one before"))
        if any(above < below for below, above in pairwise(self.area)) or self.area[-1] == 0.0:
            flaws.append(("area", "does not rise", "no value less than the one below it"))
        refuse(flaws)
        return self


def run_over_rise(value: object) -> object:
    """``"3:1"`` or ``"3 to 1"`` as 3, run first; any other value as it is.

    ValueError for ``"1:3"``, which some write for the same bank and which says a steep one.
    """
    written = re.fullmatch(rf"\s*({NUMBER})\s*(?::|to)\s*({NUMBER})\s*", f"{value}"[:100])
    if written is None:
        return value
    run, rise = map(number_of, written.groups())
    if rise != 1.0:
        allowed = f"run over rise: {max(run, rise):g} for banks of {max(run, rise):g} to 1"
        raise ValueError(f"{quoted(value)} does not say which of them is the run; {allowed}")
    return run


class StorageTable(Part):
    kind: Annotated[str, one_of(*STORAGE_KINDS)]
    capacity: Capacity | None = None
    depth: Annotated[float, quantity(LENGTH, 1 / MM_PER_M), Field(gt=0.0, le=100.0)] | None = None
    side_slope: Annotated[
        float, BeforeValidator(run_over_rise), Field(ge=0.0, le=20.0)
    ] | None = None
    table: PondTable | None = None
    lining: Annotated[str, one_of(*LININGS)] | None = None
    dead: Annotated[float, AS_SHARE, Field(ge=0.0, lt=1.0)] | None = None
    start_share: Annotated[Share, Field(alias="start")] = StorageSpec.start_share
    seepage: Annotated[float, quantity(DAILY_RATE), Field(ge=0.0, le=1000.0)] | None = None
    evaporation: Annotated[float, AS_SHARE, Field(ge=0.0, le=3.0)] | None = None
    lift_m: Annotated[Lift, Field(alias="lift")] = StorageSpec.lift_m
    pump_efficiency: SomeShare | None = None

    @model_validator(mode="after")
    def _has_a_shape(self) -> Self:
        flaws: Flaws = []
        shape = ("capacity", "depth", "side_slope")
        if self.kind == TANK:
            if self.capacity is None:
                flaws.append(("capacity", "is missing", "a tank needs it"))
            for key in ("depth", "side_slope", "table", "lining", "seepage", "evaporation"):
                if getattr(self, key) is not None:
                    flaws.append((key, "a tank is closed and has none", f"with kind = '{POND}'"))
        elif self.table is not None:
            for key in shape:
                if getattr(self, key) is not None:
                    flaws.append((key, "conflicts with table", "keep one of them"))
        else:
            for key in shape:
                if getattr(self, key) is None:
                    allowed = "a pond needs capacity, depth and side_slope, or table"
                    flaws.append((key, "is missing", allowed))
        if self.lining is not None and self.seepage is not None:
            flaws.append(("lining", "conflicts with seepage", "keep one of them"))
        refuse(flaws)
        return self

    @model_validator(mode="wrap")
    @classmethod
    def _sides_reach_the_bottom(cls, written: Any, read: ModelWrapValidatorHandler[Self]) -> Self:
        """Refuses a pond whose sides would meet above the bottom, in the units of the file."""
        found = read(written)
        if found.capacity is None or found.depth is None or found.side_slope is None:
            return found
        least = least_square_pond_m3(found.depth, found.side_slope)
        if found.capacity >= least * ROUNDED:
            # A size as an answer prints it may be a little less than the shape holds.
            return found.model_copy(update={"capacity": max(found.capacity, least)})
        unit = unit_of(written["capacity"])
        gives = _rounded_up(written_in(least, VOLUME, unit))
        refuse(
            [
                (
                    "capacity",
                    f"a pond {quoted(written['depth'], bare=True)} deep with sides of "
                    f"{found.side_slope:g}:1 holds no less than {gives:,.10g} {unit}",
                    f'"{gives:.10g} {unit}" or more, less depth or steeper sides',
                )
            ]
        )
        return found


def _rounded_up(number: float) -> float:
    """``number`` with three digits, none less than it is."""
    step = 10.0 ** (math.floor(math.log10(number)) - 2)
    return math.ceil(number / step) * step


class CatchmentTable(Part):
    label: Text | None = None
    kind: Annotated[str, one_of(*CATCHMENT_KINDS)]
    area: Annotated[float, quantity(AREA), within("catchment_area")]
    runoff: SomeShare | None = None
    curve_number: Annotated[float, Field(gt=0.0, le=100.0)] | None = None
    first_flush: Annotated[float, quantity(LENGTH), Field(ge=0.0, le=100.0)] | None = None

    @model_validator(mode="after")
    def _sheds_in_one_way(self) -> Self:
        grass = self.kind == GRASS
        mine = "curve_number" if grass else "runoff, first_flush"
        flaws: Flaws = [
            (key, f"a catchment of kind '{self.kind}' has none", mine)
            for key in (("runoff", "first_flush") if grass else ("curve_number",))
            if getattr(self, key) is not None
        ]
        refuse(flaws)
        return self


# Keys at which a stage starts and ends, by the index.
STAGE_KEYS = {
    DROUGHT: ("above", "below"),
    STORAGE_INDEX: ("falls_to", "back_at"),
    CALENDAR: ("from", "to"),
}


class SiteStageTable(Part):
    above: Drought | None = None
    below: Drought | None = None
    falls_to: Share | None = None
    back_at: Share | None = None
    first: Annotated[DayOfYear | None, Field(alias="from")] = None
    last: Annotated[DayOfYear | None, Field(alias="to")] = None
    allowed: Annotated[Flags | None, Field(alias="days")] = None
    share: Share = SiteStage.share
    crown_only: bool = SiteStage.crown_only
    exempt: list[Annotated[str, named_in("fields")]] = []

    def limit(self, key: str) -> float | None:
        """The value under a key of ``STAGE_KEYS``."""
        found: float | None = getattr(self, {"from": "first", "to": "last"}.get(key, key))
        return found


class RestrictionsTable(Part):
    index: Annotated[str, one_of(*INDICES)]
    stages: Annotated[list[SiteStageTable], Field(min_length=1, max_length=MOST_SITE_STAGES)]

    @model_validator(mode="after")
    def _stages_tighten(self) -> Self:
        flaws: Flaws = []
        enter, leave = STAGE_KEYS[self.index]
        for i, stage in enumerate(self.stages, start=1):
            for index, keys in STAGE_KEYS.items():
                for key in keys:
                    stated = stage.limit(key) is not None
                    if stated and index != self.index:
                        message = f"index '{self.index}' does not use it"
                        flaws.append((f"stages[{i}].{key}", message, f"'{index}' does"))
                    elif not stated and index == self.index:
                        message = f"index '{index}' needs {enter} and {leave}"
                        flaws.append((f"stages[{i}].{key}", "is missing", message))
        if not flaws and self.index != CALENDAR:
            flaws = self._order_flaws(enter, leave)
        refuse(flaws)
        return self

    def _order_flaws(self, enter: str, leave: str) -> Flaws:
        """Faults of the order of stages: drought index rises, water in storage falls."""
        flaws: Flaws = []
        sign = 1.0 if self.index == DROUGHT else -1.0
        more, least = ("more than", "at least") if sign > 0 else ("less than", "at most")
        goes = "rise" if sign > 0 else "fall"
        limits = [
            (sign * (stage.limit(enter) or 0.0), sign * (stage.limit(leave) or 0.0))
            for stage in self.stages
        ]
        for i, (entered, left) in enumerate(limits, start=1):
            if left > entered:
                message = f"is {'more' if sign > 0 else 'less'} than {enter}"
                allowed = f"at {'most' if sign > 0 else 'least'} {enter}"
                flaws.append((f"stages[{i}].{leave}", message, allowed))
        for i, (milder, harder) in enumerate(pairwise(limits), start=2):
            if harder[0] <= milder[0]:
                allowed = f"{more} {abs(milder[0]):g}"
                flaws.append((f"stages[{i}].{enter}", f"does not {goes}", allowed))
            if harder[1] < milder[1]:
                allowed = f"{least} {abs(milder[1]):g}"
                flaws.append((f"stages[{i}].{leave}", f"does not {goes}", allowed))
        return flaws


class SupplyTable(Part):
    network: FlowRate | None = None
    window: Hours | None = None
    sources: Annotated[dict[Identifier, SourceTable], Field(max_length=MOST_NAMED)] = {}
    storage: StorageTable | None = None
    catchments: Annotated[dict[Identifier, CatchmentTable], Field(max_length=MOST_NAMED)] = {}
    restrictions: RestrictionsTable | None = None

    def feeds(self, source: SourceTable) -> str:
        """What a source feeds; wells and streams fill storage if there is any."""
        fills = self.storage is not None and source.kind in (WELL, STREAM)
        return source.feeds or (STORAGE if fills else FIELDS)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        flaws: Flaws = []
        if not self.sources and not (self.storage and self.catchments):
            flaws.append(("", "has no water", "a source, or storage with catchments"))
        fed = [self.feeds(source) for source in self.sources.values()]
        if self.storage is None:
            for key, source in self.sources.items():
                if source.feeds in (STORAGE, BOTH):
                    message = f"'{source.feeds}' is not possible"
                    allowed = f"there is no storage; '{FIELDS}', or write supply.storage"
                    flaws.append((f"sources.{key}.feeds", message, allowed))
            for key in self.catchments:
                message = "drains into a missing storage"
                flaws.append((f"catchments.{key}", message, "write supply.storage"))
            if self.restrictions is not None and self.restrictions.index == STORAGE_INDEX:
                allowed = f"there is no storage; '{DROUGHT}', '{CALENDAR}'"
                flaws.append(("restrictions.index", f"'{STORAGE_INDEX}' is not possible", allowed))
        elif self.storage.kind == TANK and not self.catchments and set(fed) <= {FIELDS}:
            flaws.append(("storage", "nothing fills the tank", "a catchment, or feeds of a source"))
        for (key, source), feeds in zip(self.sources.items(), fed, strict=True):
            if source.first and source.feeds is None and feeds == STORAGE:
                message = "fields do not draw from a source that only feeds the storage"
                allowed = f"with feeds = '{BOTH}' or '{FIELDS}'"
                flaws.append((f"sources.{key}.first", message, allowed))
        refuse(flaws)
        return self


def said_once(table: SupplyTable, info: ValidationInfo) -> SupplyTable:
    """Accepts a supply table only without ``site.supply``."""
    if names_of(info).site_supply:
        raise ValueError("conflicts with site.supply; keep one of them")
    return table


# --- tables to the model ----------------------------------------------------------------------


def supply_spec(table: SupplyTable, catalog: Catalog, plans_window_h: float) -> SupplySpec:
    """The model's supply; by default the network runs for ``plans_window_h``."""
    return SupplySpec(
        sources=tuple(
            _source(key, part, table.feeds(part), catalog) for key, part in table.sources.items()
        ),
        storage=_storage(table.storage, catalog) if table.storage else None,
        catchments=tuple(_catchment(key, part, catalog) for key, part in table.catchments.items()),
        network_m3_h=math.inf if table.network is None else table.network,
        window_h=table.window or plans_window_h,
        restrictions=_restrictions(table.restrictions) if table.restrictions else None,
    )


def _number(catalog: Catalog, entry: str, key: str, own: float | None) -> float:
    """The number in the file, or the catalog's default."""
    return catalog.get("supply", entry)[SUPPLY_NUMBERS[key]] if own is None else own


def _source(key: str, table: SourceTable, feeds: str, catalog: Catalog) -> SourceSpec:
    first = table.kind == RECLAIMED and feeds != STORAGE if table.first is None else table.first
    return SourceSpec(
        key=key,
        label=label_of(key, table.label),
        feeds=feeds,
        first=first,
        pump_efficiency=_number(catalog, "pump", "pump_efficiency", table.pump_efficiency),
        ration=BY_MONTH if isinstance(table.ration, MonthShares) else table.ration,
        month_shares=month_shares(table.ration),
        tariff=tariff_blocks(table.tariff),
        **values_of(table.stops),
        **values_of(
            table, "label", "stops", "feeds", "first", "ration", "pump_efficiency", "tariff"
        ),
    )


def month_shares(ration: str | MonthShares) -> tuple[float, ...]:
    """Share of the year's allowance in each month (12,); 0 when it is rationed in another way."""
    if isinstance(ration, MonthShares):
        return tuple(ration.root.get(month, 0.0) for month in MONTHS)
    return ()


def _storage(table: StorageTable, catalog: Catalog) -> StorageSpec:
    capacity, depth, slope = table.capacity or 0.0, math.nan, math.nan
    if table.kind == TANK:
        volumes, areas = tank(capacity)
    elif table.table is not None:
        depths_m = [depth_mm / MM_PER_M for depth_mm in table.table.depth]
        volumes, areas = surveyed_pond(depths_m, table.table.area)
    else:
        depth, slope = table.depth or 0.0, table.side_slope or 0.0
        volumes, areas = square_pond(capacity, depth, slope)
    lining, seepage, evaporation = "", 0.0, 0.0
    if table.kind == POND:
        lining = "" if table.seepage is not None else table.lining or USUAL_LINING
        seepage = _number(catalog, LININGS.get(lining, ""), "seepage", table.seepage)
        evaporation = _number(catalog, POND, "evaporation", table.evaporation)
    return StorageSpec(
        kind=table.kind,
        volumes_m3=tuple(volumes.tolist()),
        areas_m2=tuple(areas.tolist()),
        dead_m3=_number(catalog, table.kind, "dead", table.dead) * float(volumes[-1]),
        start_share=table.start_share,
        lining=lining,
        seepage_mm_d=seepage,
        evaporation_factor=evaporation,
        lift_m=table.lift_m,
        pump_efficiency=_number(catalog, "pump", "pump_efficiency", table.pump_efficiency),
        depth_m=depth,
        side_slope=slope,
    )


def _catchment(key: str, table: CatchmentTable, catalog: Catalog) -> CatchmentSpec:
    grass = table.kind == GRASS
    name, own = ("curve_number", table.curve_number) if grass else ("runoff", table.runoff)
    flush = 0.0 if grass else _number(catalog, table.kind, "first_flush", table.first_flush)
    return CatchmentSpec(
        key=key,
        label=label_of(key, table.label),
        kind=table.kind,
        area_m2=table.area,
        runoff=_number(catalog, table.kind, name, own),
        first_flush_mm=flush,
    )


def _restrictions(table: RestrictionsTable) -> Restrictions:
    enter, leave = STAGE_KEYS[table.index]
    by_date = table.index == CALENDAR

    def stage(part: SiteStageTable) -> SiteStage:
        limits = (part.limit(enter) or 0.0, part.limit(leave) or 0.0)
        return SiteStage(
            # By the calendar, only dates matter.
            enter=math.inf if by_date else limits[0],
            leave=math.inf if by_date else limits[1],
            **values_of(part, "above", "below", "falls_to", "back_at"),
        )

    return Restrictions(table.index, tuple(stage(part) for part in table.stages))
