"""A response surface: the mean outcome at each pair of values of two axes of a sweep."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import xarray as xr

from drysward.faults import Fault, FaultyInput, nearest
from drysward.studies.sweep.effects import BINS, effects
from drysward.studies.sweep.front import measure, refuse_unfinished


def strongest(sweep: xr.Dataset, of: str = "wilt", plan: str | None = None) -> list[str]:
    """Axes of a sweep, the one that accounts for most of the variance first."""
    drivers = effects(sweep, of, plan)
    order = np.argsort(-np.nan_to_num(drivers["main"].values, nan=-1.0), kind="stable")
    return [str(name) for name in drivers["axis"].values[order]]


def surface(
    sweep: xr.Dataset, across: str, up: str, of: str = "wilt", plan: str | None = None
) -> xr.Dataset:
    """Means over all other axes, by the values of two.

    Parameters
    ----------
    sweep : from ``drysward.open``.
    across, up : names of two axes. A numeric axis with more than ``BINS`` values is cut into
        that many classes of equal count.
    of, plan : as in ``effects``.

    Returns
    -------
    Dataset with ``mean`` and ``count`` by ``up`` and ``across``, whose coordinates are values or
    classes in words; NaN where no point lies. FaultyInput for names that are not there.
    """
    refuse_unfinished(sweep)
    names = json.loads(sweep.attrs["axes"])
    for name in (across, up):
        if name not in names:
            raise FaultyInput(Fault("axis", f"no axis '{name}'", nearest(name, names)))
    plan = str(sweep["plan"].values[0]) if plan is None else plan
    values = measure(sweep, of, "of", plan).values
    columns, across_words = _classes(sweep[across].values)
    rows, up_words = _classes(sweep[up].values)
    shape = (len(up_words), len(across_words))
    place = rows * shape[1] + columns
    count = np.bincount(place, minlength=shape[0] * shape[1]).reshape(shape)
    total = np.bincount(place, values, minlength=shape[0] * shape[1]).reshape(shape)
    mean = np.divide(total, count, out=np.full(shape, np.nan), where=count > 0)
    return xr.Dataset(
        {"mean": (("up", "across"), mean), "count": (("up", "across"), count)},
        coords={"up": up_words, "across": across_words},
        attrs={"across": across, "up": up, "of": of, "plan": plan},
    )


def _classes(values: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Class of each value and the classes in words."""
    known, place = np.unique(values, return_inverse=True)
    if known.size <= BINS or not np.issubdtype(values.dtype, np.number):
        return place, [_word(value) for value in known]
    edges = np.quantile(values.astype(float), np.linspace(0.0, 1.0, BINS + 1))
    place = np.clip(np.searchsorted(edges, values, "right") - 1, 0, BINS - 1)
    return place, [_word(0.5 * (a + b)) for a, b in pairwise(edges)]


def _word(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float | np.floating) else str(value)
