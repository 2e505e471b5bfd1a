"""From the water that the supply delivers to the catch of each patch."""

from __future__ import annotations

from drysward.day.records import RULE_ET_SHARE
from drysward.physics.arithmetic import NO_LESS, larger, smaller
from drysward.physics.intake import runoff_of_irrigation


def deliver(requested, syringed, delivered_share, spray_loss_today, overspray, play_syringe_left):
    """Split of the water delivered to a field (mm over it); ``landed`` reaches the turf."""
    gross = requested * delivered_share
    # Syringing cools leaves for minutes; what does not evaporate lands with the rest.
    cooling = syringed * delivered_share
    watering = gross - cooling
    spray = watering * spray_loss_today
    spray += cooling * (1.0 - play_syringe_left) if cooling > 0.0 else 0.0
    beside = (gross - spray) * overspray
    landed = gross - spray - beside
    return gross, cooling, watering, spray, beside, landed


def catch(
    landed, catch_share, w1, w2, fc1, fc2, plan_runoff_soaks, plan_runoff_storage, mean_caught,
    mean_shed, mean_beyond,
):  # fmt: skip
    """Catch of a patch, and how much of it runs off because sprinklers outrun the soil (mm).

    ``mean_beyond`` adds up the catch above the field capacity of the root zone, which drains before
    turf uses any of the day's water.
    """
    caught = landed * catch_share
    shed = runoff_of_irrigation(caught, landed, plan_runoff_soaks, plan_runoff_storage)
    to_capacity = larger(fc1 + fc2 - w1 - w2, 0.0)
    mean_caught += caught
    mean_shed += shed
    mean_beyond += larger(caught - shed - to_capacity, 0.0)
    return caught, shed, mean_caught, mean_shed, mean_beyond


def observe(
    mean_depletion, mean_deficit, mean_crown_wetness, mean_dormant, mean_wilt, mean_caught,
    mean_transpiration, mean_leaf_evaporation, mean_soil_evaporation, demand, spray_loss_today,
    overspray, watering, liquid, kc, eto, taw, plan_rule, plan_share, plan_run_time_multiplier,
    owed_et, days_since_water, unmet,
):  # fmt: skip
    """The state of the field at the end of the day, from which the plan decides tomorrow.

    Water that stressed turf would have used today and did not is no longer outstanding: that part
    of ``unmet`` is lost for good, and tomorrow's shortage is new.
    """
    seen_depletion = mean_depletion
    seen_deficit = mean_deficit
    seen_taw = taw
    seen_crown_wetness = mean_crown_wetness
    seen_dormant = mean_dormant
    seen_wilt = mean_wilt
    paid = mean_caught / larger(plan_share * plan_run_time_multiplier, NO_LESS)
    owed_et = owed_et + kc * eto - liquid
    owed_et -= paid if (watering > 0.0) & (plan_share > 0.0) else 0.0
    # No more ET is owed than the soil is below field capacity: a dry winter is not made up in
    # spring.
    owed_et = larger(smaller(owed_et, mean_deficit), 0.0)
    days_since_water = 1.0 if watering > 0.0 else days_since_water + 1.0
    used = mean_transpiration + mean_leaf_evaporation + mean_soil_evaporation
    share = plan_share if plan_rule == RULE_ET_SHARE else 1.0
    arrives = (1.0 - spray_loss_today) * (1.0 - overspray)
    never_used = larger(demand - used, 0.0) * share * plan_run_time_multiplier / arrives
    unmet = larger(unmet - never_used, 0.0)
    return (
        seen_depletion, seen_deficit, seen_taw, seen_crown_wetness, seen_dormant, seen_wilt,
        owed_et, days_since_water, unmet,
    )  # fmt: skip
