"""Scores of forecasts: worked numbers.

The checks of Murphy's parts, fair scores, ensembles, ranks and bars are computed by hand from the
formulas named in ``drysward.results.scores``; those of the normal distribution are after Gneiting &
Raftery 2007, J. Am. Stat. Assoc. 102:359, whose formula is from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from drysward.results import scores
from drysward.results.ahead import effective_number, jeffreys_limits, share_of_ways
from drysward.results.odds import standard_error

TENTHS = np.linspace(0.0, 1.0, 11)


def test_brier_score_and_skill():
    p, o = np.array([0.9, 0.7, 0.2, 0.4]), np.array([1, 1, 0, 1])
    assert scores.brier(p, o).mean() == pytest.approx(0.125, abs=1e-15)
    base = scores.brier(0.75, o)
    assert scores.skill(scores.brier(p, o), base) == pytest.approx(0.3333, abs=5e-5)


def test_parts_of_the_brier_score():
    p = np.repeat([0.1, 0.3, 0.5, 0.8], 10)
    o = np.concatenate([np.arange(10) < events for events in (1, 2, 6, 9)])
    parts = scores.brier_parts(p, o, TENTHS)
    assert parts == pytest.approx((0.0075, 0.1025, 0.2475, 0.0), abs=1e-12)
    whole = scores.brier(p, o)
    assert whole.mean() == pytest.approx(0.1525, abs=1e-12)
    assert scores.skill(whole, scores.brier(o.mean(), o)) == pytest.approx(0.3838, abs=5e-5)


@pytest.mark.parametrize("edges", [TENTHS, [0.0, 0.25, 1.0], [0.0, 1.0]])
def test_parts_add_up_to_the_score_whatever_the_bins(edges):
    rng = np.random.default_rng(1)
    p = rng.random((200, 3))
    o = rng.random((200, 3)) < p
    parts = scores.brier_parts(p, o, edges)
    whole = parts.reliability - parts.resolution + parts.uncertainty + parts.within_bins
    assert whole == pytest.approx(scores.brier(p, o).mean(axis=0), abs=1e-12)
    alone = scores.brier_parts(p[:, 1], o[:, 1], edges)
    assert np.allclose([part[1] for part in parts], alone, rtol=0, atol=1e-15)


@pytest.mark.parametrize("m, expected", [(10, 0.2310), (30, 0.2170), (10**9, 0.2100)])
def test_a_perfect_ensemble_scores_more_with_fewer_ways(m, expected):
    p, counts = 0.3, np.arange(31)
    assert p * (1 - p) * (1 + 1 / m) == pytest.approx(expected, abs=5e-5)
    if m > 30:
        return
    i = counts[: m + 1]
    chance = stats.binom.pmf(i, m, p)
    plain = sum(q * (chance @ scores.brier(i / m, o)) for q, o in ((p, 1), (1 - p, 0)))
    fair = sum(q * (chance @ scores.fair_brier(i / m, o, m)) for q, o in ((p, 1), (1 - p, 0)))
    assert plain == pytest.approx(expected, abs=5e-5)
    assert fair == pytest.approx(0.21, abs=1e-12)


def test_fair_brier_score_of_a_count():
    i, m = 3, 10
    less = i * (m - i) / (m**2 * (m - 1))
    assert scores.fair_brier(i / m, 0, m) == pytest.approx(0.09 - less, abs=1e-15)
    assert np.isnan(scores.fair_brier(1.0, 1, 1))


def test_the_other_years_as_a_forecast_score_the_variance_of_the_events():
    """Each year's odds from the others are too low in years with the event, by n/(n-1); the fair
    score is rid of it, so that it is the unbiased variance of the events.
    """
    o = np.arange(30) < 7
    others = (o.sum() - o) / 29
    assert scores.fair_brier(others, o, 29).mean() == pytest.approx(o.var(ddof=1), abs=1e-12)


def test_ranked_probability_score():
    assert scores.ranked_probability([0.2, 0.3, 0.5], 1) == pytest.approx(0.29, abs=1e-12)
    thirds = np.full(3, 1 / 3)
    assert scores.ranked_probability(thirds, 1) == pytest.approx(0.2222, abs=5e-5)


def test_crps_of_an_ensemble():
    x = [1.0, 2.0, 3.0, 4.0, 6.0]
    assert scores.crps(x, 3.5) == pytest.approx(0.54, abs=1e-12)
    assert scores.crps(x, 3.5, fair=True) == pytest.approx(0.30, abs=1e-12)
    w = [0.4, 0.2, 0.2, 0.1, 0.1]
    assert scores.crps(x, 3.5, w) == pytest.approx(0.88, abs=1e-12)
    # A way twice is a way of twice the weight.
    doubled = scores.crps([1.0, 1.0, 2.0], 1.7)
    assert scores.crps([1.0, 2.0], 1.7, [2, 1]) == pytest.approx(doubled, abs=1e-15)


def test_crps_is_the_integral_of_the_brier_scores_of_all_thresholds():
    rng = np.random.default_rng(3)
    x, y, w = rng.normal(size=(7, 4)), rng.normal(size=4), rng.random(7)
    at = np.linspace(-8, 8, 400_001)
    for j in range(4):
        chance = share_of_ways(x[:, j, None] <= at, w / w.sum())
        integral = integrate.trapezoid(scores.brier(chance, y[j] <= at), at)
        assert scores.crps(x, y, w)[j] == pytest.approx(integral, abs=1e-4)


def test_crps_of_a_normal_distribution():
    found = scores.crps_normal([0, 0, 20], [1, 1, 2], [0, 1, 23])
    assert found == pytest.approx([0.233695, 0.602441, 1.988848], abs=5e-7)
    y = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    assert scores.crps_normal(0, 1, y).mean() == pytest.approx(0.564190, abs=5e-6)


def test_log_score():
    assert scores.log_score([0.5, 0.3, 0.2], 1) == pytest.approx([1, 1.737, 2.322], abs=5e-4)
    assert scores.log_score(0.8, 0) == pytest.approx(2.322, abs=5e-4)
    assert scores.log_score(0.0, 1) == np.inf


def test_flatness_of_a_rank_histogram():
    chi_square, p = scores.flatness([14, 9, 8, 10, 7, 12])
    assert chi_square == pytest.approx(3.4, abs=0.05)
    assert p == pytest.approx(0.639, abs=5e-4)


def test_rank_histogram():
    ways = np.array([[1.0, 1.0, 0.0], [2.0, 2.0, 0.0], [3.0, 3.0, 5.0]])  # (W, N)
    found = scores.rank_histogram(ways, [0.5, 2.5, 0.0])
    # The last truth equals two ways: ranks 0, 1 and 2 are alike.
    assert found == pytest.approx([1 + 1 / 3, 1 / 3, 1 + 1 / 3, 0])
    assert scores.rank_histogram(ways, [0.5, 2.5, 0.0], bins=2) == pytest.approx([5 / 3, 4 / 3])


@pytest.mark.parametrize("n, low, high", [(10, 0.1, 0.5), (20, 0.15, 0.45), (40, 0.175, 0.425)])
def test_bars_of_a_reliability_bin(n, low, high):
    bins = scores.reliability_bins(np.full(n, 0.3), np.arange(n) < 2, [0.0, 0.25, 0.35, 1.0])
    assert list(bins.n) == [0, n, 0]
    assert (bins.low[1], bins.high[1]) == pytest.approx((low, high), abs=1e-12)
    assert bins.share[1] == pytest.approx(2 / n)
    assert np.isnan(bins.chance[[0, 2]]).all()


def test_binomial_quantiles_are_those_of_the_library():
    n, p = np.meshgrid([0, 1, 7, 30], [0.0, 0.02, 0.3, 0.97, 1.0])
    for q in (0.05, 0.5, 0.95):
        expected = np.maximum(stats.binom.ppf(q, n, p), 0.0)
        assert scores.binomial_quantile(q, n, p) == pytest.approx(expected)


def test_equal_ways():
    assert standard_error(0.3, 30) == pytest.approx(0.0837, abs=5e-5)
    low, high = jeffreys_limits(9 / 30, 30)
    assert (low, high) == pytest.approx((0.180, 0.448), abs=5e-4)


@pytest.mark.parametrize(
    "n, k, first, last, effective",
    [(30, 6, 0.4082, 0.0680, 4.02), (49, 7, 0.3857, 0.0551, 4.45), (100, 10, 0.3414, 0.0341, 5.54)],
)
def test_effective_number_of_nearest_years(n, k, first, last, effective):
    """Rank kernel of Lall & Sharma 1996, Water Resources Research 32:679."""
    assert k == np.ceil(np.sqrt(n))
    w = 1.0 / np.arange(1, k + 1)
    w /= w.sum()
    assert (w[0], w[-1]) == pytest.approx((first, last), abs=5e-5)
    assert effective_number(w) == pytest.approx(effective, abs=0.005)


def test_effective_number_of_a_shifted_outlook():
    """Density ratios of Stedinger & Kim 2010, Journal of Hydrology; from memory."""
    x = np.arange(-1.5, 1.6, 0.5)
    ratio = stats.norm.pdf(x, 0.5, 0.8) / stats.norm.pdf(x)
    expected = [0.1692, 0.3553, 0.6485, 1.0282, 1.4164, 1.6953, 1.7628]
    assert ratio == pytest.approx(expected, abs=5e-5)
    assert effective_number(ratio) == pytest.approx(5.20, abs=0.005)


def test_limits_of_a_skill_draw_all_dates_of_a_year_together():
    rng = np.random.default_rng(7)
    years = np.repeat(np.arange(30), 3)
    reference = rng.random(90) + 0.5
    # The same error on each date of a year: three dates say no more than one.
    shared = np.repeat(rng.normal(size=30), 3) * 0.3
    three = scores.skill_limits(reference * 0.8 + shared, reference, years)
    one = scores.skill_limits(
        (reference * 0.8 + shared).reshape(30, 3).sum(axis=1),
        reference.reshape(30, 3).sum(axis=1), np.arange(30),
    )  # fmt: skip
    assert np.allclose(three, one, rtol=0, atol=1e-12)
    apart = scores.skill_limits(reference * 0.8 + shared, reference, np.arange(90))
    assert apart[1] - apart[0] < 0.75 * (three[1] - three[0])
    found = scores.skill(reference * 0.8 + shared, reference)
    assert three[0] < found < three[1]


def test_skill_of_a_single_event_is_not_known_to_be_better():
    o = np.arange(20) == 3
    usual = (o.sum() - o) / 19
    ours, theirs = scores.fair_brier(o * 0.9, o, 19), scores.fair_brier(usual, o, 19)
    low, high = scores.skill_limits(ours, theirs, np.arange(20))
    assert scores.skill(ours, theirs) > 0.9
    assert scores.verdict(low, high) == scores.NO_BETTER
    nothing = np.zeros(20)
    assert scores.verdict(*scores.skill_limits(nothing, nothing, np.arange(20))) == scores.UNKNOWN


def test_words_of_a_skill():
    assert scores.verdict(-0.1, 0.4) == "no better than the usual odds"
    assert scores.verdict(0.1, 0.4) == "better than the usual odds"
    assert scores.verdict(-0.4, -0.1) == "worse than the usual odds"
