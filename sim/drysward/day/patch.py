"""One day of one patch: water comes, runs off, drains and evaporates, and the turf responds.

The order within a day: the rooting depth of the day is set; irrigation and rain come early, and
water above field capacity drains (the convention of the daily water balance in FAO-56 example 38);
then evaporation and transpiration; then the turf responds to the water left.

Every function takes and returns named numbers of one patch (see ``day.lanes``). They are called in
the order in which they stand here; a day without rain skips ``shed_rain``, one without water
``soak_in``. The equations are those of ``drysward.physics``.
"""

from __future__ import annotations

from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller, worse
from drysward.physics.covers import covers_within, regrowth_into_dead
from drysward.physics.crowns import (
    clock_speed,
    crown_dryness_step,
    crown_wetness,
    dormant_age_step,
    kill_share,
    wetting_step,
    worst_dryness_step,
)
from drysward.physics.curve_number import abstraction_left, rain_runoff
from drysward.physics.drainage import drain, moved_by_floor
from drysward.physics.evaporation import evaporation_reduction
from drysward.physics.interception import interception, leaf_evaporation_of
from drysward.physics.leaves import leaf_death, regreening, share_past
from drysward.physics.rise import upward_flow
from drysward.physics.transpiration import (
    available_in_surface,
    felt_depletion,
    stress_coefficient,
    transpiration_of,
    uptake_from_surface,
)


def today(
    liquid, intake_share, kcb, kc_max, eto, fc1, fc2, precipitation, snow_water, snow_before,
):  # fmt: skip
    """Numbers of the day that all patches of a field share, and today's snow for tomorrow."""
    refused = (1.0 - intake_share) * liquid
    demand = kcb * eto
    evaporative_demand = kc_max * eto
    capacity_in_reach = fc1 + fc2
    snow_error = abs(precipitation - liquid - (snow_water - snow_before))
    snow_before = snow_water
    return refused, demand, evaporative_demand, capacity_in_reach, snow_error, snow_before


def move(w1, w2, w3, thatch, shift):
    """Move the bottom of the root zone, and the water that changes layers with it."""
    before = w1 + w2 + w3 + thatch
    moved = moved_by_floor(w2, w3, shift)
    w2 += moved
    w3 -= moved
    runoff = 0.0
    return before, w2, w3, runoff


def shed_rain(
    w1, w2, liquid, refused, retention, abstraction, abstraction_slope, moisture_reference,
):  # fmt: skip
    """Runoff of rain and melt: more on wetter soil, most of it on frozen ground."""
    left = abstraction_left(abstraction, abstraction_slope, moisture_reference, w1 + w2)
    runoff = larger(rain_runoff(liquid, retention, left), refused)
    return runoff


def soak_in(
    w1, crown_water, thatch, liquid, caught, shed, thatch_storage, crown_fc, runoff,
):  # fmt: skip
    """Water that does not run off wets the thatch and enters the surface layer. The crown layer at
    its top fills first.
    """
    entering = liquid - runoff
    runoff += shed
    entering += caught - shed
    intercepted = interception(entering, thatch_storage, thatch)
    thatch += intercepted
    entering -= intercepted
    w1 += entering
    crown_water = smaller(crown_water + entering, crown_fc)
    return w1, crown_water, thatch, runoff


def sink(
    w1, w2, w3, fc1, sat1, drain1, fc2, sat2, drain2, fc3, sat3, drain3, percolation_limit,
    runoff,
):  # fmt: skip
    """Drain water from layer to layer; it backs up where percolation below is too slow."""
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
    w1, w2, w3, crown_water, thatch, green, dormant, dead, worn, inv_rooting, demand,
    evaporative_demand, fc1, wp1, dry1, crown_wp, crown_dry, inv_crown_wet, wp2, wp3, inv_taw,
    inv_taw2, inv_taw3, inv_one_less_p, uptake_weight, ground_cover, mulch, dormant_shade, tew,
    inv_tew_less_rew, upward_max,
):  # fmt: skip
    """Dry leaves and thatch, take transpiration and soil evaporation, add upward flow.

    Crown wetness is that of the morning: crowns take up new water before roots do.
    """
    leaf_evaporation = leaf_evaporation_of(thatch, evaporative_demand)
    thatch -= leaf_evaporation
    most = evaporative_demand - leaf_evaporation

    crown = larger(crown_water - crown_wp, 0.0)
    crowns_wet = crown_wetness(crown, inv_crown_wet)
    surface = available_in_surface(w1, crown_water, wp1, crown_wp)
    roots = larger(w2 - wp2, 0.0)
    ks = stress_coefficient(
        felt_depletion(surface + roots, inv_taw, inv_rooting), inv_one_less_p
    )
    transpiration = transpiration_of(demand * green * ks, most, surface + roots)
    from_surface = uptake_from_surface(transpiration, surface, roots, uptake_weight)
    w1 -= from_surface
    crown_water -= from_surface * (crown / larger(surface, NO_LESS))
    w2 -= transpiration - from_surface
    most -= transpiration

    # Worn ground has no thatch left.
    cover = (mulch + (1.0 - mulch) * worn) * (1.0 - dormant_shade * (dormant + dead))
    exposed = (1.0 - ground_cover * green) * cover
    soil_evaporation = smaller(exposed * evaporative_demand, most)
    soil_evaporation *= evaporation_reduction(fc1 - w1, tew, inv_tew_less_rew)
    soil_evaporation = smaller(soil_evaporation, larger(w1 - dry1, 0.0))
    w1 -= soil_evaporation
    crown_water -= smaller(soil_evaporation, larger(crown_water - crown_dry, 0.0))

    subsoil_wetness = clamp((w3 - wp3) * inv_taw3, 0.0, 1.0)
    rise = upward_flow(upward_max, clamp((w2 - wp2) * inv_taw2, 0.0, 1.0), subsoil_wetness)
    rise = smaller(rise, larger(w3 - wp3, 0.0))
    w2 += rise
    w3 -= rise
    return (
        w1, w2, w3, crown_water, thatch, leaf_evaporation, transpiration, soil_evaporation, ks,
        crowns_wet, subsoil_wetness,
    )  # fmt: skip


def respond(
    w1, w2, w3, crown_water, thatch, green, dormant, dead, worn, crown_dryness, worst_dryness,
    wetting, dormant_age, inv_rooting, ks, crowns_wet, subsoil_wetness, capacity_in_reach, wp1,
    crown_wp, wp2, inv_taw, inv_moist_root_zone, root_zone_speed, subsoil_least, subsoil_slowing,
    crown_clock, crown_refill, heat_kill, heat_shelter, freeze_kill, browning_drive,
    inv_browning_start, browning_rate, inv_firing_ks, firing_rate, summer_decline, recovery,
    inv_age_slowing, spread, reseed, awake, p_footprint, wilt_threshold, inv_ramp, liquid, caught,
    before, runoff, drainage, leaf_evaporation, transpiration, soil_evaporation, mean_depletion,
    mean_deficit, mean_crown_wetness, mean_footprint, mean_wilt, mean_residual,
):  # fmt: skip
    """Response of the turf: footprinting, wilt, browning, crown dryness, death, regreening, spread.

    Sums over the patches of depletion and visible stages start here, and the patch's water balance
    is closed.
    """
    available = available_in_surface(w1, crown_water, wp1, crown_wp) + larger(w2 - wp2, 0.0)
    felt = felt_depletion(available, inv_taw, inv_rooting)
    showing = green * awake
    mean_depletion += felt_depletion(available, inv_taw, 1.0)
    mean_deficit += capacity_in_reach - w1 - w2
    mean_crown_wetness += crowns_wet
    mean_footprint += showing * share_past(felt, p_footprint, inv_ramp)
    mean_wilt += showing * share_past(felt, wilt_threshold, inv_ramp)

    speed = clock_speed(
        1.0 - felt, inv_moist_root_zone, root_zone_speed, larger(subsoil_wetness, subsoil_least),
        subsoil_slowing,
    )  # fmt: skip
    crown_dryness = crown_dryness_step(crown_dryness, crowns_wet, crown_clock, crown_refill, speed)
    unsheltered = 1.0 - heat_shelter * ks
    alive = (1.0 - kill_share(worst_dryness, crown_dryness)) * (1.0 - heat_kill * unsheltered)
    alive *= 1.0 - freeze_kill
    worst_dryness = worst_dryness_step(worst_dryness, crown_dryness)
    wetting = wetting_step(wetting, crowns_wet)

    change = regreening(dormant, recovery, ks, wetting, dormant_age, inv_age_slowing)
    change -= green * leaf_death(
        ks, inv_browning_start, browning_rate, inv_firing_ks, firing_rate, browning_drive,
        summer_decline * unsheltered,
    )  # fmt: skip
    green = (green + change) * alive
    dormant = (dormant - change) * alive
    green += regrowth_into_dead(dead, ks, wetting, green, spread, reseed)
    green, dormant, dead = covers_within(green, dormant, worn)
    dormant_age = dormant_age_step(dormant_age, dormant, crowns_wet)

    out = runoff + drainage + leaf_evaporation
    out += transpiration + soil_evaporation
    now = w1 + w2 + w3 + thatch
    mean_residual = worse(abs(liquid + caught - out - (now - before)), mean_residual)
    return (
        green, dormant, dead, crown_dryness, worst_dryness, wetting, dormant_age,
        mean_depletion, mean_deficit, mean_crown_wetness, mean_footprint, mean_wilt,
        mean_residual,
    )  # fmt: skip


def add_up(
    green, dormant, dead, runoff, drainage, leaf_evaporation, soil_evaporation, transpiration,
    mean_green, mean_dormant, mean_dead, mean_runoff, mean_drainage, mean_leaf_evaporation,
    mean_soil_evaporation, mean_transpiration,
):  # fmt: skip
    """Add a patch's cover and water to the sums for the field."""
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
