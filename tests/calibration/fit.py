"""Fit the catalog's estimates to published turf results.

    python tests/calibration/fit.py                    the fit, and the numbers that it would write
    python tests/calibration/fit.py --leave-one-out    also each study predicted from all others;
                                                       writes RESULTS.md
    python tests/calibration/fit.py --write            writes the numbers into configs/
    python tests/calibration/fit.py --as-it-is         no fit: the catalog against the cases

``--workers`` says how many processes, ``--table`` writes RESULTS.md in any case. What may move
stands in ``free.toml``. ``prior.toml`` keeps the values from before the first fit that was written:
priors stay centered on these, so that a second fit is no second look at the same cases. The loss
is a sum of squares: residuals of the cases and of the priors, in which the numbers of a species
are drawn to the shift that its group has in common.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, lsq_linear

sys.path.insert(0, str(Path(__file__).parent))
import harness
from harness import Case, by_study, inside, predict, read_cases, residuals

from drysward.catalog import Catalog, load_catalog

FloatArray = NDArray[np.float64]

HERE = Path(__file__).parent
FREE_FILE = HERE / "free.toml"
PRIOR_FILE = HERE / "prior.toml"
RESULTS_FILE = HERE / "RESULTS.md"
CONFIGS = HERE.parents[1] / "configs"
FREE_GRADES = ("estimate", "from memory")
ENTRY_OF_FILE = {"turf_processes": "all"}
# Step of the slopes, as a share of a number's prior standard deviation; bounds count as reached
# within this share of the range.
STEP = 0.1
AT_BOUND = 0.01
ROOM_AT_BOUND = 1e-9
WRITTEN_DIGITS = 3
GAUSS_NEWTON_STEPS = 3


@dataclass(frozen=True)
class Free:
    """A number that may move: its dotted name, prior and bounds, as shifts on its scale.

    ``value`` is the center of its prior and ``shipped`` what the catalog has.
    """

    name: str
    value: float
    shipped: float
    is_log: bool
    low: float
    high: float
    sd: float
    group: int  # place of the group's shift among all groups, -1 when it has none

    def at(self, shift: float) -> float:
        # The room for least_squares at the bounds is no part of the range.
        shift = min(max(shift, self.low + ROOM_AT_BOUND), self.high - ROOM_AT_BOUND)
        return self.value * float(np.exp(shift)) if self.is_log else self.value + shift


@dataclass(frozen=True)
class Prior:
    """All free numbers, and the standard deviations of the groups' own shifts (G,)."""

    numbers: tuple[Free, ...]
    group_sd: FloatArray
    group_names: tuple[str, ...]
    passed_over: tuple[str, ...]

    @property
    def n(self) -> int:
        return len(self.numbers) + self.group_sd.size

    def bounds(self) -> tuple[FloatArray, FloatArray]:
        wide = np.full(self.group_sd.size, 10.0)
        low = np.array([one.low for one in self.numbers])
        high = np.array([one.high for one in self.numbers])
        return np.concatenate([low, -wide]), np.concatenate([high, wide])

    def overrides(self, shifts: FloatArray) -> dict[str, float]:
        """Catalog numbers at shifts; those that stay where they are, are left out."""
        moved = zip(self.numbers, shifts, strict=False)
        return {
            one.name: one.at(shift)
            for one, shift in moved
            if shift != 0.0 or one.value != one.shipped
        }

    def written(self, shifts: FloatArray) -> FloatArray:
        """Shifts of the numbers as they are written, with a few digits."""
        out = shifts.copy()
        for i, one in enumerate(self.numbers):
            value = float(written(one.at(shifts[i])))
            out[i] = np.log(value / one.value) if one.is_log else value - one.value
        return out

    def residuals(self, shifts: FloatArray) -> FloatArray:
        return self.slope() @ shifts

    def slope(self) -> FloatArray:
        """Residuals of the priors are linear: their slope (rows, unknowns)."""
        n, groups = len(self.numbers), self.group_sd.size
        out = np.zeros((n + groups, n + groups))
        for i, one in enumerate(self.numbers):
            out[i, i] = 1.0 / one.sd
            if one.group >= 0:
                out[i, n + one.group] = -1.0 / one.sd
        out[range(n, n + groups), range(n, n + groups)] = 1.0 / self.group_sd
        return out


def read_prior(catalog: Catalog, path: Path = FREE_FILE) -> Prior:
    """What may move. ValueError for a number that the catalog does not have."""
    tables = tomllib.loads(path.read_text(encoding="utf-8"))
    numbers: list[Free] = []
    group_sd: list[float] = []
    group_names: list[str] = []
    passed_over: list[str] = []
    for row in tables["free"]:
        kind, name = row["file"], row["name"]
        groups = tables["groups"] if kind == "species" and "group_sd" in row else {"": None}
        for group, members in groups.items():
            keys = members or [row.get("entry", ENTRY_OF_FILE.get(kind, ""))]
            if not group and kind == "species":
                keys = list(catalog.entries[kind])
            keys = [key for key in keys if key in row.get("only", keys)]
            place = -1
            if group and keys:
                place = len(group_sd)
                group_sd.append(row["group_sd"])
                group_names.append(f"{name}, {group}")
            for key in keys:
                numbers += _free(catalog, kind, key, row, place, passed_over)
    return Prior(tuple(numbers), np.array(group_sd), tuple(group_names), tuple(passed_over))


def _free(
    catalog: Catalog,
    kind: str,
    key: str,
    row: Mapping[str, Any],
    group: int,
    passed_over: list[str],
) -> list[Free]:
    dotted = f"{kind}.{key}.{row['name']}"
    entry = catalog.get(kind, key, dotted)
    known = entry.numbers.get(row["name"])
    if known is None:
        raise ValueError(f"free.toml: no number '{dotted}'")
    if known.grade not in FREE_GRADES or known.low == known.high:
        passed_over.append(f"{dotted} ({known.grade})")
        return []
    is_log = row["scale"] == "log"
    center = values_before().get(dotted, known.value)
    if is_log and center <= 0.0:
        raise ValueError(f"free.toml: '{dotted}' is {center:g}: no log scale")
    if is_log:
        low, high = np.log(max(known.low, 1e-3 * center) / center), np.log(known.high / center)
    else:
        low, high = known.low - center, known.high - center
    # A value on its own bound needs room for least_squares to start from.
    low, high = low - ROOM_AT_BOUND, high + ROOM_AT_BOUND
    return [Free(dotted, center, known.value, is_log, low, high, row["sd"], group)]


def values_before() -> dict[str, float]:
    """Numbers as they were before the first fit that was written."""
    if not PRIOR_FILE.exists():
        return {}
    values: dict[str, float] = tomllib.loads(PRIOR_FILE.read_text(encoding="utf-8"))
    return values


class Fit:
    """Residuals and slopes of cases and priors at shifts of the free numbers."""

    def __init__(
        self,
        cases: Sequence[Case],
        prior: Prior,
        pool: ProcessPoolExecutor | None,
        years: int | None,
    ) -> None:
        self.cases, self.prior, self.pool = cases, prior, pool
        self.years = years
        self.evaluations = 0

    def values(self, many: Sequence[FloatArray]) -> FloatArray:
        """Model values (sets, cases) at shifts."""
        self.evaluations += len(many)
        sets = [self.prior.overrides(shifts) for shifts in many]
        return predict(self.cases, sets, years=self.years, pool=self.pool)

    def residuals(self, shifts: FloatArray) -> FloatArray:
        of_cases = residuals(self.cases, self.values([shifts])[0])
        return np.concatenate([of_cases, self.prior.residuals(shifts)])

    def slope(self, shifts: FloatArray) -> FloatArray:
        """By differences towards the side that has more room, all in one call of ``predict``."""
        low, high = self.prior.bounds()
        steps = []
        for i, one in enumerate(self.prior.numbers):
            step = STEP * one.sd
            steps.append(step if high[i] - shifts[i] >= shifts[i] - low[i] else -step)
        moved = [shifts]
        for i, step in enumerate(steps):
            moved.append(shifts.copy())
            moved[-1][i] += step
        values = residuals(self.cases, self.values(moved))
        out = np.zeros((len(self.cases), self.prior.n))
        for i, step in enumerate(steps):
            out[:, i] = (values[i + 1] - values[0]) / step
        return np.concatenate([out, self.prior.slope()])

    def run(self, most: int, report: Callable[[str], None]) -> FloatArray:
        """The shifts of least loss."""
        start = np.zeros(self.prior.n)
        low, high = self.prior.bounds()

        def slope(shifts: FloatArray) -> FloatArray:
            report(f"  loss {float((self.residuals(shifts) ** 2).sum()):.1f}, slopes")
            return self.slope(shifts)

        found = least_squares(
            self.residuals, start, slope, bounds=(low, high), max_nfev=most, ftol=1e-3, xtol=1e-3
        )
        return np.asarray(found.x)


def leave_one_out(
    fit: Fit, fitted: FloatArray, steps: int, report: Callable[[str], None]
) -> FloatArray:
    """Value of each case when its study is left out of the fit (cases,).

    From the full fit, a few Gauss-Newton steps on all other studies with the slopes of the full
    fit. All studies take each step together.
    """
    slope = fit.slope(fitted)
    low, high = fit.prior.bounds()
    studies = list(by_study(fit.cases))
    n_cases = len(fit.cases)
    kept = np.ones((len(studies), n_cases + fit.prior.n), bool)
    for s, (_, places) in enumerate(studies):
        kept[s, places] = False
    at = np.repeat(fitted[None], len(studies), axis=0)
    values = fit.values(list(at))

    def losses(shifts: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        rows = np.stack(
            [
                np.concatenate([residuals(fit.cases, v), fit.prior.residuals(x)])
                for x, v in zip(shifts, values, strict=True)
            ]
        )
        return rows, ((rows * kept) ** 2).sum(axis=1)

    rows, loss = losses(at, values)
    share = np.ones(len(studies))
    for step in range(steps):
        report(f"  leaving one out, step {step + 1} of {steps}")
        new = at.copy()
        for s in range(len(studies)):
            on = kept[s]
            change = lsq_linear(
                slope[on], -rows[s, on], bounds=(low - at[s] - 1e-12, high - at[s] + 1e-12)
            ).x
            new[s] = at[s] + share[s] * change
        new_values = fit.values(list(new))
        new_rows, new_loss = losses(new, new_values)
        better = new_loss < loss
        at[better], values[better] = new[better], new_values[better]
        rows[better], loss[better] = new_rows[better], new_loss[better]
        share[~better] *= 0.5
    out = np.zeros(n_cases)
    for s, (_, places) in enumerate(studies):
        out[places] = values[s, places]
    return out


# --- what is written


def observed(case: Case) -> str:
    if np.isinf(case.low):
        return f"<= {case.high:g}"
    return f">= {case.low:g}" if np.isinf(case.high) else f"{case.low:g} to {case.high:g}"


def results_table(cases: Sequence[Case], columns: Mapping[str, FloatArray]) -> str:
    """Markdown: a line for each case, its values, and whether each is inside."""
    names = list(columns)
    lines = [
        "# Published results and the simulation",
        "",
        "Written by `python tests/calibration/fit.py --leave-one-out`; do not edit. Cases,",
        "sources and our readings of them stand in `cases.toml`. Before: numbers at the centers",
        "of their priors. Fitted: after the fit of the numbers of `free.toml` to all studies.",
        "Predicted: from a fit without any case of the study. A value outside what was",
        "published has an asterisk.",
        "",
        "What this table does not show: the equations, their ranges and some centers of priors",
        "were set by people who knew most of these cases, and an earlier rough trial had been",
        "fitted to many of them. So a study that is left out of the fit was not left out of the",
        "thinking, and predicted is kinder than a new study would be. Weather and soil are",
        "assumed in nearly all. Crop coefficients, water used and water applied rest on",
        "published numbers that the fit may not move.",
        "",
        "| | " + " | ".join(names) + " |",
        "| --- |" + " --- |" * len(names),
    ]
    within = {name: inside(cases, values) for name, values in columns.items()}
    count = " | ".join(f"{int(within[name].sum())} of {len(cases)}" for name in names)
    lines.append(f"| cases inside | {count} |")
    per_study = [
        sum(bool(within[name][places].all()) for _, places in by_study(cases)) for name in names
    ]
    n_studies = len(list(by_study(cases)))
    lines.append("| studies all inside | " + " | ".join(f"{k} of {n_studies}" for k in per_study))
    lines[-1] += " |"
    lines += ["", "| study | case | observed | " + " | ".join(names) + " |"]
    lines.append("| --- | --- | --- |" + " ---: |" * len(names))
    for i, case in enumerate(cases):
        values = [value_text(columns[name][i], bool(within[name][i])) for name in names]
        lines.append(
            f"| {case.study} | {case.key} | {observed(case)} | " + " | ".join(values) + " |"
        )
    return "\n".join(lines) + "\n"


def value_text(value: float, is_inside: bool) -> str:
    return f"{value:.3g}" + ("" if is_inside else " *")


def read_table(path: Path = RESULTS_FILE) -> dict[str, dict[str, str]]:
    """Values of the table as written, by case and column."""
    rows = [line for line in path.read_text(encoding="utf-8").splitlines() if line[:2] == "| "]
    cells = [[cell.strip() for cell in row.strip("| ").split(" | ")] for row in rows]
    head = next(row for row in cells if row[0] == "study")
    start = cells.index(head) + 1
    return {row[1]: dict(zip(head, row, strict=True)) for row in cells[start:] if row[0] != "---"}


def written(value: float) -> str:
    return f"{float(f'{value:.{WRITTEN_DIGITS}g}'):.10g}"


def with_value(text: str, entry: str, name: str, value: float) -> str:
    """A parameter file with one value put in place of the old one; all else stays as it is."""
    head = re.search(rf"(?m)^\[{re.escape(entry)}\]\s*$", text)
    if head is None:
        raise ValueError(f"no entry [{entry}]")
    following = re.compile(r"(?m)^\[").search(text, head.end())
    end = following.start() if following else len(text)
    line = re.compile(rf"(?m)^({re.escape(name)} = \{{ value = )[^,]+(,)")
    body, n = line.subn(rf"\g<1>{written(value)}\g<2>", text[head.end() : end])
    if n != 1:
        raise ValueError(f"[{entry}] has {n} lines of {name}")
    return text[: head.end()] + body + text[end:]


def write_numbers(prior: Prior, shifts: FloatArray) -> None:
    """Put the fitted values into the parameter files, and keep those from before."""
    before = values_before()
    before |= {one.name: one.value for one in prior.numbers if one.name not in before}
    lines = (f'"{name}" = {value:.6g}\n' for name, value in sorted(before.items()))
    head = "# Numbers before the first fit: centers of their priors. Written by fit.py --write.\n\n"
    PRIOR_FILE.write_text(head + "".join(lines), encoding="utf-8")
    by_kind: dict[str, str] = {}
    for one, shift in zip(prior.numbers, shifts, strict=False):
        kind, entry, name = one.name.split(".")
        text = by_kind.get(kind) or (CONFIGS / f"{kind}.toml").read_text(encoding="utf-8")
        known = load_catalog().get(kind, entry).parameter(name)
        value = min(max(float(written(one.at(shift))), known.low), known.high)
        by_kind[kind] = with_value(text, entry, name, value)
    for kind, text in by_kind.items():
        (CONFIGS / f"{kind}.toml").write_text(text, encoding="utf-8")


def print_numbers(prior: Prior, shifts: FloatArray, slope: FloatArray) -> None:
    """Each number before and after, its standard deviation over that of its prior, its bounds."""
    covariance = np.linalg.inv(slope.T @ slope)
    alone = np.linalg.inv(prior.slope().T @ prior.slope())
    narrowed = np.sqrt(np.diag(covariance) / np.diag(alone))
    low, high = prior.bounds()
    for i, one in enumerate(prior.numbers):
        edge = AT_BOUND * (high[i] - low[i])
        at_bound = shifts[i] - low[i] < edge or high[i] - shifts[i] < edge
        remark = "  not known: at its bound" if at_bound else ""
        print(
            f"{one.name:55s} {one.value:9.4g} -> {one.at(shifts[i]):9.4g}"
            f"  sd {narrowed[i]:4.0%} of prior{remark}"
        )
    for name, shift in zip(prior.group_names, shifts[len(prior.numbers) :], strict=True):
        print(f"group {name:49s} shift {shift:+.3f}")


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Fit the catalog's estimates to turf results.")
    parser.add_argument("--as-it-is", action="store_true", help="no fit")
    parser.add_argument("--leave-one-out", action="store_true", help="predict each study as well")
    parser.add_argument("--write", action="store_true", help="write numbers into configs/")
    parser.add_argument("--table", action="store_true", help="write RESULTS.md")
    parser.add_argument("--years", type=int, help="years of every case; its own when not given")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--most", type=int, default=12, help="most evaluations of the fit")
    options = parser.parse_args(arguments)
    cases, _ = read_cases()
    began = time.monotonic()
    prior = read_prior(load_catalog())
    # Compiled before processes are made, so that they share it.
    start = prior.overrides(np.zeros(prior.n))
    columns = {"before": predict(cases, [start], years=options.years)[0]}
    for name in prior.passed_over:
        print(f"passed over: {name}")
    if options.as_it_is and PRIOR_FILE.exists():
        columns["fitted"] = predict(cases, [{}], years=options.years)[0]
    if not options.as_it_is:
        with harness.processes(options.workers) as pool:
            fit = Fit(cases, prior, pool, options.years)
            shifts = fit.run(options.most, lambda text: print(text, flush=True))
            columns["fitted"] = fit.values([prior.written(shifts)])[0]
            if options.leave_one_out:
                columns["predicted"] = leave_one_out(
                    fit, shifts, GAUSS_NEWTON_STEPS, lambda text: print(text, flush=True)
                )
            print_numbers(prior, shifts, fit.slope(shifts))
            print(f"{fit.evaluations} sets of numbers")
        if options.write:
            write_numbers(prior, shifts)
    for name, values in columns.items():
        loss = float((residuals(cases, values) ** 2).sum())
        within = inside(cases, values)
        print(f"{name}: {within.sum()} of {len(cases)} cases inside, loss of cases {loss:.1f}")
    if options.table or options.leave_one_out:
        RESULTS_FILE.write_text(results_table(cases, columns), encoding="utf-8")
    print(f"{time.monotonic() - began:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
