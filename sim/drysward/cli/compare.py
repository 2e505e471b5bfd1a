"""``drysward compare``: every plan on every field, side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from drysward.cli.arguments import (
    DEMO,
    announce,
    open_scenario,
    settings,
    units_option,
    weather_options,
    years_option,
)

# One draw has no spread; the most is an own choice.
FEWEST_DRAWS, MOST_DRAWS = 2, 4096
FEWEST_YEARS = 2


def _draws(context: click.Context, option: click.Parameter, value: int) -> int:
    """Draws as asked for: none, or as many as have a spread."""
    if value and not FEWEST_DRAWS <= value <= MOST_DRAWS:
        raise click.BadParameter(
            f"{value} cannot be run; {FEWEST_DRAWS} draws at least, that there is a spread, and "
            f"{MOST_DRAWS} at most. Try --draws 64, or leave it out",
            context,
            option,
        )
    return value


@click.command()
@click.argument("scenario", default=DEMO)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for results.nc and CSV files of the answers, with draws also of what is not "
    "known; made when it is not there.",
)
@click.option(
    "--show",
    type=click.Choice(["stress", "play"]),
    default="stress",
    show_default=True,
    help="Odds of stress and water, or what is left to play on: hard, wet, airless days, events.",
)
@click.option(
    "--draws",
    type=int,
    default=0,
    show_default=True,
    callback=_draws,
    help="Draws of all uncertain numbers of soil, turf and system, beside the run; 64 or more tell "
    "what is not known, whether a choice stands and what to measure first.",
)
@units_option
@weather_options
@years_option
def command(
    scenario: str,
    out: Path | None,
    show: str,
    draws: int,
    units: str,
    years: tuple[int, int] | None,
    **weather: Any,
) -> None:
    """Odds of stress and water used, each plan on each field.

    SCENARIO is a scenario file (.toml); without it the scenario that ships with the program runs.
    """
    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import claim_folder
    from drysward.loading import load_meanwhile

    opened = open_scenario(scenario, **weather)
    if show == "play":
        from drysward.site.play import require_play

        require_play(opened)
    # A folder that cannot be written is told before the run, not after it.
    if out is not None:
        claim_folder(out)
    announce(opened, years)
    load_meanwhile(
        "drysward.results.dataset", "drysward.results.answers", "drysward.results.export",
        "drysward.screen.play",
    )  # fmt: skip
    result = drysward.run(opened, years=years, daily=out is not None)
    from drysward.results.export import summarise, write_results
    from drysward.results.field_costs import field_costs, has_prices
    from drysward.results.play import play_answers
    from drysward.results.volumes import site_volumes
    from drysward.screen.play import play
    from drysward.screen.tables import comparison, console

    answers = drysward.answers(
        result, tuple(opened.answers.return_periods), opened.answers.confidence
    )
    summary = summarise(result, answers)
    site = site_volumes(result, tuple(opened.answers.return_periods))
    if has_prices(opened.costs, opened.supply):
        costs = field_costs(result, opened)
        site = site.merge(costs).assign_attrs(costs.attrs)
    doubt = None
    if draws:
        if result.sizes["year"] < FEWEST_YEARS:
            fault = f"draws need {FEWEST_YEARS} years at least, to be told from the chance of years"
            raise FaultyInput(Fault("--draws", fault, "widen --years, or leave --draws out"))
        from drysward.studies.doubt.answers import doubt_answers
        from drysward.studies.doubt.crossed import crossed

        found = crossed(opened, draws, years=years)
        doubt = doubt_answers(found, opened, tuple(plan.key for plan in opened.plans))
    screen = console()
    played = play_answers(result) if "looked_at" in result.coords else None
    parts = comparison(summary, units, site)
    if show == "play" and played is not None:
        parts = play(result, played)
    if doubt is not None:
        from drysward.screen.doubt import doubt_report

        parts = [*parts, *doubt_report(doubt, summary, units)]
    for part in parts:
        screen.print(part)
    if out is not None:
        from drysward.studies.chosen_years import with_details

        result = with_details(result, opened, settings(**weather))
        for path in write_results(result, summary, out, units, played, site, doubt):
            click.echo(f"Wrote {path}", err=True)
