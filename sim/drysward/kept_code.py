"""Machine code kept in a folder, and checked before it is used.

numba's own cache checks nothing: a file that was cut off ends every run, a bit that has turned in
machine code is run. Here a function has one file for each set of types that it is compiled for: a
digest, and what it is the digest of. There is no index that could name what is missing, and a file
is put in its place whole, so processes may read and write the folder at the same time.
"""

from __future__ import annotations

import hashlib
import inspect
import logging
import pickle
import sys
from collections.abc import Callable
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
_DIGEST_BYTES = hashlib.sha256().digest_size


class KeptCode(_Cache):
    """The compiled versions of ``function`` in ``folder``, in the place of numba's own cache.

    A folder that cannot be made, read or written keeps nothing, and the function is compiled in
    each process.
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
            # What another build of a library has left may be whole and still not fit.
            with suppress(Exception):
                return CompileResult._rebuild(target_context, *pickle.loads(code))
        with suppress(OSError):
            path.unlink()
        _tell_damaged(self._folder)
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        if data.library.has_dynamic_globals:  # addresses that mean nothing to another process
            return
        code = dumps(data._reduce())
        path = self._path(sig, data.codegen)

        def write(part: Path) -> None:
            part.write_bytes(hashlib.sha256(code).digest() + code)

        with suppress(OSError, FaultyInput):
            self._folder.mkdir(parents=True, exist_ok=True)
            clear_leftovers(self._folder)
            write_whole({path: write})

    def _path(self, sig: Any, codegen: Any) -> Path:
        """By all that machine code depends on besides the sources that ``folder`` stands for."""
        needs = sig, codegen.magic_tuple(), sys.implementation.cache_tag, self._source
        key = hashlib.sha256(repr(needs).encode()).hexdigest()[:16]
        return self._folder / f"{self._name}-{key}{ENDING}"

    def enable(self) -> None:
        """Kept code is always used."""

    def disable(self) -> None:
        """Kept code is always used."""

    def flush(self) -> None:
        """Nothing is held back."""


@cache
def _tell_damaged(folder: Path) -> None:
    """Once for each folder, however many of its files are damaged."""
    logging.getLogger(__name__).warning(
        "The compiled code kept in %s was damaged; it was discarded and is compiled again.", folder
    )
