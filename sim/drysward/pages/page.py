"""One page that stands on its own: a result through a template, with every figure inside it."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from multiprocessing.context import BaseContext
from typing import NamedTuple

import xarray as xr
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from drysward import __version__
from drysward.pages import style, words
from drysward.pages.drawing import Wanted, panel_svgs
from drysward.pages.gallery import Choice, Picture, fitting, panel_title
from drysward.pages.result import SUPPLY, SWEEP, keys, kind_of, label, plain
from drysward.quantities import Display, shown
from drysward.results.doubt_text import (
    DRAWN,
    ODDS,
    between_fields,
    draws_note,
    dry_period,
    fields_of_turf,
    has_doubt,
    spread_comes_from,
    spread_texts,
    too_wide,
)
from drysward.results.text import (
    CAUSES,
    COSTS,
    FIELD_COSTS,
    LIFE_COSTS,
    UNKNOWN,
    YEARLY_COSTS,
    causes_of,
    condition_text,
    cost_columns,
    cost_notes,
    days_below_text,
    findings_of,
    has_first_costs,
    money_text,
    odds_text,
    reached_text,
    rounded,
    volume_display,
    water_notes,
    year_mark,
)
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest

TEMPLATE = "page.html.j2"
MOST_FOLDED = 4
"""Panels of a figure that a page folds away; more are named, and drawn on request."""


class Cell(NamedTuple):
    """A number as shown, and where in the file it stands: ``season_water[field=x, plan=y]``."""

    text: str
    of: str = ""


@dataclass(frozen=True)
class Table:
    """Rows with a heading each; ``note`` says how to read them, ``found`` what stands out in them,
    as name and text.
    """

    caption: str
    columns: Sequence[str]
    rows: Sequence[tuple[str, Sequence[Cell]]]
    note: str = ""
    heading: str = "Plan"
    found: Sequence[tuple[str, str]] = ()


class Panel(NamedTuple):
    title: str
    svg: Markup


@dataclass(frozen=True)
class Figure:
    """A figure's panels: those that stand open and those folded away."""

    name: str
    title: str
    caption: str
    open: Sequence[Panel]
    folded: Sequence[Panel]
    left: int


def page(
    result: xr.Dataset,
    units: str = "us",
    processes: BaseContext | None = None,
    workers: int = 1,
) -> str:
    """The page of a result, as HTML that needs nothing else.

    Parameters
    ----------
    result : Dataset of ``open_result``.
    units : "us" or "metric".
    processes : makes the ``workers`` that draw; all is drawn in this process when None.

    Figures that the result cannot give are named, with what they lack.
    """
    environment = Environment(
        loader=PackageLoader("drysward.pages", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    fit, lacking = _fitting(result)
    wanted = [Wanted(one.picture.name, *panel) for one in fit for panel in one.panels]
    svgs = panel_svgs(result, units, wanted, processes, workers)
    # Made by our own code from parsed XML, in which all names are escaped text.
    drawn = {one.key: Markup(svg) for one, svg in zip(wanted, svgs, strict=True)}
    attrs = {name: plain(str(value)) for name, value in result.attrs.items()}
    return environment.get_template(TEMPLATE).render(
        title=attrs.get("title", "A result"),
        site=attrs.get("site", ""),
        kind=kind_of(result),
        findings=[plain(sentence) for sentence in findings_of(result.attrs)],
        answer=[plain(sentence) for sentence in words.answer(result, units)],
        tables=_tables(result, units),
        figures=[_figure(result, one, drawn) for one in fit],
        lacking=lacking,
        assumed=[(name, plain(told)) for name, told in words.assumed(result, units)],
        values=_values(result),
        sources=json.loads(result.attrs.get("sources", "{}")),
        cautions=words.cautions(result),
        attrs=attrs,
        texts=[
            (name, str(result.attrs[key]))
            for name, key in (("The sweep", "sweep"), ("The scenario", "scenario"))
            if result.attrs.get(key)
        ],
        version=__version__,
        colours=[(style.variable_name(c), c, dark) for c, dark in style.DARK.items()],
        ink=style.variable_name(style.INK),
        muted=style.variable_name(style.MUTED),
        rule=style.variable_name(style.RULE),
        paper=style.variable_name(style.PAPER),
        accent=style.variable_name(style.LINES[0]),
    )


class _Fit(NamedTuple):
    """A figure that a result gives: panels with their keys, which of them stand open, how many
    are left out."""

    picture: Picture
    panels: list[tuple[Choice, str]]
    is_open: list[bool]
    left: int


def _fitting(result: xr.Dataset) -> tuple[list[_Fit], list[tuple[str, str]]]:
    """Figures to draw, and those that cannot be with what the file lacks."""
    fit, lacking = [], []
    for picture in fitting(result):
        if lacks := picture.lacks(result):
            lacking.append((picture.title, ", ".join(lacks)))
            continue
        choices = [one for one in picture.panels(result) if picture.on_page(result, one)]
        is_open = [picture.main(result, choice) for choice in choices]
        if choices and not any(is_open):
            is_open[0] = True
        folded = [choice for choice, here in zip(choices, is_open, strict=True) if not here]
        drawable = [choice for choice in choices if choice not in folded[MOST_FOLDED:]]
        if drawable:
            panels = [(choice, _key(picture, choice)) for choice in drawable]
            is_open = [choice not in folded for choice in drawable]
            fit.append(_Fit(picture, panels, is_open, len(choices) - len(drawable)))
    return fit, lacking


def _key(picture: Picture, choice: Choice) -> str:
    text = repr((picture.name, sorted(choice.items())))
    return f"{picture.name}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


def _figure(result: xr.Dataset, fit: _Fit, drawn: dict[str, Markup]) -> Figure:
    panels = [Panel(panel_title(result, choice), drawn[key]) for choice, key in fit.panels]
    pairs = list(zip(panels, fit.is_open, strict=True))
    return Figure(
        fit.picture.name,
        fit.picture.title,
        fit.picture.caption,
        [panel for panel, here in pairs if here],
        [panel for panel, here in pairs if not here],
        fit.left,
    )


# Tables


def _at(name: str, where: dict[str, object]) -> str:
    return f"{name}[{', '.join(f'{key}={value}' for key, value in where.items())}]"


def _number(result: xr.Dataset, name: str, how: Display, where: dict[str, object]) -> Cell:
    if name not in result:
        return Cell(UNKNOWN)
    value = result[name].sel(where).item()
    if math.isnan(value):
        return Cell(UNKNOWN, _at(name, where))
    return Cell(rounded(value * how.factor, how.decimals), _at(name, where))


def _year(result: xr.Dataset, name: str, where: dict[str, object]) -> Cell:
    value = result[name].sel(where).item()
    told = UNKNOWN if math.isnan(value) else year_mark(result.attrs, value)
    return Cell(told, _at(name, where))


def _odds(result: xr.Dataset, name: str, where: dict[str, object]) -> Cell:
    if f"{name}_se" not in result:
        return Cell(UNKNOWN)
    return Cell(odds_text(result.sel(where), name), _at(name, where))


def _days_below(result: xr.Dataset, where: dict[str, object]) -> Cell:
    name = "days_below_condition_mean"
    if name not in result:
        return Cell(UNKNOWN)
    return Cell(days_below_text(result.sel(where)), _at(name, where))


def _below_note(result: xr.Dataset) -> str:
    """How to read the days below playing condition; nothing in a file that lacks them."""
    if "condition_green" not in result.attrs:
        return ""
    return (
        f"Days below playing condition: days of the season with {condition_text(result.attrs)}; "
        "mean of the years and, in brackets, the worst year in ten; rank plans by it. "
    )


def _reached(result: xr.Dataset) -> str:
    if "reached_days" not in result.attrs:
        return "reaches its share of the field"
    return reached_text(result.attrs)


def _tables(result: xr.Dataset, units: str) -> list[Table]:
    if kind_of(result) == SWEEP:
        return [_front_table(result, units), *_effects_tables(result)]
    tables = [_field_table(result, field, units) for field in keys(result, "field")]
    if kind_of(result) == SUPPLY:
        tables = [*_supply_tables(result, units), *tables]
    if "site_season_volume" in result:
        tables.append(_volume_table(result, units))
    if has_doubt(result):
        tables += _doubt_tables(result, units)
    if "cost_mean" in result:
        tables += _cost_tables(result)
    if "events_playable_share" in result:
        tables += [
            _play_table(result, field)
            for field in keys(result, "field")
            if bool(result["has_play"].sel(field=field))
        ]
    return tables


_DAYS = Display("d", 1.0, 0)


def _field_table(result: xr.Dataset, field: str, units: str) -> Table:
    depth = shown("mm", units)
    periods = [float(period) for period in result["period"].values] if "period" in result else []
    stages = keys(result, "stage")
    rows = []
    for plan in keys(result, "plan"):
        here: dict[str, object] = {"field": field, "plan": plan}
        cells = [_days_below(result, here)]
        cells += [_odds(result, "probability", {**here, "stage": stage}) for stage in stages]
        cells += [
            _number(result, "days_mean", _DAYS, {**here, "stage": stage})
            for stage in ("wilt", "dormant")
        ]
        cells.append(_number(result, "season_water", depth, here))
        cells.append(_number(result, "peak_week_most", depth, here))
        cells += [
            _number(result, "demand", depth, {**here, "period": period}) for period in periods
        ]
        rows.append((label(result, "plan", plan), cells))
    columns = ["Days below playing condition"]
    columns += [f"{style.STAGE_WORDS[stage].capitalize()}, % of years" for stage in stages]
    columns += ["Days of wilt", "Days dormant"]
    columns += [f"Water a year, {depth.unit}", f"Peak week, {depth.unit}"]
    columns += [f"1 in {period:g} years, {depth.unit}" for period in periods]
    return Table(
        f"{label(result, 'field', field)}: odds and water",
        columns,
        rows,
        f"{_below_note(result)}Odds: percent of years in which the stage {_reached(result)}, "
        "± standard error; < and > are 90% limits where no year, or every year, had it. Water: "
        "drawn from the supply, as depth over the field; 1 in N years: reached or passed once in "
        "N years.",
        found=_water_notes(result, field, units),
    )


_NOTED = (
    "irrigation_landed_mean", "irrigation_runoff_mean", "irrigation_drained_mean",
    "shortage_cause_mean", "season_water",
)  # fmt: skip


def _water_notes(result: xr.Dataset, field: str, units: str) -> list[tuple[str, str]]:
    noted = result[[name for name in _NOTED if name in result]].sel(field=field)
    return [(name, plain(told)) for name, told in water_notes(noted, units)]


def _supply_tables(result: xr.Dataset, units: str) -> list[Table]:
    tables = [_water_table(result, units), _reliability_table(result, units)]
    if "shortage_by_cause" in result and float(result["shortage_by_cause"].max()) > 0.0:
        tables.append(_causes_table(result, units))
    return tables


def _water_table(result: xr.Dataset, units: str) -> Table:
    names = ("asked_mean", "granted_mean", "shortage_mean")
    unit = volume_display([result[name] for name in names], units)
    rows = []
    for plan in keys(result, "plan"):
        here: dict[str, object] = {"plan": plan}
        cells = [_number(result, name, unit, here) for name in names]
        cells.append(_number(result, "restricted_days_mean", Display("d", 1.0, 1), here))
        rows.append((label(result, "plan", plan), cells))
    return Table(
        "The supply: water of the mean year",
        [*(f"{name}, {unit.unit}" for name in ("Demand", "Delivered", "Shortage")),
         "Days restricted"],
        rows,
        # An older file counted nights, whatever came later.
        "Demand: what the plan wants. Shortage: water that the plan wants and the field never "
        "gets; what comes in a later night is none." if "shortage_by_cause" in result else "",
    )  # fmt: skip


def _reliability_table(result: xr.Dataset, units: str) -> Table:
    """How far the supply can be relied on; without what an older file lacks."""
    volume = volume_display([result[name] for name in ("vulnerability", "worst_event")], units)
    percent = Display("%", 100.0, 1)
    rows = []
    by_year = "short_year" in result and "short_year" in result.attrs
    for plan in keys(result, "plan"):
        here: dict[str, object] = {"plan": plan}
        cells = []
        if by_year:
            cells += [_odds(result, name, here) for name in ("no_shortage", "short_year")]
            cells.append(_number(result, "worst_year_share", percent, here))
            cells.append(_year(result, "worst_year", here))
        cells.append(_odds(result, "shortage_odds", here))
        names = ("time_reliability", "volume_reliability", "resilience")
        cells += [_number(result, name, percent, here) for name in names]
        cells += [_number(result, name, volume, here) for name in ("vulnerability", "worst_event")]
        rows.append((label(result, "plan", plan), cells))
    columns = []
    if by_year:
        limit = f"{100.0 * float(result.attrs['short_year']):g}%"
        columns = ["Years without shortage, %", f"Years short by over {limit}, %"]
        columns += ["Worst year short by, %", "Worst year"]
    columns += [
        "Years with any day short, %", "Days in full, %", "Volume delivered, %", "Resilience, %",
        f"Mean spell, {volume.unit}", f"Worst spell, {volume.unit}",
    ]  # fmt: skip
    return Table(
        "The supply: reliability",
        columns,
        rows,
        "Years: percent of the years, ± standard error; < and > are 90% limits where no year, or "
        "every year, had it. Short by: shortage over the demand of the year. Days in full: days on "
        "which all that is wanted comes the same night. Resilience: chance that a day short is the "
        "last of its spell. Spell: volume short on days in a row.",
    )


def _causes_table(result: xr.Dataset, units: str) -> Table:
    """Why water was short: a row for each plan and field that is, a column for each cause."""
    unit = volume_display([result["shortage_by_field"]], units)
    causes = causes_of(result)
    rows = []
    for plan in keys(result, "plan"):
        for field in keys(result, "field"):
            here: dict[str, object] = {"plan": plan, "field": field}
            if float(result["shortage_by_field"].sel(here)) > 0.0:
                cells = [
                    _number(result, "shortage_by_cause", unit, {**here, "cause": cause})
                    for cause in causes
                ]
                cells.append(_number(result, "shortage_by_field", unit, here))
                names = (label(result, name, str(key)) for name, key in here.items())
                rows.append((", ".join(names), cells))
    headings = [CAUSES[cause][0].capitalize() for cause in causes]
    told = "; ".join(f"{CAUSES[cause][0]}: {CAUSES[cause][1]}" for cause in causes)
    return Table(
        "Shortage by cause",
        [f"{heading}, {unit.unit}" for heading in (*headings, "All")],
        rows,
        f"Mean of the years. {told[0].upper()}{told[1:]}.",
        "Plan and field",
    )


def _volume_table(result: xr.Dataset, units: str) -> Table:
    """Volumes of each field and of the whole site, under plans that use any water."""
    names = ["season_volume", "peak_week_volume", "demand_volume"]
    of_all = [result[f"{start}{name}"] for name in names for start in ("", "site_")]
    unit = volume_display(of_all, units)
    periods = [float(period) for period in result["period"].values]
    rows = []
    for plan in keys(result, "plan"):
        if float(result["site_season_volume"].sel(plan=plan)) == 0.0:
            continue
        places: list[tuple[str, str, dict[str, object]]] = [
            (label(result, "field", field), "", {"field": field}) for field in keys(result, "field")
        ]
        if len(places) > 1:
            places.append(("whole site", "site_", {}))
        for place, start, where in places:
            here = {**where, "plan": plan}
            cells = [_number(result, f"{start}{name}", unit, here) for name in names[:2]]
            cells += [
                _number(result, f"{start}{names[2]}", unit, {**here, "period": period})
                for period in periods
            ]
            rows.append((f"{label(result, 'plan', plan)}, {place}", cells))
    columns = [f"Water a year, {unit.unit}", f"Peak week, {unit.unit}"]
    columns += [f"1 in {period:g} years, {unit.unit}" for period in periods]
    return Table(
        "Water by volume",
        columns,
        rows,
        "Drawn from the supply. Peak week: the most of any year; that of the whole site is the "
        "fields' peak weeks together, no less than the site's own.",
        "Plan and field",
    )


def _doubt_tables(result: xr.Dataset, units: str) -> list[Table]:
    """What draws spread over by field; then, with two plans or more, whether a choice stands."""
    told = result[[name for name in result.data_vars if str(name).startswith("doubt_")]]
    tables = [_spread_table(told, field, units) for field in keys(told, "field")]
    if told.sizes["plan"] > 1:
        tables += [_choice_table(told, field) for field in fields_of_turf(told)]
    between = [("Fields", plain(text)) for text in between_fields(told)]
    tables[-1] = replace(tables[-1], found=[*tables[-1].found, *between])
    return tables


def _spread_table(told: xr.Dataset, field: str, units: str) -> Table:
    depth = shown("mm", units)
    period = dry_period(told)
    rows = []
    for plan in keys(told, "plan"):
        here: dict[str, object] = {"field": field, "plan": plan}
        cells = [_spread(told, "days_below_condition", _DAYS, here)]
        cells += [
            _spread(told, "probability", Display("", 100.0, 0), {**here, "stage": stage})
            for stage in ODDS
        ]
        cells.append(_spread(told, "water", depth, here))
        cells.append(_spread(told, "demand", depth, {**here, "period": period}))
        rows.append((label(told, "plan", plan), cells))
    columns = ["Days below playing condition"]
    columns += [f"{word.capitalize()}, of 100 years" for word in ODDS.values()]
    columns += [f"Water a year, {depth.unit}", f"1 in {period:g} years, {depth.unit}"]
    of_field = told.sel(field=field)
    notes = {"Too wide": too_wide(of_field), "Measure": spread_comes_from(of_field)}
    note = draws_note(told)
    return Table(
        f"{label(told, 'field', field)}: what is not known",
        columns,
        rows,
        f"{note[0].upper()}{note[1:]}. {DRAWN[0].upper()}{DRAWN[1:]}.",
        found=[(name, plain(text)) for name, text in notes.items() if text],
    )


def _spread(told: xr.Dataset, name: str, how: Display, where: dict[str, object]) -> Cell:
    """``17 (0 to 125)``: the mean over draws, and 5 to 95% across them."""
    mean, low, high = spread_texts(told.sel(where), name, how.factor, how.decimals)
    text = mean if mean == UNKNOWN else f"{mean} ({low} to {high})"
    return Cell(text, _at(f"doubt_{name}", where))


def _choice_table(told: xr.Dataset, field: str) -> Table:
    percent = Display("", 100.0, 0)
    plans = keys(told, "plan")
    rows = []
    for plan in plans:
        here: dict[str, object] = {"field": field, "plan": plan}
        cells = [
            Cell("") if other == plan
            else _number(told, "doubt_fewer", percent, {**here, "other": other})
            for other in plans
        ]  # fmt: skip
        rows.append((label(told, "plan", plan), cells))
    return Table(
        f"{label(told, 'field', field)}: does the choice stand?",
        [f"Fewer than “{label(told, 'plan', plan)}”" for plan in plans],
        rows,
        "Of 100 draws, in how many the plan of the row has fewer days below playing condition than "
        "the plan of the column. Near 100 or 0 the order of the two stands whatever soil, turf and "
        "system really are; near 50 nothing tells them apart.",
    )


def _cost_tables(result: xr.Dataset) -> list[Table]:
    """Costs by field and of the whole site; of the site's year alone in a file that lacks them."""
    money = str(result["cost_mean"].attrs.get("units", ""))
    if "priced" not in result.attrs:
        names = ["water_mean", "energy_mean", "labour_mean", "mean", "dry"]
        columns = [(f"cost_{name}", COSTS[name][0]) for name in names]
        return [_cost_table(result, "What a year costs", columns, money, {})]
    note = " ".join(f"{name}: {told}." for name, told in cost_notes(result, compare=False))
    per_field = cost_columns(result, "field_cost", FIELD_COSTS)
    tables = []
    for field in keys(result, "field"):
        caption = f"{label(result, 'field', field)}: costs"
        tables.append(_cost_table(result, caption, per_field, money, {"field": field}, note))
    if yearly := cost_columns(result, "cost", YEARLY_COSTS):
        columns = [*yearly, ("energy_used_mean", "energy, kWh")]
        caption = "Whole site: what a year costs"
        tables.append(_cost_table(result, caption, columns, money, {}, note))
    if has_first_costs(result):
        columns = cost_columns(result, "cost", LIFE_COSTS)
        tables.append(
            _cost_table(result, "Whole site: first cost and life", columns, money, {}, note)
        )
    return tables


def _cost_table(
    result: xr.Dataset,
    caption: str,
    columns: Sequence[tuple[str, str]],
    money: str,
    where: dict[str, object],
    note: str = "",
) -> Table:
    """A row for each plan; ``columns`` are variables and their headings."""
    rows = []
    for plan in keys(result, "plan"):
        here = {**where, "plan": plan}
        cells = [_money(result, name, here) for name, _ in columns]
        rows.append((label(result, "plan", plan), cells))
    headings = [
        f"{heading[0].upper()}{heading[1:]}" + ("" if heading.endswith("kWh") else f", {money}")
        for _, heading in columns
    ]
    return Table(caption, headings, rows, note)


def _money(result: xr.Dataset, name: str, where: dict[str, object]) -> Cell:
    if name not in result:
        return Cell(UNKNOWN)
    return Cell(money_text(result[name].sel(where).item()), _at(name, where))


def _play_table(result: xr.Dataset, field: str) -> Table:
    days = {
        "days_hard_mean": "Days too hard",
        "days_mud_mean": "Days of mud",
        "days_standing_mean": "Days of standing water",
        "days_airless_mean": "Days short of air",
        "disease_nights_mean": "Disease nights",
    }
    tenth = Display("d", 1.0, 1)
    percent = Display("%", 100.0, 0)
    rows = []
    for plan in keys(result, "plan"):
        here: dict[str, object] = {"field": field, "plan": plan}
        cells = [_number(result, name, tenth, here) for name in days]
        cells += [
            _number(result, f"events_{kind}_share", percent, here)
            for kind in ("playable", "hard", "wet")
        ]
        rows.append((label(result, "plan", plan), cells))
    return Table(
        f"{label(result, 'field', field)}: play",
        [*days.values(), "Events playable, %", "Too hard, %", "Too wet, %"],
        rows,
        "Mean days of the answer season on which the stated share of the field is affected. "
        "Hardness is an estimate from moisture, soil and cover; disease nights are nights that "
        "favour leaf disease, not disease.",
    )


def _front_table(result: xr.Dataset, units: str) -> Table:
    depth = shown("mm", units)
    kept = front_of(result, "water", "wilt")
    axes = [name for name in json.loads(result.attrs["axes"]) if name in kept]
    rows = []
    for i in range(kept.sizes["choice"]):
        one = kept.isel(choice=i)
        odds = f"{100 * one['risk'].item():.0f}±{100 * one['risk_se'].item():.0f}"
        cells = [Cell(rounded(one["cost"].item() * depth.factor, depth.decimals)), Cell(odds)]
        cells += [Cell(_short(one[name].item())) for name in axes]
        rows.append((label(result, "plan", str(one["plan"].item())), cells))
    columns = [f"Water a year, {depth.unit}", "Wilt, % of years"]
    columns += [_with_unit(name, kept[name].attrs.get("units", "")) for name in axes]
    return Table("Choices that no other beats", columns, rows, "Odds of the worst field, ± error.")


def _effects_tables(result: xr.Dataset) -> list[Table]:
    tables = []
    for plan in keys(result, "plan"):
        told = effects(result, "wilt", plan)
        rows = []
        for name in strongest(result, "wilt", plan):
            one = told.sel(axis=name)
            share = one["main"].item()
            cells = [
                Cell(UNKNOWN if math.isnan(share) else f"{100 * share:.0f}"),
                Cell(plain(str(one["low_at"].item()))),
                Cell(f"{100 * one['low_mean'].item():.0f}"),
                Cell(plain(str(one["high_at"].item()))),
                Cell(f"{100 * one['high_mean'].item():.0f}"),
            ]
            rows.append((plain(name), cells))
        columns = ["Share of variance, %", "Least at", "Wilt there, %", "Most at", "Wilt there, %"]
        caption = f"What drives wilt, {label(result, 'plan', plan)}"
        tables.append(Table(caption, columns, rows, heading="Axis"))
    return tables


def _short(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else plain(str(value))


def _with_unit(name: str, unit: str) -> str:
    return f"{plain(name)}, {unit}" if unit not in ("", "1") else plain(name)


class Value(NamedTuple):
    """One value that the result rests on."""

    key: str
    value: str
    unit: str
    grade: str
    source: str


def _values(result: xr.Dataset) -> list[tuple[str, list[Value]]]:
    """Every value by the first part of its key; empty when the file does not hold them."""
    groups: dict[str, list[Value]] = {}
    for row in json.loads(result.attrs.get("resolved", "[]")):
        value = row["value"] if isinstance(row["value"], str) else f"{row['value']:g}"
        unit = "" if row["unit"] == "1" else row["unit"]
        name, _, rest = row["key"].partition(".")
        if rest.count("."):
            second, _, rest = rest.partition(".")
            name = f"{name}: {second}"
        groups.setdefault(name, []).append(
            Value(rest or name, value, unit, row["grade"], row["source"])
        )
    return list(groups.items())
