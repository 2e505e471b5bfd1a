"""Weather files that are wrong as a whole, as whoever runs a scenario meets them."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner

from drysward.cli import main
from drysward.results.text import FILE_MEANS, FUTURE, file_means_text
from drysward.weather.record import DailyRecord

SCENARIO = """
title = "One field"
[site]
name = "Nowhere"
latitude = "40 deg"
elevation = "100 m"
[weather]
file = "station.csv"
{more}
[fields.one]
area = "1 ha"
species = "kentucky_bluegrass"
root_zone = "native_loam"
delivery = "in_ground_rotors"
[plans.none]
label = "No irrigation"
rule = "none"
[supply.sources.well]
kind = "well"
rate = "100 m3/h"
"""


@pytest.fixture
def command(tmp_path):
    """Writes two years of plain weather, spoilt by a test, and runs a command on it."""

    def run(spoil=lambda v: v, more="", args=("check",)):
        dates = np.arange(np.datetime64("2001-01-01"), np.datetime64("2003-01-01"))
        rng = np.random.default_rng(1)
        season = -12 * np.cos(2 * np.pi * (np.arange(dates.size) - 20) / 365)
        mean = 11 + season + rng.normal(0, 3, dates.size)
        values = spoil(
            {
                "rain_mm": np.where(
                    rng.random(dates.size) < 0.3, rng.gamma(0.7, 10, dates.size), 0.0
                ),
                "tmax_c": mean + 5,
                "tmin_c": mean - 5,
                "wind_2m_m_s": 0.5 + rng.gamma(4, 0.4, dates.size),
            }
        )
        lines = [",".join(["date", *values])]
        for row in zip(dates, *values.values(), strict=True):
            lines.append(",".join([str(row[0]), *(f"{cell:.2f}" for cell in row[1:])]))
        (tmp_path / "station.csv").write_text("\n".join(lines) + "\n")
        path = tmp_path / "site.toml"
        path.write_text(SCENARIO.format(more=more))
        name, *rest = args
        return CliRunner().invoke(main, [name, str(path), *rest])

    return run


def inches(values):
    return {**values, "rain_mm": values["rain_mm"] / 25.4}


def marked(values):
    rain = values["rain_mm"].copy()
    rain[40:600:70] = 99.99
    return {**values, "rain_mm": rain}


def windy(values):
    return {**values, "wind_2m_m_s": 2.2 * values["wind_2m_m_s"]}


@pytest.mark.parametrize("args", [("check",), ("compare",), ("supply",), ("weather", "make")])
def test_every_command_refuses_what_is_beyond_doubt_wrong(command, args, tmp_path):
    command(inches)
    result = CliRunner().invoke(main, [*args, str(tmp_path / "site.toml")])
    assert result.exit_code == 2
    assert "column 'rain_mm': a day with rain brings" in result.output
    assert 'columns.rain = { column = "rain_mm", unit = "in" }' in result.output
    assert 'trust = ["rain"]' in result.output


def test_a_sweep_refuses_it_before_anything_runs(command, tmp_path):
    command(inches)
    (tmp_path / "sweep.toml").write_text(
        'title = "s"\nscenario = "site.toml"\n[axes.seedless]\n'
        'key = "fields.one.area"\nvalues = ["1 ha", "2 ha"]\n'
    )
    result = CliRunner().invoke(
        main, ["sweep", str(tmp_path / "sweep.toml"), "--out", str(tmp_path / "out"), "--forecast"]
    )
    assert result.exit_code == 2
    assert "the numbers fit inches" in result.output


def test_the_lines_that_mend_do(command):
    stated = 'columns.rain = { column = "rain_mm", unit = "in" }'
    assert command(inches, stated).exit_code == 0
    trusted = command(inches, 'trust = ["rain"]')
    assert trusted.exit_code == 0
    assert "trusted by the scenario" in " ".join(trusted.output.split())
    blank = command(marked, "missing = { rain = 99.99 }")
    assert blank.exit_code == 2
    assert "line 42" in blank.output
    assert command(marked, 'missing = { rain = 99.99 }\nfill = { rain = "zero" }').exit_code == 0


def test_marks_and_trust_name_columns(command):
    wrong = command(more='missing = { rane = 99.99 }\ntrust = ["wund"]')
    assert wrong.exit_code == 2
    assert "did you mean 'rain'?" in wrong.output
    assert "did you mean 'wind'?" in wrong.output
    absent = command(more="missing = { solar = 99.99 }")
    assert absent.exit_code == 2
    assert "has no column of solar" in absent.output


@pytest.mark.parametrize("args", [("check",), ("compare",), ("supply",)])
def test_what_is_odd_is_told_above_the_answer(command, args, tmp_path):
    result = command(windy, args=args)
    assert result.exit_code == 0, result.output
    told = " ".join(result.output.split())
    assert "Check the weather The mean wind is" in told
    assert told.index("Check the weather") < told.index("No irrigation")


def test_an_answer_says_what_the_file_was_read_as(command):
    """So that an eye that knows the place sees a wrong unit that no level can show."""
    told = " ".join(command(windy, args=("compare", "--draws", "0")).output.split())
    assert re.search(
        r"Read as [0-9]+ in of rain a year, highs of [0-9]+ F in the warmest month and a mean wind "
        r"of [0-9.]+ mph. If that is not your place, check the units in ",
        told,
    )


def test_means_of_a_file_by_hand():
    """1 mm a day, 2 m/s, July 30 C: 1 in = 25.4 mm, 1 mph = 0.44704 m/s (exact definitions)."""
    dates = np.arange("2011-01-01", "2012-01-01", dtype="datetime64[D]")
    tmax = np.where(dates.astype("datetime64[M]").astype(int) % 12 == 6, 30.0, 20.0)
    ones = np.ones(dates.size)
    record = DailyRecord(
        dates=dates, rain_mm=ones, tmax_c=tmax, tmin_c=0.0 * ones, wind_m_s=2.0 * ones,
        wind_height_m=2.0,
    )  # fmt: skip
    assert record.facts.means == pytest.approx({"rain_mm": 365.25, "tmax_c": 30.0, "wind_m_s": 2.0})
    attrs = {FILE_MEANS: json.dumps(record.facts.means), "weather_file": "a.csv"}
    assert file_means_text(attrs, "us").startswith(
        "14 in of rain a year, highs of 86 F in the warmest month and a mean wind of 4.5 mph. "
    )
    assert file_means_text(attrs, "metric").startswith(
        "365 mm of rain a year, highs of 30 C in the warmest month and a mean wind of 2.0 m/s. "
    )
    assert file_means_text({}, "us") == ""
    assert "future" not in file_means_text(attrs, "us")
    changed = file_means_text({**attrs, FUTURE: "warm_dry"}, "us")
    assert changed.endswith("The change of the future 'warm_dry' comes on top")


def test_what_is_odd_is_kept_in_the_result(command, tmp_path):
    assert command(windy, args=("compare", "--out", str(tmp_path / "out"))).exit_code == 0
    with xr.open_dataset(tmp_path / "out" / "results.nc") as result:
        (told,) = json.loads(result.attrs["weather_findings"])
        assert told.startswith("the mean wind is")
    report = CliRunner().invoke(
        main, ["report", str(tmp_path / "out"), "--out", str(tmp_path / "page.html")]
    )
    assert report.exit_code == 0
    page = (tmp_path / "page.html").read_text()
    warning, summary = "Check the weather file.</strong>", ">Summary<"
    assert warning in page
    assert page.index(warning) < page.index(summary)


def test_years_made_from_a_file_tell_of_it(command, tmp_path):
    result = command(
        windy, 'source = "resample"\nyears = 3', ("compare", "--out", str(tmp_path / "out"))
    )
    assert result.exit_code == 0
    assert "Check the weather The mean wind is" in " ".join(result.output.split())
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        assert kept.attrs["weather_file"] == "station.csv"
        assert kept.attrs["weather_file_days"] == "2001-01-01 to 2002-12-31"
        assert len(kept.attrs["weather_digest"]) == 64
        assert kept.attrs["latitude_deg"] == 40.0
