"""What a plan wanted and the turf did not get: how much is newly missed, what is made up, and why.

A field is short by what its plan wants of a day and does not get. A plan that looks at the turf
asks again for what it has not got, and the same water is missed once only; what comes in a later
night is made up and is no shortage any more. What rain or winter overtakes stays one, and so does
what turf that waits would have used and did not: of that nobody asks again. Every shortage is
booked by its causes, in the month in which it was missed.
"""

from __future__ import annotations

from typing import Any

from drysward.compiled import equation, jitable
from drysward.day.lanes import PLACE, QUAD
from drysward.day.records import CAUSES, RULE_FIXED
from drysward.physics.arithmetic import larger, smaller

N_CAUSES = len(CAUSES)
MISSED, MADE_UP, SHORT_TODAY = PLACE["missed"], PLACE["made_up"], PLACE["short_today"]
CUTS = tuple(PLACE[f"cut_{cause}"] for cause in CAUSES)


@equation
def newly_missed(unmet_before: float, unmet: float, asks_again: float) -> float:
    """What a plan does not get today, less what it had not got before (mm). By definition."""
    return larger(unmet - (unmet_before if asks_again > 0.0 else 0.0), 0.0)


@equation
def made_up_by(unmet_before: float, unmet: float, granted: float, asks_again: float) -> float:
    """What today brings of water missed before (mm): no more than is ``granted``, and than the need
    has fallen. By definition.
    """
    fallen = smaller(larger(unmet_before - unmet, 0.0), granted)
    return fallen if asks_again > 0.0 else 0.0


@equation
def unmet_after(unmet_before: float, short_today: float, came: float, own: float) -> float:
    """What a field still lacks of its plan's wish (mm). By definition."""
    return short_today if own > 0.0 else larger(unmet_before - came, short_today)


@equation
def beyond_rounding(part: float, whole: float) -> float:
    """``part``, and nothing where it is rounding of ``whole``."""
    return part if part > 1e-9 * whole else 0.0


def settle(
    irrigation_demand, whole_demand, gross, cooling, cut_restriction, cut_ground, cut_window,
    cut_crew, cut_network, cut_source, cut_allowance, cut_storage, cut_priority, unmet, rest,
    own, plan_rule,
):  # fmt: skip
    """What the day has left unmet of a field's wish, what of it is new, and what is made up.

    A watering that is not the rule's ``own``, such as one before an event, does not say what the
    turf needs: it only makes up some of that.
    """
    short_today = cut_restriction + cut_ground + cut_window + cut_crew + cut_network
    short_today = short_today + cut_source + cut_allowance + cut_storage + cut_priority
    asks_again = 0.0 if plan_rule == RULE_FIXED else 1.0
    asks = irrigation_demand > 0.0
    # Syringing that is cut is no water that the turf lacks.
    short_today = beyond_rounding(short_today, irrigation_demand) if asks else 0.0
    came = gross - cooling
    still = unmet_after(unmet, short_today, came, own)
    missed = newly_missed(unmet, short_today, asks_again) if asks else 0.0
    made_up = made_up_by(unmet, still, came, asks_again) if asks else 0.0
    unmet = still if asks else unmet
    left = beyond_rounding(larger(whole_demand - came, 0.0), whole_demand)
    rest = left if whole_demand > 0.0 else rest
    return short_today, missed, made_up, unmet, rest


@jitable
def book(block: Any, quads: int, booked: Any, month: int) -> None:
    """Add what is missed to the month's causes, and take what is made up from the latest months.

    ``booked`` (12, causes, LANES), mm of the turf year.
    """
    for lane in range(QUAD * quads):
        missed, made_up = block[MISSED + lane], block[MADE_UP + lane]
        if missed > 0.0:
            part = missed / block[SHORT_TODAY + lane]
            for c in range(N_CAUSES):
                booked[month, c, lane] += part * block[CUTS[c] + lane]
        if made_up > 0.0:
            make_up(booked, lane, month, made_up)


@jitable
def make_up(booked: Any, lane: int, month: int, volume: float) -> None:
    """Take ``volume`` from what was booked, from ``month`` back through the turf year."""
    n_months = booked.shape[0]
    left = volume
    for back in range(n_months):
        m = (month - back) % n_months
        total = 0.0
        for c in range(N_CAUSES):
            total += booked[m, c, lane]
        if total > 0.0 and left > 0.0:
            keeps = 1.0 - left / total if left < total else 0.0
            left -= total if left >= total else left
            for c in range(N_CAUSES):
                booked[m, c, lane] *= keeps
