"""Quantities and shares as people type them: read as they are meant, or refused with the mend."""

from __future__ import annotations

from importlib.resources import files

import pytest

from drysward import quantities as q
from drysward.faults import FaultyInput
from drysward.quantities import Kind, parse, percent
from drysward.scenario.load import loads

DEMO = files("drysward.scenarios").joinpath("demo.toml").read_text(encoding="utf-8")
POND = files("drysward.scenarios").joinpath("pond.toml").read_text(encoding="utf-8")

# Left: as typed. Right: the plain form of the same quantity.
ALIKE = [
    ("87,120 sq ft", "87120 ft2", q.AREA), ("87,120 sq. ft.", "2 acre", q.AREA),
    ("2 Acres", "2 acre", q.AREA), ("2ac", "2 acre", q.AREA), ("43 HA", "43 ha", q.AREA),
    ("150ft", "150 ft", q.LENGTH), ('12"', "12 in", q.LENGTH), ("150'", "150 ft", q.LENGTH),
    ("1 1/2 in", "1.5 in", q.LENGTH), ("1/2in", "0.5 in", q.LENGTH), ("6 In.", "6 in", q.LENGTH),
    (".5 in", "0.5 in", q.LENGTH), ("1e3ft", "1000 ft", q.LENGTH),
    ("-1 1/2 in", "-1.5 in", q.LENGTH),
    ("1,234,567.5 gal", "1234567.5 gal", q.VOLUME), ("1.5 million gallons", "1.5 Mgal", q.VOLUME),
    ("3 thousand gal", "3000 gal", q.VOLUME), ("5000 Gal", "5000 gal", q.VOLUME),
    ("150 GPM", "150 gpm", q.FLOW), ("85F", "85 degF", q.TEMPERATURE),
    ("0.05 1/cm", "0.05 1/cm", Kind("inverse of tension", "1/cm", ("1/cm",))),
]  # fmt: skip


@pytest.mark.parametrize("typed, plain, kind", ALIKE, ids=[one[0] for one in ALIKE])
def test_as_people_type_them(typed: str, plain: str, kind: Kind) -> None:
    assert parse(typed, kind) == pytest.approx(parse(plain, kind), rel=1e-12)


@pytest.mark.parametrize(
    "typed, mend",
    [
        ("1,5 in", 'write "1.5 in"'), ("15,00 in", 'write "15.00 in"'),
        ("1,23,456 in", "is not a number with a unit"), ("1,234,5 in", "is not a number with"),
        ("12 5 in", "is not known"), ("1/0 in", "is not a number with a unit"),
        ("1_000 in", "is not known"), ("five in", "is not a number"), ("12", 'write "12 in"'),
        ("12 psi", "cannot be converted"), ("nan in", "is not a number"), ("1e999 in", "finite"),
    ],
)  # fmt: skip
def test_what_is_not_plain_is_refused(typed: str, mend: str) -> None:
    with pytest.raises(ValueError, match=r"; write|no unit") as refusal:
        parse(typed, q.LENGTH)
    assert mend in str(refusal.value)


def test_an_area_is_no_volume() -> None:
    for typed in ("2 acres", "500 ft2"):
        with pytest.raises(ValueError, match=r"is an area; a volume .* such as acre-ft"):
            parse(typed, q.VOLUME)
    with pytest.raises(ValueError, match="cannot be converted"):
        parse("1 lb", q.VOLUME)


def test_case_tells_units_apart_where_both_are_units() -> None:
    """A millijoule is no megajoule, and mgal is not taken for a million gallons."""
    with pytest.raises(ValueError, match="is not known"):
        parse("1 mJ/m2", q.RADIATION)
    assert parse("1 mgal", q.VOLUME) < 1e-5
    with pytest.raises(ValueError, match=r"is not known|cannot be converted"):
        parse("1 MGD", q.VOLUME)


@pytest.mark.parametrize(
    "value, share", [("14%", 0.14), ("14 %", 0.14), ("55%", 0.55), (0.14, 0.14)]
)
def test_percentages_are_shares(value: object, share: float) -> None:
    assert percent(value) == share


@pytest.mark.parametrize("value", ["14", "14 in", "%", True, None])
def test_nothing_else_becomes_a_share(value: object) -> None:
    assert percent(value) is value


def refused(text: str) -> str:
    with pytest.raises(FaultyInput) as refusal:
        loads(text, ".")
    return str(refusal.value)


def test_shares_of_a_scenario_may_be_percentages() -> None:
    text = DEMO.replace("share = 0.6\n", 'share = "60%"\n').replace(
        "trigger = 0.4\ntarget", 'trigger = "40 % (35 to 45 %)"\ntarget'
    )
    plans = {plan.key: plan for plan in loads(text, ".").plans}
    assert plans["deficit"].share == 0.6
    assert plans["refill"].trigger == 0.4


@pytest.mark.parametrize(
    "old, new, mend",
    [
        ("trigger = 0.4\ntarget", "trigger = 40\ntarget", "for 40% write 0.4"),
        ("share = 0.8 ", "share = 80 ", "for 80% write 0.8"),
        ("share = 0.8 ", 'share = "180%" ', "0 to 1"),
    ],
)
def test_a_percentage_as_a_bare_number_is_refused_with_the_share(
    old: str, new: str, mend: str
) -> None:
    assert old in DEMO
    assert mend in refused(DEMO.replace(old, new))


def test_odds_of_a_size_as_a_percentage() -> None:
    keep = POND.split("keep = ")[1].split("\n")[0]
    text = POND.replace(keep, "{ odds = 10 }")
    assert "for 10% write 0.1" in refused(text)
    sizing = loads(POND.replace(keep, '{ odds = "10%" }'), ".").sizing
    assert sizing is not None
    assert sizing.odds == 0.1


def test_banks_are_run_over_rise() -> None:
    slope = "side_slope = " + POND.split("side_slope = ")[1].split("\n")[0]
    plain = loads(POND, ".")
    for written in ('"3:1"', '"3 to 1"', '"3.0 : 1"'):
        assert loads(POND.replace(slope, f"side_slope = {written}"), ".").supply == plain.supply
    assert "3 for banks of 3 to 1" in refused(POND.replace(slope, 'side_slope = "1:3"'))


def test_ranges_take_the_same_forms() -> None:
    every = 'crown = { depth = "0.5 in"'
    assert DEMO.count(every) == 2
    text = DEMO.replace(every, 'crown = { depth = "1/2in (1/4 to 3/4in, 1 in 10)"', 1)
    (written,) = loads(text, ".").ranges.values()
    assert (written.low, written.likely, written.high, written.unit) == (0.25, 0.5, 0.75, "in")
    other = text.replace("1/4 to 3/4in", "5mm to 15mm")
    assert "one unit for all three" in refused(other)


@pytest.mark.parametrize(
    "table, american",
    [
        ("[costs]\nlabour = 3.0", "labor"),
        ("[fields.x]\narea = '1 acre'\nspecies = 'tall_fescue'\nroot_zone = 'native_loam'\n"
         "delivery = 'big_gun_traveller'", "big_gun_traveler"),
        ("[overrides.delivery.big_gun_traveler]\nlabour_hours_per_pass = 1",
         "labor_hours_per_pass"),
    ],
)  # fmt: skip
def test_british_names_are_refused_with_the_american(table: str, american: str) -> None:
    assert f"did you mean '{american}'?" in refused(f"{DEMO}\n{table}\n")


def test_a_refusal_answers_in_the_units_that_people_write() -> None:
    with pytest.raises(ValueError, match=r"'in/week' cannot be converted to in; write depth"):
        parse("1 in/week", q.LENGTH)
    with pytest.raises(ValueError, match=r'write "50 ft", or in m'):
        parse(50, q.HEIGHT)
