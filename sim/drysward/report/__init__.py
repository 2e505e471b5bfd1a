"""Results to look at: figures, and one page that stands on its own. Nothing is computed here.

In a notebook: ``result = open_result("out")``, then ``stages(result, "stadium", "none")``.
"""

from drysward.report.doubt_figures import doubt
from drysward.report.figures import (
    account,
    cover,
    demand,
    fields,
    months,
    plans,
    saved,
    stages,
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
    "demand",
    "doubt",
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
    "saved",
    "shortage",
    "sizing",
    "stages",
    "storage",
]
