"""From yearly numbers to answers: odds with their sampling error, and the dry-year demand."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from drysward.day.records import STAGES
from drysward.results.frequency import demand_at_return_periods, probability_of, thinned


def answers(
    result: xr.Dataset,
    periods: tuple[float, ...] | None = None,
    confidence: float | None = None,
) -> xr.Dataset:
    """Odds, days and water of every field and plan.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    periods : return periods (years) of the demand; the scenario's when None.
    confidence : of the limits on the demand, the scenario's when None; those on odds are 90 %.

    Returns
    -------
    Dataset by field, plan, stage and period; depths in mm gross.
    """
    if periods is None:
        periods = tuple(json.loads(result.attrs["return_periods"]))
    if confidence is None:
        confidence = float(result.attrs["confidence"])
    independent = int(result.attrs["independent_years"])
    keys = ("field", "plan")
    size = tuple(result.sizes[k] for k in keys)
    n_stage = len(STAGES)
    odds = {
        name: np.full((*size, n_stage), np.nan)
        for name in ("probability", "probability_se", "probability_low", "probability_high")
    }
    demand = {
        name: np.full((*size, len(periods)), np.nan)
        for name in ("demand", "demand_low", "demand_high", "demand_fitted")
    }
    for i in range(size[0]):
        for j in range(size[1]):
            for k, stage in enumerate(STAGES):
                reached = float(result["reached"].values[k])
                events = result[f"peak_{stage}"].values[i, j] >= reached
                told = probability_of(events, independent)
                odds["probability"][i, j, k] = told.p
                odds["probability_se"][i, j, k] = told.standard_error
                odds["probability_low"][i, j, k] = told.low
                odds["probability_high"][i, j, k] = told.high
            water = result["irrigation_gross"].values[i, j]
            if independent < water.size:
                water = thinned(water, independent)
            for k, level in enumerate(demand_at_return_periods(water, periods, confidence)):
                demand["demand"][i, j, k] = level.estimate
                demand["demand_low"][i, j, k] = level.low
                demand["demand_high"][i, j, k] = level.high
                demand["demand_fitted"][i, j, k] = level.how != "record"
    days = np.stack([result[f"days_{s}"].mean("year").values for s in STAGES], axis=-1)
    out = xr.Dataset(
        {
            **{name: ((*keys, "stage"), values) for name, values in odds.items()},
            **{name: ((*keys, "period"), values) for name, values in demand.items()},
            "days_mean": ((*keys, "stage"), days),
            "season_water": (keys, result["irrigation_gross"].mean("year").values),
        },
        coords={
            **{name: result.coords[name] for name in ("field", "plan", "stage")},
            "field_label": result["field_label"],
            "plan_label": result["plan_label"],
            "area_m2": result["area_m2"],
            "period": ("period", np.asarray(periods, float), {"units": "year"}),
        },
        attrs=dict(result.attrs),
    )
    out["demand_fitted"] = out["demand_fitted"].astype(bool)
    return out
