"""Sprinklers against the intake of the soil.

Source: intake and surface storage by texture of the test protocol for weather-based controllers
(from memory).
"""

import pytest

from drysward.physics.runoff import sprinkler_runoff


def longest_run_h(rate, intake, storage):
    """Run after which the surface storage is full, found by halving."""
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if sprinkler_runoff(rate * middle, rate, intake, storage) == 0.0:
            low = middle
        else:
            high = middle
    return low


class TestSprinklers:
    def test_clay_loam_under_1_5_in_per_hour(self):
        # 0.26 in of storage over (1.5 - 0.20) in/h: 0.20 h, 12 min (from memory).
        hours = longest_run_h(1.5 * 25.4, 0.20 * 25.4, 0.26 * 25.4)
        assert hours == pytest.approx(0.20, abs=0.005)
        assert 60 * hours == pytest.approx(12, abs=0.5)

    def test_soil_that_keeps_up(self):
        assert sprinkler_runoff(50.0, 5.0, 8.0, 6.0) == 0

    def test_runoff_starts_at_the_longest_run(self):
        rate, soil, storage = 38.0, 5.0, 6.6
        whole = rate * storage / (rate - soil)
        assert sprinkler_runoff(whole, rate, soil, storage) == pytest.approx(0, abs=1e-12)
        # An hour more sheds what outruns the soil in an hour.
        assert sprinkler_runoff(whole + rate, rate, soil, storage) == pytest.approx(33.0)

    def test_no_sprinkler_no_runoff(self):
        assert sprinkler_runoff(0.0, 0.0, 5.0, 6.0) == 0
