"""Hours, or other parts of a day, combined to days by one rule.

A day is 00:00 to 24:00 of local standard time and has the rows whose stamps lie in it; a stamp is
the start of its hour unless amounts of the layout end there. A quantity is
known on a day on which `LEAST_SHARE` of its rows have a value; the others lie on a line between
their neighbors, and bring no rain. Rain, sunshine and reference ET are summed, the daily
maximum and minimum of temperature are used, the mean of humidity and wind, the sum of radiation.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault
from drysward.weather.file.columns import MOMENTARY, QUANTITIES, Column
from drysward.weather.file.rows import ON_TOP, Rows
from drysward.weather.file.table import HOURLY_FROM, RowFault, Table, check_values, remote
from drysward.weather.record import FloatArray

LEAST_SHARE = 0.9  # estimate: 22 of 24 hours; two missing ones are filled well from their neighbors
DARK_OFFSET_MJ_M2 = 1.3  # by the day: 15 W/m2 (from memory, pyranometers under a clear night sky)
MOST_DAYS_A_ROW = 10  # estimate: with fewer rows it is not a record of parts of days
_MINUTES = 24 * 60

Gather = Callable[[FloatArray], FloatArray]  # rows of days (d, k) -> days (d,)


def _highest(rows: FloatArray) -> FloatArray:
    return np.asarray(rows.max(axis=1))


def _lowest(rows: FloatArray) -> FloatArray:
    return np.asarray(rows.min(axis=1))


def _mean(rows: FloatArray) -> FloatArray:
    return np.asarray(rows.mean(axis=1))


def _sum(rows: FloatArray) -> FloatArray:
    return np.asarray(rows.sum(axis=1))


# Quantity of a row -> quantities of the day, and how they are computed.
_OF_DAY: Mapping[str, tuple[tuple[str, Gather], ...]] = {
    "temperature": (("tmax", _highest), ("tmin", _lowest)),
    "rh": (("rh_max", _highest), ("rh_min", _lowest), ("rh_mean", _mean)),
    "tmax": (("tmax", _highest),),
    "tmin": (("tmin", _lowest),),
    "rh_max": (("rh_max", _highest),),
    "rh_min": (("rh_min", _lowest),),
}
_AMOUNTS = ("rain", "solar", "sunshine", "reference_et")


def several_a_day(stamps: NDArray[np.datetime64]) -> bool:
    """Whether stamps (n,) come several a day throughout."""
    days = stamps[~np.isnat(stamps)].astype("datetime64[D]")
    return bool(days.size >= HOURLY_FROM * max(np.unique(days).size, 1))


def days_of_rows(
    table: Table,
    stamps: NDArray[np.datetime64],
    rates: frozenset[str],
    wind_height_m: float | None,
    faults: list[RowFault],
    notes: list[str],
) -> Rows:
    """Days from rows, unless the rows have faults: wrong hours make wrong days."""
    table, note = _without_dark_offset(table, rates)
    faults = [*faults, *check_values(table, rates)]
    faults += _remote_faults(table, stamps)
    if not faults:
        days, how, faults = to_days(table, stamps, rates)
        notes = [*notes, *note, how]
        if not faults:
            return Rows(days, wind_height_m, [], notes)
    return Rows(None, wind_height_m, faults, notes)


def _remote_faults(table: Table, stamps: NDArray[np.datetime64]) -> list[RowFault]:
    """Faults of rows too far in time from the others to belong to the record."""
    far = np.flatnonzero(remote(stamps) & ~np.isnat(stamps))
    if not far.size:
        known = stamps[~np.isnat(stamps)]
        days = int((known.max() - known.min()).astype("timedelta64[D]").astype(int)) + 1
        if days <= MOST_DAYS_A_ROW * known.size:
            return []
        what = f"{known.size:,} rows over {days:,} days"
        return [(ON_TOP, Fault(table.path, what, "several rows for every day"))]
    row = int(far[0])
    what = f"{stamps[row].astype('datetime64[D]')} is years away from the other rows"
    more = f", and so are {far.size - 1:,} more" if far.size > 1 else ""
    return [(row, Fault(table.where(row), what + more, "the rows of one record"))]


def _without_dark_offset(table: Table, rates: frozenset[str]) -> tuple[Table, list[str]]:
    """The rows with small negative radiation set to 0: sensors read slightly below 0 at night."""
    if "solar" not in table.values:
        return table, []
    solar = table.values["solar"]
    least = -DARK_OFFSET_MJ_M2 if "solar" in rates else -DARK_OFFSET_MJ_M2 / 24.0
    dark = (solar < 0.0) & (solar >= least)
    if not dark.any():
        return table, []
    values = {**table.values, "solar": np.where(dark, 0.0, solar)}
    rows = f"{int(dark.sum()):,} rows"
    note = f"radiation slightly below 0, as sensors read at night, set to 0 on {rows}"
    return replace(table, values=values), [note]


def to_days(
    rows: Table, stamps: NDArray[np.datetime64], rates: frozenset[str]
) -> tuple[Table, str, list[RowFault]]:
    """The days of a table of rows, a note on how they were computed, and faults of the stamps.

    Parameters
    ----------
    rows : as read, a row a stamp.
    stamps : (n,) minutes of local standard time; NaT where one could not be read.
    rates : quantities that are rates in the file, whose mean is the day's amount.
    """
    known = ~np.isnat(stamps)
    minutes = stamps[known].astype("datetime64[m]").astype(int)
    faults: list[RowFault] = []
    order = np.argsort(minutes, kind="stable")
    apart = np.diff(minutes[order])
    step = int(np.median(apart[apart > 0])) if (apart > 0).any() else _MINUTES
    if _MINUTES % step:
        what, allowed = f"rows stand {step} minutes apart", "a step that divides a day: 60 minutes"
        faults.append((ON_TOP, Fault(rows.path, what, allowed)))
        step = 60
    per_day = _MINUTES // step
    slot = minutes // step
    at_row = np.flatnonzero(known)
    _, first, count = np.unique(slot, return_index=True, return_counts=True)
    for index in first[count > 1][:3]:
        row = int(at_row[np.flatnonzero(slot == slot[index])[1]])
        stamp = str(stamps[row]).replace("T", " ")
        what = f"{stamp} appears twice, within {step} minutes of the row before it"
        allowed = "each hour once, in standard time all year"
        faults.append((row, Fault(rows.where(row), what, allowed)))
    start = int(slot.min()) // per_day
    days = int(slot.max()) // per_day - start + 1

    values: dict[str, FloatArray] = {}
    columns: dict[str, Column] = {}
    # A Tmax column takes precedence over the highest temperature.
    for quantity in sorted(rows.values, key=lambda name: name in MOMENTARY):
        series, column = rows.values[quantity], rows.columns[quantity]
        places = slot - start * per_day - column.ends
        inside = places >= 0
        wide = np.full(days * per_day, np.nan)
        # The first of two equal stamps counts; the second is a fault.
        wide[places[inside][::-1]] = series[known][inside][::-1]
        there = np.isfinite(wide)
        enough = there.reshape(days, per_day).mean(axis=1) >= LEAST_SHARE
        if there.any():
            if quantity == "rain":
                wide = np.where(there, wide, 0.0)
            else:
                every = np.arange(wide.size)
                wide = np.interp(every, every[there], wide[there])
        of_day = wide.reshape(days, per_day)
        usual = _sum if quantity in _AMOUNTS and quantity not in rates else _mean
        for name, gather in _OF_DAY.get(quantity, ((quantity, usual),)):
            if name in values:
                continue
            values[name] = np.where(enough, gather(of_day), np.nan)
            # Values are now in base units, so messages must not name the file's units.
            columns[name] = replace(column, quantity=name, unit=QUANTITIES[name].shown)
    dates = np.datetime64(start, "D") + np.arange(days)
    lines = None
    if rows.lines is not None:
        lines = np.zeros(days, dtype=int)
        day = slot // per_day - start
        lines[day[::-1]] = rows.lines[known][::-1]
    blank = {name: np.isnan(series) for name, series in values.items()}
    # The file may start and end within a day.
    required = [blank[name] for name in ("rain", "tmax", "tmin") if name in blank]
    whole = np.flatnonzero(~np.logical_and.reduce(required)) if required else np.arange(days)
    cut = slice(int(whole[0]), int(whole[-1]) + 1) if whole.size else slice(0, days)
    table = Table(
        rows.path,
        dates[cut],
        {name: series[cut] for name, series in values.items()},
        {name: series[cut] for name, series in values.items()},
        {name: flags[cut] for name, flags in blank.items()},
        columns,
        None if lines is None else lines[cut],
    )
    hours = "hours" if step == 60 else f"rows of {step} minutes"
    least = int(np.ceil(LEAST_SHARE * per_day - 1e-9))
    note = (
        f"{int(known.sum()):,} {hours} combined to {table.dates.size:,} days of 00:00 to 24:00 "
        "local standard time, with stamps at the start of each period; a day needs "
        f"{least} of {per_day}, "
        "rain, sunshine and reference ET summed, temperature highest and lowest, wind, humidity "
        "and radiation as means"
    )
    return table, note, faults
