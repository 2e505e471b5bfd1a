"""The scalar equations of the day step beside what the published equations say."""

import numpy as np
import pytest

from drysward.physics.curve_number import rain_runoff, retention_mm
from drysward.physics.evaporation import evaporation_reduction
from drysward.physics.intake import runoff_of_irrigation, runoff_terms
from drysward.physics.transpiration import stress_coefficient


@pytest.mark.parametrize("depletion", np.linspace(0.0, 25.0, 11))
def test_evaporation_reduction(depletion):
    expected = np.clip((20.0 - depletion) / (20.0 - 9.0), 0.0, 1.0)  # FAO-56 Eq 74
    assert evaporation_reduction(depletion, 20.0, 1.0 / 11.0) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("depletion", np.linspace(0.0, 180.0, 10))
def test_stress_coefficient(depletion):
    expected = np.clip((160.0 - depletion) / ((1.0 - 0.4) * 160.0), 0.0, 1.0)  # FAO-56 Eq 84
    assert stress_coefficient(depletion / 160.0, 1.0 / 0.6) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("rate", [5.0, 12.5, 38.1])
def test_sprinkler_runoff(rate):
    expected = max(0.0, (rate - 5.08) * 20.0 / rate - 6.6)  # what outruns the soil over the run
    terms = runoff_terms(rate, 5.08, 6.6, 8.0, 0.0)
    assert runoff_of_irrigation(20.0, 20.0, *terms) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("number", [39.0, 61.0, 74.0, 80.0])
def test_rain_runoff_at_the_reference_moisture(number):
    retention = retention_mm(number)
    for rain in (0.0, 10.0, 50.8, 127.0):
        excess = max(rain - 0.2 * retention, 0.0)
        expected = excess**2 / (excess + retention)  # NEH-630 eq 10-11
        assert rain_runoff(rain, retention, 0.2 * retention) == pytest.approx(expected, abs=1e-9)
