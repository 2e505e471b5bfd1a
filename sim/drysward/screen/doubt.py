"""What is not known, at a terminal: spreads, whether a choice stands, what to measure first.

Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Iterator

import xarray as xr
from rich.console import RenderableType
from rich.table import Table

from drysward.quantities import shown
from drysward.results.doubt_text import (
    DRAWN,
    ODDS,
    between_fields,
    draws_note,
    dry_period,
    fields_of_turf,
    spread_comes_from,
    spread_texts,
    too_wide,
)
from drysward.results.text import UNKNOWN, rounded
from drysward.screen.tables import named_lines, plain_table


def doubt_report(found: xr.Dataset, labels: xr.Dataset, system: str) -> list[RenderableType]:
    """Tables of a Dataset of ``doubt_answers``; ``labels`` has the labels of fields and plans."""
    names = ("field_label", "plan_label")
    told = found.assign_coords({name: labels[name] for name in names})
    parts: list[RenderableType] = []
    for field in told["field"].values:
        parts.append(_spread_table(told.sel(field=field), system))
    if told.sizes["plan"] > 1:
        parts += [_order_table(told.sel(field=field)) for field in fields_of_turf(told)]
    parts.append(named_lines(_notes(told)))
    return parts


def _spread(one: xr.Dataset, name: str, factor: float = 1.0, decimals: int = 0) -> str:
    """The mean over draws, and on a second line its 5 to 95 % across them."""
    mean, low, high = spread_texts(one, name, factor, decimals)
    return UNKNOWN if mean == UNKNOWN else f"{mean}\n{low}-{high}"


def _spread_table(of_field: xr.Dataset, system: str) -> Table:
    depth = shown("mm", system)
    draws, label = of_field.attrs["doubt_draws"], of_field["field_label"].item()
    period = dry_period(of_field)
    table = plain_table(f"{label}: what is not known, {draws} draws")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    table.add_column("days\nbelow\n", justify="right", no_wrap=True)
    for title in ODDS.values():
        table.add_column(f"{title}\nof 100\nyears", justify="right", no_wrap=True)
    for title in ("water\na year", f"1-in-{period:g}\nyear"):
        table.add_column(f"{title}\n{depth.unit}", justify="right", no_wrap=True)
    for plan in of_field["plan"].values:
        one = of_field.sel(plan=plan)
        table.add_row(
            str(one["plan_label"].item()),
            _spread(one, "days_below_condition"),
            *(_spread(one.sel(stage=stage), "probability", 100.0) for stage in ODDS),
            _spread(one, "water", depth.factor, depth.decimals),
            _spread(one.sel(period=period), "demand", depth.factor, depth.decimals),
        )
    return table


def _order_table(of_field: xr.Dataset) -> Table:
    """Of 100 draws, in how many a row's plan has fewer days below than a column's."""
    table = plain_table(
        f"{of_field['field_label'].item()}: does the choice stand? Of 100 draws, in how many the "
        "plan has fewer days below"
    )
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    plans = list(of_field["plan"].values)
    for n in range(1, len(plans) + 1):
        table.add_column(f"than {n}", justify="right", no_wrap=True)
    for n, plan in enumerate(plans, start=1):
        one = of_field.sel(plan=plan)
        cells = (
            "" if plan == other else rounded(100.0 * one["doubt_fewer"].sel(other=other).item(), 0)
            for other in plans
        )
        table.add_row(f"{n} {one['plan_label'].item()}", *cells)
    return table


def _notes(told: xr.Dataset) -> Iterator[tuple[str, str]]:
    yield "Not known", draws_note(told)
    for text in between_fields(told):
        yield "Fields", text
    for field in told["field"].values:
        of_field = told.sel(field=field)
        label = of_field["field_label"].item()
        if text := too_wide(of_field):
            yield "Too wide", f"{label}: {text}"
        if text := spread_comes_from(of_field):
            yield "Measure", f"{label}: {text}"
    yield "Draws", DRAWN
