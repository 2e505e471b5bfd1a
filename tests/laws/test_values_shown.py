"""The values of a scenario in the units in which a person reads them."""

from __future__ import annotations

import pytest

import drysward
from drysward.quantities import convert
from drysward.results.scenario_values import (
    DIFFERENCES,
    in_units,
    name_without_unit,
    plain_number,
)
from drysward.scenario.resolved import Row, resolved_values

# Definitions: 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 lb = 0.45359237 kg, 1 gal = 231 in3,
# and 9 degF to 5 degC (NIST Handbook 44, appendix C).
BY_HAND = [
    ("fields.a.root_zone.depth", 304.8, "mm", "12", "in"),
    ("supply.sources.well.lift", 60.96, "m", "200", "ft"),
    ("fields.a.root_zone.base_suction", 25.4, "cm", "10", "in"),
    ("fields.a.root_zone.alpha", 0.05, "1/cm", "0.127", "1/in"),
    ("turf_processes.all.melt_factor", 4.572, "mm/degC/d", "0.1", "in/degF/d"),
    ("species.x.root_heat_loss", 0.0036, "1/degC/d", "0.002", "1/degF/d"),
    ("turf_processes.all.fresh_snow_density", 100.0, "kg/m3", "6.243", "lb/ft3"),
    ("feeding.nitrogen_x.most_kg_ha_d", 48.82428, "kg/ha/d", "1", "lb/1000 ft2/d"),
    ("fields.a.feeding.parts[1].urea", 48.82428, "kg/ha", "1", "lb/1000 ft2"),
    ("supply.storage.capacity", 3785.411784, "m3", "1,000,000", "gal"),
    ("costs.water[1].price", 1.0, "USD/m3", "3.785", "USD/1000 gal"),
    ("costs.construction.sand", 107.6391, "USD/m2", "10", "USD/ft2"),
    ("costs.nitrogen", 2.2046226, "USD/kg", "1", "USD/lb"),
    ("species.x.lt50_hardened_c", -25.0, "degC", "-13", "degF"),
    ("species.x.growth_spread_c", 5.0, "degC", "9", "degF"),
    ("turf_processes.all.ground_heat", 5.0, "W/m2", "5", "W/m2"),
    ("fields.a.slope", 0.02, "1", "0.02", ""),
]
ABSOLUTE = {
    "decline_from_c", "frost_brown_c", "full_c", "greenup_soil_c", "growth_optimum_c",
    "hardening_from_c", "hardening_full_c", "heat_kill_from_c", "lt50_hardened_c",
    "lt50_unhardened_c", "night_above_c", "nil_c", "nitrify_full_c", "nitrify_nil_c",
    "reference_c", "snow_threshold_c", "syringe_above_c",
}  # fmt: skip
"""Temperatures of the catalog: with the 32 of degF."""


def row(key: str, value: float, unit: str, **more: object) -> Row:
    return Row(key, value, unit, "estimate", "own_estimate", **more)


@pytest.mark.parametrize("key, value, unit, told, us", BY_HAND)
def test_values_are_those_of_the_definitions(key, value, unit, told, us):
    shown = in_units(row(key, value, unit), "us")
    assert (shown.value, shown.unit) == (told, us)
    metric = in_units(row(key, value, unit), "metric")
    assert float(str(metric.value).replace(",", "")) == pytest.approx(value, rel=1e-5)
    assert metric.unit == ("" if unit == "1" else unit)


@pytest.mark.parametrize("name", ["demo", "pond", "feeding", "match-days"])
def test_a_converted_value_is_the_one_that_runs(name):
    """Read back with the library of units, every value of a shipped scenario is its own."""
    seen = set()
    for held in resolved_values(drysward.shipped(name)):
        shown = in_units(held, "us")
        if isinstance(held.value, str) or shown.unit in ("", held.unit):
            continue
        if shown.unit not in ("in", "ft", "in/h", "in/d", "gpm", "gal", "acre", "lb/1000 ft2"):
            continue
        back = convert(float(str(shown.value).replace(",", "")), shown.unit, held.unit)
        assert back == pytest.approx(held.value, rel=6e-3), held.key
        seen.add(shown.unit)
    assert {"in", "in/h", "gpm"} <= seen


def test_a_range_is_in_the_unit_of_its_value():
    one = row("a.b", 50.8, "mm", range="25.4 to 76.2, 1 in 10", ends=(25.4, 76.2))
    assert in_units(one, "us").range == "1 to 3, 1 in 10"
    assert in_units(one, "metric").range == one.range
    older = row("a.b", 50.8, "mm", range="25.4 to 76.2, 1 in 10")
    assert in_units(older, "us").range == "", "a range of an older file is metric"
    written = Row("a.b", 50.8, "mm", "scenario", "scenario", "1 to 3 in, 1 in 10")
    assert in_units(written, "us").range == written.range


def test_every_temperature_of_the_catalog_is_a_temperature_or_a_difference():
    names = {
        name
        for kind in drysward.shipped("demo").catalog.entries.values()
        for entry in kind.values()
        for name in entry.numbers
        if entry.parameter(name).unit == "degC"
    }
    assert names == ABSOLUTE | set(DIFFERENCES)


def test_numbers_have_no_power_of_ten():
    assert plain_number(1e6) == "1,000,000"
    assert plain_number(2.5e-5) == "0.000025"
    assert plain_number(12.0) == "12"
    assert plain_number(0.0) == "0"
    assert plain_number(1234.56, 4) == "1,235"


def test_a_name_does_not_repeat_a_unit():
    assert name_without_unit("usual_height_mm", "mm") == "usual height"
    assert name_without_unit("lt50_hardened_c", "degC") == "lt50 hardened"
    assert name_without_unit("living_kg_ha", "kg/ha") == "living"
    assert name_without_unit("m01", "1") == "m01"
    assert name_without_unit("wilt_ks", "1") == "wilt ks"
