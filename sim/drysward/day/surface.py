"""What a day of weather, water and use makes of the surface that is played on."""

from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import register_jitable

from drysward.day.play import (
    air_filled,
    by_moisture,
    disease_night,
    hardness_g,
    leaf_wet_hours,
    root_loss_step,
    share_beyond,
    young_loss,
)

SATURATED = 0.99  # share of saturation from which water stands on the surface; own estimate


class PlayInput(NamedTuple):
    """PLAY_FIELD (F,), and PLAY_DAY (D, F) of the days; (0, F) when no field is looked at."""

    fields: Any
    days: Any


@register_jitable
def play_field(about: Any, today: Any, field: Any, patches: Any, shares: Any, told: bool) -> None:
    """Use, lack of air and young turf act on the patches; what is left to play on is told.

    Parameters
    ----------
    about, today, field : records PLAY_FIELD, PLAY_DAY and FIELD.
    patches : PATCH (P,) at the day's end, changed.
    shares : record PLAY_SHARES, written; without hardness when the day is not ``told``.
    """
    n = patches.shape[0]
    skinned = about.skinned > 0.0
    frozen = today.frozen > 0.0
    saturated = SATURATED * field.sat1
    used = today.use_hours > 0.0
    young = today.young > 0.0
    # Read once: the compiler cannot know that writing to a patch leaves these as they are.
    inv_surface, sat1 = about.inv_surface_mm, field.sat1
    air_below, invader_air = about.air_below, about.invader_air
    intercept, slope, floor = about.hard_intercept, about.hard_slope, about.hard_floor
    bare_extra, hard_from, soft_until = about.hard_bare, about.hard_from, about.soft_until
    mud_above = about.mud_above
    hard = soft = mud = standing = airless = dust = moist = 0.0
    hardness_sum = air_sum = worn_sum = root_loss_sum = surface_sum = 0.0
    green_sum = dormant_sum = dead_sum = 0.0
    for p in range(n):
        patch = patches[p]
        water = patch.w1
        moisture = water * inv_surface
        air = air_filled(water, sat1, inv_surface)
        short_of_air = air < air_below
        if not skinned:
            if used:
                wear(about, today, patch, moisture)
            patch.airless_days = patch.airless_days + 1.0 if short_of_air else 0.0
            if short_of_air or patch.root_loss > 0.0:
                patch.root_loss = root_loss_step(
                    patch.root_loss,
                    patch.airless_days,
                    today.root_harm,
                    today.root_heal,
                    about.most_root_loss,
                )
            if young or patch.worn > 0.0:
                renew(today, patch, (water - field.wp1) * field.inv_taw1)
            if air < invader_air:
                moist += 1.0
        if water >= saturated:
            standing += 1.0
        if short_of_air:
            airless += 1.0
        air_sum += air
        green_sum += patch.green
        dormant_sum += patch.dormant
        dead_sum += patch.dead
        worn_sum += patch.worn
        root_loss_sum += patch.root_loss
        surface_sum += water
        if not told:
            continue
        hardness = hardness_g(
            moisture,
            intercept,
            slope,
            floor,
            1.0 - patch.green - patch.dormant,
            bare_extra,
            today.frozen,
            about.hard_frozen,
        )
        if frozen:
            hard += 1.0
        else:
            # Most days are far from a limit: the guards only save work.
            if hardness > hard_from:
                hard += share_beyond(hardness, about.hard_above, about.hard_inv_scatter)
            if hardness < soft_until:
                soft += 1.0 - share_beyond(hardness, about.soft_below, about.hard_inv_scatter)
            if moisture > mud_above:
                mud += 1.0
            elif skinned and moisture < about.skin_dust:
                dust += 1.0
        hardness_sum += hardness
    part = 1.0 / n
    shares.hard = hard * part
    shares.soft = soft * part
    shares.mud = mud * part
    shares.standing = standing * part
    shares.airless = airless * part
    shares.dust = dust * part
    shares.moist = moist * part
    shares.hardness = hardness_sum * part
    shares.air = air_sum * part
    shares.green = green_sum * part
    shares.dormant = dormant_sum * part
    shares.dead = dead_sum * part
    shares.worn = worn_sum * part
    shares.root_loss = root_loss_sum * part
    shares.surface_water = surface_sum * part


@register_jitable
def renew(today: Any, patch: Any, wetness: float) -> None:
    """Young turf dies on a dry surface; worn ground closes as far as the surface is moist."""
    if today.young > 0.0:
        lost = patch.green * young_loss(wetness, today.young_dry_below, today.young_loss)
        patch.green -= lost
        patch.worn += lost
    regrown = patch.worn * today.regrowth * min(max(wetness, 0.0), 1.0)
    patch.worn -= regrown
    patch.green += regrown


@register_jitable
def wear(about: Any, today: Any, patch: Any, moisture: float) -> None:
    """Use wears living cover bare, faster in moister soil; dormant turf loses crowns."""
    worn = by_moisture(
        moisture,
        about.wear_middle_from,
        about.wear_wet_from,
        today.wear_dry,
        today.wear_middle,
        today.wear_wet,
    )
    lost = worn * patch.green
    patch.green -= lost
    patch.worn += lost
    crowns = today.wear_dormant * patch.dormant
    patch.dormant -= crowns
    patch.dead += crowns


@register_jitable
def count_play(
    about: Any, today: Any, shares: Any, state: Any, year: Any, watered: float, wet_hours: float
) -> None:
    """Add a day of the answer season to the year.

    ``watered`` is the irrigation of the day (mm), ``wet_hours`` how much longer watering at its
    time of day keeps leaves wet.
    """
    least = about.share
    year.season_days += 1.0
    year.hardness_sum += shares.hardness
    year.hardest = max(year.hardest, shares.hardness)
    if shares.hard >= least:
        year.days_hard += 1.0
    if shares.soft >= least:
        year.days_soft += 1.0
    if shares.mud >= least:
        year.days_mud += 1.0
    if shares.standing >= least:
        year.days_standing += 1.0
    if shares.dust >= least:
        year.days_dust += 1.0
    if shares.moist >= least:
        year.days_invaders += 1.0
    if shares.airless >= least:
        year.days_airless += 1.0
        state.airless_run += 1.0
        year.longest_airless = max(year.longest_airless, state.airless_run)
    else:
        state.airless_run = 0.0
    if about.skinned == 0.0 and today.warm_night > 0.0:
        hours = leaf_wet_hours(today.dew_hours, today.rain_wet_hours, watered, wet_hours)
        year.disease_nights += disease_night(today.warm_night, hours, about.least_wet_hours)
    year.peak_worn = max(year.peak_worn, shares.worn)
    year.peak_root_loss = max(year.peak_root_loss, shares.root_loss)


@register_jitable
def count_use(about: Any, today: Any, shares: Any, year: Any) -> None:
    """Add a day's use, cover and event to the year, whatever the season."""
    year.use_hours += today.use_hours
    if today.covered > 0.0:
        year.covered_days += 1.0
        year.rain_kept_off += today.kept_off
        year.cover_labour += today.labour
    if today.judged == 0.0:
        return
    frozen = today.frozen > 0.0
    hard = shares.hard >= about.share
    wet = shares.mud >= about.share or shares.standing >= about.share
    dust = shares.dust >= about.share
    year.events += 1.0
    if frozen:
        year.events_frozen += 1.0
    elif hard or dust:
        year.events_hard += 1.0
    if wet:
        year.events_wet += 1.0
    if not (frozen or hard or dust or wet):
        year.events_playable += 1.0
