"""``drysward picture``: one figure of a result, as a file."""

from __future__ import annotations

from pathlib import Path

import click

from drysward.cli.arguments import announce_written, force_option, units_option

ENDINGS = (".svg", ".png", ".pdf")


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
    result: Path, name: str, out: Path, force: bool, units: str, **choice: str | None
) -> None:
    """Write one figure of a result.

    RESULT is a folder written by --out of compare, supply or sweep, or its results.nc. NAME is
    plans, fields, saved, cover, stages, months, demand, account; of a supply also storage,
    shortage, causes, sizing; with play events and play; with draws doubt; of a sweep front,
    drivers and surface.
    Without --field, --plan, --stage or --case the figure has the panels shown on the page.
    """
    from drysward.files import Outputs, ending_of
    from drysward.report import gallery
    from drysward.report.result import files_of_result, open_result
    from drysward.report.style import save

    ending = ending_of(out, ENDINGS)
    picture = gallery.named(name)
    opened = open_result(result)
    wanted = {key: value for key, value in choice.items() if value is not None}
    panels = gallery.choose(opened, picture, wanted)
    outputs = Outputs(files_of_result(result), force)
    outputs.claim(out)
    figure = gallery.compose(opened, picture, panels, units)
    alt = " ".join(picture.told(opened, panel, units) for panel in panels)
    announce_written(outputs.write({out: lambda part: save(figure, part, ending[1:], alt)}))
