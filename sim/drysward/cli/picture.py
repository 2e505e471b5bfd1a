"""``drysward picture``: one chart of a result, as a file."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import announce_written, force_option, units_option


@click.command()
@click.argument("result", type=click.Path(path_type=Path))
@click.argument("name")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="File to write: .svg, .png or .pdf.",
)
@click.option("--field", help="Key of one field.")
@click.option("--plan", help="Key of one plan.")
@click.option("--stage", help="Stage: footprint, wilt, dormant or dead.")
@click.option("--case", help="Year of 'account': dry, middling or wet.")
@force_option
@units_option
def command(
    result: Path, name: str, out: Path, force: bool, units: str | None, **choice: str | None
) -> None:
    """Write one chart of a result.

    RESULT is a folder written by --out of compare, supply or sweep, or its results.nc. NAME is
    days, water, plans, fields, cover, stages, months, demand, account; of a supply also storage,
    shortage, causes, sizing; of play events and play; of feeding status, clippings and leaching;
    of a sweep front, drivers and surface.
    Without --field, --plan, --stage or --case the chart has the panels shown on the page.
    """
    import drysward
    from drysward.loading import load_plotting

    load_plotting()
    chosen = {key: value for key, value in choice.items() if value is not None}
    drysward.picture(result, name, out, units, force, **chosen)
    announce_written([out])
