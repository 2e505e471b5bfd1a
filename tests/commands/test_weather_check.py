"""``drysward weather check`` as a person sees it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from drysward.cli import main

DATA = Path(__file__).parents[1] / "data"
BALTIMORE = str(DATA / "baltimore-washington-2010-2019.csv")
NEWARK = str(DATA / "newark-2013.csv")


def check(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["weather", "check", *(str(one) for one in arguments)])


def spoilt(folder: Path, change) -> Path:
    """The Newark file with its lines changed."""
    lines = Path(NEWARK).read_text().splitlines()
    path = folder / "spoilt.csv"
    path.write_text("\n".join(change(lines)) + "\n")
    return path


def last_line(result: Result) -> str:
    """The last sentence, however it is wrapped."""
    return " ".join(result.output[result.output.rindex("A run") :].split())


def test_a_good_file():
    result = check(BALTIMORE, "--latitude", 39.17, "--elevation", 47, "--units", "metric")
    assert result.exit_code == 0
    told = " ".join(result.output.split())
    for part in (
        "2010-09-20 to 2019-09-01",
        "Gaps none",
        "Suspicious nothing found",
        "ET less rain",
        "2010*",
        "8 complete seasons",
        "Short record",
        "Left out seasons with days that are not known: 2010, 2019",
    ):
        assert part in told
    assert result.output.splitlines()[-1] == "A run accepts this file as it is."
    assert max(len(line) for line in result.output.splitlines()) <= 100


def test_units_of_what_is_shown():
    year = {
        units: next(
            line.split()
            for line in check(BALTIMORE, "--units", units).output.splitlines()
            if line.strip().startswith("2012 ")
        )
        for units in ("us", "metric")
    }
    assert year["metric"][2] == "951"
    assert year["us"][2] == "37.4"


def test_without_a_place_no_et():
    told = check(NEWARK).output
    assert "give --latitude and --elevation" in " ".join(told.split())
    assert "ET less" not in told


def test_gaps_do_not_stop_it_and_the_rule_is_named(tmp_path):
    path = spoilt(tmp_path, lambda lines: lines[:50] + lines[53:])
    result = check(path)
    assert result.exit_code == 0
    assert "2013-02-19 to 2013-02-21 (3 days)" in result.output
    assert "line 51: 3 days missing" in result.output
    rule = 'fill = { rain = "zero", temperature = "interpolate" }'
    assert last_line(result) == (
        f"A run refuses this file as it is (1 fault) and accepts it with {rule} under [weather] "
        "of the scenario."
    )


def test_values_that_cannot_be_are_told_with_their_day(tmp_path):
    def change(lines):
        cells = lines[10].split(",")
        return [*lines[:10], ",".join([cells[0], "-999", *cells[2:]]), *lines[11:]]

    result = check(spoilt(tmp_path, change))
    assert result.exit_code == 0
    assert "2013-01-10  rain of -999 in is negative" in result.output
    assert "no fill rule helps" in last_line(result)


def test_unknown_columns_are_faults_until_ignored(tmp_path):
    path = spoilt(
        tmp_path, lambda lines: [lines[0] + ",Notes", *(line + ",fine" for line in lines[1:])]
    )
    result = check(path)
    assert result.exit_code == 2
    assert "column 'Notes' is not known" in result.output
    result = check(path, "--ignore", "Notes")
    assert result.exit_code == 0
    assert 'with ignore = ["Notes"]' in last_line(result)


@pytest.mark.parametrize(
    "text", ["", "day,rain_mm\n2013-01-01,0\n", "date,rain_mm,tmax_c,tmin_c\n"]
)
def test_what_cannot_be_read_is_faulty_input(tmp_path, text):
    path = tmp_path / "poor.csv"
    path.write_text(text)
    result = check(path)
    assert result.exit_code == 2
    assert "poor.csv" in result.output
    assert check(tmp_path / "none.csv").exit_code == 2


def test_a_season_of_ones_own():
    result = check(BALTIMORE, "--season", "12-01..02-28")
    assert "1 December to 28 February" in result.output
    assert "2016-17" in result.output
    for season in ("summer", "02-29..05-01", "13-01..10-31"):
        result = check(BALTIMORE, "--season", season)
        assert result.exit_code == 2
        assert season in result.output
