"""What must hold of the split between draws and years, whatever the outcome."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy import stats

from drysward.results.band import band, stands, without_noise
from drysward.results.doubt_text import doubt_text
from drysward.results.spread import (
    odds_of_one_draw_a_year,
    split,
    split_nested,
    split_of_sums,
)

cells = hnp.arrays(
    float,
    st.tuples(st.integers(2, 8), st.integers(2, 9)),
    elements=st.floats(-400, 400, allow_subnormal=False),
)


def stage_years(rng, p, years, common):
    """1 or 0 for draws of odds p (K,) in the same years; ``common`` of the chance is the year's."""
    weather = rng.standard_normal(years)
    own = rng.standard_normal((len(p), years))
    dry = math.sqrt(common) * weather + math.sqrt(1 - common) * own
    return (dry < stats.norm.ppf(p)[:, None]).astype(float)


def plain_split(x):
    """The textbook's sums, cell by cell."""
    k, y = x.shape
    g, r, c = x.mean(), x.mean(axis=1), x.mean(axis=0)
    error = sum((x[i, j] - r[i] - c[j] + g) ** 2 for i in range(k) for j in range(y))
    mse = error / ((k - 1) * (y - 1))
    msp = y * sum((r - g) ** 2) / (k - 1)
    msy = k * sum((c - g) ** 2) / (y - 1)
    return (msp - mse) / y, (msy - mse) / k, mse


@settings(deadline=None)
@given(cells)
def test_sums_say_what_the_cells_say(x):
    parts = split_of_sums(x.mean(axis=1), x.mean(axis=0), (x**2).mean())
    scale = max((x**2).mean(), 1e-200)
    found = parts.between_draws, parts.between_years, parts.interaction
    for one, other, same in zip(found, split_values(x), plain_split(x), strict=True):
        assert abs(one - same) <= 1e-12 * scale
        assert abs(other - same) <= 1e-12 * scale
    assert parts.mean == pytest.approx(x.mean(), abs=1e-12 * math.sqrt(scale))


def split_values(x):
    parts = split(x)
    return parts.between_draws, parts.between_years, parts.interaction


@settings(deadline=None)
@given(cells, st.randoms(use_true_random=False))
def test_order_of_draws_and_years_is_nothing(x, random):
    rows, columns = list(range(x.shape[0])), list(range(x.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    mixed = x[rows][:, columns]
    one, other = split(x), split(mixed)
    scale = max((x**2).mean(), 1e-200)
    for a, b in zip(split_values(x), split_values(mixed), strict=True):
        assert abs(a - b) <= 1e-12 * scale
    # Parts that are left of nothing may be above 0 in one order and not in the other.
    if abs(one.between_draws) > 1e-9 * scale:
        kind = "difference"
        first, second = (
            band(y.mean(axis=1), parts, kind) for y, parts in ((x, one), (mixed, other))
        )
        assert first.low == pytest.approx(second.low, rel=1e-6, abs=1e-6)
        assert first.high == pytest.approx(second.high, rel=1e-6, abs=1e-6)


@settings(deadline=None)
@given(cells, st.floats(0.1, 10))
def test_the_split_keeps_units(x, factor):
    scale = max((x**2).mean(), 1e-200) * factor**2
    for a, b in zip(split_values(factor * x), split_values(x), strict=True):
        assert abs(a - factor**2 * b) <= 1e-11 * scale


def test_many_outcomes_at_once_are_each_alone():
    rng = np.random.default_rng(0)
    x = rng.gamma(2, 3, (2, 3, 24, 10)) + rng.gamma(2, 3, (2, 3, 24, 1))
    parts = split(x)
    found = band(x.mean(axis=-1), parts, "amount", years_too=True)
    alone = split(x[1, 2])
    limits = band(x[1, 2].mean(axis=-1), alone, "amount", years_too=True)
    assert parts.between_draws[1, 2] == pytest.approx(alone.between_draws)
    assert found.low[1, 2] == pytest.approx(limits.low)
    assert found.high[1, 2] == pytest.approx(limits.high)


def test_draws_that_are_all_equal_spread_no_more_than_chance():
    rng = np.random.default_rng(2)
    found = [split(stage_years(rng, np.full(32, 0.2), 30, 0.4)) for _ in range(300)]
    between = np.array([parts.between_draws for parts in found])
    assert abs(between.mean()) <= 2 * between.std() / math.sqrt(len(between))
    assert (between < 0).any()


def test_the_same_answer_in_every_draw_is_no_spread():
    year = np.random.default_rng(3).gamma(2.0, 20.0, 30)
    x = np.tile(year, (25, 1))
    parts = split(x)
    assert parts.between_draws == 0.0
    assert parts.interaction == 0.0
    assert not parts.distinct
    found = band(x.mean(axis=1), parts, "amount")
    assert (found.low, found.high) == pytest.approx((year.mean(), year.mean()))
    assert parts.sampling_error == pytest.approx(year.std(ddof=1) / math.sqrt(30))


def test_more_years_shrink_the_sampling_error_and_not_the_knowledge():
    rng = np.random.default_rng(4)
    p = rng.beta(2, 8, 100)
    counts = np.array([20, 80, 320])
    rows = []
    for years in counts:
        again = []
        for _ in range(40):
            x = stage_years(rng, p, years, 0.3)
            parts = split(x)
            limits = band(x.mean(axis=1), parts)
            again.append(
                [
                    parts.sampling_error,
                    parts.sampling_error_of_draw,
                    parts.knowledge_sd,
                    limits.high - limits.low,
                ]
            )
        rows.append(np.mean(again, axis=0))
    sampling, of_draw, knowledge, width = np.array(rows).T
    assert sampling * np.sqrt(counts) == pytest.approx(sampling[-1] * math.sqrt(320), rel=0.1)
    assert of_draw * np.sqrt(counts) == pytest.approx(of_draw[-1] * math.sqrt(320), rel=0.1)
    assert knowledge == pytest.approx(p.std(ddof=1), rel=0.05)
    assert width == pytest.approx(width[-1], rel=0.05)


def test_a_coin_that_is_known_only_as_a_beta_is_recovered():
    rng = np.random.default_rng(5)
    p = rng.beta(2, 8, 2000)
    truth = stats.beta(2, 8)
    crossed = stage_years(rng, p, 200, 0.0)
    own = stage_years(rng, p, 15, 0.0)
    for parts, rows in (
        (split(crossed), crossed.mean(axis=1)),
        (split_nested(own.mean(axis=1), own.mean(), 15), own.mean(axis=1)),
    ):
        # Error of a variance from its fourth moment, widened for the noise of 15 years.
        assert parts.between_draws == pytest.approx(0.0145455, abs=0.002)
        found = band(rows, parts)
        assert found.low == pytest.approx(truth.ppf(0.05), abs=0.012)
        assert found.high == pytest.approx(truth.ppf(0.95), abs=0.02)


def test_one_draw_a_year_and_the_crossed_design_agree_on_the_odds():
    rng = np.random.default_rng(6)
    p, error = odds_of_one_draw_a_year(
        [stage_years(rng, rng.beta(2, 8, 1), 1, 0.3)[0, 0] for _ in range(3000)]
    )
    parts = split(stage_years(rng, rng.beta(2, 8, 100), 200, 0.3))
    assert abs(p - parts.mean) <= 3 * math.hypot(error, parts.standard_error)
    assert error == pytest.approx(math.sqrt(0.16 / 3000), rel=0.1)


@pytest.mark.parametrize("common", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("kind", ["odds", "amount"])
def test_the_printed_range_holds_the_truth_as_often_as_it_says(kind, common):
    held, times, draws, years = 0, 200, 64, 60
    rng = np.random.default_rng(7)
    for _ in range(times):
        p = rng.beta(2, 8, draws + 1)  # the last is the truth
        if kind == "odds":
            x, truth = stage_years(rng, p[:-1], years, common), p[-1]
        else:
            days = 50 * p
            weather = np.exp(common * rng.standard_normal(years) - common**2 / 2)
            x = days[:-1, None] * weather + 5 * rng.standard_normal((draws, years))
            truth = days[-1]
        found = band(x.mean(axis=1), split(x), kind, years_too=True)
        held += bool(found.low <= truth <= found.high)
    assert 0.85 * times <= held <= 0.95 * times


def test_few_draws_use_moments():
    rng = np.random.default_rng(8)
    x = rng.gamma(4, 5, (10, 1)) + rng.standard_normal((10, 40))
    parts = split(x)
    rows = x.mean(axis=1)
    sd, mean = parts.knowledge_sd, parts.mean
    low, high = stats.gamma((mean / sd) ** 2, scale=sd**2 / mean).ppf([0.05, 0.95])
    amount = band(rows, parts, "amount")
    assert (amount.low, amount.high) == pytest.approx((low, high))
    normal = band(rows, parts, "difference")
    drawn = without_noise(rows, parts)
    ends = np.clip(stats.norm(mean, sd).ppf([0.05, 0.95]), drawn.min(), drawn.max())
    assert (normal.low, normal.high) == pytest.approx(tuple(ends))


def test_one_draw_far_on_one_side_says_nothing_of_the_other():
    rng = np.random.default_rng(9)
    x = np.zeros((16, 1)) + 0.1 * rng.standard_normal((16, 40))
    x[3] += 95.0
    rows = x.mean(axis=1)
    found = band(rows, split(x), "difference")
    assert rows.min() - 0.1 <= found.low <= 0.0
    assert 20.0 < found.high <= 95.2


@settings(deadline=None)
@given(
    hnp.arrays(float, st.tuples(st.integers(2, 30), st.integers(2, 9)), elements=st.floats(0, 1))
    | hnp.arrays(
        float,
        st.tuples(st.integers(2, 30), st.integers(2, 9)),
        elements=st.sampled_from([0.0, 1.0]),
    ),
    st.sampled_from(["odds", "amount", "difference"]),
    st.booleans(),
)
def test_limits_are_in_order_and_possible(x, kind, years_too):
    parts = split(x)
    found = band(x.mean(axis=1), parts, kind, years_too)
    assert found.low <= found.high
    if kind != "difference":
        assert found.low >= 0.0
    if kind == "odds":
        assert found.high <= 1.0
    if years_too:
        narrow = band(x.mean(axis=1), parts, kind)
        assert found.high - found.low >= (narrow.high - narrow.low) * (1 - 1e-9) or kind == "odds"


def test_an_amount_keeps_to_the_most_that_it_can_be():
    x = np.where(np.arange(12) < 4, 9.0, 1.0)[:, None] * np.ones(5)
    for rows in (x, np.concatenate([x, x])):
        free, held = (band(rows.mean(axis=1), split(rows), "amount", most=m) for m in (99.0, 8.5))
        assert free.high > 8.5
        assert (held.low, held.high) == (free.low, 8.5)


def test_no_event_in_any_year_leaves_the_exact_bound():
    x = np.zeros((30, 60))
    found = band(x.mean(axis=1), split(x), years_too=True)
    assert found.low == 0.0
    assert found.high == pytest.approx(1 - 0.05 ** (1 / 60))
    found = band(1 - x.mean(axis=1), split(1 - x), years_too=True)
    assert (found.low, found.high) == pytest.approx((0.05 ** (1 / 60), 1.0))


def test_what_is_not_there_stays_not_there():
    x = np.random.default_rng(1).random((2, 30, 8))
    x[0] = np.nan
    parts = split(x)
    for kind in ("odds", "amount", "difference"):
        found = band(x.mean(axis=-1), parts, kind, years_too=True)
        assert np.isnan(found.low[0])
        assert np.isnan(found.high[0])
        assert found.low[1] < found.high[1]
    order = stands(x.mean(axis=-1), 0 * x.mean(axis=-1), parts)
    assert np.isnan(order.share_less[0])
    assert order.share_less[1] == 0.0


def test_a_plan_that_is_always_better_stands_before_the_other():
    rng = np.random.default_rng(9)
    a = rng.gamma(2, 5, (40, 1)) + rng.gamma(2, 9, (1, 30))
    b = a + rng.uniform(1, 4, (40, 1)) + 0.5 * rng.standard_normal((40, 30))
    ahead = stands(a.mean(axis=1), b.mean(axis=1), split(a - b))
    behind = stands(b.mean(axis=1), a.mean(axis=1), split(b - a))
    assert ahead.share_less == 1.0
    assert behind.share_less == 0.0
    assert ahead.difference == pytest.approx(-2.5, abs=0.5)
    assert (ahead.low, ahead.high) == pytest.approx((-behind.high, -behind.low))
    assert -4.1 < ahead.low < ahead.high < -0.9
    # On the same draws and years the difference is known far better than either.
    assert ahead.sampling_error < 0.1 * split(a).sampling_error
    assert ahead.high - ahead.low < 0.5 * np.ptp(np.quantile(a.mean(axis=1), [0.05, 0.95]))


def test_ties_count_half_and_stay_ties():
    a = np.zeros((20, 10))
    b = np.zeros((20, 10))
    b[:5] = 1.0
    b[5, :5] = 1.0
    order = stands(a.mean(axis=1), b.mean(axis=1), split(a - b))
    assert order.share_less == pytest.approx((6 + 0.5 * 14) / 20)
    same = stands(a.mean(axis=1), a.mean(axis=1), split(a - a))
    assert same.share_less == 0.5
    assert not same.distinct


def test_the_order_is_counted_without_the_noise_of_the_years():
    # b is better by 1 on the mean, with a spread of 0.5: in 2.3 of 100 draws it is worse. Counted
    # as they stand, means of ten noisy years would say some 20.
    rng = np.random.default_rng(10)
    true = 1.0 + 0.5 * rng.standard_normal(4000)
    difference = true[:, None] + 3.5 * rng.standard_normal((4000, 10))
    rows = difference.mean(axis=1)
    order = stands(rows, 0 * rows, split(difference))
    assert (rows < 0).mean() > 0.15
    assert order.share_less == pytest.approx(0.023, abs=0.015)


def test_noise_is_taken_from_row_means_and_their_mean_kept():
    rng = np.random.default_rng(11)
    x = rng.gamma(2, 3, (50, 1)) + 4 * rng.standard_normal((50, 12))
    parts = split(x)
    clean = without_noise(x.mean(axis=1), parts)
    assert clean.mean() == pytest.approx(x.mean())
    assert clean.var(ddof=1) == pytest.approx(parts.between_draws)


@pytest.mark.parametrize("shape", [(1, 5), (5, 1)])
def test_one_draw_or_one_year_cannot_be_split(shape):
    with pytest.raises(ValueError, match="two draws and two years"):
        split(np.zeros(shape))


@pytest.mark.parametrize(
    ("p", "low", "high", "words"),
    [
        (0.22, 0.07, 0.43, "22 of 100 years (7 to 43)"),
        (0.004, 0.0, 0.03, "<1 of 100 years (0 to 3)"),
        (0.004, 0.001, 0.03, "<1 of 100 years (<1 to 3)"),
        (0.0, 0.0, 0.0, "<1 of 100 years"),
        (1.0, 0.97, 1.0, "all of 100 years (97 to 100)"),
        (0.998, 0.97, 1.0, ">99 of 100 years (97 to 100)"),
        (0.5, 0.497, 0.503, "50 of 100 years"),
        (math.nan, 0.0, 1.0, "-"),
        (0.3, math.nan, math.nan, "30 of 100 years"),
    ],
)
def test_odds_in_words(p, low, high, words):
    assert doubt_text(p, low, high) == words


def test_a_spread_that_is_chance_is_said_to_be():
    assert (
        doubt_text(0.22, 0.22, 0.22, distinct=False)
        == "22 of 100 years (spread across draws: no larger than chance)"
    )


@pytest.mark.parametrize("kind", ["odds", "amount"])
def test_where_years_are_few_and_weigh_most_the_range_must_count_them(kind):
    # Draws hardly differ and twenty years do: the spread across draws alone misses the truth.
    rng = np.random.default_rng(12)
    with_years = without = 0
    times = 200
    for _ in range(times):
        p = rng.beta(60, 140, 65)
        if kind == "odds":
            x, truth = stage_years(rng, p[:-1], 20, 0.9), p[-1]
        else:
            x = (
                50 * p[:-1, None]
                + 20 * rng.standard_normal((1, 20))
                + rng.standard_normal((64, 20))
            )
            truth = 50 * p[-1]
        parts, rows = split(x), x.mean(axis=1)
        wide, narrow = band(rows, parts, kind, years_too=True), band(rows, parts, kind)
        with_years += bool(wide.low <= truth <= wide.high)
        without += bool(narrow.low <= truth <= narrow.high)
    assert 0.85 * times <= with_years <= 0.95 * times
    assert without <= 0.7 * times
