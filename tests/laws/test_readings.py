"""Readings from a file: units, words, and what is refused."""

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
