"""A sweep from its description to a folder of chunks: on the cores here, or on a cluster."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from threading import Event
from time import perf_counter

import numpy as np
import xarray as xr

from drysward.card.devices import CHECKED_RUNS, CPU, Cards, cards_for
from drysward.drive.runs import PLANS_TOGETHER, advance_all, start_runs
from drysward.drive.windows import compiled_run_site
from drysward.faults import Fault, FaultyInput
from drysward.progress import Report, reporting
from drysward.site.stretches import YEARS_AT_ONCE
from drysward.site.weather_years import read_record
from drysward.studies.sweep.chunk import Arrays, Done
from drysward.studies.sweep.description import Sweep, read_sweep
from drysward.studies.sweep.design import Design, design_of
from drysward.studies.sweep.drawn import (
    CommonDraws,
    common_draws_of,
    numbers_of,
    refuse_one_year,
    run_numbers,
)
from drysward.studies.sweep.folder import (
    Chunks,
    Manifest,
    claimed,
    manifest_of,
    open_sweep,
    write_chunk,
)
from drysward.studies.sweep.points import Point, check_points, point_at
from drysward.studies.sweep.shared import Held, part_of, site_of, years_of

# Room that is left on the disk besides what the sweep takes.
_ROOM = 1.1
_TRIALS = 2
_TRIED_ON_A_CARD = 2048  # plans, for a forecast


@dataclass(frozen=True, eq=False)
class Work:
    """A sweep that was read and checked: its design, what its folder says, its first point, and
    what its points draw from.
    """

    design: Design
    manifest: Manifest
    first: Point
    held: Held
    common: CommonDraws | None = None

    @property
    def cards(self) -> Cards | None:
        return self.held.cards


@dataclass(frozen=True)
class Forecast:
    """What is still to be done: site-years, time on so many cores, and bytes on the disk."""

    site_years: int
    seconds: float
    bytes: int


def plan_work(sweep: Sweep, device: str = CPU, checked: int = CHECKED_RUNS) -> Work:
    """Read and check a sweep; nothing is run or written. ``device`` and ``checked`` as ``sweep``.

    FaultyInput with every fault of axes and points, and for a device that cannot run it.
    """
    design = design_of(sweep)
    first, with_files = check_points(design)
    held = Held()
    years = years_of(held, first)
    of_a_point = len(first.scenario.fields) * len(first.plans) * len(years.spans.years)
    work = design.n * max(sweep.draws, 1) * of_a_point
    held.cards = cards_for(first.scenario, device, work, checked, bool(sweep.daily))
    if sweep.draws:
        refuse_one_year(sweep, years)
    drawn = numbers_of(design)
    # The first point's file was read just now.
    findings = list(years.series.findings)
    for point in with_files:
        if point is not first:
            findings += read_record(point.scenario).findings
    manifest = manifest_of(design, first, years, tuple(dict.fromkeys(findings)), drawn)
    return Work(design, manifest, first, held, common_draws_of(sweep, drawn))


def forecast(work: Work, done: int, workers: int) -> Forecast:
    """What the chunks that are not ``done`` will take, from a trial of one stretch here."""
    design, manifest, held = work.design, work.manifest, work.held
    trial = _trial(work)
    left = 1.0 - done / manifest.chunks
    weathers, fields = design.groups
    # Weather that does not stay in memory from chunk to chunk is built again in each.
    if not held.has_room(trial.days / trial.days_held):
        weathers, fields = max(weathers, manifest.chunks), max(fields, manifest.chunks)
    # Every draw has other fields; points of a chunk that share theirs share those of each draw.
    draws = max(manifest.draws, 1)
    seconds = trial.days * (
        weathers * trial.weather_s
        + (fields if draws == 1 else max(fields, manifest.chunks) * draws) * trial.fields_s
        + manifest.points * draws * len(manifest.plans) * trial.plan_s
    )
    seconds += manifest.points * draws * trial.reading_s
    return Forecast(
        site_years=round(left * manifest.site_years),
        seconds=left * seconds / workers,
        bytes=round(left * manifest.points * _point_bytes(work)),
    )


@dataclass(frozen=True)
class _Trial:
    """Time (s) of a day's weather, of it on the fields, of a plan and of reading a point; days
    that are held now and days of a run.
    """

    weather_s: float
    fields_s: float
    plan_s: float
    reading_s: float
    days_held: int
    days: int


def _trial(work: Work) -> _Trial:
    """The first stretch of the first point, worked out here; what it makes is used again."""
    held, point = work.held, work.first
    years = years_of(held, point)
    start = perf_counter()
    part = part_of(held, point, years, 0)
    weather_s = perf_counter() - start
    start = perf_counter()
    site = site_of(held, point, part, 0)
    fields_s = perf_counter() - start
    # As many side by side as there will be.
    design = work.design
    plans = design.n * len(point.plans) // design.groups[1]
    most = PLANS_TOGETHER
    if work.cards is not None:
        most, plans = _TRIED_ON_A_CARD, design.n * len(point.plans)
    n_together = min(max(plans, 1), most)
    run_s = []
    for _ in range(_TRIALS):
        runs = start_runs([(site, point.plans[-1])] * n_together, max(len(site.years), 1))
        start = perf_counter()
        if work.cards is None:
            advance_all(site, runs)
        else:
            work.cards.advance(site, runs, checks=False)
        run_s.append((perf_counter() - start) / n_together)
    start = perf_counter()
    point_at(work.design.sweep, work.design.positions[0], climate_is_checked=True)
    reading_s = perf_counter() - start
    here = site.calendar.size - site.from_day
    return _Trial(
        weather_s=weather_s / here,
        fields_s=fields_s / here,
        plan_s=min(run_s) / here,
        reading_s=reading_s,
        days_held=here,
        days=int((years.series.stop - years.series.first).astype(int)),
    )


def _point_bytes(work: Work) -> int:
    """Bytes that a point takes on the disk."""
    manifest, sweep = work.manifest, work.design.sweep
    runs = len(manifest.fields) * len(manifest.plans)
    days = int((np.datetime64(manifest.dates[1]) - np.datetime64(manifest.dates[0])).astype(int))
    series = 4 * (len(sweep.keep) * len(manifest.years) + len(sweep.daily) * days)
    # Some fifty reduced numbers in double precision, two of them by month.
    size = runs * (series + 8 * 75) + 1000
    if manifest.draws:
        # Limits of ten numbers and of the demand; as many of every draw where these are kept.
        of_draws = 10 + len(manifest.periods)
        size += 8 * runs * 2 * of_draws
        if sweep.keep_draws:
            size += 8 * manifest.draws * (runs * of_draws + len(manifest.drawn))
    return size


@dataclass(frozen=True, eq=False)
class Start:
    """A sweep that is about to run on so many cores, or on the cluster at an address; ``there`` is
    what its folder holds.
    """

    work: Work
    there: Chunks
    cores: int
    cluster: str | None

    def forecast(self) -> Forecast:
        """What the rest takes, from a trial of one stretch."""
        return forecast(self.work, len(self.there.done), self.cores)


def sweep(
    description: str | Path | Sweep,
    folder: str | Path | None = None,
    workers: int | None = None,
    cluster: str | None = None,
    on_start: Callable[[Start], None] | None = None,
    on_chunk: Callable[[int, int], None] = lambda done, chunks: None,
    progress: Report = None,
    device: str = CPU,
    check_device: int = CHECKED_RUNS,
) -> xr.Dataset | None:
    """Run a sweep, or go on with it: thousands of scenarios that differ in a few keys.

    Parameters
    ----------
    description : a sweep file (.toml), or the name of one that ships with drysward.
    folder : where the chunks go, created in its parent when missing; one that holds part of this
        very sweep goes on. Nothing is run when None.
    workers : threads; as many as there are cores when None. Their number changes no result.
    cluster : address of a dask scheduler; its workers run the chunks instead, and must see the
        scenario's weather file at the same path.
    on_start : called once before the first chunk, with what is there and what is left.
    on_chunk : called with chunks done and chunks in all.
    progress : True shows how far it is on stderr: a bar at a terminal, else a line every ten
        seconds. A function is called with the share of the work that is done. None is silent.
    device : "cpu"; "gpu" for the graphics cards here, "gpu:0,2" for some of them; or "auto", which
        takes a card where there is one and the sweep is large. No supply that fields share, and no
        daily series, on a card.
    check_device : plans of the first batch on a card that the processor runs too; they must be
        equal. 0 for none.

    Returns
    -------
    The sweep as ``drysward.open`` opens it; None without a folder.

    Raises
    ------
    FaultyInput
        With every fault of the file, its axes and points; when the folder holds another sweep or
        another process has it; for a full disk.

    Examples
    --------
    >>> points = drysward.sweep("sweep-demo", "swept")
    >>> drysward.front(points, cost="water", risk="wilt").to_dataframe()
    """
    read = description if isinstance(description, Sweep) else read_sweep(description)
    work = plan_work(read, device, check_device)
    if cluster is not None and work.cards is not None:
        raise FaultyInput(Fault("device", "a cluster runs on its own cores", 'device "cpu"'))
    cores = workers or os.cpu_count() or 1

    def start(there: Chunks) -> None:
        if on_start is not None:
            on_start(Start(work, there, cores, cluster))

    if folder is None:
        start(Chunks(done=(), damaged=()))
        return None
    with claimed(Path(folder), work.manifest) as there:
        start(there)
        with reporting(progress, "Running the sweep") as report:

            def done_so_far(done: int, chunks: int) -> None:
                on_chunk(done, chunks)
                report(done / chunks)

            run_missing(work, Path(folder), there.done, workers, cluster, done_so_far)
    return open_sweep(folder)


def run_sweep(
    work: Work,
    folder: str | Path,
    workers: int | None = None,
    cluster: str | None = None,
    on_chunk: Callable[[int, int], None] = lambda done, chunks: None,
) -> None:
    """Run the chunks of a sweep that are not in its folder yet.

    Parameters
    ----------
    folder : created when it is not there; one that holds part of this sweep goes on.
    workers : threads, as many as there are cores when None. No number changes any result.
    cluster : address of a dask scheduler; its workers run the chunks instead, and must see the
        scenario's weather file at the same path.
    on_chunk : called with chunks done and chunks in all.

    FaultyInput as ``claimed``, for a point whose scenario cannot be, or a full disk.
    """
    with claimed(Path(folder), work.manifest) as there:
        run_missing(work, Path(folder), there.done, workers, cluster, on_chunk)


def run_missing(
    work: Work,
    folder: Path,
    done: Sequence[int],
    workers: int | None = None,
    cluster: str | None = None,
    on_chunk: Callable[[int, int], None] = lambda done, chunks: None,
) -> None:
    """``run_sweep`` in a folder that is claimed and holds the chunks ``done``."""
    manifest = work.manifest
    missing = sorted(set(range(manifest.chunks)) - set(done))
    _refuse_full_disk(folder, len(missing) * manifest.chunk_points * _point_bytes(work))
    on_chunk(len(done), manifest.chunks)
    if cluster is None:
        finished = _here(work, missing, workers or os.cpu_count() or 1)
    else:
        from drysward.studies.sweep.cluster import on_cluster

        finished = on_cluster(manifest, missing, cluster)
    # Closed at once when writing fails or is stopped, so that nothing goes on unseen.
    with closing(finished):
        for i, (chunk, kept) in enumerate(finished, start=len(done) + 1):
            write_chunk(folder, manifest, chunk, kept)
            on_chunk(i, manifest.chunks)


def _refuse_full_disk(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if needed * _ROOM > free:
        what = f"has {free / 1e9:.1f} GB free and the sweep takes about {needed / 1e9:.1f} GB"
        allowed = "another disk, fewer points or years, or no daily series"
        raise FaultyInput(Fault(str(folder), what, allowed))


def _here(work: Work, missing: list[int], workers: int) -> Generator[Done, None, None]:
    """Chunks as they are done by threads of this process; the day loop releases the GIL."""
    stop = Event()
    manifest = work.manifest
    if work.cards is None:
        compiled_run_site()
        batches = [range(chunk, chunk + 1) for chunk in missing]
    else:
        batches = _batches(work, work.cards, missing)
        workers = work.cards.threads

    def one(chunks: range) -> list[Done]:
        start, stop_ = manifest.numbers(chunks[0]).start, manifest.numbers(chunks[-1]).stop
        kept = run_numbers(
            work.design, range(start, stop_), work.held, work.common, stop.is_set,
            len(manifest.years), manifest.drawn,
        )  # fmt: skip
        return [(chunk, _of_chunk(manifest, chunk, kept, start)) for chunk in chunks]

    todo = iter(batches)
    with ThreadPoolExecutor(workers) as pool:
        try:
            # No more in hand than cores and one, so that finished chunks never pile up.
            running = {pool.submit(one, chunk) for chunk in islice(todo, workers + 1)}
            while running:
                ended, running = wait(running, return_when=FIRST_COMPLETED)
                for future in ended:
                    running |= {pool.submit(one, chunk) for chunk in islice(todo, 1)}
                    yield from future.result()
        finally:
            # Ctrl-C, or a chunk that failed: what is in hand ends with the plan that it is at.
            stop.set()
            pool.shutdown(wait=True, cancel_futures=True)


def _batches(work: Work, cards: Cards, missing: Sequence[int]) -> list[range]:
    """Chunks that follow one another, as many as fill a card together."""
    manifest = work.manifest
    n_fields, n_years = len(manifest.fields), min(len(manifest.years), YEARS_AT_ONCE)
    of_chunk = manifest.chunk_points * len(manifest.plans) * max(manifest.draws, 1)
    most = max(cards.most_together(n_fields, n_years) // of_chunk, 1)
    # Every thread has something to do: one whole batch on the card took a sixth longer than three
    # whose points are read and started beside the kernels of others.
    most = min(most, max(-(-len(missing) // cards.threads), 1))
    out: list[range] = []
    for chunk in missing:
        if out and out[-1].stop == chunk and len(out[-1]) < most:
            out[-1] = range(out[-1].start, chunk + 1)
        else:
            out.append(range(chunk, chunk + 1))
    return out


def _of_chunk(manifest: Manifest, chunk: int, kept: Arrays, start: int) -> Arrays:
    """What is kept of the points of a chunk, of that of points from ``start`` on."""
    numbers = manifest.numbers(chunk)
    here = slice(numbers.start - start, numbers.stop - start)
    return {name: (dims, values[here]) for name, (dims, values) in kept.items()}
