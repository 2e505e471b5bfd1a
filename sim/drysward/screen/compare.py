"""What ``drysward compare`` prints: the answer on one screen, and the tables behind it.

Nothing is computed here.
"""

from __future__ import annotations

import calendar
import json
import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import xarray as xr

from drysward.quantities import Display, shown
from drysward.results.alternatives import no_sum_text
from drysward.results.answer_text import (
    MUD_APART,
    PLAY_ADDS_TO,
    answer_sentences,
    counted_text,
    death_text,
    has_play,
    leading_sentences,
    says_what_counts,
    share_text,
    undecided_text,
)
from drysward.results.choice import (
    RISK,
    best_plan,
    days_below,
    mean_above_text,
    odds,
    odds_and_limits,
    rule_text,
    water,
)
from drysward.results.doubt_text import (
    DRAWN,
    LIKELY,
    STANDS_TEXT,
    between_fields,
    choice_sentence,
    count_of_draws,
    doubt_sentences,
    draws_note,
    fields_of_turf,
    measure_text,
    odds_with_error,
    spread_comes_from,
    too_wide,
)
from drysward.results.feeding_text import CAUTION, feeding_sentences
from drysward.results.outside import COUNTED
from drysward.results.text import (
    FIELD_COSTS,
    LIFE_COSTS,
    MADE_WEATHER,
    STAGE_WORDS,
    UNKNOWN,
    UNMET,
    YEARLY_COSTS,
    assumptions_apart,
    condition_text,
    cost_columns,
    cost_notes,
    driest_years,
    dry_period,
    file_means_text,
    findings_of,
    first_sentence,
    has_first_costs,
    holds_dry_years,
    limits_in_brackets,
    mean_and_worst,
    money_text,
    procedures,
    quoted_label,
    reached_text,
    rounded,
    short_record_text,
    unmet_texts,
    volume_display,
    water_notes,
    without_rare_years,
    years_used,
)
from drysward.scenario.model import RECORD
from drysward.screen.document import (
    Cell,
    Column,
    Heading,
    Part,
    Row,
    Table,
    Value,
    notes,
    number,
    words,
)

HEADLINES = ("days below", "wilt", "dormancy", "death", "water", "cost")
"""What may stand first in the comparison of plans."""
_STAGE_OF = {word: stage for stage, word in STAGE_WORDS.items()}
_MOST_FACTS = 3  # of the weather file, on the first screen
# Sentences above the table fill no more lines of a narrow terminal, so that the table is seen.
_MOST_LINES, _NARROW = 8, 80


@dataclass(frozen=True)
class Comparison:
    """All that a comparison knows.

    ``summary``: of ``summarize``. ``drawn``: draws of what is not known, or None. ``why``: why
    there are no draws, "" where none were requested. ``system``: units, "us" or "metric".
    """

    summary: xr.Dataset
    drawn: xr.Dataset | None = None
    why: str = ""
    system: str = "us"

    def __post_init__(self) -> None:
        object.__setattr__(self, "summary", without_rare_years(self.summary))

    @property
    def labeled(self) -> xr.Dataset | None:
        """The draws with the labels of fields and plans."""
        if self.drawn is None:
            return None
        names = ["field_label", "plan_label", "area_m2"]
        return self.drawn.merge(self.summary[names], compat="override", combine_attrs="override")

    @property
    def is_priced(self) -> bool:
        return "field_cost_mean" in self.summary


def overview(
    one: Comparison, headline: str = HEADLINES[0], with_notes: bool = True
) -> list[Part]:
    """The first screen: which plan keeps which field, and every field under every plan.

    ``with_notes``: say what the weather is, which ``detail`` says too.
    """
    attrs = one.summary.attrs
    risk = _STAGE_OF.get(headline, RISK)
    parts: list[Part] = [Heading(_title(attrs["title"], attrs["site"])), *_findings(one.summary)]
    parts.append(_years_line(one))
    if short := short_record_text(attrs):
        parts.append(short)
    sentences = answer_sentences(one.summary, risk, one.system)
    if (found := one.labeled) is not None and found.sizes["plan"] > 1:
        sentences.append(choice_sentence(found, best_plan(one.summary, risk), risk))
    lead = len(leading_sentences(one.summary, risk, one.system))
    first, after = _first_lines([text for text in sentences if text], lead)
    parts += [*first, _matrix(one, headline, risk), *after]
    captions = [*_captions(one, risk), *(_weather_captions(one) if with_notes else ())]
    parts.append(notes(captions))
    return parts


def _first_lines(sentences: Sequence[str], lead: int) -> tuple[list[str], list[str]]:
    """The sentences that stand above the table, the first ``lead`` always, and those that no longer
    fit there.
    """
    lines = 0
    for i, sentence in enumerate(sentences):
        lines += len(textwrap.wrap(sentence, _NARROW))
        if i >= max(lead, 1) and lines > _MOST_LINES:
            return list(sentences[:i]), list(sentences[i:])
    return list(sentences), []


def detail(one: Comparison) -> list[Part]:
    """The tables behind the first screen: all stages, where water goes, volumes, costs, notes."""
    summary, system = one.summary, one.system
    parts: list[Part] = []
    found = one.labeled
    if found is not None:
        parts += doubt_sentences(found, best_plan(summary))[:1]
    parts += [_stage_table(one), _water_table(one)]
    lost = [
        (name, f"{summary['field_label'].sel(field=key).item()}: {text}")
        for key in summary["field"].values
        for name, text in water_notes(summary.sel(field=key), system)
    ]
    if lost:
        parts.append(notes(lost))
    if found is not None:
        turf = fields_of_turf(found)
        if turf and found.sizes["plan"] > 1:
            parts.append(_order_table(found, turf))
    parts.append(_volume_table(one))
    if one.is_priced:
        parts += cost_tables(one.summary)
    parts.append(notes(_notes(one)))
    return parts


def months(one: Comparison) -> Part:
    """Mean water of each month under the plans that use any."""
    depth = shown("mm", one.system)
    columns = [*_NAMES]
    rows: list[Row] = []
    for month in range(1, 13):
        name = calendar.month_abbr[month]
        columns.append(number(name.lower(), name, "", depth.decimals))
    for field, plan, names in _each(one.summary):
        water = field_plan(one.summary, field, plan)["water_by_month"].values * depth.factor
        if water.sum() > 0.0:
            named = zip((c.key for c in columns[len(_NAMES) :]), map(float, water), strict=True)
            rows.append({**names, **dict(named)})
    title = f"Water by month, {depth.unit}: mean of the years"
    shown_here = [c for c in columns if c.key not in ("field", "plan")]
    return _by_field(one, Table("months", title, columns, rows, shown_here))


# The first screen

_NAMES = (
    words("field", "field", whole=True), words("field_label", "field"),
    words("plan", "plan", whole=True), words("plan_label", "plan"),
)  # fmt: skip


def _each(summary: xr.Dataset) -> Iterator[tuple[str, str, dict[str, str]]]:
    """Keys of each field and plan, and the cells that name them."""
    for field in map(str, summary["field"].values):
        label = str(summary["field_label"].sel(field=field).item())
        for plan in map(str, summary["plan"].values):
            of = str(summary["plan_label"].sel(plan=plan).item())
            yield field, plan, {
                "field": field, "field_label": label, "plan": plan, "plan_label": of,
            }  # fmt: skip


def field_plan(summary: xr.Dataset, field: str, plan: str) -> xr.Dataset:
    return summary.sel(field=field, plan=plan)


def _matrix(one: Comparison, headline: str, risk: str) -> Table:
    """Fields side by side, a row for each plan; what was chosen as headline first."""
    summary = one.summary
    depth = shown("mm", one.system)
    period = dry_period(summary)
    depths = water(summary)
    volumes = [depths_mm * summary["area_m2"] / 1000.0 for depths_mm in depths]
    volume = volume_display(volumes[:1], one.system, 2)
    columns = [
        *_NAMES,
        number("area", "area", *_as_shown(shown("m2", one.system))),
        number("days_below", "days below condition", "d", 1),
        number("days_below_1in10", "days below, 1 year in 10", "d", 1),
    ]
    for word in STAGE_WORDS.values():
        for end, what in (("", ""), ("_low", ", low limit"), ("_high", ", high limit")):
            columns.append(number(f"{word}{end}", f"{word}{what}", "of 100 years", 1))
    columns += [
        number("water", "water a year", depth.unit, depth.decimals),
        number("water_dry", f"water of the 1-in-{period:g} dry year", depth.unit, depth.decimals),
        number("volume", "water a year", volume.unit, volume.decimals),
        number("volume_dry", f"water of the 1-in-{period:g} dry year", volume.unit, 3),
    ]
    if one.is_priced:
        columns.append(number("cost", "cost a year", one.summary.attrs["currency"], 0, money_text))
    rows: list[Row] = []
    for field, plan, names in _each(summary):
        of = field_plan(summary, field, plan)
        at = {"field": field, "plan": plan}
        below = [days.sel(at).item() for days in days_below(summary)]
        typical, dry = (one_of.sel(at).item() * depth.factor for one_of in depths)
        row = {
            **names,
            "area": of["area_m2"].item() * shown("m2", one.system).factor,
            "days_below": below[0],
            "days_below_1in10": below[1],
            "water": typical,
            "water_dry": dry,
            "volume": volumes[0].sel(at).item() * volume.factor,
            "volume_dry": volumes[1].sel(at).item() * volume.factor,
        }
        for stage, word in STAGE_WORDS.items():
            for end, p in zip(("", "_low", "_high"), _odds(one, field, plan, stage), strict=True):
                row[f"{word}{end}"] = 100.0 * p
        if one.is_priced:
            row["cost"] = one.summary["field_cost_mean"].sel(field=field, plan=plan).item()
        rows.append(row)
    by_key = {column.key: column for column in columns}
    word = STAGE_WORDS[risk]
    in_turn: dict[str, Sequence[Column | Cell]] = {
        "days below": [Cell("days below condition", _ends("days_below", "_1in10"), mean_and_worst)],
        word: [Cell(word, _ends(word, "_low", "_high"), odds_and_limits, "of 100")],
        "water": [
            Cell("water", _ends("water", "_dry"), _mean_and_dry(depth.decimals), depth.unit),
            _renamed(by_key["volume"], "water"),
        ],
        "cost": [by_key["cost"]] if one.is_priced else [],
    }
    order = sorted(in_turn, key=lambda name: name != headline)
    cells = [by_key["field_label"], by_key["plan_label"], *(c for n in order for c in in_turn[n])]
    table = Table("plans", "", columns, rows, cells, lead=("plan_label",), across="field_label")
    return _headed(one, table)


def _ends(name: str, *ends: str) -> tuple[str, ...]:
    return (name, *(f"{name}{end}" for end in ends))


def _renamed(column: Column, head: str) -> Column:
    return Column(column.key, head, column.unit, column.write, column.is_number, column.whole)


def _as_shown(how: Display) -> tuple[str, int]:
    return how.unit, how.decimals


def _odds(one: Comparison, field: str, plan: str, stage: str) -> tuple[float, float, float]:
    """Odds and their limits: 5 to 95% across draws, else the sampling limits of the years."""
    p, low, high = (part.sel(field=field, plan=plan).item() for part in odds(one.summary, stage))
    return p, low, high


def _mean_and_dry(decimals: int) -> Callable[..., str]:
    def write(mean: float, dry: float) -> str:
        texts = rounded(mean, decimals), rounded(dry, decimals)
        return texts[0] if texts[1] in (texts[0], UNKNOWN) else f"{texts[0]} ({texts[1]})"

    return write


def _headed(one: Comparison, table: Table) -> Table:
    """A table whose blocks are the fields, each headed by its name, root zone and size."""
    area = shown("m2", one.system)
    heads: dict[Value, str] = {}
    for field in one.summary["field"].values:
        of = one.summary.sel(field=field)
        size = f"{of['area_m2'].item() * area.factor:,.{area.decimals}f} {area.unit}"
        heads[str(of["field_label"].item())] = f"{of['field_label'].item()}, {size}"
    return Table(
        table.key, table.title, table.columns, table.rows, table.cells, table.lead,
        table.across, table.by, heads,
    )  # fmt: skip


def _by_field(one: Comparison, table: Table) -> Table:
    """A table with a block below each other for each field."""
    return _headed(
        one,
        Table(
            table.key, table.title, table.columns, table.rows, table.cells, ("plan_label",),
            by="field_label",
        ),
    )  # fmt: skip


def _years_line(one: Comparison) -> str:
    attrs = one.summary.attrs
    years = years_used(attrs, int(attrs["n_years"]))
    years = f"Years {years}" if years[0].isdigit() else years.capitalize()
    if one.drawn is None:
        return f"{years}; soil, grass and system at their likely numbers"
    return (
        f"{years}; {one.drawn.attrs['doubt_draws']} draws of what is not known of soil, grass and "
        "system"
    )


MUCH_UNMET = 0.25  # of what a plan demands; more is said on the first screen (own choice)


def _unmet_text(one: Comparison) -> str:
    """Of which plans a large part is never put on, and why; "" for none."""
    parts = [
        f"{quoted_label(one.summary, 'field', field)}: {texts[0]}"
        + (f"; {len(texts) - 1} more" if len(texts) > 1 else "")
        for field in map(str, one.summary["field"].values)
        if (texts := unmet_texts(one.summary.sel(field=field), one.system, MUCH_UNMET))
    ]
    return f"{'. '.join(parts)}. All: --detail" if parts else ""


def _captions(one: Comparison, risk: str) -> Iterator[tuple[str, str]]:
    """How to read the first screen, a line or two each."""
    attrs = one.summary.attrs
    season = attrs.get(COUNTED)
    in_season = f"from {season}" if season else "a year"
    of_season = " of that season" if season else ""
    of_all = "" if one.drawn is None else ", over all draws"
    has_dry = holds_dry_years(one.summary)
    worse = " (1 year in 10 is worse than)" if has_dry else ""
    yield (
        "Days below",
        f"days {in_season} with {condition_text(attrs)}: mean{worse}{of_all}"
        f"{_rare_text(one.summary)}{_not_in_them(one.summary)}",
    )
    limits = "90% limits: sampling error of the years only"
    if one.drawn is not None:
        limits = "5 to 95% of the draws: what this soil and grass may really be"
    yield (
        STAGE_WORDS[risk].capitalize(),
        f"years of 100 in which it {reached_text(attrs, share_text(one.summary, risk))}"
        f"{of_season} ({limits})",
    )
    text = death_text(one.summary, best_plan(one.summary, risk))
    if text and risk != "dead":
        yield "Death", f"{text}. All plans: --headline death"
    if one.why:
        yield "Uncertainty", f"no draws: {one.why}"
    elif one.drawn is None:
        yield "Uncertainty", "without draws the odds are those of the likely numbers only"
    if text := _unmet_text(one):
        yield UNMET, text
    if fed := feeding_sentences(one.summary, best_plan(one.summary, risk), one.system):
        yield "Feeding", f"{' '.join(fed)} More: --show feeding. {CAUTION}"
    if text := undecided_text(one.summary, risk):
        yield "Undecided", text
    if one.labeled is not None and (text := measure_text(one.labeled, or_why=False)):
        yield "Measure first", text
    if one.labeled is not None and one.summary.sizes["plan"] > 1:
        yield "Draws", STANDS_TEXT
    dry = f" (in a 1-in-{dry_period(one.summary):g} dry year)" if has_dry else ""
    yield "Water", f"drawn in a typical year{dry}{of_all}"
    if one.is_priced:
        yield cost_notes(one.summary, compare=False)[0]


def _weather_captions(one: Comparison) -> Iterator[tuple[str, str]]:
    """What the weather is, and the first caution."""
    attrs = one.summary.attrs
    yield "Weather", attrs["weather"]
    if attrs["weather_kind"] != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    if read := file_means_text(attrs, one.system):
        yield "Read as", read
    facts, assumed = assumptions_apart(json.loads(attrs["weather_notes"]))
    if attrs["filled"] and attrs["weather_kind"] == RECORD:
        yield "Filled days", attrs["filled"]
    yield from (("Note", fact) for fact in facts[:_MOST_FACTS])
    assumed += facts[_MOST_FACTS:]
    if assumed:
        yield "Assumptions", f"{len(assumed)} on the weather; --detail lists them"
    yield "Caution", first_sentence(attrs["cautions"])


def _not_in_them(summary: xr.Dataset) -> str:
    """What days below count and do not count, less what a sentence above the table says."""
    if has_play(summary):
        apart = "" if says_what_counts(summary) else f"; {MUD_APART}: --show play"
        return f"; on fields with play, {PLAY_ADDS_TO} them{apart}"
    if says_what_counts(summary):
        return ""
    return f"; {counted_text(summary)} (add play = {{}} to a field, then --show play)"


def _rare_text(summary: xr.Dataset) -> str:
    text = mean_above_text(*days_below(summary))
    return f"; {text}" if text else ""


def _findings(summary: xr.Dataset) -> list[Part]:
    return weather_findings(findings_of(summary.attrs))


def weather_findings(findings: Sequence[str]) -> list[Part]:
    """What is odd about the weather, for above the answer; nothing where there is nothing."""
    return [notes(("Check the weather", sentence) for sentence in findings)] if findings else []


def _title(title: str, site: str) -> str:
    """Title and site, the site once only."""
    return title if site in title else f"{title}, {site}"


# The tables behind it


def _stage_table(one: Comparison) -> Table:
    """Days below and odds of every stage, with both errors where there are draws."""
    summary, drawn = one.summary, one.drawn
    years = int(summary.attrs["independent_years"])
    columns = [*_NAMES]
    cells: list[Column | Cell] = [_NAMES[1], _NAMES[3]]
    ends = ("", "_se", "_1in10") if drawn is None else ("", "_se", "_low", "_high")
    heads = {"": "", "_se": ", standard error", "_1in10": ", 1 year in 10", "_low": ", 5%",
             "_high": ", 95%"}  # fmt: skip
    columns += [number(f"days_below{e}", f"days below{heads[e]}", "d", 1) for e in ends]
    below = spread_cell("days below", _ends("days_below", *_SPREAD), 0)
    if drawn is None:
        below = Cell("days below", _ends("days_below", "_1in10"), mean_and_worst)
    cells.append(below)
    for word in STAGE_WORDS.values():
        for end in ("", "_se", "_low", "_high"):
            columns.append(number(f"{word}{end}", f"{word}{heads[end]}", "of 100 years", 1))
        keys = _ends(word, "_se", "_low", "_high")
        cells.append(Cell(word, keys, _odds_cell(years), "of 100"))
    for stage in ("wilt", "dormant"):
        columns.append(number(f"{stage}_days", f"{stage} days", "", 0))
        cells.append(columns[-1])
    rows: list[Row] = []
    for field, plan, names in _each(summary):
        of = field_plan(summary, field, plan)
        row: dict[str, Value] = {**names}
        if drawn is None:
            for end, name in (("", "_mean"), ("_se", "_se"), ("_1in10", "_1in10")):
                row[f"days_below{end}"] = of[f"days_below_condition{name}"].item()
        else:
            at = field_plan(drawn, field, plan)
            for end, name in (("", ""), ("_se", "_error"), ("_low", "_low"), ("_high", "_high")):
                row[f"days_below{end}"] = at[f"doubt_days_below_condition{name}"].item()
        for stage, word in STAGE_WORDS.items():
            p, low, high = _odds(one, field, plan, stage)
            error = (
                of["probability_se"].sel(stage=stage)
                if drawn is None
                else field_plan(drawn, field, plan)["doubt_probability_error"].sel(stage=stage)
            )
            for end, value in (("", p), ("_se", error.item()), ("_low", low), ("_high", high)):
                row[f"{word}{end}"] = 100.0 * value
        for stage in ("wilt", "dormant"):
            row[f"{stage}_days"] = of["days_mean"].sel(stage=stage).item()
        rows.append(row)
    what = "90% limits" if drawn is None else "5 to 95% of the draws"
    title = f"Turf: mean ± standard error of the years, and {what} below it"
    return _by_field(one, Table("turf", title, columns, rows, cells))


_SPREAD = ("_se", "_low", "_high")


def _odds_cell(years: int) -> Callable[..., str]:
    def write(p: float, error: float, low: float, high: float) -> str:
        if math.isnan(p):
            return UNKNOWN
        text = odds_with_error(p / 100.0, error / 100.0, years)
        if low < high and p in (0.0, 100.0):
            text = text.partition(" ")[0]  # its limits stand below it
        limits = limits_in_brackets("", low, high)
        return f"{text}\n{limits}" if limits else text

    return write


def spread_cell(head: str, keys: tuple[str, ...], decimals: int, unit: str = "") -> Cell:
    """A mean with its sampling error, and below it the 5 to 95% across draws."""

    def write(mean: float, error: float, low: float, high: float) -> str:
        text, chance = rounded(mean, decimals), rounded(error, decimals)
        ends = rounded(low, decimals), rounded(high, decimals)
        below = "" if ends == (text, text) or UNKNOWN in ends else f"\n{ends[0]}-{ends[1]}"
        text = text if text == UNKNOWN or not float(chance) else f"{text}±{chance}"
        return f"{text}{below}"

    return Cell(head, keys, write, unit)


def _water_table(one: Comparison) -> Table:
    """Water on each field: a year, the dry year, the peak week, and what runs off and drains."""
    summary, drawn = one.summary, one.drawn
    depth = shown("mm", one.system)
    unit, decimals = depth.unit, depth.decimals
    period = dry_period(summary)
    dry = f"1-in-{period:g} dry year"
    columns = [*_NAMES, number("water", "water a year", unit, decimals)]
    cells: list[Column | Cell] = [_NAMES[1], _NAMES[3], columns[-1]]
    if drawn is not None:
        columns += [
            number(f"water_{end}", f"water a year, {what}", unit, decimals)
            for end, what in (("se", "standard error"), ("low", "5%"), ("high", "95%"))
        ]
        cells[-1] = spread_cell("water a year", _ends("water", *_SPREAD), decimals, unit)
    columns.append(number("dry", dry, unit, decimals))
    columns += [
        number(f"dry_{end}", f"{dry}, {end} limit", unit, decimals) for end in ("low", "high")
    ]
    if holds_dry_years(summary):
        cells.append(Cell(dry, _ends("dry", "_low", "_high"), limited(decimals), unit))
    for key, head in _LIKELY.items():
        columns.append(number(key, head, unit, decimals))
        cells.append(columns[-1])
    rows: list[Row] = []
    for field, plan, names in _each(summary):
        of = field_plan(summary, field, plan)
        row = {**names, **{key: of[key].item() * depth.factor for key in _LIKELY}}
        kept, prefix = of.sel(period=period), ""
        if drawn is None:
            row["water"] = of["season_water"].item() * depth.factor
        else:
            at = field_plan(drawn, field, plan)
            kept, prefix = at.sel(period=period), "doubt_"
            for end, name in (("", ""), ("_se", "_error"), ("_low", "_low"), ("_high", "_high")):
                row[f"water{end}"] = at[f"doubt_water{name}"].item() * depth.factor
        for end in ("", "_low", "_high"):
            row[f"dry{end}"] = kept[f"{prefix}demand{end}"].item() * depth.factor
        rows.append(row)
    what = "90% limits" if drawn is None else "5 to 95% of the draws"
    title = f"Water on the field; below it {what}"
    return _by_field(one, Table("water", title, columns, rows, cells))


_LIKELY = {"peak_week_most": "peak week", "runoff_mean": "runoff", "drainage_mean": "drainage"}


def limited(decimals: int) -> Callable[..., str]:
    """A number, and below it its limits."""
    def write(value: float, low: float, high: float) -> str:
        text, ends = rounded(value, decimals), (rounded(low, decimals), rounded(high, decimals))
        if UNKNOWN in ends:
            return f"{text}\nno limits" if low != value else text
        return text if ends == (text, text) else f"{text}\n{ends[0]}-{ends[1]}"

    return write


def _order_table(found: xr.Dataset, fields: Sequence[str]) -> Table:
    """In how many draws a row's plan has fewer days below than a column's."""
    plans = list(map(str, found["plan"].values))
    of_draws = f"of {found.attrs['doubt_draws']} draws"
    columns = [*_NAMES, number("number", "plan number")]
    columns += [
        number(f"fewer_than_{plan}", f"than {n}", of_draws)
        for n, plan in enumerate(plans, start=1)
    ]
    rows: list[Row] = []
    for n, plan in enumerate(plans, start=1):
        for field in fields:
            fewer = found["doubt_fewer"].sel(field=field, plan=plan)
            row: dict[str, Value] = {
                "field": field,
                "field_label": str(found["field_label"].sel(field=field).item()),
                "plan": plan,
                "plan_label": f"{n} {found['plan_label'].sel(plan=plan).item()}",
                "number": n,
            }
            for other in plans:
                count = float(count_of_draws(found, fewer.sel(other=other).item()))
                row[f"fewer_than_{other}"] = None if other == plan else count
            rows.append(row)
    named = [_NAMES[3], *([_NAMES[1]] if len(fields) > 1 else [])]
    shares = [
        Cell(c.head, c.keys, lambda v: "" if v is None else f"{v:g}")
        for c in columns[len(_NAMES) + 1 :]
    ]
    return Table(
        "order",
        f"Does the choice stand? {of_draws.capitalize()}, those in which a plan has fewer days "
        "below than another; a tie counts half",
        columns,
        rows,
        [*named, *shares],
        lead=("plan_label", "field_label"),
    )


def _volume_table(one: Comparison) -> Table:
    """Volumes of each field, and of the site where it has several, under plans that use any."""
    summary = one.summary
    period = dry_period(summary)
    names = {
        "season": "a year", "peak_week": "peak week", "demand": f"1-in-{period:g} dry year",
    }  # fmt: skip
    if not holds_dry_years(summary):
        del names["demand"]
    of_period = summary.sel(period=period)
    of_field = of_period[[f"{name}_volume" for name in names]]
    of_site = of_period[[f"site_{name}_volume" for name in names]]
    several = summary.sizes["field"] > 1 and not _no_sum(summary)
    kept = [of_field, *([of_site] if several else [])]
    unit = volume_display([v for part in kept for v in part.data_vars.values()], one.system)
    columns = [*_NAMES]
    columns += [number(f"volume_{n}", head, unit.unit, unit.decimals) for n, head in names.items()]
    rows: list[Row] = []
    for plan in map(str, summary["plan"].values):
        if float(of_field["season_volume"].sel(plan=plan).max()) == 0.0:
            continue
        label = str(summary["plan_label"].sel(plan=plan).item())
        for field in map(str, summary["field"].values):
            at = of_field.sel(plan=plan, field=field)
            row: dict[str, Value] = {
                "field": field, "field_label": str(at["field_label"].item()), "plan": plan,
                "plan_label": label,
            }  # fmt: skip
            row |= {f"volume_{n}": at[f"{n}_volume"].item() * unit.factor for n in names}
            rows.append(row)
        if several:
            at = of_site.sel(plan=plan)
            row = {"field": "", "field_label": "whole site", "plan": plan, "plan_label": label}
            row |= {f"volume_{n}": at[f"site_{n}_volume"].item() * unit.factor for n in names}
            rows.append(row)
    cells = [_NAMES[3], _NAMES[1], *columns[len(_NAMES) :]]
    lead = ("plan_label", "field_label")
    title = f"Water by volume{'' if one.drawn is None else ', with the likely numbers'}"
    return Table("volumes", title, columns, rows, cells, lead)


def _no_sum(summary: xr.Dataset) -> str:
    return no_sum_text(summary.attrs, [str(key) for key in summary["field"].values])


# Costs


def cost_tables(costs: xr.Dataset) -> list[Part]:
    """Costs by plan of each field and, where it has several or a storage, of the whole site."""
    columns = cost_columns(costs, "field_cost", FIELD_COSTS)
    money = costs.attrs["currency"]
    rows: list[Row] = []
    for field, plan, names in _each(costs):
        at = costs.sel(field=field, plan=plan)
        rows.append({**names, **{name: at[name].item() for name, _ in columns}})
    shown_columns = [number(name, head, money, write=money_text) for name, head in columns]
    table = Table(
        "field_costs", f"Costs by field, {money}", [*_NAMES, *shown_columns], rows,
        [_NAMES[1], _NAMES[3], *(_without_unit(c) for c in shown_columns)], ("plan_label",),
        by="field_label",
    )  # fmt: skip
    parts: list[Part] = [table]
    has_storage = bool((costs["cost_storage"] > 0.0).any())
    if has_storage or (costs.sizes["field"] > 1 and not _no_sum(costs)):
        parts += site_cost_tables(costs)
    return parts


def site_cost_tables(costs: xr.Dataset) -> list[Part]:
    """Costs by plan of the whole site: those of a year, and those of building and of the life."""
    yearly = [
        number(name, head, costs.attrs["currency"], write=money_text)
        for name, head in cost_columns(costs, "cost", YEARLY_COSTS)
    ]
    for i, column in enumerate(yearly):
        if column.key == "cost_energy_mean":
            yearly.insert(i, number("energy_used_mean", "energy used", "kWh", write=money_text))
            break
    parts: list[Part] = []
    if yearly:
        parts.append(_site_costs(costs, "yearly_costs", "Whole site: costs of a year", yearly))
    if has_first_costs(costs):
        life = [
            number(name, head, costs.attrs["currency"], write=money_text)
            for name, head in cost_columns(costs, "cost", LIFE_COSTS)
        ]
        parts.append(_site_costs(costs, "life_costs", "Whole site: first cost and life", life))
    return parts


def _without_unit(column: Column) -> Column:
    return Column(column.key, column.head, "", column.write, column.is_number, column.whole)


def _site_costs(costs: xr.Dataset, key: str, title: str, columns: Sequence[Column]) -> Table:
    rows = []
    for plan in map(str, costs["plan"].values):
        at = costs.sel(plan=plan)
        row: dict[str, Value] = {"plan": plan, "plan_label": at["plan_label"].item()}
        rows.append({**row, **{column.key: at[column.key].item() for column in columns}})
    money = costs.attrs["currency"]
    cells = [c if c.unit != money else _without_unit(c) for c in columns]
    return Table(
        key, f"{title}, {money}", [*_NAMES[2:], *columns], rows, [_NAMES[3], *cells],
        ("plan_label",),
    )  # fmt: skip


# Notes


def _notes(one: Comparison) -> Iterator[tuple[str, str]]:
    """What the tables rest on, and the cautions, whole."""
    summary, found, system = one.summary, one.labeled, one.system
    attrs = summary.attrs
    yield "Choice", rule_text()
    yield "Odds", f"years of 100 in which the stage {reached_text(attrs)}; ± standard error"
    yield "Water", "depth over the field, drawn from the supply; peak week: most of any year"
    if found is None:
        period = dry_period(summary)
        if holds_dry_years(summary) and summary["demand_fitted"].sel(period=period).values.any():
            yield "Dry year", f"the 1-in-{period:g} dry year is read from a fitted curve"
        if summary["demand"].sel(period=period).values.any():
            yield "Limits", "90% limits cover sampling error only"
    else:
        yield "Uncertainty", draws_note(found)
        yield (
            "Likely",
            f"peak week, wilt and dormant days, runoff, drainage, shortage, volumes and months are "
            f"of {LIKELY}",
        )
        for text in between_fields(found):
            yield "Fields", text
        for field in found["field"].values:
            of_field = found.sel(field=field)
            label = of_field["field_label"].item()
            if text := too_wide(of_field):
                yield "Too wide", f"{label}: {text}"
            if text := spread_comes_from(of_field):
                yield "Measure", f"{label}: {text}"
        yield "Draws", DRAWN
    if text := _no_sum(summary):
        yield "Whole site", text
    elif summary.sizes["field"] > 1:
        yield "Whole site", "peak week: sum of the fields' peak weeks, at least the site's own"
    if one.is_priced:
        yield from cost_notes(one.summary, compare=False)  # stands on the first screen
    yield "Weather", attrs["weather"]
    if read := file_means_text(attrs, system):
        yield "Read as", read
    yield from (("Assumed", note) for note in json.loads(attrs["weather_notes"]))
    if attrs["weather_kind"] != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    yield "Years used", years_used(attrs, int(attrs["n_years"]))
    yield "Left out", attrs["years_left_out"] or "none"
    yield "Driest years", driest_years(attrs)
    simulated = attrs["weather_kind"] != RECORD
    yield "Reference ET", "; ".join(procedures(json.loads(attrs["et_procedures"]), simulated))
    yield "Filled days", attrs["filled"] or "none"
    yield "Water balance error", f"largest of any day {attrs['worst_residual_mm']:.1g} mm"
    yield "Caution", attrs["cautions"]
