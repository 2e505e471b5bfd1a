"""Marks for missing values in a file, read as blanks."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from drysward.faults import Fault, FaultyInput
from drysward.weather.file.read import WeatherFile
from drysward.weather.file.table import Table


def without_marks(table: Table, marks: Mapping[str, Collection[float]]) -> Table:
    """The table with blanks in place of cells that hold a mark of their quantity, as written."""
    values, raw, blank = dict(table.values), dict(table.raw), dict(table.blank)
    for quantity, of_quantity in marks.items():
        marked = np.isin(raw[quantity], list(of_quantity))
        values[quantity] = np.where(marked, np.nan, values[quantity])
        raw[quantity] = np.where(marked, np.nan, raw[quantity])
        blank[quantity] = blank[quantity] | marked
    return replace(table, values=values, raw=raw, blank=blank)


def file_without_marks(file: WeatherFile, marks: Mapping[str, Collection[float]]) -> WeatherFile:
    """The file with every marked cell blank; FaultyInput for a quantity that it does not have."""
    if not marks or file.table is None:
        return file
    if absent := [quantity for quantity in marks if quantity not in file.table.values]:
        had = ", ".join(file.table.values)
        raise FaultyInput(
            Fault(f"{file.path}", f"has no column of {quantity} with a missing mark", f"has {had}")
            for quantity in absent
        )
    return replace(file, table=without_marks(file.table, marks))
