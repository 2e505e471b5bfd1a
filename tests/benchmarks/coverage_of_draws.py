"""How often 5 to 95 % across draws hold the truth: ``python tests/benchmarks/coverage_of_draws.py``.

Not run by pytest. The shipped demo under all of its plans: 32 draws crossed with 40 years give
the limits; a truth is one further draw from the same distributions, under another seed, and its
means over 200 other years, so that what chance is left in it is small. Printed is the share of
200 truths that lie within the limits, by outcome, field and plan: 90 of 100 are wanted. Of one
crossed run that share strays as its limits do: limits of 32 draws and 40 years differ from run to
run, and all truths meet the same ones. The mean over several crossed runs, each of a seed of its
own, says how good the way of making them is: ``--seeds 10``. Where fewer than one truth in 50
differs from all others, the outcome is left out of the mean.

``by draws`` are limits of what is not known alone, as printed by the command; ``years too`` are
widened by the error of the grand mean, for where the 40 years stand for the climate.
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
LOOKED_AT: tuple[tuple[str, str, Kind], ...] = (
    ("odds of wilt", "reached_wilt", "odds"),
    ("odds of dormancy", "reached_dormant", "odds"),
    ("days below", "days_below_condition", "amount"),
    ("water", WATER, "amount"),
)


def run_with(scenario: Scenario, seed: int, draws: int, years: int) -> Crossed:
    """Draws and weather years of a seed."""
    return crossed(with_weather(scenario, years=years, seed=seed), draws)


def held(found: Crossed, truths: dict[str, np.ndarray], name: str, kind: Kind) -> np.ndarray:
    """Share of the truths (F, P, T) within the limits, by draws and with years too: (2, F, P)."""
    parts = split_of_sums(found.rows[name], found.columns[name], found.squares[name])
    shares = []
    for years_too in (False, True):
        limits = band(found.rows[name], parts, kind, years_too)
        low, high = limits.low[..., None] - 1e-9, limits.high[..., None] + 1e-9
        shares.append(((truths[name] >= low) & (truths[name] <= high)).mean(axis=-1))
    return np.array(shares)


def varies(truths: np.ndarray) -> np.ndarray:
    """Whether enough truths (F, P, T) differ for a share to mean anything."""
    middle = np.median(truths, axis=-1, keepdims=True)
    return np.asarray((truths != middle).mean(axis=-1) > 0.02)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=1, help="crossed runs, each of its own seed")
    seeds = parser.parse_args().seeds
    scenario = drysward.shipped("demo")
    truths = run_with(scenario, TRUTH_SEED, TRUTHS, LONG).rows
    runs = [run_with(scenario, seed, DRAWS, YEARS) for seed in range(1, seeds + 1)]
    print(f"{DRAWS} draws x {YEARS} years, {seeds} crossed runs; {TRUTHS} truths of {LONG} years")
    print(f"{'share of truths held':<46}{'by draws':>10}{'years too':>10}")
    everything: list[np.ndarray] = []
    for label, name, kind in LOOKED_AT:
        shares = np.array([held(one, truths, name, kind) for one in runs])
        counted = varies(truths[name])
        for f, field in enumerate(scenario.fields):
            for p, plan in enumerate(scenario.plans):
                row = shares[:, :, f, p].mean(axis=0)
                left_out = "" if counted[f, p] else "   hardly varies"
                told = f"{label}, {field.key}, {plan.key}"
                print(f"{told:<46}{row[0]:>10.2f}{row[1]:>10.2f}{left_out}")
        mean = shares[:, :, counted].mean(axis=(0, 2))
        print(f"{label + ', mean':<46}{mean[0]:>10.2f}{mean[1]:>10.2f}", flush=True)
        everything.append(shares[:, :, counted].mean(axis=0))
    mean = np.concatenate(everything, axis=1).mean(axis=1)
    print(f"{'all':<46}{mean[0]:>10.2f}{mean[1]:>10.2f}")


if __name__ == "__main__":
    main()
