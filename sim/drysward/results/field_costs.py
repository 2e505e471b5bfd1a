"""What a site costs at the user's own prices: by year, and over the life, by field and plan."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.results.costs import (
    FloatArray,
    block_tariff,
    energy_kwh,
    equal_yearly_cost,
    has_life,
    present_worth,
    storage_first_cost,
    water_cost,
)
from drysward.scenario.model import Costs, FieldSpec, Scenario, SupplySpec

APPLIED, DOSES = "feed_applied_n", "feed_doses"
M2_PER_HA = 10_000.0
DRY_YEAR = 0.9
"""A dry year costs what one year in ten passes."""

YEARLY = {
    "water": "price of water",
    "energy": "price of energy",
    "labor": "price of labor",
    "feed": "price of nitrogen in fertilizer",
    "lost_turf": "price of renewing turf that died",
}


def has_prices(costs: Costs, supply: SupplySpec | None) -> bool:
    """Whether the scenario says what anything costs; a price of 0 says nothing.

    Energy counts only with a supply, whose lifts give how much of it is used.
    """
    return bool(priced_parts(costs, supply))


def site_costs(result: xr.Dataset, supply: SupplySpec | None, costs: Costs) -> xr.Dataset:
    """What the years of the whole site cost by plan.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    supply, costs : of its scenario.

    Returns
    -------
    Dataset with ``energy_used`` (kWh), ``cost_water``, ``cost_energy``, ``cost_labor``,
    ``cost_feed``, ``cost_lost_turf`` and ``cost`` by plan and year, in ``costs.currency``; their
    means over the years (``NAME_mean``); and ``NAME_dry``, the quantile that one year in ten
    passes.
    """
    # A plan that never waters draws nothing and keeps no pond full.
    draws = _draws_any(result)
    energy = np.where(draws, _energy_kwh(result, supply), 0.0)
    water = _water_by_month(result, supply, costs).sum(axis=-1)
    by_year = {
        "cost_water": np.where(draws, water, 0.0),
        "cost_energy": energy * costs.energy_price_kwh,
        "cost_labor": _labor(result, costs).sum(axis=0),
        "cost_feed": _feed(result, costs).sum(axis=0),
        "cost_lost_turf": _lost_turf(result, costs).sum(axis=0),
    }
    out = xr.Dataset(coords={name: result[name] for name in ("plan", "year", "plan_label")})
    whole = sum(by_year.values(), np.zeros_like(energy))
    for name, values, units, long_name in (
        ("energy_used", energy, "kWh", "energy of pumping"),
        *((f"cost_{n}", by_year[f"cost_{n}"], costs.currency, t) for n, t in YEARLY.items()),
        ("cost", whole, costs.currency, "price of all that a year takes"),
    ):
        out[name] = (("plan", "year"), values, {"units": units, "long_name": long_name})
        _add_mean_and_dry(out, name, ("plan",), values, units, long_name)
    return out


def field_costs(result: xr.Dataset, scenario: Scenario) -> xr.Dataset:
    """What each field costs by plan, and the site, at the scenario's prices.

    Water that the site draws in a month is priced by the tariff of the site and shared among the
    fields by the water that they had in that month; energy of pumping by their water of the year.
    Turf is lost in a year in which death is reached, as much of it as is dead at the most; where
    turf goes on from year to year, ground that stays dead counts in each of them.
    A plan that never waters needs no irrigation system, no storage and no pumping. The pond or tank
    belongs to the site, not to a field.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of ``scenario``.

    Returns
    -------
    Dataset in the scenario's currency. By field and plan ``field_cost_first`` with its parts
    ``_construction`` and ``_irrigation`` (NaN where a price is missing that others have),
    ``field_cost_water_mean``, ``_energy_mean``, ``_labor_mean``, ``_feed_mean``,
    ``_lost_turf_mean``,
    ``field_cost_mean`` and ``field_cost_dry`` (one year in ten passes). By plan all of
    ``site_costs``, ``cost_storage`` and ``cost_first``. With a life ``field_cost_present``,
    ``field_cost_equal_yearly``, ``cost_present``, ``cost_equal_yearly``. Where root zones of two
    prices stand, ``difference_first``, ``_keeping``, ``_lost_turf`` and ``_present`` by plan:
    what the dearest to build costs more than the cheapest on the same area. Attributes give the
    prices, what has none, and which fields were compared under which plan.
    """
    costs, supply = scenario.costs, scenario.supply
    fields = scenario.fields
    money = costs.currency
    out = site_costs(result, supply, costs)
    out = out.assign_coords(
        {name: result[name] for name in ("field", "field_label", "area_m2")}
    )
    by_field = ("field", "plan")

    yearly = _yearly_by_field(result, supply, costs)
    for name, values in (*yearly.items(), ("", sum(yearly.values()))):
        long_name = f"{YEARLY[name] if name else 'price of all that a year takes'}, by field"
        key = f"field_cost_{name}" if name else "field_cost"
        _add_mean_and_dry(out, key, by_field, np.asarray(values), money, long_name)

    waters = _waters(result)
    building = np.array([_construction(f, costs) for f in fields])[:, None] + 0.0 * waters
    systems = _irrigation_systems(fields, waters, costs)
    store = supply.storage if supply is not None else None
    capacity_m3 = store.volumes_m3[-1] if store is not None else 0.0
    storage = np.where(waters.any(axis=0), storage_first_cost(capacity_m3, costs), 0.0)
    for key, dims, money_now, long_name in (
        ("field_cost_construction", by_field, building, "price of building the root zone"),
        ("field_cost_irrigation", by_field, systems, "price of the irrigation system"),
        ("field_cost_first", by_field, building + systems, "first cost of the field"),
        ("cost_construction", ("plan",), building.sum(axis=0), "price of building all root zones"),
        ("cost_irrigation", ("plan",), systems.sum(axis=0), "price of all irrigation systems"),
        ("cost_storage", ("plan",), storage, "price of building pond or tank"),
        (
            "cost_first",
            ("plan",),
            (building + systems).sum(axis=0) + storage,
            "first cost of the site",
        ),
    ):
        out[key] = (dims, money_now, {"units": money, "long_name": long_name})
    if has_life(costs):
        for prefix in ("field_cost", "cost"):
            first, mean = out[f"{prefix}_first"], out[f"{prefix}_mean"]
            for key, how, long_name in (
                ("present", present_worth, "all costs of the life in money of today"),
                ("equal_yearly", equal_yearly_cost, "all costs of the life as one sum every year"),
            ):
                values = np.vectorize(lambda one, year, how=how: how(one, year, costs))(first, mean)
                out[f"{prefix}_{key}"] = (
                    first.dims, values, {"units": money, "long_name": long_name}
                )  # fmt: skip
    out = out.assign(_difference(out, result, scenario))
    out.attrs.update(
        currency=money,
        prices=json.dumps(_prices(costs, supply)),
        unpriced=json.dumps(_unpriced(fields, waters, costs)),
        priced=json.dumps(priced_parts(costs, supply)),
        turf=scenario.answers.turf,
        life_years=costs.life_years,
        discount_rate=costs.discount_rate,
    )
    return out


# Years


def _draws_any(result: xr.Dataset) -> NDArray[np.bool_]:
    """Whether a plan ever waters anything (plan, 1)."""
    days: FloatArray = result["watering_days"].transpose("plan", "field", "year").values
    return np.asarray((days > 0.0).any(axis=(1, 2)))[:, None]


def _waters(result: xr.Dataset) -> NDArray[np.bool_]:
    """Whether a field is ever watered under a plan (field, plan)."""
    days: FloatArray = result["watering_days"].transpose("field", "plan", "year").values
    return np.asarray((days > 0.0).any(axis=-1))


def _volumes(result: xr.Dataset) -> FloatArray:
    """Water of each month (field, plan, year, month), m3."""
    volumes = result["irrigation_month"] * (result["area_m2"] / 1000.0)
    return volumes.transpose("field", "plan", "year", "month").values


def _draws(result: xr.Dataset) -> FloatArray:
    draws: FloatArray = result["supply_drawn"].transpose("plan", "year", "source", "month").values
    return draws


def _water_by_month(
    result: xr.Dataset, supply: SupplySpec | None, costs: Costs
) -> FloatArray:
    """Price of the site's water (plan, year, month): of all that its sources give, or, where
    nothing is known of them, of all that fields get.
    """
    if supply is not None and any(source.tariff for source in supply.sources):
        return water_cost(_draws(result), supply.sources)
    if supply is not None and costs.water:
        return block_tariff(_draws(result).sum(axis=2), costs.water)
    if costs.water:
        return block_tariff(_volumes(result).sum(axis=0), costs.water)
    return np.zeros((result.sizes["plan"], result.sizes["year"], 12))


def _energy_kwh(result: xr.Dataset, supply: SupplySpec | None) -> FloatArray:
    """Energy of pumping (plan, year); without a supply nothing is known to be lifted."""
    if supply is None:
        return np.zeros((result.sizes["plan"], result.sizes["year"]))
    from_storage = result["supply_from_storage"].transpose("plan", "year").values
    return energy_kwh(_draws(result), from_storage, supply)


def _labor(result: xr.Dataset, costs: Costs) -> FloatArray:
    """Price of the work of watering and of doses (field, plan, year)."""
    hours = result["labor_hours"]
    if DOSES in result:
        hours = hours + result[DOSES].fillna(0.0) * result["dose_labor"]
    priced: FloatArray = hours.transpose("field", "plan", "year").values * costs.labor_price_h
    return priced


def _feed(result: xr.Dataset, costs: Costs) -> FloatArray:
    """Price of the nitrogen that doses hold (field, plan, year)."""
    dims = ("field", "plan", "year")
    if costs.nitrogen_price_kg == 0.0 or APPLIED not in result:
        return np.zeros(tuple(result.sizes[name] for name in dims))
    kg = result[APPLIED].fillna(0.0) * result["area_m2"] / M2_PER_HA
    return (kg * costs.nitrogen_price_kg).transpose(*dims).values


def _lost_turf(result: xr.Dataset, costs: Costs) -> FloatArray:
    """Price of renewing turf that died (field, plan, year), in years in which death is reached."""
    dims = ("field", "plan", "year")
    if costs.renovation_price_m2 == 0.0:
        return np.zeros(tuple(result.sizes[name] for name in dims))
    reached = result["longest_dead"] >= int(result.attrs["reached_days"])
    # A skinned surface has no turf to lose.
    share = result["peak_dead"].where(reached, 0.0).fillna(0.0)
    lost = share * result["area_m2"] * costs.renovation_price_m2
    return lost.transpose(*dims).values


def _yearly_by_field(
    result: xr.Dataset, supply: SupplySpec | None, costs: Costs
) -> dict[str, FloatArray]:
    """Costs of each year (field, plan, year) by name, which add up to those of the site."""
    volumes = _volumes(result)
    draws = _draws_any(result)
    areas = result["area_m2"].values
    of_year = _shares(volumes.sum(axis=-1), (areas / areas.sum())[:, None, None])
    # A pond may be filled from the mains in a month without irrigation.
    of_month = _shares(volumes, of_year[..., None])
    water = (of_month * _water_by_month(result, supply, costs)).sum(axis=-1)
    energy = _energy_kwh(result, supply)
    return {
        "water": np.where(draws, water, 0.0),
        "energy": np.where(draws, of_year * energy * costs.energy_price_kwh, 0.0),
        "labor": _labor(result, costs),
        "feed": _feed(result, costs),
        "lost_turf": _lost_turf(result, costs),
    }


def _shares(parts: FloatArray, otherwise: FloatArray) -> FloatArray:
    """Shares of the fields (field, ...), ``otherwise`` where there is nothing to share."""
    whole = parts.sum(axis=0)
    return np.where(whole > 0.0, parts / np.where(whole > 0.0, whole, 1.0), otherwise)


def _add_mean_and_dry(
    out: xr.Dataset, name: str, dims: tuple[str, ...], values: FloatArray, units: str, meaning: str
) -> None:
    """Mean over the years (..., Y), and what one year in ten passes."""
    attrs = {"units": units, "long_name": f"mean of the years of {meaning}"}
    out[f"{name}_mean"] = (dims, values.mean(axis=-1), attrs)
    attrs = {"units": units, "long_name": f"{meaning} that one year in ten passes"}
    out[f"{name}_dry"] = (dims, np.quantile(values, DRY_YEAR, axis=-1), attrs)


# What is built


def _construction(field: FieldSpec, costs: Costs) -> float:
    """Price of a field's root zone; NaN when only others have a price, 0 when none has."""
    if not costs.construction:
        return 0.0
    return field.area_m2 * costs.construction.get(field.root_zone.like, math.nan)


def _irrigation_systems(
    fields: Sequence[FieldSpec], waters: NDArray[np.bool_], costs: Costs
) -> FloatArray:
    """Price of the fields' irrigation systems (field, plan) where they are used; as
    ``_construction``. A lump is shared by area among the fields that use the system.
    """
    out = np.zeros(waters.shape)
    if not costs.irrigation:
        return out
    areas = np.array([field.area_m2 for field in fields])[:, None]
    systems = np.array([field.delivery.system for field in fields])[:, None]
    for system in dict.fromkeys(systems.ravel()):
        here = waters & (systems == system)
        price = costs.irrigation.get(str(system))
        if price is None:
            out[here] = math.nan
            continue
        served = (here * areas).sum(axis=0)
        share = here * areas / np.where(served > 0.0, served, 1.0)
        out += here * areas * price.per_m2 + share * price.lump
    return out


def _unpriced(fields: Sequence[FieldSpec], waters: NDArray[np.bool_], costs: Costs) -> list[str]:
    """What has no price while others of its kind have one."""
    zones = [field.root_zone.like for field in fields]
    systems = [f.delivery.system for f, plans in zip(fields, waters, strict=True) if plans.any()]
    return [
        f"no {kind} price for {name}"
        for kind, priced, used in (
            ("construction", costs.construction, zones),
            ("irrigation", costs.irrigation, systems),
        )
        if priced
        for name in dict.fromkeys(used)
        if name not in priced
    ]


def _difference(
    out: xr.Dataset, result: xr.Dataset, scenario: Scenario
) -> dict[str, xr.DataArray]:
    """What the dearest root zone costs more than the cheapest on the same area, by plan; nothing
    when fewer than two have a price.
    """
    costs = scenario.costs
    priced = [f for f in scenario.fields if f.root_zone.like in costs.construction]
    if len({costs.construction[f.root_zone.like] for f in priced}) < 2:
        return {}
    dearest = max(priced, key=lambda f: costs.construction[f.root_zone.like])
    cheapest = min(priced, key=lambda f: costs.construction[f.root_zone.like])
    water, energy, labor, feed = (
        out[f"field_cost_{name}_mean"] for name in ("water", "energy", "labor", "feed")
    )
    parts = {
        "first": (out["field_cost_first"], "to build"),
        "keeping": (water + energy + labor + feed, "a year for water, energy, labor and feed"),
        "lost_turf": (out["field_cost_lost_turf_mean"], "a year for turf that dies"),
    }
    if "field_cost_present" in out:
        parts["present"] = (out["field_cost_present"], "over the life, in money of today")
    scale = dearest.area_m2 / cheapest.area_m2
    attrs = {
        "units": costs.currency, "field": dearest.key, "other": cheapest.key,
        "root_zone": scenario.catalog.get("root_zones", dearest.root_zone.like).label,
        "other_root_zone": scenario.catalog.get("root_zones", cheapest.root_zone.like).label,
        "plan": _best_plan(result),
    }  # fmt: skip
    return {
        f"difference_{name}": (
            by_field.sel(field=dearest.key, drop=True)
            - scale * by_field.sel(field=cheapest.key, drop=True)
        )
        .drop_vars(("field_label", "area_m2"), errors="ignore")
        .assign_attrs(
            attrs, long_name=f"what the dearest root zone costs more than the cheapest {meaning}"
        )
        for name, (by_field, meaning) in parts.items()
    }


def _best_plan(result: xr.Dataset) -> str:
    """The plan with the fewest days below playing condition on the mean of the fields of turf;
    of equals the thriftier.
    """
    days = result["days_below_condition"].mean("year").mean("field", skipna=True)
    water = (result["irrigation_gross"].mean("year") * result["area_m2"]).sum("field")
    first = np.lexsort((water.values, days.fillna(0.0).values))[0]
    return str(result["plan"].values[first])


def priced_parts(costs: Costs, supply: SupplySpec | None) -> list[str]:
    """Which parts of the costs the scenario has a price for."""
    blocks = [*costs.water]
    if supply is not None:
        blocks += [block for source in supply.sources for block in source.tariff]
    parts = {
        "construction": any(costs.construction.values()),
        "irrigation": any(max(one.per_m2, one.lump) for one in costs.irrigation.values()),
        "storage": costs.storage_price_m3 > 0.0,
        "water": any(block.price_m3 for block in blocks),
        "energy": supply is not None and costs.energy_price_kwh > 0.0,
        "labor": costs.labor_price_h > 0.0,
        "feed": costs.nitrogen_price_kg > 0.0,
        "lost_turf": costs.renovation_price_m2 > 0.0,
    }
    return [name for name, has_one in parts.items() if has_one]


def _prices(costs: Costs, supply: SupplySpec | None) -> dict[str, Any]:
    """Every price in base units, for the file; the last block of a tariff has no end."""

    def blocks(tariff: Sequence[Any]) -> list[dict[str, float | None]]:
        return [
            {"upto_m3": b.upto_m3 if math.isfinite(b.upto_m3) else None, "price_m3": b.price_m3}
            for b in tariff
        ]

    meaning = {**asdict(costs), "water": blocks(costs.water)}
    sources = supply.sources if supply is not None else ()
    meaning["sources"] = {source.key: blocks(source.tariff) for source in sources if source.tariff}
    return meaning
