"""What each key of a scenario takes, read off the schema, and refusals in the writer's own unit."""

from __future__ import annotations

import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.quantities import AREA, HEIGHT, LENGTH, TEMPERATURE, written_in
from drysward.scenario.keys import Check, check_at, keys
from drysward.scenario.load import shipped_texts

DEMO = shipped_texts()["demo"]
MATCH_DAYS = shipped_texts()["match-days"]


def refused(text: str) -> str:
    with pytest.raises(FaultyInput) as refusal:
        drysward.loads(text, ".", "file")
    return str(refusal.value)


@pytest.mark.parametrize(
    ("text", "before", "after", "told"),
    [
        (DEMO, '"2.0 acre"', '"9000 acre"', "'9000 acre' is out of range; 0.000248 to 2,471 acre"),
        (DEMO, '"2.0 acre"', '"9000 ha"', "'9000 ha' is out of range; 0.0001 to 1,000 ha"),
        (DEMO, '"140 m"', '"40000 ft"', "'40000 ft' is out of range; -1,410 to 19,680 ft"),
        (DEMO, '"140 m"', '"40 km"', "'40 km' is out of range; -0.43 to 6 km"),
        (DEMO, 'depth = "0.5 in"\ndays', 'depth = "9 in"\ndays', "'9 in' is refused; more than 0"),
        (DEMO, "trigger = 0.4\ntarget", "trigger = 40\ntarget", "40 is refused; more than 0, up"),
        (MATCH_DAYS, '"90 degF"', '"200 degF"', "'200 degF' is refused; -4 to 140 degF"),
        (DEMO, '"2.0 acre"', "2.0", '2.0 has no unit; write "2 acre", or in ft2'),
        (DEMO, 'latitude = "40.3 deg"\n', "", "latitude: is missing; write latitude ="),
        (DEMO, 'rule = "none"\n', 'rule = "none"\nx = 1\n', "crown_keeping.x: are not known here"),
    ],
)  # fmt: skip
def test_a_refusal_says_what_is_allowed_as_the_writer_wrote_it(
    text: str, before: str, after: str, told: str
) -> None:
    assert before in text
    assert told in refused(text.replace(before, after))


def test_a_wrong_name_of_a_key_that_is_needed_is_one_fault() -> None:
    """Even where another key, which is there, is spelled more alike."""
    dose = 'feeding = { doses = [{ date = "04-15", product = "46-0-0", rate = "1 lb/1000 ft2" }] }'
    told = refused(DEMO.replace('label = "Practice field"', f'label = "Practice field"\n{dose}', 1))
    assert told.endswith("feeding.doses[1].date: is not known here; did you mean 'day'?")
    assert "missing" not in told


def test_limits_that_are_told_pass() -> None:
    """Rounded inwards, so whoever writes the limit that a refusal names is not refused again."""
    for number in ("0.000248", "2471"):
        drysward.loads(DEMO.replace('"2.0 acre"', f'"{number} acre"'), ".")
    assert "is out of range" in refused(DEMO.replace('"2.0 acre"', '"2472 acre"'))


def test_checks_are_those_of_the_schema() -> None:
    found = {key.name: key for key in keys()}
    assert found["plans.KEY.rule"].check.names == ("none", "fixed", "share of et", "refill")
    area = found["fields.KEY.area"]
    assert area.needed
    assert area.check.kind == AREA
    assert found["plans.KEY.window"].default == "8 h"
    assert found["fields.KEY.delivery.zones"].check == Check("a whole number", low=1.0, high=60.0)
    assert found["plans.KEY.days"].check.many
    assert str(found["supply.storage.dead"].check) == "a number; 0 to less than 1"
    assert str(found["weather.seed"].check) == "a whole number; at least 0"
    assert check_at(["no such key"]) is None
    height = check_at(["site", "elevation"])
    assert height is not None
    assert (height.kind, height.low, height.high) == (HEIGHT, -430.0, 6000.0)


def test_base_units_are_written_back() -> None:
    assert written_in(30.0, TEMPERATURE, "degF") == pytest.approx(86.0)
    assert written_in(304.8, LENGTH, "in") == pytest.approx(12.0)
