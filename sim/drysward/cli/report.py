"""``drysward report``: one page of a result, which stands alone."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import force_option, tell_written, units_option


@click.command()
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("report.html"),
    show_default=True,
    help="The page to write.",
)
@force_option
@units_option
def command(result: Path, out: Path, force: bool, units: str) -> None:
    """One page of a result, to read, print or mail.

    RESULT is a folder that --out of compare, supply or sweep wrote, or its results.nc.
    """
    from drysward.loading import light_processes

    # Before all that loads slowly, which they load too.
    processes = light_processes("drysward.pages.drawing")
    import drysward

    drysward.report(result, out, units, force, processes)
    tell_written([out])
