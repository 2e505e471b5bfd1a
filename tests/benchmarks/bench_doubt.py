"""What draws of uncertain numbers cost: ``python tests/benchmarks/bench_doubt.py``.

Not run by pytest. Measures, in one run and turn about, in one process and on one thread: draws of
species, soil and delivery beside as many plain runs of the same years, and beside as many draws of
nothing, which go side by side too but share what weather makes of the fields; 1.5 times is the most
that is wanted of either. Also patch-days a second of 64 draws through the whole of the shipped
demo, and the memory of 16 and of 64 draws. Quote ratios of one run.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import perf_counter
from unittest.mock import patch

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


def undrawn(scenario: Scenario, n: int, workers: int | None) -> float:
    """Time of ``n`` draws that are all the same (s)."""
    with patch("drysward.studies.doubt.crossed.drawn_numbers", lambda scenario: ()):
        return drawn(scenario, n, workers)


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
    ways = {"draws": drawn, "plain runs": plain, "draws of nothing": undrawn}
    times: dict[str, list[float]] = {}
    for repeat in range(REPEATS + 1):
        for name, way in ways.items():
            taken = way(scenario, DRAWS if repeat else 2, 1)
            if repeat:  # the first of each only warms up
                times.setdefault(name, []).append(taken)
    least = {name: min(each) for name, each in times.items()}
    told = f"{len(scenario.fields)} fields, {len(scenario.plans)} plans"
    print(f"{DRAWS} of {scenario.weather.years} years, {told}, one thread")
    for name, taken in least.items():
        share = least["draws"] / taken
        print(f"  {name:<20}{taken:6.2f} s   draws / {name}: {share:.2f}", flush=True)


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


def of_process(name: str) -> float:
    """Memory of this process (MB): "VmRSS" now, "VmHWM" the most since it was last reset."""
    line = next(x for x in Path("/proc/self/status").read_text().splitlines() if name in x)
    return float(line.split()[1]) / 1024


def memory(n: int) -> None:
    """Memory of a process (Linux) before, and the most during ``n`` draws and their answers.

    Compiling takes more than either, so that the peak is reset after a plain run.
    """
    scenario = demo()
    drysward.run(scenario)
    Path("/proc/self/clear_refs").write_text("5")
    before = of_process("VmRSS")
    found = crossed(scenario, n)
    doubt_answers(found, scenario, tuple(plan.key for plan in scenario.plans))
    peak = of_process("VmHWM")
    print(f"{n} draws: peak {peak:.0f} MB, {before:.0f} MB before them", flush=True)


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
