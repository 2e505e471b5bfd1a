"""Kernels from their source: for a card, and for the processor, where tests compare them."""

from __future__ import annotations

import linecache
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from threading import Lock
from typing import Any

import numba

from drysward.card.source import Source

_BUILDING, _COMPILING = Lock(), Lock()


def _module(source: Source, ending: str, names: dict[str, Any]) -> dict[str, Any]:
    """The functions of a source, and ``launch`` with ``ending`` as its body."""
    arguments = ", ".join(source.arguments)
    call = f"{source.name}(thread, {arguments})"
    text = f"{source.text}\n\ndef launch(n_threads, {arguments}):\n{ending.format(call=call)}\n"
    file = f"<{source.name} of a card>"
    linecache.cache[file] = (len(text), None, text.splitlines(keepends=True), file)
    names = {**names, "__name__": __name__}
    exec(compile(text, file, "exec"), names)
    return names


TURN = Source(
    "turn",
    "@kernel\n"
    "def turn(thread, rows, given, turned):\n"
    "    for row in range(rows):\n"
    "        turned[thread, row] = given[row, thread]\n",
    ("rows", "given", "turned"),
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
    "        largest = max(largest, value)\n"
    "    totals[run, name] = total\n"
    "    most[run, name] = largest\n",
    ("names", "years", "values", "totals", "most"),
)
"""Totals and largest values (n, names) of values (n, years, names), one of them a thread."""
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
    launch: Callable[..., None] = mark(
        _module(source, ending, {"function": mark, "kernel": mark})["launch"]
    )
    return launch


def _as_it_is(function: Callable[..., Any]) -> Callable[..., Any]:
    return function


def on_card(source: Source, most_registers: int | None = None) -> Any:
    """``kernel[blocks, threads](n, *arguments)`` on a card, or in numba's simulator of one."""
    with _BUILDING:
        return _on_card(source, most_registers)


@cache
def _on_card(source: Source, most_registers: int | None) -> Any:
    from numba import cuda

    inlined = {} if is_simulated() else {"forceinline": True}
    part = cuda.jit(device=True, **inlined)
    ending = "    thread = cuda.grid(1)\n    if thread < n_threads:\n        {call}"
    names = {"function": part, "kernel": part, "cuda": cuda}
    options = {} if most_registers is None else {"max_registers": most_registers}
    return cuda.jit(**options)(_module(source, ending, names)["launch"])


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
