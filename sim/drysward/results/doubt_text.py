"""What is not known, in words: the same at a terminal and on a page. Nothing is computed here.

A Dataset here is one of ``doubt_answers``, or a result that keeps it, with the labels of fields
and plans.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import xarray as xr

from drysward.results.odds import wilson_limits
from drysward.results.text import UNKNOWN, listed, of_100, rounded
from drysward.results.text import dry_period as dry_period

TOO_SMALL = "too small to tell from chance"

ODDS = {"wilt": "wilt", "dormant": "dormancy", "dead": "death"}
"""Stages whose odds are shown with what is not known, with their words."""

# Shares of the spread below this are not named (own choice).
LEAST_NAMED = 0.05
MOST_NAMED = 3
# Odds that draws spread over more of 0 to 1 than this say nothing (own choice).
TOO_WIDE = 0.6
# A choice stands that so many draws bear out (own choice).
STANDS = 0.9
MOST_FIELDS = 3

ENOUGH_DRAWS = 64
"""Draws from which it can be told, as a rule, what to measure first."""

LIKELY = "one run with the likely numbers of soil, turf and system"

_NOT_TOLD = "these draws cannot tell it apart"
_BELOW = "days_below_condition"


def doubt_text(p: float, low: float, high: float, distinct: bool = True) -> str:
    """Odds as a frequency with its 5 to 95% limits: ``22 of 100 years (7 to 43)``.

    ``p``, ``low``, ``high``: probabilities, 0 to 1. ``distinct``: False where the spread across
    draws is too small to tell from chance, which is then said in place of the limits. Limits that
    would print the same number twice are left out. "-" where there are no odds.
    """
    if math.isnan(p):
        return UNKNOWN
    text = f"{of_100(p)} of 100 years"
    if not distinct:
        return f"{text} (spread across draws: {TOO_SMALL})"
    if math.isnan(low) or math.isnan(high):
        return text
    limits = _limit(low), _limit(high)
    return text if limits[0] == limits[1] else f"{text} ({limits[0]} to {limits[1]})"


def _limit(p: float) -> str:
    return "<1" if 0.0 < 100.0 * p < 0.5 else f"{100.0 * p:.0f}"


def odds_with_error(p: float, error: float, independent_years: int) -> str:
    """The mean of odds over draws, of 100 years, with the sampling error of the years: ``22±3``.

    Odds of none or all have a limit, the upper or lower 90% one of so many years without draws.
    """
    if math.isnan(p):
        return UNKNOWN
    bound = float(wilson_limits(0.0, independent_years)[1])
    if p == 0.0:
        return f"<{math.ceil(100.0 * bound)}"
    if p == 1.0:
        return f">{math.floor(100.0 * (1.0 - bound))}"
    text, chance = of_100(p), f"{100.0 * error:.0f}"
    return text if chance == "0" or not text.isdigit() else f"{text}±{chance}"


def amount_with_error(one: xr.Dataset, name: str, factor: float, decimals: int) -> str:
    """The mean of days or depths over draws, with the sampling error of the years: ``25±1``."""
    text, error = (
        rounded(one[f"doubt_{name}{end}"].item() * factor, decimals) for end in ("", "_error")
    )
    return text if text == UNKNOWN or not float(error) else f"{text}±{error}"


def limits_text(low: str, high: str) -> str:
    """``7-43``; nothing where the limits print the same number twice."""
    return "" if low == high else f"{low}-{high}"


def odds_limits(one: xr.Dataset) -> str:
    """5 to 95% of odds across draws, of 100 years; nothing where they cannot be told apart."""
    low, high = (one[f"doubt_probability_{end}"].item() for end in ("low", "high"))
    if math.isnan(low) or not one["doubt_probability_distinct"].item():
        return ""
    return limits_text(rounded(100.0 * low, 0), rounded(100.0 * high, 0))


def has_doubt(result: xr.Dataset) -> bool:
    """Whether draws of what is not known were run."""
    return f"doubt_{_BELOW}" in result


def spread_texts(
    one: xr.Dataset, name: str, factor: float = 1.0, decimals: int = 0
) -> tuple[str, str, str]:
    """The mean over draws and its 5 to 95% across them; all "-" where there is none."""
    mean, low, high = (
        rounded(one[f"doubt_{name}{end}"].item() * factor, decimals)
        for end in ("", "_low", "_high")
    )
    return mean, low, high


def fields_of_turf(told: xr.Dataset) -> list[str]:
    """Fields with days below playing condition: not those without turf."""
    below = told[f"doubt_{_BELOW}"]
    has_turf = below.notnull().any("plan").values
    return [str(key) for key, has in zip(told["field"].values, has_turf, strict=True) if has]


# Notes


def draws_note(told: xr.Dataset) -> str:
    """What was drawn, and what the limits are."""
    return (
        f"mean over {told.attrs['doubt_draws']} draws of {told.attrs['doubt_numbers']} uncertain "
        "numbers of soil, turf and system, all on the same "
        f"{told.attrs['doubt_draw_years']} years; with it 5 to 95% across draws, without the "
        "chance of the years, where that can be told. More years do not narrow it, measuring does"
    )


DRAWN = (
    "numbers of turf vary together, as far as the published trials leave them open, and sands as "
    "far as they are built to specification; all others vary each within its range"
)


def between_fields(told: xr.Dataset) -> Iterator[str]:
    """Each two fields: in how many draws one has fewer days below, by plan."""
    fields = fields_of_turf(told)
    for i, one in enumerate(fields):
        for other in fields[i + 1 :]:
            shares = told["doubt_better"].sel(field=one, other_field=other)
            by_plan = ", ".join(
                f"{100.0 * shares.sel(plan=plan).item():.0f} under {_name(told, 'plan', plan)}"
                for plan in told["plan"].values
            )
            yield (
                f"{_name(told, 'field', one)} has fewer days below than "
                f"{_name(told, 'field', other)} in so many of 100 draws: {by_plan}"
            )


def spread_comes_from(of_field: xr.Dataset) -> str:
    """Where the spread of the days below comes from, and what to measure; "" without turf."""
    if not _has_turf(of_field):
        return ""
    if why := cannot_tell(of_field):
        return why
    groups = of_field["doubt_share_of_groups"]
    named = sorted(
        ((float(groups.sel(groups=key)), str(key)) for key in groups["groups"].values), reverse=True
    )
    parts = ", ".join(f"{key} {share:.0%}" for share, key in named if share >= LEAST_NAMED)
    singles = "; ".join(
        f"{measure} ({share:.0%}{f', most of it {number}' if number else ''})"
        for measure, number, share in _first(of_field)
    )
    text = f"of the spread of days below, {parts}" if parts else "no group stands out"
    return text + (f". First: {singles}" if singles else "")


def too_wide(of_field: xr.Dataset) -> str:
    """Which odds of a field spread too far over the draws to mean anything; "" when none does."""
    if not _has_turf(of_field):
        return ""
    n = of_field.sizes["plan"]
    parts = []
    for stage, word in ODDS.items():
        wide = [plan for plan in of_field["plan"].values if _is_wide(of_field, stage, plan)]
        if wide:
            names = [_name(of_field, "plan", plan) for plan in wide]
            few = len(wide) <= 2
            parts.append(f"{word} under {listed(names) if few else f'{len(wide)} of {n} plans'}")
    if not parts:
        return ""
    measures = _measures(of_field)
    return (
        f"the odds of {listed(parts)} mean nothing yet: their limits are more than "
        f"{100.0 * TOO_WIDE:.0f} of 100 years apart"
        f"{f'. Measure first: {measures}' if measures else ''}"
    )


# Sentences for who decides


def doubt_sentences(told: xr.Dataset, plan: str) -> list[str]:
    """What is not known makes of the answer under ``plan``: its odds, the choice, what to measure.

    ``plan``: the one with the fewest days below. Empty for a result without draws.
    """
    if not has_doubt(told):
        return []
    fields = fields_of_turf(told)[:MOST_FIELDS]
    if not fields:
        return []
    sentences = [_odds_sentence(told, plan, fields)]
    if told.sizes["plan"] > 1:
        sentences.append(_choice_sentence(told, plan, fields))
    sentences.append(_measure_sentence(told, fields))
    return sentences


def _odds_sentence(told: xr.Dataset, plan: str, fields: Sequence[str]) -> str:
    parts, wide = [], []
    for i, field in enumerate(fields):
        of_field = told.sel(field=field)
        one = of_field.sel(plan=plan, stage="wilt")
        p, low, high, distinct = (
            one[f"doubt_probability{end}"].item() for end in ("", "_low", "_high", "_distinct")
        )
        years = "" if i else " of 100 years"
        text = f"in {of_100(p)}{years} on {_name(told, 'field', field)}"
        if not distinct or math.isnan(low) or _limit(low) == _limit(high):
            text += f" (spread across draws: {TOO_SMALL})"
        else:
            depending = "" if i else " depending on what this soil and turf really are"
            text += f", {_limit(low)} to {_limit(high)}{depending}"
        parts.append(text)
        if _is_wide(of_field, "wilt", plan):
            wide.append(_name(told, "field", field))
    more = len(fields_of_turf(told)) - len(fields)
    text = (
        f"Over {told.attrs['doubt_draws']} draws of what is not known, wilt comes under "
        f"{_name(told, 'plan', plan)} {'; '.join(parts)}"
        f"{f'; {more} more in the tables' if more else ''}."
    )
    if wide:
        text += (
            f" On {listed(wide)} the range is so wide that the odds mean nothing until you measure."
        )
    return text


def _choice_sentence(told: xr.Dataset, plan: str, fields: Sequence[str]) -> str:
    """How the plan stands against the best of the others, over the draws."""
    days = told[f"doubt_{_BELOW}"].sel(field=fields).mean("field")
    others = [key for key in told["plan"].values if key != plan]
    other = min(others, key=lambda key: float(days.sel(plan=key)))
    shares = [told["doubt_fewer"].sel(field=f, plan=plan, other=other).item() for f in fields]
    counts = listed(
        [
            f"in {100.0 * share:.0f}{' of 100 draws' if i == 0 else ''} on "
            f"{_name(told, 'field', field)}"
            for i, (field, share) in enumerate(zip(fields, shares, strict=True))
        ]
    )
    if min(shares) >= STANDS:
        verdict = "the choice stands"
    elif 1.0 - max(shares) >= STANDS:
        verdict = "the draws speak for the other"
    else:
        verdict = "between these two, what is not known decides"
    return (
        f"{_name(told, 'plan', plan)} has fewer days below playing condition than "
        f"{_name(told, 'plan', other)}, the next, {counts}: {verdict}."
    )


def _measure_sentence(told: xr.Dataset, fields: Sequence[str]) -> str:
    by_field = {field: told.sel(field=field) for field in fields}
    texts = {field: _measures(one) for field, one in by_field.items()}
    if not any(texts.values()):
        why = next(iter(by_field.values()))
        return f"What to measure first: {cannot_tell(why) or 'no single number stands out'}."
    parts = [
        f"on {_name(told, 'field', field)} {text or _NOT_TOLD}"
        for field, text in texts.items()
    ]
    return f"What to measure first: {'; '.join(parts)}."


def _measures(of_field: xr.Dataset) -> str:
    """Up to two things to measure, "" when it cannot be told."""
    if cannot_tell(of_field):
        return ""
    different = list(dict.fromkeys(measure for measure, _, _ in _first(of_field)))
    return ", then ".join(different[:2])


def cannot_tell(of_field: xr.Dataset) -> str:
    """Why the draws do not say what to measure; "" when they do."""
    enough = (
        f"{of_field.attrs['doubt_draws']} draws cannot tell what carries the spread; run with "
        f"--draws {max(ENOUGH_DRAWS, 2 * int(of_field.attrs['doubt_draws']))}"
    )
    if "doubt_explained" not in of_field:
        return enough
    explained = of_field["doubt_explained"].item()
    if math.isnan(explained):
        return "no plan waters"
    return enough if explained < of_field.attrs["doubt_least_explained"] else ""


def _first(of_field: xr.Dataset) -> list[tuple[str, str, float]]:
    """What to measure, the number that carries over half of it or "", and its share; the largest
    first.
    """
    shares = of_field["doubt_share_of_measures"]
    numbers = of_field["doubt_share_of_numbers"]
    out = []
    for i in np.argsort(-shares.values, kind="stable")[:MOST_NAMED]:
        measure, share = str(shares["measures"].values[i]), float(shares.values[i])
        if share >= LEAST_NAMED:
            own = numbers.values * (numbers["measure"].values == measure)
            best = int(np.argmax(own))
            name = _plain(str(numbers["numbers"].values[best])) if own[best] > share / 2.0 else ""
            out.append((measure, name, share))
    return out


def _is_wide(of_field: xr.Dataset, stage: str, plan: object) -> bool:
    one = of_field.sel(plan=plan, stage=stage)
    width = one["doubt_probability_high"].item() - one["doubt_probability_low"].item()
    return bool(one["doubt_probability_distinct"].item()) and width > TOO_WIDE


def _has_turf(of_field: xr.Dataset) -> bool:
    """Whether this one field has turf."""
    return not bool(of_field[f"doubt_{_BELOW}"].isnull().all())


def _name(told: xr.Dataset, dim: str, key: object) -> str:
    names = told[f"{dim}_label"]
    return f"“{names.item() if names.ndim == 0 else names.sel({dim: key}).item()}”"


def _plain(key: str) -> str:
    """``species.tall_fescue.wilt_ks`` as people read it."""
    return key.rpartition(".")[2].replace("_", " ")
