"""Published results of feeding as numbers that a whole run can be held to.

``read_studies`` reads ``feeding_cases.toml``; ``predict`` runs each setup as a scenario and gives
the number of every check. ``python tests/calibration/feeding.py --fit`` fits the estimates of
``feeding_free.toml`` to all studies at once; once they stand in the catalog, ``--leave-one-out``
predicts each study from a fit without it and writes ``FEEDING.md``.
"""

from __future__ import annotations

import argparse
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.catalog import Catalog, load_catalog
from drysward.drive.runs import PlanRun, run_plan
from drysward.scenario.load import from_tree
from drysward.scenario.model import FieldSpec, Scenario
from drysward.site.stretches import stretches
from drysward.site.weather_years import weather_series
from drysward.weather.record import DailyRecord
from drysward.weather.series import Series, recorded

FloatArray = NDArray[np.float64]
Numbers = Mapping[str, float]
"""Catalog numbers by dotted name, in place of the catalog's own."""

HERE = Path(__file__).parent
CASES_FILE = HERE / "feeding_cases.toml"
FREE_FILE = HERE / "feeding_free.toml"
RESULTS_FILE = HERE / "FEEDING.md"
MOST_OFF = 4.0  # factors of 2 beyond which a check counts as no further off
STEP = 0.05  # of the range of a number, for slopes
MOST_STEPS = 4
ENOUGH = 0.1  # gain of a step below which the fit ends
FIRST_YEAR = 2001
UNIFORMITY = 0.9  # of a watered plot (assumed)
FED, UNFED = range(2)
SKIPPED_YEARS = 3  # until soil and turf of a run are no longer those of its start
YEARS = 11
LEAST = 0.01  # kg/ha, mm or percent, below which a comparison means nothing
FACTOR = 2.0  # by which an amount may be off
MOST_QUICK_KG_HA = 1000.0  # doses are given whole, as in the trials
# Trials feed on their day, however wet the ground is.
ALWAYS = {"feeding.limits.wet_ground_mm": 100.0, "feeding.limits.dormant_share": 1.0}
NAMED = {"rule"}
NORMALS = ("tmax", "tmin", "rain", "wet_days")


@dataclass(frozen=True)
class Check:
    """A number of a study, and what was published; either bound may be infinite.

    ``of`` is the same number, or another, that an order compares with; ``times`` is how many times
    as much was published.
    """

    study: str
    setup: str
    number: str
    kind: str = "amount"
    low: float = math.nan
    high: float = math.nan
    than: str = ""
    times: float = 1.0
    within: tuple[str, int] | None = None
    later: tuple[str, int] | None = None
    of: int = 0
    published: str = ""

    @property
    def bounds(self) -> tuple[float, float]:
        """Least and most that count as met."""
        if self.kind == "order":
            return self.times / (FACTOR if self.times > 1.0 else 1.0), math.inf
        if self.kind == "none":
            return -math.inf, self.high
        high = self.low if math.isnan(self.high) else self.high
        middle = math.sqrt(self.low * high)
        return min(self.low, middle / FACTOR), max(high, middle * FACTOR)

    def holds(self, value: float) -> bool:
        low, high = self.bounds
        return low < value <= high if self.kind == "order" else low <= value <= high

    @property
    def observed(self) -> str:
        if self.published:
            return self.published
        if self.kind == "order":
            return (f"{self.times:g} times " if self.times > 1.0 else "more than ") + self.than
        return f"{self.low:g}" if math.isnan(self.high) else f"{self.low:g} to {self.high:g}"

class Studies(NamedTuple):
    tables: Mapping[str, Any]
    checks: tuple[Check, ...]


@cache
def read_studies() -> Studies:
    tables = tomllib.loads(CASES_FILE.read_text(encoding="utf-8"))
    rows: list[dict[str, Any]] = [
        {"study": key} | {name: tuple(v) if isinstance(v, list) else v for name, v in row.items()}
        for key, study in tables["studies"].items()
        for row in study["checks"]
    ]
    return Studies(tables, tuple(Check(**row) for row in rows))


# --- scenario and weather of a setup


def _whole(kind: str, key: str) -> dict[str, Any]:
    """A table of the file with what it takes over from another."""
    row = read_studies().tables[kind][key]
    return _over(_whole(kind, row["like"]), row) if "like" in row else dict(row)


def _over(old: Any, new: Any) -> Any:
    """``new`` over ``old``, table by table; an empty table, and one of a rule, replace."""
    if not (isinstance(old, dict) and isinstance(new, dict) and new) or new.keys() & NAMED:
        return new
    return {**old, **{key: _over(old.get(key), value) for key, value in new.items()}}


def scenario_of(setup: Mapping[str, Any], seed: int) -> Scenario:
    """A field with its doses, and the same field without."""
    weather = _whole("weather", setup["weather"])
    field = {"feeding": {}, **setup["field"]}
    fed = setup["fed"]
    dose = {
        "product": fed.get("product", "46-0-0"),
        "rate": f"{fed.get('n', 1.0)} kg/ha",
        "nitrogen": fed.get("forms", {"urea": 1.0}),
    }
    doses = [{"day": day, **dose} for day in fed.get("days", ["06-01"])]
    field["feeding"] = {
        "doses": doses, "most_quick": f"{MOST_QUICK_KG_HA} kg/ha", **field["feeding"],
    }  # fmt: skip
    field |= {"area": "1000 m2", "delivery": {"system": "in_ground_rotors"}}
    field["delivery"]["uniformity"] = UNIFORMITY
    # Made days come beside the scenario, whose normals are then those of any place.
    climate = _whole("weather", "kingston") | weather
    units = {"rain": "mm", "tmax": "degC", "tmin": "degC"}
    normals = {
        name: {"unit": units[name], "months": climate[name]} if name in units else climate[name]
        for name in NORMALS
    }
    tree = {
        "title": "feeding",
        "site": {"name": setup["weather"], "latitude": f"{climate['latitude']} deg",
                 "elevation": "100 m"},
        "weather": {"source": "generator", "years": _years(setup), "seed": seed,
                    "climate": normals},
        "fields": {"fed": field, "unfed": field},
        "plans": {"plan": {"allow_for_uniformity": False, **setup["plan"]}},
        "answers": {"fewest_days": 1, "turf": "continuous"},
    }  # fmt: skip
    scenario = from_tree(tree, HERE)
    specs = [_without_doses(f) if not fed or f.key == "unfed" else f for f in scenario.fields]
    return replace(scenario, fields=tuple(specs))


def _without_doses(field: FieldSpec) -> FieldSpec:
    assert field.feeding is not None
    return replace(field, feeding=replace(field.feeding, doses=()))


def _years(setup: Mapping[str, Any]) -> int:
    return 3 if "runs" in setup else YEARS


def _made(weather: Mapping[str, Any]) -> DailyRecord:
    """A year of like days, with rain up to ``until`` and storms by date."""
    dates = np.datetime64(f"{FIRST_YEAR}-01-01") + np.arange(365)
    rain = np.zeros(dates.size)
    if "until" in weather:
        rain[dates <= np.datetime64(f"{FIRST_YEAR}-{weather['until']}")] = weather["rain_mm"]
    for day, depth in weather.get("storms", {}).items():
        rain[dates == np.datetime64(f"{FIRST_YEAR}-{day}")] = depth
    tmax, tmin, eto = (
        np.full(dates.size, float(weather[name])) for name in ("tmax_c", "tmin_c", "eto_mm")
    )
    return DailyRecord(
        name="made", dates=dates, rain_mm=rain, tmax_c=tmax, tmin_c=tmin, reference_et_mm=eto
    )


@cache
def _scenarios(key: str) -> tuple[tuple[Scenario, Series], ...]:
    """Scenario and weather of each run of a setup."""
    setup = _whole("setups", key)
    weather = _whole("weather", setup["weather"])
    scenarios = [scenario_of(setup, seed) for seed in range(1, setup.get("runs", 1) + 1)]
    if "tmax_c" in weather:
        return tuple((one, recorded(_made(weather))) for one in scenarios)
    return tuple((one, weather_series(one)) for one in scenarios)


@cache
def _catalog(numbers: tuple[tuple[str, float], ...]) -> Catalog:
    return load_catalog().with_overrides({**ALWAYS, **dict(numbers)})


class Ran(NamedTuple):
    """A run of a setup: its days, and the first year that counts and the one after the last."""

    run: PlanRun
    dates: NDArray[np.datetime64]
    years: slice


@lru_cache(maxsize=100)
def _ran(key: str, numbers: tuple[tuple[str, float], ...]) -> tuple[Ran, ...]:
    setup, out = _whole("setups", key), []
    years = slice(0, 2) if "runs" in setup else slice(SKIPPED_YEARS, None)
    for scenario, series in _scenarios(key):
        one = replace(scenario, catalog=_catalog(numbers))
        site = next(stretches(one, series, years_at_once=None))
        run = run_plan(site, one.plans[0], slice(0, None))
        out.append(Ran(run, site.weather.record.dates, years))
    return tuple(out)


# --- numbers


def _of_year(ran: Ran, name: str, field: int) -> float:
    """A sum of a year, the mean of those that count."""
    lines = ran.run.years if name in ("drainage", "runoff") else ran.run.fed
    return float(lines[field, ran.years][name].mean())


def _days(ran: Ran, within: tuple[str, int]) -> NDArray[np.datetime64]:
    """So many days from the first such day of a run on."""
    begins = next(i for i, day in enumerate(ran.dates) if str(day)[5:] == within[0])
    return ran.dates[begins : begins + within[1]]


def _of_days(ran: Ran, name: str, field: int, within: tuple[str, int]) -> float:
    days = np.isin(ran.dates, _days(ran, within))
    column = "nitrogen_leached" if name == "leached_n" else name
    return float(ran.run.trace[days, field][column].sum())


def _sum(ran: Ran, check: Check, name: str, field: int = FED) -> float:
    if check.within is None:
        return _of_year(ran, name, field)
    return _of_days(ran, name, field, check.within)


def _by_doses(ran: Ran, check: Check, name: str) -> float:
    return _sum(ran, check, name) - _sum(ran, check, name, UNFED)


def _share(ran: Ran, check: Check, name: str) -> float:
    """Percent of what was applied in the counted years, over turf without doses."""
    applied = _of_year(ran, "applied_p" if name == "runoff_p" else "applied_n", FED)
    if check.within is not None:
        fed = _whole("setups", check.setup)["fed"]
        applied = fed["n"] * sum(str(day)[5:] in fed["days"] for day in _days(ran, check.within))
    return 100.0 * _by_doses(ran, check, name) / applied


def _recovered(ran: Ran) -> float:
    """Percent of all that was applied that turf holds at the end, or gave as clippings."""
    held = ran.run.patches.turf_n.mean(axis=-1) + ran.run.fed.removed_n.sum(axis=-1)
    return 100.0 * float(held[FED] - held[UNFED]) / float(ran.run.fed[FED].applied_n.sum())


AMOUNTS = {"leached": "leached_n", "clippings": "clippings", "clipped N": "clipped_n",
           "drainage": "drainage", "runoff": "runoff"}  # fmt: skip
SHARES = {"leached": "leached_n", "gas": "gas_n", "ammonia": "ammonia_n",
          "clipped": "clipped_n", "runoff P": "runoff_p"}  # fmt: skip


def _number(ran: Ran, check: Check, number: str) -> float:
    if number in AMOUNTS:
        return _sum(ran, check, AMOUNTS[number])
    if number == "recovered share":
        return _recovered(ran)
    if number == "leached by doses":
        return _by_doses(ran, check, "leached_n")
    if number == "leached mg/L":
        return 100.0 * _sum(ran, check, "leached_n") / _sum(ran, check, "drainage")
    if number == "early part":
        assert check.within is not None
        whole = replace(check, within=(check.within[0], check.of))
        return 100.0 * _sum(ran, check, "leached_n") / _sum(ran, whole, "leached_n")
    return _share(ran, check, SHARES[number.removesuffix(" share")])


def predict(numbers: Numbers | None = None) -> FloatArray:
    """The number of each check under catalog numbers by dotted name; an order's is the ratio."""
    return np.array([_value(check, tuple(sorted((numbers or {}).items())))
                     for check in read_studies().checks])  # fmt: skip


def _value(check: Check, numbers: tuple[tuple[str, float], ...]) -> float:
    def mean(key: str, one: Check, number: str) -> float:
        return float(np.mean([_number(ran, one, number) for ran in _ran(key, numbers)]))

    value = mean(check.setup, check, check.number)
    if check.kind != "order":
        return value
    other = mean(check.than, replace(check, setup=check.than, within=check.later or check.within),
                 check.number)  # fmt: skip
    return value / max(other, LEAST)


# --- fit


def residuals(values: FloatArray) -> FloatArray:
    """How far off each check is, in factors of 2: 1 at the edge of what counts as met.

    An amount is compared with the middle of what was published. Nothing, and an order, are off
    from half of their margin on.
    """
    out = []
    for check, value in zip(read_studies().checks, values, strict=True):
        value = max(value, LEAST)
        low, high = check.bounds
        if check.kind == "amount":
            middle = math.sqrt(low * high)
            ratio = (value / middle) ** (math.log(FACTOR) / math.log(high / middle))
        elif check.kind == "none":
            ratio = max(FACTOR * value / high, 1.0)
        else:
            ratio = min(value / (FACTOR * low), 1.0)
        out.append(float(np.clip(math.log(ratio) / math.log(FACTOR), -MOST_OFF, MOST_OFF)))
    return np.array(out)


class Prior(NamedTuple):
    """Numbers that the fit may move: values before any fit, and low and high, all as logarithms."""

    names: tuple[str, ...]
    centers: FloatArray
    low: FloatArray
    high: FloatArray

    def numbers(self, at: FloatArray) -> dict[str, float]:
        return {name: float(math.exp(x)) for name, x in zip(self.names, at, strict=True)}

    def residuals(self, at: FloatArray) -> FloatArray:
        """In standard deviations: low and high are two on either side."""
        out: FloatArray = 4.0 * (at - self.centers) / (self.high - self.low)
        return out


def read_prior() -> Prior:
    free = tomllib.loads(FREE_FILE.read_text(encoding="utf-8"))["before"]
    catalog = load_catalog()
    known = [catalog.get(*name.split(".")[:2]).parameter(name.split(".")[2]) for name in free]
    centers, low, high = (
        np.log(x) for x in (list(free.values()), [k.low for k in known], [k.high for k in known])
    )
    return Prior(tuple(free), centers, low, high)


def numbers_of_catalog(prior: Prior) -> FloatArray:
    """What the catalog has today, as the fit counts it."""
    catalog = load_catalog()
    return np.log([catalog.get(*n.split(".")[:2])[n.split(".")[2]] for n in prior.names])


def slope_of(prior: Prior, at: FloatArray) -> FloatArray:
    """How the residual of each check changes with each number, (checks, numbers)."""
    here = residuals(predict(prior.numbers(at)))
    step = STEP * (prior.high - prior.low)
    step = np.where(at + step > prior.high, -step, step)
    moved = [at + row for row in np.diag(step)]
    there = [residuals(predict(prior.numbers(x))) for x in moved]
    return np.stack([(r - here) / s for r, s in zip(there, step, strict=True)], axis=1)


def step_from(
    prior: Prior, at: FloatArray, slope: FloatArray, off: FloatArray, weight: FloatArray
) -> FloatArray:
    """The change of the numbers to the least sum of squares, were all straight lines."""
    from scipy.optimize import lsq_linear

    rows = np.concatenate([slope * weight[:, None], np.diag(4.0 / (prior.high - prior.low))])
    right = np.concatenate([off * weight, prior.residuals(at)])
    room = 1e-9
    found = lsq_linear(rows, -right, (prior.low - at - room, prior.high - at + room)).x
    return np.asarray(found)


def fit(prior: Prior, weight: FloatArray) -> FloatArray:
    """The numbers at the least sum of squares of all checks, each by its weight, and the prior."""

    def loss(x: FloatArray) -> float:
        off = residuals(predict(prior.numbers(x))) * weight
        return float(off @ off + prior.residuals(x) @ prior.residuals(x))

    at, best = prior.centers, loss(prior.centers)
    for _ in range(MOST_STEPS):
        off = residuals(predict(prior.numbers(at)))
        change = step_from(prior, at, slope_of(prior, at), off, weight)
        for share in (1.0, 0.5, 0.25, 0.1):
            new = np.clip(at + share * change, prior.low, prior.high)
            if (found := loss(new)) < best:
                print(f"loss {best:.2f} -> {found:.2f}, {share:g} of the step", flush=True)
                break
        else:
            break
        close = best - found < ENOUGH
        at, best = new, found
        if close:
            break
    return at


def weights(leave_out: str = "") -> FloatArray:
    """Studies count alike, however many checks they have."""
    studies = [check.study for check in read_studies().checks]
    return np.array([0.0 if s == leave_out else studies.count(s) ** -0.5 for s in studies])


def left_out(prior: Prior, at: FloatArray) -> FloatArray:
    """Each check from a fit without its study: one linear step away from the fit to all."""
    off, slope = residuals(predict(prior.numbers(at))), slope_of(prior, at)
    checks = read_studies().checks
    out = np.zeros(len(checks))
    for study in read_studies().tables["studies"]:
        new = at + step_from(prior, at, slope, off, weights(study))
        found = predict(prior.numbers(np.clip(new, prior.low, prior.high)))
        mine = [check.study == study for check in checks]
        out[mine] = found[mine]
    return out


# --- what is written

HEAD = """# Published cases of feeding and the simulation

Written by `python tests/calibration/feeding.py --leave-one-out`; do not edit. Sources, setups and
what we assumed stand in `feeding_cases.toml`; why some stay outside, in `FEEDING_OUTSIDE.md`.
Before: the estimates of `feeding_free.toml` before any fit. Today: the catalog, which was fitted.
Predicted: from a fit without the study. A value outside has an asterisk: an amount off by more
than a factor of 2, a result of nothing above 3 kg/ha, an order that does not hold. Numbers of an
order are ratios.

What this table does not show: the equations were set, and some changed, by people who knew these
cases. Weather is from memory, and soil, days of doses and watering are assumed in nearly all.
"""


def holds_by_study(values: FloatArray) -> dict[str, bool]:
    """Whether every check of a study holds."""
    checks = read_studies().checks
    return {
        study: all(c.holds(v) for c, v in zip(checks, values, strict=True) if c.study == study)
        for study in read_studies().tables["studies"]
    }


def text_of(check: Check, value: float) -> str:
    shown = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
    return shown + ("" if check.holds(value) else " *")


def table(columns: Mapping[str, FloatArray]) -> str:
    """Markdown: a line for each check."""
    tables, checks = read_studies()
    names = list(columns)
    counts = [sum(holds_by_study(values).values()) for values in columns.values()]
    lines = [HEAD, "| | " + " | ".join(names) + " |", "| --- |" + " ---: |" * len(names)]
    lines.append("| cases inside | " + " | ".join(f"{n} of 20" for n in counts) + " |")
    lines += ["", "| case | place | number | published | " + " | ".join(names) + " |"]
    lines.append("| --- | --- | --- | --- |" + " ---: |" * len(names))
    for i, check in enumerate(checks):
        what = f"{check.number}, {check.setup}"
        cells = [check.study, tables["studies"][check.study]["place"], what, check.observed]
        cells += [text_of(check, values[i]) for values in columns.values()]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Run the published cases of feeding.")
    parser.add_argument("--fit", action="store_true", help="fit, and print the numbers")
    parser.add_argument(
        "--leave-one-out", action="store_true", help="predict each study as well; write FEEDING.md"
    )
    options = parser.parse_args(arguments)
    prior = read_prior()
    if options.fit:
        for name, value in prior.numbers(fit(prior, weights())).items():
            print(f"{name:50} {value:.3g}")
    columns = {"before": predict(prior.numbers(prior.centers)), "today": predict()}
    if options.leave_one_out:
        columns["predicted"] = left_out(prior, numbers_of_catalog(prior))
        RESULTS_FILE.write_text(table(columns), encoding="utf-8")
    for name, values in columns.items():
        print(f"{name}: {sum(holds_by_study(values).values())} of 20 cases inside")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
