"""What must hold of generated, resampled and changed weather, whatever the climate."""

from dataclasses import fields, replace

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.faults import FaultyInput
from drysward.physics import reference_et as fao
from drysward.weather.record import DailyRecord
from drysward.weather.simulated import climate, generator, normals
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.normals import from_monthly_table
from drysward.weather.simulated.resampling import ChangeFactors, change, resample

TEMPERATE = {
    "latitude_deg": 39.2,
    "elevation_m": 47.0,
    "rain_mm": [77, 74, 99, 81, 101, 88, 94, 84, 102, 84, 79, 86],
    "wet_days": [10, 9, 11, 11, 11, 10, 10, 9, 8, 8, 9, 10],
    "tmax_c": [5.5, 7.3, 12.3, 18.7, 23.6, 28.6, 31.1, 30.0, 26.1, 19.8, 13.6, 7.9],
    "tmin_c": [-4.0, -3.0, 1.0, 6.3, 11.5, 16.9, 19.7, 18.7, 14.7, 7.9, 2.6, -1.6],
    "solar_mj_m2": [7.6, 10.4, 14.2, 17.8, 20.4, 22.3, 21.8, 19.4, 15.8, 12.0, 8.2, 6.7],
    "relative_humidity_pct": [63, 61, 59, 59, 66, 68, 69, 71, 71, 69, 66, 66],
    "wind_m_s": [4.0, 4.2, 4.3, 4.1, 3.6, 3.3, 3.1, 3.0, 3.1, 3.3, 3.6, 3.8],
    "wind_height_m": 10.0,
}
TROPICAL = {
    **TEMPERATE,
    "latitude_deg": 3.0,
    "rain_mm": [180, 200, 260, 290, 220, 140, 130, 160, 200, 270, 290, 240],
    "wet_days": [14, 14, 17, 20, 17, 12, 12, 14, 17, 20, 22, 19],
    "tmax_c": [32, 33, 33, 33, 33, 33, 32.5, 32.5, 32, 32, 31.5, 31.5],
    "tmin_c": [23, 23.5, 23.7, 24, 24.3, 24, 23.5, 23.5, 23.4, 23.4, 23.3, 23.2],
    "solar_mj_m2": [16, 18, 18, 18, 17, 17, 17, 17, 17, 16, 15, 14],
}
POLAR = {
    **TEMPERATE,
    "latitude_deg": 78.2,
    "rain_mm": [15, 12, 14, 9, 6, 10, 18, 23, 20, 15, 15, 16],
    "wet_days": [8, 8, 8, 6, 5, 6, 9, 10, 10, 9, 9, 9],
    "tmax_c": [-9, -10, -10, -7, -1, 5, 8.5, 7, 2.5, -3, -6, -8],
    "tmin_c": [-16, -17, -17, -14, -6, 0, 4, 3, -1.5, -8, -12, -15],
    "solar_mj_m2": [0, 0.3, 4, 13, 19, 20, 16, 9, 4, 0.6, 0, 0],
}
DRY_SUMMER = {
    **TEMPERATE,
    "rain_mm": [120, 90, 60, 20, 5, 0, 0, 0, 5, 30, 80, 110],
    "wet_days": [14, 11, 9, 4, 1, 0, 0, 0, 1, 5, 10, 13],
}
CLIMATES = {
    "temperate": TEMPERATE,
    "tropical": TROPICAL,
    "polar": POLAR,
    "dry summer": DRY_SUMMER,
}
COLUMNS = ("rain_mm", "tmax_c", "tmin_c", "solar_mj_m2", "dewpoint_c", "wind_m_s")


def month_of(record: DailyRecord) -> np.ndarray:
    return record.dates.astype("datetime64[M]").astype(int) % 12


def year_of(record: DailyRecord) -> np.ndarray:
    return record.dates.astype("datetime64[Y]").astype(int) + 1970


def month_means(record: DailyRecord, column: str) -> np.ndarray:
    values, month = getattr(record, column), month_of(record)
    return np.array([values[month == m].mean() for m in range(12)])


def season_totals(record: DailyRecord, months: tuple[int, ...] = (5, 6, 7)) -> np.ndarray:
    """Rain of the months in every year that has all days of them, 29 February aside."""
    chosen = np.isin(month_of(record), months)
    year = year_of(record)[chosen] - year_of(record)[0]
    days = np.bincount(year)
    return np.bincount(year, record.rain_mm[chosen])[days >= days.max() - 1]


@pytest.fixture(scope="module")
def temperate() -> climate.ClimateModel:
    return from_monthly_table(TEMPERATE)


@pytest.fixture(scope="module")
def long_run(temperate) -> DailyRecord:
    return generate(temperate, 1000, seed=12)


# ---------------------------------------------------------------- seeds and calendar


def test_same_seed_same_bytes_in_any_chunks(temperate):
    whole = generate(temperate, 12, seed=5)
    parts = [generate(temperate, n, seed=5, skip=skip) for skip, n in ((0, 1), (1, 7), (8, 4))]
    for column in ("dates", *COLUMNS):
        joined = np.concatenate([getattr(part, column) for part in parts])
        assert getattr(whole, column).tobytes() == joined.tobytes()


def test_chunks_inside_change_nothing(temperate, monkeypatch):
    whole = generate(temperate, 9, seed=5)
    monkeypatch.setattr(generator, "_YEARS_AT_ONCE", 2)
    chunked = generate(temperate, 9, seed=5)
    assert all(
        getattr(whole, column).tobytes() == getattr(chunked, column).tobytes() for column in COLUMNS
    )


def test_another_seed_is_other_weather_and_years_differ(temperate):
    one, two = generate(temperate, 2, seed=5), generate(temperate, 2, seed=6)
    assert not np.array_equal(one.rain_mm, two.rain_mm)
    assert not np.array_equal(one.tmax_c[:365], one.tmax_c[365:730])


def test_the_calendar_is_whole(temperate):
    record = generate(temperate, 5, seed=1, first_year=1999)
    assert record.dates[0] == np.datetime64("1999-01-01")
    assert record.dates[-1] == np.datetime64("2003-12-31")
    assert np.all(np.diff(record.dates) == np.timedelta64(1, "D"))
    for column in COLUMNS:
        assert getattr(record, column).shape == record.dates.shape
    day = climate.calendar_day(record.dates)
    assert day[record.dates == np.datetime64("2000-02-29")] == 59
    assert (day[[58, 59]] == [58, 60]).all()  # 28 February and 1 March 1999


def test_rain_does_not_hang_on_what_else_is_generated():
    bare = {key: TEMPERATE[key] for key in ("latitude_deg", "elevation_m", *normals._REQUIRED)}
    full, few = (generate(from_monthly_table(table), 3, seed=2) for table in (TEMPERATE, bare))
    assert full.rain_mm.tobytes() == few.rain_mm.tobytes()
    assert few.solar_mj_m2 is None


# ---------------------------------------------------------------- bounds and means


@pytest.mark.parametrize("name", CLIMATES)
def test_physical_bounds(name):
    table = CLIMATES[name]
    record = generate(from_monthly_table(table), 60, seed=3)
    day = climate.calendar_day(record.dates)
    ra = climate.extraterrestrial_radiation(table["latitude_deg"])[0][day]
    for column in COLUMNS:
        assert np.isfinite(getattr(record, column)).all()
    assert (record.tmin_c < record.tmax_c).all()
    assert ((record.rain_mm == 0) | (record.rain_mm >= climate.WET_MM)).all()
    assert (record.solar_mj_m2 <= 0.82 * ra + 1e-9).all()
    assert (record.solar_mj_m2 >= 0.03 * ra - 1e-9).all()
    assert (record.dewpoint_c <= record.tmin_c + 3 + 1e-9).all()
    assert (record.dewpoint_c <= (record.tmin_c + record.tmax_c) / 2 + 1e-9).all()
    assert (record.wind_m_s >= 0).all()


@pytest.mark.parametrize("name", CLIMATES)
def test_month_means_are_the_tables(name):
    """300 years: sampling error of a month's rain is about 5% of it, of a mean Tmax 0.15 C."""
    table = CLIMATES[name]
    record = generate(from_monthly_table(table), 300, seed=4)
    days = climate.DAYS_IN_MONTH
    rain = month_means(record, "rain_mm") * days
    assert rain == pytest.approx(np.array(table["rain_mm"]), rel=0.16, abs=1.5)
    assert rain.sum() == pytest.approx(sum(table["rain_mm"]), rel=0.03)
    for column, within in (("tmax_c", 0.5), ("tmin_c", 0.5), ("wind_m_s", 0.1)):
        assert month_means(record, column) == pytest.approx(np.array(table[column]), abs=within)
    solar = np.array(table["solar_mj_m2"])
    assert month_means(record, "solar_mj_m2") == pytest.approx(solar, rel=0.06, abs=0.4)


def test_the_latent_factor_keeps_means_and_widens_the_spread(temperate, long_run):
    plain = replace(temperate, annual_sd=0.0, season_sd=np.zeros(4))
    narrow = generate(plain, 1000, seed=12)
    wide = month_means(long_run, "rain_mm")
    assert wide == pytest.approx(month_means(narrow, "rain_mm"), rel=0.08)
    assert wide.sum() == pytest.approx(month_means(narrow, "rain_mm").sum(), rel=0.02)
    assert np.mean(long_run.rain_mm > 0) == pytest.approx(np.mean(narrow.rain_mm > 0), rel=0.01)
    assert season_totals(long_run).std() > 1.1 * season_totals(narrow).std()


def test_dry_summers_are_hot_and_clear(long_run):
    rain = season_totals(long_run)
    summer = np.isin(month_of(long_run), (5, 6, 7))
    for column in ("tmax_c", "solar_mj_m2"):
        values = getattr(long_run, column)[summer].reshape(-1, 92).mean(axis=1)
        assert np.corrcoef(rain, values)[0, 1] < -0.15


def test_years_are_correlated_when_the_model_says_so(temperate):
    model = replace(temperate, annual_sd=0.4, annual_lag1=0.6, season_sd=np.zeros(4))
    record = generate(model, 600, seed=1)
    totals = season_totals(record, tuple(range(12)))
    assert np.corrcoef(totals[1:], totals[:-1])[0, 1] > 0.25


# ---------------------------------------------------------------- fitting


def test_fitting_generated_weather_returns_the_climate(temperate):
    """120 years of simulated weather; tolerances are a few standard errors of each parameter."""
    part = generate(temperate, 120, seed=21)
    found = fit(part, 39.2, 47.0)
    assert found.variables == temperate.variables
    assert found.wet_fraction == pytest.approx(temperate.wet_fraction, abs=0.035)
    assert found.persistence == pytest.approx(temperate.persistence, abs=0.08)
    assert found.rain_per_wet_day_mm == pytest.approx(temperate.rain_per_wet_day_mm, rel=0.12)
    assert found.a[1] == pytest.approx(temperate.a[1], abs=0.12)
    assert found.a[0] == pytest.approx(temperate.a[0], abs=0.15)  # fewer days follow a wet one
    # The bound on dew point narrows its spread; the others come back.
    free = [0, 1, 2, 4]
    assert found.sd_dry[free] / temperate.sd_dry[free] == pytest.approx(np.ones((4, 366)), abs=0.15)
    again = generate(found, 1000, seed=22)
    assert season_totals(again).std() == pytest.approx(season_totals(part).std(), rel=0.12)
    assert month_means(again, "tmax_c") == pytest.approx(month_means(part, "tmax_c"), abs=0.3)
    assert month_means(again, "dewpoint_c") == pytest.approx(
        month_means(part, "dewpoint_c"), abs=0.4
    )


def test_a_short_record_is_refused(temperate):
    with pytest.raises(FaultyInput, match="at least 5 years"):
        fit(generate(temperate, 4, seed=1), 39.2, 47.0)


@pytest.mark.parametrize("rain_mm", [0.0, 3.0], ids=["never", "every day"])
def test_rain_never_or_always(temperate, rain_mm):
    made = generate(temperate, 6, seed=1)
    model = fit(replace(made, rain_mm=np.full(made.dates.size, rain_mm)), 39.2, 47.0)
    record = generate(model, 20, seed=2)
    assert ((record.rain_mm > 0) == (rain_mm > 0)).all()
    assert record.rain_mm.mean() == pytest.approx(rain_mm, rel=0.02)
    assert np.isfinite(record.tmax_c).all()


def test_a_month_that_never_rains_stays_dry():
    made = generate(from_monthly_table(DRY_SUMMER), 30, seed=1)
    record = generate(fit(made, 39.2, 47.0), 200, seed=2)
    assert np.all(record.rain_mm[np.isin(month_of(record), (5, 6, 7))] == 0)
    assert record.rain_mm.sum() > 0


def test_gaps_in_the_other_variables_are_borne(temperate):
    made = generate(temperate, 8, seed=1)
    solar = made.solar_mj_m2.copy()
    solar[np.random.default_rng(0).random(solar.size) < 0.2] = np.nan
    model = fit(replace(made, solar_mj_m2=solar), 39.2, 47.0)
    assert np.isfinite(model.a).all()
    assert np.isfinite(generate(model, 3, seed=1).solar_mj_m2).all()


def test_columns_that_are_never_there_together_are_refused(temperate):
    made = generate(temperate, 8, seed=1)
    solar, wind = made.solar_mj_m2.copy(), made.wind_m_s.copy()
    solar[:1500], wind[1500:] = np.nan, np.nan
    with pytest.raises(FaultyInput, match="only 0 days have"):
        fit(replace(made, solar_mj_m2=solar, wind_m_s=wind), 39.2, 47.0)


def test_sunshine_replaces_radiation(temperate):
    made = generate(temperate, 8, seed=1)
    day = climate.calendar_day(made.dates)
    ra, hours = (curve[day] for curve in climate.extraterrestrial_radiation(39.2))
    sunshine = np.clip((made.solar_mj_m2 / ra - 0.25) / 0.5, 0, 1) * hours
    model = fit(replace(made, solar_mj_m2=None, sunshine_h=sunshine), 39.2, 47.0)
    record = generate(model, 100, seed=1)
    assert record.solar_mj_m2.mean() == pytest.approx(made.solar_mj_m2.mean(), rel=0.06)


def test_a_column_that_never_changes_is_refused(temperate):
    made = generate(temperate, 6, seed=1)
    still = np.full(made.n_days, 2.0)
    with pytest.raises(FaultyInput, match="root_wind is the same on every day"):
        fit(replace(made, wind_m_s=still), 39.2, 47.0)


def test_notes_state_the_limits_of_a_record(temperate):
    made = generate(temperate, 8, seed=1)
    solar = made.solar_mj_m2.copy()
    solar[np.random.default_rng(0).random(solar.size) < 0.1] = np.nan
    rain = np.where(month_of(made) == 6, 0.0, made.rain_mm)
    gappy = replace(made, solar_mj_m2=solar, rain_mm=rain, filled={"rain: zero": 292})
    told = "\n".join(fit(gappy, 39.2, 47.0).notes)
    assert "8 years of record" in told
    assert "rain: zero: 292 days of the record were filled (10.0%)" in told
    assert "solar radiation: not known on" in told
    assert "no rain in July of the record" in told
    assert "sun hardly rises" not in told
    assert "no season" not in told
    full = fit(generate(temperate, 25, seed=1), 39.2, 47.0)
    assert full.notes == ()


def test_gaps_in_ten_days_of_a_hundred_move_the_climate_little(temperate):
    made = generate(temperate, 20, seed=1)
    rng = np.random.default_rng(3)
    holes = {
        name: np.where(rng.random(made.n_days) < 0.1, np.nan, getattr(made, name))
        for name in ("solar_mj_m2", "dewpoint_c", "wind_m_s")
    }
    whole, gappy = (
        generate(fit(record, 39.2, 47.0), 200, seed=2) for record in (made, replace(made, **holes))
    )
    for column, within in (("solar_mj_m2", 0.3), ("dewpoint_c", 0.3), ("wind_m_s", 0.1)):
        assert month_means(gappy, column) == pytest.approx(month_means(whole, column), abs=within)
    assert gappy.rain_mm.tobytes() == whole.rain_mm.tobytes()


@pytest.mark.parametrize(
    "name, told", [("polar", "sun hardly rises in January"), ("tropical", "no season")]
)
def test_places_without_a_day_or_a_season(name, told):
    """The table and a record made from it both say so, and make finite weather."""
    model = from_monthly_table(CLIMATES[name])
    latitude_deg = CLIMATES[name]["latitude_deg"]
    again = fit(generate(model, 6, seed=1), latitude_deg, 10.0)
    for one in (model, again):
        assert told in "\n".join(one.notes)
        record = generate(one, 5, seed=2)
        assert all(np.isfinite(getattr(record, column)).all() for column in COLUMNS)


def test_humidity_of_any_kind_gives_the_dew_point(temperate):
    made = generate(temperate, 10, seed=1)
    pressure = fao.vapor_pressure_from_dewpoint_kpa(made.dewpoint_c)
    half = fao.mean_saturation_vapor_pressure_kpa(made.tmax_c, made.tmin_c)
    for column, values in (
        ("vapor_pressure_kpa", pressure),
        ("rh_mean_pct", 100 * pressure / half),
    ):
        model = fit(replace(made, dewpoint_c=None, **{column: values}), 39.2, 47.0)
        assert any("dew point from" in note for note in model.notes)
        means = month_means(generate(model, 400, seed=1), "dewpoint_c")
        assert means == pytest.approx(month_means(made, "dewpoint_c"), abs=0.5)


# ---------------------------------------------------------------- monthly tables


def test_sunshine_normals_replace_radiation():
    """FAO-56 Eq 35 with 0.25 and 0.50 on the month's mean day."""
    ra, hours = (climate.month_means(x) for x in climate.extraterrestrial_radiation(39.2))
    sunshine = 0.55 * hours
    table = {**TEMPERATE, "sunshine_h": list(sunshine)}
    with pytest.raises(FaultyInput, match="sunshine_h: conflicts with solar_mj_m2"):
        from_monthly_table(table)
    del table["solar_mj_m2"]
    model = from_monthly_table(table)
    assert any("FAO-56 Eq 35" in note for note in model.notes)
    made = month_means(generate(model, 300, seed=1), "solar_mj_m2")
    assert made == pytest.approx((0.25 + 0.5 * 0.55) * ra, rel=0.04)


def test_a_scenario_can_set_what_normals_leave_open(temperate):
    name = "generated_weather.all.rain_season_sd"
    catalog = load_catalog().with_overrides({name: 0.4})
    model = from_monthly_table(TEMPERATE, catalog=catalog)
    assert list(model.season_sd) == [0.4] * 4
    assert "spread of seasons, sd of ln rain: 0.4, scenario" in model.notes
    assert "spread of seasons, sd of ln rain: 0.2, estimate" in temperate.notes
    wide, narrow = (season_totals(generate(m, 400, seed=1)).std() for m in (model, temperate))
    assert wide > 1.2 * narrow


def test_every_assumption_reaches_the_model(temperate):
    """Each number of the catalog, moved within its range, changes the model."""
    entry = load_catalog().get("generated_weather", "all")
    for name, parameter in entry.numbers.items():
        other = parameter.low if parameter.low != parameter.value else parameter.high
        catalog = load_catalog().with_overrides({f"generated_weather.all.{name}": other})
        moved = from_monthly_table(TEMPERATE, catalog=catalog)
        same = [
            np.array_equal(getattr(moved, f.name), getattr(temperate, f.name))
            for f in fields(moved)
            if f.name != "notes"
        ]
        assert not all(same), name


@pytest.mark.parametrize(
    "key, month, value, told",
    [
        ("wet_days", 1, 30, r"wet_days, February: wet_days 30"),
        ("wet_days", 3, 0, r"rain_mm, April: rain_mm 81, wet_days 0; a month with rain"),
        ("rain_mm", 6, 1.0, r"rain_mm, July: .*a wet day brings at least 0.254 mm"),
        ("tmin_c", 0, 6.0, r"tmin_c, January: tmin_c 6, tmax_c 5.5; tmin_c below tmax_c"),
        ("rain_mm", 11, -1.0, r"rain_mm, December: rain_mm -1; 0 to 5000"),
        ("relative_humidity_pct", 4, 140, r"relative_humidity_pct, May"),
        ("solar_mj_m2", 0, 16.0, r"solar_mj_m2, January: .*no more than a clear sky gives"),
    ],
)
def test_a_table_that_contradicts_itself_is_refused(key, month, value, told):
    table = {**TEMPERATE, key: [*TEMPERATE[key][:month], value, *TEMPERATE[key][month + 1 :]]}
    with pytest.raises(FaultyInput, match=told):
        from_monthly_table(table)


def test_all_faults_of_a_table_at_once():
    table = {**TEMPERATE, "tmax": [1] * 12, "latitude_deg": 95, "rain_mm": [1, 2]}
    del table["tmax_c"], table["wind_height_m"]
    with pytest.raises(FaultyInput) as caught:
        from_monthly_table(table, where="site.climate")
    told = "\n".join(map(str, caught.value.faults))
    for part in (
        "site.climate.tmax: not a known key; did you mean 'tmax_c' or 'tmax_sd_c'?",
        "site.climate.tmax_c: missing",
        "site.climate.wind_height_m: missing",
        "site.climate.latitude_deg: is 95",
        "site.climate.rain_mm: is not twelve numbers",
    ):
        assert part in told


def test_notes_state_the_assumptions(temperate):
    assert any("estimate" in note for note in temperate.notes)
    given = from_monthly_table({**TEMPERATE, "tmax_sd_c": [4] * 12, "tmin_sd_c": [4] * 12})
    assert not any("sd of daily tm" in note for note in given.notes)
    assert given.sd_dry[0] == pytest.approx(4.0)


# ---------------------------------------------------------------- resampling and change


def test_resampled_years_are_years_of_the_record(temperate):
    made = generate(temperate, 6, seed=1)
    again = resample(made, 9, seed=3)
    assert again.dates.size == 9 * 365 + 2
    years = {made.rain_mm[year_of(made) == y][:59].tobytes() for y in range(2001, 2007)}
    for year in range(2001, 2010):
        assert again.rain_mm[year_of(again) == year][:59].tobytes() in years
    same, other = resample(made, 9, seed=3), resample(made, 9, seed=4)
    assert same.rain_mm.tobytes() == again.rain_mm.tobytes()
    assert other.rain_mm.tobytes() != again.rain_mm.tobytes()
    longer = resample(made, 20, seed=3)
    assert longer.rain_mm[: again.dates.size].tobytes() == again.rain_mm.tobytes()


def test_a_resampled_year_is_the_same_alone(temperate):
    made = generate(temperate, 6, seed=1)
    for method in ("years", "blocks"):
        whole = resample(made, 12, seed=3, method=method)
        parts = [
            resample(made, n, seed=3, method=method, skip=skip) for skip, n in ((0, 5), (5, 7))
        ]
        for column in ("dates", *COLUMNS):
            joined = np.concatenate([getattr(part, column) for part in parts])
            assert getattr(whole, column).tobytes() == joined.tobytes()


def test_blocks_keep_seasons_whole_and_mix_years(temperate):
    made = generate(temperate, 6, seed=1)
    again = resample(made, 30, seed=3, method="blocks")

    def summers(record):
        summer = np.isin(month_of(record), (5, 6, 7))
        return [row.tobytes() for row in record.rain_mm[summer].reshape(-1, 92)]

    assert set(summers(again)) <= set(summers(made))
    januaries = {made.rain_mm[year_of(made) == y][:31].tobytes() for y in range(2001, 2007)}
    pairs = {
        (again.rain_mm[year_of(again) == y][:31].tobytes(), summers(again)[y - 2001])
        for y in range(2001, 2031)
    }
    assert {january for january, _ in pairs} <= januaries
    assert len(pairs) > 6


def test_resampling_refuses_what_it_cannot_do(temperate):
    made = generate(temperate, 1, seed=1)
    part = replace(made, **{name: getattr(made, name)[:200] for name in ("dates", *COLUMNS)})
    with pytest.raises(FaultyInput, match="complete calendar year"):
        resample(part, 3, seed=1)
    with pytest.raises(ValueError, match="blocks"):
        resample(made, 3, seed=1, method="days")


def test_no_change_changes_nothing(temperate):
    made = generate(temperate, 3, seed=1)
    for record in (made, generate(change(temperate, ChangeFactors()), 3, seed=1)):
        same = change(record, ChangeFactors())
        for column in COLUMNS:
            assert getattr(same, column) == pytest.approx(getattr(made, column), abs=1e-9)


@pytest.mark.parametrize("of", ["model", "record"])
@pytest.mark.slow
def test_change_moves_what_it_says_by_month(temperate, long_run, of):
    two = np.ones(12)
    two[6] = 0.5
    factors = ChangeFactors(
        temperature_add_c=np.arange(12.0) / 4,
        rain_amount_x=np.full(12, 1.2),
        wet_days_x=two,
        radiation_x=np.full(12, 0.9),
    )
    if of == "model":
        moved = generate(change(temperate, factors), 1000, seed=12)
    else:
        moved = change(long_run, factors, seed=1)
    expected = month_means(long_run, "rain_mm") * 1.2 * two
    assert month_means(moved, "rain_mm") == pytest.approx(expected, rel=0.06)
    wet = month_means(replace(moved, rain_mm=(moved.rain_mm > 0) * 1.0), "rain_mm")
    wet_before = month_means(replace(long_run, rain_mm=(long_run.rain_mm > 0) * 1.0), "rain_mm")
    assert wet == pytest.approx(wet_before * two, rel=0.04)
    # Fewer wet days in July also warm it a little.
    warmer = month_means(moved, "tmax_c") - month_means(long_run, "tmax_c")
    assert warmer == pytest.approx(factors.temperature_add_c, abs=0.35)
    dimmer = month_means(moved, "solar_mj_m2") / month_means(long_run, "solar_mj_m2")
    others = np.arange(12) != 6  # July of the model is drier and so clearer
    assert dimmer[others] == pytest.approx(0.9, abs=0.02)


def test_a_changed_record_stays_physical(temperate):
    """Brighter, no day passes a clear sky; warmer or colder, the dew point stays below Tmax."""
    made = generate(temperate, 4, seed=1)
    day = climate.calendar_day(made.dates)
    ra, hours = (curve[day] for curve in climate.extraterrestrial_radiation(39.2))
    pressure = np.asarray(fao.vapor_pressure_from_dewpoint_kpa(made.dewpoint_c))
    sunshine = np.clip((made.solar_mj_m2 / ra - 0.25) / 0.5, 0, 1) * hours
    made = replace(made, vapor_pressure_kpa=pressure, sunshine_h=sunshine)
    brighter = ChangeFactors(radiation_x=np.full(12, 1.5), temperature_add_c=np.full(12, -8.0))
    with pytest.raises(FaultyInput, match="radiation_x: the record needs latitude_deg"):
        change(made, brighter)
    moved = change(made, brighter, latitude_deg=39.2)
    assert (moved.solar_mj_m2 <= 0.82 * ra + 1e-9).all()
    assert (moved.solar_mj_m2 >= made.solar_mj_m2).all()
    assert moved.solar_mj_m2.mean() > 1.1 * made.solar_mj_m2.mean()
    assert (moved.sunshine_h <= hours + 1e-9).all()
    assert moved.sunshine_h.mean() > 1.1 * sunshine.mean()
    assert (moved.dewpoint_c <= moved.tmax_c).all()
    expected = fao.vapor_pressure_from_dewpoint_kpa(made.dewpoint_c - 8.0)
    assert moved.vapor_pressure_kpa == pytest.approx(expected)


def test_reference_et_of_a_record_rules_out_a_change(temperate):
    made = generate(temperate, 1, seed=1)
    made = replace(made, reference_et_mm=np.full(made.n_days, 3.0))
    with pytest.raises(FaultyInput, match="leave that column out"):
        change(made, ChangeFactors(temperature_add_c=np.ones(12)))
    assert change(made, ChangeFactors(wet_days_x=np.full(12, 0.5))).rain_mm.sum() > 0


def test_a_longer_record_turns_mostly_the_same_days(temperate):
    """Days have chances of their own: more years beside them turn few others."""
    made = generate(temperate, 20, seed=1)
    factors = ChangeFactors(wet_days_x=np.full(12, 0.8))
    whole = change(made, factors).between(2001, 2010)
    part = change(made.between(2001, 2010), factors)
    before = made.between(2001, 2010).rain_mm > 0
    turned = [before & (record.rain_mm == 0) for record in (whole, part)]
    assert np.sum(turned[0] & turned[1]) > 0.85 * np.sum(turned[1])


def test_more_wet_days_on_a_record(long_run):
    part = resample(long_run, 50, seed=1)
    moved = change(part, ChangeFactors(wet_days_x=np.full(12, 1.3)))
    assert np.sum(moved.rain_mm > 0) == pytest.approx(1.3 * np.sum(part.rain_mm > 0), rel=0.001)
    assert moved.rain_mm.sum() == pytest.approx(1.3 * part.rain_mm.sum(), rel=0.05)


def test_impossible_factors_are_refused():
    with pytest.raises(FaultyInput, match="rain_amount_x"):
        ChangeFactors(rain_amount_x=np.full(12, -1.0))
    with pytest.raises(FaultyInput, match="temperature_add_c"):
        ChangeFactors(temperature_add_c=np.full(12, np.nan))


def test_radiation_that_is_not_there_cannot_change(temperate):
    """A factor that would move nothing is refused, of a record and of normals."""
    brighter = ChangeFactors(radiation_x=np.full(12, 1.1))
    made = replace(generate(temperate, 1, seed=1), solar_mj_m2=None)
    bare = {key: value for key, value in TEMPERATE.items() if key != "solar_mj_m2"}
    for climate_or_record in (made, from_monthly_table(bare)):
        with pytest.raises(FaultyInput, match="neither radiation nor sunshine"):
            change(climate_or_record, brighter, latitude_deg=39.2)
        assert change(climate_or_record, ChangeFactors(wet_days_x=np.full(12, 0.9)))


def test_light_falls_come_back_by_season(temperate):
    """A record with many light falls in summer and few in winter: so has its fitted climate."""
    share = np.where(np.isin(np.arange(12), [5, 6, 7, 8]), 0.6, 0.1)
    record = generate(replace(temperate, light_share=share), 60, seed=8)
    again = generate(fit(record, 39.2, 47.0), 300, seed=9)

    def fewer_in_summer(some):
        """How much less often a wet day of summer brings 1 mm than one of winter."""
        month = some.dates.astype("datetime64[M]").astype(int) % 12
        wet = some.rain_mm > 0
        winter, summer = (
            np.mean(some.rain_mm[wet & np.isin(month, few)] >= 1.0) for few in ([0, 1, 2], [6, 7])
        )
        return winter - summer

    assert fewer_in_summer(record) > 0.12
    assert fewer_in_summer(again) == pytest.approx(fewer_in_summer(record), abs=0.05)


def test_rain_in_the_wrong_unit_is_refused():
    """Inches taken for millimeters twice over: 120 in a month in ten days."""
    table = {**TEMPERATE, "rain_mm": [25.4 * x for x in TEMPERATE["rain_mm"]]}
    with pytest.raises(FaultyInput, match=r"rain_mm, September: .*150 mm a wet day"):
        from_monthly_table(table)


def test_a_record_too_short_is_named(temperate):
    made = replace(generate(temperate, 4, seed=1), name="our-station")
    with pytest.raises(FaultyInput, match=r"our-station: 4\.0 years of rain are too few"):
        fit(made, 39.2, 47.0)
    with pytest.raises(FaultyInput, match="our-station: no complete calendar year"):
        resample(made.select(slice(1, 300)), 2, seed=1)
