"""The weather of a scenario file: its tables, and their conversion to the model."""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any, Self, cast

import numpy as np
from pydantic import BeforeValidator, Field, ValidationError, model_validator

from drysward.catalog import Catalog
from drysward.faults import Fault, FaultyInput, nearest, quoted
from drysward.inputs import toml_tables
from drysward.quantities import (
    LENGTH,
    RADIATION,
    SPEED,
    TEMPERATURE,
    TIME,
    WARMING,
    Kind,
)
from drysward.scenario.model import (
    FIRST_SIMULATED_YEAR,
    GENERATOR,
    RECORD,
    RESAMPLE,
    SOURCES,
    Site,
    WeatherSource,
)
from drysward.scenario.values import (
    MM_PER_M,
    MONTHS,
    Described,
    Identifier,
    Part,
    Text,
    WholeDays,
    known_name,
    numbers_with_unit,
    one_of,
    quantity,
    read,
    refuse,
    within,
)
from drysward.weather.file.columns import QUANTITIES, ColumnSpec
from drysward.weather.file.fill import FillRule
from drysward.weather.simulated.normals import from_monthly_table
from drysward.weather.simulated.resampling import ChangeFactors

USUAL_YEARS = 200
# Keys for the reading of a file.
FOR_A_FILE = (
    "columns", "ignore", "fill", "wind_height", "record_years", "hours_from_utc",
    "monthly_temperature",
)  # fmt: skip
MOST_SIMULATED_YEARS = 7_900


class ColumnTable(Part):
    column: Text
    unit: str = ""


class _Declared(Part):
    columns: dict[str, ColumnTable]


def columns_of(line: str) -> dict[str, ColumnSpec]:
    """Columns declared by a line as in a scenario, ``columns = `` or not; FaultyInput."""
    table = bare_table(line)
    try:
        parts = _Declared.model_validate(toml_tables("--columns", f"columns = {table}")).columns
    except (FaultyInput, ValidationError):
        form = '{ tmax = { column = "High", unit = "degF" }, rain = { ... } }'
        what = f"{quoted(line)} declares no columns"
        raise FaultyInput(Fault("--columns", what, f"as --columns '{form}'")) from None
    return {key: ColumnSpec(part.column, part.unit) for key, part in parts.items()}


def bare_table(line: str) -> str:
    """What stands after ``columns =``, for a line with it or without."""
    return re.sub(r"^\s*columns\s*=", "", line).strip()


class FillTable(Part):
    rain: Annotated[str, one_of("zero", "neighbor-years")] | None = None
    temperature: Annotated[str, one_of("interpolate", "neighbor-years")] | None = None
    longest: WholeDays = 5


def by_month(kind: Kind) -> BeforeValidator:
    """Reads ``{ unit = "in", months = [...] }`` as twelve numbers in the base unit of ``kind``."""
    return numbers_with_unit(kind, "months", "January to December", len(MONTHS))




TWELVE = Field(min_length=12, max_length=12)


class ClimateTable(Part):
    """Monthly normals; ``weather.simulated.normals`` checks them."""

    rain: Annotated[list[float], by_month(LENGTH)]
    wet_days: Annotated[list[Annotated[float, within("wet_days_of_month")]], TWELVE]
    tmax: Annotated[list[float], by_month(TEMPERATURE)]
    tmin: Annotated[list[float], by_month(TEMPERATURE)]
    tmax_spread: Annotated[list[float], by_month(WARMING)] | None = None
    tmin_spread: Annotated[list[float], by_month(WARMING)] | None = None
    dewpoint: Annotated[list[float], by_month(TEMPERATURE)] | None = None
    relative_humidity: (
        Annotated[list[Annotated[float, within("humidity_of_month")]], TWELVE] | None
    ) = None
    solar: Annotated[list[float], by_month(RADIATION)] | None = None
    sunshine: Annotated[list[float], by_month(TIME)] | None = None
    wind: Annotated[list[float], by_month(SPEED)] | None = None
    wind_height: Annotated[float, quantity(LENGTH, 1 / MM_PER_M)] | None = None


# Key of the table -> key of the normals.
NORMALS = {
    "rain": "rain_mm",
    "wet_days": "wet_days",
    "tmax": "tmax_c",
    "tmin": "tmin_c",
    "tmax_spread": "tmax_sd_c",
    "tmin_spread": "tmin_sd_c",
    "dewpoint": "dewpoint_c",
    "relative_humidity": "relative_humidity_pct",
    "solar": "solar_mj_m2",
    "sunshine": "sunshine_h",
    "wind": "wind_m_s",
    "wind_height": "wind_height_m",
}


def each_month(
    read: Callable[[object], float], neutral: float, example: str
) -> BeforeValidator:
    """One value for every month, or a table of those months that differ from ``neutral``."""

    def monthly(value: object) -> list[float]:
        if not isinstance(value, dict):
            return [read(value)] * len(MONTHS)
        for month in value:
            known_name(str(month), MONTHS)
        return [read(value[month]) if month in value else neutral for month in MONTHS]

    written = f"one value for all months, or by month: {{ Jul = {example} }}"
    return BeforeValidator(Described(monthly, written))


def factor(value: object) -> float:
    """A factor from 0 to 10; ValueError for anything else."""
    if type(value) not in (int, float) or not 0.0 <= value <= 10.0:  # type: ignore[operator]
        raise ValueError(f"{quoted(value)} is not a factor; 0 to 10, 1 changes nothing")
    return float(value)  # type: ignore[arg-type]


def warming(value: object) -> float:
    """``"2 degC"`` or ``"3.6 degF"`` as a change in degrees C; ValueError beyond 20."""
    change = read(value, WARMING)
    if abs(change) > 20.0:
        raise ValueError(f"{quoted(value)} is out of range; -20 to 20 degC")
    return change


Factors = Annotated[list[float], each_month(factor, 1.0, "0.9")]


class FutureTable(Part):
    """Changes of a future climate, the same all year or by month."""

    temperature: Annotated[list[float], each_month(warming, 0.0, '"2 degC"')] = [0.0] * 12
    rain_amount: Factors = [1.0] * 12
    wet_days: Factors = [1.0] * 12
    radiation: Factors = [1.0] * 12


class MonthlyTemperature(Part):
    """Monthly means of temperature, for a file with reference ET and no temperature."""

    tmax: Annotated[list[float], by_month(TEMPERATURE)]
    tmin: Annotated[list[float], by_month(TEMPERATURE)]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        above = [m for m, high, low in zip(MONTHS, self.tmax, self.tmin, strict=True) if low > high]
        if above:
            refuse([("tmin", f"is above tmax in {', '.join(above)}", "at most tmax")])
        return self


OfWeather = Annotated[str, one_of(*QUANTITIES)]


def one_or_several(value: object) -> object:
    """A number as a list of one."""
    return value if isinstance(value, list) else [value]


Mark = Annotated[float, within("mark_for_missing")]
Marks = Annotated[list[Mark], BeforeValidator(one_or_several)]
"""Numbers that mark missing values in a column."""


class WeatherTable(Part):
    source: Annotated[str, one_of(*SOURCES)] | None = None
    file: Text | None = None
    columns: dict[str, ColumnTable] = {}
    ignore: list[str] = []
    fill: FillTable | None = None
    wind_height: Annotated[float, quantity(LENGTH, 1 / MM_PER_M)] | None = None
    record_years: list[Annotated[int, Field(ge=1, le=9999)]] = []
    hours_from_utc: Annotated[float, Field(ge=-12.0, le=14.0)] | None = None
    monthly_temperature: MonthlyTemperature | None = None
    missing: dict[OfWeather, Marks] = {}
    trust: list[OfWeather] = []
    climate: ClimateTable | None = None
    years: Annotated[int, Field(ge=1, le=MOST_SIMULATED_YEARS)] | None = None
    seed: Annotated[int, Field(ge=0, lt=2**63)] | None = None
    first_year: Annotated[int, Field(ge=1, le=9999)] | None = None
    draw: Annotated[str, one_of("years", "blocks")] | None = None
    future: Text | None = None
    futures: dict[Identifier, FutureTable] = {}

    @property
    def source_or_default(self) -> str:
        return self.source or (RECORD if self.file else GENERATOR)

    @model_validator(mode="after")
    def _comes_from_somewhere(self) -> Self:
        faults = []
        source = self.source_or_default
        if self.file is None and self.climate is None:
            faults.append(("", "has neither file nor climate", "keep one of them"))
        if self.file is not None and self.climate is not None:
            faults.append(("climate", "conflicts with file", "keep one of them"))
        elif self.climate is not None and source != GENERATOR:
            message = f"'{source}' needs a file to draw from"
            faults.append(("source", message, f"with a climate table: {GENERATOR}"))
        if self.climate is not None:
            for key in FOR_A_FILE:
                if getattr(self, key) not in (None, [], {}):
                    faults.append((key, "belongs to a file", "with file only"))
        years = self.record_years
        if years and (len(years) != 2 or years[0] > years[1]):
            faults.append(("record_years", f"{years} is not a range of years", "as [1991, 2020]"))
        if self.monthly_temperature is not None and (source == GENERATOR or self.future):
            # Neither has the departures of single days from the mean.
            message = "rules out a fitted or changed climate: the file has no daily temperature"
            faults.append(("monthly_temperature", message, f"with source = {RECORD} or {RESAMPLE}"))
        if source == RECORD:
            for key in ("years", "seed", "first_year", "draw"):
                # A future may turn wet days of a record dry at random, or the reverse.
                if getattr(self, key) is not None and not (key == "seed" and self.futures):
                    allowed = f"with source = {GENERATOR} or {RESAMPLE}"
                    faults.append((key, "is for simulated years", allowed))
        elif self.draw is not None and source != RESAMPLE:
            faults.append(("draw", "is for resampled years", f"with source = {RESAMPLE}"))
        last = (self.first_year or FIRST_SIMULATED_YEAR) + (self.years or USUAL_YEARS) - 1
        if last > 9999:
            faults.append(("first_year", f"the last year would be {last}", "to the year 9999"))
        if self.future is not None and self.future not in self.futures:
            message = f"{quoted(self.future)} is not one of the futures"
            faults.append(("future", message, nearest(self.future, self.futures)))
        refuse(faults)
        return self


def weather_source(table: WeatherTable, folder: Path) -> WeatherSource:
    """The model's weather; relative file names are in ``folder``."""
    fill = None
    if table.fill is not None:
        fill = FillRule(
            rain=cast(Any, table.fill.rain),
            temperature=cast(Any, table.fill.temperature),
            longest_gap_days=table.fill.longest,
        )
    climate = None
    if table.climate is not None:
        written = table.climate.model_dump(exclude_none=True)
        climate = {NORMALS[key]: values for key, values in written.items()}
    source, monthly = table.source_or_default, table.monthly_temperature
    return WeatherSource(
        file=folder / table.file if table.file else None,
        columns={key: ColumnSpec(part.column, part.unit) for key, part in table.columns.items()},
        ignore=tuple(table.ignore),
        fill=fill,
        wind_height_m=table.wind_height,
        record_years=(table.record_years[0], table.record_years[1]) if table.record_years else None,
        hours_from_utc=table.hours_from_utc,
        monthly_temperature=None if monthly is None else {
            "tmax": tuple(monthly.tmax), "tmin": tuple(monthly.tmin),
        },
        missing={quantity: tuple(marks) for quantity, marks in table.missing.items()},
        trust=tuple(table.trust),
        source=source,
        climate=climate,
        years=0 if source == RECORD else table.years or USUAL_YEARS,
        seed=1 if table.seed is None else table.seed,
        first_year=table.first_year or FIRST_SIMULATED_YEAR,
        draw=cast(Any, table.draw or "years"),
        future=table.future or "",
        futures={key: _future(part) for key, part in table.futures.items()},
    )


def check_climate(name: str, site: Site, climate: Mapping[str, Any], catalog: Catalog) -> None:
    """FaultyInput when monthly normals contradict themselves, in the words of the file."""
    keys = {normal: key for key, normal in NORMALS.items()}
    try:
        from_monthly_table(
            {"latitude_deg": site.latitude_deg, "elevation_m": site.elevation_m, **climate},
            "weather.climate",
            catalog,
        )
    except FaultyInput as refusal:
        of_normals = re.compile("|".join(sorted(keys, key=len, reverse=True)))

        def words(text: str) -> str:
            return of_normals.sub(lambda found: keys[found[0]], text)

        raise FaultyInput(
            [
                Fault(f"{name}: {words(fault.where)}", words(fault.what), words(fault.allowed))
                for fault in refusal.faults
            ]
        ) from None


def _future(table: FutureTable) -> ChangeFactors:
    return ChangeFactors(
        temperature_add_c=np.array(table.temperature),
        rain_amount_x=np.array(table.rain_amount),
        wet_days_x=np.array(table.wet_days),
        radiation_x=np.array(table.radiation),
    )
