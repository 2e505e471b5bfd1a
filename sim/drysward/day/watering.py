"""From what the fields of a plan ask for this morning to what their patches catch."""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable

from drysward.day.lanes import CAUGHT, LANES, SHED
from drysward.day.plan import (
    depth_for_play,
    left_by_restrictions,
    syringe_depth,
    update_pause,
    update_stage,
    wanted_depth,
)
from drysward.day.records import RULE_FIXED, RULE_NONE
from drysward.day.supply import (
    SupplyInput,
    SupplyState,
    count_supply,
    newly_unmet,
    of_plan,
    supply_day,
)
from drysward.day.surface import PlayInput
from drysward.physics.water import sprinkler_runoff


@register_jitable
def ask(
    plan: Any,
    state: Any,
    delivery: Any,
    day: Any,
    play: PlayInput,
    supply: SupplyInput,
    stage: int,
    cal: Any,
    d: int,
    f: int,
    drought_index: float,
    rain_before: Any,
    spray_loss: Any,
    water: Any,
) -> float:
    """Write what the plan asks for on field ``f`` this morning; 1 when its hours cap it, else 0.

    Parameters
    ----------
    plan, state, delivery, day, cal : records PLAN, FIELD_STATE, DELIVERY, DAY and CALENDAR.
    stage : of the site's restrictions.
    rain_before : (D + 1,). spray_loss : (times of day, D).
    water : record WATERING of the field, written.
    """
    looked_at = play.fields[f].on > 0.0
    gross = 0.0
    capped = 0.0
    if plan.rule != RULE_NONE or plan.crown_depth > 0.0:
        update_stage(plan, state, drought_index)
        update_pause(plan, state, drought_index, cal.day_of_year)
        span = min(d, int(plan.rain_skip_days))
        site_allowed, site_share, site_crown_only = True, 1.0, False
        if stage > 0 and supply.exempt[stage - 1, f] == 0.0:
            in_force = supply.stages[stage - 1]
            site_allowed = in_force.allowed[cal.weekday] > 0.0
            site_share = in_force.share
            site_crown_only = in_force.crown_only > 0.0
        allowed, left, crown_only = left_by_restrictions(
            plan, state, cal.weekday, site_allowed, site_share, site_crown_only
        )
        depth = wanted_depth(
            plan,
            state,
            day.taw,
            cal.weekday,
            cal.month,
            cal.day_of_year,
            rain_before[d] - rain_before[d - span],
            allowed,
            left,
            crown_only,
        )
        if looked_at:
            depth = depth_for_play(
                plan,
                state,
                play.fields[f],
                play.days[d, f],
                day.eto,
                cal.day_of_year,
                allowed and not crown_only,
                left,
                depth,
            )
        if depth > 0.0:
            loss = spray_loss[int(plan.time_of_day), d]
            gross = depth / ((1.0 - loss) * (1.0 - delivery.overspray))
            if gross > plan.most_depth:
                gross = plan.most_depth
                capped = 1.0
    water.syringed = 0.0
    if plan.syringe_depth > 0.0 and looked_at:
        water.syringed = syringe_depth(plan, state, play.days[d, f])
    water.asked = gross + water.syringed
    return capped


@register_jitable
def share_out_today(
    plans: Any,
    states: Any,
    delivery: Any,
    waters: Any,
    supply: SupplyInput,
    all_states: SupplyState,
    b: int,
    cal: Any,
    d: int,
    asked_m3: Any,
    share: Any,
    flows: Any,
    draws_today: Any,
) -> bool:
    """The supply gives the fields of plan ``b`` what it can; whether anything happened there.

    Parameters
    ----------
    plans, states, delivery, waters : PLAN, FIELD_STATE, DELIVERY and WATERING (F,) of the plan.
    asked_m3, share : (F,), scratch. flows : a line of SUPPLY_TRACE, written.
    draws_today : m3 from each source (S,), written.
    """
    n_fields = waters.shape[0]
    asked_of_all = 0.0
    for f in range(n_fields):
        asked_m3[f] = waters[f].asked * delivery[f].area_m2 * 0.001
        asked_of_all += asked_m3[f]
    # Without a store nothing happens at the supply on a day on which nobody asks.
    if asked_of_all <= 0.0 and supply.site[0].capacity <= 0.0:
        return False
    state = of_plan(all_states, b)
    supply_day(supply, state, asked_m3, share, flows, d, draws_today)
    flows.short = 0.0
    for f in range(n_fields):
        water = waters[f]
        water.share = share[f]
        water.missed = 0.0
        if water.asked > 0.0:
            again = plans[f].rule != RULE_FIXED
            water.missed = newly_unmet(states[f], water.asked, water.asked * share[f], again)
            flows.short += water.missed * delivery[f].area_m2 * 0.001
    store = state.store[0]
    y = cal.year
    if y >= 0:
        count_supply(flows, store, state.years[y])
        for s in range(draws_today.shape[0]):
            state.draws[y, s, cal.month] += draws_today[s]
        state.store_month[y, cal.month] = store.volume
    return True


@register_jitable
def deliver(
    plan: Any, delivery: Any, about: Any, water: Any, spray_loss: float
) -> float:
    """Where the granted water of a field goes, into ``water``; what lands on it (mm, mean).

    ``about`` is PLAY_FIELD; ``spray_loss`` the share lost in flight at the plan's time of day.
    """
    water.gross = water.asked * water.share
    # Syringing cools leaves for minutes; what does not evaporate lands with the rest.
    water.cooling = water.syringed * water.share
    water.watering = water.gross - water.cooling
    water.spray = water.watering * spray_loss
    if water.cooling > 0.0:
        water.spray += water.cooling * (1.0 - about.syringe_left)
    water.beside = (water.gross - water.spray) * delivery.overspray
    return water.gross - water.spray - water.beside


@register_jitable
def catch(
    blocks: Any, first: int, catches: Any, landed: float, field: Any, delivery: Any, soak: bool
) -> float:
    """What each patch of a field catches and sheds, into its lane; the mean caught (mm).

    Parameters
    ----------
    blocks : of the field (K, SIZE). first : number of the plan's first patch in them.
    catches : share of the mean that each patch catches (P,).
    landed : mean irrigation on the field (mm).
    soak : irrigation is split so that it never outruns the soil's intake.
    """
    total = 0.0
    for p in range(catches.shape[0]):
        block = blocks[(first + p) // LANES]
        i = (first + p) % LANES
        caught = landed * catches[p]
        shed = 0.0
        if not soak:
            shed = sprinkler_runoff(
                caught, delivery.sprinkler_rate, field.intake_rate, field.surface_storage
            )
        block[CAUGHT + i] = caught
        block[SHED + i] = shed
        total += caught
    return total / catches.shape[0]
