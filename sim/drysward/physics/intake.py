"""Soil intake under sprinklers: rate by slope, depth of a night without runoff, and runoff.

Depths in mm over the ground that is watered, rates in mm/h.
"""

from __future__ import annotations

import math

from drysward.compiled import equation, jitable
from drysward.physics.arithmetic import NO_LESS, clamp, larger

# Upper ends of the slope classes in the USDA's table of maximum sprinkler rates.
GENTLE, MODERATE, STRONG = 0.05, 0.08, 0.12
# The controller protocol's storage is for slopes up to here (from memory).
LEVEL = 0.03


@equation
def intake_by_slope(slope: float, to_5: float, to_8: float, to_12: float, steeper: float) -> float:
    """Intake rate of the slope's class (mm/h); the upper end of a class belongs to it.

    Source: USDA, maximum sprinkler rates by soil, slope and cover, as reprinted in 2018.
    """
    easy = to_5 if slope <= GENTLE else to_8
    hard = to_12 if slope <= STRONG else steeper
    return easy if slope <= MODERATE else hard


@equation
def storage_by_slope(slope: float, level: float, steep: float) -> float:
    """Surface storage (mm): ``level`` up to 3% slope, ``steep`` from 12%, linear between.

    Source: own estimate of the transition; the protocol's figures are for 0 to 3%.
    """
    return level + clamp((slope - LEVEL) / (STRONG - LEVEL), 0.0, 1.0) * (steep - level)


@equation
def longest_run_mm(rate: float, intake: float, surface_storage: float) -> float:
    """Depth of one run until runoff starts (mm); infinite when the soil keeps up.

    The run lasts surface storage / (rate - intake) hours. Source: test protocol for
    weather-based controllers (from memory).
    """
    outrun = 1.0 - intake / larger(rate, NO_LESS)
    return surface_storage / larger(outrun, NO_LESS) if rate > intake else math.inf


@equation
def night_take_mm(
    rate: float, intake: float, surface_storage: float, window_h: float, cycle_and_soak: float
) -> float:
    """Largest depth of a night of ``window_h`` hours without runoff (mm).

    One run's depth, or with ``cycle_and_soak`` (not 0) the intake during the window plus the
    surface storage at its end. Infinite when the soil keeps up. Source: cycle-and-soak
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
    """``soaks`` and ``storage`` of ``runoff_of_irrigation`` for one night.

    Arguments as in ``night_take_mm``. Water soaks in for the length of one run, or from evening to
    morning when the run is split, and the surface holds its storage.
    """
    split = cycle_and_soak != 0.0
    soaks = 0.0 if split else intake / larger(rate, NO_LESS)
    storage = intake * window_h + surface_storage if split else surface_storage
    return soaks, storage


@equation
def runoff_of_irrigation(caught: float, landed: float, soaks: float, storage: float) -> float:
    """Runoff of a patch that ``caught`` its part of a watering with mean depth ``landed`` (mm).

    ``soaks`` is the intake during the watering for each mm of mean depth: a patch that catches more
    is not watered for longer. ``storage`` is the depth that stays on the surface.
    Source: cycle-and-soak arithmetic, common practice.
    """
    return larger(caught - landed * soaks - storage, 0.0)
