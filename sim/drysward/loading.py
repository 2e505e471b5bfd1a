"""Fast start of a command: unneeded libraries are not loaded, garbage collection is rare."""

from __future__ import annotations

import atexit
import gc
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from threading import Thread
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

# Libraries that others import when they are installed, only for a check of types: xarray checks
# every array for dask and pint, numba every argument for cffi and its settings for YAML, and scipy
# imports all of numpy, with a Fortran reader that guesses encodings. These imports take longer than
# a run. They are marked as missing, and all of the importing libraries work without them.
_SKIPPED = ("dask", "pint", "cffi", "charset_normalizer", "yaml")


# Whether this process runs a drysward command and no code of others.
_is_command = False


# New objects before the garbage collector searches for cycles. Imports create half a million
# objects that stay; with Python's default of 700 the searches take a sixth of a short run.
_BETWEEN_COLLECTIONS = 100_000


def collect_rarely() -> None:
    """Make the garbage collector run rarely; objects outside cycles are freed at once as before.

    For a process of a drysward command, not for a library.
    """
    global _is_command
    _is_command = True
    gc.set_threshold(_BETWEEN_COLLECTIONS, *gc.get_threshold()[1:])
    # At exit Python searches all objects several times, a tenth of a short run.
    atexit.register(gc.freeze)


def skip_unneeded() -> None:
    """Mark libraries as missing that others import only for a check of types.

    For a process of a drysward command, before its first array: xarray checks once and remembers.
    """
    for name in _SKIPPED:
        sys.modules.setdefault(name, None)  # type: ignore[arg-type]


@contextmanager
def substituted(name: str, module: ModuleType | None) -> Iterator[None]:
    """Use ``module`` as the library ``name`` in this context; None marks it as missing.

    Only in a process of a drysward command, and only while the library is not loaded.
    """
    is_free = _is_command and name not in sys.modules
    if is_free:
        sys.modules[name] = module  # type: ignore[assignment]
    try:
        yield
    finally:
        if is_free and sys.modules.get(name) is module:
            del sys.modules[name]


# Interval of thread switches while a thread imports: with Python's default of 5 ms, every step of a
# run that releases the GIL would wait that long to get it back.
_TURN_S = 0.0002


def load_in_background(*names: str) -> None:
    """Import modules in another thread that are needed later."""

    def load() -> None:
        before = sys.getswitchinterval()
        sys.setswitchinterval(_TURN_S)
        try:
            for name in names:
                # The later import reports the error.
                with suppress(ImportError):
                    import_module(name)
        finally:
            sys.setswitchinterval(before)

    Thread(target=load).start()


def load_plotting() -> None:
    """Import matplotlib without its axes of three dimensions, which no figure has.

    For a process of a drysward command.
    """
    with substituted("mpl_toolkits.mplot3d", None), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # matplotlib takes them for badly installed
        import_module("matplotlib.projections")


def light_processes(module: str) -> BaseContext | None:
    """Context for worker processes that skip the same libraries and have imported ``module``.

    The import starts now. None when this process skips no libraries, or the system has no fork
    server.
    """
    from multiprocessing import forkserver, get_all_start_methods, get_context

    if sys.modules.get(_SKIPPED[0], sys) is not None or "forkserver" not in get_all_start_methods():
        return None
    context = get_context("forkserver")
    context.set_forkserver_preload(["drysward.light", module])
    forkserver.ensure_running()
    return context


def allow_import(name: str) -> None:
    """Allow ``name`` to be imported after all; not dask, which xarray has already gone without."""
    if sys.modules.get(name, sys) is None:
        del sys.modules[name]
