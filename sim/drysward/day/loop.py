"""All days of some plans on one site: fields ask, the supply gives, patches live, sums are kept.

Plans have nothing to do with one another. They go through the days together because their runs
can then be stepped side by side, and what a day is to a field is read once for all.

A day has a morning, in which everybody asks and the supply gives, a day that patches live through
(``live``), and an evening in which the year counts (``count_day``). What each of them does to a run
is written once, for one run, in the files beside this one. Functions take the arrays that they
need and not the bundles: a bundle costs the compiler a hundred numbers in every call.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import compiles_as, jitable, set_in, tree_of, with_selects
from drysward.day import asking, counting, delivering, patch, shortage, surface
from drysward.day.asking import MONTH_IRRIGATION, WEEK_GROSS, open_day, restrict
from drysward.day.counting import NO_DORMANCY
from drysward.day.lanes import (
    LANES,
    PATCH_PLACE,
    PLACE,
    QUAD,
    SECTIONS,
    clear,
    in_lanes,
    read_into_lanes,
    section,
    span,
)
from drysward.day.records import (
    AT_DEAD,
    AT_DORMANT,
    AT_FOOTPRINT,
    AT_WILT,
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
from drysward.physics.arithmetic import worse

# --- the parts of a day, in lanes -----------------------------------------------------------------

ask = in_lanes(asking.wish, asking.gross_up)
ask_for_play = in_lanes(asking.wish, asking.wish_for_play, asking.gross_up)
today, deliver, catch = map(in_lanes, (patch.today, delivering.deliver, delivering.catch))
settle = in_lanes(shortage.settle)
stay_dry = in_lanes(patch.move, patch.sink)
take_irrigation = in_lanes(patch.move, patch.soak_in, patch.sink)
take_rain = in_lanes(patch.move, patch.shed_rain, patch.soak_in, patch.sink)
# The same where play looks at the surface before the day's drainage is done.
take_irrigation_before_play = in_lanes(
    patch.move, patch.soak_in, surface.hold_until_play, patch.sink
)
take_rain_before_play = in_lanes(
    patch.move, patch.shed_rain, patch.soak_in, surface.hold_until_play, patch.sink
)
dry, answer, add_up = map(in_lanes, (patch.dry, patch.answer, patch.add_up))
use_turf = in_lanes(surface.use_turf, surface.add_up_surface)
look_at_surface, add_up_water = map(in_lanes, (surface.look_at_surface, counting.add_up_water))
close_day = in_lanes(counting.take_means, delivering.learn, surface.night)
take_means_of_surface = in_lanes(surface.take_means_of_surface)
take_means_of_water = in_lanes(counting.take_means_of_water)
count_every_day = in_lanes(counting.count_water, counting.time_recovery)
count_irrigation = in_lanes(counting.count_irrigation, counting.count_week)
count_stages = in_lanes(counting.count_stages, counting.count_condition)
tell = in_lanes(counting.tell)
count_use, count_play = map(in_lanes, (surface.count_use, surface.count_play))

WATERING, STORES = section("watering"), section("stored")
SUMS = span(SECTIONS["mean"][0], "mean_residual")
SURFACE, YEAR_SUMS, PLAY_SUMS = section("surface"), section("year"), section("play_year")
UNMET = span("unmet", "unmet")
RUNNING = span("paused_days", "recovering")  # counts that do not outlast a year
STAGE_RUNS = span("footprint_run", "dead_run")
CAUGHT, ERROR = span("mean_caught", "mean_beyond"), PLACE["mean_residual"]
# As unsigned numbers, for then the compiler need not ask whether a place lies before the array.
ONE_NAME = np.uint64(LANES)
U_SUMS, U_CAUGHT, U_SURFACE, U_STORES = (
    (np.uint64(first), np.uint64(stop)) for first, stop in (SUMS, CAUGHT, SURFACE, STORES)
)
PASSING = span("passing", "passing")
ASKED, LIQUID, LANDED = PLACE["asked"], PLACE["liquid"], PLACE["landed"]
GROSS, CATCH_SHARE, DEMAND = PLACE["gross"], PLACE["catch_share"], PLACE["irrigation_demand"]
MISSED, MADE_UP = PLACE["missed"], PLACE["made_up"]
STORED, WEEK_SUM = PLACE["stored"], PLACE["week_sum"]
RECENT_RAIN = PLACE["recent_rain"]
GREEN, WORN = PATCH_PLACE["green"], PATCH_PLACE["worn"]
MEANS_AT_STAGES = tuple(PLACE[f"mean_{name}"] for name in ("footprint", "wilt", "dormant", "dead"))
MEAN_GREEN = PLACE["mean_green"]
YEAR_FIRST, YEAR_NAMES = YEAR_SUMS[0], len(SECTIONS["year"])
WATER_START, WATER_END = PLACE["year_water_start"], PLACE["year_water_end"]
YEAR_SHORTAGE = PLACE["year_shortage"]
LEAST_GREEN, RECOVERY_DAYS = PLACE["year_least_green"], PLACE["year_recovery_days"]
PLAYED_FIRST, PLAYED_NAMES = PLAY_SUMS[0], len(SECTIONS["play_year"])
# Everything of a patch but its water and where its roots reach.
WATER_OF_PATCH = ("w1", "w2", "w3", "crown_water", "thatch")
TURF = np.array(
    [PATCH_PLACE[name] for name in PATCH.names or () if name not in WATER_OF_PATCH]
)
INV_REACH, INV_ROOTING = PATCH_PLACE["inv_reach"], PATCH_PLACE["inv_rooting"]
TODAY_SOWN, TODAY_JUDGED = PLACE["today_sown"], PLACE["today_judged"]
SKINNED, PLAY_ON = PLACE["play_skinned"], PLACE["play_on"]
N_STAGES = len(STAGES)
# Where a line of the ledger finds its numbers, in the order of TRACE.
_TOLD_AS = {
    "reference_et": "eto", "irrigation_gross": "gross", "irrigation_landed": "mean_caught",
    "demand": "irrigation_demand", "shortage": "short_today",
    "thatch_water": "mean_thatch", "surface_water": "mean_w1", "root_water": "mean_w2",
    "subsoil_water": "mean_w3", "crown_hydration": "mean_hydration",
    "drought_index": "drought_index_today", "air_filled": "mean_air", "frozen": "today_frozen",
}  # fmt: skip
_OF_THE_DAY = ("precipitation", "snow_water", "root_depth", "winter_rest", "stage")
_OF_PLAY = {
    "worn", "hardness", "air_filled", "root_loss", "hard", "mud", "standing", "dust", "frozen",
}  # fmt: skip
TRACE_PLACES = np.array(
    [
        PLACE[_TOLD_AS.get(name, name if name in _OF_THE_DAY else f"mean_{name}")]
        for name in TRACE.names or ()
    ]
)

IS_OF_PLAY = np.array([name in _OF_PLAY for name in TRACE.names or ()])


class Ground(NamedTuple):
    """What D days bring to C fields, whatever plan is run.

    ``days`` (D, C, names of DAY), or some lines of it, and ``play_days`` (D, C, names of PLAY_DAY),
    the latter (0, ...) when no field is looked at. ``calendar`` CALENDAR (D,). ``rain_before``:
    rain summed over all days before each (D + 1,), mm. ``drought_index`` (D,), mm.
    ``spray_loss``: share lost in flight (times of day, D).
    """

    days: Any
    play_days: Any
    calendar: Any
    rain_before: Any
    drought_index: Any
    spray_loss: Any


class Party(NamedTuple):
    """The runs that go together, B plans on F fields, in K blocks of lanes; all of it changes.

    ``blocks`` (K, SIZE), ``patches`` (K, rounds, PATCH_SIZE) and ``catches``, the share of the
    mean irrigation that each patch catches (K, rounds, LANES); ``side`` patches of a run lie side
    by side (see ``day.lanes.Spread``). ``weekly`` (K, 7, 3, LANES) and ``monthly`` (K, 12, 2,
    LANES): tables of the plans, and what is summed by weekday and month; ``booked`` (K, 12, causes,
    LANES): shortage of the turf year by month and cause. ``quads`` (K,) that are
    filled, and ``run_quads`` that first patches fill; ``run_of`` and ``field_of`` (K, LANES) say
    whose each lane is, ``columns`` which field of the ground it reads; ``spans`` (K, ..., 3):
    lanes from, to, and column where those are few, else empty. ``rain_skip_days`` (K, LANES).
    ``plans`` PLAN and ``delivery`` DELIVERY (B, F). ``is_restricted`` (K, LANES): whether a plan
    has stages or pauses; ``is_played`` (K,): whether a field is looked at.
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
    side: int


class Tally(NamedTuple):
    """What is gathered: ``years`` (B, F, Y, names of YEAR with its tables), ``played`` (B, F, Y,
    names of PLAY_YEAR), ``by_day`` (K, 366, 5, LANES), the days on which each stage was reached
    and the sum of green cover, ``shortage`` (B, F, 12, causes), by month and cause over all years,
    and ``trace`` (B, T, F, names of TRACE).
    """

    years: Any
    played: Any
    by_day: Any
    shortage: Any
    trace: Any


class Desk(NamedTuple):
    """What a day at the supply is worked out on: SUPPLY_TRACE (1,), m3 asked for and share granted
    (F,), m3 drawn from each source (S,) and cut by each cause (causes,), and passes of each machine
    that are left (F,). Nothing of it is carried to the next.
    """

    at_supply: Any
    asked_m3: Any
    share: Any
    draws_m3: Any
    cut_m3: Any
    passes: Any


@set_in
def run_site(
    ground: Ground,
    from_day: int,
    stop_day: int,
    first_line: int,
    party: Party,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    tally: Tally,
    desk: Desk,
    reached: Any,
    condition: Any,
    trace_at: Any,
    more: bool | None,
) -> None:
    """Run B plans over days of a site, in place.

    Parameters
    ----------
    from_day, stop_day : first day to run, and the one after the last; those before only tell what
        rain fell.
    first_line : day of the first line of ``ground.days``.
    supply : what the fields of a plan share, arrays led by the supply; ``supply_of`` (B,) is the
        one of each plan. supply_states : see ``day.supply``; every array leads with the plan.
    reached : share of a field at which a stage counts as reached (4,).
    condition : least green cover and largest wilting share of the playing condition (2,).
    trace_at : place of each day (D,) in ``tally.trace``, -1 for a day that is not kept.
    more : whether any field shares a supply or is looked at. None instead of False makes the
        compiler leave out everything that has to do with either, near half of all there is.
    """
    n_days = ground.calendar.shape[0]
    n_runs = party.plans.shape[0]
    n_lanes = n_runs * party.plans.shape[1]
    n_blocks, side = party.blocks.shape[0], party.side
    has_supply = supply.site[0, 0].on > 0.0
    for d in range(from_day, stop_day):
        cal = ground.calendar[d]
        y, weekday, month, index = cal.year, cal.weekday, cal.month, ground.drought_index[d]
        begins_year = cal.first == 1
        ends_year = d + 1 == n_days or ground.calendar[d + 1].first == 1
        t = trace_at[d]
        is_told = t >= 0

        # --- morning: everybody asks, and the supply gives ----------------------------------------
        if more is not None and has_supply:
            for b in range(n_runs):
                n = supply_of[b]
                open_supply(
                    supply.site[n, 0], supply.sources[n], supply.stages[n], supply.enter[n],
                    supply.leave[n], supply_states.store[b, 0], supply_states.used[b],
                    supply_states.years[b], cal, index, party.plans[b, 0],
                )  # fmt: skip
        for k in range(n_blocks):
            block, quads, all_quads = party.blocks[k], party.run_quads[k], party.quads[k]
            weekly, monthly = party.weekly[k], party.monthly[k]
            if begins_year:
                clear(block, UNMET[0], UNMET[1])
            if begins_year and y >= 0:
                clear_year(
                    block, party.patches[k], monthly, party.booked[k], n_lanes, side, all_quads
                )
            read_ground(
                block, ground.days[d - first_line], party.spans[k], party.columns[k], all_quads
            )
            if more is not None and party.is_played[k]:
                read_play(
                    block, ground.play_days[d], party.spans[k], party.columns[k], all_quads
                )
            open_day(block, quads, weekly[weekday], monthly[month])
            recall_rain(block, quads, ground.rain_before, d, party.rain_skip_days[k])
            if party.is_any_restricted[k] or supply.stages.shape[1] > 0:
                restrict_all(
                    block, quads, party.plans, party.run_of[k], party.field_of[k],
                    party.is_restricted[k], supply.stages, supply.exempt, supply_of,
                    supply_states.store, weekday, cal.day_of_year, index,
                )  # fmt: skip
            losses = ground.spray_loss
            night, early, midday, evening = losses[0, d], losses[1, d], losses[2, d], losses[3, d]
            doy, counted = float(cal.day_of_year), 1.0 if y >= 0 else 0.0
            if more is not None and party.is_played[k]:
                ask_for_play(block, quads, doy, night, early, midday, evening, counted)
            else:
                ask(block, quads, doy, night, early, midday, evening, counted)
        if more is not None and has_supply:
            for b in range(n_runs):
                state = of_plan(supply_states, b)
                drawn_on = share_out_today(
                    party.blocks, party.plans[b], party.delivery[b],
                    supply_at(supply, supply_of[b]), state, b, n_runs, cal, d,
                    desk.asked_m3, desk.share, desk.at_supply[0], desk.draws_m3, desk.cut_m3,
                    desk.passes,
                )  # fmt: skip
                if is_told:
                    if drawn_on:
                        state.trace[t] = desk.at_supply[0]
                    state.trace[t].stage = state.store[0].stage

        # --- day and evening: patches take, lose and respond; what it all came to -----------------
        for k in range(n_blocks):
            block, quads, patches = party.blocks[k], party.run_quads[k], party.patches[k]
            is_played = party.is_played[k]
            n_here = min(n_lanes - k * LANES, LANES)
            if begins_year:
                open_year(block, patches, party.weekly[k], cal.fresh == 1, party.quads[k])
            has_water = live(
                block, patches, party.catches[k], n_here, side, quads, party.quads[k], is_played,
                cal.in_season == 1, is_told, more,
            )  # fmt: skip
            n_patches = float(patches.shape[0] * side)
            if more is not None and is_played:
                take_means_of_surface(block, quads, 1.0 / n_patches)
            close_day(block, quads, 1.0 / n_patches, n_patches)
            take_line(party.weekly[k, weekday, WEEK_GROSS], block, GROSS, quads)
            if y >= 0:
                if is_any_above(block, MISSED, quads) or is_any_above(block, MADE_UP, quads):
                    book(block, quads, party.booked[k], month)
                count_day(
                    block, quads, party.weekly[k], party.monthly[k, month],
                    tally.by_day[k, cal.day_of_year], reached, condition, has_water,
                    is_played, cal.in_season == 1, more,
                )  # fmt: skip
            if is_told:
                take_means_of_water(block, quads, n_patches)
                tell(block, quads, index)
                write_trace(block, n_here, party.run_of[k], party.field_of[k], tally.trace, t)
            if y >= 0 and ends_year:
                count_stored(block, patches, n_here, side, party.quads[k])
                close_year(
                    block, n_here, party.run_of[k], party.field_of[k], party.monthly[k],
                    party.booked[k], tally.years, tally.played, tally.shortage, y,
                )  # fmt: skip


# --- morning --------------------------------------------------------------------------------------


def reads_the_day(name: str) -> Callable[..., None]:
    """``read(block, line, spans, columns, quads)``: the numbers of a day for a section, ``line``
    (C, names of its record), to the lanes of the runs on each field.
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
    """The numbers of a day to lanes that each live on a field of their own."""
    for lane in range(QUAD * quads):
        own = line[columns[lane]]
        for j in range(line.shape[1]):
            block[first + LANES * j + lane] = own[j]


read_ground, read_play = map(reads_the_day, ("day", "play_day"))


@jitable
def recall_rain(block: Any, quads: int, rain_before: Any, d: int, days: Any) -> None:
    """Rain of the last ``days`` (LANES,), today not included."""
    for lane in range(QUAD * quads):
        block[RECENT_RAIN + lane] = rain_before[d] - rain_before[max(d - days[lane], 0)]


@set_in
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
    store: Any,
    weekday: int,
    day_of_year: int,
    drought_index: float,
) -> None:
    """What restrictions leave of today, in the lanes that have any."""
    for lane in range(QUAD * quads):
        b, f = run_of[lane], field_of[lane]
        stage = int(store[b, 0].stage)
        if not (is_restricted[lane] or stage > 0):
            continue
        by_site, days, left, crown_only = False, plans[b, f].allowed, 1.0, False
        given = supply_of[b]
        if stage > 0 and exempt[given, stage - 1, f] == 0.0:
            in_force = stages[given, stage - 1]
            by_site, days = True, in_force.allowed
            left = in_force.share
            crown_only = in_force.crown_only > 0.0
        restrict(
            block, lane, plans[b, f], drought_index, weekday, day_of_year, by_site, days, left,
            crown_only,
        )  # fmt: skip


@set_in
def clear_year(
    block: Any, patches: Any, monthly: Any, booked: Any, n_lanes: int, side: int, quads: int
) -> None:
    """The sums of a new year begin, with the water that is there in its first morning."""
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


@set_in
def live(
    block: Any,
    patches: Any,
    catches: Any,
    n_lanes: int,
    side: int,
    run_quads: int,
    quads: int,
    is_played: bool,
    in_season: bool,
    is_told: bool,
    more: bool | None,
) -> bool:
    """The patches of a block live through the day; whether anybody asked for water.

    ``n_lanes`` runs lie in the block, on ``run_quads``, and with all patches that lie side by side
    on ``quads``; ``more`` as in ``run_site``.
    """
    if more is not None and is_played:
        sow(block, patches, quads)
    today(block, quads)
    has_water = is_any_above(block, ASKED, run_quads)
    if has_water:
        deliver(block, run_quads)
        if side > 1:
            hand_on(block, LANDED, n_lanes, side)
    else:
        clear(block, WATERING[0], WATERING[1])
    if is_any_above(block, DEMAND, run_quads):
        settle(block, run_quads)
    has_rain = is_any_above(block, LIQUID, quads)
    looks = is_played and (in_season or is_told or is_any_above(block, TODAY_JUDGED, quads))
    clear(block, SUMS[0], SUMS[1])
    clear(block, CAUGHT[0], CAUGHT[1])
    if is_played:
        clear(block, SURFACE[0], SURFACE[1])
        clear(block, PASSING[0], PASSING[1])
    if is_told:
        clear(block, STORES[0], STORES[1])
    for p in range(patches.shape[0]):
        patch = patches[p]
        if has_water:
            put_line(block, CATCH_SHARE, catches[p], quads)
            catch(block, patch, quads)
        if not (has_rain or has_water):
            stay_dry(block, patch, quads)
        elif more is not None and is_played:
            if has_rain:
                take_rain_before_play(block, patch, quads)
            else:
                take_irrigation_before_play(block, patch, quads)
        elif has_rain:
            take_rain(block, patch, quads)
        else:
            take_irrigation(block, patch, quads)
        dry(block, patch, quads)
        answer(block, patch, quads)
        if more is not None and is_played:
            use_turf(block, patch, quads)
            if looks:
                look_at_surface(block, patch, quads)
        add_up(block, patch, quads)
        if is_told:
            add_up_water(block, patch, quads)
    if side > 1:
        add_sides(block, U_SUMS[0], U_SUMS[1], n_lanes, side)
        add_sides(block, U_CAUGHT[0], U_CAUGHT[1], n_lanes, side)
        if is_played:
            add_sides(block, U_SURFACE[0], U_SURFACE[1], n_lanes, side)
        if is_told:
            add_sides(block, U_STORES[0], U_STORES[1], n_lanes, side)
    return has_water


@jitable
def put_line(block: Any, place: int, line: Any, quads: int) -> None:
    """Write a number of every lane."""
    for lane in range(QUAD * quads):
        block[place + lane] = line[lane]


@jitable
def hand_on(block: Any, place: int, n_lanes: int, side: int) -> None:
    """Give a number of the first patch of every run to those beside it."""
    others = side - 1
    for run in range(n_lanes):
        for i in range(others):
            block[place + n_lanes + run * others + i] = block[place + run]


@jitable
def add_sides(block: Any, first: Any, stop: Any, n_lanes: int, side: int) -> None:
    """Patches that lie side by side add up, in their order, into the first lane of their run.

    The worst error of any is no sum.
    """
    n, others = np.uint64(n_lanes), np.uint64(side - 1)
    for place in range(first, stop, ONE_NAME):
        for run in range(n):
            total = block[place + run]
            start = place + n + run * others
            for i in range(others):
                value = block[start + i]
                total = worse(value, total) if place == ERROR else total + value
            block[place + run] = total


@jitable
def is_any_above(block: Any, place: int, quads: int) -> bool:
    """Whether a number is above nought in any lane."""
    found = False
    for lane in range(QUAD * quads):
        found |= block[place + lane] > 0.0
    return found


@jitable
def sow(block: Any, patches: Any, quads: int) -> None:
    """New turf begins in the lanes in which it is laid or sown today."""
    for lane in range(QUAD * quads):
        sown = block[TODAY_SOWN + lane]
        if sown > 0.0:
            start_turf(patches, lane, sown > 1.0)


@jitable
def start_turf(patches: Any, lane: int, bare: bool) -> None:
    """Established turf, crowns hydrated, or bare ground in a lane. Soil water is left as it is."""
    for p in range(patches.shape[0]):
        for i in range(TURF.shape[0]):
            patches[p, TURF[i] + lane] = 0.0
        patches[p, GREEN + lane] = 0.0 if bare else 1.0
        patches[p, WORN + lane] = 1.0 if bare else 0.0
        patches[p, INV_ROOTING + lane] = patches[p, INV_REACH + lane]


@jitable
def open_year(block: Any, patches: Any, weekly: Any, fresh_turf: bool, quads: int) -> None:
    """Running counts begin anew, and the turf too when each year is to stand for itself."""
    clear(block, RUNNING[0], RUNNING[1])
    for i in range(WEEK):
        for lane in range(LANES):
            weekly[i, WEEK_GROSS, lane] = 0.0
    if fresh_turf:
        for lane in range(QUAD * quads):
            start_turf(patches, lane, block[SKINNED + lane] > 0.0)


# --- evening --------------------------------------------------------------------------------------


@set_in
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
    more: bool | None,
) -> None:
    """What the day adds to its year; ``month`` and ``day_of_year`` are its lines of the tables."""
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
        # A season may span two parts of a turf year: no spell leads from one to the other.
        clear(block, STAGE_RUNS[0], STAGE_RUNS[1])
    if more is not None and is_played:
        count_use(block, quads)
        if in_season:
            count_play(block, quads)


@jitable
def take_line(line: Any, block: Any, place: int, quads: int) -> None:
    """Keep a number of every lane."""
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
    """Means over the patches of what the field holds."""
    clear(block, STORES[0], STORES[1])
    for p in range(patches.shape[0]):
        add_up_water(block, patches[p], quads)
    if side > 1:
        add_sides(block, U_STORES[0], U_STORES[1], n_lanes, side)
    take_means_of_water(block, quads, float(patches.shape[0] * side))


@set_in
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
        is_played = block[PLAY_ON + lane] > 0.0
        for j in range(TRACE_PLACES.shape[0]):
            if is_played or not IS_OF_PLAY[j]:
                line[j] = block[TRACE_PLACES[j] + lane]
