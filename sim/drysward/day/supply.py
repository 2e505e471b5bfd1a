"""A day at the supply: what is there, who gets it, where it comes from, and what is left.

The order is the standard operating policy of storage studies: the store takes in the day's
runoff and rain, the fields draw what they ask for as far as it goes, sources then refill the
store, and what it cannot hold spills.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from drysward.compiled import jitable
from drysward.day.lanes import LANES, PLACE, lane_of
from drysward.day.records import INDEX_CALENDAR, INDEX_STORAGE, RULE_FIXED
from drysward.day.restrictions import stage_after
from drysward.physics.arithmetic import within, worse

ASKED, GRANTED_SHARE = PLACE["asked"], PLACE["granted_share"]
MISSED, UNMET = PLACE["missed"], PLACE["unmet"]


class SupplyInput(NamedTuple):
    """What a site draws on, and what weather makes of it on D days.

    Record arrays: ``site`` SUPPLY (1,), ``sources`` SOURCE (S,), ``stages`` SITE_STAGE (R,).
    ``enter`` and ``leave`` (R,) are the index at which each stage begins and ends, with the sign
    turned when less is worse.
    ``source_m3`` (D, S) is the most that each source gives on the day, ``direct_m3`` (D, S) the
    most of it that goes straight to fields. ``catchment_m3``, ``rain_mm`` and
    ``evaporation_mm`` (D,) enter and leave the store, whose water has ``areas`` (K,), m2, at
    ``volumes`` (K,), m3. ``exempt`` (R, F) is 1 where a stage spares a field; fields of a
    lower ``priority`` (F,) are served first.
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
def share_out(asked_m3: Any, priority: Any, available_m3: float, share: Any) -> float:
    """Write the granted ``share`` (F,) of requests (F,) in place; returns m3 granted in all.

    Fields of a lower priority number come first; those of one number get the same share.
    """
    n = asked_m3.shape[0]
    lowest, highest = priority[0], priority[0]
    for f in range(1, n):
        lowest = min(lowest, priority[f])
        highest = max(highest, priority[f])
    granted = 0.0
    for rank in range(lowest, highest + 1):
        asked = 0.0
        for f in range(n):
            if priority[f] == rank:
                asked += asked_m3[f]
        part = granted_share(asked, available_m3 - granted)
        for f in range(n):
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


@jitable
def new_allowances(sources: Any, used: Any, weekday: int, new_month: bool, new_year: bool) -> None:
    """Start the week (on Monday), month and year of every source's allowance anew."""
    for s in range(sources.shape[0]):
        used[s].today = 0.0
        if weekday == 0:
            used[s].week = 0.0
        if new_month:
            used[s].month = 0.0
        if new_year:
            used[s].year = 0.0


@jitable
def source_left(source: Any, used: Any, most_today: float) -> float:
    """What a source can still give today under its rate and allowances (m3)."""
    left = most_today - used.today
    left = min(left, source.week - used.week)
    left = min(left, source.month - used.month)
    left = min(left, source.year - used.year)
    return max(left, 0.0)


@jitable
def take(used: Any, volume: float) -> None:
    """Book ``volume`` (m3) to a source."""
    used.today += volume
    used.week += volume
    used.month += volume
    used.year += volume


@jitable
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
) -> None:
    """Allowances begin anew on their days, and the site's stages of restrictions move.

    ``years`` is SUPPLY_YEAR (Y,) of a plan; the others as in SupplyInput and SupplyState.
    """
    begins_year = cal.first == 1
    if begins_year and cal.year >= 0:
        years[cal.year].least_store = store.volume
    new_month = cal.month != store.month
    store.month = cal.month
    new_allowances(sources, used, cal.weekday, new_month, begins_year)
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


@jitable
def supply_day(
    given: Any, state: Any, asked_m3: Any, share: Any, flows: Any, d: int, draws_today: Any
) -> None:
    """One day at the supply, in place; allowances and stage already brought up to date.

    Parameters
    ----------
    given, state : SupplyInput, SupplyState.
    asked_m3 : (F,) requests. share : (F,) written, the granted share of each.
    flows : a line of SUPPLY_TRACE, written. d : the day.
    draws_today : (S,) m3 that each source gives today, written.
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
    direct, into_store = 0.0, 0.0
    for s in range(n_sources):
        source = given.sources[s]
        left = source_left(source, state.used[s], given.source_m3[d, s])
        straight = 0.0
        if source.to_fields > 0.0:
            straight = min(left, given.direct_m3[d, s])
            direct += straight
        if source.to_storage > 0.0:
            # Without a limit there is enough for both.
            into_store += left - straight if left < np.inf else left
        draws_today[s] = 0.0
    drawable = max(held + into_store - site.dead, 0.0)
    available = min(site.network, direct + drawable)
    granted = share_out(asked_m3, given.priority, available, share)

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
            volume = min(source_left(source, state.used[s], given.source_m3[d, s]), room)
            take(state.used[s], volume)
            draws_today[s] += volume
            held += volume
            refill += volume
    spill = max(held - site.capacity, 0.0)
    held -= spill
    store.volume = held

    asked = 0.0
    for f in range(asked_m3.shape[0]):
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
def draw_direct(
    given: Any, state: Any, d: int, s: int, wanted: float, draws_today: Any
) -> float:
    """Draw up to ``wanted`` m3 from source ``s`` straight to the fields; returns m3 drawn."""
    source = given.sources[s]
    if source.to_fields == 0.0 or wanted <= 0.0:
        return 0.0
    left = source_left(source, state.used[s], given.source_m3[d, s])
    volume = min(wanted, min(left, given.direct_m3[d, s]))
    take(state.used[s], volume)
    draws_today[s] += volume
    return volume


@jitable
def newly_unmet(unmet_before: float, unmet: float, asked_again: bool) -> float:
    """What a field does not get today, less what it did not get before (mm).

    A plan that looks at the turf asks again for what it has not got (``asked_again``), and the
    same water must not be missed twice.
    """
    fresh = unmet - unmet_before if asked_again else unmet
    return fresh if fresh > 0.0 else 0.0


@jitable
def unmet_of(asked: float, granted: float) -> float:
    """What a field asks for and does not get; rounding in the shares is no shortage."""
    unmet = asked - granted
    return 0.0 if unmet <= 1e-9 * asked else unmet


@jitable
def count_supply(flows: Any, store: Any, year: Any) -> None:
    """Add a day's flows to the year, and follow the shortage that is running.

    ``flows.short`` is what is newly missed today; the year has asked for what it was given and
    what it missed.
    """
    year.asked += flows.granted + flows.short
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
    if flows.asked - flows.granted > 1e-9 * (1.0 + flows.asked):
        year.shortage += flows.short
        year.short_days += 1.0
        if store.short_yesterday == 0.0:
            year.short_events += 1.0
            store.event_volume = 0.0
        store.short_yesterday = 1.0
        store.event_volume += flows.short
        year.worst_event = max(year.worst_event, store.event_volume)
    elif flows.asked > 0.0:
        # A day on which nobody asks neither ends nor lengthens an event.
        store.short_yesterday = 0.0


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
) -> bool:
    """The supply gives the fields of plan ``b`` what it can; whether anything happened there.

    Parameters
    ----------
    blocks : where the plan's fields ask, and what they get is written.
    plans, delivery : PLAN and DELIVERY (F,) of the plan.
    given, state : SupplyInput and SupplyState of the plan.
    asked_m3, share : (F,), scratch. flows : a line of SUPPLY_TRACE, written.
    draws_today : m3 from each source (S,), written.
    """
    n_fields = plans.shape[0]
    asked_of_all = 0.0
    for f in range(n_fields):
        n = lane_of(b, f, n_runs)
        asked_m3[f] = blocks[n // LANES, ASKED + n % LANES] * delivery[f].area_m2 * 0.001
        asked_of_all += asked_m3[f]
    # Without a store nothing happens at the supply on a day on which nobody asks.
    if asked_of_all <= 0.0 and given.site[0].capacity <= 0.0:
        return False
    supply_day(given, state, asked_m3, share, flows, d, draws_today)
    flows.short = 0.0
    for f in range(n_fields):
        n = lane_of(b, f, n_runs)
        block = blocks[n // LANES]
        asked, unmet, missed = block[ASKED + n % LANES], block[UNMET + n % LANES], 0.0
        if asked > 0.0:
            before, unmet = unmet, unmet_of(asked, asked * share[f])
            missed = newly_unmet(before, unmet, plans[f].rule != RULE_FIXED)
            flows.short += missed * delivery[f].area_m2 * 0.001
        block[GRANTED_SHARE + n % LANES] = share[f]
        block[MISSED + n % LANES] = missed
        block[UNMET + n % LANES] = unmet
    store = state.store[0]
    y = cal.year
    if y >= 0:
        count_supply(flows, store, state.years[y])
        for s in range(draws_today.shape[0]):
            state.draws[y, s, cal.month] += draws_today[s]
        state.store_month[y, cal.month] = store.volume
    return True
