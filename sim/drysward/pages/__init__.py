"""Results to look at: figures, and one page that stands on its own. Nothing is computed here.

In a notebook: ``result = open_result("out")``, then ``stages(result, "stadium", "none")``.
"""

from drysward.pages.doubt_figures import doubt
from drysward.pages.figures import (
    account,
    cover,
    demand,
    fields,
    months,
    plans,
    saved,
    stages,
)
from drysward.pages.page import page
from drysward.pages.play_figures import events, play_calendar
from drysward.pages.result import open_result
from drysward.pages.supply_figures import causes, shortage, sizing, storage
from drysward.pages.sweep_figures import drivers, front, response

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
