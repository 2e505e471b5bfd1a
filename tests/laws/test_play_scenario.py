"""Play in a scenario: what is written is what runs; faults told at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from drysward.catalog import SCENARIO
from drysward.faults import FaultyInput
from drysward.scenario.load import loads, shipped
from drysward.scenario.model import (
    CoverSpec,
    EstablishSpec,
    EventSpec,
    FieldSpec,
    HardnessSpec,
    PlanSpec,
    PlaySpec,
    SyringeSpec,
)
from drysward.scenario.resolved import DEFAULT, Row, resolved_values
from drysward.site.play_calendar import dry_waterings

HEAD = """
[site]
name = "Ostrel Bay"
latitude = "35 deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
[plans.keep]
rule = "none"
"""
TURF = """
[fields.north]
area = "1 acre"
species = "bermudagrass"
root_zone = "native_loam"
delivery = "hand_hose"
"""
SKIN = """
[fields.infield]
area = "11000 ft2"
surface = "skinned"
root_zone = "infield_mix"
delivery = "hand_hose"
"""
MATCH = """
[[fields.north.play.events]]
label = "Match"
days = ["Sat"]
season = { from = "08-25", to = "11-20" }
hours = 2.5
"""


def read(*parts: str) -> FieldSpec:
    return loads("\n".join([HEAD, *parts]), Path("here")).fields[0]


def faults(*parts: str) -> list[str]:
    with pytest.raises(FaultyInput) as refusal:
        read(*parts)
    return [str(fault).removeprefix("scenario: ") for fault in refusal.value.faults]


def rows(*parts: str) -> dict[str, Row]:
    found = resolved_values(loads("\n".join([HEAD, *parts]), Path("here")))
    return {row.key: row for row in found}


def test_a_field_without_play_has_none() -> None:
    field = read(TURF)
    assert field.play is None
    assert field.skin is None
    assert field.establish is None
    assert field.surface == "turf"


def test_play_as_it_is_written() -> None:
    play = read(
        TURF,
        """
        [fields.north.play]
        hard_above = 95
        share = 0.2
        hardness = { intercept = 146, slope = -300, scatter = 9 }
        blackout = "1 day"
        prewet = { depth = "0.2 in", before = "2 days" }
        cover = { rain = "0.1 in", before = "1 day", labor = "4 h", heat = "86 degF" }
        """,
        MATCH,
        """
        [[fields.north.play.events]]
        label = "Cup"
        dates = ["09-18", "09-04", "09-04"]
        hours = "90 min"
        judged = false
        """,
    ).play
    assert play is not None
    saturday = (False, False, False, False, False, True, False)
    assert play.events == (
        EventSpec("Match", saturday, (237, 324), (), 2.5, True),
        EventSpec("Cup", (True,) * 7, (0, 365), (247, 261), 1.5, False),
    )
    assert play.hardness == HardnessSpec(146.0, -300.0, 9.0)
    assert (play.hard_above_g, play.soft_below_g, play.share) == (95.0, 40.0, 0.2)
    assert (play.blackout_days, play.prewet_days_before) == (1, 2)
    assert play.prewet_mm == pytest.approx(5.08)
    assert play.cover == CoverSpec(pytest.approx(2.54), 1, 4.0, 2, pytest.approx(30.0))


def test_limits_of_the_catalog_can_be_overridden() -> None:
    told = "[overrides]\nplay.limits.soft_below_g = 45"
    play = read(TURF, MATCH, told).play
    assert play is not None
    assert play.soft_below_g == 45.0


def test_skinned_ground_grows_nothing() -> None:
    field = read(SKIN, "skin = { passes = 2, target = 0.16 }")
    assert field.species == ""
    assert field.skin is not None
    assert (field.skin.dust_below, field.skin.target, field.skin.mud_above) == (0.10, 0.16, 0.28)
    assert field.skin.passes == 2
    assert read(SKIN).skin is not None


def test_new_turf_takes_the_kinds_numbers() -> None:
    seeded = read(TURF, 'establish = { day = "09-01", kind = "seed" }').establish
    laid = read(TURF, 'establish = { day = "05-01", kind = "sod", times = 4, light = "3 mm" }')
    assert seeded == EstablishSpec(244, "seed", 3.0, 3, 21)
    assert laid.establish == EstablishSpec(121, "sod", 3.0, 4, 14)


def test_syringing_as_written_and_by_default() -> None:
    plan = '[plans.cool]\nrule = "none"\nsyringe = '
    written = loads(
        HEAD + plan + '{ above = "86 degF", depth = "0.04 in", from_wilt = 0.2 }' + TURF, Path()
    )
    assert written.plan_named("cool").syringe == SyringeSpec(
        pytest.approx(30.0), pytest.approx(1.016), 0.2
    )
    assert loads(HEAD + plan + "{}" + TURF, Path()).plan_named("cool").syringe == SyringeSpec(
        31.0, 1.0, 0.1
    )
    assert written.plan_named("keep").syringe is None


@pytest.mark.parametrize(
    "wrong, told",
    [
        ('label = "Cup"\nhours = 2', "days: is missing; days of the week, or dates"),
        ('label = "Cup"\ndays = ["Sat"]\ndates = ["09-04"]\nhours = 2', "days: conflicts with"),
        ('label = "Cup"\ndays = ["Sta"]\nhours = 2', "days[1]: 'Sta' is not known; did you mean"),
        ('label = "Cup"\ndates = ["09-31"]\nhours = 2', "dates[1]: '09-31' is not a day"),
        ('label = "Cup"\ndays = ["Sat"]\nhours = 25', "hours: 25"),
        ('label = "Cup"\ndays = ["Sat"]\nhours = "2 mm"', "hours: unit 'mm'"),
        ('label = "Cup"\ndays = ["Sat"]\nhour = 2\nhours = 2', "hour: is not known here; did you"),
    ],
)
def test_faults_of_events(wrong: str, told: str) -> None:
    (fault,) = faults(TURF, "[[fields.north.play.events]]", wrong)
    assert fault.startswith(f"fields.north.play.events[1].{told}")


@pytest.mark.parametrize(
    "wrong, told",
    [
        ("hard_above = 30", "play.soft_below: 40 is not below hard_above; under 30"),
        ("share = 0", "play.share: 0 is refused"),
        ("hardness = { intercept = 90, slope = 20, scatter = 5 }", "play.hardness.slope: 20"),
        ('blackout = "half a day"', "play.blackout: 'half a day' is not a number with a unit"),
        (
            'blackout = "3 days"\nprewet = { depth = "5 mm", before = "2 days" }',
            "play.prewet.before: no watering on the 3 days before the event; 3 days or more",
        ),
        ('cover = { rain = "2 mm" }', "play.cover.before: is missing"),
    ],
)
def test_faults_of_play(wrong: str, told: str) -> None:
    (fault,) = faults(TURF, "[fields.north.play]", wrong, MATCH)
    assert fault.startswith(f"fields.north.{told}")


def test_what_waits_for_an_event_needs_one_that_is_judged() -> None:
    practice = MATCH + "judged = false"
    assert faults(TURF, '[fields.north.play]\nblackout = "1 day"', practice) == [
        "fields.north.play.blackout: needs a judged event; "
        "add judged = true to an event"
    ]


@pytest.mark.parametrize(
    "field, wrong, told",
    [
        (SKIN, 'species = "bermudagrass"', "infield.species: a skinned surface grows nothing"),
        (SKIN, 'reseed = "09-01"', "infield.reseed: a skinned surface grows nothing"),
        (SKIN, "skin = { target = 0.3 }", "infield.skin.target: 0.3 is not in the target range"),
        (TURF, "skin = { passes = 2 }", "north.skin: belongs to a skinned surface"),
        (
            TURF,
            'stand = "first-year sod"\nestablish = { day = "05-01", kind = "sod" }',
            "north.establish: conflicts with stand 'first-year sod'",
        ),
        (
            TURF,
            'establish = { day = "05-01", kind = "sodd" }',
            "north.establish.kind: 'sodd' is not known; did you mean 'sod'",
        ),
    ],
)
def test_faults_of_surfaces(field: str, wrong: str, told: str) -> None:
    (fault,) = faults(field, wrong)
    assert fault.startswith(f"fields.{told}")


def test_turf_needs_a_species_that_is_known() -> None:
    assert faults(TURF.replace('species = "bermudagrass"\n', "")) == [
        'fields.north.species: is missing; write species = "tall_fescue", or another: drysward '
        "catalog species"
    ]
    (fault,) = faults(TURF.replace("bermudagrass", "bermuda_grass"))
    assert "did you mean 'bermudagrass'" in fault


def test_every_fault_at_once() -> None:
    told = faults(
        TURF + 'surfaces = "turf"', '[fields.north.play]\nshare = 2\ncover = { rain = "2 mm" }'
    )
    assert len(told) == 3


def test_resolved_values_state_their_sources() -> None:
    found = rows(TURF, "[fields.north.play]\nhard_above = 95", MATCH, SKIN)
    at = "fields.north.play"
    assert (found[f"{at}.hard_above"].value, found[f"{at}.hard_above"].grade) == (95.0, SCENARIO)
    assert found[f"{at}.soft_below"].grade == "from memory"
    assert found[f"{at}.events[1].days"].value == "Sat"
    assert found[f"{at}.events[1].judged"].grade == DEFAULT
    assert found["play.hardness_native.hardness_slope_g"].grade == "estimate"
    assert found["fields.infield.skin.target"].source == "own_estimate"
    assert "play.hardness_sand.hardness_slope_g" not in found


def test_the_match_days_that_ship() -> None:
    scenario = shipped("match-days")
    assert [field.surface for field in scenario.fields] == ["turf", "turf", "skinned"]
    assert scenario.weather.climate == shipped("demo").weather.climate
    assert scenario.weather.years == 200
    assert {plan.time_of_day for plan in scenario.plans} == {"early morning", "evening"}


def test_a_blackout_keeps_a_plan_from_its_own_days() -> None:
    saturday = tuple(day == 5 for day in range(7))
    match = EventSpec("Match", saturday, season=(244, 273))  # September, 29 February counted
    practice = replace(match, weekdays=(True,) * 7, judged=False)
    plan = PlanSpec(
        "fixed", "Fixed", "fixed", depth_by_weekday=(0.0, 10.0, 0.0, 0.0, 10.0, 10.0, 0.0),
        season=(91, 304), allowed=(True, True, True, True, True, False, True),
    )  # fmt: skip
    play = PlaySpec(events=(match, practice), blackout_days=2)
    ((day, lost, waters),) = dry_waterings(play, plan)
    assert day == 4  # Friday, the day before; Saturday is not a day of the plan
    assert 4.0 < lost < 4.5
    assert 30.0 < waters < 31.0
    assert not dry_waterings(replace(play, blackout_days=1), plan)
    assert not dry_waterings(PlaySpec(events=(match,)), plan)
