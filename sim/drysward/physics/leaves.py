"""Leaves footprinting, wilting, browning and greening again: shares of a patch.

Plants in a patch differ, so every passage is a rate or a curve and never one switch.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger


@equation
def share_past(depletion: float, threshold: float, inv_width: float) -> float:
    """Share of plants past a threshold of depletion, rising linearly across it.

    ``inv_width`` is 1 over the whole width of the rise, half of which is passed at the
    threshold. Source: own estimate of the form and width (plants, depth and compaction differ).
    """
    return clamp((depletion - threshold) * inv_width + 0.5, 0.0, 1.0)


@equation
def leaf_loss_share(ks: float, start: float, inv_span: float) -> float:
    """Share of the full leaf-loss rate: none above Ks ``start``, all once Ks fell by the span."""
    return clamp((start - ks) * inv_span, 0.0, 1.0)


@equation
def regreening(
    dormant: float, rate: float, ks: float, start: float, age: float, inv_slowing: float
) -> float:
    """Dormant cover that greens in a day.

    Parameters
    ----------
    rate : share a day at Ks 1, for each unit of Ks above ``start``.
    start : Ks at which leaves are lost; no leaf comes back at a supply at which they still are.
    age : dry days that the dormant cover has behind it. inv_slowing : 1 over the age that
        halves the rate.

    Source: own estimate of the form.
    """
    return dormant * rate * larger(ks - start, 0.0) / (1.0 + age * inv_slowing)
