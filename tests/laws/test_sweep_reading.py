"""What is read off a sweep: front, effects, search."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import drysward
from drysward.faults import FaultyInput
from drysward.results.export import front_rows
from drysward.screen.formats import as_text
from drysward.screen.sweep import _index, effects_parts, front_parts, search_parts
from drysward.studies.sweep.description import sweep_of
from drysward.studies.sweep.effects import correlation_ratio, effects
from drysward.studies.sweep.front import front, unbeaten
from drysward.studies.sweep.points import axis_values_text, point_at
from drysward.studies.sweep.search import search

STAGES = ["footprint", "wilt", "dormant", "dead"]


def made_up(cost: np.ndarray, risk: np.ndarray, **axes) -> xr.Dataset:
    """A sweep of one field and plan whose water and odds of wilt are given, (n,)."""
    n = cost.size
    odds = np.zeros((n, 1, 1, 4))
    odds[:, 0, 0, 1] = risk
    staged = ("point", "field", "plan", "stage")
    return xr.Dataset(
        {
            "season_water": (("point", "field", "plan"), cost.reshape(n, 1, 1)),
            "probability": (staged, odds),
            "probability_se": (staged, np.full((n, 1, 1, 4), 0.03)),
            "area_m2": (("point", "field"), np.ones((n, 1))),
            "months": (("point", "plan", "month"), np.zeros((n, 1, 12))),
        },
        coords={
            "point": np.arange(n),
            "sample": ("point", np.arange(n)),
            "field": ["f"],
            "field_label": ("field", ["F"]),
            "plan": ["p"],
            "plan_label": ("plan", ["P"]),
            "stage": STAGES,
            **{name: ("point", values) for name, values in axes.items()},
        },
        attrs={
            "title": "T",
            "source": "drysward",
            "weather": "w",
            "identity": "",
            "design": "grid",
            "axes": json.dumps(list(axes)),
            "linked": json.dumps(dict.fromkeys(axes, "")),
            "points": n,
            "points_done": n,
        },
    )


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=25))
@settings(deadline=None)
def test_nothing_on_a_front_is_beaten_and_all_else_is(pairs):
    cost, risk = np.array(pairs, float).T
    kept = set(unbeaten(cost, risk))

    def beaten(i: int) -> bool:
        return any(
            (cost[j] <= cost[i] and risk[j] <= risk[i])
            and (cost[j] < cost[i] or risk[j] < risk[i])
            for j in range(cost.size)
        )

    points = {(cost[i], risk[i]) for i in kept}
    assert points == {(cost[i], risk[i]) for i in range(cost.size) if not beaten(i)}
    assert len(points) == len(kept)


def test_a_front_is_sorted_by_cost_and_leaves_out_what_is_not_known():
    cost = np.array([30.0, 10.0, 20.0, np.nan, 5.0])
    risk = np.array([0.1, 0.5, 0.6, 0.0, np.nan])
    kept = front(made_up(cost, risk, depth=np.arange(5.0)))
    assert list(kept["depth"].values) == [1.0, 0.0]
    assert list(kept["cost"].values) == [10.0, 30.0]
    assert list(kept["risk_se"].values) == [0.03, 0.03]


def test_each_value_of_an_axis_has_a_front_of_its_own(tmp_path):
    cost = np.array([10.0, 20.0, 30.0, 15.0, 25.0, 35.0])
    risk = np.array([0.3, 0.2, 0.25, 0.5, 0.4, 0.1])
    points = made_up(cost, risk, species=np.array(["b"] * 3 + ["a"] * 3), depth=np.arange(6.0))
    kept = front(points, by="species")
    # Against all, the points 0, 1 and 5 stand; among those of "a" alone 3 and 4 do too.
    assert list(front(points)["depth"].values) == [0.0, 1.0, 5.0]
    assert list(kept["species"].values) == ["a", "a", "a", "b", "b"]
    assert list(kept["depth"].values) == [3.0, 4.0, 5.0, 0.0, 1.0]
    assert [path.name for path in drysward.save(kept, tmp_path)] == [
        "front-water-wilt-by-species.csv"
    ]
    text = as_text(front_parts(kept, "metric"), 200)
    assert "a front for each species" in text
    assert text.index("species a") < text.index("species b")
    # A plan is one value here, a drawn axis has too many.
    assert list(front(points, by="plan")["depth"].values) == [0.0, 1.0, 5.0]
    with pytest.raises(FaultyInput, match=r"no axis 'specis'.*species"):
        front(points, by="specis")
    many = made_up(np.ones(60), np.ones(60), depth=np.arange(60.0))
    with pytest.raises(FaultyInput, match="'depth' has 60 values"):
        front(many, by="depth")


def test_common_draws_are_averaged_before_a_front_is_drawn():
    cost = np.array([10.0, 14.0, 20.0, 22.0])
    risk = np.array([0.2, 0.4, 0.1, 0.3])
    sweep = made_up(cost, risk, trigger=np.array([0.3, 0.3, 0.6, 0.6]))
    sweep = sweep.assign_coords(draw=("point", [0, 1, 0, 1]))
    kept = front(sweep)
    assert list(kept["cost"].values) == [12.0, 21.0]
    np.testing.assert_allclose(kept["risk"].values, [0.3, 0.2])
    assert list(kept["trigger"].values) == [0.3, 0.6]


@pytest.mark.parametrize("name", ["wlit", "months", "demand"])
def test_what_is_no_number_of_a_point_is_refused(name):
    with pytest.raises(FaultyInput, match=f"^risk: no '{name}' that is one number"):
        front(made_up(np.ones(2), np.ones(2)), risk=name)


def test_main_effects_of_a_grid_add_up_when_nothing_interplays():
    a, b = (axis.ravel() for axis in np.meshgrid([0.0, 1.0, 2.0], [0.0, 1.0], indexing="ij"))
    risk = 0.2 * a + 0.1 * b
    told = effects(made_up(np.ones(6), risk, a=a, b=b), "wilt")
    # Variances 0.04 * 2/3 and 0.01 * 1/4.
    np.testing.assert_allclose(told["main"], np.array([0.04 * 2 / 3, 0.01 / 4]) / risk.var())
    assert float(told["main"].sum()) == pytest.approx(1.0)
    assert list(told["low_at"].values) == ["0", "0"]
    np.testing.assert_allclose(told["high_mean"], [0.45, 0.30])


def test_an_axis_that_drives_nothing_has_no_effect_by_chance():
    rng = np.random.default_rng(3)
    groups = rng.integers(0, 8, 400)
    values = rng.normal(size=400)
    plain = correlation_ratio(groups, values, by_chance=False)
    corrected = correlation_ratio(groups, values, by_chance=True)
    assert 0.0 < plain < 0.06
    assert corrected < plain - 0.01
    assert np.isnan(correlation_ratio(groups, np.ones(400), by_chance=True))


def test_indices_of_a_linear_function_are_its_shares_of_variance(tmp_path):
    """y = 2 x + z + nothing of w: first and total indices 0.8, 0.2 and 0."""
    from drysward.studies.sweep.design import design_of

    shipped = drysward.shipped()
    axes = "\n".join(
        f'[axes.{name}]\nkey = "plans.refill.{key}"\nfrom = 0.0\nto = 0.3'
        for name, key in (("x", "trigger"), ("z", "target"), ("w", "least_depth"))
    )
    text = f'scenario = "demo"\n[design]\nkind = "sobol indices"\nsamples = 512\n{axes}'
    design = design_of(sweep_of("s", text, "b", shipped.text, shipped.folder))
    x, z, _ = design.positions.T
    sweep = made_up(np.ones(design.n), (2.0 * x + z) / 3.0, x=x, z=z, w=design.positions[:, 2])
    sweep = sweep.assign_coords(
        block=("point", design.block), sample=("point", design.sample)
    ).assign_attrs(design="sobol indices")
    told = effects(sweep, "wilt")
    np.testing.assert_allclose(told["first"], [0.8, 0.2, 0.0], atol=0.02)
    np.testing.assert_allclose(told["total"], [0.8, 0.2, 0.0], atol=0.02)
    assert (told["total_low"] <= told["total"])[:2].all()
    words = as_text(effects_parts(told, "us"), 200)
    assert "First" in words
    assert "Total" in words
    assert "Samples" not in words
    unsure = told.assign(first_low=told["first_low"] - 0.6)
    assert "too few: limits of an index lie up to 0." in as_text(effects_parts(unsure, "us"), 200)
    unfinished = sweep.assign_attrs(points_done=design.n - 1)
    with pytest.raises(FaultyInput, match="indices need all points"):
        effects(unfinished, "wilt")


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [(-0.02, -0.12, -0.001, "-0.02 (-0.12 to 0.00)"), (-0.004, 0.1, 0.2, "0.00 (0.10-0.20)"),
     (np.nan, np.nan, np.nan, "-")],
)  # fmt: skip
def test_an_index_and_its_limits(value, low, high, text):
    assert _index(value, low, high) == text


ROOTS = """
scenario = "demo"
[axes.roots]
catalog = "species.kentucky_bluegrass.root_depth_sand"
[axes.share]
catalog = "species.kentucky_bluegrass.wilt_ks"
[axes.listed]
key = "overrides.species.kentucky_bluegrass.root_depth_native"
values = [254, 300]
"""


def test_numbers_of_the_catalog_keep_their_unit_on_an_axis():
    from drysward.studies.sweep.design import Design

    demo = drysward.shipped("demo")
    sweep = sweep_of("s", ROOTS, "demo.toml", demo.text, demo.folder)
    none = np.zeros(1, np.int64)
    at = Design(sweep, np.zeros((1, 3)), none, none, none).coordinates()
    units = {name: at[name].attrs["units"] for name in ("roots", "share", "listed")}
    assert units == {"roots": "mm", "share": "1", "listed": "mm"}
    low = demo.catalog.get("species", "kentucky_bluegrass").parameter("root_depth_sand").low
    start = np.zeros(3)
    assert f"roots = {low:g} mm, " in axis_values_text(sweep, start)
    told = axis_values_text(sweep, start, system="us")
    assert f"roots = {low / 25.4:g} in, " in told
    assert told.endswith("listed = 10 in")
    # What a point sets is a bare number, as [overrides] takes it.
    assert point_at(sweep, start).scenario.catalog.overrides[
        "species.kentucky_bluegrass.root_depth_sand"
    ] == pytest.approx(low)


@pytest.mark.slow
def test_the_search_judges_by_the_independent_years_as_the_front_does(tmp_path):
    from drysward.studies.sweep.run import plan_work, run_sweep

    shipped = drysward.shipped()
    text = SEARCH.replace("years = 40", 'years = 90\nplans = ["refill"]')
    text = text.replace("0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8]", "0.81, 0.815]")
    text = text.replace("values = [0.0, 0.1]", "values = [0.0]").replace("0.60", "0.99")
    sweep = sweep_of("s.toml", text, "demo.toml", shipped.text, shipped.folder)
    run_sweep(plan_work(sweep), tmp_path)
    every = drysward.open(tmp_path).load()
    assert every.attrs["independent_years"] < 90
    found = search(sweep).best
    assert found is not None
    one = every.sel(field="practice", plan="refill", stage="wilt")
    here = one.isel(point=int(np.argmin(abs(one["season_water"].values - found.water_mm))))
    assert 0.0 < found.odds.p < 1.0
    assert found.odds.standard_error == pytest.approx(here["probability_se"].item(), rel=1e-6)


def test_what_a_search_gives_can_be_printed():
    from drysward.results.odds import probability_of
    from drysward.studies.sweep.search import Found, Tried

    demo = drysward.shipped("demo")
    sweep = sweep_of("s", SEARCH, "demo.toml", demo.text, demo.folder)
    assert "rule =" not in repr(sweep)
    best = Tried(np.zeros(2), 300.0, 300.0, probability_of([True, False]), 1.0, 0.1, False)
    assert sweep.search is not None
    found = Found(sweep, sweep.search, best, best, None, 2, 2, 4, (), 1, ())
    assert len(repr(found)) < 1500
    assert "water_mm=300.0" in repr(found)
    assert len(repr(demo.catalog)) < 1000


SEARCH = """
scenario = "demo"
years = 40
[axes.trigger]
key = "plans.refill.trigger"
values = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8]
[axes.target]
key = "plans.refill.target"
values = [0.0, 0.1]
[search]
plan = "refill"
field = "practice"
odds = 0.60
tries = 60
"""


@pytest.mark.slow
def test_the_search_finds_what_trying_everything_finds(tmp_path):
    from drysward.studies.sweep.run import plan_work, run_sweep

    shipped = drysward.shipped()
    sweep = sweep_of("s.toml", SEARCH, "demo.toml", shipped.text, shipped.folder)
    text = SEARCH.replace("years = 40", 'years = 40\nplans = ["refill"]')
    run_sweep(
        plan_work(sweep_of("s.toml", text, "demo.toml", shipped.text, shipped.folder)), tmp_path
    )
    every = drysward.open(tmp_path).load().sel(field="practice", plan="refill")
    keeps = every["probability"].sel(stage="wilt") <= 0.60
    least = every["season_water"].where(keeps).min()
    found = search(sweep)
    assert found.best is not None
    assert found.best.water_mm == float(least)
    assert found.best.odds.p <= 0.60
    assert found.n_tried <= 14
    # Fresh years are others: the same plan does a little differently on them.
    assert found.fresh is not None
    assert found.fresh.water_mm != found.best.water_mm
    np.testing.assert_array_equal(found.fresh.positions, found.best.positions)


@pytest.mark.slow
def test_the_search_keeps_days_below_playing_condition(tmp_path):
    from drysward.studies.sweep.front import front
    from drysward.studies.sweep.run import plan_work, run_sweep

    shipped = drysward.shipped()
    # The whole field at once: a night must be able to refill it for triggers to tell years apart.
    base = shipped.text.replace("uniformity = 0.6", "uniformity = 0.6, zones = 1")
    text = SEARCH.replace("odds = 0.60", "days_below = 6").replace("years = 40", "years = 20")
    text = text.replace("0.5, 0.6, 0.7, 0.8]", "0.785, 0.795, 0.8, 0.81]")
    text = text.replace("values = [0.0, 0.1]", "values = [0.0]")
    sweep = sweep_of("s.toml", text, "demo.toml", base, shipped.folder)
    text = text.replace("years = 20", 'years = 20\nplans = ["refill"]')
    run_sweep(plan_work(sweep_of("s.toml", text, "demo.toml", base, shipped.folder)), tmp_path)
    every = drysward.open(tmp_path).load()
    one = every.sel(field="practice", plan="refill")
    keeps = one["days_below_condition_mean"] <= 6.0
    assert 0 < int(keeps.sum()) < keeps.size
    found = search(sweep)
    assert found.best is not None
    assert found.best.water_mm == float(one["season_water"].where(keeps).min())
    assert found.best.risk == found.best.days_below <= 6.0
    assert found.best.days_limits[0] < found.best.days_below < found.best.days_limits[1]
    assert found.fresh is not None
    assert found.fresh.water_mm != found.best.water_mm
    named = front(every, risk="days below", field="practice")
    full = front(every, risk="days_below_condition_mean", field="practice")
    np.testing.assert_array_equal(named["risk"], full["risk"])
    assert named["risk"].attrs["units"] == "d"


DRAWN = SEARCH.replace("[search]", """
[axes.wilt_ks]
catalog = "species.kentucky_bluegrass.wilt_ks"
[design]
samples = 4
[search]""").replace("values = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8]", "values = [0.75, 0.85]")


@pytest.mark.slow
def test_what_is_drawn_is_averaged_over_as_on_a_front(tmp_path):
    """A plan's water and odds are the same in ``search`` and in ``front`` of one sweep file."""
    from drysward.studies.sweep.run import plan_work, run_sweep

    shipped = drysward.shipped()
    sweep = sweep_of("s.toml", DRAWN, "demo.toml", shipped.text, shipped.folder)
    ran = sweep_of("s.toml", f'plans = ["refill"]\n{DRAWN}', "d", shipped.text, shipped.folder)
    run_sweep(plan_work(ran), tmp_path)
    every = drysward.open(tmp_path)
    assert every["probability"].sel(stage="wilt", field="practice").max() > 0.60
    choices = front(every, risk="wilt", field="practice")
    found = search(sweep)
    assert (found.averaged, found.n_draws, found.left_out) == (("wilt_ks",), 4, ())
    assert [axis.name for axis in found.sweep.axes] == ["trigger", "target"]
    assert "means over 4 draws of wilt_ks." in as_text(search_parts(found, "us"), 200)
    assert found.n_tried <= 4
    keeping = choices.where(choices["risk"] <= 0.60, drop=True)
    best = keeping.isel(choice=int(np.argmin(keeping["cost"].values)))
    assert found.best is not None
    assert found.best.water_mm == pytest.approx(float(best["cost"]), rel=1e-12)
    assert found.best.odds.p == pytest.approx(float(best["risk"]), rel=1e-12)
    trigger, target = found.sweep.axes
    at = [int(place) for place in found.best.positions]
    assert (trigger.labels[at[0]], target.labels[at[1]]) == (best["trigger"], best["target"])
    # and other odds under each draw, so that which of them are used would show
    same = (every["trigger"] == best["trigger"]) & (every["target"] == best["target"])
    of_best = every["probability"].sel(stage="wilt", field="practice").where(same)
    assert float(of_best.std()) > 0.02


def test_what_is_searched_is_parted_from_what_nobody_chooses():
    from drysward.studies.sweep.search import _parted

    shipped = drysward.shipped()

    def parted(text: str) -> list[list[str]]:
        sweep = sweep_of("s.toml", text, "demo.toml", shipped.text, shipped.folder)
        return [[axis.name for axis in part] for part in _parted(sweep)]

    both = ["trigger", "target"]
    ranged = DRAWN.replace("values = [0.75, 0.85]", "from = 0.4\nto = 0.6")
    assert parted(DRAWN) == [both, ["wilt_ks"], []]
    assert parted(ranged) == [["target"], ["trigger", "wilt_ks"], []]
    latin = ranged.replace("samples", 'kind = "latin hypercube"\nsamples')
    assert parted(latin) == [both, ["wilt_ks"], []]
    listed = DRAWN.replace('catalog = "', 'values = [0.5, 0.6]\nkey = "overrides.')
    assert parted(listed) == [both, [], ["wilt_ks"]]


def test_what_cannot_be_searched_is_refused():
    shipped = drysward.shipped()

    def searched(text: str) -> None:
        search(sweep_of("s.toml", text, "demo.toml", shipped.text, shipped.folder))

    with pytest.raises(FaultyInput, match=r"search\.days_below: conflicts with odds"):
        searched(SEARCH.replace("odds = 0.60", "odds = 0.60\ndays_below = 5"))
    with pytest.raises(FaultyInput, match="search: is missing"):
        searched(SEARCH.partition("[search]")[0])
    with pytest.raises(FaultyInput, match=r"no 'refil'.*did you mean 'refill'"):
        searched(SEARCH.replace('plan = "refill"', 'plan = "refil"'))
    with pytest.raises(FaultyInput, match="which cannot be chosen"):
        searched(SEARCH.replace("plans.refill.target", "weather.seed").replace("0.0, 0.1", "1, 2"))


def test_a_column_has_one_number_of_decimals_and_a_single_plan_no_column():
    points = made_up(
        np.array([100.0, 200.0, 300.0]), np.array([0.4, 0.1, 0.0]), target=np.array([0, 0.05, 0.1])
    )
    text = as_text(front_parts(front(points), "metric"), 200)
    assert text.splitlines()[0] == "T: water against wilt, plan p"
    for target in ("0.00", "0.05", "0.10"):
        assert f" {target}\n" in text
    wide = points.assign_coords(target=("point", [0.001234, 1.0, 20.0]))
    assert " 0.001234\n" in as_text(front_parts(front(wide), "metric"), 200)
    two = xr.concat([points, points.assign_coords(plan=["q"])], "plan", data_vars="minimal")
    assert "plan" in as_text(front_parts(front(two), "metric"), 200).splitlines()[1].split()


def test_an_axis_of_other_plans_alone_has_no_value_on_a_front():
    points = made_up(
        np.array([100.0, 200.0]), np.array([0.4, 0.1]), trigger=np.array([0.3, 0.55])
    )
    points["trigger"].attrs["comment"] = "plans.p.trigger"
    plans = '[plans.p]\n[plans.q]\n[plans.r]\nfields = { f = "p" }\n'
    points.attrs["scenario"] = plans
    for plan, values in {"p": ["0.30", "0.55"], "q": ["-", "-"], "r": ["0.30", "0.55"]}.items():
        kept = front(points.assign_coords(plan=[plan]))
        table, _ = front_parts(kept, "metric")
        text = as_text([table], 200)
        assert [line.split()[-1] for line in text.splitlines()[-2:]] == values, plan
        assert list(kept["trigger"].values) == [0.3, 0.55]  # a file keeps them
    of_all = points.copy()
    of_all["trigger"].attrs["comment"] = "plans.p.trigger, fields.f.delivery.uniformity"
    text = as_text(front_parts(front(of_all.assign_coords(plan=["q"])), "metric"), 200)
    assert " 0.55\n" in text


def test_draws_of_an_unfinished_sweep_are_not_said_to_be_shared():
    sweep = made_up(np.ones(4), np.ones(4), trigger=np.array([0.3, 0.3, 0.6, 0.6]))
    sweep = sweep.assign_coords(draw=("point", [0, 1, 0, 1]))
    assert "means over 2 draws that all choices share" in as_text(
        front_parts(front(sweep), "metric"), 200
    )
    sweep.attrs["points"] = 6
    text = as_text(front_parts(front(sweep), "metric"), 200)
    assert "4 of 6 points are done" in text
    assert "means over 2 draws, or those of them that are done" in text


def test_fronts_of_other_risks_have_files_of_their_own(tmp_path):
    points = made_up(np.array([100.0, 200.0]), np.array([0.4, 0.1]))

    def wet_or_dry(points):
        return points["season_water"].max("field")

    fronts = (front(points), front(points, "death"), front(points, field="f"),
              front(points, cost=wet_or_dry))  # fmt: skip
    names = [path.name for one in fronts for path in drysward.save(one, tmp_path)]
    assert names == [
        "front-water-wilt.csv", "front-death-wilt.csv", "front-water-wilt-f.csv",
        "front-wet_or_dry-wilt.csv",
    ]  # fmt: skip
    assert {path.name for path in tmp_path.glob("*.csv")} == set(names)


@pytest.mark.parametrize(
    ("plan", "of", "noted"),
    [("p", "wilt", True), ("p", "water", False), ("fixed", "wilt", False), ("not", "wilt", False)],
)
def test_effects_of_uniformity_point_at_the_water(plan, of, noted):
    points = made_up(
        np.array([100.0, 200.0]), np.array([0.4, 0.1]), even=np.array([0.5, 0.8])
    ).assign_coords(plan=[plan])
    points["even"].attrs["comment"] = "fields.f.delivery.uniformity"
    rules = {"p": 'rule = "refill"', "fixed": 'rule = "fixed"',
             "not": 'rule = "refill"\nallow_for_uniformity = false'}  # fmt: skip
    points.attrs["scenario"] = f"[plans.{plan}]\n{rules[plan]}"
    text = as_text(effects_parts(effects(points, of), "us"), 200)
    assert "days in a row" not in text
    points.attrs["reached_days"] = 3
    in_a_row = as_text(effects_parts(effects(points, of), "us"), 200)
    assert ("counts from 3 days in a row" in in_a_row) == (of == "wilt")
    assert ("plans run longer on uneven systems: see effects --of water" in text) == noted


def in_inches():
    """A made-up sweep with an axis in inches beside water in mm."""
    points = made_up(np.array([100.0, 200.0]), np.array([0.4, 0.1]), depth=np.array([8.0, 16.0]))
    points["depth"].attrs["units"] = "in"
    return points


@pytest.mark.parametrize(
    ("system", "unit", "depth", "water"),
    [("us", "in", "16", "7.9"), ("metric", "mm", "406.4", "200")],
)
def test_a_screen_of_a_sweep_has_one_system_of_units(system, unit, depth, water):
    points = in_inches()
    choices = front(points)
    text = as_text(front_parts(choices, system), 200)
    assert f"{water}" in text
    assert depth in text
    other = {"in": "mm", "mm": "in"}[unit]
    assert not re.search(rf"\b{other}\b", text.partition("On the front")[0])
    (header, *_) = front_rows(choices, system)
    assert f"depth ({unit})" in header
    of_system = front(points, units=system)["depth"]
    assert of_system.attrs["units"] == unit
    assert of_system.values[-1] == pytest.approx(float(depth))
    found = as_text(effects_parts(effects(points, "water", units=system), system), 200)
    assert f"{float(depth):.3g} {unit}" in found
    assert water in found
    assert not re.search(rf"\b{other}\b", found.partition("Main effect")[0])


def test_the_plan_found_is_in_the_units_of_the_screen():
    demo = drysward.shipped("demo")
    sweep = sweep_of("s", TWO_DEPTHS, "demo.toml", demo.text, demo.folder)
    assert axis_values_text(sweep, np.array([1.0])) == "depth = 12 in"
    assert axis_values_text(sweep, np.array([1.0]), system="metric") == "depth = 304.8 mm"


TWO_DEPTHS = """
scenario = "demo"
[axes.depth]
key = "fields.stadium.root_zone.depth"
values = ["10 in", "12 in"]
"""
