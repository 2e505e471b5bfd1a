"""A lock that keeps a folder to one process at a time."""

from __future__ import annotations

import os
import socket
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from drysward.faults import Fault, FaultyInput
from drysward.files import reason

LOCK = "in-use.lock"


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Lock ``folder`` against other processes that use this function.

    The operating system releases the lock when this process ends, however it ends. A note next to
    the lock names the process that holds it. FaultyInput when another process holds the lock, or
    when the folder cannot be locked.
    """
    lock, note = FileLock(folder / LOCK), folder / f"{LOCK}.txt"
    here = socket.gethostname()
    try:
        with warnings.catch_warnings():
            # On systems without such locks the library uses a file with the process's number.
            warnings.simplefilter("ignore")
            lock.acquire(timeout=0)
    except Timeout:
        raise FaultyInput(_in_use(folder, note, here)) from None
    except (OSError, NotImplementedError) as error:
        what = f"cannot be locked ({reason(error)})"
        allowed = "choose a folder on a disk that supports file locks"
        raise FaultyInput(Fault(str(folder), what, allowed)) from None
    try:
        # A full disk is reported when results are written.
        with suppress(OSError):
            since = f"{datetime.now():%Y-%m-%d %H:%M}"
            note.write_text(f"process {os.getpid()} on {here} since {since}")
        yield
    finally:
        with suppress(OSError):
            note.unlink()
        lock.release()


def _in_use(folder: Path, note: Path, here: str) -> Fault:
    try:
        who = note.read_text()
    except OSError:  # it holds the lock and has not written its note yet
        who = "another process"
    allowed = "wait until it ends, or choose another folder"
    if f" on {here} " not in who:
        # A file used in place of a lock stays behind when its process on another machine dies.
        allowed += f"; if that process no longer runs, delete {folder / LOCK}"
    return Fault(str(folder), f"is in use by {who}", allowed)
