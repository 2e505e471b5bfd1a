"""Figures of a sweep, a panel each; see ``figures``."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import percent
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import label, plain
from drysward.quantities import shown
from drysward.results.text import NONE, of_100, rounded
from drysward.studies.sweep.axis_units import axis_title
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest, surface

# From light to dark, so that it reads without color too.
_SCALE = LinearSegmentedColormap.from_list("risk", ["#f2ead2", "#d9a24f", "#a3492c", "#3c1c2b"])


@Drawing
def front(result: xr.Dataset, stage: str = "wilt", *, axes: Axes, units: str) -> Panel:
    """Choices that no other beats in both water and odds, with the standard error of the odds."""
    depth = shown("mm", units)
    kept = front_of(result, "water", stage)
    water, odds = kept["cost"].values * depth.factor, kept["risk"].values * 100.0
    error = kept["risk_se"].values * 100.0
    axes.vlines(water, odds - error, odds + error, color=style.LINES[0], linewidth=1.6)
    (line,) = axes.step(
        water, odds, where="post", color=style.LINES[0], marker="o", markersize=5, clip_on=False
    )
    style.scale(axes.xaxis)
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, max(5.0, float(np.nanmax(odds + error))))
    axes.set_xlabel(f"water a year, {depth.unit}")
    style.measure(axes, f"% of years with {style.STAGE_WORDS[stage]}, worst field")
    names = [name for name in json.loads(result.attrs["axes"]) if name in kept]
    rows = [label(result, "plan", str(plan)) for plan in kept["plan"].values]
    cells = [
        [f"{rounded(value, depth.decimals)} {depth.unit}" for value in water],
        [f"{odds_and_error(p, se)} of 100 years" for p, se in zip(odds, error, strict=True)],
        *([setting_text(value) for value in kept[name].values] for name in names),
    ]
    columns = ["water a year", style.STAGE_WORDS[stage]]
    columns += [plain(axis_title(result, name)) for name in names]
    key: list[tuple[str, style.Handle]] = [
        ("choices that no other beats", line),
        ("± standard error", Line2D([], [], color=style.LINES[0], linewidth=1.6)),
    ]
    return Panel(key, Readings(rows, columns, cells, x=water, y=odds))


def odds_and_error(percent_of_years: float, error: float) -> str:
    """``12±3``; no error where it is less than a half; ``none`` or ``all`` of no or every year."""
    if percent_of_years in (0.0, 100.0):
        return NONE if percent_of_years == 0.0 else of_100(1.0)
    text = of_100(percent_of_years / 100.0)
    return text if round(error) == 0 or not text.isdigit() else f"{text}±{error:.0f}"


def setting_text(value: object) -> str:
    """A value of an axis as it is shown."""
    return f"{value:.4g}" if isinstance(value, float | np.floating) else plain(str(value))


@Drawing
def drivers(
    result: xr.Dataset, plan: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """Share of the variance of the odds that each axis accounts for."""
    found = effects(result, stage, plan)
    order = np.argsort(-np.nan_to_num(found["main"].values, nan=-1.0), kind="stable")
    names = [plain(str(name)) for name in found["axis"].values[order]]
    at = np.arange(len(names))
    main = found["main"].values[order]
    axes.barh(at, main * 100.0, 0.42, color=style.LINES[0])
    key: list[tuple[str, style.Handle]] = [("alone", Patch(color=style.LINES[0]))]
    cells = [[percent(value) for value in main]]
    top = float(np.nanmax(main, initial=0.01)) * 100.0
    if "total" in found:
        low, high, total = (
            found[f"total{end}"].values[order] * 100.0 for end in ("_low", "_high", "")
        )
        axes.hlines(at, low, high, color=style.LINES[1], linewidth=1.6)
        (dots,) = axes.plot(total, at, "D", color=style.LINES[1], markersize=5, clip_on=False)
        key.append(("with interactions, 90% limits", dots))
        cells.append([
            f"{percent(t / 100)} ({percent(a / 100)} to {percent(b / 100)})"
            for t, a, b in zip(total, low, high, strict=True)
        ])  # fmt: skip
        top = max(top, float(np.nanmax(high, initial=1.0)))
    style.name_rows(axes, names)
    style.scale(axes.xaxis)
    axes.set_xlim(0, 1.04 * top)
    axes.set_xlabel("share of the variance between points, %")
    return Panel(key, Readings(names, [name for name, _ in key], cells, y=at))


@Drawing
def response(
    result: xr.Dataset, plan: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """Mean odds at each pair of values of the two axes that drive them most."""
    across, up = strongest(result, stage, plan)[:2]
    found = surface(result, across, up, stage, plan)
    odds = found["mean"].values * 100.0
    axes.pcolormesh(odds, cmap=_SCALE, vmin=0.0, vmax=100.0, edgecolors=style.PAPER, linewidth=1)
    for (row, column), value in np.ndenumerate(odds):
        text = "–" if np.isnan(value) else f"{value:.0f}"
        color = "#ffffff" if value > 45.0 else "#1d1d1d"
        axes.text(column + 0.5, row + 0.5, text, ha="center", va="center", color=color)
    columns, rows = ([str(value) for value in found[name].values] for name in ("across", "up"))
    axes.set_xticks(np.arange(len(columns)) + 0.5, columns)
    axes.set_yticks(np.arange(len(rows)) + 0.5, rows)
    axes.grid(visible=False)
    axes.set_xlabel(plain(axis_title(result, across)))
    axes.set_ylabel(plain(axis_title(result, up)))
    style.measure(axes, f"mean % of years with {style.STAGE_WORDS[stage]}")
    places = list(np.ndindex(odds.shape))
    readings = Readings(
        [f"{plain(across)} {columns[c]}, {plain(up)} {rows[r]}" for r, c in places],
        [f"years with {style.STAGE_WORDS[stage]}"],
        [[percent(float(odds[place]) / 100.0) for place in places]],
        x=[c + 0.5 for _, c in places],
        y=[r + 0.5 for r, _ in places],
    )
    return Panel([], readings)
