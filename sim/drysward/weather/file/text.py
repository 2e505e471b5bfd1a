"""Weather from text: CSV with drysward's headers or in a public layout, and fixed width."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput, quoted
from drysward.weather.file import layouts
from drysward.weather.file.columns import (
    DATE,
    HOUR,
    LARGEST_NUMBER,
    Column,
    ColumnSpec,
    by_header,
    check_columns,
    in_base,
    known_columns,
)
from drysward.weather.file.layouts import Recognized, Sheet
from drysward.weather.file.rows import ON_TOP, Rows, lacking
from drysward.weather.file.subdaily import days_of_rows, several_a_day
from drysward.weather.file.table import BoolArray, RowFault, Table
from drysward.weather.record import FloatArray

BOM = b"\xef\xbb\xbf"

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_NOT_A_NUMBER = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_NUMBER_LETTERS = frozenset("0123456789+-.eE ")
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_STAMP = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]([0-9]{2}):([0-9]{2})(?::[0-9]{2}(?:\.[0-9]+)?)?"
    r"(Z|[+-][0-9]{2}:?[0-9]{2})?"
)
MOST_COLUMNS = 1_000
LONGEST_LINE_ABOVE = 300
LONGEST_NUMBER = 60
_QUALITY = 1  # place of the quality flag among a value's flags in the station archive


def read_text(
    where: str,
    data: bytes,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
    hours_from_utc: float | None,
    without_temperature: bool,
) -> Rows:
    """The rows of a text file; FaultyInput when no columns are found in it."""
    text = decoded(where, data)
    if layouts.is_fixed_width(text):
        sheet, found = layouts.fixed_width_sheet(where, text), (layouts.LAYOUTS[0], 0)
    else:
        first = [name.strip().upper() for name in text.split("\n", 1)[0].split(",")]
        if tuple(first[:4]) == layouts.LONG_HEADER[:4]:
            sheet, _ = csv_sheet(where, text, 0)
            sheet, found = layouts.long_sheet(sheet, where), (layouts.LAYOUTS[0], 0)
        else:
            found = layouts.find(text)  # type: ignore[assignment]
            if found is None and (fault := layouts.nearly(where, text)):
                raise FaultyInput(fault)
            sheet, ragged = csv_sheet(where, text, found[1] if found else 0)
            if found is None or specs:
                return _own_headers(
                    where, sheet, ragged, specs, wind_height_m, ignore, hours_from_utc,
                    without_temperature, found[0] if found else None,
                )  # fmt: skip
            if ragged:
                raise FaultyInput(fault for _, fault in ragged[:20])
    return _public(where, sheet, found[0], wind_height_m, ignore)


def decoded(where: str, data: bytes) -> str:
    """The text of a file; FaultyInput names the byte that is not UTF-8."""
    bare = data.removeprefix(BOM)
    try:
        return bare.decode("utf-8")
    except UnicodeDecodeError as error:
        before = bare[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        line = before.count(b"\n") + 1
        number = error.start + len(data) - len(bare) + 1
        what = f"byte {number} (0x{bare[error.start]:02x}) is not UTF-8"
        raise FaultyInput(Fault(f"{where} line {line}", what, "a file saved as UTF-8")) from None


def csv_sheet(where: str, text: str, above: int) -> tuple[Sheet, list[RowFault]]:
    """The table below ``above`` lines, and faults of rows with too many or too few cells."""
    lines_above = [line[:LONGEST_LINE_ABOVE] for line in text.split("\n", above)[:above]]
    rows = _csv_rows(where, text.split("\n", above)[-1], above)
    top_line, header = next(rows)
    header = [name.strip() for name in header]
    top = f"{where} line {top_line}"
    if len(header) > MOST_COLUMNS:
        what = f"{len(header):,} columns"
        raise FaultyInput(Fault(top, what, f"at most {MOST_COLUMNS:,}: one place, a row a day"))
    unnamed = [f"column {i + 1} has no name" for i, name in enumerate(header) if not name]
    counts = Counter(name for name in header if name)
    twice = [f"two columns are named {quoted(n)}" for n, count in counts.items() if count > 1]
    if wrong := unnamed + twice:
        raise FaultyInput([Fault(top, what, "a name for each") for what in wrong[:20]])
    cells: list[list[str]] = []
    lines: list[int] = []
    faults: list[RowFault] = []
    for line, row in rows:
        if len(row) != len(header):
            what = f"{len(row)} cells under a header of {len(header)}" if row else "is empty"
            faults.append((len(cells), Fault(f"{where} line {line}", what, "a cell per column")))
            row = []
        cells.append(row)
        lines.append(line)
    return Sheet(header, top_line, cells, lines, tuple(lines_above)), faults


def _csv_rows(where: str, text: str, above: int) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of each row; empty lines at the end are left out."""
    reader = csv.reader(io.StringIO(text.rstrip("\r\n"), newline=""), strict=True)
    line = 1
    try:
        for row in reader:
            yield above + line, row
            line = reader.line_num + 1
    except csv.Error as error:
        spot = f"{where} line {above + line}"
        raise FaultyInput(Fault(spot, f"is not CSV ({error})")) from None


# ---------------------------------------------------------------- drysward's headers


def _own_headers(
    where: str,
    sheet: Sheet,
    ragged: list[RowFault],
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
    hours_from_utc: float | None,
    without_temperature: bool,
    layout: layouts.Layout | None,
) -> Rows:
    """Rows under headers that state quantity and unit, or that are declared.

    In a public ``layout``, undeclared columns are left out, and wind is at the layout's height
    where the user states none.
    """
    notes: list[str] = []
    top = f"{where} line {sheet.top_line}"
    named = {name: by_header(name) for name in sheet.header}
    if layout is not None:
        wind = layout.name(specs["wind"].column) if "wind" in specs else ""
        if wind_height_m is None and wind in layout.columns:
            wind_height_m = layout.columns[wind].height_m
            notes.append(layout.notes[wind])
        declared = {spec.column for spec in specs.values()}
        ignore = {*ignore, *(n for n, known in named.items() if not known and n not in declared)}
    for mark, marks in ((";", "semicolons"), ("\t", "tabs")):
        if len(sheet.header) == 1 and mark in sheet.header[0]:
            allowed = "commas between cells, and points in numbers"
            raise FaultyInput(Fault(top, f"has {marks} between its columns", allowed))
    columns, height, top_faults = known_columns(
        top, named, None, specs, wind_height_m, ignore, without_temperature
    )
    faults: list[RowFault] = [(ON_TOP, fault) for fault in top_faults] + ragged
    if not sheet.cells:
        faults.append((0, Fault(where, "has a header and no rows", "a row for every day")))
        return Rows(None, height, faults)
    stamps: NDArray[np.datetime64] = np.full(len(sheet.cells), np.datetime64("NaT", "m"))
    sub_daily = any(column.quantity == HOUR for column in columns)
    utc_offsets: set[str] = set()
    for column in (column for column in columns if column.quantity == DATE):
        texts = _texts(sheet, column.name)
        stamps, has_hours, utc_offsets, more = _moments(where, sheet, column.name, texts)
        sub_daily |= has_hours
        faults += more
    for column in (column for column in columns if column.quantity == HOUR):
        hours, more = _hours(where, sheet, column.name)
        stamps = stamps + hours
        faults += more
    if utc_offsets:
        stamps, fault = _in_local_time(where, stamps, utc_offsets, hours_from_utc)
        faults += fault
    table, rates, more = _numbers(where, top, sheet, columns, stamps.astype("datetime64[D]"))
    faults += more
    momentary = [c.name for c in columns if c.quantity in ("temperature", "rh")]
    if sub_daily and several_a_day(stamps):
        return days_of_rows(table, stamps, rates, height, faults, notes)
    if momentary:
        lack = "no day has more than one row" if sub_daily else "the rows have no hour"
        what = f"column {quoted(momentary[0])} is for one moment, but {lack}"
        allowed = "a row an hour, with a column 'hour' from 0 to 23 or dates as 2013-07-04 13:00"
        faults.append((ON_TOP, Fault(top, what, allowed)))
    return Rows(table, height, faults, notes)


def _moments(
    where: str, sheet: Sheet, name: str, texts: Sequence[str]
) -> tuple[NDArray[np.datetime64], bool, set[str], list[RowFault]]:
    """Stamps (n,) in minutes, whether they have hours, and their offsets from UTC."""
    for length, marks in ((10, ((4, "-"), (7, "-"))), (16, ((4, "-"), (7, "-"), (13, ":")))):
        # All at once, when none has a fault.
        if all(len(text) == length and all(text[i] == mark for i, mark in marks)
               for text in texts):  # fmt: skip
            try:
                return np.array(texts, "datetime64[m]"), length == 16, set(), []
            except ValueError:
                break
    stamps = np.full(len(texts), np.datetime64("NaT", "m"))
    faults: list[RowFault] = []
    offsets: set[str] = set()
    with_hours = any(_STAMP.fullmatch(text) for text in texts[:50])
    for i, (text, row) in enumerate(zip(texts, sheet.cells, strict=True)):
        if not row:
            continue
        try:
            match = _STAMP.fullmatch(text) if with_hours else None
            if match:
                day, hour, minute = iso_date(match[1]), int(match[2]), int(match[3])
                if hour > 23 or minute > 59:
                    raise ValueError(f"{quoted(text)} is not a time of day; 00:00 to 23:59")
                shift = _minutes_of(match[4]) if match[4] else 0
                if match[4]:
                    offsets.add(match[4])
                stamps[i] = day.astype("datetime64[m]") + (60 * hour + minute - shift)
            elif with_hours:
                raise ValueError(f"{quoted(text)} is not a day and time; as 2013-07-04 13:00")
            else:
                stamps[i] = iso_date(text)
        except ValueError as error:
            faults.append((i, cell_fault(where, sheet, i, name, error)))
    return stamps, with_hours, offsets, faults


def _minutes_of(offset: str) -> int:
    if offset == "Z":
        return 0
    sign = -1 if offset[0] == "-" else 1
    return sign * (60 * int(offset[1:3]) + int(offset[-2:]))


def _in_local_time(
    where: str,
    stamps: NDArray[np.datetime64],
    offsets: set[str],
    hours_from_utc: float | None,
) -> tuple[NDArray[np.datetime64], list[RowFault]]:
    """Stamps of UTC as local standard time."""
    minutes = {_minutes_of(offset) for offset in offsets}
    if hours_from_utc is not None:
        return stamps + int(60 * hours_from_utc), []
    if len(minutes) == 1 and 0 not in minutes:
        return stamps + minutes.pop(), []
    zone = "in UTC" if minutes == {0} else f"at {' and '.join(sorted(offsets))} from UTC"
    allowed = "local standard time; or under [weather] hours_from_utc = -5 (here US Eastern)"
    return stamps, [(ON_TOP, Fault(where, f"hours are {zone}", allowed))]


def _hours(
    where: str, sheet: Sheet, name: str
) -> tuple[NDArray[np.timedelta64], list[RowFault]]:
    hours = np.zeros(len(sheet.cells), "timedelta64[m]")
    faults: list[RowFault] = []
    for i, text in enumerate(_texts(sheet, name)):
        if not sheet.cells[i]:
            continue
        match = re.fullmatch(r"([0-9]{1,2})(?::([0-9]{2}))?", text)
        if match and int(match[1]) < 24 and int(match[2] or 0) < 60:
            hours[i] = np.timedelta64(60 * int(match[1]) + int(match[2] or 0), "m")
        else:
            error = ValueError(f"{quoted(text)} is not an hour; 0 to 23, the start of the hour")
            faults.append((i, cell_fault(where, sheet, i, name, error)))
    return hours, faults


# ---------------------------------------------------------------- public layouts


def _public(
    where: str,
    sheet: Sheet,
    layout: layouts.Layout,
    wind_height_m: float | None,
    ignore: Collection[str],
) -> Rows:
    """Rows of a public layout."""
    top = f"{where} line {sheet.top_line}"
    found = layouts.recognized(where, layout, sheet, [*ignore])
    if layout.whole and (wrong := layouts.whole_number_faults(where, found, sheet)):
        raise FaultyInput(wrong)
    if not sheet.cells:
        raise FaultyInput(Fault(where, "has a header and no rows", "a row for every day"))
    stamps, faults = _layout_moments(where, sheet, found)
    sheet, flagged = _without_flagged(sheet, found)
    columns = [Column(found.dates[0], DATE, ""), *found.columns]
    as_stated = [c for c in columns if c.quantity != "daylight"]
    # The user's height takes precedence over the layout's assumption.
    heights = [c.height_m for c in columns if c.quantity == "wind"]
    stated = None if wind_height_m is not None else next(iter(heights), None)
    height, more = check_columns(
        [c if c.quantity != "wind" else Column(c.name, "wind", c.unit) for c in as_stated],
        top, wind_height_m if stated is None else stated,
    )  # fmt: skip
    faults += [(ON_TOP, fault) for fault in more]
    table, rates, more_rows = _numbers(where, top, sheet, columns, stamps.astype("datetime64[D]"))
    faults += more_rows
    notes = [_layout_note(found)]
    if wind_height_m is None:
        notes += found.notes
    if flagged:
        notes.append(f"values flagged as wrong by the archive are left out: {flagged}")
    several = [i for i, name in enumerate(sheet.header) if name == "MDPR"]
    if several and (sums := sum(bool(row[several[0]].strip()) for row in sheet.cells)):
        notes.append(f"{sums} sums of rain over several days (MDPR) are not used")
    notes += lacking(table)
    table = _over_daylight(table)
    if "HR" in found.dates:
        rows = days_of_rows(table, stamps, rates, height, faults, notes)
    else:
        rows = Rows(table, height, faults, notes)
    rows.place, rows.left_out, rows.public = found.place, layout.left_out, True
    return rows


def _layout_note(found: Recognized) -> str:
    used = ", ".join(layouts.bare(column.name) for column in found.columns)
    unused = ", ".join(layouts.bare(name) for name in found.unused)
    left = f"; not used: {unused}" if unused else ""
    return f"read as {found.layout.title}: {used}{left}"


def _layout_moments(
    where: str, sheet: Sheet, found: Recognized
) -> tuple[NDArray[np.datetime64], list[RowFault]]:
    """Stamps (n,) of rows with the date in one column or in several."""
    if len(found.dates) == 1:
        texts = _texts(sheet, found.dates[0])
        stamps, _, _, faults = _moments(where, sheet, found.dates[0], texts)
        return stamps, faults
    stamps = np.full(len(sheet.cells), np.datetime64("NaT", "m"))
    faults = []
    at = [sheet.header.index(name) for name in found.dates]
    for i, row in enumerate(sheet.cells):
        try:
            numbers = [int(row[place]) for place in at]
            hour = numbers.pop() if len(numbers) == 4 else 0
            if len(numbers) == 2:  # year and day of the year
                first = np.datetime64(f"{numbers[0]:04d}-01-01", "D")
                day = first + (numbers[1] - 1)
                longest = 365 if found.layout.left_out else 366
                if not 1 <= numbers[1] <= longest or day.astype("datetime64[Y]") != first.astype(
                    "datetime64[Y]"
                ):
                    raise ValueError
            else:
                day = np.datetime64(date(*numbers), "D")
            if not 0 <= hour < 24:
                raise ValueError
            stamps[i] = day.astype("datetime64[m]") + 60 * hour
        except (ValueError, OverflowError):
            parts = zip(found.dates, (quoted(row[place], bare=True) for place in at), strict=True)
            date_text = ", ".join(f"{name} {part}" for name, part in parts)
            what = f"{date_text} is not a day of the calendar"
            faults.append((i, Fault(f"{where} line {sheet.lines[i]}", what)))
    return stamps, faults


def _without_flagged(sheet: Sheet, found: Recognized) -> tuple[Sheet, str]:
    """The sheet without values that failed the archive's quality checks, and how many."""
    counts = []
    end = found.layout.attributes
    for column in found.columns:
        flags = f"{column.name}{end}"
        if not end or flags not in sheet.header:
            continue
        at, flags_at, count = sheet.header.index(column.name), sheet.header.index(flags), 0
        for row in sheet.cells:
            parts = row[flags_at].split(",")
            if row[at].strip() and len(parts) > _QUALITY and parts[_QUALITY].strip():
                row[at] = ""
                count += 1
        if count:
            counts.append(f"{count} of {column.name}")
    return sheet, ", ".join(counts)


def _over_daylight(table: Table) -> Table:
    """Radiation converted from a mean over daylight hours to a daily amount."""
    if "daylight" not in table.values:
        return table
    values, raw, blank = dict(table.values), dict(table.raw), dict(table.blank)
    daylight_s = values.pop("daylight")
    del raw["daylight"], blank["daylight"]
    columns = {name: one for name, one in table.columns.items() if name != "daylight"}
    if "solar" in values:
        with np.errstate(over="ignore"):  # impossible values are reported later
            values["solar"] = values["solar"] * daylight_s / 86_400.0
    return Table(table.path, table.dates, values, raw, blank, columns, table.lines)


# ---------------------------------------------------------------- cells


def _numbers(
    where: str,
    top: str,
    sheet: Sheet,
    columns: Sequence[Column],
    dates: NDArray[np.datetime64],
) -> tuple[Table, frozenset[str], list[RowFault]]:
    """The values of all columns except date and hour, and the quantities that are rates."""
    faults: list[RowFault] = []
    values: dict[str, FloatArray] = {}
    raw: dict[str, FloatArray] = {}
    blank: dict[str, BoolArray] = {}
    rates: set[str] = set()
    present = np.array([bool(row) for row in sheet.cells])
    by_quantity = {column.quantity: column for column in columns}
    for quantity, column in by_quantity.items():
        if quantity in (DATE, HOUR):
            continue
        texts = _texts(sheet, column.name)
        empty = np.array([not text for text in texts]) & present
        numbers = _all_numbers(texts)
        if numbers is None:
            numbers = np.full(len(texts), np.nan)
            for i, text in enumerate(texts):
                try:
                    numbers[i] = plain_number(text) if text else np.nan
                except ValueError as error:
                    faults.append((i, cell_fault(where, sheet, i, column.name, error)))
        if column.missing:
            marked = np.isin(numbers, column.missing)
            numbers, empty = np.where(marked, np.nan, numbers), empty | marked
        with np.errstate(over="ignore"):
            numbers = numbers * column.scale
        try:
            values[quantity], is_rate = in_base(numbers, column)
        except ValueError as error:
            faults.append((ON_TOP, Fault(f"{top}, column {quoted(column.name)}", str(error))))
            continue
        rates |= {quantity} if is_rate else set()
        raw[quantity], blank[quantity] = numbers, empty
    lines = np.array(sheet.lines)
    return Table(where, dates, values, raw, blank, by_quantity, lines), frozenset(rates), faults


def _texts(sheet: Sheet, name: str) -> list[str]:
    """The cells of a column, "" in rows that could not be read."""
    at = sheet.header.index(name)
    return [row[at].strip() if row else "" for row in sheet.cells]


def cell_fault(where: str, sheet: Sheet, row: int, name: str, error: ValueError) -> Fault:
    what, _, allowed = str(error).partition("; ")
    return Fault(f"{where} line {sheet.lines[row]}, column {quoted(name)}", what, allowed)


def iso_date(text: str) -> np.datetime64:
    if not text:
        raise ValueError("is blank; a day as 2013-07-04")
    if not _ISO_DATE.fullmatch(text):
        raise ValueError(f"{quoted(text)} is not a date; as 2013-07-04 (year-month-day)")
    try:
        return np.datetime64(date.fromisoformat(text), "D")
    except ValueError:
        raise ValueError(f"{quoted(text)} is not a day of the calendar; as 2013-07-04") from None


def _all_numbers(texts: Sequence[str]) -> FloatArray | None:
    """All cells as numbers at once, NaN where blank; None when they need checks one by one."""
    if not _NUMBER_LETTERS.issuperset("".join(texts)) or max(map(len, texts)) > LONGEST_NUMBER:
        return None
    try:
        numbers = np.array([text or "nan" for text in texts], dtype=float)
    except ValueError:
        return None
    return None if (np.abs(numbers) > LARGEST_NUMBER).any() else numbers


def plain_number(text: str) -> float:
    if _NOT_A_NUMBER.fullmatch(text):
        raise ValueError(f"{quoted(text)} is not a finite number; a number, or blank where unknown")
    if len(text) > LONGEST_NUMBER or not _NUMBER.fullmatch(text):
        raise ValueError(f"{quoted(text)} is not a number; a number with a decimal point, or blank")
    number = float(text)
    if abs(number) > LARGEST_NUMBER:
        raise ValueError(f"{quoted(text)} is too large; a number that weather can have, or blank")
    return number
