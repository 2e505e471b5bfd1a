"""Figures of feeding by month, a line for each plan; see ``figures``."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes

from drysward.pages import style
from drysward.pages.figures import MONTH_NAMES, MONTHS
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import keys, label
from drysward.quantities import shown
from drysward.results.dataset import FEED
from drysward.results.feeding_text import HUNGRY, LUSH, state_of
from drysward.results.text import rounded

_STATUS_TOP = 1.5


@Drawing
def nitrogen_status(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Nitrogen status of the turf by month, with what is hungry and what is lush."""
    panel = _by_month(axes, result, f"{FEED}status_month_mean", field, 1.0, 2, "")
    limits = {HUNGRY: "hungry_below", LUSH: "lush_above"}
    for word, name in limits.items():
        if name in result.attrs:
            axes.axhline(result.attrs[name], color=style.MUTED, linewidth=0.9, linestyle="--")
            # Beyond December, where no line of a plan is.
            axes.annotate(
                word, (12.5, result.attrs[name]), ha="left", va="bottom", fontsize=8.5,
                color=style.MUTED,
            )  # fmt: skip
            axes.set_xlim(right=14.4)
    drawn = result[f"{FEED}status_month_mean"].sel(field=field)
    style.from_zero(axes.yaxis, max(_STATUS_TOP, float(np.nanmax(drawn.values))))
    style.measure(axes, "nitrogen status: 0 the least, 1 enough")
    if set(limits.values()) <= set(result.attrs):
        cells = [
            [f"{text} {state_of(float(text), result.attrs)}" for text in column]
            for column in panel.readings.cells
        ]
        readings = Readings(MONTH_NAMES, panel.readings.columns, cells, x=panel.readings.x)
        panel = Panel(panel.key, readings)
    return panel


@Drawing
def clippings(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Dry matter mown off by month: what there is to mow."""
    how = shown("kg ha-1", units)
    decimals = 1 if how.decimals else 0
    name = f"{FEED}clippings_month_mean"
    panel = _by_month(axes, result, name, field, how.factor, decimals, how.unit)
    style.measure(axes, f"dry clippings of the month, {how.unit}")
    return panel


@Drawing
def leaching(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Nitrogen that leaches by month."""
    how = shown("kg ha-1", units)
    decimals = max(how.decimals, 1)
    name = f"{FEED}leached_month_mean"
    panel = _by_month(axes, result, name, field, how.factor, decimals, how.unit)
    style.measure(axes, f"nitrogen leached in the month, {how.unit}")
    return panel


def _by_month(
    axes: Axes, result: xr.Dataset, name: str, field: str, factor: float, decimals: int, unit: str
) -> Panel:
    """A line with markers for each plan."""
    at = np.arange(1, 13)
    key, cells, top = [], [], 0.0
    for i, plan in enumerate(keys(result, "plan")):
        values = result[name].sel(field=field, plan=plan).values * factor
        (line,) = axes.plot(
            at, values, **style.line_style(i), marker=style.marker(i), markersize=4.0
        )
        top = max(top, float(np.nanmax(values)))
        key.append((label(result, "plan", plan), line))
        cells.append([f"{rounded(value, decimals)} {unit}".strip() for value in values])
    axes.set_xticks(at, list(MONTHS))
    axes.set_xlim(0.4, 12.6)
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, top or 1.0)
    return Panel(key, Readings(MONTH_NAMES, [named for named, _ in key], cells, x=at))
