"""What must hold of any record of years, whatever its values."""

import itertools
import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from drysward.results import frequency, odds

records = st.lists(st.floats(0, 1000, allow_subnormal=False), min_size=1, max_size=40)
PERIODS = [1.01, 1.25, 2, 5, 10, 20, 50]


@given(records)
def test_every_value_is_found_at_its_own_weibull_return_period(values):
    descending = sorted(values, reverse=True)
    n = len(values)
    periods = [(n + 1) / m for m in range(1, n + 1)]
    assert frequency.demand_estimates(values, periods) == pytest.approx(descending)


@pytest.mark.parametrize("n", [1, 2, 7, 30])
def test_the_record_says_nothing_beyond_itself(n):
    values = np.arange(n, dtype=float)
    edges = frequency.demand_at_return_periods(values, [n + 1, (n + 1) / n])
    assert edges.estimate == pytest.approx([n - 1, 0])
    assert not edges.fitted.any()
    beyond = frequency.demand_at_return_periods(values, [n + 1.01, 1 + (1 / n) * 0.99])
    assert beyond.fitted.all()


def test_between_ranks_the_quantile_is_linear_in_probability():
    # 4 years: rank m at probability m/5; T = 4 is rank 1.25.
    assert frequency.demand_estimates([1, 2, 3, 4], [4]) == pytest.approx(4 - 0.25)


def test_ties_keep_their_value():
    values = [5.0, 5.0, 5.0, 1.0]
    assert frequency.demand_estimates(values, [5, 3, 2, 5 / 3]) == pytest.approx([5, 5, 5, 5])


@settings(max_examples=25, deadline=None)
@given(records)
def test_levels_rise_with_the_period_and_lie_within_their_limits(values):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        levels = frequency.demand_at_return_periods(values, PERIODS)
    assert all(b >= a - 1e-9 for a, b in itertools.pairwise(levels.estimate))
    for period, estimate, low, high, fitted in zip(PERIODS, *levels, strict=True):
        assert estimate >= 0
        within = (len(values) + 1) / len(values) <= period <= len(values) + 1
        assert fitted == (not within)
        if not within and period > 2:
            assert estimate >= max(values)
        if len(values) > 1:
            assert 0 <= low <= estimate <= high
        else:
            assert math.isnan(low)
            assert math.isnan(high)


@pytest.mark.parametrize("values", [[0.0] * 12, [312.7] * 12, [0.1 + 0.2] * 5])
def test_a_constant_record_is_certain_and_silent(values):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        levels = frequency.demand_at_return_periods(values, PERIODS)
    for found in (levels.estimate, levels.low, levels.high):
        assert found == pytest.approx([values[0]] * len(PERIODS))


def test_same_call_same_numbers_and_the_seed_matters():
    values = np.random.default_rng(3).gamma(9, 40, 30)
    first = frequency.demand_at_return_periods(values, [5, 50])
    again = frequency.demand_at_return_periods(values, [5, 50])
    assert all(np.array_equal(*pair) for pair in zip(first, again, strict=True))
    other = frequency.demand_at_return_periods(values, [5, 50], seed=1)
    assert np.array_equal(other.estimate, first.estimate)
    assert not np.array_equal(other.low, first.low)


def test_many_series_at_once_are_each_as_alone():
    values = np.random.default_rng(4).gamma(9, 40, (2, 3, 12))
    values[0, 1] = 0.0
    together = frequency.demand_at_return_periods(values, PERIODS)
    for place in np.ndindex(2, 3):
        alone = frequency.demand_at_return_periods(values[place], PERIODS)
        for one, many in zip(alone, together, strict=True):
            assert np.array_equal(one, many[place])


def test_limits_hold_the_truth_about_as_often_as_they_say():
    """90% limits of the 10-year demand from 30 gamma years: 80 records, binomial slack."""
    truth = stats.gamma.isf(0.1, 9, scale=40)
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(80):
        level = frequency.demand_at_return_periods(rng.gamma(9, 40, 30), [10])
        held += level.low[0] <= truth <= level.high[0]
    assert 0.8 <= held / 80 <= 1.0


def test_longer_records_narrow_the_limits():
    values = np.random.default_rng(5).gamma(9, 40, 200)
    short, long = (frequency.demand_at_return_periods(v, [10]) for v in (values[:20], values))
    assert long.high - long.low < short.high - short.low


@given(st.floats(-3, 3), st.floats(0.005, 0.995))
def test_frequency_factor_is_the_standardized_pearson3_quantile(skew, exceedance):
    found = frequency.pearson3_frequency_factor(skew, exceedance)
    assert found == pytest.approx(stats.pearson3.isf(exceedance, skew), abs=1e-5)


@given(st.lists(st.booleans(), min_size=1, max_size=60))
def test_probability_and_its_limits(events):
    found = odds.probability_of(events)
    n, count = len(events), sum(events)
    assert found.p == count / n
    assert 0 <= found.low <= found.p <= found.high <= 1
    assert (found.bound is None) == (0 < count < n)
    if count == 0:
        # Exact: with chance `bound`, no event in n years has probability 0.05.
        assert (1 - found.bound) ** n == pytest.approx(0.05)
    if count == n:
        assert found.bound**n == pytest.approx(0.05)
    assert ("one year only" in found.note) == (n == 1)


@pytest.mark.parametrize("values", [[], [1.0, np.nan], [np.inf]])
def test_what_is_not_a_record_is_refused(values):
    with pytest.raises(ValueError):
        frequency.demand_at_return_periods(values, [2])
    with pytest.raises(ValueError):
        frequency.pearson3_quantile(values, 2)
    with pytest.raises(ValueError):
        odds.probability_of(values)


def test_where_one_record_is_asked_for_two_are_refused():
    with pytest.raises(ValueError, match="one series"):
        frequency.pearson3_quantile([[1.0, 2.0]], 2)
    with pytest.raises(ValueError, match="one series"):
        odds.probability_of([[1.0, 0.0]])


@pytest.mark.parametrize("period", [1.0, 0.0, -5.0, np.nan, np.inf])
def test_what_is_not_a_return_period_is_refused(period):
    with pytest.raises(ValueError, match="return period"):
        frequency.demand_estimates([1.0, 2.0], [period])


def test_other_refusals():
    with pytest.raises(ValueError, match="negative"):
        frequency.demand_at_return_periods([-1.0, 2.0], [2])
    with pytest.raises(ValueError, match="confidence"):
        frequency.demand_at_return_periods([1.0, 2.0], [2], confidence=90)
    with pytest.raises(ValueError, match="true or false"):
        odds.probability_of([0.5])
