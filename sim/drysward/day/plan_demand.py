"""The demand of a plan on one field this morning, before today's rain is known.

``open_day`` and ``restrict`` read what the plan's tables and the restrictions say about today,
``watering_depths`` gets the depths from the plan's rule, ``play_depths`` adjusts them for the use
of the field, and ``gross_up`` turns them into a request to the supply.

**What is known before dawn.** Every decision of the morning reads the evening before: the state of
the field (``seen_...``), the rain until then, the drought index, the water in storage. On the first
day it reads the state that the run starts from. Only what happens in the day itself follows the
day's weather: syringing in the heat, the later passes over a skinned surface, the loss in flight of
a plan that waters at midday, and rain covers, which are laid as with a perfect forecast.
"""

from __future__ import annotations

from typing import Any

from drysward.compiled import jitable
from drysward.day.lanes import PLACE
from drysward.day.records import (
    EARLY_MORNING,
    MIDDAY,
    NIGHT,
    RULE_ET_SHARE,
    RULE_FIXED,
    RULE_FUNCTION,
    RULE_NONE,
    RULE_REFILL,
    WEEK,
)
from drysward.day.restrictions import stage_after
from drysward.physics.arithmetic import larger, smaller, within
from drysward.physics.skinned_surface import skin_demand_mm

# Crown watering waits until crowns take up less than this share of the water that they would from
# a moist crown layer (own estimate): before that they need none.
CROWNS_DRY_BELOW = 0.5

# Why a day is closed by restrictions: another day of the week is open, so the plan waits, or no
# day is open that the plan could use.
WAITS, FORBIDDEN = 1.0, 2.0

# Rows of the tables by weekday and by month.
WEEK_DEPTH, WEEK_ALLOWED, WEEK_GROSS = 0, 1, 2
MONTH_ADJUST, MONTH_IRRIGATION = 0, 1

DEPTH_TODAY, ALLOWED_TODAY = PLACE["depth_today"], PLACE["allowed_today"]
ADJUST_TODAY, SHARE_TODAY = PLACE["adjust_today"], PLACE["share_today"]
CROWN_ONLY_TODAY, CLOSED_TODAY = PLACE["crown_only_today"], PLACE["closed_today"]
STAGE, PAUSED, PAUSED_DAYS = PLACE["stage"], PLACE["paused"], PLACE["paused_days"]


def watering_depths(
    plan_rule, plan_trigger, plan_target, plan_share, plan_run_time_multiplier,
    plan_least_depth, plan_most_depth, plan_rain_skip, plan_interval, plan_first_day,
    plan_last_day, plan_crown_depth, plan_crown_interval, plan_crown_from, depth_today,
    allowed_today, adjust_today, share_today, crown_only_today, closed_today, recent_rain,
    seen_depletion, seen_deficit, seen_crown_wetness, seen_dormant, days_since_water, owed_et,
    refill_left, paused, seen_taw, day_of_year,
):  # fmt: skip
    """Depths that the plan's rule calls for this morning (mm reaching the turf on average).

    ``permitted_depth`` is within restrictions, ``unrestricted_depth`` without them.
    ``refill_depth`` is the depth of a refill that may take several nights. ``rule_waters`` is 1
    when the rule itself calls for water, ``needs_none`` 1 when it could water today and the turf
    needs none. When restrictions close today but leave another day of the week open, the plan
    waits and every depth is 0.

    ``recent_rain`` (mm) fell in the last ``plan_rain_skip_days`` days, today not included.
    ``share_today``, ``crown_only_today`` and ``closed_today`` are today's restrictions. A refill
    that has started goes on below its trigger until the soil is refilled. The depth of a function
    is in the plan's table of the week before the day begins.
    """
    refill = larger(0.0, seen_deficit - plan_target * seen_taw) * plan_run_time_multiplier
    in_season = within(day_of_year, plan_first_day, plan_last_day)
    begun = (refill_left > 0.0) & in_season
    refill = refill if (seen_depletion >= plan_trigger) | begun else 0.0
    share_of_et = plan_share * owed_et * plan_run_time_multiplier
    depth = refill if plan_rule == RULE_REFILL else 0.0
    depth = share_of_et if plan_rule == RULE_ET_SHARE else depth
    of_table = (plan_rule == RULE_FIXED) | (plan_rule == RULE_FUNCTION)
    depth = depth_today if of_table else depth
    depth = depth if days_since_water >= plan_interval else 0.0
    depth *= adjust_today
    goes = (recent_rain < plan_rain_skip) & (paused == 0.0) & (plan_rule != RULE_NONE)
    needs = (depth >= plan_least_depth) & (depth > 0.0)
    unlimited = depth if goes & needs else 0.0
    is_own = (unlimited > 0.0) | (plan_rule == RULE_NONE)
    permitted = depth * share_today
    is_permitted = goes & (permitted >= plan_least_depth) & (crown_only_today == 0.0)
    permitted = permitted if is_permitted else 0.0
    goes_on = (plan_rule == RULE_REFILL) | (plan_rule == RULE_FUNCTION)
    refill_depth = permitted if goes_on else 0.0

    thirsty = (days_since_water >= plan_crown_interval) & (seen_crown_wetness < CROWNS_DRY_BELOW)
    let_go = (seen_dormant >= plan_crown_from) | (paused > 0.0)
    unlimited = plan_crown_depth if thirsty & let_go & (plan_crown_depth > unlimited) else unlimited
    let_go = let_go | (crown_only_today > 0.0)
    permitted = plan_crown_depth if thirsty & let_go & (plan_crown_depth > permitted) else permitted
    may = in_season & (allowed_today > 0.0)
    rule_waters = 1.0 if may & is_own else 0.0
    needs_none = 1.0 if may & (days_since_water >= plan_interval) else 0.0
    needs_none = 0.0 if needs else needs_none
    is_counted = may & (closed_today != WAITS)
    unrestricted_depth = smaller(unlimited, plan_most_depth) if is_counted else 0.0
    open_today = may & (closed_today == 0.0)
    permitted_depth = smaller(permitted, plan_most_depth) if open_today else 0.0
    refill_depth = refill_depth if open_today else 0.0
    refill_left = refill_left if in_season else 0.0
    return permitted_depth, unrestricted_depth, refill_depth, rule_waters, needs_none, refill_left


def play_depths(
    plan_rule, plan_first_day, plan_last_day, share_today, crown_only_today, closed_today,
    permitted_depth, unrestricted_depth, refill_depth, rule_waters, needs_none,
    seen_surface_water, eto, play_on, play_skinned, play_skin_target_mm, play_skin_passes,
    play_skin_most_per_pass, today_blackout, today_light, today_prewet, today_tmax,
    plan_syringe_above, plan_syringe_depth, plan_syringe_from, seen_wilt, day_of_year,
):  # fmt: skip
    """The plan's depths adjusted for play, and the syringing of this afternoon (mm).

    A plan that waters at all also waters young turf lightly, brings a skinned surface to its target
    moisture within the plan's season, and wets a field before an event, as far as restrictions
    allow. The plan's weekdays limit the watering of turf only. No plan waters on a day kept dry
    for an event. Syringing takes place on a hot day once enough of the field wilts.
    """
    waters = (play_on > 0.0) & (plan_rule != RULE_NONE)
    skinned = play_skinned > 0.0
    in_time = within(day_of_year, plan_first_day, plan_last_day)
    skin = skin_demand_mm(
        seen_surface_water, play_skin_target_mm, eto, play_skin_passes, play_skin_most_per_pass
    )
    extra = larger(today_light, today_prewet)
    extra = larger(extra, skin) if skinned & in_time else extra
    kept_dry = (play_on > 0.0) & (today_blackout > 0.0)
    unlimited = larger(0.0 if skinned else unrestricted_depth, extra)
    unlimited = unlimited if waters else unrestricted_depth
    unrestricted_depth = 0.0 if kept_dry else unlimited
    open_today = (crown_only_today == 0.0) & (closed_today == 0.0)
    depth = 0.0 if skinned else permitted_depth
    depth = larger(depth, extra * share_today) if open_today else depth
    depth = depth if waters else permitted_depth
    permitted_depth = 0.0 if kept_dry else depth
    refill_depth = 0.0 if skinned | kept_dry else refill_depth
    rule_waters = 1.0 if skinned & waters else rule_waters
    needs_none = 0.0 if kept_dry else needs_none
    hot = (today_tmax >= plan_syringe_above) & (seen_wilt >= plan_syringe_from)
    hot = hot & (today_blackout == 0.0) & (closed_today == 0.0)
    syringed = plan_syringe_depth if hot & (play_on > 0.0) else 0.0
    return permitted_depth, unrestricted_depth, refill_depth, rule_waters, needs_none, syringed


def gross_up(
    permitted_depth, unrestricted_depth, refill_depth, needs_none, closed_today, syringed, unmet,
    refill_left, plan_time_of_day, plan_night_depth, plan_ground_takes, overspray, loss_night,
    loss_early_morning, loss_midday, loss_evening, year_capped_days, counted,
):  # fmt: skip
    """The request to the supply (gross mm), limited by the soil's intake and the night's run time.

    The depths cut by restrictions, soil and run time are returned as ``cut_...``. ``counted`` is 1
    on a day of a counted year. ``loss_...`` are the shares lost in flight by time of day.
    """
    spray_loss_today = loss_night if plan_time_of_day == NIGHT else loss_evening
    spray_loss_today = (
        loss_early_morning if plan_time_of_day == EARLY_MORNING else spray_loss_today
    )
    spray_loss_today = loss_midday if plan_time_of_day == MIDDAY else spray_loss_today
    arrives = (1.0 - spray_loss_today) * (1.0 - overspray)
    cut_restriction = larger(unrestricted_depth - permitted_depth, 0.0) / arrives
    from_pipes = permitted_depth / arrives
    cut_ground = larger(permitted_depth - plan_ground_takes, 0.0) / arrives
    irrigation_demand = from_pipes + cut_restriction
    from_pipes -= cut_ground
    cut_window = larger(from_pipes - plan_night_depth, 0.0)
    from_pipes -= cut_window
    year_capped_days += counted if cut_window > 0.0 else 0.0
    refill_demand = refill_depth / arrives
    requested = from_pipes + syringed
    shortage_today = 0.0
    missed = 0.0
    made_up = 0.0
    # When the plan could water and the turf needs none, nothing is outstanding any more.
    is_over = (needs_none > 0.0) & (irrigation_demand == 0.0)
    unmet = 0.0 if is_over else unmet
    refill_left = 0.0 if is_over & (closed_today == 0.0) else refill_left
    return (
        requested, irrigation_demand, refill_demand, cut_restriction, cut_ground, cut_window,
        shortage_today, missed, made_up, unmet, refill_left, spray_loss_today, year_capped_days,
    )  # fmt: skip


@jitable
def open_day(block: Any, quads: int, weekday: Any, month: Any) -> None:
    """Today's entries of the plans' tables, with no restrictions.

    ``weekday`` (3, LANES) and ``month`` (2, LANES) are today's rows of the plans' tables.
    """
    for lane in range(4 * quads):
        block[DEPTH_TODAY + lane] = weekday[WEEK_DEPTH, lane]
        block[ALLOWED_TODAY + lane] = weekday[WEEK_ALLOWED, lane]
        block[ADJUST_TODAY + lane] = month[MONTH_ADJUST, lane]
        block[SHARE_TODAY + lane] = 1.0
        block[CROWN_ONLY_TODAY + lane] = 0.0
        block[CLOSED_TODAY + lane] = 0.0


@jitable
def restrict(
    block: Any,
    lane: int,
    plan: Any,
    drought_index: float,
    weekday: int,
    day_of_year: int,
    by_site: bool,
    site_days: Any,
    site_share: float,
    site_crown_only: bool,
) -> None:
    """Write today's restrictions of one lane, from the site's stage and the plan's stage and pause.

    The stricter of site and plan holds: whether watering is allowed, the share of the depth, and
    whether only crown-keeping is allowed. ``site_days`` (7,) are the weekdays that the site leaves
    open, if it is ``by_site``.
    """
    if plan.rule == RULE_NONE and plan.crown_depth <= 0.0 and plan.syringe_depth <= 0.0:
        return
    before = int(block[STAGE + lane])
    stage = stage_after(
        before, int(plan.stages), drought_index, plan.stage_above, plan.stage_below
    )
    block[STAGE + lane] = stage
    update_pause(block, lane, plan, drought_index, day_of_year)
    share_left, crown_only = site_share, site_crown_only
    if stage > 0:
        share_left *= plan.stage_share[stage - 1]
        crown_only = crown_only or plan.stage_crown_only[stage - 1] > 0.0
    open_today, open_days = False, 0
    for day in range(WEEK):
        is_open = site_days[day] > 0.0 or not by_site
        if stage > 0:
            is_open = is_open and plan.stage_allowed[stage - 1, day] > 0.0
        if is_open and day == weekday:
            open_today = True
        if is_open and plan.allowed[day] > 0.0:
            open_days += 1
    # A rule that follows the turf can wait for an open day; a fixed depth is lost.
    barred = WAITS if open_days > 0 and plan.rule != RULE_FIXED else FORBIDDEN
    block[CLOSED_TODAY + lane] = 0.0 if open_today else barred
    block[SHARE_TODAY + lane] = share_left
    block[CROWN_ONLY_TODAY + lane] = 1.0 if crown_only else 0.0


@jitable
def update_pause(
    block: Any, lane: int, plan: Any, drought_index: float, day_of_year: int
) -> None:
    """Start or end the pause in which the plan leaves the turf without water."""
    dated = plan.pause_first >= 0.0 and within(day_of_year, plan.pause_first, plan.pause_last)
    due = dated or drought_index >= plan.pause_above
    if block[PAUSED + lane] > 0.0:
        block[PAUSED_DAYS + lane] += 1.0
        over = block[PAUSED_DAYS + lane] >= plan.pause_longest
        rained = not dated and drought_index < plan.pause_below
        if over or rained:
            block[PAUSED + lane] = 0.0
    elif due and block[PAUSED_DAYS + lane] < plan.pause_longest:
        block[PAUSED + lane] = 1.0
        block[PAUSED_DAYS + lane] = 1.0
    if not due and block[PAUSED + lane] == 0.0 and drought_index < plan.pause_below:
        block[PAUSED_DAYS + lane] = 0.0  # a new drought may pause again
