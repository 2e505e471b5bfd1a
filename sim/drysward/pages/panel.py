"""A panel: what a drawing function gives besides its marks, and how panels make a figure."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from drysward.pages import style


@dataclass(frozen=True)
class Readings:
    """The values of a panel, as a page shows them under the pointer: a small table.

    Parameters
    ----------
    rows : names of the places where values can be read.
    columns : names of the series.
    cells : values as text, for each column those of all rows.
    x, y : the places in data units; None for the axis that does not count.
    """

    rows: Sequence[str]
    columns: Sequence[str]
    cells: Sequence[Sequence[str]]
    x: Sequence[float] | np.ndarray | None = None
    y: Sequence[float] | np.ndarray | None = None

    def on_page(self, axes: Axes) -> str:
        """JSON with the places in points from the upper left of the SVG."""
        height = axes.figure.bbox.height
        n = len(self.rows)
        x, y = (np.zeros(n) if one is None else np.asarray(one, float) for one in (self.x, self.y))
        points = axes.transData.transform(np.column_stack([x, y]))
        box = axes.get_window_extent()
        content = {
            "box": [round(v, 1) for v in (box.x0, height - box.y1, box.width, box.height)],
            "x": None if self.x is None else points[:, 0].round(1).tolist(),
            "y": None if self.y is None else (height - points[:, 1]).round(1).tolist(),
            "rows": list(self.rows),
            "columns": list(self.columns),
            "cells": [list(column) for column in self.cells],
        }
        return json.dumps(content, ensure_ascii=False, separators=(",", ":"))


@dataclass(frozen=True)
class Panel:
    """What was drawn: the series for the legend, and the values."""

    key: style.Key
    readings: Readings


class Drawing:
    """A drawing function as a notebook calls it.

    ``drawing(result, *choice, axes=None, units="us")`` draws on ``axes``, or on those of a new
    figure, with a legend, and returns the axes. ``drawing.draw`` draws alone and returns the Panel.
    """

    def __init__(self, draw: Callable[..., Panel]) -> None:
        self.draw = draw
        functools.update_wrapper(self, draw)

    def __call__(
        self,
        result: xr.Dataset,
        *choice: str,
        axes: Axes | None = None,
        units: str = "us",
        **named: str,
    ) -> Axes:
        with style.look():
            if axes is None:
                import matplotlib.pyplot as plt

                axes = plt.figure(figsize=style.PANEL_IN, layout="constrained").add_subplot()
            panel = self.draw(result, *choice, axes=axes, units=units, **named)
            style.legend(axes, panel.key)
        return axes


def one_key(panels: Iterable[Panel]) -> style.Key:
    """The series of all panels, each once."""
    key: dict[str, style.Handle] = {}
    for panel in panels:
        for label, handle in panel.key:
            key.setdefault(label, handle)
    return list(key.items())


def share_limits(figures: Sequence[Sequence[Axes]]) -> None:
    """Give all panels the same limits; a panel has one axes, or two that overlie each other."""
    for alike in zip(*figures, strict=True):
        for name in ("xlim", "ylim"):
            limits = np.array([getattr(axes, f"get_{name}")() for axes in alike])
            falls = limits[0, 0] > limits[0, 1]
            low, high = limits.min(), limits.max()
            for axes in alike:
                axes.set(**{name: (high, low) if falls else (low, high)})


def grid(figure: Figure, n: int, columns: int) -> list[Axes]:
    """Axes of ``n`` panels in rows of ``columns``."""
    cells: Any = figure.subplots(-(-n // columns), columns, squeeze=False)
    for axes in cells.ravel()[n:]:
        axes.remove()
    return list(cells.ravel()[:n])
