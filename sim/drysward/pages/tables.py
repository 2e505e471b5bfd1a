"""Tables of a page: numbers as the file holds them, with where each of them stands."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import xarray as xr

from drysward.pages import style
from drysward.pages.result import SEASON, SUPPLY, SWEEP, keys, kind_of, label, plain
from drysward.pages.sweep_figures import odds_and_error, setting_text
from drysward.quantities import Display, shown
from drysward.results.alternatives import no_sum_text
from drysward.results.answer_text import (
    PLAY_ADDS,
    has_play_range,
    play_range_text,
    unlike_limits_text,
)
from drysward.results.choice import best_plan, has_days_below, mean_above_text, odds_and_limits
from drysward.results.dataset import FEED, PLAY
from drysward.results.doubt_text import (
    DRAWN,
    ODDS,
    between_fields,
    count_of_draws,
    doubt_sentences,
    draws_note,
    dry_period,
    fields_of_turf,
    has_doubt,
    spread_comes_from,
    spread_texts,
    too_wide,
)
from drysward.results.feeding_text import (
    CAUTIONS,
    RECOVERY_OF_DRAWS,
    SHIFT_MEANS,
    SHIFT_OF_DRAWS,
    SHIFTS,
    SHIFTS_WHY,
    doses_of,
    doses_text,
    fed_fields,
    has_range_of_effect,
    weeks_text,
    weight_text,
)
from drysward.results.field_costs import M2_PER_HA
from drysward.results.play import HAMMER, hard_limits
from drysward.results.season_text import (
    SKILL_NOTE,
    day_after,
    day_text,
    days_ahead,
    skill_text,
)
from drysward.results.sizing_text import (
    NOTHING,
    SIZE_COSTS,
    priced_text,
    size_display,
    stated_text,
    trade_title,
)
from drysward.results.supply_text import (
    CLOSED_NIGHTS,
    WORST_SPELL,
    has_restricted_days,
    restricted_lines,
)
from drysward.results.text import (
    CAUSES,
    COSTS,
    FIELD_COSTS,
    LIFE_COSTS,
    NONE_OR_ALL,
    UNKNOWN,
    YEARLY_COSTS,
    as_sentences,
    causes_of,
    condition_text,
    cost_columns,
    cost_notes,
    days_below_text,
    has_first_costs,
    holds_dry_years,
    mean_year_text,
    money_text,
    odds_text,
    reached_text,
    rounded,
    signed,
    volume_display,
    water_notes,
    ways_of_100,
    with_range,
    year_mark,
)
from drysward.scenario.values import named_day
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest


class Cell(NamedTuple):
    """A number as shown, and where in the file it stands: ``season_water[field=x, plan=y]``."""

    text: str
    of: str = ""


class Group(NamedTuple):
    """Rows under one heading, such as those of a field; no heading where there is one group."""

    heading: str
    rows: Sequence[tuple[str, Sequence[Cell]]]


@dataclass(frozen=True)
class Table:
    """Groups of rows with a heading each.

    Parameters
    ----------
    note : how to read the numbers.
    found : what stands out in them, as name and text.
    is_open : whether a page shows it open, or folded away.
    """

    caption: str
    columns: Sequence[str]
    groups: Sequence[Group]
    note: str = ""
    heading: str = "Plan"
    found: Sequence[tuple[str, str]] = ()
    is_open: bool = True


Where = dict[str, object]
_MONEY = Display("", 1.0, 0)
# A longer trade-off is folded away: its chart stands open (own choice).
_MOST_OPEN = 8


def _at(name: str, where: Where) -> str:
    return f"{name}[{', '.join(f'{key}={value}' for key, value in where.items())}]"


def _by_plan(result: xr.Dataset, where: Where, cells: Callable[[Where], list[Cell]]) -> Group:
    """A row for each plan of what ``where`` chooses, under the name of its field."""
    heading = label(result, "field", str(where["field"])) if "field" in where else ""
    rows = [
        (label(result, "plan", plan), cells({**where, "plan": plan}))
        for plan in keys(result, "plan")
    ]
    return Group(heading, rows)


def _by_field(result: xr.Dataset, cells: Callable[[Where], list[Cell]]) -> list[Group]:
    return [_by_plan(result, {"field": field}, cells) for field in keys(result, "field")]


def _number(result: xr.Dataset, name: str, how: Display, where: Where) -> Cell:
    if name not in result:
        return Cell(UNKNOWN)
    value = result[name].sel(where).item()
    if math.isnan(value):
        return Cell(UNKNOWN, _at(name, where))
    return Cell(rounded(value * how.factor, how.decimals), _at(name, where))


def _year(result: xr.Dataset, name: str, where: Where) -> Cell:
    value = result[name].sel(where).item()
    text = UNKNOWN if math.isnan(value) else year_mark(result.attrs, value)
    return Cell(text, _at(name, where))


def _odds(result: xr.Dataset, name: str, where: Where) -> Cell:
    if f"{name}_se" not in result or ("stage" in where and not _has_turf(result, where)):
        return Cell(UNKNOWN)
    parts = result[[f"{name}{end}" for end in ("", "_low", "_high", "_se")]]
    return Cell(odds_text(parts.sel(where), name), _at(name, where))


def _has_turf(result: xr.Dataset, where: Where) -> bool:
    """Whether a field has turf: days below playing condition are of turf alone."""
    here = result.sel(field=[where["field"]])
    return has_days_below(here) or not has_days_below(result)


def _days_below(result: xr.Dataset, where: Where) -> Cell:
    name = "days_below_condition_mean"
    if name not in result:
        return Cell(UNKNOWN)
    parts = result[[name, "days_below_condition_1in10"]]
    return Cell(days_below_text(parts.sel(where)), _at(name, where))


def _below_note(result: xr.Dataset) -> str:
    """How to read the days below playing condition; nothing in a file that lacks them."""
    if "condition_green" not in result.attrs:
        return ""
    likely = "Run with the likely soil, turf and system. " if has_doubt(result) else ""
    names = [f"days_below_condition_{end}" for end in ("mean", "1in10")]
    above = ""
    if holds_dry_years(result) and set(names) <= set(result.data_vars):
        above = mean_above_text(*(result[name] for name in names))
    return (
        f"{likely}Days below: days of the season below playing condition, "
        f"{condition_text(result.attrs)}; average year"
        f"{' and, in brackets, 1-in-10 year' if holds_dry_years(result) else ''}"
        f"{f'; {above}' if above else ''}. "
    )


def _reached(result: xr.Dataset) -> str:
    if "reached_days" not in result.attrs:
        return "reaches its share of the field"
    return reached_text(result.attrs)


def tables(result: xr.Dataset, units: str) -> list[Table]:
    """All tables of a result, in the order of the page."""
    if kind_of(result) == SWEEP:
        return [_front_table(result, units), _effects_table(result)]
    if kind_of(result) == SEASON:
        return [_ahead_table(result, "wilt"), _ahead_table(result, "dormant"),
                _needed_table(result, units), *_skill_tables(result)]  # fmt: skip
    found = [_plans_table(result, units)]
    if kind_of(result) == SUPPLY:
        found = [*_supply_tables(result, units), *found]
    if has_doubt(result):
        found += _doubt_tables(result, units)
    if "events_playable_share" in result:
        found.append(_play_table(result))
    if fed_fields(result) and f"{FEED}applied_n_mean" in result:
        found += _feeding_tables(result, units)
    if "cost_mean" in result:
        found += _cost_tables(result)
    found.append(_detail_table(result, units))
    if "site_season_volume" in result:
        found.append(_volume_table(result, units))
    return found


def _ahead_table(result: xr.Dataset, stage: str) -> Table:
    """Odds that a stage has come by some dates, with those of a usual year."""
    places = days_ahead(result)

    def cells(here: Where) -> list[Cell]:
        one = result.sel({**here, "stage": stage})
        out = []
        for place in places:
            at = one.isel(date=place)
            usual = f" ({ways_of_100(at['usual_odds'].item())})" if "usual_odds" in at else ""
            where = {**here, "stage": stage, "date": str(at["date"].values)[:10]}
            out.append(Cell(f"{ways_of_100(at['odds'].item())}{usual}", _at("odds", where)))
        return out

    return Table(
        f"Odds of {style.STAGE_WORDS[stage]} by date",
        [f"By {day_text(result['date'].values[place])}" for place in places],
        _by_field(result, cells),
        note="Ways of 100; in brackets a usual year on the same dates.",
    )


def _needed_table(result: xr.Dataset, units: str) -> Table:
    """The next watering, and the water that is enough to the last date."""
    depth = shown("mm", units)
    sure = [float(c) for c in result["certainty"].values]

    def cells(here: Where) -> list[Cell]:
        one = result.sel(here)
        first, _, late = (day_after(result, days) for days in one["next_watering"].values)
        span = f"{first} to {late}" if late and late != first else first or UNKNOWN
        return [
            Cell(span, _at("next_watering", here)),
            _number(result, "next_depth", depth, here),
            *(_number(result, "water_needed", depth, {**here, "certainty": c}) for c in sure),
            *(
                [_number(result, "usual_water_needed", depth, {**here, "certainty": 0.5})]
                if "usual_water_needed" in result
                else []
            ),
        ]

    usual = ["Usual year"] if "usual_water_needed" in result else []
    return Table(
        f"Water still needed to {day_text(result['date'].values[-1])}, {depth.unit}",
        ["Next watering", "Depth", *(f"{c:.0%} sure" for c in sure), *usual],
        _by_field(result, cells),
        note="Enough in 50, 80 and 90 of 100 ways, shortage included.",
    )


def _skill_tables(result: xr.Dataset) -> list[Table]:
    """Skill of past outlooks over the usual year, where they were scored."""
    if "hindcast_skill" not in result:
        return []
    leads = [str(lead) for lead in result["lead"].values]
    found = []
    for name, stage, what in (
        ("hindcast_skill", "wilt", "the odds of wilt"),
        ("hindcast_skill", "dormant", "the odds of dormancy"),
        ("hindcast_water_skill", "", "the water still needed"),
    ):
        ends = result[[name, f"{name}_low", f"{name}_high"]]

        def cells(
            here: Where, ends: xr.Dataset = ends, name: str = name, stage: str = stage
        ) -> list[Cell]:
            where = {**here, "scored": "all", **({"stage": stage} if stage else {})}
            one = ends.sel(where)
            return [
                Cell(
                    skill_text(*(float(v) for v in one.sel(lead=lead).data_vars.values())),
                    _at(name, {**where, "lead": lead}),
                )
                for lead in leads
            ]

        found.append(
            Table(
                f"Skill of {what} in past outlooks",
                ["to the end" if lead == "end" else f"{lead} days" for lead in leads],
                _by_field(result, cells),
                note=f"{SKILL_NOTE}. Limits: {result.attrs['hindcast_limits']}.",
                is_open=False,
            )
        )
    return found


_DAYS = Display("d", 1.0, 0)
_SPELL = Display("d", 1.0, 1)
_DRY = 10.0
"""Return period (years) of the dry year that stands beside the average one."""


def _periods(result: xr.Dataset) -> list[float]:
    """Return periods to show: none where the years are too few for any."""
    if "period" not in result or not holds_dry_years(result):
        return []
    return [float(period) for period in result["period"].values]


_LIKELY = ", with the likely numbers"


def _with_likely(result: xr.Dataset) -> str:
    """What a caption adds where another table has the draws."""
    return _LIKELY if has_doubt(result) else ""


def _plans_table(result: xr.Dataset, units: str) -> Table:
    """How the plans differ, field by field."""
    depth = shown("mm", units)
    stages = [stage for stage in keys(result, "stage") if stage in ODDS]
    dry = [period for period in _periods(result) if period == _DRY]

    def cells(here: Where) -> list[Cell]:
        return [
            _days_below(result, here),
            *(_odds(result, "probability", {**here, "stage": stage}) for stage in stages),
            _number(result, "season_water", depth, here),
            *(_number(result, "demand", depth, {**here, "period": period}) for period in dry),
            _number(result, "peak_week_most", depth, here),
        ]

    likely = ", likely soil" if has_doubt(result) else ""
    columns = [f"Days below a year{likely}"]
    columns += [f"{style.STAGE_WORDS[stage].capitalize()}, % of years" for stage in stages]
    columns.append(f"Water a year, {depth.unit}")
    columns += [f"Water of a 1-in-{period:g} year, {depth.unit}" for period in dry]
    columns.append(f"Peak week, {depth.unit}")
    found = []
    for field in keys(result, "field"):
        noted = result[[name for name in _NOTED if name in result]].sel(field=field)
        name = label(result, "field", field)
        found += [(f"{name}: {what}", plain(text)) for what, text in water_notes(noted, units)]
    return Table(
        f"Plans by field{_with_likely(result)}",
        columns,
        _by_field(result, cells),
        f"{_below_note(result)}Odds: years in which the stage {_reached(result)}, ± standard "
        f"error; {NONE_OR_ALL}. Water: irrigation "
        "drawn from the supply, as depth over the field. Peak week: the most of any year.",
        found=found,
    )


_NOTED = (
    "irrigation_landed_mean", "irrigation_runoff_mean", "irrigation_drained_mean",
    "shortage_cause_mean", "season_water",
)  # fmt: skip


def _detail_table(result: xr.Dataset, units: str) -> Table:
    """Footprinting, days of stress, and water by return period."""
    depth = shown("mm", units)
    stages = [stage for stage in keys(result, "stage") if stage not in ODDS]
    periods = [period for period in _periods(result) if period != _DRY]

    def cells(here: Where) -> list[Cell]:
        return [
            *(_odds(result, "probability", {**here, "stage": stage}) for stage in stages),
            *(_number(result, "days_mean", _DAYS, {**here, "stage": stage})
              for stage in ("wilt", "dormant")),
            *(_number(result, "demand", depth, {**here, "period": period}) for period in periods),
        ]  # fmt: skip

    columns = [f"{style.STAGE_WORDS[stage].capitalize()}, % of years" for stage in stages]
    columns += ["Wilt days", "Dormant days"]
    columns += [f"Water of a 1-in-{period:g} year, {depth.unit}" for period in periods]
    return Table(
        "Days of stress and water of dry years",
        columns,
        _by_field(result, cells),
        "Days: mean of the years. Water of a 1-in-N year: reached or passed once in N years.",
        is_open=False,
    )


def _supply_tables(result: xr.Dataset, units: str) -> list[Table]:
    tables = [_water_table(result, units), _reliability_table(result, units)]
    if "shortage_by_cause" in result and float(result["shortage_by_cause"].max()) > 0.0:
        tables.append(_causes_table(result, units))
    if "sizing_curve" in result:
        tables.append(_trade_off_table(result, units))
    return tables


def _trade_off_table(result: xr.Dataset, units: str) -> Table:
    """A row for each size of the second part: what it needs of the first, and what that costs."""
    curve, against = result["sizing_curve"], result["sizing_against"]
    ours, theirs = size_display(curve, units), size_display(against, units)
    has_again = "sizing_curve_fails_from" in result and bool(
        result["sizing_curve_fails_from"].notnull().any()
    )
    prices = {
        f"sizing_curve_{name}": title
        for name, title in SIZE_COSTS.items()
        if f"sizing_curve_{name}" in result
    }
    rows = []
    for i, other in enumerate(against.values):
        here: Where = {"point": i}
        least = _number(result, "sizing_curve", ours, here)
        cells = [least._replace(text=NOTHING) if math.isnan(float(curve[i])) else least]
        if has_again:
            again = float(result["sizing_curve_fails_from"][i])
            larger = _number(result, "sizing_curve_fails_from", ours, here)
            cells.append(larger._replace(text="") if math.isnan(again) else larger)
        cells += [_number(result, name, _MONEY, here) for name in prices]
        size = rounded(float(other) * theirs.factor, theirs.decimals)
        rows.append((f"{size} {theirs.unit}", cells))
    columns = [_with_unit(str(curve.attrs["long_name"]).capitalize(), ours.unit)]
    columns += [f"Fails again from, {ours.unit}"] if has_again else []
    columns += [f"{title.capitalize()}, {result[name].units}" for name, title in prices.items()]
    return Table(
        trade_title(result),
        columns,
        [Group("", rows)],
        f"{priced_text(result)}." if prices else "",
        str(against.attrs["long_name"]).capitalize(),
        is_open=len(rows) <= _MOST_OPEN,
    )


def _water_table(result: xr.Dataset, units: str) -> Table:
    names = ("demand_mean", "delivered_mean", "shortage_mean")
    unit = volume_display([result[name] for name in names], units)

    dry = "supply_demand_return"
    periods = [one for one in _periods(result) if one == dry_period(result) and dry in result]

    def cells(here: Where) -> list[Cell]:
        return [
            _number(result, names[0], unit, here),
            *(_number(result, dry, unit, {**here, "period": period}) for period in periods),
            *(_number(result, name, unit, here) for name in names[1:]),
            _number(result, "restricted_days_mean", Display("d", 1.0, 1), here),
        ]

    heads = ["Demand", *(f"Demand, 1-in-{period:g} dry year" for period in periods)]
    return Table(
        f"Supply: water of {mean_year_text(result.attrs)} {stated_text(result, units)}",
        [*(f"{name}, {unit.unit}" for name in (*heads, "Delivered", "Shortage")),
         "Restricted days"],
        [_by_plan(result, {}, cells)],
        # An older file counted nights, whatever came later.
        "Demand: what the plan wants. Shortage: demand that the field never gets; what comes on a "
        "later night is no shortage." if "shortage_by_cause" in result else "",
        found=[("Restricted", text) for text in restricted_lines(result, units)],
    )  # fmt: skip


def _reliability_table(result: xr.Dataset, units: str) -> Table:
    """How reliable the supply is; without what an older file lacks."""
    volume = volume_display([result[name] for name in ("vulnerability", "worst_event")], units)
    percent = Display("%", 100.0, 1)
    by_year = "short_year" in result and "short_year" in result.attrs

    def cells(here: Where) -> list[Cell]:
        if not float(result["demand_mean"].sel(here)):
            return [Cell(UNKNOWN)] * len(columns)
        of_years = []
        if by_year:
            of_years = [
                *(_odds(result, name, here) for name in ("no_shortage", "short_year")),
                _number(result, "worst_year_share", percent, here),
                _year(result, "worst_year", here),
            ]
        return [
            *of_years,
            _odds(result, "shortage_odds", here),
            *(_number(result, name, percent, here)
              for name in ("time_reliability", "volume_reliability")),
            _number(result, "spell_days", _SPELL, here),
            *(_number(result, name, volume, here) for name in ("vulnerability", "worst_event")),
        ]  # fmt: skip

    columns = []
    if by_year:
        limit = f"{100.0 * float(result.attrs['short_year']):g}%"
        columns = ["Years without shortage, %", f"Years short by over {limit}, %"]
        columns += ["Most short year by, %", "Most short year"]
    columns += [
        "Years with any day short, %", "Days in full, %", "Volume delivered, %",
        "Mean spell, days", f"Mean spell, {volume.unit}", f"Worst spell, {volume.unit}",
    ]  # fmt: skip
    return Table(
        f"Supply: reliability {stated_text(result, units)}",
        columns,
        [_by_plan(result, {}, cells)],
        f"Years: percent of the years, ± standard error; {NONE_OR_ALL}. Short by: shortage over "
        "the demand of the year. Days in full: days whose demand is met the same night. Spell: "
        "days short in a row, and the water missed in them; it ends with the season. Worst "
        f"spell: {WORST_SPELL}. -: the plan demands no water.",
        found=[("Closed nights", CLOSED_NIGHTS)] if has_restricted_days(result) else [],
    )


def _causes_table(result: xr.Dataset, units: str) -> Table:
    """Why water was short: a row for each plan and field that is, a column for each cause."""
    unit = volume_display([result["shortage_by_field"]], units)
    causes = causes_of(result)
    groups = []
    for plan in keys(result, "plan"):
        rows = []
        for field in keys(result, "field"):
            here: Where = {"plan": plan, "field": field}
            if float(result["shortage_by_field"].sel(here)) > 0.0:
                cells = [
                    _number(result, "shortage_by_cause", unit, {**here, "cause": cause})
                    for cause in causes
                ]
                cells.append(_number(result, "shortage_by_field", unit, here))
                rows.append((label(result, "field", field), cells))
        if rows:
            groups.append(Group(label(result, "plan", plan), rows))
    headings = [CAUSES[cause][0].capitalize() for cause in causes]
    meanings = "; ".join(f"{CAUSES[cause][0]}: {CAUSES[cause][1]}" for cause in causes)
    return Table(
        "Shortage by cause",
        [f"{heading}, {unit.unit}" for heading in (*headings, "All")],
        groups,
        " ".join(as_sentences(["mean of the years", meanings])),
        "Field",
        is_open=False,
    )


def _volume_table(result: xr.Dataset, units: str) -> Table:
    """Volumes of each field and of the whole site, under plans that use any water."""
    names = ["season_volume", "peak_week_volume", "demand_volume"]
    of_all = [result[f"{start}{name}"] for name in names for start in ("", "site_")]
    unit = volume_display(of_all, units)
    periods = _periods(result)
    places: list[tuple[str, str, Where]] = [
        (label(result, "field", field), "", {"field": field}) for field in keys(result, "field")
    ]
    no_sum = no_sum_text(result.attrs, keys(result, "field"))
    of_site = (
        "for the whole site the sum of the fields' peak weeks, no less than the site's own"
    )
    if len(places) > 1 and not no_sum:
        places.append(("Whole site", "site_", {}))
    groups = []
    for plan in keys(result, "plan"):
        if float(result["site_season_volume"].sel(plan=plan)) == 0.0:
            continue
        rows = []
        for place, start, where in places:
            here = {**where, "plan": plan}
            cells = [_number(result, f"{start}{name}", unit, here) for name in names[:2]]
            cells += [
                _number(result, f"{start}{names[2]}", unit, {**here, "period": period})
                for period in periods
            ]
            rows.append((place, cells))
        groups.append(Group(label(result, "plan", plan), rows))
    columns = [f"Water a year, {unit.unit}", f"Peak week, {unit.unit}"]
    columns += [f"1-in-{period:g} year, {unit.unit}" for period in periods]
    return Table(
        f"Water by volume{_with_likely(result)}",
        columns,
        groups,
        f"Drawn from the supply. Peak week: the most of any year; {no_sum or of_site}.",
        "Field",
        is_open=False,
    )


def _doubt_tables(result: xr.Dataset, units: str) -> list[Table]:
    """The spread across draws by field; then, with two plans or more, how sure the ranking is."""
    drawn = result[[name for name in result.data_vars if str(name).startswith("doubt_")]]
    found = [_spread_table(result, drawn, units)]
    if drawn.sizes["plan"] > 1 and fields_of_turf(drawn):
        found.append(_ranking_table(drawn))
    return found


def _spread_table(result: xr.Dataset, drawn: xr.Dataset, units: str) -> Table:
    depth = shown("mm", units)
    period = dry_period(drawn)
    has_dry = holds_dry_years(result)

    def cells(here: Where) -> list[Cell]:
        return [
            _spread(drawn, "days_below_condition", _DAYS, here),
            *(_spread_of_odds(drawn, {**here, "stage": stage}) for stage in ODDS),
            _spread(drawn, "water", depth, here),
            *([_spread(drawn, "demand", depth, {**here, "period": period})] if has_dry else []),
        ]  # fmt: skip

    columns = ["Days below a year, over the draws"]
    columns += [f"{word.capitalize()}, of 100 years" for word in ODDS.values()]
    columns.append(f"Water a year, {depth.unit}")
    columns += [f"Water of a 1-in-{period:g} year, {depth.unit}"] if has_dry else []
    found = [("Summary", plain(text)) for text in doubt_sentences(result, best_plan(result))]
    for field in keys(drawn, "field"):
        of_field, name = drawn.sel(field=field), label(drawn, "field", field)
        notes = {"Too wide": too_wide(of_field), "Measure": spread_comes_from(of_field)}
        found += [(f"{name}: {what}", plain(text)) for what, text in notes.items() if text]
    return Table(
        "Uncertainty of soil, turf and system",
        columns,
        _by_field(drawn, cells),
        " ".join(as_sentences([draws_note(drawn), _SAME_LIMITS, DRAWN])),
        found=found,
    )


_SAME_LIMITS = (
    "odds without limits: their spread across the draws is no larger than chance. Odds of two "
    "stages below 1 of 100 years say no more than that both are rare"
)


def _spread(
    drawn: xr.Dataset,
    name: str,
    how: Display,
    where: Where,
    in_text: Callable[[float, int], str] = rounded,
) -> Cell:
    """``17 (0 to 125)``: the mean over draws, and 5 to 95% across them."""
    return Cell(
        with_range(*_spread_texts(drawn, name, how, where, in_text)), _at(f"doubt_{name}", where)
    )


def _spread_texts(
    drawn: xr.Dataset,
    name: str,
    how: Display,
    where: Where,
    in_text: Callable[[float, int], str] = rounded,
) -> tuple[str, str, str]:
    parts = drawn[[f"doubt_{name}{end}" for end in ("", "_low", "_high")]]
    return spread_texts(parts.sel(where), name, how.factor, how.decimals, in_text)


def _spread_of_odds(drawn: xr.Dataset, where: Where) -> Cell:
    """``22 (7-43)``; ``<1`` where both limits print as the same, since the spread across draws is
    then no larger than chance.
    """
    p, low, high = (
        100.0 * drawn[f"doubt_probability{end}"].sel(where).item() for end in ("", "_low", "_high")
    )
    return Cell(odds_and_limits(p, low, high), _at("doubt_probability", where))


def _ranking_table(drawn: xr.Dataset) -> Table:
    n = int(drawn.attrs["doubt_draws"])
    plans = keys(drawn, "plan")

    def cells(here: Where) -> list[Cell]:
        return [
            Cell("") if other == here["plan"] else _count(drawn, {**here, "other": other})
            for other in plans
        ]  # fmt: skip

    return Table(
        "Certainty of the ranking",
        [f"Fewer than “{label(drawn, 'plan', plan)}”" for plan in plans],
        [_by_plan(drawn, {"field": field}, cells) for field in fields_of_turf(drawn)],
        f"Of {n} draws, in how many the plan of the row loses fewer days than the plan of the "
        f"column; a tie counts half. Near {n} or 0 the order of the two is sure whatever soil, "
        f"turf and system are; near {n / 2:g} it is open.",
        found=[("Fields", plain(text)) for text in between_fields(drawn)],
        is_open=False,
    )


def _count(drawn: xr.Dataset, where: Where) -> Cell:
    share = drawn["doubt_fewer"].sel(where).item()
    return Cell(count_of_draws(drawn, share), _at("doubt_fewer", where))


def _cost_tables(result: xr.Dataset) -> list[Table]:
    """Costs by field and of the whole site; of the site's year alone in a file that lacks them."""
    money = str(result["cost_mean"].attrs.get("units", ""))
    whole_site: list[Where] = [{}]
    if "priced" not in result.attrs:
        names = ["water_mean", "energy_mean", "labor_mean", "mean", "dry"]
        columns = [(f"cost_{name}", COSTS[name][0]) for name in names]
        return [_cost_table(result, "Cost of a year", columns, money, whole_site)]
    note = " ".join(f"{name}: {text}." for name, text in cost_notes(result, compare=False))
    no_sum = no_sum_text(result.attrs, keys(result, "field"))
    has_storage = "cost_storage" in result and bool((result["cost_storage"] > 0.0).any())
    if no_sum and not has_storage:
        note = f"{note} {as_sentences([no_sum])[0]}".strip()
    per_field = cost_columns(result, "field_cost", FIELD_COSTS)
    fields: list[Where] = [{"field": field} for field in keys(result, "field")]
    found = [_cost_table(result, "Cost by field", per_field, money, fields, note, is_open=False)]
    if no_sum and not has_storage:
        return found
    if yearly := cost_columns(result, "cost", YEARLY_COSTS):
        columns = [*yearly, ("energy_used_mean", "energy, kWh")]
        found.append(_cost_table(result, "Whole site: cost of a year", columns, money, whole_site))
    if has_first_costs(result):
        columns = cost_columns(result, "cost", LIFE_COSTS)
        caption = "Whole site: first cost and life"
        found.append(_cost_table(result, caption, columns, money, whole_site))
    return found


def _cost_table(
    result: xr.Dataset,
    caption: str,
    columns: Sequence[tuple[str, str]],
    money: str,
    places: Iterable[Where],
    note: str = "",
    is_open: bool = True,
) -> Table:
    """A row for each plan at each place; ``columns`` are variables and their headings."""

    def cells(here: Where) -> list[Cell]:
        return [_money(result, name, here) for name, _ in columns]

    headings = [
        f"{heading[0].upper()}{heading[1:]}" + ("" if heading.endswith("kWh") else f", {money}")
        for _, heading in columns
    ]
    groups = [_by_plan(result, place, cells) for place in places]
    return Table(caption, headings, groups, note, is_open=is_open)


def _money(result: xr.Dataset, name: str, where: Where) -> Cell:
    if name not in result:
        return Cell(UNKNOWN)
    return Cell(money_text(result[name].sel(where).item()), _at(name, where))


def _play_table(result: xr.Dataset) -> Table:
    days = {
        "days_hard_mean": "Hard days",
        "days_mud_mean": "Mud days",
        "days_standing_mean": "Days of standing water",
        "days_airless_mean": "Airless days",
        "disease_nights_mean": "Disease nights",
    }
    lost = {"peak_worn_mean": "Worn, %", "peak_root_loss_mean": "Roots lost, %"}
    limits = hard_limits(result)
    fields = [key for key in keys(result, "field") if bool(result["has_play"].sel(field=key))]
    tenth = Display("d", 1.0, 0 if has_play_range(result) else 1)
    percent = Display("%", 100.0, 0)
    range_text = play_range_text(result, "in brackets")

    def cells(here: Where) -> list[Cell]:
        names = {f"events_{kind}_share": percent for kind in ("playable", "hard", "wet")}
        names |= dict.fromkeys(days, tenth) | dict.fromkeys(lost, percent)
        return [likely(name, how, here) for name, how in names.items()]

    def likely(name: str, how: Display, here: Where) -> Cell:
        cell = _number(result, name, how, here)
        if not has_play_range(result):
            return cell
        _, *ends = _spread_texts(result, f"{PLAY}{name.rpartition('_')[0]}", how, here)
        return cell._replace(text=with_range(cell.text, *ends))

    def limited(group: Group, field: str) -> Group:
        hard = f"; hard: over {limits[field]:.0f} g" if field in limits else ""
        return group._replace(heading=f"{group.heading}{hard}")

    return Table(
        "Playability",
        ["Events playable, %", "Too hard, %", "Too wet, %", *days.values(), *lost.values()],
        [limited(_by_plan(result, {"field": field}, cells), field) for field in fields],
        " ".join(as_sentences([
            "events: of all years; those with judged = false are not among them",
            "days: of the season, mean of the years, on which the stated share of the field is "
            "affected",
            *([f"hard: over {limits[fields[0]]:.0f} g"] if len(fields) == 1 and limits else []),
            f"hardness is an estimate from moisture, soil and cover, in g of a {HAMMER}",
            *([text] if (text := unlike_limits_text(result)) else []),
            "disease nights favor leaf disease",
            f"worn and roots lost: mean of the yearly peaks; {PLAY_ADDS}",
            range_text,
        ])),
    )  # fmt: skip


def _feeding_tables(result: xr.Dataset, units: str) -> list[Table]:
    """The year of feeding, what leaves, what feeding changes, and the doses."""
    how = shown("kg ha-1", units)
    fine = Display(how.unit, how.factor, how.decimals + 1)
    strength, fields = Display("mg/L", 1.0, 1), fed_fields(result)

    def mean(name: str, display: Display, here: Where) -> Cell:
        return _number(result, f"{FEED}{name}", display, here)

    def turf(here: Where) -> list[Cell]:
        planned = len(doses_of(result, str(here["field"])))
        doses = mean("doses_mean", Display("", 1.0, 1), here)
        n_doses = result[f"{FEED}doses_mean"].sel(here).item()
        return [
            mean("applied_n_mean", how, here),
            doses._replace(text=doses_text(n_doses, planned)) if planned else doses,
            mean("doses_late_mean", Display("", 1.0, 1), here),
            mean("clippings_mean", Display(how.unit, how.factor, 0), here),
            *(_weeks(result, state, here) for state in ("hungry", "lush")),
            mean("uptake_n_mean", how, here),
            mean("freed_n_mean", how, here),
        ]

    def losses(here: Where) -> list[Cell]:
        return [
            mean("leached_n_mean", how, here),
            mean("leached_n_1in10", how, here),
            mean("leached_mg_l_mean", strength, here),
            *(mean(f"{name}_mean", fine, here) for name in ("ammonia_n", "gas_n", "runoff_n")),
            mean("runoff_p_mean", fine, here),
            mean("runoff_p_1in10", fine, here),
        ]

    found = [
        Table(
            f"Nitrogen of a year, and clippings, {how.unit}",
            ["Fed", "Doses", "Late", "Dry clippings", "Hungry weeks", "Lush weeks", "Taken up",
             "From soil"],
            [_by_plan(result, {"field": field}, turf) for field in fields],
            "Mean of the years. Doses given of those planned; those that are late waited for turf "
            "or ground that can take them, and the others found none in time. Weeks: growing weeks "
            "in which turf is pale for want of nitrogen, or dark and soft; in brackets the years "
            "of 100 with more than two. Taken up counts nitrogen again that turf lets fall and "
            "that rots.",
        ),
        Table(
            f"What leaves in a year, {how.unit}",
            ["Nitrogen leached", "Leached, 1 year in 10", "In drainage, mg/L", "Ammonia",
             "Gas of wet soil", "In runoff", "Phosphorus in runoff", "Phosphorus, 1 year in 10"],
            [_by_plan(result, {"field": field}, losses) for field in fields],
            "Mean of the years, and what 1 year in 10 passes. Nitrogen, but for phosphorus in "
            "runoff. Mg/L: of all water that drained.",
        ),
    ]  # fmt: skip
    if f"doubt_{FEED}leached_n" in result:
        found.append(_drawn_feeding(result, fields, units))
    if f"{FEED}water_change" in result:
        found.append(_effect_table(result, fields, units))
    if has_range_of_effect(result):
        found.append(_effect_draws_table(result, fields, units))
    return [*found, _doses_table(result, fields, units)]


def _weeks(result: xr.Dataset, state: str, where: Where) -> Cell:
    name = f"{FEED}days_{state}_mean"
    years = 100.0 * result[f"{FEED}{state}_years"].sel(where).item()
    return Cell(f"{weeks_text(result[name].sel(where).item())} ({years:.0f})", _at(name, where))


def _drawn_feeding(result: xr.Dataset, fields: Sequence[str], units: str) -> Table:
    """How far the main numbers may be off."""
    how, weeks = shown("kg ha-1", units), Display("weeks", 1.0 / 7.0, 0)
    compared = {
        "leached_n": ("Nitrogen leached", how),
        "clippings": ("Dry clippings", Display(how.unit, how.factor, 0)),
        "days_hungry": ("Hungry weeks", weeks),
        "days_lush": ("Lush weeks", weeks),
    }

    def cells(here: Where) -> list[Cell]:
        return [_spread(result, f"{FEED}{n}", way, here) for n, (_, way) in compared.items()]

    return Table(
        f"What is not known of feeding, {how.unit} and weeks a year",
        [head for head, _ in compared.values()],
        [_by_plan(result, {"field": field}, cells) for field in fields],
        f"Mean of {result.attrs['doubt_draws']} draws of soil, turf, system and the numbers of "
        "feeding, and 5 to 95% of them in brackets.",
        is_open=False,
    )


def _compared(units: str) -> dict[str, tuple[str, Display]]:
    """What feeding shifts: its name in the result, its heading, and how it is shown."""
    depth, plain_days = shown("mm", units), Display("d", 1.0, 0)
    return {
        "below": ("Days below", plain_days),
        "wilt": ("Wilt days", plain_days),
        "recovery": ("Days of recovery", plain_days),
        "water": (f"Water, {depth.unit}", depth),
    }


def _effect_draws_table(result: xr.Dataset, fields: Sequence[str], units: str) -> Table:
    """What feeding adds, over the draws."""
    compared = _compared(units)

    def cells(here: Where) -> list[Cell]:
        return [
            _spread(result, f"{FEED}{name}_change", how, here, signed)
            for name, (_, how) in compared.items()
        ]

    return Table(
        SHIFT_OF_DRAWS,
        [head for head, _ in compared.values()],
        [_by_plan(result, {"field": field}, cells) for field in fields],
        f"Mean of {result.attrs['doubt_draws']} draws, and 5 to 95% of them in brackets. "
        f"{' '.join(as_sentences([SHIFT_MEANS]))} Days of recovery: {RECOVERY_OF_DRAWS}.",
    )


def _effect_table(result: xr.Dataset, fields: Sequence[str], units: str) -> Table:
    compared = _compared(units)

    def cells(here: Where) -> list[Cell]:
        out = []
        for name, (_, how) in compared.items():
            fed = _number(result, f"{FEED}{name}_fed", how, here)
            without = _number(result, f"{FEED}{name}_plain", how, here)
            known = fed.text != UNKNOWN
            out.append(fed._replace(text=f"{fed.text} ({without.text})") if known else fed)
        return out

    return Table(
        f"{SHIFTS}{_LIKELY}",
        [head for head, _ in compared.values()],
        [_by_plan(result, {"field": field}, cells) for field in fields],
        "As fed, and in brackets without feeding: the same plans and years with turf as the "
        "published tables of water use have it, neither hungry nor lush. It is not turf that is "
        f"never fed. {SHIFTS_WHY}.",
        is_open=False,
    )


def _doses_table(result: xr.Dataset, fields: Sequence[str], units: str) -> Table:
    """The calendar of feeding: a row for each dose."""
    how, whole = shown("kg ha-1", units), shown("kg", units)

    def amount(kg_ha: float) -> Cell:
        return Cell(rounded(kg_ha * how.factor, max(how.decimals, 1)) if kg_ha else UNKNOWN)

    def for_field(kg_ha: float, field: str) -> Cell:
        kg = kg_ha * result["area_m2"].sel(field=field).item() / M2_PER_HA
        return Cell(weight_text(kg * whole.factor) if kg else UNKNOWN)

    def held(doses: Sequence[dict[str, Any]]) -> list[Cell]:
        names = ("nitrogen", "quick", "phosphorus", "potassium")
        nitrogen, quick, *others = (sum(dose[name] for dose in doses) for name in names)
        return [*map(amount, (nitrogen, quick, nitrogen - quick, *others))]

    groups = []
    for field in fields:
        doses = doses_of(result, field)
        rows = [
            (
                named_day(int(dose["day"]) - 1),
                [
                    Cell(plain(str(dose["product"]))),
                    # Files of before 0.8 do not have it.
                    amount(dose.get("product_kg_ha", 0.0)),
                    for_field(dose.get("product_kg_ha", 0.0), field),
                    *held([dose]),
                ],
            )
            for dose in doses
        ]
        rows.append(("Year", [Cell(UNKNOWN)] * 3 + held(doses)))
        groups.append(Group(label(result, "field", field), rows))
    return Table(
        f"Feeding calendar, {how.unit}",
        ["Product", "Of product", f"For the field, {whole.unit}", "Nitrogen", "Quick", "Slow",
         "Phosphorus (P)", "Potassium (K)"],
        groups,
        str(result.attrs.get(CAUTIONS, "")),
        heading="Day",
    )  # fmt: skip


def _front_table(result: xr.Dataset, units: str) -> Table:
    depth = shown("mm", units)
    kept = front_of(result, "water", "wilt")
    axes = [name for name in json.loads(result.attrs["axes"]) if name in kept]
    rows = []
    for i in range(kept.sizes["choice"]):
        one = kept.isel(choice=i)
        odds = odds_and_error(*(100.0 * one[name].item() for name in ("risk", "risk_se")))
        cells = [Cell(rounded(one["cost"].item() * depth.factor, depth.decimals)), Cell(odds)]
        cells += [Cell(setting_text(one[name].item())) for name in axes]
        rows.append((label(result, "plan", str(one["plan"].item())), cells))
    columns = [f"Water a year, {depth.unit}", "Wilt, % of years"]
    columns += [_with_unit(name, kept[name].attrs.get("units", "")) for name in axes]
    return Table(
        "Choices that no other beats",
        columns,
        [Group("", rows)],
        "Odds of the worst field, ± standard error.",
    )


def _effects_table(result: xr.Dataset) -> Table:
    groups = []
    for plan in keys(result, "plan"):
        found = effects(result, "wilt", plan)
        rows = []
        for name in strongest(result, "wilt", plan):
            one = found.sel(axis=name)
            share = one["main"].item()
            cells = [
                Cell(UNKNOWN if math.isnan(share) else f"{100 * share:.0f}"),
                Cell(plain(str(one["low_at"].item()))),
                Cell(f"{100 * one['low_mean'].item():.0f}"),
                Cell(plain(str(one["high_at"].item()))),
                Cell(f"{100 * one['high_mean'].item():.0f}"),
            ]
            rows.append((plain(name), cells))
        groups.append(Group(label(result, "plan", plan), rows))
    columns = ["Share of variance, %", "Least at", "Wilt there, %", "Most at", "Wilt there, %"]
    return Table("Drivers of wilt", columns, groups, heading="Axis")


def _with_unit(name: str, unit: str) -> str:
    return f"{plain(name)}, {unit}" if unit not in ("", "1") else plain(name)
