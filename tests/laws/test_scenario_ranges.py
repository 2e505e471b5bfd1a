"""Ranges beside numbers of a scenario: read, shown, and refused in plain words."""

from __future__ import annotations

import pytest

from drysward.faults import FaultyInput
from drysward.scenario.load import loads, shipped
from drysward.scenario.model import Scenario
from drysward.scenario.resolved import resolved_values

UNIFORMITY = "fields.practice.delivery.uniformity"
DEPTH = "fields.stadium.root_zone.depth"


def with_texts(*pairs: tuple[str, str]) -> Scenario:
    """The demo with each first text replaced by the second."""
    text = shipped("demo").text
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    return loads(text, ".", "mine.toml")


def uniformity(text: str) -> tuple[str, str]:
    return "uniformity = 0.6", f'uniformity = "{text}"'


def depth(text: str) -> tuple[str, str]:
    zone = f'{{ like = "sand_over_gravel_12in", depth = "{text}" }}'
    return 'root_zone = "sand_over_gravel_12in"', f"root_zone = {zone}"


def faults(*pairs: tuple[str, str]) -> list[str]:
    with pytest.raises(FaultyInput) as refusal:
        with_texts(*pairs)
    return [str(fault) for fault in refusal.value.faults]


def test_a_bare_number_keeps_its_likely_value() -> None:
    read = with_texts(uniformity("0.6 (0.5 to 0.7)"))
    told = read.ranges[UNIFORMITY]
    assert read.field_named("practice").delivery.distribution_uniformity == 0.6
    assert (told.low, told.likely, told.high, told.unit) == (0.5, 0.6, 0.7, "")
    assert (told.chance, told.form) == (0.05, "metalog")
    assert shipped("demo").ranges == {}
    assert read.written == shipped("demo").written


@pytest.mark.parametrize(
    "text",
    ["12 in (10 to 14 in)", "12 in (10 to 14)", "12 in (10 in to 14 in)", "12.0 in(10 to 14)"],
)
def test_one_unit_holds_for_all_three(text: str) -> None:
    read = with_texts(depth(text))
    told = read.ranges[DEPTH]
    assert read.field_named("stadium").root_zone.numbers["depth_mm"] == pytest.approx(304.8)
    assert (told.low, told.likely, told.high, told.unit) == (10.0, 12.0, 14.0, "in")
    assert told.written(11.5) == "11.5 in"


@pytest.mark.parametrize(
    "more, chance, form",
    [("1 in 10", 0.1, "metalog"), ("triangular", 0.05, "triangular"), ("pert", 0.05, "pert")],
)
def test_another_chance_or_extremes(more: str, chance: float, form: str) -> None:
    told = with_texts(uniformity(f"0.6 (0.5 to 0.7, {more})")).ranges[UNIFORMITY]
    assert (told.chance, told.form) == (chance, form)


def test_in_lists_and_overrides() -> None:
    read = with_texts(
        ('above = "120 mm"', 'above = "120 mm (110 to 130 mm)"'),
        ("[plans.none]", '[overrides]\n"species.kentucky_bluegrass.wilt_ks" = "0.3 (0.2 to 0.4)"\n'
         "[plans.none]"),
    )  # fmt: skip
    assert set(read.ranges) == {
        "plans.restricted.stages[1].above", "overrides.species.kentucky_bluegrass.wilt_ks",
    }  # fmt: skip
    assert read.catalog.get("species", "kentucky_bluegrass")["wilt_ks"] == 0.3
    assert read.plan_named("restricted").stages[0].above_mm == 120.0


def test_a_label_is_no_range() -> None:
    read = with_texts(
        ('label = "Stadium"', 'label = "12 in (10 to 14 in)"'),
        ('label = "No irrigation"', 'label = "2 (upper)"'),
    )
    assert read.ranges == {}
    assert read.fields[0].label == "12 in (10 to 14 in)"


def test_what_is_resolved_says_the_range() -> None:
    rows = {row.key: row for row in resolved_values(with_texts(depth("12 in (10 to 14 in)")))}
    assert rows[DEPTH].range == "10 to 14 in, 1 in 20"
    assert rows["species.kentucky_bluegrass.wilt_ks"].range == "0.15 to 0.5, 1 in 10"
    assert rows["species.kentucky_bluegrass.kc_summer"].range == "0.8 to 1.25, 1 in 20"
    assert rows[UNIFORMITY].range == ""


@pytest.mark.parametrize(
    "pair, key, what, mend",
    [
        (uniformity("0.6 (0.7 to 0.9)"), UNIFORMITY, "does not increase", '"0.7 (0.6 to 0.9)"'),
        (uniformity("0.6 (0.5-0.7)"), UNIFORMITY, "is not a range", '"0.6 (0.5 to 0.7)"'),
        (uniformity("0.6 (0.5 to 0.7"), UNIFORMITY, "is not a range", '"0.6 (0.5 to 0.7)"'),
        (uniformity("0.6 (0.5 to 0.7, often)"), UNIFORMITY, "'often' does not say", "1 in 10"),
        (uniformity("0.6 (0.5 to 1.7)"), UNIFORMITY, "high end of the range: 1.7", "0.3 to 1"),
        (depth("12 (10 to 14)"), DEPTH, "has no unit", 'write "12 in", or in mm'),
        (depth("12 (10 to 14 in)"), DEPTH, "no unit before", '"12 in (10 to 14 in)"'),
        (depth("12 in (250 to 350 mm)"), DEPTH, "'mm' inside", "one unit for all three"),
        (depth("12 in (shallow to deep)"), DEPTH, "is not a range", '"12 in (10 to 14 in)"'),
        (('rule = "none"', 'rule = "1 (0 to 2)"'),
         "plans.none.rule", "takes no range", "write 1 alone"),
        (('interval = "2 days"', 'interval = "2 days (1 to 3 days)"'),
         "plans.deficit.interval", "takes no range: not every value", "write 2 days alone"),
        (('area = "2.0 acre"', 'area = "2.0 acre (1.9 to 2.1)"'),
         "fields.stadium.area", "counts as certain", "write 2 acre alone"),
        (('elevation = "140 m"', 'elevation = "140 m (100 to 200 m)"'),
         "site.elevation", "ranges are for fields, plans, supply, overrides", "write 140 m alone"),
        (('"04-01", to = "10-31" }', '"04-01 (03-01 to 05-01)", to = "10-31" }'),
         "plans.inch_a_week.season.from", "not a day of the year", "month and day"),
    ],
)  # fmt: skip
def test_faults_name_the_key_and_mend_it(
    pair: tuple[str, str], key: str, what: str, mend: str
) -> None:
    told = faults(pair)
    assert len(told) == 1
    assert told[0].startswith(f"mine.toml: {key}: ")
    assert what in told[0]
    assert mend in told[0]
