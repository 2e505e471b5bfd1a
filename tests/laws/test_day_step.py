"""Laws of the day step: what must hold whatever the weather, the soil, the turf and the plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.day.records import YEAR
from drysward.drive.runs import run_plan
from drysward.scenario.model import EVERY_DAY, Stage
from drysward.site.stretches import prepare
from drysward.studies.compare import run

ZONES = (
    "native_loam",
    "sand_over_gravel_12in",
    "native_clay",
    "sand_cap_4in_over_loam",
    "native_thin_100mm",
)
SPECIES = (
    "kentucky_bluegrass",
    "creeping_bentgrass",
    "bermudagrass",
    "tall_fescue",
    "perennial_ryegrass",
)
STORES = ("snow_water", "thatch_water", "surface_water", "root_water", "subsoil_water")
LOSSES = ("runoff", "drainage", "leaf_evaporation", "soil_evaporation", "transpiration")
SAND_INCHES = (8, 12, 16)


def plans_of_every_rule(scenes):
    return [
        scenes.plan(),
        scenes.plan("fixed", depth_by_weekday=(8.0, 0.0, 8.0, 0.0, 8.0, 0.0, 0.0)),
        scenes.plan("share of et", share=0.8, interval_days=3),
        scenes.plan(
            "refill", trigger=0.5, stages=(Stage(120.0, 80.0, 0.5), Stage(220.0, 150.0, 0.0))
        ),
        scenes.plan("none", key="crown", crown_depth_mm=8.0),
    ]


def many_fields(scenes, patches=5):
    return [scenes.field(z, s, patches=patches) for z, s in zip(ZONES, SPECIES, strict=True)]


def total(records, names):
    return sum(records[name] for name in names)


def whole_trace(site, plan, compiled=True):
    return run_plan(site, plan, slice(0, site.calendar.size), compiled)


@pytest.fixture(scope="module", params=((1, 5), (2, 5), (3, 1), (4, 1)), ids=str)
def traced(request, scenes):
    """Several fields under every rule through three random years, by seed and patches.

    With one patch the means over the field, which the trace holds, are the patch itself.
    """
    seed, patches = request.param
    scenario = scenes.scenario(
        many_fields(scenes, patches), plans_of_every_rule(scenes), turf="continuous"
    )
    site = prepare(scenario, scenes.weather(3, seed))
    return [(plan, whole_trace(site, plan)) for plan in scenario.plans]


def test_water_account_closes_every_day(traced):
    """In every patch by the step's own residual, and over each field from the stores themselves."""
    for plan, done in traced:
        trace = done.trace
        assert trace.residual.max() <= 1e-9, plan.key
        gain = np.diff(total(trace, STORES), axis=0)
        came = trace.precipitation + trace.irrigation_landed - total(trace, LOSSES)
        assert np.abs(gain - came[1:]).max() <= 1e-9, plan.key


def test_year_sums_close(traced):
    for plan, done in traced:
        y = done.years
        came = y.precipitation + y.irrigation_landed - total(y, LOSSES)
        assert np.abs(came - (y.water_end - y.water_start)).max() < 1e-7, plan.key
        assert np.allclose(
            y.irrigation_gross - y.spray_loss - y.overspray, y.irrigation_landed, atol=1e-9
        )


def test_covers_are_shares_that_sum_to_one(traced):
    for _, done in traced:
        for name in ("green", "dormant", "dead", "footprint", "wilt"):
            assert done.trace[name].min() >= 0.0, name
            assert done.trace[name].max() <= 1.0 + 1e-12, name
        assert np.allclose(total(done.trace, ("green", "dormant", "dead")), 1.0, atol=1e-12)


def test_losses_are_never_negative(traced):
    for _, done in traced:
        for name in (*STORES, *LOSSES):
            assert done.trace[name].min() >= 0.0, name


def test_plan_none_applies_no_water(traced):
    _, done = traced[0]
    assert not done.trace.irrigation_gross.any()
    assert not done.years.watering_days.any()
    assert any(run.trace.irrigation_gross.any() for _, run in traced[1:])


def test_a_shorter_series_leaves_the_years_before_its_end_alone(scenes):
    record = scenes.weather(4)
    scenario = scenes.scenario(many_fields(scenes), plans_of_every_rule(scenes))
    full = run(scenario, record=record)
    short = run(scenario, record=record.select(slice(0, 2 * 365)))
    for name in YEAR.names:
        left = full[name].isel(year=slice(0, 2))
        assert np.array_equal(left, short[name], equal_nan=True), name


def test_order_of_fields_does_not_matter(scenes):
    record = scenes.weather(2)
    fields = many_fields(scenes)
    plans = plans_of_every_rule(scenes)
    forth = run(scenes.scenario(fields, plans), record=record)
    back = run(scenes.scenario(fields[::-1], plans), record=record)
    for name in forth.data_vars:
        turned = back[name].sel(field=forth.field) if "field" in back[name].dims else back[name]
        assert np.array_equal(forth[name], turned, equal_nan=forth[name].dtype.kind == "f"), name


def test_number_of_threads_does_not_matter(scenes):
    scenario = scenes.scenario(many_fields(scenes), plans_of_every_rule(scenes))
    record = scenes.weather(3)
    assert run(scenario, workers=1, record=record).identical(
        run(scenario, workers=2, record=record)
    )


def test_compiled_equals_plain_python(scenes):
    fields = [scenes.field(patches=2), scenes.field("sand_over_gravel_8in", patches=2)]
    plan = scenes.plan(
        "refill",
        trigger=0.4,
        stages=(Stage(100.0, 60.0, 0.5), Stage(200.0, 150.0, crown_only=True)),
        crown_depth_mm=6.0,
    )
    site = prepare(scenes.scenario(fields, [plan], fewest_days=300), scenes.weather(1))
    fast, plain = whole_trace(site, plan), whole_trace(site, plan, compiled=False)
    assert plain.trace.irrigation_gross.any()
    assert plain.trace.stage.max() > 0
    assert fast.trace.tobytes() == plain.trace.tobytes()
    assert fast.years.tobytes() == plain.years.tobytes()


@pytest.mark.parametrize("seed", (1, 2, 3))
def test_more_rain_never_leaves_less_water(scenes, seed):
    """Storage, drainage and evapotranspiration since the start, on every day."""
    fields = [scenes.field(), scenes.field("sand_over_gravel_12in", "creeping_bentgrass")]
    scenario = scenes.scenario(fields, turf="continuous")
    record = scenes.weather(2, seed)
    rng = np.random.default_rng(100 + seed)
    extra = np.where(rng.random(record.rain_mm.size) < 0.05, rng.gamma(1.0, 15.0), 0.0)
    kept = []
    for rain in (record.rain_mm, record.rain_mm + extra):
        site = prepare(scenario, replace(record, rain_mm=rain))
        trace = whole_trace(site, scenario.plans[0]).trace
        away = np.cumsum(total(trace, LOSSES[1:]), axis=0)
        kept.append(total(trace, STORES) + away)
    assert (kept[1] - kept[0]).min() > -1e-6


def test_deeper_sand_holds_more_in_all_but_less_at_the_top(scenes):
    zones = [f"sand_over_gravel_{inch}in" for inch in SAND_INCHES]
    fields = [scenes.field(zone, "creeping_bentgrass") for zone in zones]
    site = prepare(scenes.scenario(fields, fewest_days=1), scenes.record(3))
    whole = [float(z.profile.between(0.0, z.profile.depth_mm)[0]) for z in site.zones]
    top = [float(z.profile.between(0.0, 100.0)[0]) for z in site.zones]
    assert whole == sorted(set(whole))
    assert top == sorted(set(top), reverse=True)


@pytest.mark.parametrize("rule", ("refill", "share of et"))
def test_better_uniformity_saves_water_for_plans_by_need(scenes, rule):
    fields = [
        scenes.field(key=str(u), delivery=scenes.delivery(uniformity=u)) for u in (0.55, 0.75)
    ]
    plan = scenes.plan(rule, trigger=0.5, share=0.8)
    done = run(scenes.scenario(fields, [plan]), record=scenes.weather(5))
    worse, better = done.irrigation_gross.mean("year").values[:, 0]
    assert 0.0 < better <= worse


def test_better_uniformity_wilts_less_at_the_same_depth(scenes):
    """A fixed depth that is just enough on average, in a series without rain."""
    fields = [
        scenes.field(key=str(u), delivery=scenes.delivery(uniformity=u)) for u in (0.55, 0.75)
    ]
    plan = scenes.plan("fixed", depth_by_weekday=(7.0, 0.0, 7.0, 0.0, 7.0, 0.0, 0.0))
    weather = replace(scenes.weather(2), rain_mm=np.zeros(730))
    done = run(scenes.scenario(fields, [plan], start_soil_water=0.9), record=weather)
    landed = done.irrigation_landed.values
    assert np.allclose(landed[0], landed[1], rtol=1e-12)
    worse, better = done.days_wilt.sum("year").values[:, 0]
    assert better < worse


def test_supply_is_never_exceeded(scenes):
    fields = many_fields(scenes)
    scenario = scenes.scenario(fields, [scenes.plan("refill", trigger=0.5)])
    limit = 90.0
    scenario = replace(scenario, site=replace(scenario.site, supply_m3_d=limit))
    trace = whole_trace(prepare(scenario, scenes.weather(2)), scenario.plans[0]).trace
    drawn = (trace.irrigation_gross * np.array([f.area_m2 for f in fields]) / 1000.0).sum(axis=1)
    assert drawn.max() == pytest.approx(limit, rel=1e-12)  # reached, and never passed
    assert drawn.max() <= limit * (1.0 + 1e-12)


@pytest.mark.parametrize("rule", ("fixed", "share of et", "refill"))
def test_plans_respect_season_allowed_days_and_rain_skip(scenes, rule):
    tuesday_and_friday = tuple(day in (1, 4) for day in range(7))
    plan = scenes.plan(
        rule,
        trigger=0.2,
        share=1.0,
        depth_by_weekday=(6.0,) * 7,
        season=(121, 273),
        allowed=tuesday_and_friday,
        rain_skip_mm=4.0,
        rain_skip_days=2,
    )
    free = replace(plan, season=(0, 365), allowed=EVERY_DAY, rain_skip_mm=np.inf)
    site = prepare(scenes.scenario([scenes.field()], [plan]), scenes.weather(3))
    rain = site.weather.record.rain_mm
    before = np.convolve(rain, [0.0, 1.0, 1.0])[: rain.size]  # the two days before each
    barred = {
        "season": (site.calendar.day_of_year < 121) | (site.calendar.day_of_year > 273),
        "weekday": ~np.isin(site.calendar.weekday, (1, 4)),
        "rain": before >= 4.0,
    }
    held = whole_trace(site, plan).trace.irrigation_gross[:, 0]
    loose = whole_trace(site, free).trace.irrigation_gross[:, 0]
    assert held.any()
    for why, days in barred.items():
        assert not held[days].any(), why
        assert loose[days].any(), why


def test_resting_bermudagrass_does_not_wilt_in_the_cold(scenes):
    """A year without rain: dry soil, but leaves at rest do not show it from December to March."""
    weather = replace(scenes.weather(2), rain_mm=np.zeros(730))
    scenario = scenes.scenario([scenes.field(species="bermudagrass")], turf="continuous")
    site = prepare(scenario, weather)
    trace = whole_trace(site, scenario.plans[0]).trace[:, 0]
    month = site.calendar.month
    cold = np.isin(month, (0, 1)) & (np.arange(month.size) >= 365)
    assert (trace.depletion[cold] > 0.8).all()
    assert not trace.wilt[cold].any()
    assert not trace.footprint[cold].any()
    assert trace.wilt[~cold].max() > 0.1


def test_only_continuous_turf_carries_dead_cover_over_the_turn_of_the_year(scenes):
    weather = replace(scenes.weather(2), rain_mm=np.zeros(730))
    dead = {}
    for turf in ("continuous", "established each year"):
        scenario = scenes.scenario(
            [scenes.field("sand_over_gravel_8in", "perennial_ryegrass")], turf=turf
        )
        site = prepare(scenario, weather)
        dead[turf] = whole_trace(site, scenario.plans[0]).trace.dead[:, 0]
    carried, fresh = dead["continuous"], dead["established each year"]
    assert carried[364] == fresh[364] > 0.2
    assert carried[365] > 0.5 * carried[364]
    assert fresh[365] < 0.01


@pytest.mark.parametrize("rule", ["fixed", "refill"])
def test_interval_keeps_waterings_apart(scenes, rule):
    daily = scenes.plan(
        rule, depth_by_weekday=(5.0,) * 7, trigger=0.05, least_depth_mm=0.1, interval_days=3
    )
    scenario = scenes.scenario([scenes.field()], [daily], fewest_days=1)
    site = prepare(scenario, scenes.record(60, et=5.0))
    watered = np.flatnonzero(run_plan(site, daily, slice(0, 60)).trace.irrigation_gross[:, 0])
    assert watered.size > 10
    assert np.diff(watered).min() == 3
