"""What a page says: the answer, and what was assumed. Numbers as the file holds them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import xarray as xr

from drysward.pages import style
from drysward.pages.result import (
    SEASON,
    SUPPLY,
    SWEEP,
    keys,
    kind_of,
    label,
    plain,
)
from drysward.pages.sweep_figures import odds_and_error
from drysward.quantities import shown
from drysward.results.answer_text import (
    PLAY_ADDS,
    PLAYABLE,
    best_sentences,
    has_play,
    has_play_range,
    play_range_text,
)
from drysward.results.choice import (
    CHOSEN_PLAN,
    best_plan,
    days_below,
    driest_plan,
    has_days_below,
    mean_above_text,
    plan_of_goal,
    rule_text,
    shown_plan,
    shown_plan_and_which,
    supply_plan,
    water_names,
)
from drysward.results.dataset import FEED
from drysward.results.doubt_text import (
    ENOUGH_DRAWS,
    OPEN,
    STANDS_TEXT,
    choice_sentence,
    dry_period,
    fields_of_turf,
    has_doubt,
    measures_first,
    spread_texts,
    why_no_measure,
)
from drysward.results.feeding_text import CAUTIONS as FEEDING_CAUTIONS
from drysward.results.feeding_text import fed_fields, feeding_sentences
from drysward.results.outside import counted_season_text
from drysward.results.season_text import (
    OUTLOOK_STAGES,
    days_line,
    season_notes,
    season_sentences,
)
from drysward.results.sizing_text import (
    LIKELY,
    again_text,
    answer_text,
    anyway_lines,
    bounds_lines,
    carried_text,
    confidence_lines,
    limits_text,
    not_monotone_text,
    priced_text,
    size_cost_text,
    size_text,
    smallest_text,
    stated_text,
)
from drysward.results.supply_text import (
    driest_and_shortest,
    dry_year_sentence,
    main_cause_sentence,
    restricted_lines,
    worst_year_text,
)
from drysward.results.text import (
    GOAL_PLAN,
    MADE_WEATHER,
    UNKNOWN,
    as_sentences,
    condition_text,
    difference_text,
    driest_years,
    file_means_text,
    holds_dry_years,
    listed,
    mean_year_text,
    more_text,
    procedures,
    rounded,
    short_record_text,
    spell_text,
    volume_display,
    volume_text,
    with_range,
    year_text,
    years_used,
)
from drysward.scenario.choices import RECORD
from drysward.studies.sweep.effects import effects
from drysward.studies.sweep.front import DAYS_BELOW
from drysward.studies.sweep.front import front as front_of
from drysward.studies.sweep.surface import strongest

MOST_FIELDS = 6
"""Fields that a sentence names; a table has them all."""
NOT_KNOWN, NO_TURF = "not known", "no turf"


class FieldAnswer(NamedTuple):
    """The answer for one field: its best plan and what that plan does, as text.

    ``measure`` is what narrows the range most, "" where the draws do not say.
    """

    field: str
    plan: str
    days_below: str
    days_below_dry: str
    days_below_range: str
    playable: str
    water: str
    water_dry: str
    measure: str


@dataclass(frozen=True)
class Answer:
    """The answer box: a line for each field, sentences on the whole, and how to read it."""

    fields: Sequence[FieldAnswer]
    sentences: Sequence[str]
    note: str = ""
    plan_head: str = "Best plan"

    def has(self, name: str) -> bool:
        """Whether any field has something in that column."""
        return any(getattr(one, name) for one in self.fields)


def chance(one: xr.Dataset, name: str = "probability") -> str:
    """``in 74 of 100 years (limits 69 to 79)``, or a limit when none or all years had it."""
    p, low, high = (100.0 * one[f"{name}{end}"].item() for end in ("", "_low", "_high"))
    if np.isnan(p):
        return "in an unknown share of years"
    if p == 0.0:
        return f"in none of the years (at most {np.ceil(high):.0f} of 100)"
    if p == 100.0:
        return f"in every year (at least {np.floor(low):.0f} of 100)"
    # A rare event is not none, and a common one not all.
    share = f"{p:.0f}" if 1.0 <= p <= 99.0 else f"{p:.1f}"
    return f"in {share} of 100 years (limits {low:.0f} to {high:.0f})"


def answer(result: xr.Dataset, units: str) -> Answer:
    """What the result says, field by field and as a whole, with its uncertainty."""
    if kind_of(result) == SWEEP:
        return Answer([], _sweep_answer(result, units))
    if kind_of(result) == SEASON:
        sentences = [days_line(result), *season_sentences(result, units)]
        return Answer([], [plain(text) for text in sentences])
    sentences = _supply_answer(result, units) if kind_of(result) == SUPPLY else []
    sentences += _turf_sentences(result, units)
    if fed_fields(result) and f"{FEED}applied_n_mean" in result:
        fed = feeding_sentences(result, shown_plan(result), units)
        sentences += [plain(text) for text in fed]
    if "difference_first" in result:
        compared = plain(difference_text(result, *shown_plan_and_which(result)))
        sentences += [compared] if compared and compared not in sentences else []
    lines = [_field_answer(result, field, units) for field in keys(result, "field")]
    head = "Plan of the goal" if plan_of_goal(result) else Answer.plan_head
    return Answer(lines, sentences, _how_to_read(result), head)


def _field_answer(result: xr.Dataset, field: str, units: str) -> FieldAnswer:
    of_field = result.sel(field=[field])
    best = plan_of_goal(result) or _best_plan(of_field)
    one = of_field.sel(plan=best).squeeze("field")
    has_turf = has_days_below(of_field) or not has_days_below(result)
    depth = shown("mm", units)
    typical, dry = water_names(result)
    spread, measure = "", ""
    if has_doubt(result) and not has_turf:
        spread = NO_TURF
        if any(measures_first(result.sel(field=one)) for one in fields_of_turf(result)):
            measure = NO_TURF
    elif has_doubt(result) and field in fields_of_turf(result):
        _, low, high = spread_texts(one, "days_below_condition")
        spread = f"{low} to {high}" if low != UNKNOWN else ""
        measure = plain(measures_first(result.sel(field=field)))
    playable = ""
    if "events_playable_share" in one:
        share = rounded(100.0 * one["events_playable_share"].item(), 0)
        playable = "no events" if share == UNKNOWN else f"{share}%"
        if has_play_range(one) and share != UNKNOWN:
            _, low, high = spread_texts(one, "play_events_playable", 100.0)
            playable += with_range(share, low, high).removeprefix(share)
    return FieldAnswer(
        label(result, "field", field),
        label(result, "plan", best),
        *(_days_below(one) if has_turf else (NO_TURF, NO_TURF)),
        spread,
        playable,
        _known(one, typical, depth.factor, depth.decimals, f" {depth.unit}"),
        _known(_of_dry_year(one), dry, depth.factor, depth.decimals, f" {depth.unit}")
        if holds_dry_years(result)
        else "",
        measure,
    )


def _days_below(one: xr.Dataset) -> tuple[str, str]:
    """Days below in the mean and the 1-in-10 year."""
    if not has_days_below(one):
        return NOT_KNOWN, NOT_KNOWN
    mean, worst = (rounded(days.item(), 0) for days in days_below(one))
    return mean, worst if holds_dry_years(one) else ""


def _best_plan(of_field: xr.Dataset) -> str:
    """The best plan of one field; on one without turf the plan with the most
    playable events, of equals the one with less water.
    """
    if has_days_below(of_field) or "events_playable_share" not in of_field:
        return best_plan(of_field)
    playable = of_field["events_playable_share"].squeeze("field").fillna(0.0).values
    water = of_field["season_water"].squeeze("field").values
    return keys(of_field, "plan")[int(np.lexsort((water, -playable))[0])]


def _of_dry_year(one: xr.Dataset) -> xr.Dataset:
    return one.sel(period=dry_period(one)) if "period" in one.dims else one


def _known(
    one: xr.Dataset, name: str, factor: float, decimals: int, unit: str = ""
) -> str:
    """A number with its unit, or that it is not known."""
    value = one[name].item() * factor if name in one else np.nan
    return NOT_KNOWN if np.isnan(value) else f"{rounded(value, decimals)}{unit}"


def _turf_sentences(result: xr.Dataset, units: str) -> list[str]:
    """The best plan, what the least water does, how sure the ranking is, what is uncertain."""
    if not has_days_below(result):
        best = best_plan(result)
        parts = [
            f"{chance(result.sel(field=f, plan=best, stage='wilt'))} on {_name(result, f)}"
            for f in _first_fields(result)
        ]
        return [
            f"The best plan is {_plan(result, best)}: wilt comes "
            f"{listed(parts)}{_more(result)}. The file does not hold the days below."
        ]
    says = {"n_years", "weather_kind"} <= set(result.attrs)
    sentences = [text] if says and (text := short_record_text(result.attrs)) else []
    if plan_of_goal(result):
        sentences.append(_goal_sentence(result))
    else:
        sentences += [plain(text) for text in best_sentences(result, system=units, on_page=True)]
        sentences.append(_least_water_sentence(result))
    if not has_doubt(result):
        likely = "Uncertainty: the numbers hold for the likely soil, turf and system"
        draws = f"--draws {ENOUGH_DRAWS}"
        if "sizing_draws" in result.attrs:
            sentences.append(
                f"{likely}. Only the size was tried in {result.attrs['sizing_draws']} draws of "
                f"what they may really be. 'drysward compare {draws}' shows how far odds may be "
                "off."
            )
        else:
            sentences.append(f"{likely}. Run again with {draws} to see how far they may be off.")
        return sentences
    if ranking := choice_sentence(result, best_plan(result)):
        sentences.append(plain(ranking))
    turf = fields_of_turf(result)
    if turf and not any(measures_first(result.sel(field=field)) for field in turf):
        reason = why_no_measure(result.sel(field=turf[0])) or OPEN
        sentences.append(f"What to measure first: {reason}.")
    return sentences


def _goal_sentence(result: xr.Dataset) -> str:
    """How often turf goes dormant under the plan of a sizing, and how often its goal fails."""
    plan = plan_of_goal(result)
    parts = [
        f"{chance(one)} on {_name(result, field)}"
        for field in _first_fields(result)
        if not np.isnan((one := result.sel(field=field, plan=plan, stage="dormant"))["probability"])
    ]
    text = (
        f"With {LIKELY}, under {_plan(result, plan)} dormancy comes {listed(parts)}{_more(result)}."
    )
    if "sizing_failing_given" in result:
        n = int(result["sizing_years"].item())
        text += (
            f" With the supply as given {int(result['sizing_failing_given'].item())} of {n} years "
            f"fail the goal; {int(result['sizing_allowed_years'].item())} may."
        )
    return text


def _least_water_sentence(result: xr.Dataset) -> str:
    driest = driest_plan(result)
    if result.sizes["plan"] == 1:
        return "There is no other plan to compare."
    if all(best_plan(result.sel(field=[f])) == driest for f in keys(result, "field")):
        return "The best plan is also the plan with the least water."
    days = days_below(result)[0].sel(plan=driest)
    parts = [
        f"{days.sel(field=field).item():.0f} on {_name(result, field)}"
        for field in keys(result, "field")
        if not np.isnan(days.sel(field=field).item())
    ]
    rest = more_text(len(parts) - MOST_FIELDS)
    return (
        f"With the least water, {_plan(result, driest)}, days below in the average year are "
        f"{listed(parts[:MOST_FIELDS])}{rest}."
    )


def _how_to_read(result: xr.Dataset) -> str:
    parts = [] if plan_of_goal(result) else [rule_text()]
    if "condition_green" in result.attrs:
        parts.append(
            "days below: days of the season below playing condition, "
            f"{condition_text(result.attrs)}"
        )
    if counts := counted_season_text(result.attrs):
        parts.append(counts)
    if has_play(result):
        parts.append(PLAY_ADDS)
    if "events_playable_share" in result:
        parts.append(f"events playable: {PLAYABLE}")
        if has_play_range(result):
            parts[-1] += f"; {play_range_text(result, 'in brackets')}"
    parts.append("average year: the mean of all years")
    if holds_dry_years(result):
        parts[-1] += "; 1-in-10 year: one year in ten is worse"
        if has_days_below(result) and (above := mean_above_text(*days_below(result))):
            parts[-1] += f"; {above}"
    if has_doubt(result):
        draws = result.attrs["doubt_draws"]
        parts.append(
            f"range: of the average year, 5 to 95% across {draws} draws of uncertain soil, turf "
            "and system; the 1-in-10 year is the mean over the draws, so it may lie below the "
            "upper end of the range, or below all of it where few draws have most of the days"
        )
        if result.sizes["plan"] > 1 and fields_of_turf(result):
            parts.append(STANDS_TEXT)
    if result.sizes["field"] > 1 and result.sizes["plan"] > 1:
        parts.append("each plan was simulated on all fields at once")
    return " ".join(as_sentences(parts))


def _first_fields(result: xr.Dataset) -> list[str]:
    return keys(result, "field")[:MOST_FIELDS]


def _more(result: xr.Dataset) -> str:
    return more_text(result.sizes["field"] - MOST_FIELDS)


def _name(result: xr.Dataset, field: str) -> str:
    return f"“{label(result, 'field', field)}”"


def _plan(result: xr.Dataset, plan: str) -> str:
    return f"“{label(result, 'plan', plan)}”"


def _supply_answer(result: xr.Dataset, units: str) -> list[str]:
    plan = supply_plan(result)
    which = "the plan with the largest demand"
    if plan == result.attrs.get(CHOSEN_PLAN):
        which = "the plan chosen"
    if plan == plan_of_goal(result):
        which = f"the {GOAL_PLAN}"
    one = result.sel(plan=plan)
    if not float(result["demand_mean"].max()):
        return ["No plan wants water, so the supply is never short.", _sizing_answer(result, units)]
    unit = volume_display([result["demand_mean"], result["worst_event"]], units)
    supply = stated_text(result, units)
    under = (
        f"{supply[:1].upper()}{supply[1:]}, under {which}, "
        f"{_plan(result, plan)}, the supply"
    )
    delivered = (
        f"{100 * one['volume_reliability'].item():.1f}% of the "
        f"{volume_text(one['demand_mean'].item(), unit)} {unit.unit} of demand in "
        f"{mean_year_text(result.attrs)}"
    )
    if "short_year" in result and "short_year" in result.attrs:
        first = (
            f"{under} is short by more than {100 * float(result.attrs['short_year']):g}% of the "
            f"demand {chance(one, 'short_year')}; {worst_year_text(one)}."
            f"{main_cause_sentence(one)} It delivers {delivered}."
        )
    else:
        worst = one["worst_event"].item()
        first = f"{under} falls short {chance(one, 'shortage_odds')} and delivers {delivered}"
        if worst > 0.0:
            first += f"; the largest shortage is {volume_text(worst, unit)} {unit.unit}"
            if "worst_year" in one:
                first += f", in {year_text(one.attrs, one['worst_year'].item())}"
        first += "."
    dry = plain(dry_year_sentence(result, plan, units))
    return [*([dry] if dry else []), first, _sizing_answer(result, units)]


def _sizing_answer(result: xr.Dataset, units: str) -> str:
    """The least size that suffices, with its limits."""
    if "sizing_size" not in result:
        if plan_of_goal(result):
            return "No size was searched. Run again without --no-sizing to find the least."
        return "No size was searched. Add a table [sizing] to find the least that suffices."
    size = result["sizing_size"]
    what = plain(str(result.attrs.get("sizing", "size")))
    if np.isnan(size.item()):
        why = plain(str(size.attrs.get("why", "")))
        found = f"No size that was tried suffices for the least {what}"
        return f"{found}: {why}." if why else f"{found}."
    least, low, high = (
        size_text(result[f"sizing_{name}"], units, size) for name in ("size", "low", "high")
    )
    text = f"The least {what} is {least}{limits_text(low, high)}."
    return f"{answer_text(result, units)} {text}"


def sizing_notes(result: xr.Dataset, units: str) -> list[tuple[str, str]]:
    """What else a search of a size found, as name and text; nothing where none was searched."""
    if "sizing_size" not in result:
        return []
    size = result["sizing_size"]
    notes = anyway_lines(result)
    if "sizing_case" in result.dims and np.isfinite(size.item()):
        if result["sizing_tried_less"].item() == size.item():
            notes.append(("Smallest size", smallest_text(result)))
        notes.append(("Water comes from", carried_text(result.sel(sizing_case="least"))))
    if "sizing_yearly_cost" in result:
        cost = size_cost_text(result.sel(sizing_case="least"))
        money = result["sizing_yearly_cost"].attrs["units"]
        notes.append((f"Cost, {money}", f"{cost}. {priced_text(result)}"))
    if again := again_text(result, units):
        notes.append(("Larger size fails", again))
    if text := not_monotone_text(result, units):
        notes.append(("Trade-off", text))
    notes += bounds_lines(result, units)
    return [(name, plain(text)) for name, text in [*notes, *confidence_lines(result, units)]]


def _sweep_answer(sweep: xr.Dataset, units: str) -> list[str]:
    depth = shown("mm", units)

    def water(one: xr.Dataset) -> str:
        mm = one["cost"].item()
        return f"{mm * depth.factor:.{depth.decimals}f} {depth.unit} of water a year"

    kept, below = (front_of(sweep, "water", risk) for risk in ("wilt", DAYS_BELOW))
    ends, days = [], []
    for place in (0, -1):
        one = kept.isel(choice=place)
        odds = odds_and_error(*(100.0 * one[name].item() for name in ("risk", "risk_se")))
        ends.append(f"{water(one)} with wilt in {odds} of 100 years")
        one = below.isel(choice=place)
        days.append(f"{water(one)} with {rounded(one['risk'].item(), 0)} such days")
    plan = str(sweep["plan"].values[0])
    found = effects(sweep, "wilt", plan)
    first = strongest(sweep, "wilt", plan)[0]
    row = found.sel(axis=first)
    share = float(row["main"])
    drives = (
        f"Under “{label(sweep, 'plan', plan)}”, {plain(first)} drives wilt of the worst field "
        f"most: it accounts for {share:.0%} of the variance, with "
        f"{100 * float(row['low_mean']):.0f}% of years at {plain(str(row['low_at'].item()))} and "
        f"{100 * float(row['high_mean']):.0f}% at {plain(str(row['high_at'].item()))}."
        if np.isfinite(share)
        else "No axis changes the odds of wilt."
    )
    done, points = sweep.attrs["points_done"], sweep.attrs["points"]
    return [
        f"{kept.sizes['choice']} of {kept.attrs['choices']:,} choices are best trade-offs: no "
        "other choice beats them in both water and wilt of the worst field. They run from "
        f"{ends[0]} to {ends[1]}.",
        f"By days below playing condition of the worst field {below.sizes['choice']} are: from "
        f"{days[0]} to {days[1]}. drysward front FOLDER --risk '{DAYS_BELOW}' lists them.",
        drives,
        f"This rests on {done:,} of {points:,} points. The best of many choices is partly luck: "
        f"the same {sweep.attrs['independent_years']} years picked it. Try it on another "
        "seed.",
    ]


def assumed(result: xr.Dataset, units: str) -> Iterable[tuple[str, str]]:
    """What was assumed, as name and text."""
    attrs = result.attrs
    if kind_of(result) == SWEEP:
        yield "Weather", attrs["weather"]
        yield "Points", f"{attrs['points_done']:,} of {attrs['points']:,}, design {attrs['design']}"
        yield "Axes", ", ".join(json.loads(attrs["axes"]))
        yield "Numbers", attrs["precision"]
        return
    if kind_of(result) == SEASON:
        yield from season_notes(result, OUTLOOK_STAGES)
        return
    yield "Weather", attrs.get("weather", NOT_KNOWN)
    if read := file_means_text(attrs, units):
        yield "Mean weather", read
    if attrs.get("weather_kind", RECORD) != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    left_out = attrs.get("years_left_out") or "none"
    yield "Years", f"{years_used(attrs, result.sizes.get('year', 0))}; left out: {left_out}"
    yield "Turf", attrs.get("turf", NOT_KNOWN)
    if "reached" in result.coords:
        reached = [
            f"{style.STAGE_WORDS[stage]} {float(result['reached'].sel(stage=stage)):.0%}"
            for stage in keys(result, "stage")
        ]
        yield (
            "A stage counts",
            f"when it holds on this share of the field {spell_text(attrs)} of the season: "
            + "; ".join(reached),
        )
    if "condition_green" in attrs:
        yield "Playing condition", f"a day is below it with {condition_text(attrs)}"
    area = shown("m2", units)
    if "area_m2" in result.coords:
        sizes = (float(values) * area.factor for values in result["area_m2"].values)
        areas = [
            f"{label(result, 'field', key)} {size:,.{area.decimals}f} {area.unit}"
            for key, size in zip(keys(result, "field"), sizes, strict=True)
        ]
        yield "Fields", "; ".join(areas)
    is_simulated = attrs.get("weather_kind", RECORD) != RECORD
    if "et_procedures" in attrs:
        used = procedures(json.loads(attrs["et_procedures"]), is_simulated)
        yield "Reference ET", "; ".join(used)
    for line in restricted_lines(result, units):
        yield "Restricted", line
    yield "Filled days", attrs.get("filled") or "none"
    if kind_of(result) == SUPPLY and "worst_year" in result:
        yield "Driest years", plain(driest_and_shortest(result, supply_plan(result)))
    else:
        yield "Driest years", driest_years(attrs)
    for note in json.loads(attrs.get("weather_notes", "[]")):
        yield "Record" if attrs.get("weather_kind") == "record" else "Simulated weather", note


def cautions(result: xr.Dataset) -> list[str]:
    """The cautions in the result's file, sentence by sentence."""
    named = ("cautions", "supply_cautions", FEEDING_CAUTIONS)
    parts = [result.attrs.get(name, "") for name in named]
    text = " ".join(part for part in parts if part)
    sentences = [f"{part.rstrip('.')}." for part in text.split(". ") if part.strip()]
    return sentences or [
        "The file is from another version and holds no cautions. Treat it as a screening estimate."
    ]
