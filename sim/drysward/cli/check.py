"""``drysward check``: a scenario and its weather, read and not run."""

from __future__ import annotations

from typing import Any

import click

from drysward.cli.arguments import (
    format_option,
    open_scenario,
    scenario_argument,
    units_option,
    weather_options,
)


@click.command()
@scenario_argument()
@click.option("--all", "everything", is_flag=True, help="Add every value with source and grade.")
@format_option
@weather_options
@units_option
def command(scenario: str, everything: bool, form: str, units: str | None, **weather: Any) -> None:
    """Find the faults of a scenario and its weather; show what would run.

    Nothing is run. SCENARIO is a scenario file (.toml), or the name of one that ships with the
    program, such as 'demo'.
    """
    from drysward.scenario.resolved import resolved_values
    from drysward.screen.check import check_detail, check_overview
    from drysward.screen.formats import show
    from drysward.site.night import nights
    from drysward.site.stretches import survey
    from drysward.studies.doubt.crossed import draws_text

    opened = open_scenario(scenario, **weather)
    units = units or opened.units
    series, seen, site = survey(opened)
    waterings = list(nights(opened, site.zones, site.catches))
    values = list(resolved_values(opened))
    draws = draws_text(opened, len(site.years))
    parts = check_overview(series, seen, site, waterings, units, draws, len(values))
    if everything:
        parts += check_detail(series, waterings, values, units)
    show(parts, form)
