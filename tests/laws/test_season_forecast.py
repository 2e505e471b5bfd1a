"""A short forecast: its file, and ways on that begin with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.faults import FaultyInput
from drysward.studies.season.forecast import (
    Forecast,
    ForecastSkill,
    date_climate,
    forecast_skill,
    read_forecast,
    ways_with_forecast,
)
from drysward.studies.season.ways import ways_of_record

TODAY = np.datetime64("2021-07-01")
GOOD = """date,rain_mm,rain_chance_pct,tmax_c,tmin_c
2021-07-01,0,10,31,19
2021-07-02,4.5,60,28.5,18
"""


def skill_of(r, days=10, rain=None, persistence=0.0):
    return ForecastSkill(
        np.full(days, float(r)), np.full(days, float(r if rain is None else rain)), 1.0, persistence
    )


def forecast_of(days=5, rain=3.0, chance=0.4, tmax=35.0, tmin=22.0):
    def column(value):
        return np.broadcast_to(np.asarray(value, float), days).copy()

    return Forecast(
        TODAY + np.arange(days), column(rain), column(chance), column(tmax), column(tmin)
    )


@pytest.fixture(scope="module")
def record(scenes):
    return scenes.weather(years=30, start="1992-01-01")


@pytest.fixture(scope="module")
def ways(record):
    return ways_of_record(record, TODAY, TODAY + 59)


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "forecast.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


# ---------------------------------------------------------------- the file


def test_a_file_in_either_system_of_units(written):
    metric = read_forecast(written(GOOD), TODAY)
    assert list(metric.dates) == [TODAY, TODAY + 1]
    assert metric.rain_mm == pytest.approx([0, 4.5])
    assert metric.rain_chance == pytest.approx([0.1, 0.6])
    assert (metric.tmax_c[1], metric.tmin_c[0]) == (28.5, 19)
    us = "tmin_f,date,rain_chance_pct,tmax_f,rain_in\n68,2021-07-01,30,95,0.5\n"
    found = read_forecast(written(us), TODAY)
    assert (found.rain_mm[0], found.tmax_c[0], found.tmin_c[0]) == pytest.approx((12.7, 35, 20))


def test_a_stated_error_may_be_blank(written):
    text = GOOD.replace("tmin_c", "tmin_c,temp_error_f").replace("31,19", "31,19,3.6")
    found = read_forecast(written(text.replace("28.5,18", "28.5,18,")), TODAY)
    assert found.error_c == pytest.approx([2.0, np.nan], nan_ok=True)
    assert read_forecast(written(GOOD), TODAY).error_c is None
    for cell, message in (("0", "0 is out of range; above 0, to 36"), ("x", "'x' is not a number")):
        with pytest.raises(FaultyInput, match=f"line 2, column 'temp_error_f': {message}"):
            read_forecast(written(text.replace("3.6", cell).replace("28.5,18", "28.5,18,")), TODAY)


def test_a_stated_error_takes_the_place_of_the_skill(record, ways):
    """Climate and forecast weigh by the inverse of their variances; other days are as before."""
    error = np.array([2.0, np.nan, 1.0])
    forecast = forecast_of(days=3, tmax=40.0)
    plain = ways_with_forecast(ways, forecast, record, skill_of(0.6, persistence=0.5))
    led = ways_with_forecast(
        ways, replace(forecast, error_c=error), record, skill_of(0.6, persistence=0.5)
    )
    usual = date_climate(record, ways[0].days.dates[:4])
    own, then, before = (
        np.stack([way.days.tmax_c for way in of]) for of in (ways, led, plain)
    )
    for day in (0, 2):
        variance = own[:, day].var()
        share = variance / (variance + error[day] ** 2)
        mean = usual.tmax_c[day] + share * (40.0 - usual.tmax_c[day])
        rest = np.sqrt(1.0 - share) * (own[:, day].mean() - usual.tmax_c[day])
        assert then[:, day].mean() == pytest.approx(mean + rest)
        expected = 1.0 / (1.0 / variance + 1.0 / error[day] ** 2)
        assert then[:, day].var() == pytest.approx(expected)
    assert np.array_equal(then[:, 1], before[:, 1])
    assert then[:, 3].std() < before[:, 3].std()  # a sure last day leads the next one further


@pytest.mark.parametrize(
    "old, new, message",
    [
        ("4.5,60", "4.5,160", "line 3, column 'rain_chance_pct': 160 is out of range; 0 to 100%"),
        ("4.5,60", "x,60", "line 3, column 'rain_mm': 'x' is not a number; 0 to 2000 mm"),
        ("4.5,60", "nan,60", "line 3, column 'rain_mm': 'nan' is not a number; 0 to 2000 mm"),
        ("4.5,60", "-1,60", "line 3, column 'rain_mm': -1 is out of range; 0 to 2000 mm"),
        ("4.5,60", ",60", "line 3, column 'rain_mm': is blank; 0 to 2000 mm"),
        ("4.5,60", "4.5,0", "line 3, column 'rain_chance_pct': no chance of the rain in its row"),
        ("28.5,18", "18,28.5", "line 3, column 'tmin_c': tmin is above tmax; tmin at most tmax"),
        ("28.5,18", "28.5", "line 3: 4 cells under a header of 5; a cell per column"),
        ("07-02", "07-03", "line 3, column 'date': '2021-07-03' is not the next day; 2021-07-02"),
        ("07-01", "06-30", "line 2, column 'date': '2021-06-30' is not the next day; 2021-07-01"),
        ("tmin_c", "tmin", "line 1: column 'tmin' is not one of a forecast; the columns are date"),
        (",tmin_c", ",wind_2m_m_s", "line 1: no column for tmin; the columns are date"),
        (",tmin_c", ",tmax_f", "line 1: two columns for tmax: 'tmax_c' and 'tmax_f'"),
        ("date,", "date;", "line 1: column 'date;rain_mm' is not one of a forecast"),
    ],
)  # fmt: skip
def test_a_faulty_file_is_refused_with_its_place(written, old, new, message):
    path = written(GOOD.replace(old, new))
    with pytest.raises(FaultyInput) as refusal:
        read_forecast(path, TODAY)
    assert any(f"{path} {message}" in str(fault) for fault in refusal.value.faults), str(
        refusal.value
    )


def test_every_fault_is_named_at_once(written):
    with pytest.raises(FaultyInput) as refusal:
        read_forecast(written(GOOD.replace("0,10", "0,x").replace("4.5,60", "-4,60")), TODAY)
    assert len(refusal.value.faults) == 2


def test_one_to_ten_days(written):
    header = GOOD.splitlines()[0]
    rows = [f"{TODAY + i},0,0,30,20" for i in range(11)]
    assert read_forecast(written("\n".join([header, *rows[:10]])), TODAY).dates.size == 10
    for some, what in ((rows, "has 11 rows"), ([], "has a header and no rows")):
        with pytest.raises(FaultyInput, match=f"{what}; a row a day from today, 2021-07-01; 10"):
            read_forecast(written("\n".join([header, *some])), TODAY)
    with pytest.raises(FaultyInput, match="is empty"):
        read_forecast(written(""), TODAY)
    with pytest.raises(FaultyInput, match="no such file"):
        read_forecast(written(GOOD).with_name("none.csv"), TODAY)


# ---------------------------------------------------------------- ways that begin with it


def stacked(ways, name):
    return np.stack([getattr(way.days, name) for way in ways])


def test_without_skill_the_ways_are_unchanged_to_the_bit(record, ways):
    led = ways_with_forecast(ways, forecast_of(), record, skill_of(0.0, persistence=0.65))
    for name in ("rain_mm", "tmax_c", "tmin_c", "reference_et_mm"):
        assert stacked(led, name).tobytes() == stacked(ways, name).tobytes()
    assert [way.name for way in led] == [way.name for way in ways]


def test_with_full_skill_every_way_is_the_forecast(record, ways):
    chance = np.array([1.0, 0.0, 1.0, 0.5, 0.2])
    forecast = forecast_of(rain=np.where(chance > 0, 6.0, 0.0), chance=chance)
    led = ways_with_forecast(ways, forecast, record, skill_of(1.0))
    assert stacked(led, "tmax_c")[:, :5] == pytest.approx(35.0)
    assert stacked(led, "tmin_c")[:, :5] == pytest.approx(22.0)
    rain = stacked(led, "rain_mm")[:, :5]
    assert rain.mean(axis=0) == pytest.approx(forecast.rain_mm)
    assert (rain > 0).mean(axis=0) == pytest.approx(chance, abs=0.5 / len(ways) + 1e-9)


def test_days_after_the_forecast_are_the_ways(record, ways):
    led = ways_with_forecast(ways, forecast_of(), record, skill_of(0.8))
    for name in ("rain_mm", "tmax_c", "tmin_c"):
        assert (stacked(led, name)[:, 5:] == stacked(ways, name)[:, 5:]).all()


def test_temperature_fades_after_the_forecast_and_rain_does_not_last(record, ways):
    led = ways_with_forecast(ways, forecast_of(), record, skill_of(0.8, persistence=0.65))
    warmer = (stacked(led, "tmax_c") - stacked(ways, "tmax_c")).mean(axis=0)
    usual = date_climate(record, ways[0].days.dates).tmax_c
    own = stacked(ways, "tmax_c").mean(axis=0)
    r = 0.8 * 0.65 ** np.arange(1, 6)
    expected = usual[5:10] + r * (35.0 - usual[4]) + np.sqrt(1 - r * r) * (own - usual)[5:10]
    assert warmer[5:10] == pytest.approx(expected - own[5:10])
    assert (warmer[12:] == 0).all()
    assert (stacked(led, "rain_mm")[:, 5:] == stacked(ways, "rain_mm")[:, 5:]).all()


def test_error_of_the_forecast_is_kept(record, ways):
    led, r = ways_with_forecast(ways, forecast_of(), record, skill_of(0.8)), 0.8
    usual = date_climate(record, ways[0].days.dates[:5])
    own = stacked(ways, "tmax_c")[:, :5]
    found = stacked(led, "tmax_c")[:, :5]
    assert found.std(axis=0) == pytest.approx(np.sqrt(1 - r * r) * own.std(axis=0))
    shift = r * (35.0 - usual.tmax_c) + np.sqrt(1 - r * r) * (own.mean(axis=0) - usual.tmax_c)
    assert found.mean(axis=0) == pytest.approx(usual.tmax_c + shift)
    rain = stacked(led, "rain_mm")[:, :5]
    assert rain.mean(axis=0) == pytest.approx(usual.rain_mm + r * (3.0 - usual.rain_mm))


def test_ways_keep_their_order(record, ways):
    own = stacked(ways, "rain_mm")[:, :5]
    led = stacked(ways_with_forecast(ways, forecast_of(), record, skill_of(0.9)), "rain_mm")[:, :5]
    for day in range(5):
        by_own = np.argsort(own[:, day], kind="stable")
        wet = own[by_own, day] > 0.0
        assert (np.diff(led[by_own, day][wet]) >= 0.0).all()
        # No dry way is wetter than a wet one.
        assert led[by_own, day][~wet].max() <= led[by_own, day][wet].min() + 1e-12
    cool = stacked(ways_with_forecast(ways, forecast_of(), record, skill_of(0.9)), "tmax_c")[:, 0]
    assert (np.argsort(cool) == np.argsort(stacked(ways, "tmax_c")[:, 0])).all()


def test_dry_ways_do_not_get_the_rain_of_every_day(record, ways):
    """Ties among dry ways are broken by chance, day by day."""
    dry = [replace(way, days=replace(way.days, rain_mm=np.zeros(60))) for way in ways]
    led = stacked(ways_with_forecast(dry, forecast_of(), record, skill_of(1.0)), "rain_mm")[:, :5]
    days = (led > 0).sum(axis=1)
    # Of 29 ways with 4 chances in 10 a day, all five days are wet in 0.3 ways and none in 2.
    assert (days == 5).sum() <= 2
    assert (days == 0).sum() <= 6


def test_weights_of_ways_carry_the_chance(record, ways):
    w = np.where(np.arange(len(ways)) < 10, 3.0, 1.0)
    led = ways_with_forecast(ways, forecast_of(), record, skill_of(1.0), w)
    rain, share = stacked(led, "rain_mm")[:, :5], w / w.sum()
    assert share @ rain == pytest.approx(3.0)
    assert share @ (rain > 0) == pytest.approx(0.4, abs=share.max())


def test_a_dry_climate_can_have_forecast_rain(scenes):
    record = scenes.record(365 * 6, rain=0.0, start="2016-01-01")
    ways = ways_of_record(record, TODAY, TODAY + 20)
    led = ways_with_forecast(ways, forecast_of(chance=1.0), record, skill_of(0.5))
    assert stacked(led, "rain_mm")[:, :5].mean(axis=0) == pytest.approx(1.5)


def test_minimum_stays_below_maximum(record, ways):
    near = forecast_of(tmax=20.0, tmin=19.9)
    led = ways_with_forecast(ways, near, record, skill_of(0.95))
    assert (stacked(led, "tmin_c") <= stacked(led, "tmax_c")).all()


def test_a_forecast_of_other_days_is_refused(record, ways):
    other = replace(forecast_of(), dates=TODAY + 1 + np.arange(5))
    with pytest.raises(ValueError, match="from 2021-07-01 on"):
        ways_with_forecast(ways, other, record, skill_of(0.5))


def test_skill_can_be_stated_by_a_scenario():
    catalog = load_catalog()
    changed = catalog.with_overrides({"forecasts.day_03.forecast_correlation": 0.5})
    assert forecast_skill(changed).temperature[2] == 0.5
    assert forecast_skill(catalog).persistence == 0.65
