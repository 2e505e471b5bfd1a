"""How a process of its own loads: nothing that nobody asks for, and few searches for garbage."""

from __future__ import annotations

import gc
import sys

# xarray asks of every array whether it is one of these libraries', and imports them to ask, which
# takes longer than all of a run. They are marked as not there: xarray then knows the answer.
_LEFT = ("dask", "pint")


# Objects made before the collector looks for cycles among them. Loading makes half a million that
# stay; by Python's own 700 it would look at them again and again, for a sixth of a short run.
_BETWEEN_COLLECTIONS = 100_000


def collect_seldom() -> None:
    """Let the collector of garbage run seldom; what is not in a cycle is freed at once as ever."""
    gc.set_threshold(_BETWEEN_COLLECTIONS, *gc.get_threshold()[1:])


def leave_unloaded() -> None:
    """Mark as not there what is only imported to ask about arrays of it.

    For a whole process, before its first array: xarray asks once and remembers.
    """
    for name in _LEFT:
        sys.modules.setdefault(name, None)  # type: ignore[arg-type]


def load_after_all(name: str) -> None:
    """Let ``name`` be imported although it was left; of dask, before the first array."""
    if sys.modules.get(name, sys) is None:
        del sys.modules[name]
