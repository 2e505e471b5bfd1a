"""What draws of uncertain numbers cost: ``python tests/benchmarks/bench_doubt.py``.

Not run by pytest. Measures, in one run and turn about: a draw of species, soil and delivery beside
a plain run of the same years, in one process and on one thread, where 1.5 times is the most that is
wanted; patch-days a second of 64 draws through the whole of the shipped demo; and the peak memory
of 16 and of 64 draws, which must not grow with them. Quote ratios of one run.
"""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path
from time import perf_counter

import drysward
from drysward.drive.runs import compiled_run_site
from drysward.scenario.model import Scenario
from drysward.studies.doubt.answers import doubt_answers
from drysward.studies.doubt.crossed import crossed

DAYS = 365.2425
DRAWS = 16
SIZES = (16, 64)
REPEATS = 3


def demo() -> Scenario:
    return drysward.shipped("demo")


def drawn(scenario: Scenario, n: int, workers: int | None) -> float:
    """Time of ``n`` draws on all years under all plans (s)."""
    start = perf_counter()
    crossed(scenario, n, workers=workers)
    return perf_counter() - start


def plain(scenario: Scenario, n: int, workers: int | None) -> float:
    """Time of ``n`` plain runs, one after another, of the same plans and years (s)."""
    start = perf_counter()
    for _ in range(n):
        drysward.run(scenario, workers=workers)
    return perf_counter() - start


def patch_days(scenario: Scenario, n: int) -> float:
    patches = sum(field.patches for field in scenario.fields)
    return n * len(scenario.plans) * patches * scenario.weather.years * DAYS


def ratio() -> None:
    scenario = demo()
    drawn(scenario, 2, 1)
    plain(scenario, 1, 1)
    times = [(drawn(scenario, DRAWS, 1), plain(scenario, DRAWS, 1)) for _ in range(REPEATS)]
    with_draws, without = (min(column) for column in zip(*times, strict=True))
    told = f"{len(scenario.fields)} fields, {len(scenario.plans)} plans"
    print(
        f"{DRAWS} draws of {scenario.weather.years} years, {told}, one thread: {with_draws:.2f} s"
    )
    print(f"{DRAWS} plain runs of the same:                        {without:.2f} s")
    print(
        f"a draw / a plain run:                              {with_draws / without:.2f}", flush=True
    )


def speed() -> None:
    scenario, n = demo(), SIZES[-1]
    drawn(scenario, 2, None)
    for workers in (1, 2):
        taken = min(drawn(scenario, n, workers) for _ in range(2))
        rate = patch_days(scenario, n) / taken / 1e6
        print(f"{n} draws, threads: {workers}: {taken:.2f} s, {rate:.1f} million patch-days/s")
    found = crossed(scenario, n)
    start = perf_counter()
    doubt_answers(found, scenario, tuple(plan.key for plan in scenario.plans))
    print(f"answers of {n} draws: {perf_counter() - start:.2f} s", flush=True)


def memory(n: int) -> None:
    """Largest memory that a process has held (MB) after a plain run, and after ``n`` draws."""
    scenario = demo()
    drysward.run(scenario)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    found = crossed(scenario, n)
    doubt_answers(found, scenario, tuple(plan.key for plan in scenario.plans))
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{n} draws: peak {after:.0f} MB, after a plain run {before:.0f} MB", flush=True)


if __name__ == "__main__":
    compiled_run_site()
    if "--memory" in sys.argv:
        memory(int(sys.argv[-1]))
    else:
        ratio()
        speed()
        # Peak memory only ever grows: each in a process of its own.
        for size in SIZES:
            command = [sys.executable, str(Path(__file__)), "--memory", str(size)]
            subprocess.run(command, check=True)
