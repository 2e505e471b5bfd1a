"""``drysward supply`` as a person sees it."""

from __future__ import annotations

import csv
import json
import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.files import RECORD
from drysward.results.export import supply_rows
from drysward.results.sizing_text import carriers
from drysward.results.supply import supply_answers
from drysward.scenario.changed import toml_of, without_supply
from drysward.studies.sizing import TOLERANCE

YEARS = ("--years", "1-30")
FEW_YEARS = ("--years", "1-10")  # for what does not hang on how dry the worst of them is


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, ["supply", "--draws", "0", *words])


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
    return ask("pond", *YEARS, "--detail", "--out", str(folder)), folder


def test_every_part_is_shown(told: tuple[Result, Path]) -> None:
    done, _ = told
    assert done.exit_code == 0, done.stderr
    for part in (
        "Water of the mean year", "demand", "delivered", "Town", "mains", "Reliability", "Mgal",
        "over", "5%", "any", "days", "worst", "spell", "restricted",
        "Storage in the mean year", "seeped", "spilled", "In storage at the end of the month",
        "1 in 10", "Shortage of the mean year by cause", "restricted: restrictions forbid it",
        "Shortage of the mean year by month", "Turf: years with the stage",
        "Whole site: costs of a year, USD", "lost", "Whole site: first cost and life, USD",
        "present", "Least size", "90% limits", "Next smaller size fails",
        ", in simulated year ", "Trade-off: source rate of well against storage", "12.0",
        "Where the water comes from", "water from", "of it through", "yearly",
    ):  # fmt: skip
        assert part in done.stdout, part
    assert max(map(len, done.stdout.splitlines())) <= 100
    assert "nan" not in done.stdout


def test_the_answer_comes_first_and_is_short() -> None:
    done = ask("pond", *FEW_YEARS)
    lines = done.stdout.splitlines()
    assert lines[1].startswith("A 1-in-10 dry year demands ")
    assert len(lines) <= 80
    flowing = " ".join(done.stdout.split())
    first = flowing.partition("Least size")[0]
    for part in (
        "The supply as given is short by more than 5% of the demand in",
        "Over all years the main cause is",
        "With the likely soil and grass", "keeps the goal", "--draws 64",
    ):  # fmt: skip
        assert part in first
    assert "over simulated years 1 to" in done.stderr
    assert "from its climate table" in done.stderr
    assert "Reliability with storage of 2.000 Mgal as given and the likely numbers" in flowing
    assert "Turf: years with the stage, with storage of 2.000 Mgal as given" in flowing
    assert "Refill at 40% depletion" in flowing
    assert "Deficit, 60% ET" not in flowing
    assert "by month" not in flowing.partition("More")[0]


def test_one_year_is_not_called_the_mean_year() -> None:
    done = ask("pond", "--years", "12-12", "--no-sizing", "--detail")
    assert done.exit_code == 0, done.stderr
    assert "mean year" not in done.stdout
    assert "Water of simulated year 12 of 200 with the supply as given" in done.stdout
    assert "1 in 10" not in done.stdout


def test_cautions_by_what_the_supply_is_made_of(told: tuple[Result, Path]) -> None:
    flowing = " ".join(told[0].stdout.split())
    for caution in ("A pond drowns people", "a right or a permit", "backflow preventer"):
        assert caution in flowing
    assert "signs and separate pipes" not in flowing


def test_what_is_kept_opens_as_it_was(told: tuple[Result, Path]) -> None:
    _, folder = told
    assert sorted(path.name for path in folder.iterdir()) == [
        RECORD, "results.nc", "supply.csv", "tradeoff.csv"
    ]  # fmt: skip
    scenario = drysward.shipped("pond")
    run = drysward.run(scenario, years=(1, 30))
    answers = supply_answers(run)
    with xr.open_dataset(folder / "results.nc") as kept:
        for dataset in (run, answers):
            for name, values in dataset.data_vars.items():
                assert kept[name].dims == values.dims, name
                xr.testing.assert_equal(kept[name].astype(values.dtype), values)
        for name in ("cost", "supply_demand", "sizing_size", "sizing_curve", "storage_by_month"):
            assert kept[name].attrs["long_name"], name
            assert kept[name].attrs["units"], name
        assert kept["sizing_against"].attrs["units"] == "m3 h-1"
        assert kept.sizes["point"] == kept["sizing_curve"].size
    with (folder / "tradeoff.csv").open(encoding="utf-8") as stream:
        rows = list(csv.reader(stream))
    assert rows[0][:2] == ["source rate of well (gpm)", "least storage (gal)"]
    assert rows[0][2:] == [
        "larger storage that fails again (gal)", "delivered (gal)", "from_storage (gal)",
        "runoff (gal)", "rain (gal)", "direct well (gal)", "direct mains (gal)",
        "filled well (gal)", "filled mains (gal)", "yearly_cost (USD)", "first_cost (USD)",
        "present_cost (USD)",
    ]  # fmt: skip
    assert len(rows) == 1 + scenario.sizing.points  # type: ignore[union-attr]
    with (folder / "supply.csv").open(encoding="utf-8") as stream:
        by = {(r["quantity"], r["plan"], r["source"]): r for r in csv.DictReader(stream)}
    gallons = float(by["drawn_by_source", "refill", "well"]["value"])
    drawn = answers["drawn_by_source"].sel(plan="refill", source="well").item()
    assert gallons == pytest.approx(drawn / 0.003785411784, rel=1e-6)
    assert by["drawn_by_source", "refill", "well"]["unit"] == "gal"


def test_no_sizing_and_metric(tmp_path: Path) -> None:
    done = ask("pond", *FEW_YEARS, "--no-sizing", "--units", "metric", "--out", str(tmp_path))
    assert done.exit_code == 0, done.stderr
    assert "Water of the mean year with the supply as given" in done.stdout
    assert "m3" in done.stdout
    assert "gal" not in done.stdout
    assert "Least size" not in done.stdout
    assert not (tmp_path / "tradeoff.csv").exists()


def test_a_row_that_fails_again_is_marked(told: tuple[Result, Path]) -> None:
    done, folder = told
    table = done.stdout.partition("Trade-off")[2].partition("Where the water")[0]
    with xr.open_dataset(folder / "results.nc") as kept:
        again = kept["sizing_curve_fails_from"].values
        assert (again > kept["sizing_curve"].values)[np.isfinite(again)].all()
        least = kept["sizing_fails_from"].item()
        assert again[2] == pytest.approx(least, rel=1e-12)  # the well as given is the third point
    assert "fails" in table
    rows = [line.split() for line in table.splitlines() if line.strip()[:1].isdigit()]
    marked = [len(row) == max(map(len, rows)) for row in rows]
    assert marked == np.isfinite(again).tolist()
    assert f" {least / 3785.411784:.3f} " in table


def test_the_curve_only_falls_or_it_is_said_why(told: tuple[Result, Path]) -> None:
    done, folder = told
    with xr.open_dataset(folder / "results.nc") as kept:
        curve = np.nan_to_num(kept["sizing_curve"].values, nan=np.inf)
        rises = (curve[1:] * (1.0 - TOLERANCE) > np.minimum.accumulate(curve)[:-1]).any()
        assert rises == bool(kept["sizing_not_monotone"].any())
    assert rises == ("does not always need less storage" in " ".join(done.stdout.split()))


@pytest.mark.slow
def test_a_larger_well_never_needs_a_larger_pond(tmp_path: Path) -> None:
    """An allowance of 800,000 gal a month, which 40 gpm could spend by the middle of it."""
    mine = changed(
        tmp_path,
        ('rate = "12 gpm"', 'rate = "20 gpm"\nallowance = { month = "800000 gal" }'),
        ('low = "8 gpm", high = "18 gpm"', 'low = "20 gpm", high = "60 gpm"'),
        ("points = 6", "points = 3"),
    )
    done = ask(mine, *YEARS, "--out", str(tmp_path / "out"))
    assert done.exit_code == 0, done.stderr
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        least = kept["sizing_curve"].values
        assert not kept["sizing_not_monotone"].any()
    assert (np.diff(least) <= TOLERANCE * least[:-1]).all()
    assert "does not always need less storage" not in " ".join(done.stdout.split())


@pytest.mark.slow
def test_the_mains_that_carry_the_load_are_named(tmp_path: Path) -> None:
    mine = changed(
        tmp_path,
        ('rate = "25 gpm"\nallowance = { month = "100000 gal" }', 'rate = "300 gpm"'),
        ('low = "0.1 Mgal"', 'low = "0 gal"'),
        ("points = 6", "points = 2"),
    )
    done = ask(mine, *FEW_YEARS, "--out", str(tmp_path / "out"))
    assert done.exit_code == 0, done.stderr
    flowing = " ".join(done.stdout.split())
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        assert kept["sizing_size"].item() == 0.0
        least = kept.sel(sizing_case="least")
        (name, share), *_ = carriers(least)
    assert name == "Town mains"
    said = f"no storage is needed: {100 * share:.0f}% of the water comes from Town mains"
    assert said in flowing


@pytest.mark.slow
def test_costs_stand_beside_sizes(tmp_path: Path) -> None:
    mine = changed(
        tmp_path,
        ('pond = "0.05 per gal"', 'pond = "15 per m3"'),
        ("discount_rate = 0.04", "discount_rate = 0.0"),
        ("points = 6", "points = 2"),
    )
    done = ask(mine, *FEW_YEARS, "--out", str(tmp_path / "out"))
    assert done.exit_code == 0, done.stderr
    assert "present" in done.stdout
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        least = kept.sel(sizing_case="least")
        assert least["sizing_first_cost"].item() == pytest.approx(15.0 * kept["sizing_size"].item())
        # Without a discount rate twenty years cost twenty times a year.
        present = least["sizing_first_cost"] + 20.0 * least["sizing_yearly_cost"]
        assert least["sizing_present_cost"].item() == pytest.approx(present.item())
        given, answers = kept.sel(sizing_case="as given"), kept.sel(plan="refill")
        assert given["sizing_delivered"].item() == pytest.approx(
            answers["delivered_mean"].item(), rel=0.02
        )


def test_nothing_suffices_is_said(tmp_path: Path) -> None:
    mine = changed(tmp_path, ('rate = "12 gpm"', 'rate = "1 gpm"'), ("points = 6", "points = 2"))
    done = ask(mine, *FEW_YEARS)
    assert done.exit_code == 0, done.stderr
    assert "nothing suffices within the sizes tried;" in " ".join(
        done.stdout.split()
    )


def test_without_prices_no_costs(tmp_path: Path) -> None:
    text = Path(changed(tmp_path, ("points = 6", "points = 2"))).read_text(encoding="utf-8")
    head, _, rest = text.partition("tariff = [")
    _, _, rest = rest.partition("\n]\n")
    head, sizing = head + rest.partition("[costs]")[0], rest.partition("[sizing]")[2]
    (tmp_path / "mine.toml").write_text(f"{head}[sizing]{sizing}", encoding="utf-8")
    done = ask(str(tmp_path / "mine.toml"), *FEW_YEARS, "--no-sizing")
    assert done.exit_code == 0, done.stderr
    assert "cost" not in done.stdout.lower()
    done = ask(str(tmp_path / "mine.toml"), *FEW_YEARS)
    assert done.exit_code == 0, done.stderr
    assert "water from" in done.stdout
    assert "Cost" not in done.stdout
    assert "USD" not in done.stdout


def test_progress_is_not_among_the_answers(told: tuple[Result, Path]) -> None:
    assert "Trying sizes" not in told[0].stdout
    assert "Wrote" in told[0].stderr


@pytest.mark.parametrize(
    "words, said",
    [
        (["demo"], "a file of 'drysward init' has one in comments: take the # from its lines"),
        (["pnod"], "did you mean 'pond'?"),
        (["nowhere.toml"], "nowhere.toml"),
        (["pond", "--years", "1900-1910"], "years: 1900 is no simulated year; 1 to 200"),
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


def test_a_ledger_by_month_adds_up_to_the_year_of_the_supply() -> None:
    words = ("ledger", "pond", "--field", "stadium", "--plan", "refill", "--year", "12")
    done = CliRunner().invoke(main, [*words, "--by-month", "--format", "json"])
    assert done.exit_code == 0, done.stderr
    tables = {table["key"]: table["rows"] for table in json.loads(done.stdout)["tables"]}
    assert len(tables["ledger_months"]) == len(tables["supply_months"]) == 13
    *months, year = tables["supply_months"]
    run = drysward.run(drysward.shipped("pond"), years=(1, 12)).sel(plan="refill", year=12)
    gallon = 0.003785411784
    short = (year["shortage"] - year["made_up"]) * gallon
    assert short > 0.0
    assert year["made_up"] > 0.0
    assert short == pytest.approx(run["supply_shortage"].item(), rel=1e-6)
    assert year["new_demand"] * gallon == pytest.approx(run["supply_demand"].item(), rel=1e-6)
    for one in (*months, year):
        of_columns = one["new_demand"] - one["shortage"] + one["made_up"]
        assert of_columns == pytest.approx(one["delivered"], abs=1e-3)
    assert "demand" not in year
    for key in ("delivered", "made_up", "inflow"):
        assert sum(one[key] for one in months) == pytest.approx(year[key])
    assert year["least"] == min(one["least"] for one in months)
    rain = run["precipitation"].isel(field=0).item() / 25.4
    assert tables["ledger_months"][-1]["precipitation"] == pytest.approx(rain)


def test_without_a_sizing_the_answer_is_of_its_plan(tmp_path: Path) -> None:
    text = (files("drysward.scenarios") / "pond.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace('plan = "refill"', 'plan = "deficit"'), encoding="utf-8")
    label = drysward.load(mine).plan_named("deficit").label
    done = ask(str(mine), "--no-sizing", "--years", "1-12")
    assert done.exit_code == 0, done.stderr
    first = " ".join(done.stdout.split()).partition(" the mean year ")[0]
    assert f"under “{label}”" in first
    # All plans are in the tables: none was sized for.
    assert "No irrigation" in done.stdout


def test_the_demand_of_dry_years_is_no_water_drawn(tmp_path: Path) -> None:
    """A supply that falls short draws less in dry years; the plan demands more in them."""
    poor = changed(tmp_path, ('rate = "12 gpm"', 'rate = "2 gpm"'))
    scenario = drysward.load(poor)
    summary = drysward.summarize(drysward.run(scenario, years=(1, 30)), scenario, supply=True)
    one = summary.sel(plan="refill", period=10.0)
    assert one["supply_demand_return"] > one["demand_mean"]
    assert one["site_demand_volume"] < one["demand_mean"]
    assert "drawn" in one["site_demand_volume"].attrs["long_name"]
    done = ask(poor, *YEARS, "--no-sizing", "--plan", "refill", "--format", "json")
    (row,) = (
        row
        for table in json.loads(done.stdout)["tables"] if table["key"] == "supply"
        for row in table["rows"] if row["plan"] == "refill"
    )  # fmt: skip
    assert row["demand_dry_year"] == pytest.approx(
        one["supply_demand_return"].item() / 3785.411784, rel=1e-6
    )
    heads, *rows = supply_rows(summary, "metric")
    kept = [dict(zip(heads, row, strict=True)) for row in rows]
    (dry,) = (
        line["value"]
        for line in kept
        if (line["quantity"], line["plan"], line["period"])
        == ("supply_demand_return", "refill", "10.0")
    )
    assert float(str(dry)) == pytest.approx(one["supply_demand_return"].item(), rel=1e-6)


def test_nights_that_restrictions_close_are_named() -> None:
    """They are no shortage, so that more of them read as a better supply."""
    said = " ".join(ask("pond", *FEW_YEARS, "--no-sizing").stdout.split())
    assert "nights that restrictions close are not counted as shortage" in said


def test_what_a_number_counts_is_said_beside_it() -> None:
    said = " ".join(ask("pond", "--years", "1-40", "--no-sizing").stdout.split())
    for part in (
        "of the shortage. To be short less often, change ", "runoff",
        "a source counts all that it gives", "count these 40 years as 24 independent ones",
        "even if that came later; a year without shortage", "Trust more simulated years than",
    ):  # fmt: skip
        assert part in said, part
    assert "of frost" not in said


def test_turf_that_frost_kills_is_named(tmp_path: Path) -> None:
    tender = ('species = "tall_fescue"', 'species = "st_augustinegrass"')
    mine = changed(tmp_path, tender)
    said = " ".join(ask(mine, "--years", "1-60", "--no-sizing").stdout.split())
    # Without irrigation drought kills it too.
    assert "Death mostly of frost: “Lower field” under “Refill at 40% depletion”" in said
    assert "“No irrigation”" not in said.partition("mostly of frost")[2]


def test_check_names_the_catchments() -> None:
    done = CliRunner().invoke(main, ["check", "pond"])
    said = " ".join(done.stdout.split())
    assert "Grandstand and gym roofs, 0.57 acre, roof" in said
    assert "Grass bank and parking lot edge, 3.00 acre, grass" in said


def test_another_plan_may_be_sized(tmp_path: Path) -> None:
    mine = changed(tmp_path, ('plan = "refill"', 'plan = "deficit"'))
    there = ask(mine, *FEW_YEARS)
    here = ask("pond", *FEW_YEARS, "--plan", "deficit", "--out", str(tmp_path / "out"))
    assert here.exit_code == 0, here.stderr
    assert here.stdout == there.stdout
    kept = xr.open_dataset(tmp_path / "out" / "results.nc")
    assert kept.attrs["sizing_plan"] == "deficit"
    # What is kept runs again, alone.
    again = drysward.loads(kept.attrs["scenario"], tmp_path)
    assert again.sizing is not None
    assert again.sizing.plan == "deficit"
    wrong = ask("pond", "--plan", "defict")
    assert wrong.exit_code == 2
    assert "deficit" in wrong.stderr


def test_a_chosen_plan_leads_without_a_sizing(tmp_path: Path) -> None:
    text = (files("drysward.scenarios") / "pond.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(text.partition("[sizing]")[0], encoding="utf-8")
    label = drysward.load(mine).plan_named("deficit").label
    done = ask(str(mine), *FEW_YEARS, "--plan", "deficit")
    assert f"under “{label}”" in " ".join(done.stdout.split()).partition(" the mean year ")[0]


def test_demand_without_a_supply() -> None:
    words = ("compare", "--draws", "2", *FEW_YEARS, "--format", "csv")
    done = CliRunner().invoke(main, [*words, "pond", "--without-supply"])
    assert done.exit_code == 0, done.stderr
    limited = CliRunner().invoke(main, [*words, "pond"])
    assert done.stdout != limited.stdout
    refused = CliRunner().invoke(main, [*words, "demo", "--without-supply"])
    assert refused.exit_code == 2
    assert "finds no [supply] in the scenario" in refused.stderr


@pytest.mark.parametrize("name", ["pond", "demo", "match-days", "feeding"])
def test_changed_tables_are_written_as_they_are(name: str) -> None:
    tree = tomllib.loads(drysward.shipped(name).text)
    assert tomllib.loads(toml_of(tree)) == tree
    if "supply" in tree:
        left = tomllib.loads(toml_of(without_supply(tree)))
        assert not {"supply", "sizing"} & set(left)
        assert "pond" not in left["costs"]
        assert drysward.loads(toml_of(left), ".").supply is None


def test_a_ledger_shows_snow_stages_and_weekdays() -> None:
    words = ["ledger", "pond", "--field", "practice", "--plan", "refill", "--year", "12"]
    done = CliRunner().invoke(main, [*words, "--format", "json"])
    tables = {table["key"]: table["rows"] for table in json.loads(done.stdout)["tables"]}
    account = drysward.ledger(drysward.shipped("pond"), "practice", "refill", 12)
    inch = account["snow_water"].values / 25.4
    assert [row["snow_water"] for row in tables["ledger"]] == pytest.approx(inch.tolist())
    stages = [row["stage"] for row in tables["supply"]]
    assert stages == account["supply_stage"].values.tolist()
    assert max(stages) > 0
    # Seven days in a row, each of another name.
    week = [row["weekday"] for row in tables["supply"]][:8]
    assert len(set(week[:7])) == 7
    assert week[0] == week[7]
    assert [row["weekday"] for row in tables["supply"]] == account["weekday"].values.tolist()
    for width in ("60", "100", "200"):
        text = CliRunner().invoke(main, words, env={"COLUMNS": width}).stdout
        assert max(map(len, text.splitlines())) <= max(int(width), 100)
    july = CliRunner().invoke(main, [*words, "--months", "7"])
    assert "snow" not in july.stdout


def test_a_ledger_of_some_months() -> None:
    words = ("ledger", "pond", "--field", "stadium", "--plan", "refill", "--year", "2")
    done = CliRunner().invoke(main, [*words, "--months", "6-7"])
    assert done.exit_code == 0, done.stderr
    days = [line[:5] for line in done.stdout.splitlines() if line[2:3] == "-"]
    assert days == 2 * [f"0{month}-{day:02d}" for month, n in ((6, 30), (7, 31))
                        for day in range(1, n + 1)]  # fmt: skip
    done = CliRunner().invoke(main, [*words, "--months", "13"])
    assert done.exit_code == 2
    assert "'13' is not a month or two, such as 7 or 6-9" in done.stderr


def test_a_ledger_shows_what_the_supply_does_each_day(tmp_path: Path) -> None:
    words = ["ledger", "pond", "--field", "stadium", "--plan", "refill", "--year", "2"]
    done = CliRunner().invoke(main, [*words, "--format", "csv"])
    assert done.exit_code == 0, done.stderr
    account = drysward.ledger(drysward.shipped("pond"), "stadium", "refill", 2)
    before = np.concatenate([[np.nan], account["supply_storage"].values[:-1]])
    flows = account["supply_refill"] + account["supply_catchment"]
    flows = flows + account["supply_rain_on_storage"]
    lost = account["supply_evaporation"] + account["supply_seepage"] + account["supply_spill"]
    change = (flows - lost - account["supply_from_storage"]).values
    after = account["supply_storage"].values
    assert (before + change)[1:] == pytest.approx(after[1:], abs=1e-6)
    for name in ("demand", "made_up", "unmet", "storage"):
        assert account[f"supply_{name}"].attrs["units"] == "m3"
    lines = done.stdout.splitlines()
    at = next(i for i, line in enumerate(lines) if "inflow" in line and "storage" in line)
    day = dict(zip(next(csv.reader([lines[at]])), next(csv.reader([lines[at + 1]])), strict=True))
    inflow = next(value for head, value in day.items() if head.startswith("inflow"))
    assert float(inflow) == pytest.approx(flows.values[0] / 0.003785411784, rel=1e-3)
    path = tmp_path / "days.csv"
    assert CliRunner().invoke(main, [*words, "--out", str(path)]).exit_code == 0
    with path.open(encoding="utf-8") as stream:
        (first, *_) = csv.DictReader(stream)
    assert float(first["supply_storage (gal)"]) == pytest.approx(after[0] / 0.003785411784)
    assert "supply_unmet (gal)" in first
