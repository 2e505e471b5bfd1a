"""Salt of irrigation water: FAO-29, Ayers & Westcot 1985 (from memory; ratios worked anew)."""

from __future__ import annotations

import pytest

from drysward.catalog import load_catalog
from drysward.physics.salinity import (
    applied_for,
    leaching_requirement,
    soil_salt_ratio,
    yield_percent,
)

CATALOG = load_catalog()


@pytest.mark.parametrize(
    ("ecw", "ece", "requirement", "water"),
    [
        (1.0, 6.9, 0.0299, 103.08),
        (2.0, 6.9, 0.0615, 106.56),
        (1.5, 3.9, 0.0833, 109.09),
        (1.5, 3.0, 0.1111, 112.50),
    ],
)
def test_water_for_100_mm_of_et(ecw: float, ece: float, requirement: float, water: float) -> None:
    found = leaching_requirement(ecw, ece)
    assert found == pytest.approx(requirement, abs=0.00005)
    assert applied_for(100.0, found) == pytest.approx(water, abs=0.005)


def test_water_too_salty_for_any_amount() -> None:
    assert leaching_requirement(0.0, 3.0) == 0.0
    assert leaching_requirement(10.0, 3.0) == leaching_requirement(20.0, 3.0) == 1.0
    assert applied_for(100.0, 1.0) > 1e9


@pytest.mark.parametrize(
    ("leaching", "worked", "printed"),
    [
        (0.05, 3.25, 3.2),
        (0.10, 2.05, 2.1),
        (0.15, 1.59, 1.6),
        (0.20, 1.33, 1.3),
        (0.30, 1.04, 1.0),
        (0.40, 0.87, 0.9),
        (0.50, 0.76, 0.8),
    ],
)
def test_salt_of_the_soil_by_leaching(leaching: float, worked: float, printed: float) -> None:
    """Uptake of 40, 30, 20 and 10%. FAO-29 rounds its table a little differently."""
    found = soil_salt_ratio(leaching)
    assert found == pytest.approx(worked, abs=0.005)
    assert found == pytest.approx(printed, abs=0.06)


@pytest.mark.parametrize(
    ("species", "threshold", "slope", "ece", "printed"),
    [
        ("bermudagrass", 6.9, 6.4, 8.0, 93.0),
        ("perennial_ryegrass", 5.6, 7.6, 10.0, 66.6),
        ("tall_fescue", 3.9, 5.3, 6.0, 88.9),
    ],
)
def test_growth_in_salty_soil(
    species: str, threshold: float, slope: float, ece: float, printed: float
) -> None:
    """Maas & Hoffman 1977 (from memory)."""
    entry = CATALOG.get("feeding", f"salt_{species}")
    assert (entry["salt_threshold_ds_m"], entry["salt_slope"]) == (threshold, slope)
    assert yield_percent(ece, threshold, slope) == pytest.approx(printed, abs=0.05)
    assert yield_percent(threshold, threshold, slope) == 100.0
    assert yield_percent(0.0, threshold, slope) == 100.0
    assert yield_percent(60.0, threshold, slope) == 0.0


@pytest.mark.parametrize(
    ("species", "least", "most"),
    [
        ("annual_bluegrass", 0.0, 3.0),
        ("kentucky_bluegrass", 3.0, 6.0),
        ("creeping_bentgrass", 3.0, 6.0),
        ("zoysiagrass", 10.0, 60.0),
        ("st_augustinegrass", 10.0, 60.0),
        ("seashore_paspalum", 10.0, 60.0),
    ],
)
def test_ratings(species: str, least: float, most: float) -> None:
    """Classes of a review (PMC3814051), dS/m. It has ryegrass under 3 and tall fescue at 6 to 10,
    unlike FAO-29, whose numbers are used.
    """
    assert least <= CATALOG.get("feeding", f"salt_{species}")["salt_threshold_ds_m"] <= most
