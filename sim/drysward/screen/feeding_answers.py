"""What ``drysward compare --show feeding`` prints. Nothing is computed here."""

from __future__ import annotations

import calendar
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import xarray as xr

from drysward.quantities import Display, shown
from drysward.results.choice import best_plan
from drysward.results.dataset import FEED
from drysward.results.feeding_text import (
    CAUTION,
    ESTIMATES,
    HUNGRY,
    LUSH,
    RECOVERY_OF_DRAWS,
    SHIFT_MEANS,
    SHIFT_OF_DRAWS,
    SHIFTS,
    SHIFTS_WHY,
    doses_of,
    doses_text,
    fed_fields,
    feeding_sentences,
    has_range_of_effect,
    month_order,
    salt_cautions,
    state_of,
    weeks_text,
)
from drysward.results.text import UNKNOWN, findings_of, rounded, signed, with_range
from drysward.scenario.model import Scenario
from drysward.screen.compare import weather_findings
from drysward.screen.document import Cell, Column, Part, Row, Table, Value, notes, number, words
from drysward.screen.feeding import feeding_table

_NAMES = (
    words("field", "field", whole=True), words("field_label", "field"),
    words("plan", "plan", whole=True), words("plan_label", "plan"),
)  # fmt: skip


_CALENDAR = ("Calendar", "the doses of a year: drysward check, or --detail")


def feeding(
    summary: xr.Dataset, scenario: Scenario, system: str, detail: bool = False
) -> list[Part]:
    """Tables of the turf, of what leaves, of what feeding changes, of the months and, with
    ``detail``, of the doses as ``drysward check`` lists them.

    ``summary`` is of ``summarize`` with the effect of feeding.
    """
    tables = [_turf(summary, system), _losses(summary, system), _effect(summary, system)]
    if f"doubt_{FEED}leached_n" in summary:
        tables.append(_draws(summary, system))
    if has_range_of_effect(summary):
        tables.insert(3, _effect_draws(summary, system))
    if f"{FEED}water_n" in summary:
        tables.append(_water(summary, system))
    tables += [_months(summary, system), *(feeding_table(scenario, system) if detail else [])]
    return [
        *weather_findings(findings_of(summary.attrs)),
        *feeding_sentences(summary, best_plan(summary), system),
        *tables,
        notes([
            *_notes(summary), *(("Caution", text) for text in salt_cautions(scenario)),
            *([] if detail else [_CALENDAR]),
        ]),
    ]


def _rows(
    summary: xr.Dataset, numbers: Callable[[xr.Dataset], dict[str, Value]]
) -> list[Row]:
    """A row for each fed field and plan; ``numbers`` takes those of one from its summary."""
    rows: list[Row] = []
    for field in fed_fields(summary):
        for plan in map(str, summary["plan"].values):
            one = summary.sel(field=field, plan=plan)
            rows.append({
                "field": field, "field_label": str(one["field_label"].item()),
                "plan": plan, "plan_label": str(one["plan_label"].item()), **numbers(one),
            })  # fmt: skip
    return rows


def _by_field(
    key: str,
    title: str,
    columns: Sequence[Column],
    rows: Sequence[Row],
    cells: Sequence[Column | Cell],
) -> Table:
    return Table(
        key, title, [*_NAMES, *columns], rows, [_NAMES[1], _NAMES[3], *cells], ("plan_label",),
        by="field_label",
    )  # fmt: skip


def _bare(column: Column, head: str = "") -> Column:
    """A column whose unit, and what it is of, stand in the title of its table."""
    return replace(column, unit="", head=head or column.head)


def _pair(head: str, keys: tuple[str, str], decimals: int) -> Cell:
    """A mean, and in brackets what 1 year in 10 passes."""

    def write(mean: float, bad: float) -> str:
        texts = rounded(mean, decimals), rounded(bad, decimals)
        return texts[0] if texts[1] == UNKNOWN or texts[0] == texts[1] else "{} ({})".format(*texts)

    return Cell(head, keys, write)


def _turf(summary: xr.Dataset, system: str) -> Table:
    how = shown("kg ha-1", system)
    columns = [
        number("fed", "nitrogen fed", how.unit, how.decimals),
        number("doses", "doses given", "", 1),
        number("planned", "doses planned"),
        number("late", "doses that waited", "", 1),
        number("in_rain", "doses before heavy rain", "", 1),
        number("taken_up", "nitrogen taken up", how.unit, how.decimals),
        number("freed", "nitrogen from soil", how.unit, how.decimals),
        number("clippings", "clippings, dry", how.unit, 0),
        number("growing_days", "growing days"),
        *(
            column
            for state in (HUNGRY, LUSH)
            for column in (
                number(f"{state}_days", f"{state} days", "", 1),
                number(f"{state}_years", f"years with over 2 {state} weeks", "of 100", 0),
                number(f"{state}_years_low", f"years with over 2 {state} weeks, low limit", "", 0),
                number(f"{state}_years_high", f"years with over 2 {state} weeks, high limit"),
            )
        ),
        number("unwise", "days unfit for feeding", "", 0),
    ]
    heads = {column.key: column for column in columns}

    def numbers(one: xr.Dataset) -> dict[str, Value]:
        row: dict[str, Value] = {
            "doses": one[f"{FEED}doses_mean"].item(),
            "planned": float(len(doses_of(one, str(one["field"].item())))),
            "late": one[f"{FEED}doses_late_mean"].item(),
            "in_rain": one[f"{FEED}doses_in_rain_mean"].item(),
            "growing_days": one[f"{FEED}growing_days_mean"].item(),
            "unwise": one[f"{FEED}days_unwise_mean"].item(),
        }
        for key, name in (
            ("fed", "applied_n"), ("taken_up", "uptake_n"), ("freed", "freed_n"),
            ("clippings", "clippings"),
        ):  # fmt: skip
            row[key] = one[f"{FEED}{name}_mean"].item() * how.factor
        for state in (HUNGRY, LUSH):
            row[f"{state}_days"] = one[f"{FEED}days_{state}_mean"].item()
            for end in ("", "_low", "_high"):
                row[f"{state}_years{end}"] = 100.0 * one[f"{FEED}{state}_years{end}"].item()
        return row

    def weeks(days: float, years: float) -> str:
        return f"{weeks_text(days)} ({rounded(years, 0)})"

    cells: list[Column | Cell] = [
        _bare(heads["fed"], "fed"),
        Cell("doses", ("doses", "planned"), doses_text),
        Cell("late", ("late",), lambda doses: rounded(doses, 1)),
        Cell("before heavy rain", ("in_rain",), lambda doses: rounded(doses, 1)),
        _bare(heads["clippings"]),
        *(
            Cell(f"{state} weeks", (f"{state}_days", f"{state}_years"), weeks)
            for state in (HUNGRY, LUSH)
        ),
        _bare(heads["taken_up"], "taken up"),
        _bare(heads["freed"], "from soil"),
    ]
    title = f"Nitrogen of a year, and clippings, {how.unit}"
    return _by_field("feeding_turf", title, columns, _rows(summary, numbers), cells)


# What leaves: name in the summary, its head, the decimals more than the unit has.
_LOST = {
    "leached_n": ("leached", 0),
    "ammonia_n": ("ammonia", 1),
    "gas_n": ("gas of wet soil", 1),
    "runoff_n": ("in runoff", 1),
    "runoff_p": ("phosphorus in runoff", 1),
}
_PAIRED = ("leached_n", "runoff_p")  # shown with what 1 year in 10 passes
_OFF = {"paving_n": "off paving", "removed_n": "in clippings"}


def _losses(summary: xr.Dataset, system: str) -> Table:
    how = shown("kg ha-1", system)
    columns: list[Column] = []
    cells: list[Column | Cell] = []
    for name, (head, more) in _LOST.items():
        decimals = how.decimals + more
        columns += [
            number(name, head, how.unit, decimals),
            number(f"{name}_1in10", f"{head}, 1 year in 10", how.unit, decimals),
        ]
        paired = _pair(head, (name, f"{name}_1in10"), decimals)
        cells.append(paired if name in _PAIRED else _bare(columns[-2]))
    strength = ("leached_mg_l", "leached_mg_l_1in10")
    columns += [
        number(strength[0], "in drainage", "mg/L", 1),
        number(strength[1], "in drainage, 1 year in 10", "mg/L", 1),
    ]
    cells.insert(1, _pair("in drainage, mg/L", strength, 1))
    for name, head in _OFF.items():
        columns.append(number(name, head, how.unit, how.decimals))
        if float(summary[f"{FEED}{name}_mean"].max()) > 0.0:
            cells.append(_bare(columns[-1]))

    def numbers(one: xr.Dataset) -> dict[str, Value]:
        row: dict[str, Value] = {}
        for name in (*_LOST, *_OFF):
            row[name] = one[f"{FEED}{name}_mean"].item() * how.factor
        for name in _LOST:
            row[f"{name}_1in10"] = one[f"{FEED}{name}_1in10"].item() * how.factor
        row[strength[0]] = one[f"{FEED}leached_mg_l_mean"].item()
        row[strength[1]] = one[f"{FEED}leached_mg_l_1in10"].item()
        return row

    title = f"What leaves in a year, {how.unit} (1 year in 10)"
    return _by_field("feeding_losses", title, columns, _rows(summary, numbers), cells)


def _compared(system: str) -> dict[str, tuple[str, Display]]:
    """What feeding shifts: its name in the summary, its head, and how it is shown."""
    plain = Display("", 1.0, 0)
    return {
        "below": ("days below condition", plain),
        "wilt": ("wilt days", plain),
        "recovery": ("days of recovery", plain),
        "water": ("water", shown("mm", system)),
    }


def _effect(summary: xr.Dataset, system: str) -> Table:
    """Days, water and recovery as fed, and in brackets without feeding."""
    compared = _compared(system)
    columns: list[Column] = []
    cells: list[Column | Cell] = []
    for name, (head, how) in compared.items():
        for end, what in (
            ("fed", ", as fed"), ("plain", ", without feeding"), ("change", ", change"),
            ("change_se", ", standard error of the change"),
        ):  # fmt: skip
            columns.append(number(f"{name}_{end}", f"{head}{what}", how.unit, how.decimals))
        both = (f"{name}_fed", f"{name}_plain")
        cells.append(Cell(head, both, _with_and_without(how.decimals), how.unit))

    def numbers(one: xr.Dataset) -> dict[str, Value]:
        return {
            f"{name}_{end}": one[f"{FEED}{name}_{end}"].item() * how.factor
            for name, (_, how) in compared.items()
            for end in ("fed", "plain", "change", "change_se")
        }

    title = f"{SHIFTS}, with the likely numbers: as fed (without feeding)"
    return _by_field("feeding_effect", title, columns, _rows(summary, numbers), cells)


def _effect_draws(summary: xr.Dataset, system: str) -> Table:
    """What feeding adds to days, water and recovery: mean of the draws, and 5 to 95% of them."""
    n = summary.attrs["doubt_draws"]
    title = f"{SHIFT_OF_DRAWS}: mean of {n} draws (5 to 95% of them)"
    shifts = {
        f"{name}_change": (head, how, how.unit) for name, (head, how) in _compared(system).items()
    }
    return _over_draws("feeding_effect_draws", title, summary, shifts, ", change", signed)


def _over_draws(
    key: str,
    title: str,
    summary: xr.Dataset,
    numbers: Mapping[str, tuple[str, Display, str]],
    of: str = "",
    in_text: Callable[[float, int], str] = rounded,
) -> Table:
    """A table of means over the draws with their limits: by name the head, how it is shown, and
    the unit below the head; ``of`` ends the name of a column.
    """
    columns: list[Column] = []
    cells: list[Column | Cell] = []
    for name, (head, how, unit) in numbers.items():
        for end, what in (("", ""), ("_low", ", 5%"), ("_high", ", 95%")):
            columns.append(number(f"{name}{end}", f"{head}{of}{what}", how.unit, how.decimals))
        ends = (name, f"{name}_low", f"{name}_high")
        cells.append(Cell(head, ends, _with_limits(how.decimals, in_text), unit))

    def values(one: xr.Dataset) -> dict[str, Value]:
        return {
            f"{name}{end}": one[f"doubt_{FEED}{name}{end}"].item() * how.factor
            for name, (_, how, _) in numbers.items()
            for end in ("", "_low", "_high")
        }

    return _by_field(key, title, columns, _rows(summary, values), cells)


def _with_and_without(decimals: int) -> Callable[..., str]:
    def write(fed: float, without: float) -> str:
        if math.isnan(fed):
            return UNKNOWN
        return f"{rounded(fed, decimals)} ({rounded(without, decimals)})"

    return write


def _draws(summary: xr.Dataset, system: str) -> Table:
    """How far the main numbers may be off: mean of the draws, and 5 to 95% of them."""
    how = shown("kg ha-1", system)
    n = summary.attrs["doubt_draws"]
    title = f"What is not known: mean of {n} draws (5 to 95% of them), {how.unit} and weeks"
    shown_so = {
        "leached_n": ("leached", how, ""),
        "clippings": ("dry clippings", Display(how.unit, how.factor, 0), ""),
        "days_hungry": ("hungry weeks", _WEEKS, ""),
        "days_lush": ("lush weeks", _WEEKS, ""),
    }
    return _over_draws("feeding_draws", title, summary, shown_so)


_SURER_DRAWS = 64  # of which 3 lie beyond a limit
_WEEKS = Display("weeks", 1.0 / 7.0, 0)


def _with_limits(
    decimals: int, in_text: Callable[[float, int], str] = rounded
) -> Callable[..., str]:
    def write(mean: float, low: float, high: float) -> str:
        texts = [in_text(value, decimals) for value in (mean, low, high)]
        return with_range(*texts)

    return write


def _water(summary: xr.Dataset, system: str) -> Table:
    """What salt and nitrogen of the irrigation water do."""
    how, depth = shown("kg ha-1", system), shown("mm", system)
    shows = {
        "water_n": number("water_n", "nitrogen in it", how.unit, how.decimals),
        "leaching_fraction": number("leaching_fraction", "water that drains", "%", 0),
        "leaching_needed": number("leaching_needed", "must drain", "%", 0),
        "leaching_water": number("leaching_water", "more water for it", depth.unit, depth.decimals),
        "soil_salt": number("soil_salt", "salt in soil", "dS/m", 1),
        "salt_growth_lost": number("salt_growth_lost", "growth lost", "%", 0),
    }
    factors = {"water_n": how.factor, "leaching_water": depth.factor, "soil_salt": 1.0}
    columns = [column for name, column in shows.items() if f"{FEED}{name}" in summary]

    def numbers(one: xr.Dataset) -> dict[str, Value]:
        return {
            column.key: one[f"{FEED}{column.key}"].item() * factors.get(column.key, 100.0)
            for column in columns
        }

    rows = [
        row for row in _rows(summary, numbers)
        if any(not math.isnan(float(row[column.key] or 0.0)) for column in columns)
    ]  # fmt: skip
    return _by_field(
        "feeding_water", "Irrigation water with salt or nitrogen: a year", columns, rows, columns
    )


def _months(summary: xr.Dataset, system: str) -> Table:
    """Status, clippings and leaching by month, the plans side by side."""
    how = shown("kg ha-1", system)
    columns = [
        *_NAMES,
        number("month_number", "month number"),
        words("month", "month"),
        words("state", "status"),
        number("status", "status, 0 to 1 and more", "", 2),
        number("clippings", "clippings", how.unit, 1 if how.decimals else 0),
        number("leached", "leached", how.unit, how.decimals + 1),
    ]
    rows: list[Row] = []
    for field in fed_fields(summary):
        for month in month_order(summary):
            for plan in map(str, summary["plan"].values):
                one = summary.sel(field=field, plan=plan, month=month)
                status = one[f"{FEED}status_month_mean"].item()
                rows.append({
                    "field": field, "field_label": str(one["field_label"].item()),
                    "plan": plan, "plan_label": str(one["plan_label"].item()),
                    "month_number": month, "month": calendar.month_abbr[month],
                    "state": state_of(status, summary.attrs), "status": status,
                    "clippings": one[f"{FEED}clippings_month_mean"].item() * how.factor,
                    "leached": one[f"{FEED}leached_month_mean"].item() * how.factor,
                })  # fmt: skip
    named = {column.key: _bare(column) for column in columns}
    cells = [named[key] for key in
             ("field_label", "plan_label", "month", "state", "clippings", "leached")]  # fmt: skip
    return Table(
        "feeding_months", f"Turf, clippings and leaching by month, {how.unit}: mean of the years",
        columns, rows, cells, ("month",), across="plan_label", by="field_label",
    )  # fmt: skip


def _notes(summary: xr.Dataset) -> Iterator[tuple[str, str]]:
    yield "Years", "means of the years; in brackets of a loss: 1 year in 10 loses more"
    yield (
        "Weeks",
        "growing weeks in which nitrogen holds growth below "
        f"{summary.attrs['hungry_below']:.0%} of full (hungry: pale, slow to mend) or is well "
        "above what full growth needs (lush: dark and soft); turf between the two still grows more "
        "with more feed; in brackets the years of 100 with more than two such weeks",
    )
    yield (
        "Doses",
        "a dose waits for turf and ground that can take it (late), and is left out when that takes "
        "too long; heavy rain: on its day or the next",
    )
    yield (
        "Taken up",
        "by the turf, from feed, soil and water; what turf lets fall and rots is taken up again",
    )
    yield "Leached", "nitrogen below the roots or into the drains; mg/L: of all water that drained"
    if float(summary[f"{FEED}removed_n_mean"].max()) > 0.0:
        yield "In clippings", "nitrogen in clippings that are carried off"
    yield (
        "Status",
        "nitrogen in the turf: hungry, enough or lush; in winter what spring begins with",
    )
    yield (
        "Without",
        "the same plans and years with turf as the published tables of water use have it, neither "
        "hungry nor lush; it is not turf that is never fed. Recovery: years in which turf went "
        f"dormant and came back in both. {SHIFTS_WHY}",
    )
    if has_range_of_effect(summary):
        yield "Shift", f"{SHIFT_MEANS}; days of recovery: {RECOVERY_OF_DRAWS}"
    if f"doubt_{FEED}leached_n" in summary:
        n = int(summary.attrs["doubt_draws"])
        yield (
            "Not known",
            "soil, turf, system and the numbers of feeding, drawn together; tables that name no "
            "draws are of their likely numbers"
            + ("" if n >= _SURER_DRAWS else f". Of {n} draws one alone moves a limit; --draws "
               f"{_SURER_DRAWS} is surer"),
        )
    if f"{FEED}soil_salt" in summary:
        yield (
            "Salt",
            "of soil watered so for many years, rain among the water; salt that builds up in a "
            "dry summer is not in it",
        )
    yield "Trust", ESTIMATES
    yield "Caution", CAUTION
