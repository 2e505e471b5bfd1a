"""A day at the supply: what is there, who gets it, where it comes from, and what is left.

The order is the standard operating policy of storage studies: the store takes in the day's
runoff and rain, the fields draw what they ask for as far as it goes, sources then refill the
store, and what it cannot hold spills. Whoever goes short is told why: the crew, the pipes, an
allowance, an empty store, a source, or that others come first.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import jitable, set_in
from drysward.day.lanes import LANES, PLACE, lane_of
from drysward.day.records import (
    BY_MONTH,
    EVENLY,
    INDEX_CALENDAR,
    INDEX_STORAGE,
    RULE_FIXED,
    WEEK,
)
from drysward.day.restrictions import stage_after
from drysward.day.shortage import (
    CUTS,
    N_CAUSES,
    beyond_rounding,
    made_up_by,
    newly_missed,
    unmet_after,
)
from drysward.physics.arithmetic import within, worse
from drysward.physics.rationing import days_within, days_within_both, even_share

ASKED, GRANTED_SHARE, OWN = PLACE["asked"], PLACE["granted_share"], PLACE["own"]
DEMAND = PLACE["irrigation_demand"]
UNMET, SYRINGED, WAITED = PLACE["unmet"], PLACE["syringed"], PLACE["days_since_water"]
RESTRICTION, GROUND, WINDOW, CREW, NETWORK, SOURCE, ALLOWANCE, STORAGE, PRIORITY = range(N_CAUSES)
NOT_SERVED = -1.0  # stands for the crew's cut of a field until its turn has come


class SupplyInput(NamedTuple):
    """What a site draws on, and what weather makes of it on D days.

    Record arrays: ``site`` SUPPLY (1,), ``sources`` SOURCE (S,), ``stages`` SITE_STAGE (R,).
    ``enter`` and ``leave`` (R,) are the index at which each stage begins and ends, with the sign
    turned when less is worse.
    ``source_m3`` (D, S) is the most that each source gives on the day, ``direct_m3`` (D, S) the
    most of it that goes straight to fields. ``catchment_m3``, ``rain_mm`` and
    ``evaporation_mm`` (D,) enter and leave the store, whose water has ``areas`` (K,), m2, at
    ``volumes`` (K,), m3. ``exempt`` (R, F) is 1 where a stage spares a field; fields of a
    lower ``priority`` (F,) are served first. ``turn`` (F,) numbers the fields in the order in
    which they are added up and sent a crew, which is not that of the scenario's file.
    """

    site: Any
    sources: Any
    source_m3: Any
    direct_m3: Any
    catchment_m3: Any
    rain_mm: Any
    evaporation_mm: Any
    volumes: Any
    areas: Any
    stages: Any
    enter: Any
    leave: Any
    exempt: Any
    priority: Any
    turn: Any


class SupplyState(NamedTuple):
    """Where the supply stands, and what it has done so far.

    ``store`` STORE (1,) and ``used`` USED (S,) are the state; ``years`` SUPPLY_YEAR (Y,),
    ``draws`` (Y, S, 12) and ``store_month`` (Y, 12), m3, are gathered; ``trace`` SUPPLY_TRACE
    (T,) keeps the days that were asked for.
    """

    store: Any
    used: Any
    years: Any
    draws: Any
    store_month: Any
    trace: Any


@jitable
def supply_at(given: SupplyInput, n: int) -> SupplyInput:
    """One supply of several whose arrays lead with the supply."""
    return SupplyInput(
        given.site[n],
        given.sources[n],
        given.source_m3[n],
        given.direct_m3[n],
        given.catchment_m3[n],
        given.rain_mm[n],
        given.evaporation_mm[n],
        given.volumes[n],
        given.areas[n],
        given.stages[n],
        given.enter[n],
        given.leave[n],
        given.exempt[n],
        given.priority[n],
        given.turn[n],
    )


@jitable
def of_plan(states: SupplyState, b: int) -> SupplyState:
    """The state of one plan, of states whose arrays lead with the plan."""
    return SupplyState(
        states.store[b],
        states.used[b],
        states.years[b],
        states.draws[b],
        states.store_month[b],
        states.trace[b],
    )


@jitable
def granted_share(asked_m3: float, available_m3: float) -> float:
    """Share of every request that is met: all of it, or the same share for every field."""
    if asked_m3 <= available_m3 or asked_m3 <= 0.0:
        return 1.0
    return available_m3 / asked_m3 if available_m3 > 0.0 else 0.0


@jitable
def share_out(
    asked_m3: Any, priority: Any, turn: Any, available_m3: float, share: Any
) -> float:
    """Write the granted ``share`` (F,) of requests (F,) in place; returns m3 granted in all.

    Fields of a lower priority number come first; those of one number get the same share.
    """
    lowest, highest = priority[0], priority[0]
    for f in turn:
        lowest = min(lowest, priority[f])
        highest = max(highest, priority[f])
    granted = 0.0
    for rank in range(lowest, highest + 1):
        asked = 0.0
        for f in turn:
            if priority[f] == rank:
                asked += asked_m3[f]
        part = granted_share(asked, available_m3 - granted)
        for f in turn:
            if priority[f] == rank:
                share[f] = part
        granted += asked * part
    return granted


@jitable
def area_at(volume: float, volumes: Any, areas: Any) -> float:
    """Area of the water (m2) at a volume (m3), linear between the points of the table."""
    last = volumes.shape[0] - 1
    if volume >= volumes[last]:
        return areas[last]
    k = 1
    while k < last and volume > volumes[k]:
        k += 1
    span = volumes[k] - volumes[k - 1]
    if span <= 0.0:
        return areas[k]
    part = (volume - volumes[k - 1]) / span
    return areas[k - 1] + part * (areas[k] - areas[k - 1])


@set_in
def new_allowances(
    sources: Any, used: Any, plan: Any, cal: Any, new_month: bool, new_year: bool
) -> None:
    """Start the week (on Monday), month and year of every source's allowance anew, and ration what
    is left of them for today.

    Water that goes straight to fields is rationed over the days on which the ``plan`` may water.
    """
    for s in range(sources.shape[0]):
        source, so_far = sources[s], used[s]
        so_far.days_covered = so_far.days_covered + 1.0 if so_far.today <= 0.0 else 1.0
        so_far.today = 0.0
        if cal.weekday == 0:
            so_far.week = 0.0
        if new_month:
            so_far.month = 0.0
        if new_year:
            so_far.year = 0.0
        so_far.budget = budget_today(source, so_far, plan, cal)


@jitable
def budget_today(source: Any, used: Any, plan: Any, cal: Any) -> float:
    """Most that a source's allowances let it give today (m3), rationed as its owner wants."""
    budget = min(
        min(rationed(source, used, plan, cal, source.week - used.week, 7 - cal.weekday),
            rationed(source, used, plan, cal, source.month - used.month, cal.month_left)),
        rationed(source, used, plan, cal, source.year - used.year, cal.year_left),
    )  # fmt: skip
    if source.ration == BY_MONTH:
        budget = min(budget, source.cumulative_share[cal.month] * source.year - used.year)
    return max(min(budget, source.day), 0.0)


@jitable
def rationed(
    source: Any, used: Any, plan: Any, cal: Any, left: float, days: int
) -> float:
    """What of a volume ``left`` of an allowance may go today; ``days`` of its period are left."""
    if source.ration != EVENLY or not left < np.inf or left <= 0.0:
        return left
    today = cal.day_of_year
    if source.to_storage > 0.0:
        open_days = days_within(today, days, source.season_first, source.season_last)
        return even_share(left, open_days, used.days_covered)
    in_both = days_within_both(
        today, days, source.season_first, source.season_last, plan.first_day, plan.last_day
    )
    open_days = waterings_within(plan, cal.weekday, in_both)
    # So many of them does today's watering stand for.
    covered = used.days_covered * open_days / max(in_both, 1.0)
    return even_share(left, open_days, covered)


@jitable
def waterings_within(plan: Any, weekday: int, days: float) -> float:
    """Waterings of a plan in ``days`` from today on, by its weekdays and its interval."""
    allowed = 0.0
    whole_weeks = np.floor(days / WEEK)
    rest = days - whole_weeks * WEEK
    for day in range(WEEK):
        at = (weekday + day) % WEEK
        if plan.allowed[at] > 0.0 and (plan.rule != RULE_FIXED or plan.depth[at] > 0.0):
            allowed += whole_weeks + (1.0 if day < rest else 0.0)
    return min(allowed, np.ceil(days / plan.interval))


@jitable
def source_left(used: Any, most_today: float) -> float:
    """What a source can still give today under its rate and allowances (m3)."""
    return max(min(most_today, used.budget) - used.today, 0.0)


@jitable
def take(used: Any, volume: float) -> None:
    """Book ``volume`` (m3) to a source."""
    used.today += volume
    used.week += volume
    used.month += volume
    used.year += volume


@set_in
def open_supply(
    site: Any,
    sources: Any,
    stages: Any,
    enter: Any,
    leave: Any,
    store: Any,
    used: Any,
    years: Any,
    cal: Any,
    drought_index: float,
    plan: Any,
) -> None:
    """Allowances begin anew on their days, and the site's stages of restrictions move.

    ``years`` is SUPPLY_YEAR (Y,) of a ``plan``; the others as in SupplyInput and SupplyState.
    """
    begins_year = cal.first == 1
    if begins_year and cal.year >= 0:
        years[cal.year].least_store = store.volume
    new_month = cal.month != store.month
    store.month = cal.month
    new_allowances(sources, used, plan, cal, new_month, begins_year)
    store.stage = site_stage(site, stages, enter, leave, store, drought_index, cal.day_of_year)
    if cal.year >= 0 and store.stage > 0.0:
        years[cal.year].restricted_days += 1.0


@jitable
def site_stage(
    site: Any,
    stages: Any,
    enter: Any,
    leave: Any,
    store: Any,
    drought_index: float,
    day_of_year: int,
) -> int:
    """Stage of the site's restrictions that is in force; a later one is stricter."""
    last = int(site.stages)
    if site.index == INDEX_CALENDAR:
        stage = 0
        for i in range(last):
            if within(day_of_year, stages[i].first, stages[i].last):
                stage = i + 1
        return stage
    index = drought_index
    if site.index == INDEX_STORAGE:
        index = -(store.volume / site.capacity) if site.capacity > 0.0 else 0.0
    return stage_after(int(store.stage), last, index, enter, leave)


@set_in
def supply_day(
    given: Any,
    state: Any,
    asked_m3: Any,
    share: Any,
    flows: Any,
    d: int,
    draws_today: Any,
    cut_m3: Any,
) -> None:
    """One day at the supply, in place; allowances and stage already brought up to date.

    Parameters
    ----------
    given, state : SupplyInput, SupplyState.
    asked_m3 : (F,) requests. share : (F,) written, the granted share of each.
    flows : a line of SUPPLY_TRACE, written. d : the day.
    draws_today : (S,) m3 that each source gives today, written.
    cut_m3 : (causes,) m3 of all requests that is not granted, by cause, written.
    """
    site = given.site[0]
    store = state.store[0]
    n_sources = given.sources.shape[0]
    before = store.volume

    # What weather does to the store, over the water that lay there in the morning.
    catchment = given.catchment_m3[d] if site.capacity > 0.0 else 0.0
    area = area_at(before, given.volumes, given.areas)
    rain = given.rain_mm[d] * area * 0.001
    held = before + catchment + rain
    evaporation = min(given.evaporation_mm[d] * area * 0.001, held)
    held -= evaporation
    seepage = min(site.seepage * area * 0.001, held)
    held -= seepage

    # What could be had today.
    obtainable = water_within_reach(given, state, d, held, True)
    available = min(site.network, obtainable)
    granted = share_out(asked_m3, given.priority, given.turn, available, share)
    why_short(given, state, asked_m3, obtainable, held, d, cut_m3)
    drawable = held - site.dead
    for s in range(n_sources):
        draws_today[s] = 0.0
        drawable += into_store(given, state, d, s, True)
    drawable = max(drawable, 0.0)

    # Where it comes from: sources that come first, the store, the other sources.
    wanted = granted
    for s in range(n_sources):
        if given.sources[s].first > 0.0:
            wanted -= draw_direct(given, state, d, s, wanted, draws_today)
    from_store = min(wanted, drawable)
    wanted -= from_store
    for s in range(n_sources):
        if given.sources[s].first == 0.0 and wanted > 0.0:
            wanted -= draw_direct(given, state, d, s, wanted, draws_today)
    held -= from_store  # may be below nothing until the sources have filled up today

    refill = 0.0
    for s in range(n_sources):
        source = given.sources[s]
        room = site.capacity - held
        if source.to_storage > 0.0 and room > 0.0:
            volume = min(source_left(state.used[s], given.source_m3[d, s]), room)
            take(state.used[s], volume)
            draws_today[s] += volume
            held += volume
            refill += volume
    spill = max(held - site.capacity, 0.0)
    held -= spill
    store.volume = held

    asked = 0.0
    for f in given.turn:
        asked += asked_m3[f]
    flows.asked = asked
    flows.granted = granted
    flows.from_store = from_store
    flows.catchment = catchment
    flows.rain_on_store = rain
    flows.evaporation = evaporation
    flows.seepage = seepage
    flows.spill = spill
    flows.refill = refill
    flows.store = held
    flows.stage = store.stage
    balance = before + catchment + rain + refill - from_store - evaporation - seepage - spill
    flows.residual = worse(abs(balance - held), abs(wanted))


@jitable
def left_of_source(given: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """What source ``s`` can still give today (m3), under its allowances if it ``rations``."""
    most_today = given.source_m3[d, s]
    if rations:
        return source_left(state.used[s], most_today)
    return max(most_today - state.used[s].today, 0.0)


@jitable
def straight_to_fields(given: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """What of it can go straight to fields (m3)."""
    if given.sources[s].to_fields == 0.0:
        return 0.0
    return min(left_of_source(given, state, d, s, rations), given.direct_m3[d, s])


@jitable
def into_store(given: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """What of it can go into the store when fields have had theirs (m3)."""
    if given.sources[s].to_storage == 0.0:
        return 0.0
    left = left_of_source(given, state, d, s, rations)
    # Without a limit there is enough for both.
    return left - straight_to_fields(given, state, d, s, rations) if left < np.inf else left


@jitable
def water_within_reach(given: Any, state: Any, d: int, held: float, rations: bool) -> float:
    """Water that fields could have today (m3), with ``held`` in the store, whatever the pipes."""
    direct, stored = 0.0, held - given.site[0].dead
    for s in range(given.sources.shape[0]):
        direct += straight_to_fields(given, state, d, s, rations)
        stored += into_store(given, state, d, s, rations)
    return direct + max(stored, 0.0)


@jitable
def why_short(
    given: Any, state: Any, asked_m3: Any, obtainable: float, held: float, d: int, cut_m3: Any
) -> None:
    """Write what of the requests is not granted by cause (m3).

    The pipes are asked first, then whether allowances hold water back; what is still short is an
    empty store's where there is one, else the sources'.
    """
    asked = 0.0
    for f in given.turn:
        asked += asked_m3[f]
    for c in range(N_CAUSES):
        cut_m3[c] = 0.0
    site = given.site[0]
    through = min(asked, site.network)
    cut_m3[NETWORK] = asked - through
    if through > obtainable:
        unrationed = min(through, water_within_reach(given, state, d, held, False))
        cut_m3[ALLOWANCE] = max(unrationed - obtainable, 0.0)
        cut_m3[STORAGE if site.capacity > 0.0 else SOURCE] = through - max(unrationed, obtainable)


@jitable
def draw_direct(
    given: Any, state: Any, d: int, s: int, wanted: float, draws_today: Any
) -> float:
    """Draw up to ``wanted`` m3 from source ``s`` straight to the fields; returns m3 drawn."""
    source = given.sources[s]
    if source.to_fields == 0.0 or wanted <= 0.0:
        return 0.0
    left = source_left(state.used[s], given.source_m3[d, s])
    volume = min(wanted, min(left, given.direct_m3[d, s]))
    take(state.used[s], volume)
    draws_today[s] += volume
    return volume


@jitable
def count_supply(flows: Any, store: Any, year: Any) -> None:
    """Add a day's flows to the year, and follow the shortage that is running.

    ``flows.short`` is what is newly missed today, ``flows.made_up`` what of that comes later; the
    year has asked for what it was given and what it missed for good.
    """
    short = flows.short - flows.made_up
    year.asked += flows.granted + short
    year.shortage += short
    year.granted += flows.granted
    year.from_store += flows.from_store
    year.catchment += flows.catchment
    year.rain_on_store += flows.rain_on_store
    year.evaporation += flows.evaporation
    year.seepage += flows.seepage
    year.spill += flows.spill
    year.refill += flows.refill
    year.residual = worse(flows.residual, year.residual)
    year.least_store = min(year.least_store, flows.store)
    year.store_end = flows.store
    if flows.asked > 0.0:
        year.asked_days += 1.0
    store.event_volume = max(store.event_volume + short, 0.0)
    if flows.unmet > 1e-9 * (1.0 + flows.asked):
        year.short_days += 1.0
        if store.short_yesterday == 0.0:
            year.short_events += 1.0
            store.event_volume = max(short, 0.0)
        store.short_yesterday = 1.0
        year.worst_event = max(year.worst_event, store.event_volume)
    elif flows.asked > 0.0:
        # A day on which nobody asks neither ends nor lengthens an event.
        store.short_yesterday = 0.0


@set_in
def send_crew(
    blocks: Any,
    plans: Any,
    delivery: Any,
    priority: Any,
    turn: Any,
    crew_hours: float,
    b: int,
    n_runs: int,
    passes: Any,
) -> None:
    """Machines and hoses reach the fields that come first, and those that waited longest; where
    they waited equally long, in the order of ``turn`` (F,).

    ``passes`` (F,), scratch: what is left of the night's passes of each machine. What a field asks
    for is cut to the passes that it gets; a field that is not reached waits.
    """
    hours = crew_hours
    for f in turn:
        passes[f] = -1.0  # of a machine that nobody has asked for yet
        n = lane_of(b, f, n_runs)
        blocks[n // LANES, CUTS[CREW] + n % LANES] = NOT_SERVED
    for _ in turn:
        first = -1
        best_priority, best_wait = 0, 0.0
        for f in turn:
            n = lane_of(b, f, n_runs)
            block, lane = blocks[n // LANES], n % LANES
            waits = block[ASKED + lane] - block[SYRINGED + lane] > 0.0
            if not waits or delivery[f].machine < 0.0 or block[CUTS[CREW] + lane] != NOT_SERVED:
                continue
            wait = block[WAITED + lane]
            if (
                first < 0
                or priority[f] < best_priority
                or (priority[f] == best_priority and wait > best_wait)
            ):
                first, best_priority, best_wait = f, priority[f], wait
        if first < 0:
            break
        n = lane_of(b, first, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        machine = int(delivery[first].machine)
        if passes[machine] < 0.0:
            passes[machine] = plans[first].passes
        per_mm, labour = delivery[first].inv_pass_mm, delivery[first].pass_labour
        asked = block[ASKED + lane] - block[SYRINGED + lane]
        most = passes[machine]
        if labour > 0.0 and hours < np.inf:
            most = min(most, np.floor(hours / labour + 1e-9))
        made = min(np.ceil(asked * per_mm - 1e-9), most)
        passes[machine] -= made
        if labour > 0.0:
            hours -= made * labour
        got = min(asked, made / per_mm)
        block[CUTS[CREW] + lane] = asked - got
        block[ASKED + lane] = got + block[SYRINGED + lane]
    for f in turn:
        n = lane_of(b, f, n_runs)
        at = CUTS[CREW] + n % LANES
        blocks[n // LANES, at] = max(blocks[n // LANES, at], 0.0)


@jitable
def share_out_today(
    blocks: Any,
    plans: Any,
    delivery: Any,
    given: SupplyInput,
    state: SupplyState,
    b: int,
    n_runs: int,
    cal: Any,
    d: int,
    asked_m3: Any,
    share: Any,
    flows: Any,
    draws_today: Any,
    cut_m3: Any,
    passes: Any,
) -> bool:
    """The supply gives the fields of plan ``b`` what it can; whether anything happened there.

    Parameters
    ----------
    blocks : where the plan's fields ask, and what they get is written.
    plans, delivery : PLAN and DELIVERY (F,) of the plan.
    given, state : SupplyInput and SupplyState of the plan.
    asked_m3, share, passes : (F,) and cut_m3 (causes,), scratch.
    flows : a line of SUPPLY_TRACE, written. draws_today : m3 from each source (S,), written.
    """
    wanted = 0.0
    for f in given.turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        wanted += max(block[DEMAND + lane], block[ASKED + lane])
        for c in range(CREW, N_CAUSES):
            block[CUTS[c] + lane] = 0.0
        block[GRANTED_SHARE + lane] = 1.0
    # Without a store nothing happens at the supply on a day on which nobody wants water.
    if wanted <= 0.0 and given.site[0].capacity <= 0.0:
        return False
    if given.site[0].is_shared > 0.0:
        send_crew(
            blocks, plans, delivery, given.priority, given.turn, given.site[0].crew, b, n_runs,
            passes,
        )
    asked_of_all = 0.0
    for f in given.turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        asked_m3[f] = block[ASKED + lane] * delivery[f].area_m2 * 0.001
        asked_of_all += asked_m3[f]
    supply_day(given, state, asked_m3, share, flows, d, draws_today, cut_m3)
    tell_fields(
        blocks, plans, delivery, given.turn, b, n_runs, asked_m3, share, cut_m3, flows,
        asked_of_all,
    )
    store = state.store[0]
    y = cal.year
    if y >= 0:
        count_supply(flows, store, state.years[y])
        for s in range(draws_today.shape[0]):
            state.draws[y, s, cal.month] += draws_today[s]
        state.store_month[y, cal.month] = store.volume
    return True


@set_in
def tell_fields(
    blocks: Any,
    plans: Any,
    delivery: Any,
    turn: Any,
    b: int,
    n_runs: int,
    asked_m3: Any,
    share: Any,
    cut_m3: Any,
    flows: Any,
    asked_of_all: float,
) -> None:
    """Write what each field gets and why it gets no more; the site's shortage of today is theirs.

    What a field loses beyond an equal share of what there is, it loses because others come first.
    """
    cut_of_all = 0.0
    for c in range(CREW + 1, N_CAUSES):
        cut_of_all += cut_m3[c]
    even = 1.0 - cut_of_all / asked_of_all if asked_of_all > 0.0 else 1.0
    flows.asked, flows.short, flows.made_up, flows.unmet = 0.0, 0.0, 0.0, 0.0
    for f in turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        asked = block[ASKED + lane]
        block[GRANTED_SHARE + lane] = share[f]
        cut = beyond_rounding(asked - asked * share[f], asked)
        if cut > 0.0:
            for_others = min(max(asked * (even - share[f]), 0.0), cut)
            block[CUTS[PRIORITY] + lane] = for_others
            for c in range(CREW + 1, PRIORITY):
                block[CUTS[c] + lane] = (cut - for_others) * cut_m3[c] / cut_of_all
        unmet = 0.0
        for c in range(N_CAUSES):
            unmet += block[CUTS[c] + lane]
        demand = block[DEMAND + lane]
        per_mm = delivery[f].area_m2 * 0.001
        flows.asked += max(demand, asked - block[SYRINGED + lane]) * per_mm
        if demand > 0.0:
            unmet = beyond_rounding(unmet, demand)
            again = 0.0 if plans[f].rule == RULE_FIXED else 1.0
            before = block[UNMET + lane]
            granted = (asked - block[SYRINGED + lane]) * share[f]
            still = unmet_after(before, unmet, granted, block[OWN + lane])
            flows.unmet += unmet * per_mm
            flows.short += newly_missed(before, unmet, again) * per_mm
            flows.made_up += made_up_by(before, still, granted, again) * per_mm
