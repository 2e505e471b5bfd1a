"""What ``drysward season`` prints. Nothing is computed here."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.season_text import (
    day_text,
    days_ahead,
    season_sentences,
    usual_sentence,
)
from drysward.results.text import STAGE_WORDS, of_100, volume_display
from drysward.screen.document import Cell, Heading, Part, Row, Table, Value, notes, number, words

_PLAN = (words("plan", "plan", whole=True), words("plan_label", "plan"))
_FIELD = (words("field", "field", whole=True), words("field_label", "field"))
OUTLOOK_STAGES = ("wilt", "dormant")


def season_report(
    outlook: xr.Dataset, system: str, stages: Sequence[str] = OUTLOOK_STAGES
) -> list[Part]:
    """Answer, odds of ``stages`` by date, water, the field today, and how to read them."""
    return [
        Heading(outlook.attrs["title"]),
        _days_line(outlook),
        *season_sentences(outlook, system),
        *(_odds_table(outlook, stage) for stage in stages),
        _water_table(outlook, system),
        _today_table(outlook, system),
        notes(_notes(outlook, stages)),
    ]


def _days_line(outlook: xr.Dataset) -> str:
    attrs = outlook.attrs
    first, last = (date.fromisoformat(attrs[name]) for name in ("today", "last_date"))
    return (
        f"From {first:%B} {first.day} to {last:%B} {last.day}, {last.year}. Ways on: "
        f"{attrs['ways']}, each from the field's state on the morning of {first:%B} {first.day}."
    )


def _odds_table(outlook: xr.Dataset, stage: str) -> Table:
    """By field and plan: odds that a stage has come by some dates, with those of a usual year."""
    places = days_ahead(outlook)
    dates = outlook["date"].values
    columns, cells = [], []
    for i in places:
        key = str(np.datetime_as_string(dates[i], unit="D"))
        names = (f"odds_{key}", f"usual_odds_{key}")
        heads = f"{STAGE_WORDS[stage]} by {key}", f"{STAGE_WORDS[stage]} by {key} in a usual year"
        columns += [number(name, head, "1", 3) for name, head in zip(names, heads, strict=True)]
        cells.append(Cell(day_text(dates[i]), names, _with_usual, "of 100"))
    rows: list[Row] = []
    for field, plan, one in _each(outlook):
        row: dict[str, Value] = dict(_names(outlook, field, plan))
        for i in places:
            key = str(np.datetime_as_string(dates[i], unit="D"))
            at = one.sel(stage=stage).isel(date=i)
            row[f"odds_{key}"] = float(at["odds"])
            row[f"usual_odds_{key}"] = float(at["usual_odds"]) if "usual_odds" in at else np.nan
        rows.append(row)
    return Table(
        f"{stage}_by_date", f"Odds of {STAGE_WORDS[stage]} by date (in a usual year)",
        [*_FIELD, *_PLAN, *columns], rows, [_FIELD[1], _PLAN[1], *cells],
        ("field_label", "plan_label"),
    )  # fmt: skip


def _with_usual(odds: float, usual: float) -> str:
    """``38 (14)``; the odds alone where the usual ones are not known."""
    return of_100(odds) + ("" if np.isnan(usual) else f" ({of_100(usual)})")


def _water_table(outlook: xr.Dataset, system: str) -> Table:
    """By field and plan: the next watering, and the water that is enough to the last date."""
    depth = shown("mm", system)
    volume = volume_display([outlook["site_water_needed"]], system, 2)
    areas = outlook["area_m2"]
    columns = [
        words("next_from", "next watering from"), words("next_to", "next watering to"),
        number("next_depth", "depth", depth.unit, depth.decimals),
        *(number(f"water_{c:.0%}", f"{c:.0%} sure", depth.unit, depth.decimals)
          for c in outlook["certainty"].values),
        number("usual_water", "usual year", depth.unit, depth.decimals),
        number("volume_90%", "90% sure", volume.unit, volume.decimals),
    ]  # fmt: skip
    rows: list[Row] = []
    for field, plan, one in _each(outlook):
        first, _, late = (None if np.isnat(d) else d for d in one["next_watering"].values)
        need = one["water_needed"]
        row: dict[str, Value] = {
            **_names(outlook, field, plan),
            "next_from": "" if first is None else day_text(first),
            "next_to": "" if late is None else day_text(late),
            "next_depth": float(one["next_depth"]) * depth.factor,
            "usual_water": float(one["usual_water_needed"].sel(certainty=0.5)) * depth.factor
            if "usual_water_needed" in one else np.nan,
            "volume_90%": float(need.sel(certainty=0.9) * areas.sel(field=field)) / 1000.0
            * volume.factor,
        }  # fmt: skip
        for c in need["certainty"].values:
            row[f"water_{c:.0%}"] = float(need.sel(certainty=c)) * depth.factor
        rows.append(row)
    cells = [
        _FIELD[1], _PLAN[1], Cell("next watering", ("next_from", "next_to"), _span, is_number=False),
        *columns[2:],
    ]  # fmt: skip
    title = f"Water still needed to {day_text(outlook['date'].values[-1])}"
    return Table("water", title, [*_FIELD, *_PLAN, *columns], rows, cells,
                 ("field_label", "plan_label"))  # fmt: skip


def _span(first: str, last: str) -> str:
    """``Jul 2 to Jul 10``; ``Jul 2`` where both are the same; ``from Jul 2`` where some wait."""
    if not first:
        return "-"
    if not last:
        return f"{first} or later"
    return first if first == last else f"{first} to {last}"


def _today_table(outlook: xr.Dataset, system: str) -> Table:
    columns = [
        number("depletion", "available water used", "%"),
        number("green", "green cover", "%"),
        number("wilt", "wilting", "%"),
        number("days_below", "days below condition ahead", "d"),
        number("days_below_1in10", "1 way in 10 is worse than", "d"),
    ]
    rows: list[Row] = []
    for field, plan, one in _each(outlook):
        days = one["days_below_condition"]
        rows.append({
            **_names(outlook, field, plan),
            **{name: _last(one, f"past_{name}") for name in ("depletion", "green", "wilt")},
            "days_below": float(days.weighted(one["weight"]).mean()),
            "days_below_1in10": float(days.quantile(0.9, method="weibull")),
        })  # fmt: skip
    title = "The field yesterday evening, and days below playing condition ahead"
    return Table("today", title, [*_FIELD, *_PLAN, *columns], rows,
                 [_FIELD[1], _PLAN[1], *columns], ("field_label", "plan_label"))  # fmt: skip


def _last(one: xr.Dataset, name: str) -> float:
    """Percent on the last day; what holds less than nothing is 0."""
    if name not in one or not one.sizes.get("past_date"):
        return np.nan
    return max(100.0 * float(one[name].isel(past_date=-1)), 0.0)


def _each(outlook: xr.Dataset) -> Iterator[tuple[str, str, xr.Dataset]]:
    for field in map(str, outlook["field"].values):
        for plan in map(str, outlook["plan"].values):
            yield field, plan, outlook.sel(field=field, plan=plan)


def _names(outlook: xr.Dataset, field: str, plan: str) -> dict[str, Value]:
    return {
        "field": field,
        "field_label": str(outlook["field_label"].sel(field=field).item()),
        "plan": plan,
        "plan_label": str(outlook["plan_label"].sel(plan=plan).item()),
    }


def _notes(outlook: xr.Dataset, stages: Sequence[str]) -> Iterator[tuple[str, str]]:
    attrs = outlook.attrs
    days = attrs["reached_days"]
    shares = json.loads(attrs["reached"])
    limits = ", ".join(f"{STAGE_WORDS[one]} {100 * shares[one]:.0f}%" for one in stages)
    usual = usual_sentence(outlook)
    yield "Odds", (
        f"ways of 100 in which it covers its share of the field for {days} days in a row ({limits}) "
        "by the evening of the date; in brackets a usual year on the same dates"
    )
    if usual:
        yield "Usual", usual
    yield "Sure", "water that is enough in 50, 80 and 90 of 100 ways, what the supply lacks included"
    yield "Next", "dates by which 10 and 90% of the ways have watered; the depth in the middle way"
    yield "Error", (
        f"{attrs['effective_ways']:.0f} ways: odds of 30 of 100 may be "
        f"{_limits(attrs['effective_ways'])} by the chance of the years alone"
    )
    yield "Weather", f"{attrs['weather']}; a root zone remembers a few weeks, then odds are the usual"
    yield "Caution", (
        "A screening estimate: go by what the field shows. Restrictions, and surface safety, are "
        "for local rules and licensed practice."
    )


def _limits(n: float) -> str:
    from drysward.results.ahead import jeffreys_limits

    low, high = jeffreys_limits(0.3, n)
    return f"{100 * float(low):.0f} to {100 * float(high):.0f}"


