"""Facts of the trade about playing surfaces: common practice, published limits, own estimates."""

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.air import days_until_harm
from drysward.physics.skinned_surface import skin_wanted
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
    """Trade pages: sand 58-75 %, silt to clay never above one, silt and clay 31-35 % (college)."""
    soil = CATALOG.get("soils", "infield_mix")
    silt = 100.0 - soil["sand"] - soil["clay"]
    assert 58.0 <= soil["sand"] <= 75.0
    assert silt <= soil["clay"]
    assert 31.0 <= silt + soil["clay"] <= 35.0


def test_infield_band_is_the_trades_moisture_by_weight():
    """Estimate: dust under about 6 % by weight, 9-14 % good, mud above 16-18 %."""
    zone = build_root_zone(RootZoneSpec("infield_mix"), CATALOG)
    assert zone.profile.native is not None
    density = zone.profile.native.bulk_density
    dust, *good, mud = (weight * density for weight in (0.04, 0.09, 0.14, 0.19))
    assert dust < INFIELD["skin_dust_below"]
    assert all(INFIELD["skin_dust_below"] <= m <= INFIELD["skin_mud_above"] for m in good)
    assert mud > INFIELD["skin_mud_above"]


def test_infield_asks_for_3_to_6_mm_of_a_summer_day():
    """Estimate: 3 to 6 mm in one to three passes, at 5 to 6 mm of evaporation."""
    for evaporation in (5.0, 6.0):
        for passes in (1, 2, 3):
            # The surface starts the day short by what the passes of the day before left open.
            short = evaporation / passes
            most = INFIELD["skin_most_per_pass_mm"]
            assert 3.0 <= skin_wanted(19.0 - short, 19.0, evaporation, passes, most) <= 6.0


def test_a_season_of_two_practices_and_a_game_a_week_thins_native_turf_and_leaves_some():
    """Own judgement: 6.5 h a week for 12 weeks without regrowth take a good part, not all."""
    entry, use = CATALOG.get("play", "wear_native"), CATALOG.get("play", "use")
    middle = entry["wear_middle_factor"]
    rate = wear_rate_per_h(
        event_rate(entry["events_to_half_cover"], middle), use["worn_part"], use["event_hours"]
    )
    left = cover_left(rate, middle, 6.5 * 12)
    assert 0.3 <= left <= 0.7
