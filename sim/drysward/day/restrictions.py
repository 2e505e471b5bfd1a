"""Restriction stages: entered as an index rises, left at a lower value."""

from __future__ import annotations

from typing import Any

from drysward.compiled import jitable


@jitable
def stage_after(stage: int, last: int, index: float, enter: Any, leave: Any) -> int:
    """Restriction stage in force at today's ``index``: 0 for none, ``last`` the strictest.

    ``enter`` and ``leave`` (R,) are the index at which each stage starts and below which it ends.
    For an index that falls as things get worse, all three are passed with their signs reversed.
    """
    while stage < last and index >= enter[stage]:
        stage += 1
    while stage > 0 and index < leave[stage - 1]:
        stage -= 1
    return stage
