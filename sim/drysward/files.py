"""Files written whole, folders that can be written to, and what a stop leaves of both.

A file is filled under the name ``.NAME-PID.part`` and then put in its place.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from threading import Lock

import platformdirs

from drysward.faults import Fault, FaultyInput


def user_cache() -> Path:
    """Where the user's system keeps what a program can make again."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False))


# Folders that this run writes to and files that it has put there, so that a stop can tell them.
_claimed: set[Path] = set()
_written: list[Path] = []
_PLACING = Lock()


def claim_folder(folder: Path) -> None:
    """Make ``folder`` when it is not there, and clear what dead processes left half done in it.

    FaultyInput unless files can be written in it.
    """
    probe = folder / f".drysward-{os.getpid()}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise _unwritable(folder, error) from None
    _claimed.add(folder)
    clear_leftovers(folder)


def clear_leftovers(folder: Path) -> None:
    """Remove files half written by processes that no longer run."""
    for part in folder.glob(".*.part"):
        maker = part.stem.rpartition("-")[2]
        # Elsewhere than on POSIX a file that somebody writes cannot be removed.
        if os.name != "posix" or not (maker.isdecimal() and _runs(int(maker))):
            with suppress(OSError):
                part.unlink()


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True  # another user's
    return True


def begin_run() -> None:
    """Forget what runs before in this process have claimed and written."""
    _claimed.clear()
    _written.clear()


def written() -> list[Path]:
    """Files that this run has put in the folders that it was given, each whole."""
    return [path for path in _written if path.parent in _claimed]


def leave_off() -> None:
    """Put no more files in place and clear those half done; the process is about to end."""
    _PLACING.acquire()
    for folder in tuple(_claimed):
        for part in folder.glob(f".*-{os.getpid()}.part"):
            with suppress(OSError):
                part.unlink()


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
    """Let ``write`` fill a file beside ``path``, then put it in its place.

    FaultyInput when it cannot be written; what was there before is then left as it was.
    """
    part = path.with_name(f".{path.name}-{os.getpid()}.part")
    try:
        write(part)
        with _PLACING:
            os.replace(part, path)
            _written.append(path)
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        part.unlink(missing_ok=True)


def _unwritable(path: Path, error: OSError) -> FaultyInput:
    why = error.strerror or str(error)
    return FaultyInput(Fault(str(path), f"cannot be written ({why})", "name another place"))
