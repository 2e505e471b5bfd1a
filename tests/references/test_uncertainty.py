"""From a low, a likely and a high value to a distribution: worked numbers.

The example is a crop coefficient of 0.60, 0.75 and 1.00. Formulas of the triangle and of PERT are
textbook ones, from memory; the metalog is that of Keelin 2016, Decision Analysis 13:243-277.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from drysward.ranges import (
    FEASIBLE,
    PERT,
    TRIANGULAR,
    Range,
    metalog_terms,
    through_three,
)

LOW, MODE, HIGH = 0.60, 0.75, 1.00
SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])


def moments(told: Range) -> tuple[float, float]:
    """Mean and variance, by integrating the quantiles."""
    mean = integrate.quad(lambda u: float(told.quantile(u)), 0, 1)[0]
    square = integrate.quad(lambda u: float(told.quantile(u)) ** 2, 0, 1)[0]
    return mean, square - mean**2


def test_triangle():
    told = Range(LOW, MODE, HIGH, form=TRIANGULAR)
    mean, variance = moments(told)
    assert mean == pytest.approx(0.783333, abs=5e-7)
    assert variance == pytest.approx(0.00680556, abs=5e-9)
    assert math.sqrt(variance) == pytest.approx(0.0825, abs=5e-5)
    # The mode lies 0.375 of the way.
    assert told.quantile(0.375) == pytest.approx(MODE, abs=1e-12)
    expected = [0.65477, 0.67746, 0.77639, 0.90000, 0.92929]
    assert told.quantile(SHARES) == pytest.approx(expected, abs=5e-6)
    twin = stats.triang((MODE - LOW) / (HIGH - LOW), LOW, HIGH - LOW)
    u = np.linspace(0.001, 0.999, 97)
    assert told.quantile(u) == pytest.approx(twin.ppf(u), abs=1e-12)


def test_pert():
    told = Range(LOW, MODE, HIGH, form=PERT)
    mean, variance = moments(told)
    assert mean == pytest.approx(0.766667, abs=5e-7)
    assert variance == pytest.approx(0.00555556, abs=5e-9)
    assert math.sqrt(variance) == pytest.approx(0.0745, abs=5e-5)
    found = told.quantile([0.05, 0.50, 0.95])
    assert found == pytest.approx([0.65111, 0.76274, 0.89575], abs=5e-6)
    twin = stats.beta(2.5, 3.5, LOW, HIGH - LOW)
    u = np.linspace(0.001, 0.999, 97)
    assert told.quantile(u) == pytest.approx(twin.ppf(u), abs=1e-9)


def test_metalog_through_the_10_50_and_90_percent_points():
    a2, a3 = metalog_terms(0.65, 0.75, 0.92, 0.10)
    assert a2 == pytest.approx(0.0614411, abs=5e-8)
    assert a3 == pytest.approx(0.0398230, abs=5e-8)
    told = Range(0.65, 0.75, 0.92, chance=0.10)
    assert told.quantile([0.10, 0.50, 0.90]) == pytest.approx([0.65, 0.75, 0.92], abs=1e-12)
    expected = [0.62186, 0.69344, 0.82844, 0.98368]
    assert told.quantile([0.05, 0.25, 0.75, 0.95]) == pytest.approx(expected, abs=5e-6)


def test_where_a_metalog_rises():
    """Keelin 2016 gives |a3| / a2 < 1.66711 for three terms; here the least of its slope."""
    y = np.linspace(1e-6, 1 - 1e-6, 2_000_001)
    bend = (y - 0.5) + y * (1 - y) * np.log(y / (1 - y))
    assert 1.0 / bend.max() == pytest.approx(FEASIBLE, abs=5e-6)


@pytest.mark.parametrize("chance", [0.05, 0.10, 0.25])
@pytest.mark.parametrize("median", [1.0, 1.02, 1.3, 1.5, 1.8, 1.99, 2.0])
def test_any_range_keeps_its_three_points_and_rises(median, chance):
    """A median near an end has no metalog that rises; half-normals take its place."""
    told = Range(1.0, median, 2.0, chance=chance)
    found = told.quantile([chance, 0.5, 1.0 - chance])
    assert found == pytest.approx([1.0, median, 2.0], abs=1e-12)
    assert (np.diff(told.quantile(np.linspace(1e-6, 1 - 1e-6, 20_001))) >= 0.0).all()


def test_half_normals_that_meet_at_the_median():
    u = np.array([0.01, 0.3, 0.7, 0.99])
    found = through_three(u, 1.0, 1.02, 2.0, 0.05)
    z = stats.norm.ppf(u) / stats.norm.ppf(0.95)
    expected = 1.02 + z * np.array([0.02, 0.02, 0.98, 0.98])
    assert found == pytest.approx(expected, abs=1e-12)


def test_a_share_stays_a_share_and_a_length_positive():
    u = np.linspace(1e-9, 1 - 1e-9, 1001)
    share = Range(0.55, 0.70, 0.80, least=0.05, most=1.0).quantile(u)
    assert (share > 0.05).all()
    assert (share < 1.0).all()
    # Above zero the metalog goes by the logarithm.
    length = Range(100.0, 200.0, 400.0, least=0.0)
    assert (length.quantile(u) > 0.0).all()
    y = np.log(u / (1 - u)) / math.log(19)
    assert np.log(length.quantile(u)) == pytest.approx(math.log(200) + math.log(2) * y)


def test_a_limit_that_high_touches_holds_what_would_pass_it():
    told = Range(0.6, 0.9, 1.0, least=0.0, most=1.0)
    assert told.quantile([0.05, 0.5, 0.95]) == pytest.approx([0.6, 0.9, 1.0])
    assert told.quantile(0.9999) == 1.0
    assert Range(0.9, 1.0, 1.0, most=1.0).quantile([0.3, 0.6]) == pytest.approx(
        [1.0 + 0.1 * stats.norm.ppf(0.3) / stats.norm.ppf(0.95), 1.0]
    )


def test_the_limit_at_the_other_end_is_never_reached():
    """On a scale without bounds a rate of 0.3 to 1, passed 1 time in 10, is 0 once in 66 draws."""
    u = np.linspace(1e-6, 1 - 1e-6, 20_001)
    rate = Range(0.3, 0.638, 1.0, least=0.0, most=1.0)
    share = Range(0.0, 0.05, 0.15, least=0.0, most=0.95)
    assert (rate.quantile(u) > 0.0).all()
    assert (share.quantile(u) < 0.95).all()
    # By the logarithm of what lies between the number and that limit; it mirrors.
    above = 0.95 - Range(0.8, 0.9, 0.95, least=0.0, most=0.95).quantile(u[::-1])
    assert share.quantile(u) == pytest.approx(above, abs=1e-12)
    assert rate.quantile([0.05, 0.5, 0.95]) == pytest.approx([0.3, 0.638, 1.0])


def test_a_closed_range_is_its_value():
    assert (Range(0.7, 0.7, 0.7, 0.0, 1.0).quantile(np.linspace(0.01, 0.99, 9)) == 0.7).all()


@pytest.mark.parametrize(
    "numbers", [(2, 1, 3), (1, 3, 2), (1, math.nan, 2), (0, 1, 2, 0.5), (1, 2, 3, 0, 2.5)]
)
def test_numbers_out_of_order_are_refused(numbers):
    with pytest.raises(ValueError, match="are not in rising order"):
        Range(*numbers)
