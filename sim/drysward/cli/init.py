"""``drysward init``: a new scenario file, from questions at a terminal or from options."""

from __future__ import annotations

import os
import shlex
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drysward.cli.arguments import STDIN, columns_options, fill_rule
from drysward.screen.visible import say

if TYPE_CHECKING:
    from drysward.scenario.starter import NewField, NewScenario


@click.command()
@click.argument("file")
@click.option("--name", help="Name of the place.")
@click.option(
    "--units",
    type=click.Choice(["us", "metric"]),
    help="Units of what the scenario states, of its answers and of the questions.  [default: us]",
)
@click.option("--latitude", metavar="DEGREES", help="Latitude, such as 40.3 or '40.3 N'.")
@click.option("--elevation", metavar="HEIGHT", help="Height above the sea, such as '460 ft'.")
@click.option("--weather", type=click.Path(path_type=Path), help="Weather file, a row a day.")
@click.option(
    "--years",
    type=click.IntRange(1),
    help="Years to simulate from the weather file, which then needs 5 years or more.  "
    "[default: the years of the file; 200 from normals]",
)
@click.option(
    "--fill",
    metavar="RULES",
    help="How the scenario fills blank days of the weather file: "
    "rain=zero,temperature=interpolate,longest=10.  [default: what they need]",
)
@columns_options
@click.option(
    "--normal",
    "normals",
    multiple=True,
    metavar="'KEY UNIT JAN ... DEC'",
    help="Twelve monthly normals in place of a weather file; repeat for rain, wet_days (without a "
    "unit: days of a month with 0.01 in, or 0.25 mm, and more), tmax and tmin, and for dewpoint, "
    "solar or wind if known. Wind needs --wind-height.",
)
@click.option(
    "--field",
    "fields",
    multiple=True,
    metavar="'NAME, AREA, ...'",
    help="A field, such as 'Stadium, 2 acre, kentucky_bluegrass, sand_over_gravel_12in, "
    "in_ground_rotors'; repeatable.",
)
@click.option(
    "--plan",
    "plans",
    multiple=True,
    metavar="'NAME, RULE, ...'",
    help="A plan, such as 'Refill at half, refill, trigger 0.5' or 'Twice a week, fixed, depth "
    "0.5 in, days Tue Fri'; repeatable.  [default: four common plans]",
)
@click.option(
    "--supply",
    is_flag=True,
    help="Put the fields on a pond that a well fills, with a goal for 'drysward supply'; these "
    "lines are comments otherwise.",
)
@click.option(
    "--ask/--no-ask",
    "prompting",
    default=None,
    help="Ask for the rest.  [default: at a terminal, unless --field is given]",
)
def command(
    file: str,
    name: str | None,
    units: str | None,
    latitude: str | None,
    elevation: str | None,
    weather: Path | None,
    years: int | None,
    fill: str | None,
    columns: str | None,
    wind_height: float | None,
    normals: tuple[str, ...],
    fields: tuple[str, ...],
    plans: tuple[str, ...],
    supply: bool,
    prompting: bool | None,
) -> None:
    """Write a commented scenario that runs as it stands.

    FILE is the scenario file to write, such as my-fields.toml, or - for the screen. A file that is
    there is never replaced. What no option says is prompted for at a terminal, unless --field is
    given, and is a common value elsewhere. Without weather the file has the normals of an invented
    town, to be replaced.
    """
    from drysward.files import write_whole
    from drysward.scenario.starter import (
        NewScenario,
        missing_normals,
        read_field,
        read_normal,
        read_plan,
    )
    from drysward.scenario.weather_tables import bare_table, columns_of

    if file != STDIN:
        _require_free(Path(file))
    if weather is not None and normals:
        raise click.UsageError("--weather and --normal exclude each other")
    stated_normals = dict(read_normal(one) for one in normals)
    if "wind" in stated_normals and wind_height is None:
        lacking = missing_normals(stated_normals)
        also = f"; {', '.join(lacking)} are missing too" if lacking else ""
        raise click.UsageError(
            f"--normal 'wind ...' needs --wind-height HEIGHT, such as '10 m'{also}"
        )
    if weather is None and not prompting:
        for option, stated in (("--columns", columns), ("--fill", fill)):
            if stated is not None:
                raise click.UsageError(f"{option} needs --weather FILE")
        if wind_height is not None and "wind" not in stated_normals:
            raise click.UsageError(
                "--wind-height needs --weather FILE, or --normal 'wind UNIT JAN ... DEC'"
            )
    said: dict[str, Any] = {
        "name": name,
        "units": units,
        "latitude": None if latitude is None else _degrees(latitude),
        "elevation": elevation,
        "years": years,
        "fill": _fill_line(fill),
        "columns": None if columns is None or not columns_of(columns) else bare_table(columns),
        "wind_height": None if wind_height is None else f"{wind_height:g} m",
        "stated_normals": stated_normals or None,
        "field_list": [read_field(one) for one in fields] or None,
        "plan_list": [read_plan(one) for one in plans] or None,
        "has_supply": supply,
    }
    folder = Path() if file == STDIN else Path(file).parent
    new = NewScenario(**{key: value for key, value in said.items() if value is not None})
    if prompting is None:
        # Who states the fields has all that a file needs.
        prompting = sys.stdin.isatty() and not fields
    if prompting:
        new, weather = _prompted(new, said, weather)
    else:
        _require_place(said, weather)
    if weather is not None:
        new = replace(new, weather_file=os.path.relpath(weather, folder or "."))
    _require_normals(new)
    text = _checked(new, file, folder)
    if file == STDIN:
        say(text.rstrip("\n"))
        return
    write_whole({Path(file): lambda part: part.write_text(text, encoding="utf-8")})
    shown = shlex.quote(file)
    say(f"Wrote {file}: {_counts(new)}.")
    for sentence in _notes_on_weather(text, file, folder):
        say(sentence)
    say(f"Next: drysward {'supply' if supply else 'compare'} {shown}")


def _fill_line(fill: str | None) -> str | None:
    """The rule that ``--fill`` states, as a scenario has it."""
    from drysward.weather.file.fill import as_toml

    rule = fill_rule(fill)
    return None if rule is None else as_toml(rule)


def _counts(new: NewScenario) -> str:
    from drysward.results.text import count_text

    return f"{count_text(len(new.field_list), 'field')}, {count_text(len(new.plan_list), 'plan')}"


def _require_free(path: Path) -> None:
    """FaultyInput unless a new file can be written at ``path``."""
    from drysward.faults import Fault, FaultyInput
    from drysward.files import claim_folder, ending_of

    ending_of(path, (".toml",))
    if os.path.lexists(path):
        raise FaultyInput(Fault(str(path), "is there already", "name another file, or move it"))
    claim_folder(path.parent, make=False)


def _degrees(text: str) -> str:
    """``40.3`` as ``40.3 deg``; what has a unit already is left to the reader of scenarios."""
    try:
        return f"{float(text):g} deg"
    except ValueError:
        return text


def _require_place(said: dict[str, Any], weather: Path | None) -> None:
    """Weather of a real place is checked against that place, and needs it for reference ET."""
    missing = [f"--{key}" for key in ("latitude", "elevation") if said[key] is None]
    if missing and (weather is not None or said["stated_normals"] is not None):
        option = "--weather" if weather is not None else "--normal"
        raise click.UsageError(f"{option} needs {' and '.join(missing)} of the place")


def _require_normals(new: NewScenario) -> None:
    from drysward.faults import Fault, FaultyInput
    from drysward.scenario.starter import missing_normals, normal_form

    missing = missing_normals(new.normals)
    if missing and not new.weather_file:
        mend = "; ".join(f"--normal '{normal_form(name)}'" for name in missing)
        if "wet_days" in missing:
            mend += ". A wet day has 0.01 in (0.25 mm) of rain or more, as stations count them"
        raise FaultyInput(Fault("--normal", f"{', '.join(missing)} are missing", mend))


def _checked(new: NewScenario, file: str, folder: Path) -> str:
    """The text of the scenario, read back; blanks of its weather file get the rule that fills them.

    FaultyInput when the scenario, or its weather, cannot be run.
    """
    from drysward.faults import FaultyInput
    from drysward.scenario.load import loads
    from drysward.scenario.starter import scenario_text
    from drysward.site.stretches import require_weather
    from drysward.site.weather_years import filling_rule
    from drysward.weather.file.fill import as_toml

    text = scenario_text(new, file)
    scenario = loads(text, folder, file)
    try:
        require_weather(scenario)
    except FaultyInput:
        rule = filling_rule(scenario)
        if rule is None:
            raise
        say(f"The weather file has blanks. The scenario fills them: {as_toml(rule)}", err=True)
        return _checked(replace(new, fill=as_toml(rule)), file, folder)
    return text


def _notes_on_weather(text: str, file: str, folder: Path) -> list[str]:
    """What is odd about the weather of the new scenario, and whether its years are few."""
    from drysward.results.text import as_sentences, short_record_text
    from drysward.scenario.load import loads
    from drysward.site.weather_years import weather_series

    series = weather_series(loads(text, folder, file))
    out = as_sentences(series.findings)
    if series.file is not None:
        attrs = {"weather_kind": series.kind, "n_years": series.file.complete_years}
        out += [short] if (short := short_record_text(attrs)) else []
    return out


# --- questions --------------------------------------------------------------------------------


def _prompted(
    new: NewScenario, said: dict[str, Any], weather: Path | None
) -> tuple[NewScenario, Path | None]:
    """``new`` with answers for what no option said; a refused answer is prompted for again."""
    from drysward.scenario.starter import NEEDED_NORMALS, USUAL, NewScenario, read_normal

    say("Enter keeps what stands in brackets. Ctrl-C stops; nothing is written.")
    if said["units"] is None:
        units = click.prompt("Units", "us", type=click.Choice([*USUAL]))
        # What was the usual of other units becomes that of these.
        stated = {key: value for key, value in said.items() if value is not None}
        new = NewScenario(**{**stated, "units": units})
    usual = NewScenario(units=new.units)
    site = {
        key: said[key] for key in ("name", "latitude", "elevation")
    }
    while True:
        answers: dict[str, Any] = {
            "name": site["name"] or click.prompt("Name of the place", usual.name),
            "latitude": site["latitude"]
            or _degrees(click.prompt("Latitude in degrees, north positive", usual.latitude)),
            "elevation": site["elevation"]
            or click.prompt("Height above sea level, with its unit", usual.elevation),
        }
        if _passes(replace(usual, **answers)):
            new = replace(new, **answers)
            break
        if None not in site.values():
            break  # the whole file is checked once more, and refused
    if weather is None and said["stated_normals"] is None:
        weather, columns = _weather_file(new)
        new = replace(new, columns=columns)
        if weather is None and _confirmed("Type your monthly normals now?", default=False):
            typed = [_normal(name, read_normal) for name in NEEDED_NORMALS]
            new = replace(new, stated_normals=dict(typed))
    if said["field_list"] is None:
        new = replace(new, field_list=_fields(new.units))
    if said["plan_list"] is None:
        plans = new.plan_list
        chosen = [one for one in plans if _confirmed(f"Plan: {one.label}?", default=True)]
        new = replace(new, plan_list=chosen or plans)
    return new, weather


def _confirmed(question: str, default: bool) -> bool:
    """The answer to a question of yes or no; any other answer is refused with what to write."""

    def read(typed: str) -> bool:
        answer = typed.strip().lower()
        if answer not in ("y", "yes", "n", "no"):
            raise click.UsageError("write y or n")
        return answer.startswith("y")

    shown = f"{question} [{'Y/n' if default else 'y/N'}]"
    return bool(
        click.prompt(shown, "y" if default else "n", show_default=False, value_proc=read)
    )


def _weather_file(new: NewScenario) -> tuple[Path | None, str]:
    """A weather file whose columns can be read, and the line that declares them; None for none."""
    from drysward.scenario.weather_tables import bare_table

    while named := click.prompt("Weather file (Enter for none)", "", show_default=False):
        path, columns = Path(named), new.columns
        if not path.is_file():
            say(f"There is no file {named} in {Path.cwd()}", err=True)
            continue
        while refused := _columns_refused(path, columns, new.wind_height):
            say(refused, err=True)
            columns = click.prompt(
                "columns = (paste that line; Enter for another file)", "", show_default=False
            )
            if not columns:
                break
        else:
            return path, bare_table(columns)
    return None, ""


def _columns_refused(path: Path, columns: str, wind_height: str) -> str:
    """The faults of a weather file's header under declared columns; "" for none."""
    from drysward.faults import FaultyInput
    from drysward.scenario.weather_tables import columns_of
    from drysward.weather.file.read import read_table

    height_m = float(wind_height.removesuffix(" m")) if wind_height else None
    try:
        found = read_table(path, columns_of(columns) if columns else None, height_m)
    except FaultyInput as refusal:
        return str(refusal)
    return "\n".join(map(str, found.header_faults))


def _normal(name: str, read: Any) -> tuple[str, str]:
    from drysward.faults import FaultyInput
    from drysward.scenario.starter import note

    say(note(f"weather.climate.{name}"))
    example = "10 9 10 11 11 10 9 9 8 8 9 10" if name == "wet_days" else "in 3.1 2.8 ..."
    while True:
        try:
            pair: tuple[str, str] = read(f"{name} {click.prompt(f'{name}, as: {example}')}")
            return pair
        except FaultyInput as refusal:
            say(str(refusal), err=True)


def _fields(units: str) -> list[NewField]:
    from drysward.catalog import load_catalog
    from drysward.scenario.starter import PARTS, NewField, NewScenario, catalog_name

    found: list[NewField] = []
    usual = NewScenario(units=units).field_list[0]
    while not found or _confirmed("Another field?", default=False):
        while True:
            answers = {
                "label": click.prompt("Field: name", usual.label),
                "area": click.prompt("Field: area, with its unit", usual.area),
            }
            for kind, key in PARTS.items():
                say(f"  {', '.join(load_catalog().entries[kind])}")
                answers[key] = catalog_name(
                    click.prompt(f"Field: {key.replace('_', ' ')}", getattr(usual, key))
                )
            new_field = NewField(**answers)
            if _passes(NewScenario(field_list=[new_field])):
                found.append(new_field)
                break
    return found


def _passes(new: NewScenario) -> bool:
    """Whether a scenario can be read; its faults are said."""
    from drysward.faults import FaultyInput
    from drysward.scenario.load import loads
    from drysward.scenario.starter import scenario_text

    try:
        loads(scenario_text(new, "answer"), ".", "answer")
    except FaultyInput as refusal:
        say(str(refusal), err=True)
        return False
    return True
