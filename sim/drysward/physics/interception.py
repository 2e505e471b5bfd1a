"""Thatch and leaves holding water, and giving it back to the air (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import smaller


@equation
def interception(entering: float, storage: float, thatch: float) -> float:
    """Water that thatch keeps of what is ``entering``: as much as it has room for (mm).

    ``storage`` is what it holds at most, ``thatch`` what it holds. Source: a plain store; its
    size is a parameter with its own grade.
    """
    return smaller(entering, storage - thatch)


@equation
def leaf_evaporation_of(thatch: float, demand: float) -> float:
    """Water that leaves and thatch lose before the plant transpires: all that the air takes (mm).

    ``demand`` is the most that the air takes in a day.
    """
    return smaller(thatch, demand)
