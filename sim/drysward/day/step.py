"""One patch, one day: water comes, runs off, sinks, leaves; the turf answers; the account closes.

The order within a day: the root zone takes its depth of the day; irrigation and rain come
early and what cannot be held drains (the convention of the daily account in FAO-56 example
38); then evaporation and transpiration; then the turf answers to what is left.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import register_jitable

from drysward.day.grass import (
    crown_dryness_step,
    kill_share,
    leaf_loss_share,
    share_past,
)
from drysward.day.water import (
    clamp,
    drain,
    evaporation_reduction,
    rain_runoff,
    sprinkler_runoff,
    stress_coefficient,
    upward_flow,
)


class Flows(NamedTuple):
    """What left one patch in a day, and what the account is short by (mm)."""

    runoff: float
    drainage: float
    leaf_evaporation: float
    soil_evaporation: float
    transpiration: float
    residual: float


@register_jitable
def patch_day(field: Any, day: Any, patch: Any, landed: float, soak: bool) -> Flows:
    """Step one patch by one day, in place; what left it, and the residual of the account.

    Parameters
    ----------
    field, day : records FIELD and DAY.
    patch : record PATCH, changed.
    landed : irrigation that lands on this patch (mm).
    soak : irrigation is split so that it never outruns the soil's intake.
    """
    w1 = patch.w1
    w2 = patch.w2
    w3 = patch.w3
    thatch = patch.thatch
    before = w1 + w2 + w3 + thatch

    # The floor of the root zone moves through the soil and takes its water along.
    shift = day.shift
    if shift > 0.0:
        moved = shift * w3
        w2 += moved
        w3 -= moved
    elif shift < 0.0:
        moved = -shift * w2
        w2 -= moved
        w3 += moved

    # --- in at the top --------------------------------------------------------------------
    liquid = day.liquid
    runoff = 0.0
    entering = 0.0
    if liquid > 0.0:
        abstraction = field.abstraction + day.abstraction_slope * (
            day.moisture_reference - (w1 + w2)
        )
        runoff = rain_runoff(liquid, field.retention, abstraction)
        shed = (1.0 - day.intake_share) * liquid
        if shed > runoff:
            runoff = shed
        entering = liquid - runoff
    if landed > 0.0:
        wasted = 0.0
        if not soak:
            wasted = sprinkler_runoff(
                landed, field.sprinkler_rate, field.intake_rate, field.surface_storage
            )
        runoff += wasted
        entering += landed - wasted

    drainage = 0.0
    if entering > 0.0:
        room = field.thatch_storage - thatch
        held = entering if entering < room else room
        thatch += held
        entering -= held
        if entering > field.infiltration_limit:
            runoff += entering - field.infiltration_limit
            entering = field.infiltration_limit
        w1 += entering

    # --- down, and back up where the bottom cannot take it -----------------------------------
    if w1 > field.fc1 or w2 > day.fc2 or w3 > day.fc3:
        down = drain(w1, field.fc1, field.sat1, field.drain1)
        w1 -= down
        w2 += down
        down = drain(w2, day.fc2, day.sat2, field.drain2)
        w2 -= down
        w3 += down
        drainage = drain(w3, day.fc3, day.sat3, field.drain3)
        if drainage > field.percolation_limit:
            drainage = field.percolation_limit
        w3 -= drainage
        over = w3 - day.sat3
        if over > 0.0:
            w3 -= over
            w2 += over
        over = w2 - day.sat2
        if over > 0.0:
            w2 -= over
            w1 += over
        over = w1 - field.sat1
        if over > 0.0:
            w1 -= over
            runoff += over

    # --- out to the air -------------------------------------------------------------------
    eto = day.eto
    most = day.kc_max * eto
    leaf_evaporation = thatch if thatch < most else most
    thatch -= leaf_evaporation
    most -= leaf_evaporation

    a1 = w1 - field.wp1
    if a1 < 0.0:
        a1 = 0.0
    a2 = w2 - day.wp2
    if a2 < 0.0:
        a2 = 0.0
    # Roots lost to lack of air leave the others with as much less of the water.
    inv_rooting = 1.0 / (1.0 - patch.root_loss) if patch.root_loss > 0.0 else 1.0
    depletion = (field.fc1 + day.fc2 - w1 - w2) * day.inv_taw * inv_rooting
    ks = stress_coefficient(depletion, day.inv_one_less_p)
    green = patch.green
    transpiration = day.kcb * green * ks * eto
    if transpiration > most:
        transpiration = most
    available = a1 + a2
    if transpiration > available:
        transpiration = available
    if transpiration > 0.0:
        weighted = field.uptake_weight * a1
        from_surface = transpiration * weighted / (weighted + a2)
        if from_surface > a1:
            from_surface = a1
        if transpiration - from_surface > a2:
            from_surface = transpiration - a2
        w1 -= from_surface
        w2 -= transpiration - from_surface
        most -= transpiration

    exposed = (1.0 - field.ground_cover * green) * field.mulch
    soil_evaporation = exposed * day.kc_max * eto
    if soil_evaporation > most:
        soil_evaporation = most
    soil_evaporation *= evaporation_reduction(field.fc1 - w1, field.tew, field.inv_tew_less_rew)
    left = w1 - field.dry1
    if soil_evaporation > left:
        soil_evaporation = left if left > 0.0 else 0.0
    w1 -= soil_evaporation

    wet3 = clamp((w3 - day.wp3) * day.inv_taw3, 0.0, 1.0)
    if field.upward_max > 0.0:
        rise = upward_flow(field.upward_max, clamp((w2 - day.wp2) * day.inv_taw2, 0.0, 1.0), wet3)
        if rise > w3 - day.wp3:
            rise = w3 - day.wp3 if w3 > day.wp3 else 0.0
        w3 -= rise
        w2 += rise

    # --- the turf answers -------------------------------------------------------------------
    depletion = (field.fc1 + day.fc2 - w1 - w2) * day.inv_taw
    felt = depletion * inv_rooting
    dormant = patch.dormant
    dead = patch.dead
    active = day.active
    awake = green * active

    crown_supply = (w1 - field.wp1) * field.inv_taw1
    rooted_supply = 1.0 - felt
    if rooted_supply > crown_supply:
        crown_supply = rooted_supply
    wetness = clamp(crown_supply * field.inv_crown_wet, 0.0, 1.0)
    from_below = clamp(wet3 * field.inv_crown_wet, 0.0, 1.0) * field.subsoil_reach
    speed = 1.0 - (1.0 - field.subsoil_speed) * from_below
    # Most days nothing is dormant, dead or drying: the guards only save work.
    before_dryness = patch.crown_dryness
    dryness = crown_dryness_step(
        before_dryness, wetness, day.crown_clock, field.crown_refill, speed
    )
    kill = 0.0
    if dryness > before_dryness:
        kill = kill_share(before_dryness, dryness)
    if day.heat_kill > 0.0:
        kill = 1.0 - (1.0 - kill) * (1.0 - day.heat_kill * (1.0 - field.heat_shelter * ks))

    if ks < field.leaf_loss_start:
        browning = (
            green
            * day.leaf_loss
            * leaf_loss_share(ks, field.leaf_loss_start, field.inv_leaf_loss_span)
        )
        green -= browning
        dormant += browning
    if patch.dormant > 0.0 and ks > field.leaf_loss_start:
        # No leaf comes back at a water supply at which leaves are still being lost.
        supply = (ks - field.leaf_loss_start) / (1.0 - field.leaf_loss_start)
        regreening = (
            patch.dormant
            * day.recovery
            * supply
            / (1.0 + patch.dormant_age * field.inv_age_slowing)
        )
        green += regreening
        dormant -= regreening
    if kill > 0.0:
        dead += kill * (green + dormant)
        green -= kill * green
        dormant -= kill * dormant
    if patch.dead > 0.0:
        refilled = patch.dead * ks * (day.spread * green + day.reseed)
        green += refilled
        dead -= refilled

    # Rounding must not push a share out of 0..1.
    green = clamp(green, 0.0, 1.0)
    bare = patch.worn
    green = min(green, 1.0 - bare)
    dormant = clamp(dormant, 0.0, 1.0 - bare - green)
    dead = 1.0 - bare - green - dormant
    if dead < 0.0:
        dead = 0.0

    patch.w1 = w1
    patch.w2 = w2
    patch.w3 = w3
    patch.thatch = thatch
    patch.green = green
    patch.dormant = dormant
    patch.dead = dead
    patch.crown_dryness = dryness
    if dormant > 0.02:
        patch.dormant_age += dormant * (1.0 - wetness)
    else:
        patch.dormant_age *= 0.9
    patch.depletion = depletion
    patch.footprint = awake * share_past(felt, day.p_footprint, field.ramp_half_width)
    patch.wilt = awake * share_past(felt, day.p_wilt, field.ramp_half_width)

    out = runoff + drainage + leaf_evaporation + transpiration + soil_evaporation
    return Flows(
        runoff,
        drainage,
        leaf_evaporation,
        soil_evaporation,
        transpiration,
        liquid + landed - out - (w1 + w2 + w3 + thatch - before),
    )
