"""Machine code cached in a folder, and checked before use.

numba's own cache checks nothing: a truncated file ends every run, and a flipped bit in machine code
is executed. Here each function has one file for each set of argument types: a digest, and the bytes
it is the digest of. There is no index that could name missing files, and files are renamed into
place, so several processes may use the folder at the same time.

Each version of the sources has its own folder. The time of change of a folder is that of its last
use, to a day; folders that no process has used for ``UNUSED_DAYS`` are removed.
"""

from __future__ import annotations

import hashlib
import inspect
import logging
import os
import pickle
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from numba.core.caching import _Cache
from numba.core.compiler import CompileResult
from numba.core.serialize import dumps

from drysward.faults import FaultyInput
from drysward.files import clear_leftovers, write_whole

ENDING = ".code"
UNUSED_DAYS = 90.0  # own estimate: longer than a winter without a question
_DAY_S = 86_400.0
_FOLDER = re.compile(r"[0-9a-f]{16}")
_REMOVED = ".removed"  # end of the name of a folder that is being removed
_DIGEST_BYTES = hashlib.sha256().digest_size


class CodeCache(_Cache):
    """Cache of the compiled versions of ``function`` in ``folder``, in place of numba's own.

    Without a folder that can be created, read and written, the function is compiled in each
    process.
    """

    def __init__(self, function: Callable[..., Any], folder: Path) -> None:
        self._name = f"{function.__module__}.{function.__qualname__}"
        self._source = hashlib.sha256(Path(inspect.getfile(function)).read_bytes()).hexdigest()
        self._folder = folder

    @property
    def cache_path(self) -> str:
        return str(self._folder)

    def load_overload(self, sig: Any, target_context: Any) -> CompileResult | None:
        """The version for the types ``sig``; None where it must be compiled."""
        target_context.refresh()
        path = self._path(sig, target_context.codegen())
        try:
            whole = path.read_bytes()
        except OSError:
            return None
        digest, code = whole[:_DIGEST_BYTES], whole[_DIGEST_BYTES:]
        if hashlib.sha256(code).digest() == digest:
            # A file from another build of a library may be intact and still not fit.
            with suppress(Exception):
                found = CompileResult._rebuild(target_context, *pickle.loads(code))
                _note_use(self._folder)
                return found
        with suppress(OSError):
            path.unlink()
        _warn_damaged(self._folder)
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        if data.library.has_dynamic_globals:  # holds addresses of this process
            return
        code = dumps(data._reduce())
        path = self._path(sig, data.codegen)

        def write(part: Path) -> None:
            part.write_bytes(hashlib.sha256(code).digest() + code)

        with suppress(OSError, FaultyInput):
            self._folder.mkdir(parents=True, exist_ok=True)
            _note_use(self._folder)
            clear_leftovers(self._folder)
            write_whole({path: write})

    def _path(self, sig: Any, codegen: Any) -> Path:
        """Path by everything that the machine code depends on besides the sources, which name the
        folder.
        """
        needs = sig, codegen.magic_tuple(), sys.implementation.cache_tag, self._source
        key = hashlib.sha256(repr(needs).encode()).hexdigest()[:16]
        return self._folder / f"{self._name}-{key}{ENDING}"

    def enable(self) -> None:
        """The cache is always on."""

    def disable(self) -> None:
        """The cache is always on."""

    def flush(self) -> None:
        """Nothing is buffered."""


@cache
def _note_use(folder: Path) -> None:
    """Mark ``folder`` as used now and remove those beside it that are not; once in a process."""
    with suppress(OSError, FaultyInput):
        os.utime(folder)
        if any(_unused(folder.parent)):
            _clear_unused(folder.parent)


def _unused(parent: Path) -> Iterator[Path]:
    """Folders of machine code in ``parent`` that no process has used for long, or half removed."""
    since = time.time() - UNUSED_DAYS * _DAY_S
    for path in parent.iterdir():
        name = path.name.removesuffix(_REMOVED)
        if _FOLDER.fullmatch(name) and (name != path.name or path.stat().st_mtime < since):
            yield path


def _clear_unused(parent: Path) -> None:
    """Remove unused folders; FaultyInput when another process does.

    A process that begins to use one meanwhile compiles anew: its files are read whole, or not at
    all.
    """
    from drysward.locks import locked

    with locked(parent):
        for path in list(_unused(parent)):
            removed = parent / f"{path.name.removesuffix(_REMOVED)}{_REMOVED}"
            with suppress(OSError):
                # Out of the way at once, since no process looks there.
                path.rename(removed)
            shutil.rmtree(removed, ignore_errors=True)


@cache
def _warn_damaged(folder: Path) -> None:
    """Warn once for each folder, however many of its files are damaged."""
    logging.getLogger(__name__).warning(
        "Compiled code in %s was damaged. It was deleted and is compiled again.", folder
    )
