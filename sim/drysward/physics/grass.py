"""Turf answering to water in one patch and one day: plain scalar equations.

Covers are shares of the patch. Plants in a patch differ, so every passage is a rate or a
dose-response curve and never one switch.
"""

from __future__ import annotations

from numba.extending import register_jitable

from drysward.physics.water import clamp, larger


@register_jitable
def share_past(depletion: float, threshold: float, inv_width: float) -> float:
    """Share of plants past a threshold of depletion, rising linearly across it.

    ``inv_width`` is 1 over the whole width of the rise, half of which is passed at the
    threshold. Source: own estimate of the form and width (plants, depth and compaction differ).
    """
    return clamp((depletion - threshold) * inv_width + 0.5, 0.0, 1.0)


@register_jitable
def leaf_loss_share(ks: float, start: float, inv_span: float) -> float:
    """Share of the full leaf-loss rate: none above Ks ``start``, all once Ks fell by the span."""
    return clamp((start - ks) * inv_span, 0.0, 1.0)


@register_jitable
def inverse_survival(dryness: float) -> float:
    """One over the share of plants alive at a crown dryness (dose over median lethal dose).

    1 + u^5: log-logistic dose response with steepness 5. Source: own estimate of the
    steepness; the medians by species carry their own grades.
    """
    square = dryness * dryness
    return 1.0 + square * square * dryness


@register_jitable
def kill_share(before: float, after: float) -> float:
    """Share of the living that die as crown dryness goes from ``before`` to ``after``."""
    return 1.0 - inverse_survival(before) / inverse_survival(larger(before, after))


@register_jitable
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


@register_jitable
def covers_within(green: float, dormant: float, bare: float) -> tuple[float, float, float]:
    """Green, dormant and dead cover, each 0..1 and with ``bare`` ground 1 in all, whatever the
    rounding of the first two.
    """
    green = clamp(green, 0.0, 1.0 - bare)
    dormant = clamp(dormant, 0.0, 1.0 - bare - green)
    return green, dormant, larger(1.0 - bare - green - dormant, 0.0)
