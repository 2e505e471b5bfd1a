"""Prices in a scenario: what is written is what is reckoned with; faults told at once."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from drysward.catalog import SCENARIO
from drysward.faults import FaultyInput
from drysward.quantities import AREA, VOLUME, parse
from drysward.scenario.load import loads
from drysward.scenario.model import Costs, Scenario, SystemPrice, TariffBlock
from drysward.scenario.resolved import DEFAULT, resolved_values
from drysward.scenario.values import price_per

FT2 = 0.3048**2
GAL = 0.003785411784
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
root_zone = { like = "native_loam", compaction = "moderate" }
delivery = "hand_hose"
[fields.south]
area = "1 acre"
species = "bermudagrass"
root_zone = "sand_over_gravel_12in"
delivery = { system = "in_ground_rotors", uniformity = 0.6 }
[plans.keep]
rule = "none"
"""
MAINS = '[supply.sources.town]\nkind = "mains"\n'
TARIFF = 'tariff = "2 per m3"\n'
TANK = '[supply.sources.town]\nkind = "mains"\nfeeds = "both"\n[supply.storage]\nkind = "tank"\n' \
    'capacity = "20000 gal"\n'  # fmt: skip


def read(*parts: str) -> Scenario:
    return loads(HEAD + "".join(parts), Path("here"))


def faults(*parts: str) -> list[str]:
    with pytest.raises(FaultyInput) as refused:
        read(*parts)
    return [str(fault).removeprefix("scenario: ") for fault in refused.value.faults]


def test_every_price() -> None:
    costs = read(
        TANK,
        """
        [costs]
        currency = "EUR"
        energy = 0.2
        labor = 30
        water = [{ to = "10 m3", price = "1 per m3" }, { price = "2 per m3" }]
        construction = { native_loam = "0 per ft2", sand_over_gravel_12in = "8.50 per ft2" }
        irrigation = { in_ground_rotors = "0.90 per ft2", hand_hose = 1200 }
        pond = "0.04 per gal"
        renovation = "7 per m2"
        life = "20 yr"
        discount_rate = 0.04
        """,
    ).costs
    assert (costs.currency, costs.energy_price_kwh, costs.labor_price_h) == ("EUR", 0.2, 30.0)
    assert costs.water == (TariffBlock(10.0, 1.0), TariffBlock(math.inf, 2.0))
    assert costs.construction == {
        "native_loam": 0.0, "sand_over_gravel_12in": pytest.approx(8.5 / FT2, rel=1e-12)
    }  # fmt: skip
    assert costs.irrigation["in_ground_rotors"].per_m2 == pytest.approx(0.9 / FT2, rel=1e-12)
    assert costs.irrigation["hand_hose"] == SystemPrice(lump=1200.0)
    assert costs.storage_price_m3 == pytest.approx(0.04 / GAL, rel=1e-12)
    assert costs.renovation_price_m2 == pytest.approx(7.0)
    assert (costs.life_years, costs.discount_rate) == (20, 0.04)


def test_there_are_no_prices_of_ours() -> None:
    assert read().costs == Costs()
    costs = read("[costs]\nlife = 20").costs
    assert costs == Costs(life_years=20)
    assert costs.discount_rate == 0.0


@pytest.mark.parametrize(
    "written, price",
    [
        ("8.50 per ft2", 8.5 / FT2),
        ("85 per 10 ft2", 8.5 / FT2),
        ("90 per m2", 90.0),
        ("40000 per acre", 40000 / (43560 * FT2)),
        ("0 per ha", 0.0),
    ],
)
def test_prices_of_ground(written: str, price: float) -> None:
    assert price_per(written, AREA) == pytest.approx(price, rel=1e-12)
    size = "3.7 acre"
    assert price_per(f"5 per {size}", AREA) * parse(size, AREA) == pytest.approx(5.0, rel=1e-12)


@pytest.mark.parametrize("wrong", [8.5, "8.50", "8.50 per", "1 per gal", "$8 per ft2", "-1 per m2"])
def test_what_is_no_price_of_ground(wrong: object) -> None:
    with pytest.raises(ValueError, match=r'price of ground; a price and an area, such as "8\.50'):
        price_per(wrong, AREA)
    with pytest.raises(ValueError, match="price of water"):
        price_per("8.50 per ft2", VOLUME)


@pytest.mark.parametrize(
    "there, wrong, told",
    [
        (MAINS + TARIFF, 'water = "1 per m3"', "costs.water: conflicts with the tariff of a"),
        (
            "",
            'water = [{ price = "1 per m3" }, { price = "2 per m3" }]',
            "costs.water[1].to: is missing; only the last block has no end",
        ),
        ("", 'water = "1 per ft2"', "costs.water[1].price: '1 per ft2' is not a price of water"),
        (
            "",
            'construction = { native_lome = "1 per ft2" }',
            "costs.construction.native_lome: is not known; did you mean 'native_loam'?",
        ),
        (
            "",
            'construction = { native_clay_loam = "1 per ft2" }',
            "costs.construction.native_clay_loam: no field has it; did you mean",
        ),
        (
            "",
            "construction = { native_loam = 8.5 }",
            "costs.construction.native_loam: 8.5 is not a price of ground; a price and an area",
        ),
        (
            "",
            'irrigation = { subsurface_drip = "1 per ft2" }',
            "costs.irrigation.subsurface_drip: no field has it; known: hand_hose, in_ground",
        ),
        (
            "",
            'irrigation = { hand_hoes = "1 per ft2" }',
            "costs.irrigation.hand_hoes: is not known; did you mean 'hand_hose'?",
        ),
        ("", "irrigation = { hand_hose = -1 }", "costs.irrigation.hand_hose: -1 is out of range;"),
        (
            "",
            'irrigation = { hand_hose = "much" }',
            "or a bare number for one system that serves all of its fields",
        ),
        ("", 'pond = "0.04 per gal"', "costs.pond: prices a missing storage; write"),
        ("", 'renovation = "1 per gal"', "costs.renovation: '1 per gal' is not a price of ground"),
        ("", "life = 0", "costs.life: 0 is not a number of years; whole years from 1 to 100"),
        ("", "life = 20.5", "costs.life: 20.5 is not a number of years"),
        ("", 'life = "20 days"', "costs.life: '20 days' is not a number of years"),
        ("", "discount_rate = 0.04", "costs.discount_rate: needs a life; write life"),
        ("", "life = 20\ndiscount_rate = 4", "costs.discount_rate: 4 is refused"),
        ("", 'labor = "30 per day"', "is not a price of labor; a price of an hour of work, such"),
        ("", "watr = 1", "costs.watr: is not known here; did you mean 'water'?"),
    ],
)
def test_faults(there: str, wrong: str, told: str) -> None:
    found = faults(there, f"[costs]\n{wrong}\n")
    assert len(found) == 1, found
    assert told in found[0]


@pytest.mark.parametrize("text", ["30", "30.0", '"30 per h"', '" 30.0 per hour "'])
def test_labor_is_priced_by_the_hour(text: str) -> None:
    assert read(f"[costs]\nlabor = {text}\n").costs.labor_price_h == pytest.approx(30.0)


def test_resolved_prices() -> None:
    text = '[costs]\nlabor = 30\nwater = "2 per m3"\nconstruction = { native_loam = "1 per m2" }\n'
    rows = {row.key: row for row in resolved_values(read(text, "life = 20\n"))}
    assert rows["costs.labor"].source == SCENARIO
    assert rows["costs.energy"].source == DEFAULT
    water = rows["costs.water[1].price"]
    assert (water.value, water.unit) == (2.0, "USD/m3")
    assert rows["costs.construction.native_loam"].source == SCENARIO
    assert rows["costs.life"].value == 20
    assert not any(row.key.startswith("costs.") for row in resolved_values(read()))
