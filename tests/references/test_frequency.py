"""Return periods and sampling error against printed worked examples.

Sources: a North Dakota class handout (AGSM 335) with 66 years of annual precipitation;
Bulletin 17B (1982), Fishkill Creek example; standard results for sampling error.
"""

import numpy as np
import pytest

from drysward.results import frequency, odds

# Annual precipitation, inches, 1944 to 2009 in year order (AGSM 335 handout).
NORTH_DAKOTA_IN = np.fromstring(
    """22.5 12.8 20.1 13.9 11.9 29.4 15.1 15.5 13.8 12.3 14.0 16.8 10.8 24.6 17.6 16.2 22.2 18.8
    18.4 16.2 14.2 14.2 18.4 20.6 19.4 29.2 12.6 20.2 25.1 17.9 24.0 17.7 20.1 16.2 13.7 20.8
    15.9 23.0 21.0 20.2 17.8 23.2 26.6 18.8 13.1 17.8 15.8 17.8 22.4 12.8 13.1 18.8 14.1 22.7
    13.1 20.2 21.3 15.6 19.3 8.8 33.3 15.0 15.6 23.9 28.0 12.9""",
    sep=" ",
)

# Annual peaks, cfs, 1945 to 1968 (Bulletin 17B, Fishkill Creek).
FISHKILL_CFS = np.fromstring(
    """2290 1470 2220 2970 3020 1210 2490 3170 3220 1760 8800 8280 1310 2500 1960 2140 4340 3060
    1780 1380 980 1040 1580 3630""",
    sep=" ",
)


class TestNorthDakota:
    def test_moments(self):
        mean, sd, _ = frequency.sample_moments(NORTH_DAKOTA_IN)
        assert NORTH_DAKOTA_IN.size == 66
        assert mean == pytest.approx(18.3, abs=0.05)  # printed
        assert sd == pytest.approx(4.919, abs=0.0005)  # recomputed, not printed

    @pytest.mark.parametrize(
        "value_in, rank, printed_percent",
        [
            (33.3, 1, 0.76),
            (29.4, 2, 2.27),
            (29.2, 3, 3.79),
            (28.0, 4, 5.30),
            (26.6, 5, 6.82),
            (25.1, 6, 8.33),
            (20.2, 21, 31.06),
            (19.4, 25, 37.12),
        ],
    )
    def test_hazen_positions(self, value_in, rank, printed_percent):
        percent = 100 * frequency.plotting_positions(66, "hazen")
        assert percent[rank - 1] == pytest.approx(printed_percent, abs=0.01)
        assert np.sort(NORTH_DAKOTA_IN)[::-1][rank - 1] == value_in
        found = frequency.thinned(NORTH_DAKOTA_IN, 66)
        assert found[rank - 1] == pytest.approx(value_in, abs=1e-9)

    @pytest.mark.parametrize(
        "dependable, expected_in",
        [(0.80, 13.84), (0.90, 12.8), (0.50, 17.8)],
    )
    def test_dependable_rain(self, dependable, expected_in):
        """Derived from the handout's data, not printed in it; by Weibull's positions."""
        found = frequency.demand_estimates(NORTH_DAKOTA_IN, [1 / dependable])
        assert found == pytest.approx(expected_in, abs=0.05)

    def test_dependable_rain_by_hazens_positions(self):
        """Derived from the handout's data: 13.87 in is passed in four years of five."""
        ranked = frequency.thinned(NORTH_DAKOTA_IN, 66)
        found = np.interp(0.8, frequency.plotting_positions(66, "hazen"), ranked)
        assert found == pytest.approx(13.87, abs=0.005)

    def test_driest_years(self):
        """Derived: 8.8 in of 2003 is driest, once in 67 years by Weibull; then 1956 and 1948."""
        years = np.arange(1944, 2010)[np.argsort(NORTH_DAKOTA_IN)]
        assert years[:3].tolist() == [2003, 1956, 1948]
        dryness = NORTH_DAKOTA_IN.max() - NORTH_DAKOTA_IN
        found = frequency.demand_at_return_periods(dryness, [67.0, 67.1])
        assert NORTH_DAKOTA_IN.max() - found.estimate[0] == pytest.approx(8.8)
        assert found.fitted.tolist() == [False, True]


class TestFishkillCreek:
    def test_moments_of_logarithms(self):
        mean, sd, skew = frequency.sample_moments(np.log10(FISHKILL_CFS))
        assert mean == pytest.approx(3.3684, abs=0.00006)  # from memory, recomputed 3.36835
        assert sd == pytest.approx(0.2456, abs=0.00005)
        assert skew == pytest.approx(0.7300, abs=0.00005)

    @pytest.mark.parametrize("skew, expected", [(0.7, 2.82359), (0.6, 2.75514)])
    def test_frequency_factor(self, skew, expected):
        """Bulletin 17B appendix 3, exceedance 0.01."""
        found = frequency.pearson3_frequency_factor(skew, 0.01)
        assert found == pytest.approx(expected, abs=5e-6)

    @pytest.mark.parametrize(
        "exceedance, expected_cfs",
        [(0.01, 11_500), (0.99, 841), (0.5, 2187), (0.1, 4963), (0.04, 7102), (0.02, 9109)],
    )
    def test_quantiles_at_adopted_skew(self, exceedance, expected_cfs):
        """11,500 and 841 as printed; the others recomputed. Tolerance 0.5%."""
        mean, sd, _ = frequency.sample_moments(np.log10(FISHKILL_CFS))
        found = 10 ** (mean + sd * frequency.pearson3_frequency_factor(0.7, exceedance))
        assert found == pytest.approx(expected_cfs, rel=0.005)

    def test_limits_of_the_smallest_flood(self):
        """Printed 5% and 95% limits of the 0.99-exceedance value: 568 and 1100."""
        low, high = frequency.pearson3_limits(np.log10(FISHKILL_CFS), 1 / 0.99, 0.90, skew=0.7)
        assert 10**low == pytest.approx(568, abs=0.5)
        assert 10**high == pytest.approx(1100, rel=0.005)


class TestSamplingError:
    @pytest.mark.parametrize(
        "p, n, printed",
        [
            (0.1, 30, 0.055),
            (0.05, 30, 0.040),
            (0.2, 20, 0.089),
            (0.1, 100, 0.030),
            (0.02, 100, 0.014),
        ],
    )
    def test_standard_error(self, p, n, printed):
        assert odds.standard_error(p, n) == pytest.approx(printed, abs=0.0005)

    def test_repeat_samples_scatter_as_the_formula_says(self):
        """20,000 records of 30 years, event chance 0.1: their p scatters by 0.055."""
        rng = np.random.default_rng(9)
        events = rng.random((20_000, 30)) < 0.1
        found = np.array([odds.probability_of(record).p for record in events[:4_000]])
        assert np.std(found) == pytest.approx(0.055, abs=0.002)
        assert np.std(events.mean(axis=1)) == pytest.approx(
            float(odds.standard_error(0.1, 30)), rel=0.02
        )

    def test_no_event_in_thirty_years(self):
        """Exact one-sided 95% bound 0.095; the rule of three gives 0.1."""
        found = odds.probability_of(np.zeros(30, bool))
        assert found.bound == pytest.approx(0.095, abs=0.0005)
        assert found.bound == pytest.approx(3 / 30, rel=0.06)

    def test_wilson_example(self):
        """By hand: 3 of 10, z 1.645: (0.3 + 0.1353 -+ 0.2745)/1.2706."""
        low, high = odds.wilson_limits(3, 10, 0.90)
        assert low == pytest.approx(0.1269, abs=0.0005)
        assert high == pytest.approx(0.5587, abs=0.0005)


@pytest.mark.parametrize(
    "position, expected",
    [("weibull", [1 / 5, 4 / 5]), ("hazen", [1 / 8, 7 / 8])],
)
def test_plotting_position_formulas(position, expected):
    """Weibull m/(n+1), Hazen (2m-1)/(2n), for n = 4."""
    assert frequency.plotting_positions(4, position)[[0, -1]] == pytest.approx(expected)
