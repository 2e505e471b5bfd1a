"""The published cases of feeding run, and FEEDING.md says what the simulation gives today."""

from __future__ import annotations

import importlib.util
import re
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from drysward.catalog import load_catalog

HERE = Path(__file__).parent
FREE_GRADES = ("estimate", "from memory")
LEAST_INSIDE = 13


def load(name):
    """A module of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(f"calibration_{name}", HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


cases = load("feeding")
TABLES, CHECKS = cases.read_studies()


@cache
def today():
    return cases.predict()


@cache
def written():
    """Cells of FEEDING.md, a row for each check."""
    text = cases.RESULTS_FILE.read_text(encoding="utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line[:2] == "| "]
    head = next(row for row in rows if row[0] == "case")
    return [dict(zip(head, row, strict=True)) for row in rows[rows.index(head) + 2 :]]


def test_there_are_twenty_cases_and_every_setup_is_used():
    assert [int(key) for key in TABLES["studies"]] == list(range(1, 21))
    assert TABLES["setups"].keys() == {c.setup for c in CHECKS} | {c.than for c in CHECKS} - {""}
    for check in CHECKS:
        low, high = check.bounds
        assert low < high, check
        assert check.kind in ("amount", "none", "order"), check


def test_results_are_of_today():
    values = today()
    assert np.isfinite(values).all()
    assert len(written()) == len(CHECKS)
    for check, row, value in zip(CHECKS, written(), values, strict=True):
        shown = row["today"].rstrip(" *")
        assert value == pytest.approx(float(shown), rel=0.02, abs=0.01), (
            f"case {check.study}, {row['number']}: "
            "run python tests/calibration/feeding.py --leave-one-out"
        )


def test_every_check_holds_that_held():
    """What leaves its tolerance fails by name; what is outside is named with its reason."""
    reasons = (HERE / "FEEDING_OUTSIDE.md").read_text(encoding="utf-8")
    excused = set(re.findall(r"`([^`]+)`", reasons))
    outside = {
        f"{check.study}: {check.number}, {check.setup}"
        + (f" and {check.than}" if check.than else "")
        for check, value in zip(CHECKS, today(), strict=True)
        if not check.holds(value)
    }
    assert outside == excused - {"FEEDING.md", "feeding_cases.toml"}


def test_most_cases_hold():
    assert sum(cases.holds_by_study(today()).values()) >= LEAST_INSIDE


def test_free_numbers_are_estimates_within_their_range():
    prior = cases.read_prior()
    for name, center, low, high in zip(*prior, strict=True):
        kind, key, number = name.split(".")
        assert load_catalog().get(kind, key).parameter(number).grade in FREE_GRADES, name
        assert low <= center <= high, name
    assert not prior.residuals(prior.centers).any()


@pytest.mark.parametrize(
    ("check", "inside", "beyond"),
    [
        ({"low": 32.0}, (16.1, 63.9), (15.9, 64.1)),
        ({"low": 3.6, "high": 27.0}, (3.7, 26.0), (3.5, 28.0)),
        ({"kind": "none", "high": 3.0}, (-5.0, 3.0), (3.1, 9.0)),
        ({"kind": "order", "than": "other"}, (1.01, 9.0), (1.0, 0.5)),
        ({"kind": "order", "than": "other", "times": 30.0}, (15.1, 90.0), (15.0, 1.0)),
    ],
)
def test_tolerances(check, inside, beyond):
    one = cases.Check("1", "setup", "leached", **check)
    assert all(map(one.holds, inside))
    assert not any(map(one.holds, beyond))
