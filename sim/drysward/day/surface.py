"""The playing surface after a day of weather, water and use.

``note_undrained`` finds the water that has not drained yet when play begins, and
``note_moist_surface`` what the day dries from. ``use_turf`` applies wear and root loss at the end
of a patch's day, and ``assess_surface`` adds up hardness, mud, air and dust. Runs without play pass
through all of them unchanged.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from drysward.day.records import EVENING
from drysward.physics.air import air_filled, lack_of_air, root_loss_step
from drysward.physics.arithmetic import clamp, larger, smaller
from drysward.physics.hardness import hardness_g, share_beyond
from drysward.physics.leaf_disease import disease_night, leaf_wet_hours
from drysward.physics.mud import passing_mm
from drysward.physics.wear import by_moisture
from drysward.physics.young_turf import young_loss

SATURATED = 0.99  # share of saturation from which water stands on the surface; own estimate


class PlayInput(NamedTuple):
    """PLAY_FIELD (C,), and PLAY_DAY (D, C) of the days; (0, C) when no field has play."""

    fields: Any
    days: Any


def note_undrained(
    w1, fc1, sat1, liquid, caught, play_undrained_of_rain, undrained_of_watering,
):  # fmt: skip
    """Water still in the surface layer when play begins that drains before the day ends (mm)."""
    passing = passing_mm(
        w1, fc1, sat1, liquid, caught, play_undrained_of_rain, undrained_of_watering
    )
    return passing


def note_moist_surface(w1):
    """Water of the surface layer before the day dries it (mm)."""
    surface_before = w1
    return surface_before


def use_turf(
    w1, surface_before, passing, green, dormant, dead, worn, airless_days, root_loss, inv_reach,
    inv_rooting, sat1, wp1, inv_taw1, play_skinned, play_inv_surface_mm, play_air_below,
    play_inv_air_below, play_wear_middle_from, play_wear_wet_from, play_most_root_loss,
    today_wear_dry, today_wear_middle, today_wear_wet, today_wear_dormant, today_root_harm,
    today_root_heal, today_regrowth, today_young, today_young_dry_below, today_young_loss,
):  # fmt: skip
    """Wear by use, root loss without air and its recovery, death of young turf, regrowth.

    A skinned surface stays as it is.
    """
    skinned = play_skinned > 0.0
    moisture = (w1 + passing) * play_inv_surface_mm
    # Use wears living cover bare, faster in moister soil; dormant turf loses crowns.
    lost = green * by_moisture(
        moisture,
        play_wear_middle_from,
        play_wear_wet_from,
        today_wear_dry,
        today_wear_middle,
        today_wear_wet,
    )
    crowns = today_wear_dormant * dormant
    thinned = green - lost
    bare = worn + lost

    air = air_filled(w1, sat1, play_inv_surface_mm)
    airless = 0.0 if air >= play_air_below else airless_days + 1.0
    lack = lack_of_air(air, play_inv_air_below)
    roots = root_loss_step(
        root_loss, airless, today_root_harm, lack, today_root_heal, play_most_root_loss
    )

    # Young turf dies on a surface that is dry at midday, worn ground closes faster on a moist one.
    midday = (0.5 * (surface_before + w1) - wp1) * inv_taw1
    rate = today_young_loss if today_young > 0.0 else 0.0
    lost = thinned * young_loss(midday, today_young_dry_below, rate)
    wetness = (w1 - wp1) * inv_taw1
    bare += lost
    regrown = bare * today_regrowth * clamp(wetness, 0.0, 1.0)

    green = green if skinned else thinned - lost + regrown
    worn = worn if skinned else bare - regrown
    dead = dead if skinned else dead + crowns
    dormant = dormant if skinned else dormant - crowns
    airless_days = airless_days if skinned else airless
    root_loss = root_loss if skinned else roots
    inv_rooting = inv_rooting if skinned else inv_reach / (1.0 - roots)
    return green, dormant, dead, worn, airless_days, root_loss, inv_rooting


def add_up_surface(worn, root_loss, w1, mean_worn, mean_root_loss, mean_surface_water):
    """Add a patch's wear, root loss and surface water to the sums for the field."""
    mean_worn += worn
    mean_root_loss += root_loss
    mean_surface_water += w1
    return mean_worn, mean_root_loss, mean_surface_water


def assess_surface(
    w1, passing, green, dormant, sat1, play_skinned, play_inv_surface_mm, play_hard_intercept,
    play_hard_slope, play_hard_floor, play_hard_bare, play_hard_frozen, play_hard_inv_scatter,
    play_hard_above, play_soft_below, play_air_below, play_mud_above, play_weed_air,
    play_skin_dust, today_frozen, mean_hard, mean_soft, mean_mud, mean_standing, mean_airless,
    mean_dust, mean_moist, mean_hardness, mean_air,
):  # fmt: skip
    """Hardness and air of a patch, and the share of it that is hard, soft, muddy, wet or dusty."""
    skinned = play_skinned > 0.0
    thawed = 0.0 if today_frozen > 0.0 else 1.0
    # No dust but on a skinned surface, and no weeds on one.
    dust_below = play_skin_dust if skinned else -1.0
    # Play finds what has not drained yet; roots are short of air by what the day leaves.
    moisture = (w1 + passing) * play_inv_surface_mm
    air = air_filled(w1, sat1, play_inv_surface_mm)
    hardness = hardness_g(
        moisture,
        play_hard_intercept,
        play_hard_slope,
        play_hard_floor,
        1.0 - green - dormant,
        play_hard_bare,
        today_frozen,
        play_hard_frozen,
    )
    harder = share_beyond(hardness, play_hard_above, play_hard_inv_scatter)
    firmer = share_beyond(hardness, play_soft_below, play_hard_inv_scatter)
    mud = thawed if moisture > play_mud_above else 0.0
    mean_hard += 1.0 - thawed * (1.0 - harder)
    mean_soft += thawed * (1.0 - firmer)
    mean_mud += mud
    mean_dust += thawed - mud if moisture < dust_below else 0.0
    mean_standing += 1.0 if w1 + passing >= SATURATED * sat1 else 0.0
    mean_airless += 1.0 if air < play_air_below else 0.0
    mean_moist += 1.0 if (air < play_weed_air) & (play_skinned == 0.0) else 0.0
    mean_hardness += hardness
    mean_air += air
    return (
        mean_hard, mean_soft, mean_mud, mean_standing, mean_airless, mean_dust, mean_moist,
        mean_hardness, mean_air,
    )  # fmt: skip


def take_means_of_surface(
    per_patch, mean_worn, mean_root_loss, mean_surface_water, mean_hard, mean_soft, mean_mud,
    mean_standing, mean_airless, mean_dust, mean_moist, mean_hardness, mean_air,
):  # fmt: skip
    """Means over the patches of their sums; ``per_patch`` is 1 over how many there are."""
    mean_worn *= per_patch
    mean_root_loss *= per_patch
    mean_surface_water *= per_patch
    mean_hard *= per_patch
    mean_soft *= per_patch
    mean_mud *= per_patch
    mean_standing *= per_patch
    mean_airless *= per_patch
    mean_dust *= per_patch
    mean_moist *= per_patch
    mean_hardness *= per_patch
    mean_air *= per_patch
    return (
        mean_worn, mean_root_loss, mean_surface_water, mean_hard, mean_soft, mean_mud,
        mean_standing, mean_airless, mean_dust, mean_moist, mean_hardness, mean_air,
    )  # fmt: skip


def see_lost_roots(seen_depletion, seen_taw, mean_root_loss):
    """The plan waters for the roots that are left: what they can reach runs dry sooner."""
    left = 1.0 - mean_root_loss
    seen_taw *= left
    seen_depletion = smaller(seen_depletion / left, 1.0)
    return seen_depletion, seen_taw


def count_use(
    cooling, play_share, today_use_hours, today_covered, today_kept_off, today_labor,
    today_judged, today_frozen, mean_hard, mean_mud, mean_standing, mean_dust, played_syringed,
    played_use_hours, played_covered_days, played_rain_kept_off, played_cover_labor,
    played_events, played_events_frozen, played_events_hard, played_events_wet,
    played_events_playable,
):  # fmt: skip
    """Add a day's syringing, use, cover and event to the year, whatever the season."""
    covered = today_covered > 0.0
    frozen = today_frozen > 0.0
    hard = (mean_hard >= play_share) | (mean_dust >= play_share)
    wet = (mean_mud >= play_share) | (mean_standing >= play_share)
    event = today_judged != 0.0
    played_syringed += cooling
    played_use_hours += today_use_hours
    played_covered_days += 1.0 if covered else 0.0
    played_rain_kept_off += today_kept_off if covered else 0.0
    played_cover_labor += today_labor if covered else 0.0
    played_events += 1.0 if event else 0.0
    played_events_frozen += 1.0 if event & frozen else 0.0
    played_events_hard += 1.0 if event & hard & (today_frozen <= 0.0) else 0.0
    played_events_wet += 1.0 if event & wet else 0.0
    unfit = frozen | hard | wet
    played_events_playable += 0.0 if unfit | (today_judged == 0.0) else 1.0
    return (
        played_syringed, played_use_hours, played_covered_days, played_rain_kept_off,
        played_cover_labor, played_events, played_events_frozen, played_events_hard,
        played_events_wet, played_events_playable,
    )  # fmt: skip


def count_play(
    night_watering, wet_hours_of_watering, airless_run, play_share, play_skinned,
    play_least_wet_hours, plan_time_of_day, today_warm_night, today_dew_hours,
    today_rain_wet_hours, today_wet_night_hours, mean_hard, mean_soft, mean_mud, mean_standing,
    mean_airless, mean_dust, mean_moist, mean_hardness, mean_worn, mean_root_loss,
    played_season_days, played_hardness_sum, played_hardest, played_days_hard, played_days_soft,
    played_days_mud, played_days_standing, played_days_dust, played_days_weed_prone,
    played_days_airless, played_longest_airless, played_disease_nights, played_peak_worn,
    played_peak_root_loss,
):  # fmt: skip
    """Add a day of the season to the year.

    ``night_watering`` is the irrigation of the night that ends this morning (mm),
    ``wet_hours_of_watering`` how much longer watering at its time of day keeps leaves wet.
    """
    played_season_days += 1.0
    played_hardness_sum += mean_hardness
    played_hardest = larger(played_hardest, mean_hardness)
    played_days_hard += 1.0 if mean_hard >= play_share else 0.0
    played_days_soft += 1.0 if mean_soft >= play_share else 0.0
    played_days_mud += 1.0 if mean_mud >= play_share else 0.0
    played_days_standing += 1.0 if mean_standing >= play_share else 0.0
    played_days_dust += 1.0 if mean_dust >= play_share else 0.0
    played_days_weed_prone += 1.0 if mean_moist >= play_share else 0.0
    airless = mean_airless >= play_share
    played_days_airless += 1.0 if airless else 0.0
    airless_run = airless_run + 1.0 if airless else 0.0
    played_longest_airless = larger(played_longest_airless, airless_run)
    hours = leaf_wet_hours(
        today_dew_hours,
        today_rain_wet_hours,
        night_watering,
        wet_hours_of_watering,
        1.0 if plan_time_of_day == EVENING else 0.0,
        today_wet_night_hours,
    )
    diseased = disease_night(today_warm_night, hours, play_least_wet_hours)
    played_disease_nights += diseased if play_skinned == 0.0 else 0.0
    played_peak_worn = larger(played_peak_worn, mean_worn)
    played_peak_root_loss = larger(played_peak_root_loss, mean_root_loss)
    return (
        airless_run, played_season_days, played_hardness_sum, played_hardest, played_days_hard,
        played_days_soft, played_days_mud, played_days_standing, played_days_dust,
        played_days_weed_prone, played_days_airless, played_longest_airless, played_disease_nights,
        played_peak_worn, played_peak_root_loss,
    )  # fmt: skip


def night(watering, evening_water, plan_time_of_day, mean_surface_water):
    """The irrigation of the night that ends this morning: an evening's watering was yesterday's.

    Whoever waters for play has also seen how wet the surface is.
    """
    evening = plan_time_of_day == EVENING
    night_watering = evening_water if evening else watering
    evening_water = watering if evening else 0.0
    seen_surface_water = mean_surface_water
    return night_watering, evening_water, seen_surface_water
