"""The slow parts of simulated weather: the wet/dry regime, and what lasts in the other variables.

And what a record leaves open of its climate: refits to its years drawn anew.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.results.frequency import demand_at_return_periods, demand_of_years, thinned
from drysward.weather.checking.spread import longest_run
from drysward.weather.record import DailyRecord
from drysward.weather.simulated import climate, regime
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate, residual_series
from drysward.weather.simulated.normals import assumptions_drawn, from_monthly_table
from drysward.weather.simulated.refits import (
    block_years,
    climate_error,
    climate_years,
    drawn_years,
    fit_with_refits,
    normals_with_refits,
    sets_of_simulated_years,
)

PLACE = {"latitude_deg": 39.2, "elevation_m": 47.0}
NORMALS = {
    **PLACE,
    "rain_mm": [77, 74, 99, 81, 101, 88, 94, 84, 102, 84, 79, 86],
    "wet_days": [10, 9, 11, 11, 11, 10, 10, 9, 8, 8, 9, 10],
    "tmax_c": [5.5, 7.3, 12.3, 18.7, 23.6, 28.6, 31.1, 30.0, 26.1, 19.8, 13.6, 7.9],
    "tmin_c": [-4.0, -3.0, 1.0, 6.3, 11.5, 16.9, 19.7, 18.7, 14.7, 7.9, 2.6, -1.6],
}


@pytest.fixture(scope="module")
def plain() -> climate.ClimateModel:
    """Normals without regime, without anything that lasts."""
    model = from_monthly_table(NORMALS)
    return replace(
        model,
        annual_sd=0.0,
        season_sd=np.zeros(4),
        regime_contrast=np.zeros(4),
        slow=np.zeros((12, 1, 1)),
        residual_on_past=np.zeros((4, 1)),
        residual_on_beside=np.zeros((2, 12, 1)),
        dry_lag1=np.zeros((4, 1, 1)),
        heat_lean=np.zeros(4),
        drift=np.zeros((4, 2, 2)),
        year_drift=np.zeros((1, 1)),
    )


@pytest.fixture(scope="module")
def blocked(plain) -> climate.ClimateModel:
    """The same with a strong regime of two weeks."""
    return replace(plain, regime_days=14.0, regime_dry_share=0.5, regime_contrast=np.full(4, 2.0))


def month_of(record: DailyRecord) -> np.ndarray:
    return record.dates.astype("datetime64[M]").astype(int) % 12


def years_of(record: DailyRecord) -> np.ndarray:
    return record.dates.astype("datetime64[Y]").astype(int)


# ---------------------------------------------------------------- the regime


def test_two_states_mean_the_share_and_differ_by_the_contrast():
    share = np.linspace(0.02, 0.98, 25)
    for dry_share in (0.2, 0.5, 0.7):
        for contrast in (0.0, 0.7, 3.0):
            low, high = regime.regime_shares(share, dry_share, np.full(25, contrast))
            assert dry_share * low + (1 - dry_share) * high == pytest.approx(share, abs=1e-9)
            apart = np.log(high / (1 - high)) - np.log(low / (1 - low))
            assert apart == pytest.approx(contrast, abs=1e-6)


def test_states_have_the_share_and_memory_of_the_model():
    u = np.random.default_rng(1).random((400, 366))
    memory = regime.regime_memory(10.0)
    dry = regime.dry_states(u, 0.35, memory)
    assert dry.mean() == pytest.approx(0.35, abs=0.01)
    away = dry - dry.mean()
    for lag in (1, 10):
        found = (away[:, lag:] * away[:, :-lag]).mean() / away.var()
        assert found == pytest.approx(memory**lag, abs=0.03)


@pytest.mark.slow
def test_a_regime_keeps_rain_and_its_days_and_makes_spells_longer(plain, blocked):
    narrow, long = generate(plain, 1500, seed=4), generate(blocked, 1500, seed=4)
    for statistic, within in ((lambda x: x >= climate.WET_MM, 0.02), (lambda x: x, 0.04)):
        was, now = (
            np.array([statistic(record.rain_mm[month_of(record) == m]).mean() for m in range(12)])
            for record in (narrow, long)
        )
        assert now == pytest.approx(was, rel=3 * within)
        assert now.mean() == pytest.approx(was.mean(), rel=within)
    lag1 = [np.corrcoef(x.rain_mm[1:] > 0, x.rain_mm[:-1] > 0)[0, 1] for x in (narrow, long)]
    assert lag1[1] == pytest.approx(lag1[0], abs=0.03)  # the chain gives up what the regime has
    longest = [
        np.mean([longest_run(x.rain_mm[years_of(x) == y] < 1.0) for y in range(31, 331)])
        for x in (narrow, long)
    ]
    assert longest[1] > 1.15 * longest[0]


def test_a_fit_finds_the_regime_that_is_there_and_none_where_there_is_none(plain, blocked):
    """The grid has memories of 12 and 20 days beside the 14."""
    found = fit(generate(blocked, 40, seed=5), *PLACE.values())
    assert found.regime_days in (12.0, 20.0)
    assert found.regime_contrast == pytest.approx(2.0, abs=0.6)
    none = fit(generate(plain, 40, seed=5), *PLACE.values())
    share = 0.3
    low, high = regime.regime_shares(
        np.array([share]), none.regime_dry_share, none.regime_contrast.mean(keepdims=True)
    )
    explained = none.regime_dry_share * (1 - none.regime_dry_share) * (high - low) ** 2
    assert explained / (share * (1 - share)) < 0.05


def test_likelihood_by_hand_of_three_days():
    """Every path of the hidden states, one by one, on the first three days of a year."""
    wet = np.full((1, 366), np.nan)
    wet[0, :3] = (0.0, 0.0, 1.0)
    share, persistence = np.full(366, 0.3), np.full(366, 0.25)
    weights = np.zeros((366, 4))
    weights[:, 0] = 1.0
    found = regime.regime_likelihood(wet, share, persistence, 0.0, weights).of_days[1, 1, 4, 0, 0]
    dry_share, contrast, memory = 0.5, 1.2, np.exp(-1 / 7.0)
    low, high = regime.regime_shares(np.array([0.3]), dry_share, np.array([contrast]))
    shares = (float(low[0]), float(high[0]))
    between = dry_share * (1 - dry_share) * (shares[1] - shares[0]) ** 2
    r1 = (0.25 * 0.21 - memory * between) / (0.21 - between)
    total = 0.0
    for path in np.ndindex(2, 2, 2):
        chance = 0.5
        for day, state in enumerate(path):
            if day > 0:
                chance *= 0.5 * (1 - memory) + (memory if state == path[day - 1] else 0.0)
            rain = shares[state]
            if day > 0:
                rain += r1 * (wet[0, day - 1] - shares[path[day - 1]])
            chance *= rain if wet[0, day] else 1 - rain
        total += chance
    assert found == pytest.approx(np.log(total), abs=1e-9)


# ---------------------------------------------------------------- the other variables


def test_past_wetness_counts_the_days_before():
    wet = np.random.default_rng(2).random(200) - 0.3
    keep = np.exp(-1 / 6.0)
    slow = [0.2]
    for day in range(199):
        slow.append(keep * slow[-1] + (1 - keep) * wet[day])
    rows = climate.past_wetness(wet[None], 6.0, np.array([0.2]))[0]
    assert rows == pytest.approx(slow)
    assert climate.past_wetness(wet, 6.0, 0.2) == pytest.approx(slow, abs=1e-5)


def test_past_wetness_has_the_computed_variance(blocked):
    made = generate(blocked, 1500, seed=3)
    wet = made.rain_mm > 0
    curves = climate.share_curves(blocked)
    day = climate.calendar_day(made.dates)
    past = climate.past_wetness(wet - curves.mean[day], blocked.dryness_days)
    told = climate.past_wetness_variance(blocked, curves)
    # Years begin afresh on 1 January: by May nothing of the year before is left.
    inside = (day > 120) & (day < 360)
    assert past[inside].var() == pytest.approx(told[120:360].mean(), rel=0.06)


def test_dry_weeks_are_hot_where_the_climate_says_so(plain):
    """On days without rain between others without: the wet days themselves play no part."""
    tied = replace(plain, residual_on_past=np.full((4, 2), -2.0))
    slopes = []
    for model in (plain, tied):
        made = generate(model, 300, seed=6)
        wet = made.rain_mm > 0
        away = wet - climate.share_curves(model).mean[climate.calendar_day(made.dates)]
        past = climate.past_wetness(away, model.dryness_days)
        july = (month_of(made) == 6) & ~wet
        slopes.append(np.polyfit(past[july], made.tmax_c[july], 1)[0] / model.sd_dry[0, 196])
    assert slopes[0] == pytest.approx(0.0, abs=0.2)
    assert slopes[1] == pytest.approx(-2.0, abs=0.2)


def of_summer(made: DailyRecord, model: climate.ClimateModel) -> tuple[np.ndarray, np.ndarray]:
    """Residuals of Tmax of July days after the first, and of the days before them."""
    wet, day = made.rain_mm > 0, climate.calendar_day(made.dates)
    mean = np.where(wet, model.mean_wet[0, day], model.mean_dry[0, day])
    z = (made.tmax_c - mean) / np.where(wet, model.sd_wet[0, day], model.sd_dry[0, day])
    july = np.flatnonzero((month_of(made)[1:] == 6) & (month_of(made)[:-1] == 6)) + 1
    return z[july], z[july - 1]


def test_heat_lasts_longer_after_dry_days_and_the_mean_of_all_stays(plain):
    """Lag 1 by the day before; spread and lag 1 of all days are as without."""
    m0, m1 = np.eye(2), 0.6 * np.eye(2)
    added = np.zeros((4, 2, 2))
    added[:, 0, 0] = 0.1
    found = []
    for model in (plain, replace(plain, dry_lag1=added)):
        model = climate.without_drift(m0, m1, model)
        made = generate(model, 600, seed=12)
        now, before = of_summer(made, model)
        july = np.flatnonzero((month_of(made)[1:] == 6) & (month_of(made)[:-1] == 6))
        dry = made.rain_mm[july] == 0
        lag1 = [np.mean(now[some] * before[some]) for some in (dry, ~dry, dry | True)]
        found.append((*lag1, now.std()))
    assert found[0] == pytest.approx((0.6, 0.6, 0.6, 1.0), abs=0.03)
    share = 10 / 31  # wet days of July
    told = (0.7, 0.6 - 0.1 * (1 - share) / share, 0.6, 1.0)
    assert found[1] == pytest.approx(told, abs=0.03)


def test_a_lean_keeps_mean_spread_and_memory_and_has_the_stated_skew():
    """E[x e^3] = -6 lean b^3 for small leans, e what the day before leaves open."""
    days, a, b, lean = 60, 0.6, 0.8, 0.05
    normal = np.random.default_rng(13).standard_normal((20_000, days + 1, 1))
    dry = np.zeros((normal.shape[0], days), dtype=bool)
    both = [np.full((2, days, 1, 1), one) for one in (a, b)]
    spells = []
    for size in (0.0, lean):
        z = residual_series(*both, np.full(days, size), dry, normal)[:, :, 0]
        now, before = z[:, 1:], z[:, :-1]
        e = now - a * before
        assert z.mean() == pytest.approx(0.0, abs=0.01)
        assert z.std() == pytest.approx(1.0, abs=0.01)
        assert np.mean(now * before) == pytest.approx(a, abs=0.01)
        assert np.mean(before * e**3) == pytest.approx(-6 * size * b**3, abs=0.012)
        hot = z >= np.quantile(z, 0.9)
        spells.append((hot[:, 1:] & hot[:, :-1]).sum() / hot[:, :-1].sum())
    assert spells[1] > spells[0] + 0.005


def test_a_fit_returns_lean_and_memory_of_dry_days():
    """Of 60 years that have more of both than normals say."""
    added = np.zeros((4, 2, 2))
    added[:, 0, 0] = 0.1
    base = from_monthly_table(NORMALS)
    m0, m1 = (one[:2, :2] for one in (climate.RICHARDSON_M0, climate.RICHARDSON_M1))
    model = climate.without_drift(m0, m1, replace(base, dry_lag1=added))
    again = fit(generate(replace(model, heat_lean=np.full(4, 0.1)), 60, seed=14), *PLACE.values())
    none = fit(generate(plain_of(model), 60, seed=14), *PLACE.values())
    assert again.dry_lag1[:, 0, 0].mean() == pytest.approx(0.1, abs=0.04)
    assert again.heat_lean.mean() == pytest.approx(0.1, abs=0.03)
    assert none.dry_lag1[:, 0, 0].mean() == pytest.approx(0.0, abs=0.03)
    assert none.heat_lean.mean() < 0.02


def plain_of(model: climate.ClimateModel) -> climate.ClimateModel:
    """The model without lean and without more memory after dry days."""
    m0, m1 = (one[:2, :2] for one in (climate.RICHARDSON_M0, climate.RICHARDSON_M1))
    bare = replace(model, dry_lag1=np.zeros((4, 2, 2)), heat_lean=np.zeros(4))
    return climate.without_drift(m0, m1, bare)


def test_what_lasts_moves_months_and_years_but_not_days(plain):
    m0, m1 = np.eye(2), 0.6 * np.eye(2)
    still = climate.without_drift(m0, m1, plain)
    lasting = climate.without_drift(
        m0,
        m1,
        replace(
            plain,
            slow=np.tile(0.4 * np.eye(2), (12, 1, 1)),
            slow_days=20.0,
            year_drift=0.3 * np.eye(2),
            year_drift_lag1=0.8,
        ),
    )
    found = []
    for model in (still, lasting):
        made = generate(model, 800, seed=7)
        july = made.tmax_c[month_of(made) == 6].reshape(-1, 31)
        years = np.bincount(years_of(made) - 31, made.tmax_c) / np.bincount(years_of(made) - 31)
        lag1 = np.corrcoef(years[1:], years[:-1])[0, 1]
        found.append((july.std(), july.mean(axis=1).std(), years.std(), lag1))
    assert found[1][0] == pytest.approx(found[0][0], rel=0.05)
    assert found[1][1] > 1.25 * found[0][1]
    assert found[1][2] > 2 * found[0][2]
    assert found[0][3] == pytest.approx(0.0, abs=0.1)
    assert found[1][3] > 0.5


def test_a_fit_returns_the_spread_of_months_and_years():
    """Of 60 years that have all of it: sd between years of July, of the year, and its memory."""
    model = replace(from_monthly_table(NORMALS), year_drift_lag1=0.7)
    model = replace(model, year_drift=0.3 * np.eye(2))
    record = generate(model, 60, seed=9)
    again = generate(fit(record, *PLACE.values()), 600, seed=10)
    told = []
    for made in (record, again):
        months = np.array([made.tmax_c[(month_of(made) == m)].std() for m in range(12)])
        by_year = np.bincount(years_of(made) - 31, made.tmax_c)
        by_year = by_year / np.bincount(years_of(made) - 31)
        told.append((months.mean(), by_year.std(), np.corrcoef(by_year[1:], by_year[:-1])[0, 1]))
    assert told[1][0] == pytest.approx(told[0][0], rel=0.04)
    assert told[1][1] == pytest.approx(told[0][1], rel=0.25)
    assert told[1][2] == pytest.approx(told[0][2], abs=0.25)


# ---------------------------------------------------------------- refits


@pytest.fixture(scope="module")
def record() -> DailyRecord:
    return generate(from_monthly_table(NORMALS), 20, seed=11, first_year=1990)


def test_years_are_drawn_in_blocks_each_as_often():
    assert [block_years(n) for n in (5, 9, 30)] == [2, 2, 3]
    rng = np.random.default_rng(1)
    drawn = np.array([drawn_years(30, rng) for _ in range(3000)])
    assert drawn.shape == (3000, 30)
    assert np.bincount(drawn.ravel()) / 3000 == pytest.approx(1.0, abs=0.12)
    assert (np.diff(drawn[:, :3], axis=1) % 30 == 1).all()


def test_refits_are_the_same_whatever_their_number(record):
    few, more = (fit_with_refits(record, *PLACE.values(), number=n, seed=3) for n in (1, 2))
    assert few.refits[0].wet_fraction.tobytes() == more.refits[0].wet_fraction.tobytes()
    assert few.refits[0].a.tobytes() == more.refits[0].a.tobytes()
    own = fit(record, *PLACE.values())
    assert few.model.wet_fraction.tobytes() == own.wet_fraction.tobytes()
    assert not np.array_equal(more.refits[0].wet_fraction, more.refits[1].wet_fraction)


@pytest.mark.slow
def test_refits_differ_as_the_means_of_the_record_do(record):
    """Of a mean the spread between refits is its standard error, sd/sqrt(n)."""
    found = fit_with_refits(record, *PLACE.values(), number=40)
    rain = np.array([(m.wet_fraction * m.rain_per_wet_day_mm).mean() * 365 for m in found.refits])
    yearly = np.bincount(years_of(record) - 20, record.rain_mm)
    expected = yearly.std(ddof=1) / np.sqrt(20)
    # Sampling error of an sd from 40 refits is 11%, of that of 20 years 16%.
    assert climate_error(rain, 20) == pytest.approx(expected, rel=0.5)


def test_a_record_that_begins_in_autumn_is_drawn_by_its_own_years(record):
    first = int(np.flatnonzero(record.dates == np.datetime64("1990-09-20"))[0])
    part = record.select(slice(first, record.n_days))
    found = fit_with_refits(part, *PLACE.values(), number=2)
    for model in found.refits:
        assert np.isfinite(model.a).all()
        assert model.wet_fraction == pytest.approx(found.model.wet_fraction, abs=0.12)


def test_sets_of_simulated_years_share_their_chances(record):
    found = fit_with_refits(record, *PLACE.values(), number=2)
    one, two = sets_of_simulated_years(replace(found, refits=(found.model,) * 2), 3, seed=4)
    assert one.rain_mm.tobytes() == two.rain_mm.tobytes()
    parts = sets_of_simulated_years(found, 2, seed=4, skip=1)
    whole = sets_of_simulated_years(found, 3, seed=4)
    for part, all_of in zip(parts, whole, strict=True):
        assert part.rain_mm.tobytes() == all_of.between(2002, 2003).rain_mm.tobytes()


@pytest.mark.slow
def test_more_years_of_record_are_worth_more(record):
    part = record.between(1990, 1996)
    few, many = (climate_years(fit_with_refits(r, *PLACE.values())) for r in (part, record))
    assert 3 <= few < many < 200


def test_normals_leave_open_what_their_ranges_say():
    catalog = load_catalog()
    entry = catalog.get("generated_weather", "all")
    drawn = [assumptions_drawn(catalog, np.random.default_rng(i)) for i in range(200)]
    for name in ("regime_contrast", "rain_season_sd"):
        parameter = entry.parameter(name)
        values = np.array([one.get("generated_weather", "all")[name] for one in drawn])
        assert (values >= parameter.low).all()
        assert (values <= parameter.high).all()
        mean = (parameter.low + parameter.value + parameter.high) / 3  # of a triangle
        assert values.mean() == pytest.approx(mean, abs=0.1 * (parameter.high - parameter.low))
    set_here = catalog.with_overrides({"generated_weather.all.regime_contrast": 0.3})
    again = assumptions_drawn(set_here, np.random.default_rng(0))
    assert again.get("generated_weather", "all")["regime_contrast"] == 0.3
    other = "generated_weather.all.rain_season_sd"
    assert again.overrides[other] == drawn[0].overrides[other]


@pytest.mark.slow
def test_refits_of_normals_differ_by_the_years_behind_them():
    wide = load_catalog().with_overrides({"generated_weather.all.normals_years": 10})
    spread = []
    for catalog in (load_catalog(), wide):
        found = normals_with_refits(NORMALS, catalog=catalog, number=20)
        wet = np.array([model.wet_fraction.mean() for model in found.refits])
        spread.append(wet.std())
        assert wet.mean() == pytest.approx(found.model.wet_fraction.mean(), rel=0.05)
    assert spread[1] > 1.15 * spread[0]


def test_a_demand_is_of_all_simulated_years_and_its_limits_of_what_is_known():
    """Simulated years are distinct, but know the climate no better than 30 recorded ones."""
    values = np.random.default_rng(3).gamma(4.0, 100.0, size=(2, 200))
    whole = demand_at_return_periods(values, (10.0, 50.0))
    told = demand_of_years(values, (10.0, 50.0), 0.9, 30, 200)
    np.testing.assert_array_equal(told.estimate, whole.estimate)
    assert not told.fitted.any()
    assert ((told.high - told.low) > 1.2 * (whole.high - whole.low)).all()
    assert (told.low <= told.estimate).all()
    assert (told.estimate <= told.high).all()
    again = demand_of_years(values, (10.0, 50.0), 0.9, 30, 30)
    np.testing.assert_array_equal(
        again.estimate, demand_at_return_periods(thinned(values, 30), (10.0, 50.0)).estimate
    )
