"""What one night can put on each field and what the ground takes, at a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import groupby

from rich.console import RenderableType
from rich.table import Table

from drysward.quantities import Display, shown
from drysward.results.text import rounded
from drysward.scenario.model import BY_DESIGN, BY_FLOW, BY_MACHINE
from drysward.screen.tables import named_lines, plain_table
from drysward.site.night import Night, splits

_SET_BY = {
    "plan": "the plan",
    "soil": "good practice on the soil",
    "night": "what a night puts on",
    "ground": "what the ground takes",
}
_SPLIT = {
    True: "cycle and soak: the ground lets water in all night",
    False: "one run: what the surface cannot hold runs off",
}


def night_tables(nights: Iterable[Night], system: str) -> list[RenderableType]:
    """A table for each field with a row for each plan that waters, then what it rests on."""
    depth, flow = shown("mm", system), shown("m3 h-1", system)
    parts: list[RenderableType] = []
    for _, group in groupby(nights, key=lambda night: night.field.key):
        of_field = list(group)
        parts.append(_table(of_field, depth))
        parts.append(named_lines([*_grounds(of_field, depth, flow), *_cautions(of_field, depth)]))
    return parts


def _table(of_field: list[Night], depth: Display) -> Table:
    table = plain_table(f"{of_field[0].field.label}: one night's water, {depth.unit}")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    for title in (
        "nights\na week",
        "hours\na night",
        "put on,\nall",
        "put on,\nat turf",
        "ground\ntakes",
        "largest\nwatering",
    ):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("set by", overflow="fold")
    for night in of_field:
        table.add_row(
            night.plan.key,
            "crowns" if math.isnan(night.nights_a_week) else f"{night.nights_a_week:.2g}",
            f"{night.plan.window_h:g}",
            _depth(night.gross_mm, depth),
            _depth(night.landed_mm, depth),
            "all" if math.isinf(night.take_mm) else _depth(night.take_mm, depth),
            _depth(night.largest_mm, depth),
            _SET_BY[night.limit],
        )
    return table


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
            yield "", what if len(same) == len(of_field) else f"{_keys(same)}: {what}"


def _system(of_field: list[Night], depth: Display, flow: Display) -> str:
    night = of_field[0]
    delivery = night.field.delivery
    put_out = f"{rounded(night.flow_m3_h * flow.factor, 0)} {flow.unit}"
    if delivery.basis == BY_DESIGN:
        told = (
            f"taken to be built for a peak week of {_depth(night.peak_week_mm, depth)} "
            f"{depth.unit}: {put_out}. State flow or zones"
        )
    elif delivery.basis == BY_MACHINE:
        told = f"the usual flow of its kind, {put_out}. State flow"
    elif delivery.basis == BY_FLOW:
        told = f"{put_out}, as stated"
    elif delivery.zones == 1:
        told = f"one zone, the whole field at once: {put_out}"
    else:
        told = f"{delivery.zones} zones share the night: {put_out} while one runs"
    if night.passes:
        counts = sorted({one.passes for one in of_field})
        told += f"; {' or '.join(map(str, counts))} passes a night of {delivery.hours_per_pass:g} h"
    if delivery.machine:
        told += f", shared with all fields of machine '{delivery.machine}'"
    return told


def _cautions(of_field: list[Night], depth: Display) -> Iterator[tuple[str, str]]:
    """Where ground or night falls short; plans of which the same is true in one line."""
    told: dict[str, list[Night]] = {}
    for night in of_field:
        for line in _shortfalls(night, depth):
            told.setdefault(line, []).append(night)
    for line, plans in told.items():
        yield "Caution", f"{_keys(plans)}: {line}"


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
            f"{_depth(night.landed_mm, depth)} {unit} that it can be given; {rest}"
        )
    if night.limit != "plan" and night.week_mm < night.peak_week_mm:
        yield (
            f"a week brings {_depth(night.week_mm, depth)} {unit} at most, by "
            f"{_SET_BY[night.limit]}; a peak week takes {_depth(night.peak_week_mm, depth)} {unit}"
        )


def _keys(nights: Iterable[Night]) -> str:
    return ", ".join(night.plan.key for night in nights)


def _rate(mm_h: float, depth: Display) -> str:
    return f"{_depth(mm_h, depth)} {depth.unit}/h"
