"""Wear and hardness of bermudagrass by soil moisture.

Dickson and others 2018, Crop Science 58:1416 (figures as told in the abstract and SportsTurf,
August 2018): cover loss on silt loam at 0.30-0.37 m3/m3 four times as fast as at 0.06-0.21 and
three times as fast as at 0.22-0.29; on sand no effect of moisture class; hardness rises as
water falls on both. Tolerance of the ratios 30%, as they are printed as whole numbers.
"""

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.wear import by_moisture, cover_left
from drysward.site.play import hardness_line

CATALOG = load_catalog()
SILT_LOAM, SAND = (CATALOG.get("play", f"wear_{kind}") for kind in ("native", "sand"))
RATE = 1e-6  # so small that shares of cover are rates


def speed(entry, moisture):
    factors = (1.0, entry["wear_middle_factor"], entry["wear_wet_factor"])
    lost = [1.0 - cover_left(RATE, factor, 1.0) for factor in factors]
    return by_moisture(moisture, entry["wear_middle_from"], entry["wear_wet_from"], *lost)


@pytest.mark.parametrize("wet", [0.30, 0.37])
@pytest.mark.parametrize("dry", [0.06, 0.21])
def test_wet_silt_loam_wears_four_times_as_fast_as_dry(wet, dry):
    assert speed(SILT_LOAM, wet) / speed(SILT_LOAM, dry) == pytest.approx(4.0, rel=0.3)


@pytest.mark.parametrize("wet", [0.30, 0.37])
@pytest.mark.parametrize("middle", [0.22, 0.29])
def test_wet_silt_loam_wears_three_times_as_fast_as_moist(wet, middle):
    assert speed(SILT_LOAM, wet) / speed(SILT_LOAM, middle) == pytest.approx(3.0, rel=0.3)


def test_moisture_makes_no_difference_to_wear_on_sand():
    assert len({speed(SAND, moisture) for moisture in (0.05, 0.12, 0.19, 0.30)}) == 1


@pytest.mark.parametrize("surface, driest, wettest", [("native", 0.06, 0.37), ("sand", 0.05, 0.30)])
def test_hardness_rises_as_water_falls(surface, driest, wettest, hardness):
    line = hardness_line(CATALOG.get("play", f"hardness_{surface}"))
    g = hardness(np.linspace(driest, wettest, 20), line)
    assert (np.diff(g) < 0.0).all()
