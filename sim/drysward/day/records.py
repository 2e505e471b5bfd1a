"""The records that the day step reads and writes: one field of a dtype per named number.

NumPy record arrays keep the names in the plain run and in the compiled one alike.
Depths are mm over the patch unless the name says otherwise; rates are per day.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

WEEK = 7
MONTHS = 12
CALENDAR_DAYS = 366
MOST_STAGES = 4

# Causes of shortage, in the order in which a day checks them.
CAUSES = (
    "restriction", "ground", "window", "crew", "network", "source", "allowance", "storage",
    "priority",
)  # fmt: skip

# How a source's allowance is spent (SOURCE.ration), in the order of ``supply_tables.RATIONS``.
AS_IT_COMES, EVENLY, BY_MONTH = 0, 1, 2

# Irrigation rules (PLAN.rule).
RULE_NONE, RULE_FIXED, RULE_ET_SHARE, RULE_REFILL, RULE_FUNCTION = 0, 1, 2, 3, 4

# Time of day of watering (PLAN.time_of_day).
NIGHT, EARLY_MORNING, MIDDAY, EVENING = 0, 1, 2, 3
TIMES = 4

# Turf stages, in the order in which a drying field passes them.
STAGES = ("footprint", "wilt", "dormant", "dead")
AT_FOOTPRINT, AT_WILT, AT_DORMANT, AT_DEAD = 0, 1, 2, 3


def _dtype(floats: str, extra: tuple[tuple[str, str, tuple[int, ...]], ...] = ()) -> np.dtype:
    fields: list[tuple[str, str] | tuple[str, str, tuple[int, ...]]] = [
        (name, "f8") for name in floats.split()
    ]
    return np.dtype([*fields, *extra], align=True)


FIELD = _dtype(
    # depth of the surface layer
    "surface_mm "
    # surface layer: water at field capacity, wilting point, saturation and air-dry
    "fc1 wp1 sat1 dry1 inv_taw1 tew inv_tew_less_rew "
    # crown layer, its top: water at field capacity, wilting point and air-dry, and 1 over the water
    # at which crowns take up all they need
    "crown_fc crown_wp crown_dry inv_crown_wet "
    # share of the water above field capacity that drains in a day, by layer
    "drain1 drain2 drain3 percolation_limit "
    # potential retention S of the curve number, its initial abstraction, and the upward flow
    "retention abstraction upward_max "
    # turf
    "thatch_storage ground_cover mulch dormant_shade uptake_weight inv_ramp "
    "inv_browning_start browning_rate inv_firing_ks firing_rate inv_age_slowing heat_shelter "
    # crowns: how far moist soil around and below the roots slows drying, and how fast they rewet
    "inv_moist_root_zone root_zone_speed subsoil_least subsoil_slowing crown_refill"
)
"""Numbers of a field that stay the same from day to day."""

DELIVERY = _dtype("area_m2 overspray inv_pass_mm pass_labor machine")
"""Irrigation of a field: area (m2), share that falls off the field, and for a machine or a hose
1 over the gross depth of one pass (1/mm), hours of labor of one pass, and number of the machine
among those of the site; 0, 0 and -1 for a system in the ground."""

DAY = _dtype(
    # weather: total precipitation, its liquid part with melt, snow on the ground at day's end
    "precipitation liquid snow_water eto "
    # demand: basal coefficient of full green cover, upper limit, crop coefficient
    "kcb kc_max kc "
    # thresholds as depletion fractions, adjusted for demand
    "p_footprint wilt_threshold inv_one_less_p "
    # rooted layer below the surface layer, and the subsoil below the roots
    "fc2 wp2 sat2 fc3 wp3 sat3 taw inv_taw inv_taw2 inv_taw3 shift "
    # reference moisture of the curve number, and how fast abstraction falls as soil wets
    "moisture_reference abstraction_slope "
    # turf rates of the day
    "browning_drive summer_decline crown_clock heat_kill freeze_kill recovery spread reseed active "
    "awake root_depth "
    # share of liquid water that frozen ground lets in; 1 when not frozen
    "intake_share"
)
"""Weather, demand and turf rates of one day on one field, computed before any plan runs."""

CALENDAR = np.dtype(
    [
        ("year", "i8"),  # index of the counted year, -1 when the day is not counted
        ("in_season", "i8"),  # 1 on days on which stages are counted
        ("first", "i8"),  # 1 on the first day of a turf year
        ("fresh", "i8"),  # 1 on days on which the turf starts again, fully established
        ("month", "i8"),  # 0..11
        ("weekday", "i8"),  # 0 Monday .. 6 Sunday
        ("month_left", "i8"),  # days left in the month, today included
        ("year_left", "i8"),  # days left in the turf year, today included
        ("day_of_year", "i8"),  # 0..365 in a leap-year calendar
        ("rooting_score", "f8"),  # how deep roots go in this turf year, standard normal
    ],
    align=True,
)

PATCH = _dtype(
    "w1 w2 w3 crown_water thatch green dormant dead worn crown_dryness worst_dryness wetting "
    "dormant_age root_loss airless_days "
    # nitrogen of a fed field (kg/ha): urea, the ammonia it would still lose, coated and other slow
    # fertilizer in its two steps, mineral N of the surface layer, the root zone and the subsoil,
    # thatch and clippings, living turf
    "urea at_risk slow1_in slow2_in slow3_in slow1_out slow2_out slow3_out ammonium1 ammonium2 "
    "nitrate1 nitrate2 nitrate3 litter_n turf_n "
    # all that lies on the turf as fertilizer, all that the patch held yesterday (kg/ha), and 1 over
    # its living dry matter then
    "lying_n held_n inv_dry_matter"
)
"""State of one patch at the end of the day. Covers add to 1; ``worn`` is ground worn bare, or bare
by design. ``crown_water`` is the part of ``w1`` that lies in the crown layer."""

NITROGEN = (
    "urea", "slow1_in", "slow2_in", "slow3_in", "slow1_out", "slow2_out", "slow3_out", "ammonium1",
    "ammonium2", "nitrate1", "nitrate2", "nitrate3", "litter_n", "turf_n",
)  # fmt: skip
"""Names of a patch that hold its nitrogen."""

FIELD_STATE = _dtype(
    "seen_depletion seen_deficit seen_taw seen_crown_wetness seen_dormant seen_wilt "
    "seen_surface_water days_since_water owed_et refill_left evening_water "
    "stage paused paused_days unmet "
    "airless_run footprint_run wilt_run dormant_run dead_run "
    "peak_dormant recovery_clock recovering "
    # feeding: nitrogen status of the turf, water of the surface layer, doses that wait and since
    # when, phosphorus at the surface and granules on paving (kg/ha)
    "seen_status seen_top_water due_urea due_ammonium due_nitrate due_slow1 due_slow2 due_slow3 "
    "due_p held_days surface_p paved_n paved_p",
    (("last_week", "f8", (WEEK,)),),
)
"""State of a field at the end of yesterday, as the plan sees it, and running counts of the year.

``refill_left`` is the part of a started refill still to come, ``unmet`` the outstanding shortage
(gross mm)."""

PLAN = _dtype(
    "rule trigger target share least_depth most_depth rain_skip rain_skip_days interval "
    "first_day last_day time_of_day run_time_multiplier "
    # largest gross depth of a night, largest depth that the ground takes (mm on the turf), passes
    # of a machine in a night, and the part of a patch's catch that does not run off: a share of the
    # mean that landed, and a depth
    "night_depth ground_takes passes runoff_soaks runoff_storage "
    "crown_depth crown_interval crown_from "
    "pause_above pause_below pause_first pause_last pause_longest stages "
    "syringe_above syringe_depth syringe_from",
    (
        ("depth", "f8", (WEEK,)),
        ("allowed", "f8", (WEEK,)),
        ("adjust", "f8", (MONTHS,)),
        ("stage_above", "f8", (MOST_STAGES,)),
        ("stage_below", "f8", (MOST_STAGES,)),
        ("stage_share", "f8", (MOST_STAGES,)),
        ("stage_crown_only", "f8", (MOST_STAGES,)),
        ("stage_allowed", "f8", (MOST_STAGES, WEEK)),
    ),
)
"""One irrigation plan as one field follows it; depths reach the turf."""

PLAY_FIELD = _dtype(
    # 1 when the field has play; 1 for a skinned surface; 1 over the depth of the surface layer
    "on skinned inv_surface_mm "
    # peak deceleration (g) by surface moisture, and the limits set for it
    "hard_intercept hard_slope hard_floor hard_bare hard_frozen hard_inv_scatter "
    "hard_above soft_below "
    # too wet: air-filled porosity, moisture at which the surface is mud, share of the field
    "air_below inv_air_below mud_above share weed_air most_root_loss "
    # share of rain water above field capacity that drains between play and the day's end
    "undrained_of_rain "
    # moisture from which use wears faster, and fastest
    "wear_middle_from wear_wet_from "
    # hours of wet leaves of a disease night
    "least_wet_hours "
    # a skinned surface: water to fill to (mm), dust below (by volume), passes a day
    "skin_target_mm skin_dust skin_passes skin_most_per_pass "
    # water left an hour after syringing
    "syringe_left",
    # hours that watering keeps leaves wet, and the share of it undrained at play, by time of day
    (("watering_wet_hours", "f8", (TIMES,)), ("undrained_of_watering", "f8", (TIMES,))),
)
"""Numbers of a field that play needs."""

PLAY_DAY = _dtype(
    # hours of use, 1 on a judged event, 1 on a day without watering, watering before an event (mm)
    "use_hours judged blackout prewet "
    # share of green cover worn off by the day's use on dry, medium and wet soil; of dormant cover
    "wear_dry wear_middle wear_wet wear_dormant "
    # rain kept off by a cover, 1 when it is on, labor
    "kept_off covered labor "
    # 1 on a night warm enough for leaf disease, hours of dew, hours that rain adds, hours from
    # sunset until leaves are dry
    "warm_night dew_hours rain_wet_hours wet_night_hours "
    # root loss in a day of saturation and its recovery, regrowth of worn ground, frozen ground
    "root_harm root_heal regrowth frozen tmax "
    # new turf: light watering (mm), 1 while young with its losses on a dry surface, and 1 on
    # the day on which sod is laid, 2 on which seed is sown
    "light young young_dry_below young_loss sown"
)
"""Use, weather and calendar of one day of play on one field."""

PLAY_YEAR = _dtype(
    "days_hard days_soft days_mud days_standing days_airless longest_airless days_weed_prone "
    "disease_nights hardness_sum hardest season_days "
    "events events_hard events_wet events_frozen events_playable "
    "peak_worn peak_root_loss use_hours covered_days rain_kept_off cover_labor "
    "syringed days_dust"
)
"""Days, events and extremes of one field, plan and year, in the season."""

FEED_FIELD = _dtype(
    # 1 when the field is fed; dry matter of full living cover, its least and most N (shares of dry
    # matter), and 1 over the spans from the least to enough and to the most
    "on living n_least inv_n_span n_most inv_n_room "
    # N in clippings over that of the turf, share returned
    "clippings_ratio returned "
    # what status does: water use, roots, wear, browning; where it is usual, hungry and lush; and
    # what a lack of potassium does to wear
    "water_use_effect lush_root_loss wear_best wear_rise wear_potassium usual inv_usual_growth "
    "hungry_browning hungry_below lush_above "
    # slow fertilizer: 1 when released in two steps, and how far its release needs moisture
    "two_step1 two_step2 two_step3 wetness1 wetness2 wetness3 "
    # 1 over the pores of the surface layer that drain (1/mm)
    "inv_drains1 "
    # urea at the surface
    "most_ammonia ammonia_buffer wash_per_mm ammonia_day "
    # soil: share of urea that cracks carry, retardation of ammonium, share of litter built in,
    # mixing with runoff, N of the water (kg/ha for each mm)
    "by_cracks retardation built_in runoff_mix water_n "
    # share of a dose that falls on turf, rain that clears paving (mm)
    "off_paving paving_rain "
    # what a dose waits for, how long, and what washes it in (mm)
    "hold_days hold_dormant hold_wet water_in "
    # phosphorus in runoff
    "p_background p_lift p_frozen p_bare p_bound p_day_kept "
    # at the start of a run
    "start_turf_n start_litter_n start_mineral_n"
)
"""Numbers of a field that its feeding needs."""

FEED_DAY = _dtype(
    # 1 when a dose is due
    "dosed dose_urea dose_ammonium dose_nitrate dose_slow1 dose_slow2 dose_slow3 dose_p "
    # dry matter of full living cover, which young turf has yet to fill (kg/ha)
    "living "
    # growth potential, clippings of turf with enough (kg/ha), share of mineral N that hungry turf
    # takes up, and other shares of what is there that a warm, moist day moves
    "growth clippings uptake hydrolysis nitrify litter turnover immobilized leave1 leave2 leave3 "
    "denitrify ammonia_factor "
    # N that moist soil organic matter frees in the surface layer and below it (kg/ha)
    "freed1 freed2 "
    # 1 with frost or snow yesterday, and today; with heavy rain today or tomorrow
    "frozen frozen_today heavy_rain"
)
"""Doses that are due and what weather makes of nitrogen on one day of one field."""

FEED_YEAR = _dtype(
    # kg/ha of N, of P where the name says so, of dry matter for clippings; those from brought_n to
    # residual are kept by patch through the year
    "applied_n applied_p skipped_n doses doses_late doses_in_rain "
    "brought_n released_n rotted_n freed_n uptake_n clippings clipped_n leached_n ammonia_n gas_n "
    "runoff_n residual "
    "built_in_n removed_n runoff_p paving_n paving_p "
    "growing_days days_hungry days_lush days_unwise least_status "
    # N held by the patches when the year begins and ends
    "n_start n_end",
    (
        ("clippings_month", "f8", (MONTHS,)),
        ("leached_month", "f8", (MONTHS,)),
        ("status_month", "f8", (MONTHS,)),
    ),
)
"""Sums and counts of the feeding of one field, plan and year; means over the field. The status of a
month is a sum over its days until the year is written."""

SUPPLY = _dtype(
    # 0 when nothing limits the supply and no results of it are needed
    "on "
    # hours of watering in a day, the most that the pipes carry in them; capacity of the storage,
    # and the dead volume in it (m3)
    "window network capacity dead seepage "
    # hours of crew in a day for machines and hoses; 1 when crew or a machine are shared
    "crew is_shared "
    # restrictions: the kind of their index, and the number of stages
    "index stages"
)
"""Limits of a site's supply; volumes m3, seepage mm a day over the water's area."""

INDEX_DROUGHT, INDEX_STORAGE, INDEX_CALENDAR = 0, 1, 2

SOURCE = _dtype(
    "to_fields to_storage first day week month year ration season_first season_last",
    (("cumulative_share", "f8", (MONTHS,)),),
)
"""A source: what it feeds (flags), its limits by day, week, month and year (m3), how these are
rationed, its season, and by month the share of the year's limit that may be used by its end."""

SITE_STAGE = _dtype("first last share crown_only", (("allowed", "f8", (WEEK,)),))
"""A restriction stage of the site."""

STORAGE_STATE = _dtype("volume stage event_volume shortage_yesterday month")
"""State of the supply: water in storage (m3), stage in force, shortage of a running event."""

USED = _dtype("week month year today budget days_covered")
"""Water drawn from a source so far (m3), what its allowances leave for today, and the days that
today's draw covers: those since its last draw."""

SUPPLY_YEAR = _dtype(
    # m3 of the year
    "demand delivered from_storage catchment rain_on_storage evaporation seepage spill refill "
    # shortage (demand that was never delivered), days, events, the largest event (m3)
    "shortage demand_days shortage_days shortage_events worst_event "
    # least and last water in storage, and the largest water balance error of a day
    "least_storage storage_end residual "
    "restricted_days"
)
"""Sums of one plan and year at the supply."""

SUPPLY_TRACE = _dtype(
    "demand delivered shortage made_up unmet from_storage catchment rain_on_storage evaporation "
    "seepage spill refill storage stage residual"
)
"""One day at the supply (m3)."""

YEAR = _dtype(
    "precipitation irrigation_gross irrigation_landed spray_loss overspray runoff drainage "
    "leaf_evaporation soil_evaporation transpiration reference_et "
    "watering_days capped_days irrigation_runoff irrigation_drained labor_hours shortage "
    "peak_week "
    "days_footprint days_wilt days_dormant days_dead "
    "peak_footprint peak_wilt peak_dormant peak_dead "
    "longest_footprint longest_wilt longest_dormant longest_dead "
    "days_below_condition least_green recovery_days "
    "water_start water_end residual",
    (
        ("irrigation_month", "f8", (MONTHS,)),
        ("shortage_month", "f8", (MONTHS,)),
        ("shortage_cause", "f8", (len(CAUSES),)),
    ),
)
"""Sums, counts and extremes of one field, plan and year; depths are means over the field."""

TRACE = _dtype(
    "precipitation reference_et irrigation_gross irrigation_landed demand shortage missed made_up "
    "runoff drainage leaf_evaporation soil_evaporation transpiration snow_water thatch_water "
    "surface_water root_water subsoil_water residual depletion root_depth "
    "footprint wilt green dormant dead worn winter_rest crown_hydration drought_index stage "
    "hardness air_filled root_loss hard mud standing dust frozen "
    "nitrogen_status mineral_nitrogen nitrogen_leached clippings"
)
"""One day of one field in the ledger; means over the field."""


def records(dtype: np.dtype, shape: int | tuple[int, ...]) -> np.recarray:
    """A zeroed record array of ``dtype``."""
    return np.zeros(shape, dtype).view(np.recarray)


def as_values(lines: np.ndarray) -> NDArray[np.float64]:
    """Records of floats only, of any shape, as floats with the values of a record as last axis: the
    same memory when it is contiguous.
    """
    whole = np.ascontiguousarray(lines).view(np.ndarray)
    return whole.view(np.float64).reshape(*lines.shape, lines.dtype.itemsize // 8)
