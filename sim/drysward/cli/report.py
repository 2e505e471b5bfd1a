"""``drysward report``: one page of a result, that stands on its own."""

from __future__ import annotations

import os
from pathlib import Path

import click

from drysward.cli.arguments import units_option


@click.command()
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("report.html"),
    show_default=True,
    help="The page to write.",
)
@units_option
def command(result: Path, out: Path, units: str) -> None:
    """One page to look at, print or mail, of a result.

    RESULT is a folder that --out of compare, supply or sweep wrote, or its results.nc.
    """
    from drysward.files import claim_folder, write_whole
    from drysward.loading import light_processes

    # Before all that loads slowly, which they load too.
    processes = light_processes("drysward.report.drawing")
    from drysward.report.page import page, write_page
    from drysward.report.result import open_result

    opened = open_result(result)
    claim_folder(out.parent)
    text = page(opened, units, processes, os.cpu_count() or 1)
    write_whole(out, lambda part: write_page(text, part))
    click.echo(f"Wrote {out}", err=True)
