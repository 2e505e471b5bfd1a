"""Release of nitrogen from fertilizer, by temperature and moisture.

Every product is followed as two steps: nitrogen inside the granule, and nitrogen on its way out.
"""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp

AIR_DRY_SHARE = 0.02  # of the speed of urea in moist soil
MOIST_FROM = 0.5  # share of available water from which urea goes at full speed
SATURATED_SHARE = 0.5  # of the microbes' speed at field capacity
RATED_SHARE = 0.8  # of the nitrogen of a product is out after its rated days
TWO_STEPS_TO_RATED = 2.9943  # root x of 1 - exp(-x)(1 + x) = RATED_SHARE


@equation
def q10_factor(temperature_c: float, q10: float, reference_c: float) -> float:
    """Speed of a process over that at ``reference_c``: ``q10`` times as fast for each 10 C.

    Q10^((T - Tref)/10), the form of Stanford, Frere & Schwaninger 1973 (from memory).
    """
    return q10 ** (0.1 * (temperature_c - reference_c))


@equation
def cold_limit(temperature_c: float, nil_c: float, full_c: float) -> float:
    """Factor on a process that cold soil stops: 0 at ``nil_c``, 1 from ``full_c`` on.

    Source: own estimate of the form. That nitrification is near nil below 5 C and release from
    natural organics near nil below 10 C is from memory.
    """
    return clamp((temperature_c - nil_c) / (full_c - nil_c), 0.0, 1.0)


@equation
def day_share(rate_per_d: float, factor: float) -> float:
    """Share of a pool that leaves in a day at ``rate_per_d`` (1/d) times ``factor``.

    1 - exp(-k f): first order, exact over a day of constant speed.
    """
    return 1.0 - math.exp(-rate_per_d * factor)


@equation
def urea_wetness(available_share: float) -> float:
    """Factor of moisture on the hydrolysis of urea: 0.02 in dry soil, 1 from half of the
    available water on.

    ``available_share`` is the available water of the surface layer, 0 (dry) to 1. Sources: in
    air-dry soil 73% was still urea after 30 d, Black et al. 1987; the limit of moist soil is
    from memory, the line between them our own.
    """
    wet = AIR_DRY_SHARE + (1.0 - AIR_DRY_SHARE) * (available_share / MOIST_FROM)
    return clamp(wet, AIR_DRY_SHARE, 1.0)


@equation
def microbial_wetness(available: float, filled: float) -> float:
    """Factor of moisture on soil microbes: 0 at the wilting point, 1 at field capacity, and 0.5
    at saturation.

    ``available`` is the water above the wilting point over that at field capacity, ``filled`` the
    water above field capacity over that at saturation. Source: Stanford & Epstein 1974 (from
    memory).
    """
    return clamp(available, 0.0, 1.0) - (1.0 - SATURATED_SHARE) * clamp(filled, 0.0, 1.0)


@equation
def by_wetness(weight: float, wetness: float) -> float:
    """Factor of moisture on the release of a product.

    ``weight`` is 0 where a coat sets the speed and 1 where microbes do; ``wetness`` is that of
    the microbes. Own estimate of the form.
    """
    return 1.0 - weight * (1.0 - wetness)


def coated_rate(rated_days: float, stages: float = 2.0) -> float:
    """Rate of each step (1/d) at which 80% of a product is out after ``rated_days``.

    Two equal steps in a row: 1 - exp(-x)(1 + x) = 0.8 at x = 2.994. One step: 1 - exp(-x) = 0.8.
    That a label counts days to 80% at its temperature is from memory.
    """
    one_step = -math.log(1.0 - RATED_SHARE)
    return (TWO_STEPS_TO_RATED if stages > 1.5 else one_step) / rated_days


@equation
def release_step(inside: float, leaving: float, speed: float) -> tuple[float, float, float]:
    """Nitrogen inside a product, on its way out, and released in a day (kg/ha each).

    ``speed`` is the share (``day_share``) of the morning's amount that leaves each of the two
    steps in the day. A coated product starts inside: a lag, a rise and a long tail. One without a
    lag starts on its way out. Source: own estimate of the form; a lag and then a curve in thermal
    time is how coated products are described (from memory).
    """
    entering = speed * inside
    released = speed * leaving
    return inside - entering, leaving + entering - released, released
