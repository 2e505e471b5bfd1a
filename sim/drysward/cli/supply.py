"""``drysward supply``: how reliable a water supply is, its cost, the least size."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    DEMO,
    KeyOfScenario,
    announce,
    draws_option,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    settings,
    units_option,
    weather_options,
    write_then_show,
    years_option,
)
from drysward.progress import by_step, progress


@click.command()
@scenario_argument(DEMO)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for results.nc, supply.csv and tradeoff.csv; created if missing, inside a folder "
    "that exists.",
)
@format_option
@force_option
@units_option
@weather_options
@years_option
@draws_option(
    "Draws of the uncertain numbers of soil, grass and system, for the size that suffices with "
    "50, 80 and 95% confidence. Each draw takes a search; 64 or more steady the 95%.",
)
@click.option(
    "--detail",
    is_flag=True,
    help="Add the other plans, storage, causes of shortage, months, costs and how the size was "
    "found; --format csv and json always have them.",
)
@click.option(
    "--plan",
    type=KeyOfScenario("plans"),
    help="Key of the plan, as in [plans.KEY], that is sized for and that the answer is about, in "
    "place of that of [sizing].",
)
@click.option("--no-sizing", is_flag=True, help="Skip the search for the least size.")
def command(
    scenario: str,
    out: Path | None,
    form: str,
    force: bool,
    units: str | None,
    years: tuple[int, int] | None,
    draws: int | None,
    detail: bool,
    plan: str | None,
    no_sizing: bool,
    **weather: Any,
) -> None:
    """How reliable the water supply is, what it costs, how large it must be.

    SCENARIO is a scenario file (.toml) with a table [supply], or the name of one that ships with
    the program: 'drysward supply pond'. A table [sizing] adds a search for the least size.
    """

    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.results import SUPPLY_FILES
    from drysward.results.choice import CHOSEN_PLAN
    from drysward.screen.document import notes
    from drysward.screen.supply import supply_report

    opened = open_scenario(scenario, plan=plan, **weather)
    units = units or opened.units
    if opened.supply is None:
        raise FaultyInput(
            Fault(
                "supply",
                "is missing",
                "a table [supply] in the scenario; a file of 'drysward init' has one in comments: "
                "take the # from its lines; 'drysward show pond' prints another",
            )
        )
    if draws and no_sizing:
        raise FaultyInput(Fault("--draws", "conflicts with --no-sizing", "keep one of them"))
    if draws and opened.sizing is None:
        mend = "a table [sizing] in the scenario, or no --draws"
        raise FaultyInput(Fault("sizing", "is missing, and --draws needs it", mend))
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim_folder(out, SUPPLY_FILES)
    announce(opened, years)
    with progress() as begin:
        running = begin("Running the plans")
        result = drysward.run(opened, years=years, progress=running, daily=out is not None)
        sizing = None
        if opened.sizing is not None and not no_sizing:
            sizing = drysward.size(opened, years, draws, progress=by_step(begin))
    summary = drysward.summarize(result, opened, sizing=sizing, supply=True)
    if plan is not None:
        summary.attrs[CHOSEN_PLAN] = plan
    why = summary.attrs.get("sizing_no_draws")
    report = supply_report(summary, units, detail or form in ("csv", "json"))
    write = None
    if out is not None:
        chosen = settings(**weather, plan=plan)
        if no_sizing:
            chosen = f"{chosen} --no-sizing".strip()
        write = partial(drysward.save, result, out, opened, summary, units, chosen, force, reads)
    no_draws = [notes([("Draws", f"none: {why}")])] if why else []
    write_then_show(write, [*report, *no_draws], form)
