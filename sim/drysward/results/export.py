"""Results as files: NetCDF after the CF conventions, and CSV with units in the header.

What one call writes is renamed into its place when all of it is whole, so that a reader sees the
old files or the new ones and never half of one.
"""

from __future__ import annotations

import datetime
from collections.abc import Hashable
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.catalog import load_catalog
from drysward.files import OWN_ONLY, Outputs, Write, write_csv, write_netcdf
from drysward.quantities import Display, shown
from drysward.results.digest import DIGEST, digest_of
from drysward.results.text import MADE_YEARS, ledger_dates, year_text

NO_UNIT = ("", "1")

# Units and names of what the vocabulary has under another name or not at all.
# Means over the years, and extremes, that a summary holds beside the answers.
_MEANS = (
    "precipitation", "reference_et", "transpiration", "leaf_evaporation", "soil_evaporation",
    "spray_loss", "overspray", "runoff", "drainage", "watering_days", "capped_days", "shortage",
    "irrigation_landed", "irrigation_runoff", "irrigation_drained", "shortage_cause",
    "recovery_days", "not_recovered",
)  # fmt: skip
_MOST = (
    "peak_week", "longest_footprint", "longest_wilt", "longest_dormant", "longest_dead",
    "peak_dead",
)  # fmt: skip


def summarise(result: xr.Dataset, answers: xr.Dataset) -> xr.Dataset:
    """The answers with means and extremes over the years, by field and plan.

    Adds ``NAME_mean`` and ``NAME_most`` of the yearly numbers, ``least_green``, the volumes
    (m3) of the mean year, the peak week and the demand, the labour, and in the attributes
    ``n_years`` and ``worst_residual_mm``.
    """
    added: dict[str, xr.DataArray] = {}
    for how, names in (("mean", _MEANS), ("most", _MOST)):
        for name in names:
            if name not in result:
                continue
            values = result[name].mean("year") if how == "mean" else result[name].max("year")
            told = "mean over the years of" if how == "mean" else "most in any year of"
            units, long_name = _units_and_name(name, result[name])
            attrs = {"units": units, "long_name": f"{told} {long_name}"}
            added[f"{name}_{how}"] = values.assign_attrs(attrs)
    added["least_green"] = (
        result["least_green"]
        .min("year")
        .assign_attrs(units="1", long_name="least green cover of any year")
    )
    added["water_by_month"] = (
        result["irrigation_month"]
        .mean("year")
        .assign_attrs(units="mm", long_name="mean irrigation of the month, as drawn")
    )
    per_mm = result["area_m2"] / 1000.0
    for depth, volume in (
        ("season_water", "season_volume"),
        ("peak_week_most", "peak_week_volume"),
        ("demand", "demand_volume"),
    ):
        depths = added[depth] if depth in added else answers[depth]
        _, long_name = _units_and_name(depth, depths)
        made = (depths * per_mm).transpose(*depths.dims)
        added[volume] = made.assign_attrs(units="m3", long_name=f"{long_name}, as volume")
    added["labour_mean"] = result["labour_hours"].mean("year").assign_attrs(
        units="h", long_name="mean labour a year of watering"
    )
    return answers.assign(added).assign_attrs(
        n_years=int(result.sizes["year"]),
        worst_residual_mm=float(np.abs(result["residual"].values).max()),
    )


def write_results(
    result: xr.Dataset,
    summary: xr.Dataset,
    folder: Path,
    units: str = "us",
    played: xr.Dataset | None = None,
    site: xr.Dataset | None = None,
    doubt: xr.Dataset | None = None,
    outputs: Outputs = OWN_ONLY,
) -> list[Path]:
    """Write results.nc (base units), summary.csv, daily-odds.csv and what there is beside them.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    summary : Dataset of ``summarise``; its variables go into results.nc too.
    folder : made in its parent when it is not there.
    units : "us" or "metric", of the CSV files.
    played : Dataset of ``play.report.play_answers``; its variables go into results.nc under
        ``play_NAME``, and into play.csv.
    site : volumes of the whole site and perhaps costs; its variables and attributes go into
        results.nc too, and those by plan into site.csv.
    doubt : Dataset of ``studies.doubt.answers.doubt_answers``; its variables and attributes go
        into results.nc too, and into doubt.csv.
    outputs : which files that are there may be replaced.

    Returns
    -------
    The paths written. FaultyInput when the folder or a file cannot be written; none is then.
    """
    outputs.claim_folder(folder, ())
    whole = result.assign(
        {name: values for name, values in summary.data_vars.items() if name not in result}
    )
    if played is not None:
        whole = whole.assign({f"play_{name}": values for name, values in played.data_vars.items()})
    if site is not None:
        whole = whole.assign({n: v for n, v in site.data_vars.items() if n not in whole})
        whole = whole.assign_attrs({**site.attrs, **whole.attrs})
    if doubt is not None:
        whole = whole.assign(dict(doubt.data_vars)).assign_attrs({**doubt.attrs, **whole.attrs})
    files: dict[str, Write] = {
        "results.nc": lambda part: _write_netcdf(whole, part),
        "summary.csv": lambda part: write_csv(summary_rows(summary, units), part),
        "daily-odds.csv": lambda part: write_csv(daily_rows(result), part),
    }
    if played is not None:
        told = played.assign_attrs(n_years=summary.attrs["n_years"])
        files["play.csv"] = lambda part: write_csv(summary_rows(told, units), part)
    if site is not None:
        files["site.csv"] = lambda part: write_csv(site_rows(site, units), part)
    if doubt is not None:
        files["doubt.csv"] = lambda part: write_csv(doubt_rows(doubt, units), part)
    return outputs.write({folder / name: write for name, write in files.items()})


def write_supply(
    result: xr.Dataset,
    told: xr.Dataset,
    folder: Path,
    units: str = "us",
    outputs: Outputs = OWN_ONLY,
) -> list[Path]:
    """Write results.nc (base units), supply.csv and, with a curve of sizes, tradeoff.csv.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of a scenario with a supply.
    told : what is told of it, by plan, field, source and month; its variables go into results.nc.
    folder : made in its parent when it is not there.
    units : "us" or "metric", of the CSV files.
    outputs : which files that are there may be replaced.

    Returns
    -------
    The paths written. FaultyInput when the folder or a file cannot be written; none is then.
    """
    outputs.claim_folder(folder, ())
    whole = result.assign(
        {name: values for name, values in told.data_vars.items() if name not in result}
    )
    whole.attrs.update(told.attrs)
    files: dict[str, Write] = {
        "results.nc": lambda part: _write_netcdf(whole, part),
        "supply.csv": lambda part: write_csv(supply_rows(told, units), part),
    }
    if "sizing_curve" in told:
        files["tradeoff.csv"] = lambda part: write_csv(curve_rows(told, units), part)
    return outputs.write({folder / name: write for name, write in files.items()})


def supply_rows(told: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each number by plan, and by what else it has (field, source, cause)."""
    return _long_rows(told, system, ("field", "source", "month", "stage", "cause"))


def site_rows(site: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each volume or cost by plan, and by field or return period."""
    return _long_rows(site, system, ("field", "period"))


def doubt_rows(doubt: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each number of what is not known: its mean over draws, its 5 and 95%
    across them, and the sampling error of the years; blank what a number does not have.

    ``what`` is the variable, with what else it is by: ``probability_wilt``, ``demand_1in10``,
    ``fewer_by_than_none``, ``share_of_groups_soil``.
    """
    rows: list[list[object]] = [["field", "plan", "what", "mean", "low", "high", "error", "unit"]]
    ends = ("", "_low", "_high", "_error")
    for name in map(str, doubt.data_vars):
        if name.endswith(("_low", "_high", "_error", "_distinct")):
            continue
        unit, _ = _units_and_name(name, doubt[name])
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
            if where.get("plan") == where.get("other", "") or (
                where["field"] == where.get("other_field", "")
            ):
                continue
            factor = 1.0 if how is None else how.factor
            what = "_".join([name.removeprefix("doubt_"), *_what(where)])
            cells = [_number(value * factor) for value in numbers]
            rows.append(
                [where["field"], where.get("plan", ""), what, *cells, how.unit if how else ""]
            )
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


def _long_rows(told: xr.Dataset, system: str, across: tuple[str, ...]) -> list[list[object]]:
    rows: list[list[object]] = [["quantity", "plan", *across, "value", "unit", "meaning"]]
    for name, values in told.data_vars.items():
        if "plan" not in values.dims or set(values.dims) - {"plan", *across}:
            continue
        unit, long_name = _units_and_name(str(name), values)
        how = None if unit in NO_UNIT else shown(unit, system)
        stacked = values.stack(row=values.dims)
        for place, value in zip(stacked["row"].values, stacked.values, strict=True):
            where = dict(zip(values.dims, place, strict=True))
            number = _number(value * (1.0 if how is None else how.factor))
            parts = [str(where.get(key, "")) for key in ("plan", *across)]
            rows.append([str(name), *parts, number, how.unit if how else "", long_name])
    return rows


def curve_rows(told: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each point of the curve of least sizes: the size that fails again,
    where the water of the mean year comes from, and costs. Blank where there is none.
    """
    columns: list[tuple[str, NDArray[np.float64]]] = []
    for name in ("against", "curve", "curve_fails_from"):
        values = told[f"sizing_{name}"]
        how = shown(values.attrs["units"], system)
        columns.append((f"{values.attrs['long_name']} ({how.unit})", values.values * how.factor))
    volume = shown("m3", system)
    for name in ("delivered", "from_storage", "runoff", "rain", "direct", "filled"):
        values = told[f"sizing_curve_{name}"]
        parts = [values] if "source" not in values.dims else [
            values.sel(source=key) for key in values["source"].values
        ]  # fmt: skip
        for part in parts:
            of = f" {part['source'].item()}" if "source" in part.coords else ""
            columns.append((f"{name}{of} ({volume.unit})", part.values * volume.factor))
    for name in ("yearly_cost", "first_cost", "present_cost"):
        if f"sizing_curve_{name}" in told:
            values = told[f"sizing_curve_{name}"]
            columns.append((f"{name} ({values.attrs['units']})", values.values))
    header: list[object] = [name for name, _ in columns]
    numbers = zip(*(values for _, values in columns), strict=True)
    return [header, *([_number(value) for value in row] for row in numbers)]


def write_ledger(
    account: xr.Dataset, path: Path, units: str = "us", outputs: Outputs = OWN_ONLY
) -> None:
    """Write a ``drysward.ledger`` as CSV, a row a day. FaultyInput when it cannot be written."""
    outputs.write({path: lambda part: write_csv(ledger_rows(account, units), part)})


def summary_rows(summary: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row for each field and plan; stages, return periods, months and causes go
    across.
    """
    per_field = ("field_label", "area_m2")
    columns: list[tuple[str, xr.DataArray, dict[str, object], Display | None]] = []
    for name, values in summary.data_vars.items():
        unit, _ = _units_and_name(str(name), values)
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
    new_year = datetime.date(2000, 1, 1)  # of a leap year, as the calendar of the days is
    for i, field in enumerate(result["field"].values):
        for j, plan in enumerate(result["plan"].values):
            for k, day in enumerate(result["day_of_year"].values):
                date = new_year + datetime.timedelta(days=int(day) - 1)
                numbers = [_number(value) for value in (*odds[i, j, k], green[i, j, k])]
                rows.append([field, plan, int(day), f"{date:%m-%d}", *numbers])
    return rows


def ledger_rows(account: xr.Dataset, system: str) -> list[list[object]]:
    """Header and a row a day of every column of the account."""
    names = [str(name) for name in account.data_vars]
    hows = [shown(_units_and_name(name, account[name])[0], system) for name in names]
    attrs = account.attrs
    made = [year_text(attrs, attrs["year"])] if attrs[MADE_YEARS] else []
    header: list[object] = ["year", "date (MM-DD)"] if made else ["date"]
    header += [
        name if how.unit in NO_UNIT else f"{name} ({how.unit})"
        for name, how in zip(names, hows, strict=True)
    ]
    columns = [account[name].values * how.factor for name, how in zip(names, hows, strict=True)]
    dates = ledger_dates(account)
    return [
        header,
        *(
            [*made, date, *map(_number, row)]
            for date, *row in zip(dates, *columns, strict=True)
        ),
    ]


def _units_and_name(name: str, values: xr.DataArray) -> tuple[str, str]:
    """Units and long name: as the variable has them, else from the vocabulary."""
    catalog = load_catalog()
    term = catalog.quantities.get(name) or catalog.derived.get(name)
    units, long_name = (term.units, term.long_name) if term else ("", name.replace("_", " "))
    return values.attrs.get("units", units), values.attrs.get("long_name", long_name)


def _number(value: float) -> object:
    """Seven figures, whole numbers without a point, nothing for what is not known."""
    if isinstance(value, bool | np.bool_):
        return int(value)
    return "" if np.isnan(value) else f"{value:.7g}"


def _write_netcdf(dataset: xr.Dataset, path: Path) -> None:
    import netCDF4  # here, since what is only printed does not need it

    out = dataset.copy()
    encoding: dict[str, dict[str, object]] = {}
    fill = netCDF4.default_fillvals["f8"]
    for name in map(str, out.variables):
        variable = out[name].variable
        text = variable.dtype.kind in "OUS"
        if text:
            # Characters of fixed width: what every reader of the format can read.
            encoding[name] = {"dtype": "S1"}
        elif variable.dtype == bool:
            out[name] = (variable.dims, variable.values.astype(np.int8), variable.attrs)
        else:
            is_float = variable.dtype.kind == "f"
            encoding[name] = {"_FillValue": fill if is_float and name in out.data_vars else None}
        units, long_name = _units_and_name(name, out[name])
        out[name].attrs["long_name"] = long_name
        if not text:
            out[name].attrs["units"] = units
    out.attrs.setdefault("Conventions", "CF-1.11")
    write_netcdf(out, path, encoding, lambda raw: {DIGEST: digest_of(raw)})
