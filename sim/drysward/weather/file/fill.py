"""Filling of blank rain and temperature by a rule of the user, with counts."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, quoted
from drysward.weather.file.columns import toml_text
from drysward.weather.file.table import BoolArray, RowFault, Table, blank_required, rows_of
from drysward.weather.record import FloatArray


@dataclass(frozen=True)
class FillRule:
    """How days without a value are filled; None refuses them.

    ``zero``: no rain fell. ``interpolate``: linear between the days before and after.
    ``neighbor-years``: the same calendar day of the nearest other year that has it, the earlier of
    two equally near. Gaps longer than ``longest_gap_days`` are refused.
    """

    rain: Literal["zero", "neighbor-years"] | None = None
    temperature: Literal["interpolate", "neighbor-years"] | None = None
    longest_gap_days: int = 5

    def __post_init__(self) -> None:
        if self.rain not in (None, "zero", "neighbor-years"):
            other = quoted(self.rain)
            raise ValueError(f"rain is filled by 'zero' or 'neighbor-years', not {other}")
        if self.temperature not in (None, "interpolate", "neighbor-years"):
            raise ValueError(
                "temperature is filled by 'interpolate' or 'neighbor-years', "
                f"not {quoted(self.temperature)}"
            )
        if self.longest_gap_days < 1:
            raise ValueError("longest_gap_days is at least 1")

    def of(self, quantity: str) -> str | None:
        return self.rain if quantity == "rain" else self.temperature

    @property
    def fills_absent_days(self) -> bool:
        """Whether a day without any row can be filled."""
        return self.rain is not None and self.temperature is not None


USUAL_GAP_DAYS = FillRule().longest_gap_days


def as_toml(rule: FillRule) -> str:
    """The rule as a scenario states it under [weather]."""
    parts = [f"rain = {toml_text(rule.rain)}"] if rule.rain else []
    parts += [f"temperature = {toml_text(rule.temperature)}"] if rule.temperature else []
    if rule.longest_gap_days != USUAL_GAP_DAYS:
        parts.append(f'longest = "{rule.longest_gap_days} days"')
    return f"fill = {{ {', '.join(parts)} }}"


def as_option(rule: FillRule) -> str:
    """The rule as a command-line option."""
    parts = [f"rain={rule.rain}"] if rule.rain else []
    parts += [f"temperature={rule.temperature}"] if rule.temperature else []
    if rule.longest_gap_days != USUAL_GAP_DAYS:
        parts.append(f"longest={rule.longest_gap_days}")
    return f"--fill {','.join(parts)}"


def from_option(text: str) -> FillRule:
    """The rule of ``rain=zero,temperature=interpolate,longest=15``; ValueError for a fault."""
    words: dict[str, Any] = {}
    for part in text.split(","):
        name, _, value = (piece.strip() for piece in part.partition("="))
        days = re.fullmatch(r"([0-9]{1,4})\s*(?:days)?", value)
        if name == "longest" and days:
            words["longest_gap_days"] = int(days[1])
        elif name in ("rain", "temperature"):
            words[name] = value
        else:
            raise ValueError(f"{quoted(part)} is not rain=, temperature= or longest= with days")
    return FillRule(**words)


def check_blanks(
    table: Table, rule: FillRule, mending: str = "", one_a_quantity: bool = False
) -> list[RowFault]:
    """Faults of blank required cells that the rule does not fill, and of gaps that are too long.

    ``mending`` states a rule that would fill them; ``one_a_quantity`` names the first of the cells
    that no rule fills and counts the others.
    """
    faults: list[RowFault] = []
    for quantity, blank in blank_required(table).items():
        if rule.of(quantity) is None:
            allowed = f"write a number, or fill it by a rule{mending}"
            rows = rows_of(blank)
            more = ""
            if one_a_quantity and len(rows) > 1:
                days = "day" if len(rows) == 2 else "days"
                last = table.dates[rows[-1]]
                more = f" here and on {len(rows) - 1:,} more {days}, the last {last}"
                rows = rows[:1]
            what = f"{quantity} is blank{more}"
            faults += [(row, Fault(table.where(row, quantity), what, allowed)) for row in rows]
            continue
        for start, stop in _runs(blank):
            if stop - start > rule.longest_gap_days:
                days = f"{table.dates[start]} to {table.dates[stop - 1]}"
                what = f"{quantity} is blank for {stop - start} days, {days}"
                allowed = f"at most {rule.longest_gap_days} are filled{mending}"
                faults.append((start, Fault(table.where(start, quantity), what, allowed)))
    return faults


def fill_blanks(table: Table, rule: FillRule) -> tuple[Table, dict[str, int], list[RowFault]]:
    """The table with required cells filled, days filled by quantity and rule, and faults.

    The table has every day. A filled Tmin is limited by a measured Tmax, and the reverse.
    Faults are days for which the rule finds no value.
    """
    values = dict(table.values)
    counts: dict[str, int] = {}
    faults: list[RowFault] = []
    for quantity, blank in blank_required(table).items():
        how = rule.of(quantity)
        if how is None or not blank.any():
            continue
        series = values[quantity]
        if how == "zero":
            found = np.where(blank, 0.0, series)
        elif how == "interpolate":
            found = _interpolated(series, blank)
        else:
            found = _from_neighbor_years(table.dates, series, blank)
        for row in rows_of(blank & np.isnan(found)):
            what = f"{quantity} of {table.dates[row]} is blank and '{how}' finds no value for it"
            faults.append((row, Fault(table.where(row, quantity), what)))
        values[quantity] = found
        counts[f"{quantity}: {how}"] = int(blank.sum())
    if "tmax" in values and "tmin" in values:
        tmax, tmin, blank_tmin = values["tmax"], values["tmin"], table.blank["tmin"]
        values["tmin"] = np.where(blank_tmin, np.minimum(tmin, tmax), tmin)
        values["tmax"] = np.where(table.blank["tmax"], np.maximum(tmax, values["tmin"]), tmax)
    return replace(table, values=values), counts, faults


def _interpolated(series: FloatArray, blank: BoolArray) -> FloatArray:
    """Blank days filled linearly between known ones; none before the first or after the last."""
    days = np.arange(series.size)
    known = ~np.isnan(series)
    if not known.any():
        return series
    line = np.interp(days, days[known], series[known], left=np.nan, right=np.nan)
    return np.where(blank, line, series)


def _from_neighbor_years(
    dates: NDArray[np.datetime64], series: FloatArray, blank: BoolArray
) -> FloatArray:
    """Blank days filled from the same calendar day of the nearest year that has it."""
    year = dates.astype("datetime64[Y]").astype(int)
    month_day = np.array([str(day)[-5:] for day in dates])
    known = ~np.isnan(series)
    found = series.copy()
    for row in np.flatnonzero(blank):
        donors = np.flatnonzero(known & (month_day == month_day[row]))
        if donors.size:
            # argmin takes the first, so the earlier of two equally near years.
            found[row] = series[donors[np.abs(year[donors] - year[row]).argmin()]]
    return found


def _runs(flags: BoolArray) -> list[tuple[int, int]]:
    """Start and end (not included) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]
