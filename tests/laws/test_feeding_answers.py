"""Answers of feeding: means, bad years, odds, what is missing, and salt by hand."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.results.feeding import MEANS, feeding_answers, salt_answers
from drysward.scenario.model import Scenario

YEARS = (1, 12)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    """Fields of the shipped scenario, and one that is not fed."""
    fed = drysward.shipped("feeding")
    plain = replace(fed.fields[1], key="plain", label="Plain", feeding=None)
    return replace(fed, fields=(*fed.fields, plain))


@pytest.fixture(scope="module")
def result(scenario: Scenario) -> xr.Dataset:
    return drysward.run(scenario, years=YEARS)


@pytest.fixture(scope="module")
def answers(result: xr.Dataset, scenario: Scenario) -> xr.Dataset:
    return feeding_answers(result, scenario)


def test_means_and_errors_are_those_of_the_years(result: xr.Dataset, answers: xr.Dataset) -> None:
    n = min(int(result.attrs["independent_years"]), 12)
    here = {"field": "stadium", "plan": "refill"}
    for name in MEANS:
        values = result[f"feed_{name}"].sel(here).values
        assert answers[f"{name}_mean"].sel(here).item() == pytest.approx(values.mean())
        error = values.std(ddof=1) / np.sqrt(n)
        assert answers[f"{name}_se"].sel(here).item() == pytest.approx(error)
    for name in ("clippings", "leached", "status"):
        by_month = result[f"feed_{name}_month"].sel(here).values.mean(axis=0)
        assert answers[f"{name}_month_mean"].sel(here).values == pytest.approx(by_month)
    total = answers["clippings_month_mean"].sel(here).sum().item()
    assert total == pytest.approx(answers["clippings_mean"].sel(here).item())


def test_a_bad_year_loses_more_than_the_mean_year(answers: xr.Dataset) -> None:
    fed = answers.sel(field=["stadium", "practice"])
    assert (fed["leached_n_1in10"] > fed["leached_n_mean"]).all()
    assert (fed["leached_mg_l_1in10"] > fed["leached_mg_l_mean"]).all()


def test_strength_is_that_of_all_water_that_drained(
    result: xr.Dataset, answers: xr.Dataset
) -> None:
    """A kilogram in a hectare of one millimeter is 100 mg/L."""
    one = result.sel(field="practice", plan="refill")
    strength = 100.0 * one["feed_leached_n"].values.sum() / one["drainage"].values.sum()
    got = answers["leached_mg_l_mean"].sel(field="practice", plan="refill").item()
    assert got == pytest.approx(strength)


@pytest.mark.parametrize("state", ["hungry", "lush"])
def test_odds_are_of_years_with_more_than_two_weeks(
    result: xr.Dataset, answers: xr.Dataset, state: str
) -> None:
    some = []
    for field in ("stadium", "practice"):
        for plan in map(str, result["plan"].values):
            here = {"field": field, "plan": plan}
            days = result[f"feed_days_{state}"].sel(here).values
            share = np.mean(days > 14.0)
            some.append(0.0 < share < 1.0)
            assert answers[f"{state}_years"].sel(here).item() == pytest.approx(share)
            low, high = (answers[f"{state}_years_{e}"].sel(here).item() for e in ("low", "high"))
            assert low <= share <= high
            assert low < high
            growing = result["feed_growing_days"].sel(here).values.sum()
            assert answers[f"{state}_share"].sel(here).item() == pytest.approx(
                days.sum() / growing
            )
    assert any(some)


def test_a_field_that_is_not_fed_has_no_answers(answers: xr.Dataset) -> None:
    assert list(answers["field"].values) == ["stadium", "practice", "plain"]
    for name, values in answers.data_vars.items():
        assert bool(values.sel(field="plain").isnull().all()), name
        assert values.attrs["units"], name
        assert values.attrs["long_name"], name


def test_the_nitrogen_of_a_year_adds_up_as_the_method_says(
    scenario: Scenario, result: xr.Dataset
) -> None:
    of = {name: result[f"feed_{name}"].sel(field=["stadium", "practice"]) for name in (
        "n_start", "n_end", "applied_n", "brought_n", "freed_n", "built_in_n", "removed_n",
        "leached_n", "ammonia_n", "gas_n", "runoff_n", "paving_n",
    )}  # fmt: skip
    end = of["n_start"] + of["brought_n"] + of["freed_n"]
    for name in ("built_in_n", "removed_n", "leached_n", "ammonia_n", "gas_n", "runoff_n"):
        assert float(of[name].max()) > 0.0 or name == "runoff_n"
        end = end - of[name]
    np.testing.assert_allclose(end, of["n_end"], atol=1e-9)
    # What comes is fed, less what falls on paving, or comes with the water: 1 mg/L in 1 mm is
    # 0.01 kg/ha.
    for field, feeding in scenario.fed:
        at = {"field": field.key}
        water = 0.01 * feeding.water_n_mg_l * result["irrigation_landed"].sel(at)
        fed = of["brought_n"].sel(at) + of["paving_n"].sel(at) - water
        np.testing.assert_allclose(fed, of["applied_n"].sel(at), atol=1e-9)
        assert (float(water.max()) > 1.0) == (feeding.water_n_mg_l > 0.0)
    assert float(of["paving_n"].max()) > 1.0


def test_without_feeding_there_are_no_answers(scenario: Scenario) -> None:
    plain = replace(scenario, fields=scenario.fields[2:])
    result = drysward.run(plain, years=(1, 2), only=["none"])
    with pytest.raises(ValueError, match="no field of the run is fed"):
        feeding_answers(result)
    assert not [name for name in drysward.summarize(result, plain) if str(name).startswith("feed")]


def test_salt_of_one_field_by_hand(scenario: Scenario) -> None:
    """2 dS/m, half of the water irrigation, 15% drains: 1 dS/m by 1.6 (FAO-29, table 3)."""
    salty = replace(scenario.fields[0].feeding, water_salt_ds_m=8.0, water_n_mg_l=10.0)
    fields = (replace(scenario.fields[0], feeding=salty), *scenario.fields[1:])
    mean = {
        "precipitation": 500.0, "irrigation_landed": 500.0, "runoff": 0.0, "drainage": 150.0,
        "transpiration": 800.0, "leaf_evaporation": 50.0, "soil_evaporation": 0.0,
        "feed_brought_n": 250.0, "feed_applied_n": 200.0,
    }  # fmt: skip
    fed = xr.Dataset(
        {name: (("field", "plan", "year"), [[[value]]]) for name, value in mean.items()},
        coords={"field": ["stadium"], "plan": ["refill"]},
    )
    one = salt_answers(fed, replace(scenario, fields=fields)).squeeze()
    assert one["leaching_fraction"].item() == 0.15
    # 4 dS/m on the mean of rain and irrigation; bluegrass stands 4.5 and loses 8% for each more.
    turf = scenario.catalog.get("feeding", "salt_kentucky_bluegrass")
    limit, slope = float(turf["salt_threshold_ds_m"]), float(turf["salt_slope"])
    assert one["soil_salt"].item() == pytest.approx(4.0 * 1.6, abs=4.0 * 0.05)
    lost = slope / 100.0 * (one["soil_salt"].item() - limit)
    assert 0.05 < lost < 0.5
    assert one["salt_growth_lost"].item() == pytest.approx(lost)
    needed = 4.0 / (5.0 * limit - 4.0)
    assert one["leaching_needed"].item() == pytest.approx(needed)
    assert one["leaching_water"].item() == pytest.approx(850.0 / (1.0 - needed) - 1000.0)
    assert one["water_n"].item() == pytest.approx(50.0)


def test_water_brings_the_nitrogen_that_is_in_it(
    result: xr.Dataset, answers: xr.Dataset
) -> None:
    """5 mg/L in 100 mm is 5 kg/ha."""
    here = {"field": "stadium", "plan": "refill"}
    landed = result["irrigation_landed"].sel(here).mean().item()
    assert landed > 200.0
    assert answers["water_n"].sel(here).item() == pytest.approx(0.05 * landed, rel=1e-6)


@pytest.mark.parametrize("units, per_kg_ha", [("us", 0.0204816), ("metric", 1.0)])
def test_feeding_csv(
    result: xr.Dataset, scenario: Scenario, answers: xr.Dataset, tmp_path: Path, units: str,
    per_kg_ha: float,
) -> None:  # fmt: skip
    paths = drysward.save(result, tmp_path / "out", scenario, units=units)
    assert "feeding.csv" in {path.name for path in paths}
    with (tmp_path / "out" / "feeding.csv").open(encoding="utf-8") as stream:
        rows = {(row["field"], row["plan"]): row for row in csv.DictReader(stream)}
    unit = "lb/1000 ft2" if units == "us" else "kg/ha"
    leached = answers["leached_n_mean"].sel(field="practice", plan="refill").item()
    got = float(rows["practice", "refill"][f"leached_n_mean ({unit})"])
    assert got == pytest.approx(leached * per_kg_ha, rel=1e-5)
    assert rows["plain", "refill"][f"leached_n_mean ({unit})"] == ""
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        for name, values in answers.data_vars.items():
            assert kept[f"feed_{name}"].values == pytest.approx(values.values, nan_ok=True), name
            assert kept[f"feed_{name}"].attrs["units"], name
