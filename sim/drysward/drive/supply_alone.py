"""A store stepped by itself, with inflow and request given: for studies without a field."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from drysward.day.records import (
    SITE_STAGE,
    SOURCE,
    STORE,
    SUPPLY,
    SUPPLY_TRACE,
    SUPPLY_YEAR,
    USED,
    records,
)
from drysward.day.supply import SupplyInput, SupplyState, count_supply, supply_day


def run_alone(
    capacity_m3: float, inflow_m3: ArrayLike, asked_m3: ArrayLike, start_share: float = 1.0
) -> tuple[np.recarray, np.recarray]:
    """A closed store under the same day step as a site's.

    Parameters
    ----------
    capacity_m3 : all that the store holds.
    inflow_m3, asked_m3 : (n,) volumes that run in and are asked for, step by step.
    start_share : water in store at the start, as a share of the capacity.

    Returns
    -------
    SUPPLY_TRACE (n,), and SUPPLY_YEAR (1,) of all steps together. ValueError when the lengths
    differ or a volume is negative.
    """
    inflow, asked = np.asarray(inflow_m3, float), np.asarray(asked_m3, float)
    if inflow.shape != asked.shape or inflow.ndim != 1:
        raise ValueError(f"inflow has shape {inflow.shape}, request {asked.shape}")
    if capacity_m3 < 0.0 or (inflow < 0.0).any() or (asked < 0.0).any():
        raise ValueError("volumes are not negative")
    n = inflow.size
    site = records(SUPPLY, 1)
    site.network, site.capacity = np.inf, capacity_m3
    given = SupplyInput(
        site=site,
        sources=records(SOURCE, 0),
        source_m3=np.zeros((n, 0)),
        direct_m3=np.zeros((n, 0)),
        catchment_m3=inflow,
        rain_mm=np.zeros(n),
        evaporation_mm=np.zeros(n),
        volumes=np.array([0.0, capacity_m3]),
        areas=np.zeros(2),
        stages=records(SITE_STAGE, 0),
        exempt=np.zeros((0, 1)),
        priority=np.zeros(1, np.int64),
    )
    state = SupplyState(
        store=records(STORE, 1),
        used=records(USED, 0),
        years=records(SUPPLY_YEAR, 1),
        draws=np.zeros((1, 0, 12)),
        store_month=np.zeros((1, 12)),
        trace=records(SUPPLY_TRACE, n),
    )
    state.store.volume = state.years.least_store = capacity_m3 * start_share
    share = np.zeros(1)
    for step in range(n):
        line = state.trace[step]
        supply_day(given, state, asked[step : step + 1], share, line, step, np.zeros(0))
        line.short = line.asked - line.granted
        count_supply(line, state.store[0], state.years[0])
    return state.trace, state.years
