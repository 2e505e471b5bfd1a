"""Laws of a plan that names other plans for some fields: on each field it is the plan named."""

from __future__ import annotations

import re

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.results.alternatives import ALTERNATIVES
from drysward.results.answer_text import answer_sentences
from drysward.results.volumes import site_volumes
from drysward.scenario.load import loads, shipped_texts
from drysward.studies.doubt.crossed import crossed

FOLLOWED = {"stadium": "deficit", "practice": "none"}
YEARS = (1, 4)
MINE = """
[plans.mine]
rule = "refill"
trigger = 0.5
"""


def scenario_with(fields, more=""):
    """The shipped demo, whose fields share no water, with one more plan."""
    named = ", ".join(f'{field} = "{other}"' for field, other in fields.items())
    of_fields = f"fields = {{ {named} }}\n" if named else ""
    return loads(shipped_texts()["demo"] + MINE + of_fields + more, ".", "mine.toml")


def water_of(result):
    return result["irrigation_gross"].sel(plan="mine")


@pytest.fixture(scope="module")
def result():
    return drysward.run(scenario_with(FOLLOWED), years=YEARS)


def test_it_does_on_each_field_what_the_plan_named_does(result):
    for name, values in result.data_vars.items():
        if {"field", "plan"} <= set(values.dims):
            for field, plan in FOLLOWED.items():
                mine, named = (values.sel(field=field, plan=key) for key in ("mine", plan))
                np.testing.assert_array_equal(mine, named, str(name))


def test_on_other_fields_it_is_as_written():
    mixed, written = (
        drysward.run(scenario_with(fields), years=YEARS) for fields in ({"practice": "none"}, {})
    )
    assert (water_of(mixed).sel(field="practice") == 0.0).all()
    on_stadium = [water_of(one).sel(field="stadium") for one in (mixed, written)]
    np.testing.assert_array_equal(*on_stadium)
    assert on_stadium[0].mean() > 100.0


def test_its_water_is_summed_over_the_fields(result):
    by_field = water_of(result) * result["area_m2"] / 1000.0
    of_site = site_volumes(result, (10.0,))["site_season_volume"].sel(plan="mine")
    assert of_site.item() == pytest.approx(by_field.sum("field").mean("year").item())


def test_fields_that_a_plan_names_are_all_built():
    other = """
[fields.other]
area = "1.8 acre"
species = "kentucky_bluegrass"
root_zone = "{}"
delivery = "in_ground_rotors"
"""
    more = other.format("native_loam") + other.format("native_clay_loam").replace("other", "third")
    for fields, built in (({"practice": "none"}, True), ({}, False)):
        found = drysward.run(scenario_with(fields, more=more), years=(1, 1))
        assert (found.attrs[ALTERNATIVES] == "[]") is built


def test_a_draw_runs_the_plans_named():
    scenario = scenario_with(FOLLOWED)
    plans = tuple(scenario.plan_named(key) for key in ("mine", "deficit", "none"))
    found = crossed(scenario, 3, plans, YEARS)
    for values in found.rows.values():
        np.testing.assert_array_equal(values[0, 0], values[0, 1])
        np.testing.assert_array_equal(values[1, 0], values[1, 2])


def test_a_function_like_it_holds_on_all_fields():
    added = scenario_with(FOLLOWED).with_plan("own", lambda day: 0.0, like="mine")
    assert not added.plan_named("own").by_field


@pytest.mark.parametrize(
    "fields, words",
    [
        ({"stadum": "none"}, r"plans\.mine\.fields\.stadum: .*'stadium'"),
        ({"stadium": "refil"}, r"plans\.mine\.fields\.stadium: .*'refill'"),
        ({"stadium": "mine"}, r"plans\.mine\.fields\.stadium: 'mine' names fields itself"),
    ],
)
def test_what_it_names_must_be_there(fields, words):
    with pytest.raises(FaultyInput, match=words):
        scenario_with(fields)


def test_the_first_screen_has_its_water_of_all_fields(result):
    summary = drysward.summarize(result)
    m3 = summary["site_season_volume"].sel(plan="mine").item()
    (said,) = (text for text in answer_sentences(summary) if text.startswith("Under “mine” "))
    found = re.fullmatch(r"Under “mine” all fields together take ([\d,]+) gal in .*\.", said)
    assert found is not None
    assert float(found[1].replace(",", "")) == pytest.approx(m3 * 264.172, rel=0.005)
