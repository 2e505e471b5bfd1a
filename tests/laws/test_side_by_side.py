"""Laws of plans that go through the days side by side: none has to do with another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.day.lanes import (
    CACHE_LINE,
    INV_ROOTING,
    LANES,
    SIZE,
    THATCH,
    W1,
    from_lanes,
    into_lanes,
)
from drysward.day.records import PATCH, records
from drysward.drive.runs import advance, advance_all, in_groups, start_run, start_runs
from drysward.scenario.model import SourceSpec, SupplySpec
from drysward.site.stretches import prepare

STATE = ("patches", "states", "play", "years", "odds", "green", "trace")


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


@pytest.mark.parametrize("n", [1, 2, 3, 4, 7])
def test_a_plan_does_the_same_whoever_goes_along(site, n):
    plans = (site.scenario.plans * 2)[:n]
    runs = start_runs([(site, plan) for plan in plans])
    days = slice(100, 300)
    advance_all(site, runs, days)
    assert runs.supply.years.shortage.max() > 0.0 or n == 1
    for b, plan in enumerate(plans):
        same(runs.one(b), advance(site, start_run(site, plan), days))


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


def test_compiled_and_plain_give_the_same(site):
    stretch = replace(site, calendar=site.calendar[:120], days=site.days[:120], from_day=60)
    plans = site.scenario.plans
    compiled, plain = (start_runs([(site, plan) for plan in plans]) for _ in range(2))
    advance_all(stretch, compiled)
    advance_all(stretch, plain, compiled=False)
    for name in PATCH.names:
        np.testing.assert_allclose(compiled.patches[name], plain.patches[name], rtol=1e-12)


@pytest.mark.parametrize(("n_plans", "n_patches"), [(1, 1), (1, 5), (3, 5), (8, 5), (2, 8), (1, 9)])
def test_into_lanes_and_back(n_plans, n_patches):
    n_fields = 2
    rng = np.random.default_rng(n_plans)
    patches = records(PATCH, (n_plans, n_fields, n_patches))
    for name in PATCH.names:
        patches[name] = rng.uniform(0.0, 0.9, patches.shape)
    blocks = into_lanes(patches)
    assert blocks.shape == (n_fields, -(-n_plans * n_patches // LANES), SIZE)
    assert blocks.ctypes.data % CACHE_LINE == 0
    for b in range(n_plans):
        for f in range(n_fields):
            for p in range(n_patches):
                block, i = divmod(b * n_patches + p, LANES)
                one = patches[b, f, p]
                assert blocks[f, block, W1 + i] == one.w1
                assert blocks[f, block, THATCH + i] == one.thatch
                assert blocks[f, block, INV_ROOTING + i] == 1.0 / (1.0 - one.root_loss)
    again = records(PATCH, patches.shape)
    from_lanes(blocks, again)
    assert again.tobytes() == patches.tobytes()


@pytest.mark.parametrize(
    ("n", "workers", "sizes"),
    [(6, 2, [3, 3]), (1, 4, [1]), (5, 2, [2, 3]), (20, 2, [7, 6, 7]), (3, 8, [1, 1, 1])],
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
    with pytest.raises(ArithmeticError, match="plan 'refill' is short by nan"):
        advance_all(site, runs)
