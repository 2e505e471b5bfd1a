"""Shortage: plan demand that was not delivered, how much of it is new, what is made up, and why.

A plan that follows the turf requests undelivered water again the next day, so the same water counts
as missed once only. Water that comes on a later night makes up the shortage. A shortage stays when
rain or winter overtakes it, and when turf that waited would have used the water and did not. Every
shortage is booked by cause, in the month in which it was missed.
"""

from __future__ import annotations

from typing import Any

from drysward.compiled import equation, jitable
from drysward.day.lanes import PLACE, QUAD
from drysward.day.records import CAUSES, RULE_FIXED
from drysward.physics.arithmetic import larger, smaller

N_CAUSES = len(CAUSES)
MISSED, MADE_UP, SHORTAGE_TODAY = PLACE["missed"], PLACE["made_up"], PLACE["shortage_today"]
CUTS = tuple(PLACE[f"cut_{cause}"] for cause in CAUSES)


@equation
def newly_missed(unmet_before: float, unmet: float, requests_again: float) -> float:
    """Shortage of today less the one outstanding before, if that is in it (mm). By definition."""
    return larger(unmet - (unmet_before if requests_again > 0.0 else 0.0), 0.0)


@equation
def made_up_by(unmet_before: float, unmet: float, delivered: float, requests_again: float) -> float:
    """Part of today's water that makes up an earlier shortage (mm). By definition.

    No more than is ``delivered``, and no more than the outstanding shortage has fallen.
    """
    fallen = smaller(larger(unmet_before - unmet, 0.0), delivered)
    return fallen if requests_again > 0.0 else 0.0


@equation
def unmet_after(
    unmet_before: float, shortage_today: float, came: float, rule_waters: float
) -> float:
    """Plan demand still outstanding at the end of the day (mm). By definition."""
    return shortage_today if rule_waters > 0.0 else larger(unmet_before - came, shortage_today)


@equation
def beyond_rounding(part: float, whole: float) -> float:
    """``part``, or 0 where it is no more than rounding of ``whole``."""
    return part if part > 1e-9 * whole else 0.0


def settle(
    irrigation_demand, refill_demand, gross, cooling, cut_restriction, cut_ground, cut_window,
    cut_crew, cut_network, cut_source, cut_allowance, cut_storage, cut_priority, unmet, refill_left,
    rule_waters, plan_rule,
):  # fmt: skip
    """Today's shortage of a field, the new part of it, and the earlier shortage made up (mm).

    A watering that does not come from the rule (``rule_waters`` 0), such as one before an event,
    does not say what the turf needs: it only makes up some of the outstanding shortage.
    """
    shortage_today = cut_restriction + cut_ground + cut_window + cut_crew + cut_network
    shortage_today = shortage_today + cut_source + cut_allowance + cut_storage + cut_priority
    requests_again = 0.0 if plan_rule == RULE_FIXED else 1.0
    is_requested = irrigation_demand > 0.0
    # Syringing that is cut is no shortage of the turf.
    shortage_today = beyond_rounding(shortage_today, irrigation_demand) if is_requested else 0.0
    came = gross - cooling
    still = unmet_after(unmet, shortage_today, came, rule_waters)
    missed = newly_missed(unmet, shortage_today, requests_again) if is_requested else 0.0
    made_up = made_up_by(unmet, still, came, requests_again) if is_requested else 0.0
    unmet = still if is_requested else unmet
    remaining = beyond_rounding(larger(refill_demand - came, 0.0), refill_demand)
    refill_left = remaining if refill_demand > 0.0 else refill_left
    return shortage_today, missed, made_up, unmet, refill_left


@jitable
def book(block: Any, quads: int, booked: Any, month: int) -> None:
    """Book a new shortage by month and cause, and take what is made up off the latest months.

    ``booked`` (12, causes, LANES), mm of the turf year.
    """
    for lane in range(QUAD * quads):
        missed, made_up = block[MISSED + lane], block[MADE_UP + lane]
        if missed > 0.0:
            part = missed / block[SHORTAGE_TODAY + lane]
            for c in range(N_CAUSES):
                booked[month, c, lane] += part * block[CUTS[c] + lane]
        if made_up > 0.0:
            make_up(booked, lane, month, made_up)


@jitable
def make_up(booked: Any, lane: int, month: int, volume: float) -> None:
    """Take ``volume`` (mm) off the shortages booked, from ``month`` back through the turf year."""
    n_months = booked.shape[0]
    remaining = volume
    for back in range(n_months):
        m = (month - back) % n_months
        total = 0.0
        for c in range(N_CAUSES):
            total += booked[m, c, lane]
        if total > 0.0 and remaining > 0.0:
            share_kept = 1.0 - remaining / total if remaining < total else 0.0
            remaining -= total if remaining >= total else remaining
            for c in range(N_CAUSES):
                booked[m, c, lane] *= share_kept
