"""Runs side by side: every named number of several runs in one array, stepped together.

A *run* is one field under one plan; a block holds up to ``LANES`` of them as one flat array, name
by name: the number NAME of the run in lane i is at ``block[PLACE[NAME] + i]``. Equations know
nothing of this. They are written for one run, as a function of named numbers that returns named
numbers; ``in_lanes`` makes of it the loop that does the same in every lane of a block.

With one array, and places in it that are known beforehand, the compiler sees that no number
overlaps another and steps four lanes with one instruction, as long as the function chooses with
``a if x > 0.0 else b``, ``&`` and ``|`` and never with ``if``, ``and``, ``or``, ``min`` or ``max``.
A run's numbers do not depend on which others lie beside it.
"""

from __future__ import annotations

import ast
import inspect
import linecache
import math
import textwrap
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.compiled import jitable
from drysward.day.records import (
    DAY,
    DELIVERY,
    FIELD,
    FIELD_STATE,
    PATCH,
    PLAN,
    PLAY_DAY,
    PLAY_FIELD,
    PLAY_YEAR,
    YEAR,
)

FloatArray = NDArray[np.float64]

LANES = 16
QUAD = 4  # lanes that one instruction steps; a block works on as many quads as it fills
CACHE_LINE = 64  # bytes


def _plain(dtype: np.dtype, prefix: str = "") -> tuple[str, ...]:
    """Names of the single numbers of a record, without its tables."""
    fields = dtype.fields or {}
    return tuple(prefix + name for name in dtype.names or () if fields[name][0].shape == ())


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


SECTIONS: dict[str, tuple[str, ...]] = {
    # the patch at hand, with 1 over the share of roots that it has left
    "patch": (*_plain(PATCH), "inv_rooting"),
    # its day: water before, what left it, what later parts of the day need of earlier ones
    "of_patch": _names(
        "catch_share before runoff drainage leaf_evaporation soil_evaporation transpiration ks "
        "subsoil_wetness"
    ),
    "field": _plain(FIELD),
    "day": _plain(DAY),
    # worked out from the day's numbers once for all patches
    "of_day": _names(
        "refused demand evaporative_demand held_in_reach regreening_rate snow_before snow_error"
    ),
    "plan": _plain(PLAN, "plan_"),
    "delivery": _plain(DELIVERY),
    "state": _plain(FIELD_STATE),
    # what the plan reads in its tables today, what restrictions leave of it, and the wish
    "asking": _names(
        "depth_today allowed_today adjust_today left_today crown_only_today restricted_today "
        "recent_rain spray_loss_today wanted granted_share week_sum"
    ),
    # the irrigation of the field, and of the patch at hand; nought on a day without
    "watering": _names(
        "asked syringed missed gross cooling watering spray beside landed caught shed mean_caught"
    ),
    # means over the patches, sums as long as these are gone through; the worst error of any
    "mean": _names(
        "mean_runoff mean_drainage mean_leaf_evaporation mean_soil_evaporation mean_transpiration "
        "mean_depletion mean_footprint mean_wilt mean_green mean_dormant mean_dead"
    ),
    "error": _names("mean_residual"),
    "stored": _names("mean_w1 mean_w2 mean_w3 mean_thatch mean_hydration"),
    "told": _names("stored winter_rest drought_index_today"),
    "year": _plain(YEAR, "year_"),
    "play_field": _plain(PLAY_FIELD, "play_"),
    "play_day": _plain(PLAY_DAY, "today_"),
    "surface": _names(
        "mean_worn mean_root_loss mean_surface_water mean_hard mean_soft mean_mud mean_standing "
        "mean_airless mean_dust mean_moist mean_hardness mean_air"
    ),
    "night": _names("night_watering wet_hours_of_watering"),
    "play_year": _plain(PLAY_YEAR, "played_"),
}
PLACE = {
    name: LANES * k for k, name in enumerate(name for names in SECTIONS.values() for name in names)
}
SIZE = LANES * sum(map(len, SECTIONS.values()))
assert len(PLACE) * LANES == SIZE, "a name stands in two sections"

PATCH_SIZE = LANES * len(SECTIONS["patch"])  # what is carried of a patch, first in a block


def span(first: str, last: str) -> tuple[int, int]:
    """Where the numbers from one name to another lie in a block."""
    return PLACE[first], PLACE[last] + LANES


def section(name: str) -> tuple[int, int]:
    """Where the numbers of a section lie in a block."""
    return span(SECTIONS[name][0], SECTIONS[name][-1])


@jitable
def clear(block: Any, first: int, stop: int) -> None:
    """Set a span of a block to nought."""
    for place in range(first, stop):
        block[place] = 0.0


@jitable
def scale(block: Any, first: int, stop: int, factor: float) -> None:
    """Multiply a span of a block."""
    for place in range(first, stop):
        block[place] *= factor


@jitable
def divide(block: Any, first: int, stop: int, divisor: float) -> None:
    """Divide a span of a block."""
    for place in range(first, stop):
        block[place] /= divisor


def in_lanes(part: Callable[..., Any]) -> Callable[..., None]:
    """``part(block, quads, ...)`` that does what ``part`` does to one run in every lane of a block.

    What ``part`` takes is read by name from the block and the names that it returns are written
    there. A parameter that is no name of the block is the same for all lanes; those follow
    ``block`` and ``quads`` in their order. The statements of ``part`` are set into the loop as
    they stand: to compile them as a function of its own first took a third of all compiling.
    """
    source = ast.parse(textwrap.dedent(inspect.getsource(part))).body[0]
    assert isinstance(source, ast.FunctionDef)
    *statements, last = source.body[1:]
    assert isinstance(last, ast.Return), f"{part.__name__} does not end with what it returns"
    values = last.value.elts if isinstance(last.value, ast.Tuple) else [last.value]
    written = [value.id for value in values if isinstance(value, ast.Name)]
    assert len(written) == len(values), f"{part.__name__} returns what has no name"
    read = list(inspect.signature(part).parameters)
    shared = [name for name in read if name not in PLACE]
    body = [
        *(f"{name} = block[{PLACE[name]} + lane]" for name in read if name not in shared),
        *(ast.unparse(statement) for statement in statements),
        *(f"block[{PLACE[name]} + lane] = {name}" for name in written),
    ]
    name = f"{part.__name__}_in_lanes"
    code = (
        f"def {name}({', '.join(['block', 'quads', *shared])}):\n"
        f"    for lane in range({QUAD} * quads):\n"
        + textwrap.indent("\n".join(body), " " * 8)
    )
    return _made(name, code, {**part.__globals__})


def _made(name: str, code: str, known: dict[str, Any]) -> Callable[..., None]:
    """The function ``name`` of generated code, which a debugger can show."""
    file = f"<{name}>"
    linecache.cache[file] = (len(code), None, code.splitlines(keepends=True), file)
    exec(compile(code, file, "exec"), known)
    made: Callable[..., None] = jitable(known[name])
    return made


def read_into_lanes(name: str) -> Callable[..., None]:
    """``read(block, line, start, stop)``: the numbers of a record, for a section, to some lanes.

    ``line`` holds them in their order; ``start`` and ``stop`` are unsigned, for then the compiler
    need not ask whether a place lies before the array.
    """
    names = SECTIONS[name]
    values = "".join(f"    value{k} = line[{k}]\n" for k in range(len(names)))
    writes = "".join(f"        block[place{k} + lane] = value{k}\n" for k in range(len(names)))
    code = (
        f"def read_{name}(block, line, start, stop):\n{values}"
        f"    for lane in range(start, stop):\n{writes}"
    )
    known: dict[str, Any] = {f"place{k}": np.uint64(PLACE[one]) for k, one in enumerate(names)}
    return _made(f"read_{name}", code, known)


# --- records into lanes and back ------------------------------------------------------------------


@jitable
def lane_of(run: int, field: int, n_runs: int) -> int:
    """Number of the lane of a plan's field among all blocks: fields lie together, so that lanes
    beside each other mostly read the same day.
    """
    return field * n_runs + run


def blocks_of(n_runs: int, n_fields: int) -> tuple[FloatArray, NDArray[np.int64]]:
    """Empty blocks (K, SIZE) for the fields (F) of B plans, and the quads that each fills (K,)."""
    lanes = n_runs * n_fields
    n_blocks = -(-lanes // LANES)
    quads = np.full(n_blocks, LANES // QUAD)
    quads[-1] = -(-(lanes - (n_blocks - 1) * LANES) // QUAD)
    return aligned_zeros((n_blocks, SIZE)), quads


def by_lane(values: np.ndarray, n_blocks: int) -> np.ndarray:
    """Values (B, F, ...) of runs as (K, LANES, ...); lanes left over repeat the last run."""
    flat = values.swapaxes(0, 1).reshape(-1, *values.shape[2:])
    more = n_blocks * LANES - len(flat)
    filled = np.concatenate([flat, np.repeat(flat[-1:], more, axis=0)]) if more else flat
    return filled.reshape(n_blocks, LANES, *values.shape[2:])


def by_run(lanes: np.ndarray, n_runs: int, n_fields: int) -> np.ndarray:
    """What ``by_lane`` made of values, as they were: (B, F, ...) of (K, LANES, ...)."""
    flat = lanes.reshape(-1, *lanes.shape[2:])[: n_runs * n_fields]
    return flat.reshape(n_fields, n_runs, *lanes.shape[2:]).swapaxes(0, 1)


def put(blocks: FloatArray, name: str, lines: np.ndarray) -> None:
    """Write the single numbers of records (B, F) into a section of the blocks."""
    names = [n for n in lines.dtype.names or () if lines.dtype[n].shape == ()]
    values = np.stack([lines[n] for n in names], axis=-1)
    lanes = by_lane(values, len(blocks)).swapaxes(1, 2)
    first, _ = section(name)
    blocks[:, first : first + LANES * len(names)] = lanes.reshape(len(blocks), -1)


def get(blocks: FloatArray, name: str, lines: np.ndarray) -> None:
    """Write a section of the blocks into the single numbers of records (B, F)."""
    n_runs, n_fields = lines.shape
    names = [n for n in lines.dtype.names or () if lines.dtype[n].shape == ()]
    first, _ = section(name)
    part = blocks[:, first : first + LANES * len(names)].reshape(len(blocks), len(names), LANES)
    values = by_run(part.swapaxes(1, 2), n_runs, n_fields)
    for i, one in enumerate(names):
        lines[one] = values[..., i]


def aligned_zeros(shape: tuple[int, ...]) -> FloatArray:
    """Zeros that start on a cache line: values of a block that lie across two are slower."""
    n_bytes = 8 * math.prod(shape)
    raw = np.zeros(n_bytes + CACHE_LINE, np.uint8)
    start = -raw.ctypes.data % CACHE_LINE
    return raw[start : start + n_bytes].view(np.float64).reshape(shape)
