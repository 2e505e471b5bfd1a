"""The yearly water allowance of a landscape under California's model ordinance.

Source: California Model Water Efficient Landscape Ordinance (23 CCR 490 and following), 2009
and 2015 versions: maximum applied water allowance and estimated total water use. The ordinance
counts 0.62 gal to an inch on a square foot (0.6234 exactly), and so do these functions, since
its figure is the one that a permit holds. Local versions may be stricter.
"""

from __future__ import annotations

from collections.abc import Iterable

_GAL_PER_IN_FT2 = 0.62
_M3_PER_GAL = 0.003785411784
_MM_M2_PER_IN_FT2 = 25.4 * 0.09290304
M3_PER_MM_M2 = _GAL_PER_IN_FT2 * _M3_PER_GAL / _MM_M2_PER_IN_FT2
"""The ordinance's volume of a millimetre on a square metre, 0.5 % less than a litre."""

RAIN_SHARE = 0.25
"""Share of a year's rain that may be taken off reference ET where rain is counted."""


def landscape_allowance(
    eto_mm: float,
    adjustment_factor: float,
    landscape_m2: float,
    special_m2: float = 0.0,
    rain_mm: float = 0.0,
) -> float:
    """Most water that a landscape may be given in a year, m3.

    ETo x 0.62 x [ETAF x LA + (1 - ETAF) x SLA], gal, in, ft2.

    Parameters
    ----------
    eto_mm : the year's reference ET; ``rain_mm`` its rain, where that is counted.
    adjustment_factor : ETAF; 0.7 in the 2009 version, since 2015 0.55 of residential and 0.45
        of other landscapes.
    landscape_m2 : all of the irrigated landscape; ``special_m2`` the part of it that is special
        landscape: turf for active recreation, or watered with recycled water.

    Raises
    ------
    ValueError
        When the special part is larger than the whole.
    """
    if special_m2 > landscape_m2:
        raise ValueError(f"special landscape of {special_m2:g} m2 in {landscape_m2:g} m2")
    counted_m2 = adjustment_factor * landscape_m2 + (1.0 - adjustment_factor) * special_m2
    return _net_eto_mm(eto_mm, rain_mm) * M3_PER_MM_M2 * counted_m2


def estimated_water_use(
    eto_mm: float,
    hydrozones: Iterable[tuple[float, float]],
    efficiency: float,
    special_m2: float = 0.0,
    rain_mm: float = 0.0,
) -> float:
    """Water that a landscape is reckoned to use in a year, m3: ETo x 0.62 x (PF x HA / IE + SLA).

    ``hydrozones`` are plant factors with their areas, m2; ``efficiency`` is that of irrigation,
    0.75 overhead and 0.81 drip since 2015, 0.71 in the 2009 version. Compare with
    ``landscape_allowance``, which it may not pass.
    """
    counted_m2 = sum(factor * area for factor, area in hydrozones) / efficiency + special_m2
    return _net_eto_mm(eto_mm, rain_mm) * M3_PER_MM_M2 * counted_m2


def _net_eto_mm(eto_mm: float, rain_mm: float) -> float:
    return max(eto_mm - RAIN_SHARE * rain_mm, 0.0)
