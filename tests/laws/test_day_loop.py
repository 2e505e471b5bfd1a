"""Laws of the day loop as a whole, on a site that has everything: stops, and the plain program."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.drive.runs import advance_all, start_runs
from drysward.site.stretches import prepare

GATHERED = ("patches", "states", "play", "years", "odds", "green", "trace")


@pytest.fixture(scope="module", params=["established each year", "continuous"])
def site(request, scenes):
    return prepare(scenes.everything(turf=request.param), scenes.hard_weather(4))


def same(one, other, but=()):
    """Whether two groups of runs have done the same, bit for bit."""
    for name in GATHERED:
        if name not in but:
            assert getattr(one, name).tobytes() == getattr(other, name).tobytes(), name
    for name, ours, theirs in zip(one.supply._fields, one.supply, other.supply, strict=True):
        if name not in but:
            assert ours.tobytes() == theirs.tobytes(), name


def started(site, n_plans):
    return start_runs([(site, plan) for plan in (site.scenario.plans * 3)[:n_plans]])


def cut(site, start, stop):
    """The days of a site from ``start`` to ``stop``; those before lead in."""
    return replace(site, calendar=site.calendar[:stop], days=site.days[:stop], from_day=start)


@pytest.mark.parametrize("n_plans", [1, 4, 9])
@pytest.mark.parametrize("years", [(1,), (3,), (1, 2, 3)], ids=str)
def test_runs_that_stop_at_a_new_year_go_on_as_if_they_had_not(site, n_plans, years):
    """What a run carries from stretch to stretch is all that there is."""
    n_days = site.calendar.size
    whole, parts = started(site, n_plans), started(site, n_plans)
    advance_all(site, whole)
    new_years = np.flatnonzero(site.calendar.first)
    start = 0
    for stop in (*new_years[list(years)], n_days):
        advance_all(cut(site, start, stop), parts)
        start = stop
    same(parts, whole)
    assert whole.supply.years.shortage.max() > 0.0


# Few runs lie with their patches side by side, many one after another and in two blocks.
@pytest.mark.parametrize("n_plans", [1, 2, 6])
def test_compiled_and_plain_are_alike_to_the_last_bit(scenes, n_plans):
    site = prepare(scenes.everything(), scenes.hard_weather(1))
    days = slice(0, site.calendar.size)
    compiled, plain = started(site, n_plans), started(site, n_plans)
    advance_all(site, compiled, days)
    advance_all(site, plain, days, compiled=False)
    same(compiled, plain)
    everything_was_on(site, plain)


def everything_was_on(site, runs):
    trace, years, play = runs.trace, runs.years, runs.play
    assert trace.irrigation_gross.any()
    assert trace.stage[0].max() == 2.0
    assert runs.supply.years.restricted_days.any()
    assert runs.supply.years.shortage.any()
    assert years.overspray.any()
    assert play.syringed.any()
    assert play.events.any()
    assert play.covered_days.any()
    assert trace.dust.any()
    assert trace.frozen.any()
    assert trace.root_loss.any()
    assert trace.drought_index.max() >= 120.0  # from which a plan pauses
    assert site.play.days.sown.any()
    assert site.play.days.prewet.any()
