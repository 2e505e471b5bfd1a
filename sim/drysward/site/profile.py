"""Soil profile of a root zone: water from the surface down to any depth.

Native soil, sand over gravel and sand cap over native differ only in these curves and in how
fast water enters and leaves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.compiled import jitable
from drysward.physics.pedotransfer import Hydraulics, drain_share_in_a_day
from drysward.physics.retention import WILTING_TENSION_CM, RetentionCurve, drained_profile

NODE_MM = 5.0
BARRIER, OPEN_SUBSOIL, GRAVEL = "barrier", "open subsoil", "gravel"


class Curves(NamedTuple):
    """Water (mm) from the surface down to each node, (k,) each."""

    node_mm: NDArray[np.float64]
    field_capacity: NDArray[np.float64]
    wilting_point: NDArray[np.float64]
    saturation: NDArray[np.float64]


@jitable
def node_above(depth_mm: float, node_mm: Any, near: int) -> int:
    """Index of the last node not below a depth, at most the last but one; search from ``near``.

    Depths of successive days are close together, so a step or two finds it.
    """
    last = node_mm.size - 2
    while near < last and node_mm[near + 1] <= depth_mm:
        near += 1
    while near > 0 and node_mm[near] > depth_mm:
        near -= 1
    return near


@jitable
def water_above_mm(depth_mm: float, node_mm: Any, curve: Any, node: int) -> float:
    """Water from the surface down to a depth below ``node``, linear to the next node (mm).

    Below the last node it stays constant.
    """
    if depth_mm >= node_mm[node + 1]:
        return curve[node + 1]
    slope = (curve[node + 1] - curve[node]) / (node_mm[node + 1] - node_mm[node])
    return slope * (depth_mm - node_mm[node]) + curve[node]


@dataclass(frozen=True, eq=False)
class Profile:
    """Cumulative water (mm) from the surface to each node, and limits of inflow and outflow."""

    node_mm: NDArray[np.float64]
    field_capacity: NDArray[np.float64]
    wilting_point: NDArray[np.float64]
    saturation: NDArray[np.float64]
    native: Hydraulics | None
    sand_depth_mm: float
    percolation_limit_mm_d: float
    intake_mm_h: float

    @property
    def curves(self) -> Curves:
        """Its arrays, as compiled code reads them."""
        return Curves(self.node_mm, self.field_capacity, self.wilting_point, self.saturation)

    @property
    def depth_mm(self) -> float:
        """Depth of the profile."""
        return float(self.node_mm[-1])

    def above(self, depth_mm: NDArray[np.float64] | float) -> tuple[Any, Any, Any]:
        """Field capacity, wilting point and saturation (mm) from the surface down to a depth.

        Each of the shape of the depth.
        """
        curves = (self.field_capacity, self.wilting_point, self.saturation)
        fc, wp, sat = (np.interp(depth_mm, self.node_mm, curve) for curve in curves)
        return fc, wp, sat

    def between(
        self, top_mm: NDArray[np.float64] | float, bottom_mm: NDArray[np.float64] | float
    ) -> tuple[Any, Any, Any]:
        """Field capacity, wilting point and saturation (mm) of the slab between two depths.

        Each of the shape of the depths: arrays from arrays, a number from numbers.
        """
        fc, wp, sat = (
            low - high for low, high in zip(self.above(bottom_mm), self.above(top_mm), strict=True)
        )
        return fc, wp, sat

    def drain_share(self, top_mm: float, bottom_mm: float, hours: float = 24.0) -> float:
        """Share of the water above field capacity that the slab loses in a day, or ``hours``.

        Sand loses all of it: three quarters within 15 minutes (Waltz et al. 2003).
        """
        if self.native is None or bottom_mm <= self.sand_depth_mm:
            return 1.0
        return drain_share_in_a_day(self.native, max(bottom_mm - top_mm, NODE_MM), hours)


def _nodes(depth_mm: float) -> NDArray[np.float64]:
    count = max(round(depth_mm / NODE_MM), 2)
    return np.linspace(0.0, depth_mm, count + 1)


def _cumulative(node_mm: NDArray[np.float64], content: NDArray[np.float64]) -> NDArray[np.float64]:
    step = np.diff(node_mm) * 0.5 * (content[1:] + content[:-1])
    return np.concatenate([[0.0], np.cumsum(step)])


def _percolation_limit(ksat_mm_h: float, base: str) -> float:
    if base == BARRIER:
        return 0.0
    return ksat_mm_h * 24.0


def native_profile(
    soil: Hydraulics, depth_mm: float, base: str = OPEN_SUBSOIL, intake_mm_h: float = 1e9
) -> Profile:
    """Uniform native soil; ``base`` is what lies below it."""
    node = _nodes(depth_mm)
    return Profile(
        node_mm=node,
        field_capacity=node * soil.field_capacity,
        wilting_point=node * soil.wilting_point,
        saturation=node * soil.saturation,
        native=soil,
        sand_depth_mm=0.0,
        percolation_limit_mm_d=_percolation_limit(soil.ksat_mm_h, base),
        intake_mm_h=intake_mm_h,
    )


def sand_profile(
    curve: RetentionCurve,
    depth_mm: float,
    base_suction_cm: float,
    ksat_mm_h: float,
    base: str = GRAVEL,
) -> Profile:
    """Sand drained to equilibrium above gravel (or another open base)."""
    node = _nodes(depth_mm)
    wilting = float(curve.water_content(WILTING_TENSION_CM))
    return Profile(
        node_mm=node,
        field_capacity=_cumulative(node, drained_profile(curve, depth_mm, base_suction_cm, node)),
        wilting_point=node * wilting,
        saturation=node * curve.theta_s,
        native=None,
        sand_depth_mm=depth_mm,
        percolation_limit_mm_d=_percolation_limit(ksat_mm_h, base),
        intake_mm_h=ksat_mm_h,
    )


def sand_cap_profile(cap: Profile, native: Profile) -> Profile:
    """A sand cap laid on native soil: the cap's curves above, the native soil's below."""

    def joined(upper: NDArray[np.float64], lower: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.concatenate([upper, upper[-1] + lower[1:]])

    return Profile(
        node_mm=np.concatenate([cap.node_mm, cap.depth_mm + native.node_mm[1:]]),
        field_capacity=joined(cap.field_capacity, native.field_capacity),
        wilting_point=joined(cap.wilting_point, native.wilting_point),
        saturation=joined(cap.saturation, native.saturation),
        native=native.native,
        sand_depth_mm=cap.depth_mm,
        percolation_limit_mm_d=native.percolation_limit_mm_d,
        intake_mm_h=cap.intake_mm_h,
    )
