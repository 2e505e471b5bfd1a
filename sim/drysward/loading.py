"""How a process of its own loads: nothing that nobody asks for, and few searches for garbage."""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from threading import Thread
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

# Libraries that others import if they are there, only to ask about them: xarray asks of every array
# whether it is dask's or pint's, numba of every argument whether it is cffi's and of its settings
# whether they are YAML, and scipy brings in all of numpy, with a reader of Fortran that guesses
# encodings. That takes longer than a run. They are marked as not there, which all of these know how
# to do without.
_LEFT = ("dask", "pint", "cffi", "charset_normalizer", "yaml")


# Whether nobody else's code runs in this process.
_own = False


# Objects made before the collector looks for cycles among them. Loading makes half a million that
# stay; by Python's own 700 it would look at them again and again, for a sixth of a short run.
_BETWEEN_COLLECTIONS = 100_000


def collect_seldom() -> None:
    """Let the collector of garbage run seldom; what is not in a cycle is freed at once as ever.

    For a whole process.
    """
    global _own
    _own = True
    gc.set_threshold(_BETWEEN_COLLECTIONS, *gc.get_threshold()[1:])
    # Python ends with several searches of all that is left, a tenth of a short run.
    atexit.register(gc.freeze)


def leave_unloaded() -> None:
    """Mark as not there what is only imported to ask about it.

    For a whole process, before its first array: xarray asks once and remembers.
    """
    for name in _LEFT:
        sys.modules.setdefault(name, None)  # type: ignore[arg-type]


@contextmanager
def standing_in(name: str, module: ModuleType | None) -> Iterator[None]:
    """``module`` passes for the library ``name`` meanwhile; None passes for its absence.

    Only in a process of its own, and only where the library is not loaded yet.
    """
    stands = _own and name not in sys.modules
    if stands:
        sys.modules[name] = module  # type: ignore[assignment]
    try:
        yield
    finally:
        if stands and sys.modules.get(name) is module:
            del sys.modules[name]


# How often threads take turns while one of them loads: by Python's own 5 ms, each step of a run
# that lets others go meanwhile would wait as long for its turn.
_TURN_S = 0.0002


def load_meanwhile(*names: str) -> None:
    """Begin to load modules that are needed later, while this thread goes on."""

    def load() -> None:
        before = sys.getswitchinterval()
        sys.setswitchinterval(_TURN_S)
        try:
            for name in names:
                # Whoever needs the module is told why there is none.
                with suppress(ImportError):
                    import_module(name)
        finally:
            sys.setswitchinterval(before)

    Thread(target=load).start()


def light_processes(module: str) -> BaseContext | None:
    """What makes processes that have left unloaded what this one has, and have loaded ``module``.

    They begin to load it now. None where this is no process of its own that left something, or
    the system has none such.
    """
    from multiprocessing import forkserver, get_all_start_methods, get_context

    if sys.modules.get(_LEFT[0], sys) is not None or "forkserver" not in get_all_start_methods():
        return None
    context = get_context("forkserver")
    context.set_forkserver_preload(["drysward.light", module])
    forkserver.ensure_running()
    return context


def load_after_all(name: str) -> None:
    """Let ``name`` be imported although it was left; not dask, which xarray has done without."""
    if sys.modules.get(name, sys) is None:
        del sys.modules[name]
