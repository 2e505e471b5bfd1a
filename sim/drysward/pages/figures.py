"""Figures of stress and water: each draws on one axes what a result holds, and returns the axes.

``axes`` is where to draw; a new figure when None, to show in a notebook. ``units`` is "us" or
"metric". KeyError names a field, plan or stage that the result does not have.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from drysward.pages import style
from drysward.pages.result import keys, label
from drysward.quantities import shown
from drysward.results.text import year_mark

_FIRST_DAYS = np.array([1, 32, 61, 92, 122, 153, 183, 214, 245, 275, 306, 336])
MONTHS = "JFMAMJJASOND"
_PERCENT = 100.0


def start(axes: Axes | None) -> Axes:
    """The axes given, or those of a new figure that the notebook shows."""
    if axes is not None:
        return axes
    import matplotlib.pyplot as plt

    with style.look():
        return plt.figure(figsize=style.PANEL_IN, layout="constrained").add_subplot()


def turf_order(result: xr.Dataset) -> np.ndarray:
    """Places (366,) of the calendar days from the start of the turf year on."""
    days = np.arange(366)
    return np.roll(days, -182) if result.attrs.get("turf_year_starts") == "07-01" else days


def month_axis(axes: Axes, result: xr.Dataset) -> None:
    """Months along the bottom, from the start of the turf year."""
    south = result.attrs.get("turf_year_starts") == "07-01"
    order = np.roll(np.arange(12), -6) if south else np.arange(12)
    starts = (_FIRST_DAYS[order] - _FIRST_DAYS[order[0]]) % 366 + 1
    axes.set_xticks(starts, [MONTHS[m] for m in order], ha="left")
    axes.set_xlim(1, 366)


def percent_axis(axes: Axes, told: str, top: float | None = None) -> None:
    axes.set_ylabel(told)
    axes.set_ylim(0, top)


def _odds(axes: Axes, result: xr.Dataset, where: dict[str, str], look: dict[str, Any]) -> Line2D:
    """Odds by day of year in percent, with the band of their 90% limits where it is known."""
    order = turf_order(result)
    days = np.arange(1, 367)
    if "odds_low" in result:
        low, high = (
            result[f"odds_{end}"].sel(where).values[order] * _PERCENT for end in ("low", "high")
        )
        axes.fill_between(days, low, high, color=look["color"], alpha=0.16, linewidth=0)
    (line,) = axes.plot(days, result["odds"].sel(where).values[order] * _PERCENT, **look)
    return line


def stages(
    result: xr.Dataset, field: str, plan: str, *, axes: Axes | None = None, units: str = "us"
) -> Axes:
    """Odds of each stage by day of year, with 90% limits."""
    axes = start(axes)
    lines = []
    with style.look():
        for i, (stage, colour) in enumerate(style.STAGES.items()):
            look = {"color": colour, "linestyle": style.DASHES[i]}
            lines.append(_odds(axes, result, {"field": field, "plan": plan, "stage": stage}, look))
        month_axis(axes, result)
        percent_axis(axes, "years with the stage, %", 102)
        style.legend(axes, lines, list(style.STAGE_WORDS.values()), 4)
    return axes


def plans(
    result: xr.Dataset,
    field: str,
    stage: str = "wilt",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """All plans for one field: odds of a stage by day of year."""
    return _odds_of_each(start(axes), result, "plan", {"field": field, "stage": stage})


def fields(
    result: xr.Dataset,
    plan: str,
    stage: str = "wilt",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """All fields side by side under one plan: odds of a stage by day of year."""
    return _odds_of_each(start(axes), result, "field", {"plan": plan, "stage": stage})


def _odds_of_each(axes: Axes, result: xr.Dataset, over: str, where: dict[str, str]) -> Axes:
    """A line of odds by day of year for each plan, or each field."""
    lines, names = [], []
    with style.look():
        for i, key in enumerate(keys(result, over)):
            lines.append(_odds(axes, result, {**where, over: key}, style.line_style(i)))
            names.append(label(result, over, key))
        month_axis(axes, result)
        percent_axis(axes, f"years with {style.STAGE_WORDS[where['stage']]}, %")
        style.legend(axes, lines, names)
    return axes


def _chosen(result: xr.Dataset, case: str) -> str:
    return year_mark(result.attrs, int(result["chosen_year"].sel(case=case)))


def case_lanes(axes: Axes, result: xr.Dataset) -> list[tuple[str, float]]:
    """A lane for each of the three years, the dry one on top, named at the left."""
    cases = keys(result, "case")
    lanes = [(case, 1.2 * (len(cases) - 1 - i)) for i, case in enumerate(cases)]
    names = [f"{case}\n{_chosen(result, case)}" for case, _ in lanes]
    axes.set_yticks([floor + 0.5 for _, floor in lanes], names)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(visible=False)
    axes.set_ylim(-0.02, 1.2 * len(cases) - 0.18)
    return lanes


def cover(
    result: xr.Dataset, field: str, plan: str, *, axes: Axes | None = None, units: str = "us"
) -> Axes:
    """Green, dormant and dead shares of a field through a dry, a middling and a wet year."""
    axes = start(axes)
    with style.look():
        days = result["turf_day"].values
        parts = [name for name in style.COVERS if f"daily_{name}" in result]
        seen = set()
        one = result[[f"daily_{name}" for name in parts]].sel(field=field, plan=plan)
        for case, floor in case_lanes(axes, result):
            here = one.sel(case=case)
            base = np.full(days.size, floor)
            for name in parts:
                share = here[f"daily_{name}"].values
                if name == "green" and "daily_winter_rest" in here:
                    share = share * (1.0 - here["daily_winter_rest"].values)
                elif name == "winter_rest":
                    share = share * here["daily_green"].values
                if np.nanmax(share, initial=0.0) > 0.001:
                    seen.add(name)
                    axes.fill_between(
                        days, base, base + share, color=style.COVERS[name], linewidth=0
                    )
                base = base + share
        month_axis(axes, result)
        shown_parts = [name for name in parts if name in seen]
        style.legend(
            axes,
            [Patch(color=style.COVERS[name]) for name in shown_parts],
            [style.COVER_WORDS[name] for name in shown_parts],
            5,
        )
    return axes


def months(
    result: xr.Dataset, field: str, plan: str, *, axes: Axes | None = None, units: str = "us"
) -> Axes:
    """Water of each month over the years: median, half and eight tenths of them; dry years."""
    axes = start(axes)
    depth = shown("mm", units)
    with style.look():
        one = result[["irrigation_month", "irrigation_month_quantile"]].sel(field=field, plan=plan)
        spread = one["irrigation_month_quantile"].transpose("month", "share").values * depth.factor
        at = np.arange(1, 13)
        low, quarter, middle, three, high = spread.T
        axes.vlines(at, low, high, color=style.MUTED, linewidth=1.2)
        axes.bar(at, three - quarter, 0.56, quarter, color=style.LINES[0], alpha=0.35)
        axes.hlines(middle, at - 0.28, at + 0.28, color=style.LINES[0], linewidth=2.2)
        handles: list[Any] = [
            Line2D([], [], color=style.LINES[0], linewidth=2.2),
            Patch(color=style.LINES[0], alpha=0.35),
            Line2D([], [], color=style.MUTED, linewidth=1.2),
        ]
        names = ["median", "half of the years", "8 years in 10"]
        for i, year in enumerate(driest(result)):
            (dots,) = axes.plot(
                at,
                one["irrigation_month"].sel(year=year).values * depth.factor,
                linestyle="",
                marker=style.marker(i),
                markersize=4.5,
                markerfacecolor="none",
                markeredgecolor=style.LINES[1],
            )
            handles.append(dots)
            names.append(f"dry, {year_mark(result.attrs, year)}")
        axes.set_xticks(at, list(MONTHS))
        axes.set_ylabel(f"water of the month, {depth.unit}")
        axes.set_ylim(0, None)
        style.legend(axes, handles, names, 3)
    return axes


def driest(result: xr.Dataset) -> list[int]:
    """The driest years that the result names, and has."""
    named = [int(year) for year in result.attrs.get("driest_years", "").split(", ") if year]
    have = set(result["year"].values.tolist())
    return [year for year in named if year in have]


def demand(result: xr.Dataset, field: str, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Water of a dry year by its return period, with limits; hollow where a curve was fitted."""
    axes = start(axes)
    depth = shown("mm", units)
    with style.look():
        periods = result["period"].values
        of_field = result[["demand", "demand_low", "demand_high", "demand_fitted"]].sel(field=field)
        lines, names = [], []
        plan_keys = [
            key
            for key in keys(result, "plan")
            if float(result["season_water"].sel(field=field, plan=key)) > 0.0
        ]
        for i, plan in enumerate(keys(result, "plan")):
            if plan not in plan_keys:
                continue
            one = of_field.sel(plan=plan)
            value, low, high = (
                one[name].values * depth.factor for name in ("demand", "demand_low", "demand_high")
            )
            look = style.line_style(i)
            # Side by side, or the limits of one plan would hide another's.
            at = periods * 1.03 ** (plan_keys.index(plan) - (len(plan_keys) - 1) / 2)
            axes.vlines(at, low, high, color=look["color"], alpha=0.55, linewidth=1.6)
            axes.plot(at, value, **look)
            fitted = one["demand_fitted"].values.astype(bool)
            for hollow in (False, True):
                axes.plot(
                    at[fitted == hollow],
                    value[fitted == hollow],
                    linestyle="",
                    marker=style.marker(i),
                    markersize=5,
                    color=look["color"],
                    markerfacecolor=style.PAPER if hollow else look["color"],
                )
            lines.append(Line2D([], [], marker=style.marker(i), markersize=5, **look))
            names.append(label(result, "plan", plan))
        axes.set_xscale("log")
        axes.set_xticks(periods, [f"{period:g}" for period in periods])
        axes.minorticks_off()
        axes.set_xlabel("once in so many years")
        axes.set_ylabel(f"water of the year, {depth.unit}")
        axes.set_ylim(0, None)
        style.legend(axes, lines, names)
    return axes


def saved(
    result: xr.Dataset,
    field: str,
    stage: str = "wilt",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """Water that each plan saves against the thirstiest, and the risk taken for it."""
    axes = start(axes)
    depth = shown("mm", units)
    with style.look():
        dots, names = [], []
        wanted = ["water_saved", "probability", "probability_low", "probability_high"]
        of_field = result[wanted].sel(field=field)
        for i, plan in enumerate(keys(result, "plan")):
            one = of_field.sel(plan=plan)
            odds = one.sel(stage=stage)
            water = one["water_saved"].item() * depth.factor
            risk, low, high = (
                odds[name].item() * _PERCENT
                for name in ("probability", "probability_low", "probability_high")
            )
            colour = style.line_style(i)["color"]
            axes.vlines(water, low, high, color=colour, linewidth=1.6)
            (dot,) = axes.plot(
                [water], [risk], linestyle="", marker=style.marker(i), markersize=7, color=colour
            )
            dots.append(dot)
            names.append(label(result, "plan", plan))
        axes.margins(x=0.08)
        axes.set_xlabel(f"water saved a year, {depth.unit}")
        percent_axis(axes, f"years with {style.STAGE_WORDS[stage]}, %", 104)
        style.legend(axes, dots, names)
    return axes


def account(
    result: xr.Dataset,
    field: str,
    plan: str,
    case: str = "dry",
    *,
    axes: Axes | None = None,
    units: str = "us",
) -> Axes:
    """Day by day through a chosen year: rain and irrigation from above, depletion from below."""
    axes = start(axes)
    depth = shown("mm", units)
    with style.look():
        wanted = ["daily_depletion", "daily_precipitation", "daily_irrigation_landed"]
        one = result[wanted].sel(field=field, plan=plan, case=case)
        days = result["turf_day"].values
        dry = one["daily_depletion"].values * _PERCENT
        axes.fill_between(days, 0, dry, color=style.STAGES["wilt"], alpha=0.22, linewidth=0)
        (line,) = axes.plot(days, dry, color=style.STAGES["wilt"], linewidth=1.2)
        axes.set_ylim(0, 190)
        axes.set_yticks([0, 25, 50, 75, 100])
        axes.set_ylabel("available water gone, %", loc="bottom")
        above = axes.twinx()
        rain = np.nan_to_num(one["daily_precipitation"].values) * depth.factor
        water = np.nan_to_num(one["daily_irrigation_landed"].values) * depth.factor
        for base, depths, colour in ((0.0 * rain, rain, 0), (rain, water, 2)):
            # One broken line, not hundreds: a page holds many of these figures.
            wet = depths > 0.0
            gap = np.full(int(wet.sum()), np.nan)
            ends = np.stack([base[wet], (base + depths)[wet], gap], axis=1).ravel()
            above.plot(np.repeat(days[wet], 3), ends, color=style.LINES[colour], linewidth=0.9)
        above.set_ylim(max(float((rain + water).max()), 1.0 * depth.factor) * 2.3, 0)
        above.spines["right"].set_visible(True)
        above.grid(visible=False)
        above.set_ylabel(f"rain and irrigation, {depth.unit}", loc="top")
        month_axis(axes, result)
        style.legend(
            axes,
            [
                line,
                Line2D([], [], color=style.LINES[0], linewidth=3),
                Line2D([], [], color=style.LINES[2], linewidth=3),
            ],
            ["depletion", "rain", "irrigation"],
            3,
        )
    return axes
