"""Every chart by name: what it needs, its panels, and its text alternative."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import xarray as xr
from matplotlib.figure import Figure

from drysward.faults import Fault, FaultyInput, nearest
from drysward.pages import (
    feeding_figures,
    figures,
    play_figures,
    season_figures,
    style,
    supply_figures,
    sweep_figures,
)
from drysward.pages.figures import MONTH_NAMES
from drysward.pages.panel import Drawing, grid, one_key, share_limits
from drysward.pages.result import (
    SEASON,
    SUPPLY,
    SWEEP,
    has_numbers,
    keys,
    kind_of,
    label,
    plain,
)
from drysward.quantities import shown
from drysward.results.choice import (
    days_below,
    driest_plan,
    has_days_below,
    mean_water,
    shown_plan,
)
from drysward.results.dataset import FEED
from drysward.results.feeding_text import fed_fields, state_of
from drysward.results.season_text import day_text, days_ahead, plan_ahead
from drysward.results.sizing_text import NOTHING
from drysward.results.text import (
    CAUSES,
    UNKNOWN,
    case_text,
    count_text,
    three_figures,
    volume_display,
    volume_text,
    year_text,
)
from drysward.scenario.values import named_day
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest, surface

Choice = dict[str, str]
"""What a panel shows: keys by the names of the drawing function's arguments."""
Allowed = dict[str, set[str]]
"""Values that some of these keys may have."""


def _no_rows(result: xr.Dataset) -> int:
    return 0


def _a_row_each_plan(result: xr.Dataset) -> int:
    return result.sizes["plan"]


@dataclass(frozen=True)
class Picture:
    """One chart: a panel for each choice, drawn by ``drawing(result, **choice)``.

    Parameters
    ----------
    needs : variables without which it cannot be drawn.
    panels : all choices.
    alt : a panel in words, for screen readers.
    main : what the choices that a page and a file show first have in common.
    more : what other choices have in common, which a page folds away under ``more_title``, the
        title of that chart.
    is_open : whether a page shows the chart open, or folded away as a whole.
    is_shared : whether the axes of all panels have the same limits.
    rows : how many named rows a panel has, 0 for a chart without.
    mend : what the scenario states where the chart lacks what it needs; "" for a chart that any run
        with ``--out`` has.
    """

    name: str
    title: str
    caption: str
    drawing: Drawing
    needs: tuple[str, ...]
    panels: Callable[[xr.Dataset], list[Choice]]
    alt: Callable[[xr.Dataset, Choice, str], str]
    main: Callable[[xr.Dataset], Allowed] = lambda result: {}
    more: Callable[[xr.Dataset], Allowed] | None = None
    more_title: str = ""
    is_open: bool = False
    is_shared: bool = True
    rows: Callable[[xr.Dataset], int] = _no_rows
    mend: str = ""

    def lacks(self, result: xr.Dataset) -> list[str]:
        """Needed variables that the result lacks, or that have no number."""
        lacking = [name for name in self.needs if name not in result.variables]
        if not lacking and not has_numbers(result, self.needs):
            lacking = [f"numbers of {name}" for name in self.needs]
        return lacking

    def main_panels(self, result: xr.Dataset) -> list[Choice]:
        """The main choices, or the first choice when none is."""
        panels = self.panels(result)
        return _allowed(panels, self.main(result)) or panels[:1]

    def more_panels(self, result: xr.Dataset) -> list[Choice]:
        """Choices that a page folds away."""
        return _allowed(self.panels(result), self.more(result)) if self.more else []


def _allowed(panels: list[Choice], allowed: Allowed) -> list[Choice]:
    return [
        choice
        for choice in panels
        if all(choice[key] in values for key, values in allowed.items() if key in choice)
    ]


def panel_title(result: xr.Dataset, choice: Choice) -> str:
    """``Stadium, No irrigation, wilt``."""
    parts = [
        label(result, key, value)
        if key in ("field", "plan")
        else style.STAGE_WORDS.get(value, value)
        for key, value in choice.items()
    ]
    return ", ".join(parts)


def _fields_and_plans(result: xr.Dataset) -> list[Choice]:
    return [
        {"field": field, "plan": plan}
        for plan in keys(result, "plan")
        for field in keys(result, "field")
    ]


def _watered(result: xr.Dataset) -> list[Choice]:
    water = result["season_water"]
    return [one for one in _fields_and_plans(result) if float(water.sel(one)) > 0.0]


def _fields(result: xr.Dataset) -> list[Choice]:
    return [{"field": field} for field in keys(result, "field")]


def _fields_and_stages(result: xr.Dataset) -> list[Choice]:
    turf = _turf(result) if has_days_below(result) else _fields(result)
    return [{**one, "stage": stage} for stage in ("wilt", "dormant") for one in turf]


def _plans(result: xr.Dataset) -> list[Choice]:
    return [{"plan": plan} for plan in keys(result, "plan")]


def _accounts(result: xr.Dataset) -> list[Choice]:
    return [
        {**one, "case": case} for one in _fields_and_plans(result) for case in keys(result, "case")
    ]


def _of_interest(result: xr.Dataset) -> Allowed:
    return {"plan": {driest_plan(result), shown_plan(result)}}


def _of_best(result: xr.Dataset) -> Allowed:
    return {"plan": {shown_plan(result)}, "case": {"dry"}}


def _of_demand(result: xr.Dataset) -> Allowed:
    return {"plan": {p for p in keys(result, "plan") if float(result["demand_mean"].sel(plan=p))}}


def _of_wilt(result: xr.Dataset) -> Allowed:
    return {"stage": {"wilt"}}


def _of_dormancy(result: xr.Dataset) -> Allowed:
    return {"stage": {"dormant"}}


def _played(result: xr.Dataset) -> list[Choice]:
    return [{"field": field} for field in play_figures.fields_with_play(result)]


def _played_by_plan(result: xr.Dataset) -> list[Choice]:
    return [
        {"field": field, "plan": plan}
        for plan in keys(result, "plan")
        for field in play_figures.fields_with_play(result)
    ]


def _fed(result: xr.Dataset) -> list[Choice]:
    return [{"field": field} for field in fed_fields(result)]


# Text alternatives


def _peak(odds: xr.DataArray) -> str:
    """When odds by day are highest, with their size; what rounds to 0 has no such day."""
    if np.isnan(odds.values).any():
        return UNKNOWN
    place = int(np.argmax(odds.values))
    highest = f"{odds.values[place]:.0%}"
    if highest == "0%":
        return "below 1% all year" if odds.values[place] else "0% all year"
    return f"highest {highest} on {named_day(odds['day_of_year'].values[place] - 1)}"


def _alt_stages(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice)
    parts = [f"{word} {_peak(one.sel(stage=stage))}" for stage, word in style.STAGE_WORDS.items()]
    return f"Odds by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_plans(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice)
    parts = [f"{label(result, 'plan', k)} {_peak(one.sel(plan=k))}" for k in keys(result, "plan")]
    return f"Odds by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_fields(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice).sel(stage="wilt")
    parts = [
        f"{label(result, 'field', k)} {_peak(one.sel(field=k))}" for k in keys(result, "field")
    ]
    return f"Odds of wilt by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_cover(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result[["daily_dormant", "daily_dead"]].sel(choice)
    parts = [
        f"{case_text(result.attrs, case, int(result['chosen_year'].sel(case=case)))}: "
        f"dormant at most {float(one['daily_dormant'].sel(case=case).max()):.0%}, "
        f"dead at most {float(one['daily_dead'].sel(case=case).max()):.0%}"
        for case in keys(result, "case")
    ]
    return f"Cover day by day, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_months(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    middle = result["irrigation_month_quantile"].sel(choice).sel(share=0.5)
    most = int(middle.idxmax())
    return (
        f"Water of each month, {panel_title(result, choice)}: the median is largest in "
        f"{MONTH_NAMES[most - 1]}, {float(middle.max()) * depth.factor:.1f} {depth.unit}."
    )


def _alt_demand(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    rarest = float(result["period"].max())
    one = result["demand"].sel(choice).sel(period=rarest)
    parts = [
        f"{label(result, 'plan', k)} {float(one.sel(plan=k)) * depth.factor:.1f} {depth.unit}"
        for k in keys(result, "plan")
        if float(one.sel(plan=k)) > 0.0
    ]
    by_plan = "; ".join(parts) or "no plan uses water"
    return f"Water of a 1-in-{rarest:g} year, {panel_title(result, choice)}: {by_plan}."


def _turf(result: xr.Dataset) -> list[Choice]:
    """Fields with days below playing condition: not those without turf."""
    known = result["days_below_condition_mean"].notnull().any("plan")
    return [{"field": key} for key in keys(result, "field") if bool(known.sel(field=key))]


def _alt_days(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result.sel(choice)
    parts = []
    for plan in keys(result, "plan"):
        here = one.sel(plan=plan)
        mean, worst = (days.item() for days in days_below(here))
        text = f"{label(result, 'plan', plan)} {mean:.0f}"
        text += "" if np.isnan(worst) else f", in a 1-in-10 year {worst:.0f}"
        if "doubt_days_below_condition_low" in result:
            low, high = (
                float(here[f"doubt_days_below_condition_{end}"]) for end in ("low", "high")
            )
            text += f", across draws {low:.0f} to {high:.0f}"
        parts.append(text)
    return f"Days below in the average year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_water(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    one = xr.Dataset({"used": mean_water(result), "lost": days_below(result)[0]}).sel(choice)
    parts = [
        f"{label(result, 'plan', k)} "
        f"{float(one['used'].sel(plan=k)) * depth.factor:.{depth.decimals}f} {depth.unit} "
        f"and {count_text(round(float(one['lost'].sel(plan=k))), 'day')}"
        for k in keys(result, "plan")
    ]
    return f"Water a year and days below, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_account(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result[["chosen_year", "daily_depletion"]].sel(choice)
    year = year_text(result.attrs, int(one["chosen_year"]))
    worst = float(one["daily_depletion"].max())
    return (
        f"Rain, irrigation and depletion day by day, {panel_title(result, choice)}, "
        f"{year}: depletion reaches {worst:.0%} "
        "of the available water."
    )


def _alt_storage(result: xr.Dataset, choice: Choice, units: str) -> str:
    unit = volume_display([result["supply_storage"]], units)
    years = supply_figures.worst_run(result, choice["plan"])
    store = result["supply_storage"].sel(choice).sel(year=years)
    lowest = f"{three_figures(float(store.min()) * unit.factor, 3)} {unit.unit}"
    return (
        f"Water in storage at the month's end from {year_text(result.attrs, years[0])} to "
        f"{year_text(result.attrs, years[-1])}, "
        f"{panel_title(result, choice)}: lowest {lowest}."
    )


def _alt_shortage(result: xr.Dataset, choice: Choice, units: str) -> str:
    unit = volume_display([result["shortage_by_field"]], units)
    total = result["shortage_by_field"].sum("field")
    parts = [
        f"{label(result, 'plan', k)} {float(total.sel(plan=k)) * unit.factor:,.{unit.decimals}f} "
        f"{unit.unit}"
        for k in keys(result, "plan")
    ]
    return f"Mean shortage a year: {'; '.join(parts)}."


def _short_plans(result: xr.Dataset) -> list[Choice]:
    by_plan = result["shortage_by_cause"].sum(("field", "cause"))
    return [one for one in _plans(result) if float(by_plan.sel(one)) > 0.0]


def _alt_causes(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["shortage_by_month_and_cause"].sel(choice)
    by_month, by_cause = one.sum("cause"), one.sum("month")
    unit = volume_display([result["shortage_by_month_and_cause"].sum("cause")], units)
    most = int(by_month.idxmax())
    parts = [
        f"{CAUSES[cause][2]} {float(by_cause.sel(cause=cause)) / float(by_cause.sum()):.0%}"
        for cause in supply_figures.causes_of_plan(result, choice["plan"])
    ]
    return (
        f"Mean shortage by month and cause, {panel_title(result, choice)}: most in "
        f"{MONTH_NAMES[most - 1]}, {volume_text(float(by_month.max()), unit)} "
        f"{unit.unit}. Causes over the year: {'; '.join(parts)}."
    )


def _alt_sizing(result: xr.Dataset, choice: Choice, units: str) -> str:
    against, least = result["sizing_against"], result["sizing_curve"]
    across, up = (supply_figures.size_display(values, units) for values in (against, least))
    parts = []
    for x, y, more in zip(
        against.values, least.values, supply_figures.fails_again_from(result).values, strict=True
    ):
        size = f"{y * up.factor:,.{up.decimals}f} {up.unit}" if np.isfinite(y) else NOTHING
        if np.isfinite(more):
            size += f" (fails again from {more * up.factor:,.{up.decimals}f})"
        parts.append(f"at {x * across.factor:,.{across.decimals}f} {across.unit} {size}")
    return f"Least size that suffices: {'; '.join(parts)}."


def _alt_events(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["events_playable_share"].sel(choice)
    parts = [
        f"{label(result, 'plan', k)} {float(one.sel(plan=k)):.0%}"
        for k in keys(result, "plan")
        if np.isfinite(float(one.sel(plan=k)))
    ]
    return f"Events that are playable, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_play(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["daily_play"].sel(choice)
    parts = []
    for case in keys(result, "case"):
        days = [
            f"{int((one.sel(case=case) == i).sum())} {word}"
            for i, word in enumerate(play_figures.STATES.values())
        ]
        year = case_text(result.attrs, case, int(result["chosen_year"].sel(case=case)))
        parts.append(f"{year}: {', '.join(days)}")
    return f"Days of the whole year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_status(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result[f"{FEED}status_month_mean"].sel(choice)
    parts = []
    for plan in keys(result, "plan"):
        status = one.sel(plan=plan)
        ends = []
        for word, month in (("lowest", int(status.idxmin())), ("highest", int(status.idxmax()))):
            value = float(status.sel(month=month))
            state = f" ({state_of(value, result.attrs)})" if "hungry_below" in result.attrs else ""
            ends.append(f"{word} in {MONTH_NAMES[month - 1]}, {value:.2f}{state}")
        parts.append(f"{label(result, 'plan', plan)} {' and '.join(ends)}")
    return f"Nitrogen status by month, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_most(name: str, what: str, finer: int) -> Callable[[xr.Dataset, Choice, str], str]:
    """In words: the month with most of an amount by plan, and the year."""

    def alt(result: xr.Dataset, choice: Choice, units: str) -> str:
        how = shown("kg ha-1", units)
        decimals = max(how.decimals - 1 + finer, finer)
        parts = []
        for plan in keys(result, "plan"):
            values = result[name].sel(choice).sel(plan=plan) * how.factor
            most = int(values.idxmax())
            parts.append(
                f"{label(result, 'plan', plan)} most in {MONTH_NAMES[most - 1]}, "
                f"{float(values.max()):,.{decimals}f} of {float(values.sum()):,.{decimals}f} "
                f"{how.unit} a year"
            )
        return f"{what} by month, {panel_title(result, choice)}: {'; '.join(parts)}."

    return alt


def _stages(result: xr.Dataset) -> list[Choice]:
    return [{"stage": stage} for stage in ("wilt", "dormant", "dead")]


def _plans_and_stages(result: xr.Dataset) -> list[Choice]:
    return [{"plan": p, "stage": s} for s in ("wilt", "dormant") for p in keys(result, "plan")]


def _plans_and_wilt(result: xr.Dataset) -> list[Choice]:
    axes = json.loads(result.attrs["axes"])
    return _plans_and_stages(result) if len(axes) > 1 else []


def _alt_front(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    kept = front_of(result, "water", choice["stage"])
    parts = [
        f"{float(cost) * depth.factor:.1f} {depth.unit} at odds of {float(risk):.0%}"
        for cost, risk in zip(kept["cost"].values, kept["risk"].values, strict=True)
    ]
    return f"Choices that none beats, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_drivers(result: xr.Dataset, choice: Choice, units: str) -> str:
    found = effects(result, choice["stage"], choice["plan"])
    parts = [
        f"{plain(str(name))} {float(share):.0%}" if np.isfinite(share) else f"{plain(str(name))} -"
        for name, share in zip(found["axis"].values, found["main"].values, strict=True)
    ]
    return f"Share of the variance by axis, {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_response(result: xr.Dataset, choice: Choice, units: str) -> str:
    across, up = strongest(result, choice["stage"], choice["plan"])[:2]
    mean = surface(result, across, up, choice["stage"], choice["plan"])["mean"]
    return (
        f"Mean odds by {plain(across)} and {plain(up)}, {panel_title(result, choice)}: from "
        f"{float(mean.min()):.0%} to {float(mean.max()):.0%}."
    )


def _stages_of_fields(result: xr.Dataset) -> list[Choice]:
    return [
        {"field": field, "stage": stage}
        for stage in keys(result, "stage")
        for field in keys(result, "field")
    ]


def _of_answer(result: xr.Dataset) -> Allowed:
    return {"plan": {plan_ahead(result)}}


def _of_others(result: xr.Dataset) -> Allowed:
    return {"plan": set(keys(result, "plan")) - {plan_ahead(result)}}


def _alt_outlook(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice)
    parts = []
    for place in days_ahead(result):
        at = one.isel(date=place)
        odds = [
            f"{label(result, 'plan', k)} {float(at.sel(plan=k)):.0%}" for k in keys(result, "plan")
        ]
        parts.append(f"by {day_text(result['date'].values[place])} {', '.join(odds)}")
    return f"Odds of {panel_title(result, choice)}: {'; '.join(parts)}."


def _alt_fan(name: str, what: str) -> Callable[[xr.Dataset, Choice, str], str]:
    def alt(result: xr.Dataset, choice: Choice, units: str) -> str:
        one = result[name].sel(choice)
        parts = []
        for place in days_ahead(result):
            at = one.isel(date=place)
            low, middle, high = (float(at.sel(quantile=q)) for q in (0.1, 0.5, 0.9))
            day = day_text(result["date"].values[place])
            parts.append(f"{day} {middle:.0%} ({low:.0%} to {high:.0%})")
        return f"{what.capitalize()}, {panel_title(result, choice)}: {'; '.join(parts)}."

    return alt


def _alt_skill(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["hindcast_skill"].sel(choice).sel(scored="all")
    parts = []
    for plan in keys(result, "plan"):
        found = [
            f"{lead}: {float(v):.2f}"
            for lead, v in zip(result["lead"].values, one.sel(plan=plan).values, strict=True)
            if np.isfinite(v)
        ]
        parts += [f"{label(result, 'plan', plan)} {', '.join(found)}"] if found else []
    return f"Skill by days ahead, {panel_title(result, choice)}: {'; '.join(parts) or 'none'}."


def _alt_reliability(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["hindcast_bin_n"].sel(choice).sel(scored="all")
    return (
        f"Odds issued and what came, {panel_title(result, choice)}: "
        f"{int(one.sel(lead=['7', '14', '30']).sum())} outlooks."
    )


def _alt_left(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["storage"].sel(choice)
    unit = volume_display([result["storage"]], units, 2)
    parts = [
        f"{day_text(result['date'].values[place])} "
        f"{volume_text(float(one.isel(date=place).sel(quantile=0.5)), unit)} {unit.unit}"
        for place in days_ahead(result)
    ]
    return f"Water in storage, {panel_title(result, choice)}: {'; '.join(parts)}."


_DAILY = ("chosen_year", "daily_green", "daily_dormant", "daily_dead")
_LOST = ("days_below_condition_mean", "days_below_condition_1in10")

PICTURES = (
    Picture(
        "days",
        "Days below by plan",
        "Days of the season below playing condition. Bands, where the file holds draws, show how "
        "the average year differs with soil, turf and system.",
        figures.days,
        _LOST,
        _turf,
        _alt_days,
        is_open=True,
        rows=_a_row_each_plan,
    ),
    Picture(
        "water",
        "Water and days below",
        "Irrigation of the average year against the days below. Plans at the lower left do best.",
        figures.water,
        ("season_water", *_LOST),
        _turf,
        _alt_water,
        is_open=True,
    ),
    Picture(
        "events",
        "Playable events",
        "Scheduled events of all years: playable, too hard, too wet or frozen.",
        play_figures.events,
        ("events_playable_share", "has_play"),
        _played,
        _alt_events,
        is_open=True,
        mend="no events are judged; add them under [[fields.KEY.play.events]], in place of "
        "play = {}",
        rows=_a_row_each_plan,
    ),
    Picture(
        "status",
        "Nitrogen status by month",
        "Mean of the years. Growth rises with it up to 1. Below the lower line turf is pale and "
        "slow to mend, above the upper one dark and soft; in winter it is what spring begins with.",
        feeding_figures.nitrogen_status,
        (f"{FEED}status_month_mean", "is_fed"),
        _fed,
        _alt_status,
        is_open=True,
    ),
    Picture(
        "clippings",
        "Mowing by month",
        "Dry matter of the clippings, mean of the years.",
        feeding_figures.clippings,
        (f"{FEED}clippings_month_mean", "is_fed"),
        _fed,
        _alt_most(f"{FEED}clippings_month_mean", "Dry clippings", 0),
        is_open=True,
    ),
    Picture(
        "leaching",
        "Leaching by month",
        "Nitrogen that drains below the roots or into the drains, mean of the years.",
        feeding_figures.leaching,
        (f"{FEED}leached_month_mean", "is_fed"),
        _fed,
        _alt_most(f"{FEED}leached_month_mean", "Nitrogen leached", 1),
    ),
    Picture(
        "storage",
        "Storage in its worst years",
        "Water in storage at the end of each month around the year in which it is lowest, beside "
        "the mean of all years.",
        supply_figures.storage,
        ("supply_storage", "supply_least_storage", "supply_shortage", "storage_by_month"),
        _plans,
        _alt_storage,
        _of_demand,
        is_open=True,
    ),
    Picture(
        "sizing",
        "Trade-off of two sizes",
        "The least size of one part for each size of the other. Only sizes up to the one that "
        "fails again suffice.",
        supply_figures.sizing,
        ("sizing_curve", "sizing_against"),
        lambda result: [{}],
        _alt_sizing,
        is_open=True,
        mend="no second size was varied; add against to [sizing], such as "
        'against = { what = "source rate", of = "well" }',
    ),
    Picture(
        "shortage",
        "Shortage by field",
        "Demand that the field never gets, mean of the years. Water that comes on a later night is "
        "no shortage.",
        supply_figures.shortage,
        ("shortage_by_field",),
        lambda result: [{}],
        _alt_shortage,
        rows=_a_row_each_plan,
    ),
    Picture(
        "causes",
        "Shortage by month and cause",
        "Demand that the fields never get, in the month in which it is missed; mean of the years.",
        supply_figures.causes,
        ("shortage_by_month_and_cause", "shortage_by_cause"),
        _short_plans,
        _alt_causes,
    ),
    Picture(
        "plans",
        "Odds of wilt through the year",
        "Share of the years in which the stage holds on its share of the field, for each day of "
        f"the year. Bands, for up to {figures.MOST_BANDS} plans, are 90% limits: sampling error "
        "of the years.",
        figures.plans,
        ("odds",),
        _fields_and_stages,
        _alt_plans,
        _of_wilt,
        _of_dormancy,
        "Odds of dormancy through the year",
        is_open=True,
    ),
    Picture(
        "fields",
        "Comparison of fields",
        "Odds of wilt of all fields under one plan and the same weather.",
        figures.fields,
        ("odds",),
        _plans,
        _alt_fields,
        _of_interest,
    ),
    Picture(
        "play",
        "Playable days",
        "Days through three years: too hard or dusty, too wet or frozen on the stated share of the "
        "field. Hardness is an estimate; only a test on the field decides.",
        play_figures.play_calendar,
        ("daily_play", "chosen_year"),
        _played_by_plan,
        _alt_play,
        _of_interest,
    ),
    Picture(
        "cover",
        "Turf cover in a dry, a middling and a wet year",
        "Shares of the field day by day; each lane is the whole field. The years are the driest, "
        "the middle and the wettest by the season's reference ET less rain.",
        figures.cover,
        _DAILY,
        _fields_and_plans,
        _alt_cover,
        _of_interest,
    ),
    Picture(
        "stages",
        "Odds of each stage",
        "Share of the years in which each stage holds on its share of the field, for each day of "
        "the year, with 90% limits.",
        figures.stages,
        ("odds",),
        _fields_and_plans,
        _alt_stages,
        _of_interest,
    ),
    Picture(
        "months",
        "Water by month",
        "Irrigation of each month over all years; hollow marks are the driest years.",
        figures.months,
        ("irrigation_month_quantile",),
        _watered,
        _alt_months,
        _of_best,
    ),
    Picture(
        "demand",
        "Water of dry years",
        "Irrigation of a year by how rarely it is reached. Vertical lines are limits, hollow marks "
        "are read from a fitted curve.",
        figures.demand,
        ("demand", "demand_low", "demand_high", "demand_fitted"),
        _fields,
        _alt_demand,
    ),
    Picture(
        "account",
        "Daily water in a dry year",
        "Rain and irrigation hang from the top; depletion, the share of the available water that "
        "is used up, rises from the bottom.",
        figures.account,
        ("chosen_year", "daily_depletion", "daily_precipitation", "daily_irrigation_landed"),
        _accounts,
        _alt_account,
        _of_best,
    ),
)

SWEEP_PICTURES = (
    Picture(
        "front",
        "Best trade-offs of water and risk",
        "Choices that no other beats in both water and the odds of the worst field. The best of "
        "many choices is partly luck: try it on another seed.",
        sweep_figures.front,
        ("probability", "probability_se", "season_water"),
        _stages,
        _alt_front,
        is_open=True,
    ),
    Picture(
        "drivers",
        "Drivers of the risk",
        "Share of the variance between points that each axis accounts for. What is missing to 100% "
        "is interaction of the axes.",
        sweep_figures.drivers,
        ("probability",),
        _plans_and_stages,
        _alt_drivers,
        _of_wilt,
        _of_dormancy,
        "Drivers of the risk: dormancy",
        is_open=True,
        rows=lambda result: len(json.loads(result.attrs["axes"])),
    ),
    Picture(
        "surface",
        "Response to the two strongest axes",
        "Mean odds over all other axes. Classes of a range bear the name of their middle.",
        sweep_figures.response,
        ("probability",),
        _plans_and_wilt,
        _alt_response,
        _of_wilt,
        _of_dormancy,
        "Response to the two strongest axes: dormancy",
        is_open=True,
        is_shared=False,
    ),
)

SEASON_PICTURES = (
    Picture(
        "outlook",
        "Odds by date",
        "Share of the ways on in which the stage has come by the date, under each plan; dashed, a "
        "usual year on the same dates.",
        season_figures.outlook,
        ("odds",),
        _stages_of_fields,
        _alt_outlook,
        lambda result: {"stage": {"wilt", "dormant"}},
        lambda result: {"stage": {"footprint", "dead"}},
        "Odds by date: footprinting and death",
        is_open=True,
    ),
    Picture(
        "soil",
        "Water in the root zone",
        "Share of the available water that is used: so far, and on 80 of 100 ways on, each day by "
        "itself. Down is drier.",
        season_figures.soil,
        ("depletion",),
        _fields_and_plans,
        _alt_fan("depletion", "available water used"),
        _of_answer,
        _of_others,
        "Water in the root zone: other plans",
        is_open=True,
    ),
    Picture(
        "ahead",
        "Green cover",
        "Green cover so far, and on 80 of 100 ways on, each day by itself.",
        season_figures.ahead,
        ("green",),
        _fields_and_plans,
        _alt_fan("green", "green cover"),
        _of_answer,
        _of_others,
        "Green cover: other plans",
    ),
    Picture(
        "left",
        "Water in storage ahead",
        "Water in storage on 80 of 100 ways on, each day by itself.",
        season_figures.left,
        ("storage",),
        _plans,
        _alt_left,
        _of_answer,
        _of_others,
        "Water in storage ahead: other plans",
        is_open=True,
    ),
)

HINDCAST_PICTURES = (
    Picture(
        "skill",
        "How good past outlooks were",
        "Skill over the usual odds of the date, by days ahead, with 90% limits from resampled "
        "years: 1 is perfect, 0 no better than the usual odds.",
        season_figures.skill,
        ("hindcast_skill", "hindcast_skill_low", "hindcast_skill_high"),
        _stages_of_fields,
        _alt_skill,
        lambda result: {"stage": {"wilt", "dormant"}},
        is_open=True,
    ),
    Picture(
        "reliability",
        "Odds issued and what came",
        "Outlooks of like odds, and how often the stage came after them. On the line odds hold.",
        season_figures.reliability,
        ("hindcast_bin_n", "hindcast_bin_chance", "hindcast_bin_share"),
        _stages_of_fields,
        _alt_reliability,
        lambda result: {"stage": {"wilt", "dormant"}},
    ),
)
OF_SEASON = (*SEASON_PICTURES, *HINDCAST_PICTURES)

NAMES = tuple(
    picture.name for picture in (*PICTURES, *SWEEP_PICTURES, *OF_SEASON)
)
_OF_SUPPLY = ("storage", "shortage", "causes", "sizing")
_OF_PLAY = ("events", "play")
_OF_FEEDING = ("status", "clippings", "leaching")
_OF_TURF = ("days", "water")


def named(name: str) -> Picture:
    """The chart of that name; FaultyInput with the names there are."""
    for picture in (*PICTURES, *SWEEP_PICTURES, *OF_SEASON):
        if picture.name == name:
            return picture
    raise FaultyInput(Fault("picture", f"no chart is called '{name}'", nearest(name, NAMES)))


def fitting(result: xr.Dataset) -> Iterator[Picture]:
    """Charts that belong to such a result, whether or not it has all that they need."""
    if kind_of(result) == SWEEP:
        yield from SWEEP_PICTURES
        return
    if kind_of(result) == SEASON:
        optional = ("left", *(picture.name for picture in HINDCAST_PICTURES))
        yield from (p for p in OF_SEASON if p.name not in optional or not p.lacks(result))
        return
    store = "supply_storage" in result and float(result["supply_storage"].max()) > 0.0
    for picture in PICTURES:
        if picture.name in _OF_PLAY:
            if play_figures.fields_with_play(result):
                yield picture
        elif picture.name in _OF_FEEDING:
            if fed_fields(result):
                yield picture
        elif picture.name == "storage":
            if store and "storage_by_month" in result:
                yield picture
        elif picture.name in _OF_SUPPLY:
            if not picture.lacks(result):
                yield picture
        elif picture.name in _OF_TURF:
            # A site without turf has no days below playing condition, an older file neither.
            if has_days_below(result) and not picture.lacks(result):
                yield picture
        else:
            yield picture


def choose(result: xr.Dataset, picture: Picture, fixed: Choice) -> list[Choice]:
    """Panels of a chart with the keys in ``fixed``; the main ones when none is fixed.

    FaultyInput when the result lacks what the chart needs, or no panel has these keys.
    """
    lacks = picture.lacks(result)
    if lacks or picture not in tuple(fitting(result)):
        source = result.attrs.get("source", "another program")
        wrong = f"the result, written by {source}, lacks {', '.join(lacks) or 'what it shows'}"
        again = "run the scenario again with --out"
        belongs = picture.name in _OF_SUPPLY and kind_of(result) == SUPPLY
        if picture.mend and (belongs or picture in tuple(fitting(result))):
            wrong, _, mend = picture.mend.partition("; ")
            again = f"{mend}, and {again}"
        raise FaultyInput(Fault(picture.name, wrong, again))
    panels = picture.panels(result)
    known = {key: list(dict.fromkeys(p[key] for p in panels if key in p)) for key in fixed}
    faults = [
        Fault(f"--{key}", f"'{value}' is not in '{picture.name}'", nearest(value, have))
        if (have := known[key])
        else Fault(f"--{key}", f"'{picture.name}' has no such choice", "leave it out")
        for key, value in fixed.items()
        if value not in known[key]
    ]
    if faults:
        raise FaultyInput(faults)
    if not panels:
        raise FaultyInput(Fault(picture.name, "the result has nothing for it to show"))
    if fixed:
        return [p for p in panels if all(p.get(key) == value for key, value in fixed.items())]
    return picture.main_panels(result)


def compose(result: xr.Dataset, picture: Picture, panels: list[Choice], units: str) -> Figure:
    """Panels of one chart side by side under one legend, two in a row, with shared axes."""
    columns = min(len(panels), 2)
    width, height = style.PANEL_IN
    height = max(height, _ROW_IN * picture.rows(result))
    with style.look():
        figure = style.new_figure(width * columns, (height + 0.3) * -(-len(panels) // columns))
        drawn = []
        for axes, choice in zip(grid(figure, len(panels), columns), panels, strict=True):
            drawn.append(picture.drawing.draw(result, **choice, axes=axes, units=units))
            style.head(axes, panel_title(result, choice) or picture.title)
        if picture.is_shared:
            share_limits([[axes] for axes in figure.axes[: len(panels)]])
        style.figure_legend(figure, one_key(drawn))
    return figure


# Sizes of panels of a page, in points, and the height of a named row.
_WIDE, _NARROW = (400.0, 185.0), (310.0, 160.0)
_ROW, _ROW_IN = 30.0, 0.55


class Facet(NamedTuple):
    """One panel of a page: its title, the SVG, and its values as JSON."""

    title: str
    svg: str
    readings: str


class Chart(NamedTuple):
    """The panels of a page's chart under one legend of labels and swatches."""

    key: list[tuple[str, str]]
    facets: list[Facet]
    is_wide: bool


def chart(
    result: xr.Dataset, picture: Picture, panels: list[Choice], units: str, key: str
) -> Chart:
    """Panels for a page, with shared axes and one legend; ``key`` begins the names inside."""
    is_wide = len(panels) in (1, 2, 4)
    width, height = _WIDE if is_wide else _NARROW
    if rows := picture.rows(result):
        height = 40.0 + _ROW * rows
    with style.look():
        sheets, drawn = [], []
        for choice in panels:
            figure, axes = style.page_panel(width, height)
            drawn.append(picture.drawing.draw(result, **choice, axes=axes, units=units))
            sheets.append(figure)
        if picture.is_shared:
            share_limits([figure.axes for figure in sheets])
        facets = []
        for i, (choice, figure, panel) in enumerate(zip(panels, sheets, drawn, strict=True)):
            style.place(figure)
            svg = style.inline_svg(
                style.svg_text(figure), f"{key}-{i}", picture.alt(result, choice, units)
            )
            readings = panel.readings.on_page(figure.axes[0])
            facets.append(Facet(panel_title(result, choice), svg, readings))
        swatches = [(name, style.swatch(handle)) for name, handle in one_key(drawn)]
    return Chart(swatches, facets, is_wide)
