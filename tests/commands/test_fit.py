"""``drysward fit hardness`` as a person sees it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from drysward.cli import main
from drysward.scenario.load import loads

FIELD = """
[site]
name = "Ostrel Bay"
latitude = "35 deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
[plans.keep]
rule = "none"
[fields.north]
area = "1 acre"
species = "bermudagrass"
root_zone = "native_loam"
delivery = "hand_hose"
[fields.north.play]
"""


def fit(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["fit", "hardness", *(str(one) for one in arguments)])


def readings(folder: Path, heading: str = "spot,moisture (%),g", scale: float = 100.0) -> Path:
    rng = np.random.default_rng(4)
    moisture = rng.uniform(0.10, 0.35, 40)
    g = 150.0 - 310.0 * moisture + rng.normal(0.0, 8.0, 40)
    lines = [
        f"{i},{m * scale:.4f},{v:.0f}" for i, (m, v) in enumerate(zip(moisture, g, strict=True))
    ]
    path = folder / "readings.csv"
    path.write_text("\n".join([heading, *lines]) + "\n")
    return path


def test_the_line_printed_is_the_line_a_scenario_takes(tmp_path: Path) -> None:
    result = fit(readings(tmp_path))
    assert result.exit_code == 0
    line = result.output.splitlines()[0]
    play = loads(FIELD + line, tmp_path).fields[0].play
    assert play is not None
    assert play.hardness is not None
    assert play.hardness.intercept_g == pytest.approx(150.0, abs=10.0)
    assert play.hardness.slope_g == pytest.approx(-310.0, abs=45.0)
    assert play.hardness.scatter_g == pytest.approx(8.0, abs=2.5)


def test_it_tells_number_range_scatter_and_its_limits(tmp_path: Path) -> None:
    told = fit(readings(tmp_path), "--surface", "sand").output
    assert re.search(r"40 readings, moisture 0\.1\d+ to 0\.3\d+ v/v", told)
    assert "scatter about the line" in told
    assert "92 -110 x moisture" in told
    assert "Only a measurement by the applicable test method decides" in told
    assert "readings span little moisture" not in told


def test_percent_and_share_give_the_same_line(tmp_path: Path) -> None:
    percent = fit(readings(tmp_path)).output
    assert (
        fit(readings(tmp_path, "spot,Moisture (v/v),G", scale=1.0)).output.splitlines()[1:3]
        == (percent.splitlines()[1:3])
    )


def test_readings_of_little_range_are_cautioned(tmp_path: Path) -> None:
    path = tmp_path / "narrow.csv"
    rows = [f"{0.20 + 0.005 * i},{90 - i}" for i in range(10)]
    path.write_text("\n".join(["moisture (v/v),g", *rows]))
    assert "the slope is hardly known" in fit(path).output


def test_hardness_that_rises_with_moisture_is_no_setting(tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("\n".join(["moisture (%),g", *(f"{10 + i},{60 + i}" for i in range(10))]))
    result = fit(path)
    assert result.exit_code == 0
    assert result.output.startswith("No setting")
    assert "hardness = {" not in result.output


def test_every_bad_cell_is_told_by_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text("moisture (%),g\n12,90\n\nwet,80\n13\n140,-5\nnan,70\n")
    result = fit(path)
    assert result.exit_code == 2
    assert [line.removeprefix(str(path)) for line in result.stderr.splitlines()] == [
        " line 4 column 'moisture (%)': 'wet' is not a number; a number from 0 to 80",
        " line 5 column 'g': '' is not a number; a number from 0 to 1000",
        " line 6 column 'moisture (%)': 140 is out of range; a number from 0 to 80",
        " line 6 column 'g': -5 is out of range; a number from 0 to 1000",
        " line 7 column 'moisture (%)': nan is out of range; a number from 0 to 80",
    ]


@pytest.mark.parametrize(
    "text, told",
    [
        ("moisture,g\n12,90\n", "line 1: does not say once what moisture is"),
        ("moisture (%),moisture (v/v),g\n12,0.12,90\n", "does not say once what moisture is"),
        ("moisture (%),gmax\n12,90\n", "line 1: has not one column of hardness"),
        ("", "line 1: does not say once what moisture is"),
        ("moisture (%),g\n12,90\n14,85\n", "2 readings are too few; at least 8"),
        ("moisture (%),g\n" + "12,90\n" * 9, "moisture is the same in all readings"),
    ],
)
def test_files_that_make_no_line(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "poor.csv"
    path.write_text(text)
    result = fit(path)
    assert result.exit_code == 2
    assert told in result.stderr


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    result = fit(tmp_path / "none.csv")
    assert result.exit_code == 2
    assert "cannot be read" in result.stderr
