"""What a supply of one size does over the years: who fails, where the water comes from, its cost.

Shares of two sizes are set beside each other to say why the larger of them fails. Where none
suffices, the same plan is run with all the water that it demands: the goal is then kept where only
the supply falls short, and not where the system or the plan does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drysward.day.records import CAUSES
from drysward.physics.arithmetic import within
from drysward.results.costs import (
    block_tariff,
    energy_kwh,
    present_worth,
    storage_first_cost,
    water_cost,
)
from drysward.results.supply_text import SUPPLY_CHANGES, SYSTEM_CHANGES
from drysward.results.text import CAUSES as CAUSE_TEXTS
from drysward.results.text import STAGE_WORDS, listed
from drysward.scenario.model import Costs, Scenario, SourceSpec, SupplySpec
from drysward.scenario.supply_tables import AS_IT_COMES, MAINS
from drysward.scenario.values import named_day

FloatArray = NDArray[np.float64]

ALL_WATER = SupplySpec((SourceSpec("all", "All water", MAINS),))
"""A supply that gives whatever is demanded, on every day."""

PLAN_CHANGES = "change its trigger, depth, days or season"
_VERBS = {"dead": "dies", "dormant": "goes dormant", "wilt": "wilts", "footprint": "footprints"}
_MOST_DAYS = 4
# Causes of less than this part of the largest are not named.
_MUCH = 0.2
# A smaller difference is no reason.
_WORTH_TELLING = 0.01
# A larger part of the demand cut by the supply stands in the way beside restrictions (own choice).
_SHORT = 0.05
# A month's allowance is used up when no more than this share of it is left: rounding.
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Outcome:
    """What the years do under a supply of one size.

    ``by_field`` (Y, J) are the years that do not keep the outcome, for each field that is judged,
    or the site (J = 1); ``missed`` (Y, causes), m3, is the shortage by cause. Means of the years,
    m3: ``delivered`` to the fields, ``from_storage`` the part of it out of storage and ``direct``
    (S,) that straight from each source; ``filled`` (S,) is what each source puts into storage,
    ``runoff`` and ``rain`` what else fills it. ``energy_kwh``, ``water_cost`` and ``energy_cost``
    are means of the years too. ``supply`` is the supply of that size.

    By year: ``demand``, ``lost`` from the storage to air and ground (Y,), m3; ``drawn`` (Y, S), m3;
    ``months_spent`` (Y, S) and ``years_spent`` (Y, S), how many months and years a source's
    allowance was used up; ``restricted_days`` (Y,).
    """

    supply: SupplySpec = field(repr=False)
    by_field: NDArray[np.bool_] = field(repr=False)
    missed: FloatArray = field(repr=False)
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

    @property
    def fails(self) -> NDArray[np.bool_]:
        """Years (Y,) that do not keep the outcome."""
        return np.asarray(self.by_field.any(axis=-1))

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
    by_field: NDArray[np.bool_],
    missed: FloatArray,
    years: np.recarray,
    draws_m3: FloatArray,
) -> Outcome:
    """What years do under ``supply``.

    ``by_field`` and ``missed`` as of ``Outcome``, ``years`` SUPPLY_YEAR (Y,), ``draws_m3``
    (Y, S, 12) by source and month.
    """
    drawn = draws_m3.sum(axis=-1)
    delivered, from_storage = float(years.delivered.mean()), float(years.from_storage.mean())
    by_source = drawn.mean(axis=0)
    direct = direct_m3(by_source, delivered - from_storage, supply.sources)
    if supply.storage is not None and supply.storage.volumes_m3[-1] == 0.0:
        # The day books water of a source that fills storage as out of it, though none can be held.
        from_storage, direct = 0.0, by_source
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
        by_field=by_field,
        missed=missed,
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


def why_nothing_suffices(
    scenario: Scenario,
    judged: Sequence[int],
    allowed: int,
    free: Outcome,
    begins: Mapping[int, int],
    best: Outcome,
    with_open_days: bool,
) -> str:
    """Why no size keeps the outcome: what stands in the way, and what to change.

    ``judged`` are places of fields, of whose years ``allowed`` may fail; ``free`` is the plan with
    ``ALL_WATER``, ``best`` that with the size that comes closest. ``with_open_days`` is whether
    some size suffices without restrictions: a plan demands no water on a closed day, so that no
    shortage shows it; what else cuts much is named beside them. ``begins`` is as of
    ``why_out_of_season``, of the years that fail with ``ALL_WATER``.
    """
    fails, limit = int(free.fails.sum()), f"limit {allowed}"
    if fails <= allowed:
        why = f"the rest of the supply falls short. {_obstacles(best, SUPPLY_CHANGES)}"
        if with_open_days:
            rest = dict(SUPPLY_CHANGES)
            change = rest.pop("restriction")
            why = f"without the restrictions some size suffices. Change {change}"
            if _cuts_much(best, rest):
                why += f". The rest of the supply falls short too. {_obstacles(best, rest)}"
        return (
            f"with all the water that the plan demands the goal is kept ({_of_years(fails, free)}, "
            f"{limit}): {why}"
        )
    why = _obstacles(free, SYSTEM_CHANGES)
    if 2 * len(_outside(scenario, begins)) > fails:
        text = why_out_of_season(scenario, begins)
        why = text[0].upper() + text[1:]
    return (
        f"even with all the water that the plan demands, {_who_fails(scenario, judged, free)} "
        f"({limit}). {why}"
    )


def why_out_of_season(scenario: Scenario, begins: Mapping[int, int]) -> str:
    """That the stage begins when the plan may not water, in years that fail with any size.

    ``begins``: the day of the year (0 to 365 of a leap year) on which it does, by year. "" where it
    begins within the plan's season.
    """
    assert scenario.sizing is not None
    season = scenario.plan_named(scenario.sizing.plan).season
    outside = _outside(scenario, begins)
    if not outside:
        return ""
    *texts, first, last = map(named_day, (*dict.fromkeys(outside), *season))
    when = f"on {listed(texts)}"
    if len(texts) > _MOST_DAYS:
        when = f"between {texts[0]} and {texts[-1]}"
    some = "" if len(outside) == len(begins) else f"in {len(outside)} of them "
    return (
        f"{some}{STAGE_WORDS[scenario.sizing.outcome]} begins {when}, outside of the plan's "
        f"season ({first} to {last}): let it water then"
    )


def _outside(scenario: Scenario, begins: Mapping[int, int]) -> list[int]:
    """Those of the days on which the plan of the sizing may not water, in order."""
    assert scenario.sizing is not None
    season = scenario.plan_named(scenario.sizing.plan).season
    return sorted(day for day in begins.values() if not within(day, *season))


def _who_fails(scenario: Scenario, judged: Sequence[int], one: Outcome) -> str:
    assert scenario.sizing is not None
    verb = _VERBS.get(scenario.sizing.outcome)
    if verb is None:
        return f"there is too much shortage in {_of_years(int(one.fails.sum()), one)}"
    counts = one.by_field.sum(axis=0)
    worst = int(np.argmax(counts))
    label = scenario.fields[judged[worst]].label
    text = f"{label} {verb} in {_of_years(int(counts[worst]), one)}"
    if len(judged) > 1 and one.fails.sum() > counts[worst]:
        text += f", one field or another in {int(one.fails.sum())}"
    return text


def _of_years(count: int, one: Outcome) -> str:
    return f"{count} of {one.fails.size} years"


def _obstacles(one: Outcome, changes: Mapping[str, str]) -> str:
    """What cuts the demand of the years that fail, the most first, and what would change it."""
    missed, demand = _missed(one)
    total = sum(missed.values())
    causes = sorted((c for c in changes if missed[c] > 0.0), key=lambda c: -missed[c])
    if not causes or total <= _WORTH_TELLING * demand:
        return f"The plan itself waters too little: {PLAN_CHANGES}"
    many = [c for c in causes if missed[c] >= _MUCH * missed[causes[0]]]
    shares = "; ".join(f"{CAUSE_TEXTS[c][1]} ({_percent(missed[c] / total)})" for c in many)
    return f"Of the shortage of those years: {shares}. Change {changes[causes[0]]}"


def _cuts_much(one: Outcome, causes: Iterable[str]) -> bool:
    """Whether these causes together cut more than ``_SHORT`` of the demand."""
    missed, demand = _missed(one)
    return sum(missed[cause] for cause in causes) > _SHORT * demand


def _missed(one: Outcome) -> tuple[dict[str, float], float]:
    """Shortage by cause and demand, m3, of the years that fail; of all where none does."""
    years = one.fails if one.fails.any() else np.ones(one.fails.size, bool)
    missed = dict(zip(CAUSES, map(float, one.missed[years].sum(axis=0)), strict=True))
    return missed, float(one.demand[years].sum())


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
