"""What one night can put on each field and what the ground takes. Nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from drysward.quantities import Display, shown
from drysward.results.text import rounded
from drysward.scenario.model import BY_DESIGN, BY_FLOW, BY_MACHINE
from drysward.screen.document import Part, Row, Table, notes, number, words
from drysward.site.night import Night, splits

SET_BY = {
    "plan": "the plan",
    "soil": "good practice on the soil",
    "night": "what a night puts on",
    "ground": "what the ground takes",
}
"""What limits the largest watering."""
_SPLIT = {
    True: "cycle and soak: the ground lets water in all night",
    False: "one run: what the surface cannot hold runs off",
}


def grounds(nights: Sequence[Night], system: str) -> list[Part]:
    """One night's water by field and plan, then what system and ground allow."""
    depth, flow = shown("mm", system), shown("m3 h-1", system)
    lines = []
    for _, group in groupby(nights, key=lambda night: night.field.key):
        of_field = list(group)
        label = of_field[0].field.label
        lines += [(name, f"{label}: {text}") for name, text in _grounds(of_field, depth, flow)]
    return [_table(nights, depth), notes(lines)] if nights else []


def _table(nights: Sequence[Night], depth: Display) -> Table:
    unit, decimals = depth.unit, depth.decimals + 1
    columns = [
        words("field", "field", whole=True),
        words("field_label", "field"),
        words("plan", "plan", whole=True),
        number("nights_a_week", "nights a week", write=lambda value: f"{value:.2g}"),
        number("hours", "hours a night", "h", write=lambda value: f"{value:g}"),
        number("gross", "put on", unit, decimals),
        number("landed", "reaches turf", unit, decimals),
        number("taken", "ground takes", unit, write=lambda mm: _or_all(mm, decimals)),
        number("largest", "largest watering", unit, decimals),
        words("set_by", "set by"),
    ]
    rows: list[Row] = [
        {
            "field": night.field.key,
            "field_label": night.field.label,
            "plan": night.plan.key,
            "nights_a_week": night.nights_a_week,
            "hours": night.plan.window_h,
            "gross": night.gross_mm * depth.factor,
            "landed": night.landed_mm * depth.factor,
            "taken": night.take_mm * depth.factor,
            "largest": night.largest_mm * depth.factor,
            "set_by": SET_BY[night.limit],
        }
        for night in nights
    ]
    return Table(
        "night", "One night's water", columns, rows, columns[1:], ("plan",), by="field_label"
    )


def _or_all(value: float, decimals: int) -> str:
    return "all" if math.isinf(value) else rounded(value, decimals)


def _depth(mm: float, depth: Display) -> str:
    """A depth of one night: one figure more than sums of a year have."""
    return rounded(mm * depth.factor, depth.decimals + 1)


def _grounds(of_field: list[Night], depth: Display, flow: Display) -> Iterator[tuple[str, str]]:
    """What the night's water and the ground's share of it rest on."""
    first = of_field[0]
    yield "System", _system(of_field, depth, flow)
    delivery, zone = first.field.delivery, first.zone
    rate = _rate(delivery.precipitation_rate_mm_h, depth)
    if math.isinf(first.take_mm):
        intake = _rate(zone.intake_mm_h, depth)
        yield "Ground", f"lets in {intake}, faster than the sprinklers' {rate}: nothing runs off"
        return
    yield (
        "Ground",
        f"lets in {_rate(zone.intake_mm_h, depth)} and holds "
        f"{_depth(zone.surface_storage_mm, depth)} {depth.unit} on its surface; the sprinklers put "
        f"on {rate} where they run, and the wettest spots catch the most",
    )
    for split, what in _SPLIT.items():
        same = [night for night in of_field if splits(delivery, night.plan) == split]
        if same:
            yield "Run time", what if len(same) == len(of_field) else f"{_keys(same)}: {what}"


def _system(of_field: list[Night], depth: Display, flow: Display) -> str:
    night = of_field[0]
    delivery = night.field.delivery
    rate = f"{rounded(night.flow_m3_h * flow.factor, 0)} {flow.unit}"
    if delivery.basis == BY_DESIGN:
        text = (
            f"assumed built for a peak week of {_depth(night.peak_week_mm, depth)} {depth.unit}: "
            f"{rate}. State flow or zones"
        )
    elif delivery.basis == BY_MACHINE:
        text = f"the usual flow of its kind, {rate}. State flow"
    elif delivery.basis == BY_FLOW:
        text = f"{rate}, as stated"
    elif delivery.zones == 1:
        text = f"one zone, the whole field at once: {rate}"
    else:
        text = f"{delivery.zones} zones share the night: {rate} while one runs"
    if night.passes:
        counts = sorted({one.passes for one in of_field})
        passes = "pass" if counts == [1] else "passes"
        text += (
            f"; {' or '.join(map(str, counts))} {passes} a night of {delivery.hours_per_pass:g} h"
        )
    if delivery.machine:
        text += f", shared with all fields of machine '{delivery.machine}'"
    return text


def shortfalls(nights: Iterable[Night], system: str) -> Iterator[str]:
    """Where ground or night falls short; what holds for several plans of a field in one line."""
    depth = shown("mm", system)
    plans: dict[tuple[str, str], list[Night]] = {}
    for night in nights:
        for line in _shortfalls(night, depth):
            plans.setdefault((night.field.label, line), []).append(night)
    for (label, line), same in plans.items():
        yield f"{label}, {_keys(same)}: {line}"


def _shortfalls(night: Night, depth: Display) -> Iterator[str]:
    unit = depth.unit
    hours = night.field.delivery.hours_per_pass
    if hours > night.plan.window_h:
        yield f"a pass takes {hours:g} h and runs on past the window of {night.plan.window_h:g} h"
    if night.take_mm < night.landed_mm:
        rest = "the rest waits for another night" if night.plan.stop_at_runoff else (
            "what is put on beyond that runs off"
        )  # fmt: skip
        yield (
            f"in a night the ground takes {_depth(night.take_mm, depth)} {unit}, less than the "
            f"{_depth(night.landed_mm, depth)} {unit} that the system can put on; {rest}"
        )
    if night.limit != "plan" and night.week_mm < night.peak_week_mm:
        yield (
            f"a week brings {_depth(night.week_mm, depth)} {unit} at most, limited by "
            f"{SET_BY[night.limit]}; a peak week needs {_depth(night.peak_week_mm, depth)} {unit}"
        )


def _keys(nights: Iterable[Night]) -> str:
    return ", ".join(night.plan.key for night in nights)


def _rate(mm_h: float, depth: Display) -> str:
    return f"{_depth(mm_h, depth)} {depth.unit}/h"
