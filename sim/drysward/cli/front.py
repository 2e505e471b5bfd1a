"""``drysward front``: choices of a sweep that no other beats in both cost and risk."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import (
    announce_written,
    force_option,
    format_option,
    units_for,
    units_option,
)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--cost",
    default="water",
    show_default=True,
    help="water, a stage of the turf, 'days below' (playing condition), or a number of the sweep.",
)
@click.option("--risk", default="wilt", show_default=True, help="The same, such as death.")
@click.option("--field", metavar="KEY", help="The field to judge.  [default: the worst one]")
@click.option(
    "--by", metavar="AXIS", help="A front for each value of an axis, such as species, or of plan."
)
@click.option(
    "--high", is_flag=True, help="With draws: the risk that 95 of 100 draws stay below."
)
@format_option
@force_option
@units_option
def command(
    folder: Path,
    cost: str,
    risk: str,
    field: str | None,
    by: str | None,
    high: bool,
    form: str,
    force: bool,
    units: str | None,
) -> None:
    """Trade-off between cost and risk in a sweep; also writes it to FOLDER as CSV.

    FOLDER is a folder that 'drysward sweep' wrote; unfinished points are left out.
    """
    import drysward
    from drysward.screen.formats import show
    from drysward.screen.sweep import front_parts

    points = drysward.open(folder)
    units = units_for(units, points)
    choices = drysward.front(points, cost, risk, field, high, by)
    chunks = [path for path in folder.iterdir() if path.suffix in (".nc", ".json")]
    # Before the answer, which a reader may cut short.
    announce_written(drysward.save(choices, folder, units=units, force=force, reads=chunks))
    show(front_parts(choices, units, every=form != "text"), form)
