"""Every figure by name: what it needs, its panels, and what it says in words."""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from drysward.faults import Fault, FaultyInput, nearest
from drysward.pages import (
    doubt_figures,
    figures,
    play_figures,
    style,
    supply_figures,
    sweep_figures,
)
from drysward.pages.result import (
    SWEEP,
    has_numbers,
    keys,
    kind_of,
    label,
    plain,
)
from drysward.quantities import shown
from drysward.results.choice import driest_plan, safest_plan
from drysward.results.doubt_text import fields_of_turf, spread_texts
from drysward.results.sizing_text import NOTHING
from drysward.results.text import CAUSES, case_text, volume_display, volume_text, year_text
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest, surface

Choice = dict[str, str]
"""What a panel shows: keys by the names of the drawing function's arguments."""


@dataclass(frozen=True)
class Picture:
    """One figure: a panel for each choice, drawn by ``draw(result, **choice, axes=, units=)``.

    ``needs`` are variables without which it cannot be drawn; ``main`` choices stand open on a
    page and the others folded away, or left out when not ``on_page``; ``told`` is a panel in
    words, for those who do not see it.
    """

    name: str
    title: str
    caption: str
    draw: Callable[..., Axes]
    needs: tuple[str, ...]
    panels: Callable[[xr.Dataset], list[Choice]]
    told: Callable[[xr.Dataset, Choice, str], str]
    main: Callable[[xr.Dataset, Choice], bool] = lambda result, choice: True
    on_page: Callable[[xr.Dataset, Choice], bool] = lambda result, choice: True

    def lacks(self, result: xr.Dataset) -> list[str]:
        """Needed variables that the result does not have, or that none of them has a number."""
        lacking = [name for name in self.needs if name not in result.variables]
        if not lacking and not has_numbers(result, self.needs):
            lacking = [f"numbers of {name}" for name in self.needs]
        return lacking


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
    return [
        {"field": field, "stage": stage}
        for stage in ("wilt", "dormant")
        for field in keys(result, "field")
    ]


def _plans(result: xr.Dataset) -> list[Choice]:
    return [{"plan": plan} for plan in keys(result, "plan")]


def _accounts(result: xr.Dataset) -> list[Choice]:
    return [
        {**one, "case": case} for one in _fields_and_plans(result) for case in keys(result, "case")
    ]


def _of_interest(result: xr.Dataset) -> tuple[str, str]:
    return driest_plan(result), safest_plan(result)


def _is_of_interest(result: xr.Dataset, choice: Choice) -> bool:
    return choice["plan"] in _of_interest(result)


def _is_safest(result: xr.Dataset, choice: Choice) -> bool:
    return choice["plan"] == safest_plan(result) and choice.get("case", "dry") == "dry"


def _is_dry_of_interest(result: xr.Dataset, choice: Choice) -> bool:
    return choice["case"] == "dry" and _is_of_interest(result, choice)


def _is_wilt(result: xr.Dataset, choice: Choice) -> bool:
    return choice["stage"] == "wilt"


def _played(result: xr.Dataset) -> list[Choice]:
    return [{"field": field} for field in play_figures.fields_with_play(result)]


def _played_by_plan(result: xr.Dataset) -> list[Choice]:
    return [
        {"field": field, "plan": plan}
        for plan in keys(result, "plan")
        for field in play_figures.fields_with_play(result)
    ]


# A panel in words


def day_text(day_of_year: int) -> str:
    """``28 July`` of a day of a leap year, from 1."""
    date = datetime.date(2000, 1, 1) + datetime.timedelta(days=int(day_of_year) - 1)
    return f"{date.day} {date:%B}"


def _peak(odds: xr.DataArray) -> str:
    """When odds by day are highest, with their size."""
    place = int(np.argmax(odds.values))
    if odds.values[place] == 0.0:
        return "never"
    return f"highest {odds.values[place]:.0%} on {day_text(int(odds['day_of_year'].values[place]))}"


def _told_stages(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice)
    parts = [f"{word} {_peak(one.sel(stage=stage))}" for stage, word in style.STAGE_WORDS.items()]
    return f"Odds by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_plans(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice)
    parts = [f"{label(result, 'plan', k)} {_peak(one.sel(plan=k))}" for k in keys(result, "plan")]
    return f"Odds by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_fields(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["odds"].sel(choice).sel(stage="wilt")
    parts = [
        f"{label(result, 'field', k)} {_peak(one.sel(field=k))}" for k in keys(result, "field")
    ]
    return f"Odds of wilt by day of the year, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_cover(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result[["daily_dormant", "daily_dead"]].sel(choice)
    parts = [
        f"{case_text(result.attrs, case, int(result['chosen_year'].sel(case=case)))}: "
        f"dormant at most {float(one['daily_dormant'].sel(case=case).max()):.0%}, "
        f"dead at most {float(one['daily_dead'].sel(case=case).max()):.0%}"
        for case in keys(result, "case")
    ]
    return f"Cover day by day, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_months(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    middle = result["irrigation_month_quantile"].sel(choice).sel(share=0.5)
    most = int(middle.idxmax())
    return (
        f"Water of each month, {panel_title(result, choice)}: the median is largest in "
        f"{datetime.date(2000, most, 1):%B}, {float(middle.max()) * depth.factor:.1f} {depth.unit}."
    )


def _told_demand(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    rarest = float(result["period"].max())
    one = result["demand"].sel(choice).sel(period=rarest)
    parts = [
        f"{label(result, 'plan', k)} {float(one.sel(plan=k)) * depth.factor:.1f} {depth.unit}"
        for k in keys(result, "plan")
        if float(one.sel(plan=k)) > 0.0
    ]
    told = "; ".join(parts) or "no plan takes water"
    return f"Water once in {rarest:g} years, {panel_title(result, choice)}: {told}."


def _told_saved(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    one = result[["water_saved", "probability"]].sel(choice)
    parts = [
        f"{label(result, 'plan', k)} saves "
        f"{float(one['water_saved'].sel(plan=k)) * depth.factor:.1f} {depth.unit} "
        f"at odds of {float(one['probability'].sel(plan=k)):.0%}"
        for k in keys(result, "plan")
    ]
    return f"Water saved against risk, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_account(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result[["chosen_year", "daily_depletion"]].sel(choice)
    year = year_text(result.attrs, int(one["chosen_year"]))
    worst = float(one["daily_depletion"].max())
    return (
        f"Rain, irrigation and depletion day by day, {panel_title(result, choice)}, "
        f"{year}: depletion reaches {worst:.0%} "
        "of the available water."
    )


def _told_storage(result: xr.Dataset, choice: Choice, units: str) -> str:
    unit = volume_display([result["supply_store"]], units)
    years = supply_figures.worst_run(result, choice["plan"])
    store = result["supply_store"].sel(choice).sel(year=years)
    lowest = f"{float(store.min()) * unit.factor:,.2f} {unit.unit}"
    return (
        f"Water in storage at the month's end from {year_text(result.attrs, years[0])} to "
        f"{year_text(result.attrs, years[-1])}, "
        f"{panel_title(result, choice)}: lowest {lowest}."
    )


def _told_shortage(result: xr.Dataset, choice: Choice, units: str) -> str:
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


def _told_causes(result: xr.Dataset, choice: Choice, units: str) -> str:
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
        f"{datetime.date(2000, most, 1):%B}, {volume_text(float(by_month.max()), unit)} "
        f"{unit.unit}. Causes over the year: {'; '.join(parts)}."
    )


def _told_sizing(result: xr.Dataset, choice: Choice, units: str) -> str:
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


def _told_events(result: xr.Dataset, choice: Choice, units: str) -> str:
    one = result["events_playable_share"].sel(choice)
    parts = [
        f"{label(result, 'plan', k)} {float(one.sel(plan=k)):.0%}"
        for k in keys(result, "plan")
        if np.isfinite(float(one.sel(plan=k)))
    ]
    return f"Events that are playable, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_play(result: xr.Dataset, choice: Choice, units: str) -> str:
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


def _turf(result: xr.Dataset) -> list[Choice]:
    return [{"field": field} for field in fields_of_turf(result)]


def _told_doubt(result: xr.Dataset, choice: Choice, units: str) -> str:
    parts = []
    for plan in keys(result, "plan"):
        one = result.sel(choice).sel(plan=plan)
        mean, low, high = spread_texts(one, "days_below_condition")
        parts.append(f"{label(result, 'plan', plan)} {mean} ({low} to {high})")
    return (
        f"Days below playing condition a year, mean over draws of what is not known and 5 to 95% "
        f"across them, {panel_title(result, choice)}: {'; '.join(parts)}."
    )


def _stages(result: xr.Dataset) -> list[Choice]:
    return [{"stage": stage} for stage in ("wilt", "dormant", "dead")]


def _plans_and_stages(result: xr.Dataset) -> list[Choice]:
    return [{"plan": p, "stage": s} for s in ("wilt", "dormant") for p in keys(result, "plan")]


def _plans_and_wilt(result: xr.Dataset) -> list[Choice]:
    axes = json.loads(result.attrs["axes"])
    return _plans_and_stages(result) if len(axes) > 1 else []


def _told_front(result: xr.Dataset, choice: Choice, units: str) -> str:
    depth = shown("mm", units)
    kept = front_of(result, "water", choice["stage"])
    parts = [
        f"{float(cost) * depth.factor:.1f} {depth.unit} at odds of {float(risk):.0%}"
        for cost, risk in zip(kept["cost"].values, kept["risk"].values, strict=True)
    ]
    return f"Choices that none beats, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_drivers(result: xr.Dataset, choice: Choice, units: str) -> str:
    told = effects(result, choice["stage"], choice["plan"])
    parts = [
        f"{plain(str(name))} {float(share):.0%}" if np.isfinite(share) else f"{plain(str(name))} -"
        for name, share in zip(told["axis"].values, told["main"].values, strict=True)
    ]
    return f"Share of the variance by axis, {panel_title(result, choice)}: {'; '.join(parts)}."


def _told_response(result: xr.Dataset, choice: Choice, units: str) -> str:
    across, up = strongest(result, choice["stage"], choice["plan"])[:2]
    mean = surface(result, across, up, choice["stage"], choice["plan"])["mean"]
    return (
        f"Mean odds by {plain(across)} and {plain(up)}, {panel_title(result, choice)}: from "
        f"{float(mean.min()):.0%} to {float(mean.max()):.0%}."
    )


_DAILY = ("chosen_year", "daily_green", "daily_dormant", "daily_dead")

PICTURES = (
    Picture(
        "storage",
        "Storage through its worst years",
        "Water in storage at the end of each month around the year in which it is lowest, beside "
        "the mean of all years.",
        supply_figures.storage,
        ("supply_store", "supply_least_store", "supply_shortage", "store_by_month"),
        _plans,
        _told_storage,
    ),
    Picture(
        "shortage",
        "Shortage by field",
        "Water that the plan wants and the field never gets, mean of the years. What comes in a "
        "later night is no shortage.",
        supply_figures.shortage,
        ("shortage_by_field",),
        lambda result: [{}],
        _told_shortage,
    ),
    Picture(
        "causes",
        "Shortage by month and cause",
        "Water that the plan wants and the field never gets, all fields together, in the month in "
        "which it is missed; mean of the years.",
        supply_figures.causes,
        ("shortage_by_month_and_cause", "shortage_by_cause"),
        _short_plans,
        _told_causes,
    ),
    Picture(
        "sizing",
        "Trade-off of two sizes",
        "The least size that keeps the outcome asked for, for each size of the other part. Only "
        "sizes up to the one that fails again suffice.",
        supply_figures.sizing,
        ("sizing_curve", "sizing_against"),
        lambda result: [{}],
        _told_sizing,
    ),
    Picture(
        "events",
        "Events",
        "Shares of the judged events of all years.",
        play_figures.events,
        ("events_playable_share", "has_play"),
        _played,
        _told_events,
    ),
    Picture(
        "play",
        "Days to play on",
        "What the surface is fit for, day by day through three years: too hard, dusty, wet or "
        "frozen on the stated share of the field, by an estimate that measuring alone can settle.",
        play_figures.play_calendar,
        ("daily_play", "chosen_year"),
        _played_by_plan,
        _told_play,
        _is_of_interest,
    ),
    Picture(
        "plans",
        "All plans on one field",
        "Share of the years in which wilt (then dormancy) holds on the stated share of the field, "
        "for each day of the year. The shaded bands are 90% limits: the chance of the years.",
        figures.plans,
        ("odds",),
        _fields_and_stages,
        _told_plans,
        _is_wilt,
    ),
    Picture(
        "doubt",
        "What is not known",
        "Days below playing condition by plan: the dot is the mean over draws of all uncertain "
        "numbers, the line runs from 5 to 95% across them, without the chance of the years.",
        doubt_figures.doubt,
        tuple(f"doubt_days_below_condition{end}" for end in ("", "_low", "_high")),
        _turf,
        _told_doubt,
    ),
    Picture(
        "fields",
        "The fields side by side",
        "The same odds of wilt, the fields beside each other under one plan and the same weather.",
        figures.fields,
        ("odds",),
        _plans,
        _told_fields,
        _is_of_interest,
    ),
    Picture(
        "saved",
        "Water saved, risk taken",
        "Each plan's mean saving of water against the thirstiest plan, and the odds that a year "
        "sees the stage; the upright line is the 90% limits of the odds.",
        figures.saved,
        ("water_saved", "probability_low"),
        _fields_and_stages,
        _told_saved,
        _is_wilt,
    ),
    Picture(
        "cover",
        "Cover through a dry, a middling and a wet year",
        "What stands on the field day by day; each lane is the whole field. The years are the "
        "driest, the middling and the wettest by the season's reference ET less rain.",
        figures.cover,
        _DAILY,
        _fields_and_plans,
        _told_cover,
        _is_of_interest,
    ),
    Picture(
        "stages",
        "Odds of each stage",
        "Share of the years in which each stage holds on its share of the field, for each day of "
        "the year, with 90% limits.",
        figures.stages,
        ("odds",),
        _fields_and_plans,
        _told_stages,
        _is_of_interest,
    ),
    Picture(
        "months",
        "Water by month",
        "Water drawn for the field in each month over all years; the hollow marks are the driest "
        "years.",
        figures.months,
        ("irrigation_month_quantile",),
        _watered,
        _told_months,
        _is_safest,
    ),
    Picture(
        "demand",
        "Water of a dry year",
        "Water of the year that is reached once in so many years; upright lines are the limits at "
        "the confidence asked for, hollow marks read from a fitted curve.",
        figures.demand,
        ("demand", "demand_low", "demand_high", "demand_fitted"),
        _fields,
        _told_demand,
    ),
    Picture(
        "account",
        "One year, day by day",
        "Rain and irrigation hang from the top; the share of the available water that is gone "
        "rises from the bottom.",
        figures.account,
        ("chosen_year", "daily_depletion", "daily_precipitation", "daily_irrigation_landed"),
        _accounts,
        _told_account,
        _is_safest,
        _is_dry_of_interest,
    ),
)  # fmt: skip

SWEEP_PICTURES = (
    Picture(
        "front",
        "The front: less water or less risk",
        "Choices that no other beats in both water and the odds of the worst field; the upright "
        "line is the standard error of the odds. Chosen by the same years that it is judged by, "
        "the best looks a little better than it is.",
        sweep_figures.front,
        ("probability", "probability_se", "season_water"),
        _stages,
        _told_front,
        _is_wilt,
    ),
    Picture(
        "drivers",
        "What drives the risk",
        "Share of the variance between the points that each axis accounts for; what is missing to "
        "the whole is the axes' interplay.",
        sweep_figures.drivers,
        ("probability",),
        _plans_and_stages,
        _told_drivers,
        _is_wilt,
    ),
    Picture(
        "surface",
        "Response to the two strongest",
        "Odds by the two axes that drive them most, mean over all the others. Classes of a range "
        "are named by their middle.",
        sweep_figures.response,
        ("probability",),
        _plans_and_wilt,
        _told_response,
        _is_wilt,
    ),
)

NAMES = tuple(picture.name for picture in (*PICTURES, *SWEEP_PICTURES))
_OF_SUPPLY = ("storage", "shortage", "causes", "sizing")
_OF_PLAY = ("events", "play")
_OF_DRAWS = ("doubt",)


def named(name: str) -> Picture:
    """The figure of that name; FaultyInput with the names there are."""
    for picture in (*PICTURES, *SWEEP_PICTURES):
        if picture.name == name:
            return picture
    raise FaultyInput(Fault("picture", f"no figure is called '{name}'", nearest(name, NAMES)))


def fitting(result: xr.Dataset) -> Iterator[Picture]:
    """Figures that belong to such a result, whether or not it has all that they need."""
    if kind_of(result) == SWEEP:
        yield from SWEEP_PICTURES
        return
    store = "supply_store" in result and float(result["supply_store"].max()) > 0.0
    for picture in PICTURES:
        if picture.name in _OF_PLAY:
            if play_figures.fields_with_play(result):
                yield picture
        elif picture.name == "storage":
            if store and "store_by_month" in result:
                yield picture
        elif picture.name in (*_OF_SUPPLY, *_OF_DRAWS):
            if not picture.lacks(result):
                yield picture
        else:
            yield picture


def choose(result: xr.Dataset, picture: Picture, wanted: Choice) -> list[Choice]:
    """Panels of a figure that agree with ``wanted``; its main ones when nothing is wanted.

    FaultyInput when the result lacks what it needs, or nothing agrees.
    """
    lacks = picture.lacks(result)
    if lacks or picture not in tuple(fitting(result)):
        made_by = result.attrs.get("source", "another program")
        told = f"the result, written by {made_by}, lacks {', '.join(lacks) or 'what it shows'}"
        raise FaultyInput(Fault(picture.name, told, "run the scenario again with --out"))
    panels = picture.panels(result)
    known = {key: list(dict.fromkeys(p[key] for p in panels if key in p)) for key in wanted}
    faults = [
        Fault(f"--{key}", f"'{value}' is nothing that '{picture.name}' shows", nearest(value, have))
        if (have := known[key])
        else Fault(f"--{key}", f"'{picture.name}' has no such choice", "leave it out")
        for key, value in wanted.items()
        if value not in known[key]
    ]
    if faults:
        raise FaultyInput(faults)
    if not panels:
        raise FaultyInput(Fault(picture.name, "the result has nothing for it to show"))
    if wanted:
        return [p for p in panels if all(p.get(key) == value for key, value in wanted.items())]
    return [p for p in panels if picture.main(result, p)] or panels[:1]


def compose(result: xr.Dataset, picture: Picture, panels: list[Choice], units: str) -> Figure:
    """Panels of one figure side by side, two in a row, each under its own title."""
    columns = min(len(panels), 2)
    rows = -(-len(panels) // columns)
    width, height = style.PANEL_IN
    with style.look():
        figure = style.new_figure(width * columns, (height + 0.25) * rows)
        grid: Any = figure.subplots(rows, columns, squeeze=False)
        for axes, choice in zip(grid.ravel(), panels, strict=False):
            picture.draw(result, **choice, axes=axes, units=units)
            style.head(axes, panel_title(result, choice) or picture.title)
        for axes in grid.ravel()[len(panels) :]:
            axes.remove()
    return figure


def panel_svg(result: xr.Dataset, picture: Picture, choice: Choice, units: str, key: str) -> str:
    """One panel for the middle of a page."""
    with style.look():
        figure = style.new_figure()
        axes = figure.add_subplot()
        picture.draw(result, **choice, axes=axes, units=units)
        style.fit(figure, axes)
        text = style.svg_text(figure)
    return style.inline_svg(text, key, picture.told(result, choice, units))
