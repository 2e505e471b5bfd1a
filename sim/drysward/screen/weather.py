"""What ``drysward weather`` prints. Nothing is computed here."""

from __future__ import annotations

import calendar
from collections import Counter
from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from drysward.faults import Fault
from drysward.quantities import Display, display
from drysward.results.text import MADE_WEATHER, as_sentences, count_text, depth_text
from drysward.screen.compare import weather_findings
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
from drysward.screen.faults import merged
from drysward.studies.weather_survey import (
    LEAST_SEASONS_FOR_FIT,
    LEAST_SEASONS_FOR_PERIODS,
    WET_DAY_MM,
    WHOLE_YEAR_DAYS,
    WINDOWS,
    Gap,
    Season,
    Seasons,
    Survey,
    Verdict,
    Year,
)
from drysward.weather.checking.spread import MEASURES, SpreadComparison
from drysward.weather.checking.suspicion import Suspicion
from drysward.weather.checking.trend import LEAST_YEARS, Trend, drift_text
from drysward.weather.file.columns import toml_text
from drysward.weather.file.fill import USUAL_GAP_DAYS, as_toml

if TYPE_CHECKING:
    from drysward.site.weather_years import Origin
    from drysward.weather.series import Series

MOST_GAPS = 12
MOST_ALIKE = 4
MOST_SEASONS = 10
MOST_FAULTS = 5


def weather_survey(
    survey: Survey,
    system: str,
    ignored: Sequence[str] = (),
    record_years: tuple[int, int] | None = None,
) -> list[Part]:
    """Columns, gaps, suspicious values, years, dry seasons and the verdict, in this order."""
    depth = display("mm", system)
    days = (survey.last - survey.first).days + 1
    rows = f"{count_text(survey.rows, 'row')} for {count_text(days, 'day')}"
    if survey.rows_unused:
        rows += (
            f"; {count_text(survey.rows_unused, 'row')} left out: no usable date, or the same day "
            "again"
        )
    return [
        Heading(f"{survey.name}, {survey.first} to {survey.last}"),
        rows,
        *([notes(("File", note) for note in survey.notes)] if survey.notes else []),
        _columns(survey),
        *_gaps(survey.gaps),
        *_whole_span(survey.whole_span),
        *_suspicions(survey.suspicions),
        *_years(survey.years, depth, system),
        notes(_notes(survey, depth)),
        *_seasons(survey.seasons, depth),
        *_verdict(survey.verdict, _settings(ignored, record_years)),
    ]


def _columns(survey: Survey) -> Table:
    columns = [
        words("column", "column"),
        words("quantity", "quantity", whole=True),
        words("unit", "unit", whole=True),
        number("days_known", "days known"),
        number("share", "share", "%", write=_share),
        *(number(name, name, "", 2) for name in ("least", "mean", "most")),
    ]
    rows: list[Row] = [
        {
            "column": one.name,
            "quantity": one.quantity,
            "unit": one.unit,
            "days_known": one.days_known,
            "share": 100.0 * one.share_known,
            "least": one.least,
            "mean": one.mean,
            "most": one.most,
        }
        for one in survey.columns
    ]
    return Table("columns", "Columns, as the file has them", columns, rows)


def _share(percent: float) -> str:
    """Percent that says 100 only when nothing is missing."""
    return "100" if percent == 100.0 else f"{min(percent, 99.9):.1f}"


def _gaps(gaps: Sequence[Gap]) -> list[Part]:
    if not gaps:
        return [notes([("Gaps", "none: rain, Tmax and Tmin are known on every day")])]
    columns = [
        words("what", "what", whole=True),
        number("days", "days"),
        words("spans", "spans"),
        words("by_year", "days by year"),
    ]
    rows: list[Row] = []
    for what in dict.fromkeys(gap.what for gap in gaps):
        spans = [gap for gap in gaps if gap.what == what]
        text = ", ".join(_span(gap.first, gap.last) for gap in spans[:MOST_GAPS])
        if len(spans) > MOST_GAPS:
            longest = max(spans, key=lambda gap: gap.days)
            text += f" and {len(spans) - MOST_GAPS} more"
            text += f"; the longest is {_span(longest.first, longest.last)}"
        years = Counter[int]()
        for gap in spans:
            for year in range(gap.first.year, gap.last.year + 1):
                first, last = max(gap.first, date(year, 1, 1)), min(gap.last, date(year, 12, 31))
                years[year] += (last - first).days + 1
        rows.append(
            {
                "what": what if what == "no row" else f"{what} blank",
                "days": sum(gap.days for gap in spans),
                "spans": text,
                "by_year": ", ".join(f"{year}: {count}" for year, count in sorted(years.items())),
            }
        )
    return [Table("gaps", "Gaps in days, rain and temperature", columns, rows)]


def _whole_span(years: tuple[int, int] | None) -> list[Part]:
    if years is None:
        return []
    text = (
        f"{years[0]} to {years[1]} have no gap of more than {USUAL_GAP_DAYS} days: record_years = "
        f"{[*years]} under [weather], or --record-years {years[0]}-{years[1]}, reads only these"
    )
    return [notes([("Best years", text)])]


def _span(first: date, last: date) -> str:
    if first == last:
        return str(first)
    return f"{first} to {last} ({count_text((last - first).days + 1, 'day')})"


def _suspicions(suspicions: Sequence[Suspicion]) -> list[Part]:
    if not suspicions:
        return [notes([("Suspicious", "nothing found")])]
    columns = [words("days", "days", whole=True), words("what", "what")]
    rows: list[Row] = []
    by_kind = sorted(suspicions, key=lambda one: _first_of_kind(suspicions, one.kind))
    for kind, group in groupby(by_kind, key=lambda one: one.kind):
        alike = list(group)
        for one in alike[:MOST_ALIKE]:
            days = str(one.first) if one.first == one.last else f"{one.first} to {one.last}"
            rows.append({"days": days, "what": one.what})
        if len(alike) > MOST_ALIKE:
            last = max(one.last for one in alike)
            what = f"and {len(alike) - MOST_ALIKE} more: {kind}"
            rows.append({"days": f"to {last}", "what": what})
    return [Table("suspicious", "Suspicious: check these, they may be true", columns, rows)]


def _first_of_kind(suspicions: Sequence[Suspicion], kind: str) -> int:
    return next(i for i, one in enumerate(suspicions) if one.kind == kind)


def _years(years: Sequence[Year], depth: Display, system: str) -> list[Part]:
    """A row a year and the mean of whole years."""
    with_et = any(year.et_mm == year.et_mm for year in years)
    degrees = "F" if system == "us" else "C"
    columns = [
        words("year", "year", whole=True),
        number("days_known", "days known"),
        number("rain", "rain", depth.unit, depth.decimals),
        number("wet_days", "wet days"),
        number("tmax", "Tmax", degrees, 1),
        number("tmin", "Tmin", degrees, 1),
        number("dry_spell", "longest dry spell", "days"),
    ]
    columns += [
        number(f"driest_{days}", f"driest {days} days", depth.unit, depth.decimals)
        for days in WINDOWS
    ]
    if with_et:
        columns.append(number("et", "ET", depth.unit, depth.decimals))
        columns.append(number("et_less_rain", "ET less rain", depth.unit, depth.decimals))

    def numbers(year: Year) -> dict[str, float]:
        out = {
            "rain": year.rain_mm * depth.factor,
            "wet_days": float(year.wet_days),
            "tmax": _degrees(year.tmax_c, system),
            "tmin": _degrees(year.tmin_c, system),
            "dry_spell": float(year.longest_dry_days),
        }
        for days, mm in zip(WINDOWS, year.driest_mm, strict=True):
            out[f"driest_{days}"] = mm * depth.factor
        if with_et:
            out["et"] = year.et_mm * depth.factor
            out["et_less_rain"] = year.et_less_rain_mm * depth.factor
        return out

    rows: list[dict[str, Value]] = [
        {
            "year": f"{year.year}{'' if year.whole else '*'}",
            "days_known": year.days_known,
            **numbers(year),
        }
        for year in years
    ]
    whole = [numbers(year) for year in years if year.whole]
    if len(whole) > 1:
        means = {name: sum(one[name] for one in whole) / len(whole) for name in whole[0]}
        rows.append({"year": "mean", "days_known": None, **means})
    cells = [
        Cell("days known", ("days_known",), lambda v: "" if v is None else f"{v}")
        if column.key == "days_known"
        else column
        for column in columns
    ]
    return [Table("years", "Years", columns, rows, cells, ("year",))]


def _degrees(celsius: float, system: str) -> float:
    return celsius * 1.8 + 32 if system == "us" else celsius


def _notes(survey: Survey, depth: Display) -> list[tuple[str, str]]:
    wet = f"{WET_DAY_MM * depth.factor:.1g} {depth.unit}"
    lines = [
        (
            "Dry spell",
            f"days in a row under {wet}; spells and driest days count in the year when they end",
        )
    ]
    if any(not year.whole for year in survey.years):
        text = (
            f"fewer than {WHOLE_YEAR_DAYS} days known: the sums are of the days there are, and a "
            "run leaves the year out"
        )
        lines.append(("* Part year", text))
    et = "not worked out: give --latitude and --elevation"
    if survey.procedures:
        et = "FAO-56 " + "; ".join(survey.procedures)
    elif survey.seasons.by_et:
        et = "no day has both temperatures"
    return [*lines, ("Reference ET", et), *_trends(survey.trends)]


def _trends(trends: Sequence[Trend]) -> list[tuple[str, str]]:
    if not trends:
        return [("Trend", f"not worked out: it needs {LEAST_YEARS} whole years")]
    return [
        ("Trend", drift_text(one) + ("" if one.drifts else "; may be chance")) for one in trends
    ]


def _seasons(seasons: Seasons, depth: Display) -> list[Part]:
    rough = len(seasons.ranked) < LEAST_SEASONS_FOR_PERIODS
    columns = [
        number("rank", "rank"),
        words("season", "season", whole=True),
        number("rain", "rain", depth.unit, depth.decimals),
    ]
    if seasons.by_et:
        columns.append(number("et_less_rain", "ET less rain", depth.unit, depth.decimals))
    if not rough:
        columns.append(number("return_period", "return period", "years", 1))
    rows: list[Row] = []
    for rank, one in enumerate(seasons.ranked[:MOST_SEASONS], start=1):
        row: dict[str, Value] = {
            "rank": rank,
            "season": _season_year(one.year, seasons.season),
            "rain": one.rain_mm * depth.factor,
        }
        if seasons.by_et:
            row["et_less_rain"] = one.et_less_rain_mm * depth.factor
        if not rough:
            row["return_period"] = one.return_period
        rows.append(row)
    parts: list[Part] = []
    if rows:
        parts.append(Table("driest_seasons", "Driest seasons", columns, rows))
    if seasons.levels:
        what = "ET less rain" if seasons.by_et else "rain"
        columns = [
            number("return_period", "return period", "years", write=lambda v: f"{v:g}"),
            number("estimate", what, depth.unit, depth.decimals),
            number("low", "90% limit, low", depth.unit, depth.decimals),
            number("high", "90% limit, high", depth.unit, depth.decimals),
            words("note", ""),
        ]
        fitted: list[Row] = []
        for level in seasons.levels:
            low, high = sorted((level.low_mm, level.high_mm))
            fitted.append(
                {
                    "return_period": level.return_period,
                    "estimate": level.estimate_mm * depth.factor,
                    "low": low * depth.factor,
                    "high": high * depth.factor,
                    "note": "beyond the record" if level.beyond_record else "",
                }
            )
        title = "Dry seasons by return period, Pearson III fit"
        parts.append(Table("dry_seasons", title, columns, fitted))
    return [*parts, notes(_season_notes(seasons))]


def _season_notes(seasons: Seasons) -> list[tuple[str, str]]:
    n = len(seasons.ranked)
    by = "ET less rain" if seasons.by_et else "rain"
    lines = [("Season", f"{_season(seasons.season)}, ranked by {by}; {_seasons_counted(n)}")]
    if 0 < n < LEAST_SEASONS_FOR_PERIODS:
        text = (
            f"{_seasons_counted(n)}, far too few for odds: the rank says which was driest, not how "
            "rare it is; do not size a supply on this"
        )
        lines.append(("Short record", text))
    elif LEAST_SEASONS_FOR_PERIODS <= n < LEAST_SEASONS_FOR_FIT:
        text = (
            f"{_seasons_counted(n)}; the return periods are rough and none is fitted; a longer "
            "record of a station nearby is better than any fit"
        )
        lines.append(("Short record", text))
    if seasons.driest_between and n >= LEAST_SEASONS_FOR_PERIODS:
        low, high = seasons.driest_between
        text = (
            f"by plotting position m/(n + 1); the driest of {n} seasons may truly return every "
            f"{low:.0f} to {high:,.0f} years (90% limits)"
        )
        lines.append(("Return period", text))
    if seasons.left_out:
        left = ", ".join(_season_year(year, seasons.season) for year in seasons.left_out)
        lines.append(("Left out", f"seasons with days that are not known: {left}"))
    return lines


def _seasons_counted(n: int) -> str:
    return "1 complete season" if n == 1 else f"{n or 'no'} complete seasons"


def _season(season: Season) -> str:
    first, last = (date(2000, *day) for day in (season.first, season.last))
    return f"{first.day} {first:%B} to {last.day} {last:%B}"


def _season_year(year: int, season: Season) -> str:
    return f"{year}-{(year + 1) % 100:02d}" if season.over_new_year else str(year)


def _settings(ignored: Sequence[str], record_years: tuple[int, int] | None) -> list[str]:
    """The options of the check, as a scenario states them."""
    lines = [f"ignore = [{', '.join(toml_text(name) for name in ignored)}]"] if ignored else []
    return lines + ([f"record_years = {[*record_years]}"] if record_years else [])


def _verdict(verdict: Verdict, settings: list[str]) -> list[Part]:
    """Faults in short form, then whether a run takes the file and what it needs."""
    if verdict.as_a_whole:
        # Single faults may follow from it; they are named once it is mended.
        mends = [("Mend", text) for text in verdict.as_a_whole]
        return [Heading("A run refuses this file as a whole."), notes(mends)]
    if not verdict.faults:
        if not settings:
            return [Heading("A run accepts this file as it is.")]
        return [Heading(_with("A run accepts this file", settings))]
    parts: list[Part] = [notes([("Faults", _short(verdict.faults))])]
    refused = f"A run refuses this file as it is ({_faults_counted(verdict.faults)})"
    if verdict.rule is None:
        return [*parts, Heading(f"{refused}; no fill rule helps: correct the file.")]
    settings = [as_toml(verdict.rule), *settings]
    if not verdict.remaining:
        return [*parts, Heading(_with(f"{refused} and accepts it", settings))]
    parts.append(notes([("Left by the fill", _short(verdict.remaining))]))
    left = f"{refused}; {_faults_counted(verdict.remaining)} would be left to correct"
    return [*parts, Heading(_with(left, settings))]


def _with(text: str, settings: Sequence[str]) -> str:
    return f"{text} with {' and '.join(settings)} under [weather] of the scenario."


def _short(faults: Sequence[Fault]) -> str:
    """The first faults, each on its line and without the file's name."""
    known = merged(faults)
    lines = [f"{_place(fault)}: {fault.what}" for fault in known[:MOST_FAULTS]]
    if len(known) > MOST_FAULTS:
        lines.append(f"and {len(known) - MOST_FAULTS} more")
    return "\n".join(lines)


def _place(fault: Fault) -> str:
    """``line 12, column 'tmax_c'`` of ``some folder/file.csv line 12, column 'tmax_c'``."""
    for mark in (" line ", " day ", ", variable "):
        _, found, rest = fault.where.rpartition(mark)
        if found:
            return mark.strip(" ,") + " " + rest
    return "file"


def _faults_counted(faults: Sequence[Fault]) -> str:
    return count_text(len(merged(faults)), "fault")


# Simulated weather


def simulated_weather(series: Series, origin: Origin, system: str) -> list[Part]:
    """Months beside those of the origin, the spread of dry years, what was assumed."""
    depth = display("mm", system)
    lines = [("Weather", series.description), *(("Assumed", note) for note in series.notes)]
    lines.append(("Trust", MADE_WEATHER[series.kind]))
    odd = as_sentences(series.findings)
    parts = [*weather_findings(odd), _origin_months(origin, depth, system)]
    if origin.spread is not None:
        parts.append(_spread(origin.spread, depth))
        years = f"{origin.spread.observed_years} years"
        lines.append(
            (
                "Range",
                f"nine in ten records of {years} drawn from the simulated years have a value in "
                "it; * marks an observed value outside",
            )
        )
    return [*parts, notes(lines)]


def _origin_months(origin: Origin, depth: Display, system: str) -> Table:
    """Two rows for each quantity: what the origin has, and what was simulated."""
    columns = [
        words("quantity", "", whole=True),
        words("of", "", whole=True),
        *(number(month.lower(), month, "", 1) for month in calendar.month_abbr[1:]),
    ]
    fahrenheit = system == "us"
    rows: list[Row] = []
    for name, target in origin.expected.items():
        unit = {"rain": depth.unit, "wet days": "days"}.get(name, "F" if fahrenheit else "C")
        for label, values in (("target", target), ("simulated", origin.simulated[name])):
            if name == "rain":
                values = values * depth.factor
            elif name != "wet days" and fahrenheit:
                values = values * 1.8 + 32.0
            months = zip(calendar.month_abbr[1:], values, strict=True)
            quantity = name if name == "wet days" else f"{name}, {unit}"
            rows.append(
                {"quantity": quantity, "of": label, **{m.lower(): float(v) for m, v in months}}
            )
    title = "Months: the record or normals (target), and the simulated years"
    return Table("months", title, columns, rows, lead=("quantity", "of"))


def _spread(spread: SpreadComparison, depth: Display) -> Table:
    """Mean, spread and dry end of what a year brings, observed beside simulated."""
    texts = {"minimum": "least", "maximum": "most", "sd": "standard deviation"}
    columns = [
        words("measure", "of the years"),
        words("statistic", "", whole=True),
        *(number(key, key) for key in ("observed", "simulated", "low", "high")),
        words("outside", ""),
    ]
    rows: list[Row] = []
    decimals: dict[str, int] = {}
    for measure, (meaning, unit) in MEASURES.items():
        factor, digits = (depth.factor, depth.decimals) if unit == "mm" else (1.0, 1)
        name = f"{meaning}, {depth.unit if unit == 'mm' else 'days'}"
        decimals[name] = digits
        worst = "maximum" if unit == "d" else "minimum"
        for statistic in ("mean", "sd", worst):
            one = spread.row(measure, statistic)
            rows.append(
                {
                    "measure": name,
                    "statistic": texts.get(statistic, statistic),
                    "observed": one.observed * factor,
                    "simulated": one.generated * factor,
                    "low": one.low * factor,
                    "high": one.high * factor,
                    "outside": "" if one.inside else "*",
                }
            )

    def text(name: str, value: float) -> str:
        return depth_text(value, Display("", 1.0, decimals[name]))

    cells: list[Column | Cell] = [
        columns[0],
        columns[1],
        Cell("observed", ("measure", "observed", "outside"), lambda n, v, m: f"{text(n, v)}{m}"),
        Cell("simulated", ("measure", "simulated"), text),
        Cell("range", ("measure", "low", "high"), lambda n, a, b: f"{text(n, a)} to {text(n, b)}"),
    ]
    return Table("dry_years", "Dry and wet years", columns, rows, cells, ("measure", "statistic"))
