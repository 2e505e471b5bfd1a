"""The answer of a comparison in sentences: which plan keeps which field, at how much water."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence

import xarray as xr

from drysward.results.text import (
    STAGE_WORDS,
    dry_period,
    listed,
    of_100,
    volume_display,
    volume_text,
)

KEEPS = 0.10
"""A plan keeps a field when the stage comes in no larger share of years than this (own choice)."""
_MOST_NAMED = 3


def answer_sentences(
    summary: xr.Dataset, drawn: xr.Dataset | None, stage: str, system: str
) -> list[str]:
    """Which plan keeps which field at how much water, and what the limits leave open.

    Parameters
    ----------
    summary : of ``summarize``.
    drawn : of ``doubt_answers``, or None; then the odds and limits are those of the draws.
    stage : the stage that must not come, such as "dormant".
    system : "us" or "metric".
    """
    kept = summary if drawn is None else drawn
    prefix = "" if drawn is None else "doubt_"
    p, low, high = (
        kept[f"{prefix}probability{end}"].sel(stage=stage) for end in ("", "_low", "_high")
    )
    turf = [key for key in kept["field"].values if bool(p.sel(field=key).notnull().all())]
    if not turf:
        return []
    keeps = p.sel(field=turf) <= KEEPS
    # Limits that print as the limit itself are taken to keep it.
    open_yet = (low.sel(field=turf) <= KEEPS) & (high.sel(field=turf) >= KEEPS + 0.005)
    plan = _best(keeps, summary)
    out = [_kept_sentence(summary, keeps, p, plan, stage, system)]
    out += _open_sentence(summary, open_yet, plan, stage, drawn is not None)
    return out


def _best(keeps: xr.DataArray, summary: xr.Dataset) -> Hashable:
    """The plan that keeps the most fields, of equals the one with the least water."""
    counts = keeps.sum("field")
    water = summary["site_season_volume"]
    plans = [str(key) for key in keeps["plan"].values]
    return min(plans, key=lambda key: (-int(counts.sel(plan=key)), float(water.sel(plan=key))))


def _kept_sentence(
    summary: xr.Dataset,
    keeps: xr.DataArray,
    p: xr.DataArray,
    plan: Hashable,
    stage: str,
    system: str,
) -> str:
    fields = list(keeps["field"].values)
    kept = [key for key in fields if bool(keeps.sel(field=key, plan=plan))]
    limit = f"{STAGE_WORDS[stage]} in {100.0 * KEEPS:.0f} of 100 years or fewer"
    if not kept:
        nearest = p.sel(field=fields).mean("field")
        plan = str(nearest["plan"].values[int(nearest.argmin("plan"))])
        odds = listed([
            f"{of_100(p.sel(field=key, plan=plan).item())}{' of 100 years' if i == 0 else ''} on "
            f"{_label(summary, 'field', key)}"
            for i, key in enumerate(fields[:_MOST_NAMED])
        ])  # fmt: skip
        return f"No plan keeps a field ({limit}). Closest: {_label(summary, 'plan', plan)}, {odds}."
    period = dry_period(summary)
    dry = summary["site_demand_volume"].sel(period=period, plan=plan)
    typical = summary["site_season_volume"].sel(plan=plan)
    unit = volume_display([dry, typical], system, 2)
    water = (
        f"{volume_text(typical.item(), unit)} {unit.unit} in a typical year, "
        f"{volume_text(dry.item(), unit)} in a 1-in-{period:g} dry year"
    )
    if len(kept) < len(fields):
        # Volumes are of the whole site, those of fields that the plan loses among them.
        water += f", {_fields_text(summary, fields, len(fields))} together"
    what = _fields_text(summary, kept, len(fields))
    others = int((keeps.sel(field=kept).all("field")).sum()) - 1
    label = _label(summary, "plan", plan)
    text = f"{label} keeps {what} ({limit}) and needs {water}" if others == 0 else (
        f"{label} keeps {what} ({limit}) with the least water of the {others + 1} plans that do: "
        f"{water}"
    )  # fmt: skip
    if len(kept) < len(fields):
        lost = [key for key in fields if key not in kept]
        names = [_label(summary, "field", key) for key in lost[:_MOST_NAMED]]
        more = [f"{len(lost) - _MOST_NAMED} more"] if len(lost) > _MOST_NAMED else []
        by_others = keeps.sel(field=lost).any("plan")
        verb = "No plan keeps every field"
        text += f". {verb}; {listed([*names, *more])} would need another plan"
        if not bool(by_others.any()):
            text = text.replace("would need another plan", "is kept by none" if len(lost) == 1 else
                                "are kept by none")  # fmt: skip
    return f"{text}."


def _open_sentence(
    summary: xr.Dataset,
    open_yet: xr.DataArray,
    plan: Hashable,
    stage: str,
    is_drawn: bool,
) -> Iterator[str]:
    """Which limits lie on both sides of what keeps a field, those of the answer first."""
    if not bool(open_yet.any()):
        return
    n = open_yet.sizes["field"]
    unsure = _open_fields(open_yet, plan)
    cause = "the soil and grass" if is_drawn else "chance in the years"
    if unsure:
        yield (
            f"That is not certain: depending on {cause}, {STAGE_WORDS[stage]} under "
            f"{_label(summary, 'plan', plan)} may come more often on "
            f"{_fields_text(summary, unsure, n)}."
        )
    by_fields: dict[tuple[str, ...], list[str]] = {}
    for key in open_yet["plan"].values:
        fields = _open_fields(open_yet, key)
        if fields and key != plan:
            by_fields.setdefault(fields, []).append(_label(summary, "plan", key))
    if by_fields:
        parts = [
            f"{listed(plans)} on {_fields_text(summary, fields, n)}"
            for fields, plans in by_fields.items()
        ]
        yield f"Limits too wide to decide: {'; '.join(parts)}."


def _open_fields(open_yet: xr.DataArray, plan: Hashable) -> tuple[str, ...]:
    one = open_yet.sel(plan=plan)
    return tuple(str(key) for key in one["field"].values if bool(one.sel(field=key)))


def _fields_text(summary: xr.Dataset, fields: Sequence[Hashable], n: int) -> str:
    """``both fields``, ``all 3 fields``, ``“Stadium”``."""
    if n > 1 and len(fields) == n:
        return "both fields" if n == 2 else f"all {n} fields"
    return listed([_label(summary, "field", key) for key in fields])


def _label(summary: xr.Dataset, dim: str, key: Hashable) -> str:
    return f"“{summary[f'{dim}_label'].sel({dim: key}).item()}”"
