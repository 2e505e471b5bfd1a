"""The parts of a supply: ponds, catchments, low flow, prices, and the arrays of a stretch."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from drysward.catalog import load_catalog
from drysward.day.shortage import made_up_by, newly_missed
from drysward.day.supply import SupplyInput, area_at, supply_at
from drysward.physics import pond as basin
from drysward.physics.catchment import hard_surface_runoff_mm
from drysward.physics.low_flow import may_draw
from drysward.physics.night_draw import pumped_in_window_m3
from drysward.results.costs import block_tariff, energy_kwh, pumping_energy_kwh, water_cost
from drysward.scenario.model import (
    CatchmentSpec,
    Restrictions,
    Site,
    SiteStage,
    SourceSpec,
    StorageSpec,
    SupplySpec,
    TariffBlock,
)
from drysward.site.forcing import calendar_records
from drysward.site.site_weather import site_weather
from drysward.site.supply import (
    catchment_runoff_mm,
    catchments_m3,
    start_supply,
    supply_input,
)
from drysward.weather.reference_et import reference_et

# --- ponds ----------------------------------------------------------------------------------


@pytest.mark.parametrize("capacity_m3, depth_m, slope", [(500, 1.5, 0), (2000, 3, 2), (9000, 4, 3)])
def test_pond_holds_what_its_areas_add_up_to(capacity_m3, depth_m, slope):
    bottom = basin.square_bottom_m(capacity_m3, depth_m, slope)
    for part in (0.1, 0.5, 1.0):
        slices, _ = quad(basin.square_pond_area_m2, 0.0, part * depth_m, args=(bottom, slope))
        assert basin.square_pond_volume_m3(part * depth_m, bottom, slope) == pytest.approx(slices)
    volumes, areas = basin.square_pond(capacity_m3, depth_m, slope)
    assert volumes[0] == 0.0
    assert volumes[-1] == pytest.approx(capacity_m3)
    assert (np.diff(volumes) > 0.0).all()
    assert (np.diff(areas) >= 0.0).all()


def test_area_between_the_points_of_the_curve_is_close():
    capacity_m3, depth_m, slope = 2000.0, 3.0, 3.0
    volumes, areas = basin.square_pond(capacity_m3, depth_m, slope)
    bottom = basin.square_bottom_m(capacity_m3, depth_m, slope)
    for depth in np.linspace(0.0, depth_m, 97):
        volume = basin.square_pond_volume_m3(depth, bottom, slope)
        area = basin.square_pond_area_m2(depth, bottom, slope)
        assert area_at(float(volume), volumes, areas) == pytest.approx(float(area), rel=0.002)


def test_a_pond_as_small_as_its_sides_allow_has_no_bottom():
    least = 4.0 / 3.0 * 9.0 * 2.0**3
    assert basin.square_bottom_m(least, 2.0, 3.0) == pytest.approx(0.0, abs=1e-6)
    with pytest.raises(ValueError, match="holds at least 96 m3, more than 95 m3"):
        basin.square_bottom_m(95.0, 2.0, 3.0)
    with pytest.raises(ValueError, match="0 m deep"):
        basin.square_bottom_m(95.0, 0.0, 3.0)


def test_surveyed_pond_with_upright_walls_is_a_box():
    volumes, areas = basin.surveyed_pond([0.0, 1.0, 2.5], [400.0, 400.0, 400.0])
    assert volumes.tolist() == [0.0, 400.0, 1000.0]
    assert areas.tolist() == [400.0] * 3


def test_survey_of_a_drawn_pond_finds_its_volume():
    bottom = basin.square_bottom_m(2000.0, 3.0, 2.0)
    depths = np.linspace(0.0, 3.0, 61)
    areas = basin.square_pond_area_m2(depths, bottom, 2.0)
    assert basin.surveyed_pond(depths, areas)[0][-1] == pytest.approx(2000.0, rel=1e-3)


@pytest.mark.parametrize(
    "depths, areas, told",
    [
        ([0, 1], [10], "area for each depth"),
        ([0], [10], "at least two"),
        ([0.5, 1], [10, 20], "start at 0"),
        ([0, 1, 1], [10, 20, 30], "and rise"),
        ([0, 1], [20, 10], "must not shrink"),
        ([0, 1], [0, 0], "above 0"),
        ([0, math.nan], [10, 20], "and rise"),
    ],
)
def test_impossible_surveys_are_refused(depths, areas, told):
    with pytest.raises(ValueError, match=told):
        basin.surveyed_pond(depths, areas)


@given(st.floats(0.0, 1200.0))
def test_area_of_the_day_step_is_plain_interpolation(volume):
    volumes, areas = np.array([0.0, 100.0, 600.0, 1000.0]), np.array([50.0, 90.0, 200.0, 210.0])
    found = area_at(volume, volumes, areas)
    assert found == pytest.approx(np.interp(volume, volumes, areas), abs=1e-9)


def test_tank_has_no_open_water():
    volumes, areas = basin.tank(40.0)
    assert volumes.tolist() == [0.0, 40.0]
    assert area_at(17.0, volumes, areas) == 0.0


def test_open_water_evaporates_by_reference_et():
    assert basin.open_water_evaporation_mm(np.array([0.0, 4.0]), 1.05) == pytest.approx([0, 4.2])


# --- catchments -----------------------------------------------------------------------------


@given(st.lists(st.floats(0.0, 200.0), min_size=1), st.floats(0.0, 1.0), st.floats(0.0, 10.0))
def test_first_flush_never_turns_negative(rain, coefficient, flush):
    rain_mm = np.array(rain)
    found = np.array([hard_surface_runoff_mm(day, coefficient, flush) for day in rain])
    assert (found >= 0.0).all()
    assert (found <= coefficient * rain_mm).all()


def test_roof():
    roof = CatchmentSpec("roof", "Roof", "roof", 1000.0, 0.9, first_flush_mm=1.0)
    # 1000 m2, 11 mm: 0.9 x 10 mm is 9 m3; the flush is lost on each wet day.
    rain = np.array([0.0, 0.4, 11.0, 11.0])
    found = catchments_m3([roof], catchment_runoff_mm(roof, rain)[None])
    assert found == pytest.approx([0.0, 0.0, 9.0, 9.0])


def test_grass_sheds_by_curve_number():
    rain = np.linspace(0.0, 150.0, 31)
    grass = CatchmentSpec("bank", "Bank", "grass", 2500.0, 74.0)
    s = 25400.0 / 74.0 - 254.0
    excess = np.maximum(rain - 0.2 * s, 0.0)  # NEH-630 eq 10-11
    assert catchment_runoff_mm(grass, rain) == pytest.approx(excess**2 / (excess + s))
    assert catchment_runoff_mm(grass, np.array([10.0])) == 0.0


def test_catchments_add_up():
    rain = np.array([5.0, 60.0])
    roof = CatchmentSpec("roof", "Roof", "roof", 1000.0, 0.9, first_flush_mm=1.0)
    grass = CatchmentSpec("bank", "Bank", "grass", 2500.0, 74.0)
    shed_mm = np.array([catchment_runoff_mm(one, rain) for one in (roof, grass)])
    both = catchments_m3([roof, grass], shed_mm)
    assert both == pytest.approx(shed_mm[0] + 2.5 * shed_mm[1])
    assert catchments_m3([], np.zeros((0, 2))).tolist() == [0.0, 0.0]


# --- low flow -------------------------------------------------------------------------------


@given(st.lists(st.floats(0.0, 200.0), min_size=1, max_size=60))
def test_low_flow_has_a_memory(index):
    running, expected = True, []
    for value in index:
        if value >= 150.0:
            running = False
        elif value < 80.0:
            running = True
        expected.append(running)
    assert may_draw(np.array(index), 150.0, 80.0).tolist() == expected


def test_low_flow_stops_and_resumes_where_written():
    index = np.array([100.0, 149.9, 150.0, 100.0, 80.0, 79.9, 100.0])
    assert may_draw(index, 150.0, 80.0).tolist() == [True, True, False, False, False, True, True]


def test_source_without_limits_always_runs():
    assert may_draw(np.array([0.0, 1e6]), math.inf, math.inf).all()


# --- prices ---------------------------------------------------------------------------------

BLOCKS = (TariffBlock(20.0, 1.0), TariffBlock(50.0, 2.5), TariffBlock(math.inf, 4.0))


def test_each_block_has_its_price():
    # 20 x 1, 30 x 2.5, 10 x 4.
    found = block_tariff([0.0, 10.0, 20.0, 50.0, 60.0], BLOCKS)
    assert found == pytest.approx([0.0, 10.0, 20.0, 95.0, 135.0])
    assert block_tariff([7.0], ()) == 0.0


def test_last_block_has_no_end():
    assert block_tariff(60.0, (TariffBlock(20.0, 1.0), TariffBlock(50.0, 2.5))) == 120.0


@given(st.floats(0.0, 100.0))
def test_bill_is_the_sum_of_the_price_of_every_drop(volume):
    def price(at):
        return next(block.price_m3 for block in BLOCKS if at < block.upto_m3)

    bill, _ = quad(price, 0.0, volume, points=[20.0, 50.0]) if volume > 0.0 else (0.0, 0.0)
    assert block_tariff(volume, BLOCKS) == pytest.approx(bill, abs=1e-6)


def test_pumping_energy():
    # A tonne of water lifted by 100 m is 980.665 kJ, 0.2724 kWh; a pump of 0.5 takes double.
    assert pumping_energy_kwh(1.0, 100.0, 1.0) == pytest.approx(0.272407, abs=5e-7)
    assert pumping_energy_kwh(1.0, 100.0, 0.5) == pytest.approx(0.544814, abs=5e-7)
    assert pumping_energy_kwh(250.0, 0.0, 0.6) == 0.0


def test_costs_of_a_year():
    well = SourceSpec("well", "Well", "well", lift_m=36.0, pump_efficiency=0.5)
    mains = SourceSpec("mains", "Mains", "mains", tariff=BLOCKS)
    pond = StorageSpec("pond", (0.0, 1.0), (1.0, 1.0), lift_m=18.0, pump_efficiency=0.5)
    supply = SupplySpec((well, mains), pond)
    draws = np.zeros((2, 2, 12))  # two years
    draws[0, 0, 6] = 1000.0
    draws[0, 1, 5:7] = 60.0
    from_storage = np.array([500.0, 0.0])
    assert water_cost(draws, supply.sources).sum(axis=-1) == pytest.approx([270.0, 0.0])
    # 1 kWh lifts 1000 m3 by 0.367 m: 36 m at 0.5 take 196.1 kWh, half the volume by half 49.0.
    energy = energy_kwh(draws, from_storage, supply)
    assert energy == pytest.approx([196.133 + 49.033, 0.0], abs=1e-3)
    # A dimension of plans in front changes nothing.
    stacked = energy_kwh(np.stack([draws, draws]), np.stack([from_storage] * 2), supply)
    assert stacked == pytest.approx(np.stack([energy, energy]))


# --- arrays ---------------------------------------------------------------------------------

DAYS = 730


@pytest.fixture
def inputs(scenes):
    """Maker of a scenario and its only supply over two years from 2001-01-01, without rain by
    default.
    """

    def make(supply=None, rain=0.0, fields=None, **site):
        fields = fields or [scenes.field(key="one")]
        scenario = dataclasses.replace(
            scenes.scenario(fields), supply=supply, site=Site("test", 39.0, 50.0, **site)
        )
        record = scenes.record(DAYS, rain=rain, et=4.0)
        et = reference_et(record, 39.0, 50.0)
        weather = site_weather(record, et, load_catalog(), drought_days=60)
        made = supply_input(scenario, weather, calendar_records(record.dates, False))
        assert {len(array) for array in made} == {1}
        return scenario, supply_at(made, 0)

    return make


def source(key="well", **more):
    return SourceSpec(key, key.title(), "well", **more)


def test_no_supply_is_one_source_without_limit(inputs):
    _, given_ = inputs()
    assert given_.source_m3.shape == given_.window_m3.shape == (DAYS, 1)
    assert np.isposinf(given_.source_m3).all()
    assert np.isposinf(given_.window_m3).all()
    assert np.isposinf(given_.site.network).all()
    assert given_.sources.to_fields.tolist() == [1.0]
    assert given_.sources.to_storage.tolist() == [0.0]
    assert given_.site.capacity == 0.0
    assert area_at(0.0, given_.volumes, given_.areas) == 0.0
    assert given_.stages.size == 0
    assert given_.exempt.shape == (0, 1)


def test_daily_supply_of_the_site_is_the_source_of_it(inputs):
    _, given_ = inputs(supply_m3_d=75.0)
    assert given_.site.on == 1.0
    assert given_.sources.day.tolist() == [75.0]
    assert np.isposinf(given_.window_m3).all()
    _, none = inputs(supply_m3_d=0.0)
    assert none.sources.day.tolist() == [0.0]


def test_network_runs_for_its_window(inputs):
    spec = SupplySpec((source(rate_m3_h=10.0, hours=20.0),), network_m3_h=40.0, window_h=8.0)
    _, given_ = inputs(spec)
    assert given_.site.network == 320.0
    assert (given_.source_m3 == 200.0).all()
    assert (given_.window_m3 == 80.0).all()
    _, short = inputs(SupplySpec((source(rate_m3_h=10.0, hours=3.0),), window_h=8.0))
    assert (short.window_m3 == 30.0).all()


@pytest.mark.parametrize("feeds, to_fields, to_storage", [("fields", 1, 0), ("storage", 0, 1)])
def test_sources_feed_what_is_written(inputs, feeds, to_fields, to_storage):
    pond = StorageSpec("tank", volumes_m3=(0.0, 100.0), areas_m2=(0.0, 0.0))
    fed = source(rate_m3_h=10.0, feeds=feeds, first=True)
    _, given_ = inputs(SupplySpec((fed, source("b")), pond))
    assert given_.sources["first"].tolist() == [1.0, 0.0]
    assert given_.sources.to_fields[0] == to_fields
    assert given_.sources.to_storage[0] == to_storage
    assert (given_.source_m3[:, 0] == 240.0).all()
    assert (given_.window_m3[:, 0] == 240.0).all()


def test_no_hours_of_a_rate_without_limit_are_no_water(inputs):
    assert pumped_in_window_m3(math.inf, 0.0, 8.0) == 0.0
    closed = dataclasses.replace(source(), hours=0.0)
    _, given_ = inputs(SupplySpec((closed, source("b")), window_h=0.0))
    assert given_.site.network == 0.0
    assert (given_.source_m3[:, 0] == 0.0).all()
    assert np.isposinf(given_.source_m3[:, 1]).all()
    assert (given_.window_m3 == 0.0).all()


def test_allowances(inputs):
    allowed = {"day": 50.0, "month": 900.0}
    _, given_ = inputs(SupplySpec((source(rate_m3_h=10.0, allowance_m3=allowed), source("b"))))
    assert (given_.source_m3[:, 0] == 240.0).all()
    assert given_.sources.day.tolist() == [50.0, math.inf]
    assert given_.sources.month.tolist() == [900.0, math.inf]
    assert np.isposinf(given_.sources.week).all()
    assert np.isposinf(given_.sources.year).all()


@pytest.mark.parametrize(
    "season, open_days, shut_days",
    [
        ((91, 304), ["2001-04-01", "2001-10-31"], ["2001-03-31", "2001-11-01"]),
        ((305, 90), ["2001-11-01", "2002-01-01", "2002-03-31"], ["2001-10-31", "2001-04-01"]),
    ],
)
def test_seasons_may_run_over_the_turn_of_the_year(inputs, season, open_days, shut_days):
    _, given_ = inputs(SupplySpec((source(season=season),)))

    def limits(dates):
        places = (np.array(dates, "datetime64[D]") - np.datetime64("2001-01-01")).astype(int)
        return given_.source_m3[places, 0]

    assert np.isposinf(limits(open_days)).all()
    assert (limits(shut_days) == 0.0).all()
    assert not np.isnan(given_.source_m3).any()


def test_low_flow_stops_the_source_and_not_its_neighbor(inputs):
    # 4 mm of ET a day without rain: an index of 120 mm on the evening of the thirtieth day, which
    # the thirty-first knows.
    low = source(rate_m3_h=10.0, stops_above_mm=120.0, resumes_below_mm=80.0)
    _, given_ = inputs(SupplySpec((low, source("b", rate_m3_h=10.0))))
    assert (given_.source_m3[:30] == 240.0).all()
    assert (given_.source_m3[30:, 0] == 0.0).all()
    assert (given_.source_m3[30:, 1] == 240.0).all()


def test_weather_on_the_pond(inputs):
    volumes, areas = basin.square_pond(2000.0, 3.0, 3.0)
    pond = StorageSpec(
        "pond",
        tuple(volumes),
        tuple(areas),
        dead_m3=100.0,
        start_share=0.5,
        seepage_mm_d=3.0,
        evaporation_factor=1.05,
    )
    roof = CatchmentSpec("roof", "Roof", "roof", 1000.0, 0.9, first_flush_mm=1.0)
    scenario, given_ = inputs(SupplySpec((source(),), pond, (roof,)), rain=11.0)
    assert given_.catchment_m3 == pytest.approx(np.full(DAYS, 9.0))
    assert given_.rain_mm == pytest.approx(np.full(DAYS, 11.0))
    assert given_.evaporation_mm == pytest.approx(np.full(DAYS, 4.2))
    assert given_.volumes == pytest.approx(volumes)
    assert given_.areas == pytest.approx(areas)
    assert given_.site.capacity == pytest.approx(2000.0)
    assert (given_.site.dead, given_.site.seepage) == (100.0, 3.0)
    state = start_supply(scenario, SupplyInput(*(a[None] for a in given_)), n_years=2)
    assert state.storage.volume == pytest.approx(1000.0)
    assert state.used.size == 1
    assert state.years.size == 2
    assert state.draws.shape == (2, 1, 12)
    assert state.storage_month.shape == (2, 12)
    assert state.trace.size == 0


def test_melt_reaches_the_storage_when_it_melts(scenes):
    record = scenes.record(20, rain=10.0, tmax=np.repeat([-5.0, 15.0], 10), tmin=-6.0, et=1.0)
    roof = CatchmentSpec("roof", "Roof", "roof", 1000.0, 1.0)
    tank = StorageSpec("tank", volumes_m3=(0.0, 100.0), areas_m2=(0.0, 0.0))
    scenario = dataclasses.replace(
        scenes.scenario([scenes.field()]), supply=SupplySpec((), tank, (roof,))
    )
    weather = site_weather(record, reference_et(record, 39.0, 50.0), load_catalog(), 60)
    given_ = supply_at(supply_input(scenario, weather, calendar_records(record.dates, False)), 0)
    assert given_.source_m3.shape == (20, 0)
    assert (given_.catchment_m3[:10] == 0.0).all()
    assert given_.catchment_m3.sum() + weather.days.snow_water_mm[-1] == pytest.approx(200.0)


def test_restrictions_and_priorities(inputs, scenes):
    fields = [scenes.field(key="stadium"), scenes.field(key="practice", priority=2)]
    weekend = (False,) * 5 + (True,) * 2
    stages = (
        SiteStage(0.5, 0.6, share=0.8, allowed=weekend, exempt=("stadium",)),
        SiteStage(0.3, 0.4, first=120, last=240, crown_only=True),
    )
    _, given_ = inputs(
        SupplySpec((source(),), restrictions=Restrictions("storage", stages)), fields=fields
    )
    assert given_.site.stages == 2
    assert given_.site.index == 1
    # Less in store is worse: with all signs turned.
    assert given_.enter.tolist() == [-0.5, -0.3]
    assert given_.leave.tolist() == [-0.6, -0.4]
    assert given_.stages.first.tolist() == [-1.0, 120.0]
    assert given_.stages["last"].tolist() == [-1.0, 240.0]
    assert given_.stages.share.tolist() == [0.8, 1.0]
    assert given_.stages.crown_only.tolist() == [0.0, 1.0]
    assert given_.stages.allowed.tolist() == [[0.0] * 5 + [1.0] * 2, [1.0] * 7]
    assert given_.exempt.tolist() == [[1.0, 0.0], [0.0, 0.0]]
    assert given_.priority.tolist() == [1, 2]
    assert given_.priority.dtype == np.int64


def test_a_repeated_request_is_missed_once():
    """A refill asks on until it is served; two inches of a fixed plan are two inches each time."""
    asked = [10.0, 14.0, 18.0, 18.0, 6.0]
    granted = [4.0, 4.0, 4.0, 18.0, 0.0]
    unmet = [a - g for a, g in zip(asked, granted, strict=True)]
    missed = [newly_missed(before, now, 1.0) for before, now in pairwise([0.0, *unmet])]
    assert missed == [6.0, 4.0, 4.0, 0.0, 6.0]
    each_time = [newly_missed(before, now, 0.0) for before, now in pairwise([0.0, 6.0, 6.0])]
    assert each_time == [6.0, 6.0]


def test_water_of_a_later_night_makes_up_the_shortage():
    """14 mm were missed before; 10 mm come, and the need falls by 8."""
    assert made_up_by(14.0, 6.0, 10.0, 1.0) == 8.0
    assert made_up_by(14.0, 6.0, 5.0, 1.0) == 5.0  # rain did the rest
    assert made_up_by(6.0, 9.0, 10.0, 1.0) == 0.0
    assert made_up_by(14.0, 6.0, 10.0, 0.0) == 0.0  # a fixed plan does not look back
