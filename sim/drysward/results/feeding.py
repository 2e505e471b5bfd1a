"""From yearly numbers of feeding to means, what 1 year in 10 passes, odds, and salt."""

from __future__ import annotations

import json
import warnings
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from drysward.physics.nitrogen import KG_HA_PER_MG_L_MM
from drysward.physics.salinity import (
    applied_for,
    leaching_requirement,
    soil_salt_ratio,
    yield_percent,
)
from drysward.results.dataset import FEED
from drysward.results.feeding_text import (
    CAUTION,
    CAUTIONS,
    DOSES,
    HUNGRY,
    LUSH,
    salt_cautions,
)
from drysward.results.odds import wilson_limits
from drysward.results.text import as_sentences
from drysward.scenario.feeding_tables import of_species

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario

MEANS = (
    "applied_n", "applied_p", "skipped_n", "brought_n", "doses", "doses_late", "doses_in_rain",
    "released_n", "rotted_n", "freed_n", "uptake_n", "clippings", "clipped_n", "removed_n",
    "leached_n", "ammonia_n", "gas_n", "runoff_n", "runoff_p", "paving_n", "paving_p",
    "growing_days", "days_hungry", "days_lush", "days_unwise",
)  # fmt: skip
LOSSES = ("leached_n", "leached_mg_l", "ammonia_n", "gas_n", "runoff_n", "runoff_p")
BY_MONTH = ("clippings_month", "leached_month", "status_month")
BAD_YEAR = 0.9  # 1 year in 10 passes it
LONG_DAYS = 14.0  # hungry or lush for more than two weeks of a year
LEAST_DRAINING = 0.01  # share of the water; with less the soil has no steady salt


def feeding_answers(result: xr.Dataset, scenario: Scenario | None = None) -> xr.Dataset:
    """What becomes of the nitrogen of each field, and what it makes of the turf.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of a scenario in which a field is fed.
    scenario : the scenario of the run; answers on salty water need it.

    Returns
    -------
    Dataset by field and plan, NaN for fields that are not fed: ``NAME_mean`` and ``NAME_se``
    (sampling error of the mean over the years) of the yearly numbers; ``NAME_1in10`` of losses,
    which 1 year in 10 passes; by month ``clippings_month_mean``, ``leached_month_mean`` (kg/ha) and
    ``status_month_mean``. ``leached_mg_l_mean`` is over all water that drained.
    ``hungry_share`` and ``lush_share`` are of the growing days; ``hungry_years`` and ``lush_years``
    the share of years with more than two such weeks, with 90% limits ``_low`` and ``_high``;
    ``uptake_share`` nitrogen taken up over what reached the turf. Where irrigation water has salt,
    as ``salt_answers``. With ``scenario`` the attributes ``hungry_below`` and ``lush_above``
    (status), ``feeding_doses`` (JSON) and ``feeding_cautions``. ValueError when no field is fed.
    """
    if "is_fed" not in result.coords:
        raise ValueError("no field of the run is fed")
    fed = result.isel(field=np.flatnonzero(result["is_fed"].values))
    out = xr.Dataset()
    n = min(int(result.attrs["independent_years"]), result.sizes["year"])
    for name in MEANS:
        values = fed[f"{FEED}{name}"]
        error = values.std("year", ddof=1 if n > 1 else 0) / np.sqrt(n)
        out[f"{name}_mean"] = _like(values.mean("year"), values, "mean of {}")
        out[f"{name}_se"] = _like(error, values, "sampling error of the mean of {}")
    for name in LOSSES:
        values = fed[f"{FEED}{name}"]
        with warnings.catch_warnings():  # no year of a field may have drained
            warnings.filterwarnings("ignore", "All-NaN slice")
            bad = values.quantile(BAD_YEAR, "year").drop_vars("quantile")
        out[f"{name}_1in10"] = _like(bad, values, "{} that 1 year in 10 passes")
    for name in BY_MONTH:
        values = fed[f"{FEED}{name}"]
        out[f"{name}_mean"] = _like(values.mean("year"), values, "mean of {}")
    drained = fed["drainage"].mean("year")
    strength = out["leached_n_mean"] / (KG_HA_PER_MG_L_MM * drained.where(drained > 0.0))
    out["leached_mg_l_mean"] = _like(strength, fed[f"{FEED}leached_mg_l"], "mean of {}")
    out = out.assign(_odds(fed, n).data_vars)
    brought = out["brought_n_mean"]
    out["uptake_share"] = (out["uptake_n_mean"] / brought.where(brought > 0.0)).assign_attrs(
        units="1", long_name="nitrogen taken up over nitrogen that reached turf"
    )
    if scenario is not None:
        out = out.assign(salt_answers(fed, scenario).data_vars)
        limits = scenario.catalog.get("feeding", "limits")
        out.attrs = {
            "hungry_below": float(limits["hungry_below"]),
            "lush_above": float(limits["lush_above"]),
            DOSES: json.dumps(_doses(scenario)),
            CAUTIONS: " ".join([CAUTION, *as_sentences(salt_cautions(scenario))]),
        }
    return on_all_fields(out, result).assign_attrs(result.attrs)


def on_all_fields(of_fed: xr.Dataset, result: xr.Dataset) -> xr.Dataset:
    """What is known of fed fields, with all fields of a run: NaN for the others, which keep their
    labels and areas.
    """
    of_fields = {name: of for name, of in result.coords.items() if of.dims == ("field",)}
    bare = of_fed.drop_vars([name for name in of_fields if name != "field"], errors="ignore")
    return bare.reindex(field=result["field"]).assign_coords(of_fields)


def _odds(fed: xr.Dataset, n: int) -> xr.Dataset:
    """How much of the growing days, and of ``n`` years, turf is hungry or lush."""
    out = xr.Dataset()
    growing = fed[f"{FEED}growing_days"].sum("year")
    for state in (HUNGRY, LUSH):
        days = fed[f"{FEED}days_{state}"]
        share = days.sum("year") / growing.where(growing > 0.0)
        out[f"{state}_share"] = share.assign_attrs(
            units="1", long_name=f"share of the growing days on which turf is {state}"
        )
        odds = (days > LONG_DAYS).mean("year")
        meaning = f"share of years with more than two weeks of {state} turf"
        limits = wilson_limits(odds.values * n, n)
        for end, these in zip(("", "_low", "_high"), (odds.values, *limits), strict=True):
            of = f"{meaning}, {end[1:]} 90% limit" if end else meaning
            out[f"{state}_years{end}"] = (odds.dims, these, {"units": "1", "long_name": of})
    return out


def _doses(scenario: Scenario) -> dict[str, list[dict[str, float | str]]]:
    """The doses of a year by field: day (1 to 366), product, and kg/ha of it and what it holds."""
    return {
        field.key: [
            {
                "day": dose.day + 1, "product": dose.label,
                "product_kg_ha": dose.product_kg_ha, "nitrogen": dose.n_kg_ha,
                "quick": dose.quick_kg_ha, "phosphorus": dose.p_kg_ha, "potassium": dose.k_kg_ha,
            }
            for dose in feeding.doses
        ]
        for field, feeding in scenario.fed
    }  # fmt: skip


def salt_answers(fed: xr.Dataset, scenario: Scenario) -> xr.Dataset:
    """What salt and nitrogen of the irrigation water do over the years.

    The salt is that of a soil watered so for many years, by the leaching fraction of all water
    that entered the ground, rain among it (FAO-29). Salt that builds up between rains of a
    season, or stays from one dry year to the next, is not in it.

    Parameters
    ----------
    fed : the fields of a run that are fed.
    scenario : its scenario.

    Returns
    -------
    Dataset by field and plan, NaN where the water has no salt, nothing when none has:
    ``leaching_fraction`` (share of the water that entered and drained), ``soil_salt`` (ECe, dS/m),
    ``salt_growth_lost`` (share), ``leaching_needed`` (share) and ``leaching_water`` (mm of
    irrigation a year more that it takes); ``water_n`` (kg/ha a year).
    """
    specs = {spec.key: spec for spec in scenario.fields}
    shape = (fed.sizes["field"], fed.sizes["plan"])
    found = {name: np.full(shape, np.nan) for name in SALT}
    mean = fed[
        ["precipitation", "irrigation_landed", "runoff", "drainage", "transpiration",
         "leaf_evaporation", "soil_evaporation", f"{FEED}brought_n", f"{FEED}applied_n"]
    ].mean("year")  # fmt: skip
    for f, field in enumerate(map(str, fed["field"].values)):
        spec = specs[field]
        feeding = spec.feeding
        if feeding is None or (feeding.water_salt_ds_m == 0.0 and feeding.water_n_mg_l == 0.0):
            continue
        turf = of_species("salt", spec.species, scenario.catalog)
        for p, plan in enumerate(fed["plan"].values):
            one = {name: float(v) for name, v in mean.sel(field=field, plan=plan).items()}
            fed_n = one[f"{FEED}applied_n"] * (1.0 - feeding.on_paving)
            found["water_n"][f, p] = max(one[f"{FEED}brought_n"] - fed_n, 0.0)
            if feeding.water_salt_ds_m == 0.0:
                continue
            entered = one["precipitation"] + one["irrigation_landed"] - one["runoff"]
            used = one["transpiration"] + one["leaf_evaporation"] + one["soil_evaporation"]
            share = min(max(one["drainage"] / entered, LEAST_DRAINING), 1.0)
            salt = feeding.water_salt_ds_m * one["irrigation_landed"] / entered
            in_soil = salt * soil_salt_ratio(share)
            limit = float(turf["salt_threshold_ds_m"])
            needed = leaching_requirement(salt, limit)
            grows = yield_percent(in_soil, limit, float(turf["salt_slope"])) / 100.0
            more = max(applied_for(used, needed) - entered, 0.0)
            for name, value in (
                ("leaching_fraction", share), ("soil_salt", in_soil),
                ("salt_growth_lost", 1.0 - grows), ("leaching_needed", needed),
                ("leaching_water", more),
            ):  # fmt: skip
                found[name][f, p] = value
    kept = {
        name: (("field", "plan"), found[name], {"units": units, "long_name": long_name})
        for name, (units, long_name) in SALT.items()
        if np.isfinite(found[name]).any()
    }
    return xr.Dataset(kept, coords={"field": fed["field"], "plan": fed["plan"]})


SALT = {
    "leaching_fraction": ("1", "share of the water that entered the ground and drained"),
    "soil_salt": ("dS m-1", "salt of the saturated soil extract (ECe) over the years"),
    "salt_growth_lost": ("1", "share of the growth that salt costs"),
    "leaching_needed": ("1", "share of the water that must drain to keep salt from costing growth"),
    "leaching_water": ("mm", "more water a year that the leaching requirement takes"),
    "water_n": ("kg ha-1", "nitrogen a year that the irrigation water brings"),
}
"""Unit and meaning of the numbers on the irrigation water."""


def _like(values: xr.DataArray, of: xr.DataArray, meaning: str) -> xr.DataArray:
    """``values`` with the units of ``of``, and a long name made from its own."""
    named = meaning.format(of.attrs.get("long_name", of.name))
    return values.assign_attrs(units=of.attrs.get("units", "1"), long_name=named)
