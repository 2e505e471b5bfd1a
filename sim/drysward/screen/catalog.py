"""What ``drysward catalog`` prints: kinds, entries and names. Nothing is computed here."""

from __future__ import annotations

from collections.abc import Mapping

from drysward.catalog import Catalog, Entry, Parameter, Term
from drysward.scenario.rules import RULES
from drysward.screen.document import (
    Cell,
    Column,
    Heading,
    Part,
    Row,
    Table,
    figures,
    notes,
    number,
    words,
)


def catalog_kinds(catalog: Catalog) -> list[Part]:
    """The kinds of entry and their keys."""
    rows: list[Row] = [
        {"kind": kind, "entries": ", ".join(known)} for kind, known in catalog.entries.items()
    ]
    rows.append({"kind": "plans", "entries": "the rules and options of an irrigation plan"})
    columns = [words("kind", "kind", whole=True), words("entries", "entries")]
    return [
        Table("kinds", "Kinds of entry", columns, rows, lead=("kind",)),
        "'drysward catalog NAME' shows a kind or an entry.",
    ]


def catalog_kind(catalog: Catalog, kind: str) -> list[Part]:
    """The entries of one kind."""
    columns = [
        words("key", "key", whole=True),
        words("label", "label"),
        number("numbers", "numbers"),
        words("words", "settings"),
    ]
    rows: list[Row] = [
        {
            "key": key,
            "label": entry.label,
            "numbers": len(entry.numbers),
            "words": ", ".join(f"{name} {word}" for name, word in entry.words.items()),
        }
        for key, entry in catalog.entries[kind].items()
    ]
    table = Table(kind, kind, columns, rows, lead=("key",))
    return [table, "'drysward catalog KEY' shows the numbers with source and grade."]


def catalog_entry(
    catalog: Catalog, entry: Entry, only: Mapping[str, Parameter] | None = None
) -> list[Part]:
    """Every number of one entry, or ``only`` some, with unit, range, grade, source and note; then
    the sources.
    """
    columns = [
        words("name", "name", whole=True),
        *(figures(name, name) for name in ("value", "low", "high")),
        words("unit", "unit", whole=True),
        words("grade", "grade"),
        words("source", "source"),
        words("note", "note"),
    ]
    cells: list[Column | Cell] = [
        *columns[:6],
        Cell("source and note", ("source", "note"), _source, is_number=False),
    ]
    sources: dict[str, None] = {}
    rows: list[Row] = []
    for name, one in (entry.numbers if only is None else only).items():
        sources.update(dict.fromkeys(one.source))
        rows.append(
            {
                "name": name,
                "value": one.value,
                "low": one.low,
                "high": one.high,
                "unit": "" if one.unit == "1" else one.unit,
                "grade": one.grade,
                "source": ", ".join(one.source),
                "note": one.note or "",
            }
        )
    title = f"{entry.kind}.{entry.key}: {entry.label}"
    lines = [*entry.words.items()] if only is None else []
    lines += [("note", entry.note)] if entry.note and only is None else []
    lines += [(key, catalog.sources.get(key, key)) for key in sources]
    key = f"{entry.kind}.{entry.key}"
    return [Table(key, title, columns, rows, cells, ("name",)), notes(lines)]


def _source(source: str, note: str) -> str:
    return f"{source}; {note}" if note else source


def catalog_term(term: Term) -> list[Part]:
    """One name of the vocabulary."""
    lines = [
        ("meaning", term.meaning),
        ("units", term.units),
        ("can be", f"{term.low:g} to {term.high:g}"),
    ]
    return [Heading(f"{term.key}: {term.long_name}"), notes(lines)]


_PLAN_OPTIONS = {
    "season": "first and last day of watering: from, to",
    "days": "weekdays on which watering is allowed",
    "interval": "least days from one watering to the next",
    "least_depth": "a watering smaller than this waits",
    "time, window": "time of day, which sets the losses, and the hours available",
    "rain_skip": "no watering after a rain: rain, within",
    "adjust": "a factor by month",
    "allow_for_uniformity": "run longer, so that the part that catches least gets enough",
    "cycle_and_soak": "split a watering where the sprinklers are faster than the soil",
    "most": "largest depth of one watering; default: good practice on the soil",
    "stop_at_runoff": "end a watering where the ground takes no more (true), or run on (false)",
    "crown": "a small depth to keep dormant crowns alive: depth, every, from_dormant",
    "pause": "let the turf go dormant: from, to by date; above, below by drought index; longest",
    "stages": "restrictions by drought index: above, below, and share, days or crown_only",
    "fields": 'fields that follow another plan in place of this one: { practice = "none" }',
}


def catalog_plans() -> list[Part]:
    """The rules and options of a plan; definitions of this program, so without source or grade."""
    columns = [words("name", "name", whole=True), words("meaning", "meaning")]
    rules = {name: rule.demands for name, rule in RULES.items()}
    parts: list[Part] = []
    for key, title, of in (
        ("rules", "Rules of a plan", rules),
        ("options", "Options of a plan", _PLAN_OPTIONS),
    ):
        rows: list[Row] = [{"name": name, "meaning": meaning} for name, meaning in of.items()]
        parts.append(Table(key, title, columns, rows, lead=("name",)))
    return parts
