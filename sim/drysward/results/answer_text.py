"""The answer of a comparison in sentences: which plan keeps which field, at how much water."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

import numpy as np
import xarray as xr

from drysward.quantities import Display, shown
from drysward.results.alternatives import BY_FIELD, Alternatives, alternatives_of
from drysward.results.choice import (
    KEEPS,
    RISK,
    beside_limit,
    best_plan,
    close_to_line,
    days_below,
    has_days_below,
    kept_fields,
    limit_text,
    mean_water,
    odds,
    site_water,
    water,
)
from drysward.results.dataset import PLAY
from drysward.results.doubt_text import FAR_OFF, disagree, draws_text
from drysward.results.play import hard_limits
from drysward.results.sizing_text import LIKELY
from drysward.results.text import (
    STAGE_WORDS,
    count_text,
    difference_text,
    dry_period,
    fields_text,
    holds_dry_years,
    listed,
    more_text,
    of_100,
    quoted_label,
    three_figures,
    volume_display,
)
from drysward.scenario.values import day_text

_MOST_NAMED = 4
# A difference of the means that fewer draws than this share confirm is one on average (own choice).
_MOST_DRAWS = 2.0 / 3.0
MUD_APART = "mud and hard ground are not in it"
_STATES = {
    "footprint": "footprinting", "wilt": "wilting", "dormant": "dormant", "dead": "dead",
}  # fmt: skip
# Of the years with a stage, those in which it comes outside the plan's season (own choice).
_MOST_OUTSIDE = 0.5
_SELDOM = 0.01  # death that is no rarer is named (own choice)
# Odds of dead turf when the season opens, under every plan, from which frost is named (own choice).
_FROST = 0.01
OF_FROST = "mostly of frost"
"""Said of death that comes whatever the plan does."""
PLAY_ADDS_TO = "wear and roots lost in airless soil add to"
PLAY_ADDS = f"on fields with play, {PLAY_ADDS_TO} the days below playing condition"
PLAYABLE = (
    "of all events, those on playable ground, neither hard, wet nor frozen; turf is counted in the "
    "days below"
)
"""What makes an event playable."""
_PLAY_IS_LIKELY = "of the likely soil and grass: without draws numbers of play have no range"


def play_range_text(result: xr.Dataset, where: str) -> str:
    """What the numbers of play rest on; ``where`` the limits stand, such as "in brackets"."""
    if not has_play_range(result):
        return _PLAY_IS_LIKELY
    return (
        f"with the likely numbers; {where} 5 to 95% of {result.attrs['doubt_draws']} draws of what "
        "this soil, turf and system may really be. Hardness is an estimate until you measure it: "
        "'drysward fit hardness' turns readings into settings"
    )


def unlike_limits_text(result: xr.Dataset) -> str:
    """That fields are judged hard at different limits, and what to set; "" where all are alike."""
    by_limit: dict[str, list[str]] = {}
    for key, limit in hard_limits(result).items():
        by_limit.setdefault(f"{limit:.0f}", []).append(quoted_label(result, "field", key))
    if len(by_limit) < 2:
        return ""
    parts = [f"{listed(names)} at {limit} g" for limit, names in by_limit.items()]
    return (
        f"hard ground is judged on {', on '.join(parts)}: set hard_above under [fields.KEY.play] "
        "to compare them alike"
    )


def has_play_range(result: xr.Dataset) -> bool:
    """Whether numbers of play have a range over draws; those of older files have none."""
    return f"doubt_{PLAY}longest_airless" in result


def answer_sentences(result: xr.Dataset, stage: str = RISK, system: str = "us") -> list[str]:
    """Which plan keeps which field at how much water, and whether that is certain.

    Parameters
    ----------
    result : of ``summarize``; with draws the odds and limits are theirs.
    stage : the stage that must not come, such as "dormant".
    system : "us" or "metric".
    """
    first = best_sentences(result, stage, system)
    return [*first, *_unsure_sentences(result, best_plan(result, stage), stage)] if first else []


def leading_sentences(
    result: xr.Dataset, stage: str = RISK, system: str = "us", on_page: bool = False
) -> list[str]:
    """What stands first, wherever: the best plan with its water, and that of plans which name
    fields; then how fields compare that are alike but for one thing, root zone before turf, and
    what the dearer root zone costs; empty without turf.
    """
    keeps = kept_fields(result, stage)
    if not keeps.sizes["field"]:
        return []
    plan = best_plan(result, stage)
    pairs = alternatives_of(result.attrs, _keys(result, "field"))
    out = [_best_sentence(result, keeps, plan, stage, system, len(pairs))]
    if on_page and "doubt_probability" not in result:
        # A comparison over draws may choose another plan.
        out[0] = f"With {LIKELY}: {out[0]}"
    out += [
        f"Under {quoted_label(result, 'plan', key)} all fields together take "
        f"{_site_text(result, key, system)}."
        for key in _mixed(result)
        if key in _keys(result, "plan") and key != plan
    ]
    if _knows_water(result, plan):
        by_difference: dict[str, list[Alternatives]] = {}
        for pair in pairs[:_MOST_NAMED]:
            by_difference.setdefault(pair.differ_in, []).append(pair)
        out += [_compared_sentence(result, alike, plan, system) for alike in by_difference.values()]
        if len(pairs) > _MOST_NAMED:
            more = len(pairs) - _MOST_NAMED
            out[-1] += (
                f" {count_text(more, 'more such comparison')} {'is' if more == 1 else 'are'} in "
                "the table."
            )
    if text := difference_text(result, plan):
        out.append(text)
    return out


def best_sentences(
    result: xr.Dataset, stage: str = RISK, system: str = "us", on_page: bool = False
) -> list[str]:
    """``leading_sentences``, and what else is to know of the best plan; empty without turf.

    ``on_page``: where a page, and not ``--show play``, has the numbers of play.
    """
    out = leading_sentences(result, stage, system, on_page)
    if not out:
        return []
    keeps, plan = kept_fields(result, stage), best_plan(result, stage)
    pairs = alternatives_of(result.attrs, _keys(result, "field"))
    others = (
        *(_own_best_sentences(result, pairs, stage) if _knows_water(result, plan) else ()),
        _close_sentence(result, plan, stage),
        _outside_sentence(result, plan, stage),
        _others_outside_sentence(result, plan, stage),
        _drier_sentence(result, keeps, plan, system),
        _drought_only_sentence(result, on_page) if says_what_counts(result) else "",
    )
    return [*out, *(text for text in others if text)]


def says_what_counts(result: xr.Dataset) -> bool:
    """Whether a sentence says what days below count: where root zones are compared."""
    pairs = alternatives_of(result.attrs, _keys(result, "field"))[:_MOST_NAMED]
    is_compared = any(pair.differ_in == "root zone" for pair in pairs)
    return is_compared and has_days_below(result) and _knows_water(result, best_plan(result))


def _knows_water(result: xr.Dataset, plan: str) -> bool:
    return bool(np.isfinite(water(result)[0].sel(plan=plan).values).all())


def _own_best_sentences(
    result: xr.Dataset, pairs: Sequence[Alternatives], stage: str
) -> Iterator[str]:
    """The best plan of each alternative on its own, where they are not all the same: only one of
    them is built.
    """
    fields = list(dict.fromkeys(key for pair in pairs for key in pair.fields))[:_MOST_NAMED]
    own = {key: best_plan(result.sel(field=[key]), stage) for key in fields}
    if len(set(own.values())) > 1:
        texts = [
            f"{quoted_label(result, 'plan', plan)} on {quoted_label(result, 'field', key)}"
            for key, plan in own.items()
        ]
        yield f"For each of these fields on its own, the best plan is {listed(texts)}."


def _drought_only_sentence(result: xr.Dataset, on_page: bool) -> str:
    if has_play(result):
        where = "the table “Playability”" if on_page else "--show play"
        return f"Mud and hard ground are not in the days below: see {where}."
    then = "run the scenario again with --out" if on_page else "compare with --show play"
    return f"Days below count {counted_text(result)}. Add play = {{}} to each field, then {then}."


def counted_text(result: xr.Dataset) -> str:
    """What days below playing condition count on a field without play."""
    if "opening_odds" in result:
        dead = result["opening_odds"].sel(stage="dead").min("plan")
        if bool((dead > _FROST).any()):
            return f"drought and frost: {MUD_APART}"
    return f"drought only: {MUD_APART}"


def death_text(result: xr.Dataset, plan: str) -> str:
    """How often turf dies, where it does in more than 1 of 100 years: under ``plan`` and under the
    worst one, and whether of frost; "" elsewhere.
    """
    p = odds(result, "dead")[0].dropna("field")
    parts = []
    for key in _keys(p, "field"):
        here = p.sel(field=key)
        if not bool((here > _SELDOM).any()):
            continue
        worst = str(here["plan"].values[int(np.argmax(here.values))])
        named = [plan] if float(here.sel(plan=plan)) > _SELDOM else []
        texts = [
            f"{of_100(here.sel(plan=one).item())} under {quoted_label(result, 'plan', one)}"
            f"{f', {OF_FROST}' if _is_of_frost(result, key, one) else ''}"
            for one in dict.fromkeys([*named, worst])
        ]
        parts.append(f"{quoted_label(result, 'field', key)} {', up to '.join(texts)}")
    share = share_text(result, "dead")
    counts = f" with {share} dead" if share else ""
    return f"years of 100{counts}: {'; '.join(parts)}" if parts else ""


def frost_text(result: xr.Dataset, plans: Sequence[str]) -> str:
    """Fields whose death is mostly of frost, and under which of ``plans`` where not under all;
    "" of none. ``result`` has all plans that ran.
    """
    parts = []
    for key in _keys(result, "field"):
        of = [plan for plan in plans if _is_of_frost(result, key, plan)]
        if of:
            labels = listed([quoted_label(result, "plan", plan) for plan in of])
            under = f" under {labels}" if len(of) < len(plans) else ""
            parts.append(f"{quoted_label(result, 'field', key)}{under}")
    return f"{OF_FROST}: {'; '.join(parts)}" if parts else ""


def share_text(result: xr.Dataset, stage: str) -> str:
    """``25%``: the share of the field at which a stage counts; "" of a file that does not say."""
    return f"{float(result['reached'].sel(stage=stage)):.0%}" if "reached" in result.coords else ""


def _is_of_frost(result: xr.Dataset, field: str, plan: str) -> bool:
    """Whether most death was there when the season opened, under every plan: no drought."""
    if "opening_odds" not in result:
        return False
    at = {"field": field, "stage": "dead"}
    frost = float(result["opening_odds"].sel(at).min("plan"))
    return frost > _FROST and frost >= _MOST_OUTSIDE * float(
        result["probability"].sel(at).sel(plan=plan)
    )


def has_play(result: xr.Dataset) -> bool:
    """Whether any field has play."""
    return "has_play" in result.variables and bool(result["has_play"].any())


def _best_sentence(
    result: xr.Dataset,
    keeps: xr.DataArray,
    plan: str,
    stage: str,
    system: str,
    n_pairs: int,
) -> str:
    """``n_pairs``: groups of fields that are alternatives, whose water is not added up."""
    fields = _keys(keeps, "field")
    kept = _kept_under(keeps, plan)
    limit, label = limit_text(stage), quoted_label(result, "plan", plan)
    if not kept:
        return (
            f"No plan keeps {'the' if len(fields) == 1 else 'any'} field ({limit}). The best of "
            f"them is {label}: {STAGE_WORDS[stage]} "
            f"in {_odds_by_field(result, fields, plan, stage)}."
        )
    if n_pairs > 1:
        amount = ""  # the water of each field is in the table, and their differences follow
    elif n_pairs:
        amount = _by_field_text(result, kept, plan, system)
    elif len(kept) < result.sizes["field"]:
        every = "both" if len(fields) == 2 else f"all {len(fields)}"
        amount = (
            f"{_by_field_text(result, kept, plan, system)}; {every} fields together take "
            f"{_site_text(result, plan, system)}"
        )
    else:
        amount = _site_text(result, plan, system)
    others = int((keeps.sel(field=kept).all("field")).sum()) - 1
    text = f"{label} keeps {fields_text(result, kept, len(fields))} ({limit})"
    if others and plan == _driest(result, keeps, plan):
        text += f" with the least water of the {others + 1} plans that do"
        text += f": {amount}" if amount else ""
    elif amount:
        text += f" with {amount}" if others else f" and needs {amount}"
    if lost := [key for key in fields if key not in kept]:
        text += f". No plan keeps every field; {_kept_by_others(result, keeps, lost, stage)}"
    return f"{text}."


def _kept_by_others(
    result: xr.Dataset, keeps: xr.DataArray, fields: Sequence[str], stage: str
) -> str:
    """Which plan keeps each of ``fields`` best, and those that none keeps."""
    by_plan: dict[str, list[str]] = {}
    for key in fields:
        best = best_plan(result.sel(field=[key]), stage)
        by = quoted_label(result, "plan", best) if keeps.sel(field=key, plan=best) else "none"
        by_plan.setdefault(by, []).append(quoted_label(result, "field", key))
    parts = []
    for by, names in sorted(by_plan.items(), key=lambda pair: pair[0] == "none"):
        verb = "is" if len(names) == 1 else "are"
        parts.append(f"{_listed(names)} {verb} kept by {by}")
    return "; ".join(parts)


def _listed(names: Sequence[str]) -> str:
    """Names as far as they are named, and how many more there are."""
    more = [f"{len(names) - _MOST_NAMED} more"] if len(names) > _MOST_NAMED else []
    return listed([*names[:_MOST_NAMED], *more])


def _odds_by_field(result: xr.Dataset, fields: Sequence[str], plan: str, stage: str) -> str:
    """``9 of 100 years on “Sand” and 12 on “Loam”``."""
    p = odds(result, stage)[0].sel(plan=plan)
    return listed([
        f"{beside_limit(p.sel(field=key).item())}{' of 100 years' if i == 0 else ''} on "
        f"{quoted_label(result, 'field', key)}"
        for i, key in enumerate(fields[:_MOST_NAMED])
    ])  # fmt: skip


def _close_sentence(result: xr.Dataset, plan: str, stage: str) -> str:
    """On which fields the odds are close to the limit; "" where on none."""
    near = close_to_line(result, stage).sel(plan=plan)
    fields = [key for key in _keys(near, "field") if bool(near.sel(field=key))]
    if not fields:
        return ""
    return (
        f"{STAGE_WORDS[stage].capitalize()} is close to the limit of {100.0 * KEEPS:.0f}: "
        f"{_odds_by_field(result, fields, plan, stage)}; other years may put "
        f"{'it' if len(fields) == 1 else 'them'} on the other side."
    )


def _mixed(result: xr.Dataset) -> dict[str, list[str]]:
    """Plans that are others on some fields, and these."""
    found: dict[str, list[str]] = json.loads(result.attrs.get(BY_FIELD, "{}"))
    return found


def _outside_shares(result: xr.Dataset, plan: str, stage: str) -> dict[str, xr.DataArray]:
    """Of the fields on which most of the stage comes when the plan may not water: the share of the
    years with the stage in which it does.
    """
    if "outside_odds" not in result:
        return {}
    at = {"plan": plan, "stage": stage}
    years, outside = result["probability"].sel(at), result["outside_odds"].sel(at)
    share = (outside / years.where(years > 0.0)).clip(max=1.0)
    often = odds(result, stage)[0].sel(plan=plan) >= KEEPS / 2.0
    return {
        key: share.sel(field=key) for key in _keys(share, "field")
        if bool(often.sel(field=key) & (share.sel(field=key) >= _MOST_OUTSIDE))
    }  # fmt: skip


def _others_outside_sentence(result: xr.Dataset, plan: str, stage: str) -> str:
    """Other plans of which most of the stage comes when they may not water; "" for none."""
    plans = [
        quoted_label(result, "plan", key)
        for key in _keys(result, "plan")
        if key != plan and _outside_shares(result, key, stage)
    ]
    if not plans:
        return ""
    they, their = ("they", "their") if len(plans) > 1 else ("it", "its")
    return (
        f"Most {STAGE_WORDS[stage]} under {_listed(plans)} comes when {they} may not water: "
        f"another season changes {their} odds."
    )


def _outside_sentence(result: xr.Dataset, plan: str, stage: str) -> str:
    """On which fields most of the stage comes when the plan may not water; "" where on none."""
    share = _outside_shares(result, plan, stage)
    if not share:
        return ""
    fields, at = list(share), {"plan": plan, "stage": stage}
    outside = result["outside_odds"].sel(at)
    worst = max(fields, key=lambda key: float(outside.sel(field=key)))
    day = int(result["outside_day"].sel(at).sel(field=worst)) - 1
    on = fields_text(result, fields, result.sizes["field"])
    most = f"{100.0 * share[worst].item():.0f}%"
    where = quoted_label(result, "field", worst)
    season = f" (its season is {result['plan_season'].sel(plan=plan).item()})"
    if worst in _mixed(result).get(plan, []):
        season = ""  # it is that of another plan
    text = (
        f"Most {STAGE_WORDS[stage]} on {on} comes when {quoted_label(result, 'plan', plan)} may "
        f"not water{season}: in "
        f"{'all' if most == '100%' else most} of those years "
        f"{f'{where} is' if len(fields) > 1 else 'it is'} {_STATES[stage]} on {day_text(day)}."
    )
    return text if stage == "dead" else f"{text} Try a longer season, where frost lets it water."


def _site_text(result: xr.Dataset, plan: str, system: str) -> str:
    """``2.53 Mgal in a typical year, 3.09 in a 1-in-10 dry year``, of all fields."""
    volumes = [one.sel(plan=plan) for one in site_water(result) if one is not None]
    if not holds_dry_years(result):
        del volumes[1:]
    unit = volume_display(volumes, system, 2)
    if np.isnan(volumes[0].item()):
        return "an amount of water that the file does not hold"
    texts = [_volume_text(one.item(), unit) for one in volumes]
    text = f"{texts[0]} {unit.unit} in a typical year"
    if len(texts) > 1:
        text += f", {texts[1]} in a 1-in-{dry_period(result):g} dry year"
    return text


def _by_field_text(
    result: xr.Dataset, fields: Sequence[str], plan: str, system: str
) -> str:
    """Volumes of each of ``fields`` on its own, typical year and dry year."""
    per_mm = result["area_m2"] / 1000.0
    mean, dry = ((one * per_mm).sel(plan=plan) for one in water(result))
    unit = volume_display([mean, dry], system, 2)
    if np.isnan(mean.sel(field=list(fields)).values).any():
        return "an amount of water that the file does not hold"
    parts = []
    for i, key in enumerate(fields[:_MOST_NAMED]):
        typical, worst = (_volume_text(one.sel(field=key).item(), unit) for one in (mean, dry))
        words = ("", "") if i else (
            f" {unit.unit} in a typical year", f" in a 1-in-{dry_period(result):g} dry year"
        )  # fmt: skip
        where = quoted_label(result, "field", key)
        in_dry = f" ({worst}{words[1]})" if holds_dry_years(result) else ""
        parts.append(f"{typical}{words[0]}{in_dry} on {where}")
    return listed(parts) + more_text(len(fields) - _MOST_NAMED)


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
    of_kept = (mean_water(result) * result["area_m2"] / 1000.0).sel(field=kept).sum("field")
    saved = of_kept.sel(plan=plan) - of_kept.sel(plan=other)
    if not saved.item() > 0.0:
        return ""
    unit = volume_display([saved], system, 2)
    days = days_below(result)[0].mean("field")
    more = days.sel(plan=other).item() - days.sel(plan=plan).item()
    if not round(more):
        return ""
    them = quoted_label(result, "field", kept[0]) if len(kept) == 1 else "them"
    return (
        f"{quoted_label(result, 'plan', other)} would keep {them} with "
        f"{_volume_text(saved.item(), unit)} {unit.unit} less, but has {_days_text(more, 'more')} "
        "below playing condition a year."
    )


def _compared_sentence(
    result: xr.Dataset, pairs: Sequence[Alternatives], plan: str, system: str
) -> str:
    """What the others of each of ``pairs`` take and lose more than the one with the least water.

    All ``pairs`` differ in the same.
    """
    depth = shown("mm", system)
    taken = water(result)[0].sel(plan=plan)
    parts: list[str] = []
    for pair in pairs:
        first = min(pair.fields, key=lambda key: float(taken.sel(field=key)))
        for key in (one for one in pair.fields if one != first):
            more = (taken.sel(field=key) - taken.sel(field=first)).item() * depth.factor
            amount = three_figures(more, depth.decimals)
            text = f"{amount} {depth.unit} more water" if float(amount) else "as much water"
            text += "" if parts else " in a typical year"
            than = "than" if float(amount) else "as"
            parts.append(
                f"{quoted_label(result, 'field', key)} takes {text} {than} "
                f"{quoted_label(result, 'field', first)}"
                f"{_more_days(result, key, first, plan, is_first=not parts)}"
            )
    part = pairs[0].differ_in
    part += next((f" and {pair.along}" for pair in pairs if pair.along), "")
    return (
        f"Alike but for the {part}, under {quoted_label(result, 'plan', plan)}: "
        f"{'; '.join(parts)}."
    )


def _more_days(result: xr.Dataset, field: str, other: str, plan: str, is_first: bool) -> str:
    """``and has 12 more days below playing condition (in 16 of 16 draws)``; "" without turf."""
    if not has_days_below(result):
        return ""
    days = days_below(result)[0].sel(plan=plan)
    more = days.sel(field=field).item() - days.sel(field=other).item()
    if np.isnan(more):
        return ""
    below = " below playing condition" if is_first else ""
    if not round(more):
        return f" and has as many days{below}"
    word = "more" if more > 0.0 else "fewer"
    text = f"{_days_text(abs(more), word)}{below}"
    if "doubt_better" not in result:
        return f" and has {text}"
    one, than = (other, field) if more > 0.0 else (field, other)
    share = result["doubt_better"].sel(plan=plan, field=one, other_field=than).item()
    count = draws_text(result, share)
    tie = ", a tie counts half" if "." in count else ""
    if share < _MOST_DRAWS:
        why = f"; {FAR_OFF}" if disagree(share, -abs(more)) else ""
        return f" and has on average {text} ({word} in only {count}{tie}{why})"
    return f" and has {text} ({word} in {count}{tie})"


def _volume_text(value_m3: float, unit: Display) -> str:
    return three_figures(value_m3 * unit.factor, unit.decimals)


def _days_text(days: float, more: str) -> str:
    return count_text(round(days), f"{more} day")


def _unsure_sentences(result: xr.Dataset, plan: str, stage: str) -> Iterator[str]:
    """Whether the limits of a field that the best plan keeps reach beyond what keeps it."""
    keeps = kept_fields(result, stage)
    open_yet = _open_yet(result, stage)
    n = keeps.sizes["field"]
    kept = _kept_under(keeps, plan)
    if unsure := [key for key in kept if bool(open_yet.sel(field=key, plan=plan))]:
        cause = "the soil and grass" if "doubt_probability" in result else "chance in the years"
        yield (
            f"What {quoted_label(result, 'plan', plan)} keeps is not certain: depending on "
            f"{cause}, {STAGE_WORDS[stage]} may come more often on "
            f"{fields_text(result, unsure, n)}."
        )


def undecided_text(result: xr.Dataset, stage: str = RISK) -> str:
    """Under which plans the limits do not say whether they keep a field, the best plan first; ""
    for none.
    """
    plan, fields = best_plan(result, stage), _keys(kept_fields(result, stage), "field")
    if not fields:
        return ""
    open_yet = _open_yet(result, stage)
    by_plans: dict[tuple[str, ...], list[str]] = {}
    for field in fields:
        plans = tuple(
            key for key in sorted(_keys(result, "plan"), key=lambda key: key != plan)
            if bool(open_yet.sel(field=field, plan=key))
        )  # fmt: skip
        if plans:
            by_plans.setdefault(plans, []).append(field)
    if not by_plans:
        return ""
    parts = [
        f"on {fields_text(result, alike, len(fields))}: "
        f"{listed([quoted_label(result, 'plan', key) for key in plans])}"
        for plans, alike in by_plans.items()
    ]
    return (
        f"the limits of {STAGE_WORDS[stage]} reach below and above {100.0 * KEEPS:.0f} of 100 "
        f"years {'; '.join(parts)}"
    )


def _open_yet(result: xr.Dataset, stage: str) -> xr.DataArray:
    """Whether the limits lie on both sides of what keeps a field (field, plan)."""
    fields = _keys(kept_fields(result, stage), "field")
    _, low, high = (one.sel(field=fields) for one in odds(result, stage))
    # Limits that print as the limit itself are taken to keep it.
    return (low <= KEEPS) & (high >= KEEPS + 0.005)


def _kept_under(keeps: xr.DataArray, plan: str) -> list[str]:
    return [key for key in _keys(keeps, "field") if bool(keeps.sel(field=key, plan=plan))]


def _keys(kept: xr.Dataset | xr.DataArray, dim: str) -> list[str]:
    return [str(key) for key in kept[dim].values]
