"""``drysward search``: the plan with the least water that keeps a stated risk."""

from __future__ import annotations

import click

from drysward.cli.arguments import device_options, format_option, units_option
from drysward.progress import progress


@click.command()
@click.argument("sweep")
@click.option("--workers", type=click.IntRange(min=1), help="Cores to use.  [default: all]")
@device_options
@format_option
@units_option
def command(
    sweep: str,
    workers: int | None,
    device: str,
    check_device: int,
    form: str,
    units: str | None,
) -> None:
    """Find the plan with the least water that keeps a risk.

    SWEEP is a sweep file with a table [search]; its axes are what may be chosen. All candidates
    run on the same weather years; the one found is tested on years of another seed.
    """
    import drysward
    from drysward.screen.formats import show
    from drysward.screen.sweep import search_parts

    with progress() as begin:
        found = drysward.search(
            sweep, workers, begin("Trying plans"), device=device, check_device=check_device
        )
    show(search_parts(found, units or found.sweep.units), form)
