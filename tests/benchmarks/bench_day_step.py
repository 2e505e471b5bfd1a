"""How fast the day loop is: ``python tests/benchmarks/bench_day_step.py`` (not run by pytest).

Measures the compiled loop with one plan, with lanes full and on two threads, a patch's day alone,
the shipped demo from file to answers with its peak memory, and how soon the command line answers.
Times are the best of several repeats; quote ratios of one run.
"""

from __future__ import annotations

import importlib.util
import resource
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import perf_counter
from typing import Any

import numba

import drysward
from drysward.compiled import is_warm
from drysward.day import loop
from drysward.drive.batches import batch_of, day_input_of
from drysward.drive.runs import PLANS_TOGETHER, advance_all, start_runs
from drysward.site.stretches import prepare

YEARS = 60
FULL = PLANS_TOGETHER


def best(action: Callable[[], Any], repeats: int = 5) -> float:
    """Shortest wall time of ``action`` (s)."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        action()
        times.append(perf_counter() - start)
    return min(times)


def scenes() -> Any:
    """The scenario makers of ``tests/conftest.py``."""
    path = Path(__file__).parents[1] / "conftest.py"
    spec = importlib.util.spec_from_file_location("drysward_test_scenes", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Scenes()


# --- a patch's day alone ------------------------------------------------------------------------


@numba.njit(error_model="numpy")
def patch_days(days: Any, batch: Any) -> None:
    """Days (D, C, names of DAY) of all patches, without a morning or an evening."""
    for d in range(days.shape[0]):
        for k in range(batch.blocks.shape[0]):
            block, quads = batch.blocks[k], batch.quads[k]
            loop.read_day(block, days[d], batch.spans[k], batch.columns[k], quads)
            loop.today(block, quads)
            for p in range(batch.patches.shape[1]):
                patch = batch.patches[k, p]
                if loop.is_any_above(block, loop.LIQUID, quads):
                    loop.take_rain(block, patch, quads)
                else:
                    loop.stay_dry(block, patch, quads)
                loop.dry(block, patch, quads)
                loop.respond(block, patch, quads)


# --- what is measured -----------------------------------------------------------------------------


def demo() -> list[tuple[str, str]]:
    """Shipped demo to answers. First of all measurements: peak memory only ever grows."""

    def whole() -> Any:
        result = drysward.run(drysward.shipped("demo"))
        return result, drysward.answers(result)

    kept = "compiled code kept" if is_warm() else "compiling"
    start = perf_counter()
    result, _ = whole()
    first = perf_counter() - start
    warm = best(whole, 3)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0  # KiB on Linux
    size = " x ".join(f"{result.sizes[n]} {n}s" for n in ("field", "plan", "year"))
    return [
        (f"demo to answers, first ({kept})", f"{first:.2f} s"),
        (f"demo to answers, warm ({size})", f"{warm:.2f} s"),
        ("  peak memory", f"{peak_mb:.0f} MB"),
    ]


def day_loop() -> list[tuple[str, str]]:
    """The compiled day loop by how full its lanes are, and a patch's day alone."""
    made = scenes()
    plan = made.plan("refill", trigger=0.5, target=0.0)
    fields = [made.field(), made.field("sand_over_gravel_12in", key="sand")]
    site = prepare(made.scenario(fields, [plan]), made.weather(YEARS))
    million = site.catches.size * site.calendar.size / 1e6

    def through(n_plans: int) -> None:
        advance_all(site, start_runs([(site, plan)] * n_plans))

    through(1)
    one, full = best(lambda: through(1), 15), best(lambda: through(FULL))
    with ThreadPoolExecutor(2) as pool:
        two = best(lambda: list(pool.map(through, [FULL] * 2)))
    batch, _ = batch_of(site, start_runs([(site, plan)] * FULL))
    days = day_input_of(site).days
    patch_days(days[:1], batch)
    alone = best(lambda: patch_days(days, batch))
    return [
        ("day loop, one plan", f"{million / one:.1f} M patch-days/s"),
        (f"day loop, {FULL} plans", f"{FULL * million / full:.1f} M patch-days/s"),
        (f"  {FULL} plans / one", f"{FULL * one / full:.2f}"),
        (f"day loop, twice {FULL} plans, two threads", f"{2 * FULL * million / two:.1f} M"),
        ("  two threads / one", f"{2 * full / two:.2f}"),
        (f"patches alone, {FULL} plans", f"{FULL * million / alone:.1f} M patch-days/s"),
        ("  share of the loop", f"{alone / full:.2f}"),
    ]


def command_line() -> list[tuple[str, str]]:
    """Time until the command line answers, beside that of a bare interpreter."""
    program = str(Path(sysconfig.get_path("scripts")) / "drysward")
    rows = []
    for told, command in (
        ("python -c pass", [sys.executable, "-c", "pass"]),
        ("python -c 'import drysward.cli'", [sys.executable, "-c", "import drysward.cli"]),
        ("drysward --help", [program, "--help"]),
    ):
        seconds = best(lambda c=command: subprocess.run(c, check=True, capture_output=True))
        rows.append((told, f"{seconds * 1000.0:.0f} ms"))
    return rows


def main() -> None:
    for part in (demo, day_loop, command_line):
        for what, figure in part():
            print(f"{what:<58}{figure:>24}", flush=True)


if __name__ == "__main__":
    main()
