"""Laws of the results: a Dataset comes back from a file as it went in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.catalog import load_catalog
from drysward.day.records import STAGES
from drysward.faults import FaultyInput
from drysward.results.text import short_record_text
from drysward.scenario.load import shipped
from drysward.studies.compare import ledger, run


@pytest.fixture
def scenario(scenes):
    fields = [scenes.field(), scenes.field("sand_over_gravel_12in", "creeping_bentgrass")]
    return scenes.scenario(fields, [scenes.plan(), scenes.plan("refill", trigger=0.5)])


def back_from_file(made, path):
    made.to_netcdf(path, engine="netcdf4")
    return xr.load_dataset(path, engine="netcdf4")


def test_results_come_back_from_netcdf(scenes, scenario, tmp_path):
    made = run(scenario, record=scenes.weather(2))
    xr.testing.assert_identical(back_from_file(made, tmp_path / "results.nc"), made)


def test_ledger_comes_back_from_netcdf(scenes, scenario, tmp_path):
    field = scenario.fields[0].key
    made = ledger(scenario, field, "refill", 2002, scenes.weather(2))
    back = back_from_file(made, tmp_path / "ledger.nc")
    back = back.assign_coords(date=back["date"].astype(made["date"].dtype))
    xr.testing.assert_identical(back, made)


def unexplained(dataset):
    """Numbers without unit or name; a value that was drawn has the unit of its number."""
    return [
        name
        for name, values in dataset.variables.items()
        if values.dtype.kind not in "OUSM" and name != "drawn"
        and not {"units", "long_name"} <= set(values.attrs)
    ]  # fmt: skip


def test_every_number_has_its_unit_and_name_at_once():
    demo, pond = shipped("demo"), shipped("pond")
    result = run(demo, years=(1, 2), only=["restricted"], daily=True)
    drawn = drysward.draws(demo, 32, plans=["refill"], years=(1, 2), keep=True)
    account = ledger(demo, "stadium", "restricted", 2)
    everything = {
        "run": result,
        "answers": drysward.answers(result),
        "draws": drawn,
        "ledger": account,
        "ledger of a supply": ledger(pond, pond.fields[0].key, pond.plans[1].key, 1),
        "supply": run(pond, years=(1, 2), only=[pond.plans[1].key]),
    }
    assert {name: found for name, of in everything.items() if (found := unexplained(of))} == {}
    assert drawn["doubt_water"].attrs["units"] == "mm"
    # A word that the ledger and the answers both use is explained for each.
    assert result["stage"].attrs["long_name"] == "stage of the turf"
    assert account["stage"].attrs["long_name"] == "restriction stage in force"
    assert "on the day" in account["demand"].attrs["long_name"]
    assert "return period" in everything["answers"]["demand"].attrs["long_name"]


def test_what_counts_the_season_says_so():
    terms = load_catalog().quantities
    for name in ("days", "peak", "longest"):
        for stage in STAGES:
            assert "of the season" in terms[f"{name}_{stage}"].meaning
    assert "of the season" in terms["least_green"].meaning


def test_answers_of_something_else_say_what_it_is(scenes, scenario):
    result = run(scenario, record=scenes.weather(2))
    answers = drysward.answers(result)
    sweep = result.assign_attrs(points_done=1)
    account = ledger(scenario, scenario.fields[0].key, "refill", 2002, scenes.weather(2))
    for wrong, what in (
        (answers, "answers already"), (sweep, "a sweep"), (account, "a ledger"),
        (xr.Dataset(), "no result of a run"),
    ):  # fmt: skip
        with pytest.raises(FaultyInput, match=f"^result: is {what}.*; the Dataset of drysward.run"):
            drysward.answers(wrong)


def test_a_simulated_year_has_no_date():
    days = ledger(shipped("demo"), "stadium", "deficit", 10)
    assert "date" not in days.coords
    assert set(days.sizes) == {"day"}
    table = days.to_dataframe()
    assert list(table["year"].unique()) == [10]
    assert table["month_day"].iloc[[0, 195, -1]].tolist() == ["01-01", "07-15", "12-31"]
    # Days count in the calendar of a leap year: 29 February is missing in others.
    assert table["day_of_year"].iloc[[0, 58, 59, -1]].tolist() == [1, 59, 61, 366]
    assert days["depletion"].groupby("month").mean().sizes == {"month": 12}


def test_a_recorded_year_has_dates(scenes, scenario):
    days = ledger(scenario, scenario.fields[0].key, "refill", 2002, scenes.weather(2))
    assert str(days["date"].values[0])[:10] == "2002-01-01"
    assert days.swap_dims(day="date").sel(date="2002-07").sizes["date"] == 31


def test_ledger_sums_to_the_year(scenes, scenario):
    record = scenes.weather(2)
    years = run(scenario, record=record)
    field = scenario.fields[1].key
    days = ledger(scenario, field, "refill", 2002, record)
    year = years.sel(field=field, plan="refill", year=2002)
    for name in ("precipitation", "irrigation_gross", "drainage", "transpiration", "runoff"):
        assert float(days[name].sum()) == pytest.approx(float(year[name]), rel=1e-12, abs=1e-9)
    assert float(days.residual.max()) <= float(year.residual)


def test_odds_are_shares_of_years(scenes, scenario):
    scenario = replace(scenario, answers=replace(scenario.answers, season=(0, 365)))
    made = run(scenario, record=scenes.weather(3))
    assert float(made.odds.min()) >= 0.0
    assert float(made.odds.max()) <= 1.0
    counted = made.odds.sel(stage="wilt").sum("day_of_year") * 3
    leap_day = 59
    assert not made.odds.isel(day_of_year=leap_day).any()  # 2001 to 2003 have none
    assert np.allclose(counted, made.days_wilt.sum("year"))


@pytest.mark.parametrize(
    ("years", "kind", "words"),
    [
        (12, "record", "12 recorded years: odds and a 1-in-10 year from so few are a guess"),
        (8, "record", "rests on 8 recorded years: odds from so few are a guess, and no 1-in-10"),
        (9, "generator", "rests on 9 years: odds from so few are a guess, and no 1-in-10 year is"),
        (8, "record", '--source generator, or under [weather] source = "generator", years = 200'),
        (3, "record", "Use a longer record (years can be simulated from 5), or simulate"),
    ],
)
def test_a_short_record_is_named_as_a_guess(years: int, kind: str, words: str) -> None:
    assert words in short_record_text({"n_years": years, "weather_kind": kind})


@pytest.mark.parametrize(("years", "kind"), [(20, "record"), (10, "generator"), (200, "generator")])
def test_enough_years_are_not_called_a_guess(years: int, kind: str) -> None:
    assert short_record_text({"n_years": years, "weather_kind": kind}) == ""


TWO_FIELDS = """
title = "Two"
[site]
name = "Two"
latitude = "40 deg"
elevation = "100 m"
[weather]
source = "generator"
years = 2
[weather.climate]
rain = { unit = "in", months = [3, 3, 3, 3, 4, 4, 4, 4, 3, 3, 3, 3] }
wet_days = [10, 9, 10, 11, 11, 10, 9, 9, 8, 8, 9, 10]
tmax = { unit = "degF", months = [37, 41, 51, 63, 72, 81, 86, 84, 77, 65, 54, 42] }
tmin = { unit = "degF", months = [21, 23, 31, 40, 50, 60, 64, 64, 55, 44, 35, 26] }
[fields.played]
area = "1 acre"
species = "kentucky_bluegrass"
root_zone = "native_loam"
delivery = "in_ground_rotors"
play = { events = [{ label = "Match", days = ["Sat"], hours = 2 }] }
[fields.fed]
area = "1 acre"
species = "kentucky_bluegrass"
root_zone = "native_loam"
delivery = "in_ground_rotors"
feeding = "cool-season on native soil"
[plans.refill]
rule = "refill"
trigger = 0.5
"""
OF_PLAY = (
    "hardness", "air_filled", "root_loss", "hard", "mud", "standing", "dust", "frozen",
)  # fmt: skip
OF_FEEDING = ("nitrogen_status", "mineral_nitrogen", "nitrogen_leached", "clippings")


def test_what_is_not_computed_is_missing_and_not_nothing(tmp_path):
    two = drysward.loads(TWO_FIELDS, tmp_path, "two.toml")
    result = drysward.run(two, daily=True)
    for key, there, gone in (("played", OF_PLAY, OF_FEEDING), ("fed", OF_FEEDING, OF_PLAY)):
        account = drysward.ledger(two, key, "refill", 1)
        assert all(account[name].notnull().all() for name in there)
        assert all(account[name].isnull().all() for name in gone)
        covers = sum(account[name] for name in ("green", "dormant", "dead", "worn"))
        np.testing.assert_allclose(covers, 1.0)
    for name, values in result.data_vars.items():
        for start, key in (("play_", "fed"), ("feed_", "played")):
            if str(name).startswith(start):
                assert values.sel(field=key).isnull().all(), name
    assert result["daily_hardness"].sel(field="fed").isnull().all()
    assert result["play_days_hard"].sel(field="played").notnull().all()
    sweep = 'scenario = "two.toml"\n[axes.t]\nkey = "plans.refill.trigger"\nvalues = [0.4, 0.5]'
    (tmp_path / "two.toml").write_text(TWO_FIELDS)
    (tmp_path / "sweep.toml").write_text(sweep)
    points = drysward.sweep(tmp_path / "sweep.toml", tmp_path / "out")
    means = result.mean("year")
    for name in ("play_mean_hardness", "feed_clippings"):
        np.testing.assert_allclose(
            points[f"{name}_mean"].isel(point=1, plan=0), means[name].isel(plan=0), rtol=1e-6
        )


def test_the_shortage_of_a_year_is_what_was_missed_less_what_was_made_up():
    demo = drysward.shipped("demo")
    result = run(demo, years=(1, 2), only=["refill"]).sel(field="practice", plan="refill")
    days = ledger(demo, "practice", "refill", 2)
    of_year = result["shortage"].sel(year=2).item()
    assert (days["missed"] - days["made_up"]).sum().item() == pytest.approx(of_year, abs=1e-9)
    assert days["shortage"].sum().item() > 2.0 * of_year > 1.0
    for name in ("shortage", "missed", "made_up"):
        assert "day" in days[name].attrs["long_name"]
    assert "'made_up'" in days["shortage"].attrs["comment"]
    pond = drysward.shipped("pond")
    days = ledger(pond, "stadium", "refill", 2)
    of_year = run(pond, years=(1, 2), only=["refill"])["supply_shortage"].sel(year=2).item()
    newly = (days["supply_shortage"] - days["supply_made_up"]).sum().item()
    assert newly == pytest.approx(of_year, abs=1e-6)
    assert "of the day" in days["supply_shortage"].attrs["long_name"]
