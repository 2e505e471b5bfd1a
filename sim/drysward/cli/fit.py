"""``drysward fit``: field readings into settings of a scenario."""

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
    weather_options,
)
from drysward.progress import progress
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


@command.command()
@scenario_argument()
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--log",
    required=True,
    type=click.Path(path_type=Path),
    help="Irrigation log (.csv): date,field and depth_in, depth_mm or minutes. A header alone says "
    "that nothing was watered.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write the fitted numbers here (.toml), for a scenario to name: fitted = FILE.",
)
@click.option(
    "--numbers",
    "most",
    type=click.IntRange(1, 30),
    default=10,
    show_default=True,
    help="Fit so many numbers at most: those that the readings narrow most.",
)
@click.option(
    "--draws",
    type=click.IntRange(50, 1000),
    default=100,
    show_default=True,
    help="Draws of the ensemble; more take longer and err less.",
)
@click.option(
    "--hold-out",
    is_flag=True,
    help="Fit the first two thirds of the readings, and see how they foretell the last.",
)
@format_option
@force_option
@weather_options
def readings(
    scenario: str,
    readings: Path,
    log: Path,
    out: Path | None,
    most: int,
    draws: int,
    hold_out: bool,
    form: str,
    force: bool,
    **weather: Any,
) -> None:
    """Fit soil, roots, turf, pond and probe to readings of this season and earlier ones.

    READINGS is a CSV file headed date,field,kind,value,unit and, where they are known,
    place,depth,instrument,note.

    \b
    kind                           unit
    moisture                       % or v/v, of water by volume; needs depth
    field capacity, wilting point  % or v/v; needs depth
    wilt, footprinting             % or share of the field; or the value
                                   none, first spots or widespread
    green cover                    % or share
    quality                        1 to 9
    ndvi                           1
    hardness                       g
    uniformity                     % or share, of the low quarter
    precipitation rate             mm/h or in/h
    rooting depth                  mm, cm or in
    pond level (of the site:       %, ft, in, m, cm, Mgal, gal, acre-ft
      field left blank)            or m3
    """
    from drysward.files import Outputs
    from drysward.inputs import file_bytes
    from drysward.screen.fitted import what_readings_say
    from drysward.screen.formats import show
    from drysward.studies.fitting.file import fitted_text, write_fitted
    from drysward.studies.fitting.fit import fit
    from drysward.studies.fitting.season_inputs import read_inputs
    from drysward.studies.season.tables import MOST_BYTES

    opened = open_scenario(scenario, **weather)
    outputs = Outputs((*files_of_scenario(scenario, opened), readings, log), force)
    if out is not None:
        outputs.claim(out)
    inputs = read_inputs(opened, readings, log)
    announce_compiling()
    with progress() as begin:
        found = fit(
            opened, inputs.readings, inputs.log, inputs.record, n_draws=draws, most=most,
            hold_out=hold_out, on_progress=begin("fit"),
        )  # fmt: skip
    # The file first, since a reader may cut the answer short; the answer even where it fails.
    try:
        if out is not None:
            of_files = (file_bytes(path, MOST_BYTES) for path in (readings, log))
            announce_written(write_fitted(out, fitted_text(found, opened, *of_files), outputs))
    finally:
        show(what_readings_say(found, opened), form)
