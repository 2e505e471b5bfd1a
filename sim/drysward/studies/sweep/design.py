"""The points of a sweep: where on each axis each of them stands, in the order that they run."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import qmc

from drysward.catalog import load_catalog
from drysward.faults import Fault, FaultyInput
from drysward.scenario.keys import meaning_at
from drysward.studies.sweep.description import (
    GRID,
    INDICES,
    LATIN,
    MOST_POINTS,
    SEQUENCE,
    Axis,
    Sweep,
)

FloatArray = NDArray[np.float64]

# What an axis has to do with: all weather, the forcing of fields, or plans and the like alone.
WEATHER, FIELDS, PLANS = 0, 1, 2
_ABOUT_WEATHER = (
    "site.", "weather.", "answers.season", "answers.drought_days", "overrides.turf_processes.",
    "overrides.losses.", "overrides.generated_weather.",
)  # fmt: skip
_ABOUT_FIELDS = ("fields.", "overrides.", "answers.")


def depth_of(axis: Axis) -> int:
    """How early in the work an axis makes a difference: WEATHER, FIELDS or PLANS."""
    def depth(key: str) -> int:
        # What limits the water stands under [site] too and has no part in the weather.
        if key.startswith(_ABOUT_WEATHER) and key not in ("site.supply", "site.crew"):
            return WEATHER
        return FIELDS if key.startswith(_ABOUT_FIELDS) else PLANS

    return min(depth(key) for key in axis.keys)


@dataclass(frozen=True, eq=False)
class Design:
    """Positions (N, axes): places in a list, or shares of a range, for each point.

    Points are numbered as they run: those that share weather stand together, then those that
    share fields. ``sample`` (N,) is the place in the design as it was drawn (or the place in
    the grid with its last axis fastest), ``draw`` (N,) which of the common draws crosses the
    grid, ``block`` (N,) the matrix of a design for indices: 0 for A, 1 for B, 2 + i for A with
    column i of B.
    """

    sweep: Sweep
    positions: FloatArray
    sample: NDArray[np.int64]
    draw: NDArray[np.int64]
    block: NDArray[np.int64]

    @property
    def n(self) -> int:
        return int(self.sample.size)

    @cached_property
    def groups(self) -> tuple[int, int]:
        """How many different weathers, and different sets of fields, the points have."""
        depths = np.array([depth_of(axis) for axis in self.sweep.axes])

        def different(deepest: int) -> int:
            columns = self.positions[:, depths <= deepest]
            return len(np.unique(columns, axis=0)) if columns.shape[1] else 1

        return different(WEATHER), different(FIELDS)

    def coordinates(self, points: slice = slice(None)) -> dict[str, xr.Variable]:
        """What each axis takes, by its name, and where the points stand in the design."""
        out: dict[str, xr.Variable] = {}
        for i, axis in enumerate(self.sweep.axes):
            column = self.positions[points, i]
            attrs = {"long_name": _meaning(axis), "comment": ", ".join(axis.keys)}
            if axis.listed:
                values = np.array(axis.labels)[column.astype(int)]
            else:
                values = np.array([axis.at(float(share)) for share in column])
            if values.dtype.kind in "iuf":
                attrs["units"] = axis.shown_unit or "1"
            out[axis.name] = xr.Variable("point", values, attrs)
        out["sample"] = xr.Variable("point", self.sample[points])
        if self.sweep.kind == GRID and self.draw.any():
            out["draw"] = xr.Variable("point", self.draw[points])
        if self.sweep.kind == INDICES:
            out["block"] = xr.Variable("point", self.block[points])
        return out


def _meaning(axis: Axis) -> str:
    """What the keys of an axis mean, in words."""
    each = []
    for key in axis.keys:
        parts = re.split(r"[.\[\]]+", key)
        term = load_catalog().meanings.get(parts[-1]) if parts[0] == "overrides" else None
        meaning = meaning_at(parts) if term is None else term.meaning
        each.append(meaning.removesuffix(".") or key)
    return "; ".join(dict.fromkeys(each))


def design_of(sweep: Sweep) -> Design:
    """The points of a sweep.

    FaultyInput when linked axes differ in length, the kind of design does not go with its axes,
    or there would be more than ``MOST_POINTS``.
    """
    columns = columns_of(sweep)
    leaders = [sweep.axes[places[0]] for places in columns]
    if sweep.kind == GRID:
        positions, draw = _grid(sweep, leaders)
        block = np.zeros(len(draw), np.int64)
    else:
        if not sweep.samples:
            what = f"a design '{sweep.kind}' needs their number"
            raise FaultyInput(Fault(f"{sweep.name}: design.samples", what, "samples = 256"))
        shares, block = _drawn(sweep, len(columns))
        positions = shares.copy()
        for j, axis in enumerate(leaders):
            if axis.listed:
                positions[:, j] = np.floor(shares[:, j] * len(axis.changes))
        draw = np.zeros(len(positions), np.int64)
    spread = np.empty((len(positions), len(sweep.axes)))
    for j, places in enumerate(columns):
        spread[:, places] = positions[:, [j]]
    order = _running_order(sweep, spread)
    sample = np.arange(len(positions))
    return Design(sweep, spread[order], sample[order], draw[order], block[order])


def columns_of(sweep: Sweep) -> list[list[int]]:
    """Places of the axes that move together: each alone, or all that are linked by a name.

    FaultyInput when linked axes differ in length.
    """
    together: dict[str, list[int]] = {}
    for i, axis in enumerate(sweep.axes):
        together.setdefault(f"linked {axis.linked}" if axis.linked else f"axis {i}", []).append(i)
    faults = []
    for places in together.values():
        lengths = {sweep.axes[i].name: len(sweep.axes[i].changes) for i in places}
        if len(set(lengths.values())) > 1:
            said = ", ".join(f"{name} {n or 'a range'}" for name, n in lengths.items())
            where = f"{sweep.name}: axes.{sweep.axes[places[1]].name}.linked"
            faults.append(
                Fault(where, f"linked axes differ in length: {said}", "as many values each")
            )
    if faults:
        raise FaultyInput(faults)
    return list(together.values())


def _refuse_many(sweep: Sweep, n: int) -> None:
    if n > MOST_POINTS:
        where = f"{sweep.name}: design"
        raise FaultyInput(Fault(where, f"has {n:,} points", f"at most {MOST_POINTS:,}"))


def _grid(sweep: Sweep, leaders: list[Axis]) -> tuple[FloatArray, NDArray[np.int64]]:
    """All listed axes crossed with one another, and with the common draws of the others."""
    listed = [j for j, axis in enumerate(leaders) if axis.listed]
    drawn = [j for j, axis in enumerate(leaders) if not axis.listed]
    if drawn and not sweep.samples:
        where = f"{sweep.name}: axes.{leaders[drawn[0]].name}"
        what = "a range in a grid has steps, or is drawn as often as the design says"
        raise FaultyInput(Fault(where, what, "steps = 5 here, or samples = 32 under [design]"))
    if not drawn and sweep.samples:
        what = "is not used: no axis of this grid is drawn"
        raise FaultyInput(Fault(f"{sweep.name}: design.samples", what, "leave it out"))
    lengths = [len(leaders[j].changes) for j in listed]
    draws = sweep.samples if drawn else 1
    n = math.prod(lengths) * draws
    _refuse_many(sweep, n)
    places = np.unravel_index(np.arange(n), (*lengths, draws))
    positions = np.empty((n, len(leaders)))
    for j, place in zip(listed, places, strict=False):
        positions[:, j] = place
    draw = places[-1].astype(np.int64)
    if drawn:
        positions[:, drawn] = common_draws(sweep, len(drawn), draws)[draw]
    return positions, draw


def common_draws(sweep: Sweep, d: int, draws: int) -> FloatArray:
    """Shares (draws, d) of what a grid draws, the same for all its cells."""
    return qmc.LatinHypercube(d, rng=sweep.seed).random(draws)


def _drawn(sweep: Sweep, d: int) -> tuple[FloatArray, NDArray[np.int64]]:
    """Shares (N, d) of a sampled design and the block (N,) of each."""
    n = sweep.samples
    power = n & (n - 1) == 0
    if sweep.kind in (SEQUENCE, INDICES) and not power:
        below = 2 ** (n.bit_length() - 1)
        what = f"{n} is no power of 2"
        where = f"{sweep.name}: design.samples"
        raise FaultyInput(Fault(where, what, f"{below} or {2 * below}"))
    _refuse_many(sweep, n * (d + 2) if sweep.kind == INDICES else n)
    if sweep.kind == LATIN:
        return qmc.LatinHypercube(d, rng=sweep.seed).random(n), np.zeros(n, np.int64)
    if sweep.kind == SEQUENCE:
        return qmc.Sobol(d, rng=sweep.seed).random(n), np.zeros(n, np.int64)
    both = qmc.Sobol(2 * d, rng=sweep.seed).random(n)
    a, b = both[:, :d], both[:, d:]
    blocks = [a, b]
    for i in range(d):
        mixed = a.copy()
        mixed[:, i] = b[:, i]
        blocks.append(mixed)
    return np.concatenate(blocks), np.repeat(np.arange(d + 2), n)


def _running_order(sweep: Sweep, positions: FloatArray) -> NDArray[np.int64]:
    """Points that share weather stand together, then those that share fields."""
    depths = [depth_of(axis) for axis in sweep.axes]
    keys: list[NDArray[Any]] = [np.arange(len(positions))]
    for depth in (FIELDS, WEATHER):
        keys += [positions[:, i] for i in reversed(range(len(depths))) if depths[i] == depth]
    return np.lexsort(keys)
