"""Readings that a person keeps of fields, from one CSV file.

Header: ``date,field,kind,value,unit``, and where they are known ``place``, ``depth``,
``instrument`` and ``note``. ``KINDS`` says what there is and in which units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from drysward.catalog import Catalog
from drysward.faults import path_text, quoted
from drysward.physics.pond import depths_of_curve_m
from drysward.quantities import LENGTH, VOLUME, convert, parse
from drysward.scenario.model import SKINNED, FieldSpec, Scenario, StorageSpec
from drysward.scenario.supply_tables import TANK
from drysward.scenario.values import MM_PER_M
from drysward.studies.season.tables import Cells, read_sheet

_SHARE = {"%": 0.01, "v/v": 1.0}
_COVER = {"%": 0.01, "share": 1.0}


@dataclass(frozen=True)
class Kind:
    """A kind of reading: units with their factor to the base, and limits in the base.

    ``entry`` of ``readings.toml`` holds its errors. ``depth``: whether the depth that it covers
    must be stated. ``words`` may stand for a number, each an entry ``seen_WORD``. ``shared``:
    readings that name no place share the error of theirs. ``of_site``: of no field.
    """

    entry: str
    units: Mapping[str, float]
    low: float
    high: float
    depth: bool = False
    words: tuple[str, ...] = ()
    needs_turf: bool = True
    shared: bool = False
    of_site: bool = False


_SEEN = ("none", "first spots", "widespread")
LEVEL = "pond level"
KINDS: dict[str, Kind] = {
    "moisture": Kind("moisture", _SHARE, 0.0, 0.8, depth=True, needs_turf=False),
    "wilt": Kind("wilt", _COVER, 0.0, 1.0, words=_SEEN),
    "footprinting": Kind("footprint", _COVER, 0.0, 1.0, words=_SEEN),
    "green cover": Kind("green", _COVER, 0.0, 1.0),
    "ndvi": Kind("ndvi", {"1": 1.0}, -0.2, 1.0),
    "hardness": Kind("", {"g": 1.0}, 10.0, 500.0, needs_turf=False),
    "uniformity": Kind("uniformity", _COVER, 0.2, 1.0, needs_turf=False),
    "precipitation rate": Kind("rate", {"mm/h": 1.0, "in/h": 25.4}, 0.5, 150.0, needs_turf=False),
    "field capacity": Kind("field_capacity", _SHARE, 0.02, 0.7, depth=True, needs_turf=False),
    "wilting point": Kind("wilting_point", _SHARE, 0.005, 0.5, depth=True, needs_turf=False),
    "rooting depth": Kind("rooting_depth", {"mm": 1.0, "cm": 10.0, "in": 25.4}, 10.0, 3_000.0),
    "quality": Kind("quality", {"1 to 9": 1.0}, 1.0, 9.0, shared=True),
    LEVEL: Kind("storage_level", {"%": 0.01}, 0.0, 1.0, needs_turf=False, shared=True,
                of_site=True),
}  # fmt: skip
"""Kinds of readings. A level is a share of the full pond or tank; volumes and depths become one.
Canopy temperature is not among them: published lines give only an order, stressed or not."""

_LEVEL_UNITS = ("ft", "in", "m", "cm", "Mgal", "gal", "acre-ft", "m3")
_SITE = -1  # in place of a field

SHALLOWEST_MM, DEEPEST_MM = 10.0, 1_500.0
_INSTRUMENT = "probe"  # of moisture readings that name none


@dataclass(frozen=True, eq=False)
class Reading:
    """One reading: ``value`` in the base unit of its kind, ``depth_mm`` from the surface down.

    ``field`` is its place among the scenario's fields, -1 for a reading of the site.

    ``word`` is what was written in place of a number. ``instrument`` is "" where its offset is
    taken as none.
    """

    line: int
    date: np.datetime64
    field: int
    kind: str
    value: float
    depth_mm: float
    place: str
    instrument: str
    word: str = ""


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings by date, with notes of those that do not count."""

    path: str
    each: tuple[Reading, ...]
    notes: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.each)

    @property
    def values(self) -> np.ndarray:
        """(n,), in the base unit of each kind."""
        return np.array([one.value for one in self.each])

    def some(self, places: np.ndarray) -> Readings:
        """Those at ``places`` only."""
        return Readings(self.path, tuple(self.each[i] for i in places), self.notes)


def read_readings(
    path: Path, scenario: Scenario, first: np.datetime64, today: np.datetime64
) -> Readings:
    """The readings in a file, of the fields of ``scenario``.

    Parameters
    ----------
    first, today : the first day that weather is known of, and the day after the last; readings of
        other days are noted and do not count.

    FaultyInput with every fault: file, line, column and what is allowed.
    """
    needed = ("date", "field", "kind", "value", "unit")
    sheet = read_sheet(path, needed, ("place", "depth", "instrument", "note"), "readings (.csv)")
    found: list[Reading] = []
    outside: list[np.datetime64] = []
    for row in sheet:
        one = _reading(row, scenario)
        if one is not None and first <= one.date < today:
            found.append(one)
        elif one is not None:
            outside.append(one.date)
    sheet.refuse()
    notes = []
    if outside:
        notes.append(
            f"{path_text(path)}: {len(outside)} of {len(outside) + len(found)} readings, from "
            f"{min(outside)} to {max(outside)}, are not of {first} to {today - 1} and do not count"
        )
    found.sort(key=lambda one: (one.date, one.line))
    return Readings(path_text(path), tuple(found), tuple(notes))


def _reading(row: Cells, scenario: Scenario) -> Reading | None:
    date = row.date()
    name = row.one_of("kind", tuple(KINDS))
    if name is None:
        row.field_of(scenario)
        return None
    kind = KINDS[name]
    if kind.of_site:
        level = _level(row, None if scenario.supply is None else scenario.supply.storage)
        if date is None or level is None:
            return None
        return Reading(row.line, date, _SITE, name, level, 0.0, row["place"], "")
    key = row.field_of(scenario)
    word = row["value"].lower() if row["value"].lower() in kind.words else ""
    value = _value(row, kind, scenario.catalog, word)
    depth_mm = _depth_mm(row, kind)
    if date is None or key is None or value is None or depth_mm is None:
        return None
    place = [spec.key for spec in scenario.fields].index(key)
    if not _is_modeled(row, name, scenario.fields[place]):
        return None
    instrument = row["instrument"] or _INSTRUMENT if name == "moisture" else ""
    return Reading(
        row.line, date, place, name, value, depth_mm, row["place"], instrument, word
    )


def _value(row: Cells, kind: Kind, catalog: Catalog, word: str) -> float | None:
    if word:
        return catalog.get("readings", seen_entry(word))["reading_share"]
    unit = row["unit"]
    if unit not in kind.units:
        words = f"; or in place of a number: {', '.join(kind.words)}" if kind.words else ""
        allowed = f"one of {', '.join(kind.units)}{words}"
        row.fault("unit", f"{quoted(unit)} is not a unit of it" if unit else "is blank", allowed)
        return None
    factor = kind.units[unit]
    number = row.number("value", round(kind.low / factor, 9), round(kind.high / factor, 9), unit)
    return None if number is None else number * factor


def _level(row: Cells, storage: StorageSpec | None) -> float | None:
    """Share of the full storage that a level says; None, and a fault, where it says none."""
    if storage is None:
        row.fault("kind", "the scenario has no pond or tank",
                  "write a table [supply.storage], or leave the reading out")  # fmt: skip
        return None
    if row["field"]:
        allowed = "leave the cell blank: the storage belongs to the whole site"
        row.fault("field", f"{quoted(row['field'])} has no pond level", allowed)
        return None
    unit, is_tank = row["unit"], storage.kind == TANK
    full_m3 = storage.volumes_m3[-1]
    known = ("%", *_LEVEL_UNITS[4 if is_tank else 0 :])
    if unit not in known:
        what = f"{quoted(unit)} is not a unit of it" if unit else "is blank"
        if is_tank and unit in _LEVEL_UNITS:
            what = f"{quoted(unit)} says no volume of a tank, whose shape is not known"
        row.fault("unit", what, f"one of {', '.join(known)}")
        return None
    if unit == "%":
        share = row.number("value", 0.0, 100.0, unit)
        return None if share is None else share / 100.0
    if unit not in _LEVEL_UNITS[:4]:
        volume = row.number("value", 0.0, _rounded(convert(full_m3, VOLUME.base, unit)), unit)
        return None if volume is None else min(convert(volume, unit, VOLUME.base) / full_m3, 1.0)
    depths = depths_of_curve_m(storage.volumes_m3, storage.areas_m2, storage.depth_m)
    most = convert(float(depths[-1]) * MM_PER_M, LENGTH.base, unit)
    depth = row.number("value", 0.0, _rounded(most), unit)
    if depth is None:
        return None
    depth_m = convert(depth, unit, LENGTH.base) / MM_PER_M
    return float(np.interp(depth_m, depths, storage.volumes_m3)) / full_m3


def _rounded(most: float) -> float:
    return float(f"{most:.6g}")


def seen_entry(word: str) -> str:
    """Entry of ``readings.toml`` of a word for what was seen."""
    return f"seen_{word.replace(' ', '_')}"


def _depth_mm(row: Cells, kind: Kind) -> float | None:
    """Depth that a reading covers, 0 where its kind has none; None, and a fault."""
    if not kind.depth:
        return 0.0

    def read(text: str) -> float:
        if not text:
            raise ValueError('is blank; the length of the rods, such as "3 in" or "7.6 cm"')
        depth = parse(text, LENGTH)
        if not SHALLOWEST_MM <= depth <= DEEPEST_MM:
            allowed = f"{SHALLOWEST_MM:g} to {DEEPEST_MM:g} mm"
            raise ValueError(f"{quoted(text)} is out of range; {allowed}")
        return depth

    return row.read("depth", read)


def _is_modeled(row: Cells, name: str, spec: FieldSpec) -> bool:
    """Whether the model has what was read on this field; a fault where it has not."""
    if KINDS[name].needs_turf and spec.surface == SKINNED:
        row.fault("kind", f"field '{spec.key}' has no turf", "a reading of moisture or hardness")
        return False
    if name == "hardness" and spec.play is None:
        row.fault("kind", f"field '{spec.key}' has no play, so no hardness",
                  f"write a table [fields.{spec.key}.play], or leave the reading out")  # fmt: skip
        return False
    return True
