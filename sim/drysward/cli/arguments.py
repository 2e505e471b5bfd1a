"""Options that several commands share: scenario, weather, units, years, draws, format."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drysward.screen.visible import say

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario
    from drysward.weather.file.fill import FillRule

DEMO = "demo"
"""Name of the scenario that runs where none is named."""


class Years(click.ParamType):
    """First and last year: ``2011-2018``, ``2012``, or ``1-50`` of simulated years."""

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
        help="Count only the years from A to B; simulated years are numbered from 1.",
    )(command)


def _draws(context: click.Context, option: click.Parameter, value: int | None) -> int | None:
    """The number of draws: None, 0, or enough for a spread."""
    if not value:
        return value
    from drysward.scenario.model import FEWEST_DRAWS, MOST_DRAWS

    if not FEWEST_DRAWS <= value <= MOST_DRAWS:
        raise click.BadParameter(
            f"{value} cannot be run; allowed: 0 for none, or {FEWEST_DRAWS} to {MOST_DRAWS}, such "
            "as --draws 64",
            context,
            option,
        )
    return value


def draws_option(what: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """``--draws``, None where scenario and program choose; ``what``: what draws are for."""
    return click.option(
        "--draws",
        type=int,
        callback=_draws,
        help=f"{what} 0 for none. Default: [doubt] draws of the scenario, or as many as keep the "
        "run short.",
    )


def announce(scenario: Scenario, years: tuple[int, int] | None) -> None:
    """Say on stderr what will run, after a weather file that cannot be used is refused, and
    whether the day loop must be compiled first.
    """
    from drysward.results.text import count_text
    from drysward.site.stretches import require_weather

    require_weather(scenario, years)
    span = "every complete year" if years is None else f"the years {years[0]} to {years[1]}"
    say(
        f"{scenario.title}: {count_text(len(scenario.plans), 'plan')} on "
        f"{count_text(len(scenario.fields), 'field')} over {span} of {scenario.weather.name}",
        err=True,
    )
    announce_compiling()


def announce_compiling() -> None:
    """Say on stderr that the day loop must be compiled first, where it must."""
    from drysward.compiled import is_warm

    if not is_warm():
        say(
            "Compiling the day loop (once after installing, up to a minute; later runs start at "
            "once).",
            err=True,
        )


def units_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--units",
        type=click.Choice(["us", "metric"]),
        default="us",
        show_default=True,
        help="Units on the screen and in CSV files.",
    )(command)


def format_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--format",
        "form",
        type=click.Choice(["text", "json", "csv", "markdown"]),
        default="text",
        show_default=True,
        help="Text for a reader; JSON and CSV with plain numbers and units; Markdown tables.",
    )(command)


def weather_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options that replace the scenario's weather settings; see ``open_scenario``."""
    options = (
        click.option("--weather", help="Weather file to use instead of the scenario's."),
        click.option(
            "--fill",
            metavar="RULES",
            help="Fill blank days of the file, as in a scenario: "
            "rain=zero,temperature=interpolate,longest=10",
        ),
        click.option("--record-years", metavar="A-B", help="Read only these years of the file."),
        click.option(
            "--source",
            type=click.Choice(["record", "generator", "resample"]),
            help="Recorded years, simulated years, or recorded years resampled.",
        ),
        click.option(
            "--future", help="Key of a changed climate from the scenario; 'none' for today's."
        ),
        click.option("--seed", type=click.IntRange(0, 2**63 - 1), help="Seed of simulated years."),
    )
    for option in reversed(options):
        command = option(command)
    return command


def settings(**options: object) -> str:
    """The ``weather_options`` of this command as typed; empty when none was typed."""
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
    """The scenario file ``name``, or the shipped scenario of that name when there is no such file.

    An option that is not None replaces the scenario's setting; a weather file is read as the
    scenario says. FaultyInput as ``drysward.load``, and where settings contradict each other.
    """
    import drysward
    from drysward.scenario.load import shipped_names, with_weather

    # A word that is no file here may be the name of a scenario that ships.
    ships = not os.path.exists(name) and name in shipped_names()
    scenario: Scenario = drysward.shipped(name) if ships else drysward.load(Path(name))
    return with_weather(
        scenario, weather, source, future, seed, simulated_years, _rule(fill),
        None if record_years is None else Years().convert(record_years, None, None),
    )  # fmt: skip


def force_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--force",
        is_flag=True,
        help="Replace files that drysward has no record of writing; never an input.",
    )(command)


def files_of_scenario(name: str, scenario: Scenario) -> tuple[Path, ...]:
    """The files that ``open_scenario`` read; some may not exist."""
    weather = scenario.weather.file
    named = (Path(name), scenario.folder / f"{name}.toml")
    return named if weather is None else (*named, weather)


def announce_written(paths: Iterable[Path]) -> None:
    """Say on stderr which files were written."""
    for path in paths:
        leads = path.is_symlink() and path.is_file()
        say(f"Wrote {path}" + (f", a link to {path.resolve()}" if leads else ""), err=True)


def _rule(fill: str | None) -> FillRule | None:
    """The rule that ``--fill`` states."""
    if fill is None:
        return None
    from drysward.weather.file.fill import from_option

    try:
        return from_option(fill)
    except ValueError as error:
        text = f"--fill: {error}; such as rain=zero,temperature=interpolate,longest=10"
        raise click.UsageError(text) from None
