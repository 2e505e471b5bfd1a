"""What a day of weather, water and use makes of the surface that is played on."""

from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import register_jitable

from drysward.day.play import air_filled, hard_share, hardness_g, leaf_wet_hours, wear_share

SATURATED = 0.99  # share of saturation from which water stands on the surface; own estimate
WET_LEAF_HOURS = 10.0  # leaves wet for longer than this on a warm night invite brown patch
YOUNG_DRY_LOSS = 0.15  # seedlings lost in a day of dry surface; own estimate


class PlayInput(NamedTuple):
    """PLAY_FIELD (F,), and PLAY_DAY (D, F) of the days; (0, F) when no field is looked at."""

    fields: Any
    days: Any


@register_jitable
def start_shares(shares: Any) -> None:
    """Nothing of the field seen yet."""
    shares.hard = 0.0
    shares.soft = 0.0
    shares.mud = 0.0
    shares.standing = 0.0
    shares.airless = 0.0
    shares.dust = 0.0
    shares.moist = 0.0
    shares.hardness = 0.0
    shares.air = 0.0
    shares.worn = 0.0
    shares.root_loss = 0.0


@register_jitable
def play_patch(
    about: Any, today: Any, field: Any, day: Any, patch: Any, shares: Any, weight: float
) -> None:
    """Use, lack of air and young turf act on a patch; its surface is added to ``shares``.

    Parameters
    ----------
    about, today : records PLAY_FIELD and PLAY_DAY. field, day : FIELD and DAY.
    patch : PATCH at the day's end, changed. shares : PLAY_SHARES of the field, added to.
    weight : share of the field that the patch is.
    """
    moisture = patch.w1 * about.inv_surface_mm
    air = air_filled(patch.w1, field.sat1, about.inv_surface_mm)
    airless = air < about.air_below
    skinned = about.skinned > 0.0
    if not skinned:
        wear(about, today, patch, moisture)
        if airless:
            patch.airless_days += 1.0
            loss = patch.root_loss + today.root_harm * (1.0 - patch.root_loss)
            patch.root_loss = min(loss, about.most_root_loss)
        else:
            patch.airless_days = 0.0
            patch.root_loss -= today.root_heal * patch.root_loss
        if patch.worn > 0.0:
            # Seed and runners need a moist surface: what the top layer has of its water.
            moist = (patch.w1 - field.wp1) * field.inv_taw1
            moist = min(max(2.0 * moist, 0.0), 1.0)
            regrown = patch.worn * today.regrowth * moist
            patch.worn -= regrown
            patch.green += regrown
            if today.young > 0.0:
                lost = YOUNG_DRY_LOSS * (1.0 - moist) * patch.green
                patch.green -= lost
                patch.worn += lost

    bare = 1.0 - patch.green - patch.dormant
    frozen = today.frozen > 0.0
    hardness = hardness_g(
        moisture,
        about.hard_intercept,
        about.hard_slope,
        about.hard_floor,
        bare,
        about.hard_bare,
        frozen,
        about.hard_frozen,
    )
    scatter = 0.0 if frozen else about.hard_scatter
    shares.hardness += weight * hardness
    shares.hard += weight * hard_share(hardness, about.hard_above, scatter)
    shares.soft += weight * (1.0 - hard_share(hardness, about.soft_below, scatter))
    shares.air += weight * air
    shares.worn += weight * patch.worn
    shares.root_loss += weight * patch.root_loss
    if airless:
        shares.airless += weight
    mud_above = about.skin_mud if skinned else about.mud_above
    if moisture > mud_above and not frozen:
        shares.mud += weight
    if patch.w1 >= SATURATED * field.sat1:
        shares.standing += weight
    if skinned and moisture < about.skin_dust:
        shares.dust += weight
    if not skinned and air < about.invader_air:
        shares.moist += weight


@register_jitable
def wear(about: Any, today: Any, patch: Any, moisture: float) -> None:
    """Use wears living cover bare; dormant turf loses crowns."""
    if today.use_hours <= 0.0:
        return
    worn = wear_share(
        today.use_hours,
        moisture,
        about.wear_rate,
        about.wear_middle_from,
        about.wear_wet_from,
        about.wear_middle,
        about.wear_wet,
    )
    lost = worn * patch.green
    patch.green -= lost
    patch.worn += lost
    crowns = min(about.dormant_wear * today.use_hours, 1.0) * patch.dormant
    patch.dormant -= crowns
    patch.dead += crowns


@register_jitable
def count_play(
    about: Any, today: Any, shares: Any, state: Any, year: Any, watered: bool, wet_hours: float
) -> None:
    """Add a day of the answer season to the year.

    ``watered`` says that irrigation came last night, ``wet_hours`` how much longer it kept
    leaves wet.
    """
    least = about.share
    year.season_days += 1.0
    year.mean_hardness += (shares.hardness - year.mean_hardness) / year.season_days
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
        if hours >= WET_LEAF_HOURS:
            year.disease_nights += 1.0
    year.peak_worn = max(year.peak_worn, shares.worn)
    year.peak_root_loss = max(year.peak_root_loss, shares.root_loss)


@register_jitable
def count_use(about: Any, today: Any, shares: Any, year: Any) -> None:
    """Add a day's use, cover and event to the year, whatever the season."""
    year.use_hours += today.use_hours
    year.covered_days += today.covered
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
