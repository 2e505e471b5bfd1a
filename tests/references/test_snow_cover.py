"""Snow as it lies, held to published densities and conductivities, and the ground under it.

Verseghy 1991 (settling), Sturm et al. 1997 (conductivity) and the soil temperatures are from
memory of what was published.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.freezing import air_resistance, crown_mean_c, frost_depth_step
from drysward.physics.snow import (
    snow_conductivity,
    snow_density_step,
    snow_depth_cm,
    snow_resistance,
)
from drysward.site.site_weather import site_weather
from drysward.site.stretches import prepare
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.reference_et import reference_et

DATA = Path(__file__).parents[1] / "data"
TURF = load_catalog().get("turf_processes", "all")
FRESH, SETTLED, RATE = (
    TURF[name] for name in ("fresh_snow_density", "settled_snow_density", "snow_settling_rate")
)


def density_after(days, density=FRESH, lying=20.0, fallen=0.0):
    for _ in range(days):
        density = snow_density_step(density, lying, fallen, FRESH, SETTLED, RATE)
        lying += fallen
    return density


def test_snow_settles_as_published():
    """Verseghy 1991: from 100 towards 300 kg/m3 by exp(-0.01 t) with t in hours."""
    for days in (1, 4, 10, 30):
        assert density_after(days) == pytest.approx(300 - 200 * np.exp(-0.01 * 24 * days))


def test_density_is_mixed_by_water():
    aged = density_after(1, density=250.0)
    assert snow_density_step(250.0, 30.0, 10.0, FRESH, SETTLED, RATE) == pytest.approx(
        (30.0 * aged + 10.0 * FRESH) / 40.0
    )
    assert snow_density_step(280.0, 0.0, 0.0, FRESH, SETTLED, RATE) == FRESH


def test_midwinter_density_is_that_of_snow_courses():
    """Snow on the ground in midwinter has 200 to 300 kg/m3 (common in snow courses)."""
    density, lying = FRESH, 0.0
    rng = np.random.default_rng(2)
    seen = []
    for day in range(90):
        fallen = rng.exponential(3.0) if rng.random() < 0.3 else 0.0
        density = snow_density_step(density, lying, fallen, FRESH, SETTLED, RATE)
        lying += fallen
        if day > 30:
            seen.append(density)
    assert 200.0 <= np.mean(seen) <= 300.0


@pytest.mark.parametrize(
    ("density", "printed"), [(100, 0.046), (156, 0.059), (250, 0.0876), (300, 0.126), (400, 0.251)]
)
def test_conductivity_of_snow(density, printed):
    """Sturm et al. 1997: 0.138 - 1.01 r + 3.233 r2 from 0.156 g/cm3, 0.023 + 0.234 r below."""
    assert snow_conductivity(float(density)) == pytest.approx(printed, abs=0.0006)


def test_ground_under_deep_snow_stays_near_freezing():
    """A snow cover of 20 cm and more holds ground within some 2 C of freezing in air of -10 to
    -15 C; in the open it follows the air."""
    depth, density = 25.0, 250.0
    frost = {"snow": 0.0, "open": 0.0}
    to_air = {
        "snow": air_resistance(TURF["turf_insulation"], snow_resistance(depth, density)),
        "open": air_resistance(TURF["turf_insulation"], 0.0),
    }
    for _ in range(60):
        for cover, resistance in to_air.items():
            lying = 62.5 if cover == "snow" else 0.0
            frost[cover] = frost_depth_step(
                frost[cover], -12.0, lying, resistance, TURF["turf_insulation"],
                TURF["ground_heat"],
            )  # fmt: skip
    crowns = {
        cover: crown_mean_c(-12.0, 0.0, frost[cover], resistance)
        for cover, resistance in to_air.items()
    }
    assert snow_depth_cm(62.5, density) == pytest.approx(depth)
    assert crowns["snow"] >= -2.0
    assert crowns["open"] <= -6.0
    # Snow-free frost goes a meter deep in such a winter, from memory of northern states.
    assert 600.0 <= frost["open"] <= 1500.0
    assert frost["snow"] < 0.4 * frost["open"]


def winter(scenes, precipitation_mm):
    """Two years with winters of -5 C in the mean; precipitation in mm a day."""
    rng = np.random.default_rng(1)
    day = np.arange(730)
    mean = 9.0 - 14.5 * np.cos(2 * np.pi * (day - 15) / 365.25)
    mean += rng.normal(0.0, 3.0, day.size)
    rain = np.where(day % 4 == 0, 4.0 * precipitation_mm, 0.0)
    return scenes.record(730, rain, mean + 5.0, mean - 5.0, 2.0)


def frozen_days(scenes, precipitation_mm):
    site = prepare(scenes.scenario([scenes.field()]), winter(scenes, precipitation_mm))
    days = site.weather.days
    second = slice(365 - 60, 365 + 90)
    cold = slice(365 - 30, 365 + 60)
    assert days.tmean_c[cold].mean() == pytest.approx(-5.0, abs=1.5)
    return int(days.frozen[second].sum())


def test_ground_freezes_under_a_little_snow(scenes):
    """A winter of -5 C: little snow takes days off the frost, much keeps it off."""
    bare, little, some, much = (frozen_days(scenes, mm) for mm in (0.0, 0.25, 0.5, 2.0))
    assert bare > 80
    assert 0.75 * bare <= little < bare
    assert 0.3 * bare <= some < little
    assert much == 0


def test_frost_in_maryland():
    """Frost under turf near Baltimore: some centimeters in most winters, some 20 cm in the cold
    January of 2018 (depths common there, from memory; codes put footings at 60 to 75 cm)."""
    record = read_weather(DATA / "baltimore-washington-2010-2019.csv", fill=FillRule("zero"))
    et = reference_et(record, 39.17, 47.0)
    days = site_weather(record, et, load_catalog(), 30).days
    winter = (record.dates + 180).astype("datetime64[Y]").astype(int) + 1970
    deepest = {year: days.frost_mm[winter == year].max() for year in range(2011, 2020)}
    assert 20.0 <= np.median(list(deepest.values())) <= 150.0
    assert max(deepest, key=deepest.get) == 2018
    assert 120.0 <= deepest[2018] <= 350.0
