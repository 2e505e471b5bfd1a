"""How often fits to readings hold the truth: twins whose truth is drawn from the prior.

    python tests/benchmarks/coverage_of_fits.py [TWINS [DRAWS [FIRST]]]

Each twin draws every uncertain number of a scenario of two fields, and a probe's offset and gain,
from their priors. The truths of all twins are a Latin hypercube: a number that readings say little
of has the ranks of its truths, and 200 plain draws of many numbers leave some uneven by luck. A
twin runs the season of 2018 at Baltimore/Washington on a log of irrigation, and makes 60 readings
with the errors of the catalog. The first 40 are fitted. Printed are ranks of the truth among 19
draws (Talts et al. 2018, arXiv 1804.06788) in 10 bins with their 99% band, how often the truth lies
in the middle 50% and 90%, how often later readings do, and how the spread fell beside the linear
theory. The full count is 200 twins.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.stats import norm
from scipy.stats.qmc import LatinHypercube

import drysward
from drysward.results.smoother import rank_of, ranks_in_bins
from drysward.site.weather_years import read_record
from drysward.studies.fitting.fit import DRAWS, Model, fit
from drysward.studies.fitting.observe import errors_of, through_instruments
from drysward.studies.fitting.readings import Reading, Readings
from drysward.studies.season.logs import Log

DATA = Path(__file__).parents[1] / "data"
TODAY = np.datetime64("2018-09-20")
N_READINGS, KEPT, BINS = 60, 19, 10
EVERY = 10  # twins after which results are printed


def log_of_season() -> Log:
    """Sand watered every fourth day in summer, loam six times."""
    sand = {np.datetime64("2018-05-20") + 4 * i: 12.0 for i in range(24)}
    loam = {np.datetime64("2018-06-20") + 9 * i: 20.0 for i in range(6)}
    return Log("log", {"sand": sand, "loam": loam}, {"sand": {}, "loam": {}}, (), None)


def layout(seed: int = 1) -> tuple[Reading, ...]:
    """When and what is read: each field on 30 days, moisture mostly, wilt every sixth day."""
    days = np.arange(np.datetime64("2018-05-01"), TODAY)
    dates = np.sort(np.random.default_rng(seed).choice(days, N_READINGS // 2, replace=False))
    return tuple(
        Reading(2 * i + f, day, f, "wilt" if i % 6 == 5 else "moisture", 0.0,
                (76.2, 120.0)[i % 2] if i % 6 != 5 else 0.0, "", "" if i % 6 == 5 else "probe")
        for i, day in enumerate(dates)
        for f in (0, 1)
    )  # fmt: skip


def readings_of(scenario, record, seed, place, n):
    """Scores of the truth of all numbers, of the probe, today's depletion, and its readings, for
    the twin at ``place`` of ``n``.
    """
    rng = np.random.default_rng([seed, 71])
    model, asked = Model(scenario, log_of_season(), record, TODAY), layout()
    n_numbers = len(model.numbers)
    truths = norm.ppf(LatinHypercube(n_numbers + 2, rng=seed - place).random(n)[place])
    scores, probe = truths[None, :n_numbers], truths[None, n_numbers:]
    values, states = model.run(scores, asked)
    error = np.linalg.cholesky(errors_of(asked, scenario)) @ rng.standard_normal(len(asked))
    read = through_instruments(values, probe, asked)[0] + error
    each = tuple(replace(one, value=float(y)) for one, y in zip(asked, read, strict=True))
    truth = {one.key: x for one, x in zip(model.numbers, model.values(scores)[0], strict=True)}
    return truth, probe[0], states["depletion"][0], Readings("twin", each, ())


class Twin(NamedTuple):
    """What one twin shows, by name: the truth's rank and whether it lies in the middle 50% and
    90%, the fall of the spread beside linear theory, and the share of later readings in the middle.
    """

    ranks: dict[str, int]
    middle: dict[str, tuple[bool, bool]]
    falls: dict[str, tuple[float, float]]
    later: list[tuple[float, float, int]]


def twin(seed: int, n: int, n_draws: int, first: int) -> Twin:
    """Make the readings of a truth and fit the scenario to them."""
    scenario = drysward.load(DATA / "two-fields.toml")
    record = read_record(scenario)
    truth, probe, depletion, readings = readings_of(scenario, record, seed, seed - first, n)
    out = fit(scenario, readings, log_of_season(), record, TODAY, n_draws, hold_out=True, seed=seed)
    found = Twin({}, {}, {}, [])

    def note(name, truth, draws):
        found.ranks[name] = int(rank_of(truth, draws[:: len(draws) // KEPT][:KEPT]))
        low5, low, high, high5 = np.quantile(draws, [0.05, 0.25, 0.75, 0.95])
        found.middle[name] = (low <= truth <= high, low5 <= truth <= high5)

    for i, row in enumerate(out.rows):
        name = row.key.removeprefix("overrides.") or row.name
        found.falls[name] = (row.fall, row.expected)
        if row.key:
            note(name, truth[row.key], out.values[:, i])
    d = len(out.numbers)
    note("offset of probe", probe[0], out.scores[:, d])
    note("gain of probe", probe[1], out.scores[:, d + 1])
    for f, spec in enumerate(scenario.fields):
        note(f"today's depletion, {spec.key}", depletion[f], out.today["depletion"][:, f])
    found.later.extend((one.inside_50, one.inside_90, one.n) for one in out.held_out
                       if one.kind == "moisture")  # fmt: skip
    return found


def main(n: int, n_draws: int, first: int) -> None:
    """Fit ``n`` twins, as many at once as there are cores."""
    began, done = time.perf_counter(), []
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        fitted = partial(twin, n=n, n_draws=n_draws, first=first)
        for one in pool.map(fitted, range(first, first + n)):
            done.append(one)
            print(f"{len(done)}: {time.perf_counter() - began:.0f} s", flush=True)
            if len(done) % EVERY == 0 or len(done) == n:
                report(done, n_draws)


def report(twins, n_draws):
    """Print what the twins so far have shown."""
    later = [one for each in twins for one in each.later]
    ranks = {name: [each.ranks[name] for each in twins] for name in twins[0].ranks}
    print(f"\n{len(twins)} twins, {n_draws} draws each; middle 50% and 90% as shares of the twins")
    print(f"{'':52}  50%  90%  fall linear  ranks (sum of squares; 99% under)")
    for name, of in ranks.items():
        shares = np.mean([each.middle[name] for each in twins], axis=0)
        fall = np.mean([each.falls.get(name, (np.nan, np.nan)) for each in twins], axis=0)
        bins = ranks_in_bins(np.array(of), KEPT, BINS)
        print(f"{name:52} {shares[0]:4.0%} {shares[1]:4.0%} {fall[0]:5.2f} {fall[1]:6.2f} "
              f"{bins.counts.tolist()} {bins.chi_squared:.1f} ({bins.most:.1f})")  # fmt: skip
    every = ranks_in_bins(np.concatenate([np.array(of) for of in ranks.values()]), KEPT, BINS)
    print(f"all: {every.counts.tolist()}, band {every.low} to {every.high} were they apart")
    weights = np.array([w for _, _, w in later])
    for j, share in enumerate((50, 90)):
        held = np.array([one[j] for one in later])
        held_all, low, high = held @ weights / weights.sum(), *np.quantile(held, [0.1, 0.9])
        print(f"later moisture readings in the middle {share}%: {held_all:.0%}; of 8 in 10 twins "
              f"{low:.0%} to {high:.0%}")  # fmt: skip


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:]]
    main(*(words + [200, DRAWS, 1][len(words):]))
