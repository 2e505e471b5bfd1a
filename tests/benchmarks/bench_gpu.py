"""Runs on a graphics card beside the processor: equality, speed by number of runs, a whole sweep.

``python tests/benchmarks/bench_gpu.py FOLDER [PART ...]`` prints tables, and writes
``bench_gpu.json`` into the folder after every part, so that a part that fails keeps those before.
Parts: machine, equality, speed, own-fields, sweep; all of them when none is named.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

import drysward
from drysward.card.devices import TOLERANCE
from drysward.card.drive import Card, Windows
from drysward.drive.runs import advance_all, start_runs
from drysward.site.forcing import force_first_day, forcing_of
from drysward.site.stretches import prepare, stretches
from drysward.site.weather_years import weather_series

RESULTS = ("years", "play", "fed", "states", "patches", "odds", "green", "shortage")
SIZES = (100, 1_000, 10_000, 100_000, 1_000_000)
MOST_WHOLE = 100_000  # runs of which all years fit into memory here
YEARS = 50  # a stretch
KEPT = ("irrigation_gross", "days_wilt", "longest_wilt", "days_below_condition")


class Timed(Card):
    """A card that waits for everything that it starts, and notes how long that took."""

    def __init__(self, number: int = 0) -> None:
        super().__init__(number)
        self.seconds: dict[str, float] = {}

    def _timed(self, name: str, do: Callable[[], Any]) -> Any:
        start = time.perf_counter()
        made = do()
        self.cuda.synchronize()
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start
        return made

    def array(self, values: np.ndarray) -> Any:
        return self._timed("to the card", lambda: Card.array(self, values))

    def zeros(self, shape: tuple[int, ...]) -> Any:
        return self._timed("zeros", lambda: Card.zeros(self, shape))

    def host(self, values: Any) -> np.ndarray:
        whole: np.ndarray = self._timed("from the card", lambda: Card.host(self, values))
        return whole

    def launch(self, source: Any, n: int, arguments: list[Any]) -> None:
        self._timed(source.name, lambda: Card.launch(self, source, n, arguments))


# --- parts ------------------------------------------------------------------------------------


def machine(args: argparse.Namespace) -> dict[str, Any]:
    import numba
    import numba_cuda

    found: dict[str, Any] = {
        "python": sys.version, "numpy": np.__version__, "numba": numba.__version__,
        "numba_cuda": numba_cuda.__version__, "cores": os.cpu_count(),
    }  # fmt: skip
    with suppress(OSError):
        query = "nvidia-smi --query-gpu=name,memory.total,driver_version --format=csv,noheader"
        done = subprocess.run(query.split(), capture_output=True, text=True, check=False)
        found["card"] = done.stdout.strip()
    return found


def equality(args: argparse.Namespace) -> dict[str, Any]:
    """Largest difference of any number of any result: shipped and random scenarios."""
    windows, out = Windows(Card()), {}
    for name in ("demo", "match-days", "feeding"):
        scenario = drysward.shipped(name)
        source = replace(scenario.weather, years=12)
        scenario = replace(scenario, weather=source)
        site = prepare(scenario)
        out[name] = differences(site, windows)
    module = random_scenarios()
    worst, n, bitwise = 0.0, 0, 0
    for number in range(args.random):
        done = module.Case(number).run(nothing_shared)
        if not done.site.supply.site["on"].any():
            found = differences(done.site, windows)
            worst, n = max(worst, found["largest"]), n + 1
            bitwise += found["bitwise"]
    out["random"] = {"scenarios": n, "largest": worst, "bitwise": bitwise}
    site, runs = own_fields(64)
    out["own fields"] = differences(site, windows, runs)
    out["tolerance"] = TOLERANCE
    return out


def differences(site: Any, windows: Windows, runs: Any = None) -> dict[str, Any]:
    first = start_runs([(site, plan) for plan in site.scenario.plans]) if runs is None else runs
    every = np.arange(len(first.specs))
    ours, theirs = first.some(every), first.some(every)
    rewind(site)
    advance_all(site, ours)
    rewind(site)
    advance_all(site, theirs, windows=windows)
    largest, bitwise, name_of = 0.0, True, ""
    for name in RESULTS:
        for part in getattr(ours, name).dtype.names or ("",):
            one, other = (np.asarray(getattr(r, name)[part] if part else getattr(r, name))
                          for r in (ours, theirs))  # fmt: skip
            if one.tobytes() != other.tobytes():
                bitwise = False
                assert np.array_equal(np.isnan(one), np.isnan(other)), (name, part)
                d = float(np.nanmax(np.abs(one - other)))
                if d > largest:
                    largest, name_of = d, f"{name} {part}"
    return {"largest": largest, "of": name_of, "bitwise": bitwise,
            "residual": float(theirs.years.residual.max())}  # fmt: skip


def rewind(site: Any) -> None:
    if site.forcing.turfs.shape[0]:
        force_first_day(site.forcing, site.calendar)


def speed(args: argparse.Namespace) -> dict[str, Any]:
    """Patch-days a second, whole answers included: refill plans on one field of five patches."""
    site = one_field()
    return rates(args, lambda n: (site, many(site, n)), args.sizes)


def own(args: argparse.Namespace) -> dict[str, Any]:
    """The same, every run on a field of its own, whose days are worked out as it runs."""
    return rates(args, own_fields, [n for n in args.sizes if n <= MOST_WHOLE])


def rates(
    args: argparse.Namespace, make: Callable[[int], tuple[Any, Any]], sizes: Sequence[int]
) -> dict[str, Any]:
    out: dict[str, Any] = {}
    card = Timed()
    every = Windows(card)  # every year and day of the year comes back
    summed = Windows(card, counts_days=False, keep=KEPT)  # what a sweep keeps
    for windows in (every, summed):
        site, runs = make(64)
        start = time.perf_counter()
        advance_all(site, runs, windows=windows)
        out.setdefault("first, with compiling (s)", time.perf_counter() - start)
    for n in sizes:
        site, runs = make(n)
        days = n * (site.calendar.size - site.from_day) * runs.catches.shape[-1]
        for kind, windows in (("every year", every), ("as in a sweep", summed)):
            if windows is every and n > MOST_WHOLE:
                continue
            rewind(site)
            card.seconds = {}
            start = time.perf_counter()
            advance_all(site, runs, windows=windows)
            seconds = time.perf_counter() - start
            parts = {name: round(value, 4) for name, value in card.seconds.items()}
            parts["here"] = round(seconds - sum(card.seconds.values()), 4)
            out[f"card, {n} runs, {kind}"] = {
                "patch-days/s": days / seconds, "in the kernel": days / card.seconds["run_days"],
                "seconds": seconds, "parts": parts,
            }  # fmt: skip
            print(n, kind, out[f"card, {n} runs, {kind}"], flush=True)
    for workers in (1, os.cpu_count() or 1):
        groups = [make(16) for _ in range(4 * workers)]
        for one in groups[:1]:
            advance_all(*one)
        start = time.perf_counter()
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(lambda one: advance_all(*one), groups))
        seconds = time.perf_counter() - start
        site = groups[0][0]
        days = 16 * len(groups) * (site.calendar.size - site.from_day) * 5
        out[f"{workers} cores"] = {"patch-days/s": days / seconds}
        print(workers, "cores", f"{days / seconds:.3g}", flush=True)
    return out


def sweep(args: argparse.Namespace) -> dict[str, Any]:
    """From a sweep file to its front, on a card and on all cores."""
    out: dict[str, Any] = {}
    for name, points, years, devices in args.sweeps:
        file = args.folder / f"{name.partition(',')[0]}.toml"
        file.write_text(SWEEP.format(samples=points, years=years))
        for device in devices:
            to = Path(args.scratch) / f"swept-{file.stem}-{device}"
            shutil.rmtree(to, ignore_errors=True)
            start = time.perf_counter()
            points_swept = drysward.sweep(file, to, device=device)
            swept = time.perf_counter() - start
            drysward.front(points_swept, cost="water", risk="wilt")
            seconds = time.perf_counter() - start
            site_years = points * years * 2 * 2
            out[f"{name}, {device}"] = {
                "site-years": site_years, "sweep (s)": swept, "with the front (s)": seconds,
                "site-years/s": site_years / seconds,
            }  # fmt: skip
            print(name, device, out[f"{name}, {device}"], flush=True)
    return out


SWEEP = """
scenario = "demo"
plans = ["refill", "deficit"]
years = {years}
[design]
kind = "latin hypercube"
samples = {samples}
[axes.trigger]
key = "plans.refill.trigger"
from = 0.3
to = 0.9
[axes.uniformity]
key = "fields.*.delivery.uniformity"
from = 0.55
to = 0.8
[axes.kc]
catalog = "species.kentucky_bluegrass.kc_summer"
"""


# --- what they run ----------------------------------------------------------------------------


def one_field(years: int = YEARS) -> Any:
    """A stretch of the demo scenario with its first field, and refill plans of many triggers."""
    scenario = drysward.shipped("demo")
    refill = scenario.plan_named("refill")
    plans = tuple(
        replace(refill, key=f"refill{i}", trigger=float(trigger))
        for i, trigger in enumerate(np.linspace(0.3, 0.8, 64))
    )
    source = replace(scenario.weather, years=years + 1)
    scenario = replace(scenario, weather=source, fields=scenario.fields[:1], plans=plans)
    return next(iter(stretches(scenario, weather_series(scenario))))


def many(site: Any, n: int) -> Any:
    runs = start_runs([(site, plan) for plan in site.scenario.plans])
    return runs.some(np.random.default_rng(n).integers(len(site.scenario.plans), size=n))


def own_fields(n: int) -> tuple[Any, Any]:
    """Runs of which each has a field of its own."""
    site = one_field()
    spec, zone, catalog = site.scenario.fields[0], site.zones[0], site.scenario.catalog
    forcing = forcing_of([(spec, zone, catalog)], southern=False, lines=32)
    every = np.zeros(n, int)
    turfs = forcing.turfs[every].view(np.recarray)
    rng = np.random.default_rng(n)
    turfs.wilt_ks = turfs.wilt_ks * rng.uniform(0.9, 1.1, n)
    turfs.growth_optimum_c = turfs.growth_optimum_c + rng.uniform(-1.0, 1.0, n)
    forcing = forcing._replace(
        turfs=turfs, fields=forcing.fields[every].view(np.recarray),
        memories=forcing.memories[every].view(np.recarray), curves=forcing.curves[:, every],
        n_nodes=forcing.n_nodes[every], days=np.repeat(forcing.days, n, 1).view(np.recarray),
        weather=site.weather.days, kept_off_mm=np.zeros((n, site.calendar.size)),
    )  # fmt: skip
    runs = many(site, n)
    runs.columns = np.arange(n)[:, None]
    play, feed = (of._replace(fields=of.fields[every].view(np.recarray), days=of.days[:0])
                  for of in (site.play, site.feed))  # fmt: skip
    return replace(site, forcing=forcing, fields=forcing.fields, days=forcing.days, play=play,
                   feed=feed), runs  # fmt: skip


def random_scenarios() -> Any:
    there = Path(__file__).parents[1] / "laws" / "test_random_scenarios.py"
    spec = importlib.util.spec_from_file_location("random_scenarios", there)
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules[spec.name] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def nothing_shared(tree: dict[str, Any]) -> None:
    tree.pop("supply", None)
    tree["site"].pop("crew", None)
    for field in tree["fields"].values():
        field["delivery"].pop("machine", None)


PARTS = {
    "machine": machine, "equality": equality, "speed": speed, "own-fields": own, "sweep": sweep,
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("parts", nargs="*")
    parser.add_argument("--random", type=int, default=200, help="random scenarios")
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--sweep-points", type=int, default=2500)
    parser.add_argument("--sweep-years", type=int, default=1000)
    parser.add_argument("--scratch", default="/tmp")
    args = parser.parse_args()
    args.sweeps = (
        ("first, with compiling", 400, 100, ("gpu",)),
        ("small", 400, 100, ("gpu", "cpu")),
        ("large", args.sweep_points, args.sweep_years, ("gpu",)),
    )
    args.folder.mkdir(parents=True, exist_ok=True)
    found: dict[str, Any] = {}
    for name in args.parts or PARTS:
        print(f"--- {name}", flush=True)
        start = time.perf_counter()
        try:
            found[name] = PARTS[name](args)
            print(json.dumps(found[name], indent=1), flush=True)
        except Exception:
            found[name] = {"failed": traceback.format_exc()}
            print(found[name]["failed"], flush=True)
        found[name]["took (s)"] = time.perf_counter() - start
        (args.folder / "bench_gpu.json").write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
