"""Laws of the parts of play: calendars, covers, hardness, roots, infields."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.catalog import load_catalog
from drysward.physics.air import (
    air_filled,
    days_until_harm,
    lack_of_air,
    root_harm_rate,
    root_heal_rate,
    root_loss_step,
)
from drysward.physics.leaf_disease import (
    dew_hours,
    leaf_cooling_c,
    leaf_wet_hours,
    rain_wet_hours,
)
from drysward.physics.mud import passing_mm
from drysward.physics.reference_et import cloud_term
from drysward.physics.skinned_surface import skin_demand_mm
from drysward.physics.wear import cover_left, wear_limit
from drysward.scenario.model import CoverSpec, EventSpec, HardnessSpec, PlaySpec, RootZoneSpec
from drysward.site.covers import cover_days
from drysward.site.play import hardness_line, harm_days, undrained_at_play
from drysward.site.play_calendar import days_before, days_of_use, event_days
from drysward.site.root_zone import build_root_zone
from drysward.studies.hardness_readings import FEWEST_READINGS, fit_line

CATALOG = load_catalog()
ROOTS = CATALOG.get("play", "airless_roots")
SATURDAY = (False, False, False, False, False, True, False)
AUTUMN = (237, 324)  # 25 August to 20 November


def dates(first, last):
    return np.arange(np.datetime64(first), np.datetime64(last) + 1)


def played(event, first, last):
    days = dates(first, last)
    return days[event_days(event, days)].astype(str).tolist()


# --- calendar ---------------------------------------------------------------------------------


@pytest.mark.parametrize("year", [2023, 2024])
def test_matches_fall_on_the_saturdays_of_the_season_in_any_year(year):
    day, wanted = date(year, 8, 25), []
    while day <= date(year, 11, 20):
        if day.weekday() == 5:
            wanted.append(day.isoformat())
        day += timedelta(days=1)
    event = EventSpec("match", SATURDAY, AUTUMN)
    assert played(event, f"{year}-01-01", f"{year}-12-31") == wanted


@pytest.mark.parametrize("year", [2023, 2024])
def test_a_date_stays_the_same_day_in_leap_years(year):
    event = EventSpec("final", dates=(60,))  # 1 March
    assert played(event, f"{year}-01-01", f"{year}-12-31") == [f"{year}-03-01"]


def test_29_february_is_played_in_leap_years_only():
    event = EventSpec("leap", dates=(59,))
    assert played(event, "2023-01-01", "2024-12-31") == ["2024-02-29"]


def test_a_season_may_run_over_the_turn_of_the_year():
    event = EventSpec("winter", SATURDAY, (350, 10))
    found = played(event, "2023-12-10", "2024-01-31")
    assert found == ["2023-12-16", "2023-12-23", "2023-12-30", "2024-01-06"]


def play(**more):
    events = (
        EventSpec("match", SATURDAY, AUTUMN, hours=2.5),
        EventSpec("practice", (False, True, False, True, False, True, False), hours=2.0,
                  judged=False),
    )  # fmt: skip
    return PlaySpec(events, **more)


def test_hours_add_up_and_practice_is_not_judged():
    days = dates("2024-09-02", "2024-09-08")  # Monday to Sunday
    use = days_of_use(play(), days)
    assert use.use_hours.tolist() == [0, 2, 0, 2, 0, 4.5, 0]
    assert np.flatnonzero(use.judged).tolist() == [5]
    assert not use.blackout.any()
    assert not use.prewet_mm.any()


def test_blackout_runs_up_to_and_including_the_event():
    use = days_of_use(play(blackout_days=2), dates("2024-09-02", "2024-09-08"))
    assert np.flatnonzero(use.blackout).tolist() == [4, 5]


def test_prewet_comes_its_days_ahead():
    use = days_of_use(play(prewet_mm=5.0, prewet_days_before=2), dates("2024-09-02", "2024-09-08"))
    assert use.prewet_mm.tolist() == [0, 0, 0, 5, 0, 0, 0]


@given(st.integers(1, 360))
def test_the_calendar_of_a_part_is_that_part_of_the_calendar(stop):
    days = dates("2023-06-01", "2024-05-31")
    spec = play(blackout_days=3, prewet_mm=5.0, prewet_days_before=3)
    whole, part = days_of_use(spec, days), days_of_use(spec, days[:stop])
    for name in ("use_hours", "judged", "blackout", "prewet_mm"):
        assert np.array_equal(getattr(part, name), getattr(whole, name)[:stop])


# --- covers -----------------------------------------------------------------------------------

COVER = CoverSpec(rain_from_mm=2.0, days_before=3, labor_h=4.0, longest_days=2, heat_c=30.0)
WEEK = dates("2024-09-02", "2024-09-08")


def covered(rain, tmax=20.0, cover=COVER):
    return cover_days(cover, play().events, WEEK, np.array(rain, float), np.full(7, tmax))


def test_a_cover_is_on_before_a_judged_event_when_it_rains_enough():
    lies = covered([9, 9, 9, 1, 9, 9, 9]).lies
    assert np.flatnonzero(lies).tolist() == [2, 4]
    assert not covered([0, 0, 0, 1.9, 1.9, 0, 0]).lies.any()


def test_a_cover_comes_off_after_its_longest_days():
    assert np.flatnonzero(covered([9] * 7).lies).tolist() == [2, 3]


def test_a_cover_stays_off_in_heat():
    assert not covered([9] * 7, tmax=30.1).lies.any()
    assert covered([9] * 7, tmax=30.0).lies.any()


@given(st.lists(st.floats(0, 80), min_size=7, max_size=7), st.floats(0, 40))
def test_covers_never_add_water(rain, tmax):
    found = covered(rain, tmax)
    assert (found.kept_off_mm >= 0.0).all()
    assert (found.kept_off_mm <= rain).all()
    assert (found.kept_off_mm[~found.lies] == 0.0).all()
    assert np.array_equal(found.labor_h > 0.0, found.lies)


def test_without_a_cover_no_day_is_covered():
    found = covered([9] * 7, cover=None)
    assert not found.lies.any()
    assert not found.kept_off_mm.any()


def test_days_before_none_are_none():
    assert not days_before(play().events, WEEK, 0, -1).any()


# --- hardness ---------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["native", "sand"])
def test_bare_and_dense_ground_is_harder_or_as_hard(kind, hardness):
    entry = CATALOG.get("play", f"hardness_{kind}")
    line, dense = hardness_line(entry), hardness_line(entry, 1.7)
    moisture = np.linspace(0.05, 0.4, 10)
    assert (hardness(moisture, line, 1.0) > hardness(moisture, line)).all()
    assert (hardness(moisture, dense) >= hardness(moisture, line)).all()


def test_a_tenth_of_density_is_12_g_on_native_soil():
    entry = CATALOG.get("play", "hardness_native")
    risen = hardness_line(entry, 1.5).intercept_g - hardness_line(entry, 1.4).intercept_g
    assert risen == pytest.approx(12.0)


@pytest.mark.parametrize("kind", ["native", "sand"])
def test_soils_are_as_hard_as_far_above_their_wilting_points(kind, hardness):
    entry = CATALOG.get("play", f"hardness_{kind}")
    own = entry["hardness_wilting_point"]
    above = np.linspace(0.0, 0.2, 10)
    expected = hardness(own + above, hardness_line(entry))
    for wilting_point in (0.8 * own, own, 2.0 * own):
        line = hardness_line(entry, wilting_point=wilting_point)
        np.testing.assert_allclose(hardness(wilting_point + above, line), expected)
    # What was read on the field itself is not moved.
    read = HardnessSpec(120.0, -200.0, 6.0)
    assert hardness_line(entry, None, read, 0.9 * own) == hardness_line(entry, None, read)


@pytest.mark.parametrize("loose", [1.33, 1.40, 1.46])
def test_an_uncompacted_soil_is_not_harder_for_being_dense(loose):
    entry = CATALOG.get("play", "hardness_native")
    as_it_is, packed = (
        hardness_line(entry, factor * loose, loose_density=loose).intercept_g
        for factor in (1.0, 1.15)
    )
    assert as_it_is == pytest.approx(entry["hardness_intercept_g"])
    assert packed > as_it_is + 12.0


@pytest.mark.parametrize("compaction", ["none", "moderate", "severe"])
@pytest.mark.parametrize("soil", ["sandy_loam", "loam", "silt_loam", "clay_loam", "clay"])
def test_more_water_never_hardens_native_soil(soil, compaction, hardness):
    zone = build_root_zone(
        RootZoneSpec("native_loam", words={"soil": soil, "compaction": compaction}), CATALOG
    )
    native = zone.profile.native
    line = hardness_line(
        CATALOG.get("play", "hardness_native"),
        native.bulk_density,
        None,
        native.wilting_point,
        zone.loose_density,
    )
    g = hardness(np.linspace(0.0, native.saturation, 50), line)
    assert (np.diff(g) <= 0.0).all()
    assert g[0] > g[-1] + 20.0


def test_readings_take_the_place_of_the_catalog(hardness):
    entry = CATALOG.get("play", "hardness_native")
    line = hardness_line(entry, 1.7, HardnessSpec(120.0, -200.0, 6.0))
    assert hardness(0.25, line) == pytest.approx(70.0)
    assert line.scatter_g == 6.0


@given(st.integers(0, 2**31), st.floats(60, 250), st.floats(-600, -50))
def test_a_fit_recovers_the_line_behind_the_readings(seed, intercept, slope):
    moisture = np.random.default_rng(seed).uniform(0.05, 0.40, 30)
    fit = fit_line(moisture, intercept + slope * moisture)
    assert fit.intercept_g == pytest.approx(intercept, rel=1e-6)
    assert fit.slope_g == pytest.approx(slope, rel=1e-6)
    assert fit.scatter_g == pytest.approx(0.0, abs=1e-6)


def test_scatter_is_the_residual_standard_deviation():
    """Slow twin: normal equations and the sum of squares over n - 2."""
    moisture = np.array([0.10, 0.14, 0.18, 0.22, 0.26, 0.30, 0.34, 0.38])
    g = np.array([120.0, 101.0, 98.0, 77.0, 75.0, 52.0, 50.0, 31.0])
    a, b = np.linalg.lstsq(np.column_stack([np.ones(8), moisture]), g, rcond=None)[0]
    left = sum((y - a - b * x) ** 2 for x, y in zip(moisture, g, strict=True))
    fit = fit_line(moisture, g)
    assert (fit.intercept_g, fit.slope_g) == pytest.approx((a, b))
    assert fit.scatter_g == pytest.approx((left / 6) ** 0.5)


def test_too_few_or_equal_readings_make_no_line():
    with pytest.raises(ValueError, match="too few"):
        fit_line(np.linspace(0.1, 0.3, FEWEST_READINGS - 1), np.arange(FEWEST_READINGS - 1))
    with pytest.raises(ValueError, match="same in all"):
        fit_line(np.full(9, 0.2), np.arange(9))


# --- wetness, wear, leaves ----------------------------------------------------------------------


def harm_rate(soil_c):
    return root_harm_rate(days_until_harm(soil_c, harm_days(ROOTS)), ROOTS["visible_root_loss"])


def test_air_is_what_water_leaves_of_the_pores():
    found = [air_filled(water, 40.0, 1.0 / 100.0) for water in (10.0, 40.0, 45.0)]
    assert found == pytest.approx([0.3, 0, 0])


@pytest.mark.parametrize("soil_c", [5.0, 17.5, 25.0])
def test_harm_shows_after_its_days_in_a_row(soil_c):
    days, rate = days_until_harm(soil_c, harm_days(ROOTS)), harm_rate(soil_c)
    loss, seen = 0.0, [0.0]
    for run in range(1, 61):
        loss = root_loss_step(loss, run, rate, 1.0, 0.0, 1.0)
        seen.append(loss)
    assert seen[1] == 0.0
    assert np.interp(ROOTS["visible_root_loss"], seen, range(61)) == pytest.approx(days, abs=0.1)


def test_warmer_soil_harms_roots_faster():
    assert (np.diff([harm_rate(soil_c) for soil_c in np.arange(5.0, 33.0)]) > 0.0).all()


@given(st.floats(-10, 45))
def test_days_until_harm_against_interpolated_logarithms(soil_c):
    """Slow twin."""
    days = harm_days(ROOTS)
    expected = np.exp(np.interp(soil_c, [5.0, 17.5, 25.0, 32.0], np.log(days)))
    assert days_until_harm(soil_c, days) == pytest.approx(expected, rel=1e-12)


@given(
    st.lists(st.tuples(st.floats(0, 0.2), st.floats(-5, 40)), min_size=1, max_size=60),
    st.floats(0.1, 0.9),
)
def test_root_loss_stays_within_its_bounds(days, most):
    loss, run = 0.0, 0
    for air, soil_c in days:
        run = run + 1 if air < 0.1 else 0
        heal = root_heal_rate(0.5, 60.0)
        loss = root_loss_step(loss, run, harm_rate(soil_c), lack_of_air(air, 10.0), heal, most)
        assert 0.0 <= loss <= most


@given(st.floats(0, 0.3), st.floats(0, 0.3))
def test_roots_lack_more_where_there_is_less_air(air, more):
    assert lack_of_air(air + more, 10.0) <= lack_of_air(air, 10.0)
    assert lack_of_air(0.0, 10.0) == 1.0
    assert lack_of_air(0.1, 10.0) == 0.0


@given(
    st.floats(0, 60), st.floats(0, 30), st.floats(0, 30), st.floats(0, 10), st.floats(0, 0.8),
    st.floats(0, 0.8),
)  # fmt: skip
def test_more_water_never_passes_less(water, rain, watered, more, of_rain, of_watering):
    held = (max(of_rain, of_watering), of_watering)  # rain is the last to come
    now = passing_mm(water, 27.0, 42.0, rain, watered, *held)
    assert 0.0 <= now <= max(held) * min(max(water - 27.0, 0.0), 15.0) + 1e-12
    assert passing_mm(water + more, 27.0, 42.0, rain + more, watered, *held) >= now - 1e-12
    assert passing_mm(water + more, 27.0, 42.0, rain, watered + more, *held) >= now - 1e-12


def test_only_the_days_own_water_is_on_its_way_down():
    """10 mm above field capacity, 4 of them of yesterday: 5 of rain, 1 of irrigation."""
    assert passing_mm(37.0, 27.0, 42.0, 5.0, 1.0, 0.4, 0.1) == pytest.approx(2.1)
    assert passing_mm(37.0, 27.0, 42.0, 0.0, 0.0, 0.4, 0.1) == 0.0


def test_play_finds_less_of_water_that_came_earlier():
    mud = CATALOG.get("play", "mud")
    for soil in ("native_loam", "native_clay_loam", "native_silt_loam"):
        zone = build_root_zone(RootZoneSpec(soil), CATALOG)
        of_rain, by_time = undrained_at_play(mud, zone, 100.0)
        night, early, midday, evening = by_time
        assert of_rain >= midday > early > night > evening >= 0.0
    sand = build_root_zone(RootZoneSpec("sand_over_gravel_12in"), CATALOG)
    assert undrained_at_play(mud, sand, 100.0) == (0.0, [0.0] * 4)


def test_wear_classes_move_with_field_capacity():
    entry = CATALOG.get("play", "wear_native")

    def classes(capacity):
        return [
            wear_limit(entry[name], capacity, entry["wear_field_capacity"])
            for name in ("wear_middle_from", "wear_wet_from")
        ]

    assert classes(entry["wear_field_capacity"]) == pytest.approx((0.22, 0.30))
    assert classes(0.155) == pytest.approx((0.11, 0.15))


@given(st.floats(0, 100), st.floats(0, 100))
def test_wear_does_not_mind_how_use_is_split(one, other):
    together = cover_left(0.05, 1.0, one + other)
    assert together == pytest.approx(cover_left(0.05, 1.0, one) * cover_left(0.05, 1.0, other))


@given(st.floats(-10, 30), st.floats(0, 20), st.floats(-20, 30), st.floats(6, 18))
def test_dew_lasts_no_longer_than_the_night_and_its_drying(tmin, span, dew, night):
    entry = CATALOG.get("play", "leaf_disease")
    colder, after = entry["leaf_depression_c"], entry["dew_after_sunrise_h"]
    hours = dew_hours(tmin + span, tmin, dew, night, colder, after)
    assert 0.0 <= hours <= night + after
    assert dew_hours(tmin + span, tmin, dew + 1.0, night, colder, after) >= hours


def test_dew_by_hand():
    """Sunset 6 degC above the minimum, leaves at the dew point 3 degC above: half the cooling,
    reached when a quarter of the night is gone.
    """
    entry = CATALOG.get("play", "leaf_disease")
    colder, after = entry["leaf_depression_c"], entry["dew_after_sunrise_h"]
    assert dew_hours(30.0, 18.0, 21.0 - colder, 10.0, colder, after) == pytest.approx(7.5 + after)


def test_clouds_keep_leaves_warm():
    cooling = [leaf_cooling_c(3.0, float(cloud_term(solar, 25.0))) for solar in (5.0, 15.0, 25.0)]
    assert cooling == sorted(cooling)
    assert cooling[-1] == 3.0
    assert 0.0 <= cooling[0] < 0.5


@given(
    st.floats(0, 14), st.floats(0, 12), st.floats(0, 20), st.floats(0, 6), st.floats(0, 6),
    st.floats(6, 18),
)  # fmt: skip
def test_leaves_are_wet_no_longer_than_all_night(dew, rain, watered, dawn, dusk, night):
    hours = [
        leaf_wet_hours(dew, rain, depth, added, at_dusk, night)
        for depth, added, at_dusk in ((0.0, 9.9, 1.0), (watered, dawn, 0.0), (watered, dusk, 1.0))
    ]
    assert max(hours) <= night
    assert min(hours) == hours[0]
    # Evening watering never leaves leaves dry sooner, as long as it adds as much by itself.
    assert hours[2] >= hours[1] or dusk < dawn


def test_rain_wets_leaves_from_its_least_depth():
    entry = CATALOG.get("play", "leaf_disease")
    least, added = entry["rain_wet_from_mm"], entry["rain_wet_h"]
    hours = [rain_wet_hours(rain, least, added) for rain in (0.0, 0.9, 1.0, 30.0)]
    assert hours == [0.0, 0.0, added, added]


# --- infield ------------------------------------------------------------------------------------


def test_more_passes_put_back_more_of_the_days_evaporation():
    wanted = [skin_demand_mm(19.0, 19.0, 6.0, passes, 10.0) for passes in (1, 2, 3)]
    assert wanted == pytest.approx([0.0, 3.0, 4.0])
    assert skin_demand_mm(30.0, 19.0, 6.0, 3, 10.0) == 0.0
    assert skin_demand_mm(10.0, 19.0, 6.0, 3, 2.0) == 6.0  # limited by puddles
