"""All days of a stretch for some plans, with days that are there or are forced as they are needed.

What the weather makes of one field is much larger than the processor's memory, and takes longer to
fetch than to work out. Where nobody else needs it, some days of it are made, run and forgotten.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from drysward.compiled import compiled
from drysward.day.loop import Ground, run_site
from drysward.site.forcing import Forcing, field_pass
from drysward.site.profile import Curves


@cache
def compiled_run_site() -> Callable[..., Any]:
    """``run_windows`` compiled; it releases the GIL so that threads run plans side by side."""
    # Nothing is allocated in it: without reference counts every view of an array is free.
    return compiled(run_windows, counted=False)


def run_windows(
    forcing: Forcing, ground: Ground, from_day: int, first_day: int, stop_day: int, party: Any,
    supply: Any, supply_of: Any, supply_states: Any, tally: Any, desk: Any, reached: Any,
    condition: Any, trace_at: Any, more: bool | None,
) -> None:  # fmt: skip
    """Run plans over days of a stretch, in place, as many at once as ``ground.days`` has lines.

    Windows begin with ``first_day`` and end before ``stop_day``; ``forcing`` fills each before it
    is run, from ``from_day`` on. The rest is what else ``run_site`` takes.
    """
    n_lines = ground.days.shape[0]
    for first in range(first_day, stop_day, n_lines):
        stop = min(first + n_lines, stop_day)
        for f in range(forcing.turfs.shape[0]):
            n = forcing.n_nodes[f]
            curves = Curves(
                forcing.curves[0, f][:n],
                forcing.curves[1, f][:n],
                forcing.curves[2, f][:n],
                forcing.curves[3, f][:n],
            )
            field_pass(
                forcing.turfs,
                curves,
                forcing.weather,
                ground.calendar,
                forcing.kept_off_mm[f],
                forcing.fields,
                forcing.days,
                f,
                forcing.memories,
                first,
                stop,
            )
        if stop > from_day:
            run_site(
                ground, max(first, from_day), stop, first, party, supply, supply_of,
                supply_states, tally, desk, reached, condition, trace_at, more,
            )  # fmt: skip
