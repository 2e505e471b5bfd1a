"""Water that roofs and paving shed into the storage."""

from __future__ import annotations


def hard_surface_runoff_mm(liquid_mm: float, coefficient: float, first_flush_mm: float) -> float:
    """Runoff of a roof or paving in a day: a share of what the day brings beyond the first flush.

    ``liquid_mm`` is rain and melt; the first flush is turned away, or wets the surface, on every
    wet day anew. Common practice in harvesting of rainwater.
    """
    return coefficient * max(liquid_mm - first_flush_mm, 0.0)
