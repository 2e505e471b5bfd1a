"""The scalar equations of the day step beside the array equations that meet published examples."""

import numpy as np
import pytest

from drysward.physics import curve_number, evaporation
from drysward.physics.water import (
    evaporation_reduction,
    rain_runoff,
    stress_coefficient,
)


@pytest.mark.parametrize("depletion", np.linspace(0.0, 25.0, 11))
def test_evaporation_reduction(depletion):
    array = evaporation.evaporation_reduction(depletion, 20.0, 9.0)
    assert evaporation_reduction(depletion, 20.0, 1.0 / 11.0) == pytest.approx(array, abs=1e-12)


@pytest.mark.parametrize("depletion", np.linspace(0.0, 180.0, 10))
def test_stress_coefficient(depletion):
    array = evaporation.stress_coefficient(depletion, 160.0, 0.4)
    assert stress_coefficient(depletion / 160.0, 1.0 / 0.6) == pytest.approx(array, abs=1e-12)


@pytest.mark.parametrize("number", [39.0, 61.0, 74.0, 80.0])
def test_rain_runoff_at_the_reference_moisture(number):
    retention = curve_number.retention_mm(number)
    for rain in (0.0, 10.0, 50.8, 127.0):
        array = curve_number.runoff_mm(rain, number)
        found = rain_runoff(rain, retention, curve_number.INITIAL_ABSTRACTION * retention)
        assert found == pytest.approx(array, abs=1e-9)
