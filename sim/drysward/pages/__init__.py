"""Results as charts and as one page that stands alone. Nothing is computed here.

In a notebook: ``result = open_result("out")``, then ``stages(result, "stadium", "none")``.
"""

from drysward.pages.feeding_figures import clippings, leaching, nitrogen_status
from drysward.pages.figures import (
    account,
    cover,
    days,
    demand,
    fields,
    months,
    plans,
    stages,
    water,
)
from drysward.pages.page import page
from drysward.pages.play_figures import events, play_calendar
from drysward.pages.result import open_result
from drysward.pages.supply_figures import causes, shortage, sizing, storage
from drysward.pages.sweep_figures import drivers, front, response

__all__ = [
    "account",
    "causes",
    "clippings",
    "cover",
    "days",
    "demand",
    "drivers",
    "events",
    "fields",
    "front",
    "leaching",
    "months",
    "nitrogen_status",
    "open_result",
    "page",
    "plans",
    "play_calendar",
    "response",
    "shortage",
    "sizing",
    "stages",
    "storage",
    "water",
]
