"""Charts of a page, drawn here or by processes side by side."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import parent_process
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from threading import Thread
from typing import NamedTuple

import xarray as xr

from drysward.pages.gallery import Chart, Choice, chart, named

# Fewer panels are drawn sooner than a process has started and received the result.
_WORTH_A_PROCESS = 8


class Request(NamedTuple):
    """A chart to draw: its name, its panels, and what begins the names inside it."""

    picture: str
    panels: list[Choice]
    key: str


class _Here:
    """What this process draws from, set once."""

    result: xr.Dataset
    units: str


def _begin(result: xr.Dataset, units: str) -> None:
    _Here.result, _Here.units = result, units


def _begin_working(result: xr.Dataset, units: str) -> None:
    """Begin as a worker, which ends with the process that started it, however that ends."""
    Thread(target=_end_with, args=(parent_process(),), daemon=True).start()
    _begin(result, units)


def _end_with(other: BaseProcess) -> None:
    other.join()
    os._exit(1)


def _draw(one: Request) -> Chart:
    return chart(_Here.result, named(one.picture), one.panels, _Here.units, one.key)


def charts(
    result: xr.Dataset,
    units: str,
    requests: Sequence[Request],
    processes: BaseContext | None = None,
    workers: int = 1,
) -> list[Chart]:
    """The charts in the order of ``requests``, the same for any number of ``workers``.

    ``processes`` starts the workers; without it, and where no process can start, all is drawn here.
    """
    n_panels = sum(len(one.panels) for one in requests)
    if processes is not None and workers > 1 and n_panels >= _WORTH_A_PROCESS:
        try:
            with ProcessPoolExecutor(workers, processes, _begin_working, (result, units)) as pool:
                return list(pool.map(_draw, requests))
        except (OSError, BrokenProcessPool):
            pass
    _begin(result, units)
    return [_draw(one) for one in requests]
