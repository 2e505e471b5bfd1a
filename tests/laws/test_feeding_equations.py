"""Laws of the equations of feeding: what cannot be lost twice, bounds, order."""

from hypothesis import given
from hypothesis import strategies as st

from drysward.catalog import load_catalog
from drysward.physics.ammonia import (
    after_washing,
    ammonia_buffer,
    ammonia_warmth,
    lost_in_a_day,
    lost_today,
    urea_at_risk,
)
from drysward.physics.fertilizer import (
    by_wetness,
    cold_limit,
    day_share,
    microbial_wetness,
    q10_factor,
    release_step,
    urea_wetness,
)
from drysward.physics.nitrogen import denitrified, held_back, passed_on, runoff_share
from drysward.physics.phosphorus import p_in_runoff, p_kept_at_surface
from drysward.physics.salinity import leaching_requirement, soil_salt_ratio, yield_percent
from drysward.physics.turf_nitrogen import (
    browning_factor,
    recovery_factor,
    room,
    root_depth_factor,
    status,
    uptake,
    water_use_factor,
    wear_factor,
)

FEEDING = load_catalog().entries["feeding"]
share = st.floats(0.0, 1.0)
kg_ha = st.floats(0.0, 500.0)
mm = st.floats(0.0, 400.0)
soil_c = st.floats(-20.0, 50.0)


@given(kg_ha, kg_ha, share)
def test_release_loses_nothing(inside, leaving, speed):
    after = release_step(inside, leaving, speed)
    assert min(after) >= 0.0
    assert abs(sum(after) - inside - leaving) <= 1e-10


@given(soil_c, st.floats(-1.0, 2.0), st.floats(0.0, 0.7))
def test_speeds_of_release_are_shares(temperature_c, available, water):
    for key, entry in FEEDING.items():
        if key.startswith("release_"):
            factor = (
                q10_factor(temperature_c, entry["release_q10"], entry["reference_c"])
                * cold_limit(temperature_c, entry["nil_c"], entry["full_c"])
                * by_wetness(
                    entry["wetness_weight"],
                    microbial_wetness((water - 0.1) / 0.15, (water - 0.25) / 0.2),
                )
                * urea_wetness(available)
            )
            assert 0.0 <= day_share(3.0 / entry["rated_days"], factor) < 1.0


@given(mm, mm, st.floats(1.0, 100.0), share)
def test_water_takes_no_more_than_there_is(moving, held, retardation, mixing):
    assert 0.0 <= held_back(moving, held, retardation) <= passed_on(moving, held) <= 1.0
    assert 0.0 <= runoff_share(moving, held, 20.0, mixing) <= mixing


@given(mm, mm, mm)
def test_more_water_takes_more(less, more, held):
    less, more = sorted((less, more))
    assert passed_on(less, held + 1.0) <= passed_on(more, held + 1.0)
    assert after_washing(10.0, more, 0.2) <= after_washing(10.0, less, 0.2) <= 10.0


@given(kg_ha, st.floats(0.0, 0.8), st.floats(0.0, 2.0))
def test_gas_is_at_most_the_nitrate(nitrate, water, rate):
    assert 0.0 <= denitrified(nitrate, (water - 0.25) / 0.2, rate) <= nitrate


@given(kg_ha, kg_ha, st.floats(3.0, 10.0), soil_c, share)
def test_ammonia_is_at_most_its_share_and_larger_doses_lose_more(one, two, ph, temperature_c, wet):
    entry = FEEDING["ammonia"]
    buffer = ammonia_buffer(ph, entry["ammonia_buffer_acid"], entry["ammonia_buffer_neutral"])
    assert entry["ammonia_buffer_neutral"] - 1e-9 <= buffer <= entry["ammonia_buffer_acid"]
    small, large = (
        urea_at_risk(dose, entry["ammonia_most_share"], buffer, ammonia_warmth(temperature_c))
        for dose in sorted((one, two))
    )
    assert 0.0 <= small <= large <= entry["ammonia_most_share"] * max(one, two)
    gone = lost_today(large, lost_in_a_day(entry["ammonia_half_life_h"]), urea_wetness(wet))
    assert 0.0 <= gone <= large


@given(kg_ha, mm, mm, share, st.floats(1.0, 5.0))
def test_phosphorus_leaves_once(p, runoff, infiltrated, frozen, factor):
    gone = p_in_runoff(p, runoff, 0.01, factor)
    assert 0.0 <= gone <= p
    assert 0.0 <= p_kept_at_surface(p - gone, infiltrated, 0.12, 0.5, frozen) <= p - gone + 1e-12


@given(kg_ha, kg_ha, share, share, share)
def test_uptake_stays_within_what_is_there(n, mineral, rate, growth, water):
    free = room(n / 4000.0, 0.05, 1.0 / 0.03)
    assert 0.0 <= free <= 1.0
    assert 0.0 <= uptake(mineral, rate * growth, water, free) <= mineral


@given(kg_ha, st.floats(0.0, 8000.0))
def test_factors_of_status_have_bounds(n, living):
    found = status(n / max(living, 1e-9), 0.02, 1.0 / 0.0175)
    assert found >= 0.0
    assert 0.9 <= water_use_factor(found, 0.2) <= 1.1
    assert 0.7 - 1e-12 <= root_depth_factor(found, 0.3) <= 1.0
    assert wear_factor(found, 0.75, 2.0) >= 1.0
    assert 0.0 <= recovery_factor(found, 1.0 / 0.7) <= 1.0 / 0.7
    assert 1.0 <= browning_factor(found, 0.3) <= 1.3


@given(st.floats(0.0, 60.0), st.floats(0.1, 30.0), st.floats(0.01, 1.0))
def test_salt_has_bounds(ecw, ece, leaching):
    assert 0.0 <= leaching_requirement(ecw, ece) <= 1.0
    assert 0.0 <= yield_percent(ecw, ece, 6.0) <= 100.0
    assert soil_salt_ratio(leaching) >= 0.5
