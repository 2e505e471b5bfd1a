"""Stages of restrictions: entered as an index rises, left at a lower one."""

from __future__ import annotations

from typing import Any

from drysward.compiled import jitable


@jitable
def stage_after(stage: int, last: int, index: float, enter: Any, leave: Any) -> int:
    """Stage in force once ``index`` has been read: 0 for none, ``last`` the strictest.

    ``enter`` and ``leave`` (R,) hold the index from which each stage is entered, and below which
    it is left. An index that falls as things get worse is given with all signs turned.
    """
    while stage < last and index >= enter[stage]:
        stage += 1
    while stage > 0 and index < leave[stage - 1]:
        stage -= 1
    return stage
