"""Faults of input: collected, located, and told in one line each."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    Parameters
    ----------
    where : file and line, or file and dotted key.
    what : the fault, as a sentence without its full stop.
    allowed : what would be accepted instead; empty when ``what`` says it already.
    """

    where: str
    what: str
    allowed: str = ""

    def __str__(self) -> str:
        tail = f"; {self.allowed}" if self.allowed else ""
        return f"{self.where}: {self.what}{tail}"


class FaultyInput(Exception):
    """Input that cannot be used. Carries every fault found, not only the first."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name most like ``name`` as a hint, or the list of known names."""
    names: Sequence[str] = sorted(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    return "known: " + ", ".join(names)
