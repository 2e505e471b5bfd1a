"""What soil takes in under sprinklers: rates by soil, slope and cover; one run; cycle and soak.

Sources: USDA, most sprinkler application rate by soil, slope and cover, as reprinted by Landscape
Management, 19 March 2018 (slopes over 12% and soils over compact subsoil from memory);
Irrigation Association, test protocol for weather-based controllers: surface storage by texture,
longest run (from memory).
"""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drysward.catalog import load_catalog
from drysward.physics.intake import (
    longest_run_mm,
    night_take_mm,
    runoff_of_irrigation,
    runoff_terms,
    storage_by_slope,
)
from drysward.scenario.model import RootZoneSpec
from drysward.site.root_zone import build_root_zone, intake_mm_h

IN = 25.4
CATALOG = load_catalog()
# in/h, under cover and bare, on slopes of 0-5, 5-8, 8-12 and over 12% (the last from memory).
MOST_RATE = {
    "sand": [(2.0, 2.0), (2.0, 1.5), (1.5, 1.0), (1.0, 0.50)],
    "sandy_loam": [(1.75, 1.0), (1.25, 0.80), (1.0, 0.60), (0.75, 0.40)],
    "silt_loam": [(1.0, 0.50), (0.80, 0.40), (0.60, 0.30), (0.40, 0.20)],
    "clay_loam": [(0.20, 0.15), (0.15, 0.10), (0.12, 0.08), (0.10, 0.06)],
}
# The table has one row for heavy clay and clay loam.
MOST_RATE["clay"] = MOST_RATE["clay_loam"]
SLOPES = [(0.0, 0.02, 0.05), (0.051, 0.08), (0.081, 0.12), (0.121, 0.3)]
# The same over compact subsoil (from memory), slopes in the same order.
OVER_COMPACT = {
    "sand": [(1.75, 1.50), (1.25, 1.00), (1.00, 0.75), (0.75, 0.40)],
    "sandy_loam": [(1.25, 0.75), (1.00, 0.50), (0.75, 0.40), (0.50, 0.30)],
    "silt_loam": [(0.60, 0.30), (0.50, 0.25), (0.40, 0.15), (0.30, 0.10)],
}
# Allowable surface storage, in, slopes of 0 to 3% (from memory).
STORAGE_IN = {
    "clay": 0.20,
    "silty_clay": 0.23,
    "clay_loam": 0.26,
    "loam": 0.30,
    "sandy_loam": 0.33,
    "loamy_sand": 0.36,
    "sand": 0.40,
}
RATES = st.floats(0.5, 60)
INTAKES = st.floats(0.1, 60)
STORAGES = st.floats(0, 20)
WINDOWS = st.floats(0.5, 24)


class TestMostSprinklerRate:
    @pytest.mark.parametrize("soil", MOST_RATE)
    @pytest.mark.parametrize("bare", [False, True])
    def test_published_rows(self, soil, bare):
        for slopes, row in zip(SLOPES, MOST_RATE[soil], strict=True):
            for slope in slopes:
                found = intake_mm_h(CATALOG.get("intake", soil), slope, bare)
                assert found / IN == pytest.approx(row[bare], abs=0.0005), slope

    @pytest.mark.parametrize("soil", MOST_RATE)
    def test_published_rows_reach_the_field(self, soil):
        spec = RootZoneSpec("native_loam", words={"soil": soil})
        for slopes, row in zip(SLOPES, MOST_RATE[soil], strict=True):
            for bare in (False, True):
                zone = build_root_zone(spec, CATALOG, slopes[-1], bare)
                assert zone.intake_mm_h / IN == pytest.approx(row[bare], abs=0.0005)

    def test_only_what_was_seen_in_print_says_so(self):
        for soil, entry in CATALOG.entries["intake"].items():
            for name, number in entry.numbers.items():
                seen = soil in MOST_RATE and name.startswith("intake_")
                seen = seen and not name.endswith("_steeper")
                assert (number.grade == "published") == seen, (soil, name)

    def test_steeper_and_bare_take_in_no_more(self):
        for entry in CATALOG.entries["intake"].values():
            for bare in (False, True):
                found = [intake_mm_h(entry, slopes[-1], bare) for slopes in SLOPES]
                assert found == sorted(found, reverse=True), entry.key
            for slopes in SLOPES:
                assert intake_mm_h(entry, slopes[0], True) <= intake_mm_h(entry, slopes[0], False)

    @pytest.mark.parametrize("soil", OVER_COMPACT)
    def test_moderate_compaction_compared_with_compact_subsoil(self, soil):
        # Ours is of the surface, so it may take away more than the table's subsoil does: the
        # remembered rows lie between our moderately compacted soil and a loose one.
        moderate = CATALOG.get("compaction", "moderate")["intake_factor"]
        for row, loose in zip(OVER_COMPACT[soil], MOST_RATE[soil], strict=True):
            for over_compact, whole in zip(row, loose, strict=True):
                assert moderate * whole <= over_compact <= whole


class TestSurfaceStorage:
    @pytest.mark.parametrize("soil", STORAGE_IN)
    @pytest.mark.parametrize("slope", [0.0, 0.015, 0.03])
    def test_the_protocol(self, soil, slope):
        spec = RootZoneSpec("native_loam", words={"soil": soil})
        zone = build_root_zone(spec, CATALOG, slope)
        assert zone.surface_storage_mm / IN == pytest.approx(STORAGE_IN[soil], abs=0.0005)

    def test_half_is_left_on_steep_ground(self):
        found = [storage_by_slope(slope, 8.0, 4.0) for slope in (0.0, 0.03, 0.075, 0.12, 0.3)]
        assert found == pytest.approx([8, 8, 6, 4, 4])


CLAY_LOAM = {"rate": 1.5 * IN, "intake": 0.20 * IN, "surface_storage": 0.26 * IN}


def in_one_run(depth, rate, intake, surface_storage):
    terms = runoff_terms(rate, intake, surface_storage, 8.0, 0.0)
    return runoff_of_irrigation(depth, depth, *terms)


def after_hours(hours, rate, **soil):
    return in_one_run(rate * hours, rate, **soil)


class TestOneRun:
    def test_clay_loam_under_1_5_in_per_hour_runs_twelve_minutes(self):
        # 0.26 in of storage over (1.5 - 0.20) in/h: 0.20 h, 12 min (from memory).
        longest_h = longest_run_mm(**CLAY_LOAM) / CLAY_LOAM["rate"]
        assert longest_h == pytest.approx(0.20, abs=0.005)
        assert after_hours(0.195, **CLAY_LOAM) == 0
        assert after_hours(11.5 / 60, **CLAY_LOAM) == 0
        assert after_hours(0.205, **CLAY_LOAM) > 0
        assert after_hours(12.5 / 60, **CLAY_LOAM) > 0

    def test_past_the_longest_run_all_that_outruns_the_soil_is_shed(self):
        rate, intake, storage = 38.0, 5.0, 6.6
        longest_h = storage / (rate - intake)
        for more_h in (0.0, 0.25, 1.0):
            found = after_hours(longest_h + more_h, rate, intake=intake, surface_storage=storage)
            assert found == pytest.approx((rate - intake) * more_h, abs=1e-12)

    @pytest.mark.parametrize("rate", [5.0, 12.5, 38.1])
    def test_runoff_of_a_depth(self, rate):
        # What outruns the soil while the depth falls, less what the surface holds.
        expected = max(0.0, (rate - 5.08) * (20.0 / rate) - 6.6)
        assert in_one_run(20.0, rate, 5.08, 6.6) == pytest.approx(expected, abs=1e-12)

    def test_soil_that_keeps_up(self):
        assert in_one_run(50.0, 5.0, 8.0, 6.0) == 0
        assert longest_run_mm(5.0, 8.0, 6.0) == math.inf
        assert longest_run_mm(8.0, 8.0, 6.0) == math.inf

    def test_no_sprinkler_no_runoff(self):
        assert in_one_run(0.0, 0.0, 5.0, 6.0) == 0


class TestANight:
    def test_clay_loam_in_a_night(self):
        # One run of 12 min at 1.5 in/h puts on 0.30 in; split over 8 h the soil takes in
        # 8 x 0.20 in and the surface holds 0.26 in when the last cycle ends.
        assert night_take_mm(**CLAY_LOAM, window_h=8.0, cycle_and_soak=0.0) / IN == pytest.approx(
            0.30, abs=0.005
        )
        assert night_take_mm(**CLAY_LOAM, window_h=8.0, cycle_and_soak=1.0) / IN == pytest.approx(
            1.86, abs=0.005
        )

    def test_soil_that_keeps_up_takes_any_depth(self):
        for split in (0.0, 1.0):
            assert night_take_mm(5.0, 8.0, 6.0, 8.0, split) == math.inf
            terms = runoff_terms(5.0, 8.0, 6.0, 8.0, split)
            assert runoff_of_irrigation(40.0, 40.0, *terms) == 0.0

    def test_a_patch_that_catches_more_is_watered_no_longer(self):
        """15 mm/h on soil that takes 10 and holds 5: a patch at 1.35 of the mean sees 20.25 mm/h
        for as long as others, and sheds past 7.3 mm of the mean."""
        once = night_take_mm(15.0 * 1.35, 10.0, 5.0, 8.0, 0.0) / 1.35
        assert once == pytest.approx(5.0 / (1.35 - 10.0 / 15.0))
        terms = runoff_terms(15.0, 10.0, 5.0, 8.0, 0.0)
        assert runoff_of_irrigation(1.35 * once, once, *terms) == pytest.approx(0.0, abs=1e-9)
        assert runoff_of_irrigation(1.35 * 11.1, 11.1, *terms) == pytest.approx(2.585, abs=1e-3)

    @given(RATES, INTAKES, STORAGES, WINDOWS, st.sampled_from([0.0, 1.0]), st.floats(0, 200))
    def test_runoff_starts_where_the_night_takes_no_more(
        self, rate, intake, storage, window_h, split, depth
    ):
        assume(depth <= rate * window_h)
        take = night_take_mm(rate, intake, storage, window_h, split)
        soaks, held = runoff_terms(rate, intake, storage, window_h, split)
        runoff = runoff_of_irrigation(depth, depth, soaks, held)
        assert 0.0 <= runoff <= depth
        if depth <= take:
            assert runoff == pytest.approx(0.0, abs=1e-9)
        else:
            assert runoff == pytest.approx((depth - take) * (1.0 - soaks), abs=1e-9)

    @given(RATES, INTAKES, STORAGES, WINDOWS)
    def test_splitting_takes_no_less_of_what_can_be_put_on(self, rate, intake, storage, window_h):
        assume(rate > intake)
        depth = rate * window_h
        once, split = (
            depth
            - runoff_of_irrigation(depth, depth, *runoff_terms(rate, intake, storage, window_h, c))
            for c in (0.0, 1.0)
        )
        assert split >= once - 1e-9
