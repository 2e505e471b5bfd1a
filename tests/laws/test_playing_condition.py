"""Laws of spells and of the days below playing condition, beside a slow count of daily accounts."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from drysward.day.counting import count_condition
from drysward.day.records import STAGES
from drysward.drive.runs import run_plan
from drysward.results.answers import answers
from drysward.results.odds import error_of_mean, worst_in_ten
from drysward.scenario.model import PlayingCondition
from drysward.site.stretches import prepare
from drysward.studies.compare import run

CONDITION = PlayingCondition(green=0.8, wilt=0.15)


def longest_run(chosen):
    """Most in a row that are true, counted one by one."""
    longest = here = 0
    for one in chosen:
        here = here + 1 if one else 0
        longest = max(longest, here)
    return longest


# The second season lies on both sides of the turf year's end.
@pytest.fixture(scope="module", params=[(91, 304), (270, 150)], ids=["summer", "over the winter"])
def site(request, scenes):
    scenario = scenes.everything()
    told = replace(
        scenario.answers,
        season=request.param,
        playing_condition=CONDITION,
        reached={"footprint": 0.3, "wilt": 0.2, "dormant": 0.1, "dead": 0.02},
    )
    return prepare(replace(scenario, answers=told), scenes.hard_weather(3))


def test_days_and_spells_are_those_of_a_slow_count(site):
    """Of one plan that leaves the turf dry: every day of its account is looked at once more."""
    plan = site.scenario.plan_named("none")
    done = run_plan(site, plan, slice(0, site.calendar.size))
    most = dict.fromkeys(("days_below_condition", *(f"longest_{s}" for s in STAGES)), 0.0)
    for year in range(len(site.years)):
        here = site.calendar.year == year
        in_season = site.calendar.in_season[here] == 1
        for f, field in enumerate(site.scenario.fields):
            of_year, trace = done.years[f, year], done.trace[here, f]
            below = in_season & ((trace.green < CONDITION.green) | (trace.wilt > CONDITION.wilt))
            expected = 0 if field.surface == "skinned" else below.sum()
            assert of_year.days_below_condition == expected
            for stage in STAGES:
                reached = trace[stage] >= site.scenario.answers.reached[stage]
                spell = longest_run(reached & in_season)
                assert of_year[f"longest_{stage}"] == spell, (stage, year, field.key)
            for name, value in most.items():
                most[name] = max(value, of_year[name])
    assert most["days_below_condition"] > most["longest_wilt"] > 3


def test_a_year_has_a_stage_after_so_many_days_in_a_row(scenes):
    """The more days, the fewer years; with one day, the years in which the largest share does."""
    made = [
        scenes.field(zone, species)
        for zone, species in (
            ("native_loam", "kentucky_bluegrass"), ("sand_over_gravel_12in", "creeping_bentgrass"),
        )
    ]  # fmt: skip
    plans = [scenes.plan(), scenes.plan("refill", trigger=0.72)]
    record = scenes.weather(8, seed=3)
    odds = []
    for days in (1, 2, 3, 6, 12, 366):
        scenario = scenes.scenario(made, plans, reached_days=days)
        result = run(scenario, record=record)
        odds.append(answers(result)["probability"].values)
    for fewer, more in pairwise(odds):
        assert (fewer >= more).all()
    assert (odds[0] > odds[2]).any()
    assert not odds[-1].any()
    peaks = np.stack([result[f"peak_{stage}"].values for stage in STAGES], axis=2)
    at_once = (peaks >= result["reached"].values[:, None]).mean(axis=-1)
    np.testing.assert_array_equal(odds[0], at_once)


@pytest.mark.parametrize(
    ("green", "wilt", "skinned", "active", "expected"),
    [
        (0.75, 0.25, 0.0, 1.0, 0.0),  # both limits are within the condition
        (0.7499, 0.0, 0.0, 1.0, 1.0),
        (1.0, 0.2501, 0.0, 1.0, 1.0),
        (0.5, 0.4, 0.0, 1.0, 1.0),  # once, though both are amiss
        (0.0, 0.0, 1.0, 1.0, 0.0),
        (0.5, 0.0, 0.0, 0.4, 0.0),  # at winter rest
    ],
)
def test_a_day_below_condition(green, wilt, skinned, active, expected):
    assert count_condition(0.75, 0.25, skinned, active, green, wilt, 7.0) == 7.0 + expected


def test_stricter_conditions_have_more_days_below(scenes):
    record, found = scenes.weather(3), []
    for green, wilt in ((0.5, 0.5), (0.75, 0.25), (0.9, 0.25), (0.9, 0.1)):
        condition = PlayingCondition(green, wilt)
        scenario = scenes.scenario([scenes.field()], playing_condition=condition)
        found.append(run(scenario, record=record)["days_below_condition"].values)
    assert all((one <= other).all() for one, other in pairwise(found))
    assert (found[0] < found[-1]).any()


def test_a_skinned_surface_has_no_turf_to_judge(scenes):
    scenario = scenes.everything()
    result = run(scenario, record=scenes.hard_weather(2))
    told = answers(result)
    is_skinned = np.array([field.surface == "skinned" for field in scenario.fields])
    for name in ("mean", "se", "1in10"):
        unknown = np.isnan(told[f"days_below_condition_{name}"].values)
        np.testing.assert_array_equal(unknown, np.broadcast_to(is_skinned[:, None], unknown.shape))


def test_the_worst_year_in_ten():
    days = np.arange(1.0, 20.0)  # of 19 years the 2nd largest has Weibull's 2/20
    assert worst_in_ten(days) == pytest.approx(18.0)
    assert worst_in_ten(days[:4]) == 4.0
    assert error_of_mean([3.0, 5.0], 2) == pytest.approx(1.0)
    assert np.isnan(error_of_mean([3.0], 1))
