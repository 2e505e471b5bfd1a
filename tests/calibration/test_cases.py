"""The calibration set can be read and run, and RESULTS.md says what the simulation gives today."""

from __future__ import annotations

import importlib.util
import re
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.physics.crowns import inverse_survival

HERE = Path(__file__).parent


def load(name):
    """A module of this folder, which is no package."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


harness, fit = load("harness"), load("fit")
CASES, SETUPS = harness.read_cases()


@cache
def today():
    return harness.predict(CASES, [{}])[0]


def test_every_study_has_its_source():
    assert {case.study for case in CASES} <= load_catalog().sources.keys()


def test_every_setup_is_used():
    assert SETUPS.keys() == {case.setup for case in CASES} | {c.against for c in CASES} - {""}


def test_bands_are_the_right_way_round():
    for case in CASES:
        assert case.low < case.high, case.key
        assert case.scale > 0.0, case.key
        assert case.low <= case.center <= case.high, case.key
        assert case.status in ("confirmed", "derived"), case.key


def test_every_case_runs():
    assert np.isfinite(today()).all()


def test_results_are_of_today():
    """The table's numbers of the catalog that ships: fitted once a fit was written."""
    column = "fitted" if fit.PRIOR_FILE.exists() else "before"
    table = fit.read_table()
    assert list(table) == [case.key for case in CASES]
    for case, value in zip(CASES, today(), strict=True):
        written = float(table[case.key][column].rstrip(" *"))
        assert value == pytest.approx(written, rel=0.02, abs=0.005), (
            f"{case.key}: run python tests/calibration/fit.py --leave-one-out"
        )


def test_the_fit_holds_what_it_held():
    """A floor under the table, so that it cannot be written anew with a worse turf unseen."""
    table = fit.read_table()
    held = {
        column: sum("*" not in table[case.key][column] for case in CASES) / len(CASES)
        for column in ("fitted", "predicted")
    }
    assert held["fitted"] >= 0.70
    assert held["predicted"] >= 0.66



def test_what_stays_outside_is_named_with_its_reason():
    table = fit.read_table()
    outside = {key for key, row in table.items() if "*" in row["fitted"]}
    reasons = " ".join((harness.HERE / "OUTSIDE.md").read_text(encoding="utf-8").split())
    named = set(re.findall(r"`([^`]+)`", reasons))
    assert named - {"RESULTS.md"} == outside



def test_doses_are_those_of_the_turf():
    assert inverse_survival(1.7) == pytest.approx(1.0 + 1.7**harness.DOSE_POWER)



def test_sets_side_by_side_are_as_alone():
    cases = CASES[:6]
    sets = [
        {},
        {"species.kentucky_bluegrass.wilt_ks": 0.4},
        {"turf_processes.all.firing_rate": 0.15},
        {"species.bermudagrass.wilt_ks": 0.4},  # none of these cases
    ]
    together = harness.predict(cases, sets)
    alone = [harness.predict(cases, [one])[0] for one in sets]
    np.testing.assert_array_equal(together, alone)
    assert (together[1] != together[0]).any()
    assert (together[2] != together[0]).any()
    np.testing.assert_array_equal(together[3], together[0])


def bound(low, high, metric="green at day"):
    center = low if np.isinf(high) else high if np.isinf(low) else 0.5 * (low + high)
    scale = 0.1 if np.isinf(high - low) else 0.5 * (high - low)
    return harness.Case("c", "s", "t", "u", metric, {}, low, high, center, scale, 1.0, "derived")


@pytest.mark.parametrize("metric", ["green at day", "dead at day"])
def test_residuals_are_one_at_the_edge_and_always_have_a_slope(metric):
    edge = np.sqrt(2.0 * (np.sqrt(2.0) - 1.0))
    band, least, most = bound(0.2, 0.4, metric), bound(0.3, np.inf, metric), bound(-np.inf, 0.3)
    values = np.linspace(0.001, 0.999, 400)[:, None]
    of_band, of_least, of_most = harness.residuals(
        [band, least, most], np.repeat(values, 3, axis=1)
    ).T
    assert (np.diff(of_band) > 0.0).all()
    assert (np.diff(of_least) < 0.0).all()
    assert (np.diff(of_most) > 0.0).all()
    at_edges = harness.residuals([least, most], np.array([0.3, 0.3]))
    np.testing.assert_allclose(at_edges, edge)
    if metric == "green at day":
        np.testing.assert_allclose(
            harness.residuals([band], np.array([[0.2], [0.4]])).T[0], [-edge, edge]
        )


def test_crossings_are_between_days():
    assert harness._below(np.array([1.0, 0.8, 0.4]), 0.6) == pytest.approx(2.5)
    # Never below: past the span, the further the greener.
    assert harness._below(np.array([1.0, 0.9]), 0.5) < harness._below(np.array([1.0, 0.95]), 0.5)


def test_free_numbers_are_estimates_within_their_range():
    catalog = load_catalog()
    prior = fit.read_prior(catalog)
    assert prior.numbers
    for one in prior.numbers:
        kind, key, name = one.name.split(".")
        known = catalog.get(kind, key).parameter(name)
        assert known.grade in fit.FREE_GRADES
        assert known.low <= one.at(0.0) <= known.high


def test_a_value_is_put_into_its_line_alone():
    text = (fit.CONFIGS / "species.toml").read_text(encoding="utf-8")
    new = fit.with_value(text, "zoysiagrass", "wilt_ks", 0.3123)
    changed = [(a, b) for a, b in zip(text.splitlines(), new.splitlines(), strict=True) if a != b]
    assert len(changed) == 1
    assert changed[0][1].startswith("wilt_ks = { value = 0.312, low = ")
    with pytest.raises(ValueError, match="lines of nothing_such"):
        fit.with_value(text, "zoysiagrass", "nothing_such", 1.0)
