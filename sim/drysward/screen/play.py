"""What ``drysward compare --show play`` prints. Nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import xarray as xr

from drysward.results.text import UNKNOWN, findings_of, rounded
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
    for skinned, key, title, shown in (
        (False, "turf_play", "Play on turf", _TURF),
        (True, "skinned_play", "Play on skinned surfaces", _SKINNED),
    ):
        of_kind = [f for f in fields if bool(summary["skinned"].sel(field=f)) == skinned]
        if of_kind:
            parts.append(_table(summary, played, of_kind, key, title, shown))
    parts.append(notes(_notes()))
    return parts


# What stands under a heading: the variable, its unit, its decimals, and what multiplies it.
_Shown = dict[str, tuple[str, str, int, float]]
_TURF: _Shown = {
    "hard": ("days_hard_mean", "days", 1, 1.0),
    "mean hardness": ("mean_hardness_mean", "g", 0, 1.0),
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
    return Table(
        key, title, [*named, *numbers, *events], rows, cells, ("plan_label",),
        by="field_label", blocks=heads,
    )  # fmt: skip


def _share(share: float, error: float) -> str:
    if math.isnan(share):
        return UNKNOWN
    chance = rounded(error, 0)
    return rounded(share, 0) if chance == "0" else f"{rounded(share, 0)}±{chance}"


def _notes() -> Iterator[tuple[str, str]]:
    yield (
        "Days",
        "mean of the years; days of the season on which the stated share of the field is affected",
    )
    yield "Airless", "less than 10% of air-filled pores, unless the scenario sets another limit"
    yield "Longest airless", "the longest spell of any year"
    yield "Weed-prone", "days moist enough for algae, sedges and annual bluegrass"
    yield "Worn, roots lost", "mean of the yearly peaks"
    yield "Events", "percent of all events, ± standard error"
    for caution in CAUTIONS:
        yield "Caution", caution
