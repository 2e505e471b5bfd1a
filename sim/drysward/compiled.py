"""Compiled code, the day loop's above all, and where its machine code is kept.

numba's own cache looks only at the file of the outer function, so an edit to a process file
would run old code. The cache folder is therefore named by a digest of every source that is
compiled.
"""

from __future__ import annotations

import hashlib
import importlib.resources
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba
import platformdirs

# Packages whose functions are compiled: of ``site`` the passes over weather that make its days.
_COMPILED = ("drysward.day", "drysward.physics", "drysward.site")


def sources_digest() -> str:
    """Digest of every source file with compiled code."""
    digest = hashlib.sha256(numba.__version__.encode())
    for package in _COMPILED:
        for item in sorted(importlib.resources.files(package).iterdir(), key=lambda f: f.name):
            if item.name.endswith(".py"):
                digest.update(item.name.encode())
                digest.update(item.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Folder of the compiled code that belongs to these very sources."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False)) / sources_digest()


def is_warm() -> bool:
    """Whether compiled code for these sources has been kept before."""
    folder = cache_folder()
    return folder.is_dir() and any(folder.rglob("*.nbc"))


@cache
def compiled_run_site() -> Callable[..., Any]:
    """``run_site`` compiled; it releases the GIL so that threads run plans side by side."""
    from drysward.day.season import run_site

    # Nothing is allocated in it: without reference counts every view of an array is free.
    return compiled(run_site, counted=False)


@cache
def compiled(function: Callable[..., Any], counted: bool = True) -> Callable[..., Any]:
    """A function of the numba subset compiled, without the GIL; kept for the next program.

    ``counted``: its arrays have reference counts, which what allocates needs.
    """
    config: Any = numba.config  # its settings are made at run time
    before = config.CACHE_DIR
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        config.CACHE_DIR = str(folder)
        keep = True
    except OSError:
        keep = False  # a read-only home: compile each time
    try:
        # Options that numba leaves out of its own signature. Only Python calls these functions.
        options: dict[str, Any] = {"_nrt": counted, "no_cfunc_wrapper": True}
        return numba.njit(
            nogil=True, cache=keep, error_model="numpy", forceinline=True, **options
        )(function)
    finally:
        config.CACHE_DIR = before
