"""Runoff of sprinklers that are faster than the soil.

Source: test protocol for weather-based controllers, intake and surface storage by texture (from
memory).
"""

import pytest

from drysward.physics.sprinkler_runoff import sprinkler_runoff

IN = 25.4
CLAY_LOAM = {"rate": 1.5 * IN, "intake": 0.20 * IN, "surface_storage": 0.26 * IN}


def after_hours(hours, rate, **soil):
    return sprinkler_runoff(rate * hours, rate, **soil)


def test_clay_loam_under_1_5_in_per_hour_runs_twelve_minutes():
    # 0.26 in of storage over (1.5 - 0.20) in/h: 0.20 h, 12 min (from memory).
    assert after_hours(0.195, **CLAY_LOAM) == 0
    assert after_hours(11.5 / 60, **CLAY_LOAM) == 0
    assert after_hours(0.205, **CLAY_LOAM) > 0
    assert after_hours(12.5 / 60, **CLAY_LOAM) > 0


def test_past_the_longest_run_all_that_outruns_the_soil_is_shed():
    rate, intake, storage = 38.0, 5.0, 6.6
    longest_h = storage / (rate - intake)
    for more_h in (0.0, 0.25, 1.0):
        found = after_hours(longest_h + more_h, rate, intake=intake, surface_storage=storage)
        assert found == pytest.approx((rate - intake) * more_h, abs=1e-12)


@pytest.mark.parametrize("rate", [5.0, 12.5, 38.1])
def test_runoff_of_a_depth(rate):
    # What outruns the soil while the depth falls, less what the surface holds.
    expected = max(0.0, (rate - 5.08) * (20.0 / rate) - 6.6)
    assert sprinkler_runoff(20.0, rate, 5.08, 6.6) == pytest.approx(expected, abs=1e-12)


def test_soil_that_keeps_up():
    assert sprinkler_runoff(50.0, 5.0, 8.0, 6.0) == 0


def test_no_sprinkler_no_runoff():
    assert sprinkler_runoff(0.0, 0.0, 5.0, 6.0) == 0
