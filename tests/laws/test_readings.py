"""Readings from a file: units, words, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.studies.fitting.readings import read_readings

DAY = np.datetime64
FIRST, TODAY = DAY("2019-01-01"), DAY("2019-09-01")
HEAD = "date,field,kind,value,unit,place,depth,instrument,note\n"


@pytest.fixture(scope="module")
def scenario():
    return drysward.shipped("demo")


def readings_of(tmp_path, scenario, text):
    path = tmp_path / "readings.csv"
    path.write_text(HEAD + text)
    return read_readings(path, scenario, FIRST, TODAY)


def test_units_and_words(tmp_path, scenario):
    found = readings_of(
        tmp_path,
        scenario,
        """2019-07-04,practice,moisture,18.5,%,goal mouth,3 in,A,
2019-07-02,stadium,moisture,0.12,v/v,,7.6 cm,,
2019-07-05,practice,wilt,first spots,,,,,
2019-07-06,practice,green cover,85,%,,,,
2019-07-07,practice,rooting depth,8,in,,,,core
2019-05-07,practice,precipitation rate,0.5,in/h,,,,
""",
    ).each
    assert [one.date for one in found] == sorted(one.date for one in found)
    by_kind = {(one.kind, one.field): one for one in found}
    probe = by_kind["moisture", 1]
    assert (probe.value, probe.depth_mm) == pytest.approx((0.185, 76.2))
    assert (probe.place, probe.instrument) == ("goal mouth", "A")
    assert by_kind["moisture", 0].instrument == "probe"
    assert (by_kind["wilt", 1].value, by_kind["wilt", 1].word) == (0.1, "first spots")
    assert by_kind["rooting depth", 1].value == pytest.approx(203.2)
    assert by_kind["precipitation rate", 1].value == pytest.approx(12.7)


@pytest.mark.parametrize(
    "row, expected",
    [
        ("2019-07-04,practise,moisture,18,%,,3 in,,", "column 'field': 'practise' is not known"),
        ("2019-07-04,practice,moistur,18,%,,3 in,,", "did you mean 'moisture'?"),
        ("2019-07-04,practice,moisture,18,%,,,,", "column 'depth': is blank; the length of the"),
        ("2019-07-04,practice,moisture,18,%,,3,,", "column 'depth'"),
        ("2019-07-04,practice,moisture,18,pct,,3 in,,", "column 'unit': 'pct' is not a unit of it"),
        ("2019-07-04,practice,moisture,118,%,,3 in,,", "a number from 0 to 80 %"),
        ("2019-07-04,practice,wilt,some,%,,,,", "column 'value': 'some' is not a number"),
        ("2019-07-04,practice,hardness,80,g,,,,", "has no play, so no hardness; write a table"),
        ("7/4/2019,practice,wilt,none,,,,,", "column 'date': '7/4/2019' is not a date"),
    ],
)
def test_refusals_name_line_and_column(tmp_path, scenario, row, expected):
    with pytest.raises(FaultyInput) as refusal:
        readings_of(tmp_path, scenario, f"{row}\n")
    assert "line 2" in str(refusal.value)
    assert expected in str(refusal.value)


def test_readings_of_other_seasons_are_noted(tmp_path, scenario):
    rows = "2018-07-04,practice,wilt,none,,,,,\n2019-07-04,practice,wilt,none,,,,,\n"
    found = readings_of(tmp_path, scenario, rows)
    assert len(found) == 1
    assert "1 of 2 readings" in found.notes[0]


POND = """
[supply.sources.well]
kind = "well"
rate = "40 gpm"
[supply.storage]
kind = "pond"
"""
SQUARE = 'capacity = "1 Mgal"\ndepth = "10 ft"\nside_slope = 3\n'
SURVEYED = """
[supply.storage.table]
depth = { unit = "ft", values = [0, 5, 10] }
area = { unit = "ft2", values = [0, 1000, 2000] }
"""
TANK = '[supply.sources.town]\nkind = "mains"\nfeeds = "both"\n[supply.storage]\nkind = "tank"\n'


def with_storage(text):
    data = Path(__file__).parents[1] / "data"
    return drysward.loads((data / "two-fields.toml").read_text() + text, data)


@pytest.mark.parametrize(
    "shape, value, unit, share",
    [
        (SQUARE, 40, "%", 0.4),
        (SQUARE, 0.4, "Mgal", 0.4),
        (SQUARE, 400_000, "gal", 0.4),
        (SQUARE, 10, "ft", 1.0),
        (SURVEYED, 10, "ft", 1.0),
        (SURVEYED, 5, "ft", 0.25),  # 2,500 of 10,000 ft3
        (SURVEYED, 60, "in", 0.25),
        (SURVEYED, 2_500 * 0.3048**3, "m3", 0.25),
    ],
)
def test_a_level_is_a_share_of_the_full_pond(tmp_path, shape, value, unit, share):
    scenario = with_storage(POND + shape)
    found = readings_of(tmp_path, scenario, f"2019-07-04,,pond level,{value},{unit},,,,\n").each[0]
    assert found.value == pytest.approx(share, rel=1e-6)
    assert found.field == -1


def test_half_the_depth_of_a_square_pond(tmp_path):
    """Prismatoidal formula by hand: 10 ft deep, sides 3:1, 1 Mgal."""
    found = readings_of(tmp_path, with_storage(POND + SQUARE),
                        "2019-07-04,,pond level,5,ft,,,,\n").each[0]  # fmt: skip
    full = 1e6 * 231.0 / 1728.0  # ft3
    bottom = np.sqrt(full / 10.0 - 30.0**2 / 3.0) - 30.0
    half = 5.0 / 6.0 * (bottom**2 + 4 * (bottom + 15.0) ** 2 + (bottom + 30.0) ** 2)
    assert found.value == pytest.approx(half / full, rel=2e-3)


@pytest.mark.parametrize(
    "storage, row, expected",
    [
        ("", ",pond level,40,%", "column 'kind': the scenario has no pond or tank; write a table"),
        (POND + SQUARE, "sand,pond level,40,%", "column 'field': 'sand' has no pond level"),
        (POND + SQUARE, ",pond level,40,acres", "'acres' is not a unit of it; one of %, ft, in"),
        (POND + SQUARE, ",pond level,11,ft", "'11' is out of range; a number from 0 to 10 ft"),
        (POND + SQUARE, ",pond level,1.2,Mgal", "a number from 0 to 1 Mgal"),
        (TANK + 'capacity = "1 Mgal"\n', ",pond level,4,ft", "'ft' says no volume of a tank"),
        ("", "sand,quality,10,1 to 9", "a number from 1 to 9"),
        ("", "sand,quality,6,", "column 'unit': is blank; one of 1 to 9"),
    ],
)
def test_refusals_of_levels_and_ratings(tmp_path, storage, row, expected):
    with pytest.raises(FaultyInput) as refusal:
        readings_of(tmp_path, with_storage(storage), f"2019-07-04,{row},,,,\n")
    assert "line 2" in str(refusal.value)
    assert expected in str(refusal.value)
