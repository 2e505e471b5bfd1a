"""Whether limits of simulated years hold the truth: ``python coverage_of_refits.py``.

Not run by pytest. A climate is fitted to a record (an argument: CSV file, latitude, elevation) or,
without one, made from normals. 3,000 years of it are the truth; 100 records of 30 years are cut
from them. To each a climate and 20 refits are fitted, and each answer has 90% limits from the fit
and the spread of the refits. They should hold the truth in 85 to 95 of 100 records; without the
refits, the sampling error of the simulated years alone holds it far less often.
"""

from __future__ import annotations

import argparse
from time import perf_counter

import numpy as np

from drysward import special
from drysward.weather.checking.spread import least_window_mm, longest_run
from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.normals import from_monthly_table
from drysward.weather.simulated.refits import (
    climate_error,
    fit_with_refits,
    sets_of_simulated_years,
)

RECORD_YEARS, TRUE_YEARS, MADE_YEARS, SET_YEARS = 30, 3000, 200, 100
T_95_OF_19 = 1.729  # Student's t, 95th percentile, 19 degrees of freedom (standard table)
ANSWERS = (
    "rain of April to September, mm",
    "longest dry spell of April to September, d",
    "ET less rain of April to September in the 1-in-10 year, mm",
    "odds of a dry spell of 15 d in April to September",
    "least rain of 90 days, mean of the years, mm",
)
ODDS = 3


def by_year(record: DailyRecord, latitude_deg: float, elevation_m: float) -> np.ndarray:
    """(years, 5) what the answers are taken of, of every calendar year."""
    year = record.dates.astype("datetime64[Y]").astype(int)
    month = record.dates.astype("datetime64[M]").astype(int) % 12
    et_mm = reference_et(record, latitude_deg, elevation_m).eto_mm
    rows = []
    starts = np.flatnonzero(np.diff(year, prepend=year[0] - 1))
    for start, stop in zip(starts, np.append(starts[1:], year.size), strict=True):
        season = (month[start:stop] >= 3) & (month[start:stop] <= 8)
        rain = record.rain_mm[start:stop]
        spell = longest_run(rain[season] < 1.0)
        deficit = float((et_mm[start:stop][season] - rain[season]).sum())
        least = least_window_mm(rain, 90)
        rows.append([rain[season].sum(), spell, deficit, float(spell >= 15), least])
    return np.array(rows)


def answers(years: np.ndarray) -> np.ndarray:
    """(5,) answers of years (n, 5)."""
    found = years.mean(axis=0)
    found[2] = np.quantile(years[:, 2], 0.9)
    return found


def limits(value: np.ndarray, error: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """90% limits of answers with a standard error; of odds by Wilson's for as many years."""
    low, high = value - T_95_OF_19 * error, value + T_95_OF_19 * error
    p = value[ODDS]
    n = max(p * (1 - p), 0.01) / max(error[ODDS] ** 2, 1e-9)
    z = float(special.ndtri(0.95))
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low[ODDS], high[ODDS] = middle - half, middle + half
    return low, high


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("file", nargs="?")
    parser.add_argument("latitude", nargs="?", type=float, default=39.2)
    parser.add_argument("elevation", nargs="?", type=float, default=47.0)
    parser.add_argument("--records", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    given = parser.parse_args()
    place = given.latitude, given.elevation
    if given.file:
        rule = FillRule(rain="zero", temperature="interpolate")
        model = fit(read_weather(given.file, fill=rule, wind_height_m=10.0), *place)
    else:
        from bench_weather import NORMALS

        model = from_monthly_table(NORMALS)
    long = generate(model, TRUE_YEARS, seed=1)
    true_years = by_year(long, *place)
    truth = answers(true_years)
    inside, alone, seconds = np.zeros(5), np.zeros(5), 0.0
    errors, missed = [], []
    for number in range(given.first, given.first + given.records):
        first = 2001 + RECORD_YEARS * number
        record = long.between(first, first + RECORD_YEARS - 1)
        start = perf_counter()
        climates = fit_with_refits(record, *place, seed=number)
        seconds += perf_counter() - start
        seed = 1000 + number
        own = by_year(generate(climates.model, MADE_YEARS, seed), *place)
        sets = sets_of_simulated_years(climates, SET_YEARS, seed)
        of_sets = np.array([answers(by_year(some, *place)) for some in sets])
        value = answers(own)
        of_years = own.std(axis=0, ddof=1) / np.sqrt(MADE_YEARS)
        of_years[2] *= 1.71  # of the 90th percentile of a normal variable (standard result)
        error = climate_error(of_sets, RECORD_YEARS)
        low, high = limits(value, np.hypot(of_years, error))
        inside += (low <= truth) & (truth <= high)
        low, high = limits(value, of_years)
        alone += (low <= truth) & (truth <= high)
        errors.append(error)
        missed.append(value - truth)
        if number % 5 == 4:
            print(number + 1, inside, flush=True)
    n = given.records
    print(f"{'answer':<62}{'truth':>8}{'bias':>8}{'error':>8}{'told':>8}{'held':>6}{'alone':>7}")
    for i, what in enumerate(ANSWERS):
        away = np.array(missed)[:, i]
        print(
            f"{what:<62}{truth[i]:>8.3g}{away.mean():>8.2g}{away.std():>8.3g}"
            f"{np.array(errors)[:, i].mean():>8.3g}{inside[i] / n:>6.0%}{alone[i] / n:>7.0%}"
        )
    print(f"a fit and its refits: {seconds / n:.1f} s")


if __name__ == "__main__":
    main()
