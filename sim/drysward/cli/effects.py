"""``drysward effects``: what drives a risk or a cost across a sweep."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import format_option, units_for, units_option


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--of",
    "of_what",
    default="days below",
    show_default=True,
    help="water, a stage of the turf, 'days below' (playing condition), or a number of the sweep. "
    "Watering every day or two hides wilt, which takes three days in a row.",
)
@click.option("--plan", metavar="KEY", help="The plan to judge.  [default: the first]")
@click.option("--field", metavar="KEY", help="The field to judge.  [default: the worst one]")
@format_option
@units_option
def command(
    folder: Path, of_what: str, plan: str | None, field: str | None, form: str, units: str | None
) -> None:
    """How much of the spread of a risk each axis of a sweep explains.

    Main effects of any design; Sobol indices too with the design "sobol indices".
    """
    import drysward
    from drysward.screen.formats import show
    from drysward.screen.sweep import effects_parts

    points = drysward.open(folder)
    units = units_for(units, points)
    found = drysward.effects(points, of_what, plan, field, units)
    show(effects_parts(found, units), form)
