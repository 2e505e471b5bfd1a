"""Feeding in a scenario: what is written is what a year gets; faults told at once."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from drysward.catalog import SCENARIO, load_catalog
from drysward.cli import main
from drysward.faults import FaultyInput
from drysward.quantities import FEED, parse
from drysward.scenario.feeding_tables import (
    MOST_DOSES,
    QUICK_FORMS,
    SLOW_FORMS,
    TooManyParts,
    _split,
    analysis,
    feeding_plan_for,
    feeding_plans,
    yearly_need_kg_ha,
)
from drysward.scenario.load import loads, shipped_texts
from drysward.scenario.model import DoseSpec, FeedingSpec, SlowPart
from drysward.scenario.resolved import DEFAULT, Row, resolved_values
from drysward.scenario.starter import NewField, NewScenario, scenario_text
from drysward.screen.feeding import feeding_notes, feeding_table
from drysward.studies.doubt.draws import doubtful
from drysward.studies.sweep.description import sweep_of
from drysward.studies.sweep.points import point_at

HEAD = """
title = "Fed"
[site]
name = "Ostrel Bay"
latitude = "{latitude} deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
[plans.keep]
rule = "none"
[fields.north]
area = "1 acre"
species = "{species}"
root_zone = "{zone}"
delivery = "hand_hose"
"""
LB_1000 = 48.82427636383052  # kg/ha


def scenario(
    feeding: str, species: str = "kentucky_bluegrass", zone: str = "native_loam", latitude: int = 40
):
    head = HEAD.format(species=species, zone=zone, latitude=latitude)
    return loads(f"{head}\n{feeding}\n", Path("here"))


def fed(feeding: str, *of, **more) -> FeedingSpec:
    found = scenario(feeding, *of, **more).fields[0].feeding
    assert found is not None
    return found


def faults(feeding: str, *of) -> list[str]:
    with pytest.raises(FaultyInput) as refusal:
        scenario(feeding, *of)
    return [str(fault).removeprefix("scenario: fields.north.") for fault in refusal.value.faults]


def doses(*rows: str) -> str:
    return f"[fields.north.feeding]\ndoses = [{', '.join(rows)}]"


def check_lines(feeding: str, *of, system: str = "us", **more) -> str:
    read = scenario(feeding, *of, **more)
    return "\n".join(f"{name}: {text}" for name, text in feeding_notes(read, system))


UREA = '{ day = "09-01", product = "46-0-0", rate = "1 lb/1000 ft2" }'


def test_a_field_that_says_nothing_is_not_fed() -> None:
    read = scenario("")
    assert read.fields[0].feeding is None
    assert not any(".feeding." in row.key for row in resolved_values(read))
    assert feeding_table(read, "us") == []
    assert list(feeding_notes(read, "us")) == []


# --- doses ------------------------------------------------------------------------------------


def test_a_dose_as_it_is_written() -> None:
    found = fed(
        doses(
            '{ day = "05-10", product = "25-5-10", rate = "0.75 lb/1000 ft2", '
            'nitrogen = { urea = 0.2, nitrate = "10%", ammonium = 0.2, '
            '"polymer-coated urea" = 0.3, compost = 0.2 }, rated = "120 days" }'
        )
    )
    n = 0.75 * LB_1000
    weight = n / 0.25
    (dose,) = found.doses
    assert dose.day == 130  # 10 May in a leap year, from 0
    assert dose.urea_kg_ha == pytest.approx(0.2 * n)
    assert dose.ammonium_kg_ha == pytest.approx(0.2 * n)
    assert dose.nitrate_kg_ha == pytest.approx(0.1 * n)
    assert dose.slow == (
        SlowPart("polymer-coated urea", 120.0, pytest.approx(0.3 * n)),
        SlowPart("compost", 0.0, pytest.approx(0.2 * n)),
    )
    # P2O5 is 43.64% phosphorus, K2O 83.01% potassium, by atomic weights.
    assert dose.p_kg_ha == pytest.approx(weight * 0.05 * 2 * 30.974 / 141.944, rel=1e-4)
    assert dose.k_kg_ha == pytest.approx(weight * 0.10 * 2 * 39.098 / 94.195, rel=1e-4)
    assert dose.n_kg_ha == pytest.approx(n)
    assert dose.quick_kg_ha == pytest.approx(0.5 * n)
    assert "30% polymer-coated urea (120 d), 20% compost" in dose.label


def test_all_else_as_it_is_written_or_usual() -> None:
    found = fed(
        doses(UREA)
        + """
clippings = "removed"
organic_matter = "2%"
soil_ph = 7.2
soil_phosphorus = "low"
soil_potassium = "low"
most_quick = "60 kg/ha"
hold = "3 weeks"
water_in = "0.15 in"
granules_on_paving = "5%"
water = { salt = "1200 uS/cm", nitrogen = "10 ppm" }
"""
    )
    assert not found.clippings_returned
    assert found.organic_matter == pytest.approx(0.02)
    assert (found.soil_ph, found.soil_phosphorus) == (7.2, "low")
    assert not found.potassium_enough
    assert found.most_quick_kg_ha == 60.0
    assert found.hold_days == 21
    assert found.water_in_mm == pytest.approx(3.81)
    assert found.on_paving == pytest.approx(0.05)
    assert found.water_salt_ds_m == pytest.approx(1.2)
    assert found.water_n_mg_l == 10.0
    native, sand = (fed(doses(UREA), zone=zone) for zone in ("native_clay", "sand_over_gravel_8in"))
    assert native.clippings_returned
    assert native.organic_matter > sand.organic_matter > 0.0
    assert native.most_quick_kg_ha > sand.most_quick_kg_ha > 0.0
    assert (native.hold_days, native.water_in_mm, native.plan) == (14, 0.0, "")


@pytest.mark.parametrize(
    "typed",
    ["1 lb/1000 ft2", "1 lb/1,000 ft2", "1 lb/1000 sq ft", "1 LB/1000 sq. ft.", "43.56 lb/acre",
     "4.882427636383052 g/m2", "48.82427636383052 kg/ha", "16 oz/1000 ft2", "1 lb per 1000 ft2"],
)  # fmt: skip
def test_rates_as_people_type_them(typed: str) -> None:
    # 1 lb/1000 ft2 = 0.45359237 kg on 92.90304 m2.
    assert parse(typed, FEED) == pytest.approx(0.45359237 / 92.90304 * 10_000.0, rel=1e-9)


def test_a_rate_of_product_holds_its_share_of_nitrogen() -> None:
    (dose,) = fed(doses(UREA.replace("rate", "product_rate"))).doses
    assert dose.n_kg_ha == pytest.approx(0.46 * LB_1000)
    row = '{ day = "06-01", product = "0-0-50", product_rate = "2 lb/1000 ft2" }'
    (dose,) = fed(doses(row)).doses
    assert dose.n_kg_ha == 0.0
    assert dose.k_kg_ha == pytest.approx(LB_1000 * 0.8301)


@pytest.mark.parametrize("form", [*QUICK_FORMS, *SLOW_FORMS])
def test_one_form_alone_may_be_named(form: str) -> None:
    row = UREA.replace(" }", f', nitrogen = "{form}" }}')
    (dose,) = fed(doses(row)).doses
    assert dose.n_kg_ha == pytest.approx(LB_1000)
    assert dose.quick_kg_ha == pytest.approx(LB_1000 if form in QUICK_FORMS else 0.0)
    assert [part.kind for part in dose.slow] == ([] if form in QUICK_FORMS else [form])


@pytest.mark.parametrize("text", ["25-0-10", " 15.5 - 0 - 0 ", "0-0-60", "0-46-0"])
def test_analyses(text: str) -> None:
    found = analysis(text)
    assert 0.0 < found.nitrogen + found.p2o5 + found.k2o <= 1.0


# --- the largest dose of quick nitrogen -------------------------------------------------------


def a_dose(day: int, quick: float, slow: float = 0.0) -> DoseSpec:
    parts = (SlowPart("compost", 0.0, slow),) if slow else ()
    return DoseSpec(day, quick, 0.0, 0.0, parts, 1.0, 2.0, 10.0, "x")


def test_a_large_dose_goes_down_in_equal_parts() -> None:
    found = fed(doses(UREA.replace("1 lb", "2.5 lb")))
    assert [dose.day for dose in found.doses] == [244, 258, 272]
    assert [dose.n_kg_ha for dose in found.doses] == pytest.approx([2.5 * LB_1000 / 3.0] * 3)
    (note,) = found.notes
    assert "09-01" in note
    assert "3 parts, 14 days apart" in note


def test_quick_doses_less_than_a_week_apart_are_named() -> None:
    three, ten = (UREA.replace("09-01", f"09-{day}") for day in ("04", "08"))
    (note,) = fed(doses(UREA, three)).notes
    assert note.startswith("the doses of 09-01 and 09-04 hold more quick nitrogen together than")
    assert fed(doses(UREA, ten)).notes == ()
    halves = [row.replace("1 lb", "0.5 lb") for row in (UREA, three)]
    assert fed(doses(*halves)).notes == ()
    for pair in ("12-30", "01-02"), ("02-25", "03-03"):  # 3 and 6 days in common years
        around = [UREA.replace("09-01", day) for day in pair]
        assert " and ".join(pair) in fed(doses(*around)).notes[0]
    # Several that none of them is too much for, and two with a little between them.
    often = [UREA.replace("1 lb", "0.45 lb").replace("09-01", f"09-0{day}") for day in (1, 3, 5, 7)]
    (note,) = fed(doses(*often)).notes
    assert "09-01 to 09-07" in note
    amounts = zip((1, 3, 5), ("0.9", "0.05", "0.9"), strict=True)
    crumb = [UREA.replace("1 lb", f"{n} lb").replace("09-01", f"09-0{day}") for day, n in amounts]
    assert "09-01 to 09-05" in fed(doses(*crumb)).notes[0]
    # What parts bring close together.
    parts = fed(doses(UREA.replace("1 lb", "2 lb"), UREA.replace("09-01", "09-13"))).notes
    assert "09-13 and 09-15" in parts[-1]


def test_the_weight_of_product_goes_with_its_nitrogen() -> None:
    (dose,) = fed(doses(UREA)).doses
    assert dose.product_kg_ha == pytest.approx(LB_1000 / 0.46)
    parts = fed(doses(UREA.replace("1 lb", "2 lb")), zone="native_loam").doses
    assert [part.product_kg_ha for part in parts] == pytest.approx([LB_1000 / 0.46] * 2)
    twice = fed(doses(UREA) + '\nyearly = "2 lb/1000 ft2"').doses
    assert sum(part.product_kg_ha for part in twice) == pytest.approx(2.0 * LB_1000 / 0.46)


def test_slow_nitrogen_alone_is_never_split() -> None:
    row = UREA.replace("1 lb", "4 lb").replace(" }", ', nitrogen = "methylene urea" }')
    found = fed(doses(row))
    assert len(found.doses) == 1
    assert found.notes == ()


def test_the_usual_largest_dose_of_sand_and_native_soil_is_not_split() -> None:
    assert fed(doses(UREA)).notes == ()
    half = UREA.replace("1 lb", "0.5 lb")
    assert fed(doses(half), zone="sand_over_gravel_12in").notes == ()
    assert len(fed(doses(UREA), zone="sand_over_gravel_12in").doses) == 2


def test_parts_keep_the_year_s_feed_and_the_limit() -> None:
    """Over random years of doses: nothing is lost, no day is above the limit, no leap day."""
    rng = np.random.default_rng(5)
    n_split = 0
    for _ in range(300):
        most = rng.uniform(10.0, 60.0)
        year = [
            a_dose(int(rng.integers(0, 366)), rng.uniform(0.0, 100.0), rng.uniform(0.0, 20.0))
            for _ in range(rng.integers(1, 12))
        ]
        year = [d for d in year if d.day != 59]
        if not year:
            continue
        try:
            parts, notes = _split(year, most)
        except TooManyParts:
            continue
        n_split += bool(notes)
        assert len(parts) <= MOST_DOSES
        for name in ("urea_kg_ha", "n_kg_ha", "p_kg_ha", "k_kg_ha"):
            before, after = (sum(getattr(d, name) for d in ds) for ds in (year, parts))
            assert after == pytest.approx(before)
        by_day: dict[int, float] = {}
        for dose in parts:
            by_day[dose.day] = by_day.get(dose.day, 0.0) + dose.quick_kg_ha
        assert max(by_day.values()) <= most * 1.002
        assert 59 not in by_day
        assert [dose.day for dose in parts] == sorted(dose.day for dose in parts)
    assert n_split > 100


def test_parts_cross_the_new_year_and_skip_the_leap_day() -> None:
    parts, _ = _split([a_dose(360, 90.0)], 45.0)
    assert [dose.day for dose in parts] == [8, 360]
    parts, _ = _split([a_dose(45, 90.0)], 45.0)
    assert [dose.day for dose in parts] == [45, 60]


# --- feeding plans ----------------------------------------------------------------------------

# kg/ha a year: the span that Landschoot and the University of Illinois give Kentucky bluegrass and
# McAfee gives zoysiagrass or hybrid bermudagrass; sand a quarter to a half more; little used 50 to
# 100, heavy use on loam 180 to 250 (both from memory), sports bermudagrass 244 to 342 (LSU).
YEARLY = {
    "cool-season on native soil": (146.0, 195.0),
    "cool-season on sand": (146.0 * 1.25, 195.0 * 1.5),
    "warm-season on native soil": (146.0, 195.0),
    "warm-season on sand": (146.0 * 1.25, 244.0 * 1.5),
    "cool-season, little input": (50.0, 100.0),
    "warm-season, little input": (50.0, 100.0),
    "cool-season, heavy use": (180.0, 250.0),
    "warm-season, heavy use": (244.0, 342.0),
}
SPECIES = {"cool": "kentucky_bluegrass", "warm": "bermudagrass"}
ZONES = {"native": "native_loam", "sand": "sand_over_gravel_12in"}


def test_every_plan_has_a_known_total() -> None:
    assert set(feeding_plans()) == set(YEARLY)


@pytest.mark.parametrize("name", YEARLY)
def test_a_plan_fits_its_turf_and_ground(name: str) -> None:
    words = feeding_plans()[name]
    of = SPECIES[words["season"]], ZONES[words["ground"]]
    found = fed(f'feeding = "{name}"', *of)
    assert found.plan == name
    assert found.notes == ()
    assert len(found.doses) == len(words["doses"])
    least, most = YEARLY[name]
    assert least <= sum(dose.n_kg_ha for dose in found.doses) <= most
    assert sum(dose.p_kg_ha for dose in found.doses) == 0.0
    if words["ground"] == "sand":
        # 0.25 to 0.5 lb/1000 ft2 every two or three weeks.
        assert all(12.0 <= dose.n_kg_ha <= 24.5 for dose in found.doses)
        days = np.diff([dose.day for dose in found.doses])
        assert np.all((days >= 13) & (days <= 22))
    first, last = found.doses[0].day, found.doses[-1].day
    begins, ends = {"cool": ("04-01", "11-10"), "warm": ("05-01", "09-20")}[words["season"]]
    table = tomllib.loads(f'a = {{ from = "{begins}", to = "{ends}" }}')["a"]
    days = [fed(doses(UREA.replace("09-01", day))).doses[0].day for day in table.values()]
    assert days[0] <= first
    assert last <= days[1]


def test_most_of_a_cool_season_year_is_fed_in_autumn() -> None:
    """Illinois: early September comes first, late October third."""
    found = fed('feeding = "cool-season on native soil"').doses
    autumn = sum(dose.n_kg_ha for dose in found if dose.day >= 244)
    assert autumn > 0.5 * sum(dose.n_kg_ha for dose in found)
    summer = [dose for dose in found if 152 <= dose.day < 244]
    assert all(dose.quick_kg_ha < 0.5 * dose.n_kg_ha for dose in summer)


@pytest.mark.parametrize("name", YEARLY)
def test_south_of_the_equator_a_plan_is_six_months_later(name: str) -> None:
    words = feeding_plans()[name]
    of = SPECIES[words["season"]], ZONES[words["ground"]]
    north, south = (fed(f'feeding = "{name}"', *of, latitude=side) for side in (40, -40))
    shifted = sorted((dose.day + 184) % 366 for dose in north.doses)
    apart = (np.array([dose.day for dose in south.doses]) - shifted + 183) % 366 - 183
    assert np.abs(apart).max() <= 3
    assert sum(d.n_kg_ha for d in south.doses) == pytest.approx(
        sum(d.n_kg_ha for d in north.doses)
    )


def test_own_doses_are_on_their_days_on_both_sides() -> None:
    assert fed(doses(UREA), latitude=-40).doses[0].day == 244


def test_a_plan_for_other_turf_or_ground_is_told() -> None:
    wrong = fed('feeding = "cool-season on sand"', "bermudagrass")
    assert wrong.notes[0] == (
        "'cool-season on sand' is for cool-season turf; Bermudagrass is warm-season"
    )
    assert wrong.notes[1] == "'cool-season on sand' is for sand; this field is on native soil"


@pytest.mark.parametrize("zone", ["native_loam", "sand_over_gravel_12in", "sand_cap_4in_over_loam"])
@pytest.mark.parametrize("name", YEARLY)
def test_every_plan_can_be_split_for_sand(name: str, zone: str) -> None:
    for latitude in (40, -40):
        found = fed(f'feeding = "{name}"', zone=zone, latitude=latitude)
        assert max(dose.quick_kg_ha for dose in found.doses) <= found.most_quick_kg_ha * 1.002


def test_the_guide_names_what_plans_there_are() -> None:
    guide = (Path(__file__).parents[2] / "sim" / "docs" / "scenario.md").read_text("utf-8")
    kinds = {name.removeprefix("cool-season").removeprefix("warm-season").strip(" ,")
             for name in feeding_plans()}  # fmt: skip
    assert all(f"`{kind}`" in guide for kind in kinds)


# --- the need of the species, and what check says ---------------------------------------------


def test_every_species_has_a_need_and_a_feeding_plan() -> None:
    catalog = load_catalog()
    for species in catalog.entries["species"].values():
        for zone in (catalog.get("root_zones", zone) for zone in ZONES.values()):
            least, most = yearly_need_kg_ha(species, zone, catalog)
            assert 40.0 < least < most < 450.0
            plan = feeding_plans()[feeding_plan_for(species, zone)]
            assert plan["season"] == species.words["season"]


def test_check_says_what_a_year_gets_beside_the_need() -> None:
    said = check_lines('feeding = "cool-season on native soil"\nlabel = "North"')
    assert (
        "Feed: North: 3.5 lb/1000 ft2 of nitrogen a year; Kentucky bluegrass usually gets 3 to 4"
        in said
    )
    assert "Caution: Local law on fertilizer" in said
    metric = check_lines('feeding = "cool-season on native soil"', system="metric")
    assert "171 kg/ha of nitrogen a year; Kentucky bluegrass usually gets 146 to 195" in metric
    assert "on sand usually gets 3.7 to 6" in check_lines(
        'feeding = "cool-season on sand"', zone="sand_over_gravel_12in"
    )


@pytest.mark.parametrize(
    "rate, clippings, told",
    [("4.4 lb", "removed", "this is more"), ("4 lb", "removed", ""), ("2.9 lb", "removed", "less"),
     ("2.6 lb", "returned", ""), ("1.4 lb", "returned", "this is less"), ("3 lb", "removed", ""),
     ("2.9 lb", "returned", "this is more")],
)  # fmt: skip
def test_check_says_when_a_year_gets_less_or_more(rate: str, clippings: str, told: str) -> None:
    said = check_lines(
        doses(UREA.replace("1 lb", rate)) + f'\nclippings = "{clippings}"\n'
    ).splitlines()[0]
    assert (": this is" in said) == bool(told)
    assert told in said


def test_nitrogen_of_the_water_is_told() -> None:
    """10 mg/L bring 10 kg/ha with 100 mm (arithmetic)."""
    water = '\nwater = { nitrogen = "10 mg/L" }'
    metric = check_lines(doses(UREA) + water, system="metric")
    assert "Each 100 mm of watering brings 10 kg/ha more, which counts as feed" in metric
    assert "Each 10 in of watering brings 0.52 lb/1000 ft2 more" in check_lines(doses(UREA) + water)


def test_water_with_much_salt_has_a_caution() -> None:
    """Above 3 dS/m use is severely restricted, Ayers & Westcot 1985, FAO-29, from memory."""
    lines = [check_lines(doses(UREA) + f'\nwater = {{ salt = "{n} dS/m" }}') for n in (3, 6)]
    assert "severely restricted" not in lines[0]
    assert "water of 6 dS/m; above 3 its use is severely restricted" in lines[1]


def test_phosphorus_without_need_is_told() -> None:
    row = UREA.replace("46-0-0", "20-5-10")
    assert "doses hold phosphorus" in check_lines(doses(row))
    assert "phosphorus, and" not in check_lines(doses(row) + '\nsoil_phosphorus = "low"')
    assert "phosphorus, and" not in check_lines(doses(UREA))


def test_check_lists_the_doses_in_the_order_of_the_turf_year() -> None:
    for latitude, first in ((40, "05-10"), (-40, "11-10")):
        read = scenario('feeding = "warm-season on native soil"', "bermudagrass", latitude=latitude)
        (table,) = feeding_table(read, "us")
        assert table.rows[0]["day"] == first
        assert sum(float(row["nitrogen"] or 0.0) for row in table.rows) == pytest.approx(3.75)
        assert table.blocks["north"] == (
            "north (north): warm-season on native soil, clippings returned"
        )


def test_the_command_check_shows_it(tmp_path: Path) -> None:
    text = shipped_texts()["demo"].replace("years = 200", "years = 5")
    path = tmp_path / "fed.toml"
    path.write_text(
        text.replace("[fields.stadium]\n", '[fields.stadium]\nfeeding = "cool-season on sand"\n'),
        encoding="utf-8",
    )
    shown = CliRunner().invoke(main, ["check", str(path), "--format", "json"])
    assert shown.exit_code == 0, shown.output
    tables = {table["key"]: table for table in json.loads(shown.output)["tables"]}
    assert len(tables["feeding"]["rows"]) == 12
    assert "Stadium: 4.6 lb/1000 ft2 of nitrogen a year" in shown.output
    # 2 acre are 87.12 thousand square feet.
    for row in tables["feeding"]["rows"]:
        assert row["product_of_field"] == pytest.approx(87.12 * row["product_rate"])
        share = float(row["product"].partition("-")[0]) / 100.0
        assert row["product_rate"] * share == pytest.approx(row["nitrogen"])
    plain = CliRunner().invoke(main, ["check", str(path)])
    assert "Feed of a year" in plain.output


def test_resolved_values_say_where_feeding_comes_from() -> None:
    found = {row.key: row for row in resolved_values(scenario(doses(UREA) + "\nsoil_ph = 7.0"))}
    at = "fields.north.feeding"
    n = pytest.approx(LB_1000)
    assert found[f"{at}.parts[1].urea"] == Row(
        f"{at}.parts[1].urea", n, "kg/ha", SCENARIO, SCENARIO
    )
    assert found[f"{at}.soil_ph"].grade == SCENARIO
    assert found[f"{at}.hold"].grade == DEFAULT
    named = {
        row.key: row
        for row in resolved_values(scenario('feeding = "cool-season on native soil"'))
    }
    assert named[f"{at}.plan"].grade == SCENARIO
    assert named[f"{at}.parts[1].urea"].grade == DEFAULT


def test_a_rate_may_have_a_range() -> None:
    read = scenario(doses(UREA.replace("1 lb/1000 ft2", "1 lb/1000 ft2 (0.8 to 1.2 lb/1000 ft2)")))
    key = "fields.north.feeding.doses[1].rate"
    rows = {row.key: row for row in resolved_values(read)}
    assert rows[key].range.startswith("0.8 to 1.2 lb/1000 ft2")
    assert read.fields[0].feeding.doses[0].n_kg_ha == pytest.approx(LB_1000)
    (number,) = (one for one in doubtful(read) if one.key == key)
    assert number.unit == "lb/1000 ft2"


def test_a_sweep_shares_no_ground_between_fields_fed_otherwise() -> None:
    text = """
scenario = "demo.toml"
plans = ["refill"]
[axes.feeding]
key = "fields.practice.feeding.plan"
values = ["cool-season on native soil", "cool-season, heavy use"]
"""
    base = shipped_texts()["demo"].replace(
        "[fields.practice]\n", '[fields.practice]\nfeeding = "cool-season, little input"\n'
    )
    sweep = sweep_of("s.toml", text, "demo.toml", base, ".")
    one, other = (point_at(sweep, np.array([place])) for place in (0.0, 1.0))
    assert one.weather == other.weather
    assert one.fields[0] == other.fields[0]
    assert one.fields[1] != other.fields[1]
    assert other.scenario.field_named("practice").feeding.plan == "cool-season, heavy use"


@pytest.mark.parametrize("species, zone, latitude", [
    ("kentucky_bluegrass", "native_loam", "40 deg"),
    ("bermudagrass", "sand_over_gravel_12in", "-35 deg"),
])  # fmt: skip
@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_sample_of_a_new_scenario_runs_once_it_is_taken_out_of_its_comment(
    species: str, zone: str, latitude: str, units: str
) -> None:
    new = NewScenario(
        latitude=latitude, units=units, field_list=(NewField("Main", "1 acre", species, zone),)
    )
    text = scenario_text(new, "a.toml")
    assert loads(text, ".").fields[0].feeding is None
    named = text.replace("#[fields.main.feeding]", "[fields.main.feeding]").replace(
        "#plan = ", "plan = ", 1
    )
    own = re.sub(r"^# (doses = |  \{ day|\]$)", r"\1", named, flags=re.M).replace(
        "\nplan = ", "\n#plan = "
    )
    for sample in (named, own):
        feeding = loads(sample, ".").fields[0].feeding
        assert feeding is not None
        assert feeding.notes == ()
        assert bool(feeding.plan) == (sample == named)


# --- faults -----------------------------------------------------------------------------------

GOOD = 'day = "09-01", product = "46-0-0", rate = "1 lb/1000 ft2"'
DOSE = "feeding.doses[1]"
COATED = '"polymer-coated urea"'


@pytest.mark.parametrize(
    "row, told",
    [
        ('product = "46-0-0", rate = "1 lb/acre"', f"{DOSE}.day: is missing; write day = ..."),
        (GOOD.replace("09-01", "1 Sept"), f"{DOSE}.day: '1 Sept' is not a day of the year"),
        (GOOD.replace("09-01", "02-29"), f'{DOSE}.day: comes in leap years only; write day = "0'),
        (GOOD.replace("46-0-0", "46-0"), f"{DOSE}.product: '46-0' is not an analysis; N-P2O5-K2O"),
        (GOOD.replace("46-0-0", "60-30-20"), f"{DOSE}.product: '60-30-20' adds up to 110%"),
        (GOOD.replace("46-0-0", "0-0-0"), f"{DOSE}.product: '0-0-0' adds up to 0%"),
        (GOOD.replace('"46-0-0"', "46"), f"{DOSE}.product: 46 is not an analysis"),
        (GOOD.replace('"1 lb/1000 ft2"', "1"), f'{DOSE}.rate: 1 has no unit; write "1 lb/1000 ft'),
        (GOOD.replace("1 lb/1000 ft2", "1 lb"), f"{DOSE}.rate: unit 'lb' cannot be converted"),
        (GOOD.replace("1 lb", "30 lb"), f"{DOSE}.rate: '30 lb/1000 ft2' is refused; more than 0,"),
        (GOOD.replace("1 lb", "-1 lb"), f"{DOSE}.rate: '-1 lb/1000 ft2' is out of range"),
        ('day = "09-01", product = "46-0-0"', f'{DOSE}.rate: is missing; write rate = "0.75 lb/'),
        (f'{GOOD}, product_rate = "2 lb/acre"', f"{DOSE}.product_rate: conflicts with rate; keep"),
        (GOOD.replace("46-0-0", "0-0-50"), f"{DOSE}.rate: '0-0-50' has no nitrogen; write product"),
        ('day = "09-01", product = "0-0-50"', f"{DOSE}.product_rate: is missing; write product_ra"),
        ('day = "09-01", product = "46-0-0", product_rate = "3000 kg/ha"',
         f"{DOSE}.product_rate: holds 1,380 kg/ha of nitrogen; at most 1,000"),
        (f"{GOOD}, nitrogen = {{ ureas = 1 }}", f"{DOSE}.nitrogen.ureas: 'ureas' is not known; d"),
        (f'{GOOD}, nitrogen = "ureaform"', f"{DOSE}.nitrogen.ureaform: 'ureaform' is not known"),
        (f"{GOOD}, nitrogen = {{ urea = 0.6, nitrate = 0.3 }}", f"{DOSE}.nitrogen: shares add up to"
         " 0.9; shares that add up to 1"),
        (f"{GOOD}, nitrogen = {{}}", f"{DOSE}.nitrogen: shares add up to 0"),
        (f'{GOOD}, rated = "90 days"', f"{DOSE}.rated: is for coated urea; leave it out, or write"),
        (f"{GOOD}, nitrogen = {COATED}, rated = 90", f'{DOSE}.rated: 90 has no unit; write "90 d'),
        (f"{GOOD}, color = 1", f"{DOSE}.color: is not known here; known: day, nitrogen, product"),
    ],
)  # fmt: skip
def test_a_faulty_dose_is_told_with_its_mend(row: str, told: str) -> None:
    found = faults(doses(f"{{ {row} }}"))
    assert len(found) == 1, found
    assert found[0].startswith(told)


@pytest.mark.parametrize(
    "feeding, told",
    [
        ("feeding = {}", 'feeding: names no doses; write plan = "cool-season on native soil", or'),
        ('feeding = "cool season on sand"', "feeding.plan: 'cool season on sand' is not known; d"),
        ("feeding = 3", "feeding.plan: 3 is refused; should be a valid string"),
        ("feeding = true", "feeding: True is not a table"),
        ("feeding.doses = []", "feeding.doses: nothing is refused; should have at least 1 item"),
        ('feeding.doses = "spring"', "feeding.doses: 'spring' is not a list"),
        (doses(UREA) + '\nplan = "cool-season on sand"', "feeding.doses: conflicts with plan; k"),
        (doses(UREA) + '\nclippings = "mulched"', "feeding.clippings: 'mulched' is not known"),
        (doses(UREA) + "\nsoil_ph = 2", "feeding.soil_ph: 2 is refused; 4 to 9.5"),
        (doses(UREA) + "\norganic_matter = 30", "feeding.organic_matter: 30 is refused; more than"),
        (doses(UREA) + '\nsoil_phosphorus = "fine"', "feeding.soil_phosphorus: 'fine' is not know"),
        (doses(UREA) + '\nsoil_potassium = "high"', "feeding.soil_potassium: 'high' is not known"),
        (doses(UREA) + '\nhold = "half a day"', "feeding.hold: 'half a day' is not a number with"),
        (doses(UREA) + '\nwater_in = "3 in"', "feeding.water_in: '3 in' is refused; 0 to 1.96 in"),
        (doses(UREA) + '\ngranules_on_paving = "110%"', "feeding.granules_on_paving: '110%' is"),
        (doses(UREA) + '\nwater = { salt = "60 dS/m" }', "feeding.water.salt: '60 dS/m' is refuse"),
        (doses(UREA) + "\nwater = { salt = 1.2 }", 'feeding.water.salt: 1.2 has no unit; write "'),
        (doses(UREA) + '\nwater = { nitrogen = "1 lb" }', "feeding.water.nitrogen: unit 'lb' cann"),
        (doses(UREA) + '\nmost_quick = "1 kg/ha"', "feeding.most_quick: splits the doses into more "
         'parts than a year has room for, 14 days apart (60 at most); write a larger one, such as'),
    ],
)  # fmt: skip
def test_faulty_feeding_is_told_with_its_mend(feeding: str, told: str) -> None:
    found = faults(feeding)
    assert len(found) == 1, found
    assert found[0].startswith(told)


def test_at_most_three_kinds_of_slow_nitrogen() -> None:
    def of(*kinds: tuple[str, str]) -> str:
        return doses(*(f'{{ {GOOD}, nitrogen = "{kind}"{rated} }}' for kind, rated in kinds))

    three = (("compost", ""), ("methylene urea", ""), ("polymer-coated urea", ', rated = "90 d"'))
    assert len(fed(of(*three, *three)).doses) == 6
    (told,) = faults(of(*three, ("polymer-coated urea", ', rated = "45 d"')))
    assert told.startswith("feeding.doses: hold 4 kinds of slow nitrogen (compost, methylene urea,")
    assert "polymer-coated urea (45 d)" in told
    assert told.endswith("at most 3 of them in the doses of a field")


def test_every_fault_is_told_at_once() -> None:
    row = '{ day = "02-29", product = "0-0-50", rate = "1 lb/acre", nitrogen = "urea" }'
    assert len(faults(doses(row, row))) == 6


def test_a_skinned_surface_is_not_fed() -> None:
    head = HEAD.format(species="x", zone="infield_mix", latitude=40)
    head = head.replace('species = "x"', 'surface = "skinned"')
    with pytest.raises(FaultyInput) as refusal:
        loads(head + 'feeding = "cool-season on sand"\n', Path("here"))
    assert [str(fault) for fault in refusal.value.faults] == [
        "scenario: fields.north.feeding: a skinned surface grows nothing; leave it out"
    ]


def test_a_price_of_nitrogen() -> None:
    priced = '\n[costs]\nnitrogen = "1.50 per lb"'
    assert scenario(doses(UREA) + priced).costs.nitrogen_price_kg == pytest.approx(1.5 / 0.45359237)
    with pytest.raises(FaultyInput, match=r"costs.nitrogen: no field is fed; write fields.KEY"):
        scenario(priced)
    with pytest.raises(FaultyInput, match="is not a price of nitrogen; a price and a weight"):
        scenario(doses(UREA) + priced.replace("lb", "tub"))


@pytest.mark.parametrize("lb", [0.5, 2.0, 7.0])
@pytest.mark.parametrize(
    "doses",
    [
        'plan = "cool-season on native soil"',
        'doses = [{ day = "05-01", product = "20-5-10", rate = "1 lb/1000 ft2" },'
        ' { day = "09-01", product = "0-20-20", product_rate = "2 lb/1000 ft2" },'
        ' { day = "10-01", product = "10-0-0", rate = "3 lb/1000 ft2" }]',
    ],
)
def test_doses_are_scaled_to_the_nitrogen_of_a_year(doses, lb):
    written = fed(f"[fields.north.feeding]\n{doses}\nmost_quick = '20 lb/1000 ft2'")
    line = f'yearly = "{lb} lb/1000 ft2"'
    scaled = fed(f"[fields.north.feeding]\n{doses}\n{line}\nmost_quick = '20 lb/1000 ft2'")
    of_year, before = (sum(dose.n_kg_ha for dose in one.doses) for one in (scaled, written))
    assert of_year == pytest.approx(lb * LB_1000)
    for dose, was in zip(scaled.doses, written.doses, strict=True):
        assert (dose.day, dose.label) == (was.day, was.label)
        for name in ("n_kg_ha", "p_kg_ha", "k_kg_ha"):
            expected = getattr(was, name) * of_year / before
            assert getattr(dose, name) == pytest.approx(expected)


def test_doses_without_nitrogen_cannot_be_scaled_to_it():
    potash = 'doses = [{ day = "09-01", product = "0-0-50", product_rate = "2 lb/1000 ft2" }]'
    (fault,) = faults(f'[fields.north.feeding]\n{potash}\nyearly = "2 lb/1000 ft2"')
    assert fault == "feeding.yearly: the doses hold no nitrogen; leave it out"
