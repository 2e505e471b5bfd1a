"""The update by readings against worked figures.

Sources of the methods: Kalman 1960; Emerick & Reynolds 2013 (Comput. Geosci. 55:3); Talts et al.
2018 (arXiv 1804.06788). The figures were worked by hand from the printed equations.
"""

import numpy as np
import pytest

from drysward.results import smoother
from drysward.results.smoother import error_of_mean, importance, linear_update, smoothed

ONE = np.ones((1, 1))


def scalar(mean, sd, reading, error_sd, n=1, shared=0.0):
    error = np.eye(n) * error_sd**2 + shared**2
    return linear_update(
        np.array([mean]), ONE * sd**2, np.ones((n, 1)), np.full(n, float(reading)), error
    )


class TestLinearUpdate:
    def test_one_reading(self):
        after = scalar(18.0, 4.0, 22.0, 3.0)
        assert after.mean[0] == pytest.approx(20.56, abs=5e-3)
        assert after.covariance[0, 0] == pytest.approx(5.76, abs=5e-3)

    @pytest.mark.parametrize(
        "n, alone, shared",
        [(1, 2.400, 2.678), (2, 1.874, 2.356), (3, 1.589, 2.207), (5, 1.272, 2.063),
         (10, 0.923, 1.937), (20, 0.662, 1.866)],
    )  # fmt: skip
    def test_more_readings_and_a_shared_offset(self, n, alone, shared):
        assert scalar(18, 4, 22, 3, n).covariance[0, 0] ** 0.5 == pytest.approx(alone, abs=5e-4)
        with_offset = scalar(18, 4, 22, 3, n, 2.0)
        assert with_offset.covariance[0, 0] ** 0.5 == pytest.approx(shared, abs=5e-4)

    def test_no_number_of_readings_removes_the_offset(self):
        floor = scalar(18, 4, 22, 3, 3_000, 2.0).covariance[0, 0] ** 0.5
        assert floor == pytest.approx(1.789, abs=1e-3)

    def test_two_states(self):
        after = linear_update(
            np.array([10.0, 4.0]),
            np.array([[9.0, -2.4], [-2.4, 4.0]]),
            np.array([[1.0, 0.5]]),
            np.array([13.5]),
            ONE * 2.25,
        )
        assert after.mean == pytest.approx([11.18782, 3.93909], abs=5e-6)
        expected = [[2.82335, -2.08325], [-2.08325, 3.98376]]
        assert after.covariance == pytest.approx(np.array(expected), abs=5e-6)
        assert after.log_likelihood == pytest.approx(-2.17689, abs=5e-6)


class TestSmoother:
    """theta ~ N(0, 1), a reading 1.2 of 2 theta with variance 0.25."""

    @pytest.mark.parametrize(
        "steps, way",
        [
            ((1.0,), [(0.564706, 0.0588235)]),
            ((4.0,) * 4, [(0.48, 0.2), (0.533333, 0.111111), (0.553846, 0.0769231),
                          (0.564706, 0.0588235)]),
            ((28 / 3, 7.0, 4.0, 2.0), [(0.378947, 0.368421), (0.48, 0.2), (0.533333, 0.111111),
                                       (0.564706, 0.0588235)]),
        ],
    )  # fmt: skip
    def test_steps_add_up_to_one_update(self, steps, way):
        assert sum(1.0 / step for step in steps) == pytest.approx(1.0)
        mean, variance = np.zeros(1), ONE
        for step, expected in zip(steps, way, strict=True):
            mean, variance, _ = linear_update(
                mean, variance, 2.0 * ONE, np.array([1.2]), 0.25 * step * ONE
            )
            assert (mean[0], variance[0, 0]) == pytest.approx(expected, abs=5e-7)

    def test_of_two_thousand_members(self):
        members = np.random.default_rng(1).standard_normal((2_000, 1))
        out = smoothed(
            members, lambda x: 2.0 * x, np.array([1.2]), 0.25 * ONE, 2, student_df=None
        ).members
        assert out.mean() == pytest.approx(0.564706, abs=0.01)
        assert out.var() == pytest.approx(0.0588235, rel=0.1)

    def test_agrees_with_the_exact_update_of_several_numbers(self):
        rng = np.random.default_rng(3)
        operator = rng.standard_normal((30, 4))
        error = np.eye(30) * 4.0 + 1.0
        readings = operator @ np.array([1.0, -0.5, 0.0, 0.5]) + 2.0 * rng.standard_normal(30)
        exact = linear_update(np.zeros(4), np.eye(4), operator, readings, error)
        out = smoothed(
            rng.standard_normal((2_000, 4)), lambda x: x @ operator.T, readings, error, 4,
            student_df=None,
        ).members  # fmt: skip
        sd = np.sqrt(np.diag(exact.covariance))
        assert np.abs(out.mean(axis=0) - exact.mean).max() < 0.1 * sd.min()
        assert np.abs(out.std(axis=0) / sd - 1.0).max() < 0.08

    def test_a_bad_reading_hardly_moves_student_errors(self):
        members = np.random.default_rng(1).standard_normal((1_000, 1))
        readings = np.array([0.2, 0.1, -0.1, 0.0, 12.0])
        error = np.eye(5) * 0.25
        def ask(x):
            return np.repeat(x, 5, axis=1)
        normal = smoothed(members, ask, readings, error, 2, student_df=None).members.mean()
        student = smoothed(members, ask, readings, error, 2)
        assert normal > 2.0
        assert student.members.mean() < 0.35
        assert student.counted[4] < 0.1 < 0.8 < student.counted[:4].min()

    def test_a_number_that_no_reading_bears_on_keeps_its_spread(self):
        members = np.random.default_rng(1).standard_normal((200, 6))
        error = np.eye(40) * 0.25
        out = smoothed(
            members, lambda x: np.repeat(x[:, :1], 40, axis=1), np.full(40, 0.5), error, 2
        ).members
        assert out[:, 0].std() < 0.15
        assert (out[:, 1:].std(axis=0) / members[:, 1:].std(axis=0) > 0.93).all()


def test_importance_weights():
    theta = np.array([8.0, 10.0, 12.0, 14.0, 16.0])
    out = importance(theta[:, None], np.array([13.0]), 4.0 * ONE)
    assert out.weights == pytest.approx([0.01787, 0.13207, 0.35900, 0.35900, 0.13207], abs=5e-6)
    mean = out.weights @ theta
    assert mean == pytest.approx(12.91063, abs=5e-6)
    assert out.weights @ (theta - mean) ** 2 == pytest.approx(3.53405, abs=5e-6)
    assert out.effective == pytest.approx(3.4134, abs=5e-5)


class TestRanks:
    """The harness itself, on the scalar case whose posterior is exact."""

    @staticmethod
    def of(error_sd_believed, n, n_draws, seed=5):
        rng = np.random.default_rng(seed)
        truth = 18.0 + 4.0 * rng.standard_normal(n)
        reading = truth + 3.0 * rng.standard_normal(n)
        after = [scalar(18.0, 4.0, y, error_sd_believed) for y in reading]
        mean = np.array([one.mean[0] for one in after])
        sd = after[0].covariance[0, 0] ** 0.5
        draws = mean + sd * rng.standard_normal((n_draws, n))
        return smoother.rank_of(truth, draws), draws, truth

    def test_bands_as_printed(self):
        out = smoother.ranks_in_bins(np.arange(1_000) % 100, 99, 20)
        assert (out.low, out.high) == (33, 69)
        assert out.most == pytest.approx(36.19, abs=5e-3)
        quick = smoother.ranks_in_bins(np.arange(200) % 20, 19, 10)
        assert (quick.low, quick.high) == (10, 32)

    def test_a_right_fit_passes(self):
        ranks, draws, truth = self.of(3.0, 1_000, 99)
        out = smoother.ranks_in_bins(ranks, 99, 20)
        assert out.even
        assert out.low <= out.counts.min()
        assert out.counts.max() <= out.high
        assert ranks.mean() == pytest.approx(49.5, abs=3 * 0.913)
        assert 0.45 < smoother.share_in_middle(truth, draws, 0.5) < 0.55

    def test_an_error_variance_of_half_fails(self):
        ranks, _, _ = self.of(3.0 / np.sqrt(2.0), 1_000, 99)
        out = smoother.ranks_in_bins(ranks, 99, 20)
        assert not out.even
        assert out.counts[[0, -1]].min() > out.high  # too narrow: many truths at both ends


@pytest.mark.parametrize(
    "sd, at_95, at_90",
    [(1.5, (12, 5, 4), (9, 4, 3)), (2, (18, 7, 5), (13, 5, 4)), (3, (38, 12, 7), (27, 9, 5)),
     (4, (64, 18, 10), (46, 13, 7)), (5, (99, 27, 14), (70, 19, 10)),
     (6, (141, 38, 18), (100, 27, 13))],
)  # fmt: skip
def test_number_of_readings(sd, at_95, at_90):
    for chance, expected in ((0.95, at_95), (0.90, at_90)):
        found = tuple(smoother.readings_needed(sd, e, chance) for e in (1.0, 2.0, 3.0))
        assert found == expected


def test_error_of_a_mean_with_a_shared_offset():
    found = [smoother.error_of_mean(4.0, 3.0, n) for n in (1, 3, 5, 10, 20, 50)]
    assert found == pytest.approx([5.0, 3.79, 3.49, 3.26, 3.13, 3.05], abs=5e-3)


class TestWorthOfReadings:
    """What dates of ten readings say of a drying root zone, by the exact linear update.

    Moisture falls by Kc ET t / depth, 5 mm/d on 250 mm with Kc 0.8, read every third day; the start
    of each dry-down is known to 4 points, a reading to 4, the probe's offset to 2 (as in the worked
    case above), Kc to 0.12 and depth to 25%. The figures printed with the method (about 2 points;
    Kc 0.06 and 0.04, depth 15% and 10% after 5 and 15 dates) are rough, "from linear arithmetic".
    """

    KC = 0.8

    @classmethod
    def after(cls, dry_downs, kc_sd=0.12, depth_sd=0.25):
        """Standard deviations of today's moisture (points), Kc and depth (share)."""
        n = len(dry_downs)
        spread = np.diag([4.0**2] * n + [kc_sd**2, depth_sd**2, 2.0**2])
        rows = []
        for start, dates in enumerate(dry_downs):
            for t in 3.0 * np.arange(dates):
                used = cls.KC * 5.0 * t / 250.0 * 100.0
                row = np.zeros(n + 3)
                row[start], row[n:] = 1.0, (-used / cls.KC, used, 1.0)
                rows.append(row)
        operator = np.array(rows)
        error = np.eye(len(rows)) * 4.0**2 / 10.0
        nothing = np.zeros(len(rows))
        found = linear_update(np.zeros(n + 3), spread, operator, nothing, error).covariance
        today = operator[-1] * np.append(np.ones(n + 2), 0.0)
        return tuple(np.sqrt([today @ found @ today, found[n, n], found[n + 1, n + 1]]))

    def test_one_date_tells_the_state_and_no_number(self):
        state, kc, depth = self.after([1])
        assert state == pytest.approx(2.0, abs=0.1)
        assert (kc, depth) == pytest.approx((0.12, 0.25))

    @pytest.mark.parametrize("dry_downs, kc", [([5], 0.06), ([5, 5, 5], 0.04)])
    def test_dry_downs_tell_the_coefficient_where_depth_is_known(self, dry_downs, kc):
        assert self.after(dry_downs, depth_sd=1e-6)[1] == pytest.approx(kc, abs=0.005)

    def test_depth_and_coefficient_stand_for_one_another(self):
        """One dry-down brings depth to the printed 15%. More cannot bring it to the printed 10%
        while Kc is not known: moisture knows only their ratio, and the rest is the prior.
        """
        floor = 1.0 / np.sqrt(1.0 / 0.25**2 + (self.KC / 0.12) ** 2)
        assert self.after([5])[2] == pytest.approx(0.15, abs=0.02)
        assert self.after([5] * 3)[2] == pytest.approx(floor, abs=0.01)
        assert self.after([5] * 300)[2] == pytest.approx(floor, abs=1e-3)
        assert floor == pytest.approx(0.129, abs=5e-4)
        assert self.after([5] * 3, kc_sd=0.04)[2] < 0.10  # once Kc is known as printed


@pytest.mark.parametrize("alike, expected", [(0.0, 2.65), (0.3, 4.43), (0.6, 5.67)])
def test_error_of_a_sum_of_seven_days(alike, expected):
    """Reference ET of a forecast: daily errors of 1 mm, each pair of days correlated alike.

    sqrt(7 (1 + 6 rho)): what days share is the offset of their mean.
    """
    own, shared = np.sqrt(1.0 - alike), np.sqrt(alike)
    assert 7.0 * error_of_mean(own, shared, 7) == pytest.approx(expected, abs=5e-3)
    errors = np.random.default_rng(7).standard_normal((200_000, 8))
    weeks = (own * errors[:, :7] + shared * errors[:, 7:]).sum(axis=1)
    assert weeks.std() == pytest.approx(expected, rel=0.01)


def test_ranks_of_the_smoother_where_the_model_is_a_line():
    """200 truths of three numbers and 20 readings, 100 members, 19 draws in 10 bins.

    An ensemble of 100 is a little too sure: the ends may hold more, within what is accepted of an
    approximate method (middle 50% holds 40 to 60%).
    """
    rng = np.random.default_rng(11)
    operator = rng.standard_normal((20, 3))
    error = np.eye(20) * 9.0
    ranks, inside = [], []
    for seed in range(200):
        truth = rng.standard_normal(3)
        readings = operator @ truth + 3.0 * rng.standard_normal(20)
        out = smoothed(
            rng.standard_normal((100, 3)), lambda x: x @ operator.T, readings, error, seed
        ).members
        ranks.append(smoother.rank_of(truth, out[::5][:19]))
        inside.append(smoother.share_in_middle(truth, out, 0.5))
    assert 0.40 < np.mean(inside) < 0.60
    for of in np.array(ranks).T:
        found = smoother.ranks_in_bins(of, 19, 10)
        assert found.even, found
