"""``drysward sweep``: thousands of scenarios that differ in a few keys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from drysward.cli.arguments import announce_compiling, device_options, format_option
from drysward.cli.stopping import keeps
from drysward.progress import Advance, progress
from drysward.screen.visible import say

if TYPE_CHECKING:
    from drysward.studies.sweep.run import Start


class SweepOrStatus(click.Group):
    """``sweep SWEEP --out DIR`` runs a sweep; ``sweep status DIR`` shows how far it is."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in self.commands:
            args = ["run", *args]
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        # Options may stand before the sweep; they belong to it.
        if args and args[0].startswith("-") and args[0] not in ("--help",):
            args = ["run", *args]
        return super().parse_args(ctx, args)


@click.group(cls=SweepOrStatus)
def command() -> None:
    """Thousands of scenarios that differ in a few keys, in chunks that survive the machine.

    \b
    drysward sweep SWEEP --out FOLDER    run a sweep file, or go on with it
    drysward sweep status FOLDER         how far it is

    SWEEP is a sweep file (.toml), or the name of one that ships with the program: sweep-demo.
    After a stop, by Ctrl-C or by the machine, the same command goes on from the last chunk and
    runs damaged chunks again.
    """


@command.command("run")
@click.argument("sweep")
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="Folder of the sweep's chunks."
)
@click.option(
    "--workers", type=click.IntRange(min=1), help="Cores to use.  [default: all of them]"
)
@click.option("--cluster", metavar="ADDRESS", help="Scheduler of a dask cluster to run on.")
@click.option(
    "--forecast", "only_forecast", is_flag=True, help="Print size, time, disk space; run nothing."
)
@device_options
def run(
    sweep: str,
    out: Path,
    workers: int | None,
    cluster: str | None,
    only_forecast: bool,
    device: str,
    check_device: int,
) -> None:
    """Run a sweep file, or go on with it."""
    import drysward
    from drysward.screen.sweep import chunks_line, damaged_line, forecast_lines

    with progress() as begin:
        advance: list[Advance] = []

        def on_start(start: Start) -> None:
            manifest = start.work.manifest
            announce_compiling()
            if not only_forecast:
                keeps(lambda: chunks_line(out, manifest))
            if start.there.damaged:
                say(f"{damaged_line(start.there)}; run again now", err=True)
            for line in forecast_lines(
                start.work, len(start.there.done), start.forecast(), start.cores, start.cluster
            ):
                say(line, err=True)
            advance.append(begin("Running the sweep"))

        points = drysward.sweep(
            sweep, None if only_forecast else out, workers, cluster, on_start,
            lambda done, chunks: advance[0](done / chunks), device=device,
            check_device=check_device,
        )  # fmt: skip
    if points is not None:
        say(f"Done: {points.attrs['points']:,} points in {out}", err=True)


@command.command()
@click.argument("folder", type=click.Path(path_type=Path))
@format_option
def status(folder: Path, form: str) -> None:
    """How far a sweep is, and the command that goes on with it."""
    from drysward.screen.formats import show
    from drysward.screen.sweep import status_parts

    show(status_parts(folder), form)
