"""What ``drysward compare --show play`` prints. Nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import xarray as xr

from drysward.results.answer_text import (
    PLAY_ADDS,
    PLAYABLE,
    has_play_range,
    play_range_text,
    unlike_limits_text,
)
from drysward.results.dataset import PLAY
from drysward.results.play import HAMMER, hard_limits
from drysward.results.summary import DRAWS
from drysward.results.text import UNKNOWN, findings_of, listed, rounded
from drysward.screen.compare import limited, spread_cell, weather_findings
from drysward.screen.document import Cell, Column, Part, Row, Table, Value, notes, number, words

_LONGEST = "longest_airless_most"
CAUTION = (
    "Hardness is an estimate from moisture, soil and cover: only a measurement by the applicable "
    "test method decides whether a surface is safe."
)


def play(summary: xr.Dataset) -> list[Part]:
    """A table of the turf and one of skinned surfaces, a block for each field with play.

    ``summary`` is of ``summarize``; with draws each number, which is that of the likely run, has
    its range over them.
    """
    fields = [key for key in summary["field"].values if bool(summary["has_play"].sel(field=key))]
    parts = weather_findings(findings_of(summary.attrs))
    tables: list[Table] = []
    for skinned, key, title, shown in (
        (False, "turf_play", "Play on turf", _TURF),
        (True, "skinned_play", "Play on skinned surfaces", _SKINNED),
    ):
        of_kind = [f for f in fields if bool(summary["skinned"].sel(field=f)) == skinned]
        if of_kind:
            tables.append(_table(summary, of_kind, key, title, shown))
    return [*parts, *tables, notes(_notes(summary, tables))]


# What stands under a heading: the variable, its unit, its decimals, and what multiplies it.
_Shown = dict[str, tuple[str, str, int, float]]
_TURF: _Shown = {
    "hard": ("days_hard_mean", "days", 1, 1.0),
    "mean hardness": ("mean_hardness_mean", "Gmax, g", 0, 1.0),
    "mud": ("days_mud_mean", "days", 1, 1.0),
    "airless": ("days_airless_mean", "days", 1, 1.0),
    "longest airless": (_LONGEST, "days", 0, 1.0),
    "weed-prone": ("days_weed_prone_mean", "days", 1, 1.0),
    "disease": ("disease_nights_mean", "nights", 1, 1.0),
    "worn": ("peak_worn_mean", "%", 0, 100.0),
    "roots lost": ("peak_root_loss_mean", "%", 0, 100.0),
}
_SKINNED: _Shown = {
    "dust": ("days_dust_mean", "days", 1, 1.0),
    "mud": ("days_mud_mean", "days", 1, 1.0),
    "water stands": ("days_standing_mean", "days", 1, 1.0),
}
_EVENTS = {"playable": "playable", "hard": "too hard", "wet": "too wet"}


@dataclass(frozen=True)
class _Number:
    """A number of play: its name without what it is over the years, and how it is shown.

    ``variables``: by the end of its key, the variables of the summary.
    """

    head: str
    name: str
    unit: str
    decimals: int
    factor: float
    variables: dict[str, str]

    @property
    def columns(self) -> list[Column]:
        return [
            number(f"{self.name}{end}", f"{self.head}{_HEADS.get(end, '')}", self.unit,
                   self.decimals)
            for end in self.variables
        ]  # fmt: skip

    def of(self, one: xr.Dataset) -> dict[str, Value]:
        return {
            f"{self.name}{end}": one[variable].item() * self.factor
            for end, variable in self.variables.items()
        }


_HEADS = {"_se": ", standard error", "_low": ", 5%", "_high": ", 95%"}


def _number(summary: xr.Dataset, head: str, shown: tuple[str, str, int, float]) -> _Number:
    """A number of the likely run, and its range over the draws where there are any."""
    variable, unit, decimals, factor = shown
    name, _, over_years = variable.rpartition("_")
    ranged = has_play_range(summary)
    variables = {f"_{over_years}": f"{PLAY}{variable}"}
    if over_years == "share" or (ranged and variable != _LONGEST):
        variables["_se"] = f"{PLAY}{name}_se"
    if ranged:
        variables |= {end: f"{DRAWS}{PLAY}{name}{end}" for end in ("_low", "_high")}
    return _Number(head, name, unit, decimals, factor, variables)


def _table(
    summary: xr.Dataset, fields: Sequence[str], key: str, title: str, shown: _Shown
) -> Table:
    skinned, ranged = shown is _SKINNED, has_play_range(summary)
    named = [words("field", "field", whole=True), words("field_label", "field"),
             words("plan", "plan", whole=True), words("plan_label", "plan")]  # fmt: skip
    numbers: list[_Number] = []
    cells: list[Column | Cell] = []
    for head, how in shown.items():
        one = _number(summary, head, how)
        numbers.append(one)
        if not ranged:
            cells += one.columns
        elif how[0] == _LONGEST:
            cells.append(Cell(head, tuple(c.key for c in one.columns), _longest, one.unit))
        else:
            cells.append(spread_cell(head, tuple(c.key for c in one.columns), 0, one.unit))
    for kind, what in _EVENTS.items():
        head = f"events {'too dry' if skinned and kind == 'hard' else what}"
        one = _number(summary, head, (f"events_{kind}_share", "%", 1, 100.0))
        numbers.append(one)
        keys = tuple(column.key for column in one.columns)
        cells.append(
            spread_cell(head, keys, 0, one.unit) if ranged else Cell(head, keys, _share, one.unit)
        )
    rows: list[Row] = []
    heads: dict[Value, str] = {}
    limits = hard_limits(summary)
    for field in fields:
        label = str(summary["field_label"].sel(field=field).item())
        heads[label] = label if skinned else f"{label}; hard: over {limits[str(field)]:.0f} g"
        for plan in map(str, summary["plan"].values):
            at = summary.sel(field=field, plan=plan)
            row: dict[str, Value] = {
                "field": str(field), "field_label": label, "plan": plan,
                "plan_label": str(at["plan_label"].item()),
            }  # fmt: skip
            for one in numbers:
                row |= one.of(at)
            rows.append(row)
    cells = [named[1], named[3], *(cell for cell in cells if not _is_empty(cell, rows))]
    columns = [*named, *(column for one in numbers for column in one.columns)]
    return Table(
        key, title, columns, rows, cells, ("plan_label",),
        by="field_label", blocks=heads,
    )  # fmt: skip


def _longest(value: float, low: float, high: float) -> str:
    """The longest spell, and below it its limits where there are any."""
    return rounded(value, 0) if math.isnan(low) else limited(0)(value, low, high)


def _share(share: float, error: float) -> str:
    if math.isnan(share):
        return UNKNOWN
    chance = rounded(error, 0)
    return rounded(share, 0) if chance == "0" else f"{rounded(share, 0)}±{chance}"


def _is_empty(cell: Column | Cell, rows: Sequence[Row]) -> bool:
    """Whether a column has nothing but 0 and "-"."""
    return all(
        cell.write(*(row[key] for key in cell.keys)) in ("0", "0.0", UNKNOWN) for row in rows
    )


_MEANINGS = {
    "hard": "harder than the limit that stands beside the name of the field",
    "mean hardness": f"Gmax in g: the largest deceleration of a {HAMMER} dropped on the surface, "
    "in multiples of gravity; lower is softer",
    "mud": "soil so wet that water fills 40% of the pores that drain",
    "airless": "less than 10% of the surface layer is air, unless the scenario sets another limit; "
    "roots die back from the second day on",
    "longest airless": "the longest spell of any year",
    "weed-prone": "moist enough for algae, sedges and annual bluegrass",
    "disease": "nights that favor leaf disease",
    "worn": "mean of the yearly peaks, of the field",
    "roots lost": "mean of the yearly peaks, of the roots",
}
"""What a column of play means, by its head."""


def _notes(
    summary: xr.Dataset, tables: Sequence[Table]
) -> Iterator[tuple[str, str]]:
    """What the columns that are shown mean, and which are left out."""
    yield (
        "Days",
        "mean of the years; days of the season on which the stated share of the field is affected",
    )
    shown = {cell.head for table in tables for cell in table.shown}
    if text := unlike_limits_text(summary):
        yield "Limits", text
    for head, meaning in _MEANINGS.items():
        if head in shown:
            yield head.capitalize(), meaning
    if any(head.startswith("events") for head in shown):
        yield "Events", (
            "percent of all events; those with judged = false are not among them. Playable: "
            f"{PLAYABLE}"
        )
    else:
        yield "Events", (
            "none are judged; add them under [[fields.KEY.play.events]], in place of play = {}"
        )
    heads = [*_SKINNED] if tables[0].key == "skinned_play" else [*_TURF]
    if left := [head for head in heads if head not in shown]:
        yield "Not shown", f"{listed(left)}: none on any field under any plan"
    if tables[0].key == "turf_play":
        yield "Days below", PLAY_ADDS
    yield "Range", play_range_text(summary, "below it")
    yield "±", "standard error of the years"
    yield "Caution", CAUTION
