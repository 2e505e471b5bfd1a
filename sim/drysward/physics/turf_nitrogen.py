"""Nitrogen in turf: its status, what it takes up, and what the status does.

Status is 0 at the least nitrogen that turf lives on, 1 where more brings no more growth, and
above 1 in lush turf.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import clamp, larger

MIDDLE_STATUS = 0.5
ROOTS_SHORTEN_FROM = 0.6  # status
ROOTS_SHORTEST_AT = 1.3
SLOWS_FROM = 0.4  # room in the turf below which uptake slows
HUNGRY_FROM = 0.5  # status below which dry turf browns faster


@equation
def status(share: float, n_least: float, inv_span: float) -> float:
    """Status s = (N% - Nmin) / (Nopt - Nmin), 0 and more.

    Parameters
    ----------
    share : nitrogen of the living turf by weight of dry matter. n_least : the same at a status of
        0. inv_span : 1 over the rise from there to a status of 1.

    The usual form (from memory); 2.2 to 4.0% is sufficient, University of Georgia.
    """
    return larger((share - n_least) * inv_span, 0.0)


@equation
def growth_by_status(status: float) -> float:
    """Growth over that of turf with enough nitrogen (0..1).

    Clippings of Kentucky bluegrass and creeping bentgrass rise in proportion to nitrogen, Kussow
    et al. 2012.
    """
    return clamp(status, 0.0, 1.0)


@equation
def room(share: float, n_most: float, inv_span: float) -> float:
    """What room in the turf makes of uptake: 1 until it is nearly full, 0 in turf with the most.

    ``share`` and ``n_most`` are by weight of dry matter, ``inv_span`` is 1 over the rise from the
    least to the most. Turf with enough still empties the soil of a dose in 2 to 5 d (Bowman et al.
    1989, from memory); own estimate of the form.
    """
    return clamp((n_most - share) * inv_span * (1.0 / SLOWS_FROM), 0.0, 1.0)


@equation
def uptake(mineral: float, rate: float, water_factor: float, free: float) -> float:
    """Nitrogen that turf takes up in a day, of ``mineral`` within reach (kg N/ha).

    Parameters
    ----------
    rate : share that hungry turf takes up at the day's temperature. water_factor : 0..1, such as
        Ks. free : ``room`` in the turf.

    Growing turf empties the soil of a dose in 2 to 5 d, Bowman et al. 1989 (from memory); own
    estimate of the form.
    """
    return mineral * clamp(rate * water_factor * free, 0.0, 1.0)


@equation
def water_use_factor(status: float, effect: float) -> float:
    """Factor on the crop coefficient: 1 + a (s - 0.5), with s of at most 1.

    ``effect`` lies between 0 (no difference in irrigation, Blankenship 2011) and 0.2 (Erickson &
    Kenworthy 2011). Shape from memory.
    """
    return 1.0 + effect * (clamp(status, 0.0, 1.0) - MIDDLE_STATUS)


@equation
def root_depth_factor(status: float, lush_share: float) -> float:
    """Factor on root depth: 1 up to a status of 0.6, 1 - ``lush_share`` from 1.3 on.

    Roots are fewer below lush turf, Schlossberg & Karnok 2001; the numbers are our own estimate.
    """
    per_span = 1.0 / (ROOTS_SHORTEST_AT - ROOTS_SHORTEN_FROM)
    return 1.0 - lush_share * clamp((status - ROOTS_SHORTEN_FROM) * per_span, 0.0, 1.0)


@equation
def wear_factor(status: float, best: float, rise: float) -> float:
    """Factor on wear by use: 1 at the ``best`` status, more in hungry and in lush turf.

    1 + r (s - best)^2. An optimum in the middle is that of ryegrass under football, Canaway 1984
    (from memory); the square is our own estimate.
    """
    return 1.0 + rise * ((status - best) * (status - best))


@equation
def recovery_factor(status: float, inv_usual_growth: float) -> float:
    """Factor on regreening, spread and repair: growth over that at the ``usual`` status.

    Own estimate: repair follows growth.
    """
    return growth_by_status(status) * inv_usual_growth


@equation
def browning_factor(status: float, hungry: float) -> float:
    """Factor on browning once turf is dry: 1 from a status of 0.5 on, 1 + ``hungry`` at 0.

    Hungry turf loses quality faster once dry, Feldhake 1981 as cited later; the size is our own
    estimate.
    """
    return 1.0 + hungry * clamp(1.0 - status * (1.0 / HUNGRY_FROM), 0.0, 1.0)
