"""Draws within the points of a sweep: a point is the scenario with its values and its draws."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.faults import FaultyInput
from drysward.quantities import convert
from drysward.scenario.load import loads
from drysward.screen.formats import as_text
from drysward.screen.sweep import front_parts, search_parts
from drysward.studies.doubt.draws import drawn_scenarios
from drysward.studies.sweep.description import Sweep, sweep_of
from drysward.studies.sweep.design import design_of
from drysward.studies.sweep.drawn import (
    TOGETHER,
    common_draws_of,
    numbers_at,
    numbers_of,
    run_numbers,
)
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.folder import chunk_path
from drysward.studies.sweep.front import front
from drysward.studies.sweep.points import point_at
from drysward.studies.sweep.run import plan_work, run_sweep
from drysward.studies.sweep.search import search
from drysward.studies.sweep.shared import Held
from drysward.studies.sweep.surface import surface

PLANS = ("refill", "restricted")
TRIGGER = """
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
"""
UNIFORMITY = """
[axes.uniformity]
key = "fields.*.delivery.uniformity"
values = [0.55, 0.75]
"""
TURF = """
[axes.turf]
key = "fields.*.species"
values = ["kentucky_bluegrass", "tall_fescue"]
"""
LIMITED = (
    "probability", "days_mean", "days_below_condition_mean", "season_water", "demand",
)  # fmt: skip


def made(
    draws: int = 8,
    axes: str = TRIGGER + UNIFORMITY,
    more: str = "",
    years: int = 6,
    doubt: str = "",
    base: str | None = None,
) -> Sweep:
    shipped = drysward.shipped()
    head = f'scenario = "demo"\nyears = {years}\nplans = ["refill", "restricted"]\n{more}\n'
    table = f"[doubt]\ndraws = {draws}\n{doubt}\n" if draws else ""
    return sweep_of(
        "sweep.toml", head + table + axes, "demo.toml", base or shipped.text, shipped.folder
    )


def ran(sweep: Sweep, folder, **how) -> xr.Dataset:
    run_sweep(plan_work(sweep), folder, **how)
    return drysward.open(folder).load()


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> xr.Dataset:
    """Four points of 32 draws, each draw kept, on years whose halves can be told apart."""
    sweep = made(32, years=24, doubt="keep = true")
    return ran(sweep, tmp_path_factory.mktemp("kept"))


def at(swept: xr.Dataset, **values) -> xr.Dataset:
    mask = np.all([swept[name].values == value for name, value in values.items()], axis=0)
    return swept.isel(point=int(np.flatnonzero(mask)[0]))


# --- a point is its scenario with draws ---------------------------------------------------------


@pytest.mark.slow
def test_a_point_is_what_draws_of_its_scenario_give(kept):
    text = drysward.shipped().text
    for old, new in (
        ("years = 200", "years = 24"),
        ("flow = ", "uniformity = 0.75, flow = "),
        ("uniformity = 0.6 ", "uniformity = 0.75 "),
        ('rule = "refill"\ntrigger = 0.4', 'rule = "refill"\ntrigger = 0.6'),
    ):
        assert old in text
        text = text.replace(old, new, 1)
    alone = drysward.draws(
        loads(text, drysward.shipped().folder), n=32, plans=PLANS, keep=True
    )
    point = at(kept, trigger=0.6, uniformity=0.75)
    assert kept["drawn_number"].values.tolist() == alone["drawn_number"].values.tolist()
    assert kept["unit"].values.tolist() == alone["unit"].values.tolist()
    np.testing.assert_array_equal(point["drawn"], alone["drawn"])
    names = dict(
        zip(LIMITED, ("probability", "days", "days_below_condition", "water", "demand"),
            strict=True)
    )  # fmt: skip
    for ours, theirs in names.items():
        for end in ("", "_low", "_high"):
            np.testing.assert_allclose(
                point[f"{ours}{end}"], alone[f"doubt_{theirs}{end}"], rtol=1e-9, atol=1e-9,
                err_msg=f"{ours}{end}",
            )  # fmt: skip
    for ours, theirs in (
        ("probability_se", "probability_error"),
        ("days_below_condition_se", "days_below_condition_error"),
    ):
        np.testing.assert_allclose(point[ours], alone[f"doubt_{theirs}"], rtol=1e-9, atol=1e-12)
    for ours, theirs in (
        ("draw_season_water", "draw_irrigation_gross"),
        ("draw_days_below_condition_mean", "draw_days_below_condition"),
    ):
        np.testing.assert_allclose(point[ours], alone[theirs], rtol=1e-12, atol=1e-12)
    wilt = point["draw_probability"].sel(stage="wilt")
    np.testing.assert_allclose(wilt, alone["draw_reached_wilt"], rtol=1e-12)


def test_means_over_draws_are_those_of_a_run_for_each_draw(tmp_path):
    """Of what has no limits too: account, supply of water by month, yearly and daily series."""
    sweep = made(2, TRIGGER, 'daily = ["depletion"]')
    swept = at(ran(sweep, tmp_path), trigger=0.6)
    text = drysward.shipped().text.replace("years = 200", "years = 6")
    text = text.replace('rule = "refill"\ntrigger = 0.4', 'rule = "refill"\ntrigger = 0.6', 1)
    scenario = loads(text, sweep.folder)
    design = design_of(sweep)
    common = common_draws_of(sweep, numbers_of(design))
    rows = common.of(numbers_at(sweep, design.positions[1], scenario)).rows()
    scenarios = list(drawn_scenarios(scenario, rows))
    runs = [drysward.run(one, only=PLANS) for one in scenarios]
    for name in ("drainage", "transpiration", "runoff", "irrigation_month"):
        wanted = np.mean([one[name].mean("year").values for one in runs], axis=0)
        np.testing.assert_allclose(swept[f"{name}_mean"], wanted, rtol=1e-9, atol=1e-9)
    most = np.mean([one["peak_week"].max("year").values for one in runs], axis=0)
    np.testing.assert_allclose(swept["peak_week_most"], most, rtol=1e-12)
    series = np.mean([one["irrigation_gross"].values for one in runs], axis=0)
    np.testing.assert_allclose(swept["irrigation_gross"], series, rtol=1e-6)
    days = [drysward.ledger(one, "practice", "refill", 2)["depletion"] for one in scenarios]
    daily = swept["daily_depletion"].sel(field="practice", plan="refill")
    daily = daily.isel(day=(swept["year_of_day"] == 2).values)
    np.testing.assert_allclose(daily, np.mean(days, axis=0), rtol=1e-5, atol=1e-5)


def test_limits_stand_around_the_mean_and_say_what_they_are(kept):
    for name in LIMITED:
        assert (kept[f"{name}_low"] <= kept[name] + 1e-9).all()
        assert (kept[name] <= kept[f"{name}_high"] + 1e-9).all()
        assert "95% across draws" in kept[f"{name}_high"].attrs["long_name"]
        assert kept[f"{name}_low"].attrs["units"] == kept[name].attrs["units"]
        each = kept[f"draw_{name}"]
        np.testing.assert_allclose(each.mean("draw"), kept[name], rtol=1e-9)
    below = "days_below_condition_mean"
    assert (kept[f"{below}_high"] - kept[f"{below}_low"] > 1.0).any()
    assert "mean over 32 draws" in kept["season_water"].attrs["long_name"]
    assert "of the years in the mean over 32" in kept["probability_se"].attrs["long_name"]
    assert kept.attrs["draws"] == 32
    assert kept.attrs["numbers_drawn"] == kept.sizes["drawn_number"]
    assert float(kept["residual"].max()) < 1e-9


@pytest.mark.slow
def test_closed_ranges_give_the_sweep_without_draws(tmp_path, monkeypatch):
    """Nothing is drawn: low, mean and high are one, and every bit is that of the plain sweep."""
    monkeypatch.setattr("drysward.studies.sweep.drawn.drawn_numbers", lambda scenario: ())
    closed = ran(made(8), tmp_path / "closed")
    plain = ran(made(0), tmp_path / "plain")
    assert closed.sizes["point"] == plain.sizes["point"] == 4
    assert set(plain.data_vars) < set(closed.data_vars)
    errors = ("probability_se", "days_below_condition_se")
    for name in set(plain.data_vars) - set(errors):
        np.testing.assert_array_equal(closed[name], plain[name], err_msg=str(name))
        assert closed[name].dtype == plain[name].dtype
    for name in LIMITED:
        for end in ("_low", "_high"):
            np.testing.assert_array_equal(closed[f"{name}{end}"], plain[name], err_msg=name)
    # The analysis of variance divides by years - 1 where the error of odds divides by years.
    np.testing.assert_allclose(
        closed["probability_se"], plain["probability_se"] * np.sqrt(6.0 / 5.0), atol=1e-12
    )
    below = "days_below_condition_se"
    np.testing.assert_allclose(closed[below], plain[below], rtol=1e-9, atol=1e-9)


@pytest.mark.slow
def test_more_draws_than_go_together_change_nothing_of_the_first(tmp_path):
    """Single draws are not kept unless asked for, and do not depend on how many go at a time."""
    sweep = made(16, TRIGGER, doubt="keep = true")
    many = ran(sweep, tmp_path / "16")
    assert many.sizes["point"] * many.sizes["plan"] * 16 > TOGETHER
    few = ran(made(8, TRIGGER, doubt="keep = true"), tmp_path / "8")
    for name in LIMITED:
        np.testing.assert_array_equal(
            many[f"draw_{name}"].isel(draw=slice(8)), few[f"draw_{name}"]
        )
    plain = ran(made(16, TRIGGER), tmp_path / "plain")
    assert "draw" not in plain.dims
    for name in plain.data_vars:
        np.testing.assert_array_equal(plain[name], many[name])


# --- the same draws for all, less the factors ---------------------------------------------------


@pytest.mark.slow
def test_a_factor_is_not_drawn_and_all_else_is_the_same_at_every_point(kept):
    assert not [key for key in kept["drawn_number"].values if key.endswith("uniformity")]
    drawn = kept["drawn"].values
    assert np.isfinite(drawn).all()
    np.testing.assert_array_equal(drawn, np.broadcast_to(drawn[:1], drawn.shape))
    axis = '[axes.wilt]\nkey = "overrides.species.kentucky_bluegrass.wilt_ks"\nvalues = [0.2, 0.4]'
    keys = [key for key, _, _ in numbers_of(design_of(made(8, axis)))]
    assert "overrides.species.kentucky_bluegrass.wilt_ks" not in keys
    assert "overrides.species.kentucky_bluegrass.kc_summer" in keys


def test_a_factor_is_not_drawn_where_an_alternative_leaves_it_alone():
    key = "overrides.species.kentucky_bluegrass.kc_summer"
    sweep = made(8, f'[axes.crop]\nalternatives.now = {{}}\nalternatives.low = {{ "{key}" = 0.7 }}')
    for place in (0, 1):
        scenario = point_at(sweep, np.array([place])).scenario
        assert key not in [one.key for one in numbers_at(sweep, np.array([place]), scenario)]


def test_a_value_written_as_a_range_is_drawn_from_it():
    """How sure an audit of the system makes: two ranges around one uniformity."""
    key = "fields.practice.delivery.uniformity"
    values = '["0.6 (0.4 to 0.8)", "0.6 (0.58 to 0.62)", 0.6]'
    sweep = made(32, f'[axes.audit]\nkey = "{key}"\nvalues = {values}', doubt="keep = true")
    design = design_of(sweep)
    drawn = numbers_of(design)
    common = common_draws_of(sweep, drawn)
    column = [one[0] for one in drawn].index(key)
    found = run_numbers(design, range(3), Held(), common, drawn=drawn)
    wide, narrow, none = found["drawn"][1][..., column]
    assert wide.std() > 5.0 * narrow.std() > 0.0
    np.testing.assert_array_equal(np.argsort(wide), np.argsort(narrow))
    assert np.isnan(none).all()


def test_points_of_other_turf_share_what_they_have_in_common(tmp_path):
    swept = ran(made(8, TRIGGER + TURF, doubt="keep = true"), tmp_path)
    grass, fescue = (at(swept, turf=turf, trigger=0.3)["drawn"] for turf in
                     ("kentucky_bluegrass", "tall_fescue"))  # fmt: skip
    shared = np.isfinite(grass) & np.isfinite(fescue)
    np.testing.assert_array_equal(grass.values[shared], fescue.values[shared])
    keys = swept["drawn_number"].values
    theirs = np.array([".tall_fescue." in key for key in keys])
    assert np.isnan(grass.values[:, theirs]).all()
    assert np.isfinite(fescue.values[:, theirs]).all()
    assert shared.any(axis=0).sum() > 40


def test_a_number_that_planning_did_not_see_is_the_same_at_all_points():
    sweep = made(8)
    some = common_draws_of(sweep, numbers_of(design_of(sweep))[:5])
    point = point_at(sweep, np.zeros(2))
    numbers = numbers_at(sweep, np.zeros(2), point.scenario)
    whole, part = some.of(numbers), some.of(numbers[10:20])
    np.testing.assert_array_equal(whole.values[:, 10:20], part.values)
    assert len(np.unique(part.u[0])) == 10


# --- whoever runs it ----------------------------------------------------------------------------


@pytest.mark.slow
def test_workers_and_chunks_that_were_lost_change_no_bit(tmp_path):
    sweep = made(4)
    one, two = (ran(sweep, tmp_path / str(n), workers=n) for n in (1, 2))
    xr.testing.assert_identical(one, two)
    chunk_path(tmp_path / "2", 1).unlink()
    part = drysward.open(tmp_path / "2")
    assert part.attrs["points_done"] == 3
    again = ran(sweep, tmp_path / "2")
    xr.testing.assert_identical(again, one)


def test_a_point_is_the_same_alone_and_among_others():
    """Fields of their own at some points, in blocks of lanes with others."""
    sweep = made(4, TRIGGER + UNIFORMITY + TURF)
    design = design_of(sweep)
    common = common_draws_of(sweep, numbers_of(design))
    together = run_numbers(design, range(8), Held(), common)
    for number in (0, 3, 7):
        alone = run_numbers(design, range(number, number + 1), Held(), common)
        assert alone.keys() == together.keys()
        for name, (_, values) in alone.items():
            assert values[0].tobytes() == together[name][1][number].tobytes(), name


@pytest.mark.slow
def test_a_cluster_gives_the_same_bits(tmp_path):
    distributed = pytest.importorskip("distributed")
    sweep = made(4)
    here = ran(sweep, tmp_path / "here")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    ) as cluster:
        there = ran(sweep, tmp_path / "there", cluster=cluster.scheduler_address)
    xr.testing.assert_identical(there, here)


def test_a_folder_of_other_draws_is_refused(tmp_path):
    run_sweep(plan_work(made(4)), tmp_path)
    with pytest.raises(FaultyInput, match="the sweep file"):
        run_sweep(plan_work(made(8)), tmp_path)


# --- reading it ---------------------------------------------------------------------------------


def shown(parts) -> str:
    return as_text(parts, 200)


def test_front_effects_and_surface_read_means_and_the_high_end(kept):
    mean, high = front(kept, risk="days below"), front(kept, risk="days below", high=True)
    assert float(high["risk"].min()) > float(mean["risk"].min())
    odds = front(kept, risk="footprinting", high=True)
    assert "risk_se" not in odds
    assert "risk_se" in front(kept, risk="footprinting")
    assert "means over 32 draws of soil, grass and delivery" in shown(front_parts(mean, "us"))
    told = shown(front_parts(high, "us"))
    assert "days below is what 95 of 100 draws stay below" in told
    with pytest.raises(FaultyInput, match=r"'water' has no limits across draws; .*wilt"):
        front(kept, risk="water", high=True)
    assert effects(kept, "days below").attrs["draws"] == 32
    assert np.isfinite(surface(kept, "trigger", "uniformity", "days below")["mean"]).all()


def test_the_high_end_of_a_sweep_without_draws_is_refused(tmp_path):
    plain = ran(made(0, TRIGGER, years=2), tmp_path)
    assert "draws" not in plain.attrs
    with pytest.raises(FaultyInput, match=r"^high: .*no draws; \[doubt\] with draws = 64"):
        front(plain, high=True)


SEARCH = """
[search]
plan = "refill"
field = "practice"
days_below = 50
tries = 10
"""
RANGE = '[axes.trigger]\nkey = "plans.refill.trigger"\nfrom = 0.2\nto = 0.9\n[design]\n'
RANGE += 'kind = "latin hypercube"\nsamples = 4\n'


@pytest.mark.slow
def test_a_search_with_confidence_takes_more_water_than_one_by_the_mean():
    by_mean = search(made(8, RANGE + SEARCH, years=10))
    sure = search(made(8, RANGE + SEARCH + "confidence = 0.9\n", years=10))
    assert by_mean.n_within == sure.n_within == 8
    assert by_mean.nearest.sure is None
    assert sure.nearest.sure > sure.nearest.days_below
    assert by_mean.best.days_below <= 50.0
    assert sure.best.sure <= 50.0
    assert sure.best.water_mm > by_mean.best.water_mm
    assert sure.fresh.sure is not None
    told = shown(search_parts(sure, "us"))
    assert "with 90% confidence" in told
    assert {"90", "100", "draws", "stay", "below"} <= set(told.split())
    assert "draws of soil, grass and delivery" in shown(search_parts(by_mean, "us"))


# --- what is refused ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ({"draws": 1}, r"doubt\.draws: 1 is too few for a spread; 2 or more.*draws = 64"),
        ({"draws": -4}, r"doubt\.draws: -4 is too few for a spread"),
        ({"draws": 100_000}, r"doubt\.draws: 100000 is too many; 4096 at most"),
        ({"doubt": "kept = true"}, r"doubt\.kept: is not known here; did you mean 'keep'"),
        ({"years": 1}, r"doubt\.draws: one year cannot separate draws from chance; years = 200"),
        (
            {"draws": 0, "axes": RANGE + SEARCH + "confidence = 0.9\n"},
            r"search\.confidence: needs draws .*; \[doubt\] with draws = 64",
        ),
        (
            {"doubt": "keep = true", "axes": TRIGGER + '[axes.kc]\ncatalog = '
             '"species.kentucky_bluegrass.kc_summer"\n[design]\nsamples = 4\n'},
            r"doubt\.keep: .*have that name already; keep = false",
        ),
        (
            {"doubt": "keep = true", "axes": TRIGGER.replace("axes.trigger", "axes.drawn_number")},
            r"axes\.drawn_number: 'drawn_number' is a name of the results when draws are kept",
        ),
    ],
)  # fmt: skip
def test_what_is_at_fault_is_told_with_what_mends_it(how, told):
    with pytest.raises(FaultyInput, match=told):
        plan_work(made(**how))


def test_no_draws_is_the_sweep_as_it_was():
    none, zero = made(0), made(0, axes="[doubt]\ndraws = 0\n" + TRIGGER)
    assert none.draws == zero.draws == 0
    assert plan_work(zero).manifest.drawn == ()


def test_a_range_that_cannot_be_is_refused_before_anything_runs():
    axis = '[axes.audit]\nkey = "fields.practice.delivery.uniformity"\n'
    for values in ('["0.6 (0.8 to 0.4)"]', '[0.6, "0.6 (0.5 to 1.7)"]'):
        with pytest.raises(FaultyInput, match=r"fields\.practice\.delivery\.uniformity"):
            plan_work(made(8, axis + f"values = {values}"))


def test_units_of_kept_values_are_one_for_all_points():
    axis = '[axes.depth]\nkey = "fields.stadium.root_zone.depth"\n'
    axis += 'values = ["12 in (10 to 14 in)", "300 mm (250 to 350 mm)"]\n'
    sweep = made(8, axis, doubt="keep = true", years=2)
    design = design_of(sweep)
    drawn = numbers_of(design)
    found = run_numbers(
        design, range(2), Held(), common_draws_of(sweep, drawn), drawn=drawn
    )
    places = {key: (i, unit) for i, (key, unit, _) in enumerate(drawn)}
    column, unit = places["fields.stadium.root_zone.depth"]
    assert unit == "in"
    second = found["drawn"][1][1, :, column]
    assert 250.0 < convert(float(np.median(second)), "in", "mm") < 350.0
