"""Water moving through one patch in one day: plain scalar equations, no state of their own.

All depths in mm, all rates in mm/d unless named otherwise.
"""

from __future__ import annotations

from numba.extending import register_jitable

# Stands in for a divisor that is nought, where what it divides is nought too.
NO_LESS = 1e-300


@register_jitable
def larger(a: float, b: float) -> float:
    """The larger of two numbers. The built-in minds NaN, which costs a branch."""
    return a if a > b else b


@register_jitable
def smaller(a: float, b: float) -> float:
    """The smaller of two numbers."""
    return a if a < b else b


@register_jitable
def worse(a: float, b: float) -> float:
    """The larger of two errors; no number when either is none, so that it is not lost."""
    return a if a > b or a != a else b


@register_jitable
def clamp(value: float, low: float, high: float) -> float:
    """``value`` held between ``low`` and ``high``."""
    return smaller(larger(value, low), high)


@register_jitable
def rain_runoff(rain: float, retention: float, abstraction: float) -> float:
    """Runoff of a day's rain by the curve number with continuous moisture accounting.

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


@register_jitable
def sprinkler_runoff(depth: float, rate: float, intake: float, surface_storage: float) -> float:
    """Runoff of one sprinkler run: rate over intake, less what the surface holds.

    ``rate`` and ``intake`` in mm/h. Source: cycle-and-soak arithmetic, common practice.
    """
    if rate <= intake or depth <= 0.0:
        return 0.0
    excess = depth * (1.0 - intake / rate) - surface_storage
    return excess if excess > 0.0 else 0.0


@register_jitable
def drain(water: float, field_capacity: float, saturation: float, share: float) -> float:
    """Water leaving a layer downwards: a share of what is above field capacity in a day.

    What is above saturation passes at once. Source: linear reservoir; the share comes from
    the power-law conductivity under unit gradient (see ``soil.pedotransfer``).
    """
    down = larger(share * (water - field_capacity), water - saturation)
    return larger(down, 0.0)


@register_jitable
def stress_coefficient(depletion: float, inv_one_less_p: float) -> float:
    """Ks of FAO-56 eq 84 from the depletion fraction Dr/TAW and 1/(1 - p)."""
    return clamp((1.0 - depletion) * inv_one_less_p, 0.0, 1.0)


@register_jitable
def evaporation_reduction(depletion: float, tew: float, inv_tew_less_rew: float) -> float:
    """Kr of FAO-56 eq 74 from the depletion of the surface layer (mm)."""
    return clamp((tew - depletion) * inv_tew_less_rew, 0.0, 1.0)


@register_jitable
def upward_flow(most: float, root_wetness: float, subsoil_wetness: float) -> float:
    """Water rising from the subsoil to the roots: none to wet roots, none from dry subsoil.

    Wetness is the share of available water, held to 0..1. Source: own estimate of the form;
    the rate by soil is a parameter with its own grade.
    """
    return most * (1.0 - root_wetness) * subsoil_wetness
