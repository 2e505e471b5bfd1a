"""Files written whole, and folders that can be written to."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import platformdirs

from drysward.faults import Fault, FaultyInput


def user_cache() -> Path:
    """Where the user's system keeps what a program can make again."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False))


def claim_folder(folder: Path) -> None:
    """Make ``folder`` when it is not there; FaultyInput unless files can be written in it."""
    probe = folder / f".drysward-{os.getpid()}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise _unwritable(folder, error) from None


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let ``write`` fill a file beside ``path``, then put it in its place.

    FaultyInput when it cannot be written; what was there before is then left as it was.
    """
    part = path.with_name(f".{path.name}-{os.getpid()}.part")
    try:
        write(part)
        os.replace(part, path)
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        part.unlink(missing_ok=True)


def _unwritable(path: Path, error: OSError) -> FaultyInput:
    why = error.strerror or str(error)
    return FaultyInput(Fault(str(path), f"cannot be written ({why})", "name another place"))
