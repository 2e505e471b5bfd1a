"""Figures of stress and water. Each draws one panel of what a result holds.

In a notebook call them as ``cover(result, "stadium", "deficit", units="metric")``; they return the
axes. ``axes`` is where to draw, a new figure when left out; ``units`` is "us" or "metric". KeyError
names a field, plan or stage that the result does not have.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.panel import Drawing, Panel, Readings
from drysward.pages.result import keys, label
from drysward.quantities import shown
from drysward.results.choice import days_below, mean_water
from drysward.results.text import UNKNOWN, holds_dry_years, rounded, year_mark
from drysward.scenario.values import named_day

MONTHS = "JFMAMJJASOND"
MONTH_NAMES = tuple(datetime.date(2000, month, 1).strftime("%B") for month in range(1, 13))
_FIRST_DAYS = np.array([1, 32, 61, 92, 122, 153, 183, 214, 245, 275, 306, 336])
_LENGTHS = np.diff(np.append(_FIRST_DAYS, 367))
_PERCENT = 100.0
_WEEK = 7


def is_south(result: xr.Dataset) -> bool:
    """Whether the turf year starts in July."""
    return bool(result.attrs.get("turf_year_starts") == "07-01")


def turf_order(result: xr.Dataset) -> np.ndarray:
    """Places (366,) of the calendar days from the start of the turf year on."""
    days = np.arange(366)
    return np.roll(days, -182) if is_south(result) else days


def month_axis(axes: Axes, result: xr.Dataset) -> None:
    """Letters in the middle of the months, from the start of the turf year; lines between them."""
    order = np.roll(np.arange(12), -6) if is_south(result) else np.arange(12)
    starts = (_FIRST_DAYS[order] - _FIRST_DAYS[order[0]]) % 366 + 1
    axes.set_xticks(starts + _LENGTHS[order] / 2.0, [MONTHS[m] for m in order])
    axes.vlines(
        starts[1:], 0.0, 1.0, transform=axes.get_xaxis_transform(), color=style.RULE,
        linewidth=0.5, zorder=0.5,
    )  # fmt: skip
    axes.set_xlim(1, 367)


def percent(share: float) -> str:
    """``12%``; "-" where it is not known."""
    return UNKNOWN if np.isnan(share) else f"{share:.0%}"


# Odds by day of the year


MOST_BANDS = 4
"""Lines that have a band of their limits; the bands of more would hide the lines."""


def _odds_panel(
    axes: Axes,
    result: xr.Dataset,
    lines: Sequence[tuple[str, dict[str, str], dict[str, Any]]],
    stage: str,
) -> Panel:
    """Odds by day of year, with their 90% limits where the file has them.

    ``lines``: the name, the place in ``result`` and the look of each.
    """
    order = turf_order(result)
    days = np.arange(1, 367)
    ends = ("", "_low", "_high") if "odds_low" in result else ("",)
    key, cells, top = [], [], 5.0
    for name, where, look in lines:
        values = [result[f"odds{end}"].sel(where).values[order] * _PERCENT for end in ends]
        if len(values) > 1 and len(lines) <= MOST_BANDS:
            axes.fill_between(days, *values[1:], color=look["color"], alpha=0.13, linewidth=0)
            top = max(top, float(np.nanmax(values[2], initial=0.0)))
        (line,) = axes.plot(days, values[0], **look)
        top = max(top, float(np.nanmax(values[0], initial=0.0)))
        key.append((name, line))
        weekly = [each[::_WEEK] for each in values]
        cells.append([
            f"{odds[0]:.0f}%" + (f" ({odds[1]:.0f} to {odds[2]:.0f})" if odds[1:] else "")
            for odds in zip(*weekly, strict=True)
        ])  # fmt: skip
    month_axis(axes, result)
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, top)
    style.measure(axes, f"% of years with {stage}")
    rows = [named_day(day) for day in order[::_WEEK]]
    return Panel(key, Readings(rows, [name for name, _ in key], cells, x=days[::_WEEK]))


@Drawing
def stages(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """Odds of each stage by day of year, with 90% limits."""
    lines = [
        (style.STAGE_WORDS[stage], {"stage": stage}, {"color": color, "linestyle": dash})
        for (stage, color), dash in zip(style.STAGES.items(), style.DASHES, strict=True)
    ]
    return _odds_panel(axes, _odds_of(result, field=field, plan=plan), lines, "the stage")


def _odds_of(result: xr.Dataset, **where: str) -> xr.Dataset:
    names = [name for name in ("odds", "odds_low", "odds_high") if name in result]
    return result[names].sel(where)


@Drawing
def plans(
    result: xr.Dataset, field: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """All plans on one field: odds of a stage by day of year."""
    return _odds_of_each(axes, result, "plan", field=field, stage=stage)


@Drawing
def fields(
    result: xr.Dataset, plan: str, stage: str = "wilt", *, axes: Axes, units: str
) -> Panel:
    """All fields under one plan: odds of a stage by day of year."""
    return _odds_of_each(axes, result, "field", plan=plan, stage=stage)


def _odds_of_each(axes: Axes, result: xr.Dataset, over: str, **where: str) -> Panel:
    """A line of odds by day of year for each plan, or each field."""
    lines = [
        (label(result, over, name), {over: name}, style.line_style(i))
        for i, name in enumerate(keys(result, over))
    ]
    odds = _odds_of(result, **where)
    return _odds_panel(axes, odds, lines, style.STAGE_WORDS[where["stage"]])


# Days below and water


@Drawing
def days(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Days below playing condition by plan: average year, 1-in-10 year, 5 to 95% across draws."""
    names = keys(result, "plan")
    mean, worst = (days.sel(field=field).values for days in days_below(result))
    top = float(np.nanmax(np.fmax(mean, worst), initial=1.0))
    rows = np.arange(len(names))
    ink, muted = style.LINES[0], style.MUTED
    key: list[tuple[str, style.Handle]] = [
        ("average year", Line2D([], [], linestyle="", marker="o", markersize=7, color=ink)),
    ]
    cells, columns = [[f"{value:.0f} days" for value in mean]], ["average year"]
    if holds_dry_years(result):
        bad = Line2D([], [], linestyle="", marker="D", markersize=6, color=muted,
                     markerfacecolor="none")  # fmt: skip
        key.append(("1-in-10 year", bad))
        cells.append([f"{value:.0f} days" for value in worst])
        columns.append("1-in-10 year")
    if "doubt_days_below_condition_low" in result:
        low, high = (
            result[f"doubt_days_below_condition_{end}"].sel(field=field).values
            for end in ("low", "high")
        )
        top = max(top, float(np.nanmax(high, initial=1.0)))
        axes.hlines(rows, low, high, color=ink, linewidth=5.0, alpha=0.3)
        span = Line2D([], [], color=ink, linewidth=5.0, alpha=0.3)
        key.append(("average year, 5 to 95% across draws", span))
        columns.append("5 to 95% across draws")
        cells.append([f"{a:.0f} to {b:.0f} days" for a, b in zip(low, high, strict=True)])
    axes.plot(worst, rows, "D", markersize=6, color=muted, markerfacecolor="none", clip_on=False)
    axes.plot(mean, rows, "o", markersize=7, color=ink, clip_on=False)
    style.name_rows(axes, [label(result, "plan", name) for name in names])
    style.scale(axes.xaxis)
    style.from_zero(axes.xaxis, top)
    axes.set_xlabel("days below condition a year")
    return Panel(key, Readings([label(result, "plan", n) for n in names], columns, cells, y=rows))


@Drawing
def water(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Water of each plan against its days below playing condition, average year to 1-in-10 year."""
    depth = shown("mm", units)
    used = mean_water(result).sel(field=field).values * depth.factor
    mean, worst = (days.sel(field=field).values for days in days_below(result))
    key: list[tuple[str, style.Handle]] = []
    names = [label(result, "plan", name) for name in keys(result, "plan")]
    for i, name in enumerate(names):
        color = style.line_style(i)["color"]
        axes.vlines(used[i], mean[i], worst[i], color=color, linewidth=1.6)
        (dot,) = axes.plot(
            [used[i]], [mean[i]], linestyle="", marker=style.marker(i), markersize=8,
            color=color, clip_on=False,
        )  # fmt: skip
        key.append((name, dot))
    for axis, most in ((axes.xaxis, used), (axes.yaxis, np.fmax(mean, worst))):
        style.scale(axis)
        style.from_zero(axis, float(np.nanmax(most, initial=1.0)))
    axes.set_xlabel(f"water a year, {depth.unit}")
    style.measure(axes, "days below condition a year")
    cells = [
        [f"{rounded(value, depth.decimals)} {depth.unit}" for value in used],
        [f"{value:.0f} days" for value in mean],
    ]
    columns = ["water a year", "average year"]
    if holds_dry_years(result):
        key.append(("up to the 1-in-10 year", Line2D([], [], color=style.MUTED, linewidth=1.6)))
        cells.append([f"{value:.0f} days" for value in worst])
        columns.append("1-in-10 year")
    return Panel(key, Readings(names, columns, cells, x=used, y=mean))


@Drawing
def months(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """Water of each month: the median, half and eight tenths of the years; the driest years."""
    depth = shown("mm", units)
    one = result[["irrigation_month", "irrigation_month_quantile"]].sel(field=field, plan=plan)
    spread = one["irrigation_month_quantile"].transpose("month", "share").values * depth.factor
    at = np.arange(1, 13)
    low, quarter, middle, three, high = spread.T
    axes.vlines(at, low, high, color=style.MUTED, linewidth=1.2)
    axes.bar(at, three - quarter, 0.56, quarter, color=style.LINES[0], alpha=0.35)
    axes.hlines(middle, at - 0.28, at + 0.28, color=style.LINES[0], linewidth=2.2)
    key: list[tuple[str, style.Handle]] = [
        ("median", Line2D([], [], color=style.LINES[0], linewidth=2.2)),
        ("half of the years", Patch(color=style.LINES[0], alpha=0.35)),
        ("8 years in 10", Line2D([], [], color=style.MUTED, linewidth=1.2)),
    ]
    depths = [middle, quarter, three, low, high]
    columns = ["median", "25%", "75%", "10%", "90%"]
    for i, year in enumerate(driest(result)):
        of_year = one["irrigation_month"].sel(year=year).values * depth.factor
        (dots,) = axes.plot(
            at, of_year, linestyle="", marker=style.marker(i), markersize=4.5,
            markerfacecolor="none", markeredgecolor=style.LINES[1],
        )  # fmt: skip
        name = f"dry year, {year_mark(result.attrs, year)}"
        key.append((name, dots))
        depths.append(of_year)
        columns.append(name)
    axes.set_xticks(at, list(MONTHS))
    axes.set_xlim(0.4, 12.6)
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, max(1.0 * depth.factor, *(float(np.nanmax(d)) for d in depths)))
    style.measure(axes, f"water of the month, {depth.unit}")
    cells = [[f"{value:.{depth.decimals}f} {depth.unit}" for value in each] for each in depths]
    return Panel(key, Readings(MONTH_NAMES, columns, cells, x=at))


def driest(result: xr.Dataset) -> list[int]:
    """The driest years that the result names and has."""
    named = [int(year) for year in result.attrs.get("driest_years", "").split(", ") if year]
    have = set(result["year"].values.tolist())
    return [year for year in named if year in have]


@Drawing
def demand(result: xr.Dataset, field: str, *, axes: Axes, units: str) -> Panel:
    """Water of a dry year by its return period, with limits; hollow where a curve was fitted."""
    depth = shown("mm", units)
    periods = result["period"].values
    of_field = result[["demand", "demand_low", "demand_high", "demand_fitted"]].sel(field=field)
    watered = [
        (i, plan)
        for i, plan in enumerate(keys(result, "plan"))
        if float(result["season_water"].sel(field=field, plan=plan)) > 0.0
    ]
    key, cells, top = [], [], 1.0 * depth.factor
    for place, (i, plan) in enumerate(watered):
        one = of_field.sel(plan=plan)
        value, low, high = (
            one[name].values * depth.factor for name in ("demand", "demand_low", "demand_high")
        )
        look = style.line_style(i)
        # Side by side, or the limits of one plan would hide another's.
        at = periods * 1.03 ** (place - (len(watered) - 1) / 2)
        axes.vlines(at, low, high, color=look["color"], alpha=0.55, linewidth=1.6)
        axes.plot(at, value, **look)
        fitted = one["demand_fitted"].values.astype(bool)
        for hollow in (False, True):
            axes.plot(
                at[fitted == hollow], value[fitted == hollow], linestyle="",
                marker=style.marker(i), markersize=5, color=look["color"],
                markerfacecolor=style.PAPER if hollow else look["color"],
            )  # fmt: skip
        name = label(result, "plan", plan)
        key.append((name, Line2D([], [], marker=style.marker(i), markersize=5, **look)))
        cells.append([
            f"{rounded(v, depth.decimals)} {depth.unit} "
            f"({rounded(a, depth.decimals)} to {rounded(b, depth.decimals)})"
            for v, a, b in zip(value, low, high, strict=True)
        ])  # fmt: skip
        top = max(top, float(np.nanmax([value, high])))
    axes.set_xscale("log")
    axes.set_xticks(periods, [f"{period:g}" for period in periods])
    axes.minorticks_off()
    axes.set_xlim(periods.min() / 1.15, periods.max() * 1.15)
    axes.set_xlabel("reached once in this many years")
    style.scale(axes.yaxis)
    style.from_zero(axes.yaxis, top)
    style.measure(axes, f"water of the year, {depth.unit}")
    rows = [f"1 in {period:g} years" for period in periods]
    return Panel(key, Readings(rows, [name for name, _ in key], cells, x=periods))


# Single years


def case_lanes(axes: Axes, result: xr.Dataset) -> list[tuple[str, float]]:
    """A lane for each of the three years, the dry one on top, named at the left."""
    cases = keys(result, "case")
    lanes = [(case, 1.2 * (len(cases) - 1 - i)) for i, case in enumerate(cases)]
    names = [f"{case}\n{_chosen(result, case)}" for case, _ in lanes]
    axes.set_yticks([floor + 0.5 for _, floor in lanes], names)
    # Lines of a label begin where the plotting library's type puts them; a page's may be larger.
    axes.tick_params(axis="y", pad=14.0)
    axes.spines["left"].set_visible(False)
    axes.grid(visible=False)
    axes.set_ylim(-0.02, 1.2 * len(cases) - 0.18)
    return lanes


def _chosen(result: xr.Dataset, case: str) -> str:
    return year_mark(result.attrs, int(result["chosen_year"].sel(case=case)))


def case_columns(result: xr.Dataset) -> list[str]:
    """``dry, 2012``, for each of the three years."""
    return [f"{case}, {_chosen(result, case)}" for case in keys(result, "case")]


def turf_days(result: xr.Dataset) -> list[str]:
    """Every day of the turf year by its date; a leap year's for all."""
    order = turf_order(result)
    return [named_day(order[(day - 1) % 366]) for day in result["turf_day"].values]


@Drawing
def cover(result: xr.Dataset, field: str, plan: str, *, axes: Axes, units: str) -> Panel:
    """Green, dormant and dead shares of a field through a dry, a middling and a wet year."""
    at = result["turf_day"].values
    parts = [name for name in style.COVERS if f"daily_{name}" in result]
    one = result[[f"daily_{name}" for name in parts]].sel(field=field, plan=plan)
    seen: set[str] = set()
    cells = []
    for case, floor in case_lanes(axes, result):
        here = one.sel(case=case)
        base = np.full(at.size, floor)
        shares = {}
        for name in parts:
            share = here[f"daily_{name}"].values
            if name == "green" and "daily_winter_rest" in here:
                share = share * (1.0 - here["daily_winter_rest"].values)
            elif name == "winter_rest":
                share = share * here["daily_green"].values
            if np.nanmax(share, initial=0.0) > 0.001:
                seen.add(name)
                shares[style.COVER_WORDS[name]] = share[::_WEEK]
                axes.fill_between(at, base, base + share, color=style.COVERS[name], linewidth=0)
            base = base + share
        cells.append([
            ", ".join(f"{values[i]:.0%} {name}" for name, values in shares.items()
                      if values[i] >= 0.005) or UNKNOWN
            for i in range(at[::_WEEK].size)
        ])  # fmt: skip
    month_axis(axes, result)
    key = [(style.COVER_WORDS[n], Patch(color=style.COVERS[n])) for n in parts if n in seen]
    rows = turf_days(result)[::_WEEK]
    return Panel(key, Readings(rows, case_columns(result), cells, x=at[::_WEEK]))


@Drawing
def account(
    result: xr.Dataset, field: str, plan: str, case: str = "dry", *, axes: Axes, units: str
) -> Panel:
    """Day by day through a chosen year: rain and irrigation from above, depletion from below."""
    depth = shown("mm", units)
    shown_names = ["daily_depletion", "daily_precipitation", "daily_irrigation_landed"]
    one = result[shown_names].sel(field=field, plan=plan, case=case)
    at = result["turf_day"].values
    dry = one["daily_depletion"].values * _PERCENT
    axes.fill_between(at, 0, dry, color=style.STAGES["wilt"], alpha=0.22, linewidth=0)
    (line,) = axes.plot(at, dry, color=style.STAGES["wilt"], linewidth=1.2)
    axes.set_ylim(0, 190)
    axes.set_yticks([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100"])
    style.measure(axes, "depletion, % (from below)")
    above = axes.twinx()
    rain = np.nan_to_num(one["daily_precipitation"].values) * depth.factor
    landed = np.nan_to_num(one["daily_irrigation_landed"].values) * depth.factor
    for base, depths, color in ((0.0 * rain, rain, 0), (rain, landed, 2)):
        # One broken line, not hundreds: a page holds many of these figures.
        wet = depths > 0.0
        gap = np.full(int(wet.sum()), np.nan)
        ends = np.stack([base[wet], (base + depths)[wet], gap], axis=1).ravel()
        above.plot(np.repeat(at[wet], 3), ends, color=style.LINES[color], linewidth=0.9)
    above.set_ylim(max(float((rain + landed).max()), 1.0 * depth.factor) * 2.3, 0)
    above.spines["right"].set_visible(True)
    above.grid(visible=False)
    style.scale(above.yaxis)
    above.set_title(f"{depth.unit} a day (from above)", loc="right", fontsize=9.0,
                    color=style.MUTED)  # fmt: skip
    month_axis(axes, result)
    key = [
        ("depletion", line),
        ("rain", Line2D([], [], color=style.LINES[0], linewidth=3)),
        ("irrigation", Line2D([], [], color=style.LINES[2], linewidth=3)),
    ]
    decimals = depth.decimals + 1
    cells = [
        [f"{value:.0f}%" if np.isfinite(value) else UNKNOWN for value in dry],
        *([f"{value:.{decimals}f} {depth.unit}" for value in each] for each in (rain, landed)),
    ]
    return Panel(key, Readings(turf_days(result), [name for name, _ in key], cells, x=at))
