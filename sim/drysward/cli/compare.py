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
    # A folder that cannot be written is told before the run, not after it.
    outputs = Outputs(files_of_scenario(scenario, opened), force)
    if out is not None:
        outputs.claim_folder(out, RESULT_FILES)
    announce(opened, years)
    drawn: xr.Dataset | str | None = None
    with ThreadPoolExecutor(1) as beside:
        n = opened.draws if draws is None else draws
        drawing = None if n == 0 else beside.submit(_drawn, opened, n, years)
        load_in_background(
            "drysward.results.dataset", "drysward.results.answers", "drysward.results.export",
            "drysward.screen.play", "drysward.screen.doubt",
        )  # fmt: skip
        result = drysward.run(opened, years=years, daily=out is not None)
        from drysward.results.export import summarise, write_results
        from drysward.results.field_costs import field_costs, has_prices
        from drysward.results.play import play_answers
        from drysward.results.volumes import site_volumes
        from drysward.screen.play import play
        from drysward.screen.tables import comparison, console, named_lines

        answers = drysward.answers(
            result, tuple(opened.answers.return_periods), opened.answers.confidence
        )
        summary = summarise(result, answers)
        site = site_volumes(result, tuple(opened.answers.return_periods))
        if has_prices(opened.costs, opened.supply):
            costs = field_costs(result, opened)
            site = site.merge(costs).assign_attrs(costs.attrs)
        if drawing is not None:
            drawn = drawing.result()
    if isinstance(drawn, str) and draws is not None:
        raise FaultyInput(Fault("--draws", drawn, "widen --years, or --draws 0 for none"))
    screen = console()
    played = play_answers(result) if "has_play" in result.coords else None
    told = None
    if drawn is not None and not isinstance(drawn, str):
        from drysward.screen.doubt import drawn_parts

        told = drawn_parts(drawn, summary, units)
    if show == "play" and played is not None:
        parts = play(result, played)
        if told is not None:
            parts += [*told.sentences, *told.fields, *told.choice, named_lines(told.notes)]
    else:
        parts = comparison(summary, units, site, told)
    if isinstance(drawn, str):
        parts.append(named_lines([("Not known", f"nothing is drawn: {drawn}")]))
    doubt = None if isinstance(drawn, str) else drawn
    for part in parts:
        screen.print(part)
    if out is not None:
        from drysward.studies.chosen_years import with_details

        result = with_details(result, opened, settings(**weather))
        tell_written(write_results(result, summary, out, units, played, site, doubt, outputs))


def _drawn(
    scenario: Scenario, n: int | None, years: tuple[int, int] | None
) -> xr.Dataset | str:
    """What draws make of the answers, or why there are none; it loads beside the run as well."""
    from drysward.studies.doubt.answers import drawn_or_why

    return drawn_or_why(scenario, n, years)
