"""Years run in stretches: no length of a stretch, and no number of workers, changes an answer."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.scenario.load import with_weather
from drysward.site.stretches import stretches, survey
from drysward.site.weather_years import weather_series
from drysward.studies import compare
from drysward.weather.series import recorded

PLANS = ["none", "refill", "restricted"]


@pytest.fixture(scope="module")
def demo():
    return with_weather(drysward.shipped(), years=60)


@pytest.fixture(scope="module")
def whole(demo) -> xr.Dataset:
    return drysward.run(demo, only=PLANS)


@pytest.mark.parametrize("years_at_once", [7, 1000])
def test_the_length_of_a_stretch_changes_no_figure(demo, whole, monkeypatch, years_at_once):
    def shorter(scenario, series, years=None, **_):
        return stretches(scenario, series, years, years_at_once)

    monkeypatch.setattr(compare, "stretches", shorter)
    again = drysward.run(demo, only=PLANS)
    # What remembers the days before starts afresh two winters early: nothing is left of it.
    xr.testing.assert_allclose(again, whole, rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("workers", [1, 3])
def test_same_bytes_on_any_number_of_workers(demo, whole, workers):
    xr.testing.assert_identical(drysward.run(demo, only=PLANS, workers=workers), whole)


def test_more_years_leave_the_first_ones_as_they_are(demo, whole):
    more = drysward.run(with_weather(demo, years=110), only=PLANS).isel(year=slice(0, 60))
    for name in ("irrigation_gross", "peak_wilt", "drainage"):
        np.testing.assert_array_equal(more[name], whole[name])


def test_another_seed_gives_other_years_of_the_same_climate(demo, whole):
    other = drysward.run(with_weather(demo, seed=2), only=PLANS)
    mean = other.precipitation.mean("year") / whole.precipitation.mean("year")
    assert not np.array_equal(other.precipitation, whole.precipitation)
    assert mean.values == pytest.approx(1.0, abs=0.08)


def test_a_ledger_of_a_late_year_is_that_of_the_run(demo, whole):
    days = drysward.ledger(demo, "practice", "refill", 58)
    year = whole.sel(field="practice", plan="refill", year=58)
    for name in ("precipitation", "irrigation_gross", "drainage", "transpiration"):
        assert float(days[name].sum()) == pytest.approx(float(year[name]), rel=1e-12, abs=1e-9)


def test_southern_years_run_from_july_in_any_stretch(scenes):
    record = scenes.weather(9)
    scenario = scenes.scenario([scenes.field()], latitude=-38.0)
    one, many = (
        list(stretches(scenario, recorded(record), None, years)) for years in (None, 2)
    )
    assert len(many) == 5  # from January to June, then four times two years
    assert one[0].years == many[0].years == tuple(range(2001, 2009))
    for site in many:
        counted = site.calendar[site.from_day :]
        assert np.unique(counted.year[counted.year >= 0]).size <= 2


@pytest.mark.slow
def test_memory_does_not_grow_with_the_years(demo):
    """At twice the years the most held at once stays the same, but for the results."""

    def most(years: int) -> int:
        tracemalloc.start()
        survey(with_weather(demo, years=years))
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return peak

    most(100)
    assert most(400) < 1.15 * most(100)


def test_a_record_is_its_own_series(scenes):
    record = scenes.weather(4)
    series = recorded(record)
    part = series.between(np.datetime64("2002-03-01"), np.datetime64("2003-01-01"))
    assert (str(part.dates[0]), str(part.dates[-1])) == ("2002-03-01", "2002-12-31")
    assert series.stop == record.dates[-1] + 1


def test_simulated_years_come_alike_in_any_parts(demo):
    series = weather_series(demo)
    whole = series.between(series.first, series.stop)
    middle = np.datetime64("2020-07-01")
    parts = [series.between(series.first, middle), series.between(middle, series.stop)]
    for name, values in whole.columns().items():
        joined = np.concatenate([part.columns()[name] for part in parts])
        np.testing.assert_array_equal(joined, values)


def test_a_record_may_be_the_path_of_a_file(scenes, tmp_path):
    scenario = scenes.scenario([scenes.field()], [scenes.plan("refill", trigger=0.5)])
    days = np.datetime64("2001-01-01") + np.arange(730)
    rain = np.where(np.arange(730) % 9 == 0, 20.0, 0.0)
    path = tmp_path / "mine.csv"
    lines = [f"{day},{mm},24,12" for day, mm in zip(days, rain, strict=True)]
    path.write_text("\n".join(["date,rain_mm,tmax_c,tmin_c", *lines]))
    found = drysward.run(scenario, record=path)
    assert found["year"].values.tolist() == [2001, 2002]
    named = replace(scenario, weather=replace(scenario.weather, file=path))
    for name, values in drysward.run(named).data_vars.items():
        np.testing.assert_array_equal(found[name], values, err_msg=str(name))
    field = scenario.fields[0].key
    xr.testing.assert_identical(
        drysward.ledger(scenario, field, "refill", 2002, record=str(path)),
        drysward.ledger(named, field, "refill", 2002),
    )


def test_drawn_years_count_as_the_record_they_come_from(scenes):
    record = scenes.weather(6)
    scenario = scenes.scenario([scenes.field()], [scenes.plan("refill", trigger=0.5)])
    source = replace(scenario.weather, source="resample", years=80)
    drawn = drysward.run(replace(scenario, weather=source), record=record)
    n = len(record.complete_years())
    assert drawn.attrs["independent_years"] == n < 80
    assert drawn.sizes["year"] == 80
    told = drysward.answers(drawn).isel(field=0, plan=0).sel(stage="wilt")
    plain = drysward.answers(drysward.run(scenario, record=record)).isel(field=0, plan=0)
    p = float(told.probability)
    assert float(told.probability_se) == pytest.approx(np.sqrt(p * (1 - p) / n))
    # The years of the record and no others: what they asked for.
    assert float(told.demand.sel(period=5)) <= float(plain.demand.sel(period=50))
