"""A sweep file: which keys of a base scenario vary, over what, and in what design."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError, model_validator

from drysward.catalog import load_catalog
from drysward.day.records import TRACE, YEAR
from drysward.faults import Fault, FaultyInput, nearest
from drysward.inputs import toml_tables, toml_text
from drysward.quantities import SYSTEMS
from drysward.scenario.load import schema_faults
from drysward.scenario.values import Flaws, Identifier, Odds, Part, Text, one_of, refuse
from drysward.studies.sweep import GRID, INDICES, LATIN, SEQUENCE, STAGE_NAMES

DESIGNS = (GRID, LATIN, SEQUENCE, INDICES)
LINEAR, LOG = "linear", "log"
MOST_POINTS = 1_000_000
MOST_YEARS = 9_000  # of four figures, as dates have them
MOST_DRAWS = 4096

# Kept of every year unless the sweep keeps more: days, odds and demand are worked out from these.
KEPT = (
    "irrigation_gross", "days_below_condition",
    "longest_footprint", "longest_wilt", "longest_dormant", "longest_dead",
)  # fmt: skip
# Dimensions and coordinates of the result, which no axis may be called.
TAKEN = (
    "point", "sample", "draw", "block", "field", "plan", "year", "stage", "period", "month",
    "day", "year_of_day", "day_of_year", "month_day", "date", "area_m2", "site_water",
    "field_label", "plan_label", "reached", "residual",
)  # fmt: skip
# What single draws add to these.
TAKEN_BY_DRAWS = ("drawn_number", "unit", "group")
# Numbers of a year that are one a year.
_YEARLY = tuple(name for name in YEAR.names or () if not YEAR[name].shape)
_WAYS = ("values", "from", "alternatives", "catalog")


class AxisTable(Part):
    """One thing that varies: a key (or several alike), and what it takes."""

    key: Text | None = None
    keys: Annotated[list[Text], Field(min_length=1)] | None = None
    values: list[Any] | None = None
    first: Annotated[Any, Field(alias="from")] = None
    last: Annotated[Any, Field(alias="to")] = None
    steps: Annotated[int, Field(ge=2, le=MOST_POINTS)] | None = None
    scale: Annotated[str, one_of(LINEAR, LOG)] = LINEAR
    whole: bool = False
    alternatives: dict[Text, dict[Text, Any]] | None = None
    catalog: Text | None = None
    linked: Text | None = None

    @model_validator(mode="after")
    def _one_way(self) -> AxisTable:
        faults: Flaws = []
        stated = {
            "values": self.values is not None,
            "from": self.first is not None or self.last is not None,
            "alternatives": self.alternatives is not None,
            "catalog": self.catalog is not None,
        }
        ways = [way for way in _WAYS if stated[way]]
        if len(ways) != 1:
            what = "says nothing to vary over" if not ways else f"says both {' and '.join(ways)}"
            faults.append(("", what, "one of values, from and to, alternatives, catalog"))
        if stated["values"] and not self.values:
            faults.append(("values", "is empty", "one value at least"))
        if stated["alternatives"] and not self.alternatives:
            faults.append(("alternatives", "is empty", "one alternative at least"))
        if stated["from"] and (self.first is None or self.last is None):
            faults.append(("from", "goes with to", 'from = "8 in", to = "16 in"'))
        if self.steps is not None and not stated["from"]:
            faults.append(("steps", "goes with from and to", "leave it out"))
        named = (self.key is not None) + (self.keys is not None)
        if (stated["alternatives"] or stated["catalog"]) and named:
            faults.append(("key", f"is not used with {ways[0]}", "leave it out"))
        elif not (stated["alternatives"] or stated["catalog"]) and named != 1:
            faults.append(("key", "is missing", 'key = "plans.refill.trigger", or keys = [...]'))
        refuse(faults)
        return self


class DesignTable(Part):
    kind: Annotated[str, one_of(*DESIGNS)] = GRID
    samples: Annotated[int, Field(ge=1, le=MOST_POINTS)] | None = None
    seed: Annotated[int, Field(ge=0)] = 1


class DoubtTable(Part):
    """Draws of what is not known within every point; ``keep`` keeps each of them."""

    draws: int
    keep: bool = False

    @model_validator(mode="after")
    def _enough(self) -> DoubtTable:
        faults: Flaws = []
        if self.draws < 0 or self.draws == 1:
            reason = f"{self.draws} is too few for a spread"
            faults.append(("draws", reason, "2 or more, best 16, 32 or 64: draws = 64; 0 for none"))
        elif self.draws > MOST_DRAWS:
            faults.append(("draws", f"{self.draws} is too many", f"{MOST_DRAWS} at most"))
        elif self.keep and not self.draws:
            faults.append(("keep", "there are no draws to keep", "draws = 64, or leave it out"))
        refuse(faults)
        return self


class SearchTable(Part):
    """The least water that keeps a risk: which plan and field, on how many years (those of the
    sweep when left out), and on how many fresh ones the plan that was found is tried.

    The risk is the odds of a stage, or the mean days a year below playing condition; of a sweep
    with draws within its points the mean over them, or with ``confidence`` what that share of
    draws does not pass.
    """

    plan: Text
    field: Text
    stage: Annotated[str, one_of(*STAGE_NAMES)] = "wilt"
    odds: Odds = 0.10
    days_below: Annotated[float, Field(ge=0.0, le=366.0)] | None = None
    confidence: Annotated[float, Field(ge=0.5, le=0.99)] | None = None
    tries: Annotated[int, Field(ge=10, le=100_000)] = 400
    years: Annotated[int, Field(ge=1, le=MOST_YEARS)] | None = None
    fresh_years: Annotated[int, Field(ge=1, le=MOST_YEARS)] | None = None

    @model_validator(mode="after")
    def _one_risk(self) -> SearchTable:
        both = self.model_fields_set & {"stage", "odds"}
        if self.days_below is not None and both:
            reason = f"conflicts with {' and '.join(sorted(both))}"
            refuse([("days_below", reason, "days_below alone, or stage and odds")])
        return self

    @property
    def most(self) -> float:
        """What the plan found may have at most: odds of the stage, or days a year."""
        return self.odds if self.days_below is None else self.days_below


class SweepTable(Part):
    title: Text = "Untitled sweep"
    scenario: Text
    plans: Annotated[list[Text], Field(min_length=1)] | None = None
    years: Annotated[int, Field(ge=1, le=MOST_YEARS)] | None = None
    seed: Annotated[int, Field(ge=0)] | None = None
    keep: list[Annotated[str, one_of(*_YEARLY)]] | None = None
    daily: list[Annotated[str, one_of(*(TRACE.names or ()))]] | None = None
    design: DesignTable = DesignTable()
    doubt: DoubtTable | None = None
    axes: Annotated[dict[Identifier, AxisTable], Field(min_length=1)]
    search: SearchTable | None = None


@dataclass(frozen=True)
class Axis:
    """One axis.

    ``changes`` are, for each value of a list, the keys that it sets; a range has ``low`` and
    ``high`` in ``unit`` ("" for a bare number) and sets ``keys``. ``labels`` are what listed
    values are called: numbers when all are, in ``unit``.
    """

    name: str
    keys: tuple[str, ...]
    unit: str = ""
    changes: tuple[dict[str, Any], ...] = field(default=(), repr=False)
    labels: tuple[Any, ...] = ()
    low: float = math.nan
    high: float = math.nan
    log: bool = False
    whole: bool = False
    linked: str = ""

    @property
    def listed(self) -> bool:
        return bool(self.changes)

    @property
    def shown_unit(self) -> str:
        """The unit of its numbers: as written, or that of the numbers of the catalog; "" for none.

        Numbers of the catalog are written without their unit.
        """
        if self.unit or not all(isinstance(label, int | float) for label in self.labels):
            return self.unit
        units = {_unit_of(key) for key in self.keys}
        return units.pop() if len(units) == 1 else ""

    def at(self, share: float) -> float:
        """The value of a range at ``share`` of it (0..1)."""
        if self.log:
            value = self.low * (self.high / self.low) ** share
        else:
            value = self.low + share * (self.high - self.low)
        return float(round(value)) if self.whole else value

    def sets(self, position: float) -> dict[str, Any]:
        """Keys and values at a position: a place in the list, or a share of the range."""
        if self.listed:
            return self.changes[int(position)]
        value = self.at(position)
        written: Any = int(value) if self.whole else value
        return dict.fromkeys(self.keys, f"{written!r} {self.unit}" if self.unit else written)


@dataclass(frozen=True)
class Sweep:
    """A sweep file and its base scenario, read but not yet run.

    ``base`` are the tables of the base scenario with the sweep's years and seed; ``plans`` the
    keys of the plans to run, all when empty. ``text`` and ``base_text`` are the two files.
    ``draws`` of what is not known are within every point, none when 0; ``keep_draws`` keeps each.
    """

    name: str
    title: str
    text: str = field(repr=False)
    base_name: str
    base_text: str = field(repr=False)
    base: dict[str, Any] = field(repr=False)
    folder: Path
    plans: tuple[str, ...]
    keep: tuple[str, ...]
    daily: tuple[str, ...]
    kind: str
    samples: int
    seed: int
    axes: tuple[Axis, ...]
    search: SearchTable | None
    draws: int = 0
    keep_draws: bool = False

    @property
    def units(self) -> str:
        """The system of units of answers, that of the base scenario."""
        return str(self.base.get("units", SYSTEMS[0]))


def read_sweep(path: str | Path) -> Sweep:
    """The sweep in the file ``path``, its scenario beside it, or one that ships with drysward.

    A bare word that is no file names a sweep that ships. FaultyInput with every
    fault of the file by its dotted key.
    """
    place = Path(path)
    ships = Path(str(files("drysward.scenarios")))
    if not place.is_file() and place.suffix == "" and place.name == str(path):
        place = ships / f"{path}.toml"
        if not place.exists():
            known = [found.stem for found in ships.glob("sweep-*.toml")]
            raise FaultyInput(Fault(str(path), "is no file", nearest(str(path), known)))
    text = toml_text(place)
    scenario = toml_tables(str(path), text).get("scenario")
    base = place.parent
    if isinstance(scenario, str):
        base = place.parent / scenario
        if not base.is_file() and (ships / f"{scenario}.toml").exists():
            base = ships / f"{scenario}.toml"
        if not base.is_file():
            allowed = "a file beside the sweep, or one that ships, such as demo"
            raise FaultyInput(Fault(f"{path}: scenario", f"'{scenario}' is no file", allowed))
    base_text = toml_text(base) if base.is_file() else ""
    return sweep_of(str(path), text, str(base), base_text, base.parent)


def sweep_of(name: str, text: str, base_name: str, base_text: str, folder: str | Path) -> Sweep:
    """The sweep in ``text`` over the scenario in ``base_text``; ``name`` is what faults call it.

    Files that the scenario names are read from ``folder``. FaultyInput as ``read_sweep``.
    """
    try:
        table = SweepTable.model_validate(toml_tables(name, text))
    except ValidationError as error:
        raise FaultyInput(schema_faults(name, error, SweepTable)) from None
    base = toml_tables(base_name, base_text)
    if "fitted" in base:
        what = "names numbers fitted to readings, and a sweep draws none of these yet"
        raise FaultyInput(Fault(f"{base_name}: fitted", what, "leave the line out for a sweep"))
    # A sizing has no part in a sweep, and an axis may take away what it is about.
    base.pop("sizing", None)
    for key, value in (("years", table.years), ("seed", table.seed)):
        if value is not None:
            base.setdefault("weather", {})[key] = value
    faults: list[Fault] = []
    axes = []
    for key, part in table.axes.items():
        where = f"{name}: axes.{key}"
        try:
            axes.append(_axis(where, key, part, base, table.design))
        except FaultyInput as refusal:
            faults += refusal.faults
    plans = base.get("plans", {})
    for plan in table.plans or ():
        if plan not in plans:
            faults.append(Fault(f"{name}: plans", f"no plan '{plan}'", nearest(plan, plans)))
    doubt = table.doubt or DoubtTable(draws=0)
    faults += _draws_faults(name, table, doubt)
    if faults:
        raise FaultyInput(faults)
    return Sweep(
        name=name,
        title=table.title,
        text=text,
        base_name=base_name,
        base_text=base_text,
        base=base,
        folder=Path(folder),
        plans=tuple(table.plans or ()),
        keep=tuple(dict.fromkeys((*KEPT, *(table.keep or ())))),
        daily=tuple(table.daily or ()),
        kind=table.design.kind,
        samples=table.design.samples or 0,
        seed=table.design.seed,
        axes=tuple(axes),
        search=table.search,
        draws=doubt.draws,
        keep_draws=doubt.keep,
    )


def _draws_faults(name: str, table: SweepTable, doubt: DoubtTable) -> list[Fault]:
    """What of a sweep does not go with its draws, or with their lack."""
    faults = []
    if table.search is not None and table.search.confidence is not None and not doubt.draws:
        reason = "needs draws of what is not known within the points"
        faults.append(
            Fault(f"{name}: search.confidence", reason, "[doubt] with draws = 64, or leave it out")
        )
    if not doubt.keep:
        return faults
    if table.design.kind == GRID and table.design.samples:
        reason = "the draws of [design] samples have that name already"
        allowed = "keep = false, or steps for the ranges in place of samples"
        faults.append(Fault(f"{name}: doubt.keep", reason, allowed))
    for axis in table.axes:
        if axis in TAKEN_BY_DRAWS:
            where = f"{name}: axes.{axis}"
            reason = f"'{axis}' is a name of the results when draws are kept"
            faults.append(Fault(where, reason, "another name"))
    return faults


# --- an axis of the file to an Axis ------------------------------------------------------------


def _axis(
    where: str, name: str, table: AxisTable, base: dict[str, Any], design: DesignTable
) -> Axis:
    if name in TAKEN or name in (YEAR.names or ()):
        raise FaultyInput(Fault(where, f"'{name}' is a name of the results", "another name"))
    linked = table.linked or ""
    if table.catalog is not None:
        return _catalog_axis(f"{where}.catalog", name, table, linked)
    if table.alternatives is not None:
        changes = tuple(
            {
                full: value
                for key, value in part.items()
                for full in every_key(f"{where}.alternatives.{label}", key, base)
            }
            for label, part in table.alternatives.items()
        )
        keys = tuple(dict.fromkeys(key for part in changes for key in part))
        _refuse_fixed(where, keys)
        return Axis(
            name, keys, changes=changes, labels=tuple(table.alternatives), linked=linked
        )
    keys = tuple(
        full
        for key in table.keys or [str(table.key)]
        for full in every_key(f"{where}.key", key, base)
    )
    _refuse_fixed(where, keys)
    if table.values is not None:
        labels, unit = _labels(table.values)
        changes = tuple(dict.fromkeys(keys, value) for value in table.values)
        return Axis(name, keys, unit, changes, labels, linked=linked)
    low, high, unit = _ends(where, table)
    span = Axis(
        name, keys, unit, low=low, high=high, log=table.scale == LOG, whole=table.whole,
        linked=linked,
    )  # fmt: skip
    if table.steps is None:
        return span
    shares = [i / (table.steps - 1) for i in range(table.steps)]
    values = [span.at(share) for share in shares]
    return Axis(
        name,
        keys,
        unit,
        changes=tuple(span.sets(share) for share in shares),
        labels=tuple(values),
        linked=linked,
    )


def _catalog_axis(where: str, name: str, table: AxisTable, linked: str) -> Axis:
    """A number of the catalog over its own range."""
    dotted = str(table.catalog)
    catalog = load_catalog()
    parts = dotted.split(".")
    if len(parts) != 3:
        reason = "kind.key.name, such as species.kentucky_bluegrass.wilt_ks"
        raise FaultyInput(Fault(where, f"'{dotted}' is not the name of a number", reason))
    entry = catalog.get(parts[0], parts[1], where=where)
    if parts[2] not in entry.numbers:
        hint = nearest(parts[2], entry.numbers)
        raise FaultyInput(Fault(where, f"'{dotted}': no number '{parts[2]}'", hint))
    number = entry.parameter(parts[2])
    if not number.low < number.high:
        raise FaultyInput(Fault(where, f"'{dotted}' has no range", "from and to of your own"))
    return Axis(
        name,
        (f"overrides.{dotted}",),
        low=number.low,
        high=number.high,
        log=table.scale == LOG,
        whole=table.whole,
        linked=linked,
    )


def _unit_of(key: str) -> str:
    """The unit of the number of the catalog that ``key`` overrides; "" for none, or no such key."""
    top, *parts = key.split(".")
    if top != "overrides" or len(parts) != 3:
        return ""
    entry = load_catalog().entries.get(parts[0], {}).get(parts[1])
    number = entry.numbers.get(parts[2]) if entry else None
    return "" if number is None or number.unit == "1" else number.unit


# What every point must share, so that years stand side by side.
_FIXED = (
    "title", "sizing", "weather.years", "weather.first_year", "answers.fewest_days",
    "answers.return_periods", "answers.reached", "answers.days", "answers.playing_condition",
)  # fmt: skip


def _refuse_fixed(where: str, keys: tuple[str, ...]) -> None:
    for key in keys:
        if any(key == fixed or key.startswith(f"{fixed}.") for fixed in _FIXED):
            raise FaultyInput(
                Fault(where, f"'{key}' must be the same at all points", "another sweep for it")
            )


def _ends(where: str, table: AxisTable) -> tuple[float, float, str]:
    """Low, high and unit of a range."""
    allowed = 'two numbers, or two quantities in one unit: from = "8 in", to = "16 in"'
    (low, low_unit), (high, high_unit) = _number(table.first), _number(table.last)
    if low is None or high is None or low_unit != high_unit:
        reason = f"{table.first!r} to {table.last!r} is no range"
        raise FaultyInput(Fault(where, reason, allowed))
    if not low < high:
        raise FaultyInput(Fault(where, f"{table.first!r} is not below {table.last!r}", allowed))
    if table.scale == LOG and low <= 0.0:
        raise FaultyInput(Fault(where, "a log scale starts above 0", "from above 0"))
    return low, high, low_unit


def _number(value: Any) -> tuple[float | None, str]:
    """``12`` or ``"12 in"`` as number and unit; None when it is neither."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), ""
    if isinstance(value, str):
        head, _, unit = value.strip().partition(" ")
        try:
            return float(head), unit.strip()
        except ValueError:
            return None, ""
    return None, ""


def _labels(values: list[Any]) -> tuple[tuple[Any, ...], str]:
    """Numbers in one unit when all values are, else texts; and the unit."""
    read = [_number(value) for value in values]
    units = {unit for _, unit in read}
    if len(units) == 1 and all(number is not None for number, _ in read):
        return tuple(number for number, _ in read), units.pop()
    return tuple(v if isinstance(v, str) else str(v) for v in values), ""


# --- dotted keys -------------------------------------------------------------------------------

# Tables whose keys are names that the writer of a scenario gave.
_NAMED = ("fields", "plans", "supply.sources", "supply.catchments", "weather.futures")


def every_key(where: str, key: str, base: dict[str, Any]) -> list[str]:
    """``fields.*.species`` as the key of every field; other keys as they are.

    FaultyInput when the key goes through a field, plan or source that is not there.
    """
    if key.startswith("overrides."):
        return [key]
    for table in _NAMED:
        if key.startswith(f"{table}."):
            names = base
            for part in table.split("."):
                names = names.get(part, {}) if isinstance(names, dict) else {}
            name, _, rest = key.removeprefix(f"{table}.").partition(".")
            if name == "*":
                return [f"{table}.{one}.{rest}" for one in names]
            if name not in names:
                raise FaultyInput(
                    Fault(where, f"'{key}': the scenario has no '{name}'", nearest(name, names))
                )
    return [key]
