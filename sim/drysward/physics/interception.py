"""Water held by thatch and leaves, and its evaporation (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import smaller


@equation
def interception(entering: float, storage: float, thatch: float) -> float:
    """Water held back by thatch of the water ``entering``, up to its storage (mm).

    ``storage`` is its capacity, ``thatch`` the water in it. Source: a simple bucket; its size is a
    parameter with a separate grade.
    """
    return smaller(entering, storage - thatch)


@equation
def leaf_evaporation_of(thatch: float, demand: float) -> float:
    """Evaporation from leaves and thatch, which comes before transpiration (mm).

    ``demand`` is the limit of the day's evaporation and transpiration.
    """
    return smaller(thatch, demand)
