"""All days of a stretch for some plans, with daily records in memory or computed when needed.

The daily records of one field are much larger than the processor's cache and take longer to fetch
than to compute. When no other run needs them, some days are computed, run and dropped.
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
    # It allocates nothing, so it can do without reference counts, and views of arrays are free.
    return compiled(run_windows, counted=False)


def run_windows(
    forcing: Forcing, day_input: DayInput, from_day: int, first_day: int, stop_day: int,
    batch: Any, supply: Any, supply_of: Any, supply_states: Any, tally: Any, scratch: Any,
    reached: Any, condition: Any, trace_at: Any, supply_or_play: bool | None,
    feeding_on: bool | None,
) -> None:  # fmt: skip
    """Run plans over days of a stretch, in place, in windows as long as ``day_input.days``.

    Windows begin with ``first_day`` and end before ``stop_day``. ``forcing`` fills each before it
    is run, from ``from_day`` on. The other arguments are those of ``run_site``.
    """
    n_lines, n_blocks = day_input.days.shape[0], batch.blocks.shape[0]
    # A block that takes some days before the next is begun stays in the processor's cache.
    together = n_blocks if supply.site[0, 0].on > 0.0 else 1
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
            for k in range(0, n_blocks, together):
                run_site(
                    day_input, max(first, from_day), stop, first, k, k + together, batch, supply,
                    supply_of, supply_states, tally, scratch, reached, condition, trace_at,
                    supply_or_play, feeding_on,
                )  # fmt: skip
