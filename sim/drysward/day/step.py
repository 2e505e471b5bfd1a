"""One day of the patches in a block: water comes, runs off, sinks, leaves; the turf answers.

The order within a day: the root zone takes its depth of the day; irrigation and rain come
early and what cannot be held drains (the convention of the daily account in FAO-56 example
38); then evaporation and transpiration; then the turf answers to what is left.

Each part loops over the lanes of a block, with no branch that differs from lane to lane, so that
the compiler steps several at a time. What does not differ is read before the loop: writing to a
block might change it, as far as the compiler knows.
"""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable

from drysward.day.lanes import (
    BEFORE,
    CAUGHT,
    CROWN_DRYNESS,
    DEAD,
    DEPLETION,
    DORMANT,
    DORMANT_AGE,
    DRAINAGE,
    FOOTPRINT,
    GREEN,
    INV_ROOTING,
    KS,
    LANES,
    LEAF_EVAPORATION,
    RESIDUAL,
    RUNOFF,
    SHED,
    SOIL_EVAPORATION,
    THATCH,
    TRANSPIRATION,
    W1,
    W2,
    W3,
    WET3,
    WILT,
    WORN,
)
from drysward.physics.grass import (
    covers_within,
    crown_dryness_step,
    kill_share,
    leaf_loss_share,
    share_past,
)
from drysward.physics.water import (
    NO_LESS,
    clamp,
    drain,
    evaporation_reduction,
    larger,
    rain_runoff,
    smaller,
    stress_coefficient,
    upward_flow,
)


@register_jitable
def block_day(field: Any, day: Any, block: Any) -> None:
    """Step the patches of a block by one day, in place; RESIDUAL is what the account is short by.

    Parameters
    ----------
    field, day : records FIELD and DAY.
    block : see ``day.lanes``; CAUGHT and SHED are the irrigation (mm) of the day.
    """
    wet(field, day, block)
    dry(field, day, block)
    answer(field, day, block)


@register_jitable
def wet(field: Any, day: Any, block: Any) -> None:
    """The root zone takes its depth; water runs off, enters, sinks, and backs up where it must."""
    up, down = larger(-day.shift, 0.0), larger(day.shift, 0.0)
    liquid = day.liquid
    refused = (1.0 - day.intake_share) * liquid
    retention, at_reference = field.retention, field.abstraction
    slope, reference = day.abstraction_slope, day.moisture_reference
    storage, intake = field.thatch_storage, field.infiltration_limit
    fc1, sat1, drain1 = field.fc1, field.sat1, field.drain1
    fc2, sat2, drain2 = day.fc2, day.sat2, field.drain2
    fc3, sat3, drain3 = day.fc3, day.sat3, field.drain3
    percolation = field.percolation_limit
    for i in range(LANES):
        w1 = block[W1 + i]
        w2 = block[W2 + i]
        w3 = block[W3 + i]
        thatch = block[THATCH + i]
        block[BEFORE + i] = w1 + w2 + w3 + thatch
        # The floor of the root zone moves through the soil and takes its water along.
        moved = down * w3 - up * w2
        w2 += moved
        w3 -= moved

        abstraction = at_reference + slope * (reference - (w1 + w2))
        runoff = larger(rain_runoff(liquid, retention, abstraction), refused)
        entering = liquid - runoff
        shed = block[SHED + i]
        runoff += shed
        entering += block[CAUGHT + i] - shed
        held = smaller(entering, storage - thatch)
        entering -= held
        over = larger(entering - intake, 0.0)
        runoff += over
        w1 += entering - over

        down1 = drain(w1, fc1, sat1, drain1)
        w1 -= down1
        w2 += down1
        down2 = drain(w2, fc2, sat2, drain2)
        w2 -= down2
        w3 += down2
        drainage = smaller(drain(w3, fc3, sat3, drain3), percolation)
        w3 -= drainage
        # Back up where the bottom cannot take it.
        over = larger(w3 - sat3, 0.0)
        w3 -= over
        w2 += over
        over = larger(w2 - sat2, 0.0)
        w2 -= over
        w1 += over
        over = larger(w1 - sat1, 0.0)
        block[W1 + i] = w1 - over
        block[W2 + i] = w2
        block[W3 + i] = w3
        block[THATCH + i] = thatch + held
        block[DRAINAGE + i] = drainage
        block[RUNOFF + i] = runoff + over


@register_jitable
def dry(field: Any, day: Any, block: Any) -> None:
    """Leaves and thatch dry, turf transpires, bare soil evaporates, the subsoil feeds the roots."""
    eto, demand = day.eto, day.kcb * day.eto
    most_of_all = day.kc_max * eto
    held = field.fc1 + day.fc2
    fc1, wp1, dry1 = field.fc1, field.wp1, field.dry1
    wp2, wp3 = day.wp2, day.wp3
    inv_taw, inv_taw2, inv_taw3 = day.inv_taw, day.inv_taw2, day.inv_taw3
    inv_one_less_p = day.inv_one_less_p
    weight, ground_cover, mulch = field.uptake_weight, field.ground_cover, field.mulch
    tew, inv_tew_less_rew, upward_max = field.tew, field.inv_tew_less_rew, field.upward_max
    for i in range(LANES):
        w1 = block[W1 + i]
        w2 = block[W2 + i]
        thatch = block[THATCH + i]
        leaf_evaporation = smaller(thatch, most_of_all)
        most = most_of_all - leaf_evaporation

        a1 = larger(w1 - wp1, 0.0)
        a2 = larger(w2 - wp2, 0.0)
        # Roots lost to lack of air leave the others with as much less of the water.
        depletion = (held - w1 - w2) * inv_taw * block[INV_ROOTING + i]
        ks = stress_coefficient(depletion, inv_one_less_p)
        green = block[GREEN + i]
        transpiration = smaller(smaller(demand * green * ks, most), a1 + a2)
        weighted = weight * a1
        # With no water to share out, none is transpired.
        from_surface = transpiration * weighted / larger(weighted + a2, NO_LESS)
        from_surface = larger(smaller(from_surface, a1), transpiration - a2)
        w1 -= from_surface
        w2 -= transpiration - from_surface
        most -= transpiration

        exposed = (1.0 - ground_cover * green) * mulch
        evaporation = smaller(exposed * most_of_all, most)
        evaporation *= evaporation_reduction(fc1 - w1, tew, inv_tew_less_rew)
        evaporation = smaller(evaporation, larger(w1 - dry1, 0.0))

        w3 = block[W3 + i]
        wet3 = clamp((w3 - wp3) * inv_taw3, 0.0, 1.0)
        rise = upward_flow(upward_max, clamp((w2 - wp2) * inv_taw2, 0.0, 1.0), wet3)
        rise = smaller(rise, larger(w3 - wp3, 0.0))
        block[W1 + i] = w1 - evaporation
        block[W2 + i] = w2 + rise
        block[W3 + i] = w3 - rise
        block[THATCH + i] = thatch - leaf_evaporation
        block[LEAF_EVAPORATION + i] = leaf_evaporation
        block[TRANSPIRATION + i] = transpiration
        block[SOIL_EVAPORATION + i] = evaporation
        block[KS + i] = ks
        block[WET3 + i] = wet3


@register_jitable
def answer(field: Any, day: Any, block: Any) -> None:
    """Leaves footprint, wilt and brown, crowns dry or drink, plants die, come back or spread; the
    water account is closed.
    """
    liquid = day.liquid
    held = field.fc1 + day.fc2
    wp1, inv_taw, inv_taw1 = field.wp1, day.inv_taw, field.inv_taw1
    inv_crown_wet, reach, slowest = field.inv_crown_wet, field.subsoil_reach, field.subsoil_speed
    clock, refill = day.crown_clock, field.crown_refill
    heat_kill, shelter = day.heat_kill, field.heat_shelter
    start, inv_span, leaf_loss = field.leaf_loss_start, field.inv_leaf_loss_span, day.leaf_loss
    recovery = day.recovery / (1.0 - start)
    inv_slowing, spread, reseed = field.inv_age_slowing, day.spread, day.reseed
    active, p_footprint, p_wilt = day.active, day.p_footprint, day.wilt_threshold
    inv_ramp = field.inv_ramp
    for i in range(LANES):
        w1 = block[W1 + i]
        ks = block[KS + i]
        w2 = block[W2 + i]
        depletion = (held - w1 - w2) * inv_taw
        felt = depletion * block[INV_ROOTING + i]
        green_before = block[GREEN + i]
        dormant_before = block[DORMANT + i]

        wetness = clamp(larger((w1 - wp1) * inv_taw1, 1.0 - felt) * inv_crown_wet, 0.0, 1.0)
        from_below = clamp(block[WET3 + i] * inv_crown_wet, 0.0, 1.0) * reach
        speed = 1.0 - (1.0 - slowest) * from_below
        dryness = block[CROWN_DRYNESS + i]
        drier = crown_dryness_step(dryness, wetness, clock, refill, speed)
        alive = (1.0 - kill_share(dryness, drier)) * (1.0 - heat_kill * (1.0 - shelter * ks))

        browning = green_before * leaf_loss * leaf_loss_share(ks, start, inv_span)
        # No leaf comes back at a water supply at which leaves are still being lost.
        age = block[DORMANT_AGE + i]
        regreening = dormant_before * recovery * larger(ks - start, 0.0) / (1.0 + age * inv_slowing)
        change = regreening - browning
        green = (green_before + change) * alive
        dormant = (dormant_before - change) * alive
        green += block[DEAD + i] * ks * (spread * green + reseed)
        green, dormant, dead = covers_within(green, dormant, block[WORN + i])

        awake = green_before * active
        block[GREEN + i] = green
        block[DORMANT + i] = dormant
        block[DEAD + i] = dead
        block[CROWN_DRYNESS + i] = drier
        block[DORMANT_AGE + i] = age + dormant * (1.0 - wetness) if dormant > 0.02 else 0.9 * age
        block[DEPLETION + i] = depletion
        block[FOOTPRINT + i] = awake * share_past(felt, p_footprint, inv_ramp)
        block[WILT + i] = awake * share_past(felt, p_wilt, inv_ramp)

        out = block[RUNOFF + i] + block[DRAINAGE + i] + block[LEAF_EVAPORATION + i]
        out += block[TRANSPIRATION + i] + block[SOIL_EVAPORATION + i]
        now = w1 + w2 + block[W3 + i] + block[THATCH + i]
        block[RESIDUAL + i] = liquid + block[CAUGHT + i] - out - (now - block[BEFORE + i])
