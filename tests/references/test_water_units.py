"""Depths, areas, flows and volumes of water across the units people write.

Sources: definitions of the units (common practice); published examples of precipitation rate;
Colorado Irrigation Guide part 683 (supply rate); gpm per acre by water window, own arithmetic.
"""

import math

import pytest

from drysward.physics.watering_system import design_flow_m3_h
from drysward.quantities import FACTORS, TEMPERATURE, convert, library_convert
from drysward.scenario.model import DeliverySpec
from drysward.site.night import nightly_gross_mm


def flow(gpm):
    return convert(gpm, "gpm", "m^3/h")


def area(value, unit="ft2"):
    return convert(value, unit, "m^2")


def depth_in(flow_m3_h, area_m2, hours=1.0):
    """What a system of this flow puts on an area in so many hours, whatever its sprinklers."""
    delivery = DeliverySpec("in_ground_rotors", 0.7, math.inf, 0.0, flow_m3_h, 0.0, 0.0)
    return nightly_gross_mm(delivery, area_m2, hours) / 25.4


def in_per_hour(gpm, ft2):
    return depth_in(flow(gpm), area(ft2))


class TestPrecipitationRate:
    def test_constant(self):
        # 60 min/h x 231 in3/gal / 144 in2/ft2.
        assert in_per_hour(1, 1) == pytest.approx(96.25, rel=1e-9)

    @pytest.mark.parametrize(
        "gpm, ft2, printed, tolerance",
        [
            (8, 60 * 15, 0.86, 0.005),
            (10, 1000, 0.9625, 0.00005),
            (6, 25 * 30 * 0.866, 0.89, 0.005),  # triangular spacing
        ],
    )
    def test_examples(self, gpm, ft2, printed, tolerance):
        assert in_per_hour(gpm, ft2) == pytest.approx(printed, abs=tolerance)


class TestDefinitions:
    def test_the_unit_library_agrees(self):
        for base, units in FACTORS.items():
            for unit in units:
                assert convert(3.7, unit, base) == pytest.approx(
                    library_convert(3.7, unit, base), rel=1e-14
                ), (unit, base)
        for fahrenheit in (-40.0, 0.0, 32.0, 88.6):
            found = convert(fahrenheit, "degF", TEMPERATURE.base)
            assert found == library_convert(fahrenheit, "degF", TEMPERATURE.base)
            assert found == pytest.approx((fahrenheit - 32.0) * 5.0 / 9.0, abs=1e-12)

    def test_acre_inch(self):
        volume_m3 = convert(1, "acre-in", "m^3")
        assert volume_m3 / convert(1, "gal", "m^3") == pytest.approx(27_154, abs=0.5)
        assert depth_in(volume_m3, area(1, "acre")) == pytest.approx(1, rel=1e-9)

    def test_acre_is_43_560_square_feet(self):
        assert area(1, "acre") == pytest.approx(area(43_560), rel=1e-9)

    def test_acre_foot(self):
        assert convert(1, "acre-ft", "m^3") / convert(1, "gal", "m^3") == pytest.approx(
            325_851,
            abs=0.5,
        )

    def test_inch_on_a_square_foot(self):
        gallons = 1 / depth_in(convert(1, "gal", "m^3"), area(1))
        assert gallons == pytest.approx(0.6234, abs=0.00005)

    def test_flows(self):
        acre_inch_per_hour = convert(1, "acre-in", "m^3")
        assert acre_inch_per_hour / flow(1) == pytest.approx(452.6, abs=0.05)
        assert convert(1, "cfs", "m^3/h") / acre_inch_per_hour == pytest.approx(0.992, abs=0.0005)

    def test_millimeter_on_a_square_meter_is_a_liter(self):
        assert 25.4 * depth_in(convert(1, "L", "m^3"), 1) == pytest.approx(1, rel=1e-12)


class TestSupplyRate:
    def acre_inches_per_hour(self, net_in, hours):
        """Flow that brings a net depth to 120 acre, 60% of it reaching the roots."""
        of_one = depth_in(convert(1, "acre-in", "m^3"), area(120, "acre"), hours)
        return net_in / 0.60 / of_one

    def test_peak_day(self):
        # 0.25 in/d on 120 acre at 60%: printed 2.1 cfs, an acre-inch per hour taken as a cfs.
        found = self.acre_inches_per_hour(0.25, 24)
        assert found == pytest.approx(2.083, abs=0.0005)
        assert found == pytest.approx(2.1, abs=0.05)

    def test_the_design_of_a_system(self):
        # The same example: 0.25 in/d, 120 acre, 60%, every hour of the week.
        found = design_flow_m3_h(area(120, "acre"), 0.25 * 25.4, 0.60, 7.0, 24.0)
        assert found / convert(1, "acre-in", "m^3") == pytest.approx(2.083, abs=0.0005)
        # And in 2.75 days of 16, printed 12 cfs.
        nights = 7 * 2.75 / 16
        found = design_flow_m3_h(area(120, "acre"), 0.25 * 25.4, 0.60, nights, 24.0)
        assert found / convert(1, "acre-in", "m^3") == pytest.approx(12.1, abs=0.05)

    def test_rotation(self):
        # 16 days' use brought in 2.75 days: printed 12 cfs.
        found = self.acre_inches_per_hour(0.25 * 16, 2.75 * 24)
        assert found == pytest.approx(12.1, abs=0.05)
        assert found == pytest.approx(12, abs=0.5)

    @pytest.mark.parametrize(
        "window_h, gpm",
        [
            (168, 2.69),
            (70, 6.47),
            (56, 8.08),
            (42, 10.8),
            (40, 11.3),
            (30, 15.1),
            (24, 18.9),
        ],
    )
    def test_inch_a_week_on_an_acre(self, window_h, gpm):
        found = 1 / depth_in(flow(1), area(1, "acre"), window_h)
        assert found == pytest.approx(gpm, abs=0.05 if gpm > 10 else 0.006)
