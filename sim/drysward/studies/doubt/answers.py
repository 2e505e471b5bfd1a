"""From crossed draws and years to answers: spreads, whether a choice stands, what to measure."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.day.records import STAGES
from drysward.results.band import Kind, band, stands
from drysward.results.importance import Importance, importance
from drysward.results.spread import Split, split_of_sums
from drysward.scenario.model import SKINNED, Scenario
from drysward.studies.doubt.crossed import WATER, Crossed

FloatArray = NDArray[np.float64]

BELOW = "days_below_condition"
# Shares of a fit that foretells less than this are not told (checked by simulation in the tests).
LEAST_EXPLAINED = 0.2
FEWEST_FOR_IMPORTANCE = 32

def doubt_answers(found: Crossed, scenario: Scenario, plans: tuple[str, ...]) -> xr.Dataset:
    """What draws of uncertain numbers make of the answers, by field and plan.

    Parameters
    ----------
    found : of ``crossed`` of the ``scenario`` under ``plans``.

    Returns
    -------
    Dataset with, for each of ``doubt_probability`` (by stage), ``doubt_days`` (by stage),
    ``doubt_days_below_condition``, ``doubt_water`` (mm) and ``doubt_demand`` (mm, by period): the
    mean over draws and years, ``_low`` and ``_high``, 5 to 95 % across draws with the noise of the
    years taken out, ``_distinct``, whether that spread can be told from chance, and ``_error``, the
    sampling error of the years. ``doubt_fewer`` (field, plan, other): share of draws in which a
    plan has fewer days below playing condition than another; ``doubt_fewer_by`` with limits, the
    difference in days. ``doubt_better`` (plan, field, other_field) and ``doubt_better_by`` likewise
    for fields under a plan. ``doubt_share`` (field, part): share of the variance across draws of
    the days below, over plans that water, that comes from a group or a number; NaN where it cannot
    be told apart.
    """
    keys = ("field", "plan")
    out = xr.Dataset(
        coords={"field": [one.key for one in scenario.fields], "plan": list(plans)},
        attrs={
            "doubt_draws": len(found.draws.values),
            "doubt_draw_years": found.years,
            "doubt_numbers": len(found.draws.doubtful),
            "doubt_least_explained": LEAST_EXPLAINED,
        },
    )
    skinned = np.array([field.surface == SKINNED for field in scenario.fields])
    by_stage: tuple[tuple[str, str, Kind], ...] = (
        ("probability", "reached", "odds"), ("days", "days", "amount"),
    )  # fmt: skip
    for name, part, kind in by_stage:
        told = [_told(found, f"{part}_{stage}", kind) for stage in STAGES]
        for end in told[0]:
            values = np.stack([one[end] for one in told], axis=-1)
            out[f"doubt_{name}{end}"] = ((*keys, "stage"), values)
    for name, outcome in (("days_below_condition", BELOW), ("water", WATER)):
        for end, values in _told(found, outcome, "amount").items():
            if outcome == BELOW and values.dtype != bool:
                values = np.where(skinned[:, None], np.nan, values)
            out[f"doubt_{name}{end}"] = (keys, values)
    _add_demand(out, found, scenario)
    _add_order(out, found, "fewer", ("field", "plan", "other"), found.plans, skinned)
    _add_order(out, found, "better", ("plan", "field", "other_field"), found.fields, skinned)
    out = out.assign_coords(
        stage=list(STAGES), other=list(plans), other_field=out["field"].values,
        period=np.asarray(scenario.answers.return_periods, float),
    )  # fmt: skip
    return _with_importance(out, found, scenario, skinned)


def _split(found: Crossed, name: str) -> Split:
    return split_of_sums(found.rows[name], found.columns[name], found.squares[name])


def _told(found: Crossed, name: str, kind: Kind) -> dict[str, np.ndarray]:
    """Mean and limits (F, P) of an outcome, by the end of their names."""
    parts = _split(found, name)
    limits = band(found.rows[name], parts, kind)
    return {
        "": parts.mean,
        "_low": limits.low,
        "_high": limits.high,
        "_distinct": limits.distinct,
        "_error": parts.sampling_error,
    }


def _add_demand(out: xr.Dataset, found: Crossed, scenario: Scenario) -> None:
    """The demand of dry years: mean and 5 to 95 % of the draws, as they are.

    A dry year of a draw is no mean of its years; how much of its spread is their noise is not
    taken out.
    """
    by = ("field", "plan", "period")
    low, high = np.quantile(found.demand, [0.05, 0.95], axis=2)
    for end, values in (("", found.demand.mean(axis=2)), ("_low", low), ("_high", high)):
        out[f"doubt_demand{end}"] = (by, values)


def _add_order(
    out: xr.Dataset,
    found: Crossed,
    name: str,
    dims: tuple[str, str, str],
    products: dict[str, FloatArray],
    skinned: np.ndarray,
) -> None:
    """How the second of three dimensions stand to one another, by days below playing condition."""
    by_field = dims[0] == "field"
    rows, columns, squares = found.rows[BELOW], found.columns[BELOW], found.squares[BELOW]
    if not by_field:
        rows, columns, squares = (np.swapaxes(x, 0, 1) for x in (rows, columns, squares))
    parts = split_of_sums(
        rows[:, :, None] - rows[:, None],
        columns[:, :, None] - columns[:, None],
        squares[:, :, None] + squares[:, None] - 2.0 * products[BELOW],
    )
    order = stands(rows[:, :, None], rows[:, None], parts)
    gone = skinned[:, None, None] if by_field else skinned[None, :, None] | skinned[None, None]
    for end, values in (
        ("", order.share_less), ("_by", order.difference), ("_by_low", order.low),
        ("_by_high", order.high), ("_by_error", order.sampling_error),
    ):  # fmt: skip
        out[f"doubt_{name}{end}"] = (dims, np.where(gone, np.nan, values))


def _with_importance(
    out: xr.Dataset, found: Crossed, scenario: Scenario, skinned: np.ndarray
) -> xr.Dataset:
    """Adds which groups and numbers the spread of each field's days below comes from.

    The outcome is the mean over the plans that water at all: a number that matters under one plan
    only matters less.
    """
    numbers = found.draws.doubtful
    if len(found.draws.values) < FEWEST_FOR_IMPORTANCE or not numbers:
        return out
    waters = found.rows[WATER].mean(axis=-1) > 0.0
    names = found.draws.units()
    groups = [one.group for one in numbers]
    rows: list[Importance | None] = []
    for f in range(len(scenario.fields)):
        plans = np.flatnonzero(waters[f])
        if skinned[f] or not plans.size:
            rows.append(None)
            continue
        outcome = found.rows[BELOW][f, plans].mean(axis=0)
        chance = float(np.mean(_split(found, BELOW).chance[f, plans]))
        rows.append(importance(found.draws.u, outcome, names, groups, chance))
    first = next((row for row in rows if row is not None), None)
    if first is None:
        return out

    def values(of: Callable[[Importance], FloatArray], n: int) -> np.ndarray:
        gone = np.full(n, np.nan)
        return np.stack([gone if row is None else of(row) for row in rows])

    for kind in ("groups", "numbers"):
        n = len(getattr(first, kind).names)
        for end, of in (("", "total"), ("_error", "error")):
            found_values = values(lambda row, k=kind, o=of: getattr(getattr(row, k), o), n)  # type: ignore[misc]
            out[f"doubt_share_of_{kind}{end}"] = (("field", kind), found_values)
        out = out.assign_coords({kind: list(getattr(first, kind).names)})
    out["doubt_explained"] = ("field", values(lambda row: np.asarray(row.explained), 1).ravel())
    by_name = dict(zip(reversed(names), reversed(numbers), strict=True))
    measures = {name: one.measure for name, one in by_name.items()}
    meanings = {name: one.told or name for name, one in by_name.items()}
    return out.assign_coords(
        measure=("numbers", [measures[str(name)] for name in out["numbers"].values]),
        meaning=("numbers", [meanings[str(name)] for name in out["numbers"].values]),
    )
