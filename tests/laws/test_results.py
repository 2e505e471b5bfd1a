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
