"""All days of one plan on one site: fields ask, the supply gives, patches live, sums are kept."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba.extending import register_jitable

from drysward.day.plan import (
    depth_for_play,
    left_by_restrictions,
    syringe_depth,
    update_pause,
    update_stage,
    wanted_depth,
)
from drysward.day.records import (
    DEAD,
    DORMANT,
    EVENING,
    FOOTPRINT,
    RULE_FIXED,
    RULE_NONE,
    WEEK,
    WILT,
)
from drysward.day.step import patch_day
from drysward.day.supply import (
    SupplyInput,
    SupplyState,
    count_supply,
    new_allowances,
    newly_unmet,
    supply_day,
    update_site_stage,
)
from drysward.day.surface import PlayInput, count_play, count_use, play_field

NO_DORMANCY, NOT_RECOVERED = -1.0, -2.0


@register_jitable
def start_turf(patch: Any, bare: bool) -> None:
    """Established turf, crowns hydrated, or bare ground. Soil water is left as it is."""
    patch.green = 0.0 if bare else 1.0
    patch.worn = 1.0 if bare else 0.0
    patch.dormant = 0.0
    patch.dead = 0.0
    patch.root_loss = 0.0
    patch.airless_days = 0.0
    patch.crown_dryness = 0.0
    patch.dormant_age = 0.0
    patch.footprint = 0.0
    patch.wilt = 0.0


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
def water_in_field(patches: Any, snow: float) -> float:
    """Mean water of all stores of a field, snow included (mm)."""
    total = 0.0
    for p in range(patches.shape[0]):
        patch = patches[p]
        total += patch.w1 + patch.w2 + patch.w3 + patch.thatch
    return total / patches.shape[0] + snow


@register_jitable
def count_stages(
    year: Any, footprint: float, wilt: float, dormant: float, dead: float, reached: Any
) -> None:
    """Days of the season on which a stage is reached, and its largest share of the field."""
    if footprint >= reached[FOOTPRINT]:
        year.days_footprint += 1.0
    if wilt >= reached[WILT]:
        year.days_wilt += 1.0
    if dormant >= reached[DORMANT]:
        year.days_dormant += 1.0
    if dead >= reached[DEAD]:
        year.days_dead += 1.0
    year.peak_footprint = max(year.peak_footprint, footprint)
    year.peak_wilt = max(year.peak_wilt, wilt)
    year.peak_dormant = max(year.peak_dormant, dormant)
    year.peak_dead = max(year.peak_dead, dead)


@register_jitable
def count_spells(state: Any, year: Any, wilt: float, dormant: float, reached: Any) -> None:
    """Longest spells of the year at a stage."""
    if wilt >= reached[WILT]:
        state.wilt_run += 1.0
        year.longest_wilt = max(year.longest_wilt, state.wilt_run)
    else:
        state.wilt_run = 0.0
    if dormant >= reached[DORMANT]:
        state.dormant_run += 1.0
        year.longest_dormant = max(year.longest_dormant, state.dormant_run)
    else:
        state.dormant_run = 0.0


@register_jitable
def time_recovery(state: Any, year: Any, green: float, dormant: float, reached: float) -> None:
    """Days from the height of dormancy until four fifths of the living cover is green."""
    if dormant > state.peak_dormant:
        state.peak_dormant = dormant
        state.recovery_clock = 0.0
        if dormant >= reached:
            state.recovering = 1.0
            year.recovery_days = NOT_RECOVERED
    elif state.recovering > 0.0:
        state.recovery_clock += 1.0
        if dormant <= 0.2 * (green + dormant):
            year.recovery_days = state.recovery_clock
            state.recovering = 0.0


def run_site(
    fields: Any,
    days: Any,
    calendar: Any,
    from_day: int,
    rain_before: Any,
    drought_index: Any,
    spray_loss: Any,
    plans: Any,
    catches: Any,
    supply: SupplyInput,
    supply_state: SupplyState,
    play: PlayInput,
    play_years: Any,
    reached: Any,
    fresh_turf_each_year: bool,
    patches: Any,
    states: Any,
    years: Any,
    odds: Any,
    green_sum: Any,
    supply_line: Any,
    share_line: Any,
    trace: Any,
    trace_from: int,
) -> None:
    """Run one plan over all days of a site, in place.

    Parameters
    ----------
    fields : FIELD (F,). days : DAY (D, F). calendar : CALENDAR (D,).
    from_day : first day to run; those before only tell what rain fell and snow lay.
    rain_before : rain summed over all days before each (D + 1,), mm.
    drought_index : (D,), mm. spray_loss : share lost in flight (times of day, D).
    plans : PLAN (F,), the plan as each field follows it.
    catches : share of the mean irrigation that each patch catches (F, P), mean 1 by field.
    supply, supply_state : what the fields share, see ``day.supply``; the state is changed.
    play : what the surface is played on for, see ``day.surface``. play_years : PLAY_YEAR (F, Y),
        written for the fields that are looked at.
    reached : share of a field at which a stage counts as reached (4,).
    fresh_turf_each_year : start every turf year with established turf.
    patches : PATCH (F, P), the state, changed. states : FIELD_STATE (F,), changed.
    years : YEAR (F, Y), written. odds : days on which a stage was reached (F, 4, 366), added to.
    green_sum : sum of green cover by calendar day (F, 366), added to.
    supply_line : SUPPLY_TRACE (1,), share_line : PLAY_SHARES (1,), scratch of the day.
    trace : TRACE (T, F), written for T days from day ``trace_from``; T may be 0.
    """
    n_fields = fields.shape[0]
    n_patches = patches.shape[1]
    n_days = calendar.shape[0]
    per_patch = 1.0 / n_patches
    asked = np.zeros(n_fields)
    asked_m3 = np.zeros(n_fields)
    syringed = np.zeros(n_fields)
    missed = np.zeros(n_fields)
    share = np.ones(n_fields)
    draws_today = np.zeros(supply.sources.shape[0])
    at_supply = supply_line[0]
    shares = share_line[0]
    site = supply.site[0]
    store = supply_state.store[0]

    for d in range(from_day, n_days):
        cal = calendar[d]
        y = cal.year
        doy = cal.day_of_year
        index = drought_index[d]

        if cal.first == 1 and y >= 0:
            supply_state.years[y].least_store = store.volume
        new_month = cal.month != store.month
        store.month = cal.month
        new_allowances(supply.sources, supply_state.used, cal.weekday, new_month, cal.first == 1)
        update_site_stage(site, store, supply.stages, index, doy)
        stage = int(store.stage)

        # --- everybody asks ---------------------------------------------------------------
        asked_of_all = 0.0
        for f in range(n_fields):
            plan = plans[f]
            state = states[f]
            field = fields[f]
            gross = 0.0
            if plan.rule != RULE_NONE or plan.crown_depth > 0.0:
                update_stage(plan, state, index)
                update_pause(plan, state, index, doy)
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
                    days[d, f].taw,
                    cal.weekday,
                    cal.month,
                    doy,
                    rain_before[d] - rain_before[d - span],
                    allowed,
                    left,
                    crown_only,
                )
                if play.fields[f].on > 0.0:
                    depth = depth_for_play(
                        plan,
                        state,
                        play.fields[f],
                        play.days[d, f],
                        days[d, f].eto,
                        doy,
                        allowed and not crown_only,
                        left,
                        depth,
                    )
                if depth > 0.0:
                    loss = spray_loss[int(plan.time_of_day), d]
                    gross = depth / ((1.0 - loss) * (1.0 - field.overspray))
                    if gross > plan.most_depth:
                        gross = plan.most_depth
                        if y >= 0:
                            years[f, y].capped_days += 1.0
            syringed[f] = 0.0
            if plan.syringe_depth > 0.0 and play.fields[f].on > 0.0:
                syringed[f] = syringe_depth(plan, state, play.days[d, f])
                gross += syringed[f]
            asked[f] = gross
            asked_m3[f] = gross * field.area_m2 * 0.001
            asked_of_all += asked_m3[f]
        # Without a store nothing happens at the supply on a day on which nobody asks.
        drawn_on = asked_of_all > 0.0 or site.capacity > 0.0
        if drawn_on:
            supply_day(supply, supply_state, asked_m3, share, at_supply, d, draws_today)
            at_supply.short = 0.0
            for f in range(n_fields):
                missed[f] = 0.0
                if asked[f] > 0.0:
                    again = plans[f].rule != RULE_FIXED
                    missed[f] = newly_unmet(states[f], asked[f], asked[f] * share[f], again)
                    at_supply.short += missed[f] * fields[f].area_m2 * 0.001
            if y >= 0:
                count_supply(at_supply, store, supply_state.years[y])
                for s in range(draws_today.shape[0]):
                    supply_state.draws[y, s, cal.month] += draws_today[s]
                supply_state.store_month[y, cal.month] = store.volume
        if y >= 0 and stage > 0:
            supply_state.years[y].restricted_days += 1.0

        # --- everybody lives through the day --------------------------------------------------
        for f in range(n_fields):
            plan = plans[f]
            state = states[f]
            field = fields[f]
            day = days[d, f]
            if cal.first == 1:
                start_year(state)
                if fresh_turf_each_year:
                    for p in range(n_patches):
                        start_turf(patches[f, p], play.fields[f].skinned > 0.0)
                if y >= 0:
                    snow_before = days[d - 1, f].snow_water if d > 0 else 0.0
                    years[f, y].water_start = water_in_field(patches[f], snow_before)
                    years[f, y].least_green = 1.0
                    years[f, y].recovery_days = NO_DORMANCY

            gross = asked[f] * share[f]
            # Syringing cools leaves for minutes; what does not evaporate lands with the rest.
            cooling = syringed[f] * share[f]
            watering = gross - cooling
            spray = watering * spray_loss[int(plan.time_of_day), d]
            if cooling > 0.0:
                spray += cooling * (1.0 - play.fields[f].syringe_left)
            beside = (gross - spray) * field.overspray
            landed = gross - spray - beside
            about = play.fields[f]
            looked_at = about.on > 0.0
            if looked_at and play.days[d, f].sown > 0.0:
                for p in range(n_patches):
                    start_turf(patches[f, p], play.days[d, f].sown > 1.0)
            soak = plan.cycle_and_soak > 0.0
            evening = plan.time_of_day == EVENING

            landed_sum = 0.0
            runoff = 0.0
            drainage = 0.0
            leaf_evaporation = 0.0
            soil_evaporation = 0.0
            transpiration = 0.0
            residual = 0.0
            depletion = 0.0
            footprint = 0.0
            wilt = 0.0
            green = 0.0
            dormant = 0.0
            dead = 0.0
            for p in range(n_patches):
                patch = patches[f, p]
                caught = landed * catches[f, p]
                flows = patch_day(field, day, patch, caught, soak)
                landed_sum += caught
                runoff += flows.runoff
                drainage += flows.drainage
                leaf_evaporation += flows.leaf_evaporation
                soil_evaporation += flows.soil_evaporation
                transpiration += flows.transpiration
                residual = max(residual, abs(flows.residual))
                depletion += patch.depletion
                footprint += patch.footprint
                wilt += patch.wilt
                green += patch.green
                dormant += patch.dormant
                dead += patch.dead
            if looked_at:
                today = play.days[d, f]
                t = d - trace_from
                told = cal.in_season == 1 or today.judged > 0.0 or 0 <= t < trace.shape[0]
                play_field(about, today, field, patches[f], shares, told)
                state.surface_water = shares.surface_water
            landed_mean = landed_sum * per_patch
            runoff *= per_patch
            drainage *= per_patch
            leaf_evaporation *= per_patch
            soil_evaporation *= per_patch
            transpiration *= per_patch
            depletion *= per_patch
            footprint *= per_patch
            wilt *= per_patch
            green *= per_patch
            dormant *= per_patch
            dead *= per_patch
            if looked_at:
                # Use and lack of rain on young turf have changed the covers since.
                green, dormant, dead = shares.green, shares.dormant, shares.dead

            # The account of the whole field: sky to snow to ground, and pipe to ground.
            snow_change = day.snow_water - (days[d - 1, f].snow_water if d > 0 else 0.0)
            residual = max(residual, abs(day.precipitation - day.liquid - snow_change))
            residual = max(residual, abs(gross - spray - beside - landed_mean))

            # --- what the person who waters knows tomorrow ------------------------------------
            state.depletion = depletion
            state.dormant = dormant
            state.wilt = wilt
            owed = state.owed_et + day.kc * day.eto - day.liquid
            if watering > 0.0:
                state.days_since_water = 1.0
                if plan.share > 0.0:
                    owed -= landed_mean / (plan.share * plan.run_time_multiplier)
            else:
                state.days_since_water += 1.0
            # Nobody waters for more than the soil has room for: a dry winter is not owed in spring.
            room = depletion * day.taw
            if owed > room:
                owed = room
            state.owed_et = owed if owed > 0.0 else 0.0
            state.last_week[cal.weekday] = gross

            # --- sums -----------------------------------------------------------------------
            if y >= 0:
                year = years[f, y]
                year.precipitation += day.precipitation
                year.reference_et += day.eto
                year.runoff += runoff
                year.drainage += drainage
                year.leaf_evaporation += leaf_evaporation
                year.soil_evaporation += soil_evaporation
                year.transpiration += transpiration
                year.residual = max(year.residual, residual)
                if asked[f] > 0.0:
                    year.irrigation_gross += gross
                    year.irrigation_landed += landed_mean
                    year.spray_loss += spray
                    year.overspray += beside
                    year.shortage += missed[f]
                    year.shortage_month[cal.month] += missed[f]
                    year.irrigation_month[cal.month] += gross
                    if gross > 0.0:
                        year.watering_days += 1.0
                    week = 0.0
                    for i in range(WEEK):
                        week += state.last_week[i]
                    year.peak_week = max(year.peak_week, week)
                green_sum[f, doy] += green
                if footprint >= reached[FOOTPRINT]:
                    odds[f, FOOTPRINT, doy] += 1
                if wilt >= reached[WILT]:
                    odds[f, WILT, doy] += 1
                if dormant >= reached[DORMANT]:
                    odds[f, DORMANT, doy] += 1
                if dead >= reached[DEAD]:
                    odds[f, DEAD, doy] += 1
                time_recovery(state, year, green, dormant, reached[DORMANT])
                if looked_at:
                    today = play.days[d, f]
                    played = play_years[f, y]
                    count_use(about, today, shares, played)
                    if cooling > 0.0:
                        played.syringed += cooling
                    if cal.in_season == 1:
                        wet_hours = about.watering_wet_hours[int(plan.time_of_day)]
                        # The night ends this morning: an evening's watering was yesterday's.
                        wetted = state.evening_water if evening else watering
                        count_play(about, today, shares, state, played, wetted, wet_hours)
                if cal.in_season == 1:
                    count_stages(year, footprint, wilt, dormant, dead, reached)
                    count_spells(state, year, wilt, dormant, reached)
                    year.least_green = min(year.least_green, green)
                if d + 1 == n_days or calendar[d + 1].first == 1:
                    year.water_end = water_in_field(patches[f], day.snow_water)

            state.evening_water = watering if evening else 0.0

            t = d - trace_from
            if 0 <= t < trace.shape[0]:
                line = trace[t, f]
                line.precipitation = day.precipitation
                line.reference_et = day.eto
                line.irrigation_gross = gross
                line.irrigation_landed = landed_mean
                line.runoff = runoff
                line.drainage = drainage
                line.leaf_evaporation = leaf_evaporation
                line.soil_evaporation = soil_evaporation
                line.transpiration = transpiration
                line.snow_water = day.snow_water
                line.residual = residual
                line.depletion = depletion
                line.root_depth = day.root_depth
                line.footprint = footprint
                line.wilt = wilt
                line.green = green
                line.dormant = dormant
                line.dead = dead
                line.winter_rest = 1.0 - day.active
                if looked_at:
                    line.hardness = shares.hardness
                    line.air_filled = shares.air
                    line.hard = shares.hard
                    line.mud = shares.mud
                    line.standing = shares.standing
                    line.dust = shares.dust
                    line.frozen = today.frozen
                    line.worn = shares.worn
                    line.root_loss = shares.root_loss
                line.drought_index = index
                line.stage = state.stage
                line.thatch_water = 0.0
                line.surface_water = 0.0
                line.root_water = 0.0
                line.subsoil_water = 0.0
                line.crown_hydration = 0.0
                for p in range(n_patches):
                    patch = patches[f, p]
                    line.thatch_water += patch.thatch * per_patch
                    line.surface_water += patch.w1 * per_patch
                    line.root_water += patch.w2 * per_patch
                    line.subsoil_water += patch.w3 * per_patch
                    line.crown_hydration += per_patch / (1.0 + patch.crown_dryness)

        t = d - trace_from
        if 0 <= t < supply_state.trace.shape[0]:
            if drawn_on:
                supply_state.trace[t] = at_supply
            supply_state.trace[t].stage = stage
