"""Small scenarios for tests: built in memory, so that a test says only what matters to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.hardness import hardness_g
from drysward.scenario.model import (
    Answers,
    DeliverySpec,
    FieldSpec,
    PlanSpec,
    RootZoneSpec,
    Scenario,
    Site,
    WeatherSource,
)
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
            answers=Answers(reached=REACHED, season=(91, 304), **answers),
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


@pytest.fixture(scope="session")
def scenes():
    return Scenes()


@pytest.fixture(scope="session")
def hardness():
    """Peak deceleration (g) of unfrozen ground by its line, at each moisture."""

    def g(moisture, line, bare_share=0.0):
        intercept, slope, floor, bare, _ = line
        at = np.atleast_1d(moisture)
        found = [hardness_g(m, intercept, slope, floor, bare_share, bare, 0, 0) for m in at]
        return np.array(found)

    return g
