"""Costs and volumes of ``drysward compare`` as a person sees them."""

from __future__ import annotations

import csv
import json
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main

YEARS = ("--years", "1-10")
PRICES = """
[costs]
currency = "EUR"
labor = 30
water = "4.50 per 1000 gal"
construction = { sand_over_gravel_12in = "8.50 per ft2" }
life = 20
"""


def ask(*words: str) -> Result:
    return CliRunner().invoke(main, ["compare", "--draws", "0", "--detail", *words])


@pytest.fixture(scope="module")
def pond(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    folder = tmp_path_factory.mktemp("out")
    return ask("pond", *YEARS, "--out", str(folder)), folder


def test_a_site_with_prices(pond: tuple[Result, Path]) -> None:
    done, _ = pond
    assert done.exit_code == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 100
    flowing = " ".join(done.stdout.split())
    for part in (
        "Water by volume", "Mgal", "whole site", "1-in-10", "Costs by field, USD",
        "Whole site: costs of a year, USD",
        "Whole site: first cost and life, USD", "at the scenario's prices",
        "over 20 years in today's money at 4% a year", "to build than Practice field",
        "Over 20 years at 4% it costs USD",
    ):  # fmt: skip
        assert part in flowing, part
    assert "nan" not in done.stdout


def test_what_is_kept_tells_the_costs(pond: tuple[Result, Path]) -> None:
    _, folder = pond
    kept = drysward.open(folder)
    for name in ("field_cost_present", "cost_mean", "cost_storage", "site_demand_volume"):
        assert kept[name].attrs["long_name"], name
        assert kept[name].attrs["units"] == ("m3" if "volume" in name else "USD"), name
    assert json.loads(kept.attrs["prices"])["life_years"] == 20
    with (folder / "site.csv").open(encoding="utf-8") as stream:
        by = {
            (r["quantity"], r["plan"], r["field"], r["period"]): r for r in csv.DictReader(stream)
        }
    row = by["field_cost_present", "refill", "stadium", ""]
    value = kept["field_cost_present"].sel(plan="refill", field="stadium").item()
    assert float(row["value"]) == pytest.approx(value, rel=1e-6)
    assert row["unit"] == "USD"
    gallons = float(by["site_demand_volume", "refill", "", "10.0"]["value"])
    demand = kept["site_demand_volume"].sel(plan="refill", period=10.0).item()
    assert gallons == pytest.approx(demand / 0.003785411784, rel=1e-6)


def test_prices_without_a_supply(tmp_path: Path) -> None:
    text = (files("drysward.scenarios") / "demo.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(text + PRICES, encoding="utf-8")
    done = ask(str(tmp_path / "mine.toml"), *YEARS, "--units", "metric")
    assert done.exit_code == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 100
    flowing = " ".join(done.stdout.split())
    assert "m3" in flowing
    assert "gal" not in flowing
    assert "Costs by field, EUR" in flowing
    assert "no construction price for native_loam" in flowing
    assert "at 0% a year" in flowing
    assert "energy" not in flowing.partition("Odds years")[0]
    assert "more to build" not in flowing


def test_without_prices_no_costs() -> None:
    done = ask("demo", *YEARS)
    assert done.exit_code == 0, done.stderr
    assert "Water by volume" in done.stdout
    assert "cost" not in done.stdout.lower()


def test_a_wrong_name_is_said_in_a_line(tmp_path: Path) -> None:
    text = (files("drysward.scenarios") / "demo.toml").read_text(encoding="utf-8")
    wrong = PRICES.replace("sand_over_gravel_12in", "sand_over_gravel_13in")
    (tmp_path / "mine.toml").write_text(text + wrong, encoding="utf-8")
    done = ask(str(tmp_path / "mine.toml"))
    assert done.exit_code == 2
    assert "mine.toml: costs.construction.sand_over_gravel_13in: is not known; did you mean" in (
        done.stderr
    )
