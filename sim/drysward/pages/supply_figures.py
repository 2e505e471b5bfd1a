"""Figures of a supply, a panel each; see ``figures``."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import MONTH_NAMES, MONTHS
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import keys, label
from drysward.quantities import Display, shown
from drysward.results.sizing_text import NOTHING
from drysward.results.text import CAUSES, causes_of, rounded, volume_display, year_mark

BEFORE, AFTER = 2, 1
"""Years shown before and after the one in which the storage is lowest."""
HATCHES = ("", "///", "...", "xx", "\\\\\\")
CAUSE_ORDER = (
    "restriction", "storage", "allowance", "priority", "ground", "source", "network", "crew",
    "window",
)  # fmt: skip
"""Causes in the order of colors and hatches: those that often occur together differ most."""


def worst_run(result: xr.Dataset, plan: str) -> list[int]:
    """The years around the one with the least water in storage; of equals the shortest."""
    one = result.sel(plan=plan)
    least, short = one["supply_least_storage"].values, one["supply_shortage"].values
    years = [int(year) for year in result["year"].values]
    worst = int(np.lexsort((-short, least))[0])
    return years[max(worst - BEFORE, 0) : worst + AFTER + 1]


@Drawing
def storage(result: xr.Dataset, plan: str, *, axes: Axes, units: str) -> Panel:
    """Water in storage at each month's end through the worst run of years and in the mean year."""
    years = worst_run(result, plan)
    store = result["supply_storage"].sel(plan=plan)
    unit = volume_display([result["supply_storage"]], units)
    series = store.sel(year=years).transpose("year", "month").values.ravel() * unit.factor
    mean = np.tile(result["storage_by_month"].sel(plan=plan).values, len(years)) * unit.factor
    at = np.arange(1, series.size + 1) / 12.0
    axes.fill_between(at, 0, series, color=style.LINES[0], alpha=0.18, linewidth=0)
    (line,) = axes.plot(at, series, color=style.LINES[0])
    (usual,) = axes.plot(at, mean, color=style.MUTED, linestyle=style.DASHES[1], linewidth=1.2)
    for turn in range(1, len(years)):
        axes.axvline(turn, color=style.RULE, linewidth=0.8)
    marks = [year_mark(result.attrs, year) for year in years]
    axes.set_xticks(np.arange(len(years)) + 0.5, marks)
    axes.set_xlim(0, len(years))
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, max(float(np.nanmax([series, mean])), 1e-9))
    style.measure(axes, f"in storage at the month's end, {unit.unit}")
    key = [("worst years", line), ("mean of all years", usual)]
    rows = [f"End of {month}, {mark}" for mark in marks for month in MONTH_NAMES]
    cells = [_volumes(values, unit) for values in (series, mean)]
    return Panel(key, Readings(rows, [name for name, _ in key], cells, x=at))


def _volumes(values: np.ndarray, unit: Display) -> list[str]:
    return [f"{rounded(value, unit.decimals)} {unit.unit}" for value in values]


def _bar(i: int) -> dict[str, Any]:
    """Color and hatch of the series at ``i``."""
    return {
        "facecolor": style.LINES[i % len(style.LINES)],
        "edgecolor": style.PAPER,
        "hatch": HATCHES[i % len(HATCHES)],
        "linewidth": 0.5,
    }


@Drawing
def shortage(result: xr.Dataset, *, axes: Axes, units: str) -> Panel:
    """Mean shortage a year on each field, plan by plan."""
    values = result["shortage_by_field"]
    unit = volume_display([values], units)
    names = keys(result, "plan")
    at = np.arange(len(names))
    base = np.zeros(len(names))
    key, cells = [], []
    for i, field in enumerate(keys(result, "field")):
        width = values.sel(field=field).sel(plan=names).values * unit.factor
        axes.barh(at, width, 0.42, base, **_bar(i))
        base += width
        key.append((label(result, "field", field), Patch(**_bar(i))))
        cells.append(_volumes(width, unit))
    labels = [label(result, "plan", name) for name in names]
    style.name_rows(axes, labels)
    style.scale(axes.xaxis)
    axes.set_xlim(0, 1.03 * float(base.max()) if base.max() > 0.0 else 1.0)
    axes.set_xlabel(f"shortage, {unit.unit} a year")
    return Panel(key, Readings(labels, [name for name, _ in key], cells, y=at))


@Drawing
def causes(result: xr.Dataset, plan: str, *, axes: Axes, units: str) -> Panel:
    """Mean shortage of each month under a plan, its causes on top of one another."""
    values = result["shortage_by_month_and_cause"]
    unit = volume_display([values.sum("cause")], units)
    one = values.sel(plan=plan)
    at = np.arange(1, 13)
    base = np.zeros(at.size)
    key, cells = [], []
    for cause in causes_of_plan(result, plan):
        height = one.sel(cause=cause).values * unit.factor
        # A cause looks the same in every panel.
        look = _bar(CAUSE_ORDER.index(cause))
        axes.bar(at, height, 0.72, base, **look)
        base += height
        key.append((CAUSES[cause][2], Patch(**look)))
        cells.append(_volumes(height, unit))
    axes.set_xticks(at, list(MONTHS))
    axes.set_xlim(0.4, 12.6)
    axes.set_ylim(0, 1.03 * float(base.max()) if base.max() > 0.0 else 1.0)
    style.scale(axes.yaxis)
    style.measure(axes, f"shortage of the month, {unit.unit}")
    return Panel(key, Readings(MONTH_NAMES, [name for name, _ in key], cells, x=at))


def causes_of_plan(result: xr.Dataset, plan: str) -> list[str]:
    """Causes of the shortages under a plan, less what is only rounding."""
    return causes_of(result[["shortage_by_cause"]].sel(plan=[plan]))


def size_display(values: xr.DataArray, units: str) -> Display:
    """How sizes are shown: volumes as gallons or millions of them, rates and areas as usual."""
    if values.attrs.get("units") == "m3":
        return volume_display([values], units)
    return shown(str(values.attrs.get("units", "1")), units)


@Drawing
def sizing(result: xr.Dataset, *, axes: Axes, units: str) -> Panel:
    """The least size for each size of the other part, and how far up it suffices."""
    against, least = result["sizing_against"], result["sizing_curve"]
    across, up = size_display(against, units), size_display(least, units)
    x, y = against.values * across.factor, least.values * up.factor
    again = fails_again_from(result).values * up.factor
    known, falls = np.isfinite(y), np.isfinite(again)
    (line,) = axes.plot(x, y, color=style.LINES[0], marker="o", markersize=5, clip_on=False)
    key: list[tuple[str, style.Handle]] = [("least size that suffices", line)]
    top = 1.0
    if known.any():
        top = 1.25 * float(np.nanmax(y))
        if falls.any():
            top = max(top, 1.1 * float(np.nanmax(again)))
        ceiling = np.where(falls, again, top)
        axes.fill_between(x, y, ceiling, where=known, color=style.LINES[2], alpha=0.14, linewidth=0)
        key.append(("suffices", Patch(color=style.LINES[2], alpha=0.14)))
    if falls.any():
        (mark,) = axes.plot(
            x[falls], again[falls], color=style.LINES[1], marker="v", markersize=5, linestyle="",
            clip_on=False,
        )  # fmt: skip
        key.append(("fails again from here", mark))
    if not known.all():
        floor = np.zeros(int((~known).sum()))
        axes.plot(x[~known], floor, "x", color=style.LINES[1], clip_on=False, markersize=6)
        cross = Line2D([], [], marker="x", linestyle="", color=style.LINES[1])
        key.append((NOTHING, cross))
    axes.set_ylim(0, top)
    axes.set_xlim(*_room(x))
    style.scale(axes.xaxis)
    style.scale(axes.yaxis)
    axes.set_xlabel(f"{against.attrs['long_name']}, {across.unit}")
    style.measure(axes, f"{least.attrs['long_name']}, {up.unit}")
    rows = [f"{value:,.{across.decimals}f} {across.unit}" for value in x]
    columns = ["least size that suffices"]
    cells = [[text if ok else NOTHING for ok, text in zip(known, _volumes(y, up), strict=True)]]
    if falls.any():
        columns.append("fails again from")
        cells.append(_volumes(again, up))
    return Panel(key, Readings(rows, columns, cells, x=x))


def _room(values: np.ndarray) -> tuple[float, float]:
    """Limits around values with room for a whole marker."""
    low, high = float(values.min()), float(values.max())
    room = 0.035 * (high - low) or 0.1 * abs(high) or 1.0
    return low - room, high + room


def fails_again_from(result: xr.Dataset) -> xr.DataArray:
    """Larger size (point,) that fails again, NaN where none does or none was tried."""
    none = xr.full_like(result["sizing_curve"], np.nan)
    return result.get("sizing_curve_fails_from", none)

