"""What a sweep costs beside the bare day step: ``python tests/benchmarks/bench_sweep.py``.

Not run by pytest. Measures, in one run and turn about: the compiled day loop alone and a whole
sweep (reading, weather, fields, day loop, answers, files) in patch-days a second on one core and
on two; that the cost is linear in points and in years over two decades; and with ``--memory`` the
peak memory of 10^6 site-years of fields of five patches. Quote ratios of one run.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

import drysward
from drysward.day.compiled import compiled_run_site
from drysward.ensemble import MOST_TOGETHER, advance_all, start_runs
from drysward.site import stretches
from drysward.sweep.description import Sweep, sweep_of
from drysward.sweep.run import plan_work, run_sweep
from drysward.weather_years import weather_series

PATCHES, FIELDS, DAYS = 5, 2, 365.2425
YEARS = 200
POINTS = 1024
REPEATS = 2


def sweep(points: int, years: int, axis: str = "plans.refill.trigger") -> Sweep:
    """``points`` values of one axis of the demo scenario, its plan 'refill', ``years`` years."""
    base = drysward.shipped()
    text = f'scenario = "demo"\nplans = ["refill"]\nyears = {years}\n[axes.a]\nkey = "{axis}"\n'
    text += f"from = 0.4\nto = 0.9\nsteps = {points}" if points > 1 else "values = [0.5]"
    return sweep_of("bench.toml", text, "demo.toml", base.text, base.folder)


def swept(one: Sweep, workers: int) -> float:
    """Time of a sweep from its description to its folder (s)."""
    with tempfile.TemporaryDirectory() as folder:
        start = perf_counter()
        run_sweep(plan_work(one), folder, workers)
        return perf_counter() - start


def bare(points: int, years: int) -> float:
    """Time of the compiled day loop alone for as many points, on one core (s): as many side by
    side as the sweep has.
    """
    from drysward.scenario.load import with_weather

    scenario = with_weather(drysward.shipped(), years=years)
    plan = scenario.plan_named("refill")
    sites = list(stretches(scenario, weather_series(scenario)))
    start = perf_counter()
    for _ in range(points // MOST_TOGETHER):
        runs = start_runs([(sites[0], plan)] * MOST_TOGETHER)
        for site in sites:
            advance_all(site, runs)
    return perf_counter() - start


def patch_days(points: int, years: int) -> float:
    return points * years * DAYS * FIELDS * PATCHES


def speed() -> None:
    one_plan = sweep(POINTS, YEARS)
    fields = sweep(POINTS, YEARS, "overrides.species.kentucky_bluegrass.p_wilt")
    swept(sweep(4, 20), 2)
    rows: dict[str, list[float]] = {"bare": [], "one": [], "two": [], "fields": []}
    for _ in range(REPEATS):
        rows["bare"].append(bare(POINTS, YEARS))
        rows["one"].append(swept(one_plan, 1))
        rows["two"].append(swept(one_plan, 2))
        rows["fields"].append(swept(fields, 1))
    least = {name: min(times) for name, times in rows.items()}
    work = patch_days(POINTS, YEARS) / 1e6
    print(f"{POINTS} points, {YEARS} years, {FIELDS} fields of {PATCHES} patches, one plan")
    print(f"bare day loop, one core       {work / least['bare']:6.1f} million patch-days/s")
    print(f"sweep, one core               {work / least['one']:6.1f}", end="")
    print(f"   overhead {100 * (least['one'] / least['bare'] - 1):.0f} %")
    print(f"sweep, two cores              {work / least['two']:6.1f}", end="")
    print(f"   {least['one'] / least['two']:.2f} times one core")
    print(f"sweep, every point its fields {work / least['fields']:6.1f}", end="")
    print(f"   overhead {100 * (least['fields'] / least['bare'] - 1):.0f} %")


def linear() -> None:
    for told, sizes in (
        ("points, of 50 years", [(20, 50), (200, 50), (2000, 50)]),
        ("years, of 32 points", [(32, 50), (32, 500), (32, 5000)]),
    ):
        rates = []
        for points, years in sizes:
            taken = min(swept(sweep(points, years), 2) for _ in range(3 if years < 5000 else 1))
            rates.append(patch_days(points, years) / taken / 1e6)
        shown = ", ".join(f"{rate:.1f}" for rate in rates)
        print(f"{told}: {' / '.join(map(str, sizes))}: {shown} million patch-days/s")


def memory() -> None:
    """Peak of a process that runs 10^6 site-years: 5,000 points of 200 years."""
    one = sweep(5000, 200)
    taken = swept(one, 2)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"10^6 site-years of {FIELDS} fields: {taken:.0f} s, peak {peak:.0f} MB")


if __name__ == "__main__":
    compiled_run_site()
    if "--memory" in sys.argv:
        memory()
    else:
        speed()
        linear()
        subprocess.run([sys.executable, str(Path(__file__)), "--memory"], check=True)
