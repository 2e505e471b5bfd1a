"""Laws of whole runs, on valid scenarios drawn at random: ground, turf, water and weather.

The suite takes a few; as a script this file takes those numbered FIRST to LAST - 1, and says which
break a law: ``python tests/laws/test_random_scenarios.py FIRST LAST``.
"""

from __future__ import annotations

import copy
import sys
from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.drive.runs import advance_all, start_runs
from drysward.scenario.load import from_tree, shipped
from drysward.scenario.model import Scenario
from drysward.site.stretches import prepare
from drysward.site.weather_years import weather_series
from drysward.weather.record import DailyRecord

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
STORES = ("snow_water", "thatch_water", "surface_water", "root_water", "subsoil_water")
LOSSES = ("runoff", "drainage", "leaf_evaporation", "soil_evaporation", "transpiration")
COVERS = ("green", "dormant", "dead", "worn")
YEARS_MADE = 12


class Both(NamedTuple):
    """The same quantity in US and in metric units, of which both are read as the same number."""

    us: str
    metric: str


def inches(number, per=""):
    return Both(f"{number} in{per}", f"{number * 25.4!r} mm{per}")


class Draw:
    """Choices of one case, all from its number."""

    def __init__(self, number):
        self.rng = np.random.default_rng([number, 2024])

    def chance(self, p):
        return bool(self.rng.random() < p)

    def of(self, *choices):
        return choices[int(self.rng.integers(len(choices)))]

    def between(self, low, high, digits=2):
        return round(float(self.rng.uniform(low, high)), digits)

    def days(self):
        """Two to seven days of the week."""
        n = int(self.rng.integers(2, 8))
        return [DAYS[i] for i in sorted(self.rng.choice(7, n, replace=False))]

    def some(self, **tables):
        """Each of the keys with even odds; ``key=maker`` is called for those that are taken."""
        return {key: make() for key, make in tables.items() if self.chance(0.5)}


# --- a scenario -------------------------------------------------------------------------------


def a_scenario(draw, southern):
    """The tables of a scenario file, quantities as ``Both``; the weather is given to the run."""
    n_fields = int(draw.rng.integers(1, 4))
    names = [f"field{i}" for i in range(n_fields)]
    patches = draw.of(1, 2, 5)
    tree = {
        "site": {
            "name": "Nowhere",
            "latitude": f"{-38.0 if southern else 40.0} deg",
            "elevation": "120 m",
            **draw.some(coastal=lambda: True, arid=lambda: True),
        },
        "weather": {"file": "given.csv"},
        "fields": {name: a_field(draw, patches) for name in names},
        "plans": {f"plan{i}": a_plan(draw, rule) for i, rule in enumerate(four_rules(draw))},
        "answers": {
            "turf": draw.of("continuous", "established each year"),
            "start_soil_water": draw.of(0.0, 0.5, 1.0),
            "fewest_days": 1,
            "drought_days": draw.of(20, 60),
            "rooting_varies": draw.chance(0.5),
            "reached": {"footprint": 0.2, "wilt": 0.2, "dormant": 0.2, "dead": 0.05},
            **draw.some(season=lambda: {"from": "03-01", "to": "11-15"}),
        },
    }
    if draw.chance(0.4):
        tree["supply"] = a_supply(draw, names)
    return tree


def a_field(draw, patches):
    catalog = load_catalog()
    if draw.chance(0.1):
        return {
            "area": draw.of(Both("0.5 acre", "2023.4282112 m2"), Both("600 yd2", "501.676416 m2")),
            "surface": "skinned",
            "root_zone": "infield_mix",
            "delivery": a_delivery(draw),
            "patches": patches,
            "play": {"events": [an_event(draw)]},
        }
    zone = draw.of(*catalog.entries["root_zones"])
    words = catalog.get("root_zones", zone).words
    field = {
        "area": draw.of(*(Both(f"{n} acre", f"{n * 4046.8564224!r} m2") for n in (0.5, 1, 2, 4))),
        "species": draw.of(*catalog.entries["species"]),
        "root_zone": {"like": zone},
        "delivery": a_delivery(draw),
        "patches": patches,
        "priority": draw.of(1, 1, 2),
        "slope": draw.of(0.0, 0.015, 0.06),
    }
    if "soil" in words and draw.chance(0.4):
        field["root_zone"]["compaction"] = draw.of("moderate", "severe")
    if draw.chance(0.25):
        field["mowing_height"] = draw.of(inches(0.5), inches(1.5), inches(2.5))
    if draw.chance(0.2):
        field["reseed"] = draw.of("09-01", "04-15")
    if draw.chance(0.15):
        field["establish"] = {"day": draw.of("05-15", "09-01"), "kind": draw.of("seed", "sod")}
    elif draw.chance(0.15):
        field["stand"] = "first-year sod"
    if draw.chance(0.35):
        field["play"] = {
            "events": [an_event(draw)],
            **draw.some(
                cover=lambda: {"rain": inches(0.1), "before": "2 days", "longest": "2 days"},
                blackout=lambda: "1 day",
                prewet=lambda: {"depth": inches(0.25), "before": "2 days"},
            ),
        }
    return field


def an_event(draw):
    return {"label": "match", "days": draw.days()[:2], "hours": draw.between(1.0, 6.0)}


def a_delivery(draw):
    system = draw.of("in_ground_rotors", "in_ground_rotors", *load_catalog().entries["delivery"])
    usual = load_catalog().get("delivery", system)
    out = {"system": system, "uniformity": draw.between(0.45, 0.95)}
    out |= draw.some(
        precipitation_rate=lambda: draw.of(inches(0.5, "/h"), inches(1.0, "/h")),
        overspray=lambda: draw.between(0.0, 0.15),
    )
    if usual["hours_per_pass"] == 0.0:
        out |= draw.of({}, {"zones": int(draw.rng.integers(1, 13))}, {"flow": "100 gpm"})
    return out


def four_rules(draw):
    return ["none", *(draw.of("fixed", "share of et", "refill") for _ in range(3))]


def a_plan(draw, rule):
    plan = {"rule": rule}
    if rule == "fixed":
        plan |= {"depth": draw.of(*map(inches, (0.25, 0.5, 1.0))), "days": draw.days()}
    elif rule == "share of et":
        plan |= {"share": draw.between(0.4, 1.2)}
    elif rule == "refill":
        plan |= {"trigger": draw.between(0.15, 0.9)}
        plan["target"] = round(plan["trigger"] * draw.of(0.0, 0.3, 0.6), 3)
    if rule in ("share of et", "refill"):
        plan |= draw.some(
            days=draw.days,
            interval=lambda: draw.of("2 days", "5 days"),
            adjust=lambda: {"Jun": 0.8, "Jul": 1.2},
            allow_for_uniformity=lambda: False,
        )
    plan |= draw.some(
        season=lambda: draw.of({"from": "04-01", "to": "10-31"}, {"from": "10-01", "to": "04-30"}),
        rain_skip=lambda: {"rain": inches(0.25), "within": draw.of("1 day", "3 days")},
        crown=lambda: {"depth": inches(0.5), "every": draw.of("7 days", "2 weeks")},
        time=lambda: draw.of("night", "early morning", "midday", "evening"),
        cycle_and_soak=lambda: False,
        stop_at_runoff=lambda: False,
    )
    if draw.chance(0.25):
        plan["stages"] = [
            {"above": inches(4), "below": inches(2.5), "share": 0.7},
            {"above": inches(8), "below": inches(5), "days": draw.days(), "crown_only": True},
        ]
    if draw.chance(0.2):
        plan["pause"] = {"above": inches(5), "below": inches(2.5), "longest": "30 days"}
    if draw.chance(0.2):
        plan["syringe"] = {"depth": inches(0.0625), "from_wilt": 0.1}
    return plan


def a_supply(draw, names):
    supply = {
        "network": "150 gpm",
        "window": "8 h",
        "sources": {
            "mains": {
                "kind": "mains",
                "allowance": draw.of(
                    {"day": Both("0.5 acre-in", "51.39507656448 m3")},
                    {"week": Both("1 acre-in", "102.79015312896 m3")},
                    {"year": Both("16 acre-in", "1644.64245006336 m3")},
                ),
                "ration": draw.of("evenly", "as it comes"),
            }
        },
    }
    if draw.chance(0.5):
        supply["storage"] = draw.of(
            {"kind": "tank", "capacity": Both("2 acre-in", "205.58030625792 m3")},
            {
                "kind": "pond", "capacity": Both("8 acre-in", "822.32122503168 m3"),
                "depth": "2 m", "side_slope": 2.0, "start": 0.6,
            },
        )  # fmt: skip
        supply["catchments"] = {
            "roof": {"kind": "roof", "area": "2000 m2"},
            "bank": {"kind": "grass", "area": Both("1 acre", "4046.8564224 m2")},
        }
        supply["sources"]["well"] = {"kind": "well", "rate": "10 gpm"}
    if draw.chance(0.5):
        supply["restrictions"] = {
            "index": "drought",
            "stages": [
                {"above": inches(4), "below": inches(2.5), "share": 0.8, "exempt": names[:1]},
                {"above": inches(8), "below": inches(5), "days": draw.days()},
            ],
        }
    return supply


def share_work(draw, tree):
    """One machine of each kind for all fields, or few hours of work a day."""
    tree["site"] |= draw.some(crew=lambda: draw.of("1 h", "3 h"))
    for field in tree["fields"].values():
        system = field["delivery"]["system"]
        if load_catalog().get("delivery", system)["hours_per_pass"] > 0.0:
            field["delivery"]["machine"] = f"the_one_{system}"


def written(part, units):
    """The tables with every quantity in ``units``, "us" or "metric"."""
    if isinstance(part, Both):
        return getattr(part, units)
    if isinstance(part, dict):
        return {key: written(value, units) for key, value in part.items()}
    if isinstance(part, list):
        return [written(value, units) for value in part]
    return part


# --- weather ----------------------------------------------------------------------------------


@cache
def climate(southern):
    """Simulated years of the shipped climate, half a year on in the south."""
    scenario = shipped()
    half, latitude = (6, -38.0) if southern else (0, 40.0)
    normals = {
        name: months[half:] + months[:half] if isinstance(months, list) else months
        for name, months in scenario.weather.climate.items()
    }
    source = replace(scenario.weather, climate=normals, years=YEARS_MADE)
    site = replace(scenario.site, latitude_deg=latitude)
    series = weather_series(replace(scenario, site=site, weather=source))
    return series.between(series.first, series.stop)


def a_record(draw, southern):
    """One to three years of simulated weather that start with a turf year."""
    record = climate(southern)
    year = 2001 + int(draw.rng.integers(YEARS_MADE - 4))
    first = np.datetime64(f"{year}-{'07' if southern else '01'}-01")
    last = np.datetime64(f"{year + draw.of(1, 2, 3)}-{'07' if southern else '01'}-01")
    start, stop = np.searchsorted(record.dates, [first, last])
    part = record.select(slice(start, stop))
    return replace(part, rain_mm=draw.of(0.3, 0.6, 1.0) * part.rain_mm)


# --- its runs ---------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Done:
    """Plans of a scenario side by side through its weather, and the account of every day."""

    scenario: Scenario
    record: DailyRecord

    @cached_property
    def site(self):
        return prepare(self.scenario, self.record)

    @cached_property
    def runs(self):
        runs = start_runs([(self.site, plan) for plan in self.scenario.plans])
        return advance_all(self.site, runs, slice(0, self.site.calendar.size))

    @property
    def trace(self):
        """TRACE (plans, days, fields)."""
        return self.runs.trace

    def decided(self, stop):
        """The days to before ``stop`` alone, and what was decided on the last of them: plans that
        pause and stages of plans (plans, fields), stage of the site (plans,).
        """
        site = replace(self.site, calendar=self.site.calendar[:stop], days=self.site.days[:stop])
        runs = start_runs([(site, plan) for plan in self.scenario.plans])
        advance_all(site, runs, slice(0, stop))
        return runs.trace, runs.states.paused, runs.states.stage, runs.supply.storage.stage


class Case:
    """The scenario with a number, its weather, and its runs."""

    def __init__(self, number):
        draw = Draw(number)
        southern = draw.chance(0.25)
        self.number = number
        self.tree = a_scenario(draw, southern)
        self.record = a_record(draw, southern)
        self.more_rain = np.where(
            draw.rng.random(self.record.n_days) < 0.05,
            draw.rng.gamma(1.0, 15.0, self.record.n_days),
            0.0,
        )
        if draw.chance(0.4):
            share_work(draw, self.tree)

    def run(self, *changes, units="metric", more_rain=False):
        """The scenario after ``changes`` of its tables, each in place."""
        tree = written(copy.deepcopy(self.tree), units)
        for change in changes:
            change(tree)
        record = self.record
        if more_rain:
            record = replace(record, rain_mm=record.rain_mm + self.more_rain)
        return Done(from_tree(tree, Path()), record)

    @cached_property
    def done(self):
        return self.run()

    @cached_property
    def simple(self):
        return self.run(simpler)


def simpler(tree):
    """Leave out what answers to the weather by itself, and what limits a watering."""
    tree.pop("supply", None)
    tree["site"].pop("crew", None)
    for field in tree["fields"].values():
        uniformity = field["delivery"]["uniformity"]
        field["delivery"] = {"system": "in_ground_rotors", "uniformity": uniformity, "zones": 1}
        field.pop("establish", None)
        field.pop("play", None)
    for plan in tree["plans"].values():
        for key in ("rain_skip", "stages", "pause", "syringe", "crown"):
            plan.pop(key, None)
        plan |= {"stop_at_runoff": False, "window": "24 h", "most": "200 mm"}


def same(one, other, *, plans=slice(None), fields=slice(None)):
    """Whether what ``one`` did is what those plans and fields of ``other`` did, bit for bit."""
    for name in ("years", "play", "odds", "green", "shortage"):
        ours, theirs = getattr(one.runs, name), getattr(other.runs, name)[plans, fields]
        if ours.tobytes() != np.ascontiguousarray(theirs).tobytes():
            return False
    theirs = np.ascontiguousarray(other.trace[plans, :, fields])
    return one.trace.tobytes() == theirs.tobytes()


def total(trace, names):
    return sum(trace[name] for name in names)


# --- laws without exception -------------------------------------------------------------------


def every_account_closes(case):
    """On every day, by the stores and by the residual; that of the supply, and of each year."""
    trace, years, supply = case.done.trace, case.done.runs.years, case.done.runs.supply
    assert trace.residual.max() <= 1e-9
    gain = np.diff(total(trace, STORES), axis=1)
    came = trace.precipitation + trace.irrigation_landed - total(trace, LOSSES)
    assert np.abs(gain - came[:, 1:]).max() <= 1e-9
    came = years.precipitation + years.irrigation_landed - total(years, LOSSES)
    assert np.abs(came - (years.water_end - years.water_start)).max() <= 1e-7
    assert supply.years.residual.max() <= 1e-6


def shares_are_shares(case):
    trace = case.done.trace
    for name in (*COVERS, "footprint", "wilt"):
        assert trace[name].min() >= 0.0, name
        assert trace[name].max() <= 1.0 + 1e-12, name
    assert np.abs(total(trace, COVERS) - 1.0).max() <= 1e-12
    for name in (*STORES, *LOSSES):
        assert trace[name].min() >= 0.0, name


def stages_come_in_order(case):
    """Turf footprints before it wilts, and browns only on days on which it footprints.

    Beside drought leaves brown of summer decline, and turf too cold to show what it lacks goes on
    browning a little.
    """
    site, trace, years = case.done.site, case.done.trace, case.done.runs.years
    assert (site.days.p_footprint <= site.days.wilt_threshold).all()
    assert (trace.wilt <= trace.footprint + 1e-12).all()
    assert (years.days_wilt <= years.days_footprint).all()
    assert (years.longest_wilt <= years.longest_footprint).all()
    browns = np.diff(trace.dormant, axis=1) > 1e-9
    by_drought = (site.days.summer_decline == 0.0) & (site.days.awake > 0.0)
    assert (trace.footprint[:, 1:] > 0.0)[browns & by_drought[1:]].all()


def us_and_metric_units_say_the_same(case):
    us = case.run(units="us")
    for part in ("site", "fields", "plans", "supply", "answers"):
        assert getattr(us.scenario, part) == getattr(case.done.scenario, part), part
    assert same(us, case.done)


def the_order_of_fields_changes_nothing(case):
    def turned(tree):
        tree["fields"] = dict(reversed(tree["fields"].items()))

    assert same(case.done, case.run(turned), fields=slice(None, None, -1))


def a_plan_beside_changes_no_other(case):
    def one_more(tree):
        beside = {"rule": "fixed", "depth": "9 mm", "days": ["Mon", "Thu"]}
        tree["plans"] = {"beside": beside, **tree["plans"]}

    assert same(case.done, case.run(one_more), plans=slice(1, None))


def a_field_beside_changes_no_other(case):
    """Where nothing is shared."""

    def one_more(tree):
        simpler(tree)
        first = next(iter(tree["fields"].values()))
        tree["fields"]["beside"] = {**first, "species": "tall_fescue", "surface": "turf"}
        tree["fields"]["beside"]["root_zone"] = "native_clay"

    n = len(case.done.scenario.fields)
    assert same(case.simple, case.run(one_more), fields=slice(n))


def the_area_changes_no_depth(case):
    """Where no flow limits the water: systems in the ground are built for their field."""

    def of_any_size(times):
        def change(tree):
            tree.pop("supply", None)
            for field in tree["fields"].values():
                number, unit = field["area"].split()
                field["area"] = f"{times * float(number)!r} {unit}"
                field["delivery"].pop("flow", None)
                field["delivery"].pop("machine", None)
                if "zones" not in field["delivery"]:
                    field["delivery"]["system"] = "in_ground_sprays"

        return change

    assert same(case.run(of_any_size(1)), case.run(of_any_size(4)))


def more_water_leaves_no_day_drier(case):
    """More rain, and more by the calendar: until covers part company or snow lies.

    Greener turf drinks more; snow keeps water from the soil, and the sun from drying it. Plans by
    need come to water on other days. A skinned surface has no roots to feel anything.
    """
    by_calendar = [plan.rule in ("none", "fixed") for plan in case.done.scenario.plans]
    turf = [field.species != "" for field in case.done.scenario.fields]
    dry = case.simple.trace[by_calendar][:, :, turf]
    for more in (case.run(simpler, more_rain=True), case.run(simpler, deeper)):
        wet = more.trace[by_calendar][:, :, turf]
        parts = sum(np.abs(dry[name] - wet[name]) for name in COVERS) + wet.snow_water > 1e-9
        alike = np.cumsum(parts, axis=1) == 0
        assert (wet.depletion - dry.depletion)[alike].max(initial=0.0) <= 1e-9


def no_decision_knows_the_day_to_come(case):
    decides_before_the_day(case.done)


def decides_before_the_day(done):
    """Other weather from a day on changes nothing that was decided up to its morning: the demand
    of a plan, its pause, and restriction stages; and no irrigation.

    What happens in the day itself is left out: a skinned surface, syringing and watering at midday;
    and a pond takes in the day's runoff before fields draw on it.
    """
    scenario, record = done.scenario, done.record
    turf = np.array([field.species != "" for field in scenario.fields])
    of_day = [plan.time_of_day == "midday" or plan.syringe is not None for plan in scenario.plans]
    decided = turf & ~np.array(of_day)[:, None]
    flows = scenario.supply is None or scenario.supply.storage is None
    shared = scenario.supply is not None or scenario.site.crew_h is not None
    drawn = decided.all(axis=1)[:, None] if shared or not flows else decided
    drawn = drawn & flows & np.ones_like(decided)
    for turn in np.random.default_rng(5).choice(np.arange(60, record.n_days), 6, replace=False):
        as_it_was = done.decided(turn + 1)
        later = np.arange(record.n_days) >= turn
        for rain_mm, warmer_c in ((90.0, -12.0), (0.0, 12.0)):
            et_mm = record.reference_et_mm
            other = replace(
                record,
                rain_mm=np.where(later, rain_mm, record.rain_mm),
                tmax_c=record.tmax_c + warmer_c * later,
                tmin_c=record.tmin_c + warmer_c * later,
                reference_et_mm=None if et_mm is None else np.where(later, 0.4 * et_mm, et_mm),
            )
            changed = Done(scenario, other).decided(turn + 1)
            ours, theirs = as_it_was[0], changed[0]
            assert (ours.reference_et != theirs.reference_et)[:, turn].any()
            for name, which in (("demand", decided), ("irrigation_gross", drawn)):
                different = (ours[name] != theirs[name]).any(axis=1) & which
                assert not different.any(), f"{name} from day {turn}, {np.argwhere(different)}"
            for one, two in zip(as_it_was[1:], changed[1:], strict=True):
                assert np.array_equal(one, two), f"stage or pause of day {turn}"


@pytest.mark.parametrize("name", ["demo", "match-days", "pond"])
def test_no_decision_of_a_scenario_that_ships_knows_the_day_to_come(name):
    scenario = shipped(name)
    series = weather_series(scenario)
    decides_before_the_day(Done(scenario, series.between(series.first, series.first + 1200)))


EXACT = (
    every_account_closes, shares_are_shares, stages_come_in_order, us_and_metric_units_say_the_same,
    the_order_of_fields_changes_nothing, a_plan_beside_changes_no_other,
    a_field_beside_changes_no_other, the_area_changes_no_depth, more_water_leaves_no_day_drier,
    no_decision_knows_the_day_to_come,
)  # fmt: skip


# --- laws with exceptions ---------------------------------------------------------------------


def deeper(tree):
    for plan in tree["plans"].values():
        if plan["rule"] == "fixed":
            plan["depth"] = f"{1.5 * float(plan['depth'].split()[0])!r} mm"
        elif plan["rule"] == "share of et":
            plan["share"] *= 1.25
        elif plan["rule"] == "refill":
            plan["target"] *= 0.3


def more_even(tree):
    for field in tree["fields"].values():
        delivery = field["delivery"]
        delivery["uniformity"] = min(round(delivery["uniformity"] + 0.15, 2), 1.0)


def turf_is_worse(before, after, rules):
    """Of each turf field under each plan of ``rules``, whether more of it is lost after a change:
    a hundredth of the cover over the years, or two that die at once.
    """
    out = []
    for i, plan in enumerate(before.scenario.plans):
        for f, field in enumerate(before.scenario.fields):
            if plan.rule in rules and field.species:
                one, other = before.trace[i, :, f], after.trace[i, :, f]
                less = one.green.mean() - other.green.mean()
                out.append(less > 0.01 or other.dead.max() - one.dead.max() > 0.02)
    return out


def more_rain_costs_turf(case):
    """Seldom: turf that a rain has kept green goes into the next drought with a drier soil, and
    rains that wake it let it die again.
    """
    return turf_is_worse(case.simple, case.run(simpler, more_rain=True), RULES)


def a_larger_fixed_depth_costs_turf(case):
    return turf_is_worse(case.simple, case.run(simpler, deeper), ("fixed",))


def more_water_by_need_costs_turf(case):
    """Seldom: who fills up further waters again later, which may be in the worst of a drought."""
    return turf_is_worse(case.simple, case.run(simpler, deeper), ("share of et", "refill"))


def better_uniformity_costs_water(case):
    """Seldom, where plans allow for uniformity: dry patches that die of poor uniformity want no
    water, and one more watering may fall due before the end.
    """
    after = case.run(simpler, more_even)
    out = []
    for i, plan in enumerate(after.scenario.plans):
        if plan.rule != "none" and plan.allow_for_uniformity:
            one, other = case.simple.trace[i], after.trace[i]
            water, then = (trace.irrigation_gross.sum(axis=0) for trace in (one, other))
            out += list(then > water * (1.0 + 1e-9))
    return out


def better_uniformity_harms_the_worst_patch(case):
    """Seldom: a plan that allows for uniformity gives less in all."""
    after = case.run(simpler, more_even)
    out = []
    for i, plan in enumerate(after.scenario.plans):
        if plan.rule != "none":
            one, other = (done.runs.patches.dead[i].max(axis=-1) for done in (case.simple, after))
            out += list(other > one + 0.01)
    return out


RULES = ("none", "fixed", "share of et", "refill")
# The share of plans on fields that may be exceptions: twice that of cases 0 to 329.
SELDOM = {
    more_rain_costs_turf: 0.026,
    a_larger_fixed_depth_costs_turf: 0.0,
    more_water_by_need_costs_turf: 0.02,
    better_uniformity_costs_water: 0.06,
    better_uniformity_harms_the_worst_patch: 0.012,
}

# Of 195 ground ran over by rounding on a day on which only a plan beside watered.
IN_THE_SUITE = (*range(30), 195)


@cache
def case(number):
    return Case(number)


@pytest.mark.parametrize("law", EXACT, ids=lambda law: law.__name__)
def test_law(law):
    for number in IN_THE_SUITE:
        try:
            law(case(number))
        except AssertionError as error:
            error.add_note(f"case {number}")
            raise


@pytest.mark.parametrize("law", SELDOM, ids=lambda law: law.__name__)
def test_seldom(law):
    found = [is_one for number in IN_THE_SUITE for is_one in law(case(number))]
    assert len(found) > 40
    assert np.mean(found) <= SELDOM[law]


def main(first, last):
    exceptions = {law: [] for law in SELDOM}
    for number in range(first, last):
        one = Case(number)
        for law in EXACT:
            try:
                law(one)
            except AssertionError as error:
                print(f"case {number}: {law.__name__}: {str(error)[:200]}", flush=True)
        for law, found in exceptions.items():
            found += [(number, is_one) for is_one in law(one)]
    for law, found in exceptions.items():
        cases = sorted({number for number, is_one in found if is_one})
        n = sum(is_one for _, is_one in found)
        print(f"{law.__name__}: {n} of {len(found)}, cases {cases[:20]}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
