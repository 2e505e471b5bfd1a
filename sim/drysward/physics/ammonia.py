"""Ammonia from urea that lies on the surface."""

from __future__ import annotations

import math

from drysward.compiled import equation
from drysward.physics.arithmetic import NO_LESS, clamp, larger
from drysward.physics.fertilizer import q10_factor

ACID_PH = 6.4  # the Illinois silt loam of Torello, Wehner & Turgeon 1983
NEUTRAL_PH = 7.5
COOL_C = 10.0
WARM_C = 22.0
WARMTH_Q10 = 2.0


def ammonia_buffer(ph: float, acid_kg_ha: float, neutral_kg_ha: float) -> float:
    """Dose (kg N/ha) at which half of the most is lost, by the soil's pH.

    Acid soil binds ammonia from small doses: ``acid_kg_ha`` up to pH 6.4. On neutral or thatchy
    ground even a small dose overwhelms it: ``neutral_kg_ha`` from pH 7.5 on; equal steps of the
    logarithm between them. Source: own estimate of the form, with ends from Torello et al. 1983
    (10.3% of 293 and 1.6% of 49 kg/ha) and Black et al. 1987 (28 to 33% of 100 kg/ha).
    """
    part = clamp((ph - ACID_PH) / (NEUTRAL_PH - ACID_PH), 0.0, 1.0)
    return acid_kg_ha * (neutral_kg_ha / acid_kg_ha) ** part


@equation
def ammonia_warmth(temperature_c: float) -> float:
    """Factor of temperature on the ammonia at risk, 1 from 22 C on.

    Losses rise from 10 to 22 C and no further, Titko et al. 1987; that they double for each 10 C
    is our own estimate.
    """
    return q10_factor(clamp(temperature_c, COOL_C, WARM_C), WARMTH_Q10, WARM_C)


@equation
def urea_at_risk(
    dose_kg_ha: float, most_share: float, buffer_kg_ha: float, temperature_factor: float
) -> float:
    """Nitrogen of a dose of urea that is lost as ammonia if no water comes (kg N/ha).

    ``most_share`` is the share of a dose without limit, ``buffer_kg_ha`` that of
    ``ammonia_buffer``. The share that is lost rises with the dose, Torello et al. 1983; the form
    is our own estimate.
    """
    share = most_share * dose_kg_ha / larger(dose_kg_ha + buffer_kg_ha, NO_LESS)
    return dose_kg_ha * share * temperature_factor


@equation
def after_washing(at_risk: float, water_mm: float, per_mm: float) -> float:
    """Nitrogen still at risk after rain or irrigation: exp(-b mm) of it (kg N/ha).

    Source: derived from Black et al. 1987, where b is 0.28 for 4 mm and 0.17 for 16 mm.
    """
    return at_risk * math.exp(-per_mm * water_mm)


def lost_in_a_day(half_life_h: float) -> float:
    """Share of the nitrogen at risk that moist soil loses in a day.

    The chance to save it halves in ``half_life_h``: 12.2 h between 3 and 48 h, derived from
    Black et al. 1987.
    """
    return 1.0 - 2.0 ** (-24.0 / half_life_h)


@equation
def lost_today(at_risk: float, share: float, wetness: float) -> float:
    """Ammonia lost in a day (kg N/ha).

    ``share`` is that of a moist day (``lost_in_a_day``), ``wetness`` that of urea
    (``urea_wetness``): dry ground puts the loss off. Source: Black et al. 1987.
    """
    return at_risk * share * wetness
