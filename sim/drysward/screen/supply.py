"""What a person reads of a supply: tables at most 100 columns wide. Nothing is computed here."""

from __future__ import annotations

import calendar
import math
from collections.abc import Callable, Hashable, Iterable, Sequence

import xarray as xr
from rich.console import RenderableType
from rich.table import Table

from drysward.quantities import Display
from drysward.results.sizing_text import (
    NOTHING,
    carried_text,
    confidence_lines,
    not_monotone_text,
    origins,
    percent_text,
    size_text,
    smallest_text,
    through_storage,
    trade_title,
)
from drysward.results.text import (
    CAUSES,
    MADE_WEATHER,
    MADE_YEARS,
    UNKNOWN,
    causes_of,
    cost_notes,
    driest_years,
    file_means_text,
    findings_of,
    odds_text,
    rounded,
    volume_display,
    volume_text,
    year_text,
    years_used,
)
from drysward.scenario.model import RECORD
from drysward.screen.tables import (
    bold,
    named_lines,
    plain_table,
    site_cost_tables,
    weather_findings,
)


def supply_report(told: xr.Dataset, system: str) -> list[RenderableType]:
    """Every table of a supply, from the answers by plan, then what a reader must know."""
    parts: list[RenderableType] = [
        bold(told.attrs["title"]),
        *weather_findings(findings_of(told.attrs)),
        _water_table(told, system),
        _reliability_table(told, system),
    ]
    if float(told["storage_by_month"].max()) > 0.0:
        parts += [_storage_table(told, system), _storage_months(told, system)]
    if float(told["shortage_by_month"].max()) > 0.0:
        parts += [_shortage_causes(told, system), _shortage_months(told, system)]
    parts.append(_turf_table(told))
    if "cost" in told:
        parts += site_cost_tables(told)
    if "sizing_size" in told:
        parts += _sizing(told, system)
    parts.append(named_lines(_notes(told, system)))
    return parts


def _by_plan(
    told: xr.Dataset, title: str, columns: Sequence[tuple[str, Callable[[xr.Dataset], str]]]
) -> Table:
    """A row for each plan; a column is its heading and what it says of a plan."""
    table = plain_table(title)
    table.add_column("plan", ratio=1, min_width=14, overflow="fold")
    for heading, _ in columns:
        table.add_column(heading, justify="right", overflow="fold")
    for key in told["plan"].values:
        one = told.sel(plan=key)
        table.add_row(str(one["plan_label"].item()), *(text(one) for _, text in columns))
    return table


def _water_table(told: xr.Dataset, system: str) -> Table:
    names = ("demand_mean", "delivered_mean", "from_storage_mean")
    unit = volume_display([told[name] for name in names], system)

    def volume(name: str) -> Callable[[xr.Dataset], str]:
        return lambda one: volume_text(one[name].item(), unit)

    def drawn(source: str) -> Callable[[xr.Dataset], str]:
        return lambda one: volume_text(one["drawn_by_source"].sel(source=source).item(), unit)

    columns = [("demand", volume("demand_mean")), ("delivered", volume("delivered_mean"))]
    if float(told["storage_by_month"].max()) > 0.0:
        columns.append(("out of\nstorage", volume("from_storage_mean")))
    for key in told["source"].values:
        columns.append((str(told["source_label"].sel(source=key).item()), drawn(key)))
    columns.append(("shortage", volume("shortage_mean")))
    columns.append(
        ("days re-\nstricted", lambda one: rounded(one["restricted_days_mean"].item(), 1))
    )
    return _by_plan(told, f"Water of the mean year, {unit.unit}", columns)


def _reliability_table(told: xr.Dataset, system: str) -> Table:
    unit = volume_display([told["worst_event"]], system)

    def odds(name: str) -> Callable[[xr.Dataset], str]:
        return lambda one: odds_text(one, name)

    def percent(name: str) -> Callable[[xr.Dataset], str]:
        return lambda one: rounded(100.0 * one[name].item(), 1)

    def volume(name: str) -> Callable[[xr.Dataset], str]:
        return lambda one: volume_text(one[name].item(), unit)

    def worst(one: xr.Dataset) -> str:
        year = one["worst_year"].item()
        return UNKNOWN if math.isnan(year) else f"{year:.0f}"

    are_made = int(told.attrs.get(MADE_YEARS, 0)) > 0
    heading = "in\nmade\nyear" if are_made else "in\n\n"
    columns: list[tuple[str, Callable[[xr.Dataset], str]]] = [
        ("years\nwithout\nshortage", odds("no_shortage")),
        (f"years\nshort by\nover {100.0 * told.attrs['short_year']:g}%", odds("short_year")),
        ("worst\nyear\nshort by", percent("worst_year_share")),
        (heading, worst),
        ("years with\nany day\nshort", odds("shortage_odds")),
        ("days in\nfull\n", percent("time_reliability")),
        ("volume\ndelivered\n", percent("volume_reliability")),
        ("resil-\nience\n", percent("resilience")),
        (f"worst\nspell,\n{unit.unit}", volume("worst_event")),
    ]
    return _by_plan(told, "Reliability, %", columns)


def _storage_table(told: xr.Dataset, system: str) -> Table:
    headings = {
        "catchment_mean": "runoff\nin",
        "rain_on_storage_mean": "rain\non it",
        "refill_mean": "pumped\nin",
        "from_storage_mean": "drawn",
        "evaporation_mean": "evap-\norated",
        "seepage_mean": "seeped",
        "spill_mean": "spilt",
        "least_storage": "least\never held",
    }
    unit = volume_display([told[name] for name in headings], system)

    def volume(name: str) -> Callable[[xr.Dataset], str]:
        return lambda one: volume_text(one[name].item(), unit)

    return _by_plan(
        told,
        f"The storage in the mean year, {unit.unit}",
        [(heading, volume(name)) for name, heading in headings.items()],
    )


def _months(title: str, unit: Display) -> Table:
    table = plain_table(f"{title}, {unit.unit}")
    table.padding = (0, 0)
    table.add_column("", ratio=1, overflow="fold")
    for month in range(1, 13):
        table.add_column(f" {calendar.month_abbr[month]}", justify="right", no_wrap=True)
    return table


def _storage_months(told: xr.Dataset, system: str) -> Table:
    unit = volume_display([told["storage_by_month"]], system)
    if unit.unit == "Mgal":
        unit = Display(unit.unit, unit.factor, 2)
    table = _months("In storage at the month's end: mean, and what 1 year in 10 falls below", unit)
    for key in told["plan"].values:
        one = told.sel(plan=key)
        for name, row in (("storage_by_month", "{}"), ("storage_by_month_low", "  1 in 10")):
            cells = (f" {volume_text(v, unit)}" for v in one[name].values)
            table.add_row(row.format(one["plan_label"].item()), *cells)
    return table


def _shortage_causes(told: xr.Dataset, system: str) -> Table:
    """Why water was short: a row for each plan and field that is, a column for each cause."""
    by_cause = told["shortage_by_cause"]
    unit = volume_display([by_cause.sum("cause")], system)
    causes = causes_of(told)
    table = plain_table(f"Shortage of the mean year by cause, {unit.unit}")
    table.add_column("", ratio=1, overflow="fold")
    for heading in (*(CAUSES[str(cause)][0] for cause in causes), "all"):
        table.add_column(heading, justify="right", no_wrap=True)
    for key in told["plan"].values:
        for field in told["field"].values:
            one = by_cause.sel(plan=key, field=field)
            if float(one.sum()) > 0.0:
                volumes = (*(one.sel(cause=cause).item() for cause in causes), float(one.sum()))
                table.add_row(_plan_and_field(told, key, field),
                              *(volume_text(v, unit) for v in volumes))  # fmt: skip
    return table


def _plan_and_field(told: xr.Dataset, plan: Hashable, field: Hashable) -> str:
    plan_label = told["plan_label"].sel(plan=plan).item()
    return f"{plan_label}, {told['field_label'].sel(field=field).item()}"


def _shortage_months(told: xr.Dataset, system: str) -> Table:
    by_month = told["shortage_by_month"]
    unit = volume_display([by_month], system)
    table = _months("Shortage of the mean year by field and month", unit)
    for key in told["plan"].values:
        for field in told["field"].values:
            one = by_month.sel(plan=key, field=field)
            if float(one.max()) > 0.0:
                volumes = (f" {volume_text(v, unit)}" for v in one.values)
                table.add_row(_plan_and_field(told, key, field), *volumes)
    return table


def _turf_table(told: xr.Dataset) -> Table:
    table = plain_table("What it does to the turf, % of years")
    table.add_column("field", overflow="fold")
    table.add_column("plan", ratio=1, overflow="fold")
    for title in ("wilt", "dormant", "death"):
        table.add_column(title, justify="right", no_wrap=True)
    for field in told["field"].values:
        for plan in told["plan"].values:
            one = told.sel(field=field, plan=plan)
            table.add_row(
                str(one["field_label"].item()),
                str(one["plan_label"].item()),
                *(odds_text(one.sel(stage=stage)) for stage in ("wilt", "dormant", "dead")),
            )
    return table


def _sizing(told: xr.Dataset, system: str) -> list[RenderableType]:
    """The least size, what carries the load with it, what the next smaller does, the curve."""

    def size(name: str) -> str:
        return size_text(told[f"sizing_{name}"], system)

    def number(name: str) -> str:
        return f"{told[f'sizing_{name}'].item():.0f}"

    of = f"of {number('years')}"
    given, least = (told.sel(sizing_case=case) for case in ("as given", "least"))
    lines = [
        ("Sought", f"least {told.attrs['sizing']}: {number('allowed_years')} {of}"),
        ("As given", f"{size('as_given')}: {number('failing_given')} {of} years fail"),
        *_beside_size(given),
    ]
    found = told["sizing_size"].item()
    if math.isnan(found):
        lines.append(
            (
                "Least",
                "nothing suffices within the sizes tried; the fewest years, "
                f"{number('failing_years')} {of}, fail with {size('fewest_at')}",
            )
        )
    else:
        limits = f"90% limits {size('low')} to {size('high')}"
        lines.append(("Least", f"{size('size')} ({limits}); {number('failing_years')} years fail"))
    lines += _beside_size(least)
    if told["sizing_tried_less"].item() == found:
        lines.append(("Next smaller size", f"not tried: {smallest_text(told)}"))
    elif not math.isnan(found):
        year = told["sizing_deciding_year"].item()
        known = not math.isnan(year)
        critical = f"; {year_text(told.attrs, year)} is the critical year" if known else ""
        lines.append(("Next smaller size fails", f"{size('tried_less')}{critical}"))
    again = told["sizing_fails_from"]
    if not math.isnan(again.item()):
        lines.append(
            (
                "Larger size fails",
                f"with {size('fails_from')} too many years fail again. In the years that fail only "
                f"with it: {again.attrs['why']}",
            )
        )
    limits_of = "sampling error of the years only; 'none': not even the best size tried would do"
    lines.append(("Limits", limits_of))
    lines += confidence_lines(told, system)
    if "sizing_yearly_cost" in told:
        lines.append(("Cost", _counted(told)))
    parts: list[RenderableType] = [bold("Least size"), named_lines(lines)]
    if "sizing_curve" in told:
        parts += [bold(""), _trade_off(told, system), _carriers(told, system)]
        if why := not_monotone_text(told, system):
            parts.append(why)
    return parts


def _counted(told: xr.Dataset) -> str:
    """What costs beside sizes are made of."""
    parts = ["yearly: water and energy of the mean year"]
    if "sizing_first_cost" in told:
        parts.append("first: storage at its price")
    if "sizing_present_cost" in told:
        parts.append("present: both over the life")
    return f"{'; '.join(parts)}. Wells, mains and catchments are not priced"


def _beside_size(one: xr.Dataset) -> Iterable[tuple[str, str]]:
    """What stands below a size: where its water comes from and, with prices, its cost."""
    yield "  carried by", carried_text(one)
    if "sizing_yearly_cost" in one:
        money = one["sizing_yearly_cost"].attrs["units"]
        parts = [
            f"{title} {rounded(one[f'sizing_{name}'].item(), 0)}"
            for name, title in _MONEY
            if f"sizing_{name}" in one
        ]
        yield f"  cost, {money}", ", ".join(parts)


_MONEY = (("first_cost", "first"), ("yearly_cost", "yearly"), ("present_cost", "present"))


def _titled(title: str) -> Table:
    """A table at least as wide as its title."""
    table = plain_table(title)
    table.min_width = len(title)
    return table


def _trade_off(told: xr.Dataset, system: str) -> Table:
    """A row for each point of the curve; what fails again with a larger size is marked."""
    against, curve, again = (
        told[f"sizing_{name}"] for name in ("against", "curve", "curve_fails_from")
    )
    table = _titled(trade_title(told))
    marked = bool(again.notnull().any())
    for values in (against, curve):
        table.add_column(values.attrs["long_name"], justify="right")
    if marked:
        table.add_column("fails\nagain from", justify="right")
    money = [(name, title) for name, title in _MONEY if f"sizing_curve_{name}" in told]
    for name, title in money:
        unit = told[f"sizing_curve_{name}"].attrs["units"]
        table.add_column(f"{title.replace(' ', chr(10))},\n{unit}", justify="right")
    for i in range(told.sizes["point"]):
        point = told.isel(point=i)
        suffices = not math.isnan(curve[i].item())
        larger = again[i].assign_attrs(again.attrs)
        row = [
            size_text(against[i].assign_attrs(against.attrs), system, against),
            size_text(curve[i].assign_attrs(curve.attrs), system, curve) if suffices else NOTHING,
        ]
        if marked:
            is_marked = not math.isnan(larger.item())
            row.append(f"! {size_text(larger, system, again)}" if is_marked else "")
        row += [rounded(point[f"sizing_curve_{name}"].item(), 0) for name, _ in money]
        table.add_row(*row)
    return table


def _carriers(told: xr.Dataset, system: str) -> Table:
    """A row for each point of the curve: where the water comes from."""
    prefix = "sizing_curve"
    against = told["sizing_against"]
    table = _titled("What carries the load with the least size: share of the water delivered")
    table.add_column(against.attrs["long_name"], justify="right")
    points = [told.isel(point=i) for i in range(told.sizes["point"])]
    names = next((found for one in points if (found := origins(one, prefix))), [])
    for name in (*(name for name, _ in names), "through\nstorage"):
        table.add_column(name, justify="right", overflow="fold")
    for i, point in enumerate(points):
        shares = [share for _, share in origins(point, prefix)] or [math.nan] * len(names)
        cells = (percent_text(share) for share in (*shares, through_storage(point, prefix)))
        table.add_row(size_text(against[i].assign_attrs(against.attrs), system, against), *cells)
    return table


def _notes(told: xr.Dataset, system: str) -> Iterable[tuple[str, str]]:
    attrs = told.attrs
    yield (
        "Reliability",
        "share of years, ± standard error, < and > upper and lower 90% limits; shortage: water "
        "that the plan wants and the field never gets, what comes in a later night is none; days "
        "in full: days on which all that is wanted comes the same night; resilience: chance that "
        "a day short is the last of its spell",
    )
    if causes := causes_of(told):
        yield "Causes", "; ".join(f"{CAUSES[cause][0]}: {CAUSES[cause][1]}" for cause in causes)
    yield "Storage", "at the month's end; the sources named give to the fields or fill the storage"
    if "cost" in told:
        yield from cost_notes(told)
    yield "Weather", attrs["weather"]
    if read := file_means_text(attrs, system):
        yield "Read as", read
    if attrs["weather_kind"] != RECORD:
        yield "Trust", MADE_WEATHER[attrs["weather_kind"]]
    yield "Years used", years_used(attrs, told.sizes.get("year", attrs["independent_years"]))
    yield "Driest years", driest_years(attrs)
    yield "Caution", f"{attrs['cautions']} {attrs['supply_cautions']}"
