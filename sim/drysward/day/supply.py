"""A day at the supply: the water available, its delivery to fields, its sources, what is left.

The order is the standard operating policy of storage studies, with the hours of watering in it:
fields draw their requests as far as the water goes that storage holds or gets while they water; the
rest of the day's runoff and rain enters storage, sources then refill it, and what it cannot hold
spills. Every shortage gets a cause: the crew, the pipes, an allowance, empty
storage, a source, or fields of higher priority.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import inline, jitable
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
from drysward.physics.night_draw import drawable_m3, later_inflow_m3
from drysward.physics.rationing import days_within, days_within_both, even_share

REQUESTED, DELIVERED_SHARE = PLACE["requested"], PLACE["delivered_share"]
RULE_WATERS = PLACE["rule_waters"]
DEMAND = PLACE["irrigation_demand"]
UNMET, SYRINGED, WAITED = PLACE["unmet"], PLACE["syringed"], PLACE["days_since_water"]
RESTRICTION, GROUND, WINDOW, CREW, NETWORK, SOURCE, ALLOWANCE, STORAGE, PRIORITY = range(N_CAUSES)
SHORT_FROM = 0.01  # of a day's demand; less is not noticed on the ground (own choice)
NOT_SERVED = -1.0  # in place of the crew's cut of a field until its turn


class SupplyInput(NamedTuple):
    """The supply of a site on D days.

    Record arrays: ``site`` SUPPLY (1,), ``sources`` SOURCE (S,), ``stages`` SITE_STAGE (R,).
    ``enter`` and ``leave`` (R,) are the index at which each stage starts and ends, with the sign
    reversed when less is worse.
    ``source_m3`` (D, S) is the limit of each source on the day, ``window_m3`` (D, S) the limit of
    what it gives while fields water. ``catchment_m3``, ``rain_mm`` and
    ``evaporation_mm`` (D,) enter and leave storage, whose water has ``areas`` (K,), m2, at
    ``volumes`` (K,), m3. ``exempt`` (R, F) is 1 where a stage does not apply to a field;
    fields of a lower ``priority`` (F,) are served first. ``turn`` (F,) is the order in which fields
    are added up and sent a crew, independent of their order in the scenario's file.
    """

    site: Any
    sources: Any
    source_m3: Any
    window_m3: Any
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
    """State of the supply, and its results so far.

    ``storage`` STORAGE_STATE (1,) and ``used`` USED (S,) are the state; ``years`` SUPPLY_YEAR (Y,),
    ``draws`` (Y, S, 12) and ``storage_month`` (Y, 12), m3, are results; ``trace`` SUPPLY_TRACE (T,)
    has the days requested for the ledger.
    """

    storage: Any
    used: Any
    years: Any
    draws: Any
    storage_month: Any
    trace: Any


@jitable
def supply_at(supply: SupplyInput, n: int) -> SupplyInput:
    """Supply ``n`` of several, whose first axis is the supply."""
    return SupplyInput(
        supply.site[n],
        supply.sources[n],
        supply.source_m3[n],
        supply.window_m3[n],
        supply.catchment_m3[n],
        supply.rain_mm[n],
        supply.evaporation_mm[n],
        supply.volumes[n],
        supply.areas[n],
        supply.stages[n],
        supply.enter[n],
        supply.leave[n],
        supply.exempt[n],
        supply.priority[n],
        supply.turn[n],
    )


@jitable
def of_plan(states: SupplyState, b: int) -> SupplyState:
    """The state of plan ``b``, of states whose first axis is the plan."""
    return SupplyState(
        states.storage[b],
        states.used[b],
        states.years[b],
        states.draws[b],
        states.storage_month[b],
        states.trace[b],
    )


@jitable
def delivered_share(requested_m3: float, available_m3: float) -> float:
    """Share of every request that is delivered: all of it, or the same share for every field."""
    if requested_m3 <= available_m3 or requested_m3 <= 0.0:
        return 1.0
    return available_m3 / requested_m3 if available_m3 > 0.0 else 0.0


@jitable
def share_out(
    requested_m3: Any, priority: Any, turn: Any, available_m3: float, share: Any
) -> float:
    """Write the delivered ``share`` (F,) of requests (F,) in place; returns m3 delivered in all.

    Fields of a lower priority number come first; those of one number get the same share.
    """
    lowest, highest = priority[0], priority[0]
    for f in turn:
        lowest = min(lowest, priority[f])
        highest = max(highest, priority[f])
    delivered = 0.0
    for rank in range(lowest, highest + 1):
        requested = 0.0
        for f in turn:
            if priority[f] == rank:
                requested += requested_m3[f]
        part = delivered_share(requested, available_m3 - delivered)
        for f in turn:
            if priority[f] == rank:
                share[f] = part
        delivered += requested * part
    return delivered


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


@inline
def new_allowances(
    sources: Any, used: Any, plan: Any, cal: Any, new_month: bool, new_year: bool
) -> None:
    """Reset every source's allowance when a week (on Monday), month or year starts, and ration what
    is left for today.

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
    """Today's limit of a source by its allowances, as its owner rations them (m3)."""
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
    """Part of the allowance ``left`` that may be drawn today; ``days`` of its period are left."""
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
    # Waterings that today's draw covers.
    covered = used.days_covered * open_days / max(in_both, 1.0)
    return even_share(left, open_days, covered)


@jitable
def waterings_within(plan: Any, weekday: int, days: float) -> float:
    """Waterings of a plan in the next ``days``, today included, by its weekdays and interval."""
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
    """Water left today of a source under its rate and allowances (m3)."""
    return max(min(most_today, used.budget) - used.today, 0.0)


@jitable
def take(used: Any, volume: float) -> None:
    """Charge ``volume`` (m3) to a source."""
    used.today += volume
    used.week += volume
    used.month += volume
    used.year += volume


@inline
def open_supply(
    site: Any,
    sources: Any,
    stages: Any,
    enter: Any,
    leave: Any,
    storage: Any,
    used: Any,
    years: Any,
    cal: Any,
    drought_index: float,
    plan: Any,
) -> None:
    """Reset allowances on their days, and update the site's restriction stage.

    ``years`` is SUPPLY_YEAR (Y,) of a ``plan``; the others as in SupplyInput and SupplyState.
    """
    begins_year = cal.first == 1
    if begins_year and cal.year >= 0:
        years[cal.year].least_storage = storage.volume
    if begins_year or not within(cal.day_of_year, plan.first_day, plan.last_day):
        # A spell of shortage ends with the plan's season and with the year.
        storage.shortage_yesterday = 0.0
    new_month = cal.month != storage.month
    storage.month = cal.month
    new_allowances(sources, used, plan, cal, new_month, begins_year)
    storage.stage = site_stage(site, stages, enter, leave, storage, drought_index, cal.day_of_year)
    if cal.year >= 0 and storage.stage > 0.0:
        years[cal.year].restricted_days += 1.0


@jitable
def site_stage(
    site: Any,
    stages: Any,
    enter: Any,
    leave: Any,
    storage: Any,
    drought_index: float,
    day_of_year: int,
) -> int:
    """Restriction stage of the site in force; a later one is stricter."""
    last = int(site.stages)
    if site.index == INDEX_CALENDAR:
        stage = 0
        for i in range(last):
            if within(day_of_year, stages[i].first, stages[i].last):
                stage = i + 1
        return stage
    index = drought_index
    if site.index == INDEX_STORAGE:
        index = -(storage.volume / site.capacity) if site.capacity > 0.0 else 0.0
    return stage_after(int(storage.stage), last, index, enter, leave)


@inline
def supply_day(
    supply: Any,
    state: Any,
    requested_m3: Any,
    share: Any,
    flows: Any,
    d: int,
    draws_today: Any,
    cut_m3: Any,
) -> None:
    """One day at the supply, in place; allowances and stage are already up to date.

    Parameters
    ----------
    supply, state : SupplyInput, SupplyState.
    requested_m3 : (F,) requests. share : (F,) written, the delivered share of each.
    flows : a line of SUPPLY_TRACE, written. d : the day.
    draws_today : (S,) m3 drawn from each source today, written.
    cut_m3 : (causes,) m3 of all requests that is not delivered, by cause, written.
    """
    site = supply.site[0]
    storage = state.storage[0]
    n_sources = supply.sources.shape[0]
    before = storage.volume

    # Weather over the storage, with the water surface of the morning.
    catchment = supply.catchment_m3[d] if site.capacity > 0.0 else 0.0
    area = area_at(before, supply.volumes, supply.areas)
    rain = supply.rain_mm[d] * area * 0.001
    held = before + catchment + rain
    evaporation = min(supply.evaporation_mm[d] * area * 0.001, held)
    held -= evaporation
    seepage = min(site.seepage * area * 0.001, held)
    held -= seepage

    # Water available while fields water.
    later = later_inflow_m3(catchment + rain, site.window)
    obtainable = water_within_reach(supply, state, d, held, later, True)
    available = min(site.network, obtainable)
    delivered = share_out(requested_m3, supply.priority, supply.turn, available, share)
    shortage_causes(supply, state, requested_m3, obtainable, held, later, d, cut_m3)
    drawable = drawable_m3(
        held, site.dead, later, pumped_while_watering(supply, state, d, True)
    )
    for s in range(n_sources):
        draws_today[s] = 0.0

    # Draw from sources that come first, then storage, then the other sources.
    remaining = delivered
    for s in range(n_sources):
        if supply.sources[s].first > 0.0:
            remaining -= draw_direct(supply, state, d, s, remaining, draws_today)
    from_storage = min(remaining, drawable)
    remaining -= from_storage
    for s in range(n_sources):
        if supply.sources[s].first == 0.0 and remaining > 0.0:
            remaining -= draw_direct(supply, state, d, s, remaining, draws_today)
    # What fields drew of the water that was pumped meanwhile comes before any later inflow.
    owed = max(from_storage - drawable_m3(held, site.dead, later, 0.0), 0.0)
    held -= from_storage  # may be negative until sources refill it below

    refill = 0.0
    for s in range(n_sources):
        source = supply.sources[s]
        meanwhile = min(owed, into_storage(supply, state, d, s, True))
        room = max(site.capacity - held, meanwhile)
        if source.to_storage > 0.0 and room > 0.0:
            volume = min(source_left(state.used[s], supply.source_m3[d, s]), room)
            take(state.used[s], volume)
            draws_today[s] += volume
            held += volume
            refill += volume
            owed -= meanwhile
    spill = max(held - site.capacity, 0.0)
    held -= spill
    storage.volume = held

    requested = 0.0
    for f in supply.turn:
        requested += requested_m3[f]
    flows.demand = requested
    flows.delivered = delivered
    flows.from_storage = from_storage
    flows.catchment = catchment
    flows.rain_on_storage = rain
    flows.evaporation = evaporation
    flows.seepage = seepage
    flows.spill = spill
    flows.refill = refill
    flows.storage = held
    flows.stage = storage.stage
    balance = before + catchment + rain + refill - from_storage - evaporation - seepage - spill
    flows.residual = worse(abs(balance - held), abs(remaining))


@jitable
def left_of_source(supply: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """Water left today of source ``s`` (m3), under its allowances if it ``rations``."""
    most_today = supply.source_m3[d, s]
    if rations:
        return source_left(state.used[s], most_today)
    return max(most_today - state.used[s].today, 0.0)


@jitable
def straight_to_fields(supply: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """Part of it that can go straight to fields (m3)."""
    if supply.sources[s].to_fields == 0.0:
        return 0.0
    return min(left_of_source(supply, state, d, s, rations), supply.window_m3[d, s])


@jitable
def into_storage(supply: Any, state: Any, d: int, s: int, rations: bool) -> float:
    """Part of it that can go into storage while fields water, beside what goes straight (m3)."""
    if supply.sources[s].to_storage == 0.0:
        return 0.0
    in_window = min(left_of_source(supply, state, d, s, rations), supply.window_m3[d, s])
    # A source without limit has enough for both.
    if in_window == np.inf:
        return in_window
    return in_window - straight_to_fields(supply, state, d, s, rations)


@jitable
def pumped_while_watering(supply: Any, state: Any, d: int, rations: bool) -> float:
    """What all sources can put into storage while fields water (m3)."""
    pumped = 0.0
    for s in range(supply.sources.shape[0]):
        pumped += into_storage(supply, state, d, s, rations)
    return pumped


@jitable
def water_within_reach(
    supply: Any, state: Any, d: int, held: float, later: float, rations: bool
) -> float:
    """Water available to fields today (m3); the pipes may carry less.

    Storage has ``held`` by the end of the day, ``later`` of it after the watering.
    """
    direct = 0.0
    for s in range(supply.sources.shape[0]):
        direct += straight_to_fields(supply, state, d, s, rations)
    pumped = pumped_while_watering(supply, state, d, rations)
    return direct + drawable_m3(held, supply.site[0].dead, later, pumped)


@jitable
def shortage_causes(
    supply: Any,
    state: Any,
    requested_m3: Any,
    obtainable: float,
    held: float,
    later: float,
    d: int,
    cut_m3: Any,
) -> None:
    """Write the undelivered part of the requests by cause (m3).

    The pipes are checked first, then allowances; the remaining shortage is due to empty storage
    where there is one, else to the sources.
    """
    requested = 0.0
    for f in supply.turn:
        requested += requested_m3[f]
    for c in range(N_CAUSES):
        cut_m3[c] = 0.0
    site = supply.site[0]
    through = min(requested, site.network)
    cut_m3[NETWORK] = requested - through
    if through > obtainable:
        unrationed = min(through, water_within_reach(supply, state, d, held, later, False))
        cut_m3[ALLOWANCE] = max(unrationed - obtainable, 0.0)
        cut_m3[STORAGE if site.capacity > 0.0 else SOURCE] = through - max(unrationed, obtainable)


@jitable
def draw_direct(
    supply: Any, state: Any, d: int, s: int, volume_m3: float, draws_today: Any
) -> float:
    """Draw up to ``volume_m3`` from source ``s`` straight to the fields; returns m3 drawn."""
    source = supply.sources[s]
    if source.to_fields == 0.0 or volume_m3 <= 0.0:
        return 0.0
    left = source_left(state.used[s], supply.source_m3[d, s])
    volume = min(volume_m3, min(left, supply.window_m3[d, s]))
    take(state.used[s], volume)
    draws_today[s] += volume
    return volume


@jitable
def count_supply(flows: Any, storage: Any, year: Any) -> None:
    """Add a day's flows to the year, and follow the current run of shortage days.

    ``flows.shortage`` is newly missed today; ``flows.made_up`` makes up earlier shortages. The
    demand of a year is the water delivered plus its final shortage. A day is one of shortage from
    the share ``SHORT_FROM`` of its demand on.
    """
    shortage = flows.shortage - flows.made_up
    year.demand += flows.delivered + shortage
    year.shortage += shortage
    year.delivered += flows.delivered
    year.from_storage += flows.from_storage
    year.catchment += flows.catchment
    year.rain_on_storage += flows.rain_on_storage
    year.evaporation += flows.evaporation
    year.seepage += flows.seepage
    year.spill += flows.spill
    year.refill += flows.refill
    year.residual = worse(flows.residual, year.residual)
    year.least_storage = min(year.least_storage, flows.storage)
    year.storage_end = flows.storage
    if flows.demand > 0.0:
        year.demand_days += 1.0
    storage.event_volume = max(storage.event_volume + shortage, 0.0)
    if flows.unmet > SHORT_FROM * flows.demand:
        year.shortage_days += 1.0
        if storage.shortage_yesterday == 0.0:
            year.shortage_events += 1.0
            storage.event_volume = max(shortage, 0.0)
        storage.shortage_yesterday = 1.0
        year.worst_event = max(year.worst_event, storage.event_volume)
    elif flows.demand > 0.0:
        # A day without demand neither ends nor lengthens an event.
        storage.shortage_yesterday = 0.0


@inline
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
    """Send machines and hoses to fields by priority, then by days waited, then by ``turn`` (F,).

    ``passes`` (F,), scratch: passes of each machine left in the night. A request is cut to the
    passes that the field gets; a field that is not reached waits.
    """
    hours = crew_hours
    for f in turn:
        passes[f] = -1.0  # a machine not used yet
        n = lane_of(b, f, n_runs)
        blocks[n // LANES, CUTS[CREW] + n % LANES] = NOT_SERVED
    for _ in turn:
        first = -1
        best_priority, best_wait = 0, 0.0
        for f in turn:
            n = lane_of(b, f, n_runs)
            block, lane = blocks[n // LANES], n % LANES
            waits = block[REQUESTED + lane] - block[SYRINGED + lane] > 0.0
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
        per_mm, labor = delivery[first].inv_pass_mm, delivery[first].pass_labor
        requested = block[REQUESTED + lane] - block[SYRINGED + lane]
        most = passes[machine]
        if labor > 0.0 and hours < np.inf:
            most = min(most, np.floor(hours / labor + 1e-9))
        done = min(np.ceil(requested * per_mm - 1e-9), most)
        passes[machine] -= done
        if labor > 0.0:
            hours -= done * labor
        got = min(requested, done / per_mm)
        block[CUTS[CREW] + lane] = requested - got
        block[REQUESTED + lane] = got + block[SYRINGED + lane]
    for f in turn:
        n = lane_of(b, f, n_runs)
        at = CUTS[CREW] + n % LANES
        blocks[n // LANES, at] = max(blocks[n // LANES, at], 0.0)


@jitable
def share_out_today(
    blocks: Any,
    plans: Any,
    delivery: Any,
    supply: SupplyInput,
    state: SupplyState,
    b: int,
    n_runs: int,
    cal: Any,
    d: int,
    requested_m3: Any,
    share: Any,
    flows: Any,
    draws_today: Any,
    cut_m3: Any,
    passes: Any,
) -> bool:
    """Deliver water to the fields of plan ``b``; whether anything happened at the supply.

    Parameters
    ----------
    blocks : requests of the plan's fields are read, their deliveries written.
    plans, delivery : PLAN and DELIVERY (F,) of the plan.
    supply, state : SupplyInput and SupplyState of the plan.
    requested_m3, share, passes : (F,) and cut_m3 (causes,), scratch.
    flows : a line of SUPPLY_TRACE, written. draws_today : m3 from each source (S,), written.
    """
    demand = 0.0
    for f in supply.turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        demand += max(block[DEMAND + lane], block[REQUESTED + lane])
        for c in range(CREW, N_CAUSES):
            block[CUTS[c] + lane] = 0.0
        block[DELIVERED_SHARE + lane] = 1.0
    # Without storage nothing happens at the supply on a day without demand.
    if demand <= 0.0 and supply.site[0].capacity <= 0.0:
        return False
    if supply.site[0].is_shared > 0.0:
        send_crew(
            blocks, plans, delivery, supply.priority, supply.turn, supply.site[0].crew, b, n_runs,
            passes,
        )
    requested_of_all = 0.0
    for f in supply.turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        requested_m3[f] = block[REQUESTED + lane] * delivery[f].area_m2 * 0.001
        requested_of_all += requested_m3[f]
    supply_day(supply, state, requested_m3, share, flows, d, draws_today, cut_m3)
    write_delivery(
        blocks, plans, delivery, supply.turn, b, n_runs, requested_m3, share, cut_m3, flows,
        requested_of_all,
    )
    storage = state.storage[0]
    y = cal.year
    if y >= 0:
        count_supply(flows, storage, state.years[y])
        for s in range(draws_today.shape[0]):
            state.draws[y, s, cal.month] += draws_today[s]
        state.storage_month[y, cal.month] = storage.volume
    return True


@inline
def write_delivery(
    blocks: Any,
    plans: Any,
    delivery: Any,
    turn: Any,
    b: int,
    n_runs: int,
    requested_m3: Any,
    share: Any,
    cut_m3: Any,
    flows: Any,
    requested_of_all: float,
) -> None:
    """Write each field's delivered share and cuts by cause, and the site's shortage of today.

    A cut beyond an equal share of the water is due to the priority of other fields.
    """
    cut_of_all = 0.0
    for c in range(CREW + 1, N_CAUSES):
        cut_of_all += cut_m3[c]
    even = 1.0 - cut_of_all / requested_of_all if requested_of_all > 0.0 else 1.0
    flows.demand, flows.shortage, flows.made_up, flows.unmet = 0.0, 0.0, 0.0, 0.0
    for f in turn:
        n = lane_of(b, f, n_runs)
        block, lane = blocks[n // LANES], n % LANES
        requested = block[REQUESTED + lane]
        block[DELIVERED_SHARE + lane] = share[f]
        cut = beyond_rounding(requested - requested * share[f], requested)
        if cut > 0.0:
            for_others = min(max(requested * (even - share[f]), 0.0), cut)
            block[CUTS[PRIORITY] + lane] = for_others
            for c in range(CREW + 1, PRIORITY):
                block[CUTS[c] + lane] = (cut - for_others) * cut_m3[c] / cut_of_all
        unmet = 0.0
        for c in range(N_CAUSES):
            unmet += block[CUTS[c] + lane]
        demand = block[DEMAND + lane]
        per_mm = delivery[f].area_m2 * 0.001
        flows.demand += max(demand, requested - block[SYRINGED + lane]) * per_mm
        if demand > 0.0:
            unmet = beyond_rounding(unmet, demand)
            again = 0.0 if plans[f].rule == RULE_FIXED else 1.0
            before = block[UNMET + lane]
            delivered = (requested - block[SYRINGED + lane]) * share[f]
            still = unmet_after(before, unmet, delivered, block[RULE_WATERS + lane])
            flows.unmet += unmet * per_mm
            flows.shortage += newly_missed(before, unmet, again) * per_mm
            flows.made_up += made_up_by(before, still, delivered, again) * per_mm
