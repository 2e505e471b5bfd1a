"""Yearly sums, counts and extremes: what one day adds to them."""

from __future__ import annotations

import numpy as np

from drysward.physics.arithmetic import larger, smaller, worse

NO_DORMANCY, NOT_RECOVERED = -1.0, -2.0


def take_means(
    per_patch, n_patches, gross, spray, beside, snow_error, mean_caught, mean_shed, mean_beyond,
    mean_runoff,
    mean_drainage, mean_leaf_evaporation, mean_soil_evaporation, mean_transpiration,
    mean_residual, mean_depletion, mean_deficit, mean_crown_wetness, mean_footprint, mean_wilt,
    mean_green, mean_dormant, mean_dead,
):  # fmt: skip
    """Means over the patches of their sums; ``per_patch`` is 1 over ``n_patches``.

    The water balance of the whole field closes here: sky to snow to ground, and pipe to ground.
    """
    mean_caught /= n_patches
    mean_shed *= per_patch
    mean_beyond *= per_patch
    mean_runoff *= per_patch
    mean_drainage *= per_patch
    mean_leaf_evaporation *= per_patch
    mean_soil_evaporation *= per_patch
    mean_transpiration *= per_patch
    mean_depletion *= per_patch
    mean_deficit *= per_patch
    mean_crown_wetness *= per_patch
    mean_footprint *= per_patch
    mean_wilt *= per_patch
    mean_green *= per_patch
    mean_dormant *= per_patch
    mean_dead *= per_patch
    pipe_error = abs(gross - spray - beside - mean_caught)
    mean_residual = worse(mean_residual, worse(snow_error, pipe_error))
    return (
        mean_caught, mean_shed, mean_beyond, mean_runoff, mean_drainage, mean_leaf_evaporation,
        mean_soil_evaporation, mean_transpiration, mean_residual, mean_depletion, mean_deficit,
        mean_crown_wetness, mean_footprint, mean_wilt, mean_green, mean_dormant, mean_dead,
    )  # fmt: skip


def count_water(
    precipitation, eto, mean_runoff, mean_drainage, mean_leaf_evaporation,
    mean_soil_evaporation, mean_transpiration, mean_residual, year_precipitation,
    year_reference_et, year_runoff, year_drainage, year_leaf_evaporation, year_soil_evaporation,
    year_transpiration, year_residual,
):  # fmt: skip
    """Add a day's water to the year."""
    year_precipitation += precipitation
    year_reference_et += eto
    year_runoff += mean_runoff
    year_drainage += mean_drainage
    year_leaf_evaporation += mean_leaf_evaporation
    year_soil_evaporation += mean_soil_evaporation
    year_transpiration += mean_transpiration
    year_residual = worse(mean_residual, year_residual)
    return (
        year_precipitation, year_reference_et, year_runoff, year_drainage, year_leaf_evaporation,
        year_soil_evaporation, year_transpiration, year_residual,
    )  # fmt: skip


def count_irrigation(
    gross, mean_caught, mean_shed, mean_beyond, mean_runoff, mean_drainage, spray, beside, liquid,
    inv_pass_mm, pass_labor, year_irrigation_gross, year_irrigation_landed,
    year_irrigation_runoff, year_irrigation_drained, year_spray_loss, year_overspray,
    year_watering_days, year_labor_hours,
):  # fmt: skip
    """Add a day of irrigation to the year.

    Runoff of a day without rain on which the plan waters is irrigation; the other lanes may water
    on other days. The catch above field capacity that did not run off counts as drained, up to
    today's drainage; turf may use the remainder on later days.
    """
    ran_off = mean_runoff if (liquid == 0.0) & (gross > 0.0) else mean_shed
    year_irrigation_gross += gross
    year_irrigation_landed += mean_caught
    year_irrigation_runoff += ran_off
    beyond = larger(mean_beyond - (ran_off - mean_shed), 0.0)
    year_irrigation_drained += smaller(beyond, mean_drainage)
    year_spray_loss += spray
    year_overspray += beside
    year_watering_days += 1.0 if gross > 0.0 else 0.0
    year_labor_hours += np.ceil(gross * inv_pass_mm - 1e-9) * pass_labor
    return (
        year_irrigation_gross, year_irrigation_landed, year_irrigation_runoff,
        year_irrigation_drained, year_spray_loss, year_overspray, year_watering_days,
        year_labor_hours,
    )  # fmt: skip


def count_week(week_sum, year_peak_week):
    """Largest irrigation of any seven days in a row so far this year (mm)."""
    year_peak_week = larger(week_sum, year_peak_week)
    return year_peak_week


def time_recovery(
    at_dormant, mean_green, mean_dormant, peak_dormant, recovery_clock, recovering,
    year_recovery_days,
):  # fmt: skip
    """Days from peak dormancy until four fifths of the living cover is green."""
    higher = mean_dormant > peak_dormant
    deep = higher & (mean_dormant >= at_dormant)
    on_its_way = (mean_dormant <= peak_dormant) & (recovering > 0.0)
    over = on_its_way & (mean_dormant <= smaller(0.2, at_dormant) * (mean_green + mean_dormant))
    clock = recovery_clock + 1.0 if on_its_way else recovery_clock
    recovery_clock = 0.0 if higher else clock
    year_recovery_days = NOT_RECOVERED if deep else year_recovery_days
    year_recovery_days = recovery_clock if over else year_recovery_days
    recovering = 1.0 if deep else recovering
    recovering = 0.0 if over else recovering
    peak_dormant = larger(mean_dormant, peak_dormant)
    return peak_dormant, recovery_clock, recovering, year_recovery_days


def count_stages(
    at_footprint, at_wilt, at_dormant, at_dead, mean_footprint, mean_wilt, mean_dormant,
    mean_dead, mean_green, footprint_run, wilt_run, dormant_run, dead_run, year_days_footprint,
    year_days_wilt, year_days_dormant, year_days_dead, year_peak_footprint, year_peak_wilt,
    year_peak_dormant, year_peak_dead, year_longest_footprint, year_longest_wilt,
    year_longest_dormant, year_longest_dead, year_least_green,
):  # fmt: skip
    """Season days with a stage on at least its share of the field (``at_...``), longest run of such
    days, and largest share.
    """
    year_days_footprint += 1.0 if mean_footprint >= at_footprint else 0.0
    year_days_wilt += 1.0 if mean_wilt >= at_wilt else 0.0
    year_days_dormant += 1.0 if mean_dormant >= at_dormant else 0.0
    year_days_dead += 1.0 if mean_dead >= at_dead else 0.0
    year_peak_footprint = larger(mean_footprint, year_peak_footprint)
    year_peak_wilt = larger(mean_wilt, year_peak_wilt)
    year_peak_dormant = larger(mean_dormant, year_peak_dormant)
    year_peak_dead = larger(mean_dead, year_peak_dead)
    footprint_run = footprint_run + 1.0 if mean_footprint >= at_footprint else 0.0
    wilt_run = wilt_run + 1.0 if mean_wilt >= at_wilt else 0.0
    dormant_run = dormant_run + 1.0 if mean_dormant >= at_dormant else 0.0
    dead_run = dead_run + 1.0 if mean_dead >= at_dead else 0.0
    year_longest_footprint = larger(footprint_run, year_longest_footprint)
    year_longest_wilt = larger(wilt_run, year_longest_wilt)
    year_longest_dormant = larger(dormant_run, year_longest_dormant)
    year_longest_dead = larger(dead_run, year_longest_dead)
    year_least_green = smaller(mean_green, year_least_green)
    return (
        footprint_run, wilt_run, dormant_run, dead_run, year_days_footprint, year_days_wilt,
        year_days_dormant, year_days_dead, year_peak_footprint, year_peak_wilt, year_peak_dormant,
        year_peak_dead, year_longest_footprint, year_longest_wilt, year_longest_dormant,
        year_longest_dead, year_least_green,
    )  # fmt: skip


def count_condition(
    condition_green, condition_wilt, play_skinned, active, mean_green, mean_wilt,
    year_days_below_condition,
):  # fmt: skip
    """Season days below the playing condition: too little green cover (share of the field) or too
    much wilt. A skinned surface and turf at winter rest are not judged.
    """
    below = (mean_green < condition_green) | (mean_wilt > condition_wilt)
    is_judged = (play_skinned == 0.0) & (active >= 0.5)
    year_days_below_condition += 1.0 if below & is_judged else 0.0
    return year_days_below_condition


def add_up_water(
    w1, w2, w3, thatch, crown_dryness, mean_w1, mean_w2, mean_w3, mean_thatch, mean_hydration,
):  # fmt: skip
    """Add a patch's water to the sums for the field."""
    mean_w1 += w1
    mean_w2 += w2
    mean_w3 += w3
    mean_thatch += thatch
    mean_hydration += 1.0 / (1.0 + crown_dryness)
    return mean_w1, mean_w2, mean_w3, mean_thatch, mean_hydration


def take_means_of_water(
    n_patches, mean_w1, mean_w2, mean_w3, mean_thatch, mean_hydration, snow_before,
):  # fmt: skip
    """Mean water of the patches by layer, and all stored water, snow included (mm)."""
    mean_w1 /= n_patches
    mean_w2 /= n_patches
    mean_w3 /= n_patches
    mean_thatch /= n_patches
    mean_hydration /= n_patches
    stored = mean_w1 + mean_w2 + mean_w3 + mean_thatch + snow_before
    return mean_w1, mean_w2, mean_w3, mean_thatch, mean_hydration, stored


def copy_to_ledger(active, drought_index):
    """Numbers of the ledger that no other part of the day sets."""
    winter_rest = 1.0 - active
    drought_index_today = drought_index
    return winter_rest, drought_index_today
