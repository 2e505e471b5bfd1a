"""Infiltration by Green & Ampt, and sprinklers against the intake of the soil.

Sources: parameters of Rawls, Brakensiek & Miller 1983; worked examples 4.3.1, 4.4.1 and 4.4.2 of
Chow, Maidment & Mays 1988 (from memory); intake and surface storage by texture of the test
protocol for weather-based controllers (from memory).
"""

import math

import pytest
from scipy.integrate import solve_ivp

from drysward.physics import infiltration as intake

CM = 10.0
# Suction and conductivity, mm and mm/h: Rawls, Brakensiek & Miller 1983.
SILT_LOAM = {"suction_mm": 16.68 * CM, "ksat_mm_h": 0.65 * CM, "deficit": 0.340}
SANDY_LOAM = {"suction_mm": 11.01 * CM, "ksat_mm_h": 1.09 * CM, "deficit": 0.34}


class TestGreenAmpt:
    def test_silt_loam_ponded_one_hour(self):
        infiltrated = intake.green_ampt_ponded_mm(1.0, **SILT_LOAM)
        assert infiltrated / CM == pytest.approx(3.17, abs=0.01)
        rate = intake.green_ampt_rate_mm_h(infiltrated, **SILT_LOAM)
        assert rate / CM == pytest.approx(1.81, abs=0.01)

    def test_sandy_loam_ponded_one_hour(self):
        # Published test data.
        found = intake.green_ampt_ponded_mm(1.0, **SANDY_LOAM)
        assert found / CM == pytest.approx(3.6251, abs=0.00005)

    def test_heavy_rain_on_silt_loam(self):
        ponding_h = intake.ponding_time_h(5.0 * CM, **SILT_LOAM)
        assert ponding_h == pytest.approx(0.17, abs=0.005)
        assert 5.0 * ponding_h == pytest.approx(0.85, abs=0.005)  # cm
        infiltrated = intake.green_ampt_rain_mm(1.0, 5.0 * CM, **SILT_LOAM)
        assert infiltrated / CM == pytest.approx(3.02, abs=0.01)
        rate = intake.green_ampt_rate_mm_h(infiltrated, **SILT_LOAM)
        assert rate / CM == pytest.approx(1.875, abs=0.01)  # printed 1.87 and 1.88

    def test_light_rain_on_silt_loam(self):
        ponding_h = intake.ponding_time_h(1.0 * CM, **SILT_LOAM)
        assert ponding_h == pytest.approx(10.5, abs=0.05)
        at_ponding = intake.green_ampt_rain_mm(ponding_h, 1.0 * CM, **SILT_LOAM)
        assert at_ponding / CM == pytest.approx(10.5, abs=0.05)

    def test_rain_slower_than_the_soil_never_ponds(self):
        assert intake.ponding_time_h(6.0, **SILT_LOAM) == math.inf
        assert intake.green_ampt_rain_mm(48.0, 6.0, **SILT_LOAM) == 288.0

    @pytest.mark.parametrize("hours", [0.5, 2.0, 24.0])
    def test_against_the_differential_equation(self, hours):
        pull = SANDY_LOAM["suction_mm"] * SANDY_LOAM["deficit"]
        start_h = intake.ponding_time_h(40.0, **SANDY_LOAM)
        stepped = solve_ivp(
            lambda _, mm: SANDY_LOAM["ksat_mm_h"] * (1 + pull / mm),
            (start_h, start_h + hours),
            [40.0 * start_h],
            rtol=1e-9,
        )
        found = intake.green_ampt_rain_mm(start_h + hours, 40.0, **SANDY_LOAM)
        assert found == pytest.approx(stepped.y[0, -1], rel=1e-6)

    def test_edges(self):
        assert intake.green_ampt_ponded_mm(0.0, **SILT_LOAM) == 0
        # No suction left: gravity alone.
        assert intake.green_ampt_ponded_mm(3.0, 6.5, 166.8, 0.0) == pytest.approx(19.5)


class TestSprinklers:
    def test_clay_loam_under_1_5_in_per_hour(self):
        # 0.26 in of storage over (1.5 - 0.20) in/h: 0.20 h, 12 min (from memory).
        hours = intake.longest_run_h(1.5 * 25.4, 0.20 * 25.4, 0.26 * 25.4)
        assert hours == pytest.approx(0.20, abs=0.005)
        assert 60 * hours == pytest.approx(12, abs=0.5)

    def test_soil_that_keeps_up(self):
        assert intake.longest_run_h(5.0, 8.0, 6.0) == math.inf
        assert intake.sprinkler_runoff_mm(50.0, 5.0, 8.0, 6.0) == 0

    def test_runoff_starts_at_the_longest_run(self):
        rate, soil, storage = 38.0, 5.0, 6.6
        whole = rate * intake.longest_run_h(rate, soil, storage)
        assert intake.sprinkler_runoff_mm(whole, rate, soil, storage) == pytest.approx(0, abs=1e-12)
        # An hour more sheds what outruns the soil in an hour.
        assert intake.sprinkler_runoff_mm(whole + rate, rate, soil, storage) == pytest.approx(33.0)

    def test_no_sprinkler_no_runoff(self):
        assert intake.sprinkler_runoff_mm(0.0, 0.0, 5.0, 6.0) == 0
