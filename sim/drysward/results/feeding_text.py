"""What screens and pages say of feeding, in words."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr

from drysward.physics.salinity import SEVERE_DS_M
from drysward.quantities import Display, shown
from drysward.results.dataset import FEED
from drysward.results.text import UNKNOWN, count_text, quoted_label, rounded

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario

DOSES, CAUTIONS = "feeding_doses", "feeding_cautions"
"""Attributes with the doses of a year (JSON, by field), and with what comes before feeding."""
CAUTION = (
    "Local law on fertilizer and phosphorus, the label, a soil test and licensed advice come before"
    " any feeding plan."
)
ESTIMATES = (
    "Nitrogen is a screening estimate. Test soil and leaves and weigh clippings before you rely on "
    "a number."
)
SHIFTS = "How feeding shifts wilt, water and recovery"
SHIFTS_WHY = (
    "One run with the likely numbers of soil, turf and system: its days below are not those of a "
    "comparison with draws, which are means over all that soil and turf may really be"
)
"""Heading of what feeding changes, and why its numbers are not those of the draws."""
SHIFT_OF_DRAWS = "Shift by feeding, over all that soil and turf may be"
SHIFT_MEANS = (
    "as fed less without feeding, taken draw by draw in the same years: + is more with feeding"
)
RECOVERY_OF_DRAWS = "of the draws in which turf went dormant and came back in both"
"""Heading of the shift over draws, what it is, and of which draws that of recovery is."""
HUNGRY, ENOUGH, LUSH = STATES = ("hungry", "enough", "lush")
_WEEK = 7.0
_MOST_FIELDS = 6


def salt_cautions(scenario: Scenario) -> list[str]:
    """A sentence for each field that is watered with more salt than most places should use."""
    return [
        f"{field.label}: water of {feeding.water_salt_ds_m:g} dS/m; above {SEVERE_DS_M:g} its use "
        "is severely restricted (Ayers & Westcot 1985, FAO-29). Salt builds up in a dry summer, "
        "which the yearly mean here does not show: test soil and water, and take licensed advice"
        for field, feeding in scenario.fed
        if feeding.water_salt_ds_m > SEVERE_DS_M
    ]


def fed_fields(result: xr.Dataset) -> list[str]:
    """Keys of the fields that are fed."""
    if "is_fed" not in result.coords:
        return []
    return [str(key) for key in result["field"].values[result["is_fed"].values.astype(bool)]]


def has_range_of_effect(result: xr.Dataset) -> bool:
    """Whether draws were run without feeding too."""
    return f"doubt_{FEED}water_change" in result


def state_of(status: float, attrs: Mapping[str, Any]) -> str:
    """The nitrogen status of turf in a word, "-" where there is none."""
    if math.isnan(status):
        return UNKNOWN
    if status < attrs["hungry_below"]:
        return HUNGRY
    return LUSH if status > attrs["lush_above"] else ENOUGH


def doses_of(result: xr.Dataset, field: str) -> list[dict[str, Any]]:
    """The doses of a year of a field in the order of its turf year; kg/ha."""
    begins = 183 if result.attrs["latitude_deg"] < 0.0 else 1  # 1 July
    doses = json.loads(result.attrs.get(DOSES, "{}")).get(field, [])
    return sorted(doses, key=lambda dose: (dose["day"] - begins) % 366)


def weeks_text(days: float) -> str:
    """Weeks of a year, whole; "<1" where there are fewer."""
    weeks = days / _WEEK
    return "<1" if 0.05 < weeks < 0.5 else rounded(weeks, 0)


def feeding_sentences(result: xr.Dataset, plan: str, system: str) -> list[str]:
    """What each fed field gets, is and loses in a year under a plan; nothing when none is fed."""
    how = shown("kg ha-1", system)
    found: list[str] = []
    fields = fed_fields(result)
    under = f" under {quoted_label(result, 'plan', plan)}"
    worst_first = sorted(fields, key=lambda field: -_odd_days(result.sel(field=field, plan=plan)))
    others = worst_first[_MOST_FIELDS:]
    for field in (field for field in fields if field not in others):
        one = result.sel(field=field, plan=plan)
        fed, leached = (
            rounded(one[f"{FEED}{name}_mean"].item() * how.factor, how.decimals)
            for name in ("applied_n", "leached_n")
        )
        growing, hungry, lush = (
            weeks_text(one[f"{FEED}{name}_mean"].item())
            for name in ("growing_days", "days_hungry", "days_lush")
        )
        states = _states_text(growing, hungry, lush) + _weeks_over_draws(one)
        found.append(
            f"{quoted_label(result, 'field', field)} gets {fed} {how.unit} of nitrogen a year"
            f"{_with_water(one, how)}{'' if found else under}: {states}; "
            f"{leached} leaches{_leaching_spread(one, how)}."
        )
    if others:
        verb = "is" if len(others) == 1 else "are"
        most = _odd_days(result.sel(field=others[0], plan=plan))
        state = f", and {verb} neither hungry nor lush" if weeks_text(most) == "0" else ""
        found.append(f"{count_text(len(others), 'more field')} {verb} fed{state}.")
    return found


def _odd_days(one: xr.Dataset) -> float:
    """Days of a year on which a field is hungry or lush under a plan."""
    return float(one[f"{FEED}days_hungry_mean"].item() + one[f"{FEED}days_lush_mean"].item())


def _with_water(one: xr.Dataset, how: Display) -> str:
    """Nitrogen that the irrigation water brings besides; "" for water without."""
    name = f"{FEED}water_n"
    brought = rounded(one[name].item() * how.factor, how.decimals) if name in one else UNKNOWN
    is_none = brought == UNKNOWN or float(brought) == 0.0
    return "" if is_none else f" and {brought} more with the water"


def _leaching_spread(one: xr.Dataset, how: Display) -> str:
    """What 1 year in 10 passes, and what leaches over the draws; of few years, and without draws,
    one of them or "".
    """

    def text(name: str) -> str:
        return rounded(one[name].item() * how.factor, how.decimals)

    worst, of_draws = text(f"{FEED}leached_n_1in10"), f"doubt_{FEED}leached_n"
    said = f" (1 year in 10 over {worst})" if worst != UNKNOWN else ""
    if of_draws in one:
        ends = f"{text(f'{of_draws}_low')} to {text(f'{of_draws}_high')}"
        said = f" with the likely numbers{said}, and over the draws {text(of_draws)} ({ends})"
    return said


def _weeks_over_draws(one: xr.Dataset) -> str:
    """How far hungry and lush weeks go over the draws; "" without draws, or where they are none.

    In some draws more weeks are growing weeks.
    """
    growing = one[f"{FEED}growing_days_mean"].item()
    parts = []
    for state in ("hungry", "lush"):
        name = f"doubt_{FEED}days_{state}"
        if name in one:
            days = [one[f"{name}_{end}"].item() for end in ("low", "high")]
            low, high = ("all" if n >= growing > 0.0 else weeks_text(n) for n in days)
            if high != "0":
                parts.append(f"{low} to {high} {state}" if low != high else f"{high} {state}")
    return f" (over the draws {', '.join(parts)})" if parts else ""


def _states_text(growing: str, hungry: str, lush: str) -> str:
    """Hungry and lush weeks of the growing ones, each as ``weeks_text`` gives it."""
    weeks = f"of {growing} growing weeks"
    if hungry == lush == "0":
        return f"none {weeks} is hungry or lush"
    first, kind = (lush, "lush") if hungry == "0" else (hungry, "hungry")
    both = f" and {lush} lush" if kind == "hungry" and lush != "0" else ""
    return f"{first} {weeks} {'is' if first in ('1', '<1') else 'are'} {kind}{both}"


def weight_text(weight: float) -> str:
    """A weight to spread on a field, with decimals where it is small."""
    return rounded(weight, 0 if weight >= 20.0 else 1 if weight >= 2.0 else 2)


def doses_text(doses: float, planned: float) -> str:
    """Doses given of those planned: ``3.1 of 4``."""
    return f"{rounded(doses, 1).removesuffix('.0')} of {planned:.0f}"


def month_order(result: xr.Dataset) -> Sequence[int]:
    """The months (1 to 12) from the start of the turf year on."""
    first = 6 if result.attrs["latitude_deg"] < 0.0 else 0
    return [int(month) for month in np.roll(np.arange(1, 13), -first)]
