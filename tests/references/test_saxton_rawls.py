"""Soil water characteristics by texture, and hydrologic soil groups.

Sources: Saxton & Rawls 2006, Soil Science Society of America Journal 70:1569-1578 (Table 3 and
the density adjustment from memory); NRCS NEH-630 chapter 7, Table 7-1.
"""

from itertools import pairwise

import pytest
from scipy.integrate import solve_ivp

from drysward.physics import pedotransfer as soil_water

# Class, sand %, clay %, wilting point %, field capacity %, saturation %, Ks mm/h, g/cm3 at 2.5%
# organic matter: Saxton & Rawls 2006, Table 3 (from memory).
TABLE_3 = [
    ("sand", 88, 5, 5, 10, 46, 108.1, 1.43),
    ("loamy sand", 80, 5, 5, 12, 46, 96.7, 1.43),
    ("sandy loam", 65, 10, 8, 18, 45, 50.3, 1.46),
    ("loam", 40, 20, 14, 28, 46, 15.5, 1.43),
    ("silt loam", 20, 15, 11, 31, 48, 16.1, 1.38),
    ("silt", 10, 5, 6, 30, 48, 22.0, 1.38),
    ("sandy clay loam", 60, 25, 17, 27, 43, 11.3, 1.50),
    ("clay loam", 30, 35, 22, 36, 48, 4.3, 1.39),
    ("silty clay loam", 10, 35, 22, 38, 51, 5.7, 1.30),
    ("silty clay", 10, 45, 27, 41, 52, 3.7, 1.26),
    ("sandy clay", 50, 40, 25, 36, 44, 1.4, 1.47),
    ("clay", 25, 50, 30, 42, 50, 1.1, 1.33),
]
LOAM = soil_water.from_texture(0.40, 0.20)
CLAY = soil_water.from_texture(0.25, 0.50)
SANDY_LOAM = soil_water.from_texture(0.65, 0.10)


@pytest.mark.parametrize("name, sand, clay, wp, fc, sat, ksat, density", TABLE_3)
def test_table_3(name, sand, clay, wp, fc, sat, ksat, density):
    found = soil_water.from_texture(sand / 100, clay / 100, 2.5)
    # 0.6 point where half a point would be due: the table is from memory.
    assert 100 * found.wilting_point == pytest.approx(wp, abs=0.6)
    assert 100 * found.field_capacity == pytest.approx(fc, abs=0.6)
    assert 100 * found.saturation == pytest.approx(sat, abs=0.6)
    assert found.ksat_mm_h == pytest.approx(ksat, abs=0.06)
    assert found.bulk_density == pytest.approx(density, abs=0.006)


def test_loam_slope():
    # Recomputed from the published equations, not printed: lambda 0.187, B 5.351.
    assert LOAM.pore_index == pytest.approx(0.187, abs=0.0005)
    assert 1 / LOAM.pore_index == pytest.approx(5.351, abs=0.0005)
    # Eq 17: power 3 + 2/0.187 = 13.70.
    assert LOAM.conductivity_exponent == pytest.approx(13.70, abs=0.01)
    # B is the slope through the water contents at 33 and 1500 kPa.
    b = 1 / LOAM.pore_index
    assert 33 * (LOAM.wilting_point / LOAM.field_capacity) ** -b == pytest.approx(1500)


class TestDensity:
    """The density adjustment of the same paper, from memory; figures worked by hand."""

    def test_loam_packed_by_8_percent(self):
        # theta_s 0.4595: rho 0.5405 x 2.65 = 1.4323 -> 1.5469; theta_s -> 1 - 1.5469/2.65
        # = 0.4163; loss 0.0432; theta_33 0.2800 - 0.0086 = 0.2714; Ks about
        # 1930 (0.4163 - 0.2714)^(3 - 0.187) = 8.4.
        packed = soil_water.from_texture(0.40, 0.20, density_factor=1.08)
        assert packed.bulk_density == pytest.approx(1.5469, abs=0.0005)
        assert packed.saturation == pytest.approx(0.4163, abs=0.0005)
        assert packed.field_capacity == pytest.approx(0.2714, abs=0.0005)
        assert packed.ksat_mm_h == pytest.approx(8.4, abs=0.2)
        assert packed.wilting_point == LOAM.wilting_point

    def test_conductivity_is_that_of_the_packed_water_contents(self):
        packed = soil_water.from_texture(0.40, 0.20, density_factor=1.1)
        macropores = packed.saturation - packed.field_capacity
        assert packed.ksat_mm_h == pytest.approx(1930 * macropores ** (3 - packed.pore_index))

    @pytest.mark.parametrize("factor", [1.0, 1.08, 1.15, 1.2])
    @pytest.mark.parametrize("row", TABLE_3)
    def test_order_holds_over_the_catalog_s_range(self, row, factor):
        packed = soil_water.from_texture(row[1] / 100, row[2] / 100, density_factor=factor)
        assert 0 < packed.wilting_point < packed.field_capacity < packed.saturation < 1
        assert packed.ksat_mm_h > 0

    def test_more_packing_leaves_less(self):
        soils = [soil_water.from_texture(0.4, 0.2, density_factor=f) for f in (1, 1.05, 1.1, 1.2)]
        for looser, tighter in pairwise(soils):
            assert tighter.saturation < looser.saturation
            assert tighter.ksat_mm_h < looser.ksat_mm_h


@pytest.mark.parametrize("sand, clay", [(-0.1, 0.2), (0.5, 1.1), (0.7, 0.4), (40, 20)])
def test_impossible_soils_are_refused(sand, clay):
    with pytest.raises(ValueError, match="sand"):
        soil_water.from_texture(sand, clay)


@pytest.mark.parametrize("thickness_mm", [50, 100, 300, 900])
@pytest.mark.parametrize("soil", [LOAM, CLAY, SANDY_LOAM])
def test_one_day_drainage_against_the_differential_equation(soil, thickness_mm):
    # Own check: L dtheta/dt = -Ks (theta/theta_s)^(3 + 2/lambda), stepped for a day.
    exponent = 3 + 2 / soil.pore_index
    stepped = solve_ivp(
        lambda _, theta: -soil.ksat_mm_h * (theta / soil.saturation) ** exponent / thickness_mm,
        (0, 24),
        [soil.saturation],
        method="LSODA",
        rtol=1e-9,
        atol=1e-12,
    )
    lost = soil.saturation - stepped.y[0, -1]
    expected = min(1.0, lost / (soil.saturation - soil.field_capacity))
    found = soil_water.drain_share_in_a_day(soil, thickness_mm)
    assert found == pytest.approx(expected, abs=1e-6)


# NEH-630 chapter 7, Table 7-1, micrometer/s: group without a barrier, and with one at 50-100 cm.
@pytest.mark.parametrize(
    "ksat_um_s, deep, near",
    [
        (41, "a", "a"),
        (39.9, "a", "b"),
        (10.1, "a", "b"),
        (9.9, "b", "c"),
        (4.1, "b", "c"),
        (3.9, "c", "c"),
        (1.1, "c", "c"),
        (0.99, "c", "d"),
        (0.41, "c", "d"),
        (0.39, "d", "d"),
    ],
)
def test_hydrologic_groups(ksat_um_s, deep, near):
    ksat_mm_h = ksat_um_s * 3.6
    assert soil_water.hydrologic_group(ksat_mm_h, 300, barrier=False) == deep
    assert soil_water.hydrologic_group(ksat_mm_h, 1200, barrier=True) == deep
    assert soil_water.hydrologic_group(ksat_mm_h, 500, barrier=True) == near
    assert soil_water.hydrologic_group(ksat_mm_h, 499, barrier=True) == "d"


class TestErrors:
    """How far a soil lies from the regressions: standard errors of the same paper, from memory."""

    def test_none_leaves_the_soil_as_it_is(self):
        assert soil_water.with_errors(LOAM) is LOAM

    def test_are_added_and_conductivity_is_multiplied(self):
        found = soil_water.with_errors(LOAM, 0.02, -0.05, 0.04, 0.48)
        assert found.wilting_point == pytest.approx(LOAM.wilting_point + 0.02)
        assert found.field_capacity == pytest.approx(LOAM.field_capacity - 0.05)
        assert found.saturation == pytest.approx(LOAM.saturation + 0.04)
        # 0.48 is the logarithm of a factor of 3.
        assert found.ksat_mm_h / LOAM.ksat_mm_h == pytest.approx(3.0, abs=0.05)
        assert found.bulk_density == pytest.approx((1 - found.saturation) * 2.65)

    @pytest.mark.parametrize("wilt", [-0.2, 0.0, 0.2])
    @pytest.mark.parametrize("cap", [-0.3, 0.0, 0.3])
    @pytest.mark.parametrize("full", [-0.3, 0.0, 0.3])
    def test_leave_every_soil_possible(self, wilt, cap, full):
        for row in TABLE_3:
            soil = soil_water.from_texture(row[1] / 100, row[2] / 100)
            found = soil_water.with_errors(soil, wilt, cap, full)
            assert found.wilting_point >= 0.01
            assert found.field_capacity >= found.wilting_point + 0.02
            assert found.saturation >= found.field_capacity + 0.02
            assert found.saturation < 1.0
            assert found.pore_index > 0.0
