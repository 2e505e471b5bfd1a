"""Turf water stress and recovery over many weather years.

``load`` a scenario, ``run`` it, ``summarize`` and ``save`` the result, or see one year's
``ledger``. ``draws`` runs what is not known of soil, turf and system; ``size`` finds the least
supply. ``season`` gives the odds for the weeks ahead, ``hindcast`` how good such odds were.
``sweep`` runs thousands of scenarios, ``front``, ``effects`` and ``search`` find the best plan
among them. ``feeding_effect`` runs a scenario as fed and without feeding. ``open`` reads what was
written; ``report`` and ``picture`` draw it. ``cite`` says how to cite it. ``Scenario`` is what
``load`` gives, ``Morning`` what a plan that is a Python function knows.

The numerical stack is imported on first use, so that the command line answers at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drysward.drive.mornings import Morning
    from drysward.pages.output import picture, report
    from drysward.results.answers import answers
    from drysward.results.summary import summarize
    from drysward.scenario.load import load, loads, shipped
    from drysward.scenario.model import Scenario
    from drysward.studies.compare import ledger, run
    from drysward.studies.doubt.answers import draws
    from drysward.studies.feeding_effect import feeding_effect
    from drysward.studies.result_files import open
    from drysward.studies.saving import save
    from drysward.studies.season.hindcast import hindcast
    from drysward.studies.season.outlook import season
    from drysward.studies.size import size
    from drysward.studies.sweep.effects import effects
    from drysward.studies.sweep.front import front
    from drysward.studies.sweep.run import sweep
    from drysward.studies.sweep.search import search

__version__ = "0.7.0"

CITATION = (
    "The drysward authors (2026). "
    f"drysward {__version__}: turf water stress and recovery. Software."
)
"""How to cite the program; results carry it as the attribute ``citation``."""

_HOMES = {
    "Morning": "drysward.drive.mornings",
    "Scenario": "drysward.scenario.model",
    "load": "drysward.scenario.load",
    "loads": "drysward.scenario.load",
    "shipped": "drysward.scenario.load",
    "run": "drysward.studies.compare",
    "answers": "drysward.results.answers",
    "summarize": "drysward.results.summary",
    "draws": "drysward.studies.doubt.answers",
    "feeding_effect": "drysward.studies.feeding_effect",
    "season": "drysward.studies.season.outlook",
    "hindcast": "drysward.studies.season.hindcast",
    "size": "drysward.studies.size",
    "sweep": "drysward.studies.sweep.run",
    "search": "drysward.studies.sweep.search",
    "front": "drysward.studies.sweep.front",
    "effects": "drysward.studies.sweep.effects",
    "save": "drysward.studies.saving",
    "open": "drysward.studies.result_files",
    "report": "drysward.pages.output",
    "picture": "drysward.pages.output",
    "ledger": "drysward.studies.compare",
}

__all__ = [
    "Morning", "Scenario", "__version__", "answers", "draws", "effects", "feeding_effect", "front",
    "hindcast", "ledger", "load", "loads", "open", "picture", "report", "run", "save", "search",
    "season", "shipped", "size", "summarize", "sweep",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'drysward' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
