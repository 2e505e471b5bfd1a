"""What the catalog's numbers can be together: ranges and correlations for draws of them.

    python tests/calibration/joint.py            writes configs/known_together.toml
    python tests/calibration/joint.py --check    also runs draws through the cases (minutes)

Ranges of single numbers say nothing of what several can be at once. The published cases do: deep
roots and an early wilt would not have given the trials' days. So the spread of all numbers that the
cases feel is taken from the fit itself, at the numbers that ship: the covariance of least squares
(Laplace's approximation of what is known after the cases; Tarantola 2005, from memory). Before the
cases stand the priors of the fit, each with the catalog's range of the number as a second piece
of what is known; numbers that the fit may not move, such as crop coefficients, have their range
alone. Sands of constructions are held to the specification they are built to in the same way.

What is in the middle stays the catalog's value: only the spread is taken.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
import feeding
import harness
from fit import CONFIGS, FREE_FILE, PRIOR_FILE, Fit, Free, Prior, read_prior
from harness import inside, predict, read_cases, residuals

from drysward.catalog import SCENARIO, Catalog, load_catalog
from drysward.physics.retention import RetentionCurve
from drysward.ranges import USUAL_CHANCE, Range
from drysward.special import ndtr, ndtri
from drysward.studies.doubt.draws import Doubtful, draw, notes
from drysward.studies.doubt.together import known_together

FloatArray = NDArray[np.float64]

FILE = CONFIGS / "known_together.toml"
# Kinds whose numbers the cases can feel.
KINDS = ("species", "turf_processes", "kc_season")
# Half the step of a slope, in standard deviations of the number.
HALF_STEP = 0.5
REACH = -float(ndtri(USUAL_CHANCE))
# Correlations below this, and spreads within this of those from before, are not told.
LEAST_CORRELATION = 0.1
LEAST_NARROWED = 0.02
TOLD_LEFT = 0.9

# What a sand for a root zone is built to: of its volume, at 30 cm of tension, water and air (USGA
# recommendations for a method of putting green construction, from memory).
TENSION_CM = 30.0
WATER_HELD = (0.15, 0.25)
AIR_FILLED = (0.15, 0.30)
SAND = ("theta_s", "theta_r", "alpha", "n")

HEAD = """\
# What draws take these numbers to be: low and high are passed 1 time in 20 on each side, and
# numbers vary together as far as `with` says (correlations of their normal scores). Written by
# tests/calibration/joint.py from the published cases of turf, from those of feeding, and from what
# sands are built to; do not edit. Numbers that do not stand here have the range of their own entry.
# Made from {made_from}.
"""


@dataclass(frozen=True)
class Together:
    """Numbers that are known together: ``low`` and ``high`` (n,), ``correlation`` (n, n), and the
    share of each one's spread from before that is left (n,).
    """

    names: tuple[str, ...]
    low: FloatArray
    high: FloatArray
    correlation: FloatArray
    left: FloatArray


def others(
    catalog: Catalog, free: set[str], kinds: Sequence[str] = KINDS
) -> dict[str, Range]:
    """Numbers with a range that the fit may not move, by dotted name."""
    out = {}
    for kind in kinds:
        for key, entry in catalog.entries[kind].items():
            for name, number in entry.numbers.items():
                dotted = f"{kind}.{key}.{name}"
                told = catalog.range_of(kind, key, name)
                certain = {kind, f"{kind}.{name}"} & set(notes().certain) or told.closed
                if not certain and dotted not in free and number.grade != SCENARIO:
                    out[dotted] = told
    return out


def slopes(fit: Fit, shifts: FloatArray, ranges: Mapping[str, Range]) -> FloatArray:
    """Change of the cases' residuals (cases, numbers) by the normal scores of ``ranges``."""
    base = fit.prior.overrides(shifts)
    sets = [
        {**base, name: float(told.quantile(ndtr(score)))}
        for name, told in ranges.items()
        for score in (-HALF_STEP, HALF_STEP)
    ]
    found = residuals(fit.cases, predict(fit.cases, sets, years=fit.years, pool=fit.pool))
    change: FloatArray = (found[1::2] - found[::2]).T / (2.0 * HALF_STEP)
    return change


def shipped(prior: Prior) -> FloatArray:
    """Shifts of the numbers that ship, and those of the groups that suit them best."""
    n = len(prior.numbers)
    own = np.array([_shift(one, one.shipped) for one in prior.numbers])
    slope = prior.slope()
    groups = np.linalg.lstsq(slope[:, n:], -slope[:, :n] @ own, rcond=None)[0]
    return np.concatenate([own, groups])


def _shift(one: Free, value: float) -> float:
    return float(np.log(value / one.value)) if one.is_log else value - one.value


def spread_of_range(one: Free, told: Range) -> float:
    """Standard deviation that the catalog's range alone gives a number, on the fit's scale."""
    low = max(told.low, 1e-3 * one.value) if one.is_log else told.low
    reach = -float(ndtri(told.chance))
    return (_shift(one, told.high) - _shift(one, low)) / (2.0 * reach)


def of_cases(fit: Fit, catalog: Catalog) -> Together:
    """What the published cases leave of the spread of all numbers that they feel."""
    prior = fit.prior
    n, groups = len(prior.numbers), prior.group_sd.size
    at = shipped(prior)
    ranges = others(catalog, {one.name for one in prior.numbers})
    told = [catalog.range_of(*one.name.split(".")) for one in prior.numbers]
    felt = slopes(fit, at, ranges)
    is_felt = (felt != 0.0).any(axis=0)
    names = [name for name, one in zip(ranges, is_felt, strict=True) if one]
    felt = felt[:, is_felt]
    every = np.concatenate([fit.slope(at)[: len(fit.cases)], felt], axis=1)

    before = np.zeros((every.shape[1],) * 2)
    of_prior = prior.slope()
    before[: n + groups, : n + groups] = of_prior.T @ of_prior
    own = [spread_of_range(one, its) for one, its in zip(prior.numbers, told, strict=True)]
    before[range(n), range(n)] += 1.0 / np.square(own)
    before[n + groups :, n + groups :] = np.linalg.inv(_alike(names))
    after = np.linalg.inv(before + every.T @ every)
    before = np.linalg.inv(before)

    kept = np.r_[:n, n + groups : len(after)]
    sd = np.sqrt(np.diag(after))[kept]
    left = sd / np.sqrt(np.diag(before))[kept]
    low, high = np.empty(len(kept)), np.empty(len(kept))
    for i, one in enumerate(prior.numbers):
        for out, score in ((low, -REACH), (high, REACH)):
            value = at[i] + score * sd[i]
            value = one.value * np.exp(value) if one.is_log else one.value + value
            out[i] = np.clip(value, told[i].least, told[i].most)
    for i, name in enumerate(names, start=n):
        low[i], high[i] = ranges[name].quantile(ndtr(np.array([-REACH, REACH]) * sd[i]))
    correlation = after[np.ix_(kept, kept)] / np.outer(sd, sd)
    full = tuple(one.name for one in prior.numbers) + tuple(names)
    return Together(full, low, high, correlation, left)


def _alike(names: Sequence[str]) -> FloatArray:
    """Correlations (n, n) from before, those of ``[[doubt.alike]]``."""
    out = np.eye(len(names))
    for row in notes().alike:
        for i, one in enumerate(names):
            for j, other in enumerate(names):
                kind, _, name = one.rpartition(".")
                same = other.rpartition(".")[0] == kind and other != one
                full = {f"{kind.partition('.')[0]}.{x}" for x in (name, other.rpartition(".")[2])}
                if same and full <= set(row["names"]):
                    out[i, j] = row["correlation"]
    return out


def of_feeding(catalog: Catalog, pool: ProcessPoolExecutor) -> Together:
    """What the published cases of feeding leave of its numbers, those of water as they ship.

    A case is known to a factor of 2, which its residual has as 1, and studies count alike. Nothing,
    and an order, have no slope where they hold by far: what breaks them in a draw is not ruled out.
    Three cases are off by more than 2 with the numbers that ship, so that ranges are too narrow if
    anything.
    """
    # What people choose, and what the cases hold fixed, they say nothing of.
    ranges = {
        name: told
        for name, told in others(catalog, set(), ("feeding",)).items()
        if not name.startswith("feeding.limits.")
    }
    sets = [
        {name: float(told.quantile(ndtr(score)))}
        for name, told in ranges.items()
        for score in (-HALF_STEP, HALF_STEP)
    ]
    found = np.array([feeding.residuals(row) for row in pool.map(feeding.predict, sets)])
    slope = (found[1::2] - found[::2]).T / (2.0 * HALF_STEP) * feeding.weights()[:, None]
    is_felt = (slope != 0.0).any(axis=0)
    return _after(
        {name: ranges[name] for name, one in zip(ranges, is_felt, strict=True) if one},
        slope[:, is_felt],
    )


def _after(ranges: Mapping[str, Range], slope: FloatArray) -> Together:
    """What residuals with a ``slope`` (residuals, numbers) by the normal scores of ``ranges`` leave
    of these.
    """
    before = _alike(tuple(ranges))
    after = np.linalg.inv(np.linalg.inv(before) + slope.T @ slope)
    sd = np.sqrt(np.diag(after))
    reach = [ndtr(np.array([-REACH, REACH]) * one) for one in sd]
    ends = np.array([told.quantile(u) for told, u in zip(ranges.values(), reach, strict=True)])
    return Together(tuple(ranges), ends[:, 0], ends[:, 1], after / np.outer(sd, sd), sd)


def of_sand(catalog: Catalog, key: str) -> Together:
    """What the specification of a root zone's sand leaves of the numbers of its retention."""
    ranges = {
        f"root_zones.{key}.{name}": catalog.range_of("root_zones", key, name) for name in SAND
    }

    def residual(scores: FloatArray) -> FloatArray:
        held = held_at(
            *(float(one.quantile(ndtr(z))) for one, z in zip(ranges.values(), scores, strict=True))
        )
        return np.array([(x - middle(w)) / half(w) * REACH for x, w in held])

    steps = HALF_STEP * np.eye(len(SAND))
    slope = np.array([residual(step) - residual(-step) for step in steps]).T / (2.0 * HALF_STEP)
    return _after(ranges, slope)


def held_at(
    theta_s: float, theta_r: float, alpha: float, n: float
) -> tuple[tuple[float, tuple[float, float]], ...]:
    """Water and air of a sand at the tension of the specification, each with what is allowed."""
    water = float(RetentionCurve(theta_s, theta_r, alpha, n).water_content(TENSION_CM))
    return (water, WATER_HELD), (theta_s - water, AIR_FILLED)


def middle(ends: tuple[float, float]) -> float:
    return 0.5 * (ends[0] + ends[1])


def half(ends: tuple[float, float]) -> float:
    return 0.5 * (ends[1] - ends[0])


# --- what draws make of the cases

DRAWS = 64


def of_draws(
    catalog: Catalog, kinds: Sequence[str], found: Callable[[list[dict[str, float]]], FloatArray]
) -> dict[str, FloatArray]:
    """What ``found`` gives (draws, cases) of draws of all numbers of some kinds: of those known
    together as the file says, and of the same numbers one by one within the catalog's ranges.
    """
    known = known_together()
    numbers = {}
    for name in known.ends:
        kind, entry, last = name.split(".")
        told = known.range_of(catalog, name)
        if kind in kinds and told is not None:
            key = f"overrides.{name}"
            numbers[name] = Doubtful(
                key, told, "", "grass", "", f"{kind}.{last}", f"overrides.{kind}.{entry}"
            )
    alone = {  # by other names, which nothing is known together of
        name: replace(one, range=catalog.range_of(*name.split(".")), key=name)
        for name, one in numbers.items()
    }
    out = {}
    for title, every in (("together", numbers), ("one by one", alone)):
        drawn = draw(tuple(every.values()), DRAWS, seed=1).values
        sets = [dict(zip(every, row.tolist(), strict=True)) for row in drawn]
        out[title] = found(sets)
    return out


# --- what is written


def made_from(catalog: Catalog) -> str:
    """Digest of the numbers, their ranges, the cases and the priors that the file rests on."""
    sha = hashlib.sha256()
    for kind in (*KINDS, "root_zones", "feeding"):
        sha.update(catalog.texts[kind].encode())
    for path in (harness.CASES_FILE, FREE_FILE, PRIOR_FILE, feeding.CASES_FILE):
        sha.update(path.read_bytes())
    return sha.hexdigest()[:16]


def file_text(parts: Sequence[Together], catalog: Catalog) -> str:
    """The file: an entry for each number that is fitted, is narrower, or varies with another."""
    fitted = {one.name for one in read_prior(catalog).numbers}
    lines = [HEAD.format(made_from=made_from(catalog))]
    for part in parts:
        with_others = np.abs(part.correlation) >= LEAST_CORRELATION
        np.fill_diagonal(with_others, False)
        for i, name in enumerate(part.names):
            is_as_before = part.left[i] > 1.0 - LEAST_NARROWED and not with_others[i].any()
            if is_as_before and name not in fitted:
                continue
            lines.append(f'["{name}"]')
            lines.append(f"low = {part.low[i]:.4g}")
            lines.append(f"high = {part.high[i]:.4g}")
            later = [j for j in np.flatnonzero(with_others[i]) if j > i]
            if later:
                lines.append("with = [")
                lines += [f'  ["{part.names[j]}", {part.correlation[i, j]:.2f}],' for j in later]
                lines.append("]")
            lines.append("")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="What the numbers can be together.")
    parser.add_argument("--check", action="store_true", help="no file: draws through the cases")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args(arguments)
    catalog = load_catalog()
    cases, _ = read_cases()
    ours = predict(cases, [{}])  # compiled before processes are made, so that they share it
    with harness.processes(options.workers) as pool:
        if options.check:
            turf = {"the numbers that ship": ours} | of_draws(
                catalog, KINDS, lambda sets: predict(cases, sets, pool=pool)
            )
            for title, values in turf.items():
                within = np.array([inside(cases, row) for row in values]).sum(axis=1)
                tell(title, within, len(cases), (residuals(cases, values) ** 2).sum(axis=-1))
            fed = {"the numbers of feeding that ship": feeding.predict()[None]} | of_draws(
                catalog, ("feeding",), lambda sets: np.array([*pool.map(feeding.predict, sets)])
            )
            for title, values in fed.items():
                within = np.array([sum(feeding.holds_by_study(row).values()) for row in values])
                off = np.array([feeding.residuals(row) * feeding.weights() for row in values])
                n = len(feeding.read_studies().tables["studies"])
                tell(title, within, n, (off**2).sum(axis=-1))
            return 0
        turf = of_cases(Fit(cases, read_prior(catalog), pool, None), catalog)
        fed = of_feeding(catalog, pool)
    parts = [turf, fed, *(of_sand(catalog, key) for key in sands(catalog))]
    FILE.write_text(file_text(parts, catalog), encoding="utf-8")
    for part in parts:
        for i in np.flatnonzero(part.left < TOLD_LEFT):
            print(f"{part.names[i]:60s} {part.low[i]:9.4g} {part.high[i]:9.4g} {part.left[i]:5.0%}")
    return 0


def sands(catalog: Catalog) -> list[str]:
    """Root zones whose sand is built to the specification."""
    every = catalog.entries["root_zones"].items()
    return [key for key, entry in every if set(SAND) <= entry.numbers.keys()]


def tell(title: str, within: NDArray[np.int64], cases: int, loss: FloatArray) -> None:
    """Print how sets of numbers (sets,) stand to what was published."""
    print(
        f"{title}, {len(loss)}: {within.mean():.1f} of {cases} cases inside"
        f" ({within.min()} to {within.max()}), loss {np.median(loss):.0f} (median)"
    )


if __name__ == "__main__":
    raise SystemExit(main())
