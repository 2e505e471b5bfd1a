"""``drysward fit``: field readings into settings of a scenario."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.screen.visible import say


@click.group("fit")
def command() -> None:
    """Turn field readings into settings of a scenario."""


@command.command()
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--surface",
    type=click.Choice(["native", "sand"]),
    help="Also show the catalog's line for this surface.",
)
def hardness(readings: Path, surface: str | None) -> None:
    """Fit hardness against soil moisture.

    READINGS is a CSV file with two columns: moisture by volume, headed "moisture (v/v)" or
    "moisture (%)", and "g", the peak deceleration at the same spot.
    """
    from drysward.studies.hardness_readings import fit_readings, readings_text

    for line in readings_text(fit_readings(readings), surface):
        say(line)
