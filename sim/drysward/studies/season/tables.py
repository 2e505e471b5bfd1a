"""Tables that a person keeps during a season, as CSV: read whole, every fault with its cell."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

import numpy as np

from drysward.faults import Fault, FaultyInput, nearest, path_text, quoted
from drysward.inputs import file_bytes
from drysward.scenario.model import Scenario
from drysward.weather.file.text import csv_sheet, decoded, iso_date, plain_number

MOST_BYTES = 5_000_000
MOST_ROWS = 20_000

T = TypeVar("T")


@dataclass(eq=False)
class Sheet:
    """The rows of a file by header, and the faults that reading them collects."""

    where: str
    header: tuple[str, ...]
    rows: list[tuple[int, dict[str, str]]]  # line in the file, cells by header
    faults: list[Fault] = field(default_factory=list)

    def __iter__(self) -> Iterator[Cells]:
        return (Cells(self, line, cells) for line, cells in self.rows)

    def refuse(self) -> None:
        """FaultyInput with every fault so far, if there is any."""
        if self.faults:
            raise FaultyInput(self.faults)


@dataclass(frozen=True, eq=False)
class Cells:
    """One row: its cells as text, "" where the file has no such column."""

    sheet: Sheet
    line: int
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")

    def fault(self, column: str, what: str, allowed: str = "") -> None:
        """Note a fault of a cell."""
        where = f"{self.sheet.where} line {self.line}, column '{column}'"
        self.sheet.faults.append(Fault(where, what, allowed))

    def read(self, column: str, reader: Callable[[str], T]) -> T | None:
        """What ``reader`` makes of a cell; None, and a fault, where it raises ValueError."""
        try:
            return reader(self[column])
        except ValueError as error:
            what, _, allowed = str(error).partition("; ")
            self.fault(column, what, allowed)
            return None

    def date(self) -> np.datetime64 | None:
        """The day in the column 'date'."""
        return self.read("date", iso_date)

    def number(self, column: str, low: float, high: float, unit: str = "") -> float | None:
        """A number from ``low`` to ``high``; None, and a fault, where there is none."""
        allowed = f"a number from {low:g} to {high:g}{' ' if unit else ''}{unit}"

        def within(text: str) -> float:
            if not text:
                raise ValueError(f"is blank; {allowed}")
            number = plain_number(text)
            if not low <= number <= high:
                raise ValueError(f"{quoted(text)} is out of range; {allowed}")
            return number

        return self.read(column, within)

    def one_of(self, column: str, known: Sequence[str]) -> str | None:
        """A word of ``known``; None, and a fault with the nearest, for any other."""
        word = self[column]
        if word in known:
            return word
        self.fault(column, f"{quoted(word)} is not known" if word else "is blank",
                   nearest(word, known))  # fmt: skip
        return None

    def field_of(self, scenario: Scenario) -> str | None:
        """The key of a field of the scenario in the column 'field'."""
        return self.one_of("field", [spec.key for spec in scenario.fields])


def read_sheet(path: Path, needed: Sequence[str], optional: Sequence[str], kind: str) -> Sheet:
    """The rows of a CSV file with the columns ``needed``, and any of ``optional``.

    Empty lines are left out. FaultyInput for a file that is no table, and with every fault of its
    header; ``kind`` is what the user should name.
    """
    where = path_text(path)
    text = decoded(where, file_bytes(path, MOST_BYTES, kind))
    if not text.strip():
        raise FaultyInput(Fault(where, "is empty", f"a header: {','.join(needed)}"))
    sheet, ragged = csv_sheet(where, text, 0)
    top = f"{where} line {sheet.top_line}"
    if len(sheet.header) == 1 and ";" in sheet.header[0]:
        allowed = "commas between cells, and points in numbers"
        raise FaultyInput(Fault(top, "has semicolons between its columns", allowed))
    if len(sheet.cells) > MOST_ROWS:
        raise FaultyInput(Fault(where, f"has {len(sheet.cells):,} rows", f"at most {MOST_ROWS:,}"))
    known = (*needed, *optional)
    faults = [
        Fault(top, f"column {quoted(name)} is not known", nearest(name, known))
        for name in sheet.header
        if name not in known
    ]
    faults += [Fault(top, f"has no column '{name}'", f"a header: {','.join(needed)}")
               for name in needed if name not in sheet.header]  # fmt: skip
    empty = {i for i, row in enumerate(sheet.cells) if not any(cell.strip() for cell in row)}
    faults += [fault for i, fault in ragged if i not in empty or "cells under" in fault.what]
    if faults:
        raise FaultyInput(faults)
    rows = [
        (line, dict(zip(sheet.header, (cell.strip() for cell in row), strict=True)))
        for i, (line, row) in enumerate(zip(sheet.lines, sheet.cells, strict=True))
        if i not in empty
    ]
    return Sheet(where, tuple(sheet.header), rows)
