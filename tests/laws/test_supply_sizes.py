"""Laws of what a size does: where the water comes from, and when a larger size is the worse."""

from __future__ import annotations

import math
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

import drysward
from drysward.pages import sizing as sizing_figure
from drysward.results.sizing_text import carriers, origins, through_storage
from drysward.scenario.model import Costs, SourceSpec
from drysward.studies.size_outcome import direct_m3, why_it_fails
from drysward.studies.sizing import (
    TOLERANCE,
    Trial,
    needs_more_than,
    sizing_dataset,
    solve,
    with_size,
)

YEARS = (1, 20)


@pytest.fixture(scope="module")
def shipped():
    scenario = drysward.shipped("pond")
    return replace(scenario, sizing=replace(scenario.sizing, points=3))


@pytest.fixture(scope="module")
def solved(shipped):
    return solve(shipped, YEARS)


@pytest.fixture(scope="module")
def told(solved):
    return sizing_dataset(solved)


def sources(*feeds):
    return [SourceSpec(f"s{i}", f"s{i}", "well", feeds=one) for i, one in enumerate(feeds)]


@given(
    st.lists(
        st.tuples(st.sampled_from(["fields", "storage", "both"]), st.floats(0.0, 1e5),
                  st.floats(0.0, 1e5)),
        min_size=1, max_size=5,
    )
)  # fmt: skip
def test_straight_and_stored_make_what_sources_give(each):
    # Each source gives some straight to the fields and some to storage, as far as it feeds them.
    straight = np.array([0.0 if feeds == "storage" else a for feeds, a, _ in each])
    stored = np.array([0.0 if feeds == "fields" else b for feeds, _, b in each])
    drawn = straight + stored
    found = direct_m3(drawn, straight.sum(), sources(*(feeds for feeds, _, _ in each)))
    assert found.sum() == pytest.approx(straight.sum(), rel=1e-9, abs=1e-9)
    assert (found >= 0.0).all()
    assert (found <= drawn * (1.0 + 1e-12)).all()
    if sum(feeds == "both" for feeds, _, _ in each) < 2:
        assert found == pytest.approx(straight, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("size", [0.0, 400.0, 6000.0, 30000.0])
def test_water_delivered_is_what_comes_straight_and_out_of_storage(shipped, size):
    supply = with_size(shipped.supply, shipped.sizing.find, size)
    trial = Trial(shipped, YEARS)
    one = trial.outcomes([supply])[0]
    assert one.delivered > 0.0
    assert (one.from_storage > 0.0) == (size > 0.0)
    assert one.direct.sum() + one.from_storage == pytest.approx(one.delivered, rel=1e-9)
    assert (one.direct + one.filled).sum() == pytest.approx(one.drawn.sum(axis=1).mean(), rel=1e-9)


def test_years_count_as_they_went_the_second_time(shipped):
    """A storage far too large for a trickle lends its first filling in the first cycle only."""
    trickle = with_size(shipped.supply, shipped.sizing.against, 0.4)
    great = with_size(trickle, shipped.sizing.find, 38000.0)
    plan = shipped.sizing.plan
    once = drysward.run(replace(shipped, supply=great), years=(1, 3), only=[plan])
    trial = Trial(replace(shipped, supply=great), (1, 3))
    twice = trial.outcomes([great])[0]
    assert once["supply_delivered"].mean().item() > 1.2 * twice.delivered > 0.0


def test_carriers_add_to_one(told):
    for prefix, along in (("sizing", "sizing_case"), ("sizing_curve", "point")):
        for i in range(told.sizes[along]):
            one = told.isel({along: i})
            delivered = one[f"{prefix}_delivered"].item()
            if math.isnan(delivered):
                assert origins(one, prefix) == []
                continue
            parts = one[f"{prefix}_direct"].sum("source") + one[f"{prefix}_from_storage"]
            assert parts.item() == pytest.approx(delivered, rel=1e-9)
            shares = [share for _, share in carriers(one, prefix)]
            assert sum(shares) == pytest.approx(1.0, rel=1e-9)
            assert shares == sorted(shares, reverse=True)
            assert 0.0 <= through_storage(one, prefix) <= 1.0 + 1e-9


def test_what_is_given_stands_beside_the_run(shipped, solved):
    """Only a year that is run twice can differ from the plan's own run."""
    scenario = replace(shipped, sizing=replace(shipped.sizing, against=None))
    run = drysward.run(scenario, years=YEARS, only=[shipped.sizing.plan])
    assert solved.outcome_at_stated_size.delivered == pytest.approx(
        run["supply_delivered"].mean().item(), rel=0.02
    )


@pytest.mark.parametrize(
    "sizes, smaller",
    [
        ([5.0, 4.0, 4.0, 3.0], [None] * 4),
        ([5.0, 4.0, 4.0 * (1.0 + 0.9 * TOLERANCE), 3.0], [None] * 4),
        ([1.0, 9.4, 9.0], [None, 0, 0]),
        ([math.nan, 2.0, math.nan, 1.0, 3.0], [None, None, 1, None, 3]),
        ([0.0, 0.0], [None, None]),
    ],
)
def test_a_curve_that_rises_by_more_than_the_search_is_sure_of(sizes, smaller):
    assert needs_more_than(sizes) == smaller


def test_a_larger_pond_that_fails_loses_more(shipped):
    trial = Trial(shipped, YEARS)
    trickle = with_size(shipped.supply, shipped.sizing.against, 0.4)
    some, great = (with_size(trickle, shipped.sizing.find, size) for size in (6000.0, 60000.0))
    kept, failed = trial.outcomes([some, great])
    assert failed.lost.mean() > kept.lost.mean()
    assert "loses more to the air and the ground" in why_it_fails(kept, failed)
    assert "loses more" not in why_it_fails(failed, kept)


def test_a_faster_well_that_spends_its_allowance_sooner(shipped, solved):
    def with_well(rate, months, ration="as it comes"):
        supply = with_size(shipped.supply, shipped.sizing.against, rate)
        well, *others = supply.sources
        assert well.key == shipped.sizing.against.of
        held = replace(well, allowance_m3={"month": 1000.0}, ration=ration)
        one = solved.least.outcome
        spent = np.zeros_like(one.months_spent)
        spent[:, 0] = months
        supply = replace(supply, sources=(held, *others))
        return replace(one, supply=supply, months_spent=spent)

    # 20 hours a day at 10 m3/h spend 1,000 m3 in 5 days, at 2.5 m3/h in 20.
    said = why_it_fails(with_well(2.5, 2.0), with_well(10.0, 2.0))
    assert said.startswith("Well can use up its month's allowance in 5 days")
    said = why_it_fails(with_well(2.5, 2.0), with_well(10.0, 3.0))
    assert said.startswith("Well uses up its month's allowance in 3.0 months of the year, not 2.0")
    # Rationed evenly it lasts the month, however fast the well.
    said = why_it_fails(with_well(2.5, 2.0, "evenly"), with_well(10.0, 2.0, "evenly"))
    assert "do not show why" in said
    said = why_it_fails(with_well(2.5, 2.0), with_well(2.5, 2.0))
    assert "do not show why" in said


def test_no_money_without_prices(shipped):
    bare = [replace(source, tariff=()) for source in shipped.supply.sources]
    free = replace(
        shipped,
        supply=replace(shipped.supply, sources=tuple(bare)),
        costs=Costs(),
        sizing=replace(shipped.sizing, against=None),
    )
    told = sizing_dataset(solve(free, (1, 5)))
    assert not [name for name in map(str, told.data_vars) if "cost" in name]


def test_the_figure_shades_no_further_than_the_size_that_fails_again():
    attrs = {"units": "m3", "long_name": "least storage"}
    result = xr.Dataset(
        {
            "sizing_against": ("point", [1.0, 2.0, 3.0], {"units": "m3 h-1", "long_name": "well"}),
            "sizing_curve": ("point", [3.0, 2.0, 1.0], attrs),
            "sizing_curve_fails_from": ("point", [6.0, 8.0, np.nan], attrs),
        }
    )
    mpl.use("Agg")
    axes = sizing_figure(result, units="metric")
    (path,) = axes.collections[0].get_paths()
    assert path.contains_points([(1.01, 5.8), (2.0, 7.8), (2.99, 8.5)]).all()
    assert not path.contains_points([(1.01, 6.3), (2.0, 8.2), (2.0, 1.9)]).any()
    assert axes.get_ylim()[1] > 8.0
