"""How a process of its own loads: nothing that nobody asks for, and few searches for garbage."""

from __future__ import annotations

import gc
import sys

# Libraries that others import if they are there, only to ask about them: xarray asks of every array
# whether it is dask's or pint's, numba of every argument whether it is cffi's, and scipy brings in
# all of numpy, with a reader of Fortran that guesses encodings. That takes longer than a run. They
# are marked as not there, which all of these know how to do without.
_LEFT = ("dask", "pint", "cffi", "charset_normalizer")


# Objects made before the collector looks for cycles among them. Loading makes half a million that
# stay; by Python's own 700 it would look at them again and again, for a sixth of a short run.
_BETWEEN_COLLECTIONS = 100_000


def collect_seldom() -> None:
    """Let the collector of garbage run seldom; what is not in a cycle is freed at once as ever."""
    gc.set_threshold(_BETWEEN_COLLECTIONS, *gc.get_threshold()[1:])


def leave_unloaded() -> None:
    """Mark as not there what is only imported to ask about it.

    For a whole process, before its first array: xarray asks once and remembers.
    """
    for name in _LEFT:
        sys.modules.setdefault(name, None)  # type: ignore[arg-type]


def load_after_all(name: str) -> None:
    """Let ``name`` be imported although it was left; not dask, which xarray has done without."""
    if sys.modules.get(name, sys) is None:
        del sys.modules[name]
