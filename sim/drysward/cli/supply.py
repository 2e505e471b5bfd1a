"""``drysward supply``: how a site's supply fares, what it costs, and how large it must be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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


@click.command()
@scenario_argument(DEMO)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for results.nc, supply.csv and tradeoff.csv; made when it is not there, in a "
    "folder that is.",
)
@force_option
@units_option
@weather_options
@years_option
@draws_option(
    "Draws of all uncertain numbers of soil, turf and system: the size of [sizing] that suffices "
    "with 50, 80 and 95% confidence; 64 or more steady it, and each takes a search of its own.",
)
@click.option("--no-sizing", is_flag=True, help="Leave out the least size that [sizing] asks for.")
def command(
    scenario: str,
    out: Path | None,
    force: bool,
    units: str,
    years: tuple[int, int] | None,
    draws: int | None,
    no_sizing: bool,
    **weather: Any,
) -> None:
    """How far the supply can be relied on, what it costs, how large it must be.

    SCENARIO is a scenario file (.toml) with a table [supply], or the name of one that ships with
    the program: 'drysward supply pond'. With a table [sizing] the least size is looked for.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.results import SUPPLY_FILES
    from drysward.screen.supply import supply_report
    from drysward.screen.tables import console, named_lines

    opened = open_scenario(scenario, **weather)
    if opened.supply is None:
        raise FaultyInput(
            Fault(
                "supply",
                "is missing",
                "a table [supply] in the scenario; 'drysward supply pond' shows one",
            )
        )
    if draws and no_sizing:
        raise FaultyInput(Fault("--draws", "is given beside --no-sizing", "leave out one of them"))
    if draws and opened.sizing is None:
        mend = "a table [sizing] in the scenario, or no --draws"
        raise FaultyInput(Fault("sizing", "is missing, and --draws needs it", mend))
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim_folder(out, SUPPLY_FILES)
    announce(opened, years)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        bars: dict[str, TaskID] = {}

        def on_progress(step: str, done: float) -> None:
            if step not in bars:
                bars[step] = progress.add_task(step, total=1.0)
            progress.update(bars[step], completed=done)

        result = drysward.run(
            opened, years=years, daily=out is not None,
            on_progress=lambda done: on_progress("Running the plans", done),
        )  # fmt: skip
        sizing = None
        if opened.sizing is not None and not no_sizing:
            sizing = drysward.size(
                opened, years, draws,
                on_progress=lambda step, done: on_progress(f"Trying {step}", done),
            )  # fmt: skip
    summary = drysward.summarise(result, opened, sizing=sizing, supply=True)
    screen = console()
    for part in supply_report(summary, units):
        screen.print(part)
    if why := summary.attrs.get("sizing_no_draws"):
        screen.print(named_lines([("Draws", f"none: {why}")]))
    if out is not None:
        chosen = settings(**weather)
        files = drysward.save(result, out, opened, summary, units, chosen, force, reads)
        tell_written(files)
