"""Reading of daily weather from text and NetCDF; every fault is named with its place."""

from __future__ import annotations

import gzip
import hashlib
import io
import zlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from drysward.faults import Fault, FaultyInput, path_text
from drysward.inputs import file_bytes
from drysward.weather.file.columns import QUANTITIES, REQUIRED, Column, ColumnSpec
from drysward.weather.file.fill import (
    USUAL_GAP_DAYS,
    FillRule,
    as_option,
    as_toml,
    check_blanks,
    fill_blanks,
)
from drysward.weather.file.layouts import LEFT_OUT, NOWHERE, Place
from drysward.weather.file.rows import MOST_BYTES, ON_TOP, Rows
from drysward.weather.file.table import (
    RowFault,
    Table,
    blank_required,
    check_dates,
    check_values,
    every_day_once,
    of_rows,
    rows_of,
    with_days,
    with_every_day,
)
from drysward.weather.file.text import BOM, read_text
from drysward.weather.record import DailyRecord

Monthly = Mapping[str, Sequence[float]]

FAULTS_LISTED = 20
MONTHLY_NOTE = (
    "temperature is the smooth course of monthly means: growth, winter rest and green-up follow "
    "it; hot spells and death by heat, single frosts, snow and frozen ground of cold spells, warm "
    "nights are not modeled; humidity, wind and sun that the file lacks come from these means"
)
ENDINGS = (".csv", ".nc", ".dly")
_GZIPPED = b"\x1f\x8b"

# Longest gaps for which each rule is proposed: the reader's default, then estimates.
LONGEST_PLAIN_FILL_DAYS = 15
LEAST_YEARS_KEPT = 5  # estimate: fewer years are not proposed for a file with gaps


def read_weather(
    path: str | Path,
    columns: Mapping[str, ColumnSpec] | None = None,
    fill: FillRule | None = None,
    wind_height_m: float | None = None,
    ignore: Collection[str] = (),
    years: tuple[int, int] | None = None,
    hours_from_utc: float | None = None,
    monthly_temperature: Monthly | None = None,
) -> DailyRecord:
    """Daily weather from a .csv, .dly or .nc file, which may be gzipped.

    Parameters
    ----------
    columns : quantity -> column and unit, for columns whose header does not state them
        (``{"tmax": ColumnSpec("High", "degF")}``); quantities are those of
        ``drysward.weather.file.columns.QUANTITIES`` and ``date``.
    fill : how blank rain and temperature and absent days are filled; refused otherwise.
    wind_height_m : height of the wind when its column does not state it.
    ignore : columns to leave out.
    years : first and last calendar year to read; all when None.
    hours_from_utc : of local standard time, for a file with hours in UTC.
    monthly_temperature : twelve means each of "tmax" and "tmin" (deg C), for a file with
        reference ET and without temperature.

    Raises
    ------
    FaultyInput
        With the faults of the file: 20 at most, and a count of the others.
    """
    file = read_table(
        path, columns, wind_height_m, ignore, years, hours_from_utc, monthly_temperature
    )
    return to_record(file, fill or FillRule())


@dataclass(frozen=True, eq=False)
class WeatherFile:
    """The rows of a weather file, before days and values are checked and blanks filled.

    ``faults`` are those of header and cells; ``table`` is None when no row could be read.
    ``filled`` counts days that the file's calendar leaves out; ``notes`` are the assumptions of the
    reader.
    """

    path: Path
    table: Table | None
    wind_height_m: float | None
    faults: tuple[RowFault, ...]
    digest: str
    notes: tuple[str, ...] = ()
    place: Place = NOWHERE
    filled: Mapping[str, int] = field(default_factory=dict)
    without_temperature: bool = False  # monthly means replace it

    @property
    def header_faults(self) -> tuple[Fault, ...]:
        """Faults of the file as a whole: columns unknown, missing or without a unit."""
        return tuple(fault for row, fault in self.faults if row == ON_TOP)


def read_table(
    path: str | Path,
    columns: Mapping[str, ColumnSpec] | None = None,
    wind_height_m: float | None = None,
    ignore: Collection[str] = (),
    years: tuple[int, int] | None = None,
    hours_from_utc: float | None = None,
    monthly_temperature: Monthly | None = None,
) -> WeatherFile:
    """The rows of a file with the faults of its cells; see :func:`read_weather`.

    Raises FaultyInput when there is no file, or no columns are found in it.
    """
    path = Path(path)
    data = file_bytes(path, MOST_BYTES, "a .csv, .dly or .nc file")
    digest = hashlib.sha256(data).hexdigest()
    data, ending = _unpacked(path, data)
    if ending not in ENDINGS:
        what = f"has none of the file extensions {', '.join(ENDINGS)}"
        allowed = "rename it; .gz may follow"
        raise FaultyInput(Fault(path_text(path), what, allowed))
    if ending == ".nc":
        from drysward.weather.file.netcdf import read_netcdf as reader
    else:
        reader = read_text
    stands_in = monthly_temperature is not None
    rows = reader(
        path_text(path), data, columns or {}, wind_height_m, ignore, hours_from_utc, stands_in
    )
    _only_days_of_the_calendar(rows)
    if monthly_temperature is not None:
        _take_monthly_temperature(rows, monthly_temperature)
    if years is not None:
        _keep_years(path_text(path), rows, years)
    filled = _as_a_calendar_has_them(rows)
    return WeatherFile(
        path, rows.table, rows.wind_height_m, tuple(rows.faults), digest, tuple(rows.notes),
        rows.place, filled, stands_in,
    )  # fmt: skip


_CALENDAR = np.array(["0001-01-01", "9999-12-31"], dtype="datetime64[D]")


def _only_days_of_the_calendar(rows: Rows) -> None:
    """Refuse days of years before 1 or after 9999, which later code cannot represent."""
    table = rows.table
    if table is None:
        return
    with np.errstate(invalid="ignore"):
        beyond = (table.dates < _CALENDAR[0]) | (table.dates > _CALENDAR[1])
    for row in rows_of(beyond):
        what = f"day {table.dates[row]} is in no year of the calendar"
        rows.faults.append((row, Fault(table.where(row), what, "the years 1 to 9999")))
    if beyond.any():
        rows.table = replace(table, dates=np.where(beyond, np.datetime64("NaT"), table.dates))


def _keep_years(path: str, rows: Rows, years: tuple[int, int]) -> None:
    """Keep only the days of some years, and the faults of the file and of these days."""
    table = rows.table
    if table is None:
        return
    year = table.dates.astype("datetime64[Y]").astype(int) + 1970
    kept = np.isnat(table.dates) | ((year >= years[0]) & (year <= years[1]))
    if not (kept & ~np.isnat(table.dates)).any():
        known = table.dates[~np.isnat(table.dates)]
        span = f"{known.min()} to {known.max()}" if known.size else "no day that can be read"
        what = f"has no day from {years[0]} to {years[1]}"
        raise FaultyInput(Fault(path, what, f"years of the file: {span}"))
    place = np.cumsum(kept) - 1
    rows.faults = [
        (row if row == ON_TOP else int(place[row]), fault)
        for row, fault in rows.faults
        if row == ON_TOP or row >= kept.size or kept[row]
    ]
    rows.table = of_rows(table, kept)


def _take_monthly_temperature(rows: Rows, monthly: Monthly) -> None:
    """Use the smooth course of monthly means as temperature, for a file without."""
    from drysward.weather.simulated.climate import calendar_day, smooth_curve

    table = rows.table
    if table is None or {"tmax", "tmin"} & set(table.values):
        return
    known = ~np.isnat(table.dates)
    values, blank, columns = dict(table.values), dict(table.blank), dict(table.columns)
    raw = dict(table.raw)
    for name in ("tmax", "tmin"):
        course = np.full(known.size, np.nan)
        curve = smooth_curve(np.asarray(monthly[name], dtype=float))
        course[known] = curve[calendar_day(table.dates[known])]
        values[name] = raw[name] = course
        blank[name] = np.zeros(known.size, dtype=bool)
        columns[name] = Column("monthly_temperature", name, "degC")
    rows.table = replace(table, values=values, raw=raw, blank=blank, columns=columns)
    rows.notes.append(MONTHLY_NOTE)


def _as_a_calendar_has_them(rows: Rows) -> dict[str, int]:
    """Add the days that a layout leaves out; cut blanks off both ends of a public file.

    An added day gets the mean of its neighbors, and no rain. It is counted by its kind.
    """
    table = rows.table
    filled: dict[str, int] = {}
    if table is None or np.isnat(table.dates).any() or (np.diff(table.dates).astype(int) < 1).any():
        return filled
    if rows.public and (blank := blank_required(table)):
        known = np.flatnonzero(~np.logical_or.reduce(list(blank.values())))
        if known.size:
            first, last = int(known[0]), int(known[-1])
            if cut := first + table.dates.size - 1 - last:
                span = f"{cut:,} days before {table.dates[first]} and after {table.dates[last]}"
                rows.notes.append(f"{span} lack rain or temperature and are left out")
                table = of_rows(table, slice(first, last + 1))
                rows.faults = [(row if row == ON_TOP else row - first, f) for row, f in rows.faults]
    if rows.left_out:
        every = np.arange(table.dates[0], table.dates[-1] + 1)
        days = every[LEFT_OUT[rows.left_out](every)]
        # Only when both neighbors are present: in a gap it is part of the gap.
        days = days[~np.isin(days, table.dates)]
        days = days[np.isin(days - 1, table.dates) & np.isin(days + 1, table.dates)]
        table = with_days(table, days)
        new = np.isin(table.dates, days)
        values, blank = {}, {}
        for name, series in table.values.items():
            between = (np.roll(series, 1) + np.roll(series, -1)) / 2
            values[name] = np.where(new, 0.0 if name == "rain" else between, series)
            blank[name] = np.where(new, np.isnan(values[name]), table.blank[name])
        table = replace(table, values=values, blank=blank)
        if days.size:
            rule = f"{rows.left_out}, missing in such files: no rain, other values interpolated"
            filled[rule] = int(days.size)
    rows.table = table
    return filled


def to_record(file: WeatherFile, rule: FillRule) -> DailyRecord:
    """The checked and filled record of a file; FaultyInput as :func:`read_weather`."""
    table, filled, faults = _filled(file, rule)
    if not faults and table is not None and file.without_temperature:
        _check_reference_et(table)
    if faults or table is None:
        _, _, faults = _filled(file, rule, mending(file), one_a_quantity=True)
        raise FaultyInput(_first_faults(path_text(file.path), faults))
    return DailyRecord(
        name=file.path.name,
        dates=table.dates,
        **{QUANTITIES[quantity].field: values for quantity, values in table.values.items()},
        wind_height_m=file.wind_height_m if "wind" in table.values else None,
        filled={**file.filled, **filled},
        notes=file.notes,
        latitude_deg=file.place.latitude_deg,
        elevation_m=file.place.elevation_m,
        digest=file.digest,
        findings=(),  # of the site's location, which a file does not know
    )


def _check_reference_et(table: Table) -> None:
    """FaultyInput for days whose reference ET would have to come from monthly means."""
    lacking = rows_of(np.isnan(table.values["reference_et"]))
    if lacking:
        days = "1 day" if len(lacking) == 1 else f"{len(lacking):,} days"
        what = f"reference_et is blank on {days}, the first {table.dates[lacking[0]]}"
        allowed = "write a number for every day, as the file has no temperature"
        raise FaultyInput(Fault(table.where(lacking[0], "reference_et"), what, allowed))


def faults_under(file: WeatherFile, rule: FillRule) -> list[Fault]:
    """Every fault for which a run would refuse the file under a rule, in file order."""
    return _in_order(_filled(file, rule)[2])


def mildest_rule(
    file: WeatherFile,
) -> tuple[tuple[Fault, ...], FillRule | None, tuple[Fault, ...]]:
    """Faults of a file without filling, the mildest rule that fixes most of it, and the rest.

    Rules are tried from the mildest: rain or temperature alone, both, both over longer gaps and,
    for gaps too long for a straight line, days of other years. When no rule is enough, the faults
    are those of the best one. Days for which a rule finds no value appear only once nothing else is
    wrong.
    """
    faults = tuple(faults_under(file, FillRule()))
    if not faults or file.table is None or np.isnat(file.table.dates).all():
        return faults, None, faults
    longest = _longest_unknown(every_day_once(file.table))
    rules = [
        FillRule(rain="zero"),
        FillRule(temperature="interpolate"),
        FillRule(rain="zero", temperature="interpolate"),
    ]
    if USUAL_GAP_DAYS < longest <= LONGEST_PLAIN_FILL_DAYS:
        rules.append(FillRule("zero", "interpolate", longest))
    elif longest > LONGEST_PLAIN_FILL_DAYS:
        rules.append(FillRule("neighbor-years", "neighbor-years", longest))
    left = [tuple(faults_under(file, rule)) for rule in rules]
    best = min(range(len(rules)), key=lambda i: len(left[i]))
    if len(left[best]) >= len(faults):
        return faults, None, faults
    return faults, rules[best], left[best]


def mending(file: WeatherFile) -> str:
    """The most useful rule as written in a scenario and on a command line, or ""."""
    years = None if file.table is None else years_without_long_gaps(file.table)
    if years is not None:
        kept = _only(file, years)
        _, rule, _ = mildest_rule(kept)
        toml, option = f"record_years = {[*years]}", f"--record-years {years[0]}-{years[1]}"
        if rule is not None:
            toml, option = f"{toml} and {as_toml(rule)}", f"{option} {as_option(rule)}"
        return (
            f"; or only the years without a gap of more than {USUAL_GAP_DAYS} days: under "
            f"[weather] {toml}, or {option} on the command line"
        )
    _, rule, _ = mildest_rule(file)
    if rule is None:
        return ""
    return f": under [weather] {as_toml(rule)}, or {as_option(rule)} on the command line"


def years_without_long_gaps(table: Table) -> tuple[int, int] | None:
    """The longest run of whole years without long gaps, the last of several.

    None when a rule can fill all gaps of the file, or when fewer than five such years exist.
    """
    if np.isnat(table.dates).all():
        return None
    days = every_day_once(table)
    if _longest_unknown(days) <= LONGEST_PLAIN_FILL_DAYS:
        return None
    unknown = np.zeros(days.dates.size, dtype=bool)
    for name in REQUIRED:
        if name in days.values:
            unknown |= np.isnan(days.values[name])
    year = days.dates.astype("datetime64[Y]").astype(int) + 1970
    edges = np.flatnonzero(np.diff(np.concatenate([[False], unknown, [False]]).astype(int)))
    spoilt = {
        int(one)
        for start, stop in edges.reshape(-1, 2)
        if stop - start > USUAL_GAP_DAYS
        for one in np.unique(year[start:stop])
    }
    found, count = np.unique(year, return_counts=True)
    best: tuple[int, int] | None = None
    first = None
    for one, there in zip(found.tolist(), count.tolist(), strict=True):
        good = one not in spoilt and there >= 365
        first = (first or one) if good else None
        if first is not None and (best is None or one - first >= best[1] - best[0]):
            best = (first, one)
    return best if best is not None and best[1] - best[0] + 1 >= LEAST_YEARS_KEPT else None


def _only(file: WeatherFile, years: tuple[int, int]) -> WeatherFile:
    """The file with only some years."""
    rows = Rows(file.table, file.wind_height_m, list(file.faults))
    _keep_years(path_text(file.path), rows, years)
    return replace(file, table=rows.table, faults=tuple(rows.faults))


def _longest_unknown(table: Table) -> int:
    """Days of the longest run without rain or a temperature, at least 1."""
    longest = 1
    for blank in (np.isnan(table.values[name]) for name in REQUIRED if name in table.values):
        edges = np.flatnonzero(np.diff(np.concatenate([[False], blank, [False]]).astype(int)))
        longest = max(longest, int(max(edges[1::2] - edges[::2], default=1)))
    return longest


def _filled(
    file: WeatherFile, rule: FillRule, mending: str = "", one_a_quantity: bool = False
) -> tuple[Table | None, dict[str, int], list[RowFault]]:
    """The table with blanks filled by the rule, days filled by quantity and rule, all faults."""
    table, faults = file.table, list(file.faults)
    filled: dict[str, int] = {}
    if table is not None:
        date_faults = check_dates(
            table, rule.fills_absent_days, rule.longest_gap_days, mending, one_a_quantity
        )
        faults += date_faults + check_values(table)
        if not date_faults and not np.isnat(table.dates).any():
            every_day = with_every_day(table)
            blanks = check_blanks(every_day, rule, mending, one_a_quantity)
            if not blanks and not faults:
                table, filled, blanks = fill_blanks(every_day, rule)
            faults += blanks
        else:
            faults += check_blanks(table, rule, mending, one_a_quantity)
    return table, filled, faults


def _unpacked(path: Path, data: bytes) -> tuple[bytes, str]:
    """The bytes, unpacked from gzip, and the file extension of their kind."""
    ending = path.suffix.lower()
    if ending == ".gz":
        ending = Path(path.stem).suffix.lower()
    if path.suffix.lower() == ".gz" or data.startswith(_GZIPPED):
        try:
            with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
                data = packed.read(MOST_BYTES + 1)
        except (OSError, EOFError, zlib.error) as error:
            what = f"is not readable as gzip ({error})"
            allowed = "use the file as downloaded"
            raise FaultyInput(Fault(path_text(path), what, allowed)) from None
    if len(data) > MOST_BYTES:
        what = f"has more than {MOST_BYTES:,} bytes unpacked"
        raise FaultyInput(Fault(path_text(path), what, "the days of one place"))
    if not data.removeprefix(BOM).strip():
        raise FaultyInput(Fault(path_text(path), "is empty", "a header and a row for every day"))
    return data, ending


def _first_faults(path: str, faults: list[RowFault]) -> list[Fault]:
    """Faults in file order: twenty at most, and a count of the others."""
    ordered = _in_order(faults)
    if len(ordered) > FAULTS_LISTED:
        rest = Fault(path, f"and {len(ordered) - FAULTS_LISTED} more")
        return [*ordered[:FAULTS_LISTED], rest]
    return ordered


def _in_order(faults: list[RowFault]) -> list[Fault]:
    return [fault for _, fault in sorted(faults, key=lambda pair: pair[0])]
