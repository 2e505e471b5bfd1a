"""Hardness of a playing surface from its moisture.

Peak deceleration (g) of the 2.25 kg hammer, first drop. Moisture is water by volume (0..1) of the
surface layer. Only a measurement by the applicable test method decides whether a surface is safe.
"""

from __future__ import annotations

from drysward.compiled import equation
from drysward.physics.arithmetic import larger, smaller

_FAR = 4.0  # standard deviations beyond which the share is 0


@equation
def hardness_g(
    moisture: float,
    intercept: float,
    slope: float,
    floor: float,
    bare_share: float,
    bare_extra: float,
    frozen: float,
    frozen_g: float,
) -> float:
    """Peak deceleration (g) of a 2.25 kg hammer: falls with moisture, rises with bare ground.

    Parameters
    ----------
    intercept, slope : of the line against ``moisture``; ``slope`` in g per unit of it.
    floor : lowest g of a wet surface. bare_extra : g added on fully bare ground.
    frozen : above 0 on frozen ground, which reads at least ``frozen_g``.

    Source: own estimate of the line's form; that hardness rises as water falls is published
    (Dickson et al. 2018), frozen ground off the scale from memory.
    """
    g = larger(intercept + slope * moisture, floor) + bare_share * bare_extra
    return larger(g, frozen_g) if frozen > 0.0 else g


@equation
def share_beyond(mean: float, limit: float, inv_scatter: float) -> float:
    """Share of a surface above ``limit`` when its readings scatter normally about ``mean``.

    ``inv_scatter`` is one over their standard deviation, inf for none. The share below the
    limit is 1 less this. Source: Abramowitz & Stegun 1964 eq 26.2.18, within 0.00025.
    """
    beyond = mean - limit
    x = smaller(abs(beyond) * inv_scatter, _FAR)
    s = 1.0 + x * (0.196854 + x * (0.115194 + x * (0.000344 + x * 0.019527)))
    s *= s
    tail = 0.5 / (s * s) if x < _FAR else 0.0
    share = 1.0 - tail if beyond > 0.0 else tail
    return share if beyond != 0.0 else 0.5


def intercept_at_density_g(
    intercept_g: float, per_density_g: float, bulk_density: float, reference_density: float
) -> float:
    """Intercept of the line for a soil of another bulk density (g/cm3) than that of the line.

    ``per_density_g`` are g more for each g/cm3. Source: own estimate; see ``configs/play.toml``.
    """
    return intercept_g + per_density_g * (bulk_density - reference_density)


def density_on_the_line(bulk_density: float, loose_density: float, line_density: float) -> float:
    """Bulk density (g/cm3) of the line's soil at the degree of compactness of another soil.

    A clay is lighter than a loam without being looser, so ``bulk_density`` is compared with
    ``loose_density``, that of the same soil uncompacted; ``line_density`` is that of the line's
    soil. Source: degree of compactness, Hakansson 1990 (from memory).
    """
    return line_density * bulk_density / loose_density


def intercept_at_wilting_g(
    intercept_g: float, slope_g: float, wilting_point: float, line_wilting_point: float
) -> float:
    """Intercept of the line for a soil of another wilting point (0..1) than that of the line.

    Soils are taken to be equally hard at their wilting points: a clay loam at 0.22 and a loam at
    0.14. The slope is the same, because its range is known in water by volume. Source: own
    estimate.
    """
    return intercept_g - slope_g * (wilting_point - line_wilting_point)
