"""Figures of a season's outlook, a panel each; see ``figures``."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.figures import MONTH_NAMES
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import keys, label
from drysward.results.season_text import day_text
from drysward.results.text import UNKNOWN, rounded, volume_display

_WEEK, _PERCENT = 7, 100.0
USUAL = "a usual year"


def _day_numbers(result: xr.Dataset, name: str = "date") -> np.ndarray:
    days: np.ndarray = result[name].values.astype("datetime64[D]").astype(float)
    return days


def _date_axis(axes: Axes, first: float, last: float) -> None:
    """Names of the months at their middle, and lines between them."""
    days = np.arange(int(first), int(last) + 1).astype("datetime64[D]")
    starts = np.unique(days.astype("datetime64[M]"))
    begins = np.maximum(starts.astype("datetime64[D]").astype(float), first)
    ends = np.append(begins[1:], last + 1.0)
    names = [MONTH_NAMES[int(m.astype(int) % 12)][:3] for m in starts]
    long = ends - begins > 6.0
    axes.set_xticks(((begins + ends) / 2.0)[long], [n for n, one in zip(names, long, strict=True)
                                                    if one])  # fmt: skip
    axes.vlines(
        begins[1:], 0.0, 1.0, transform=axes.get_xaxis_transform(), color=style.RULE,
        linewidth=0.5, zorder=0.5,
    )  # fmt: skip
    axes.set_xlim(first, last)


def _weeks(result: xr.Dataset) -> np.ndarray:
    """Places of every seventh day and the last."""
    n = result.sizes["date"]
    return np.unique(np.append(np.arange(0, n, _WEEK), n - 1))


@Drawing
def outlook(
    result: xr.Dataset, field: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """Odds that a stage has come by each date, under every plan and in a usual year."""
    days, places = _day_numbers(result), _weeks(result)
    key: list[tuple[str, style.Handle]] = []
    names, cells, top = [], [], 5.0
    for i, plan in enumerate(keys(result, "plan")):
        one = result.sel(field=field, stage=stage, plan=plan)
        color = style.LINES[i % len(style.LINES)]
        odds = 100.0 * one["odds"].values
        (line,) = axes.plot(days, odds, color=color, linewidth=1.8, clip_on=False)
        name = label(result, "plan", plan)
        key.append((name, line))
        names.append(name)
        top = max(top, float(np.nanmax(odds)))
        if "usual_odds" not in one:
            cells.append([f"{odds[k]:.0f}%" for k in places])
            continue
        usual = 100.0 * one["usual_odds"].values
        axes.plot(days, usual, color=color, linewidth=1.1, linestyle=style.DASHES[2])
        top = max(top, float(np.nanmax(usual)))
        cells.append([
            f"{odds[k]:.0f}%" + ("" if np.isnan(usual[k]) else f", usual {usual[k]:.0f}%")
            for k in places
        ])  # fmt: skip
    if "usual_odds" in result:
        dashed = Line2D([], [], color=style.MUTED, linestyle=style.DASHES[2], linewidth=1.1)
        key.append((f"the same, {USUAL}", dashed))
    _date_axis(axes, days[0], days[-1])
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, top)
    style.measure(axes, f"% of ways with {style.STAGE_WORDS[stage]} by the date")
    rows = [day_text(result["date"].values[k]) for k in places]
    return Panel(key, Readings(rows, names, cells, x=days[places]))


def _fan(
    axes: Axes,
    one: xr.Dataset,
    name: str,
    color: str,
    factor: float = _PERCENT,
    unit: str = "%",
    write: Callable[[float], str] = "{:.0f}".format,
) -> Panel:
    """The days before today where the file has them, then 10, 50 and 90% of the ways on each day
    ahead, beside a usual year where it has one; values times ``factor``, in ``unit``.
    """
    days, places = _day_numbers(one), _weeks(one)
    low, middle, high = (factor * one[name].sel(quantile=q).values for q in (0.1, 0.5, 0.9))
    key: list[tuple[str, style.Handle]] = []
    first = days[0]
    if f"past_{name}" in one and one.sizes["past_date"]:
        past = _day_numbers(one, "past_date")
        so_far = factor * one[f"past_{name}"].sel(quantile=0.5).values
        axes.plot(past, so_far, color=style.INK, linewidth=1.6)
        axes.axvline(first, color=style.INK, linewidth=0.8)
        key.append(("so far", Line2D([], [], color=style.INK, linewidth=1.6)))
        first = past[0]
    axes.fill_between(days, low, high, color=color, alpha=0.22, linewidth=0)
    (line,) = axes.plot(days, middle, color=color, linewidth=1.8)
    names = ["middle way ahead", "80 of 100 ways"]
    key += zip(names, (line, Patch(color=color, alpha=0.22)), strict=True)
    gap = "" if unit == "%" else " "
    cells = [
        [f"{write(middle[k])}{gap}{unit}" for k in places],
        [f"{write(low[k])} to {write(high[k])}{gap}{unit}" for k in places],
    ]
    if f"usual_{name}" in one:
        normal = factor * one[f"usual_{name}"].sel(quantile=0.5).values
        (line,) = axes.plot(days, normal, color=style.MUTED, linestyle=style.DASHES[2])
        key.append((USUAL, line))
        names.append(USUAL)
        cells.append([
            UNKNOWN if np.isnan(normal[k]) else f"{write(normal[k])}{gap}{unit}" for k in places
        ])  # fmt: skip
    _date_axis(axes, first, days[-1])
    style.scale(axes.yaxis)
    rows = [day_text(one["date"].values[k]) for k in places]
    return Panel(key, Readings(rows, names, cells, x=days[places]))


@Drawing
def soil(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """Share of the available water that is used, so far and on every way ahead."""
    panel = _fan(axes, result.sel(field=field, plan=plan), "depletion", style.LINES[0])
    axes.set_ylim(105.0, -5.0)
    style.measure(axes, "% of available water used")
    return panel


@Drawing
def ahead(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """Green cover, so far and on every way ahead."""
    panel = _fan(axes, result.sel(field=field, plan=plan), "green", style.LINES[2])
    style.from_zero(axes.yaxis, 100.0)
    style.measure(axes, "% green")
    return panel


@Drawing
def left(result: xr.Dataset, plan: str, *, axes: Axes, units: str) -> Panel:
    """Water in storage on every way ahead."""
    unit = volume_display([result["storage"]], units, 2)
    one = result.sel(plan=plan)

    def write(volume: float) -> str:
        return rounded(volume, unit.decimals)

    panel = _fan(axes, one, "storage", style.LINES[0], unit.factor, unit.unit, write)
    most = one["storage"].sel(quantile=0.9).values * unit.factor
    style.from_zero(axes.yaxis, float(np.nanmax(most, initial=1e-9)))
    style.measure(axes, f"water in storage, {unit.unit}")
    return panel


@Drawing
def skill(
    result: xr.Dataset, field: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """Skill of past outlooks over the usual year by days ahead, with its 90% limits."""
    leads = [str(lead) for lead in result["lead"].values]
    at = np.arange(len(leads))
    key: list[tuple[str, style.Handle]] = []
    names, cells, bottom = [], [], -0.25
    for i, plan in enumerate(keys(result, "plan")):
        one = result.sel(field=field, stage=stage, plan=plan, scored="all")
        value, low, high = (
            one[f"hindcast_skill{end}"].values.astype(float) for end in ("", "_low", "_high")
        )
        known = np.isfinite(value) & np.isfinite(low) & np.isfinite(high)
        if not known.any():
            continue
        color, place = style.LINES[i % len(style.LINES)], at + 0.12 * i
        axes.vlines(place[known], low[known], high[known], color=color, linewidth=1.4)
        (dots,) = axes.plot(
            place[known], value[known], style.MARKERS[i % len(style.MARKERS)], color=color,
            markersize=5, linestyle="-", linewidth=1.0,
        )  # fmt: skip
        name = label(result, "plan", plan)
        key.append((name, dots))
        names.append(name)
        bottom = min(bottom, float(low[known].min()))
        cells.append([
            f"{v:.2f} ({a:.2f} to {b:.2f})" if ok else UNKNOWN
            for v, a, b, ok in zip(value, low, high, known, strict=True)
        ])  # fmt: skip
    axes.axhline(0.0, color=style.INK, linewidth=0.8)
    heads = ["end" if lead == "end" else f"{lead} d" for lead in leads]
    axes.set_xticks(at, heads)
    axes.set_xlim(-0.4, len(leads) - 0.2)
    style.scale(axes.yaxis)
    axes.set_ylim(max(bottom, -1.0) - 0.05, 1.05)
    style.measure(axes, "skill: 1 perfect, 0 the usual odds")
    return Panel(key, Readings(heads, names, cells, x=at.astype(float)))


@Drawing
def reliability(
    result: xr.Dataset, field: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """How often a stage came after outlooks of like odds, all leads up to 30 days together."""
    some = result.sel(field=field, stage=stage, scored="all", lead=["7", "14", "30"])
    n = some["hindcast_bin_n"].sum(("plan", "lead")).values
    total = {
        name: (some[f"hindcast_bin_{name}"] * some["hindcast_bin_n"]).sum(("plan", "lead")).values
        for name in ("chance", "share")
    }
    seen = n > 0
    chance, share = (100.0 * total[name][seen] / n[seen] for name in ("chance", "share"))
    axes.plot([0.0, 100.0], [0.0, 100.0], color=style.MUTED, linewidth=1.0)
    (dots,) = axes.plot(chance, share, "o", color=style.LINES[0], markersize=6, clip_on=False)
    axes.set_xlim(-4, 104)
    axes.set_ylim(-4, 104)
    style.scale(axes.xaxis)
    style.scale(axes.yaxis)
    axes.set_xlabel("odds issued, %")
    style.measure(axes, f"% of outlooks after which {style.STAGE_WORDS[stage]} came")
    rows = [f"odds about {c:.0f}%" for c in chance]
    cells = [[f"came in {s:.0f}%" for s in share], [f"{count:.0f}" for count in n[seen]]]
    return Panel(
        [("outlooks of like odds, 7 to 30 days ahead", dots)],
        Readings(rows, ["share", "outlooks"], cells, x=chance, y=share),
    )
