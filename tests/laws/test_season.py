"""Laws of the rest of a season: what is run from today on is what a whole run has."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.results.ahead import (
    effective_number,
    first_day,
    jeffreys_limits,
    quantiles,
    reached_by,
)
from drysward.site.weather_years import read_record
from drysward.studies.season.ahead import DAILY, needed_so_far_mm, run_ahead, start_at
from drysward.studies.season.hindcast import hindcast
from drysward.studies.season.outlook import season_end, ways_on
from drysward.studies.season.ways import same_days_of_year, ways_of_record

DATA = Path(__file__).parents[1] / "data"
TEXT = (DATA / "two-fields.toml").read_text() + """
[plans.refill]
rule = "refill"
trigger = 0.5
"""
WITH_SUPPLY = """
[supply.sources.well]
kind = "well"
rate = "60 gpm"
allowance = { year = "1 Mgal" }
[supply.storage]
capacity = "60000 gal"
kind = "tank"
"""
JULY, OCTOBER = np.datetime64("2018-07-01"), np.datetime64("2018-10-31")


def fields_of(more: str = "") -> drysward.Scenario:
    return drysward.loads(TEXT + more, DATA)


@pytest.mark.parametrize("today", ["2018-04-10", "2018-07-01", "2018-10-30"])
def test_the_days_ahead_are_those_of_the_whole_year(today: str) -> None:
    scenario = fields_of()
    record = read_record(scenario)
    start = start_at(scenario, record, np.datetime64(today))
    own = ways_of_record(record, start.today, OCTOBER, years=[2018])
    ahead = run_ahead(start, own)
    for p, plan in enumerate(scenario.plans):
        for f, field in enumerate(scenario.fields):
            account = drysward.ledger(scenario, field.key, plan.key, 2018)
            days = account.sel(date=slice(today, "2018-10-31"))
            for name in DAILY:
                np.testing.assert_allclose(
                    ahead.fields[name][0, p, :, f], days[name], rtol=0.0, atol=1e-9, err_msg=name
                )


def test_weather_from_today_on_is_not_read() -> None:
    scenario = fields_of()
    record = read_record(scenario)
    known = record.select(slice(0, int((JULY - record.dates[0]).astype(int))))
    for name in ("patches", "states"):
        whole, cut = (getattr(start_at(scenario, r, JULY).runs, name) for r in (record, known))
        assert np.array_equal(whole, cut)


def test_a_log_of_what_a_plan_put_on_leads_to_its_state() -> None:
    scenario = fields_of()
    record = read_record(scenario)
    followed = start_at(scenario, record, JULY, scenario.plans[1:])
    log: dict[str, dict[np.datetime64, float]] = {}
    for field in scenario.fields:
        account = drysward.ledger(scenario, field.key, "refill", 2018)
        days, landed = account["date"].values, account["irrigation_landed"].values
        log[field.key] = {
            np.datetime64(day, "D"): mm for day, mm in zip(days, landed, strict=True) if mm > 0.0
        }
    applied = start_at(scenario, record, JULY, scenario.plans[1:], log)
    for name in ("w1", "w2", "w3", "crown_water", "green", "dormant", "dead"):
        np.testing.assert_allclose(
            applied.runs.patches[name], followed.runs.patches[name], rtol=0.0, atol=1e-6,
            err_msg=name,
        )  # fmt: skip


def test_a_log_replaces_the_plans_up_to_today_and_no_limit_cuts_it() -> None:
    scenario = fields_of(WITH_SUPPLY)
    record = read_record(scenario)
    day = np.datetime64("2018-06-28")
    log = {"sand": {day: 60.0, day + 1: 60.0}}
    start = start_at(scenario, record, JULY, applied_mm=log)
    gross = start.so_far["irrigation_gross"]
    assert gross[0, -3:-1, 0] == pytest.approx([60.0, 60.0], rel=0.35)  # losses are added
    assert gross[0, :, 1].sum() == 0.0
    # Both plans start from the same field.
    assert np.array_equal(start.runs.patches[0], start.runs.patches[1])


def test_ways_are_the_other_years_at_the_dates_of_this_one() -> None:
    record = read_record(fields_of())
    ways = ways_of_record(record, JULY, OCTOBER)
    assert [way.year for way in ways] == [2011, 2012, 2013, 2014, 2015, 2016, 2017]
    for way in ways:
        assert way.days.dates[0] == JULY
        assert way.days.dates[-1] == OCTOBER
        day = np.datetime64(f"{way.year}-08-15")
        there = int((day - record.dates[0]).astype(int))
        here = int((np.datetime64("2018-08-15") - JULY).astype(int))
        assert way.days.rain_mm[here] == record.rain_mm[there]


def test_a_leap_day_is_taken_from_the_day_before() -> None:
    days = np.array(["2020-02-28", "2020-02-29", "2020-03-01"], "datetime64[D]")
    then = np.array(["2019-02-28", "2019-02-28", "2019-03-01"], "datetime64[D]")
    assert np.array_equal(same_days_of_year(days, 1), then)


def test_odds_of_a_season_only_rise_and_lie_within_their_limits() -> None:
    outlook = drysward.season(fields_of(), today="2018-07-01")
    odds = outlook["odds"]
    assert (odds.diff("date") >= 0.0).all()
    assert (outlook["odds_low"] <= odds).all()
    assert (odds <= outlook["odds_high"]).all()
    assert (outlook["usual_odds"].diff("date") >= 0.0).all()
    assert (outlook["water_needed"].diff("certainty") >= 0.0).all()
    dry, wet = (odds.sel(plan=plan, stage="dormant").isel(date=-1) for plan in ("none", "refill"))
    assert (wet <= dry).all()


def test_no_order_of_work_changes_a_season() -> None:
    one, two = (drysward.season(fields_of(), "2018-07-01", workers=n) for n in (1, 2))
    assert one.identical(two)


def test_an_allowance_that_is_used_up_runs_out() -> None:
    scenario = fields_of(WITH_SUPPLY)
    outlook = drysward.season(scenario, "2018-07-01", usual=False)
    assert float(outlook["runs_out"].sel(plan="none")) == 0.0
    assert float(outlook["runs_out"].sel(plan="refill")) == 1.0
    assert float(outlook["storage"].max()) <= 60_000 * 231 * 0.0254**3 * (1.0 + 1e-9)


@pytest.mark.parametrize(
    ("today", "until", "text"),
    [
        ("2030-01-01", None, "a day to 2019-09-02"),
        ("2010-09-25", None, "30 days or more"),
        ("2018-12-15", None, "the season is over"),
        ("2018-07-01", "2018-06-01", "2018-07-01 or later"),
    ],
)
def test_a_day_that_cannot_be_is_refused(today: str, until: str | None, text: str) -> None:
    with pytest.raises(FaultyInput, match=text):
        drysward.season(fields_of(), today, until)


def test_a_scenario_without_a_file_needs_one() -> None:
    with pytest.raises(FaultyInput, match="--weather FILE"):
        drysward.season(drysward.shipped("demo"), "2026-07-01")


def test_simulated_years_may_be_the_ways_on() -> None:
    text = TEXT.replace('2010-2019.csv"', '2010-2019.csv"\nsource = "generator"\nyears = 20')
    scenario = drysward.loads(text, DATA)
    record = read_record(scenario)
    ways = ways_on(scenario, record, JULY, OCTOBER)
    assert len(ways.ways) == 19
    assert ways.ways[0].name == "simulated 2"
    assert season_end(scenario, JULY) == OCTOBER
    outlook = drysward.season(scenario, "2018-07-01", usual=False)
    assert outlook.sizes["way"] == 19


def test_limits_of_a_share_by_jeffreys_prior() -> None:
    # Beta(9.5, 21.5) for 9 of 30: 0.180 to 0.448 with 90% confidence.
    low, high = jeffreys_limits(0.3, 30.0)
    assert float(low) == pytest.approx(0.180, abs=5e-4)
    assert float(high) == pytest.approx(0.448, abs=5e-4)
    assert float(jeffreys_limits(0.0, 30.0)[0]) == 0.0
    assert float(jeffreys_limits(1.0, 30.0)[1]) == 1.0


def test_a_stage_has_come_after_its_days_in_a_row() -> None:
    shares = np.array([0.3, 0.3, 0.0, 0.3, 0.3, 0.3, 0.0])[:, None]
    assert reached_by(shares, 0.25, 3)[:, 0].tolist() == [False] * 5 + [True] * 2
    # A day before today counts.
    assert reached_by(shares, 0.25, 3, 1.0)[:, 0].tolist() == [False, *[True] * 6]


def test_quantiles_of_equal_ways_stand_at_weibulls_positions() -> None:
    values = np.array([5.0, 1.0, 4.0, 2.0, 3.0, 9.0, 8.0, 7.0, 6.0])
    shares = np.array([0.1, 0.25, 0.5, 0.9])
    found = quantiles(values, shares, np.full(9, 1.0 / 9.0))
    assert found == pytest.approx(np.quantile(values, shares, method="weibull"))
    assert effective_number(np.full(9, 1.0 / 9.0)) == pytest.approx(9.0)
    assert first_day(np.array([[False, True, True], [False, False, False]])).tolist() == [1, 3]


TIGHT = """
[supply.sources.well]
kind = "well"
rate = "8 gpm"
"""


def test_a_standing_shortage_counts_once_in_outlook_and_hindcast() -> None:
    """Demand that is made again each day is one shortage in the books, and so by each date."""
    scenario = fields_of(TIGHT)
    record = read_record(scenario)
    ahead = run_ahead(start_at(scenario, record, JULY), ways_of_record(record, JULY, OCTOBER))
    refill = [plan.key for plan in scenario.plans].index("refill")
    short = ahead.causes.sum(axis=-1)
    assert short[:, refill].min() > 1.0
    need = needed_so_far_mm(ahead.fields)
    drawn = ahead.fields["irrigation_gross"].cumsum(axis=2)
    np.testing.assert_allclose(need[:, :, -1], drawn[:, :, -1] + short, atol=1e-9)
    again = (ahead.fields["missed"] > 0.0) | (ahead.fields["made_up"] > 0.0)
    assert not again.all()  # days on which the same shortage only stands
    assert (need >= drawn - 1e-9).all()
    past = hindcast(scenario, record, ("07-01",))
    issued = drysward.season(scenario, "2018-07-01", record=record, draws=0, usual=False)
    water = past.water_mean.sel(issued="07-01", year=2018, lead="end")
    whole = issued.water_of_way.mean("way").transpose(*water.dims)
    np.testing.assert_allclose(water, whole, atol=1e-6)


def test_each_draw_of_a_pond_has_its_own_water_today() -> None:
    """On a log the books of a supply are shared only where the supply is the same."""
    pond = """
[supply.storage]
kind = "pond"
capacity = "0.5 Mgal"
depth = "8 ft"
side_slope = 2
"""
    well = TIGHT.replace("8 gpm", "2 gpm")
    scenario = fields_of(well + pond)
    leaky = fields_of(well + pond + 'seepage = "0.5 in/d"\n')
    record = read_record(scenario)
    log = {"sand": {np.datetime64("2018-06-20"): 20.0}, "loam": {}}
    first = start_at(scenario, record, JULY, applied_mm=log)

    def water(start):
        return start.runs.supply.storage["volume"][:, 0]

    same = start_at(scenario, record, JULY, applied_mm=log, like=first)
    own = start_at(leaky, record, JULY, applied_mm=log, like=first)
    assert np.array_equal(water(same), water(first))
    assert np.array_equal(water(own), water(start_at(leaky, record, JULY, applied_mm=log)))
    assert (water(own) < water(first) - 1.0).all()
