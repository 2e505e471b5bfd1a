"""The outlook of a season in sentences."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.ahead import jeffreys_limits
from drysward.results.choice import KEEPS, RISK, beside_limit
from drysward.results.text import (
    STAGE_WORDS,
    fields_text,
    listed,
    of_100,
    quoted_label,
    volume_display,
    volume_text,
)

LEADS = (14, 30, 60)
"""Days ahead that a table shows, before the last date."""
LEAST_SHORT = 0.1  # of the unit shown; less is not worth a sentence
OUTLOOK_STAGES = ("wilt", "dormant")
"""Stages that a screen and a page show first."""


def day_text(day: np.datetime64) -> str:
    """``Jul 2``."""
    whole = day.astype("datetime64[D]").astype(object)
    return f"{whole:%b} {whole.day}"


def day_after(outlook: xr.Dataset, days: float) -> str:
    """``Jul 2``, so many days from today; "" where that is not known."""
    if np.isnan(days):
        return ""
    return day_text(np.datetime64(outlook.attrs["today"], "D") + int(days))


def days_ahead(outlook: xr.Dataset) -> list[int]:
    """Places of the dates that a table shows: some weeks ahead, and the last."""
    n = outlook.sizes["date"]
    return [*(lead for lead in LEADS if lead < n - 7), n - 1]


def days_line(outlook: xr.Dataset) -> str:
    """Which days an outlook is of, and from what they go on."""
    attrs = outlook.attrs
    first, last = (date.fromisoformat(attrs[name]) for name in ("today", "last_date"))
    return (
        f"From {first:%B} {first.day} to {last:%B} {last.day}, {last.year}. Ways on: "
        f"{attrs['ways']}, each from the field's state on the morning of {first:%B} {first.day}."
    )


def plan_ahead(outlook: xr.Dataset) -> str:
    """The plan that keeps the most fields to the last date, of equals the one with the least
    water; where none keeps any, the one with the least odds.
    """
    odds = outlook["odds"].sel(stage=RISK).isel(date=-1)
    kept = (odds <= KEEPS).sum("field")
    need = outlook["site_water_needed"].sel(certainty=0.9)
    plans = [str(plan) for plan in outlook["plan"].values]
    if not bool(kept.any()):
        return plans[int(odds.mean("field").argmin("plan"))]
    return min(plans, key=lambda p: (-int(kept.sel(plan=p)), float(need.sel(plan=p))))


def season_sentences(outlook: xr.Dataset, system: str) -> Iterator[str]:
    """Which plan keeps which field to the last date at how much water; when water runs out."""
    last = outlook["odds"].sel(stage=RISK).isel(date=-1)
    keeps = last <= KEEPS
    fields, plans = outlook["field"].values, list(outlook["plan"].values)
    need = outlook["site_water_needed"].sel(certainty=0.9)
    best = plan_ahead(outlook)
    end = day_text(outlook["date"].values[-1])
    kept = [field for field in fields if bool(keeps.sel(field=field, plan=best))]
    unit = volume_display([need], system, 2)
    stage = STAGE_WORDS[RISK]
    if kept:
        what = fields_text(outlook, kept, len(fields))
        together = "" if len(kept) == len(fields) else ", of all fields together"
        yield (
            f"{quoted_label(outlook, 'plan', best)} keeps {what} to {end} ({stage} in "
            f"no more than {100 * KEEPS:.0f} of 100 ways). Keep "
            f"{volume_text(float(need.sel(plan=best)), unit)} {unit.unit} for it{together}: enough "
            "in 90 of 100 ways."
        )
    lost = [field for field in fields if not bool(keeps.sel(field=field).any())]
    if lost:
        least = last.sel(field=lost).min("plan")
        odds = listed([
            f"{beside_limit(float(least.sel(field=field)))} of 100 on "
            f"{quoted_label(outlook, 'field', field)}"
            for field in lost
        ])  # fmt: skip
        names = fields_text(outlook, lost, 0)
        yield f"No plan keeps {names}: {stage} comes by {end} in {odds} at best."
        if not kept:
            yield (
                f"Closest is {quoted_label(outlook, 'plan', best)}, with "
                f"{volume_text(float(need.sel(plan=best)), unit)} {unit.unit} for all fields: "
                "enough in 90 of 100 ways."
            )
    driest = min(plans, key=lambda p: float(need.sel(plan=p)))
    if driest != best:
        odds = listed([
            f"{of_100(float(last.sel(field=field, plan=driest)))} of 100 on "
            f"{quoted_label(outlook, 'field', field)}"
            for field in fields
        ])  # fmt: skip
        yield f"Under {quoted_label(outlook, 'plan', driest)} {stage} comes by {end} in {odds}."
    yield from _supply_sentences(outlook, system)


def _supply_sentences(outlook: xr.Dataset, system: str) -> Iterator[str]:
    """When the water runs out under each plan, and what a plan is short of."""
    if "runs_out" not in outlook:
        return
    depth = shown("mm", system)
    plans = list(outlook["plan"].values)
    short = {p: outlook["shortage"].sel(plan=p, quantile=0.5) for p in plans}
    trouble = False
    for plan in plans:
        out = float(outlook["runs_out"].sel(plan=plan))
        name = f"Under {quoted_label(outlook, 'plan', plan)} "
        if out > 0.0:
            early, middle, _ = (
                day_after(outlook, days) for days in outlook["runs_out_day"].sel(plan=plan).values
            )
            when = f", in 10 of 100 ways by {early}" if early else ""
            when += f" and in half of them by {middle}" if middle and middle != early else ""
            yield f"{name}the water runs out in {of_100(out)} of 100 ways{when}."
        elif float(short[plan].max()) * depth.factor >= LEAST_SHORT:
            parts = [
                f"{float(short[plan].sel(field=field)) * depth.factor:.{depth.decimals}f} "
                f"{depth.unit} on {quoted_label(outlook, 'field', field)}"
                for field in outlook["field"].values
            ]
            yield f"{name}the supply falls short, in the middle way by {listed(parts)}."
        else:
            continue
        trouble = True
    if not trouble:
        yield "The supply lasts to the end under every plan."


def usual_sentence(outlook: xr.Dataset) -> str:
    """Where today's state makes no difference: odds whose limits hold those of a usual year."""
    if "usual_odds" not in outlook:
        return ""
    end = outlook.sel(stage=RISK).isel(date=-1)
    alike = (end["odds_low"] <= end["usual_odds"]) & (end["usual_odds"] <= end["odds_high"])
    n = int(alike.sum())
    stage = STAGE_WORDS[RISK]
    if n == alike.size:
        return f"by the last date the odds of {stage} are no better known than the usual odds"
    if n == 0:
        return f"today's state changes the odds of {stage} on every field, under every plan"
    parts = [
        f"{quoted_label(outlook, 'field', f)} under {quoted_label(outlook, 'plan', p)}"
        for f in outlook["field"].values
        for p in outlook["plan"].values
        if not bool(alike.sel(field=f, plan=p))
    ]
    return (
        f"today's state changes the odds of {stage} on {listed(parts)}; elsewhere they are no "
        "better known than the usual odds"
    )


def season_notes(outlook: xr.Dataset, stages: Sequence[str]) -> Iterator[tuple[str, str]]:
    """How to read an outlook, as name and text."""
    attrs = outlook.attrs
    days = attrs["reached_days"]
    shares = json.loads(attrs["reached"])
    limits = ", ".join(f"{STAGE_WORDS[one]} {100 * shares[one]:.0f}%" for one in stages)
    usual = usual_sentence(outlook)
    yield "Odds", (
        f"ways of 100 in which it covers its share of the field for {days} days in a row "
        f"({limits}) by the evening of the date; in brackets a usual year on the same dates"
    )
    if usual:
        yield "Usual", usual
    yield "Sure", "water that is enough in 50, 80 and 90 of 100 ways, shortage included"
    yield "Next", "dates by which 10 and 90% of the ways have watered; the depth in the middle way"
    yield "Error", (
        f"{attrs['effective_ways']:.0f} ways: odds of 30 of 100 may be "
        f"{_limits(attrs['effective_ways'])} by the chance of the years alone"
    )
    yield "Weather", (
        f"{attrs['weather']}. A root zone remembers a few weeks; later the odds are the usual ones"
    )
    yield "Caution", (
        "A screening estimate: go by what the field shows. Restrictions, and surface safety, are "
        "for local rules and licensed practice."
    )


def _limits(n: float) -> str:
    low, high = jeffreys_limits(0.3, n)
    return f"{100 * float(low):.0f} to {100 * float(high):.0f}"


SKILL_NOTE = (
    "1 is perfect, 0 no better than the usual odds of the date, less than 0 worse. Usual: the 90% "
    "limits, from resampled years, hold 0. No number: nothing to compare, since the event never "
    "comes or always does"
)
"""How to read a skill."""


def skill_text(skill: float, low: float, high: float) -> str:
    """``0.48``; "usual" where the limits hold 0; "-" where there is nothing to compare."""
    if np.isnan(skill) or np.isnan(low) or np.isnan(high):
        return "-"
    return "usual" if low <= 0.0 <= high else f"{skill:.2f}"
