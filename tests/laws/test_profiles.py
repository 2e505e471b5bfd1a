"""What must hold of any construction of a field."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drysward.physics.pedotransfer import drain_share_in_a_day, from_texture
from drysward.physics.retention import RetentionCurve
from drysward.site.profile import (
    BARRIER,
    GRAVEL,
    OPEN_SUBSOIL,
    native_profile,
    sand_cap_profile,
    sand_profile,
)

SAND = RetentionCurve(theta_s=0.40, theta_r=0.03, alpha=0.05, n=3.0)
LOAM = from_texture(0.40, 0.20)
CLAY = from_texture(0.25, 0.50)
PACKED_CLAY = from_texture(0.25, 0.50, density_factor=1.08)


def sand(depth_mm=304.8, base_suction_cm=9.0):
    return sand_profile(SAND, depth_mm, base_suction_cm, ksat_mm_h=400)


def cap():
    return sand_cap_profile(sand(101.6, 24.0), native_profile(LOAM, 600.0, intake_mm_h=8.9))


PROFILES = {
    "loam": native_profile(LOAM, 900.0),
    "compacted clay": native_profile(PACKED_CLAY, 900.0),
    "thin": native_profile(LOAM, 100.0, BARRIER),
    "sand": sand(),
    "cap": cap(),
}
any_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES)


class TestWater:
    @any_profile
    def test_nodes_run_from_the_surface_to_the_depth_in_small_steps(self, profile):
        steps = np.diff(profile.node_mm)
        assert profile.node_mm[0] == 0
        assert profile.node_mm[-1] == profile.depth_mm
        assert steps.min() > 0
        assert steps.max() < 6

    @any_profile
    def test_wilting_point_under_field_capacity_under_saturation_in_every_slab(self, profile):
        nodes = profile.node_mm
        field_capacity, wilting_point, saturation = profile.between(nodes[:-1], nodes[1:])
        assert np.all(wilting_point > 0)
        assert np.all(field_capacity > wilting_point)
        assert np.all(saturation > field_capacity)
        assert np.all(saturation < np.diff(nodes))

    @any_profile
    @settings(max_examples=40, deadline=None)
    @given(shares=st.tuples(*[st.floats(0, 1)] * 3))
    def test_slabs_add_up(self, profile, shares):
        top, middle, bottom = (share * profile.depth_mm for share in sorted(shares))
        upper, lower = profile.between(top, middle), profile.between(middle, bottom)
        whole = np.array(profile.between(top, bottom))
        assert np.add(upper, lower) == pytest.approx(whole, abs=1e-9)

    @any_profile
    def test_arrays_of_depths_give_arrays(self, profile):
        floors = np.linspace(0, profile.depth_mm, 7)
        one_by_one = [profile.between(0.0, floor)[0] for floor in floors]
        assert profile.between(0.0, floors)[0] == pytest.approx(one_by_one)

    def test_native_soil_holds_the_same_at_any_depth(self):
        expected = 300 * np.array([LOAM.field_capacity, LOAM.wilting_point, LOAM.saturation])
        for top in (0, 250, 600):
            assert np.array(PROFILES["loam"].between(top, top + 300)) == pytest.approx(expected)


class TestDrainage:
    @any_profile
    def test_is_a_share_and_thicker_slabs_lose_no_more(self, profile):
        shares = [profile.drain_share(0, floor) for floor in np.linspace(20, 100, 5)]
        assert all(0 < share <= 1 for share in shares)
        assert all(b <= a + 1e-12 for a, b in pairwise(shares))

    @any_profile
    def test_a_slab_without_thickness_is_no_trouble(self, profile):
        assert 0 < profile.drain_share(profile.depth_mm, profile.depth_mm) <= 1

    def test_native_share_is_that_of_the_slab(self):
        share = PROFILES["loam"].drain_share(100, 400)
        assert share == pytest.approx(drain_share_in_a_day(LOAM, 300))

    def test_compacted_soil_drains_less(self):
        loose = native_profile(CLAY, 900.0)
        assert PROFILES["compacted clay"].drain_share(0, 100) < loose.drain_share(0, 100)

    def test_percolation_limits(self):
        through_soil = pytest.approx(LOAM.ksat_mm_h * 24)
        assert native_profile(LOAM, 900.0, BARRIER).percolation_limit_mm_d == 0
        assert native_profile(LOAM, 900.0, OPEN_SUBSOIL).percolation_limit_mm_d == through_soil
        assert native_profile(LOAM, 900.0, GRAVEL).percolation_limit_mm_d == through_soil
        assert cap().percolation_limit_mm_d == through_soil
        assert sand().percolation_limit_mm_d == 9600


class TestCap:
    def test_is_sand_above_and_native_below(self):
        profile, above, below = cap(), sand(101.6, 24.0), native_profile(LOAM, 600.0)
        assert profile.depth_mm == pytest.approx(701.6)
        assert np.array(profile.between(0, 101.6)) == pytest.approx(
            np.array(above.between(0, 101.6))
        )
        assert np.array(profile.between(101.6, 701.6)) == pytest.approx(
            np.array(below.between(0, 600))
        )

    def test_water_enters_as_in_sand_and_each_layer_drains_as_its_soil(self):
        profile, below = cap(), native_profile(LOAM, 600.0)
        assert profile.intake_mm_h == 400
        assert profile.drain_share(0, 100) == 1
        assert profile.drain_share(101.6, 401.6) == pytest.approx(below.drain_share(0, 300))

    def test_drains_drier_than_sand_over_gravel_of_the_same_depth(self):
        # 24 cm of tension at its base against 9 cm.
        assert cap().between(0, 101.6)[0] < sand(101.6).between(0, 101.6)[0]


@settings(max_examples=40, deadline=None)
@given(
    depth_mm=st.floats(50, 600),
    deeper_mm=st.floats(10, 300),
    base_cm=st.floats(0, 30),
    drier_cm=st.floats(0.1, 30),
)
def test_deeper_sand_holds_more_in_all_and_less_on_top(depth_mm, deeper_mm, base_cm, drier_cm):
    here = sand(depth_mm, base_cm).between(0, depth_mm)[0]
    deep = sand(depth_mm + deeper_mm, base_cm)
    assert deep.between(0, deep.depth_mm)[0] > here
    assert deep.between(0, depth_mm)[0] < here
    assert sand(depth_mm, base_cm + drier_cm).between(0, depth_mm)[0] < here
