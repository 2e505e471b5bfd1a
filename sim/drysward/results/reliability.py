"""How far a supply can be relied on, and the storage that a constant supply would need.

Sources: Hashimoto, Stedinger & Loucks 1982, Water Resources Research 18:14-20 (reliability,
resilience, vulnerability); Loucks & van Beek 2005, chapter 11 (sequent peak).
A step is short when less was granted than asked; an event is a run of short steps. Steps on
which nothing is asked do not count: they neither end nor lengthen an event.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# A smaller part of a request, or of a cubic metre, is rounding and no shortage.
ROUNDING = 1e-9


@dataclass(frozen=True)
class Reliability:
    """How a supply fares; NaN where nothing was asked.

    ``time`` is the share of steps that are not short, ``volume`` the share granted of what was
    asked. ``resilience`` is the chance that the step after a short one is not short, NaN when
    none was short. Vulnerability, how bad an event is, is told by volume: ``mean_event_m3``
    and ``worst_event_m3`` are what events were short by, 0 when there was none.
    """

    time: float
    volume: float
    resilience: float
    mean_event_m3: float
    worst_event_m3: float


def shortages_m3(asked_m3: ArrayLike, granted_m3: ArrayLike) -> FloatArray:
    """What each step was short by (n,)."""
    asked = np.asarray(asked_m3, float)
    short = asked - np.asarray(granted_m3, float)
    return np.where(short > ROUNDING * (1.0 + asked), short, 0.0)


def events(shortage_m3: FloatArray) -> list[FloatArray]:
    """The runs of short steps, each as the shortages of its steps."""
    short = shortage_m3 > 0.0
    turns = np.flatnonzero(short[1:] != short[:-1]) + 1
    return [run for run in np.split(shortage_m3, turns) if run.size and run[0] > 0.0]


def resilience(shortage_m3: FloatArray) -> float:
    """Steps out of shortage over short steps (Hashimoto et al. 1982); NaN when none was short."""
    short = shortage_m3 > 0.0
    recovered = int(np.count_nonzero(short[:-1] & ~short[1:]))
    return recovered / int(np.count_nonzero(short)) if short.any() else math.nan


def reliability_of_series(asked_m3: ArrayLike, granted_m3: ArrayLike) -> Reliability:
    """Reliability of what was asked (n,) and granted (n,) step by step."""
    asked = np.asarray(asked_m3, float)
    shortage = shortages_m3(asked, granted_m3)[asked > 0.0]
    if not shortage.size:
        return Reliability(math.nan, math.nan, math.nan, 0.0, 0.0)
    sizes = [float(run.sum()) for run in events(shortage)]
    return Reliability(
        time=float(np.mean(shortage == 0.0)),
        volume=1.0 - float(shortage.sum() / asked.sum()),
        resilience=resilience(shortage),
        mean_event_m3=float(np.mean(sizes)) if sizes else 0.0,
        worst_event_m3=max(sizes, default=0.0),
    )


def sequent_deficits_m3(inflow_m3: ArrayLike, release_m3: ArrayLike) -> FloatArray:
    """What a store that starts full has given up by the end of each step (n,).

    K[t] = max(0, R[t] - Q[t] + K[t-1]), K[0] = 0 (Loucks & van Beek 2005, chapter 11).
    """
    drawn = np.asarray(release_m3, float) - np.asarray(inflow_m3, float)
    out = np.empty_like(drawn)
    deficit = 0.0
    for t, net in enumerate(drawn):
        deficit = max(0.0, deficit + net)
        out[t] = deficit
    return out


def sequent_peak_m3(inflow_m3: ArrayLike, release_m3: ArrayLike) -> float:
    """Active storage that lets ``release_m3`` be drawn from ``inflow_m3`` for ever.

    Both are one cycle (n,), or a constant release. The cycle is run twice, so that a drought
    over its end is counted. ValueError when more is released than flows in: no storage is
    enough for that.
    """
    inflow = np.asarray(inflow_m3, float)
    release = np.broadcast_to(np.asarray(release_m3, float), inflow.shape)
    if release.sum() > inflow.sum() * (1.0 + ROUNDING):
        raise ValueError("more is released over the cycle than flows in")
    return float(sequent_deficits_m3(np.tile(inflow, 2), np.tile(release, 2)).max())
