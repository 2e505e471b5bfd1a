"""What one night can put on a field, and what the ground takes of it."""

from __future__ import annotations

import math

from drysward.physics.intake import night_take_mm
from drysward.scenario.model import DeliverySpec, PlanSpec
from drysward.site.root_zone import RootZone

MM_PER_M = 1000.0
# A window of 7.5 h written in minutes still holds three passes of 2.5 h.
_ROUNDING = 1e-9


def passes_a_night(delivery: DeliverySpec, window_h: float) -> int:
    """Passes of a machine or a hose that a night's window holds, one at least; 0 without passes."""
    if delivery.hours_per_pass <= 0.0:
        return 0
    return max(1, math.floor(window_h / delivery.hours_per_pass + _ROUNDING))


def pass_m3(delivery: DeliverySpec) -> float:
    """Water that one pass puts out; 0 for a system that makes none.

    ValueError when it has no flow.
    """
    if delivery.hours_per_pass <= 0.0:
        return 0.0
    if delivery.flow_m3_h is None:
        raise ValueError(f"passes of '{delivery.system}' need a flow")
    return delivery.flow_m3_h * delivery.hours_per_pass


def nightly_gross_mm(delivery: DeliverySpec, area_m2: float, window_h: float) -> float:
    """Most that the system can put out in one night's window, as gross depth over the field.

    By its flow, or where it has none by its sprinklers, zone after zone; never more than the
    sprinklers put out when all of them run. Machines and hoses make whole passes.
    """
    hours = passes_a_night(delivery, window_h) * delivery.hours_per_pass or window_h
    by_sprinklers = delivery.precipitation_rate_mm_h * hours / delivery.zones
    if delivery.flow_m3_h is None:
        return by_sprinklers
    return min(delivery.flow_m3_h * hours / area_m2 * MM_PER_M, by_sprinklers)


def ground_take_mm(
    zone: RootZone, delivery: DeliverySpec, plan: PlanSpec, most_catch: float
) -> float:
    """Largest mean depth (mm) of a night under a plan of which no patch sees any run off.

    ``most_catch`` is the largest catch of a patch over the mean. Infinite where the soil keeps
    up with the sprinklers.
    """
    take = night_take_mm(
        delivery.precipitation_rate_mm_h,
        zone.intake_mm_h,
        zone.surface_storage_mm,
        plan.window_h,
        float(plan.cycle_and_soak),
    )
    return take / most_catch


def put_out_m3_h(delivery: DeliverySpec, area_m2: float) -> float:
    """Flow while the system runs: its own, or that of one zone's sprinklers."""
    by_sprinklers = delivery.precipitation_rate_mm_h / MM_PER_M * area_m2 / delivery.zones
    return by_sprinklers if delivery.flow_m3_h is None else min(delivery.flow_m3_h, by_sprinklers)
