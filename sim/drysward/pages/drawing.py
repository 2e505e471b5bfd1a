"""Panels of a page, drawn here or by processes side by side."""

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

from drysward.pages.gallery import Choice, named, panel_svg

# Fewer panels are drawn sooner than a process has been started and told the result.
_WORTH_A_PROCESS = 8


class Wanted(NamedTuple):
    """A panel to draw: the name of its figure, its choice, and what begins the names inside it."""

    picture: str
    choice: Choice
    key: str


class _Here:
    """What a process draws from, told once."""

    result: xr.Dataset
    units: str


def _begin(result: xr.Dataset, units: str) -> None:
    _Here.result, _Here.units = result, units


def _begin_working(result: xr.Dataset, units: str) -> None:
    """Begin as a process that works for another, and ends with it however that ends."""
    Thread(target=_end_with, args=(parent_process(),), daemon=True).start()
    _begin(result, units)


def _end_with(other: BaseProcess) -> None:
    other.join()
    os._exit(1)


def _draw(one: Wanted) -> str:
    return panel_svg(_Here.result, named(one.picture), one.choice, _Here.units, one.key)


def panel_svgs(
    result: xr.Dataset,
    units: str,
    wanted: Sequence[Wanted],
    processes: BaseContext | None = None,
    workers: int = 1,
) -> list[str]:
    """The panels as SVG, in the order of ``wanted``, which no number of ``workers`` changes.

    ``processes`` makes the workers; without it, and where no process can be started, all is drawn
    here.
    """
    if processes is not None and workers > 1 and len(wanted) >= _WORTH_A_PROCESS:
        try:
            with ProcessPoolExecutor(workers, processes, _begin_working, (result, units)) as pool:
                return list(pool.map(_draw, wanted))
        except (OSError, BrokenProcessPool):
            pass
    _begin(result, units)
    return [_draw(one) for one in wanted]
