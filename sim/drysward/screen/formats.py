"""A document as text, JSON, CSV or Markdown: four functions of the same parts."""

from __future__ import annotations

import csv
import io
import json
import math
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from rich.console import Console

from drysward.screen.document import Column, Heading, Notes, Part, Table, Value, is_missing
from drysward.screen.layout import text_lines
from drysward.screen.visible import say, visible

NARROWEST, WIDEST, PIPED = 60, 200, 100
"""Widths of text, in characters: of a terminal at least and at most, and where there is none."""
_FIGURES = 10  # of a number for a machine: more than any input has, fewer than rounding leaves


def show(parts: Iterable[Part], form: str = "text") -> None:
    """Print a document on stdout in the format ``form``, a name of ``FORMATS``."""
    document = list(parts)
    if form != "text":
        say(_WRITERS[form](document).rstrip("\n"))
        return
    # All lines before the first is printed: a fault of the program prints no half an answer.
    lines = list(text_lines(document, screen_width()))
    screen = Console(file=sys.stdout, width=WIDEST, markup=False, highlight=False, emoji=False)
    for line in lines:
        screen.print(line, soft_wrap=True)


def screen_width() -> int:
    """Columns of the terminal, from 60 to 200; 100 where stdout is none."""
    # Not COLUMNS alone: readline sets it for the processes that a program starts.
    if not sys.stdout.isatty():
        return PIPED
    columns = shutil.get_terminal_size((PIPED, 24)).columns
    return min(max(columns, NARROWEST), WIDEST)


def as_text(parts: Iterable[Part], width: int = PIPED) -> str:
    """The document in lines of at most ``width`` columns."""
    return "".join(f"{line.plain}\n" for line in text_lines(parts, width))


def as_json(parts: Iterable[Part]) -> str:
    """One object: title, text, tables with units and rows, notes. No number is null; an endless
    one is the text "inf".
    """
    document = list(parts)
    headings = [part.text for part in document if isinstance(part, Heading)]
    out = {
        "title": headings[0] if headings else "",
        "text": [part for part in document if isinstance(part, str)],
        "tables": [_table_object(part) for part in document if isinstance(part, Table)],
        "notes": [
            {"name": name, "text": text}
            for part in document
            if isinstance(part, Notes)
            for name, text in part.pairs
        ],
    }
    return json.dumps(out, ensure_ascii=False, indent=1, allow_nan=False)


def as_csv(parts: Iterable[Part]) -> str:
    """Each table with a heading of "key (unit)"; of several, a line "# key" stands above each and
    an empty one between them. Text and notes are left out.
    """
    from drysward.files import csv_cell

    tables = [part for part in parts if isinstance(part, Table)]
    out = io.StringIO()
    for i, table in enumerate(tables):
        if len(tables) > 1:
            out.write(f"{'' if i == 0 else chr(10)}# {table.key}\n")
        write = csv.writer(out, lineterminator="\n").writerow
        write([f"{c.key} ({c.unit})" if c.unit else c.key for c in table.columns])
        for row in table.rows:
            write([csv_cell(_plain(row[column.key])) for column in table.columns])
    return out.getvalue()


def as_markdown(parts: Iterable[Part]) -> str:
    """Headings, paragraphs and pipe tables of what a reader sees."""
    return "\n\n".join("\n".join(_markdown(part)) for part in parts) + "\n"


FORMATS = ("text", "json", "csv", "markdown")
_WRITERS: dict[str, Callable[[Sequence[Part]], str]] = {
    "text": as_text,
    "json": as_json,
    "csv": as_csv,
    "markdown": as_markdown,
}


def _table_object(table: Table) -> dict[str, Any]:
    def cell(column: Column, value: Value) -> Value:
        plain = _plain(value)
        if plain == "" and (column.is_number or value is None):
            return None
        return plain

    return {
        "key": table.key,
        "title": table.title,
        "columns": [{"key": c.key, "head": c.head, "unit": c.unit} for c in table.columns],
        "rows": [{c.key: cell(c, row[c.key]) for c in table.columns} for row in table.rows],
    }


def _plain(value: Value) -> Value:
    """A value for a machine; "" where there is none."""
    if is_missing(value):
        return ""
    if isinstance(value, float):
        if math.isinf(value):
            return "inf" if value > 0.0 else "-inf"
        value = float(f"{value:.{_FIGURES}g}")
        return int(value) if value.is_integer() and abs(value) < 1e15 else value
    return visible(value) if isinstance(value, str) else value


def _markdown(part: Part) -> Iterator[str]:
    if isinstance(part, Heading):
        yield f"## {_escaped(part.text)}"
    elif isinstance(part, str):
        yield _escaped(part)
    elif isinstance(part, Notes):
        for name, text in part.pairs:
            yield f"- **{_escaped(name)}** {_escaped(text)}" if name else f"- {_escaped(text)}"
    else:
        if part.title:
            yield f"**{_escaped(part.title)}**"
            yield ""
        heads = [
            f"{cell.head}{', ' if cell.head and cell.unit else ''}{cell.unit}"
            for cell in part.shown
        ]
        yield _pipes(heads)
        yield _pipes(["--:" if cell.is_number else ":--" for cell in part.shown])
        for row in part.rows:
            yield _pipes([cell.write(*(row[key] for key in cell.keys)) for cell in part.shown])


def _pipes(cells: Iterable[str]) -> str:
    return f"| {' | '.join(_escaped(cell) for cell in cells)} |"


def _escaped(text: str) -> str:
    one_line = " ".join(visible(text).split())
    for mark in "\\|*_<>`":
        one_line = one_line.replace(mark, f"\\{mark}")
    return one_line
