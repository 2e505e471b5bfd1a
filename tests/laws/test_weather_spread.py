"""Measures of dry years, and the table that sets a record beside generated weather."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.faults import FaultyInput
from drysward.weather.checking.spread import (
    MEASURES,
    STATISTICS,
    compare_spread,
    least_window_mm,
    longest_run,
    year_spread,
)
from drysward.weather.record import DailyRecord


def record_of(rain: dict[str, float], start: str = "2001-01-01", stop: str = "2005-01-01"):
    """Days without rain but for those named, each with its amount (mm)."""
    dates = np.arange(start, stop, dtype="datetime64[D]")
    amounts = np.zeros(dates.size)
    for day, amount in rain.items():
        amounts[dates == np.datetime64(day)] = amount
    return DailyRecord(
        dates=dates,
        rain_mm=amounts,
        tmax_c=np.full(dates.size, 20.0),
        tmin_c=np.full(dates.size, 10.0),
    )


def random_record(years: int, seed: int, amount: float = 8.0) -> DailyRecord:
    """Years of independent days, a third of them wet."""
    dates = np.arange("2001-01-01", f"{2001 + years}-01-01", dtype="datetime64[D]")
    rng = np.random.default_rng(seed)
    rain = np.where(rng.random(dates.size) < 0.3, rng.exponential(amount, dates.size), 0.0)
    flat = np.full(dates.size, 20.0)
    return DailyRecord(dates=dates, rain_mm=rain, tmax_c=flat, tmin_c=flat - 10.0)


@given(st.lists(st.booleans(), max_size=60))
def test_longest_run_by_counting(chosen):
    longest = now = 0
    for one in chosen:
        now = now + 1 if one else 0
        longest = max(longest, now)
    assert longest_run(np.array(chosen, dtype=bool)) == longest


@given(
    st.lists(st.floats(0, 200), min_size=5, max_size=60),
    st.integers(1, 5),
)
def test_least_window_by_counting(rain, days):
    least = min(sum(rain[i : i + days]) for i in range(len(rain) - days + 1))
    assert least_window_mm(np.array(rain), days) == pytest.approx(least, abs=1e-8)


def test_measures_of_a_year_by_hand():
    """Rain on 1 April, 10 July (under 1 mm, so dry) and 1 August 2001; daily from September on."""
    rain = {"2001-04-01": 20.0, "2001-07-10": 0.9, "2001-08-01": 30.0}
    rain |= {str(np.datetime64("2001-09-01") + n): 2.0 for n in range(122)}
    spread = year_spread(record_of(rain, stop="2002-01-01"))
    assert list(spread.years) == [2001]
    assert spread.annual_rain_mm[0] == pytest.approx(50.9 + 244)
    assert spread.summer_rain_mm[0] == pytest.approx(30.9)
    assert spread.longest_dry_spell_d[0] == 121  # 2 April to 31 July
    assert spread.season_dry_spell_d[0] == 121
    assert spread.least_30_day_rain_mm[0] == 0
    assert spread.least_90_day_rain_mm[0] == 0


def test_winter_drought_is_not_the_seasons():
    """1 January to 31 March dry, then rain every fifth day."""
    rain = {str(np.datetime64("2001-04-01") + 5 * n): 9.0 for n in range(55)}
    spread = year_spread(record_of(rain, stop="2002-01-01"))
    assert spread.longest_dry_spell_d[0] == 90
    assert spread.season_dry_spell_d[0] == 4


def test_the_southern_year_runs_from_july():
    """Rain in December to February is summer rain of the year named for its July."""
    rain = {"2001-12-10": 10.0, "2002-02-10": 5.0, "2002-07-10": 7.0}
    spread = year_spread(record_of(rain), hemisphere="south")
    assert list(spread.years) == [2001, 2002, 2003]
    assert list(spread.summer_rain_mm) == [15.0, 0.0, 0.0]
    assert list(spread.annual_rain_mm) == [15.0, 7.0, 0.0]
    assert spread.season_dry_spell_d[0] == 70  # 1 October to 9 December


def test_part_years_are_left_out():
    spread = year_spread(record_of({}, start="2001-03-01", stop="2004-12-28"))
    assert list(spread.years) == [2002, 2003, 2004]  # 2004 lacks four days only
    with pytest.raises(FaultyInput, match="no whole year"):
        year_spread(record_of({}, stop="2001-06-01"))


def test_a_table_of_every_measure_and_statistic():
    table = compare_spread(random_record(10, seed=1), random_record(300, seed=2))
    assert (table.observed_years, table.generated_years) == (10, 300)
    assert [(row.measure, row.statistic) for row in table.rows] == [
        (measure, statistic) for measure in MEASURES for statistic in STATISTICS
    ]
    for row in table.rows:
        assert row.unit == MEASURES[row.measure][1]
        assert row.low <= row.high
    mean = table.row("annual_rain_mm", "mean")
    assert mean.low < mean.generated < mean.high
    with pytest.raises(KeyError):
        table.row("annual_rain_mm", "mode")


def test_the_band_of_a_mean_is_that_of_its_standard_error():
    """Independent years: 90% of means of ten lie within 1.645 sd/sqrt(10)."""
    made = random_record(600, seed=3)
    row = compare_spread(random_record(10, seed=1), made).row("annual_rain_mm", "mean")
    half = 1.645 * year_spread(made).annual_rain_mm.std() / np.sqrt(10)
    assert (row.high - row.low) / 2 == pytest.approx(half, rel=0.08)


def test_nine_records_in_ten_of_the_same_climate_lie_inside():
    made = random_record(400, seed=4)
    inside = [
        [
            row.inside
            for row in compare_spread(random_record(10, seed), made).rows
            if row.statistic in ("mean", "sd")
        ]
        for seed in range(100, 130)
    ]
    assert np.mean(inside) == pytest.approx(0.9, abs=0.06)


def test_another_climate_lies_outside():
    table = compare_spread(random_record(10, seed=1, amount=4.0), random_record(300, seed=2))
    assert not table.row("annual_rain_mm", "mean").inside
    assert not table.row("summer_rain_mm", "mean").inside


def test_the_table_is_the_same_every_time():
    seen, made = random_record(10, seed=1), random_record(100, seed=2)
    assert compare_spread(seen, made) == compare_spread(seen, made)


def test_too_few_years_are_refused():
    with pytest.raises(FaultyInput, match="at least 3"):
        compare_spread(random_record(2, seed=1), random_record(100, seed=2))
    with pytest.raises(FaultyInput, match="29 years for 10 observed ones; at least 30"):
        compare_spread(random_record(10, seed=1), random_record(29, seed=2))
