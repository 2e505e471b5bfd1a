"""Frozen ground, and the share of water that it lets in."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def is_frozen(frost_mm: float, sealing_frost_mm: float) -> float:
    """1 when frost is at least ``sealing_frost_mm`` deep, else 0.

    A night's frost leaves pores open and is gone by noon. Source: own estimate of the form; the
    depth of frost is that of ``freezing.frost_depth_step``.
    """
    return 1.0 if frost_mm >= sealing_frost_mm else 0.0


@equation
def intake_share(frozen: float, frozen_intake_share: float) -> float:
    """Share of liquid water that the ground lets in: all of it unless ``frozen`` is 1."""
    return 1.0 - frozen * (1.0 - frozen_intake_share)
