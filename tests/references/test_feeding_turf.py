"""Nitrogen in turf: what it takes up and what its status does.

Sources stand beside each test. "From memory" marks figures recalled and not read again.
"""

from __future__ import annotations

import pytest

from drysward.catalog import load_catalog
from drysward.physics.growth import growth_potential
from drysward.physics.turf_nitrogen import (
    browning_factor,
    growth_by_status,
    recovery_factor,
    room,
    root_depth_factor,
    status,
    uptake,
    water_use_factor,
    wear_factor,
)
from drysward.scenario.feeding_tables import of_species

CATALOG = load_catalog()
TURF = CATALOG.get("feeding", "turf")
LB = 48.8  # kg/ha in a lb/1000 ft2


def most_clippings(species: str) -> float:
    """On the best day of turf with enough nitrogen (kg/ha)."""
    return of_species("nitrogen", species, CATALOG)["clippings_most_kg_ha_d"]


@pytest.mark.parametrize(
    ("warm", "optimum", "spread", "printed"),
    [
        (False, 20.0, 5.5, [0.0013, 0.0243, 0.1915, 0.6615, 1.0, 0.6615, 0.1915, 0.0243]),
        (True, 31.0, 7.0, [0.0001, 0.0010, 0.0111, 0.0734, 0.2909, 0.6926, 0.9898]),
    ],
)
def test_growth_by_temperature(
    warm: bool, optimum: float, spread: float, printed: list[float]
) -> None:
    """Gelernter & Stowell 2005 at 0, 5, ... 35 C; the spreads are from memory. Warm-season turf is
    held at 1 above its optimum here, where the bell alone gives 0.8494 at 35 C.
    """
    for step, expected in enumerate(printed):
        found = growth_potential(5.0 * step, optimum, spread, warm)
        assert found == pytest.approx(expected, abs=0.00005)
    bell = growth_potential(35.0, 31.0, 7.0, False)
    assert bell == pytest.approx(0.8494, abs=0.00005)
    assert growth_potential(35.0, 31.0, 7.0, True) == 1.0


@pytest.mark.parametrize(
    ("share", "expected"), [(0.015, 0.0), (0.02, 0.0), (0.02875, 0.5), (0.0375, 1.0), (0.05, 1.714)]
)
def test_status_by_tissue(share: float, expected: float) -> None:
    """Least 2.0%, enough at 3.5 to 4% (from memory)."""
    found = status(share, TURF["n_least"], 1.0 / (TURF["n_enough"] - TURF["n_least"]))
    assert found == pytest.approx(expected, abs=0.001)
    assert growth_by_status(found) == pytest.approx(min(expected, 1.0), abs=0.001)


def test_sufficient_tissue() -> None:
    """University of Georgia: 2.2 to 4.0% is sufficient. Turgeon et al. 1979: bluegrass 3.52 to
    5.23%, ryegrass 4.21 to 4.83% (crude protein over 6.25), so lush turf is within reach.
    """
    assert TURF["n_least"] <= 0.022 <= TURF["n_enough"] <= 0.040
    assert 0.0483 <= TURF["n_most"] <= TURF.parameter("n_most").high
    assert TURF.parameter("n_most").high == pytest.approx(0.0523, abs=0.004)


def test_water_use_spans_two_trials() -> None:
    """No difference in irrigation, Blankenship 2011; about 20% more use, Erickson & Kenworthy 2011;
    about 13%, Feldhake et al. 1983 (from memory).
    """
    effect = TURF.parameter("water_use_effect")
    least, likely, most = (
        water_use_factor(1.0, a) / water_use_factor(0.0, a) - 1.0
        for a in (effect.low, effect.value, effect.high)
    )
    assert least == 0.0
    assert least < likely < 0.13 < most
    assert most == pytest.approx(0.20, abs=0.05)
    assert water_use_factor(0.5, effect.high) == 1.0
    assert water_use_factor(1.6, 0.2) == water_use_factor(1.0, 0.2)


def test_roots_are_shorter_under_lush_turf() -> None:
    """Schlossberg & Karnok 2001: more roots to a shoot at 195 than at 586 kg/ha. 0.85 at luxury is
    an estimate.
    """
    loss = TURF["lush_root_loss"]
    assert root_depth_factor(0.3, loss) == root_depth_factor(0.6, loss) == 1.0
    assert root_depth_factor(0.95, loss) == pytest.approx(0.925)
    assert root_depth_factor(1.3, loss) == root_depth_factor(1.7, loss) == pytest.approx(0.85)


def test_wear_is_least_in_the_middle() -> None:
    """Ryegrass under football wear: best at 225 to 290 kg/ha a year, less beyond, Canaway 1984
    (from memory). Between 25 and 75 kg/ha a month more is better, Bilgili & Acikgoz 2007.
    """
    wear = [wear_factor(0.25 * s, TURF["wear_best_status"], TURF["wear_rise"]) for s in range(7)]
    assert wear[3] == min(wear) == 1.0
    assert wear[:4] == sorted(wear[:4], reverse=True)
    assert wear[3:] == sorted(wear[3:])


def test_fed_turf_recovers_faster_and_hungry_turf_browns_sooner() -> None:
    """Repair follows growth (from memory); hungry turf loses quality faster once dry, Feldhake 1981
    as cited later.
    """
    usual = TURF["usual_status"]
    assert recovery_factor(usual, 1.0 / usual) == 1.0
    assert recovery_factor(0.35, 1.0 / usual) == pytest.approx(0.5)
    assert recovery_factor(1.4, 1.0 / usual) == pytest.approx(1.0 / usual)
    hungry = TURF["hungry_browning"]
    assert browning_factor(0.5, hungry) == browning_factor(1.2, hungry) == 1.0
    assert browning_factor(0.25, hungry) == pytest.approx(1.0 + hungry / 2)
    assert browning_factor(0.0, hungry) == pytest.approx(1.0 + hungry)


@pytest.mark.parametrize("share_before", [0.023, 0.026, 0.030])
def test_a_dose_leaves_the_soil_in_2_to_5_days(share_before: float) -> None:
    """Bowman et al. 1989 (from memory): 49 kg/ha under dense growing turf; 90% gone is ours, and so
    is what microbes take beside the turf.
    """
    soil, living, days = 49.0, TURF["living_kg_ha"], 0
    turf = share_before * living
    while soil > 4.9:
        free = room(turf / living, TURF["n_most"], 1.0 / (TURF["n_most"] - TURF["n_least"]))
        taken = uptake(soil, TURF["uptake_per_d"], 1.0, free)
        turf += taken
        soil -= taken + CATALOG.get("feeding", "soil")["immobilized_per_d"] * soil
        days += 1
    assert 2 <= days <= 5


def test_full_turf_and_cold_or_dry_turf_take_up_nothing() -> None:
    assert room(0.05, 0.05, 1.0 / 0.03) == room(0.06, 0.05, 1.0 / 0.03) == 0.0
    assert room(0.015, 0.05, 1.0 / 0.03) == 1.0
    assert room(0.035, 0.05, 1.0 / 0.03) == 1.0
    assert room(0.044, 0.05, 1.0 / 0.03) == pytest.approx(0.5)
    assert uptake(10.0, 0.0, 1.0, 1.0) == uptake(10.0, 0.6, 0.0, 1.0) == 0.0


@pytest.mark.parametrize(
    "species", ["kentucky_bluegrass", "perennial_ryegrass", "tall_fescue", "bermudagrass"]
)
def test_nitrogen_that_clippings_take(species: str) -> None:
    """Lawns grow 10 to 30 kg/ha of clippings a day (University of Minnesota); derived at 4%: 0.4 to
    1.2 kg N/ha a day. Here at the usual status; a growth potential of 0.6 is ours.
    """
    usual = TURF["usual_status"]
    most = most_clippings(species)
    clippings = 0.6 * most * growth_by_status(usual)
    share = TURF["n_least"] + usual * (TURF["n_enough"] - TURF["n_least"])
    assert 10.0 <= clippings <= 30.0
    assert 0.4 <= clippings * share * TURF["clippings_n_ratio"] <= 1.2


def test_clippings_of_a_season() -> None:
    """Adams 1980: 1670 to 6260 kg/ha of sports ryegrass in 22 weeks, by nitrogen, from which its
    number was derived; a status of 0.25 in the least fed and a growth potential of 0.9 are ours.
    Jiang & Hull 1998: 3680 kg/ha of ryegrass and 5152 of tall fescue at equal feed. The amounts are
    case 20 of the calibration.
    """
    ryegrass = most_clippings("perennial_ryegrass")
    assert 0.25 * 0.9 * ryegrass * 154 == pytest.approx(1670.0, rel=0.1)
    assert 0.9 * ryegrass * 154 == pytest.approx(6260.0, rel=0.02)
    assert most_clippings("tall_fescue") / ryegrass == pytest.approx(5152.0 / 3680.0, rel=0.02)


DERIVED = {
    "kentucky_bluegrass": ("fine_fescue", "annual_bluegrass"),
    "bermudagrass": ("zoysiagrass", "buffalograss", "st_augustinegrass", "centipedegrass",
                     "bahiagrass", "seashore_paspalum"),
}  # fmt: skip


@pytest.mark.parametrize(
    "reference, species", [(one, other) for one, others in DERIVED.items() for other in others]
)
def test_clippings_that_none_published_follow_the_yearly_need(reference: str, species: str) -> None:
    """To two figures, with a range of 35% on either side (our own rule)."""
    middles = [
        (entry["need_low_kg_ha"] + entry["need_high_kg_ha"]) / 2.0
        for entry in (of_species("nitrogen", key, CATALOG) for key in (species, reference))
    ]
    most = of_species("nitrogen", species, CATALOG).parameter("clippings_most_kg_ha_d")
    derived = most_clippings(reference) * middles[0] / middles[1]
    assert most.value == pytest.approx(derived, abs=0.5)
    assert [most.low, most.high] == pytest.approx([0.65 * most.value, 1.35 * most.value], abs=0.7)
    assert most.grade == "estimate"


@pytest.mark.parametrize(
    ("species", "low", "high"),
    [
        ("kentucky_bluegrass", 3, 4),
        ("perennial_ryegrass", 2, 4),
        ("tall_fescue", 2, 4),
        ("fine_fescue", 1, 3),
        ("creeping_bentgrass", 2, 6),
        ("bermudagrass", 3, 5),
        ("zoysiagrass", 2, 4),
        ("st_augustinegrass", 2, 4),
        ("centipedegrass", 1, 3),
        ("buffalograss", 1, 2),
    ],
)
def test_yearly_need_by_species(species: str, low: float, high: float) -> None:
    """lb/1000 ft2: Landschoot; University of Illinois 1995; McAfee, of hybrid bermudagrass (LSU
    AgCenter: 5 to 7 for sports turf on native soil).
    """
    need = of_species("nitrogen", species, CATALOG)
    assert need["need_low_kg_ha"] == pytest.approx(LB * low, abs=1.0)
    assert need["need_high_kg_ha"] == pytest.approx(LB * high, abs=1.0)


def test_every_species_has_its_numbers() -> None:
    for key in CATALOG.entries["species"]:
        need = of_species("nitrogen", key, CATALOG)
        assert need["need_low_kg_ha"] < need["need_high_kg_ha"]
        assert CATALOG.get("feeding", f"salt_{key}")["salt_slope"] > 0.0
        assert need["clippings_most_kg_ha_d"] > 0.0
