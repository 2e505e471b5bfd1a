"""What soil lets in under sprinklers: intake by slope, what one night can take, what runs off.

Depths in mm over the ground that is watered, rates in mm/h.
"""

from __future__ import annotations

import math

from drysward.compiled import equation, jitable
from drysward.physics.arithmetic import NO_LESS, clamp, larger

# Upper ends of the slope classes of the USDA's table of most sprinkler rates.
GENTLE, MODERATE, STRONG = 0.05, 0.08, 0.12
# The controller protocol's storage is for slopes up to here (from memory).
LEVEL = 0.03


@equation
def intake_by_slope(slope: float, to_5: float, to_8: float, to_12: float, steeper: float) -> float:
    """Intake of the slope's class (mm/h); a slope that ends a class belongs to it.

    Source: USDA, most sprinkler rates by soil, slope and cover, as reprinted in 2018.
    """
    easy = to_5 if slope <= GENTLE else to_8
    hard = to_12 if slope <= STRONG else steeper
    return easy if slope <= MODERATE else hard


@equation
def storage_by_slope(slope: float, level: float, steep: float) -> float:
    """Water that the surface holds (mm): ``level`` up to 3%, ``steep`` from 12%, a line between.

    Source: own estimate of the passage; the protocol's figures are for 0 to 3%.
    """
    return level + clamp((slope - LEVEL) / (STRONG - LEVEL), 0.0, 1.0) * (steep - level)


@equation
def longest_run_mm(rate: float, intake: float, surface_storage: float) -> float:
    """Depth of one run up to where water starts to run off; infinite when the soil keeps up.

    The run lasts surface storage / (rate - intake) hours. Source: test protocol for
    weather-based controllers (from memory).
    """
    outrun = 1.0 - intake / larger(rate, NO_LESS)
    return surface_storage / larger(outrun, NO_LESS) if rate > intake else math.inf


@equation
def night_take_mm(
    rate: float, intake: float, surface_storage: float, window_h: float, cycle_and_soak: float
) -> float:
    """Most that the ground takes in the ``window_h`` hours of a night without runoff (mm).

    One run's depth, or with ``cycle_and_soak`` (not 0) what soaks in during the window and what
    the surface still holds at its end. Infinite when the soil keeps up. Source: cycle-and-soak
    arithmetic, common practice.
    """
    once = longest_run_mm(rate, intake, surface_storage)
    split = intake * window_h + surface_storage
    kept = split if cycle_and_soak != 0.0 else once
    return kept if rate > intake else math.inf


@jitable
def runoff_terms(
    rate: float, intake: float, surface_storage: float, window_h: float, cycle_and_soak: float
) -> tuple[float, float]:
    """``soaks`` and ``held`` of ``runoff_of_irrigation`` for one night.

    Arguments as those of ``night_take_mm``. One run soaks in as long as it lasts, a split one from
    evening to morning, and the surface holds its storage.
    """
    split = cycle_and_soak != 0.0
    soaks = 0.0 if split else intake / larger(rate, NO_LESS)
    held = intake * window_h + surface_storage if split else surface_storage
    return soaks, held


@equation
def runoff_of_irrigation(caught: float, landed: float, soaks: float, held: float) -> float:
    """Runoff of what a patch ``caught`` of a watering that ``landed`` on the field's mean (mm).

    ``soaks`` is what goes into the ground meanwhile for each mm that lands on the mean, for a patch
    that catches more is watered no longer than others; ``held`` a depth that stays besides.
    Source: cycle-and-soak arithmetic, common practice.
    """
    return larger(caught - landed * soaks - held, 0.0)
