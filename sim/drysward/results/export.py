"""Results as files: NetCDF after the CF conventions, and CSV with units in the header.

What one call writes is renamed into its place when all of it is whole, so that a reader sees the
old files or the new ones and never half of one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.files import Write, write_csv, write_netcdf
from drysward.quantities import Display, any_shown, shown
from drysward.results.cf import to_cf
from drysward.results.dataset import FEED, PLAY
from drysward.results.digest import DIGEST, digest_of
from drysward.results.summary import DRAWS, SITE, of_turf, part_of, without_prefix
from drysward.results.terms import units_and_name
from drysward.results.text import MADE_YEARS, ledger_dates, year_text
from drysward.scenario.values import day_text

NO_UNIT = ("", "1")


def files_of_run(whole: xr.Dataset, summary: xr.Dataset, units: str) -> dict[str, Write]:
    """What fills each file of a result, by name.

    Parameters
    ----------
    whole : Dataset of ``drysward.run``, with its summary and details; for results.nc, base units.
    summary : Dataset of ``summarize``. One of a supply makes supply.csv and, with a curve of sizes,
        tradeoff.csv; any other summary.csv, daily-odds.csv and site.csv, with play play.csv, with
        feeding feeding.csv, with draws doubt.csv.
    units : "us" or "metric", of the CSV files.
    """
    rows: dict[str, Callable[[], list[list[object]]]] = {}
    if "time_reliability" in summary:
        rows["supply.csv"] = lambda: supply_rows(summary, units)
        if "sizing_curve" in summary:
            rows["tradeoff.csv"] = lambda: curve_rows(summary, units)
    else:
        rows["summary.csv"] = lambda: summary_rows(of_turf(summary), units)
        rows["daily-odds.csv"] = lambda: daily_rows(whole)
        site, draws = (part_of(summary, name) for name in (SITE, DRAWS))
        if site.data_vars:
            rows["site.csv"] = lambda: site_rows(site, units)
        for begins, file in ((PLAY, "play.csv"), (FEED, "feeding.csv")):
            if (part := without_prefix(summary, begins)).data_vars:
                rows[file] = partial(summary_rows, part, units)
        if draws.data_vars:
            rows["doubt.csv"] = lambda: doubt_rows(draws, units)
    files: dict[str, Write] = {"results.nc": lambda part: _write_netcdf(whole, part)}
    for name, make in rows.items():
        files[name] = partial(_write_rows, make)
    return files


def files_of_season(outlook: xr.Dataset, units: str) -> dict[str, Write]:
    """What fills each file of a season, by name; as ``files_of_run``."""
    return {
        "results.nc": lambda part: _write_netcdf(outlook, part),
        "outlook.csv": partial(_write_rows, lambda: outlook_rows(outlook)),
        "season-water.csv": partial(_write_rows, lambda: season_water_rows(outlook, units)),
    }


def outlook_rows(outlook: xr.Dataset) -> list[list[object]]:
    """Header and a row for each field, plan, stage and date: odds, their limits, usual odds."""
    names = [name for name in ("odds", "odds_low", "odds_high", "usual_odds") if name in outlook]
    by = ("field", "plan", "stage", "date")
    each = outlook[names].transpose(*by)
    dates = np.datetime_as_string(each["date"].values, unit="D")
    keys = [[str(key) for key in each[name].values] for name in by[:3]]
    places = product(*keys, map(str, dates))
    columns = [each[name].values.ravel() for name in names]
    rows: list[list[object]] = [[*by, *names]]
    for place, *values in zip(places, *columns, strict=True):
        rows.append([*place, *map(_number, values)])
    return rows


def season_water_rows(outlook: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each field and plan: the water that is enough, by certainty."""
    depth = shown("mm", system)
    sure = outlook["certainty"].values
    heads = [f"water_{c * 100:.0f}_sure ({depth.unit})" for c in sure]
    rows: list[list[object]] = [["field", "plan", *heads, "next_watering_days", "next_depth"]]
    rows[0][-1] = f"next_depth ({depth.unit})"
    for field in map(str, outlook["field"].values):
        for plan in map(str, outlook["plan"].values):
            one = outlook.sel(field=field, plan=plan)
            need = [_number(float(mm) * depth.factor) for mm in one["water_needed"].values]
            day = _number(float(one["next_watering"].sel(quantile=0.5)))
            rows.append(
                [field, plan, *need, day, _number(float(one["next_depth"]) * depth.factor)]
            )
    return rows


def _write_rows(make: Callable[[], list[list[object]]], path: Path) -> None:
    write_csv(make(), path)


def supply_rows(summary: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each number by plan, and by what else it has (field, source, cause)."""
    return _long_rows(summary, system, ("field", "source", "month", "stage", "cause", "period"))


def site_rows(site: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each volume or cost by plan, and by field or return period."""
    return _long_rows(site, system, ("field", "period"))


def doubt_rows(doubt: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each number of what is not known: its mean over draws, its 5 and 95%
    across them, and the sampling error of the years; blank what a number does not have.

    ``what`` is the variable, with what else it is by: ``probability_wilt``, ``demand_1in10``,
    ``fewer_by_than_none``, ``share_of_groups_soil``. ``field`` is blank of the whole site.
    """
    rows: list[list[object]] = [["field", "plan", "what", "mean", "low", "high", "error", "unit"]]
    ends = ("", "_low", "_high", "_error")
    for name in map(str, doubt.data_vars):
        if name.endswith(("_low", "_high", "_error", "_distinct")):
            continue
        unit, _ = units_and_name(name, doubt[name])
        how = None if unit in NO_UNIT else shown(unit, system)
        stacked = doubt[name].stack(row=doubt[name].dims)
        columns = [
            doubt[f"{name}{end}"].stack(row=doubt[name].dims).values
            if f"{name}{end}" in doubt
            else np.full(stacked.size, np.nan)
            for end in ends
        ]
        places = [dict(zip(doubt[name].dims, row, strict=True)) for row in _tuples(stacked)]
        for where, *numbers in zip(places, *columns, strict=True):
            if any(f"other{of}" in where and where[f"other{of}"] == where[one]
                   for one, of in (("plan", ""), ("field", "_field"))):  # fmt: skip
                continue
            factor = 1.0 if how is None else how.factor
            what = "_".join([name.removeprefix("doubt_"), *_what(where)])
            cells = [_number(value * factor) for value in numbers]
            place = [where.get("field", ""), where.get("plan", "")]
            rows.append([*place, what, *cells, how.unit if how else ""])
    return rows


def _tuples(stacked: xr.DataArray) -> list[tuple[object, ...]]:
    """The place of each row; of one dimension a place is no tuple of itself."""
    return [row if isinstance(row, tuple) else (row,) for row in stacked["row"].values]


def _what(where: dict[Hashable, Any]) -> list[str]:
    """What a number is by, beside field and plan."""
    tags = []
    for key, value in where.items():
        if key == "period":
            tags.append(f"1in{value:g}")
        elif key in ("other", "other_field"):
            tags.append(f"than_{value}")
        elif key not in ("field", "plan"):
            tags.append(str(value))
    return tags


def _long_rows(summary: xr.Dataset, system: str, across: tuple[str, ...]) -> list[list[object]]:
    rows: list[list[object]] = [["quantity", "plan", *across, "value", "unit", "meaning"]]
    for name, values in summary.data_vars.items():
        if "plan" not in values.dims or set(values.dims) - {"plan", *across}:
            continue
        unit, long_name = units_and_name(str(name), values)
        how = None if unit in NO_UNIT else shown(unit, system)
        stacked = values.stack(row=values.dims)
        for place, value in zip(stacked["row"].values, stacked.values, strict=True):
            where = dict(zip(values.dims, place, strict=True))
            number = _number(value * (1.0 if how is None else how.factor))
            parts = [str(where.get(key, "")) for key in ("plan", *across)]
            rows.append([str(name), *parts, number, how.unit if how else "", long_name])
    return rows


def curve_rows(summary: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each point of the curve of least sizes: the size that fails again,
    where the water of the mean year comes from, and costs. Blank where there is none.
    """
    columns: list[tuple[str, NDArray[np.float64]]] = []
    for name in ("against", "curve", "curve_fails_from"):
        values = summary[f"sizing_{name}"]
        how = shown(values.attrs["units"], system)
        columns.append((f"{values.attrs['long_name']} ({how.unit})", values.values * how.factor))
    volume = shown("m3", system)
    for name in ("delivered", "from_storage", "runoff", "rain", "direct", "filled"):
        values = summary[f"sizing_curve_{name}"]
        parts = [values] if "source" not in values.dims else [
            values.sel(source=key) for key in values["source"].values
        ]  # fmt: skip
        for part in parts:
            of = f" {part['source'].item()}" if "source" in part.coords else ""
            columns.append((f"{name}{of} ({volume.unit})", part.values * volume.factor))
    for name in ("yearly_cost", "first_cost", "present_cost"):
        if f"sizing_curve_{name}" in summary:
            values = summary[f"sizing_curve_{name}"]
            columns.append((f"{name} ({values.attrs['units']})", values.values))
    header: list[object] = [name for name, _ in columns]
    numbers = zip(*(values for _, values in columns), strict=True)
    return [header, *([_number(value) for value in row] for row in numbers)]


def front_rows(front: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each choice: the plan, what each axis takes, cost, risk and its sampling
    error; depths, volumes and areas in the units of ``system``, each unit in its head.
    """
    columns: list[tuple[str, NDArray[Any]]] = []
    for name in (*front.coords, "cost", "risk", "risk_se"):
        if name not in front or front[name].dims != ("choice",) or name == "choice":
            continue
        values = front[name]
        unit = values.attrs.get("units", "")
        how = None if values.dtype.kind not in "iuf" or unit in NO_UNIT else any_shown(unit, system)
        called = {"cost": front.attrs["cost"], "risk": front.attrs["risk"]}.get(str(name), name)
        head = str(name) if called == name else f"{name}: {called}"
        if unit == "1" and "odds" in values.attrs.get("long_name", ""):
            head += " (share of years)"
        if how is None:
            columns.append((head, values.values))
        else:
            columns.append((f"{head} ({how.unit})", values.values * how.factor))
    header: list[object] = [head for head, _ in columns]
    each = zip(*(values.tolist() for _, values in columns), strict=True)
    return [header, *([_number(v) if isinstance(v, float) else v for v in row] for row in each)]


def summary_rows(summary: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each field and plan; stages, return periods, months and causes go
    across.
    """
    per_field = ("field_label", "area_m2")
    columns: list[tuple[str, xr.DataArray, dict[str, object], Display | None]] = []
    for name, values in summary.data_vars.items():
        unit, _ = units_and_name(str(name), values)
        how = None if values.dtype == bool or unit in NO_UNIT else shown(unit, system)
        title = str(name)
        for extra in ("stage", "period", "month", "cause"):
            if extra in values.dims:
                for value in summary[extra].values:
                    tag = f"1in{value:g}" if extra == "period" else value
                    columns.append((f"{title}_{tag}", values, {extra: value}, how))
                break
        else:
            columns.append((title, values, {}, how))
    area = shown("m2", system)
    header: list[object] = [
        "field", "field_label", f"area ({area.unit})", "plan", "plan_label", "years",
    ]  # fmt: skip
    header += [name if how is None else f"{name} ({how.unit})" for name, _, _, how in columns]
    rows: list[list[object]] = [header]
    for field in summary["field"].values:
        label, area_m2 = (summary[name].sel(field=field).item() for name in per_field)
        for plan in summary["plan"].values:
            row: list[object] = [
                field, label, _number(area_m2 * area.factor), plan,
                summary["plan_label"].sel(plan=plan).item(), summary.attrs["n_years"],
            ]  # fmt: skip
            for _, values, where, how in columns:
                value = values.sel({"field": field, "plan": plan, **where}).item()
                row.append(_number(value * (1.0 if how is None else how.factor)))
            rows.append(row)
    return rows


def daily_rows(result: xr.Dataset) -> list[list[object]]:
    """Header and a row for each field, plan and calendar day: odds of each stage, green cover."""
    stages = [str(stage) for stage in result["stage"].values]
    header: list[object] = ["field", "plan", "day_of_year", "date (MM-DD)"]
    header += [f"odds_{stage} (share of years)" for stage in stages]
    header.append("green_cover (share of field)")
    rows = [header]
    odds = result["odds"].transpose("field", "plan", "day_of_year", "stage").values
    green = result["green_cover"].transpose("field", "plan", "day_of_year").values
    for i, field in enumerate(result["field"].values):
        for j, plan in enumerate(result["plan"].values):
            for k, day in enumerate(result["day_of_year"].values):
                numbers = [_number(value) for value in (*odds[i, j, k], green[i, j, k])]
                rows.append([field, plan, int(day), day_text(int(day) - 1), *numbers])
    return rows


def ledger_rows(account: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row a day of every column of the account."""
    names = [str(name) for name in account.data_vars]
    hows = [shown(units_and_name(name, account[name])[0], system) for name in names]
    attrs = account.attrs
    year_cells = [year_text(attrs, attrs["year"])] if attrs[MADE_YEARS] else []
    header: list[object] = ["year", "date (MM-DD)"] if year_cells else ["date"]
    header += [
        name if how.unit in NO_UNIT else f"{name} ({how.unit})"
        for name, how in zip(names, hows, strict=True)
    ]
    columns = [account[name].values * how.factor for name, how in zip(names, hows, strict=True)]
    dates = ledger_dates(account)
    return [
        header,
        *(
            [*year_cells, date, *map(_number, row)]
            for date, *row in zip(dates, *columns, strict=True)
        ),
    ]


def _number(value: float) -> object:
    """Seven figures, whole numbers without a point, nothing for what is not known."""
    if isinstance(value, bool | np.bool_):
        return int(value)
    return "" if np.isnan(value) else f"{value:.7g}"


def _write_netcdf(dataset: xr.Dataset, path: Path) -> None:
    import netCDF4  # here, since what is only printed does not need it

    out = to_cf(dataset)
    encoding: dict[str, dict[str, object]] = {}
    fill = netCDF4.default_fillvals["f8"]
    for name in map(str, out.variables):
        variable = out[name].variable
        text = variable.dtype.kind in "OUS"
        if text:
            # Characters of fixed width: what every reader of the format can read.
            encoding[name] = {"dtype": "S1"}
        else:
            is_float = variable.dtype.kind == "f"
            encoding[name] = {"_FillValue": fill if is_float and name in out.data_vars else None}
        units, long_name = units_and_name(name, out[name])
        out[name].attrs["long_name"] = long_name
        if variable.dtype.kind not in "OUSM":  # units of dates are those of their encoding
            out[name].attrs["units"] = units
    write_netcdf(out, path, encoding, lambda raw: {DIGEST: digest_of(raw)})
