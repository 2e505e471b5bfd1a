"""Figures of play, a panel each; see ``figures``."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import case_columns, case_lanes, month_axis, percent, turf_days
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import keys, label
from drysward.results.answer_text import has_play_range
from drysward.results.text import rounded

KINDS = {"playable": "fit", "hard": "hard", "wet": "wet", "frozen": "frozen"}
STATES = {"fit": "fit to play", "hard": "too hard or dusty", "wet": "too wet", "frozen": "frozen"}
"""States of a day as ``daily_play`` counts them, from 0."""
WORDS = {"playable": "playable", "hard": "too hard or dusty", "wet": "too wet", "frozen": "frozen"}


def fields_with_play(result: xr.Dataset) -> list[str]:
    """Fields whose play was simulated."""
    if "has_play" not in result.coords:
        return []
    return [key for key in keys(result, "field") if bool(result["has_play"].sel(field=key))]


def _patch(look: str) -> Patch:
    return Patch(
        facecolor=style.PLAY[look], edgecolor=style.PAPER, linewidth=0.0,
        hatch=style.PLAY_HATCHES[look],
    )  # fmt: skip


@Drawing
def play_calendar(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """What the surface is fit for, day by day through a dry, a middling and a wet year."""
    one = result["daily_play"].sel(field=field, plan=plan)
    days = result["turf_day"].values
    words = list(STATES.values())
    cells = []
    for case, floor in case_lanes(axes, result):
        state = one.sel(case=case).values
        for i, name in enumerate(STATES):
            _strip(axes, state == i, days, floor, name)
        cells.append([words[int(i)] if 0 <= i < len(words) else "-" for i in state])
    month_axis(axes, result)
    key = [(word, _patch(name)) for name, word in STATES.items()]
    return Panel(key, Readings(turf_days(result), case_columns(result), cells, x=days))


def _strip(axes: Axes, days_on: np.ndarray, days: np.ndarray, floor: float, name: str) -> None:
    """Runs of days as bars of one lane."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], days_on.astype(int), [0]])))
    runs = [
        (float(days[first]), float(stop - first))
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
    axes.broken_barh(
        runs, (floor, 1.0), facecolors=style.PLAY[name], edgecolor=style.PAPER, linewidth=0.0,
        hatch=style.PLAY_HATCHES[name],
    )  # fmt: skip


@Drawing
def events(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Shares of the events of all years that are playable, too hard, too wet, frozen."""
    names = keys(result, "plan")
    at = np.arange(len(names))
    base = np.zeros(len(names))
    one = result.sel(field=field).sel(plan=names)
    cells = []
    for kind, look in KINDS.items():
        share = one[f"events_{kind}_share"].values
        axes.barh(
            at, share * 100.0, 0.42, base, color=style.PLAY[look], edgecolor=style.PAPER,
            hatch=style.PLAY_HATCHES[look], linewidth=0.5,
        )  # fmt: skip
        base = base + share * 100.0
        cells.append([percent(value) for value in share])
    columns = list(WORDS.values())
    if has_play_range(result):
        of = "doubt_play_events_playable"
        low, high = (one[f"{of}_{end}"].values * 100.0 for end in ("low", "high"))
        span = "playable, 5 to 95% across draws"
        columns.append(span)
        ends = zip(low, high, strict=True)
        cells.append([f"{rounded(least, 0)} to {rounded(most, 0)}" for least, most in ends])
    else:
        share, error = (one[f"events_playable_{part}"].values * 100.0 for part in ("share", "se"))
        low, high, span = share - error, share + error, "± standard error"
    axes.hlines(at, low, high, color=style.INK, linewidth=1.4)
    labels = [label(result, "plan", name) for name in names]
    style.name_rows(axes, labels)
    axes.grid(visible=False)
    axes.set_xlim(0, 100.5)
    axes.set_xticks([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100"])
    axes.set_xlabel("events, %")
    key: list[tuple[str, style.Handle]] = [(WORDS[kind], _patch(KINDS[kind])) for kind in KINDS]
    key.append((span, Line2D([], [], color=style.INK, linewidth=1.4)))
    return Panel(key, Readings(labels, columns, cells, y=at))
