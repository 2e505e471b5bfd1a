"""All days of a stretch for some plans, with days that are there or are forced as they are needed.

What the weather makes of one field is much larger than the processor's memory, and takes longer to
fetch than to work out. Where nobody else needs it, some days of it are made, run and forgotten.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from drysward.compiled import compiled
from drysward.day.loop import DayInput, run_site
from drysward.site.forcing import Forcing, field_pass
from drysward.site.profile import Curves


@cache
def compiled_run_site() -> Callable[..., Any]:
    """``run_windows`` compiled; it releases the GIL so that threads run plans side by side."""
    # Nothing is allocated in it: without reference counts every view of an array is free.
    return compiled(run_windows, counted=False)


def run_windows(
    forcing: Forcing, day_input: DayInput, from_day: int, batch: Any, supply: Any, supply_of: Any,
    supply_states: Any, tally: Any, scratch: Any, reached: Any, condition: Any, trace_at: Any,
    supply_or_play: bool | None,
) -> None:  # fmt: skip
    """Run plans over all days of a stretch, in place, as many at once as ``ground.days`` has lines.

    Before each such window ``forcing`` fills it. ``runs`` is what else ``run_site`` takes.
    """
    n_days = day_input.calendar.shape[0]
    n_lines = day_input.days.shape[0]
    for first in range(0, n_days, n_lines):
        stop = min(first + n_lines, n_days)
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
                day_input.calendar,
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
                day_input, max(first, from_day), stop, first, batch, supply, supply_of,
                supply_states, tally, scratch, reached, condition, trace_at, supply_or_play,
            )  # fmt: skip
