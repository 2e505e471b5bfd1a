"""Laws of costs: they add up, what is not priced costs nothing, and the site is its fields."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from drysward.results.costs import block_tariff, present_worth
from drysward.results.field_costs import field_costs, has_prices, site_costs
from drysward.results.text import (
    FIELD_COSTS,
    cost_columns,
    cost_notes,
    difference_text,
    money_text,
)
from drysward.results.volumes import site_volumes
from drysward.scenario.model import (
    Costs,
    SourceSpec,
    StorageSpec,
    SupplySpec,
    SystemPrice,
    TariffBlock,
)

YEARS = 5
AREAS = (8000.0, 4000.0)
BLOCKS = (TariffBlock(300.0, 1.0), TariffBlock(math.inf, 2.5))
EVERYTHING = Costs(
    "EUR",
    0.2,
    25.0,
    BLOCKS,
    {"sand_over_gravel_12in": 90.0, "native_loam": 10.0},
    {"in_ground_rotors": SystemPrice(per_m2=9.0)},
    5.0,
    8.0,
    20,
    0.04,
)


def a_scenario(scenes, costs=EVERYTHING, supply=None):
    fields = [
        replace(scenes.field("sand_over_gravel_12in", key="sand"), area_m2=AREAS[0]),
        replace(scenes.field("native_loam", key="native"), area_m2=AREAS[1]),
    ]
    plans = [scenes.plan(key="none"), scenes.plan("refill", key="refill")]
    return replace(scenes.scenario(fields, plans), costs=costs, supply=supply)


def a_result(dead_days=4.0, with_supply=False, seed=3):
    """A made-up result of two fields under a plan that never waters and one that does."""
    rng = np.random.default_rng(seed)
    shape = (2, 2, YEARS)
    month = rng.uniform(0.0, 60.0, (*shape, 12)) * (rng.random((*shape, 12)) < 0.5)
    month[:, 0] = 0.0
    month[:, :, :, :2] = 0.0  # nobody waters in winter
    yearly = ("field", "plan", "year")
    data = {
        "irrigation_month": ((*yearly, "month"), month),
        "irrigation_gross": (yearly, month.sum(axis=-1)),
        "peak_week": (yearly, month.max(axis=-1) / 4.0),
        "watering_days": (yearly, (month > 0.0).sum(axis=-1) * 4.0),
        "labor_hours": (yearly, (month > 0.0).sum(axis=-1) * 4.0 * [[[0.5]], [[2.0]]]),
        "longest_dead": (yearly, np.full(shape, dead_days)),
        "peak_dead": (yearly, rng.uniform(0.1, 0.6, shape)),
        "days_below_condition": (yearly, rng.uniform(0.0, 50.0, shape)),
    }
    data["days_below_condition"][1][:, 0] += 60.0
    coords = {
        "field": ["sand", "native"], "plan": ["none", "refill"],
        "year": np.arange(2001, 2001 + YEARS), "month": np.arange(1, 13),
        "field_label": ("field", ["Stadium", "Practice"]),
        "plan_label": ("plan", ["None", "Refill"]),
        "area_m2": ("field", list(AREAS)),
    }  # fmt: skip
    if with_supply:
        data["supply_drawn"] = (
            ("plan", "year", "source", "month"), rng.uniform(0.0, 900.0, (2, YEARS, 1, 12))
        )  # fmt: skip
        data["supply_from_storage"] = (("plan", "year"), rng.uniform(0.0, 900.0, (2, YEARS)))
        coords["source"] = ["town"]
    attrs = {"reached_days": 3, "independent_years": YEARS}
    return xr.Dataset(data, coords, attrs)


def a_supply(tariff=BLOCKS):
    town = SourceSpec(
        "town", "Town", "mains", feeds="both", lift_m=20.0, pump_efficiency=0.5, tariff=tariff
    )
    store = StorageSpec("tank", (0.0, 400.0), (0.0, 0.0), lift_m=30.0)
    return SupplySpec((town,), store)


@pytest.mark.parametrize("with_supply", [False, True])
def test_the_site_is_the_sum_of_its_fields(scenes, with_supply):
    supply = a_supply() if with_supply else None
    costs = replace(EVERYTHING, water=() if with_supply else BLOCKS)
    told = field_costs(a_result(with_supply=with_supply), a_scenario(scenes, costs, supply))
    for name in ("water_mean", "energy_mean", "labor_mean", "lost_turf_mean", "mean"):
        of_fields = told[f"field_cost_{name}"].sum("field")
        np.testing.assert_allclose(told[f"cost_{name}"], of_fields, rtol=1e-12, err_msg=name)
        if name != "energy_mean" or with_supply:
            assert float(told[f"cost_{name}"].sel(plan="refill")) > 0.0, name
    first = told["field_cost_first"].sum("field") + told["cost_storage"]
    np.testing.assert_allclose(told["cost_first"], first, rtol=1e-12)
    assert told["cost_storage"].values.tolist() == [0.0, 2000.0 if with_supply else 0.0]
    pond = told["cost_storage"].values  # at the start, so worth what it costs
    worth = told["field_cost_present"].sum("field") + pond
    np.testing.assert_allclose(told["cost_present"], worth, rtol=1e-12)


@pytest.mark.parametrize("with_supply", [False, True])
def test_parts_add_up(scenes, with_supply):
    supply = a_supply() if with_supply else None
    costs = replace(EVERYTHING, water=() if with_supply else BLOCKS)
    told = field_costs(a_result(with_supply=with_supply), a_scenario(scenes, costs, supply))
    parts = ("water", "energy", "labor", "lost_turf")
    for prefix in ("field_cost", "cost"):
        whole = sum(told[f"{prefix}_{name}_mean"] for name in parts)
        np.testing.assert_allclose(told[f"{prefix}_mean"], whole, rtol=1e-12)
        life = present_worth(told[f"{prefix}_first"], told[f"{prefix}_mean"], costs)
        np.testing.assert_allclose(told[f"{prefix}_present"], life, rtol=1e-12)


def test_costs_by_hand(scenes):
    """One field alone pays the site's tariff; two share each month by their water."""
    result = a_result()
    told = field_costs(result, a_scenario(scenes))
    volumes = result["irrigation_month"].values * np.array(AREAS)[:, None, None, None] / 1000.0
    water = np.zeros((2, 2, YEARS))
    for p in range(2):
        for y in range(YEARS):
            for m in range(12):
                site = volumes[:, p, y, m].sum()
                for f in range(2):
                    if site > 0.0:
                        price = float(block_tariff(site, BLOCKS))
                        water[f, p, y] += price * volumes[f, p, y, m] / site
    np.testing.assert_allclose(told["field_cost_water_mean"], water.mean(axis=-1), rtol=1e-12)
    # 8,000 m2 at 90 and 4,000 at 10; the system at 9 only where a plan waters.
    assert told["field_cost_first"].sel(plan="none").values.tolist() == [720_000.0, 40_000.0]
    assert told["field_cost_first"].sel(plan="refill").values.tolist() == [792_000.0, 76_000.0]
    hours = result["watering_days"].sel(plan="refill", field="native").mean().item() * 2.0
    labor = told["field_cost_labor_mean"].sel(plan="refill", field="native").item()
    assert labor == pytest.approx(25.0 * hours)


def test_nitrogen_costs_what_was_fed(scenes):
    """100 kg/ha on 0.8 ha at 2.00 a kilogram; a field that is not fed pays nothing."""
    scenario = a_scenario(scenes, Costs(nitrogen_price_kg=2.0))
    fed = np.stack([np.full((2, YEARS), 100.0), np.full((2, YEARS), np.nan)])
    result = a_result().assign(feed_applied_n=(("field", "plan", "year"), fed))
    told = field_costs(result, scenario)
    assert told["field_cost_feed_mean"].values.tolist() == [[160.0, 160.0], [0.0, 0.0]]
    assert told["field_cost_mean"].values.tolist() == [[160.0, 160.0], [0.0, 0.0]]
    assert told["cost_feed_mean"].values.tolist() == [160.0, 160.0]
    assert ("field_cost_feed_mean", "nitrogen") in cost_columns(told, "field_cost", FIELD_COSTS)
    assert field_costs(a_result(), scenario)["cost_mean"].values.tolist() == [0.0, 0.0]


def test_doses_cost_the_work_that_they_take(scenes):
    """Four doses of 1.5 h at 25.00, beside the work of watering; none where nothing is fed."""
    scenario = a_scenario(scenes, Costs(labor_price_h=25.0))
    doses = np.stack([np.full((2, YEARS), 4.0), np.full((2, YEARS), np.nan)])
    result = a_result().assign(feed_doses=(("field", "plan", "year"), doses))
    result = result.assign_coords(dose_labor=("field", [1.5, 0.0]))
    more = field_costs(result, scenario) - field_costs(a_result(), scenario)
    assert more["field_cost_labor_mean"].values.tolist() == [[150.0, 150.0], [0.0, 0.0]]
    assert more["cost_labor_mean"].values.tolist() == [150.0, 150.0]


def test_feed_is_in_what_one_root_zone_costs_more(scenes):
    costs = replace(EVERYTHING, nitrogen_price_kg=2.0)
    fed = np.stack([np.full((2, YEARS), 100.0), np.full((2, YEARS), 50.0)])
    result = a_result().assign(feed_applied_n=(("field", "plan", "year"), fed))
    one, other = (field_costs(result, a_scenario(scenes, c)) for c in (costs, EVERYTHING))
    more = one["difference_keeping"] - other["difference_keeping"]
    # 8,000 m2 at 100 kg/ha and at 50, at 2.00.
    assert more.values == pytest.approx([80.0, 80.0])
    assert " to water and feed, " in difference_text(one)
    assert "feed" not in difference_text(other)


def test_a_dry_year_is_one_that_one_in_ten_passes(scenes):
    result = a_result()
    told = field_costs(result, a_scenario(scenes, Costs(labor_price_h=10.0)))
    hours = np.sort(result["watering_days"].sel(plan="refill", field="native").values) * 2.0
    # Of five years, 0.9 of the way is 0.6 of the way from the fourth to the fifth.
    dry = 10.0 * (0.4 * hours[3] + 0.6 * hours[4])
    assert told["field_cost_dry"].sel(plan="refill", field="native").item() == pytest.approx(dry)


def test_turf_is_lost_only_in_years_in_which_death_is_reached(scenes):
    result = a_result()
    result["longest_dead"][:] = 2.0  # of the three days that it takes
    result["longest_dead"][0, 0, 1] = 3.0
    told = field_costs(result, a_scenario(scenes))
    lost = told["field_cost_lost_turf_mean"]
    expected = result["peak_dead"].values[0, 0, 1] * AREAS[0] * 8.0 / YEARS
    assert lost.values[0, 0] == pytest.approx(expected, rel=1e-12)
    assert np.count_nonzero(lost) == 1


def test_a_skinned_surface_has_no_turf_to_lose(scenes):
    result = a_result()
    result["peak_dead"][1] = np.nan
    told = field_costs(result, a_scenario(scenes))
    assert (told["field_cost_lost_turf_mean"].sel(field="native") == 0.0).all()
    assert np.isfinite(told["cost_mean"]).all()


def test_water_for_a_store_in_winter_is_paid_by_those_who_water(scenes):
    """In January nobody waters and the store is filled: shared by the water of the year."""
    result = a_result(with_supply=True)
    result["supply_drawn"][:] = 0.0
    result["supply_drawn"][:, :, 0, 0] = 200.0
    costs = replace(EVERYTHING, water=())
    told = field_costs(result, a_scenario(scenes, costs, a_supply()))
    assert told["cost_water_mean"].values.tolist() == [0.0, 200.0]
    per_mm = np.array(AREAS)[:, None] / 1000.0
    volumes = result["irrigation_gross"].sel(plan="refill").values * per_mm
    shares = (volumes / volumes.sum(axis=0)).mean(axis=-1)
    found = told["field_cost_water_mean"].sel(plan="refill").values
    np.testing.assert_allclose(found, 200.0 * shares, rtol=1e-12)


def test_one_tariff_of_the_site_prices_what_its_supply_draws(scenes):
    """``[costs] water`` beside a supply whose sources have no tariff: all that sources give in a
    month is one volume, also what stays in the store, and the tariffs of sources go before it.
    """
    result = a_result(with_supply=True)
    half = result["supply_drawn"] / 2.0
    result = result.drop_vars("supply_drawn").drop_dims("source").assign(
        supply_drawn=xr.concat([half, half], "source").assign_coords(source=["town", "well"])
    )
    town = a_supply(tariff=()).sources[0]
    supply = replace(a_supply(), sources=(town, replace(town, key="well")))
    told = site_costs(result, supply, EVERYTHING).sel(plan="refill")
    by_month = result["supply_drawn"].sel(plan="refill").sum("source").values
    assert (by_month > 300.0).any()
    assert (by_month < 300.0).any()
    by_hand = np.where(by_month <= 300.0, by_month, 300.0 + 2.5 * (by_month - 300.0)).sum(axis=-1)
    np.testing.assert_allclose(told["cost_water"], by_hand, rtol=1e-12)
    volumes = result["irrigation_month"].sel(plan="refill") * result["area_m2"] / 1000.0
    assert abs(by_month.sum() / float(volumes.sum()) - 1.0) > 0.1
    dear = replace(town, tariff=(TariffBlock(math.inf, 9.0),))
    by_source = site_costs(result, replace(supply, sources=(dear, supply.sources[1])), EVERYTHING)
    found = by_source["cost_water"].sel(plan="refill")
    np.testing.assert_allclose(found, 9.0 * by_month.sum(axis=-1) / 2.0, rtol=1e-12)


def test_a_lump_is_paid_once_by_the_fields_that_use_it(scenes):
    costs = replace(EVERYTHING, irrigation={"in_ground_rotors": SystemPrice(lump=3000.0)})
    told = field_costs(a_result(), a_scenario(scenes, costs))
    refill = told["field_cost_irrigation"].sel(plan="refill")
    np.testing.assert_allclose(refill, [2000.0, 1000.0])
    assert (told["field_cost_irrigation"].sel(plan="none") == 0.0).all()


def test_what_has_no_price_is_said_and_not_guessed(scenes):
    costs = replace(EVERYTHING, construction={"sand_over_gravel_12in": 90.0})
    told = field_costs(a_result(), a_scenario(scenes, costs))
    assert np.isnan(told["field_cost_first"].sel(field="native")).all()
    assert np.isnan(told["cost_first"]).all()
    assert np.isfinite(told["field_cost_first"].sel(field="sand")).all()
    assert np.isfinite(told["field_cost_mean"]).all()
    assert json.loads(told.attrs["unpriced"]) == ["no construction price for native_loam"]
    assert ("No price", "no construction price for native_loam") in cost_notes(told)
    assert difference_text(told) == ""


def test_zero_prices_are_no_prices():
    free = Costs(
        construction={"native_loam": 0.0},
        irrigation={"hand_hose": SystemPrice()},
        water=(TariffBlock(math.inf, 0.0),),
        life_years=20,
    )
    assert not has_prices(Costs(), None)
    assert not has_prices(free, None)
    assert not has_prices(free, a_supply(tariff=()))
    assert not has_prices(Costs(energy_price_kwh=0.2), None)  # nothing is known to be pumped
    assert has_prices(Costs(energy_price_kwh=0.2), a_supply(tariff=()))
    for one in (
        {"labor_price_h": 1.0}, {"water": BLOCKS}, {"construction": {"native_loam": 1.0}},
        {"irrigation": {"hand_hose": SystemPrice(lump=1.0)}}, {"storage_price_m3": 1.0},
        {"renovation_price_m2": 1.0}, {"nitrogen_price_kg": 1.0},
    ):  # fmt: skip
        assert has_prices(Costs(**one), None), one
    assert has_prices(Costs(), a_supply())


def test_costs_grow_with_every_price(scenes):
    scenario = a_scenario(scenes)
    before = field_costs(a_result(), scenario)["field_cost_present"]
    for change in (
        {"labor_price_h": 26.0}, {"renovation_price_m2": 9.0}, {"life_years": 21},
        {"water": (TariffBlock(math.inf, 3.0),)}, {"discount_rate": 0.03},
    ):  # fmt: skip
        dearer = replace(scenario, costs=replace(EVERYTHING, **change))
        after = field_costs(a_result(), dearer)["field_cost_present"].sel(plan="refill")
        assert bool((after > before.sel(plan="refill")).all()), change


def test_what_one_root_zone_costs_more_is_on_the_same_area(scenes):
    told = field_costs(a_result(), a_scenario(scenes))
    # 8,000 m2 at 90 - 10; the irrigation system costs the same on both.
    assert told["difference_first"].values.tolist() == [640_000.0, 640_000.0]
    water, labor = (told[f"field_cost_{name}_mean"].sel(plan="refill") for name in
                     ("water", "labor"))  # fmt: skip
    keeping = (water + labor).values
    more = keeping[0] - 2.0 * keeping[1]
    assert told["difference_keeping"].sel(plan="refill").item() == pytest.approx(more)
    text = difference_text(told)
    assert text.startswith("Stadium (")
    assert ") costs EUR 640,000 more to build than Practice (" in text
    assert f"EUR {money_text(abs(more))} a year {'more' if more > 0 else 'less'} to water" in text
    assert "under “Refill”, the plan with the fewest days below playing condition." in text
    other = next(str(key) for key in told["plan"].values if key != "refill")
    label = told["plan_label"].sel(plan=other).item()
    assert f"under “{label}”, the best plan." in difference_text(told, other)
    assert "the plan of the goal." in difference_text(told, other, "plan of the goal")
    assert "Over 20 years at 4% it costs EUR " in text


def test_one_root_zone_is_not_compared(scenes):
    costs = replace(EVERYTHING, construction={"sand_over_gravel_12in": 90.0, "native_loam": 90.0})
    told = field_costs(a_result(), a_scenario(scenes, costs))
    assert "difference_first" not in told
    assert difference_text(told) == ""


def test_without_a_life_nothing_is_added_up_over_it(scenes):
    told = field_costs(a_result(), a_scenario(scenes, replace(EVERYTHING, life_years=0)))
    assert not any("present" in str(name) or "equal" in str(name) for name in told.data_vars)
    assert "Present cost" not in dict(cost_notes(told))


def test_prices_come_back_from_the_attributes(scenes, tmp_path):
    costs = replace(EVERYTHING, water=())
    told = field_costs(a_result(with_supply=True), a_scenario(scenes, costs, a_supply()))
    told.to_netcdf(tmp_path / "costs.nc", engine="netcdf4")
    back = xr.load_dataset(tmp_path / "costs.nc", engine="netcdf4")
    xr.testing.assert_equal(back, told)
    prices = json.loads(back.attrs["prices"])
    assert prices["construction"] == {"sand_over_gravel_12in": 90.0, "native_loam": 10.0}
    assert prices["sources"]["town"] == [
        {"upto_m3": 300.0, "price_m3": 1.0}, {"upto_m3": None, "price_m3": 2.5}
    ]  # fmt: skip
    assert back["field_cost_mean"].attrs["units"] == "EUR"
    assert cost_notes(back) == cost_notes(told)


def test_volumes_of_the_site(scenes):
    result = a_result()
    told = site_volumes(result, (2.0, 10.0))
    per_mm = np.array(AREAS)[:, None, None] / 1000.0
    years = (result["irrigation_gross"].values * per_mm).sum(axis=0)
    np.testing.assert_allclose(told["site_season_volume"], years.mean(axis=-1))
    assert (told["site_peak_week_volume"].values[1] <= years[1].max()).all()
    assert told["site_demand_volume"].sel(plan="none").values.tolist() == [0.0, 0.0]
    middle = np.median(years[1])
    assert told["site_demand_volume"].sel(plan="refill", period=2.0) == pytest.approx(middle)


def test_site_costs_need_no_fields(scenes):
    """As ``field_costs`` has them."""
    result, scenario = a_result(), a_scenario(scenes)
    xr.testing.assert_equal(
        site_costs(result, None, scenario.costs)["cost"], field_costs(result, scenario)["cost"]
    )


@pytest.mark.parametrize(
    "value, text",
    [
        (0.0, "0"), (1234567.0, "1,230,000"), (999.6, "1,000"), (123.4, "123"), (56.78, "56.8"),
        (5.678, "5.68"), (0.1234, "0.12"), (-98765.0, "-98,800"), (math.nan, "-"),
    ],
)  # fmt: skip
def test_money_to_three_figures(value, text):
    assert money_text(value) == text
