"""Numbers that are known together: what the file says, and what draws make of it."""

from __future__ import annotations

import numpy as np
import pytest
from tests.calibration.test_cases import fit, load

from drysward.catalog import load_catalog
from drysward.ranges import USUAL_CHANCE, Range
from drysward.special import ndtr, ndtri
from drysward.studies.doubt.draws import Doubtful, correlations, draw
from drysward.studies.doubt.together import known_together

joint = load("joint")
CATALOG, KNOWN = load_catalog(), known_together()
REACH = -float(ndtri(USUAL_CHANCE))


def numbers_of(kind, entry):
    """Numbers of one entry that are known together, as draws take them."""
    place = f"{kind}.{entry}"
    return tuple(
        Doubtful(
            f"overrides.{name}", KNOWN.range_of(CATALOG, name), "", "", "",
            f"{kind}.{name.rpartition('.')[2]}", f"overrides.{place}",
        )
        for name in KNOWN.ends
        if name.startswith(f"{place}.")
    )  # fmt: skip


def test_the_file_is_of_todays_numbers():
    """Ranges, values, cases or priors were changed: python tests/calibration/joint.py."""
    assert f"# Made from {joint.made_from(CATALOG)}.\n" in CATALOG.texts["known_together"]


def test_every_number_is_in_the_catalog_and_between_its_ends():
    for name, (low, high) in KNOWN.ends.items():
        value = CATALOG.get(*name.split(".")[:2]).parameter(name.split(".")[2]).value
        assert low <= value * (1 + 1e-3), name
        assert high >= value * (1 - 1e-3), name
    for name, others in KNOWN.along.items():
        assert {name, *others} <= KNOWN.ends.keys()
        assert all(joint.LEAST_CORRELATION <= abs(r) + 0.005 < 1.0 for r in others.values())


def test_all_that_the_fit_moves_is_known_together():
    assert {one.name for one in fit.read_prior(CATALOG).numbers} <= KNOWN.ends.keys()


@pytest.mark.parametrize("species", ["kentucky_bluegrass", "bermudagrass"])
def test_draws_go_together_as_the_file_says(species):
    numbers = numbers_of("species", species)
    drawn = draw(numbers, 4096, seed=1)
    assert np.abs(np.corrcoef(drawn.u.T) - np.eye(len(numbers))).max() < 0.03
    wanted = correlations([number.key for number in numbers])
    assert np.abs(wanted - np.eye(len(numbers))).max() > 0.2
    # Ranks, since values are cut at physical limits.
    ranks = drawn.values.argsort(axis=0).argsort(axis=0)
    scores = ndtri((ranks + 0.5) / len(ranks))
    free = [
        i
        for i, number in enumerate(numbers)
        if number.range.least < number.range.low and number.range.high < number.range.most
        # Those of two temperatures are kept in order.
        and not number.name.startswith("species.median_death")
    ]
    found = np.corrcoef(scores.T)[np.ix_(free, free)]
    assert np.abs(found - wanted[np.ix_(free, free)]).max() < 0.06


def test_a_case_narrows_what_it_feels_and_ties_it_together():
    """The covariance of least squares, for slopes that can be worked out by hand."""
    ranges = {f"feeding.turf.{name}": Range(-1.0, 0.0, 1.0) for name in ("n_most", "n_least")}
    alone = joint._after(ranges, np.array([[2.0, 0.0]]))
    assert alone.left == pytest.approx([1.0 / np.sqrt(5.0), 1.0])
    assert alone.high == pytest.approx(Range(-1.0, 0.0, 1.0).quantile(ndtr(REACH * alone.left)))
    assert alone.correlation == pytest.approx(np.eye(2))
    both = joint._after(ranges, np.array([[1.0, 1.0]]))
    # (1 + s s') inverted is 1 - s s' / 3.
    assert both.left == pytest.approx([np.sqrt(2.0 / 3.0)] * 2)
    assert both.correlation[0, 1] == pytest.approx(-0.5)


def test_the_cases_of_feeding_narrow_its_numbers():
    fed = {name for name in KNOWN.ends if name.startswith("feeding.")}
    assert {"feeding.turf.uptake_per_d", "feeding.soil.denitrify_per_d"} <= fed
    assert not any(name.startswith("feeding.limits.") for name in fed)
    for name in fed:
        told = CATALOG.range_of(*name.split("."))
        low, high = told.quantile(ndtr(np.array([-REACH, REACH])))
        slack = 0.01 * (high - low)
        assert KNOWN.ends[name][0] >= low - slack, name
        assert KNOWN.ends[name][1] <= high + slack, name


def test_each_number_lies_close_to_its_own_score():
    """So that what a score carries can be told as what its number carries."""
    numbers = numbers_of("species", "kentucky_bluegrass")
    drawn = draw(numbers, 1024, seed=2)
    for i in range(len(numbers)):
        ranks = drawn.values[:, i].argsort().argsort()
        by_score = [abs(np.corrcoef(ranks, drawn.u[:, j])[0, 1]) for j in range(len(numbers))]
        assert np.argmax(by_score) == i, numbers[i].key


def within_specification(values):
    """Whether sands (K, 4) pass the USGA recommendations: 15 to 25% of water and 15 to 30% of
    air at 30 cm of tension (from memory).
    """
    held = [joint.held_at(*row) for row in values]
    return np.array([all(low <= x <= high for x, (low, high) in row) for row in held])


def test_most_sands_pass_what_they_are_built_to():
    together = draw(numbers_of("root_zones", "sand_over_gravel_12in"), 1024, seed=3)
    order = [[n.key.rpartition(".")[2] for n in together.doubtful].index(x) for x in joint.SAND]
    alone = draw(
        tuple(
            Doubtful(f"overrides.{x}", CATALOG.range_of("root_zones", "sand_over_gravel_12in", x),
                     "", "", "", f"root_zones.{x}", "x")
            for x in joint.SAND
        ),
        1024, seed=3,
    )  # fmt: skip
    passed = within_specification(together.values[:, order]).mean()
    assert within_specification(alone.values).mean() < passed - 0.1
    assert passed > 0.7


def test_sands_in_the_file_are_those_of_the_specification():
    for key in joint.sands(CATALOG):
        part = joint.of_sand(CATALOG, key)
        for name, low, high in zip(part.names, part.low, part.high, strict=True):
            if name in KNOWN.ends:
                assert KNOWN.ends[name] == pytest.approx((low, high), rel=1e-3), name
