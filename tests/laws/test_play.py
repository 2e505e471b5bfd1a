"""Laws of play in the day loop: what must hold whatever the weather, the use and the plan."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

import drysward
from drysward.day.records import STAGES
from drysward.drive.runs import advance, run_plan, start_run
from drysward.physics.hardness import hardness_g, share_beyond
from drysward.scenario.load import with_weather
from drysward.scenario.model import (
    CoverSpec,
    EstablishSpec,
    EventSpec,
    PlaySpec,
    Restrictions,
    RootZoneSpec,
    SiteStage,
    SkinSpec,
    SourceSpec,
    Stage,
    SupplySpec,
    SyringeSpec,
)
from drysward.site.forcing import weekday
from drysward.site.stretches import prepare, stretches
from drysward.studies import compare
from drysward.studies.compare import run

STORES = ("snow_water", "thatch_water", "surface_water", "root_water", "subsoil_water")
LOSSES = ("runoff", "drainage", "leaf_evaporation", "soil_evaporation", "transpiration")
COVERS = ("green", "dormant", "dead", "worn")
SATURDAY = tuple(day == 5 for day in range(7))
TUESDAY_THURSDAY = tuple(day in (1, 3) for day in range(7))
MATCH = EventSpec("match", SATURDAY, hours=2.5)
PRACTICE = EventSpec("practice", TUESDAY_THURSDAY, hours=3.0, judged=False)
COVER = CoverSpec(rain_from_mm=2.0, days_before=4, labor_h=4.0, longest_days=2, heat_c=26.0)
SKIN = SkinSpec(dust_below=0.10, mud_above=0.28, target=0.19)
SYRINGE = SyringeSpec(above_c=27.0, depth_mm=1.0, from_wilt=0.1)
SEED, SOD = (
    EstablishSpec(152, "seed", 3.0, 3, 21),
    EstablishSpec(121, "sod", 5.0, 2, 14),
)
DAILY = (6.0,) * 7


def total(records, names):
    return sum(records[name] for name in names)


def whole_trace(site, plan, compiled=True):
    return run_plan(site, plan, slice(0, site.calendar.size), compiled)


def infield(scenes, key="infield", **more):
    return scenes.field("infield_mix", "", key, surface="skinned", skin=SKIN, **more)


def every_surface(scenes, patches=1):
    """A stadium, a hard-used field, two of new turf and an infield: all that play can ask for."""
    stadium = PlaySpec(
        (MATCH, PRACTICE), COVER, blackout_days=1, prewet_mm=6.0, prewet_days_before=2
    )
    used = PlaySpec((MATCH, replace(PRACTICE, hours=8.0)), blackout_days=2)
    return [
        scenes.field("sand_over_gravel_12in", key="stadium", play=stadium, patches=patches),
        scenes.field("native_clay", "bermudagrass", "used", play=used, patches=patches),
        scenes.field(species="tall_fescue", key="seeded", establish=SEED, patches=patches),
        scenes.field(key="laid", establish=SOD, play=stadium, patches=patches),
        infield(scenes, play=PlaySpec((MATCH,)), patches=patches),
    ]


def every_plan(scenes):
    stages = (Stage(100.0, 70.0, 0.8), Stage(170.0, 120.0, crown_only=True))
    return [
        scenes.plan(key="cooled", syringe=SYRINGE),
        scenes.plan("refill", trigger=0.4, syringe=SYRINGE, stages=stages, crown_depth_mm=8.0),
        scenes.plan("fixed", depth_by_weekday=DAILY, time_of_day="evening", season=(91, 304)),
    ]


def play_on(scenes, play, plan=None, record=None, zone="native_loam", overrides=None, **more):
    """Trace (T,), year and site of one patch of turf that is played on."""
    field = scenes.field(zone, play=play, patches=1, **more)
    plan = plan or scenes.plan()
    scenario = scenes.scenario(
        [field], [plan], overrides=overrides, turf="continuous", fewest_days=1
    )
    site = prepare(scenario, record or scenes.weather(2))
    done = whole_trace(site, plan)
    return done.trace[:, 0], done, site


@pytest.fixture(scope="module", params=((1, 1), (2, 1), (3, 4)), ids=str)
def traced(request, scenes):
    """Everything on, through three random years, by seed and patches."""
    seed, patches = request.param
    scenario = scenes.scenario(
        every_surface(scenes, patches), every_plan(scenes), turf="continuous"
    )
    record = scenes.weather(3, seed)
    colder = np.where(record.tmax_c < 8.0, 10.0, 0.0)  # winters that freeze the ground
    record = replace(
        record,
        rain_mm=0.6 * record.rain_mm,
        tmax_c=record.tmax_c - colder,
        tmin_c=record.tmin_c - colder,
    )
    site = prepare(scenario, record)
    return site, [(plan, whole_trace(site, plan)) for plan in scenario.plans]


# --- everything on ----------------------------------------------------------------------------


def test_water_account_closes_every_day(traced):
    for plan, done in traced[1]:
        trace = done.trace
        assert trace.residual.max() <= 1e-9, plan.key
        gain = np.diff(total(trace, STORES), axis=0)
        came = trace.precipitation + trace.irrigation_landed - total(trace, LOSSES)
        assert np.abs(gain - came[1:]).max() <= 1e-9, plan.key


def test_year_sums_close(traced):
    for plan, done in traced[1]:
        y = done.years
        came = y.precipitation + y.irrigation_landed - total(y, LOSSES)
        assert np.abs(came - (y.water_end - y.water_start)).max() < 1e-7, plan.key
        assert np.allclose(
            y.irrigation_gross - y.spray_loss - y.overspray, y.irrigation_landed, atol=1e-9
        )


def test_everything_was_on(traced):
    site, runs = traced
    (_, cooled), (_, refill), _ = runs
    days = site.play.days
    for name in ("judged", "blackout", "prewet", "covered", "light", "sown", "young"):
        assert days[name].any(), name
    assert cooled.play.syringed.any()
    assert refill.trace.stage.max() == 2.0
    assert max(done.trace.worn[:, :4].max() for _, done in runs) > 0.3
    assert max(done.trace.root_loss.max() for _, done in runs) > 0.1


def test_covers_sum_to_one_in_every_patch(traced):
    for plan, done in traced[1]:
        for name in COVERS:
            assert done.patches[name].min() >= 0.0, name
        assert np.allclose(total(done.patches, COVERS), 1.0, atol=1e-12), plan.key


def test_covers_of_the_account_sum_to_one_every_day(traced):
    for plan, done in traced[1]:
        assert np.allclose(total(done.trace, COVERS), 1.0, atol=1e-12), plan.key


def test_shares_are_shares(traced):
    for _, done in traced[1]:
        for name in ("hard", "mud", "standing", "dust", "root_loss", "air_filled", *COVERS):
            assert done.trace[name].min() >= 0.0, name
            assert done.trace[name].max() <= 1.0 + 1e-12, name


def test_compiled_equals_plain_python(scenes):
    fields = every_surface(scenes, 2)
    plan = every_plan(scenes)[1]
    site = prepare(scenes.scenario(fields, [plan], fewest_days=300), scenes.weather(1))
    fast, plain = whole_trace(site, plan), whole_trace(site, plan, compiled=False)
    for name in ("trace", "years", "play"):
        assert getattr(fast, name).tobytes() == getattr(plain, name).tobytes(), name
    assert plain.play.events.any()


# --- hardness ---------------------------------------------------------------------------------


# With one patch the means of the account are the patch itself.
@pytest.mark.parametrize("traced", [(1, 1), (2, 1)], ids=str, indirect=True)
def test_hardness_never_falls_while_the_surface_dries(traced):
    site, runs = traced
    for _, done in runs:
        trace = done.trace
        bare = 1.0 - trace.green - trace.dormant
        still = (
            (site.days.liquid == 0.0)
            & (trace.irrigation_gross == 0.0)
            & (site.play.days.use_hours == 0.0)
            & (trace.frozen == 0.0)
        )
        day = still[1:] & still[:-1] & (np.diff(bare, axis=0) >= 0.0)
        assert (np.diff(trace.surface_water, axis=0)[day] <= 1e-9).all()
        change = np.diff(trace.hardness, axis=0)[day]
        assert change.min() >= -1e-9
        assert change.max() > 1.0


@given(
    st.lists(st.floats(0.0, 0.6), min_size=2, max_size=2).map(sorted),
    st.floats(40.0, 200.0), st.floats(-450.0, 0.0), st.floats(0.0, 60.0),
    st.floats(0.0, 1.0), st.floats(0.0, 25.0), st.sampled_from([0.0, 1.0]),
)  # fmt: skip
def test_a_drier_surface_is_as_hard_or_harder(moisture, intercept, slope, floor, bare, more, ice):
    dry, wet = (hardness_g(m, intercept, slope, floor, bare, more, ice, 450.0) for m in moisture)
    assert dry >= wet
    if ice:
        assert wet >= 450.0


@given(
    st.lists(st.floats(0.0, 300.0), min_size=2, max_size=2).map(sorted),
    st.floats(20.0, 200.0), st.floats(1.0, 30.0),
)  # fmt: skip
def test_a_harder_surface_has_as_much_or_more_beyond_a_limit(mean, limit, scatter):
    less, more = (share_beyond(g, limit, 1.0 / scatter) for g in mean)
    assert 0.0 <= less <= more + 1e-12 <= 1.0 + 2e-12


# --- covers -----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", (1, 2))
def test_a_cover_only_keeps_rain_off(scenes, seed):
    play = PlaySpec((MATCH,), COVER)
    fields = [
        scenes.field(key="covered", play=play),
        scenes.field(key="open", play=replace(play, cover=None)),
    ]
    scenario = scenes.scenario(fields, turf="continuous")
    record = scenes.weather(3, seed)
    site = prepare(scenario, record)
    done = whole_trace(site, scenario.plans[0])
    covered, free = done.trace[:, 0], done.trace[:, 1]
    kept_off = free.precipitation - covered.precipitation
    assert kept_off.min() >= 0.0
    lies = site.play.days.covered[:, 0] > 0.0
    assert np.array_equal(kept_off > 0.0, lies)
    assert np.allclose(covered.precipitation[lies], 0.0)
    ours = done.play[0]
    years = site.calendar.year
    assert np.allclose(ours.rain_kept_off, np.bincount(years, kept_off))
    assert np.array_equal(ours.covered_days, np.bincount(years, lies))
    assert np.array_equal(ours.cover_labor, 4.0 * ours.covered_days)
    assert not done.play[1].covered_days.any()
    # Its limits: a match ahead, warmth, days in a row.
    rain, tmax = record.rain_mm, record.tmax_c
    weekday = site.calendar.weekday
    assert (rain[lies] >= COVER.rain_from_mm).all()
    assert (tmax[lies] <= COVER.heat_c).all()
    assert np.isin(weekday[lies], (1, 2, 3, 4)).all()
    assert not (lies[2:] & lies[1:-1] & lies[:-2]).any()
    may = (rain >= COVER.rain_from_mm) & np.isin(weekday, (1, 2, 3, 4))
    assert (may & (tmax > COVER.heat_c)).any()
    assert (may[2:] & may[1:-1] & may[:-2]).any()


def test_a_cover_does_not_keep_snow_off(scenes):
    play = PlaySpec((replace(MATCH, weekdays=(True,) * 7),), replace(COVER, longest_days=400))
    record = scenes.record(60, rain=5.0, tmax=-5.0, tmin=-12.0, et=0.5)
    trace, done, _ = play_on(scenes, play, record=record)
    assert not done.play.covered_days.any()
    assert trace.snow_water[-1] == pytest.approx(300.0)


# --- syringing --------------------------------------------------------------------------------


def test_syringing_leaves_no_more_than_its_remainder_in_the_ground(scenes):
    plans = [scenes.plan(key="cooled", syringe=SYRINGE), scenes.plan(key="not cooled")]
    fields = [scenes.field(patches=1, species="tall_fescue"), scenes.field("native_clay")]
    scenario = scenes.scenario(fields, plans, turf="continuous")
    record = scenes.weather(3, 4)
    site = prepare(scenario, replace(record, rain_mm=0.4 * record.rain_mm))
    cooled, plain = (whole_trace(site, plan).trace for plan in plans)
    left = np.cumsum(0.1 * cooled.irrigation_gross, axis=0)
    more = total(cooled, STORES[1:]) - total(plain, STORES[1:])
    assert left[-1].min() > 1.0
    assert (more - left).max() <= 1e-9
    assert more.max() > 0.1
    assert np.allclose(cooled.irrigation_landed, 0.1 * cooled.irrigation_gross)


def test_syringing_is_drawn_and_accounted(scenes):
    plan = scenes.plan(key="cooled", syringe=SYRINGE)
    scenario = scenes.scenario([scenes.field()], [plan])
    # What is drawn is only told of a supply that could be short.
    scenario = replace(scenario, site=replace(scenario.site, supply_m3_d=1e6))
    record = scenes.weather(2, 4)
    site = prepare(scenario, replace(record, rain_mm=0.4 * record.rain_mm))
    done = whole_trace(site, plan)
    gross = done.trace.irrigation_gross[:, 0]
    days = gross > 0.0
    assert days.any()
    assert np.array_equal(np.unique(gross[days]), [SYRINGE.depth_mm])
    assert (record.tmax_c[days] >= SYRINGE.above_c).all()
    assert (done.trace.wilt[np.flatnonzero(days) - 1, 0] >= SYRINGE.from_wilt).all()
    assert done.play.syringed.sum() == pytest.approx(gross.sum())
    assert np.allclose(done.years.irrigation_gross, done.play.syringed)
    assert np.allclose(done.years.spray_loss, 0.9 * done.play.syringed)
    assert np.allclose(done.supply.trace.delivered, 8.0 * gross)  # m3 from 8000 m2


@pytest.mark.parametrize("rule", ["none", "refill"])
def test_nobody_syringes_on_a_day_that_restrictions_close(scenes, rule):
    """On the days left all of it is syringed, whatever share of a watering they leave; what is not
    syringed is no water that the turf lacks.
    """
    plan = scenes.plan(rule, syringe=SYRINGE, trigger=2.0)  # which no turf comes to
    open_days = tuple(day in (0, 3) for day in range(7))
    record = scenes.weather(2, 4)
    record = replace(record, rain_mm=0.4 * record.rain_mm)
    found = []
    for more in ({}, {"share": 0.5}, {"allowed": open_days}, {"allowed": (False,) * 7}):
        stage = SiteStage(np.inf, np.inf, 0, 365, **more)
        scenario = scenes.scenario([scenes.field(patches=1)], [plan])
        mains = SourceSpec("mains", "Mains", "mains")
        supply = SupplySpec((mains,), restrictions=Restrictions("calendar", (stage,)))
        done = whole_trace(prepare(replace(scenario, supply=supply), record), plan)
        assert not done.years.shortage.any()
        found.append(done.trace.irrigation_gross[:, 0])
    free, share, some, none = found
    assert np.array_equal(share, free)
    assert set(weekday(record.dates[free > 0.0])) == set(range(7))
    assert set(weekday(record.dates[some > 0.0])) == {0, 3}
    assert np.array_equal(np.unique(some), [0.0, SYRINGE.depth_mm])
    assert not none.any()


def test_syringing_does_not_put_a_watering_off(scenes):
    fixed = scenes.plan("fixed", depth_by_weekday=DAILY, interval_days=3, season=(91, 304))
    plans = [replace(fixed, key="cooled", syringe=replace(SYRINGE, from_wilt=0.0)), fixed]
    scenario = scenes.scenario([scenes.field()], plans)
    site = prepare(scenario, scenes.weather(2))
    cooled, plain = (whole_trace(site, plan).trace.irrigation_gross[:, 0] for plan in plans)
    assert np.array_equal(cooled > 1.5, plain > 1.5)
    assert (cooled > 0.0).sum() > (plain > 0.0).sum() > 0


# --- roots without air ------------------------------------------------------------------------


@pytest.mark.parametrize("seed", (1, 2))
def test_roots_are_lost_without_air_and_come_back_with_it(scenes, seed):
    plan = scenes.plan("fixed", depth_by_weekday=(15.0,) * 7, season=(121, 200))
    trace, _, _ = play_on(scenes, PlaySpec(), plan, scenes.weather(2, seed), "native_clay")
    airless = trace.air_filled < 0.10
    change = np.diff(trace.root_loss)
    assert (change[airless[1:]] >= 0.0).all()
    assert (change[~airless[1:]] <= 0.0).all()
    assert (change[airless[1:] & ~airless[:-1]] == 0.0).all()  # a single day does no harm
    assert change.max() > 0.0 > change.min()
    assert trace.root_loss.max() <= 0.7


def test_more_water_never_leaves_more_roots_on_wet_ground(scenes):
    losses = []
    for depth in (0.0, 8.0, 16.0, 24.0):
        plan = scenes.plan("fixed", depth_by_weekday=(depth,) * 7, season=(91, 304))
        losses.append(play_on(scenes, PlaySpec(), plan, zone="native_clay")[0].root_loss)
    for less, more in pairwise(losses):
        assert (more - less).min() >= -1e-12
    assert losses[-1].sum() > losses[0].sum()


@pytest.mark.parametrize("zone", ("native_loam", "native_clay", "sand_over_gravel_12in"))
def test_a_field_that_lost_roots_wilts_no_later(scenes, zone):
    plan = scenes.plan()
    scenario = scenes.scenario([scenes.field(zone)], [plan], turf="continuous", fewest_days=1)
    site = prepare(scenario, scenes.record(90, et=5.0))
    first = []
    for lost in (0.0, 0.2, 0.4, 0.6):
        made = start_run(site, plan)
        made.patches.root_loss[:] = lost
        wilt = advance(site, made, slice(0, 90)).trace.wilt[:, 0]
        first.append(int(np.argmax(wilt >= 0.1)))
        assert wilt.max() >= 0.1
    assert first == sorted(first, reverse=True)
    assert first[-1] < first[0]


def test_a_refill_waters_for_the_roots_that_are_left(scenes):
    plan = scenes.plan("refill", trigger=0.5, season=(91, 304))
    field = scenes.field("native_clay", play=PlaySpec((MATCH, PRACTICE)))
    site = prepare(scenes.scenario([field], [plan]), scenes.weather(3))
    trace = whole_trace(site, plan).trace[:, 0]
    assert trace.root_loss.max() > 0.3
    felt = np.minimum(trace.depletion / (1.0 - trace.root_loss), 1.0)
    watered = trace.irrigation_gross > 0.0
    begins = np.flatnonzero(watered[1:] & ~watered[:-1])
    assert begins.size > 20
    assert (felt[begins] >= 0.5).all()
    assert (trace.depletion[begins] < 0.45).any()
    asked = np.flatnonzero((felt[:-1] >= 0.5) & (trace.demand[1:] > 0.0))
    assert np.isin(begins, asked).all()


def test_watering_by_need_keeps_turf_that_lost_roots():
    """Use of severely compacted ground takes most of the roots, and what is left wilts early."""
    scenario = drysward.shipped("match-days")
    text = scenario.text.replace('"native_loam", compaction = "moderate"',
                                 '"native_clay_loam", compaction = "severe"')  # fmt: skip
    done = drysward.run(drysward.loads(text, scenario.folder), years=(1, 20))
    of_field = done.sel(field="practice", plan="refill_morning")
    assert of_field.play_peak_root_loss.mean() > 0.5
    assert not of_field.days_dormant.any()


# --- wear -------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ("native_loam", "sand_over_gravel_12in"))
def test_more_hours_never_leave_more_green(scenes, zone):
    """On turf that is watered daily, so that nothing but use takes green from it."""
    plan = scenes.plan("fixed", depth_by_weekday=DAILY)
    green = []
    for hours in (0.0, 1.0, 2.5, 6.0, 12.0):
        play = PlaySpec((replace(MATCH, hours=hours), replace(PRACTICE, hours=hours)))
        trace, done, _ = play_on(scenes, play, plan, zone=zone)
        green.append(trace.green)
        assert np.array_equal(done.play.use_hours[0] > 0.0, np.full(2, hours > 0.0))
    for fewer, more in pairwise(green):
        assert (more - fewer).max() <= 1e-12
        assert more.min() < fewer.min()


def test_worn_ground_is_not_dead(scenes):
    plan = scenes.plan("fixed", depth_by_weekday=DAILY)
    trace, done, _ = play_on(scenes, PlaySpec((replace(MATCH, hours=12.0), PRACTICE)), plan)
    assert trace.worn.max() > 0.5
    # Use costs a few crowns where summer heat has thinned the leaves.
    assert trace.dead.max() < 0.02
    assert not done.odds[:, STAGES.index("dead")].any()


def test_wear_alone_kills_nothing_in_a_drought(scenes):
    """Where use costs dormant turf no crowns, a used field is never deader than an unused one."""
    record = scenes.record(365, rain=0.0, et=5.0)
    odds = []
    dead = []
    for hours in (0.0, 4.0):
        trace, done, _ = play_on(
            scenes,
            PlaySpec((replace(MATCH, hours=hours),)),
            record=record,
            zone="sand_over_gravel_8in",
            species="perennial_ryegrass",
            overrides={"play.use.dormant_wear_per_h": 0.0},
        )
        odds.append(done.odds[0, STAGES.index("dead")])
        dead.append(trace.dead)
    assert dead[0].max() > 0.3
    # Bare ground beside them dries crowns a little.
    assert (dead[1] - dead[0]).max() <= 1e-4
    assert np.abs(odds[1].sum() - odds[0].sum()) <= 14


def test_traffic_on_dormant_turf_costs_crowns(scenes):
    record = scenes.record(120, et=6.0)
    last_day = EventSpec("match", dates=(120,), hours=6.0)  # 30 April
    _, used, site = play_on(scenes, PlaySpec((last_day,)), record=record)
    _, unused, _ = play_on(scenes, PlaySpec(), record=record)
    mine, other = used.patches[0, 0], unused.patches[0, 0]
    assert other.dormant > 0.3
    crowns = site.play.days.wear_dormant[-1, 0] * other.dormant
    assert crowns > 0.001
    assert mine.dead - other.dead == pytest.approx(crowns)
    assert other.dormant - mine.dormant == pytest.approx(crowns)


# --- events and the calendar --------------------------------------------------------------------


def test_events_are_those_of_the_calendar(traced):
    site, runs = traced
    year, weekday = site.calendar.year, site.calendar.weekday
    saturdays = np.bincount(year[weekday == 5])
    practice = np.bincount(year[np.isin(weekday, (1, 3))])
    for _, done in runs:
        for f, (events, hours) in enumerate([(1, 3.0), (1, 8.0), (0, 0.0), (1, 3.0), (1, 0.0)]):
            ours = done.play[f]
            assert np.array_equal(ours.events, events * saturdays)
            assert np.allclose(ours.use_hours, 2.5 * events * saturdays + hours * practice)


def test_events_are_judged_by_their_day(traced):
    site, runs = traced
    year = site.calendar.year
    some = dict.fromkeys(("playable", "hard", "wet", "frozen"), 0.0)
    for _, done in runs:
        trace = done.trace
        judged = site.play.days.judged > 0.0
        frozen = trace.frozen > 0.0
        hard = (trace.hard >= 0.25) | (trace.dust >= 0.25)
        wet = (trace.mud >= 0.25) | (trace.standing >= 0.25)
        kinds = {
            "playable": ~(frozen | hard | wet), "hard": hard & ~frozen, "wet": wet,
            "frozen": frozen,
        }  # fmt: skip
        for f in range(judged.shape[1]):
            ours = done.play[f]
            for kind, days in kinds.items():
                told = np.bincount(year, (days & judged)[:, f])
                assert np.array_equal(ours[f"events_{kind}"], told), kind
                some[kind] += told.sum()
            spoilt = ours.events - ours.events_playable
            hard_or_frozen = ours.events_frozen + ours.events_hard
            assert (spoilt >= np.maximum(hard_or_frozen, ours.events_wet)).all()
            assert (spoilt <= hard_or_frozen + ours.events_wet).all()
    assert min(some.values()) > 0.0


EVERY_DAY = EventSpec("game", (True,) * 7, hours=0.5)


def watered(scenes, depth_mm, time_of_day="early morning", **more):
    """Year of a loam field, compacted as fields are, that plays every day; watered on weekdays."""
    plan = scenes.plan(
        "fixed", depth_by_weekday=(depth_mm,) * 5 + (0.0,) * 2, time_of_day=time_of_day
    )
    zone = RootZoneSpec("native_loam", words={"compaction": "moderate"})
    return play_on(scenes, PlaySpec((EVERY_DAY,)), plan, zone=zone, **more)


def test_a_game_on_mud_is_too_wet(scenes):
    line, done, site = watered(scenes, 12.0)
    muddy = line.mud >= 0.25
    assert muddy.any()
    year = site.calendar.year
    wet = np.bincount(year, muddy | (line.standing >= 0.25))
    assert np.array_equal(done.play[0].events_wet, wet)
    in_season = site.calendar.in_season == 1
    assert np.array_equal(done.play[0].days_mud, np.bincount(year, muddy & in_season))


@pytest.mark.parametrize("seed", (1, 2))
def test_more_water_never_leaves_less_mud_or_harder_ground(scenes, seed):
    record = scenes.weather(2, seed)
    lines = [watered(scenes, depth, record=record) for depth in (0.0, 3.0, 6.0, 12.0)]
    for (_, drier, _), (_, wetter, _) in pairwise(lines):
        less, more = drier.play[0], wetter.play[0]
        assert (more.days_mud >= less.days_mud).all()
        assert (more.events_wet >= less.events_wet).all()
        assert (more.hardness_sum <= less.hardness_sum).all()
    assert (lines[-1][1].play[0].events_wet > lines[0][1].play[0].events_wet).all()


def test_a_field_in_need_of_water_is_no_mud_after_it_got_it(scenes):
    """A groundskeeper's own observation: mud comes of heavy rain, or of watering too much."""
    record = scenes.record(730, 0.0, 30.0, 18.0, 6.0)
    plan = scenes.plan("refill", trigger=0.4, time_of_day="early morning")
    zone = RootZoneSpec("native_loam", words={"compaction": "moderate"})
    line, _, _ = play_on(scenes, PlaySpec((EVERY_DAY,)), plan, record, zone=zone)
    assert (line.irrigation_gross > 0.0).sum() > 50
    assert not line.mud[30:].any()
    storm = replace(record, rain_mm=np.where(np.arange(730) % 60 == 59, 60.0, 0.0))
    line, _, _ = play_on(scenes, PlaySpec((EVERY_DAY,)), plan, storm, zone=zone)
    assert (line.mud[storm.rain_mm > 0.0] > 0.0).all()
    assert line.mud[30:].sum() <= 2.0 * (storm.rain_mm[30:] > 0.0).sum()


@pytest.mark.parametrize("seed", (1, 2, 3))
@pytest.mark.parametrize("depth_mm", (3.0, 12.0))
def test_evening_watering_never_brings_fewer_disease_nights(scenes, seed, depth_mm):
    record = scenes.weather(2, seed)
    record = replace(record, tmin_c=record.tmax_c - 8.0)  # warm nights
    morning, evening = (
        watered(scenes, depth_mm, time, record=record)[1].play[0].disease_nights
        for time in ("early morning", "evening")
    )
    assert (evening >= morning).all()
    assert evening.sum() > morning.sum()


def test_no_water_is_drawn_on_days_kept_dry(traced):
    site, runs = traced
    kept_dry = site.play.days.blackout > 0.0
    assert kept_dry[:, (0, 1, 3)].any(axis=0).all()
    for plan, done in runs:
        assert not done.trace.irrigation_gross[kept_dry].any(), plan.key
    saturday = site.calendar.weekday == 5
    assert runs[2][1].trace.irrigation_gross[saturday, 2].any()  # a field without blackout


def test_crown_water_too_waits_for_the_day_after_an_event(scenes):
    plan = scenes.plan(key="crown", crown_depth_mm=8.0, crown_interval_days=1)
    record = scenes.record(120, et=6.0)
    trace, _, site = play_on(scenes, PlaySpec((MATCH,), blackout_days=1), plan, record)
    assert trace.irrigation_gross.any()
    assert not trace.irrigation_gross[site.play.days.blackout[:, 0] > 0.0].any()


def prewet_only(scenes, **more):
    """What a plan that gives nothing of its own draws for a field that is wetted before matches."""
    play = PlaySpec((MATCH,), prewet_mm=6.0, prewet_days_before=2)
    plan = scenes.plan("fixed", **more)
    trace, _, site = play_on(scenes, play, plan, scenes.record(365, et=4.0))
    return trace.irrigation_landed, site.calendar.weekday


def test_a_field_is_wetted_on_the_day_before_its_match(scenes):
    landed, weekday = prewet_only(scenes)
    assert np.allclose(landed, np.where(weekday == 3, 6.0, 0.0))


def test_restrictions_hold_for_wetting_before_a_match_too(scenes):
    share, _ = prewet_only(scenes, stages=(Stage(-1e9, -2e9, 0.5),))
    assert share.max() == pytest.approx(3.0)
    tuesday = tuple(day == 1 for day in range(7))
    assert not prewet_only(scenes, stages=(Stage(-1e9, -2e9, 1.0, tuesday),))[0].any()
    assert not prewet_only(scenes, stages=(Stage(-1e9, -2e9, crown_only=True),))[0].any()


# --- skinned ground ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "turf, latitude",
    [
        ("established each year", 39.0),
        ("established each year", -38.0),
        ("continuous", 39.0),
        ("continuous", -38.0),
    ],
)
def test_skinned_ground_has_no_stages(scenes, turf, latitude):
    plans = [scenes.plan(), scenes.plan("refill", trigger=0.4)]
    scenario = scenes.scenario([infield(scenes)], plans, latitude, turf=turf)
    site = prepare(scenario, scenes.weather(3))
    for plan in plans:
        done = whole_trace(site, plan)
        for name in ("green", "dormant", "dead", *STAGES[:2], "transpiration", "root_loss"):
            assert not done.trace[name].any(), name
        assert (done.trace.worn == 1.0).all()
        assert not done.odds.any()
        assert done.trace.irrigation_gross.any() == (plan.rule != "none")
        assert done.play.days_dust.all() == (plan.rule == "none")


def test_water_of_skinned_ground_counts_at_the_supply(scenes):
    fields = [scenes.field(), replace(infield(scenes), area_m2=1000.0)]
    plan = scenes.plan("refill", trigger=0.4)
    scenario = scenes.scenario(fields, [plan])
    # What is drawn is only told of a supply that could be short.
    scenario = replace(scenario, site=replace(scenario.site, supply_m3_d=1e6))
    limit = 20.0
    supply = SupplySpec((SourceSpec("mains", "Mains", "mains", allowance_m3={"day": limit}),))
    record = scenes.weather(2)
    free, held = (
        whole_trace(prepare(one, record), plan)
        for one in (scenario, replace(scenario, supply=supply))
    )
    for done in (free, held):
        drawn = done.trace.irrigation_gross @ np.array([8.0, 1.0])
        assert np.allclose(done.supply.trace.delivered, drawn)
        assert (done.trace.irrigation_gross[:, 1] > 0.0).sum() > 50
    assert free.supply.trace.delivered.max() > limit
    assert held.supply.trace.delivered.max() == pytest.approx(limit)


def test_skinned_ground_is_watered_as_restrictions_let_it(scenes):
    tuesday = tuple(day == 1 for day in range(7))
    site_stage = SiteStage(-1e9, -2e9, allowed=tuesday)
    source = SourceSpec("mains", "Mains", "mains")
    plan = scenes.plan("refill", trigger=0.4, season=(91, 304))
    scenario = scenes.scenario([infield(scenes)], [plan])
    supply = SupplySpec((source,), restrictions=Restrictions("drought", (site_stage,)))
    site = prepare(replace(scenario, supply=supply), scenes.weather(2))
    watered = whole_trace(site, plan).trace.irrigation_gross[:, 0] > 0.0
    assert watered.any()
    assert (site.calendar.weekday[watered] == 1).all()
    day = site.calendar.day_of_year[watered]
    assert day.min() >= 91
    assert day.max() <= 304


# --- new turf ---------------------------------------------------------------------------------


def test_seed_starts_bare_and_sod_green(scenes):
    plan = scenes.plan("fixed", depth_by_weekday=DAILY)
    for new, worn in ((SEED, 1.0), (SOD, 0.0)):
        trace, _, site = play_on(scenes, None, plan, establish=new)
        days = np.flatnonzero(site.play.days.sown[:, 0])
        assert (site.calendar.day_of_year[days] == new.day).all()
        assert days.size == 2
        assert np.allclose(trace.worn[days], worn, atol=0.15)
        assert np.allclose(trace.green[days], 1.0 - worn, atol=0.15)
        assert trace.green[days + 89].min() > 0.9  # and the seed has come up
        light = site.play.days.light[:, 0] > 0.0
        assert light.sum() == 2 * new.days
        assert np.allclose(trace.irrigation_landed[light], new.light_mm * new.times_a_day)


@pytest.mark.parametrize("new", (SEED, SOD), ids=lambda new: new.kind)
def test_young_turf_is_lost_only_on_a_dry_surface(scenes, new):
    trace, _, site = play_on(scenes, None, record=scenes.weather(3, 2), establish=new)
    field, days = site.fields[0], site.play.days[:, 0]
    wetness = (trace.surface_water - field.wp1) * field.inv_taw1
    rises = np.diff(trace.worn) > 0.0
    rises &= days.sown[1:] == 0.0
    assert rises.any()
    assert (days.young[1:][rises] > 0.0).all()
    assert (wetness[1:][rises] < days.young_dry_below[1:][rises]).all()


@pytest.mark.parametrize("species", ("kentucky_bluegrass", "bermudagrass"))
@pytest.mark.parametrize("new", (SEED, SOD), ids=lambda new: new.kind)
def test_new_turf_on_sand_that_is_watered_as_usual_lives(scenes, species, new):
    """Light water two or three times a day, then by need (common practice)."""
    trace, _, site = play_on(
        scenes, None, scenes.plan("refill", trigger=0.5), scenes.weather(3, 2),
        "sand_over_gravel_12in", establish=new, species=species,
    )  # fmt: skip
    after = np.flatnonzero(site.play.days.sown[:, 0]) + 75
    assert trace.green[after].min() > (0.6 if new is SEED else 0.9)


# --- fields, stretches, hemispheres -----------------------------------------------------------


def test_a_field_without_play_is_not_changed_by_one_with_play(scenes):
    plain = scenes.field(key="plain")
    played = every_surface(scenes, 5)[0]
    plan = scenes.plan("refill", trigger=0.5)
    record = scenes.weather(2)
    runs = []
    for other in (played, replace(played, play=None)):
        site = prepare(scenes.scenario([plain, other], [plan]), record)
        runs.append((site, whole_trace(site, plan)))
    (site, beside), (_, alone) = runs
    assert site.play.fields.on.tolist() == [0.0, 1.0]
    assert beside.trace[:, 0].tobytes() == alone.trace[:, 0].tobytes()
    assert beside.years[0].tobytes() == alone.years[0].tobytes()
    assert np.array_equal(beside.odds[0], alone.odds[0])
    assert np.array_equal(beside.green[0], alone.green[0])
    assert not np.array_equal(beside.years[1], alone.years[1])


def test_looking_alone_changes_nothing(scenes):
    """A field on sand that nobody uses and that never lacks air."""
    plan = scenes.plan("refill", trigger=0.5)
    years = [
        play_on(scenes, play, plan, zone="sand_over_gravel_12in")[1].years
        for play in (None, PlaySpec())
    ]
    assert years[0].tobytes() == years[1].tobytes()


@pytest.fixture(scope="module")
def match_days():
    return with_weather(drysward.shipped("match-days"), years=20)


@pytest.fixture(scope="module")
def whole(match_days) -> xr.Dataset:
    return drysward.run(match_days, only=["refill_evening", "restricted"])


@pytest.mark.parametrize("years_at_once", [3, 7])
def test_the_length_of_a_stretch_changes_no_number_of_play(
    match_days, whole, monkeypatch, years_at_once
):
    def shorter(scenario, series, years=None, **_):
        return stretches(scenario, series, years, years_at_once)

    monkeypatch.setattr(compare, "stretches", shorter)
    again = drysward.run(match_days, only=["refill_evening", "restricted"])
    assert whole.play_syringed.any()
    assert whole.play_covered_days.any()
    xr.testing.assert_allclose(again, whole, rtol=1e-7, atol=1e-7)


def test_a_southern_site_plays_in_its_own_winter(scenes):
    winter = PlaySpec((replace(MATCH, season=(90, 243)),), blackout_days=1)  # April to August
    fields = [scenes.field(play=winter), infield(scenes, play=winter)]
    plan = scenes.plan("refill", trigger=0.5)
    scenario = scenes.scenario(fields, [plan], latitude=-38.0)
    # The same days as the north has, half a year on.
    record = scenes.weather(4, start="2001-07-02")
    done = run(scenario, record=record)
    counted = done.year.values
    dates = record.dates
    turf_year = (dates.astype("datetime64[M]") - 6).astype("datetime64[Y]").astype(int) + 1970
    month = dates.astype("datetime64[M]").astype(int) % 12
    saturday = (dates.astype(int) + 3) % 7 == 5
    for year in counted:
        days = saturday & (month >= 3) & (month <= 7) & (turf_year == year)
        told = done.play_events.sel(year=year).values
        assert (told == days.sum()).all()
    assert (done.play_hardest > 50.0).all()
    assert (done.play_use_hours == 2.5 * done.play_events).all()
