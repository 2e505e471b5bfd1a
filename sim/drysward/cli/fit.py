"""``drysward fit``: readings of a field into the numbers that a scenario takes."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.screen.visible import say


@click.group("fit")
def command() -> None:
    """Turn readings of a field into settings of a scenario."""


@command.command()
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--surface",
    type=click.Choice(["native", "sand"]),
    help="Show the catalogue's line of this surface beside the fit.",
)
def hardness(readings: Path, surface: str | None) -> None:
    """Fit a line of hardness on soil moisture, as a setting for a field.

    READINGS is a CSV file with a heading and two columns: moisture, headed "moisture (v/v)" or
    "moisture (%)" by volume, and "g", the peak deceleration read at the same spot.
    """
    from drysward.studies.hardness_readings import fit_readings, readings_text

    for line in readings_text(fit_readings(readings), surface):
        say(line)
