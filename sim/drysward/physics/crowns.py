"""Crowns: wetness of their soil layer, their dryness, and death from it."""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger

LEAST_DORMANT = 0.02  # cover at which dormancy starts to age; own estimate
AGE_KEPT = 0.9  # of the age left each day after dormancy has ended; own estimate
# Survivors of a drought are the hardier plants; share of that kept a day once their crowns are
# hydrated, as plants of all kinds take their place (own estimate: half of it after ten weeks).
HARDINESS_KEPT = 0.99
WETTING_SHARE = 0.5  # of the step to full wetness on a wet day; own estimate
WETTING_KEPT = 0.9  # of it after a dry day; own estimate: about ten days


@equation
def crown_wetness(crown_mm: float, inv_wet_mm: float) -> float:
    """Water uptake of crowns: 0 at the wilting point of their layer, 1 with enough water.

    ``crown_mm`` is the water of the crown layer above its wilting point, ``inv_wet_mm`` 1 over
    the water that is enough.
    """
    return clamp(crown_mm * inv_wet_mm, 0.0, 1.0)


@equation
def clock_speed(
    root_zone: float, inv_moist: float, slowest: float, subsoil: float, held: float
) -> float:
    """Drying speed of dry crowns, slowed by moist soil around and below the roots.

    Parameters
    ----------
    root_zone : available water that roots feel, as a share; ``inv_moist`` is 1 over the share
        that slows drying in full, down to ``slowest``.
    subsoil : moisture of the soil below the densest roots (0..1); ``held``: how much of the speed
        it takes when moist.

    Source: own estimate of the form. The contrast of dead turf on 100 mm of soil and living turf
    on 430 mm (Chalmers 2007; Steinke et al. 2011) stands behind it.
    """
    around = 1.0 - (1.0 - slowest) * clamp(root_zone * inv_moist, 0.0, 1.0)
    return around * (1.0 - held * subsoil)


@equation
def crown_dryness_step(
    dryness: float, wetness: float, clock: float, refill: float, speed: float
) -> float:
    """Crown dryness after one day.

    Parameters
    ----------
    dryness : 0 fully hydrated; 1 when half of the plants are dead.
    wetness : of the crown layer, 0 to 1.
    clock : dryness gained in a day with everything dry, at the day's temperature and demand.
    refill : dryness lost in a day with crowns wet.
    speed : below 1 when moist soil around and below the roots keeps crowns hydrated.
    """
    after = dryness + clock * speed * (1.0 - wetness) - refill * wetness
    return larger(after, 0.0)


@equation
def inverse_survival(dryness: float) -> float:
    """One over the share of plants alive at a crown dryness (dose over median lethal dose).

    1 + u^4: log-logistic dose response with steepness 4. Source: own estimate of the
    steepness; the medians by species carry their own grades.
    """
    square = dryness * dryness
    return 1.0 + square * square


@equation
def kill_share(worst: float, dryness: float) -> float:
    """Share of living plants that die as crowns dry beyond the ``worst`` dryness they survived."""
    return 1.0 - inverse_survival(worst) / inverse_survival(larger(worst, dryness))


@equation
def worst_dryness_step(worst: float, dryness: float) -> float:
    """The worst crown dryness that the living plants have survived, after one more day.

    Reset only by full hydration: plants that survived a dryness once survive it again.
    """
    return larger(dryness, worst if dryness > 0.0 else HARDINESS_KEPT * worst)


@equation
def wetting_step(wetting: float, wetness: float) -> float:
    """Memory of a wet surface (0..1), which shoots need to regrow, after one more day.

    Source: own estimate of the form; roots empty the crown layer within days of each wetting, and
    shoots go on growing.
    """
    return larger(WETTING_KEPT * wetting, wetting + WETTING_SHARE * (wetness - wetting))


@equation
def dormant_age_step(age: float, dormant: float, wetness: float) -> float:
    """Age of dormancy after one more day: dry days so far, weighted by dormant cover.

    It goes back to 0 once the cover is green.

    Source: own estimate of the form.
    """
    return age + dormant * (1.0 - wetness) if dormant > LEAST_DORMANT else AGE_KEPT * age
