"""How often 5 to 95% across draws hold the truth.

``python tests/benchmarks/coverage_of_draws.py``; not run by pytest. The shipped demo under all of
its plans: 32 draws crossed with 40 years give the limits; a truth is one further draw from the same
distributions, under another seed, and its means over 200 other years (``--long``). Printed is the
share of 200 truths that lie within the limits, by outcome, field and plan: 90 of 100 are wanted.

Of one crossed run that share strays as its limits do, and all truths meet the same ones; the mean
over several runs, each of a seed of its own, says how good the way of making them is
(``--seeds 10``). A truth of 200 years is a count of years and keeps some chance of its own: odds of
1 may be any above 0.997. ``strict`` are truths within the limits as they are; ``by draws`` those
within half of one of its years for odds, half a day in ten years for days and half a mm for water,
which is finer than what is printed; ``years too`` the same of limits widened by the error of the
grand mean, for where the 40 years stand for the climate. An outcome in which fewer than one truth
in 50 differs from the others is left out of the means.
"""

from __future__ import annotations

import argparse

import numpy as np

import drysward
from drysward.results.band import Kind, band
from drysward.results.spread import split_of_sums
from drysward.scenario.load import with_weather
from drysward.scenario.model import Scenario
from drysward.studies.doubt.crossed import WATER, Crossed, crossed

DRAWS, YEARS = 32, 40
TRUTHS, LONG = 200, 200
TRUTH_SEED = 1_000_003
# What a truth cannot tell, or nobody reads: a share of years, days, mm.
HALF_A_STEP = {"reached": 0.5, "days": 0.05, "irrigation": 0.5}
LOOKED_AT: tuple[tuple[str, str, Kind], ...] = (
    ("odds of wilt", "reached_wilt", "odds"),
    ("odds of dormancy", "reached_dormant", "odds"),
    ("days below", "days_below_condition", "amount"),
    ("water", WATER, "amount"),
)


def run_with(scenario: Scenario, seed: int, draws: int, years: int) -> Crossed:
    """Draws and weather years of a seed."""
    return crossed(with_weather(scenario, years=years, seed=seed), draws)


def held(found: Crossed, truth: Crossed, name: str, kind: Kind) -> np.ndarray:
    """Share of the truths (F, P, T) within the limits: strict, by draws, years too (3, F, P)."""
    parts = split_of_sums(found.rows[name], found.columns[name], found.squares[name])
    step = HALF_A_STEP[name.partition("_")[0]]
    if kind == "odds":
        step /= truth.years
    shares = []
    for slack, years_too in ((0.0, False), (step, False), (step, True)):
        limits = band(found.rows[name], parts, kind, years_too)
        # Sums of doubles leave so much of a truth that lies on a limit.
        low, high = (x[..., None] for x in (limits.low, limits.high))
        low, high = low - slack - 1e-9, high + slack + 1e-9
        shares.append(((truth.rows[name] >= low) & (truth.rows[name] <= high)).mean(axis=-1))
    return np.array(shares)


def varies(truths: np.ndarray) -> np.ndarray:
    """Whether enough truths (F, P, T) differ for a share to mean anything."""
    middle = np.median(truths, axis=-1, keepdims=True)
    return np.asarray((truths != middle).mean(axis=-1) > 0.02)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=1, help="crossed runs, each of its own seed")
    parser.add_argument("--long", type=int, default=LONG, help="years of a truth")
    asked = parser.parse_args()
    scenario = drysward.shipped("demo")
    truth = run_with(scenario, TRUTH_SEED, TRUTHS, asked.long)
    runs = [run_with(scenario, seed, DRAWS, YEARS) for seed in range(1, asked.seeds + 1)]
    print(f"{DRAWS} draws x {YEARS} years, crossed runs: {asked.seeds}; ", end="")
    print(f"{TRUTHS} truths of {asked.long} years")
    print(f"{'share of truths held':<46}{'strict':>10}{'by draws':>10}{'years too':>10}")
    everything: list[np.ndarray] = []
    for label, name, kind in LOOKED_AT:
        shares = np.array([held(one, truth, name, kind) for one in runs])
        counted = varies(truth.rows[name])
        for f, field in enumerate(scenario.fields):
            for p, plan in enumerate(scenario.plans):
                left_out = "" if counted[f, p] else "   hardly varies"
                row = "".join(f"{x:>10.2f}" for x in shares[:, :, f, p].mean(axis=0))
                print(f"{f'{label}, {field.key}, {plan.key}':<46}{row}{left_out}")
        everything.append(shares[:, :, counted].mean(axis=0))
        row = "".join(f"{x:>10.2f}" for x in everything[-1].mean(axis=1))
        print(f"{label + ', mean':<46}{row}", flush=True)
    row = "".join(f"{x:>10.2f}" for x in np.concatenate(everything, axis=1).mean(axis=1))
    print(f"{'all':<46}{row}")


if __name__ == "__main__":
    main()
