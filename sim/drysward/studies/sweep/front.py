"""The trade-off front: plans and points that nothing beats in both cost and risk."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Collection, Sequence

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput, nearest
from drysward.quantities import require_system
from drysward.studies.sweep import STAGE_NAMES
from drysward.studies.sweep.axis_units import axes_in

WATER, DAYS_BELOW = "water", "days below"
MOST_FRONTS = 50
"""Values of an axis that may each have a front (own choice)."""
BY_AREA, WORST = "mean over the area", "worst field"
Objective = Callable[[xr.Dataset], xr.DataArray]
"""A cost or risk in Python: points of a sweep in, one number for each point out; less is better."""
# What people call a reduced variable -> its name.
_CALLED = {DAYS_BELOW: "days_below_condition_mean"}


def front(
    sweep: xr.Dataset,
    cost: str | Objective = WATER,
    risk: str | Objective = "wilt",
    field: str | None = None,
    high: bool = False,
    by: str | None = None,
    units: str | None = None,
) -> xr.Dataset:
    """Choices of a sweep that no other choice beats in cost and risk at once.

    Parameters
    ----------
    sweep : from ``drysward.open``.
    cost, risk : "water" (mm a year, mean of the fields by area), a stage of the turf (its odds,
        those of the worst field), "days below" playing condition (mean a year, the worst field's)
        or any reduced variable of the sweep (the worst field's); or a function of the Dataset that
        gives one number for each point, by plan and field or not. Less is better of both.
    field : key of the field that counts alone; a function has only this field.
    high : the risk is what 95% of the draws within a point do not pass, in place of their mean.
    by : an axis, such as "species", or "plan": a front for each of its values.
    units : "us" or "metric", for the values of the axes; as the sweep file has them when None.

    Returns
    -------
    Dataset by ``choice``, cheapest first (with ``by`` one value after the other): ``cost`` and
    ``risk``, ``risk_se`` where the risk is that of a stage, the plan, and what each axis takes.
    Water in mm, odds in 1, days in d; the attribute ``of_fields`` says whether several fields count
    by their area or by the worst, ``season`` when the plans may water. Common draws that cross a
    grid are no choice: cost and risk are means over them, and over the draws within points.

    Raises
    ------
    FaultyInput
        For a name that is not there, ``by`` an axis with many values, ``high`` of what has no
        draws, or a function that does not give one number for each point.

    Examples
    --------
    >>> points = drysward.open("swept")
    >>> def dollars(points):
    ...     return 3.5 * points["site_water"] + 60.0 * points["site_water"] ** 0.5
    >>> drysward.front(points, cost=dollars, risk="days below").to_dataframe()
    """
    refuse_unfinished(sweep)
    if units is not None:
        require_system(units)
        sweep = axes_in(sweep, units)
    table = xr.Dataset(
        {
            "cost": measure(sweep, cost, "cost", field=field),
            "risk": measure(sweep, risk, "risk", field=field, high=high),
        }
    )
    if isinstance(risk, str) and risk in STAGE_NAMES and not high:
        of = sweep if field is None else sweep.sel(field=[field])
        table["risk_se"] = _odds_error(of, STAGE_NAMES[risk])
    of_fields = {name: table[name].attrs.get("of_fields", "") for name in ("cost", "risk")}
    if "draw" in table.coords:
        table = _over_draws(table)
    choices = table.stack(choice=("point", "plan"), create_index=False)
    choices = choices.transpose("choice")
    kept = choices.isel(choice=_of_each(choices, by, sweep))
    kept["cost"].attrs.update(measured_attributes(sweep, cost, kept["cost"]))
    kept["risk"].attrs.update(measured_attributes(sweep, risk, kept["risk"]))
    for name, how in of_fields.items():
        kept[name].attrs["of_fields"] = how
    kept.attrs.update(
        {name: sweep.attrs[name] for name in ("title", "source", "weather", "identity")},
        choices=int(choices.sizes["choice"]),
        cost=name_of(cost),
        risk=name_of(risk),
        axes=sweep.attrs["axes"],
        field=field or "",
        plans=int(sweep.sizes["plan"]),
        draws=int(sweep.attrs.get("draws", 0)),
        independent_years=int(sweep.attrs.get("independent_years", 0)),
        season=_season(sweep, [str(plan) for plan in np.unique(kept["plan"].values)]),
        axes_of_plans=json.dumps(_axes_of_plans(sweep)),
        common_draws=np.unique(sweep["draw"]).size if "draw" in sweep.coords else 0,
        **done_of(sweep),
        high=int(high),
        by=by or "",
    )
    return kept


def _season(sweep: xr.Dataset, plans: Sequence[str]) -> str:
    """``04-01 to 10-31``: when all of ``plans`` may water; "" where they differ or always may."""
    written = tomllib.loads(sweep.attrs.get("scenario", "")).get("plans", {})
    seasons = {json.dumps(written.get(plan, {}).get("season", {})) for plan in plans}
    of = json.loads(seasons.pop()) if len(seasons) == 1 else {}
    return f"{of['from']} to {of['to']}" if {"from", "to"} <= set(of) else ""


def _of_each(choices: xr.Dataset, by: str | None, sweep: xr.Dataset) -> NDArray[np.int64]:
    """Places of the unbeaten choices, of each value of ``by`` one after the other."""
    cost, risk = choices["cost"].values, choices["risk"].values
    if by is None:
        return unbeaten(cost, risk)
    axes = ["plan", *json.loads(sweep.attrs["axes"])]
    if by not in axes:
        raise FaultyInput(Fault("by", f"no axis '{by}'", nearest(by, axes)))
    if by not in choices.coords:
        what = f"'{by}' is drawn, and the draws are averaged"
        raise FaultyInput(Fault("by", what, "an axis with a list of values"))
    values, place = np.unique(choices[by].values, return_inverse=True)
    if values.size > MOST_FRONTS:
        what = f"'{by}' has {values.size:,} values"
        raise FaultyInput(Fault("by", what, f"an axis with at most {MOST_FRONTS}"))
    each = (np.flatnonzero(place == i) for i in range(values.size))
    return np.concatenate([here[unbeaten(cost[here], risk[here])] for here in each])


def unbeaten(cost: NDArray[np.float64], risk: NDArray[np.float64]) -> NDArray[np.int64]:
    """Places of choices that no other beats: less of one and no more of the other.

    Sorted by cost; of equal choices the first. NaN never stands on a front.
    """
    known = np.flatnonzero(np.isfinite(cost) & np.isfinite(risk))
    order = known[np.lexsort((known, risk[known], cost[known]))]
    least = np.minimum.accumulate(risk[order])
    first = np.ones(order.size, bool)
    first[1:] = risk[order][1:] < least[:-1]
    return order[first]


def _axes_of_plans(sweep: xr.Dataset) -> dict[str, list[str]]:
    """The axes that change anything under each plan: not those of other plans, unless some of its
    fields follow them.
    """
    written = tomllib.loads(sweep.attrs.get("scenario", "")).get("plans", {})
    out = {}
    for plan in map(str, sweep["plan"].values):
        followed = {plan, *written.get(plan, {}).get("fields", {}).values()}
        out[plan] = [
            name for name in json.loads(sweep.attrs["axes"])
            if any(_is_of(key, followed) for key in keys_of(sweep[name]))
        ]  # fmt: skip
    return out


def keys_of(axis: xr.DataArray) -> list[str]:
    """The keys of a scenario that an axis sets."""
    return str(axis.attrs.get("comment", "")).split(", ")


def _is_of(key: str, plans: Collection[str]) -> bool:
    """Whether a key of a scenario matters under ``plans``: it is of one of them, or of no plan."""
    table, _, rest = key.partition(".")
    return table != "plans" or rest.partition(".")[0] in plans


def done_of(sweep: xr.Dataset) -> dict[str, int]:
    """How many points of a sweep are done, and of how many, as attributes of what is made of it."""
    done = int(sweep.attrs["points_done"])
    return {"points_done": done, "points": int(sweep.attrs.get("points", done))}


def refuse_unfinished(sweep: xr.Dataset) -> None:
    """FaultyInput when no point of a sweep is done, or it is no sweep."""
    if "points_done" not in sweep.attrs:
        allowed = "what drysward.open gives of a folder that 'drysward sweep' wrote"
        raise FaultyInput(Fault("sweep", "is the result of one scenario, not of a sweep", allowed))
    if not sweep.attrs.get("points_done"):
        raise FaultyInput(Fault("sweep", "no point is done yet", "run 'drysward sweep' first"))


def name_of(measured: str | Objective) -> str:
    """What a cost or risk is called."""
    return measured if isinstance(measured, str) else getattr(measured, "__name__", "function")


def by_function(points: xr.Dataset, function: Objective, where: str) -> xr.DataArray:
    """What a function gives of points; FaultyInput unless it is one number for each point.

    ``where`` is what a fault calls the function.
    """
    values = function(points)
    allowed = "a DataArray with dimension point, and plan or field beside it or not"
    if not isinstance(values, xr.DataArray):
        what = f"{name_of(function)} gives {type(values).__name__}"
        raise FaultyInput(Fault(where, what, allowed))
    if "point" not in values.dims or set(values.dims) - {"point", "plan", "field"}:
        what = f"{name_of(function)} gives dimensions {', '.join(map(str, values.dims)) or 'none'}"
        raise FaultyInput(Fault(where, what, allowed))
    return values.reset_coords(drop=True)


def measure(
    sweep: xr.Dataset,
    name: str | Objective,
    where: str,
    plan: str | None = None,
    field: str | None = None,
    high: bool = False,
) -> xr.DataArray:
    """Cost or risk ``name`` of every point (and plan, unless one is named), computed.

    As ``cost``, ``risk`` and ``high`` of ``front``; ``where`` is what a fault calls ``name``.
    FaultyInput too when no point has a number.
    """
    if high and not sweep.attrs.get("draws"):
        allowed = "[doubt] with draws = 64 in the sweep file, or leave it out"
        raise FaultyInput(Fault("high", "the points of this sweep have no draws", allowed))
    if high and (name == WATER or not isinstance(name, str)):
        raise FaultyInput(_no_limits(name_of(name)))
    for dimension, key in (("field", field), ("plan", plan)):
        if key is not None and key not in sweep[dimension].values:
            there = [str(name) for name in sweep[dimension].values]
            raise FaultyInput(Fault(dimension, f"no '{key}'", nearest(key, there)))
    if field is not None:
        sweep = sweep.sel(field=[field])
    if plan is not None:
        sweep = sweep.sel(plan=plan)
    if not isinstance(name, str):
        return _known(_worst(by_function(sweep, name, where)), where, name_of(name))
    if name == WATER:
        weights = sweep["area_m2"]
        water = (sweep["season_water"] * weights).sum("field", skipna=False) / weights.sum("field")
        return _known(_of_fields(water, sweep["season_water"], BY_AREA), where, name)
    if name in STAGE_NAMES:
        odds = sweep["probability_high" if high else "probability"]
        odds = odds.sel(stage=STAGE_NAMES[name], drop=True)
        return _known(_worst(odds), where, name)
    called, name = name, _CALLED.get(name, name)
    if high and f"{name}_high" in sweep:
        name = f"{name}_high"
    elif high:
        raise FaultyInput(_no_limits(called))
    if name not in _reduced(sweep):
        kept = _reduced(sweep)
        words = [word for word, variable in _CALLED.items() if variable in kept]
        known = [*STAGE_NAMES, WATER, *words, *kept]
        what = f"no '{called}' that is one number for each point"
        meant = f"did you mean '{WATER}'?" if called.startswith("irrigation") else ""
        raise FaultyInput(Fault(where, what, meant or nearest(called, known)))
    return _known(_worst(sweep[name]), where, called)


def _worst(values: xr.DataArray) -> xr.DataArray:
    """Values of the worst field, where they are by field."""
    return _of_fields(values.max("field"), values, WORST) if "field" in values.dims else values


def _of_fields(one: xr.DataArray, each: xr.DataArray, how: str) -> xr.DataArray:
    """One number for all fields that says how it came from those of ``each``."""
    return one.assign_attrs(each.attrs | ({"of_fields": how} if each.sizes["field"] > 1 else {}))


def _known(values: xr.DataArray, where: str, called: str) -> xr.DataArray:
    computed = values.compute()
    if not np.isfinite(computed).any():
        what = f"'{called}' is not known at any point"
        raise FaultyInput(Fault(where, what, "another field, or another number of the sweep"))
    return computed


def _no_limits(called: str) -> Fault:
    allowed = f"{', '.join(STAGE_NAMES)} or {DAYS_BELOW}"
    return Fault("high", f"'{called}' has no limits across draws", allowed)


def _reduced(sweep: xr.Dataset) -> list[str]:
    return [
        str(name)
        for name, values in sweep.data_vars.items()
        if "point" in values.dims and set(values.dims) <= {"point", "plan", "field"}
    ]


def _odds_error(sweep: xr.Dataset, stage: str) -> xr.DataArray:
    """Sampling error of the odds of the worst field."""
    odds = sweep[["probability", "probability_se"]].sel(stage=stage, drop=True).compute()
    worst = odds["probability"].fillna(0.0).argmax("field")
    return odds["probability_se"].isel(field=worst).drop_vars(["field", "field_label"])


def _over_draws(table: xr.Dataset) -> xr.Dataset:
    """Means over the common draws of a grid: its cells are the choices.

    What is drawn differs within a cell and is left out.
    """
    draws = int(table["draw"].max()) + 1
    cell = (table["sample"] // draws).rename("cell")
    mean = table.groupby(cell).mean().rename(cell="point")
    _, first, place = np.unique(cell.values, return_index=True, return_inverse=True)
    of_points = {
        name: values
        for name, values in table.coords.items()
        if values.dims == ("point",) and name not in ("point", "sample", "draw")
    }
    return mean.assign_coords(
        {
            name: ("point", values.values[first], values.attrs)
            for name, values in of_points.items()
            if np.array_equal(values.values[first][place], values.values)
        }
    )


def measured_attributes(
    sweep: xr.Dataset, name: str | Objective, values: xr.DataArray
) -> dict[str, str]:
    """Units and meaning of a cost or risk; of a function's the units that it gives."""
    if not isinstance(name, str):
        return {"units": values.attrs.get("units", "1"), "long_name": name_of(name)}
    if name == WATER:
        return {"units": "mm", "long_name": "mean water a year, as drawn"}
    if name in STAGE_NAMES:
        return {"units": "1", "long_name": f"odds that a year reaches {name}"}
    attrs = sweep[_CALLED.get(name, name)].attrs
    return {"units": attrs.get("units", "1"), "long_name": attrs.get("long_name", name)}
