"""What a supply is short of and why, in sentences, for the terminal and the page."""

from __future__ import annotations

import json

import numpy as np
import xarray as xr

from drysward.results.text import (
    CAUSES,
    driest_years,
    dry_period,
    holds_dry_years,
    quoted_label,
    share_of_years,
    volume_display,
    volume_text,
    year_text,
)

WORST_SPELL = (
    "the most water outstanding at once; part of it may come on later nights, so that the shortage "
    "of the year is less"
)
"""What the largest shortage of a run of days is: gross, where that of a year is net."""


PUT_OFF = (
    "the year had a night that got less than was demanded, even if that came later; a year without "
    "shortage got all of it in the end"
)
"""Why a year without shortage may have a day short: the one is net, the other is not."""


SOURCES_FILL = (
    "a source counts all that it gives, into the storage too; runoff and rain fill that as well, "
    "air and ground take from it: these columns do not add up to what is delivered"
)
"""Why what sources give is not what is delivered, where there is a storage."""


CLOSED_NIGHTS = "nights that restrictions close are not counted as shortage: read the turf table"
"""Why more restriction may look like a better supply."""


SYSTEM_CHANGES = {
    "ground": "the ground or the nights: loosen the soil, or water on more nights and in cycles "
    "with soak where the plan does not yet",
    "window": "the window or the system: more hours a night, or more flow",
    "crew": "the crew: more hours, or more machines",
}
"""What to change where a cause of the system cuts most, after "change"."""

SUPPLY_CHANGES = SYSTEM_CHANGES | {
    "restriction": "the restrictions, or exempt the field from them",
    "network": "what the pipes carry, or the window",
    "source": "the sources: more rate or hours, or another source",
    "allowance": "the allowance, or add another source",
    "storage": "what fills the storage: a larger well or catchment, or another source",
    "priority": "the priority of the field",
}
"""What to change where any cause cuts most, after "change"."""

# In no year a larger share of the demand short: its cause is not worth telling (own choice).
_WORTH_TELLING = 0.01

RESTRICTED = "restricted"
"""Attribute: the stages of the site in lines, by system of units, as JSON."""


def restricted_lines(result: xr.Dataset, system: str) -> list[str]:
    """The restriction stages of the site, a line each; none in an older file."""
    return list(json.loads(result.attrs.get(RESTRICTED, "{}")).get(system, []))


def has_restricted_days(supply: xr.Dataset) -> bool:
    """Whether restrictions of the site were in force on any day."""
    return "restricted_days_mean" in supply and float(supply["restricted_days_mean"].max()) > 0.0


def dry_year_sentence(supply: xr.Dataset, plan: str, system: str) -> str:
    """The demand of the dry year under a plan, and of the mean year; "" where it is not known."""
    if "supply_demand_return" not in supply or not holds_dry_years(supply):
        return ""
    period = dry_period(supply)
    dry = supply["supply_demand_return"].sel(period=period, plan=plan)
    mean = supply["demand_mean"].sel(plan=plan)
    unit = volume_display([dry, mean], system)
    return (
        f"A 1-in-{period:g} dry year demands {volume_text(dry.item(), unit)} {unit.unit} under "
        f"{quoted_label(supply, 'plan', plan)}, the mean year {volume_text(mean.item(), unit)}."
    )


def shortage_sentences(supply: xr.Dataset, plan: str, is_named: bool = False) -> str:
    """How often the demand of a plan falls short, how far in the year short most, and why.

    ``is_named``: where the sentence before names the plan.
    """
    one, label = supply.sel(plan=plan), quoted_label(supply, "plan", plan)
    if one["demand_mean"].item() == 0.0:
        return f"{label} demands no water."
    under = "" if is_named else f"under {label} "
    text = f"{under}with the supply as given "
    if int(supply.attrs["n_years"]) > 1:
        text = (
            f"{under}the supply as given is short by more than "
            f"{100.0 * supply.attrs['short_year']:g}% of the demand in "
            f"{share_of_years(one['short_year'].item())}; "
        )
    text += f"{worst_year_text(one)}.{main_cause_sentence(one)}"
    return f"{text[:1].upper()}{text[1:]}"


def worst_year_text(one: xr.Dataset) -> str:
    """How short the year is that is short most under a plan."""
    share = one["worst_year_share"].item()
    if share == 0.0:
        return "no year is short at all"
    # As the table has it: what is under a limit of 5% must not read as 5%.
    size = f"{share:.{0 if share >= 0.1 else 1}%}" if share >= 0.01 else "less than 1%"
    year = year_text(one.attrs, one["worst_year"].item())
    return f"the year short most, {year}, is short by {size}"


def driest_and_shortest(supply: xr.Dataset, plan: str) -> str:
    """The driest years by their weather, and the year shortest of water under a plan, which may be
    another one.
    """
    text = driest_years(supply.attrs)
    year = supply["worst_year"].sel(plan=plan).item()
    if np.isnan(year):
        return text
    label = quoted_label(supply, "plan", plan)
    return f"{text}. Shortest of water under {label}: {year_text(supply.attrs, year)}"


def main_cause_sentence(one: xr.Dataset) -> str:
    """What most of the shortage under a plan comes from and what to change, after a blank; "" when
    it is not known, or no year is short by enough.
    """
    if "shortage_by_cause" not in one or one["worst_year_share"].item() <= _WORTH_TELLING:
        return ""
    by_cause = one["shortage_by_cause"].sum("field")
    whole = float(by_cause.sum())
    if whole == 0.0:
        return ""
    main = str(by_cause.idxmax("cause").item())
    share = f"{float(by_cause.max()) / whole:.0%}"
    return (
        f" Over all years the main cause is {CAUSES[main][2]}, with {share} of the shortage. To be "
        f"short less often, change {SUPPLY_CHANGES[main]}."
    )
