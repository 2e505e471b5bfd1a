"""``drysward check``: a scenario and its weather read and told back, nothing run."""

from __future__ import annotations

import click

from drysward.cli.arguments import open_scenario, units_option


@click.command()
@click.argument("scenario")
@units_option
def command(scenario: str, units: str) -> None:
    """Read a scenario and its weather, name every fault, and show every value with its source.

    Nothing is run; what would run is told.

    SCENARIO is a scenario file (.toml), or 'demo' for the one that ships with the program.
    """
    from drysward.ensemble import prepare
    from drysward.scenario.resolved import resolved_values
    from drysward.tables import console, resolved_table, site_overview

    site = prepare(open_scenario(scenario))
    screen = console()
    for part in (*site_overview(site, units), resolved_table(resolved_values(site.scenario))):
        screen.print(part)
