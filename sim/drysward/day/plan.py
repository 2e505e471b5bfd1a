"""What a plan asks for on one field this morning, before anybody knows today's rain."""

from __future__ import annotations

from typing import Any

from numba.extending import register_jitable

from drysward.day.records import RULE_ET_SHARE, RULE_FIXED, RULE_NONE, RULE_REFILL
from drysward.physics.skinned_surface import skin_wanted

# Crown watering waits until the rooted depth is this dry (depletion fraction; own estimate):
# before that the crowns still drink from the root zone.
CROWN_WATER_FROM_DEPLETION = 0.8


@register_jitable
def within(day_of_year: int, first: float, last: float) -> bool:
    """Whether a calendar day lies in a span that may run over the turn of the year."""
    if first <= last:
        return first <= day_of_year <= last
    return day_of_year >= first or day_of_year <= last


@register_jitable
def update_stage(plan: Any, state: Any, drought_index: float) -> None:
    """Enter or leave restriction stages; leaving needs a lower index than entering."""
    stage = int(state.stage)
    while stage < int(plan.stages) and drought_index >= plan.stage_above[stage]:
        stage += 1
    while stage > 0 and drought_index < plan.stage_below[stage - 1]:
        stage -= 1
    state.stage = stage


@register_jitable
def update_pause(plan: Any, state: Any, drought_index: float, day_of_year: int) -> None:
    """Start or end the time in which the plan lets the turf go without."""
    dated = plan.pause_first >= 0 and within(day_of_year, plan.pause_first, plan.pause_last)
    asked = dated or drought_index >= plan.pause_above
    if state.paused > 0:
        state.paused_days += 1
        over = state.paused_days >= plan.pause_longest
        rained = not dated and drought_index < plan.pause_below
        if over or rained:
            state.paused = 0
    elif asked and state.paused_days < plan.pause_longest:
        state.paused = 1
        state.paused_days = 1
    if not asked and state.paused == 0 and drought_index < plan.pause_below:
        state.paused_days = 0  # a new drought may pause again


@register_jitable
def left_by_restrictions(
    plan: Any,
    state: Any,
    weekday: int,
    site_allowed: bool,
    site_share: float,
    site_crown_only: bool,
) -> tuple[bool, float, bool]:
    """What the site's restrictions and the plan's own stage leave of today.

    Whether watering is allowed, the share of the wanted depth, and whether it may only keep
    crowns; the stricter of the two in each.
    """
    stage = int(state.stage)
    if stage == 0:
        return site_allowed, site_share, site_crown_only
    return (
        site_allowed and plan.stage_allowed[stage - 1, weekday] > 0.0,
        site_share * plan.stage_share[stage - 1],
        site_crown_only or plan.stage_crown_only[stage - 1] > 0.0,
    )


@register_jitable
def wanted_depth(
    plan: Any,
    state: Any,
    taw: float,
    weekday: int,
    month: int,
    day_of_year: int,
    recent_rain: float,
    allowed: bool,
    share: float,
    crown_only: bool,
) -> float:
    """Depth (mm, reaching the turf on average) that the plan wants this morning.

    Parameters
    ----------
    plan, state : records PLAN and FIELD_STATE; stage and pause already brought up to date.
    taw : total available water of the rooted depth today (mm).
    weekday : 0 Monday to 6 Sunday. month : 0..11. day_of_year : 0..365.
    recent_rain : rain of the last ``plan.rain_skip_days`` days (mm), today not included.
    allowed, share, crown_only : what restrictions leave of today, from ``left_by_restrictions``.
    """
    if plan.rule == RULE_NONE and plan.crown_depth <= 0.0:
        return 0.0
    if not within(day_of_year, plan.first_day, plan.last_day):
        return 0.0
    if not allowed or plan.allowed[weekday] == 0.0:
        return 0.0

    depth = 0.0
    crown_only = crown_only or state.paused > 0
    if not crown_only and plan.rule != RULE_NONE:
        if state.days_since_water < plan.interval:
            depth = 0.0
        elif plan.rule == RULE_FIXED:
            depth = plan.depth[weekday]
        elif plan.rule == RULE_ET_SHARE:
            depth = plan.share * state.owed_et * plan.run_time_multiplier
        elif plan.rule == RULE_REFILL and state.depletion >= plan.trigger:
            depth = max(0.0, state.depletion - plan.target) * taw * plan.run_time_multiplier
        depth *= plan.adjust[month] * share
        if depth < plan.least_depth or recent_rain >= plan.rain_skip:
            depth = 0.0

    dormant = state.dormant >= plan.crown_from or crown_only
    crown_due = state.days_since_water >= plan.crown_interval
    if (
        plan.crown_depth > depth
        and dormant
        and crown_due
        and state.depletion >= CROWN_WATER_FROM_DEPLETION
    ):
        depth = plan.crown_depth
    return depth


@register_jitable
def depth_for_play(
    plan: Any,
    state: Any,
    about: Any,
    today: Any,
    demand: float,
    day_of_year: int,
    allowed: bool,
    share: float,
    depth: float,
) -> float:
    """What play makes of the ``depth`` (mm) that a plan wants on a field this morning.

    A plan that waters at all also waters young turf lightly, a skinned surface to its moisture
    within the plan's season, and wets a field before an event, as far as restrictions let it;
    the weekdays of the plan are those of its turf. No plan waters on a day kept dry for an
    event.

    Parameters
    ----------
    about, today : records PLAY_FIELD and PLAY_DAY.
    demand : the day's reference ET (mm), which a skinned surface is watered for.
    allowed, share : what restrictions leave of today, from ``left_by_restrictions``.
    """
    if today.blackout > 0.0:
        return 0.0
    if plan.rule == RULE_NONE:
        return depth
    extra = max(today.light, today.prewet)
    if about.skinned > 0.0:
        depth = 0.0
        if within(day_of_year, plan.first_day, plan.last_day):
            wanted = skin_wanted(
                state.surface_water,
                about.skin_target_mm,
                demand,
                about.skin_passes,
                about.skin_most_per_pass,
            )
            extra = max(extra, wanted)
    if allowed:
        depth = max(depth, extra * share)
    return depth


@register_jitable
def syringe_depth(plan: Any, state: Any, today: Any) -> float:
    """Depth (mm) syringed this afternoon: on a hot day, once enough of the field wilts."""
    if today.blackout > 0.0:
        return 0.0
    if today.tmax < plan.syringe_above or state.wilt < plan.syringe_from:
        return 0.0
    return plan.syringe_depth
