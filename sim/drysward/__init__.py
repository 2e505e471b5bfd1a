"""Turf water stress and recovery over many weather years.

``load`` a scenario, ``run`` it, ask ``answers`` of the result, or see one year's ``ledger``;
``open`` what a sweep has written; ``draws`` says what is not known of soil, grass and delivery.
The numerical stack is imported on first use, so that the command line answers at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.3.0"

_HOMES = {
    "load": "drysward.scenario.load",
    "loads": "drysward.scenario.load",
    "shipped": "drysward.scenario.load",
    "run": "drysward.studies.compare",
    "ledger": "drysward.studies.compare",
    "answers": "drysward.results.answers",
    "open": "drysward.studies.sweep.folder:open_sweep",
    "draws": "drysward.studies.doubt.answers:drawn_answers",
}

__all__ = ["__version__", "answers", "draws", "ledger", "load", "loads", "open", "run", "shipped"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        module, _, called = _HOMES[name].partition(":")
        return getattr(import_module(module), called or name)
    raise AttributeError(f"module 'drysward' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
