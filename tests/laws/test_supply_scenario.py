"""Supply, costs and sizing in a scenario: what is written is what runs; faults told at once."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.catalog import SCENARIO, load_catalog
from drysward.faults import FaultyInput
from drysward.quantities import AREA, FLOW, VOLUME, parse
from drysward.scenario.load import loads, shipped
from drysward.scenario.model import ANY_FIELD, Scenario, Sizing, SupplySpec
from drysward.scenario.resolved import DEFAULT, Row, resolved_values
from drysward.scenario.supply_tables import MOST_SITE_STAGES
from drysward.scenario.values import price_per

HEAD = """
[site]
name = "Ostrel Bay"
latitude = "35 deg"
elevation = "1000 ft"
[weather]
file = "ostrel.csv"
[fields.north]
area = "1 acre"
species = "bermudagrass"
root_zone = "native_loam"
delivery = "hand_hose"
[fields.south]
area = "1 acre"
species = "bermudagrass"
root_zone = "native_loam"
delivery = "hand_hose"
[plans.keep]
rule = "none"
window = "9 h"
[plans.other]
rule = "none"
"""
MAINS = """
[supply.sources.town]
kind = "mains"
"""
WELL = """
[supply.sources.well]
kind = "well"
rate = "60 gpm"
"""
POND = """
[supply.storage]
kind = "pond"
capacity = "1 Mgal"
depth = "10 ft"
side_slope = 3
"""
ROOF = """
[supply.catchments.roof]
kind = "roof"
area = "20000 ft2"
"""
SIZING = """
[sizing]
plan = "keep"
find = "storage"
"""
GALLON_M3 = 231 * 0.0254**3  # exact


def read(*parts: str) -> Scenario:
    return loads("\n".join([HEAD, *parts]), Path("here"))


def supply(*parts: str) -> SupplySpec:
    found = read(*parts).supply
    assert found is not None
    return found


def sizing(*parts: str) -> Sizing:
    found = read(*parts).sizing
    assert found is not None
    return found


def faults(*parts: str) -> list[str]:
    with pytest.raises(FaultyInput) as refusal:
        read(*parts)
    return [str(fault).removeprefix("scenario: ") for fault in refusal.value.faults]


def stages(index: str, *written: str) -> str:
    inner = ", ".join(f"{{ {stage} }}" for stage in written)
    return f'[supply.restrictions]\nindex = "{index}"\nstages = [{inner}]'


# --- values -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written, m3",
    [
        ("2 Mgal", 2e6 * GALLON_M3),
        ("2 million gal", 2e6 * GALLON_M3),
        ("500 kgal", 5e5 * GALLON_M3),
        ("1.2 acre-ft", 1.2 * 43560 * 0.3048**3),
        ("1.2 acre-feet", 1.2 * 43560 * 0.3048**3),
        ("3 acre-in", 3 * 43560 * 0.3048**2 * 0.0254),
        ("100 ft3", 100 * 0.3048**3),
        ("3 ML", 3000.0),
        ("1500 L", 1.5),
    ],
)
def test_volumes_as_the_trade_writes_them(written: str, m3: float) -> None:
    assert parse(written, VOLUME) == pytest.approx(m3, rel=1e-12)


@pytest.mark.parametrize(
    "written, price",
    [
        ("3.10 per 1000 gal", 3.10 / (1000 * GALLON_M3)),
        ("3.10 per kgal", 3.10 / (1000 * GALLON_M3)),
        ("0.8 per m3", 0.8),
        ("350 per acre-ft", 350 / (43560 * 0.3048**3)),
        ("4 per 100 ft3", 4 / (100 * 0.3048**3)),
        ("0 per m3", 0.0),
    ],
)
def test_prices_of_water(written: str, price: float) -> None:
    assert price_per(written, VOLUME) == pytest.approx(price, rel=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [3.1, "3.10", "3.10 per", "3.10 per 1000", "$3 per m3", "-1 per m3", "1 per 0 m3",
     "1 per acre", "nan per m3", "inf per m3", "1 per -3 m3"],
)  # fmt: skip
def test_what_is_no_price_of_water(wrong: object) -> None:
    with pytest.raises(ValueError, match=r'price.*; a price and a volume, such as "3.10 per'):
        price_per(wrong, VOLUME)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e6), st.sampled_from(["gal", "m3", "ft3", "acre-ft"]))
def test_a_volume_costs_what_was_said_for_it(price: float, volume: float, unit: str) -> None:
    per_m3 = price_per(f"{price} per {volume} {unit}", VOLUME)
    cost = per_m3 * parse(f"{volume} {unit}", VOLUME)
    assert cost == pytest.approx(price, rel=1e-9)


# --- what is written is what runs -------------------------------------------------------------


def test_sources() -> None:
    found = supply(
        POND,
        """
        [supply]
        network = "200 gpm"
        window = "6 h"
        [supply.sources.creek]
        label = "Mill creek"
        kind = "stream"
        rate = "60 gpm"
        hours = "20 h"
        season = { from = "10-01", to = "05-31" }
        stops = { above = "150 mm", below = "80 mm" }
        allowance = { day = "50000 gal", year = "2 Mgal" }
        lift = "60 m"
        pump_efficiency = 0.5
        tariff = [{ to = "20 m3", price = "1 per m3" }, { price = "2 per m3" }]
        [supply.sources.works]
        kind = "reclaimed"
        rate = "10 m3/h"
        tariff = "0.4 per m3"
        [supply.sources.town]
        kind = "mains"
        feeds = "both"
        """,
    )
    creek, works, town = found.sources
    assert found.network_m3_h == pytest.approx(200 * 60 * GALLON_M3)
    assert found.window_h == 6.0
    assert creek.label == "Mill creek"
    assert creek.rate_m3_h == pytest.approx(parse("60 gpm", FLOW))
    assert (creek.hours, creek.season) == (20.0, (274, 151))
    assert (creek.stops_above_mm, creek.resumes_below_mm) == (150.0, 80.0)
    assert creek.allowance_m3 == {
        "day": pytest.approx(5e4 * GALLON_M3), "year": pytest.approx(2e6 * GALLON_M3)
    }  # fmt: skip
    assert (creek.lift_m, creek.pump_efficiency) == (pytest.approx(60.0), 0.5)
    assert [(block.upto_m3, block.price_m3) for block in creek.tariff] == [(20, 1), (math.inf, 2)]
    assert [(block.upto_m3, block.price_m3) for block in works.tariff] == [(math.inf, 0.4)]
    assert [source.feeds for source in found.sources] == ["storage", "fields", "both"]
    assert [source.first for source in found.sources] == [False, True, False]
    assert (town.rate_m3_h, town.hours, town.tariff) == (math.inf, 24.0, ())


def test_a_well_feeds_the_fields_when_there_is_no_storage() -> None:
    assert supply(WELL).sources[0].feeds == "fields"
    assert supply(WELL, POND).sources[0].feeds == "storage"


def test_reclaimed_water_that_fills_the_storage_does_not_come_first() -> None:
    works = '[supply.sources.works]\nkind = "reclaimed"\nrate = "1 gpm"\nfeeds = "storage"'
    assert not supply(POND, works).sources[0].first


def test_without_a_window_the_network_runs_as_long_as_the_longest_plan() -> None:
    assert supply(MAINS).window_h == 9.0
    assert supply(MAINS).network_m3_h == math.inf


def test_without_supply() -> None:
    scenario = read()
    assert (scenario.supply, scenario.sizing) == (None, None)
    assert [field.priority for field in scenario.fields] == [1, 1]


def test_square_pond() -> None:
    storage = supply(WELL, POND).storage
    assert storage is not None
    assert storage.volumes_m3[0] == 0.0
    assert storage.volumes_m3[-1] == pytest.approx(1e6 * GALLON_M3)
    # Sides of 3:1 widen the water by six times the depth from the bottom up.
    bottom, top = math.sqrt(storage.areas_m2[0]), math.sqrt(storage.areas_m2[-1])
    assert top - bottom == pytest.approx(6 * 3.048)


def test_surveyed_pond() -> None:
    table = (
        'table = { depth = { unit = "ft", values = [0, 5, 10] }, '
        'area = { unit = "acre", values = [0.1, 0.3, 0.3] } }'
    )
    storage = supply(WELL, f'[supply.storage]\nkind = "pond"\nstart = 0.5\n{table}').storage
    assert storage is not None
    acre = parse("1 acre", AREA)
    assert storage.areas_m2 == pytest.approx((0.1 * acre, 0.3 * acre, 0.3 * acre))
    # Average end area: 0.2 acre, then 0.3 acre, over 5 ft each.
    assert storage.volumes_m3 == pytest.approx((0.0, acre * 1.524 * 0.2, acre * 1.524 * 0.5))
    assert storage.start_share == 0.5


def test_a_tank_is_closed() -> None:
    tank = '[supply.storage]\nkind = "tank"\ncapacity = "20000 gal"\ndead = 0.1'
    storage = supply(tank, ROOF).storage
    assert storage is not None
    assert storage.volumes_m3 == pytest.approx((0.0, 2e4 * GALLON_M3))
    assert storage.areas_m2 == (0.0, 0.0)
    assert (storage.seepage_mm_d, storage.evaporation_factor) == (0.0, 0.0)
    assert storage.dead_m3 == pytest.approx(2e3 * GALLON_M3)


def test_figures_that_are_left_out_come_from_the_catalog() -> None:
    known = load_catalog().entries["supply"]
    paved = '[supply.catchments.yard]\nkind = "paved"\narea = "1 ha"'
    grass = '[supply.catchments.bank]\nkind = "grass"\narea = "1 ha"'
    found = supply(WELL, POND, ROOF, paved, grass)
    assert found.storage is not None
    assert found.storage.evaporation_factor == known["pond"]["evaporation_factor"]
    assert found.storage.seepage_mm_d == known["clay_lining"]["seepage_mm_d"]
    share = found.storage.dead_m3 / found.storage.volumes_m3[-1]
    assert share == pytest.approx(known["pond"]["dead_share"])
    assert found.storage.pump_efficiency == known["pump"]["pump_efficiency"]
    assert found.sources[0].pump_efficiency == known["pump"]["pump_efficiency"]
    assert [(part.runoff, part.first_flush_mm) for part in found.catchments] == [
        (known["roof"]["runoff_coefficient"], known["roof"]["first_flush_mm"]),
        (known["paved"]["runoff_coefficient"], known["paved"]["first_flush_mm"]),
        (known["grass"]["curve_number"], 0.0),
    ]
    lined = supply(WELL, POND + 'lining = "membrane"').storage
    assert lined is not None
    assert lined.seepage_mm_d == known["membrane_lining"]["seepage_mm_d"]


def test_figures_that_are_written_replace_the_catalog() -> None:
    pond = POND + 'seepage = "0.125 in/d"\nevaporation = 0.9\ndead = 0\npump_efficiency = 0.7'
    grass = '[supply.catchments.bank]\nkind = "grass"\narea = "1 ha"\ncurve_number = 80'
    found = supply(WELL, pond, ROOF + 'runoff = 0.8\nfirst_flush = "2 mm"', grass)
    assert found.storage is not None
    assert found.storage.seepage_mm_d == pytest.approx(3.175)
    assert (found.storage.evaporation_factor, found.storage.dead_m3) == (0.9, 0.0)
    assert (found.storage.pump_efficiency, found.storage.lining) == (0.7, "")
    assert [part.runoff for part in found.catchments] == [0.8, 80.0]
    assert found.catchments[0].first_flush_mm == 2.0
    overridden = supply(WELL, POND, "[overrides]\nsupply.pond.evaporation_factor = 1.1").storage
    assert overridden is not None
    assert overridden.evaporation_factor == 1.1


def test_restrictions() -> None:
    drought = supply(
        MAINS,
        stages(
            "drought",
            'above = "120 mm", below = "80 mm", days = ["Tue"], exempt = ["north"]',
            'above = "20 cm", below = "80 mm", share = 0.5, crown_only = true',
        ),
    ).restrictions
    assert drought is not None
    mild, hard = drought.stages
    assert (mild.enter, mild.leave, mild.share, mild.exempt) == (120.0, 80.0, 1.0, ("north",))
    assert mild.allowed == (False, True, False, False, False, False, False)
    assert (hard.enter, hard.leave, hard.share, hard.crown_only) == (200.0, 80.0, 0.5, True)
    store = supply(WELL, POND, stages("storage", "falls_to = 0.5, back_at = 0.65")).restrictions
    assert store is not None
    assert (store.index, store.stages[0].enter, store.stages[0].leave) == ("storage", 0.5, 0.65)
    dates = supply(MAINS, stages("calendar", 'from = "07-01", to = "08-31"')).restrictions
    assert dates is not None
    assert (dates.stages[0].first, dates.stages[0].last) == (182, 243)


def test_costs_and_priority() -> None:
    text = HEAD.replace("[fields.south]", "priority = 2\n[fields.south]")
    costs = '[costs]\ncurrency = "EUR"\nenergy = 0.3\nlabor = 30'
    scenario = loads(f"{text}{MAINS}{costs}", Path("here"))
    assert [field.priority for field in scenario.fields] == [2, 1]
    assert scenario.costs.currency == "EUR"
    assert (scenario.costs.energy_price_kwh, scenario.costs.labor_price_h) == (0.3, 30.0)


def test_sizing_by_default() -> None:
    """Death on 5% of any field in no more than one year of ten."""
    found = sizing(WELL, POND, SIZING)
    assert (found.plan, found.find.what, found.find.of) == ("keep", "storage", "")
    assert math.isnan(found.find.low)
    assert math.isnan(found.find.high)
    assert (found.outcome, found.field, found.share, found.odds) == ("dead", "any", 0.05, 0.1)
    assert found.against is None


def test_sizing_as_written() -> None:
    found = sizing(
        WELL, MAINS, POND, SIZING,
        'keep = { outcome = "wilt", field = "south", return_period = 20 }\n'
        'against = { what = "source rate", of = "well", low = "10 gpm", high = "100 gpm" }\n'
        "points = 5",
    )  # fmt: skip
    assert (found.outcome, found.field, found.odds) == ("wilt", "south", pytest.approx(0.05))
    assert found.share == 0.25  # where the answers count wilt as reached
    assert found.against is not None
    assert found.against.of == "well"
    assert found.against.high == pytest.approx(parse("100 gpm", FLOW))
    assert found.points == 5


@pytest.mark.parametrize(
    "find, of, high",
    [
        ('{ what = "source rate", high = "10 m3/h" }', "well", 10.0),
        ('{ what = "allowance", per = "month", high = "1000 m3" }', "well", 1000.0),
        ('{ what = "catchment area", high = "1 ha" }', "roof", 10_000.0),
        ('"source rate"', "well", math.nan),
    ],
)
def test_the_only_one_need_not_be_named(find: str, of: str, high: float) -> None:
    found = sizing(WELL, POND, ROOF, SIZING.replace('"storage"', find)).find
    assert found.of == of
    assert found.high == pytest.approx(high, nan_ok=True)


@pytest.mark.parametrize(
    ("allowance", "written", "per"),
    [
        ("", "", "year"), ('day = "9000 gal"', "", "day"), ('month = "1 Mgal"', "", "month"),
        ('day = "9000 gal", year = "1 Mgal"', "", "year"),
        ('day = "9000 gal"', ', per = "week"', "week"),
    ],
)
def test_an_allowance_is_sought_by_its_own_period(allowance: str, written: str, per: str) -> None:
    well = WELL + (f"allowance = {{ {allowance} }}\n" if allowance else "")
    of_well = f'{{ what = "allowance"{written} }}'
    assert sizing(well, POND, SIZING.replace('"storage"', of_well)).find.per == per
    of_storage = sizing(well, POND, SIZING, f"against = {of_well}").find
    assert (of_storage.what, of_storage.per) == ("storage", "year")


def test_a_shortage_is_of_no_field() -> None:
    found = sizing(WELL, POND, SIZING, 'keep = { outcome = "shortage" }')
    assert (found.outcome, found.field, found.share, found.odds) == ("shortage", "", 0.05, 0.1)


# --- faults -----------------------------------------------------------------------------------


def test_wrong_names_are_reported_with_every_other_fault() -> None:
    told = faults(
        MAINS,
        WELL.replace("60 gpm", "60"),
        POND.replace("depth", "deepth"),
        stages("drought", 'above = "1 mm", below = "1 mm", exempt = ["nort", "sooth"]'),
        '[sizing]\nplan = "kep"\nfind = { what = "source rate", of = "wel" }\n'
        'keep = { field = "noth" }\nagainst = { what = "catchment area" }',
    )
    assert [line.partition(": ")[0] for line in told] == [
        "supply.sources.well.rate",
        "supply.storage.deepth",
        "supply.restrictions.stages[1].exempt[1]",
        "supply.restrictions.stages[1].exempt[2]",
        "sizing.plan",
        "sizing.find.of",
        "sizing.keep.field",
        "sizing.against.what",
    ]
    assert "did you mean 'north'?" in told[2]
    assert "did you mean 'south'?" in told[3]
    assert "did you mean 'keep'?" in told[4]
    assert "no 'wel'; did you mean 'well'?" in told[5]


PUT = {
    "town": MAINS, "well": WELL, "pond": POND, "roof": ROOF, "sizing": SIZING,
    "tank": '[supply.storage]\nkind = "tank"\ncapacity = "1 m3"\n',
    "pond with table": '[supply.storage]\nkind = "pond"\n',
    "bank": '[supply.catchments.bank]\nkind = "grass"\narea = "1 ha"\n',
}  # fmt: skip


def table(depth: str, area: str) -> str:
    return (
        f'table = {{ depth = {{ unit = "m", values = {depth} }}, '
        f'area = {{ unit = "m2", values = {area} }} }}'
    )


@pytest.mark.parametrize(
    "there, wrong, told",
    [
        ("", "[supply]", "supply: has no water; a source, or storage with"),
        ("pond", "", "supply: has no water"),
        ("", '[supply]\nnetwerk = "1 gpm"', "supply.netwerk: is not known here; did you mean 'net"),
        # sources
        ("town", 'hours = "8 h"', "supply.sources.town.hours: needs a rate"),
        ("town", 'feeds = "storage"', "supply.sources.town.feeds: 'storage' is not possible"),
        ("town", "allowance = {}", "supply.sources.town.allowance: has no volume; one or more"),
        ("town", 'kind2 = "x"', "supply.sources.town.kind2: is not known here"),
        ("", '[supply.sources.w]\nkind = "well"', "supply.sources.w.rate: a source of kind 'well'"),
        ("well", 'stops = { above = "8 cm", below = "9 cm" }', "stops.below: is more than above"),
        ("well", "lift = 60", "supply.sources.well.lift: 60 has no unit"),
        ("well", "pump_efficiency = 60", "well.pump_efficiency: 60 is refused"),
        ("pond well", "first = true", "supply.sources.well.first: fields do not draw from a"),
        ("pond well", 'first = true\nfeeds = "storage"', "well.first: fields do not draw from"),
        (
            "town",
            'tariff = [{ to = "2 m3", price = "1 per m3" }, { to = "2 m3", price = "1 per m3" }, '
            '{ price = "1 per m3" }]',
            "supply.sources.town.tariff[2].to: does not rise; more than 2 m3",
        ),
        (
            "town",
            'tariff = [{ price = "1 per m3" }, { to = "2 m3", price = "1 per m3" }]',
            "supply.sources.town.tariff[1].to: is missing; only the last block has no end",
        ),
        (
            "town",
            'tariff = [{ to = "2 m3", price = "1 per m3" }]',
            "supply.sources.town.tariff[1].to: leaves water without a price",
        ),
        ("town", 'tariff = "3 per acre"', "town.tariff[1].price: '3 per acre' is not a price"),
        # storage
        ("well tank", 'depth = "1 m"', "supply.storage.depth: a tank is closed and has none"),
        ("town tank", "", "supply.storage: nothing fills the tank"),
        ("well pond", 'lining = "clay"\nseepage = "1 mm/d"', "storage.lining: conflicts with"),
        ("well pond", 'lining = "cly"', "supply.storage.lining: 'cly' is not known; did you mean"),
        ("well pond", table("[0, 1]", "[1, 2]"), "supply.storage.capacity: conflicts with table"),
        ("well pond with table", "", "supply.storage.capacity: is missing; a pond needs"),
        ("well pond with table", table("[0, 1, 1]", "[1, 2, 3]"), "table.depth: does not rise"),
        ("well pond with table", table("[1, 2]", "[1, 2]"), "table.depth: does not start at the"),
        ("well pond with table", table("[0, 1]", "[2, 1]"), "table.area: does not rise"),
        ("well pond with table", table("[0, 1]", "[1, 2, 3]"), "table.area: has 3 values, depth"),
        ("well pond with table", table("[0]", "[1]"), "storage.table.depth: [0.0] is refused"),
        # catchments
        ("town roof", "", "supply.catchments.roof: drains into a missing storage"),
        ("pond roof", "curve_number = 80", "curve_number: a catchment of kind 'roof' has none"),
        ("pond bank", "runoff = 0.5", "supply.catchments.bank.runoff: a catchment of kind 'grass'"),
        # restrictions
        ("town", stages("storage", "falls_to = 0.5, back_at = 0.6"), "restrictions.index: 'stor"),
        ("town", stages("drought"), "supply.restrictions.stages: nothing is refused"),
        ("town", stages("drought", "falls_to = 0.5"), "falls_to: index 'drought' does not use it"),
        ("town", stages("drought", 'above = "1 mm"'), "stages[1].below: is missing; index 'drou"),
        ("town", stages("calendar", 'from = "07-01"'), "stages[1].to: is missing; index 'calen"),
        (
            "town",
            stages("drought", 'above = "9 mm", below = "8 mm"', 'above = "9 mm", below = "8 mm"'),
            "supply.restrictions.stages[2].above: does not rise; more than 9",
        ),
        (
            "town",
            stages("drought", 'above = "8 mm", below = "9 mm"'),
            "supply.restrictions.stages[1].below: is more than above; at most above",
        ),
        (
            "well pond",
            stages("storage", "falls_to = 0.5, back_at = 0.6", "falls_to = 0.6, back_at = 0.6"),
            "supply.restrictions.stages[2].falls_to: does not fall; less than 0.5",
        ),
        (
            "well pond",
            stages("storage", "falls_to = 0.5, back_at = 0.4"),
            "supply.restrictions.stages[1].back_at: is less than falls_to",
        ),
        (
            "town",
            stages("calendar", *['from = "07-01", to = "07-02"'] * (MOST_SITE_STAGES + 1)),
            f"should have at most {MOST_SITE_STAGES} items",
        ),
        # costs
        ("town", "[costs]\nenergy = -1", "costs.energy: -1 is out of range; 0 to"),
        # sizing
        ("town sizing", "", "sizing.find.what: the scenario has no storage to size; can be sized"),
        ("sizing", "", "sizing.find.what: the scenario has no storage to size; write supply"),
        ("well pond sizing", 'against = "storage"', "sizing.against: is the same as find"),
        ("well town pond sizing", 'against = "source rate"', "against.of: is missing; one of"),
        ("well pond sizing", "keep = { odds = 0.1, return_period = 10 }", "keep.return_period"),
        ("well pond sizing", "keep = { outcome = 'shortage', field = 'north' }", "keep.field: a"),
        ("well pond sizing", "keep = { outcome = 'ded' }", "keep.outcome: 'ded' is not known; did"),
        ("well pond sizing", "points = 1", "sizing.points: 1 is refused"),
    ],
)  # fmt: skip
def test_faults(there: str, wrong: str, told: str) -> None:
    parts = []
    for name in sorted(PUT, key=len, reverse=True):
        if name in there:
            parts.append((there.index(name), PUT[name]))
            there = there.replace(name, " " * len(name))
    found = faults(*(text for _, text in sorted(parts)), wrong)
    assert any(told in line for line in found), found


@pytest.mark.parametrize(
    "find, told",
    [
        ('{ what = "storage", of = "pond" }', "sizing.find.of: there is one storage"),
        ('{ what = "storage", low = 5 }', "find.low: 5 has no unit; write \"5 gal\", or in Mgal"),
        ('{ what = "storage", low = "1 gpm" }', "find.low: unit 'gpm' cannot be converted to gal"),
        ('{ what = "storage", low = "-1 m3" }', "'-1 m3' is out of range; 0 to 100,000,000 m3"),
        ('{ what = "storage", low = "2 m3", high = "2 m3" }', "find.high: is not more than low"),
        ('{ what = "storage", per = "day" }', "sizing.find.per: 'storage' is not by period"),
        ('{ what = "storages" }', "sizing.find.what: 'storages' is not known; did you mean"),
    ],
)
def test_faults_of_what_is_sought(find: str, told: str) -> None:
    found = faults(WELL, POND, SIZING.replace('"storage"', find))
    assert any(told in line for line in found), found


def test_supply_is_said_once() -> None:
    text = HEAD.replace("[weather]", 'supply = "50000 gal"\n[weather]')
    with pytest.raises(FaultyInput, match=r"supply: conflicts with site\.supply; keep one of them"):
        loads(text + MAINS, Path("here"))


def test_a_pond_whose_sides_meet() -> None:
    (told,) = faults(WELL, POND.replace("1 Mgal", "1000 gal"))
    assert told == (
        "supply.storage.capacity: a pond 10 ft deep with sides of 3:1 holds no less than 89,800 "
        'gal; "89800 gal" or more, less depth or steeper sides'
    )
    (told,) = faults(WELL, POND.replace("1 Mgal", "10 m3"))
    assert "holds no less than 340 m3;" in told


def test_a_goal_takes_one_field_or_any() -> None:
    keep = 'keep = { outcome = "dormant", field = ["north", "south"] }\n'
    (told,) = faults(WELL, POND, SIZING + keep)
    assert told == (
        "sizing.keep.field: ['north', 'south'] is not one field; the key of a field, or 'any' for "
        "all of them"
    )


@pytest.mark.parametrize("field", ["", ', field = "any"'])
def test_a_goal_for_any_field(field: str) -> None:
    found = sizing(WELL, POND, SIZING + f'keep = {{ outcome = "dormant"{field} }}\n')
    assert found.field == ANY_FIELD


# --- what a scenario runs on ------------------------------------------------------------------


@pytest.fixture(scope="module")
def pond() -> Scenario:
    return shipped("pond")


def test_the_shipped_pond_has_the_weather_of_the_demo(pond: Scenario) -> None:
    demo = shipped()
    assert replace(demo.weather, futures={}) == pond.weather
    assert demo.site == pond.site


def test_resolved_supply(pond: Scenario) -> None:
    assert pond.supply is not None
    rows = resolved_values(pond)
    by_key = {row.key: row for row in rows}
    assert len(by_key) == len(rows)
    assert all(row.source and row.grade for row in rows)
    assert all(isinstance(row.value, str) or math.isfinite(row.value) for row in rows)
    coefficient = pond.catalog.get("supply", "roof").parameter("runoff_coefficient")
    assert by_key["supply.catchments.roof.runoff"] == Row(
        "supply.catchments.roof.runoff", coefficient.value, "1", coefficient.grade,
        ", ".join(coefficient.source), "0.75 to 0.95, 1 in 20", "supply.roof.runoff_coefficient",
        (0.75, 0.95),
    )  # fmt: skip
    assert by_key["supply.storage.capacity"].value == pond.supply.storage.volumes_m3[-1]  # type: ignore[union-attr]
    assert by_key["supply.sources.well.rate"].source == SCENARIO
    assert by_key["supply.sources.well.feeds"].source == DEFAULT
    assert by_key["supply.sources.mains.tariff[1].price"].unit == "USD/m3"
    assert by_key["supply.restrictions.stages[1].exempt"].value == "stadium"
    assert by_key["sizing.keep.odds"].source == SCENARIO
    # Weather made from normals rests on numbers of the catalog.
    for name in pond.catalog.get("generated_weather", "all").numbers:
        assert f"generated_weather.all.{name}" in by_key


def test_resolved_values_list_bare_values_and_defaults() -> None:
    text = MAINS + 'tariff = "1 per m3"', WELL, POND + 'seepage = "1 mm/d"', SIZING
    by_key = {row.key: row for row in resolved_values(read(*text))}
    assert by_key["supply.sources.town.tariff[1].price"].source == SCENARIO
    assert by_key["sizing.find.what"].source == SCENARIO
    assert by_key["sizing.keep.field"].source == DEFAULT
    seepage = by_key["supply.storage.seepage"]
    assert (seepage.value, seepage.grade, seepage.unit) == (1.0, SCENARIO, "mm/d")
    assert "supply.storage.lining" not in by_key
    for at in ("supply.storage", "supply.sources.well"):
        assert f"{at}.pump_efficiency" not in by_key  # nothing is lifted


def test_a_record_is_not_simulated() -> None:
    assert not any(row.key.startswith("generated") for row in resolved_values(read(MAINS)))
