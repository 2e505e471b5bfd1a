"""What the survey of a weather file says, on records made so that the answer is known."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.faults import FaultyInput
from drysward.physics.reference_et import clear_sky_solar_mj_m2, day_of_year
from drysward.physics.reference_et import extraterrestrial_radiation_mj_m2 as above_air
from drysward.studies.weather_survey import (
    NORTHERN,
    SOUTHERN,
    Season,
    dry_spell_days,
    return_period_of_largest,
    survey,
    window_sums,
)
from drysward.weather.checking.suspicion import (
    homogeneity_statistic,
    longest_run_by_chance,
    runs_of_equal,
    step_changes,
)
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_table, read_weather, to_record

DATA = Path(__file__).parents[1] / "data"
FIRST = date(2001, 1, 1)
LATITUDE = 40.0


def simulated_weather(years: int = 10, seed: int = 7) -> dict[str, np.ndarray]:
    """Plain weather of whole years from 2001: dates and text of cells, to be spoilt by a test."""
    rng = np.random.default_rng(seed)
    dates = np.arange(np.datetime64(FIRST), np.datetime64(f"{2001 + years}-01-01"))
    day = day_of_year(dates)
    mean = 11 - 12 * np.cos(2 * np.pi * (day - 20) / 365) + rng.normal(0, 3, dates.size)
    clear = clear_sky_solar_mj_m2(above_air(LATITUDE, day), 0.0)
    return {
        "date": dates.astype(str).astype(object),
        "rain_mm": np.where(
            rng.random(dates.size) < 0.3, rng.gamma(0.7, 10, dates.size).round(1), 0.0
        ).astype(object),
        "tmax_c": (mean + 5).round(1).astype(object),
        "tmin_c": (mean - 5).round(1).astype(object),
        "wind_2m_m_s": (0.3 + rng.gamma(9, 0.25, dates.size)).round(1).astype(object),
        "solar_mj_m2": (clear * rng.beta(4, 1.5, dates.size)).round(2).astype(object),
    }


@pytest.fixture
def surveyed(tmp_path):
    """A function that writes cells, absent rows left out, and surveys the file."""

    def of(cells, without=(), latitude_deg=None, elevation_m=None, season=None):
        path = tmp_path / "meadow.csv"
        lines = [",".join(cells)]
        for row in zip(*cells.values(), strict=True):
            if row[0] not in without:
                lines.append(",".join(str(cell) for cell in row))
        path.write_text("\n".join(lines) + "\n")
        return survey(read_table(path), latitude_deg, elevation_m, season)

    return of


def row_of(day: str) -> int:
    return (date.fromisoformat(day) - FIRST).days


def days(first: str, count: int) -> slice:
    return slice(row_of(first), row_of(first) + count)


def told(found, kind: str) -> list[tuple[str, str]]:
    return [(str(one.first), one.what) for one in found.suspicions if one.kind == kind]


# ---------------------------------------------------------------- no wolf is cried


@pytest.mark.parametrize("seed", range(3))
def test_plain_weather_is_not_suspicious(surveyed, seed):
    found = surveyed(simulated_weather(seed=seed), latitude_deg=LATITUDE)
    assert not found.suspicions
    assert not found.gaps
    assert not found.verdict.faults


@pytest.mark.parametrize("name", ["baltimore-washington-2010-2019.csv", "newark-2013.csv"])
def test_observed_records_are_not_suspicious(name):
    assert not survey(read_table(DATA / name), 40.0, 10.0).suspicions


# ---------------------------------------------------------------- each spoilt in one way


def spoil(cells, quantity, rows, value):
    cells[quantity][rows] = value


SPOILT = {
    "tmax out of range": ("tmax_c", days("2003-05-05", 1), -999, "2003-05-05"),
    "tmax far from normal": ("tmax_c", days("2003-01-05", 1), 38.0, "2003-01-05"),
    "tmax repeated": ("tmax_c", days("2004-07-01", 8), 29.5, "2004-07-01"),
    "wind repeated": ("wind_2m_m_s", days("2004-07-01", 9), 2.5, "2004-07-01"),
    "wind at zero": ("wind_2m_m_s", days("2004-01-10", 3), 0, "2004-01-10"),
    "great rain": ("rain_mm", days("2006-08-08", 1), 400, "2006-08-08"),
    "rain repeated": ("rain_mm", days("2006-08-08", 4), 12.7, "2006-08-08"),
    "month without rain": ("rain_mm", days("2005-06-01", 30), 0, "2005-06-01"),
    "solar above clear sky": ("solar_mj_m2", days("2005-12-20", 1), 25.0, "2005-12-20"),
}


@pytest.mark.parametrize("kind", SPOILT)
def test_a_spoilt_value_is_found_where_it_is(surveyed, kind):
    quantity, rows, value, first = SPOILT[kind]
    cells = simulated_weather()
    spoil(cells, quantity, rows, value)
    found = surveyed(cells, latitude_deg=LATITUDE)
    assert [day for day, _ in told(found, kind)] == [first]
    assert len(found.suspicions) == 1


def test_crossed_and_equal_temperatures(surveyed):
    cells = simulated_weather()
    i, j = row_of("2002-03-01"), row_of("2002-03-05")
    cells["tmin_c"][i] = cells["tmax_c"][i] + 2
    cells["tmin_c"][j] = cells["tmax_c"][j]
    found = surveyed(cells)
    assert [day for day, _ in told(found, "values that contradict each other")] == ["2002-03-01"]
    assert [day for day, _ in told(found, "tmin equals tmax")] == ["2002-03-05"]
    # Neither of the crossed values is used: which one is wrong is not known.
    assert found.years[1].days_known == 364


def test_dewpoint_a_little_above_tmax(surveyed):
    cells = simulated_weather()
    cells["dewpoint_c"] = cells["tmin_c"] - 1.0
    i = row_of("2002-03-01")
    cells["dewpoint_c"][i] = cells["tmax_c"][i] + 1.5
    found = surveyed(cells)
    assert [day for day, _ in told(found, "dewpoint above tmax")] == ["2002-03-01"]


def test_an_observer_who_rests_on_sundays(surveyed):
    cells = simulated_weather(years=3)
    sundays = [date.fromisoformat(day).weekday() == 6 for day in cells["date"]]
    spoil(cells, "rain_mm", np.array(sundays), 0)
    ((_, what),) = told(surveyed(cells), "rain by weekday")
    assert what.startswith("rain on 0% of Sundays")


def test_rain_read_in_tens(surveyed):
    cells = simulated_weather(years=3)
    cells["rain_mm"] = (10 * np.rint(cells["rain_mm"].astype(float) / 10)).astype(object)
    ((_, what),) = told(surveyed(cells), "rain rounded")
    assert "100%" in what


def test_radiation_needs_a_latitude(surveyed):
    cells = simulated_weather()
    spoil(cells, "solar_mj_m2", row_of("2005-12-20"), 25.0)
    assert not surveyed(cells).suspicions


@pytest.mark.parametrize(
    ("quantity", "change", "kind"),
    [
        ("tmin_c", lambda v: (v + 1.5).round(1), "tmin steps"),
        ("wind_2m_m_s", lambda v: (v * 1.4).round(1), "wind steps"),
        ("solar_mj_m2", lambda v: (v * 0.88).round(2), "solar steps"),
    ],
)
def test_a_new_instrument(surveyed, quantity, change, kind):
    cells = simulated_weather(years=12)
    later = slice(row_of("2007-01-01"), None)
    cells[quantity][later] = change(cells[quantity][later].astype(float))
    found = surveyed(cells, latitude_deg=LATITUDE)
    assert [day for day, _ in told(found, kind)] == ["2007-01-01"]
    assert [one.kind for one in found.suspicions] == [kind]


def test_a_trend_is_no_step():
    years = np.arange(1991, 2021)
    noise = np.random.default_rng(3).normal(0, 0.2, years.size)
    assert step_changes(years, 0.05 * (years - 1991) + noise) == []
    (step,) = step_changes(years, np.where(years < 2001, 0.0, 1.0) + noise)
    assert abs(step.year - 2001) <= 1
    assert step.after - step.before == pytest.approx(1.0, abs=0.2)


def test_homogeneity_statistic_as_its_slow_twin():
    values = np.random.default_rng(5).normal(10, 2, 12)
    z = (values - values.mean()) / values.std()
    statistic = homogeneity_statistic(np.stack([values, 3 * values + 1]))
    for k in range(1, 12):
        slow = k * z[:k].mean() ** 2 + (12 - k) * z[k:].mean() ** 2 if 3 <= k <= 9 else 0.0
        assert statistic[:, k - 1] == pytest.approx(slow)


def test_a_stuck_sensor_does_not_hide_itself():
    values = np.random.default_rng(1).integers(0, 40, 3000).astype(float)
    usual = longest_run_by_chance(runs_of_equal(values))
    values[100:900] = 7.0
    assert longest_run_by_chance(runs_of_equal(values)) <= usual + 1


# ---------------------------------------------------------------- gaps


def test_gaps_of_each_kind(surveyed):
    cells = simulated_weather(years=3)
    absent = {str(date(2001, 12, 30) + timedelta(i)) for i in range(4)}
    spoil(cells, "rain_mm", days("2002-05-01", 2), "")
    spoil(cells, "tmax_c", days("2002-06-01", 1), "")
    for quantity in ("rain_mm", "tmin_c"):
        spoil(cells, quantity, days("2002-07-01", 1), "")
    found = surveyed(cells, without=absent)
    assert [(gap.what, str(gap.first), gap.days) for gap in found.gaps] == [
        ("no row", "2001-12-30", 4),
        ("rain and temperature", "2002-07-01", 1),
        ("rain", "2002-05-01", 2),
        ("temperature", "2002-06-01", 1),
    ]
    assert [year.days_known for year in found.years] == [363, 359, 365]
    assert [year.whole for year in found.years] == [True, False, True]


def test_rows_out_of_order_twice_or_remote(surveyed):
    cells = simulated_weather(years=2)
    last = {name: column[-1] for name, column in cells.items()}
    for day in ("2001-03-03", "2902-01-01", "3 March"):
        cells = {
            name: np.append(column, day if name == "date" else last[name])
            for name, column in cells.items()
        }
    found = surveyed(cells)
    assert found.rows_unused == 3
    assert (found.first, found.last) == (date(2001, 1, 1), date(2002, 12, 31))
    assert not found.gaps
    assert len(found.verdict.faults) >= 3


# ---------------------------------------------------------------- years


def test_longest_dry_spell_of_baltimore():
    # Counted in the file apart from this program: 29 days under 1 mm in 2013.
    found = survey(read_table(DATA / "baltimore-washington-2010-2019.csv"))
    by_year = {year.year: year.longest_dry_days for year in found.years}
    assert max(by_year.values()) == by_year[2013] == 29


@given(
    st.lists(st.sampled_from([0.0, 0.9, 1.0, 5.0, np.nan]), min_size=1, max_size=40),
    st.integers(1, 10),
)
def test_spells_and_windows_as_their_slow_twins(rain, width):
    values = np.array(rain)
    spells, sums = dry_spell_days(values), window_sums(values, width)
    run = 0
    for i, mm in enumerate(rain):
        run = run + 1 if mm < 1.0 else 0
        assert spells[i] == run
        window = rain[i + 1 - width : i + 1] if i + 1 >= width else [np.nan]
        assert sums[i] == pytest.approx(sum(window), nan_ok=True)


def test_a_year_sums_its_own_days(surveyed):
    cells = simulated_weather(years=2)
    found = surveyed(cells)
    rain = cells["rain_mm"][365:].astype(float)
    assert found.years[1].rain_mm == pytest.approx(rain.sum())
    assert found.years[1].wet_days == (rain >= 1).sum()
    assert np.isnan(found.years[1].et_mm)
    with_et = surveyed(cells, latitude_deg=LATITUDE, elevation_m=10.0).years[1]
    assert 600 < with_et.et_mm < 1300
    assert with_et.et_less_rain_mm == pytest.approx(with_et.et_mm - with_et.rain_mm)


def test_days_without_temperature_have_no_et(surveyed):
    cells = simulated_weather(years=1)
    place = {"latitude_deg": LATITUDE, "elevation_m": 10.0}
    (whole,) = surveyed(cells, **place).years
    spoil(cells, "tmax_c", days("2001-07-01", 31), "")
    (part,) = surveyed(cells, **place).years
    assert 60 < whole.et_mm - part.et_mm < 250
    spoil(cells, "tmax_c", slice(None), "")
    (none,) = surveyed(cells, **place).years
    assert np.isnan(none.et_mm)


# ---------------------------------------------------------------- seasons


def test_seasons_from_the_driest(surveyed):
    seasons = surveyed(simulated_weather(years=10)).seasons
    rain = [one.rain_mm for one in seasons.ranked]
    assert rain == sorted(rain)
    assert len(rain) == 10
    assert seasons.ranked[0].return_period == pytest.approx(11.0)
    estimates = [level.estimate_mm for level in seasons.levels]
    assert estimates == sorted(estimates, reverse=True)
    assert all(level.low_mm <= level.estimate_mm <= level.high_mm for level in seasons.levels)
    assert [level.beyond_record for level in seasons.levels] == [False, False, False, True, True]


def test_a_short_record_is_not_fitted(surveyed):
    assert not surveyed(simulated_weather(years=9)).seasons.levels


def test_a_season_over_new_year(surveyed):
    cells = simulated_weather(years=3)
    spoil(cells, "rain_mm", days("2001-12-31", 2), 500)
    seasons = surveyed(cells, season=Season((12, 1), (1, 31))).seasons
    assert [one.year for one in seasons.ranked] == [2002, 2001]
    assert seasons.ranked[1].rain_mm > 1000
    assert seasons.left_out == (2000, 2003)


def test_the_south_is_known_by_its_january(surveyed):
    cells = simulated_weather(years=2)
    assert surveyed(cells).seasons.season == NORTHERN
    for quantity in ("tmax_c", "tmin_c"):
        cells[quantity] = 20.0 - cells[quantity]
    cells["tmax_c"], cells["tmin_c"] = cells["tmin_c"], cells["tmax_c"]
    assert surveyed(cells).seasons.season == SOUTHERN
    assert surveyed(cells, latitude_deg=40.0).seasons.season == NORTHERN


@pytest.mark.parametrize("n", [1, 8, 30])
def test_limits_of_the_driest_hold_as_often_as_they_say(n):
    low, high = return_period_of_largest(n)
    least = np.random.default_rng(n).random((20_000, n)).min(axis=1)
    held = np.mean((1 / least >= low) & (1 / least <= high))
    assert held == pytest.approx(0.90, abs=0.01)


# ---------------------------------------------------------------- would a run accept it?


@pytest.mark.parametrize(
    ("spoilt", "rule"),
    [
        ({"rain_mm": 2}, FillRule(rain="zero")),
        ({"tmax_c": 2}, FillRule(temperature="interpolate")),
        ({"rain_mm": 2, "tmax_c": 2}, FillRule("zero", "interpolate")),
        ({"rain_mm": 9}, FillRule("zero", "interpolate", 9)),
        ({"rain_mm": 40}, FillRule("neighbor-years", "neighbor-years", 40)),
    ],
)
def test_the_rule_that_is_named_does(surveyed, tmp_path, spoilt, rule):
    cells = simulated_weather(years=2)
    for quantity, count in spoilt.items():
        spoil(cells, quantity, days("2001-05-01", count), "")
    verdict = surveyed(cells).verdict
    assert verdict.faults
    assert verdict.rule == rule
    assert not verdict.remaining
    path = tmp_path / "meadow.csv"
    with pytest.raises(FaultyInput):
        read_weather(path)
    assert to_record(read_table(path), rule).n_days == read_weather(path, fill=rule).n_days == 730


def test_what_no_rule_mends(surveyed):
    cells = simulated_weather(years=2)
    spoil(cells, "tmax_c", row_of("2001-05-01"), 99)
    verdict = surveyed(cells).verdict
    assert verdict.rule is None
    assert len(verdict.remaining) == 1
    spoil(cells, "rain_mm", row_of("2001-06-01"), "")
    verdict = surveyed(cells).verdict
    assert verdict.rule == FillRule(rain="zero")
    assert len(verdict.remaining) == 1


@pytest.mark.parametrize("times, unit", [(1 / 25.4, "inches"), (10.0, "tenths of a millimeter")])
def test_rain_in_another_unit_than_its_header_says(surveyed, times, unit):
    cells = simulated_weather()
    cells["rain_mm"] = np.round(np.asarray(cells["rain_mm"], float) * times, 2)
    found = told(surveyed(cells), "rain in another unit")
    assert len(found) == 1
    assert unit in found[0][1]
