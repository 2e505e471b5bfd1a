"""What reading a weather file must do, and must refuse, whatever the file."""

import hashlib
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from drysward.faults import FaultyInput
from drysward.weather.file.columns import ColumnSpec, accepted_names, by_header
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.record import DailyRecord

DATA = Path(__file__).parents[1] / "data"
HEADER = "date,rain_mm,tmax_c,tmin_c"
BOTH = FillRule(rain="zero", temperature="interpolate")


def rows(count: int, start: str = "2013-06-01", tail: str = "") -> list[str]:
    """Sound rows: rain 1, 2, ... mm, Tmax 20, 21, ..., Tmin ten less."""
    first = date.fromisoformat(start)
    return [f"{first + timedelta(days=i)},{i + 1},{20 + i},{10 + i}{tail}" for i in range(count)]


@pytest.fixture
def written(tmp_path):
    """A function that writes a file of lines (or bytes) and gives its path."""

    def write(lines, name="meadow.csv"):
        path = tmp_path / name
        if not isinstance(lines, bytes):
            lines = ("\n".join(lines) + "\n").encode()
        path.write_bytes(lines)
        return path

    return write


def faults_of(path, **options) -> list[str]:
    with pytest.raises(FaultyInput) as caught:
        read_weather(path, **options)
    for fault in caught.value.faults:
        assert str(path) in fault.lines()[0]
        assert not any("\n" in line for line in fault.lines())
    told = [str(fault) for fault in caught.value.faults]
    return [line.replace(str(path), path.name) for line in told]


# ---------------------------------------------------------------- what is read


def test_newark_in_us_units():
    record = read_weather(DATA / "newark-2013.csv")
    assert record.n_days == 364
    assert record.years() == (2013,)
    assert (record.dates[0], record.dates[-1]) == (
        np.datetime64("2013-01-01"),
        np.datetime64("2013-12-30"),
    )
    # The first row: 41.0 F, 28.04 F, 22.673 F, 13.234 mph, 56.748%.
    assert record.tmax_c[0] == pytest.approx(5.0)
    assert record.tmin_c[0] == pytest.approx(-2.2)
    assert record.dewpoint_c[0] == pytest.approx((22.673 - 32) / 1.8)
    assert record.wind_m_s[0] == pytest.approx(13.234 * 0.44704)
    assert record.wind_height_m == 10.0
    assert record.rh_mean_pct[0] == 56.748
    assert record.solar_mj_m2 is None
    assert record.filled == {}
    data = (DATA / "newark-2013.csv").read_bytes()
    assert record.digest == hashlib.sha256(data).hexdigest()


def test_baltimore_crosses_leap_years():
    record = read_weather(DATA / "baltimore-washington-2010-2019.csv")
    assert record.n_days == 3269
    assert record.years() == tuple(range(2010, 2020))
    assert record.between(2012, 2012).n_days == 366
    assert record.between(2011, 2018).years() == tuple(range(2011, 2019))


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param("\ufeff" + "\n".join([HEADER, *rows(3)]), id="byte order mark"),
        pytest.param("\r\n".join([HEADER, *rows(3), ""]), id="Windows line ends"),
        pytest.param("\n".join([HEADER, *rows(3)]), id="no line end at the end"),
        pytest.param("\n".join([HEADER, *rows(3), "", "", ""]), id="empty lines at the end"),
        pytest.param("\n".join([HEADER.replace(",", " , "), *rows(3)]), id="blanks"),
    ],
)
def test_the_same_record_however_it_was_saved(written, lines):
    record = read_weather(written(lines.encode()))
    assert record.name == "meadow.csv"
    assert record.rain_mm.tolist() == [1, 2, 3]
    assert record.tmax_c.tolist() == [20, 21, 22]
    assert record.tmin_c.tolist() == [10, 11, 12]


def test_every_accepted_header_lands_in_its_quantity():
    for name in accepted_names():
        column = by_header(name)
        assert column is not None
        assert name.startswith(("date", "precipitation", column.quantity))


@pytest.mark.parametrize(
    "header, field, cell, expected",
    [
        ("rain_in", "rain_mm", "1", 25.4),
        ("precipitation_mm", "rain_mm", "2.5", 2.5),
        ("tmax_f", "tmax_c", "86", 30.0),
        ("tmin_f", "tmin_c", "-40", -40.0),
    ],
)
def test_required_columns_in_other_units(written, header, field, cell, expected):
    names = {"rain_mm": "rain_mm", "tmax_c": "tmax_c", "tmin_c": "tmin_c", field: header}
    cells = {"rain_mm": "0", "tmax_c": "30", "tmin_c": "-45", field: cell}
    lines = [",".join(["date", *names.values()]), ",".join(["2013-06-01", *cells.values()])]
    assert getattr(read_weather(written(lines)), field)[0] == pytest.approx(expected)


@pytest.mark.parametrize(
    "header, field, cell, expected",
    [
        ("dewpoint_f", "dewpoint_c", "50", 10.0),
        ("vapor_pressure_hpa", "vapor_pressure_kpa", "12.3", 1.23),
        ("rh_max_pct", "rh_max_pct", "97", 97.0),
        ("wind_2m_km_h", "wind_m_s", "36", 10.0),
        ("wind_10m_mph", "wind_m_s", "10", 4.4704),
        ("solar_w_m2", "solar_mj_m2", "100", 8.64),
        ("sunshine_h", "sunshine_h", "7.5", 7.5),
        ("reference_et_in", "reference_et_mm", "0.2", 5.08),
    ],
)
def test_optional_columns_and_their_blanks(written, header, field, cell, expected):
    lines = [f"{HEADER},{header}", *rows(1, tail=f",{cell}"), *rows(1, "2013-06-02", ",")]
    record = read_weather(written(lines))
    values = getattr(record, field)
    assert values[0] == pytest.approx(expected)
    assert np.isnan(values[1])
    assert record.filled == {}


def test_declared_and_ignored_columns(written):
    path = written(["Day,High,Low,Fall,Wind,Note", "2013-06-01,68,50,0.5,9,fine"])
    declared = {
        "date": ColumnSpec("Day"),
        "tmax": ColumnSpec("High", "degF"),
        "tmin": ColumnSpec("Low", "F"),
        "rain": ColumnSpec("Fall", "in"),
        "wind": ColumnSpec("Wind", "km/h"),
    }
    record = read_weather(path, declared, wind_height_m=3.0, ignore=["Note"])
    assert record.tmax_c[0] == pytest.approx(20)
    assert record.tmin_c[0] == pytest.approx(10)
    assert record.rain_mm[0] == pytest.approx(12.7)
    assert record.wind_m_s[0] == pytest.approx(2.5)
    assert record.wind_height_m == 3.0


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0, 500),
            st.floats(-60, 55),
            st.floats(0, 25),
            st.one_of(st.none(), st.floats(0, 100)),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_numbers_come_back_as_written(tmp_path_factory, days):
    path = tmp_path_factory.mktemp("weather") / "any.csv"
    lines = [HEADER + ",rh_mean_pct"]
    for i, (rain, tmax, spread, humidity) in enumerate(days):
        cells = [date(2011, 12, 30) + timedelta(days=i), rain, tmax, tmax - spread]
        lines.append(",".join(map(str, cells)) + f",{'' if humidity is None else humidity}")
    path.write_text("\n".join(lines))
    record = read_weather(path)
    assert record.rain_mm.tolist() == [day[0] for day in days]
    assert record.tmax_c.tolist() == [day[1] for day in days]
    assert record.tmin_c.tolist() == [day[1] - day[2] for day in days]
    expected = [np.nan if day[3] is None else day[3] for day in days]
    np.testing.assert_array_equal(record.rh_mean_pct, expected)


# ---------------------------------------------------------------- the file and its header


def test_missing_file(tmp_path):
    assert faults_of(tmp_path / "no.csv") == [f"no.csv: no such file in {tmp_path}"]


def test_a_folder(tmp_path):
    assert "is a folder" in faults_of(tmp_path)[0]


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\n"])
def test_empty_file(written, data):
    assert "is empty" in faults_of(written(data))[0]


def test_header_alone(written):
    assert "has a header and no rows" in faults_of(written([HEADER]))[0]


def test_another_kind_of_file(written):
    assert "none of the file extensions .csv" in faults_of(written([HEADER], "meadow.xlsx"))[0]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_wrong_encoding_names_byte_and_line(written, mark, end):
    data = mark + HEADER.encode() + end + "2013-06-01,1,20,10°".encode("latin-1") + end
    number = data.index(b"\xb0") + 1
    (fault,) = faults_of(written(data))
    assert fault.startswith(f"meadow.csv line 2: byte {number} (0xb0) is not UTF-8")


def test_unclosed_quote(written):
    (fault,) = faults_of(written([HEADER, *rows(1), '2013-06-02,"1,20,10']))
    assert fault.startswith("meadow.csv line 3: is not CSV")


@pytest.mark.parametrize(
    "header",
    [
        "DATE,RAIN_MM,TMAX_C,TMIN_C", "Date,Rain (mm),Tmax (C),Tmin (C)",
        "date,PRCP mm,Tmax [C],tmin-c", "Date,Precipitation_MM,TMAX_C,Tmin_c",
    ],
)
def test_capitals_blanks_and_brackets_of_headers_do_not_matter(written, header):
    record = read_weather(written([header, *rows(3)]))
    assert record.rain_mm.size == 3
    assert np.array_equal(record.tmax_c, read_weather(written([HEADER, *rows(3)])).tmax_c)


@pytest.mark.parametrize(("mark", "word"), [(";", "semicolons"), ("\t", "tabs")])
def test_other_marks_between_columns_are_named(written, mark, word):
    lines = [line.replace(",", mark) for line in [HEADER, *rows(2)]]
    (fault,) = faults_of(written(lines))
    assert f"has {word} between its columns; commas" in fault


def test_headers_that_differ_in_case_alone_are_two_columns_of_one_quantity(written):
    found = faults_of(written(["date,rain_mm,tmax_c,tmin_c,TMAX_C", *rows(1, tail=",3")]))
    assert "two columns for tmax: 'tmax_c' and 'TMAX_C'; ignore one of them" in found[0]


def test_the_line_that_declares_a_column_is_shown(written):
    told = "\n".join(faults_of(written(["day,rain_mm,TMAX,tmin_c", *rows(1)])))
    assert 'columns = { date = { column = "..." } }' in told
    assert 'columns = { tmax = { column = "TMAX", unit = "degF" } }' in told


@pytest.mark.parametrize(
    "header, words",
    [
        ("tmin_c,extra", ["'extra' is not known", "declare or ignore"]),
        ("tmin_c,dewpiont_c", ["'dewpiont_c' is not known", "did you mean 'dewpoint_c'?"]),
        ("tmin_c,dewpoint", ["'dewpoint' does not say its unit", "dewpoint_c or dewpoint_f"]),
        ("tmin_c,wind", ["'wind' does not say its unit", "wind_2m_mph"]),
        ("tmin_c,wind_10m", ["'wind_10m' does not say its unit", "wind_10m_km_h"]),
        ("tmin_c,wind_m_s", ["'wind_m_s' does not say the height", "wind_10m_m_s"]),
        ("tmin_c,wind_0m_m_s", ["wind is at 0 m", "0.5 to 200 m"]),
        ("tmin_c,precipitation_in", ["two columns for rain", "'precipitation_in'"]),
        ("tmin_c,tmin_c", ["two columns are named 'tmin_c'"]),
        ("tmin_c,", ["column 5 has no name"]),
        ("rh_min_pct,rh_max_pct", ["no column for tmin", "tmin_c or tmin_f"]),
    ],
)
def test_headers_refused(written, header, words):
    lines = [f"date,rain_mm,tmax_c,{header}", "2013-06-01,1,20,10,12"]
    (fault,) = faults_of(written(lines))
    assert fault.startswith("meadow.csv line 1: ")
    assert all(word in fault for word in words)


def test_two_heights_of_one_wind(written):
    path = written([f"{HEADER},wind_10m_m_s", *rows(2, tail=",3")])
    (fault,) = faults_of(path, wind_height_m=2.0)
    assert "at 10 m by its name and at 2 m as declared" in fault
    assert read_weather(path, wind_height_m=10.0).wind_height_m == 10.0


@pytest.mark.parametrize(
    "declared, words",
    [
        ({"tmean": ColumnSpec("rain_mm", "mm")}, "declares 'tmean', which is not a quantity"),
        ({"dewpoint": ColumnSpec("dew", "C")}, "has no column 'dew' for dewpoint"),
        ({"tmax": ColumnSpec("tmax_c")}, "column 'tmax_c' is declared without a unit"),
        ({"tmax": ColumnSpec("tmax_c", "mm")}, "unit 'mm' cannot be converted to deg C"),
        ({"rain": ColumnSpec("rain_mm", "bogus((")}, "unit 'bogus((' cannot be converted to mm"),
        ({"rain": ColumnSpec("rain_mm", "kg")}, "unit 'kg' cannot be converted to mm"),
    ],
)
def test_declarations_refused(written, declared, words):
    assert words in "\n".join(faults_of(written([HEADER, *rows(1)]), columns=declared))


def test_one_column_declared_twice(written):
    spec = ColumnSpec("tmax_c", "degC")
    told = faults_of(written([HEADER, *rows(1)]), columns={"tmax": spec, "dewpoint": spec})
    assert told == [
        "meadow.csv line 1: column 'tmax_c' is declared for two quantities; one",
    ]


def test_ignoring_what_is_not_there(written):
    (fault,) = faults_of(written([HEADER, *rows(1)]), ignore=["rain_m"])
    assert "no column 'rain_m' to ignore; did you mean 'rain_mm'?" in fault


# ---------------------------------------------------------------- rows


@pytest.mark.parametrize(
    "row, column, words",
    [
        ("2013-06-02,1,20", None, "3 cells under a header of 4"),
        ("2013-06-02,1,20,10,", None, "5 cells under a header of 4"),
        ("", None, "is empty"),
        ("6/2/2013,1,20,10", "date", "'6/2/2013' is not a date; as 2013-07-04"),
        ("2013-6-2,1,20,10", "date", "'2013-6-2' is not a date"),
        ("2013-06-31,1,20,10", "date", "'2013-06-31' is not a day of the calendar"),
        (",1,20,10", "date", "is blank; a day as"),
        ("2013-06-02,,20,10", "rain_mm", "rain is blank; write a number, or fill it by a rule"),
        ("2013-06-02,1, ,10", "tmax_c", "tmax is blank"),
        ("2013-06-02,1,20,", "tmin_c", "tmin is blank"),
        ("2013-06-02,T,20,10", "rain_mm", "'T' is not a number"),
        ('2013-06-02,"0,5",20,10', "rain_mm", "'0,5' is not a number; a number with a decimal"),
        ("2013-06-02,1_0,20,10", "rain_mm", "'1_0' is not a number"),
        ("2013-06-02,NaN,20,10", "rain_mm", "'NaN' is not a finite number"),
        ("2013-06-02,1,inf,10", "tmax_c", "'inf' is not a finite number"),
        ("2013-06-02,1,1e999,10", "tmax_c", "'1e999' is too large"),
        ("2013-06-02,-0.1,20,10", "rain_mm", "rain of -0.1 mm is negative; 0 to 2000 mm"),
        ("2013-06-02,2000.1,20,10", "rain_mm", "is out of range; 0 to 2000 mm"),
        ("2013-06-02,1,10,20", "tmin_c", "tmin of 20 degC is above tmax of 10 degC"),
        ("2013-06-02,1,60.1,20", "tmax_c", "tmax of 60.1 degC is out of range; -90 to 60 deg C"),
        ("2013-06-02,1,20,-90.1", "tmin_c", "tmin of -90.1 degC is out of range"),
    ],
)
def test_rows_refused(written, row, column, words):
    lines = [HEADER, *rows(1), row, *rows(1, "2013-06-03")]
    (fault,) = faults_of(written(lines))
    place = "meadow.csv line 3" + (f", column '{column}'" if column else "")
    assert fault.startswith(f"{place}: ")
    assert words in fault


@pytest.mark.parametrize(
    "header, cell, words",
    [
        ("rh_mean_pct", "100.1", "rh_mean of 100.1% is out of range; 0 to 100%"),
        ("rh_min_pct", "-1", "rh_min of -1% is negative"),
        ("wind_2m_m_s", "-0.1", "wind of -0.1 m/s is negative"),
        ("solar_mj_m2", "-1", "solar of -1 MJ/m2 is negative"),
        ("solar_mj_m2", "250", "solar of 250 MJ/m2 is out of range; 0 to 50 MJ/m2"),
        ("sunshine_h", "24.5", "sunshine of 24.5 h is out of range; 0 to 24 h"),
        ("dewpoint_c", "22.1", "dewpoint of 22.1 degC is above tmax of 20 degC"),
        ("vapor_pressure_kpa", "2.8", "vapor_pressure of 2.8 kPa is above tmax of 20 degC"),
        ("reference_et_mm", "-0.1", "reference_et of -0.1 mm is negative"),
    ],
)
def test_optional_values_refused(written, header, cell, words):
    (fault,) = faults_of(written([f"{HEADER},{header}", *rows(1, tail=f",{cell}")]))
    assert fault.startswith(f"meadow.csv line 2, column '{header}': ")
    assert words in fault


def test_limits_themselves_are_allowed(written):
    header = f"{HEADER},dewpoint_c,rh_max_pct,rh_min_pct,wind_2m_m_s,sunshine_h"
    record = read_weather(written([header, "2013-06-01,0,20,20,22,100,0,0,24"]))
    assert record.dewpoint_c[0] == 22.0


def test_humidity_out_of_order(written):
    lines = [f"{HEADER},rh_min_pct,rh_max_pct", *rows(1, tail=",80,60")]
    (fault,) = faults_of(written(lines))
    assert "rh_min of 80% is above rh_max of 60%" in fault


def test_lines_are_counted_through_quoted_line_ends(written):
    lines = [f'{HEADER},"two\nlines"', *rows(1, tail=',"a\nb"'), "2013-06-02,x,20,10,c"]
    (fault,) = faults_of(written(lines), ignore=["two\nlines"])
    assert fault.startswith("meadow.csv line 5, column 'rain_mm': 'x' is not a number")


# ---------------------------------------------------------------- days


def test_duplicate_day(written):
    (fault,) = faults_of(written([HEADER, *rows(2), *rows(2, "2013-06-02")]))
    assert fault == (
        "meadow.csv line 4: day 2013-06-02 appears twice, first on line 3; each day once"
    )


def test_day_out_of_order_is_not_also_missing(written):
    first, second, third, fourth = rows(4)
    (fault,) = faults_of(written([HEADER, first, third, second, fourth]))
    assert fault == ("meadow.csv line 4: day 2013-06-02 comes after 2013-06-03; days in order")


def test_gap(written):
    (fault,) = faults_of(written([HEADER, *rows(2), *rows(2, "2013-06-06")]))
    assert fault.startswith(
        "meadow.csv line 4: 3 days missing between 2013-06-02 and 2013-06-06; every day"
    )


def test_29_february_is_missed_in_leap_years_alone(written):
    common = [*rows(1, "2013-02-28"), *rows(1, "2013-03-01")]
    assert read_weather(written([HEADER, *common])).n_days == 2
    leap = [*rows(1, "2012-02-28"), *rows(1, "2012-03-01")]
    assert "1 day missing" in faults_of(written([HEADER, *leap]))[0]


def test_an_unreadable_date_is_not_also_a_gap(written):
    first, _, third = rows(3)
    told = faults_of(written([HEADER, first, "2/6/13,1,20,10", third]))
    assert len(told) == 1


def test_all_faults_at_once_in_file_order(written):
    first, second, third = rows(3)
    told = faults_of(
        written([HEADER + ",extra", first + ",1", "2013-06-02,-1,20,30,1", third + ",1,1", second])
    )
    assert [line.split(":")[0] for line in told] == [
        "meadow.csv line 1",
        "meadow.csv line 3, column 'rain_mm'",
        "meadow.csv line 3, column 'tmin_c'",
        "meadow.csv line 4",
        "meadow.csv line 5",
    ]


def test_at_most_twenty_and_a_count(written):
    bad = [f"{row.rsplit(',', 1)[0]},cold" for row in rows(25)]
    told = faults_of(written([HEADER, *bad]))
    assert len(told) == 21
    assert told[19].startswith("meadow.csv line 21, column 'tmin_c'")
    assert told[20] == "meadow.csv: and 5 more"
    assert len(faults_of(written([HEADER, *bad[:20]]))) == 20


# ---------------------------------------------------------------- filling


def test_nothing_is_filled_without_a_rule_and_complete_files_have_no_counts(written):
    path = written([HEADER, *rows(4)])
    assert read_weather(path, fill=BOTH).filled == {}
    assert len(faults_of(written([HEADER, *rows(1), "2013-06-02,,,"]))) == 3


def test_zero_and_interpolation(written):
    lines = [HEADER, *rows(2), "2013-06-03,,,12", *rows(1, "2013-06-06")]
    record = read_weather(written(lines), fill=BOTH)
    assert record.n_days == 6
    # Tmax 20, 21 then 20 on the sixth day; Tmin 10, 11, 12 then 10.
    assert record.tmax_c == pytest.approx([20, 21, 20.75, 20.5, 20.25, 20])
    assert record.tmin_c == pytest.approx([10, 11, 12, 12 - 2 / 3, 12 - 4 / 3, 10])
    assert record.rain_mm.tolist() == [1, 2, 0, 0, 0, 1]
    assert record.filled == {"rain: zero": 3, "tmax: interpolate": 3, "tmin: interpolate": 2}


def test_gap_too_long_for_the_rule(written):
    absent = written([HEADER, *rows(2), *rows(1, "2013-06-09")])
    (fault,) = faults_of(absent, fill=BOTH)
    assert "6 days missing" in fault
    assert "gaps of at most 5 days are filled" in fault
    longer = FillRule(rain="zero", temperature="interpolate", longest_gap_days=6)
    assert read_weather(absent, fill=longer).filled["rain: zero"] == 6

    blank = [f"2013-06-{day:02d},1,,10" for day in range(3, 9)]
    (fault,) = faults_of(written([HEADER, *rows(2), *blank, *rows(1, "2013-06-09")]), fill=BOTH)
    assert "tmax is blank for 6 days, 2013-06-03 to 2013-06-08; at most 5 are filled" in fault


def test_blank_and_absent_days_make_one_gap(written):
    blank = [f"2013-06-{day:02d},,15,10" for day in (3, 4, 5)]
    lines = [HEADER, *rows(2), *blank, *rows(1, "2013-06-09")]
    (fault,) = faults_of(written(lines), fill=BOTH)
    assert "rain is blank for 6 days" in fault


def test_absent_days_need_both_rules(written):
    path = written([HEADER, *rows(2), *rows(1, "2013-06-04")])
    assert "rules that fill rain and temperature" in faults_of(path, fill=FillRule("zero"))[0]


def test_nothing_to_interpolate_from(written):
    path = written([HEADER, "2013-06-01,1,,10", *rows(2, "2013-06-02")])
    (fault,) = faults_of(path, fill=BOTH)
    assert "tmax of 2013-06-01 is blank and 'interpolate' finds no value" in fault


def test_neighbor_years_take_the_nearest_and_the_earlier_of_two(written):
    first = date(2011, 1, 1)
    lines = [HEADER]
    for i in range(365 + 366 + 365 + 365):
        day = first + timedelta(days=i)
        blank = day in (date(2012, 7, 4), date(2012, 2, 29)) or (
            day.month == 8 and day.day == 1 and day.year in (2011, 2012)
        )
        cells = ",," if blank else f"{day.year - 2010},{day.year - 1990},{day.year - 2000}"
        lines.append(f"{day},{cells}")
    rule = FillRule(rain="neighbor-years", temperature="neighbor-years")
    (*faults,) = faults_of(written(lines), fill=rule)
    assert len(faults) == 3
    assert "of 2012-02-29 is blank and 'neighbor-years' finds no value" in faults[0]

    lines = [line.replace("2012-02-29,,,", "2012-02-29,0,0,0") for line in lines]
    record = read_weather(written(lines), fill=rule)

    def on(day):
        return int(np.flatnonzero(record.dates == np.datetime64(day))[0])

    assert record.rain_mm[on("2012-07-04")] == 1  # 2011, not 2013
    assert record.tmax_c[on("2012-07-04")] == 21
    assert record.rain_mm[on("2012-08-01")] == 3  # 2013; 2011 has none of its own to give
    assert record.rain_mm[on("2011-08-01")] == 3
    assert record.filled == {
        f"{quantity}: neighbor-years": 3 for quantity in ("rain", "tmax", "tmin")
    }


def test_a_filled_temperature_never_crosses_the_measured_one(written):
    lines = [HEADER, "2013-06-01,0,10,0", "2013-06-02,0,,15", "2013-06-03,0,12,0"]
    record = read_weather(written(lines), fill=BOTH)
    assert record.tmax_c.tolist() == [10, 15, 12]


def test_optional_cells_stay_blank_under_a_rule(written):
    lines = [
        f"{HEADER},dewpoint_c",
        *rows(1, tail=",5"),
        "2013-06-02,,,,",
        *rows(1, "2013-06-03", ",7"),
    ]
    record = read_weather(written(lines), fill=BOTH)
    assert np.isnan(record.dewpoint_c[1])


@pytest.mark.parametrize(
    "words", [{"rain": "interpolate"}, {"temperature": "zero"}, {"longest_gap_days": 0}]
)
def test_fill_rules_refused(words):
    with pytest.raises(ValueError):
        FillRule(**words)


# ---------------------------------------------------------------- NetCDF


def dataset(**changes) -> xr.Dataset:
    """Three days in CF spelling, two of the units not those inside."""
    values = {
        "rain": ("time", [0.0, 1.0, 2.0], {"units": "kg m-2 d-1"}),
        "tmax": ("time", [293.15, 294.15, 295.15], {"units": "K"}),
        "tmin": ("time", [10.0, 11.0, 12.0], {"units": "degC"}),
        "wind_10m": ("time", [3.0, np.nan, 4.0], {"units": "m s-1"}),
        "solar": ("time", [100.0, 200.0, 300.0], {"units": "W m-2"}),
        "sunshine": ("time", [5.0, 6.0, 7.0], {"units": "h"}),
        **changes,
    }
    days = np.arange("2013-06-01", "2013-06-04", dtype="datetime64[D]").astype("datetime64[ns]")
    kept = {name: value for name, value in values.items() if value is not None}
    return xr.Dataset(kept, coords={"time": days})


@pytest.fixture
def saved(tmp_path):
    def save(made: xr.Dataset):
        path = tmp_path / "meadow.nc"
        made.to_netcdf(path)
        return path

    return save


def test_netcdf(saved):
    path = saved(dataset())
    record = read_weather(path)
    assert record.dates.astype(str).tolist() == ["2013-06-01", "2013-06-02", "2013-06-03"]
    assert record.rain_mm == pytest.approx([0, 1, 2])
    assert record.tmax_c == pytest.approx([20, 21, 22])
    assert record.wind_m_s == pytest.approx([3, np.nan, 4], nan_ok=True)
    assert record.wind_height_m == 10.0
    assert record.solar_mj_m2 == pytest.approx([8.64, 17.28, 25.92])
    assert record.sunshine_h == pytest.approx([5, 6, 7])
    assert record.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_netcdf_at_one_point_and_with_a_declared_name(saved):
    made = dataset(tmax=None, pr=("time", [1.0, 2.0, 3.0], {"units": "mm"}), rain=None)
    made["tasmax"] = (("time", "lat"), [[20.0], [21.0], [22.0]], {"units": "Celsius"})
    declared = {"tmax": ColumnSpec("tasmax"), "rain": ColumnSpec("pr", "mm")}
    record = read_weather(saved(made), declared)
    assert record.tmax_c.tolist() == [20, 21, 22]
    assert record.rain_mm.tolist() == [1, 2, 3]


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"rain": ("time", [0.0, 1, 2])}, "variable 'rain': has no units attribute"),
        ({"rain": ("time", [0.0, 1, 2], {"units": "K"})}, "unit 'K' cannot be converted to mm"),
        ({"rain": None}, "no column for rain"),
        ({"snow": ("time", [0.0, 1, 2], {"units": "mm"})}, "'snow' is not known"),
        ({"wind": ("time", [0.0, 1, 2], {"units": "m/s"})}, "two columns for wind"),
        ({"wind_10m": None, "wind": ("time", [0.0, 1, 2], {"units": "m/s"})}, "height of the wind"),
        ({"rain": ("time", [0.0, np.inf, 2], {"units": "mm"})}, "is inf on 2013-06-02"),
        (
            {"rain": ("time", [0.0, np.nan, 2], {"units": "mm"})},
            "day 2013-06-02, column 'rain': rain is blank",
        ),
        ({"rain": ("time", [0.0, -1, 2], {"units": "mm"})}, "rain of -1 mm is negative"),
        ({"rain": (("time", "x"), [[0.0, 1]] * 3, {"units": "mm"})}, "has dimensions time, x"),
        ({"rain": ("time", ["a", "b", "c"], {"units": "mm"})}, "is not numbers"),
    ],
)
def test_netcdf_refused(saved, changes, words):
    (fault,) = faults_of(saved(dataset(**changes)))
    assert words in fault


def test_netcdf_without_time_or_not_netcdf(saved, written):
    told = faults_of(saved(dataset().rename(time="step")))
    assert "has no variable 'time'" in told[0]
    assert "is not readable as NetCDF" in faults_of(written([HEADER], "junk.nc"))[0]


def test_netcdf_days_must_follow_each_other(saved):
    made = dataset().isel(time=[0, 2])
    (fault,) = faults_of(saved(made))
    assert fault.startswith("meadow.nc day 2013-06-03: 1 day missing between 2013-06-01")
    assert read_weather(saved(made), fill=BOTH).tmin_c.tolist() == [10, 11, 12]


# ---------------------------------------------------------------- the record


def test_slices_keep_days_and_values_together():
    record = read_weather(DATA / "newark-2013.csv")
    part = record.select(slice(100, 110))
    assert part.n_days == 10
    assert (part.dates == record.dates[100:110]).all()
    assert (part.dewpoint_c == record.dewpoint_c[100:110]).all()
    with pytest.raises(ValueError, match="no day from 1990 to 1991"):
        record.between(1990, 1991)


@pytest.mark.parametrize(
    "changes",
    [
        {"dates": np.array(["2013-06-01", "2013-06-03"], dtype="datetime64[D]")},
        {"dates": np.array(["2013-06-02", "2013-06-01"], dtype="datetime64[D]")},
        {"dates": np.array([], dtype="datetime64[D]")},
        {"rain_mm": np.array([0.0, np.nan])},
        {"tmax_c": np.array([1.0])},
        {"wind_m_s": np.array([1.0, 2.0])},
    ],
)
def test_a_record_is_sound_or_is_not(changes):
    sound = {
        "dates": np.array(["2013-06-01", "2013-06-02"], dtype="datetime64[D]"),
        "rain_mm": np.zeros(2),
        "tmax_c": np.full(2, 20.0),
        "tmin_c": np.full(2, 10.0),
    }
    assert DailyRecord(**sound).n_days == 2
    with pytest.raises(ValueError):
        DailyRecord(**{**sound, **changes})
