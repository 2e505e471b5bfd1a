"""The weather generator against its published equations and figures.

Sources: Richardson 1981 and Richardson & Wright 1984 (A, B printed; M0, M1 from memory, held by
the agreement below); standard results for chains, gamma and mixed exponential amounts;
FAO-56 examples 8, 9 and 15 for radiation at the top of the atmosphere.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from drysward.weather.simulated import climate
from drysward.weather.simulated.generator import generate, residual_series, wet_days

A = np.array([[0.567, 0.086, -0.002], [0.253, 0.504, -0.050], [-0.006, -0.039, 0.244]])
B = np.array([[0.781, 0, 0], [0.328, 0.637, 0], [0.238, -0.341, 0.873]])
M0, M1 = climate.RICHARDSON_M0, climate.RICHARDSON_M1


def plain_series(a, b, normal):
    """Residuals of the printed process: the same after wet and dry days, without a lean."""
    days = normal.shape[1] - 1
    both = (np.broadcast_to(one, (2, days, 3, 3)) for one in (a, b))
    dry = np.zeros((normal.shape[0], days), dtype=bool)
    return residual_series(*both, np.zeros(days), dry, normal)


class TestRichardsonResiduals:
    def test_matrices_follow_from_the_correlations(self):
        """A = M1 M0^-1 and B B' = M0 - M1 M0^-1 M1'; M0 and M1 have three digits only."""
        a, b = climate.residual_matrices(M0, M1)
        assert a == pytest.approx(A, abs=0.0025)
        assert b == pytest.approx(B, abs=0.0015)

    def test_stationary_covariance_of_the_printed_process(self):
        """Computed from the printed A and B: 1.0004 .6337 .1859 / 1.0007 -.1933 / .9996."""
        found = climate.stationary_covariance(A, B)
        expected = [
            [1.0004, 0.6337, 0.1859],
            [0.6337, 1.0007, -0.1933],
            [0.1859, -0.1933, 0.9996],
        ]
        assert found == pytest.approx(np.array(expected), abs=0.0001)
        assert found == pytest.approx(M0, abs=0.0025)

    def test_the_process_is_stable(self):
        assert sorted(np.linalg.eigvals(A).real) == pytest.approx([0.235, 0.392, 0.688], abs=0.0005)

    def test_a_hundred_years_return_the_correlations(self):
        normal = np.random.default_rng(4).standard_normal((100, 366, 3))
        z = plain_series(A, B, normal)
        now, before = z[:, 1:].reshape(-1, 3), z[:, :-1].reshape(-1, 3)
        assert z.shape == (100, 365, 3)
        assert now.T @ now / len(now) == pytest.approx(M0, abs=0.02)
        assert now.T @ before / len(now) == pytest.approx(M1, abs=0.02)
        # and from the first day on
        first = np.random.default_rng(5).standard_normal((40_000, 2, 3))
        z = plain_series(A, B, first)[:, 0]
        assert np.cov(z.T) == pytest.approx(M0, abs=0.02)


def wet_day_moments(p01, p11, days):
    """Mean and large-sample variance of the number of wet days in ``days`` (standard results)."""
    pi, r = p01 / (1 + p01 - p11), p11 - p01
    return days * pi, days * pi * (1 - pi) * (1 + r) / (1 - r)


class TestWetAndDryDays:
    @pytest.mark.parametrize(
        "p01, p11, share, mean, variance",
        [(0.2, 0.5, 0.2857, 8.57, 11.37), (0.3, 0.6, 0.4286, 12.86, 13.64)],
    )
    def test_formulas(self, p01, p11, share, mean, variance):
        """Wet days in 30 (standard results)."""
        assert wet_day_moments(p01, p11, 30) == pytest.approx((mean, variance), abs=0.005)
        back = climate.transition_probabilities(np.array([p01 / (1 + p01 - p11)]), np.array([0.3]))
        assert p01 / (1 + p01 - p11) == pytest.approx(share, abs=0.00005)
        assert np.concatenate(back) == pytest.approx([p01, p11])

    @pytest.mark.parametrize("p01, p11", [(0.2, 0.5), (0.3, 0.6)])
    @pytest.mark.slow
    def test_generated_wet_days(self, p01, p11):
        """3,000 Junes of 30 days under the plain chain."""
        mean, variance = wet_day_moments(p01, p11, 30)
        share, r = p01 / (1 + p01 - p11), p11 - p01
        model = plain_model(wet_fraction=share, persistence=r)
        wet = june(generate(model, 3000, seed=8)) >= climate.WET_MM
        days = wet.sum(axis=1)
        assert days.mean() == pytest.approx(mean, rel=0.02)
        # The published variance is for many days; the exact one for 30 is 2% lower.
        exact = variance - 2 * share * (1 - share) * r * (1 - r**30) / (1 - r) ** 2
        assert days.var() == pytest.approx(exact, rel=0.06)
        assert days.var() == pytest.approx(variance, rel=0.08)
        after_wet = wet[:, 1:][wet[:, :-1]].mean()
        after_dry = wet[:, 1:][~wet[:, :-1]].mean()
        assert (after_dry, after_wet) == pytest.approx((p01, p11), abs=0.01)

    @pytest.mark.parametrize("r1, r2", [(0.35, -0.15), (0.2, 0.2)])
    def test_second_order_chain(self, r1, r2):
        """Yule-Walker: rho1 = r1/(1 - r2), rho2 = r1 rho1 + r2; and who stands beside a wet day."""
        share, shape = 0.35, (4000, 200)
        weights = climate.chain_weights(
            np.full(shape, share), np.full(shape, r1 / (1 - r2)), second_day=r2
        )
        assert weights[0][0, 0] == pytest.approx(r1)
        assert weights[1][0, 0] == pytest.approx(r2)
        u = np.random.default_rng(6).random(shape)
        wet = wet_days(np.full(shape, share), *weights, u)[:, 20:]
        assert wet.mean() == pytest.approx(share, abs=0.004)
        deviation = wet - wet.mean()
        rho = [np.mean(deviation[:, n:] * deviation[:, :-n]) / deviation.var() for n in (1, 2)]
        rho1 = r1 / (1 - r2)
        assert rho == pytest.approx([rho1, r1 * rho1 + r2], abs=0.01)
        beside = (wet[:, :-2].astype(int) + wet[:, 2:])[wet[:, 1:-1]]
        expected = climate.neighbor_chances(np.array(share), np.array(r1), np.array(r2))
        found = np.bincount(beside, minlength=3) / beside.size
        assert found == pytest.approx(np.array(expected), abs=0.01)

    def test_a_chance_stays_a_chance(self):
        """A rare wet day cannot be avoided two days on: the weight shrinks with its share."""
        share = np.array([0.0, 0.01, 0.5, 0.99, 1.0])
        r1, r2 = climate.chain_weights(share, np.array(0.2), -0.3)
        for w1 in (0, 1):
            for w2 in (0, 1):
                chance = share + r1 * (w1 - share) + r2 * (w2 - share)
                assert (chance[1:-1] >= -1e-12).all()
                assert (chance[1:-1] <= 1 + 1e-12).all()
        assert list(r2[[0, 2, 4]]) == [0.0, pytest.approx(-0.3), 0.0]

    def test_generated_amounts(self):
        """Mixed exponential: mean a b1 + (1-a) b2, var a b1^2 + (1-a) b2^2 + a(1-a)(b1-b2)^2;
        month total N pi E[x], Var = E[k] Var[x] + Var[k] E[x]^2.

        The amounts lie above 0.254 mm, which shifts their mean and leaves their variance.
        """
        mean_mm, a = 9.0, 0.3
        excess = mean_mm - climate.WET_MM
        b1 = 0.2 * excess
        b2 = (excess - a * b1) / (1 - a)
        variance = a * b1**2 + (1 - a) * b2**2 + a * (1 - a) * (b1 - b2) ** 2
        model = plain_model(wet_fraction=0.2857, persistence=0.3, mean_mm=mean_mm)
        model = replace(model, light_share=np.full(12, a), light_ratio=np.full(12, 0.2))
        rain = june(generate(model, 3000, seed=9))
        amounts = rain[rain > 0]
        assert amounts.min() >= climate.WET_MM
        assert amounts.mean() == pytest.approx(mean_mm, rel=0.02)
        assert amounts.var() == pytest.approx(variance, rel=0.04)
        totals = rain.sum(axis=1)
        days, of_days = wet_day_moments(0.2, 0.5, 30)
        assert totals.mean() == pytest.approx(days * mean_mm, rel=0.03)
        assert totals.var() == pytest.approx(days * variance + of_days * mean_mm**2, rel=0.06)

    def test_exponential_amounts_of_1981(self):
        """Without a light part the amounts are exponential (Richardson 1981)."""
        rain = june(generate(plain_model(0.4, 0.2, mean_mm=6.0), 400, seed=2))
        excess = rain[rain > 0] - climate.WET_MM
        assert stats.kstest(excess / excess.mean(), "expon").pvalue > 0.05

    @pytest.mark.parametrize("share, ratio", [(0.3, 0.1), (0.5, 0.4)])
    def test_mixed_exponential_by_likelihood(self, share, ratio):
        """The share and ratio that made the sample come back, and it has them."""
        u = np.random.default_rng(2).random(40_000)
        sample = climate.mixed_exponential(u, share, ratio)
        assert sample.mean() == pytest.approx(1.0, abs=0.02)
        heavy = (1 - share * ratio) / (1 - share)

        def below(x):
            return 1 - share * np.exp(-x / ratio) - (1 - share) * np.exp(-x / heavy)

        assert stats.kstest(sample, below).pvalue > 0.05
        found = climate.likeliest_mixed_exponential(sample / sample.mean())
        assert found == pytest.approx((share, ratio), abs=0.04)


class TestTopOfTheAtmosphere:
    """FAO-56 worked examples."""

    def test_example_8_and_9(self):
        ra, hours = climate.extraterrestrial_radiation(-20.0)
        assert ra[246 - 1] == pytest.approx(32.2, abs=0.05)
        assert hours[246 - 1] == pytest.approx(11.7, abs=0.05)

    def test_example_15(self):
        assert climate.extraterrestrial_radiation(45.72)[0][196 - 1] == pytest.approx(
            40.6, abs=0.05
        )


def plain_model(
    wet_fraction: float, persistence: float, mean_mm: float = 8.0
) -> climate.ClimateModel:
    """A climate of one unchanging month without a latent factor."""
    curves = {
        "mean_dry": [20.0, 10.0],
        "mean_wet": [18.0, 10.0],
        "sd_dry": [3, 3],
        "sd_wet": [3, 3],
    }
    a, b = climate.residual_matrices(M0[:2, :2], M1[:2, :2])
    return climate.ClimateModel(
        latitude_deg=40.0,
        elevation_m=10.0,
        variables=("tmax_c", "tmin_c"),
        wet_fraction=np.full(12, wet_fraction),
        persistence=np.full(12, persistence),
        rain_per_wet_day_mm=np.full(12, mean_mm),
        a=a,
        b=b,
        annual_sd=0.0,
        annual_lag1=0.0,
        season_sd=np.zeros(4),
        wet_day_part=0.0,
        drift_on_latent=np.zeros((4, 2)),
        drift=np.zeros((4, 2, 2)),
        **{
            name: np.repeat(np.array(values, float)[:, None], 366, 1)
            for name, values in curves.items()
        },
    )


def june(record) -> np.ndarray:
    """(years, 30) rain of June."""
    month = record.dates.astype("datetime64[M]").astype(int) % 12
    return record.rain_mm[month == 5].reshape(-1, 30)
