"""From yearly numbers to answers: odds with their sampling error, and the dry-year demand."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from drysward.day.records import STAGES
from drysward.results.frequency import demand_at_return_periods, thinned
from drysward.results.odds import standard_error, wilson_limits


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
    peaks = np.stack([result[f"peak_{stage}"].values for stage in STAGES], axis=2)
    seen = peaks.shape[-1]
    independent = min(independent, seen)
    p = (peaks >= result["reached"].values[:, None]).sum(axis=-1) / seen
    low, high = wilson_limits(p * independent, independent)
    odds = {
        "probability": p,
        "probability_se": standard_error(p, independent),
        "probability_low": low,
        "probability_high": high,
    }
    water = result["irrigation_gross"].values
    if independent < seen:
        water = thinned(water, independent)
    found = demand_at_return_periods(water, periods, confidence)
    demand = {
        "demand": found.estimate,
        "demand_low": found.low,
        "demand_high": found.high,
        "demand_fitted": found.fitted,
    }
    days = np.stack([result[f"days_{s}"].values.mean(axis=-1) for s in STAGES], axis=-1)
    return xr.Dataset(
        {
            **{name: ((*keys, "stage"), values) for name, values in odds.items()},
            **{name: ((*keys, "period"), values) for name, values in demand.items()},
            "days_mean": ((*keys, "stage"), days),
            "season_water": (keys, result["irrigation_gross"].values.mean(axis=-1)),
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
