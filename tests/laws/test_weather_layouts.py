"""Public daily files and files of hours, as they come.

Every sample is written here by hand for an invented place. The layouts (names, order, units,
missing marks, calendars) are from memory of their public documentation.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from tests.laws.test_weather_reading import faults_of

from drysward.quantities import convert
from drysward.scenario.weather_tables import columns_of
from drysward.weather.file.columns import ColumnSpec
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.reference_et import reference_et

BOTH = FillRule(rain="zero", temperature="interpolate")


@pytest.fixture
def written(tmp_path):
    """A function that writes a file of lines and gives its path."""

    def write(lines, name="tarrow.csv") -> Path:
        path = tmp_path / name
        text = "\n".join(lines) + "\n"
        if name.endswith(".gz"):
            path.write_bytes(gzip.compress(text.encode()))
        else:
            path.write_text(text)
        return path

    return write


# ---------------------------------------------------------------- the station archive

STATION = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES",'
    '"SNWD","SNWD_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES",'
    '"AWND","AWND_ATTRIBUTES"'
)


def station_day(day: str, rain: str, tmax: str, tmin: str, flag: str = "", wind: str = "   32"):
    return (
        f'"XT000040300","{day}","40.3","-77.5","140.2","TARROW MILLS, XT","{rain}",",,X,0700",'
        f'"    0",",,X","{tmax}",",{flag},X","{tmin}",",,X","{wind}",",,X"'
    )


def station_days() -> list[str]:
    return [
        STATION,
        station_day("2013-06-01", "  254", "  311", "  189"),
        station_day("2013-06-02", "    0", "  300", "  -11"),
        station_day("2013-06-03", "   13", "  283", "  150"),
    ]


def test_station_archive_by_station(written):
    record = read_weather(written(station_days()))
    assert record.rain_mm == pytest.approx([25.4, 0.0, 1.3])
    assert record.tmax_c == pytest.approx([31.1, 30.0, 28.3])
    assert record.tmin_c == pytest.approx([18.9, -1.1, 15.0])
    assert record.wind_m_s == pytest.approx([3.2, 3.2, 3.2])
    assert record.wind_height_m == 10.0
    assert (record.latitude_deg, record.elevation_m) == (40.3, 140.2)
    told = "\n".join(record.notes)
    assert "read as world daily station archive, CSV by station: PRCP, TMAX, TMIN, AWND" in told
    assert "not used: SNWD" in told
    assert "taken as 10 m" in told
    assert "Tmin as the dew point, radiation from the temperature range" in told
    et = reference_et(record, 40.3, 140.2)
    assert et.labels == (
        "Penman-Monteith; humidity from Tmin; wind as given; radiation from temperature range",
    )


def test_the_height_of_its_wind_may_be_said_and_a_column_left_out(written):
    path = written(station_days())
    record = read_weather(path, wind_height_m=8.0)
    assert record.wind_height_m == 8.0
    assert "taken as 10 m" not in "\n".join(record.notes)
    assert read_weather(path, ignore=["AWND"]).wind_m_s is None


def test_values_that_failed_the_archives_checks_are_missing(written):
    lines = station_days()
    lines[2] = station_day("2013-06-02", "    0", "  999", "  150", flag="G")
    (fault,) = faults_of(written(lines))
    assert "line 3, column 'TMAX': tmax is blank" in fault
    assert 'under [weather] fill = { temperature = "interpolate" }' in fault
    assert "--fill temperature=interpolate on the command line" in fault
    record = read_weather(written(lines), fill=BOTH)
    assert record.tmax_c[1] == pytest.approx((31.1 + 28.3) / 2)
    assert "left out: 1 of TMAX" in "\n".join(record.notes)


def test_blanks_before_the_first_and_after_the_last_whole_day_are_cut(written):
    lines = [
        STATION,
        station_day("2013-05-30", "    0", "", ""),
        station_day("2013-05-31", "    0", "-9999", "  120"),
        *station_days()[1:],
        station_day("2013-06-04", "", "  300", "  200"),
    ]
    record = read_weather(written(lines))
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02", "2013-06-03"]
    assert "3 days before 2013-06-01 and after 2013-06-03 lack rain" in "\n".join(record.notes)


@pytest.mark.slow
def test_only_some_years_of_a_long_file(written):
    lines = [
        STATION,
        station_day("1951-06-01", "    0", "  300", "  200"),
        *station_days()[1:],
    ]
    assert "missing between 1951-06-01 and 2013-06-01" in faults_of(written(lines))[0]
    record = read_weather(written(lines), years=(2010, 2020))
    assert record.n_days == 3
    (fault,) = faults_of(written(lines), years=(1960, 1970))
    assert "has no day from 1960 to 1970; years of the file: 1951-06-01 to 2013-06-03" in fault


def fixed_line(element: str, values: dict[int, tuple[int, str]], month: str = "201306") -> str:
    """A line of the fixed-width form: value, measurement, quality and source flag of 31 days."""
    cells = [f"{values.get(d, (-9999, '   '))[0]:5d}{values.get(d, (0, '   '))[1]}" for d in
             range(1, 32)]  # fmt: skip
    return f"XT000040300{month}{element}{''.join(cells)}"


def fixed_lines() -> list[str]:
    return [
        fixed_line("TMAX", {1: (311, "  X"), 2: (300, "  X"), 3: (283, "  X")}),
        fixed_line("TMIN", {1: (189, "  X"), 2: (-11, "  X"), 3: (150, "  X")}),
        fixed_line("PRCP", {1: (254, "  X"), 2: (0, "T X"), 3: (13, "  X")}),
        fixed_line("WT16", {1: (1, "  X")}),
        fixed_line("AWND", {1: (32, "  X"), 2: (32, "  X"), 3: (32, "  X")}),
    ]


def long_lines() -> list[str]:
    rows = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"]
    for element, values in (
        ("PRCP", (254, 0, 13)), ("TMAX", (311, 300, 283)), ("TMIN", (189, -11, 150)),
        ("AWND", (32, 32, 32)),
    ):  # fmt: skip
        rows += [f"XT000040300,2013060{d},{element},{v},,,X,0700" for d, v in enumerate(values, 1)]
    return rows


@pytest.mark.parametrize(
    "lines, name",
    [(fixed_lines(), "XT000040300.dly"), (long_lines(), "XT000040300.csv.gz"),
     (fixed_lines(), "XT000040300.dly.gz")],
)  # fmt: skip
def test_the_archives_other_forms_say_the_same(written, lines, name):
    by_station = read_weather(written(station_days()))
    record = read_weather(written(lines, name))
    assert record.name == name
    assert (record.dates == by_station.dates).all()
    for quantity, values in by_station.columns().items():
        assert getattr(record, quantity) == pytest.approx(values)
    assert record.wind_height_m == 10.0


def test_a_quality_flag_in_fixed_width(written):
    lines = fixed_lines()
    lines[0] = fixed_line("TMAX", {1: (311, "  X"), 2: (999, " IX"), 3: (283, "  X")})
    record = read_weather(written(lines, "t.dly"), fill=BOTH)
    assert record.tmax_c[1] == pytest.approx((31.1 + 28.3) / 2)


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda ls: [ls[0], ls[1][:100], *ls[2:]], "line 2: is 100 columns wide; 269 columns"),
        (lambda ls: [*ls[:2], "YU" + ls[2][2:]], "line 3: is of station YU000040300"),
        (lambda ls: [ls[0].replace("  311", "  3x1"), *ls[1:]], "line 1: columns 22 to 26 hold"),
        (lambda ls: [*ls[:1], "XT000040300201313" + ls[1][17:], *ls[2:]],
         "line 2: does not begin with station, year, month and element"),
    ],
)  # fmt: skip
def test_fixed_width_refused(written, change, words):
    assert words in faults_of(written(change(fixed_lines()), "t.dly"))[0]


@pytest.mark.parametrize(
    "change, words",
    [
        # In inches or degrees Fahrenheit, or in whole mm, the numbers have decimals.
        (lambda ls: [*ls[:2], ls[2].replace('"    0",",,X,0700"', '"0.35",",,X,0700"'), ls[3]],
         ["line 3, column 'PRCP': '0.35' has a decimal point", "whole tenths of mm",
          'rain = { column = "PRCP", unit = "in" }']),
        (lambda ls: [ls[0].replace('"DATE","LATITUDE"', '"NAMED","DATE","LATITUDE"'),
                     *(line.replace('","2013', '","x","2013') for line in ls[1:])],
         ["its header does not begin STATION,DATE", 'date = { column = "DATE" }',
          'tmax = { column = "TMAX", unit = "degF" }']),
    ],
)  # fmt: skip
def test_station_files_that_are_nearly_the_archives(written, change, words):
    (fault,) = faults_of(written(change(station_days())))
    assert all(word in fault for word in words)


def test_a_file_as_ordered_is_read_once_its_units_are_declared(written):
    lines = [
        '"STATION","NAME","DATE","AWND","PRCP","TMAX","TMIN"',
        '"XT000040300","TARROW MILLS, XT","2013-06-01","7.16","1.00","88","66"',
        '"XT000040300","TARROW MILLS, XT","2013-06-02","7.16","0.00","86","30"',
    ]
    (fault,) = faults_of(written(lines))
    assert "its units are those of the order, which the file does not say" in fault
    declared = {
        "date": ColumnSpec("DATE"),
        "rain": ColumnSpec("PRCP", "in"),
        "tmax": ColumnSpec("TMAX", "degF"),
        "tmin": ColumnSpec("TMIN", "degF"),
        "wind": ColumnSpec("AWND", "mph"),
    }
    # Undeclared columns need not be named, and wind is at the archive's usual height.
    record = read_weather(written(lines), declared)
    assert record.wind_height_m == 10.0
    assert any("taken as 10 m" in note for note in record.notes)
    assert read_weather(written(lines), declared, wind_height_m=2.0).wind_height_m == 2.0
    assert record.rain_mm == pytest.approx([25.4, 0.0])
    assert record.tmax_c == pytest.approx([31.11, 30.0], abs=0.01)
    assert record.wind_m_s == pytest.approx([3.2, 3.2], abs=0.01)


DATA = Path(__file__).parents[1] / "data"
UNITS = {
    "US units": {"rain": "in", "tmax": "degF", "tmin": "degF", "wind": "mph"},
    "metric units": {"rain": "mm", "tmax": "degC", "tmin": "degC", "wind": "m/s"},
    "tenths of metric units": {
        "rain": "0.1 mm", "tmax": "0.1 degC", "tmin": "0.1 degC", "wind": "0.1 m/s",
    },
}  # fmt: skip
BALTIMORE = read_weather(DATA / "baltimore-washington-2010-2019.csv")


def ordered(units, header="DATE,AWND,PRCP,TAVG,TMAX,TMIN", days=800):
    """Days of Baltimore as ordered from the archive in some units; wind of 3 m/s is invented."""
    base = {"rain": "mm", "tmax": "degC", "tmin": "degC", "wind": "m/s"}

    def shown(quantity, value):
        unit = units[quantity]
        if unit.startswith("0.1 "):
            return f"{10 * value:.0f}"
        return f"{convert(value, base[quantity], unit):.2f}"

    rows = [
        f"{day},{shown('wind', 3.0)},{shown('rain', rain)},,{shown('tmax', high)},"
        f"{shown('tmin', low)}"
        for day, rain, high, low in zip(
            BALTIMORE.dates[:days], BALTIMORE.rain_mm, BALTIMORE.tmax_c, BALTIMORE.tmin_c,
            strict=False,
        )
    ]  # fmt: skip
    return [header, *rows]


@pytest.mark.parametrize("system", UNITS)
@pytest.mark.parametrize(
    "header", ["DATE,AWND,PRCP,TAVG,TMAX,TMIN", "Date,Awnd,Prcp,Tavg,Tmax,Tmin"]
)
def test_units_of_an_ordered_file_are_proposed_and_the_line_runs(written, system, header):
    """The refusal prints the line; as a declaration it gives the record in its right units."""
    path = written(ordered(UNITS[system], header))
    (fault,) = faults_of(path)
    assert f"its levels fit {system}: compare them with your order" in fault
    line = fault.splitlines()[-1]
    declared = columns_of(line)
    assert {name: spec.unit for name, spec in declared.items() if name != "date"} == UNITS[system]
    record = read_weather(path, declared)
    assert record.tmax_c == pytest.approx(BALTIMORE.tmax_c[:800], abs=0.06)
    assert record.rain_mm == pytest.approx(BALTIMORE.rain_mm[:800], abs=0.2)
    assert record.wind_m_s == pytest.approx(np.full(800, 3.0), abs=0.01)


@pytest.mark.parametrize(
    ("units", "days"),
    [
        (UNITS["US units"], 300),  # less than a year
        ({**UNITS["US units"], "rain": "mm"}, 800),
        ({**UNITS["metric units"], "rain": "in"}, 800),
    ],
)
def test_units_that_levels_do_not_say_are_not_proposed(written, units, days):
    (fault,) = faults_of(written(ordered(units, days=days)))
    assert "its levels fit no units of an order" in fault
    assert "0.1 mm, 0.1 degC, 0.1 m/s for tenths" in fault


# ---------------------------------------------------------------- the 1 km grid

GRID = [
    "Latitude: 40.3  Longitude: -77.5",
    "X & Y on Lambert Conformal Conic: 1812345.1 -123456.7",
    "Tile: 11754",
    "Elevation: 141 meters",
    "All years; all variables; Software Version 4.0; Data Version 4.0.",
    "How to cite: an invented pixel, for tests",
    "year,yday,dayl (s),prcp (mm/day),srad (W/m^2),swe (kg/m^2),tmax (deg c),tmin (deg c),vp (Pa)",
]


def grid_days(first: str, last: str) -> list[str]:
    """Rows of a year of 365 days: 31 December of a leap year has none."""
    rows = []
    days = np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")
    for day in days:
        year = int(str(day)[:4])
        yday = int((day - np.datetime64(f"{year}-01-01")).astype(int)) + 1
        if yday <= 365:
            rows.append(f"{year},{yday},43200.0,{yday % 7}.0,400.0,0.0,{yday / 10},-5.0,{yday}.0")
    return rows


def test_single_pixel_with_years_of_365_days(written):
    record = read_weather(written([*GRID, *grid_days("2011-12-30", "2013-01-02")]))
    assert record.n_days == 2 + 366 + 2
    on = {str(day): i for i, day in enumerate(record.dates)}
    # The 60th day of a leap year is 29 February, as the layout's own rule has it.
    assert record.tmax_c[on["2012-02-29"]] == pytest.approx(6.0)
    assert record.tmax_c[on["2012-12-30"]] == pytest.approx(36.5)
    # The 31st is not in the file: no rain, the rest between its neighbors.
    assert record.rain_mm[on["2012-12-31"]] == 0.0
    assert record.tmax_c[on["2012-12-31"]] == pytest.approx((36.5 + 0.1) / 2)
    assert record.vapor_pressure_kpa[on["2012-12-31"]] == pytest.approx((0.365 + 0.001) / 2)
    (counted,) = record.filled.items()
    assert counted[0].startswith("31 December of leap years, missing in such files")
    assert counted[1] == 1
    # 400 W/m2 over 43,200 s of daylight are 17.28 MJ/m2.
    assert record.solar_mj_m2 == pytest.approx(17.28)
    assert record.vapor_pressure_kpa[on["2012-02-29"]] == pytest.approx(0.060)
    assert (record.latitude_deg, record.elevation_m) == (40.3, 141.0)
    assert "reference ET uses wind of 2 m/s" in "\n".join(record.notes)


def test_a_gap_in_the_pixel_is_a_gap(written):
    rows = grid_days("2012-12-25", "2013-01-05")
    told = faults_of(written([*GRID, *rows[:3], *rows[4:]]))
    assert "line 11: 1 day missing between 2012-12-27 and 2012-12-29" in told[0]
    bad = rows[2].replace("2012,362,", "2012,366,")
    told = faults_of(written([*GRID, *rows[:2], bad, *rows[3:]]))
    assert "year 2012, yday 366 is not a day of the calendar" in told[0]


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda h: h.replace("prcp (mm/day)", "prcp (in/day)"),
         "has the column 'prcp (in/day)'; 'prcp (mm/day)'"),
        (lambda h: h.replace(" (deg c)", ""), "has the column 'tmax'; 'tmax (deg c)'"),
        (lambda h: h.replace("year,yday", "yday,year"), "its header begins yday,year; year,yday"),
        (lambda h: h.replace("year,yday", "date,yday"), "but has no header row"),
    ],
)  # fmt: skip
def test_differences_from_the_pixel_layout_are_reported(written, change, words):
    lines = [*GRID[:-1], change(GRID[-1]), *grid_days("2012-06-01", "2012-06-03")]
    assert words in faults_of(written(lines))[0]


# ---------------------------------------------------------------- the point service

BLOCK = [
    "-BEGIN HEADER-",
    "Daily data of an invented point",
    "Dates (month/day/year): 06/01/2013 through 06/03/2013 in LST",
    "Location: latitude  40.3   longitude -77.5 ".replace("latitude", "Latitude").replace(
        "longitude", "Longitude"
    ),
    "Elevation: average for 0.5 x 0.625 degree lat/lon region = 152.3 meters",
    "The value for missing source data that cannot be computed or is outside of the range: -999 ",
    "Parameter(s): ",
    "T2M_MAX               Temperature at 2 Meters Maximum (C) ",
    "T2M_MIN               Temperature at 2 Meters Minimum (C) ",
    "PRECTOTCORR           Precipitation Corrected (mm/day) ",
    "ALLSKY_SFC_SW_DWN     All Sky Surface Shortwave Downward Irradiance (MJ/m^2/day) ",
    "WS2M                  Wind Speed at 2 Meters (m/s) ",
    "WS10M                 Wind Speed at 10 Meters (m/s) ",
    "-END HEADER-",
]
POINT = "T2M_MAX,T2M_MIN,PRECTOTCORR,ALLSKY_SFC_SW_DWN,WS10M,WS2M"


def point_days(dates=("2013,6,1", "2013,6,2", "2013,6,3"), sun="20.5", rain="0.0") -> list[str]:
    return [f"{day},31.1,18.9,{rain},{sun},4.1,3.1" for day in dates]


@pytest.mark.parametrize(
    "names, dates",
    [("YEAR,MO,DY", ("2013,6,1", "2013,6,2")), ("YEAR,DOY", ("2013,152", "2013,153"))],
)
def test_point_service(written, names, dates):
    lines = [*BLOCK, f"{names},{POINT}", *point_days(dates[:1], rain="12.5"),
             *point_days(dates[1:], sun="-999")]  # fmt: skip
    record = read_weather(written(lines))
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02"]
    assert record.rain_mm.tolist() == [12.5, 0.0]
    assert record.solar_mj_m2 == pytest.approx([20.5, np.nan], nan_ok=True)
    assert record.wind_m_s.tolist() == [3.1, 3.1]
    assert record.wind_height_m == 2.0
    assert (record.latitude_deg, record.elevation_m) == (40.3, 152.3)
    assert "not used: WS10M" in record.notes[0]


def test_the_block_says_the_unit(written):
    block = [line.replace("(MJ/m^2/day)", "(kW-hr/m^2/day)") for line in BLOCK]
    record = read_weather(written([*block, f"YEAR,MO,DY,{POINT}", *point_days(sun="5")]))
    assert record.solar_mj_m2 == pytest.approx(18.0)


def test_the_missing_mark_in_a_required_column_is_a_blank(written):
    (fault,) = faults_of(written([*BLOCK, f"YEAR,MO,DY,{POINT}", *point_days(rain="-999.00")]))
    assert "rain is blank here and on 2 more days, the last 2013-06-03" in fault


@pytest.mark.parametrize(
    "lines, words",
    [
        ([f"YEAR,MO,DY,{POINT}"], "has no header block with the units"),
        ([*BLOCK[:-1], f"YEAR,MO,DY,{POINT}"], "has no header block"),
        ([*(line for line in BLOCK if not line.startswith("PRECT")), f"YEAR,MO,DY,{POINT}"],
         "its header block does not say the unit of PRECTOTCORR"),
        ([*(line.replace("Maximum (C)", "Maximum (R)") for line in BLOCK), f"YEAR,MO,DY,{POINT}"],
         "T2M_MAX is in 'R'"),
        ([*BLOCK, f"YEAR,MO,{POINT},DAY"], "has no date that it knows"),
    ],
)  # fmt: skip
def test_differences_from_the_point_service_layout_are_reported(written, lines, words):
    told = "\n".join(faults_of(written([*lines, *point_days()])))
    assert words in told


# ---------------------------------------------------------------- reanalyses in NetCDF


def reanalysis(**changes) -> xr.Dataset:
    """Three days at one point, in CF units, under names that only the attributes explain."""
    days = np.arange("2013-06-01", "2013-06-04", dtype="datetime64[D]").astype("datetime64[ns]")

    def of(values, units, standard, method=""):
        attrs = {"units": units, "standard_name": standard}
        return ("time", values, attrs | ({"cell_methods": method} if method else {}))

    values = {
        "a": of([293.15, 294.15, 295.15], "K", "air_temperature", "area: mean time: maximum"),
        "b": of([283.15, 284.15, 285.15], "K", "air_temperature", "time: minimum within days"),
        "tm": of([288.0, 289.0, 290.0], "K", "air_temperature", "time: mean"),
        "c": of([0.0, 0.0125, 0.001], "m", "lwe_thickness_of_precipitation_amount", "time: sum"),
        "d": of([280.15, 281.15, 282.15], "K", "dew_point_temperature"),
        "e": of([17.28e6, 8.64e6, 0.0], "J m-2",
                "integral_wrt_time_of_surface_downwelling_shortwave_flux_in_air"),
        "psl": of([101.0, 101.0, 101.0], "kPa", "air_pressure_at_mean_sea_level"),
        **changes,
    }  # fmt: skip
    kept = {name: value for name, value in values.items() if value is not None}
    return xr.Dataset(kept, coords={"time": days, "lat": 40.25, "lon": 282.5})


@pytest.fixture
def saved(tmp_path):
    def save(made: xr.Dataset, name="tarrow.nc"):
        path = tmp_path / name
        made.to_netcdf(path)
        return path

    return save


def test_reanalysis_by_standard_names(saved):
    record = read_weather(saved(reanalysis()))
    assert record.tmax_c == pytest.approx([20, 21, 22])
    assert record.tmin_c == pytest.approx([10, 11, 12])
    assert record.rain_mm == pytest.approx([0.0, 12.5, 1.0])
    assert record.dewpoint_c == pytest.approx([7, 8, 9])
    assert record.solar_mj_m2 == pytest.approx([17.28, 8.64, 0])
    assert record.latitude_deg == 40.25
    assert record.notes[0] == "read by the CF conventions: a, b, c, d, e; not used: tm, psl"


def test_rates_parts_of_wind_and_names_of_climate_models(saved):
    days = ("time", [1.0, 2.0, 4.0])
    made = reanalysis(
        a=None, b=None, tm=None, c=None,
        tasmax=("time", [293.15, 294.15, 295.15], {"units": "K"}),
        tasmin=("time", [283.15, 284.15, 285.15], {"units": "K"}),
        pr=("time", [0.0, 1e-4, 0.0], {"units": "kg m-2 s-1"}),
        u10=(*days, {"units": "m s-1"}),
        v10=("time", [0.0, 0.0, 3.0], {"units": "m s-1"}),
    )  # fmt: skip
    record = read_weather(saved(made))
    assert record.rain_mm == pytest.approx([0, 8.64, 0])
    assert record.wind_m_s == pytest.approx([1, 2, 5])
    assert record.wind_height_m == 10.0
    assert "daily means of components" in "\n".join(record.notes)


def test_a_calendar_without_leap_days(saved):
    made = xr.Dataset(
        {
            "tasmax": ("time", [10.0, 14.0], {"units": "degC"}),
            "tasmin": ("time", [0.0, 2.0], {"units": "degC"}),
            "pr": ("time", [3.0, 4.0], {"units": "mm d-1"}),
        },
        coords={
            "time": ("time", [58, 59], {"units": "days since 2012-01-01", "calendar": "noleap"})
        },
    )
    record = read_weather(saved(made))
    assert record.dates.astype(str).tolist() == ["2012-02-28", "2012-02-29", "2012-03-01"]
    assert record.rain_mm.tolist() == [3.0, 0.0, 4.0]
    assert record.tmax_c.tolist() == [10.0, 12.0, 14.0]
    made.time.attrs["calendar"] = "360_day"
    (fault,) = faults_of(saved(made))
    assert "its calendar is '360_day'" in fault


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"a": ("time", [293.0, 294, 295], {"units": "K", "standard_name": "air_temperature"})},
         "'a' does not say whether it is the daily maximum or minimum"),
        ({"c": None}, "no column for rain"),
        ({"c": (("time", "x"), [[0.0, 1]] * 3,
                {"units": "m", "standard_name": "precipitation_amount"})},
         "has dimensions time, x; only time: one point of the 2, cut out before"),
        ({"odd": ("time", [0.0, 1, 2], {"units": "mm"})}, "column 'odd' is not known"),
    ],
)  # fmt: skip
def test_reanalysis_refused(saved, changes, words):
    assert words in "\n".join(faults_of(saved(reanalysis(**changes))))


def test_hours_of_a_reanalysis(saved):
    """Hours of UTC at 77.5 W: a local day is 05:00 to 05:00; amounts end at their stamp."""
    hours = np.arange("2013-06-01T00", "2013-06-04T00", dtype="datetime64[h]")
    n = hours.size
    made = xr.Dataset(
        {
            "t2m": ("time", 290.0 + np.arange(n) / 10, {"units": "K"}),
            "d2m": ("time", np.full(n, 280.15), {"units": "K"}),
            "tp": ("time", np.where(np.arange(n) == 29, 0.005, 0.0), {"units": "m"}),
            "ssrd": ("time", np.full(n, 1e6), {"units": "J m-2"}),
            "u10": ("time", np.full(n, 3.0), {"units": "m s-1"}),
            "v10": ("time", np.full(n, -4.0), {"units": "m s-1"}),
        },
        coords={"time": hours.astype("datetime64[ns]"), "longitude": -77.5, "latitude": 40.25},
    )
    record = read_weather(saved(made))
    # 72 hours of UTC hold two whole local days.
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02"]
    # The hour that ends at 05:00 UTC of the second is the last of the first local day.
    assert record.rain_mm == pytest.approx([5.0, 0.0])
    assert record.tmax_c[0] == pytest.approx(290.0 + 28 / 10 - 273.15)
    assert record.tmin_c[0] == pytest.approx(290.0 + 5 / 10 - 273.15)
    assert record.solar_mj_m2 == pytest.approx([24.0, 24.0])
    assert record.wind_m_s == pytest.approx([5.0, 5.0])
    assert "hours of UTC shifted by -5 h for the longitude, -77.5 deg" in record.notes
    assert read_weather(saved(made), hours_from_utc=0).dates.size == 3


# ---------------------------------------------------------------- hours in CSV

HOURLY = "date,temperature_c,rain_mm,rh_pct,wind_2m_m_s,solar_w_m2"


def hours_of(days: int = 2, step: int = 60, stamp="{day} {hour:02d}:{minute:02d}") -> list[str]:
    """Rows of days: temperature rises with the hour, a mm of rain at six, sun from 6 to 18."""
    rows = []
    for day in np.arange("2013-06-01", np.datetime64("2013-06-01") + days, dtype="datetime64[D]"):
        for minute in range(0, 24 * 60, step):
            hour = minute // 60
            rain = 1.0 if minute == 360 else 0.0
            sun = 480.0 if 6 <= hour < 18 else 0.0
            when = stamp.format(day=day, hour=hour, minute=minute % 60)
            rows.append(f"{when},{10 + hour},{rain},{90 - hour},{2 + hour % 2},{sun}")
    return rows


@pytest.mark.parametrize(
    "header, rows",
    [
        (HOURLY, hours_of()),
        (HOURLY, hours_of(stamp="{day}T{hour:02d}:{minute:02d}:00-05:00")),
        (HOURLY.replace("date", "date,hour"), hours_of(stamp="{day},{hour}")),
        (HOURLY, hours_of(step=30)),
    ],
)
def test_hours_become_days(written, header, rows):
    record = read_weather(written([header, *rows]))
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02"]
    assert record.tmax_c.tolist() == [33.0, 33.0]
    assert record.tmin_c.tolist() == [10.0, 10.0]
    assert record.rain_mm.tolist() == [1.0, 1.0]
    assert record.rh_max_pct.tolist() == [90.0, 90.0]
    assert record.rh_min_pct.tolist() == [67.0, 67.0]
    assert record.wind_m_s == pytest.approx([2.5, 2.5])
    # 480 W/m2 over twelve hours.
    assert record.solar_mj_m2 == pytest.approx([480 * 12 * 3600 / 1e6] * 2)
    (note,) = record.notes
    assert "combined to 2 days of 00:00 to 24:00 local standard time" in note
    least = "22 of 24" if len(rows) == 48 else "44 of 48"
    assert f"a day needs {least}" in note


def test_utc_needs_to_know_how_far_it_is(written):
    rows = hours_of(3, stamp="{day}T{hour:02d}:{minute:02d}Z")
    (fault,) = faults_of(written([HOURLY, *rows]))
    assert "hours are in UTC; local standard time; or under [weather] hours_from_utc = -5" in fault
    record = read_weather(written([HOURLY, *rows]), hours_from_utc=-5)
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02"]
    assert record.rain_mm.tolist() == [1.0, 1.0]


def test_a_day_counts_with_22_of_24_hours(written):
    rows = hours_of(3)
    # Two hours of the second day lack; sun and temperature lie between their neighbors.
    kept = [row for i, row in enumerate(rows) if i not in (24 + 11, 24 + 12)]
    record = read_weather(written([HOURLY, *kept]))
    assert record.n_days == 3
    assert record.solar_mj_m2[1] == pytest.approx(record.solar_mj_m2[0])
    # With three it is not known.
    kept = [row for i, row in enumerate(rows) if i not in (24 + 11, 24 + 12, 24 + 13)]
    told = faults_of(written([HOURLY, *kept]))
    assert [line.split(": ")[1].split(";")[0] for line in told] == [
        "rain is blank", "tmax is blank", "tmin is blank",
    ]  # fmt: skip
    assert read_weather(written([HOURLY, *kept]), fill=BOTH).n_days == 3


def test_the_file_may_begin_and_end_within_a_day(written):
    record = read_weather(written([HOURLY, *hours_of(4)[13:-7]]))
    assert record.dates.astype(str).tolist() == ["2013-06-02", "2013-06-03"]


@pytest.mark.parametrize(
    "header, rows, words",
    [
        # Clocks set back: an hour stands twice.
        (HOURLY, [*hours_of(2)[:26], *hours_of(2)[25:]], "appears twice, within 60 minutes"),
        (HOURLY, ["2013-06-01 24:00,1,1,1,1,1", *hours_of()[1:]], "is not a time of day"),
        (HOURLY.replace("date", "date,hour"),
         ["2013-06-01,24,1,1,1,1,1", *hours_of(stamp="{day},{hour}")], "'24' is not an hour"),
        (HOURLY, hours_of(stamp="{day}"), "is for one moment, but the rows have no hour"),
        ("date,rain_mm,tmax_c,tmin_c",
         [f"2013-06-0{d},0,{10 + h},5" for d in (1, 2) for h in range(24)],
         "each day has about 24 rows, as in an hourly file; add a column 'hour'"),
        (HOURLY, [hours_of()[0].replace("10,", "410,"), *hours_of()[1:]], "temperature of 410"),
    ],
)  # fmt: skip
def test_hours_refused_in_few_lines(written, header, rows, words):
    told = faults_of(written([header, *rows]))
    assert words in "\n".join(told)
    assert len(told) <= 3


def test_sensors_read_a_little_under_nought_at_night(written):
    rows = [row.removesuffix(",0.0") + ",-3" if row.endswith(",0.0") else row for row in hours_of()]
    rows = [row.replace(",480.0", ",1050") for row in rows]
    record = read_weather(written([HOURLY, *rows]))
    assert record.solar_mj_m2 == pytest.approx([1050 * 12 * 3600 / 1e6] * 2)
    assert "set to 0 on 24 rows" in record.notes[0]
    told = faults_of(written([HOURLY, *(row.replace(",-3", ",-30") for row in rows)]))
    assert "solar of -30 W/m2 is negative" in told[0]


def test_packing_leaves_no_negative_rain(saved):
    made = reanalysis()
    made["c"][0] = -1e-12
    assert read_weather(saved(made)).rain_mm[0] == 0.0


def test_hours_of_the_point_service(written):
    block = [line.replace("T2M_MAX  ", "T2M  ").replace("(mm/day)", "(mm/hour)") for line in BLOCK]
    block = [line.replace("MJ/m^2/day", "Wh/m^2") for line in block]
    rows = [f"2013,6,{d},{h},{10 + h},0.5,200,3.1" for d in (1, 2) for h in range(24)]
    header = "YEAR,MO,DY,HR,T2M,PRECTOTCORR,ALLSKY_SFC_SW_DWN,WS2M"
    record = read_weather(written([*block, header, *rows]))
    assert record.tmax_c.tolist() == [33.0, 33.0]
    assert record.rain_mm == pytest.approx([12.0, 12.0])
    assert record.solar_mj_m2 == pytest.approx([0.2 * 3.6 * 24] * 2)


# ---------------------------------------------------------------- gzip


def test_gzip_is_read_and_broken_gzip_refused(written, saved, tmp_path):
    plain = ["date,rain_mm,tmax_c,tmin_c", "2013-06-01,1,20,10"]
    record = read_weather(written(plain, "tarrow.csv.gz"))
    assert (record.name, record.rain_mm.tolist()) == ("tarrow.csv.gz", [1.0])
    packed = tmp_path / "grid.nc.gz"
    packed.write_bytes(gzip.compress(saved(reanalysis()).read_bytes()))
    assert read_weather(packed).rain_mm == pytest.approx([0.0, 12.5, 1.0])
    broken = tmp_path / "broken.csv.gz"
    broken.write_bytes(gzip.compress(b"date,rain_mm\n")[:-9])
    assert "is not readable as gzip" in faults_of(broken)[0]
