"""Drainage of water through the layers of a root zone (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger


@equation
def drain(water: float, field_capacity: float, saturation: float, share: float) -> float:
    """Daily drainage of a layer: a share of the water above field capacity.

    Water above saturation passes at once. Source: linear reservoir; the share comes from
    the power-law conductivity under unit gradient (see ``physics.pedotransfer``).
    """
    down = larger(share * (water - field_capacity), water - saturation)
    return larger(down, 0.0)


@equation
def moved_by_floor(root_water: float, subsoil_water: float, shift: float) -> float:
    """Water gained by the root layer as the bottom of the root zone moves (mm).

    ``shift`` above 0 is the share of the subsoil that roots newly reach today, below 0 the share
    of the root layer that they leave. By definition.
    """
    return larger(shift, 0.0) * subsoil_water - larger(-shift, 0.0) * root_water
