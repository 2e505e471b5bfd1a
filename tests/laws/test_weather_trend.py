"""The trend of a record: against the library's own functions, and what it must not cry over."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from drysward.weather.checking.trend import (
    LEAST_YEARS,
    drift_note,
    drift_text,
    record_trends,
    slope,
    trend,
)
from drysward.weather.record import DailyRecord

YEARS = np.arange(1990, 2020.0)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("ties", [False, True])
def test_slope_and_limits_are_the_librarys(seed, ties):
    rng = np.random.default_rng(seed)
    values = 0.05 * YEARS + rng.normal(0, 1, YEARS.size)
    if ties:
        values = values.round(0)
    expected = stats.theilslopes(values, YEARS, 0.95)
    middle, low, high = slope(YEARS, values, groups=False)
    # scipy takes the ties of both variables; the years have none.
    assert (middle, low, high) == pytest.approx((expected[0], expected[2], expected[3]))


def test_limits_leave_out_nought_as_often_as_the_library_says():
    """Sen's limits and Kendall's tau tell the same, on the same values."""
    rng = np.random.default_rng(3)
    agree = 0
    for _ in range(200):
        values = 0.03 * YEARS + rng.normal(0, 1, YEARS.size)
        _, low, high = slope(YEARS, values, groups=False)
        agree += (stats.kendalltau(YEARS, values).pvalue < 0.05) == (low > 0 or high < 0)
    assert agree >= 194


@pytest.mark.parametrize("lag1, most", [(0.0, 0.08), (0.4, 0.14)])
def test_false_alarms_stay_few_where_years_come_in_groups(lag1, most):
    """At 95% one record in twenty drifts by chance; groups of years must not make it many more."""
    rng = np.random.default_rng(11)
    alarms = plain = 0
    for _ in range(600):
        noise = rng.normal(0, 1, YEARS.size + 20)
        for i in range(1, noise.size):
            noise[i] += lag1 * noise[i - 1]
        _, low, high = slope(YEARS, noise[20:])
        alarms += low > 0 or high < 0
        _, low, high = slope(YEARS, noise[20:], groups=False)
        plain += low > 0 or high < 0
    assert alarms / 600 <= most
    assert lag1 == 0.0 or plain > 1.5 * alarms


def record_of(years: int, warming: float) -> DailyRecord:
    first = 1990
    dates = np.arange(f"{first}-01-01", f"{first + years}-01-01", dtype="datetime64[D]")
    year = dates.astype("datetime64[Y]").astype(int) + 1970
    rng = np.random.default_rng(5)
    by_year = rng.normal(0, 0.3, years)[year - first]
    tmax = 20.0 + warming * (year - first) + by_year
    rain = 2.0 + rng.normal(0, 0.2, years)[year - first]
    return DailyRecord(dates=dates, rain_mm=rain, tmax_c=tmax, tmin_c=tmax - 10)


def test_a_warming_record_has_a_note_and_a_steady_one_has_none():
    warm, steady = record_of(30, 0.05), record_of(30, 0.0)
    et = np.full(warm.n_days, 3.0)
    found = {one.quantity: one for one in record_trends(warm, et)}
    assert found["tmax"].per_decade == pytest.approx(0.5, abs=0.15)
    assert found["tmax"].low > 0.2
    assert found["tmax"].n_years == 30
    note = drift_note([*found.values()])
    assert note.startswith("the record drifts, mean Tmax +0.")
    assert "30 years from 1990 to 2019" in note
    assert "C (+" in drift_text(found["tmax"])
    assert drift_note(record_trends(steady, et)) == ""


def test_short_records_have_no_trend():
    short = record_of(LEAST_YEARS - 1, 0.5)
    assert record_trends(short, np.ones(short.n_days)) == ()
    assert trend("rain", [1, 2, 3], [1.0, 2.0, 3.0]) is None


def test_years_that_are_alike_have_no_slope():
    assert slope(YEARS, np.full(YEARS.size, 7.0)) == (0.0, 0.0, 0.0)
