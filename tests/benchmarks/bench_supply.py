"""What a shared supply adds to a run: ``python tests/benchmarks/bench_supply.py``.

Not run by pytest. The same plan on three fields and 200 years of the shipped pond scenario with
its supply and without any, day loop only, on one thread; then a whole sizing with a curve of
twelve points. Times are the best of several repeats; quote the ratio.
"""

from __future__ import annotations

import os
from dataclasses import replace
from time import perf_counter

import drysward
from drysward.drive.runs import advance, start_run
from drysward.scenario.model import Scenario
from drysward.site.stretches import PreparedSite, stretches
from drysward.site.weather_years import weather_series
from drysward.studies.sizing import solve

REPEATS = 15
POINTS = 12
PLAN = "refill"


def prepared(scenario: Scenario) -> list[PreparedSite]:
    return list(stretches(scenario, weather_series(scenario)))


def day_loop(sites: list[PreparedSite]) -> float:
    """Time of all days of one plan (s)."""
    run = start_run(sites[0], sites[0].scenario.plan_named(PLAN))
    start = perf_counter()
    for site in sites:
        advance(site, run)
    return perf_counter() - start


def main() -> None:
    pond = drysward.shipped("pond")
    assert pond.sizing is not None
    held, free = prepared(pond), prepared(replace(pond, supply=None))
    for sites in (held, free):
        day_loop(sites)
    # Turn and turn about, so that what else the machine does falls on both.
    times = [(day_loop(held), day_loop(free)) for _ in range(REPEATS)]
    with_supply, without = (min(column) for column in zip(*times, strict=True))
    years, fields = len(held[0].years), len(pond.fields)
    print(f"{fields} fields, {years} years, plan '{PLAN}', one thread")
    print(f"with supply {with_supply * 1e3:.0f} ms, without {without * 1e3:.0f} ms")
    print(f"the supply adds {100.0 * (with_supply / without - 1.0):.0f}%")
    twelve = replace(pond, sizing=replace(pond.sizing, points=POINTS))
    start = perf_counter()
    found = solve(twelve)
    took = perf_counter() - start
    print(f"sizing with a curve of {POINTS} points, {os.cpu_count()} cores: {took:.1f} s")
    print(f"least {found.least.size:.0f} m3, {found.allowed_years} of {found.n_years} may fail")


if __name__ == "__main__":
    main()
