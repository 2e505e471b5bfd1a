"""How a command ends when it is stopped, by Ctrl-C or by the system (SIGTERM).

One line says what is kept and how to go on. The process ends at once, whatever its threads do:
files are written whole and then renamed, so nothing is left half done.
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


def keeps(text: Callable[[], str]) -> None:
    """From now on ``text`` gives the line of a stop: what is kept, and how to go on."""
    global _kept
    _kept = text


def last_words() -> str:
    return f"Stopped: {_kept()}."


def end_when_stopped() -> None:
    """Let a stop end this process at once; call it from the main thread.

    Python hands a signal to the main thread only, between two of its steps; compiling is one step,
    and so is waiting for other threads. Here a thread that does nothing else gets the signal.
    """
    from socket import socketpair

    receiver, sender = socketpair()
    sender.setblocking(False)
    signal.set_wakeup_fd(sender.detach())
    for number in _SIGNALS:
        # A command in the background of a shell ignores Ctrl-C and keeps doing so.
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, lambda *_: None)
    Thread(target=_end, args=(receiver,), daemon=True).start()


def is_over() -> None:
    """The command has ended: a stop that comes now changes nothing."""
    global _is_over
    _is_over = True


def _end(receiver: socket) -> None:
    number = None
    while number not in _SIGNALS or _is_over:
        (number,) = receiver.recv(1)
    try:
        stop_writing()
        _end_children()
        line = last_words()
        _restore_terminal()
        # Straight to the file: another thread may hold the buffer.
        os.write(2, f"{line}\n".encode())
    finally:
        # Last: a thread whose file vanishes would print an error and change the exit status.
        remove_parts()
        os._exit(STOPPED)


def _end_children() -> None:
    """End the processes that work for this one, and free what they share."""
    if "multiprocessing.util" in sys.modules:
        from multiprocessing import active_children, util

        for child in active_children():
            child.kill()
        util._run_finalizers(0)  # type: ignore[attr-defined]


def _restore_terminal() -> None:
    """Clear the line of a progress bar and show the cursor again."""
    if "rich.live" in sys.modules:
        from rich.console import Console
        from rich.control import Control
        from rich.segment import ControlType

        screen = Console(stderr=True)
        with suppress(OSError):
            screen.show_cursor(True)
            screen.control(Control(ControlType.CARRIAGE_RETURN, (ControlType.ERASE_IN_LINE, 2)))
