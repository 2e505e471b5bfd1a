"""From the season of a draw to what its readings would be, and how far these may lie off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import load_catalog
from drysward.physics.probe import probe_reading, water_in_part_mm
from drysward.scenario.model import Scenario
from drysward.site.play import hardness_line
from drysward.site.profile import NODE_MM
from drysward.site.root_zone import NATIVE, field_root_zone
from drysward.studies.fitting.readings import KINDS, LEVEL, Reading, seen_entry
from drysward.studies.fitting.seasons import Seasons

FloatArray = NDArray[np.float64]
Waters = tuple[Any, Any, Any]  # at field capacity, wilting point and saturation

# Kinds that the daily account has, by its name of them.
_DAILY = {
    "wilt": "wilt", "footprinting": "footprint", "green cover": "green", "ndvi": "green",
    "hardness": "hardness", "rooting depth": "root_depth", "quality": "green",
}  # fmt: skip

# Kinds on a line against green cover: at none of it, and at full cover.
_LINES = {"ndvi": ("ndvi_soil", "ndvi_full"), "quality": ("quality_brown", "quality_green")}


def predicted(seasons: Seasons, readings: Sequence[Reading]) -> FloatArray:
    """Readings (K, n) that each draw gives, by instruments without error.

    A reading of a day meets the state of its evening.
    """
    days = np.array([one.date for one in readings], "datetime64[D]")
    day = (days - seasons.dates[0]).astype(int)
    field = np.array([one.field for one in readings])
    out = np.empty((len(seasons.scenarios), len(readings)))
    alike: dict[tuple[str, int, float], list[int]] = {}
    for i, one in enumerate(readings):
        alike.setdefault((one.kind, one.field, one.depth_mm), []).append(i)
    for (name, f, depth_mm), same in alike.items():
        here = np.array(same)
        if name == LEVEL:
            for k, scenario in enumerate(seasons.scenarios):
                out[k, here] = seasons.storage_m3[k, day[here]] / full_storage_m3(scenario)
            continue
        if name in _DAILY:
            out[:, here] = seasons.daily[_DAILY[name]][:, day[here], field[here]]
            continue
        for k, scenario in enumerate(seasons.scenarios):
            delivery, profile = scenario.fields[f].delivery, seasons.zones[k][f].profile
            if name == "moisture":
                out[k, here] = _moisture(seasons, k, day[here], f, depth_mm)
            elif name == "uniformity":
                out[k, here] = delivery.distribution_uniformity
            elif name == "precipitation rate":
                out[k, here] = delivery.precipitation_rate_mm_h
            else:
                at_capacity, at_wilting, _ = profile.above(depth_mm)
                water = at_capacity if name == "field capacity" else at_wilting
                out[k, here] = float(water) / depth_mm
    for kind, (bare, full) in _LINES.items():
        here = np.array([i for i, one in enumerate(readings) if one.kind == kind], int)
        of = seasons.scenarios[0].catalog.get("readings", kind)
        out[:, here] = of[bare] + out[:, here] * (of[full] - of[bare])
    return out


def full_storage_m3(scenario: Scenario) -> float:
    """Volume of the site's full pond or tank."""
    storage = None if scenario.supply is None else scenario.supply.storage
    return storage.volumes_m3[-1] if storage else math.nan


def _moisture(
    seasons: Seasons, k: int, days: NDArray[np.int64], f: int, depth_mm: float
) -> FloatArray:
    """Mean water by volume from the surface down to ``depth_mm`` on some evenings (n,)."""
    profile, surface = seasons.zones[k][f].profile, float(seasons.surface_mm[k, f])
    w1, w2, rooted = (
        seasons.daily[name][k, days, f] for name in ("surface_water", "root_water", "root_depth")
    )

    def held(water: FloatArray, layer: Waters, part: Waters) -> FloatArray:
        fc, wp, sat = (np.broadcast_to(x, water.shape) for x in layer)
        part_fc, part_wp, part_sat = (np.broadcast_to(x, water.shape) for x in part)
        rows = zip(water, wp, fc, sat, part_wp, part_fc, part_sat, strict=True)
        return np.array([water_in_part_mm(*map(float, row)) for row in rows])

    total = held(w1, profile.between(0.0, surface), profile.between(0.0, min(depth_mm, surface)))
    if depth_mm > surface:
        # Rods longer than the roots: the soil below them is taken to be as moist as theirs.
        below = np.maximum(rooted, surface + NODE_MM)
        layer = profile.between(np.full(below.shape, surface), below)
        total += held(w2, layer, profile.between(surface, depth_mm))
    return total / depth_mm


# --- instruments and errors --------------------------------------------------------------------


def instruments_of(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Instruments whose offset and gain are not known, in the order of their first reading."""
    return tuple(dict.fromkeys(one.instrument for one in readings if one.instrument))


def through_instruments(
    values: FloatArray, scores: FloatArray, readings: Sequence[Reading]
) -> FloatArray:
    """``values`` (K, n) as instruments show them.

    ``scores`` (K, 2 I): normal scores of the offset and the gain of each of I instruments.
    """
    out = values.copy()
    for i, name in enumerate(instruments_of(readings)):
        here = np.array([j for j, one in enumerate(readings) if one.instrument == name])
        offset, gain = offset_and_gain(scores[:, 2 * i : 2 * i + 2])
        out[:, here] = probe_reading(values[:, here], offset[:, None], gain[:, None])
    return out


def offset_and_gain(scores: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Offset (water by volume) and gain of a probe, each (K,), from normal scores (K, 2)."""
    of = load_catalog().get("readings", "moisture")
    return of["reading_offset"] * scores[:, 0], 1.0 + of["reading_gain"] * scores[:, 1]


def errors_of(readings: Sequence[Reading], scenario: Scenario) -> FloatArray:
    """Covariance (n, n) of the errors of readings, without offset and gain of instruments.

    What a day shares, what a spot shares, and the model's own error on a day are the same in all
    the readings that they touch.
    """
    n = len(readings)
    out = np.zeros((n, n))
    same_model = _alike([(one.kind, one.field, one.date) for one in readings])
    same_day = _alike([(one.instrument, one.date) for one in readings])
    same_place = _alike([
        (one.kind, one.field, one.place or ("" if KINDS[one.kind].shared else f"line {one.line}"))
        for one in readings
    ])  # fmt: skip
    sd = np.array([_parts(one, scenario) for one in readings])
    for part, alike in zip(sd.T, (np.eye(n), same_place, same_day, same_model), strict=True):
        out += np.outer(part, part) * alike
    return out


def _alike(keys: Sequence[object]) -> FloatArray:
    numbers: dict[object, int] = {}
    of = np.array([numbers.setdefault(key, len(numbers)) for key in keys])
    return (of[:, None] == of).astype(float)


def _parts(one: Reading, scenario: Scenario) -> tuple[float, float, float, float]:
    """Standard deviations of one reading: repeat, spot, day, model."""
    if one.kind == "hardness":
        spec = scenario.fields[one.field]
        is_native = field_root_zone(spec, scenario.catalog).kind == NATIVE
        entry = scenario.catalog.get("play", f"hardness_{'native' if is_native else 'sand'}")
        measured = spec.play.hardness if spec.play else None
        return hardness_line(entry, fitted=measured).scatter_g, 0.0, 0.0, 0.0
    of = scenario.catalog.get("readings", KINDS[one.kind].entry).numbers

    def number(name: str) -> float:
        return of[name].value if name in of else 0.0

    if one.kind == "quality":
        per = number("quality_green") - number("quality_brown")
        model = scenario.catalog.get("readings", "green")["reading_model"]
        return number("reading_rating"), number("reading_rating_shared"), 0.0, per * model
    per = 1.0
    if one.kind == "ndvi":
        per = number("ndvi_full") - number("ndvi_soil")  # errors are of green cover
    repeat = number("reading_repeat") or number("reading_relative") * one.value
    if one.word:
        repeat = scenario.catalog.get("readings", seen_entry(one.word))["reading_repeat"]
    return (
        per * repeat, number("reading_place"), number("reading_day"), per * number("reading_model")
    )
