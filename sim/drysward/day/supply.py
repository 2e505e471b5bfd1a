"""What the supply gives when several fields ask at once."""

from __future__ import annotations

from numba.extending import register_jitable


@register_jitable
def granted_share(asked_m3: float, available_m3: float) -> float:
    """Share of every request that is met: all of it, or the same share for every field."""
    if asked_m3 <= available_m3 or asked_m3 <= 0.0:
        return 1.0
    return available_m3 / asked_m3 if available_m3 > 0.0 else 0.0
