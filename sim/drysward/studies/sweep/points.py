"""From a point of a sweep to the scenario that it stands for."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from drysward.faults import Fault, FaultyInput
from drysward.quantities import any_shown
from drysward.scenario.load import from_tree
from drysward.scenario.model import PlanSpec, Scenario
from drysward.scenario.trees import leaves, put_at
from drysward.site.plans import machines_of
from drysward.site.site_weather import WEATHER_PROCESSES
from drysward.studies.sweep.description import Axis, Sweep
from drysward.studies.sweep.design import WEATHER, Design, depth_of

# Points that are read before anything runs, besides the values of every axis.
_TRIED = 100
# Settings of the answers that the weather and calendar of a stretch do not depend on.
_NOT_OF_WEATHER = (
    "reached", "days", "playing_condition", "return_periods", "confidence", "start_soil_water",
)  # fmt: skip
# Settings of the site that limit its water.
_NOT_OF_SITE_WEATHER = ("supply", "crew")
# Settings of a field that weather and soil have nothing to do with.
_NOT_OF_GROUND = ("label", "area", "delivery", "patches", "priority")
OVERRIDES_OF_WEATHER = (
    "losses.", "generated_weather.", *(f"turf_processes.all.{name}" for name in WEATHER_PROCESSES),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Point:
    """A point's scenario and plans, and texts that say what it shares with others.

    Points of equal ``weather`` share it; of equal ``fields[i]`` too, all that weather and soil
    make of field i; of equal ``supply`` what the days bring to it.
    """

    scenario: Scenario
    plans: tuple[PlanSpec, ...]
    weather: str
    fields: tuple[str, ...]
    supply: str


def tree_at(sweep: Sweep, positions: np.ndarray) -> dict[str, Any]:
    """The base scenario's tables with every axis' keys replaced."""
    tree = {
        key: dict(part) if isinstance(part, dict) else part for key, part in sweep.base.items()
    }
    for axis, position in zip(sweep.axes, positions, strict=True):
        for key, value in axis.sets(float(position)).items():
            put_at(f"axes.{axis.name}", tree, key, value)
    return tree


def point_at(
    sweep: Sweep, positions: np.ndarray, name: str = "", climate_is_checked: bool = False
) -> Point:
    """The point at ``positions`` (axes,); FaultyInput names ``name``."""
    tree = tree_at(sweep, positions)
    # A sweep uses no prices, and a point's fields may lack what the base scenario has prices of.
    tree.pop("costs", None)
    scenario = from_tree(
        tree,
        sweep.folder,
        name or sweep.base_name,
        sweep.base_text,
        climate_is_checked=climate_is_checked,
    )
    plans = scenario.plans
    if sweep.plans:
        plans = tuple(scenario.plan_named(key) for key in sweep.plans)
    return point_of(tree, scenario, plans)


def point_of(tree: Mapping[str, Any], scenario: Scenario, plans: tuple[PlanSpec, ...]) -> Point:
    """The point of a scenario that was read from ``tree``."""
    site = {key: value for key, value in tree["site"].items() if key not in _NOT_OF_SITE_WEATHER}
    answers = {k: v for k, v in tree.get("answers", {}).items() if k not in _NOT_OF_WEATHER}
    overrides = dict(leaves(tree.get("overrides", {})))
    of_weather = {k: v for k, v in overrides.items() if k.startswith(OVERRIDES_OF_WEATHER)}
    of_supply = {k: v for k, v in overrides.items() if k.startswith("supply.")}
    fields = []
    for spec in scenario.fields:
        table = {k: v for k, v in tree["fields"][spec.key].items() if k not in _NOT_OF_GROUND}
        used = {
            key: value
            for key, value in overrides.items()
            if not key.startswith("species.") or key.startswith(f"species.{spec.species}.")
        }
        fields.append(_as_text(table, used))
    shared = [spec.priority for spec in scenario.fields]
    supply = _as_text(
        tree.get("supply", {}), [tree["site"].get(key) for key in _NOT_OF_SITE_WEATHER], shared,
        of_supply,
        [field.key for field in scenario.fields], machines_of(scenario.fields),
    )  # fmt: skip
    return Point(
        scenario, plans, _as_text(site, tree["weather"], answers, of_weather), tuple(fields), supply
    )


def _as_text(*parts: Any) -> str:
    return json.dumps(parts, sort_keys=True, default=str)


def check_points(design: Design) -> tuple[Point, tuple[Point, ...]]:
    """The first point, and those that differ in weather file or place, the first among them.

    The values of every axis and a spread of the points are read. FaultyInput with every fault,
    each named with the axis and value that it came with.
    """
    sweep = design.sweep
    faults: dict[str, Fault] = {}
    first: Point | None = None
    by_file: dict[str, Point] = {}
    # Normals of a climate need to be checked only once, unless an axis changes them.
    one_climate = all(depth_of(axis) > WEATHER for axis in sweep.axes)
    # So do ends of ranges, unless axes write them.
    one_climate &= not any("(" in str(axis.changes) for axis in sweep.axes)
    seen: set[bytes] = set()
    for axis_values, positions in tried(design):
        if positions.tobytes() in seen:
            continue
        seen.add(positions.tobytes())
        checked = one_climate and first is not None
        try:
            point = point_at(sweep, positions, f"{sweep.name}, {axis_values}", checked)
        except FaultyInput as refusal:
            for fault in refusal.faults:
                # A fault that every point has is listed once.
                faults.setdefault(f"{fault.where.rpartition(': ')[2]}: {fault.what}", fault)
            continue
        first = first or point
        if point.scenario.weather.file is not None:
            by_file.setdefault(_as_text(*_reading(point.scenario)), point)
    if faults:
        raise FaultyInput(list(faults.values())[:20])
    assert first is not None
    return first, tuple(by_file.values())


def _reading(scenario: Scenario) -> tuple[Any, ...]:
    """All that decides how a weather file is read and what its place lets it be."""
    source, site = scenario.weather, scenario.site
    return (
        source.file, source.columns, source.ignore, source.fill, source.wind_height_m,
        source.missing, source.trust, site.latitude_deg, site.elevation_m,
    )  # fmt: skip


def tried(design: Design) -> Iterator[tuple[str, np.ndarray]]:
    """Positions that between them have every value of each axis, and a spread of the points; each
    with what it tries in words.
    """
    sweep = design.sweep
    start = design.positions[0]
    yield axis_values_text(sweep, start), start
    linked: dict[str, list[int]] = {}
    for i, axis in enumerate(sweep.axes):
        if axis.linked:
            linked.setdefault(axis.linked, []).append(i)
    for i, axis in enumerate(sweep.axes):
        if axis.linked:
            continue
        for position in _positions_tried(axis):
            positions = start.copy()
            positions[i] = position
            yield axis_values_text(sweep, positions, i), positions
    for i in _spread(design.n):
        yield axis_values_text(sweep, design.positions[i]), design.positions[i]


def _positions_tried(axis: Axis) -> Iterable[float]:
    """Every value of a list, but of many numbers the least, the largest and a spread; the ends of
    a range.
    """
    n = len(axis.changes)
    if not axis.listed:
        return (0.0, 1.0)
    if n > _TRIED and all(isinstance(label, int | float) for label in axis.labels):
        return {*_spread(n), int(np.argmin(axis.labels)), int(np.argmax(axis.labels))}
    return range(n)


def _spread(n: int) -> list[int]:
    """Of ``n`` places ``_TRIED`` at most, evenly, with both ends."""
    return np.unique(np.linspace(0, n - 1, min(n, _TRIED)).astype(int)).tolist()


def axis_values_text(
    sweep: Sweep, positions: np.ndarray, only: int | None = None, system: str = ""
) -> str:
    """``trigger = 0.4, turf = tall_fescue``: what the axes take, or one of them; in units of
    ``system``, or as they are written when "".
    """
    axis_values = []
    for i, (axis, position) in enumerate(zip(sweep.axes, positions, strict=True)):
        if only is not None and i != only:
            continue
        value = axis.labels[int(position)] if axis.listed else axis.at(float(position))
        unit = axis.shown_unit
        if unit and system:
            how = any_shown(unit, system)
            value, unit = (value, unit) if how.unit == unit else (value * how.factor, how.unit)
        shown = f"{value:g}" if isinstance(value, float) else str(value)
        axis_values.append(f"{axis.name} = {shown}{' ' + unit if unit else ''}")
    return ", ".join(axis_values)
