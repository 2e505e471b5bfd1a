"""``drysward compare``: every plan on every field, side by side."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drysward.cli.arguments import (
    DEMO,
    announce,
    draws_option,
    files_of_scenario,
    force_option,
    open_scenario,
    scenario_argument,
    settings,
    tell_written,
    units_option,
    weather_options,
    years_option,
)

if TYPE_CHECKING:
    import xarray as xr

    from drysward.scenario.model import Scenario


@click.command()
@scenario_argument(DEMO)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for results.nc and CSV files of the answers, with draws also of what is not "
    "known; made when it is not there, in a folder that is.",
)
@click.option(
    "--show",
    type=click.Choice(["stress", "play"]),
    default="stress",
    show_default=True,
    help="Odds of stress and water, or what is left to play on: hard, wet, airless days, events.",
)
@draws_option(
    "Draws of all uncertain numbers of soil, turf and system: what is not known, and whether a "
    "choice stands; 64 or more also tell what to measure first.",
)
@force_option
@units_option
@weather_options
@years_option
def command(
    scenario: str,
    out: Path | None,
    show: str,
    draws: int | None,
    force: bool,
    units: str,
    years: tuple[int, int] | None,
    **weather: Any,
) -> None:
    """Odds of stress and water used, each plan on each field.

    SCENARIO is a scenario file (.toml); without it the scenario that ships with the program runs.
    """
    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.loading import load_in_background
    from drysward.results import RESULT_FILES

    opened = open_scenario(scenario, **weather)
    if show == "play":
        from drysward.site.play import require_play

        require_play(opened)
    # A folder that cannot be written is refused before the run, not after it.
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim_folder(out, RESULT_FILES)
    announce(opened, years)
    n = opened.draws if draws is None else draws
    with ThreadPoolExecutor(1) as beside:
        drawing = None if n == 0 else beside.submit(_drawn, opened, n, years)
        load_in_background(
            "drysward.results.dataset", "drysward.results.summary", "drysward.screen.play",
            "drysward.screen.doubt",
        )  # fmt: skip
        result = drysward.run(opened, years=years, daily=out is not None)
        drawn = None if drawing is None else drawing.result()
    if isinstance(drawn, str) and draws is not None:
        raise FaultyInput(Fault("--draws", drawn, "widen --years, or --draws 0 for none"))
    from drysward.screen.play import play
    from drysward.screen.tables import comparison, console, named_lines

    found = None if isinstance(drawn, str) else drawn
    summary = drysward.summarise(result, opened, draws=found)
    told = None
    if found is not None:
        from drysward.screen.doubt import drawn_parts

        told = drawn_parts(found, summary, units)
    if show == "play":
        names = [str(name) for name in summary.data_vars if str(name).startswith("play_")]
        parts = play(result, summary[names].rename({n: n.removeprefix("play_") for n in names}))
        if told is not None:
            parts += [*told.sentences, *told.fields, *told.choice, named_lines(told.notes)]
    else:
        parts = comparison(summary, units, summary, told)
    if isinstance(drawn, str):
        parts.append(named_lines([("Not known", f"nothing is drawn: {drawn}")]))
    screen = console()
    for part in parts:
        screen.print(part)
    if out is not None:
        chosen = settings(**weather)
        tell_written(drysward.save(result, out, opened, summary, units, chosen, force, reads))


def _drawn(
    scenario: Scenario, n: int | None, years: tuple[int, int] | None
) -> xr.Dataset | str:
    """Draws beside the run, or why there are none; what they need is loaded beside it as well."""
    import drysward
    from drysward.faults import CannotDraw

    try:
        return drysward.draws(scenario, n, years=years)
    except CannotDraw as why:
        return str(why)
