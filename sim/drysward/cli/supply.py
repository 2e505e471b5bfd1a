"""``drysward supply``: how reliable a water supply is, its cost, the least size."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    DEMO,
    announce,
    announce_written,
    draws_option,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    settings,
    units_option,
    weather_options,
    years_option,
)
from drysward.cli.progress import progress


@click.command()
@click.argument("scenario", default=DEMO)
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
@click.option("--no-sizing", is_flag=True, help="Skip the search for the least size.")
def command(
    scenario: str,
    out: Path | None,
    form: str,
    force: bool,
    units: str,
    years: tuple[int, int] | None,
    draws: int | None,
    no_sizing: bool,
    **weather: Any,
) -> None:
    """How reliable the water supply is, what it costs, how large it must be.

    SCENARIO is a scenario file (.toml) with a table [supply], or the name of one that ships with
    the program: 'drysward supply pond'. A table [sizing] adds a search for the least size.
    """
    import xarray as xr

    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.results import SUPPLY_FILES
    from drysward.results.export import summarise, write_supply
    from drysward.results.field_costs import field_costs, has_prices
    from drysward.results.supply import supply_answers, supply_cautions
    from drysward.screen.document import notes
    from drysward.screen.formats import show
    from drysward.screen.supply import supply_report
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
            mend = "leave out one of the two"
            raise FaultyInput(Fault("--draws", "does not go with --no-sizing", mend))
        check_draws(opened, draws)
    n = opened.draws if draws is None else draws
    why = "" if draws is not None or n == 0 or no_sizing else why_no_draws(opened)
    outputs = Outputs(files_of_scenario(scenario, opened), force)
    if out is not None:
        outputs.claim_folder(out, SUPPLY_FILES)
    announce(opened, years)
    with progress() as begin:
        running = begin("Running the plans")
        result = drysward.run(opened, years=years, on_progress=running, daily=out is not None)
        parts = [supply_answers(result), drysward.answers(result)]
        if has_prices(opened.costs, opened.supply):
            parts.append(field_costs(result, opened))
        if opened.sizing is not None and not no_sizing:
            solved = solve(opened, years, on_progress=begin("Trying sizes"))
            parts.append(sizing_dataset(solved))
        if n is None:
            n = fitting_draws_of_sizing(opened, result.sizes["year"])
        if n and not why and not no_sizing:
            sized = size_draws(opened, n, years, on_progress=begin("Trying sizes in draws"))
            parts.append(draws_dataset(sized))
    answers = xr.merge(parts, combine_attrs="no_conflicts", compat="equals", join="exact")
    answers.attrs["supply_cautions"] = " ".join(supply_cautions(opened.supply))
    report = supply_report(answers, units)
    show([*report, *([notes([("Draws", f"none: {why}")])] if why else [])], form)
    if out is not None:
        # The page of a supply also shows what a plan does to the turf.
        turf = summarise(result, answers).data_vars
        detailed = with_details(result, opened, settings(**weather))
        known = {*answers.data_vars, *result.data_vars}
        result = detailed.assign({n: v for n, v in turf.items() if n not in known})
        announce_written(write_supply(result, answers, out, units, outputs))
