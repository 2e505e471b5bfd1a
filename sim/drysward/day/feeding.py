"""One day of the nitrogen of a patch, and what it makes of the turf.

In the morning a due dose is put down or held (``put_down``), watered in where the plan waters
(``wash_in_depths``), and the turf's nitrogen of the evening before sets its water use, recovery
and wear (``feel_feeding``). Water then carries nitrogen through the layers (``carry_nitrogen``)
and urea at the surface loses ammonia (``lose_ammonia``). At the day's end fertilizer is released,
thatch and clippings rot, and the turf takes up nitrogen and grows (``nourish``), which closes the
account of the day.

Nitrogen and dry matter are kg/ha. Phosphorus is booked for the field, not by patch. The equations
are those of ``drysward.physics``; runs on fields without feeding never come here.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from drysward.compiled import equation
from drysward.day.records import RULE_NONE
from drysward.physics.ammonia import after_washing, lost_today, urea_at_risk
from drysward.physics.arithmetic import NO_LESS, clamp, larger, smaller, worse
from drysward.physics.fertilizer import (
    by_wetness,
    microbial_wetness,
    release_step,
    urea_wetness,
)
from drysward.physics.nitrogen import (
    denitrified,
    held_back,
    passed_on,
    runoff_share,
    washed_through,
)
from drysward.physics.phosphorus import background_p, p_in_runoff, p_kept_at_surface
from drysward.physics.turf_nitrogen import (
    browning_factor,
    growth_by_status,
    recovery_factor,
    room,
    root_depth_factor,
    status,
    uptake,
    water_use_factor,
    wear_factor,
)

TRACE_OF_PHOSPHORUS = 1e-6  # kg/ha at the surface below which none is (own choice)
TRACE_OF_FERTILIZER = 1e-3  # kg/ha of fertilizer from which all is set free (own choice)
TRACE_OF_A_KIND = 1e-4  # the same of one kind of fertilizer (own choice)
TRACE_OF_UREA = 1e-3  # kg/ha of ammonia still to be lost below which none is (own choice)
SEEDLINGS = 0.05  # living cover up to which young plants live on their seed (own choice)
GROWING = 0.2  # growth potential from which hungry and lush days are counted (own choice)


class FeedInput(NamedTuple):
    """FEED_FIELD (C,), and FEED_DAY (D, C) of the days; (0, C) when no field is fed."""

    fields: Any
    days: Any


# --- morning --------------------------------------------------------------------------------------


def put_down(
    feed_on, feed_hold_days, feed_hold_dormant, feed_hold_wet, fed_dose_urea, fed_dose_ammonium,
    fed_dose_nitrate, fed_dose_slow1, fed_dose_slow2, fed_dose_slow3, fed_dose_p, fed_frozen,
    due_urea, due_ammonium, due_nitrate, due_slow1, due_slow2, due_slow3, due_p, held_days,
    seen_dormant, seen_top_water, fc1,
):  # fmt: skip
    """Put down the doses that are due, or hold them for turf and ground that can take them.

    Dormant turf, frozen ground and ground full of water are not fed. A dose that has waited too
    long is skipped. One that falls due while another waits goes with it, and both count as one.
    """
    new = fed_dose_urea + fed_dose_ammonium + fed_dose_nitrate + fed_dose_p
    new += fed_dose_slow1 + fed_dose_slow2 + fed_dose_slow3
    due_urea += fed_dose_urea
    due_ammonium += fed_dose_ammonium
    due_nitrate += fed_dose_nitrate
    due_slow1 += fed_dose_slow1
    due_slow2 += fed_dose_slow2
    due_slow3 += fed_dose_slow3
    due_p += fed_dose_p
    waiting_n = due_urea + due_ammonium + due_nitrate + due_slow1 + due_slow2 + due_slow3
    waits = (waiting_n + due_p > 0.0) & (feed_on > 0.0)
    waited = held_days > 0.0
    held_days = 0.0 if new > 0.0 else held_days
    fit = (seen_dormant < feed_hold_dormant) & (fed_frozen == 0.0)
    fit = fit & (seen_top_water < fc1 + feed_hold_wet)
    gives = waits & fit
    doses_today = 1.0 if gives else 0.0
    late_today = 1.0 if gives & waited else 0.0
    expires = waits & (doses_today == 0.0) & (held_days >= feed_hold_days)
    ends = gives | expires
    applied_urea = due_urea if gives else 0.0
    applied_ammonium = due_ammonium if gives else 0.0
    applied_nitrate = due_nitrate if gives else 0.0
    applied_slow1 = due_slow1 if gives else 0.0
    applied_slow2 = due_slow2 if gives else 0.0
    applied_slow3 = due_slow3 if gives else 0.0
    applied_p = due_p if gives else 0.0
    applied_n = waiting_n if gives else 0.0
    skipped_n = waiting_n if expires else 0.0
    due_urea = 0.0 if ends else due_urea
    due_ammonium = 0.0 if ends else due_ammonium
    due_nitrate = 0.0 if ends else due_nitrate
    due_slow1 = 0.0 if ends else due_slow1
    due_slow2 = 0.0 if ends else due_slow2
    due_slow3 = 0.0 if ends else due_slow3
    due_p = 0.0 if ends else due_p
    held_days = 0.0 if ends else held_days + 1.0
    held_days = held_days if waits else 0.0
    return (
        due_urea, due_ammonium, due_nitrate, due_slow1, due_slow2, due_slow3, due_p, held_days,
        applied_urea, applied_ammonium, applied_nitrate, applied_slow1, applied_slow2,
        applied_slow3, applied_p, applied_n, skipped_n, late_today, doses_today,
    )  # fmt: skip


def wash_in_depths(
    plan_rule, share_today, crown_only_today, closed_today, doses_today, feed_water_in,
    permitted_depth, unrestricted_depth,
):  # fmt: skip
    """The plan's depths, no less than what washes a dose in that is put down this morning (mm)."""
    extra = feed_water_in if (doses_today > 0.0) & (plan_rule != RULE_NONE) else 0.0
    unrestricted_depth = larger(unrestricted_depth, extra)
    open_today = (crown_only_today == 0.0) & (closed_today == 0.0)
    least = extra * share_today if open_today else 0.0
    permitted_depth = larger(permitted_depth, least)
    return permitted_depth, unrestricted_depth


def feel_feeding(
    feed_on, seen_status, feed_water_use_effect, feed_inv_usual_growth, feed_hungry_browning,
    feed_lush_root_loss, fc2, sat2, kcb, recovery, spread, browning_drive,
):  # fmt: skip
    """What the turf's nitrogen makes of the day's rates, and how far it shortens roots; fields that
    are not fed keep theirs.
    """
    fed = feed_on > 0.0
    kcb *= water_use_factor(seen_status, feed_water_use_effect) if fed else 1.0
    mends = recovery_factor(seen_status, feed_inv_usual_growth) if fed else 1.0
    recovery = smaller(recovery * mends, 1.0)
    spread = smaller(spread * mends, 1.0)
    browning_drive *= browning_factor(seen_status, feed_hungry_browning) if fed else 1.0
    inv_drains2 = 1.0 / larger(sat2 - fc2, NO_LESS)
    inv_reached = 1.0 / root_depth_factor(seen_status, feed_lush_root_loss) if fed else 1.0
    return kcb, recovery, spread, browning_drive, inv_drains2, inv_reached


def feel_feeding_in_play(
    feed_on, seen_status, feed_inv_usual_growth, feed_wear_best, feed_wear_rise,
    feed_wear_potassium, today_wear_dry, today_wear_middle, today_wear_wet, today_regrowth,
):  # fmt: skip
    """The same for wear, least at a middling supply, and for the closing of worn ground."""
    fed = feed_on > 0.0
    wears = wear_factor(seen_status, feed_wear_best, feed_wear_rise) * feed_wear_potassium
    wears = wears if fed else 1.0
    today_wear_dry = smaller(today_wear_dry * wears, 1.0)
    today_wear_middle = smaller(today_wear_middle * wears, 1.0)
    today_wear_wet = smaller(today_wear_wet * wears, 1.0)
    mends = recovery_factor(seen_status, feed_inv_usual_growth) if fed else 1.0
    today_regrowth = smaller(today_regrowth * mends, 1.0)
    return today_wear_dry, today_wear_middle, today_wear_wet, today_regrowth


# --- the day of a patch ---------------------------------------------------------------------------


def begin_patch(w2, w3, inv_reach, inv_reached):
    """Water of the layers before the day moves it (mm), and how deep roots of lush turf reach."""
    w2_before = w2
    w3_before = w3
    inv_rooting = inv_reach * inv_reached
    return w2_before, w3_before, inv_rooting


def reach_in_play(inv_rooting, root_loss):
    """How deep roots reach where some were lost for want of air."""
    inv_rooting = inv_rooting / (1.0 - root_loss)
    return inv_rooting


def find_flows(w1, w2, w3, w2_before, w3_before, fc1, fc2, drainage):
    """Water that the layers passed down in the day, below 0 where it came up (mm).

    ``moves`` is above 0 where nitrogen may go with water, or as gas of wet soil. Where water backs
    up, or roots reach deeper, nitrogen comes up with it.
    """
    down2 = w3 - w3_before + drainage
    down1 = w2 - w2_before + down2
    moves = abs(down1) + abs(down2) + drainage + larger(w1 - fc1, 0.0) + larger(w2 - fc2, 0.0)
    net_n = 0.0
    return down1, down2, moves, net_n


def lay_down(
    applied_urea, applied_ammonium, applied_nitrate, applied_slow1, applied_slow2, applied_slow3,
    feed_off_paving, feed_two_step1, feed_two_step2, feed_two_step3, feed_most_ammonia,
    feed_ammonia_buffer, fed_ammonia_factor, urea, at_risk, lying_n, slow1_in, slow2_in, slow3_in,
    slow1_out, slow2_out, slow3_out, ammonium1, nitrate1, net_n, sum_brought,
):  # fmt: skip
    """The part of a dose that falls on turf, by form."""
    on_turf = feed_off_paving
    lies = applied_urea + applied_slow1 + applied_slow2 + applied_slow3
    dose_in = (lies + applied_ammonium + applied_nitrate) * on_turf
    lying_n += lies * on_turf
    urea += applied_urea * on_turf
    at_risk += urea_at_risk(
        applied_urea * on_turf, feed_most_ammonia, feed_ammonia_buffer, fed_ammonia_factor
    )
    ammonium1 += applied_ammonium * on_turf
    nitrate1 += applied_nitrate * on_turf
    slow1_in += applied_slow1 * on_turf * feed_two_step1
    slow2_in += applied_slow2 * on_turf * feed_two_step2
    slow3_in += applied_slow3 * on_turf * feed_two_step3
    slow1_out += applied_slow1 * on_turf * (1.0 - feed_two_step1)
    slow2_out += applied_slow2 * on_turf * (1.0 - feed_two_step2)
    slow3_out += applied_slow3 * on_turf * (1.0 - feed_two_step3)
    net_n += dose_in
    sum_brought += dose_in
    return (
        urea, at_risk, lying_n, slow1_in, slow2_in, slow3_in, slow1_out, slow2_out, slow3_out,
        ammonium1, nitrate1, net_n, sum_brought,
    )  # fmt: skip


def bring_nitrogen(caught, feed_water_n, nitrate1, net_n, sum_brought):
    """Nitrogen that comes with the irrigation water."""
    brought = caught * feed_water_n
    nitrate1 += brought
    net_n += brought
    sum_brought += brought
    return nitrate1, net_n, sum_brought


def shed_nitrogen(
    w1, runoff, liquid, caught, feed_runoff_mix, urea, at_risk, lying_n, nitrate1, net_n,
    sum_runoff,
):  # fmt: skip
    """What runoff takes from the surface."""
    share = runoff_share(runoff, larger(liquid + caught - runoff, 0.0), w1, feed_runoff_mix)
    of_urea = urea * share
    of_nitrate = nitrate1 * share
    urea -= of_urea
    lying_n = larger(lying_n - of_urea, 0.0)
    nitrate1 -= of_nitrate
    at_risk *= 1.0 - share
    net_n -= of_nitrate + of_urea
    sum_runoff += of_nitrate + of_urea
    return urea, at_risk, lying_n, nitrate1, net_n, sum_runoff


def wash_urea(
    w1, w2, down1, down2, moves, feed_by_cracks, urea, at_risk, lying_n, ammonium1, ammonium2,
    nitrate3,
):  # fmt: skip
    """Until soil has turned it into ammonium, urea goes with the water from the surface on."""
    goes = (moves > 0.0) & (urea > 0.0)
    washed = urea * washed_through(larger(down1, 0.0), w1, feed_by_cracks)
    urea -= washed
    lying_n = larger(lying_n - washed, 0.0)
    at_risk = smaller(at_risk, urea + ammonium1) if goes else at_risk
    further = washed * washed_through(larger(down2, 0.0), w2, feed_by_cracks)
    ammonium2 += washed - further
    nitrate3 += further
    return urea, at_risk, lying_n, ammonium2, nitrate3


def carry_nitrogen(
    w1, w2, w3, down1, down2, drainage, feed_retardation, ammonium1, ammonium2, nitrate1,
    nitrate2, nitrate3, net_n, sum_leached,
):  # fmt: skip
    """The day's water carries what is dissolved.

    Between two layers water goes one way: what it leaves loses nitrogen, the other gains it.
    """
    falls = down1 > 0.0
    moved = passed_on(abs(down1), w1 if falls else w2)
    moved *= nitrate1 if falls else -nitrate2
    nitrate1 -= moved
    nitrate2 += moved
    moved = ammonium1 * held_back(larger(down1, 0.0), w1, feed_retardation)
    ammonium1 -= moved
    ammonium2 += moved
    falls = down2 > 0.0
    moved = ammonium2 * held_back(larger(down2, 0.0), w2, feed_retardation)
    ammonium2 -= moved
    nitrate3 += moved
    moved = passed_on(abs(down2), w2 if falls else w3)
    moved *= nitrate2 if falls else -nitrate3
    nitrate2 -= moved
    nitrate3 += moved
    leached = nitrate3 * passed_on(drainage, w3)
    nitrate3 -= leached
    net_n -= leached
    sum_leached += leached
    return ammonium1, ammonium2, nitrate1, nitrate2, nitrate3, net_n, sum_leached


def lose_gas(
    w1, w2, down1, down2, fc1, fc2, feed_inv_drains1, inv_drains2, fed_denitrify, nitrate1,
    nitrate2, net_n, sum_gas,
):  # fmt: skip
    """Nitrate that wet soil loses as gas: half of the day as wet as the day's water made the
    layers, half as they are at its end.
    """
    half = 0.5 * fed_denitrify
    fallen = larger(down1, 0.0)
    gas1 = denitrified(nitrate1, (w1 + fallen - fc1) * feed_inv_drains1, half)
    gas1 += denitrified(nitrate1, (w1 - fc1) * feed_inv_drains1, half)
    fallen = larger(down2, 0.0)
    gas2 = denitrified(nitrate2, (w2 + fallen - fc2) * inv_drains2, half)
    gas2 += denitrified(nitrate2, (w2 - fc2) * inv_drains2, half)
    nitrate1 -= gas1
    nitrate2 -= gas2
    net_n -= gas1 + gas2
    sum_gas += gas1 + gas2
    return nitrate1, nitrate2, net_n, sum_gas


def lose_ammonia(
    w1, wp1, inv_taw1, liquid, caught, runoff, urea, ammonium1, at_risk, lying_n, feed_wash_per_mm,
    feed_ammonia_day, net_n, sum_ammonia,
):  # fmt: skip
    """Ammonia that leaves urea at the surface; water of the same day washes most of it in.

    A trace that is left is forgotten, so that other days need not ask.
    """
    at_risk = after_washing(at_risk, larger(liquid + caught - runoff, 0.0), feed_wash_per_mm)
    wet = urea_wetness((w1 - wp1) * inv_taw1)
    ammonia = smaller(lost_today(at_risk, feed_ammonia_day, wet), urea + ammonium1)
    from_urea = smaller(ammonia, urea)
    urea -= from_urea
    lying_n = larger(lying_n - from_urea, 0.0)
    ammonium1 -= ammonia - from_urea
    at_risk -= ammonia
    at_risk = at_risk if at_risk > TRACE_OF_UREA else 0.0
    net_n -= ammonia
    sum_ammonia += ammonia
    return urea, ammonium1, at_risk, lying_n, net_n, sum_ammonia


@equation
def set_free(inside: float, leaving: float, speed: float) -> tuple[float, float, float]:
    """As ``release_step``, of the last trace all (own choice of the trace)."""
    inside, leaving, freed = release_step(inside, leaving, speed)
    over = inside + leaving < TRACE_OF_A_KIND
    freed += inside + leaving if over else 0.0
    return 0.0 if over else inside, 0.0 if over else leaving, freed


def release_slow1(
    w1, wp1, inv_taw1, feed_inv_drains1, fc1, feed_wetness1, fed_leave1, slow1_in, slow1_out,
    ammonium1, lying_n, sum_released,
):  # fmt: skip
    """Nitrogen that the first slow fertilizer on the turf sets free in the day."""
    wet1 = microbial_wetness((w1 - wp1) * inv_taw1, (w1 - fc1) * feed_inv_drains1)
    speed = fed_leave1 * by_wetness(feed_wetness1, wet1)
    slow1_in, slow1_out, freed = set_free(slow1_in, slow1_out, speed)
    ammonium1 += freed
    lying_n = larger(lying_n - freed, 0.0)
    sum_released += freed
    return slow1_in, slow1_out, ammonium1, lying_n, sum_released


def release_slow2(
    w1, wp1, inv_taw1, feed_inv_drains1, fc1, feed_wetness2, fed_leave2, slow2_in, slow2_out,
    ammonium1, lying_n, sum_released,
):  # fmt: skip
    """The same of the second."""
    wet1 = microbial_wetness((w1 - wp1) * inv_taw1, (w1 - fc1) * feed_inv_drains1)
    speed = fed_leave2 * by_wetness(feed_wetness2, wet1)
    slow2_in, slow2_out, freed = set_free(slow2_in, slow2_out, speed)
    ammonium1 += freed
    lying_n = larger(lying_n - freed, 0.0)
    sum_released += freed
    return slow2_in, slow2_out, ammonium1, lying_n, sum_released


def release_slow3(
    w1, wp1, inv_taw1, feed_inv_drains1, fc1, feed_wetness3, fed_leave3, slow3_in, slow3_out,
    ammonium1, lying_n, sum_released,
):  # fmt: skip
    """The same of the third."""
    wet1 = microbial_wetness((w1 - wp1) * inv_taw1, (w1 - fc1) * feed_inv_drains1)
    speed = fed_leave3 * by_wetness(feed_wetness3, wet1)
    slow3_in, slow3_out, freed = set_free(slow3_in, slow3_out, speed)
    ammonium1 += freed
    lying_n = larger(lying_n - freed, 0.0)
    sum_released += freed
    return slow3_in, slow3_out, ammonium1, lying_n, sum_released


def hydrolyze(
    w1, wp1, inv_taw1, fed_hydrolysis, urea, ammonium1, lying_n, sum_released,
):  # fmt: skip
    """Urea that soil turns into ammonium in the day."""
    freed = urea * (fed_hydrolysis * urea_wetness((w1 - wp1) * inv_taw1))
    freed = urea if urea - freed < TRACE_OF_A_KIND else freed
    urea -= freed
    ammonium1 += freed
    lying_n = larger(lying_n - freed, 0.0)
    sum_released += freed
    return urea, ammonium1, lying_n, sum_released


def release_trace(
    urea, slow1_in, slow2_in, slow3_in, slow1_out, slow2_out, slow3_out, ammonium1, lying_n,
    sum_released,
):  # fmt: skip
    """Set free all of the last trace of fertilizer."""
    over = lying_n < TRACE_OF_FERTILIZER
    freed = lying_n if over else 0.0
    urea = 0.0 if over else urea
    slow1_in = 0.0 if over else slow1_in
    slow2_in = 0.0 if over else slow2_in
    slow3_in = 0.0 if over else slow3_in
    slow1_out = 0.0 if over else slow1_out
    slow2_out = 0.0 if over else slow2_out
    slow3_out = 0.0 if over else slow3_out
    lying_n -= freed
    ammonium1 += freed
    sum_released += freed
    return (
        urea, slow1_in, slow2_in, slow3_in, slow1_out, slow2_out, slow3_out, ammonium1, lying_n,
        sum_released,
    )  # fmt: skip


def nourish(
    w1, w2, wp1, fc1, wp2, fc2, inv_taw1, inv_taw2, feed_inv_drains1, inv_drains2, green, dormant,
    ks, fed_living, feed_n_least, feed_inv_n_span, feed_n_most, feed_inv_n_room, feed_usual,
    feed_clippings_ratio, feed_returned, feed_built_in, fed_clippings, fed_uptake, fed_nitrify,
    fed_freed1, fed_freed2, fed_litter, fed_turnover, fed_immobilized, lying_n, ammonium1,
    ammonium2, nitrate1, nitrate2, nitrate3, litter_n, turf_n, held_n, inv_dry_matter, net_n,
    mean_status, mean_top_water, sum_rotted, sum_freed, sum_uptake, sum_clippings,
    sum_clipped, sum_error,
):  # fmt: skip
    """Turnover, uptake, growth and clippings of the day, and the account of the patch."""
    wet1 = microbial_wetness((w1 - wp1) * inv_taw1, (w1 - fc1) * feed_inv_drains1)
    wet2 = microbial_wetness((w2 - wp2) * inv_taw2, (w2 - fc2) * inv_drains2)
    # Leaves and roots that were lost since yesterday become litter.
    living = green + dormant
    dry_matter = living * fed_living
    kept = smaller(dry_matter * inv_dry_matter, 1.0)
    fallen = turf_n * (1.0 - kept * (1.0 - fed_turnover))
    turf_n -= fallen
    litter_n += fallen
    inv_dry_matter = 1.0 / larger(dry_matter, NO_LESS)

    rotted = litter_n * (fed_litter * wet1)
    litter_n -= rotted
    built_in = rotted * feed_built_in
    # Soil organic matter frees nitrogen and takes some in; it is taken as it is today, so that a
    # field does not age over the years of a run.
    freed1 = fed_freed1 * wet1
    freed2 = fed_freed2 * wet2
    ammonium1 += rotted - built_in + freed1
    ammonium2 += freed2
    turned = ammonium1 * (fed_nitrify * wet1)
    ammonium1 -= turned
    nitrate1 += turned
    turned = ammonium2 * (fed_nitrify * wet2)
    ammonium2 -= turned
    nitrate2 += turned

    # Turf takes first; microbes of the thatch get no more than it leaves.
    space = room(turf_n * inv_dry_matter, feed_n_most, feed_inv_n_room)
    takes = uptake(1.0, fed_uptake, ks * green, space)
    bound = smaller(fed_immobilized * wet1, 1.0 - takes)
    mineral1 = ammonium1 + nitrate1
    mineral2 = ammonium2 + nitrate2
    took = (mineral1 + mineral2) * takes
    fixed = mineral1 * bound
    ammonium1 *= 1.0 - takes - bound
    nitrate1 *= 1.0 - takes - bound
    ammonium2 *= 1.0 - takes
    nitrate2 *= 1.0 - takes
    litter_n += fixed
    turf_n += took

    share = turf_n * inv_dry_matter
    fullness = status(share, feed_n_least, feed_inv_n_span)
    fullness = larger(fullness, feed_usual) if living < SEEDLINGS else fullness
    clippings = fed_clippings * growth_by_status(fullness) * ks * green
    clipped_n = smaller(clippings * share * feed_clippings_ratio, 0.5 * turf_n)
    turf_n -= clipped_n
    returned = clipped_n * feed_returned
    litter_n += returned

    now = lying_n + ammonium1 + ammonium2 + nitrate1 + nitrate2 + nitrate3 + litter_n + turf_n
    net_n += freed1 + freed2 - built_in - (clipped_n - returned)
    sum_error = worse(abs(held_n + net_n - now), sum_error)
    held_n = now
    mean_status += fullness
    mean_top_water += w1
    sum_rotted += rotted
    sum_freed += freed1 + freed2
    sum_uptake += took
    sum_clippings += clippings
    sum_clipped += clipped_n
    return (
        ammonium1, ammonium2, nitrate1, nitrate2, nitrate3, litter_n, turf_n, held_n,
        inv_dry_matter, net_n, mean_status, mean_top_water, sum_rotted, sum_freed,
        sum_uptake, sum_clippings, sum_clipped, sum_error,
    )  # fmt: skip


def add_up_nitrogen(held_n, mean_nitrogen):
    """Add all nitrogen of a patch to the sum for the field."""
    mean_nitrogen += held_n
    return mean_nitrogen


def note_sums(sum_leached, sum_clippings):
    """Sums of a patch before a day that the ledger keeps."""
    leached_before = sum_leached
    clippings_before = sum_clippings
    return leached_before, clippings_before


def add_up_for_ledger(
    sum_leached, sum_clippings, leached_before, clippings_before, lying_n, ammonium1, ammonium2,
    nitrate1, nitrate2, nitrate3, leached_today, clippings_today, mean_mineral_n,
):  # fmt: skip
    """Add what a patch leached and grew in the day, and its mineral nitrogen with what fertilizer
    still holds, to the sums for the field.
    """
    leached_today += sum_leached - leached_before
    clippings_today += sum_clippings - clippings_before
    mean_mineral_n += lying_n + ammonium1 + ammonium2 + nitrate1 + nitrate2 + nitrate3
    return leached_today, clippings_today, mean_mineral_n


def gather_sums(
    sum_brought, sum_released, sum_rotted, sum_freed, sum_uptake, sum_clippings, sum_clipped,
    sum_leached, sum_ammonia, sum_gas, sum_runoff, sum_error, ate_brought_n, ate_released_n,
    ate_rotted_n, ate_freed_n, ate_uptake_n, ate_clippings, ate_clipped_n, ate_leached_n,
    ate_ammonia_n, ate_gas_n, ate_runoff_n, ate_residual,
):  # fmt: skip
    """Move what a patch summed up since the last month into the year of its field."""
    ate_brought_n += sum_brought
    sum_brought = 0.0
    ate_released_n += sum_released
    sum_released = 0.0
    ate_rotted_n += sum_rotted
    sum_rotted = 0.0
    ate_freed_n += sum_freed
    sum_freed = 0.0
    ate_uptake_n += sum_uptake
    sum_uptake = 0.0
    ate_clippings += sum_clippings
    sum_clippings = 0.0
    ate_clipped_n += sum_clipped
    sum_clipped = 0.0
    ate_leached_n += sum_leached
    sum_leached = 0.0
    ate_ammonia_n += sum_ammonia
    sum_ammonia = 0.0
    ate_gas_n += sum_gas
    sum_gas = 0.0
    ate_runoff_n += sum_runoff
    sum_runoff = 0.0
    ate_residual = worse(sum_error, ate_residual)
    sum_error = 0.0
    return (
        sum_brought, sum_released, sum_rotted, sum_freed, sum_uptake, sum_clippings, sum_clipped,
        sum_leached, sum_ammonia, sum_gas, sum_runoff, sum_error, ate_brought_n, ate_released_n,
        ate_rotted_n, ate_freed_n, ate_uptake_n, ate_clippings, ate_clipped_n, ate_leached_n,
        ate_ammonia_n, ate_gas_n, ate_runoff_n, ate_residual,
    )  # fmt: skip


# --- evening --------------------------------------------------------------------------------------


def take_means_of_feeding(feed_on, per_patch, mean_status, mean_top_water):
    """Means over the patches of their sums, which tomorrow's rates and doses follow."""
    mean_status *= per_patch
    mean_top_water *= per_patch
    seen_status = mean_status
    seen_top_water = mean_top_water if feed_on > 0.0 else 0.0
    return mean_status, mean_top_water, seen_status, seen_top_water


def take_means_for_ledger(per_patch, leached_today, clippings_today, mean_mineral_n):
    """Means over the patches of the day's sums for the ledger."""
    leached_today *= per_patch
    clippings_today *= per_patch
    mean_mineral_n *= per_patch
    return leached_today, clippings_today, mean_mineral_n


def shed_background(mean_runoff, mean_green, mean_dormant, feed_p_background, feed_p_bare):
    """Phosphorus that runoff takes from soil and turf, and more from bare ground."""
    bare = clamp(1.0 - mean_green - mean_dormant, 0.0, 1.0)
    p_runoff = background_p(mean_runoff, feed_p_background, bare, feed_p_bare)
    paving_n = 0.0
    paving_p = 0.0
    return p_runoff, paving_n, paving_p


def shed_fertilizer(
    applied_p, applied_n, liquid, mean_caught, mean_runoff, fed_frozen_today, feed_off_paving,
    feed_p_lift, feed_p_frozen, feed_p_bound, feed_p_day_kept, feed_paving_rain, surface_p, paved_n,
    paved_p, p_runoff,
):  # fmt: skip
    """Phosphorus of fertilizer in runoff, and granules that rain washes off paving."""
    surface_p += applied_p * feed_off_paving
    paved_n += applied_n * (1.0 - feed_off_paving)
    paved_p += applied_p * (1.0 - feed_off_paving)
    washed = liquid >= feed_paving_rain
    paving_n = paved_n if washed else 0.0
    paving_p = paved_p if washed else 0.0
    paved_n -= paving_n
    paved_p -= paving_p
    frozen = fed_frozen_today
    factor = feed_p_frozen if frozen > 0.0 else 1.0
    lifted = p_in_runoff(surface_p, mean_runoff, feed_p_lift, factor)
    surface_p -= lifted
    soaked = larger(liquid + mean_caught - mean_runoff, 0.0)
    surface_p = p_kept_at_surface(surface_p, soaked, feed_p_bound, feed_p_day_kept, frozen)
    surface_p = surface_p if surface_p > TRACE_OF_PHOSPHORUS else 0.0
    p_runoff += lifted
    return surface_p, paved_n, paved_p, p_runoff, paving_n, paving_p


def count_doses(
    fed_heavy_rain, applied_n, applied_p, skipped_n, late_today, doses_today, ate_applied_n,
    ate_applied_p, ate_skipped_n, ate_doses, ate_doses_late, ate_doses_in_rain,
):  # fmt: skip
    """Add the morning's doses to their year; heavy rain fell on the day or falls on the next."""
    ate_applied_n += applied_n
    ate_applied_p += applied_p
    ate_skipped_n += skipped_n
    ate_doses += doses_today
    ate_doses_late += late_today
    ate_doses_in_rain += doses_today if fed_heavy_rain > 0.0 else 0.0
    return (
        ate_applied_n, ate_applied_p, ate_skipped_n, ate_doses, ate_doses_late, ate_doses_in_rain,
    )  # fmt: skip


def count_shed(p_runoff, paving_n, paving_p, ate_runoff_p, ate_paving_n, ate_paving_p):
    """Add what left the field with water on its surface to the year."""
    ate_runoff_p += p_runoff
    ate_paving_n += paving_n
    ate_paving_p += paving_p
    return ate_runoff_p, ate_paving_n, ate_paving_p


def count_status(
    feed_on, feed_hungry_below, feed_lush_above, feed_hold_dormant, feed_hold_wet, fed_growth,
    fed_heavy_rain, fed_frozen_today, mean_dormant, mean_top_water, fc1, mean_status, status_sum,
    ate_growing_days, ate_days_hungry, ate_days_lush, ate_days_unwise, ate_least_status,
):  # fmt: skip
    """Add the status of the turf to its year, and whether the day would have been unwise for
    feeding: in or before heavy rain, on dormant turf, on ground that is frozen or full of water.
    """
    grows = (fed_growth > GROWING) & (feed_on > 0.0)
    ate_growing_days += 1.0 if grows else 0.0
    ate_days_hungry += 1.0 if grows & (mean_status < feed_hungry_below) else 0.0
    ate_days_lush += 1.0 if grows & (mean_status > feed_lush_above) else 0.0
    unfit = (fed_heavy_rain > 0.0) | (fed_frozen_today > 0.0)
    unfit = unfit | (mean_dormant >= feed_hold_dormant)
    unfit = unfit | (mean_top_water >= fc1 + feed_hold_wet)
    ate_days_unwise += 1.0 if unfit else 0.0
    lower = grows & (mean_status < ate_least_status)
    ate_least_status = mean_status if lower else ate_least_status
    status_sum += mean_status
    return (
        status_sum, ate_growing_days, ate_days_hungry, ate_days_lush, ate_days_unwise,
        ate_least_status,
    )  # fmt: skip


def close_year_of_feeding(
    per_patch, feed_built_in, feed_returned, ate_brought_n, ate_released_n, ate_rotted_n,
    ate_freed_n, ate_uptake_n, ate_clippings, ate_clipped_n, ate_leached_n, ate_ammonia_n,
    ate_gas_n, ate_runoff_n,
):  # fmt: skip
    """Means over the patches of the sums that they kept through the year, and what follows from
    them: litter that soil built in, and nitrogen carried off with clippings.
    """
    ate_brought_n *= per_patch
    ate_released_n *= per_patch
    ate_rotted_n *= per_patch
    ate_built_in_n = ate_rotted_n * feed_built_in
    ate_rotted_n -= ate_built_in_n
    ate_freed_n *= per_patch
    ate_uptake_n *= per_patch
    ate_clippings *= per_patch
    ate_clipped_n *= per_patch
    ate_removed_n = ate_clipped_n * (1.0 - feed_returned)
    ate_leached_n *= per_patch
    ate_ammonia_n *= per_patch
    ate_gas_n *= per_patch
    ate_runoff_n *= per_patch
    return (
        ate_brought_n, ate_released_n, ate_rotted_n, ate_built_in_n, ate_freed_n, ate_uptake_n,
        ate_clippings, ate_clipped_n, ate_removed_n, ate_leached_n, ate_ammonia_n, ate_gas_n,
        ate_runoff_n,
    )  # fmt: skip
