"""Crowns drying, drinking and dying."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger

LEAST_DORMANT = 0.02  # cover from which dormancy ages; own estimate
AGE_KEPT = 0.9  # of the age that is left a day after dormancy has passed; own estimate


@equation
def crown_wetness(surface: float, depletion: float, inv_wet: float) -> float:
    """How freely crowns drink: 0 at the wilting point, 1 from a share of available water on.

    The wetter counts of the ``surface`` layer's share of available water and of what
    ``depletion`` leaves of the rooted depth's; ``inv_wet`` is 1 over the share that is enough.
    """
    return clamp(larger(surface, 1.0 - depletion) * inv_wet, 0.0, 1.0)


@equation
def clock_speed(subsoil: float, inv_wet: float, reach: float, slowest: float) -> float:
    """How fast crowns dry: down to ``slowest`` over moist subsoil that feeds them.

    ``subsoil`` is its share of available water (0..1), ``reach`` how much of it comes up.
    """
    return 1.0 - (1.0 - slowest) * (clamp(subsoil * inv_wet, 0.0, 1.0) * reach)


@equation
def crown_dryness_step(
    dryness: float, wetness: float, clock: float, refill: float, speed: float
) -> float:
    """Crown dryness after one day.

    Parameters
    ----------
    dryness : 0 fully hydrated; 1 when half of the plants are dead.
    wetness : 0 when the rooted depth is at its wilting point, 1 when crowns drink freely.
    clock : dryness gained in a day with everything dry, at the day's temperature and demand.
    refill : dryness lost in a day with crowns wet.
    speed : below 1 when moist soil below the roots keeps crowns hydrated.
    """
    after = dryness + clock * speed * (1.0 - wetness) - refill * wetness
    return larger(after, 0.0)


@equation
def inverse_survival(dryness: float) -> float:
    """One over the share of plants alive at a crown dryness (dose over median lethal dose).

    1 + u^5: log-logistic dose response with steepness 5. Source: own estimate of the
    steepness; the medians by species carry their own grades.
    """
    square = dryness * dryness
    return 1.0 + square * square * dryness


@equation
def kill_share(before: float, after: float) -> float:
    """Share of the living that die as crown dryness goes from ``before`` to ``after``."""
    return 1.0 - inverse_survival(before) / inverse_survival(larger(before, after))


@equation
def dormant_age_step(age: float, dormant: float, wetness: float) -> float:
    """Dry days that dormant cover has behind it, after one more; forgotten once it is green.

    Source: own estimate of the form.
    """
    return age + dormant * (1.0 - wetness) if dormant > LEAST_DORMANT else AGE_KEPT * age
