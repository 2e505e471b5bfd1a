"""The irrigation log: what it adds up to, and what it refuses."""

import numpy as np
import pytest

import drysward
from drysward.faults import FaultyInput
from drysward.studies.season.logs import read_log

DAY = np.datetime64
FIRST, TODAY = DAY("2019-01-01"), DAY("2019-07-01")


@pytest.fixture(scope="module")
def scenario():
    return drysward.shipped("demo")


def log_of(tmp_path, scenario, text):
    path = tmp_path / "log.csv"
    path.write_text(text)
    return read_log(path, scenario, FIRST, TODAY)


def refused(tmp_path, scenario, text):
    with pytest.raises(FaultyInput) as refusal:
        log_of(tmp_path, scenario, text)
    return str(refusal.value)


def test_lines_of_a_day_add_up_and_units_are_converted(tmp_path, scenario):
    text = """date,field,depth_in,depth_mm,minutes,note
2019-06-01,stadium,0.5,,,
2019-06-01,stadium,,10,,second start
2019-06-02,practice,,,30,
"""
    applied = log_of(tmp_path, scenario, text).applied_mm(scenario)
    rate = scenario.field_named("practice").delivery.precipitation_rate_mm_h
    assert applied["stadium"] == {DAY("2019-06-01"): pytest.approx(22.7)}
    assert applied["practice"] == {DAY("2019-06-02"): pytest.approx(rate / 2)}


def test_dates_outside_of_the_season_do_not_count_and_are_noted(tmp_path, scenario):
    rows = ["2018-06-01,stadium,10", "2019-06-01,stadium,9", "2019-07-01,stadium,8"]
    text = "\n".join(["date,field,depth_mm", *rows, ""])
    log = log_of(tmp_path, scenario, text)
    assert log.applied_mm(scenario)["stadium"] == {DAY("2019-06-01"): 9.0}
    assert "2 rows from 2018-06-01 to 2019-07-01" in log.notes[0]
    assert log.last == TODAY


@pytest.mark.parametrize(
    "row, expected",
    [
        ("2019-06-01,stadum,5,", "line 2, column 'field': 'stadum' is not known; did you mean"),
        ("06/01/2019,stadium,5,", "line 2, column 'date'"),
        ("2019-06-01,stadium,-5,", "line 2, column 'depth_mm': '-5' is out of range; a number"),
        ("2019-06-01,stadium,1/2,", "column 'depth_mm': '1/2' is not a number"),
        ("2019-06-01,stadium,nan,", "column 'depth_mm': 'nan' is not a finite number"),
        ("2019-06-01,stadium,,", "column 'depth_mm': no amount; one of depth_mm, minutes"),
        ("2019-06-01,stadium,5,6", "amounts in depth_mm and minutes"),
        ("2019-06-01,stadium,,2000", "a number from 0 to 1440 minutes"),
    ],
)
def test_refusals_name_line_and_column(tmp_path, scenario, row, expected):
    assert expected in refused(tmp_path, scenario, f"date,field,depth_mm,minutes\n{row}\n")


def test_headers(tmp_path, scenario):
    assert "has no column 'field'" in refused(tmp_path, scenario, "date,depth_mm\n")
    assert "'dept_mm' is not known; did you mean 'depth_mm'?" in refused(
        tmp_path, scenario, "date,field,dept_mm\n"
    )
    assert "semicolons" in refused(tmp_path, scenario, "date;field;depth_mm\n")
    assert "one of depth_mm, depth_in, minutes" in refused(tmp_path, scenario, "date,field\n")
    assert "is empty" in refused(tmp_path, scenario, "")


def test_a_header_alone_is_a_season_without_irrigation(tmp_path, scenario):
    applied = log_of(tmp_path, scenario, "date,field,depth_in\n").applied_mm(scenario)
    assert applied == {"stadium": {}, "practice": {}}
