"""What is not known, at a terminal: spreads, whether a choice stands, what to measure first.

Nothing is computed here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import xarray as xr
from rich.console import RenderableType
from rich.table import Table

from drysward.quantities import shown
from drysward.results.text import UNKNOWN, rounded
from drysward.screen.tables import named_lines, plain_table

# Shares of the spread below this are not named (own choice).
LEAST_NAMED = 0.05
MOST_NAMED = 3
_ODDS = {"wilt": "wilt", "dormant": "dormancy", "dead": "death"}


def doubt_report(told: xr.Dataset, labels: xr.Dataset, system: str) -> list[RenderableType]:
    """Tables of a Dataset of ``doubt_answers``; ``labels`` has the labels of fields and plans."""
    parts: list[RenderableType] = []
    for field in told["field"].values:
        parts.append(_spread_table(told.sel(field=field), labels, system))
    if told.sizes["plan"] > 1:
        for field in told["field"].values:
            if not bool(told["doubt_fewer"].sel(field=field).isnull().all()):
                parts.append(_order_table(told.sel(field=field), labels))
    parts.append(named_lines(_notes(told, labels)))
    return parts


def _label(labels: xr.Dataset, dim: str, key: object) -> str:
    return str(labels[f"{dim}_label"].sel({dim: key}).item())


def _spread(one: xr.Dataset, name: str, factor: float = 1.0, decimals: int = 0) -> str:
    """The mean over draws, and on a second line its 5 to 95 % across them."""
    mean = one[name].item()
    if math.isnan(mean):
        return UNKNOWN
    low, high = (one[f"{name}_{end}"].item() * factor for end in ("low", "high"))
    limits = f"{rounded(low, decimals)}-{rounded(high, decimals)}"
    return f"{rounded(mean * factor, decimals)}\n{limits}"


def _spread_table(of_field: xr.Dataset, labels: xr.Dataset, system: str) -> Table:
    depth = shown("mm", system)
    draws, field = of_field.attrs["draws"], of_field["field"].item()
    periods = [float(period) for period in of_field["period"].values]
    period = 10.0 if 10.0 in periods else max(periods)
    table = plain_table(f"{_label(labels, 'field', field)}: what is not known, {draws} draws")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    table.add_column("days\nbelow\n", justify="right", no_wrap=True)
    for title in _ODDS.values():
        table.add_column(f"{title}\nof 100\nyears", justify="right", no_wrap=True)
    for title in ("water\na year", f"1-in-{period:g}\nyear"):
        table.add_column(f"{title}\n{depth.unit}", justify="right", no_wrap=True)
    for plan in of_field["plan"].values:
        one = of_field.sel(plan=plan)
        table.add_row(
            _label(labels, "plan", plan),
            _spread(one, "doubt_days_below_condition"),
            *(_spread(one.sel(stage=stage), "doubt_probability", 100.0) for stage in _ODDS),
            _spread(one, "doubt_water", depth.factor, depth.decimals),
            _spread(one.sel(period=period), "doubt_demand", depth.factor, depth.decimals),
        )
    return table


def _order_table(of_field: xr.Dataset, labels: xr.Dataset) -> Table:
    """Of 100 draws, in how many a row's plan has fewer days below than a column's."""
    field = _label(labels, "field", of_field["field"].item())
    table = plain_table(
        f"{field}: does the choice stand? Of 100 draws, in how many the plan has fewer days below"
    )
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    plans = list(of_field["plan"].values)
    for n in range(1, len(plans) + 1):
        table.add_column(f"than {n}", justify="right", no_wrap=True)
    for n, plan in enumerate(plans, start=1):
        shares = of_field["doubt_fewer"].sel(plan=plan)
        cells = (
            "" if plan == other else rounded(100.0 * shares.sel(other=other).item(), 0)
            for other in plans
        )
        table.add_row(f"{n} {_label(labels, 'plan', plan)}", *cells)
    return table


def _notes(told: xr.Dataset, labels: xr.Dataset) -> Iterator[tuple[str, str]]:
    draws, years = told.attrs["draws"], told.attrs["draw_years"]
    yield (
        "Not known",
        f"mean over {draws} draws of {told.attrs['numbers']} uncertain numbers of soil, turf and "
        f"system, all on the same {years} years; below it 5 to 95 % across draws, without the "
        "chance of the years. More years do not narrow it, measuring does",
    )
    yield from _between_fields(told, labels)
    for field in told["field"].values:
        if text := _first_to_measure(told.sel(field=field)):
            yield "Measure", f"{_label(labels, 'field', field)}: {text}"
    yield (
        "Draws",
        "numbers vary one by one within their ranges of the catalog, though some that fit the "
        "published trials together do not fit them so: the spread is wider than what is known",
    )


def _between_fields(told: xr.Dataset, labels: xr.Dataset) -> Iterator[tuple[str, str]]:
    fields = list(told["field"].values)
    for i, one in enumerate(fields):
        for other in fields[i + 1 :]:
            shares = told["doubt_better"].sel(field=one, other_field=other)
            if bool(shares.isnull().all()):
                continue
            by_plan = ", ".join(
                f"{100.0 * shares.sel(plan=plan).item():.0f} under {_label(labels, 'plan', plan)}"
                for plan in told["plan"].values
            )
            yield (
                "Fields",
                f"{_label(labels, 'field', one)} has fewer days below than "
                f"{_label(labels, 'field', other)} in so many of 100 draws: {by_plan}",
            )


def _first_to_measure(of_field: xr.Dataset) -> str:
    """What carries the spread of the days below, with what to measure; "" when nobody asked."""
    if "doubt_explained" not in of_field:
        return ""
    explained = of_field["doubt_explained"].item()
    if math.isnan(explained):
        return ""
    if explained < of_field.attrs["least_explained"]:
        return "what carries the spread cannot be told apart with so few draws"
    groups = of_field["doubt_share_of_groups"]
    named = sorted(
        ((float(groups.sel(groups=key)), str(key)) for key in groups["groups"].values), reverse=True
    )
    parts = ", ".join(f"{key} {share:.0%}" for share, key in named if share >= LEAST_NAMED)
    numbers = of_field["doubt_share_of_numbers"]
    first = numbers.sortby(numbers, ascending=False).isel(numbers=slice(0, MOST_NAMED))
    singles = "; ".join(
        f"{one['measure'].item()} ({_plain(str(one['numbers'].item()))}, {one.item():.0%})"
        for one in first
        if one.item() >= LEAST_NAMED
    )
    told = f"of the spread of days below, {parts}" if parts else "no group stands out"
    return told + (f". First: {singles}" if singles else "")


def _plain(key: str) -> str:
    """``species.tall_fescue.wilt_ks`` as people read it."""
    return key.rpartition(".")[2].replace("_", " ")
