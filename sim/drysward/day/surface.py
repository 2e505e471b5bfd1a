"""What a day of weather, water and use makes of the surface that is played on."""

from __future__ import annotations

from typing import Any, NamedTuple

from numba.extending import register_jitable

from drysward.day.lanes import (
    AIR,
    AIRLESS,
    AIRLESS_DAYS,
    DEAD,
    DORMANT,
    DUST,
    GREEN,
    HARD,
    HARDNESS,
    INV_ROOTING,
    LANES,
    MOIST,
    MUD,
    ROOT_LOSS,
    SOFT,
    STANDING,
    W1,
    WORN,
)
from drysward.physics.air import air_filled, root_loss_step
from drysward.physics.hardness import hardness_g, share_beyond
from drysward.physics.leaf_disease import disease_night, leaf_wet_hours
from drysward.physics.water import clamp
from drysward.physics.wear import by_moisture
from drysward.physics.young_turf import young_loss

SATURATED = 0.99  # share of saturation from which water stands on the surface; own estimate


class PlayInput(NamedTuple):
    """PLAY_FIELD (F,), and PLAY_DAY (D, F) of the days; (0, F) when no field is looked at."""

    fields: Any
    days: Any


@register_jitable
def play_block(about: Any, today: Any, field: Any, block: Any, told: bool) -> None:
    """Use, lack of air and young turf act on the patches of a block at the day's end.

    Parameters
    ----------
    about, today, field : records PLAY_FIELD, PLAY_DAY and FIELD.
    told : whether anybody asks today what there is to play on.
    """
    if about.skinned == 0.0:
        use_turf(about, today, field, block)
    if told:
        look_at_surface(about, today, field, block)


@register_jitable
def use_turf(about: Any, today: Any, field: Any, block: Any) -> None:
    """Use wears, roots die without air and heal, young turf dries, worn ground closes."""
    inv_surface, sat1, air_below = about.inv_surface_mm, field.sat1, about.air_below
    wp1, inv_taw1 = field.wp1, field.inv_taw1
    middle_from, wet_from = about.wear_middle_from, about.wear_wet_from
    wear_dry, wear_middle, wear_wet = today.wear_dry, today.wear_middle, today.wear_wet
    wear_dormant = today.wear_dormant
    harm, heal, most = today.root_harm, today.root_heal, about.most_root_loss
    dry_below, regrowth = today.young_dry_below, today.regrowth
    loss = today.young_loss if today.young > 0.0 else 0.0
    for i in range(LANES):
        water = block[W1 + i]
        moisture = water * inv_surface
        green = block[GREEN + i]
        dormant = block[DORMANT + i]
        worn = block[WORN + i]
        # Use wears living cover bare, faster in moister soil; dormant turf loses crowns.
        lost = green * by_moisture(moisture, middle_from, wet_from, wear_dry, wear_middle, wear_wet)
        crowns = wear_dormant * dormant
        green -= lost
        worn += lost

        airless_days = block[AIRLESS_DAYS + i] + 1.0
        if air_filled(water, sat1, inv_surface) >= air_below:
            airless_days = 0.0
        root_loss = root_loss_step(block[ROOT_LOSS + i], airless_days, harm, heal, most)

        # Young turf dies on a dry surface; worn ground closes as far as the surface is moist.
        wetness = (water - wp1) * inv_taw1
        lost = green * young_loss(wetness, dry_below, loss)
        worn += lost
        regrown = worn * regrowth * clamp(wetness, 0.0, 1.0)
        block[GREEN + i] = green - lost + regrown
        block[WORN + i] = worn - regrown
        block[DORMANT + i] = dormant - crowns
        block[DEAD + i] += crowns
        block[AIRLESS_DAYS + i] = airless_days
        block[ROOT_LOSS + i] = root_loss
        block[INV_ROOTING + i] = 1.0 / (1.0 - root_loss)


@register_jitable
def look_at_surface(about: Any, today: Any, field: Any, block: Any) -> None:
    """Hardness and air of each patch, and how much of it is hard, soft, muddy, wet or dusty."""
    inv_surface, sat1 = about.inv_surface_mm, field.sat1
    saturated = SATURATED * sat1
    air_below, invader_air = about.air_below, about.invader_air
    intercept, slope, floor = about.hard_intercept, about.hard_slope, about.hard_floor
    bare_extra, hard_frozen = about.hard_bare, about.hard_frozen
    hard_above, soft_below = about.hard_above, about.soft_below
    inv_scatter, mud_above = about.hard_inv_scatter, about.mud_above
    frozen = today.frozen
    thawed = 0.0 if frozen > 0.0 else 1.0
    # No dust but on a skinned surface, and no weeds on one.
    dust_below = about.skin_dust if about.skinned > 0.0 else -1.0
    invaded = 0.0 if about.skinned > 0.0 else 1.0
    for i in range(LANES):
        water = block[W1 + i]
        moisture = water * inv_surface
        air = air_filled(water, sat1, inv_surface)
        bare = 1.0 - block[GREEN + i] - block[DORMANT + i]
        hardness = hardness_g(
            moisture, intercept, slope, floor, bare, bare_extra, frozen, hard_frozen
        )
        muddy = thawed if moisture > mud_above else 0.0
        block[AIR + i] = air
        block[HARDNESS + i] = hardness
        block[HARD + i] = 1.0 - thawed * (1.0 - share_beyond(hardness, hard_above, inv_scatter))
        block[SOFT + i] = thawed * (1.0 - share_beyond(hardness, soft_below, inv_scatter))
        block[MUD + i] = muddy
        block[DUST + i] = thawed - muddy if moisture < dust_below else 0.0
        block[STANDING + i] = 1.0 if water >= saturated else 0.0
        block[AIRLESS + i] = 1.0 if air < air_below else 0.0
        block[MOIST + i] = invaded if air < invader_air else 0.0


@register_jitable
def play_shares(blocks: Any, first: int, n: int, shares: Any, told: bool) -> None:
    """Means over the ``n`` patches of a field from number ``first`` on, into PLAY_SHARES; what
    ``look_at_surface`` wrote only when the day is ``told``.
    """
    part = 1.0 / n
    worn = root_loss = water = 0.0
    for number in range(first, first + n):
        block = blocks[number // LANES]
        i = number % LANES
        worn += block[WORN + i]
        root_loss += block[ROOT_LOSS + i]
        water += block[W1 + i]
    shares.worn = worn * part
    shares.root_loss = root_loss * part
    shares.surface_water = water * part
    if not told:
        return
    hard = soft = mud = standing = airless = dust = moist = hardness = air = 0.0
    for number in range(first, first + n):
        block = blocks[number // LANES]
        i = number % LANES
        hard += block[HARD + i]
        soft += block[SOFT + i]
        mud += block[MUD + i]
        standing += block[STANDING + i]
        airless += block[AIRLESS + i]
        dust += block[DUST + i]
        moist += block[MOIST + i]
        hardness += block[HARDNESS + i]
        air += block[AIR + i]
    shares.hard = hard * part
    shares.soft = soft * part
    shares.mud = mud * part
    shares.standing = standing * part
    shares.airless = airless * part
    shares.dust = dust * part
    shares.moist = moist * part
    shares.hardness = hardness * part
    shares.air = air * part


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
