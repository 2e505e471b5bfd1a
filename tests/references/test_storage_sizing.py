"""How large a store must be, and how far one that is smaller can be relied on.

Sources: Loucks & van Beek 2005, Water Resources Systems Planning and Management, Table 11.2
(sequent peak); Hashimoto, Stedinger & Loucks 1982, Water Resources Research 18:14-20 (reliability,
resilience, vulnerability). How smaller stores fare on the inflows of Table 11.2 is our own
arithmetic. Pond figures are rules of the trade, those of seepage from memory.
"""

import math

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.drive.supply_alone import run_alone
from drysward.physics.pond import square_pond
from drysward.physics.sprinklers import volume_m3
from drysward.quantities import convert
from drysward.results.reliability import (
    events,
    reliability_of_series,
    sequent_deficits_m3,
    sequent_peak_m3,
    shortages_m3,
)

INFLOW = np.array([1.0, 3, 3, 5, 8, 6, 7, 2, 1])
RELEASE = 3.5
TWICE = np.tile(INFLOW, 2)
ASKED = np.full(TWICE.size, RELEASE)


def granted_by_hand(capacity):
    """Standard operating policy, written out: give what is there, keep what fits."""
    store, granted = capacity, []
    for inflow in TWICE:
        given = min(RELEASE, store + inflow)
        store = min(capacity, store + inflow - given)
        granted.append(given)
    return granted


class TestSequentPeak:
    def test_table_11_2(self):
        printed = [2.5, 3, 3.5, 2, 0, 0, 0, 1.5, 4, 6.5, 7, 7.5, 6, 1.5, 0, 0, 1.5, 4]
        assert sequent_deficits_m3(TWICE, RELEASE) == pytest.approx(printed, abs=1e-12)
        assert sequent_peak_m3(INFLOW, RELEASE) == pytest.approx(7.5, abs=1e-12)

    def test_one_cycle_would_miss_the_drought_over_its_end(self):
        assert sequent_deficits_m3(INFLOW, RELEASE).max() == 4.0

    def test_more_than_flows_in_needs_no_end_of_storage(self):
        with pytest.raises(ValueError, match="flows in"):
            sequent_peak_m3(INFLOW, INFLOW.mean() + 0.01)

    @pytest.mark.parametrize("capacity, short_steps", [(7.5, 0), (7.4, 1), (6.0, 3), (4.0, 3)])
    def test_the_store_of_that_size_and_smaller_ones(self, capacity, short_steps):
        trace, _ = run_alone(capacity, TWICE, ASKED)
        assert trace.granted == pytest.approx(granted_by_hand(capacity), abs=1e-12)
        assert np.count_nonzero(trace.granted < ASKED - 1e-9) == short_steps
        assert trace.residual.max() < 1e-12

    def test_seven_and_a_half_is_used_to_the_last(self):
        assert run_alone(7.5, TWICE, ASKED)[0].store.min() == pytest.approx(0.0, abs=1e-12)

    def test_smallest_store_is_the_sequent_peak_for_any_inflow(self):
        inflow = np.random.default_rng(4).gamma(0.5, 8.0, 200)
        asked = np.full(inflow.size, 0.9 * inflow.mean())
        needed = sequent_peak_m3(inflow, asked)
        for share, is_short in ((1.0, False), (0.999, True)):
            _, year = run_alone(share * needed, np.tile(inflow, 2), np.tile(asked, 2))
            assert (year.short_days[0] > 0) == is_short


class TestHashimoto:
    def test_store_of_four(self):
        found = reliability_of_series(ASKED, granted_by_hand(4.0))
        assert found.time == pytest.approx(0.833, abs=0.0005)
        assert found.resilience == pytest.approx(1 / 3)
        assert found.worst_event_m3 == pytest.approx(3.5)
        assert found.volume == pytest.approx(0.944, abs=0.0005)
        (event,) = events(shortages_m3(ASKED, granted_by_hand(4.0)))
        assert event == pytest.approx([2.5, 0.5, 0.5])

    def test_store_of_six(self):
        (event,) = events(shortages_m3(ASKED, granted_by_hand(6.0)))
        assert event == pytest.approx([0.5, 0.5, 0.5])
        assert reliability_of_series(ASKED, granted_by_hand(6.0)).worst_event_m3 == 1.5

    @pytest.mark.parametrize("capacity", [0.0, 4.0, 6.0, 7.4, 7.5])
    def test_sums_of_the_day_step_tell_the_same(self, capacity):
        trace, (year,) = run_alone(capacity, TWICE, ASKED)
        found = reliability_of_series(ASKED, trace.granted)
        assert found.time == pytest.approx(1 - year.short_days / year.asked_days)
        assert found.volume == pytest.approx(1 - year.shortage / year.asked)
        assert found.mean_event_m3 * year.short_events == pytest.approx(year.shortage)
        assert found.worst_event_m3 == pytest.approx(year.worst_event)
        if capacity in (4.0, 6.0):  # each event ends
            assert found.resilience == pytest.approx(year.short_events / year.short_days)

    def test_nothing_short(self):
        found = reliability_of_series(ASKED, ASKED)
        assert (found.time, found.volume) == (1.0, 1.0)
        assert math.isnan(found.resilience)
        assert (found.mean_event_m3, found.worst_event_m3) == (0.0, 0.0)

    def test_nothing_asked(self):
        assert math.isnan(reliability_of_series([0, 0], [0, 0]).time)

    def test_two_events_and_days_on_which_nobody_asks(self):
        # Short by 1 and 2 with a day between on which nothing is asked, then served, then by 4.
        found = reliability_of_series([5, 0, 5, 5, 5, 5], [4, 0, 3, 5, 1, 5])
        assert found.time == pytest.approx(2 / 5)
        assert found.resilience == pytest.approx(2 / 3)
        assert found.mean_event_m3 == pytest.approx(3.5)
        assert found.worst_event_m3 == pytest.approx(4.0)


class TestPonds:
    """Figures of the trade, through the units that a scenario may write."""

    def test_inch_over_an_acre(self):
        gallons = volume_m3(convert(1, "in", "mm"), convert(1, "acre", "m^2"))
        assert gallons / convert(1, "gal", "m^3") == pytest.approx(27_154, abs=0.5)
        assert convert(27_154, "gal", "m^3") == pytest.approx(
            convert(1, "acre-in", "m^3"), abs=convert(0.5, "gal", "m^3")
        )

    def test_inch_over_half_an_acre_of_pond(self):
        # About 13,600 gal for 0.5 acre taken as 21,800 ft2: the same in three figures.
        for area in (convert(0.5, "acre", "m^2"), convert(21_800, "ft2", "m^2")):
            gallons = volume_m3(25.4, area) / convert(1, "gal", "m^3")
            assert gallons == pytest.approx(13_600, abs=50)

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
