"""Facts of the trade about playing surfaces: common practice, published limits, own estimates."""

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.air import days_until_harm
from drysward.physics.mud import mud_from
from drysward.physics.skinned_surface import skin_demand_mm
from drysward.physics.wear import cover_left, event_rate, wear_rate_per_h
from drysward.scenario.model import RootZoneSpec
from drysward.site.play import hardness_line, harm_days
from drysward.site.root_zone import build_root_zone

CATALOG = load_catalog()
LIMITS = CATALOG.get("play", "limits")
INFIELD = CATALOG.get("play", "infield")


HARD_ABOVE = {
    kind: CATALOG.get("play", f"hardness_{kind}")["hard_above_g"] for kind in ("native", "sand")
}


def test_limits_of_hardness(hardness):
    """Sand: professional football under 100 g with the 2.25 kg hammer (trade page and Kilby and
    others 2024). Native: common practice, an uncompacted natural field reads 100 to 130 g, and
    compacted frozen soil 400 to 500 g.
    """
    assert HARD_ABOVE == {"native": 130.0, "sand": 100.0}
    assert 400.0 <= LIMITS["frozen_g"] <= 500.0
    native = hardness_line(CATALOG.get("play", "hardness_native"))
    drying = hardness(np.array([0.06, 0.15]), native)
    assert ((drying >= 100.0) & (drying <= 130.0)).all()


def line_of(soil, compaction):
    zone = build_root_zone(
        RootZoneSpec("native_loam", words={"soil": soil, "compaction": compaction}), CATALOG
    )
    native = zone.profile.native
    assert native is not None
    entry = CATALOG.get("play", "hardness_native")
    density, wilting_point = native.bulk_density, native.wilting_point
    return hardness_line(entry, density, None, wilting_point, zone.loose_density), native


@pytest.mark.parametrize("soil", ["sandy_loam", "loam", "silt_loam", "clay_loam", "clay"])
def test_uncompacted_native_fields_moist_and_dry(soil, hardness):
    """Common practice: under 100 g when well kept, 100 to 130 g uncompacted and dry."""
    line, native = line_of(soil, "none")
    between = 0.5 * (native.wilting_point + native.field_capacity)
    at_capacity, kept, dry, dried_out = hardness(
        np.array(
            [native.field_capacity, between, native.wilting_point, native.wilting_point - 0.08]
        ),
        line,
    )
    assert LIMITS["soft_below_g"] < at_capacity < kept < 100.0
    assert 100.0 <= dry <= dried_out <= 130.0
    packed, _ = line_of(soil, "severe")
    assert hardness(native.wilting_point, packed) > dry + 15.0


@pytest.mark.parametrize("kind, steepest, flattest", [("native", 4.0, 1.0), ("sand", 1.5, 0.0)])
def test_hardness_per_percent_of_water(kind, steepest, flattest):
    """Assumed bracket of sign and size: 1 to 4 g for each % of water on silt and clay, 0 to 1.5
    on sand. No slope is published.
    """
    entry = CATALOG.get("play", f"hardness_{kind}")
    per_percent = -hardness_line(entry, 1.5, None, 0.2).slope_g / 100.0
    assert flattest <= per_percent <= steepest
    # Moisture alone explains at most about 60% of readings (Linde 2009, greens: 0.19 to 0.63).
    if kind == "native":
        spread = 100.0 * per_percent * np.std(np.linspace(0.14, 0.28, 50))
        assert spread**2 / (spread**2 + entry["hardness_scatter_g"] ** 2) <= 0.63


def test_loam_is_mud_where_it_is_soft():
    """Estimates that know nothing of each other agree: the wet limit of tillage (Dexter & Bird
    2001, from memory), a surface that reads 40 g, and mud of infield mix.
    """
    line, loam = line_of("loam", "none")
    pores = CATALOG.get("play", "mud")["mud_pores"]
    mud = mud_from(loam.field_capacity, loam.saturation, pores)
    soft = (LIMITS["soft_below_g"] - line.intercept_g) / line.slope_g
    assert mud == pytest.approx(soft, abs=0.02)
    assert loam.field_capacity < mud < loam.saturation
    mix = build_root_zone(RootZoneSpec("infield_mix"), CATALOG).profile.native
    assert mix is not None
    infield = mud_from(mix.field_capacity, mix.saturation, pores)
    assert infield == pytest.approx(INFIELD["skin_mud_above"], abs=0.02)


def test_sand_stays_playable_where_native_soil_is_hard_or_soft(hardness):
    """Estimates: on sand density matters more than water (McNitt & Landschoot 2003)."""
    native, sand = (
        hardness_line(CATALOG.get("play", f"hardness_{kind}")) for kind in ("native", "sand")
    )
    dry, wet = (hardness(moisture, native) for moisture in (0.08, 0.36))
    assert dry > 100.0
    assert wet < LIMITS["soft_below_g"]
    on_sand = hardness(np.array([0.05, 0.30]), sand)
    assert ((on_sand > LIMITS["soft_below_g"]) & (on_sand < HARD_ABOVE["sand"])).all()


@pytest.mark.parametrize(
    "soil_c, least, most", [(32.0, 1.0, 2.0), (25.0, 3.0, 5.0), (17.5, 7.0, 14.0)]
)
def test_days_of_saturation_before_harm_shows(soil_c, least, most):
    """Practical days, own estimate."""
    assert least <= days_until_harm(soil_c, harm_days(CATALOG.get("play", "airless_roots"))) <= most


def test_infield_mix_as_builders_ask():
    """Trade pages: sand 58-75%, silt to clay never above one, silt and clay 31-35% (college)."""
    soil = CATALOG.get("soils", "infield_mix")
    silt = 100.0 - soil["sand"] - soil["clay"]
    assert 58.0 <= soil["sand"] <= 75.0
    assert silt <= soil["clay"]
    assert 31.0 <= silt + soil["clay"] <= 35.0


def test_infield_band_is_the_trades_moisture_by_weight():
    """Estimate: dust under about 6% by weight, 9-14% good, mud above 16-18%."""
    zone = build_root_zone(RootZoneSpec("infield_mix"), CATALOG)
    assert zone.profile.native is not None
    density = zone.profile.native.bulk_density
    dust, *good, mud = (weight * density for weight in (0.04, 0.09, 0.14, 0.19))
    assert dust < INFIELD["skin_dust_below"]
    assert all(INFIELD["skin_dust_below"] <= m <= INFIELD["skin_mud_above"] for m in good)
    assert mud > INFIELD["skin_mud_above"]


def test_an_infield_needs_3_to_6_mm_on_a_summer_day():
    """Estimate: 3 to 6 mm in one to three passes, at 5 to 6 mm of evaporation."""
    for evaporation in (5.0, 6.0):
        for passes in (1, 2, 3):
            # The surface starts the day short by what the passes of the day before left open.
            short = evaporation / passes
            most = INFIELD["skin_most_per_pass_mm"]
            assert 3.0 <= skin_demand_mm(19.0 - short, 19.0, evaporation, passes, most) <= 6.0


def test_a_season_of_two_practices_and_a_game_a_week_thins_native_turf_and_leaves_some():
    """Own judgment: 6.5 h a week for 12 weeks without regrowth take a good part, not all."""
    entry, use = CATALOG.get("play", "wear_native"), CATALOG.get("play", "use")
    middle = entry["wear_middle_factor"]
    rate = wear_rate_per_h(
        event_rate(entry["events_to_half_cover"], middle), use["worn_part"], use["event_hours"]
    )
    left = cover_left(rate, middle, 6.5 * 12)
    assert 0.3 <= left <= 0.7
