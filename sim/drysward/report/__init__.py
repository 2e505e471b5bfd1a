"""Results as charts and as one page that stands alone. Nothing is computed here.

In a notebook: ``result = open_result("out")``, then ``stages(result, "stadium", "none")``.
"""

from drysward.report.figures import (
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
from drysward.report.page import page
from drysward.report.play_figures import events, play_calendar
from drysward.report.result import open_result
from drysward.report.supply_figures import causes, shortage, sizing, storage
from drysward.report.sweep_figures import drivers, front, response

__all__ = [
    "account",
    "causes",
    "cover",
    "days",
    "demand",
    "drivers",
    "events",
    "fields",
    "front",
    "months",
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
