"""Water sinking through the layers of a root zone (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger


@equation
def drain(water: float, field_capacity: float, saturation: float, share: float) -> float:
    """Water leaving a layer downwards: a share of what is above field capacity in a day.

    What is above saturation passes at once. Source: linear reservoir; the share comes from
    the power-law conductivity under unit gradient (see ``physics.pedotransfer``).
    """
    down = larger(share * (water - field_capacity), water - saturation)
    return larger(down, 0.0)


@equation
def moved_by_floor(root_water: float, subsoil_water: float, shift: float) -> float:
    """Water that changes hands as the floor of the root zone moves: above 0 to the roots.

    ``shift`` above 0 is the share of the subsoil that the roots reach today, below 0 the share
    of the root layer that they leave. By definition.
    """
    return larger(shift, 0.0) * subsoil_water - larger(-shift, 0.0) * root_water
