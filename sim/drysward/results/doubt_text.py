"""Uncertainty of soil, grass and system in words, for the terminal and the page.

A Dataset here is one of ``doubt_answers``, or a result that holds it, with the labels of fields
and plans. Nothing is computed here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
import xarray as xr

from drysward.results.choice import CLOSE_DAYS, RISK, kept_fields
from drysward.results.odds import wilson_limits
from drysward.results.text import (
    UNKNOWN,
    all_text,
    listed,
    more_text,
    none_text,
    of_100,
    rounded,
)
from drysward.results.text import dry_period as dry_period

TOO_SMALL = "no larger than chance"

ODDS = {"wilt": "wilt", "dormant": "dormancy", "dead": "death"}
"""Stages whose odds are shown with their uncertainty, and their words."""

# Shares of the spread below this are not named (own choice).
LEAST_NAMED = 0.05
MOST_NAMED = 3
# Odds whose limits are further apart than this decide nothing (own choice).
TOO_WIDE = 0.6
# A choice stands that this share of the draws confirms (own choice).
STANDS = 0.9
FAR_OFF = "a few draws lie far off"
"""Why a mean over the draws and a count of them disagree (``disagree``)."""
STANDS_TEXT = (
    f"a choice that fewer than {10.0 * STANDS:.0f} in 10 draws confirm is too close to call"
)
MOST_FIELDS = 6

ENOUGH_DRAWS = 64
"""Draws that are enough, as a rule, to say what to measure first."""

LIKELY = "one run with the likely numbers of soil, grass and system"

OPEN = "no single number stands out"
_BELOW = "days_below_condition"


def doubt_text(p: float, low: float, high: float, distinct: bool = True) -> str:
    """Odds as a frequency with its 5 to 95% limits: ``22 of 100 years (7 to 43)``.

    ``p``, ``low``, ``high``: probabilities, 0 to 1. ``distinct``: False where the spread across
    draws is no larger than chance, which then replaces the limits. Limits that print the same
    number twice are left out. "-" where there are no odds.
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
    """Odds of 100 years with the sampling error of the years: ``22±3``.

    Odds of none or all with their 90% limit from so many years: ``none (at most 2)``.
    """
    if math.isnan(p):
        return UNKNOWN
    if p in (0.0, 1.0):
        bound = math.ceil(100.0 * float(wilson_limits(0.0, independent_years)[1]))
        return none_text(bound) if p == 0.0 else all_text(100 - bound)
    text, chance = of_100(p), f"{100.0 * error:.0f}"
    return text if chance == "0" or not text.isdigit() else f"{text}±{chance}"


def limits_text(low: str, high: str) -> str:
    """``7-43``; "" where both limits print the same."""
    return "" if low == high else f"{low}-{high}"


def has_doubt(result: xr.Dataset) -> bool:
    """Whether draws of the uncertain numbers were run."""
    return f"doubt_{_BELOW}" in result


def spread_texts(
    one: xr.Dataset,
    name: str,
    factor: float = 1.0,
    decimals: int = 0,
    in_text: Callable[[float, int], str] = rounded,
) -> tuple[str, str, str]:
    """The mean over draws and its 5 to 95% across them; all "-" where there is none."""
    mean, low, high = (
        in_text(one[f"doubt_{name}{end}"].item() * factor, decimals)
        for end in ("", "_low", "_high")
    )
    return mean, low, high


def fields_of_turf(found: xr.Dataset) -> list[str]:
    """Fields with days below playing condition: not those without turf."""
    below = found[f"doubt_{_BELOW}"]
    has_turf = below.notnull().any("plan").values
    return [str(key) for key, has in zip(found["field"].values, has_turf, strict=True) if has]


def draws_text(found: xr.Dataset, share: float) -> str:
    """``63 of 64 draws``: a share of the draws as they were counted."""
    return f"{count_of_draws(found, share)} of {found.attrs['doubt_draws']} draws"


def disagree(share: float, more_days: float) -> bool:
    """Whether means and draws disagree on which of two has fewer days: ``share`` of the draws in
    which the first has, and how many more days its mean has as it is shown.
    """
    return (share - 0.5) * more_days > 0.0


def count_of_draws(found: xr.Dataset, share: float) -> str:
    """``63``: how many draws a share is; a tie counts half, ``62.5``."""
    return UNKNOWN if math.isnan(share) else f"{round(2.0 * share * _draws(found)) / 2.0:g}"


def _draws(found: xr.Dataset) -> int:
    return int(found.attrs["doubt_draws"])


# Notes


def draws_note(found: xr.Dataset) -> str:
    """What was drawn, and what the limits cover."""
    return (
        f"mean over {found.attrs['doubt_draws']} draws of {found.attrs['doubt_numbers']} uncertain "
        "numbers of soil, grass and system, all on the same "
        f"{found.attrs['doubt_draw_years']} years, and 5 to 95% across the draws without the "
        "sampling error of the years. More years do not narrow these limits; measuring does"
    )


DRAWN = (
    "numbers of the turf vary together, as the published trials allow, and those of sand as its "
    "specification allows; all others vary each within its range"
)


def between_fields(found: xr.Dataset) -> Iterator[str]:
    """Each two fields: in how many draws one has fewer days below, by plan."""
    fields = fields_of_turf(found)
    for i, one in enumerate(fields):
        for other in fields[i + 1 :]:
            shares = found["doubt_better"].sel(field=one, other_field=other)
            by_plan = ", ".join(
                f"{count_of_draws(found, shares.sel(plan=plan).item())} under "
                f"{_name(found, 'plan', plan)}"
                for plan in found["plan"].values
            )
            yield (
                f"of {found.attrs['doubt_draws']} draws, those in which "
                f"{_name(found, 'field', one)} has fewer days below than "
                f"{_name(found, 'field', other)}: {by_plan}"
            )


def spread_comes_from(of_field: xr.Dataset) -> str:
    """Where the spread of the days below comes from, and what to measure; "" without turf."""
    if not _has_turf(of_field):
        return ""
    if why := why_no_measure(of_field):
        return why
    groups = of_field["doubt_share_of_groups"]
    named = sorted(
        ((float(groups.sel(groups=key)), str(key)) for key in groups["groups"].values), reverse=True
    )
    parts = ", ".join(f"{key} {share:.0%}" for share, key in named if share >= LEAST_NAMED)
    singles = "; ".join(
        f"{measure} ({share:.0%}{f', most of it for the {number}' if number else ''})"
        for measure, number, share in _first(of_field)
    )
    text = f"spread of days below: {parts}" if parts else "no group stands out"
    return text + (f". First: {singles}" if singles else "")


def too_wide(of_field: xr.Dataset) -> str:
    """Which odds of a field have limits too wide to decide anything; "" when none."""
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
    measures = measures_first(of_field)
    return (
        f"the limits on {listed(parts)} are too wide to decide: more than "
        f"{100.0 * TOO_WIDE:.0f} of 100 years apart"
        f"{f'. Measure first: {measures}' if measures else ''}"
    )


# Sentences for the one who decides


def doubt_sentences(found: xr.Dataset, plan: str, stage: str = RISK) -> list[str]:
    """The answer under ``plan`` with its uncertainty: its odds, the choice, what to measure.

    ``plan``: of ``best_plan`` with this ``stage``. Empty for a result without draws.
    """
    if not has_doubt(found):
        return []
    fields = fields_of_turf(found)[:MOST_FIELDS]
    if not fields:
        return []
    sentences = [_odds_sentence(found, plan, fields)]
    if found.sizes["plan"] > 1:
        sentences.append(choice_sentence(found, plan, stage))
    sentences.append(f"What to measure first: {measure_text(found)}.")
    return sentences


def _odds_sentence(found: xr.Dataset, plan: str, fields: Sequence[str]) -> str:
    parts, wide = [], []
    for i, field in enumerate(fields):
        of_field = found.sel(field=field)
        one = of_field.sel(plan=plan, stage="wilt")
        p, low, high, distinct = (
            one[f"doubt_probability{end}"].item() for end in ("", "_low", "_high", "_distinct")
        )
        years = "" if i else " of 100 years"
        text = f"in {of_100(p)}{years} on {_name(found, 'field', field)}"
        if not distinct or math.isnan(low) or _limit(low) == _limit(high):
            text += f" (spread across draws: {TOO_SMALL})"
        else:
            depending = "" if i else " depending on what this soil and grass really are"
            text += f", {_limit(low)} to {_limit(high)}{depending}"
        parts.append(text)
        if _is_wide(of_field, "wilt", plan):
            wide.append(_name(found, "field", field))
    more = len(fields_of_turf(found)) - len(fields)
    text = (
        f"Across {found.attrs['doubt_draws']} draws of the uncertain numbers, wilt comes under "
        f"{_name(found, 'plan', plan)} {'; '.join(parts)}"
        f"{more_text(more)}."
    )
    if wide:
        text += (
            f" On {listed(wide)} the range is too wide to decide until you measure."
        )
    return text


def choice_sentence(found: xr.Dataset, plan: str, stage: str = RISK) -> str:
    """How the best plan compares, across the draws, with the other that has the fewest days below;
    "" without turf or another plan.

    ``plan``: of ``best_plan`` with this ``stage``.
    """
    turf = fields_of_turf(found)
    others = [str(key) for key in found["plan"].values if key != plan]
    if not turf or not others:
        return ""
    days = found[f"doubt_{_BELOW}"].sel(field=turf).mean("field")
    other = min(others, key=lambda key: float(days.sel(plan=key)))
    first, next_one = plan, other
    if is_ahead := float(days.sel(plan=other)) < float(days.sel(plan=plan)):
        first, next_one = other, plan
    fields = turf[:MOST_FIELDS]
    shares = [
        found["doubt_fewer"].sel(field=f, plan=first, other=next_one).item() for f in fields
    ]
    text = _fewer_text(found, (first, next_one), fields, shares, "" if is_ahead else ", the next")
    if not is_ahead:
        return f"{text}: {_verdicts(found, fields, shares)}."
    if min(shares) < 0.5:
        text += f"; {_name(found, 'plan', first)} has fewer on average"
    kept = kept_fields(found, stage).sum("field")
    if int(kept.sel(plan=other)) < int(kept.sel(plan=plan)):
        return f"{text}, but keeps fewer fields."
    return f"{text}, but takes more water for less than {CLOSE_DAYS:.0f} days a year."


def _fewer_text(
    found: xr.Dataset,
    plans: tuple[str, str],
    fields: Sequence[str],
    shares: Sequence[float],
    rank: str,
) -> str:
    """Which of two plans has fewer days below, field by field, each with the draws that say so.

    ``shares``: of the draws in which the first of ``plans`` has fewer. ``rank``: what the second is
    to the first, such as ", the next".
    """
    one, other = (_name(found, "plan", plan) for plan in plans)
    named = list(zip(fields, shares, strict=True))
    ways = (
        (f"{one} has fewer days below playing condition than {other}{rank}",
         [(field, share) for field, share in named if share >= 0.5]),
        (f"{other} has fewer days below playing condition than {one}",
         [(field, 1.0 - share) for field, share in named if share < 0.5]),
    )  # fmt: skip
    parts: list[str] = []
    for text, counted in ways:
        if not counted:
            continue
        counts = [
            f"in {count_of_draws(found, share) if i or parts else draws_text(found, share)} on "
            f"{_name(found, 'field', field)}"
            for i, (field, share) in enumerate(counted)
        ]
        parts.append(f"{f'{other} has fewer' if parts else f'{text},'} {listed(counts)}")
    is_tied = any("." in count_of_draws(found, share) for share in shares)
    text = "; ".join(parts) + (" (a tie counts half)" if is_tied else "")
    days = found[f"doubt_{_BELOW}"].sel(plan=list(plans)).round()
    more = {field: np.subtract(*days.sel(field=field).transpose("plan").values) for field in fields}
    if apart := [_name(found, "field", field) for field, s in named if disagree(s, more[field])]:
        text += f"; the means on {listed(apart)} say the opposite, since {FAR_OFF}"
    return text


def _verdicts(found: xr.Dataset, fields: Sequence[str], shares: Sequence[float]) -> str:
    """Whether a choice stands, by field where fields differ; ``shares`` of draws that confirm it.

    ``the choice stands``; ``on “Stadium” the choice stands; on ... it is too close to call``.
    """
    by_verdict: dict[str, list[str]] = {}
    for field, share in zip(fields, shares, strict=True):
        by_verdict.setdefault(_verdict(share), []).append(_name(found, "field", field))
    if len(by_verdict) == 1:
        return next(iter(by_verdict))
    return "; ".join(f"on {listed(names)} {verdict}" for verdict, names in by_verdict.items())


def _verdict(share: float) -> str:
    if share >= STANDS:
        return "the choice stands"
    return "the draws favor the other" if 1.0 - share >= STANDS else "it is too close to call"


def measure_text(found: xr.Dataset, or_why: bool = True) -> str:
    """What to measure first, field by field; why the draws do not say it, or "" without
    ``or_why``. "" without turf.
    """
    by_field = {field: found.sel(field=field) for field in fields_of_turf(found)[:MOST_FIELDS]}
    texts = {field: measures_first(one) for field, one in by_field.items()}
    if not any(texts.values()):
        why = next(iter(by_field.values()), None)
        if why is None or not or_why:
            return ""
        return why_no_measure(why) or OPEN
    by_text: dict[str, list[str]] = {}
    for field, text in texts.items():
        by_text.setdefault(text or OPEN, []).append(_name(found, "field", field))
    return "; ".join(f"on {listed(names)} {text}" for text, names in by_text.items())


def measures_first(of_field: xr.Dataset) -> str:
    """Up to two things to measure that narrow the spread most; "" when the draws do not say."""
    if why_no_measure(of_field):
        return ""
    different = list(dict.fromkeys(measure for measure, _, _ in _first(of_field)))
    return ", then ".join(different[:2])


def why_no_measure(of_field: xr.Dataset) -> str:
    """Why the draws do not say what to measure; "" where they do."""
    enough = (
        f"{of_field.attrs['doubt_draws']} draws are too few to say; run with "
        f"--draws {max(ENOUGH_DRAWS, 2 * int(of_field.attrs['doubt_draws']))}"
    )
    if "doubt_explained" not in of_field:
        return enough
    explained = of_field["doubt_explained"].item()
    if math.isnan(explained):
        return "no plan waters"
    return enough if explained < of_field.attrs["doubt_least_explained"] else ""


def _first(of_field: xr.Dataset) -> list[tuple[str, str, float]]:
    """What to measure, what the number behind over half of it is or "", and its share of the
    spread; the largest first.
    """
    shares = of_field["doubt_share_of_measures"]
    numbers = of_field["doubt_share_of_numbers"]
    out = []
    for i in np.argsort(-shares.values, kind="stable")[:MOST_NAMED]:
        measure, share = str(shares["measures"].values[i]), float(shares.values[i])
        if share >= LEAST_NAMED:
            own = numbers.values * (numbers["settled_by"].values == measure)
            best = int(np.argmax(own))
            key, meaning = (str(numbers[of].values[best]) for of in ("numbers", "meaning"))
            # The same number of two grounds varies together: either may stand for both.
            is_named = own[best] > share / 2.0 and not key.endswith(("_sand", "_native"))
            out.append((measure, _as_clause(meaning) if is_named else "", share))
    return out


def _is_wide(of_field: xr.Dataset, stage: str, plan: object) -> bool:
    one = of_field.sel(plan=plan, stage=stage)
    width = one["doubt_probability_high"].item() - one["doubt_probability_low"].item()
    return bool(one["doubt_probability_distinct"].item()) and width > TOO_WIDE


def _has_turf(of_field: xr.Dataset) -> bool:
    """Whether this one field has turf."""
    return not bool(of_field[f"doubt_{_BELOW}"].isnull().all())


def _name(found: xr.Dataset, dim: str, key: object) -> str:
    names = found[f"{dim}_label"]
    return f"“{names.item() if names.ndim == 0 else names.sel({dim: key}).item()}”"


def _as_clause(meaning: str) -> str:
    """A meaning of one sentence inside another; "" of several numbers that err together, of which
    the measurement says what they have in common.
    """
    if ". " in meaning:
        return ""
    return f"{meaning[:1].lower()}{meaning[1:]}".rstrip(".")
