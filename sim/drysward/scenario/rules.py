"""Irrigation rules of plans: their keys, checks and descriptions outside the day loop.

A new rule is an entry in ``RULES``, with its number (and what it reads, in PLAN) in
``day.records``, and its case in ``day.plan_demand.wish``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from drysward.day.records import (
    RULE_ET_SHARE,
    RULE_FIXED,
    RULE_FUNCTION,
    RULE_NONE,
    RULE_REFILL,
)
from drysward.scenario.values import (
    AS_SHARE,
    EVERY_TIME,
    WEEKDAYS,
    Depth,
    Flaws,
    Share,
    SomeShare,
    in_table,
    one_of,
)

NO_WATERING, FUNCTION = "none", "function"


@dataclass(frozen=True)
class RuleKey:
    """A key that one rule alone reads; PLAN has a field of its name.

    ``check`` is its annotation in the table of the file, ``attribute`` where PlanSpec holds it,
    as ``read`` of its value and the plan's whole table. One that is not ``needed`` is optional.
    """

    check: Any
    attribute: str
    unit: str = "1"
    needed: bool = True
    read: Callable[[Any, Any], Any] = lambda value, plan: value


@dataclass(frozen=True)
class Rule:
    """A rule: its ``number`` in the day loop, its description, its keys.

    A rule that waters ``by_need`` may run longer so that the driest part of the field has enough.
    ``flaws`` finds faults of a plan's table whose keys are each valid.
    """

    number: int
    demands: str
    keys: Mapping[str, RuleKey] = field(default_factory=dict)
    by_need: bool = False
    flaws: Callable[[Any], Flaws] = lambda plan: []


def _depth_by_weekday(depths: Mapping[str, float], plan: Any) -> tuple[float, ...]:
    if EVERY_TIME in depths:
        return tuple(depths[EVERY_TIME] if waters else 0.0 for waters in plan.allowed)
    return tuple(depths.get(day, 0.0) for day in WEEKDAYS)


def _states_its_days_once(plan: Any) -> Flaws:
    if not plan.depth or (plan.allowed is None) != (EVERY_TIME in plan.depth):
        return []
    allowed = "days with one depth, or depth = { Tue = ..., Fri = ... } without days"
    return [("days", "a fixed plan states its days once", allowed)]


def _fills_up(plan: Any) -> Flaws:
    if plan.trigger is None or (plan.target or 0.0) < plan.trigger:
        return []
    return [("target", "is not below trigger", f"less than {plan.trigger:g}")]


_DEPTHS = Annotated[
    dict[Annotated[str, one_of(*WEEKDAYS, EVERY_TIME)], Depth],
    BeforeValidator(in_table(EVERY_TIME)),
    Field(min_length=1),
]

RULES = {
    NO_WATERING: Rule(RULE_NONE, "no watering, except crown-keeping if it is set"),
    "fixed": Rule(
        RULE_FIXED,
        "a depth on named weekdays: depth, days",
        {"depth": RuleKey(_DEPTHS, "depth_by_weekday", "mm", read=_depth_by_weekday)},
        flaws=_states_its_days_once,
    ),
    "share of et": Rule(
        RULE_ET_SHARE,
        "a share of turf ET since the last watering: share",
        {"share": RuleKey(Annotated[float, AS_SHARE, Field(gt=0.0, le=2.0)], "share")},
        by_need=True,
    ),
    "refill": Rule(
        RULE_REFILL,
        "refill to a target once depletion reaches a trigger: trigger, target",
        {
            "trigger": RuleKey(SomeShare, "trigger"),
            "target": RuleKey(Share, "target", needed=False),
        },
        by_need=True,
        flaws=_fills_up,
    ),
}

# Rules that a plan can have, and those that a file can write: the rest only exist in Python.
EVERY_RULE = {
    **RULES,
    FUNCTION: Rule(RULE_FUNCTION, "the depth that a Python function returns", by_need=True),
}

RULE_KEYS = {name: key for rule in RULES.values() for name, key in rule.keys.items()}


def no_function(rule: object) -> object:
    """A rule as a file writes it; ValueError for one that only Python can give."""
    if rule == FUNCTION:
        raise ValueError(
            f"'{FUNCTION}' is a rule in Python, which no file can hold; "
            "drysward.run(scenario, plans={'mine': function})"
        )
    return rule


def rule_flaws(plan: Any) -> Flaws:
    """Faults of rule keys in a plan's table: of another rule, missing, contradictory."""
    mine = RULES[plan.rule]
    faults = [
        (name, f"rule '{plan.rule}' does not use it", f"'{other}' does")
        for other, rule in RULES.items()
        for name in rule.keys
        if rule is not mine and getattr(plan, name) is not None
    ]
    faults += [
        (name, "is missing", f"rule '{plan.rule}' needs it")
        for name, key in mine.keys.items()
        if key.needed and getattr(plan, name) is None
    ]
    return faults + mine.flaws(plan)


def rule_values(plan: Any) -> dict[str, Any]:
    """Values of the rule keys in a plan's table, by attribute of PlanSpec."""
    keys = RULES[plan.rule].keys
    written = {name: getattr(plan, name) for name in keys}
    return {
        keys[name].attribute: keys[name].read(value, plan)
        for name, value in written.items()
        if value is not None
    }
