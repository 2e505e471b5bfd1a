"""Kernels from their source: for a card, and for the processor, where tests compare them."""

from __future__ import annotations

import ast
import linecache
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from threading import Lock
from typing import Any

import numba
import numpy as np

from drysward.card.native import natives
from drysward.card.source import TILE, Source
from drysward.compiled import parsed

_BUILDING, _COMPILING = Lock(), Lock()


def _launch(source: Source, text: str, ending: str, names: dict[str, Any]) -> Callable[..., Any]:
    """``launch`` with ``ending`` as its body, of a source as ``text``."""
    arguments = ", ".join(source.arguments)
    near = ", near, lane" if source.n_near else ""
    call = f"{source.name}(thread, {arguments}{near})"
    text = f"{text}\n\ndef launch(n_threads, {arguments}):\n{ending.format(call=call)}\n"
    file = f"<{source.name} of a card>"
    linecache.cache[file] = (len(text), None, text.splitlines(keepends=True), file)
    names = {**names, "__name__": __name__, "np": np, "unsigned": np.uint64}
    exec(compile(text, file, "exec"), names)
    launch: Callable[..., Any] = names["launch"]
    return launch


TRANSPOSE = Source(
    "transpose",
    "@kernel\n"
    "def transpose(thread, rows, given, transposed):\n"
    "    for row in range(rows):\n"
    "        transposed[thread, row] = given[row, thread]\n",
    ("rows", "given", "transposed"),
)
"""Writes an array (rows, n) as one (n, rows)."""
FILL = Source(
    "fill",
    "@kernel\ndef fill(thread, values):\n    values[thread] = 0.0\n",
    ("values",),
)
"""Zeros (n,)."""

SUM = Source(
    "sum_years",
    "@kernel\n"
    "def sum_years(thread, names, years, values, totals, most):\n"
    "    run, name = thread // names, thread % names\n"
    "    total, largest = 0.0, 0.0\n"
    "    for y in range(years):\n"
    "        value = values[run, y, name]\n"
    "        total += value\n"
    "        if value > largest or value != value:\n"
    "            largest = value\n"
    "    totals[run, name] = total\n"
    "    most[run, name] = largest\n",
    ("names", "years", "values", "totals", "most"),
)
"""Totals and largest values (n, names) of values (n, years, names), one of them a thread; NaN where
a value is, so that an account with one does not pass for closed.
"""
PICK = Source(
    "pick_years",
    "@kernel\n"
    "def pick_years(thread, years, places, values, picked):\n"
    "    run, y = thread // years, thread % years\n"
    "    for k in range(places.shape[0]):\n"
    "        picked[k, run, y] = values[run, y, places[k]]\n",
    ("years", "places", "values", "picked"),
)
"""Some names (k, n, years) of values (n, years, names), a run and year a thread."""


def is_simulated() -> bool:
    """Whether numba runs kernels in its simulator of a card."""
    settings: Any = numba.config
    return bool(settings.ENABLE_CUDASIM)


@cache
def on_processor(source: Source, compiled: bool = True) -> Callable[..., None]:
    """``kernel(n, *arguments)`` on the processor, one run after the other."""
    mark: Any = numba.njit(error_model="numpy", nogil=True) if compiled else _as_it_is
    ending = "    for thread in range(n_threads):\n        {call}"
    if source.n_near:
        # What is near on a card is anything at first.
        ending = f"    near, lane = np.full(({source.n_near}, 1), np.nan), 0\n{ending}"
    names = {"function": mark, "kernel": mark}
    launch: Callable[..., None] = mark(_launch(source, IDLE + source.text, ending, names))
    return launch


IDLE = """@function
def new_day():
    pass


"""
"""What a card does for speed alone, where there is none."""


def _as_it_is(function: Callable[..., Any]) -> Callable[..., Any]:
    return function


def on_card(source: Source) -> Any:
    """``kernel[blocks, threads](n, *arguments)`` on a card, or in numba's simulator of one; blocks
    have ``TILE`` threads where the source keeps numbers near.
    """
    with _BUILDING:
        return _on_card(source)


@cache
def _on_card(source: Source) -> Any:
    from numba import cuda

    inlined = {} if is_simulated() else {"forceinline": True}
    part = cuda.jit(device=True, **inlined)
    ending = "    thread = cuda.grid(1)\n    if thread < n_threads:\n        {call}"
    if source.n_near:
        near = f"    near = cuda.shared.array(({source.n_near}, {TILE}), np.float64)\n"
        ending = f"{near}    lane = cuda.threadIdx.x\n{ending}"
    names = {"function": part, "kernel": part}
    text = IDLE + source.text
    if not is_simulated():
        text = _with_natives(source.text)
        names |= natives()
    names["cuda"] = cuda
    return cuda.jit(_launch(source, text, ending, names))


class _Natives(ast.NodeTransformer):
    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        self.generic_visit(node)
        match node.op, node.right:
            case ast.Div(), ast.Constant(float(known)):
                name, more = "quotient_of", [ast.Constant(1.0 / known)]
            case ast.Div(), _:
                name, more = "quotient", []
            case ast.Pow(), right if not isinstance(right, ast.Constant):
                name, more = "power", []
            case _:
                return node
        return ast.Call(ast.Name(name, ast.Load()), [node.left, node.right, *more], [])


def _with_natives(text: str) -> str:
    return ast.unparse(ast.fix_missing_locations(_Natives().visit(ast.Module(parsed(text), []))))


@contextmanager
def uncontracted() -> Iterator[None]:
    """Compile for a card without contracting multiply and add into one rounding.

    numba hands no such choice through, so the option is set where its compiler takes options.
    """
    from numba.cuda.cudadrv import nvvm

    module: Any = nvvm
    with _COMPILING:
        whole = module.CompilationUnit
        module.CompilationUnit = lambda options, *more: whole({**options, "fma": False}, *more)
        try:
            yield
        finally:
            module.CompilationUnit = whole
