"""The day of one patch: water comes, runs off, sinks, leaves; the turf answers.

The order within a day: the root zone takes its depth of the day; irrigation and rain come
early and what cannot be held drains (the convention of the daily account in FAO-56 example
38); then evaporation and transpiration; then the turf answers to what is left.

Every function takes and returns named numbers of one patch (see ``day.lanes``), in the order in
which they are called; without rain there is no ``shed_rain``, without water no ``soak_in``. The
equations are those of ``drysward.physics``.
"""

from __future__ import annotations

from drysward.physics.arithmetic import clamp, larger, smaller, worse
from drysward.physics.covers import covers_within, regrowth_into_dead
from drysward.physics.crowns import (
    clock_speed,
    crown_dryness_step,
    crown_wetness,
    dormant_age_step,
    kill_share,
)
from drysward.physics.curve_number import abstraction_left, rain_runoff
from drysward.physics.drainage import drain, moved_by_floor
from drysward.physics.evaporation import evaporation_reduction
from drysward.physics.interception import interception, leaf_evaporation_of
from drysward.physics.leaves import leaf_loss_share, regreening, share_past
from drysward.physics.rise import upward_flow
from drysward.physics.transpiration import (
    stress_coefficient,
    transpiration_of,
    uptake_from_surface,
)


def today(
    liquid, intake_share, kcb, kc_max, eto, fc1, fc2, recovery, leaf_loss_start, precipitation,
    snow_water, snow_before,
):  # fmt: skip
    """What all patches of the field need to know of the day, and tomorrow of today's snow."""
    refused = (1.0 - intake_share) * liquid
    demand = kcb * eto
    evaporative_demand = kc_max * eto
    held_in_reach = fc1 + fc2
    regreening_rate = recovery / (1.0 - leaf_loss_start)
    snow_error = abs(precipitation - liquid - (snow_water - snow_before))
    snow_before = snow_water
    return (
        refused, demand, evaporative_demand, held_in_reach, regreening_rate, snow_error,
        snow_before,
    )  # fmt: skip


def move(w1, w2, w3, thatch, shift):
    """The floor of the root zone moves through the soil and takes its water along."""
    before = w1 + w2 + w3 + thatch
    moved = moved_by_floor(w2, w3, shift)
    w2 += moved
    w3 -= moved
    runoff = 0.0
    return before, w2, w3, runoff


def shed_rain(
    w1, w2, liquid, refused, retention, abstraction, abstraction_slope, moisture_reference,
):  # fmt: skip
    """Rain and melt run off, the more the wetter the soil; frozen ground refuses most."""
    left = abstraction_left(abstraction, abstraction_slope, moisture_reference, w1 + w2)
    runoff = larger(rain_runoff(liquid, retention, left), refused)
    return runoff


def soak_in(w1, thatch, liquid, caught, shed, thatch_storage, infiltration_limit, runoff):
    """What does not run off wets the thatch and enters the surface layer."""
    entering = liquid - runoff
    runoff += shed
    entering += caught - shed
    held = interception(entering, thatch_storage, thatch)
    thatch += held
    entering -= held
    over = larger(entering - infiltration_limit, 0.0)
    runoff += over
    w1 += entering - over
    return w1, thatch, runoff


def sink(
    w1, w2, w3, fc1, sat1, drain1, fc2, sat2, drain2, fc3, sat3, drain3, percolation_limit,
    runoff,
):  # fmt: skip
    """Water drains from layer to layer, and backs up where the bottom cannot take it."""
    down = drain(w1, fc1, sat1, drain1)
    w1 -= down
    w2 += down
    down = drain(w2, fc2, sat2, drain2)
    w2 -= down
    w3 += down
    drainage = smaller(drain(w3, fc3, sat3, drain3), percolation_limit)
    w3 -= drainage
    over = larger(w3 - sat3, 0.0)
    w3 -= over
    w2 += over
    over = larger(w2 - sat2, 0.0)
    w2 -= over
    w1 += over
    over = larger(w1 - sat1, 0.0)
    w1 -= over
    runoff += over
    return w1, w2, w3, drainage, runoff


def dry(
    w1, w2, w3, thatch, green, inv_rooting, demand, evaporative_demand, held_in_reach, fc1, wp1,
    dry1, wp2, wp3, inv_taw, inv_taw2, inv_taw3, inv_one_less_p, uptake_weight, ground_cover,
    mulch, tew, inv_tew_less_rew, upward_max,
):  # fmt: skip
    """Leaves and thatch dry, turf transpires, bare soil evaporates, the subsoil feeds the roots."""
    leaf_evaporation = leaf_evaporation_of(thatch, evaporative_demand)
    thatch -= leaf_evaporation
    most = evaporative_demand - leaf_evaporation

    surface = larger(w1 - wp1, 0.0)
    roots = larger(w2 - wp2, 0.0)
    # Roots lost to lack of air leave the others with as much less of the water.
    ks = stress_coefficient((held_in_reach - w1 - w2) * inv_taw * inv_rooting, inv_one_less_p)
    transpiration = transpiration_of(demand * green * ks, most, surface + roots)
    from_surface = uptake_from_surface(transpiration, surface, roots, uptake_weight)
    w1 -= from_surface
    w2 -= transpiration - from_surface
    most -= transpiration

    exposed = (1.0 - ground_cover * green) * mulch
    soil_evaporation = smaller(exposed * evaporative_demand, most)
    soil_evaporation *= evaporation_reduction(fc1 - w1, tew, inv_tew_less_rew)
    soil_evaporation = smaller(soil_evaporation, larger(w1 - dry1, 0.0))
    w1 -= soil_evaporation

    subsoil_wetness = clamp((w3 - wp3) * inv_taw3, 0.0, 1.0)
    rise = upward_flow(upward_max, clamp((w2 - wp2) * inv_taw2, 0.0, 1.0), subsoil_wetness)
    rise = smaller(rise, larger(w3 - wp3, 0.0))
    w2 += rise
    w3 -= rise
    return (
        w1, w2, w3, thatch, leaf_evaporation, transpiration, soil_evaporation, ks, subsoil_wetness
    )  # fmt: skip


def answer(
    w1, w2, w3, thatch, green, dormant, dead, worn, crown_dryness, dormant_age, inv_rooting, ks,
    subsoil_wetness, held_in_reach, wp1, inv_taw, inv_taw1, inv_crown_wet, subsoil_reach,
    subsoil_speed, crown_clock, crown_refill, heat_kill, heat_shelter, freeze_kill, leaf_loss,
    leaf_loss_start, inv_leaf_loss_span, regreening_rate, inv_age_slowing, spread, reseed,
    awake, p_footprint, wilt_threshold, inv_ramp, liquid, caught, before, runoff, drainage,
    leaf_evaporation, transpiration, soil_evaporation, mean_depletion, mean_footprint,
    mean_wilt, mean_residual,
):  # fmt: skip
    """Leaves footprint, wilt and brown, crowns dry or drink, plants die, come back or spread.

    Sums over the patches of what leaves show begin here, and the water account is closed.
    """
    depletion = (held_in_reach - w1 - w2) * inv_taw
    felt = depletion * inv_rooting
    showing = green * awake
    mean_depletion += depletion
    mean_footprint += showing * share_past(felt, p_footprint, inv_ramp)
    mean_wilt += showing * share_past(felt, wilt_threshold, inv_ramp)

    wetness = crown_wetness((w1 - wp1) * inv_taw1, felt, inv_crown_wet)
    speed = clock_speed(subsoil_wetness, inv_crown_wet, subsoil_reach, subsoil_speed)
    drier = crown_dryness_step(crown_dryness, wetness, crown_clock, crown_refill, speed)
    alive = (1.0 - kill_share(crown_dryness, drier)) * (1.0 - heat_kill * (1.0 - heat_shelter * ks))
    alive *= 1.0 - freeze_kill
    crown_dryness = drier

    browning = green * leaf_loss * leaf_loss_share(ks, leaf_loss_start, inv_leaf_loss_span)
    change = (
        regreening(dormant, regreening_rate, ks, leaf_loss_start, dormant_age, inv_age_slowing)
        - browning
    )
    green = (green + change) * alive
    dormant = (dormant - change) * alive
    green += regrowth_into_dead(dead, ks, green, spread, reseed)
    green, dormant, dead = covers_within(green, dormant, worn)
    dormant_age = dormant_age_step(dormant_age, dormant, wetness)

    out = runoff + drainage + leaf_evaporation
    out += transpiration + soil_evaporation
    now = w1 + w2 + w3 + thatch
    mean_residual = worse(abs(liquid + caught - out - (now - before)), mean_residual)
    return (
        green, dormant, dead, crown_dryness, dormant_age,
        mean_depletion, mean_footprint, mean_wilt, mean_residual,
    )  # fmt: skip


def add_up(
    green, dormant, dead, runoff, drainage, leaf_evaporation, soil_evaporation, transpiration,
    mean_green, mean_dormant, mean_dead, mean_runoff, mean_drainage, mean_leaf_evaporation,
    mean_soil_evaporation, mean_transpiration,
):  # fmt: skip
    """The patch's part of the field's sums."""
    mean_green += green
    mean_dormant += dormant
    mean_dead += dead
    mean_runoff += runoff
    mean_drainage += drainage
    mean_leaf_evaporation += leaf_evaporation
    mean_soil_evaporation += soil_evaporation
    mean_transpiration += transpiration
    return (
        mean_green, mean_dormant, mean_dead, mean_runoff, mean_drainage, mean_leaf_evaporation,
        mean_soil_evaporation, mean_transpiration,
    )  # fmt: skip
