"""Weights of ways on and forecasts among them: worked numbers.

The numbers are computed by hand: categories of an outlook by their number of years, regression of
anomalies as in textbooks, ranks as in Clark and others 2004, J. Hydrometeorology 5:243, from
memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from drysward.catalog import load_catalog
from drysward.faults import FaultyInput
from drysward.results.ahead import effective_number, share_of_ways
from drysward.results.odds import standard_error
from drysward.studies.season.forecast import forecast_skill, rank_matched, shrunk
from drysward.studies.season.ways import Way, tercile_weights, weights

OUTLOOK = (0.2, 0.3, 0.5)


def ways_with_rain(scenes, rain, first=1991):
    return [
        Way(str(first + i), first + i, scenes.record(10, rain=mm, start="2021-07-01"))
        for i, mm in enumerate(rain)
    ]


@pytest.fixture
def thirty(scenes):
    """Thirty ways, the driest first."""
    return ways_with_rain(scenes, np.arange(30.0))


def test_weights_of_an_outlook(thirty):
    w = weights(thirty, OUTLOOK, trust=1.0)
    assert w == pytest.approx(np.repeat([0.02, 0.03, 0.05], 10), abs=1e-15)
    assert effective_number(w) == pytest.approx(26.3, abs=0.05)
    wilted = np.concatenate([np.arange(10) < events for events in (8, 4, 1)])
    assert share_of_ways(wilted, weights(thirty)) == pytest.approx(0.433, abs=5e-4)
    assert share_of_ways(wilted, w) == pytest.approx(0.330, abs=5e-4)
    by_third = np.array(OUTLOOK) * standard_error([0.8, 0.4, 0.1], 10)
    assert np.sqrt((by_third**2).sum()) == pytest.approx(0.0711, abs=5e-5)


def test_weights_are_half_way_to_equal_ones(thirty):
    half = (weights(thirty, OUTLOOK, trust=1.0) + weights(thirty)) / 2
    assert weights(thirty, OUTLOOK) == pytest.approx(half, abs=1e-15)
    assert weights(thirty, OUTLOOK, trust=0.0) == pytest.approx(weights(thirty), abs=1e-15)


def test_thirds_are_by_rain_not_by_year(scenes):
    mixed = ways_with_rain(scenes, np.random.default_rng(1).permutation(30))
    rain = np.array([way.days.rain_mm.sum() for way in mixed])
    w = weights(mixed, OUTLOOK, trust=1.0)
    assert w[np.argsort(rain)] == pytest.approx(np.repeat([0.02, 0.03, 0.05], 10), abs=1e-15)


@pytest.mark.parametrize("n", [1, 2, 10, 29, 31])
def test_uneven_thirds_keep_the_chances(n):
    w = tercile_weights(np.arange(float(n)), OUTLOOK)
    assert w.sum() == pytest.approx(1.0)
    if n >= 3:
        third = 3 * np.arange(n) // n
        assert np.bincount(third, w) == pytest.approx(OUTLOOK)


def test_ways_since_a_year(thirty):
    w = weights(thirty, first_year=2001)
    assert (w[:10] == 0).all()
    assert w[10:] == pytest.approx(1 / 20)
    both = weights(thirty, OUTLOOK, first_year=2001, trust=1.0)
    assert (both[:10] == 0).all()
    assert both.sum() == pytest.approx(1.0)


def test_few_ways_are_equal_unless_weights_are_stated(scenes):
    few = ways_with_rain(scenes, np.arange(8.0))
    assert weights(few) == pytest.approx(1 / 8)
    with pytest.raises(FaultyInput, match=r"8 ways are worth only .* equal ones; at least 10"):
        weights(few, OUTLOOK)


def test_weights_that_leave_too_few_ways_are_refused(thirty):
    with pytest.raises(FaultyInput, match=r"30 ways are worth only 5\.0 equal ones"):
        weights(thirty, first_year=2016)
    with pytest.raises(FaultyInput, match="no way begins in 2050 or later; a year from 1991"):
        weights(thirty, first_year=2050)
    for wrong in ((0.5, 0.5), (0.5, 0.5, 0.5), (1.2, -0.2, 0.0)):
        with pytest.raises(FaultyInput, match="three chances that add up to 1"):
            weights(thirty, wrong)


def test_no_year_has_more_than_a_fifth(scenes):
    # Of 40 ways, an outlook sure of the dry third; thirds of 40 have 14, 13 and 13 ways.
    many = ways_with_rain(scenes, np.arange(40.0))
    assert weights(many, (1.0, 0.0, 0.0), trust=1.0).max() == pytest.approx(1 / 14)
    from drysward.studies.season.ways import _capped

    w = _capped(np.array([0.5, 0.25, *np.full(25, 0.01)]), 0.2)
    assert w[:2] == pytest.approx(0.2)
    assert w[2:] == pytest.approx(0.6 / 25)


# ---------------------------------------------------------------- a forecast


@pytest.mark.parametrize("r, left", [(0.9, 0.436), (0.7, 0.714), (0.5, 0.866), (0.3, 0.954)])
def test_regression_of_an_anomaly(r, left):
    own = np.array([-1.0, 1.0])  # mean 0, standard deviation 1
    led = shrunk(own, 2.0, 0.0, r, spread=1.25)
    assert led.mean() == pytest.approx(r * 1.25 * 2.0)
    assert led.std() == pytest.approx(left, abs=5e-4)


def test_regression_is_the_precision_of_two_independent_errors():
    """Climate 25 +- 3, a forecast of 29 with an error of 2: 27.769 +- 1.664."""
    forecast_sd = np.hypot(3.0, 2.0)
    own = 25.0 + 3.0 * np.array([-1.0, 1.0])
    led = shrunk(own, 29.0, 25.0, 3.0 / forecast_sd, spread=3.0 / forecast_sd)
    assert led.mean() == pytest.approx(27.769, abs=5e-4)
    assert led.std() == pytest.approx(1.664, abs=5e-4)


def test_draws_in_the_order_of_the_years():
    history = np.array([20, 5, 12, 8])
    assert list(rank_matched(np.sort([3, 1, 4, 2]), np.argsort(history))) == [4, 1, 3, 2]


def test_weights_of_rain_chances_by_day_ahead():
    skill = forecast_skill(load_catalog())
    assert skill.rain[:7] == pytest.approx([0.9, 0.85, 0.75, 0.6, 0.45, 0.3, 0.2])
    for part in (skill.temperature, skill.rain):
        assert part.size == 10
        assert (np.diff(part) < 0).all()
    # Mean absolute errors of days 1, 3, 5 and 7 over a climate of 4.5 degC: from memory.
    error = np.array([1.75, 2.25, 2.75, 3.25]) * np.sqrt(np.pi / 2)
    expected = np.sqrt(1.0 - (error / 4.5) ** 2)
    assert skill.temperature[[0, 2, 4, 6]] == pytest.approx(expected, abs=0.01)
