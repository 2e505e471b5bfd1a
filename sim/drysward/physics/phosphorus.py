"""Phosphorus in runoff: what lies on the surface since feeding, and what always leaves."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.nitrogen import dissolved_kg_ha


def kept_in_a_day(half_life_d: float) -> float:
    """Share of the fertilizer phosphorus on the surface that is still free to leave a day later.

    It halves in ``half_life_d``. From memory; that losses fall steeply within a day is Shuman
    2002.
    """
    return 2.0 ** (-1.0 / half_life_d)


@equation
def p_kept_at_surface(
    p_kg_ha: float, infiltrated_mm: float, per_mm: float, day_kept: float, frozen: float
) -> float:
    """Fertilizer phosphorus that is still free on the surface after a day (kg P/ha).

    Water that enters the ground takes exp(-b mm) of it along, and turf and soil bind the rest day
    by day (``day_kept``, of ``kept_in_a_day``). Frozen ground (``frozen`` 1, else 0) binds none.
    Own estimate of the form: 10 mm leave 0.3 of it.
    """
    kept = day_kept * math.exp(-per_mm * infiltrated_mm)
    return p_kg_ha * (frozen + (1.0 - frozen) * kept)


@equation
def p_in_runoff(
    p_at_surface: float, runoff_mm: float, lift_per_mm: float, frozen_factor: float
) -> float:
    """Fertilizer phosphorus that a day's runoff takes off the field (kg P/ha).

    A (1 - exp(-b f R)) of the free phosphorus A. ``frozen_factor`` is 1 on open ground. Source:
    own estimate of the form; b from 14 to 16% in the first storm of Shuman 2002, and from 10 to
    15% on wet and 2% on dry soil of Cole et al. 1997.
    """
    return p_at_surface * (1.0 - math.exp(-lift_per_mm * frozen_factor * runoff_mm))


@equation
def background_p(runoff_mm: float, mg_l: float, bare: float, bare_factor: float) -> float:
    """Phosphorus that runoff takes from turf without any feeding (kg P/ha).

    ``mg_l`` is its concentration over full turf; over bare ground, a share ``bare`` of the field,
    it is ``bare_factor`` times as much. 0.006 kg for each mm of runoff, Steinke et al. as cited
    later; that thin turf loses more is Bierman et al. 2010.
    """
    return dissolved_kg_ha(mg_l, runoff_mm) * (1.0 + (bare_factor - 1.0) * bare)
