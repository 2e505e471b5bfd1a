"""Laws of plans that go through the days side by side: none has to do with another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.day import lanes
from drysward.day.lanes import LANES, spread_of
from drysward.day.records import FIELD_STATE, records
from drysward.drive.runs import advance, advance_all, in_groups, start_run, start_runs
from drysward.scenario.model import SourceSpec, SupplySpec
from drysward.site.stretches import prepare

STATE = ("patches", "states", "play", "fed", "years", "odds", "green", "trace")


@pytest.fixture(scope="module")
def site(scenes):
    """Two fields under a supply that is short on most days of a dry summer."""
    plans = [
        scenes.plan(key="none"),
        scenes.plan("refill", key="refill", trigger=0.4),
        scenes.plan("fixed", key="fixed", depth_by_weekday=(8.0,) * 7),
        scenes.plan("share of et", key="share", share=0.8, interval_days=3),
    ]
    fields = [scenes.field(), scenes.field("sand_over_gravel_12in", key="sand")]
    scenario = scenes.scenario(fields, plans)
    mains = SourceSpec("mains", "Mains", "mains", allowance_m3={"day": 30.0})
    scenario = replace(scenario, supply=SupplySpec((mains,)))
    record = scenes.weather(2, 6)
    return prepare(scenario, replace(record, rain_mm=0.5 * record.rain_mm))


def same(one, other):
    """Whether two runs are the same, bit for bit."""
    for name in STATE:
        assert getattr(one, name).tobytes() == getattr(other, name).tobytes(), name
    for ours, theirs in zip(one.supply, other.supply, strict=True):
        assert ours.tobytes() == theirs.tobytes()


@pytest.fixture(scope="module", params=["short", "unlimited", "everything", "one field"])
def any_site(request, scenes, site):
    """Sites whose runs lie in lanes in every way that there is, with and without supply, play
    and stages.
    """
    if request.param == "short":
        return site
    if request.param == "unlimited":
        return prepare(replace(site.scenario, supply=None), site.weather.record)
    whole = scenes.everything()
    if request.param == "one field":
        whole = replace(whole, fields=(replace(whole.fields[0], area_m2=24000.0),))
    return prepare(whole, scenes.hard_weather())


@pytest.mark.parametrize("n", [1, 2, 3, 4, 7, 8, 20])
def test_a_plan_does_the_same_whoever_goes_along(any_site, n):
    plans = (any_site.scenario.plans * 5)[:n]
    runs = start_runs([(any_site, plan) for plan in plans])
    days = slice(100, 300)
    advance_all(any_site, runs, days)
    if any_site.scenario.supply is not None and n > 1:
        assert runs.supply.years.shortage.max() > 0.0
    for b, plan in enumerate(plans):
        same(runs.one(b), advance(any_site, start_run(any_site, plan), days))


def test_runs_lie_in_every_way_that_there_is():
    """Of those above: patches side by side, one after another, and in more than one block."""
    ways = set()
    for n_fields, n_patches in ((2, 5), (3, 2), (1, 2)):
        for n_plans in (1, 2, 3, 4, 7, 8, 20):
            spread = spread_of(n_plans, n_fields, n_patches)
            ways.add((spread.side > 1, spread.n_blocks > 1))
    assert ways == {(True, False), (False, False), (False, True)}


def test_each_run_has_its_own_delivery(site):
    """Runs of sites that differ in how water reaches the fields, on the days of one of them."""
    plan = site.scenario.plan_named("refill")
    sites = []
    for rate, uniformity, overspray in ((5.0, 0.9, 0.0), (60.0, 0.6, 0.1)):
        changes = {"precipitation_rate_mm_h": rate, "overspray": overspray}
        changes["distribution_uniformity"] = uniformity
        fields = tuple(
            replace(field, delivery=replace(field.delivery, **changes))
            for field in site.scenario.fields
        )
        sites.append(prepare(replace(site.scenario, fields=fields), site.weather.record))
    runs = start_runs([(one, plan) for one in sites])
    advance_all(site, runs)
    same(runs.one(0), advance(sites[0], start_run(sites[0], plan)))
    same(runs.one(1), advance(sites[1], start_run(sites[1], plan)))
    assert runs.years.overspray[0].max() == 0.0 < runs.years.overspray[1].max()


SHAPES = [(1, 1, 1), (1, 1, 16), (1, 2, 5), (3, 1, 5), (1, 3, 5), (3, 2, 5), (8, 2, 2), (20, 3, 1)]


@pytest.mark.parametrize("shape", SHAPES)
def test_into_lanes_and_back(shape):
    """Every lane holds whose it is said to be, and nothing is lost on the way."""
    n_plans, n_fields, n_patches = shape
    spread = spread_of(*shape)
    assert spread.side in (1, n_patches)
    assert spread.side * spread.rounds == n_patches
    assert spread.side == 1 or n_plans * n_fields * n_patches <= LANES
    run, field, patch = np.indices(shape)
    whose = np.stack([run, field, patch], axis=-1)
    by_patch = spread.patch_by_lane(whose)
    by_run = spread.by_lane(whose[:, :, 0, :2])
    assert by_patch.shape == (spread.n_blocks, spread.rounds, LANES, 3)
    assert by_run.shape == (spread.n_blocks, LANES, 2)
    np.testing.assert_array_equal(spread.patch_by_run(by_patch), whose)
    np.testing.assert_array_equal(spread.by_run(by_run), whose[:, :, 0, :2])

    filled = n_plans * n_fields * spread.side
    lane_by_lane = by_patch.swapaxes(1, 2).reshape(-1, spread.rounds, 3)
    assert len({tuple(one.ravel()) for one in lane_by_lane[:filled]}) == filled
    n = n_plans * n_fields
    # Lanes left over repeat the last run.
    assert (lane_by_lane[filled:] == lane_by_lane[n - 1]).all()
    runs = by_run.reshape(-1, 2)
    for b in range(n_plans):
        for f in range(n_fields):
            first = lanes.lane_of(b, f, n_plans)
            assert runs[first].tolist() == [b, f]
            assert lane_by_lane[first, 0].tolist() == [b, f, 0]
            # The other patches of a run lie beside one another, after the first of all.
            for i in range(1, spread.side):
                lane = n + first * (spread.side - 1) + i - 1
                assert runs[lane].tolist() == [b, f]
                assert lane_by_lane[lane, 0].tolist() == [b, f, i]
    for lanes_in_all in (filled, n):
        held = lanes.QUAD * spread.quads(lanes_in_all)
        assert (held <= LANES).all()
        assert lanes_in_all <= held.sum() < lanes_in_all + lanes.QUAD


@pytest.mark.parametrize("shape", SHAPES)
def test_all_runs_in_one_block_and_back(shape):
    spread = spread_of(*shape, one_block=True)
    n = shape[0] * shape[1]
    assert (spread.n_blocks, spread.lanes, spread.side) == (1, n, 1)
    whose = np.stack(np.indices(shape), axis=-1)
    by_patch = spread.patch_by_lane(whose)
    by_run = spread.by_lane(whose[:, :, 0, :2])
    assert by_patch.shape == (1, shape[2], n, 3)
    for b in range(shape[0]):
        for f in range(shape[1]):
            lane = lanes.lane_of(b, f, shape[0])
            assert by_run[0, lane].tolist() == [b, f]
            assert by_patch[0, :, lane].tolist() == whose[b, f].tolist()
    np.testing.assert_array_equal(spread.patch_by_run(by_patch), whose)
    np.testing.assert_array_equal(spread.by_run(by_run), whose[:, :, 0, :2])


@pytest.mark.parametrize("one_block", [False, True])
def test_records_come_back_from_lanes_as_they_were(one_block):
    spread = spread_of(3, 2, 5, one_block)
    rng = np.random.default_rng(1)
    states = records(FIELD_STATE, (3, 2))
    for name in FIELD_STATE.names:
        states[name] = rng.random(states[name].shape)
    blocks = lanes.aligned_zeros((spread.n_blocks, lanes.SIZE // LANES * spread.lanes))
    assert blocks.ctypes.data % lanes.CACHE_LINE == 0
    lanes.put(blocks, "state", states, spread)
    again = records(FIELD_STATE, (3, 2))
    again.last_week = states.last_week  # a table, which has no place in a block
    lanes.get(blocks, "state", again, spread)
    assert again.tobytes() == states.tobytes()


@pytest.mark.parametrize(
    ("n", "workers", "sizes"),
    [
        (6, 2, [3, 3]), (1, 4, [1]), (5, 2, [2, 3]), (33, 2, [8, 8, 9, 8]), (40, 1, [13, 14, 13]),
        (3, 8, [1, 1, 1]),
    ],
)
def test_groups_keep_all_workers_busy(n, workers, sizes):
    groups = in_groups(list(range(n)), workers)
    assert [len(group) for group in groups] == sizes
    assert [run for group in groups for run in group] == list(range(n))


@pytest.mark.parametrize("value", ["w1", "w2", "w3", "thatch"])
def test_what_is_no_number_is_a_fault_of_the_program(site, value):
    """The error of the account, of which the largest is kept, must not lose it."""
    runs = start_runs([(site, plan) for plan in site.scenario.plans])
    runs.patches[value][1, 0, 3] = np.nan
    with pytest.raises(ArithmeticError, match="plan 'refill' is off by nan"):
        advance_all(site, runs)
