"""``drysward ledger``: the daily water account of one field, plan and year."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    KeyOfScenario,
    Months,
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
    "--months", type=Months(), metavar="A-B", help="Only days of the months A to B, such as 6-9."
)
@click.option("--by-month", is_flag=True, help="A row a month in place of a row a day.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="CSV file for all columns, a row a day; nothing is printed then.",
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
    months: tuple[int, ...] | None,
    by_month: bool,
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
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.screen.formats import show
    from drysward.screen.ledger import daily_account, monthly_account

    if by_month and out is not None:
        raise FaultyInput(Fault("--by-month", "conflicts with --out", "keep one of them"))
    opened = open_scenario(scenario, **weather)
    units = units or opened.units
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim(out)
    account = drysward.ledger(opened, field, plan, year)
    if months is not None:
        account = account.isel(day=account["month"].isin(months).values)
    if out is not None:
        announce_written(drysward.save(account, out, units=units, force=force, reads=reads))
        return
    show((monthly_account if by_month else daily_account)(account, units), form)
