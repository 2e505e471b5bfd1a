"""All days of several plans on one site: demand, delivery, the patches' day, and the year's sums.

Plans do not affect one another. They run together because their runs can then be stepped side by
side, and the day of a field is read once for all of them.

A day has a morning (plans demand, the supply delivers), a day of the patches (``run_patches``), and
an evening that adds to the year (``count_day``). Each part is written once, for one run, in the
other modules of this package. Functions take the arrays that they need and not the whole tuples: a
tuple costs the compiler a hundred arguments in every call.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import compiles_as, inline, jitable, tree_of, with_selects
from drysward.day import counting, delivery, feeding, patch, plan_demand, shortage, surface
from drysward.day.counting import NO_DORMANCY
from drysward.day.lanes import (
    LANES,
    PATCH_PLACE,
    PATCH_SUMS,
    PLACE,
    QUAD,
    SECTIONS,
    clear,
    in_lanes,
    read_into_lanes,
    section,
    span,
)
from drysward.day.plan_demand import MONTH_IRRIGATION, WEEK_GROSS, open_day, restrict
from drysward.day.records import (
    AT_DEAD,
    AT_DORMANT,
    AT_FOOTPRINT,
    AT_WILT,
    NITROGEN,
    PATCH,
    STAGES,
    TRACE,
    WEEK,
)
from drysward.day.shortage import N_CAUSES, book
from drysward.day.supply import (
    SupplyInput,
    SupplyState,
    of_plan,
    open_supply,
    share_out_today,
    supply_at,
)
from drysward.physics.arithmetic import larger, worse

# --- the parts of a day, in lanes -----------------------------------------------------------------

request = in_lanes(plan_demand.watering_depths, plan_demand.gross_up)
request_for_play = in_lanes(
    plan_demand.watering_depths, plan_demand.play_depths, plan_demand.gross_up
)
today, deliver, catch = map(in_lanes, (patch.today, delivery.deliver, delivery.catch))
settle = in_lanes(shortage.settle)
stay_dry = in_lanes(patch.move, patch.sink)
take_irrigation = in_lanes(patch.move, patch.soak_in, patch.sink)
take_rain = in_lanes(patch.move, patch.shed_rain, patch.soak_in, patch.sink)
# The same with play, which needs the surface before the day's drainage is done.
take_irrigation_before_play = in_lanes(
    patch.move, patch.soak_in, surface.note_undrained, patch.sink
)
take_rain_before_play = in_lanes(
    patch.move, patch.shed_rain, patch.soak_in, surface.note_undrained, patch.sink
)
dry, respond, add_up = map(in_lanes, (patch.dry, patch.respond, patch.add_up))
note_moist_surface = in_lanes(surface.note_moist_surface)
use_turf = in_lanes(surface.use_turf, surface.add_up_surface)
assess_surface, add_up_water = map(in_lanes, (surface.assess_surface, counting.add_up_water))
close_day = in_lanes(counting.take_means, delivery.observe, surface.night)
take_means_of_surface = in_lanes(surface.take_means_of_surface)
see_lost_roots = in_lanes(surface.see_lost_roots)
take_means_of_water = in_lanes(counting.take_means_of_water)
count_every_day = in_lanes(counting.count_water, counting.time_recovery)
count_irrigation = in_lanes(counting.count_irrigation, counting.count_week)
count_stages = in_lanes(counting.count_stages, counting.count_condition)
copy_to_ledger = in_lanes(counting.copy_to_ledger)
count_use, count_play = map(in_lanes, (surface.count_use, surface.count_play))
put_down = in_lanes(feeding.put_down)
request_for_feeding = in_lanes(
    plan_demand.watering_depths, plan_demand.play_depths, feeding.wash_in_depths,
    plan_demand.gross_up,
)  # fmt: skip
feel_feeding, feel_feeding_in_play = map(
    in_lanes, (feeding.feel_feeding, feeding.feel_feeding_in_play)
)
# The same with feeding, which follows the water from layer to layer.
stay_dry_fed = in_lanes(feeding.begin_patch, patch.move, patch.sink, feeding.find_flows)
take_irrigation_fed = in_lanes(
    feeding.begin_patch, patch.move, patch.soak_in, surface.note_undrained, patch.sink,
    feeding.find_flows,
)  # fmt: skip
take_rain_fed = in_lanes(
    feeding.begin_patch, patch.move, patch.shed_rain, patch.soak_in, surface.note_undrained,
    patch.sink, feeding.find_flows,
)  # fmt: skip
reach_in_play, lay_down, bring_nitrogen = map(
    in_lanes, (feeding.reach_in_play, feeding.lay_down, feeding.bring_nitrogen)
)
carry_nitrogen = in_lanes(feeding.carry_nitrogen, feeding.lose_gas)
shed_nitrogen, wash_urea, lose_ammonia, hydrolyze, nourish = map(
    in_lanes,
    (
        feeding.shed_nitrogen, feeding.wash_urea, feeding.lose_ammonia, feeding.hydrolyze,
        feeding.nourish,
    ),
)  # fmt: skip
release_slow1, release_slow2, release_slow3, release_trace = map(
    in_lanes,
    (
        feeding.release_slow1, feeding.release_slow2, feeding.release_slow3,
        feeding.release_trace,
    ),
)  # fmt: skip
add_up_nitrogen, note_sums, add_up_for_ledger, take_means_for_ledger, gather_sums = map(
    in_lanes,
    (
        feeding.add_up_nitrogen, feeding.note_sums, feeding.add_up_for_ledger,
        feeding.take_means_for_ledger, feeding.gather_sums,
    ),
)  # fmt: skip
take_means_of_feeding = in_lanes(feeding.take_means_of_feeding)
shed_background, shed_fertilizer = map(
    in_lanes, (feeding.shed_background, feeding.shed_fertilizer)
)
count_doses, count_shed, count_status, close_year_of_feeding = map(
    in_lanes,
    (
        feeding.count_doses, feeding.count_shed, feeding.count_status,
        feeding.close_year_of_feeding,
    ),
)  # fmt: skip

WATERING, STORED_MEANS = section("watering"), section("stored")
SUMS = span(SECTIONS["mean"][0], "mean_residual")
SURFACE, YEAR_SUMS, PLAY_SUMS = section("surface"), section("year"), section("play_year")
UNMET = span("unmet", "unmet")
RUNNING = span("paused_days", "recovering")  # counts that start again each year
STAGE_RUNS = span("footprint_run", "dead_run")
CAUGHT, ERROR = span("mean_caught", "mean_beyond"), PLACE["mean_residual"]
# Unsigned, which saves the compiler a check for negative indices.
ONE_NAME = np.uint64(LANES)
U_SUMS, U_CAUGHT, U_SURFACE, U_STORED_MEANS = (
    (np.uint64(first), np.uint64(stop)) for first, stop in (SUMS, CAUGHT, SURFACE, STORED_MEANS)
)
PASSING = span("passing", "passing")
DOSE, FED, STORED_N = section("dose"), section("feeding"), section("feeding_stored")
DOSES = span("applied_urea", "doses_today")
FEED_SUMS, NOTED = section("feed_year"), section("noted")
OF_PATCH = PATCH_PLACE[PATCH_SUMS[0]], PATCH_PLACE[PATCH_SUMS[-1]] + LANES
FED_TRACE, BY_PATCH = section("fed_trace"), span("ate_brought_n", "ate_residual")
U_FED, U_STORED_N, U_FED_TRACE, U_BY_PATCH = (
    (np.uint64(first), np.uint64(stop)) for first, stop in (FED, STORED_N, FED_TRACE, BY_PATCH)
)
APPLIED = np.arange(DOSE[0], DOSE[1], LANES)
REQUESTED, LIQUID, LANDED = PLACE["requested"], PLACE["liquid"], PLACE["landed"]
GROSS, CATCH_SHARE, DEMAND = PLACE["gross"], PLACE["catch_share"], PLACE["irrigation_demand"]
MISSED, MADE_UP = PLACE["missed"], PLACE["made_up"]
STORED, WEEK_SUM = PLACE["stored"], PLACE["week_sum"]
RECENT_RAIN = PLACE["recent_rain"]
GREEN, DORMANT, WORN = (PATCH_PLACE[name] for name in ("green", "dormant", "worn"))
MEANS_AT_STAGES = tuple(PLACE[f"mean_{name}"] for name in ("footprint", "wilt", "dormant", "dead"))
MEAN_GREEN = PLACE["mean_green"]
YEAR_FIRST, YEAR_NAMES = YEAR_SUMS[0], len(SECTIONS["year"])
WATER_START, WATER_END = PLACE["year_water_start"], PLACE["year_water_end"]
YEAR_SHORTAGE = PLACE["year_shortage"]
LEAST_GREEN, RECOVERY_DAYS = PLACE["year_least_green"], PLACE["year_recovery_days"]
PLAYED_FIRST, PLAYED_NAMES = PLAY_SUMS[0], len(SECTIONS["play_year"])
# Everything of a patch but its water and nitrogen and where its roots reach.
STAYS = ("w1", "w2", "w3", "crown_water", "thatch", *NITROGEN, "at_risk", "lying_n", "held_n",
         "inv_dry_matter")  # fmt: skip
TURF = np.array([PATCH_PLACE[name] for name in PATCH.names or () if name not in STAYS])
INV_REACH, INV_ROOTING = PATCH_PLACE["inv_reach"], PATCH_PLACE["inv_rooting"]
SEEN_STATUS, FEED_ON = PLACE["seen_status"], PLACE["feed_on"]
DOSED, HELD = PLACE["fed_dosed"], PLACE["held_days"]
DOSES_TODAY, SKIPPED = PLACE["doses_today"], PLACE["skipped_n"]
RUNOFF, MEAN_RUNOFF = PLACE["runoff"], PLACE["mean_runoff"]
WATER_N = PLACE["feed_water_n"]
MOVES, AT_RISK = PLACE["moves"], PATCH_PLACE["at_risk"]
# The forms of fertilizer that lie on turf, as applied and what is left of them.
AS_APPLIED = tuple(PLACE[f"applied_{name}"] for name in ("urea", "slow1", "slow2", "slow3"))
LEFT_OF_IT = (
    (PATCH_PLACE["urea"], PATCH_PLACE["at_risk"]),
    *((PATCH_PLACE[f"slow{i}_in"], PATCH_PLACE[f"slow{i}_out"]) for i in (1, 2, 3)),
)
LYING = tuple(PLACE[name] for name in ("doses_today", "surface_p", "paved_n", "paved_p"))
FORMS_THAT_LIE = len(AS_APPLIED)
TURF_N, HELD_N = PATCH_PLACE["turf_n"], PATCH_PLACE["held_n"]
USUAL_TURF_N, BROUGHT = PLACE["feed_start_turf_n"], PATCH_PLACE["sum_brought"]
MEAN_NITROGEN, LEAST_STATUS = PLACE["mean_nitrogen"], PLACE["ate_least_status"]
N_START, N_END, NITROGEN_ERROR = PLACE["ate_n_start"], PLACE["ate_n_end"], PLACE["ate_residual"]
FED_FIRST, FED_NAMES = FEED_SUMS[0], len(SECTIONS["feed_year"])
# What a month of feeding adds up, in the order of the tables of FEED_YEAR: what the year has so
# far, and what it had when the month began.
OF_MONTH = tuple(PLACE[name] for name in ("ate_clippings", "ate_leached_n", "status_sum"))
BEFORE_MONTH = tuple(
    PLACE[name] for name in ("clippings_noted", "leached_noted", "status_noted")
)
TODAY_SOWN, TODAY_JUDGED = PLACE["today_sown"], PLACE["today_judged"]
SKINNED, PLAY_ON = PLACE["play_skinned"], PLACE["play_on"]
N_STAGES = len(STAGES)
# Lane names of the ledger's columns, in the order of TRACE.
_LANE_OF = {
    "reference_et": "eto", "irrigation_gross": "gross", "irrigation_landed": "mean_caught",
    "demand": "irrigation_demand", "shortage": "shortage_today", "missed": "missed",
    "made_up": "made_up",
    "thatch_water": "mean_thatch", "surface_water": "mean_w1", "root_water": "mean_w2",
    "subsoil_water": "mean_w3", "crown_hydration": "mean_hydration",
    "drought_index": "drought_index_today", "air_filled": "mean_air", "frozen": "today_frozen",
    "nitrogen_status": "mean_status", "mineral_nitrogen": "mean_mineral_n",
    "nitrogen_leached": "leached_today", "clippings": "clippings_today",
}  # fmt: skip
_OF_THE_DAY = ("precipitation", "snow_water", "root_depth", "winter_rest", "stage")
_OF_PLAY = {
    "worn", "hardness", "air_filled", "root_loss", "hard", "mud", "standing", "dust", "frozen",
}  # fmt: skip
TRACE_PLACES = np.array(
    [
        PLACE[_LANE_OF.get(name, name if name in _OF_THE_DAY else f"mean_{name}")]
        for name in TRACE.names or ()
    ]
)

_OF_FEEDING = {"nitrogen_status", "mineral_nitrogen", "nitrogen_leached", "clippings"}
IS_OF_PLAY = np.array([name in _OF_PLAY for name in TRACE.names or ()])
IS_OF_FEEDING = np.array([name in _OF_FEEDING for name in TRACE.names or ()])


class DayInput(NamedTuple):
    """D days of C fields, the same under every plan.

    ``days`` (D, C, names of DAY), or some lines of it, ``play_days`` (D, C, names of PLAY_DAY) and
    ``feed_days`` (D, C, names of FEED_DAY), (0, ...) when no field has play, or is fed.
    ``calendar`` CALENDAR (D,). ``rain_before``: rain summed over all days before each (D + 1,), mm.
    ``drought_index`` (D + 1,): as known in the morning of each day, mm. ``spray_loss``: share lost
    in flight (times of day, D).
    """

    days: Any
    play_days: Any
    feed_days: Any
    calendar: Any
    rain_before: Any
    drought_index: Any
    spray_loss: Any


class Batch(NamedTuple):
    """Runs stepped together, B plans on F fields, in K blocks of lanes; all of it changes.

    ``blocks`` (K, SIZE), ``patches`` (K, rounds, PATCH_SIZE) and ``catches``, the share of the
    mean irrigation that each patch catches (K, rounds, LANES); ``side`` patches of a run lie side
    by side (see ``day.lanes.Spread``). ``weekly`` (K, 7, 3, LANES) and ``monthly`` (K, 12, 2,
    LANES): tables of the plans, and sums by weekday and month. ``booked`` (K, 12, causes, LANES):
    shortage of the turf year by month and cause. ``quads`` (K,) are filled, ``run_quads`` of them
    by first patches. ``run_of`` and ``field_of`` (K, LANES): plan and field of each lane;
    ``columns``: the field that it reads; ``spans`` (K, ..., 3): first lane, last lane and column
    where these are few, else empty. ``rain_skip_days`` (K, LANES). ``plans`` PLAN and ``delivery``
    DELIVERY (B, F). ``is_restricted`` (K, LANES): the plan has stages or pauses. ``is_played`` and
    ``is_fed`` (K,): a field has play, is fed. ``fed_months`` (K, 12, 3, LANES): sums of the tables
    of FEED_YEAR. ``lies`` (K, 4): whether urea, and each slow fertilizer, may lie on a patch.
    """

    blocks: Any
    patches: Any
    catches: Any
    weekly: Any
    monthly: Any
    booked: Any
    quads: Any
    run_quads: Any
    run_of: Any
    field_of: Any
    columns: Any
    spans: Any
    rain_skip_days: Any
    plans: Any
    delivery: Any
    is_restricted: Any
    is_any_restricted: Any
    is_played: Any
    is_fed: Any
    fed_months: Any
    lies: Any
    side: int


class Tally(NamedTuple):
    """Results of runs, which grow as days are run.

    ``years`` (B, F, Y, names of YEAR with its tables), ``played`` (B, F, Y, names of PLAY_YEAR),
    ``fed`` (B, F, Y, names of FEED_YEAR with its tables),
    ``by_day`` (K, 366, 5, LANES), the days on which each stage was reached and the sum of green
    cover, ``shortage`` (B, F, 12, causes), by month and cause over all years, and ``trace`` (B, T,
    F, names of TRACE).
    """

    years: Any
    played: Any
    fed: Any
    by_day: Any
    shortage: Any
    trace: Any


class Scratch(NamedTuple):
    """Working arrays of one day at the supply, written anew every day.

    SUPPLY_TRACE (1,), m3 requested and share delivered (F,), m3 drawn from each source (S,) and cut
    by each cause (causes,), and passes left of each machine (F,).
    """

    flows: Any
    requested_m3: Any
    share: Any
    draws_m3: Any
    cut_m3: Any
    passes: Any


@inline
def run_site(
    day_input: DayInput,
    from_day: int,
    stop_day: int,
    first_line: int,
    first_block: int,
    stop_block: int,
    batch: Batch,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    tally: Tally,
    scratch: Scratch,
    reached: Any,
    condition: Any,
    trace_at: Any,
    supply_or_play: bool | None,
    feeding_on: bool | None,
) -> None:
    """Run B plans over days of a site, in place.

    Parameters
    ----------
    from_day, stop_day : first day to run, and the one after the last. Of the days before, only the
        rain is read.
    first_line : day of the first line of ``day_input.days``.
    first_block, stop_block : blocks of ``batch`` to run: all of them where they share a supply.
    supply : arrays whose first axis is the supply; ``supply_of`` (B,) is that of each plan.
    supply_states : see ``day.supply``; the first axis of every array is the plan.
    reached : share of a field at which a stage counts as reached (4,).
    condition : least green cover and largest wilting share of the playing condition (2,).
    trace_at : place of each day (D,) in ``tally.trace``, -1 for a day that is not kept.
    supply_or_play : whether any field has a shared supply or play. None instead of False makes the
        compiler leave out the code of both, nearly half of the loop.
    feeding_on : the same for fields that are fed; with it goes the code of supply and play.
    """
    n_days = day_input.calendar.shape[0]
    n_runs = batch.plans.shape[0]
    n_lanes = n_runs * batch.plans.shape[1]
    side = batch.side
    has_supply = supply.site[0, 0].on > 0.0
    for d in range(from_day, stop_day):
        cal = day_input.calendar[d]
        y, weekday, month, index = cal.year, cal.weekday, cal.month, day_input.drought_index[d]
        begins_year = cal.first == 1
        ends_year = d + 1 == n_days or day_input.calendar[d + 1].first == 1
        t = trace_at[d]
        is_traced = t >= 0

        # --- morning: plans demand, the supply delivers -------------------------------------------
        if supply_or_play is not None and has_supply:
            for b in range(n_runs):
                n = supply_of[b]
                open_supply(
                    supply.site[n, 0], supply.sources[n], supply.stages[n], supply.enter[n],
                    supply.leave[n], supply_states.storage[b, 0], supply_states.used[b],
                    supply_states.years[b], cal, index, batch.plans[b, 0],
                )  # fmt: skip
        for k in range(first_block, stop_block):
            block, quads, all_quads = batch.blocks[k], batch.run_quads[k], batch.quads[k]
            weekly, monthly = batch.weekly[k], batch.monthly[k]
            if begins_year:
                clear(block, UNMET[0], UNMET[1])
            if begins_year and y >= 0:
                clear_year(
                    block, batch.patches[k], monthly, batch.booked[k], n_lanes, side, all_quads
                )
                if feeding_on is not None and batch.is_fed[k]:
                    clear_fed_year(block, batch.patches[k], batch.fed_months[k])
            read_day(
                block, day_input.days[d - first_line], batch.spans[k], batch.columns[k], all_quads
            )
            if supply_or_play is not None and batch.is_played[k]:
                read_play(
                    block, day_input.play_days[d], batch.spans[k], batch.columns[k], all_quads
                )
            if feeding_on is not None and batch.is_fed[k]:
                read_feed(
                    block, day_input.feed_days[d], batch.spans[k], batch.columns[k], all_quads
                )
                if is_any_above(block, DOSED, quads) or is_any_above(block, HELD, quads):
                    put_down(block, quads)
                    note_forms(block, batch.lies[k], quads)
                elif has_dose_left(block, quads):
                    clear(block, DOSES[0], DOSES[1])
            open_day(block, quads, weekly[weekday], monthly[month])
            recall_rain(block, quads, day_input.rain_before, d, batch.rain_skip_days[k])
            if batch.is_any_restricted[k] or supply.stages.shape[1] > 0:
                restrict_all(
                    block, quads, batch.plans, batch.run_of[k], batch.field_of[k],
                    batch.is_restricted[k], supply.stages, supply.exempt, supply_of,
                    supply_states.storage, weekday, cal.day_of_year, index,
                )  # fmt: skip
            losses = day_input.spray_loss
            night, early, midday, evening = losses[0, d], losses[1, d], losses[2, d], losses[3, d]
            doy, counted = float(cal.day_of_year), 1.0 if y >= 0 else 0.0
            if feeding_on is not None and batch.is_fed[k] and is_any_above(
                block, DOSES_TODAY, quads
            ):
                request_for_feeding(block, quads, doy, night, early, midday, evening, counted)
            elif supply_or_play is not None and batch.is_played[k]:
                request_for_play(block, quads, doy, night, early, midday, evening, counted)
            else:
                request(block, quads, doy, night, early, midday, evening, counted)
        if supply_or_play is not None and has_supply:
            for b in range(n_runs):
                state = of_plan(supply_states, b)
                drawn_on = share_out_today(
                    batch.blocks, batch.plans[b], batch.delivery[b],
                    supply_at(supply, supply_of[b]), state, b, n_runs, cal, d,
                    scratch.requested_m3, scratch.share, scratch.flows[0], scratch.draws_m3,
                    scratch.cut_m3, scratch.passes,
                )  # fmt: skip
                if is_traced:
                    if drawn_on:
                        state.trace[t] = scratch.flows[0]
                    state.trace[t].stage = state.storage[0].stage

        # --- day and evening: the patches, then sums ---------------------------------------------
        for k in range(first_block, stop_block):
            block, quads, patches = batch.blocks[k], batch.run_quads[k], batch.patches[k]
            is_played, is_fed = batch.is_played[k], batch.is_fed[k]
            n_here = min(n_lanes - k * LANES, LANES)
            if begins_year:
                open_year(block, patches, batch.weekly[k], cal.fresh == 1, batch.quads[k])
                if feeding_on is not None and is_fed:
                    count_nitrogen(block, patches, n_here, side, batch.quads[k])
                    put_line(block, N_START, block[MEAN_NITROGEN:], LANES // QUAD)
            has_water = run_patches(
                block, patches, batch.catches[k], n_here, side, quads, batch.quads[k], is_played,
                is_fed, batch.lies[k], cal.in_season == 1, is_traced, supply_or_play, feeding_on,
            )  # fmt: skip
            n_patches = float(patches.shape[0] * side)
            if supply_or_play is not None and is_played:
                take_means_of_surface(block, quads, 1.0 / n_patches)
            close_day(block, quads, 1.0 / n_patches, n_patches)
            if supply_or_play is not None and is_played:
                see_lost_roots(block, quads)
            if feeding_on is not None and is_fed:
                if weekday == 0:
                    forget_forms(block, patches, batch.lies[k], batch.quads[k])
                take_means_of_feeding(block, quads, 1.0 / n_patches)
                lies = has_fertilizer_lying(block, quads)
                sheds = lies or is_any_above(block, MEAN_RUNOFF, quads)
                if sheds:
                    shed_background(block, quads)
                if lies:
                    shed_fertilizer(block, quads)
                if y >= 0:
                    if sheds:
                        count_shed(block, quads)
                    if has_dose_left(block, quads):
                        count_doses(block, quads)
                    count_status(block, quads)
                    if ends_year or day_input.calendar[d + 1].month != month:
                        gather_patches(block, patches, n_here, side, batch.quads[k])
                        close_fed_month(block, batch.fed_months[k, month], quads, 1.0 / n_patches)
            take_line(batch.weekly[k, weekday, WEEK_GROSS], block, GROSS, quads)
            if y >= 0:
                if is_any_above(block, MISSED, quads) or is_any_above(block, MADE_UP, quads):
                    book(block, quads, batch.booked[k], month)
                count_day(
                    block, quads, batch.weekly[k], batch.monthly[k, month],
                    tally.by_day[k, cal.day_of_year], reached, condition, has_water,
                    is_played, cal.in_season == 1, supply_or_play,
                )  # fmt: skip
            if is_traced:
                take_means_of_water(block, quads, n_patches)
                if feeding_on is not None and is_fed:
                    take_means_for_ledger(block, quads, 1.0 / n_patches)
                copy_to_ledger(block, quads, day_input.drought_index[d + 1])
                write_trace(block, n_here, batch.run_of[k], batch.field_of[k], tally.trace, t)
            if y >= 0 and ends_year:
                count_stored(block, patches, n_here, side, batch.quads[k])
                close_year(
                    block, n_here, batch.run_of[k], batch.field_of[k], batch.monthly[k],
                    batch.booked[k], tally.years, tally.played, tally.shortage, y,
                )  # fmt: skip
                if feeding_on is not None and is_fed:
                    count_nitrogen(block, patches, n_here, side, batch.quads[k])
                    close_year_of_feeding(block, quads, 1.0 / n_patches)
                    close_fed_year(
                        block, n_here, batch.run_of[k], batch.field_of[k], batch.fed_months[k],
                        tally.fed, y,
                    )  # fmt: skip


# --- morning --------------------------------------------------------------------------------------


def reads_the_day(name: str) -> Callable[..., None]:
    """``read(block, line, spans, columns, quads)``: copies a day's record ``line`` (C, names of its
    record) into a section, in the lanes of the runs on each field.
    """
    read_span, first = read_into_lanes(name), PLACE[SECTIONS[name][0]]

    def read(block: Any, line: Any, spans: Any, columns: Any, quads: int) -> None:
        if spans[0, 1] == 0:
            read_each(block, line, first, columns, quads)
        for s in range(spans.shape[0]):
            if spans[s, 1] > 0:
                read_span(block, line[spans[s, 2]], spans[s, 0], spans[s, 1])

    known = {"first": first, "read_each": read_each, "read_span": read_span}
    return compiles_as(read, lambda: with_selects(tree_of(read), known), inlined=True)


@jitable
def read_each(block: Any, line: Any, first: int, columns: Any, quads: int) -> None:
    """Copy a day's record into lanes that each have a separate field."""
    for lane in range(QUAD * quads):
        values = line[columns[lane]]
        for j in range(line.shape[1]):
            block[first + LANES * j + lane] = values[j]


read_day, read_play, read_feed = map(reads_the_day, ("day", "play_day", "feed_day"))


@jitable
def recall_rain(block: Any, quads: int, rain_before: Any, d: int, days: Any) -> None:
    """Write the rain of the last ``days`` (LANES,), today not included (mm)."""
    for lane in range(QUAD * quads):
        block[RECENT_RAIN + lane] = rain_before[d] - rain_before[max(d - days[lane], 0)]


@inline
def restrict_all(
    block: Any,
    quads: int,
    plans: Any,
    run_of: Any,
    field_of: Any,
    is_restricted: Any,
    stages: Any,
    exempt: Any,
    supply_of: Any,
    storage: Any,
    weekday: int,
    day_of_year: int,
    drought_index: float,
) -> None:
    """Write today's restrictions in the lanes that have any."""
    for lane in range(QUAD * quads):
        b, f = run_of[lane], field_of[lane]
        stage = int(storage[b, 0].stage)
        if not (is_restricted[lane] or stage > 0):
            continue
        by_site, days, left, crown_only = False, plans[b, f].allowed, 1.0, False
        n = supply_of[b]
        if stage > 0 and exempt[n, stage - 1, f] == 0.0:
            in_force = stages[n, stage - 1]
            by_site, days = True, in_force.allowed
            left = in_force.share
            crown_only = in_force.crown_only > 0.0
        restrict(
            block, lane, plans[b, f], drought_index, weekday, day_of_year, by_site, days, left,
            crown_only,
        )  # fmt: skip


@inline
def clear_year(
    block: Any, patches: Any, monthly: Any, booked: Any, n_lanes: int, side: int, quads: int
) -> None:
    """Start the sums of a new year, with the stored water of its first morning."""
    clear(block, YEAR_SUMS[0], YEAR_SUMS[1])
    clear(block, PLAY_SUMS[0], PLAY_SUMS[1])
    for i in range(monthly.shape[0]):
        for lane in range(LANES):
            monthly[i, MONTH_IRRIGATION, lane] = 0.0
            for c in range(N_CAUSES):
                booked[i, c, lane] = 0.0
    count_stored(block, patches, min(n_lanes, LANES), side, quads)
    for lane in range(LANES):
        block[WATER_START + lane] = block[STORED + lane]
        block[LEAST_GREEN + lane] = 1.0
        block[RECOVERY_DAYS + lane] = NO_DORMANCY


# --- day ------------------------------------------------------------------------------------------


@inline
def run_patches(
    block: Any,
    patches: Any,
    catches: Any,
    n_lanes: int,
    side: int,
    run_quads: int,
    quads: int,
    is_played: bool,
    is_fed: bool,
    lies: Any,
    in_season: bool,
    is_traced: bool,
    supply_or_play: bool | None,
    feeding_on: bool | None,
) -> bool:
    """Run the day of a block's patches; whether any run requested water.

    ``n_lanes`` runs fill ``run_quads`` of the block, and ``quads`` with all patches side by side.
    ``lies`` (4,): see ``Batch``.
    ``supply_or_play`` as in ``run_site``.
    """
    if supply_or_play is not None and is_played:
        sow(block, patches, quads)
    has_dose = False
    if feeding_on is not None and is_fed:
        has_dose = is_any_above(block, DOSES_TODAY, run_quads)
        if side > 1:
            if has_dose:
                for i in range(APPLIED.shape[0]):
                    copy_to_sides(block, APPLIED[i], n_lanes, side)
            copy_to_sides(block, SEEN_STATUS, n_lanes, side)
        feel_feeding(block, quads)
        if is_played:
            feel_feeding_in_play(block, quads)
        clear(block, FED[0], FED[1])
        if is_traced:
            clear(block, FED_TRACE[0], FED_TRACE[1])
    today(block, quads)
    has_water = is_any_above(block, REQUESTED, run_quads)
    if has_water:
        deliver(block, run_quads)
        if side > 1:
            copy_to_sides(block, LANDED, n_lanes, side)
    else:
        clear(block, WATERING[0], WATERING[1])
    if is_any_above(block, DEMAND, run_quads):
        settle(block, run_quads)
    has_rain = is_any_above(block, LIQUID, quads)
    brings = (
        feeding_on is not None and is_fed and has_water and is_any_above(block, WATER_N, quads)
    )
    is_assessed = is_played and (in_season or is_traced or is_any_above(block, TODAY_JUDGED, quads))
    clear(block, SUMS[0], SUMS[1])
    clear(block, CAUGHT[0], CAUGHT[1])
    if is_played:
        clear(block, SURFACE[0], SURFACE[1])
        clear(block, PASSING[0], PASSING[1])
    if is_traced:
        clear(block, STORED_MEANS[0], STORED_MEANS[1])
    for p in range(patches.shape[0]):
        patch = patches[p]
        if has_water:
            put_line(block, CATCH_SHARE, catches[p], quads)
            catch(block, patch, quads)
        if feeding_on is not None and is_fed:
            if is_traced:
                note_sums(block, patch, quads)
            if has_rain:
                take_rain_fed(block, patch, quads)
            elif has_water:
                take_irrigation_fed(block, patch, quads)
            else:
                stay_dry_fed(block, patch, quads)
            if is_played:
                reach_in_play(block, patch, quads)
            if has_dose:
                lay_down(block, patch, quads)
            if brings:
                bring_nitrogen(block, patch, quads)
            if (has_rain or has_water) and is_any_above(block, RUNOFF, quads):
                shed_nitrogen(block, patch, quads)
            if has_rain or has_water or is_any_above(block, MOVES, quads):
                if lies[0]:
                    wash_urea(block, patch, quads)
                carry_nitrogen(block, patch, quads)
            if lies[0] and is_any_above(patch, AT_RISK, quads):
                lose_ammonia(block, patch, quads)
        elif not (has_rain or has_water):
            stay_dry(block, patch, quads)
        elif supply_or_play is not None and is_played:
            if has_rain:
                take_rain_before_play(block, patch, quads)
            else:
                take_irrigation_before_play(block, patch, quads)
        elif has_rain:
            take_rain(block, patch, quads)
        else:
            take_irrigation(block, patch, quads)
        if supply_or_play is not None and is_played:
            note_moist_surface(block, patch, quads)
        dry(block, patch, quads)
        respond(block, patch, quads)
        if supply_or_play is not None and is_played:
            use_turf(block, patch, quads)
            if is_assessed:
                assess_surface(block, patch, quads)
        if feeding_on is not None and is_fed:
            if lies[0]:
                hydrolyze(block, patch, quads)
            if lies[1]:
                release_slow1(block, patch, quads)
            if lies[2]:
                release_slow2(block, patch, quads)
            if lies[3]:
                release_slow3(block, patch, quads)
            nourish(block, patch, quads)
        add_up(block, patch, quads)
        if is_traced:
            add_up_water(block, patch, quads)
            if feeding_on is not None and is_fed:
                add_up_for_ledger(block, patch, quads)
    if side > 1:
        add_sides(block, U_SUMS[0], U_SUMS[1], n_lanes, side)
        add_sides(block, U_CAUGHT[0], U_CAUGHT[1], n_lanes, side)
        if is_played:
            add_sides(block, U_SURFACE[0], U_SURFACE[1], n_lanes, side)
        if is_traced:
            add_sides(block, U_STORED_MEANS[0], U_STORED_MEANS[1], n_lanes, side)
        if feeding_on is not None and is_fed:
            add_sides(block, U_FED[0], U_FED[1], n_lanes, side)
            if is_traced:
                add_sides(block, U_FED_TRACE[0], U_FED_TRACE[1], n_lanes, side)
    return has_water


@jitable
def note_forms(block: Any, lies: Any, quads: int) -> None:
    """Note which forms of fertilizer were put down this morning."""
    for i in range(len(AS_APPLIED)):
        if is_any_above(block, AS_APPLIED[i], quads):
            lies[i] = True


@inline
def forget_forms(block: Any, patches: Any, lies: Any, quads: int) -> None:
    """Set the last traces of fertilizer free, and note which forms are left on any patch."""
    if lies[0] or lies[1] or lies[2] or lies[3]:
        lies[:] = False
        for p in range(patches.shape[0]):
            release_trace(block, patches[p], quads)
            for i in range(len(LEFT_OF_IT)):
                for j in range(2):
                    if is_any_above(patches[p], LEFT_OF_IT[i][j], quads):
                        lies[i] = True


@jitable
def put_line(block: Any, place: int, line: Any, quads: int) -> None:
    """Write ``line`` into one number of every lane."""
    for lane in range(QUAD * quads):
        block[place + lane] = line[lane]


@jitable
def copy_to_sides(block: Any, place: int, n_lanes: int, side: int) -> None:
    """Copy a number from the first patch of every run to its other patches."""
    others = side - 1
    for run in range(n_lanes):
        for i in range(others):
            block[place + n_lanes + run * others + i] = block[place + run]


@jitable
def add_sides(block: Any, first: Any, stop: Any, n_lanes: int, side: int) -> None:
    """Add up the patches that lie side by side, in their order, in the first lane of their run.

    Of a balance error the largest is taken, not the sum.
    """
    n, others = np.uint64(n_lanes), np.uint64(side - 1)
    for place in range(first, stop, ONE_NAME):
        for run in range(n):
            total = block[place + run]
            start = place + n + run * others
            for i in range(others):
                value = block[start + i]
                is_error = (place == ERROR) | (place == NITROGEN_ERROR)
                total = worse(value, total) if is_error else total + value
            block[place + run] = total


@jitable
def gather_patches(block: Any, patches: Any, n_lanes: int, side: int, quads: int) -> None:
    """Move what patches summed up since the last month into the first lane of their run."""
    for p in range(patches.shape[0]):
        gather_sums(block, patches[p], quads)
    if side > 1:
        add_sides(block, U_BY_PATCH[0], U_BY_PATCH[1], n_lanes, side)
        for place in range(BY_PATCH[0], BY_PATCH[1], LANES):
            for lane in range(n_lanes, n_lanes * side):
                block[place + lane] = 0.0


@jitable
def is_any_above(block: Any, place: int, quads: int) -> bool:
    """Whether a number is above 0 in any lane."""
    found = False
    for lane in range(QUAD * quads):
        found |= block[place + lane] > 0.0
    return found


@jitable
def sow(block: Any, patches: Any, quads: int) -> None:
    """Start new turf in the lanes where sod is laid or seed is sown today."""
    for lane in range(QUAD * quads):
        sown = block[TODAY_SOWN + lane]
        if sown > 0.0:
            start_turf(block, patches, lane, sown > 1.0, True)


@jitable
def start_turf(block: Any, patches: Any, lane: int, bare: bool, is_booked: bool) -> None:
    """Put established turf with hydrated crowns, or bare ground, into a lane; soil water stays.

    On a field that is fed, turf that is new brings the nitrogen that is usual; ``is_booked``: it
    is booked in the year.
    """
    usual = 0.0 if bare else block[USUAL_TURF_N + lane]
    for p in range(patches.shape[0]):
        lived = patches[p, GREEN + lane] + patches[p, DORMANT + lane]
        for i in range(TURF.shape[0]):
            patches[p, TURF[i] + lane] = 0.0
        patches[p, GREEN + lane] = 0.0 if bare else 1.0
        patches[p, WORN + lane] = 1.0 if bare else 0.0
        patches[p, INV_ROOTING + lane] = patches[p, INV_REACH + lane]
        brought = usual * larger(1.0 - lived, 0.0)
        patches[p, TURF_N + lane] += brought
        patches[p, HELD_N + lane] += brought
        if is_booked:
            patches[p, BROUGHT + lane] += brought


@jitable
def open_year(block: Any, patches: Any, weekly: Any, fresh_turf: bool, quads: int) -> None:
    """Reset running counts, and the turf too when every year starts with new turf."""
    clear(block, RUNNING[0], RUNNING[1])
    for i in range(WEEK):
        for lane in range(LANES):
            weekly[i, WEEK_GROSS, lane] = 0.0
    if fresh_turf:
        for lane in range(QUAD * quads):
            start_turf(block, patches, lane, block[SKINNED + lane] > 0.0, False)


# --- evening --------------------------------------------------------------------------------------


@inline
def count_day(
    block: Any,
    quads: int,
    weekly: Any,
    month: Any,
    day_of_year: Any,
    reached: Any,
    condition: Any,
    has_water: bool,
    is_played: bool,
    in_season: bool,
    supply_or_play: bool | None,
) -> None:
    """Add the day to its year; ``month`` and ``day_of_year`` are its rows of the tables."""
    count_every_day(block, quads, reached[AT_DORMANT])
    if has_water:
        sum_week(block, weekly, quads)
        count_irrigation(block, quads)
        count_irrigation_of_month(block, month, quads)
    count_by_day(block, day_of_year, reached, quads)
    if in_season:
        count_stages(
            block, quads, reached[AT_FOOTPRINT], reached[AT_WILT], reached[AT_DORMANT],
            reached[AT_DEAD], condition[0], condition[1],
        )  # fmt: skip
    else:
        # A season may lie in two parts of a turf year: a run of days ends with each part.
        clear(block, STAGE_RUNS[0], STAGE_RUNS[1])
    if supply_or_play is not None and is_played:
        count_use(block, quads)
        if in_season:
            count_play(block, quads)


@jitable
def take_line(line: Any, block: Any, place: int, quads: int) -> None:
    """Write one number of every lane into ``line``."""
    for lane in range(QUAD * quads):
        line[lane] = block[place + lane]


@jitable
def count_irrigation_of_month(block: Any, month: Any, quads: int) -> None:
    """Add a day of irrigation to its month (2, LANES)."""
    for lane in range(QUAD * quads):
        month[MONTH_IRRIGATION, lane] += block[GROSS + lane]


@jitable
def sum_week(block: Any, weekly: Any, quads: int) -> None:
    """Irrigation of the last seven days, from the tables by weekday (7, 3, LANES)."""
    for lane in range(QUAD * quads):
        total = 0.0
        for i in range(WEEK):
            total += weekly[i, WEEK_GROSS, lane]
        block[WEEK_SUM + lane] = total


@jitable
def count_by_day(block: Any, line: Any, reached: Any, quads: int) -> None:
    """Add to the days (5, LANES) on which each stage was reached, and to the green cover."""
    for s in range(N_STAGES):
        place, least = MEANS_AT_STAGES[s], reached[s]
        for lane in range(QUAD * quads):
            line[s, lane] += 1.0 if block[place + lane] >= least else 0.0
    for lane in range(QUAD * quads):
        line[N_STAGES, lane] += block[MEAN_GREEN + lane]


@jitable
def count_stored(block: Any, patches: Any, n_lanes: int, side: int, quads: int) -> None:
    """Mean stored water of the patches."""
    clear(block, STORED_MEANS[0], STORED_MEANS[1])
    for p in range(patches.shape[0]):
        add_up_water(block, patches[p], quads)
    if side > 1:
        add_sides(block, U_STORED_MEANS[0], U_STORED_MEANS[1], n_lanes, side)
    take_means_of_water(block, quads, float(patches.shape[0] * side))


@inline
def clear_fed_year(block: Any, patches: Any, months: Any) -> None:
    """Start the sums of a new year of feeding."""
    for p in range(patches.shape[0]):
        clear(patches[p], OF_PATCH[0], OF_PATCH[1])
    clear(block, FEED_SUMS[0], FEED_SUMS[1])
    clear(block, NOTED[0], NOTED[1])
    for m in range(months.shape[0]):
        for i in range(months.shape[1]):
            for lane in range(LANES):
                months[m, i, lane] = 0.0
    for lane in range(LANES):
        block[LEAST_STATUS + lane] = 1.0


@jitable
def count_nitrogen(block: Any, patches: Any, n_lanes: int, side: int, quads: int) -> None:
    """Mean nitrogen of the patches."""
    clear(block, STORED_N[0], STORED_N[1])
    for p in range(patches.shape[0]):
        add_up_nitrogen(block, patches[p], quads)
    if side > 1:
        add_sides(block, U_STORED_N[0], U_STORED_N[1], n_lanes, side)
    n_patches = float(patches.shape[0] * side)
    for lane in range(LANES):
        block[MEAN_NITROGEN + lane] /= n_patches


@jitable
def has_fertilizer_lying(block: Any, quads: int) -> bool:
    """Whether any field was fed today, or has fertilizer left on its surface or on paving."""
    found = False
    for i in range(len(LYING)):
        found |= is_any_above(block, LYING[i], quads)
    return found


@jitable
def has_dose_left(block: Any, quads: int) -> bool:
    """Whether a dose was put down or given up in the morning that was last booked."""
    return is_any_above(block, DOSES_TODAY, quads) or is_any_above(block, SKIPPED, quads)


@jitable
def close_fed_month(block: Any, month: Any, quads: int, per_patch: float) -> None:
    """Add what the year's sums gained since the last month to a month (3, LANES)."""
    for i in range(len(OF_MONTH)):
        # Patches add up all but the status.
        share = 1.0 if i == len(OF_MONTH) - 1 else per_patch
        for lane in range(QUAD * quads):
            so_far = block[OF_MONTH[i] + lane]
            month[i, lane] += (so_far - block[BEFORE_MONTH[i] + lane]) * share
            block[BEFORE_MONTH[i] + lane] = so_far


@inline
def close_fed_year(
    block: Any, n_lanes: int, run_of: Any, field_of: Any, months: Any, fed: Any, year: int
) -> None:
    """Write the feeding of the year that ends today; nothing for a field that is not fed."""
    n_months = months.shape[0]
    for lane in range(n_lanes):
        if block[FEED_ON + lane] > 0.0:
            block[N_END + lane] = block[MEAN_NITROGEN + lane]
            line = fed[run_of[lane], field_of[lane], year]
            for j in range(FED_NAMES):
                line[j] = block[FED_FIRST + LANES * j + lane]
            for i in range(len(OF_MONTH)):
                for m in range(n_months):
                    line[FED_NAMES + i * n_months + m] = months[m, i, lane]


@inline
def close_year(
    block: Any,
    n_lanes: int,
    run_of: Any,
    field_of: Any,
    monthly: Any,
    booked: Any,
    years: Any,
    played: Any,
    shortage: Any,
    year: int,
) -> None:
    """Write the numbers of the year that ends today."""
    n_months = monthly.shape[0]
    for lane in range(n_lanes):
        b, f = run_of[lane], field_of[lane]
        block[WATER_END + lane] = block[STORED + lane]
        line = years[b, f, year]
        by_month, by_cause = YEAR_NAMES + n_months, YEAR_NAMES + 2 * n_months
        for c in range(N_CAUSES):
            line[by_cause + c] = 0.0
        for i in range(n_months):
            line[YEAR_NAMES + i] = monthly[i, MONTH_IRRIGATION, lane]
            line[by_month + i] = 0.0
            for c in range(N_CAUSES):
                value = booked[i, c, lane]
                line[by_month + i] += value
                line[by_cause + c] += value
                shortage[b, f, i, c] += value
            block[YEAR_SHORTAGE + lane] += line[by_month + i]
        for j in range(YEAR_NAMES):
            line[j] = block[YEAR_FIRST + LANES * j + lane]
        if block[PLAY_ON + lane] > 0.0:
            for j in range(PLAYED_NAMES):
                played[b, f, year, j] = block[PLAYED_FIRST + LANES * j + lane]


@jitable
def write_trace(
    block: Any, n_lanes: int, run_of: Any, field_of: Any, trace: Any, t: int
) -> None:
    """Write the day of every run into the daily account."""
    for lane in range(n_lanes):
        line = trace[run_of[lane], t, field_of[lane]]
        is_played, is_fed = block[PLAY_ON + lane] > 0.0, block[FEED_ON + lane] > 0.0
        for j in range(TRACE_PLACES.shape[0]):
            if (is_played or not IS_OF_PLAY[j]) and (is_fed or not IS_OF_FEEDING[j]):
                line[j] = block[TRACE_PLACES[j] + lane]
