"""Plans set in order by what they do to the turf and take of water."""

from __future__ import annotations

import numpy as np
import xarray as xr

_BELOW, _OF_DRAWS = "days_below_condition_mean", "doubt_days_below_condition"


def days_below(result: xr.Dataset) -> tuple[xr.DataArray, xr.DataArray]:
    """Days below playing condition in the mean year and in the 1-in-10 year: over all draws where
    there are any, so that they agree with odds that count the draws, else with the likely numbers.
    """
    if f"{_OF_DRAWS}_1in10" in result:
        return result[_OF_DRAWS], result[f"{_OF_DRAWS}_1in10"]
    return result[_BELOW], result["days_below_condition_1in10"]


def driest_plan(result: xr.Dataset) -> str:
    """The plan that takes the least water over all fields, the first of equals."""
    return _keys(result)[int(np.argmin(_water(result)))]


def has_days_below(result: xr.Dataset) -> bool:
    """Whether a file has days below playing condition, of one field of turf at least."""
    return _BELOW in result and bool(np.isfinite(result[_BELOW].values).any())


def safest_plan(result: xr.Dataset) -> str:
    """The plan with the fewest days below playing condition, on the mean of the fields of turf,
    or the least odds of wilt where a file has no such days; of plans within a day of the best, or
    of equal odds, the one with the least water.
    """
    bad = result["probability"].sel(stage="wilt").transpose("field", "plan").values
    if has_days_below(result):
        days = (result[_OF_DRAWS] if _OF_DRAWS in result else result[_BELOW]).transpose(
            "field", "plan"
        ).values
        lost = days[np.isfinite(days).all(axis=1)].mean(axis=0)
        bad = np.maximum(lost - lost.min(), 1.0)[None]
    return _keys(result)[int(np.lexsort((_water(result), bad.mean(axis=0)))[0])]


def _keys(result: xr.Dataset) -> list[str]:
    return [str(key) for key in result["plan"].values]


def _water(result: xr.Dataset) -> np.ndarray:
    depths: np.ndarray = result["season_water"].transpose("plan", "field").values
    return (depths * result["area_m2"].values).sum(axis=1)
