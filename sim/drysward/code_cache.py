"""Machine code cached in a folder, and checked before use.

numba's own cache checks nothing: a truncated file ends every run, and a flipped bit in machine code
is executed. Here each function has one file for each set of argument types: a digest, and the bytes
it is the digest of. There is no index that could name missing files, and files are renamed into
place, so several processes may use the folder at the same time.
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
                return CompileResult._rebuild(target_context, *pickle.loads(code))
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
def _warn_damaged(folder: Path) -> None:
    """Warn once for each folder, however many of its files are damaged."""
    logging.getLogger(__name__).warning(
        "Compiled code in %s was damaged. It was deleted and is compiled again.", folder
    )
