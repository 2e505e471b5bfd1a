"""What a person reads at a terminal: tables at most 100 columns wide. Nothing is computed here."""

from __future__ import annotations

import calendar
import json
import math
import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import xarray as xr
from rich.box import SIMPLE_HEAD
from rich.console import (
    Console,
    ConsoleOptions,
    ConsoleRenderable,
    RenderableType,
    RenderHook,
    RenderResult,
)
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from drysward.catalog import Catalog, Entry, Term
from drysward.day.records import STAGES
from drysward.quantities import Display, shown
from drysward.results.text import (
    FIELD_COSTS,
    LIFE_COSTS,
    MADE_WEATHER,
    YEARLY_COSTS,
    as_sentences,
    condition_text,
    cost_columns,
    cost_notes,
    days_below_text,
    depth_text,
    driest_years,
    file_means_text,
    findings_of,
    has_first_costs,
    ledger_dates,
    money_text,
    odds_text,
    procedures,
    reached_text,
    rounded,
    volume_display,
    volume_text,
    water_notes,
    year_spans,
    year_text,
    years_used,
)
from drysward.scenario.model import RECORD
from drysward.scenario.rules import RULES
from drysward.screen.visible import visible

if TYPE_CHECKING:
    from drysward.scenario.resolved import Row
    from drysward.site.stretches import PreparedSite, WeatherSeen
    from drysward.weather.series import Series

WIDTH = 100
NOTES_TOLD = 3
# What the tables of plans show: to pick a plan from these takes a tenth of the time that it takes
# from all that a summary holds.
_ODDS = ["probability", "probability_se", "probability_low", "probability_high"]
_BELOW = ["days_below_condition_mean", "days_below_condition_1in10"]
_DEMAND = ["demand", "demand_low", "demand_high", "demand_fitted"]
_SHOWN = [
    *_BELOW, *_ODDS, *_DEMAND, "days_mean", "season_water", "peak_week_most", "runoff_mean",
    "drainage_mean", "water_by_month", "irrigation_landed_mean", "irrigation_runoff_mean",
    "irrigation_drained_mean", "shortage_mean", "shortage_cause_mean",
]  # fmt: skip


def console() -> Console:
    """Where the tables go: 100 columns, text taken as it is.

    A narrower terminal wraps the lines; fitting the tables to it would cut numbers off.
    """
    made = Console(file=sys.stdout, width=WIDTH, markup=False, highlight=False, emoji=False)
    made.push_render_hook(_AllVisible())
    return made


class _AllVisible(RenderHook):
    """Names from files reach the terminal as text and never as its commands."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Visible(part) for part in renderables]


class _Visible:
    def __init__(self, part: ConsoleRenderable) -> None:
        self.part = part

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for text, style, control in console.render(self.part, options):
            yield Segment(text if control else visible(text), style, control)


def weather_findings(told: Sequence[str]) -> list[RenderableType]:
    """What is odd about the weather file, for above the answer; nothing where there is nothing."""
    if not told:
        return []
    return [named_lines(("Look at", sentence) for sentence in told), Text("")]


# The comparison of plans

STAGE_HEADINGS = ("foot-\nprint", "wilt\n", "dor-\nmant", "death\n")


class Drawn(NamedTuple):
    """What draws of what is not known say in a comparison.

    ``sentences`` stand below the title, ``fields`` in place of the tables of the fields, ``choice``
    after them and ``notes`` in place of those on the fields.
    """

    sentences: Sequence[RenderableType]
    fields: Sequence[Table]
    choice: Sequence[RenderableType]
    notes: Sequence[tuple[str, str]]


def comparison(
    summary: xr.Dataset, system: str, site: xr.Dataset | None = None, drawn: Drawn | None = None
) -> list[RenderableType]:
    """A table for each field with a row for each plan, then what a reader must know of them.

    ``site`` holds the volumes of all fields together and, where there are prices, the costs.
    """
    parts: list[RenderableType] = [_title(summary.attrs["title"], summary.attrs["site"])]
    parts += weather_findings(findings_of(summary.attrs))
    shown_here = [name for name in _SHOWN if name in summary]
    by_field = [summary[shown_here].sel(field=key) for key in summary["field"].values]
    tables = drawn.fields if drawn else [_field_table(one, system) for one in by_field]
    parts += drawn.sentences if drawn else ()
    for of_field, table in zip(by_field, tables, strict=True):
        parts.append(table)
        if notes_of_field := water_notes(of_field, system):
            parts += [named_lines(notes_of_field), bold("")]
    parts += drawn.choice if drawn else ()
    parts += [_month_table(of_field, system) for of_field in by_field]
    parts.append(_volume_table(summary, site, system))
    priced = site is not None and "field_cost_mean" in site
    if site is not None and priced:
        parts += cost_tables(site)
    notes = [*(drawn.notes if drawn else _field_notes(summary, system)), *_notes(summary, system)]
    if site is not None and priced:
        # The weather and what else it all rests on comes last.
        place = [name for name, _ in notes].index("Weather")
        notes[place:place] = cost_notes(site)
    parts.append(named_lines(notes))
    return parts


def _field_table(of_field: xr.Dataset, system: str) -> Table:
    """All plans on one field."""
    depth = shown("mm", system)
    period = _demand_period(of_field)
    table = plain_table(field_heading(of_field, system))
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    table.add_column("days\nbelow\n", justify="right", no_wrap=True)
    for title in STAGE_HEADINGS:
        table.add_column(f"{title}\n%", justify="right", no_wrap=True)
    for title in ("days\nof\nwilt", "days\ndor-\nmant"):
        table.add_column(title, justify="right", no_wrap=True)
    for title in (
        "water\na year",
        "peak\nweek",
        f"1-in-{period:g}\nyear",
        "run-\noff",
        "drain-\nage",
    ):
        lines = title + "\n" * (2 - title.count("\n")) + depth.unit
        table.add_column(lines, justify="right", no_wrap=True)
    for key in of_field["plan"].values:
        one = of_field.sel(plan=key)
        odds, days = one[_ODDS], one["days_mean"]
        table.add_row(
            str(one["plan_label"].item()),
            days_below_text(one[_BELOW]).replace(" ", "\n"),
            *(odds_text(odds.sel(stage=stage)) for stage in STAGES),
            *(rounded(days.sel(stage=stage).item(), 0) for stage in ("wilt", "dormant")),
            depth_text(one["season_water"].item(), depth),
            depth_text(one["peak_week_most"].item(), depth),
            _demand(one[_DEMAND].sel(period=period), depth),
            depth_text(one["runoff_mean"].item(), depth),
            depth_text(one["drainage_mean"].item(), depth),
        )
    return table


def field_heading(of_field: xr.Dataset, system: str) -> str:
    """A field and how large it is."""
    area = shown("m2", system)
    size = f"{of_field['area_m2'].item() * area.factor:,.{area.decimals}f} {area.unit}"
    return f"{of_field['field_label'].item()}, {size}"


def _month_table(of_field: xr.Dataset, system: str) -> Table:
    """Mean water of each month under the plans that use any."""
    depth = shown("mm", system)
    table = plain_table(f"{of_field['field_label'].item()}: water by month, {depth.unit}")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    for month in of_field["month"].values:
        table.add_column(calendar.month_abbr[int(month)], justify="right", no_wrap=True)
    for key in of_field["plan"].values:
        one = of_field.sel(plan=key)
        if float(one["season_water"]) > 0.0:
            water = [depth_text(float(mm), depth) for mm in one["water_by_month"].values]
            table.add_row(str(one["plan_label"].item()), *water)
    return table


def _volume_table(summary: xr.Dataset, site: xr.Dataset | None, system: str) -> Table:
    """Volumes of each field, and of the site where it has several, under plans that use any."""
    period = _demand_period(summary)
    names = [f"{name}_volume" for name in ("season", "peak_week", "demand")]
    of_field = summary[names].sel(period=period)
    rows = [of_field]
    if site is not None and summary.sizes["field"] > 1:
        rows.append(site[[f"site_{name}" for name in names]].sel(period=period))
    unit = volume_display([one for row in rows for one in row.data_vars.values()], system)
    table = plain_table(f"Water by volume, {unit.unit}")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    table.add_column("field", overflow="fold")
    for title in ("a year", "peak week", f"1-in-{period:g} dry year"):
        table.add_column(title, justify="right", no_wrap=True)
    for key in summary["plan"].values:
        plan = str(of_field["plan_label"].sel(plan=key).item())
        if float(of_field["season_volume"].sel(plan=key).max()) == 0.0:
            continue
        for field in summary["field"].values:
            one = of_field.sel(plan=key, field=field)
            volumes = (volume_text(one[name].item(), unit) for name in names)
            table.add_row(plan, str(one["field_label"].item()), *volumes)
            plan = ""
        if len(rows) > 1:
            one = rows[1].sel(plan=key)
            volumes = (volume_text(one[f"site_{name}"].item(), unit) for name in names)
            table.add_row("", "whole site", *volumes)
    return table


def cost_tables(costs: xr.Dataset) -> list[RenderableType]:
    """Costs by plan of each field and, where it has several or a storage, of the whole site."""
    columns = cost_columns(costs, "field_cost", FIELD_COSTS)
    parts: list[RenderableType] = []
    for key in costs["field"].values:
        one = costs.sel(field=key)
        parts.append(cost_table(one, f"{one['field_label'].item()}: costs", columns))
    if costs.sizes["field"] > 1 or bool((costs["cost_storage"] > 0.0).any()):
        parts += site_cost_tables(costs)
    return parts


def site_cost_tables(costs: xr.Dataset) -> list[RenderableType]:
    """Costs by plan of the whole site: those of a year, and those of building and of the life."""
    yearly = cost_columns(costs, "cost", YEARLY_COSTS)
    for i, (name, _) in enumerate(yearly):
        if name == "cost_energy_mean":
            yearly.insert(i, ("energy_used_mean", "energy, kWh"))
            break
    parts: list[RenderableType] = []
    if yearly:
        parts.append(cost_table(costs, "Whole site: costs of a year", yearly))
    if has_first_costs(costs):
        life = cost_columns(costs, "cost", LIFE_COSTS)
        parts.append(cost_table(costs, "Whole site: first cost and life", life))
    return parts


def cost_table(costs: xr.Dataset, title: str, columns: Sequence[tuple[str, str]]) -> Table:
    """A row for each plan; ``columns`` are variables by plan with their headings."""
    table = plain_table(f"{title}, {costs.attrs['currency']}")
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    for _, heading in columns:
        table.add_column(heading.replace(" ", "\n", 1), justify="right", no_wrap=True)
    for key in costs["plan"].values:
        one = costs.sel(plan=key)
        numbers = (money_text(one[name].item()) for name, _ in columns)
        table.add_row(str(one["plan_label"].item()), *numbers)
    return table


def _demand(one: xr.Dataset, depth: Display) -> str:
    """The demand, a star when it is fitted, and its limits on a second line."""
    value, low, high = (one[name].item() for name in ("demand", "demand_low", "demand_high"))
    if value == low == high:  # a plan that never waters
        return depth_text(value, depth)
    mark = "*" if one["demand_fitted"].item() else ""
    limits = "no limits"
    if not (math.isnan(low) or math.isnan(high)):
        limits = f"{depth_text(low, depth)}-{depth_text(high, depth)}"
    return f"{depth_text(value, depth)}{mark}\n{limits}"


def _demand_period(summary: xr.Dataset) -> float:
    """The 1-in-10 year when the scenario asks for it, else the rarest that it asks for."""
    periods = [float(period) for period in summary["period"].values]
    return 10.0 if 10.0 in periods else max(periods)


def _field_notes(summary: xr.Dataset, system: str) -> Iterable[tuple[str, str]]:
    """How to read the tables of the fields."""
    attrs = summary.attrs
    n_years = attrs["n_years"]
    odds = summary["probability"].values
    yield (
        "Days below",
        f"playing condition: {condition_text(attrs)}; mean of the years, and in brackets the "
        "worst year in ten; rank plans by it",
    )
    yield (
        "Odds",
        f"percent of years in which the stage {reached_text(attrs)}, ± standard error"
        + (f"; <: in none of {n_years} years, upper 90% limit" if (odds == 0).any() else "")
        + (f"; >: in all of {n_years} years, lower 90% limit" if (odds == 1).any() else ""),
    )
    fitted = summary["demand_fitted"].sel(period=_demand_period(summary)).values.any()
    yield (
        "Water",
        f"{shown('mm', system).unit} over the field, drawn from the supply, mean of the years; "
        "peak week is the most of any year; below the 1-in-"
        f"{_demand_period(summary):g} year its limits"
        + ("; *: read from a fitted curve" if fitted else ""),
    )


def _notes(summary: xr.Dataset, system: str) -> Iterable[tuple[str, str]]:
    """What stands below the tables: what they rest on, and the cautions."""
    attrs = summary.attrs
    if summary.sizes["field"] > 1:
        told = "the fields' peak weeks together: no less than the site's own"
        yield "Whole site", f"volume of the peak week: {told}"
    yield "Weather", attrs["weather"]
    if read := file_means_text(attrs, system):
        yield "Read as", read
    assumed = json.loads(attrs["weather_notes"])
    if len(assumed) > NOTES_TOLD:
        told = f"{len(assumed)} things about the weather; 'drysward check' and 'weather make' tell"
        assumed = [f"{told} them"]
    yield from (("Assumed", note) for note in assumed)
    if attrs["weather_kind"] != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    yield "Years used", years_used(attrs, int(attrs["n_years"]))
    yield "Left out", attrs["years_left_out"] or "none"
    yield "Driest years", driest_years(attrs)
    are_made = attrs["weather_kind"] != RECORD
    yield "Reference ET", "; ".join(procedures(json.loads(attrs["et_procedures"]), are_made))
    yield "Filled days", attrs["filled"] or "none"
    yield "Account", f"worst residual of any day {attrs['worst_residual_mm']:.1g} mm"
    yield "Caution", attrs["cautions"]


# A scenario told back


def site_overview(
    series: Series, seen: WeatherSeen, site: PreparedSite, system: str, draws: str
) -> list[RenderableType]:
    """What a checked scenario would run: fields, plans, years, weather, numbers out of range.

    ``draws`` says what would be drawn.
    """
    scenario = site.scenario
    area = shown("m2", system)
    fields = plain_table("Fields")
    for title in ("key", "label", "species", "root zone", "delivery", f"area\n{area.unit}"):
        fields.add_column(title, overflow="fold", justify="right" if "area" in title else "left")
    for spec in scenario.fields:
        fields.add_row(
            spec.key,
            spec.label,
            spec.species,
            spec.root_zone.like,
            spec.delivery.system,
            f"{spec.area_m2 * area.factor:,.{area.decimals}f}",
        )
    plans = plain_table("Plans")
    for title in ("key", "label", "rule", "time"):
        plans.add_column(title, overflow="fold")
    for plan in scenario.plans:
        plans.add_row(plan.key, plan.label, plan.rule, plan.time_of_day)
    by_year = {year: dict(days) for year, days in seen.procedures.items()}
    filled = () if series.file is None else series.file.filled.items()
    made = "simulated years " if series.n_simulated else ""
    lines = [
        ("Weather", series.description),
        *(("Assumed", note) for note in series.notes),
        ("Years used", f"{made}{year_spans([str(y) for y in site.years])} ({len(site.years)})"),
        ("Left out", ", ".join(site.left_out) or "none"),
        ("Reference ET", "; ".join(procedures(by_year, bool(made)))),
        ("Filled days", "; ".join(f"{rule}: {count} days" for rule, count in filled) or "none"),
    ]
    for dotted in scenario.catalog.overrides:
        kind, key, name = dotted.split(".")
        number = scenario.catalog.get(kind, key).parameter(name)
        if not number.low <= number.value <= number.high:
            lines.append(
                (
                    "Caution",
                    f"{dotted} = {number.value:g} lies outside the catalogue's range, "
                    f"{number.low:g} to {number.high:g} {number.unit}",
                )
            )
    heading = _title(scenario.title, scenario.site.name)
    lines += [("Draws", draws), ("Faults", "none")]
    odd = weather_findings(as_sentences(() if series.file is None else series.file.findings))
    return [heading, *odd, fields, plans, named_lines(lines)]


# The daily account

# Headings of at most five characters, so that fifteen columns fit.
_LEDGER = {
    "precipitation": "rain",
    "irrigation_landed": "irri-\ngated",
    "transpiration": "turf\nuse",
    "soil_evaporation": "soil\nevap",
    "leaf_evaporation": "leaf\nevap",
    "runoff": "run-\noff",
    "drainage": "drain\nage",
    "surface_water": "top\nwater",
    "root_water": "root\nwater",
}
_LEDGER_SHARES = {
    "depletion": "deple\ntion",
    "wilt": "wilt",
    "green": "green",
    "dormant": "dor-\nmant",
    "dead": "dead",
}
# Of a field that is looked at for play: heading, and what its number is multiplied by.
_LEDGER_PLAY = {
    "hardness": ("hard\n\ng", 1.0),
    "air_filled": ("air\n\n%", 100.0),
}


def daily_account(account: xr.Dataset, system: str) -> list[RenderableType]:
    """The main columns of a ledger, a row a day; shares of the field in percent."""
    depth = shown("mm", system)
    # A day's flows are small: one figure more than in the sums of a year.
    decimals = depth.decimals + 1
    attrs = account.attrs
    of_year = year_text(attrs, attrs["year"])
    table = plain_table(f"{attrs['field']}, plan {attrs['plan']}, {of_year}")
    table.padding = (0, 0)
    table.add_column("date", no_wrap=True)
    for name, title in {**_LEDGER, **_LEDGER_SHARES}.items():
        unit = depth.unit if name in _LEDGER else "%"
        lines = title + "\n" * (2 - title.count("\n")) + unit
        table.add_column(lines, justify="right", no_wrap=True)
    played = _LEDGER_PLAY if bool((account["hardness"] > 0.0).any()) else {}
    for heading, _ in played.values():
        table.add_column(heading, justify="right", no_wrap=True)
    dates = ledger_dates(account)
    flows = [account[name].values * depth.factor for name in _LEDGER]
    shares = [account[name].values * 100.0 for name in _LEDGER_SHARES]
    shares += [account[name].values * times for name, (_, times) in played.items()]
    for i, date in enumerate(dates):
        table.add_row(
            str(date),
            *(rounded(values[i], decimals) for values in flows),
            *(rounded(values[i], 0) for values in shares),
        )
    worst = float(np.abs(account["residual"].values).max())
    return [
        *weather_findings(findings_of(account.attrs)),
        table,
        named_lines([("Account", f"worst residual of any day {worst:.1g} mm")]),
    ]


# The catalogue


def catalog_kinds(catalog: Catalog) -> list[RenderableType]:
    """The kinds of entry and their keys."""
    table = plain_table("Kinds of entry; ask for a kind or for an entry")
    table.add_column("kind", no_wrap=True)
    table.add_column("entries", overflow="fold")
    for kind, known in catalog.entries.items():
        table.add_row(kind, ", ".join(known))
    table.add_row("plans", "the rules and options of an irrigation plan")
    return [table]


def catalog_kind(catalog: Catalog, kind: str) -> list[RenderableType]:
    """The entries of one kind."""
    table = plain_table(kind)
    table.add_column("key", no_wrap=True)
    table.add_column("label", overflow="fold")
    table.add_column("numbers", justify="right")
    table.add_column("words", overflow="fold")
    for key, entry in catalog.entries[kind].items():
        words = ", ".join(f"{name} {word}" for name, word in entry.words.items())
        table.add_row(key, entry.label, str(len(entry.numbers)), words)
    return [table, Text("'drysward catalog KEY' shows the numbers with source and grade.")]


def catalog_entry(catalog: Catalog, entry: Entry) -> list[RenderableType]:
    """Every number of one entry with unit, range, grade, source and note; then the sources."""
    table = plain_table(f"{entry.kind}.{entry.key}: {entry.label}")
    table.add_column("name", no_wrap=True)
    for title in ("value", "low", "high"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    table.add_column("grade", no_wrap=True)
    table.add_column("source and note", ratio=1, overflow="fold")
    sources: dict[str, None] = {}
    for name, number in entry.numbers.items():
        sources.update(dict.fromkeys(number.source))
        told = ", ".join(number.source) + (f"; {number.note}" if number.note else "")
        table.add_row(
            name,
            f"{number.value:g}",
            f"{number.low:g}",
            f"{number.high:g}",
            "" if number.unit == "1" else number.unit,
            number.grade,
            told,
        )
    lines = [*entry.words.items()]
    lines += [("note", entry.note)] if entry.note else []
    lines += [(key, catalog.sources.get(key, key)) for key in sources]
    return [table, named_lines(lines), Text()]


def resolved_table(rows: Iterable[Row]) -> Table:
    """Every value that a scenario runs on, with unit, range, grade and source key."""
    table = plain_table("Resolved values")
    table.add_column("key", overflow="fold", width=36)
    table.add_column("value", justify="right", overflow="fold", max_width=12)
    table.add_column("unit", overflow="fold", max_width=9)
    table.add_column("range", overflow="fold", max_width=14)
    table.add_column("grade", overflow="fold", width=11)
    table.add_column("source", overflow="fold", ratio=1)
    for row in rows:
        value = row.value if isinstance(row.value, str) else f"{row.value:g}"
        unit = "" if row.unit == "1" else row.unit
        table.add_row(row.key, value, unit, row.range, row.grade, row.source)
    return table


def catalog_term(term: Term) -> list[RenderableType]:
    """One name of the vocabulary."""
    return [
        bold(f"{term.key}: {term.long_name}"),
        named_lines(
            [
                ("meaning", term.meaning),
                ("units", term.units),
                ("can be", f"{term.low:g} to {term.high:g}"),
            ]
        ),
    ]


_PLAN_OPTIONS = {
    "season": "first and last day of watering: from, to",
    "days": "weekdays on which watering is allowed",
    "interval": "least days from one watering to the next",
    "least_depth": "a watering smaller than this waits",
    "time, window": "time of day, which sets the losses, and the hours there are",
    "rain_skip": "no watering after a rain: rain, within",
    "adjust": "a factor by month",
    "allow_for_uniformity": "run longer, so that the part that catches least has enough",
    "cycle_and_soak": "split a watering where the sprinklers are faster than the soil",
    "most": "the largest depth for one watering; left out, that of good practice on the soil",
    "stop_at_runoff": "end a watering where the ground takes no more (true), or run on (false)",
    "crown": "a small depth to keep dormant crowns alive: depth, every, from_dormant",
    "pause": "let the turf go dormant: from, to by date; above, below by drought index; longest",
    "stages": "restrictions by drought index: above, below, and share, days or crown_only",
}


def catalog_plans() -> list[RenderableType]:
    """The rules and options of a plan; definitions of this program, so without source or grade."""
    out: list[RenderableType] = []
    rules = {name: rule.demands for name, rule in RULES.items()}
    for title, told in (("Rules of a plan", rules), ("Options of a plan", _PLAN_OPTIONS)):
        table = plain_table(title)
        table.add_column("name", no_wrap=True)
        table.add_column("meaning", overflow="fold")
        for name, meaning in told.items():
            table.add_row(name, meaning)
        out.append(table)
    return out


# Parts of every page


def plain_table(title: str) -> Table:
    return Table(
        title=Text(title, style="bold"),
        title_justify="left",
        box=SIMPLE_HEAD,
        pad_edge=False,
        collapse_padding=True,
    )


def _title(title: str, site: str) -> Text:
    """Title and site, the site once only."""
    return bold(title if site in title else f"{title}, {site}")


def bold(text: str) -> Text:
    return Text(text, style="bold")


def named_lines(pairs: Iterable[tuple[str, str]]) -> Table:
    """Names and their texts, each text wrapped beside its name."""
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for name, text in pairs:
        grid.add_row(name, text)
    return grid
