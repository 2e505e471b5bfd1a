"""What ``drysward supply`` prints. Nothing is computed here."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterable, Mapping, Sequence

import xarray as xr

from drysward.quantities import Display
from drysward.results.answer_text import frost_text
from drysward.results.choice import shown_plan_and_which, supply_plan
from drysward.results.sizing_text import (
    DRAWS,
    NOTHING,
    SIZE_COSTS,
    again_text,
    answer_text,
    anyway_lines,
    bounds_lines,
    carried_text,
    confidence_lines,
    failing_text,
    limits_text,
    next_smaller_lines,
    not_monotone_text,
    origins,
    percent_text,
    priced_text,
    size_cost_text,
    size_display,
    size_text,
    stated_text,
    through_storage,
    trade_title,
)
from drysward.results.supply_text import (
    CLOSED_NIGHTS,
    PUT_OFF,
    SOURCES_FILL,
    WORST_SPELL,
    driest_and_shortest,
    dry_year_sentence,
    has_restricted_days,
    shortage_sentences,
)
from drysward.results.text import (
    CAUSES,
    MADE_WEATHER,
    MADE_YEARS,
    NONE_OR_ALL,
    UNKNOWN,
    causes_of,
    cost_notes,
    dry_period,
    file_means_text,
    findings_of,
    first_sentence,
    holds_dry_years,
    mean_year_text,
    odds_with_se,
    rounded,
    volume_display,
    without_rare_years,
    years_used,
)
from drysward.scenario.model import RECORD
from drysward.screen.compare import site_cost_tables, weather_findings
from drysward.screen.document import (
    FIELD,
    PLAN,
    Cell,
    Column,
    Heading,
    Part,
    Row,
    Table,
    Value,
    is_missing,
    notes,
    number,
    words,
)


def supply_report(supply: xr.Dataset, system: str, detail: bool = False) -> list[Part]:
    """The answer, the tables behind it, then how to read them.

    ``detail`` adds how the size was found, storage, causes of shortage, months, costs, and the
    plans that the sizing does not judge.
    """
    whole = supply = without_rare_years(supply)
    if not detail and "sizing_size" in supply:
        supply = supply.sel(plan=[supply.attrs["sizing_plan"]])
    parts: list[Part] = [
        Heading(supply.attrs["title"]), *weather_findings(findings_of(supply.attrs))
    ]  # fmt: skip
    parts.append(_answer(supply, system))
    if "sizing_size" in supply:
        parts += _sizing(supply, system, detail)
    parts += [_water_table(supply, system), _reliability_table(supply, system)]
    if detail and float(supply["storage_by_month"].max()) > 0.0:
        parts += [_store_table(supply, system), _store_months(supply, system)]
    if detail and float(supply["shortage_by_month"].max()) > 0.0:
        parts += [_shortage_causes(supply, system), _shortage_months(supply, system)]
    parts.append(_turf_table(supply, system))
    if detail and "cost" in supply:
        parts += site_cost_tables(supply)
    frost = frost_text(whole, list(map(str, supply["plan"].values)))
    parts.append(notes(_notes(supply, system, detail, frost)))
    return parts


def _answer(supply: xr.Dataset, system: str) -> str:
    """The dry year, the shortage and its cause under ``supply_plan``; and the least size."""
    plan = supply_plan(supply)
    dry = dry_year_sentence(supply, plan, system)
    sentences = [dry, shortage_sentences(supply, plan, is_named=bool(dry))]
    if "sizing_size" in supply:
        sentences.append(answer_text(supply, system))
    return " ".join(sentence for sentence in sentences if sentence)


def _by_plan(
    supply: xr.Dataset,
    key: str,
    title: str,
    columns: Sequence[Column],
    values: Mapping[str, xr.DataArray],
    cells: Sequence[Column | Cell] | None = None,
) -> Table:
    """A row for each plan; ``values`` by column, in its unit."""
    rows: list[Row] = []
    for plan in map(str, supply["plan"].values):
        row: dict[str, Value] = {
            "plan": plan, "plan_label": str(supply["plan_label"].sel(plan=plan).item())
        }  # fmt: skip
        rows.append(row | {name: of.sel(plan=plan).item() for name, of in values.items()})
    shown = cells or columns
    return Table(key, title, [*PLAN, *columns], rows, [PLAN[1], *shown], ("plan_label",))


def _volumes(
    supply: xr.Dataset, heads: Mapping[str, str], system: str
) -> tuple[list[Column], dict[str, xr.DataArray], Display]:
    unit = volume_display([supply[name] for name in heads], system)
    columns = [number(name, head, unit.unit, unit.decimals) for name, head in heads.items()]
    return columns, {name: supply[name] * unit.factor for name in heads}, unit


def _water_table(supply: xr.Dataset, system: str) -> Table:
    names = ["demand_mean", "delivered_mean", "from_storage_mean"]
    unit = volume_display([supply[name] for name in names], system)
    heads = {"demand_mean": "demand", "delivered_mean": "delivered", "shortage_mean": "shortage"}
    if float(supply["storage_by_month"].max()) > 0.0:
        heads["from_storage_mean"] = "from storage"
    keys = {"demand_mean": "demand", "delivered_mean": "delivered", "shortage_mean": "shortage",
            "from_storage_mean": "from_storage"}  # fmt: skip
    columns = [number(keys[n], head, unit.unit, unit.decimals) for n, head in heads.items()]
    values = {keys[name]: supply[name] * unit.factor for name in heads}
    for key in map(str, supply["source"].values):
        label = str(supply["source_label"].sel(source=key).item())
        columns.append(number(f"drawn_{key}", label, unit.unit, unit.decimals))
        values[f"drawn_{key}"] = supply["drawn_by_source"].sel(source=key) * unit.factor
    fill = supply["catchment_mean"] + supply["rain_on_storage_mean"]
    if float(fill.max()) > 0.0:
        columns.append(number("runoff_and_rain", "runoff and rain", unit.unit, unit.decimals))
        values["runoff_and_rain"] = fill * unit.factor
    if "supply_demand_return" in supply and holds_dry_years(supply):
        period = dry_period(supply)
        head = f"demand, 1-in-{period:g} dry year"
        columns.insert(1, number("demand_dry_year", head, unit.unit, unit.decimals))
        values["demand_dry_year"] = supply["supply_demand_return"].sel(period=period) * unit.factor
    columns.append(number("restricted_days", "days restricted", "", 1))
    values["restricted_days"] = supply["restricted_days_mean"]
    title = f"Water of {mean_year_text(supply.attrs)} {stated_text(supply, system)}"
    return _by_plan(supply, "supply", title, columns, values)


def _reliability_table(supply: xr.Dataset, system: str) -> Table:
    unit = volume_display([supply["worst_event"]], system)
    short = f"{100.0 * supply.attrs['short_year']:g}%"
    simulated = " simulated" if int(supply.attrs.get(MADE_YEARS, 0)) else ""
    year_head = f"most short{simulated} year"
    is_demanded = supply["demand_mean"] > 0.0
    columns: list[Column] = []
    values: dict[str, xr.DataArray] = {}
    cells: list[Column | Cell] = []

    def odds(name: str, head: str) -> None:
        ends = {"": "", "_se": ", standard error", "_low": ", low limit", "_high": ", high limit"}
        for end, more in ends.items():
            columns.append(number(f"{name}{end}", f"{head}{more}", "%", 1))
            values[f"{name}{end}"] = 100.0 * supply[f"{name}{end}"].where(is_demanded)
        keys = (name, f"{name}_se", f"{name}_low", f"{name}_high")
        cells.append(Cell(head, keys, _odds, "%"))

    def amount(key: str, head: str, unit: str, decimals: int, of: xr.DataArray) -> None:
        columns.append(number(key, head, unit, decimals))
        values[key] = of.where(is_demanded)
        cells.append(columns[-1])

    odds("no_shortage", "years without shortage")
    odds("short_year", f"years short by over {short}")
    odds("shortage_odds", "years with any day short")
    amount("worst_year_share", "most short year by", "%", 1, 100.0 * supply["worst_year_share"])
    columns.append(number("worst_year", year_head, "", write=lambda v: f"{v:.0f}"))
    values["worst_year"] = supply["worst_year"]
    cells.append(columns[-1])
    for name, head in (
        ("time_reliability", "days in full"),
        ("volume_reliability", "volume delivered"),
    ):
        amount(name, head, "%", 1, 100.0 * supply[name])
    amount("spell_days", "mean spell", "days", 1, supply["spell_days"])
    amount("worst_event", "worst spell", unit.unit, unit.decimals,
           supply["worst_event"] * unit.factor)  # fmt: skip
    title = f"Reliability {stated_text(supply, system)}"
    return _by_plan(supply, "reliability", title, columns, values, cells)


def _odds(p: float, error: float, low: float, high: float) -> str:
    return odds_with_se(p / 100.0, error / 100.0, low / 100.0, high / 100.0)


def _store_table(supply: xr.Dataset, system: str) -> Table:
    heads = {
        "catchment_mean": "runoff in",
        "rain_on_storage_mean": "rain in",
        "refill_mean": "pumped in",
        "from_storage_mean": "drawn",
        "evaporation_mean": "evaporated",
        "seepage_mean": "seeped",
        "spill_mean": "spilled",
        "least_storage": "least ever held",
    }
    columns, values, _ = _volumes(supply, heads, system)
    title = f"Storage in {mean_year_text(supply.attrs)}"
    return _by_plan(supply, "storage", title, columns, values)


def _months(unit: Display) -> list[Column]:
    return [
        number(calendar.month_abbr[m].lower(), calendar.month_abbr[m], "", unit.decimals)
        for m in range(1, 13)
    ]


def _by_months(values: xr.DataArray, unit: Display) -> dict[str, Value]:
    return {
        calendar.month_abbr[i].lower(): float(v) * unit.factor
        for i, v in enumerate(values.values, start=1)
    }


def _store_months(supply: xr.Dataset, system: str) -> Table:
    unit = volume_display([supply["storage_by_month"]], system, 2)
    months = _months(unit)
    is_one = int(supply.attrs["n_years"]) == 1
    kinds = {"storage_by_month": "mean", "storage_by_month_low": "1 in 10"}
    if is_one:
        kinds = {"storage_by_month": ""}
    rows: list[Row] = []
    for plan in map(str, supply["plan"].values):
        one = supply.sel(plan=plan)
        for name, what in kinds.items():
            rows.append({"plan": plan, "plan_label": str(one["plan_label"].item()), "what": what,
                         **_by_months(one[name], unit)})  # fmt: skip
    columns = [*PLAN, words("what", "", whole=True), *months]
    return Table(
        "storage_months",
        "In storage at the end of the month: "
        f"{'' if is_one else 'mean, and what 1 year in 10 falls below, '}{unit.unit}",
        columns, rows, columns[1:], ("plan_label", "what"),
    )  # fmt: skip


def _plans_and_fields(
    supply: xr.Dataset, values: xr.DataArray
) -> Iterable[tuple[xr.DataArray, dict[str, Value]]]:
    """Values of each plan and field that has any, with the cells that name them."""
    for plan in map(str, supply["plan"].values):
        for field in map(str, supply["field"].values):
            one = values.sel(plan=plan, field=field)
            if float(one.sum()) > 0.0:
                yield one, {
                    "plan": plan,
                    "plan_label": str(supply["plan_label"].sel(plan=plan).item()),
                    "field": field,
                    "field_label": str(supply["field_label"].sel(field=field).item()),
                }


def _shortage_causes(supply: xr.Dataset, system: str) -> Table:
    """Why water was short: a row for each plan and field that is, a column for each cause."""
    by_cause = supply["shortage_by_cause"]
    unit = volume_display([by_cause.sum("cause")], system)
    causes = [str(cause) for cause in causes_of(supply)]
    columns = [*PLAN, *FIELD]
    columns += [number(cause, CAUSES[cause][0], "", unit.decimals) for cause in causes]
    columns.append(number("all", "all", "", unit.decimals))
    rows: list[Row] = [
        {
            **names,
            **{cause: one.sel(cause=cause).item() * unit.factor for cause in causes},
            "all": float(one.sum()) * unit.factor,
        }
        for one, names in _plans_and_fields(supply, by_cause)
    ]
    cells = [c for c in columns if c.key not in ("plan", "field")]
    return Table(
        "shortage_causes",
        f"Shortage of {mean_year_text(supply.attrs)} by cause, {unit.unit}",
        columns, rows, cells, ("plan_label", "field_label"),
    )  # fmt: skip


def _shortage_months(supply: xr.Dataset, system: str) -> Table:
    by_month = supply["shortage_by_month"]
    unit = volume_display([by_month], system)
    columns = [*PLAN, *FIELD, *_months(unit)]
    rows: list[Row] = [
        {**names, **_by_months(one, unit)} for one, names in _plans_and_fields(supply, by_month)
    ]
    cells = [c for c in columns if c.key not in ("plan", "field")]
    return Table(
        "shortage_months",
        f"Shortage of {mean_year_text(supply.attrs)} by month, {unit.unit}",
        columns, rows, cells, ("plan_label", "field_label"),
    )  # fmt: skip


def _turf_table(supply: xr.Dataset, system: str) -> Table:
    columns = [*FIELD, *PLAN]
    cells: list[Column | Cell] = [FIELD[1], PLAN[1]]
    stages = {"wilt": "wilt", "dormant": "dormancy", "dead": "death"}
    ends = {"": "", "_se": ", standard error", "_low": ", low limit", "_high": ", high limit"}
    for word in stages.values():
        columns += [
            number(f"{word}{e}", f"{word}{more}", "of 100 years", 1) for e, more in ends.items()
        ]
        cells.append(Cell(word, tuple(f"{word}{e}" for e in ends), _odds, "of 100"))
    rows: list[Row] = []
    for field in map(str, supply["field"].values):
        for plan in map(str, supply["plan"].values):
            one = supply.sel(field=field, plan=plan)
            row: dict[str, Value] = {
                "field": field, "field_label": str(one["field_label"].item()), "plan": plan,
                "plan_label": str(one["plan_label"].item()),
            }  # fmt: skip
            for stage, word in stages.items():
                of = one.sel(stage=stage)
                row |= {f"{word}{e}": 100.0 * of[f"probability{e}"].item() for e in ends}
            rows.append(row)
    title = f"Turf: years with the stage, {stated_text(supply, system)}"
    return Table("turf", title, columns, rows, cells, ("field_label", "plan_label"))


# Sizing


def _sizing(supply: xr.Dataset, system: str, detail: bool) -> list[Part]:
    """The least size, where its water comes from, what the next smaller does, the trade-off."""

    def size(name: str) -> str:
        return size_text(supply[f"sizing_{name}"], system)

    stated, least = (supply.sel(sizing_case=case) for case in ("as given", "least"))
    of = f"of {int(supply['sizing_years'].item())}"
    failing = failing_text(supply["sizing_failing_years"], of)
    lines = [
        ("Goal", f"least {supply.attrs['sizing']}: {int(supply['sizing_allowed_years'])} {of}"),
        ("As given", f"{size('as_given')}: {failing_text(supply['sizing_failing_given'], of)}"),
        *(_beside_size(stated) if detail else ()),
    ]
    if math.isnan(supply["sizing_size"].item()):
        lines.append(
            (
                "Least",
                f"nothing suffices within the sizes tried; {size('fewest_at')} comes closest: "
                f"{failing}",
            )
        )
    else:
        limits = limits_text(size("low"), size("high"))
        lines.append(("Least", f"{size('size')}{limits}: {failing}"))
    lines += _beside_size(least)
    lines += anyway_lines(supply)
    lines += next_smaller_lines(supply, system)
    lines += bounds_lines(supply, system)
    if again := again_text(supply, system):
        lines.append(("Larger size fails", again))
    sure = confidence_lines(supply, system)
    lines += sure if detail else [line for line in sure if line[0] != DRAWS]
    if detail:
        lines.append(("Limits", "sampling error only; 'none': even the best size tried fails"))
        if "sizing_yearly_cost" in supply:
            lines.append(("Cost", priced_text(supply)))
    parts: list[Part] = [Heading("Least size"), notes(lines)]
    if "sizing_curve" in supply:
        parts.append(_trade_off(supply, system))
        if detail:
            parts.append(_carriers(supply, system))
        if why := not_monotone_text(supply, system):
            parts.append(why)
    return parts


def _beside_size(one: xr.Dataset) -> Iterable[tuple[str, str]]:
    """Where the water of a size comes from and, with prices, its cost."""
    yield "  water from", carried_text(one)
    if "sizing_yearly_cost" in one:
        yield f"  cost, {one['sizing_yearly_cost'].attrs['units']}", size_cost_text(one)


def _trade_off(supply: xr.Dataset, system: str) -> Table:
    """A row for each point of the curve; a larger size that fails again has its own column."""
    against, curve, again = (
        supply[f"sizing_{name}"] for name in ("against", "curve", "curve_fails_from")
    )
    ours, theirs = size_display(curve, system), size_display(against, system)

    def least(value: float | None) -> str:
        return NOTHING if is_missing(value) else rounded(value, ours.decimals)  # type: ignore[arg-type]

    columns = [
        number("against", against.attrs["long_name"], theirs.unit, theirs.decimals),
        Column("least", curve.attrs["long_name"], ours.unit, least, is_number=True),
    ]
    values = {"against": against * theirs.factor, "least": curve * ours.factor}
    if bool(again.notnull().any()):
        columns.append(
            Column(
                "fails_from", "fails again from", ours.unit,
                lambda v: "" if is_missing(v) else rounded(v, ours.decimals), is_number=True,
            )
        )  # fmt: skip
        values["fails_from"] = again * ours.factor
    smallest = supply["sizing_smallest"].item() if "sizing_smallest" in supply else math.nan
    marks = ["smallest pond" if math.isclose(x, smallest) else "" for x in curve.values]
    for name, title in SIZE_COSTS.items():
        if f"sizing_curve_{name}" in supply:
            of = supply[f"sizing_curve_{name}"]
            columns.append(number(name, title, of.attrs["units"], 0))
            values[name] = of
    rows: list[Row] = [
        {name: float(of[i]) for name, of in values.items()} | {"mark": mark}
        for i, mark in enumerate(marks)
    ]
    if any(marks):
        columns.append(words("mark", ""))
    return Table("trade_off", trade_title(supply), columns, rows, lead=("against",))


def _carriers(supply: xr.Dataset, system: str) -> Table:
    """A row for each point of the curve: where the water comes from."""
    prefix = "sizing_curve"
    against = supply["sizing_against"]
    unit = size_display(against, system)
    points = [supply.isel(point=i) for i in range(supply.sizes["point"])]
    names = next((found for one in points if (found := origins(one, prefix))), [])

    def share(value: float | None) -> str:
        return UNKNOWN if is_missing(value) else percent_text(value / 100.0).rstrip("%") or "0"  # type: ignore[operator]

    columns = [number("against", against.attrs["long_name"], unit.unit, unit.decimals)]
    columns += [Column(name, name, "%", share, is_number=True) for name, _ in names]
    columns.append(Column("through_storage", "through storage", "%", share, is_number=True))
    rows: list[Row] = []
    for i, point in enumerate(points):
        shares = dict(origins(point, prefix))
        row: dict[str, Value] = {"against": float(against[i]) * unit.factor}
        row |= {name: 100.0 * shares[name] if shares else None for name, _ in names}
        rows.append(row | {"through_storage": 100.0 * through_storage(point, prefix)})
    title = "Where the water comes from with the least size: share of what is delivered"
    return Table("water_from", title, columns, rows, lead=("against",))


def _notes(supply: xr.Dataset, system: str, detail: bool, frost: str) -> Iterable[tuple[str, str]]:
    """``frost``: whose death is mostly of frost."""
    attrs = supply.attrs
    if float(supply["storage_by_month"].max()) > 0.0:
        yield "Water", SOURCES_FILL
    years, independent = int(attrs["n_years"]), int(attrs["independent_years"])
    worth = ""
    if independent < years:
        worth = f"; errors and limits count these {years} years as {independent} independent ones"
    yield "Reliability", f"share of years, ± standard error; {NONE_OR_ALL}{worth}"
    if float(supply["shortage_odds"].max()) > 0.0:
        yield "Any day short", PUT_OFF
    if has_restricted_days(supply):
        yield "Closed nights", CLOSED_NIGHTS
    if float(supply["worst_event"].max()) > 0.0:
        yield "Worst spell", WORST_SPELL
    if frost:
        yield "Death", frost
    if detail:
        yield from _terms(supply)
    yield "Weather", attrs["weather"]
    if read := file_means_text(attrs, system):
        yield "Read as", read
    if attrs["weather_kind"] != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    if detail:
        yield "Years used", years_used(attrs, int(attrs["n_years"]))
        yield "Driest years", driest_and_shortest(supply, supply_plan(supply))
        yield "Caution", f"{attrs['cautions']} {attrs['supply_cautions']}"
    else:
        yield "Caution", f"{first_sentence(attrs['cautions'])} {attrs['supply_cautions']}"
        priced = ", costs" if "cost" in supply else ""
        plans = "the other plans, " if "sizing_size" in supply else ""
        yield "More", f"--detail adds {plans}storage, causes, months{priced} and all cautions"


def _terms(supply: xr.Dataset) -> Iterable[tuple[str, str]]:
    """What the words of the tables mean."""
    yield (
        "Shortage",
        "water that the plan wants and the field never gets; what comes on a later night is none",
    )
    yield "Days in full", "days on which all demand, or all but 1% of it, is met the same night"
    yield (
        "Spell",
        "days short in a row: how long one lasts in the mean; it ends with the season",
    )
    idle = supply["demand_mean"] == 0.0
    if bool(idle.any()):
        yield "-", "the plan demands no water"
        if float(supply["drawn_by_source"].where(idle).sum()) > 0.0:
            yield (
                "Without demand",
                "sources still fill the storage and make up what it loses to air and ground. Costs "
                "leave that out: such a plan needs no storage",
            )
    if causes := causes_of(supply):
        yield "Causes", "; ".join(f"{CAUSES[cause][0]}: {CAUSES[cause][1]}" for cause in causes)
    if "cost" in supply:
        plan, which = shown_plan_and_which(supply)
        yield from cost_notes(supply, plan=plan, which=which)

