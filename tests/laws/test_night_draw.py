"""What storage passes in a night: what it holds, and what comes while fields water.

Worked by hand: a tank of 5,000 gal, which a well of 100 gpm fills all day, and a window of 8 h.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.day.records import (
    CAUSES,
    SITE_STAGE,
    SOURCE,
    STORAGE_STATE,
    SUPPLY,
    SUPPLY_TRACE,
    SUPPLY_YEAR,
    USED,
    records,
)
from drysward.day.supply import SupplyInput, SupplyState, count_supply, supply_at, supply_day
from drysward.physics.night_draw import (
    drawable_m3,
    later_inflow_m3,
    pumped_in_window_m3,
)

GAL = 0.003785411784
WELL_DAY, WELL_WINDOW = 100 * 60 * 24 * GAL, 100 * 60 * 8 * GAL


def nights(capacity, requests, well=(WELL_DAY, WELL_WINDOW), runoff=0.0, window=8.0, start=1.0):
    """Nights (n,) of a closed tank with one well that fills it; SUPPLY_TRACE (n,)."""
    n = len(requests)
    site, source = records(SUPPLY, 1), records(SOURCE, 1)
    site.network, site.capacity, site.window = np.inf, capacity, window
    source.to_storage = 1.0
    alone = SupplyInput(
        site=site,
        sources=source,
        source_m3=np.full((n, 1), well[0]),
        window_m3=np.full((n, 1), well[1]),
        catchment_m3=np.broadcast_to(np.asarray(runoff, float), n),
        rain_mm=np.zeros(n),
        evaporation_mm=np.zeros(n),
        volumes=np.array([0.0, capacity]),
        areas=np.zeros(2),
        stages=records(SITE_STAGE, 0),
        enter=np.zeros(0),
        leave=np.zeros(0),
        exempt=np.zeros((0, 1)),
        priority=np.zeros(1, np.int64),
        turn=np.zeros(1, np.int64),
    )
    given_ = supply_at(SupplyInput(*(array[None] for array in alone)), 0)
    state = SupplyState(
        storage=records(STORAGE_STATE, 1),
        used=records(USED, 1),
        years=records(SUPPLY_YEAR, 1),
        draws=np.zeros((1, 1, 12)),
        storage_month=np.zeros((1, 12)),
        trace=records(SUPPLY_TRACE, n),
    )
    state.storage.volume = start * capacity
    for day, requested in enumerate(requests):
        state.used.today, state.used.budget = 0.0, np.inf
        supply_day(
            given_, state, np.array([requested]), np.zeros(1), state.trace[day], day, np.zeros(1),
            np.zeros(len(CAUSES)),
        )  # fmt: skip
    return state.trace


def test_a_small_tank_passes_what_it_holds_and_what_the_well_gives_in_the_window():
    trace = nights(5_000 * GAL, [100_000 * GAL] * 2)
    assert trace.delivered / GAL == pytest.approx([53_000.0, 53_000.0])
    # Of the well's 144,000 gal only those are drawn for which there is room.
    assert trace.refill / GAL == pytest.approx([53_000.0, 53_000.0])
    assert trace.storage / GAL == pytest.approx([5_000.0, 5_000.0])
    assert trace.spill.max() < 1e-9


def test_the_rest_of_the_day_fills_a_larger_one_for_the_next_night():
    trace = nights(200_000 * GAL, [100_000 * GAL] * 3, start=0.0)
    # 48,000 gal of the first night's window; then 96,000 held of the rest of the day, plus 48,000.
    assert trace.delivered / GAL == pytest.approx([48_000.0, 100_000.0, 100_000.0])
    assert trace.storage / GAL == pytest.approx([96_000.0, 140_000.0, 184_000.0])


def test_runoff_counts_for_the_hours_of_the_window():
    runoff = 30_000 * GAL
    trace = nights(5_000 * GAL, [100_000 * GAL] * 2, well=(0.0, 0.0), runoff=runoff)
    # A third of it comes in 8 h. The other two thirds fill the tank, and the rest spills.
    assert trace.delivered / GAL == pytest.approx([15_000.0, 15_000.0])
    assert trace.spill / GAL == pytest.approx([15_000.0, 15_000.0])
    # Water pumped for the night was drawn before the later runoff came.
    trace = nights(5_000 * GAL, [100_000 * GAL], runoff=runoff)
    assert trace.delivered / GAL == pytest.approx([63_000.0])
    assert trace.refill / GAL == pytest.approx([48_000.0])


@given(
    st.lists(st.floats(0.0, 500.0), min_size=1, max_size=6),
    st.floats(0.0, 400.0),
    st.floats(0.0, 24.0),
)
def test_large_storage_does_not_feel_the_hours(requests, runoff, window):
    """Where storage never runs low, the hours of inflow change nothing, to the last bit."""
    day = [nights(1e5, requests, (300.0, 300.0 * h / 24.0), runoff, h, 0.9) for h in (window, 24.0)]
    for name in SUPPLY_TRACE.names:
        assert np.array_equal(day[0][name], day[1][name]), name


@given(
    st.floats(1.0, 1e3),
    st.lists(st.floats(0.0, 2e3), min_size=1, max_size=6),
    st.floats(0.0, 1e3),
    st.floats(0.0, 1e3),
    st.floats(0.0, 24.0),
)
def test_no_night_passes_more_than_what_is_there_and_volume_closes(
    capacity, requests, well, runoff, window
):
    t = nights(capacity, requests, (well, well * window / 24.0), runoff, window)
    before = np.concatenate([[capacity], t.storage[:-1]])
    most = before + (well + runoff) * window / 24.0
    assert (t.delivered <= most * (1.0 + 1e-12) + 1e-9).all()
    gain = t.catchment + t.refill - t.from_storage - t.spill
    assert t.storage - before == pytest.approx(gain, abs=1e-9)
    assert t.residual.max() < 1e-9
    assert t.storage.min() >= -1e-9
    assert (t.storage <= capacity + 1e-9).all()
    assert (t.refill <= well + 1e-9).all()


@given(st.floats(0.0, 1e6), st.floats(0.0, 24.0), st.floats(0.0, 24.0))
def test_water_of_a_window_is_part_of_that_of_the_day(rate, hours, window):
    assert pumped_in_window_m3(rate, hours, window) <= pumped_in_window_m3(rate, hours, 24.0)
    assert 0.0 <= later_inflow_m3(rate, window) <= rate
    assert later_inflow_m3(rate, 24.0) == 0.0
    assert drawable_m3(rate, 0.0, rate, hours) == hours


def test_no_hours_of_an_unlimited_source_are_no_water():
    assert pumped_in_window_m3(np.inf, 0.0, 8.0) == 0.0
    assert pumped_in_window_m3(np.inf, 8.0, 0.0) == 0.0


def spells(shortages, ends=()):
    """Largest spell and number of spells of days (n,) short; a season ends before ``ends``."""
    storage, years = records(STORAGE_STATE, 1), records(SUPPLY_YEAR, 1)
    flows = records(SUPPLY_TRACE, 1)
    for day, shortage in enumerate(shortages):
        if day in ends:
            storage.shortage_yesterday = 0.0
        flows.demand, flows.shortage, flows.unmet = 5.0, shortage, shortage
        count_supply(flows[0], storage[0], years[0])
    return float(years.worst_event[0]), int(years.shortage_events[0])


def test_a_day_is_short_from_a_hundredth_of_its_demand_on():
    """A system that puts on 99.6% of what a plan demands leaves no field short."""
    assert [spells([5.0 * part])[1] for part in (0.0, 0.004, 0.01, 0.02)] == [0, 0, 0, 1]


def test_a_spell_ends_with_the_season():
    assert spells([2.0, 2.0, 2.0, 2.0]) == (8.0, 1)
    assert spells([2.0, 2.0, 2.0, 2.0], ends=[2]) == (4.0, 2)
