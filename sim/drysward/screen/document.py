"""What a command prints, as data: sentences, tables of plain numbers, named notes.

A screen builds a list of parts; ``formats.py`` writes it as text, JSON, CSV or Markdown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from drysward.results.text import UNKNOWN, rounded

Value = str | float | None
"""A word, a number in the unit of its column, or None where there is none."""
Row = Mapping[str, Value]


@dataclass(frozen=True)
class Heading:
    """A line that names what follows."""

    text: str


@dataclass(frozen=True)
class Notes:
    """Names and their texts: how to read the tables, what they rest on."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Column:
    """One number or word of each row.

    ``head``: whole words. ``unit``: "" for words and counts. ``write``: how a value reads on a
    screen. ``whole``: words that are never broken, such as keys.
    """

    key: str
    head: str
    unit: str = ""
    write: Callable[..., str] = str
    is_number: bool = False
    whole: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        return (self.key,)


@dataclass(frozen=True)
class Cell:
    """Some numbers of a row that a reader sees as one: ``9 (24)``, ``22±3``.

    ``write`` takes the values of ``keys`` in turn.
    """

    head: str
    keys: tuple[str, ...]
    write: Callable[..., str]
    unit: str = ""
    is_number: bool = True
    whole: bool = False


@dataclass(frozen=True)
class Table:
    """Rows of plain values, and how a reader sees them.

    ``columns`` are the data: JSON and CSV write every one. ``cells`` are what text and Markdown
    show, the columns themselves when None. ``lead`` are the keys that name a row; as text, a value
    that repeats the one above is left blank. ``across`` or ``by`` name a column with a block of
    cells for each of its values, side by side or one below the other; ``blocks`` says how a block
    is headed. Rows with the same ``lead`` share a line across the blocks. ``one_head`` puts the
    heads of the columns above the first block only; ``alike_once`` shows blocks with equal cells as
    one, below all of their heads.
    """

    key: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Row]
    cells: Sequence[Column | Cell] | None = None
    lead: tuple[str, ...] = ()
    across: str = ""
    by: str = ""
    blocks: Mapping[Value, str] = field(default_factory=dict)
    one_head: bool = False
    alike_once: bool = False

    @property
    def shown(self) -> Sequence[Column | Cell]:
        return self.columns if self.cells is None else self.cells


Part = str | Heading | Notes | Table


def words(key: str, head: str, whole: bool = False) -> Column:
    """A column of words."""
    return Column(key, head, write=lambda value: value or "", whole=whole)


def number(
    key: str,
    head: str,
    unit: str = "",
    decimals: int = 0,
    write: Callable[[float], str] | None = None,
) -> Column:
    """A column of numbers with so many decimals, or as ``write`` has them; "-" where none is."""

    def text(value: float | None) -> str:
        if is_missing(value):
            return UNKNOWN
        return rounded(value, decimals) if write is None else write(value)  # type: ignore[arg-type]

    return Column(key, head, unit, text, is_number=True)


def figures(key: str, head: str, unit: str = "") -> Column:
    """A column of numbers of any size."""
    return number(key, head, unit, write=lambda value: f"{value:g}")


PLAN = (words("plan", "plan", whole=True), words("plan_label", "plan"))
FIELD = (words("field", "field", whole=True), words("field_label", "field"))
"""Columns of a key and of the name that a reader sees."""


def is_missing(value: Value) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


def notes(pairs: Iterable[tuple[str, str]]) -> Notes:
    return Notes(tuple(pairs))
