"""``drysward season``: an invented site from its log and forecast to the page."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.results.text import ways_of_100

DATA = Path(__file__).parents[1] / "data"
FIELDS = (DATA / "two-fields.toml").read_text()
for _old, _new in (
    ("baltimore-washington-2010-2019.csv", "weather.csv"),
    ("[fields.sand]", '[fields.sand]\nlabel = "Stadium"'),
    ("[fields.loam]", '[fields.loam]\nlabel = "Practice field"'),
    ("[plans.none]", '[plans.none]\nlabel = "No irrigation"'),
):
    FIELDS = FIELDS.replace(_old, _new)
FIELDS += """
[plans.refill]
label = "Refill at 50%"
rule = "refill"
trigger = 0.5
[supply.sources.well]
kind = "well"
rate = "100 gpm"
allowance = { year = "1 Mgal" }
ration = "as it comes"
[supply.storage]
kind = "tank"
capacity = "100000 gal"
"""
LOG = """date,field,depth_in,minutes
2018-06-04,sand,0.5,
2018-06-11,sand,0.5,
2018-06-18,sand,,60
2018-06-25,loam,0.4,
"""
FORECAST = """date,rain_in,rain_chance_pct,tmax_f,tmin_f
2018-07-01,0.0,5,96,74
2018-07-02,0.0,10,95,74
2018-07-03,0.1,40,91,70
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    record = (DATA / "baltimore-washington-2010-2019.csv").read_text()
    # A part year: the weather ends on the eve of 1 July 2018.
    lines = [line for line in record.splitlines() if not "2018-07-01" <= line[:10] < "a"]
    (tmp_path / "weather.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "fields.toml").write_text(FIELDS)
    (tmp_path / "log.csv").write_text(LOG)
    (tmp_path / "forecast.csv").write_text(FORECAST)
    return tmp_path


def run(site: Path, *words: str) -> Result:
    return CliRunner().invoke(main, ["season", str(site / "fields.toml"), *words])


def with_files(site: Path) -> list[str]:
    return ["--log", str(site / "log.csv"), "--forecast", str(site / "forecast.csv")]


def test_a_part_year_goes_on_from_the_day_after_its_last(site: Path) -> None:
    found = run(site, *with_files(site))
    assert found.exit_code == 0, found.output
    out = found.stdout
    assert "From July 1 to October 31, 2018. Ways on: 7 years of weather.csv, 2011 to 2017" in out
    for text in ("Odds of wilt by date", "Odds of dormancy by date", "Water still needed to Oct 31",
                 "No irrigation", "Stadium", "Caution"):  # fmt: skip
        assert text in out
    assert all(len(line) <= 100 and line == line.rstrip() for line in out.splitlines())


@pytest.mark.slow
def test_the_answer_goes_into_files_and_a_page(site: Path) -> None:
    out = site / "out"
    found = run(site, *with_files(site), "--draws", "0", "--out", str(out))
    assert found.exit_code == 0, found.output
    kept = drysward.open(out)
    assert kept.attrs["log"].endswith("log.csv")
    assert kept.attrs["today"] == "2018-07-01"
    rows = list(csv.DictReader((out / "outlook.csv").open()))
    assert len(rows) == 2 * 2 * 4 * 123
    page = CliRunner().invoke(main, ["report", str(out), "--out", str(site / "page.html")])
    assert page.exit_code == 0, page.output
    text = (site / "page.html").read_text()
    for part in ("Odds by date", "Water in the root zone", "Water in storage ahead", "Summary"):
        assert part in text
    assert "nan" not in text.lower().replace("nanmax", "").split("<script>")[0]
    for part in ("Odds by date: footprinting and death", "Water in the root zone: other plans"):
        assert f"<summary>{part}</summary>" in text
    again = "drysward season scenario.toml --today 2018-07-01 --log log.csv --forecast FILE"
    assert again in " ".join(text.split())
    assert "was written straight from Python" not in text
    # Of seven ways none is not fewer than one of a hundred.
    assert [ways_of_100(p) for p in (0.0, 0.004, 2 / 7, 1.0)] == ["none", "<1", "29", "all"]
    assert "&lt;1" not in text


def test_json_has_plain_numbers(site: Path) -> None:
    found = run(site, "--draws", "0", "--format", "json")
    tables = {table["key"]: table for table in json.loads(found.stdout)["tables"]}
    assert set(tables) == {"wilt_by_date", "dormant_by_date", "water", "today"}
    row = tables["water"]["rows"][1]
    assert row["plan"] == "refill"
    assert row["water_50%"] <= row["water_80%"] <= row["water_90%"]


def test_a_hot_dry_forecast_raises_the_odds_of_the_first_week(site: Path) -> None:
    scenario = drysward.load(site / "fields.toml")
    plain = drysward.season(scenario, draws=0, usual=False)
    led = drysward.season(scenario, forecast=site / "forecast.csv", draws=0, usual=False)
    where = {"field": "sand", "plan": "none", "quantile": 0.5}
    early = [one["depletion"].sel(where).isel(date=2).item() for one in (plain, led)]
    assert early[1] > early[0]


def test_an_empty_tank_is_said_with_its_date(site: Path) -> None:
    found = run(site, "--storage", "2000 gal", "--draws", "0")
    assert found.exit_code == 0, found.output
    assert "the water runs out in all of 100 ways" in " ".join(found.stdout.split())


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["--today", "June 1"], "June 1 is not a date; such as 2026-07-01"),
        (["--today", "2018-08-01"], "a day to 2018-07-01"),
        (["--until", "2018-06-01"], "2018-06-01 is before 2018-07-01"),
        (["--outlook", "dry"], "is not three chances"),
        (["--outlook", "0.5,0.5,0.5"], "add up to 1"),
        (["--storage", "2000"], "'2000' has no unit"),
        (["--log", "none.csv"], "none.csv"),
    ],
)
def test_what_cannot_be_is_refused_with_exit_code_2(
    site: Path, words: list[str], text: str
) -> None:
    found = run(site, *words)
    assert found.exit_code == 2
    assert text in found.output


def test_draws_give_todays_state_a_spread(site: Path) -> None:
    scenario = drysward.load(site / "fields.toml")
    found = drysward.season(scenario, log=site / "log.csv", usual=False)
    assert found.attrs["draws"] == 7
    today = found["past_depletion"].sel(field="sand", plan="none").isel(past_date=-1)
    assert float(today.sel(quantile=0.9) - today.sel(quantile=0.1)) > 0.01
