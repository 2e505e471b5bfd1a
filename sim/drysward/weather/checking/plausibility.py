"""Plausibility of a weather file as a whole: units, seasons, marks for missing values.

A reader that trusts every header reads Celsius under a Fahrenheit header without complaint. Here
the levels of a file are compared with those of its latitude, elevation and season. A level that no
place on earth has is wrong; one that few places have is reported. When the numbers fit another
unit, the unit is named.

A limit must hold for true records of deserts, rain forests, fog coasts, high plains and the Arctic.
The limits of temperature, rain and wind lie around published normals of the places named next to
them; the normals are from memory, the margins are our own estimate.
"""

from __future__ import annotations

import calendar
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.physics import reference_et as fao
from drysward.weather.file.columns import QUANTITIES, Column, to_base
from drysward.weather.file.marks import without_marks
from drysward.weather.file.table import BoolArray, Table, of_rows
from drysward.weather.record import FloatArray
from drysward.weather.simulated.climate import dewpoint_from_vapor_pressure_c

IN_WEATHER = "under [weather]: "
LIKELY, ODD, WRONG = 0, 1, 2
"""Verdict on a level: fine, odd, or wrong."""

# ---------------------------------------------------------------- temperature

LAPSE_C_M = 0.0055  # high plains lie between 0.0065, that of free air, and 0.005; from memory
ROOM_C = 4.0  # margin between an odd and a wrong level; own estimate
LATITUDES = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90)
# deg C at sea level by latitude. Coldest of the warmest months: Lima 23, Walvis Bay 18, Point
# Reyes 14, Kerguelen 8, Utqiagvik 5, the Arctic sea 0. Warmest: Dallol 37, Death Valley 39,
# Kuwait 39, Leh 21 + 19, Turpan 33, Yakutsk 20.
WARMEST_MONTH_C = ((20, 19, 16, 14, 12, 7, 4, 2, -2, -3), (37, 39, 41, 42, 40, 33, 27, 21, 14, 12))
# Coldest of the coldest months: Hanoi 16, Wuhan 4, Shenyang -11, Harbin -18, Oymyakon -42.
# Warmest: Dallol 31, Lhasa -1 + 20, Azores 14, Scilly 8, Bergen 2.
COLDEST_MONTH_C = (
    (16, 14, 7, -3, -14, -29, -43, -44, -42, -45), (32, 32, 29, 24, 18, 11, 7, 4, 0, -5),
)  # fmt: skip
YEAR_C = (
    (18, 16, 14, 9, 4, -4, -14, -19, -22, -30), (34, 36, 36, 33, 26, 19, 12, 8, 2, 0),
)  # fmt: skip
# Poleward of this latitude summer follows the solstice. The Sahel and Mumbai are
# warmest in April and May, before their rains.
SEASONS_FROM_DEG = 15.0
LEAST_SWING_C = 2.5  # half of the range from winter to summer; with less, the summer is uncertain
HOTTEST_DAY = 205.0  # of the north, a month after the solstice; common knowledge
ODD_SHIFT_DAYS = 75.0  # San Francisco is warmest some 60 days later, Niamey as much earlier
WRONG_SHIFT_DAYS = 110.0
DAYS_OF_YEAR = 365.25

# ---------------------------------------------------------------- air

FRACTION_PCT = 1.5  # humidity in percent is above this in the driest hours of a desert
LEAST_MEAN_PCT = 8.0  # Aswan has a yearly mean of 20 or so, from memory
# FAO-56 Annex 6: at a humid site the dew point lies near Tmin, at an arid one 2 to 3 degrees or
# more below it. A daily mean may lie above Tmin for days of a warm air mass.
DEW_WINDOW_DAYS = 30
DEW_ABOVE_TMIN_C = (2.0, 4.0)  # over the window: odd, wrong; own estimates
DRY_AIR_C = 13.0  # mean of Tmin less dew point, found only in deserts, and
DRY_AIR_RAIN_MM = 400.0  # yearly rain above that of any desert; own estimates

# ---------------------------------------------------------------- wind

# Mean wind at 2 m, m/s. At 10 m: most lands 2 to 5, Dodge City 6, Wellington 7, Stanley 8.4,
# Kerguelen 9.7; a 2 m wind is three quarters of that (FAO-56 Eq 47). A light wind in mph, read
# as m/s, looks like that of a windy plain; no level separates the two.
WIND_M_S = (0.3, 4.5)
WRONG_WIND_M_S = 7.6
SUMMIT_M = 1500.0  # above it a station may be on a summit: Mount Washington has 16 at 10 m
# Above this, a wind stated for 2 m was more likely measured at the usual 10; own estimate.
LOW_STATION_M, LOW_STATION_M_S = 5.0, 4.0

# ---------------------------------------------------------------- rain

LEAST_WET_DAYS = 30
# Mean of the days with rain, mm. Utqiagvik and Resolute have 1.4 to 1.7, Torshavn 4.
WET_DAY_MM = (1.0, 60.0)
WRONG_WET_DAY_MM = 0.8
WARM_C, WRONG_WARM_WET_DAY_MM, WARM_WET_DAYS = 12.0, 1.5, 60.0  # warm rain is more than mist
LARGEST_DAY_MM = 8.0  # mean of the largest of each year: less only where it never rains
# The fog deserts (Lima, Walvis Bay, Arica) have up to 50 days of drizzle with 10 mm in all.
FOG_LATITUDE_DEG, FOG_MM, FOG_DAYS = 31.0, 20.0, 70.0
# A day with rain brings at most this plus a share of the yearly rain: Mumbai 29 of 2,200 mm, Agumbe
# 58 of 7,600, Cherrapunji 73 of 11,800.
MOST_WET_DAY_MM, WET_DAY_PER_YEAR = 40.0, 1.0 / 200.0
YEAR_MM = (6_000.0, 15_000.0)  # odd, wrong; Mawsynram has 11,900

# ---------------------------------------------------------------- sun

# Sunniest 2% of the days over a clear sky's (FAO-56 Eq 37; Eq 34 for hours of sun).
CLEAREST_DAYS = (0.85, 1.10)
WRONG_CLEAREST_DAYS = (0.60, 1.35)
LEAST_SUN_MJ_M2 = 2.0  # below it, in the polar night, a ratio means nothing
SUNNIEST_DAYS = (1.06, 1.25)  # over daylight: odd, wrong; recorders see little before sunrise
LEAST_DAYS_OF_SUN = 330  # for a low ratio: half a year may be cloudy

# Median of reference ET in the file over that from temperatures (Hargreaves, FAO-56 Eq 52).
ET_RATIO = (0.5, 1.8)
WRONG_ET_RATIO = (0.25, 3.0)

# ---------------------------------------------------------------- marks for missing

MARKS = (
    99.0, 99.9, 99.99, 999.0, 999.9, 999.99, 9999.0, 9999.9, 99999.0, 7777.0, 8888.0, 32767.0,
    6999.0,
)  # fmt: skip
"""Numbers that loggers and archives write where nothing was measured, of either sign."""
ALONE = 0.5  # distance of a mark from the other values, as a share of their span; own estimate
LEAST_MARKS = 2
RAIN_REPEATS = 3  # of one amount of rain that is such a number

LEAST_DAYS = 60  # known, for a level
LEAST_DAYS_OF_MONTH = 15

SLIPS = 0.01  # largest share of impossible values that still counts as single errors

TENTHS, HUNDREDTHS = "tenths", "hundredths"
UNITS: Mapping[str, tuple[str, ...]] = {
    "rain": ("mm", "in", "cm", TENTHS, HUNDREDTHS),
    "temperature": ("degC", "degF", "K", TENTHS),
    "humidity": ("%", "1"),
    "wind": ("m/s", "km/h", "mph", "kn"),
    "solar": ("MJ/m2", "W/m2", "cal/cm2", "kWh/m2", "J/cm2", "kJ/m2"),
    "reference_et": ("mm", "in", "cm", TENTHS),
}
"""Units that a column may have been written in, whatever its header says; parts are of that."""
_PARTS = {TENTHS: 0.1, HUNDREDTHS: 0.01}
_UNIT_WORDS = {
    "degC": "Celsius", "degF": "Fahrenheit", "K": "kelvins", "1": "a fraction", "in": "inches",
}  # fmt: skip
_ONE = {
    "mm": "a millimeter", "in": "an inch", "degC": "a degree", "degF": "a degree", "m/s": "a m/s",
}  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """Something in the columns of ``quantities`` that does not fit their location.

    ``what`` is a sentence without its period; ``remedy`` is the line to write if the columns are
    wrong. A finding that is ``beyond_doubt`` stops a run unless the columns are trusted.
    """

    kind: str
    quantities: tuple[str, ...]
    what: str
    remedy: str
    beyond_doubt: bool

    @property
    def advice(self) -> str:
        """The finding and its remedy, for a person to decide."""
        if not self.beyond_doubt:
            return f"{self.what}; if that is wrong, {self.remedy}"
        return f"{self.what}; a run refuses this file: {self.remedy}; or {self.trust_line}"

    @property
    def trust_line(self) -> str:
        """The line of [weather] that lets the file through."""
        return f"trust = [{', '.join(_quoted(name) for name in self.quantities)}]"


class _Level(NamedTuple):
    """Verdict on a level, and a sentence with the reason."""

    verdict: int
    what: str


_FINE = _Level(LIKELY, "")


@dataclass(frozen=True, eq=False)
class _Days:
    """The days of a file at its location; arrays (n,), NaN where unknown."""

    table: Table
    latitude_deg: float | None
    elevation_m: float
    wind_height_m: float | None
    day: FloatArray = field(init=False)
    month: NDArray[np.intp] = field(init=False)
    year: NDArray[np.intp] = field(init=False)

    def __post_init__(self) -> None:
        dates = self.table.dates
        object.__setattr__(self, "day", fao.day_of_year(dates))
        object.__setattr__(self, "month", dates.astype("datetime64[M]").astype(int) % 12)
        object.__setattr__(self, "year", dates.astype("datetime64[Y]").astype(int))

    @property
    def is_southern(self) -> bool:
        return self.latitude_deg is not None and self.latitude_deg < 0.0

    @property
    def place(self) -> str:
        """``39.2 N, 47 m``."""
        assert self.latitude_deg is not None
        side = "S" if self.is_southern else "N"
        return f"{abs(self.latitude_deg):g} {side}, {self.elevation_m:,.0f} m"

    @cached_property
    def above_air(self) -> FloatArray:
        """Radiation at the top of the atmosphere on each day of a leap year, MJ/m2 (366,)."""
        assert self.latitude_deg is not None
        days = np.arange(1.0, 367.0)
        return np.asarray(fao.extraterrestrial_radiation_mj_m2(self.latitude_deg, days))

    def of_day(self, calendar: FloatArray, shift: int = 0) -> FloatArray:
        """Values (n,) of a calendar (366,), ``shift`` days later."""
        return calendar[(self.day.astype(int) - 1 + shift) % 366]


def findings(
    table: Table,
    latitude_deg: float | None = None,
    elevation_m: float = 0.0,
    wind_height_m: float | None = None,
) -> tuple[Finding, ...]:
    """All findings of a file; those that need a latitude only with one.

    ``table`` has its days in any order. Impossible values are included, because they are the best
    sign of a wrong unit.
    """
    table = _dated(table)
    if not table.dates.size:
        return ()
    marked = list(_marks(table))
    marks: dict[str, list[float]] = {}
    for finding, mark in marked:
        marks.setdefault(finding.quantities[0], []).append(mark)
    table = _but_slips(without_marks(table, marks))
    days = _Days(table, latitude_deg, elevation_m, wind_height_m)
    found = [finding for finding, _ in marked]
    for check in (_temperature, _season, _humidity, _dew_point, _wind, _rain, _sun, _reference_et):
        found += check(days)
    return tuple(found)


def _dated(table: Table) -> Table:
    """The rows whose date could be read."""
    known = ~np.isnat(table.dates)
    return table if known.all() else of_rows(table, known)


def _but_slips(table: Table) -> Table:
    """The table without impossible values where they are so few that no unit explains them."""
    values, raw = dict(table.values), dict(table.raw)
    for quantity, column in values.items():
        facts = QUANTITIES[quantity]
        outside = (column < facts.low) | (column > facts.high)
        if outside.any() and outside.sum() <= max(SLIPS * np.isfinite(column).sum(), 1.0):
            values[quantity] = np.where(outside, np.nan, column)
            raw[quantity] = np.where(outside, np.nan, raw[quantity])
    return replace(table, values=values, raw=raw)


# ---------------------------------------------------------------- marks for missing


def _marks(table: Table) -> Iterator[tuple[Finding, float]]:
    """Numbers that stand for missing, with the number as written."""
    for quantity, raw in table.raw.items():
        known = raw[np.isfinite(raw)]
        if not known.size:
            continue
        # Few values are candidates, so a good column takes one pass.
        candidates = np.unique(known[np.isin(np.abs(known), MARKS)])
        for mark in candidates.tolist():
            others = known[~np.isin(np.abs(known), MARKS)]
            count = int((known == mark).sum())
            if not others.size or mark == 0.0:
                continue
            if count < LEAST_MARKS and _is_impossible(table, quantity, mark):
                continue  # an impossible value, reported with its line
            low, high = float(others.min()), float(others.max())
            off = max(mark - high, low - mark)
            alone = off > ALONE * max(high - low, 1.0)
            repeated = quantity == "rain" and count >= RAIN_REPEATS
            if not alone and not repeated:
                continue
            column = table.columns[quantity]
            days = "day" if count == 1 else "days"
            what = (
                f"{quantity} is {mark:g} on {count:,} {days}, and otherwise {low:g} to {high:g} "
                f"{column.unit}: {mark:g} looks like a mark for missing values"
            )
            yield (
                Finding(
                    f"{quantity} marked as missing",
                    (quantity,),
                    what,
                    f"{IN_WEATHER}missing = {{ {quantity} = {mark:g} }}",
                    count >= LEAST_MARKS,
                ),
                mark,
            )


def _is_impossible(table: Table, quantity: str, written: float) -> bool:
    facts = QUANTITIES[quantity]
    value = float(to_base(np.array([written]), table.columns[quantity])[0])
    return not facts.low <= value <= facts.high


# ---------------------------------------------------------------- one level in several units


def _judged(
    days: _Days,
    kind: str,
    quantities: tuple[str, ...],
    units: tuple[str, ...],
    judge: Callable[..., _Level],
) -> Iterator[Finding]:
    """The finding of ``judge`` on the columns as read, with the units that would fit."""
    table = days.table
    level = judge(days, *(table.values[quantity] for quantity in quantities))
    if level.verdict == LIKELY:
        return
    verdicts: dict[str, int] = {}
    for unit in units:
        if all(table.columns[quantity].unit == unit for quantity in quantities):
            continue
        read = [_read_as(table, quantity, unit) for quantity in quantities]
        verdicts[unit] = judge(days, *read).verdict
    what, remedy = level.what, "correct the file"
    fits = sorted((u for u in verdicts if verdicts[u] < level.verdict), key=verdicts.__getitem__)
    # Fractions of a unit fit too often; they are named only when no other unit fits.
    fits = [unit for unit in fits if unit not in _PARTS] or fits
    if fits:
        own = table.columns[quantities[0]].unit
        what += f"; the numbers fit {' or '.join(_unit_words(unit, own) for unit in fits)}"
        remedy = _unit_lines(table, quantities, fits[0])
    yield Finding(kind, quantities, what, remedy, level.verdict == WRONG)


def _read_as(table: Table, quantity: str, unit: str) -> FloatArray:
    """Values of a quantity read in another unit, converted to its base unit."""
    column = table.columns[quantity]
    if unit in _PARTS:
        return to_base(_PARTS[unit] * table.raw[quantity], column)
    meant = Column(column.name, quantity, unit, column.height_m)
    return to_base(table.raw[quantity], meant)


def _unit_words(unit: str, own: str) -> str:
    """``inches``, ``tenths of a millimeter``."""
    if unit in _PARTS:
        return f"{unit} of {_ONE.get(own, own)}"
    return _UNIT_WORDS.get(unit, unit)


def _unit_lines(table: Table, quantities: tuple[str, ...], unit: str) -> str:
    """The lines that state another unit; a NetCDF file must say it itself."""
    names = {quantity: table.columns[quantity].name for quantity in quantities}
    headers = " and ".join(f"'{name}'" for name in names.values())
    if unit in _PARTS:
        return f"divide {headers} by {1.0 / _PARTS[unit]:g} in the file"
    if table.lines is None:
        return f"correct the units of {headers} in the file to {unit}"
    lines = " and ".join(
        f"columns.{quantity} = {{ column = {_quoted(name)}, unit = {_quoted(unit)} }}"
        for quantity, name in names.items()
    )
    return f"{IN_WEATHER}{lines}"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _enough(values: FloatArray, least: int = LEAST_DAYS) -> FloatArray:
    """The known values; none when there are too few for a level."""
    known = values[np.isfinite(values)]
    return known if known.size >= least else known[:0]


# ---------------------------------------------------------------- temperature


def _temperature(days: _Days) -> Iterator[Finding]:
    if days.latitude_deg is None or not {"tmax", "tmin"} <= days.table.values.keys():
        return
    yield from _judged(
        days, "temperature of another place", ("tmax", "tmin"), UNITS["temperature"],
        _temperature_level,
    )  # fmt: skip


def _temperature_level(days: _Days, tmax: FloatArray, tmin: FloatArray) -> _Level:
    """Warmest and coldest month and yearly mean, against limits at sea level by latitude."""
    months = month_means(0.5 * (tmax + tmin), days.month)
    if np.isnan(months).all():
        return _FINE
    assert days.latitude_deg is not None
    latitude = abs(days.latitude_deg)
    lift = LAPSE_C_M * days.elevation_m
    summer = (0, 1) if days.is_southern else (6, 7)
    whole = bool(np.isfinite(months).all())
    # Part of a year is checked only for the months that it must have.
    has_summer = whole or latitude < SEASONS_FROM_DEG or np.isfinite(months[list(summer)]).any()
    warmest, coldest = int(np.nanargmax(months)), int(np.nanargmin(months))
    worst = _FINE
    for name, value, levels, has_low, has_high, alike in (
        (_month(warmest), months[warmest], WARMEST_MONTH_C, has_summer, True, "warmest months"),
        (_month(coldest), months[coldest], COLDEST_MONTH_C, True, whole, "coldest months"),
        ("the year", float(months.mean()), YEAR_C, whole, whole, "years"),
    ):
        low, high = (float(np.interp(latitude, LATITUDES, level)) - lift for level in levels)
        off = max(low - value if has_low else 0.0, value - high if has_high else 0.0)
        verdict = WRONG if off > ROOM_C else ODD if off > 0.0 else LIKELY
        if verdict > worst.verdict:
            what = (
                f"the mean temperature of {name} is {value:.1f} C, and at {days.place} {alike} "
                f"have {low:.0f} to {high:.0f} C"
            )
            worst = _Level(verdict, what)
    return worst


def month_means(values: FloatArray, month: NDArray[np.intp]) -> FloatArray:
    """Mean (12,) of each calendar month, NaN where fewer than 15 days are known."""
    known = np.isfinite(values)
    count = np.bincount(month[known], minlength=12)
    total = np.bincount(month[known], values[known], minlength=12)
    return np.where(count >= LEAST_DAYS_OF_MONTH, total / np.maximum(count, 1), np.nan)


def _month(month: int) -> str:
    return calendar.month_name[month + 1]


def month_findings(
    tmax_c: FloatArray, tmin_c: FloatArray, latitude_deg: float, elevation_m: float
) -> Iterator[str]:
    """What monthly normals (12,) of temperature have that their place cannot have."""
    day = np.arange(np.datetime64("2001-01-01"), np.datetime64("2002-01-01"))
    month = day.astype("datetime64[M]").astype(int) % 12
    values = {"tmax": np.asarray(tmax_c)[month], "tmin": np.asarray(tmin_c)[month]}
    days = _Days(Table("", day, values, values, {}, {}), latitude_deg, elevation_m, None)
    level = _temperature_level(days, values["tmax"], values["tmin"])
    if level.verdict != LIKELY:
        yield level.what
    yield from (finding.what for finding in _season(days))


def _season(days: _Days) -> Iterator[Finding]:
    """The warm half of the year compared with the hemisphere."""
    if days.latitude_deg is None or not {"tmax", "tmin"} <= days.table.values.keys():
        return
    if abs(days.latitude_deg) < SEASONS_FROM_DEG:
        return
    months = month_means(
        0.5 * (days.table.values["tmax"] + days.table.values["tmin"]), days.month
    )
    if np.isnan(months).any():
        return
    # The first annual harmonic of the monthly means, placed at mid-month.
    wave = np.sum(months * np.exp(-2j * np.pi * (np.arange(12) + 0.5) / 12)) / 6.0
    if abs(wave) < LEAST_SWING_C:
        return
    hottest = float(-np.angle(wave)) / (2 * np.pi) * DAYS_OF_YEAR % DAYS_OF_YEAR
    expected = (HOTTEST_DAY + (DAYS_OF_YEAR / 2 if days.is_southern else 0.0)) % DAYS_OF_YEAR
    shift = abs((hottest - expected + DAYS_OF_YEAR / 2) % DAYS_OF_YEAR - DAYS_OF_YEAR / 2)
    if shift <= ODD_SHIFT_DAYS:
        return
    middle = date(2001, 1, 1) + timedelta(days=int(hottest))
    day_text = f"{middle.day} {middle:%B}"
    what = (
        f"the middle of the warm season is near {day_text}, {shift:.0f} days from that of "
        f"{days.place}"
    )
    remedy = "correct the dates of the file"
    if shift > WRONG_SHIFT_DAYS:
        what += ": a record from the other hemisphere, or shifted by months"
        # Most often the sign of the latitude is wrong.
        remedy = f'under [site]: latitude = "{-days.latitude_deg:g} deg", or {remedy}'
    yield Finding("season", ("tmax", "tmin"), what, remedy, shift > WRONG_SHIFT_DAYS)


# ---------------------------------------------------------------- air


def _humidity(days: _Days) -> Iterator[Finding]:
    for quantity in ("rh_mean", "rh_max", "rh_min"):
        if quantity in days.table.values:
            yield from _judged(
                days, "humidity in another unit", (quantity,), UNITS["humidity"],
                _humidity_level,
            )  # fmt: skip


def _humidity_level(days: _Days, humidity: FloatArray) -> _Level:
    known = _enough(humidity)
    if not known.size:
        return _FINE
    most, mean = float(known.max()), float(known.mean())
    if most <= FRACTION_PCT:
        return _Level(WRONG, f"relative humidity is never above {most:.3g}%")
    if mean < LEAST_MEAN_PCT:
        return _Level(ODD, f"relative humidity is {mean:.1f}% on average, drier than any desert")
    return _Level(ODD, "relative humidity is above 100%") if most > 150.0 else _FINE


def _dew_point(days: _Days) -> Iterator[Finding]:
    values = days.table.values
    if "tmin" not in values:
        return
    if "dewpoint" in values:
        yield from _judged(
            days, "dew point off Tmin", ("dewpoint",), ("degC", "degF"), _dew_level
        )
    elif "vapor_pressure" in values:
        pressure = values["vapor_pressure"]
        positive = np.where(pressure > 0.0, pressure, np.nan)
        level = _dew_level(days, np.asarray(dewpoint_from_vapor_pressure_c(positive)))
        if level.verdict:
            yield Finding(
                "dew point off Tmin", ("vapor_pressure",), level.what, "correct the file",
                level.verdict == WRONG,
            )  # fmt: skip


def _dew_level(days: _Days, dewpoint: FloatArray) -> _Level:
    """The dew point over weeks compared with Tmin, which it cannot exceed for long."""
    tmin = days.table.values["tmin"]
    above = dewpoint - tmin
    known = np.isfinite(above)
    if known.sum() < DEW_WINDOW_DAYS:
        return _FINE
    # Over known days in sequence: only weeks matter, not their dates.
    total = np.concatenate([[0.0], np.cumsum(above[known])])
    means = (total[DEW_WINDOW_DAYS:] - total[:-DEW_WINDOW_DAYS]) / DEW_WINDOW_DAYS
    last = int(means.argmax())
    most = float(means[last])
    odd, wrong = DEW_ABOVE_TMIN_C
    if most > odd:
        first = days.table.dates[known][last]
        what = (
            f"the dew point is {most:.1f} C above Tmin over {DEW_WINDOW_DAYS} days from {first}; "
            "air at its coldest hour cannot hold that much water"
        )
        return _Level(WRONG if most > wrong else ODD, what)
    rain = days.table.values.get("rain")
    below = -float(above[known].mean())
    if rain is not None and below > DRY_AIR_C and np.isfinite(rain).any():
        yearly = float(np.nanmean(rain)) * DAYS_OF_YEAR
        if yearly > DRY_AIR_RAIN_MM:
            what = (
                f"the dew point is {below:.0f} C below Tmin on average, as in desert air, but a "
                f"year has {yearly:,.0f} mm of rain"
            )
            return _Level(ODD, what)
    return _FINE


# ---------------------------------------------------------------- wind


def _wind(days: _Days) -> Iterator[Finding]:
    if "wind" not in days.table.values or days.wind_height_m is None:
        return
    yield from _judged(days, "wind in another unit", ("wind",), UNITS["wind"], _wind_level)
    wind = _enough(days.table.values["wind"])
    if not wind.size or days.wind_height_m > LOW_STATION_M:
        return
    mean = float(wind.mean())
    at_2m = float(fao.wind_at_2m_m_s(mean, days.wind_height_m))
    if LOW_STATION_M_S < at_2m <= WIND_M_S[1]:
        what = (
            f"the mean wind is {mean:.1f} m/s at {days.wind_height_m:g} m, as much as most "
            "stations have at 10 m: check the height"
        )
        yield Finding("wind height", ("wind",), what, f'{IN_WEATHER}wind_height = "10 m"', False)


def _wind_level(days: _Days, wind: FloatArray) -> _Level:
    known = _enough(wind)
    if not known.size:
        return _FINE
    assert days.wind_height_m is not None
    mean = float(known.mean())
    at_2m = float(fao.wind_at_2m_m_s(mean, days.wind_height_m))
    low, high = WIND_M_S
    if low <= at_2m <= high:
        return _FINE
    what = f"the mean wind is {mean:.2g} m/s at {days.wind_height_m:g} m"
    if at_2m < low:
        return _Level(ODD, f"{what}, less than on any open field")
    what = f"{what}; windy plains have 6 at 10 m, the windiest coasts 8 to 9"
    wrong = at_2m > WRONG_WIND_M_S and days.elevation_m < SUMMIT_M
    return _Level(WRONG if wrong else ODD, what)


# ---------------------------------------------------------------- rain


def _rain(days: _Days) -> Iterator[Finding]:
    if "rain" in days.table.values:
        yield from _judged(
            days, "rain in another unit", ("rain",), UNITS["rain"], _rain_level
        )


def _rain_level(days: _Days, rain: FloatArray) -> _Level:
    """Mean rain of a wet day, largest of each year, and yearly rain, all as read."""
    known = np.isfinite(rain) & (rain >= 0.0)
    wet = known & (rain > 0.0)
    if wet.sum() < LEAST_WET_DAYS:
        return _FINE
    mean = float(rain[wet].mean())
    of_year = DAYS_OF_YEAR / float(known.sum())
    yearly, wet_days = float(rain[known].sum()) * of_year, float(wet.sum()) * of_year
    amount = f"{mean:.2g}" if mean < 100.0 else f"{mean:,.0f}"
    what = f"a day with rain brings {amount} mm on average, a year {yearly:,.0f} mm"
    low, high = WET_DAY_MM
    if mean < low or (mean < WRONG_WARM_WET_DAY_MM and wet_days >= WARM_WET_DAYS):
        wrong = _is_too_little(days, rain, known, wet, mean, yearly, wet_days)
        if wrong:
            return _Level(WRONG, f"{what}, less than anywhere on earth")
        return _Level(ODD, f"{what}, as little as in a fog desert") if mean < low else _FINE
    most = MOST_WET_DAY_MM + WET_DAY_PER_YEAR * yearly
    odd_year, wrong_year = YEAR_MM
    if mean > most or yearly > wrong_year:
        return _Level(WRONG, f"{what}, more than anywhere on earth")
    if mean > high or yearly > odd_year:
        return _Level(ODD, f"{what}, as in few places")
    return _FINE


def _is_too_little(
    days: _Days,
    rain: FloatArray,
    known: BoolArray,
    wet: BoolArray,
    mean: float,
    yearly: float,
    wet_days: float,
) -> bool:
    """Whether rain of a wet day is less than anywhere, even in a fog desert or the Arctic."""
    years = days.year - days.year[0]
    largest = np.zeros(int(years.max()) + 1)
    np.maximum.at(largest, years[wet], rain[wet])
    # Parts of a year do not count as a year.
    whole = np.bincount(years[known], minlength=largest.size) >= LEAST_DAYS_OF_SUN
    if whole.any() and float(largest[whole].mean()) >= LARGEST_DAY_MM:
        return False
    warmth = np.full(rain.size, np.nan)
    if {"tmax", "tmin"} <= days.table.values.keys():
        warmth = 0.5 * (days.table.values["tmax"] + days.table.values["tmin"])
    warm = np.nanmean(warmth[wet]) > WARM_C if np.isfinite(warmth[wet]).any() else False
    if warm and wet_days >= FOG_DAYS:
        return True
    latitude = 90.0 if days.latitude_deg is None else abs(days.latitude_deg)
    if days.latitude_deg is None or latitude < FOG_LATITUDE_DEG:
        return mean < WRONG_WET_DAY_MM and (yearly > FOG_MM or wet_days > FOG_DAYS)
    return mean < WRONG_WET_DAY_MM


# ---------------------------------------------------------------- sun


def _sun(days: _Days) -> Iterator[Finding]:
    if days.latitude_deg is None:
        return
    if "solar" in days.table.values:
        for finding in _judged(
            days, "solar off the clear sky", ("solar",), UNITS["solar"], _solar_level
        ):
            yield _or_of_another_season(days, finding, days.table.values["solar"])
    if "sunshine" in days.table.values:
        day = np.arange(1.0, 367.0)
        length = np.asarray(fao.daylight_hours(days.latitude_deg, day))
        daylight = days.of_day(length)
        ratio = _enough(days.table.values["sunshine"][daylight > 3.0] / daylight[daylight > 3.0])
        odd, wrong = SUNNIEST_DAYS
        if ratio.size and (most := float(np.quantile(ratio, 0.99))) > odd:
            what = (
                f"the sunniest days have {100 * most:.0f}% of the daylight at {days.place} as "
                "sunshine"
            )
            yield Finding(
                "sunshine above daylight", ("sunshine",), what,
                "correct the dates of the file, or the latitude under [site]", most > wrong,
            )  # fmt: skip


def _solar_level(days: _Days, solar: FloatArray) -> _Level:
    share = _clearest(days, solar)
    if share is None:
        return _FINE
    low, high = CLEAREST_DAYS
    enough = np.isfinite(solar).sum() >= LEAST_DAYS_OF_SUN
    if share <= high and (share >= low or not enough):
        return _FINE
    what = f"the sunniest days reach {100 * share:,.0f}% of the radiation of a clear sky"
    wrong_low, wrong_high = WRONG_CLEAREST_DAYS
    if not wrong_low <= share <= wrong_high:
        return _Level(WRONG, what)
    return _Level(ODD, f"{what}: the sensor may read {'low' if share < low else 'high'}")


def _clearest(days: _Days, solar: FloatArray, shift: int = 0) -> float | None:
    """Solar radiation over that of a clear sky on the sunniest 2% of days, with the sun ``shift``
    days later.
    """
    clear = days.of_day(
        np.asarray(fao.clear_sky_solar_mj_m2(days.above_air, days.elevation_m)), shift
    )
    lit = clear > LEAST_SUN_MJ_M2
    known = _enough(solar[lit] / clear[lit])
    return float(np.quantile(known, 0.98)) if known.size else None


def _or_of_another_season(days: _Days, finding: Finding, solar: FloatArray) -> Finding:
    """The finding, reported as a shift when radiation fits the sun half a year later."""
    share, shifted = _clearest(days, solar), _clearest(days, solar, 183)
    low, high = CLEAREST_DAYS
    if share is None or shifted is None or share <= high or not low <= shifted <= high:
        return finding
    assert days.latitude_deg is not None
    what = (
        f"radiation is above that of a clear sky at {days.place}, and fits the sun of half a year "
        "later: a record from the other hemisphere, or shifted by months"
    )
    turned = f'latitude = "{-days.latitude_deg:g} deg"'
    remedy = f"under [site]: {turned}, or correct the dates of the file"
    return Finding("season", finding.quantities, what, remedy, finding.beyond_doubt)


# ---------------------------------------------------------------- reference ET


def _reference_et(days: _Days) -> Iterator[Finding]:
    values = days.table.values
    if days.latitude_deg is None or not {"reference_et", "tmax", "tmin"} <= values.keys():
        return
    yield from _judged(
        days, "reference ET in another unit", ("reference_et",), UNITS["reference_et"], _et_level
    )


def _et_level(days: _Days, from_file_mm: FloatArray) -> _Level:
    """Reference ET of the file over that from temperatures by Hargreaves."""
    tmax, tmin = days.table.values["tmax"], days.table.values["tmin"]
    by_temperature = np.asarray(fao.hargreaves_mm(tmax, tmin, days.of_day(days.above_air)))
    seen = by_temperature > 1.0
    ratio = _enough(from_file_mm[seen] / by_temperature[seen])
    if not ratio.size:
        return _FINE
    middle = float(np.median(ratio))
    if ET_RATIO[0] <= middle <= ET_RATIO[1]:
        return _FINE
    what = f"reference ET is {middle:.2g} times that from temperature and latitude"
    low, high = WRONG_ET_RATIO
    return _Level(ODD if low <= middle <= high else WRONG, what)
