"""What the commands of a sweep print: its size, how far it is, what it found.

Nothing is computed here.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from drysward.progress import time_text
from drysward.quantities import any_shown, shown
from drysward.results.doubt_text import odds_with_error
from drysward.results.text import UNKNOWN, as_sentences, count_text
from drysward.screen.document import (
    Cell,
    Column,
    Heading,
    Part,
    Row,
    Table,
    Value,
    is_missing,
    notes,
    number,
    words,
)
from drysward.studies.sweep import chunk_name
from drysward.studies.sweep.axis_units import axes_in
from drysward.studies.sweep.description import GRID, STAGE_NAMES
from drysward.studies.sweep.front import WATER
from drysward.studies.sweep.points import axis_values_text

if TYPE_CHECKING:
    from drysward.studies.sweep.folder import Chunks, Manifest
    from drysward.studies.sweep.run import Forecast, Work
    from drysward.studies.sweep.search import Found, Tried

WIDEST_INDEX = 0.5
"""Limits of a Sobol index that lie farther apart say little (own choice)."""

FRONT_ROWS = 30
"""Choices of a front shown as text; the other formats have all."""


def bytes_text(n: float) -> str:
    """``12 MB``, ``3.4 GB``."""
    return f"{n / 1e9:.1f} GB" if n >= 1e9 else f"{max(round(n / 1e6), 1)} MB"


def forecast_lines(
    work: Work, done: int, left: Forecast, cores: int, cluster: str | None
) -> Iterator[str]:
    """Size, time and disk space of a sweep before it runs."""
    m = work.manifest
    drawn = f"{count_text(m.draws, 'draw')} x " if m.draws else ""
    yield (
        f"{work.design.sweep.title}: {count_text(m.points, 'point')} x {drawn}"
        f"{count_text(len(m.plans), 'plan')} x {count_text(len(m.years), 'year')} = "
        f"{count_text(m.site_years, 'site-year')} of {count_text(len(m.fields), 'field')}, in "
        f"{count_text(m.chunks, 'chunk')}"
    )
    for sentence in as_sentences(m.findings):
        yield f"Check the weather file: {sentence}"
    if done:
        chunks = "1 chunk is" if done == 1 else f"{done:,} chunks are"
        yield f"{chunks} done; {count_text(left.site_years, 'site-year')} left to run"
    disk = f"{bytes_text(left.bytes)} on the disk"
    if cluster is None:
        yield f"About {time_text(left.seconds)} on {count_text(cores, 'core')}, {disk}"
    else:
        one_core = time_text(left.seconds * cores)
        yield f"About {disk}, on the cluster at {cluster}; {one_core} of one core here"


def damaged_line(there: Chunks) -> str:
    """Which chunks are damaged."""
    return f"Damaged: {', '.join(chunk_name(chunk) for chunk in there.damaged)}"


def chunks_line(folder: Path, manifest: Manifest) -> str:
    """What a stop says of a sweep: how many chunks are done."""
    from drysward.studies.sweep.folder import chunks_there

    done = len(chunks_there(folder, manifest))
    return f"{done} of {manifest.chunks} chunks are kept in {folder}; run the same command to go on"


def status_parts(folder: Path) -> list[Part]:
    """How far the sweep in a folder is. FaultyInput when it holds none."""
    from drysward.studies.sweep.folder import look_through, read_manifest

    manifest = read_manifest(folder)
    return sweep_status(folder, manifest, look_through(folder, manifest))


def sweep_status(folder: Path, manifest: Manifest, there: Chunks) -> list[Part]:
    """How far a sweep is."""
    points = sum(len(manifest.numbers(chunk)) for chunk in there.done)
    size = sum(path.stat().st_size for path in folder.glob("chunk-*.nc"))
    columns = [
        words("what", "", whole=True), number("done", "done"), number("all", "of"),
        number("share", "share", "%", 0),
    ]  # fmt: skip
    counts = {
        "points": (points, manifest.points),
        "chunks": (len(there.done), manifest.chunks),
        "site-years": (points * manifest.site_years_of_point, manifest.site_years),
    }
    rows: list[Row] = [
        {"what": what, "done": done, "all": of, "share": 100.0 * done / of}
        for what, (done, of) in counts.items()
    ]
    lines = []
    if there.damaged:
        named = ", ".join(chunk_name(chunk) for chunk in there.damaged)
        lines.append(("Damaged", f"{named}; the command below runs them again"))
    if manifest.draws:
        drawn = count_text(len(manifest.drawn), "uncertain number")
        lines.append(("Draws", f"{manifest.draws} of {drawn} at every point"))
    lines.append(("Size", bytes_text(size)))
    if len(there.done) < manifest.chunks:
        lines.append(("Go on with", f"drysward sweep {manifest.name} --out {folder}"))
    return [
        Heading(f"{folder}: {manifest.name} over {manifest.base_name}"),
        Table("status", "", columns, rows, lead=("what",)),
        notes(lines),
    ]


def front_parts(kept: xr.Dataset, system: str, every: bool = False) -> list[Part]:
    """Choices on the front, cheapest first; as text thinned evenly unless ``every``."""
    kept = axes_in(kept, system)
    axes = json.loads(kept.attrs["axes"])
    on = f" on {kept.attrs['field']}" if kept.attrs["field"] else ""
    cost, risk = kept["cost"], kept["risk"]
    risk_name = f"{kept.attrs['risk']}{', high' if kept.attrs.get('high') else ''}"
    measured = [(kept.attrs["cost"], cost), (risk_name, risk)]
    cost_text, risk_text = (f"{name}{_of_fields(values)}" for name, values in measured)
    title = f"{kept.attrs['title']}: {cost_text} against {risk_text}{on}"
    of_plans = kept.attrs["plans"] > 1
    if not of_plans:
        title += f", plan {kept['plan'].values[0]}"
    years = int(kept.attrs["independent_years"])
    of_cost, cost_factor = _column("cost", kept.attrs["cost"], cost, system)
    of_risk, risk_factor = _column("risk", kept.attrs["risk"], risk, system)
    columns = [of_cost, of_risk]
    cells: list[Column | Cell] = [of_cost, of_risk]
    if "risk_se" in kept:
        error, _ = _column("risk_se", kept.attrs["risk"], risk, system)
        columns.append(number("risk_se", f"{error.head}, standard error", error.unit, 1))
        write = _odds_with_error(of_risk, years) if years else _with_error(of_risk)
        cells[1] = Cell(of_risk.head, ("risk", "risk_se"), write, of_risk.unit)
    present = [name for name in axes if name in kept]
    axes_of = json.loads(kept.attrs["axes_of_plans"])
    settings = [words("plan", "plan", whole=True)] if of_plans else []
    settings += [_axis_column(name, kept[name]) for name in present]
    columns += settings
    cells += settings
    n, by = kept.sizes["choice"], kept.attrs["by"]
    each = [np.arange(n)]
    if by:
        title += f", a front for each {by}"
        each = [np.flatnonzero(kept[by].values == value) for value in np.unique(kept[by].values)]
    picked = np.arange(n) if every else np.concatenate([
        here[np.unique(np.linspace(0, here.size - 1, min(here.size, FRONT_ROWS)).astype(int))]
        for here in each
    ])  # fmt: skip
    rows: list[Row] = []
    for i in picked:
        one = kept.isel(choice=int(i))
        plan = str(one["plan"].item())
        row: dict[str, Value] = {
            "cost": float(one["cost"]) * cost_factor,
            "risk": float(one["risk"]) * risk_factor,
            **({"plan": plan} if of_plans else {}),
            **{
                name: one[name].item() if name == by or name in axes_of[plan] else None
                for name in present
            },
        }
        if "risk_se" in kept:
            row["risk_se"] = float(one["risk_se"]) * risk_factor
        rows.append(row)
    some = f"; {len(rows)} shown" if n > len(rows) else ""
    choices = f"{n} of {count_text(int(kept.attrs['choices']), 'choice')}{some}"
    lines = [("On the front", choices), *_unfinished(kept)]
    if "risk_se" in kept:
        worth = f"; they are worth {years} independent years, and so are limits of none and all"
        lines.append(("±", f"standard error of the years{worth if years else ''}"))
    if kept.attrs["season"] and kept.attrs["risk"] != WATER:
        lines.append(
            (
                "Season",
                f"the plan may water from {kept.attrs['season']}; no trigger keeps turf from what "
                "dries it out before or after",
            )
        )
    lines.append(
        (
            "Caution",
            "the best of many candidates is partly luck: it is judged on the years that chose it. "
            "Try it on another seed before you rely on it",
        )
    )
    if kept.attrs.get("draws"):
        text = f"means over {kept.attrs['draws']} draws of soil, grass and delivery"
        if kept.attrs["high"]:
            text += f"; {kept.attrs['risk']} is what 95 of 100 draws stay below, not the mean"
        lines.append(("Uncertainty", text))
    elif kept.attrs["common_draws"]:
        n, share = kept.attrs["common_draws"], "draws that all choices share"
        if kept.attrs["points_done"] < kept.attrs["points"]:
            share = "draws, or those of them that are done"
        text = f"means over {n} {share}"
        lines.append(("Uncertainty", text))
    else:
        text = (
            "the likely soil, grass and system alone; [doubt] with draws = 64 in the sweep file "
            "tries others at every point"
        )
        lines.append(("Uncertainty", text))
    lines.append(("Weather", kept.attrs["weather"]))
    heads: dict[Value, str] = {}
    for column in settings:
        if column.key == by:
            heads = {row[by]: f"{by} {column.write(row[by])} {column.unit}".strip() for row in rows}
    table = Table("front", title, columns, rows, cells, by=by if heads else "", blocks=heads)
    return [table, notes(lines)]


def _unfinished(found: xr.Dataset) -> Iterator[tuple[str, str]]:
    """How many points a table rests on, where not all are done."""
    done, points = found.attrs["points_done"], found.attrs["points"]
    if done < points:
        yield (
            "Unfinished",
            f"{done:,} of {points:,} points are done; the others are not in it, and may change it",
        )


def _column(
    key: str, name: str, values: xr.DataArray, system: str
) -> tuple[Column, float]:
    """The column of a number of a sweep, and what multiplies it."""
    if name in STAGE_NAMES or name.endswith("_odds"):
        return number(key, name, "%", 1), 100.0
    unit = values.attrs.get("units", "")
    if unit == "mm":
        depth = shown("mm", system)
        return number(key, name, depth.unit, depth.decimals), depth.factor
    return number(key, name, unit if unit != "1" else "", write=_alike(values)), 1.0


def _of_fields(values: xr.DataArray) -> str:
    how = values.attrs.get("of_fields", "")
    return f" ({how})" if how else ""


def _alike(values: xr.DataArray) -> Callable[[float], str]:
    """Writes the numbers of a column with the decimals that the largest has to four figures, or
    fewer where none needs them; each to four figures where they differ more than a thousandfold.
    """
    sizes = np.abs(values.values[values.values != 0]).astype(float)
    if not sizes.size or sizes.max() > 1e3 * sizes.min():
        return lambda value: f"{value:.4g}"
    most = max(3 - math.floor(math.log10(sizes.max())), 0)
    texts = (f"{value:.{most}f}".rstrip("0") for value in sizes)
    decimals = max(len(text.partition(".")[2]) for text in texts)
    return lambda value: f"{value:.{decimals}f}"


def _odds_with_error(column: Column, years: int) -> Callable[[float, float], str]:
    """As ``_with_error``, and with the limit of none or all from so many independent years."""
    write = _with_error(column)

    def odds(value: float, error: float) -> str:
        if value in (0.0, 100.0):
            return odds_with_error(value / 100.0, 0.0, years)
        return write(value, error)

    return odds


def _with_error(column: Column) -> Callable[[float, float], str]:
    def write(value: float, error: float) -> str:
        chance = "0" if is_missing(error) else f"{error:.0f}"
        return column.write(value) + ("" if chance == "0" else f"±{chance}")

    return write


def _axis_column(name: str, values: xr.DataArray) -> Column:
    unit = values.attrs.get("units", "")
    if values.dtype.kind in "fi":
        return number(name, name, "" if unit == "1" else unit, write=_alike(values))
    return words(name, name)


def effects_parts(found: xr.Dataset, system: str) -> list[Part]:
    """What each axis accounts for, the strongest first."""
    percent = found.attrs["of"] in STAGE_NAMES
    how = any_shown(found.attrs["units"], system)
    times, unit = (100.0, "%") if percent else (how.factor, how.unit.removeprefix("1"))
    on = f", field {found.attrs['field']}" if found.attrs["field"] else ""
    what, plan = found.attrs["of"], found.attrs["plan"]
    title = f"{found.attrs['title']}: what drives {what}, plan {plan}{on}"

    def text(value: float) -> str:
        if percent or how.unit in ("in", "mm"):
            return f"{value:.{1 if percent else how.decimals}f}"
        return f"{value:.4g}"

    columns = [
        words("axis", "axis", whole=True),
        number("main", "main effect", "%", 0),
        words("low_at", "least at"),
        number("low_mean", "mean there", unit, write=text),
        words("high_at", "most at"),
        number("high_mean", "mean there", unit, write=text),
    ]
    cells: list[Column | Cell] = [*columns]
    indices = ("first", "total") if "first" in found else ()
    for name in indices:
        keys = (name, f"{name}_low", f"{name}_high")
        columns += [number(key, key.replace("_", " order, "), "", 2) for key in keys]
        cells.append(Cell(f"{name} (limits)", keys, _index))
    rows: list[Row] = []
    for i in np.argsort(-np.nan_to_num(found["total" if indices else "main"].values)):
        one = found.isel(axis=int(i))
        row: dict[str, Value] = {
            "axis": str(one["axis"].item()),
            "main": 100.0 * float(one["main"]),
            "low_at": str(one["low_at"].item()),
            "low_mean": times * float(one["low_mean"]),
            "high_at": str(one["high_at"].item()),
            "high_mean": times * float(one["high_mean"]),
        }
        for name in indices:
            row |= {key: float(one[key]) for key in (name, f"{name}_low", f"{name}_high")}
        rows.append(row)
    lines = [*_unfinished(found)]
    if found.attrs.get("draws"):
        n = found.attrs["draws"]
        text_of = f"means over {n} draws of soil, grass and delivery at every point"
        lines.append(("Uncertainty", text_of))
    in_unit = unit if percent or not unit else f" {unit}"
    mean, sd = (text(times * found.attrs[name]) for name in ("mean", "sd"))
    lines += [
        (
            "Points",
            f"{found.attrs['points_done']:,}; mean {mean}{in_unit}, standard deviation "
            f"{sd}{in_unit}",
        ),
        (
            "Main effect",
            "share of the variance between points that the axis accounts for by itself; what is "
            "missing to 100% comes from axes acting together",
        ),
    ]
    if indices:
        lines += [
            ("First", "share of the variance that goes where the axis alone is known"),
            (
                "Total",
                "that share, with all that the axis does together with others. In brackets 90% "
                "limits from the samples; an index near 0 may come out below it by chance",
            ),
        ]
        widths = [found[f"{name}_high"] - found[f"{name}_low"] for name in indices]
        widest = max(float(width.max()) for width in widths)
        if widest > WIDEST_INDEX:
            text_of = (
                f"too few: limits of an index lie up to {widest:.2f} apart. Raise samples, such as "
                f"to {4 * found.attrs['samples']}"
            )
            lines.append(("Samples", text_of))
    in_a_row = int(found.attrs["reached_days"])
    if what == "wilt" and in_a_row > 1:
        text_of = (
            f"counts from {in_a_row} days in a row, so that watering every day or two hides it: "
            "effects --of 'days below' counts each day"
        )
        lines.append(("Wilt", text_of))
    if found.attrs["runs_longer"] and what != WATER:
        lines.append(("Water", "plans run longer on uneven systems: see effects --of water"))
    return [Table("effects", title, columns, rows, cells, ("axis",)), notes(lines)]


def _index(value: float, low: float, high: float) -> str:
    if is_missing(value):
        return UNKNOWN
    # Rounded first, and less than nothing is 0.00, not -0.00.
    one, least, most = (f"{round(number, 2) + 0.0:.2f}" for number in (value, low, high))
    if is_missing(low) or is_missing(high):
        return one
    return f"{one} ({least}{' to ' if low < 0.0 else '-'}{most})"


def search_parts(found: Found, system: str) -> list[Part]:
    """The plan that a search found, and how it does on fresh years."""
    goal, depth = found.settings, shown("mm", system)
    of_days = goal.days_below is not None
    risk = f"{goal.stage} in at most {100.0 * goal.odds:g}% of years"
    if of_days:
        risk = f"at most {goal.most:g} days a year below playing condition"
    if goal.confidence is not None:
        risk += f" with {100.0 * goal.confidence:g}% confidence"
    unit, what = ("d", "days below") if of_days else ("%", goal.stage)
    columns = [
        words("years", "years", whole=True),
        number("seed", "seed"),
        words("plan", "plan found"),
        number("water", "water a year", depth.unit, 1),
        number("risk", what, unit, 1),
        number("risk_low", f"{what}, low", unit, 1),
        number("risk_high", f"{what}, high", unit, 1),
        number("n_years", "number of years"),
    ]
    limits = Cell(
        f"{what} (90% limits)", ("risk", "risk_low", "risk_high"),
        lambda p, low, high: f"{p:.1f} ({low:.1f}-{high:.1f})", unit,
    )  # fmt: skip
    cells: list[Column | Cell] = [*columns[:4], limits, columns[7]]
    if goal.confidence is not None:
        sure = number("sure", f"{100.0 * goal.confidence:g} of 100 draws stay below", unit, 1)
        columns.append(sure)
        cells.append(sure)

    def plan_text(one: Tried) -> str:
        return axis_values_text(found.sweep, one.positions, system=system)

    def row(one: Tried, name: str, seed: int | None) -> Row:
        odds, times = one.odds, 100.0
        low, high, value = odds.low, odds.high, odds.p
        if of_days:
            (low, high), value, times = one.days_limits, one.days_below, 1.0
        out: dict[str, Value] = {
            "years": name, "seed": seed, "plan": plan_text(one),
            "water": one.water_mm * depth.factor, "risk": times * value, "risk_low": times * low,
            "risk_high": times * high, "n_years": odds.years,
        }  # fmt: skip
        if goal.confidence is not None:
            out["sure"] = None if one.sure is None else times * one.sure
        return out

    best = found.nearest if found.best is None else found.best
    rows = [row(best, "searched", None)]
    if found.best is None:
        verdict = f"No plan of {found.n_tried} tried keeps the risk; the nearest is shown."
    else:
        assert found.fresh is not None
        rows.append(row(found.fresh, "fresh", found.fresh_seed))
        keeps = found.fresh.risk <= goal.most
        verdict = "The plan keeps the risk on fresh years too."
        if not keeps and found.fresh.risk_low <= goal.most:
            verdict = "The plan is slightly over on fresh years, within sampling error."
        elif not keeps:
            verdict = "The plan does NOT keep the risk on fresh years: search with more years."
    lines = [
        ("Tried", f"{count_text(found.n_tried, 'plan')} on the same {found.n_years} years"),
        ("Caution", "the best of many candidates is partly luck; fresh years are the fair test"),
    ]
    if found.n_within:
        text = f"Water and risk are means over {found.n_within} draws of soil, grass and delivery."
        if goal.confidence is not None:
            text += " The limit holds for the stated share of draws, not for the mean."
        lines.append(("Uncertainty", text + " Fresh years come with fresh draws."))
    if found.averaged:
        names = ", ".join(found.averaged)
        text = (
            f"Water and {'days' if of_days else 'odds'} are means over {found.n_draws} draws of "
            f"{names}."
        )
        if found.sweep.kind != GRID:
            text += " The front of this sweep has one draw at each point and averages none."
        lines.append(("Averaged", text))
    if found.left_out:
        names = ", ".join(found.left_out)
        lines.append(("Left out", f"Nobody chooses {names}: the scenario's values were used."))
    goal_text = f"least water with {risk}, plan {goal.plan}, field {goal.field}"
    return [
        Heading(f"{found.sweep.title}: {goal_text}"),
        verdict,
        Table("search", "", columns, rows, cells, ("years",)),
        notes(lines),
    ]
