"""One process at a time in a folder that several might write to."""

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
def alone_in(folder: Path) -> Iterator[None]:
    """Keep other processes that ask the same out of ``folder``.

    The system lets the lock go when this process ends, however it ends. A note beside the lock says
    who has it. FaultyInput when another process has it, or when the folder cannot be locked.
    """
    lock, note = FileLock(folder / LOCK), folder / f"{LOCK}.txt"
    here = socket.gethostname()
    try:
        with warnings.catch_warnings():
            # Where the system knows no such locks a file with the process's number stands in.
            warnings.simplefilter("ignore")
            lock.acquire(timeout=0)
    except Timeout:
        raise FaultyInput(_in_use(folder, note, here)) from None
    except (OSError, NotImplementedError) as error:
        told = f"cannot be locked ({reason(error)})"
        allowed = "name a folder on a disk where files can be locked, so that only one writes there"
        raise FaultyInput(Fault(str(folder), told, allowed)) from None
    try:
        # A full disk is told by whoever writes more than a note.
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
    except OSError:  # It has the lock, and will say so in a moment.
        who = "another process"
    allowed = "wait until it ends, or name another folder"
    if f" on {here} " not in who:
        # Where a file stands in for a lock, nobody takes it away for the dead of another machine.
        allowed += f"; if it is gone, delete {folder / LOCK}"
    return Fault(str(folder), f"is in use by {who}", allowed)
