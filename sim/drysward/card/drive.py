"""Runs on a graphics card: what goes there, in what layout, and what comes back.

A card has the whole stretch of weather in memory, and as many runs as fit; years of its runs are
written once and copied back at the end of a stretch. Fields that no other runs use are worked out
on the card too, some days at a time.
"""

from __future__ import annotations

import atexit
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from functools import cache
from threading import Lock
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.card.kernels import (
    FILL,
    PICK,
    SUM,
    TRANSPOSE,
    is_simulated,
    on_card,
    on_processor,
    uncontracted,
)
from drysward.card.source import (
    STATE,
    TILE,
    WHOLE_OF_CALENDAR,
    Source,
    forcing_source,
    places_in,
    run_source,
)
from drysward.day.lanes import PATCH_ROW, ROW, put_turned
from drysward.day.loop import Batch, DayInput, Tally
from drysward.day.plan_demand import WEEK_GROSS
from drysward.day.records import DAY, FEED_YEAR, PLAY_YEAR, YEAR, as_values, records
from drysward.site.forcing import Forcing

FloatArray = NDArray[np.float64]

# Bytes of the days of fields that are worked out on a card, and most of its memory that these take.
# Many days at a time: every start of a kernel reads and writes all of its runs.
WINDOW_BYTES, WINDOW_SHARE = 2**34, 0.1
LARGE_BYTES = 2**28  # of an array, of which a card does not hold two batches
# Runs that a part of a card (a multiprocessor) takes at once, with 255 registers each; a card with
# less memory near its parts than an H200 takes fewer.
RUNS_OF_A_PART = 256
# Threads of a block; of a small batch ``TILE``, so that it spreads over the whole card.
THREADS = 128
ALL_BUSY = 132 * 512  # runs from which every part of a large card has several blocks


class Turns:
    """Whose turn it is on a card, of the threads that use it."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.end: Any = None  # of the last turn, an event
        # Numba fails where two threads start a kernel for the first time together (0.30).
        self.starts = Lock()


class Processor:
    """The kernels on the processor, to hold them to the day loop where there is no card."""

    memory = 2**36  # bytes; as of a large card
    at_once = 1  # runs

    def __init__(self, compiled: bool = True) -> None:
        self.compiled = compiled

    def begin(self) -> None:
        pass

    def turn(self, n: int) -> AbstractContextManager[None]:
        return nullcontext()

    def array(self, values: np.ndarray) -> Any:
        return np.ascontiguousarray(values)

    def zeros(self, shape: tuple[int, ...]) -> Any:
        return np.zeros(shape)

    def empty(self, shape: tuple[int, ...]) -> Any:
        return np.full(shape, np.nan)

    def host(self, values: Any) -> np.ndarray:
        return np.asarray(values)

    def launch(self, source: Source, n: int, arguments: list[Any]) -> None:
        with np.errstate(divide="ignore", invalid="ignore"):
            on_processor(source, self.compiled)(n, *arguments)


class Card:
    """A card by its number, for the thread that makes it; in numba's simulator, that.

    Each has a stream: what several threads start on a card runs side by side, since a small batch
    takes nearly as long as one that fills it. Large ones take turns: side by side they would end
    together, and the card would wait while all threads read and make ready. Arrays are used again,
    as a card waits for all that runs on it when memory is given back; and nothing is copied before
    what it waits for is done, since all others wait for a copy.
    """

    def __init__(self, number: int = 0, turns: Turns | None = None) -> None:
        from numba import cuda

        self.cuda = cuda
        if not is_simulated():
            _leave_all_at_the_end(number)
        # A small batch does not fill a card, and need not.
        warnings.filterwarnings("ignore", message="Grid size")
        cuda.select_device(number)
        self.stream = cuda.stream()
        self._turns = turns or Turns()
        self._lent: list[Any] = []
        self._spare: dict[tuple[Any, ...], list[Any]] = {}

    @property
    def memory(self) -> int:
        """Bytes of the card."""
        if is_simulated():
            return Processor.memory
        return int(self.cuda.current_context().get_memory_info().total)

    @property
    def at_once(self) -> int:
        """Runs that the card takes at once, as many as its registers hold."""
        if is_simulated():
            return Processor.at_once
        return RUNS_OF_A_PART * int(self.cuda.get_current_device().MULTIPROCESSOR_COUNT)

    def begin(self) -> None:
        """Forget all arrays that were made so far: those of the same shape are used again."""
        self._spare = {}
        for values in self._lent:
            self._spare.setdefault((values.shape, values.dtype), []).append(values)
        self._lent = []

    @contextmanager
    def turn(self, n: int) -> Iterator[None]:
        """What is started within it, for ``n`` runs, begins when those before have ended."""
        if 2 * n < self.at_once:
            yield
            return
        turns = self._turns
        with turns.lock:
            if turns.end is None:
                turns.end = self.cuda.event()
            turns.end.wait(self.stream)
            try:
                yield
            finally:
                turns.end.record(self.stream)

    def array(self, values: np.ndarray) -> Any:
        values = np.ascontiguousarray(values)
        made = self._empty(values.shape, values.dtype)
        made.copy_to_device(values, stream=self.stream)
        return made

    def empty(self, shape: tuple[int, ...]) -> Any:
        return self._empty(shape, np.dtype(float))

    def zeros(self, shape: tuple[int, ...]) -> Any:
        made = self.empty(shape)
        self.launch(FILL, made.size, [made.reshape(made.size)])
        return made

    def _empty(self, shape: tuple[int, ...], kind: np.dtype) -> Any:
        if spare := self._spare.get((shape, kind)):
            made = spare.pop()
        else:
            if np.prod(shape) * kind.itemsize > LARGE_BYTES:
                # Of another size than in the last batch: no room for both.
                self._spare = {}
            made = self.cuda.device_array(shape, kind, stream=self.stream)
        self._lent.append(made)
        return made

    def host(self, values: Any) -> np.ndarray:
        self.stream.synchronize()
        copied = np.asarray(values.copy_to_host(stream=self.stream))
        self.stream.synchronize()
        return copied

    def launch(self, source: Source, n: int, arguments: list[Any]) -> None:
        threads = THREADS if n >= ALL_BUSY and not source.n_near else TILE
        kernel = on_card(source)
        new = not is_simulated() and not kernel.overloads
        with uncontracted() if new else nullcontext(), self._turns.starts:
            kernel[-(-n // threads), threads, self.stream](n, *arguments)


@cache
def _leave_all_at_the_end(number: int) -> None:
    """As the program ends, leave what is on a card to its driver.

    Numba gives a kernel back once for each card that it ran on, and the second time is a fault that
    ends the program (numba-cuda 0.30).
    """
    from numba import cuda

    kept = ExitStack()

    @atexit.register
    def leave() -> None:
        with cuda.gpus[number]:
            kept.enter_context(cuda.defer_cleanup())


class Reduced(NamedTuple):
    """Years of B runs on F fields, less than all of them: single numbers of YEAR by name
    (B, F, Y), and totals and largest values of all years, YEAR as values (B, F, names). PLAY_YEAR
    and FEED_YEAR (B, F, Y) are whole, and have no years where there is no play or no feeding.
    """

    yearly: dict[str, FloatArray]
    total: FloatArray
    most: FloatArray
    play: np.recarray
    fed: np.recarray

    def some(self, places: NDArray[np.int64]) -> Reduced:
        """Of the runs at ``places`` only."""
        yearly = {name: values[places] for name, values in self.yearly.items()}
        parts: Any = (values[places] for values in self[1:])
        return Reduced(yearly, *parts)


class Windows:
    """Takes runs through days as ``drive.windows.run_windows`` does, on a card or a stand-in.

    With ``keep``, names of YEAR, years stay on the card but for what ``reduced`` then holds; the
    runs need one year, and it has the largest value of each number.
    """

    def __init__(
        self, on: Processor | Card, counts_days: bool = True, keep: Sequence[str] | None = None
    ) -> None:
        self.on, self.counts_days, self.keep = on, counts_days, keep
        self.reduced: Reduced | None = None

    def __call__(
        self, forcing: Forcing, day_input: DayInput, from_day: int, first_day: int, stop_day: int,
        batch: Batch, supply: Any, supply_of: Any, supply_states: Any, tally: Tally, scratch: Any,
        reached: FloatArray, condition: FloatArray, trace_at: NDArray[np.int64],
        supply_or_play: bool | None, feeding_on: bool | None,
    ) -> None:  # fmt: skip
        assert not supply.site["on"].any()
        assert batch.side == 1
        assert not (trace_at >= 0).any()
        played, fed = bool(batch.is_played.any()), bool(batch.is_fed.any())
        source, on = run_source(played, fed, self.counts_days), self.on
        on.begin()
        n_plans, n_fields = batch.plans.shape
        n, n_patches = n_plans * n_fields, batch.patches.shape[1]
        calendar, first_year, n_years = _calendar(day_input.calendar)
        n_days = len(calendar)
        calendar = on.array(calendar)
        weekly, all_patches = on.array(batch.weekly[0]), batch.patches.reshape(n_patches, -1, n)
        blocks = on.array(batch.blocks.reshape(-1, n)[[ROW[name] for name in source.numbers]])
        of_patch = [PATCH_ROW[name] for name in source.of_patch]
        patches = on.array(patches_in_tiles(all_patches, of_patch))
        any_restricted = bool(batch.is_any_restricted.any())
        plans = as_values(batch.plans).transpose(2, 1, 0).reshape(-1, n)
        results = [
            on.zeros((n, max(n_years, 1), values.shape[-1]))
            for values, there in ((tally.years, True), (tally.played, played), (tally.fed, fed))
            if there
        ]
        shortage = on.zeros((*tally.shortage.shape[2:], n))
        of_runs = [
            blocks, patches, on.array(batch.catches[0]), weekly, on.array(batch.monthly[0]),
            on.zeros(batch.booked.shape[1:]), on.array(batch.columns[0]),
            on.array(batch.rain_skip_days[0]),
            on.array(plans if any_restricted else np.zeros((1, 1))),
            on.array(batch.is_restricted[0]),
        ]  # fmt: skip
        of_site = [
            calendar, *map(on.array, (day_input.rain_before, day_input.drought_index,
                                      day_input.spray_loss, reached, condition)),
        ]  # fmt: skip

        more: list[Any] = []
        if self.counts_days:
            n_stages, n_days_of_year = tally.by_day.shape[2:]
            by_day = on.zeros((n_stages, n_days_of_year, n))
            more.append(by_day)
        if played:
            more += [on.array(day_input.play_days.transpose(0, 2, 1)), results[1]]
        if fed:
            lies = np.ones((batch.lies.shape[1], n), bool)
            more += [
                on.array(day_input.feed_days.transpose(0, 2, 1)), results[-1],
                on.zeros(batch.fed_months.shape[1:]), on.array(lies),
            ]  # fmt: skip

        def run(days: Any, first: int, start: int, stop: int) -> None:
            counts = [start, stop, first, n_days, n_patches]
            on.launch(
                source,
                n,
                [*counts, *of_runs, days, *of_site, results[0], shortage, *more],
            )

        if forcing.turfs.shape[0]:
            covered = played and bool(forcing.kept_off_mm.any())
            force, days, lines = self._to_force(
                forcing, day_input, calendar, covered, stop_day - first_day
            )
            with on.turn(n):
                for first in range(first_day, stop_day, lines):
                    stop = min(first + lines, stop_day)
                    force(first, stop)
                    if stop > from_day:
                        run(days, first, max(first, from_day), stop)
        else:
            days = on.array(day_input.days.transpose(0, 2, 1))
            with on.turn(n):
                run(days, 0, max(from_day, first_day), stop_day)
        state = {k: ROW[name] for k, name in enumerate(source.numbers) if name in STATE}
        batch.blocks.reshape(-1, n)[list(state.values())] = on.host(blocks)[list(state)]
        patches_from_tiles(on.host(patches), all_patches, of_patch)
        batch.weekly[0, :, WEEK_GROSS] = on.host(weekly)[:, WEEK_GROSS]

        def by_plan(values: Any) -> np.ndarray:
            """Values (n, ...) of runs as (B, F, ...)."""
            return on.host(values).reshape(n_fields, n_plans, *values.shape[1:]).swapaxes(0, 1)

        def whole(kind: np.dtype, line: Any, there: bool) -> np.recarray:
            """Records (B, F, Y) of all years, or of none."""
            out = records(kind, (n_plans, n_fields, n_years if there else 0))
            if there:
                as_values(out)[:] = by_plan(line)[:, :, :n_years]
            return out

        play = whole(PLAY_YEAR, results[-1 - fed], played)
        feeding = whole(FEED_YEAR, results[-1], fed)
        of_these = ((tally.played, play), (tally.fed, feeding))
        if self.keep is None:
            for values, of_kind in ((tally.years, whole(YEAR, results[0], True)), *of_these):
                values[:, :, first_year : first_year + of_kind.shape[2]] = as_values(of_kind)
        else:
            yearly, total, most = self._reduced(results[0], self.keep, n_years, by_plan)
            self.reduced = Reduced(yearly, total, most, play, feeding)
            # One year stands for all: whether accounts close is read there.
            tally.years[:, :, 0] = most
            for values, of_kind in of_these:
                values[:, :, 0] = as_values(of_kind).max(axis=2, initial=0.0)
        if self.counts_days:
            n_counts = n_stages * n_days_of_year
            transposed = on.zeros((n, n_counts))
            on.launch(TRANSPOSE, n, [n_counts, by_day.reshape(n_counts, n), transposed])
            counts = by_plan(transposed)
            tally.by_day[:] += counts.reshape(*counts.shape[:2], n_stages, n_days_of_year)
        booked = on.host(shortage).reshape(*shortage.shape[:2], n_fields, n_plans)
        tally.shortage[:] += booked.transpose(3, 2, 0, 1)

    def _reduced(
        self, values: Any, keep: Sequence[str], n_years: int, by_plan: Callable[[Any], np.ndarray]
    ) -> tuple[dict[str, FloatArray], FloatArray, FloatArray]:
        """Single numbers, totals and largest values as in ``Reduced``."""
        on, (n, _, n_names) = self.on, values.shape
        total, most = on.zeros((n, n_names)), on.zeros((n, n_names))
        on.launch(SUM, n * n_names, [n_names, n_years, values, total, most])
        totals = by_plan(total)
        n_plans, n_fields = totals.shape[:2]
        back = np.zeros((len(keep), n_fields, n_plans, n_years))
        if back.size:
            places = np.array([places_in(YEAR)[name][0] for name in keep])
            picked = on.zeros((len(keep), n, n_years))
            on.launch(PICK, n * n_years, [n_years, on.array(places), values, picked])
            back = on.host(picked).reshape(back.shape)
        yearly = {name: back[k].swapaxes(0, 1) for k, name in enumerate(keep)}
        return yearly, totals, by_plan(most)

    def _to_force(
        self, forcing: Forcing, day_input: DayInput, calendar: Any, covered: bool, n_days: int
    ) -> tuple[Callable[[int, int], None], Any, int]:
        """What works out the days of fields from one day to before another; where it writes them,
        and how many fit there.
        """
        source, on = forcing_source(covered), self.on
        n_names, n = len(DAY.names or ()), forcing.turfs.shape[0]
        most = min(WINDOW_BYTES, int(WINDOW_SHARE * on.memory))
        lines = int(min(max(most // (8 * n * n_names), 1), n_days))
        days = on.empty((lines, n_names, n))
        memories = on.array(_columns(forcing.memories))
        curves = np.empty_like(forcing.curves.transpose(0, 2, 1), order="C")
        put_turned(curves, forcing.curves)
        given = [
            len(day_input.calendar), on.array(_columns(forcing.turfs)),
            on.array(curves), on.array(forcing.n_nodes),
            on.array(as_values(forcing.weather)), calendar,
            on.array(np.asarray(day_input.calendar["rooting_score"])),
            on.array(_columns(forcing.fields)), memories, days,
            *([on.array(forcing.kept_off_mm.T)] if covered else []),
        ]  # fmt: skip

        def force(first: int, stop: int) -> None:
            on.launch(source, n, [first, stop, *given])

        return force, days, lines


def _calendar(days: np.recarray) -> tuple[NDArray[np.int64], int, int]:
    """Whole numbers of the calendar (D, names), years from 0; the first year, and how many."""
    out = np.stack([np.asarray(days[name]) for name in WHOLE_OF_CALENDAR], axis=-1)
    year = out[:, WHOLE_OF_CALENDAR.index("year")]
    counted = year[year >= 0]
    if not counted.size:
        return out, 0, 0
    first = int(counted.min())
    year[year >= 0] -= first
    return out, first, int(counted.max()) - first + 1


def patches_in_tiles(patches: FloatArray, names: Sequence[int]) -> FloatArray:
    """Some names of patches (patches, names, n) in tiles of runs, as one line: (tile, patch, name,
    run). The last tile may not be full.
    """
    n_patches, _, n = patches.shape
    out = np.zeros((-(-n // TILE), n_patches, len(names), TILE))
    for k, name in enumerate(names):
        whole = patches[:, name, : n // TILE * TILE].reshape(n_patches, -1, TILE)
        out[: n // TILE, :, k] = whole.swapaxes(0, 1)
        if n % TILE:
            out[-1, :, k, : n % TILE] = patches[:, name, n // TILE * TILE :]
    return out.ravel()


def patches_from_tiles(tiles: FloatArray, patches: FloatArray, names: Sequence[int]) -> None:
    """Put what ``patches_in_tiles`` made back."""
    n_patches, _, n = patches.shape
    by_name = tiles.reshape(-1, n_patches, len(names), TILE).transpose(1, 2, 0, 3)
    patches[:, names] = by_name.reshape(n_patches, len(names), -1)[:, :, :n]


def _columns(lines: np.recarray) -> FloatArray:
    """Records (n,) of 8-byte numbers as floats (names and tables, n)."""
    out, row = np.empty((lines.dtype.itemsize // 8, len(lines))), 0
    for name in lines.dtype.names or ():
        part = np.asarray(lines[name]).reshape(len(lines), -1).T
        out[row : row + len(part)] = part
        row += len(part)
    return out
