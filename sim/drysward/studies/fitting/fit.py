"""What readings say of a scenario's numbers, of its instruments, and of the fields today.

What is not known are the draws of the scenario (``studies.doubt``) and, of each probe, its offset
and gain. One change of each number at a time shows which of them readings can bear on, by the
exact linear update. These are fitted by a smoother of an ensemble; what the others could do to the
readings counts as error of the readings, and they are drawn from what misfit is left.
"""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from drysward.drive.runs import compiled_run_site
from drysward.faults import Fault, FaultyInput
from drysward.results.smoother import STEPS, linear_update, smoothed
from drysward.scenario.load import from_tree
from drysward.scenario.model import SKINNED, Scenario
from drysward.site.stretches import turf_new_year, turf_year_of
from drysward.special import ndtr, ndtri
from drysward.studies.doubt.crossed import drawn_numbers
from drysward.studies.doubt.draws import (
    Doubtful,
    draws_at,
    even_shares,
    placed,
    varying_together,
)
from drysward.studies.fitting.observe import (
    errors_of,
    full_storage_m3,
    instruments_of,
    offset_and_gain,
    predicted,
    through_instruments,
)
from drysward.studies.fitting.readings import KINDS, LEVEL, Reading, Readings
from drysward.studies.fitting.seasons import Span, seasons_so_far, span_of
from drysward.studies.season.logs import Log
from drysward.weather.record import DailyRecord

FloatArray = NDArray[np.float64]

DRAWS = 100
MOST_FITTED = 10  # numbers beside those of instruments; more would need more draws
LEAST_FALL = 0.05  # share of a number's variance that readings must take to be worth fitting
LEAST_NARROWED = 0.10  # fall of the spread under which a number counts as hardly narrowed
CONFOUNDED = 0.8  # correlation after readings from which two numbers stand for one another
FEWEST_READINGS = 3
_TOGETHER = 16  # draws side by side
_STATES = ("depletion", "green", "wilt")  # of today
STORAGE = "storage"  # of the site, as a share of the full, where its level was read
# Numbers that no reading of soil or turf of this season bears on.
_NOT_OF_FIELDS = ("overrides.system_design.", "plans.")
_OF_SUPPLY = ("overrides.supply.", "supply.")
# The shape of a pond turns levels into volumes, and counts as known.
_OF_SHAPE = tuple(f"supply.storage.{key}" for key in ("capacity", "depth", "side_slope", "table"))


@dataclass(frozen=True, eq=False)
class Before:
    """A number before and after readings: 5%, median and 95%, in ``unit``.

    ``fall`` is the fall of the standard deviation of its normal score, 0..1, and ``expected`` that
    of the linear theory. ``name`` are its words; ``key`` is "" for an offset or a gain.
    """

    name: str
    key: str
    unit: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    fall: float
    expected: float


@dataclass(frozen=True, eq=False)
class Reproduced:
    """How readings of a kind came out: bias and RMS (reading less median, in the base unit of the
    kind), and shares inside the middle 50% and 90%.
    """

    kind: str
    n: int
    bias: float
    rms: float
    inside_50: float
    inside_90: float


@dataclass(frozen=True, eq=False)
class Next:
    """A reading that could come next on a field, and by what share it would narrow today's
    depletion there.
    """

    field: str
    what: str
    fall: float


@dataclass(frozen=True, eq=False)
class Fitted:
    """What readings say.

    Parameters
    ----------
    numbers : fitted, as drawn. values : (N, d) of them after the readings.
    probes : by instrument its offset (water by volume) and gain after the readings, (N, 2).
    scores, scores_before : (N, d + 2 I) normal scores after and before, offset and gain of each of
        I instruments last.
    left : share of the variance of each number of ``not_fitted`` that readings would leave.
    reproduced : by kind, of the readings that were fitted. held_out : of those kept out.
    confounded : names of two numbers and their correlation after the readings.
    today : by state, (N, F) on the evening of ``date``, and (N, 1) for STORAGE.
    counted : (n,) how much each reading did.
    """

    numbers: tuple[Doubtful, ...]
    values: FloatArray
    probes: Mapping[str, FloatArray]
    scores: FloatArray
    scores_before: FloatArray
    rows: tuple[Before, ...]
    not_fitted: tuple[str, ...]
    left: FloatArray
    reproduced: tuple[Reproduced, ...]
    held_out: tuple[Reproduced, ...]
    confounded: tuple[tuple[str, str, float], ...]
    next: tuple[Next, ...]
    today: Mapping[str, FloatArray]
    today_before: Mapping[str, FloatArray]
    date: np.datetime64
    readings: Readings
    counted: FloatArray
    notes: tuple[str, ...]

    @property
    def hardly_narrowed(self) -> tuple[str, ...]:
        """Names of fitted numbers whose spread hardly fell."""
        return tuple(row.name for row in self.rows if row.fall < LEAST_NARROWED)


class Model:
    """Readings and states of draws of a scenario, by normal scores of its numbers.

    Parameters
    ----------
    stop : the day after the last to run. has_levels : whether the level of the pond is read, which
        bears on numbers of the supply.

    ``numbers`` (D,) are all that is drawn.
    """

    def __init__(
        self,
        scenario: Scenario,
        log: Log,
        record: DailyRecord,
        stop: np.datetime64,
        workers: int | None = None,
        has_levels: bool = False,
    ) -> None:
        self.scenario, self.log, self.record, self.stop = scenario, log, record, stop
        self.has_levels = has_levels
        self.spans: dict[int, Span] = {}
        self.tree = tomllib.loads(scenario.text)
        aside = (*_NOT_OF_FIELDS, *(_OF_SHAPE if has_levels else _OF_SUPPLY))
        self.numbers = tuple(
            one for one in drawn_numbers(scenario) if not one.key.startswith(aside)
        )
        self.workers = workers or os.cpu_count() or 1
        self.likely = np.array([one.range.likely for one in self.numbers])

    def values(self, scores: FloatArray) -> FloatArray:
        """Values (K, D) of all numbers from their normal scores (K, D)."""
        u = np.clip(ndtr(scores), 1e-9, 1.0 - 1e-9)
        shares = varying_together(u, [one.key for one in self.numbers])
        return draws_at(self.numbers, u, shares).values

    def run(
        self, scores: FloatArray, readings: Sequence[Reading]
    ) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Readings (K, n) by instruments without error, and today's states (K, F)."""
        compiled_run_site()
        values = self.values(scores)
        years = self._years(readings)

        def some(places: range) -> tuple[FloatArray, dict[str, FloatArray]]:
            drawn = [self.drawn(values[k]) for k in places]
            out = np.empty((len(drawn), len(readings)))
            for year, here in years.items():
                seasons = seasons_so_far(drawn, self.spans[year], self.log, self.has_levels)
                out[:, here] = predicted(seasons, [readings[i] for i in here])
            states = {name: seasons.daily[name][:, -1] for name in _STATES}
            if self.has_levels:
                states[STORAGE] = seasons.storage_m3[:, -1:] / full_storage_m3(self.scenario)
            return out, states

        chunks = [range(i, min(i + _TOGETHER, len(values)))
                  for i in range(0, len(values), _TOGETHER)]  # fmt: skip
        with ThreadPoolExecutor(self.workers) as pool:
            found = list(pool.map(some, chunks))
        return (
            np.concatenate([one for one, _ in found]),
            {name: np.concatenate([of[name] for _, of in found]) for name in found[0][1]},
        )

    def _years(self, readings: Sequence[Reading]) -> dict[int, list[int]]:
        """Places of the readings by turf year, that of today last; spans of new years are added."""
        southern = self.scenario.site.latitude_deg < 0.0
        last = int(turf_year_of(np.array([self.stop - 1]), southern)[0])
        of = turf_year_of(np.array([one.date for one in readings], "datetime64[D]"), southern)
        for year in sorted({last, *map(int, of)} - self.spans.keys()):
            ends = min(self.stop, turf_new_year(year + 1, southern))
            self.spans[year] = span_of(self.scenario, self.record, ends)
        return {year: np.flatnonzero(of == year).tolist() for year in sorted({last, *map(int, of)})}

    def drawn(self, values: FloatArray) -> Scenario:
        """The scenario with other values (D,); those that are as likely stay as they are."""
        row = {
            one.key: one.written(value)
            for one, value, likely in zip(self.numbers, values, self.likely, strict=True)
            if not math.isclose(value, likely, rel_tol=1e-9, abs_tol=1e-12)
        }
        of, tree = self.scenario, placed(self.tree, row)
        for table in ("costs", "sizing"):  # what is paid or sought is no part of a draw
            tree.pop(table, None)
        drawn = from_tree(tree, of.folder, "a draw", of.text, climate_is_checked=True)
        return replace(drawn, weather=of.weather)


@dataclass(frozen=True, eq=False)
class Effects:
    """What one standard score of each number changes, instruments last: readings (n, D + 2 I), and
    today's states (F, D + 2 I) by name, about the scenario as it stands.
    """

    readings: FloatArray
    states: dict[str, FloatArray]


def effects_of(model: Model, readings: Sequence[Reading]) -> Effects:
    """Effects by central differences, one number at a time."""
    d = len(model.numbers)
    both, states = model.run(np.vstack([np.zeros((1, d)), np.eye(d), -np.eye(d)]), readings)
    center, up, down = both[0], both[1 : d + 1], both[d + 1 :]
    on_instruments = []
    n_of = 2 * len(instruments_of(readings))
    for i in range(n_of):
        scores = np.eye(n_of)[i : i + 1]
        on_instruments.append(through_instruments(center[None], scores, readings)[0] - center)
    of_states = {
        name: np.hstack([0.5 * (of[1 : d + 1] - of[d + 1 :]).T, np.zeros((of.shape[1], n_of))])
        for name, of in states.items()
    }
    return Effects(np.vstack([0.5 * (up - down), *on_instruments]).T, of_states)


def fit(
    scenario: Scenario,
    readings: Readings,
    log: Log,
    record: DailyRecord,
    today: np.datetime64 | None = None,
    n_draws: int = DRAWS,
    most: int = MOST_FITTED,
    hold_out: bool = False,
    seed: int = 1,
    workers: int | None = None,
    on_progress: Callable[[float], None] | None = None,
) -> Fitted:
    """Fit the numbers of a scenario to readings of one season or several.

    Parameters
    ----------
    readings, log : as ``read_readings`` and ``read_log`` give them. The account of each turf year
        with readings begins on its own, in the year before it.
    record : daily weather to the day of the last reading, or beyond.
    today : the day after the last to run; the day after the last reading when None.
    n_draws : members of the ensemble. most : numbers to fit, beside those of instruments.
    hold_out : keep the last third of the readings out, and see how they are foretold.
    workers : threads; as many as there are cores when None. No number changes any result.

    FaultyInput for fewer than FEWEST_READINGS, and where the scenario was not read from text.
    """
    if not scenario.text:
        raise FaultyInput(Fault("fit", "the scenario has no text to be drawn from"))
    if len(readings) < FEWEST_READINGS:
        what = f"has {len(readings)} readings that count"
        raise FaultyInput(Fault(readings.path, what, f"{FEWEST_READINGS} or more"))
    say = on_progress or (lambda share: None)
    every = readings.each
    stop = every[-1].date + 1 if today is None else today
    has_levels = any(one.kind == LEVEL for one in every)
    model = Model(scenario, log, record, stop, workers, has_levels)
    n_fitted = len(every) - (len(every) // 3 if hold_out else 0)
    used = slice(0, n_fitted)
    possible = candidates(scenario, instruments_of(every), stop - 1)
    effects = effects_of(model, (*every, *(one for of in possible for one in of.readings)))
    say(0.25)
    error = errors_of(every, scenario)

    # Which numbers the readings can bear on, by the exact update of all of them at once.
    d, n_of = len(model.numbers), 2 * len(instruments_of(every))
    whole = np.eye(d + n_of)
    operator = effects.readings[: len(every), : d + n_of]
    exact = linear_update(
        np.zeros(d + n_of), whole, operator[used], np.zeros(n_fitted), error[used, used]
    ).covariance
    falls = 1.0 - np.diag(exact)[:d]
    order = np.argsort(-falls, kind="stable")[:most]
    chosen = np.sort(order[falls[order] >= LEAST_FALL])
    others = np.setdiff1d(np.arange(d), chosen)
    # What the others could do counts as error.
    aside = operator[:, others]
    with_others = error + aside @ aside.T

    at = np.concatenate([chosen, d + np.arange(n_of)])
    before = ndtri(even_shares(at.size, n_draws, [seed, 19]))
    rng = np.random.default_rng([seed, 23])
    step = 0

    def run(
        scores: FloatArray, of_others: FloatArray
    ) -> tuple[FloatArray, dict[str, FloatArray]]:
        nonlocal step
        every_score = np.zeros((len(scores), d))
        every_score[:, chosen], every_score[:, others] = scores[:, : chosen.size], of_others
        values, states = model.run(every_score, every)
        step += 1
        say(0.25 + 0.75 * step / (len(STEPS) + 2))
        return through_instruments(values, scores[:, chosen.size :], every), states

    nothing = np.zeros((n_draws, others.size))
    states_before: dict[str, FloatArray] = {}

    def predict(scores: FloatArray) -> FloatArray:
        out, states = run(scores, nothing)
        if not states_before:
            states_before.update(states)
        return out[:, used]

    out = smoothed(before, predict, readings.values[used], with_others[used, used], seed)
    # What is left of each member's misfit says a little of the others, which are drawn from it.
    off = readings.values[used] - predict(out.members)
    of_others = _drawn_from(off, aside[used], error[used, used], out.counted, rng)
    final, states = run(out.members, of_others)
    unfitted = rng.standard_normal((n_draws, others.size))
    for name, of in states_before.items():
        spread = of + unfitted @ effects.states[name][:, others].T
        states_before[name] = spread if name == "depletion" else np.clip(spread, 0.0, 1.0)

    linear = linear_update(
        np.zeros(at.size), np.eye(at.size), operator[used][:, at], np.zeros(n_fitted),
        with_others[used, used],
    ).covariance  # fmt: skip
    fitted_numbers = tuple(model.numbers[i] for i in chosen)
    after_values = _values_of(model, out.members, chosen)
    rows = _rows(model, fitted_numbers, after_values, before, out.members, linear, every)
    foretold = _foretold(final, readings.values, error, used, seed)
    probes = {}
    for i, name in enumerate(instruments_of(every)):
        at_probe = chosen.size + 2 * i
        probes[name] = np.stack(offset_and_gain(out.members[:, at_probe : at_probe + 2]), axis=1)
    return Fitted(
        numbers=fitted_numbers,
        values=after_values,
        probes=probes,
        scores=out.members,
        scores_before=before,
        rows=rows,
        not_fitted=tuple(name_of(model.numbers[i], scenario) for i in others),
        left=1.0 - falls[others],
        reproduced=_reproduced(every[used], readings.values[used], foretold[:, used]),
        held_out=_reproduced(every[n_fitted:], readings.values[n_fitted:], foretold[:, n_fitted:]),
        confounded=_confounded([row.name for row in rows], out.members),
        next=_next(model, effects, possible, out.members, at, len(every)),
        today=states,
        today_before=states_before,
        date=stop - 1,
        readings=readings,
        counted=out.counted,
        notes=(*readings.notes, *log.notes),
    )


def _drawn_from(
    off: FloatArray,
    aside: FloatArray,
    error: FloatArray,
    counted: FloatArray,
    rng: np.random.Generator,
) -> FloatArray:
    """Scores (N, r) of numbers that were not fitted, given the misfits (N, n) of each member.

    ``aside`` (n, r) are their effects on the readings, which ``counted`` (n,) so much. Exact for
    lines: a draw of the prior, moved by what its own effects leave unexplained.
    """
    inflated = error + np.diag(np.diag(error) * (1.0 / counted - 1.0))
    free = rng.standard_normal((len(off), aside.shape[1]))
    noise = rng.standard_normal(off.shape) @ np.linalg.cholesky(inflated).T
    left = off - free @ aside.T - noise
    moved: FloatArray = free + np.linalg.solve(inflated + aside @ aside.T, left.T).T @ aside
    return moved


def name_of(number: Doubtful, scenario: Scenario) -> str:
    """What a number is, and of what: the first clause of its meaning, and the label of its entry;
    its key where the vocabulary has no meaning.
    """
    parts = number.key.split(".")
    if not number.meaning:
        return number.key.removeprefix("overrides.")
    words = re.split(r"[;:,(]", number.meaning.removesuffix("."))[0].strip()
    words = words if words[:2].isupper() else words[0].lower() + words[1:]
    if parts[0] == "overrides":
        of = scenario.catalog.get(parts[1], parts[2]).label
    elif parts[0] == "fields":
        of = scenario.field_named(parts[1]).label
    else:
        of = parts[-2]
    return f"{words} ({of})"


def _catalog_unit(key: str, scenario: Scenario) -> str:
    """Unit of a number that a scenario overrides, which its tables write bare; "" for a share."""
    parts = key.split(".")
    if parts[0] != "overrides":
        return ""
    unit = scenario.catalog.get(parts[1], parts[2]).parameter(parts[3]).unit
    return "" if unit == "1" else unit


def _values_of(model: Model, scores: FloatArray, chosen: NDArray[np.int64]) -> FloatArray:
    whole = np.zeros((len(scores), len(model.numbers)))
    whole[:, chosen] = scores[:, : chosen.size]
    return model.values(whole)[:, chosen]


def _three(values: FloatArray) -> tuple[float, float, float]:
    low, median, high = (float(x) for x in np.quantile(values, [0.05, 0.5, 0.95]))
    return low, median, high


def _rows(
    model: Model,
    numbers: Sequence[Doubtful],
    after_values: FloatArray,
    before: FloatArray,
    after: FloatArray,
    linear: FloatArray,
    readings: Sequence[Reading],
) -> tuple[Before, ...]:
    """Each number before and after, offsets and gains last."""
    fall = 1.0 - after.std(axis=0) / before.std(axis=0)
    expected = 1.0 - np.sqrt(np.diag(linear))
    quantiles = np.array([0.05, 0.5, 0.95])
    rows = []
    for i, one in enumerate(numbers):
        low, median, high = (float(x) for x in one.range.quantile(quantiles))
        unit = one.unit or _catalog_unit(one.key, model.scenario)
        rows.append(
            Before(name_of(one, model.scenario), one.key, unit, (low, median, high),
                   _three(after_values[:, i]), float(fall[i]), float(expected[i]))
        )  # fmt: skip
    for i, name in enumerate(instruments_of(readings)):
        at = slice(len(numbers) + 2 * i, len(numbers) + 2 * i + 2)
        old = offset_and_gain(ndtri(np.column_stack([quantiles, quantiles])))
        for j, (what, of, prior, scale, unit) in enumerate(
            zip(("offset", "gain"), offset_and_gain(after[:, at]), old, (100.0, 1.0),
                ("points", ""), strict=True)
        ):  # fmt: skip
            low, median, high = (float(x) * scale for x in prior)
            k = len(numbers) + 2 * i + j
            rows.append(
                Before(f"{what} of {name}", "", unit, (low, median, high), _three(of * scale),
                       float(fall[k]), float(expected[k]))
            )  # fmt: skip
    return tuple(rows)


def _foretold(
    final: FloatArray, values: FloatArray, error: FloatArray, used: slice, seed: int
) -> FloatArray:
    """Readings (N, n) that members lead one to expect, with the errors of readings.

    For readings that were not used, given how far off the used ones are: they share days, spots
    and the model's own error.
    """
    rng = np.random.default_rng([seed, 53])
    out = np.empty_like(final)
    n = used.stop
    root = np.linalg.cholesky(error[used, used])
    out[:, used] = final[:, used] + rng.standard_normal((len(final), n)) @ root.T
    if n < final.shape[1]:
        late = slice(n, None)
        along = np.linalg.solve(error[used, used], error[used, late]).T
        left = error[late, late] - along @ error[used, late]
        off = values[used] - final[:, used]
        noise = rng.standard_normal((len(final), final.shape[1] - n))
        out[:, late] = final[:, late] + off @ along.T + noise @ np.linalg.cholesky(left).T
    return out


def _reproduced(
    readings: Sequence[Reading], values: FloatArray, foretold: FloatArray
) -> tuple[Reproduced, ...]:
    rows = []
    for kind in KINDS:
        here = [i for i, one in enumerate(readings) if one.kind == kind]
        if not here:
            continue
        y, of = values[here], foretold[:, here]
        off = y - np.median(of, axis=0)
        inside = []
        for share in (0.5, 0.9):
            low, high = np.quantile(of, [0.5 - share / 2, 0.5 + share / 2], axis=0)
            inside.append(float(((low <= y) & (y <= high)).mean()))
        rms = float(np.sqrt((off**2).mean()))
        rows.append(Reproduced(kind, len(here), float(off.mean()), rms, *inside))
    return tuple(rows)


def _confounded(names: Sequence[str], scores: FloatArray) -> tuple[tuple[str, str, float], ...]:
    together = np.atleast_2d(np.corrcoef(scores.T))
    return tuple(
        (names[i], names[j], float(together[i, j]))
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if abs(together[i, j]) > CONFOUNDED
    )


@dataclass(frozen=True, eq=False)
class Candidate:
    """Readings that could come next on field ``f``, and what a person would call them."""

    f: int
    what: str
    readings: tuple[Reading, ...]


# Kind, words, a usual value in the base unit, depth (mm), and how many spots (own choice).
_CANDIDATES = (
    ("moisture", "three moisture readings, 3 in rods", 0.15, 76.2, 3),
    ("rooting depth", "a root core", 150.0, 0.0, 1),
    ("field capacity", "a soil test of field capacity, top 4 in", 0.25, 101.6, 1),
    ("wilting point", "a soil test of wilting point, top 4 in", 0.10, 101.6, 1),
    ("uniformity", "a catch test of uniformity", 0.7, 0.0, 1),
    ("precipitation rate", "a catch test of the rate", 12.0, 0.0, 1),
    ("wilt", "the share of wilt, by eye", 0.1, 0.0, 1),
    ("green cover", "green cover, by photograph", 0.9, 0.0, 1),
)


def candidates(
    scenario: Scenario, instruments: Sequence[str], date: np.datetime64
) -> tuple[Candidate, ...]:
    """What could be read of each field on ``date``, moisture with the first of ``instruments``."""
    probe = instruments[0] if instruments else "probe"
    return tuple(
        Candidate(f, words, tuple(
            Reading(-1, date, f, kind, value, depth_mm, f"spot {spot}",
                    probe if kind == "moisture" else "")
            for spot in range(n)
        ))
        for f, spec in enumerate(scenario.fields)
        for kind, words, value, depth_mm, n in _CANDIDATES
        if spec.surface != SKINNED or not KINDS[kind].needs_turf
    )  # fmt: skip


def _next(
    model: Model,
    effects: Effects,
    possible: Sequence[Candidate],
    after: FloatArray,
    at: NDArray[np.int64],
    n_read: int,
) -> tuple[Next, ...]:
    """Candidates, those that narrow most of today's depletion first, by the linear update.

    What is known after the readings is the ensemble's covariance of the numbers ``at`` that were
    fitted, and the prior of the rest. ``n_read`` readings of ``effects`` come before candidates.
    """
    n_numbers = effects.readings.shape[1]
    covariance = np.eye(n_numbers)
    covariance[np.ix_(at, at)] = np.cov(after.T).reshape(at.size, at.size)
    rows = []
    place = n_read
    for one in possible:
        operator = effects.readings[place : place + len(one.readings)]
        place += len(one.readings)
        state = effects.states["depletion"][one.f]
        now = state @ covariance @ state
        if now <= 0.0:
            continue
        n = len(one.readings)
        then = linear_update(
            np.zeros(n_numbers), covariance, operator, np.zeros(n),
            errors_of(one.readings, model.scenario),
        ).covariance  # fmt: skip
        fall = 1.0 - np.sqrt(max(state @ then @ state, 0.0) / now)
        rows.append(Next(model.scenario.fields[one.f].key, one.what, float(fall)))
    return tuple(sorted(rows, key=lambda row: -row.fall))
