"""``drysward season``: the rest of this season, from the state of the fields today."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    announce_compiling,
    announce_written,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    units_option,
    weather_options,
)
from drysward.cli.progress import progress


@click.command()
@scenario_argument()
@click.option(
    "--today",
    metavar="DATE",
    help="First day ahead, as 2026-07-01. Default: the day after the last of the weather.",
)
@click.option("--until", metavar="DATE", help="Last day ahead. Default: the end of the season.")
@click.option(
    "--detail", is_flag=True, help="Add footprinting and death to the odds of wilt and dormancy."
)
@click.option("--out", type=click.Path(path_type=Path), help="File for the outlook (.nc).")
@format_option
@force_option
@units_option
@weather_options
def command(
    scenario: str,
    today: str | None,
    until: str | None,
    detail: bool,
    out: Path | None,
    form: str,
    force: bool,
    units: str,
    **weather: Any,
) -> None:
    """Odds for the weeks ahead, from this season so far.

    SCENARIO is a scenario file (.toml) whose weather reaches to yesterday; a part year is fine.
    From the state of soil and turf today every plan goes on through the same days of other years.
    """
    import drysward
    from drysward.day.records import STAGES
    from drysward.files import Outputs
    from drysward.screen.formats import show
    from drysward.screen.season import OUTLOOK_STAGES, season_report

    opened = open_scenario(scenario, **weather)
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim(out)
    announce_compiling()
    with progress() as begin:
        outlook = drysward.season(
            opened, today, until, on_progress=begin("Running the ways on")
        )
    show(season_report(outlook, units, STAGES if detail else OUTLOOK_STAGES), form)
    if out is not None:
        announce_written([out])
