"""A bar of a sweep, with a remaining time that is measured and not guessed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from drysward.studies.sweep.folder import Manifest


@contextmanager
def sweep_progress(manifest: Manifest, screen: Console) -> Iterator[Callable[[int, int], None]]:
    """What ``run_sweep`` calls after each chunk.

    The remaining time is that of the chunks done in this session; none is told before the first.
    """
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from drysward.screen.sweep import told_time

    columns = (
        TextColumn("Chunks"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[left]}"),
    )
    begun: list[tuple[float, int]] = []
    with Progress(*columns, console=screen, transient=True) as progress:
        task = progress.add_task("", total=manifest.chunks, left="first chunk under way")

        def on_chunk(done: int, chunks: int) -> None:
            if not begun:
                begun.append((monotonic(), done))
            start, before = begun[0]
            left = "first chunk under way"
            if done > before:
                a_chunk = (monotonic() - start) / (done - before)
                left = f"{told_time(a_chunk * (chunks - done))} left"
            progress.update(task, completed=done, left=left)

        yield on_chunk
