"""How far a long run is: bars at a terminal, a line every ten seconds where stderr is no terminal.

What is over within two seconds shows nothing. Commands show it always, Python calls on request.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Event, Thread
from time import monotonic
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress

PATIENCE_S = 2.0
"""Seconds before bars appear."""
LINE_EVERY_S = 10.0
_FRAME_S = 0.1

Advance = Callable[[float], None]
"""Takes the share of the work that is done."""
Report = bool | Advance | None
"""How a call in Python reports its progress: not at all (None, False), on stderr (True), or by
calling a function with the share of the work that is done."""


def time_text(seconds: float) -> str:
    """``40 s``, ``12 min``, ``3.5 h``, ``2.1 days``."""
    for size, unit, decimals in ((86_400.0, "days", 1), (3600.0, "h", 1), (60.0, "min", 0)):
        if seconds >= 1.5 * size:
            return f"{seconds / size:.{decimals}f} {unit}"
    return f"{max(round(seconds), 1)} s"


@dataclass
class _Work:
    """A piece of work: its name, the share done, the share done when it was first heard of, and
    when more was done last.
    """

    name: str
    begun: float = field(default_factory=monotonic)
    first: float | None = None
    done: float = 0.0
    advanced: float = 0.0

    def advance(self, done: float) -> None:
        if self.first is None:
            # What an earlier run has done says nothing of how fast this one is.
            self.first, self.begun = (done, monotonic()) if done < 1.0 else (0.0, self.begun)
        if done > self.done:
            self.advanced = monotonic()
        self.done = done

    @property
    def left(self) -> str:
        """``about 40 s left``, "" before it can be said, when nothing is left, and when that time
        is over: it counts down until more is done.
        """
        gained = self.done - (self.first or 0.0)
        if gained <= 0.0 or self.done >= 1.0:
            return ""
        whole = (self.advanced - self.begun) / gained * (1.0 - self.done)
        left = whole - (monotonic() - self.advanced)
        return f"about {time_text(left)} left" if left > 0.0 else ""


@contextmanager
def progress() -> Iterator[Callable[[str], Advance]]:
    """Call what it yields with the name of a piece of work to get what takes the share done."""
    works: list[_Work] = []
    ended = Event()

    def begin(name: str) -> Advance:
        works.append(_Work(name))
        return works[-1].advance

    watch = _bars if sys.stderr.isatty() else _say_lines
    watcher = Thread(target=watch, args=(works, ended), daemon=True)
    watcher.start()
    try:
        yield begin
    finally:
        ended.set()
        watcher.join()


@contextmanager
def reporting(report: Report, name: str) -> Iterator[Advance]:
    """What takes the share done of the work ``name``, and reports it as ``report`` says."""
    if callable(report):
        yield report
    elif report:
        with progress() as begin:
            yield begin(name)
    else:
        yield lambda done: None


def by_step(begin: Callable[[str], Advance]) -> Callable[[str, float], None]:
    """What takes a step of the work and the share of it that is done; each step has its bar."""
    steps: dict[str, Advance] = {}

    def report(step: str, done: float) -> None:
        if step not in steps:
            steps[step] = begin(f"Trying {step}")
        steps[step](done)

    return report


def _say_lines(works: list[_Work], ended: Event) -> None:
    begun = monotonic()
    while not ended.wait(LINE_EVERY_S):
        for work in works:
            if work.done < 1.0:
                parts = [f"{work.name}: {100.0 * work.done:.0f}% done"]
                parts += [f"{monotonic() - begun:.0f} s so far", *filter(None, [work.left])]
                print(", ".join(parts), file=sys.stderr, flush=True)


def _bars(works: list[_Work], ended: Event) -> None:
    if ended.wait(PATIENCE_S):
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (
        TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f}%"),
        TextColumn("{task.fields[left]}"),
    )  # fmt: skip
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:
        while not ended.wait(_FRAME_S):
            _update(bars, works)


def _update(bars: Progress, works: list[_Work]) -> None:
    for work in works[len(bars.tasks) :]:
        bars.add_task(work.name, total=1.0, left="")
    for task, work in zip(bars.tasks, works, strict=False):
        bars.update(task.id, completed=work.done, left=work.left)
