"""What a plan asks for on one field this morning, before anybody knows today's rain.

``day_tables`` and ``restrict`` bring together what the plan says of today, ``wish`` is the depth
that it wants, ``wish_for_play`` what the use of the field makes of it, ``gross_up`` what that takes
from the supply. The waterer goes by what was seen of the field yesterday.
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
from drysward.physics.skinned_surface import skin_wanted

# Crown watering waits until the crown layer gives crowns less than this share of what they would
# drink (own estimate): before that they need none.
CROWNS_DRY_BELOW = 0.5

# Why restrictions close a day: another of the week is open, or none that the plan could use.
WAITS, FORBIDDEN = 1.0, 2.0

# Lines of the tables by weekday and by month.
WEEK_DEPTH, WEEK_ALLOWED, WEEK_GROSS = 0, 1, 2
MONTH_ADJUST, MONTH_IRRIGATION = 0, 1

DEPTH_TODAY, ALLOWED_TODAY = PLACE["depth_today"], PLACE["allowed_today"]
ADJUST_TODAY, LEFT_TODAY = PLACE["adjust_today"], PLACE["left_today"]
CROWN_ONLY_TODAY, BARRED_TODAY = PLACE["crown_only_today"], PLACE["barred_today"]
STAGE, PAUSED, PAUSED_DAYS = PLACE["stage"], PLACE["paused"], PLACE["paused_days"]


def wish(
    plan_rule, plan_trigger, plan_target, plan_share, plan_run_time_multiplier,
    plan_least_depth, plan_most_depth, plan_rain_skip, plan_interval, plan_first_day,
    plan_last_day, plan_crown_depth, plan_crown_interval, plan_crown_from, depth_today,
    allowed_today, adjust_today, left_today, crown_only_today, barred_today, recent_rain,
    seen_depletion, seen_deficit, seen_crown_wetness, seen_dormant, days_since_water, owed_et,
    rest, paused, taw, day_of_year,
):  # fmt: skip
    """Depths (mm, reaching the turf on average) that the plan wants this morning.

    ``wanted`` is within restrictions, ``unrestricted`` without them, ``whole`` what a refill is to
    bring in one or more nights. ``own`` is 1 where the rule itself wants water, and ``is_done`` 1
    where it could water today and needs nothing. On a day that restrictions close while another
    one of the week is open, nothing is wanted: the plan waits.

    ``recent_rain`` is that of the last ``plan_rain_skip_days`` days, today not included;
    ``left_today``, ``crown_only_today`` and ``barred_today`` are what restrictions leave. A refill
    that was begun goes on below its trigger until it is done. What a function wants stands in the
    plan's table of the week before the day begins.
    """
    refill = larger(0.0, seen_deficit - plan_target * taw) * plan_run_time_multiplier
    in_season = within(day_of_year, plan_first_day, plan_last_day)
    begun = (rest > 0.0) & in_season
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
    free = depth if goes & needs else 0.0
    is_own = (free > 0.0) | (plan_rule == RULE_NONE)
    kept = depth * left_today
    kept = kept if goes & (kept >= plan_least_depth) & (crown_only_today == 0.0) else 0.0
    whole = kept if (plan_rule == RULE_REFILL) | (plan_rule == RULE_FUNCTION) else 0.0

    thirsty = (days_since_water >= plan_crown_interval) & (seen_crown_wetness < CROWNS_DRY_BELOW)
    let_go = (seen_dormant >= plan_crown_from) | (paused > 0.0)
    free = plan_crown_depth if thirsty & let_go & (plan_crown_depth > free) else free
    let_go = let_go | (crown_only_today > 0.0)
    kept = plan_crown_depth if thirsty & let_go & (plan_crown_depth > kept) else kept
    may = in_season & (allowed_today > 0.0)
    own = 1.0 if may & is_own else 0.0
    is_done = 1.0 if may & (days_since_water >= plan_interval) else 0.0
    is_done = 0.0 if needs else is_done
    unrestricted = smaller(free, plan_most_depth) if may & (barred_today != WAITS) else 0.0
    open_today = may & (barred_today == 0.0)
    wanted = smaller(kept, plan_most_depth) if open_today else 0.0
    whole = whole if open_today else 0.0
    rest = rest if in_season else 0.0
    return wanted, unrestricted, whole, own, is_done, rest


def wish_for_play(
    plan_rule, plan_first_day, plan_last_day, left_today, crown_only_today, barred_today, wanted,
    unrestricted, whole, own, is_done, seen_surface_water, eto, play_on, play_skinned,
    play_skin_target_mm, play_skin_passes, play_skin_most_per_pass, today_blackout, today_light,
    today_prewet, today_tmax, plan_syringe_above, plan_syringe_depth, plan_syringe_from,
    seen_wilt, day_of_year,
):  # fmt: skip
    """What play makes of the depths that a plan wants, and what it syringes this afternoon (mm).

    A plan that waters at all also waters young turf lightly, a skinned surface to its moisture
    within the plan's season, and wets a field before an event, as far as restrictions let it;
    the weekdays of the plan are those of its turf. No plan waters on a day kept dry for an
    event. It syringes on a hot day, once enough of the field wilts.
    """
    waters = (play_on > 0.0) & (plan_rule != RULE_NONE)
    skinned = play_skinned > 0.0
    in_time = within(day_of_year, plan_first_day, plan_last_day)
    skin = skin_wanted(
        seen_surface_water, play_skin_target_mm, eto, play_skin_passes, play_skin_most_per_pass
    )
    extra = larger(today_light, today_prewet)
    extra = larger(extra, skin) if skinned & in_time else extra
    kept_dry = (play_on > 0.0) & (today_blackout > 0.0)
    free = larger(0.0 if skinned else unrestricted, extra)
    free = free if waters else unrestricted
    unrestricted = 0.0 if kept_dry else free
    open_today = (crown_only_today == 0.0) & (barred_today == 0.0)
    depth = 0.0 if skinned else wanted
    depth = larger(depth, extra * left_today) if open_today else depth
    depth = depth if waters else wanted
    wanted = 0.0 if kept_dry else depth
    whole = 0.0 if skinned | kept_dry else whole
    own = 1.0 if skinned & waters else own
    is_done = 0.0 if kept_dry else is_done
    hot = (today_tmax >= plan_syringe_above) & (seen_wilt >= plan_syringe_from)
    hot = hot & (today_blackout == 0.0) & (barred_today == 0.0)
    syringed = plan_syringe_depth if hot & (play_on > 0.0) else 0.0
    return wanted, unrestricted, whole, own, is_done, syringed


def gross_up(
    wanted, unrestricted, whole, is_done, barred_today, syringed, unmet, rest, plan_time_of_day,
    plan_night_depth, plan_ground_takes, overspray, loss_night, loss_early_morning, loss_midday,
    loss_evening, year_capped_days, counted,
):  # fmt: skip
    """What must leave the pipes for the wish, no more than the ground and the night take; each
    depth that either cuts off, and restrictions, is kept. ``counted`` is 1 on a day that counts.

    ``loss_...`` are the shares lost in flight by time of day.
    """
    spray_loss_today = loss_night if plan_time_of_day == NIGHT else loss_evening
    spray_loss_today = (
        loss_early_morning if plan_time_of_day == EARLY_MORNING else spray_loss_today
    )
    spray_loss_today = loss_midday if plan_time_of_day == MIDDAY else spray_loss_today
    arrives = (1.0 - spray_loss_today) * (1.0 - overspray)
    cut_restriction = larger(unrestricted - wanted, 0.0) / arrives
    from_pipes = wanted / arrives
    cut_ground = larger(wanted - plan_ground_takes, 0.0) / arrives
    irrigation_demand = from_pipes + cut_restriction
    from_pipes -= cut_ground
    cut_window = larger(from_pipes - plan_night_depth, 0.0)
    from_pipes -= cut_window
    year_capped_days += counted if cut_window > 0.0 else 0.0
    whole_demand = whole / arrives
    asked = from_pipes + syringed
    short_today = 0.0
    missed = 0.0
    made_up = 0.0
    # On a day on which it could water and needs nothing, the need is gone.
    is_over = (is_done > 0.0) & (irrigation_demand == 0.0)
    unmet = 0.0 if is_over else unmet
    rest = 0.0 if is_over & (barred_today == 0.0) else rest
    return (
        asked, irrigation_demand, whole_demand, cut_restriction, cut_ground, cut_window,
        short_today, missed, made_up, unmet, rest, spray_loss_today, year_capped_days,
    )  # fmt: skip


@jitable
def open_day(block: Any, quads: int, weekday: Any, month: Any) -> None:
    """What the tables of the plans say of today, as if nothing were restricted.

    ``weekday`` (3, LANES) and ``month`` (2, LANES) are the lines of today in the plans' tables.
    """
    for lane in range(4 * quads):
        block[DEPTH_TODAY + lane] = weekday[WEEK_DEPTH, lane]
        block[ALLOWED_TODAY + lane] = weekday[WEEK_ALLOWED, lane]
        block[ADJUST_TODAY + lane] = month[MONTH_ADJUST, lane]
        block[LEFT_TODAY + lane] = 1.0
        block[CROWN_ONLY_TODAY + lane] = 0.0
        block[BARRED_TODAY + lane] = 0.0


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
    """What the site's restrictions, the plan's own stage and its pause leave of today, in a lane.

    The stricter of the two in each: whether watering is allowed, the share of the wanted depth,
    and whether it may only keep crowns. ``site_days`` (7,) are the weekdays that the site leaves,
    if it is ``by_site``.
    """
    if plan.rule == RULE_NONE and plan.crown_depth <= 0.0 and plan.syringe_depth <= 0.0:
        return
    before = int(block[STAGE + lane])
    stage = stage_after(
        before, int(plan.stages), drought_index, plan.stage_above, plan.stage_below
    )
    block[STAGE + lane] = stage
    update_pause(block, lane, plan, drought_index, day_of_year)
    left, crown_only = site_share, site_crown_only
    if stage > 0:
        left *= plan.stage_share[stage - 1]
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
    # Who looks at the turf can wait for an open day; a fixed depth is gone.
    barred = WAITS if open_days > 0 and plan.rule != RULE_FIXED else FORBIDDEN
    block[BARRED_TODAY + lane] = 0.0 if open_today else barred
    block[LEFT_TODAY + lane] = left
    block[CROWN_ONLY_TODAY + lane] = 1.0 if crown_only else 0.0


@jitable
def update_pause(
    block: Any, lane: int, plan: Any, drought_index: float, day_of_year: int
) -> None:
    """Start or end the time in which the plan lets the turf go without."""
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
