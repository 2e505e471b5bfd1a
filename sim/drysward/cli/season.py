"""``drysward season``: the rest of this season, from the state of the fields today."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    announce_compiling,
    announce_written,
    draws_option,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    units_option,
    weather_options,
)
from drysward.progress import progress


class Chances(click.ParamType):
    """Three shares, ``0.4,0.35,0.25``; ``season`` checks that they add up."""

    name = "chances"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        if isinstance(value, tuple):
            return value
        try:
            return tuple(float(part) for part in value.split(","))
        except ValueError:
            self.fail(f"'{value}' is not three chances, such as 0.4,0.35,0.25", param, ctx)


@click.command()
@scenario_argument()
@click.option(
    "--today",
    metavar="DATE",
    help="First day ahead, as 2026-07-01. Default: the day after the last of the weather.",
)
@click.option("--until", metavar="DATE", help="Last day ahead. Default: the end of the season.")
@click.option(
    "--log",
    type=click.Path(path_type=Path),
    help="What was put on this season (.csv): date, field, and depth_in, depth_mm or minutes. "
    "Without it each plan counts as followed since the year began.",
)
@click.option(
    "--forecast",
    type=click.Path(path_type=Path),
    help="The next days, 10 at most (.csv): date, rain_in, rain_chance_pct, tmax_f, tmin_f; or "
    "rain_mm, tmax_c, tmin_c; temp_error_f or temp_error_c if stated.",
)
@click.option(
    "--outlook",
    type=Chances(),
    metavar="DRY,NORMAL,WET",
    help="Chances of a dry, a normal and a wet rest of the season, such as 0.4,0.35,0.25.",
)
@click.option("--since", type=int, metavar="YEAR", help="Leave out ways of earlier years.")
@click.option("--storage", metavar="VOLUME", help='Water in storage today, such as "0.8 Mgal".')
@draws_option(
    "Draws of the uncertain numbers of soil, grass and system, which the ways share.",
)
@click.option(
    "--hindcast",
    is_flag=True,
    help="Issue outlooks on past dates (1 May, 1 July, 1 August), each without its own year, and "
    "score them. May take a minute.",
)
@click.option(
    "--detail", is_flag=True, help="Add footprinting and death to the odds of wilt and dormancy."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for season.nc, outlook.csv and season-water.csv, which 'report' draws.",
)
@format_option
@force_option
@units_option
@weather_options
def command(
    scenario: str,
    today: str | None,
    until: str | None,
    log: Path | None,
    forecast: Path | None,
    outlook: tuple[float, ...] | None,
    since: int | None,
    storage: str | None,
    draws: int | None,
    hindcast: bool,
    detail: bool,
    out: Path | None,
    form: str,
    force: bool,
    units: str | None,
    **weather: Any,
) -> None:
    """Odds for the weeks ahead, from this season so far.

    SCENARIO is a scenario file (.toml) whose weather reaches to yesterday; a part year is fine.
    From the state of soil and turf today every plan goes on through the same days of other years.
    """
    import drysward
    from drysward.day.records import STAGES
    from drysward.files import Outputs
    from drysward.results import SEASON_FILES
    from drysward.results.season_text import OUTLOOK_STAGES
    from drysward.screen.formats import show
    from drysward.screen.season import hindcast_report, season_report

    opened = open_scenario(scenario, **weather)
    units = units or opened.units
    named = (*files_of_scenario(scenario, opened), log, forecast)
    reads = tuple(path for path in named if path is not None)
    if out is not None:
        Outputs(reads, force).claim_folder(out, SEASON_FILES)
    announce_compiling()
    with progress() as begin:
        ahead = drysward.season(
            opened, today, until, log, forecast, outlook, since, storage, draws,
            progress=begin("Running the ways on"),
        )  # fmt: skip
        past = None
        if hindcast:
            past = drysward.hindcast(opened, progress=begin("Running past seasons"))
    report = season_report(ahead, units, STAGES if detail else OUTLOOK_STAGES)
    # Files first, since a reader may cut the answer short; the answer even where they fail.
    try:
        if out is not None:
            files = drysward.save(ahead, out, summary=past, units=units, force=force, reads=reads)
            announce_written(files)
    finally:
        show([*report, *([] if past is None else hindcast_report(past, units))], form)
