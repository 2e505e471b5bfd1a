"""What ``drysward check`` prints: what would run, and every value with its source.

Nothing is computed here.
"""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from drysward.quantities import shown
from drysward.results.restricted import stage_lines
from drysward.results.sizing_text import goal_text
from drysward.results.text import (
    as_sentences,
    assumptions_apart,
    count_text,
    listed,
    procedures,
    year_spans,
)
from drysward.scenario.model import ANY_FIELD
from drysward.scenario.values import day_text
from drysward.screen.compare import weather_findings
from drysward.screen.document import Heading, Part, Row, Table, Value, notes, number, words
from drysward.screen.feeding import feeding_notes, feeding_table
from drysward.screen.night import SET_BY, grounds, shortfalls
from drysward.site.play_calendar import dry_waterings, events_outside

if TYPE_CHECKING:
    from drysward.scenario.model import FieldSpec, PlanSpec, Scenario
    from drysward.scenario.resolved import Row as ResolvedRow
    from drysward.site.night import Night
    from drysward.site.stretches import PreparedSite, WeatherSeen
    from drysward.weather.series import Series


def check_overview(
    series: Series,
    seen: WeatherSeen,
    site: PreparedSite,
    nights: Sequence[Night],
    system: str,
    draws: str,
    values: int,
) -> list[Part]:
    """The short check: no faults, a line for each field and plan, years, cautions.

    ``draws``: how many a comparison would run, and why. ``values``: how many values --all lists.
    """
    scenario = site.scenario
    years = year_spans([str(year) for year in site.years])
    of = "simulated years " if series.n_simulated else ""
    facts, assumed = assumptions_apart(series.notes)
    by_year = {year: dict(days) for year, days in seen.procedures.items()}
    lists = [count_text(len(assumed), "assumption") + " on the weather"] if assumed else []
    lists += ["what a night's water rests on", f"{count_text(values, 'value')} with their sources"]
    lines = [
        ("Weather", series.description),
        ("Years", f"{of}{years} ({len(site.years)})"),
        *([("Left out", ", ".join(site.left_out))] if site.left_out else []),
        ("Reference ET", "; ".join(procedures(by_year, bool(series.n_simulated)))),
        *_filled(series),
        ("Draws", draws),
        *_supply(scenario, system),
        *(("Restricted", line) for line in stage_lines(scenario, system)),
        *_goal(scenario),
        *feeding_notes(scenario, system),
        *(("Note", fact) for fact in facts),
        *_dry_days(scenario),
        *_events_outside(scenario),
        *_beyond_catalog(scenario),
        *(("Caution", line) for line in shortfalls(nights, system)),
        ("More", f"--all lists {listed(lists)}"),
    ]
    return [
        Heading(_title(scenario)),
        "No faults.",
        *weather_findings(as_sentences(series.findings)),
        _runs(scenario, nights, system),
        *feeding_table(scenario, system),
        notes(lines),
    ]


def check_detail(
    series: Series,
    nights: Sequence[Night],
    rows: Iterable[ResolvedRow],
    system: str,
) -> list[Part]:
    """What the short check leaves out."""
    lines = [("Assumed", note) for note in assumptions_apart(series.notes)[1]]
    return [*([notes(lines)] if lines else []), *grounds(nights, system), resolved_table(rows)]


def _title(scenario: Scenario) -> str:
    title, site = scenario.title, scenario.site.name
    return title if site in title else f"{title}, {site}"


def _filled(series: Series) -> Iterator[tuple[str, str]]:
    if series.file is not None and series.file.filled:
        filled = series.file.filled.items()
        yield "Filled days", "; ".join(f"{rule}: {count_text(n, 'day')}" for rule, n in filled)


def _supply(scenario: Scenario, system: str) -> Iterator[tuple[str, str]]:
    """Sources, storage and catchments in a line, and who is served first when water is short."""
    spec = scenario.supply
    if spec is None:
        return
    flow, parts = shown("m3 h-1", system), []
    for source in spec.sources:
        rate = source.rate_m3_h * flow.factor
        flows = f" {rate:,.4g} {flow.unit} for {source.hours:g} h a day"
        limits = [
            f"{_volume(volume, system)} a {period}"
            for period, volume in source.allowance_m3.items()
        ]
        named = f"{source.label}{flows if math.isfinite(rate) else ''}"
        parts.append(f"{named}{', ' if limits else ''}{listed(limits) if limits else ''}")
    if spec.storage is not None:
        parts.append(f"{spec.storage.kind} of {_volume(spec.storage.volumes_m3[-1], system)}")
    area = shown("m2", system)
    parts += [
        f"{one.label}, {one.area_m2 * area.factor:,.{area.decimals}f} {area.unit}, {one.kind}"
        for one in spec.catchments
    ]
    yield "Supply", "; ".join(parts)
    by_rank: dict[int, list[str]] = {}
    for field in scenario.fields:
        by_rank.setdefault(field.priority, []).append(field.label)
    if len(scenario.fields) > 1:
        first = [listed(by_rank[rank]) for rank in sorted(by_rank)]
        yield "When short", "all fields get the same share" if len(first) == 1 else (
            f"served first: {', then '.join(first)}"
        )


def _goal(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """The goal of the sizing, and which fields it judges where the scenario names none."""
    if scenario.sizing is None:
        return
    text = f"least {goal_text(scenario)}"
    if scenario.sizing.field == ANY_FIELD and "sizing.keep.field" not in scenario.written:
        text += " (keep.field names none)"
    yield "Goal", text


def _volume(volume_m3: float, system: str) -> str:
    how = shown("m3", system)
    return f"{volume_m3 * how.factor:,.0f} {how.unit}"


def _dry_days(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """Days of a fixed plan on which a field stays dry because of an event."""
    said: dict[str, list[str]] = {}
    for whole in scenario.plans:
        for field in scenario.fields:
            plan = whole.on(field.key)
            if field.play is None or plan.rule != "fixed":
                continue
            days = [
                f"{lost:.0f} of {waters:.0f} {calendar.day_name[day]}s"
                for day, lost, waters in dry_waterings(field.play, plan)
            ]
            if days:
                text = (
                    f"events keep {plan.label} from watering on {listed(days)} of a year; what is "
                    "left out is not made up"
                )
                said.setdefault(text, []).append(field.label)
    yield from (("Blackout", f"{listed(names)}: {text}") for text, names in said.items())


def _events_outside(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """Judged events that come outside the season that counts, and so in no answer."""
    season = scenario.answers.season
    said: dict[str, list[str]] = {}
    for field in scenario.fields:
        outside, of = (0, 0) if field.play is None else events_outside(field.play, season)
        if outside:
            first, last = (day_text(day) for day in season)
            text = (
                f"{outside} of {of} events lie outside the season that counts ({first} to {last}): "
                "set season under [answers]"
            )
            said.setdefault(text, []).append(field.label)
    yield from (("Note", f"{listed(names)}: {text}") for text, names in said.items())


def _beyond_catalog(scenario: Scenario) -> Iterator[tuple[str, str]]:
    """Overrides outside the range of the catalog."""
    for dotted in scenario.catalog.overrides:
        kind, key, name = dotted.split(".")
        one = scenario.catalog.get(kind, key).parameter(name)
        if not one.low <= one.value <= one.high:
            unit = "" if one.unit == "1" else f" {one.unit}"
            yield (
                "Caution",
                f"{dotted} = {one.value:g} lies outside the catalog's range, {one.low:g} to "
                f"{one.high:g}{unit}",
            )


def _runs(scenario: Scenario, nights: Sequence[Night], system: str) -> Table:
    """A line for each field and plan, with what one night puts on."""
    depth = shown("mm", system)
    area = shown("m2", system)
    by_pair = {(night.field.key, night.plan.key): night for night in nights}
    columns = [
        words("field", "field", whole=True),
        words("field_label", "field"),
        words("plan", "key", whole=True),
        words("plan_label", "plan"),
        words("rule", "rule"),
        number("nights_a_week", "nights a week", write=lambda value: f"{value:.2g}"),
        number("nights_restricted", "nights in the last stage", write=lambda value: f"{value:.2g}"),
        number("largest", "largest watering", depth.unit, depth.decimals + 1),
        words("set_by", "set by"),
    ]
    rows = [
        _run(field, plan, by_pair.get((field.key, plan.key)), depth.factor)
        for field in scenario.fields
        for plan in scenario.plans
    ]
    heads: dict[Value, str] = {}
    for field in scenario.fields:
        size = f"{field.area_m2 * area.factor:,.{area.decimals}f} {area.unit}"
        on = f"{field.species} on {field.root_zone.like}, {field.delivery.system}"
        heads[field.label] = f"{field.label} ({field.key}), {size}: {on}"
    hidden = {"field"}
    if all(math.isnan(night.nights_restricted) for night in nights):
        hidden.add("nights_restricted")
    cells = [column for column in columns if column.key not in hidden]
    return Table(
        "runs", "What would run", columns, rows, cells, ("plan", "plan_label"),
        by="field_label", blocks=heads, alike_once=True,
    )  # fmt: skip


def _run(field: FieldSpec, plan: PlanSpec, night: Night | None, factor: float) -> Row:
    row: dict[str, str | float | None] = {
        "field": field.key,
        "field_label": field.label,
        "plan": plan.key,
        "plan_label": plan.label,
        "rule": plan.on(field.key).rule,
        "nights_a_week": None,
        "nights_restricted": None,
        "largest": None,
        "set_by": "",
    }
    if night is not None:
        is_crowns = math.isnan(night.nights_a_week)
        row["nights_a_week"] = None if is_crowns else night.nights_a_week
        restricted = night.nights_restricted
        row["nights_restricted"] = None if math.isnan(restricted) else restricted
        row["largest"] = night.largest_mm * factor
        row["set_by"] = SET_BY[night.limit] + (", crowns only" if is_crowns else "")
    return row


def resolved_table(rows: Iterable[ResolvedRow]) -> Table:
    """Every value that a scenario runs on, with unit, range, grade and source key."""
    columns = [
        words("key", "key", whole=True),
        words("of", "of", whole=True),
        words("name", "name", whole=True),
        words("value", "value"),
        words("unit", "unit"),
        words("range", "range"),
        words("grade", "grade"),
        words("source", "source"),
    ]
    return Table(
        "values",
        "Values",
        columns,
        [
            {
                "key": row.key,
                "of": row.key.rpartition(".")[0],
                "name": row.key.rpartition(".")[2],
                "value": row.value if isinstance(row.value, str) else f"{row.value:g}",
                "unit": "" if row.unit == "1" else row.unit,
                "range": row.range,
                "grade": row.grade,
                "source": row.source,
            }
            for row in rows
        ],
        columns[1:],
        ("name",),
        by="of",
        one_head=True,
    )


