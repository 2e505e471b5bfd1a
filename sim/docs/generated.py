"""Pages that are written from the program: keys of a scenario, catalog, equations, API."""

from __future__ import annotations

import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import drysward
from drysward import physics
from drysward.catalog import Catalog, load_catalog
from drysward.compiled import equations
from drysward.scenario.keys import Key, keys

_TABLES = {
    "site": "Site",
    "weather": "Weather",
    "fields": "Fields",
    "plans": "Plans",
    "supply": "Supply",
    "costs": "Costs",
    "sizing": "Sizing",
    "answers": "Answers",
    "doubt": "Draws",
}
_KINDS = {
    "species": "Species",
    "kc_season": "Crop coefficient by season",
    "soils": "Soils",
    "soil_errors": "Errors of soil water from texture",
    "compaction": "Compaction",
    "root_zones": "Root zones",
    "delivery": "Irrigation systems",
    "system_design": "Usual design of a system",
    "losses": "Losses of spray",
    "curve_numbers": "Curve numbers",
    "intake": "Intake of the ground",
    "turf_processes": "Processes of all turf",
    "supply": "Supply",
    "play": "Play",
    "feeding": "Feeding",
    "generated_weather": "Simulated weather",
    "forecasts": "Short forecasts",
    "readings": "Errors of readings",
}


def write_pages(folder: Path) -> None:
    """Write every page into ``folder``; one that has not changed is left alone."""
    folder.mkdir(exist_ok=True)
    pages = {
        "scenario_keys.md": scenario_keys(),
        "catalog.md": catalog_page(load_catalog()),
        "vocabulary.md": vocabulary(load_catalog()),
        "equations.rst": equation_page(),
        "api.rst": api(),
    }
    for name, lines in pages.items():
        text = "\n".join(lines) + "\n"
        path = folder / name
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def scenario_keys() -> Iterator[str]:
    """Every key of a scenario file, by table."""
    yield "# Keys of a scenario\n"
    yield "Written from the schema that reads the file. `KEY` is a name of your own, and `[]` an"
    yield "item of a list. Bold keys are needed. Most numbers of fields, plans and supply also"
    yield "take a range, such as `\"12 in (10 to 14 in)\"`: see [Draws](../uncertainty.md)."
    for top, title in _TABLES.items():
        yield f"\n## {title}\n"
        here = [key for key in keys() if key.name.split(".")[0] == top]
        yield from _table(("key", "what to write", "default", "meaning"), map(_key_row, here))
    yield "\n## Top level\n"
    here = [key for key in keys() if key.name.split(".")[0] not in _TABLES]
    yield from _table(("key", "what to write", "default", "meaning"), map(_key_row, here))


def _key_row(key: Key) -> tuple[str, ...]:
    name = f"**`{key.name}`**" if key.needed else f"`{key.name}`"
    return name, str(key.check), key.default, key.meaning


def catalog_page(catalog: Catalog) -> Iterator[str]:
    """Every number of the catalog with its range, source and grade."""
    yield "# Catalog\n"
    yield "Every number with its range, unit, grade and source, written from `configs/`. It is also"
    yield "printed by `drysward catalog NAME`. Any number can be set in a scenario under"
    yield "`[overrides]`, as `\"species.tall_fescue.wilt_ks\" = 0.30`."
    for kind, entries in catalog.entries.items():
        yield f"\n## {_KINDS[kind]}\n"
        for key, entry in entries.items():
            label = f": {entry.label}" if entry.label and entry.label != key else ""
            yield f"\n### `{kind}.{key}`{label}\n"
            words = ", ".join(f"{name} {word}" for name, word in entry.words.items())
            if words or entry.note:
                yield f"{entry.note}{'. ' if entry.note and words else ''}{words}\n"
            rows = (
                (
                    f"`{name}`", f"{one.value:g}", f"{one.low:g} to {one.high:g}", one.unit,
                    one.grade, ", ".join(one.source),
                )
                for name, one in entry.numbers.items()
            )  # fmt: skip
            yield from _table(("number", "value", "range", "unit", "grade", "source"), rows)
    yield "\n## Sources\n"
    yield from _table(("key", "source"), ((f"`{k}`", v) for k, v in catalog.sources.items()))


def vocabulary(catalog: Catalog) -> Iterator[str]:
    """Every quantity by name: unit, range, meaning."""
    yield "# Names and units\n"
    yield "Every quantity of results and every parameter, written from `configs/vocabulary.toml`."
    for title, terms in (
        ("Variables of results", {**catalog.quantities, **catalog.derived}),
        ("Parameters", catalog.meanings),
    ):
        yield f"\n## {title}\n"
        rows = (
            (f"`{key}`", term.units, f"{term.low:g} to {term.high:g}", term.meaning)
            for key, term in terms.items()
        )
        yield from _table(("name", "unit", "range", "meaning"), rows)


def equation_page() -> Iterator[str]:
    """Every equation of the physics: what it gives, its source, and the code that runs."""
    yield from _heading("Equations", "=")
    yield "Every equation stands once, in ``sim/drysward/physics``, as a function of numbers. This"
    yield "page is written from these functions: what is printed here is what runs.\n"
    for found in pkgutil.iter_modules(physics.__path__):
        module = import_module(f"drysward.physics.{found.name}")
        here = [one for one in equations() if one.__module__ == module.__name__]
        if not here or found.name == "arithmetic":
            continue
        first, _, more = inspect.cleandoc(module.__doc__ or found.name).partition("\n")
        yield from _heading(first.rstrip("."), "-")
        if more.strip():
            yield f"{more.strip()}\n"
        for one in sorted(here, key=lambda function: function.__code__.co_firstlineno):
            yield from _equation(one)


def _equation(function: Callable[..., Any]) -> Iterator[str]:
    yield from _heading(function.__name__.replace("_", " "), "~")
    yield from _docstring(inspect.cleandoc(function.__doc__ or ""))
    yield "\n.. code-block:: python\n"
    source = inspect.getsource(function)
    body = re.sub(r'^    """.*?"""\n', "", source, count=1, flags=re.MULTILINE | re.DOTALL)
    lines = [line for line in body.splitlines() if not line.startswith("@")]
    yield from (f"    {line}".rstrip() for line in lines)
    yield ""


def _docstring(text: str) -> Iterator[str]:
    """A docstring as reStructuredText, with the items of its sections as lists."""
    lines = [*text.splitlines(), ""]
    within = False
    for line, following in zip(lines, [*lines[1:], ""], strict=True):
        if re.fullmatch("-{3,}", following):
            within = True
            yield f"**{line}**\n"
        elif re.fullmatch("-{3,}", line):
            continue
        elif within and line and not line.startswith(" "):
            name, colon, meaning = line.partition(" : ")
            within = bool(colon)
            yield f"- ``{name}``: {meaning}" if colon else line
        elif within and line:
            yield f"  {line.strip()}"
        else:
            yield line


def api() -> Iterator[str]:
    """The public functions."""
    yield from _heading("Functions", "=")
    yield f"{inspect.cleandoc(drysward.__doc__ or '')}\n"
    for name in drysward.__all__:
        if not name.startswith("_"):
            kind = "class" if inspect.isclass(getattr(drysward, name)) else "function"
            yield f".. auto{kind}:: drysward.{name}\n"


def _heading(text: str, line: str) -> Iterator[str]:
    yield f"\n{text}\n{line * len(text)}\n"


def _table(head: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> Iterator[str]:
    yield f"| {' | '.join(head)} |"
    yield f"| {' | '.join('---' for _ in head)} |"
    for row in rows:
        yield f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in row)} |"
