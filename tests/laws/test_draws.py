"""Draws of what is not known: margins, correlation, prefixes, and scenarios that can be."""

from __future__ import annotations

import tomllib
from collections import Counter

import numpy as np
import pytest
from scipy import stats

from drysward.catalog import SCENARIO, load_catalog
from drysward.ranges import Range
from drysward.scenario.load import from_tree, loads, shipped
from drysward.scenario.model import Scenario
from drysward.scenario.ranges import taken_out
from drysward.site.root_zone import field_root_zone
from drysward.studies.doubt.answers import draws
from drysward.studies.doubt.crossed import drawn_numbers
from drysward.studies.doubt.draws import (
    Doubtful,
    doubtful,
    draw,
    drawn_scenarios,
    notes,
    placed,
)

SHIPPED = ("demo", "pond", "match-days")
WILT_ERROR = "overrides.soil_errors.texture.wilting_point_error"
CAP_ERROR = "overrides.soil_errors.texture.field_capacity_error"
PRACTICE = 'root_zone = { like = "native_loam", compaction = "moderate" }'


@pytest.fixture(scope="module")
def demo() -> Scenario:
    return shipped("demo")


def by_key(scenario: Scenario) -> dict[str, Doubtful]:
    return {number.key: number for number in doubtful(scenario)}


def with_practice(root_zone: str) -> Scenario:
    text = shipped("demo").text
    assert PRACTICE in text
    return loads(text.replace(PRACTICE, f"root_zone = {root_zone}"), ".", "mine.toml")


# --- what is drawn ----------------------------------------------------------------------------


def test_what_a_scenario_uses_is_drawn_once(demo: Scenario) -> None:
    numbers = doubtful(demo)
    assert max(Counter(number.key for number in numbers).values()) == 1
    keys = {number.key for number in numbers}
    assert {
        "overrides.species.kentucky_bluegrass.wilt_ks", "overrides.soils.loam.clay", CAP_ERROR,
        "overrides.root_zones.sand_over_gravel_12in.alpha", "fields.practice.root_zone.depth",
        "fields.stadium.delivery.uniformity", "overrides.compaction.moderate.density_factor",
    } <= keys  # fmt: skip
    # Written without a range, chosen, closed, by definition, of another season or of weather.
    assert not keys & {
        "fields.practice.delivery.uniformity",
        "overrides.species.kentucky_bluegrass.usual_height_mm",
        "fields.stadium.root_zone.depth",
        "overrides.compaction.none.density_factor",
        "overrides.species.kentucky_bluegrass.greenup_soil_c",
        "overrides.species.kentucky_bluegrass.sod_root_factor",
        "overrides.turf_processes.all.browning_days",
        "overrides.curve_numbers.poor.a",
        "overrides.soils.clay.clay",
    }
    assert not [key for key in keys if "generated_weather" in key or "labor" in key]


@pytest.mark.parametrize("name", SHIPPED)
def test_groups_and_measures(name: str) -> None:
    groups = {"soil", "roots", "grass", "delivery", "weather", "play", "supply"}
    for number in doubtful(shipped(name)):
        assert number.group in groups, number.key
        assert number.measure, number.key
        assert not number.range.closed, number.key


@pytest.mark.parametrize("name", SHIPPED)
def test_no_draw_is_of_the_weather(name: str) -> None:
    assert "weather" not in {number.group for number in drawn_numbers(shipped(name))}


@pytest.mark.parametrize(("n", "told"), [(0, "n = 0.* 2 or more; for no draws"), (1, "2 or more$")])
def test_too_few_draws_are_told(n: int, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        draws(shipped("demo"), n)


def test_notes_name_numbers_that_exist() -> None:
    catalog = load_catalog()
    known = {
        f"{kind}.{name}"
        for kind, entries in catalog.entries.items()
        for entry in entries.values()
        for name in entry.numbers
    }
    tables = {"sources", "root_zone", "plans"}
    named = {*notes().names, *notes().certain, *notes().forms}
    named |= {name for row in (*notes().alike, *notes().rising) for name in row["names"]}
    for name in named - {"generated_weather", "forecasts"}:
        assert name in known or name.partition(".")[0] in tables, name
    for kind, names in notes().own.items():
        assert {f"{kind}.{name}" for name in names} <= known


def test_what_a_scenario_writes_is_certain_or_has_its_own_range(demo: Scenario) -> None:
    text = demo.text.replace("uniformity = 0.6", 'uniformity = "0.6 (0.5 to 0.7, 1 in 10)"')
    text += "\n[overrides.species.kentucky_bluegrass]\nwilt_ks = 0.3\n"
    text += 'p_footprint = "0.5 (0.4 to 0.6)"\n'
    text += '[overrides.species.bermudagrass]\nwilt_ks = "0.3 (0.2 to 0.4)"\n'
    read = loads(text, ".")
    found = by_key(read)
    assert "overrides.species.kentucky_bluegrass.wilt_ks" not in found
    assert "overrides.species.bermudagrass.wilt_ks" not in found
    assert found["overrides.species.kentucky_bluegrass.p_footprint"].range.high == 0.6
    own = found["fields.practice.delivery.uniformity"]
    assert own.range == Range(0.5, 0.6, 0.7, 0.3, 1.0, 0.10)
    assert own.group == "delivery"
    assert own.measure == "a catch-can audit"
    # Drawn values are certain: nothing in a drawn scenario is drawn again.
    first = next(drawn_scenarios(read, draw(doubtful(read), 1, 1).rows()))
    drawn = first.catalog.get("species", "kentucky_bluegrass").parameter("p_footprint")
    assert drawn.grade == SCENARIO


def test_a_measured_soil_has_no_error_of_texture() -> None:
    given = 'wilting_point = "0.13 (0.12 to 0.14)", field_capacity = "0.28 (0.22 to 0.34)"'
    soil = f'{{ like = "native_loam", {given}, saturation = 0.36, conductivity = "10 mm/h" }}'
    read = with_practice(soil)
    found = by_key(read)
    assert not [key for key in found if "soil_errors" in key or key.endswith("loam.clay")]
    assert found["fields.practice.root_zone.field_capacity"].range.most == 0.36
    for drawn in drawn_scenarios(read, draw(tuple(found.values()), 64, 2).rows()):
        water = drawn.field_named("practice").root_zone.measured
        assert water["wilting_point"] < water["field_capacity"] < water["saturation"]


# --- draws ------------------------------------------------------------------------------------


def test_margins(demo: Scenario) -> None:
    """5, 50 and 95 of 100 draws lie below low, likely and high of a range of 1 in 20."""
    found = by_key(demo)
    numbers = tuple(found.values())
    drawn = draw(numbers, 4096, 3)
    assert drawn.values.shape == drawn.u.shape == (4096, len(numbers))
    keys = ("fields.stadium.delivery.uniformity", "overrides.species.kentucky_bluegrass.kc_summer")
    for key in keys:
        told, values = found[key].range, drawn.values[:, numbers.index(found[key])]
        assert told.chance == 0.05
        for share, at in ((0.05, told.low), (0.50, told.likely), (0.95, told.high)):
            # Sobol' points of 4,096 hit a share far closer than chance, 0.0034, would.
            assert (values <= at).mean() == pytest.approx(share, abs=0.002)
    for i, number in enumerate(numbers):
        assert (number.range.least <= drawn.values[:, i]).all(), number.key
        assert (drawn.values[:, i] <= number.range.most).all(), number.key


def test_correlation_is_recovered(demo: Scenario) -> None:
    """Spearman's rank correlation of a Gaussian copula of r is 6/pi asin(r/2) (from memory)."""
    numbers = doubtful(demo)
    drawn = draw(numbers, 4096, 1)
    keys = [number.key for number in numbers]
    one, two = (drawn.values[:, keys.index(key)] for key in (WILT_ERROR, CAP_ERROR))
    assert stats.spearmanr(one, two)[0] == pytest.approx(6 / np.pi * np.arcsin(0.25), abs=0.03)
    other = drawn.values[:, keys.index("fields.stadium.delivery.uniformity")]
    assert abs(stats.spearmanr(one, other)[0]) < 0.05
    # Each keeps its own distribution, whatever it is correlated with.
    told = numbers[keys.index(CAP_ERROR)].range
    for end, share in ((told.low, 0.05), (told.likely, 0.5), (told.high, 0.95)):
        assert (two < end).mean() == pytest.approx(share, abs=0.015)


def test_same_seed_same_draws_and_prefixes(demo: Scenario) -> None:
    numbers = doubtful(demo)
    many = draw(numbers, 64, 7)
    assert (draw(numbers, 64, 7).values == many.values).all()
    assert (draw(numbers, 16, 7).values == many.values[:16]).all()
    assert (draw(numbers, 64, 8).values != many.values).any()
    assert draw(numbers, 50, 7).values.shape == (50, len(numbers))
    assert (draw(numbers, 50, 7).values == draw(numbers, 50, 7).values).all()


def test_a_closed_range_is_constant() -> None:
    closed = Doubtful("a.b", Range(2.0, 2.0, 2.0), "in", "soil", "a ruler", "a.b", "a")
    drawn = draw([closed], 8, 1)
    assert (drawn.values == 2.0).all()
    assert drawn.rows()[0] == {"a.b": "2.0 in"}
    assert draw([], 4, 1).rows() == [{}, {}, {}, {}]


# --- scenarios --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHIPPED)
def test_every_draw_can_be(name: str) -> None:
    base = shipped(name)
    rows = draw(doubtful(base), 64, 1).rows()
    for row, drawn in zip(rows, drawn_scenarios(base, rows), strict=True):
        assert drawn.weather == base.weather
        assert drawn.digest == base.digest
        for key, value in row.items():
            if key.startswith("overrides."):
                assert drawn.catalog.overrides[key.removeprefix("overrides.")] == value
        for spec in drawn.fields:
            field_root_zone(spec, drawn.catalog)


@pytest.mark.parametrize("soil", sorted(load_catalog().entries["soils"]))
@pytest.mark.slow
def test_every_soil_can_be_packed(soil: str) -> None:
    base = with_practice(f'{{ like = "native_loam", soil = "{soil}", compaction = "severe" }}')
    for drawn in drawn_scenarios(base, draw(doubtful(base), 64, 3).rows()):
        profile = field_root_zone(drawn.field_named("practice"), drawn.catalog).profile
        assert profile.native is not None
        assert profile.native.field_capacity > profile.native.wilting_point


def test_without_errors_and_ranges_a_scenario_is_as_it_was(demo: Scenario) -> None:
    """The likely value of every number is the scenario itself."""
    row = {number.key: number.written(number.range.likely) for number in doubtful(demo)}
    plain, _, _ = taken_out("demo", tomllib.loads(demo.text))
    same = from_tree(placed(plain, row), demo.folder, "likely", demo.text)
    for one, two in zip(demo.fields, same.fields, strict=True):
        zones = field_root_zone(one, demo.catalog), field_root_zone(two, same.catalog)
        assert zones[0].profile.native == zones[1].profile.native
        assert zones[0].intake_mm_h == zones[1].intake_mm_h
        assert one.delivery == two.delivery


def test_errors_of_texture_have_the_published_spread(demo: Scenario) -> None:
    """Saxton & Rawls 2006, standard errors from memory; conductivity a factor of 3, estimated."""
    numbers = doubtful(demo)
    drawn = draw(numbers, 4096, 1)
    keys = [number.key for number in numbers]
    for name, error in (
        ("wilting_point", 0.02), ("field_capacity", 0.05), ("saturation", 0.04),
        ("conductivity", 0.48),
    ):  # fmt: skip
        values = drawn.values[:, keys.index(f"overrides.soil_errors.texture.{name}_error")]
        # The metalog of three points has slightly longer tails than a normal distribution.
        assert values.std() == pytest.approx(error, rel=0.05)
        assert values.mean() == pytest.approx(0.0, abs=0.02 * error)
