"""Playing surface of one patch on one day: plain scalar equations, no state of their own.

Moisture is water by volume (0..1) of the surface layer; shares are 0..1; depths are mm.
"""

from __future__ import annotations

from drysward.compiled import jitable
from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller

_FAR = 4.0  # standard deviations beyond which nothing is left


@jitable
def hardness_g(
    moisture: float,
    intercept: float,
    slope: float,
    floor: float,
    bare_share: float,
    bare_extra: float,
    frozen: float,
    frozen_g: float,
) -> float:
    """Peak deceleration (g) of a 2.25 kg hammer: falls with moisture, rises with bare ground.

    Parameters
    ----------
    intercept, slope : of the line against ``moisture``; ``slope`` in g per unit of it.
    floor : g that no wetting goes below. bare_extra : g that fully bare ground adds.
    frozen : above 0 on frozen ground, which reads at least ``frozen_g``.

    Source: own estimate of the line's form; that hardness rises as water falls is published
    (Dickson et al. 2018), frozen ground off the scale from memory.
    """
    g = larger(intercept + slope * moisture, floor) + bare_share * bare_extra
    return larger(g, frozen_g) if frozen > 0.0 else g


@jitable
def share_beyond(mean: float, limit: float, inv_scatter: float) -> float:
    """Share of a surface above ``limit`` when its readings scatter normally about ``mean``.

    ``inv_scatter`` is one over their standard deviation, inf for none; what is below the limit
    is one less this. Source: Abramowitz & Stegun 1964 eq 26.2.18, within 0.00025.
    """
    beyond = mean - limit
    x = smaller(abs(beyond) * inv_scatter, _FAR)
    s = 1.0 + x * (0.196854 + x * (0.115194 + x * (0.000344 + x * 0.019527)))
    s *= s
    tail = 0.5 / (s * s) if x < _FAR else 0.0
    share = 1.0 - tail if beyond > 0.0 else tail
    return share if beyond != 0.0 else 0.5


@jitable
def air_filled(water_mm: float, saturation_mm: float, inv_depth: float) -> float:
    """Air-filled porosity (m3/m3) of a layer of depth 1/``inv_depth`` (mm); 0 when saturated.

    By definition.
    """
    return larger(saturation_mm - water_mm, 0.0) * inv_depth


@jitable
def by_moisture(
    moisture: float, middle_from: float, wet_from: float, dry: float, middle: float, wet: float
) -> float:
    """What a day's use wears off dry, middling or wet soil, by the class of its moisture.

    Source: use wears bermudagrass on silt loam 4 times as fast at 0.30-0.37 as at 0.06-0.21 and
    3 times as at 0.22-0.29, Dickson et al. 2018; on sand there are no classes.
    """
    drier = middle if moisture >= middle_from else dry
    return wet if moisture >= wet_from else drier


@jitable
def root_harm(airless_run_days: float, rate: float) -> float:
    """Share of the roots still there that a day without air kills.

    Parameters
    ----------
    airless_run_days : days in a row without air, today included; the first does no harm.
    rate : share a day from the second on, by soil temperature (``play.wetness.root_harm_rate``).

    Source: own estimate of the form.
    """
    return rate if airless_run_days > 1.0 else 0.0


@jitable
def root_loss_step(
    loss: float, airless_run_days: float, rate: float, heal: float, most: float
) -> float:
    """Share of roots lost after one more day: harmed without air, else healed.

    ``heal`` is the share of the lost that comes back in a day; ``most`` is never passed.
    Source: own estimate of the form.
    """
    harmed = smaller(loss + (1.0 - loss) * root_harm(airless_run_days, rate), most)
    return harmed if airless_run_days > 0.0 else loss * (1.0 - heal)


@jitable
def leaf_wet_hours(
    dew_hours: float, rain_hours: float, watered_mm: float, watering_hours: float
) -> float:
    """Hours of a night with wet leaves, no more than 24.

    ``rain_hours`` are added by rain, ``watering_hours`` by irrigation at its time of day when
    ``watered_mm`` is above 0. Source: own estimate, hours that simply add up.
    """
    hours = dew_hours + rain_hours
    if watered_mm > 0.0:
        hours += watering_hours
    return hours if hours < 24.0 else 24.0


@jitable
def disease_night(warm_night: float, wet_hours: float, least_hours: float) -> float:
    """1.0 on a night warm enough with leaves wet for at least ``least_hours``, else 0.0.

    Source: rule of thumb for brown patch of tall fescue, Oregon State University.
    """
    return 1.0 if warm_night > 0.0 and wet_hours >= least_hours else 0.0


@jitable
def skin_wanted(
    water_mm: float, target_mm: float, demand_mm: float, passes: float, most_per_pass_mm: float
) -> float:
    """Water (mm) that a skinned surface asks for today, in light passes.

    The first pass of the morning fills to the target; each later one replaces what the day's
    ``demand_mm`` of evaporation took since the pass before. Never more than ``passes`` times
    what one pass can give without puddles. Source: own estimate of the form.
    """
    wanted = target_mm - water_mm
    if passes > 1.0:
        wanted += demand_mm * (passes - 1.0) / passes
    most = passes * most_per_pass_mm
    if wanted <= 0.0:
        return 0.0
    return wanted if wanted < most else most


@jitable
def syringe_left(depth_mm: float, evaporated_share: float) -> float:
    """Water (mm) of a syringing that is left after the hour, at most for the root zone.

    Source: cooling gone within 15 to 30 minutes (trade press 2018), DiPaola 1984; the share
    is an own estimate.
    """
    return depth_mm * (1.0 - evaporated_share)


@jitable
def young_loss(surface_wetness: float, dry_below: float, rate: float) -> float:
    """Share of young plants that a day kills: none with a moist surface, ``rate`` on a dry one.

    ``surface_wetness`` is the share of available water that the surface layer holds; the loss
    grows linearly from ``dry_below`` down to 0. Source: own estimate of the form.
    """
    return rate * clamp(1.0 - surface_wetness / larger(dry_below, NO_LESS), 0.0, 1.0)
