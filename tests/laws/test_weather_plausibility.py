"""Files that are wrong as a whole are refused or told; true climates run, however extreme."""

from __future__ import annotations

import time
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from drysward.cli import main
from drysward.physics.reference_et import (
    clear_sky_solar_mj_m2,
    day_of_year,
    extraterrestrial_radiation_mj_m2,
)
from drysward.weather.checking.plausibility import IN_WEATHER, findings
from drysward.weather.file.columns import Column
from drysward.weather.file.read import read_table
from drysward.weather.file.table import Table

DATA = Path(__file__).parents[1] / "data"
PLACES = tomllib.loads((DATA / "climate-normals.toml").read_text())
TRUE_FILES = {
    "baltimore-washington-2010-2019.csv": (39.17, 47.0),
    "newark-2013.csv": (40.70, 3.0),
}
UNITS = {
    "rain": "mm", "tmax": "degC", "tmin": "degC", "wind": "m/s", "rh_mean": "%",
    "dewpoint": "degC", "solar": "MJ/m2",
}  # fmt: skip


def table_of(values, first="1991-01-01", units=None):
    """A table as a CSV file would be read that gives ``values`` in base units."""
    n = len(next(iter(values.values())))
    written = {**UNITS, **(units or {})}
    return Table(
        path="made.csv",
        dates=np.datetime64(first) + np.arange(n),
        values=dict(values),
        raw=dict(values),
        blank={name: np.isnan(column) for name, column in values.items()},
        columns={
            name: Column(f"{name}_column", name, written[name], 10.0 if name == "wind" else None)
            for name in values
        },
        lines=np.arange(2, n + 2),
    )


def days_of(normals, years=10, seed=3):
    """Days of a place by its normals: steady months, days scattered as days are."""
    latitude, elevation = normals["place"]
    dates = np.arange(np.datetime64("1991-01-01"), np.datetime64(f"{1991 + years}-01-01"))
    rng = np.random.default_rng(seed)
    month = dates.astype("datetime64[M]").astype(int) % 12
    noise = np.empty(dates.size)
    noise[0] = 0.0
    for day, shock in enumerate(rng.normal(0.0, 2.2, dates.size - 1), start=1):
        noise[day] = 0.7 * noise[day - 1] + shock  # sd 3 C
    if abs(latitude) < 20:
        noise *= 0.4
    tmax, tmin = (np.array(normals[name])[month] + noise for name in ("tmax", "tmin"))
    length = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    wet_days, month_mm = np.array(normals["wet"], float), np.array(normals["rain"], float)
    is_wet = rng.random(dates.size) < (wet_days / length)[month]
    of_day = (month_mm / np.maximum(wet_days, 1e-9))[month]
    rain = np.where(is_wet, rng.gamma(0.75, 1.0, dates.size) / 0.75 * of_day, 0.0)
    day = day_of_year(dates)
    clear = clear_sky_solar_mj_m2(extraterrestrial_radiation_mj_m2(latitude, day), elevation)
    humidity = np.clip(normals["humidity"] + rng.normal(0, 9, dates.size), 5, 100)
    # The air of a day holds what its mean humidity says (FAO-56 Eq 19).
    warmth = 0.5 * (tmax + tmin)
    log = np.log(humidity / 100) + 17.27 * warmth / (warmth + 237.3)
    return {
        "rain": np.where(rain > 0, np.maximum(rain.round(1), 0.1), 0.0),
        "tmax": tmax.round(1),
        "tmin": tmin.round(1),
        "wind": (normals["wind"] * rng.gamma(6.0, 1 / 6.0, dates.size)).round(1),
        "rh_mean": humidity.round(0),
        "dewpoint": np.minimum(237.3 * log / (17.27 - log), tmin + 1.0).round(1),
        "solar": (clear * np.clip(rng.beta(4, 1.6, dates.size), 0.05, 1.0)).round(2),
    }


def found_in(values, place, **more):
    return findings(table_of(values, **more), place[0], place[1], 10.0)


def fahrenheit(celsius):
    return celsius * 1.8 + 32.0


# ---------------------------------------------------------------- what is true


@pytest.mark.parametrize("name", PLACES)
def test_no_true_climate_is_refused(name):
    """Published normals (from memory, tests/data) of deserts, tropics, heights and the Arctic."""
    found = found_in(days_of(PLACES[name]), PLACES[name]["place"])
    assert [f.what for f in found if f.beyond_doubt] == []


def test_few_true_climates_have_findings():
    """A word on a place that is odd is no alarm, but few may have one."""
    told = {
        name: [f.what for f in found_in(days_of(normals), normals["place"])]
        for name, normals in PLACES.items()
    }
    odd = {name for name, what in told.items() if what}
    # Four of much wind, drizzle alone, and the wettest of all.
    windy = {"Stanley", "Point Reyes", "Torshavn", "Dodge City"}
    assert odd <= windy | {"Lima", "Cherrapunji"}


@pytest.mark.parametrize("name", TRUE_FILES)
def test_true_files_pass_in_silence(name):
    file = read_table(DATA / name)
    assert findings(file.table, *TRUE_FILES[name], file.wind_height_m) == ()


@pytest.mark.parametrize("months", [(1, 2), (6, 7, 8), (4, 5, 6, 7, 8, 9, 10), (11, 12)])
@pytest.mark.parametrize("name", ["Phoenix", "Harbin", "Bergen", "Christchurch", "Mumbai"])
def test_part_of_a_year_is_no_other_place(name, months):
    values = days_of(PLACES[name], years=1)
    dates = np.datetime64("1991-01-01") + np.arange(365)
    kept = np.isin(dates.astype("datetime64[M]").astype(int) % 12 + 1, months)
    part = {quantity: column[kept] for quantity, column in values.items()}
    found = findings(
        replace(table_of(part), dates=dates[kept]), *PLACES[name]["place"], 10.0
    )
    assert [f.what for f in found if f.beyond_doubt] == []


# ---------------------------------------------------------------- what is wrong

# Ways in which a file is wrong: what of it, and what the numbers then say they are.
WRONG = {
    "Celsius under Fahrenheit": (
        lambda v: {**v, **{q: (v[q] - 32) / 1.8 for q in ("tmax", "tmin", "dewpoint")}},
        {"tmax": "degF", "tmin": "degF", "dewpoint": "degF"},
        "tmax",
        "Celsius",
    ),
    "Fahrenheit under Celsius": (
        lambda v: {**v, **{q: fahrenheit(v[q]) for q in ("tmax", "tmin", "dewpoint")}},
        {},
        "tmax",
        "Fahrenheit",
    ),
    "inches under mm": (lambda v: {**v, "rain": (v["rain"] / 25.4).round(2)}, {}, "rain", "inches"),
    "mm under inches": (lambda v: {**v, "rain": v["rain"] * 25.4}, {"rain": "in"}, "rain", "mm"),
    "km/h under m/s": (lambda v: {**v, "wind": v["wind"] * 3.6}, {}, "wind", "km/h"),
    "mph under m/s": (lambda v: {**v, "wind": v["wind"] / 0.44704}, {}, "wind", "mph"),
    "humidity as a fraction": (
        lambda v: {**v, "rh_mean": v["rh_mean"] / 100}, {}, "rh_mean", "a fraction"
    ),
    "dew point above Tmin": (
        lambda v: {**v, "dewpoint": np.minimum(v["tmin"] + 6.0, v["tmax"])}, {}, "dewpoint", ""
    ),
    "wind 99.9": (lambda v: {**v, "wind": marked(v["wind"], 99.9)}, {}, "wind", "99.9"),
    "temperature -99.9": (lambda v: {**v, "tmin": marked(v["tmin"], -99.9)}, {}, "tmin", "-99.9"),
    "rain 99.99": (lambda v: {**v, "rain": marked(v["rain"], 99.99)}, {}, "rain", "99.99"),
    "six months shifted": (
        lambda v: {q: np.roll(column, 182) for q, column in v.items()}, {}, "tmax", "hemisphere"
    ),
    "W/m2 under MJ/m2": (lambda v: {**v, "solar": v["solar"] / 0.0864}, {}, "solar", "W/m2"),
    "cal/cm2 under MJ/m2": (lambda v: {**v, "solar": v["solar"] / 0.04184}, {}, "solar", "cal/cm2"),
    "kWh/m2 under MJ/m2": (lambda v: {**v, "solar": v["solar"] / 3.6}, {}, "solar", "kWh/m2"),
}  # fmt: skip
FARMED = ["Dodge City", "Phoenix", "Christchurch", "Adelaide", "Harbin", "Bergen", "San Francisco"]


def marked(values, mark):
    out = values.copy()
    out[100:2000:190] = mark
    return out


@pytest.mark.parametrize("name", FARMED)
@pytest.mark.parametrize("wrong", WRONG)
def test_wrong_files_are_refused_or_reported(wrong, name):
    spoil, units, quantity, says = WRONG[wrong]
    values = spoil(days_of(PLACES[name]))
    table = table_of(values, units=units)
    if units:
        # What was written is what the header's unit was wrongly said of.
        original = days_of(PLACES[name])
        table = replace(table, raw={**table.raw, **{q: original[q] for q in units}})
    found = findings(table, *PLACES[name]["place"], 10.0)
    about = [f for f in found if quantity in f.quantities]
    assert any(says in f"{f.what} {f.remedy}" for f in about), [f.what for f in found]
    if wrong not in ("mph under m/s", "km/h under m/s"):
        # A place with light winds has, so read, those of a windy one: told and no more.
        assert any(f.beyond_doubt for f in about)


@pytest.mark.parametrize("name", ["Dodge City", "Phoenix", "Christchurch", "Harbin", "Delhi"])
def test_the_other_side_of_the_equator(name):
    if name == "Delhi":
        name = "Lhasa"
    latitude, elevation = PLACES[name]["place"]
    found = found_in(days_of(PLACES[name]), (-latitude, elevation))
    seasons = [f for f in found if f.kind == "season"]
    assert {"tmax", "solar"} <= {q for f in seasons for q in f.quantities}
    assert all(f.beyond_doubt for f in seasons)
    assert f'latitude = "{latitude:g} deg"' in seasons[0].remedy


def test_wind_that_was_read_higher_up():
    values = days_of(PLACES["Dodge City"])
    low = findings(table_of(values), *PLACES["Dodge City"]["place"], 2.0)
    assert [(f.kind, f.beyond_doubt) for f in low] == [("wind in another unit", False)]
    calmer = {**values, "wind": values["wind"] * 0.7}
    low = findings(table_of(calmer), *PLACES["Dodge City"]["place"], 2.0)
    assert [(f.kind, f.beyond_doubt) for f in low] == [("wind height", False)]


def test_the_line_that_mends_is_one_of_a_scenario():
    values = days_of(PLACES["Dodge City"])
    values["wind"] = 0.7 * values["wind"]
    rain = found_in({**values, "rain": (values["rain"] / 25.4).round(2)}, (37.77, 790.0))
    assert tomllib.loads(rain[0].remedy.removeprefix(IN_WEATHER)) == {
        "columns": {"rain": {"column": "rain_column", "unit": "in"}}
    }
    assert tomllib.loads(rain[0].trust_line) == {"trust": ["rain"]}
    wind = found_in({**values, "wind": marked(values["wind"], 99.9)}, (37.77, 790.0))
    assert tomllib.loads(wind[0].remedy.removeprefix(IN_WEATHER)) == {"missing": {"wind": 99.9}}


def test_numbers_that_only_look_like_marks():
    """99 F, 99.9% and one rain of 99.9 mm beside others as large are what they say."""
    values = days_of(PLACES["Singapore"])
    values["rh_mean"] = np.where(values["rh_mean"] > 90, 99.9, values["rh_mean"])
    values["rain"][50], values["rain"][51] = 99.9, 120.0
    assert found_in(values, PLACES["Singapore"]["place"]) == ()
    hot = days_of(PLACES["Phoenix"])
    given = {q: fahrenheit(hot[q]).round(0) for q in ("tmax", "tmin")}
    assert (given["tmax"] == 99.0).any()
    table = table_of(hot, units={"tmax": "degF", "tmin": "degF"})
    table = replace(table, raw={**table.raw, **given})
    assert findings(table, *PLACES["Phoenix"]["place"], 10.0) == ()


def test_a_hundred_years_take_no_time():
    table = table_of(days_of(PLACES["Dodge City"], years=100))
    findings(table, 37.77, 790.0, 10.0)
    took = []
    for _ in range(3):
        start = time.process_time()
        findings(table, 37.77, 790.0, 10.0)
        took.append(time.process_time() - start)
    assert min(took) < 0.05


def test_weather_check_agrees_with_a_run(tmp_path):
    values = days_of(PLACES["Dodge City"], years=2)
    names = {"rain": "rain_mm", "tmax": "tmax_c", "tmin": "tmin_c"}
    spoilt = {**values, "rain": values["rain"] / 25.4}
    dates = np.datetime64("1991-01-01") + np.arange(values["rain"].size)
    rows = zip(dates, *(spoilt[name] for name in names), strict=True)
    path = tmp_path / "station.csv"
    lines = ["date," + ",".join(names.values())]
    path.write_text("\n".join([*lines, *(",".join(map(str, row)) for row in rows)]) + "\n")
    words = ["weather", "check", str(path), "--latitude", "37.8", "--elevation", "790"]
    told = " ".join(CliRunner().invoke(main, words).output.split())
    assert "A run refuses this file as a whole." in told
    assert "A run accepts" not in told
    assert 'columns.rain = { column = "rain_mm", unit = "in" }' in told
