"""How large a store must be, and how far one that is smaller can be relied on.

Sources: Loucks & van Beek 2005, Water Resources Systems Planning and Management, Table 11.2
(sequent peak); Hashimoto, Stedinger & Loucks 1982, Water Resources Research 18:14-20 (reliability,
resilience, vulnerability). How smaller stores fare on the inflows of Table 11.2 is our own
arithmetic. Pond figures are rules of the trade, those of seepage from memory.
"""

import numpy as np
import pytest
import xarray as xr

from drysward.catalog import load_catalog
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
from drysward.physics.pond import square_pond, surveyed_pond
from drysward.quantities import convert
from drysward.results.supply import supply_answers

INFLOW = np.array([1.0, 3, 3, 5, 8, 6, 7, 2, 1])
RELEASE = 3.5
TWICE = np.tile(INFLOW, 2)
ASKED = np.full(TWICE.size, RELEASE)


def run_alone(capacity, inflow, asked, start_share=1.0):
    """A closed store under the day step of a site: SUPPLY_TRACE (n,), SUPPLY_YEAR (1,) of all."""
    n = inflow.size
    site = records(SUPPLY, 1)
    site.network, site.capacity, site.window = np.inf, capacity, 24.0
    alone = SupplyInput(
        site=site,
        sources=records(SOURCE, 0),
        source_m3=np.zeros((n, 0)),
        window_m3=np.zeros((n, 0)),
        catchment_m3=inflow,
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
    given = supply_at(SupplyInput(*(array[None] for array in alone)), 0)
    state = SupplyState(
        storage=records(STORAGE_STATE, 1),
        used=records(USED, 0),
        years=records(SUPPLY_YEAR, 1),
        draws=np.zeros((1, 0, 12)),
        storage_month=np.zeros((1, 12)),
        trace=records(SUPPLY_TRACE, n),
    )
    state.storage.volume = state.years.least_storage = start_share * capacity
    for step in range(n):
        line = state.trace[step]
        supply_day(
            given, state, asked[step : step + 1], np.zeros(1), line, step, np.zeros(0),
            np.zeros(len(CAUSES)),
        )  # fmt: skip
        line.shortage = line.unmet = line.demand - line.delivered
        count_supply(line, state.storage[0], state.years[0])
    return state.trace, state.years


def reliability(year):
    """What is told of one plan at a supply whose only year is ``year``."""
    of_plan = {
        f"supply_{name}": (("plan", "year"), [[float(year[name][0])]])
        for name in SUPPLY_YEAR.names
    }
    of_month = {
        "supply_drawn": (("plan", "year", "source", "month"), np.zeros((1, 1, 1, 12))),
        "supply_storage": (("plan", "year", "month"), np.zeros((1, 1, 12))),
        "shortage": (("field", "plan", "year"), np.zeros((1, 1, 1))),
        "shortage_month": (("field", "plan", "year", "month"), np.zeros((1, 1, 1, 12))),
        "shortage_cause": (("field", "plan", "year", "cause"), np.zeros((1, 1, 1, 9))),
        "shortage_month_cause": (("field", "plan", "month", "cause"), np.zeros((1, 1, 12, 9))),
    }
    coords = {"plan": ["p"], "year": [1], "field": ["f"], "area_m2": ("field", [1.0])}
    attrs = {"independent_years": 1, "short_year": 0.05, "return_periods": "[10.0]"}
    result = xr.Dataset({**of_plan, **of_month}, coords, attrs)
    return supply_answers(result).isel(plan=0)


def granted_by_hand(capacity):
    """Standard operating policy, written out: give what is there, keep what fits."""
    store, granted = capacity, []
    for inflow in TWICE:
        given = min(RELEASE, store + inflow)
        store = min(capacity, store + inflow - given)
        granted.append(given)
    return granted


class TestSequentPeak:
    """K[t] = max(0, R[t] - Q[t] + K[t-1]): what a store that starts full has given up."""

    def test_table_11_2(self):
        printed = [2.5, 3, 3.5, 2, 0, 0, 0, 1.5, 4, 6.5, 7, 7.5, 6, 1.5, 0, 0, 1.5, 4]
        trace, year = run_alone(7.5, TWICE, ASKED)
        assert 7.5 - trace.storage == pytest.approx(printed, abs=1e-12)
        assert year.least_storage[0] == pytest.approx(0.0, abs=1e-12)
        assert year.shortage_days[0] == 0

    def test_one_cycle_would_miss_the_drought_over_its_end(self):
        _, year = run_alone(7.5, INFLOW, ASKED[: INFLOW.size])
        assert 7.5 - year.least_storage[0] == pytest.approx(4.0, abs=1e-12)

    @pytest.mark.parametrize("capacity, short_steps", [(7.5, 0), (7.4, 1), (6.0, 3), (4.0, 3)])
    def test_the_store_of_that_size_and_smaller_ones(self, capacity, short_steps):
        trace, _ = run_alone(capacity, TWICE, ASKED)
        assert trace.delivered == pytest.approx(granted_by_hand(capacity), abs=1e-12)
        assert np.count_nonzero(trace.delivered < ASKED - 1e-9) == short_steps
        assert trace.residual.max() < 1e-12

    def test_smallest_store_is_the_sequent_peak_for_any_inflow(self):
        inflow = np.tile(np.random.default_rng(4).gamma(0.5, 8.0, 200), 2)
        asked = np.full(inflow.size, 0.9 * inflow.mean())
        needed = deficit = 0.0
        for net in asked - inflow:
            deficit = max(0.0, deficit + net)
            needed = max(needed, deficit)
        for share, is_short in ((1.0, False), (0.999, True)):
            _, year = run_alone(share * needed, inflow, asked)
            assert (year.shortage_days[0] > 0) == is_short


class TestHashimoto:
    """Time and volume reliability, resilience and vulnerability, as the supply's answers."""

    def test_store_of_four(self):
        trace, year = run_alone(4.0, TWICE, ASKED)
        found = reliability(year)
        assert found["time_reliability"] == pytest.approx(0.833, abs=0.0005)
        assert found["resilience"] == pytest.approx(1 / 3)
        assert found["worst_event"] == pytest.approx(3.5)
        assert found["volume_reliability"] == pytest.approx(0.944, abs=0.0005)
        assert trace.shortage[trace.shortage > 1e-9] == pytest.approx([2.5, 0.5, 0.5])

    def test_store_of_six(self):
        trace, year = run_alone(6.0, TWICE, ASKED)
        assert trace.shortage[trace.shortage > 1e-9] == pytest.approx([0.5, 0.5, 0.5])
        assert reliability(year)["worst_event"] == pytest.approx(1.5)

    @pytest.mark.parametrize("capacity", [0.0, 4.0, 6.0, 7.4, 7.5])
    def test_from_the_series_itself(self, capacity):
        """The definitions on the steps one by one, beside what the year's sums tell."""
        trace, year = run_alone(capacity, TWICE, ASKED)
        short = np.array(trace.demand - trace.delivered)
        short[short < 1e-9] = 0.0
        runs = np.split(short, np.flatnonzero(np.diff(short > 0.0)) + 1)
        events = [run.sum() for run in runs if run[0] > 0.0]
        found = reliability(year)
        assert found["time_reliability"] == pytest.approx(np.mean(short == 0.0))
        assert found["volume_reliability"] == pytest.approx(1 - short.sum() / ASKED.sum())
        assert found["worst_event"] == pytest.approx(max(events, default=0.0))
        if events:
            assert found["vulnerability"] == pytest.approx(np.mean(events))
            assert found["resilience"] == pytest.approx(len(events) / np.count_nonzero(short))

    def test_nothing_short(self):
        found = reliability(run_alone(7.5, TWICE, ASKED)[1])
        assert (found["time_reliability"], found["volume_reliability"]) == (1.0, 1.0)
        assert np.isnan(found["resilience"])
        assert np.isnan(found["vulnerability"])
        assert found["worst_event"] == 0.0

    def test_no_demand(self):
        found = reliability(run_alone(1.0, np.zeros(2), np.zeros(2))[1])
        assert np.isnan(found["time_reliability"])

    def test_two_events_and_days_without_demand(self):
        # Short by 1 and 2 with a day between on which nothing is asked, then served, then by 4.
        inflow, asked = np.array([4.0, 0, 3, 5, 1, 5]), np.array([5.0, 0, 5, 5, 5, 5])
        found = reliability(run_alone(100.0, inflow, asked, start_share=0.0)[1])
        assert found["time_reliability"] == pytest.approx(2 / 5)
        assert found["resilience"] == pytest.approx(2 / 3)
        assert found["vulnerability"] == pytest.approx(3.5)
        assert found["worst_event"] == pytest.approx(4.0)


class TestPonds:
    """Figures of the trade, through the units that a scenario may write."""

    def test_inch_over_an_acre(self):
        assert convert(27_154, "gal", "m^3") == pytest.approx(
            convert(1, "acre-in", "m^3"), abs=convert(0.5, "gal", "m^3")
        )

    def test_inch_over_half_an_acre_of_pond(self):
        # About 13,600 gal for 0.5 acre taken as 21,800 ft2: the same in three figures.
        for area in (convert(0.5, "acre", "m^2"), convert(21_800, "ft2", "m^2")):
            # A box of that area, an inch deep.
            volumes, _ = surveyed_pond([0.0, 0.0254], [area, area])
            assert volumes[-1] / convert(1, "gal", "m^3") == pytest.approx(13_600, abs=50)

    def test_seepage_of_clay(self):
        # 1e-6 cm/s under unit gradient is 0.034 in/d; 1/8 in/d is the most aimed at (memory).
        assert convert(1e-6, "cm/s", "in/d") == pytest.approx(0.034, abs=0.0005)
        clay = load_catalog().get("supply", "clay_lining").parameter("seepage_mm_d")
        assert clay.value == pytest.approx(convert(1 / 8, "in/d", "mm/d"))
        assert clay.low == pytest.approx(convert(0.034, "in/d", "mm/d"), abs=0.005)

    def test_leaking_starts_at_half_an_inch(self):
        bare = load_catalog().get("supply", "no_lining").parameter("seepage_mm_d")
        assert bare.value == pytest.approx(convert(1 / 4, "in/d", "mm/d"))
        assert bare.high == pytest.approx(convert(1 / 2, "in/d", "mm/d"))

    def test_pond_of_an_acre_foot(self):
        # Own arithmetic: bottom b with 8 ft of depth and 3:1 sides, in feet:
        # 43,560 = 8 b^2 + 3 x 8^2 x 2 b + 4/3 x 9 x 8^3, so (b + 24)^2 = 5253, b = 48.48.
        volumes, areas = square_pond(convert(1, "acre-ft", "m^3"), convert(8, "ft", "m"), 3.0)
        assert volumes[-1] / convert(1, "gal", "m^3") == pytest.approx(325_851, abs=0.5)
        assert np.sqrt(areas[[0, -1]]) / convert(1, "ft", "m") == pytest.approx(
            [48.48, 96.48], abs=0.005
        )
