"""Water held by a sand root zone over gravel.

Sources: form of the curve, van Genuchten 1980; pore bands at 30 cm of tension, USGA
recommendations for putting green rootzones; 0.9 kPa at the base over gravel 48 h after wetting,
a published study of layering in sports turf profiles; water contents of a 12 in profile a day
after wetting, from memory. The curve's parameters were fitted to these bands, so that the bands
hold is a check on the arithmetic and on later changes, not evidence for the curve.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from drysward.physics.retention import WILTING_TENSION_CM, RetentionCurve, drained_profile
from drysward.site.profile import sand_profile

CURVE = RetentionCurve(theta_s=0.40, theta_r=0.03, alpha=0.05, n=3.0)
BASE_CM = 9.0
DEPTHS_MM = (203.2, 304.8, 406.4)  # 8, 12, 16 in


def content_at(z_mm, depth_mm, base_cm=BASE_CM, curve=CURVE):
    """Slow twin: the curve of van Genuchten at the height above the interface."""
    tension_cm = base_cm + (depth_mm - z_mm) / 10
    effective = (1 + (curve.alpha * tension_cm) ** curve.n) ** -(1 - 1 / curve.n)
    return curve.theta_r + (curve.theta_s - curve.theta_r) * effective


def held(depth_mm, top_mm=0.0, bottom_mm=None):
    profile = sand_profile(CURVE, depth_mm, BASE_CM, ksat_mm_h=400)
    return float(profile.between(top_mm, depth_mm if bottom_mm is None else bottom_mm)[0])


class TestBands:
    def test_twelve_inch_profile_a_day_after_wetting(self):
        # From memory: 10-14% at the top, 18-25% in the middle, 30-38% at the bottom.
        top, middle, bottom = drained_profile(CURVE, 304.8, BASE_CM, [0, 152.4, 304.8])
        assert 0.10 <= top <= 0.14
        assert 0.18 <= middle <= 0.25
        assert 0.30 <= bottom <= 0.38
        # The mean, 23%, lies a little above the 18-22% remembered with the bands.
        assert 0.22 <= held(304.8) / 304.8 <= 0.24

    def test_pores_at_30_cm(self):
        # USGA: capillary 15-25%, air-filled 15-30%, total 35-55%.
        capillary = float(CURVE.water_content(30.0))
        assert 0.15 <= capillary <= 0.25
        assert 0.15 <= CURVE.theta_s - capillary <= 0.30
        assert 0.35 <= CURVE.theta_s <= 0.55


class TestHydrostatics:
    @pytest.mark.parametrize("depth_mm", DEPTHS_MM)
    @pytest.mark.parametrize("base_cm", [0.0, 9.0, 24.0])
    @pytest.mark.parametrize(
        "curve", [CURVE, RetentionCurve(0.45, 0.0, 0.03, 1.3), RetentionCurve(0.38, 0.05, 0.06, 5)]
    )
    def test_water_against_quadrature(self, depth_mm, base_cm, curve):
        profile = sand_profile(curve, depth_mm, base_cm, ksat_mm_h=400)
        for z_mm in np.linspace(0, depth_mm, 5)[1:]:
            expected = quad(content_at, 0, z_mm, args=(depth_mm, base_cm, curve))[0]
            # Steps of 5 mm are good to a few hundredths of a millimeter of water.
            assert profile.between(0, z_mm)[0] == pytest.approx(expected, abs=0.05)

    def test_deeper_sand_gains_less_than_its_depth(self):
        shallow, middle, deep = (held(depth) for depth in DEPTHS_MM)
        assert shallow < middle < deep
        assert middle / shallow < 12 / 8
        assert deep / middle < 16 / 12
        assert deep - middle < middle - shallow  # each 4 in on top adds less than the last

    def test_deeper_sand_is_drier_on_top(self):
        top_8_in = [held(depth, 0, 203.2) for depth in DEPTHS_MM]
        assert top_8_in == sorted(top_8_in, reverse=True)
        assert top_8_in[0] > 1.5 * top_8_in[2]

    def test_the_lowest_8_in_hold_the_same_at_any_depth(self):
        lowest = [held(depth, depth - 203.2) for depth in DEPTHS_MM]
        assert lowest == pytest.approx([lowest[0]] * 3, abs=0.05)

    def test_no_tension_is_saturation(self):
        assert CURVE.water_content(0.0) == CURVE.theta_s
        assert CURVE.water_content(-5.0) == CURVE.theta_s

    def test_wilting_point_is_near_residual(self):
        assert 0 <= CURVE.water_content(WILTING_TENSION_CM) - CURVE.theta_r < 1e-4


def test_nothing_above_field_capacity_is_left_after_a_day():
    # Waltz and others 2003: three quarters of the drainable water is gone in 15 minutes.
    assert sand_profile(CURVE, 304.8, BASE_CM, 400).drain_share(0, 304.8) == 1
