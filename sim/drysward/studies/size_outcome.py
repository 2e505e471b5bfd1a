"""What a supply of one size does over the years: who fails, where the water comes from, its cost.

Shares of two sizes are set beside each other to say why the larger of them fails.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drysward.results.costs import (
    block_tariff,
    energy_kwh,
    present_worth,
    storage_first_cost,
    water_cost,
)
from drysward.scenario.model import Costs, SourceSpec, SupplySpec
from drysward.scenario.supply_tables import AS_IT_COMES

FloatArray = NDArray[np.float64]

# A smaller difference is no reason.
_WORTH_TELLING = 0.01
# A month's allowance is used up when no more than this share of it is left: rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Outcome:
    """What the years do under a supply of one size.

    ``fails`` (Y,) are the years that do not keep the outcome. Means of the years, m3:
    ``delivered`` to the fields, ``from_storage`` the part of it out of storage and ``direct`` (S,)
    that straight from each source; ``filled`` (S,) is what each source puts into storage,
    ``runoff`` and ``rain`` what else fills it. ``energy_kwh``, ``water_cost`` and ``energy_cost``
    are means of the years too. ``supply`` is the supply of that size.

    By year: ``demand``, ``lost`` from the storage to air and ground (Y,), m3; ``drawn`` (Y, S), m3;
    ``months_spent`` (Y, S) and ``years_spent`` (Y, S), how many months and years a source's
    allowance was used up; ``restricted_days`` (Y,).
    """

    supply: SupplySpec = field(repr=False)
    fails: NDArray[np.bool_] = field(repr=False)
    delivered: float
    from_storage: float
    direct: FloatArray
    filled: FloatArray
    runoff: float
    rain: float
    energy_kwh: float
    water_cost: float
    energy_cost: float
    demand: FloatArray = field(repr=False)
    lost: FloatArray = field(repr=False)
    drawn: FloatArray = field(repr=False)
    months_spent: FloatArray = field(repr=False)
    years_spent: FloatArray = field(repr=False)
    restricted_days: FloatArray = field(repr=False)

    def first_cost(self, costs: Costs) -> float:
        """Price of building the storage, in ``costs.currency``."""
        storage = self.supply.storage
        return storage_first_cost(storage.volumes_m3[-1] if storage else 0.0, costs)

    @property
    def yearly_cost(self) -> float:
        """Price of the mean year's water and pumping energy."""
        return self.water_cost + self.energy_cost

    def present_cost(self, costs: Costs) -> float:
        """Building the storage, and water and energy of its life, in money of today.

        ValueError when the scenario gives no life.
        """
        return present_worth(self.first_cost(costs), self.yearly_cost, costs)


def outcome_of(
    supply: SupplySpec,
    costs: Costs,
    fails: NDArray[np.bool_],
    years: np.recarray,
    draws_m3: FloatArray,
) -> Outcome:
    """What years do under ``supply``.

    ``fails`` (Y,), ``years`` SUPPLY_YEAR (Y,), ``draws_m3`` (Y, S, 12) by source and month.
    """
    drawn = draws_m3.sum(axis=-1)
    delivered, from_storage = float(years.delivered.mean()), float(years.from_storage.mean())
    by_source = drawn.mean(axis=0)
    direct = direct_m3(by_source, delivered - from_storage, supply.sources)
    energy = float(energy_kwh(draws_m3, years.from_storage, supply).mean())
    # Each source has its tariff, or all water of the site has one; never both.
    water = water_cost(draws_m3, supply.sources)
    water += block_tariff(draws_m3.sum(axis=-2), costs.water)
    spent = [
        _spent(volumes, supply.sources, span)
        for span, volumes in (("month", draws_m3), ("year", drawn[..., None]))
    ]
    return Outcome(
        supply=supply,
        fails=fails,
        delivered=delivered,
        from_storage=from_storage,
        direct=direct,
        filled=by_source - direct,
        runoff=float(years.catchment.mean()),
        rain=float(years.rain_on_storage.mean()),
        energy_kwh=energy,
        water_cost=float(water.sum(axis=-1).mean()),
        energy_cost=energy * costs.energy_price_kwh,
        demand=years.demand.copy(),
        lost=years.evaporation + years.seepage,
        drawn=drawn,
        months_spent=spent[0],
        years_spent=spent[1],
        restricted_days=years.restricted_days.copy(),
    )


def direct_m3(
    drawn_m3: FloatArray, straight_m3: float, sources: Sequence[SourceSpec]
) -> FloatArray:
    """What each source gives straight to the fields (S,), of all that it gives (S,), m3.

    ``straight_m3`` is what all of them give straight to the fields. A source that feeds the fields
    alone gives all of its water so, one that feeds the storage alone none. What is left is shared
    among those that feed both, by what they give: exact where there is one of them.
    """
    feeds = np.array([source.feeds for source in sources])
    out = np.where(feeds == "fields", drawn_m3, 0.0)
    both = np.where(feeds == "both", drawn_m3, 0.0)
    if both.sum() > 0.0:
        out += both * np.clip((straight_m3 - out.sum()) / both.sum(), 0.0, 1.0)
    return out


def why_it_fails(kept: Outcome, failed: Outcome) -> str:
    """Why a supply fails where another keeps the outcome, as far as yearly sums show it.

    Means of the years that fail with the one only are set beside each other.
    """
    only = failed.fails & ~kept.fails
    years = only if only.any() else np.ones(only.size, bool)
    reasons = list(_reasons(kept, failed, years))
    if not reasons:
        return "the sums of those years do not show why; 'drysward ledger' shows their days"
    return "; ".join(reasons)


def _reasons(kept: Outcome, failed: Outcome, years: NDArray[np.bool_]) -> Iterator[str]:
    def means(of: str) -> tuple[FloatArray, FloatArray]:
        before, after = (getattr(one, of)[years].mean(axis=0) for one in (kept, failed))
        return before, after

    sources = failed.supply.sources
    for s, (source, was) in enumerate(zip(sources, kept.supply.sources, strict=True)):
        before, after = (values[s] for values in means("months_spent"))
        if after > before + _WORTH_TELLING:
            yield (
                f"{source.label} uses up its month's allowance in {after:.1f} months of the year, "
                f"not {before:.1f}"
            )
        elif after > 0.0 and (days := _days_to_spend(source)) < _days_to_spend(was) - 0.5:
            yield (
                f"{source.label} can use up its month's allowance in {days:.0f} days, and the "
                "storage must then last until the next month"
            )
        before, after = (values[s] for values in means("years_spent"))
        if after > before + _WORTH_TELLING:
            yield (
                f"{source.label} uses up its year's allowance in {100.0 * after:.0f}% of the "
                f"years, not {100.0 * before:.0f}%"
            )
    before, after = map(float, means("lost"))
    of = float(kept.demand[years].mean())
    if after - before > _WORTH_TELLING * of:
        yield (
            "the storage loses more to the air and the ground, by "
            f"{_percent((after - before) / of)} of the demand"
        )
    after = float(failed.demand[years].mean())
    if after > of * (1.0 + _WORTH_TELLING):
        yield f"turf that is served longer demands more, by {_percent(after / of - 1.0)}"
    before, after = map(float, means("restricted_days"))
    if after > before + 1.0:
        yield f"restrictions hold on {after:.0f} days of the year, not {before:.0f}"
    for s, source in enumerate(sources):
        before, after = (values[s] for values in means("drawn"))
        if before - after > _WORTH_TELLING * of:
            yield f"{source.label} gives less, by {_percent((before - after) / of)} of the demand"


def _days_to_spend(source: SourceSpec) -> float:
    """Days in which a source can give all of its month's allowance; NaN when it is rationed."""
    if source.ration != AS_IT_COMES:
        return np.nan
    day_m3 = min(source.rate_m3_h * source.hours, source.allowance_m3.get("day", np.inf))
    return source.allowance_m3.get("month", np.inf) / day_m3 if day_m3 > 0.0 else np.inf


def _spent(volumes_m3: FloatArray, sources: Sequence[SourceSpec], span: str) -> FloatArray:
    """In how many of the spans of a year (Y, S, n) each source has used up its allowance (Y, S)."""
    most = np.array([source.allowance_m3.get(span, np.inf) for source in sources])
    return (volumes_m3 >= most[:, None] * (1.0 - _ROUNDING)).sum(axis=-1).astype(float)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}%"
