"""The parameter files against the publications they rest on, figures as printed.

Water use of the thirteen species rests on publications. What browns, sleeps, dies and returns is
fitted to published cases, which ``tests/calibration`` holds.
"""

from __future__ import annotations

import math

import pytest

from drysward.catalog import load_catalog

CATALOG = load_catalog()
SPECIES = CATALOG.entries["species"]

# Kc of well-watered summer turf against short-grass reference ET (low-high).
TABLE = {
    "kentucky_bluegrass": (0.90, (0.80, 1.25)),
    "perennial_ryegrass": (0.90, (0.80, 1.25)),
    "tall_fescue": (0.90, (0.80, 1.0)),
    "fine_fescue": (0.85, (0.75, 0.95)),
    "creeping_bentgrass": (0.90, (0.80, 1.0)),
    "annual_bluegrass": (0.90, None),
    "bermudagrass": (0.75, (0.65, 0.85)),
    "zoysiagrass": (0.75, (0.65, 0.85)),
    "buffalograss": (0.60, (0.45, 0.70)),
    "st_augustinegrass": (0.75, (0.65, 0.85)),
    "centipedegrass": (0.70, None),
    "bahiagrass": (0.82, (0.70, 0.95)),
    "seashore_paspalum": (0.85, (0.75, 0.95)),
}


def test_thirteen_species() -> None:
    assert SPECIES.keys() == TABLE.keys()


@pytest.mark.parametrize("key", TABLE)
def test_water_use(key: str) -> None:
    kc, kc_range = TABLE[key]
    grass = SPECIES[key]
    assert grass["kc_summer"] == kc
    if kc_range:
        assert (grass.parameter("kc_summer").low, grass.parameter("kc_summer").high) == kc_range


def test_no_death_median_claims_to_be_published() -> None:
    """No lethal dose in days has been published for any turf species."""
    for grass in SPECIES.values():
        assert grass.parameter("median_death_25c").grade == "estimate"
        assert grass.parameter("median_death_35c").grade == "estimate"


@pytest.mark.parametrize("key", ["kentucky_bluegrass", "perennial_ryegrass"])
def test_massachusetts_sports_height_lies_in_range(key: str) -> None:
    """Poro et al. 2017, Crop Science: 1.15 to 1.25 at 31 and 62 mm, July and August."""
    kc = SPECIES[key].parameter("kc_summer")
    assert kc.low <= 1.15 <= 1.25 <= kc.high


def test_massachusetts_bentgrass_lies_in_range() -> None:
    """Poro et al. 2017, Crop Science: 0.90 to 1.00 at 3 to 9 mm."""
    kc = SPECIES["creeping_bentgrass"].parameter("kc_summer")
    assert kc.low <= 0.90 <= 1.00 <= kc.high


def test_tucson_bermudagrass_lies_in_range() -> None:
    """Brown et al. 2001, Agronomy Journal: 0.78 in June to 0.83 in September."""
    kc = SPECIES["bermudagrass"].parameter("kc_summer")
    assert kc.low <= 0.78 <= 0.83 <= kc.high


def test_bermudagrass_against_paspalum() -> None:
    """Nolan et al. 2006, Tucson: 429 mm against 495 mm in 56 days, printed as 87%."""
    ratio = SPECIES["bermudagrass"]["kc_summer"] / SPECIES["seashore_paspalum"]["kc_summer"]
    assert ratio == pytest.approx(0.87, abs=0.02)  # our own coefficients have two digits


def test_fao56_mid_season_coefficients_lie_in_range() -> None:
    """FAO-56 Table 12: Kc mid 0.95 cool season, 0.85 warm season."""
    for key, kc in (("kentucky_bluegrass", 0.95), ("tall_fescue", 0.95), ("bermudagrass", 0.85)):
        parameter = SPECIES[key].parameter("kc_summer")
        assert parameter.low <= kc <= parameter.high


def test_fao56_basal_difference() -> None:
    """FAO-56 Tables 12 and 17: 0.95 against 0.90 and 0.85 against 0.80."""
    difference = CATALOG.get("turf_processes", "all")["basal_difference"]
    assert difference == pytest.approx(0.95 - 0.90)
    assert difference == pytest.approx(0.85 - 0.80)


@pytest.mark.parametrize(
    ("season", "printed"),
    [
        ("cool", ".61 .64 .75 1.04 .95 .88 .94 .86 .74 .75 .69 .60"),
        ("warm", ".61 .54 .76 .72 .79 .68 .71 .71 .62 .54 .58 .55"),
    ],
)
def test_california_monthly_coefficients(season: str, printed: str) -> None:
    """Meyer et al. 1985, University of California: month over the June to August mean, capped."""
    row = [float(word) for word in printed.split()]
    summer = (row[5] + row[6] + row[7]) / 3
    entry = CATALOG.get("kc_season", season)
    for month, kc in enumerate(row, start=1):
        assert entry[f"m{month:02d}"] == pytest.approx(min(1.0, kc / summer), abs=0.0005)


@pytest.mark.parametrize(
    ("soil", "low", "high"),
    [
        ("sand", 2, 7),
        ("loamy_sand", 4, 8),
        ("sandy_loam", 6, 10),
        ("loam", 8, 10),
        ("silt_loam", 8, 11),
        ("silt", 8, 11),
        ("silty_clay_loam", 8, 11),
        ("silty_clay", 8, 12),
        ("clay", 8, 12),
    ],
)
def test_readily_evaporable_water(soil: str, low: float, high: float) -> None:
    """FAO-56 Table 19, REW in mm."""
    rew = CATALOG.get("soils", soil).parameter("rew")
    assert (rew.low, rew.high) == (low, high)
    assert rew.value == (low + high) / 2


@pytest.mark.parametrize(
    ("soil", "sand", "clay"),
    [
        ("sand", 88, 5),
        ("loamy_sand", 80, 5),
        ("sandy_loam", 65, 10),
        ("loam", 40, 20),
        ("silt_loam", 20, 15),
        ("silt", 10, 5),
        ("sandy_clay_loam", 60, 25),
        ("clay_loam", 30, 35),
        ("silty_clay_loam", 10, 35),
        ("silty_clay", 10, 45),
        ("sandy_clay", 50, 40),
        ("clay", 25, 50),
    ],
)
def test_texture_class_centers(soil: str, sand: float, clay: float) -> None:
    """Saxton & Rawls 2006, Table 3 (from memory)."""
    entry = CATALOG.get("soils", soil)
    assert (entry["sand"], entry["clay"], entry["organic_matter"]) == (sand, clay, 2.5)


@pytest.mark.parametrize(
    ("cover", "numbers"),
    [("poor", (68, 79, 86, 89)), ("fair", (49, 69, 79, 84)), ("good", (39, 61, 74, 80))],
)
def test_open_space_curve_numbers(cover: str, numbers: tuple[int, ...]) -> None:
    """TR-55 Table 2-2a, open space: lawns, parks, golf courses, cemeteries."""
    entry = CATALOG.get("curve_numbers", cover)
    assert tuple(entry[group] for group in "abcd") == numbers


def sand_water_content(suction_cm: float) -> float:
    """Water content of the rootzone sand by volume (van Genuchten 1980, eq 3 with m = 1 - 1/n)."""
    sand = CATALOG.get("root_zones", "sand_over_gravel_12in")
    m = 1.0 - 1.0 / sand["n"]
    saturation = (1.0 + (sand["alpha"] * suction_cm) ** sand["n"]) ** -m
    return sand["theta_r"] + (sand["theta_s"] - sand["theta_r"]) * saturation


def test_sand_meets_the_rootzone_recommendation() -> None:
    """USGA rootzone: total pores 35-55%, air 15-30% and capillary 15-25% at 30 cm, 6 in/h."""
    sand = CATALOG.get("root_zones", "sand_over_gravel_12in")
    capillary = sand_water_content(30.0)
    assert 0.35 <= sand["theta_s"] <= 0.55
    assert 0.15 <= capillary <= 0.25
    assert 0.15 <= sand["theta_s"] - capillary <= 0.30
    assert sand["ksat"] >= 6 * 25.4


def test_sand_profile_a_day_after_wetting() -> None:
    """12 in over gravel: 10-14% at the top, 18-25% in the middle, 30-38% at the bottom
    (from memory)."""
    zone = CATALOG.get("root_zones", "sand_over_gravel_12in")
    base, depth = zone["base_suction_cm"], zone["depth_mm"] / 10
    assert 0.10 <= sand_water_content(base + depth) <= 0.14
    assert 0.18 <= sand_water_content(base + depth / 2) <= 0.25
    assert 0.30 <= sand_water_content(base) <= 0.38


def test_order_of_failure() -> None:
    """University of Nebraska and of Minnesota extension: tall fescue browns later than bluegrass
    and dies sooner once dormant; ryegrass does not go truly dormant."""
    blue, tall, rye = (
        SPECIES[key] for key in ("kentucky_bluegrass", "tall_fescue", "perennial_ryegrass")
    )
    assert tall["root_depth_native"] > blue["root_depth_native"]
    for median in ("median_death_25c", "median_death_35c"):
        assert blue[median] > tall[median] > rye[median]


def test_growth_optima() -> None:
    """Gelernter & Stowell: 20 C cool season, 31 C warm season; 18 C for annual bluegrass and fine
    fescue (Asian Turfgrass Center 2014)."""
    for key, grass in SPECIES.items():
        low = key in ("annual_bluegrass", "fine_fescue")
        printed = 31 if grass.words["season"] == "warm" else 18 if low else 20
        assert grass["growth_optimum_c"] == printed


def test_growth_curve_by_temperature() -> None:
    """Growth potential at 5, 10, 15, 25, 30 C: .02 .19 .66 .66 .19 cool; at 20 and 25 C: .29 .69
    warm. The curve is Gelernter & Stowell's, its spread from memory, the figures derived."""

    def growth(key: str, mean_c: float) -> float:
        grass = SPECIES[key]
        deviation = (mean_c - grass["growth_optimum_c"]) / grass["growth_spread_c"]
        return math.exp(-0.5 * deviation**2)

    for mean_c, printed in ((5, 0.02), (10, 0.19), (15, 0.66), (25, 0.66), (30, 0.19)):
        assert growth("kentucky_bluegrass", mean_c) == pytest.approx(printed, abs=0.0051)
    for mean_c, printed in ((20, 0.29), (25, 0.69)):
        assert growth("bermudagrass", mean_c) == pytest.approx(printed, abs=0.0051)


def test_snow_figures() -> None:
    """Jennings et al. 2018: mean threshold 1.0 C, 95% of stations -0.4 to 2.4. NEH-630 chapter 11
    (from memory): 0.06 in/F/d, 0.015 to 0.20. Kuusisto 1980: 3.51 mm/C/d on open land."""
    turf = CATALOG.get("turf_processes", "all")
    threshold = turf.parameter("snow_threshold_c")
    assert (threshold.low, threshold.value, threshold.high) == (-0.4, 1.0, 2.4)
    melt = turf.parameter("melt_factor")
    per_us = 25.4 * 1.8  # 1 in/F/d in mm/C/d
    assert melt.value == pytest.approx(0.06 * per_us, abs=0.05)
    assert melt.low == pytest.approx(0.015 * per_us, abs=0.05)
    assert melt.high == pytest.approx(0.20 * per_us, abs=0.05)
    assert melt.low <= 3.51 <= melt.high


def test_florida_spray_loss() -> None:
    """Zazueta, IFAS AE048: about 1.5% over the day, 3% in early afternoon, near none at night."""
    night, midday = (
        CATALOG.get("losses", key).parameter("spray_loss_share")
        for key in ("night", "midday_humid")
    )
    assert night.value <= 0.015
    assert midday.low <= 0.03 <= midday.high
