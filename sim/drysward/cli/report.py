"""``drysward report``: a result as one self-contained page."""

from __future__ import annotations

import os
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
def command(result: Path, out: Path, force: bool, units: str) -> None:
    """Write a result as one page to read, print or mail.

    RESULT is a folder written by --out of compare, supply or sweep, or its results.nc.
    """
    from drysward.files import Outputs
    from drysward.loading import light_processes

    # They start before the slow imports, which they do too.
    processes = light_processes("drysward.report.drawing")
    from drysward.report.page import page, write_page
    from drysward.report.result import files_of_result, open_result

    opened = open_result(result)
    outputs = Outputs(files_of_result(result), force)
    outputs.claim(out)
    text = page(opened, units, processes, os.cpu_count() or 1)
    announce_written(outputs.write({out: lambda part: write_page(text, part)}))
