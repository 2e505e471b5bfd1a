"""A new scenario file: what a person says of site, fields and plans, written out with comments."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache, partial
from importlib.resources import files
from typing import TypeVar

import jinja2

from drysward.catalog import load_catalog
from drysward.faults import Fault, FaultyInput, nearest, quoted
from drysward.quantities import convert
from drysward.scenario.feeding_tables import feeding_plan_for, feeding_plans
from drysward.scenario.invented import INVENTED
from drysward.scenario.keys import keys
from drysward.scenario.rules import RULE_KEYS, RULES
from drysward.scenario.schema import latitude, other_depth
from drysward.scenario.weather_tables import ClimateTable

LINE = 98
PARTS = {"species": "species", "root_zones": "root_zone", "delivery": "delivery"}
"""Kinds of the catalog that a field is made of -> the key of a field."""

NEEDED_NORMALS = tuple(INVENTED)
"""Normals that a place needs."""
# Normals that are bare numbers -> what people write for their unit all the same.
_WITHOUT_UNIT = {"wet_days": ("days", "day", "d"), "relative_humidity": ("%", "percent")}


@dataclass(frozen=True)
class NewField:
    """A field by names of the catalog; ``area`` with its unit."""

    label: str
    area: str
    species: str = "kentucky_bluegrass"
    root_zone: str = "native_loam"
    delivery: str = "in_ground_rotors"


@dataclass(frozen=True)
class NewPlan:
    """A plan: its rule, and the keys of the rule as they are written in TOML."""

    label: str
    rule: str
    keys: Mapping[str, str] = field(default_factory=dict)


_Labeled = TypeVar("_Labeled", NewField, NewPlan)

@dataclass(frozen=True)
class Usual:
    """What a new scenario has where nothing is stated, in one system of units.

    ``examples`` are quantities for comments. ``normals`` are units of the invented normals.
    """

    elevation: str
    area: str
    weekly: NewPlan
    normals: Mapping[str, str]
    examples: Mapping[str, str]

    @property
    def field_list(self) -> tuple[NewField, ...]:
        """One field."""
        return (NewField("Main field", self.area),)

    @property
    def plan_list(self) -> tuple[NewPlan, ...]:
        """Four common plans."""
        return (
            NewPlan("No irrigation", "none"),
            self.weekly,
            NewPlan("Deficit, 60% ET", "share of et", {"share": "0.6", "interval": '"2 days"'}),
            NewPlan("Refill at 40% depletion", "refill", {"trigger": "0.4", "target": "0.0"}),
        )


# Units that comments of a metric file leave out.
_OF_US = frozenset({
    "in", "ft", "acre", "ft2", "yd2", "gal", "Mgal", "acre-in", "acre-ft", "ft3", "gpm", "degF",
    "mph", "in/h",
})  # fmt: skip
_TWICE = {"days": '["Tue", "Fri"]'}
USUAL = {
    "us": Usual(
        "460 ft", "1.8 acre",
        NewPlan("An inch a week", "fixed", {"depth": '"0.5 in"', **_TWICE}),
        {"in": "in", "degF": "degF"},
        {
            "supply": "60000 gal", "flow": "60 gpm", "rate": "0.75 lb/1000 ft2",
            "quantities": '"12 in", "300 mm", "60 gpm", "1.3 acre"',
            "range": "12 in (10 to 14 in)", "network": "300 gpm", "capacity": "400000 gal",
            "depth": "8 ft", "well": "10 gpm", "least_well": "5 gpm", "largest_well": "20 gpm",
            "catchment": "1.5 acre",
        },
    ),
    "metric": Usual(
        "140 m", "0.7 ha",
        NewPlan("25 mm a week", "fixed", {"depth": '"12.5 mm"', **_TWICE}),
        {"in": "mm", "degF": "degC"},
        {
            "supply": "230 m3", "flow": "14 m3/h", "rate": "35 kg/ha",
            "quantities": '"300 mm", "14 m3/h", "0.5 ha"',
            "range": "300 mm (250 to 350 mm)", "network": "70 m3/h", "capacity": "1500 m3",
            "depth": "2.5 m", "well": "2.3 m3/h", "least_well": "1.1 m3/h",
            "largest_well": "4.5 m3/h", "catchment": "0.6 ha",
        },
    ),
}  # fmt: skip
"""By system of units, as answers name them."""


@dataclass(frozen=True)
class NewScenario:
    """What is written. ``latitude`` and ``elevation`` have units.

    ``units`` ("us" or "metric") are those of all that is not stated. ``columns``, in TOML, and
    ``wind_height`` say what the headers of a weather file do not. Without ``weather_file`` the
    weather comes from ``normals`` by key, written in TOML, or from those of an invented town.
    ``fill`` is the line that fills blanks of the file, "" for none. ``years`` are simulated: 0 for
    those of the file as they are, and for 200 from normals. ``has_supply`` writes a supply, which
    is in comments otherwise.
    """

    name: str = "Our town"
    latitude: str = "40.3 deg"
    elevation: str = ""
    units: str = "us"
    weather_file: str = ""
    columns: str = ""
    wind_height: str = ""
    fill: str = ""
    years: int = 0
    stated_normals: Mapping[str, str] = field(default_factory=dict)
    field_list: Sequence[NewField] = ()
    plan_list: Sequence[NewPlan] = ()
    has_supply: bool = False

    def __post_init__(self) -> None:
        for name in ("elevation", "field_list", "plan_list"):
            if not getattr(self, name):
                object.__setattr__(self, name, getattr(self.usual, name))

    @property
    def usual(self) -> Usual:
        """What stands where nothing is stated."""
        return USUAL[self.units]

    @property
    def title(self) -> str:
        """Title of the scenario: the place and its fields, one name once."""
        labels = [one.label for one in self.field_list]
        return self.name if labels == [self.name] else f"{self.name}: {', '.join(labels)}"

    @property
    def fields(self) -> dict[str, NewField]:
        """Fields by key."""
        return _by_key(self.field_list)

    @property
    def plans(self) -> dict[str, NewPlan]:
        """Plans by key."""
        return _by_key(self.plan_list)

    @property
    def are_invented(self) -> bool:
        """Whether the normals are those of the invented town."""
        return not self.stated_normals

    @property
    def watering_plan(self) -> str:
        """Key of the last plan that waters; of the last plan when none does."""
        waters = [key for key, plan in self.plans.items() if plan.rule != "none"]
        return (waters or list(self.plans))[-1]

    @property
    def feeding_plan(self) -> str:
        """Name of a feeding plan for the first field."""
        first, catalog = self.field_list[0], load_catalog().entries
        species = catalog["species"].get(first.species)
        zone = catalog["root_zones"].get(first.root_zone)
        # Wrong names are refused when the scenario is read back.
        return feeding_plan_for(species, zone) if species and zone else next(iter(feeding_plans()))

    @property
    def feeding_day(self) -> str:
        """A day in late spring."""
        return "11-10" if self.is_southern else "05-10"

    @property
    def normals(self) -> Mapping[str, str]:
        """Monthly normals, written in TOML."""
        if self.stated_normals:
            return self.stated_normals
        first = 6 if self.is_southern else 0
        return {
            key: _normal(*self._in_units(unit, months[first:] + months[:first]))
            for key, (unit, months) in INVENTED.items()
        }

    def _in_units(self, unit: str, months: Sequence[float]) -> tuple[str, list[str]]:
        """Invented normals in the units of this scenario, to a tenth."""
        shown = self.usual.normals.get(unit, unit)
        if shown != unit:
            months = [round(convert(month, unit, shown), 1) for month in months]
        return shown, [f"{month:g}" for month in months]

    @property
    def is_southern(self) -> bool:
        """Whether the site lies south of the equator."""
        with suppress(ValueError):  # refused when the scenario is read back
            return latitude(self.latitude) < 0.0
        return False

    @property
    def season(self) -> tuple[str, str]:
        """First and last day of watering on the site's side of the equator."""
        return ("10-01", "04-30") if self.is_southern else ("04-01", "10-31")


def _by_key(things: Sequence[_Labeled]) -> dict[str, _Labeled]:
    return dict(zip(keys_of(one.label for one in things), things, strict=True))


def keys_of(labels: Iterable[str]) -> list[str]:
    """Keys for things with these labels, each once: ``An inch a week`` is ``an_inch_a_week``."""
    found: list[str] = []
    for label in labels:
        key = re.sub(r"[^a-z0-9]+", "_", label.lower()).strip("_")[:30].strip("_") or "unnamed"
        while key in found:
            stem, _, number = key.rpartition("_")
            key = f"{stem}_{int(number) + 1}" if stem and number.isdigit() else f"{key}_2"
        found.append(key)
    return found


def catalog_name(text: str) -> str:
    """A name of the catalog as its files write it: people type capitals, hyphens and blanks."""
    return re.sub(r"[\s-]+", "_", text.strip().lower())


def read_field(text: str) -> NewField:
    """``"Stadium, 2 acre, tall_fescue, native_loam"`` as a field; label and area come first.

    The names after them may stand in any order; what is left out has a default. FaultyInput.
    """
    label, *parts = _parts(text)
    where = f"--field {quoted(text)}"
    if not label or not parts or not parts[0]:
        shown = '"Stadium, 2 acre, kentucky_bluegrass, sand_over_gravel_12in, in_ground_rotors"'
        raise FaultyInput(Fault(where, "needs a name and an area at least", f"as --field {shown}"))
    area, *names = parts
    catalog = load_catalog().entries
    found: dict[str, str] = {}
    for name in names:
        known = {entry: kind for kind in PARTS for entry in catalog[kind]}
        kind = known.get(catalog_name(name))
        if kind is None:
            hint = nearest(catalog_name(name), known)
            if other := other_depth(catalog_name(name)):
                hint = f"name {other[0]}, then write in the file: root_zone = {other[1]}"
            raise FaultyInput(Fault(where, f"{quoted(name)} is not in the catalog", hint))
        if PARTS[kind] in found:
            what = f"has two entries of '{kind}': {found[PARTS[kind]]} and {name}"
            raise FaultyInput(Fault(where, what, "one of them"))
        found[PARTS[kind]] = catalog_name(name)
    return NewField(label, area, **found)


def _parts(text: str) -> list[str]:
    """Parts between commas, other than those between thousands: ``Stadium, 87,120 sq ft``."""
    return [part.strip() for part in re.split(r"(?<![0-9]),|,(?![0-9]{3}(?![0-9]))", text)]


def read_plan(text: str) -> NewPlan:
    """``"Refill at half, refill, trigger 0.5"`` as a plan: label, rule, keys. FaultyInput."""
    where = f"--plan {quoted(text)}"
    label, *parts = _parts(text)
    if not label or not parts:
        shown = '"Refill at half, refill, trigger 0.5"'
        raise FaultyInput(Fault(where, "needs a name and a rule at least", f"as --plan {shown}"))
    rule, *rest = parts
    if rule not in RULES:
        raise FaultyInput(Fault(where, f"{quoted(rule)} is not a rule", nearest(rule, RULES)))
    known = {*RULE_KEYS, "days", "interval", "least_depth", "window", "most", "time"}
    written: dict[str, str] = {}
    for part in rest:
        name, _, value = part.partition(" ")
        if name not in known:
            hint = nearest(name, known)
            raise FaultyInput(Fault(where, f"{quoted(name)} is not a key of a plan", hint))
        written[name] = _as_toml(name, value.strip())
    return NewPlan(label, rule, written)


def read_normal(text: str) -> tuple[str, str]:
    """``"tmax degF 37 41 ..."`` as a key of [weather.climate] and its TOML. FaultyInput."""
    where = f"--normal {quoted(text)}"
    name, *words = re.split(r"[\s,]+", text.strip())
    known = ClimateTable.model_fields
    if name not in known:
        raise FaultyInput(Fault(where, f"{quoted(name)} is not a normal", nearest(name, known)))
    unit = "" if not words or _is_number(words[0]) else words.pop(0)
    if name in _WITHOUT_UNIT and unit:
        if unit.lower() not in _WITHOUT_UNIT[name]:
            mend = f"--normal '{normal_form(name)}'"
            raise FaultyInput(Fault(where, f"{name} takes no unit", mend))
        unit = ""
    if len(words) != 12 or not all(map(_is_number, words)):
        shown = "--normal 'tmax degF 37 41 51 63 72 81 86 84 77 65 54 42'"
        raise FaultyInput(Fault(where, "does not hold twelve numbers", f"January first: {shown}"))
    return name, _normal(unit, words)


def normal_form(name: str) -> str:
    """How a normal is stated: ``tmax UNIT JAN ... DEC``; ``wet_days JAN ... DEC``."""
    return f"{name} JAN ... DEC" if name in _WITHOUT_UNIT else f"{name} UNIT JAN ... DEC"


def _normal(unit: str, words: Sequence[str]) -> str:
    months = f"[{', '.join(words)}]"
    return f"{{ unit = {toml(unit)}, months = {months} }}" if unit else months


def missing_normals(stated: Mapping[str, str]) -> list[str]:
    """Normals that a place needs and that are not stated."""
    return [name for name in NEEDED_NORMALS if name not in stated]


def scenario_text(new: NewScenario, file: str) -> str:
    """The scenario as a commented TOML file that will be called ``file``."""
    used: set[str] = set()

    def first_use(name: str) -> bool:
        fresh = name not in used
        used.add(name)
        return fresh

    text = _template().render(
        new=new, file=file, note=partial(note, units=new.units), names=_names, first_use=first_use
    )
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def note(name: str, units: str = "us") -> str:
    """The comment of a key: what it means, what it takes, and its default."""
    key = next(one for one in keys() if one.name == name)
    default = f" Default: {key.default}." if key.default else ""
    takes = key.check.words(_OF_US if units == "metric" else ()).removeprefix("a number; ")
    if units == "us":
        takes = takes.replace('"degC"', '"degF"')
    plain = takes in ("text", "a table", "a species of the catalog")
    return _comment(f"{key.meaning}{default}" if plain else f"{key.meaning} ({takes}){default}")


def toml(text: str) -> str:
    """Text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False)


def _names(kind: str) -> str:
    return _comment(f"Names: {', '.join(load_catalog().entries[kind])}.")


def _comment(text: str) -> str:
    lines = textwrap.wrap(text, LINE - 2, break_long_words=False, break_on_hyphens=False)
    return "\n".join(f"# {line}" for line in lines)


def _as_toml(name: str, value: str) -> str:
    if name == "days":
        return "[" + ", ".join(toml(day) for day in value.split()) + "]"
    return value if _is_number(value) else toml(value)


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?\d+(?:\.\d+)?", text) is not None


@cache
def _template() -> jinja2.Template:
    source = files("drysward.scenario").joinpath("starter.toml.j2").read_text(encoding="utf-8")
    environment = jinja2.Environment(trim_blocks=True, lstrip_blocks=True)
    environment.undefined = jinja2.StrictUndefined
    environment.filters["toml"] = toml
    return environment.from_string(source)
