"""The ASCE standardized reference evapotranspiration equation (ASCE-EWRI 2005).

Greeley, Colorado, 2000: Appendix C of the report. Fallon, Nevada, 1 July 2015: published test
data of an open reference-ET function library (WSWUP RefET).
"""

import numpy as np
import pytest

from drysward.physics import reference_et as fao

# J, Tmax, Tmin, ea, Rs, u at 3 m, Rso, Rnl, Rn, ETos, ETrs
GREELEY = np.array(
    [
        [183, 32.4, 10.9, 1.27, 22.4, 1.94, 32.43, 3.96, 13.31, 5.71, 7.34],
        [184, 33.6, 12.2, 1.19, 26.8, 2.14, 32.39, 5.45, 15.20, 6.71, 8.68],
        [185, 32.6, 14.8, 1.40, 23.3, 2.06, 32.36, 4.15, 13.78, 5.98, 7.65],
        [186, 33.8, 11.8, 1.18, 29.0, 1.97, 32.32, 6.14, 16.19, 6.86, 8.73],
        [187, 32.7, 15.9, 1.59, 27.9, 2.98, 32.27, 5.15, 16.33, 7.03, 9.07],
        [188, 36.3, 15.8, 1.58, 29.2, 2.37, 32.23, 5.67, 16.83, 7.50, 9.60],
        [189, 35.5, 16.7, 1.13, 23.2, 2.43, 32.18, 4.71, 13.15, 7.03, 9.56],
        [190, 34.4, 18.3, 1.38, 22.1, 1.95, 32.13, 4.02, 13.00, 6.16, 7.99],
        [191, 32.7, 15.1, 1.38, 26.5, 1.75, 32.08, 5.16, 15.27, 6.20, 7.68],
        [192, 32.7, 15.7, 1.59, 27.7, 2.31, 32.02, 5.15, 16.15, 6.61, 8.28],
    ]
)


def standardized(latitude_deg, elevation_m, day, tmax, tmin, ea, solar, wind, height_m):
    """Rso, Rnl, Rn and ETos."""
    tmean = (tmax + tmin) / 2
    rso = fao.clear_sky_solar_mj_m2(
        fao.extraterrestrial_radiation_mj_m2(latitude_deg, day), elevation_m
    )
    longwave = fao.net_longwave_mj_m2(tmax, tmin, ea, solar, rso)
    net = fao.net_radiation_mj_m2(fao.net_shortwave_mj_m2(solar), longwave)
    short = fao.penman_monteith_mm(
        tmean,
        fao.wind_at_2m_m_s(wind, height_m),
        net,
        0.0,
        fao.mean_saturation_vapor_pressure_kpa(tmax, tmin) - ea,
        fao.vapor_pressure_slope_kpa_c(tmean),
        fao.psychrometric_constant_kpa_c(fao.atmospheric_pressure_kpa(elevation_m)),
    )
    return rso, longwave, net, short


def test_greeley_site():
    pressure = fao.atmospheric_pressure_kpa(1462.4)
    assert pressure == pytest.approx(85.17, abs=0.006)
    assert fao.psychrometric_constant_kpa_c(pressure) == pytest.approx(0.0566, abs=0.00006)
    assert fao.wind_at_2m_m_s(1.0, 3) == pytest.approx(0.921, abs=0.0006)


def test_greeley_ten_days():
    """Tolerances allow for inputs printed to two or three figures.

    Rs to 0.1 alone moves Rn by 0.04.
    """
    day, tmax, tmin, ea, solar, wind, *printed, _tall = GREELEY.T
    found = standardized(40.41, 1462.4, day, tmax, tmin, ea, solar, wind, 3.0)
    for name, ours, theirs, tolerance in zip(
        ("Rso", "Rnl", "Rn", "ETos"),
        found,
        printed,
        (0.02, 0.02, 0.04, 0.03),
        strict=True,
    ):
        assert ours == pytest.approx(theirs, abs=tolerance), name
    assert found[3].sum() == pytest.approx(65.79, abs=0.05)


def test_fallon_radiation():
    rso, longwave, net, _ = standardized(
        39.4575, 1208.5, 182.0, (102.80 - 32) / 1.8, (66.65 - 32) / 1.8, 1.22067, 28.222,
        4.80 * 0.44704, 3.0,
    )  # fmt: skip
    assert rso == pytest.approx(32.243, abs=0.005)
    assert longwave == pytest.approx(6.363, abs=0.005)
    assert net == pytest.approx(15.368, abs=0.005)
