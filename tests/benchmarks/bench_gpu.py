"""Runs on a graphics card beside the processor: equality, speed by number of runs, a whole sweep.

``python tests/benchmarks/bench_gpu.py FOLDER [PART ...]`` prints tables, and writes
``bench_gpu.json`` into the folder after every part, so that a part that fails keeps those before.
Parts: machine, equality, speed, own-fields, sweep, cores; all of them when none is named.
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
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

import drysward
from drysward.card.devices import TOLERANCE, Cards
from drysward.card.drive import Card, Windows
from drysward.drive.runs import advance_all, start_runs
from drysward.site.forcing import force_first_day, forcing_of
from drysward.site.stretches import prepare, stretches
from drysward.site.weather_years import weather_series

RESULTS = ("years", "play", "fed", "states", "patches", "odds", "green", "shortage")
SIZES = (100, 1_000, 10_000, 100_000, 1_000_000, 2_000_000)  # runs; the last are 10^8 years
MOST_WHOLE = 100_000  # runs of which all years fit into memory here
ENOUGH = 3_000  # runs worth a batch of their own
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

    def empty(self, shape: tuple[int, ...]) -> Any:
        return self._timed("empty", lambda: Card.empty(self, shape))

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
    workers = max((os.cpu_count() or 1) - 2, 1)
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        of_random = pool.map(differences_of_random, range(args.random), chunksize=5)
        out = equality_of_shipped()
        found = []
        for number, one in enumerate(of_random):
            if one is not None:
                found.append(one)
            if number % 20 == 19:
                note(out, "random", summary_of(found))
    out |= {"random": summary_of(found), "tolerance": TOLERANCE}
    return out


def summary_of(found: Sequence[dict[str, Any]]) -> dict[str, Any]:
    return {
        "scenarios": len(found), "largest": max((one["largest"] for one in found), default=0.0),
        "bitwise": sum(one["bitwise"] for one in found),
        "residual": max((one["residual"] for one in found), default=0.0),
    }  # fmt: skip


def differences_of_random(number: int) -> dict[str, Any] | None:
    """None where its fields share water, which no card runs."""
    done = random_scenarios().Case(number).run(nothing_shared)
    if done.site.supply.site["on"].any():
        return None
    return differences(done.site, Windows(Card()))


def equality_of_shipped() -> dict[str, Any]:
    windows, out = Windows(Card()), {}
    for name in ("demo", "match-days", "feeding"):
        scenario = drysward.shipped(name)
        source = replace(scenario.weather, years=12)
        scenario = replace(scenario, weather=source)
        site = prepare(scenario)
        out[name] = differences(site, windows)
    site, runs = own_fields(64)
    runs.empty_years(len(site.years))
    out["own fields"] = differences(site, windows, runs)
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
    return rates(args, lambda n: (site, many(site, n)))


def own(args: argparse.Namespace) -> dict[str, Any]:
    """The same, every run on a field of its own, whose days are worked out as it runs."""
    site = one_field()
    return rates(args, lambda n: own_fields(n, site))


def rates(args: argparse.Namespace, make: Callable[[int], tuple[Any, Any]]) -> dict[str, Any]:
    """Of one batch, with where time goes; and of batches side by side as a sweep runs them, on one
    card and on several.
    """
    out: dict[str, Any] = {}
    card = Timed()
    kinds = {"as in a sweep": Windows(card, counts_days=False, keep=KEPT)}
    if args.every_year:
        kinds["every year"] = Windows(card)  # and day of the year
    for windows in kinds.values():
        site, runs = make(64)
        start = time.perf_counter()
        advance_all(site, runs, windows=windows)
        out.setdefault("first, with compiling (s)", time.perf_counter() - start)
    for n in [n for n in args.sizes if n <= MOST_WHOLE]:
        site, runs = make(n)
        for kind, windows in kinds.items():
            rewind(site)
            runs.empty_years(1 if windows.keep else len(site.years))
            card.seconds = {}
            start = time.perf_counter()
            advance_all(site, runs, windows=windows)
            seconds = time.perf_counter() - start
            parts = {name: round(value, 4) for name, value in card.seconds.items()}
            parts["here"] = round(seconds - sum(card.seconds.values()), 4)
            days = patch_days(site, n)
            note(out, f"card, {n} runs, {kind}", {
                "patch-days/s": days / seconds, "in the kernel": days / card.seconds["run_days"],
                "seconds": seconds, "parts": parts,
            })  # fmt: skip
    there = tuple(range(len(card.cuda.gpus)))
    for numbers in sorted({there[:1], there}):
        for n in args.sizes:
            note(out, f"{len(numbers)} cards, {n} runs side by side", together(make, n, numbers))
    return out


def cores(args: argparse.Namespace) -> dict[str, Any]:
    """The same on 1 core, on 16 and on all of them, of shared days and of fields of their own."""
    out: dict[str, Any] = {}
    site, all_cores = one_field(), os.cpu_count() or 1
    for kind, make in (("shared", lambda n: (site, many(site, n))),
                       ("own", lambda n: own_fields(n, site))):  # fmt: skip
        for workers in sorted({1, min(16, all_cores), all_cores}):
            groups = [make(16) for _ in range(4 * workers)]
            for _, runs in groups:
                runs.empty_years(len(site.years))
            for one in groups[:1]:
                advance_all(*one)
            start = time.perf_counter()
            with ThreadPoolExecutor(workers) as pool:
                list(pool.map(lambda one: advance_all(*one), groups))
            seconds = time.perf_counter() - start
            days = patch_days(groups[0][0], 16 * len(groups))
            note(out, f"{kind}, {workers} cores", {"patch-days/s": days / seconds})
    return out


def together(
    make: Callable[[int], tuple[Any, Any]], n: int, numbers: tuple[int, ...]
) -> dict[str, Any]:
    cards = Cards(numbers, checked=0)
    n_batches = max(-(-n // cards.most_together(1, YEARS)), min(cards.threads, n // ENOUGH))
    most = -(-n // max(n_batches, 1))
    sizes = [min(most, n - i) for i in range(0, n, most)]
    with ThreadPoolExecutor(cards.threads) as pool:

        def run(batches: Sequence[tuple[Any, Any]]) -> float:
            start = time.perf_counter()
            list(pool.map(lambda one: cards.advance(*one, keep=KEPT, checks=False), batches))
            return time.perf_counter() - start

        run([make(64) for _ in range(4 * cards.threads)])  # every thread has its card
        batches = [make(size) for size in sizes]
        # At first every thread takes memory here and on its card; a long sweep goes on as "again".
        first, again = run(batches), run(batches)
    days = patch_days(batches[0][0], n)
    return {"patch-days/s": days / first, "seconds": first, "again, patch-days/s": days / again,
            "again (s)": again, "batches": len(sizes)}  # fmt: skip


def patch_days(site: Any, n: int) -> int:
    return int(n * (site.calendar.size - site.from_day) * site.catches.shape[-1])


def note(out: dict[str, Any], name: str, found: dict[str, Any]) -> None:
    out[name] = found
    print(name, found, flush=True)


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
    """Runs as of a sweep on a card, with one year that stands for all."""
    runs = start_runs([(site, plan) for plan in site.scenario.plans], n_years=1)
    return runs.some(np.random.default_rng(n).integers(len(site.scenario.plans), size=n))


def own_fields(n: int, site: Any = None) -> tuple[Any, Any]:
    """Runs of which each has a field of its own."""
    site = one_field() if site is None else site
    spec, zone, catalog = site.scenario.fields[0], site.zones[0], site.scenario.catalog
    forcing = forcing_of([(spec, zone, catalog)], southern=False, lines=1)
    every = np.zeros(n, int)
    turfs = forcing.turfs[every].view(np.recarray)
    rng = np.random.default_rng(n)
    turfs.wilt_ks = turfs.wilt_ks * rng.uniform(0.9, 1.1, n)
    turfs.growth_optimum_c = turfs.growth_optimum_c + rng.uniform(-1.0, 1.0, n)
    forcing = forcing._replace(
        turfs=turfs, fields=forcing.fields[every].view(np.recarray),
        memories=forcing.memories[every].view(np.recarray), curves=forcing.curves[:, every],
        n_nodes=forcing.n_nodes[every], days=np.repeat(forcing.days, n, 1).view(np.recarray),
        weather=site.weather.days, kept_off_mm=np.broadcast_to(0.0, (n, site.calendar.size)),
    )  # fmt: skip
    runs = many(site, n)
    runs.columns = np.arange(n)[:, None]
    play, feed = (of._replace(fields=of.fields[every].view(np.recarray), days=of.days[:0])
                  for of in (site.play, site.feed))  # fmt: skip
    return replace(site, forcing=forcing, fields=forcing.fields, days=forcing.days, play=play,
                   feed=feed), runs  # fmt: skip


@cache
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
    "cores": cores,
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("parts", nargs="*")
    parser.add_argument("--random", type=int, default=200, help="random scenarios")
    parser.add_argument("--every-year", action="store_true", help="with all years of all runs too")
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
