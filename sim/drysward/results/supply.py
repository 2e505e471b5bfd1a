"""From yearly numbers at the supply to how far it can be relied on."""

from __future__ import annotations

import json

import xarray as xr

from drysward.results.frequency import demand_estimates, distinct_years, worth
from drysward.results.odds import probability_of
from drysward.scenario.model import SupplySpec

ROUNDING = 1e-9  # share of a demand below which a shortage is none
_MEANS = (
    "demand", "delivered", "from_storage", "catchment", "rain_on_storage", "evaporation", "seepage",
    "spill", "refill", "shortage", "shortage_days", "restricted_days",
)  # fmt: skip


def supply_answers(result: xr.Dataset) -> xr.Dataset:
    """How each plan gets on with the supply.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of a scenario with a supply.

    Returns
    -------
    Dataset by plan (and field, source, month, cause): means of the years in m3; share of years
    without shortage, odds that a year is short by more than the stated share of its demand
    (``short_year``) and that it has any day of shortage, each with standard error and 90% limits;
    ``worst_year_share``, the largest shortage of a year over its demand; and, after Hashimoto,
    Stedinger & Loucks (1982), over days with a demand: ``time_reliability`` (share of
    them without shortage), ``volume_reliability`` (share of the demand that is delivered),
    ``resilience`` (shortages over days of shortage: chance that a day of shortage is the
    last), its inverse ``spell_days`` (mean days of a shortage), ``vulnerability`` (mean volume of a
    shortage) and ``worst_event``. NaN where there is nothing to divide by.
    ``supply_demand_return`` (plan, period), m3, is the demand at the supply, delivered or not, by
    return period: of dry years it is no less than in the mean year, where the water drawn may be.
    ValueError when the run had no supply.
    """
    if "supply_demand" not in result:
        raise ValueError("the run had no supply")
    total = {name: result[f"supply_{name}"].sum("year") for name in (*_MEANS, "demand_days")}
    events = result["supply_shortage_events"].sum("year")
    n_years = result.sizes["year"]
    out = xr.Dataset(attrs=dict(result.attrs))
    for name in _MEANS:
        source = result[f"supply_{name}"]
        out[f"{name}_mean"] = _named(
            total[name] / n_years,
            source.attrs.get("units", "m3"),
            f"mean of the years of {source.attrs.get('long_name', name)}",
        )
    periods = json.loads(result.attrs["return_periods"])
    demand = worth(result["supply_demand"].transpose("plan", "year").values, distinct_years(result))
    out = out.assign_coords(period=("period", [float(one) for one in periods], {"units": "year"}))
    out["supply_demand_return"] = (
        ("plan", "period"),
        demand_estimates(demand, periods),
        {"units": "m3", "long_name": "demand at the supply by return period"},
    )
    for name, values, meaning in (
        (
            "time_reliability",
            1.0 - _over(total["shortage_days"], total["demand_days"]),
            "share of the days of request without shortage",
        ),
        (
            "volume_reliability",
            _over(total["delivered"], total["demand"]),
            "share of the demand that is delivered",
        ),
        (
            "resilience",
            _over(events, total["shortage_days"]),
            "chance that a day of shortage is the last of its run",
        ),
    ):
        out[name] = _named(values, "1", meaning)
    out["spell_days"] = _named(
        _over(total["shortage_days"], events), "d", "mean days of a shortage"
    )
    out["vulnerability"] = _named(_over(total["shortage"], events), "m3", "mean shortage")
    worst = result["supply_worst_event"]
    out["worst_event"] = _named(worst.max("year"), "m3", "largest shortage of all years")
    short = short_shares(result)
    out["worst_year_share"] = _named(short.max("year"), "1", "largest shortage of a year")
    out["worst_year"] = _named(short.idxmax("year"), "1", "year of the largest shortage")
    out["worst_year"] = out["worst_year"].where(out["worst_year_share"] > 0.0)
    least = result["supply_least_storage"]
    out["least_storage"] = _named(least.min("year"), "m3", "least water in storage on any day")

    independent = int(result.attrs["independent_years"])
    limit = float(result.attrs["short_year"])
    is_short = result["supply_shortage_days"] > 0.0
    for name, happens, meaning in (
        ("no_shortage", (short == 0.0) | ~is_short, "odds that a year has no shortage"),
        ("short_year", short > limit, f"odds of a shortage over {100.0 * limit:g}% of the demand"),
        ("shortage_odds", is_short, "odds of any day of shortage"),
    ):
        found = [
            probability_of(one, independent) for one in happens.transpose("plan", "year").values
        ]
        for part, numbers in (
            (name, [p.p for p in found]),
            (f"{name}_se", [p.standard_error for p in found]),
            (f"{name}_low", [p.low for p in found]),
            (f"{name}_high", [p.high for p in found]),
        ):
            out[part] = ("plan", numbers, {"units": "1", "long_name": meaning})

    per_mm = result["area_m2"] / 1000.0
    out["shortage_by_field"] = _named(
        (result["shortage"].mean("year") * per_mm).transpose("field", "plan"),
        "m3",
        "mean shortage a year by field",
    )
    out["shortage_by_month"] = _named(
        (result["shortage_month"].mean("year") * per_mm).transpose("field", "plan", "month"),
        "m3",
        "mean shortage by field and month",
    )
    out["shortage_by_cause"] = _named(
        (result["shortage_cause"].mean("year") * per_mm).transpose("field", "plan", "cause"),
        "m3",
        "mean shortage a year by field and cause",
    )
    by_cause = (result["shortage_month_cause"] * per_mm).sum("field")
    out["shortage_by_month_and_cause"] = _named(
        by_cause.transpose("plan", "month", "cause"), "m3", "mean shortage by month and cause"
    )
    out["drawn_by_source"] = _named(
        result["supply_drawn"].sum("month").mean("year"), "m3", "mean draw a year by source"
    )
    out["storage_by_month"] = _named(
        result["supply_storage"].mean("year"), "m3", "mean water in storage at the month's end"
    )
    out["storage_by_month_low"] = _named(
        result["supply_storage"].quantile(0.1, "year").drop_vars("quantile"),
        "m3",
        "water in storage at the month's end that one year in ten falls below",
    )
    return out


def short_shares(result: xr.Dataset) -> xr.DataArray:
    """Shortage of each plan and year over its demand; 0 where there is none but rounding."""
    demand, short = result["supply_demand"], result["supply_shortage"]
    share = (short / demand.where(demand > 0.0)).fillna(0.0)
    return share.where(share > ROUNDING, 0.0)


def supply_cautions(supply: SupplySpec) -> tuple[str, ...]:
    """Cautions for building or drawing on such a supply, by its parts; common practice."""
    kinds = {source.kind for source in supply.sources}
    pond = supply.storage is not None and supply.storage.kind == "pond"
    meaning = (
        (pond, "A pond drowns people: banks, fences and outlets by an engineer; dam rules apply."),
        (
            pond or bool(supply.catchments) or bool(kinds & {"well", "stream"}),
            "Taking or holding back ground, stream or storm water needs a right or a permit.",
        ),
        ("mains" in kinds, "Mains need a backflow preventer that the water works approves."),
        (
            "reclaimed" in kinds,
            "Reclaimed water needs its permit, signs and separate pipes; watch salt in the soil.",
        ),
    )
    return tuple(line for applies, line in meaning if applies)


def _over(part: xr.DataArray, whole: xr.DataArray) -> xr.DataArray:
    """Share, NaN where there is no whole."""
    return part / whole.where(whole > 0.0)


def _named(values: xr.DataArray, units: str, long_name: str) -> xr.DataArray:
    out = values.copy()
    out.attrs = {"units": units, "long_name": long_name}
    return out
