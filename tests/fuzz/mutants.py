"""Weather files and scenarios gone wrong, each from a number, and what the program makes of them.

A case is (kind, seed, number) and always the same bytes. What reads it must end in a value or in
``FaultyInput`` with clean lines, within ``MOST_SECONDS`` of processor time and ``MOST_BYTES`` more
memory than before.
"""

from __future__ import annotations

import copy
import gzip
import json
import random
import re
import resource
import signal
import tempfile
import tomllib
import traceback
import warnings
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np

from drysward.faults import FaultyInput
from drysward.scenario import load, weather_tables
from drysward.scenario.resolved import resolved_values
from drysward.site.night import nights
from drysward.site.stretches import survey as site_survey
from drysward.studies.weather_survey import survey
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_table, to_record

WEATHER, SCENARIO = KINDS = ("weather", "scenario")
MOST_SECONDS = 2.0
MOST_BYTES = 500_000_000
LONGEST_LINE = 4_000
RUN_THROUGH = 0.05  # share of scenarios that pass whose days are worked out, as check does

# ---------------------------------------------------------------- weather files that are right


def _days(count: int, first: str = "2011-01-01") -> np.ndarray:
    return np.datetime64(first) + np.arange(count)


def _seasons(count: int) -> list[tuple[float, float, float]]:
    """Rain in mm, Tmax and Tmin in deg C of plain days."""
    rng = random.Random(count)
    rows = []
    for day in range(count):
        mean = 12.0 - 13.0 * np.cos(2 * np.pi * (day - 15) / 365.25) + rng.gauss(0, 3)
        rain = round(rng.expovariate(1 / 9), 1) if rng.random() < 0.3 else 0.0
        rows.append((rain, round(mean + 5.5, 1), round(mean - 5.5, 1)))
    return rows


def _own(count: int) -> list[str]:
    rows = ["date,rain_mm,tmax_c,tmin_c,wind_10m_m_s,rh_mean_pct,solar_mj_m2"]
    for day, (rain, tmax, tmin) in zip(_days(count), _seasons(count), strict=True):
        rows.append(f"{day},{rain},{tmax},{tmin},3.1,64,12.5")
    return rows


def _us(count: int) -> list[str]:
    rows = ["date,rain_in,tmax_f,tmin_f,reference_et_in"]
    for day, (rain, tmax, tmin) in zip(_days(count), _seasons(count), strict=True):
        rows.append(f"{day},{rain / 25.4:.2f},{1.8 * tmax + 32:.0f},{1.8 * tmin + 32:.0f},0.12")
    return rows


def _station(count: int) -> list[str]:
    names = ("PRCP", "TMAX", "TMIN", "AWND")
    columns = ",".join(f'"{name}","{name}_ATTRIBUTES"' for name in names)
    rows = [f'"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME",{columns}']
    for day, values in zip(_days(count), _seasons(count), strict=True):
        cells = ",".join(f'"{10 * value:5.0f}",",,X"' for value in (*values, 3.2))
        rows.append(f'"XT000040300","{day}","40.3","-77.5","140.2","TARROW MILLS, XT",{cells}')
    return rows


def _fixed(count: int) -> list[str]:
    lines = []
    for month in (np.datetime64("2011-01") + np.arange(max(count // 30, 1))).astype(str):
        for element, value in (("TMAX", 211), ("TMIN", 89), ("PRCP", 13)):
            cells = "".join(f"{value + day % 7:5d}  X" for day in range(31))
            lines.append(f"XT000040300{month.replace('-', '')}{element}{cells}")
    return lines


def _long(count: int) -> list[str]:
    rows = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"]
    for element, value in (("PRCP", 13), ("TMAX", 211), ("TMIN", 89)):
        for day in _days(count):
            rows.append(f"XT000040300,{str(day).replace('-', '')},{element},{value},,,X,0700")
    return rows


def _grid(count: int) -> list[str]:
    rows = [
        "Latitude: 40.3  Longitude: -77.5",
        "Tile: 11754",
        "Elevation: 141 meters",
        "year,yday,dayl (s),prcp (mm/day),srad (W/m^2),swe (kg/m^2),"
        "tmax (deg c),tmin (deg c),vp (Pa)",
    ]
    for i, (rain, tmax, tmin) in enumerate(_seasons(count)):
        year, yday = 2011 + i // 365, i % 365 + 1
        rows.append(f"{year},{yday},43200.0,{rain},300.0,0.0,{tmax},{tmin},700.0")
    return rows


def _point(count: int) -> list[str]:
    rows = [
        "-BEGIN HEADER-",
        "Location: Latitude  40.3   Longitude -77.5 ",
        "Elevation: average for 0.5 x 0.625 degree lat/lon region = 152.3 meters",
        "The value for missing source data is: -999 ",
        "T2M_MAX               Temperature at 2 Meters Maximum (C) ",
        "T2M_MIN               Temperature at 2 Meters Minimum (C) ",
        "PRECTOTCORR           Precipitation Corrected (mm/day) ",
        "WS2M                  Wind Speed at 2 Meters (m/s) ",
        "-END HEADER-",
        "YEAR,MO,DY,T2M_MAX,T2M_MIN,PRECTOTCORR,WS2M",
    ]
    for day, (rain, tmax, tmin) in zip(_days(count), _seasons(count), strict=True):
        year, month, of_month = (int(part) for part in str(day).split("-"))
        rows.append(f"{year},{month},{of_month},{tmax},{tmin},{rain},3.1")
    return rows


def _hourly(count: int) -> list[str]:
    rows = ["date,temperature_c,rain_mm,rh_pct,wind_2m_m_s,solar_w_m2"]
    for day in _days(max(count // 24, 3)):
        for hour in range(24):
            sun = 480.0 if 6 <= hour < 18 else 0.0
            rows.append(f"{day} {hour:02d}:00,{10 + hour / 2},0.1,{90 - hour},2.5,{sun}")
    return rows


TEXTS = {
    "own.csv": _own, "us.csv": _us, "station.csv": _station, "station.dly": _fixed,
    "long.csv": _long, "grid.csv": _grid, "point.csv": _point, "hourly.csv": _hourly,
}  # fmt: skip


@cache
def _netcdf(number: int, count: int = 40) -> bytes:
    """A point of a reanalysis, with some of its attributes, names and values changed."""
    import xarray as xr

    rng = random.Random(number)
    rain, tmax, tmin = np.array(_seasons(count)).T

    def of(values: object, units: str, standard: str, method: str = "") -> tuple:
        attrs = {"units": units, "standard_name": standard}
        return ("time", values, attrs | ({"cell_methods": method} if method else {}))

    made = xr.Dataset(
        {
            "a": of(tmax + 273.15, "K", "air_temperature", "time: maximum"),
            "b": of(tmin + 273.15, "K", "air_temperature", "time: minimum within days"),
            "c": of(rain, "kg m-2", "precipitation_amount", "time: sum"),
            "d": of(tmin + 273.15, "K", "dew_point_temperature"),
        },
        coords={"time": _days(count).astype("datetime64[ns]"), "lat": 40.25, "lon": 282.5},
    )
    for _ in range(rng.randrange(3)):
        name = rng.choice([*made.data_vars])
        way = rng.randrange(6)
        if way == 0:
            made[name].attrs["units"] = rng.choice(UNITS)
        elif way == 1:
            made = made.drop_vars(name)
        elif way == 2:
            made[name] = made[name].expand_dims(rng.choice(("x", "lat2")))
        elif way == 3:
            made[name][rng.randrange(count)] = rng.choice((np.nan, np.inf, 1e300, -999.0))
        elif way == 4:
            other = rng.choice(("tasmax", "pr", "u10", "rain", "tmax", "x" * 99))
            made = made.rename({name: other}) if other not in made else made
        else:
            made[name].attrs[rng.choice(("standard_name", "cell_methods"))] = rng.choice(TEXTS_ODD)
        if not made.data_vars:
            break
    return bytes(made.to_netcdf(engine="scipy") if rng.random() < 0.5 else _netcdf4(made))


def _netcdf4(made: object) -> bytes:
    with tempfile.NamedTemporaryFile(suffix=".nc") as file:
        made.to_netcdf(file.name)
        return Path(file.name).read_bytes()


# ---------------------------------------------------------------- what goes wrong

NUMBERS_ODD = (
    "1e999", "-1e308", "nan", "inf", "9" * 400, "0x1F", "1e-400", "-0", "1,5", "--3", "1e300",
    "99999999999999999999", "1_000", "\uff11\uff12", "", "-9999", "32767",
)  # fmt: skip
TEXTS_ODD = (
    "", " ", "x" * 5_000, "\u00e4\u00f6\u00fc\u4e2d\u6587", "a\tb", "'\"", "${HOME}", "%s%n",
    "\U0001f33f", "<script>", "..", "\\", "NULL", "2013-02-30", "0001-01-01", "9999-12-31",
    "10000-01-01", "nan",
)  # fmt: skip
UNITS = (
    "in", "mm", "m**2**9**9**9", "m**2/0", "furlong", "m" * 3_000, "degC", "degF", "K",
    "kg m-2 s-1", "%", "1", "", "m2", "acre-ft", "(", "per", "gpm", "m squared squared",
    "kg/m**2", "W m-2", "^^",
)  # fmt: skip


def _mutated_text(rng: random.Random, lines: list[str]) -> bytes:
    lines = [*lines]
    for _ in range(rng.choice((0, 1, 1, 1, 2, 3, 8))):
        at = rng.randrange(len(lines)) if lines else 0
        way = rng.randrange(13)
        if not lines:
            break
        if way == 0:
            del lines[at]
        elif way == 1:
            lines.insert(at, lines[rng.randrange(len(lines))])
        elif way == 2:
            rng.shuffle(lines)
        elif way == 3:
            lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
        elif way == 4:
            lines = lines[: at + 1]
        elif way == 5:
            lines[at] = rng.choice(TEXTS_ODD)
        elif way in (6, 7, 8):
            cells = lines[at].split(",")
            cells[rng.randrange(len(cells))] = rng.choice(NUMBERS_ODD + TEXTS_ODD)
            lines[at] = ",".join(cells)
        elif way == 9:  # a column, everywhere
            place, odd = rng.randrange(8), rng.choice(NUMBERS_ODD + TEXTS_ODD)
            twice = rng.random() < 0.3
            for i, line in enumerate(lines):
                cells = line.split(",")
                if place < len(cells) and (i > at or twice):
                    cells[place : place + 1] = [odd] if not twice else [cells[place]] * 2
                lines[i] = ",".join(cells)
        elif way == 10:  # the header
            lines[0] = lines[0].replace(rng.choice("_acmst"), rng.choice(("", "_", "X", " ")))
        elif way == 11:
            lines = [line.replace(",", rng.choice((";", "\t", ",,"))) for line in lines]
        else:
            shift = rng.choice(("0001", "9999", "1583", "0000", "2999"))
            lines[at:] = [line.replace("2011", shift) for line in lines[at:]]
    end = rng.choice(("\n", "\n", "\n", "\r\n", "\r"))
    return (end.join(lines) + end).encode(rng.choice(("utf-8",) * 8 + ("utf-16", "utf-8-sig")))


def _mutated_bytes(rng: random.Random, data: bytes) -> bytes:
    data_ = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 5, 30))):
        if not data_:
            break
        at = rng.randrange(len(data_))
        way = rng.randrange(6)
        if way == 0:
            data_[at] ^= 1 << rng.randrange(8)
        elif way == 1:
            del data_[at : at + rng.choice((1, 7, 500))]
        elif way == 2:
            data_[at:at] = rng.randbytes(rng.choice((1, 9, 300)))
        elif way == 3:
            data_[at] = rng.choice((0, 10, 34, 44, 255))
        elif way == 4:
            data_ = data_[:at]
        else:
            data_[at:at] = data_[at : at + rng.choice((1, 40, 3_000))]
    return bytes(data_)


@cache
def _lines(name: str, count: int) -> list[str]:
    return TEXTS[name](count)


def weather_case(rng: random.Random) -> tuple[str, bytes]:
    """Name and bytes of a weather file."""
    if rng.random() < 0.12:
        name, data = "point.nc", _netcdf(rng.randrange(200))
        if rng.random() < 0.7:
            data = _mutated_bytes(rng, data)
    else:
        name = rng.choice([*TEXTS])
        data = _mutated_text(rng, _lines(name, rng.choice((3, 30, 30, 90, 400))))
        if rng.random() < 0.25:
            data = _mutated_bytes(rng, data)
    if rng.random() < 0.1:
        name, data = f"{name}.gz", gzip.compress(data, 1)
        if rng.random() < 0.3:
            data = _mutated_bytes(rng, data)
    return name, data


# ---------------------------------------------------------------- scenarios


@cache
def _shipped() -> dict[str, str]:
    folder = files("drysward.scenarios")
    return {name: (folder / f"{name}.toml").read_text() for name in load.shipped_names()}


@cache
def _as_json(text: str) -> str:
    return json.dumps(tomllib.loads(text))


VALUES_ODD = (
    "", "x", "12", "12 in", "1e300 acre", "-5 mm", "2 m**2**9**9**9", "nan mm", "1 parsec", "6 h",
    "12 in (10 to 14 in)", "0.5 (0.4 to 0.6)", "5 (", "1 (9 to 2)", "04-31", "12-31",
    "3.10 per 0 gal", "39.2 N", "N 39\u00b0 12'", "Sat", "x" * 2_500, "\u0000", "a\nb", 0, 1, -1,
    10**17, 2**64, 0.5, -0.5, 1e300, float("inf"), float("nan"), True, False, [], [1], ["Sat",
    "Sat"], [[]], {}, {"a": 1},
    {"unit": "in", "months": [1.0] * 12}, {"unit": "in", "values": [0, 1e300]}, {"Jan": 2.0},
    "demo.toml", "none", "generator", "record",
)  # fmt: skip


def _paths(value: object, above: tuple = ()) -> list[tuple]:
    found = [above] if above else []
    if isinstance(value, dict):
        for key, part in value.items():
            found += _paths(part, (*above, key))
    elif isinstance(value, list):
        for i, part in enumerate(value[:5]):
            found += _paths(part, (*above, i))
    return found


def _at(tree: object, path: tuple) -> object:
    for step in path:
        tree = tree[step]
    return tree


def _nested(depth: int) -> object:
    value: object = 1
    for i in range(depth):
        value = [value] if i % 2 else {"a": value}
    return value


def _mutated_tree(rng: random.Random, tree: dict) -> dict:
    for _ in range(rng.choice((0, 1, 1, 1, 2, 4))):
        paths = _paths(tree)
        if not paths:
            break
        *above, last = rng.choice(paths)
        table = _at(tree, tuple(above))
        way = rng.randrange(11)
        if way == 0:
            del table[last]
        elif way == 1 and isinstance(table, dict):
            name = rng.choice((f"{last}x", "", "a.b", "\u00fc", "label", "x" * 300))
            table[name] = table.pop(last)
        elif way in (2, 3, 4, 5):
            table[last] = copy.deepcopy(rng.choice(VALUES_ODD))  # a case changes no other
        elif way == 6:
            table[last] = _nested(rng.choice((1, 5, 20, 60)))
        elif way == 7:
            other = rng.choice(paths)
            try:
                table[last] = json.loads(json.dumps(_at(tree, other)))
            except (KeyError, IndexError, TypeError):
                continue
        elif way == 8 and isinstance(table[last], str):
            number = rng.choice(("1e300", "-3", "0", "1e-9", "7"))
            table[last] = re.sub(r"^[0-9.]+", number, table[last])
        elif way == 9 and isinstance(table[last], str):
            table[last] = f"{table[last].split(' ')[0]} {rng.choice(UNITS)}"
        elif way == 10 and isinstance(table[last], int | float):
            table[last] = table[last] * rng.choice((-1, 0, 10, 1e6, 1e300))
    return tree


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(_toml(part) for part in value)}]"
    if isinstance(value, float):
        return {"inf": "inf", "-inf": "-inf", "nan": "nan"}.get(str(value), repr(value))
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value).lower()


def scenario_case(rng: random.Random) -> tuple[str, bytes]:
    """Name and bytes of a scenario."""
    text = _shipped()[rng.choice([*_shipped()])]
    way = rng.random()
    if way < 0.12:
        return "case.toml", _mutated_bytes(rng, text.encode())
    if way < 0.2:
        return "case.toml", _mutated_text(rng, text.splitlines())
    tree = _mutated_tree(rng, json.loads(_as_json(text)))
    lines = "\n".join(f"{json.dumps(key)} = {_toml(value)}" for key, value in tree.items())
    return "case.toml", lines.encode("utf-8", "surrogatepass")


# ---------------------------------------------------------------- what the program makes of them


def case(kind: str, seed: int, number: int) -> tuple[str, bytes]:
    """Name and bytes of a case, and always the same."""
    rng = random.Random(f"{kind} {seed} {number}")
    return weather_case(rng) if kind == WEATHER else scenario_case(rng)


def read_weather_file(path: Path) -> None:
    """What ``weather check`` and a run do with a file before any day is run."""
    file = read_table(path)
    survey(file, file.place.latitude_deg, file.place.elevation_m)
    to_record(file, FillRule("zero", "interpolate", 30))


def read_scenario(path: Path, run_through: bool = True) -> None:
    """What ``check`` does with a scenario; of simulated years two are enough."""
    scenario = load.load(path)
    resolved_values(scenario)
    if run_through:
        weather = replace(scenario.weather, years=min(scenario.weather.years, 2))
        scenario = replace(scenario, weather=weather)
        _, _, site = site_survey(scenario)
        nights(scenario, site.zones, site.catches)


@cache
def _climates_once() -> None:
    """Normals that were accepted are not made a climate again for every scenario."""
    made: dict[str, object] = {}
    usual = weather_tables.from_monthly_table

    def once(table: dict, where: str, catalog: object, **more: object) -> object:
        key = json.dumps([table, where, more], default=list)
        if key not in made:
            made[key] = usual(table, where, catalog, **more)
        return made[key]

    weather_tables.from_monthly_table = once


class TookTooLong(BaseException):
    """Beyond ``MOST_SECONDS``; nothing catches it on the way."""


def _stop(*_: object) -> None:
    raise TookTooLong


def unclean(name: str, data: bytes, folder: Path, run_through: bool = True) -> str:
    """What is wrong with how the program took a file, "" when it ended as it must."""
    _climates_once()
    path = folder / name
    path.write_bytes(data)
    signal.signal(signal.SIGPROF, _stop)
    # Whatever is allocated counts, not only what is used.
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    usual = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(
        resource.RLIMIT_AS, (pages * resource.getpagesize() + MOST_BYTES, usual[1])
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
            if name.endswith(".toml"):
                read_scenario(path, run_through)
            else:
                read_weather_file(path)
    except FaultyInput as refusal:
        signal.setitimer(signal.ITIMER_PROF, 0)
        return _unclean_lines(refusal)
    except TookTooLong:
        return f"took more than {MOST_SECONDS:g} s: {traceback.format_exc(limit=-4)}"
    except Exception:
        return traceback.format_exc(limit=-4)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        resource.setrlimit(resource.RLIMIT_AS, usual)
        path.unlink()
    return ""


def _unclean_lines(refusal: FaultyInput) -> str:
    if not refusal.faults:
        return "refused without a fault"
    for fault in refusal.faults:
        line = " ".join(str(fault).split())
        if not fault.where or not fault.what or fault.what.endswith(":"):
            return f"says nothing: {fault!r}"
        if len(line) > LONGEST_LINE:
            return f"{len(line)} characters in one line: {line[:200]}"
        if "Traceback" in line or re.search(r"<[^>]* at 0x|object at 0x|<class |Error\(", line):
            return f"shows the inside of the program: {line[:200]}"
    return ""


def failures(kind: str, seed: int, numbers: range, folder: Path, started=lambda number: None):
    """(number, what is wrong) of the cases that did not end as they must."""
    for number in numbers:
        started(number)
        name, data = case(kind, seed, number)
        through = random.Random(f"through {seed} {number}").random() < RUN_THROUGH
        if told := unclean(name, data, folder, through):
            yield number, told
