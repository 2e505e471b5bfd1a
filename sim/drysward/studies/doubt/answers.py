"""From crossed draws and years to answers: spreads, whether a choice stands, what to measure."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from operator import attrgetter

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward import __version__
from drysward.day.records import STAGES
from drysward.faults import CannotDraw
from drysward.progress import Report, reporting
from drysward.results.band import FEWEST_FOR_QUANTILES, TAIL, Kind, band, stands
from drysward.results.dataset import FEED, PLAY
from drysward.results.importance import Importance, importance
from drysward.results.spread import Split, split_of_sums
from drysward.results.terms import stage_coordinate, with_terms
from drysward.scenario.model import SKINNED, Scenario, require_scenario
from drysward.site.play import has_play_on
from drysward.special import ndtri
from drysward.studies.doubt.crossed import (
    BELOW,
    CHANGES,
    DAYS_A_YEAR,
    FED,
    HARDNESS,
    LONGEST,
    OUTCOMES,
    PLAYED,
    RECOVERED,
    SHARES,
    WATER,
    Crossed,
    crossed,
    drawn_numbers,
    season_days,
)
from drysward.studies.feeding_effect import COMPARED

FloatArray = NDArray[np.float64]

# Shares of a fit that explains less than this are left out (checked by simulation in the tests).
LEAST_EXPLAINED = 0.2
FEWEST_FOR_IMPORTANCE = 32


def draws(
    scenario: Scenario,
    n: int | None = 64,
    plans: Sequence[str] | None = None,
    years: tuple[int, int] | None = None,
    workers: int | None = None,
    keep: bool = False,
    progress: Report = None,
    feeding_effect: bool = False,
    device: str = "cpu",
    check_device: int = 16,
) -> xr.Dataset:
    """The answers of a scenario across draws of what is not known of soil, turf and system.

    Every draw of the uncertain numbers runs under every plan on the same weather years. Draws are
    of the text of the scenario. Plans that ``Scenario.with_plan`` added run too, and plans may be
    left out; a site, fields or plans that are not as the text has them are refused: change the
    text, and ``drysward.loads`` it.

    Parameters
    ----------
    scenario : from ``drysward.load``.
    n : draws, 2 or more, best a power of two; as many as keep the run short when None. Which
        numbers the spread comes from takes 64 or more.
    plans : keys of the plans to run; all when None.
    years : first and last year to count; all complete ones when None.
    workers : threads; as many as there are cores when None. No number changes any result.
    keep : keep the single draws too: ``draw_NAME`` (field, plan, draw), the mean over the years
        of every outcome (0 to 1 for ``reached_STAGE``, days, mm), and ``drawn``
        (draw, drawn_number), the values drawn, each in its ``unit``.
    progress : True shows how far it is on stderr: a bar at a terminal, else a line every ten
        seconds. A function is called with the share of the work that is done. None is silent.
    feeding_effect : run every draw without feeding too, as ``drysward.feeding_effect`` does with
        the likely numbers; this takes twice as long.
    device : "cpu", "gpu", "gpu:0,2" or "auto", as ``drysward.sweep``.
    check_device : plans of draws on a card that the processor runs too; 0 for none.

    Returns
    -------
    Dataset with, for each of ``doubt_probability`` (by stage), ``doubt_days`` (by stage),
    ``doubt_days_below_condition``, ``doubt_water`` (mm) and ``doubt_demand`` (mm, by period): the
    mean over draws and years, ``_low`` and ``_high``, 5 to 95% across draws with the noise of the
    years taken out, ``_distinct``, whether that spread stands out from chance, and ``_error``, the
    sampling error of the years. ``doubt_days_below_condition_1in10``: days that 1 year in 10
    passes, mean over draws. ``doubt_site_demand`` (plan, period), m3: mean over draws of the dry
    year of all fields together. Where a field is fed ``doubt_feed_NAME`` likewise, of leached_n,
    clippings (kg/ha), days_hungry and days_lush (d); with ``feeding_effect``
    ``doubt_feed_NAME_change``, of below, wilt, water and recovery: a draw as fed less the same draw
    without feeding. Where a field has play ``doubt_play_NAME`` likewise, of days_hard, days_mud,
    days_standing, days_airless, days_weed_prone, days_dust, disease_nights (d), mean_hardness (g),
    peak_worn, peak_root_loss and the shares of the events events_playable, events_hard, events_wet
    and events_frozen; and of longest_airless (d), the longest spell of any year. That and recovery
    are quantiles of the draws as they are, without ``_distinct`` and ``_error``.
    ``doubt_fewer`` (field, plan, other): share
    of draws in which a plan has fewer days below playing condition than another; ``doubt_fewer_by``
    with limits, the difference in days. ``doubt_better`` (plan, field, other_field) and
    ``doubt_better_by`` likewise for fields under a plan. ``doubt_share_of_groups`` (field, groups),
    ``doubt_share_of_measures`` (field, measures) and ``doubt_share_of_numbers`` (field, numbers),
    with ``_error``: share of the variance across draws, of normal scores of the days below over
    plans that water, that comes from a group, from all numbers that one measurement would settle,
    or from a number. ``doubt_explained`` (field): share of that variance that the numbers explain
    in draws left out; where it is below the attribute ``doubt_least_explained``, the draws are too
    few to separate numbers and the shares are NaN. 64 draws are mostly enough; of fewer than 32
    nothing is worked out and these variables are left out.
    Sampling errors count years that are independent. Skinned fields have no days below: NaN.

    Raises
    ------
    ValueError
        For fewer than two draws. ``faults.CannotDraw``, a ValueError, for fewer than two years or
        where no number has a range.
    FaultyInput
        For a faulty weather file, a name that is not known, a scenario that is not as its text, or
        for ``feeding_effect`` where no field is fed.

    Examples
    --------
    >>> draws = drysward.draws(drysward.shipped("demo"), 64)
    >>> draws["doubt_probability_high"].sel(stage="wilt").to_series()
    """
    require_scenario(scenario)
    if n is None and not drawn_numbers(scenario):
        raise CannotDraw("no number of the scenario has a range to be drawn from")
    followed = scenario.plans
    if plans is not None:
        followed = tuple(scenario.plan_named(key) for key in plans)
    with reporting(progress, "Running the draws") as report:
        found = crossed(
            scenario, n, followed, years, workers, report, feeding_effect, device, check_device
        )
    out = doubt_answers(found, scenario, tuple(plan.key for plan in followed))
    return with_terms(_with_draws(out, found, scenario) if keep else out)


def doubt_answers(found: Crossed, scenario: Scenario, plans: tuple[str, ...]) -> xr.Dataset:
    """What draws of uncertain numbers make of the answers, by field and plan.

    Parameters
    ----------
    found : of ``crossed`` of the ``scenario`` under ``plans``.

    Returns
    -------
    Dataset as ``draws`` says.
    """
    keys = ("field", "plan")
    out = xr.Dataset(
        coords={"field": [one.key for one in scenario.fields], "plan": list(plans)},
        attrs={
            "doubt_draws": len(found.draws.values),
            "doubt_draw_years": found.years,
            "doubt_independent_years": found.independent_years,
            "doubt_numbers": len(found.draws.doubtful),
            "doubt_least_explained": LEAST_EXPLAINED,
            "seed": scenario.weather.seed,
            "drysward_version": __version__,
            "scenario": scenario.text,
            "scenario_digest": scenario.digest,
        },
    )
    skinned, season = _skinned(scenario), season_days(scenario)
    by_stage: tuple[tuple[str, str, Kind], ...] = (
        ("probability", "reached", "odds"), ("days", "days", "amount"),
    )  # fmt: skip
    for name, part, kind in by_stage:
        by_name = [_mean_and_limits(found, f"{part}_{stage}", kind, season) for stage in STAGES]
        for end in by_name[0]:
            values = np.stack([one[end] for one in by_name], axis=-1)
            out[f"doubt_{name}{end}"] = ((*keys, "stage"), values)
    for name, outcome in (("days_below_condition", BELOW), ("water", WATER)):
        most = season if outcome == BELOW else np.inf
        for end, values in _mean_and_limits(found, outcome, "amount", most).items():
            if outcome == BELOW and values.dtype != bool:
                values = np.where(skinned[:, None], np.nan, values)
            out[f"doubt_{name}{end}"] = (keys, values)
    _add_feeding(out, found, scenario)
    _add_play(out, found, scenario, season)
    in_ten = np.where(skinned[:, None], np.nan, found.below_in_ten)
    out[f"doubt_{BELOW}_1in10"] = (keys, in_ten)
    _add_demand(out, found, scenario)
    _add_order(out, found, "fewer", ("field", "plan", "other"), found.plans, skinned)
    _add_order(out, found, "better", ("plan", "field", "other_field"), found.fields, skinned)
    out = out.assign_coords(
        stage=stage_coordinate(), other=list(plans), other_field=out["field"].values,
        period=np.asarray(scenario.answers.return_periods, float),
    )  # fmt: skip
    return _with_importance(out, found, scenario, skinned)


def _with_draws(out: xr.Dataset, found: Crossed, scenario: Scenario) -> xr.Dataset:
    """Adds the single draws: their means over the years, and what was drawn."""
    for name in OUTCOMES:
        values = found.rows[name]
        if name == BELOW:
            values = np.where(_skinned(scenario)[:, None, None], np.nan, values)
        out[f"draw_{name}"] = (("field", "plan", "draw"), values)
    for name, values in found.rows.items():
        if name in OUTCOMES:
            continue
        units, meaning = _meaning(name, scenario)
        has = _fed(scenario) if name.startswith(FEED) else _played(scenario)
        attrs = {"units": units, "long_name": f"mean a year of the draw of {meaning}"}
        kept = np.where(has[:, None, None], values, np.nan)
        out[f"draw_{name}"] = (("field", "plan", "draw"), kept, attrs)
    numbers = found.draws.doubtful
    drawn = {"long_name": "value drawn of a number, in its unit"}
    out["drawn"] = (("draw", "drawn_number"), found.draws.values, drawn)
    return out.assign_coords(
        draw=np.arange(1, len(found.draws.values) + 1),
        drawn_number=np.array([one.key for one in numbers], dtype=str),
        unit=("drawn_number", np.array([one.unit for one in numbers], dtype=str)),
        group=("drawn_number", np.array([one.group for one in numbers], dtype=str)),
    )


def _skinned(scenario: Scenario) -> np.ndarray:
    """Whether each field has no turf (F,)."""
    return np.array([field.surface == SKINNED for field in scenario.fields])


def _fed(scenario: Scenario) -> np.ndarray:
    """Whether each field is fed (F,)."""
    return np.array([field.feeding is not None for field in scenario.fields])


def _played(scenario: Scenario) -> np.ndarray:
    """Whether each field has play (F,)."""
    return np.array([has_play_on(field, scenario.plans) for field in scenario.fields])


def _split(found: Crossed, name: str) -> Split:
    parts = split_of_sums(found.rows[name], found.columns[name], found.squares[name])
    return _of_independent(parts, found)


def _of_independent(parts: Split, found: Crossed) -> Split:
    """``parts`` with the noise of the independent years."""
    return parts.of_independent(found.independent_years, found.distinct_years)


def _mean_and_limits(
    found: Crossed, name: str, kind: Kind, most: float = np.inf
) -> dict[str, np.ndarray]:
    """Mean and limits (F, P) of an outcome that cannot exceed ``most``, by the end of their
    names.
    """
    parts = _split(found, name)
    limits = band(found.rows[name], parts, kind, most=most)
    return {
        "": parts.mean,
        "_low": limits.low,
        "_high": limits.high,
        "_distinct": limits.distinct,
        "_error": parts.sampling_error,
    }


def _add_feeding(out: xr.Dataset, found: Crossed, scenario: Scenario) -> None:
    """Outcomes of feeding and what it changes, of the fields that are fed."""
    fed = _fed(scenario)
    for name in (name for name in FED if name in found.rows):
        most = DAYS_A_YEAR if _meaning(name, scenario)[0] == "d" else np.inf
        _put(out, name, _mean_and_limits(found, name, "amount", most), fed, scenario)
    for name in (name for name in CHANGES if name in found.rows):
        _put(out, name, _mean_and_limits(found, name, "difference"), fed, scenario)
    if RECOVERED in found.by_draw:
        _put(out, RECOVERED, _of_draws_as_they_are(found, RECOVERED), fed, scenario)


def _add_play(out: xr.Dataset, found: Crossed, scenario: Scenario, season: int) -> None:
    """Outcomes of play, of the fields that have it."""
    if LONGEST not in found.by_draw:
        return
    played = _played(scenario)
    for name in PLAYED:
        most = season if _meaning(name, scenario)[0] == "d" else 1.0
        if name == HARDNESS:
            most = np.inf
        _put(out, name, _mean_and_limits(found, name, "amount", most), played, scenario)
    for name in SHARES:
        _put(out, name, _mean_and_limits(found, name, "odds"), played, scenario)
    _put(out, LONGEST, _of_draws_as_they_are(found, LONGEST), played, scenario)


FEWEST_FOR_LIMITS = 3
"""Draws from which a range means anything (own choice)."""


def _of_draws_as_they_are(found: Crossed, name: str) -> dict[str, np.ndarray]:
    """Mean and limits (F, P) of a number of each draw, by the end of their names, over the draws
    that have it; the noise of the years stays in. No limits of fewer than three draws.
    """
    values = found.by_draw[name]
    with warnings.catch_warnings():  # no draw may have it
        warnings.filterwarnings("ignore", "All-NaN|Mean of empty")
        low, high = np.nanquantile(values, [TAIL, 1.0 - TAIL], axis=-1, method="weibull")
        mean = np.nanmean(values, axis=-1)
    few = np.isfinite(values).sum(axis=-1) < FEWEST_FOR_LIMITS
    return {"": mean, "_low": np.where(few, np.nan, low), "_high": np.where(few, np.nan, high)}


def _put(
    out: xr.Dataset,
    name: str,
    by_end: dict[str, np.ndarray],
    has: np.ndarray,
    scenario: Scenario,
) -> None:
    """Adds ``doubt_NAME`` with its limits, where a field ``has`` it (F,), and what they are."""
    units, meaning = _meaning(name, scenario)
    for end, values in by_end.items():
        if values.dtype != bool:
            values = np.where(has[:, None], values, np.nan)
        attrs = {
            "units": "1" if end == "_distinct" else units,
            "long_name": f"{_OF_DRAWS[end]} {meaning}",
        }
        out[f"doubt_{name}{end}"] = (("field", "plan"), values, attrs)


def _meaning(name: str, scenario: Scenario) -> tuple[str, str]:
    """Units and meaning of an outcome of play or feeding."""
    known = scenario.catalog.quantities
    if name in SHARES:
        return "1", f"share of events that are {name.removeprefix(f'{PLAY}events_')}"
    if name == LONGEST:
        return known[name].units, f"{known[name].long_name} of any year"
    if name in (*CHANGES, RECOVERED):
        of, meaning = COMPARED[name.removeprefix(FEED).removesuffix("_change")]
        return known[of].units, f"what feeding adds to {meaning}"
    return known[name].units, known[name].long_name


_OF_DRAWS = {
    "": "mean over draws of",
    "_low": "5% across draws of",
    "_high": "95% across draws of",
    "_distinct": "1 when draws differ by more than sampling error in",
    "_error": "sampling error of the years in",
}
"""What the ends of names across draws mean."""


def _add_demand(out: xr.Dataset, found: Crossed, scenario: Scenario) -> None:
    """The demand of dry years: mean and 5 to 95% of the draws."""
    by = ("field", "plan", "period")
    limits = demand_limits(found.demand, found.demand_of_halves)
    # In every draw a dry year takes no less than the mean year, so its limits are no lower; few
    # draws give those of the mean year by moments, which reach beyond the draws themselves.
    is_more = (found.demand >= found.rows[WATER][..., None]).all(axis=2)
    for end, values in zip(("", "_low", "_high"), limits, strict=True):
        mean_year = out[f"doubt_water{end}"].values[..., None]
        least = np.where(is_more, mean_year, -np.inf)
        out[f"doubt_demand{end}"] = (by, np.maximum(values, least))
    out["doubt_site_demand"] = (("plan", "period"), found.site_demand.mean(axis=1))


def demand_limits(
    demand: FloatArray, halves: FloatArray, tail: float = 0.05
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, low and high (F, P, periods) of the demand (F, P, K, periods) of dry years, the noise
    of the years taken out; ``halves`` (F, P, K, periods, 2) as ``Crossed.demand_of_halves``.

    Draws are drawn towards their mean by the root of how far their order repeats itself in other
    years, R. With r, the correlation across draws of a dry year of the first and of the second
    half of the years, R = 2r / (1 + r) (Spearman 1910 and Brown 1910, British Journal of
    Psychology 3; from memory). Draws are left as they are where they or the years are too few or
    the years are not independent; limits are then too wide.
    """
    mean = demand.mean(axis=2)
    factor = np.sqrt(_repeated(halves))
    drawn = mean[:, :, None] + factor[:, :, None] * (demand - mean[:, :, None])
    low, high = np.quantile(drawn, [tail, 1.0 - tail], axis=2, method="weibull")
    return mean, low, high


def _repeated(halves: FloatArray) -> FloatArray:
    """R of ``demand_limits`` (F, P, periods), 0 to 1, of ``demand_of_halves``."""
    rest = halves - halves.mean(axis=2, keepdims=True)
    first, second = rest[..., 0], rest[..., 1]
    both = np.sqrt((first**2).sum(axis=2) * (second**2).sum(axis=2))
    r = np.divide((first * second).sum(axis=2), both, out=np.ones_like(both), where=both > 0.0)
    r = np.clip(r, 0.0, 1.0)
    enough = halves.shape[2] >= FEWEST_FOR_QUANTILES
    return np.where(np.isfinite(r) & enough, 2.0 * r / (1.0 + r), 1.0)


def _add_order(
    out: xr.Dataset,
    found: Crossed,
    name: str,
    dims: tuple[str, str, str],
    apart: dict[str, FloatArray],
    skinned: np.ndarray,
) -> None:
    """How the second of three dimensions stand to one another, by days below playing condition."""
    by_field = dims[0] == "field"
    rows, columns = found.rows[BELOW], found.columns[BELOW]
    if not by_field:
        rows, columns = (np.swapaxes(x, 0, 1) for x in (rows, columns))
    parts = _of_independent(
        split_of_sums(
            rows[:, :, None] - rows[:, None],
            columns[:, :, None] - columns[:, None],
            apart[BELOW],
        ),
        found,
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
    alone counts less. It enters by its normal scores: a few draws alone make the long tail of the
    days themselves (ranks: Saltelli & Sobol' 1995, Reliability Engineering & System Safety 50:225,
    from memory).
    """
    numbers = found.draws.doubtful
    if len(found.draws.values) < FEWEST_FOR_IMPORTANCE or not numbers:
        return out
    waters = found.rows[WATER].mean(axis=-1) > 0.0
    groups = [one.group for one in numbers]
    names = {"measures": [one.measure for one in numbers], "numbers": found.draws.units()}
    rows: list[dict[str, Importance] | None] = []
    for f in range(len(scenario.fields)):
        plans = np.flatnonzero(waters[f])
        if skinned[f] or not plans.size:
            rows.append(None)
            continue
        outcome = normal_scores(found.rows[BELOW][f, plans].mean(axis=0))
        chance = float(_split_of_mean(found, f, plans).chance)
        rows.append(
            {
                kind: importance(found.draws.u, outcome, of_kind, groups, chance)
                for kind, of_kind in names.items()
            }
        )
    first = next((row for row in rows if row is not None), None)
    if first is None:
        return out

    def values(kind: str, of: Callable[[Importance], FloatArray], n: int) -> np.ndarray:
        gone = np.full(n, np.nan)
        return np.stack([gone if row is None else of(row[kind]) for row in rows])

    explained = values("numbers", lambda row: np.reshape(row.explained, 1), 1)
    by_kind = (
        ("groups", "numbers", "groups"), ("measures", "measures", "numbers"),
        ("numbers", "numbers", "numbers"),
    )  # fmt: skip
    for kind, row_of, level in by_kind:
        labels = getattr(first[row_of], level).names
        for end, part in (("", "total"), ("_error", "error")):
            of = attrgetter(f"{level}.{part}")
            shares = values(row_of, of, len(labels))
            shares = np.where(explained < LEAST_EXPLAINED, np.nan, shares)
            out[f"doubt_share_of_{kind}{end}"] = (("field", kind), shares)
        out = out.assign_coords({kind: list(labels)})
    out["doubt_explained"] = ("field", explained.ravel())
    of_number = [
        [one for one, unit in zip(numbers, names["numbers"], strict=True) if unit == name]
        for name in out["numbers"].values
    ]
    return out.assign_coords(
        settled_by=("numbers", [ones[0].measure for ones in of_number]),
        meaning=("numbers", [
            " ".join(one.meaning or f"{one.key}." for one in ones) for ones in of_number
        ]),
    )  # fmt: skip


def normal_scores(values: FloatArray) -> FloatArray:
    """Normal scores of the ranks of ``values`` (K,), ties sharing the mean of theirs."""
    below = (values[:, None] > values).sum(axis=1)
    alike = (values[:, None] == values).sum(axis=1)
    return np.asarray(ndtri((below + 0.5 * alike) / len(values)))


def _split_of_mean(found: Crossed, f: int, plans: np.ndarray) -> Split:
    """Parts of the days below of field ``f``, in the mean over ``plans``.

    Plans share the years, so that their noise does not average out as if each had its own. The
    mean product of two is (a^2 + b^2 - (a-b)^2) / 2.
    """
    square, apart = found.squares[BELOW][f, plans], found.plans[BELOW][f][np.ix_(plans, plans)]
    products = (square[:, None] + square - apart) / 2.0
    return _of_independent(
        split_of_sums(
            found.rows[BELOW][f, plans].mean(axis=0),
            found.columns[BELOW][f, plans].mean(axis=0),
            products.mean(),
        ),
        found,
    )
