"""``drysward compare --show feeding`` as a person sees it, and what feeding changes."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.faults import FaultyInput
from drysward.results.dataset import FEED
from drysward.results.feeding_text import (
    CAUTION,
    doses_of,
    feeding_sentences,
    month_order,
    state_of,
    weeks_text,
)
from drysward.results.text import signed, with_range
from drysward.screen.feeding_answers import feeding
from drysward.screen.formats import as_text
from drysward.studies.doubt.crossed import FED, crossed, drawn_point

YEARS = (1, 12)
SPAN = ("--years", "1-12")


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("out")
    return ask("compare", "feeding", "--show", "feeding", *SPAN, "--out", str(folder)), folder


@pytest.fixture(scope="module")
def summary() -> xr.Dataset:
    scenario = drysward.shipped("feeding")
    result = drysward.run(scenario, years=YEARS)
    effect = drysward.feeding_effect(scenario, result, YEARS)
    return drysward.summarize(result, scenario, feeding=effect)


def test_every_table_field_and_plan_is_shown(told: tuple[Result, Path]) -> None:
    done, _ = told
    assert done.exit_code == 0, done.stderr
    flowing = " ".join(done.stdout.split())
    for heading in (
        "Nitrogen of a year, and clippings, lb/1000 ft2", "What leaves in a year, lb/1000 ft2",
        "How feeding shifts wilt, water and recovery", "Irrigation water with salt or nitrogen",
        "by month, lb/1000 ft2", "Stadium", "Practice field", "drysward check, or --detail",
    ):  # fmt: skip
        assert heading in flowing, heading
    for plan in drysward.shipped("feeding").plans:
        first_word = plan.label.split()[0]
        assert sum(line.strip().startswith(first_word) for line in done.stdout.splitlines()) >= 6
    assert CAUTION in flowing
    assert "nan" not in done.stdout


@pytest.mark.parametrize("width", [80, 100, 160])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_it_fits_a_terminal(summary: xr.Dataset, width: int, units: str) -> None:
    text = as_text(feeding(summary, drysward.shipped("feeding"), units), width)
    assert max(map(len, text.splitlines())) <= width
    assert "…" not in text
    unit = "lb/1000 ft2" if units == "us" else "kg/ha"
    assert unit in text
    assert ("kg/ha" if units == "us" else "lb/1000") not in text


def test_numbers_are_those_of_the_file(told: tuple[Result, Path]) -> None:
    done, folder = told
    text = done.stdout.partition("Nitrogen of a year")[2].partition("Practice field")[0]
    row = next(line for line in text.splitlines() if line.startswith("No irrigation"))
    with xr.open_dataset(folder / "results.nc") as kept:
        one = kept.sel(field="stadium", plan="none").load()
    fed = one["feed_applied_n_mean"].item() * 0.0204816
    doses = one["feed_doses_mean"].item()
    assert 0.0 < doses < 12.0
    assert float(row.split()[2]) == pytest.approx(fed, abs=0.0051)
    assert f"{doses:.1f} of 12" in row
    weeks = one["feed_days_hungry_mean"].item() / 7.0
    assert f"{weeks:.0f} ({100 * one['feed_hungry_years'].item():.0f})" in row
    plain = one["feed_water_plain"].item()
    assert plain == one["feed_water_fed"].item() == 0.0


@pytest.mark.slow
def test_json_has_every_number_in_a_table() -> None:
    run = ("compare", "feeding", "--show", "feeding", "--years", "1-3", "--format", "json")
    assert '"feeding"' not in ask(*run).stdout  # the calendar of the doses
    done = ask(*run, "--detail")
    assert done.exit_code == 0, done.stderr
    tables = json.loads(done.stdout)["tables"]
    keys = set(tables) if isinstance(tables, dict) else {table["key"] for table in tables}
    assert keys >= {
        "feeding", "feeding_turf", "feeding_losses", "feeding_effect", "feeding_water",
        "feeding_months",
    }  # fmt: skip


def test_the_first_screen_has_a_line_where_a_field_is_fed() -> None:
    done = ask("compare", "feeding", *SPAN, "--draws", "0")
    assert done.exit_code == 0, done.stderr
    flowing = " ".join(done.stdout.split())
    assert re.search(
        r"Feeding “Stadium” gets 4\.60 lb/1000 ft2 of nitrogen a year and 0\.\d\d more with the "
        r"water under “.*?”: "
        r"(none|<?\d+) of \d+ growing weeks .*? leaches \(1 year in 10 over 0\.\d\d\)\.",
        flowing,
    )
    assert "More: --show feeding" in flowing
    plain = ask("compare", "demo", "--years", "1-3", "--draws", "0")
    assert plain.exit_code == 0, plain.stderr
    assert "nitrogen" not in plain.stdout


def test_a_scenario_without_feeding_is_told_in_a_line(tmp_path: Path) -> None:
    done = ask("compare", "demo", "--show", "feeding", "--out", str(tmp_path / "out"))
    assert done.exit_code == 2
    assert not done.stdout
    (line,) = done.stderr.splitlines()
    assert line.startswith("fields: no field is fed; add to a field")
    assert line.endswith('feeding = "cool-season on sand"')
    assert not (tmp_path / "out").exists()


def test_the_effect_is_that_of_a_run_without_feeding(summary: xr.Dataset) -> None:
    scenario = drysward.shipped("feeding")
    with pytest.raises(FaultyInput, match="no field is fed"):
        drysward.feeding_effect(drysward.shipped("demo"))
    effect = drysward.feeding_effect(scenario, years=YEARS)
    demo = drysward.loads(re.sub(r"\[fields\.\w+\.feeding\][^[]*", "", scenario.text), Path())
    plain = drysward.run(demo, years=YEARS)
    here = {"field": "practice", "plan": "refill"}
    water = plain["irrigation_gross"].sel(here)
    assert effect["water_plain"].sel(here).item() == water.mean().item()
    fed = drysward.run(scenario, years=YEARS)["irrigation_gross"].sel(here)
    assert fed.mean() != water.mean()
    change = (fed - water).values
    assert effect["water_change"].sel(here).item() == pytest.approx(change.mean())
    n = min(int(plain.attrs["independent_years"]), change.size)
    error = change.std(ddof=1) / np.sqrt(n)
    assert effect["water_change_se"].sel(here).item() == pytest.approx(error)
    xr.testing.assert_allclose(
        summary["feed_wilt_change"], effect["wilt_change"].rename("feed_wilt_change")
    )


def test_draws_of_feeding_are_runs_of_their_numbers() -> None:
    """What is drawn of a fed field is what the scenario gives with these numbers."""
    scenario = drysward.shipped("feeding")
    drawn = drysward.draws(scenario, 2, years=YEARS, keep=True)
    cross = crossed(scenario, 2, years=YEARS)
    row = cross.draws.rows()[1]
    point = drawn_point(scenario, tomllib.loads(scenario.text), scenario.plans, row)
    run = drysward.run(point.scenario, years=YEARS)
    likely = drysward.run(scenario, years=YEARS)
    for name in FED:
        one = run[name].mean("year")
        got = drawn[f"draw_{name}"].sel(draw=2, drop=True)
        assert got.values == pytest.approx(one.values, rel=1e-9), name
        both = drawn[f"draw_{name}"].mean("draw").values
        assert drawn[f"doubt_{name}"].values == pytest.approx(both), name
        assert drawn[f"doubt_{name}_low"].attrs["units"] == run[name].attrs["units"]
    leached = (x["feed_leached_n"].mean("year").values for x in (run, likely))
    first, second = leached
    assert (abs(first - second) > 1e-6).all()


@pytest.mark.slow
def test_what_is_not_known_is_shown_with_draws() -> None:
    done = ask("compare", "feeding", "--show", "feeding", *SPAN, "--draws", "2")
    assert done.exit_code == 0, done.stderr
    table = done.stdout.partition("What is not known: mean of 2 draws")[2]
    row = next(line for line in table.splitlines() if line.startswith("Refill"))
    assert re.search(r"\d\.\d\d \(0\.\d\d to \d\.\d\d\)", row)
    table = done.stdout.partition("Shift by feeding, over all that soil and turf may be: mean of 2")
    row = next(line for line in table[2].splitlines() if line.startswith("No irrigation"))
    assert re.search(r"[+-]\d+ \([+-]\d+ to [+-]\d+\)", row)
    assert "Shift by feeding" not in table[0]
    drawn = drysward.draws(drysward.shipped("feeding"), 2, years=YEARS, feeding_effect=True)
    words = ("--show", "feeding", *SPAN, "--draws", "2", "--format", "json", "--units", "metric")
    tables = json.loads(ask("compare", "feeding", *words).stdout)["tables"]
    shift = next(one for one in tables if one["key"] == "feeding_effect_draws")
    for row in shift["rows"]:
        one = drawn.sel(field=row["field"], plan=row["plan"])
        for name in ("below", "wilt", "recovery", "water"):
            for end in ("", "_low", "_high"):
                wanted = one[f"doubt_feed_{name}_change{end}"].item()
                shown = row[f"{name}_change{end}"]
                assert (np.nan if shown is None else shown) == pytest.approx(wanted, nan_ok=True)
    without = ask("compare", "feeding", "--show", "feeding", "--years", "1-3", "--draws", "0")
    assert without.exit_code == 0, without.stderr
    assert "What is not known" not in without.stdout
    assert "Shift by feeding" not in without.stdout


def test_fields_that_are_not_named_are_counted(summary: xr.Dataset) -> None:
    for n, end in ((6, "."), (7, "1 more field is fed."), (8, "2 more fields are fed.")):
        several = summary.isel(field=[0] * n).assign_coords(field=[f"f{i}" for i in range(n)])
        told = feeding_sentences(several, "none", "us")
        assert len([text for text in told if " gets " in text]) == 6
        assert told[-1].endswith(end)


def test_one_week_is_hungry_and_two_are(summary: xr.Dataset) -> None:
    for hungry, lush, words in (
        (7.0, 0.0, "1 of 20 growing weeks is hungry;"),
        (14.0, 7.0, "2 of 20 growing weeks are hungry and 1 lush;"),
        (0.0, 2.0, "<1 of 20 growing weeks is lush;"),
        (0.0, 0.0, "none of 20 growing weeks is hungry or lush;"),
    ):
        found = {"growing_days": 140.0, "days_hungry": hungry, "days_lush": lush}
        one = summary.assign({
            f"{FEED}{name}_mean": xr.full_like(summary[f"{FEED}{name}_mean"], days)
            for name, days in found.items()
        })  # fmt: skip
        assert words in feeding_sentences(one, "none", "us")[0]


def test_weeks_and_leaching_have_the_range_of_the_draws(summary: xr.Dataset) -> None:
    # 48.8 kg/ha are 1 lb/1000 ft2.
    drawn = {
        "days_hungry": (70.0, 0.0, 250.0), "days_lush": (7.0, 0.0, 21.0),
        "leached_n": (10.0, 1.0, 20.0),
    }  # fmt: skip
    one = summary.assign({
        f"doubt_{FEED}{name}{end}": xr.full_like(summary[f"{FEED}{name}_mean"], days)
        for name, values in drawn.items()
        for end, days in zip(("", "_low", "_high"), values, strict=True)
    })  # fmt: skip
    told = feeding_sentences(one, "none", "us")
    assert "(over the draws 0 to all hungry, 0 to 3 lush);" in told[0]
    of_draws = ", and over the draws 0.20 (0.02 to 0.41)."
    assert " leaches with the likely numbers (1 year in 10 over " in told[0]
    assert told[0].endswith(of_draws)
    # Not watered, it gets nothing with the water.
    assert "with the water" not in told[0]
    assert re.search(r"and 0\.\d\d more with the water", feeding_sentences(one, "refill", "us")[0])
    worst = one[f"{FEED}leached_n_1in10"]
    of_few_years = one.assign({worst.name: xr.full_like(worst, np.nan)})
    told = feeding_sentences(of_few_years, "none", "us")
    assert told[0].endswith(f" leaches with the likely numbers{of_draws}")


def test_the_hungriest_fields_are_named(summary: xr.Dataset) -> None:
    names = [f"f{i}" for i in range(8)]
    several = summary.isel(field=[0] * 8).assign_coords(field=names)
    labels = xr.DataArray([f"Field {i}" for i in range(8)], dims="field")
    several = several.assign_coords(field_label=labels)
    days = xr.zeros_like(several[f"{FEED}days_hungry_mean"])
    hungry = several.assign({
        f"{FEED}days_lush_mean": days,
        f"{FEED}days_hungry_mean": days.where(days["field"] != "f7", 70.0),
    })  # fmt: skip
    told = feeding_sentences(hungry, "none", "us")
    assert any("Field 7" in text and "10 of " in text for text in told)
    assert told[-1] == "2 more fields are fed, and are neither hungry nor lush."


def test_a_range_of_nothing_is_not_shown() -> None:
    """As of one draw, in which turf came back in both."""
    assert with_range("+26", "+26", "+26") == "+26"
    assert with_range("+26", "-", "-") == "+26"
    assert with_range("2", "0", "0") == "2 (0 to 0)"


def test_a_difference_has_its_sign() -> None:
    assert [signed(v, 0) for v in (2.6, -2.6, 0.2, -0.2, float("nan"))] == [
        "+3", "-3", "0", "0", "-"
    ]  # fmt: skip
    assert [signed(v, 1) for v in (0.04, -0.04, -1234.56)] == ["0.0", "0.0", "-1,234.6"]


@pytest.mark.parametrize("width", [60, 80, 100, 120, 200])
def test_the_shift_over_draws_fits_a_terminal(summary: xr.Dataset, width: int) -> None:
    drawn = {}
    for name, low, high in (
        ("below", -135.0, 160.0), ("wilt", -20.0, 40.0), ("recovery", -100.0, 120.0),
        ("water", -200.0, 300.0),
    ):  # fmt: skip
        mean = summary[f"feed_{name}_change"]
        drawn |= {f"doubt_feed_{name}_change": mean, f"doubt_feed_{name}_change_low": mean + low,
                  f"doubt_feed_{name}_change_high": mean + high}  # fmt: skip
    both = summary.assign(drawn).assign_attrs(doubt_draws=64)
    text = as_text(feeding(both, drysward.shipped("feeding"), "us"), width)
    assert max(map(len, text.splitlines())) <= width
    assert "Shift by feeding" in text


def test_words_of_status_weeks_and_months(summary: xr.Dataset) -> None:
    attrs = summary.attrs
    assert [state_of(s, attrs) for s in (0.1, 0.7, 1.5, float("nan"))] == [
        "hungry", "enough", "lush", "-"
    ]  # fmt: skip
    assert [weeks_text(days) for days in (0.0, 0.2, 2.0, 28.0)] == ["0", "0", "<1", "4"]
    assert month_order(summary)[0] == 1
    south = summary.assign_attrs(latitude_deg=-33.0)
    assert month_order(south)[:2] == [7, 8]
    assert doses_of(summary, "practice")[0]["day"] == 31 + 29 + 31 + 30 + 3
    assert doses_of(south, "practice")[0]["day"] == 31 + 29 + 31 + 30 + 31 + 30 + 31 + 31 + 3




def test_the_ledger_shows_nitrogen_of_a_field_that_is_fed() -> None:
    words = ("--field", "practice", "--plan", "refill", "--year", "3", "--units", "metric")
    done = ask("ledger", "feeding", *words)
    assert done.exit_code == 0, done.stderr
    table = done.stdout.partition("Nitrogen and clippings")[2]
    days = [line.split() for line in table.splitlines() if line[2:3] == "-"]
    shown = {day[0]: day[1:] for day in days}
    assert len(shown) == 365
    account = drysward.ledger(drysward.shipped("feeding"), "practice", "refill", 3)
    assert float(account["nitrogen_leached"].max()) > 0.1
    for i in (0, 123, int(np.argmax(account["nitrogen_leached"].values))):
        one = account.isel(day=i)
        assert shown[str(account["month_day"].values[i])] == [
            f"{one['nitrogen_status'].item():.2f}", f"{one['mineral_nitrogen'].item():.1f}",
            f"{one['nitrogen_leached'].item():.2f}", f"{one['clippings'].item():.1f}",
        ]  # fmt: skip
    done = ask("ledger", "feeding", *words, "--by-month")
    assert done.exit_code == 0, done.stderr
    table = done.stdout.partition("Nitrogen and clippings")[2]
    months = [line.split() for line in table.splitlines()]
    july = next(words for words in months if words[:1] == ["Jul"])
    of_july = account.isel(day=account["month"].values == 7)
    assert july[1:] == [
        f"{of_july['nitrogen_status'].mean().item():.2f}",
        f"{of_july['mineral_nitrogen'].values[-1]:.1f}",
        f"{of_july['nitrogen_leached'].sum().item():.1f}",
        f"{of_july['clippings'].sum().item():,.1f}",
    ]
    plain = ask("ledger", "demo", "--field", "practice", "--plan", "none", "--year", "3")
    assert plain.exit_code == 0, plain.stderr
    assert "Nitrogen" not in plain.stdout


@pytest.fixture
def one_field_fed(tmp_path: Path) -> Path:
    text = drysward.shipped("demo").text
    file = tmp_path / "one.toml"
    file.write_text(f'{text}\n[fields.stadium.feeding]\nplan = "cool-season on sand"\n')
    return file


def test_fields_beside_one_that_is_fed_keep_names_areas_and_water(one_field_fed: Path) -> None:
    scenario = drysward.load(one_field_fed)
    result = drysward.run(scenario, years=(1, 2))
    effect = drysward.feeding_effect(scenario, years=(1, 2))
    whole = drysward.summarize(result, scenario, feeding=effect)
    for name in ("field_label", "area_m2", "is_fed"):
        np.testing.assert_array_equal(whole[name], result[name])
    assert [text.split("”")[0] for text in feeding_sentences(whole, "none", "us")] == ["“Stadium"]
    done = ask("compare", str(one_field_fed), "--years", "1-2", "--draws", "0", "--show", "feeding")
    assert done.exit_code == 0, done.stderr
    assert "nan" not in done.stdout.lower()
    first = ask("compare", str(one_field_fed), "--years", "1-2", "--draws", "0")
    assert "Practice field, 1.80 acre" in first.stdout
    assert "does not hold" not in first.stdout
