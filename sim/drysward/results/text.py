"""Numbers and notes of results in words, the same at a terminal and on a page."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from drysward.quantities import Display, shown
from drysward.scenario.model import GENERATOR, RESAMPLE

MADE_WEATHER = {
    GENERATOR: "limits count the chance of the made years only; the climate behind them is known "
    "no better than the record or normals that it comes from",
    RESAMPLE: "limits count the years of the record, however many are drawn; no drought is longer "
    "than the record's own",
}
UNKNOWN = "-"

_MILLION = 1e6


def depth_text(value_mm: float, depth: Display) -> str:
    """A depth as it is shown, "-" where there is none."""
    return rounded(value_mm * depth.factor, depth.decimals)


def rounded(value: float, decimals: int) -> str:
    """A number with so many decimals, "-" where there is none."""
    return UNKNOWN if math.isnan(value) else f"{value:,.{decimals}f}"


def volume_display(values: Sequence[xr.DataArray], system: str) -> Display:
    """Gallons, or millions of them when any value reaches one; m3 as they are."""
    unit = shown("m3", system)
    largest = max(
        (float(np.nanmax(v.values, initial=0.0, where=np.isfinite(v.values))) for v in values),
        default=0.0,
    )
    if system == "us" and largest * unit.factor >= _MILLION:
        return Display("Mgal", unit.factor / _MILLION, 3)
    return unit


def volume_text(value_m3: float, unit: Display) -> str:
    """A volume as it is shown, "-" where there is none."""
    return rounded(value_m3 * unit.factor, unit.decimals)


def odds_text(one: xr.Dataset, name: str = "probability") -> str:
    """Percent with its standard error; alone with a decimal where whole ones would say none or all;
    a limit when no year, or every year, had the event.
    """
    p = one[name].item()
    if math.isnan(p):
        return UNKNOWN
    if p == 0.0:
        return f"<{math.ceil(100 * one[f'{name}_high'].item())}"
    if p == 1.0:
        return f">{math.floor(100 * one[f'{name}_low'].item())}"
    if not 0.01 <= p <= 0.99:
        return f"{100 * p:.1f}"
    return f"{100 * p:.0f}±{100 * one[f'{name}_se'].item():.0f}"


def days_below_text(one: xr.Dataset) -> str:
    """Mean days a year below playing condition, and those of the worst year in ten: "9 (24)"."""
    mean, worst = (one[f"days_below_condition_{name}"].item() for name in ("mean", "1in10"))
    return UNKNOWN if math.isnan(mean) else f"{mean:.0f} ({worst:.0f})"


def spell_text(attrs: Mapping[Hashable, Any]) -> str:
    """For how long a stage must hold; a file that does not say so counted any day."""
    days = int(attrs.get("reached_days", 1))
    return f"for {days} days in a row" if days > 1 else "on any day"


def reached_text(attrs: Mapping[Hashable, Any]) -> str:
    """When a stage counts: what follows "a year in which the stage ..."."""
    return f"holds on its share of the field {spell_text(attrs)}"


def condition_text(attrs: Mapping[Hashable, Any]) -> str:
    """What is below playing condition."""
    green, wilt = (100.0 * float(attrs[f"condition_{name}"]) for name in ("green", "wilt"))
    return f"less than {green:g} % of the field green or more than {wilt:g} % of it wilting"


def procedures(by_year: dict[str, dict[str, int]]) -> list[str]:
    """Each procedure once, with the years (and the days, when not all of a year) that used it."""
    used: dict[str, list[str]] = {}
    for year, days in by_year.items():
        for name, count in days.items():
            used.setdefault(name, []).append(
                str(year) if len(days) == 1 else f"{year} ({count} days)"
            )
    return [f"{name}: {year_spans(years)}" for name, years in used.items()]


def year_spans(years: Sequence[str]) -> str:
    """Years in a row as one span: ``2011-2013, 2015 (12 days)``."""
    out: list[list[str]] = []
    for year in years:
        if out and year.isdigit() and out[-1][-1].isdigit() and int(out[-1][-1]) + 1 == int(year):
            out[-1].append(year)
        else:
            out.append([year])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in out)
