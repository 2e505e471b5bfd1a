"""Surface evaporation and root-zone stress against the worked examples of FAO-56.

Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56, examples 31, 35,
36 and 37, and the note to Table 22. The account of the surface layer beside the day step's own Kr
and Kc max is the paper's: ``evaporation_coefficient`` (Eq 71) and ``surface_depletion_mm`` (Eq 77).
"""

import numpy as np
import pytest

from drysward.physics.evaporation import (
    evaporation_reduction,
    height_term,
    kc_max,
    total_evaporable_mm,
)
from drysward.physics.pedotransfer import Hydraulics
from drysward.physics.thresholds import depletion_fraction
from drysward.physics.transpiration import stress_coefficient
from drysward.site.profile import native_profile


def evaporation_coefficient(kr, most, kcb, few):
    return min(kr * (most - kcb), few * most)


def surface_depletion_mm(before, rain, irrigation, evaporation, few, wetted, tew):
    """Water comes early in the day; what the layer cannot hold passes down before evaporation."""
    wet = max(before - rain - irrigation / wetted, 0.0)
    return min(wet + evaporation / few, tew)


def available_mm(field_capacity, wilting_point, depth_m):
    """Available water of a native profile of the program, as deep as the roots."""
    soil = Hydraulics(wilting_point, field_capacity, 0.5, 10.0, 0.2, 1.3)
    held, left, _ = native_profile(soil, 1000.0 * depth_m).above(1000.0 * depth_m)
    return float(held - left)


def test_example_31_bare_loam_after_heavy_rain():
    # Day: Kr, Ke, E mm, De at the end.
    printed = [
        (1, 1.05, 4.73, 4.73),
        (1, 1.05, 4.73, 9.45),
        (0.96, 1.01, 4.53, 13.98),
        (0.55, 0.57, 2.59, 16.57),
        (0.31, 0.33, 1.47, 18.04),
        (0.18, 0.19, 0.84, 18.88),
        (0.10, 0.11, 0.48, 19.36),
        (0.06, 0.06, 0.27, 19.64),
        (0.03, 0.03, 0.16, 19.79),
        (0.02, 0.02, 0.09, 19.88),
    ]
    printed_etc = [5.4, 5.4, 5.2, 3.3, 2.1, 1.5, 1.2, 0.9, 0.8, 0.8]
    eto, kcb, most, few, tew, rew = 4.5, 0.15, 1.20, 1.0, 20.0, 9.0
    depletion = 0.0
    for (kr_printed, ke_printed, e_printed, de_printed), etc_printed in zip(
        printed, printed_etc, strict=True
    ):
        kr = evaporation_reduction(depletion, tew, 1.0 / (tew - rew))
        ke = evaporation_coefficient(kr, most, kcb, few)
        depletion = surface_depletion_mm(depletion, 0.0, 0.0, ke * eto, few, 1.0, tew)
        assert kr == pytest.approx(kr_printed, abs=0.005)
        assert ke == pytest.approx(ke_printed, abs=0.006)
        assert ke * eto == pytest.approx(e_printed, abs=0.01)
        assert depletion == pytest.approx(de_printed, abs=0.01)
        assert (kcb + ke) * eto == pytest.approx(etc_printed, abs=0.06)


def test_example_35_dual_coefficients_for_ten_days():
    eto = [4.5, 5.0, 3.9, 4.2, 4.8, 2.7, 5.8, 5.1, 4.7, 5.2]
    kcb = np.linspace(0.30, 0.40, 10)
    cover = 1 - np.linspace(0.92, 0.86, 10)
    # few, De at the start, Kr, Ke, De at the end, ETc.
    printed = [
        (0.80, 0, 1.00, 0.91, 5, 5.5),
        (0.80, 5, 1.00, 0.90, 11, 6.1),
        (0.80, 11, 0.70, 0.62, 14, 4.0),
        (0.80, 14, 0.40, 0.35, 16, 2.9),
        (0.80, 16, 0.20, 0.18, 17, 2.5),
        (0.89, 11, 0.75, 0.64, 13, 2.7),
        (0.88, 13, 0.53, 0.45, 16, 4.7),
        (0.87, 16, 0.20, 0.17, 17, 2.8),
        (0.87, 17, 0.09, 0.08, 18, 2.2),
        (0.86, 18, 0.05, 0.04, 18, 2.3),
    ]
    assert total_evaporable_mm(23.0, 10.0) == pytest.approx(18, abs=0.5)
    tew, rew = 18.0, 8.0
    most = [kc_max(1.6, 35.0, height_term(0.30), today, 1.2) for today in kcb]
    assert most == pytest.approx([1.21] * 10, abs=0.005)

    depletion, wetted, total = 18.0, 0.8, 0.0
    for day, (few_p, start_p, kr_p, ke_p, end_p, etc_p) in enumerate(printed):
        irrigation = 40.0 if day == 0 else 0.0
        rain = 6.0 if day == 5 else 0.0
        if rain:
            wetted = 1.0
        few = min(1 - cover[day], wetted)
        start = surface_depletion_mm(depletion, rain, irrigation, 0.0, few, wetted, tew)
        kr = evaporation_reduction(start, tew, 1.0 / (tew - rew))
        ke = evaporation_coefficient(kr, most[day], kcb[day], few)
        depletion = surface_depletion_mm(
            depletion, rain, irrigation, ke * eto[day], few, wetted, tew
        )
        etc = (kcb[day] + ke) * eto[day]
        total += etc
        assert few == pytest.approx(few_p, abs=0.006)
        assert start == pytest.approx(start_p, abs=1)
        assert kr == pytest.approx(kr_p, abs=0.05)
        assert ke == pytest.approx(ke_p, abs=0.05)
        assert depletion == pytest.approx(end_p, abs=1)
        # Day 3: the Kc printed, 1.04, is not the Kcb + Ke printed beside it, 0.94.
        assert etc == pytest.approx(3.77 if day == 2 else etc_p, abs=0.02 if day == 2 else 0.3)
    assert total == pytest.approx(35.7, abs=0.3)


class TestUpperLimit:
    def test_standard_climate(self):
        # At 2 m/s and 45% the climate term of Eq 72 is nil.
        assert kc_max(2.0, 45.0, height_term(0.05), 0.85, 1.2) == pytest.approx(1.2)
        assert kc_max(2.0, 45.0, height_term(0.05), 0.85, 1.1) == pytest.approx(1.1)

    def test_never_closer_than_0_05_to_kcb(self):
        assert kc_max(2.0, 45.0, height_term(0.05), 1.19, 1.2) == pytest.approx(1.24)


# Example 36: TAW and RAW, mm, of three crops (Zr m, p) on three soils (field capacity, wilting).
@pytest.mark.parametrize(
    "root_m, p, printed",
    [
        (0.4, 0.30, ((36, 11), (68, 20), (48, 14))),
        (0.8, 0.40, ((72, 29), (136, 54), (96, 38))),
        (1.2, 0.55, ((108, 59), (204, 112), (144, 79))),
    ],
)
def test_example_36_available_water(root_m, p, printed):
    soils = ((0.15, 0.06), (0.32, 0.15), (0.35, 0.23))
    for (fc, wp), (taw_printed, raw_printed) in zip(soils, printed, strict=True):
        taw = available_mm(fc, wp, root_m)
        assert taw == pytest.approx(taw_printed, abs=0.5)
        # Readily available is what roots take up before Ks falls.
        depletion = np.linspace(0.0, taw, 4001)
        ks = [stress_coefficient(used / taw, 1.0 / (1.0 - p)) for used in depletion]
        readily = depletion[np.array(ks) >= 1.0 - 1e-12].max()
        assert readily == pytest.approx(raw_printed, abs=0.5)


def test_example_37_dry_down():
    # Dr at the start, Ks, ETc adj, Dr at the end.
    printed = [
        (55.0, 1.00, 6.0, 61.0),
        (61.0, 1.00, 6.0, 67.0),
        (67.0, 0.97, 5.8, 72.8),
        (72.8, 0.91, 5.4, 78.3),
        (78.3, 0.85, 5.1, 83.4),
        (83.4, 0.80, 4.8, 88.2),
        (88.2, 0.75, 4.5, 92.6),
        (92.6, 0.70, 4.2, 96.9),
        (96.9, 0.66, 3.9, 100.8),
        (100.8, 0.62, 3.7, 104.5),
    ]
    taw = available_mm(0.32, 0.12, 0.8)
    assert taw == pytest.approx(160)
    assert stress_coefficient(64 / taw, 1 / 0.6) == pytest.approx(1.0)
    assert stress_coefficient(65 / taw, 1 / 0.6) < 1.0
    depletion, etc = 55.0, 1.2 * 5.0
    for start_printed, ks_printed, et_printed, end_printed in printed:
        assert depletion == pytest.approx(start_printed, abs=0.06)
        ks = stress_coefficient(depletion / taw, 1 / 0.6)  # p is held at 0.40 in the example
        depletion += ks * etc
        assert ks == pytest.approx(ks_printed, abs=0.006)
        assert ks * etc == pytest.approx(et_printed, abs=0.06)
        assert depletion == pytest.approx(end_printed, abs=0.06)
    # Once stressed, what is left shrinks by 1 - ETc/((1 - p) TAW) = 0.9375 a day.
    assert taw - depletion == pytest.approx((160 - 67) * 0.9375**8)


@pytest.mark.parametrize(
    "p_table, etc_mm, expected",
    [
        (0.40, 5, 0.40),
        (0.40, 3, 0.48),
        (0.40, 8, 0.28),
        (0.50, 2, 0.62),
        (0.50, 15, 0.10),  # floor
        (0.70, 0, 0.80),  # ceiling
    ],
)
def test_depletion_fraction_for_demand(p_table, etc_mm, expected):
    assert depletion_fraction(p_table, etc_mm) == pytest.approx(expected)
