"""A weather file as read, before it becomes a record: values, blanks, and their places."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, quoted
from drysward.physics.reference_et import saturation_vapor_pressure_kpa
from drysward.weather.file.columns import REQUIRED, Column, quantity_of
from drysward.weather.record import FloatArray

BoolArray = NDArray[np.bool_]
RowFault = tuple[int, Fault]  # index of the row, for faults in file order

MOST_YEARS_APART = 200  # estimate: a day this far from all others is a typing error
RATE_OVER_DAY = 4.0  # estimate: largest hourly rate over the day's largest amount
HOURLY_FROM = 1.9  # estimate: rows a day at which a file is hourly and not full of errors
DEWPOINT_ABOVE_TMAX_C = 2.0  # estimate: margin for two instruments that disagree


@dataclass(frozen=True, eq=False)
class Table:
    """Rows of a weather file; arrays (n,).

    ``values`` are in base units, by quantity; NaN where a cell is blank or could not be read, which
    ``blank`` distinguishes. ``dates`` is NaT where a date could not be
    read. ``lines`` counts as an editor does, 0 for a day without a row, and is None for
    NetCDF.
    """

    path: str
    dates: NDArray[np.datetime64]
    values: Mapping[str, FloatArray]
    raw: Mapping[str, FloatArray]  # as written, for messages
    blank: Mapping[str, BoolArray]
    columns: Mapping[str, Column]
    lines: NDArray[np.intp] | None = None

    def place(self, row: int) -> str:
        """The line of a row; its day in a file without lines."""
        if self.lines is not None and self.lines[row]:
            return f"line {self.lines[row]}"
        return f"day {self.dates[row]}"

    def where(self, row: int, quantity: str = "") -> str:
        """File, line (or day) and column of a value."""
        column = f", column {quoted(self.columns[quantity].name)}" if quantity else ""
        return f"{self.path} {self.place(row)}{column}"

    def written(self, row: int, quantity: str) -> str:
        """The value as the file has it, with its unit."""
        unit = quoted(self.columns[quantity].unit, bare=True)
        return f"{self.raw[quantity][row]:g}{'' if unit == '%' else ' '}{unit}"


def check_dates(
    table: Table,
    gaps_allowed: bool,
    longest_gap_days: int,
    mending: str = "",
    first_gap_alone: bool = False,
) -> list[RowFault]:
    """Faults of dates: duplicates, wrong order, and gaps that are not filled or too long.

    ``mending`` states a rule that would fill gaps; ``first_gap_alone`` names the first gap and
    counts the others.
    """
    faults: list[RowFault] = []
    known = table.dates[~np.isnat(table.dates)]
    rows_a_day = known.size / max(np.unique(known).size, 1)
    if rows_a_day >= HOURLY_FROM:
        what = f"each day has about {rows_a_day:.0f} rows, as in an hourly file"
        allowed = "add a column 'hour' from 0 to 23, or write dates as 2013-07-04 13:00"
        return [(0, Fault(table.where(0), what, allowed))]
    first_row: dict[date, int] = {}
    previous: date | None = None
    for row, day in enumerate(table.dates.tolist()):
        if day is None:
            continue
        if day in first_row:
            again = f"day {day} appears twice, first on {table.place(first_row[day])}"
            faults.append((row, Fault(table.where(row), again, "each day once")))
            continue
        first_row[day] = row
        if previous is not None and day < previous:
            what = f"day {day} comes after {previous}"
            faults.append((row, Fault(table.where(row), what, "days in order")))
        previous = day

    # Among days in order, so that a misplaced day is not reported as missing too.
    unread = np.isnat(table.dates)
    gaps: list[tuple[int, int, str, str]] = []
    for before, after in pairwise(sorted(first_row)):
        missing = (after - before).days - 1
        start, stop = sorted((first_row[before], first_row[after]))
        if not missing or unread[start:stop].any():
            continue  # an unreadable date may be the missing one
        what = f"{_days(missing)} missing between {before} and {after}"
        allowed = f"every day, or rules that fill rain and temperature{mending}"
        if gaps_allowed:
            if missing <= longest_gap_days:
                continue
            allowed = f"gaps of at most {_days(longest_gap_days)} are filled"
        gaps.append((first_row[after], missing, what, allowed))
    if first_gap_alone and len(gaps) > 1:
        row, _, what, allowed = gaps[0]
        others = f"{len(gaps) - 1:,} more gap{'s' if len(gaps) > 2 else ''}"
        days = f"{sum(missing for _, missing, _, _ in gaps[1:]):,} days"
        longest = max(gaps, key=lambda gap: gap[1])
        what += f", and {others} of {days} after it, the longest of all: {longest[2]}"
        gaps = [(row, 0, what, allowed)]
    faults += [(row, Fault(table.where(row), what, allowed)) for row, _, what, allowed in gaps]
    return faults


def check_values(table: Table, rates: Collection[str] = ()) -> list[RowFault]:
    """Faults of impossible values, each alone and compared with others of its day.

    ``rates`` are quantities of a moment, as daily amounts: a noon sun of 1,000 W/m2
    would be 86 MJ/m2 if it stood there for a day.
    """
    faults: list[RowFault] = []
    for quantity, values in table.values.items():
        facts = quantity_of(quantity)
        most = facts.high * (RATE_OVER_DAY if quantity in rates else 1.0)
        for row in rows_of((values < facts.low) | (values > most)):
            what = f"{quantity} of {table.written(row, quantity)} is out of range"
            if values[row] < 0 == facts.low:
                what = f"{quantity} of {table.written(row, quantity)} is negative"
            allowed = f"{facts.low:g} to {most:g}{'' if facts.shown == '%' else ' '}{facts.shown}"
            allowed += " a day" if quantity in rates else ""
            faults.append((row, Fault(table.where(row, quantity), what, allowed)))

    def above(high: str, low: str, limit: FloatArray, allowed: str) -> None:
        for row in rows_of(table.values[high] > limit):
            first, second = table.written(row, high), table.written(row, low)
            what = f"{high} of {first} is above {low} of {second}"
            faults.append((row, Fault(table.where(row, high), what, allowed)))

    has = table.values
    for low, high in (("tmin", "tmax"), ("rh_min", "rh_max"), ("rh_min", "rh_mean"),
                      ("rh_mean", "rh_max")):  # fmt: skip
        if low in has and high in has:
            above(low, high, has[high], f"{low} at most {high}")
    if "tmax" in has:
        limit = has["tmax"] + DEWPOINT_ABOVE_TMAX_C
        allowed = f"at most {DEWPOINT_ABOVE_TMAX_C:g} deg C above"
        if "dewpoint" in has:
            above("dewpoint", "tmax", limit, allowed)
        if "vapor_pressure" in has:
            # Below the lower limit of Tmax, Eq 11 is out of its range.
            with np.errstate(over="ignore", divide="ignore"):
                damp = np.asarray(saturation_vapor_pressure_kpa(limit))
            above("vapor_pressure", "tmax", damp, f"as dew point {allowed}")
    return faults


def with_every_day(table: Table) -> Table:
    """The table with a blank row for every missing day; its dates must be in order."""
    days = np.arange(table.dates[0], table.dates[-1] + 1)
    at = (table.dates - table.dates[0]).astype(int)
    absent = np.ones(days.size, dtype=bool)
    absent[at] = False

    def spread(values: FloatArray) -> FloatArray:
        wide = np.full(days.size, np.nan)
        wide[at] = values
        return wide

    blank = {}
    for quantity, cells in table.blank.items():
        blank[quantity] = absent.copy()
        blank[quantity][at] = cells
    lines = None
    if table.lines is not None:
        lines = np.zeros(days.size, dtype=int)
        lines[at] = table.lines
    return replace(
        table,
        dates=days,
        values={quantity: spread(values) for quantity, values in table.values.items()},
        raw={quantity: spread(values) for quantity, values in table.raw.items()},
        blank=blank,
        lines=lines,
    )


def first_rows(table: Table) -> NDArray[np.intp]:
    """The first row of each day in the order of days, without remote days from errors."""
    known = np.flatnonzero(~remote(table.dates))
    _, first = np.unique(table.dates[known], return_index=True)
    return np.asarray(known[first])


def remote(dates: NDArray[np.datetime64]) -> BoolArray:
    """Days (n,) that are unknown, or too far from most others to belong to the record."""
    far = np.isnat(dates)
    known = np.flatnonzero(~far)
    order = known[np.argsort(dates[known], kind="stable")]
    years = np.diff(dates[order].astype("datetime64[D]")).astype(int) / 365.25
    part = np.concatenate([[0], np.cumsum(years > MOST_YEARS_APART)])[: order.size]
    if order.size:
        far[order] = part != np.argmax(np.bincount(part))
    return far


def of_rows(table: Table, rows: NDArray[np.intp] | slice | BoolArray) -> Table:
    """Some rows of a table."""
    return replace(
        table,
        dates=table.dates[rows],
        values={quantity: values[rows] for quantity, values in table.values.items()},
        raw={quantity: values[rows] for quantity, values in table.raw.items()},
        blank={quantity: blank[rows] for quantity, blank in table.blank.items()},
        lines=None if table.lines is None else table.lines[rows],
    )


def every_day_once(table: Table) -> Table:
    """Every day from first to last in order: the first row of each, or an unknown day."""
    return with_every_day(of_rows(table, first_rows(table)))


def with_days(table: Table, days: NDArray[np.datetime64]) -> Table:
    """The table, with days in order, plus blank rows for missing days."""
    at = np.searchsorted(table.dates, days)

    def grown(values: FloatArray) -> FloatArray:
        return np.insert(values, at, np.nan)

    return replace(
        table,
        dates=np.insert(table.dates, at, days),
        values={quantity: grown(values) for quantity, values in table.values.items()},
        raw={quantity: grown(values) for quantity, values in table.raw.items()},
        blank={quantity: np.insert(flags, at, True) for quantity, flags in table.blank.items()},
        lines=None if table.lines is None else np.insert(table.lines, at, 0),
    )


def blank_required(table: Table) -> dict[str, BoolArray]:
    """Blank cells (n,) of the quantities required on every day."""
    return {quantity: table.blank[quantity] for quantity in REQUIRED if quantity in table.blank}


def rows_of(flags: BoolArray) -> list[int]:
    """Indices of flagged rows."""
    return [int(row) for row in np.flatnonzero(flags)]


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"
