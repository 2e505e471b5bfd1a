"""All days of some plans on one site: fields ask, the supply gives, patches live, sums are kept.

Plans have nothing to do with one another. They go through the days together because their patches
can then be stepped side by side, and what a day is to a field is read once for all.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import register_jitable

from drysward.day.counting import (
    NO_DORMANCY,
    count_odds,
    count_spells,
    count_stages,
    count_water,
    mean_of_patches,
    tell_day,
    tell_play,
    time_recovery,
    water_in_field,
)
from drysward.day.lanes import (
    AIRLESS_DAYS,
    CROWN_DRYNESS,
    DEAD,
    DORMANT,
    DORMANT_AGE,
    FOOTPRINT,
    GREEN,
    INV_ROOTING,
    LANES,
    ROOT_LOSS,
    WILT,
    WORN,
)
from drysward.day.records import AT_DORMANT, EVENING, WEEK
from drysward.day.step import block_day
from drysward.day.supply import SupplyInput, SupplyState, new_allowances, update_site_stage
from drysward.day.surface import PlayInput, count_play, count_use, play_block, play_shares
from drysward.day.watering import ask, catch, deliver, share_out_today
from drysward.physics.water import worse


@register_jitable
def start_turf(blocks: Any, first: int, n: int, bare: bool) -> None:
    """Established turf, crowns hydrated, or bare ground on the ``n`` patches from number
    ``first`` on. Soil water is left as it is.
    """
    for number in range(first, first + n):
        block = blocks[number // LANES]
        i = number % LANES
        block[GREEN + i] = 0.0 if bare else 1.0
        block[WORN + i] = 1.0 if bare else 0.0
        block[DORMANT + i] = 0.0
        block[DEAD + i] = 0.0
        block[ROOT_LOSS + i] = 0.0
        block[INV_ROOTING + i] = 1.0
        block[AIRLESS_DAYS + i] = 0.0
        block[CROWN_DRYNESS + i] = 0.0
        block[DORMANT_AGE + i] = 0.0
        block[FOOTPRINT + i] = 0.0
        block[WILT + i] = 0.0


@register_jitable
def start_year(state: Any) -> None:
    """Forget the running counts of the last year; what the waterer knows stays."""
    state.airless_run = 0.0
    state.wilt_run = 0.0
    state.dormant_run = 0.0
    state.peak_dormant = 0.0
    state.recovery_clock = 0.0
    state.recovering = 0.0
    state.paused_days = 0.0
    for i in range(WEEK):
        state.last_week[i] = 0.0


@register_jitable
def learn(plan: Any, state: Any, day: Any, mean: Any, water: Any, weekday: int) -> None:
    """What the person who waters knows of the field tomorrow."""
    state.depletion = mean.depletion
    state.dormant = mean.dormant
    state.wilt = mean.wilt
    owed = state.owed_et + day.kc * day.eto - day.liquid
    if water.watering > 0.0:
        state.days_since_water = 1.0
        if plan.share > 0.0:
            owed -= water.caught / (plan.share * plan.run_time_multiplier)
    else:
        state.days_since_water += 1.0
    # Nobody waters for more than the soil has room for: a dry winter is not owed in spring.
    room = mean.depletion * day.taw
    if owed > room:
        owed = room
    state.owed_et = owed if owed > 0.0 else 0.0
    state.last_week[weekday] = water.gross


class Desk(NamedTuple):
    """What a day is worked out on; nothing of it is carried to the next but ``waters.told``.

    WATERING (B, F), means FIELD_DAY (1,), ``shares`` PLAY_SHARES (1,), ``at_supply`` SUPPLY_TRACE
    (1,), and m3 asked for and share granted (F,) and drawn from each source (S,).
    """

    waters: Any
    mean: Any
    shares: Any
    at_supply: Any
    asked_m3: Any
    share: Any
    draws_m3: Any


def run_site(
    fields: Any,
    days: Any,
    calendar: Any,
    from_day: int,
    rain_before: Any,
    drought_index: Any,
    spray_loss: Any,
    plans: Any,
    delivery: Any,
    catches: Any,
    supply: SupplyInput,
    supply_states: SupplyState,
    play: PlayInput,
    play_years: Any,
    reached: Any,
    fresh_turf_each_year: bool,
    blocks: Any,
    states: Any,
    years: Any,
    odds: Any,
    green_sum: Any,
    desk: Desk,
    trace: Any,
    trace_from: int,
) -> None:
    """Run B plans over all days of a site, in place.

    Parameters
    ----------
    fields : FIELD (F,). days : DAY (D, F). calendar : CALENDAR (D,).
    from_day : first day to run; those before only tell what rain fell and snow lay.
    rain_before : rain summed over all days before each (D + 1,), mm.
    drought_index : (D,), mm. spray_loss : share lost in flight (times of day, D).
    plans : PLAN (B, F), the plans as each field follows them. delivery : DELIVERY (B, F).
    catches : share of the mean irrigation that each patch catches (B, F, P), mean 1 by field.
    supply, supply_states : what the fields of a plan share, see ``day.supply``; every array of
        the states leads with the plan, and they are changed.
    play : what the surface is played on for, see ``day.surface``. play_years : PLAY_YEAR
        (B, F, Y), written for the fields that are looked at.
    reached : share of a field at which a stage counts as reached (4,).
    fresh_turf_each_year : start every turf year with established turf.
    blocks : the patches (F, K, SIZE), see ``day.lanes``, changed.
    states : FIELD_STATE (B, F), changed.
    years : YEAR (B, F, Y), written. odds : days on which a stage was reached (B, F, 4, 366),
        added to. green_sum : sum of green cover by calendar day (B, F, 366), added to.
    desk : what the day is worked out on.
    trace : TRACE (B, T, F), written for T days from day ``trace_from``; T may be 0.
    """
    n_plans, n_fields, n_patches = catches.shape
    n_days = calendar.shape[0]
    waters = desk.waters
    shares, mean, at_supply = desk.shares[0], desk.mean[0], desk.at_supply[0]
    has_supply = supply.site[0].on > 0.0

    for d in range(from_day, n_days):
        cal = calendar[d]
        y = cal.year
        doy = cal.day_of_year
        index = drought_index[d]
        t = d - trace_from
        is_told = 0 <= t < trace.shape[1]

        # --- everybody asks, and the supply gives --------------------------------------------
        for b in range(n_plans):
            stage = 0
            if has_supply:
                store = supply_states.store[b, 0]
                if cal.first == 1 and y >= 0:
                    supply_states.years[b, y].least_store = store.volume
                new_month = cal.month != store.month
                store.month = cal.month
                used = supply_states.used[b]
                new_allowances(supply.sources, used, cal.weekday, new_month, cal.first == 1)
                update_site_stage(supply.site[0], store, supply.stages, index, doy)
                stage = int(store.stage)
            for f in range(n_fields):
                capped = ask(
                    plans[b, f],
                    states[b, f],
                    delivery[b, f],
                    days[d, f],
                    play,
                    supply,
                    stage,
                    cal,
                    d,
                    f,
                    index,
                    rain_before,
                    spray_loss,
                    waters[b, f],
                )
                if y >= 0:
                    years[b, f, y].capped_days += capped
            if not has_supply:
                continue
            drawn_on = share_out_today(
                plans[b],
                states[b],
                delivery[b],
                waters[b],
                supply,
                supply_states,
                b,
                cal,
                d,
                desk.asked_m3,
                desk.share,
                at_supply,
                desk.draws_m3,
            )
            if y >= 0 and stage > 0:
                supply_states.years[b, y].restricted_days += 1.0
            if 0 <= t < supply_states.trace.shape[1]:
                if drawn_on:
                    supply_states.trace[b, t] = at_supply
                supply_states.trace[b, t].stage = stage

        # --- everybody lives through the day --------------------------------------------------
        for f in range(n_fields):
            field = fields[f]
            day = days[d, f]
            about = play.fields[f]
            looked_at = about.on > 0.0
            snow_before = days[d - 1, f].snow_water if d > 0 else 0.0

            for b in range(n_plans):
                plan = plans[b, f]
                water = waters[b, f]
                first = b * n_patches
                if cal.first == 1:
                    start_year(states[b, f])
                    if fresh_turf_each_year:
                        start_turf(blocks[f], first, n_patches, about.skinned > 0.0)
                    if y >= 0:
                        year = years[b, f, y]
                        year.water_start = water_in_field(blocks[f], first, n_patches, snow_before)
                        year.least_green = 1.0
                        year.recovery_days = NO_DORMANCY
                if looked_at and play.days[d, f].sown > 0.0:
                    start_turf(blocks[f], first, n_patches, play.days[d, f].sown > 1.0)
                landed = deliver(
                    plan, delivery[b, f], about, water, spray_loss[int(plan.time_of_day), d]
                )
                if landed > 0.0 or water.told > 0.0:
                    soak = plan.cycle_and_soak > 0.0
                    water.caught = catch(
                        blocks[f], first, catches[b, f], landed, field, delivery[b, f], soak
                    )
                    water.told = landed

            told = False
            if looked_at:
                told = cal.in_season == 1 or play.days[d, f].judged > 0.0 or is_told
            for k in range(blocks.shape[1]):
                block_day(field, day, blocks[f, k])
            if looked_at:
                for k in range(blocks.shape[1]):
                    play_block(about, play.days[d, f], field, blocks[f, k], told)

            snow_short = abs(day.precipitation - day.liquid - (day.snow_water - snow_before))
            for b in range(n_plans):
                plan = plans[b, f]
                state = states[b, f]
                water = waters[b, f]
                first = b * n_patches
                mean_of_patches(blocks[f], first, n_patches, mean)
                # The account of the whole field: sky to snow to ground, and pipe to ground.
                pipe_short = abs(water.gross - water.spray - water.beside - water.caught)
                mean.residual = worse(mean.residual, worse(snow_short, pipe_short))
                if looked_at:
                    play_shares(blocks[f], first, n_patches, shares, told)
                    state.surface_water = shares.surface_water
                learn(plan, state, day, mean, water, cal.weekday)

                evening = plan.time_of_day == EVENING
                if y >= 0:
                    year = years[b, f, y]
                    count_water(year, day, mean, water, state.last_week, cal.month)
                    green_sum[b, f, doy] += mean.green
                    count_odds(odds[b, f], mean, reached, doy)
                    time_recovery(state, year, mean.green, mean.dormant, reached[AT_DORMANT])
                    if cal.in_season == 1:
                        count_stages(year, mean, reached)
                        count_spells(state, year, mean, reached)
                    if looked_at:
                        played = play_years[b, f, y]
                        played.syringed += water.cooling
                        today = play.days[d, f]
                        count_use(about, today, shares, played)
                        if cal.in_season == 1:
                            wet_hours = about.watering_wet_hours[int(plan.time_of_day)]
                            # The night ends this morning: an evening's watering was yesterday's.
                            night = state.evening_water if evening else water.watering
                            count_play(about, today, shares, state, played, night, wet_hours)
                    if d + 1 == n_days or calendar[d + 1].first == 1:
                        year.water_end = water_in_field(blocks[f], first, n_patches, day.snow_water)
                state.evening_water = water.watering if evening else 0.0

                if is_told:
                    line = trace[b, t, f]
                    tell_day(line, day, mean, water, state, index, blocks[f], first, n_patches)
                    if looked_at:
                        tell_play(line, shares, play.days[d, f].frozen)
