"""Laws of the shared supply: what must hold whatever the sources, the store and the weather."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import xarray as xr
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import drysward
import drysward.studies.sizing
from drysward.drive.runs import run_plan
from drysward.results.field_costs import site_costs
from drysward.scenario.model import (
    CatchmentSpec,
    Costs,
    Restrictions,
    SiteStage,
    SourceSpec,
    StorageSpec,
    SupplySpec,
    TariffBlock,
)
from drysward.site.stretches import prepare
from drysward.site.supply import supply_input
from drysward.studies.sizing import TOLERANCE, Tried, least_size, solve, with_size

TUE_FRI = (False, True, False, False, True, False, False)
PRIORITIES = (1, 2, 2)
TRACES = (
    "delivered", "from_storage", "catchment", "rain_on_storage", "evaporation", "seepage", "spill",
    "refill", "storage",
)  # fmt: skip


def source(rate=math.inf, key="well", **more):
    return SourceSpec(key, key, "well", rate_m3_h=rate, **more)


def tank(capacity, **more):
    return StorageSpec("tank", volumes_m3=(0.0, capacity), areas_m2=(0.0, 0.0), **more)


def pond(capacity, **more):
    more = {"seepage_mm_d": 3.0, "evaporation_factor": 1.05, **more}
    return StorageSpec("pond", (0.0, capacity), (capacity / 6.0, capacity / 2.0), **more)


@pytest.fixture(scope="module")
def base(scenes):
    """A site of three fields; ``through`` gives it another supply."""
    fields = [
        scenes.field(key=key, patches=2, priority=priority)
        for key, priority in zip("abc", PRIORITIES, strict=True)
    ]
    return prepare(scenes.scenario(fields, turf="continuous"), scenes.weather(2))


@pytest.fixture(scope="module")
def fixed(scenes):
    """Asks the same whatever the soil holds, so that no turf answers back."""
    return scenes.plan("fixed", depth_by_weekday=(8.0, 0.0, 8.0, 0.0, 8.0, 0.0, 0.0))


@pytest.fixture(scope="module")
def refill(scenes):
    return scenes.plan("refill", trigger=0.4)


def through(base, plan, supply, compiled=True):
    scenario = replace(base.scenario, supply=supply)
    given_supply = supply_input(scenario, base.weather, base.calendar)
    site = replace(base, scenario=scenario, supply=given_supply)
    return run_plan(site, plan, slice(0, site.calendar.size), compiled)


def shortage(base, plan, supply):
    return float(through(base, plan, supply).supply.years.shortage.sum())


volumes = st.floats(10.0, 8000.0)
sources = st.builds(
    source,
    rate=st.one_of(st.floats(0.0, 60.0), st.just(math.inf)),
    key=st.sampled_from(["well", "mains", "works"]),
    feeds=st.sampled_from(["fields", "storage", "both"]),
    first=st.booleans(),
    hours=st.floats(0.0, 24.0),
    season=st.sampled_from([(0, 365), (100, 200), (300, 60)]),
    stops_above_mm=st.sampled_from([math.inf, 120.0]),
    resumes_below_mm=st.just(60.0),
    allowance_m3=st.dictionaries(st.sampled_from(["day", "week", "month", "year"]), volumes),
)
storages = st.one_of(
    st.none(),
    st.builds(tank, volumes, start_share=st.floats(0.0, 1.0)),
    st.builds(pond, volumes, start_share=st.floats(0.0, 1.0), dead_m3=st.floats(0.0, 9.0)),
)
stage_days = st.sampled_from([(True,) * 7, TUE_FRI])
restrictions = st.one_of(
    st.none(),
    st.builds(
        lambda share, allowed, crown: Restrictions(
            "storage",
            (SiteStage(0.6, 0.8, share=share, allowed=allowed, crown_only=crown, exempt=("b",)),),
        ),
        st.floats(0.0, 1.0),
        stage_days,
        st.booleans(),
    ),
)
supplies = st.builds(
    SupplySpec,
    sources=st.lists(sources, min_size=1, max_size=3).map(tuple),
    storage=storages,
    catchments=st.just((CatchmentSpec("roof", "roof", "roof", 2000.0, 0.9, 1.0),)),
    network_m3_h=st.one_of(st.floats(0.0, 200.0), st.just(math.inf)),
    window_h=st.floats(1.0, 12.0),
    restrictions=restrictions,
)
quick = settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@quick
@given(supplies)
def test_volume_closes_every_day_over_all_parts(base, refill, supply):
    done = through(base, refill, supply)
    t = done.supply.trace
    held = supply.storage.start_share * supply.storage.volumes_m3[-1] if supply.storage else 0.0
    gain = np.diff(np.concatenate([[held], t.storage]))
    came = t.catchment + t.rain_on_storage + t.refill
    left = t.from_storage + t.evaporation + t.seepage + t.spill
    assert np.abs(gain - came + left).max() < 1e-6
    assert t.residual.max() < 1e-6
    # Water of the sources goes to the fields or into storage.
    to_fields_and_storage = (t.delivered - t.from_storage + t.refill).sum()
    assert done.supply.draws.sum() == pytest.approx(to_fields_and_storage, abs=1e-6)
    # What the fields receive is what the supply gives, and it lands less the stated losses.
    area = base.delivery.area_m2
    received = (done.trace.irrigation_gross * area * 0.001).sum(axis=1)
    assert np.abs(received - t.delivered).max() < 1e-6
    y = done.years
    lost = y.spray_loss + y.overspray
    assert np.abs(y.irrigation_gross - lost - y.irrigation_landed).max() < 1e-6
    for name in TRACES:
        assert t[name].min() > -1e-9, name
    capacity = supply.storage.volumes_m3[-1] if supply.storage else 0.0
    assert t.storage.max() <= capacity + 1e-9


@quick
@given(supplies)
def test_no_source_exceeds_its_limits(base, refill, supply):
    done = through(base, refill, supply)
    by_month = done.supply.draws
    for s, spec in enumerate(supply.sources):
        most = spec.allowance_m3
        assert by_month[:, s].max() <= most.get("month", math.inf) + 1e-6
        assert by_month[:, s].sum(axis=1).max() <= most.get("year", math.inf) + 1e-6
        hours = min(spec.rate_m3_h * spec.hours, most.get("day", math.inf)) if spec.hours else 0.0
        assert by_month[:, s].max() <= 31 * hours + 1e-6
    network = supply.network_m3_h * supply.window_h
    assert done.supply.trace.delivered.max() <= network + 1e-6


def busy_supply():
    """Everything at once, and never enough."""
    stages = (
        SiteStage(60.0, 40.0, share=0.8, allowed=TUE_FRI, exempt=("a",)),
        SiteStage(120.0, 80.0, crown_only=True, exempt=("a", "b")),
    )
    return SupplySpec(
        sources=(
            source(0.5, feeds="both", stops_above_mm=100.0, resumes_below_mm=50.0),
            source(1.5, "mains", allowance_m3={"week": 60.0, "month": 150.0}),
            source(0.2, "works", first=True),
        ),
        storage=pond(900.0, dead_m3=20.0),
        catchments=(CatchmentSpec("bank", "bank", "grass", 5000.0, 74.0),),
        network_m3_h=30.0,
        window_h=6.0,
        restrictions=Restrictions("drought", stages),
    )


@pytest.mark.slow
def test_compiled_and_plain_runs_agree(base, refill):
    fast, plain = (through(base, refill, busy_supply(), compiled) for compiled in (True, False))
    assert plain.supply.years.shortage.sum() > 0.0
    assert plain.supply.years.restricted_days.sum() > 0.0
    for name in plain.supply.trace.dtype.names:
        assert fast.supply.trace[name] == pytest.approx(plain.supply.trace[name], abs=1e-9), name
    assert fast.supply.draws == pytest.approx(plain.supply.draws, abs=1e-9)


@quick
@example(1.25, 1.0, 10.0, 2699.0)
@given(
    st.floats(1.05, 5.0),
    st.floats(0.1, 4.0),
    st.floats(10.0, 1500.0),
    st.floats(200.0, 9000.0),
)
def test_more_storage_rate_or_allowance_never_adds_shortage(base, fixed, times, rate, held, year):
    """On a closed tank and a plan of fixed depths; ponds and turf may answer otherwise."""

    def supply(rate, held, year, ration="evenly"):
        well = source(rate, feeds="both", allowance_m3={"year": year}, ration=ration)
        return SupplySpec((well,), tank(held))

    now = shortage(base, fixed, supply(rate, held, year))
    assert shortage(base, fixed, supply(rate * times, held, math.inf)) <= (
        shortage(base, fixed, supply(rate, held, math.inf)) + 1e-6
    )
    assert shortage(base, fixed, supply(rate, held, year * times)) <= now + 1e-6
    # What storage holds moves the days of a draw, and with them the even shares of an allowance, of
    # which less than a day's may be left at the end of each year.
    a_day = year / 366.0
    assert shortage(base, fixed, supply(rate, held * times, year)) <= now + 2.0 * a_day
    assert shortage(base, fixed, supply(rate, held * times, year, "as it comes")) <= (
        shortage(base, fixed, supply(rate, held, year, "as it comes")) + 1e-6
    )


def test_a_larger_pond_may_serve_worse(base, scenes):
    """It loses more to the air and the ground: why sizing looks for a span of sizes."""
    summer = scenes.plan("fixed", depth_by_weekday=(5.0,) * 7, season=(121, 273))
    supply = SupplySpec((source(2.0, feeds="storage"),), pond(1000.0))
    leaky = {"start_share": 0.0, "seepage_mm_d": 12.0}
    found = [shortage(base, summer, replace(supply, storage=pond(v, **leaky)))
             for v in (200.0, 3000.0, 60000.0)]  # fmt: skip
    assert found[1] < found[0]
    assert found[1] < found[2]


@quick
@given(st.floats(0.05, 6.0), st.floats(0.0, 500.0))
def test_priorities_and_equal_shares(base, fixed, rate, held):
    short = through(base, fixed, SupplySpec((source(rate, feeds="both"),), tank(held)))
    free = through(base, fixed, SupplySpec((source(),)))
    asked = free.trace.irrigation_gross
    assert np.ptp(asked, axis=1).max() < 1e-9  # three fields alike, none of them short
    days = asked[:, 0] > 0.0
    share = short.trace.irrigation_gross[days] / asked[days]
    first, second, third = share.T
    assert (second <= first + 1e-9).all()
    assert third == pytest.approx(second, abs=1e-9)
    # Nobody of a later number is served while one of an earlier number is short.
    assert (second[first < 1.0 - 1e-9] < 1e-9).all()


def test_restrictions_spare_exempt_fields_and_forbid_days(base, refill):
    stage = SiteStage(40.0, 20.0, allowed=TUE_FRI, share=0.5, exempt=("b",))
    supply = SupplySpec((source(),), restrictions=Restrictions("drought", (stage,)))
    held = through(base, refill, supply)
    free = through(base, refill, SupplySpec((source(),)))
    water, unheld = held.trace.irrigation_gross, free.trace.irrigation_gross
    assert np.array_equal(water[:, 1], unheld[:, 1])
    in_force = held.supply.trace.stage > 0.0
    forbidden = in_force & ~np.array(TUE_FRI)[base.calendar.weekday]
    assert forbidden.any()
    assert not water[forbidden][:, [0, 2]].any()
    assert unheld[forbidden][:, [0, 2]].any()
    assert water[in_force, 0].sum() > 0.0


@pytest.mark.parametrize("index", ["drought", "storage"])
def test_stages_are_entered_and_left_at_their_own_values(base, refill, index):
    if index == "drought":
        stages = (SiteStage(40.0, 20.0), SiteStage(90.0, 60.0))
        supply = SupplySpec((source(),), restrictions=Restrictions("drought", stages))
    else:
        stages = (SiteStage(0.7, 0.9), SiteStage(0.3, 0.5))
        supply = SupplySpec(
            (source(1.0, feeds="storage"),), tank(4000.0),
            restrictions=Restrictions("storage", stages),
        )  # fmt: skip
    trace = through(base, refill, supply).supply.trace
    if index == "drought":
        level = base.weather.drought_index_mm[:-1]  # of the evening before
    else:  # falls: turned round, so that both rise; the morning's water is yesterday's
        level = -np.concatenate([[1.0], trace.storage[:-1] / 4000.0])
        stages = tuple(SiteStage(-s.enter, -s.leave) for s in stages)
    stage, expected = 0, []
    for value in level:
        while stage < 2 and value >= stages[stage].enter:
            stage += 1
        while stage > 0 and value < stages[stage - 1].leave:
            stage -= 1
        expected.append(stage)
    assert np.array_equal(trace.stage, expected)
    assert set(expected) == {0, 1, 2}
    # Between the two values a stage both holds and does not, by where it comes from.
    between = (level >= stages[0].leave) & (level < stages[0].enter)
    assert set(trace.stage[between]) == {0, 1}


def test_two_dry_years_running_are_worse_than_two_apart(scenes, fixed):
    """What the store held over from the wet year is gone in the second year of a drought."""
    wet = np.where(np.arange(365) % 5 == 0, 20.0, 0.0)
    dry = 0.25 * wet

    def short(order):
        rain = np.concatenate(order)
        record = scenes.record(rain.size, rain=rain, et=3.0)
        supply = SupplySpec((), tank(6000.0), (CatchmentSpec("roof", "roof", "roof", 9000.0, 0.9),))
        fields = [scenes.field(key="a", patches=2)]
        scenario = replace(scenes.scenario(fields, turf="continuous"), supply=supply)
        return run_plan(prepare(scenario, record), fixed).supply.years.shortage

    apart = short([wet, dry, wet, dry, wet])
    running = short([wet, dry, dry, wet, wet])
    assert apart[1] == pytest.approx(running[1])
    assert running.sum() > 1.2 * apart.sum() > 0.0


def test_a_spell_ends_with_the_year(base, fixed):
    """A plan that is short on every day has a spell a year, no longer one that only grows."""
    years = through(base, fixed, SupplySpec((source(0.01),))).supply.years
    assert years.shortage_events.tolist() == [1.0] * years.size
    assert years.worst_event == pytest.approx(years.shortage)


# Sizing


class Made(Tried):
    """Sizes with a known span that keeps the outcome; counts fall towards its middle."""

    def __init__(self, span, low, most, start):
        self.span, self.low, self.most, self.known = span, low, most, {}
        self.supply = SupplySpec((source(start),))
        self.sought = drysward.studies.sizing.Sought("source rate", "well", low=low, high=most)

    def need(self, sizes):
        self.known.update(
            {size: SimpleNamespace(fails=np.arange(100) < self.fails(size)) for size in sizes}
        )

    def fails(self, size):
        least, most = self.span
        if least <= size <= most:
            return 3
        return min(4 + int(10 * abs(math.log(size / (least if size < least else most)))), 100)


@given(st.floats(0.02, 50.0), st.floats(1.3, 40.0), st.floats(0.02, 90.0))
def test_the_least_of_a_span_is_found(least, times, start):
    # Spans much narrower than the step from size to size may be missed.
    tried = Made((least, least * times), 0.01, 100.0, start)
    size, less = least_size(tried, 3)
    assert tried.count(size) <= 3 < tried.count(less)
    assert least <= size <= least * (1.0 + 2.0 * TOLERANCE)
    assert size - less <= TOLERANCE * size


def test_no_span_no_size():
    assert all(map(math.isnan, least_size(Made((500.0, 900.0), 0.01, 100.0, 2.0), 3)))
    assert least_size(Made((0.001, 900.0), 0.01, 100.0, 2.0), 3) == (0.01, 0.01)


def test_the_search_ends_where_nothing_at_all_is_best():
    class Worse(Made):
        """The more, the more years fail."""

        def fails(self, size):
            return 5 + math.ceil(size)

    assert all(map(math.isnan, least_size(Worse((1.0, 2.0), 0.0, 80.0, 2.0), 3)))


YEARS = (1, 30)


@pytest.fixture(scope="module")
def shipped():
    scenario = drysward.shipped("pond")
    assert scenario.sizing is not None
    return replace(scenario, sizing=replace(scenario.sizing, points=3))


def test_sizing_tells_the_least_and_the_next_smaller_size_fails(shipped):
    trial = drysward.studies.sizing.Trial(shipped, YEARS)
    found = solve(shipped, YEARS)
    least, allowed = found.least, found.allowed_years
    assert (found.n_years, allowed) == (30, 3)

    def fails(size):
        return trial.outcomes([with_size(shipped.supply, shipped.sizing.find, size)])[0].fails

    kept, lost = fails(least.size), fails(least.tried_less)
    assert kept.sum() <= allowed < lost.sum()
    assert trial.named(kept) == least.failing_years
    assert least.critical_year in trial.named(lost & ~kept)
    assert least.low <= least.size
    assert not least.high < least.size
    assert fails(least.fails_from).sum() > allowed


def test_sizing_says_so_when_nothing_suffices(shipped):
    trickle = replace(shipped.sizing.against, low=math.nan, high=math.nan)
    dry = replace(shipped, supply=with_size(shipped.supply, trickle, 0.3))
    found = solve(replace(dry, sizing=replace(shipped.sizing, against=None)), YEARS)
    assert math.isnan(found.least.size)
    assert len(found.least.failing_years) > found.allowed_years
    assert found.least.critical_year is None
    assert found.least.fewest_at > 0.0


@pytest.mark.slow
def test_sizing_is_the_same_on_one_and_two_workers(shipped):
    one, two = (solve(shipped, YEARS, workers=n) for n in (1, 2))
    assert repr(one) == repr(two)


def test_a_size_does_the_same_whatever_others_go_along(shipped):
    """Some of them end lower than they began, and go through the years again."""
    trial = drysward.studies.sizing.Trial(shipped, YEARS)
    sizes = (400.0, 3000.0, 6000.0, 30000.0)
    supplies = [with_size(shipped.supply, shipped.sizing.find, size) for size in sizes]
    supplies.append(with_size(supplies[1], shipped.sizing.against, 0.4))
    together = [one.fails for one in trial.outcomes(supplies)]
    assert 0 < together[1].sum() < together[0].sum()
    for fails, supply in zip(together, supplies, strict=True):
        assert fails.tolist() == trial.outcomes([supply])[0].fails.tolist()


def test_no_first_filling_is_lent(shipped):
    """A store too slow to fill is judged by what it holds at the end, not by a full start."""
    sizing = replace(shipped.sizing, outcome="shortage", share=0.0, field="")
    trickle = with_size(shipped.supply, shipped.sizing.against, 0.4)
    great = with_size(trickle, shipped.sizing.find, 38000.0)
    trial = drysward.studies.sizing.Trial(replace(shipped, sizing=sizing), (1, 3))
    once = drysward.run(
        replace(shipped, supply=great), years=(1, 3), only=[shipped.sizing.plan]
    )
    assert once["supply_shortage"].isel(year=0).item() == 0.0  # the full pond lasts the first year
    assert trial.outcomes([great])[0].fails[0]


# Costs, by hand


def test_costs_by_plan_and_year():
    # 40 and 10 m3 in January, 100 m3 in July: blocks of 30 m3 at 1 and above at 2.
    draws = np.zeros((1, 2, 1, 12))
    draws[0, 0, 0, 0], draws[0, 1, 0, 0], draws[0, 1, 0, 6] = 40.0, 10.0, 100.0
    well = source(lift_m=36.7, pump_efficiency=0.5, tariff=(TariffBlock(30.0, 1.0),
                  TariffBlock(math.inf, 2.0)))  # fmt: skip
    supply = SupplySpec((well,), tank(100.0, lift_m=0.0))
    days = np.array([[[10.0, 20.0]], [[1.0, 2.0]]])
    result = xr.Dataset(
        {
            "supply_drawn": (("plan", "year", "source", "month"), draws),
            "supply_from_storage": (("plan", "year"), np.zeros((1, 2))),
            "watering_days": (("field", "plan", "year"), days),
            "labor_hours": (("field", "plan", "year"), days * [[[0.5]], [[2.0]]]),
        },
        coords={
            "plan": ["p"], "plan_label": ("plan", ["P"]), "year": [2001, 2002], "source": ["well"],
            "field": ["a", "b"],
        },
    )  # fmt: skip
    told = site_costs(result, supply, Costs("USD", 0.1, 20.0))
    water = [30.0 + 20.0, 10.0 + 30.0 + 140.0]
    # 1000 kg x 9.80665 x 36.7 m / (3.6e6 x 0.5) = 0.19995 kWh/m3
    energy = [40 * 0.199947, 110 * 0.199947]
    labor = [20.0 * (5.0 + 2.0), 20.0 * (10.0 + 4.0)]
    assert told["cost_water"].values[0] == pytest.approx(water)
    assert told["energy_used"].values[0] == pytest.approx(energy, rel=1e-5)
    assert told["cost_labor"].values[0] == pytest.approx(labor)
    whole = [w + 0.1 * e + h for w, e, h in zip(water, energy, labor, strict=True)]
    assert told["cost"].values[0] == pytest.approx(whole, rel=1e-6)
    assert told["cost_mean"].item() == pytest.approx(sum(whole) / 2, rel=1e-6)
    assert told["cost_dry"].item() == pytest.approx(whole[0] + 0.9 * (whole[1] - whole[0]))
    assert told["cost"].attrs["units"] == "USD"
