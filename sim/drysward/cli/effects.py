"""``drysward effects``: what drives a risk or a cost over a sweep."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--of",
    "of_what",
    default="wilt",
    show_default=True,
    help="water, a stage of the turf, 'days below' playing condition, or any number in the sweep.",
)
@click.option("--plan", metavar="KEY", help="The plan that counts.  [default: the first]")
@click.option("--field", metavar="KEY", help="The field that counts; else the worst one's risk.")
def command(folder: Path, of_what: str, plan: str | None, field: str | None) -> None:
    """How much of the spread of a risk each axis of a sweep accounts for.

    Main effects of any design; with a design "sobol indices" their indices too.
    """
    import drysward
    from drysward.screen.sweep import effects_table
    from drysward.screen.tables import console

    screen = console()
    for part in effects_table(drysward.effects(drysward.open(folder), of_what, plan, field)):
        screen.print(part)
