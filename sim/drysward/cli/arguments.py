"""Options that several commands share: scenario, weather, units, years, draws, format."""

from __future__ import annotations

import os
import re
import shlex
import sys
import tomllib
from collections.abc import Callable, Iterable
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from drysward.screen.visible import say

if TYPE_CHECKING:
    import xarray as xr

    from drysward.scenario.model import Scenario
    from drysward.screen.document import Part
    from drysward.weather.file.fill import FillRule

DEMO = "demo"
"""Name of the scenario that runs where none is named."""

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


class Months(click.ParamType):
    """First and last month by number: ``6-9``, ``7``, or ``11-2`` over the turn of the year."""

    name = "months"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, ...]:
        if isinstance(value, tuple):
            return value
        match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", value.strip())
        first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
        if not (1 <= first <= 12 and 1 <= last <= 12):
            self.fail(f"'{value}' is not a month or two, such as 7 or 6-9", param, ctx)
        return tuple((first - 1 + i) % 12 + 1 for i in range((last - first) % 12 + 1))


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


def device_options(command: Callable[..., None]) -> Callable[..., None]:
    """``--device`` and ``--check-device``: what runs the days."""
    check = click.option(
        "--check-device",
        type=click.IntRange(min=0),
        default=16,
        show_default=True,
        help="Plans of the first batch on a card that the processor runs too; they must be equal.",
    )
    device = click.option(
        "--device",
        metavar="cpu|gpu|auto",
        default="cpu",
        show_default=True,
        help="gpu: the graphics cards here, gpu:0,2 some of them; auto: a card where there is one "
        "and the work is large.",
    )
    return device(check(command))


def announce(scenario: Scenario, years: tuple[int, int] | None) -> None:
    """Say on stderr what will run, after a weather file that cannot be used is refused, and
    whether the day loop must be compiled first.
    """
    from drysward.results.text import count_text
    from drysward.scenario.model import RECORD
    from drysward.site.stretches import require_weather

    require_weather(scenario, years)
    weather = scenario.weather
    ends = "" if years is None else str(years[0])
    if years is not None and years[0] != years[1]:
        ends = f"{years[0]} to {years[1]}"
    kind = "year" if years is not None and years[0] == years[1] else "years"
    if weather.source == RECORD:
        span = f"the {kind} {ends}" if ends else "every complete year"
        span += f" of {weather.name}"
    else:
        span = f"simulated {kind} {ends}" if ends else f"{weather.years:,} simulated years"
        span += f" from {weather.name}"
    say(
        f"{scenario.title}: {count_text(len(scenario.plans), 'plan')} on "
        f"{count_text(len(scenario.fields), 'field')} over {span}",
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
        help="Units on the screen and in CSV files.  [default: units of the scenario, else us]",
    )(command)


def units_for(units: str | None, result: xr.Dataset) -> str:
    """Those of ``--units``, else those of the scenario of a result."""
    from drysward.results.terms import shown_in

    return units or shown_in(result)


def format_option(command: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--format",
        "form",
        type=click.Choice(["text", "json", "csv", "markdown"]),
        default="text",
        show_default=True,
        help="Text for a reader; JSON and CSV with plain numbers and units; Markdown tables.",
    )(command)


class Measured(click.ParamType):
    """A latitude in degrees, or a height in meters: a bare number, or a text with its unit."""

    def __init__(self, name: str, low: float, high: float) -> None:
        self.name, self.low, self.high = name, low, high

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            number = float(value)
        except ValueError:
            number = self._with_unit(value, param, ctx)
        if not self.low <= number <= self.high:
            unit = "degrees" if self.name == "latitude" else "m"
            allowed = f"{self.low:g} to {self.high:g} {unit}"
            self.fail(f"'{value}' is out of range; {allowed}", param, ctx)
        return number

    def _with_unit(
        self, text: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        from drysward.quantities import HEIGHT, parse
        from drysward.scenario.schema import latitude
        from drysward.scenario.values import MM_PER_M

        try:
            return latitude(text) if self.name == "latitude" else parse(text, HEIGHT) / MM_PER_M
        except ValueError as error:
            self.fail(str(error), param, ctx)


def columns_options(command: Callable[..., None]) -> Callable[..., None]:
    """Options for a weather file whose headers do not say all."""
    options = (
        click.option(
            "--columns",
            metavar="TABLE",
            help="Columns whose headers do not say quantity and unit, as the refusal of the file "
            "prints them: '{ tmax = { column = \"High\", unit = \"degF\" } }'",
        ),
        click.option(
            "--wind-height",
            type=Measured("height", 0.5, 200.0),
            metavar="HEIGHT",
            help="Height of the anemometer above ground, such as '10 m'.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


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
    typed = {name: value for name, value in options.items() if value is not None}
    return shlex.join(
        part for name, v in typed.items() for part in (f"--{name.replace('_', '-')}", str(v))
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
    without_supply: bool = False,
    plan: str | None = None,
) -> Scenario:
    """The scenario file ``name``, or the shipped scenario of that name when there is no such file;
    ``-`` reads it from standard input, and its files from the working folder.
    ``without_supply`` leaves its supply out, ``plan`` replaces the plan of its [sizing].

    An option that is not None replaces the scenario's setting; a weather file is read as the
    scenario says. FaultyInput as ``drysward.load``, and where settings contradict each other.
    """
    import drysward
    from drysward.inputs import toml_of_bytes, toml_tables
    from drysward.scenario import changed
    from drysward.scenario.load import shipped_names, with_weather

    # A word that is no file here may be the name of a scenario that ships.
    ships = not os.path.isfile(name) and name in shipped_names()
    scenario: Scenario
    if name == STDIN:
        scenario = drysward.loads(toml_of_bytes(_from_stdin(), _STDIN_TEXT), Path(), _STDIN_TEXT)
    else:
        scenario = drysward.shipped(name) if ships else drysward.load(Path(name))
    if without_supply or plan is not None:
        tree = other = toml_tables(name, scenario.text)
        if without_supply:
            other = changed.without_supply(other)
        if plan is not None:
            scenario.plan_named(plan)
            other = changed.sized_for(other, plan)
        if other != tree:
            scenario = drysward.loads(changed.toml_of(other), scenario.folder, name)
    return with_weather(
        scenario, weather, source, future, seed, simulated_years, fill_rule(fill),
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
        help="Replace files that drysward has no record of writing; never an input.",
    )(command)


def files_of_scenario(name: str, scenario: Scenario) -> tuple[Path, ...]:
    """The files that ``open_scenario`` read; some may not exist."""
    weather = scenario.weather.file
    named: tuple[Path, ...] = (Path(name), scenario.folder / f"{name}.toml")
    if scenario.fitted is not None:
        named = (*named, scenario.fitted.path)
    return named if weather is None else (*named, weather)


def write_then_show(
    write: Callable[[], Iterable[Path]] | None, parts: Iterable[Part], form: str
) -> None:
    """Write the files of an answer, if any, then print it.

    Files first, since a reader may cut the answer short; the answer even where they fail.
    """
    from drysward.screen.formats import show

    try:
        if write is not None:
            announce_written(write())
    finally:
        show(parts, form)


def announce_written(paths: Iterable[Path]) -> None:
    """Say on stderr which files were written, and which of them are of draws."""
    names = set()
    for path in paths:
        names.add(path.name)
        leads = path.is_symlink() and path.is_file()
        say(f"Wrote {path}" + (f", a link to {path.resolve()}" if leads else ""), err=True)
    if {"summary.csv", "doubt.csv"} <= names:
        say(
            "doubt.csv has the means over the draws; the other CSV files have the likely numbers.",
            err=True,
        )


def fill_rule(fill: str | None) -> FillRule | None:
    """The rule that ``--fill`` states."""
    if fill is None:
        return None
    from drysward.weather.file.fill import from_option

    try:
        return from_option(fill)
    except ValueError as error:
        text = f"--fill: {error}; such as rain=zero,temperature=interpolate,longest=10"
        raise click.UsageError(text) from None
