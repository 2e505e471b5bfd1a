"""Generated weather against the records it was fitted to, and against years it has not seen.

Sources: NOAA daily summaries (public domain) of Baltimore-Washington, 2010 to 2019
(``tests/data``), and of Seattle, 2012 to 2015 (with the package vega_datasets); and thirty years
made from invented monthly normals of a summer-dry place. Distributions are compared by
chi-square tests at the 1% level; several thousand simulated years stand for the generator itself.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from drysward.weather.checking.spread import compare_spread, year_spread
from drysward.weather.record import DailyRecord
from drysward.weather.simulated import climate, climate_fit, drift_fit
from drysward.weather.simulated.climate import WET_MM, calendar_day
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.normals import from_monthly_table

DATA = Path(__file__).parents[1] / "data"
WARM, COLD = (3, 4, 5, 6, 7, 8), (9, 10, 11, 0, 1, 2)
PLACES = {"baltimore": (39.17, 47.0), "seattle": (47.45, 120.0), "invented": (38.0, 300.0)}
INVENTED = {
    "latitude_deg": 38.0,
    "elevation_m": 300.0,
    "rain_mm": [95, 80, 70, 45, 25, 12, 6, 9, 25, 55, 85, 100],
    "wet_days": [12, 11, 10, 8, 5, 3, 1.5, 2, 4, 7, 11, 12],
    "tmax_c": [10, 12, 15, 19, 24, 29, 33, 33, 28, 21, 14, 10],
    "tmin_c": [1, 2, 4, 7, 10, 14, 17, 17, 13, 9, 4, 2],
    "sunshine_h": [4, 5, 6.5, 8, 9.5, 11, 12, 11, 9, 7, 5, 4],
    "dewpoint_c": [1, 2, 3, 5, 8, 10, 11, 11, 10, 8, 4, 2],
    "wind_m_s": [2.5, 2.7, 3, 3, 2.8, 2.6, 2.6, 2.5, 2.3, 2.2, 2.3, 2.5],
    "wind_height_m": 2.0,
}


def observed(rows: list[dict[str, str]], names: dict[str, str]) -> DailyRecord:
    """A record of CSV rows; ``names`` maps its columns to those of the file."""
    columns = {name: np.array([float(row[there]) for row in rows]) for name, there in names.items()}
    height = 10.0 if "wind_m_s" in names else None
    dates = np.array([row["date"].replace("/", "-") for row in rows], dtype="datetime64[D]")
    return DailyRecord(dates=dates, wind_height_m=height, **columns)


def read_baltimore() -> DailyRecord:
    lines = (DATA / "baltimore-washington-2010-2019.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    rain, tmax, tmin = (name for name in rows[0] if name != "date")
    return observed(rows, {"rain_mm": rain, "tmax_c": tmax, "tmin_c": tmin})


def read_seattle() -> DailyRecord:
    data = pytest.importorskip("vega_datasets").data
    with open(data.seattle_weather.filepath, encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = {"rain_mm": "precipitation", "tmax_c": "temp_max", "tmin_c": "temp_min"}
    return observed(rows, {**names, "wind_m_s": "wind"})


@pytest.fixture(scope="module", params=PLACES)
def pair(request):
    """A record, and 4,000 years of the climate fitted to it, with the place's name."""
    place = request.param
    with pytest.MonkeyPatch.context() as patch:
        # Seattle's four years are one short of what a user may fit.
        patch.setattr(climate_fit, "LEAST_YEARS", 4)
        if place == "invented":
            record = generate(from_monthly_table(INVENTED), 30, seed=77)
        else:
            record = {"baltimore": read_baltimore, "seattle": read_seattle}[place]()
        model = fit(record, *PLACES[place])
    return place, record, generate(model, 4000, seed=7)


def month_of(record: DailyRecord) -> np.ndarray:
    return record.dates.astype("datetime64[M]").astype(int) % 12


def by_month(record: DailyRecord, column: str, statistic=np.mean) -> np.ndarray:
    values, month = getattr(record, column), month_of(record)
    return np.array([statistic(values[month == m]) for m in range(12)])


def month_totals_sd(record: DailyRecord) -> np.ndarray:
    """(12,) sd between years of each month's rain, of months that are whole."""
    month = record.dates.astype("datetime64[M]").astype(int)
    place = month - month[0]
    days, total = np.bincount(place), np.bincount(place, record.rain_mm)
    of_year = (np.arange(days.size) + month[0]) % 12
    return np.array([total[(of_year == m) & (days >= 28)].std(ddof=1) for m in range(12)])


def residual_correlations(record: DailyRecord, latitude_deg: float):
    """M0 and M1 of the record's own residuals, as the fit sees them."""
    day, wet = calendar_day(record.dates), record.rain_mm >= WET_MM
    values = climate_fit._residual_variables(record, day, latitude_deg)
    z = climate_fit._fit_curves(np.stack(list(values.values())), wet, day)[2]
    return drift_fit.residual_correlations(z)


def spells(chosen: np.ndarray) -> np.ndarray:
    """Lengths of the runs of True in (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(int), [0]])))
    return edges[1::2] - edges[::2]


def spell_test(seen: DailyRecord, made: DailyRecord, months, wet: bool) -> float:
    """p of a chi-square test of spell lengths within the months, binned, against the made ones."""
    lengths = [
        spells(((record.rain_mm >= WET_MM) == wet) & np.isin(month_of(record), months))
        for record in (seen, made)
    ]
    edges = np.array([1, 2, 3, 4, 5, 7, 10, 15, 22, 10_000])
    count, expected = (np.histogram(some, edges)[0].astype(float) for some in lengths)
    expected *= count.sum() / expected.sum()
    while expected[-1] < 5:  # long spells are few: pooled until the test holds
        for array in (count, expected):
            array[-2] += array[-1]
        count, expected = count[:-1], expected[:-1]
    return float(stats.chisquare(count, expected).pvalue)


# ---------------------------------------------------------------- what was fitted comes back


@pytest.mark.slow
def test_residual_correlations(pair):
    place, record, made = pair
    latitude_deg = PLACES[place][0]
    of_made = residual_correlations(made.between(2001, 2300), latitude_deg)
    for found, expected in zip(of_made, residual_correlations(record, latitude_deg), strict=True):
        assert found == pytest.approx(expected, abs=0.02)


def test_month_means(pair):
    """Rain of a month within 3% or 1 mm; the sampling error of 4,000 years is about 1%."""
    _, record, made = pair
    days = climate.DAYS_IN_MONTH
    rain, seen = by_month(made, "rain_mm") * days, by_month(record, "rain_mm") * days
    assert rain == pytest.approx(seen, rel=0.03, abs=1.0)
    for column in ("tmax_c", "tmin_c"):
        assert by_month(made, column) == pytest.approx(by_month(record, column), abs=0.3)


def test_month_standard_deviations(pair):
    """Of days, each month and all months; of month totals of rain over the year.

    The sd of a month is known to about 10% from eight years and 15% from four.
    """
    place, record, made = pair
    each = 0.35 if place == "seattle" else 0.25
    for column in ("tmax_c", "tmin_c"):
        ratio = by_month(made, column, np.std) / by_month(record, column, np.std)
        assert ratio == pytest.approx(np.ones(12), abs=each)
        assert ratio.mean() == pytest.approx(1.0, abs=0.05)
    assert np.mean(month_totals_sd(made) / month_totals_sd(record)) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("months", [WARM, COLD], ids=["warm half", "cold half"])
@pytest.mark.parametrize("wet", [True, False], ids=["wet", "dry"])
def test_spell_lengths(pair, months, wet):
    _, record, made = pair
    assert spell_test(record, made, months, wet) > 0.01


def hot_spells(record: DailyRecord, hot_c: float) -> np.ndarray:
    """(years, 2) number of hot days of each year's April to September, and of their spells."""
    years = record.dates.astype("datetime64[Y]").astype(int)
    hot = (record.tmax_c >= hot_c) & np.isin(month_of(record), WARM)
    begins = hot & ~np.concatenate([[False], hot[:-1]])
    return np.array([(hot[years == y].sum(), begins[years == y].sum()) for y in np.unique(years)])


@pytest.mark.slow
def test_hot_spells_are_as_long(pair, request):
    """Mean length within the middle 98% of simulated records of as many years.

    Hot days are the hottest tenth of June to August.
    """
    place, record, made = pair
    if place == "baltimore":
        short = "2.4 days in eight summers, 1.8 made, 99% of simulated records below 2.3"
        request.applymarker(pytest.mark.xfail(reason=short, strict=True))
    hot_c = np.percentile(record.tmax_c[np.isin(month_of(record), (5, 6, 7))], 90)
    days, begins = hot_spells(record, hot_c).sum(axis=0)
    each = hot_spells(made, hot_c)
    n = np.unique(record.dates.astype("datetime64[Y]")).size
    parts = np.array(np.split(each[: each.shape[0] // n * n], each.shape[0] // n)).sum(axis=1)
    some = parts[parts[:, 1] > 0]
    low, high = np.percentile(some[:, 0] / some[:, 1], [1, 99])
    assert low <= days / begins <= high


def test_heavy_rain(pair):
    """Amounts of wet days up to the 95th percentile; the 99th falls short by up to a fifth."""
    _, record, made = pair
    seen, found = (np.percentile(r.rain_mm[r.rain_mm >= WET_MM], [50, 75, 90, 95, 99])
                   for r in (record, made))  # fmt: skip
    assert found[:4] == pytest.approx(seen[:4], rel=0.12)
    assert found[4] == pytest.approx(seen[4], rel=0.22)


def test_summers_and_years_spread(pair):
    """Season totals to nine tenths of the record's sd, annual ones to three quarters.

    Without the latent factor the annual sd is 0.65 of Baltimore's and 0.77 of the invented one.
    """
    place, record, made = pair
    seen, found = year_spread(record), year_spread(made)
    summer, annual = (
        getattr(found, name).std(ddof=1) / getattr(seen, name).std(ddof=1)
        for name in ("summer_rain_mm", "annual_rain_mm")
    )
    assert summer >= 0.9
    assert annual >= (0.9 if place == "invented" else 0.75)


def test_dry_end_of_the_years_lies_in_the_sampling_band(pair):
    """Means of the measures of dry years; one row in ten may miss, and one of Seattle's does.

    Its longest dry spells (81, 35, 24 and 54 days) came in four of the driest summers.
    """
    place, record, made = pair
    table = compare_spread(record, made)
    rows = [row for row in table.rows if row.statistic == "mean"]
    outside = [row.measure for row in rows if not row.inside]
    allowed = {"longest_dry_spell_d", "least_90_day_rain_mm"} if place == "seattle" else set()
    assert len(set(outside) - allowed) <= 1
    longest = table.row("season_dry_spell_d", "mean")
    assert longest.generated == pytest.approx(longest.observed, rel=0.25)


# ---------------------------------------------------------------- years not seen


def test_baltimore_judged_by_its_later_years(monkeypatch):
    """Fitted to five years to September 2015, judged by the four after them."""
    record = read_baltimore()
    half = int(np.flatnonzero(record.dates == np.datetime64("2015-09-20"))[0])
    model = fit(record.select(slice(0, half)), *PLACES["baltimore"])
    later, made = record.select(slice(half, record.n_days)), generate(model, 1000, seed=3)
    for months in (WARM, COLD):
        for wet in (True, False):
            assert spell_test(later, made, months, wet) > 0.01
    for column in ("tmax_c", "tmin_c"):
        miss = by_month(made, column) - by_month(later, column)
        assert np.sqrt(np.mean(miss**2)) < 2.0  # months of four years differ by 1 to 2 C
    table = compare_spread(later, made)
    rows = [row for row in table.rows if row.statistic in ("mean", "sd")]
    assert np.mean([row.inside for row in rows]) >= 0.75


def test_invented_climate_judged_by_years_not_seen():
    record = generate(from_monthly_table(INVENTED), 60, seed=78)
    model = fit(record.between(2001, 2030), *PLACES["invented"])
    later, made = record.between(2031, 2060), generate(model, 1000, seed=5)
    for months in (WARM, COLD):
        for wet in (True, False):
            assert spell_test(later, made, months, wet) > 0.01
    rows = [row for row in compare_spread(later, made).rows if row.statistic in ("mean", "sd")]
    assert np.mean([row.inside for row in rows]) >= 0.75
