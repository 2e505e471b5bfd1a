"""The least size of a supply in words, for the terminal and the page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from drysward.quantities import Display, shown
from drysward.results.text import (
    listed,
    mean_year_text,
    rounded,
    spell_text,
    volume_display,
    year_text,
)
from drysward.scenario.choices import ANY_FIELD

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario, Sought

NOTHING = "nothing suffices"
DRAWS = "Draws"
MM_PER_FOOT = 304.8
LIKELY = "the likely soil and grass"
# Years that fail are named up to so many (own choice).
_MOST_NAMED = 10
# With fewer draws the 95% rests on the one or two that need most (own choice).
MANY_DRAWS = 64
# Of the confidences, the one that an answer begins with (own choice).
SURE = 0.8
Shares = list[tuple[str, float]]


SIZE_COSTS = {
    "first_cost": "first cost of the storage",
    "yearly_cost": "yearly cost",
    "present_cost": "present cost",
}
"""Heading of each cost of a size. Of all that is built the storage alone is in it: the first cost
of a site has fields and systems too.
"""


def size_cost_text(one: xr.Dataset) -> str:
    """``first cost of the storage 89,844, yearly cost 1,306``, of one case of a sizing."""
    return ", ".join(
        f"{title} {rounded(one[f'sizing_{name}'].item(), 0)}"
        for name, title in SIZE_COSTS.items()
        if f"sizing_{name}" in one
    )


def priced_text(supply: xr.Dataset) -> str:
    """What the costs of sizes include."""
    parts = [f"Yearly: water and energy of {mean_year_text(supply.attrs)}"]
    if "sizing_first_cost" in supply:
        parts.append("first: storage at its price")
    if "sizing_present_cost" in supply:
        parts.append("present: both over the life")
    return f"{'; '.join(parts)}. Wells, mains and catchments are not priced"


def again_text(supply: xr.Dataset, system: str) -> str:
    """From which larger size on too many years fail again, and why; "" where none does."""
    again = supply["sizing_fails_from"]
    if math.isnan(again.item()):
        return ""
    text = f"from {size_text(again, system)} on too many years fail again"
    why = str(again.attrs.get("why", ""))
    return f"{text}. In the years that fail only then: {why}" if why else text


def limits_text(low: str, high: str) -> str:
    """Sizes that the sampling error of the years leaves open, after the least."""
    if low == high:
        return " (other years of the same weather would ask for the same)"
    return f" (90% limits {low} to {high})"


def size_text(values: xr.DataArray, system: str, of: xr.DataArray | None = None) -> str:
    """A size with its unit; in millions of gallons where it, or any of ``of``, reaches one."""
    value = values.item()
    if math.isnan(value):
        return "none"
    if math.isinf(value):
        return "no limit"
    unit = size_display(values if of is None else of, system)
    return f"{rounded(value * unit.factor, unit.decimals)} {unit.unit}"


def named_size(sought: Sought) -> str:
    """``storage``, ``source rate of well``, ``allowance of mains a month``."""
    of = f" of {sought.of}" if sought.of else ""
    return f"{sought.what}{of}" + (f" a {sought.per}" if sought.what == "allowance" else "")


_OUTCOMES = {"dead": "death", "dormant": "dormancy", "footprint": "footprinting", "wilt": "wilt"}


def goal_text(scenario: Scenario) -> str:
    """``storage so that under “Refill” dormancy passes 25% of any field ...``."""
    sizing = scenario.sizing
    assert sizing is not None
    share = f"{100.0 * sizing.share:g}%"
    outcome = f"the shortage passes {share} of the demand"
    if sizing.outcome in _OUTCOMES:
        labels = {field.key: f"“{field.label}”" for field in scenario.fields}
        field = "any field" if sizing.field == ANY_FIELD else labels[sizing.field]
        spell = spell_text({"reached_days": scenario.answers.reached_days})
        outcome = f"{_OUTCOMES[sizing.outcome]} passes {share} of {field} {spell}"
    return (
        f"{named_size(sizing.find)} so that under “{scenario.plan_named(sizing.plan).label}” "
        f"{outcome} in at most "
        f"{100.0 * sizing.odds:g}% of years"
    )


def _fails_anyhow(supply: xr.Dataset) -> float:
    """Share of the draws in which all the water that the plan demands does not suffice."""
    return supply["sizing_fails_anyhow"].item() if "sizing_fails_anyhow" in supply else 0.0


def answer_text(supply: xr.Dataset, system: str) -> str:
    """The least size that keeps the goal: over draws with confidence, then with the likely
    numbers; with ``sizing_size``.
    """
    size = supply["sizing_size"]
    found = size.item()
    if math.isnan(found):
        likely = "no size tried keeps the goal"
    elif found == 0.0:
        likely = f"the goal is kept without any {size_name(supply)}"
    else:
        likely = f"{size_text(size, system)} keeps the goal"
    if "sizing_draw_least" not in supply:
        return (
            f"With {LIKELY} {likely}. One run with the likely numbers says no more: --draws 64 "
            "tries others."
        )
    least, n = supply["sizing_draw_least"].values, int(supply.attrs["sizing_draws"])
    sure = supply.sel(confidence=SURE)
    with_confidence = f"With {100.0 * SURE:.0f}% confidence"
    if math.isinf(sure["sizing_confidence"].item()):
        nothing = int(np.isinf(least).sum())
        if 2 * nothing > n:
            with_confidence = "With even odds"
        text = f"{with_confidence} nothing suffices: in {nothing} of {n} draws no size tried does"
        if anyhow := round(n * _fails_anyhow(supply)):
            there = "there" if anyhow == nothing else f"in {anyhow} of them"
            text += f", and {there} the plan or the system falls short, not the water"
    else:
        share = sure["sizing_confidence_suffices"].item()
        text = (
            f"{with_confidence} {size_text(sure['sizing_confidence'], system)} keeps the goal, in "
            f"{n * share:.0f} of {n} draws"
        )
    text += f". With {LIKELY} {likely}"
    if not math.isnan(found):
        kept = int((least <= found * (1.0 + 1e-9)).sum())
        text += f", which it does in {'all' if kept == n else kept or 'none'} of the {n} draws"
    return f"{text}."


def size_name(supply: xr.Dataset) -> str:
    """What is sized, ``storage``."""
    return str(supply["sizing_as_given"].attrs["long_name"]).removesuffix(" of the scenario")


def stated_text(supply: xr.Dataset, system: str) -> str:
    """``with 600,000 gal as given and the likely numbers``, for the head of a table."""
    stated = "the supply"
    if "sizing_as_given" in supply and math.isfinite(supply["sizing_as_given"].item()):
        stated = f"{size_name(supply)} of {size_text(supply['sizing_as_given'], system)}"
    return f"with {stated} as given and the likely numbers"


def failing_text(years: xr.DataArray, of: str) -> str:
    """``4 of 200 years fail (12, 77, 113, 170)``, named where they are few."""
    n, which = int(years.item()), str(years.attrs.get("which", ""))
    named = f" ({which})" if 0 < n <= _MOST_NAMED and which else ""
    return f"{n} {of} years {'fails' if n == 1 else 'fail'}{named}"


def anyway_lines(supply: xr.Dataset) -> list[tuple[str, str]]:
    """Heading and text: years that fail with any size; nothing where none does."""
    anyway = supply.get("sizing_failing_anyway")
    if anyway is None or not anyway.item():
        return []
    n, failing = int(anyway.item()), int(supply["sizing_failing_years"].item())
    which = str(anyway.attrs.get("which", ""))
    if n == failing:
        text = "the same year fails" if n == 1 else f"the same {n} years fail"
    else:
        named = f" ({which})" if n <= _MOST_NAMED else ""
        text = f"{n} of those {failing} years{named} {'fails' if n == 1 else 'fail'}"
    why = str(anyway.attrs.get("why", ""))
    return [("With any size", f"{text}: {why}" if why else text)]


def size_display(values: xr.DataArray, system: str) -> Display:
    """How sizes in the units of ``values`` are shown."""
    units = values.attrs["units"]
    return volume_display([values], system) if units == "m3" else shown(units, system)


def origins(supply: xr.Dataset, prefix: str = "sizing") -> Shares:
    """Where the water delivered with one size comes from: sources, runoff, rain on storage.

    What comes out of storage is shared among all that fills it, as if the water were mixed. Shares
    add to 1; there are none when nothing is delivered. ``supply`` is one case or one point.
    """
    out_of_storage = supply[f"{prefix}_from_storage"].item()
    filled = _by_source(supply, f"{prefix}_filled")
    weather = {
        "runoff": supply[f"{prefix}_runoff"].item(),
        "rain on storage": supply[f"{prefix}_rain"].item(),
    }
    into_storage = sum(weather.values()) + sum(volume for _, volume in filled)
    part = out_of_storage / into_storage if into_storage > 0.0 else 0.0
    volumes = [
        (name, straight + part * through)
        for (name, straight), (_, through) in zip(
            _by_source(supply, f"{prefix}_direct"), filled, strict=True
        )
    ]
    volumes += [(name, part * volume) for name, volume in weather.items()]
    if part == 0.0 < out_of_storage:
        volumes.append(("first filling of storage", out_of_storage))
    total = sum(volume for _, volume in volumes)
    return [(name, volume / total) for name, volume in volumes] if total > 0.0 else []


def carriers(supply: xr.Dataset, prefix: str = "sizing") -> Shares:
    """``origins`` that give any water, the largest share first."""
    some = [one for one in origins(supply, prefix) if one[1] > 0.0]
    return sorted(some, key=lambda one: -one[1])


def through_storage(supply: xr.Dataset, prefix: str = "sizing") -> float:
    """Share of the water delivered with one size that comes out of storage."""
    delivered = supply[f"{prefix}_delivered"].item()
    return supply[f"{prefix}_from_storage"].item() / delivered if delivered > 0.0 else math.nan


def carried_text(supply: xr.Dataset, prefix: str = "sizing") -> str:
    """``Well 61%, runoff 27%, Town mains 12%; 88% of it through storage``."""
    shares = carriers(supply, prefix)
    if not shares:
        return "no water is delivered"
    through = through_storage(supply, prefix)
    each = ", ".join(f"{name} {percent_text(share)}" for name, share in shares)
    return f"{each}; {percent_text(through)} of it through storage" if through > 0.0 else each


def smallest_text(supply: xr.Dataset) -> str:
    """Why the smallest size of the search suffices: where the water comes from instead."""
    first = "the smallest size of the search suffices"
    if supply["sizing_size"].item() == 0.0:
        first = f"no {size_name(supply)} is needed"
    shares = carriers(supply.sel(sizing_case="least"))
    if not shares:
        return f"{first}: the plan takes no water"
    name, share = shares[0]
    return f"{first}: {percent_text(share)} of the water comes from {name}"


def bounds_lines(supply: xr.Dataset, system: str) -> list[tuple[str, str]]:
    """Heading and text: the smallest pond of its shape, where the search starts there; nothing
    where any size can be, or none is needed.
    """
    if "sizing_smallest" not in supply or supply["sizing_size"].item() == 0.0:
        return []
    smallest = supply["sizing_smallest"]
    depth = f"{smallest.attrs['depth_mm'] / MM_PER_FOOT:.3g} ft"
    if system == "metric":
        depth = f"{smallest.attrs['depth_mm'] / 1000.0:.3g} m"
    text = (
        f"{size_text(smallest, system)}: {depth} deep with sides of "
        f"{smallest.attrs['side_slope']:g}:1 it holds no less"
    )
    if math.isclose(smallest.item(), supply["sizing_size"].item()):
        text += (
            '. The water may need less: lower depth, or size it as kind = "tank", to see what it '
            "needs"
        )
    return [("Smallest pond", text)]


def next_smaller_lines(supply: xr.Dataset, system: str) -> list[tuple[str, str]]:
    """Heading and text: what the next smaller size does; nothing where no size suffices."""
    found, less = supply["sizing_size"].item(), supply["sizing_tried_less"].item()
    if math.isnan(found):
        why = supply["sizing_size"].attrs.get("why", "")
        return [("Why nothing suffices", why)] if why else []
    if less == found:
        return [("Next smaller size", f"not tried: {smallest_text(supply)}")]
    year = supply["sizing_deciding_year"].item()
    when = "" if math.isnan(year) else f", in {year_text(supply.attrs, year)}"
    if less == 0.0:
        return [("Next smaller size", f"there is none; without a pond it fails{when}")]
    return [("Next smaller size fails", f"{size_text(supply['sizing_tried_less'], system)}{when}")]


def confidence_lines(supply: xr.Dataset, system: str) -> list[tuple[str, str]]:
    """Heading and text: sizes with confidence, in how many draws the given one suffices, what
    was drawn; nothing without draws.
    """
    if "sizing_confidence" not in supply:
        return []
    draws = int(supply.attrs["sizing_draws"])

    def count(values: xr.DataArray) -> str:
        return f"{draws * values.item():.0f} of {draws}"

    lines: list[tuple[str, str]] = []
    shares = supply["confidence"].values
    for share in shares:
        one, head = supply.sel(confidence=share), f"With {100.0 * share:.0f}% confidence"
        if math.isinf(one["sizing_confidence"].item()):
            enough = count(1.0 - supply["sizing_nothing_suffices"])
            # More confidence needs no less.
            head += " or more" if share < shares[-1] else ""
            lines.append((head, f"{NOTHING}: some size suffices in only {enough} draws"))
            break
        size = size_text(one["sizing_confidence"], system)
        text = f"{size}: suffices in {count(one['sizing_confidence_suffices'])} draws"
        text += " of soil, turf and system" if not lines else ""
        lines.append((head, text))
    stated = f"suffices in {count(supply['sizing_given_suffices'])} draws"
    lines.append(("Size as given", f"{size_text(supply['sizing_as_given'], system)} {stated}"))
    if supply["sizing_nothing_suffices"].item() > 0.0:
        text = f"in {count(supply['sizing_nothing_suffices'])} draws"
        anyhow = _fails_anyhow(supply)
        if anyhow > 0.0:
            some = anyhow < supply["sizing_nothing_suffices"].item()
            text += f", in {draws * anyhow:.0f} of them" if some else ","
            text += " even with all the water that the plan demands: "
            text += ". ".join(filter(None, (_fields_anyhow(supply), _what_to_measure(supply))))
        lines.append(("Nothing suffices", text))
    few = f"; {MANY_DRAWS} or more draws steady the 95%" if draws < MANY_DRAWS else ""
    lines.append(
        (
            DRAWS,
            f"{draws} sets of the {supply.attrs['sizing_draws_numbers']} uncertain numbers, on the "
            "same years; the 90% limits above are the sampling error of the years. A size larger "
            f"than the least of a draw is assumed to suffice in it too{few}",
        )
    )
    return lines


def _fields_anyhow(supply: xr.Dataset) -> str:
    """Which fields fail in draws with all the water that the plan demands."""
    shares = supply.get("sizing_fields_anyhow")
    if shares is None or not shares.any():
        return "the plan or the system falls short"
    draws, labels = int(supply.attrs["sizing_draws"]), supply.get("field_label", supply["field"])
    names = [
        f"“{label}” fails in {draws * share:.0f}"
        for label, share in zip(labels.values, shares.values, strict=True)
        if share > 0.0
    ]
    return listed(names)


def _what_to_measure(supply: xr.Dataset) -> str:
    """What the failing draws differ by, or what would say so; "" where draws are many already."""
    if measures := supply.attrs.get("sizing_measures", ""):
        return f"Draws differ most by what these would settle: {measures}"
    if int(supply.attrs["sizing_draws"]) >= MANY_DRAWS:
        return ""
    return f"'drysward compare --draws {MANY_DRAWS}' says which numbers to measure"


def not_monotone_text(supply: xr.Dataset, system: str) -> str:
    """Why more of one size does not always need less of the other; "" where it does."""
    mark = supply.get("sizing_not_monotone")
    if mark is None or "why" not in mark.attrs:
        return ""
    at, than = int(mark.attrs["point"]), int(mark.attrs["beside"])
    against, curve = supply["sizing_against"], supply["sizing_curve"]

    def both(i: int) -> str:
        least = curve[i].assign_attrs(curve.attrs)
        other = size_text(against[i].assign_attrs(against.attrs), system, against)
        return f"{other} {NOTHING if math.isnan(least.item()) else size_text(least, system, curve)}"

    what = str(curve.attrs["long_name"]).removeprefix("least ")
    return (
        f"A larger {against.attrs['long_name']} does not always need less {what}: at "
        f"{both(than)}, at {both(at)}. With what suffices at "
        f"{size_text(against[than].assign_attrs(against.attrs), system, against)}, in the years "
        f"that then fail: {mark.attrs['why']}."
    )


def trade_title(supply: xr.Dataset) -> str:
    """``Trade-off: source rate of well against storage``."""
    what = str(supply["sizing_curve"].attrs["long_name"]).removeprefix("least ")
    return f"Trade-off: {supply['sizing_against'].attrs['long_name']} against {what}"


def _by_source(supply: xr.Dataset, name: str) -> Shares:
    labels = supply["source_label"] if "source_label" in supply else supply["source"]
    return [
        (str(label), float(value))
        for label, value in zip(labels.values, supply[name].values, strict=True)
    ]


def percent_text(share: float) -> str:
    """A share in whole percent, "<1%" where that would say none, "" where there is none."""
    if not share > 0.0:
        return ""
    return "<1%" if share < 0.005 else f"{100.0 * share:.0f}%"
