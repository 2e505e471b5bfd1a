"""One page that stands alone: a result through a template, with every chart inside it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from multiprocessing.context import BaseContext
from typing import NamedTuple

import xarray as xr

from drysward import __version__
from drysward.pages import style, words
from drysward.pages.drawing import Request, charts
from drysward.pages.gallery import Chart, Choice, Picture, fitting
from drysward.pages.result import kind_of, plain
from drysward.pages.tables import tables
from drysward.results.scenario_values import in_units, name_without_unit
from drysward.results.text import findings_of, holds_dry_years, without_rare_years
from drysward.scenario.resolved import Row

TEMPLATE = "page.html.j2"
SCRIPT = "page.js"


@dataclass(frozen=True)
class Figure:
    """A chart of a page: its main panels, and more that are folded away."""

    name: str
    title: str
    caption: str
    is_open: bool
    main: Chart
    more: Chart | None
    more_title: str


def page(
    result: xr.Dataset,
    units: str = "us",
    processes: BaseContext | None = None,
    workers: int = 1,
) -> str:
    """The page of a result, as HTML that needs nothing else.

    Parameters
    ----------
    result : Dataset of ``open_result``.
    units : "us" or "metric".
    processes : starts the ``workers`` that draw; all is drawn in this process when None.

    Charts that the result cannot give are named, with what they lack.
    """
    # Here, since a picture needs no page.
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    loader = PackageLoader("drysward.pages", ".")
    environment = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # SVG is drawn by our own code from parsed XML, in which all names are escaped text.
    environment.filters["drawn"] = Markup
    result = without_rare_years(result)
    found, lacking = _figures(result, units, processes, workers)
    attrs = {name: plain(str(value)) for name, value in result.attrs.items()}
    return environment.get_template(TEMPLATE).render(
        title=attrs.get("title", "A result"),
        site=attrs.get("site", ""),
        kind=kind_of(result),
        findings=[plain(sentence) for sentence in findings_of(result.attrs)],
        answer=words.answer(result, units),
        tables=tables(result, units),
        sizing=words.sizing_notes(result, units),
        figures=found,
        lacking=lacking,
        assumed=[(name, plain(text)) for name, text in words.assumed(result, units)],
        values=_values(result, units),
        sources=json.loads(result.attrs.get("sources", "{}")),
        cautions=words.cautions(result),
        attrs=attrs,
        texts=[
            (name, str(result.attrs[key]))
            for name, key in (("Sweep file", "sweep"), ("Scenario file", "scenario"))
            if result.attrs.get(key)
        ],
        script=Markup(loader.get_source(environment, SCRIPT)[0]),
        version=__version__,
        colors=[(style.variable_name(c), c, dark) for c, dark in style.DARK.items()],
        ink=style.variable_name(style.INK),
        muted=style.variable_name(style.MUTED),
        rule=style.variable_name(style.RULE),
        paper=style.variable_name(style.PAPER),
        accent=style.variable_name(style.LINES[0]),
        alert=style.variable_name(style.STAGES["wilt"]),
    )


def _figures(
    result: xr.Dataset, units: str, processes: BaseContext | None, workers: int
) -> tuple[list[Figure], list[tuple[str, str, str]]]:
    """The charts of a page; and of those that cannot be drawn their titles, with what they lack or
    what the scenario must state.
    """
    planned: list[tuple[Picture, list[Request]]] = []
    lacking: list[tuple[str, str, str]] = []
    for picture in fitting(result):
        if picture.name == "demand" and not holds_dry_years(result):
            continue
        if lacks := picture.lacks(result):
            lacking.append((picture.title, "" if picture.mend else ", ".join(lacks), picture.mend))
            continue
        parts = (picture.main_panels(result), picture.more_panels(result))
        requests = [Request(picture.name, part, _key(picture, part)) for part in parts if part]
        if requests:
            planned.append((picture, requests))
    everything = [request for _, requests in planned for request in requests]
    drawn = dict(
        zip(
            (one.key for one in everything),
            charts(result, units, everything, processes, workers),
            strict=True,
        )
    )
    figures = [
        Figure(
            picture.name,
            picture.title,
            picture.caption,
            picture.is_open,
            drawn[requests[0].key],
            drawn[requests[1].key] if len(requests) > 1 else None,
            picture.more_title,
        )
        for picture, requests in planned
    ]
    return figures, lacking


def _key(picture: Picture, panels: Sequence[Choice]) -> str:
    text = repr((picture.name, [sorted(choice.items()) for choice in panels]))
    return f"{picture.name}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"


class Value(NamedTuple):
    """One value that the result rests on; ``held`` is what the file holds, with its unit."""

    name: str
    value: str
    unit: str
    range: str
    grade: str
    source: str
    held: str


_KEPT = {one.name for one in fields(Row)}


def _values(result: xr.Dataset, units: str) -> list[tuple[str, list[Value]]]:
    """Every value by the first part of its key; empty when the file does not hold them."""
    groups: dict[str, list[Value]] = {}
    for kept in json.loads(result.attrs.get("resolved", "[]")):
        # Files of other versions have more, or fewer, parts.
        row = Row(**{key: part for key, part in kept.items() if key in _KEPT})
        name, _, rest = row.key.partition(".")
        if rest.count("."):
            second, _, rest = rest.partition(".")
            name = f"{name}: {second}"
        held = f"{row.value} {row.unit}".strip()
        rest = name_without_unit(rest or name, row.unit).replace(".", ": ")
        shown = in_units(row, units)
        groups.setdefault(name.replace("_", " "), []).append(
            Value(rest, str(shown.value), shown.unit, shown.range, row.grade, row.source, held)
        )
    return list(groups.items())
