"""What ``drysward season`` prints. Nothing is computed here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.season_text import (
    OUTLOOK_STAGES,
    SKILL_NOTE,
    day_after,
    day_text,
    days_ahead,
    days_line,
    season_notes,
    season_sentences,
    skill_text,
)
from drysward.results.text import STAGE_WORDS, listed, volume_display, ways_of_100
from drysward.screen.document import (
    FIELD,
    PLAN,
    Cell,
    Column,
    Heading,
    Part,
    Row,
    Table,
    Value,
    notes,
    number,
    words,
)


def season_report(
    outlook: xr.Dataset, system: str, stages: Sequence[str] = OUTLOOK_STAGES
) -> list[Part]:
    """Answer, odds of ``stages`` by date, water, the field today, and how to read them."""
    return [
        Heading(outlook.attrs["title"]),
        days_line(outlook),
        *season_sentences(outlook, system),
        *(_odds_table(outlook, stage) for stage in stages),
        _water_table(outlook, system),
        _today_table(outlook, system),
        notes(season_notes(outlook, stages)),
    ]


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
        [*FIELD, *PLAN, *columns], rows, [FIELD[1], PLAN[1], *cells],
        ("field_label", "plan_label"),
    )  # fmt: skip


def _with_usual(odds: float, usual: float) -> str:
    """``38 (14)``; the odds alone where the usual ones are not known."""
    return ways_of_100(odds) + ("" if np.isnan(usual) else f" ({ways_of_100(usual)})")


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
        first, _, late = (day_after(outlook, days) for days in one["next_watering"].values)
        need = one["water_needed"]
        row: dict[str, Value] = {
            **_names(outlook, field, plan),
            "next_from": first,
            "next_to": late,
            "next_depth": float(one["next_depth"]) * depth.factor,
            "usual_water": float(one["usual_water_needed"].sel(certainty=0.5)) * depth.factor
            if "usual_water_needed" in one else np.nan,
            "volume_90%": float(need.sel(certainty=0.9) * areas.sel(field=field)) / 1000.0
            * volume.factor,
        }  # fmt: skip
        for c in need["certainty"].values:
            row[f"water_{c:.0%}"] = float(need.sel(certainty=c)) * depth.factor
        rows.append(row)
    span = Cell("next watering", ("next_from", "next_to"), _span, is_number=False)
    cells: list[Column | Cell] = [FIELD[1], PLAN[1], span, *columns[2:]]
    title = f"Water still needed to {day_text(outlook['date'].values[-1])}"
    return Table("water", title, [*FIELD, *PLAN, *columns], rows, cells,
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
    return Table("today", title, [*FIELD, *PLAN, *columns], rows,
                 [FIELD[1], PLAN[1], *columns], ("field_label", "plan_label"))  # fmt: skip


def _last(one: xr.Dataset, name: str) -> float:
    """Percent on the last day; what holds less than nothing is 0."""
    if name not in one or not one.sizes.get("past_date"):
        return np.nan
    return max(100.0 * float(one[name].sel(quantile=0.5).isel(past_date=-1)), 0.0)


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


# --- hindcasts


def hindcast_report(past: xr.Dataset, system: str) -> list[Part]:
    """How good past outlooks were: skill over the usual year by lead, and how to read it."""
    years = past["year"].values
    days = listed([_month_day(day) for day in past["issued"].values])
    text = (
        f"{past.sizes['issued'] * years.size} outlooks, issued on {days} of {years[0]} to "
        f"{years[-1]}, each without its own year."
    )
    return [
        Heading("How good past outlooks were"),
        text,
        *(_skill_table(past, stage) for stage in OUTLOOK_STAGES),
        _water_skill_table(past),
        notes(_skill_notes(past)),
    ]


def _month_day(day: str) -> str:
    return day_text(np.datetime64(f"2001-{day}"))


def _leads(past: xr.Dataset) -> list[tuple[str, str]]:
    return [
        (str(lead), "to the end" if lead == "end" else f"{lead} days")
        for lead in past["lead"].values
    ]


def _skill_table(past: xr.Dataset, stage: str) -> Table:
    one = past.sel(stage=stage)
    return _by_lead(one, "skill", f"{stage}_skill", f"Skill of the odds of {STAGE_WORDS[stage]}")


def _water_skill_table(past: xr.Dataset) -> Table:
    return _by_lead(past, "water_skill", "water_skill", "Skill of the water still needed")


def _by_lead(past: xr.Dataset, name: str, key: str, title: str) -> Table:
    """By field and plan: a skill with its limits at each lead, all dates of issue together."""
    columns: list[Column] = []
    cells: list[Column | Cell] = [FIELD[1], PLAN[1]]
    for lead, head in _leads(past):
        names = tuple(f"{end}_{lead}" for end in ("skill", "low", "high"))
        columns += [number(one, f"{head} {one.partition('_')[0]}", "1", 3) for one in names]
        cells.append(Cell(head, names, skill_text))
    rows: list[Row] = []
    for field, plan, one in _each(past):
        every = one.sel(scored="all")
        row: dict[str, Value] = dict(_names(past, field, plan))
        for lead, _ in _leads(past):
            at = every.sel(lead=lead)
            for end, of in (("skill", name), ("low", f"{name}_low"), ("high", f"{name}_high")):
                row[f"{end}_{lead}"] = float(at[of])
        if any(np.isfinite(float(row[f"skill_{lead}"] or np.nan)) for lead, _ in _leads(past)):
            rows.append(row)
    return Table(key, title, [*FIELD, *PLAN, *columns], rows, cells,
                 ("field_label", "plan_label"))  # fmt: skip


def _skill_notes(past: xr.Dataset) -> Iterator[tuple[str, str]]:
    yield "Skill", SKILL_NOTE
    yield "Usual", str(past.attrs["reference"])
    yield "Weather", str(past.attrs["weather"])
