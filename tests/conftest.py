"""Small scenarios for tests: built in memory, so that a test says only what matters to it."""

from __future__ import annotations

import importlib
import os
import time
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import drysward
from drysward.catalog import load_catalog
from drysward.compiled import is_warm
from drysward.drive import runs
from drysward.drive.runs import run_plan
from drysward.drive.windows import compiled_run_site
from drysward.physics.hardness import hardness_g
from drysward.scenario.model import (
    Answers,
    CatchmentSpec,
    CoverSpec,
    DeliverySpec,
    DoseSpec,
    EstablishSpec,
    EventSpec,
    FeedingSpec,
    FieldSpec,
    Pause,
    PlanSpec,
    PlaySpec,
    Restrictions,
    RootZoneSpec,
    Scenario,
    Site,
    SiteStage,
    SkinSpec,
    SlowPart,
    SourceSpec,
    Stage,
    StorageSpec,
    SupplySpec,
    SyringeSpec,
    WeatherSource,
)
from drysward.site.stretches import prepare
from drysward.weather.record import DailyRecord

REACHED = {"footprint": 0.1, "wilt": 0.1, "dormant": 0.1, "dead": 0.05}


class Scenes:
    """Makers of the parts of a scenario, with defaults that stay out of the way."""

    def delivery(self, uniformity=0.7, flow_m3_h=None, rate=12.5):
        return DeliverySpec("in_ground_rotors", uniformity, rate, 0.0, flow_m3_h, 0.0, 0.0)

    def field(self, zone="native_loam", species="kentucky_bluegrass", key=None, **more):
        spec = zone if isinstance(zone, RootZoneSpec) else RootZoneSpec(zone)
        more.setdefault("delivery", self.delivery())
        key = key or f"{spec.like}-{species}"
        return FieldSpec(key, key, 8000.0, species, spec, **more)

    def plan(self, rule="none", key=None, **more):
        return PlanSpec(key or rule.replace(" ", "-"), key or rule, rule, **more)

    def scenario(self, fields, plans=None, latitude=39.0, overrides=None, **answers):
        catalog = load_catalog()
        if overrides:
            catalog = catalog.with_overrides(overrides)
        return Scenario(
            title="test",
            text="",
            folder=Path(),
            digest="",
            site=Site("test", latitude, 50.0),
            weather=WeatherSource(Path("test.csv")),
            fields=tuple(fields),
            plans=tuple(plans or [self.plan()]),
            # Roots alike in all years and patches, unless a test is about their differences.
            answers=Answers(
                reached=REACHED, season=(91, 304), **{"rooting_varies": False, **answers}
            ),
            catalog=catalog,
        )

    def record(self, days, rain=0.0, tmax=30.0, tmin=20.0, et=None, start="2001-01-01"):
        def column(value):
            return np.broadcast_to(np.asarray(value, float), (days,)).copy()

        return DailyRecord(
            name="test",
            dates=np.datetime64(start) + np.arange(days),
            rain_mm=column(rain),
            tmax_c=column(tmax),
            tmin_c=column(tmin),
            reference_et_mm=None if et is None else column(et),
        )

    def weather(self, years=3, seed=1, start="2001-01-01"):
        """A plain invented temperate series: wet by chance, warm in July."""
        days = int((np.datetime64(start) + 366 * years - np.datetime64(start)).astype(int)) - years
        rng = np.random.default_rng(seed)
        day = np.arange(days)
        mean = 12.0 - 13.0 * np.cos(2 * np.pi * (day - 15) / 365.25) + rng.normal(0, 3, days)
        rain = np.where(rng.random(days) < 0.25, rng.gamma(0.8, 12.0, days), 0.0)
        et = np.clip(3.0 - 2.6 * np.cos(2 * np.pi * (day - 10) / 365.25), 0.2, 8.0)
        return self.record(days, rain, mean + 5.5, mean - 5.5, et, start)

    def feeding(self, times=1.0, **kwargs):
        """A feeding plan with every form of nitrogen, ``times`` its usual rate."""
        slow = SlowPart("polymer-coated urea", 90.0, 10.0 * times)
        doses = tuple(
            DoseSpec(day, *(n * times for n in quick), tuple(parts), p * times, 0.0, 0.0, "test")
            for day, quick, parts, p in (
                (100, (20.0, 0.0, 5.0), (), 3.0),
                (140, (10.0, 5.0, 0.0), (slow,), 0.0),
                (180, (0.0, 0.0, 0.0), (SlowPart("methylene urea", 0.0, 15.0 * times),), 1.0),
                (244, (30.0, 0.0, 5.0), (SlowPart("natural organic", 0.0, 8.0 * times),), 0.0),
                (305, (25.0, 0.0, 0.0), (), 0.0),
            )
        )
        usual = {"organic_matter": 0.03, "most_quick_kg_ha": 49.0, "water_n_mg_l": 5.0}
        return FeedingSpec(**{"doses": doses, **usual, **kwargs})

    def everything(self, patches=2, turf="established each year"):
        """A scenario with all that a day can bring: a stadium, new turf and an infield under
        plans of every rule, short of water under a district's restrictions; its weather is
        ``hard_weather``.
        """
        saturday, practice = (tuple(day in days for day in range(7)) for days in ((5,), (1, 3)))
        play = PlaySpec(
            (EventSpec("match", saturday, hours=2.5), EventSpec("practice", practice, hours=6.0)),
            CoverSpec(rain_from_mm=2.0, days_before=4, labor_h=4.0, longest_days=2, heat_c=26.0),
            blackout_days=1,
            prewet_mm=6.0,
            prewet_days_before=2,
        )
        uneven = {"overspray": 0.05, "precipitation_rate_mm_h": 40.0}
        fields = [
            self.field(
                "sand_over_gravel_12in", "creeping_bentgrass", "stadium", play=play,
                patches=patches, priority=1, feeding=self.feeding(water_in_mm=4.0),
            ),
            self.field(
                "native_clay", "tall_fescue", "seeded", patches=patches, priority=2,
                feeding=self.feeding(clippings_returned=False, on_paving=0.02),
                establish=EstablishSpec(152, "seed", 3.0, 3, 21),
                delivery=replace(self.delivery(), **uneven),
            ),
            self.field(
                "infield_mix", "", "infield", patches=patches, priority=2, surface="skinned",
                skin=SkinSpec(dust_below=0.10, mud_above=0.28, target=0.19),
                play=PlaySpec(play.events),
            ),
        ]  # fmt: skip
        stages = (Stage(100.0, 70.0, 0.8), Stage(170.0, 120.0, crown_only=True))
        syringe = SyringeSpec(above_c=27.0, depth_mm=1.0, from_wilt=0.1)
        plans = [
            self.plan("refill", trigger=0.4, stages=stages, crown_depth_mm=8.0, syringe=syringe),
            self.plan(
                "fixed", depth_by_weekday=(8.0, 0.0) * 3 + (4.0,), time_of_day="evening",
                cycle_and_soak=False, rain_skip_mm=5.0, rain_skip_days=2,
            ),
            self.plan(
                "share of et", share=0.8, interval_days=3, crown_depth_mm=6.0,
                pause=Pause(above=120.0, below=60.0, longest_days=30.0),
            ),
            self.plan("none", syringe=syringe),
        ]  # fmt: skip
        district = (
            SiteStage(90.0, 60.0, share=0.9, exempt=("stadium",)),
            SiteStage(150.0, 100.0, allowed=tuple(day in (0, 3) for day in range(7))),
        )
        supply = SupplySpec(
            (
                SourceSpec("well", "Well", "well", rate_m3_h=2.0, feeds="storage"),
                SourceSpec("mains", "Mains", "mains", allowance_m3={"day": 40.0, "week": 120.0}),
            ),
            StorageSpec("pond", (0.0, 400.0), (100.0, 300.0), 20.0, 0.7, "", 2.0, 1.05),
            (CatchmentSpec("roof", "Roof", "roof", 1000.0, 0.9, first_flush_mm=1.0),),
            network_m3_h=30.0,
            window_h=8.0,
            restrictions=Restrictions("drought", district),
        )
        return replace(self.scenario(fields, plans, turf=turf, fewest_days=1), supply=supply)

    def hard_weather(self, years=2, seed=1):
        """Years that bring everything: little rain, and frost deep enough to freeze the ground."""
        record = self.weather(years, seed)
        colder = np.where(record.tmax_c < 8.0, 10.0, 0.0)
        return replace(
            record,
            rain_mm=0.6 * record.rain_mm,
            tmax_c=record.tmax_c - colder,
            tmin_c=record.tmin_c - colder,
        )


@pytest.fixture(scope="session")
def scenes():
    return Scenes()


@pytest.fixture(scope="session", autouse=True)
def compiled_once(tmp_path_factory):
    """The day loop is compiled in two builds: of two processes each makes one, for both, and waits
    for the other when a test first runs days.
    """
    worker, both = os.environ.get("PYTEST_XDIST_WORKER", ""), ("gw0", "gw1")
    if worker not in both or os.environ["PYTEST_XDIST_WORKER_COUNT"] != "2" or is_warm():
        yield
        return
    made, shared = Scenes(), tmp_path_factory.getbasetemp().parent
    scenario, record = made.everything(), made.hard_weather(1)
    if worker == "gw1":
        scenario, record = made.scenario([made.field()], fewest_days=1), made.weather(1)
    try:
        run_plan(prepare(scenario, record), scenario.plans[0])
    finally:
        (shared / worker).touch()

    def once_both_are_made():
        while not all((shared / other).exists() for other in both):
            time.sleep(0.1)
        patch.undo()
        return compiled_run_site()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(runs, "compiled_run_site", once_both_are_made)
        yield


def pytest_collection_modifyitems(items):
    """Tests that need no day loop come first, while one process still compiles it."""
    items.sort(key=lambda item: _runs_days(item.module))


@cache
def _runs_days(module):
    """Whether a module of tests has to do with what runs days; a wrong guess only costs time."""
    if Path(module.__file__).parent.name in ("calibration", "commands"):
        return True
    homes = ("drysward.drive", "drysward.studies")
    for found in vars(module).values():
        home = getattr(found, "__module__", None) or getattr(found, "__name__", "")
        if found is drysward or str(home).startswith(homes):
            return True
    return False


# What these make before their tests takes seconds, and would be made by every process that has one
# of the tests.
TOGETHER = {
    "test_compare_costs.py", "test_compare_feeding.py", "test_compare_play.py",
    "test_crossed.py", "test_doubt.py", "test_feeding_answers.py",
    "test_generated_against_records.py", "test_simulated_years_side_by_side.py", "test_report.py",
    "test_sizing_draws.py", "test_supply_command.py", "test_supply_sizes.py",
}  # fmt: skip


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Tests go one by one to whichever process is free, but those of TOGETHER by file."""
    from xdist.scheduler import LoadScopeScheduling

    class Scheduling(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.partition("::")[0]
            return file if Path(file).name in TOGETHER else nodeid

    config.option.loadscopereorder = False
    return Scheduling(config, log)


@pytest.fixture
def undrawn(monkeypatch):
    """Pages without their charts, for tests of words and tables: charts are most of the work."""
    module = importlib.import_module("drysward.pages.page")
    blank = module.Chart([], [], is_wide=True)
    monkeypatch.setattr(module, "charts", lambda result, units, asked, *_: [blank] * len(asked))


@pytest.fixture(scope="session")
def hardness():
    """Peak deceleration (g) of unfrozen ground by its line, at each moisture."""

    def g(moisture, line, bare_share=0.0):
        intercept, slope, floor, bare, _ = line
        at = np.atleast_1d(moisture)
        found = [hardness_g(m, intercept, slope, floor, bare_share, bare, 0, 0) for m in at]
        return np.array(found)

    return g
