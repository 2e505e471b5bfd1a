"""All days of some plans on one site: fields ask, the supply gives, patches live, sums are kept.

Plans have nothing to do with one another. They go through the days together because their runs
can then be stepped side by side, and what a day is to a field is read once for all.

A day has a morning (``ask_and_share``), a day (``live``) and an evening (``close_day``). What
each of them does to a run is written once, for one run, in the files beside this one.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import jitable
from drysward.day import asking, counting, delivering, patch, surface
from drysward.day.asking import MONTH_IRRIGATION, MONTH_SHORTAGE, WEEK_GROSS, open_day, restrict
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
from drysward.day.records import AT_DEAD, AT_DORMANT, AT_FOOTPRINT, AT_WILT, STAGES, TRACE, WEEK
from drysward.day.supply import (
    SupplyInput,
    SupplyState,
    new_allowances,
    of_plan,
    share_out_today,
    supply_at,
    update_site_stage,
)
from drysward.physics.arithmetic import worse

# --- the parts of a day, in lanes -----------------------------------------------------------------

read_day, read_play_day = read_into_lanes("day"), read_into_lanes("play_day")
wish, wish_for_play = in_lanes(asking.wish), in_lanes(asking.wish_for_play)
gross_up, deliver = in_lanes(asking.gross_up), in_lanes(delivering.deliver)
catch, learn = in_lanes(delivering.catch), in_lanes(delivering.learn)
today, move = in_lanes(patch.today), in_lanes(patch.move)
shed_rain = in_lanes(patch.shed_rain)
soak_in, sink = in_lanes(patch.soak_in), in_lanes(patch.sink)
dry, answer, add_up = in_lanes(patch.dry), in_lanes(patch.answer), in_lanes(patch.add_up)
use_turf, look_at_surface = in_lanes(surface.use_turf), in_lanes(surface.look_at_surface)
add_up_surface, night = in_lanes(surface.add_up_surface), in_lanes(surface.night)
count_use, count_play = in_lanes(surface.count_use), in_lanes(surface.count_play)
take_means, add_up_water = in_lanes(counting.take_means), in_lanes(counting.add_up_water)
take_means_of_water, tell = in_lanes(counting.take_means_of_water), in_lanes(counting.tell)
take_means_of_surface = in_lanes(surface.take_means_of_surface)
count_water, count_stages = in_lanes(counting.count_water), in_lanes(counting.count_stages)
count_irrigation = in_lanes(counting.count_irrigation)
time_recovery, count_week = in_lanes(counting.time_recovery), in_lanes(counting.count_week)

WATERING, STORES = section("watering"), section("stored")
SUMS = span(SECTIONS["mean"][0], "mean_residual")
SURFACE, YEAR_SUMS, PLAY_SUMS = section("surface"), section("year"), section("play_year")
RUNNING = span("paused_days", "recovering")  # counts that do not outlast a year
CAUGHT, ERROR = span("mean_caught", "mean_caught"), PLACE["mean_residual"]
# As unsigned numbers, for then the compiler need not ask whether a place lies before the array.
ONE_NAME = np.uint64(LANES)
U_SUMS, U_CAUGHT, U_SURFACE, U_STORES = (
    (np.uint64(first), np.uint64(stop)) for first, stop in (SUMS, CAUGHT, SURFACE, STORES)
)
ASKED, LIQUID = PLACE["asked"], PLACE["liquid"]
GROSS, MISSED, CATCH_SHARE = PLACE["gross"], PLACE["missed"], PLACE["catch_share"]
STORED, WEEK_SUM = PLACE["stored"], PLACE["week_sum"]
RECENT_RAIN = PLACE["recent_rain"]
GREEN, WORN = PATCH_PLACE["green"], PATCH_PLACE["worn"]
MEANS_AT_STAGES = tuple(PLACE[f"mean_{name}"] for name in ("footprint", "wilt", "dormant", "dead"))
MEAN_GREEN = PLACE["mean_green"]
YEAR_FIRST, YEAR_NAMES = YEAR_SUMS[0], len(SECTIONS["year"])
WATER_START, WATER_END = PLACE["year_water_start"], PLACE["year_water_end"]
LEAST_GREEN, RECOVERY_DAYS = PLACE["year_least_green"], PLACE["year_recovery_days"]
PLAYED_FIRST, PLAYED_NAMES = PLAY_SUMS[0], len(SECTIONS["play_year"])
# Everything of a patch but its water.
TURF = np.array(
    [place for name, place in PATCH_PLACE.items() if name not in ("w1", "w2", "w3", "thatch")]
)
INV_ROOTING = PATCH_PLACE["inv_rooting"]
DAY_FIRST, PLAY_DAY_FIRST = PLACE[SECTIONS["day"][0]], PLACE[SECTIONS["play_day"][0]]
TODAY_SOWN, TODAY_JUDGED = PLACE["today_sown"], PLACE["today_judged"]
SKINNED, PLAY_ON = PLACE["play_skinned"], PLACE["play_on"]
N_STAGES = len(STAGES)
# Where a line of the ledger finds its numbers, in the order of TRACE.
_TOLD_AS = {
    "reference_et": "eto", "irrigation_gross": "gross", "irrigation_landed": "mean_caught",
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
    by side (see ``day.lanes.Spread``), from its lane of ``first_lanes`` (B * F,) on. ``weekly``
    (K, 7, 3, LANES) and ``monthly`` (K, 12, 3, LANES): tables of the plans, and what is summed by
    weekday and month. ``quads`` (K,) that are filled; ``run_of`` and ``field_of`` (K, LANES) say
    whose each lane is, ``is_first`` whether it is that run's first, ``columns`` which field of
    the ground it reads; ``spans`` (K, ..., 3):
    lanes from, to, and column where those are few, else empty. ``rain_skip_days`` (K, LANES), and
    (K,) where all have as many, else -1. ``plans`` PLAN and ``delivery`` DELIVERY (B, F).
    ``is_restricted`` (K, LANES): whether a plan has stages or pauses; ``is_played`` (K,): whether
    a field is looked at.
    """

    blocks: Any
    patches: Any
    catches: Any
    weekly: Any
    monthly: Any
    quads: Any
    run_of: Any
    field_of: Any
    is_first: Any
    columns: Any
    spans: Any
    rain_skip_days: Any
    common_skip_days: Any
    plans: Any
    delivery: Any
    is_restricted: Any
    is_any_restricted: Any
    is_played: Any
    side: int
    first_lanes: Any


class Tally(NamedTuple):
    """What is gathered: ``years`` (B, F, Y, names of YEAR with its tables), ``played`` (B, F, Y,
    names of PLAY_YEAR), ``by_day`` (K, 366, 5, LANES), the days on which each stage was reached
    and the sum of green cover, and ``trace`` (B, T, F, names of TRACE).
    """

    years: Any
    played: Any
    by_day: Any
    trace: Any


class Desk(NamedTuple):
    """What a day at the supply is worked out on: SUPPLY_TRACE (1,), m3 asked for and share granted
    (F,) and drawn from each source (S,). Nothing of it is carried to the next.
    """

    at_supply: Any
    asked_m3: Any
    share: Any
    draws_m3: Any


@jitable
def run_site(
    ground: Ground,
    party: Party,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    tally: Tally,
    desk: Desk,
    reached: Any,
    fresh_turf_each_year: bool,
    from_day: int,
    stop_day: int,
    first_line: int,
    trace_from: int,
) -> None:
    """Run B plans over days of a site, in place.

    Parameters
    ----------
    supply : what the fields of a plan share, arrays led by the supply; ``supply_of`` (B,) is the
        one of each plan. supply_states : see ``day.supply``; every array leads with the plan.
    reached : share of a field at which a stage counts as reached (4,).
    fresh_turf_each_year : start every turf year with established turf.
    from_day, stop_day : first day to run, and the one after the last; those before only tell what
        rain fell.
    first_line : day of the first line of ``ground.days``.
    trace_from : first of the days that ``tally.trace`` keeps.
    """
    n_days = ground.calendar.shape[0]
    n_blocks = party.blocks.shape[0]
    n_told = tally.trace.shape[1]
    for d in range(from_day, stop_day):
        cal = ground.calendar[d]
        t = d - trace_from
        is_told = 0 <= t < n_told
        ends_year = d + 1 == n_days or ground.calendar[d + 1].first == 1
        for k in range(n_blocks):
            if cal.first == 1 and cal.year >= 0:
                clear_year(party, k)
            open_morning(ground, party, cal, d, d - first_line, k)
        if supply.site[0, 0].on > 0.0:
            open_supply(ground, party, supply, supply_of, supply_states, cal, d)
        for k in range(n_blocks):
            ask(ground, party, supply, supply_of, supply_states, cal, d, k)
        if supply.site[0, 0].on > 0.0:
            share_out(party, supply, supply_of, supply_states, desk, cal, d, trace_from)
        for k in range(n_blocks):
            if cal.first == 1:
                open_year(party, fresh_turf_each_year, k)
            has_water = live(ground, party, cal.in_season == 1, is_told, k)
            close_day(party, tally, reached, cal, has_water, k)
            if is_told:
                write_trace(party, tally, ground.drought_index[d], t, k)
            if cal.year >= 0 and ends_year:
                close_year(party, tally, cal.year, k)


# --- morning: everybody asks, and the supply gives ------------------------------------------------


@jitable
def read_ground(line: Any, party: Party, k: int) -> None:
    """The numbers of a day, ``line`` (C, names of DAY), to the lanes of the runs on each field."""
    spans = party.spans[k]
    if spans[0, 1] == 0:
        read_each(line, DAY_FIRST, party, k)
    for s in range(spans.shape[0]):
        if spans[s, 1] > 0:
            read_day(party.blocks[k], line[spans[s, 2]], spans[s, 0], spans[s, 1])


@jitable
def read_play(line: Any, party: Party, k: int) -> None:
    """The numbers of a day of play, ``line`` (C, names of PLAY_DAY), as ``read_ground``."""
    spans = party.spans[k]
    if spans[0, 1] == 0:
        read_each(line, PLAY_DAY_FIRST, party, k)
    for s in range(spans.shape[0]):
        if spans[s, 1] > 0:
            read_play_day(party.blocks[k], line[spans[s, 2]], spans[s, 0], spans[s, 1])


@jitable
def read_each(line: Any, first: int, party: Party, k: int) -> None:
    """The numbers of a day to lanes that each live on a field of their own."""
    block = party.blocks[k]
    for lane in range(QUAD * party.quads[k]):
        own = line[party.columns[k, lane]]
        for j in range(line.shape[1]):
            block[first + LANES * j + lane] = own[j]


@jitable
def open_morning(ground: Ground, party: Party, cal: Any, d: int, line: int, k: int) -> None:
    """What the day is, and what the plans say of it as if nothing were restricted."""
    read_ground(ground.days[line], party, k)
    if party.is_played[k]:
        read_play(ground.play_days[d], party, k)
    block = party.blocks[k]
    open_day(block, party.quads[k], party.weekly[k, cal.weekday], party.monthly[k, cal.month])
    rain, common = ground.rain_before[d], party.common_skip_days[k]
    if common >= 0:
        rain -= ground.rain_before[max(d - common, 0)]
        for lane in range(QUAD * party.quads[k]):
            block[RECENT_RAIN + lane] = rain
        return
    for lane in range(QUAD * party.quads[k]):
        since = max(d - party.rain_skip_days[k, lane], 0)
        block[RECENT_RAIN + lane] = rain - ground.rain_before[since]


@jitable
def open_supply(
    ground: Ground,
    party: Party,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    cal: Any,
    d: int,
) -> None:
    """Allowances begin anew on their days, and the site's stages of restrictions move."""
    for b in range(party.plans.shape[0]):
        given = supply_at(supply, supply_of[b])
        store = supply_states.store[b, 0]
        if cal.first == 1 and cal.year >= 0:
            supply_states.years[b, cal.year].least_store = store.volume
        new_month = cal.month != store.month
        store.month = cal.month
        used = supply_states.used[b]
        new_allowances(given.sources, used, cal.weekday, new_month, cal.first == 1)
        update_site_stage(given, store, ground.drought_index[d], cal.day_of_year)
        if cal.year >= 0 and store.stage > 0.0:
            supply_states.years[b, cal.year].restricted_days += 1.0


@jitable
def ask(
    ground: Ground,
    party: Party,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    cal: Any,
    d: int,
    k: int,
) -> None:
    """Every run of a block says what it asks of the supply."""
    block, quads = party.blocks[k], party.quads[k]
    has_stages = supply.stages.shape[1] > 0
    if party.is_any_restricted[k] or has_stages:
        for lane in range(QUAD * quads):
            if not (has_stages or party.is_restricted[k, lane]):
                continue
            b, f = party.run_of[k, lane], party.field_of[k, lane]
            allowed, left, crown_only = True, 1.0, False
            stage = int(supply_states.store[b, 0].stage)
            given = supply_of[b]
            if stage > 0 and supply.exempt[given, stage - 1, f] == 0.0:
                in_force = supply.stages[given, stage - 1]
                allowed = in_force.allowed[cal.weekday] > 0.0
                left = in_force.share
                crown_only = in_force.crown_only > 0.0
            restrict(
                block,
                lane,
                party.plans[b, f],
                ground.drought_index[d],
                cal.weekday,
                cal.day_of_year,
                allowed,
                left,
                crown_only,
            )
    day_of_year = float(cal.day_of_year)
    wish(block, quads, day_of_year)
    if party.is_played[k]:
        wish_for_play(block, quads, day_of_year)
    losses = ground.spray_loss
    counted = 1.0 if cal.year >= 0 else 0.0
    gross_up(block, quads, losses[0, d], losses[1, d], losses[2, d], losses[3, d], counted)


@jitable
def share_out(
    party: Party,
    supply: SupplyInput,
    supply_of: Any,
    supply_states: SupplyState,
    desk: Desk,
    cal: Any,
    d: int,
    trace_from: int,
) -> None:
    """The supply of every plan gives its fields what it can."""
    n_runs = party.plans.shape[0]
    t = d - trace_from
    for b in range(n_runs):
        drawn_on = share_out_today(
            party.blocks,
            party.plans[b],
            party.delivery[b],
            supply_at(supply, supply_of[b]),
            of_plan(supply_states, b),
            b,
            n_runs,
            party.side,
            cal,
            d,
            desk.asked_m3,
            desk.share,
            desk.at_supply[0],
            desk.draws_m3,
        )
        if 0 <= t < supply_states.trace.shape[1]:
            if drawn_on:
                supply_states.trace[b, t] = desk.at_supply[0]
            supply_states.trace[b, t].stage = supply_states.store[b, 0].stage


# --- day: patches take, lose and respond ----------------------------------------------------------


@jitable
def live(ground: Ground, party: Party, in_season: bool, is_told: bool, k: int) -> bool:
    """The patches of a block live through the day; whether anybody asked for water."""
    block, quads = party.blocks[k], party.quads[k]
    is_played = party.is_played[k]
    if is_played:
        sow(party, k)
    today(block, quads)
    has_water = is_any_above(block, ASKED, quads)
    if has_water:
        deliver(block, quads)
    else:
        clear(block, WATERING[0], WATERING[1])
    has_rain = is_any_above(block, LIQUID, quads)
    looks = is_played and (in_season or is_told or is_any_above(block, TODAY_JUDGED, quads))
    clear(block, SUMS[0], SUMS[1])
    clear(block, CAUGHT[0], CAUGHT[1])
    if is_played:
        clear(block, SURFACE[0], SURFACE[1])
    if is_told:
        clear(block, STORES[0], STORES[1])
    for p in range(party.patches.shape[1]):
        patch = party.patches[k, p]
        if has_water:
            put_line(block, CATCH_SHARE, party.catches[k, p], quads)
            catch(block, quads)
        move(block, patch, quads)
        if has_rain:
            shed_rain(block, patch, quads)
        if has_rain or has_water:
            soak_in(block, patch, quads)
        sink(block, patch, quads)
        dry(block, patch, quads)
        answer(block, patch, quads)
        if is_played:
            use_turf(block, patch, quads)
            add_up_surface(block, patch, quads)
            if looks:
                look_at_surface(block, patch, quads)
        add_up(block, patch, quads)
        if is_told:
            add_up_water(block, patch, quads)
    if party.side > 1:
        add_sides(block, U_SUMS[0], U_SUMS[1], party)
        add_sides(block, U_CAUGHT[0], U_CAUGHT[1], party)
        if is_played:
            add_sides(block, U_SURFACE[0], U_SURFACE[1], party)
        if is_told:
            add_sides(block, U_STORES[0], U_STORES[1], party)
    return has_water


@jitable
def put_line(block: Any, place: int, line: Any, quads: int) -> None:
    """Write a number of every lane."""
    for lane in range(QUAD * quads):
        block[place + lane] = line[lane]


@jitable
def add_sides(block: Any, first: Any, stop: Any, party: Party) -> None:
    """Patches that lie side by side add up, in their order, to what all their lanes then hold.

    The worst error of any is no sum.
    """
    step, side = np.uint64(party.plans.shape[0]), np.uint64(party.side)
    for place in range(first, stop, ONE_NAME):
        for run in range(party.first_lanes.shape[0]):
            start = place + party.first_lanes[run]
            total = 0.0
            for i in range(side):
                value = block[start + i * step]
                total = worse(value, total) if place == ERROR else total + value
            for i in range(side):
                block[start + i * step] = total


@jitable
def is_any_above(block: Any, place: int, quads: int) -> bool:
    """Whether a number is above nought in any lane."""
    found = False
    for lane in range(QUAD * quads):
        found |= block[place + lane] > 0.0
    return found


@jitable
def sow(party: Party, k: int) -> None:
    """New turf begins in the lanes in which it is laid or sown today."""
    block = party.blocks[k]
    for lane in range(QUAD * party.quads[k]):
        sown = block[TODAY_SOWN + lane]
        if sown > 0.0:
            start_turf(party.patches[k], lane, sown > 1.0)


@jitable
def start_turf(patches: Any, lane: int, bare: bool) -> None:
    """Established turf, crowns hydrated, or bare ground in a lane. Soil water is left as it is."""
    for p in range(patches.shape[0]):
        for i in range(TURF.shape[0]):
            patches[p, TURF[i] + lane] = 0.0
        patches[p, GREEN + lane] = 0.0 if bare else 1.0
        patches[p, WORN + lane] = 1.0 if bare else 0.0
        patches[p, INV_ROOTING + lane] = 1.0


# --- evening: the waterer learns, the year counts -------------------------------------------------


@jitable
def close_day(
    party: Party, tally: Tally, reached: Any, cal: Any, has_water: bool, k: int
) -> None:
    """Means over the patches, what the waterer knows tomorrow, what the day adds to its year."""
    block, quads = party.blocks[k], party.quads[k]
    is_played = party.is_played[k]
    n_patches = float(party.patches.shape[1] * party.side)
    take_means(block, quads, 1.0 / n_patches, n_patches)
    if is_played:
        take_means_of_surface(block, quads, 1.0 / n_patches)
    learn(block, quads)
    night(block, quads)
    take_line(party.weekly[k, cal.weekday, WEEK_GROSS], block, GROSS, quads)
    if cal.year < 0:
        return
    count_water(block, quads)
    if has_water:
        count_irrigation(block, quads)
        count_irrigation_of_month(block, party.monthly[k, cal.month], quads)
        sum_week(block, party.weekly[k], quads)
        count_week(block, quads)
    count_by_day(block, tally.by_day[k, cal.day_of_year], reached, quads)
    time_recovery(block, quads, reached[AT_DORMANT])
    if cal.in_season == 1:
        count_stages(
            block,
            quads,
            reached[AT_FOOTPRINT],
            reached[AT_WILT],
            reached[AT_DORMANT],
            reached[AT_DEAD],
        )
    if is_played:
        count_use(block, quads)
        if cal.in_season == 1:
            count_play(block, quads)


@jitable
def take_line(line: Any, block: Any, place: int, quads: int) -> None:
    """Keep a number of every lane."""
    for lane in range(QUAD * quads):
        line[lane] = block[place + lane]


@jitable
def count_irrigation_of_month(block: Any, month: Any, quads: int) -> None:
    """Add a day of irrigation to its month (3, LANES)."""
    for lane in range(QUAD * quads):
        month[MONTH_IRRIGATION, lane] += block[GROSS + lane]
        month[MONTH_SHORTAGE, lane] += block[MISSED + lane]


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
def count_stored(party: Party, k: int) -> None:
    """Means over the patches of what the field holds."""
    block, quads = party.blocks[k], party.quads[k]
    clear(block, STORES[0], STORES[1])
    for p in range(party.patches.shape[1]):
        add_up_water(block, party.patches[k, p], quads)
    if party.side > 1:
        add_sides(block, U_STORES[0], U_STORES[1], party)
    take_means_of_water(block, quads, float(party.patches.shape[1] * party.side))


@jitable
def clear_year(party: Party, k: int) -> None:
    """The sums of a new year begin, with the water that is there in its first morning."""
    block = party.blocks[k]
    clear(block, YEAR_SUMS[0], YEAR_SUMS[1])
    clear(block, PLAY_SUMS[0], PLAY_SUMS[1])
    for i in range(party.monthly.shape[1]):
        for lane in range(LANES):
            party.monthly[k, i, MONTH_IRRIGATION, lane] = 0.0
            party.monthly[k, i, MONTH_SHORTAGE, lane] = 0.0
    count_stored(party, k)
    for lane in range(LANES):
        block[WATER_START + lane] = block[STORED + lane]
        block[LEAST_GREEN + lane] = 1.0
        block[RECOVERY_DAYS + lane] = NO_DORMANCY


@jitable
def open_year(party: Party, fresh_turf: bool, k: int) -> None:
    """Running counts begin anew, and the turf too when each year is to stand for itself."""
    block, quads = party.blocks[k], party.quads[k]
    clear(block, RUNNING[0], RUNNING[1])
    for i in range(WEEK):
        for lane in range(LANES):
            party.weekly[k, i, WEEK_GROSS, lane] = 0.0
    if fresh_turf:
        for lane in range(QUAD * quads):
            start_turf(party.patches[k], lane, block[SKINNED + lane] > 0.0)


@jitable
def close_year(party: Party, tally: Tally, year: int, k: int) -> None:
    """Write the numbers of the year that ends today."""
    count_stored(party, k)
    block = party.blocks[k]
    n_months = party.monthly.shape[1]
    for lane in range(LANES):
        if not party.is_first[k, lane]:
            continue
        b, f = party.run_of[k, lane], party.field_of[k, lane]
        block[WATER_END + lane] = block[STORED + lane]
        line = tally.years[b, f, year]
        for j in range(YEAR_NAMES):
            line[j] = block[YEAR_FIRST + LANES * j + lane]
        for i in range(n_months):
            line[YEAR_NAMES + i] = party.monthly[k, i, MONTH_IRRIGATION, lane]
            line[YEAR_NAMES + n_months + i] = party.monthly[k, i, MONTH_SHORTAGE, lane]
        if block[PLAY_ON + lane] > 0.0:
            for j in range(PLAYED_NAMES):
                tally.played[b, f, year, j] = block[PLAYED_FIRST + LANES * j + lane]


@jitable
def write_trace(party: Party, tally: Tally, drought_index: float, t: int, k: int) -> None:
    """Write the day of every run into the daily account."""
    block, quads = party.blocks[k], party.quads[k]
    take_means_of_water(block, quads, float(party.patches.shape[1] * party.side))
    tell(block, quads, drought_index)
    for lane in range(LANES):
        if not party.is_first[k, lane]:
            continue
        b, f = party.run_of[k, lane], party.field_of[k, lane]
        is_played = block[PLAY_ON + lane] > 0.0
        for j in range(TRACE_PLACES.shape[0]):
            if is_played or not IS_OF_PLAY[j]:
                tally.trace[b, t, f, j] = block[TRACE_PLACES[j] + lane]
