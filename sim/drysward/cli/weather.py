"""``drysward weather``: check a daily weather file, simulate weather years."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    Measured,
    Years,
    announce_written,
    columns_options,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    units_option,
)
from drysward.progress import progress


@click.group()
def command() -> None:
    """Daily weather: check a file before a scenario uses it, simulate years of a climate."""


class SeasonDays(click.ParamType):
    """``04-01..10-31`` as first and last month and day."""

    name = "season"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[int, int], tuple[int, int]]:
        if isinstance(value, tuple):
            return value
        match = re.fullmatch(r"(\d\d)-(\d\d)\.\.(\d\d)-(\d\d)", value.strip())
        if not match:
            self.fail(f"'{value}' is not a season such as 04-01..10-31", param, ctx)
        m1, d1, m2, d2 = (int(part) for part in match.groups())
        try:
            # 2001 has no 29 February, which not every season has either.
            date(2001, m1, d1), date(2001, m2, d2)
        except ValueError:
            self.fail(f"'{value}' names a day that not every year has", param, ctx)
        return (m1, d1), (m2, d2)


@command.command()
@click.argument("file")
@click.option(
    "--latitude",
    type=Measured("latitude", -90.0, 90.0),
    metavar="DEGREES",
    help="Such as 40.3 or '40.3 N'; for the check of radiation, and for ET.",
)
@click.option(
    "--elevation",
    type=Measured("elevation", -450.0, 8900.0),
    metavar="HEIGHT",
    help="Above the sea, in meters or such as '460 ft'; with the latitude, for reference ET.",
)
@click.option(
    "--season",
    type=SeasonDays(),
    help="First and last day of the season to rank, such as 04-01..10-31.  [default: April to "
    "October, or October to April in the south]",
)
@click.option(
    "--ignore", multiple=True, metavar="COLUMN", help="A column to leave out; repeatable."
)
@click.option("--record-years", type=Years(), metavar="A-B", help="Read only these years.")
@click.option(
    "--hours-from-utc",
    type=click.FloatRange(-12, 14),
    help="Of local standard time, for hours that the file gives in UTC; -5 in US Eastern.",
)
@columns_options
@format_option
@units_option
def check(
    file: str,
    latitude: float | None,
    elevation: float | None,
    season: tuple[tuple[int, int], tuple[int, int]] | None,
    ignore: tuple[str, ...],
    record_years: tuple[int, int] | None,
    hours_from_utc: float | None,
    columns: str | None,
    wind_height: float | None,
    form: str,
    units: str | None,
) -> None:
    """What a daily weather file holds, and whether a run would accept it.

    Columns, gaps, suspicious values, a table of years, the driest seasons and the verdict. FILE is
    a .csv, .nc or .dly file, which may be gzipped. Gaps and blanks do not stop the check; unknown
    columns do. Latitude and elevation are read from the file where it states them.
    """
    from drysward.quantities import SYSTEMS
    from drysward.scenario.weather_tables import columns_of
    from drysward.screen.formats import show
    from drysward.screen.weather import weather_survey
    from drysward.studies.weather_survey import Season, survey
    from drysward.weather.file.read import read_table

    days = Season(*season) if season else None
    declared = None if columns is None else columns_of(columns)
    table = read_table(file, declared, wind_height, ignore, record_years, hours_from_utc)
    place = table.place
    latitude = place.latitude_deg if latitude is None else latitude
    elevation = place.elevation_m if elevation is None else elevation
    found = survey(table, latitude, elevation, days)
    show(weather_survey(found, units or SYSTEMS[0], ignore, record_years), form)


@command.command()
@scenario_argument()
@click.option("--years", type=click.IntRange(1), help="Number of years, instead of the scenario's.")
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), help="Seed, instead of the scenario's.")
@click.option(
    "--source",
    type=click.Choice(["generator", "resample"]),
    help="Simulate or resample.  [default: the scenario's, else the generator]",
)
@click.option("--future", help="Key of a changed climate from the scenario; 'none' for today's.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Weather file to write, .csv or .nc, for another scenario to use.",
)
@format_option
@force_option
@units_option
def make(
    scenario: str,
    years: int | None,
    out: Path | None,
    form: str,
    force: bool,
    units: str | None,
    **weather: Any,
) -> None:
    """Simulate daily weather, and show how close it comes to its source.

    Months of the simulated years stand beside those of the record or normals behind them; with a
    record, dry and wet years too. The same seed gives the same years.

    SCENARIO is a scenario file (.toml), or the name of one that ships with the program, such as
    'demo'.
    """
    from drysward.files import Outputs, ending_of
    from drysward.scenario.model import GENERATOR, RECORD
    from drysward.screen.formats import show
    from drysward.screen.weather import simulated_weather
    from drysward.site.weather_years import compare_with_origin, weather_series
    from drysward.weather.export import ENDINGS, write_weather

    opened = open_scenario(scenario, simulated_years=years, **weather)
    if opened.weather.source == RECORD:
        opened = open_scenario(scenario, simulated_years=years, **{**weather, "source": GENERATOR})
    units = units or opened.units
    outputs = Outputs(files_of_scenario(scenario, opened), force)
    if out is not None:
        ending_of(out, ENDINGS)
        outputs.claim(out)
    with progress() as begin:
        advance = begin("Simulating weather")
        series = weather_series(opened)
        advance(0.5)
        parts = simulated_weather(series, compare_with_origin(opened, series), units)
    if out is not None:
        write_weather(series, out, units, outputs)
        announce_written([out])
    show(parts, form)
