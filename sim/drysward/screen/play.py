"""What a person reads of play at a terminal. Nothing is computed here."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import xarray as xr
from rich.console import RenderableType
from rich.table import Table

from drysward.results.text import UNKNOWN, findings_of, rounded
from drysward.screen.tables import named_lines, plain_table, weather_findings

CAUTIONS = (
    "Hardness is an estimate from moisture, soil and cover: only a measurement by the applicable "
    "test method decides whether a surface is safe.",
    "Disease nights are nights that favour leaf disease, not disease.",
)


def play(summary: xr.Dataset, told: xr.Dataset) -> list[RenderableType]:
    """A table for each field that is looked at, with a row for each plan, then how to read it."""
    fields = [key for key in told["field"].values if bool(summary["has_play"].sel(field=key))]
    parts = weather_findings(findings_of(summary.attrs))
    parts += [_field_table(summary.sel(field=key), told.sel(field=key)) for key in fields]
    parts.append(named_lines(_notes(summary.sel(field=fields))))
    return parts


def _field_table(summary: xr.Dataset, told: xr.Dataset) -> Table:
    skinned = bool(summary["skinned"])
    columns = _SKINNED if skinned else _TURF
    limit = float(summary["hard_above"])
    title = summary["field_label"].item()
    table = plain_table(f"{title}: skinned surface" if skinned else f"{title}: turf")
    table.add_column("plan", ratio=1, min_width=12, overflow="fold")
    for heading in columns:
        table.add_column(heading.format(limit=limit), justify="right", no_wrap=True)
    for key in told["plan"].values:
        one = told.sel(plan=key)
        label = str(summary["plan_label"].sel(plan=key).item())
        table.add_row(label, *(cell(one) for cell in columns.values()))
    return table


# Heading -> what stands under it.
_TURF: dict[str, Callable[[xr.Dataset], str]] = {
    "hard\n>{limit:.0f}g\ndays": lambda one: _days(one, "days_hard"),
    "mean\n\ng": lambda one: _number(one["mean_hardness_mean"].item(), 0),
    "mud\n\ndays": lambda one: _days(one, "days_mud"),
    "no air,\nlongest\ndays": lambda one: (
        f"{_days(one, 'days_airless')},{_number(one['longest_airless_most'].item(), 0)}"
    ),
    "weed-\nprone\ndays": lambda one: _days(one, "days_weed_prone"),
    "dis-\nease\nnights": lambda one: _days(one, "disease_nights"),
    "worn\n\n%": lambda one: _number(100.0 * one["peak_worn_mean"].item(), 0),
    "roots\nlost\n%": lambda one: _number(100.0 * one["peak_root_loss_mean"].item(), 0),
    "play-\nable\n%": lambda one: _share(one, "playable"),
    "too\nhard\n%": lambda one: _share(one, "hard"),
    "too\nwet\n%": lambda one: _share(one, "wet"),
}
_SKINNED: dict[str, Callable[[xr.Dataset], str]] = {
    "dust\n\ndays": lambda one: _days(one, "days_dust"),
    "mud\n\ndays": lambda one: _days(one, "days_mud"),
    "water\nstands\ndays": lambda one: _days(one, "days_standing"),
    "play-\nable\n%": lambda one: _share(one, "playable"),
    "too\ndry\n%": lambda one: _share(one, "hard"),
    "too\nwet\n%": lambda one: _share(one, "wet"),
}


def _days(one: xr.Dataset, name: str) -> str:
    return _number(one[f"{name}_mean"].item(), 1)


def _number(value: float, decimals: int) -> str:
    return UNKNOWN if math.isnan(value) else rounded(value, decimals)


def _share(one: xr.Dataset, kind: str) -> str:
    share, error = (one[f"events_{kind}_{part}"].item() for part in ("share", "se"))
    if math.isnan(share):
        return UNKNOWN
    return f"{100.0 * share:.0f}±{100.0 * error:.0f}"


def _notes(summary: xr.Dataset) -> Iterable[tuple[str, str]]:
    yield (
        "Play",
        "mean days of the answer season on which the stated share of the field is affected; no "
        "air: below 10% of air-filled pores unless the scenario says otherwise, and the longest "
        "spell of any year; weed-prone: moist enough for algae, sedges and annual bluegrass; worn "
        "and roots lost: mean of the yearly peaks; last three: percent of all judged events, "
        "± standard error",
    )
    for caution in CAUTIONS:
        yield "Caution", caution
