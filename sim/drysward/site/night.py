"""Depth that one night can apply to a field, and the part that the ground takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drysward.catalog import Catalog
from drysward.physics.intake import night_take_mm
from drysward.physics.watering_system import DAYS_A_WEEK
from drysward.scenario.model import DeliverySpec, FieldSpec, PlanSpec, Restrictions, Scenario
from drysward.scenario.rules import NO_WATERING
from drysward.site.root_zone import RootZone

MM_PER_M = 1000.0
# Losses in the catalog by time of day; tables show midday in humid air.
_LOSSES = {
    "night": "night",
    "early morning": "early_morning",
    "midday": "midday_humid",
    "evening": "evening",
}
_BY_HAND = "hand_hose"
# A window of 7.5 h written in minutes must still hold three passes of 2.5 h.
_ROUNDING = 1e-9


def passes_a_night(delivery: DeliverySpec, window_h: float) -> int:
    """Passes of a machine or hose in a night's window, at least one; 0 for other systems."""
    if delivery.hours_per_pass <= 0.0:
        return 0
    return max(1, math.floor(window_h / delivery.hours_per_pass + _ROUNDING))


def pass_m3(delivery: DeliverySpec) -> float:
    """Volume of one pass (m3); 0 for a system without passes.

    ValueError when it has no flow.
    """
    if delivery.hours_per_pass <= 0.0:
        return 0.0
    if delivery.flow_m3_h is None:
        raise ValueError(f"passes of '{delivery.system}' need a flow")
    return delivery.flow_m3_h * delivery.hours_per_pass


def nightly_gross_mm(delivery: DeliverySpec, area_m2: float, window_h: float) -> float:
    """Largest gross depth over the field in one night's window (mm).

    Limited by flow, or without a stated flow by the sprinklers, zone after zone; never more than
    the sprinklers apply when all of them run. Machines and hoses make whole passes.
    """
    hours = passes_a_night(delivery, window_h) * delivery.hours_per_pass or window_h
    by_sprinklers = delivery.precipitation_rate_mm_h * hours / delivery.zones
    if delivery.flow_m3_h is None:
        return by_sprinklers
    return min(delivery.flow_m3_h * hours / area_m2 * MM_PER_M, by_sprinklers)


def splits(delivery: DeliverySpec, plan: PlanSpec) -> bool:
    """Whether a watering is split into cycles.

    A traveling machine wets each spot in one run; a person with a hose comes back to it.
    """
    travels = delivery.hours_per_pass > 0.0 and delivery.system != _BY_HAND
    return plan.cycle_and_soak and not travels


def ground_take_mm(
    zone: RootZone, delivery: DeliverySpec, plan: PlanSpec, most_catch: float
) -> float:
    """Largest mean depth of a night under a plan without runoff on any patch (mm).

    ``most_catch`` is the largest catch of a patch over the mean. Infinite where the soil keeps
    up with the sprinklers.
    """
    # The wettest patch is watered for the same time at a higher rate.
    take = night_take_mm(
        delivery.precipitation_rate_mm_h * most_catch,
        zone.intake_mm_h,
        zone.surface_storage_mm,
        plan.window_h,
        float(splits(delivery, plan)),
    )
    return take / most_catch


def put_out_m3_h(delivery: DeliverySpec, area_m2: float) -> float:
    """Flow while the system runs (m3/h): as stated, or that of one zone's sprinklers."""
    by_sprinklers = delivery.precipitation_rate_mm_h / MM_PER_M * area_m2 / delivery.zones
    return by_sprinklers if delivery.flow_m3_h is None else min(delivery.flow_m3_h, by_sprinklers)


@dataclass(frozen=True)
class Night:
    """Limits of a night's watering under a plan on a field; depths are means over the field.

    ``gross_mm`` leaves the pipes and ``landed_mm`` of it reaches the turf. ``take_mm`` is what the
    ground takes, infinite where it keeps up. ``largest_mm`` is the largest watering, ``limit`` what
    limits it: "plan", "soil", "night" or "ground". A peak week loses ``peak_week_mm``; the plan may
    water in ``nights_a_week``, NaN for one that only keeps crowns alive, and under the stage of the
    site that leaves the fewest in ``nights_restricted``, NaN where none binds the field.
    """

    field: FieldSpec
    plan: PlanSpec
    zone: RootZone
    passes: int
    flow_m3_h: float
    gross_mm: float
    landed_mm: float
    take_mm: float
    largest_mm: float
    limit: str
    nights_a_week: float
    nights_restricted: float
    peak_week_mm: float

    @property
    def week_mm(self) -> float:
        """Most that reaches the turf in a week; NaN as ``nights_a_week``."""
        return self.nights_a_week * self.largest_mm


def waters(plan: PlanSpec) -> bool:
    """Whether a plan ever waters, crowns included."""
    return plan.rule != NO_WATERING or plan.crown_depth_mm > 0.0


def most_depth_mm(zone: RootZone, plan: PlanSpec) -> float:
    """Largest application of a plan (mm at the turf).

    As stated in the plan; else the largest of its depths, or good practice on the soil.
    """
    if plan.most_depth_mm is not None:
        return plan.most_depth_mm
    return _own_depth_mm(plan) or zone.most_depth_mm


def night_of(
    field: FieldSpec,
    plan: PlanSpec,
    zone: RootZone,
    most_catch: float,
    catalog: Catalog,
    restrictions: Restrictions | None = None,
) -> Night:
    """A night under ``plan`` on ``field``; ``most_catch`` as in ``ground_take_mm``."""
    delivery = field.delivery
    loss = catalog.get("losses", _LOSSES[plan.time_of_day])["spray_loss_share"]
    gross = nightly_gross_mm(delivery, field.area_m2, plan.window_h)
    landed = gross * (1.0 - loss) * (1.0 - delivery.overspray)
    take = ground_take_mm(zone, delivery, plan, most_catch)
    stated = plan.most_depth_mm is not None or _own_depth_mm(plan) > 0.0
    # Of equal limits, the first is named.
    limits = [("plan" if stated else "soil", most_depth_mm(zone, plan)), ("night", landed)]
    if plan.stop_at_runoff:
        limits.append(("ground", take))
    limit, largest = min(limits, key=lambda pair: pair[1])
    nights = min(sum(plan.allowed), DAYS_A_WEEK / plan.interval_days)
    stages = () if restrictions is None or plan.rule == NO_WATERING else restrictions.stages
    restricted = [
        0.0
        if stage.crown_only
        else min(nights, sum(a and b for a, b in zip(plan.allowed, stage.allowed, strict=True)))
        for stage in stages
        if field.key not in stage.exempt
    ]
    return Night(
        field=field,
        plan=plan,
        zone=zone,
        passes=passes_a_night(delivery, plan.window_h),
        flow_m3_h=put_out_m3_h(delivery, field.area_m2),
        gross_mm=gross,
        landed_mm=landed,
        take_mm=take,
        largest_mm=largest,
        limit=limit,
        nights_a_week=math.nan if plan.rule == NO_WATERING else nights,
        nights_restricted=min(restricted, default=math.nan),
        peak_week_mm=catalog.get("system_design", "usual")["peak_day_loss"] * DAYS_A_WEEK,
    )


def nights(scenario: Scenario, zones: Sequence[RootZone], catches: np.ndarray) -> tuple[Night, ...]:
    """A night of every plan that waters on every field, field by field.

    ``zones`` (F,) are the root zones of the fields, ``catches`` (F, P) the catches of their patches
    over the mean.
    """
    restrictions = scenario.supply.restrictions if scenario.supply else None
    return tuple(
        night_of(field, plan, zone, float(caught.max()), scenario.catalog, restrictions)
        for field, zone, caught in zip(scenario.fields, zones, catches, strict=True)
        for plan in (plan.on(field.key) for plan in scenario.plans)
        if waters(plan)
    )


def _own_depth_mm(plan: PlanSpec) -> float:
    """Largest depth stated by the plan; 0 when it waters by need."""
    by_rule = max(plan.depth_by_weekday)
    return plan.crown_depth_mm if plan.rule == NO_WATERING else by_rule
