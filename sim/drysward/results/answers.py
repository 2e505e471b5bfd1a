"""From yearly numbers to answers: odds with their sampling error, and the dry-year demand."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from drysward.day.records import STAGES
from drysward.faults import Fault, FaultyInput
from drysward.results.frequency import demand_of_years, distinct_years
from drysward.results.odds import error_of_mean, standard_error, wilson_limits, worst_in_ten
from drysward.results.terms import with_terms


def answers(
    result: xr.Dataset,
    periods: tuple[float, ...] | None = None,
    confidence: float | None = None,
) -> xr.Dataset:
    """Days below playing condition, odds, days of each stage and water of every field and plan.

    The first is the number to rank plans by: it grows with every bad day, where odds of a stage
    that comes each year are the same under all plans.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    periods : return periods (years) of the demand; the scenario's when None.
    confidence : of the limits on the demand, the scenario's when None; those on odds are 90%.

    Returns
    -------
    Dataset by field, plan, stage and period: ``days_below_condition_mean`` (d), its sampling
    error ``days_below_condition_se`` and the worst year in ten ``days_below_condition_1in10``;
    ``probability`` of each stage (1) with ``probability_se``, ``_low`` and ``_high``;
    ``days_mean`` (d); ``season_water`` and ``demand`` with limits (mm, as drawn).

    Raises
    ------
    FaultyInput
        When ``result`` is no Dataset of ``drysward.run``.

    Examples
    --------
    >>> answers = drysward.answers(drysward.run(drysward.shipped("demo")))
    >>> answers["probability"].sel(stage="wilt").to_series()
    """
    _refuse_others(result)
    if periods is None:
        periods = tuple(json.loads(result.attrs["return_periods"]))
    if confidence is None:
        confidence = float(result.attrs["confidence"])
    independent = int(result.attrs["independent_years"])
    keys = ("field", "plan")
    spells = np.stack([result[f"longest_{stage}"].values for stage in STAGES], axis=2)
    seen = spells.shape[-1]
    independent = min(independent, seen)
    p = (spells >= int(result.attrs["reached_days"])).sum(axis=-1) / seen
    low, high = wilson_limits(p * independent, independent)
    odds = {
        "probability": p,
        "probability_se": standard_error(p, independent),
        "probability_low": low,
        "probability_high": high,
    }
    water = result["irrigation_gross"].values
    found = demand_of_years(water, periods, confidence, independent, distinct_years(result))
    demand = {
        "demand": found.estimate,
        "demand_low": found.low,
        "demand_high": found.high,
        "demand_fitted": found.fitted,
    }
    days = np.stack([result[f"days_{s}"].values.mean(axis=-1) for s in STAGES], axis=-1)
    below = days_below(result["days_below_condition"].values, independent)
    out = xr.Dataset(
        {
            **{name: (keys, values) for name, values in below.items()},
            **{name: ((*keys, "stage"), values) for name, values in odds.items()},
            **{name: ((*keys, "period"), values) for name, values in demand.items()},
            "days_mean": ((*keys, "stage"), days),
            "season_water": (keys, result["irrigation_gross"].values.mean(axis=-1)),
            **{name: result[name] for name in _OF_DAYS if name in result},
        },
        coords={
            **{name: result.coords[name] for name in ("field", "plan", "stage")},
            "field_label": result["field_label"],
            "plan_label": result["plan_label"],
            **({"plan_season": result["plan_season"]} if "plan_season" in result else {}),
            "area_m2": result["area_m2"],
            "period": np.asarray(periods, float),
        },
        attrs=dict(result.attrs),
    )
    return with_terms(out)


_OF_DAYS = ("outside_odds", "outside_day", "opening_odds")


def _refuse_others(result: xr.Dataset) -> None:
    """FaultyInput unless a Dataset has the years of a run."""
    if not isinstance(result, xr.Dataset):
        what = f"is a {type(result).__name__}, not a result"
        how = 'run the scenario first: drysward.run(drysward.load("fields.toml"))'
        raise FaultyInput(Fault("result", what, how))
    if all(f"longest_{stage}" in result for stage in STAGES) and "points_done" not in result.attrs:
        return
    kinds = (
        ("a sweep, which has the answers of every point", "points_done" in result.attrs),
        ("a front", "choice" in result.dims),
        ("a ledger", "day" in result.dims),
        ("answers already", "probability" in result),
        ("draws, whose answers begin with doubt_", "doubt_draws" in result.attrs),
    )
    what = next((kind for kind, is_it in kinds if is_it), "no result of a run")
    raise FaultyInput(Fault("result", f"is {what}", "the Dataset of drysward.run"))


def days_below(days: np.ndarray, independent: int) -> dict[str, np.ndarray]:
    """Days below playing condition (..., Y) over the years: their mean with its sampling error, and
    the worst year in ten.
    """
    return {
        "days_below_condition_mean": days.mean(axis=-1),
        "days_below_condition_se": error_of_mean(days, independent),
        "days_below_condition_1in10": worst_in_ten(days),
    }
