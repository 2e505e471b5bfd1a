"""The answer of a comparison in sentences: which plan keeps which field, at how much water."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.alternatives import Alternatives, alternatives_of
from drysward.results.choice import (
    KEEPS,
    RISK,
    best_plan,
    days_below,
    has_days_below,
    kept_fields,
    limit_text,
    odds,
    site_water,
    water,
)
from drysward.results.doubt_text import draws_text
from drysward.results.text import (
    STAGE_WORDS,
    count_text,
    dry_period,
    listed,
    of_100,
    rounded,
    volume_display,
    volume_text,
)

_MOST_NAMED = 3


def answer_sentences(result: xr.Dataset, stage: str = RISK, system: str = "us") -> list[str]:
    """Which plan keeps which field at how much water, and what the limits leave open.

    Parameters
    ----------
    result : of ``summarize``; with draws the odds and limits are theirs.
    stage : the stage that must not come, such as "dormant".
    system : "us" or "metric".
    """
    first = best_sentences(result, stage, system)
    return [*first, *_open_sentences(result, best_plan(result, stage), stage)] if first else []


def best_sentences(result: xr.Dataset, stage: str = RISK, system: str = "us") -> list[str]:
    """The best plan with its water, and how fields compare that are alike but for one thing; empty
    without turf.
    """
    keeps = kept_fields(result, stage)
    if not keeps.sizes["field"]:
        return []
    plan = best_plan(result, stage)
    pairs = alternatives_of(result.attrs, _keys(result, "field"))
    out = [_best_sentence(result, keeps, plan, stage, system, is_sum=not pairs)]
    if text := _drier_sentence(result, keeps, plan, system):
        out.append(text)
    if not np.isfinite(water(result)[0].sel(plan=plan).values).all():
        return out
    out += [_compared_sentence(result, pair, plan, system) for pair in pairs[:_MOST_NAMED]]
    if len(pairs) > _MOST_NAMED:
        out[-1] += f" {len(pairs) - _MOST_NAMED} more such comparisons are in the table."
    return out


def _best_sentence(
    result: xr.Dataset,
    keeps: xr.DataArray,
    plan: str,
    stage: str,
    system: str,
    is_sum: bool,
) -> str:
    fields = _keys(keeps, "field")
    kept = _kept_under(keeps, plan)
    limit, label = limit_text(stage), _label(result, "plan", plan)
    if not kept:
        p = odds(result, stage)[0]
        shares = listed([
            f"{of_100(p.sel(field=key, plan=plan).item())}{' of 100 years' if i == 0 else ''} on "
            f"{_label(result, 'field', key)}"
            for i, key in enumerate(fields[:_MOST_NAMED])
        ])  # fmt: skip
        return (
            f"No plan keeps a field ({limit}). The best of them is {label}: {STAGE_WORDS[stage]} "
            f"in {shares}."
        )
    amount = (
        _site_text(result, plan, system, len(kept) < len(fields))
        if is_sum
        else _by_field_text(result, plan, system)
    )
    others = int((keeps.sel(field=kept).all("field")).sum()) - 1
    text = f"{label} keeps {_fields_text(result, kept, len(fields))} ({limit})"
    if others == 0:
        text += f" and needs {amount}"
    elif plan == _driest(result, keeps, plan):
        text += f" with the least water of the {others + 1} plans that do: {amount}"
    else:
        text += f" with {amount}"
    if lost := [key for key in fields if key not in kept]:
        names = [_label(result, "field", key) for key in lost[:_MOST_NAMED]]
        more = [f"{len(lost) - _MOST_NAMED} more"] if len(lost) > _MOST_NAMED else []
        by_none = "is kept by none" if len(lost) == 1 else "are kept by none"
        by_others = bool(keeps.sel(field=lost).any("plan").any())
        text += (
            f". No plan keeps every field; {listed([*names, *more])} "
            f"{'would need another plan' if by_others else by_none}"
        )
    return f"{text}."


def _site_text(result: xr.Dataset, plan: str, system: str, keeps_some: bool) -> str:
    """``2.53 Mgal in a typical year, 3.09 in a 1-in-10 dry year``, of all fields."""
    volumes = [one.sel(plan=plan) for one in site_water(result) if one is not None]
    unit = volume_display(volumes, system, 2)
    if np.isnan(volumes[0].item()):
        return "an amount of water that the file does not hold"
    texts = [volume_text(one.item(), unit) for one in volumes]
    text = f"{texts[0]} {unit.unit} in a typical year"
    if len(texts) > 1:
        text += f", {texts[1]} in a 1-in-{dry_period(result):g} dry year"
    if keeps_some:
        # Volumes are of the whole site, those of fields that the plan loses among them.
        text += f", {_fields_text(result, _keys(result, 'field'), result.sizes['field'])} together"
    return text


def _by_field_text(result: xr.Dataset, plan: str, system: str) -> str:
    """Volumes of each field on its own, typical year and dry year."""
    per_mm = result["area_m2"] / 1000.0
    mean, dry = ((one * per_mm).sel(plan=plan) for one in water(result))
    unit = volume_display([mean, dry], system, 2)
    parts = []
    fields = _keys(result, "field")
    for i, key in enumerate(fields[:_MOST_NAMED]):
        typical, worst = (volume_text(one.sel(field=key).item(), unit) for one in (mean, dry))
        words = ("", "") if i else (
            f" {unit.unit} in a typical year", f" in a 1-in-{dry_period(result):g} dry year"
        )  # fmt: skip
        parts.append(f"{typical}{words[0]} ({worst}{words[1]}) on {_label(result, 'field', key)}")
    more = len(fields) - _MOST_NAMED
    return listed(parts) + (f"; {more} more in the table" if more > 0 else "")


def _driest(result: xr.Dataset, keeps: xr.DataArray, plan: str) -> str:
    """The plan with the least water of those that keep what ``plan`` keeps."""
    same = keeps.sel(field=_kept_under(keeps, plan)).all("field")
    volume = site_water(result)[0].where(same.transpose("plan").values, np.inf)
    return str(volume["plan"].values[int(np.argmin(volume.fillna(np.inf).values))])


def _drier_sentence(result: xr.Dataset, keeps: xr.DataArray, plan: str, system: str) -> str:
    """Why a drier plan that keeps the same fields is not the best; "" where there is none."""
    kept = _kept_under(keeps, plan)
    other = _driest(result, keeps, plan)
    if not kept or other == plan or not has_days_below(result):
        return ""
    volume = site_water(result)[0]
    saved = volume.sel(plan=plan) - volume.sel(plan=other)
    unit = volume_display([saved], system, 2)
    days = days_below(result)[0].mean("field")
    more = days.sel(plan=other).item() - days.sel(plan=plan).item()
    return (
        f"{_label(result, 'plan', other)} would keep {'it' if len(kept) == 1 else 'them'} with "
        f"{volume_text(saved.item(), unit)} {unit.unit} less, but has {_days_text(more, 'more')} "
        "below playing condition a year."
    )


def _compared_sentence(result: xr.Dataset, pair: Alternatives, plan: str, system: str) -> str:
    """What the others of ``pair`` take and lose more than the one with the least water."""
    depth = shown("mm", system)
    taken = water(result)[0].sel(plan=plan)
    first = min(pair.fields, key=lambda key: float(taken.sel(field=key)))
    parts = []
    for i, key in enumerate(one for one in pair.fields if one != first):
        more = (taken.sel(field=key) - taken.sel(field=first)).item() * depth.factor
        than = "" if i else f" in a typical year than {_label(result, 'field', first)}"
        amount = rounded(more, depth.decimals)
        text = f"{amount} {depth.unit} more water" if float(amount) else "as much water"
        parts.append(
            f"{_label(result, 'field', key)} takes {text}{than}"
            f"{_more_days(result, key, first, plan)}"
        )
    return (
        f"Alike but for the {pair.differ_in}, under {_label(result, 'plan', plan)}: "
        f"{'; '.join(parts)}."
    )


def _more_days(result: xr.Dataset, field: str, other: str, plan: str) -> str:
    """``and has 12 more days below playing condition (in 16 of 16 draws)``; "" without turf."""
    if not has_days_below(result):
        return ""
    days = days_below(result)[0].sel(plan=plan)
    more = days.sel(field=field).item() - days.sel(field=other).item()
    if np.isnan(more):
        return ""
    if not round(more):
        return " and has as many days below playing condition"
    text = f" and has {_days_text(abs(more), 'more' if more > 0.0 else 'fewer')} below playing "
    text += "condition"
    if "doubt_better" in result:
        one, than = (other, field) if more > 0.0 else (field, other)
        share = result["doubt_better"].sel(plan=plan, field=one, other_field=than).item()
        count = draws_text(result, share)
        tie = ", a tie counts half" if "." in count else ""
        text += f" ({'more' if more > 0.0 else 'fewer'} in {count}{tie})"
    return text


def _days_text(days: float, more: str) -> str:
    return count_text(round(days), f"{more} day")


def _open_sentences(result: xr.Dataset, plan: str, stage: str) -> Iterator[str]:
    """Which limits lie on both sides of what keeps a field, those of the answer first."""
    fields = _keys(kept_fields(result, stage), "field")
    _, low, high = (one.sel(field=fields) for one in odds(result, stage))
    # Limits that print as the limit itself are taken to keep it.
    open_yet = (low <= KEEPS) & (high >= KEEPS + 0.005)
    n = len(fields)
    if unsure := [key for key in fields if bool(open_yet.sel(field=key, plan=plan))]:
        cause = "the soil and grass" if "doubt_probability" in result else "chance in the years"
        yield (
            f"That is not certain: depending on {cause}, {STAGE_WORDS[stage]} under "
            f"{_label(result, 'plan', plan)} may come more often on "
            f"{_fields_text(result, unsure, n)}."
        )
    by_plans: dict[tuple[str, ...], list[str]] = {}
    for field in fields:
        plans = tuple(
            key for key in _keys(result, "plan")
            if key != plan and bool(open_yet.sel(field=field, plan=key))
        )  # fmt: skip
        if plans:
            by_plans.setdefault(plans, []).append(field)
    if by_plans:
        parts = [
            f"on {_fields_text(result, fields_alike, n)}: "
            f"{listed([_label(result, 'plan', key) for key in plans])}"
            for plans, fields_alike in by_plans.items()
        ]
        yield f"Limits too wide to decide {'; '.join(parts)}."


def _kept_under(keeps: xr.DataArray, plan: str) -> list[str]:
    return [key for key in _keys(keeps, "field") if bool(keeps.sel(field=key, plan=plan))]


def _fields_text(result: xr.Dataset, fields: Sequence[str], n: int) -> str:
    """``both fields``, ``all 3 fields``, ``“Stadium”``."""
    if n > 1 and len(fields) == n:
        return "both fields" if n == 2 else f"all {count_text(n, 'field')}"
    return listed([_label(result, "field", key) for key in fields])


def _keys(kept: xr.Dataset | xr.DataArray, dim: str) -> list[str]:
    return [str(key) for key in kept[dim].values]


def _label(result: xr.Dataset, dim: str, key: str) -> str:
    return f"“{result[f'{dim}_label'].sel({dim: key}).item()}”"
