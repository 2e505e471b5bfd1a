"""What a person reads of a sweep: how much it is, how far it is, what it found."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr
from rich.console import RenderableType

from drysward.quantities import shown
from drysward.results.text import UNKNOWN, as_sentences
from drysward.screen.tables import named_lines, plain_table
from drysward.studies.sweep import chunk_name
from drysward.studies.sweep.description import GRID, STAGE_NAMES
from drysward.studies.sweep.points import told_at

if TYPE_CHECKING:
    from drysward.studies.sweep.folder import Chunks, Manifest
    from drysward.studies.sweep.run import Forecast, Work
    from drysward.studies.sweep.search import Found, Tried


def told_time(seconds: float) -> str:
    """``40 s``, ``12 min``, ``3.5 h``, ``2.1 days``."""
    for size, unit, decimals in ((86_400.0, "days", 1), (3600.0, "h", 1), (60.0, "min", 0)):
        if seconds >= 1.5 * size:
            return f"{seconds / size:.{decimals}f} {unit}"
    return f"{max(round(seconds), 1)} s"


def told_bytes(n: float) -> str:
    """``12 MB``, ``3.4 GB``."""
    return f"{n / 1e9:.1f} GB" if n >= 1e9 else f"{max(round(n / 1e6), 1)} MB"


def forecast_lines(
    work: Work, done: int, left: Forecast, cores: int, cluster: str | None
) -> Iterator[str]:
    """Size, time and room of a sweep before it runs."""
    m = work.manifest
    drawn = f"{m.draws} draws x " if m.draws else ""
    yield (
        f"{work.design.sweep.title}: {m.points:,} points x {drawn}{len(m.plans)} plans x "
        f"{len(m.years)} years = {m.site_years:,} site-years of {len(m.fields)} fields, "
        f"in {m.chunks} chunks"
    )
    for sentence in as_sentences(m.findings):
        yield f"Look at the weather file: {sentence}"
    if done:
        yield f"{done} chunks are there; {left.site_years:,} site-years are left"
    where = f"on the cluster at {cluster}; {told_time(left.seconds * cores)} of one core here"
    if cluster is None:
        where = f"on {cores} core{'s' if cores > 1 else ''}"
        yield f"About {told_time(left.seconds)} {where}, {told_bytes(left.bytes)} on the disk"
    else:
        yield f"About {told_bytes(left.bytes)} on the disk, run {where}"


def damaged_line(there: Chunks) -> str:
    """Which chunks are not what was written."""
    return f"Damaged  {', '.join(chunk_name(chunk) for chunk in there.damaged)}"


def chunks_line(folder: Path, manifest: Manifest) -> str:
    """What a stop says of a sweep: how many chunks are done."""
    from drysward.studies.sweep.folder import chunks_there

    done = len(chunks_there(folder, manifest))
    return f"{done} of {manifest.chunks} chunks are kept in {folder}; run the same command to go on"


def status_of(folder: Path) -> Iterator[RenderableType]:
    """How far the sweep in a folder is. FaultyInput when it holds none."""
    from drysward.studies.sweep.folder import look_through, read_manifest

    manifest = read_manifest(folder)
    return status_lines(folder, manifest, look_through(folder, manifest))


def status_lines(
    folder: Path, manifest: Manifest, there: Chunks
) -> Iterator[RenderableType]:
    """How far a sweep is."""
    points = sum(len(manifest.numbers(chunk)) for chunk in there.done)
    size = sum(path.stat().st_size for path in folder.glob("chunk-*.nc"))
    yield f"{folder}: {manifest.name} over {manifest.base_name}"
    yield f"Points   {points:,} of {manifest.points:,} ({100.0 * points / manifest.points:.0f}%)"
    yield f"Chunks   {len(there.done)} of {manifest.chunks}"
    if there.damaged:
        yield damaged_line(there)
    if manifest.draws:
        yield f"Draws    {manifest.draws} of {len(manifest.drawn)} uncertain numbers at every point"
    site_years = points * manifest.site_years_of_point
    yield f"Years    {site_years:,} of {manifest.site_years:,} site-years"
    yield f"Size     {told_bytes(size)}"
    if len(there.done) < manifest.chunks:
        yield f"Goes on with: drysward sweep {manifest.name} --out {folder}"


# --- what it found -----------------------------------------------------------------------------

FRONT_ROWS = 30


def front_table(kept: xr.Dataset, system: str) -> Iterator[RenderableType]:
    """Choices on the front, cheapest first; thinned evenly when there are many."""
    axes = json.loads(kept.attrs["axes"])
    on = f" on {kept.attrs['field']}" if kept.attrs["field"] else ", worst field"
    cost, risk = kept["cost"], kept["risk"]
    risk_name = f"{kept.attrs['risk']}{', high' if kept.attrs.get('high') else ''}"
    title = f"{kept.attrs['title']}: {kept.attrs['cost']} against {risk_name}{on}"
    table = plain_table(title)
    told_cost, cost_unit = _column(kept.attrs["cost"], cost, system)
    told_risk, risk_unit = _column(kept.attrs["risk"], risk, system)
    table.add_column(f"{kept.attrs['cost']}\n{cost_unit}", justify="right", no_wrap=True)
    table.add_column(f"{kept.attrs['risk']}\n{risk_unit}", justify="right", no_wrap=True)
    table.add_column("plan", ratio=1, min_width=12, overflow="fold")
    present = [name for name in axes if name in kept]
    for name in present:
        unit = kept[name].attrs.get("units", "")
        table.add_column(f"{name}\n{unit}", justify="right", overflow="fold")
    n = kept.sizes["choice"]
    for i in np.unique(np.linspace(0, n - 1, min(n, FRONT_ROWS)).astype(int)):
        one = kept.isel(choice=int(i))
        error = f"±{100.0 * float(one['risk_se']):.0f}" if "risk_se" in one else ""
        table.add_row(
            told_cost(float(one["cost"])),
            told_risk(float(one["risk"])) + error,
            str(one["plan"].item()),
            *(_shown(one[name].item()) for name in present),
        )
    yield table
    lines = {"On the front": f"{n} of {kept.attrs['choices']:,} choices"}
    if n > FRONT_ROWS:
        lines["On the front"] += f"; {FRONT_ROWS} shown"
    lines["Chosen by"] = "the same weather years that it is judged by: the best looks a little "
    lines["Chosen by"] += "better than it is; try it on another seed before you lean on it"
    if kept.attrs.get("draws"):
        lines["Not known"] = f"means over {kept.attrs['draws']} draws of soil, grass and delivery"
        if kept.attrs["high"]:
            lines["Not known"] += (
                f"; {kept.attrs['risk']} is what 95 of 100 draws do not pass, not the mean"
            )
    lines["Weather"] = kept.attrs["weather"]
    yield named_lines(list(lines.items()))


def _column(
    name: str, values: xr.DataArray, system: str
) -> tuple[Callable[[float], str], str]:
    """How numbers of a front are written, and in which unit."""
    if name in STAGE_NAMES or name.endswith("_odds"):
        return (lambda value: f"{100.0 * value:.1f}"), "%"
    unit = values.attrs.get("units", "")
    if unit == "mm":
        depth = shown("mm", system)
        return (lambda value: f"{value * depth.factor:.{depth.decimals}f}"), depth.unit
    return (lambda value: f"{value:.4g}"), unit if unit != "1" else ""


def _shown(value: object) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def effects_table(told: xr.Dataset) -> Iterator[RenderableType]:
    """What each axis accounts for, the strongest first."""
    percent = told.attrs["of"] in STAGE_NAMES
    on = f", field {told.attrs['field']}" if told.attrs["field"] else ""
    title = f"{told.attrs['title']}: what drives {told.attrs['of']}, plan {told.attrs['plan']}{on}"
    table = plain_table(title)
    table.add_column("axis", ratio=1, min_width=10, overflow="fold")
    table.add_column("main\n%", justify="right")
    table.add_column("least at", justify="right", overflow="fold")
    table.add_column("mean", justify="right")
    table.add_column("most at", justify="right", overflow="fold")
    table.add_column("mean", justify="right")
    with_indices = "first" in told
    if with_indices:
        table.add_column("first\n(limits)", justify="right", no_wrap=True)
        table.add_column("total\n(limits)", justify="right", no_wrap=True)

    def number(value: float) -> str:
        return f"{100.0 * value:.1f}" if percent else f"{value:.4g}"

    order = np.argsort(-np.nan_to_num(told["total" if with_indices else "main"].values))
    for i in order:
        one = told.isel(axis=int(i))
        row = [
            str(one["axis"].item()),
            UNKNOWN if np.isnan(one["main"]) else f"{100.0 * float(one['main']):.0f}",
            str(one["low_at"].item()),
            number(float(one["low_mean"])),
            str(one["high_at"].item()),
            number(float(one["high_mean"])),
        ]
        if with_indices:
            row += [
                f"{float(one[name]):.2f} ({float(one[name + '_low']):.2f}-"
                f"{float(one[name + '_high']):.2f})"
                for name in ("first", "total")
            ]
        table.add_row(*row)
    yield table
    unit = " %" if percent else ""
    drawn = []
    if told.attrs.get("draws"):
        words = f"means over {told.attrs['draws']} draws of soil, grass and delivery at every point"
        drawn.append(("Not known", words))
    yield named_lines(
        [
            *drawn,
            (
                "Points",
                f"{told.attrs['points']:,}; mean {number(told.attrs['mean'])}{unit}, "
                f"sd {number(told.attrs['sd'])}{unit}",
            ),
            (
                "Main",
                "share of the variance between points that the axis accounts for by itself; what "
                "is missing to 100% is the axes' interplay",
            ),
        ]
    )


def found_lines(found: Found, system: str) -> Iterator[RenderableType]:
    """The plan found, and how it does on fresh years."""
    asked, depth = found.asked, shown("mm", system)
    of_days = asked.days_below is not None
    risk = f"{asked.stage} in at most {100.0 * asked.odds:g}% of years"
    if of_days:
        risk = f"at most {asked.most:g} days a year below playing condition"
    if asked.confidence is not None:
        risk += f" with {100.0 * asked.confidence:g}% confidence"
    yield f"{found.sweep.title}: least water with {risk}, plan {asked.plan}, field {asked.field}"

    def told(one: Tried) -> str:
        if one.sure is None:
            return told_mean(one)
        most = f"{one.sure:.1f} days" if of_days else f"{100.0 * one.sure:.1f}%"
        share = f"{100.0 * asked.confidence:g}" if asked.confidence else ""
        return f"{told_mean(one)}; no more than {most} in {share} of 100 draws"

    def told_mean(one: Tried) -> str:
        odds, water = one.odds, f"{one.water_mm * depth.factor:.1f} {depth.unit} a year"
        if of_days:
            low, high = one.days_limits
            return (
                f"{water}, {one.days_below:.1f} days a year below playing condition over "
                f"{odds.years} years (90% limits {low:.1f}-{high:.1f})"
            )
        return (
            f"{water}, {asked.stage} in "
            f"{100.0 * odds.p:.1f}% of {odds.years} years "
            f"(90% limits {100.0 * odds.low:.1f}-{100.0 * odds.high:.1f})"
        )

    lines = []
    if found.best is None:
        lines.append(("Found", f"nothing of {found.n_tried} plans tried keeps it"))
        lines.append(("Nearest", told_at(found.sweep, found.nearest.positions)))
        lines.append(("", told(found.nearest)))
    else:
        lines.append(("Found", told_at(found.sweep, found.best.positions)))
        lines.append(("", told(found.best)))
        assert found.fresh is not None
        lines.append((f"Seed {found.fresh_seed}", told(found.fresh)))
        keeps = found.fresh.risk <= asked.most
        verdict = "keeps the risk on fresh years too"
        if not keeps and found.fresh.risk_low <= asked.most:
            verdict = "a little over on fresh years, within their sampling error: allow a margin"
        elif not keeps:
            verdict = "does NOT keep the risk on fresh years: search with more years"
        lines.append(("Check", verdict))
    lines.append(("Tried", f"{found.n_tried} plans on the same {found.n_years} years"))
    if found.n_within:
        words = f"Water and risk are means over {found.n_within} draws of soil, grass and delivery."
        if asked.confidence is not None:
            words += " The limit holds for the share of draws that is asked for, not for the mean."
        lines.append(("Not known", words + " Fresh years come with fresh draws."))
    if found.averaged:
        names = ", ".join(found.averaged)
        what = "days" if of_days else "odds"
        told_of = f"Water and {what} are means over {found.n_draws} draws of {names}."
        if found.sweep.kind != GRID:
            told_of += " The front of this sweep has one draw at each point and averages none."
        lines.append(("Averaged", told_of))
    if found.left_out:
        names = ", ".join(found.left_out)
        lines.append(("Left out", f"Nobody chooses {names}: the scenario's own values were used."))
    yield named_lines(lines)
