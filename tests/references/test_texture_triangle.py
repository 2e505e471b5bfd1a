"""USDA texture triangle.

Sources: USDA Soil Survey Manual with the class limits of Benham & Ahrens 2009 (sand, loamy sand,
first sandy loam rule); other limits and the class centres of Saxton & Rawls 2006, Table 3, from
memory.
"""

import pytest

from drysward.faults import FaultyInput
from drysward.physics.texture import texture_class

# Sand %, clay %: Saxton & Rawls 2006, Table 3 (from memory).
CENTRES = {
    "sand": (88, 5),
    "loamy_sand": (80, 5),
    "sandy_loam": (65, 10),
    "loam": (40, 20),
    "silt_loam": (20, 15),
    "silt": (10, 5),
    "sandy_clay_loam": (60, 25),
    "clay_loam": (30, 35),
    "silty_clay_loam": (10, 35),
    "silty_clay": (10, 45),
    "sandy_clay": (50, 40),
    "clay": (25, 50),
}


def _classes_by_rule(sand: float, clay: float) -> list[str]:
    """Every class whose rule, as the manual states it on its own, takes this soil in."""
    silt = 100 - sand - clay
    rules = {
        "sand": silt + 1.5 * clay < 15,
        "loamy_sand": silt + 1.5 * clay >= 15 and silt + 2 * clay < 30,
        "sandy_loam": (7 <= clay < 20 and sand > 52 and silt + 2 * clay >= 30)
        or (clay < 7 and silt < 50 and silt + 2 * clay >= 30),
        "loam": 7 <= clay < 27 and 28 <= silt < 50 and sand <= 52,
        "silt_loam": (silt >= 50 and 12 <= clay < 27) or (50 <= silt < 80 and clay < 12),
        "silt": silt >= 80 and clay < 12,
        "sandy_clay_loam": 20 <= clay < 35 and silt < 28 and sand > 45,
        "clay_loam": 27 <= clay < 40 and 20 < sand <= 45,
        "silty_clay_loam": 27 <= clay < 40 and sand <= 20,
        "sandy_clay": clay >= 35 and sand > 45,
        "silty_clay": clay >= 40 and silt >= 40,
        "clay": clay >= 40 and sand <= 45 and silt < 40,
    }
    return [name for name, holds in rules.items() if holds]


@pytest.mark.parametrize("name, soil", CENTRES.items())
def test_class_centres(name, soil):
    assert texture_class(*soil) == name


def test_every_whole_percent_against_the_rules():
    for sand in range(101):
        for clay in range(101 - sand):
            assert [texture_class(sand, clay)] == _classes_by_rule(sand, clay), (sand, clay)


@pytest.mark.parametrize("soil", [(-1, 20), (50, 101), (float("nan"), 20), (60, 41)])
def test_impossible_soils_are_refused(soil):
    with pytest.raises(FaultyInput, match=r"sand_pct|clay_pct"):
        texture_class(*soil)


def test_both_faults_are_told():
    with pytest.raises(FaultyInput) as told:
        texture_class(-1, 120)
    assert [fault.where for fault in told.value.faults] == ["sand_pct", "clay_pct"]
