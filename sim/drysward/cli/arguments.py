"""What several commands ask for in the same words: a scenario, units, years."""

from __future__ import annotations

import os
import re
import shlex
import sys
import tomllib
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from drysward.screen.visible import say

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario
    from drysward.weather.file.fill import FillRule

DEMO = "demo"
"""The scenario that runs where a command is given none."""

STDIN = "-"
"""Stands for standard input where a command takes a scenario."""


class ShippedName(click.ParamType):
    """A name of what ships with the program; the shell completes it."""

    name = "text"

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        return [
            CompletionItem(name) for name in sorted(_shipped()) if name.startswith(incomplete)
        ]


class ScenarioName(ShippedName):
    """A scenario file, or a scenario that ships; the shell completes both."""

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        shipped = super().shell_complete(ctx, param, incomplete)
        scenarios = [item for item in shipped if not item.value.startswith("sweep-")]
        folder, _, start = incomplete.rpartition("/")
        with suppress(OSError):
            for path in sorted(Path(folder or ".").iterdir()):
                if path.name.startswith(start) and (path.suffix == ".toml" or path.is_dir()):
                    shown = f"{folder}/{path.name}" if folder else path.name
                    scenarios.append(CompletionItem(f"{shown}/" if path.is_dir() else shown))
        return scenarios


class KeyOfScenario(click.ParamType):
    """A key under ``table`` of the scenario on the command line; the shell completes it."""

    name = "key"

    def __init__(self, table: str) -> None:
        self.table = table

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        # Parsing ends at the option that waits for its value, with the scenario among what is left.
        named = str(ctx.params.get("scenario") or next(iter(ctx.args), DEMO))
        path = Path(named) if os.path.isfile(named) else _shipped().get(named)
        try:
            tables = {} if path is None else tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return []
        keys = tables.get(self.table, {})
        return [CompletionItem(key) for key in keys if key.startswith(incomplete)]


def _shipped() -> dict[str, Path]:
    """Files that ship, by name: read here, since a shell waits for the answer."""
    folder = Path(str(files("drysward.scenarios")))
    return {path.stem: path for path in folder.glob("*.toml")}


def scenario_argument(
    default: str | None = None,
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """SCENARIO: a file, a name that ships, or ``-``; needed where there is no ``default``."""
    if default is None:
        return click.argument("scenario", type=ScenarioName())
    return click.argument("scenario", type=ScenarioName(), default=default)


def counted(things: Sequence[object], name: str) -> str:
    """``2 plans``, ``1 plan``."""
    return f"{len(things)} {name}{'' if len(things) == 1 else 's'}"


class Years(click.ParamType):
    """``2011-2018``, ``2012`` or, of simulated years, ``1-50`` as first and last year."""

    name = "years"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        if isinstance(value, tuple):
            return value
        match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", value.strip())
        if not match:
            self.fail(f"'{value}' is not a year or two, such as 2012 or 2011-2018", param, ctx)
        first, last = int(match[1]), int(match[2] or match[1])
        if first > last:
            self.fail(f"'{value}' ends before it starts", param, ctx)
        return first, last


def years_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--years",
        type=Years(),
        metavar="A-B",
        help="Count only the years from A to B, made ones by number from 1.",
    )(command)


def _draws(context: click.Context, option: click.Parameter, value: int | None) -> int | None:
    """Draws as asked for: none, or as many as have a spread."""
    if not value:
        return value
    from drysward.scenario.model import FEWEST_DRAWS, MOST_DRAWS

    if not FEWEST_DRAWS <= value <= MOST_DRAWS:
        raise click.BadParameter(
            f"{value} cannot be run; {FEWEST_DRAWS} draws at least, that there is a spread, and "
            f"{MOST_DRAWS} at most. Try --draws 64, or --draws 0 for none",
            context,
            option,
        )
    return value


def draws_option(told: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """``--draws``, None where the scenario and the program choose; ``told`` says what they give."""
    return click.option(
        "--draws",
        type=int,
        callback=_draws,
        help=f"{told} 0 for none; left out, as many as [doubt] of the scenario says, or else as "
        "many as keep the run short.",
    )


def announce(scenario: Scenario, years: tuple[int, int] | None) -> None:
    """Say on stderr what is about to run, and that the day loop has to be compiled first.

    Nothing is said before a weather file that cannot be used is refused.
    """
    from drysward.site.stretches import require_weather

    require_weather(scenario, years)
    span = "every complete year" if years is None else f"the years {years[0]} to {years[1]}"
    say(
        f"{scenario.title}: {counted(scenario.plans, 'plan')} on "
        f"{counted(scenario.fields, 'field')} over {span} of {scenario.weather.name}",
        err=True,
    )
    tell_compiling()


def tell_compiling() -> None:
    """Say on stderr that the day loop has to be compiled first, when it has."""
    from drysward.compiled import is_warm

    if not is_warm():
        say(
            "Compiling the day loop: needed once after installing, later runs start at once.",
            err=True,
        )


def units_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--units",
        type=click.Choice(["us", "metric"]),
        default="us",
        show_default=True,
        help="Units of what is shown and of the CSV files.",
    )(command)


def weather_options(command: Callable[..., None]) -> Callable[..., None]:
    """What replaces the scenario's own settings of the weather; see ``open_scenario``."""
    options = (
        click.option("--weather", help="Weather file in place of the scenario's."),
        click.option(
            "--fill",
            metavar="RULES",
            help="How blank days of the file are filled, in the words of a scenario: "
            "rain=zero,temperature=interpolate,longest=10",
        ),
        click.option("--record-years", metavar="A-B", help="Read only these years of the file."),
        click.option(
            "--source",
            type=click.Choice(["record", "generator", "resample"]),
            help="The record as it is, years made by the generator, or the record's years drawn.",
        ),
        click.option("--future", help="Key of the changed climate to run under; 'none' for none."),
        click.option("--seed", type=click.IntRange(0, 2**63 - 1), help="Seed of simulated years."),
    )
    for option in reversed(options):
        command = option(command)
    return command


def settings(**options: object) -> str:
    """Options of ``weather_options`` that were given, as they are typed; empty when none was."""
    given = {name: value for name, value in options.items() if value is not None}
    return shlex.join(
        part for name, v in given.items() for part in (f"--{name.replace('_', '-')}", str(v))
    )


def open_scenario(
    name: str,
    weather: str | None = None,
    source: str | None = None,
    future: str | None = None,
    seed: int | None = None,
    simulated_years: int | None = None,
    fill: str | None = None,
    record_years: str | None = None,
) -> Scenario:
    """The scenario file ``name``, or the shipped scenario of that name when there is no such file;
    ``-`` reads it from standard input, and looks for its files in the working folder.

    What is not None takes the place of the scenario's setting; a weather file is read as the
    scenario says. FaultyInput as ``drysward.load``, and when the settings do not go together.
    """
    import drysward
    from drysward.inputs import toml_of_bytes
    from drysward.scenario.load import shipped_names, with_weather

    # A bare word that is no file here is looked for among the scenarios that ship.
    ships = not os.path.exists(name) and name in shipped_names()
    scenario: Scenario
    if name == STDIN:
        scenario = drysward.loads(toml_of_bytes(_from_stdin(), _STDIN_TEXT), Path(), _STDIN_TEXT)
    else:
        scenario = drysward.shipped(name) if ships else drysward.load(Path(name))
    return with_weather(
        scenario, weather, source, future, seed, simulated_years, _rule(fill),
        None if record_years is None else Years().convert(record_years, None, None),
    )  # fmt: skip


_STDIN_TEXT = "standard input"


def _from_stdin() -> bytes:
    """What stands on standard input, and no more than a refusal needs."""
    from drysward.inputs import MOST_TOML_BYTES

    return sys.stdin.buffer.read(MOST_TOML_BYTES + 1)


def force_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--force",
        is_flag=True,
        help="Replace files that drysward has no record of writing; never one that is read.",
    )(command)


def files_of_scenario(name: str, scenario: Scenario) -> tuple[Path, ...]:
    """The files that ``open_scenario`` read; one that is not there harms nothing."""
    weather = scenario.weather.file
    named = (Path(name), scenario.folder / f"{name}.toml")
    return named if weather is None else (*named, weather)


def tell_written(paths: Iterable[Path]) -> None:
    for path in paths:
        leads = path.is_symlink() and path.is_file()
        say(f"Wrote {path}" + (f", a link to {path.resolve()}" if leads else ""), err=True)


def _rule(fill: str | None) -> FillRule | None:
    """The rule that ``--fill`` writes."""
    if fill is None:
        return None
    from drysward.weather.file.fill import from_option

    try:
        return from_option(fill)
    except ValueError as error:
        told = f"--fill: {error}; as rain=zero,temperature=interpolate,longest=10"
        raise click.UsageError(told) from None
