"""Simulated years beside a record: ``records_beside_simulated_years.py FILE LATITUDE ELEVATION``.

Not run by pytest. The climate is fitted to the whole record, then to either half of its years and
judged by the other. A statistic agrees when the record's lies within the middle 90% of those of
400 records of as many years, made by the refits of the climate; one in ten lies outside by chance.
"""

from __future__ import annotations

import sys

import numpy as np

from drysward.weather.file.fill import FillRule
from drysward.weather.file.read import read_weather
from drysward.weather.record import DailyRecord
from drysward.weather.reference_et import reference_et
from drysward.weather.simulated import climate_fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.refits import fit_with_refits

RECORDS = 400
LONG_D = 15  # days of a dry spell that unwatered turf on sand feels
NAMES = (
    "rain of the year, mm",
    "rain of April to September, mm",
    "sd of it, mm",
    "ET less rain of April to September, mm",
    "sd of it, mm",
    "longest dry spell, April to September, d",
    "dry spells of 15 d and more a year",
    "dry spells of 7 to 14 d a year",
    "dry spells of 3 to 6 d a year",
    "least rain of 30 days, mm",
    "least rain of 90 days, mm",
    "largest day of the season, mm",
    "sd of monthly Tmax, mean of months, C",
    "sd of monthly ET, mean of months, mm",
    "sd of summer Tmax, C",
    "hot spell, mean length, d",
    "longest hot spell of the year, d",
    "lag-1 correlation of yearly Tmax",
    "lag-1 correlation of yearly ET",
    "correlation of Tmax and rain of a month",
)


def runs(chosen: np.ndarray) -> np.ndarray:
    """Lengths of the runs of True in (n,)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(int), [0]])))
    return edges[1::2] - edges[::2]


def years_of(record: DailyRecord, place: tuple[float, float], hot_c: float) -> np.ndarray:
    """(years, 52) numbers of each whole year, from which ``statistics`` are made."""
    dates = record.dates.astype("datetime64[D]")
    year = dates.astype("datetime64[Y]").astype(int)
    month = dates.astype("datetime64[M]").astype(int) % 12
    et_mm = reference_et(record, *place).eto_mm
    rows = []
    for one in np.unique(year):
        inside = year == one
        if inside.sum() < 360:
            continue
        rain, tmax, et, m = (x[inside] for x in (record.rain_mm, record.tmax_c, et_mm, month))
        season = (m >= 3) & (m <= 8)
        dry, hot = runs(rain[season] < 1.0), runs(tmax[season] >= hot_c)
        total = np.concatenate([[0.0], np.cumsum(rain)])
        count = np.maximum(np.bincount(m, minlength=12), 1)
        rows.append(
            [
                rain.sum(), rain[season].sum(), (et[season] - rain[season]).sum(), dry.max(),
                (dry >= LONG_D).sum(), ((dry >= 7) & (dry < LONG_D)).sum(),
                ((dry >= 3) & (dry < 7)).sum(), (total[30:] - total[:-30]).min(),
                (total[90:] - total[:-90]).min(), rain[season].max(),
                tmax[(m >= 5) & (m <= 7)].mean(), hot.sum(), hot.size,
                hot.max() if hot.size else 0, tmax.mean(), et.sum(),
                *(np.bincount(m, tmax, 12) / count), *np.bincount(m, et, 12),
                *np.bincount(m, rain, 12),
            ]
        )  # fmt: skip
    return np.array(rows)


def lag1(values: np.ndarray) -> float:
    away = values - values.mean()
    return float(away[1:] @ away[:-1] / (away @ away))


def statistics(years: np.ndarray) -> np.ndarray:
    """The statistics called ``NAMES`` of years (n, 52)."""
    mean, sd = years.mean(axis=0), years.std(axis=0, ddof=1)
    months, et, rain = years[:, 16:28], years[:, 28:40], years[:, 40:]
    together = [np.corrcoef(months[:, m], rain[:, m])[0, 1] for m in range(12)]
    return np.array(
        [
            mean[0], mean[1], sd[1], mean[2], sd[2], *mean[3:10],
            months.std(axis=0, ddof=1).mean(), et.std(axis=0, ddof=1).mean(), sd[10],
            years[:, 11].sum() / max(years[:, 12].sum(), 1), mean[13],
            lag1(years[:, 14]), lag1(years[:, 15]), np.nanmean(together),
        ]
    )  # fmt: skip


def judge(fitted: DailyRecord, judged: DailyRecord, place: tuple[float, float]) -> np.ndarray:
    """(20, 4) of the judged record, of long simulated weather, and the limits of its records."""
    month = judged.dates.astype("datetime64[M]").astype(int) % 12
    hot_c = float(np.percentile(judged.tmax_c[(month >= 5) & (month <= 7)], 90))
    seen = years_of(judged, place, hot_c)
    climates = fit_with_refits(fitted, *place)
    n = seen.shape[0]
    made = [
        years_of(generate(model, n * RECORDS // 20, seed), place, hot_c)
        for seed, model in enumerate(climates.refits)
    ]
    with np.errstate(invalid="ignore"):
        each = np.array(
            [statistics(part) for years in made for part in np.split(years, RECORDS // 20)]
        )
        long = statistics(years_of(generate(climates.model, 600, 99), place, hot_c))
        own = statistics(seen)
    return np.column_stack([own, long, *np.nanpercentile(each, [5, 95], axis=0)])


def main() -> None:
    climate_fit.LEAST_YEARS = 4
    file, latitude, elevation = sys.argv[1:4]
    place = float(latitude), float(elevation)
    height = {} if "baltimore" in file else {"wind_height_m": 10.0}
    rule = FillRule(rain="zero", temperature="interpolate")
    record = read_weather(file, fill=rule, **height)
    tables = {"whole": judge(record, record, place)}
    years = record.complete_years()
    if len(years) >= 8:
        middle = years[len(years) // 2]
        early, late = record.between(years[0], middle - 1), record.between(middle, years[-1])
        tables |= {"first half -> second": judge(early, late, place)}
        tables |= {"second half -> first": judge(late, early, place)}
    print(f"{'record / made (90% of simulated records)':<42}" + "".join(f"{k:>34}" for k in tables))
    for i, name in enumerate(NAMES):
        cells = []
        for table in tables.values():
            seen, made, low, high = table[i]
            mark = " " if low <= seen <= high else "*"
            cells.append(f"{seen:>9.4g} /{made:>7.4g} ({low:.3g} to {high:.3g}){mark}")
        print(f"{name:<42}" + "".join(f"{cell:>34}" for cell in cells))
    for key, table in tables.items():
        inside = (table[:, 2] <= table[:, 0]) & (table[:, 0] <= table[:, 3])
        print(f"{key}: {inside.sum()} of {inside.size} inside")


if __name__ == "__main__":
    main()
