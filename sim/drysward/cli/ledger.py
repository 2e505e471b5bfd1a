"""``drysward ledger``: the daily water account of one field, plan and year."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    KeyOfScenario,
    announce_written,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    units_option,
    weather_options,
)


@click.command()
@scenario_argument()
@click.option(
    "--field",
    required=True,
    type=KeyOfScenario("fields"),
    help="Key of the field, as in [fields.KEY].",
)
@click.option(
    "--plan",
    required=True,
    type=KeyOfScenario("plans"),
    help="Key of the plan, as in [plans.KEY].",
)
@click.option(
    "--year",
    required=True,
    type=int,
    help="A complete year of the record, or the number of a simulated year.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="CSV file for all columns; nothing is printed then.",
)
@format_option
@force_option
@weather_options
@units_option
def command(
    scenario: str,
    field: str,
    plan: str,
    year: int,
    out: Path | None,
    form: str,
    force: bool,
    units: str | None,
    **weather: Any,
) -> None:
    """Daily water balance of one field, plan and year.

    SCENARIO is a scenario file (.toml), or the name of one that ships with the program, such as
    'demo'.
    """
    import drysward
    from drysward.files import Outputs
    from drysward.screen.formats import show
    from drysward.screen.ledger import daily_account

    opened = open_scenario(scenario, **weather)
    units = units or opened.units
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim(out)
    account = drysward.ledger(opened, field, plan, year)
    if out is not None:
        announce_written(drysward.save(account, out, units=units, force=force, reads=reads))
        return
    show(daily_account(account, units), form)
