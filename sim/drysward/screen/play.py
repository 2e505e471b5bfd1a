"""What ``drysward compare --show play`` prints. Nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import xarray as xr

from drysward.results.answer_text import PLAY_ADDS, PLAY_IS_LIKELY, PLAYABLE
from drysward.results.text import UNKNOWN, findings_of, listed, rounded
from drysward.screen.compare import weather_findings
from drysward.screen.document import Cell, Column, Part, Row, Table, Value, notes, number, words

CAUTIONS = (
    "Hardness is an estimate from moisture, soil and cover: only a measurement by the applicable "
    "test method decides whether a surface is safe.",
    "Disease nights are nights that favor leaf disease, not disease.",
)


def play(summary: xr.Dataset, played: xr.Dataset) -> list[Part]:
    """A table of the turf and one of skinned surfaces, a block for each field with play."""
    fields = [key for key in played["field"].values if bool(summary["has_play"].sel(field=key))]
    parts = weather_findings(findings_of(summary.attrs))
    tables: list[Table] = []
    for skinned, key, title, shown in (
        (False, "turf_play", "Play on turf", _TURF),
        (True, "skinned_play", "Play on skinned surfaces", _SKINNED),
    ):
        of_kind = [f for f in fields if bool(summary["skinned"].sel(field=f)) == skinned]
        if of_kind:
            tables.append(_table(summary, played, of_kind, key, title, shown))
    return [*parts, *tables, notes(_notes(tables))]


# What stands under a heading: the variable, its unit, its decimals, and what multiplies it.
_Shown = dict[str, tuple[str, str, int, float]]
_TURF: _Shown = {
    "hard": ("days_hard_mean", "days", 1, 1.0),
    "mean hardness": ("mean_hardness_mean", "Gmax, g", 0, 1.0),
    "mud": ("days_mud_mean", "days", 1, 1.0),
    "airless": ("days_airless_mean", "days", 1, 1.0),
    "longest airless": ("longest_airless_most", "days", 0, 1.0),
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


def _table(
    summary: xr.Dataset,
    played: xr.Dataset,
    fields: Sequence[str],
    key: str,
    title: str,
    shown: _Shown,
) -> Table:
    skinned = shown is _SKINNED
    named = [words("field", "field", whole=True), words("field_label", "field"),
             words("plan", "plan", whole=True), words("plan_label", "plan")]  # fmt: skip
    numbers = [number(name, head, unit, decimals)
               for head, (name, unit, decimals, _) in shown.items()]  # fmt: skip
    events: list[Column] = []
    cells: list[Column | Cell] = [named[1], named[3], *numbers]
    for kind, head in _EVENTS.items():
        what = "too dry" if skinned and kind == "hard" else head
        pair = (f"events_{kind}_share", f"events_{kind}_se")
        events += [number(pair[0], f"events {what}", "%", 1),
                   number(pair[1], f"events {what}, standard error", "%", 1)]  # fmt: skip
        cells.append(Cell(f"events {what}", pair, _share, "%"))
    rows: list[Row] = []
    heads: dict[Value, str] = {}
    for field in fields:
        label = str(summary["field_label"].sel(field=field).item())
        limit = float(summary["hard_above"].sel(field=field))
        heads[label] = label if skinned else f"{label}; hard: over {limit:.0f} g"
        for plan in map(str, played["plan"].values):
            one = played.sel(field=field, plan=plan)
            row: dict[str, Value] = {
                "field": str(field), "field_label": label, "plan": plan,
                "plan_label": str(summary["plan_label"].sel(plan=plan).item()),
            }  # fmt: skip
            row |= {name: one[name].item() * times for name, _, _, times in shown.values()}
            row |= {column.key: 100.0 * one[column.key].item() for column in events}
            rows.append(row)
    cells = [*cells[:2], *(cell for cell in cells[2:] if not _is_empty(cell, rows))]
    return Table(
        key, title, [*named, *numbers, *events], rows, cells, ("plan_label",),
        by="field_label", blocks=heads,
    )  # fmt: skip


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
    "mean hardness": "Gmax in g: the largest deceleration of a hammer dropped on the surface, in "
    "multiples of gravity; lower is softer",
    "mud": "soil so wet that water fills 40% of the pores that drain",
    "airless": "less than 10% of the surface layer is air, unless the scenario sets another limit; "
    "roots die back from the second day on",
    "longest airless": "the longest spell of any year",
    "weed-prone": "moist enough for algae, sedges and annual bluegrass",
    "disease": CAUTIONS[1],
    "worn": "mean of the yearly peaks, of the field",
    "roots lost": "mean of the yearly peaks, of the roots",
}
"""What a column of play means, by its head."""


def _notes(tables: Sequence[Table]) -> Iterator[tuple[str, str]]:
    """What the columns that are shown mean, and which are left out."""
    yield (
        "Days",
        "mean of the years; days of the season on which the stated share of the field is affected",
    )
    shown = {cell.head for table in tables for cell in table.shown}
    for head, meaning in _MEANINGS.items():
        if head in shown:
            yield head.capitalize(), meaning
    if any(head.startswith("events") for head in shown):
        yield "Events", f"percent of all events, ± standard error; playable: {PLAYABLE}"
    else:
        yield "Events", (
            "none are judged; add them under [[fields.KEY.play.events]], in place of play = {}"
        )
    heads = [*_SKINNED] if tables[0].key == "skinned_play" else [*_TURF]
    if left := [head for head in heads if head not in shown]:
        yield "Not shown", f"{listed(left)}: none on any field under any plan"
    if tables[0].key == "turf_play":
        yield "Days below", PLAY_ADDS
    yield "Range", PLAY_IS_LIKELY
    yield "Caution", CAUTIONS[0]
