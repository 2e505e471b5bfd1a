"""Variance of draws and years, bootstraps and indices against worked and published numbers.

The small tables and the counts are worked examples of the textbook formulas, rounded as they stand
here; where a formula is a publication's, it is named beside its check.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from drysward.results.band import band, beta_of_moments, without_noise
from drysward.results.importance import importance
from drysward.results.spread import odds_of_one_draw_a_year, split, split_nested
from drysward.studies.sweep.design import common_draws

NESTED = np.array(
    [
        [0.2, 0.3, 0.1, 0.2],
        [0.5, 0.4, 0.6, 0.5],
        [0.3, 0.3, 0.4, 0.2],
        [0.7, 0.6, 0.8, 0.7],
        [0.4, 0.5, 0.3, 0.4],
    ]
)
CROSSED = np.array([[30.0, 60, 20, 90], [35, 70, 25, 95], [25, 50, 22, 80]])
COUNTS, OF = np.array([2, 5, 1, 8, 4, 3, 10, 2, 6, 4]), 20


def nested(x):
    return split_nested(x.mean(axis=1), (x**2).mean(), x.shape[1])


def yes_or_no(counts, of):
    """The cells themselves: as many ones as counted in each row."""
    return (np.arange(of) < counts[:, None]).astype(float)


def test_law_of_total_variance_of_a_coin_that_is_not_known():
    # p ~ Beta(2, 8): 0.2 * 0.8 = 0.16 = 0.145455 within + 0.0145455 between.
    # One draw of p for each of the equal parts of the distribution, all tosses weighed exactly.
    p = stats.beta(2, 8).ppf((np.arange(200_000) + 0.5) / 200_000)
    n = 1000
    parts = split_nested(p, p.mean(), n)  # x^2 = x
    assert parts.mean == pytest.approx(0.2, abs=1e-5)
    # Row means without noise: the estimate is less by what n tosses would have added.
    within = parts.interaction * (n - 1) / n
    between = parts.between_draws + parts.interaction / n
    assert within == pytest.approx(0.145455, abs=0.5e-6 + 1e-6)
    assert between == pytest.approx(0.0145455, abs=0.5e-7 + 1e-6)
    assert within + between == pytest.approx(0.16, abs=1e-5)
    shapes = beta_of_moments(0.2, 0.16 / 11)
    assert shapes == pytest.approx((2.0, 8.0))


def test_nested_table():
    parts = nested(NESTED)
    assert parts.mean == pytest.approx(0.42)
    msb = parts.standard_error**2 * NESTED.size  # Var(m) = MSB/(Kn)
    assert msb == pytest.approx(0.148, abs=0.5e-3)
    assert parts.interaction == pytest.approx(0.00666667, abs=0.5e-8)
    assert msb / parts.interaction == pytest.approx(22.2, abs=0.5e-1)
    assert parts.between_draws == pytest.approx(0.0353333, abs=0.5e-7)
    assert NESTED.mean(axis=1).var(ddof=1) == pytest.approx(0.037)  # biased up
    share = parts.between_draws / (parts.between_draws + parts.interaction)
    assert share == pytest.approx(0.8413, abs=0.5e-4)
    assert parts.standard_error == pytest.approx(0.0860, abs=0.5e-4)


def test_nested_counts_of_years_and_their_design_effect():
    x = yes_or_no(COUNTS, OF)
    parts = nested(x)
    assert parts.mean == pytest.approx(0.225)
    assert parts.interaction == pytest.approx(0.1644737, abs=0.5e-7)
    assert parts.between_draws == pytest.approx(0.0119152, abs=0.5e-7)
    assert parts.knowledge_sd == pytest.approx(0.1092, abs=0.5e-4)
    s2 = x.mean(axis=1).var(ddof=1)
    assert s2 == pytest.approx(0.0201389, abs=0.5e-7)
    assert math.sqrt(s2) == pytest.approx(0.1419, abs=0.5e-4)
    assert parts.standard_error == pytest.approx(0.0449, abs=0.5e-4)
    # The error as if all years had draws of their own is too small by the design effect (Kish
    # 1965, Survey Sampling, chapter 5; from memory).
    _, pooled = odds_of_one_draw_a_year(x.ravel())
    assert pooled == pytest.approx(0.0295, abs=0.5e-4)
    p = parts.mean
    within_class = parts.between_draws / (p * (1 - p))
    assert within_class == pytest.approx(0.0683, abs=0.5e-4)
    effect = 1 + (OF - 1) * within_class
    assert effect == pytest.approx(2.298, abs=0.5e-3)
    assert pooled * math.sqrt(effect) == pytest.approx(0.0448, abs=0.5e-4)


def test_spread_of_the_true_odds_by_moments_and_by_shrinking():
    rows = COUNTS / OF
    parts = nested(yes_or_no(COUNTS, OF))
    shapes = beta_of_moments(parts.mean, parts.between_draws)
    assert shapes == pytest.approx((3.0678, 10.5669), abs=0.5e-4)
    found = band(rows, parts)
    assert found.low == pytest.approx(0.0711, abs=0.5e-4)
    assert found.high == pytest.approx(0.4260, abs=0.5e-4)
    assert stats.beta(*shapes).median() == pytest.approx(0.2113, abs=0.5e-4)
    assert found.distinct
    # Best guess of single draws shrinks by V/(V + noise), 0.01191520 / 0.02013889; their
    # spread by its root.
    assert 1 - parts.chance == pytest.approx(0.59165, abs=0.5e-5)
    assert without_noise(rows, parts).var(ddof=1) == pytest.approx(parts.between_draws)
    assert without_noise(rows, parts).mean() == pytest.approx(0.225)


def test_crossed_table():
    parts = split(CROSSED)
    assert parts.mean == pytest.approx(50.16667, abs=0.5e-5)
    assert parts.interaction == pytest.approx(15.19444, abs=0.5e-5)
    assert parts.between_draws == pytest.approx(32.2222, abs=0.5e-4)
    assert parts.between_years == pytest.approx(906.5278, abs=0.5e-4)
    msp = parts.years * parts.between_draws + parts.interaction
    msy = parts.draws * parts.between_years + parts.interaction
    assert msp == pytest.approx(144.0833, abs=0.5e-4)
    assert msy == pytest.approx(2734.7778, abs=0.5e-4)
    assert parts.standard_error**2 == pytest.approx(238.6389, abs=0.5e-4)
    assert parts.standard_error == pytest.approx(15.448, abs=0.5e-3)
    assert parts.standard_error_of_record == pytest.approx(3.465, abs=0.5e-3)


def test_bootstrap_over_draws_alone_needs_the_factor_of_small_samples():
    means = NESTED.mean(axis=1)
    rng = np.random.default_rng(20)
    k, again = len(means), 40_000
    rows = rng.integers(0, k, (again, k))
    found = means[rows].mean(axis=1).var()
    assert means.var() / k == pytest.approx(0.00592, abs=0.5e-5)
    assert found == pytest.approx(0.00592, rel=4 * math.sqrt(2 / again))
    assert found * k / (k - 1) == pytest.approx(
        nested(NESTED).standard_error ** 2, rel=4 * math.sqrt(2 / again)
    )
    # Resampling the years of each draw too adds noise that the means hold already.
    years = rng.integers(0, 4, (again, k, 4))
    both = NESTED[rows[:, :, None], years].mean(axis=(1, 2)).var()
    assert both == pytest.approx(0.00617, rel=4 * math.sqrt(2 / again))
    assert both > found


def test_pigeonhole_bootstrap_of_the_crossed_table():
    # Owen 2007, Annals of Applied Statistics 1:386: s_r^2/K + s_c^2/Y + s_e^2/(KY), with divisors
    # K, Y and KY.
    k, y = CROSSED.shape
    parts = split(CROSSED)
    rows = (parts.years * parts.between_draws + parts.interaction) * (k - 1) / (k * y)
    columns = (parts.draws * parts.between_years + parts.interaction) * (y - 1) / (k * y)
    cells = parts.interaction * (k - 1) * (y - 1) / (k * y)
    exact = rows / k + columns / y + cells / (k * y)
    assert exact == pytest.approx(179.561, abs=0.5e-3)
    rng = np.random.default_rng(1)
    again = 40_000
    r, c = rng.integers(0, k, (again, k)), rng.integers(0, y, (again, y))
    found = CROSSED[r[:, :, None], c[:, None, :]].mean(axis=(1, 2)).var()
    assert found == pytest.approx(exact, rel=4 * math.sqrt(2 / again))
    # With the factors of small samples it is as large as the analysis of variance, and more by
    # what the interaction counts in rows and columns both.
    scaled = rows / (k - 1) + columns / (y - 1)
    assert scaled - parts.interaction / (k * y) == pytest.approx(parts.standard_error**2)


def test_rank_correlation_of_a_gaussian_copula():
    # Spearman (6/pi) asin(rho/2) (Kruskal 1958, JASA 53:814; from memory): rho 0.8 -> 0.7859.
    assert 6 / math.pi * math.asin(0.8 / 2) == pytest.approx(0.7859, abs=0.5e-4)
    rng = np.random.default_rng(4)
    n = 100_000
    z = rng.standard_normal((n, 2)) @ np.linalg.cholesky([[1.0, 0.8], [0.8, 1.0]]).T
    found = stats.spearmanr(stats.norm.cdf(z)).statistic
    assert found == pytest.approx(0.7859, abs=4 / math.sqrt(n))


def test_latin_hypercube_of_a_sum():
    # McKay, Beckman & Conover 1979, Technometrics 21:239: mean of x1 + x2 of 10 points, variance
    # 0.016667 by plain draws, 0.00016667 with one point in each tenth.
    class Seeded:
        def __init__(self, seed):
            self.seed = seed

    n, again = 10, 4000
    means = [common_draws(Seeded(seed), 2, n).sum(axis=1).mean() for seed in range(again)]
    assert np.var(means) == pytest.approx(0.00016667, rel=4 * math.sqrt(2 / again))
    plain = np.random.default_rng(2).random((again, n, 2)).sum(axis=2).mean(axis=1)
    assert plain.var() == pytest.approx(0.016667, rel=4 * math.sqrt(2 / again))


def ishigami(u, a=7.0, b=0.1):
    x = (2 * u - 1) * np.pi
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_indices_of_the_ishigami_function():
    # Ishigami & Homma 1990; a 7, b 0.1: V 13.84459; S .31391 .44241 0; T .55759 .44241 .24368.
    from scipy.stats import qmc

    u = qmc.Sobol(3, rng=5).random(1024)
    y = ishigami(u)
    assert y.var() == pytest.approx(13.84459, rel=0.02)
    found = importance(u, y, ["x1", "x2", "x3"], ["odd", "even", "odd"], resamples=30)
    assert found.explained > 0.995
    first, total = found.numbers.alone, found.numbers.total
    assert first == pytest.approx([0.31391, 0.44241, 0.0], abs=0.01)
    assert total == pytest.approx([0.55759, 0.44241, 0.24368], abs=0.01)
    assert np.all(np.abs(total - [0.55759, 0.44241, 0.24368]) < 3 * found.numbers.error)
    # x1 and x3 work together within their group: nothing is left between groups.
    assert found.groups.names == ("odd", "even")
    assert found.groups.alone == pytest.approx([1 - 0.44241, 0.44241], abs=0.01)
    assert found.groups.total == pytest.approx(found.groups.alone, abs=1e-3)
