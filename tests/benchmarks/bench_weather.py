"""How fast weather is made: ``python tests/benchmarks/bench_weather.py`` (not run by pytest).

Measures a thousand years with all variables on one core, the same years in ten parts, fitting
the climate to thirty of them, the table of dry years, and the peak memory beside the size of
the weather itself. Times are the best of several repeats.
"""

from __future__ import annotations

import resource
from collections.abc import Callable
from time import perf_counter
from typing import Any

from drysward.weather.checking.spread import compare_spread
from drysward.weather.simulated.climate_fit import fit
from drysward.weather.simulated.generator import generate
from drysward.weather.simulated.normals import from_monthly_table

YEARS = 1000
LATITUDE_DEG, ELEVATION_M = 39.2, 47.0
NORMALS = {
    "latitude_deg": LATITUDE_DEG,
    "elevation_m": ELEVATION_M,
    "rain_mm": [77, 74, 99, 81, 101, 88, 94, 84, 102, 84, 79, 86],
    "wet_days": [10, 9, 11, 11, 11, 10, 10, 9, 8, 8, 9, 10],
    "tmax_c": [5.5, 7.3, 12.3, 18.7, 23.6, 28.6, 31.1, 30.0, 26.1, 19.8, 13.6, 7.9],
    "tmin_c": [-4.0, -3.0, 1.0, 6.3, 11.5, 16.9, 19.7, 18.7, 14.7, 7.9, 2.6, -1.6],
    "solar_mj_m2": [7.6, 10.4, 14.2, 17.8, 20.4, 22.3, 21.8, 19.4, 15.8, 12.0, 8.2, 6.7],
    "relative_humidity_pct": [63, 61, 59, 59, 66, 68, 69, 71, 71, 69, 66, 66],
    "wind_m_s": [4.0, 4.2, 4.3, 4.1, 3.6, 3.3, 3.1, 3.0, 3.1, 3.3, 3.6, 3.8],
    "wind_height_m": 10.0,
}


def best(action: Callable[[], Any], repeats: int = 3) -> float:
    """Shortest wall time of ``action`` (s)."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


def peak_mb() -> float:
    """Most memory that the process has had so far (KiB on Linux)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def main() -> None:
    model = from_monthly_table(NORMALS)
    generate(model, 1, seed=1)
    before = peak_mb()
    made = generate(model, YEARS, seed=1)
    peak = peak_mb() - before
    size = sum(values.nbytes for values in made.columns().values()) / 1e6
    whole = best(lambda: generate(model, YEARS, seed=1))
    parts = best(
        lambda: [generate(model, YEARS // 10, seed=1, skip=100 * part) for part in range(10)]
    )
    thirty = generate(model, 30, seed=2)
    rows = [
        (f"{YEARS} years, {len(made.columns())} variables", f"{whole:.2f} s"),
        ("  in ten parts / at once", f"{parts / whole:.2f}"),
        ("  peak memory beyond the start", f"{peak:.0f} MB"),
        ("  peak memory / size of the weather", f"{peak / size:.1f}"),
        ("climate of 30 years", f"{best(lambda: fit(thirty, LATITUDE_DEG, ELEVATION_M)):.2f} s"),
        ("table of dry years", f"{best(lambda: compare_spread(thirty, made)):.2f} s"),
    ]
    for what, figure in rows:
        print(f"{what:<44}{figure:>12}", flush=True)


if __name__ == "__main__":
    main()
