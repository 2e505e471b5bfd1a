"""Laws of what weather makes of a day: slow twins of the equations, and the compiled passes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.compiled import compiled
from drysward.physics.crop_coefficient import height_effect, soil_warmth, turf_kc, under_snow
from drysward.physics.crowns import kill_share, worst_dryness_step
from drysward.physics.curve_number import abstraction_slope, reference_moisture_mm
from drysward.physics.frost import intake_share, is_frozen
from drysward.physics.growth import daily_rate_to_share, growth_potential, reseed_rate
from drysward.physics.heat import crown_clock, heat_kill_share, median_lethal_days
from drysward.physics.leaf_loss import browning_drive, summer_decline
from drysward.physics.roots import (
    patch_reaches,
    root_floor_shift,
    root_share_step,
    sand_cap_rooting_mm,
)
from drysward.physics.snow import snow_step
from drysward.physics.spray_loss import midday_spray_loss
from drysward.physics.thresholds import depletion_fraction, wilt_threshold
from drysward.physics.trailing import drought_index_mm, soil_temperature_c
from drysward.physics.winter_rest import winter_rest_at_start, winter_rest_step
from drysward.physics.young_turf import young_root_share
from drysward.scenario.model import EstablishSpec, EventSpec, PlaySpec
from drysward.site import forcing, play, site_weather
from drysward.site.profile import node_above, water_above_mm
from drysward.site.stretches import prepare

DEGREES = st.floats(-30, 45)
SHARES = st.floats(0, 1)


# --- snow and frost ---------------------------------------------------------------------------


@given(st.lists(st.tuples(st.floats(0, 60), DEGREES), min_size=1, max_size=40))
def test_snow_falls_lies_and_melts_without_loss(days):
    lying = 0.0
    for rain, tmean in days:
        before = lying
        liquid, lying = snow_step(before, rain, tmean, 1.0, 2.74)
        assert rain == pytest.approx(liquid + lying - before, abs=1e-9)
        assert liquid >= 0.0
        assert lying >= 0.0
        if tmean >= 1.0:
            melt = min(before, 2.74 * tmean)
            assert (liquid, lying) == pytest.approx((rain + melt, before - melt))


def test_frozen_ground_by_hand():
    assert [is_frozen(mm, 50.0) for mm in (0.0, 49.9, 50.0, 400.0)] == [0.0, 0.0, 1.0, 1.0]
    assert (intake_share(0.0, 0.1), intake_share(1.0, 0.1)) == pytest.approx((1.0, 0.1))


# --- what the last days leave behind ----------------------------------------------------------


@given(st.lists(st.floats(-30, 40), min_size=1, max_size=30), st.integers(1, 12))
def test_trailing_means_and_sums(values, days):
    total = np.concatenate([[0.0], np.cumsum(values)])
    for day in range(len(values)):
        week = values[max(day - 6, 0) : day + 1]
        assert soil_temperature_c(total, day) == pytest.approx(np.mean(week), abs=1e-9)
        lately = sum(values[max(day - days + 1, 0) : day + 1])
        assert drought_index_mm(total, day, days) == pytest.approx(max(lately, 0.0), abs=1e-9)


@pytest.mark.parametrize(
    "rh, wind, loss", [(60, 1, 0.1), (45, 1, 0.1), (35, 1, 0.2), (20, 1, 0.3), (60, 4.1, 0.3)]
)
def test_spray_loss_at_midday(rh, wind, loss):
    assert midday_spray_loss(rh, wind, 0.1, 0.3) == pytest.approx(loss)


# --- roots ------------------------------------------------------------------------------------


def test_roots_shrink_in_heat_and_grow_back():
    share = root_share_step(1.0, 25.0, 0.9, 0.01, 0.4, 60.0)
    assert share == pytest.approx(0.98)
    assert root_share_step(0.41, 33.0, 0.9, 0.01, 0.4, 60.0) == 0.4
    assert root_share_step(share, 20.0, 0.5, 0.01, 0.4, 60.0) == share  # too little growth
    assert root_share_step(share, 20.0, 0.51, 0.01, 0.4, 60.0) == pytest.approx(0.99)
    assert root_share_step(0.999, 20.0, 0.51, 0.01, 0.4, 60.0) == 1.0


def test_rooting_of_sand_caps_and_young_turf():
    assert sand_cap_rooting_mm(250.0, 400.0, 100.0) == 250.0
    assert sand_cap_rooting_mm(150.0, 400.0, 100.0) == 100.0 + 0.5 * 300.0
    assert sand_cap_rooting_mm(250.0, 400.0, 600.0) == 400.0
    found = [young_root_share(age, 0.2, 90.0) for age in (0, 45, 90, 365)]
    assert found == pytest.approx([0.2, 0.6, 1.0, 1.0])


@pytest.mark.parametrize(
    "change, subsoil, rooted, share",
    [(5, 50, 40, 0.1), (-5, 50, 40, -0.125), (0, 0, 40, 0), (5, 0, 40, 0), (90, 50, 40, 1)],
)
def test_water_goes_with_the_floor_of_the_roots(change, subsoil, rooted, share):
    assert root_floor_shift(change, subsoil, rooted) == pytest.approx(share)


@given(st.lists(st.floats(0, 1500), min_size=1, max_size=20), st.integers(2, 30), st.integers(0, 9))
def test_water_above_a_depth_is_interpolated(depths, nodes, seed):
    node_mm = np.linspace(0.0, 1000.0, nodes)
    curve = np.random.default_rng(seed).uniform(0.0, 400.0, nodes).cumsum()
    node = 0
    for depth in depths:
        node = node_above(depth, node_mm, node)
        found = water_above_mm(depth, node_mm, curve, node)
        assert found == pytest.approx(np.interp(depth, node_mm, curve), rel=1e-12)


def test_runoff_starts_later_on_dry_soil():
    # Of 40 mm held above 20 mm of wilting point, half are left at the reference moisture.
    assert reference_moisture_mm(20.0, 40.0) == 40.0
    assert abstraction_slope(8.0, 40.0) == pytest.approx(0.4)
    assert abstraction_slope(80.0, 40.0) == 1.0


# --- demand and thresholds --------------------------------------------------------------------


def test_crop_coefficient_by_hand():
    assert height_effect(60.0, 40.0) == pytest.approx(1.06)
    assert [height_effect(mm, 40.0) for mm in (6.0, 200.0)] == pytest.approx([0.9, 1.1])
    assert [soil_warmth(c) for c in (-5.0, 4.0, 15.0)] == pytest.approx([0.0, 0.4, 1.0])
    assert turf_kc(0.8, 0.3, 0.5, 0.25, 1.0) == pytest.approx(0.55)
    assert turf_kc(0.8, 0.3, 0.0, 0.25, 0.4) == pytest.approx(0.25 + 0.4 * 0.55)
    assert turf_kc(0.2, 0.2, 0.0, 0.25, 0.0) == 0.2  # cold makes no turf use more
    assert (under_snow(0.5, 0.0), under_snow(0.5, 3.0)) == pytest.approx((0.5, 0.2))


@given(st.floats(0.1, 0.8), st.floats(0.01, 0.99), st.floats(0, 12))
def test_wilt_lies_past_footprinting_and_moves_with_demand(p, wilt_ks, etc_mm):
    footprint = depletion_fraction(p, etc_mm)
    wilt = wilt_threshold(wilt_ks, footprint)
    assert footprint < wilt < 1.0
    assert (1.0 - wilt) / (1.0 - footprint) == pytest.approx(wilt_ks)
    assert wilt_threshold(wilt_ks, depletion_fraction(p, etc_mm + 1.0)) <= wilt


# --- growth, heat, leaves, winter -------------------------------------------------------------


@given(DEGREES, st.booleans())
def test_growth_potential(tmean, warm):
    t = min(tmean, 31.0) if warm else tmean
    expected = 2.718281828459045 ** (-(((t - 31.0) / 7.0) ** 2) / 2.0)
    assert growth_potential(tmean, 31.0, 7.0, warm) == pytest.approx(expected, rel=1e-9)


def test_rates_move_their_share_in_their_days():
    rate, left = daily_rate_to_share(0.8, 30.0), 1.0
    for _ in range(30_000):
        left -= rate * left / 1000.0
    assert 1.0 - left == pytest.approx(0.8, abs=1e-4)
    assert [reseed_rate(age, 21.0, 0.1) for age in (0, 20, 21, 365)] == [0.1, 0.1, 0.0, 0.0]


@given(DEGREES, st.floats(20, 200), st.floats(0.1, 0.9))
def test_lethal_days_are_on_a_line_of_logarithms(tmean, at_25, ratio):
    days = median_lethal_days(tmean, at_25, at_25 * ratio)
    logs = np.log(at_25) + np.log(ratio) * np.array([-1.5, 0.0, 1.0, 1.5])
    expected = np.exp(np.interp(tmean, [10.0, 25.0, 35.0, 40.0], logs))
    assert days == pytest.approx(expected, rel=1e-9)


def test_heat_and_demand_by_hand():
    assert crown_clock(6.0, 50.0) == pytest.approx(1.0 / 50.0)
    assert (crown_clock(0.0, 50.0), crown_clock(20.0, 50.0)) == pytest.approx((0.01, 0.03))
    assert heat_kill_share(38.0, 38.0, 0.02) == 0.0
    assert heat_kill_share(43.0, 38.0, 0.02) == pytest.approx(1.0 - math.exp(-0.1))
    assert browning_drive(5.0, 1.0, 1.0) == pytest.approx(1.0)
    assert browning_drive(0.0, 0.5, 0.4) == pytest.approx(0.2 * 0.5 * 0.4)
    assert browning_drive(50.0, 1.0, 1.0) == pytest.approx(1.5)
    found = [summer_decline(c, 20.0, 0.04, 0.5) for c in (19.0, 22.0, 24.0, 30.0)]
    assert found == pytest.approx([0.0, 0.01, 0.02, 0.02])


def test_winter_rest_by_hand():
    """Frost browns over 10 days, 12 C soil leaves as it is, 8 C fades, 18 C greens over 28."""

    def follow(rest, days):
        left = 0.0
        for tmin, soil in days:
            rest, left = winter_rest_step(rest, left, tmin, soil, 18.0, -2.0, 28.0, 10.0)
        return rest

    assert follow(0.0, [(-3.0, 12.0)] + [(5.0, 12.0)] * 4) == pytest.approx(0.5)
    assert follow(0.0, [(-3.0, 12.0)] + [(5.0, 20.0)] * 40) == pytest.approx(0.0)
    assert follow(0.0, [(-3.0, 12.0)] + [(5.0, 12.0)] * 40) == pytest.approx(1.0)
    assert follow(0.0, [(5.0, 8.0)] * 28) == pytest.approx(0.25)
    assert follow(1.0, [(12.0, 18.0)] * 14) == pytest.approx(0.5)
    assert winter_rest_step(0.3, 4.0, -9.0, 2.0, 0.0, -2.0, 28.0, 10.0) == (0.0, 0.0)
    assert [winter_rest_at_start(5.0, c) for c in (18.0, 0.0)] == [1.0, 0.0]
    assert winter_rest_at_start(20.0, 18.0) == 0.0


# --- compiled passes --------------------------------------------------------------------------


def copies(values):
    return [value.copy() if isinstance(value, np.ndarray) else value for value in values]


@pytest.fixture(scope="module")
def passes(scenes):
    """Every pass of a site of many kinds of field: function, arguments before and after."""
    seen = []

    def watched(function, counted=True):
        def call(*arguments):
            before = copies(arguments)
            compiled(function, counted)(*arguments)
            seen.append((function, before, copies(arguments)))

        return call

    used = PlaySpec((EventSpec("match", (True,) * 7, (100, 300), hours=2.0),))
    seeded = EstablishSpec(100, "seed", 2.0, 2, 30)
    fields = [
        scenes.field("native_loam", "bermudagrass", reseed_day=120, play=used),
        scenes.field("sand_cap_4in_over_loam", "creeping_bentgrass", stand="first-year sod"),
        scenes.field("sand_over_gravel_12in", establish=seeded, mowing_height_mm=30.0),
        scenes.field("infield_mix", "", key="infield", surface="skinned"),
    ]
    with pytest.MonkeyPatch.context() as patch:
        for module in (site_weather, forcing, play):
            patch.setattr(module, "compiled", watched)
        prepare(scenes.scenario(fields, latitude=-35.0), scenes.weather(years=2))
    return seen


def test_passes_of_every_kind_ran(passes):
    names = [function.__name__ for function, *_ in passes]
    assert names == ["weather_pass", *["field_pass"] * 4, *["play_pass"] * 3]


def test_compiled_passes_are_the_plain_ones_to_the_last_bit(passes):
    for function, arguments, compiled_made in passes:
        with np.errstate(divide="raise", invalid="raise"):
            function(*arguments)
        for plain, expected in zip(arguments, compiled_made, strict=True):
            if isinstance(plain, np.ndarray):
                assert plain.tobytes() == expected.tobytes(), function.__name__


@pytest.mark.parametrize("patches", range(1, 13))
def test_roots_of_patches_have_nothing_to_do_with_their_catch(patches):
    reaches = patch_reaches(0.2, patches)
    assert max(reaches) <= 1.0 < min(reaches) + 0.5
    if patches >= 5:
        assert abs(np.corrcoef(np.arange(patches), reaches)[0, 1]) < 0.25


def test_the_same_plants_do_not_die_twice():
    worst, alive = 0.0, 1.0
    for dryness in (0.5, 1.0, 0.7, 1.0, 0.4, 1.0):
        alive *= 1.0 - kill_share(worst, dryness)
        worst = worst_dryness_step(worst, dryness)
    assert alive == pytest.approx(0.5)
    for _ in range(200):
        worst = worst_dryness_step(worst, 0.0)
    assert worst < 0.2
