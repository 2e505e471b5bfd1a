"""Laws of the goal of a sizing: fields that it judges, sizes that can be, why none suffices."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import drysward
from drysward.day.records import CAUSES
from drysward.faults import FaultyInput
from drysward.physics.pond import least_square_pond_m3, square_pond
from drysward.results.sizing_text import (
    anyway_lines,
    bounds_lines,
    goal_text,
    next_smaller_lines,
)
from drysward.scenario.model import ANY_FIELD, Restrictions, SiteStage, StorageSpec
from drysward.studies.size_outcome import why_nothing_suffices, why_out_of_season
from drysward.studies.sizing import (
    Trial,
    Tried,
    judged_fields,
    least_size,
    sizing_dataset,
    smallest_size,
    solve,
    with_size,
)

YEARS = (1, 10)


@pytest.fixture(scope="module")
def shipped():
    scenario = drysward.shipped("pond")
    return replace(scenario, sizing=replace(scenario.sizing, against=None))


def aiming(scenario, **goal):
    return replace(scenario, sizing=replace(scenario.sizing, **goal))


def with_well(scenario, rate_m3_h):
    well, mains = scenario.supply.sources
    sources = (replace(well, rate_m3_h=rate_m3_h), replace(mains, rate_m3_h=0.0))
    return replace(scenario, supply=replace(scenario.supply, sources=sources, catchments=()))


# --- fields -------------------------------------------------------------------------------------


def test_any_field_fails_where_one_of_them_does(shipped):
    some = replace(with_well(shipped, 1.0), answers=replace(shipped.answers, reached_days=1))
    size = 8000.0
    supply = with_size(some.supply, some.sizing.find, size)

    def fails(field):
        return Trial(aiming(some, field=field, outcome="wilt"), YEARS).outcomes([supply])[0]

    each = [fails(field.key) for field in some.fields]
    of_any = fails(ANY_FIELD)
    assert of_any.by_field.T.tolist() == [one.fails.tolist() for one in each]
    assert of_any.fails.tolist() == np.any([one.fails for one in each], axis=0).tolist()
    assert of_any.fails.any()


def test_skinned_fields_are_not_judged(shipped):
    turf, *others = shipped.fields
    infield = replace(turf, key="infield", surface="skinned")
    scenario = aiming(replace(shipped, fields=(infield, *others)), field=ANY_FIELD)
    assert judged_fields(scenario) == [1, 2]
    with pytest.raises(FaultyInput, match="'infield' has no turf to judge"):
        judged_fields(aiming(scenario, field="infield"))
    assert judged_fields(aiming(scenario, outcome="shortage", field="")) == []


def test_the_goal_says_which_fields(shipped):
    assert "25% of “Practice field” for" in goal_text(shipped)
    assert "25% of any field for" in goal_text(aiming(shipped, field=ANY_FIELD))


# --- the smallest pond ----------------------------------------------------------------------------


@pytest.mark.parametrize("size", [400.0, 1000.0, 30000.0])
def test_a_size_is_the_pond_that_the_scenario_would_write(shipped, size):
    storage = with_size(shipped.supply, shipped.sizing.find, size).storage
    volumes, areas = square_pond(size, 3.048, 3.0)
    assert storage.volumes_m3 == pytest.approx(tuple(volumes))
    assert storage.areas_m2 == pytest.approx(tuple(areas))
    before = shipped.supply.storage
    assert storage.dead_m3 / size == pytest.approx(before.dead_m3 / before.volumes_m3[-1])


def test_a_surveyed_pond_and_a_tank_have_no_smallest_size(shipped):
    for kind in ("pond", "tank"):
        bare = StorageSpec(kind, (0.0, 1000.0), (100.0, 500.0))
        supply = replace(shipped.supply, storage=bare)
        assert smallest_size(supply, shipped.sizing.find) == 0.0
        assert with_size(supply, shipped.sizing.find, 10.0).storage.areas_m2 == (1.0, 5.0)
    assert smallest_size(shipped.supply, replace(shipped.sizing.find, what="source rate")) == 0.0


@pytest.mark.parametrize("low", [math.nan, 0.0, 50.0])
def test_no_pond_is_tried_that_its_shape_cannot_hold(shipped, low):
    find = replace(shipped.sizing.find, low=low)
    tried = Tried(Trial(shipped, YEARS), shipped.supply, find)
    least = least_square_pond_m3(3.048, 3.0)
    assert tried.smallest == pytest.approx(least)
    rungs = tried.rungs()
    assert rungs == sorted(set(rungs))
    # Nothing at all may be tried: there may be no need for a pond.
    assert rungs[0] == (tried.smallest if low > 0.0 else 0.0)
    assert tried.smallest in rungs
    assert min(x for x in rungs if x > 0.0) == tried.smallest


class Falling(Tried):
    """Sizes from ``enough`` on suffice, of a pond that holds no less than ``smallest``."""

    def __init__(self, supply, sought, smallest, enough):
        self.supply, self.sought, self.smallest, self.enough = supply, sought, smallest, enough
        self.low, self.most, self.known = 0.0, 1e5, {}
        self.sizes = []

    def need(self, sizes):
        self.sizes += sizes

    def count(self, size):
        self.sizes.append(size)
        return int(size < self.enough)


@pytest.mark.parametrize("enough", [1e-3, 340.0, 341.0, 500.0, 9e4])
def test_the_search_ends_at_the_smallest_pond(shipped, enough):
    tried = Falling(shipped.supply, shipped.sizing.find, 340.0, enough)
    size, less = least_size(tried, 0)
    assert size == pytest.approx(max(enough, 340.0), rel=0.02)
    assert less == 0.0 if size == 340.0 else 0.0 < less < size
    assert not [one for one in tried.sizes if 0.0 < one < 340.0]


def test_the_smallest_pond_is_stated_once(shipped):
    found = aiming(with_well(shipped, 40.0), find=replace(shipped.sizing.find, low=10.0))
    told = sizing_dataset(solve(found, YEARS))
    (line,) = bounds_lines(told, "us")
    assert line[0] == "Smallest pond"
    assert line[1].startswith("89,766 gal: 10 ft deep with sides of 3:1 it holds no less")
    assert 'lower depth, or size it as kind = "tank"' in line[1]
    assert bounds_lines(told, "metric")[0][1].startswith("340 m3: 3.05 m deep")
    assert bounds_lines(sizing_dataset(solve(shipped, YEARS)), "us") == []


# --- nothing suffices ---------------------------------------------------------------------------


def why(scenario):
    told = sizing_dataset(solve(scenario, YEARS))
    assert math.isnan(told["sizing_size"].item())
    ((head, text),) = next_smaller_lines(told, "us")
    assert head == "Why nothing suffices"
    return text


def test_a_plan_that_waters_too_little_is_named(shipped):
    plans = [replace(plan, trigger=0.95) for plan in shipped.plans if plan.key == "refill"]
    text = why(aiming(replace(shipped, plans=tuple(plans)), outcome="wilt", field=ANY_FIELD))
    assert text.startswith("even with all the water that the plan demands, ")
    assert " wilts in " in text
    assert "of 10 years" in text
    assert "(limit 1). The plan itself waters too little: change its trigger" in text


def test_a_system_that_puts_on_too_little_is_named(shipped):
    fields = [
        replace(field, delivery=replace(field.delivery, flow_m3_h=1.0)) for field in shipped.fields
    ]
    text = why(aiming(replace(shipped, fields=tuple(fields)), outcome="wilt"))
    assert "the night is too short for the system" in text
    assert "Change the window or the system: more hours a night, or more flow" in text


def test_a_supply_that_gives_too_little_is_named(shipped):
    text = why(aiming(with_well(shipped, 0.1), field=ANY_FIELD))
    assert text.startswith("with all the water that the plan demands the goal is kept (")
    assert "the storage has none left to draw" in text
    assert "Change what fills the storage: a larger well or catchment" in text


def test_a_shortage_that_no_size_keeps(shipped):
    goal = aiming(with_well(shipped, 0.1), outcome="shortage", field="", share=0.05)
    assert "the storage has none left to draw" in why(goal)


def test_closed_days_that_cost_the_goal_are_named(shipped):
    """A plan demands no water on a closed day, so that no shortage would show it."""
    week = (True, False, False, True, False, False, False)
    two_days = SiteStage(enter=0.0, leave=0.0, first=0, last=365, allowed=week)
    rules = Restrictions("calendar", (two_days,))
    scenario = replace(shipped, supply=replace(shipped.supply, restrictions=rules))
    text = why(aiming(scenario, field=ANY_FIELD, outcome="wilt"))
    assert "without the restrictions some size suffices" in text
    assert "Change the restrictions, or exempt the field from them" in text


def test_a_supply_that_falls_short_beside_closed_days_is_named_too(shipped):
    trial = Trial(shipped, YEARS)
    given = trial.outcomes([shipped.supply])[0]
    kept = replace(given, by_field=np.zeros_like(given.by_field))
    cut = np.zeros_like(given.missed)

    def text(share):
        cut[:, CAUSES.index("storage")] = share * given.demand
        poor = replace(given, missed=cut, by_field=np.ones_like(given.by_field))
        return why_nothing_suffices(shipped, trial.judged, 1, kept, {}, poor, True)

    assert "without the restrictions some size suffices" in text(0.3)
    assert "The rest of the supply falls short too. Of the shortage of those years: " in text(0.3)
    assert "the storage has none left to draw (100%)" in text(0.3)
    assert "falls short too" not in text(0.01)


# --- years that fail with any size ----------------------------------------------------------------


def watered_late(scenario):
    """The scenario with a plan that may water from July 31 to October 15 only."""
    plan = scenario.plan_named(scenario.sizing.plan)
    late = replace(plan, season=(212, 288))
    plans = tuple(late if one.key == plan.key else one for one in scenario.plans)
    return replace(scenario, plans=plans)


def test_a_season_that_is_too_short_is_why_nothing_suffices(shipped):
    text = why(aiming(watered_late(shipped), field=ANY_FIELD, outcome="wilt"))
    assert text.startswith("even with all the water that the plan demands, ")
    assert "outside of the plan's season (July 31 to October 15): let it water then" in text
    assert "waters too little" not in text


@pytest.mark.slow
def test_a_stage_that_begins_before_the_plan_waters_is_said(shipped):
    """A plan that may water from the end of July on cannot keep June from dormancy."""
    plan = shipped.plan_named(shipped.sizing.plan)
    scenario = aiming(watered_late(shipped), field=ANY_FIELD)
    solved = solve(scenario, YEARS)
    anyway = solved.least.failing_anyway
    assert set(anyway) <= set(solved.least.failing_years)
    assert anyway
    trial = Trial(scenario, YEARS)
    begins = trial.first_days(solved.least.outcome.supply, anyway)
    assert set(begins) == set(anyway)
    for year, day in begins.items():
        # By hand, from the days of that year on each field.
        days = []
        for field in scenario.fields:
            account = drysward.ledger(
                replace(scenario, supply=solved.least.outcome.supply), field.key, plan.key, year
            )
            above = account["dormant"].values > scenario.sizing.share
            first, last = scenario.answers.season
            counts = above & (account["day_of_year"].values - 1 >= first)
            counts &= account["day_of_year"].values - 1 <= last
            n = scenario.answers.reached_days
            at = next((i for i in range(len(counts)) if counts[i : i + n].sum() == n), None)
            while at is not None and at > 0 and above[at - 1]:
                at -= 1
            if at is not None:
                days.append(int(account["day_of_year"].values[at]) - 1)
        assert day in days
    assert all(day < 212 for day in begins.values())
    ((head, text),) = anyway_lines(sizing_dataset(solved))
    assert head == "With any size"
    assert "dormancy begins " in text
    assert "outside of the plan's season (July 31 to October 15): let it water then" in text


def test_days_on_which_a_stage_begins_do_not_depend_on_the_other_years(shipped):
    """Years run fifty at a time, and each fifty lead in with days of the years before."""
    scenario = aiming(watered_late(shipped), field=ANY_FIELD, outcome="wilt")
    trial = Trial(scenario, (1, 56))
    begins = trial.first_days(scenario.supply, range(45, 57))
    assert len(trial.weather) > 1
    assert {year > 50 for year in begins} == {True, False}
    for year, day in begins.items():
        assert trial.first_days(scenario.supply, [year]) == {year: day}


def test_the_season_is_no_cause_where_the_plan_waters(shipped):
    season = shipped.plan_named(shipped.sizing.plan).season
    assert why_out_of_season(shipped, {1: season[0], 2: season[1]}) == ""
    assert why_out_of_season(shipped, {}) == ""
    some = why_out_of_season(shipped, {1: season[0], 2: 86})
    assert some.startswith("in 1 of them dormancy begins on March 27, outside")
    many = {year: 60 + year for year in range(9)}
    assert "begins between March 1 and March 9" in why_out_of_season(shipped, many)
