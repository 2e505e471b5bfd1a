"""How feeding shifts wilt, water and recovery: a scenario run as it is fed, and without."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from drysward.progress import Report
from drysward.scenario.feeding_tables import require_feeding
from drysward.scenario.model import Scenario, require_scenario
from drysward.studies.compare import run

if TYPE_CHECKING:
    import xarray as xr

RECOVERY = "recovery_days"
COMPARED = {
    "below": ("days_below_condition", "days below playing condition a year"),
    "wilt": ("days_wilt", "wilt days a year"),
    "water": ("irrigation_gross", "irrigation a year"),
    "recovery": (RECOVERY, "days of recovery of dormant turf"),
}
"""What is compared: its yearly number, and its meaning."""


def feeding_effect(
    scenario: Scenario,
    result: xr.Dataset | None = None,
    years: tuple[int, int] | None = None,
    progress: Report = None,
) -> xr.Dataset:
    """What feeding changes: the same plans in the same years, as fed and without feeding.

    Without feeding a field has the turf of the published tables of water use: no account of its
    nitrogen, neither hungry nor lush. It is not turf that is never fed.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    result : Dataset of ``drysward.run`` of ``scenario``; run here when None.
    years : first and last year to count, as of ``result``; all complete when None.
    progress : as for ``drysward.run``.

    Returns
    -------
    Dataset of the fed fields by field and plan: for NAME of below, wilt, recovery (d) and water
    (mm as drawn) the means over the years ``NAME_fed`` and ``NAME_plain``, the difference
    ``NAME_change``, and its sampling error ``NAME_change_se``, taken year by year. Recovery is of
    the years in which turf went dormant and came back in both: NaN where there is none. All of the
    likely numbers; how far they may be off, ``drysward.draws(..., feeding_effect=True)`` says.

    Raises
    ------
    FaultyInput
        When no field is fed, or as ``drysward.run``.

    Examples
    --------
    >>> effect = drysward.feeding_effect(drysward.shipped("feeding"), years=(1, 50))
    >>> effect["water_change"].sel(plan="refill").to_series()  # mm a year
    """
    import xarray as xr

    require_scenario(scenario)
    require_feeding(scenario)
    if result is None:
        result = run(scenario, years=years, progress=progress)
    plain = run(without_feeding(scenario), years=years, progress=progress)
    fields = np.flatnonzero(result["is_fed"].values)
    n = min(int(result.attrs["independent_years"]), result.sizes["year"])
    out = xr.Dataset()
    for name, (of, meaning) in COMPARED.items():
        fed, without = (one[of].isel(field=fields) for one in (result, plain))
        units = fed.attrs["units"]
        change = fed - without
        counted = change.notnull()
        means = [one.where(counted).mean("year") for one in (fed, without)]
        each = n * counted.mean("year")
        error = change.std("year", ddof=1 if n > 1 else 0) / np.sqrt(each.where(each > 0.0))
        for end, values, what in (
            ("fed", means[0], "{}, as fed"),
            ("plain", means[1], "{}, without feeding"),
            ("change", means[0] - means[1], "what feeding adds to {}"),
            ("change_se", error, "sampling error of what feeding adds to {}"),
        ):
            named = {"units": units, "long_name": what.format(meaning)}
            out[f"{name}_{end}"] = values.assign_attrs(named)
            out[f"{name}_{end}"].attrs.pop("comment", None)
    return out.assign_attrs(result.attrs)


def without_feeding(scenario: Scenario) -> Scenario:
    """The scenario with turf whose nitrogen is not followed."""
    fields = tuple(replace(field, feeding=None) for field in scenario.fields)
    return replace(scenario, fields=fields)
