"""What drives a risk: how much of its spread over a sweep each axis accounts for."""

from __future__ import annotations

import json
import tomllib
import warnings
from collections.abc import Hashable
from itertools import pairwise

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.quantities import require_system
from drysward.studies.sweep import GRID, INDICES
from drysward.studies.sweep.axis_units import axes_in
from drysward.studies.sweep.front import (
    DAYS_BELOW,
    Objective,
    done_of,
    keys_of,
    measure,
    measured_attributes,
    name_of,
    refuse_unfinished,
)

FloatArray = NDArray[np.float64]

BINS = 8
_LIMITS = 0.90
LENGTHENED = ("refill", "share of et")
"""Rules whose run time is set so that the part that catches least has enough."""


def effects(
    sweep: xr.Dataset,
    of: str | Objective = DAYS_BELOW,
    plan: str | None = None,
    field: str | None = None,
    units: str | None = None,
) -> xr.Dataset:
    """Main effects of every axis, and Sobol indices when the design is made for them.

    Parameters
    ----------
    sweep : from ``drysward.open``.
    of : as ``risk`` of ``front``. Wilt takes some days in a row, so that watering every day or two
        hides it; days below playing condition count each day.
    plan : key of the plan, the first when None.
    field : key of the field, as in ``front``.
    units : "us" or "metric", for the values of the axes; as the sweep file has them when None.

    Returns
    -------
    Dataset by ``axis``: ``main`` is the share of the variance that the means at the axis' values
    (or in ``BINS`` equal classes of a range) account for, see ``correlation_ratio``; ``low_at``
    and ``high_at`` are the values with the least and the largest mean, with their unit;
    ``low_mean`` and ``high_mean`` are those means, in the unit of the attribute ``units``. A design
    "sobol indices" adds ``first`` and ``total`` (Saltelli et al. 2010, by scipy) with 90% limits.

    Raises
    ------
    FaultyInput
        For names that are not there, or indices of an unfinished sweep.

    Examples
    --------
    >>> drysward.effects(drysward.open("swept"), of="days below")["main"].to_series()
    """
    refuse_unfinished(sweep)
    plan = str(sweep["plan"].values[0]) if plan is None else plan
    if units is not None:
        require_system(units)
        sweep = axes_in(sweep, units)
    measured = measure(sweep, of, "of", plan, field)
    values = measured.values
    names = json.loads(sweep.attrs["axes"])
    drawn = sweep.attrs["design"] != GRID
    rows = [_main(sweep[name], values, drawn) for name in names]
    out = xr.Dataset(
        {
            "main": ("axis", [row[0] for row in rows]),
            "low_at": ("axis", [row[1] for row in rows]),
            "low_mean": ("axis", [row[2] for row in rows]),
            "high_at": ("axis", [row[3] for row in rows]),
            "high_mean": ("axis", [row[4] for row in rows]),
        },
        coords={"axis": names},
        attrs={
            "of": name_of(of),
            "units": measured_attributes(sweep, of, measured)["units"],
            "plan": plan,
            "field": field or "",
            "mean": float(values.mean()),
            "sd": float(values.std()),
            **done_of(sweep),
            "title": sweep.attrs["title"],
            "reached_days": int(sweep.attrs.get("reached_days", 1)),
            "draws": int(sweep.attrs.get("draws", 0)),
            "runs_longer": int(_runs_longer(sweep, plan)),
        },
    )
    if sweep.attrs["design"] == INDICES:
        if sweep.attrs["points_done"] < sweep.attrs["points"]:
            what = f"{sweep.attrs['points_done']} of {sweep.attrs['points']} points are done"
            raise FaultyInput(Fault("sweep", what, "indices need all points: finish the sweep"))
        out = out.merge(_indices(sweep, values, names))
        out.attrs["samples"] = values.size // (int(sweep["block"].max()) + 1)
    return out


def _runs_longer(sweep: xr.Dataset, plan: str) -> bool:
    """Whether an axis is the uniformity of a system, and the plan runs longer on uneven ones."""
    axes = json.loads(sweep.attrs["axes"])
    keys = [key for name in axes for key in keys_of(sweep[name])]
    if not any(key.endswith("uniformity") and ".delivery." in key for key in keys):
        return False
    written = tomllib.loads(sweep.attrs["scenario"])["plans"].get(plan, {})
    return written.get("allow_for_uniformity", True) and written.get("rule") in LENGTHENED


def correlation_ratio(
    groups: NDArray[np.int64], values: FloatArray, by_chance: bool
) -> float:
    """Share of the variance of ``values`` (n,) that lies between ``groups`` (n,), 0 to 1.

    The ratio of sums of squares (Pearson's eta squared, from memory). Groups of points that were
    drawn ``by_chance`` differ a little though nothing drives them: for those it is less that part
    (Kelley's epsilon squared, 1935, from memory), not below 0. NaN when nothing varies.
    """
    known, place = np.unique(groups, return_inverse=True)
    n, k = values.size, known.size
    total = ((values - values.mean()) ** 2).sum()
    if total <= 0.0 or (by_chance and k >= n):
        return float("nan")
    means = np.bincount(place, values) / np.bincount(place)
    within = ((values - means[place]) ** 2).sum()
    if by_chance:
        return float(max(1.0 - (within / (n - k)) / (total / (n - 1)), 0.0))
    return float(1.0 - within / total)


def _main(
    along: xr.DataArray, values: FloatArray, by_chance: bool
) -> tuple[float, str, float, str, float]:
    """A row of ``effects``: main effect, value and mean where it is least, and where most."""
    axis = np.asarray(along.values)
    unit = along.attrs.get("units", "1").removeprefix("1")
    known, place = np.unique(axis, return_inverse=True)
    labels: list[str] = [_shown(value) for value in known]
    if known.size > BINS and np.issubdtype(axis.dtype, np.number):
        edges = np.quantile(axis.astype(float), np.linspace(0.0, 1.0, BINS + 1))
        place = np.clip(np.searchsorted(edges, axis.astype(float), "right") - 1, 0, BINS - 1)
        labels = [f"{_shown(a)} to {_shown(b)}" for a, b in pairwise(edges)]
    count = np.bincount(place, minlength=len(labels))
    sums = np.bincount(place, values, minlength=len(labels))
    means = np.divide(sums, count, out=np.full(len(labels), np.nan), where=count > 0)
    low, high = int(np.nanargmin(means)), int(np.nanargmax(means))
    share = correlation_ratio(place, values, by_chance)
    labels = [f"{label} {unit}".rstrip() for label in labels]
    return share, labels[low], float(means[low]), labels[high], float(means[high])


def _shown(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float | np.floating) else str(value)


def _indices(sweep: xr.Dataset, values: FloatArray, names: list[str]) -> xr.Dataset:
    """Indices of each axis; linked axes have those of the group that moves together."""
    # Here, since it takes half a second to import, which a page of no sweep need not wait for.
    from scipy import stats

    block, order = sweep["block"].values, np.argsort(sweep["sample"].values)
    d = int(block.max()) - 1
    n = values.size // (d + 2)
    by_block = values[order].reshape(d + 2, n)
    found = stats.sobol_indices(
        func={
            "f_A": by_block[:1],
            "f_B": by_block[1:2],
            "f_AB": by_block[2:, None],
        },
        n=n,
    )
    with warnings.catch_warnings():
        # An axis without any effect has no limits; they are NaN then.
        warnings.simplefilter("ignore")
        limits = found.bootstrap(confidence_level=_LIMITS)
    column = _columns(sweep, names)
    what: dict[Hashable, tuple[str, FloatArray]] = {}
    for name, index, limit in (
        ("first", found.first_order, limits.first_order),
        ("total", found.total_order, limits.total_order),
    ):
        what[name] = ("axis", np.ravel(index)[column])
        what[f"{name}_low"] = ("axis", np.ravel(limit.confidence_interval.low)[column])
        what[f"{name}_high"] = ("axis", np.ravel(limit.confidence_interval.high)[column])
    return xr.Dataset(what, coords={"axis": names})


def _columns(sweep: xr.Dataset, names: list[str]) -> list[int]:
    """Column of the design that each axis moves with."""
    groups = json.loads(sweep.attrs["linked"])
    columns: dict[str, int] = {}
    return [columns.setdefault(groups[name] or f"axis {name}", len(columns)) for name in names]
