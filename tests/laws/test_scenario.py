"""Scenario files: what is written is what runs, and every fault is told at once, in its place."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.catalog import SCENARIO, load_catalog
from drysward.faults import FaultyInput
from drysward.quantities import LENGTH, TEMPERATURE, WARMING, convert, parse
from drysward.scenario.load import load, loads, shipped
from drysward.scenario.model import PlanSpec, PlayingCondition, Scenario
from drysward.scenario.resolved import DEFAULT, Row, resolved_values
from drysward.scenario.values import day_of_year

HEAD = """
[site]
name = "Ostrel Bay"
latitude = "35 deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
"""
FIELD = """
[fields.a]
area = "1 acre"
species = "bermudagrass"
root_zone = "native_loam"
delivery = "hand_hose"
"""
PLAN = """
[plans.p]
rule = "none"
"""


def read(*parts: str) -> Scenario:
    return loads("\n".join(parts), Path("here"))


def faults(*parts: str) -> list[str]:
    with pytest.raises(FaultyInput) as refusal:
        read(*parts)
    return [str(fault) for fault in refusal.value.faults]


def plan(text: str) -> PlanSpec:
    return read(HEAD, FIELD, f"[plans.p]\n{text}").plan_named("p")


def plan_faults(text: str) -> list[str]:
    return faults(HEAD, FIELD, f"[plans.p]\n{text}")


def root_zone_faults(text: str) -> list[str]:
    return faults(HEAD, FIELD.replace('"native_loam"', text), PLAN)


@pytest.fixture(scope="module")
def demo() -> Scenario:
    return shipped()


# --- what is written is what runs ------------------------------------------------------------


def test_demo_in_base_units(demo: Scenario) -> None:
    stadium, practice = demo.fields
    assert demo.site.latitude_deg == 40.3
    assert demo.site.elevation_m == pytest.approx(140.0)
    assert demo.site.supply_m3_d == math.inf
    # 1 US survey or international acre is 4046.87 or 4046.86 m2 (common practice).
    assert stadium.area_m2 == pytest.approx(2 * 4046.86, rel=1e-5)
    # 120 US gal of 3.785411784 L a minute.
    assert stadium.delivery.flow_m3_h == pytest.approx(120 * 3.785411784e-3 * 60)
    assert practice.delivery.distribution_uniformity == 0.6
    assert practice.root_zone.words == {"compaction": "moderate"}
    assert [spec.key for spec in demo.plans] == [
        "none", "inch_a_week", "deficit", "refill", "crown_keeping", "restricted",
    ]  # fmt: skip
    inch = demo.plan_named("inch_a_week")
    assert inch.depth_by_weekday == pytest.approx((0, 12.7, 0, 0, 12.7, 0, 0))
    assert inch.allowed == (False, True, False, False, True, False, False)
    assert (inch.rain_skip_mm, inch.rain_skip_days) == (pytest.approx(12.7), 2)
    first, second = demo.plan_named("restricted").stages
    assert (first.above_mm, first.below_mm, first.share) == (120.0, 80.0, 0.8)
    assert second.crown_only
    assert demo.digest == hashlib.sha256(demo.text.encode()).hexdigest()


def test_weather_files_are_relative_to_the_scenario_file(tmp_path: Path, demo: Scenario) -> None:
    head, _, rest = demo.text.partition("[weather]")
    _, _, rest = rest.partition("[fields.stadium]")
    text = f'{head}[weather]\nfile = "ours.csv"\n[fields.stadium]{rest}'
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())  # as some editors save it
    again = load(path)
    assert again.weather.file == tmp_path / "ours.csv"
    assert again.digest == hashlib.sha256(text.encode()).hexdigest()
    assert (again.fields, again.plans) == (demo.fields, demo.plans)


def test_units_do_not_matter() -> None:
    """The same field in US and in metric units."""
    delivery = '{ system = "hand_hose", flow = "10 gpm", precipitation_rate = "0.5 in/h" }'
    us = FIELD.replace('"hand_hose"', delivery)
    metric = us.replace("10 gpm", "2.271247070 m3/h").replace("0.5 in/h", "12.7 mm/h")
    one, other = (read(HEAD, text, PLAN).fields[0].delivery for text in (us, metric))
    assert one.flow_m3_h == pytest.approx(other.flow_m3_h, rel=1e-9)
    assert one.precipitation_rate_mm_h == pytest.approx(other.precipitation_rate_mm_h)
    assert read(HEAD, FIELD, PLAN).site.elevation_m == pytest.approx(304.8)


def test_supply_weather_and_answers() -> None:
    head = HEAD.replace("[weather]", 'supply = "50000 gal"\n[weather]\nwind_height = "10 m"\n'
                        'columns = { tmax = { column = "High", unit = "degF" } }\n'
                        'fill = { rain = "zero", longest = "1 weeks" }')  # fmt: skip
    answers = '[answers]\nreached = { dead = 0.01 }\nseason = { from = "11-01", to = "02-28" }'
    scenario = read(head, FIELD, PLAN, answers)
    assert scenario.site.supply_m3_d == pytest.approx(50000 * 3.785411784e-3)
    assert scenario.weather.wind_height_m == pytest.approx(10.0)
    assert scenario.weather.columns["tmax"].unit == "degF"
    assert scenario.weather.fill is not None
    assert scenario.weather.fill.longest_gap_days == 7
    assert scenario.answers.reached == {
        "footprint": 0.25, "wilt": 0.25, "dormant": 0.25, "dead": 0.01,
    }  # fmt: skip
    assert scenario.answers.season == (day_of_year("11-01"), day_of_year("02-28"))


def test_days_in_a_row_and_the_playing_condition_are_read() -> None:
    answers = "[answers]\ndays = 5\nplaying_condition = { green = 0.9 }"
    found = read(HEAD, FIELD, PLAN, answers).answers
    assert found.reached_days == 5
    assert found.playing_condition == PlayingCondition(green=0.9, wilt=0.25)


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("days = 0", "answers.days: 0 is refused; 1 to 366"),
        ('days = "3 days"', "answers.days: "),
        ("playing_condition = 0.75", "answers.playing_condition: "),
        ("playing_condition = { green = 75 }", "answers.playing_condition.green: 75 is refused"),
        ("playing_condition = { gren = 0.7 }", "did you mean 'green'?"),
        ("playing_conditon = { green = 0.7 }", "did you mean 'playing_condition'?"),
    ],
)
def test_faults_of_the_playing_condition_name_their_key(written: str, told: str) -> None:
    with pytest.raises(FaultyInput) as refusal:
        read(HEAD, FIELD, PLAN, f"[answers]\n{written}")
    assert told in str(refusal.value)


def test_answers_by_default(demo: Scenario) -> None:
    assert demo.answers.season == (day_of_year("04-01"), day_of_year("10-31"))
    assert demo.answers.reached["dead"] == 0.05
    assert demo.answers.reached_days == 3
    assert demo.answers.playing_condition == PlayingCondition(green=0.75, wilt=0.25)
    assert demo.answers.turf == "established each year"


def test_measured_soil() -> None:
    zone = (
        '{ like = "native_loam", soil = "clay_loam", depth = "600 mm", field_capacity = 0.28, '
        'wilting_point = 0.14, saturation = 0.46, conductivity = "0.6 in/h" }'
    )
    root_zone = read(HEAD, FIELD.replace('"native_loam"', zone), PLAN).fields[0].root_zone
    assert root_zone.numbers == {"depth_mm": 600.0}
    assert root_zone.words == {"soil": "clay_loam"}
    assert root_zone.measured == {
        "wilting_point": 0.14, "field_capacity": 0.28, "saturation": 0.46,
        "ksat_mm_h": pytest.approx(15.24),
    }  # fmt: skip


def test_plan_settings() -> None:
    spec = plan(
        'rule = "fixed"\ndepth = { Mon = "10 mm", Sun = "1 cm" }\nadjust = { Jul = 1.1 }\n'
        'pause = { above = "150 mm", below = "80 mm", longest = "45 days" }\ntime = "night"'
    )
    assert spec.depth_by_weekday == (10.0, 0, 0, 0, 0, 0, pytest.approx(10.0))
    assert spec.allowed == (True, False, False, False, False, False, True)
    assert spec.adjust[6] == 1.1
    assert sum(spec.adjust) == pytest.approx(12.1)
    assert (spec.pause.first, spec.pause.last) == (-1, -1)
    assert (spec.pause.above, spec.pause.below, spec.pause.longest_days) == (150.0, 80.0, 45)
    assert spec.time_of_day == "night"
    dated = plan('rule = "none"\npause = { from = "07-01", to = "08-31" }').pause
    assert (dated.first, dated.above) == (day_of_year("07-01"), math.inf)


@given(st.dates(min_value=date(2004, 1, 1),
                max_value=date(2004, 12, 31)))  # fmt: skip
def test_days_of_the_leap_year(day: date) -> None:
    assert day_of_year(f"{day:%m-%d}") == int(f"{day:%j}") - 1


def test_overrides_reach_the_catalog_and_what_is_taken_from_it() -> None:
    overrides = "[overrides]\nspecies.bermudagrass.wilt_ks = 0.7\n"
    overrides += "'delivery.hand_hose.overspray' = 0"
    scenario = read(HEAD, FIELD, PLAN, overrides)
    assert scenario.catalog.get("species", "bermudagrass")["wilt_ks"] == 0.7
    assert scenario.fields[0].delivery.overspray == 0.0
    assert load_catalog().get("species", "bermudagrass")["wilt_ks"] != 0.7


# --- every fault at once, in its place --------------------------------------------------------


def test_every_fault_at_once(demo: Scenario) -> None:
    text = (
        demo.text.replace('species = "kentucky_bluegrass"', 'species = "kentucky_blugrass"', 1)
        .replace('"1.8 acre"', "1.8")
        .replace("uniformity = 0.6", "uniformity = 60")
        .replace("trigger = 0.4\ntarget", "triger = 0.4\ntarget")
        .replace("share = 0.6", "share = true")
    ) + "[overrides]\nspecies.bermudagrass.wilt_kss = 0.5"
    told = faults(text)
    starts = [
        "scenario: fields.stadium.species: 'kentucky_blugrass' is not known; did you mean 'kentu",
        "scenario: fields.practice.area: 1.8 has no unit; ",
        "scenario: fields.practice.delivery.uniformity: 60 is out of range; 0.3 to 1",
        "scenario: plans.deficit.share: True is refused; should be a valid number",
        "scenario: plans.refill.triger: is not known here; did you mean 'trigger'?",
        "scenario: overrides.species.bermudagrass.wilt_kss: no number 'wilt_kss'; did you mean",
    ]
    assert len(told) == len(starts)
    for line, start in zip(told, starts, strict=True):
        assert line.startswith(start)
        assert "\n" not in line


def test_a_needed_key_with_a_wrong_name_is_one_fault(demo: Scenario) -> None:
    text = demo.text.replace("latitude =", "lattitude =", 1).replace("species =", "specis =", 1)
    assert faults(text) == [
        "scenario: site.lattitude: is not known here; did you mean 'latitude'?",
        "scenario: fields.stadium.specis: is not known here; did you mean 'species'?",
    ]


@pytest.mark.parametrize(
    "wrong, told",
    [
        ('rule = "refil"', "plans.p.rule: 'refil' is not known; did you mean 'refill'?"),
        ('rule = "refill"', "plans.p.trigger: is missing"),
        ('rule = "refill"\ntrigger = 0.5\ntarget = 0.5', "plans.p.target: is not below trigger"),
        ('rule = "none"\nshare = 0.6', "plans.p.share: rule 'none' does not use it"),
        ('rule = "fixed"\ndepth = "1 in"', "plans.p.days: a fixed plan states its days once"),
        ('rule = "fixed"\ndepth = 1\ndays = ["Mon"]', "plans.p.depth: "),
        ('rule = "fixed"\ndepth = "1 in"\ndays = ["Tues"]', "days[1]: 'Tues' is not known; did"),
        ('rule = "fixed"\ndepth = "-1 in"\ndays = ["Tue"]', "plans.p.depth: "),
        ('rule = "none"\nseason = { from = "02-30", to = "03-01" }', "season.from: '02-30' is no"),
        ('rule = "none"\npause = { from = "07-01" }', "plans.p.pause.from: a pause by dates has"),
        ('rule = "none"\npause = {}', "plans.p.pause: says no time"),
        ('rule = "none"\npause = { above = "1 cm", below = "2 cm" }', "pause.below: is more than"),
        ('rule = "none"\nadjust = { Jull = 1.0 }', "adjust.Jull: 'Jull' is not known; did you"),
        ('rule = "none"\ninterval = "1.5 days"', "interval: '1.5 days' is not whole days"),
        (
            'rule = "none"\nstages = [{ above = "9 cm", below = "1 cm" }, '
            '{ above = "8 cm", below = "0 cm" }]',
            "plans.p.stages[2].above: does not rise",
        ),
        (
            'rule = "none"\nstages = [{ above = "9 cm", bellow = "1 cm" }]',
            "plans.p.stages[1].bellow: is not known here; did you mean 'below'?",
        ),
    ],
)  # fmt: skip
def test_faults_of_plans(wrong: str, told: str) -> None:
    assert any(told in line for line in plan_faults(wrong))


@pytest.mark.parametrize(
    "wrong, told",
    [
        ('"native_lome"', "fields.a.root_zone.like: 'native_lome' is not known; did you mean"),
        ('{ like = "native_loam", base_suction = "9 cm" }', "base_suction: 'native_loam' has none"),
        ('{ like = "sand_over_gravel_12in", soil = "clay" }', "root_zone.soil: "),
        ('{ like = "native_loam", depth = "9 km" }', "depth: '9 km' is out of range; 0.00002"),
        ('{ like = "native_loam", field_capacity = 0.3 }', "a measured soil needs more"),
        (
            '{ like = "native_loam", field_capacity = 0.1, wilting_point = 0.2, '
            'saturation = 0.4, conductivity = "1 in/h" }',
            "root_zone.wilting_point: the measured soil is out of order",
        ),
    ],
)  # fmt: skip
def test_faults_of_root_zones(wrong: str, told: str) -> None:
    assert any(told in line for line in root_zone_faults(wrong))


def test_an_empty_file_lacks_its_tables() -> None:
    assert [line.split(": ")[1] for line in faults("")] == ["site", "weather", "fields", "plans"]


def test_faults_before_there_is_a_table(tmp_path: Path) -> None:
    assert faults("a = 1\nb = \nc = 1")[0].startswith("scenario line 2, column 5: is not TOML")
    assert faults("a = 1\nb = ")[0].startswith("scenario line 2: is not TOML")
    path = tmp_path / "scenario.toml"
    with pytest.raises(FaultyInput, match=r"no such file in .*scenarios that ship: demo"):
        load(path)
    path.write_bytes(b"title = '\xff'")
    with pytest.raises(FaultyInput, match="not UTF-8"):
        load(path)
    with pytest.raises(FaultyInput, match="did you mean 'demo'"):
        shipped("demos")


def test_keys_that_are_no_names_are_refused() -> None:
    assert "is not a valid key" in faults(HEAD, FIELD.replace("fields.a", "fields.'../a'"), PLAN)[0]


@pytest.mark.parametrize("find", [Scenario.field_named, Scenario.plan_named])
def test_unknown_field_or_plan(demo: Scenario, find: Callable[[Scenario, str], object]) -> None:
    with pytest.raises(FaultyInput, match="no 'stadum'"):
        find(demo, "stadum")


# --- what a scenario runs on ------------------------------------------------------------------


def test_resolved_values(demo: Scenario) -> None:
    rows = resolved_values(demo)
    by_key = {row.key: row for row in rows}
    assert len(by_key) == len(rows)
    assert by_key["fields.practice.delivery.uniformity"] == Row(
        "fields.practice.delivery.uniformity", 0.6, "1", SCENARIO, SCENARIO
    )
    assert by_key["fields.stadium.delivery.uniformity"].grade != SCENARIO
    assert by_key["plans.refill.trigger"].source == SCENARIO
    assert by_key["plans.restricted.target"].source == DEFAULT
    assert by_key["plans.restricted.crown.from_dormant"].source == DEFAULT
    assert by_key["plans.restricted.stages[1].share"].source == SCENARIO
    assert by_key["plans.restricted.stages[2].share"].source == DEFAULT
    assert by_key["plans.inch_a_week.depth.Tue"].source == SCENARIO
    assert by_key["compaction.moderate.intake_factor"].value == 0.4
    # Every number of the species, of its soil and of turf in general is there, with its source.
    for kind, key in (
        ("species", "kentucky_bluegrass"), ("soils", "loam"), ("turf_processes", "all")
    ):  # fmt: skip
        for name, number in demo.catalog.get(kind, key).numbers.items():
            row = by_key[f"{kind}.{key}.{name}"]
            assert (row.value, row.source) == (number.value, ", ".join(number.source))
    assert "species.bermudagrass.wilt_ks" not in by_key
    assert all(row.source and row.grade for row in rows)


def test_resolved_values_list_overrides() -> None:
    scenario = read(HEAD, FIELD, PLAN, "[overrides]\nspecies.bermudagrass.wilt_ks = 0.7")
    row = next(r for r in resolved_values(scenario) if r.key == "species.bermudagrass.wilt_ks")
    assert (row.value, row.grade, row.source) == (0.7, SCENARIO, SCENARIO)


def test_the_answer_season_is_the_warm_half_of_the_year(demo: Scenario) -> None:
    southern = read(HEAD.replace('"35 deg"', '"-35 deg"'), FIELD, PLAN)
    assert demo.answers.season == (91, 304)  # 1 April to 31 October
    assert southern.answers.season == (274, 120)  # 1 October to 30 April


@pytest.mark.parametrize("unit", ["degF", "F", "delta_degF"])
def test_a_difference_of_temperature_has_no_zero_point(unit: str) -> None:
    """9 degF more is 5 degC more; alone, or in a list by month."""
    assert parse(f"9 {unit}", WARMING) == pytest.approx(5.0)
    assert convert(9.0, unit, WARMING.base) == pytest.approx(5.0)
    assert parse("41 degF", TEMPERATURE) == pytest.approx(5.0)


def test_a_label_does_not_outlive_the_settings_that_it_describes():
    plan = shipped("demo").plan_named("refill")
    assert plan.label == "Refill at 40% depletion"
    later = replace(plan, trigger=0.6)
    assert later.label == "refill, trigger = 0.6"
    assert replace(later, season=(100, 200)).label == "refill, trigger = 0.6, season changed"
    assert replace(later, trigger=plan.trigger).label == plan.label
    assert replace(plan, key="mine").label == plan.label
    assert replace(plan, trigger=0.6, label="Late").label == "Late"
    assert replace(plan, trigger=0.6, label="Late") == replace(later, label="Late")
    mine = shipped("demo").with_plan("mine", lambda morning: 0.0, like="refill")
    assert mine.plan_named("mine").label == "mine"
# --- a construction of another depth ----------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("sand_over_gravel_10in", '{ like = "sand_over_gravel_12in", depth = "10 in" }'),
        ("sand_over_gravel_250mm", '{ like = "sand_over_gravel_8in", depth = "250 mm" }'),
        ("sand_cap_6in_over_loam", '{ like = "sand_cap_4in_over_loam", cap_depth = "6 in" }'),
        ("native_loam_24in", '{ like = "native_loam", depth = "24 in" }'),
    ],
)
def test_a_construction_of_another_depth_is_refused_with_the_line_that_runs(
    name: str, line: str
) -> None:
    (fault,) = root_zone_faults(f'"{name}"')
    assert f"'{name}' is not known; root_zone = {line}" in fault
    zone = read(HEAD, FIELD.replace('"native_loam"', line), PLAN).fields[0].root_zone
    depth_mm = parse(line.split('"')[3], LENGTH)
    assert depth_mm in [pytest.approx(value) for value in zone.numbers.values()]


@pytest.mark.parametrize("name", ["sand_over_gravel_90ft", "gravel_10in", "loam"])
def test_no_line_for_what_is_no_construction(name: str) -> None:
    (fault,) = root_zone_faults(f'"{name}"')
    assert "root_zone = {" not in fault
