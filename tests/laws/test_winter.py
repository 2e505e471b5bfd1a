"""Laws of winter: what frost kills, and what turf shows that is too cold to transpire."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.drive.runs import run_plan
from drysward.physics.freezing import (
    air_resistance,
    as_at_first_touch_c,
    cold_spell_step,
    crown_mean_c,
    crown_night_c,
    death_odds,
    felt_cold_c,
    freeze_kill_share,
    frost_depth_step,
    frozen_losses_c,
    ground_resistance,
    hardiness_sought,
    hardiness_step,
    lt50_c,
    time_frozen_loss_c,
    worst_odds_step,
)
from drysward.physics.snow import snow_depth_cm, snow_resistance
from drysward.physics.winter_rest import awake_share
from drysward.site.stretches import prepare

DEGREES = st.floats(-45, 45)
COLD = st.floats(-45, 0)
LT50 = st.floats(-40, -0.2)
ODDS = st.floats(0, 1e12)
SHARES = st.floats(0, 1)
STEEP = st.floats(1, 30)


# --- share killed -----------------------------------------------------------------------------


@given(ODDS, ODDS)
def test_kill_is_a_share(odds, worst):
    assert 0.0 <= freeze_kill_share(odds, worst) <= 1.0


@given(st.lists(ODDS, min_size=1, max_size=10))
def test_a_winter_kills_what_its_worst_night_would(nights):
    alive, worst = 1.0, 0.0
    for odds in nights:
        alive *= 1.0 - freeze_kill_share(odds, worst)
        worst = worst_odds_step(worst, odds, 0.0, 10.0)
    assert alive == pytest.approx(1.0 / (1.0 + max(nights)), rel=1e-6, abs=1e-15)


@given(ODDS)
def test_a_second_equal_night_kills_none(odds):
    worst = worst_odds_step(0.0, odds, 0.0, 10.0)
    assert freeze_kill_share(odds, worst) == 0.0


def test_warm_soil_begins_a_new_winter():
    assert worst_odds_step(3.0, 0.0, 11.9, 0.0) == 3.0
    assert worst_odds_step(3.0, 0.0, 12.0, 0.0) == 0.0
    assert worst_odds_step(3.0, 0.0, 12.0, 1.0) == 3.0  # ground still frozen


@given(COLD, st.floats(0, 10), LT50, STEEP)
def test_more_cold_kills_no_less(felt_c, more, lt50, steep):
    assert death_odds(felt_c - more, lt50, steep) >= death_odds(felt_c, lt50, steep)
    assert death_odds(felt_c, lt50 - more, steep) <= death_odds(felt_c, lt50, steep)


@given(LT50, STEEP)
def test_half_die_at_lt50_and_none_above_freezing(lt50, steep):
    assert death_odds(lt50, lt50, steep) == pytest.approx(1.0)
    assert death_odds(0.0, lt50, steep) == 0.0
    assert death_odds(5.0, lt50, steep) == 0.0


@given(DEGREES, DEGREES, DEGREES, st.floats(0, 10), st.floats(0, 5))
def test_felt_cold_follows_the_crowns(night, mean, spell, colder, loss):
    felt = felt_cold_c(night, mean, spell, *frozen_losses_c(loss))
    assert felt <= min(night, mean, spell, 0.0) + 1e-12
    assert felt >= 2.0 * min(night, mean, spell, 0.0) - 1e-12
    for crowns in ((night - colder, mean, spell), (night, mean - colder, spell)):
        assert felt_cold_c(*crowns, *frozen_losses_c(loss)) <= felt
    assert felt_cold_c(night, mean, spell, *frozen_losses_c(loss + 1.0)) <= felt
    if min(night, mean, spell) >= 0.0:
        assert felt == 0.0


def test_time_frozen_by_hand():
    # 24 h: as given; 72 h: ln(145) / ln(49) of it.
    assert time_frozen_loss_c(0.0, 2.0) == 0.0
    assert time_frozen_loss_c(24.0, 2.0) == pytest.approx(2.0)
    assert time_frozen_loss_c(72.0, 2.0) == pytest.approx(2.0 * 4.97673 / 3.89182, rel=1e-5)
    assert [as_at_first_touch_c(c, 2.0) for c in (3.0, -0.5, -6.0)] == [0.0, -1.0, -8.0]


# --- crowns -----------------------------------------------------------------------------------


def test_crowns_by_hand():
    # 360 mm of frost, 0.2 m2 C/W, as much as the turf: half of the air's cold.
    assert ground_resistance(360.0) == pytest.approx(0.2)
    assert air_resistance(0.2, 0.8) == pytest.approx(1.0)
    assert crown_mean_c(-10.0, -8.0, 360.0, 0.2) == pytest.approx(-5.0)
    assert crown_mean_c(4.0, -8.0, 360.0, 0.2) == 0.0
    assert [crown_mean_c(-1.0, soil, 0.0, 0.2) for soil in (6.0, -2.0)] == [6.0, 0.0]
    assert crown_night_c(-5.0, -10.0, -16.5, 0.2) == pytest.approx(-5.0 - 6.5 * 0.06 / 0.26)
    assert cold_spell_step(-2.0, -8.0) == pytest.approx(-4.0)


def test_frost_depth_by_hand():
    # 10 C over 0.2 + 0.2 m2 C/W draws 25 W/m2, of which 5 come up: 20 W/m2 for a day in 80 MJ/m3.
    assert frost_depth_step(360.0, -10.0, 0.0, 0.2, 0.2, 5.0) == pytest.approx(360.0 + 21.6)
    assert frost_depth_step(360.0, 2.0, 0.0, 0.2, 0.2, 5.0) == pytest.approx(360.0 - 16.2)
    assert frost_depth_step(360.0, 2.0, 5.0, 0.6, 0.2, 5.0) == pytest.approx(360.0 - 5.4)
    assert frost_depth_step(3.0, 20.0, 0.0, 0.2, 0.2, 5.0) == 0.0


@given(st.floats(-45, 0), DEGREES, st.floats(0, 2000), st.floats(0, 200), st.floats(0, 20))
def test_snow_and_shallow_frost_keep_crowns_warmer(tmean, soil, frost, snow, swing):
    open_turf, under = (
        air_resistance(0.2, snow_resistance(snow_depth_cm(mm, 200.0), 200.0)) for mm in (0.0, snow)
    )
    bare, covered = (crown_mean_c(tmean, soil, frost, to_air) for to_air in (open_turf, under))
    assert tmean - 1e-9 <= bare <= covered
    assert crown_night_c(bare, tmean, tmean - swing, open_turf) <= (
        crown_night_c(covered, tmean, tmean - swing, under) + 1e-9
    )
    assert frost_depth_step(frost, tmean, snow, under, 0.2, 5.0) <= (
        frost_depth_step(frost, tmean, 0.0, open_turf, 0.2, 5.0)
    )


# --- hardiness --------------------------------------------------------------------------------


@given(st.lists(DEGREES, min_size=1, max_size=60), SHARES)
def test_hardiness_is_a_share_and_moves_towards_what_the_soil_gives(soils, hardiness):
    for soil in soils:
        sought = hardiness_sought(soil, 15.0, 5.0)
        after = hardiness_step(hardiness, sought, 7.0, 10.0)
        assert 0.0 <= after <= 1.0
        assert -0.1 - 1e-12 <= after - hardiness <= 1.0 / 49.0 + 1e-12
        assert abs(after - sought) <= abs(hardiness - sought)
        assert -8.0 <= lt50_c(after, -3.0, -8.0) <= -3.0
        hardiness = after


# --- on the field -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def field(scenes):
    """Hard winters without water on sand: DAY and the trace of one field, and its weather."""
    record = scenes.hard_weather(3)
    fields = [scenes.field("sand_over_gravel_12in", key) for key in ("bermudagrass", "tall_fescue")]
    scenario = scenes.scenario(fields, turf="continuous", fewest_days=1)
    site = prepare(scenario, record)
    return site, run_plan(site, scenario.plans[0], slice(0, record.n_days)).trace


def test_frost_kills_in_winter_only(field):
    site, trace = field
    kill, soil = site.days.freeze_kill, site.weather.days.soil_c
    assert (kill >= 0.0).all()
    assert (kill <= 1.0).all()
    assert kill.max() > 0.1
    assert (kill[soil > 10.0] == 0.0).all()
    worst = kill[:, 0].argmax()
    assert trace.dead[worst, 0] > trace.dead[worst - 1, 0]


def test_cold_turf_shows_no_wilt(field):
    """Whatever the soil holds: none under snow, at 0 C or below, or in the part at rest."""
    site, trace = field
    days = site.weather.days
    cold = (days.snow_water_mm > 0.0) | (days.soil_c <= 0.0) | (days.tmean_c <= 0.0)
    assert cold.sum() > 100
    for shown in (trace.wilt, trace.footprint):
        assert (shown[cold] == 0.0).all()
        assert shown.max() > 0.5
    assert (site.days.awake <= site.days.active).all()
    assert trace.winter_rest[:, 1].max() == 0.0  # cold is not winter rest


def test_awake_share_by_hand():
    assert awake_share(0.5, 20.0, 20.0, 0.0) == 0.5
    assert awake_share(0.0, 4.0, 20.0, 0.0) == pytest.approx(0.4)
    assert awake_share(0.0, 12.0, 3.0, 0.0) == pytest.approx(0.3)
    assert awake_share(0.0, 12.0, 12.0, 1.0) == 0.0
    assert np.isclose(awake_share(0.0, -5.0, 5.0, 0.0), 0.0)
