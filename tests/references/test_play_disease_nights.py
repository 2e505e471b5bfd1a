"""Nights for brown patch of tall fescue.

Oregon State University, tall fescue monograph: leaves wet for more than 10 h and nights above
70 degF (21 degC). From memory: dew of 8 to 12 h in humid summers; watering before dawn adds
little, evening watering 2 to 6 h.
"""

import pytest

from drysward.catalog import load_catalog
from drysward.physics.leaf_disease import (
    dew_hours,
    dewpoint_c,
    disease_night,
    leaf_wet_hours,
    warm_night,
)
from drysward.scenario.model import TIMES_OF_DAY
from drysward.site.play import watering_wet_hours

ENTRY = load_catalog().get("play", "leaf_disease")
DEW = (ENTRY["leaf_depression_c"], ENTRY["dew_after_sunrise_h"])


def celsius(degf):
    return (degf - 32.0) / 1.8


@pytest.mark.parametrize("night_degf, warm", [(69.0, False), (71.0, True), (78.0, True)])
def test_warm_nights_are_above_70_degf(night_degf, warm):
    assert warm_night(celsius(night_degf), ENTRY["night_above_c"]) == warm


@pytest.mark.parametrize("wet, favors", [(9.5, 0.0), (10.5, 1.0)])
def test_ten_hours_of_wet_leaves_on_a_warm_night(wet, favors):
    assert disease_night(1.0, wet, ENTRY["leaf_wet_least_h"]) == favors
    assert disease_night(0.0, wet, ENTRY["leaf_wet_least_h"]) == 0.0


@pytest.mark.parametrize("tmax, tmin, dew", [(86, 64, 63), (90, 72, 72), (92, 74, 73)])
def test_dew_of_humid_summer_nights_from_memory(tmax, tmin, dew):
    hours = dew_hours(celsius(tmax), celsius(tmin), celsius(dew), 9.5, *DEW)
    assert 8.0 <= hours <= 12.0


def test_no_dew_in_dry_air():
    assert dew_hours(celsius(100), celsius(60), celsius(40), 9.5, *DEW) == 0.0


def test_watering_in_the_evening_and_before_dawn_from_memory():
    added = dict(zip(TIMES_OF_DAY, watering_wet_hours(ENTRY), strict=True))
    assert 2.0 <= added["evening"] <= 6.0
    assert added["early morning"] <= 1.0
    assert added["midday"] == 0.0


def test_evening_watering_makes_the_night_that_dew_alone_does_not():
    added = dict(zip(TIMES_OF_DAY, watering_wet_hours(ENTRY), strict=True))
    least = ENTRY["leaf_wet_least_h"]
    for dew in (3.0, 8.5):
        hours = {
            time: leaf_wet_hours(dew, 0.0, 10.0, more, float(time == "evening"), 11.8)
            for time, more in added.items()
        }
        assert hours["evening"] >= least
        assert hours["early morning"] < least


def test_leaves_watered_in_the_evening_are_wet_all_night_when_dew_forms():
    """Common practice: disease when nights stay above 70 degF and leaves are wet all night."""
    added = dict(zip(TIMES_OF_DAY, watering_wet_hours(ENTRY), strict=True))
    assert leaf_wet_hours(2.0, 0.0, 10.0, added["evening"], 1.0, 11.8) == 11.8
    # In air too dry for dew they dry within hours.
    assert leaf_wet_hours(0.0, 0.0, 10.0, added["evening"], 1.0, 11.8) == added["evening"]
    assert leaf_wet_hours(2.0, 0.0, 0.0, added["evening"], 1.0, 11.8) == 2.0


def test_dew_point_is_the_inverse_of_fao56_eq_14():
    """FAO-56 Annex 2, Table 2.3: 2.338 kPa at 20.0 degC, 4.243 kPa at 30.0 degC."""
    assert [dewpoint_c(2.338), dewpoint_c(4.243)] == pytest.approx([20.0, 30.0], abs=0.05)
