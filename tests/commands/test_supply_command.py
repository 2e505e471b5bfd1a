"""``drysward supply`` as a person sees it."""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.results.supply import supply_answers

YEARS = ("--years", "2001-2030")


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, ["supply", *words])


def changed(tmp_path: Path, *changes: tuple[str, str]) -> str:
    """The shipped pond scenario with some text replaced."""
    text = (files("drysward.scenarios") / "pond.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("out")
    return ask("pond", *YEARS, "--out", str(folder)), folder


def test_every_part_is_shown(told: tuple[Result, Path]) -> None:
    done, _ = told
    assert done.exit_code == 0, done.stderr
    for part in (
        "Water of the mean year, Mgal", "Town mains", "How far the supply can be relied on",
        "resil-", "The store in the mean year", "seeped", "spilt", "In store at the month's end",
        "1 in 10", "Shortage of the mean year by field and month", "What it does to the turf",
        "Whole site: costs of a year, USD", "lost", "Whole site: first cost and life, USD",
        "present", "Least size", "90 % limits", "A shade less", "decides",
        "What may be traded", "12.0 gpm", "days re-",
    ):  # fmt: skip
        assert part in done.stdout, part
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert "nan" not in done.stdout


def test_cautions_by_what_the_supply_is_made_of(told: tuple[Result, Path]) -> None:
    flowing = " ".join(told[0].stdout.split())
    for caution in ("A pond drowns people", "a right or a permit", "backflow preventer"):
        assert caution in flowing
    assert "signs and separate pipes" not in flowing


def test_what_is_kept_opens_as_it_was(told: tuple[Result, Path]) -> None:
    _, folder = told
    assert sorted(path.name for path in folder.iterdir()) == [
        "results.nc", "supply.csv", "tradeoff.csv"
    ]  # fmt: skip
    scenario = drysward.shipped("pond")
    run = drysward.run(scenario, years=(2001, 2030))
    answers = supply_answers(run)
    with xr.open_dataset(folder / "results.nc") as kept:
        for dataset in (run, answers):
            for name, values in dataset.data_vars.items():
                assert kept[name].dims == values.dims, name
                xr.testing.assert_equal(kept[name].astype(values.dtype), values)
        for name in ("cost", "supply_asked", "sizing_size", "sizing_curve", "store_by_month"):
            assert kept[name].attrs["long_name"], name
            assert kept[name].attrs["units"], name
        assert kept["sizing_against"].attrs["units"] == "m3 h-1"
        assert kept.sizes["point"] == kept["sizing_curve"].size
    with (folder / "tradeoff.csv").open(encoding="utf-8") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == ["source rate of well (gpm)", "least storage (gal)"]
    assert len(rows) == 1 + scenario.sizing.points  # type: ignore[union-attr]
    with (folder / "supply.csv").open(encoding="utf-8") as stream:
        by = {(r["quantity"], r["plan"], r["source"]): r for r in csv.DictReader(stream)}
    gallons = float(by["drawn_by_source", "refill", "well"]["value"])
    drawn = answers["drawn_by_source"].sel(plan="refill", source="well").item()
    assert gallons == pytest.approx(drawn / 0.003785411784, rel=1e-6)
    assert by["drawn_by_source", "refill", "well"]["unit"] == "gal"


def test_no_sizing_and_metric(tmp_path: Path) -> None:
    done = ask("pond", *YEARS, "--no-sizing", "--units", "metric", "--out", str(tmp_path))
    assert done.exit_code == 0, done.stderr
    assert "Water of the mean year, m3" in done.stdout
    assert "gal" not in done.stdout
    assert "Least size" not in done.stdout
    assert not (tmp_path / "tradeoff.csv").exists()


def test_nothing_suffices_is_said(tmp_path: Path) -> None:
    mine = changed(tmp_path, ('rate = "12 gpm"', 'rate = "1 gpm"'), ("points = 6", "points = 2"))
    done = ask(mine, *YEARS)
    assert done.exit_code == 0, done.stderr
    assert "nothing suffices within the sizes tried; the fewest years" in " ".join(
        done.stdout.split()
    )


def test_without_prices_no_costs(tmp_path: Path) -> None:
    text = Path(changed(tmp_path)).read_text(encoding="utf-8")
    head, _, rest = text.partition("tariff = [")
    _, _, rest = rest.partition("\n]\n")
    head, sizing = head + rest.partition("[costs]")[0], rest.partition("[sizing]")[2]
    (tmp_path / "mine.toml").write_text(f"{head}[sizing]{sizing}", encoding="utf-8")
    done = ask(str(tmp_path / "mine.toml"), *YEARS, "--no-sizing")
    assert done.exit_code == 0, done.stderr
    assert "cost" not in done.stdout.lower()


def test_progress_is_not_among_the_answers(told: tuple[Result, Path]) -> None:
    assert "Trying sizes" not in told[0].stdout
    assert "Wrote" in told[0].stderr


@pytest.mark.parametrize(
    "words, said",
    [
        (["demo"], "supply: is missing; a table [supply] in the scenario"),
        (["pnod"], "none ships as 'pnod'"),
        (["nowhere.toml"], "nowhere.toml"),
        (["pond", "--years", "1900-1910"], "no complete year"),
        (["pond", "--years", "1900-x"], "is not a year or two"),
        (["pond", "--units", "furlongs"], "furlongs"),
    ],
)
def test_what_is_wrong_is_said_in_a_line(words: list[str], said: str) -> None:
    done = ask(*words)
    assert done.exit_code == 2
    assert said in done.stderr
    assert "Traceback" not in done.output


def test_a_folder_that_cannot_be_written_is_told_before_the_run(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = ask("pond", "--out", str(tmp_path / "file"))
    assert done.exit_code == 2
    assert "cannot be written" in done.stderr
