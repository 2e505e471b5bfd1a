"""The command line: one file per command.

Only click is imported here and at the top of the command files; the numerical stack is imported
inside the commands, so that ``--help`` and ``--version`` answer at once.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Any

import click

from drysward import CITATION, __version__
from drysward.cli import stopping
from drysward.faults import FaultyInput
from drysward.files import remove_empty
from drysward.loading import collect_rarely, skip_unneeded
from drysward.screen.faults import merged
from drysward.screen.visible import say, visible
from drysward.studies.sweep import MANIFEST

COMMANDS = (
    "init", "show", "compare", "season", "supply", "report", "picture", "sweep", "front", "effects",
    "search", "check", "ledger", "catalog", "weather", "fit",
)  # fmt: skip


class Commands(click.Group):
    """Commands by name from ``drysward.cli.NAME``; a line for each fault, no traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"drysward.cli.{cmd_name}").command
        return command

    def invoke(self, ctx: click.Context) -> Any:
        stopping.begin()
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:  # where another program runs the command
            say(stopping.last_words(), err=True)
            ctx.exit(stopping.STOPPED)
        except FaultyInput as refusal:
            for fault in merged(refusal.faults):
                first, *paste = (" ".join(line.split()) for line in fault.lines())
                say("\n    ".join([first, *paste]), err=True)
            ctx.exit(2)
        except click.ClickException as refusal:
            vars(refusal)["message"] = visible(refusal.message)  # final to type checkers only
            raise
        # click handles its own exits, and a reader that closed the pipe.
        except (click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            if ctx.params["debug"]:
                raise
            message = " ".join(str(error).split()) or "no message"
            say(
                f"drysward: {type(error).__name__}: {message} "
                f"('drysward --debug {ctx.invoked_subcommand} ...' shows where)",
                err=True,
            )
            ctx.exit(1)
        finally:
            remove_empty()


# Commands whose arrays are a sweep's, held by dask; other commands may get its folder.
_OF_SWEEPS = ("sweep", "front", "effects", "search")


def start() -> None:
    """``main`` of the command ``drysward``."""
    stopping.end_when_stopped()
    collect_rarely()
    words = sys.argv[1:]
    has_folder = any(os.path.isfile(os.path.join(word, MANIFEST)) for word in words)
    if not has_folder and not set(_OF_SWEEPS) & set(words):
        skip_unneeded()
    try:
        main()
    finally:
        stopping.is_over()


@click.group(cls=Commands)
@click.version_option(__version__, message=f"drysward {__version__}\nCite as: {CITATION}")
@click.option("--debug", is_flag=True, help="Show the full traceback of an error.")
def main(debug: bool) -> None:
    """Odds of wilt, dormancy and death of sports turf under irrigation plans.

    A daily water balance of each field, run over every weather year. Start with 'drysward
    compare', which runs the scenario that ships with the program.

    Exit status: 0 done, 1 the run failed, 2 faulty input, 130 stopped by Ctrl-C or the system.
    """
