"""``drysward search``: the plan with the least water that keeps a stated risk."""

from __future__ import annotations

import click

from drysward.cli.arguments import units_option


@click.command()
@click.argument("sweep")
@click.option("--workers", type=click.IntRange(min=1), help="Cores to use.  [default: all]")
@units_option
def command(sweep: str, workers: int | None, units: str) -> None:
    """Find the plan with the least water that keeps a risk.

    SWEEP is a sweep file with a table [search]; its axes are what may be chosen. All candidates
    run on the same weather years, and the one found is checked on years of another seed.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    import drysward
    from drysward.screen.sweep import found_lines
    from drysward.screen.tables import console

    columns = (TextColumn("Trying plans"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=1.0)
        found = drysward.search(
            sweep, workers, lambda done: progress.update(task, completed=done)
        )
    screen = console()
    for part in found_lines(found, units):
        screen.print(part)
