"""What ``drysward ledger`` prints. Nothing is computed here but sums of like flows."""

from __future__ import annotations

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.feeding_text import CAUTION
from drysward.results.text import findings_of, ledger_dates, year_text
from drysward.screen.compare import weather_findings
from drysward.screen.document import Column, Heading, Part, Row, Table, notes, number, words

_FLOWS = {
    "precipitation": "rain",
    "irrigation_landed": "water landed",
    "transpiration": "turf use",
    "soil_evaporation": "soil evap.",
    "leaf_evaporation": "leaf evap.",
    "runoff": "runoff",
    "drainage": "drain",
    "surface_water": "top soil",
    "root_water": "root zone",
}
_SHARES = {
    "depletion": "depletion",
    "wilt": "wilt",
    "green": "green",
    "dormant": "dormant",
    "dead": "dead",
}
# Of a site with a supply: heading, and the flows that add up to it.
_SUPPLY = {
    "demand": ("demand", ("demand",)),
    "delivered": ("delivered", ("delivered",)),
    "shortage": ("shortage", ("shortage",)),
    "inflow": ("inflow", ("refill", "catchment", "rain_on_storage")),
    "from_storage": ("drawn", ("from_storage",)),
    "lost": ("lost", ("evaporation", "seepage")),
    "spill": ("spilled", ("spill",)),
    "storage": ("in storage", ("storage",)),
}
# Of a field with play: heading, unit, and what multiplies the number.
_PLAY = {
    "hardness": ("hard", "g", 1.0),
    "air_filled": ("air", "%", 100.0),
}
# Of a field that is fed: heading, and how much finer a day is than a year.
_FED = {
    "mineral_nitrogen": ("mineral", 0),
    "nitrogen_leached": ("leached", 1),
    "clippings": ("clippings", 0),
}


def daily_account(account: xr.Dataset, system: str) -> list[Part]:
    """The main columns of a ledger, a row a day; shares of the field in percent."""
    depth = shown("mm", system)
    # A day's flows are small: one figure more than in the sums of a year.
    decimals = depth.decimals + 1
    attrs = account.attrs
    columns = [words("date", "date", whole=True)]
    values = {}
    for name, head in _FLOWS.items():
        columns.append(number(name, head, depth.unit, decimals))
        values[name] = account[name].values * depth.factor
    for name, head in _SHARES.items():
        columns.append(number(name, head, "%", 0))
        values[name] = account[name].values * 100.0
    if bool((account["hardness"] > 0.0).any()):
        for name, (head, unit, times) in _PLAY.items():
            columns.append(number(name, head, unit, 0))
            values[name] = account[name].values * times
    above = bool((values["depletion"] < 0.0).any())
    cells = [_full(column) if column.key == "depletion" else column for column in columns]
    rows: list[Row] = [
        {"date": date, **{name: float(of[i]) for name, of in values.items()}}
        for i, date in enumerate(ledger_dates(account))
    ]
    worst = float(np.abs(account["residual"].values).max())
    lines = [("full", "depletion 0 or less: soil at field capacity or above")] if above else []
    lines.append(("Water balance error", f"largest of any day {worst:.1g} mm"))
    parts: list[Part] = [
        Heading(f"{attrs['field']}, plan {attrs['plan']}, {year_text(attrs, attrs['year'])}"),
        *weather_findings(findings_of(attrs)),
        Table("ledger", "", columns, rows, cells, ("date",)),
    ]
    if bool((account["nitrogen_status"] > 0.0).any()):
        parts.append(_nitrogen(account, system))
        lines[:0] = [
            ("Status", "nitrogen of the turf: 0 the least it lives on, 1 enough, above it lush"),
            ("Mineral", "urea, ammonium and nitrate in the soil in the evening"),
            ("Caution", CAUTION),
        ]
    if "supply_storage" in account:
        parts.append(_at_supply(account, system))
        lines.insert(
            0, ("Whole site", "inflow: pumped in, runoff and rain; lost: to the air and the ground")
        )
    return [*parts, notes(lines)]


def _nitrogen(account: xr.Dataset, system: str) -> Table:
    """A row a day of the nitrogen of a field that is fed."""
    unit = shown("kg ha-1", system)
    decimals = max(unit.decimals, 1)
    columns = [words("date", "date", whole=True), number("nitrogen_status", "status", "", 2)]
    columns += [
        number(name, head, unit.unit, decimals + more) for name, (head, more) in _FED.items()
    ]
    rows: list[Row] = [
        {
            "date": date,
            "nitrogen_status": float(account["nitrogen_status"].values[i]),
            **{name: float(account[name].values[i]) * unit.factor for name in _FED},
        }
        for i, date in enumerate(ledger_dates(account))
    ]
    return Table("nitrogen", "Nitrogen and clippings", columns, rows, lead=("date",))


def _at_supply(account: xr.Dataset, system: str) -> Table:
    """A row a day of the supply that all fields share; storage only where there is any."""
    flows = {
        key: (head, np.sum([account[f"supply_{name}"].values for name in names], axis=0))
        for key, (head, names) in _SUPPLY.items()
    }
    if not float(account["supply_storage"].max()) > 0.0:
        flows = {key: flows[key] for key in ("demand", "delivered", "shortage")}
    unit = shown("m3", system)  # a day's flows are too small for millions of gallons
    columns = [words("date", "date", whole=True)]
    columns += [number(key, head, unit.unit, unit.decimals) for key, (head, _) in flows.items()]
    rows: list[Row] = [
        {"date": date, **{key: float(of[i]) * unit.factor for key, (_, of) in flows.items()}}
        for i, date in enumerate(ledger_dates(account))
    ]
    return Table("supply", "Water of the whole site", columns, rows, lead=("date",))


def _full(column: Column) -> Column:
    """Depletion below nothing, which is water above field capacity, in a word."""
    write = column.write
    return number(
        column.key, column.head, column.unit, write=lambda v: "full" if v < 0.0 else write(v)
    )
