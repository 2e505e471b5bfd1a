"""Runs side by side: every named number of several runs in one array, stepped together.

A *run* is one field under one plan. A block holds up to ``LANES`` runs as one flat array, name by
name: the number NAME of the run in lane i is at ``block[PLACE[NAME] + i]``. The state of one patch
of each run lies in another flat array in the same way. Equations know nothing about lanes. They are
written for one run, as a function of named numbers that returns named numbers; ``in_lanes`` turns
such a function into a loop over all lanes.

With few arrays, and places in them known at compile time, the compiler sees that no number overlaps
another and steps four lanes with one instruction, as long as the function chooses with
``a if x > 0.0 else b``, ``&`` and ``|`` and never with ``if``, ``and``, ``or``, ``min`` or ``max``.
A run's numbers do not depend on the other runs in its block.

Few runs would leave most lanes empty. All patches of a run then lie side by side too, each in a
separate lane (``Spread``); plan demand, sums and counts are worked out in the first of them.
"""

from __future__ import annotations

import ast
import math
import textwrap
from collections.abc import Callable, Sequence
from functools import cache
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
from numba.core import cgutils, types
from numba.extending import intrinsic
from numpy.typing import NDArray

from drysward.compiled import compiles_as, jitable, parsed, tree_of, with_selects
from drysward.day.records import (
    CAUSES,
    DAY,
    DELIVERY,
    FEED_DAY,
    FEED_FIELD,
    FEED_YEAR,
    FIELD,
    FIELD_STATE,
    PATCH,
    PLAN,
    PLAY_DAY,
    PLAY_FIELD,
    PLAY_YEAR,
    YEAR,
    as_values,
)

FloatArray = NDArray[np.float64]

LANES = 16
QUAD = 4  # lanes that one instruction steps; a block works on as many quads as it fills
CACHE_LINE = 64  # bytes
_TURNED_AT_ONCE = 512  # lines of a table
_AT_A_TIME = 12  # names that are read into lanes together


def _plain(dtype: np.dtype, prefix: str = "") -> tuple[str, ...]:
    """Names of the single numbers of a record, without its tables."""
    return tuple(prefix + name for name in dtype.names or () if dtype[name].shape == ())


def _names(text: str) -> tuple[str, ...]:
    return tuple(text.split())


# State of a patch, with 1 over the share of the root zone that its roots reach: when all are there,
# and with the roots lost so far. Then what it sums up of nitrogen until the month ends.
PATCH_SUMS = _names(
    "sum_brought sum_released sum_rotted sum_freed sum_uptake sum_clippings sum_clipped "
    "sum_leached sum_ammonia sum_gas sum_runoff sum_error"
)
PATCH_NAMES = (*_plain(PATCH), "inv_reach", "inv_rooting", *PATCH_SUMS)
PATCH_ROW = {name: row for row, name in enumerate(PATCH_NAMES)}
PATCH_PLACE = {name: LANES * row for name, row in PATCH_ROW.items()}
PATCH_SIZE = LANES * len(PATCH_NAMES)

SECTIONS: dict[str, tuple[str, ...]] = {
    # the day of the current patch: water before, losses, and what later parts of the day need
    "of_patch": _names(
        "catch_share before runoff drainage leaf_evaporation soil_evaporation transpiration ks "
        "crowns_wet subsoil_wetness passing surface_before"
    ),
    "field": _plain(FIELD),
    "day": _plain(DAY),
    # computed from the day's numbers once for all patches
    "of_day": _names(
        "refused demand evaporative_demand capacity_in_reach snow_before snow_error"
    ),
    "plan": _plain(PLAN, "plan_"),
    "delivery": _plain(DELIVERY),
    "state": _plain(FIELD_STATE),
    # today's entries of the plan's tables, today's restrictions, and the depths demanded
    "plan_demand": _names(
        "depth_today allowed_today adjust_today share_today crown_only_today closed_today "
        "recent_rain spray_loss_today permitted_depth unrestricted_depth refill_depth rule_waters "
        "needs_none delivered_share "
        "week_sum"
    ),
    # gross demand, the part of it cut by each cause, and the shortage of the day
    "shortage": (
        *_names("irrigation_demand refill_demand"),
        *(f"cut_{cause}" for cause in CAUSES),
        *_names("shortage_today missed made_up"),
    ),
    # irrigation of the field and of the current patch; 0 on a day without
    "watering": _names(
        "requested syringed gross cooling watering spray beside landed caught shed mean_caught "
        "mean_shed mean_beyond"
    ),
    # means over the patches, sums until the last patch is done; the largest error of any patch
    "mean": _names(
        "mean_runoff mean_drainage mean_leaf_evaporation mean_soil_evaporation mean_transpiration "
        "mean_depletion mean_deficit mean_crown_wetness mean_footprint mean_wilt mean_green "
        "mean_dormant mean_dead"
    ),
    "error": _names("mean_residual"),
    "stored": _names("mean_w1 mean_w2 mean_w3 mean_thatch mean_hydration"),
    "ledger": _names("stored winter_rest drought_index_today"),
    "year": _plain(YEAR, "year_"),
    "play_field": _plain(PLAY_FIELD, "play_"),
    "play_day": _plain(PLAY_DAY, "today_"),
    "surface": _names(
        "mean_worn mean_root_loss mean_surface_water mean_hard mean_soft mean_mud mean_standing "
        "mean_airless mean_dust mean_moist mean_hardness mean_air"
    ),
    "night": _names("night_watering wet_hours_of_watering undrained_of_watering"),
    "play_year": _plain(PLAY_YEAR, "played_"),
    "feed_field": _plain(FEED_FIELD, "feed_"),
    "feed_day": _plain(FEED_DAY, "fed_"),
    # the dose of the morning, by form
    "dose": _names(
        "applied_urea applied_ammonium applied_nitrate applied_slow1 applied_slow2 applied_slow3 "
        "applied_p"
    ),
    "dose_sums": _names("applied_n skipped_n late_today doses_today"),
    # nitrogen of the current patch: what it gained today less what it lost
    "nitrogen": _names("down1 down2 moves net_n"),
    # what the field's nitrogen makes of the day
    "felt": _names("inv_drains2 inv_reached"),
    "feeding": _names("mean_status mean_top_water"),
    # for the ledger alone
    "fed_trace": _names("leached_today clippings_today mean_mineral_n"),
    "before_trace": _names("leached_before clippings_before"),
    # sums of the year up to the end of the month before
    "noted": _names("clippings_noted leached_noted status_noted status_sum"),
    "feeding_stored": _names("mean_nitrogen"),
    "shed": _names("p_runoff paving_n paving_p"),
    "feed_year": _plain(FEED_YEAR, "ate_"),
}
ROW = {name: row for row, name in enumerate(chain.from_iterable(SECTIONS.values()))}
PLACE = {name: LANES * row for name, row in ROW.items()}
SIZE = LANES * sum(map(len, SECTIONS.values()))
assert len(PLACE) * LANES == SIZE, "a name stands in two sections"
_PLACED = PLACE.keys() | PATCH_PLACE.keys()
assert not PLACE.keys() & PATCH_PLACE.keys(), "a name of a patch stands in the block"


def span(first: str, last: str) -> tuple[int, int]:
    """Where the numbers from one name to another lie in a block."""
    return PLACE[first], PLACE[last] + LANES


def section(name: str) -> tuple[int, int]:
    """Where the numbers of a section lie in a block."""
    return span(SECTIONS[name][0], SECTIONS[name][-1])


@jitable
def clear(block: Any, first: int, stop: int) -> None:
    """Set a span of a block to 0."""
    for place in range(first, stop):
        block[place] = 0.0


def in_lanes(*parts: Any) -> Callable[..., None]:
    """``done(block, quads, ...)`` that does what ``parts`` do, one after the other, in every lane.

    Parameters of a part are read by name, and the names that it returns are written. When names of
    a patch are among them the call is ``done(block, patch, quads, ...)``. Parameters that have no
    place are the same for all lanes and follow in their order. The statements of the parts are
    inlined into one loop, so a value that one part passes to the next stays in a register; it needs
    no place then.
    """

    @cache
    def names() -> tuple[list[ast.stmt], list[str], list[str], list[str], list[str]]:
        statements: list[ast.stmt] = []
        read: dict[str, None] = {}
        shared: dict[str, None] = {}
        written: dict[str, None] = {}
        for part in parts:
            source = tree_of(part)
            *body, last = source.body[1:]
            assert isinstance(last, ast.Return), f"{part.__name__} does not end with a return"
            values = last.value.elts if isinstance(last.value, ast.Tuple) else [last.value]
            returned = {value.id: None for value in values if isinstance(value, ast.Name)}
            assert len(returned) == len(values), f"{part.__name__} returns what has no name"
            changed = _assigned(body) & _PLACED - returned.keys()
            assert not changed, f"{part.__name__} changes {changed} and does not return it"
            for name in (argument.arg for argument in source.args.args):
                if name not in written:
                    (read if name in _PLACED else shared)[name] = None
            written |= returned
            statements += body
        arrays = ["block", "patch"] if PATCH_PLACE.keys() & {*read, *written} else ["block"]
        stored = [name for name in written if name in _PLACED]
        return statements, arrays, list(shared), list(read), stored

    known = {name: value for part in parts for name, value in part.__globals__.items()}
    title = "_".join(part.__name__ for part in parts)

    def loop(before: list[str], after: list[str]) -> ast.FunctionDef:
        statements, arrays, shared, _, _ = names()
        body = [*before, *map(ast.unparse, statements), *after]
        return _function(
            f"def {title}_in_lanes({', '.join([*arrays, 'quads', *shared])}):\n"
            f"    for lane in range({QUAD} * quads):\n"
            + textwrap.indent("\n".join(body), " " * 8)
        )

    @cache
    def as_it_is() -> Callable[..., None]:
        _, _, _, read, written = names()
        before = [f"{name} = {_lane(name)}" for name in read]
        after = [f"{_lane(name)} = {name}" for name in written]
        return with_selects(loop(before, after), known, branches=True)

    def for_the_compiler() -> Callable[..., None]:
        _, arrays, _, read, written = names()
        arguments = ", ".join([*arrays, "lane"])
        before = [f"{', '.join(read)}, = read_lane({arguments})"] if read else []
        after = [f"write_lane({arguments}, ({', '.join(written)},))"]
        at_once = {"read_lane": _reader(read, arrays), "write_lane": _writer(written, arrays)}
        return with_selects(loop(before, after), {**known, **at_once})

    def in_every_lane(*arguments: Any) -> None:
        as_it_is()(*arguments)

    _PARTS[in_every_lane] = parts
    return compiles_as(in_every_lane, for_the_compiler)


_PARTS: dict[Callable[..., Any], tuple[Callable[..., Any], ...]] = {}


def parts_of(function: Callable[..., Any]) -> tuple[Callable[..., Any], ...]:
    """The parts that ``in_lanes`` made a function of; none of another function."""
    return _PARTS.get(function, ())


def _assigned(statements: Sequence[ast.stmt]) -> set[str]:
    """Names that statements give a value."""
    found = (node for part in statements for node in ast.walk(part) if isinstance(node, ast.Name))
    return {node.id for node in found if isinstance(node.ctx, ast.Store)}


def _function(code: str) -> ast.FunctionDef:
    tree = parsed(code)[0]
    assert isinstance(tree, ast.FunctionDef)
    return tree


def _lane(name: str) -> str:
    """Where a name stands, as code."""
    if name in PATCH_PLACE:
        return f"patch[{PATCH_PLACE[name]} + lane]"
    return f"block[{PLACE[name]} + lane]"


# All names of a part are read at once, and written at once: with an index for each of them numba
# infers a thousand types, which took a third of all compile time.


def _reader(names: Sequence[str], arrays: Sequence[str]) -> Any:
    """``read_lane(block, lane)`` or ``(block, patch, lane)`` for the compiler: names of a lane."""

    def read(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        values = []
        for name in names:
            value = builder.load(_pointer(context, builder, signature, arguments, name))
            values.append(_not_aliased(builder, value, name))
        return context.make_tuple(builder, signature.return_type, values)

    found = types.UniTuple(types.float64, len(names))
    if "patch" in arrays:
        return intrinsic(lambda context, block, patch, lane: (found(block, patch, lane), read))
    return intrinsic(lambda context, block, lane: (found(block, lane), read))


def _writer(names: Sequence[str], arrays: Sequence[str]) -> Any:
    """``write_lane(block, lane, values)``, likewise."""

    def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        values = cgutils.unpack_tuple(builder, arguments[-1])
        for name, value in zip(names, values, strict=True):
            place = _pointer(context, builder, signature, arguments, name)
            _not_aliased(builder, builder.store(value, place), name)
        return context.get_dummy_value()

    values = types.UniTuple(types.float64, len(names))
    if "patch" in arrays:
        return intrinsic(
            lambda context, block, patch, lane, _: (types.none(block, patch, lane, values), write)
        )
    return intrinsic(lambda context, block, lane, _: (types.none(block, lane, values), write))


def _pointer(context: Any, builder: Any, signature: Any, arguments: Any, name: str) -> Any:
    """Place of a name of the lane in the array that holds it."""
    of_patch = name in PATCH_PLACE
    array = context.make_array(signature.args[of_patch])(context, builder, arguments[of_patch])
    lane = arguments[2 if isinstance(signature.args[1], types.Array) else 1]
    place = lane.type((PATCH_PLACE if of_patch else PLACE)[name])
    return builder.gep(array.data, [builder.add(lane, place, flags=["nsw"])], inbounds=True)


def _not_aliased(builder: Any, access: Any, name: str) -> Any:
    """Mark a load or store: no patch overlaps a block. Without it the compiler emits every loop
    twice, for the case that one does.
    """
    domain = builder.module.add_metadata(["lanes"])
    scopes = [
        builder.module.add_metadata([builder.module.add_metadata([one, domain])])
        for one in ("block", "patch")
    ]
    mine = name in PATCH_PLACE
    access.set_metadata("alias.scope", scopes[mine])
    access.set_metadata("noalias", scopes[not mine])
    return access


def read_into_lanes(name: str) -> Callable[..., None]:
    """``read(block, line, start, stop)``: copies a record into a section of some lanes.

    ``line`` holds the numbers in their order. ``start`` and ``stop`` are unsigned, which saves the
    compiler a check for negative indices. A few names are copied at a time: more would not fit the
    processor's registers.
    """
    names = SECTIONS[name]
    plain, compact, in_order = [], [], {}
    for first in range(0, len(names), _AT_A_TIME):
        some = names[first : first + _AT_A_TIME]
        values = ", ".join(f"value{k}" for k in range(len(some)))
        plain += [f"value{k} = line[{first + k}]" for k in range(len(some))]
        plain += ["for lane in range(start, stop):"]
        plain += [f"    block[{PLACE[one]} + lane] = value{k}" for k, one in enumerate(some)]
        in_order[f"read{first}"] = _line_reader(first, len(some))
        in_order[f"write{first}"] = _writer(some, ["block"])
        compact += [f"{values}, = read{first}(line)", "for lane in range(start, stop):"]
        compact += [f"    write{first}(block, lane, ({values},))"]
    head = f"def read_{name}(block, line, start, stop):\n"
    as_it_is = with_selects(_function(head + _indented(plain)), {}, branches=True)
    tree = _function(head + _indented(compact))
    return compiles_as(as_it_is, lambda: with_selects(tree, in_order))


def _indented(lines: Sequence[str]) -> str:
    return textwrap.indent("\n".join(lines), "    ")


def _line_reader(first: int, n: int) -> Any:
    """``read_line(line)`` for the compiler: ``n`` numbers of an array from ``first`` on."""

    def read(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        data = context.make_array(signature.args[0])(context, builder, arguments[0]).data
        places = [context.get_constant(types.intp, first + k) for k in range(n)]
        values = [builder.load(builder.gep(data, [place], inbounds=True)) for place in places]
        return context.make_tuple(builder, signature.return_type, values)

    return intrinsic(lambda context, line: (types.UniTuple(types.float64, n)(line), read))


class Spread(NamedTuple):
    """How B plans on fields (F) with P patches lie in K blocks of ``lanes``: LANES, or all.

    ``run`` and ``patch`` (K * lanes,) are the run in each lane and its patch of the first round.
    Runs come field by field, so that neighboring lanes mostly read the same day. The first lanes
    hold the first patch of each run; when ``side`` patches lie side by side, the others follow
    after them. Spare lanes repeat the last run.
    """

    n_runs: int
    n_fields: int
    side: int
    rounds: int
    run: NDArray[np.int64]
    patch: NDArray[np.int64]
    lanes: int = LANES

    @property
    def n_blocks(self) -> int:
        return self.run.size // self.lanes

    @property
    def _is_plain(self) -> bool:
        """Whether lanes hold the runs in their order, one each, and no others."""
        return self.side == 1 and self.run.size == self.n_runs * self.n_fields

    def by_name(self, arrays: np.ndarray) -> np.ndarray:
        """Blocks or patches (..., names * lanes) as (..., names, lanes): the same memory."""
        return arrays.reshape(*arrays.shape[:-1], -1, self.lanes)

    def quads(self, lanes: int) -> NDArray[np.int64]:
        """Quads of each block (K,) that the first ``lanes`` of all fill."""
        filled = np.full(self.n_blocks, self.lanes // QUAD)
        filled[-1] = -(-(lanes - (self.n_blocks - 1) * self.lanes) // QUAD)
        return filled

    def by_lane(self, values: np.ndarray) -> np.ndarray:
        """Values (B, F, ...) of runs as (K, lanes, ...)."""
        runs = self._runs(values)
        picked = runs if self._is_plain else runs[self.run]
        return picked.reshape(self.n_blocks, self.lanes, *values.shape[2:])

    def patch_by_lane(self, values: np.ndarray) -> np.ndarray:
        """Values (B, F, P, ...) of patches as (K, rounds, lanes, ...)."""
        lanes = self._runs(values)
        if not self._is_plain:
            lanes = lanes[self.run[:, None], self.patch[:, None] + np.arange(self.rounds)]
        shape = (self.n_blocks, self.lanes, self.rounds, *values.shape[3:])
        return lanes.reshape(shape).swapaxes(1, 2)

    def by_run(self, lanes: np.ndarray) -> np.ndarray:
        """Inverse of ``by_lane``: (B, F, ...) from (K, lanes, ...)."""
        n = self.n_runs * self.n_fields
        flat = lanes.reshape(-1, *lanes.shape[2:])[:n]
        return flat.reshape(self.n_fields, self.n_runs, *lanes.shape[2:]).swapaxes(0, 1)

    def patch_by_run(self, lanes: np.ndarray) -> np.ndarray:
        """Inverse of ``patch_by_lane``."""
        flat = lanes.swapaxes(1, 2).reshape(-1, self.rounds, *lanes.shape[3:])
        n = self.n_runs * self.n_fields
        if self._is_plain:
            whole = flat
        else:
            whole = np.zeros((n, self.side * self.rounds, *lanes.shape[3:]))
            used = slice(None, n * self.side)
            rounds = self.patch[used, None] + np.arange(self.rounds)
            whole[self.run[used, None], rounds] = flat[used]
        return whole.reshape(self.n_fields, self.n_runs, *whole.shape[1:]).swapaxes(0, 1)

    @staticmethod
    def _runs(values: np.ndarray) -> np.ndarray:
        return values.swapaxes(0, 1).reshape(-1, *values.shape[2:])


def spread_of(
    n_runs: int, n_fields: int, n_patches: int, one_block: bool = False
) -> Spread:
    """Patches side by side when one block can hold them all, else one after another.

    ``one_block``: all runs in one block, however many, and patches one after another.
    """
    n = n_runs * n_fields
    if one_block:
        return Spread(n_runs, n_fields, 1, n_patches, np.arange(n), np.zeros(n, int), n)
    side = n_patches if n * n_patches <= LANES else 1
    others = side - 1
    left_over = -n * side % LANES
    run = [*range(n), *np.repeat(np.arange(n), others), *[n - 1] * left_over]
    patch = [*[0] * n, *np.tile(np.arange(1, side), n), *[0] * left_over]
    return Spread(
        n_runs, n_fields, side, n_patches // side, np.array(run, int), np.array(patch, int)
    )


@jitable
def lane_of(run: int, field: int, n_runs: int) -> int:
    """Number of the first lane of a plan's field among all blocks."""
    return field * n_runs + run


def put(blocks: FloatArray, name: str, lines: np.ndarray, spread: Spread) -> None:
    """Write the single numbers of records (B, F), before their tables, into a section of the
    blocks.
    """
    first, n = ROW[SECTIONS[name][0]], len(_singles(lines))
    values = spread.by_lane(as_values(lines)[..., :n])
    put_turned(spread.by_name(blocks)[:, first : first + n], values)


def put_turned(out: FloatArray, values: FloatArray) -> None:
    """Write ``values`` (..., n, k) into ``out`` (..., k, n), a part of n at a time: all at once is
    several times slower for a large n, which leaves the processor's nearest memory.
    """
    for i in range(0, values.shape[-2], _TURNED_AT_ONCE):
        some = slice(i, i + _TURNED_AT_ONCE)
        out[..., some] = values[..., some, :].swapaxes(-1, -2)


def get(blocks: FloatArray, name: str, lines: np.ndarray, spread: Spread) -> None:
    """Write a section of the blocks into the single numbers of records (B, F)."""
    by_name = spread.by_name(blocks)
    for row, one in enumerate(_singles(lines), ROW[SECTIONS[name][0]]):
        lines[one] = spread.by_run(by_name[:, row])


def _singles(lines: np.ndarray) -> list[str]:
    """Names of records that are single numbers, which come before tables."""
    return [name for name in lines.dtype.names or () if lines.dtype[name].shape == ()]


def aligned_zeros(shape: tuple[int, ...]) -> FloatArray:
    """Zeros that start on a cache line: values of a block that lie across two are slower."""
    n_bytes = 8 * math.prod(shape)
    raw = np.zeros(n_bytes + CACHE_LINE, np.uint8)
    start = -raw.ctypes.data % CACHE_LINE
    return raw[start : start + n_bytes].view(np.float64).reshape(shape)
