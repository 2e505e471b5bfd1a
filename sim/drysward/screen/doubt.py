"""What is not known, at a terminal: spreads, whether a choice stands, what to measure first.

Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import xarray as xr
from rich.table import Table
from rich.text import Text

from drysward.day.records import STAGES
from drysward.quantities import Display, shown
from drysward.results.choice import safest_plan
from drysward.results.doubt_text import (
    DRAWN,
    LIKELY,
    amount_with_error,
    between_fields,
    cannot_tell,
    doubt_sentences,
    draws_note,
    dry_period,
    fields_of_turf,
    limits_text,
    odds_limits,
    odds_with_error,
    spread_comes_from,
    spread_texts,
    too_wide,
)
from drysward.results.text import condition_text, depth_text, reached_text, rounded
from drysward.screen.tables import STAGE_HEADINGS, Drawn, field_heading, plain_table

# What a table of draws has of the run with the likely numbers, with its heading.
_LIKELY = {
    "peak_week_most": "peak\nweek", "runoff_mean": "run-\noff", "drainage_mean": "drain-\nage",
}  # fmt: skip
_DAYS = Display("", 1.0, 0)


def drawn_parts(found: xr.Dataset, summary: xr.Dataset, system: str) -> Drawn:
    """What a Dataset of ``doubt_answers`` puts into the comparison of its ``summary``."""
    names = [*_LIKELY, "field_label", "plan_label", "area_m2"]
    told = found.merge(summary[names], compat="override", combine_attrs="override")
    turf = fields_of_turf(told)
    choice = [_order_table(told, turf)] if turf and told.sizes["plan"] > 1 else []
    return Drawn(
        sentences=[*map(Text, doubt_sentences(told, safest_plan(summary))), Text()],
        fields=[_field_table(told.sel(field=key), system) for key in told["field"].values],
        choice=choice,
        notes=list(_notes(told, summary, system)),
    )


def _field_table(of_field: xr.Dataset, system: str) -> Table:
    """All plans on one field: means over draws, and what one run with the likely numbers gave."""
    depth = shown("mm", system)
    draws, years = (of_field.attrs[f"doubt_{name}"] for name in ("draws", "independent_years"))
    period = dry_period(of_field)
    table = plain_table(
        f"{field_heading(of_field, system)}; under each number 5 to 95% across {draws} draws"
    )
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    table.add_column("days\nbelow\n", justify="right", no_wrap=True)
    for title in STAGE_HEADINGS:
        table.add_column(f"{title}\nof 100", justify="right", no_wrap=True)
    for title in ("water\na year", f"1-in-{period:g}\nyear", *_LIKELY.values()):
        table.add_column(f"{title}\n{depth.unit}", justify="right", no_wrap=True)
    for plan in of_field["plan"].values:
        one = of_field.sel(plan=plan)
        table.add_row(
            str(one["plan_label"].item()),
            _spread(one, "days_below_condition", _DAYS),
            *(_odds(one.sel(stage=stage), years) for stage in STAGES),
            _spread(one, "water", depth),
            _spread(one.sel(period=period), "demand", depth),
            *(depth_text(one[name].item(), depth) for name in _LIKELY),
        )
    return table


def _odds(one: xr.Dataset, years: int) -> str:
    p, error = (one[f"doubt_probability{end}"].item() for end in ("", "_error"))
    return f"{odds_with_error(p, error, years)}\n{odds_limits(one)}"


def _spread(one: xr.Dataset, name: str, how: Display) -> str:
    """The mean over draws, and on a second line its 5 to 95% across them."""
    mean, low, high = spread_texts(one, name, how.factor, how.decimals)
    if f"doubt_{name}_error" in one:
        mean = amount_with_error(one, name, how.factor, how.decimals)
    return f"{mean}\n{limits_text(low, high)}"


def _order_table(told: xr.Dataset, fields: Sequence[str]) -> Table:
    """Of 100 draws, in how many a row's plan has fewer days below than a column's."""
    table = plain_table(
        "Does the choice stand? In so many of 100 draws a plan has fewer days below than plan ..."
    )
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    if len(fields) > 1:
        table.add_column("field", overflow="fold")
    plans = list(told["plan"].values)
    for n in range(1, len(plans) + 1):
        table.add_column(f"than {n}", justify="right", no_wrap=True)
    for n, plan in enumerate(plans, start=1):
        name = f"{n} {told['plan_label'].sel(plan=plan).item()}"
        for field in fields:
            one = told.sel(field=field, plan=plan)
            fewer = 100.0 * one["doubt_fewer"]
            shares = (
                "" if plan == other else rounded(fewer.sel(other=other).item(), 0)
                for other in plans
            )
            of = [str(one["field_label"].item())] if len(fields) > 1 else []
            table.add_row(name, *of, *shares)
            name = ""
    return table


def _notes(told: xr.Dataset, summary: xr.Dataset, system: str) -> Iterator[tuple[str, str]]:
    yield "Days below", f"playing condition: {condition_text(summary.attrs)}; rank plans by it"
    yield (
        "Odds",
        f"of 100 years, those in which the stage {reached_text(summary.attrs)}",
    )
    yield "Water", f"{shown('mm', system).unit} over the field, drawn from the supply"
    yield "Chance", "±: standard error, from the chance of the years alone"
    yield "Not known", draws_note(told)
    yield (
        "Likely",
        "peak week (the most of any year), runoff, drainage, what drains or never comes, and water "
        f"by month and by volume are of {LIKELY}",
    )
    for text in between_fields(told):
        yield "Fields", text
    for field in told["field"].values:
        of_field = told.sel(field=field)
        label = of_field["field_label"].item()
        if text := too_wide(of_field):
            yield "Too wide", f"{label}: {text}"
        if not cannot_tell(of_field) and (text := spread_comes_from(of_field)):
            yield "Measure", f"{label}: {text}"
    yield "Draws", DRAWN
