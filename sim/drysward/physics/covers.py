"""Green, dormant and dead cover of a patch, which add up to 1 with bare ground."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger


@equation
def regrowth_into_dead(
    dead: float, ks: float, wetting: float, green: float, spread: float, reseed: float
) -> float:
    """Dead ground closed by runners and seedlings in a day.

    ``wetting`` is the memory of a wet surface (0..1), ``spread`` the share a day next to full green
    cover, ``reseed`` the share a day closed by seedlings. Source: own estimate of the form.
    """
    return dead * ks * wetting * (spread * green + reseed)


@equation
def covers_within(green: float, dormant: float, bare: float) -> tuple[float, float, float]:
    """Green, dormant and dead cover, each 0..1 and with ``bare`` ground 1 in all, whatever the
    rounding of the first two.
    """
    green = clamp(green, 0.0, 1.0 - bare)
    dormant = clamp(dormant, 0.0, 1.0 - bare - green)
    return green, dormant, larger(1.0 - bare - green - dormant, 0.0)
