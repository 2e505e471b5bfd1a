"""All days of one plan on one site: fields ask, the supply gives, patches live, sums are kept."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba.extending import register_jitable

from drysward.day.plan import update_pause, update_stage, wanted_depth
from drysward.day.records import DEAD, DORMANT, FOOTPRINT, RULE_NONE, WEEK, WILT
from drysward.day.step import patch_day
from drysward.day.supply import granted_share

NEVER = 10_000.0
NO_DORMANCY, NOT_RECOVERED = -1.0, -2.0


@register_jitable
def start_turf(patch: Any) -> None:
    """Established turf: full green cover, crowns hydrated. Soil water is left as it is."""
    patch.green = 1.0
    patch.dormant = 0.0
    patch.dead = 0.0
    patch.crown_dryness = 0.0
    patch.dormant_age = 0.0
    patch.footprint = 0.0
    patch.wilt = 0.0


@register_jitable
def start_year(state: Any) -> None:
    """Forget the running counts of the last year; what the waterer knows stays."""
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
    supply_m3: Any,
    reached: Any,
    fresh_turf_each_year: bool,
    patches: Any,
    states: Any,
    years: Any,
    odds: Any,
    green_sum: Any,
    flow_line: Any,
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
    supply_m3 : most that the site may draw on each day (D,), m3; inf when not limited.
    reached : share of a field at which a stage counts as reached (4,).
    fresh_turf_each_year : start every turf year with established turf.
    patches : PATCH (F, P), the state, changed. states : FIELD_STATE (F,), changed.
    years : YEAR (F, Y), written. odds : days on which a stage was reached (F, 4, 366), added to.
    green_sum : sum of green cover by calendar day (F, 366), added to.
    flow_line : FLOWS (1,), the day step's scratch.
    trace : TRACE (T, F), written for T days from day ``trace_from``; T may be 0.
    """
    n_fields = fields.shape[0]
    n_patches = patches.shape[1]
    n_days = calendar.shape[0]
    per_patch = 1.0 / n_patches
    asked = np.zeros(n_fields)
    flows = flow_line[0]

    for d in range(from_day, n_days):
        cal = calendar[d]
        y = cal.year
        doy = cal.day_of_year
        index = drought_index[d]

        # --- everybody asks ---------------------------------------------------------------
        asked_m3 = 0.0
        for f in range(n_fields):
            plan = plans[f]
            state = states[f]
            field = fields[f]
            gross = 0.0
            if plan.rule != RULE_NONE or plan.crown_depth > 0.0:
                update_stage(plan, state, index)
                update_pause(plan, state, index, doy)
                span = min(d, int(plan.rain_skip_days))
                depth = wanted_depth(
                    plan,
                    state,
                    days[d, f].taw,
                    cal.weekday,
                    cal.month,
                    doy,
                    rain_before[d] - rain_before[d - span],
                )
                if depth > 0.0:
                    loss = spray_loss[int(plan.time_of_day), d]
                    gross = depth / ((1.0 - loss) * (1.0 - field.overspray))
                    if gross > plan.most_depth:
                        gross = plan.most_depth
                        if y >= 0:
                            years[f, y].capped_days += 1.0
            asked[f] = gross
            asked_m3 += gross * field.area_m2 * 0.001
        share = granted_share(asked_m3, supply_m3[d])

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
                        start_turf(patches[f, p])
                if y >= 0:
                    snow_before = days[d - 1, f].snow_water if d > 0 else 0.0
                    years[f, y].water_start = water_in_field(patches[f], snow_before)
                    years[f, y].least_green = 1.0
                    years[f, y].recovery_days = NO_DORMANCY

            gross = asked[f] * share
            spray = gross * spray_loss[int(plan.time_of_day), d]
            beside = (gross - spray) * field.overspray
            landed = gross - spray - beside
            soak = plan.cycle_and_soak > 0.0

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
                patch_day(field, day, patch, flows, caught, soak)
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

            # The account of the whole field: sky to snow to ground, and pipe to ground.
            snow_change = day.snow_water - (days[d - 1, f].snow_water if d > 0 else 0.0)
            residual = max(residual, abs(day.precipitation - day.liquid - snow_change))
            residual = max(residual, abs(gross - spray - beside - landed_mean))

            # --- what the person who waters knows tomorrow ------------------------------------
            state.depletion = depletion
            state.dormant = dormant
            owed = state.owed_et + day.kc * day.eto - day.liquid
            if gross > 0.0:
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
                    year.shortage += asked[f] - gross
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
                if cal.in_season == 1:
                    count_stages(year, footprint, wilt, dormant, dead, reached)
                    count_spells(state, year, wilt, dormant, reached)
                    year.least_green = min(year.least_green, green)
                if d + 1 == n_days or calendar[d + 1].first == 1:
                    year.water_end = water_in_field(patches[f], day.snow_water)

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
