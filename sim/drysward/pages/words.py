"""What a page says: the answer in three sentences, and what was assumed. Numbers as kept."""

from __future__ import annotations

import json
from collections.abc import Iterable

import numpy as np
import xarray as xr

from drysward.pages import style
from drysward.pages.result import (
    SUPPLY,
    SWEEP,
    keys,
    kind_of,
    label,
    plain,
)
from drysward.quantities import shown
from drysward.results.choice import driest_plan, has_days_below, safest_plan
from drysward.results.doubt_text import LIKELY, doubt_sentences
from drysward.results.sizing_text import (
    carried_text,
    confidence_lines,
    not_monotone_text,
    size_text,
    smallest_text,
)
from drysward.results.text import (
    CAUSES,
    MADE_WEATHER,
    condition_text,
    difference_text,
    driest_years,
    file_means_text,
    listed,
    procedures,
    spell_text,
    volume_display,
    volume_text,
    year_text,
    years_used,
)
from drysward.scenario.model import RECORD
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest

MOST_FIELDS = 3


def chance(one: xr.Dataset, name: str = "probability") -> str:
    """``in 74 of 100 years (limits 69 to 79)``, or a limit when none or all years had it."""
    p, low, high = (100.0 * one[f"{name}{end}"].item() for end in ("", "_low", "_high"))
    if np.isnan(p):
        return "in an unknown share of years"
    if p == 0.0:
        return f"in none of the years (at most {np.ceil(high):.0f} of 100)"
    if p == 100.0:
        return f"in every year (at least {np.floor(low):.0f} of 100)"
    # A rare event is not none, and a common one not all.
    share = f"{p:.0f}" if 1.0 <= p <= 99.0 else f"{p:.1f}"
    return f"in {share} of 100 years (limits {low:.0f} to {high:.0f})"


def _first_fields(result: xr.Dataset) -> list[str]:
    return keys(result, "field")[:MOST_FIELDS]


def _more(result: xr.Dataset) -> str:
    more = result.sizes["field"] - MOST_FIELDS
    return f"; {more} more in the tables" if more > 0 else ""


def answer(result: xr.Dataset, units: str) -> list[str]:
    """Three sentences that answer the question behind the result, with their uncertainty; what
    draws of what is not known make of it, and what one root zone costs more than another, where
    the file tells it.
    """
    if kind_of(result) == SWEEP:
        return _sweep_answer(result, units)
    compared = [difference_text(result)] if difference_text(result) else []
    if kind_of(result) == SUPPLY:
        turf = _turf_answer(result, safest_plan(result))
        return [*_supply_answer(result, units), turf, *compared]
    driest, safest = driest_plan(result), safest_plan(result)
    first = _turf_answer(result, driest)
    if driest == safest:
        second = "There is no other plan to set beside it."
        if result.sizes["plan"] > 1:
            fewer = "fewer days below playing condition" if has_days_below(result) else (
                "lower odds of wilt"
            )
            second = f"No other plan has {fewer}, though all take more water."
    else:
        wilt = listed(
            [
                f"{chance(result.sel(field=f, plan=safest, stage='wilt'))} on {_name(result, f)}"
                for f in _first_fields(result)
            ]
        )
        name = f"“{label(result, 'plan', safest)}”"
        second = f"The plan with the lowest odds of wilt is {name}: wilt comes {wilt}"
        if has_days_below(result):
            second = (
                f"The plan with the fewest days below playing condition is {name}: "
                f"{_days_below(result, safest)}; wilt comes {wilt}"
            )
        second += f"{_more(result)}."
    water = _water_answer(result, safest, units)
    drawn = doubt_sentences(result, safest)
    likely = [f"The numbers so far are of {LIKELY}."] if drawn else []
    return [first, second, water, *likely, *drawn, *compared]


def _name(result: xr.Dataset, field: str) -> str:
    return f"“{label(result, 'field', field)}”"


def _turf_answer(result: xr.Dataset, plan: str) -> str:
    """How often wilt, or dormancy, and death come under a plan, field by field."""
    parts = []
    for field in _first_fields(result):
        one = result.sel(field=field, plan=plan)
        parts.append(
            f"on {_name(result, field)} dormancy comes {chance(one.sel(stage='dormant'))} "
            f"and death {chance(one.sel(stage='dead'))}"
        )
    return f"Under “{label(result, 'plan', plan)}”, {listed(parts)}{_more(result)}."


def _days_below(result: xr.Dataset, plan: str) -> str:
    parts = []
    for field in _first_fields(result):
        one = result.sel(field=field, plan=plan)
        mean, worst = (
            one[f"days_below_condition_{name}"].item() for name in ("mean", "1in10")
        )
        if not np.isnan(mean):
            parts.append(
                f"{mean:.0f} in the mean year and {worst:.0f} in the worst year in ten on "
                f"{_name(result, field)}"
            )
    return listed(parts)


def _water_answer(result: xr.Dataset, plan: str, units: str) -> str:
    depth = shown("mm", units)
    periods = [float(period) for period in result["period"].values]
    period = 10.0 if 10.0 in periods else max(periods)
    parts = []
    for field in _first_fields(result):
        one = result.sel(field=field, plan=plan)
        need, low, high = (
            one[name].sel(period=period).item() * depth.factor
            for name in ("demand", "demand_low", "demand_high")
        )
        if one["season_water"].item() == 0.0:
            parts.append(f"no water on {_name(result, field)}")
            continue
        limits = (
            "limits not known"
            if np.isnan(low + high)
            else f"limits {low:.{depth.decimals}f} to {high:.{depth.decimals}f}"
        )
        parts.append(
            f"{one['season_water'].item() * depth.factor:.{depth.decimals}f} {depth.unit} of water "
            f"in the mean year and {need:.{depth.decimals}f} {depth.unit} ({limits}) in the year "
            f"that comes once in {period:g} on {_name(result, field)}"
        )
    return f"“{label(result, 'plan', plan)}” takes {listed(parts)}{_more(result)}."


def _supply_answer(result: xr.Dataset, units: str) -> list[str]:
    thirsty = keys(result, "plan")[int(np.argmax(result["asked_mean"].values))]
    one = result.sel(plan=thirsty)
    if one["asked_mean"].item() == 0.0:
        return ["No plan wants water, so the supply is never short.", _sizing_answer(result, units)]
    unit = volume_display([result["asked_mean"], result["worst_event"]], units)
    under = f"Under the thirstiest plan, “{label(result, 'plan', thirsty)}”, the supply"
    delivered = (
        f"{100 * one['volume_reliability'].item():.1f}% of the "
        f"{volume_text(one['asked_mean'].item(), unit)} {unit.unit} that the plan wants in the "
        "mean year"
    )
    if "short_year" in result and "short_year" in result.attrs:
        first = (
            f"{under} is short by more than {100 * float(result.attrs['short_year']):g}% of the "
            f"demand {chance(one, 'short_year')}; {_worst_year(one)}.{_main_cause(one)} "
            f"It delivers {delivered}."
        )
    else:
        worst = one["worst_event"].item()
        first = f"{under} falls short {chance(one, 'shortage_odds')} and delivers {delivered}"
        if worst > 0.0:
            first += f"; the largest shortage is {volume_text(worst, unit)} {unit.unit}"
            if "worst_year" in one:
                first += f", in {year_text(one.attrs, one['worst_year'].item())}"
        first += "."
    return [first, _sizing_answer(result, units)]


def _worst_year(one: xr.Dataset) -> str:
    """How short the worst year is, of a plan."""
    share = one["worst_year_share"].item()
    if share == 0.0:
        return "no year is short at all"
    told = f"{share:.0%}" if share >= 0.01 else "less than 1%"
    return f"the worst, {year_text(one.attrs, one['worst_year'].item())}, is short by {told}"


def _main_cause(one: xr.Dataset) -> str:
    """What most of the shortage under a plan comes from, as a sentence; "" when not known."""
    if "shortage_by_cause" not in one:
        return ""
    by_cause = one["shortage_by_cause"].sum("field")
    whole = float(by_cause.sum())
    if whole == 0.0:
        return ""
    main = str(by_cause.idxmax("cause").item())
    share = f"{float(by_cause.max()) / whole:.0%}"
    return f" The main cause is {CAUSES[main][2]}, with {share} of the shortage."


def _sizing_answer(result: xr.Dataset, units: str) -> str:
    if "sizing_size" not in result:
        return "No size was asked for; a table [sizing] in the scenario has the least one found."
    size = result["sizing_size"]
    what = plain(str(result.attrs.get("sizing", "size")))
    across = "".join(f" {name}: {text}." for name, text in confidence_lines(result, units))
    if np.isnan(size.item()):
        return f"Nothing that was tried suffices for this: least {what}.{across}"
    least, low, high = (
        size_text(result[f"sizing_{name}"], units, size) for name in ("size", "low", "high")
    )
    parts = [f"The least {what} is {least} (90% limits {low} to {high})."]
    if "sizing_case" in result.dims:
        if result["sizing_tried_less"].item() == size.item():
            parts.append(f"The search ends there: {plain(smallest_text(result))}.")
        one = result.sel(sizing_case="least")
        parts.append(f"Carried by {plain(carried_text(one))}.")
    if not np.isnan(result["sizing_fails_from"].item()):
        again = size_text(result["sizing_fails_from"], units)
        parts.append(f"With {again} too many years fail again.")
    parts += [plain(not_monotone_text(result, units)), across.strip()]
    return " ".join(filter(None, parts))


def _sweep_answer(sweep: xr.Dataset, units: str) -> list[str]:
    depth = shown("mm", units)
    kept = front_of(sweep, "water", "wilt")
    ends = []
    for place in (0, -1):
        one = kept.isel(choice=place)
        ends.append(
            f"{one['cost'].item() * depth.factor:.{depth.decimals}f} {depth.unit} of water a year "
            f"with wilt in {100 * one['risk'].item():.0f} ± {100 * one['risk_se'].item():.0f} of "
            "100 years"
        )
    plan = str(sweep["plan"].values[0])
    told = effects(sweep, "wilt", plan)
    first = strongest(sweep, "wilt", plan)[0]
    row = told.sel(axis=first)
    share = float(row["main"])
    drives = (
        f"What drives wilt most under “{label(sweep, 'plan', plan)}” is {plain(first)}: it "
        f"accounts for {share:.0%} of the variance, with {100 * float(row['low_mean']):.0f}% of "
        f"years at {plain(str(row['low_at'].item()))} and {100 * float(row['high_mean']):.0f}% at "
        f"{plain(str(row['high_at'].item()))}."
        if np.isfinite(share)
        else "Nothing that was varied changes the odds of wilt."
    )
    done, points = sweep.attrs["points_done"], sweep.attrs["points"]
    choices = f"{kept.sizes['choice']} of {kept.attrs['choices']:,} choices are beaten by no other"
    return [
        f"{choices} in both water and wilt on the worst field: from {ends[0]} to {ends[1]}.",
        drives,
        f"This rests on {done:,} of {points:,} points; the choices were picked by the same "
        f"{sweep.attrs['independent_years']} years that judge them, so the best looks a little "
        "better than it is: try it on another seed.",
    ]


def assumed(result: xr.Dataset, units: str) -> Iterable[tuple[str, str]]:
    """What was assumed, as name and text."""
    attrs = result.attrs
    if kind_of(result) == SWEEP:
        yield "Weather", attrs["weather"]
        yield "Points", f"{attrs['points_done']:,} of {attrs['points']:,}, design {attrs['design']}"
        yield "Axes", ", ".join(json.loads(attrs["axes"]))
        yield "Numbers", attrs["precision"]
        return
    yield "Weather", attrs.get("weather", "not told")
    if read := file_means_text(attrs, units):
        yield "Read as", read
    if attrs.get("weather_kind", RECORD) != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    left_out = attrs.get("years_left_out") or "none"
    yield "Years", f"{years_used(attrs, result.sizes.get('year', 0))}; left out: {left_out}"
    yield "Turf", attrs.get("turf", "not told")
    if "reached" in result.coords:
        reached = [
            f"{style.STAGE_WORDS[stage]} {float(result['reached'].sel(stage=stage)):.0%}"
            for stage in keys(result, "stage")
        ]
        told = "; ".join(reached)
        yield (
            "A stage counts",
            f"when it holds on this share of the field {spell_text(attrs)} of the season: {told}",
        )
    if "condition_green" in attrs:
        yield "Playing condition", f"a day is below it with {condition_text(attrs)}"
    area = shown("m2", units)
    if "area_m2" in result.coords:
        sizes = (float(values) * area.factor for values in result["area_m2"].values)
        areas = [
            f"{label(result, 'field', key)} {size:,.{area.decimals}f} {area.unit}"
            for key, size in zip(keys(result, "field"), sizes, strict=True)
        ]
        yield "Fields", "; ".join(areas)
    are_made = attrs.get("weather_kind", RECORD) != RECORD
    if "et_procedures" in attrs:
        yield "Reference ET", "; ".join(procedures(json.loads(attrs["et_procedures"]), are_made))
    yield "Filled days", attrs.get("filled") or "none"
    yield "Driest years", driest_years(attrs)
    for note in json.loads(attrs.get("weather_notes", "[]")):
        yield "Record" if attrs.get("weather_kind") == "record" else "Simulated weather", note


def cautions(result: xr.Dataset) -> list[str]:
    """The result's own cautions, sentence by sentence as they were written."""
    told = [result.attrs.get("cautions", ""), result.attrs.get("supply_cautions", "")]
    text = " ".join(part for part in told if part)
    sentences = [f"{part.rstrip('.')}." for part in text.split(". ") if part.strip()]
    return sentences or [
        "The file carries no cautions: it is from another version. Treat it as a screening "
        "estimate."
    ]
