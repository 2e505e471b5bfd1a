"""Which cards a run uses, how many runs go there together, and whether a card counts as it should.

A card and the processor give the same numbers to ``TOLERANCE``. They do the same arithmetic in the
same order, without contraction; exponentials, logarithms and powers may differ in their last bits.
"""

from __future__ import annotations

import importlib.util
import itertools
import threading
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from drysward.card.drive import Card, Processor, Reduced, Turns, Windows
from drysward.card.kernels import is_simulated
from drysward.day.records import FEED_YEAR, PLAY_YEAR, YEAR, as_values
from drysward.drive.runs import Runs, advance_all
from drysward.faults import Fault, FaultyInput, quoted
from drysward.scenario.model import Scenario
from drysward.site.stretches import PreparedSite
from drysward.site.supply import site_record, supply_of

CPU, GPU, AUTO = "cpu", "gpu", "auto"
# Largest difference of a depth (mm) or another number of a year between a card and the processor.
TOLERANCE = 1e-9
# Largest share of counted days on which a stage may be reached on one of them alone: a tie.
TIES = 1e-6
CHECKED_RUNS = 16
# Batches in hand for each card: one runs while others are made ready and read.
BATCHES_A_CARD = 3
# Runs of a batch take no more than this, here and on the card each: enough to fill a large card. Of
# a small card they take no more than a share.
BATCH_BYTES, SHARE_OF_CARD = 2**32, 0.15
_LEAST_TOGETHER = 256
# With ``auto`` a card is used from so many years of a plan on a field on.
WORTH_A_CARD = 300_000


class Cards:
    """Cards of this machine by number. Every thread that runs plans has one of them."""

    def __init__(self, numbers: tuple[int, ...], checked: int = CHECKED_RUNS) -> None:
        self.numbers, self.checked = numbers, checked
        self._next = itertools.cycle(numbers)
        self._turns = {number: Turns() for number in numbers}
        self._lock = threading.Lock()
        self._mine = threading.local()
        self._is_checked = False

    @property
    def threads(self) -> int:
        """Threads that keep the cards busy."""
        return BATCHES_A_CARD * len(self.numbers)

    def most_together(self, n_fields: int, years_held: int) -> int:
        """Plans that fit into a batch, with so many years of a stretch."""
        of_year = YEAR.itemsize + PLAY_YEAR.itemsize + FEED_YEAR.itemsize
        of_run = years_held * of_year + 40_000
        card = self._here()
        most = min(BATCH_BYTES, int(SHARE_OF_CARD * card.memory)) // of_run
        # A card takes its runs in rounds, and the last takes as long with few runs as with many.
        if most > card.at_once:
            most -= most % card.at_once
        return max(most // n_fields, _LEAST_TOGETHER // n_fields, 1)

    def advance(
        self, site: PreparedSite, runs: Runs, keep: Sequence[str] = (), checks: bool = True
    ) -> Reduced:
        """Take runs through a stretch, as ``advance_all`` without odds by day of the year; of the
        first that are to be checked some are compared with the processor.

        Of their years the names ``keep`` of YEAR come back, and what is ``Reduced``.

        FaultyInput for a shared supply, ArithmeticError when card and processor differ.
        """
        if site.supply.site["on"].any():
            raise _refused_supply(site.scenario)
        with self._lock:
            checks = checks and self.checked > 0 and not self._is_checked
            self._is_checked = self._is_checked or checks
        places = _spread(len(runs.specs), self.checked)
        sample = runs.some(places) if checks else None
        windows = Windows(self._here(), counts_days=False, keep=keep)
        advance_all(site, runs, windows=windows)
        assert windows.reduced is not None
        if sample is not None:
            sample.empty_years(len(site.years))
            advance_all(site, sample)
            require_equal(sample, runs.some(places), windows.reduced.some(places))
        return windows.reduced

    def _here(self) -> Card | Processor:
        """The card of this thread."""
        if not hasattr(self._mine, "card"):
            with self._lock:
                number = next(self._next)
            self._mine.card = self._card(number)
        card: Card | Processor = self._mine.card
        return card

    def _card(self, number: int) -> Card | Processor:
        return Card(number, self._turns[number])


def cards_of(device: str, work: int, checked: int = CHECKED_RUNS) -> Cards | None:
    """The cards that ``device`` names; None for the processor.

    ``device`` is "cpu", "gpu", "gpu:0,2" for some by number, or "auto": the cards there are, for a
    ``work`` of years of plans on fields that is worth it. FaultyInput where it cannot be.
    """
    if device == CPU or (device == AUTO and work < WORTH_A_CARD):
        return None
    kind, _, text = device.partition(":")
    if kind not in (GPU, AUTO) or (kind == AUTO and text):
        allowed = "cpu, gpu, gpu:0,1 for some of several cards, or auto"
        raise FaultyInput(Fault("device", f"{quoted(device)} is not a device", allowed))
    there, why = _cards_there()
    if not there:
        if kind == AUTO:
            return None
        raise FaultyInput(Fault("device", f"no card can be used: {why}", 'device "cpu" runs it'))
    if not text:
        return Cards(there if kind == GPU else there[:1], checked)
    try:
        chosen = tuple(int(part) for part in text.split(","))
    except ValueError:
        chosen = (-1,)
    if not set(chosen) <= set(there):
        allowed = f"numbers among {', '.join(map(str, there))}"
        raise FaultyInput(Fault("device", f"{quoted(device)} names no card here", allowed))
    return Cards(chosen, checked)


def cards_for(
    scenario: Scenario, device: str, work: int, checked: int, daily: bool = False
) -> Cards | None:
    """As ``cards_of``, for a scenario. What ``refuse_for_cards`` refuses goes to the processor with
    "auto", and is refused with a card that was named.
    """
    cards = cards_of(device, work, checked)
    if cards is not None:
        try:
            refuse_for_cards(scenario, daily)
        except FaultyInput:
            if device != AUTO:
                raise
            return None
    return cards


def _cards_there() -> tuple[tuple[int, ...], str]:
    """Numbers of the cards of this machine, or why there are none."""
    if importlib.util.find_spec("numba_cuda") is None:
        return (), "numba-cuda is not installed (pip install 'drysward[gpu]')"
    if is_simulated():
        return (0,), ""
    from numba import cuda

    if not cuda.is_available():
        return (), "there is no NVIDIA card with a driver"
    return tuple(range(len(cuda.gpus))), ""


def refuse_for_cards(scenario: Scenario, daily: bool = False) -> None:
    """FaultyInput for what only the processor runs: a shared supply, functions, and daily series.

    Fields that share water wait for one another every day, and a card runs each field by itself.
    """
    if site_record(supply_of(scenario), scenario).on[0]:
        raise _refused_supply(scenario)
    if any(plan.function is not None for plan in scenario.plans):
        what = "a card cannot call a plan's Python function"
        raise FaultyInput(Fault("device", what, 'device "cpu" runs it'))
    if daily:
        what = "a card keeps years and not single days, and the sweep keeps daily series"
        raise FaultyInput(Fault("device", what, 'device "cpu" runs it; or no daily series'))


def _refused_supply(scenario: Scenario) -> FaultyInput:
    what = (
        f"'{scenario.title}' has a water supply, crew or machines that its fields share, "
        "and a card runs each field by itself"
    )
    return FaultyInput(Fault("device", what, 'device "cpu" runs it; or no limits of supply'))


def _spread(n: int, some: int) -> np.ndarray:
    """Places of ``some`` of ``n``, as far apart as can be."""
    return np.unique(np.linspace(0, n - 1, min(n, some)).round().astype(int))


def require_equal(ours: Runs, theirs: Runs, reduced: Reduced | None = None) -> None:
    """ArithmeticError unless both did the same, to ``TOLERANCE`` and ``TIES``; ``reduced`` are
    years of ``theirs`` of which days were not counted.
    """
    pairs = _numbers(ours, theirs) if reduced is None else _reduced_numbers(ours, theirs, reduced)
    for name, one, other in pairs:
        different = np.isnan(one) != np.isnan(other)
        if one.size and (different.any() or np.nanmax(np.abs(one - other), initial=0) > TOLERANCE):
            worst = np.nanmax(np.abs(one - other), initial=0)
            _refuse(f"{name} by {worst:.3g}")
    if reduced is not None:
        return
    green = np.abs(ours.green - theirs.green).max()
    if not green <= TOLERANCE:
        _refuse(f"green cover by {green:.3g}")
    counts = np.abs(ours.odds - theirs.odds).sum()
    if counts > TIES * ours.years.shape[-1] * ours.odds[..., 0, :].size:
        _refuse(f"the days on which stages are reached by {counts}")


def _numbers(ours: Runs, theirs: Runs) -> Iterator[tuple[str, Any, Any]]:
    """Names and values of the years, and of the state at the end."""
    for part in ("years", "play", "fed"):
        yield from _by_name(getattr(ours, part), getattr(theirs, part))
    yield from _numbers_at_end(ours, theirs)


def _reduced_numbers(
    ours: Runs, theirs: Runs, reduced: Reduced
) -> Iterator[tuple[str, Any, Any]]:
    """As ``_numbers``, of what comes back; in place of totals, means of the years."""
    for name, values in reduced.yearly.items():
        yield name, ours.years[name][..., : values.shape[-1]], values
    years = as_values(ours.years)
    for one, other in (
        (years.mean(axis=-2), reduced.total / years.shape[-2]),
        (years.max(axis=-2, initial=0.0), reduced.most),
    ):
        yield from _by_name(one.view(YEAR), np.ascontiguousarray(other).view(YEAR))
    for of_kind, came_back in ((ours.play, reduced.play), (ours.fed, reduced.fed)):
        yield from _by_name(of_kind[..., : came_back.shape[-1]], came_back)
    yield from _numbers_at_end(ours, theirs)


def _numbers_at_end(ours: Runs, theirs: Runs) -> Iterator[tuple[str, Any, Any]]:
    for part in ("states", "patches"):
        yield from _by_name(getattr(ours, part), getattr(theirs, part))
    yield "shortage", ours.shortage, theirs.shortage


def _by_name(one: np.ndarray, other: np.ndarray) -> Iterator[tuple[str, Any, Any]]:
    for name in one.dtype.names or ():
        yield name, np.asarray(one[name]), np.asarray(other[name])


def _refuse(what: str) -> None:
    raise ArithmeticError(
        f"the card and the processor differ in {what}; run it with --device cpu, and please report "
        "it with the scenario and the card's name"
    )
