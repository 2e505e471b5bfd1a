"""``drysward report``: a result as one self-contained page."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import announce_written, force_option, units_option


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
def command(result: Path, out: Path, force: bool, units: str | None) -> None:
    """Write a result as one page to read, print or mail.

    RESULT is a folder written by --out of compare, supply or sweep, or its results.nc.
    """
    from drysward.loading import light_processes

    # They start before the slow imports, which they do too.
    processes = light_processes("drysward.pages.drawing")
    import drysward

    drysward.report(result, out, units, force, processes)
    announce_written([out])
