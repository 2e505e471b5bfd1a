"""Figures of a supply: each draws on one axes and returns it; see ``figures``."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator, StrMethodFormatter

from drysward.pages import style
from drysward.pages.figures import MONTHS, start
from drysward.pages.result import keys, label
from drysward.quantities import Display, shown
from drysward.results.text import CAUSES, causes_of, volume_display, year_mark

BEFORE, AFTER = 2, 1
"""Years shown before and after the one in which the storage is lowest."""
HATCHES = ("", "///", "...", "xx", "\\\\\\")
LOOKS = (
    "restriction", "storage", "allowance", "priority", "ground", "source", "network", "crew",
    "window",
)  # fmt: skip
"""Causes by the color and hatch that they get: those that often meet differ most."""
MOST_ACROSS = 46
"""Letters of two names that fit side by side in a legend."""


def worst_run(result: xr.Dataset, plan: str) -> list[int]:
    """The years around the one with the least water in storage; of equals the shortest."""
    one = result.sel(plan=plan)
    least, short = one["supply_least_store"].values, one["supply_shortage"].values
    years = [int(year) for year in result["year"].values]
    worst = int(np.lexsort((-short, least))[0])
    return years[max(worst - BEFORE, 0) : worst + AFTER + 1]


def storage(result: xr.Dataset, plan: str, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Water in storage at each month's end through the worst run of years and in the mean year."""
    axes = start(axes)
    with style.look():
        years = worst_run(result, plan)
        store = result["supply_store"].sel(plan=plan)
        unit = volume_display([result["supply_store"]], units)
        series = store.sel(year=years).transpose("year", "month").values.ravel() * unit.factor
        mean = np.tile(result["store_by_month"].sel(plan=plan).values, len(years)) * unit.factor
        at = np.arange(1, series.size + 1) / 12.0
        axes.fill_between(at, 0, series, color=style.LINES[0], alpha=0.18, linewidth=0)
        (line,) = axes.plot(at, series, color=style.LINES[0])
        (usual,) = axes.plot(at, mean, color=style.MUTED, linestyle=style.DASHES[1], linewidth=1.2)
        for turn in range(1, len(years)):
            axes.axvline(turn, color=style.RULE, linewidth=0.8)
        named = [year_mark(result.attrs, year) for year in years]
        axes.set_xticks(np.arange(len(years)) + 0.5, named)
        axes.tick_params(axis="x", length=0)
        axes.set_xlim(0, len(years))
        axes.set_ylim(0, None)
        axes.set_ylabel(f"in storage at the month's end, {unit.unit}")
        style.legend(axes, [line, usual], ["through the worst years", "mean of all years"])
    return axes


def shortage(result: xr.Dataset, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Mean shortage a year on each field, plan by plan."""
    axes = start(axes)
    with style.look():
        values = result["shortage_by_field"]
        unit = volume_display([values], units)
        names = keys(result, "plan")
        parts = keys(result, "field")
        base = np.zeros(len(names))
        for i, field in enumerate(parts):
            width = values.sel(field=field).sel(plan=names).values * unit.factor
            axes.barh(
                np.arange(len(names)), width, 0.62, base, color=style.LINES[i % len(style.LINES)],
                edgecolor=style.PAPER, hatch=HATCHES[i % len(HATCHES)], linewidth=0.5,
            )  # fmt: skip
            base += width
        axes.set_yticks(np.arange(len(names)), [label(result, "plan", key)[:34] for key in names])
        axes.invert_yaxis()
        axes.grid(axis="y", visible=False)
        axes.grid(axis="x", visible=True)
        axes.set_xlim(0, None if base.max() > 0.0 else 1.0)
        axes.xaxis.set_major_formatter(StrMethodFormatter("{x:,g}"))
        axes.xaxis.set_major_locator(MaxNLocator(4))
        axes.set_xlabel(f"shortage, {unit.unit} a year")
        style.legend(
            axes,
            [
                Patch(
                    facecolor=style.LINES[i % len(style.LINES)],
                    edgecolor=style.PAPER,
                    hatch=HATCHES[i % len(HATCHES)],
                )
                for i in range(len(parts))
            ],
            [label(result, "field", field) for field in parts],
            3,
            "right",
        )
    return axes


def causes(result: xr.Dataset, plan: str, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Mean shortage of each month under a plan, its causes on top of one another."""
    axes = start(axes)
    with style.look():
        values = result["shortage_by_month_and_cause"]
        unit = volume_display([values.sum("cause")], units)
        one = values.sel(plan=plan)
        at = np.arange(1, 13)
        base = np.zeros(at.size)
        handles: list[Patch] = []
        names: list[str] = []
        for cause in causes_of_plan(result, plan):
            height = one.sel(cause=cause).values * unit.factor
            # A cause looks the same in every panel.
            i = LOOKS.index(cause)
            face, hatch = style.LINES[i % len(style.LINES)], HATCHES[i % len(HATCHES)]
            axes.bar(
                at, height, 0.72, base, color=face, edgecolor=style.PAPER, hatch=hatch,
                linewidth=0.5,
            )  # fmt: skip
            base += height
            handles.append(Patch(facecolor=face, edgecolor=style.PAPER, hatch=hatch))
            names.append(CAUSES[cause][2])
        axes.set_xticks(at, list(MONTHS))
        axes.set_xlim(0.4, 12.6)
        axes.set_ylim(0, None if base.max() > 0.0 else 1.0)
        axes.yaxis.set_major_formatter(StrMethodFormatter("{x:,g}"))
        axes.set_ylabel(f"shortage of the month, {unit.unit}")
        half = -(-len(names) // 2)
        widths = (max(map(len, part), default=0) for part in (names[:half], names[half:]))
        style.legend(axes, handles, names, 2 if sum(widths) <= MOST_ACROSS else 1)
    return axes


def causes_of_plan(result: xr.Dataset, plan: str) -> list[str]:
    """Causes of the shortages under a plan, less those that are but rounding."""
    return causes_of(result[["shortage_by_cause"]].sel(plan=[plan]))


def size_display(values: xr.DataArray, units: str) -> Display:
    """How sizes are shown: volumes as gallons or millions of them, rates and areas as usual."""
    if values.attrs.get("units") == "m3":
        return volume_display([values], units)
    return shown(str(values.attrs.get("units", "1")), units)


def sizing(result: xr.Dataset, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """The least size for each size of the other part, and how far up the outcome is kept."""
    axes = start(axes)
    with style.look():
        against, least = result["sizing_against"], result["sizing_curve"]
        across, up = size_display(against, units), size_display(least, units)
        x, y = against.values * across.factor, least.values * up.factor
        again = fails_again_from(result).values * up.factor
        known, falls = np.isfinite(y), np.isfinite(again)
        lines: list[Line2D | Patch] = []
        (line,) = axes.plot(x, y, color=style.LINES[0], marker="o", markersize=5)
        lines.append(line)
        names = ["least that suffices"]
        if known.any():
            top = 1.25 * float(np.nanmax(y))
            if falls.any():
                top = max(top, 1.1 * float(np.nanmax(again)))
            ceiling = np.where(falls, again, top)
            axes.fill_between(
                x, y, ceiling, where=known, color=style.LINES[2], alpha=0.14, linewidth=0
            )
            axes.set_ylim(0, top)
            lines.append(Patch(color=style.LINES[2], alpha=0.14))
            names.append("suffices")
        if falls.any():
            (mark,) = axes.plot(
                x[falls], again[falls], color=style.LINES[1], marker="v", markersize=5, linestyle=""
            )
            lines.append(mark)
            names.append("fails again from here")
        if not known.all():
            floor = np.zeros(int((~known).sum()))
            axes.plot(x[~known], floor, "x", color=style.LINES[1], clip_on=False, markersize=6)
            lines.append(Line2D([], [], marker="x", linestyle="", color=style.LINES[1]))
            names.append("nothing suffices")
        axes.set_xlabel(f"{against.attrs['long_name']}, {across.unit}")
        axes.set_ylabel(f"{least.attrs['long_name']}, {up.unit}")
        style.legend(axes, lines, names, 2)
    return axes


def fails_again_from(result: xr.Dataset) -> xr.DataArray:
    """Larger size (point,) that fails again, NaN where none does or nobody looked."""
    nobody = xr.full_like(result["sizing_curve"], np.nan)
    return result.get("sizing_curve_fails_from", nobody)

