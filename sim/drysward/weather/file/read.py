"""Reading daily weather from CSV and NetCDF, refusing by name what cannot be used."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from drysward.faults import Fault, FaultyInput, nearest
from drysward.weather.file.columns import (
    DATE,
    QUANTITIES,
    Column,
    ColumnSpec,
    by_header,
    by_variable,
    check_columns,
    declared_columns,
    to_base,
    unknown_column,
)
from drysward.weather.file.fill import FillRule, check_blanks, fill_blanks
from drysward.weather.file.table import (
    BoolArray,
    RowFault,
    Table,
    check_dates,
    check_values,
    rows_of,
    with_every_day,
)
from drysward.weather.record import DailyRecord, FloatArray

FAULTS_TOLD = 20

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_NOT_A_NUMBER = re.compile(r"[+-]?(nan|inf|infinity)", re.IGNORECASE)
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_BOM = b"\xef\xbb\xbf"
_ON_TOP = -1  # the row of a fault of the file as a whole


def read_weather(
    path: str | Path,
    columns: Mapping[str, ColumnSpec] | None = None,
    fill: FillRule | None = None,
    wind_height_m: float | None = None,
    ignore: Collection[str] = (),
) -> DailyRecord:
    """Daily weather from a .csv or .nc file.

    Parameters
    ----------
    columns : quantity -> column and unit, for columns whose header does not say them
        (``{"tmax": ColumnSpec("High", "degF")}``); quantities are those of
        ``drysward.weather.file.columns.QUANTITIES`` and ``date``.
    fill : how blank rain and temperature and absent days are filled; refused otherwise.
    wind_height_m : height of the wind when its column does not say it.
    ignore : columns to leave out.

    Raises
    ------
    FaultyInput
        With every fault of the file, at most 20 told and the rest counted.
    """
    return to_record(read_table(path, columns, wind_height_m, ignore), fill or FillRule())


@dataclass(frozen=True, eq=False)
class WeatherFile:
    """A weather file as its rows say, before days and values are checked and blanks filled.

    ``faults`` are those of header and cells; ``table`` is None when no row could be read.
    """

    path: Path
    table: Table | None
    wind_height_m: float | None
    faults: tuple[RowFault, ...]
    digest: str

    @property
    def header_faults(self) -> tuple[Fault, ...]:
        """Faults of the file as a whole: columns unknown, missing or without a unit."""
        return tuple(fault for row, fault in self.faults if row == _ON_TOP)


def read_table(
    path: str | Path,
    columns: Mapping[str, ColumnSpec] | None = None,
    wind_height_m: float | None = None,
    ignore: Collection[str] = (),
) -> WeatherFile:
    """The rows of a .csv or .nc file with the faults of its cells; see :func:`read_weather`.

    Raises FaultyInput when there is no file, or nothing in it can be told apart as columns.
    """
    path = Path(path)
    data = _bytes_of(path)
    if path.suffix.lower() == ".csv":
        table, height, faults = _read_csv(path, data, columns or {}, wind_height_m, ignore)
    elif path.suffix.lower() == ".nc":
        table, height, faults = _read_netcdf(path, columns or {}, wind_height_m, ignore)
    else:
        raise FaultyInput(Fault(str(path), "is neither .csv nor .nc by its name", ".csv or .nc"))
    return WeatherFile(path, table, height, tuple(faults), hashlib.sha256(data).hexdigest())


def to_record(file: WeatherFile, rule: FillRule) -> DailyRecord:
    """The checked and filled record of a file; FaultyInput as :func:`read_weather`."""
    table, filled, faults = _filled(file, rule)
    if faults or table is None:
        raise FaultyInput(_told(str(file.path), faults))
    return DailyRecord(
        name=file.path.stem,
        dates=table.dates,
        **{QUANTITIES[quantity].field: values for quantity, values in table.values.items()},
        wind_height_m=file.wind_height_m if "wind" in table.values else None,
        filled=filled,
        digest=file.digest,
        findings=(),  # of the site's place, which a file does not know
    )


def faults_under(file: WeatherFile, rule: FillRule) -> list[Fault]:
    """Every fault for which a run would refuse the file under a rule, in file order."""
    return _in_order(_filled(file, rule)[2])


def _filled(
    file: WeatherFile, rule: FillRule
) -> tuple[Table | None, dict[str, int], list[RowFault]]:
    """The table with blanks filled by the rule, days filled by quantity and rule, all faults."""
    table, faults = file.table, list(file.faults)
    filled: dict[str, int] = {}
    if table is not None:
        date_faults = check_dates(table, rule.fills_absent_days, rule.longest_gap_days)
        faults += date_faults + check_values(table)
        if not date_faults and not np.isnat(table.dates).any():
            every_day = with_every_day(table)
            blanks = check_blanks(every_day, rule)
            if not blanks and not faults:
                table, filled, blanks = fill_blanks(every_day, rule)
            faults += blanks
        else:
            faults += check_blanks(table, rule)
    return table, filled, faults


def _bytes_of(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise FaultyInput(Fault(str(path), "there is no such file")) from None
    except IsADirectoryError:
        raise FaultyInput(Fault(str(path), "is a folder", "a .csv or .nc file")) from None
    except OSError as error:
        raise FaultyInput(Fault(str(path), f"cannot be read ({error.strerror})")) from None
    if not data.removeprefix(_BOM).strip():
        raise FaultyInput(Fault(str(path), "is empty", "a header and a row for every day"))
    return data


def _told(path: str, faults: list[RowFault]) -> list[Fault]:
    """Faults in file order, at most twenty and a count of the rest."""
    told = _in_order(faults)
    if len(told) > FAULTS_TOLD:
        told = [*told[:FAULTS_TOLD], Fault(path, f"and {len(told) - FAULTS_TOLD} more")]
    return told


def _in_order(faults: list[RowFault]) -> list[Fault]:
    return [fault for _, fault in sorted(faults, key=lambda pair: pair[0])]


def _known_columns(
    path: str,
    named: Mapping[str, Column | None],
    units: Mapping[str, str] | None,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
) -> tuple[list[Column], float | None, list[RowFault]]:
    """The columns to read, of those ``named`` in the file, the wind's height, and faults."""
    columns, faults = declared_columns(specs, named, units, path)
    declared = {spec.column for spec in specs.values()}
    for name in ignore:
        if name not in named:
            faults.append(Fault(path, f"has no column '{name}' to ignore", nearest(name, named)))
    for name, column in named.items():
        if name in declared or name in ignore:
            continue
        if column is not None:
            columns.append(column)
        else:
            faults.append(unknown_column(name, path))
    height, set_faults = check_columns(columns, path, wind_height_m)
    return columns, height, [(_ON_TOP, fault) for fault in faults + set_faults]


# ---------------------------------------------------------------- CSV


def _read_csv(
    path: Path,
    data: bytes,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
) -> tuple[Table | None, float | None, list[RowFault]]:
    where = str(path)
    rows = _csv_rows(where, _decoded(where, data))
    top_line, header = next(rows)
    header = [name.strip() for name in header]
    top = f"{where} line {top_line}"
    unnamed = [f"column {i + 1} has no name" for i, name in enumerate(header) if not name]
    twice = [f"two columns are named '{n}'" for n in dict.fromkeys(header) if header.count(n) > 1]
    if unnamed or twice:
        raise FaultyInput([Fault(top, what, "a name for each") for what in unnamed + twice])

    named = {name: by_header(name) for name in header}
    columns, height, faults = _known_columns(top, named, None, specs, wind_height_m, ignore)
    cells: list[list[str]] = []
    lines: list[int] = []
    for line, row in rows:
        if len(row) != len(header):
            told = f"{len(row)} cells under a header of {len(header)}" if row else "is empty"
            faults.append((len(cells), Fault(f"{where} line {line}", told, "a cell per column")))
            row = []
        cells.append(row)
        lines.append(line)
    if not cells:
        faults.append((0, Fault(where, "has a header and no rows", "a row for every day")))
        return None, height, faults

    by_quantity = {column.quantity: column for column in columns}
    dates = np.full(len(cells), np.datetime64("NaT", "D"))
    values: dict[str, FloatArray] = {}
    given: dict[str, FloatArray] = {}
    blank: dict[str, BoolArray] = {}
    for quantity, column in by_quantity.items():
        place = header.index(column.name)
        numbers = np.full(len(cells), np.nan)
        empty = np.zeros(len(cells), dtype=bool)
        for i, row in enumerate(cells):
            if not row:
                continue
            text = row[place].strip()
            try:
                if quantity == DATE:
                    dates[i] = _date(text)
                elif text:
                    numbers[i] = _number(text)
                else:
                    empty[i] = True
            except ValueError as error:
                what, _, allowed = str(error).partition("; ")
                spot = f"{where} line {lines[i]}, column '{column.name}'"
                faults.append((i, Fault(spot, what, allowed)))
        if quantity == DATE:
            continue
        try:
            values[quantity] = to_base(numbers, column)
        except ValueError as error:
            faults.append((_ON_TOP, Fault(f"{top}, column '{column.name}'", str(error))))
            continue
        given[quantity], blank[quantity] = numbers, empty
    table = Table(where, dates, values, given, blank, by_quantity, np.array(lines))
    return table, height, faults


def _decoded(where: str, data: bytes) -> str:
    bare = data.removeprefix(_BOM)
    try:
        return bare.decode("utf-8")
    except UnicodeDecodeError as error:
        before = bare[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        line = before.count(b"\n") + 1
        number = error.start + len(data) - len(bare) + 1
        what = f"byte {number} (0x{bare[error.start]:02x}) is not UTF-8"
        raise FaultyInput(Fault(f"{where} line {line}", what, "a file saved as UTF-8")) from None


def _csv_rows(where: str, text: str) -> Iterator[tuple[int, list[str]]]:
    """Line on which each row starts, and its cells; empty lines at the end are left out."""
    reader = csv.reader(io.StringIO(text.rstrip("\r\n"), newline=""), strict=True)
    line = 1
    try:
        for row in reader:
            yield line, row
            line = reader.line_num + 1
    except csv.Error as error:
        raise FaultyInput(Fault(f"{where} line {line}", f"is not CSV ({error})")) from None


def _date(text: str) -> np.datetime64:
    if not text:
        raise ValueError("is blank; a day as 2013-07-04")
    if not _ISO_DATE.fullmatch(text):
        raise ValueError(f"'{text}' is not a date; as 2013-07-04 (year-month-day)")
    try:
        return np.datetime64(date.fromisoformat(text), "D")
    except ValueError:
        raise ValueError(f"'{text}' is not a day of the calendar; as 2013-07-04") from None


def _number(text: str) -> float:
    if _NOT_A_NUMBER.fullmatch(text):
        raise ValueError(f"'{text}' is not a finite number; a number, or blank where unknown")
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"'{text}' is not a number; a number with a decimal point, or blank")
    number = float(text)
    if not np.isfinite(number):
        raise ValueError(f"'{text}' is too large; a finite number")
    return number


# ---------------------------------------------------------------- NetCDF


def _read_netcdf(
    path: Path,
    specs: Mapping[str, ColumnSpec],
    wind_height_m: float | None,
    ignore: Collection[str],
) -> tuple[Table | None, float | None, list[RowFault]]:
    """CF variables on one time dimension, each with a ``units`` attribute."""
    import xarray as xr

    where = str(path)
    try:
        # Hours of sunshine are numbers to us, not time spans.
        with xr.open_dataset(path, decode_timedelta=False, decode_coords="all") as opened:
            dataset = opened.load()
    except Exception as error:
        reason = str(error).splitlines()[0]
        raise FaultyInput(Fault(where, f"is not readable as NetCDF ({reason})")) from None

    time = specs[DATE].column if DATE in specs else "time"
    if (
        time not in dataset.variables
        or dataset[time].ndim != 1
        or not np.issubdtype(dataset[time].dtype, np.datetime64)
    ):
        what = f"has no variable '{time}' that gives days of the standard calendar"
        raise FaultyInput(Fault(where, what, "time of the CF conventions, one dimension"))
    (dimension,) = dataset[time].dims
    dates = dataset[time].values.astype("datetime64[D]")
    if not dates.size or np.isnat(dates).any():
        what = "has days without a date" if dates.size else "has no days"
        raise FaultyInput(Fault(f"{where}, variable '{time}'", what, "a date for every day"))

    series = {
        str(name): variable
        for name, variable in dataset.data_vars.items()
        if dimension in variable.dims
    }
    units = {name: str(variable.attrs.get("units", "")) for name, variable in series.items()}
    named: dict[str, Column | None] = {time: Column(time, DATE, "")}
    named |= {name: by_variable(name, unit) for name, unit in units.items()}
    columns, height, faults = _known_columns(where, named, units, specs, wind_height_m, ignore)

    values: dict[str, FloatArray] = {}
    given: dict[str, FloatArray] = {}
    blank: dict[str, BoolArray] = {}
    for column in columns:
        if column.name not in series:
            continue
        spot = f"{where}, variable '{column.name}'"
        variable = series[column.name]
        single = [dim for dim in variable.dims if variable.sizes[dim] == 1 and dim != dimension]
        variable = variable.squeeze(single)
        if not column.unit:
            faults.append((_ON_TOP, Fault(spot, "has no units attribute", "units in CF spelling")))
        elif variable.dims != (dimension,):
            dims = ", ".join(str(dim) for dim in variable.dims)
            faults.append((_ON_TOP, Fault(spot, f"has dimensions {dims}", f"only {dimension}")))
        elif not np.issubdtype(variable.dtype, np.number):
            faults.append((_ON_TOP, Fault(spot, "is not numbers", "numbers")))
        else:
            numbers = variable.values.astype(float)
            empty = np.isnan(numbers)
            for row in rows_of(np.isinf(numbers)):
                what = f"is not finite on {dates[row]}"
                faults.append((row, Fault(spot, what, "a number, or missing")))
                numbers[row] = np.nan
            try:
                values[column.quantity] = to_base(numbers, column)
            except ValueError as error:
                faults.append((_ON_TOP, Fault(spot, str(error))))
                continue
            given[column.quantity], blank[column.quantity] = numbers, empty
    by_quantity = {column.quantity: column for column in columns}
    return Table(where, dates, values, given, blank, by_quantity), height, faults
