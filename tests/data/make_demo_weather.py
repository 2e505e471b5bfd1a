"""Makes scenarios/tarrow-mills.csv: thirty invented years of an invented town.

The normals are estimates of a humid temperate inland place at 40 N; no station has them. Run
``python tests/data/make_demo_weather.py`` to write the file anew.
"""

from __future__ import annotations

from pathlib import Path

from drysward.weather.generator import generate
from drysward.weather.normals import from_monthly_table
from drysward.weather.record import DailyRecord

FILE = Path(__file__).parents[2] / "scenarios" / "tarrow-mills.csv"
LATITUDE_DEG, ELEVATION_M = 40.3, 140.0
FIRST_YEAR, YEARS, SEED = 1990, 30, 1

NORMALS = {
    "latitude_deg": LATITUDE_DEG,
    "elevation_m": ELEVATION_M,
    "wind_height_m": 2.0,
    "rain_mm": [78, 70, 88, 88, 94, 92, 98, 92, 88, 78, 76, 80],
    "wet_days": [10.5, 9.5, 10.5, 11.0, 11.5, 10.5, 9.5, 9.0, 8.5, 8.5, 9.0, 10.0],
    "tmax_c": [3.0, 5.0, 10.5, 17.0, 22.5, 27.5, 30.0, 29.0, 25.0, 18.5, 12.0, 5.5],
    "tmin_c": [-6.0, -5.0, -0.5, 4.5, 10.0, 15.5, 18.0, 17.5, 13.0, 6.5, 1.5, -3.5],
    "dewpoint_c": [-7.5, -7.0, -3.0, 2.5, 9.0, 14.5, 17.0, 16.5, 12.5, 5.5, 0.0, -5.0],
    "solar_mj_m2": [7.0, 10.0, 13.5, 17.0, 19.5, 21.5, 21.0, 18.5, 15.0, 11.0, 7.5, 6.0],
    "wind_m_s": [2.4, 2.5, 2.6, 2.5, 2.1, 1.8, 1.6, 1.5, 1.6, 1.8, 2.1, 2.3],
}
# Header of the file -> array of the record.
COLUMNS = {
    "rain_mm": "rain_mm",
    "tmax_c": "tmax_c",
    "tmin_c": "tmin_c",
    "dewpoint_c": "dewpoint_c",
    "wind_2m_m_s": "wind_m_s",
    "solar_mj_m2": "solar_mj_m2",
}


def make() -> DailyRecord:
    """The thirty years, not yet rounded."""
    return generate(from_monthly_table(NORMALS), YEARS, SEED, FIRST_YEAR)


def write(record: DailyRecord, path: Path) -> None:
    """Write a record with one decimal."""
    arrays = [record.columns()[name] for name in COLUMNS.values()]
    lines = [",".join(["date", *COLUMNS])]
    for row, day in enumerate(record.dates):
        # Adding 0.0 turns a rounded -0.0 into 0.0.
        values = (f"{round(float(array[row]), 1) + 0.0:.1f}" for array in arrays)
        lines.append(f"{day},{','.join(values)}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(make(), FILE)
