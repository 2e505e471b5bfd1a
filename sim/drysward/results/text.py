"""Numbers and notes of results in words, for the terminal and the page."""

from __future__ import annotations

import json
import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from drysward.catalog import GRADES
from drysward.quantities import Display, display, shown
from drysward.scenario.choices import CONTINUOUS, GENERATOR, RECORD, RESAMPLE
from drysward.weather.record import FEWEST_YEARS_TO_FIT

FINDINGS = "weather_findings"
"""Attribute of a result: findings about its weather file or normals, as JSON."""
FILE_MEANS = "weather_file_means"
"""Attribute of a result: means of its weather file or normals as JSON (``FileFacts.means``)."""
FUTURE = "weather_future"
"""Attribute of a result: key of the future that the weather is under, "" for none."""
MADE_YEARS, DRAWN_YEARS = "simulated_years", "drawn_years"
"""Attributes of a result: number of simulated years, and as JSON the recorded year each repeats."""
MADE_WEATHER = {
    GENERATOR: "more simulated years than the record or normals are worth do not narrow limits",
    RESAMPLE: "more resampled years do not narrow the limits: they count only the years of the "
    "record; no drought is longer than the record's own",
}
"""How far to trust weather that is not a record, by kind."""
_YEARS_FOR_1_IN_10 = 20  # own estimate: two such years are expected in them
# With fewer none of them stands for a 1-in-10 year, which is not shown (own choice).
_FEWEST_FOR_1_IN_10 = 10
UNKNOWN = "-"
NONE = "none"
"""How many of 100 years have what no year had; what every year had is "all"."""

STAGE_WORDS = {
    "footprint": "footprinting", "wilt": "wilt", "dormant": "dormancy", "dead": "death",
}  # fmt: skip
"""Stages of the turf as a reader knows them."""


def findings_of(attrs: Mapping[Any, Any]) -> list[str]:
    """What is odd about the weather file or the normals, a sentence each."""
    return as_sentences(json.loads(attrs.get(FINDINGS, "[]")))


def assumptions_apart(notes: Iterable[str]) -> tuple[list[str], list[str]]:
    """Notes on the weather: what to know of this file or place, and the graded assumptions that
    every simulation rests on (a note that ends with its grade, or names the catalog).
    """
    facts: list[str] = []
    assumed: list[str] = []
    for note in notes:
        is_graded = note.rpartition(", ")[2] in GRADES or "generated_weather" in note
        (assumed if is_graded else facts).append(note)
    return facts, assumed


def file_means_text(attrs: Mapping[Any, Any], system: str) -> str:
    """Means of the weather file or normals, for a reader who knows the place; "" where there are
    none.
    """
    means = json.loads(attrs.get(FILE_MEANS, "{}"))
    if not means:
        return ""
    depth, us = display("mm", system), system == "us"
    high = f"{means['tmax_c'] * 1.8 + 32:.0f} F" if us else f"{means['tmax_c']:.0f} C"
    parts = [
        f"{means['rain_mm'] * depth.factor:,.0f} {depth.unit} of rain a year",
        f"highs of {high} in the warmest month",
    ]
    if "wind_m_s" in means:
        # Exact: 1 mph = 0.44704 m/s.
        wind = means["wind_m_s"]
        shown_wind = f"{wind / 0.44704:.1f} mph" if us else f"{wind:.1f} m/s"
        parts.append(f"a mean wind of {shown_wind}")
    future = attrs.get(FUTURE, "")
    on_top = f". The change of the future '{future}' comes on top" if future else ""
    known = f"check the units in {attrs.get('weather_file', '[weather.climate]')}"
    if "weather_file" in attrs:
        known += "; or its years were wetter, drier or hotter than usual"
    return f"{listed(parts)}. If that is not your place, {known}{on_top}"


def as_sentences(texts: Iterable[str]) -> list[str]:
    """Texts with a capital and a full stop."""
    return [f"{text[:1].upper()}{text[1:]}." for text in texts]


_MILLION = 1e6


def dry_period(result: xr.Dataset) -> float:
    """The return period (years) whose demand is shown: 10, or else the rarest."""
    periods = [float(period) for period in result["period"].values]
    return 10.0 if 10.0 in periods else max(periods)


def count_text(n: int, name: str) -> str:
    """``1 plan``, ``2,000 plans``."""
    return f"{n:,} {name}{'' if n == 1 else 's'}"


def more_text(n: int) -> str:
    """``; 2 more fields in the tables``: what a sentence leaves out; "" for nothing."""
    return f"; {count_text(n, 'more field')} in the tables" if n > 0 else ""


def first_sentence(text: str) -> str:
    """A text up to its first full stop."""
    return f"{text.partition('. ')[0].rstrip('.')}."


def listed(parts: Sequence[str]) -> str:
    """``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def year_text(attrs: Mapping[Any, Any], year: float) -> str:
    """``2013``; ``simulated year 42 of 200``; resampled from a record with ``(2013 again)``."""
    n_simulated = int(attrs.get(MADE_YEARS, 0))
    if not n_simulated:
        return f"{year:.0f}"
    return f"simulated year {year:.0f} of {n_simulated}{_drawn(attrs, year)}"


def case_text(attrs: Mapping[Any, Any], case: str, year: float) -> str:
    """``dry year 2013``; ``dry year, simulated year 42 of 200``."""
    comma = "," if int(attrs.get(MADE_YEARS, 0)) else ""
    return f"{case} year{comma} {year_text(attrs, year)}"


def year_mark(attrs: Mapping[Any, Any], year: float) -> str:
    """``2013``, ``year 42``: a year where there is little room."""
    return f"year {year:.0f}" if int(attrs.get(MADE_YEARS, 0)) else f"{year:.0f}"


def years_text(attrs: Mapping[Any, Any], years: Iterable[float]) -> str:
    """``2012, 2016``; ``simulated years 42, 49 of 200``, each with the year that it repeats."""
    n_simulated = int(attrs.get(MADE_YEARS, 0))
    named = ", ".join(f"{year:.0f}{_drawn(attrs, year)}" for year in years)
    some = "year" if "," not in named else "years"
    return f"simulated {some} {named} of {n_simulated}" if n_simulated else named


def years_used(attrs: Mapping[Any, Any], n_years: int) -> str:
    """``2011-2018 (8)``, ``simulated years 1-200 (200)``."""
    simulated = int(attrs.get(MADE_YEARS, 0)) > 0
    kind = "" if not simulated else "simulated year " if n_years == 1 else "simulated years "
    return f"{kind}{attrs.get('years', 'not known')} ({n_years})"


def mean_year_text(attrs: Mapping[Any, Any]) -> str:
    """``the mean year``; the year itself where only one was run."""
    years = str(attrs.get("years", ""))
    return year_text(attrs, float(years)) if years.isdigit() else "the mean year"


def short_record_text(attrs: Mapping[Any, Any]) -> str:
    """That years are too few for odds and a 1-in-10 year, and what to do; "" where they are not."""
    years = int(attrs["n_years"])
    is_record = attrs["weather_kind"] == RECORD
    if years >= (_YEARS_FOR_1_IN_10 if is_record else _FEWEST_FOR_1_IN_10):
        return ""
    rough = "odds and a 1-in-10 year from so few are a guess"
    if years < _FEWEST_FOR_1_IN_10:
        rough = "odds from so few are a guess, and no 1-in-10 year is shown"
    rests = f"The answer rests on {count_text(years, 'recorded year' if is_record else 'year')}"
    if not is_record:
        return f"{rests}: {rough}. Run more years."
    longer = "Use a longer record"
    if years >= FEWEST_YEARS_TO_FIT:
        longer += (
            ', or simulate years like these: --source generator, or under [weather] source = '
            '"generator", years = 200'
        )
    else:
        longer += (
            f" (years can be simulated from {FEWEST_YEARS_TO_FIT}), or simulate years from monthly "
            "normals: [weather.climate]"
        )
    return f"{rests}: {rough}. {longer}."


def holds_dry_years(result: xr.Dataset) -> bool:
    """Whether a result has the years that a 1-in-10 year takes; also where it does not say."""
    years = result.attrs.get("n_years", result.sizes.get("year", _FEWEST_FOR_1_IN_10))
    return int(years) >= _FEWEST_FOR_1_IN_10


def without_rare_years(result: xr.Dataset) -> xr.Dataset:
    """The result to show: where its years are too few for a 1-in-10 year, without the numbers of
    such a year, and of other return periods.
    """
    if holds_dry_years(result):
        return result
    rare = [
        name
        for name, of in result.data_vars.items()
        if of.dtype.kind == "f" and ("period" in of.dims or str(name).endswith(("_1in10", "_dry")))
    ]
    return result.assign({name: result[name].where(False) for name in rare})


def driest_years(attrs: Mapping[Any, Any]) -> str:
    """The driest years of a result, the driest first, and by what."""
    named = [float(year) for year in str(attrs.get("driest_years", "")).split(", ") if year]
    if not named:
        return "not known"
    return f"{years_text(attrs, named)}: most reference ET less rain in the season"


def ledger_dates(account: xr.Dataset) -> list[str]:
    """Days of a ledger: dates of a record, or ``04-15`` of a simulated year."""
    if "date" in account.coords:
        return [str(date) for date in np.datetime_as_string(account["date"].values, unit="D")]
    return [str(day) for day in account["month_day"].values]


def _drawn(attrs: Mapping[Any, Any], year: float) -> str:
    drawn = json.loads(attrs.get(DRAWN_YEARS, "[]"))
    return f" ({drawn[int(year) - 1]} again)" if drawn else ""


def quoted_label(result: xr.Dataset, dim: str, key: Hashable) -> str:
    """``“Stadium”``: the name of a field or plan."""
    return f"“{result[f'{dim}_label'].sel({dim: key}).item()}”"


def fields_text(result: xr.Dataset, fields: Sequence[Hashable], n: int) -> str:
    """``both fields``, ``all 3 fields``, ``“Stadium”``: some of ``n`` fields."""
    if n > 1 and len(fields) == n:
        return "both fields" if n == 2 else f"all {count_text(n, 'field')}"
    return listed([quoted_label(result, "field", key) for key in fields])


def depth_text(value_mm: float, depth: Display) -> str:
    """A depth as it is shown, "-" where there is none."""
    return rounded(value_mm * depth.factor, depth.decimals)


def rounded(value: float, decimals: int) -> str:
    """A number with so many decimals, "-" where there is none."""
    return UNKNOWN if math.isnan(value) else f"{value:,.{decimals}f}"


def with_range(text: str, low: str, high: str) -> str:
    """``17 (0 to 125)``: a number and its limits; alone where none are known or all print alike."""
    return text if UNKNOWN in (text, low, high) or text == low == high else (
        f"{text} ({low} to {high})"
    )


def signed(value: float, decimals: int) -> str:
    """A difference with its sign and so many decimals, none before 0; "-" where there is none."""
    text = rounded(value, decimals)
    if text == UNKNOWN or not any(digit in "123456789" for digit in text):
        return text.removeprefix("-") or text
    return text if value < 0.0 else f"+{text}"


def volume_display(
    values: Sequence[xr.DataArray], system: str, decimals: int = 3
) -> Display:
    """Gallons, or millions of them with ``decimals`` when any value reaches one; m3 as they are."""
    unit = shown("m3", system)
    largest = max(
        (float(np.nanmax(v.values, initial=0.0, where=np.isfinite(v.values))) for v in values),
        default=0.0,
    )
    if system == "us" and largest * unit.factor >= _MILLION:
        return Display("Mgal", unit.factor / _MILLION, decimals)
    return unit


def volume_text(value_m3: float, unit: Display) -> str:
    """A volume as it is shown, "-" where there is none."""
    return rounded(value_m3 * unit.factor, unit.decimals)


def three_figures(value: float, decimals: int) -> str:
    """A number of a sentence, to three figures and at most ``decimals``: ``1,640``, ``16.4``."""
    if not math.isfinite(value) or value == 0.0:
        return rounded(value, decimals)
    digits = 2 - math.floor(math.log10(abs(value)))
    return rounded(round(value, digits), min(max(digits, 0), decimals))


def money_text(value: float) -> str:
    """Money to three figures, "-" where there is none."""
    if not math.isfinite(value):
        return UNKNOWN
    if value == 0.0:
        return "0"
    decimals = 2 - math.floor(math.log10(abs(value)))
    return f"{round(value, decimals):,.{min(max(decimals, 0), 2)}f}"


CAUSES = {
    "restriction": ("restricted", "restrictions forbid it", "watering restrictions"),
    "ground": (
        "ground", "the ground takes no more in a night", "ground that takes water too slowly"
    ),
    "window": (
        "night", "the night is too short for the system", "a night too short for the system"
    ),
    "crew": ("crew", "crew and machines do not get to it", "too few crew or machines"),
    "network": ("pipes", "the pipes carry no more", "pipes that carry too little"),
    "source": ("source", "the sources give no more in a day", "sources that give too little"),
    "allowance": (
        "allowance", "an allowance is spent or rationed", "a spent or rationed allowance"
    ),
    "storage": ("storage", "the storage has none left to draw", "storage with none left to draw"),
    "priority": ("priority", "other fields come first", "other fields that come first"),
}  # fmt: skip
"""Heading of each cause of a shortage, its text after "because", and a noun for a legend, of at
most 34 characters.
"""


def causes_of(supply: xr.Dataset) -> list[str]:
    """Causes of the shortages of all plans and fields, without those that are rounding error."""
    by_cause = supply["shortage_by_cause"].sum(("plan", "field"))
    least = 1e-6 * float(by_cause.sum())
    return [str(one) for one in by_cause["cause"].values if float(by_cause.sel(cause=one)) > least]


MOST_LOST = 0.10  # of the irrigation that lands; more gets a note (own choice)
_REMEDIES = {
    "runoff": "to save it, stop at runoff, split the run (cycle_and_soak) or water slower",
    "drained": "to save it, even out the catch, refill to less than full or water less at a time",
}


def water_notes(of_field: xr.Dataset, system: str) -> list[tuple[str, str]]:
    """Irrigation of a field that is lost, demand that is never met, by plan, and what to change.

    A loss has a note from a tenth of what lands, unmet demand from a hundredth of the demand.
    """
    notes = []
    for name, heading in (("runoff", "Runs off"), ("drained", "Drains")):
        if f"irrigation_{name}_mean" not in of_field or "irrigation_landed_mean" not in of_field:
            continue
        landed, lost = of_field["irrigation_landed_mean"], of_field[f"irrigation_{name}_mean"]
        share = (lost / landed.where(landed > 0.0)).fillna(0.0)
        plans = [key for key in share["plan"].values if float(share.sel(plan=key)) > MOST_LOST]
        if plans:
            shares = [
                (f"{float(share.sel(plan=key)):.0%}", f"under {_plan_label(of_field, key)}")
                for key in plans
            ]
            first = " of the irrigation ".join(shares[0])
            by_plan = ", ".join([first, *map(" ".join, shares[1:])])
            notes.append((heading, f"{by_plan}; {_REMEDIES[name]}"))
    if parts := unmet_texts(of_field, system):
        notes.append((UNMET, "; ".join(parts)))
    return notes


UNMET = "Unmet demand"


def unmet_texts(of_field: xr.Dataset, system: str, least: float = 0.01) -> list[str]:
    """Demand of a field that is never met, of plans that lack more than the share ``least``."""
    if "shortage_cause_mean" not in of_field:
        return []
    texts = (_missing(of_field, key, system, least) for key in of_field["plan"].values)
    return [text for text in texts if text]


def _missing(of_field: xr.Dataset, plan: Hashable, system: str, least: float) -> str:
    """Demand of the mean year that is never met, by cause; "" when little."""
    one, depth = of_field.sel(plan=plan), shown("mm", system)
    # Not ``shortage_mean``: with a supply that is the volume of all fields.
    short = float(one["shortage_cause_mean"].sum("cause"))
    demand = short + float(one["season_water"])
    if not short > least * demand:  # NaN too
        return ""
    causes = [
        f"{depth_text(float(value), depth)} because {CAUSES[str(cause)][1]}"
        for cause, value in zip(one["cause"].values, one["shortage_cause_mean"].values, strict=True)
        if float(value) > 0.01 * demand
    ]
    because = f": {', '.join(causes)}" if causes else ""
    return (
        f"{depth_text(short, depth)} {depth.unit} of a yearly demand of "
        f"{depth_text(demand, depth)} {depth.unit} under {_plan_label(of_field, plan)}{because}"
    )


def _plan_label(result: xr.Dataset, plan: Hashable) -> str:
    return str(result["plan_label"].sel(plan=plan).item())


COSTS = {
    "construction": ("root zone", ("construction",)),
    "irrigation": ("irrigation system", ("irrigation",)),
    "storage": ("pond or tank", ("storage",)),
    "first": ("first cost", ("construction", "irrigation", "storage")),
    "water_mean": ("water", ("water",)),
    "energy_mean": ("energy", ("energy",)),
    "labor_mean": ("labor", ("labor",)),
    "feed_mean": ("nitrogen", ("feed",)),
    "lost_turf_mean": ("lost turf", ("lost_turf",)),
    "mean": ("total a year", ("water", "energy", "labor", "feed", "lost_turf")),
    "dry": ("1-in-10 year", ("water", "energy", "labor", "feed", "lost_turf")),
    "present": ("present cost", ()),
    "equal_yearly": ("equal yearly", ()),
}
"""Heading of ``field_cost_NAME`` and ``cost_NAME``, and which prices it needs, any of them."""

BEST_PLAN, GOAL_PLAN = "best plan", "plan of the goal"
"""What the plan of an answer is: that of the rule, or that of the goal of a sizing."""

FIELD_COSTS = tuple(name for name in COSTS if name not in ("construction", "irrigation", "storage"))
YEARLY_COSTS = tuple(name for name in COSTS if name.endswith("mean") or name == "dry")
LIFE_COSTS = tuple(name for name in COSTS if name not in YEARLY_COSTS)


def cost_columns(costs: xr.Dataset, prefix: str, names: Sequence[str]) -> list[tuple[str, str]]:
    """Variables ``prefix_NAME`` with their headings, without those that have no price."""
    priced = set(json.loads(costs.attrs["priced"]))
    if not holds_dry_years(costs):
        names = [name for name in names if name != "dry"]
    out = []
    for name in names:
        heading, needs = COSTS[name]
        if f"{prefix}_{name}" in costs and (priced & set(needs) or not needs):
            out.append((f"{prefix}_{name}", heading))
    return out


def has_first_costs(costs: xr.Dataset) -> bool:
    """Whether anything built has a price."""
    return bool(set(json.loads(costs.attrs["priced"])) & set(COSTS["first"][1]))


def cost_notes(
    costs: xr.Dataset, compare: bool = True, plan: str = "", which: str = BEST_PLAN
) -> list[tuple[str, str]]:
    """How to read the costs, what has no price and, with ``compare``, what a dearer root zone
    costs more under ``plan``, as ``difference_text``.
    """
    attrs = costs.attrs
    dear = ". 1-in-10 year: one year in ten costs more" if holds_dry_years(costs) else ""
    notes = [
        (
            "Costs",
            "at the scenario's prices, of the run with the likely numbers of soil, grass and "
            "system. A year: water by the tariff of each month, pumping, labor, nitrogen and lost "
            f"turf, mean of the years{dear}",
        )
    ]
    if has_first_costs(costs):
        notes.append(
            (
                "First cost",
                "root zone, irrigation system and, for the site, pond or tank, where they have a "
                "price; a plan that never waters needs neither system nor pond",
            )
        )
    if "lost_turf" in json.loads(attrs["priced"]):
        lost = (
            "renovation of the largest dead share, in years with death"
        )
        if attrs["turf"] == CONTINUOUS:
            lost += "; ground that stays dead counts in each year"
        notes.append(("Lost turf", lost))
    if attrs["life_years"]:
        notes.append(
            (
                "Present cost",
                f"first cost and yearly costs over {attrs['life_years']} years in today's money at "
                f"{100 * attrs['discount_rate']:g}% a year; equal yearly: the same as a yearly sum",
            )
        )
    notes += [("No price", text) for text in json.loads(attrs["unpriced"])]
    compared = difference_text(costs, plan, which) if compare else ""
    return notes + ([("Compared", compared)] if compared else [])


def difference_text(costs: xr.Dataset, plan: str = "", which: str = BEST_PLAN) -> str:
    """What the dearest root zone costs more than the cheapest, on the same area; "" where it is not
    known.

    ``plan``: that of the answer, and ``which`` one that is; where none is named, that with the
    fewest days below playing condition in the run with the likely numbers.
    """
    if "difference_first" not in costs:
        return ""
    attrs, money = costs["difference_first"].attrs, costs.attrs["currency"]
    which = which if plan else "plan with the fewest days below playing condition"
    fields, plan = [attrs["field"], attrs["other"]], plan or attrs["plan"]
    if plan not in costs["plan"].values or not set(fields) <= set(costs["field"].values):
        return ""
    one = costs.sel(plan=plan)
    if not math.isfinite(one["difference_first"].item()):
        return ""

    def difference(name: str, each: str = "") -> str:
        value = one[f"difference_{name}"].item()
        return f"{money} {money_text(abs(value))}{each} {'more' if value >= 0.0 else 'less'}"

    feed = " and feed" if "feed" in json.loads(costs.attrs["priced"]) else ""
    keeping = difference("keeping", " a year")
    if money_text(abs(one["difference_keeping"].item())) == "0":
        keeping = "as much a year"
    dearest, other = (str(costs["field_label"].sel(field=key).item()) for key in fields)
    text = (
        f"{dearest} ({attrs['root_zone']}) costs {difference('first')} to build than {other} "
        f"({attrs['other_root_zone']}) would on the same area, and "
        f"{keeping} to water{feed}"
    )
    if one["difference_lost_turf"].item() != 0.0:
        text += f", and {difference('lost_turf', ' a year')} for lost turf"
    label = str(one["plan_label"].item())
    text += f", under “{label}”, the {which}."
    if "difference_present" in one:
        life = f"Over {costs.attrs['life_years']} years at {100 * costs.attrs['discount_rate']:g}%"
        text += f" {life} it costs {difference('present')} in today's money."
    return text


def of_100(p: float) -> str:
    """A share of years as a count of 100: ``22``, ``<1``, ``>99``, ``all``."""
    if p >= 1.0:
        return "all"
    if 100.0 * p < 1.0:
        return "<1"
    return ">99" if 100.0 * p > 99.0 else f"{100.0 * p:.0f}"


def ways_of_100(p: float) -> str:
    """A share of the ways on as a count of 100, as ``of_100``; ``none`` where no way has it."""
    return NONE if p == 0.0 else of_100(p)


def share_of_years(p: float) -> str:
    """A share of the years that ran: ``22 of 100 years``, ``none of the years``, ``every year``."""
    if p in (0.0, 1.0):
        return "every year" if p else "none of the years"
    return f"{of_100(p)} of 100 years"


def limits_in_brackets(value: str, low: float, high: float) -> str:
    """A value with its limits: ``22 (7-43)``, ``none (0-22)``; the value alone where both limits
    print the same or are not known, the limits alone where it is "".
    """
    ends = f"{low:.0f}", f"{high:.0f}"
    if math.isnan(low) or math.isnan(high) or ends[0] == ends[1]:
        return value
    return f"{value} ({ends[0]}-{ends[1]})" if value else f"{ends[0]}-{ends[1]}"


def none_text(limit: int) -> str:
    """Odds of what no year had, with the 90% limit of 100 years."""
    return f"{NONE} (at most {limit})"


def all_text(limit: int) -> str:
    """Odds of what every year had, with the 90% limit of 100 years."""
    return f"{of_100(1.0)} (at least {limit})"


NONE_OR_ALL = "at most and at least are 90% limits where no year, or every year, had it"


def odds_with_se(p: float, error: float, low: float, high: float) -> str:
    """Percent with its standard error; ``none (at most 15)`` or ``all (at least 85)``, with the
    90% limit, when no year, or every year, had the event; a decimal and no error where whole
    numbers would say none, all or no error. All as shares.
    """
    if math.isnan(p):
        return UNKNOWN
    if p == 0.0:
        return none_text(math.ceil(100 * high))
    if p == 1.0:
        return all_text(math.floor(100 * low))
    chance = f"{100 * error:.0f}"
    if not 0.01 <= p <= 0.99 or chance == "0":
        return f"{100 * p:.1f}"
    return f"{100 * p:.0f}±{chance}"


def odds_text(one: xr.Dataset, name: str = "probability") -> str:
    """``odds_with_se`` of a probability of ``one``."""
    return odds_with_se(*(one[f"{name}{end}"].item() for end in ("", "_se", "_low", "_high")))


def days_below_text(one: xr.Dataset) -> str:
    """Mean days a year below playing condition, and those of the worst year in ten: "9 (24)"."""
    return mean_and_worst(
        *(one[f"days_below_condition_{name}"].item() for name in ("mean", "1in10"))
    )


def mean_and_worst(mean: float, worst: float) -> str:
    """A mean, and in brackets what one year in ten reaches or passes: ``9 (24)``; the mean alone
    where the years are too few.
    """
    if math.isnan(mean):
        return UNKNOWN
    return f"{mean:.0f}" if math.isnan(worst) else f"{mean:.0f} ({worst:.0f})"


def spell_text(attrs: Mapping[Hashable, Any]) -> str:
    """For how long a stage must hold; older files, which do not say, counted any day."""
    days = int(attrs.get("reached_days", 1))
    return f"for {days} days in a row" if days > 1 else "on any day"


def reached_text(attrs: Mapping[Hashable, Any], share: str = "") -> str:
    """When a stage counts: the end of "a year in which the stage ..."; of a known ``share``."""
    return f"covers {share or 'its share'} of the field {spell_text(attrs)}"


def condition_text(attrs: Mapping[Hashable, Any]) -> str:
    """What counts as below playing condition."""
    green, wilt = (100.0 * float(attrs[f"condition_{name}"]) for name in ("green", "wilt"))
    return f"less than {green:g}% of the field green or more than {wilt:g}% of it wilting"


def procedures(by_year: dict[str, dict[str, int]], simulated: bool = False) -> list[str]:
    """Each procedure once, with the years that used it, and the days where part of a year did."""
    used: dict[str, list[str]] = {}
    for year, days in by_year.items():
        for name, count in days.items():
            used.setdefault(name, []).append(
                str(year) if len(days) == 1 else f"{year} ({count_text(count, 'day')})"
            )
    of = "simulated years " if simulated else ""
    return [f"{name}: {of}{year_spans(years)}" for name, years in used.items()]


def year_spans(years: Sequence[str]) -> str:
    """Years in a row as one span: ``2011-2013, 2015 (12 days)``."""
    out: list[list[str]] = []
    for year in years:
        if out and year.isdigit() and out[-1][-1].isdigit() and int(out[-1][-1]) + 1 == int(year):
            out[-1].append(year)
        else:
            out.append([year])
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in out)
