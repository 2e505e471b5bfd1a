"""What a sweep costs beside the bare day step: ``python tests/benchmarks/bench_sweep.py``.

Not run by pytest. Measures, in one run and turn about: the compiled day loop alone and a whole
sweep (reading, weather, fields, day loop, answers, files) in patch-days a second on one core and
on two; a year of one field with its own draw of numbers; what a draw within a point costs beside a
point, and that memory does not grow with draws; that the cost is linear in points and in years over
two decades; and the peak memory of 10^6 site-years of fields of five patches, here and on a
cluster. Quote ratios of one run.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import perf_counter

import drysward
from drysward.drive.runs import PLANS_TOGETHER, advance_all, start_runs
from drysward.drive.windows import compiled_run_site
from drysward.site.stretches import stretches
from drysward.site.weather_years import weather_series
from drysward.studies.sweep.description import Sweep, sweep_of
from drysward.studies.sweep.design import design_of
from drysward.studies.sweep.points import point_at
from drysward.studies.sweep.run import plan_work, run_sweep
from drysward.studies.sweep.shared import Grounds, Held, for_point, part_of, years_of

PATCHES, FIELDS, DAYS = 5, 2, 365.2425
YEARS = 200
POINTS = 1024
DRAWS = 64
SIZES = (16, 64, 256)
REPEATS = 2


def sweep(
    points: int, years: int, axis: str = "plans.refill.trigger", draws: int = 0
) -> Sweep:
    """``points`` values of one axis of the demo scenario, its plan 'refill', ``years`` years, and
    draws within each point.
    """
    base = drysward.shipped()
    text = f'scenario = "demo"\nplans = ["refill"]\nyears = {years}\n[doubt]\ndraws = {draws}\n'
    text += f'[axes.a]\nkey = "{axis}"\n'
    text += f"from = 0.4\nto = 0.9\nsteps = {points}" if points > 1 else "values = [0.5]"
    return sweep_of("bench.toml", text, "demo.toml", base.text, base.folder)


def swept(one: Sweep, workers: int) -> float:
    """Time of a sweep from its description to its folder (s)."""
    with tempfile.TemporaryDirectory() as folder:
        start = perf_counter()
        run_sweep(plan_work(one), folder, workers)
        return perf_counter() - start


def bare(points: int, years: int, threads: int) -> float:
    """Time of the compiled day loop alone for as many points (s): as many side by side as the
    sweep has.
    """
    from drysward.scenario.load import with_weather

    scenario = with_weather(drysward.shipped(), years=years)
    plan = scenario.plan_named("refill")
    sites = list(stretches(scenario, weather_series(scenario)))

    def some(_: int) -> None:
        runs = start_runs([(sites[0], plan)] * PLANS_TOGETHER)
        for site in sites:
            advance_all(site, runs)

    start = perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(some, range(points // PLANS_TOGETHER)))
    return perf_counter() - start


def patch_days(points: int, years: int) -> float:
    return points * years * DAYS * FIELDS * PATCHES


def speed() -> None:
    one_plan = sweep(POINTS, YEARS)
    fields = sweep(POINTS // 4, YEARS, "overrides.species.kentucky_bluegrass.wilt_ks")
    swept(sweep(4, 20), 2)
    rows: dict[str, list[float]] = {}
    for _ in range(REPEATS):
        for name, taken in (
            ("bare", lambda: bare(POINTS, YEARS, 1)),
            ("bare two", lambda: bare(POINTS, YEARS, 2)),
            ("one", lambda: swept(one_plan, 1)),
            ("two", lambda: swept(one_plan, 2)),
            ("fields", lambda: 4.0 * swept(fields, 1)),
            ("fields two", lambda: 4.0 * swept(fields, 2)),
        ):
            rows.setdefault(name, []).append(taken())
    least = {name: min(times) for name, times in rows.items()}
    rate = {name: patch_days(POINTS, YEARS) / 1e6 / taken for name, taken in least.items()}
    print(f"{POINTS} points, {YEARS} years, {FIELDS} fields of {PATCHES} patches, one plan")
    print(f"bare day loop, one core       {rate['bare']:6.1f} million patch-days/s")
    print(f"bare day loop, two cores      {rate['bare two']:6.1f}", end="")
    print(f"   {least['bare'] / least['bare two']:.2f} times one core")
    print(f"sweep, one core               {rate['one']:6.1f}", end="")
    print(f"   overhead {100 * (least['one'] / least['bare'] - 1):.0f}%")
    print(f"sweep, two cores              {rate['two']:6.1f}", end="")
    print(f"   {least['one'] / least['two']:.2f} times one core")
    print(f"sweep, every point its fields {rate['fields']:6.1f}", end="")
    print(f"   {least['fields'] / least['one']:.1f} times the time")
    print(f"the same, two cores           {rate['fields two']:6.1f}", end="")
    print(f"   {least['fields'] / least['fields two']:.2f} times one core")


def field_years() -> None:
    """Time of a year of one field with its own draw of a species' numbers: forcing and loop."""
    one = sweep(128, 50, "overrides.species.kentucky_bluegrass.wilt_ks")
    text = one.base_text.replace("[fields.practice]", "[fields.practice_not_run]")
    head, _, tail = text.partition("[fields.practice_not_run]")
    text = head + tail[tail.index("\n[") :]
    one = sweep_of(one.name, one.text, "demo.toml", text, one.folder)
    design, held = design_of(one), Held()
    points = [point_at(one, at, climate_is_checked=True) for at in design.positions]
    years = years_of(held, points[0])
    part = part_of(held, points[0], years, 0)
    together = PLANS_TOGETHER
    times = []
    for _ in range(3):
        start = perf_counter()
        for i in range(0, len(points), together):
            grounds = Grounds(held, points[i : i + together])
            site = grounds.site(part, 0)
            alike = zip(grounds.points, grounds.columns, strict=True)
            runs = start_runs([(for_point(site, p, c), p.plans[0]) for p, c in alike])
            advance_all(site, runs)
        times.append((perf_counter() - start) / len(points) / len(part.years))
    print(f"a year of one field with its own draw {1e3 * min(times):.3f} ms")


def within_points() -> None:
    """Draws within points beside as many points: with plans of their own, which share their fields
    and then those of each draw, and with fields of their own.
    """
    fields = "overrides.species.kentucky_bluegrass.wilt_ks"
    swept(sweep(4, 20, draws=2), 1)
    for told, axis in (("plans", "plans.refill.trigger"), ("fields", fields)):
        ways = {
            f"{POINTS} points": lambda axis=axis: swept(sweep(POINTS, YEARS, axis), 1),
            f"{POINTS // DRAWS} points of {DRAWS} draws": lambda axis=axis: swept(
                sweep(POINTS // DRAWS, YEARS, axis, DRAWS), 1
            ),
        }
        times: dict[str, list[float]] = {}
        for _ in range(REPEATS):
            for name, way in ways.items():
                times.setdefault(name, []).append(way())
        without, with_draws = (min(taken) for taken in times.values())
        print(f"points with {told} of their own, {YEARS} years, one core")
        for name, taken in times.items():
            print(f"  {name:24}{min(taken):6.1f} s")
        print(f"  a draw / a point        {with_draws / without:6.2f}", flush=True)


def draws_memory(draws: int) -> None:
    """Peak of a process (Linux) during 16 points of so many draws, without that of compiling."""
    swept(sweep(16, YEARS), 2)
    Path("/proc/self/clear_refs").write_text("5")
    taken = swept(sweep(16, YEARS, draws=draws), 2)
    status = Path("/proc/self/status").read_text().splitlines()
    peak = next(float(line.split()[1]) / 1024 for line in status if "VmHWM" in line)
    print(f"16 points of {draws} draws: {taken:.1f} s, peak {peak:.0f} MB", flush=True)


def linear() -> None:
    """Times over two decades of points and of years, on two cores, and how far the middle one is
    off the straight line through the others: a sweep has some fixed cost, a point too.
    """
    for told, sizes in (
        ("points", [(500, 50), (5000, 50), (50000, 50)]),
        ("years", [(256, 50), (256, 500), (256, 5000)]),
    ):
        times = []
        for points, years in sizes:
            repeats = 3 if points * years < 200_000 else 1
            times.append(min(swept(sweep(points, years), 2) for _ in range(repeats)))
        few, some, many = (points * years for points, years in sizes)
        line = times[0] + (times[2] - times[0]) * (some - few) / (many - few)
        for (points, years), taken in zip(sizes, times, strict=True):
            rate = patch_days(points, years) / taken / 1e6
            print(f"{points:6d} points of {years:4d} years: {taken:6.1f} s, {rate:5.1f} million/s")
        print(f"in {told}: {100 * (times[1] / line - 1):+.0f}% off the straight line", flush=True)


def peak_mb() -> float:
    """Largest memory that this process has held (MB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def memory() -> None:
    """Peak of a process that runs 10^6 site-years: 5,000 points of 200 years."""
    taken = swept(sweep(5000, 200), 2)
    print(f"10^6 site-years of {FIELDS} fields: {taken:.0f} s, peak {peak_mb():.0f} MB")


def cluster_memory() -> None:
    """Peaks of the parent and of two workers of a dask cluster on the same 10^6 site-years."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
        tempfile.TemporaryDirectory() as folder,
    ):
        start = perf_counter()
        run_sweep(plan_work(sweep(5000, 200)), folder, cluster=cluster.scheduler_address)
        taken = perf_counter() - start
        workers = ", ".join(f"{peak:.0f}" for peak in client.run(peak_mb).values())
    print(f"the same on a cluster: {taken:.0f} s, parent {peak_mb():.0f} MB, workers {workers} MB")


_PARTS = {
    "--speed": speed,
    "--field-years": field_years,
    "--draws": within_points,
    "--memory": memory,
    "--cluster": cluster_memory,
}

if __name__ == "__main__":
    compiled_run_site()
    if "--draws-memory" in sys.argv:
        draws_memory(int(sys.argv[-1]))
        sys.exit()
    asked = [part for option, part in _PARTS.items() if option in sys.argv]
    for part in asked or (speed, field_years, within_points, linear):
        part()
    # Peak memory only ever grows: each in a process of its own.
    for size in SIZES if not asked or within_points in asked else ():
        command = [sys.executable, str(Path(__file__)), "--draws-memory", str(size)]
        subprocess.run(command, check=True)
    if not asked:
        for option in ("--memory", "--cluster"):
            subprocess.run([sys.executable, str(Path(__file__)), option], check=True)
