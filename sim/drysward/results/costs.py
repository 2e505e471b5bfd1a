"""What water, pumping, work and building cost, at the prices of the scenario."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.results.worth import capital_recovery_factor, present_worth_factor
from drysward.scenario.model import Costs, SourceSpec, SupplySpec, TariffBlock

FloatArray = NDArray[np.float64]

WATER_KG_M3 = 1000.0
GRAVITY_M_S2 = 9.80665
J_PER_KWH = 3.6e6


def block_tariff(month_m3: ArrayLike, blocks: Sequence[TariffBlock]) -> FloatArray:
    """Price of what is drawn in a month, for volumes of any shape.

    Each m3 costs the price of the block it falls in; the last block has no end. Nothing is
    charged without blocks. Common practice of water works.
    """
    month = np.asarray(month_m3, float)
    cost = np.zeros_like(month)
    start_m3 = 0.0
    for i, block in enumerate(blocks):
        end_m3 = block.upto_m3 if i + 1 < len(blocks) else np.inf
        cost += block.price_m3 * np.clip(month - start_m3, 0.0, end_m3 - start_m3)
        start_m3 = end_m3
    return cost


def pumping_energy_kwh(volume_m3: ArrayLike, lift_m: float, efficiency: float) -> FloatArray:
    """Energy that lifts a volume: rho g V H / (3.6e6 eta).

    ``lift_m`` is all of the head, that of pressure and friction included; ``efficiency`` (above
    0, up to 1) that of pump and motor together. Plain physics.
    """
    joules = WATER_KG_M3 * GRAVITY_M_S2 * np.asarray(volume_m3, float) * lift_m
    return joules / (J_PER_KWH * efficiency)


def water_cost(draws_m3: FloatArray, sources: Sequence[SourceSpec]) -> FloatArray:
    """Price of each month's water (..., 12) by the tariffs, from draws (..., S, 12)."""
    cost = np.zeros((*draws_m3.shape[:-2], draws_m3.shape[-1]))
    for s, source in enumerate(sources):
        cost += block_tariff(draws_m3[..., s, :], source.tariff)
    return cost


def energy_kwh(draws_m3: FloatArray, from_storage_m3: FloatArray, supply: SupplySpec) -> FloatArray:
    """Energy of a year's pumping (..., Y): from the sources, and out of the storage.

    ``draws_m3`` (..., Y, S, 12) is what each source gave, ``from_storage_m3`` (..., Y) what the
    fields drew from the storage. Water that goes through the storage is lifted twice.
    """
    energy = np.zeros(draws_m3.shape[:-2])
    for s, source in enumerate(supply.sources):
        drawn = draws_m3[..., s, :].sum(axis=-1)
        energy += pumping_energy_kwh(drawn, source.lift_m, source.pump_efficiency)
    if supply.storage is not None:
        store = supply.storage
        energy += pumping_energy_kwh(from_storage_m3, store.lift_m, store.pump_efficiency)
    return energy


def storage_first_cost(volume_m3: float, costs: Costs) -> float:
    """Price of building a pond or tank that holds ``volume_m3``; 0 without a price."""
    return volume_m3 * costs.storage_price_m3


def has_life(costs: Costs) -> bool:
    """Whether the scenario says how long it all lasts, so that costs can be added up over it."""
    return costs.life_years > 0


def present_worth(first: float, yearly: float, costs: Costs) -> float:
    """All costs of the life in money of today: ``first`` now, ``yearly`` at each year's end.

    ValueError when the scenario gives no life.
    """
    return first + yearly * present_worth_factor(costs.discount_rate, _life(costs))


def equal_yearly_cost(first: float, yearly: float, costs: Costs) -> float:
    """All costs of the life as the same sum every year: ``yearly`` and the first cost paid back.

    ValueError when the scenario gives no life.
    """
    return yearly + first * capital_recovery_factor(costs.discount_rate, _life(costs))


def _life(costs: Costs) -> int:
    if not has_life(costs):
        raise ValueError("the scenario gives no life")
    return costs.life_years
