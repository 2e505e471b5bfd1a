"""What a scenario and a command line say of how a weather file is read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.cli.arguments import settings
from drysward.faults import FaultyInput
from drysward.site.stretches import require_weather
from drysward.site.weather_years import read_record, weather_series
from drysward.weather.file.fill import FillRule, as_option, as_toml, from_option
from drysward.weather.simulated.climate import month_means

TMAX = [37, 41, 51, 63, 72, 81, 86, 84, 77, 65, 54, 42]
TMIN = [21, 23, 31, 40, 50, 60, 64, 64, 55, 44, 35, 26]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(one) for one in arguments])


def a_file(folder: Path, header: str, first: str = "2011-01-01", last: str = "2013-12-31",
           blank: str = "", cells: str = "{rain},20,10") -> Path:  # fmt: skip
    path = folder / "tarrow.csv"
    days = np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")
    rows = [
        f"{day},{cells.format(rain='' if str(day) == blank else i % 4)}"
        for i, day in enumerate(days)
    ]
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


PLAIN = "date,rain_mm,tmax_c,tmin_c"


def scenario(folder: Path, weather: str) -> Path:
    demo = drysward.shipped("demo").text
    head, _, rest = demo.partition("[weather]")
    fields = rest.index("[fields.stadium]")
    path = folder / "ours.toml"
    path.write_text(f"{head}[weather]\n{weather}\n{rest[fields:]}")
    return path


# ---------------------------------------------------------------- filling


@pytest.mark.parametrize(
    "rule, option",
    [
        (FillRule("zero"), "--fill rain=zero"),
        (FillRule("zero", "interpolate"), "--fill rain=zero,temperature=interpolate"),
        (FillRule("neighbor-years", "neighbor-years", 40),
         "--fill rain=neighbor-years,temperature=neighbor-years,longest=40"),
    ],
)  # fmt: skip
def test_the_command_line_has_the_words_of_the_scenario(tmp_path, rule, option):
    assert as_option(rule) == option
    assert from_option(option.removeprefix("--fill ")) == rule
    text = f'file = "x.csv"\n{as_toml(rule)}'
    assert drysward.load(scenario(tmp_path, text)).weather.fill == rule


@pytest.mark.parametrize(
    "text", ["rain", "rain=none", "temperature=zero", "longest=0", "wind=zero", "longest=many"]
)
def test_fill_refused(text):
    result = run("check", "demo", "--weather", "x.csv", "--fill", text)
    assert result.exit_code == 2
    assert "--fill" in result.output
    assert "rain=zero,temperature=interpolate" in result.output


def test_a_blank_is_told_with_what_mends_it_and_before_any_title(tmp_path):
    path = a_file(tmp_path, PLAIN, blank="2012-07-04")
    for command in ("compare", "check"):
        result = run(command, "demo", "--weather", path)
        assert result.exit_code == 2
        (line,) = result.output.splitlines()
        assert line == (
            f"{path} line 552, column 'rain_mm': rain is blank; write a number, or fill "
            'it by a rule: under [weather] fill = { rain = "zero" }, or --fill rain=zero on the '
            "command line"
        )
    result = run("check", "demo", "--weather", path, "--fill", "rain=zero")
    assert result.exit_code == 0, result.output
    assert "rain: zero: 1 day\n" in result.output


def test_no_complete_year_is_told_before_any_title(tmp_path):
    path = a_file(tmp_path, PLAIN)
    result = run("compare", "demo", "--weather", path, "--years", "1990-1995")
    assert result.exit_code == 2
    (line,) = result.output.splitlines()
    assert "no complete year in the years requested" in line


def test_options_of_a_file_need_one():
    for option, value in (("--fill", "rain=zero"), ("--record-years", "1991-2020")):
        result = run("check", "demo", option, value)
        assert result.exit_code == 2
        assert "needs a weather file" in result.output


def test_options_are_kept_as_they_are_typed():
    assert settings(weather="a b.csv", fill="rain=zero", record_years="1991-2020", seed=None) == (
        "--weather 'a b.csv' --fill rain=zero --record-years 1991-2020"
    )


# ---------------------------------------------------------------- some years


def test_only_some_years_of_a_file(tmp_path):
    path = a_file(tmp_path, PLAIN, blank="2011-07-04")
    result = run("check", "demo", "--weather", path, "--record-years", "2012-2013")
    assert result.exit_code == 0, result.output
    assert "2012-01-01 to 2013-12-31" in result.output
    opened = drysward.load(scenario(tmp_path, f'file = "{path.name}"\nrecord_years = [2012, 2013]'))
    assert read_record(opened).years() == (2012, 2013)
    result = run("weather", "check", path, "--record-years", "2012-2013")
    assert "with record_years = [2012, 2013]" in " ".join(result.output.split())


def test_a_record_that_was_written_anew_is_read_anew(tmp_path):
    path = a_file(tmp_path, PLAIN)
    opened = drysward.load(scenario(tmp_path, f'file = "{path.name}"'))
    assert read_record(opened).tmax_c[0] == 20.0
    a_file(tmp_path, PLAIN, cells="{rain},21,10")
    assert read_record(opened).tmax_c[0] == 21.0


def test_a_file_with_long_gaps_is_told_which_years_have_none(tmp_path):
    path = a_file(tmp_path, PLAIN, "1990-01-01", "2004-12-31", blank="2003-07-04")
    lines = [
        line for line in path.read_text().splitlines()
        if not "1993-03-01" <= line[:10] <= "1994-05-01" and not line.startswith("1996-08-0")
    ]  # fmt: skip
    path.write_text("\n".join(lines) + "\n")
    result = run("check", "demo", "--weather", path)
    assert result.exit_code == 2
    told, blank = result.output.splitlines()
    assert "line 1157: 427 days missing between 1993-02-28 and 1994-05-02" in told
    assert "and 1 more gap of 9 days after it, the longest of all: 427 days" in told
    assert "rain is blank;" in blank
    # 1995 would begin the longest row, were it not for nine days of 1996.
    option = "--record-years 1997-2004 --fill rain=zero"
    assert 'under [weather] record_years = [1997, 2004] and fill = { rain = "zero" }' in (
        result.output
    )
    assert f"or {option} on the command line" in result.output
    told = " ".join(run("weather", "check", path).output.split())
    assert "Best years 1997 to 2004 have no gap of more than 5 days" in told
    result = run("check", "demo", "--weather", path, *option.split())
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize("years", ["[2020]", "[2020, 1991]"])
def test_years_refused(tmp_path, years):
    with pytest.raises(FaultyInput, match="is not a range of years"):
        drysward.load(scenario(tmp_path, f'file = "x.csv"\nrecord_years = {years}'))


# ---------------------------------------------------------------- without temperature

ET = "date,rain_mm,reference_et_mm"
MONTHLY = (
    f'monthly_temperature = {{ tmax = {{ unit = "degF", months = {TMAX} }}, '
    f'tmin = {{ unit = "degF", months = {TMIN} }} }}'
)


def test_reference_et_alone_is_refused_with_the_line_that_mends_it(tmp_path):
    path = a_file(tmp_path, ET, cells="{rain},3.5")
    result = run("compare", "demo", "--weather", path)
    assert result.exit_code == 2
    (line,) = result.output.splitlines()
    assert "no column for tmax and tmin; reference ET alone does not say when turf grows" in line
    assert "under [weather] monthly_temperature = { tmax = {" in line


def test_monthly_means_stand_in_and_say_what_is_not_modeled(tmp_path):
    path = a_file(tmp_path, ET, cells="{rain},3.5")
    opened = drysward.load(scenario(tmp_path, f'file = "{path.name}"\n{MONTHLY}'))
    require_weather(opened)
    record = read_record(opened)
    year = record.between(2012, 2012)  # a leap year has the 366 days of the curve
    assert month_means(year.tmax_c) * 1.8 + 32 == pytest.approx(TMAX)
    assert month_means(year.tmin_c) * 1.8 + 32 == pytest.approx(TMIN)
    assert (record.reference_et_mm == 3.5).all()
    (note,) = weather_series(opened).notes
    assert "temperature is the smooth course of monthly means" in note
    assert "hot spells and death by heat, single frosts, snow" in note
    result = run("check", tmp_path / "ours.toml")
    assert result.exit_code == 0, result.output
    told = " ".join(result.output.split())
    assert "not modeled" in told
    assert "Reference ET from the file" in told


@pytest.mark.parametrize(
    "header, cells, more, words",
    [
        (PLAIN, "{rain},20,10", "", "column 'tmax_c' has temperature, which"),
        ("date,rain_mm,rh_mean_pct", "{rain},50", "",
         "no column for reference_et, which a file without temperature needs"),
        (ET, "{rain},", "", "reference_et is blank on 1,096 days, the first 2011-01-01"),
    ],
)  # fmt: skip
def test_what_monthly_means_cannot_stand_in_for(tmp_path, header, cells, more, words):
    path = a_file(tmp_path, header, cells=cells)
    opened = drysward.load(scenario(tmp_path, f'file = "{path.name}"\n{MONTHLY}\n{more}'))
    with pytest.raises(FaultyInput, match=words):
        read_record(opened)


@pytest.mark.parametrize(
    "text, words",
    [
        (f'file = "x.csv"\nsource = "generator"\n{MONTHLY}', "rules out a fitted"),
        ('file = "x.csv"\n' + MONTHLY.replace(str(TMIN), str([*TMAX[1:], 99])), "is above tmax in"),
    ],
)
def test_monthly_means_refused(tmp_path, text, words):
    with pytest.raises(FaultyInput, match=words):
        drysward.load(scenario(tmp_path, text))


# ---------------------------------------------------------------- headers, place, trend


def test_unknown_headers_are_told_once(tmp_path):
    path = a_file(tmp_path, f"{PLAIN},battery,xyz,station id", cells="{rain},20,10,1,2,3")
    result = run("weather", "check", path)
    assert result.exit_code == 2
    line, paste = result.output.splitlines()
    assert "columns 'battery', 'xyz' and 'station id' are not known" in line
    assert paste.strip() == 'ignore = ["battery", "xyz", "station id"]'
    assert line.count("dewpoint_c") == 1


def test_a_file_that_says_its_place_needs_no_options(tmp_path):
    lines = ['"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","TMAX","TMIN"']
    days = np.arange("2011-01-01", "2013-01-01", dtype="datetime64[D]")
    warm = 80 - 140 * np.cos(2 * np.pi * np.arange(days.size) / 365.25)  # tenths
    place = '"XT1","{}","52.4","-77.5","540.2","TARROW"'
    lines += [
        f'{place.format(d)},"{12 * (i % 3)}","{t + 50:.0f}","{t - 50:.0f}"'
        for i, (d, t) in enumerate(zip(days, warm, strict=True))
    ]
    path = tmp_path / "XT1.csv"
    path.write_text("\n".join(lines) + "\n")
    told = " ".join(run("weather", "check", path).output.split())
    assert "File read as world daily station archive" in told
    assert "FAO-56 Penman-Monteith" in told
    assert "A run accepts this file as it is." in told
    told = " ".join(run("check", "demo", "--weather", path).output.split())
    assert "the file is from latitude 52.4" in told
    assert "the file is from 540 m" in told


def test_the_trend_of_a_warming_record(tmp_path):
    rng = np.random.default_rng(2)
    days = np.arange("1991-01-01", "2021-01-01", dtype="datetime64[D]")
    year = days.astype("datetime64[Y]").astype(int) + 1970 - 1991
    warm = 20 + 0.06 * year + rng.normal(0, 0.3, 30)[year] + rng.normal(0, 3, days.size)
    rain = rng.choice([0.0, 0.0, 8.0], days.size)
    rows = [f"{d},{r:.1f},{t:.1f},{t - 10:.1f}" for d, r, t in zip(days, rain, warm, strict=True)]
    path = tmp_path / "warming.csv"
    path.write_text("\n".join([PLAIN, *rows]) + "\n")
    told = " ".join(run("weather", "check", path, "--latitude", 40, "--elevation", 100)
                    .output.split())  # fmt: skip
    assert "mean Tmax +0." in told
    assert "rain a year" in told
    assert "reference ET a year +" in told
    for source in ("record", "resample"):
        told = " ".join(run("check", "demo", "--weather", path, "--source", source).output.split())
        assert "the record drifts, mean Tmax +0." in told
