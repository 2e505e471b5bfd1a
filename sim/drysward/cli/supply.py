"""``drysward supply``: how a site's supply fares, what it costs, and how large it must be."""

from __future__ import annotations

from collections.abc import Callable
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
    import xarray as xr
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.results import SUPPLY_FILES
    from drysward.results.export import summarise, write_supply
    from drysward.results.field_costs import field_costs, has_prices
    from drysward.results.supply import supply_answers, supply_cautions
    from drysward.screen.supply import supply_report
    from drysward.screen.tables import console, named_lines
    from drysward.studies.chosen_years import with_details
    from drysward.studies.doubt.sized import (
        check_draws,
        draws_dataset,
        fitting_draws_of_sizing,
        size_draws,
        why_no_draws,
    )
    from drysward.studies.sizing import sizing_dataset, solve

    opened = open_scenario(scenario, **weather)
    if opened.supply is None:
        raise FaultyInput(
            Fault(
                "supply",
                "is missing",
                "a table [supply] in the scenario; 'drysward supply pond' shows one",
            )
        )
    if draws:
        if no_sizing:
            told = "leave out one of the two"
            raise FaultyInput(Fault("--draws", "is given beside --no-sizing", told))
        check_draws(opened, draws)
    n = opened.draws if draws is None else draws
    why = "" if draws is not None or n == 0 or no_sizing else why_no_draws(opened)
    outputs = Outputs(files_of_scenario(scenario, opened), force)
    if out is not None:
        outputs.claim_folder(out, SUPPLY_FILES)
    announce(opened, years)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:

        def shown_as(told: str) -> Callable[[float], None]:
            task = progress.add_task(told, total=1.0)
            return lambda done: progress.update(task, completed=done)

        running = shown_as("Running the plans")
        result = drysward.run(opened, years=years, on_progress=running, daily=out is not None)
        parts = [supply_answers(result), drysward.answers(result)]
        if has_prices(opened.costs, opened.supply):
            parts.append(field_costs(result, opened))
        if opened.sizing is not None and not no_sizing:
            solved = solve(opened, years, on_progress=shown_as("Trying sizes"))
            parts.append(sizing_dataset(solved))
        if n is None:
            n = fitting_draws_of_sizing(opened, result.sizes["year"])
        if n and not why and not no_sizing:
            sized = size_draws(opened, n, years, on_progress=shown_as("Trying sizes in draws"))
            parts.append(draws_dataset(sized))
    told = xr.merge(parts, combine_attrs="no_conflicts", compat="equals", join="exact")
    told.attrs["supply_cautions"] = " ".join(supply_cautions(opened.supply))
    screen = console()
    for part in supply_report(told, units):
        screen.print(part)
    if why:
        screen.print(named_lines([("Draws", f"none: {why}")]))
    if out is not None:
        # The summary too: what a plan does to the turf belongs to a supply's page.
        turf = summarise(result, told).data_vars
        detailed = with_details(result, opened, settings(**weather))
        known = {*told.data_vars, *result.data_vars}
        result = detailed.assign({n: v for n, v in turf.items() if n not in known})
        tell_written(write_supply(result, told, out, units, outputs))
