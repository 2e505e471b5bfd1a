"""How fast the day loop is: ``python tests/benchmarks/bench_day_step.py`` (not run by pytest).

Measures the compiled loop on one and two threads, the same step written in plain NumPy over
columns (and that both give the same numbers), the shipped demo from file to answers with its
peak memory, and how soon the command line answers. Times are the best of several repeats.
"""

from __future__ import annotations

import importlib.util
import resource
import subprocess
import sys
import sysconfig
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from time import perf_counter
from typing import Any

import numba
import numpy as np
from drysward.day.step import block_day

import drysward
from drysward.compiled import is_warm
from drysward.day.lanes import (
    DRAINAGE,
    LANES,
    LEAF_EVAPORATION,
    RUNOFF,
    SOIL_EVAPORATION,
    TRANSPIRATION,
    from_lanes,
    into_lanes,
)
from drysward.day.records import PATCH, records
from drysward.drive.runs import run_plan
from drysward.site.stretches import prepare

YEARS = 60
COLUMNS = 20_000
COMPARED_DAYS = 200
FIRST_COMPARED_DAY = 90  # from spring on, so that turf dries, goes dormant and regreens
RTOL = 1e-9
SHARES = ("runoff", "drainage", "leaf_evaporation", "soil_evaporation", "transpiration")


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


# --- the same step over columns -----------------------------------------------------------------


def drain_columns(water: np.ndarray, fc: float, sat: float, share: float) -> np.ndarray:
    """Water leaving a layer downwards (mm), by column."""
    return np.where(water > fc, np.maximum(share * (water - fc), water - sat), 0.0)


def past_columns(depletion: np.ndarray, threshold: float, inv_width: float) -> np.ndarray:
    """Share of plants past a threshold, by column."""
    return np.clip((depletion - threshold) * inv_width + 0.5, 0.0, 1.0)


def survival_columns(dryness: np.ndarray) -> np.ndarray:
    """Share of plants alive, by column."""
    return 1.0 / (1.0 + dryness**5)


def column_day(field: Any, day: Any, patch: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """One day of every column without irrigation: ``drysward.day.step.block_day`` in NumPy.

    ``patch`` maps the names of PATCH to arrays (columns,) and is changed; returns the losses
    (mm) by name.
    """
    w1, w2, w3, thatch = (patch[n].copy() for n in ("w1", "w2", "w3", "thatch"))
    before = w1 + w2 + w3 + thatch
    moved = day.shift * w3 if day.shift > 0.0 else day.shift * w2
    w2 += moved
    w3 -= moved

    # in at the top
    liquid = day.liquid
    abstraction = field.abstraction + day.abstraction_slope * (day.moisture_reference - (w1 + w2))
    excess = np.maximum(liquid - abstraction, 0.0)
    room = field.retention + abstraction
    dry = excess**2 / (excess + field.retention)
    wet = liquid * (1.0 - room**2 / (field.retention**2 + room * liquid))
    runoff = np.where(abstraction >= 0.0, dry, np.where(room <= 0.0, liquid, wet))
    runoff = np.maximum(runoff, (1.0 - day.intake_share) * liquid) if liquid > 0.0 else 0.0 * w1
    entering = liquid - runoff
    held = np.minimum(entering, field.thatch_storage - thatch)
    thatch += np.where(entering > 0.0, held, 0.0)
    entering -= np.where(entering > 0.0, held, 0.0)
    refused = np.maximum(entering - field.infiltration_limit, 0.0)
    runoff += refused
    w1 += entering - refused

    # down, and back up
    down = drain_columns(w1, field.fc1, field.sat1, field.drain1)
    w1 -= down
    w2 += down
    down = drain_columns(w2, day.fc2, day.sat2, field.drain2)
    w2 -= down
    w3 += down
    drainage = drain_columns(w3, day.fc3, day.sat3, field.drain3)
    drainage = np.minimum(drainage, field.percolation_limit)
    w3 -= drainage
    over = np.maximum(w3 - day.sat3, 0.0)
    w3 -= over
    w2 += over
    over = np.maximum(w2 - day.sat2, 0.0)
    w2 -= over
    w1 += over
    over = np.maximum(w1 - field.sat1, 0.0)
    w1 -= over
    runoff += over

    # out to the air
    eto = day.eto
    leaf_evaporation = np.minimum(thatch, day.kc_max * eto)
    thatch -= leaf_evaporation
    most = day.kc_max * eto - leaf_evaporation
    a1 = np.maximum(w1 - field.wp1, 0.0)
    a2 = np.maximum(w2 - day.wp2, 0.0)
    depletion = (field.fc1 + day.fc2 - w1 - w2) * day.inv_taw
    ks = np.clip((1.0 - depletion) * day.inv_one_less_p, 0.0, 1.0)
    green = patch["green"].copy()
    transpiration = np.minimum(np.minimum(day.kcb * green * ks * eto, most), a1 + a2)
    weighted = field.uptake_weight * a1
    supply = np.where(weighted + a2 > 0.0, weighted + a2, 1.0)
    from_surface = np.minimum(transpiration * weighted / supply, a1)
    from_surface = np.where(transpiration - from_surface > a2, transpiration - a2, from_surface)
    w1 -= from_surface
    w2 -= transpiration - from_surface
    most -= transpiration
    exposed = (1.0 - field.ground_cover * green) * field.mulch
    kr = np.clip((field.tew - (field.fc1 - w1)) * field.inv_tew_less_rew, 0.0, 1.0)
    soil_evaporation = np.minimum(exposed * day.kc_max * eto, most) * kr
    soil_evaporation = np.minimum(soil_evaporation, np.maximum(w1 - field.dry1, 0.0))
    w1 -= soil_evaporation
    wet3 = np.clip((w3 - day.wp3) * day.inv_taw3, 0.0, 1.0)
    wet2 = np.clip((w2 - day.wp2) * day.inv_taw2, 0.0, 1.0)
    rise = field.upward_max * (1.0 - wet2) * wet3 if field.upward_max > 0.0 else 0.0 * w3
    rise = np.minimum(rise, np.maximum(w3 - day.wp3, 0.0))
    w3 -= rise
    w2 += rise

    # the turf answers
    depletion = (field.fc1 + day.fc2 - w1 - w2) * day.inv_taw
    dormant, dead = patch["dormant"].copy(), patch["dead"].copy()
    awake = green * day.active
    crown_supply = np.maximum((w1 - field.wp1) * field.inv_taw1, 1.0 - depletion)
    wetness = np.clip(crown_supply * field.inv_crown_wet, 0.0, 1.0)
    from_below = np.clip(wet3 * field.inv_crown_wet, 0.0, 1.0) * field.subsoil_reach
    speed = 1.0 - (1.0 - field.subsoil_speed) * from_below
    drier = patch["crown_dryness"] + day.crown_clock * speed * (1.0 - wetness)
    dryness = np.maximum(drier - field.crown_refill * wetness, 0.0)
    kill = 1.0 - survival_columns(dryness) / survival_columns(patch["crown_dryness"])
    kill = np.maximum(kill, 0.0)
    kill = 1.0 - (1.0 - kill) * (1.0 - day.heat_kill * (1.0 - field.heat_shelter * ks))
    loss = np.clip((field.leaf_loss_start - ks) * field.inv_leaf_loss_span, 0.0, 1.0)
    browning = green * day.leaf_loss * loss
    supply = np.maximum((ks - field.leaf_loss_start) / (1.0 - field.leaf_loss_start), 0.0)
    regreening = patch["dormant"] * day.recovery * supply
    regreening /= 1.0 + patch["dormant_age"] * field.inv_age_slowing
    green += regreening - browning
    dormant += browning - regreening
    dead += kill * (green + dormant)
    green -= kill * green
    dormant -= kill * dormant
    green += patch["dead"] * ks * (day.spread * green + day.reseed)
    green = np.clip(green, 0.0, 1.0)
    dormant = np.clip(dormant, 0.0, 1.0 - green)
    aged = patch["dormant_age"] + dormant * (1.0 - wetness)
    patch.update(
        w1=w1,
        w2=w2,
        w3=w3,
        thatch=thatch,
        green=green,
        dormant=dormant,
        dead=np.maximum(1.0 - green - dormant, 0.0),
        crown_dryness=dryness,
        dormant_age=np.where(dormant > 0.02, aged, 0.9 * patch["dormant_age"]),
        depletion=depletion,
        footprint=awake * past_columns(depletion, day.p_footprint, field.inv_ramp),
        wilt=awake * past_columns(depletion, day.wilt_threshold, field.inv_ramp),
    )
    losses = (runoff, drainage, leaf_evaporation, soil_evaporation, transpiration)
    residual = liquid - sum(losses) - (w1 + w2 + w3 + thatch - before)
    return dict(zip((*SHARES, "residual"), (*losses, residual), strict=True))


@numba.njit(error_model="numpy", forceinline=True)
def compiled_columns(field: Any, days: Any, blocks: Any) -> None:
    """``block_day`` over days and blocks (K, SIZE) without irrigation."""
    for d in range(days.shape[0]):
        for k in range(blocks.shape[0]):
            block_day(field, days[d], blocks[k])


@numba.njit(error_model="numpy", forceinline=True)
def compiled_losses(field: Any, days: Any, blocks: Any, lost: Any) -> None:
    """As ``compiled_columns``; ``lost`` (K * LANES,) sums losses by column."""
    for d in range(days.shape[0]):
        for k in range(blocks.shape[0]):
            block = blocks[k]
            block_day(field, days[d], block)
            for i in range(LANES):
                lost[k * LANES + i] += (
                    block[RUNOFF + i]
                    + block[DRAINAGE + i]
                    + block[LEAF_EVAPORATION + i]
                    + block[SOIL_EVAPORATION + i]
                    + block[TRANSPIRATION + i]
                )


def numpy_columns(field: Any, days: Any, patch: dict[str, np.ndarray], lost: np.ndarray) -> None:
    """``column_day`` over days; ``lost`` sums losses by column."""
    for day in days:
        flows = column_day(field, day, patch)
        for name in SHARES:
            lost += flows[name]


def start_columns(field: Any, first: Any) -> np.recarray:
    """PATCH (columns,) with water, covers and crowns drawn at random.

    Without irrigation the catch of a column changes nothing; its start has to.
    """
    rng = np.random.default_rng(1)
    out = records(PATCH, COLUMNS)
    for name, low, high in (
        ("w1", field.wp1, field.sat1),
        ("w2", first.wp2, first.sat2),
        ("w3", first.wp3, first.sat3),
        ("thatch", 0.0, field.thatch_storage),
        ("green", 0.4, 1.0),
        ("crown_dryness", 0.0, 1.0),
        ("dormant_age", 0.0, 30.0),
    ):
        out[name] = rng.uniform(low, high, COLUMNS)
    out.dormant = (1.0 - out.green) * rng.random(COLUMNS)
    out.dead = 1.0 - out.green - out.dormant
    return out


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


def loop() -> list[tuple[str, str]]:
    """The compiled day loop by plan, and two plans side by side."""
    made = scenes()
    plans = [made.plan("none"), made.plan("refill", trigger=0.5, target=0.0)]
    fields = [made.field(), made.field("sand_over_gravel_12in", key="sand")]
    site = prepare(made.scenario(fields, plans), made.weather(YEARS))
    patch_days = site.catches.size * site.calendar.size
    rows = []
    for plan in plans:
        run_plan(site, plan)
        speed = patch_days / best(lambda plan=plan: run_plan(site, plan), 15)
        rows.append((f"day loop, plan {plan.rule}", f"{speed / 1e6:.1f} M patch-days/s"))

    def several(plan: Any) -> None:
        for _ in range(10):
            run_plan(site, plan)

    one = best(lambda: [several(plan) for plan in plans], 3)
    with ThreadPoolExecutor(2) as pool:
        two = best(lambda: list(pool.map(several, plans)), 3)
    both = 2 * 10 * patch_days / 1e6
    rows.append(("day loop, both plans, one thread", f"{both / one:.1f} M patch-days/s"))
    rows.append(("day loop, both plans, two threads", f"{both / two:.1f} M patch-days/s"))
    rows.append(("  two threads / one", f"{one / two:.2f}"))
    return rows


def step() -> list[tuple[str, str]]:
    """The compiled step and the NumPy one over the same columns; raises when they differ."""
    made = scenes()
    mild = made.weather(1, seed=3)
    # A dry, hot year, so that every process has its days: runoff to heat death.
    record = replace(mild, rain_mm=0.5 * mild.rain_mm, tmax_c=mild.tmax_c + 10.0)
    site = prepare(made.scenario([made.field()]), record)
    field = site.fields[0]
    days = site.days[FIRST_COMPARED_DAY : FIRST_COMPARED_DAY + COMPARED_DAYS, 0].copy()
    start = start_columns(field, days[0])

    patches = start.copy()
    lost = np.zeros(COLUMNS)
    blocks = into_lanes(patches[None, None])
    compiled_losses(field, days, blocks[0], lost)
    from_lanes(blocks, patches[None, None])
    columns = {name: start[name].copy() for name in PATCH.names or ()}
    lost_numpy = np.zeros(COLUMNS)
    begun = perf_counter()
    numpy_columns(field, days, columns, lost_numpy)
    numpy_time = perf_counter() - begun
    for name, values in (*columns.items(), ("losses", lost_numpy)):
        np.testing.assert_allclose(
            lost if name == "losses" else patches[name], values, RTOL, 1e-12, err_msg=name
        )
    patch_days = COLUMNS * COMPARED_DAYS

    def again() -> None:
        compiled_columns(field, days, blocks[0])

    compiled = patch_days / best(again)
    plain = patch_days / numpy_time
    return [
        (f"step over {COLUMNS} columns, compiled", f"{compiled / 1e6:.1f} M patch-days/s"),
        (f"step over {COLUMNS} columns, NumPy", f"{plain / 1e6:.1f} M patch-days/s"),
        (f"  compiled / NumPy (equal within {RTOL:g})", f"{compiled / plain:.1f}"),
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
    for part in (demo, loop, step, command_line):
        for what, figure in part():
            print(f"{what:<58}{figure:>24}", flush=True)


if __name__ == "__main__":
    main()
