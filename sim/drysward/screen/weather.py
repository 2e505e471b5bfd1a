"""What a person reads of a weather file at a terminal. Nothing is computed here."""

from __future__ import annotations

import calendar
from collections import Counter
from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from drysward.faults import Fault
from drysward.quantities import Display, display
from drysward.results.text import MADE_WEATHER, as_sentences, depth_text, rounded
from drysward.screen.tables import bold, named_lines, plain_table, weather_findings
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

GAPS_TOLD = 12
ALIKE_TOLD = 4
SEASONS_TOLD = 10
FAULTS_LISTED = 5


def weather_survey(
    survey: Survey,
    system: str,
    ignored: Sequence[str] = (),
    record_years: tuple[int, int] | None = None,
) -> list[RenderableType]:
    """Columns, gaps, suspicious values, years, dry seasons and the verdict, in this order."""
    depth = display("mm", system)
    days = (survey.last - survey.first).days + 1
    rows = f"{survey.rows:,} rows for {days:,} days"
    if survey.rows_unused:
        rows += f"; {survey.rows_unused} rows have no date of use or a day that came before"
    return [
        bold(f"{survey.name}, {survey.first} to {survey.last}"),
        Text(rows),
        *([named_lines([("File", note) for note in survey.notes])] if survey.notes else []),
        _columns(survey),
        *_gaps(survey.gaps),
        *_whole_span(survey.whole_span),
        *_suspicions(survey.suspicions),
        *_years(survey.years, depth, system),
        named_lines(_notes(survey, depth)),
        *_seasons(survey.seasons, depth),
        *_verdict(survey.verdict, _settings(ignored, record_years)),
    ]


def _columns(survey: Survey) -> Table:
    table = plain_table("Columns, as the file has them")
    table.add_column("column", overflow="fold")
    for title in ("quantity", "unit"):
        table.add_column(title, no_wrap=True)
    for title in ("days known", "share", "least", "mean", "most"):
        table.add_column(title, justify="right", no_wrap=True)
    for column in survey.columns:
        table.add_row(
            column.name,
            column.quantity,
            column.unit,
            f"{column.days_known:,}",
            _share(column.share_known),
            *(rounded(value, 2) for value in (column.least, column.mean, column.most)),
        )
    return table


def _share(share: float) -> str:
    """Percent that says 100 only when nothing is missing."""
    return "100%" if share == 1.0 else f"{min(100 * share, 99.9):.1f}%"


def _gaps(gaps: Sequence[Gap]) -> list[RenderableType]:
    if not gaps:
        return [named_lines([("Gaps", "none: rain, Tmax and Tmin are known on every day")])]
    table = plain_table("Gaps in days, rain and temperature")
    table.add_column("what", no_wrap=True)
    table.add_column("days", justify="right")
    table.add_column("spans", ratio=3, overflow="fold")
    table.add_column("days by year", ratio=2, overflow="fold")
    for what in dict.fromkeys(gap.what for gap in gaps):
        spans = [gap for gap in gaps if gap.what == what]
        told = ", ".join(_span(gap.first, gap.last) for gap in spans[:GAPS_TOLD])
        if len(spans) > GAPS_TOLD:
            longest = max(spans, key=lambda gap: gap.days)
            told += f" and {len(spans) - GAPS_TOLD} more"
            told += f"; the longest is {_span(longest.first, longest.last)}"
        years = Counter[int]()
        for gap in spans:
            for year in range(gap.first.year, gap.last.year + 1):
                first, last = max(gap.first, date(year, 1, 1)), min(gap.last, date(year, 12, 31))
                years[year] += (last - first).days + 1
        by_year = ", ".join(f"{year}:{count}" for year, count in sorted(years.items()))
        title = what if what == "no row" else f"{what} blank"
        table.add_row(title, f"{sum(gap.days for gap in spans):,}", told, by_year)
    return [table]


def _whole_span(years: tuple[int, int] | None) -> list[RenderableType]:
    if years is None:
        return []
    told = (
        f"{years[0]} to {years[1]} have no gap of more than {USUAL_GAP_DAYS} days: record_years = "
        f"{[*years]} under [weather], or --record-years {years[0]}-{years[1]}, reads only these"
    )
    return [named_lines([("Best years", told)])]


def _span(first: date, last: date) -> str:
    return str(first) if first == last else f"{first} to {last} ({(last - first).days + 1} days)"


def _suspicions(suspicions: Sequence[Suspicion]) -> list[RenderableType]:
    if not suspicions:
        return [named_lines([("Suspicious", "nothing found")])]
    table = plain_table("Suspicious: look at these, they may be true")
    table.add_column("days", no_wrap=True)
    table.add_column("what", ratio=1, overflow="fold")
    by_kind = sorted(suspicions, key=lambda one: _first_of_kind(suspicions, one.kind))
    for kind, group in groupby(by_kind, key=lambda one: one.kind):
        alike = list(group)
        for one in alike[:ALIKE_TOLD]:
            days = str(one.first) if one.first == one.last else f"{one.first} to {one.last}"
            table.add_row(days, one.what)
        if len(alike) > ALIKE_TOLD:
            last = max(one.last for one in alike)
            table.add_row(f"to {last}", f"and {len(alike) - ALIKE_TOLD} more: {kind}")
    return [table]


def _first_of_kind(suspicions: Sequence[Suspicion], kind: str) -> int:
    return next(i for i, one in enumerate(suspicions) if one.kind == kind)


def _years(years: Sequence[Year], depth: Display, system: str) -> list[RenderableType]:
    """A row a year and the mean of whole years."""
    with_et = any(year.et_mm == year.et_mm for year in years)
    table = plain_table("Years")
    titles = ["year", "days\nknown", f"rain\n{depth.unit}", "wet\ndays"]
    degrees = "F" if system == "us" else "C"
    titles += [f"Tmax\n{degrees}", f"Tmin\n{degrees}", "longest dry\nspell, days"]
    titles += [f"driest {days}\ndays, {depth.unit}" for days in WINDOWS]
    if with_et:
        titles += [f"ET\n{depth.unit}", f"ET less\nrain, {depth.unit}"]
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True)

    def row(name: str, known: str, wet: str, spell: str, one: Sequence[float]) -> None:
        rain, tmax, tmin, *rest = one
        temperatures = [rounded(_degrees(value, system), 1) for value in (tmax, tmin)]
        amounts = [depth_text(value, depth) for value in (rain, *rest)]
        table.add_row(name, known, amounts[0], wet, *temperatures, spell, *amounts[1:])

    def numbers(year: Year) -> list[float]:
        et = [year.et_mm, year.et_less_rain_mm] if with_et else []
        return [year.rain_mm, year.tmax_c, year.tmin_c, *year.driest_mm, *et]

    for year in years:
        name = str(year.year) + ("" if year.whole else "*")
        spell = str(year.longest_dry_days)
        row(name, str(year.days_known), str(year.wet_days), spell, numbers(year))
    whole = [year for year in years if year.whole]
    if len(whole) > 1:
        table.add_section()
        n = len(whole)
        means = [sum(column) / n for column in zip(*map(numbers, whole), strict=True)]
        wet = sum(year.wet_days for year in whole) / n
        spell_days = sum(year.longest_dry_days for year in whole) / n
        row("mean", "", f"{wet:.0f}", f"{spell_days:.0f}", means)
    return [table]


def _degrees(celsius: float, system: str) -> float:
    return celsius * 1.8 + 32 if system == "us" else celsius


def _notes(survey: Survey, depth: Display) -> list[tuple[str, str]]:
    wet = f"{WET_DAY_MM * depth.factor:.1g} {depth.unit}"
    notes = [
        (
            "Dry spell",
            f"days on end under {wet}; spells and driest days count in the year in which they end",
        )
    ]
    if any(not year.whole for year in survey.years):
        told = (
            f"fewer than {WHOLE_YEAR_DAYS} days known: what is there is summed up, and a run "
            "leaves the year out"
        )
        notes.append(("* Part year", told))
    et = "not worked out: give --latitude and --elevation"
    if survey.procedures:
        et = "FAO-56 " + "; ".join(survey.procedures)
    elif survey.seasons.by_et:
        et = "no day has both temperatures"
    return [*notes, ("Reference ET", et), *_trends(survey.trends)]


def _trends(trends: Sequence[Trend]) -> list[tuple[str, str]]:
    if not trends:
        told = f"not told of fewer than {LEAST_YEARS} whole years"
        return [("Trend", told)]
    return [
        ("Trend", drift_text(one) + ("" if one.drifts else "; may be chance")) for one in trends
    ]


def _seasons(seasons: Seasons, depth: Display) -> list[RenderableType]:
    n = len(seasons.ranked)
    rough = n < LEAST_SEASONS_FOR_PERIODS
    table = plain_table("Driest seasons")
    titles = ["rank", "season", f"rain\n{depth.unit}"]
    titles += [f"ET less\nrain, {depth.unit}"] if seasons.by_et else []
    titles += [] if rough else ["return period\nyears"]
    for heading in titles:
        table.add_column(heading, justify="right", no_wrap=True)
    for rank, one in enumerate(seasons.ranked[:SEASONS_TOLD], start=1):
        cells = [str(rank), _season_year(one.year, seasons.season), depth_text(one.rain_mm, depth)]
        cells += [depth_text(one.et_less_rain_mm, depth)] if seasons.by_et else []
        cells += [] if rough else [f"{one.return_period:.1f}"]
        table.add_row(*cells)
    parts: list[RenderableType] = [table] if seasons.ranked else []
    if seasons.levels:
        fitted = plain_table("Dry seasons by return period, Pearson III fit")
        fitted.add_column("return period, years", justify="right", no_wrap=True)
        what = "ET less rain" if seasons.by_et else "rain"
        fitted.add_column(f"{what}, {depth.unit}", justify="right", no_wrap=True)
        fitted.add_column("90% limits", justify="right", no_wrap=True)
        fitted.add_column("")
        for level in seasons.levels:
            limits = sorted((level.low_mm, level.high_mm))
            fitted.add_row(
                f"{level.return_period:g}",
                depth_text(level.estimate_mm, depth),
                " to ".join(depth_text(value, depth) for value in limits),
                "beyond the record" if level.beyond_record else "",
            )
        parts.append(fitted)
    return [*parts, named_lines(_season_notes(seasons))]


def _season_notes(seasons: Seasons) -> list[tuple[str, str]]:
    n = len(seasons.ranked)
    by = "ET less rain" if seasons.by_et else "rain"
    notes = [("Season", f"{_season(seasons.season)}, ranked by {by}; {_seasons_counted(n)}")]
    if 0 < n < LEAST_SEASONS_FOR_PERIODS:
        told = (
            f"{_seasons_counted(n)}, far too few for odds: the rank says which was driest, not how "
            "rare it is; do not size a supply on this"
        )
        notes.append(("Short record", told))
    elif LEAST_SEASONS_FOR_PERIODS <= n < LEAST_SEASONS_FOR_FIT:
        told = (
            f"{_seasons_counted(n)}; the return periods are rough and none is fitted; a longer "
            "record of a station nearby is better than any fit"
        )
        notes.append(("Short record", told))
    if seasons.driest_between and n >= LEAST_SEASONS_FOR_PERIODS:
        low, high = seasons.driest_between
        told = (
            f"by plotting position m/(n + 1); the driest of {n} seasons may truly return every "
            f"{low:.0f} to {high:,.0f} years (90% limits)"
        )
        notes.append(("Return period", told))
    if seasons.left_out:
        left = ", ".join(_season_year(year, seasons.season) for year in seasons.left_out)
        notes.append(("Left out", f"seasons that are not known throughout: {left}"))
    return notes


def _seasons_counted(n: int) -> str:
    return "1 season known throughout" if n == 1 else f"{n or 'no'} seasons known throughout"


def _season(season: Season) -> str:
    first, last = (date(2000, *day) for day in (season.first, season.last))
    return f"{first.day} {first:%B} to {last.day} {last:%B}"


def _season_year(year: int, season: Season) -> str:
    return f"{year}-{(year + 1) % 100:02d}" if season.over_new_year else str(year)


def _settings(ignored: Sequence[str], record_years: tuple[int, int] | None) -> list[str]:
    """What the check was told, as a scenario states it."""
    told = [f"ignore = [{', '.join(toml_text(name) for name in ignored)}]"] if ignored else []
    return told + ([f"record_years = {[*record_years]}"] if record_years else [])


def _verdict(verdict: Verdict, settings: list[str]) -> list[RenderableType]:
    """Faults in short form, then whether a run takes the file and what it needs."""
    if verdict.as_a_whole:
        # Single faults may follow from it and are told once it is mended.
        mends = [("Mend", text) for text in verdict.as_a_whole]
        return [bold("A run refuses this file as a whole."), named_lines(mends)]
    if not verdict.faults:
        if not settings:
            return [bold("A run accepts this file as it is.")]
        return [bold(_with("A run accepts this file", settings))]
    parts: list[RenderableType] = [named_lines([("Faults", _short(verdict.faults))])]
    refused = f"A run refuses this file as it is ({_counted(len(verdict.faults))})"
    if verdict.rule is None:
        return [*parts, bold(f"{refused}; no fill rule helps: correct the file.")]
    settings = [as_toml(verdict.rule), *settings]
    if not verdict.remaining:
        return [*parts, bold(_with(f"{refused} and accepts it", settings))]
    parts.append(named_lines([("Left by the fill", _short(verdict.remaining))]))
    left = f"{refused}; {_counted(len(verdict.remaining))} would be left to correct"
    return [*parts, bold(_with(left, settings))]


def _with(told: str, settings: Sequence[str]) -> str:
    return f"{told} with {' and '.join(settings)} under [weather] of the scenario."


def _short(faults: Sequence[Fault]) -> str:
    """The first faults, each on its line and without the file's name."""
    told = [f"{_place(fault)}: {fault.what}" for fault in faults[:FAULTS_LISTED]]
    if len(faults) > FAULTS_LISTED:
        told.append(f"and {len(faults) - FAULTS_LISTED} more")
    return "\n".join(told)


def _place(fault: Fault) -> str:
    """``line 12, column 'tmax_c'`` of ``some folder/file.csv line 12, column 'tmax_c'``."""
    for mark in (" line ", " day ", ", variable "):
        _, found, rest = fault.where.rpartition(mark)
        if found:
            return mark.strip(" ,") + " " + rest
    return "file"


def _counted(faults: int) -> str:
    return "1 fault" if faults == 1 else f"{faults} faults"


# Weather that was made


def simulated_weather(series: Series, origin: Origin, system: str) -> list[RenderableType]:
    """Months beside those of the origin, the spread of dry years, what was assumed."""
    depth = display("mm", system)
    notes = [("Made", series.description), *(("Assumed", note) for note in series.notes)]
    notes.append(("Trust", MADE_WEATHER[series.kind]))
    odd = as_sentences(() if series.file is None else series.file.findings)
    parts = [*weather_findings(odd), _origin_months(origin, depth, system)]
    if origin.spread is not None:
        parts.append(_spread(origin.spread, depth))
        years = f"{origin.spread.observed_years} years"
        notes.append(
            (
                "Range",
                f"nine in ten records of {years} drawn from the made ones show a value in it; "
                "* marks an observed value outside",
            )
        )
    return [*parts, named_lines(notes)]


def _origin_months(origin: Origin, depth: Display, system: str) -> Table:
    """Two rows for each quantity, what the origin has and what was made."""
    table = plain_table("Months of the simulated years beside what they come from")
    table.add_column("", no_wrap=True)
    table.add_column("", no_wrap=True)
    for month in calendar.month_abbr[1:]:
        table.add_column(month, justify="right", no_wrap=True)
    fahrenheit = system == "us"
    for name, wanted in origin.expected.items():
        unit = {"rain": depth.unit, "wet days": "days"}.get(name, "F" if fahrenheit else "C")
        for label, values in (("wanted", wanted), ("simulated", origin.simulated[name])):
            if name == "rain":
                values = values * depth.factor
            elif name != "wet days" and fahrenheit:
                values = values * 1.8 + 32.0
            shown = (rounded(float(value), 1) for value in values)
            table.add_row(f"{name}, {unit}" if label == "wanted" else "", label, *shown)
    return table


def _spread(spread: SpreadComparison, depth: Display) -> Table:
    """Mean, spread and dry end of what a year brings, observed beside made."""
    table = plain_table("Dry and wet years")
    table.add_column("of the years", ratio=1, overflow="fold")
    table.add_column("", no_wrap=True)
    for title in ("observed", "made", "range"):
        table.add_column(title, justify="right", no_wrap=True)
    words = {"minimum": "least", "maximum": "most"}
    for measure, (meaning, unit) in MEASURES.items():
        factor, decimals = (depth.factor, depth.decimals) if unit == "mm" else (1.0, 1)
        name = f"{meaning}, {depth.unit if unit == 'mm' else 'days'}"
        worst = "maximum" if unit == "d" else "minimum"
        for statistic in ("mean", "sd", worst):
            row = spread.row(measure, statistic)
            observed, made, low, high = (
                rounded(value * factor, decimals)
                for value in (row.observed, row.generated, row.low, row.high)
            )
            mark = "" if row.inside else "*"
            told = words.get(statistic, statistic)
            table.add_row(name, told, f"{observed}{mark}", made, f"{low} to {high}")
            name = ""
    return table
