"""The best plan, by one rule for screen and page, and the numbers that the rule reads.

Numbers are over all draws where there are any, so that days, water and odds agree, else those of
the run with the likely numbers.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from drysward.results.text import (
    BEST_PLAN,
    GOAL_PLAN,
    NONE,
    STAGE_WORDS,
    UNKNOWN,
    dry_period,
    limits_in_brackets,
    of_100,
)

RISK = "dormant"
"""The stage that must stay rare for a plan to keep a field, unless another is chosen."""
KEEPS = 0.10
"""A plan keeps a field when the stage comes in no larger share of years than this (own choice)."""
CLOSE_DAYS = 7.0
"""Between plans whose days below differ by no more a year, water decides (own choice)."""

CHOSEN_PLAN = "supply_plan"
"""Attribute: the plan that a supply's answer is to be about."""

# From 5 to 95% of a normal distribution, in standard deviations.
_WIDTH_90 = 3.29

_BELOW, _OF_DRAWS = "days_below_condition_mean", "doubt_days_below_condition"


def best_plan(result: xr.Dataset, stage: str = RISK) -> str:
    """The plan to choose: it keeps the most fields; of those that keep as many, it has the least
    water of all within a week of the fewest days below playing condition.

    Days are the mean of the fields of turf. A file without days below is judged by its odds of
    wilt, of equals by water.
    """
    days, close = _days(result), CLOSE_DAYS
    if days is None:
        days, close = np.nan_to_num(_by_plan(odds(result, "wilt")[0])), 0.0
    kept = kept_fields(result, stage).sum("field").transpose("plan").values
    near = kept == kept.max()
    near &= days <= days[near].min() + close
    order = np.lexsort((days, site_water(result)[0].values, ~near))
    return _keys(result)[int(order[0])]


def beside_limit(p: float) -> str:
    """``10.4``: of 100, with a decimal where without one it would be the limit itself."""
    limit, text = f"{100.0 * KEEPS:.0f}", of_100(p)
    if text != limit or p == KEEPS:
        return text
    text = f"{100.0 * p:.1f}"
    if text == f"{limit}.0":
        return f"just {'over' if p > KEEPS else 'under'} {limit}"
    return text


def odds_and_limits(p: float, low: float, high: float) -> str:
    """Odds of 100 years with their limits, all in percent, as the sentences have them:
    ``10.4 (7-43)``.
    """
    if np.isnan(p):
        return UNKNOWN
    return limits_in_brackets(NONE if p == 0.0 else beside_limit(p / 100.0), low, high)


def plan_of_goal(result: xr.Dataset) -> str:
    """The plan that the [sizing] of a supply names, "" where there is none."""
    plan = str(result.attrs.get("sizing_plan", ""))
    return plan if plan in _keys(result) else ""


def supply_plan(supply: xr.Dataset) -> str:
    """The plan that the answer of a supply is about: the one chosen for it, else that of the goal,
    where it demands water; else the one with the largest demand.
    """
    for plan in (str(supply.attrs.get(CHOSEN_PLAN, "")), plan_of_goal(supply)):
        if plan in _keys(supply) and float(supply["demand_mean"].sel(plan=plan)) > 0.0:
            return plan
    return _keys(supply)[int(np.argmax(supply["demand_mean"].values))]


def shown_plan(result: xr.Dataset) -> str:
    """The plan that an answer is about: that of the goal of a sizing, else the best."""
    return plan_of_goal(result) or best_plan(result)


def shown_plan_and_which(result: xr.Dataset) -> tuple[str, str]:
    """``shown_plan``, and what it is: the plan of the goal, or the best."""
    return shown_plan(result), GOAL_PLAN if plan_of_goal(result) else BEST_PLAN


def rule_text(stage: str = RISK) -> str:
    """The rule of ``best_plan`` in a sentence, without capital and full stop."""
    return (
        f"best plan: of the plans that keep the most fields ({limit_text(stage)}), the one with "
        f"the least water among those within {CLOSE_DAYS:.0f} days a year of the fewest days below "
        "playing condition"
    )


def limit_text(stage: str = RISK) -> str:
    """``dormancy in no more than 10 of 100 years``: when a plan keeps a field."""
    return f"{STAGE_WORDS[stage]} in no more than {100.0 * KEEPS:.0f} of 100 years"


def kept_fields(result: xr.Dataset, stage: str = RISK) -> xr.DataArray:
    """Whether a plan keeps a field (field, plan); of fields of turf only."""
    p = odds(result, stage)[0]
    has_turf = p.notnull().all("plan").values
    if "skinned" in result:
        has_turf &= ~result["skinned"].values.astype(bool)
    return p.isel(field=has_turf) <= KEEPS


def close_to_line(result: xr.Dataset, stage: str = RISK) -> xr.DataArray:
    """Whether odds lie within a standard error of what keeps a field (field, plan): other years,
    or other draws, may then put it on the other side. False where the file has no errors.

    The error is that of the years; with draws also that of the mean over so many of them, whose
    standard deviation is taken from 5 to 95% as of a normal distribution.
    """
    p, low, high = odds(result, stage)
    has_draws = "doubt_probability" in result
    name = "doubt_probability_error" if has_draws else "probability_se"
    if name not in result:
        return p.isnull() & False
    error = result[name].sel(stage=stage, drop=True)
    if has_draws:
        of_draws = (high - low) / _WIDTH_90 / np.sqrt(float(result.attrs["doubt_draws"]))
        error = np.hypot(error, of_draws.fillna(0.0))
    return abs(p - KEEPS) <= error


def odds(result: xr.Dataset, stage: str) -> tuple[xr.DataArray, xr.DataArray, xr.DataArray]:
    """Odds of a stage with their limits: 5 to 95% across draws, else the sampling limits of the
    years; none in a file that lacks them.
    """
    name = "doubt_probability" if "doubt_probability" in result else "probability"
    p, low, high = (
        (result[f"{name}{end}"] if f"{name}{end}" in result else result[name] * np.nan)
        .sel(stage=stage, drop=True)
        for end in ("", "_low", "_high")
    )  # fmt: skip
    return p, low, high


def days_below(result: xr.Dataset) -> tuple[xr.DataArray, xr.DataArray]:
    """Days below playing condition of the mean year and of the 1-in-10 year."""
    if f"{_OF_DRAWS}_1in10" in result:
        return result[_OF_DRAWS], result[f"{_OF_DRAWS}_1in10"]
    return result[_BELOW], result["days_below_condition_1in10"]


def mean_above_text(mean: xr.DataArray, worst: xr.DataArray) -> str:
    """Why a mean of days may be above its 1-in-10 year, where one reads so; "" elsewhere."""
    if not bool((mean.round() > worst.round()).any()):
        return ""
    return "the mean is the larger where fewer than 1 year in 10 has nearly all of the days"


def has_days_below(result: xr.Dataset) -> bool:
    """Whether a file has days below playing condition, of one field of turf at least."""
    return _BELOW in result and bool(np.isfinite(result[_BELOW].values).any())


def water_names(result: xr.Dataset) -> tuple[str, str]:
    """Names of the water of a mean year and of the demand of dry years, both in mm."""
    return ("doubt_water", "doubt_demand") if "doubt_demand" in result else (
        "season_water", "demand"
    )  # fmt: skip


def mean_water(result: xr.Dataset) -> xr.DataArray:
    """Water (mm) of the mean year."""
    return result[water_names(result)[0]]


def water(result: xr.Dataset) -> tuple[xr.DataArray, xr.DataArray]:
    """Water (mm) of the mean year and of the dry year."""
    dry = result[water_names(result)[1]].sel(period=dry_period(result), drop=True)
    return mean_water(result), dry


def site_water(result: xr.Dataset) -> tuple[xr.DataArray, xr.DataArray | None]:
    """Water (m3) of all fields in the mean year and in the dry year, by plan; the latter None in a
    file that lacks it.
    """
    mean = (mean_water(result) * result["area_m2"] / 1000.0).sum("field", skipna=False)
    of_draws = "doubt_demand" in result
    name = "doubt_site_demand" if of_draws else "site_demand_volume"
    if name not in result:
        return mean.transpose("plan"), None
    return mean.transpose("plan"), result[name].sel(period=dry_period(result), drop=True)


def driest_plan(result: xr.Dataset) -> str:
    """The plan that takes the least water over all fields, the first of equals."""
    return _keys(result)[int(np.argmin(site_water(result)[0].values))]


def _days(result: xr.Dataset) -> np.ndarray | None:
    """Days below by plan, the mean of the fields of turf; None where there are none."""
    return _by_plan(days_below(result)[0]) if has_days_below(result) else None


def _by_plan(values: xr.DataArray) -> np.ndarray:
    rows = values.transpose("field", "plan").values
    rows = rows[np.isfinite(rows).all(axis=1)]
    return np.asarray(rows.mean(axis=0)) if len(rows) else np.zeros(values.sizes["plan"])


def _keys(result: xr.Dataset) -> list[str]:
    return [str(key) for key in result["plan"].values]
