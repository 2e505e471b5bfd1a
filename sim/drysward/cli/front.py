"""``drysward front``: the choices of a sweep that no other beats in both cost and risk."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import force_option, tell_written, units_option


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--cost",
    default="water",
    show_default=True,
    help="water, a stage of the turf, 'days below' playing condition, or any number in the sweep.",
)
@click.option("--risk", default="wilt", show_default=True, help="The same, such as death.")
@click.option("--field", metavar="KEY", help="The field that counts; else the worst one's risk.")
@click.option(
    "--high", is_flag=True, help="Of draws within points: the risk that 95% of them do not pass."
)
@force_option
@units_option
def command(
    folder: Path, cost: str, risk: str, field: str | None, high: bool, force: bool, units: str
) -> None:
    """Print and write (front.csv) the trade-off between cost and risk of a sweep.

    FOLDER is what 'drysward sweep' has written; points that are not done yet are left out.
    """
    import drysward
    from drysward.screen.sweep import front_table
    from drysward.screen.tables import console

    choices = drysward.front(drysward.open(folder), cost, risk, field, high)
    screen = console()
    for part in front_table(choices, units):
        screen.print(part)
    chunks = [path for path in folder.iterdir() if path.suffix in (".nc", ".json")]
    tell_written(drysward.save(choices, folder, units=units, force=force, reads=chunks))
