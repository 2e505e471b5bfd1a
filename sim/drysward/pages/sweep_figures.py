"""Figures of a sweep: each draws on one axes and returns it; see ``figures``."""

from __future__ import annotations

import numpy as np
import xarray as xr
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import percent_axis, start
from drysward.pages.result import plain
from drysward.quantities import shown
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest, surface

# From the lightest to the darkest, so that it is read without colour too.
_SCALE = LinearSegmentedColormap.from_list("risk", ["#f2ead2", "#d9a24f", "#a3492c", "#3c1c2b"])


def front(
    result: xr.Dataset, stage: str = "wilt", *, axes: Axes | None = None, units: str = "us"
) -> Axes:
    """Choices that no other beats in both water and odds, with the standard error of the odds."""
    axes = start(axes)
    depth = shown("mm", units)
    kept = front_of(result, "water", stage)
    with style.look():
        water, odds = kept["cost"].values * depth.factor, kept["risk"].values * 100.0
        error = kept["risk_se"].values * 100.0
        axes.vlines(water, odds - error, odds + error, color=style.LINES[0], linewidth=1.6)
        (line,) = axes.step(
            water, odds, where="post", color=style.LINES[0], marker="o", markersize=5
        )
        axes.set_xlabel(f"water a year, {depth.unit}")
        percent_axis(axes, f"years with {style.STAGE_WORDS[stage]}, %", 104)
        style.legend(axes, [line], [f"{kept.sizes['choice']} of {kept.attrs['choices']:,} choices"])
    return axes


def drivers(
    result: xr.Dataset,
    plan: str,
    stage: str = "wilt",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """Share of the variance of the odds that each axis accounts for."""
    axes = start(axes)
    told = effects(result, stage, plan)
    with style.look():
        order = np.argsort(-np.nan_to_num(told["main"].values, nan=-1.0), kind="stable")
        names = [plain(str(name)) for name in told["axis"].values[order]]
        at = np.arange(len(names))
        axes.barh(at, told["main"].values[order] * 100.0, 0.6, color=style.LINES[0])
        handles: list[Artist] = [Patch(color=style.LINES[0])]
        told_by = ["by itself"]
        if "total" in told:
            low, high = (told[f"total_{end}"].values[order] * 100.0 for end in ("low", "high"))
            axes.hlines(at, low, high, color=style.LINES[1], linewidth=1.6)
            total = told["total"].values[order] * 100.0
            (dots,) = axes.plot(total, at, "D", color=style.LINES[1], markersize=5)
            handles.append(dots)
            told_by.append("with its interplay, 90% limits")
        axes.set_yticks(at, names)
        axes.invert_yaxis()
        axes.grid(axis="y", visible=False)
        axes.grid(axis="x", visible=True)
        axes.set_xlim(0, None)
        axes.set_xlabel("share of the variance between points, %")
        style.legend(axes, handles, told_by, flush="right")
    return axes


def response(
    result: xr.Dataset,
    plan: str,
    stage: str = "wilt",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """Mean odds at each pair of values of the two axes that drive them most."""
    axes = start(axes)
    across, up = strongest(result, stage, plan)[:2]
    found = surface(result, across, up, stage, plan)
    with style.look():
        percent = found["mean"].values * 100.0
        axes.pcolormesh(
            percent, cmap=_SCALE, vmin=0.0, vmax=100.0, edgecolors=style.PAPER, linewidth=1
        )
        for (row, column), value in np.ndenumerate(percent):
            text = "–" if np.isnan(value) else f"{value:.0f}"
            colour = "#ffffff" if value > 45.0 else "#1d1d1d"
            axes.text(column + 0.5, row + 0.5, text, ha="center", va="center", color=colour)
        axes.set_xticks(np.arange(found.sizes["across"]) + 0.5, found["across"].values)
        axes.set_yticks(np.arange(found.sizes["up"]) + 0.5, found["up"].values)
        axes.tick_params(length=0)
        axes.grid(visible=False)
        axes.set_xlabel(plain(across))
        axes.set_ylabel(plain(up))
        patch = Patch(color=_SCALE(0.6))
        style.legend(axes, [patch], [f"years with {style.STAGE_WORDS[stage]}, %, mean"])
    return axes
