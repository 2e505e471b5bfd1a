"""``drysward compare --show play`` as a person sees it, what it writes, and play in the ledger."""

from __future__ import annotations

import csv
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.files import RECORD
from drysward.results.play import play_answers
from drysward.screen.compare import spread_cell
from drysward.screen.formats import as_text
from drysward.screen.play import play

YEARS = (1, 6)
SPAN = ("--years", "1-6")
KEYS = ("turf_play", "skinned_play")
_DAYS = ("days_hard", "days_mud", "days_airless", "days_weed_prone", "disease_nights")
_EVENTS = {f"events_{kind}_share": 100.0 for kind in ("playable", "hard", "wet")}
TURF = {
    **{f"{name}_mean": 1.0 for name in (*_DAYS, "mean_hardness")}, "longest_airless_most": 1.0,
    "peak_worn_mean": 100.0, "peak_root_loss_mean": 100.0, **_EVENTS,
}  # fmt: skip
SKINNED = {
    **{f"{name}_mean": 1.0 for name in ("days_dust", "days_mud", "days_standing")}, **_EVENTS
}


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("out")
    words = ("--show", "play", "--detail", "--draws", "2", *SPAN, "--out", str(folder))
    return ask("compare", "match-days", *words), folder


def test_every_field_and_plan_is_shown(told: tuple[Result, Path]) -> None:
    done, _ = told
    assert done.exit_code == 0, done.stderr
    scenario = drysward.shipped("match-days")
    flowing = " ".join(done.stdout.split())
    for heading in ("Play on turf", "Play on skinned surfaces", "Stadium", "Skinned infield"):
        assert heading in flowing
    for plan in scenario.plans:
        first_word = plan.label.split()[0]
        assert sum(line.strip().startswith(first_word) for line in done.stdout.splitlines()) >= 3
    assert "hard: over 100 g" in flowing
    assert "hard: over 130 g" in flowing
    assert "dust" in flowing
    assert "Across 2 draws of the uncertain numbers" in flowing


def test_it_fits_a_terminal_and_hides_nothing(told: tuple[Result, Path]) -> None:
    lines = told[0].stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert "…" not in told[0].stdout
    assert "nan" not in told[0].stdout


def test_cautions_are_shown(told: tuple[Result, Path]) -> None:
    flowing = " ".join(told[0].stdout.split())
    assert "only a measurement by the applicable test method decides" in flowing
    assert "Disease nights that favor leaf disease" in flowing
    assert "those with judged = false are not among them" in flowing
    assert "a 2.25 kg hammer" in flowing
    assert "judged on “Stadium” at 100 g, on “Practice field” at 130 g: set hard_above" in flowing


def test_a_row_adds_up(told: tuple[Result, Path]) -> None:
    """Playable, hard, wet and frozen: all events, but for those both hard and wet."""
    _, folder = told
    with xr.open_dataset(folder / "results.nc") as kept:
        kinds = ("playable", "hard", "wet", "frozen")
        shares = xr.concat([kept[f"play_events_{kind}_share"] for kind in kinds], "kind")
        assert float(shares.sum("kind").min()) >= 1.0 - 1e-9
        playable = shares[0].sel(field="practice", plan="refill_morning").item()
    done = ask("compare", "match-days", "--show", "play", "--draws", "0", *SPAN)
    text = " ".join(done.stdout.partition("Practice field; hard")[2].split())
    assert re.search(rf"Refill, .*? {100.0 * playable:.0f}(±\d+)?( |$)", text)


def test_each_number_has_its_range_over_draws(told: tuple[Result, Path]) -> None:
    """The table is that of the likely numbers above, and 5 to 95% of the draws below."""
    done, folder = told
    words = ("--show", "play", "--draws", "2", *SPAN, "--format", "json")
    tables = json.loads(ask("compare", "match-days", *words).stdout)["tables"]
    turf, skinned = (next(t for t in tables if t["key"] == key) for key in KEYS)
    with xr.open_dataset(folder / "results.nc") as file:
        kept = file.load()
    for table, shown in ((turf, TURF), (skinned, SKINNED)):
        for row in table["rows"]:
            one = kept.sel(field=row["field"], plan=row["plan"])
            for key, factor in shown.items():
                name, _, over = key.rpartition("_")
                ends = {f"_{over}": f"play_{key}"}
                if over != "most":
                    ends["_se"] = f"play_{name}_se"
                ends |= {end: f"doubt_play_{name}{end}" for end in ("_low", "_high")}
                for end, variable in ends.items():
                    wanted = one[variable].item() * factor
                    if np.isnan(wanted):  # of two draws the longest spell has no range
                        assert row[f"{name}{end}"] is None
                        continue
                    assert row[f"{name}{end}"] == pytest.approx(wanted, rel=1e-6, abs=1e-9), key
    of = kept.sel(field="practice", plan="none")
    low, high = (of[f"doubt_play_mean_hardness_{end}"].item() for end in ("low", "high"))
    assert high > low + 1.0
    lines = done.stdout.partition("Practice field; hard")[2].splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("No irrigation"))
    assert f" {low:.0f}-{high:.0f} " in lines[first + 1]
    flowing = " ".join(done.stdout.split())
    assert flowing.count("with the likely numbers; below it 5 to 95% of 2 draws") == 1


def test_without_draws_there_is_no_range() -> None:
    done = ask("compare", "match-days", "--show", "play", "--draws", "0", "--years", "1-3")
    flowing = " ".join(done.stdout.split())
    assert "5 to 95%" not in flowing
    assert "without draws numbers of play have no range" in flowing


@pytest.mark.parametrize("width", [60, 80, 100, 120, 200])
def test_ranges_fit_every_width(told: tuple[Result, Path], width: int) -> None:
    scenario = drysward.shipped("match-days")
    result = drysward.run(scenario, years=(1, 3))
    drawn = drysward.draws(scenario, 2, years=(1, 3))
    summary = drysward.summarize(result, scenario, draws=drawn)
    lines = as_text(play(summary), width).splitlines()
    assert max(map(len, lines)) <= width
    assert not any("…" in line for line in lines)


def test_a_mean_beyond_its_range_shows_it() -> None:
    """One draw in many has it: a mean of 2 with none for 5 to 95% of the draws."""
    cell = spread_cell("mud", ("a", "b", "c", "d"), 0)
    assert cell.write(2.1, 0.2, 0.0, 0.0) == "2\n0-0"
    assert cell.write(2.1, 1.2, 2.0, 2.4) == "2±1"
    assert cell.write(2.1, 1.2, 0.4, 9.6) == "2±1\n0-10"
    assert cell.write(math.nan, math.nan, math.nan, math.nan) == "-"


def test_what_is_kept_says_what_it_is(told: tuple[Result, Path]) -> None:
    done, folder = told
    assert {path.name for path in folder.iterdir()} == {
        RECORD, "results.nc", "summary.csv", "daily-odds.csv", "play.csv", "site.csv", "doubt.csv"
    }  # fmt: skip
    for name in ("results.nc", "play.csv"):
        assert f"Wrote {folder / name}" in done.stderr
    run = drysward.run(drysward.shipped("match-days"), years=YEARS)
    answers = play_answers(run)
    with xr.open_dataset(folder / "results.nc") as kept:
        for name, values in answers.data_vars.items():
            xr.testing.assert_equal(kept[f"play_{name}"], values.rename(f"play_{name}"))
        played = [str(name) for name in kept.data_vars if str(name).startswith("play_")]
        assert {f"play_{name}" for name in answers.data_vars} < set(played)
        for name in played:
            assert kept[name].attrs["units"], name
            assert kept[name].attrs["long_name"], name
        for name, units in (
            ("play_days_hard", "d"), ("play_rain_kept_off", "mm"), ("play_use_hours", "h"),
            ("play_peak_worn", "1"), ("play_cover_labor_mean", "h"),
        ):  # fmt: skip
            assert kept[name].attrs["units"] == units, name


@pytest.mark.parametrize("units, unit, per_mm", [("us", "in", 25.4), ("metric", "mm", 1.0)])
@pytest.mark.slow
def test_play_csv(
    told: tuple[Result, Path], tmp_path: Path, units: str, unit: str, per_mm: float
) -> None:
    folder = told[1]
    if units == "metric":
        folder = tmp_path
        words = ("--draws", "0", *SPAN, "--units", "metric", "--out", str(folder))
        done = ask("compare", "match-days", *words)
        assert done.exit_code == 0, done.stderr
        assert "Disease nights" not in done.stdout  # play is kept even when stress is shown
    with (folder / "play.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 3 * 5
    by = {(row["field"], row["plan"]): row for row in rows}
    stadium = by["stadium", "refill_morning"]
    assert stadium["years"] == "6"
    with xr.open_dataset(told[1] / "results.nc") as kept:
        one = kept.sel(field="stadium", plan="refill_morning")
        kept_off = float(one["play_rain_kept_off_mean"])
        assert float(stadium["days_mud_mean (d)"]) == pytest.approx(
            float(one["play_days_mud_mean"]), rel=1e-6
        )
    assert kept_off > 0.0
    assert float(stadium[f"rain_kept_off_mean ({unit})"]) == pytest.approx(
        kept_off / per_mm, rel=1e-6
    )
    assert float(by["infield", "none"]["days_dust_mean (d)"]) > 0.0


def test_a_scenario_without_play_is_told_in_a_line(tmp_path: Path) -> None:
    done = ask("compare", "demo", "--show", "play", "--out", str(tmp_path / "out"))
    assert done.exit_code == 2
    assert not done.stdout
    (line,) = done.stderr.splitlines()
    assert line.startswith("fields: no field has play; add to a field")
    assert line.endswith("play = {}")
    assert not (tmp_path / "out").exists()


def test_columns_with_nothing_in_them_are_left_out_and_named(tmp_path: Path) -> None:
    path = tmp_path / "plain.toml"
    assert ask("init", str(path), "--field", "A, 2 acre, sand_over_gravel_12in").exit_code == 0
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[fields.a]", "[fields.a]\nplay = {}"), encoding="utf-8")
    done = ask("compare", str(path), "--show", "play", "--years", "1-5")
    assert done.exit_code == 0, done.stderr
    head = done.stdout.partition("────")[0]
    assert "mud" not in head
    assert "events" not in head
    assert "Gmax, g" in head
    flowing = " ".join(done.stdout.split())
    assert re.search(r"Not shown [a-z, -]*mud.*: none on any field under any plan", flowing)
    assert "none are judged; add them under [[fields.KEY.play.events]]" in flowing
    assert "Gmax in g: the largest deceleration" in flowing


def test_the_ledger_says_that_a_plan_goes_by_the_roots_that_are_left(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    text = drysward.shipped("match-days").text.replace(
        '"native_loam", compaction = "moderate"', '"native_clay_loam", compaction = "severe"'
    )
    path.write_text(text, encoding="utf-8")
    of = ("--field", "practice", "--plan", "refill_morning", "--year", "3")
    flowing = " ".join(ask("ledger", str(path), *of).stdout.split())
    assert re.search(r"up to \d\d% of them are lost for lack of air\. The plan goes by", flowing)


def test_the_ledger_shows_hardness_of_a_field_that_is_played_on() -> None:
    done = ask("ledger", "match-days", "--field", "practice", "--plan", "none", "--year", "3")
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 100
    assert "hard" in done.stdout
    days = [line.split() for line in lines if line.strip()[2:3] == "-"]
    assert len(days) == 365
    g = [float(day[-2]) for day in days]
    assert min(g) > 30.0
    assert max(g) > min(g) + 20.0
    assert "lost for lack of air" not in done.stdout
    unplayed = ask("ledger", "demo", "--field", "practice", "--plan", "none", "--year", "3")
    assert unplayed.exit_code == 0, unplayed.stderr
    assert "hard" not in unplayed.stdout


def test_the_ledger_keeps_hardness(tmp_path: Path) -> None:
    path = tmp_path / "days.csv"
    done = ask(
        "ledger", "match-days", "--field", "stadium", "--plan", "refill_morning",
        "--year", "3", "--out", str(path),
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    account = drysward.ledger(drysward.shipped("match-days"), "stadium", "refill_morning", 3)
    with path.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [float(row["hardness"]) for row in rows] == pytest.approx(
        account["hardness"].values, rel=1e-6
    )
    assert {"air_filled", "worn", "root_loss", "mud", "frozen"} <= set(rows[0])
    assert float(account["hardness"].min()) > 40.0


def test_the_ledger_says_what_its_columns_of_play_are() -> None:
    account = drysward.ledger(drysward.shipped("match-days"), "stadium", "none", 3)
    for name in ("hardness", "air_filled", "root_loss", "hard", "mud", "standing", "dust", "worn"):
        assert account[name].attrs.get("units"), name
        assert account[name].attrs.get("long_name"), name
