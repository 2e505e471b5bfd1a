"""What a night can put on and what the ground takes: zones, flow, design, machines; ``check``."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from drysward.catalog import SCENARIO, load_catalog
from drysward.faults import FaultyInput
from drysward.physics.catch import patch_catches
from drysward.quantities import convert
from drysward.scenario.load import loads, shipped
from drysward.scenario.model import (
    BY_DESIGN,
    BY_FLOW,
    BY_MACHINE,
    BY_ZONES,
    SKINNED,
    DeliverySpec,
    FieldSpec,
    PlanSpec,
    Scenario,
)
from drysward.scenario.resolved import DEFAULT, resolved_values
from drysward.screen.document import notes
from drysward.screen.formats import as_text
from drysward.screen.night import grounds, shortfalls
from drysward.site.night import (
    ground_take_mm,
    most_depth_mm,
    night_of,
    nightly_gross_mm,
    pass_m3,
    passes_a_night,
    splits,
)
from drysward.site.root_zone import field_root_zone

IN = 25.4
GPM = convert(1.0, "gpm", "m^3/h")
ACRE = convert(1.0, "acre", "m^2")
HEAD = """
[site]
name = "Ostrel Bay"
latitude = "35 deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
"""
REFILL = 'rule = "refill"\ntrigger = 0.5'


def read(
    delivery: str, more: str = "", zone: str = '"native_loam"', plan: str = REFILL, site: str = ""
) -> Scenario:
    head = HEAD.replace("[weather]", f"{site}\n[weather]")
    field = f"""
[fields.a]
area = "1.8 acre"
species = "tall_fescue"
root_zone = {zone}
delivery = {delivery}
{more}
"""
    return loads(f"{head}{field}[plans.p]\n{plan}", Path("here"))


def delivered(delivery: str) -> DeliverySpec:
    return read(delivery).fields[0].delivery


def gross_in(delivery: str, window_h: float = 8.0) -> float:
    field = read(delivery).fields[0]
    return nightly_gross_mm(field.delivery, field.area_m2, window_h) / IN


def told(*words: str, **more: str) -> str:
    with pytest.raises(FaultyInput) as refusal:
        read(*words, **more)
    (fault,) = refusal.value.faults
    return str(fault)


# --- what a night puts on -----------------------------------------------------------------------


@pytest.mark.parametrize("zones, expected_in", [(1, 3.94), (4, 0.984), (12, 0.328)])
def test_zones_share_the_night(zones: int, expected_in: float) -> None:
    # 12.5 mm/h for 8 h over the zones.
    text = f'{{ system = "in_ground_rotors", zones = {zones} }}'
    assert delivered(text).basis == BY_ZONES
    assert gross_in(text) == pytest.approx(expected_in, abs=0.005)


def test_a_stated_flow() -> None:
    text = '{ system = "in_ground_rotors", flow = "60 gpm" }'
    assert delivered(text).basis == BY_FLOW
    # 60 gpm x 8 h on 1.8 acre of 27,154 gal/in.
    assert gross_in(text) == pytest.approx(60 * 60 * 8 / (1.8 * 27_154), abs=0.0005)


def test_a_flow_never_outruns_the_sprinklers() -> None:
    text = '{ system = "in_ground_rotors", flow = "5000 gpm" }'
    assert gross_in(text) == pytest.approx(12.5 * 8 / IN)


def test_by_default_a_system_keeps_up_with_a_peak_week() -> None:
    spec = delivered('"in_ground_rotors"')
    assert spec.basis == BY_DESIGN
    assert spec.flow_m3_h is not None
    # 7 x 0.25 in of 0.75 efficiency in 3 nights of 8 h: 0.78 in and 79 gpm on 1.8 acre.
    assert gross_in('"in_ground_rotors"') == pytest.approx(1.75 / 0.75 / 3, abs=0.0005)
    assert spec.flow_m3_h / GPM == pytest.approx(79.2, abs=0.05)
    # Of a longer night it makes use.
    assert gross_in('"in_ground_rotors"', 10.0) == pytest.approx(1.75 / 0.75 / 3 * 10 / 8)


@pytest.mark.parametrize(
    "system, gpm",
    [("big_gun_traveler", 100), ("hose_reel_boom", 60), ("small_traveler", 20),
     ("hand_hose", 20)],
)  # fmt: skip
def test_a_machine_has_a_flow_of_its_own(system: str, gpm: float) -> None:
    spec = delivered(f'"{system}"')
    assert spec.basis == BY_MACHINE
    assert spec.flow_m3_h is not None
    assert spec.flow_m3_h / GPM == pytest.approx(gpm, rel=1e-3)
    assert pass_m3(spec) == pytest.approx(spec.flow_m3_h * spec.hours_per_pass)
    passes = passes_a_night(spec, 8.0)
    assert gross_in(f'"{system}"') * IN == pytest.approx(
        passes * pass_m3(spec) / (1.8 * ACRE) * 1000.0
    )


@pytest.mark.parametrize(
    "window_h, hours_per_pass, passes",
    [(8.0, 2.5, 3), (7.5, 2.5, 3), (2.0, 2.5, 1), (0.3, 0.1, 3), (8.0, 0.0, 0)],
)
def test_a_machine_makes_whole_passes(window_h: float, hours_per_pass: float, passes: int) -> None:
    spec = DeliverySpec("big_gun_traveler", 0.65, 10.0, 0.0, 20.0, hours_per_pass, 0.75)
    assert passes_a_night(spec, window_h) == passes
    assert pass_m3(spec) == 20.0 * hours_per_pass


def test_passes_without_a_flow_are_refused() -> None:
    with pytest.raises(ValueError, match="need a flow"):
        pass_m3(DeliverySpec("hand_hose", 0.45, 25.0, 0.0, None, 4.0, 4.0))


def test_a_stated_flow_of_a_machine() -> None:
    spec = delivered('{ system = "big_gun_traveler", flow = "150 gpm", machine = "reel" }')
    assert (spec.basis, spec.machine) == (BY_FLOW, "reel")


def test_every_system_has_something_to_go_by() -> None:
    for system in load_catalog().entries["delivery"]:
        assert gross_in(f'"{system}"') > 0.0


# --- what is refused ----------------------------------------------------------------------------

ROTORS = '{{ system = "in_ground_rotors", {} }}'


@pytest.mark.parametrize(
    "wrong, expected",
    [
        ('zones = 9, flow = "60 gpm"', "delivery.zones: conflicts with flow; keep one of them"),
        ("zones = 0", "delivery.zones: 0 is refused; 1 to 60"),
        ("zones = 61", "delivery.zones: 61 is refused; 1 to 60"),
        ("zones = 4.5", "delivery.zones: 4.5 is refused; should be a valid integer"),
        ("zone = 4", "delivery.zone: is not known here; did you mean 'zones'?"),
        ('machine = "reel"', "delivery.machine: 'in_ground_rotors' makes no passes"),
    ],
)
def test_faults_of_a_system(wrong: str, expected: str) -> None:
    assert expected in told(ROTORS.format(wrong))


def test_a_machine_has_no_zones() -> None:
    found = told('{ system = "hand_hose", zones = 4 }')
    assert "fields.a.delivery.zones: is for systems in the ground" in found


def test_machines_of_one_name_are_of_one_kind() -> None:
    second = """[fields.b]
area = "1 acre"
species = "tall_fescue"
root_zone = "native_loam"
delivery = { system = "hand_hose", machine = "reel" }"""
    found = told('{ system = "big_gun_traveler", machine = "reel" }', second)
    expected = "scenario: fields.b.delivery.machine: 'reel' is a big_gun_traveler on field 'a'"
    assert found.startswith(expected)


@pytest.mark.parametrize(
    "slope, expected",
    [
        ("2", "a.slope: 2 is out of range; 0 to 0.3, rise over run; 2% is slope = 0.02"),
        ("-0.1", "fields.a.slope: -0.1 is out of range; 0 to 0.3"),
        ('"40%"', "fields.a.slope: 0.4 is out of range; 0 to 0.3, rise over run"),
    ],
)  # fmt: skip
def test_faults_of_a_slope(slope: str, expected: str) -> None:
    assert expected in told('"in_ground_rotors"', f"slope = {slope}")


@pytest.mark.parametrize(
    "site, expected",
    [
        ('crew = "0 h"', "site.crew: '0 h' is refused; more than 0, up to 200 h"),
        ('crew = "300 h"', "site.crew: '300 h' is refused; more than 0, up to 200 h"),
        ("crew = 8", "site.crew: 8 has no unit; write \"8 h\", or in min"),
    ],
)
def test_faults_of_the_crew(site: str, expected: str) -> None:
    assert expected in told('"hand_hose"', site=site)


@pytest.mark.parametrize(
    "plan, expected",
    [
        (f'{REFILL}\nmost = "2 mm"', "plans.p.most: is less than least_depth; at least 3 mm"),
        (f"{REFILL}\nmost = 0.75", "plans.p.most: 0.75 has no unit"),
        (
            'rule = "fixed"\ndepth = { Mon = "5 mm", Fri = "20 mm" }\nmost = "15 mm"',
            "plans.p.most: is less than depth; at least 20 mm",
        ),
        (f"{REFILL}\nstop_at_runof = true", "did you mean 'stop_at_runoff'?"),
    ],
)
def test_faults_of_the_largest_watering(plan: str, expected: str) -> None:
    assert expected in told('"in_ground_rotors"', plan=plan)


# --- what a scenario runs on --------------------------------------------------------------------


def test_settings_that_are_left_out() -> None:
    scenario = read('"in_ground_rotors"')
    (field,), (plan,) = scenario.fields, scenario.plans
    assert (field.slope, field.delivery.zones, field.delivery.machine) == (0.015, 1, "")
    assert (plan.most_depth_mm, plan.stop_at_runoff, scenario.site.crew_h) == (None, True, None)


def test_resolved_values_say_what_a_night_rests_on() -> None:
    def rows(delivery: str) -> dict[str, tuple[float | str, str]]:
        scenario = read(delivery, "slope = 0.04", site='crew = "6 h"',
                        plan=f'{REFILL}\nmost = "0.75 in"')  # fmt: skip
        return {row.key: (row.value, row.source) for row in resolved_values(scenario)}

    at = "fields.a.delivery"
    found = rows(ROTORS.format("zones = 6"))
    assert found[f"{at}.zones"] == (6, SCENARIO)
    assert f"{at}.flow" not in found
    assert found["fields.a.slope"] == (0.04, SCENARIO)
    assert found["site.crew"] == (6.0, SCENARIO)
    assert found["plans.p.most"] == (pytest.approx(19.05), SCENARIO)
    assert found["plans.p.stop_at_runoff"] == ("yes", DEFAULT)
    found = rows('"in_ground_rotors"')
    assert found[f"{at}.flow"] == (pytest.approx(79.2 * GPM, rel=1e-3), DEFAULT)
    assert found["system_design.usual.nights_a_week"][0] == 3
    assert rows('{ system = "hand_hose", machine = "reel" }')[f"{at}.machine"][0] == "reel"
    assert rows('"hand_hose"')[f"{at}.flow"] == (pytest.approx(20 * GPM, rel=1e-3),
                                                 "memory, own_estimate")  # fmt: skip


# --- what the ground takes ----------------------------------------------------------------------


def ground(zone: str, more: str = "", plan: str = REFILL, delivery: str = '"in_ground_rotors"'):
    scenario = read(delivery, more, zone, plan)
    (field,), (spec,) = scenario.fields, scenario.plans
    return field, spec, field_root_zone(field, scenario.catalog)


SEVERE = '{ like = "native_clay_loam", compaction = "severe" }'


def test_severely_compacted_clay_loam_takes_half_a_millimeter_an_hour() -> None:
    # 0.20 in/h x 0.1, and 0.26 in held on the surface: 8 x 0.508 + 6.604 mm in a night.
    field, plan, zone = ground(SEVERE)
    assert zone.intake_mm_h == pytest.approx(0.508)
    assert ground_take_mm(zone, field.delivery, plan, 1.0) == pytest.approx(8 * 0.508 + 6.604)
    # A patch that catches a quarter more than the mean sheds that much sooner.
    assert ground_take_mm(zone, field.delivery, plan, 1.25) == pytest.approx(
        (8 * 0.508 + 6.604) / 1.25
    )
    _, once, _ = ground(SEVERE, plan=f"{REFILL}\ncycle_and_soak = false")
    assert ground_take_mm(zone, field.delivery, once, 1.0) == pytest.approx(
        6.604 / (1 - 0.508 / 12.5)
    )


def test_sand_keeps_up() -> None:
    field, plan, zone = ground('"sand_over_gravel_12in"')
    assert ground_take_mm(zone, field.delivery, plan, 1.5) == math.inf


def test_a_traveling_machine_cannot_be_split() -> None:
    field, plan, zone = ground(SEVERE, delivery='"big_gun_traveler"')
    assert plan.cycle_and_soak
    assert not splits(field.delivery, plan)
    assert ground_take_mm(zone, field.delivery, plan, 1.0) == pytest.approx(
        6.604 / (1 - 0.508 / 10.0)
    )


def test_a_hose_is_held_by_somebody_who_comes_back() -> None:
    field, plan, zone = ground(SEVERE, delivery='"hand_hose"')
    assert splits(field.delivery, plan)
    assert ground_take_mm(zone, field.delivery, plan, 1.0) == pytest.approx(8 * 0.508 + 6.604)


def test_slope_and_bare_ground_reach_the_root_zone() -> None:
    _, _, flat = ground('"native_silt_loam"')
    _, _, steep = ground('"native_silt_loam"', "slope = 0.12")
    assert (flat.intake_mm_h, steep.intake_mm_h) == pytest.approx((1.0 * IN, 0.6 * IN))
    assert steep.surface_storage_mm == pytest.approx(0.5 * flat.surface_storage_mm)
    field, _, _ = ground('"native_silt_loam"')
    bare = replace(field, surface=SKINNED, species="")
    assert field_root_zone(bare, load_catalog()).intake_mm_h == pytest.approx(0.5 * IN)


@pytest.mark.parametrize(
    "zone, depth_in",
    [("sand_over_gravel_12in", 0.75), ("sand_cap_8in_over_clay_loam", 0.75),
     ("native_loam", 1.0), ("native_clay", 0.75)],
)  # fmt: skip
def test_largest_watering_of_a_soil(zone: str, depth_in: float) -> None:
    _, plan, built = ground(f'"{zone}"')
    assert most_depth_mm(built, plan) / IN == pytest.approx(depth_in)


def test_a_plan_may_say_its_largest_watering() -> None:
    _, plan, zone = ground('"native_loam"', plan=f'{REFILL}\nmost = "0.3 in"')
    assert most_depth_mm(zone, plan) / IN == pytest.approx(0.3)
    # A depth that a plan names is its largest watering unless it says otherwise.
    _, plan, zone = ground('"native_loam"', plan='rule = "fixed"\ndays = ["Mon"]\ndepth = "2 in"')
    assert most_depth_mm(zone, plan) / IN == pytest.approx(2.0)
    _, plan, zone = ground('"native_loam"', plan='rule = "none"\ncrown = { depth = "0.5 in" }')
    assert most_depth_mm(zone, plan) / IN == pytest.approx(0.5)


# --- what check says ----------------------------------------------------------------------------


def shown(*scenes: tuple[FieldSpec, PlanSpec, object], system: str = "us") -> str:
    most = float(patch_catches(0.7, 5).max())
    nights = [night_of(field, plan, zone, most, load_catalog()) for field, plan, zone in scenes]
    cautions = (("Caution", line) for line in shortfalls(nights, system))
    printed = as_text([*grounds(nights, system), notes(cautions)])
    assert max(map(len, printed.splitlines())) <= 100
    return " ".join(printed.split())


def test_check_says_where_the_ground_takes_less() -> None:
    printed = shown(ground(SEVERE))
    assert "assumed built for a peak week of 1.75 in: 79 gpm. State flow or zones" in printed
    assert "lets in 0.02 in/h and holds 0.26 in on its surface" in printed
    assert "p: in a night the ground takes 0.31 in, less than the 0.72 in that the " in printed
    assert "the rest waits for another night" in printed
    assert "a week brings" not in printed


def test_check_says_that_water_runs_off_where_nobody_stops() -> None:
    printed = shown(ground(SEVERE, plan=f"{REFILL}\nstop_at_runoff = false"))
    assert "what is put on beyond that runs off" in printed


def test_check_says_where_a_peak_week_cannot_be_met() -> None:
    # Two nights of 0.31 in.
    printed = shown(ground(SEVERE, plan=f'{REFILL}\ndays = ["Tue", "Fri"]'))
    assert (
        "a week brings 0.63 in at most, limited by what the ground takes; a peak week needs 1.75"
        in printed
    )
    printed = shown(ground('"native_loam"', delivery=ROTORS.format("zones = 40")))
    assert "40 zones share the night: 10 gpm while one runs" in printed
    assert "by what a night puts on; a peak week needs 1.75 in" in printed


def test_check_of_machines_and_of_sand() -> None:
    delivery = '{ system = "big_gun_traveler", machine = "reel" }'
    printed = shown(ground('"sand_over_gravel_12in"', delivery=delivery), system="metric")
    assert "the usual flow of its kind, 23 m3/h. State flow; 3 passes a night of 2.5 h" in printed
    assert "shared with all fields of machine 'reel'" in printed
    assert "nothing runs off" in printed
    assert "Caution" not in printed


def test_the_demo_waters_within_a_night() -> None:
    demo = shipped()
    for field in demo.fields:
        zone = field_root_zone(field, demo.catalog)
        most = float(patch_catches(field.delivery.distribution_uniformity, field.patches).max())
        for plan in demo.plans:
            night = night_of(field, plan, zone, most, demo.catalog)
            assert 0.0 < night.largest_mm <= night.landed_mm < night.gross_mm < 1.1 * IN
