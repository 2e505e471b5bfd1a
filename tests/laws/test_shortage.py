"""Shortage: demand that is not delivered by ground, night, causes, rationing, crews."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from drysward import load, run
from drysward.day.counting import count_irrigation
from drysward.day.records import CAUSES, RULE_REFILL, SOURCE, USED, records
from drysward.day.shortage import settle
from drysward.day.supply import new_allowances, source_left, take, waterings_within
from drysward.drive.runs import advance, run_plan, start_run
from drysward.faults import FaultyInput
from drysward.physics.catch import run_time_multiplier
from drysward.physics.rationing import days_within, days_within_both, even_share
from drysward.scenario.load import loads, shipped
from drysward.scenario.model import (
    TIMES_OF_DAY,
    EventSpec,
    PlaySpec,
    Restrictions,
    SiteStage,
    SourceSpec,
    SupplySpec,
)
from drysward.site.night import ground_take_mm, nightly_gross_mm
from drysward.site.stretches import prepare

CLAY = """
[fields.{key}]
area = "1.8 acre"
species = "tall_fescue"
root_zone = {{ like = "native_clay_loam", compaction = "{key}" }}
delivery = "in_ground_rotors"
"""
PLANS = """
[plans.half]
rule = "refill"
trigger = 0.5

[plans.on_and_on]
rule = "refill"
trigger = 0.5
stop_at_runoff = false
most = "3 in"
"""


@pytest.fixture(scope="module")
def clays():
    """Tall fescue on clay loam, loose and compacted, on all years of the demo's weather."""
    text = shipped("demo").text
    head = text[: text.index("[fields.stadium]")]
    fields = "".join(CLAY.format(key=key) for key in ("none", "moderate", "severe"))
    return loads(head + fields + PLANS, ".")


@pytest.fixture(scope="module")
def watered(clays):
    return run(clays)


class TestGround:
    """A careful person stops before water runs off; the night and the ground set what is put on."""

    def test_compacted_clay_takes_no_more_than_a_third_more(self, watered):
        year = watered["irrigation_gross"].sel(plan="half").mean("year")
        for key in ("moderate", "severe"):
            assert float(year.sel(field=key)) < 1.3 * float(year.sel(field="none"))

    def test_hardly_any_irrigation_runs_off(self, watered):
        one = watered.sel(plan="half").mean("year")
        share = one["irrigation_runoff"] / one["irrigation_landed"]
        assert (share.values < 0.05).all()

    def test_whoever_lets_it_run_loses_most_of_it(self, watered):
        one = watered.sel(plan="on_and_on", field="severe").mean("year")
        assert float(one["irrigation_runoff"]) > 0.3 * float(one["irrigation_landed"])

    @pytest.mark.parametrize("plan", ["half", "on_and_on"])
    def test_no_night_is_above_what_it_can_be(self, clays, plan):
        site = prepare(clays, years=(1, 4))
        followed = clays.plan_named(plan)
        trace = advance(site, start_run(site, followed), slice(0, site.calendar.size)).trace
        for f, (field, zone) in enumerate(zip(clays.fields, site.zones, strict=True)):
            gross = trace.irrigation_gross[:, f]
            night = nightly_gross_mm(field.delivery, field.area_m2, followed.window_h)
            assert 0.0 < gross.max() <= night + 1e-9
            takes = ground_take_mm(zone, field.delivery, followed, float(site.catches[f].max()))
            landed = trace.irrigation_landed[:, f].max()
            if plan == "half":
                assert landed <= takes + 1e-9
            elif field.key == "severe":
                assert landed > takes

    def test_what_a_night_does_not_put_on_comes_the_next(self, scenes):
        """A refill of 20 mm through a system of 8 mm a night takes three nights."""
        delivery = replace(scenes.delivery(1.0), zones=10)  # 10 mm/h x 8 h / 10 zones
        field = scenes.field("native_loam", patches=1, delivery=delivery)
        plan = scenes.plan("refill", trigger=0.4, allow_for_uniformity=False, most_depth_mm=99.0)
        site = prepare(
            scenes.scenario([field], [plan], fewest_days=1), scenes.record(200, et=4.0)
        )
        done = run_plan(site, plan, slice(0, 200))
        night = nightly_gross_mm(delivery, field.area_m2, plan.window_h)
        gross = done.trace.irrigation_gross[:, 0]
        first = int(np.argmax(gross > 0.0))
        assert gross[first : first + 3] == pytest.approx([night, night, gross[first + 2]])
        assert done.trace.demand[first, 0] > 2.0 * night
        # All of it came in the end: late water is no shortage.
        assert done.trace.shortage[first, 0] > 0.0
        assert done.years.shortage[0, 0] < 0.05 * done.years.irrigation_gross[0, 0]


class TestBegun:
    """A refill that one night does not finish goes on, though its trigger is no more passed."""

    TRIGGER = 0.5

    def year(self, scenes, rain=0.0, **more):
        """Ledger of a field that 8 mm a night are put on, at 5 mm a day of reference ET."""
        delivery = replace(scenes.delivery(1.0), zones=10)  # 10 mm/h x 8 h / 10 zones
        field = scenes.field("native_loam", patches=1, delivery=delivery)
        options = {"allow_for_uniformity": False, "most_depth_mm": 99.0, **more}
        plan = scenes.plan("refill", trigger=self.TRIGGER, **options)
        scenario = scenes.scenario([field], [plan], fewest_days=1)
        site = prepare(scenario, scenes.record(200, rain=rain, et=5.0))
        return run_plan(site, plan, slice(0, 200)).trace[:, 0]

    def test_it_goes_on_until_the_root_zone_is_full(self, scenes):
        trace = self.year(scenes)
        waters, seen = trace.irrigation_gross > 0.0, trace.depletion  # of the evening before
        first = int(np.argmax(waters))
        assert (seen[: first - 1] < self.TRIGGER).all()
        stops = first + int(np.argmin(waters[first:]))
        assert stops - first >= 3
        assert (seen[first : stops - 1] < self.TRIGGER).any()
        assert trace.demand[first : stops - 1] - trace.irrigation_gross[first : stops - 1] == (
            pytest.approx(trace.shortage[first : stops - 1])
        )
        # Its last night wants no more than it brings, and the next waits for the trigger again.
        assert trace.demand[stops - 1] == pytest.approx(trace.irrigation_gross[stops - 1])
        again = stops + int(np.argmax(waters[stops:]))
        assert again > stops + 3
        assert seen[again - 1] >= self.TRIGGER
        assert (seen[stops : again - 1] < self.TRIGGER).all()

    def test_it_waits_for_an_open_day(self, scenes):
        """Open on Mondays and Tuesdays, 8 mm each: the refill of one week goes on in the next."""
        two_days = tuple(day in (0, 1) for day in range(7))
        trace = self.year(scenes, 3.0, allowed=two_days)
        waters = np.flatnonzero(trace.irrigation_gross > 0.0)
        of_week = (scenes.record(200).dates[waters].astype(int) + 3) % 7  # 1970 began on Thursday
        assert set(of_week) == {0, 1}
        assert (trace.depletion[waters - 1] < self.TRIGGER).sum() > 4

    def test_rain_that_fills_the_ground_ends_it(self, scenes):
        """In the night after the first: what the refill lacked is forgotten."""
        plain = self.year(scenes)
        first = int(np.argmax(plain.irrigation_gross > 0.0))
        assert plain.irrigation_gross[first + 1] > 0.0
        day = np.arange(200)
        trace = self.year(scenes, rain=np.where(day == first, 120.0, 0.0))
        assert trace.irrigation_gross[first] > 0.0
        later = trace.irrigation_gross[first + 1 :] > 0.0
        again = first + 1 + int(np.argmax(later))
        assert again > first + 4
        assert trace.depletion[again - 1] >= self.TRIGGER

    def test_the_rest_of_a_refill_stays_outstanding(self):
        """20 mm demanded: 8 come and 12 are left; then 12 demanded and all of it comes."""
        assert self.left(whole=20.0, came=8.0, rest=0.0) == 12.0
        assert self.left(whole=12.0, came=12.0, rest=12.0) == 0.0
        assert self.left(whole=12.0, came=12.0 * (1.0 - 1e-12), rest=12.0) == 0.0
        assert self.left(whole=0.0, came=6.0, rest=12.0) == 12.0  # for an event, not the refill

    def left(self, whole, came, rest):
        cuts = {f"cut_{cause}": 0.0 for cause in CAUSES}
        demand = max(whole, came)
        *_, out = settle(
            irrigation_demand=demand, refill_demand=whole, gross=came, cooling=0.0,
            unmet=rest, refill_left=rest, rule_waters=1.0, plan_rule=RULE_REFILL,
            **{**cuts, "cut_window": demand - came},
        )  # fmt: skip
        return out


class TestDrained:
    """Irrigation beyond the field capacity of the root zone drains, and is counted."""

    def year(self, scenes, plan, uniformity=1.0, rain=0.0):
        delivery = scenes.delivery(uniformity, rate=5.0)
        field = scenes.field("sand_over_gravel_12in", patches=5, delivery=delivery)
        scenario = scenes.scenario([field], [plan], turf="continuous", fewest_days=1)
        record = scenes.record(730, rain=rain, et=4.0)
        return run_plan(prepare(scenario, record), plan).years[0, 1]

    def daily(self, scenes, depth_mm):
        return scenes.plan("fixed", depth_by_weekday=(depth_mm,) * 7)

    def test_drained_irrigation_is_at_most_the_drainage(self, scenes):
        """Without rain only irrigation drains; on sand at field capacity most of it is counted."""
        for depth_mm, most_of_it in ((6.0, 0.95), (12.0, 0.95), (30.0, 0.95)):
            year = self.year(scenes, self.daily(scenes, depth_mm))
            assert year.irrigation_runoff == 0.0
            assert year.drainage > 0.25 * year.irrigation_landed
            assert most_of_it * year.drainage < year.irrigation_drained <= year.drainage

    def test_what_fits_does_not_drain(self, scenes):
        year = self.year(scenes, self.daily(scenes, 3.0))
        assert year.irrigation_landed == pytest.approx(3.0 * 365)
        assert year.irrigation_drained == 0.0
        refill = scenes.plan("refill", trigger=0.5, allow_for_uniformity=False)
        assert self.year(scenes, refill).irrigation_drained < 1e-9

    def test_uneven_catch_drains(self, scenes):
        """Full on the mean is too much where most is caught."""
        refill = scenes.plan("refill", trigger=0.5, allow_for_uniformity=False)
        even, uneven = (self.year(scenes, refill, one) for one in (1.0, 0.6))
        assert uneven.irrigation_drained > even.irrigation_drained + 20.0
        assert uneven.irrigation_drained < uneven.drainage + 1e-9

    def test_no_water_is_counted_twice(self):
        """Of 10 mm beyond, 4 ran off on a day without rain and the patches shed 1 of them."""
        assert self.drained(beyond=10.0, ran_off=4.0, shed=1.0, rain=0.0) == (4.0, 7.0)
        assert self.drained(beyond=2.0, ran_off=4.0, shed=1.0, rain=0.0) == (4.0, 0.0)
        # Rain's runoff is no irrigation.
        assert self.drained(beyond=10.0, ran_off=4.0, shed=1.0, rain=5.0) == (1.0, 10.0)
        # What a slow soil still holds at night has not drained.
        assert self.drained(10.0, ran_off=4.0, shed=1.0, rain=0.0, drainage=3.0) == (4.0, 3.0)

    def drained(self, beyond, ran_off, shed, rain, drainage=50.0):
        _, _, runoff, out, *_ = count_irrigation(
            gross=20.0, mean_caught=18.0, mean_shed=shed, mean_beyond=beyond, mean_runoff=ran_off,
            mean_drainage=drainage, spray=1.0, beside=1.0, liquid=rain, inv_pass_mm=0.0,
            pass_labor=0.0, year_irrigation_gross=0.0, year_irrigation_landed=0.0,
            year_irrigation_runoff=0.0, year_irrigation_drained=0.0, year_spray_loss=0.0,
            year_overspray=0.0, year_watering_days=0.0, year_labor_hours=0.0,
        )  # fmt: skip
        return runoff, out


class TestCauses:
    """Every shortage has a cause, and causes are all of it."""

    @pytest.fixture
    def short(self, scenes):
        """Refills on three fields that share too little water, under restrictions."""
        uneven = replace(scenes.delivery(0.6), zones=4)
        fields = [
            scenes.field("native_clay", "tall_fescue", "clay", patches=2, delivery=uneven),
            scenes.field("native_loam", key="loam", patches=2, priority=2),
            scenes.field("sand_over_gravel_12in", key="sand", patches=2, priority=3),
        ]
        area_m2 = sum(field.area_m2 for field in fields)
        mains = SourceSpec(
            "mains", "Mains", "mains", rate_m3_h=area_m2 * 0.001, hours=10.0,
            allowance_m3={"month": area_m2 * 0.08},
        )  # fmt: skip
        district = Restrictions("drought", (SiteStage(60.0, 30.0, share=0.8),))
        supply = SupplySpec((mains,), network_m3_h=area_m2 * 0.0009, window_h=8.0,
                            restrictions=district)  # fmt: skip
        plan = scenes.plan("refill", trigger=0.3)
        scenario = replace(
            scenes.scenario(fields, [plan], turf="continuous", fewest_days=1), supply=supply
        )
        site = prepare(scenario, scenes.hard_weather(3))
        return run_plan(site, plan, slice(0, site.calendar.size)), site, area_m2

    def test_a_day_lacks_what_it_wants_and_does_not_get(self, short):
        done, _, _ = short
        lacks = done.trace.demand - done.trace.irrigation_gross
        assert np.abs(lacks - done.trace.shortage).max() < 1e-9

    def test_causes_add_up_to_what_was_missed_and_never_came(self, short):
        """Twin: what is newly missed less what comes later, day by day and year by year.

        What waiting turf would have used is taken off overnight, and a day on which the plan wants
        nothing ends the need.
        """
        done, site, _ = short
        losses = site.weather.spray_loss[TIMES_OF_DAY.index("early morning")]
        for f in range(3):
            delivery = site.scenario.fields[f].delivery
            longer = run_time_multiplier(delivery.distribution_uniformity)
            longer /= 1.0 - delivery.overspray
            for year in range(3):
                before = missed = made_up = 0.0
                for d in np.flatnonzero(site.calendar.year == year):
                    day, of_day = done.trace[d, f], site.days[d, f]
                    if day.demand > 0.0:
                        missed += max(day.shortage - before, 0.0)
                        made_up += min(max(before - day.shortage, 0.0), day.irrigation_gross)
                        before = day.shortage
                    else:
                        before = 0.0
                    used = day.transpiration + day.leaf_evaporation + day.soil_evaporation
                    never = max(of_day.kcb * of_day.eto - used, 0.0)
                    before = max(before - never * longer / (1.0 - losses[d]), 0.0)
                by_cause = done.years.shortage_cause[f, year]
                assert by_cause.sum() == pytest.approx(missed - made_up, abs=1e-9)
                assert done.years.shortage[f, year] == pytest.approx(by_cause.sum(), abs=1e-9)
                by_month = done.years.shortage_month[f, year]
                assert by_month.sum() == pytest.approx(by_cause.sum(), abs=1e-9)
                assert by_month.min() >= 0.0
                assert by_cause.min() >= 0.0
        assert done.shortage.sum(axis=1) == pytest.approx(done.years.shortage_cause.sum(axis=1))

    def test_the_site_misses_what_its_fields_miss(self, short):
        done, site, _ = short
        per_mm = site.delivery.area_m2[:, None] / 1000.0
        of_fields = (done.years.shortage * per_mm).sum(axis=0)
        assert done.supply.years.shortage == pytest.approx(of_fields, abs=1e-6)
        drawn = (done.years.irrigation_gross * per_mm).sum(axis=0)
        assert done.supply.years.demand == pytest.approx(drawn + of_fields, abs=1e-6)

    def test_each_is_named(self, short):
        done, _, _ = short
        cut = dict(zip(CAUSES, done.years.shortage_cause.sum(axis=(0, 1)), strict=True))
        assert cut["restriction"] > 0.0
        assert cut["allowance"] > 0.0
        assert cut["network"] > 0.0
        assert cut["priority"] > 0.0
        assert cut["storage"] == cut["crew"] == 0.0

    @pytest.mark.parametrize(
        "change, cause",
        [
            ({"sources": {"rate_m3_h": 0.2}}, "source"),
            ({"sources": {"allowance_m3": {"day": 2.0}}}, "allowance"),
            ({"network_m3_h": 0.2}, "network"),
        ],
    )
    def test_one_limit_is_the_only_cause(self, scenes, change, cause):
        more = dict(change)
        source = SourceSpec("mains", "Mains", "mains", **more.pop("sources", {}))
        supply = SupplySpec((source,), window_h=8.0, **more)
        plan = scenes.plan("refill", trigger=0.3)
        scenario = scenes.scenario([scenes.field(patches=1)], [plan], fewest_days=1)
        site = prepare(replace(scenario, supply=supply), scenes.weather(2))
        by_cause = run_plan(site, plan).years.shortage_cause.sum(axis=(0, 1))
        assert by_cause.sum() > 0.0
        assert by_cause[CAUSES.index(cause)] == pytest.approx(by_cause.sum())


class TestChronic:
    """What turf that waits for water would have used is lost for good, and is a shortage."""

    def years(self, scenes, allowance_mm, record, **more):
        field = scenes.field("native_loam", "tall_fescue", patches=1)
        plan = scenes.plan("refill", trigger=0.4, **{"season": (104, 274), **more})
        supply = None
        if allowance_mm is not None:
            day_m3 = {"day": field.area_m2 * allowance_mm / 1000.0}
            mains = SourceSpec(
                "mains", "Mains", "mains", allowance_m3=day_m3, ration="as it comes"
            )
            supply = SupplySpec((mains,), window_h=8.0)
        scenario = scenes.scenario([field], [plan], fewest_days=1)
        return run_plan(prepare(replace(scenario, supply=supply), record), plan).years[0]

    def test_reliability_falls_as_water_does(self, scenes):
        """Twin: what an unlimited supply puts on is what the turf could use.

        Two years without summer rain, ET of 5 mm a day.
        """
        day = np.arange(730) % 365
        rain = np.where((day > 100) & (day < 280), 0.0, 6.0)
        dry = scenes.record(730, rain=rain, et=5.0)
        wanted = self.years(scenes, None, dry).irrigation_gross.mean()
        for allowance_mm in (2.0, 1.0, 0.25):
            year = self.years(scenes, allowance_mm, dry)
            given = year.irrigation_gross.mean()
            told = given / (given + year.shortage.mean())
            assert told == pytest.approx(given / wanted, abs=0.12)

    def test_a_need_that_rain_skips_hide_is_no_new_need(self, scenes):
        """2 mm a night, and rain on every fourth day that the plan skips a night for."""
        rain = np.where(np.arange(200) % 4 == 0, 4.0, 0.0)
        slow = replace(scenes.delivery(1.0), flow_m3_h=2.0)
        found = []
        for skip in (np.inf, 3.0):
            plan = scenes.plan("refill", trigger=0.3, rain_skip_mm=skip)
            field = scenes.field("native_loam", patches=1, delivery=slow)
            site = prepare(
                scenes.scenario([field], [plan], fewest_days=1),
                scenes.record(200, rain=rain, et=6.0),
            )
            found.append(float(run_plan(site, plan).years.shortage[0, 0]))
        assert 0.0 < found[1] < 3.0 * found[0] + 40.0

    def test_water_before_events_books_nothing_anew(self, scenes):
        """An inch wanted on three days a week from a slow system, and a little water every day."""
        every = EventSpec("match", hours=1.0)
        slow = replace(scenes.delivery(1.0), flow_m3_h=1.0)
        found = []
        for prewet_mm in (0.0, 1.0):
            play = PlaySpec((every,), prewet_mm=prewet_mm, prewet_days_before=1)
            field = scenes.field("native_loam", patches=1, delivery=slow, play=play)
            days = tuple(day in (0, 2, 4) for day in range(7))
            plan = scenes.plan("refill", trigger=0.3, allowed=days)
            site = prepare(
                scenes.scenario([field], [plan], fewest_days=1), scenes.record(100, et=5.0)
            )
            found.append(float(run_plan(site, plan).years.shortage[0, 0]))
        assert found[1] <= found[0] + 1e-9

    def test_the_site_and_its_fields_agree_over_a_new_year(self, scenes):
        field = scenes.field("native_loam", patches=1)
        plan = scenes.plan("refill", trigger=0.3)
        mains = SourceSpec("mains", "Mains", "mains", allowance_m3={"day": 8.0})
        scenario = replace(
            scenes.scenario([field], [plan], fewest_days=1),
            supply=SupplySpec((mains,), window_h=8.0),
        )
        done = run_plan(prepare(scenario, scenes.record(730, et=4.0)), plan)
        per_mm = field.area_m2 / 1000.0
        assert (done.years.shortage[0] > 0.0).all()
        assert done.supply.years.shortage == pytest.approx(done.years.shortage[0] * per_mm)

    def test_a_closed_day_is_no_cause_while_another_is_open(self, scenes):
        """Open on two days, and little water on both: it is the allowance that is short."""
        two_days = tuple(day in (1, 4) for day in range(7))
        district = Restrictions("calendar", (SiteStage(np.inf, np.inf, 0, 365, allowed=two_days),))
        mains = SourceSpec("mains", "Mains", "mains", allowance_m3={"day": 24.0})
        plan = scenes.plan("refill", trigger=0.3)
        scenario = scenes.scenario([scenes.field("native_loam", patches=1)], [plan], fewest_days=1)
        supply = SupplySpec((mains,), window_h=8.0, restrictions=district)
        site = prepare(replace(scenario, supply=supply), scenes.record(365, et=5.0))
        cut = dict(zip(CAUSES, run_plan(site, plan).years.shortage_cause[0, 0], strict=True))
        assert cut["restriction"] == 0.0
        assert cut["allowance"] > 100.0


def day_of_week(weekday, **more):
    """Calendar of a day in July, Monday 0."""
    return SimpleNamespace(
        weekday=weekday, month=6, month_left=20 - weekday, year_left=173 - weekday,
        day_of_year=193 + weekday, **more,
    )  # fmt: skip


def a_plan(days=(1.0,) * 7, interval=1.0):
    """A refill of the whole year on some weekdays."""
    return SimpleNamespace(
        first_day=0.0, last_day=365.0, allowed=days, interval=interval, rule=RULE_REFILL
    )


class TestRationing:
    """30 m3 of a week's allowance, and Friday to Sunday left; worked by hand."""

    def given(self, ration, asked):
        source = records(SOURCE, 1)
        source.to_fields, source.ration, source.season_last = 1.0, ration, 365.0
        for span in ("day", "month", "year"):
            source[span] = np.inf
        source.week = 100.0
        used = records(USED, 1)
        used.week, used.today = 70.0, 20.0  # Thursday drew
        plan = a_plan()
        out = []
        for weekday, volume in zip((4, 5, 6), asked, strict=True):
            new_allowances(source, used, plan, day_of_week(weekday), False, False)
            out.append(min(volume, source_left(used[0], np.inf)))
            take(used[0], out[-1])
        return out

    @pytest.mark.parametrize(
        "ration, asked, granted",
        [
            (0, (20, 20, 20), (20, 10, 0)),  # as it comes
            (1, (20, 20, 20), (10, 10, 10)),  # evenly: 30 / 3, 20 / 2, 10 / 1
            (1, (4, 20, 20), (4, 13, 13)),  # 26 / 2, 13 / 1
            (1, (0, 30, 30), (0, 20, 10)),  # Saturday may take what Friday left: 30 x 2 / 3
        ],
    )
    def test_three_days(self, ration, asked, granted):
        assert self.given(ration, asked) == pytest.approx(granted)

    def test_shares_by_month(self):
        """Half of the year's 100 m3 may be gone by the end of June, four fifths by July's."""
        source, used = records(SOURCE, 1), records(USED, 1)
        source.ration, source.year, source.season_last = 2, 100.0, 365.0
        for span in ("day", "week", "month"):
            source[span] = np.inf
        source.cumulative_share[:] = [0, 0, 0, 0.1, 0.3, 0.5, 0.8, 1, 1, 1, 1, 1]
        used.year = 45.0
        plan = a_plan()
        new_allowances(source, used, plan, day_of_week(0), False, False)
        assert source_left(used[0], np.inf) == pytest.approx(80.0 - 45.0)

    @pytest.mark.parametrize("weekday", range(7))
    def test_a_plan_of_one_day_a_week_gets_the_week(self, weekday):
        """All of it on its day, whichever that is: nobody else would use it."""
        plan = a_plan(tuple(float(day == weekday) for day in range(7)))
        assert waterings_within(plan, weekday, 7 - weekday) == 1.0
        assert even_share(20.0, 1.0, 1.0) == 20.0

    def test_waterings_that_are_left(self):
        twice = a_plan(tuple(float(day in (0, 3)) for day in range(7)))
        assert [waterings_within(twice, day, 7 - day) for day in range(7)] == [2, 1, 1, 1, 0, 0, 0]
        assert waterings_within(twice, 0, 28) == 8.0
        assert waterings_within(a_plan(interval=3.0), 0, 7) == 3.0

    def test_days_of_two_seasons(self):
        """A source from October to March and a plan from March to October share two weeks."""
        assert days_within_both(60, 365, 274, 90, 60, 304) == 31 + 31
        assert days_within_both(0, 365, 0, 365, 100, 199) == 100
        assert days_within_both(100, 50, 200, 250, 260, 300) == 0

    def test_days_of_a_season(self):
        assert days_within(100, 10, 0, 365) == 10
        assert days_within(100, 10, 105, 300) == 5
        assert days_within(295, 100, 105, 300) == 6
        assert days_within(350, 40, 300, 60) == 40  # over the turn of the year
        assert days_within(30, 60, 300, 60) == 31
        assert days_within(200, 300, 100, 250) == 51 + 34

    def test_never_more_than_is_left(self):
        for days in (1, 3, 30):
            for covered in (1, 3, 50):
                assert 0.0 < even_share(12.0, days, covered) <= 12.0


class TestCrew:
    """Two fields, one traveling machine of one pass a night: the other field waits."""

    def site(self, scenes, crew_h=None, machine="", hours=2.5):
        traveler = replace(
            scenes.delivery(1.0), hours_per_pass=hours, labor_hours_per_pass=1.0,
            flow_m3_h=20.0, machine=machine,
        )  # fmt: skip
        fields = [
            scenes.field("native_loam", key=key, patches=1, delivery=traveler) for key in "ab"
        ]
        plan = scenes.plan("fixed", depth_by_weekday=(6.0,) * 7, window_h=3.0)
        scenario = scenes.scenario(fields, [plan], fewest_days=1)
        scenario = replace(scenario, site=replace(scenario.site, crew_h=crew_h))
        return prepare(scenario, scenes.record(40, et=4.0)), plan

    def test_each_has_its_own_machine(self, scenes):
        site, plan = self.site(scenes)
        gross = run_plan(site, plan, slice(0, 40)).trace.irrigation_gross
        assert (gross > 0.0).all()

    @pytest.mark.parametrize("limit", [{"machine": "reel"}, {"crew_h": 1.0}])
    def test_fields_take_turns(self, scenes, limit):
        site, plan = self.site(scenes, **limit)
        done = run_plan(site, plan, slice(0, 40))
        watered = done.trace.irrigation_gross > 0.0
        assert (watered.sum(axis=1) == 1).all()  # one field a night
        assert (watered[:-1] != watered[1:]).all()  # the one that waited longest comes next
        cut = done.years.shortage_cause[:, 0, CAUSES.index("crew")]
        assert (cut > 0.0).all()
        # One hour of work for each pass that was made.
        assert done.years.labor_hours[:, 0].sum() == pytest.approx(watered.sum())

    def test_who_comes_first_is_served_first(self, scenes):
        site, plan = self.site(scenes, crew_h=1.0)
        first = replace(site.scenario.fields[1], priority=1)
        other = replace(site.scenario.fields[0], priority=2)
        scenario = replace(site.scenario, fields=(other, first))
        done = run_plan(
            prepare(scenario, scenes.record(40, et=4.0)), plan, slice(0, 40)
        )
        assert (done.trace.irrigation_gross[:, 0] == 0.0).all()
        assert (done.trace.irrigation_gross[:, 1] > 0.0).all()


def test_a_result_keeps_causes_by_month(clays):
    found = run(clays, years=(1, 3), only=["half"])
    by_year = found["shortage_cause"].mean("year")
    by_month = found["shortage_month_cause"].sum("month")
    assert by_month.transpose(*by_year.dims).values == pytest.approx(by_year.values, abs=1e-9)
    assert list(found["cause"].values) == list(CAUSES)


@pytest.mark.parametrize(
    "written, told",
    [
        ('"by luck"', "sources.well.ration"),
        ("{ Jun = 0.5, Jul = 0.4 }", "shares add to 0.9"),
        ("{ Jun = 0.5, Jul = 0.5 }", "shares by month need a yearly allowance"),
    ],
)
def test_ways_to_ration_that_are_none(tmp_path, written, told):
    text = shipped("pond").text
    text = text.replace('rate = "12 gpm"', f'rate = "12 gpm"\nration = {written}')
    path = tmp_path / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FaultyInput, match=told):
        load(path)
