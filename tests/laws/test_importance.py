"""What the shares of uncertain numbers must do, whatever the numbers are."""

import math

import numpy as np
import pytest
from scipy import stats

from drysward.results.importance import importance

D = 100
NAMES = [f"n{i}" for i in range(D)]
GROUPS = ["soil"] * 30 + ["grass"] * 40 + ["delivery"] * 30
WEIGHTS = np.array([1.0, 0.9, 0.8, 0.6, 0.4])


def five_of_a_hundred(seed, draws=64):
    rng = np.random.default_rng(seed)
    u = rng.random((draws, D))
    which = rng.choice(D, 5, replace=False)
    return u, u[:, which] @ WEIGHTS, which


def test_the_three_that_matter_most_of_a_hundred_are_found_in_64_draws():
    right = 0
    for seed in range(40):
        u, y, which = five_of_a_hundred(seed)
        found = importance(u, y, NAMES, GROUPS, resamples=2)
        right += set(np.argsort(-found.numbers.total)[:3]) == set(which[:3])
    assert right >= 36


def test_groups_hold_their_share():
    u, y, which = five_of_a_hundred(3)
    found = importance(u, y, NAMES, GROUPS)
    assert found.explained > 0.9
    for name, share, error in zip(
        found.groups.names, found.groups.total, found.groups.error, strict=True
    ):
        mine = [WEIGHTS[i] ** 2 for i, column in enumerate(which) if GROUPS[column] == name]
        assert abs(share - sum(mine) / (WEIGHTS**2).sum()) <= 3 * error + 1e-6
    assert found.groups.total.sum() == pytest.approx(found.explained)
    assert found.numbers.total.sum() == pytest.approx(found.explained)
    assert found.groups.alone == pytest.approx(found.groups.total)


def test_what_nothing_drives_is_not_explained():
    told = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        found = importance(rng.random((64, D)), rng.standard_normal(64), NAMES, GROUPS, resamples=2)
        told.append(found.explained)
        assert found.numbers.total.sum() == pytest.approx(found.explained)
    assert np.median(told) == 0.0
    assert np.quantile(told, 0.95) < 0.25


def test_correlated_numbers_are_one_unit():
    # Two numbers of the soil with a correlation of 0.5 act against each other: apart they would be
    # said to do 2 of the 2.25 parts of the variance, together they do less.
    rank = 6 / math.pi * math.asin(0.25)
    pair = 2 * (1 - rank)
    truth = pair / (pair + 0.25)
    shares = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        z = rng.standard_normal((64, 50))
        z[:, 1] = 0.5 * z[:, 0] + math.sqrt(0.75) * z[:, 1]
        u = stats.norm.cdf(z)
        y = u[:, 0] - u[:, 1] + 0.5 * u[:, 2]
        names = ["soil water", "soil water", *NAMES[:48]]
        found = importance(u, y, names, ["soil"] * 2 + ["grass"] * 48, resamples=2)
        assert found.numbers.names[0] == "soil water"
        assert len(found.numbers.names) == 49
        shares.append(found.numbers.total[0])
    assert np.mean(shares) == pytest.approx(truth, abs=4 * np.std(shares) / math.sqrt(20))
    assert np.mean(shares) < 2 / 2.25 - 0.05


def test_chance_of_the_years_is_not_held_against_the_numbers():
    u, y, _ = five_of_a_hundred(7, draws=128)
    noise = np.random.default_rng(8).standard_normal(128) * 0.5 * y.std()
    chance = 0.25 / 1.25
    plain = importance(u, y + noise, NAMES, GROUPS, resamples=2)
    rest = importance(u, y + noise, NAMES, GROUPS, chance=chance, resamples=2)
    assert rest.explained == pytest.approx(min(plain.explained / (1 - chance), 1.0))
    assert rest.groups.total == pytest.approx(plain.groups.total / plain.explained * rest.explained)


def test_outcomes_side_by_side_are_those_alone():
    u, y, _ = five_of_a_hundred(5)
    z = u[:, 0] ** 2
    both = importance(u, np.stack([y, z, 0 * y], axis=1), NAMES, GROUPS, resamples=5)
    for column, one in enumerate((y, z)):
        alone = importance(u, one, NAMES, GROUPS, resamples=5)
        assert both.explained[column] == pytest.approx(alone.explained)
        assert both.groups.total[:, column] == pytest.approx(alone.groups.total)
        assert both.groups.error[:, column] == pytest.approx(alone.groups.error)
    # An outcome that is the same in all draws has nothing to explain.
    assert both.explained[2] == 0.0
    assert np.all(both.numbers.total[:, 2] == 0.0)


def test_an_outcome_of_one_draw_alone_has_shares_and_errors():
    u = np.random.default_rng(1).random((64, 10))
    y = np.zeros(64)
    y[u[:, 0].argmax()] = 1.0
    found = importance(u, y, NAMES[:10], ["soil"] * 10)
    assert np.isfinite(found.groups.error).all()


def test_shapes_that_do_not_fit_are_refused():
    u = np.random.default_rng(0).random((10, 3))
    with pytest.raises(ValueError, match="of one K"):
        importance(u, np.zeros(9), ["a", "b", "c"], ["g"] * 3)
    with pytest.raises(ValueError, match="3 columns"):
        importance(u, np.zeros(10), ["a", "b"], ["g"] * 3)
    with pytest.raises(ValueError, match="a lies in more than one group: g, h"):
        importance(u, np.zeros(10), ["a", "a", "c"], ["g", "h", "g"])
