"""What water, pumping and work cost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drysward.scenario.model import SourceSpec, SupplySpec, TariffBlock

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
    """Price of a year's water (..., Y) by the tariffs, from draws (..., Y, S, 12) by month."""
    cost = np.zeros(draws_m3.shape[:-2])
    for s, source in enumerate(sources):
        cost += block_tariff(draws_m3[..., s, :], source.tariff).sum(axis=-1)
    return cost


def energy_kwh(draws_m3: FloatArray, from_store_m3: FloatArray, supply: SupplySpec) -> FloatArray:
    """Energy of a year's pumping (..., Y): from the sources, and out of the storage.

    ``draws_m3`` (..., Y, S, 12) is what each source gave, ``from_store_m3`` (..., Y) what the
    fields drew from the storage. Water that goes through the storage is lifted twice.
    """
    energy = np.zeros(draws_m3.shape[:-2])
    for s, source in enumerate(supply.sources):
        drawn = draws_m3[..., s, :].sum(axis=-1)
        energy += pumping_energy_kwh(drawn, source.lift_m, source.pump_efficiency)
    if supply.storage is not None:
        store = supply.storage
        energy += pumping_energy_kwh(from_store_m3, store.lift_m, store.pump_efficiency)
    return energy
