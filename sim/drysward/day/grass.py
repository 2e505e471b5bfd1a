"""Turf answering to water in one patch and one day: plain scalar equations.

Covers are shares of the patch. Plants in a patch differ, so every passage is a rate or a
dose-response curve and never one switch.
"""

from __future__ import annotations

from numba.extending import register_jitable


@register_jitable
def share_past(depletion: float, threshold: float, half_width: float) -> float:
    """Share of plants past a threshold of depletion, rising linearly across it.

    Source: own estimate of the form and width (plants, depth and compaction differ).
    """
    if half_width <= 0.0:
        return 1.0 if depletion >= threshold else 0.0
    share = (depletion - threshold + half_width) / (2.0 * half_width)
    if share < 0.0:
        return 0.0
    return share if share < 1.0 else 1.0


@register_jitable
def leaf_loss_share(ks: float, start: float, inv_span: float) -> float:
    """Share of the full leaf-loss rate: none above Ks ``start``, all once Ks fell by the span."""
    share = (start - ks) * inv_span
    if share < 0.0:
        return 0.0
    return share if share < 1.0 else 1.0


@register_jitable
def survival(dryness: float) -> float:
    """Share of plants alive at a crown dryness (dose over median lethal dose).

    1 / (1 + u^5): log-logistic dose response with steepness 5. Source: own estimate of the
    steepness; the medians by species carry their own grades.
    """
    square = dryness * dryness
    return 1.0 / (1.0 + square * square * dryness)


@register_jitable
def kill_share(before: float, after: float) -> float:
    """Share of the living that die as crown dryness goes from ``before`` to ``after``."""
    if after <= before:
        return 0.0
    return 1.0 - survival(after) / survival(before)


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
    return after if after > 0.0 else 0.0
