"""Layouts of public weather files: how each is recognized, its columns, units, gaps and calendar.

A layout is one entry of a table; `read.py` reads them all in the same way. All layouts are from
memory of their public documentation, not copied from it. A file that differs is refused with the
difference.
"""

from __future__ import annotations

import csv
import re
from calendar import monthrange
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput, quoted
from drysward.weather.file.columns import DATE, Column, toml_text
from drysward.weather.file.levels import US, likely_system
from drysward.weather.record import FloatArray

MOST_LINES_ABOVE = 120  # estimate: no header block is longer


@dataclass(frozen=True)
class Known:
    """A column of a layout: its quantity, in the unit of the documentation."""

    quantity: str
    unit: str  # as drysward.quantities reads it; "" when the file's header block states it
    scale: float = 1.0
    height_m: float | None = None
    as_written: str = ""  # the unit after the name in the header, if the layout has one


@dataclass(frozen=True)
class Place:
    """The location stated in a file; None where it states none."""

    latitude_deg: float | None = None
    longitude_deg: float | None = None
    elevation_m: float | None = None


NOWHERE = Place()


@dataclass(frozen=True)
class Layout:
    """A public layout of a text file.

    ``signature``: names in the header that no other layout has together; ``one_of``: names of which
    one must be there too. ``begins`` is the start of the header, ``opening`` that of the first line
    when a block precedes the header. Of several columns of one quantity the first in ``columns`` is
    used.
    """

    title: str
    signature: tuple[str, ...]
    one_of: tuple[str, ...]
    columns: Mapping[str, Known]
    dates: tuple[tuple[str, ...], ...]
    begins: tuple[str, ...] = ()
    opening: str = ""
    missing: tuple[float, ...] = ()
    attributes: str = ""  # end of the name of the column with a value's flags
    whole: bool = False  # values are whole numbers
    block_units: Mapping[str, str] = field(default_factory=dict)  # as the block writes them
    left_out: str = ""  # days that the layout leaves out; key of LEFT_OUT
    notes: Mapping[str, str] = field(default_factory=dict)  # by column that is used
    unsaid: str = ""  # why files of this layout need declared columns
    any_case: bool = False  # names may be written in lower case

    def name(self, header: str) -> str:
        """The name in a header as this layout writes it; of units it may hold none."""
        return header.strip().upper() if self.any_case else bare(header)


# Days that the calendar of a layout leaves out: words, and which days.
def _end_of_leap_years(days: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    since = days - days.astype("datetime64[Y]").astype("datetime64[D]")
    return np.asarray(since.astype(int) == 365)


def _leap_days(days: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    month = days.astype("datetime64[M]")
    since = days - month.astype("datetime64[D]")
    return np.asarray((month.astype(int) % 12 == 1) & (since.astype(int) == 28))


LEFT_OUT: dict[str, Callable[[NDArray[np.datetime64]], NDArray[np.bool_]]] = {
    "31 December of leap years": _end_of_leap_years,
    "29 February": _leap_days,
}

_TENTH = 0.1
_STATION = {
    "DATE": Known(DATE, ""),
    "PRCP": Known("rain", "mm", _TENTH),
    "TMAX": Known("tmax", "degC", _TENTH),
    "TMIN": Known("tmin", "degC", _TENTH),
    "ADPT": Known("dewpoint", "degC", _TENTH),
    "RHMX": Known("rh_max", "%"),
    "RHMN": Known("rh_min", "%"),
    "RHAV": Known("rh_mean", "%"),
    "AWND": Known("wind", "m/s", _TENTH, height_m=10.0),
    "TSUN": Known("sunshine", "min"),
}
_STATION_NOTES = {
    "AWND": "the archive does not say at which height AWND was measured: taken as 10 m, the usual "
    "one at airports; wind_height says another"
}
_SERVICE_UNITS = {
    "C": "degC",
    "mm/day": "mm/day",
    "mm/hour": "mm/h",
    "mm": "mm",
    "MJ/m^2/day": "MJ/m**2/d",
    "MJ/hr": "MJ/m**2/h",  # hourly files, from memory: per square meter
    "kW-hr/m^2/day": "kWh/m**2/d",
    "W/m^2": "W/m2",
    "Wh/m^2": "Wh/m**2",
    "m/s": "m/s",
    "%": "%",
}

# From memory, each of them: names, order, units and missing marks.
LAYOUTS: tuple[Layout, ...] = (
    Layout(
        title="world daily station archive, CSV by station",
        signature=("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION"),
        one_of=("PRCP", "TMAX", "TMIN"),
        begins=("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"),
        columns=_STATION,
        dates=(("DATE",),),
        missing=(-9999.0, 9999.0),
        attributes="_ATTRIBUTES",
        whole=True,
        notes=_STATION_NOTES,
    ),
    Layout(
        title="daily station data as ordered",
        signature=("DATE", "PRCP"),
        one_of=("TMAX", "TMIN"),
        any_case=True,
        columns=_STATION,
        dates=(("DATE",),),
        notes=_STATION_NOTES,
        unsaid="its header does not begin STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME as the "
        "archive's own files do, so its units are those of the order, which the file does not say",
    ),
    Layout(
        title="1 km daily grid of North America, single pixel",
        signature=("year", "yday"),
        one_of=("prcp", "tmax", "tmin"),
        begins=("year", "yday"),
        opening=r"\s*Latitude:.*Longitude:",
        columns={
            "prcp": Known("rain", "mm/day", as_written="mm/day"),
            "tmax": Known("tmax", "degC", as_written="deg c"),
            "tmin": Known("tmin", "degC", as_written="deg c"),
            "vp": Known("vapor_pressure", "Pa", as_written="Pa"),
            # Mean over the hours of daylight, with which it is converted to MJ/m2 a day.
            "srad": Known("solar", "W/m2", as_written="W/m^2"),
            "dayl": Known("daylight", "s", as_written="s"),
        },
        dates=(("year", "yday"),),
        missing=(-9999.0,),
        left_out="31 December of leap years",
    ),
    Layout(
        title="point service of satellite and reanalysis weather",
        signature=("YEAR",),
        one_of=("PRECTOTCORR", "PRECTOT", "T2M_MAX", "T2M_MIN", "T2M"),
        begins=("YEAR",),
        opening="-BEGIN HEADER-",
        columns={
            "PRECTOTCORR": Known("rain", ""),
            "PRECTOT": Known("rain", ""),
            "T2M_MAX": Known("tmax", ""),
            "T2M_MIN": Known("tmin", ""),
            "T2M": Known("temperature", ""),
            "T2MDEW": Known("dewpoint", ""),
            "RH2M": Known("rh_mean", ""),
            "WS2M": Known("wind", "", height_m=2.0),
            "WS10M": Known("wind", "", height_m=10.0),
            "ALLSKY_SFC_SW_DWN": Known("solar", ""),
        },
        dates=(("YEAR", "MO", "DY", "HR"), ("YEAR", "MO", "DY"), ("YEAR", "DOY")),
        missing=(-999.0,),
        block_units=_SERVICE_UNITS,
    ),
)


@dataclass(frozen=True)
class Sheet:
    """A table of text: its header, its rows with line numbers, and the block above the header."""

    header: list[str]
    top_line: int
    cells: list[list[str]]
    lines: list[int]
    above: tuple[str, ...] = ()


@dataclass(frozen=True)
class Recognized:
    """A layout found in a file, with the details that the file states."""

    layout: Layout
    columns: tuple[Column, ...]  # dates and times left out
    dates: tuple[str, ...]  # headers of the date, one of layout.dates
    unused: tuple[str, ...]
    place: Place
    notes: tuple[str, ...]


def bare(name: str) -> str:
    """A header without the unit in brackets behind it."""
    name = name.strip()
    head, opened, inside = name.rpartition("(")
    return head.rstrip() if opened and inside.find(")") == len(inside) - 1 else name


def find(text: str) -> tuple[Layout, int] | None:
    """The layout of a text and the number of lines above its header, or None."""
    lines = text.split("\n", MOST_LINES_ABOVE)[:MOST_LINES_ABOVE]
    for above, line in enumerate(lines):
        if "," not in line:
            continue
        cells = _cells(line)
        names = {layout.title: {layout.name(cell) for cell in cells} for layout in LAYOUTS}
        like = [
            layout for layout in LAYOUTS
            if names[layout.title].issuperset(layout.signature)
            and names[layout.title].intersection(layout.one_of)
        ]  # fmt: skip
        begins = [bare(cell) for cell in cells]
        whole = [layout for layout in like if begins[: len(layout.begins)] == [*layout.begins]]
        if like:
            return (whole or like)[0], above
    return None


def nearly(path: str, text: str) -> Fault | None:
    """The fault of a file that opens like a layout and lacks its header."""
    for layout in LAYOUTS:
        if layout.opening and re.match(layout.opening, text):
            ways = " or ".join(",".join(names) for names in layout.dates)
            what = f"opens like {layout.title} but has no header row"
            allowed = f"a row that starts with {ways} and has {' or '.join(layout.one_of)}"
            return Fault(f"{path} line 1", what, allowed)
    return None


def recognized(where: str, layout: Layout, sheet: Sheet, ignore: Sequence[str]) -> Recognized:
    """The layout's columns in a sheet; FaultyInput for differences from the layout."""
    top = f"{where} line {sheet.top_line}"
    like = f"is like {layout.title}, but"
    by_name = {layout.name(name): name for name in sheet.header if name not in ignore}
    if layout.unsaid:
        raise FaultyInput(Fault(top, f"this is {layout.title}: {layout.unsaid}",
                                *declaration(layout, sheet)))  # fmt: skip
    faults: list[Fault] = []
    begins = tuple(bare(name) for name in sheet.header[: len(layout.begins)])
    if begins != layout.begins:
        what = f"{like} its header begins {quoted(','.join(begins), bare=True)}"
        faults.append(Fault(top, what, f"{','.join(layout.begins)}, as it is downloaded"))
    dates = next((names for names in layout.dates if set(names) <= set(by_name)), ())
    if not dates:
        ways = " or ".join(", ".join(names) for names in layout.dates)
        faults.append(Fault(top, f"{like} its header has no date that it knows", ways))
    units: dict[str, str] = {}
    missing = layout.missing
    if layout.block_units:
        units, stated, block_faults = _header_block(where, layout, sheet)
        missing = missing if stated is None else (stated,)
        faults += block_faults
    columns: list[Column] = []
    for name, known in layout.columns.items():
        header = by_name.get(name)
        taken = any(column.quantity == known.quantity for column in columns)
        if header is None or known.quantity == DATE or taken:
            continue
        if known.quantity == "temperature" and "HR" not in dates:
            continue  # a daily mean is neither Tmax nor Tmin
        unit = known.unit
        if known.as_written and header != f"{name} ({known.as_written})":
            what = f"{like} has the column {quoted(header)}"
            faults.append(Fault(top, what, f"'{name} ({known.as_written})'"))
        if layout.block_units and not unit:
            written = units.get(name)
            if written is None:
                if not block_faults:
                    what = f"{like} its header block does not say the unit of {name}"
                    faults.append(Fault(top, what, "a line of the block with the unit in brackets"))
                continue
            unit = layout.block_units.get(written, "")
            if not unit:
                what = f"{like} {name} is in {quoted(written)}"
                faults.append(Fault(top, what, ", ".join(layout.block_units)))
                continue
        quantity = known.quantity
        if quantity == "rh_mean" and "HR" in dates:
            quantity = "rh"
        columns.append(Column(header, quantity, unit, known.height_m, known.scale, missing))
    if faults:
        raise FaultyInput(faults)
    used = {column.name for column in columns} | {by_name[name] for name in dates}
    apart = tuple(f"{name}{layout.attributes}" for name in used) if layout.attributes else ()
    of_place = ("STATION", "NAME", "LATITUDE", "LONGITUDE", "ELEVATION")
    unused = tuple(
        n for n in sheet.header if n not in used and n not in apart and n not in of_place
        and not (layout.attributes and n.endswith(layout.attributes))
    )  # fmt: skip
    notes = tuple(note for name, note in layout.notes.items() if by_name.get(name) in used)
    headers = tuple(by_name[name] for name in dates)
    return Recognized(layout, tuple(columns), headers, unused, _place(sheet), notes)


def declaration(layout: Layout, sheet: Sheet) -> tuple[str, str]:
    """How to check, and then the line of a scenario with the details missing from the file."""
    by_name = {layout.name(name): name for name in sheet.header}
    system = likely_system(*(_numbers(sheet, by_name.get(name)) for name in ("TMAX", "PRCP")))
    parts = []
    for name, known in layout.columns.items():
        if name in by_name:
            unit = (system or US).units[known.unit] if known.unit else ""
            shown = f", unit = {toml_text(unit)}" if unit else ""
            parts.append(f"{known.quantity} = {{ column = {toml_text(by_name[name])}{shown} }}")
    line = f"columns = {{ {', '.join(parts)} }}"
    where = "Write under [weather], or give to --columns of init and weather check"
    if system is None:
        return (
            "its levels fit no units of an order (those below are US units; others are mm, degC, "
            f"m/s, or 0.1 mm, 0.1 degC, 0.1 m/s for tenths): write those of yours. {where}",
            line,
        )
    return f"its levels fit {system.name}: compare them with your order. {where}", line


def _numbers(sheet: Sheet, header: str | None) -> FloatArray:
    """The plain numbers of a column (n,), NaN for any other cell and without a column."""
    found = np.full(len(sheet.cells), np.nan)
    if header is not None:
        at = sheet.header.index(header)
        for i, row in enumerate(sheet.cells):
            if len(row) > at and re.fullmatch(r"\s*-?[0-9]{1,5}(?:\.[0-9]{0,4})?\s*", row[at]):
                found[i] = float(row[at])
    found[np.isin(found, (-9999.0, 9999.0))] = np.nan
    return found


def whole_number_faults(
    where: str, found: Recognized, sheet: Sheet
) -> list[Fault]:
    """Fault of the first value with a decimal point in a layout of whole numbers."""
    for column in found.columns:
        at = sheet.header.index(column.name)
        for line, row in zip(sheet.lines, sheet.cells, strict=True):
            if len(row) > at and "." in row[at]:
                unit = f"tenths of {column.unit}" if column.scale == _TENTH else column.unit
                what = (
                    f"{quoted(row[at].strip())} has a decimal point; in {found.layout.title} "
                    f"{column.name} is in whole {unit}"
                )
                spot = f"{where} line {line}, column {quoted(column.name)}"
                return [Fault(spot, what, *declaration(found.layout, sheet))]
    return []


def _header_block(
    where: str, layout: Layout, sheet: Sheet
) -> tuple[dict[str, str], float | None, list[Fault]]:
    """Units by name and the missing mark from the block above the header."""
    units: dict[str, str] = {}
    missing = None
    above = [line.strip() for line in sheet.above]
    if not above or above[0] != "-BEGIN HEADER-" or "-END HEADER-" not in above:
        what = f"is like {layout.title}, but has no header block with the units"
        allowed = "keep the lines from -BEGIN HEADER- to -END HEADER- of the download"
        return units, missing, [Fault(f"{where} line 1", what, allowed)]
    for line in above:
        if (match := re.match(r"(\w+)\s.*\(([^()]+)\)$", line)) and match[1] in layout.columns:
            units[match[1]] = match[2].strip()
        elif "missing" in line.lower() and (mark := re.search(r"(-?[0-9.]+)$", line)):
            missing = float(mark[1])
    if any(re.search(r"\bin UTC\b", line) for line in above) and "HR" in sheet.header:
        what = f"is hourly {layout.title} in UTC"
        return units, missing, [Fault(f"{where} line 1", what, "local solar time (LST)")]
    return units, missing, []


def _place(sheet: Sheet) -> Place:
    """Latitude, longitude and elevation from the header block or the columns of the first row."""
    found: dict[str, float] = {}
    block = "\n".join(sheet.above)
    for key, pattern in (
        ("latitude_deg", r"Latitude:?\s+(-?[0-9.]+)"),
        ("longitude_deg", r"Longitude:?\s+(-?[0-9.]+)"),
        ("elevation_m", r"Elevation.*?(-?[0-9.]+)\s*m(?:eters)?\b"),
    ):
        name = key.split("_")[0].upper()
        text = ""
        if match := re.search(pattern, block):
            text = match[1]
        elif name in sheet.header and sheet.cells:
            at = sheet.header.index(name)
            text = sheet.cells[0][at].strip() if at < len(sheet.cells[0]) else ""
        try:
            found[key] = float(text)
        except ValueError:
            continue
    # The archive's marks for an unknown elevation.
    if found.get("elevation_m") in (-999.9, 9999.0, -9999.0):
        del found["elevation_m"]
    return replace(Place(), **found)


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line]))
    except (csv.Error, StopIteration):
        return []


# ---------------------------------------------------------------- the archive's other forms
# From memory: station 1-11, year 12-15, month 16-17, element 18-21, then for each of 31 days
# five columns of value and one each of measurement, quality and source flag; -9999 is missing.

_FIXED_WIDTH = 21 + 31 * 8
_FIXED_START = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}[0-9]{4}(?:0[1-9]|1[0-2])[A-Z]{2}[A-Z0-9]{2}")
LONG_HEADER = ("ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")


def is_fixed_width(text: str) -> bool:
    """Whether a text starts like the archive's fixed-width form."""
    return _FIXED_START.match(text) is not None


def fixed_width_sheet(where: str, text: str) -> Sheet:
    """The archive's fixed-width form as a sheet like its CSV by station."""
    found: list[tuple[str, str, str, str, str]] = []
    faults: list[Fault] = []
    station = text[:11]
    for number, line in enumerate(text.rstrip("\r\n").split("\n"), start=1):
        line = line.rstrip("\r")
        spot = f"{where} line {number}"
        if not _FIXED_START.match(line):
            what = "does not begin with station, year, month and element in columns 1 to 21"
            faults.append(Fault(spot, what, "as USW00012345201307TMAX"))
            continue
        # Blanks at the end, the last flags, may be missing.
        if not _FIXED_WIDTH - 3 <= len(line) <= _FIXED_WIDTH:
            what = f"is {len(line)} columns wide"
            allowed = f"{_FIXED_WIDTH} columns: 21 and 8 for each of 31 days"
            faults.append(Fault(spot, what, allowed))
            continue
        if line[:11] != station:
            what = f"is of station {line[:11]}, line 1 of {station}"
            faults.append(Fault(spot, what, "one station a file"))
            continue
        month = f"{line[11:15]}-{line[15:17]}"
        days = monthrange(int(line[11:15]), int(line[15:17]))[1]
        for day in range(1, days + 1):
            at = 21 + 8 * (day - 1)
            value = line[at : at + 5].strip()
            if value in ("", "-9999"):
                continue
            if not re.fullmatch(r"-?[0-9]+", value):
                what = f"columns {at + 1} to {at + 5} hold '{line[at : at + 5]}'"
                faults.append(Fault(spot, what, "a whole number, or -9999"))
                break
            flags = f"{line[at + 5 : at + 8]:3}"
            flag_text = ",".join(flag.strip() for flag in flags)
            found.append((f"{month}-{day:02d}", line[17:21], value, flag_text, f"{number}"))
    if faults:
        raise FaultyInput(faults[:20])
    return _by_day(station, found)


def long_sheet(sheet: Sheet, where: str) -> Sheet:
    """The archive's form with a row for each value as a sheet like its CSV by station."""
    found = []
    faults = []
    for line, row in zip(sheet.lines, sheet.cells, strict=True):
        if len(row) < 7 or not re.fullmatch(r"[0-9]{8}", row[1].strip()):
            faults.append(Fault(f"{where} line {line}", "is not a row of this layout",
                                ",".join(LONG_HEADER)))  # fmt: skip
            continue
        day = row[1].strip()
        flags = ",".join(flag.strip() for flag in row[4:7])
        found.append((f"{day[:4]}-{day[4:6]}-{day[6:]}", row[2], row[3].strip(), flags, f"{line}"))
    if faults:
        raise FaultyInput(faults[:20])
    return _by_day(sheet.cells[0][0] if sheet.cells else "", found)


def _by_day(station: str, found: Sequence[tuple[str, str, str, str, str]]) -> Sheet:
    """Values of days and elements, with flags and lines, as one row a day."""
    elements = list(dict.fromkeys(one[1] for one in found))
    place = {name: 7 + 2 * i for i, name in enumerate(elements)}
    header = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
    for name in elements:
        header += [name, f"{name}_ATTRIBUTES"]
    rows: dict[str, list[str]] = {}
    lines: dict[str, int] = {}
    for day, element, value, flags, line in found:
        row = rows.setdefault(day, [station, day] + [""] * (len(header) - 2))
        row[place[element] - 1], row[place[element]] = value, flags
        lines.setdefault(day, int(line))
    days = sorted(rows)
    return Sheet(header, 1, [rows[day] for day in days], [lines[day] for day in days])
