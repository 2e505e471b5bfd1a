"""What ``drysward ledger`` prints. Nothing is computed here but sums of like flows."""

from __future__ import annotations

import calendar

import numpy as np
import xarray as xr

from drysward.quantities import shown
from drysward.results.feeding_text import CAUTION
from drysward.results.supply_text import RESTRICTED
from drysward.results.text import UNKNOWN, count_text, findings_of, ledger_dates, year_text
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
    "demand": ("demand of the night", ("demand",)),
    "shortage": ("newly short", ("shortage",)),
    "made_up": ("made up", ("made_up",)),
    "delivered": ("delivered", ("delivered",)),
    "inflow": ("inflow", ("refill", "catchment", "rain_on_storage")),
    "from_storage": ("drawn", ("from_storage",)),
    "lost": ("lost", ("evaporation", "seepage")),
    "spill": ("spilled", ("spill",)),
    "storage": ("in storage", ("storage",)),
}
_SUPPLY_NOTES = [
    (
        "Newly short",
        "not delivered, and not short the day before; made up: short before, delivered that day. "
        "Newly short less made up is the shortage that 'drysward supply' gives",
    ),
    ("Storage", "inflow: pumped in, runoff and rain; lost: to the air and the ground"),
]
_OF_NIGHT = (
    "what stays short is in it again every night until it is made up, so that its sum counts water "
    "twice. --by-month has the new demand"
)
_STAGE = "restriction stage in force, 1 the first; none where there is no number"
_SNOW_FALLS = "rain has what falls as snow too"
_SNOW = f"water of the snow that lies; {_SNOW_FALLS}"
_NEW_DEMAND = "newly short taken off and made up added, it is what was delivered"
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

_LEAST_ROOTS_LOST = 0.01  # from which the plan sees another depletion than the ledger shows

_STATUS = ("Status", "nitrogen of the turf: 0 the least it lives on, 1 enough, lush well above 1")
_MINERAL = "urea, ammonium and nitrate in the soil"


def daily_account(account: xr.Dataset, system: str) -> list[Part]:
    """The main columns of a ledger, a row a day; shares of the field in percent."""
    depth = shown("mm", system)
    # A day's flows are small: one figure more than in the sums of a year.
    decimals = depth.decimals + 1
    attrs = account.attrs
    own_stage = bool((account["stage"] > 0.0).any())
    columns = [*_days(account, own_stage)]
    values = {}
    flows = _FLOWS
    if has_snow := bool((account["snow_water"] > 0.0).any()):
        flows = {**_FLOWS, "snow_water": "snow"}
    for name, head in flows.items():
        columns.append(number(name, head, depth.unit, decimals))
        values[name] = account[name].values * depth.factor
    for name, head in _SHARES.items():
        columns.append(number(name, head, "%", 0))
        values[name] = account[name].values * 100.0
    has_play = not bool(account["hardness"].isnull().all())
    if has_play:
        for name, (head, unit, times) in _PLAY.items():
            columns.append(number(name, head, unit, 0))
            values[name] = account[name].values * times
    above = bool((values["depletion"] < 0.0).any())
    # A line of a usual screen has room for snow, or for what a field with play or a stage adds.
    is_wide = has_play or own_stage
    hidden = {"weekday", "stage", *(["snow_water"] if is_wide else [])}
    cells: list[Column | Cell] = [
        _full(column) if column.key == "depletion" else column
        for column in columns
        if column.key not in hidden
    ]
    if own_stage:
        cells.insert(1, Cell("day, stage", ("weekday", "stage"), _day_and_stage, is_number=False))
    rows: list[Row] = [
        {**day, **{name: float(of[i]) for name, of in values.items()}}
        for i, day in enumerate(_day_cells(account, "stage"))
    ]
    worst = float(np.abs(account["residual"].values).max())
    lines = [("full", "depletion 0 or less: soil at field capacity or above")] if above else []
    if has_snow:
        lines.append(("Snow", _snow_text(account, system) if is_wide else _SNOW))
    lines.append(("Roots", _roots_text(account, system)))
    lines.append(("Water balance error", f"largest of any day {worst:.1g} mm"))
    parts: list[Part] = [
        Heading(f"{attrs['field']}, plan {attrs['plan']}, {year_text(attrs, attrs['year'])}"),
        *weather_findings(findings_of(attrs)),
        Table("ledger", "", columns, rows, cells, ("date",)),
    ]
    if _is_fed(account):
        parts.append(_nitrogen(account, system))
        lines[:0] = [_STATUS, ("Mineral", f"{_MINERAL} in the evening"), ("Caution", CAUTION)]
    if "supply_storage" in account:
        parts.append(_at_supply(account, system))
        lines[:0] = [(_SUPPLY["demand"][0].capitalize(), _OF_NIGHT), *_SUPPLY_NOTES]
    if own_stage or RESTRICTED in attrs:
        lines.insert(0, ("Stage", _STAGE))
    return [*parts, notes(lines)]


def _roots_text(account: xr.Dataset, system: str) -> str:
    """How deep roots reach over the days of a ledger."""
    depth = shown("mm", system)
    ends = account["root_depth"].min().item(), account["root_depth"].max().item()
    least, most = (f"{end * depth.factor:.{depth.decimals}f}" for end in ends)
    reach = most if least == most else f"{least} to {most}"
    text = f"reach {reach} {depth.unit} deep; how deep they grow differs from year to year"
    lost = float(account["root_loss"].max())
    if lost >= _LEAST_ROOTS_LOST:
        text += (
            f"; up to {100.0 * lost:.0f}% of them are lost for lack of air. The plan goes by water "
            "that the rest reach, and depletion is that of the whole root zone"
        )
    return text


def monthly_account(account: xr.Dataset, system: str) -> list[Part]:
    """A ledger by month: sums of the flows, the state in the evening of the last day, the most of
    the field on any day; and the supply of the site where it has one.
    """
    attrs, depth = account.attrs, shown("mm", system)
    states = ("surface_water", "root_water", "depletion")
    columns = [words("month", "month", whole=True)]
    for name, head in _FLOWS.items():
        columns.append(number(name, head, depth.unit, depth.decimals))
    for name, head in _SHARES.items():
        columns.append(number(name, head, "%", 0))
    rows: list[Row] = []
    for label, here in _months(account):
        row: dict[str, Value] = {"month": label}
        for name in _FLOWS:
            values = here[name].values
            row[name] = float(values[-1] if name in states else values.sum()) * depth.factor
        for name in _SHARES:
            values = here[name].values
            least, last = name == "green", name in states
            row[name] = 100.0 * float(values[-1] if last else values.min() if least
                                      else values.max())  # fmt: skip
        rows.append(row)
    parts: list[Part] = [
        Heading(f"{attrs['field']}, plan {attrs['plan']}, {year_text(attrs, attrs['year'])}"),
        *weather_findings(findings_of(attrs)),
        Table("ledger_months", "", columns, rows, lead=("month",)),
    ]
    lines = [
        ("Top soil, root zone", "and depletion: in the evening of the last day"),
        ("Wilt, dormant, dead", "most of the field on any day; green: the least"),
    ]
    if _is_fed(account):
        parts.append(_months_of_nitrogen(account, system))
        lines += [
            (_STATUS[0], f"{_STATUS[1]}; mean of the days"),
            ("Mineral", f"{_MINERAL} in the evening of the last day"),
            ("Caution", CAUTION),
        ]
    if "supply_storage" in account:
        parts.append(_months_of_supply(account, system))
        lines.append(("New demand", _NEW_DEMAND))
        lines += _SUPPLY_NOTES
    return [*parts, notes(lines)]


def _months(account: xr.Dataset) -> list[tuple[str, xr.Dataset]]:
    """The months of a ledger in the order of its year, then all of them."""
    of_day = account["month"].values
    parts = [
        (calendar.month_abbr[month], account.isel(day=of_day == month))
        for month in dict.fromkeys(int(month) for month in of_day)
    ]
    return [*parts, ("all", account)]


def _months_of_supply(account: xr.Dataset, system: str) -> Table:
    """A row a month of the supply that all fields share."""
    flows = _flows(account)
    heads = {"new_demand": "new demand"}
    heads |= {key: head for key, (head, _) in _SUPPLY.items() if key in flows and key != "demand"}
    months = _months(account)
    sums: list[dict[str, float]] = []
    for _, here in months:
        one = {key: float(values.sum()) for key, values in _flows(here).items() if key in flows}
        # What is demanded again the next day is the same water.
        del one["demand"]
        one["new_demand"] = one["delivered"] + one["shortage"] - one["made_up"]
        if "storage" in heads:
            one["storage"] = float(here["supply_storage"].values[-1])
            one["least"] = float(here["supply_storage"].values.min())
        sums.append(one)
    if "storage" in heads:
        heads["least"] = "least in storage"
    unit = shown("m3", system)
    columns = [words("month", "month", whole=True)]
    columns += [number(key, head, unit.unit, unit.decimals) for key, head in heads.items()]
    rows: list[Row] = [
        {"month": label, **{key: one[key] * unit.factor for key in heads}}
        for (label, _), one in zip(months, sums, strict=True)
    ]
    return Table("supply_months", "Water of the whole site", columns, rows, lead=("month",))


def _flows(account: xr.Dataset) -> dict[str, np.ndarray]:
    """Flows of the site by day, m3; storage only where there is any."""
    flows = {
        key: np.sum([account[f"supply_{name}"].values for name in names], axis=0)
        for key, (_, names) in _SUPPLY.items()
    }
    if not float(account["supply_storage"].max()) > 0.0:
        flows = {key: flows[key] for key in ("demand", "shortage", "made_up", "delivered")}
    return flows


def _is_fed(account: xr.Dataset) -> bool:
    return not bool(account["nitrogen_status"].isnull().all())


def _months_of_nitrogen(account: xr.Dataset, system: str) -> Table:
    """A row a month of the nitrogen of a field that is fed."""
    unit = shown("kg ha-1", system)
    columns = [words("month", "month", whole=True), number("nitrogen_status", "status", "", 2)]
    columns += [
        number(name, head, unit.unit, max(unit.decimals, 1)) for name, (head, _) in _FED.items()
    ]
    rows: list[Row] = []
    for label, here in _months(account):
        row: dict[str, Value] = {
            "month": label,
            "nitrogen_status": float(here["nitrogen_status"].mean()),
        }
        for name in _FED:
            values = here[name].values
            amount = values[-1] if name == "mineral_nitrogen" else values.sum()
            row[name] = float(amount) * unit.factor
        rows.append(row)
    return Table("nitrogen_months", "Nitrogen and clippings", columns, rows, lead=("month",))


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
    flows = {key: (_SUPPLY[key][0], values) for key, values in _flows(account).items()}
    unit = shown("m3", system)  # a day's flows are too small for millions of gallons
    columns = _days(account, RESTRICTED in account.attrs, with_weekday=True)
    columns += [number(key, head, unit.unit, unit.decimals) for key, (head, _) in flows.items()]
    rows: list[Row] = [
        {
            **day, **{key: float(of[i]) * unit.factor for key, (_, of) in flows.items()},
        }
        for i, day in enumerate(_day_cells(account, "supply_stage"))
    ]
    return Table("supply", "Water of the whole site", columns, rows, lead=("date",))


def _days(account: xr.Dataset, has_stage: bool, with_weekday: bool = False) -> list[Column]:
    """Columns that name a day: with restrictions its day of the week and the stage too."""
    columns = [words("date", "date", whole=True)]
    if has_stage or with_weekday:
        columns.append(words("weekday", "day", whole=True))
    if has_stage:
        columns.append(
            number("stage", "stage", write=lambda stage: f"{stage:.0f}" if stage else UNKNOWN)
        )
    return columns


def _day_and_stage(weekday: str, stage: float) -> str:
    return f"{weekday} {stage:.0f}" if stage else weekday


def _snow_text(account: xr.Dataset, system: str) -> str:
    """On how many days snow lies, and the most of it."""
    snow, depth = account["snow_water"].values, shown("mm", system)
    most = f"{float(snow.max()) * depth.factor:.{depth.decimals + 1}f} {depth.unit}"
    days = count_text(int((snow > 0.0).sum()), "day")
    return f"lies on {days}, at most {most} of water; {_SNOW_FALLS}"


def _day_cells(account: xr.Dataset, stage: str) -> list[dict[str, Value]]:
    """Cells of ``_days``, a row a day; ``stage`` is the variable of its stage."""
    each = zip(
        ledger_dates(account), account["weekday"].values, account[stage].values, strict=True
    )
    return [
        {"date": date, "weekday": str(weekday), "stage": float(of_day)}
        for date, weekday, of_day in each
    ]


def _full(column: Column) -> Column:
    """Depletion below nothing, which is water above field capacity, in a word."""
    write = column.write
    return number(
        column.key, column.head, column.unit, write=lambda v: "full" if v < 0.0 else write(v)
    )
