"""The summary of a run: odds, means, extremes, volumes, costs, play, feeding and supply."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drysward.results.answers import answers
from drysward.results.dataset import FEED, PLAY
from drysward.results.feeding import feeding_answers, on_all_fields
from drysward.results.field_costs import field_costs, has_prices
from drysward.results.play import play_answers
from drysward.results.supply import supply_answers, supply_cautions
from drysward.results.terms import units_and_name
from drysward.results.volumes import site_volumes
from drysward.scenario.model import Scenario

# Yearly numbers whose mean over the years, or largest of any year, stands beside the answers.
_MEANS = (
    "precipitation", "reference_et", "transpiration", "leaf_evaporation", "soil_evaporation",
    "spray_loss", "overspray", "runoff", "drainage", "watering_days", "capped_days", "shortage",
    "irrigation_landed", "irrigation_runoff", "irrigation_drained", "shortage_cause",
    "recovery_days", "not_recovered",
)  # fmt: skip
_MOST = (
    "peak_week", "longest_footprint", "longest_wilt", "longest_dormant", "longest_dead",
    "peak_dead",
)  # fmt: skip

# What the names of each part of a summary begin with, beside FEED and PLAY; others are of the turf.
SITE, DRAWS = ("site_", "cost", "field_cost", "energy_", "difference_"), "doubt_"


def summarize(
    result: xr.Dataset,
    scenario: Scenario | None = None,
    draws: xr.Dataset | None = None,
    sizing: xr.Dataset | None = None,
    supply: bool = False,
    feeding: xr.Dataset | None = None,
) -> xr.Dataset:
    """Everything that a result says of its years, as one Dataset by field and plan.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    scenario : the scenario of the run; costs and cautions about a supply need it.
    draws : Dataset of ``drysward.draws``, to stand beside the run.
    sizing : Dataset of ``drysward.size``, likewise.
    supply : add how reliable the supply is; needs ``scenario``, one with a supply.
    feeding : Dataset of ``drysward.feeding_effect``, as ``feed_NAME``.

    Returns
    -------
    Dataset with dimensions field, plan, stage, period, month and cause; depths in mm, volumes in
    m3, days in d, odds and shares in 1. The answers of ``drysward.answers``; ``NAME_mean`` and
    ``NAME_most`` of the yearly numbers; ``least_green``; the volumes of the mean year, the peak
    week and the dry-year demand by field, and for the site as ``site_NAME``; ``labor_mean`` (h);
    with prices ``cost_NAME`` and ``field_cost_NAME`` in the scenario's currency; with play
    ``play_NAME``, where a field is fed ``feed_NAME``; of ``draws`` all ``doubt_NAME``; with
    ``supply`` also by source, such as ``time_reliability``. Attributes are those of the result,
    with ``n_years`` and ``worst_residual_mm``.

    Raises
    ------
    ValueError
        For ``supply`` without a scenario that has one.

    Examples
    --------
    >>> result = drysward.run(scenario)
    >>> summary = drysward.summarize(result, scenario)
    >>> summary["season_volume"].sel(field="stadium", plan="refill").item()  # m3 a year
    """
    out = turf_summary(result, answers(result))
    parts = [site_volumes(result, tuple(out["period"].values))]
    if scenario is not None and has_prices(scenario.costs, scenario.supply):
        parts.append(field_costs(result, scenario))
    if "has_play" in result.coords:
        played = play_answers(result)
        parts.append(played.rename({name: f"{PLAY}{name}" for name in map(str, played.data_vars)}))
    if "is_fed" in result.coords:
        fed = feeding_answers(result, scenario)
        if feeding is not None:
            fed = fed.assign(on_all_fields(feeding, result).data_vars)
        parts.append(fed.rename({name: f"{FEED}{name}" for name in map(str, fed.data_vars)}))
    if supply:
        if scenario is None or scenario.supply is None:
            raise ValueError("a summary of a supply needs a scenario with a supply")
        of_supply = supply_answers(result)
        cautions = " ".join(supply_cautions(scenario.supply))
        parts.append(of_supply.assign_attrs(supply_cautions=cautions))
        if scenario.sizing is not None:
            parts[-1].attrs["sizing_plan"] = scenario.sizing.plan
    parts += [part for part in (draws, sizing) if part is not None]
    for part in parts:
        out = out.assign(part.data_vars).assign_coords(part.coords)
        out.attrs = {**part.attrs, **out.attrs}
    return out


def turf_summary(result: xr.Dataset, answers: xr.Dataset) -> xr.Dataset:
    """The answers with means and extremes over the years, by field and plan.

    Adds ``NAME_mean`` and ``NAME_most`` of the yearly numbers, ``least_green``, the volumes
    (m3) of the mean year, the peak week and the demand, the labor, and in the attributes
    ``n_years`` and ``worst_residual_mm``.
    """
    added: dict[str, xr.DataArray] = {}
    for how, names in (("mean", _MEANS), ("most", _MOST)):
        for name in names:
            if name not in result:
                continue
            values = result[name].mean("year") if how == "mean" else result[name].max("year")
            meaning = "mean over the years of" if how == "mean" else "most in any year of"
            units, long_name = units_and_name(name, result[name])
            attrs = {"units": units, "long_name": f"{meaning} {long_name}"}
            added[f"{name}_{how}"] = values.assign_attrs(attrs)
    added["least_green"] = (
        result["least_green"]
        .min("year")
        .assign_attrs(units="1", long_name="least green cover of any year")
    )
    added["water_by_month"] = (
        result["irrigation_month"]
        .mean("year")
        .assign_attrs(units="mm", long_name="mean irrigation of the month, as drawn")
    )
    per_mm = result["area_m2"] / 1000.0
    for depth, volume in (
        ("season_water", "season_volume"),
        ("peak_week_most", "peak_week_volume"),
        ("demand", "demand_volume"),
    ):
        depths = added[depth] if depth in added else answers[depth]
        _, long_name = units_and_name(depth, depths)
        volumes = (depths * per_mm).transpose(*depths.dims)
        added[volume] = volumes.assign_attrs(units="m3", long_name=f"{long_name}, as volume")
    added["labor_mean"] = result["labor_hours"].mean("year").assign_attrs(
        units="h", long_name="mean labor a year of watering"
    )
    return answers.assign(added).assign_attrs(
        n_years=int(result.sizes["year"]),
        worst_residual_mm=float(np.abs(result["residual"].values).max()),
    )


def part_of(summary: xr.Dataset, begins: str | tuple[str, ...]) -> xr.Dataset:
    """The part of a summary whose names begin so: PLAY, FEED, SITE or DRAWS."""
    return summary[[name for name in summary.data_vars if str(name).startswith(begins)]]


def without_prefix(summary: xr.Dataset, begins: str) -> xr.Dataset:
    """The part of a summary whose names begin so, PLAY or FEED, under names without it."""
    part = part_of(summary, begins)
    return part.rename({name: name.removeprefix(begins) for name in map(str, part.data_vars)})


def of_turf(summary: xr.Dataset) -> xr.Dataset:
    """The part of a summary that is of the turf and its water, by field and plan."""
    others = (PLAY, FEED, *SITE, DRAWS)
    return summary[[name for name in summary.data_vars if not str(name).startswith(others)]]
