"""``drysward weather``: what a daily weather file holds and how far to trust it."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from drysward.cli.arguments import units_option

if TYPE_CHECKING:
    pass


@click.group()
def command() -> None:
    """Daily weather files: check one before a scenario uses it."""


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
    type=click.FloatRange(-90, 90),
    help="Degrees, north positive; for the check of radiation, and for ET.",
)
@click.option(
    "--elevation",
    type=click.FloatRange(-450, 8900),
    help="Metres above the sea; with the latitude, for reference ET.",
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
@units_option
def check(
    file: str,
    latitude: float | None,
    elevation: float | None,
    season: tuple[tuple[int, int], tuple[int, int]] | None,
    ignore: tuple[str, ...],
    units: str,
) -> None:
    """Tell what a daily weather file holds and how far to trust it.

    Columns, gaps, suspicious values, a table of years, the driest seasons, and whether a run
    would accept the file as it is. FILE is a .csv or .nc file. Gaps and blanks do not stop the
    check; a file whose columns are not known does.
    """
    from drysward.tables import console
    from drysward.weather.read import read_table
    from drysward.weather.survey import Season, survey
    from drysward.weather_tables import weather_survey

    days = Season(*season) if season else None
    found = survey(read_table(file, ignore=ignore), latitude, elevation, days)
    screen = console()
    for part in weather_survey(found, units, ignore):
        screen.print(part)
