"""How a command ends that is stopped: by Ctrl-C, or by a machine that ends it (SIGTERM).

It says in one line what is kept and how to go on. A process of its own ends at once, whatever its
threads are at: files are put in their places whole, so nothing needs to be wound up.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from threading import Thread
from typing import TYPE_CHECKING

from drysward.files import begin_run, remove_parts, stop_writing, written

if TYPE_CHECKING:
    from socket import socket

STOPPED = 130
"""Exit status of a command that was stopped."""
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


def _what_is_written() -> str:
    files = written()
    if not files:
        return "nothing was written; run the same command to start over"
    names, verb = ", ".join(path.name for path in files), "is" if len(files) == 1 else "are"
    return (
        f"{names} in {files[0].parent} {verb} new and complete, other files there are unchanged; "
        "run the same command to write them all"
    )


_kept = _what_is_written
_is_over = False


def begin() -> None:
    """A command begins."""
    begin_run()
    keeps(_what_is_written)


def keeps(told: Callable[[], str]) -> None:
    """From now on ``told`` gives the words of a stop: what is kept, and how to go on."""
    global _kept
    _kept = told


def last_words() -> str:
    return f"Stopped: {_kept()}."


def end_when_stopped() -> None:
    """Let a stop end this process at once; for a whole process, from its main thread.

    Python tells a stop to the main thread only, when that is between two of its steps; compiling
    is one step, and so is waiting for other threads. Here a thread that does nothing else is told.
    """
    from socket import socketpair

    heard, hears = socketpair()
    hears.setblocking(False)
    signal.set_wakeup_fd(hears.detach())
    for number in _SIGNALS:
        # What a shell runs in the background, say, is not to hear Ctrl-C.
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, lambda *_: None)
    Thread(target=_end, args=(heard,), daemon=True).start()


def is_over() -> None:
    """The command has ended by itself: a stop that comes now changes nothing."""
    global _is_over
    _is_over = True


def _end(heard: socket) -> None:
    number = None
    while number not in _SIGNALS or _is_over:
        (number,) = heard.recv(1)
    try:
        stop_writing()
        _end_children()
        told = last_words()
        _restore_terminal()
        # Past the buffers, which a thread that is going to end may hold.
        os.write(2, f"{told}\n".encode())
    finally:
        # Last: a thread that loses what it writes to would say so, and end with another status.
        remove_parts()
        os._exit(STOPPED)


def _end_children() -> None:
    """End processes that work for this one, and give back what was shared with them."""
    if "multiprocessing.util" in sys.modules:
        from multiprocessing import active_children, util

        for child in active_children():
            child.kill()
        util._run_finalizers(0)  # type: ignore[attr-defined]


def _restore_terminal() -> None:
    """Clear the line of a bar and show the cursor that it has hidden."""
    if "rich.live" in sys.modules:
        from rich.console import Console
        from rich.control import Control
        from rich.segment import ControlType

        screen = Console(stderr=True)
        with suppress(OSError):
            screen.show_cursor(True)
            screen.control(Control(ControlType.CARRIAGE_RETURN, (ControlType.ERASE_IN_LINE, 2)))
