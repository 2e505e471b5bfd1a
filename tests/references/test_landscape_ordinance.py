"""California Model Water Efficient Landscape Ordinance: allowance and estimated use.

Fresno, ETo 51.1 in a year. Source of case A: a published worked example of the 2009 version. B and
C are the examples of the 2009 text, inputs and printed answers from memory; the others are our
own arithmetic with the printed formula.
"""

import pytest

from drysward.quantities import convert
from drysward.results.allowance import estimated_water_use, landscape_allowance

ETO_MM = convert(51.1, "in", "mm")
EXACT = 1e-9
# Plant factor, ft2.
HYDROZONES = [(0.8, 7_000), (0.7, 10_000), (0.5, 16_000), (0.3, 7_000), (0.2, 10_000)]


def m2(ft2):
    return convert(ft2, "ft2", "m^2")


def gallons(m3):
    return m3 / convert(1, "gal", "m^3")


@pytest.mark.parametrize(
    "factor, landscape_ft2, special_ft2, expected, tolerance",
    [
        pytest.param(0.7, 50_000, 0, 1_108_870, EXACT, id="A"),
        pytest.param(0.7, 50_000, 2_000, 1_127_808, 1e-3, id="B"),
        pytest.param(0.45, 50_000, 0, 712_845, EXACT, id="E"),
        pytest.param(0.45, 80_000, 80_000, 2_534_560, EXACT, id="F, all recreational turf"),
    ],
)
def test_allowance(factor, landscape_ft2, special_ft2, expected, tolerance):
    found = landscape_allowance(ETO_MM, factor, m2(landscape_ft2), m2(special_ft2))
    assert gallons(found) == pytest.approx(expected, rel=tolerance)


def test_factor_does_not_matter_where_all_is_special():
    whole = m2(80_000)
    assert landscape_allowance(ETO_MM, 0.45, whole, whole) == pytest.approx(
        landscape_allowance(ETO_MM, 0.7, whole, whole), rel=EXACT
    )


@pytest.mark.parametrize(
    "zones, special_ft2, expected",
    [
        pytest.param(HYDROZONES, 0, 1_102_116, id="C"),
        pytest.param([(0.47, 50_000)], 2_000, 1_111_994, id="D, 23,500 in all"),
    ],
)
def test_estimated_use(zones, special_ft2, expected):
    zones_m2 = [(factor, m2(area)) for factor, area in zones]
    found = estimated_water_use(ETO_MM, zones_m2, efficiency=0.71, special_m2=m2(special_ft2))
    assert gallons(found) == pytest.approx(expected, rel=1e-3)


def test_a_quarter_of_the_rain_may_be_counted():
    # Own arithmetic: 10 in of rain takes 2.5 in off ETo.
    wet = landscape_allowance(ETO_MM, 0.45, 1000.0, rain_mm=254.0)
    assert wet == pytest.approx(landscape_allowance(ETO_MM - 63.5, 0.45, 1000.0), rel=EXACT)
    assert landscape_allowance(100.0, 0.45, 1000.0, rain_mm=2000.0) == 0.0


def test_special_landscape_is_part_of_the_whole():
    with pytest.raises(ValueError, match="special landscape"):
        landscape_allowance(ETO_MM, 0.45, 1000.0, 1001.0)
