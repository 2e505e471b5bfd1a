"""Irrigation uniformity from catch cans, run time for it, and uneven patches.

Sources: Keller & Bliesner 2000, with a set of 15 cans by North Carolina State University and a
published worked set of 16 cans (DU_LQ); Christiansen 1942 (CU); von Bernuth & Mecham, "Defining
the run time multiplier"; run-time multiplier of the Irrigation Association and the
relation of CU to DU under normal catches, from memory.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from drysward.physics.catch import low_quarter_uniformity, patch_catches, run_time_multiplier

# A published set; its lower quarter is our own arithmetic.
FIFTEEN_ML = [47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12]
SIXTEEN_MM = [
    *(12.0, 11.5, 10.8, 9.2, 12.3, 11.9, 10.1, 8.7),
    *(12.1, 11.7, 10.5, 9.0, 12.2, 11.6, 10.3, 8.5),
]


class TestCatchCans:
    def test_lower_quarter_of_fifteen(self):
        # Own arithmetic on the published catches, 3.75 cans. Whole cans would say 49.6 with four
        # and 40.1 with three: the rule is worth 10 points here.
        assert 100 * low_quarter_uniformity(FIFTEEN_ML) == pytest.approx(47.7, abs=0.05)

    def test_sixteen(self):
        assert 100 * low_quarter_uniformity(SIXTEEN_MM) == pytest.approx(82.13, abs=0.01)

    def test_even_cans(self):
        assert low_quarter_uniformity([7.0] * 9) == pytest.approx(1)


# 1/(0.4 + 0.6 DU), Irrigation Association (from memory).
@pytest.mark.parametrize(
    "du_pct, expected",
    [
        (40, 1.56),
        (50, 1.43),
        (55, 1.37),
        (60, 1.32),
        (65, 1.27),
        (70, 1.22),
        (75, 1.18),
        (80, 1.14),
        (85, 1.10),
        (90, 1.06),
    ],
)
def test_run_time_multiplier(du_pct, expected):
    assert run_time_multiplier(du_pct / 100) == pytest.approx(expected, abs=0.005)


class TestPatches:
    # From 0.5 up no slice of 60 or fewer falls below nothing, so the uniformity is met exactly.
    @settings(max_examples=150, deadline=None)
    @given(du_lq=st.floats(0.5, 1), n_patches=st.integers(2, 60))
    def test_mean_and_lower_quarter_are_met(self, du_lq, n_patches):
        catches = patch_catches(du_lq, n_patches)
        assert catches.shape == (n_patches,)
        assert catches.mean() == pytest.approx(1, abs=1e-12)
        assert low_quarter_uniformity(catches) == pytest.approx(du_lq, abs=1e-10)
        assert np.all(np.diff(catches) >= 0)

    @pytest.mark.parametrize("n_patches", [2, 3, 4, 5, 8])
    @pytest.mark.parametrize("du_lq", [0.3, 0.4])
    def test_few_patches_meet_poor_uniformity_too(self, du_lq, n_patches):
        catches = patch_catches(du_lq, n_patches)
        assert low_quarter_uniformity(catches) == pytest.approx(du_lq, abs=1e-10)

    @settings(max_examples=50, deadline=None)
    @given(du_lq=st.floats(0.3, 1), n_patches=st.integers(1, 60))
    def test_no_patch_catches_less_than_nothing(self, du_lq, n_patches):
        catches = patch_catches(du_lq, n_patches)
        assert catches.min() >= 0
        assert catches.mean() == pytest.approx(1, abs=1e-12)

    def test_perfect_uniformity(self):
        assert patch_catches(1.0, 5).tolist() == [1.0] * 5
        assert patch_catches(0.7, 1).tolist() == [1.0]

    def test_patches_are_slices_of_a_normal_distribution(self):
        # Slow twin: a million evenly spaced quantiles, averaged by fifths.
        quantiles = norm.ppf((np.arange(1_000_000) + 0.5) / 1_000_000)
        slices = quantiles.reshape(5, -1).mean(axis=1)
        catches = patch_catches(0.7, 5)
        spread = (catches[-1] - 1) / slices[-1]
        assert catches == pytest.approx(1 + spread * slices, abs=1e-4)

    @pytest.mark.parametrize("du_lq", [0.6, 0.7, 0.8, 0.9])
    def test_relation_of_the_two_uniformities(self, du_lq):
        # CU = 1 - sum |x - mean| / (n mean) (Christiansen 1942); CU = 100 - 0.63 (100 - DU) for
        # normal catches (from memory).
        cu = 1.0 - np.abs(patch_catches(du_lq, 400) - 1.0).mean()
        assert 100 * cu == pytest.approx(100 - 0.63 * (100 - 100 * du_lq), abs=0.3)

    @pytest.mark.parametrize("du_lq", [0.29, 0.0, 1.01, 70, float("nan")])
    def test_impossible_uniformity_is_refused(self, du_lq):
        with pytest.raises(ValueError, match="uniformity"):
            patch_catches(du_lq, 5)
