"""Hindcasts: no outlook knows its own year, and the scores are those of its odds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.faults import FaultyInput
from drysward.results import scores
from drysward.studies.season.hindcast import EDGES, hindcast
from drysward.studies.season.outlook import season

DATA = Path(__file__).parents[1] / "data"
DATES = ("06-01", "08-01")
YEARS = range(2002, 2008)


@pytest.fixture(scope="module")
def scenario(scenes):
    sand = scenes.field("sand_over_gravel_12in", key="sand")
    loam = scenes.field("native_loam", "tall_fescue", key="loam")
    return scenes.scenario([sand, loam], [scenes.plan(), scenes.plan("refill", trigger=0.5)])


@pytest.fixture(scope="module")
def record(scenes):
    found = scenes.weather(years=7)
    # Dry enough that stages come in some years only.
    return replace(found, rain_mm=0.7 * found.rain_mm)


@pytest.fixture(scope="module")
def found(scenario, record):
    return hindcast(scenario, record, DATES, workers=2)


def changed_after(record, day, year):
    """The record with cold rain in the rest of a year, which no turf wilts in."""
    days = (record.dates >= np.datetime64(f"{year}-{day}")) & (
        record.dates < np.datetime64(f"{year}-12-01")
    )
    rain = np.where(days, 25.0, record.rain_mm)
    et = np.where(days, 0.2, record.reference_et_mm)
    return replace(record, rain_mm=rain, reference_et_mm=et)


def test_years_are_those_with_a_state_and_a_rest(found):
    assert tuple(found.year.values) == tuple(YEARS)
    assert found.odds.dims == ("issued", "year", "field", "plan", "stage", "lead")


def test_no_outlook_knows_its_year(scenario, record, found):
    """The rest of a year alters what came, and the odds of the other years, but not its odds."""
    other = hindcast(scenario, changed_after(record, "08-01", 2005), DATES[1:])
    here = {"issued": "08-01", "year": 2005}
    for name in ("odds", "usual_odds", "lasting_odds", "water_mean", "usual_water_mean"):
        assert (found[name].sel(here).values == other[name].sel(here).values).all(), name
    assert (other.water_came.sel(here) != found.water_came.sel(here)).any()
    rest = {"issued": "08-01", "year": [2004, 2006]}
    for name in ("water_mean", "usual_water_mean"):
        assert (found[name].sel(rest) != other[name].sel(rest)).any(), name


@pytest.mark.parametrize("date, year", [("06-01", 2003), ("08-01", 2007)])
def test_odds_are_those_of_the_outlook(scenario, record, found, date, year):
    ahead = season(scenario, f"{year}-{date}", record=record, usual=False)
    for lead in (7, 30, 90):
        day = np.datetime64(f"{year}-{date}") + lead - 1
        here = found.odds.sel(issued=date, year=year, lead=str(lead))
        there = ahead.odds.sel(date=day).transpose(*here.dims)
        assert here.values == pytest.approx(there.values, abs=1e-12)
    water = found.water_mean.sel(issued=date, year=year, lead="end")
    whole = ahead.water_of_way.mean("way").transpose(*water.dims)
    assert water.values == pytest.approx(whole.values, abs=1e-3)


def test_what_came_is_the_ledger(scenario, record, found):
    own = record.between(2001, 2007)
    for field, plan in (("sand", "refill"), ("loam", "none")):
        ledger = drysward.ledger(scenario, field, plan, 2006, record=own)
        days = ledger.sel(date=slice("2006-08-01", "2006-08-30"))
        here = found.sel(issued="08-01", year=2006, lead="30", field=field, plan=plan)
        need = float(days.irrigation_gross.sum() + days.missed.sum() - days.made_up.sum())
        assert float(here.water_came) == pytest.approx(need, abs=1e-3)
        if float(here.lasting_odds.sel(stage="wilt")) == 0.0:
            run = (days.wilt.values >= 0.1).astype(int)
            in_a_row = np.convolve(run, np.ones(3), "valid").max() >= 3
            assert float(here.came.sel(stage="wilt")) == in_a_row


def test_scores_are_those_of_the_odds(found):
    for scored, dates in (("06-01", ["06-01"]), ("all", list(DATES))):
        some = found.sel(issued=dates).stack(forecast=("issued", "year"))
        some = some.transpose("forecast", ...)
        here = found.sel(scored=scored)
        parts = scores.brier_parts(some.odds.values, some.came.values, EDGES)
        assert here.brier_reliability.values == pytest.approx(parts.reliability, abs=1e-12)
        whole = here.brier_reliability - here.brier_resolution + here.brier_uncertainty
        whole = whole + here.brier_within_bins
        assert whole.values == pytest.approx(here.brier.values, abs=1e-12)
        assert here.events.values == pytest.approx(some.came.values.sum(axis=0))
        ours, theirs = (
            scores.fair_brier(some[name].values, some.came.values, n)
            for name, n in (("odds", len(YEARS)), ("usual_odds", len(YEARS) - 1))
        )
        assert np.allclose(here["skill"], scores.skill(ours, theirs), equal_nan=True)
        low, high = scores.skill_limits(ours, theirs, some.year.values)
        assert np.allclose(here.skill_low, low, equal_nan=True)
        assert np.allclose(here.skill_high, high, equal_nan=True)
        assert (here.bin_n.sum("bin") == len(YEARS) * len(dates)).all()
        assert here.water_ranks.sum("rank_bin").values == pytest.approx(len(YEARS) * len(dates))


def test_state_of_the_date_is_worth_more_on_the_first_days(found):
    """Water of the first week is known better from today's soil than that of the season."""
    skill = found.water_skill.sel(scored="all", plan="refill", field="loam")
    assert float(skill.sel(lead="7")) > 0.0
    assert float(skill.sel(lead="7")) > float(skill.sel(lead="end"))


def test_workers_and_other_dates_do_not_matter(scenario, record, found):
    seen = []
    alone = hindcast(scenario, record, DATES[1:], workers=1, progress=seen.append)
    assert seen[-1] == 1.0
    assert len(seen) == len(YEARS)
    for name in ("odds", "usual_odds", "water_mean", "water_came"):
        assert (alone[name].values == found[name].sel(issued=["08-01"]).values).all()
    for name in ("skill", "skill_low", "water_crps", "water_skill_high", "bin_share"):
        both = [one[name].sel(scored="08-01").values for one in (alone, found)]
        assert np.array_equal(*both, equal_nan=True), name


def test_roots_of_a_year_are_not_known_ahead(scenario, record, found):
    """A depth drawn for each year would be known to the outlook and its truth, and to no person."""
    drawn = replace(scenario, answers=replace(scenario.answers, rooting_varies=True))
    varied = hindcast(drawn, record, DATES[1:])
    for name in ("odds", "came", "water_mean"):
        assert (varied[name].values == found[name].sel(issued=["08-01"]).values).all()


def test_weather_that_is_the_same_every_year_leaves_nothing_to_score(scenes, scenario):
    year = scenes.weather(years=1)
    days = np.concatenate([np.arange(365) for _ in range(8)])
    names = ("rain_mm", "tmax_c", "tmin_c", "reference_et_mm")
    same = scenes.record(365 * 8, start="2001-01-01")
    columns = {name: getattr(year, name)[days] for name in names}
    alike = hindcast(scenario, replace(same, **columns), ("06-01",))
    # Leap years shift the days of the file by one or two, so that few things are not quite alike.
    assert (alike.odds == alike.came).mean() > 0.95
    assert float(alike.brier.max()) < 0.05


def test_leads_past_the_end_of_the_season_are_not_there(scenario, record):
    late = hindcast(scenario, record, ("09-15",))
    assert np.isnan(late.odds.sel(lead=["60", "90"])).all()
    assert np.isnan(late.brier.sel(lead="60")).all()
    assert np.isfinite(late.odds.sel(lead=["7", "30", "end"])).all()


def test_a_season_south_of_the_equator_goes_over_the_new_year(scenes):
    field = scenes.field("sand_over_gravel_12in", key="sand")
    south = scenes.scenario([field], latitude=-35.0)
    south = replace(south, answers=replace(south.answers, season=(275, 90)))
    months_later = scenes.weather(years=8, start="2001-07-01")
    past = hindcast(south, months_later, ("11-01", "01-15"))
    assert tuple(past.year.values) == tuple(range(2003, 2009))
    # From 15 January the season has 76 days left, 77 in a leap year.
    late = past.sel(issued="01-15")
    assert np.isfinite(late.odds.sel(lead=["60", "end"])).all()
    assert np.isnan(late.odds.sel(lead="90")).all()
    ahead = season(south, "2006-11-01", record=months_later, usual=False)
    here = past.odds.sel(issued="11-01", year=2006, lead="90")
    there = ahead.odds.sel(date=np.datetime64("2006-11-01") + 89).transpose(*here.dims)
    assert here.values == pytest.approx(there.values, abs=1e-12)


def test_a_file_keeps_all_of_it(found, tmp_path):
    for name, variable in found.data_vars.items():
        assert variable.attrs["units"] in ("1", "mm"), name
        assert variable.attrs["long_name"], name
    found.to_netcdf(tmp_path / "hindcast.nc")
    with xr.open_dataset(tmp_path / "hindcast.nc") as again:
        xr.testing.assert_identical(again.load(), found)


def test_refusals(scenario, record):
    for wrong in ("7-1", "02-30", "July", "02-29"):
        with pytest.raises(FaultyInput, match=f"'{wrong}' is not a date; month and day"):
            hindcast(scenario, record, (wrong,))
    with pytest.raises(FaultyInput, match="no date"):
        hindcast(scenario, record, ())
    with pytest.raises(FaultyInput, match=r"3 years with weather .* at least 5 for a hindcast"):
        hindcast(scenario, record.between(2001, 2004), ("06-01",))


@pytest.mark.slow
def test_baltimore(tmp_path):
    """Sand without irrigation: whether it is dormant within a week is known from today's soil."""
    text = f"""
    title = "Baltimore"
    [site]
    name = "Baltimore"
    latitude = "39.17 deg"
    elevation = "47 m"
    [weather]
    file = "{DATA / 'baltimore-washington-2010-2019.csv'}"
    [fields.sand]
    area = "2 acre"
    species = "kentucky_bluegrass"
    root_zone = {{ like = "sand_over_gravel_12in" }}
    delivery = {{ system = "in_ground_rotors" }}
    [plans.none]
    label = "No irrigation"
    rule = "none"
    """
    (tmp_path / "fields.toml").write_text(text)
    from drysward.site.weather_years import read_record

    scenario = drysward.load(tmp_path / "fields.toml")
    found = hindcast(scenario, read_record(scenario)).sel(
        scored="all", stage="dormant", field="sand", plan="none"
    )
    first = found.sel(lead="7")
    assert scores.verdict(float(first.skill_low), float(first.skill_high)) == scores.BETTER
    assert float(first["skill"]) > float(found["skill"].sel(lead="30"))
