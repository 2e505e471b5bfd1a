"""``drysward sweep``: thousands of scenarios that differ in a few keys."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from drysward.cli.arguments import announce_compiling, format_option
from drysward.cli.progress import progress
from drysward.cli.stopping import keeps
from drysward.screen.visible import say

if TYPE_CHECKING:
    from drysward.studies.sweep.folder import Manifest


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
def run(
    sweep: str, out: Path, workers: int | None, cluster: str | None, only_forecast: bool
) -> None:
    """Run a sweep file, or go on with it."""
    from drysward.screen.sweep import damaged_line, forecast_lines
    from drysward.studies.sweep.description import read_sweep
    from drysward.studies.sweep.folder import Chunks, claimed
    from drysward.studies.sweep.run import forecast, plan_work, run_missing

    work = plan_work(read_sweep(sweep))
    announce_compiling()
    there = Chunks(done=(), damaged=())
    if not only_forecast:
        there = click.get_current_context().with_resource(claimed(out, work.manifest))
        keeps(lambda: _chunks_kept(out, work.manifest))
    if there.damaged:
        say(f"{damaged_line(there)}; run again now", err=True)
    done = len(there.done)
    cores = workers or os.cpu_count() or 1
    for line in forecast_lines(work, done, forecast(work, done, cores), cores, cluster):
        say(line, err=True)
    if only_forecast:
        return
    with progress() as begin:
        advance = begin("Running the sweep")
        run_missing(work, out, there.done, workers, cluster, lambda n, of: advance(n / of))
    say(f"Done: {work.manifest.points:,} points in {out}", err=True)


def _chunks_kept(folder: Path, manifest: Manifest) -> str:
    """What is kept of a sweep that is stopped."""
    from drysward.studies.sweep.folder import chunks_there

    kept = len(chunks_there(folder, manifest))
    return f"{kept} of {manifest.chunks} chunks are kept in {folder}; run the same command to go on"


@command.command()
@click.argument("folder", type=click.Path(path_type=Path))
@format_option
def status(folder: Path, form: str) -> None:
    """How far a sweep is, and whether it can go on."""
    from drysward.screen.formats import show
    from drysward.screen.sweep import sweep_status
    from drysward.studies.sweep.folder import look_through, read_manifest

    manifest = read_manifest(folder)
    show(sweep_status(folder, manifest, look_through(folder, manifest)), form)
