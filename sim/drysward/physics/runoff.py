"""Rain and irrigation that the ground does not take (mm)."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, larger


@equation
def rain_runoff(rain: float, retention: float, abstraction: float) -> float:
    """Runoff of a day's rain by the curve number with continuous moisture accounting (mm).

    Parameters
    ----------
    rain : liquid water reaching the ground, not below 0.
    retention : potential retention S.
    abstraction : room left before runoff starts; 0.2 S at the reference moisture, more when
        drier, negative when the soil is so wet that runoff has begun.

    Source: NRCS NEH-630 chapter 10 (eq 10-11) at the reference moisture; the closed form for
    other moistures after Michel, Andréassian & Perrin 2005, Water Resources Research 41,
    W02011 (from memory), under which a wetter soil never ends the day holding less.
    """
    excess = larger(rain - abstraction, 0.0)
    before_it_began = excess * excess / larger(excess + retention, NO_LESS)
    room = larger(retention + abstraction, 0.0)
    held = room * room / larger(retention * retention + room * rain, NO_LESS)
    since_it_began = rain * (1.0 - held)
    return before_it_began if abstraction >= 0.0 else since_it_began


@equation
def abstraction_left(
    at_reference: float, slope: float, reference: float, root_water: float
) -> float:
    """Room left before runoff starts: less in a wetter soil (mm).

    Parameters
    ----------
    at_reference : 0.2 S, at the ``reference`` moisture (mm of the rooted depth).
    slope : mm of room lost for each mm of ``root_water`` above the reference.
    """
    return at_reference + slope * (reference - root_water)


@equation
def sprinkler_runoff(depth: float, rate: float, intake: float, surface_storage: float) -> float:
    """Runoff of one sprinkler run: rate over intake, less what the surface holds (mm).

    ``rate`` and ``intake`` in mm/h. Source: cycle-and-soak arithmetic, common practice.
    """
    excess = larger(depth * (1.0 - intake / larger(rate, NO_LESS)) - surface_storage, 0.0)
    return excess if (rate > intake) & (depth > 0.0) else 0.0
