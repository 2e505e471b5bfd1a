"""``drysward check``: a scenario and its weather read and told back, nothing run."""

from __future__ import annotations

from typing import Any

import click

from drysward.cli.arguments import open_scenario, scenario_argument, units_option, weather_options


@click.command()
@scenario_argument()
@weather_options
@units_option
def command(scenario: str, units: str, **weather: Any) -> None:
    """Read a scenario and its weather, name every fault, and show every value with its source.

    Nothing is run; what would run is told.

    SCENARIO is a scenario file (.toml), or the name of one that ships with the program, as 'demo'.
    """
    from drysward.scenario.resolved import resolved_values
    from drysward.screen.night import night_tables
    from drysward.screen.tables import console, resolved_table, site_overview
    from drysward.site.night import nights
    from drysward.site.stretches import survey
    from drysward.studies.doubt.crossed import draws_told

    opened = open_scenario(scenario, **weather)
    screen = console()
    series, seen, site = survey(opened)
    for part in (
        *site_overview(series, seen, site, units, draws_told(opened, len(site.years))),
        *night_tables(nights(opened, site.zones, site.catches), units),
        resolved_table(resolved_values(opened)),
    ):
        screen.print(part)
