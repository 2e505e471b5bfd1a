"""Figures of play: each draws on one axes and returns it; see ``figures``."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import case_lanes, month_axis, start
from drysward.pages.result import keys, label

KINDS = {"playable": "fit", "hard": "hard", "wet": "wet", "frozen": "frozen"}
STATES = {"fit": "fit to play", "hard": "too hard or dusty", "wet": "too wet", "frozen": "frozen"}
"""States of a day as ``daily_play`` counts them, from 0."""
WORDS = {"playable": "playable", "hard": "too hard or dusty", "wet": "too wet", "frozen": "frozen"}


def fields_with_play(result: xr.Dataset) -> list[str]:
    """Fields that were looked at for play."""
    if "has_play" not in result.coords:
        return []
    return [key for key in keys(result, "field") if bool(result["has_play"].sel(field=key))]


def play_calendar(
    result: xr.Dataset, field: str, plan: str, *, axes: Axes | None = None, units: str = "us"
) -> Axes:
    """What the surface is fit for, day by day through a dry, a middling and a wet year."""
    axes = start(axes)
    with style.look():
        one = result["daily_play"].sel(field=field, plan=plan)
        days = result["turf_day"].values
        for case, floor in case_lanes(axes, result):
            state = one.sel(case=case).values
            for i, name in enumerate(STATES):
                _strip(axes, state == i, days, floor, style.PLAY[name])
        month_axis(axes, result)
        style.legend(
            axes, [Patch(color=style.PLAY[name]) for name in STATES], list(STATES.values())
        )
    return axes


def _strip(axes: Axes, days_on: np.ndarray, days: np.ndarray, floor: float, colour: str) -> None:
    """Runs of days as bars of one lane."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], days_on.astype(int), [0]])))
    runs = [
        (float(days[first]), float(stop - first))
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
    axes.broken_barh(runs, (floor, 1.0), facecolors=colour)


def events(result: xr.Dataset, field: str, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Shares of the events of all years that are playable, too hard, too wet, frozen."""
    axes = start(axes)
    with style.look():
        names = keys(result, "plan")
        at = np.arange(len(names))
        base = np.zeros(len(names))
        one = result.sel(field=field).sel(plan=names)
        for kind, look in KINDS.items():
            width = one[f"events_{kind}_share"].values * 100.0
            axes.barh(at, width, 0.62, base, color=style.PLAY[look], edgecolor=style.PAPER)
            base = base + width
        share, error = (one[f"events_playable_{part}"].values * 100.0 for part in ("share", "se"))
        axes.hlines(at, share - error, share + error, color=style.INK, linewidth=1.4)
        axes.set_yticks(at, [label(result, "plan", key)[:34] for key in names])
        axes.invert_yaxis()
        axes.grid(visible=False)
        axes.set_xlim(0, 100)
        axes.set_xlabel("events, % (± standard error of the playable)")
        patches = [Patch(color=style.PLAY[look]) for look in KINDS.values()]
        style.legend(axes, patches, list(WORDS.values()), flush="right")
    return axes
