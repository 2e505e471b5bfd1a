"""What a process of its own leaves unloaded, until something asks for it after all."""

from __future__ import annotations

import sys

# xarray asks of every array whether it is one of these libraries', and imports them to ask, which
# takes longer than all of a run. They are marked as not there: xarray then knows the answer.
_LEFT = ("dask", "pint")


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
