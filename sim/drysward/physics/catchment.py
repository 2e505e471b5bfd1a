"""Runoff of roofs and paving into storage."""

from __future__ import annotations


def hard_surface_runoff_mm(liquid_mm: float, coefficient: float, first_flush_mm: float) -> float:
    """Daily runoff of a roof or paving: a share of the rain and melt beyond the first flush (mm).

    The first flush is diverted, or wets the surface, on every wet day. Common practice in rainwater
    harvesting.
    """
    return coefficient * max(liquid_mm - first_flush_mm, 0.0)
